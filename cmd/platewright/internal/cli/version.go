package cli

import (
	"fmt"
	"runtime"
	"runtime/debug"

	"github.com/spf13/cobra"

	"platewright/cmd/platewright/internal/render"
)

func (a *app) versionCmd() *cobra.Command {
	return &cobra.Command{
		Use:               "version",
		GroupID:           "more",
		Short:             "Tell which build of the program this is",
		Args:              cobra.NoArgs,
		ValidArgsFunction: cobra.NoFileCompletions,
		RunE: func(*cobra.Command, []string) error {
			v := render.Version{Schema: render.VersionSchema, Version: "unversioned", Go: runtime.Version(), Platform: runtime.GOOS + "/" + runtime.GOARCH}
			if info, ok := debug.ReadBuildInfo(); ok {
				if s := info.Main.Version; s != "" && s != "(devel)" {
					v.Version = s
				}
				for _, s := range info.Settings {
					if s.Key == "vcs.revision" {
						v.Revision = s.Value
					}
				}
			}
			if a.json {
				return render.JSON(a.out, v)
			}
			_, err := fmt.Fprintf(a.out, "platewright %s (%s, %s)\n", v.Version, v.Go, v.Platform)
			return err
		},
	}
}
