package plate

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/require"

	"platewright/catalog"
)

// outside reads one of the outside tables; each has its source in its head. The
// count keeps a table that was cut short from passing silently.
func outside(t *testing.T, name string, rows int) [][]string {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", name))
	require.NoError(t, err)
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	all, err := r.ReadAll()
	require.NoError(t, err)
	require.Len(t, all, rows+1, "rows of %s", name)
	return all[1:]
}

// vinValues is Table III of 49 CFR 565.15(c): the letters, in groups by value.
var vinValues = catalog.Words{"AJ=1", "BKS=2", "CLT=3", "DMU=4", "ENV=5", "FW=6", "GPX=7", "HY=8", "RZ=9"}

// vinWeights is Table IV without position 9, the check digit.
var vinWeights = catalog.Words{"8", "7", "6", "5", "4", "3", "2", "10", "9", "8", "7", "6", "5", "4", "3", "2"}

// vin is the vehicle identification number of 49 CFR 565.15 as plate fields:
// 17 characters without I, O and Q, the check digit in position 9.
func vin(t testing.TB) *Layout {
	t.Helper()
	const set = "ABCDEFGHJKLMNPRSTUVWXYZ0123456789"
	l, err := Compile(catalog.Layout{Layout: "vin"}, []catalog.Field{
		{Place: 1, Field: "start", Kind: catalog.FieldSet, Chars: set, Min: 8, Max: 8, Means: catalog.MeansVariant},
		{Place: 2, Field: "check", Kind: catalog.FieldSet, Chars: "0123456789X", Min: 1, Max: 1, Means: catalog.MeansCheck,
			Scheme: catalog.SchemeMod11, Over: catalog.Words{"start", "end"}, Weights: vinWeights, Values: vinValues},
		{Place: 3, Field: "end", Kind: catalog.FieldSet, Chars: set, Min: 8, Max: 8, Means: catalog.MeansNothing},
	})
	require.NoError(t, err)
	return l
}

func read(t testing.TB, text string) Reading {
	t.Helper()
	r, err := ParseReading(text)
	require.NoError(t, err)
	return r
}

// TestVIN holds the layout machinery against 49 CFR 565.15(c): accepted and
// refused numbers, and that each accepted one gets any one lost character back.
func TestVIN(t *testing.T) {
	l := vin(t)
	for _, row := range outside(t, "vin-check-digit.csv", 9) {
		text, check, accepted := row[0], row[3], row[4] == "yes"
		out := Read([]*Layout{l}, read(t, text))
		if got := out.State == Matched; got != accepted {
			t.Errorf("%s: matched %v, published %v", text, got, accepted)
		}
		if accepted {
			if got := out.Matches[0].Checks[0].Outcome; got != CheckPassed {
				t.Errorf("%s: check %s, want passed", text, got)
			}
			continue
		}
		if check != "" {
			if out.State != Rejected || len(out.Rejections) != 1 {
				t.Errorf("%s: %s with %d rejections, want it rejected by its check", text, out.State, len(out.Rejections))
			} else if diff := cmp.Diff([]string{check}, out.Rejections[0].Expected); diff != "" {
				t.Errorf("%s: expected check (-published +got)\n%s", text, diff)
			}
		} else if out.State != Unmatched {
			t.Errorf("%s: %s, want unmatched", text, out.State)
		}
	}
	letterO := Read([]*Layout{l}, read(t, "1M8GDM9AXKPO42788")).Failures
	if len(letterO) != 1 || letterO[0].Reason != WrongCharacter || letterO[0].Place != 12 || letterO[0].Field != "end" {
		t.Errorf("the letter O in position 12 gives %+v", letterO)
	}
	short := Read([]*Layout{l}, read(t, "1M8GDM9AXKP04278")).Failures
	if len(short) != 1 || short[0].Reason != TooShort || short[0].Place != 17 {
		t.Errorf("16 characters give %+v", short)
	}
}

// TestVINSums holds values and weights against the products printed with the
// published examples, and their sums against the table of examples.
func TestVINSums(t *testing.T) {
	c, err := NewCheck(catalog.SchemeMod11, vinWeights, vinValues)
	require.NoError(t, err)
	sums := map[string][]string{}
	for _, row := range outside(t, "vin-check-digit.csv", 9) {
		sums[row[0]] = row
	}
	for _, row := range outside(t, "vin-products.csv", 3) {
		var got []string
		sum := 0
		for i, j := 0, 0; i < 17; i++ {
			p := 0
			if i != 8 {
				w, err := strconv.Atoi(vinWeights[j])
				require.NoError(t, err)
				p = w * int(c.val[row[0][i]-lowest])
				j++
			}
			sum += p
			got = append(got, strconv.Itoa(p))
		}
		if diff := cmp.Diff(strings.Fields(row[1]), got); diff != "" {
			t.Errorf("%s: products (-published +got)\n%s", row[0], diff)
		}
		if want := sums[row[0]]; want[1] != strconv.Itoa(sum) || want[2] != strconv.Itoa(sum%11) {
			t.Errorf("%s: sum %d, published %s mod 11 = %s", row[0], sum, want[1], want[2])
		}
	}
	for _, row := range outside(t, "vin-check-digit.csv", 9) {
		if row[4] != "yes" {
			continue
		}
		got, err := c.Compute(row[0][:8] + row[0][9:])
		if err != nil || got != row[3] {
			t.Errorf("%s: check %q, %v; published %s", row[0], got, err, row[3])
		}
	}
}

// TestVINRecovers loses each character of each published number in turn: the
// check gives back exactly the characters of one value (Table III).
func TestVINRecovers(t *testing.T) {
	l := vin(t)
	c := l.checks[0].Check
	for _, row := range outside(t, "vin-check-digit.csv", 9) {
		if row[4] != "yes" {
			continue
		}
		full := read(t, row[0])
		for p := range full {
			r := append(Reading(nil), full...)
			r[p] = Any
			m := l.Match(r)
			require.Len(t, m, 1)
			var want Set
			if p == 8 {
				want = one(row[0][8])
			} else {
				for ch := range l.fields[0].set.All() {
					if c.val[ch-lowest] == c.val[row[0][p]-lowest] {
						want |= one(ch)
					}
				}
			}
			if got := m[0].Reading()[p]; got != want {
				t.Errorf("%s without place %d: %s, want %s", row[0], p+1, got, want)
			}
			regained := want.single()
			if got := len(m[0].Regains) == 1 && m[0].Regains[0].Place == p+1 && m[0].Regains[0].Char == want.String(); got != regained {
				t.Errorf("%s without place %d: recovered %+v, want it %v", row[0], p+1, m[0].Regains, regained)
			}
			if got := m[0].Checks[0].Outcome; got != CheckNarrowed {
				t.Errorf("%s without place %d: check %s", row[0], p+1, got)
			}
		}
	}
}

// TestVINMisses holds what the check digit catches and misses against the
// table of misses, at every position where the substitution is possible.
func TestVINMisses(t *testing.T) {
	c, err := NewCheck(catalog.SchemeMod11, vinWeights, vinValues)
	require.NoError(t, err)
	base := "1M8GDM9AKP042788"
	for _, row := range outside(t, "vin-misses.csv", 60) {
		caught := row[3] == "yes"
		if row[0] == "swap" {
			a, _ := strconv.Atoi(row[1])
			b, _ := strconv.Atoi(row[2])
			at := func(pos int) int { // without position 9
				if pos > 9 {
					return pos - 2
				}
				return pos - 1
			}
			text := []byte(base)
			text[at(a)], text[at(b)] = '3', 'H'
			check, err := c.Compute(string(text))
			require.NoError(t, err)
			text[at(a)], text[at(b)] = 'H', '3'
			if got := !c.Verify(string(text), check); got != caught {
				t.Errorf("swap of positions %d and %d: caught %v, want %v", a, b, got, caught)
			}
			continue
		}
		for p := range base {
			text := []byte(base)
			text[p] = row[1][0]
			check, err := c.Compute(string(text))
			require.NoError(t, err)
			text[p] = row[2][0]
			if got := !c.Verify(string(text), check); got != caught {
				t.Errorf("%s for %s at %d: caught %v, want %v", row[2], row[1], p, got, caught)
			}
		}
	}
}

// schemes are all schemes with what a payload character can be, in the form in
// which the tests use them. The weighted ones have the weights of ISBN-10 (ISO
// 2108:1992) and of 49 CFR 565.15.
func schemes(t testing.TB) map[catalog.Scheme]*Check {
	t.Helper()
	out := map[catalog.Scheme]*Check{}
	for _, s := range []catalog.Scheme{catalog.SchemeMod11_2, catalog.SchemeMod37_2, catalog.SchemeMod97_10, catalog.SchemeMod37_36, catalog.SchemeGS1, catalog.SchemeLuhn} {
		c, err := NewCheck(s, nil, nil)
		require.NoError(t, err)
		out[s] = c
	}
	var err error
	out[catalog.SchemeMod11], err = NewCheck(catalog.SchemeMod11, vinWeights, vinValues)
	require.NoError(t, err)
	out[catalog.SchemeMod11Comp], err = NewCheck(catalog.SchemeMod11Comp, catalog.Words{"10", "9", "8", "7", "6", "5", "4", "3", "2"}, nil)
	require.NoError(t, err)
	return out
}

// TestCheckCharacters holds each scheme against published examples.
func TestCheckCharacters(t *testing.T) {
	all := schemes(t)
	for _, row := range outside(t, "check-characters.csv", 35) {
		c := all[catalog.Scheme(row[0])]
		require.NotNil(t, c, row[0])
		got, err := c.Compute(row[1])
		if err != nil || got != row[2] {
			t.Errorf("%s of %s: %q, %v; want %s (%s)", row[0], row[1], got, err, row[2], row[3])
		}
		if !c.Verify(row[1], row[2]) {
			t.Errorf("%s of %s does not verify with %s (%s)", row[0], row[1], row[2], row[3])
		}
	}
}

// TestTwoPairs holds MOD 97-10 against its three remainders with two pairs.
func TestTwoPairs(t *testing.T) {
	c := schemes(t)[catalog.SchemeMod97_10]
	two := map[int][2]string{}
	for _, row := range outside(t, "mod-97-10-two-pairs.csv", 3) {
		n, err := strconv.Atoi(row[0])
		require.NoError(t, err)
		two[n] = [2]string{row[1], row[2]}
	}
	for p := 1000; p < 1000+3*97; p++ {
		payload := strconv.Itoa(p)
		var valid []string
		for pair := range 100 {
			check := strconv.Itoa(pair/10) + strconv.Itoa(pair%10)
			if c.Verify(payload, check) {
				valid = append(valid, check)
			}
		}
		got, err := c.Compute(payload)
		require.NoError(t, err)
		want, double := two[p%97]
		switch {
		case double && (len(valid) != 2 || got != want[0] || !c.Verify(payload, want[1])):
			t.Errorf("%s (mod 97 = %d): computed %s, valid %v; want %s, and %s valid", payload, p%97, got, valid, want[0], want[1])
		case !double && (len(valid) != 1 || got != valid[0]):
			t.Errorf("%s (mod 97 = %d): computed %s, valid %v; want one", payload, p%97, got, valid)
		}
	}
}

// TestDetection counts what slips through over all four-digit payloads, and
// holds the counts against those of a reference program.
func TestDetection(t *testing.T) {
	all := schemes(t)
	for _, row := range outside(t, "check-detection.csv", 4) {
		c := all[catalog.Scheme(row[0])]
		var missed, changed, swapMissed, swapped int
		for p := range 10_000 {
			payload := strconv.Itoa(10_000 + p)[1:]
			check, err := c.Compute(payload)
			require.NoError(t, err)
			text := []byte(payload + check)
			valid := func() bool { return c.Verify(string(text[:4]), string(text[4:])) }
			for i, was := range text {
				others := "0123456789"
				if i == 4 && c.scheme == catalog.SchemeMod11_2 {
					others += "X"
				}
				for j := range others {
					if others[j] == was {
						continue
					}
					text[i] = others[j]
					changed++
					if valid() {
						missed++
					}
				}
				text[i] = was
			}
			for i := 0; i+1 < len(text); i++ {
				if text[i] == text[i+1] || text[i+1] == 'X' {
					continue
				}
				text[i], text[i+1] = text[i+1], text[i]
				swapped++
				if valid() {
					swapMissed++
				}
				text[i], text[i+1] = text[i+1], text[i]
			}
		}
		got := []string{row[0], strconv.Itoa(missed), strconv.Itoa(changed), strconv.Itoa(swapMissed), strconv.Itoa(swapped)}
		if diff := cmp.Diff(row, got); diff != "" {
			t.Errorf("missed and changed (-reference +got)\n%s", diff)
		}
	}
}

// TestConfusablesPublished holds the pairs that claim a published source
// against the table of those sources, both ways.
func TestConfusablesPublished(t *testing.T) {
	name := map[string]Source{"base32": SourceBase32, "uts39": SourceUTS39, "ismp": SourceISMP, "pharm": SourcePharm}
	want := map[string][]Source{}
	for _, row := range outside(t, "confusable-characters.csv", 5) {
		for _, s := range strings.Fields(row[2]) {
			want[row[0]+row[1]] = append(want[row[0]+row[1]], name[s])
		}
	}
	got := map[string][]Source{}
	for _, p := range Confusables() {
		if !Confusable(p.A, p.B) || !Confusable(p.B, p.A) || Confusable(p.A, p.A) {
			t.Errorf("%c and %c are not confusable as the table has it", p.A, p.B)
		}
		for _, s := range p.Sources {
			if s != SourceOwnList {
				got[string(p.A)+string(p.B)] = append(got[string(p.A)+string(p.B)], s)
			}
		}
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("pairs with a published source (-table +got)\n%s", diff)
	}
	if Confusable('C', 'H') {
		t.Error("C and H are in no list")
	}
}
