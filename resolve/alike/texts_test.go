package alike

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/hbollon/go-edlib"
	"pgregory.net/rapid"

	"platewright/resolve/plate"
)

func silent(int) error { return nil }

// found gives the slips between the texts of one layout by their texts.
func found(t testing.TB, codes []string, kinds Kinds) map[[2]string]Slip {
	t.Helper()
	var x Texts
	for i, c := range codes {
		x.Add(c, 0, uint32(i))
	}
	x.Sort(1)
	out := map[[2]string]Slip{}
	if err := x.Slips(kinds, silent, func(s Slip) error {
		pair := [2]string{string(x.At(s.A)), string(x.At(s.B))}
		if _, twice := out[pair]; twice || s.A >= s.B {
			t.Errorf("%v comes twice, or not in order: %+v", pair, s)
		}
		out[pair] = s
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	return out
}

// TestSlipsAreSingleEdits holds the search against an edit distance from outside:
// module github.com/hbollon/go-edlib v1.7.0, optimal string alignment (one
// insertion, deletion, substitution or swap of neighbours counts 1), tried on all
// pairs. Every pair found is one edit apart, of the kind named, and every pair one
// edit apart is found.
func TestSlipsAreSingleEdits(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 5))
	shapes := map[string]func() string{
		"digits": func() string { return fmt.Sprintf("%0*d", 3+rng.IntN(3), rng.IntN(4000)) },
		"look alike": func() string {
			b := make([]byte, 2+rng.IntN(4))
			for i := range b {
				b[i] = "0OQ1IL7BB8833AAKX"[rng.IntN(17)]
			}
			return string(b)
		},
		"families": func() string {
			return fmt.Sprintf("%c%c%d%c%02d", 'A'+rng.IntN(3), 'K'+rng.IntN(3), rng.IntN(4), 'A'+rng.IntN(26), rng.IntN(30))
		},
	}
	for name, shape := range shapes {
		t.Run(name, func(t *testing.T) {
			var codes []string
			for range 1300 {
				codes = append(codes, shape())
			}
			slices.Sort(codes)
			codes = slices.Compact(codes)
			want := map[[2]string]Kind{}
			for i, a := range codes {
				for _, b := range codes[i+1:] {
					if d := len(a) - len(b); d < -1 || d > 1 || edlib.OSADamerauLevenshteinDistance(a, b) != 1 {
						continue
					}
					want[[2]string{a, b}] = kindOf(a, b)
				}
			}
			counts := map[Kind]int{}
			for _, kinds := range []Kinds{AnyCharacter, Misreads, 1 << Confused, 1<<Swapped | 1<<Doubled} {
				wanted, got := map[[2]string]Kind{}, map[[2]string]Kind{}
				for pair, k := range want {
					if kinds.Has(k) {
						wanted[pair] = k
					}
				}
				for pair, s := range found(t, codes, kinds) {
					got[pair] = s.Kind
					counts[s.Kind]++
					if !undone(pair[0], pair[1], s) {
						t.Errorf("%v: not by an edit at place %d", pair, s.Place)
					}
				}
				if diff := cmp.Diff(wanted, got); diff != "" {
					t.Errorf("kinds %b (-outside +found)\n%s", kinds, diff)
				}
			}
			t.Logf("%d codes, %d pairs one edit apart: %v", len(codes), len(want), counts)
			if len(want) < 300 {
				t.Error("the codes are too far apart for a test")
			}
		})
	}
}

// kindOf names the edit between two texts that are one edit apart.
func kindOf(a, b string) Kind {
	if len(a) == len(b) {
		if edlib.LevenshteinDistance(a, b) == 2 {
			return Swapped
		}
		for i := range a {
			if a[i] != b[i] && plate.Confusable(a[i], b[i]) {
				return Confused
			}
		}
		return Substituted
	}
	if len(a) < len(b) {
		a, b = b, a
	}
	// The character more is one of two equal neighbours, whichever was added.
	for i := 1; i < len(a); i++ {
		if a[i] == a[i-1] && a[:i]+a[i+1:] == b {
			return Doubled
		}
	}
	return Dropped
}

// undone tells whether an edit at the place of a slip turns one text into the
// other.
func undone(a, b string, s Slip) bool {
	if len(a) < len(b) {
		a, b = b, a
	}
	i := int(s.Place) - 1
	switch s.Kind {
	case Swapped:
		return a[:i]+a[i+1:i+2]+a[i:i+1]+a[i+2:] == b
	case Dropped, Doubled:
		return a[:i]+a[i+1:] == b && (i == 0 || a[i-1] != a[i])
	}
	return a[:i]+b[i:i+1]+a[i+1:] == b && a[i] != b[i]
}

// TestSlipsAreNeighbours holds the search against [plate.Neighbours], by which
// decisions find look-alikes, and the slip between two texts against both.
func TestSlipsAreNeighbours(t *testing.T) {
	like := confusable()
	rapid.Check(t, func(t *rapid.T) {
		code := rapid.Custom(func(t *rapid.T) string {
			return string(rapid.SliceOfN(rapid.SampledFrom([]byte("0O1I8B+")), 1, 5).Draw(t, "code"))
		})
		codes := rapid.SliceOfN(code, 2, 60).Draw(t, "codes")
		slices.Sort(codes)
		codes = slices.Compact(codes)
		var x Texts
		for i, c := range codes {
			x.Add(c, uint16(i%2), uint32(i))
		}
		x.Sort(2)
		type slip struct {
			kind  SlipKind
			place int
		}
		want, got, direct := map[[2]string]slip{}, map[[2]string]slip{}, map[[2]string]slip{}
		for i, a := range codes {
			var others plate.SortedKeys
			for j, b := range codes {
				if j > i && i%2 == j%2 {
					others = append(others, b)
					if kind, place, ok := slipBetween([]byte(b), []byte(a), Misreads, &like); ok {
						direct[[2]string{a, b}] = slip{kind.Name(), place + 1}
					}
				}
			}
			if err := plate.Neighbours(others, a, func(n plate.Neighbour) bool {
				want[[2]string{a, n.Key}] = slip{SlipKind(n.Kind), n.Place}
				return true
			}); err != nil {
				t.Fatal(err)
			}
		}
		if err := x.Slips(Misreads, silent, func(s Slip) error {
			got[[2]string{string(x.At(s.A)), string(x.At(s.B))}] = slip{s.Kind.Name(), int(s.Place)}
			return nil
		}); err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(want, got, cmp.AllowUnexported(slip{})); diff != "" {
			t.Errorf("(-neighbours +slips)\n%s", diff)
		}
		if diff := cmp.Diff(want, direct, cmp.AllowUnexported(slip{})); diff != "" {
			t.Errorf("(-neighbours +between two)\n%s", diff)
		}
	})
}

// TestEqualTextsStandForOne: a label that several variants bear is one text, and
// texts that no plate can bear have no neighbours.
func TestEqualTextsStandForOne(t *testing.T) {
	var x Texts
	for i, c := range []string{"11", "11", "17", "17", "17", "1ä", "11 7"} {
		x.Add(c, 0, uint32(i))
	}
	x.Add("17", 1, 9)
	x.Sort(2)
	var got []Slip
	if err := x.Slips(AnyCharacter, silent, func(s Slip) error { got = append(got, s); return nil }); err != nil {
		t.Fatal(err)
	}
	if len(got) != 1 || string(x.At(got[0].A)) != "11" || string(x.At(got[0].B)) != "17" || x.Of(got[0].A) != 0 || x.Of(got[0].B) != 2 {
		t.Errorf("%+v", got)
	}
}

// million is a million invented codes of some families and sizes, with letters
// and digits mixed, as long as those of synthetic packages.
func million() []string {
	rng := rand.New(rand.NewPCG(7, 11))
	const alnum = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
	seen := make(map[string]bool, 1_000_000)
	for len(seen) < 1_000_000 {
		seen[fmt.Sprintf("%c%c%c%03d%d%03d%c", 'A'+rng.IntN(10), 'K'+rng.IntN(6), 'B'+rng.IntN(9), rng.IntN(40), rng.IntN(10), rng.IntN(1000), alnum[rng.IntN(36)])] = true
	}
	codes := make([]string, 0, len(seen))
	for c := range seen {
		codes = append(codes, c)
	}
	slices.Sort(codes)
	return codes
}
