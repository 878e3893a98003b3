package cli

import (
	"context"
	"errors"
	"fmt"
	"runtime/debug"
	"strconv"
	"time"

	"github.com/spf13/cobra"

	"platewright/catalog"
	"platewright/catalog/memory"
	"platewright/catalog/pack"
	"platewright/catalog/store"
	"platewright/cmd/platewright/internal/render"
)

func (a *app) catalogCmd() *cobra.Command {
	c := &cobra.Command{
		Use:     "catalog",
		GroupID: "shop",
		Short:   "Import, export and look after the shop's catalogue",
		Long: `The shop's catalogue is kept in editions: each import makes a new one or changes
nothing, and an older one can be brought back. It travels as a folder or zip of
CSV tables with a datapackage.json, or as an .xlsx workbook with the same tables.`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error { return c.Help() },
	}
	c.AddCommand(a.importCmd(), a.exportCmd(), a.infoCmd(), a.editionsCmd(), a.changesCmd(), a.restoreCmd(), a.dropCmd(), a.backupCmd(), a.tablesCmd(), a.auditCmd())
	return c
}

// now is the time that an edition is given. SOURCE_DATE_EPOCH, the convention
// of reproducible builds, sets it from outside.
func (a *app) now() (time.Time, error) {
	s := a.env("SOURCE_DATE_EPOCH")
	if s == "" {
		return time.Now().UTC(), nil
	}
	n, err := strconv.ParseInt(s, 10, 64)
	if err != nil {
		return time.Time{}, usagef("SOURCE_DATE_EPOCH is %q: set it to seconds since 1970, or unset it", s)
	}
	return time.Unix(n, 0).UTC(), nil
}

// program names this program and its version in what it writes.
func program() string {
	if info, ok := debug.ReadBuildInfo(); ok && info.Main.Version != "" && info.Main.Version != "(devel)" {
		return "platewright " + info.Main.Version
	}
	return "platewright"
}

func (a *app) importCmd() *cobra.Command {
	var replace []string
	var dryRun bool
	c := &cobra.Command{
		Use:   "import PACKAGE",
		Short: "Take in a package of tables as a new edition",
		Long: `Import merges a package into the catalogue: rows are added and changed by their
keys, and a new edition is made. An empty cell keeps what stands; the word
(clear) empties it. With --replace TABLE the table becomes what the package holds,
and rows that are not in it go. PACKAGE is a folder with a datapackage.json, a
zip of one, or an .xlsx workbook.

Everything is checked first. If anything is wrong, all findings are listed, one
a line, nothing is changed, and the exit code is 3.`,
		Example: `  platewright catalog import FOLDER --dry-run
  platewright catalog import FOLDER --replace offers --replace shelf`,
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			for _, name := range replace {
				if catalog.TableByName(name) == nil {
					return &usageError{fmt.Sprintf("--replace %s: there is no such table; platewright catalog schema lists them", name), c.CommandPath()}
				}
			}
			return a.importPackage(c.Context(), args[0], replace, dryRun)
		},
	}
	c.Flags().StringArrayVar(&replace, "replace", nil, "replace this `TABLE` as a whole (repeat)")
	c.Flags().BoolVar(&dryRun, "dry-run", false, "check everything and show every change, but change nothing")
	a.completeFlag(c, "replace", completeTables)
	return c
}

func completeTables(string) []string {
	var out []string
	for _, t := range catalog.Tables() {
		out = append(out, t.Name+"\t"+t.Doc)
	}
	return out
}

func (a *app) importPackage(ctx context.Context, name string, replace []string, dryRun bool) error {
	dir, err := a.dir()
	if err != nil {
		return err
	}
	now, err := a.now()
	if err != nil {
		return err
	}
	report := render.Import{Schema: render.ImportSchema, From: name, DryRun: dryRun, Tables: []render.TableChange{}, Changes: []render.RowChange{}, Findings: []catalog.Finding{}}
	p, err := pack.Open(name, pack.Limits{})
	if err != nil {
		return a.refusedImport(report, err)
	}
	defer p.Close()
	report.From = p.Name()
	progress := a.progress("importing")
	var list changeList
	res, err := store.Import(ctx, dir, p, store.ImportOptions{
		Replace: replace, DryRun: dryRun, Now: now, Program: program(),
		Changes: func(c store.Change) error {
			list.add(c)
			if list.ofLast >= render.MaxChanges {
				// The rest of the table is only counted, and the result counts.
				return store.ErrSkipTable
			}
			return ctx.Err()
		},
		Progress: func(s store.Progress) { progress.say("%s %s, %d rows", s.Stage, s.Table, s.Rows) },
	})
	progress.end()
	if err != nil {
		return a.refusedImport(report, err)
	}
	report.Applied = !dryRun && !res.Unchanged
	report.Edition, report.Unchanged = res.Edition, res.Unchanged
	for _, t := range res.Tables {
		report.Tables = append(report.Tables, render.TableChange{Table: t.Table, Added: t.Added, Changed: t.Changed, Removed: t.Removed, Kept: t.Kept, Held: t.Held,
			Fresh: t.Changed+t.Removed+t.Same == 0})
	}
	report.Findings = append(report.Findings, res.Remarks...)
	report.Changes, report.Listed = append(report.Changes, list.rows...), len(list.rows)
	for _, t := range res.Tables {
		report.Total += t.Added + t.Changed + t.Removed
	}
	if a.json {
		return render.JSON(a.out, report)
	}
	if err := render.FindingsText(a.out, report.Findings, 0, a.screen()); err != nil {
		return err
	}
	return render.ImportText(a.out, report, a.screen())
}

// refusedImport writes the findings of an input that was refused; they are the
// answer of an import, so they go where answers go.
func (a *app) refusedImport(report render.Import, err error) error {
	var refused *catalog.RefusedError
	if !errors.As(err, &refused) {
		return err
	}
	report.Findings, report.Dropped = refused.Findings, refused.Dropped
	var werr error
	if a.json {
		werr = render.JSON(a.out, report)
	} else {
		werr = render.FindingsText(a.out, refused.Findings, refused.Dropped, a.screen())
	}
	return errors.Join(err, werr, a.out.Flush())
}

// changeList counts changed rows and keeps the first of each table.
type changeList struct {
	tables []render.TableChange
	rows   []render.RowChange
	total  int
	ofLast int // rows of the last table
}

func (l *changeList) add(c store.Change) {
	if n := len(l.tables); n == 0 || l.tables[n-1].Table != c.Table.Name {
		l.tables = append(l.tables, render.TableChange{Table: c.Table.Name})
		l.ofLast = 0
	}
	t := &l.tables[len(l.tables)-1]
	switch c.Kind {
	case store.Came:
		t.Added++
	case store.Went:
		t.Removed++
	default:
		t.Changed++
	}
	l.total++
	if l.ofLast++; l.ofLast <= render.MaxChanges {
		l.rows = append(l.rows, rowChange(c))
	}
}

func rowChange(c store.Change) render.RowChange {
	out := render.RowChange{Table: c.Table.Name, Kind: string(c.Kind), Row: c.Name, Cells: []render.CellChange{}}
	for _, x := range c.Cells {
		out.Cells = append(out.Cells, render.CellChange{Column: x.Column.Name, Old: x.Old, New: x.New})
	}
	return out
}

func (a *app) exportCmd() *cobra.Command {
	var number int
	var sheets, replace bool
	c := &cobra.Command{
		Use:   "export PATH",
		Short: "Write the catalogue as a folder, a .zip or an .xlsx workbook",
		Long: `Export writes the catalogue as a package that anyone's tools can read and that
can be imported again: a zip if PATH ends in .zip, a workbook if it ends in
.xlsx, else a folder.`,
		Args: cobra.ExactArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			return a.export(args[0], number, pack.Options{ForSpreadsheets: sheets, Replace: replace})
		},
	}
	c.Flags().IntVar(&number, "edition", 0, "write this edition `NUMBER` (default: the one that answers)")
	c.Flags().BoolVar(&sheets, "for-spreadsheets", false, "write CSV files so that a spreadsheet opens them without harm")
	c.Flags().BoolVar(&replace, "force", false, "write over a package that stands at PATH")
	a.completeFlag(c, "edition", a.completeEditions)
	return c
}

// source makes a view of the store writable as a package.
type source struct{ v *store.View }

func (s source) Each(t *catalog.Table, each func(catalog.Row) error) error {
	for r, err := range s.v.Rows(t) {
		if err != nil {
			return err
		}
		if err := each(r); err != nil {
			return err
		}
	}
	return nil
}

func (a *app) export(path string, number int, o pack.Options) error {
	cat, err := a.openOwn()
	if err != nil {
		return err
	}
	defer cat.Close()
	done := render.Done{Schema: render.DoneSchema, Did: "exported", Path: path}
	var src pack.Source
	info := pack.Info{Name: "platewright-catalogue", Title: "Catalogue of the shop"}
	switch {
	case cat.store == nil && number != 0:
		return usagef("--edition %d: the demo has no editions; import a catalogue first", number)
	case cat.store == nil:
		src = pack.Memory(cat.own.(*memory.Catalogue))
		info = pack.Info{Name: "platewright-demo", Title: "Demo catalogue, invented data"}
	default:
		if number == 0 {
			number = cat.edition.Number
		}
		v, err := cat.store.Edition(number)
		if err != nil {
			return err
		}
		defer v.Close()
		src = source{v}
		info.Version = strconv.Itoa(number)
		done.Edition, done.Head = number, cat.edition.Number
	}
	if err := pack.WriteFile(path, src, info, o); err != nil {
		var exists *pack.ExistsError
		if errors.As(err, &exists) && !o.Replace {
			return hint(err, "Name another place, or write over it with --force.")
		}
		return err
	}
	return a.done(done)
}

func (a *app) done(d render.Done) error {
	if a.json {
		return render.JSON(a.out, d)
	}
	return render.DoneText(a.out, d, a.screen())
}

func (a *app) infoCmd() *cobra.Command {
	var check bool
	c := &cobra.Command{
		Use:               "info",
		Short:             "Tell which catalogue answers, and how large it is",
		Args:              cobra.NoArgs,
		ValidArgsFunction: cobra.NoFileCompletions,
		RunE:              func(c *cobra.Command, _ []string) error { return a.info(c.Context(), check) },
	}
	c.Flags().BoolVar(&check, "check", false, "read every byte of the file and prove it sound")
	return c
}

func (a *app) info(ctx context.Context, check bool) error {
	cat, err := a.openOwn()
	if err != nil {
		return err
	}
	defer cat.Close()
	i := render.Info{Schema: render.InfoSchema, Demo: cat.demo, Tables: []render.RowCount{}}
	var count func(table string) int
	if cat.store == nil {
		count = cat.own.(*memory.Catalogue).Count
	} else {
		rep, err := cat.store.Info()
		if check && err == nil {
			progress := a.progress("checking")
			rep, err = cat.store.Check(ctx, func(s store.Progress) { progress.say("%s %s, %d rows", s.Stage, s.Table, s.Rows) })
			progress.end()
		}
		if err != nil {
			return err
		}
		e := edition(rep.Head)
		i.Path, i.Size, i.Format, i.Edition, i.Checked = rep.Path, rep.Size, rep.Format, &e, check
		count = cat.own.(*store.View).Count
	}
	for _, t := range catalog.Tables() {
		i.Tables = append(i.Tables, render.RowCount{Table: t.Name, Rows: count(t.Name)})
	}
	if a.json {
		return render.JSON(a.out, i)
	}
	return render.InfoText(a.out, i, a.screen())
}

func edition(e store.Edition) render.Edition {
	return render.Edition{Number: e.Number, Made: e.Made, Origin: e.Origin, Program: e.Program, Parent: e.Parent, Restores: e.Restores, Dropped: e.Dropped, Rows: e.Rows(), Digest: e.Digest}
}

func (a *app) editionsCmd() *cobra.Command {
	return &cobra.Command{
		Use:               "editions",
		Short:             "List the editions, and which one answers",
		Args:              cobra.NoArgs,
		ValidArgsFunction: cobra.NoFileCompletions,
		RunE: func(*cobra.Command, []string) error {
			s, err := a.ownStore()
			if err != nil {
				return err
			}
			defer s.Close()
			list, err := s.Editions()
			if err != nil {
				return err
			}
			out := render.Editions{Schema: render.EditionsSchema, Path: s.Path(), Head: s.Number(), Editions: []render.Edition{}}
			for _, e := range list {
				out.Editions = append(out.Editions, edition(e))
			}
			if a.json {
				return render.JSON(a.out, out)
			}
			return render.EditionsText(a.out, out, a.screen())
		},
	}
}

// ownStore opens the shop's catalogue where the demo cannot stand in for it.
func (a *app) ownStore() (*store.Store, error) {
	dir, err := a.dir()
	if err != nil {
		return nil, err
	}
	s, err := store.Open(dir)
	var missing *store.MissingError
	if errors.As(err, &missing) {
		return nil, noStore(dir)
	}
	return s, err
}

func noStore(dir string) error {
	return hint(fmt.Errorf("there is no catalogue of the shop's own in %s yet; the demo has no editions", dir),
		"Begin one: platewright catalog import FOLDER")
}

func (a *app) completeEditions(string) []string {
	dir, err := a.dir()
	if err != nil {
		return nil
	}
	s, err := store.Open(dir)
	if err != nil {
		return nil
	}
	defer s.Close()
	list, err := s.Editions()
	if err != nil {
		return nil
	}
	var out []string
	for _, e := range list {
		if !e.Dropped {
			out = append(out, strconv.Itoa(e.Number)+"\t"+e.Origin)
		}
	}
	return out
}

// number reads the number of an edition.
func number(s string) (int, error) {
	n, err := strconv.Atoi(s)
	if err != nil || n < 1 {
		return 0, usagef("%q is no edition; platewright catalog editions lists them by number", s)
	}
	return n, nil
}

func (a *app) tablesCmd() *cobra.Command {
	return &cobra.Command{
		Use:               "schema [TABLE]",
		Short:             "Describe the tables of a catalogue and their columns",
		Args:              cobra.MaximumNArgs(1),
		ValidArgsFunction: a.completeArgs(completeTables),
		RunE: func(c *cobra.Command, args []string) error {
			tables := catalog.Tables()
			if len(args) > 0 {
				t := catalog.TableByName(args[0])
				if t == nil {
					return &usageError{fmt.Sprintf("there is no table %q; platewright catalog schema lists them", args[0]), c.CommandPath()}
				}
				tables = []*catalog.Table{t}
			}
			d := render.DescribeTables(tables)
			if a.json {
				return render.JSON(a.out, d)
			}
			return render.TablesText(a.out, d, a.screen())
		},
	}
}
