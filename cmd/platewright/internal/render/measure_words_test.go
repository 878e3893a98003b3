package render

import (
	"slices"
	"strings"
	"testing"

	"github.com/shopspring/decimal"

	"platewright/catalog"
	"platewright/resolve/measure/fluid"
	"platewright/resolve/measure/ring"
	"platewright/resolve/measure/seal"
)

// Every code of a bench figure must have words, with and without its arguments, and
// a code that is none must have no words.
func TestEveryBenchCodeHasWords(t *testing.T) {
	check := func(code, s string) {
		t.Helper()
		switch {
		case s == "":
			t.Errorf("no words for %s", code)
		case strings.HasSuffix(s, "."), strings.TrimSpace(s) != s, strings.Contains(s, "  "):
			t.Errorf("words for %s are ill-formed: %q", code, s)
		}
	}
	v := catalog.Decimal{Num: decimal.New(255, -1), Known: true}
	for _, c := range seal.Codes {
		check(string(c), SealSentence(c, seal.Nominal{}))
		check(string(c), SealSentence(c, seal.Nominal{Least: v, Fitted: v}))
	}
	for _, c := range ring.Codes {
		check(string(c), RingSentence(c))
	}
	for _, c := range ring.RowCodes {
		check(string(c), RingRowSentence(c))
	}
	for _, c := range ring.AdviceCodes {
		check(string(c), RingAdvice(c, &ring.Advice{Medium: ring.Oil, Worst: ring.Fair, Best: ring.Good}))
	}
	for _, c := range fluid.Codes {
		check(string(c), FluidSentence(c))
	}
	for _, c := range fluid.SheetCodes {
		check(string(c), SheetSentence(c, fluid.SheetDoubt{}))
		check(string(c), SheetSentence(c, fluid.SheetDoubt{Property: catalog.Viscosity40, Value: v, Would: v}))
	}
	if s := SealSentence("none", seal.Nominal{}) + RingSentence("none") + RingRowSentence("none") + RingAdvice("none", &ring.Advice{}) + FluidSentence("none") + SheetSentence("none", fluid.SheetDoubt{}); s != "" {
		t.Errorf("words for unknown codes: %q", s)
	}
	for _, w := range []string{"good", "REPLACE", "NOT THIS SEAL", "not settled"} {
		if !slices.ContainsFunc([]seal.Verdict{seal.NotSettled, seal.Good, seal.Replace, seal.NotThis}, func(v seal.Verdict) bool { s, _ := sealVerdict(v); return s == w }) {
			t.Errorf("no verdict on a seal is said as %q", w)
		}
	}
}
