package memory_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"platewright/catalog"
	"platewright/catalog/memory"
)

// TestLookUps holds every look-up against a plain list of the rows, added in
// random order: groups, the walk by keys, reverse look-ups, counts and order.
func TestLookUps(t *testing.T) {
	tb := catalog.TableByName(catalog.TFits)
	part := tb.Column("part")
	rapid.Check(t, func(t *rapid.T) {
		c := memory.New()
		var kept []*catalog.Fit
		for i := range rapid.IntRange(0, 30).Draw(t, "rows") {
			f := &catalog.Fit{
				Scope:     rapid.SampledFrom([]catalog.FitScope{catalog.FitVariant, catalog.FitFamily}).Draw(t, "scope"),
				Of:        rapid.SampledFrom([]string{"A-1", "a 1", "B", "B1"}).Draw(t, "of"),
				Statement: rapid.SampledFrom([]string{"1", "2", "10", "x"}).Draw(t, "statement"),
				Part:      catalog.PartNo(rapid.SampledFrom([]string{"", "P", "p", "Q-1"}).Draw(t, "part")),
			}
			key := string(tb.RowKey(nil, f))
			there := slices.ContainsFunc(kept, func(o *catalog.Fit) bool { return string(tb.RowKey(nil, o)) == key })
			if added := c.Add(tb, f, catalog.Place{Row: i + 2}); added == there {
				t.Fatalf("a row %q is there: %t, and was added: %t", key, there, added)
			}
			if !there {
				kept = append(kept, f)
			}
		}
		c.Seal()
		slices.SortFunc(kept, func(a, b *catalog.Fit) int {
			return strings.Compare(string(tb.RowKey(nil, a)), string(tb.RowKey(nil, b)))
		})
		var got []*catalog.Fit
		for r, at := range c.Rows(tb.Name) {
			if at.Row < 2 {
				t.Fatalf("a row has no place: %+v", at)
			}
			got = append(got, r.(*catalog.Fit))
		}
		if !slices.Equal(got, kept) || c.Count(tb.Name) != len(kept) {
			t.Fatalf("%d rows come in another order, or not all: %d", c.Count(tb.Name), len(got))
		}
		groups := map[string][]catalog.Row{}
		var keys []string
		reverse := map[string][]string{}
		for _, f := range kept {
			k := string(tb.GroupKey(nil, f))
			if groups[k] == nil {
				keys = append(keys, k)
			}
			groups[k] = append(groups[k], f)
			if p := catalog.KeyPart(part.Kind, string(f.Part)); p != "" && !slices.Contains(reverse[p], k) {
				reverse[p] = append(reverse[p], k)
			}
		}
		for _, k := range append(keys, "FAMILY\x00", "", "ZZ\x00") {
			rows, err := c.Group(tb, k)
			if err != nil || fmt.Sprint(rows) != fmt.Sprint(groups[k]) {
				t.Fatalf("the group %q is %v, %v, want %v", k, rows, err, groups[k])
			}
			for _, from := range []string{k, k + "\x00", k[:len(k)/2]} {
				want := ""
				if i := slices.IndexFunc(keys, func(o string) bool { return o >= from }); i >= 0 {
					want = keys[i]
				}
				next, ok, err := c.Seek(tb, from)
				if err != nil || next != want || ok != (want != "") {
					t.Fatalf("from %q comes %q, %t, %v, want %q", from, next, ok, err, want)
				}
			}
		}
		for _, p := range []string{"P", "Q1", "NONE", ""} {
			var refer []string
			if err := c.Referring(tb, "part", p, func(g string) bool { refer = append(refer, g); return true }); err != nil {
				t.Fatal(err)
			}
			if !slices.Equal(refer, reverse[p]) {
				t.Fatalf("%q is referred to by %q, want %q", p, refer, reverse[p])
			}
			n := 0
			_ = c.Referring(tb, "part", p, func(string) bool { n++; return false })
			if n > 1 {
				t.Fatal("it does not stop when told to")
			}
		}
	})
}

// TestEmpty holds that a catalogue without rows answers, with nothing.
func TestEmpty(t *testing.T) {
	c := memory.New()
	c.Seal()
	tb := catalog.TableByName(catalog.TParts)
	rows, err := c.Group(tb, "P\x00")
	_, ok, seekErr := c.Seek(tb, "")
	if rows != nil || err != nil || ok || seekErr != nil || c.Count(tb.Name) != 0 {
		t.Error("an empty catalogue holds something")
	}
	for range c.Rows(tb.Name) {
		t.Error("an empty catalogue has a row")
	}
	c.Check(func(f catalog.Finding) { t.Error(f) })
}

// TestCheck holds that the rules of rows, their references and the rules of the
// whole are all reported with their places, and that a reference to a row that
// was met and refused is excused.
func TestCheck(t *testing.T) {
	c := memory.New()
	add := func(table string, row catalog.Row, line int) {
		c.Add(catalog.TableByName(table), row, catalog.Place{File: table + ".csv", Table: table, Row: line})
	}
	add(catalog.TSources, &catalog.Source{Source: "demo", Title: "Demo", Kind: catalog.SourceInvented}, 2)
	add(catalog.TParts, &catalog.Part{Part: "A", Name: "a", Kind: catalog.PartSingle, Origin: catalog.OriginMaker, Status: catalog.PartSold, Source: "demo"}, 2)
	add(catalog.TParts, &catalog.Part{Part: "B", Kind: catalog.PartSingle, Origin: catalog.OriginMaker, Status: catalog.PartSold, Source: "gone"}, 3)
	add(catalog.TSupersessions, &catalog.Supersession{Old: "A", New: "B", Kind: catalog.OneWay, Qty: 1, Source: "demo"}, 2)
	add(catalog.TSupersessions, &catalog.Supersession{Old: "B", New: "A", Kind: catalog.OneWay, Qty: 1, Source: "demo"}, 3)
	c.Seal()
	found := func() []string {
		var out []string
		c.Check(func(f catalog.Finding) { out = append(out, f.Place.String()+" "+string(f.Code)) })
		slices.Sort(out)
		return out
	}
	want := []string{"parts.csv:3 column name missing", "parts.csv:3 column source dangling", "supersessions.csv:2 column new circle", "supersessions.csv:3 column new circle"}
	if got := found(); !slices.Equal(got, want) {
		t.Errorf("the findings are %q, want %q", got, want)
	}
	c.Excuse(catalog.TSources, catalog.MakeKey("GONE"))
	if got := found(); !slices.Equal(got, slices.Delete(want, 1, 2)) {
		t.Errorf("with the source excused the findings are %q", got)
	}
}
