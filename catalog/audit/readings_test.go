package audit_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/require"

	"platewright/catalog"
	"platewright/catalog/audit"
	"platewright/catalog/memory"
)

// spell gives every text of a layout in which the fields that mean the variant
// say the code, by trying all of them.
func spell(fields []*catalog.Field, code string, each func(string)) {
	var into func(i int, text, left string)
	into = func(i int, text, left string) {
		if i == len(fields) {
			if left == "" {
				each(text)
			}
			return
		}
		f := fields[i]
		if f.Optional {
			into(i+1, text, left)
		}
		if f.Kind == catalog.FieldLiteral {
			switch {
			case f.Means != catalog.MeansVariant:
				into(i+1, text+f.Chars, left)
			case strings.HasPrefix(left, f.Chars):
				into(i+1, text+f.Chars, left[len(f.Chars):])
			}
			return
		}
		var grow func(n int, text, left string)
		grow = func(n int, text, left string) {
			if n >= f.Min {
				into(i+1, text, left)
			}
			if n == f.Max {
				return
			}
			for _, c := range f.Chars {
				if f.Means != catalog.MeansVariant {
					grow(n+1, text+string(c), left)
				} else if strings.HasPrefix(left, string(c)) {
					grow(n+1, text+string(c), left[1:])
				}
			}
		}
		grow(0, text, left)
	}
	into(0, "", code)
}

// Which plates can be read in two ways, and which codes stand on their layout, as
// it comes out when every text of small layouts is spelled.
func TestReadingsBySpellingAll(t *testing.T) {
	met := map[audit.Kind]int{}
	for i := range 400 {
		r := rand.New(rand.NewPCG(5, uint64(i)))
		c := memory.New()
		put := func(table string, row catalog.Row) { c.Add(catalog.TableByName(table), row, catalog.Place{}) }
		put(catalog.TAssemblies, &catalog.Assembly{Assembly: "case", Name: "case"})
		layouts := []string{"one", "two"}
		fields := map[string][]*catalog.Field{}
		for _, l := range layouts {
			put(catalog.TLayouts, &catalog.Layout{Layout: l, Assembly: "case"})
			for p := range 2 + r.IntN(3) {
				f := &catalog.Field{Layout: l, Place: p + 1, Field: fmt.Sprint("f", p), Kind: catalog.FieldSet, Chars: []string{"A", "A1", "12", "B1"}[r.IntN(4)], Min: 1, Max: 1 + r.IntN(2), Optional: r.IntN(4) == 0,
					Means: []catalog.Meaning{catalog.MeansVariant, catalog.MeansSerial, catalog.MeansNothing}[r.IntN(3)]}
				if r.IntN(6) == 0 {
					f.Kind, f.Chars, f.Min, f.Max = catalog.FieldLiteral, []string{"A", "1A"}[r.IntN(2)], 0, 0
				}
				if p == 0 {
					f.Means = catalog.MeansVariant
				}
				put(catalog.TFields, f)
				fields[l] = append(fields[l], f)
			}
		}
		layoutOf := map[string]string{}
		for range 8 {
			l := layouts[r.IntN(2)]
			v := ""
			for _, f := range fields[l] {
				switch {
				case f.Means != catalog.MeansVariant || f.Optional && r.IntN(2) == 0:
				case f.Kind == catalog.FieldLiteral:
					v += f.Chars
				default:
					for range f.Min + r.IntN(f.Max-f.Min+1) {
						v += string(f.Chars[r.IntN(len(f.Chars))])
					}
				}
			}
			if r.IntN(8) == 0 {
				v += "B"
			}
			if v != "" && layoutOf[v] == "" {
				layoutOf[v] = l
				put(catalog.TVariants, &catalog.Variant{Variant: catalog.VariantCode(v), Family: "F", Layout: l})
			}
		}
		c.Seal()
		texts := map[string][]string{} // variants by text
		var want, got []string
		for v, l := range layoutOf {
			spelled := false
			spell(fields[l], v, func(text string) {
				spelled = true
				if !slices.Contains(texts[text], v) {
					texts[text] = append(texts[text], v)
				}
			})
			if !spelled {
				want = append(want, "off "+v)
			}
		}
		for _, vs := range texts {
			slices.Sort(vs)
			for j, v := range vs {
				for _, w := range vs[:j] {
					want = append(want, "same "+w+" "+v)
				}
			}
		}
		require.NoError(t, audit.Run(t.Context(), audit.Memory(c), audit.Options{}, func(f audit.Finding) error {
			met[f.Kind]++
			switch f.Kind {
			case audit.SameReading:
				got = append(got, fmt.Sprintf("same %s %s", f.Facts.Variants[0], f.Facts.Variants[1]))
			case audit.VariantOffLayout:
				got = append(got, fmt.Sprintf("off %s", f.Facts.Variants[0]))
			}
			return nil
		}))
		slices.Sort(want)
		slices.Sort(got)
		if d := cmp.Diff(slices.Compact(want), got); d != "" {
			t.Fatalf("catalogue %d: what is spelled and what is found differ (-spelled +found):\n%s\n%v", i, d, layoutOf)
		}
	}
	if met[audit.SameReading] < 100 || met[audit.VariantOffLayout] < 100 {
		t.Errorf("too little was found to compare: %v", met)
	}
}
