package cli

import (
	"os"
	"runtime"
	"runtime/debug"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"platewright/catalog"
	"platewright/cmd/platewright/internal/render"
	"platewright/resolve"
	"platewright/resolve/alike"
)

func (a *app) lookAlikesCmd() *cobra.Command {
	var q alike.Question
	var all, csv, sheets bool
	c := &cobra.Command{
		Use:     "look-alikes [VARIANT]",
		GroupID: "unit",
		Short:   "List the pairs that can be confused and must not be",
		Long: `Look-alikes lists the variants that a person could take for each other, by one
misread of the plate or by eye, and that take different parts. VARIANT is the
code of one variant, or a plate that leaves one.

With --all, or for some families or makers, every pair of the catalogue is listed,
the worst first: those that no recorded mark tells apart, then those whose misread
no check character catches, then the others, and among these those whose quickest
check takes longest. Where many variants of a family look the same, or many bear
two labels that are one slip apart, they are summed up by what they take; --pairs
spells every pair out. FAMILY and MAKER are codes or names.

With --all, --json writes one JSON document a line: a summary, then a pair or a
group on each line. In the CSV, caught says whether a check character catches the
misread; a cell that a spreadsheet would take for a formula has an apostrophe in
front, and with --for-spreadsheets also codes, plates and values that it could take
for a number or a date, in a file that begins with a byte-order mark.`,
		Example: `  platewright look-alikes WA-31
  platewright look-alikes --all --work actuator-replacement
  platewright look-alikes --maker 'MAKER' --csv >look-alikes.csv`,
		Args:              cobra.MaximumNArgs(1),
		ValidArgsFunction: a.completeArgs(a.completePlates),
		RunE: func(c *cobra.Command, args []string) error {
			whole := all || len(q.Families)+len(q.Makers) > 0
			if sheets && !csv {
				return &usageError{"--for-spreadsheets goes with --csv", c.CommandPath()}
			}
			switch {
			case len(args) == 0 && !whole:
				return &usageError{"name a variant, or list the whole catalogue with --all", c.CommandPath()}
			case len(args) > 0 && (whole || q.Pairs || q.AnyCharacter || csv):
				return &usageError{"one variant goes with --work and --json alone; leave it out to list the catalogue", c.CommandPath()}
			case csv && a.json:
				return &usageError{"--csv and --json: choose one", c.CommandPath()}
			case whole:
				return a.allLookAlikes(c, q, csv, sheets)
			}
			cat, err := a.open()
			if err != nil {
				return err
			}
			defer cat.Close()
			r := resolve.New(cat, cat.edition)
			v, err := r.Single(args[0])
			if err != nil {
				return err
			}
			l, err := r.LookAlikesOf(v, q.Work)
			if err != nil {
				return err
			}
			if a.json {
				return render.JSON(a.out, l)
			}
			return render.LookAlikesText(a.out, l, a.screen())
		},
	}
	a.workFlag(c, &q.Work)
	f := c.Flags()
	f.BoolVar(&all, "all", false, "list the pairs of the whole catalogue")
	f.StringArrayVar(&q.Families, "family", nil, "only pairs with a variant of this `FAMILY` (repeat)")
	f.StringArrayVar(&q.Makers, "maker", nil, "only pairs with a variant of this `MAKER` (repeat)")
	f.BoolVar(&q.AnyCharacter, "any-character", false, "also pairs whose plates differ in one character that is not easily taken for the other")
	f.BoolVar(&q.Pairs, "pairs", false, "spell out every pair of variants that look the same or bear the same labels")
	f.BoolVar(&csv, "csv", false, "write the list as CSV")
	f.BoolVar(&sheets, "for-spreadsheets", false, "with --csv, write it so that a spreadsheet opens it without harm")
	a.completeFlag(c, "family", func(text string) []string {
		return a.completions(func(cat resolve.Catalogue, add func(string, string) bool) error {
			return starting(cat, catalog.TFamilies, text, func(r *catalog.Family) bool { return add(r.Family, r.Name) })
		})
	})
	a.completeFlag(c, "maker", func(text string) []string {
		return a.completions(func(cat resolve.Catalogue, add func(string, string) bool) error {
			return starting(cat, catalog.TMakers, text, func(r *catalog.Maker) bool { return add(r.Maker, r.Name) })
		})
	})
	return c
}

// mostMemory is what the list of all look-alikes should keep to beside the pages
// of the store: garbage is collected more often as it comes near.
const mostMemory = 320 << 20

// allLookAlikes writes the list of all look-alikes as it is found.
func (a *app) allLookAlikes(c *cobra.Command, q alike.Question, csv, sheets bool) error {
	cat, err := a.open()
	if err != nil {
		return err
	}
	defer cat.Close()
	// Much is kept here and much thrown away, other than in a single answer.
	defer debug.SetGCPercent(debug.SetGCPercent(100))
	defer debug.SetMemoryLimit(debug.SetMemoryLimit(mostMemory))
	p := a.progress("looking for look-alikes")
	defer p.end()
	screen := a.screen()
	f, _ := a.tty.(*os.File)
	seen := f != nil && term.IsTerminal(int(f.Fd()))
	o := alike.Options{
		Catalogue: cat.view, Edition: cat.edition, Workers: min(runtime.GOMAXPROCS(0), 4),
		Append: func(dst []byte, line *alike.Line) ([]byte, error) {
			switch {
			case a.json:
				return render.AppendLookAlikesJSON(dst, line)
			case csv:
				return render.AppendLookAlikesCSV(dst, line, sheets), nil
			}
			return render.AppendLookAlikesText(dst, line, screen), nil
		},
		Write: func(lines []byte) error {
			p.end()
			_, err := a.out.Write(lines)
			return err
		},
		Report: func(stage alike.Stage, done, of int) error {
			if stage == alike.Writing && seen {
				return c.Context().Err() // the list itself shows how far it is
			}
			if of > 0 {
				p.say("%s, %d of %d", stage, done, of)
			} else {
				p.say("%s, %d", stage, done)
			}
			return c.Context().Err()
		},
	}
	if csv {
		if sheets {
			a.out.WriteString(render.ByteOrderMark)
		}
		if _, err := a.out.WriteString(render.LookAlikesHeading); err != nil {
			return err
		}
	}
	if err := alike.List(c.Context(), q, o); err != nil || csv || a.json {
		return err
	}
	return render.LookAlikesEndText(a.out, cat.edition, screen)
}
