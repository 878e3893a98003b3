package render

import (
	"strings"
	"testing"

	"github.com/shopspring/decimal"

	"platewright/resolve/measure"
	"platewright/resolve/measure/coil"
	"platewright/resolve/measure/leak"
)

// Every code about coils and leak tests must have words, whichever of its fields
// are set.
func TestEveryBenchReasonHasWords(t *testing.T) {
	check := func(code, s string) {
		t.Helper()
		switch {
		case s == "":
			t.Errorf("no words for %s", code)
		case strings.HasSuffix(s, "."), strings.HasSuffix(s, " "), strings.HasPrefix(s, " "), strings.Contains(s, "  "):
			t.Errorf("words for %s are ill-formed: %q", code, s)
		}
	}
	q := measure.Of(decimal.NewFromInt(7), measure.Ohm)
	for _, c := range coil.Codes {
		check(string(c), CoilSentence(coil.Reason{Code: c}))
		check(string(c), CoilSentence(coil.Reason{Code: c, Sites: []string{"P1", "P2"}, Value: q, Limit: q}))
	}
	for _, c := range leak.Codes {
		check(string(c), LeakSentence(leak.Reason{Code: c}))
		check(string(c), LeakSentence(leak.Reason{Code: c, Value: q, Limit: q}))
	}
	if s := CoilSentence(coil.Reason{Code: "no-such"}) + LeakSentence(leak.Reason{Code: "no-such"}); s != "" {
		t.Errorf("words for an unknown code: %q", s)
	}
	for _, v := range []coil.Verdict{coil.Within, coil.High, coil.Low, coil.Open, coil.Shorted, coil.Differs} {
		if w, _ := coilWords(v); w == "" {
			t.Errorf("no words for the verdict %s", v)
		}
	}
}
