package render

import (
	"testing"

	"pgregory.net/rapid"
)

// What spreadsheets are known to rewrite: lost zeros, exponents, dates, truth
// values (common practice, no published source).
func TestForSpreadsheetsGuardsWhatTheyRewrite(t *testing.T) {
	for cell, want := range map[string]string{
		"00123": "'00123", "1E5": "'1E5", "3-3": "'3-3", "12/5": "'12/5", ".5": "'.5", "MAR1": "'MAR1", "Dec-25": "'Dec-25", "true": "'true",
		"=1": "'=1", "-3": "'-3", "XEB-411-A": "XEB-411-A", "WA-31": "WA-31", "truest": "truest", "": "", "a,b": "\"a,b\"", "1,5": "\"'1,5\"",
	} {
		if got := string(appendCode(nil, cell, true)); got != want {
			t.Errorf("%q is written as %s, want %s", cell, got, want)
		}
	}
	if got := string(appendCode(nil, "00123", false)); got != "00123" {
		t.Errorf("not for spreadsheets: %s", got)
	}
}

func TestUnapostropheTakesOffWhatWasPut(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		cell := rapid.StringMatching(`[-=+@.0-9A-Za-z /]{0,8}`).Draw(t, "cell")
		for _, sheets := range []bool{false, true} {
			if got := Unapostrophe(string(appendCode(nil, cell, sheets))); got != cell {
				t.Fatalf("%q comes back as %q", cell, got)
			}
		}
	})
}
