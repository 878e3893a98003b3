package plate

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"platewright/catalog"
)

// guarded is an invented plate with the variant's text cut in two by a serial
// number, so that neighbours of the text need not be neighbours on the plate.
func guarded(t testing.TB, scheme catalog.Scheme, kind catalog.FieldKind, serial int, over catalog.Words, weights catalog.Words) *Layout {
	check := catalog.Field{Field: "check", Kind: catalog.FieldSet, Chars: check37, Min: 1, Max: 1, Means: catalog.MeansCheck, Scheme: scheme, Over: over, Weights: weights}
	if scheme == catalog.SchemeMod97_10 {
		check.Kind, check.Chars, check.Min, check.Max = catalog.FieldDigits, "", 2, 2
	}
	return compile(t, "guarded",
		catalog.Field{Field: "type", Kind: kind, Min: 2, Max: 2, Means: means},
		catalog.Field{Field: "serial", Kind: catalog.FieldDigits, Min: serial, Max: serial, Means: catalog.MeansSerial},
		catalog.Field{Field: "grade", Kind: kind, Min: 2, Max: 2, Means: means},
		check)
}

// The judge writes every plate out and compares the check characters that
// [Check.Compute] gives.
func TestGuardAgreesWithEveryPlateWrittenOut(t *testing.T) {
	weights := catalog.Words{"7", "0", "5", "4", "3", "2"}
	for _, scheme := range []catalog.Scheme{catalog.SchemeMod11_2, catalog.SchemeMod37_2, catalog.SchemeMod97_10, catalog.SchemeMod37_36,
		catalog.SchemeMod11, catalog.SchemeMod11Comp, catalog.SchemeGS1, catalog.SchemeLuhn} {
		t.Run(string(scheme), func(t *testing.T) {
			kind, chars := catalog.FieldDigits, "0123456789"
			var w catalog.Words
			switch scheme {
			case catalog.SchemeMod37_2, catalog.SchemeMod37_36, catalog.SchemeMod97_10:
				kind, chars = catalog.FieldAlphanum, "09ABIOZ15"
			case catalog.SchemeMod11, catalog.SchemeMod11Comp:
				w = weights
			}
			c, err := NewCheck(scheme, w, nil)
			require.NoError(t, err)
			for _, over := range []catalog.Words{nil, {"grade", "serial", "type"}, {"serial", "type"}} {
				g := NewGuard(guarded(t, scheme, kind, 2, over, w))
				rapid.Check(t, func(t *rapid.T) {
					text := rapid.SliceOfN(rapid.SampledFrom([]byte(chars)), 4, 4)
					a := text.Draw(t, "a")
					b := append([]byte(nil), a...)
					if i := rapid.IntRange(0, 3).Draw(t, "place"); i < 3 && rapid.Bool().Draw(t, "swap") {
						b[i], b[i+1] = b[i+1], b[i]
					} else {
						b[i] = rapid.SampledFrom([]byte(chars)).Draw(t, "char")
					}
					want := true
					for n := range 100 {
						payload := func(text []byte) string {
							fields := map[string]string{"type": string(text[:2]), "serial": fmt.Sprintf("%02d", n), "grade": string(text[2:])}
							order := over
							if len(order) == 0 {
								order = catalog.Words{"type", "serial", "grade"}
							}
							var s strings.Builder
							for _, f := range order {
								s.WriteString(fields[f])
							}
							return s.String()
						}
						x, err := c.Compute(payload(a))
						if err != nil {
							t.Fatal(err)
						}
						want = want && !c.Verify(payload(b), x)
					}
					if got := g.Catches(string(a), string(b)); got != want {
						t.Fatalf("%s and %s: %t, want %t", a, b, got, want)
					}
					if g.Catches(string(a), string(b)) != g.Catches(string(b), string(a)) {
						t.Fatalf("%s and %s: not the same both ways", a, b)
					}
				})
			}
		})
	}
}

// What is known of the schemes: the pure systems of ISO/IEC 7064:2003 catch every
// substitution of one character, MOD 11-2 and MOD 37-2 every swap of neighbours
// too; the Luhn formula of ISO/IEC 7812-1 lets 09 pass for 90, and the weights 3
// and 1 of the GS1 check digit let neighbours pass that differ by 5 (from memory).
func TestGuardKnowsWhatTheSchemesAreKnownFor(t *testing.T) {
	luhn := NewGuard(guarded(t, catalog.SchemeLuhn, catalog.FieldDigits, 6, nil, nil))
	gs1 := NewGuard(guarded(t, catalog.SchemeGS1, catalog.FieldDigits, 6, nil, nil))
	mod11 := NewGuard(guarded(t, catalog.SchemeMod11_2, catalog.FieldDigits, 6, nil, nil))
	for a := range 100 {
		text := fmt.Sprintf("%02d", a)
		swapped := string([]byte{text[1], text[0]})
		if text[0] == text[1] {
			continue
		}
		apart := int(text[0]) - int(text[1])
		if got, want := luhn.Catches("12"+text, "12"+swapped), text != "09" && text != "90"; got != want {
			t.Errorf("Luhn, %s swapped: %t", text, got)
		}
		if got, want := gs1.Catches("12"+text, "12"+swapped), apart != 5 && apart != -5; got != want {
			t.Errorf("GS1, %s swapped: %t", text, got)
		}
		if !mod11.Catches("12"+text, "12"+swapped) {
			t.Errorf("MOD 11-2, %s swapped: not caught", text)
		}
		for _, g := range []*Guard{luhn, gs1, mod11} {
			if !g.Catches(text[:1]+"345", text[1:]+"345") {
				t.Errorf("%s for %s: not caught", text[1:], text[:1])
			}
		}
	}
}

func TestGuardClaimsNothing(t *testing.T) {
	field := func(name string, fewest, most int, m catalog.Meaning) catalog.Field {
		return catalog.Field{Field: name, Kind: catalog.FieldDigits, Min: fewest, Max: most, Means: m}
	}
	check := catalog.Field{Field: "check", Kind: catalog.FieldSet, Chars: "0123456789X", Min: 1, Max: 1, Means: catalog.MeansCheck, Scheme: catalog.SchemeMod11_2}
	missing := check
	missing.Optional = true
	beside := check
	beside.Over = catalog.Words{"serial"}
	for name, c := range map[string]struct {
		l    *Layout
		a, b string
		want bool
	}{
		"caught":                    {compile(t, "l", field("type", 3, 4, means), field("serial", 2, 5, catalog.MeansSerial), check), "123", "723", true},
		"another length":            {compile(t, "l", field("type", 3, 4, means), field("serial", 2, 5, catalog.MeansSerial), check), "123", "1123", false},
		"no check character":        {compile(t, "l", field("type", 3, 4, means)), "123", "723", false},
		"one that can be missing":   {compile(t, "l", field("type", 3, 4, means), missing), "123", "723", false},
		"one over something else":   {compile(t, "l", field("type", 3, 4, means), field("serial", 2, 5, catalog.MeansSerial), beside), "123", "723", false},
		"texts that no plate holds": {compile(t, "l", field("type", 3, 4, means), check), "12A", "72A", false},
	} {
		if got := NewGuard(c.l).Catches(c.a, c.b); got != c.want {
			t.Errorf("%s: %t", name, got)
		}
	}
}
