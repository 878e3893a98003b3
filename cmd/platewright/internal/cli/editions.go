package cli

import (
	"context"
	"errors"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"platewright/catalog/pack"
	"platewright/catalog/store"
	"platewright/cmd/platewright/internal/render"
)

func (a *app) changesCmd() *cobra.Command {
	return &cobra.Command{
		Use:               "compare A B",
		Short:             "Show what differs between two editions",
		Args:              cobra.ExactArgs(2),
		ValidArgsFunction: a.completeArgs(a.completeEditions, a.completeEditions),
		RunE:              func(c *cobra.Command, args []string) error { return a.changes(c.Context(), args[0], args[1]) },
	}
}

func (a *app) changes(ctx context.Context, from, to string) error {
	x, err := number(from)
	if err != nil {
		return err
	}
	y, err := number(to)
	if err != nil {
		return err
	}
	s, err := a.ownStore()
	if err != nil {
		return err
	}
	defer s.Close()
	out := render.Changes{Schema: render.ChangesSchema, A: x, B: y, Tables: []render.TableChange{}, Changes: []render.RowChange{}}
	progress := a.progress("comparing")
	var list changeList
	err = s.Compare(ctx, x, y, func(c store.Change) error {
		list.add(c)
		progress.say("%s, %d rows differ", c.Table.Name, list.total)
		return ctx.Err()
	})
	progress.end()
	if err != nil {
		return err
	}
	out.Tables = append(out.Tables, list.tables...)
	out.Changes, out.Listed, out.Total = append(out.Changes, list.rows...), len(list.rows), list.total
	if a.json {
		return render.JSON(a.out, out)
	}
	return render.ChangesText(a.out, out, a.screen())
}

func (a *app) restoreCmd() *cobra.Command {
	return &cobra.Command{
		Use:   "restore NUMBER",
		Short: "Bring an older edition back as a new one",
		Long: `Restore makes a new edition that holds what an older one held. The editions
between stay, so a restore can be taken back too.`,
		Args:              cobra.ExactArgs(1),
		ValidArgsFunction: a.completeArgs(a.completeEditions),
		RunE: func(c *cobra.Command, args []string) error {
			n, err := number(args[0])
			if err != nil {
				return err
			}
			dir, o, end, err := a.changing("restoring")
			if err != nil {
				return err
			}
			e, err := store.Restore(c.Context(), dir, n, o)
			end()
			if err != nil {
				return a.missing(err, dir)
			}
			return a.done(render.Done{Schema: render.DoneSchema, Did: "restored", Edition: n, Head: e.Number})
		},
	}
}

// changing prepares a change of the editions.
func (a *app) changing(what string) (dir string, o store.ChangeOptions, end func(), err error) {
	if dir, err = a.dir(); err != nil {
		return "", o, nil, err
	}
	if o.Now, err = a.now(); err != nil {
		return "", o, nil, err
	}
	p := a.progress(what)
	o.Program = program()
	o.Progress = func(s store.Progress) { p.say("%s %s, %d rows", s.Stage, s.Table, s.Rows) }
	return dir, o, p.end, nil
}

// missing says what to do where there is no catalogue to change.
func (a *app) missing(err error, dir string) error {
	var missing *store.MissingError
	if errors.As(err, &missing) {
		return noStore(dir)
	}
	return err
}

func (a *app) dropCmd() *cobra.Command {
	return &cobra.Command{
		Use:   "drop NUMBER",
		Short: "Let the rows of an older edition go, to make the file smaller",
		Long: `Drop takes the rows of an older edition out of the file, as far as no other
edition holds them. It cannot be taken back; the list of editions keeps the
edition's record. The edition that answers cannot be dropped.`,
		Args:              cobra.ExactArgs(1),
		ValidArgsFunction: a.completeArgs(a.completeEditions),
		RunE: func(c *cobra.Command, args []string) error {
			n, err := number(args[0])
			if err != nil {
				return err
			}
			dir, o, end, err := a.changing("dropping")
			if err != nil {
				return err
			}
			err = store.Drop(c.Context(), dir, []int{n}, o)
			end()
			if err != nil {
				return a.missing(err, dir)
			}
			s, err := a.ownStore()
			if err != nil {
				return err
			}
			defer s.Close()
			return a.done(render.Done{Schema: render.DoneSchema, Did: "dropped", Edition: n, Head: s.Number()})
		},
	}
}

func (a *app) backupCmd() *cobra.Command {
	var replace bool
	c := &cobra.Command{
		Use:   "backup FILE",
		Short: "Write a checked copy of the catalogue with all its editions",
		Long: `Backup copies the catalogue with all its editions to FILE and checks the copy.
To use a backup, put it as catalog.db into an empty folder and name that folder
with --data.`,
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			s, err := a.ownStore()
			if err != nil {
				return err
			}
			defer s.Close()
			if err := backupPlace(args[0], s.Path(), replace); err != nil {
				return err
			}
			if err := s.Backup(c.Context(), args[0]); err != nil {
				return err
			}
			return a.done(render.Done{Schema: render.DoneSchema, Did: "backed-up", Edition: s.Number(), Head: s.Number(), Path: args[0]})
		},
	}
	c.Flags().BoolVar(&replace, "force", false, "write over a file that is there already")
	return c
}

// backupPlace refuses to write a backup over something that is there: the
// catalogue itself in any case, another file unless replace is set.
func backupPlace(path, catalogue string, replace bool) error {
	if dir, err := filepath.Abs(filepath.Dir(path)); err == nil {
		if own, err := filepath.Abs(filepath.Dir(catalogue)); err == nil && dir == own {
			return &pack.ExistsError{Path: path, Reason: "it lies in the folder of the catalogue itself; name a file in another folder"}
		}
	}
	info, err := os.Stat(path)
	switch {
	case err != nil:
		return nil // not there, or the copy will say what is wrong
	case info.IsDir():
		return &pack.ExistsError{Path: path, Reason: "it is a folder; name a file in it"}
	case !replace:
		return &pack.ExistsError{Path: path, Reason: "there is such a file; name another, or add --force"}
	}
	return nil
}
