package torque_test

import (
	"strings"
	"testing"

	"github.com/shopspring/decimal"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"platewright/catalog"
	"platewright/resolve/measure"
	"platewright/resolve/measure/torque"
)

func dec(s string) decimal.Decimal { return decimal.RequireFromString(s) }

func q(t testing.TB, text string) measure.Quantity {
	t.Helper()
	if text == "" {
		return measure.Quantity{}
	}
	v, err := measure.Parse(text, measure.Torque)
	require.NoError(t, err)
	return v
}

func scale(t testing.TB, step string) torque.Scale { return torque.Scale{Step: q(t, step)} }

// Exact and rounded figures by GNU units 2.22, units -t 'N N m' 'lbf inch' and
// 'lbf ft'.
func TestAgainstTable(t *testing.T) {
	for _, tt := range []struct{ nm, inchExact, inch, footExact, foot string }{
		{"5", "44.2537", "44", "3.6878", "4"},
		{"6", "53.1045", "53", "4.4254", "4"},
		{"8", "70.8060", "71", "5.9005", "6"},
		{"10", "88.5075", "89", "7.3756", "7"},
		{"11", "97.3582", "97", "8.1132", "8"},
		{"12", "106.2089", "106", "8.8507", "9"},
		{"16", "141.6119", "142", "11.8010", "12"},
		{"20", "177.0149", "177", "14.7512", "15"},
		{"25", "221.2686", "221", "18.4391", "18"},
		{"28", "247.8209", "248", "20.6517", "21"},
		{"40", "354.0298", "354", "29.5025", "30"},
	} {
		for _, x := range []struct{ step, exact, set string }{{"1 lbf·in", tt.inchExact, tt.inch}, {"1 lbf·ft", tt.footExact, tt.foot}} {
			s := torque.Set(q(t, tt.nm+" N·m"), measure.Quantity{}, scale(t, x.step))
			if !s.Exact.Value.Equal(dec(x.exact)) || !s.Set.Value.Equal(dec(x.set)) {
				t.Errorf("%s N·m in steps of %s is %s, set as %s; the table says %s and %s", tt.nm, x.step, s.Exact, s.Set, x.exact, x.set)
			}
		}
	}
}

// What marks are in newton metres, by GNU units 2.22.
func TestMarksInNewtonMetres(t *testing.T) {
	for _, tt := range []struct{ nm, step, set, is string }{
		{"6 N·m", "1 lbf·in", "53", "5.988"}, {"8 N·m", "1 lbf·in", "71", "8.022"}, {"10 N·m", "1 lbf·in", "89", "10.056"}, {"12 N·m", "1 lbf·in", "106", "11.976"},
		{"6.8 N·m", "1 lbf·ft", "5", "6.779"}, {"11 N·m", "1 lbf·ft", "8", "10.847"}, {"20 N·m", "1 lbf·ft", "15", "20.337"}, {"40 N·m", "1 lbf·ft", "30", "40.675"},
	} {
		s := torque.Set(q(t, tt.nm), measure.Quantity{}, scale(t, tt.step))
		if !s.Set.Value.Equal(dec(tt.set)) || !s.Is.Value.Equal(dec(tt.is)) {
			t.Errorf("%s is set as %s, which is %s; want %s and %s N·m", tt.nm, s.Set, s.Is, tt.set, tt.is)
		}
	}
}

func TestNeverBeyondTheTolerance(t *testing.T) {
	for _, tt := range []struct {
		nm, tol, step string
		state         torque.State
	}{
		{"6 N·m", "1 N·m", "1 lbf·ft", torque.Good},        // 4 lbf·ft are 5.42 N·m
		{"6 N·m", "0.5 N·m", "1 lbf·ft", torque.NoSetting}, // off by 0.58
		{"6 N·m", "0.5 N·m", "1 lbf·in", torque.Good},
		{"6 N·m", "", "1 lbf·ft", torque.NoSetting},         // off by 9.6 per cent, and nothing says that it may
		{"6 N·m", "", "1 lbf·in", torque.NoTolerance},       // off by 0.2
		{"8.4 N·m", "", "1 N·m", torque.NoTolerance},        // off by 4.8
		{"8.43 N·m", "", "1 N·m", torque.NoSetting},         // off by 5.1
		{"4.5 N·m", "0.5 N·m", "1 N·m", torque.Good},        // at the very end
		{"4.5 N·m", "0.499 N·m", "1 N·m", torque.NoSetting}, // beyond it by a thousandth
		{"0.3 N·m", "1 N·m", "1 N·m", torque.NoSetting},     // the nearest mark is none at all
		{"28 N·m", "3 N·m", "5 lbf·ft", torque.Good},        // 20 lbf·ft are 27.1
		{"28 N·m", "0.5 N·m", "5 lbf·ft", torque.NoSetting},
	} {
		if s := torque.Set(q(t, tt.nm), q(t, tt.tol), scale(t, tt.step)); s.State != tt.state {
			t.Errorf("%s ± %s in steps of %s is set as %s: %s; want %s", tt.nm, tt.tol, tt.step, s.Set, s.State, tt.state)
		}
	}
}

// A setting called good is within the tolerance by independent arithmetic in
// lbf·in from the definition of the pound and the inch, and where none is, neither
// neighbour would have been.
func TestSettingIsNearest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		nm := decimal.New(rapid.Int64Range(1, 60000).Draw(t, "nm"), -3)
		tol := decimal.New(rapid.Int64Range(0, 3000).Draw(t, "tol"), -3)
		step := decimal.New(rapid.Int64Range(1, 100).Draw(t, "step"), -1)
		s := torque.Set(measure.Of(nm, measure.NewtonMetre), measure.Of(tol, measure.NewtonMetre), torque.Scale{Step: measure.Of(step, measure.PoundForceInch)})
		toNm := dec("0.45359237").Mul(dec("9.80665")).Mul(dec("0.0254"))
		off := func(set decimal.Decimal) decimal.Decimal { return set.Mul(toNm).Sub(nm).Abs() }
		best := off(s.Set.Value)
		for _, d := range []decimal.Decimal{step, step.Neg()} {
			if other := s.Set.Value.Add(d); off(other).LessThan(best) {
				t.Fatalf("%s N·m is set as %s though %s is nearer", nm, s.Set, other)
			}
		}
		if good := best.LessThanOrEqual(tol) && !s.Set.Value.IsZero(); good != (s.State == torque.Good) {
			t.Fatalf("%s ± %s N·m set as %s, off by %s, is %s", nm, tol, s.Set, best, s.State)
		}
	})
}

// Common practice, no published source: 6 N·m is set as about 50 inch pounds and
// 8 N·m as about 70. The answer says by how much that is off: 50 lbf·in are
// 5.649 N·m, 70 are 7.909 N·m (GNU units 2.22).
func TestRulesOfThumb(t *testing.T) {
	for _, tt := range []struct{ nm, says, percent string }{{"6 N·m", "50 lbf·in", "-5.8 %"}, {"8 N·m", "70 lbf·in", "-1.1 %"}} {
		f := torque.ByHand(q(t, tt.nm), q(t, "1 N·m"), torque.Usual())
		require.Len(t, f.Thumbs, 1)
		if got := f.Thumbs[0]; got.Says.String() != tt.says || got.Percent.String() != tt.percent || got.State != torque.Good || got.Source != torque.ThumbSource {
			t.Errorf("the rule for %s is %s, off by %s, %s; want %s, %s", tt.nm, got.Says, got.Percent, got.State, tt.says, tt.percent)
		}
	}
	if f := torque.ByHand(q(t, "7 N·m"), measure.Quantity{}, torque.Usual()); len(f.Thumbs) != 0 {
		t.Errorf("7 N·m has the rules %v; there are none", f.Thumbs)
	}
	// With a narrow tolerance the rule is beyond it, and is said to be.
	if f := torque.ByHand(q(t, "6 N·m"), q(t, "0.3 N·m"), torque.Usual()); f.Thumbs[0].State != torque.NoSetting {
		t.Errorf("50 lbf·in for 6 ± 0.3 N·m is %s", f.Thumbs[0].State)
	}
}

func TestWrongUnitIsQuestioned(t *testing.T) {
	row := &catalog.Torque{Fastener: "pan-bolt", Role: "pan", Torque: catalog.Decimal{Num: dec("9"), Known: true}, Tolerance: catalog.Decimal{Num: dec("1"), Known: true}}
	for _, tt := range []struct {
		named   string
		verdict torque.Verdict
		doubt   string
	}{
		{"9.5 N·m", torque.Within, ""},
		{"10 N·m", torque.Within, ""},
		{"10.01 N·m", torque.High, ""},
		{"80 lbf·in", torque.Within, ""},
		{"80 N·m", torque.High, "lbf·in"},
		{"9 lbf·in", torque.Low, "N·m"},
		{"80 lbf·ft", torque.High, "lbf·in"},
		{"6.6 lbf·in", torque.Low, "lbf·ft"},
		{"14 N·m", torque.High, ""},
	} {
		f := torque.Of(row, torque.Usual())
		f.Judge(q(t, tt.named))
		var meant []string
		for _, d := range f.Asked.Doubts {
			if d.Number {
				meant = append(meant, d.Meant.String())
			}
		}
		if got := strings.Join(meant, ", "); f.Asked.Verdict != tt.verdict || got != tt.doubt {
			t.Errorf("%s for 9 ± 1 N·m is %s with the question %q; want %s, %q", tt.named, f.Asked.Verdict, got, tt.verdict, tt.doubt)
		}
	}
}

func TestStagesAreConverted(t *testing.T) {
	row := &catalog.Torque{Fastener: "pan-bolt", Torque: catalog.Decimal{Num: dec("8"), Known: true}, Stages: "5 N·m, then the full figure, after 10 minutes again 8,5 Nm"}
	f := torque.Of(row, []torque.Scale{scale(t, "1 lbf·in")})
	require.Len(t, f.Figures, 2)
	if a, b := f.Figures[0].Settings[0].Set.String(), f.Figures[1].Settings[0].Set.String(); a != "44 lbf·in" || b != "75 lbf·in" {
		t.Errorf("the stages are set as %s and %s; want 44 and 75 lbf·in", a, b)
	}
}

func TestMergeKeepsWhatDiffers(t *testing.T) {
	row := func(nm string) *catalog.Torque {
		return &catalog.Torque{Fastener: "pan-bolt", Torque: catalog.Decimal{Num: dec(nm), Known: true}}
	}
	var list []torque.Fastener
	for _, x := range []struct{ v, nm string }{{"WREN", "9"}, {"TERN", "9"}, {"GULL", "11"}} {
		f := torque.Of(row(x.nm), torque.Usual())
		f.Variants = []catalog.VariantCode{catalog.VariantCode(x.v)}
		list = append(list, f)
	}
	m := torque.Merge(list)
	if len(m) != 2 || len(m[0].Variants) != 2 || len(m[1].Variants) != 1 {
		t.Errorf("merged: %+v; want WREN and TERN together and GULL apart", m)
	}
}
