package ring_test

import (
	"encoding/csv"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/shopspring/decimal"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"platewright/catalog"
	"platewright/resolve/measure"
	"platewright/resolve/measure/ring"
)

func dec(s string) decimal.Decimal { return decimal.RequireFromString(s) }

func mm(s string) measure.Quantity { return measure.Of(dec(s), measure.Millimetre) }

func in(s string) measure.Quantity { return measure.Of(dec(s), measure.Inch) }

// outside reads a table under testdata at the root of the project.
func outside(t *testing.T, name string) [][]string {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "..", "testdata", name))
	require.NoError(t, err)
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	require.NoError(t, err)
	return rows[1:]
}

// The embedded table is the one that stands with its source under testdata.
func TestTheEmbeddedTableIsTheOutsideOne(t *testing.T) {
	inside, err := os.ReadFile("sizes.csv")
	require.NoError(t, err)
	out, err := os.ReadFile(filepath.Join("..", "..", "..", "testdata", "o-ring-sizes.csv"))
	require.NoError(t, err)
	if d := cmp.Diff(string(out), string(inside)); d != "" {
		t.Errorf("sizes.csv and testdata/o-ring-sizes.csv differ (-outside +embedded):\n%s", d)
	}
}

// AS568 has 369 sizes in six series, and each series but the last and the first
// three sizes has one section (the published chart; O-ring series, 4.2 of the same).
func TestTheTableIsWhole(t *testing.T) {
	count := map[byte]int{}
	sections := map[byte]map[string]bool{}
	last := ""
	for _, z := range ring.Sizes() {
		if z.Dash <= last {
			t.Errorf("size %s stands after %s", z.Dash, last)
		}
		last = z.Dash
		s := z.Dash[0]
		count[s]++
		if z.Dash > "003" {
			if sections[s] == nil {
				sections[s] = map[string]bool{}
			}
			sections[s][z.SectionInch.String()] = true
		}
	}
	if d := cmp.Diff(map[byte]int{'0': 50, '1': 77, '2': 84, '3': 87, '4': 51, '9': 20}, count); d != "" {
		t.Errorf("sizes by series (-want +got):\n%s", d)
	}
	for s, want := range map[byte]string{'0': "0.07", '1': "0.103", '2': "0.139", '3': "0.21", '4': "0.275"} {
		if len(sections[s]) != 1 || !sections[s][want] {
			t.Errorf("sections of series %c are %v, want %s in", s, sections[s], want)
		}
	}
}

// Each tolerance of an inside diameter beside the band that an unrelated copy of
// the class A tolerances of ISO 3601-1 has for it, and each end of a band beside the
// sizes: it must be one. Six sizes are known to differ: the copy lacks one band
// (228 to 231), and has 0.095 in where the chart has 0.090 in (469, 470).
func TestTolerancesAgreeWithAnUnrelatedCopy(t *testing.T) {
	type band struct{ largest, tolerance decimal.Decimal }
	bands := map[string][]band{}
	ends := map[string]bool{}
	n := 0
	for _, r := range outside(t, "o-ring-bands.csv") {
		bands[r[0]] = append(bands[r[0]], band{dec(r[1]), dec(r[2])})
		ends[r[0]+" "+dec(r[1]).String()] = true
		n++
	}
	require.Equal(t, 96, n)
	var differ []string
	for _, z := range ring.Sizes() {
		s := z.Dash[:1]
		if s == "9" {
			continue // straight thread bosses, not in the bands
		}
		id := z.Inside.Num.Round(2)
		delete(ends, s+" "+id.String())
		i := slices.IndexFunc(bands[s], func(b band) bool { return id.LessThanOrEqual(b.largest) })
		require.GreaterOrEqual(t, i, 0, z.Dash)
		if !z.InsideTolerance.Num.Round(2).Equal(bands[s][i].tolerance) {
			differ = append(differ, z.Dash)
		}
	}
	if d := cmp.Diff([]string{"228", "229", "230", "231", "469", "470"}, differ); d != "" {
		t.Errorf("sizes that differ from the bands (-known +found):\n%s", d)
	}
	if len(ends) > 0 {
		t.Errorf("bands end at diameters that are no size: %v", ends)
	}
}

// NAVEDTRA 14105, Fluid Power, chapter 7: AS568-429 is 4.975 in inside, 5.525 in
// outside, 0.275 in thick. The others are rows on which a second published sheet of
// sizes agrees.
func TestSizesOfOtherPages(t *testing.T) {
	for dash, want := range map[string][2]string{
		"429": {"4.975", "0.275"}, "008": {"0.176", "0.07"}, "010": {"0.239", "0.07"}, "012": {"0.364", "0.07"}, "014": {"0.489", "0.07"},
		"016": {"0.614", "0.07"}, "020": {"0.864", "0.07"}, "024": {"1.114", "0.07"}, "110": {"0.362", "0.103"}, "120": {"0.987", "0.103"},
		"210": {"0.734", "0.139"}, "214": {"0.984", "0.139"}, "218": {"1.234", "0.139"}, "222": {"1.484", "0.139"}, "226": {"1.984", "0.139"},
		"230": {"2.484", "0.139"}, "240": {"3.734", "0.139"},
	} {
		z, ok := ring.Find("-" + dash)
		if !ok || z.InsideInch.String() != want[0] || z.SectionInch.String() != want[1] {
			t.Errorf("-%s is %s × %s in, want %s × %s", dash, z.InsideInch, z.SectionInch, want[0], want[1])
		}
	}
	z, _ := ring.Find("429")
	if od := z.InsideInch.Num.Add(z.SectionInch.Num.Mul(decimal.NewFromInt(2))); !od.Equal(dec("5.525")) {
		t.Errorf("-429 is %s in outside, NAVEDTRA 14105 has 5.525", od)
	}
}

func TestFind(t *testing.T) {
	for text, want := range map[string]string{
		"214": "214", "-214": "214", "AS568-214": "214", "as 568 - 214": "214", "AS568A-214": "214", "AS568B-006": "006", "ISO 3601-1-214": "214", "ISO 3601-1-214A": "214", "214B": "214",
		"AS568": "", "AS568-215X": "", "300": "", "2": "", "": "", "ISO 3601-1": "",
	} {
		z, ok := ring.Find(text)
		if ok != (want != "") || z.Dash != want {
			t.Errorf("Find(%q) = %q, %t; want %q", text, z.Dash, ok, want)
		}
	}
}

func identify(t *testing.T, m ring.Measured) *ring.Identified {
	t.Helper()
	got, err := ring.Identify(m)
	require.NoError(t, err)
	return got
}

func dashes(ms []ring.Match) []string {
	out := []string{}
	for _, m := range ms {
		s := m.Size.Dash
		for _, c := range m.Codes {
			s += " " + string(c)
		}
		out = append(out, s)
	}
	return out
}

func TestIdentify(t *testing.T) {
	for _, tt := range []struct {
		name  string
		m     ring.Measured
		is    []string
		first string // of what it can have been
		codes []ring.Code
	}{
		{"nominal, metric", ring.Measured{Inside: mm("24.99"), Section: mm("3.53")}, []string{"214 is-size"}, "", []ring.Code{ring.IsSize}},
		{"nominal, inch", ring.Measured{Inside: in("0.984"), Section: in("0.139")}, []string{"214 is-size"}, "", []ring.Code{ring.IsSize}},
		{"by the outside", ring.Measured{Outside: mm("32.05"), Section: mm("3.53")}, []string{"214 is-size"}, "", []ring.Code{ring.IsSize}},
		{"at the edge of its tolerance", ring.Measured{Inside: in("0.994"), Section: in("0.143"), Tolerance: mm("0")}, []string{"214 is-size"}, "", []ring.Code{ring.IsSize}},
		{"worn thin", ring.Measured{Inside: mm("24.99"), Section: mm("3.2")}, []string{}, "214 worn", []ring.Code{ring.Several}},
		{"stretched", ring.Measured{Inside: mm("25.6"), Section: mm("3.5")}, []string{}, "214 stretched", []ring.Code{ring.Several}},
		{"no size", ring.Measured{Inside: mm("60"), Section: mm("9")}, []string{}, "", []ring.Code{ring.NoSize}},
		{"inches written as millimetres", ring.Measured{Inside: mm("0.984"), Section: mm("0.139")}, []string{}, "", []ring.Code{ring.NoSize, ring.OtherUnit}},
		{"millimetres written as inches", ring.Measured{Inside: in("24.99"), Section: in("0.7")}, []string{}, "", []ring.Code{ring.NoSize}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got := identify(t, tt.m)
			if d := cmp.Diff(tt.is, dashes(got.Is)); d != "" {
				t.Errorf("sizes (-want +got):\n%s", d)
			}
			if d := cmp.Diff(tt.codes, got.Codes); d != "" {
				t.Errorf("codes (-want +got):\n%s", d)
			}
			first := ""
			if was := dashes(got.Was); len(was) > 0 {
				first = was[0]
			}
			if first != tt.first {
				t.Errorf("the nearest that it can have been is %q, want %q of %v", first, tt.first, dashes(got.Was))
			}
		})
	}
}

func TestIdentifyRefuses(t *testing.T) {
	for name, m := range map[string]ring.Measured{
		"nothing":              {},
		"no section":           {Inside: mm("25")},
		"no diameter":          {Section: mm("3.5")},
		"both diameters":       {Inside: mm("25"), Outside: mm("32"), Section: mm("3.5")},
		"no hole left":         {Outside: mm("7"), Section: mm("3.5")},
		"nothing inside":       {Inside: mm("0"), Section: mm("3.5")},
		"section of nothing":   {Inside: mm("25"), Section: mm("0")},
		"as large as a barrel": {Inside: in("40"), Section: mm("3.5")},
		"thick as a hose":      {Inside: mm("25"), Section: mm("35")},
		"tolerance of a rule":  {Inside: mm("25"), Section: mm("3.5"), Tolerance: mm("2")},
	} {
		var e *ring.InputError
		if _, err := ring.Identify(m); !errors.As(err, &e) || e.What == "" || e.Mend == "" {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// A new ring of any size, anywhere within its tolerances, is its size.
func TestEachSizeIsItself(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		z := rapid.SampledFrom(ring.Sizes()).Draw(t, "size")
		at := func(nominal, tolerance catalog.Decimal, name string) measure.Quantity {
			share := decimal.New(int64(rapid.IntRange(-100, 100).Draw(t, name)), -2)
			return measure.Of(nominal.Num.Add(tolerance.Num.Mul(share)), measure.Millimetre)
		}
		m := ring.Measured{Inside: at(z.Inside, z.InsideTolerance, "inside"), Section: at(z.Section, z.SectionTolerance, "section"), Tolerance: mm(rapid.SampledFrom([]string{"0", "0.05", "0.1"}).Draw(t, "tolerance"))}
		got, err := ring.Identify(m)
		if err != nil {
			t.Fatal(err)
		}
		if !slices.ContainsFunc(got.Is, func(x ring.Match) bool { return x.Size.Dash == z.Dash }) {
			t.Fatalf("a new %s of %s × %s is %v", z.Dash, m.Inside, m.Section, dashes(got.Is))
		}
		if len(got.Was) > 0 {
			t.Fatalf("a good ring is said to be a used %v", dashes(got.Was))
		}
	})
}

func TestCheckRow(t *testing.T) {
	row := func(inside, section, size string) *catalog.Ring {
		return &catalog.Ring{Ring: "r", Inside: catalog.Decimal{Num: dec(inside), Known: true}, Section: catalog.Decimal{Num: dec(section), Known: true}, Size: size}
	}
	for _, tt := range []struct {
		row   *catalog.Ring
		code  ring.RowCode
		meant []string
	}{
		{row("24.99", "3.53", "AS568-214"), ring.RowAgrees, nil},
		{row("20.22", "3.53", "211"), ring.RowAgrees, nil},
		{row("25", "3.53", "AS568-214"), ring.RowNear, nil},
		{row("24.99", "3.53", "AS568-215"), ring.RowDiffers, []string{"214"}},
		{row("24.99", "2.62", "AS568-214"), ring.RowDiffers, nil},
		{row("24.99", "3.53", "AS568-300"), ring.RowNoSuchSize, []string{"214"}},
		{row("24.99", "3.53", ""), ring.RowUnnamed, nil},
		{row("24", "2", ""), ring.RowOwnSize, nil},
	} {
		got := ring.CheckRow(tt.row)
		if got.Code != tt.code || !slices.Equal(got.Meant, tt.meant) {
			t.Errorf("%s × %s as %q: %s, meant %v; want %s, %v", tt.row.Inside, tt.row.Section, tt.row.Size, got.Code, got.Meant, tt.code, tt.meant)
		}
	}
}

// ISO 3601-1:2012 equation A.1, class B: the results that a seller's page prints
// (name withheld; it prints the exponent as 0.93, which gives none of the larger ones).
func TestTolerancesOfEquationA1(t *testing.T) {
	for inside, want := range map[string]string{"5": "0.15", "10": "0.19", "20": "0.26", "40": "0.41", "80": "0.69", "160": "1.23", "320": "2.27", "640": "4.28"} {
		got, _ := ring.Tolerances(catalog.Decimal{Num: dec(inside), Known: true}, catalog.Decimal{Num: dec("2"), Known: true})
		if !got.Num.Equal(dec(want)) {
			t.Errorf("%s mm: ±%s, want ±%s", inside, got, want)
		}
	}
	for section, want := range map[string]string{"2.25": "0.08", "2.26": "0.09", "3.15": "0.09", "4.5": "0.1", "6.3": "0.13", "8.4": "0.15"} {
		_, got := ring.Tolerances(catalog.Decimal{Num: dec("20"), Known: true}, catalog.Decimal{Num: dec(section), Known: true})
		if !got.Num.Equal(dec(want)) {
			t.Errorf("section %s mm: ±%s, want ±%s", section, got, want)
		}
	}
}

// A metric ring of a unit is found by its own measures, one of the table by its
// size.
func TestAgainst(t *testing.T) {
	row := func(inside, section, size string) *catalog.Ring {
		return &catalog.Ring{Ring: "r", Inside: catalog.Decimal{Num: dec(inside), Known: true}, Section: catalog.Decimal{Num: dec(section), Known: true}, Size: size}
	}
	for _, tt := range []struct {
		row             *catalog.Ring
		inside, section string
		want            string
	}{
		{row("24", "2", ""), "24.1", "2.05", "is-size"},
		{row("24", "2", ""), "24.9", "1.8", "stretched worn"},
		{row("24", "2", ""), "30", "2", ""},
		{row("24.99", "3.53", "AS568-214"), "24.99", "3.2", "worn"},
		{row("24.99", "3.53", "AS568-217"), "24.99", "3.53", "is-size"},
	} {
		id := identify(t, ring.Measured{Inside: mm(tt.inside), Section: mm(tt.section)})
		got := ""
		if m := id.Against(tt.row); m != nil {
			var cs []string
			for _, c := range m.Codes {
				cs = append(cs, string(c))
			}
			got = strings.Join(cs, " ")
		}
		if got != tt.want {
			t.Errorf("%s × %s against %s × %s %s: %q, want %q", tt.inside, tt.section, tt.row.Inside, tt.row.Section, tt.row.Size, got, tt.want)
		}
	}
}

// Every size, rounded to hundredths of a millimetre as catalogues do, agrees with
// its own designation.
func TestRoundedRowsAgree(t *testing.T) {
	for _, z := range ring.Sizes() {
		r := &catalog.Ring{Inside: catalog.Decimal{Num: z.Inside.Num.Round(2), Known: true}, Section: catalog.Decimal{Num: z.Section.Num.Round(2), Known: true}, Size: "AS568-" + z.Dash}
		if c := ring.CheckRow(r); c.Code != ring.RowAgrees {
			t.Errorf("%s rounded to hundredths: %s", z.Dash, c.Code)
		}
	}
}

// What the published comparisons say, row by row as they print it: table 1 in °F.
func TestMaterialsAsPublished(t *testing.T) {
	fahrenheit := map[string][2]int{"NBR": {-65, 250}, "CR": {-60, 225}, "VMQ": {-178, 600}, "FKM": {-40, 550}, "ECO": {-50, 275}, "EPDM": {-70, 350}, "AU": {-65, 200}, "NR": {-70, 250}, "SBR": {-65, 225}, "IIR": {-50, 300}}
	seen := 0
	for _, m := range ring.Materials() {
		f, ok := fahrenheit[m.Code]
		if !ok {
			continue
		}
		seen++
		c := func(f int) decimal.Decimal {
			return measure.Of(decimal.NewFromInt(int64(f)), measure.Fahrenheit).In(measure.Celsius).Value
		}
		if low, high := c(f[0]), c(f[1]); m.Low.Num.LessThan(low) || m.Low.Num.Sub(low).GreaterThan(dec("1")) || m.High.Num.GreaterThan(high) || high.Sub(m.High.Num).GreaterThan(dec("1")) {
			t.Errorf("%s is %s to %s °C, the table has %d to %d °F", m.Code, m.Low, m.High, f[0], f[1])
		}
		if m.StrictHigh.Known && m.StrictHigh.Num.GreaterThan(m.High.Num) || m.StrictLow.Known && m.StrictLow.Num.LessThan(m.Low.Num) {
			t.Errorf("%s: the strict limits are wider than the others", m.Code)
		}
	}
	require.Equal(t, len(fahrenheit), seen)
	require.Len(t, ring.Materials(), 11)
}

func TestAdvise(t *testing.T) {
	for _, tt := range []struct {
		material string
		medium   ring.Medium
		temps    string
		verdict  ring.Verdict
		codes    string
	}{
		{"NBR", ring.Oil, "70", ring.Suits, "medium-suits heat-suits"},
		{"nitrile", ring.Oil, "110", ring.Doubtful, "medium-suits heat-doubtful"},
		{"NBR 70", ring.Oil, "140", ring.Unsuited, "medium-suits heat-harms"},
		{"EPDM", ring.Oil, "80", ring.Unsuited, "medium-harms heat-suits"},
		{"EPDM", ring.Water, "80", ring.Suits, "medium-suits heat-suits"},
		{"FKM", ring.Oil, "150 -15", ring.Suits, "medium-suits heat-suits"},
		{"FKM", ring.Oil, "150 -30", ring.Doubtful, "medium-suits heat-suits heat-doubtful"},
		{"CR", ring.Oil, "60", ring.Doubtful, "medium-doubtful heat-suits"},
		{"VMQ", ring.Oil, "", ring.Unsuited, "medium-harms"},
		{"ACM", ring.Oil, "140", ring.Suits, "medium-suits heat-suits"},
		{"ACM", ring.Oil, "-40", ring.NotKnown, "medium-suits heat-unknown"},
		{"paper", ring.Oil, "70", ring.NotKnown, "unknown-material"},
		{"", ring.Oil, "", ring.NotKnown, "unknown-material"},
	} {
		var temps []catalog.Decimal
		for _, s := range strings.Fields(tt.temps) {
			temps = append(temps, catalog.Decimal{Num: dec(s), Known: true})
		}
		a := ring.Advise(tt.material, tt.medium, temps...)
		var codes []string
		for _, c := range a.Codes {
			codes = append(codes, string(c))
		}
		if a.Verdict != tt.verdict || strings.Join(codes, " ") != tt.codes {
			t.Errorf("%s in %s at %s: %s by %v, want %s by %s", tt.material, tt.medium, tt.temps, a.Verdict, codes, tt.verdict, tt.codes)
		}
		for _, b := range a.Better {
			if ring.Advise(b, tt.medium, temps...).Verdict != ring.Suits {
				t.Errorf("%s in %s at %s: %s is said to be better", tt.material, tt.medium, tt.temps, b)
			}
		}
		if tt.verdict == ring.Unsuited && len(a.Better) == 0 {
			t.Errorf("%s in %s at %s: better is %v", tt.material, tt.medium, tt.temps, a.Better)
		}
	}
}

// The bounds of use are widened by the measuring as the tolerances are, so that a
// coarser caliper never loses a size.
func TestCoarserMeasuringLosesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		inside := mm(strconv.Itoa(rapid.IntRange(2, 80).Draw(t, "inside")))
		section := measure.Of(decimal.New(int64(rapid.IntRange(100, 720).Draw(t, "section")), -2), measure.Millimetre)
		fine, err := ring.Identify(ring.Measured{Inside: inside, Section: section, Tolerance: mm("0.02")})
		if err != nil {
			t.Fatal(err)
		}
		coarse, err := ring.Identify(ring.Measured{Inside: inside, Section: section, Tolerance: mm("0.2")})
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range fine.Is {
			if !slices.ContainsFunc(coarse.Is, func(x ring.Match) bool { return x.Size.Dash == m.Size.Dash }) {
				t.Fatalf("%s is lost", m.Size.Dash)
			}
		}
	})
}

func FuzzFind(f *testing.F) {
	for _, s := range []string{"214", "AS568-214", "ISO 3601-1-214A", "ＡＳ568-２１４", "", "\xff"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		z, ok := ring.Find(s)
		if ok != (z.Dash != "") {
			t.Errorf("Find(%q) = %q, %t", s, z.Dash, ok)
		}
		if again, _ := ring.Find(z.Dash); again.Dash != z.Dash {
			t.Errorf("Find(%q) is %q, and Find of that %q", s, z.Dash, again.Dash)
		}
		if m, ok := ring.FindMaterial(s); ok != (m.Code != "") {
			t.Errorf("FindMaterial(%q) = %q, %t", s, m.Code, ok)
		}
	})
}
