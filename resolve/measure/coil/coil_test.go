package coil_test

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/shopspring/decimal"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"platewright/catalog"
	"platewright/resolve/measure"
	"platewright/resolve/measure/coil"
)

func dec(s string) decimal.Decimal { return decimal.RequireFromString(s) }

func q(t testing.TB, text string, k measure.Kind) measure.Quantity {
	t.Helper()
	v, err := measure.Parse(text, k)
	require.NoError(t, err)
	return v
}

func site(name, ohm, tol string) *catalog.Site {
	return &catalog.Site{Site: name, Role: "actuator", Ohm: catalog.Decimal{Num: dec(ohm), Known: true}, Tolerance: catalog.Decimal{Num: dec(tol), Known: true},
		Temp: catalog.Decimal{Num: dec("20"), Known: true}, Serves: "clutch", Gears: catalog.Words{"1", "2"}, Source: "made-up"}
}

func read(t testing.TB, name, text string) coil.Reading {
	t.Helper()
	r, err := coil.ParseReading(name, text, measure.Ohm)
	require.NoError(t, err)
	return r
}

// Two unrelated published tables of solid uncoated copper wire, ohms per 1000 ft:
// at 20 °C that of a cable maker's calculator (cirris.com), at 75 °C chapter 9, table
// 8 of the National Electrical Code as carried at sfasoft.com/look/35. Each prints
// three or four digits; brought to 75 °C, the one table agrees with the other to a
// unit of its last digit.
func TestCopperAgainstWireTables(t *testing.T) {
	for _, tt := range []struct {
		awg        int
		at20, at75 string
	}{
		{18, "6.385", "7.77"}, {16, "4.016", "4.89"}, {14, "2.525", "3.07"}, {12, "1.588", "1.93"},
	} {
		got := coil.Bring(q(t, tt.at20+" Ω", measure.Resistance), q(t, "20 °C", measure.Temperature), q(t, "75 °C", measure.Temperature))
		if d := got.Value.Sub(dec(tt.at75)).Abs(); d.GreaterThan(dec("0.01")) {
			t.Errorf("AWG %d: %s Ω at 20 °C is %s at 75 °C; the table at 75 °C prints %s", tt.awg, tt.at20, got.Round(4), tt.at75)
		}
	}
}

// Worked values: 0.1 Ω from 20 to 50 °C is 0.11179 Ω (cabledatasheet.com on IEC
// 60028); 1.21 Ω from 20 to 75 °C is 1.472 Ω (electrakit.com, resistance and
// temperature).
func TestCopperAgainstWorkedExamples(t *testing.T) {
	for _, tt := range []struct {
		ohm, to string
		decimal int32
		want    string
	}{{"0.1 Ω", "50 °C", 5, "0.11179"}, {"1.21 Ω", "75 °C", 3, "1.472"}} {
		got := coil.Bring(q(t, tt.ohm, measure.Resistance), coil.Reference(), q(t, tt.to, measure.Temperature)).Round(tt.decimal)
		if !got.Value.Equal(dec(tt.want)) {
			t.Errorf("%s at 20 °C is %s at %s; the example says %s", tt.ohm, got, tt.to, tt.want)
		}
	}
}

// A published list of factors for copper from a base of 25 °C, printed to three
// decimals; it follows (234.5 + t) / 259.5, the form of IEC 60034 with k = 234.5.
func TestCopperAgainstFactorsFrom25(t *testing.T) {
	for _, tt := range []struct{ to, factor string }{
		{"40", "1.058"}, {"50", "1.096"}, {"55", "1.116"}, {"60", "1.135"}, {"65", "1.154"}, {"70", "1.173"}, {"75", "1.193"}, {"80", "1.212"}, {"85", "1.231"},
		{"90", "1.250"}, {"100", "1.289"}, {"105", "1.308"}, {"125", "1.385"}, {"130", "1.404"}, {"150", "1.482"}, {"200", "1.674"},
	} {
		got := coil.Bring(q(t, "1 Ω", measure.Resistance), q(t, "25 °C", measure.Temperature), q(t, tt.to+" °C", measure.Temperature))
		if d := got.Value.Sub(dec(tt.factor)).Abs(); d.GreaterThan(dec("0.001")) {
			t.Errorf("from 25 °C to %s °C the factor is %s; the list prints %s", tt.to, got.Value.Round(4), tt.factor)
		}
	}
}

// Going back gives what it came from, and a hotter coil has more.
func TestBringComesBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		temp := func(name string) measure.Quantity {
			return measure.Of(decimal.New(rapid.Int64Range(-400, 1800).Draw(t, name), -1), measure.Celsius)
		}
		r := measure.Of(decimal.New(rapid.Int64Range(1, 99999).Draw(t, "ohm"), -2), measure.Ohm)
		a, b := temp("from"), temp("to")
		there := coil.Bring(r, a, b)
		if back := coil.Bring(there, b, a); back.Value.Sub(r.Value).Abs().GreaterThan(dec("0.000000000001")) {
			t.Fatalf("%s from %s to %s and back is %s", r, a, b, back)
		}
		if there.Cmp(r) != b.Cmp(a) {
			t.Fatalf("%s at %s is %s at %s", r, a, there, b)
		}
	})
}

// Common practice, no published source: two kinds of coil, about 5 Ω and about
// 10 Ω at about 20 °C; 5.6 to 5.8 Ω and 10.8 Ω on used ones are accepted, an open
// circuit is condemned.
func TestFactsOfTheTrade(t *testing.T) {
	unit := []coil.Candidate{{Variant: "WREN", Sites: []*catalog.Site{site("P1", "5", "0.8"), site("P2", "5", "0.8"), site("P3", "5", "0.8"), site("S1", "10", "1"), site("S2", "10", "1")}}}
	rep, err := coil.Judge(unit, []coil.Reading{read(t, "P1", "5.6"), read(t, "P2", "5.7"), read(t, "P3", "5,8"), read(t, "S1", "10.8"), read(t, "S2", "OL")},
		coil.Conditions{Temp: q(t, "20 °C", measure.Temperature)})
	require.NoError(t, err)
	var got []string
	for _, s := range rep.Sites {
		got = append(got, s.Site+" "+string(s.Verdict))
	}
	if d := cmp.Diff([]string{"P1 within", "P2 within", "P3 within", "S1 within", "S2 open"}, got); d != "" {
		t.Errorf("verdicts (-want +got):\n%s", d)
	}
	if rep.Verdict != coil.Open {
		t.Errorf("the set is %s; an open circuit condemns it", rep.Verdict)
	}
}

func TestVerdicts(t *testing.T) {
	for _, tt := range []struct {
		text, temp, lead string
		want             coil.Verdict
	}{
		{"5", "20 °C", "", coil.Within},
		{"5.8", "20 °C", "", coil.Within}, // both ends belong to the window
		{"4.2", "20 °C", "", coil.Within},
		{"5.801", "20 °C", "", coil.High},
		{"4.199", "20 °C", "", coil.Low},
		{"6.4", "60 °C", "", coil.Within}, // 5.53 at 20 °C
		{"6.4", "20 °C", "", coil.High},
		{"4.7", "100 °C", "", coil.Low}, // 3.58 at 20 °C
		{"6.2", "20 °C", "0.5 Ω", coil.Within},
		{"6.2", "20 °C", "", coil.High},
		{"6200 mΩ", "20 °C", "500 mΩ", coil.Within},
		{"5", "68 °F", "", coil.Within},
		{"0.4", "20 °C", "", coil.Shorted},
		{"0.4", "20 °C", "0.4 Ω", coil.Shorted},
		{"51", "20 °C", "", coil.Open},
		{"1.2 MΩ", "20 °C", "", coil.Open},
		{"OL", "20 °C", "", coil.Open},
		{"O.L. Ω", "20 °C", "", coil.Open},
		{"∞", "20 °C", "", coil.Open},
		{"open", "20 °C", "", coil.Open},
	} {
		at := coil.Conditions{Temp: q(t, tt.temp, measure.Temperature)}
		if tt.lead != "" {
			at.Lead = q(t, tt.lead, measure.Resistance)
		}
		rep, err := coil.Judge([]coil.Candidate{{Variant: "WREN", Sites: []*catalog.Site{site("P1", "5", "0.8")}}}, []coil.Reading{read(t, "P1", tt.text)}, at)
		require.NoError(t, err)
		if got := rep.Sites[0].Verdict; got != tt.want || rep.Verdict != tt.want {
			t.Errorf("%s at %s with leads %q is %s, the set %s; want %s", tt.text, tt.temp, tt.lead, got, rep.Verdict, tt.want)
		}
	}
}

// What the meter would read at the ends of the window, put in as a reading, is
// inside it, and a hundredth beyond is not: window and verdict are one thing.
func TestWindowIsWhatTheMeterReads(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		temp := measure.Of(decimal.NewFromInt(rapid.Int64Range(-20, 150).Draw(t, "temp")), measure.Celsius)
		lead := measure.Of(decimal.New(rapid.Int64Range(0, 90).Draw(t, "lead"), -2), measure.Ohm)
		unit := []coil.Candidate{{Variant: "WREN", Sites: []*catalog.Site{site("P1", "10", "1")}}}
		judge := func(v decimal.Decimal) coil.Site {
			rep, err := coil.Judge(unit, []coil.Reading{{Site: "P1", Value: measure.Of(v, measure.Ohm)}}, coil.Conditions{Temp: temp, Lead: lead})
			if err != nil {
				t.Fatal(err)
			}
			return rep.Sites[0]
		}
		o := judge(dec("10")).Options[0]
		step := dec("0.01")
		for _, x := range []struct {
			at   decimal.Decimal
			want coil.Verdict
		}{
			{o.Low.Value.Add(step), coil.Within}, {o.High.Value.Sub(step), coil.Within}, {o.Low.Value.Sub(step), coil.Low}, {o.High.Value.Add(step), coil.High},
		} {
			if got := judge(x.at).Verdict; got != x.want {
				t.Fatalf("the window at %s with leads %s is %s to %s, and %s is judged %s; want %s", temp, lead, o.Low, o.High, x.at, got, x.want)
			}
		}
	})
}

func TestSetTellsVariantsApart(t *testing.T) {
	five := []*catalog.Site{site("P1", "5", "0.8"), site("P2", "5", "0.8"), site("S1", "10", "1")}
	ten := []*catalog.Site{site("P1", "10", "1"), site("P2", "10", "1"), site("S1", "10", "1")}
	unit := []coil.Candidate{{Variant: "WREN", Sites: five}, {Variant: "TERN", Sites: ten}}
	at := coil.Conditions{Temp: q(t, "20 °C", measure.Temperature)}
	for _, tt := range []struct {
		name     string
		set      map[string]string
		verdict  coil.Verdict
		fits     []catalog.VariantCode
		observed []string
		code     coil.Code
	}{
		{"fives", map[string]string{"P1": "5.1", "P2": "5.2"}, coil.Differs, []catalog.VariantCode{"WREN"}, []string{"P1", "P2"}, coil.TellsApart},
		{"tens", map[string]string{"P1": "10.1", "P2": "10.2"}, coil.Differs, []catalog.VariantCode{"TERN"}, []string{"P1", "P2"}, coil.TellsApart},
		{"a site that all share tells nothing", map[string]string{"S1": "10.2"}, coil.Within, []catalog.VariantCode{"WREN", "TERN"}, nil, coil.ColdDoesNotClear},
		{"a fault is no evidence", map[string]string{"P1": "7.2"}, coil.Low, []catalog.VariantCode{"WREN", "TERN"}, nil, coil.FaultNotVariant},
		{"an open coil is no evidence, its twin is", map[string]string{"P1": "OL", "P2": "5.2"}, coil.Open, []catalog.VariantCode{"WREN"}, []string{"P2"}, coil.FaultNotVariant},
		{"one of each", map[string]string{"P1": "5.1", "P2": "10.2"}, coil.Differs, []catalog.VariantCode{}, []string{"P1", "P2"}, coil.SetsMixed},
	} {
		var set []coil.Reading
		for _, s := range []string{"P1", "P2", "S1"} {
			if text, ok := tt.set[s]; ok {
				set = append(set, read(t, s, text))
			}
		}
		rep, err := coil.Judge(unit, set, at)
		require.NoError(t, err)
		var observed []string
		for _, o := range rep.Observed {
			observed = append(observed, o.Site)
		}
		if rep.Verdict != tt.verdict || !slices.Equal(rep.Fits, tt.fits) || !slices.Equal(observed, tt.observed) {
			t.Errorf("%s: verdict %s, fits %v, observed %v; want %s, %v, %v", tt.name, rep.Verdict, rep.Fits, observed, tt.verdict, tt.fits, tt.observed)
		}
		if !slices.ContainsFunc(rep.Reasons, func(r coil.Reason) bool { return r.Code == tt.code }) {
			t.Errorf("%s: the reasons %v lack %s", tt.name, rep.Reasons, tt.code)
		}
	}
}

// A coil that is of another kind than the plate says need not be faulty: the
// assembly can have been exchanged. What no relative has stays a fault.
func TestRelatives(t *testing.T) {
	five, ten := []*catalog.Site{site("P1", "5", "0.8"), site("P2", "5", "0.8")}, []*catalog.Site{site("P1", "10", "1"), site("P2", "10", "1")}
	family := []coil.Candidate{{Variant: "WREN", Sites: five}, {Variant: "TERN", Sites: ten}, {Variant: "GULL", Sites: ten}}
	for _, tt := range []struct {
		p1, p2, sites string
		variants      []catalog.VariantCode
		fault         bool
	}{
		{"10.2", "10.1", "P1 P2", []catalog.VariantCode{"TERN", "GULL"}, false},
		{"10.2", "5.1", "P1", []catalog.VariantCode{"TERN", "GULL"}, false},
		{"10.2", "7.1", "", nil, true},
		{"10.2", "OL", "P1", []catalog.VariantCode{"TERN", "GULL"}, true},
		{"5.1", "5.2", "", nil, false},
	} {
		rep, err := coil.Judge(family[:1], []coil.Reading{read(t, "P1", tt.p1), read(t, "P2", tt.p2)}, coil.Conditions{Temp: q(t, "20 °C", measure.Temperature)})
		require.NoError(t, err)
		rep.Relatives(family)
		var got coil.Reason
		fault := false
		for _, r := range rep.Reasons {
			if r.Code == coil.FitsRelatives {
				got = r
			}
			fault = fault || r.Code == coil.FaultNotVariant
		}
		if strings.Join(got.Sites, " ") != tt.sites || !slices.Equal(got.Variants, tt.variants) || fault != tt.fault || len(rep.Observed) != len(got.Sites) {
			t.Errorf("%s and %s: %v fit %v, a fault %v, observed %v; want %s, %v, %v", tt.p1, tt.p2, got.Sites, got.Variants, fault, rep.Observed, tt.sites, tt.variants, tt.fault)
		}
	}
}

func TestOddOneOut(t *testing.T) {
	var rows []*catalog.Site
	for _, s := range []string{"P1", "P2", "P3", "P4"} {
		rows = append(rows, site(s, "5", "0.8"))
	}
	unit := []coil.Candidate{{Variant: "WREN", Sites: rows}}
	for _, tt := range []struct {
		name, set, odd string
		spread         string
	}{
		{"together", "5.1 5.2 5.1 5.2", "", "0.1"},
		{"one high", "5.1 5.2 5.1 5.7", "P4", "0.6"},
		{"one low", "4.5 5.2 5.1 5.2", "P1", "0.7"},
		{"two against two", "4.6 4.6 5.4 5.4", "", "0.8"},
		{"two only", "4.9 5.6", "", "0.7"},
		{"an open one is no twin", "OL 5.2 5.1 5.2", "", "0.1"},
	} {
		var set []coil.Reading
		for i, text := range strings.Fields(tt.set) {
			set = append(set, read(t, rows[i].Site, text))
		}
		rep, err := coil.Judge(unit, set, coil.Conditions{Temp: q(t, "20 °C", measure.Temperature)})
		require.NoError(t, err)
		require.Len(t, rep.Spreads, 1, tt.name)
		if s := rep.Spreads[0]; s.Odd != tt.odd || !s.Spread.Value.Equal(dec(tt.spread)) {
			t.Errorf("%s: %s spreads by %s with %q odd; want %s and %q", tt.name, tt.set, s.Spread, s.Odd, tt.spread, tt.odd)
		}
		two := slices.ContainsFunc(rep.Reasons, func(r coil.Reason) bool { return r.Code == coil.TwinsDiffer })
		if two != (tt.name == "two only") {
			t.Errorf("%s: two that differ are said %v", tt.name, two)
		}
	}
}

func TestColdDoesNotClear(t *testing.T) {
	unit := []coil.Candidate{{Variant: "WREN", Sites: []*catalog.Site{site("P1", "5", "0.8"), site("P2", "5", "0.8")}}}
	has := func(rep *coil.Report) []string {
		for _, r := range rep.Reasons {
			if r.Code == coil.ColdDoesNotClear {
				return r.Sites
			}
		}
		return nil
	}
	rep, err := coil.Judge(unit, []coil.Reading{read(t, "P1", "5.2"), read(t, "P2", "OL")}, coil.Conditions{Temp: q(t, "20 °C", measure.Temperature)})
	require.NoError(t, err)
	if got := has(rep); !slices.Equal(got, []string{"P1"}) {
		t.Errorf("cold, the answer warns of %v; want P1 and not the open P2", got)
	}
	// 5.2 Ω · (1 + 0.00393 · 70) = 6.63 Ω, reckoned by hand.
	if got := rep.Sites[0].HotExpect.String(); got != "6.63 Ω" {
		t.Errorf("the coil is expected to show %s at %s; want 6.63 Ω", got, rep.Hot)
	}
	rep, err = coil.Judge(unit, []coil.Reading{read(t, "P1", "6.6")}, coil.Conditions{Temp: q(t, "90 °C", measure.Temperature)})
	require.NoError(t, err)
	if got := has(rep); got != nil {
		t.Errorf("measured hot, the answer still warns of %v", got)
	}
}

func TestRefuses(t *testing.T) {
	unit := []coil.Candidate{{Variant: "WREN", Sites: []*catalog.Site{site("P1", "5", "0.8"), site("P2", "5", "0.8")}}}
	twenty := q(t, "20 °C", measure.Temperature)
	for _, tt := range []struct {
		name string
		set  []coil.Reading
		at   coil.Conditions
		want string
	}{
		{"no temperature", []coil.Reading{read(t, "P1", "5")}, coil.Conditions{}, "temperature of the coils is not given"},
		{"an oven", []coil.Reading{read(t, "P1", "5")}, coil.Conditions{Temp: q(t, "200 °C", measure.Temperature)}, "°C or °F"},
		{"broken leads", []coil.Reading{read(t, "P1", "5")}, coil.Conditions{Temp: twenty, Lead: q(t, "3 Ω", measure.Resistance)}, "leads"},
		{"leads beyond the coil", []coil.Reading{read(t, "P1", "0.3")}, coil.Conditions{Temp: twenty, Lead: q(t, "0.5 Ω", measure.Resistance)}, "less than the leads alone"},
		{"a site twice", []coil.Reading{read(t, "P1", "5"), read(t, "p1", "6")}, coil.Conditions{Temp: twenty}, "twice"},
		{"a site that is not there", []coil.Reading{read(t, "P9", "5")}, coil.Conditions{Temp: twenty}, "P1, P2"},
		{"a hot value beyond reason", []coil.Reading{read(t, "P1", "5")}, coil.Conditions{Temp: twenty, Hot: q(t, "250 °C", measure.Temperature)}, "gets to that temperature"},
	} {
		_, err := coil.Judge(unit, tt.set, tt.at)
		var e *coil.Error
		if !errors.As(err, &e) || !strings.Contains(err.Error(), tt.want) || e.Mend == "" {
			t.Errorf("%s: the error is %v; want one that says %q and what to do", tt.name, err, tt.want)
		}
	}
	for _, text := range []string{"", "1,234", "-5", "five", "5 mm"} {
		if _, err := coil.ParseReading("P1", text, measure.Ohm); err == nil {
			t.Errorf("the reading %q is taken", text)
		}
	}
	if _, err := coil.ParseReading("P1", "5", 0); err == nil {
		t.Error("a bare number without a column is taken")
	}
}

// Without candidates the set is brought to 20 °C and not judged.
func TestWithoutNominal(t *testing.T) {
	rep, err := coil.Judge(nil, []coil.Reading{read(t, "coil", "13.3")}, coil.Conditions{Temp: q(t, "100 °C", measure.Temperature)})
	require.NoError(t, err)
	// 13.3 · 0.760803, the factor from 100 °C as reckoned beside the published list.
	if got := rep.Sites[0].At20.Round(2).String(); got != "10.12 Ω" || rep.Verdict != "" {
		t.Errorf("13.3 Ω at 100 °C is %s at 20 °C with the verdict %q; want 10.12 Ω and none", got, rep.Verdict)
	}
}

func TestWrongUnitIsQuestioned(t *testing.T) {
	unit := []coil.Candidate{{Variant: "WREN", Sites: []*catalog.Site{site("P1", "5", "0.8")}}}
	rep, err := coil.Judge(unit, []coil.Reading{read(t, "P1", "5.2 kΩ")}, coil.Conditions{Temp: q(t, "20 °C", measure.Temperature)})
	require.NoError(t, err)
	s := rep.Sites[0]
	if s.Verdict != coil.Open || len(s.Doubts) != 1 || s.Doubts[0].Meant != measure.Ohm {
		t.Errorf("5.2 kΩ is %s with the doubts %v; want open, and the question whether Ω was meant", s.Verdict, s.Doubts)
	}
}

// What is expected at a site, put in as a reading at the middle of the window, is
// in order; the list has every site once.
func TestExpect(t *testing.T) {
	unit := []coil.Candidate{{Variant: "WREN", Sites: []*catalog.Site{site("S1", "10", "1"), site("P1", "5", "0.8")}}, {Variant: "TERN", Sites: []*catalog.Site{site("P1", "10", "1"), site("S1", "10", "1")}}}
	at := coil.Conditions{Temp: q(t, "40 °C", measure.Temperature), Lead: q(t, "0.2 Ω", measure.Resistance)}
	rep, err := coil.Expect(unit, at)
	require.NoError(t, err)
	var got []string
	for _, s := range rep.Sites {
		for _, o := range s.Options {
			got = append(got, s.Site+" "+o.Nominal.String())
			mid := measure.Of(o.Low.Value.Add(o.High.Value).Div(decimal.NewFromInt(2)), measure.Ohm)
			for _, v := range o.Variants {
				i := slices.IndexFunc(unit, func(c coil.Candidate) bool { return c.Variant == v })
				one, err := coil.Judge(unit[i:i+1], []coil.Reading{{Site: s.Site, Value: mid}}, at)
				require.NoError(t, err)
				if one.Verdict != coil.Within {
					t.Errorf("%s at %s of %s is %s", mid, s.Site, v, one.Verdict)
				}
			}
		}
	}
	if d := cmp.Diff([]string{"P1 10 Ω", "P1 5 Ω", "S1 10 Ω"}, slices.Sorted(slices.Values(got))); d != "" {
		t.Errorf("what is expected (-want +got):\n%s", d)
	}
}
