package seed_test

import (
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"platewright/catalog"
	"platewright/catalog/memory"
)

// plateRow is a row of the table of plates in README.md.
type plateRow struct {
	text, assembly string
	names          []string
}

func readmePlates(t *testing.T) []plateRow {
	t.Helper()
	text, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	_, section, ok := strings.Cut(string(text), "\n## Plates to try\n")
	if !ok {
		t.Fatal("README.md has no section of plates")
	}
	section, _, _ = strings.Cut(section, "\n## ")
	var out []plateRow
	for line := range strings.Lines(section) {
		cells := strings.Split(line, "|")
		if len(cells) != 6 || !strings.Contains(cells[1], "`") {
			continue
		}
		names := strings.Fields(cells[3])
		if len(names) == 1 && names[0] == "none" {
			names = nil
		}
		out = append(out, plateRow{strings.Trim(strings.TrimSpace(cells[1]), "`"), strings.TrimSpace(cells[2]), names})
	}
	return out
}

// simple is a layout, read the plain way: one regular expression over the
// folded text, and the variants that its variant fields can spell.
type simple struct {
	layout   catalog.Layout
	fields   []catalog.Field
	expr     *regexp.Regexp
	variants map[string][]string // folded code: variants
}

func layouts(c *memory.Catalogue) map[string]*simple {
	out := map[string]*simple{}
	for r := range c.Rows(catalog.TLayouts) {
		l := *r.(*catalog.Layout)
		out[l.Layout] = &simple{layout: l, variants: map[string][]string{}}
	}
	for r := range c.Rows(catalog.TFields) {
		f := *r.(*catalog.Field)
		out[f.Layout].fields = append(out[f.Layout].fields, f)
	}
	for _, l := range out {
		expr := "^"
		for _, f := range l.fields {
			set := map[catalog.FieldKind]string{catalog.FieldDigits: "0-9", catalog.FieldLetters: "A-Z", catalog.FieldAlphanum: "A-Z0-9", catalog.FieldSet: regexp.QuoteMeta(f.Chars)}[f.Kind]
			one := "[" + set + "]{" + strconv.Itoa(f.Min) + "," + strconv.Itoa(f.Max) + "}"
			if f.Kind == catalog.FieldLiteral {
				one = regexp.QuoteMeta(f.Chars)
			}
			expr += "(" + one + ")"
			if f.Optional {
				expr += "?"
			}
		}
		l.expr = regexp.MustCompile(expr + "$")
	}
	for r := range c.Rows(catalog.TVariants) {
		v := r.(*catalog.Variant)
		l := out[v.Layout]
		l.variants[v.Variant.Key()] = append(l.variants[v.Variant.Key()], string(v.Variant))
	}
	for r := range c.Rows(catalog.TPlates) {
		p := r.(*catalog.Plate)
		k := catalog.Fold(p.Plate)
		out[p.Layout].variants[k] = append(out[p.Layout].variants[k], string(p.Variant))
	}
	return out
}

// read gives the variants of a text without open characters; ok tells whether
// the text is one of the layout with a right check character.
func (l *simple) read(text string) (names []string, ok bool) {
	m := l.expr.FindStringSubmatch(text)
	if m == nil {
		return nil, false
	}
	code, check := "", true
	for i, f := range l.fields {
		if f.Means == catalog.MeansVariant {
			code += m[i+1]
		}
		if f.Scheme == "" {
			continue
		}
		covered := ""
		for _, o := range f.Over {
			covered += m[1+slices.IndexFunc(l.fields, func(g catalog.Field) bool { return g.Field == o })]
		}
		covered += m[i+1]
		switch f.Scheme {
		case catalog.SchemeMod37_2:
			check = mod37_2(covered)
		case catalog.SchemeMod37_36:
			check = mod37_36(covered)
		case catalog.SchemeMod11Comp:
			check = mod11(f.Weights, covered)
		default:
			check = false
		}
	}
	return l.variants[code], check
}

// each spells out the open characters of a text, ? and [..], by trying all.
func each(text, before string, yield func(string)) {
	i := strings.IndexAny(text, "?[")
	if i < 0 {
		yield(before + text)
		return
	}
	set, rest := alphabet37, text[i+1:]
	if text[i] == '[' {
		set, rest, _ = strings.Cut(text[i+1:], "]")
	}
	for _, c := range set {
		each(rest, before+text[:i]+string(c), yield)
	}
}

// TestReadmePlates reads every plate that README.md lists by trying all that
// its open characters can be, and compares the variants named.
func TestReadmePlates(t *testing.T) {
	c := load(t)
	all := layouts(c)
	rows := readmePlates(t)
	if len(rows) < 20 {
		t.Errorf("README.md lists %d plates, want 20 or more", len(rows))
	}
	for _, row := range rows {
		folded := catalog.Fold(row.text)
		if n := strings.Count(folded, "?"); n > 3 {
			// Too many to try. The check character is among the open ones, so any
			// serial number has its right one and a fixed one stands for all.
			if !strings.HasSuffix(folded, "?") {
				t.Errorf("%s: %d open characters before a known check character", row.text, n)
				continue
			}
			folded = strings.Replace(folded, "?", "0", n-1)
		}
		found := map[string]bool{}
		each(folded, "", func(text string) {
			for _, l := range all {
				if l.layout.Assembly != row.assembly {
					continue
				}
				if names, ok := l.read(text); ok {
					for _, n := range names {
						found[n] = true
					}
				}
			}
		})
		var got []string
		for n := range found {
			got = append(got, n)
		}
		slices.Sort(got)
		want := slices.Sorted(slices.Values(row.names))
		if !slices.Equal(got, want) {
			t.Errorf("%s names %v, README.md says %v", row.text, got, want)
		}
		for _, n := range want {
			if g, _ := c.Group(catalog.TableByName(catalog.TVariants), catalog.MakeKey(catalog.Fold(n))); len(g) == 0 {
				t.Errorf("%s: README.md names the variant %s, which is not in the catalogue", row.text, n)
			}
		}
	}
}

// TestExamples reads the example of every layout.
func TestExamples(t *testing.T) {
	for name, l := range layouts(load(t)) {
		if names, ok := l.read(catalog.Fold(l.layout.Example)); !ok || len(names) == 0 {
			t.Errorf("the example %q of %s reads as %v, check %t", l.layout.Example, name, names, ok)
		}
	}
}

// TestSpelling holds every variant code and label code to what its layout can
// spell.
func TestSpelling(t *testing.T) {
	for name, l := range layouts(load(t)) {
		expr := "^"
		for _, f := range l.fields {
			if f.Means == catalog.MeansVariant {
				set := map[catalog.FieldKind]string{catalog.FieldDigits: "[0-9]", catalog.FieldLetters: "[A-Z]"}[f.Kind]
				expr += "(" + set + "{" + strconv.Itoa(f.Min) + "," + strconv.Itoa(f.Max) + "})"
				if f.Optional {
					expr += "?"
				}
			}
		}
		re := regexp.MustCompile(expr + "$")
		for code := range l.variants {
			if !re.MatchString(code) {
				t.Errorf("%s cannot spell the code %s", name, code)
			}
		}
		if len(l.variants) == 0 {
			t.Errorf("no variant has a plate or label of %s", name)
		}
	}
}
