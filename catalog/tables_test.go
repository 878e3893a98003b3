package catalog_test

import (
	"errors"
	"go/ast"
	"go/parser"
	"go/token"
	"slices"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"platewright/catalog"
)

// TestTables holds every table to what package, store and documentation rely on.
func TestTables(t *testing.T) {
	before := map[string]bool{}
	for _, tb := range catalog.Tables() {
		if catalog.TableByName(tb.Name) != tb {
			t.Errorf("%s is not found by its name", tb.Name)
		}
		if !strings.HasSuffix(tb.Doc, ".") {
			t.Errorf("%s: %q is no sentence", tb.Name, tb.Doc)
		}
		if len(tb.Columns) > 64 {
			t.Errorf("%s has %d columns, a set of cells holds 64", tb.Name, len(tb.Columns))
		}
		if tb.Group < 1 || tb.Group > len(tb.Key) {
			t.Errorf("%s: %d key columns make a group of %d", tb.Name, len(tb.Key), tb.Group)
		}
		names := map[string]bool{}
		for i, c := range tb.Columns {
			if names[c.Name] || tb.Column(c.Name) != c {
				t.Errorf("%s has two columns %s", tb.Name, c.Name)
			}
			names[c.Name] = true
			if c.Doc == "" || strings.HasSuffix(c.Doc, ".") {
				t.Errorf("%s.%s: %q", tb.Name, c.Name, c.Doc)
			}
			if c.Ref != "" && !before[c.Ref] && c.Ref != tb.Name {
				t.Errorf("%s.%s refers to %s, which does not stand before it", tb.Name, c.Name, c.Ref)
			}
			if (c.Kind == catalog.KindWord) != (len(c.Words) > 0) {
				t.Errorf("%s.%s is a %s with %d words", tb.Name, c.Name, c.Kind, len(c.Words))
			}
			if c.Kind == catalog.KindTarget && (i == 0 || tb.Columns[i-1].Kind != catalog.KindWord) {
				t.Errorf("%s.%s is a target without a scope word before it", tb.Name, c.Name)
			}
			if tb.IsKey(i) != slices.Contains(tb.Key, i) {
				t.Errorf("%s.%s: IsKey is wrong", tb.Name, c.Name)
			}
		}
		// A key column that may be empty tells rows apart all the same; the group
		// must be there.
		for _, k := range tb.Key[:tb.Group] {
			if !tb.Columns[k].Required {
				t.Errorf("%s.%s makes the group and can be empty", tb.Name, tb.Columns[k].Name)
			}
		}
		before[tb.Name] = true
		for _, ref := range catalog.ReferredTables(tb) {
			if catalog.TableByName(ref) == nil {
				t.Errorf("%s refers to %q, which is no table", tb.Name, ref)
			}
			if !before[ref] {
				t.Errorf("%s refers to %s, which is read after it", tb.Name, ref)
			}
		}
	}
	if catalog.TableByName("nothing") != nil || catalog.Tables()[0].Column("nothing") != nil {
		t.Error("what is not there is found")
	}
}

// sample draws a text that a column must take.
func sample(t *rapid.T, c *catalog.Column, name string) string {
	draw := func(kind string) string { return rapid.StringMatching(kind).Draw(t, name) }
	switch c.Kind {
	case catalog.KindText:
		return draw(`[ -~Ωäß\n]{0,20}`)
	case catalog.KindCode:
		return draw(`([A-Za-z0-9]([ A-Za-z0-9./-]{0,10}[A-Za-z0-9])?)?`)
	case catalog.KindTarget:
		return draw(`[A-Z0-9]{1,6}(=[a-z0-9.]{1,6})?`)
	case catalog.KindValue:
		return draw(`[ A-Za-z0-9.Ω-]{0,12}`)
	case catalog.KindWord:
		return rapid.SampledFrom(append(slices.Clone(c.Words), "")).Draw(t, name)
	case catalog.KindCount:
		return draw(`0{0,2}[0-9]{1,6}`)
	case catalog.KindDecimal:
		return draw(`(-?[0-9]{1,5}(\.[0-9]{1,4})?)?`)
	case catalog.KindYes:
		return rapid.SampledFrom([]string{"yes", "no", ""}).Draw(t, name)
	case catalog.KindDate:
		return draw(`((19|20)[0-9]{2}(-(0[1-9]|1[0-2])(-([01][1-9]|2[0-8]))?)?)?`)
	case catalog.KindSerial:
		return draw(`0{0,3}[1-9][0-9]{0,9}`)
	case catalog.KindWords:
		return draw(`( ?[a-z0-9=]{1,5}){0,4}`)
	case catalog.KindConditions:
		return draw(`(pan *= *[a-z0-9]{1,5})?`) + rapid.SampledFrom([]string{"", ""}).Draw(t, name)
	}
	t.Fatalf("the kind %s has no samples", c.Kind)
	return ""
}

// TestCellsRoundTrip holds for every column of every table: what Get gives, Set
// takes, and it means the same; a cell touches no other; and rows that are
// cloned, reset and made in slabs are rows of their own.
func TestCellsRoundTrip(t *testing.T) {
	for _, tb := range catalog.Tables() {
		t.Run(tb.Name, func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) {
				row := tb.New()
				var cells []string
				for _, c := range tb.Columns {
					text := sample(t, c, c.Name)
					before := tb.Cells(nil, row)
					if err := c.Set(row, text); err != nil {
						t.Fatalf("%s refuses %q: %v", c.Name, text, err)
					}
					for i, o := range tb.Columns {
						if o != c && o.Get(row) != before[i] {
							t.Fatalf("%s changes %s", c.Name, o.Name)
						}
					}
					cells = append(cells, c.Get(row))
				}
				again := tb.New()
				for i, c := range tb.Columns {
					if err := c.Set(again, cells[i]); err != nil || c.Get(again) != cells[i] {
						t.Fatalf("%s gives %q and takes it as %q, %v", c.Name, cells[i], c.Get(again), err)
					}
				}
				if a, b := string(tb.RowKey(nil, row)), string(tb.RowKey(nil, again)); a != b {
					t.Fatalf("the keys are %q and %q", a, b)
				}
				if key := string(tb.RowKey(nil, row)); !strings.HasPrefix(key, string(tb.GroupKey(nil, row))) || strings.Count(key, string(catalog.KeySep)) != len(tb.Key) {
					t.Fatalf("the key %q of the group %q", key, tb.GroupKey(nil, row))
				}
				kept := tb.Clone(row)
				slab := tb.Slab(2)
				for i, c := range tb.Columns {
					if err := c.Set(slab[1], cells[i]); err != nil {
						t.Fatal(err)
					}
				}
				tb.Reset(row)
				if got := tb.Cells(nil, kept); !slices.Equal(got, cells) {
					t.Fatalf("a clone changes with its row: %q, want %q", got, cells)
				}
				empty := make([]string, len(tb.Columns))
				if !slices.Equal(tb.Cells(nil, row), empty) || !slices.Equal(tb.Cells(nil, slab[0]), empty) || !slices.Equal(tb.Cells(nil, slab[1]), cells) {
					t.Fatal("a reset row or a fresh one of a slab is not empty")
				}
			})
		})
	}
}

// TestCellsRefused holds for every column that a text of the wrong kind is
// refused by an error of the package and leaves the row as it was.
func TestCellsRefused(t *testing.T) {
	wrong := map[catalog.Kind][]string{
		catalog.KindText:       {"a\x00", "a\u202eb"},
		catalog.KindCode:       {"Ä1", "-", " A", "A\u200b"},
		catalog.KindTarget:     {"Ä", "-"},
		catalog.KindValue:      {"a;b", "a=b", "a\x00", strings.Repeat("x", 65)},
		catalog.KindWord:       {"nonsense", "YES"},
		catalog.KindCount:      {"-1", "+1", "1.5", "x", "100000000", " 1"},
		catalog.KindDecimal:    {"5,2", "1e3", "x"},
		catalog.KindYes:        {"true", "Yes", "1"},
		catalog.KindDate:       {"12.04.2019", "2019-13", "19"},
		catalog.KindSerial:     {"0", "-1", "12a"},
		catalog.KindWords:      {"a\x00"},
		catalog.KindConditions: {"pan", "pan=a; pan=b"},
	}
	for _, tb := range catalog.Tables() {
		for _, c := range tb.Columns {
			if len(wrong[c.Kind]) == 0 {
				t.Errorf("%s.%s: the kind %s has no wrong text", tb.Name, c.Name, c.Kind)
			}
			for _, text := range wrong[c.Kind] {
				row := tb.New()
				err := c.Set(row, text)
				var v *catalog.ValueError
				var code *catalog.CodeError
				if !errors.As(err, &v) && !errors.As(err, &code) {
					t.Errorf("%s.%s takes %q: %v", tb.Name, c.Name, text, err)
				}
				if c.Get(row) != "" {
					t.Errorf("%s.%s holds %q of a refused text", tb.Name, c.Name, c.Get(row))
				}
			}
		}
	}
}

// TestKeysSort holds that keys of whole numbers are in the order of the numbers,
// and that keys for people read well.
func TestKeysSort(t *testing.T) {
	last := ""
	for _, n := range []int{0, 1, 2, 9, 10, 11, 99, 100, 12345678, 99999999} {
		k := catalog.KeyPart(catalog.KindCount, strconv.Itoa(n))
		if k <= last {
			t.Errorf("the key %q of %d comes before %q", k, n, last)
		}
		last = k
	}
	key := catalog.MakeKey("FAMILY", "XEB")
	if key != "FAMILY\x00XEB\x00" || catalog.ShowKey(key) != "FAMILY / XEB" {
		t.Errorf("%q is shown as %q", key, catalog.ShowKey(key))
	}
	if a, b := catalog.KeyPart(catalog.KindTarget, "Pan-Shape=Deep  Step"), catalog.KeyPart(catalog.KindTarget, "PANSHAPE=deep step"); a != b {
		t.Errorf("%q and %q", a, b)
	}
	if a, b := catalog.KeyPart(catalog.KindTarget, "coil=5.2"), catalog.KeyPart(catalog.KindTarget, "coil=52"); a == b {
		t.Error("the values 5.2 and 52 have one key")
	}
}

// TestFindingCodes holds that FindingCodes is closed: it has every constant of
// the type FindingCode that the package declares, each once.
func TestFindingCodes(t *testing.T) {
	parsed, err := parser.ParseFile(token.NewFileSet(), "finding.go", nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	declared := map[catalog.FindingCode]bool{}
	for _, d := range parsed.Decls {
		g, ok := d.(*ast.GenDecl)
		if !ok || g.Tok != token.CONST {
			continue
		}
		for _, s := range g.Specs {
			v := s.(*ast.ValueSpec)
			if id, ok := v.Type.(*ast.Ident); ok && id.Name == "FindingCode" {
				for _, value := range v.Values {
					declared[catalog.FindingCode(strings.Trim(value.(*ast.BasicLit).Value, `"`))] = true
				}
			}
		}
	}
	if len(declared) < 15 {
		t.Fatalf("only %d codes are declared", len(declared))
	}
	for c := range declared {
		if !slices.Contains(catalog.FindingCodes, c) {
			t.Errorf("%s is not in FindingCodes", c)
		}
	}
	if len(catalog.FindingCodes) != len(declared) {
		t.Errorf("FindingCodes has %d entries for %d constants", len(catalog.FindingCodes), len(declared))
	}
}
