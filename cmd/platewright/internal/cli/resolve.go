package cli

import (
	"slices"

	"github.com/spf13/cobra"

	"platewright/cmd/platewright/internal/render"
	"platewright/resolve"
)

func (a *app) resolveCmd() *cobra.Command {
	var unit unitFlags
	var list listFlags
	var why, plan bool
	c := &cobra.Command{
		Use:     "resolve [PLATE]",
		GroupID: "unit",
		Short:   "Tell what a unit is, which parts fit, what to look at next",
		Long: `Resolve tells which variant a unit can still be, and for each role which part
fits. In PLATE write ? for a character that cannot be read and [38] for one that
is 3 or 8; capitals, spaces and dashes make no difference.

A character that was read but is not sure is named by --doubt: all that it is
easily taken for stays possible, and the answer ranks the variants by how likely
that is. "slip" allows one slip anywhere: a confusable character, two neighbours
swapped, one left out or written twice.

The exit code is 0 when the question is answered, also where roles are not
settled yet; 11 when nothing matches or the evidence contradicts itself.

Lists: --from FILE reads a CSV file with a heading, - reads standard input. The
columns are plate, label, saw, work, role, serial, built, vehicle and ref (your
own reference, handed through), in any order and each optional; several values
in a cell stand with a semicolon between. The answers come as CSV, or with
--json as one JSON document a line, in the order of the list. A row that cannot
be answered is reported on standard error and in the output, and passed over;
the exit code is then 3. What became of each other row stands in its column
state (settled, held, mixed, conflict, no-match), and the exit code is 0 whatever
it is. Lists do not search for look-alikes and next checks unless --look-alikes
is given.

In the CSV, a cell that a spreadsheet would take for a formula has an apostrophe
in front. With --for-spreadsheets the file begins with a byte-order mark, and ref,
plates and codes that a spreadsheet could take for a number or a date (00123, 3-3)
have an apostrophe too. A list is read with these apostrophes and without.`,
		Example: `  platewright resolve 'PLATE' --work SCOPE
  platewright resolve 'PLATE' --label 'TEXT' --saw MARK=VALUE --why
  platewright resolve --from units.csv > answers.csv`,
		Args:              cobra.MaximumNArgs(1),
		ValidArgsFunction: a.completeArgs(a.completePlates),
		RunE: func(c *cobra.Command, args []string) error {
			if list.from != "" {
				if err := list.alone(c, args); err != nil {
					return err
				}
				return a.resolveList(c.Context(), list, unit.work, unit.roles)
			}
			if list.sheets {
				return usagef("--for-spreadsheets is for lists: the answer for one unit is no CSV file")
			}
			if c.Flags().Changed("look-alikes") {
				return usagef("--look-alikes is for lists: one unit is always searched for them")
			}
			q, err := unit.question(args)
			if err != nil {
				return err
			}
			if knowsNothing(&q) {
				return &usageError{"what is the unit? give its PLATE as read, or --field or --label, or --from with a list", c.CommandPath()}
			}
			return a.resolveOne(q, why, plan)
		},
	}
	unit.add(a, c, true)
	list.add(c)
	c.Flags().BoolVar(&plan, "plan", false, "show the whole plan of checks, with what each answer would mean")
	c.Flags().BoolVar(&why, "why", false, "show the proof of each line with its sources")
	return c
}

func (a *app) resolveOne(q resolve.Question, why, plan bool) error {
	cat, err := a.open()
	if err != nil {
		return err
	}
	defer cat.Close()
	cat.tells()
	d, err := resolve.New(cat, cat.edition).Decide(q, resolve.Options{WholePlan: plan})
	if err != nil {
		return err
	}
	if a.json {
		err = render.JSON(a.out, d)
	} else {
		err = render.DecisionText(a.out, d, a.screen(), why)
	}
	if err != nil {
		return err
	}
	if unanswered(d) {
		return answered(exitNotSettled)
	}
	return nil
}

// unanswered tells whether nothing of the unit could be decided: the evidence
// contradicts itself, something that was read names nothing, or no variant of the
// catalogue is left.
func unanswered(d *resolve.Decision) bool {
	if len(d.Conflicts) > 0 {
		return true
	}
	for _, r := range d.Reading {
		if r.Outcome != resolve.ReadingMatched {
			return true
		}
	}
	return !slices.ContainsFunc(d.Assemblies, func(s resolve.AssemblyState) bool { return s.Total > 0 })
}
