package store_test

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/require"

	"platewright/catalog"
	"platewright/catalog/catalogtest"
	"platewright/catalog/store"
)

// told renders changes, one to a line.
func told(list *[]string) func(store.Change) error {
	return func(c store.Change) error {
		var b strings.Builder
		fmt.Fprintf(&b, "%s %s %s", c.Table.Name, c.Kind, c.Name)
		if c.Kind == store.Changed {
			for _, d := range c.Cells {
				fmt.Fprintf(&b, " %s:%q->%q", d.Column.Name, d.Old, d.New)
			}
		}
		*list = append(*list, b.String())
		return nil
	}
}

// found imports a feed that must be refused and gives the findings.
func found(t *testing.T, dir string, feed catalog.Feed, opts store.ImportOptions) []string {
	t.Helper()
	before := fingerprint(t, dir)
	opts.Now = catalogtest.Now
	_, err := store.Import(context.Background(), dir, feed, opts)
	var refused *catalog.RefusedError
	require.ErrorAs(t, err, &refused)
	require.Equal(t, before, fingerprint(t, dir), "a refused import changed something")
	var out []string
	for _, f := range refused.Findings {
		if f.Severity == catalog.Refused {
			out = append(out, fmt.Sprintf("%s %s %s", f.Code, f.Place, f.Value))
		}
		require.NotEmpty(t, f.What)
		require.NotEmpty(t, f.Mend)
	}
	return out
}

func fingerprint(t *testing.T, dir string) string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(dir, "catalog.db"))
	if errors.Is(err, os.ErrNotExist) {
		return ""
	}
	require.NoError(t, err)
	onlyCatalogue(t, dir)
	return string(b)
}

func part(t *testing.T, s *store.Store, no string) catalog.Part {
	t.Helper()
	rows, err := head(t, s).Group(catalog.TableByName(catalog.TParts), catalog.MakeKey(catalog.Fold(no)))
	require.NoError(t, err)
	require.Len(t, rows, 1, no)
	return *rows[0].(*catalog.Part)
}

func TestUpdateKeepsWhatStands(t *testing.T) {
	_, dir := catalogtest.Store(t, lines(t, "harbour", harbour))
	update := lines(t, "update", `
parts: part=RING-9 | name=Ring, wide | kind=single | origin=aftermarket | status=sold | source=BENCH
parts: part=new-1 | name=New | kind=single | origin=unit-maker | status=sold | source=BENCH
parts: part=00421 | note=No longer made
parts: part=SK-0042-A | name=Seal kit | kind=kit | origin=unit-maker | status=sold | source=BENCH
supersessions:
`)
	var changes []string
	want := []string{
		`parts changed 00421 note:""->"No longer made"`,
		`parts came new-1`,
		`parts changed RING-9 part:"ring-9"->"RING-9" name:"Ring"->"Ring, wide"`,
	}
	dry := do(t, dir, update, store.ImportOptions{DryRun: true, Changes: told(&changes)})
	require.Equal(t, 1, dry.Edition)
	require.False(t, dry.Unchanged)
	if d := cmp.Diff(want, changes); d != "" {
		t.Errorf("changes of the dry run:\n%s", d)
	}
	require.Equal(t, 1, catalogtest.Open(t, dir).Number())

	changes = nil
	res := do(t, dir, update, store.ImportOptions{Changes: told(&changes)})
	require.Equal(t, 2, res.Edition)
	if d := cmp.Diff(want, changes); d != "" {
		t.Errorf("changes:\n%s", d)
	}
	require.Equal(t, []store.TableResult{{Table: "parts", Added: 1, Changed: 2, Same: 1, Held: 2}, {Table: "supersessions", Same: 1}}, res.Tables)
	require.Len(t, res.Remarks, 1)
	require.Equal(t, catalog.EmptyTable, res.Remarks[0].Code)
	s := catalogtest.Open(t, dir)
	require.Equal(t, "green", part(t, s, "ring9").Look, "an empty cell wiped what stood")
	require.Equal(t, catalog.PartNo("RING-9"), part(t, s, "ring9").Part, "the new spelling stands")
	require.Equal(t, "Seal kit, old", part(t, s, "00421").Name)
	require.Equal(t, 1, head(t, s).Count(catalog.TSupersessions), "an empty table wiped what stood")

	// Compare tells the same as the import did.
	changes = nil
	require.NoError(t, s.Compare(context.Background(), 1, 2, told(&changes)))
	if d := cmp.Diff(want, changes); d != "" {
		t.Errorf("compared:\n%s", d)
	}
	changes = nil
	require.NoError(t, s.Compare(context.Background(), 2, 1, told(&changes)))
	require.Equal(t, []string{
		`parts changed 00421 note:"No longer made"->""`,
		`parts went new-1`,
		`parts changed ring-9 part:"RING-9"->"ring-9" name:"Ring, wide"->"Ring"`,
	}, changes)

	// The same once more changes nothing, and makes no edition.
	again := do(t, dir, update, store.ImportOptions{})
	require.True(t, again.Unchanged)
	require.Equal(t, 2, again.Edition)
	require.Equal(t, 2, catalogtest.Open(t, dir).Number())

	// The clear word empties a cell.
	clear := lines(t, "clear", `parts: part=ring-9 | look=(clear)`)
	changes = nil
	do(t, dir, clear, store.ImportOptions{Changes: told(&changes)})
	require.Equal(t, []string{`parts changed ring-9 part:"RING-9"->"ring-9" look:"green"->""`}, changes)
	require.Empty(t, part(t, catalogtest.Open(t, dir), "ring-9").Look)

	// It does not get past the rules.
	require.Equal(t, []string{"missing parts.csv:2 column name "}, found(t, dir, lines(t, "clear", `parts: part=ring-9 | name=(clear)`), store.ImportOptions{}))
}

func TestReplace(t *testing.T) {
	_, dir := catalogtest.Store(t, lines(t, "harbour", harbour))
	// The ring is in a kit, and the old kit is superseded: they cannot go.
	replace := lines(t, "replace", `
parts: part=SK-0042-A | name=Seal kit | kind=kit | origin=unit-maker | status=sold | source=BENCH
parts: part=new-1 | name=New | kind=single | origin=unit-maker | status=sold | source=BENCH
`)
	require.Equal(t, []string{
		"dangling contents column part ring-9",
		"dangling fits column part 00421",
		"dangling supersessions column old 00421",
	}, found(t, dir, replace, store.ImportOptions{Replace: []string{"parts"}}))

	// With the tables that name them replaced too they can.
	require.NoError(t, replace.Add("supersessions", "old=new-1", "new=SK-0042-A", "kind=one-way", "qty=1", "source=BENCH"))
	require.NoError(t, replace.Add("contents", "kit=SK-0042-A", "part=new-1", "qty=1", "source=BENCH"))
	require.NoError(t, replace.Add("fits", "scope=variant", "of=QM7-032", "statement=1", "role=seal-kit", "effect=does-not-fit", "part=new-1", "source=BENCH"))
	var changes []string
	opts := store.ImportOptions{Replace: []string{"parts", "supersessions", "contents"}, Changes: told(&changes)}
	res := do(t, dir, replace, opts)
	require.Equal(t, []string{
		`parts went 00421`,
		`parts came new-1`,
		`parts went ring-9`,
		`contents came SK-0042-A / new-1`,
		`contents went SK-0042-A / ring-9`,
		`fits changed variant / QM7-032 / 1 part:"00421"->"new-1"`,
		`supersessions went 00421 / SK-0042-A`,
		`supersessions came new-1 / SK-0042-A`,
	}, changes)
	require.Equal(t, store.TableResult{Table: "parts", Added: 1, Removed: 2, Same: 1}, res.Tables[0])

	// A replaced row stands as it comes, with its empty cells.
	require.NoError(t, replace.Add("parts", "part=00421", "name=Seal kit, old", "kind=single", "origin=unit-maker", "status=ended", "note=x", "source=BENCH"))
	do(t, dir, replace, store.ImportOptions{})
	require.Equal(t, "x", part(t, catalogtest.Open(t, dir), "00421").Note)
	plain := lines(t, "plain", `
parts: part=00421 | name=Seal kit, old | kind=single | origin=unit-maker | status=ended | source=BENCH
parts: part=SK-0042-A | name=Seal kit | kind=kit | origin=unit-maker | status=sold | source=BENCH
parts: part=new-1 | name=New | kind=single | origin=unit-maker | status=sold | source=BENCH
`)
	do(t, dir, plain, store.ImportOptions{Replace: []string{"parts"}})
	require.Empty(t, part(t, catalogtest.Open(t, dir), "00421").Note)

	// What is to be replaced must be there, or everything would go.
	require.Equal(t, []string{"empty-table fits "}, found(t, dir, lines(t, "none", "fits:\n"), store.ImportOptions{Replace: []string{"fits"}}))
	require.Equal(t, []string{"empty-table roles "}, found(t, dir, plain, store.ImportOptions{Replace: []string{"roles"}}))
	require.Equal(t, []string{"unknown-table  gears"}, found(t, dir, plain, store.ImportOptions{Replace: []string{"gears"}}))
}

// Everything that is wrong comes at once, with its place, whether a catalogue
// stands already or not.
func TestFindings(t *testing.T) {
	bad := func() *catalogtest.Feed {
		return lines(t, "bad", harbour+`
parts: part=sk/0042/a | name=Again | kind=kit | origin=unit-maker | status=sold | source=BENCH
parts: part=bare-1 | name=Bare | kind=single | origin=unit-maker | status=sold
parts: part=lost-1 | name=Lost | kind=single | origin=unit-maker | status=sold | source=NOWHERE
fits: scope=variant | of=QM7-039 | statement=1 | role=seal-kit | effect=fits | part=SK-0042-A | qty=1 | source=BENCH
fits: scope=variant | of=QM7-031 | statement=9 | role=no-role | effect=fits | part=421 | qty=1 | source=BENCH
fits: scope=mark | of=colour=green | statement=1 | role=seal-kit | effect=fits | part=ring-9 | qty=1 | source=BENCH
assemblies: assembly=pump | name=Pump | follows=bell | source=BENCH
supersessions: old=SK-0042-A | new=00421 | kind=one-way | qty=1 | source=BENCH
`)
	}
	want := []string{
		"dangling assemblies.csv:4 column follows bell",
		"dangling fits.csv:7 column of QM7-039",
		"leading-zeros fits.csv:8 column part 421",
		"dangling fits.csv:8 column role no-role",
		"dangling fits.csv:9 column of colour=green",
		"duplicate parts.csv:5 column part sk/0042/a",
		"missing parts.csv:6 column source ",
		"dangling parts.csv:7 column source NOWHERE",
		"circle supersessions.csv:2 column new SK-0042-A",
		"circle supersessions.csv:3 column new 00421",
	}
	require.Equal(t, want, found(t, t.TempDir(), bad(), store.ImportOptions{}), "into nothing")
	_, dir := catalogtest.Store(t, lines(t, "harbour", harbour))
	require.Equal(t, want, found(t, dir, bad(), store.ImportOptions{}), "over what stands")
	require.Equal(t, want, found(t, dir, bad(), store.ImportOptions{DryRun: true, Changes: func(store.Change) error { return nil }}), "in a dry run")

	require.Equal(t, []string{"nothing none "}, found(t, dir, lines(t, "none", ""), store.ImportOptions{}))
}

// An import that is ended from outside, by the feed or by its caller changes
// nothing.
func TestEndedImport(t *testing.T) {
	_, dir := catalogtest.Store(t, lines(t, "harbour", harbour))
	before := fingerprint(t, dir)
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	_, err := store.Import(ctx, dir, newSynthetic(t, 10_000, true), store.ImportOptions{})
	require.ErrorIs(t, err, context.Canceled)
	stop := errors.New("stop")
	_, err = store.Import(context.Background(), dir, lines(t, "x", "sources: source=S2 | title=T | kind=bench"), store.ImportOptions{Changes: func(store.Change) error { return stop }})
	require.ErrorIs(t, err, stop)
	_, err = store.Import(context.Background(), dir, broken{lines(t, "x", harbour), stop}, store.ImportOptions{})
	require.ErrorIs(t, err, stop)
	require.Equal(t, before, fingerprint(t, dir))
}

type broken struct {
	catalog.Feed
	err error
}

func (b broken) Rows(t *catalog.Table, fs *catalog.Findings, each func(catalog.Row, catalog.Place, catalog.Cells) error) error {
	if t.Name == catalog.TParts {
		return b.err
	}
	return b.Feed.Rows(t, fs, each)
}

func TestEditions(t *testing.T) {
	ctx := context.Background()
	_, dir := catalogtest.Store(t, lines(t, "harbour", harbour))
	do(t, dir, lines(t, "second", "parts: part=ring-9 | name=Ring, second"), store.ImportOptions{})
	do(t, dir, lines(t, "third", "parts: part=ring-9 | name=Ring, third"), store.ImportOptions{})
	opts := store.ChangeOptions{Now: catalogtest.Now, Program: "test"}
	var refused *store.EditionError
	for _, n := range []int{0, 3, 4, -1} {
		_, err := store.Restore(ctx, dir, n, opts)
		require.ErrorAs(t, err, &refused)
		require.Equal(t, n, refused.Number)
	}
	e, err := store.Restore(ctx, dir, 1, opts)
	require.NoError(t, err)
	require.Equal(t, []int{4, 1, 3}, []int{e.Number, e.Restores, e.Parent})
	s := catalogtest.Open(t, dir)
	require.Equal(t, "Ring", part(t, s, "ring-9").Name)
	require.NoError(t, s.Compare(ctx, 1, 4, func(store.Change) error { return errors.New("they differ") }))
	v, err := s.Edition(2)
	require.NoError(t, err)
	rows, err := v.Group(catalog.TableByName("parts"), catalog.MakeKey("RING9"))
	require.NoError(t, err)
	require.Equal(t, "Ring, second", rows[0].(*catalog.Part).Name)
	require.NoError(t, v.Close())

	require.ErrorAs(t, store.Drop(ctx, dir, []int{4}, opts), &refused)
	require.ErrorAs(t, store.Drop(ctx, dir, []int{5}, opts), &refused)
	require.NoError(t, store.Drop(ctx, dir, []int{1, 3}, opts))
	s = catalogtest.Open(t, dir)
	_, err = s.Edition(3)
	require.ErrorAs(t, err, &refused)
	_, err = store.Restore(ctx, dir, 3, opts)
	require.ErrorAs(t, err, &refused)
	require.Equal(t, "Ring", part(t, s, "ring-9").Name, "edition 4 holds what edition 1 held")
	list, err := s.Editions()
	require.NoError(t, err)
	var names []string
	for _, e := range list {
		names = append(names, fmt.Sprintf("%d %s %v %d", e.Number, e.Origin, e.Dropped, e.Rows()))
	}
	require.Equal(t, []string{"1 harbour true 0", "2 second false 22", "3 third true 0", "4 harbour false 22"}, names)

	rep, err := s.Check(ctx, nil)
	require.NoError(t, err)
	gens := 0
	for _, g := range rep.Tables {
		if g.Table == "parts" {
			gens++
			require.Contains(t, [][]int{{2}, {4}}, g.Editions)
		}
	}
	require.Equal(t, 2, gens, "the parts of edition 3 are still in the file")
	require.NoError(t, store.Drop(ctx, dir, []int{3}, opts), "once more")

	var missing *store.MissingError
	_, err = store.Restore(ctx, t.TempDir(), 1, opts)
	require.ErrorAs(t, err, &missing)
	require.ErrorAs(t, store.Drop(ctx, t.TempDir(), []int{1}, opts), &missing)
}

func TestBackup(t *testing.T) {
	ctx := context.Background()
	s, dir := catalogtest.Store(t, lines(t, "harbour", harbour))
	// The copy is of what s knows, even if the catalogue has moved on.
	do(t, dir, lines(t, "second", "parts: part=ring-9 | name=Ring, second"), store.ImportOptions{})
	other := t.TempDir()
	copyAt := filepath.Join(other, "catalog.db")
	require.NoError(t, os.WriteFile(copyAt, []byte("in the way"), 0o666))
	require.NoError(t, s.Backup(ctx, copyAt))
	back := catalogtest.Open(t, other)
	require.Equal(t, 1, back.Number())
	sameAnswers(t, inMemory(t, lines(t, "harbour", harbour)), head(t, back))
	onlyCatalogue(t, other)

	require.Error(t, s.Backup(ctx, filepath.Join(other, "none", "catalog.db")))
}

// Who has seen enough of a table is told no more of it, and of the others all.
func TestSkipTable(t *testing.T) {
	dir := t.TempDir()
	var seen []string
	one := func(c store.Change) error {
		seen = append(seen, c.Table.Name+" "+c.Name)
		require.Equal(t, c.Table.Name, c.At.Table)
		if c.Table.Name != "makers" {
			return store.ErrSkipTable
		}
		return nil
	}
	res := do(t, dir, newSynthetic(t, 50, true), store.ImportOptions{Changes: one})
	require.Equal(t, []string{"sources BENCH", "makers Quillmoor", "families QM-7", "assemblies case", "layouts QP1", "fields QP1 / 1", "variants QX0000000-A", "roles r0", "parts P000000", "fits variant / QX0000000-A / 1"}, seen)
	require.Equal(t, 50, res.Tables[6].Added)

	seen = nil
	f := &catalogtest.Feed{Title: "names"}
	for i := range 9 {
		require.NoError(t, f.Add("parts", fmt.Sprintf("part=P%06d", i), "name=Other"))
	}
	res = do(t, dir, f, store.ImportOptions{Changes: one})
	require.Equal(t, []string{"parts P000000"}, seen)
	require.Equal(t, 9, res.Tables[0].Changed)
	seen = nil
	s := catalogtest.Open(t, dir)
	require.NoError(t, s.Compare(context.Background(), 1, 2, func(c store.Change) error { seen = append(seen, c.Name); return store.ErrSkipTable }))
	require.Equal(t, []string{"P000000"}, seen)
}

// Rows in any order, over the limits of memory, come out the same.
func TestOrderDoesNotMatter(t *testing.T) {
	digests := func(feed catalog.Feed) (out []string) {
		s, _ := catalogtest.Store(t, feed)
		for _, of := range head(t, s).Edition().Tables {
			out = append(out, of.Table+" "+of.Digest)
		}
		return out
	}
	require.Equal(t, digests(newSynthetic(t, 3000, false)), digests(newSynthetic(t, 3000, true)))
}

func TestProgress(t *testing.T) {
	var seen []string
	_, err := store.Import(context.Background(), t.TempDir(), newSynthetic(t, 9000, false), store.ImportOptions{Now: catalogtest.Now, Progress: func(p store.Progress) {
		if !slices.Contains(seen, string(p.Stage)) {
			seen = append(seen, string(p.Stage))
		}
	}})
	require.NoError(t, err)
	slices.Sort(seen)
	require.Equal(t, []string{"check", "merge", "read"}, seen)
}
