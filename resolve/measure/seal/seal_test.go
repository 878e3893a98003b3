package seal_test

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/shopspring/decimal"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"platewright/catalog"
	"platewright/resolve/measure"
	"platewright/resolve/measure/seal"
)

func dec(s string) decimal.Decimal { return decimal.RequireFromString(s) }

func known(s string) catalog.Decimal {
	if s == "" {
		return catalog.Decimal{}
	}
	return catalog.Decimal{Num: dec(s), Known: true}
}

func mm(s string) measure.Quantity { return measure.Of(dec(s), measure.Millimetre) }

func pieces(lengths ...string) []seal.Got {
	var out []seal.Got
	for _, l := range lengths {
		out = append(out, seal.Got{Length: mm(l)})
	}
	return out
}

func nominal(name, length, tolerance, least, fitted string, qty int) seal.Nominal {
	return seal.Nominal{Seal: name, Length: known(length), Tolerance: known(tolerance), Least: known(least), Fitted: known(fitted), Qty: qty}
}

// tubes are the feed tubes of the trade: 31.5, 40 and twice 26 mm new; found at
// 30, 39 and 24.7 mm they are worn out (common practice, no published source). The
// limits between are made up.
func tubes() []seal.Nominal {
	return []seal.Nominal{nominal("long", "31.5", "0.2", "30.7", "", 1), nominal("middle", "40", "0.2", "39.2", "", 1), nominal("short", "26", "0.2", "25.2", "", 2)}
}

func codes(cs []seal.Code) string {
	out := make([]string, len(cs))
	for i, c := range cs {
		out[i] = string(c)
	}
	return strings.Join(out, " ")
}

func TestTubesOfTheTrade(t *testing.T) {
	s, err := seal.Sort(tubes(), pieces("24.7", "39", "24.7", "30"), measure.Quantity{})
	require.NoError(t, err)
	var got []string
	for _, p := range s.Pieces {
		require.NotNil(t, p.Judged)
		got = append(got, fmt.Sprintf("%s %s %s %s mm %s %%", p.Length, p.Judged.Nominal.Seal, p.Judged.Verdict, p.Judged.Loss, p.Judged.Percent))
	}
	want := []string{"24.7 short replace 1.3 mm 5 %", "39 middle replace 1 mm 2.5 %", "24.7 short replace 1.3 mm 5 %", "30 long replace 1.5 mm 4.76 %"}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("pieces (-want +got):\n%s", d)
	}
	if s.Verdict != seal.Replace || !s.Settled || s.Missing != 0 || s.Extra != 0 {
		t.Errorf("verdict %s, settled %t, missing %d, extra %d", s.Verdict, s.Settled, s.Missing, s.Extra)
	}
}

// Compression set by the formulae of ASTM D395 (methods A and B) and ISO 815-1.
// No worked example with numbers is published: the values are arithmetic over the
// specimen sizes of ASTM D395 (type 1: 12.5 mm, type 2: 6.0 mm) at the 25 % deflection
// of method B, and over the section of a ring.
func TestCompressionSet(t *testing.T) {
	for _, x := range [][5]string{
		{"12.50", "9.375", "12.00", "16", "4"},
		{"12.50", "9.375", "11.50", "32", "8"},
		{"6.00", "4.50", "5.70", "20", "5"},
		{"3.53", "2.65", "3.40", "14.77", "3.68"},
		{"12.5", "9.375", "12.5", "0", "0"},
		{"12.5", "9.375", "9.375", "100", "25"},
	} {
		j := judged(t, nominal("specimen", x[0], "", "", x[1], 1), mm(x[2])).Judged
		if !j.Set.Num.Equal(dec(x[3])) || !j.Percent.Num.Equal(dec(x[4])) {
			t.Errorf("t0 %s, tn %s, ti %s: B %s %%, A %s %%; want %s and %s", x[0], x[1], x[2], j.Set, j.Percent, x[3], x[4])
		}
	}
}

// judged is one piece of which the person knows which seal it is.
func judged(t *testing.T, n seal.Nominal, got measure.Quantity) seal.Piece {
	t.Helper()
	s, err := seal.Sort([]seal.Nominal{n}, []seal.Got{{Length: got, Seal: n.Seal}}, measure.Quantity{})
	require.NoError(t, err)
	require.NotNil(t, s.Pieces[0].Judged)
	return s.Pieces[0]
}

func TestJudge(t *testing.T) {
	long := nominal("long", "31.5", "0.2", "30.7", "", 1)
	sprung := nominal("sprung", "12", "0.1", "11", "10", 1)
	noLimit := nominal("free", "20", "", "", "", 1)
	once := long
	once.OneTime = true
	for _, tt := range []struct {
		n       seal.Nominal
		got     measure.Quantity
		verdict seal.Verdict
		codes   string
	}{
		{long, mm("31.5"), seal.Good, "above-limit"},
		{long, mm("31.8"), seal.Good, "above-limit"},
		{long, mm("31.81"), seal.NotThis, "too-long"},
		{long, mm("30.85"), seal.Good, "above-limit"},
		{long, mm("30.8"), seal.Good, "above-limit at-limit"},
		{long, mm("30.7"), seal.Good, "above-limit at-limit"},
		{long, mm("30.69"), seal.Replace, "below-limit at-limit"},
		{long, mm("30"), seal.Replace, "below-limit"},
		{long, mm("26.8"), seal.Replace, "below-limit"},
		{long, mm("26.7"), seal.Replace, "too-short"},
		{long, measure.Of(dec("1.24"), measure.Inch), seal.Good, "above-limit"},
		{long, mm("1.24"), seal.Replace, "too-short other-unit"},
		{long, measure.Of(dec("31.5"), measure.Inch), seal.NotThis, "too-long other-unit"},
		{long, measure.Of(dec("30"), measure.Inch), seal.NotThis, "too-long other-unit"},
		{sprung, mm("11.5"), seal.Good, "above-limit"},
		{sprung, mm("10"), seal.Replace, "below-limit no-spring"},
		{sprung, mm("9.8"), seal.Replace, "too-short no-spring"},
		{noLimit, mm("19"), seal.NotSettled, "no-limit"},
		{once, mm("31.5"), seal.Good, "above-limit one-time-use"},
	} {
		p := judged(t, tt.n, tt.got)
		got := codes(p.Judged.Codes)
		if slices.Contains(p.Codes, seal.OtherUnit) {
			got += " other-unit"
		}
		if p.Judged.Verdict != tt.verdict || got != tt.codes {
			t.Errorf("%s at %s: %s by %s; want %s by %s", tt.n.Seal, tt.got, p.Judged.Verdict, got, tt.verdict, tt.codes)
		}
	}
}

func TestRefuses(t *testing.T) {
	good := nominal("x", "20", "", "", "", 1)
	for name, x := range map[string]struct {
		n   seal.Nominal
		got []seal.Got
		off measure.Quantity
	}{
		"no length":       {good, []seal.Got{{}}, measure.Quantity{}},
		"length of zero":  {good, pieces("0"), measure.Quantity{}},
		"length of metre": {good, pieces("1001"), measure.Quantity{}},
		"tolerance":       {good, pieces("20"), mm("3")},
		"nominal zero":    {nominal("x", "0", "", "", "", 1), pieces("20"), mm("0.1")},
		"nominal of mile": {nominal("x", "2000", "", "", "", 1), pieces("20"), mm("0.1")},
		"tolerance below": {nominal("x", "20", "-1", "", "", 1), pieces("20"), mm("0.1")},
		"limit above":     {nominal("x", "20", "", "21", "", 1), pieces("20"), mm("0.1")},
		"fitted above":    {nominal("x", "20", "", "", "20", 1), pieces("20"), mm("0.1")},
		"fitted zero":     {nominal("x", "20", "", "", "0", 1), pieces("20"), mm("0.1")},
		"no pieces":       {good, nil, mm("0.1")},
		"too many pieces": {good, make([]seal.Got, 101), mm("0.1")},
		"quantity below":  {nominal("x", "20", "", "", "", -1), pieces("20"), mm("0.1")},
		"too many places": {nominal("x", "20", "", "", "", 1000), pieces("20"), mm("0.1")},
	} {
		var e *seal.InputError
		if _, err := seal.Sort([]seal.Nominal{x.n}, x.got, x.off); !errors.As(err, &e) || e.What == "" || e.Mend == "" {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestNominalsAreOneSided(t *testing.T) {
	names := func(s string) string {
		x, err := seal.Sort(tubes(), pieces(s), measure.Quantity{})
		require.NoError(t, err)
		return strings.Join(x.Pieces[0].Can, " ")
	}
	for length, want := range map[string]string{
		"24.7": "short", // 26 worn
		"26.3": "short", // a new one at its largest, measured long
		"26.4": "",      // longer than a short one can be, and too short for a worn long one
		"27":   "long",
		"31.8": "long", // and not a middle one that lost a fifth
		"34":   "middle", "40.3": "middle", "40.4": "", "15": "",
	} {
		if got := names(length); got != want {
			t.Errorf("%s mm can be %q, want %q", length, got, want)
		}
	}
}

func TestQuantities(t *testing.T) {
	s, err := seal.Sort(tubes(), pieces("31.4", "25.9", "39.9"), measure.Quantity{})
	require.NoError(t, err)
	if s.Missing != 1 || s.Extra != 0 || s.Verdict != seal.Replace || codes(s.Places[2].Codes) != "piece-missing" {
		t.Errorf("one short tube is missing: missing %d, extra %d, verdict %s, codes %s", s.Missing, s.Extra, s.Verdict, codes(s.Places[2].Codes))
	}
	s, err = seal.Sort(tubes(), pieces("31.4", "39.9", "25.9", "25.8", "25.9", "12", "1.02"), measure.Quantity{})
	require.NoError(t, err)
	var got []string
	for _, p := range s.Pieces {
		got = append(got, codes(p.Codes))
	}
	// Of three short tubes any can be the one too many.
	if d := cmp.Diff([]string{"", "", "", "no-place-left several", "", "no-nominal", "no-nominal other-unit"}, got); d != "" {
		t.Errorf("pieces (-want +got):\n%s", d)
	}
	if s.Extra != 3 || s.Missing != 0 || s.Settled {
		t.Errorf("extra %d, missing %d, settled %t", s.Extra, s.Missing, s.Settled)
	}
}

// Where a length allows two places, the handful can still settle it, or not.
func TestHandfulSettles(t *testing.T) {
	ns := []seal.Nominal{nominal("a", "20", "0.1", "", "", 1), nominal("b", "22", "0.1", "", "", 1)}

	sort := func(lengths ...string) *seal.Sorted {
		s, err := seal.Sort(ns, pieces(lengths...), mm("0"))
		require.NoError(t, err)
		return s
	}
	if s := sort("19", "21"); !s.Settled || s.Pieces[0].Judged.Nominal.Seal != "a" || len(s.Pieces[0].Can) != 2 || len(s.Pieces[0].Options) != 1 {
		t.Errorf("19 and 21: the 21 can be b alone, which leaves a for the 19: %+v", s.Pieces)
	}
	if s := sort("19", "19.5"); s.Settled || len(s.Pieces[0].Options) != 2 {
		t.Errorf("19 and 19.5 can stand either way round: %+v", s.Pieces)
	}
	if s := sort("19"); s.Settled || s.Pieces[0].Judged.Nominal.Seal != "a" || s.Missing != 1 {
		t.Errorf("19 alone is put at the least loss and is not settled: %+v", s.Pieces)
	}
}

// Who names the seal has it judged at its place, however worn, and never at
// another.
func TestNamedPieces(t *testing.T) {
	s, err := seal.Sort(tubes(), []seal.Got{{Length: mm("20"), Seal: "Long"}, {Length: mm("27"), Seal: "short"}, {Length: mm("26")}}, measure.Quantity{})
	require.NoError(t, err)
	if s.Missing != 2 {
		t.Errorf("%d missing of a handful", s.Missing)
	}
	if j := s.Pieces[0].Judged; j == nil || j.Nominal.Seal != "long" || j.Verdict != seal.Replace || codes(j.Codes) != "too-short" || len(s.Places[0].Pieces) != 1 {
		t.Errorf("the long one at 20 mm: %+v", s.Pieces[0])
	}
	if j := s.Pieces[1].Judged; j == nil || j.Verdict != seal.NotThis || codes(s.Pieces[1].Codes) != "no-nominal" || s.Extra != 1 {
		t.Errorf("the short one at 27 mm: %+v", s.Pieces[1])
	}
	s, err = seal.Sort(tubes(), []seal.Got{{Length: mm("31.4"), Seal: "long"}}, measure.Quantity{})
	require.NoError(t, err)
	if s.Verdict != seal.Good || s.Missing != 0 || len(s.Places) != 1 {
		t.Errorf("one good seal, named: %s, %d missing, %d places", s.Verdict, s.Missing, len(s.Places))
	}
	s, err = seal.Sort(tubes(), []seal.Got{{Length: mm("33"), Seal: "long"}}, measure.Quantity{})
	require.NoError(t, err)
	if s.Verdict != seal.Replace || s.Extra != 1 {
		t.Errorf("one seal too long for its name: %s, %d extra", s.Verdict, s.Extra)
	}
	var e *seal.InputError
	if _, err := seal.Sort(tubes(), []seal.Got{{Length: mm("20"), Seal: "wide"}}, measure.Quantity{}); !errors.As(err, &e) || !strings.Contains(e.Mend, "long, middle, short") {
		t.Errorf("a seal that is not there: %v", err)
	}
}

// A second judge tries every way to place a small handful.
func TestSortIsExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var ns []seal.Nominal
		for j := range rapid.IntRange(1, 3).Draw(t, "kinds") {
			n := nominal(string(rune('a'+j)), "1", "0.2", "", "", rapid.IntRange(0, 2).Draw(t, "qty"))
			n.Length = catalog.Decimal{Num: decimal.NewFromInt(int64(rapid.IntRange(18, 24).Draw(t, "length"))), Known: true}
			if rapid.Bool().Draw(t, "sprung") {
				n.Fitted = catalog.Decimal{Num: n.Length.Num.Sub(decimal.NewFromInt(2)), Known: true}
			}
			ns = append(ns, n)
		}
		var got []seal.Got
		for range rapid.IntRange(1, 5).Draw(t, "pieces") {
			got = append(got, seal.Got{Length: measure.Of(decimal.New(int64(rapid.IntRange(140, 250).Draw(t, "mm")), -1), measure.Millimetre)})
		}
		off := mm("0.1")
		s, err := seal.Sort(ns, got, off)
		if err != nil {
			t.Fatal(err)
		}
		can := func(i, j int) bool {
			l, n := got[i].Length.Value.InexactFloat64(), ns[j].Length.Num.InexactFloat64()
			floor := n * 0.85
			if ns[j].Fitted.Known {
				floor = n - 2.1
			}
			return l <= n+0.2+0.1+1e-9 && l >= floor-1e-9
		}
		most, least := -1, decimal.Zero
		options := map[[2]int]bool{}
		place := make([]int, len(got))
		var walk func(i, count int, loss decimal.Decimal, left []int)
		walk = func(i, count int, loss decimal.Decimal, left []int) {
			if i == len(got) {
				if count > most {
					most, least, options = count, loss, map[[2]int]bool{}
				}
				if count == most {
					least = decimal.Min(least, loss)
					for p, j := range place {
						if j >= 0 {
							options[[2]int{p, j}] = true
						}
					}
				}
				return
			}
			place[i] = -1
			walk(i+1, count, loss, left)
			for j := range ns {
				if left[j] > 0 && can(i, j) {
					place[i] = j
					left[j]--
					walk(i+1, count+1, loss.Add(ns[j].Length.Num.Sub(got[i].Length.Value).Abs()), left)
					left[j]++
				}
			}
			place[i] = -1
		}
		left := make([]int, len(ns))
		for j, n := range ns {
			left[j] = n.Qty
		}
		walk(0, 0, decimal.Zero, left)

		count, loss := 0, decimal.Zero
		for i, p := range s.Pieces {
			if p.Judged != nil {
				count++
				loss = loss.Add(p.Judged.Loss.Num.Abs())
			}
			for j, n := range ns {
				if slices.Contains(p.Options, n.Seal) != options[[2]int{i, j}] {
					t.Fatalf("piece %d (%s) at %s: said %t, trying says %t", i+1, got[i].Length, n.Seal, !options[[2]int{i, j}], options[[2]int{i, j}])
				}
			}
		}
		if count != most || !loss.Equal(least) {
			t.Fatalf("%d placed with a loss of %s; trying finds %d with %s", count, loss, most, least)
		}
		wanted := 0
		for _, n := range ns {
			wanted += n.Qty
		}
		if s.Missing != wanted-count || s.Extra != len(got)-count {
			t.Fatalf("missing %d, extra %d of %d wanted and %d given with %d placed", s.Missing, s.Extra, wanted, len(got), count)
		}
	})
}
