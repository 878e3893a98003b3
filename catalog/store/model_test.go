package store_test

import (
	"context"
	"fmt"
	"maps"
	"os"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"platewright/catalog"
	"platewright/catalog/catalogtest"
	"platewright/catalog/memory"
	"platewright/catalog/store"
)

// world is the plain judge: tables as maps from row keys to cells, and a list
// of all editions.
type world map[string]map[string][]string

func (w world) clone() world {
	out := world{}
	for t, rows := range w {
		out[t] = maps.Clone(rows)
	}
	return out
}

// apply merges rows the slow and obvious way; ok tells that no key came twice.
func (w world) apply(table *catalog.Table, rows []incoming, replace bool) (ok bool) {
	ok = true
	old := w[table.Name]
	now := maps.Clone(old)
	if now == nil || replace {
		now = map[string][]string{}
	}
	came := map[string]bool{}
	for _, in := range rows {
		k := string(table.RowKey(nil, in.row))
		if came[k] {
			ok = false
		}
		came[k] = true
		cells := table.Cells(nil, in.row)
		if was := old[k]; was != nil && !replace {
			for i, c := range cells {
				if c == "" && !in.cleared.Has(i) {
					cells[i] = was[i]
				}
			}
		}
		now[k] = cells
	}
	w[table.Name] = now
	return ok
}

type incoming struct {
	row     catalog.Row
	cleared catalog.Cells
}

func (w world) memory(t require.TestingT) *memory.Catalogue {
	m := memory.New()
	for _, table := range catalog.Tables() {
		for _, cells := range w[table.Name] {
			m.Add(table, rowOf(t, table, cells), catalog.Place{})
		}
	}
	m.Seal()
	return m
}

func rowOf(t require.TestingT, table *catalog.Table, cells []string) catalog.Row {
	r := table.New()
	for i, c := range table.Columns {
		if cells[i] != "" {
			require.NoError(t, c.Set(r, cells[i]))
		}
	}
	return r
}

// Few codes in several spellings, so that rows meet.
func code(prefix string, n int) *rapid.Generator[string] {
	return rapid.Custom(func(t *rapid.T) string {
		i := rapid.IntRange(0, n).Draw(t, "n")
		return fmt.Sprintf([]string{"%s-%d", "%s%d", "%s/%d"}[rapid.IntRange(0, 2).Draw(t, "spelling")], prefix, i)
	})
}

func maybe(t *rapid.T, g *rapid.Generator[string]) string {
	if rapid.IntRange(0, 3).Draw(t, "empty") == 0 {
		return ""
	}
	return g.Draw(t, "text")
}

func drawRow(t *rapid.T, table *catalog.Table) incoming {
	var cells []string
	word := rapid.SampledFrom([]string{"one", "two", "a longer text", "ü", "="})
	src := rapid.SampledFrom([]string{"BENCH", "bench", "S2"})
	switch table.Name {
	case catalog.TSources:
		cells = []string{src.Draw(t, "source"), maybe(t, word), "bench", maybe(t, word), "", ""}
	case catalog.TSpecs:
		cells = []string{code("sp", 3).Draw(t, "spec"), maybe(t, word), maybe(t, word), maybe(t, src)}
	case catalog.TServes:
		cells = []string{code("sp", 3).Draw(t, "spec"), code("sp", 3).Draw(t, "by"), maybe(t, word), maybe(t, src)}
	case catalog.TParts:
		cells = []string{code("p", 5).Draw(t, "part"), maybe(t, word), "fluid", "aftermarket", "sold", maybe(t, word), "", maybe(t, src)}
	case catalog.TMeets:
		cells = []string{code("sp", 3).Draw(t, "spec"), code("p", 5).Draw(t, "fluid"), maybe(t, rapid.SampledFrom([]string{"approved", "claimed"})), maybe(t, src)}
	}
	in := incoming{row: rowOf(t, table, cells)}
	for i, c := range cells {
		if c == "" && rapid.IntRange(0, 3).Draw(t, "clear") == 0 {
			in.cleared = in.cleared.With(i)
		}
	}
	return in
}

// A sequence of imports, restores and drops leaves what the plain judge says,
// in every edition, and refuses exactly what breaks a rule.
func TestAgainstModel(t *testing.T) {
	tables := []string{catalog.TSources, catalog.TSpecs, catalog.TServes, catalog.TParts, catalog.TMeets}
	rapid.Check(t, func(rt *rapid.T) {
		ctx := context.Background()
		dir, err := os.MkdirTemp("", "model")
		require.NoError(rt, err)
		defer func() { require.NoError(rt, os.RemoveAll(dir)) }()
		first := world{}
		feed := &catalogtest.Feed{Title: "first"}
		for _, in := range []struct {
			table string
			cells []string
		}{
			{catalog.TSources, []string{"BENCH", "Bench", "bench", "", "", ""}},
			{catalog.TSpecs, []string{"sp-0", "Spec", "", "BENCH"}},
			{catalog.TParts, []string{"p-0", "Oil", "fluid", "aftermarket", "sold", "", "", "BENCH"}},
		} {
			table := catalog.TableByName(in.table)
			r := rowOf(rt, table, in.cells)
			first.apply(table, []incoming{{r, 0}}, false)
			feed.AddRow(table, r, 0)
		}
		_, err = store.Import(ctx, dir, feed, store.ImportOptions{Now: catalogtest.Now})
		require.NoError(rt, err)
		editions := []world{first} // nil once dropped

		for range rapid.IntRange(1, 5).Draw(rt, "steps") {
			head := len(editions)
			switch op := rapid.IntRange(0, 9).Draw(rt, "op"); {
			case op == 0:
				n := rapid.IntRange(1, head).Draw(rt, "restore")
				_, err := store.Restore(ctx, dir, n, store.ChangeOptions{})
				if n == head || editions[n-1] == nil {
					var refused *store.EditionError
					require.ErrorAs(rt, err, &refused)
					continue
				}
				require.NoError(rt, err)
				editions = append(editions, editions[n-1])
			case op == 1:
				n := rapid.IntRange(1, head).Draw(rt, "drop")
				err := store.Drop(ctx, dir, []int{n}, store.ChangeOptions{})
				if n == head {
					var refused *store.EditionError
					require.ErrorAs(rt, err, &refused)
					continue
				}
				require.NoError(rt, err)
				editions[n-1] = nil
			default:
				next := editions[head-1].clone()
				feed := &catalogtest.Feed{Title: "step"}
				opts := store.ImportOptions{Now: catalogtest.Now, DryRun: op == 2}
				valid, rows := true, 0
				for _, name := range tables {
					n := rapid.IntRange(-2, 4).Draw(rt, name)
					if n < 0 {
						continue
					}
					table := feed.Hold(name)
					var in []incoming
					for range n {
						in = append(in, drawRow(rt, table))
						feed.AddRow(table, in[len(in)-1].row, in[len(in)-1].cleared)
					}
					rows += n
					replace := rapid.IntRange(0, 4).Draw(rt, "replace") == 0
					if replace {
						opts.Replace = append(opts.Replace, name)
						valid = valid && n > 0
					}
					if n > 0 {
						valid = next.apply(table, in, replace) && valid
					}
				}
				broken := false
				next.memory(rt).Check(func(f catalog.Finding) { broken = broken || f.Severity != catalog.Remark })
				var changed []string
				if rapid.Bool().Draw(rt, "tell") {
					opts.Changes = func(c store.Change) error {
						changed = append(changed, c.Table.Name+" "+string(c.Kind)+" "+c.Key)
						return nil
					}
				}
				res, err := store.Import(ctx, dir, feed, opts)
				if !valid || broken || rows == 0 {
					var refused *catalog.RefusedError
					require.ErrorAs(rt, err, &refused, "valid %v broken %v", valid, broken)
					continue
				}
				require.NoError(rt, err, catalogtest.Explain(err))
				want := difference(editions[head-1], next)
				require.Equal(rt, len(want) == 0, res.Unchanged)
				if opts.Changes != nil {
					if d := cmp.Diff(want, changed); d != "" {
						rt.Fatalf("changes differ:\n%s", d)
					}
				}
				if opts.DryRun || res.Unchanged {
					require.Equal(rt, head, res.Edition)
					continue
				}
				require.Equal(rt, head+1, res.Edition)
				editions = append(editions, next)
			}
		}
		compareEditions(rt, dir, editions)
	})
}

func difference(a, b world) []string {
	var out []string
	for _, table := range catalog.Tables() {
		keys := map[string]string{}
		for k, cells := range a[table.Name] {
			if now, ok := b[table.Name][k]; !ok {
				keys[k] = "went"
			} else if !slices.Equal(cells, now) {
				keys[k] = "changed"
			}
		}
		for k := range b[table.Name] {
			if _, ok := a[table.Name][k]; !ok {
				keys[k] = "came"
			}
		}
		for _, k := range slices.Sorted(maps.Keys(keys)) {
			out = append(out, table.Name+" "+keys[k]+" "+k)
		}
	}
	return out
}

func compareEditions(rt *rapid.T, dir string, editions []world) {
	ctx := context.Background()
	s, err := store.Open(dir)
	require.NoError(rt, err)
	defer func() { require.NoError(rt, s.Close()) }()
	_, err = s.Check(ctx, nil)
	require.NoError(rt, err)
	require.Equal(rt, len(editions), s.Number())
	last := 0
	for i, w := range editions {
		v, err := s.Edition(i + 1)
		if w == nil {
			var refused *store.EditionError
			require.ErrorAs(rt, err, &refused)
			continue
		}
		require.NoError(rt, err)
		sameAnswers(rt, w.memory(rt), v)
		require.NoError(rt, v.Close())
		if last > 0 {
			var got []string
			require.NoError(rt, s.Compare(ctx, last, i+1, func(c store.Change) error {
				got = append(got, c.Table.Name+" "+string(c.Kind)+" "+c.Key)
				return nil
			}))
			if d := cmp.Diff(difference(editions[last-1], w), got); d != "" {
				rt.Fatalf("editions %d and %d differ otherwise:\n%s", last, i+1, d)
			}
		}
		last = i + 1
	}
}
