package store_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/require"

	"platewright/catalog"
	"platewright/catalog/catalogtest"
	"platewright/catalog/memory"
	"platewright/catalog/store"
)

// lines reads a small catalogue from text: a line "TABLE: COLUMN=TEXT | …" for
// each row, or "TABLE:" for a table that is held without rows.
func lines(t testing.TB, title, text string) *catalogtest.Feed {
	t.Helper()
	f := &catalogtest.Feed{Title: title}
	for line := range strings.Lines(text) {
		table, cells, ok := strings.Cut(strings.TrimSpace(line), ":")
		if table == "" {
			continue
		}
		require.True(t, ok, "no table in %q", line)
		if strings.TrimSpace(cells) == "" {
			require.NotNil(t, f.Hold(table))
			continue
		}
		var list []string
		for c := range strings.SplitSeq(cells, "|") {
			list = append(list, strings.TrimSpace(c))
		}
		require.NoError(t, f.Add(table, list...))
	}
	return f
}

const harbour = `
sources: source=BENCH | title=Bench book of the harbour shop | kind=bench
makers: maker=Quillmoor | name=Quillmoor Drives | source=BENCH
families: family=QM-7 | maker=Quillmoor | name=Seven gear unit | source=BENCH
assemblies: assembly=case | name=Unit case | source=BENCH
assemblies: assembly=valve-body | name=Valve body | follows=case | source=BENCH
layouts: layout=QP1 | maker=Quillmoor | assembly=case | name=Case plate | example=QM7031 | source=BENCH
fields: layout=QP1 | place=1 | field=code | kind=alphanum | min=3 | max=8 | means=variant
variants: variant=QM7-031 | family=QM-7 | layout=QP1 | count=120 | source=BENCH
variants: variant=QM7-032 | family=QM-7 | layout=QP1 | serial_from=100 | serial_to=900 | source=BENCH
marks: mark=connector | assembly=case | name=Case connector | kind=seen | force=deciding | effort=2 | how=Look at the connector | source=BENCH
roles: role=seal-kit | name=Seal kit | assembly=case | kind=part | one_time=yes
roles: role=oil | name=Fluid | assembly=case | kind=fluid
parts: part=00421 | name=Seal kit, old | kind=single | origin=unit-maker | status=ended | source=BENCH
parts: part=SK-0042-A | name=Seal kit | kind=kit | origin=unit-maker | status=sold | source=BENCH
parts: part=ring-9 | name=Ring | kind=single | origin=aftermarket | status=sold | look=green | source=BENCH
contents: kit=SK-0042-A | part=ring-9 | qty=4 | source=BENCH
fits: scope=variant | of=QM7-031 | statement=1 | role=seal-kit | effect=fits | part=SK-0042-A | qty=1 | source=BENCH
fits: scope=variant | of=qm7031 | statement=2 | role=seal-kit | effect=fits | part=sk0042a | position=front | qty=2 | when=connector=keyed | source=BENCH
fits: scope=variant | of=QM7-032 | statement=1 | role=seal-kit | effect=does-not-fit | part=00421 | source=BENCH
fits: scope=family | of=QM-7 | statement=1 | role=oil | effect=does-not-fit | source=BENCH
fits: scope=mark | of=connector=keyed | statement=1 | role=seal-kit | effect=fits | part=SK 0042 A | qty=1 | source=BENCH
supersessions: old=00421 | new=SK-0042-A | kind=one-way | qty=1 | source=BENCH
`

func do(t testing.TB, dir string, feed catalog.Feed, opts store.ImportOptions) store.Result {
	t.Helper()
	opts.Now, opts.Program = catalogtest.Now, "test"
	res, err := store.Import(context.Background(), dir, feed, opts)
	require.NoError(t, err, catalogtest.Explain(err))
	return res
}

func head(t testing.TB, s *store.Store) *store.View {
	t.Helper()
	v, err := s.Head()
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, v.Close()) })
	return v
}

// The three questions that package resolve asks are answered as the catalogue
// in memory answers them, which holds plain rows and sorts them.
func TestAnswersAsMemory(t *testing.T) {
	feed := lines(t, "harbour", harbour)
	s, _ := catalogtest.Store(t, feed)
	v := head(t, s)
	sameAnswers(t, inMemory(t, feed), v)
}

func inMemory(t testing.TB, feed catalog.Feed) *memory.Catalogue {
	t.Helper()
	m := memory.New()
	var fs catalog.Findings
	for _, table := range feed.Tables() {
		require.NoError(t, feed.Rows(table, &fs, func(r catalog.Row, at catalog.Place, _ catalog.Cells) error {
			own := table.New()
			for _, c := range table.Columns {
				if text := c.Get(r); text != "" {
					if err := c.Set(own, text); err != nil {
						return err
					}
				}
			}
			if !m.Add(table, own, at) {
				return errors.New("the row is there twice")
			}
			return nil
		}))
	}
	m.Seal()
	return m
}

// sameAnswers compares every group, seeks around every key and every reverse
// look-up.
func sameAnswers(t require.TestingT, want *memory.Catalogue, got *store.View) {
	for _, table := range catalog.Tables() {
		require.Equal(t, want.Count(table.Name), got.Count(table.Name), table.Name)
		var rows, mine []catalog.Row
		for r := range want.Rows(table.Name) {
			rows = append(rows, r)
		}
		for r, err := range got.Rows(table) {
			require.NoError(t, err)
			mine = append(mine, r)
		}
		if d := cmp.Diff(rows, mine); d != "" {
			require.Fail(t, table.Name+": rows differ", d)
		}
		ask := []string{"", "\x00", "~", "zzzz"}
		cells := map[string][]string{}
		for _, r := range rows {
			k := string(table.GroupKey(nil, r))
			ask = append(ask, k, k+"\x00", k[:len(k)-1], k[:len(k)/2], k+"0")
			for _, c := range table.Columns {
				if c.Reverse {
					part := catalog.KeyPart(c.Kind, c.Get(r))
					cells[c.Name] = append(cells[c.Name], part, part+"X", "")
				}
			}
		}
		for _, k := range ask {
			w, _ := want.Group(table, k)
			g, err := got.Group(table, k)
			require.NoError(t, err)
			if d := cmp.Diff(w, g); d != "" {
				require.Fail(t, fmt.Sprintf("%s: group %q differs", table.Name, k), d)
			}
			wk, wok, _ := want.Seek(table, k)
			gk, gok, err := got.Seek(table, k)
			require.NoError(t, err)
			require.Equal(t, []any{wk, wok}, []any{gk, gok}, "%s: seek %q", table.Name, k)
		}
		for column, keys := range cells {
			for _, key := range keys {
				var w, g []string
				require.NoError(t, want.Referring(table, column, key, func(k string) bool { w = append(w, k); return true }))
				require.NoError(t, got.Referring(table, column, key, func(k string) bool { g = append(g, k); return true }))
				if d := cmp.Diff(w, g); d != "" {
					require.Fail(t, fmt.Sprintf("%s: groups with %s %q differ", table.Name, column, key), d)
				}
			}
		}
	}
}

// Several views of one store answer at once.
func TestViewsAtOnce(t *testing.T) {
	feed := newSynthetic(t, 300, false)
	s, _ := catalogtest.Store(t, feed)
	fits := catalog.TableByName(catalog.TFits)
	var g sync.WaitGroup
	for range 8 {
		g.Go(func() {
			v, err := s.Head()
			if err != nil {
				t.Error(err)
				return
			}
			for i := range 300 {
				rows, err := v.Group(fits, catalog.MakeKey("VARIANT", catalog.Fold(feed.variant(i))))
				if err != nil || len(rows) != fitsPerVariant {
					t.Error(len(rows), err)
				}
				n := 0
				if err := v.Referring(fits, "part", "P000003", func(string) bool { n++; return n < 5 }); err != nil || n != 5 {
					t.Error(n, err)
				}
			}
			if err := v.Close(); err != nil {
				t.Error(err)
			}
		})
	}
	g.Wait()
}

// Look-ups go on between the steps of a walk and of a reverse look-up.
func TestLookUpsBetween(t *testing.T) {
	s, _ := catalogtest.Store(t, newSynthetic(t, 300, false))
	v := head(t, s)
	fits, variants := catalog.TableByName(catalog.TFits), catalog.TableByName(catalog.TVariants)
	n := 0
	for r, err := range v.Rows(variants) {
		require.NoError(t, err)
		n++
		key := catalog.MakeKey("VARIANT", r.(*catalog.Variant).Variant.Key())
		rows, err := v.Group(fits, key)
		require.NoError(t, err)
		require.Len(t, rows, fitsPerVariant)
		_, err = v.Group(variants, "none")
		require.NoError(t, err)
	}
	require.Equal(t, 300, n)
	var outer []string
	require.NoError(t, v.Referring(fits, "part", "P000003", func(k string) bool {
		outer = append(outer, k)
		var inner []string
		require.NoError(t, v.Referring(fits, "part", "P000003", func(k string) bool { inner = append(inner, k); return len(inner) < 7 }))
		require.Len(t, inner, 7)
		return true
	}))
	require.True(t, slices.IsSorted(outer))
	require.Greater(t, len(outer), 100)
}
