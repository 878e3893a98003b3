package cli

import (
	"fmt"

	"github.com/spf13/cobra"

	"platewright/cmd/platewright/internal/render"
)

func (a *app) schemaCmd() *cobra.Command {
	return &cobra.Command{
		Use:     "schema [NAME]",
		GroupID: "more",
		Short:   "Print the JSON Schema of an answer",
		Long: `Schema prints the JSON Schema (draft 2020-12) that the answers of a command obey
when it is run with --json. Without NAME it lists the names. The tables of a
catalogue are described by: platewright catalog schema`,
		Args: cobra.MaximumNArgs(1),
		ValidArgsFunction: a.completeArgs(func(string) []string {
			return render.SchemaNames()
		}),
		RunE: func(c *cobra.Command, args []string) error {
			if len(args) == 0 {
				if a.json {
					return render.JSON(a.out, render.Schemas{Schema: render.SchemasSchema, Names: render.SchemaNames()})
				}
				for _, n := range render.SchemaNames() {
					fmt.Fprintln(a.out, n)
				}
				return nil
			}
			text, ok := render.SchemaText(args[0])
			if !ok {
				return &usageError{fmt.Sprintf("there is no schema %q; platewright schema lists their names", args[0]), c.CommandPath()}
			}
			_, err := a.out.Write(text)
			return err
		},
	}
}
