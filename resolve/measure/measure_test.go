package measure_test

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/shopspring/decimal"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"platewright/resolve/measure"
)

func dec(s string) decimal.Decimal { return decimal.RequireFromString(s) }

func TestParse(t *testing.T) {
	for _, tt := range []struct {
		text string
		kind measure.Kind
		want string
	}{
		{"10.8 Ω", measure.Resistance, "10.8 Ω"},
		{"10,8 Ω", measure.Resistance, "10.8 Ω"},
		{"10.8Ω", measure.Resistance, "10.8 Ω"},
		{"10.8 \u2126", measure.Resistance, "10.8 Ω"},
		{"10.8 ohm", measure.Resistance, "10.8 Ω"},
		{"10.8 OHMS", measure.Resistance, "10.8 Ω"},
		{"250 mohm", measure.Resistance, "250 mΩ"},
		{"1.2 Mohm", measure.Resistance, "1.2 MΩ"},
		{"0,125 in", measure.Length, "0.125 in"},
		{"1234,567 mm", measure.Length, "1234.567 mm"},
		{"1.234 mm", measure.Length, "1.234 mm"},
		{"12,34 mm", measure.Length, "12.34 mm"},
		{"1,2345 mm", measure.Length, "1.2345 mm"},
		{`2 "`, measure.Length, "2 in"},
		{"40 µm", measure.Length, "40 µm"},
		{"40 \u03bcm", measure.Length, "40 µm"},
		{"-20 °C", measure.Temperature, "-20 °C"},
		{"\u221220 C", measure.Temperature, "-20 °C"},
		{"+68 ºF", measure.Temperature, "68 °F"},
		{"293.15 K", measure.Temperature, "293.15 K"},
		{"6 Nm", measure.Torque, "6 N·m"},
		{"6 N.m", measure.Torque, "6 N·m"},
		{"53 in-lb", measure.Torque, "53 lbf·in"},
		{"53 lbs-in", measure.Torque, "53 lbf·in"},
		{"15 ft lbs", measure.Torque, "15 lbf·ft"},
		{"0.6 bar", measure.Pressure, "0.6 bar"},
		{"20 in Hg", measure.Pressure, "20 inHg"},
		{`20 "Hg`, measure.Pressure, "20 inHg"},
		{"2 US qt", measure.Volume, "2 US qt"},
		{"2 imp. quarts", measure.Volume, "2 imp qt"},
		{"4.5 l", measure.Volume, "4.5 L"},
		{"30 s", measure.Time, "30 s"},
		{"12 cc/min", measure.Flow, "12 cm³/min"},
		{"34 cSt", measure.Viscosity, "34 cSt"},
		{"34 mm2/s", measure.Viscosity, "34 mm²/s"},
		{"0 Ω", measure.Resistance, "0 Ω"},
	} {
		q, err := measure.Parse(tt.text, tt.kind)
		if err != nil || q.String() != tt.want {
			t.Errorf("Parse(%q, %s) = %q, %v; want %q", tt.text, tt.kind, q, err, tt.want)
		}
	}
}

func TestParseRefuses(t *testing.T) {
	for _, tt := range []struct {
		text string
		kind measure.Kind
		want measure.Reason
	}{
		{"", measure.Resistance, measure.NotNumber},
		{"Ω", measure.Resistance, measure.NotNumber},
		{"ten Ω", measure.Resistance, measure.NotNumber},
		{"NaN Ω", measure.Resistance, measure.NotNumber},
		{"∞ Ω", measure.Resistance, measure.NotNumber},
		{"--5 Ω", measure.Resistance, measure.NotNumber},
		{"10.8", measure.Resistance, measure.NoUnit},
		{"1,234 mm", measure.Length, measure.UnclearComma},
		{"12,345 mm", measure.Length, measure.UnclearComma},
		{"123,456 mm", measure.Length, measure.UnclearComma},
		{"-1,234 °C", measure.Temperature, measure.UnclearComma},
		{"1.234,5 mm", measure.Length, measure.TwoMarks},
		{"1,234.5 mm", measure.Length, measure.TwoMarks},
		{"1,234,567 mm", measure.Length, measure.TwoMarks},
		{"1 234 mm", measure.Length, measure.Grouped},
		{"1\u202f234 mm", measure.Length, measure.Grouped},
		{"1'234 mm", measure.Length, measure.Grouped},
		{"1’234 mm", measure.Length, measure.Grouped},
		{"1e3 mm", measure.Length, measure.Exponent},
		{"1E-3 mm", measure.Length, measure.Exponent},
		{"1/8 in", measure.Length, measure.Fraction},
		{".5 mm", measure.Length, measure.NoWholePart},
		{",5 mm", measure.Length, measure.NoWholePart},
		{"5. mm", measure.Length, measure.NoWholePart},
		{"1234567890123456789 mm", measure.Length, measure.TooLong},
		{"5 parsec", measure.Length, measure.UnknownUnit},
		{"5 mm Ω", measure.Length, measure.UnknownUnit},
		{"5 mm", measure.Torque, measure.WrongKind},
		{"5 N·m", measure.Length, measure.WrongKind},
		{"5 MOHM", measure.Resistance, measure.UnclearUnit},
		{"4 qt", measure.Volume, measure.UnclearUnit},
		{"50 lbs", measure.Torque, measure.UnclearUnit},
		{"-5 Ω", measure.Resistance, measure.Negative},
		{"-20 inHg", measure.Pressure, measure.Negative},
		{"-300 °C", measure.Temperature, measure.Absurd},
		{"-80 °F", measure.Temperature, measure.Absurd},
		{"1000 °C", measure.Temperature, measure.Absurd},
		{"20 K", measure.Temperature, measure.Absurd},
	} {
		_, err := measure.Parse(tt.text, tt.kind)
		var e *measure.Error
		if !errors.As(err, &e) || e.Reason != tt.want {
			t.Errorf("Parse(%q, %s) gives the error %v; want reason %s", tt.text, tt.kind, err, tt.want)
			continue
		}
		if e.Text != tt.text {
			t.Errorf("the error of Parse(%q) names the text %q", tt.text, e.Text)
		}
		if what, mend, ok := strings.Cut(e.Error(), "; "); !ok || what == "" || mend == "" {
			t.Errorf("the error of Parse(%q) does not say what to do: %v", tt.text, err)
		}
	}
}

func TestParseInTakesTheColumnsUnit(t *testing.T) {
	q, err := measure.ParseIn("10,8", measure.Ohm)
	require.NoError(t, err)
	if q.String() != "10.8 Ω" {
		t.Errorf("a bare number in a column of Ω is %q", q)
	}
	q, err = measure.ParseIn("68 °F", measure.Celsius)
	require.NoError(t, err)
	if q.String() != "68 °F" {
		t.Errorf("a unit beside the number in a column of °C gives %q", q)
	}
	if _, err := measure.ParseIn("68 mm", measure.Celsius); err == nil {
		t.Error("a length is taken in a column of °C")
	}
}

// Values of NIST SP 811, appendix B.8, as carried in the R package NISTunits 1.0.1,
// which prints them to seven digits.
func TestFactorsOfSP811(t *testing.T) {
	for _, tt := range []struct {
		from, to measure.Unit
		want     string
	}{
		{measure.PoundForceInch, measure.NewtonMetre, "0.1129848"},
		{measure.PoundForceFoot, measure.NewtonMetre, "1.355818"},
		{measure.KilogramForceMetre, measure.NewtonMetre, "9.80665"},
		{measure.PSI, measure.Kilopascal, "6.894757"},
		{measure.Bar, measure.Kilopascal, "100"},
		{measure.InchOfMercury, measure.Kilopascal, "3.386389"},
		{measure.USFluidOunce, measure.Millilitre, "29.57353"},
		{measure.USPint, measure.Millilitre, "473.1765"},
		{measure.USQuart, measure.Millilitre, "946.3529"},
		{measure.USGallon, measure.Litre, "3.785412"},
		{measure.ImperialGallon, measure.Litre, "4.54609"},
		{measure.ImperialFluidOunce, measure.Millilitre, "28.41306"},
		{measure.Inch, measure.Millimetre, "25.4"},
		{measure.CubicInch, measure.Millilitre, "16.38706"},
		{measure.Centistokes, measure.SquareMillimetrePerSecond, "1"},
	} {
		got := measure.Of(decimal.NewFromInt(1), tt.from).In(tt.to).Significant(7)
		if !got.Value.Equal(dec(tt.want)) {
			t.Errorf("one %s is %s; NIST SP 811 B.8 prints %s %s", tt.from, got, tt.want, tt.to)
		}
	}
}

// The definitions that SP 811 appendix B rests on give the factors without a
// digit lost: lbf from pound and standard gravity, quarts from gallons of 231 cubic
// inches and of 4.54609 L.
func TestFactorsFollowFromDefinitions(t *testing.T) {
	lbf := dec("0.45359237").Mul(dec("9.80665"))
	inch := dec("0.0254")
	four := decimal.NewFromInt(4)
	for _, tt := range []struct {
		unit, base measure.Unit
		want       decimal.Decimal
	}{
		{measure.PoundForceInch, measure.NewtonMetre, lbf.Mul(inch)},
		{measure.PoundForceFoot, measure.NewtonMetre, lbf.Mul(dec("0.3048"))},
		{measure.PSI, measure.Kilopascal, lbf.Div(decimal.NewFromInt(1000)).DivRound(inch.Mul(inch), 24)},
		{measure.InchOfMercury, measure.Kilopascal, dec("13.5951").Mul(dec("9.80665")).Mul(inch)},
		{measure.USQuart, measure.Litre, inch.Mul(decimal.NewFromInt(10)).Pow(decimal.NewFromInt(3)).Mul(decimal.NewFromInt(231)).Div(four)},
		{measure.ImperialQuart, measure.Litre, dec("4.54609").Div(four)},
	} {
		if got := measure.Factor(tt.unit, tt.base); !got.Equal(tt.want) {
			t.Errorf("one %s is %s %s; its definition gives %s", tt.unit, got, tt.base, tt.want)
		}
	}
}

func TestTemperatures(t *testing.T) {
	for _, tt := range []struct{ from, want string }{
		{"212 °F", "100 °C"}, {"-40 °F", "-40 °C"}, {"50 °F", "10 °C"}, {"20 °C", "68 °F"}, {"293.15 K", "20 °C"}, {"40 °C", "104 °F"}, {"100 °C", "212 °F"},
	} {
		q, err := measure.Parse(tt.from, measure.Temperature)
		require.NoError(t, err)
		w, err := measure.Parse(tt.want, measure.Temperature)
		require.NoError(t, err)
		if got := q.In(w.Unit); got.String() != tt.want {
			t.Errorf("%s is %s; want %s", tt.from, got, tt.want)
		}
		if q.Cmp(w) != 0 {
			t.Errorf("%s and %s compare as different", tt.from, tt.want)
		}
	}
}

// gnuNames are the names by which GNU units knows our units.
var gnuNames = map[measure.Unit]string{
	measure.Ohm: "ohm", measure.Milliohm: "milliohm", measure.Kiloohm: "kiloohm", measure.Megaohm: "megaohm",
	measure.Celsius: "tempC", measure.Fahrenheit: "tempF", measure.Kelvin: "tempK",
	measure.NewtonMetre: "N m", measure.PoundForceInch: "lbf inch", measure.PoundForceFoot: "lbf ft", measure.KilogramForceMetre: "kgf m", measure.KilogramForceCentimetre: "kgf cm",
	measure.Kilopascal: "kPa", measure.Pascal: "Pa", measure.Hectopascal: "hPa", measure.Megapascal: "MPa", measure.Bar: "bar", measure.Millibar: "millibar", measure.PSI: "psi", measure.InchOfMercury: "inHg", measure.MillimetreOfMercury: "mmHg",
	measure.Millimetre: "mm", measure.Micrometre: "micron", measure.Centimetre: "cm", measure.Metre: "m", measure.Inch: "inch",
	measure.SquareCentimetre: "cm^2", measure.SquareMillimetre: "mm^2", measure.SquareInch: "inch^2",
	measure.Litre: "liter", measure.Millilitre: "ml", measure.CubicCentimetre: "cm^3", measure.USQuart: "usquart", measure.USPint: "uspint", measure.USGallon: "usgallon", measure.USFluidOunce: "usfluidounce",
	measure.ImperialQuart: "brquart", measure.ImperialPint: "brpint", measure.ImperialGallon: "brgallon", measure.ImperialFluidOunce: "brfluidounce", measure.CubicInch: "inch^3",
	measure.Second: "s", measure.Minute: "min", measure.Hour: "hour",
	measure.MillilitrePerMinute: "ml/min", measure.CubicCentimetrePerMinute: "cm^3/min", measure.CubicCentimetrePerSecond: "cm^3/s", measure.LitrePerMinute: "liter/min",
	measure.SquareMillimetrePerSecond: "mm^2/s", measure.Centistokes: "centistokes",
	measure.KilogramPerCubicMetre: "kg/m^3", measure.GramPerCubicCentimetre: "g/cm^3", measure.KilogramPerLitre: "kg/liter",
	measure.Percent: "percent",
}

// TestAgainstGNUUnits holds every conversion between two units of a kind to the
// reference program GNU units, Debian package units.
func TestAgainstGNUUnits(t *testing.T) {
	program, err := exec.LookPath("units")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("the program units is absent; install the Debian package units")
		}
		t.Skip("SKIPPED: the program units is absent; the Debian package units has it")
	}
	type pair struct {
		from measure.Quantity
		to   measure.Unit
	}
	var pairs []pair
	var asked strings.Builder
	for k := measure.Resistance; k.String() != ""; k++ {
		for _, a := range measure.UnitsOf(k) {
			require.NotEmpty(t, gnuNames[a], "the test has no name in GNU units for %s", a)
			for _, b := range measure.UnitsOf(k) {
				if a == b {
					continue
				}
				q := measure.Of(dec("37.5"), a)
				from := "37.5 " + gnuNames[a]
				if k == measure.Temperature {
					from = fmt.Sprintf("%s(37.5)", gnuNames[a])
				}
				pairs = append(pairs, pair{q, b})
				fmt.Fprintf(&asked, "%s\n%s\n", from, gnuNames[b])
			}
		}
	}
	cmd := exec.Command(program, "--terse", "--output-format", "%.13g", "--quiet", "--locale", "en_US")
	cmd.Env = append(os.Environ(), "LC_ALL=C.UTF-8")
	cmd.Stdin = strings.NewReader(asked.String())
	out, err := cmd.CombinedOutput()
	require.NoError(t, err, string(out))
	lines := strings.Fields(string(out))
	require.Len(t, lines, len(pairs), string(out))
	for i, p := range pairs {
		want, err := decimal.NewFromString(lines[i])
		require.NoError(t, err)
		got := p.from.In(p.to).Value
		if d := got.Sub(want).Abs(); d.GreaterThan(want.Abs().Mul(dec("0.000000000001"))) {
			t.Errorf("%s is %s %s; GNU units says %s", p.from, got, p.to, want)
		}
	}
}

func TestDoubts(t *testing.T) {
	five := dec("0.05")
	for _, tt := range []struct {
		name, got, want string
		kind            measure.Kind
		doubts          string
	}{
		{"as it should be", "6 N·m", "6 N·m", measure.Torque, ""},
		{"simply wrong", "9.5 N·m", "6 N·m", measure.Torque, ""},
		{"inch pounds called newton metres, 8.85", "53 N·m", "6 N·m", measure.Torque, "N·m for lbf·in"},
		{"newton metres called inch pounds, 8.85", "6 lbf·in", "6 N·m", measure.Torque, "lbf·in for N·m"},
		{"inch pounds called foot pounds, 12", "53 lbf·ft", "6 N·m", measure.Torque, "lbf·ft for lbf·in"},
		{"multiplied by 12 for no reason", "72 N·m", "6 N·m", measure.Torque, "factor 12"},
		{"inches called millimetres, 25.4", "1.24 mm", "31.5 mm", measure.Length, "mm for in"},
		{"divided by 25.4 and called inches twice", "0.0488 in", "31.5 mm", measure.Length, "factor 25.4"},
		{"a Fahrenheit reading called Celsius", "104 °C", "40 °C", measure.Temperature, "°C for °F"},
		{"psi called bar", "30 bar", "207 kPa", measure.Pressure, "bar for psi"},
		{"kilohms for ohms", "5.2 kΩ", "5.2 Ω", measure.Resistance, "kΩ for Ω"},
	} {
		got, err := measure.Parse(tt.got, tt.kind)
		require.NoError(t, err)
		want, err := measure.Parse(tt.want, tt.kind)
		require.NoError(t, err)
		var out []string
		for _, d := range measure.Doubts(got, want, five) {
			if d.Number {
				out = append(out, d.Taken.String()+" for "+d.Meant.String())
			} else {
				out = append(out, "factor "+d.Factor.Round(2).String())
			}
		}
		if s := strings.Join(out, "; "); s != tt.doubts {
			t.Errorf("%s: %s where %s is expected raises %q; want %q", tt.name, tt.got, tt.want, s, tt.doubts)
		}
	}
}

func TestQuantityJSON(t *testing.T) {
	type both struct{ A, B measure.Quantity }
	in := both{A: measure.Of(dec("10.80"), measure.Ohm)}
	b, err := json.Marshal(in)
	require.NoError(t, err)
	if got, want := string(b), `{"A":{"value":10.8,"unit":"Ω"},"B":null}`; got != want {
		t.Errorf("JSON is %s; want %s", got, want)
	}
	var back both
	require.NoError(t, json.Unmarshal(b, &back))
	if d := cmp.Diff(in, back); d != "" {
		t.Errorf("JSON read back differs (-want +got):\n%s", d)
	}
}

func TestSignificant(t *testing.T) {
	for _, tt := range []struct {
		in     string
		digits int
		want   string
	}{{"123.456", 4, "123.5"}, {"0.00123456", 3, "0.00123"}, {"98765", 2, "99000"}, {"0", 3, "0"}, {"9.996", 3, "10"}, {"100", 2, "100"}} {
		if got := measure.Significant(dec(tt.in), tt.digits); !got.Equal(dec(tt.want)) {
			t.Errorf("%s to %d digits is %s; want %s", tt.in, tt.digits, got, tt.want)
		}
	}
}

// Any spelling of a number that is read is the number that was meant: with a
// point, and with a comma where that is not refused.
func TestNumbersReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := decimal.New(rapid.Int64Range(-999999999, 999999999).Draw(t, "digits"), -int32(rapid.IntRange(0, 8).Draw(t, "places")))
		got, err := measure.Number(v.String())
		if err != nil || !got.Equal(v) {
			t.Fatalf("Number(%q) = %s, %v", v, got, err)
		}
		comma := strings.Replace(v.String(), ".", ",", 1)
		got, err = measure.Number(comma)
		var e *measure.Error
		switch {
		case err == nil && !got.Equal(v):
			t.Fatalf("Number(%q) = %s", comma, got)
		case err != nil && (!errors.As(err, &e) || e.Reason != measure.UnclearComma):
			t.Fatalf("Number(%q): %v", comma, err)
		}
	})
}

// There and back again changes nothing beyond the places worked out, and the
// exact comparison agrees.
func TestConversionsComeBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := measure.Kind(rapid.IntRange(int(measure.Resistance), int(measure.Ratio)).Draw(t, "kind"))
		us := measure.UnitsOf(k)
		q := measure.Of(decimal.New(rapid.Int64Range(0, 99999999).Draw(t, "digits"), -4), rapid.SampledFrom(us).Draw(t, "from"))
		u := rapid.SampledFrom(us).Draw(t, "to")
		back := q.In(u).In(q.Unit)
		if back.Value.Sub(q.Value).Abs().GreaterThan(dec("0.000000000001")) {
			t.Fatalf("%s in %s and back is %s", q, u, back)
		}
		more := measure.Of(q.Value.Add(dec("0.0001")), q.Unit)
		if q.Cmp(q) != 0 || q.Cmp(more.In(u)) >= 0 || more.In(u).Cmp(q) <= 0 {
			t.Fatalf("%s and %s do not compare as they should", q, more.In(u))
		}
	})
}

// FuzzParse looks for a text that is read as something other than what it says:
// what is read must be non-negative (or a temperature), its own text must read back as
// the same, and the digits of the text must be those of the number.
func FuzzParse(f *testing.F) {
	for _, s := range []string{"10,8 Ω", "1,234 mm", "-40 °F", "53 in-lb", "1.234,5", "1e3 mm", ".5 mm", "20 \"Hg", "4 qt", "\u2212", "5 MOHM", "+0,0 %"} {
		f.Add(s, uint8(1))
	}
	f.Fuzz(func(t *testing.T, text string, kind uint8) {
		k := measure.Kind(kind%uint8(measure.Ratio)) + 1
		q, err := measure.Parse(text, k)
		if err != nil {
			var e *measure.Error
			if !errors.As(err, &e) || e.Error() == "" {
				t.Fatalf("Parse(%q) gives %T: %v", text, err, err)
			}
			return
		}
		if q.Unit.Kind() != k || k != measure.Temperature && q.Value.IsNegative() {
			t.Fatalf("Parse(%q, %s) = %s", text, k, q)
		}
		back, err := measure.Parse(q.String(), k)
		if err != nil || back.Cmp(q) != 0 || back.Unit != q.Unit {
			t.Fatalf("Parse(%q) = %s, which reads back as %s, %v", text, q, back, err)
		}
		digits := func(s string) string {
			return strings.Trim(strings.Map(func(r rune) rune {
				if r < '0' || r > '9' {
					return -1
				}
				return r
			}, s), "0")
		}
		head := text
		if i := strings.IndexFunc(strings.TrimLeft(text, " \t\u00a0\u2009\u202f"), func(r rune) bool { return !strings.ContainsRune("0123456789.,+-\u2212", r) }); i >= 0 {
			head = strings.TrimLeft(text, " \t\u00a0\u2009\u202f")[:i]
		}
		if digits(head) != digits(q.Value.String()) {
			t.Fatalf("Parse(%q) = %s: other digits", text, q)
		}
	})
}

// A unit by another name changes no digit: 5.90 cSt is 5.90 mm²/s, to its hundredths.
func TestInKeepsTheLastDigit(t *testing.T) {
	for _, tt := range []struct {
		text string
		kind measure.Kind
		to   measure.Unit
		want int32
	}{{"5.90 cSt", measure.Viscosity, measure.SquareMillimetrePerSecond, -2}, {"29.8 cSt", measure.Viscosity, measure.SquareMillimetrePerSecond, -1}, {"60.0 mL", measure.Volume, measure.CubicCentimetre, -1}} {
		q, err := measure.Parse(tt.text, tt.kind)
		if err != nil {
			t.Fatal(err)
		}
		if got := q.In(tt.to); got.Value.Exponent() != tt.want || !got.Value.Equal(q.Value) {
			t.Errorf("%s is %s with the exponent %d, wanted %d", tt.text, got, got.Value.Exponent(), tt.want)
		}
	}
}

// What an error asks for can be typed, and is read as the unit.
func TestTypedUnits(t *testing.T) {
	for k := measure.Resistance; k <= measure.Ratio; k++ {
		for _, u := range measure.UnitsOf(k) {
			got, err := measure.ParseUnit(u.Typed(), k)
			if err != nil || got != u {
				t.Errorf("%s is typed %q, which is %s: %v", u, u.Typed(), got, err)
			}
			if strings.ContainsFunc(u.Typed(), func(r rune) bool { return r >= 0x80 }) {
				t.Errorf("%q cannot be typed", u.Typed())
			}
		}
	}
	for _, tt := range []struct{ text, want string }{{"5.2", "ohm, mohm"}, {"5.2 furlong", "ohm, mohm"}, {"volt", "5.2 ohm"}} {
		if _, err := measure.Parse(tt.text, measure.Resistance); err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s: %v, wanted it to name %s", tt.text, err, tt.want)
		}
	}
}

// No wrench gives a hundred thousand newton metres.
func TestTorqueHasAnEnd(t *testing.T) {
	for text, want := range map[string]bool{"5000 Nm": true, "5001 Nm": false, "99999999Nm": false, "3600 lbf-ft": true, "3700 lbf-ft": false} {
		if _, err := measure.Parse(text, measure.Torque); (err == nil) != want {
			t.Errorf("%s: %v", text, err)
		}
	}
}
