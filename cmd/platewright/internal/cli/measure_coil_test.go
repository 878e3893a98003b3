package cli

import (
	"testing"

	"platewright/catalog"
)

// FuzzCoilSet looks for a file that is used in part, or refused without a word: a
// set with findings must be refused, and one without must hold a reading for every
// site it names.
func FuzzCoilSet(f *testing.F) {
	for _, s := range []string{"site,ohm\nP1,5.2\n", "site,reading\nP1,\"5,3 Ω\"\nP2,OL\n", "\ufeffohm,site\r\n5.2,P1\r\n", "site,ohm\nP1,\"1,234\"\n", "site\nP1\n", "", "site,ohm\nP1,5.2,7\n\"", "site,ohm\n,\n"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		set, findings := readCoilSet([]byte(text), "set.csv", 1<<16)
		if findings.Refused() == 0 && len(set) == 0 {
			t.Fatalf("%q gives neither readings nor findings", text)
		}
		for _, x := range findings.List() {
			if x.Severity != catalog.Refused || x.What == "" || x.Mend == "" {
				t.Fatalf("%q gives the finding %+v", text, x)
			}
		}
		for _, r := range set {
			if r.Site == "" || r.Open == r.Value.Known() {
				t.Fatalf("%q gives the reading %+v", text, r)
			}
		}
	})
}
