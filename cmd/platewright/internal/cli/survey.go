package cli

import (
	"github.com/spf13/cobra"

	"platewright/catalog"
	"platewright/cmd/platewright/internal/render"
	"platewright/resolve"
)

func (a *app) whereUsedCmd() *cobra.Command {
	return &cobra.Command{
		Use:     "where-used PART",
		GroupID: "unit",
		Short:   "List the units that a part serves, and since when",
		Long: `Where-used lists the statements of the catalogue that name a part, or a number
that the part stands in for. PART is any number that it goes by.`,
		Args:              cobra.ExactArgs(1),
		ValidArgsFunction: a.completeArgs(a.completeParts),
		RunE: func(_ *cobra.Command, args []string) error {
			cat, err := a.open()
			if err != nil {
				return err
			}
			defer cat.Close()
			u, err := resolve.New(cat, cat.edition).WhereUsed(args[0])
			if err != nil {
				return err
			}
			if a.json {
				return render.JSON(a.out, u)
			}
			return render.WhereUsedText(a.out, u, a.screen())
		},
	}
}

func (a *app) compareCmd() *cobra.Command {
	var work []string
	c := &cobra.Command{
		Use:     "compare A B",
		GroupID: "unit",
		Short:   "Hold two units side by side: what tells them apart, what differs in parts",
		Long: `Compare holds two variants side by side. A and B are codes of variants, or plates
that leave one variant each.`,
		Args:              cobra.ExactArgs(2),
		ValidArgsFunction: a.completeArgs(a.completePlates, a.completePlates),
		RunE: func(_ *cobra.Command, args []string) error {
			cat, err := a.open()
			if err != nil {
				return err
			}
			defer cat.Close()
			r := resolve.New(cat, cat.edition)
			var sides [2]catalog.VariantCode
			for i, text := range args {
				if sides[i], err = r.Single(text); err != nil {
					return err
				}
			}
			x, err := r.Compare(sides[0], sides[1], work)
			if err != nil {
				return err
			}
			if a.json {
				return render.JSON(a.out, x)
			}
			return render.ComparisonText(a.out, x, a.screen())
		},
	}
	a.workFlag(c, &work)
	return c
}

func (a *app) workFlag(c *cobra.Command, work *[]string) {
	c.Flags().StringArrayVar(work, "work", nil, "`SCOPE` of work: only the roles that this job takes (repeat; default: every role)")
	a.completeFlag(c, "work", a.completeWork)
}
