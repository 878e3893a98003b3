package fault_test

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"platewright/catalog"
	"platewright/resolve/measure/fault"
)

// Two bytes and their codes. 01 35 → P0135 is a published worked example of the
// layout of SAE J2012 (two bits letter, two bits first digit, twelve bits rest;
// talk.maemo.org, post 1257514); the others follow from that layout.
func TestTwoBytes(t *testing.T) {
	for _, tt := range []struct{ bytes, code string }{
		{"01 35", "P0135"}, {"07 50", "P0750"}, {"17 50", "P1750"}, {"27 50", "P2750"}, {"34 00", "P3400"}, {"0A 1B", "P0A1B"}, {"3F FF", "P3FFF"},
		{"41 23", "C0123"}, {"92 34", "B1234"}, {"C1 00", "U0100"}, {"D9 00", "U1900"}, {"c1 00", "U0100"},
	} {
		if c, err := fault.ParseCode(tt.bytes); err != nil || string(c) != tt.code {
			t.Errorf("the bytes %s are %q, %v; want %s", tt.bytes, c, err, tt.code)
		}
	}
}

func TestParseCode(t *testing.T) {
	for _, text := range []string{"P0750", "p0750", " P 0750 ", "P-0750"} {
		if c, err := fault.ParseCode(text); err != nil || c != "P0750" {
			t.Errorf("%q is %q, %v; want P0750", text, c, err)
		}
	}
	if c, err := fault.ParseCode("P0A1B"); err != nil || c != "P0A1B" {
		t.Errorf("hexadecimal digits are refused: %v", err)
	}
	for _, tt := range []struct{ text, want string }{
		{"", "empty"}, {"P4750", "no trouble code"}, {"X0750", "no trouble code"}, {"P07G0", "no trouble code"}, {"PO75O", "letter O"}, {"0750", "letter is missing"},
		{"P0750-1C", "more than five"}, {"P075", "no trouble code"},
	} {
		_, err := fault.ParseCode(tt.text)
		var e *fault.CodeError
		if !errors.As(err, &e) || !strings.Contains(err.Error(), tt.want) || e.Mend == "" {
			t.Errorf("%q gives %v; want an error that says %q and what to do", tt.text, err, tt.want)
		}
	}
}

// Who defines which codes: P0, P2, B0, C0, U0 the standard, P1, B1, B2, C1, C2, U1,
// U2 the maker (cartech8.com, thread 468765, on SAE J2012); P30 to P33 the maker, P34 to
// P39 the standard (manuals of two scan tools). B3, C3, U3 differ between readings.
func TestDefinedBy(t *testing.T) {
	for _, tt := range []struct {
		codes string
		want  fault.DefinedBy
	}{
		{"P0750 P2750 P0A1B P3400 P3999 B0123 C0123 U0100", fault.ByStandard},
		{"P1750 P3000 P3399 B1234 B2234 C1234 C2234 U1900 U2900", fault.ByMaker},
		{"B3123 C3123 U3123", fault.Unsettled},
	} {
		for _, c := range strings.Fields(tt.codes) {
			if got := fault.Code(c).DefinedBy(); got != tt.want {
				t.Errorf("%s is defined by %s; want %s", c, got, tt.want)
			}
		}
	}
}

func FuzzParseCode(f *testing.F) {
	for _, s := range []string{"P0750", "07 50", "PO750", "0750", "P0750-1C", "ｐ0750"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		c, err := fault.ParseCode(text)
		if err != nil {
			var e *fault.CodeError
			if !errors.As(err, &e) || e.Mend == "" {
				t.Fatalf("ParseCode(%q) gives %T: %v", text, err, err)
			}
			return
		}
		if again, err := fault.ParseCode(string(c)); err != nil || again != c || len(c) != 5 {
			t.Fatalf("ParseCode(%q) = %q, which reads back as %q, %v", text, c, again, err)
		}
	})
}

func unit() ([]*catalog.Fault, []fault.Candidate) {
	site := func(name, serves, gears string) *catalog.Site {
		return &catalog.Site{Site: name, Role: "actuator", Serves: serves, Gears: strings.Fields(gears)}
	}
	p1, p2, p3 := site("P1", "clutch K1", "1 2 3 4"), site("P2", "clutch K2", "4 5 6"), site("P3", "clutch K3 and brake B1", "3 5 R")
	return []*catalog.Fault{
			{Family: "QUILLET", Code: "P1750", Site: "P1", Text: "circuit of P1", Source: "made-up"},
			{Family: "QUILLET", Code: "P1760", Site: "P3", Text: "circuit of P3", Source: "made-up"},
			{Family: "QUILLET", Code: "P1799", Site: "P1", Text: "supply of both", Source: "made-up"},
			{Family: "QUILLET", Code: "P1799", Site: "P2", Text: "supply of both", Source: "made-up"},
			{Family: "OTHER", Code: "P1750", Site: "X9", Text: "another unit", Source: "made-up"},
		}, []fault.Candidate{
			{Variant: "WREN", Family: "QUILLET", Sites: []*catalog.Site{p1, p2, p3}},
			{Variant: "TERN", Family: "QUILLET", Sites: []*catalog.Site{p1, p2, p3}},
			{Variant: "GULL", Family: "QUILLET", Sites: []*catalog.Site{p1, p2}},
		}
}

func TestExplain(t *testing.T) {
	faults, cands := unit()
	for _, tt := range []struct {
		name, code, gears string
		sites             string
		verdict           fault.Verdict
		elsewhere         string
	}{
		{"no complaint", "P1750", "", "P1", "", ""},
		{"fits", "P1750", "2 3", "P1", fault.Fits, ""},
		{"partly", "P1750", "4 5", "P1", fault.Partly, "P2"},
		{"does not fit", "P1760", "1 2", "P3", fault.DoesNotFit, "P1"},
		{"an exact one first", "P1750", "5 r 3", "P1", fault.Partly, "P3"},
		{"one code, two sites", "P1799", "6", "P1 P2", fault.Fits, ""},
		{"a code that is not there", "P1777", "", "", "", ""},
	} {
		rep, err := fault.Explain(fault.Code(tt.code), faults, cands, strings.Fields(tt.gears))
		require.NoError(t, err)
		var sites, other []string
		for _, p := range rep.Points {
			sites = append(sites, p.Site)
		}
		for _, e := range rep.Elsewhere {
			other = append(other, e.Site)
		}
		if s := strings.Join(sites, " "); s != tt.sites || rep.Verdict != tt.verdict || strings.Join(other, " ") != tt.elsewhere {
			t.Errorf("%s: points at %q, %q, elsewhere %q; want %q, %q, %q", tt.name, s, rep.Verdict, other, tt.sites, tt.verdict, tt.elsewhere)
		}
		if tt.sites == "" && !slices.Equal(rep.Known, []fault.Code{"P1750", "P1760", "P1799"}) {
			t.Errorf("%s: the codes known are %v", tt.name, rep.Known)
		}
	}
	rep, err := fault.Explain("P1760", faults, cands, nil)
	require.NoError(t, err)
	if p := rep.Points[0]; !slices.Equal(p.Variants, []catalog.VariantCode{"WREN", "TERN"}) || !slices.Equal(p.Without, []catalog.VariantCode{"GULL"}) || p.Serves != "clutch K3 and brake B1" {
		t.Errorf("P1760 points at %+v; want it for WREN and TERN, and GULL without the site", p)
	}
	_, err = fault.Explain("P1750", faults, cands, []string{"9"})
	var g *fault.GearError
	if !errors.As(err, &g) || !strings.Contains(err.Error(), "1 2 3 4 5 6 R") {
		t.Errorf("gear 9 gives %v; want an error that names the unit's gears", err)
	}
}
