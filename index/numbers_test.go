package index

import (
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// The list of numbers, held to the plainest way of looking through numbers.
func TestNumbersAgreeWithPlainLooking(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		number := rapid.StringMatching(`[AB01]{0,6}`)
		all := rapid.SliceOfN(number, 0, 12).Draw(t, "numbers")
		piece := rapid.StringMatching(`[AB01?]{1,4}`).Draw(t, "piece")
		anchor := rapid.SampledFrom([]Anchor{"", AnchorLeading, AnchorTrailing, AnchorWhole}).Draw(t, "anchor")
		list := numberList("\n" + strings.Join(append(all, ""), "\n"))
		at := func(n string, i int) bool {
			if i < 0 || i+len(piece) > len(n) {
				return false
			}
			for k := range len(piece) {
				if piece[k] != '?' && piece[k] != n[i+k] {
					return false
				}
			}
			return true
		}
		want := map[int]bool{}
		if strings.Trim(piece, "?") != "" {
			for i, n := range all {
				for k := range n {
					lead, trail := k == 0, k+len(piece) == len(n)
					if at(n, k) && (anchor == "" || anchor == AnchorLeading && lead || anchor == AnchorTrailing && trail || anchor == AnchorWhole && lead && trail) {
						want[i] = true
					}
				}
			}
		}
		hits, total := list.find(piece, anchor)
		got := map[int]bool{}
		for _, h := range hits {
			n := all[h.line]
			if got[h.line] {
				t.Fatalf("line %d is given twice", h.line)
			}
			got[h.line] = true
			if string(list[h.at:h.to]) != n || h.rest != len(n)-len(piece) {
				t.Fatalf("line %d is %q, the hit says %q and %d more", h.line, n, list[h.at:h.to], h.rest)
			}
			switch {
			case h.anchor == AnchorWhole && !(len(n) == len(piece) && at(n, 0)),
				h.anchor == AnchorLeading && !at(n, 0),
				h.anchor == AnchorTrailing && !at(n, len(n)-len(piece)):
				t.Fatalf("%q in %q is not %s", piece, n, h.anchor)
			}
		}
		if total != len(want) || len(got) != len(want) {
			t.Fatalf("%q %s in %q: %d lines of %d, want %v", piece, anchor, all, len(got), total, want)
		}
		for i := range want {
			if !got[i] {
				t.Fatalf("%q %s in %q: line %d is missing", piece, anchor, all, i)
			}
		}
	})
}

// One typing error, held to the definition by way of all the texts that one
// error makes.
func TestNearAgreesWithAllErrors(t *testing.T) {
	slips := func(s string) map[string]bool {
		out := map[string]bool{}
		for i := range len(s) + 1 {
			for _, c := range "AB01" {
				out[s[:i]+string(c)+s[i:]] = true
				if i < len(s) {
					out[s[:i]+string(c)+s[i+1:]] = true
				}
			}
			if i < len(s) {
				out[s[:i]+s[i+1:]] = true
			}
			if i+1 < len(s) {
				out[s[:i]+s[i+1:i+2]+s[i:i+1]+s[i+2:]] = true
			}
		}
		delete(out, s)
		return out
	}
	rapid.Check(t, func(t *rapid.T) {
		all := rapid.SliceOfN(rapid.StringMatching(`[AB01]{4,7}`), 1, 12).Draw(t, "numbers")
		asked := rapid.StringMatching(`[AB01]{5,7}`).Draw(t, "asked")
		if rapid.Bool().Draw(t, "of one") {
			of := rapid.SampledFrom(all).Draw(t, "number")
			if k := sortedKeys(slips(of)); len(k) > 0 {
				asked = rapid.SampledFrom(k).Draw(t, "slip")
			}
		}
		if len(asked) < 5 {
			return
		}
		list := numberList("\n" + strings.Join(append(all, ""), "\n"))
		got := map[int]bool{}
		for _, h := range list.near(asked) {
			got[h.line] = true
		}
		for i, n := range all {
			if want := slips(asked)[n]; want != got[i] {
				t.Fatalf("%q and %q: one error away is %v, found %v", asked, n, want, got[i])
			}
		}
	})
}
