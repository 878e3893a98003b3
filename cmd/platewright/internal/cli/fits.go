package cli

import (
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"platewright/cmd/platewright/internal/render"
	"platewright/resolve"
)

func (a *app) fitsCmd() *cobra.Command {
	var unit unitFlags
	var why bool
	c := &cobra.Command{
		Use:     "fits PART [PLATE]",
		GroupID: "unit",
		Short:   "Tell whether a part fits a unit",
		Long: `Fits tells whether one part fits one unit. PART is any number that it goes by;
PLATE and the flags are those of: platewright resolve

The exit code is 0 when the part fits, 10 when it does not, 11 when that is not
settled.`,
		Example:           `  platewright fits PART 'PLATE' --saw MARK=VALUE`,
		Args:              cobra.RangeArgs(1, 2),
		ValidArgsFunction: a.completeArgs(a.completeParts, a.completePlates),
		RunE: func(c *cobra.Command, args []string) error {
			q, err := unit.question(args[1:])
			if err != nil {
				return err
			}
			if q.Part = strings.TrimSpace(args[0]); q.Part == "" {
				return &usageError{"which part? its number is empty", c.CommandPath()}
			}
			if knowsNothing(&q) {
				return &usageError{"which unit? give its PLATE as read after the part, or --field or --label", c.CommandPath()}
			}
			return a.fits(q, why)
		},
	}
	unit.add(a, c, false)
	c.Flags().BoolVar(&why, "why", false, "show the proof with its sources")
	return c
}

func (a *app) fits(q resolve.Question, why bool) error {
	cat, err := a.open()
	if err != nil {
		return err
	}
	defer cat.Close()
	cat.tells()
	r := resolve.New(cat, cat.edition)
	// The roles of the part are those to be settled: what would tell apart
	// candidates that take this part alike is no next check for this question.
	d, err := r.Decide(q, resolve.Options{NoLookAlikes: true, NoNextCheck: true, NoFigures: true})
	if err != nil {
		return err
	}
	if d.Part != nil && len(d.Part.Roles) > 0 {
		for _, role := range d.Part.Roles {
			if !slices.Contains(q.Roles, role.Role) {
				q.Roles = append(q.Roles, role.Role)
			}
		}
		if d, err = r.Decide(q, resolve.Options{}); err != nil {
			return err
		}
	}
	if a.json {
		err = render.JSON(a.out, d)
	} else {
		err = render.FitsText(a.out, d, a.screen(), why)
	}
	if err != nil {
		return err
	}
	switch {
	case d.Part != nil && d.Part.Part == "" && slices.ContainsFunc(d.Part.Reasons, func(r resolve.Reason) bool { return r.Code == resolve.ReasonUnknownPart }):
		return answered(exitUsage)
	case d.Part != nil && len(d.Part.Against) > 0 && d.Part.Verdict == resolve.Fits:
		// A note changes no verdict, but who goes by the exit code must not
		// order what it holds.
		return answered(exitNotSettled)
	case d.Part == nil || d.Part.Verdict == resolve.NotSettled:
		return answered(exitNotSettled)
	case d.Part.Verdict == resolve.DoesNotFit:
		return answered(exitDoesNotFit)
	}
	return nil
}
