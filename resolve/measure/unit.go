package measure

import (
	"slices"
	"strings"
	"sync"

	"github.com/shopspring/decimal"
)

// Kind is what a quantity is a quantity of. The zero Kind is none.
type Kind uint8

// The kinds of quantity.
const (
	Resistance Kind = iota + 1
	Temperature
	Torque
	Pressure // gauge pressure, or the depth of a vacuum
	Length
	Area
	Volume
	Time
	Flow // a volume in a time
	Viscosity
	Density
	Ratio
)

var kindNames = [...]string{"", "resistance", "temperature", "torque", "pressure", "length", "area", "volume", "time", "flow", "kinematic viscosity", "density", "ratio"}

func (k Kind) String() string {
	if int(k) < len(kindNames) {
		return kindNames[k]
	}
	return ""
}

// Unit is a unit of measurement. The zero Unit is none.
type Unit uint8

// The units. What each is, and where its factor comes from, stands in the table
// of this file.
const (
	Ohm Unit = iota + 1
	Milliohm
	Kiloohm
	Megaohm

	Celsius
	Fahrenheit
	Kelvin

	NewtonMetre
	PoundForceInch
	PoundForceFoot
	KilogramForceMetre
	KilogramForceCentimetre

	Kilopascal
	Pascal
	Hectopascal
	Megapascal
	Bar
	Millibar
	PSI
	InchOfMercury
	MillimetreOfMercury

	Millimetre
	Micrometre
	Centimetre
	Metre
	Inch

	SquareCentimetre
	SquareMillimetre
	SquareInch

	Litre
	Millilitre
	CubicCentimetre
	USQuart
	USPint
	USGallon
	USFluidOunce
	ImperialQuart
	ImperialPint
	ImperialGallon
	ImperialFluidOunce
	CubicInch

	Second
	Minute
	Hour

	MillilitrePerMinute
	CubicCentimetrePerMinute
	CubicCentimetrePerSecond
	LitrePerMinute

	SquareMillimetrePerSecond
	Centistokes

	KilogramPerCubicMetre
	GramPerCubicCentimetre
	KilogramPerLitre

	Percent
)

// unitRow says what a unit is: value in base unit = (value + shift) · num / den.
// The base unit of a kind is the first of its kind in the table.
type unitRow struct {
	unit   Unit
	kind   Kind
	symbol string
	shift  string
	num    string
	den    string
	names  string // further spellings, with a bar between them
	source string // of the factor
}

const (
	sp811B8   = "NIST SP 811 (2008), B.8"
	siPrefix  = "NIST SP 811 (2008), 4.3, table 5"
	sp811Temp = "NIST SP 811 (2008), B.8, degree Celsius, degree Fahrenheit"
)

// unitTable is in the order of the constants. Torque from force and length: one
// lbf is 0.45359237 · 9.80665 = 4.4482216152605 N exactly, one inch 0.0254 m, one
// foot 0.3048 m. One psi is that force on 0.0254² m². One conventional inch of
// mercury is 25.4 mm of a liquid of 13595.1 kg/m³ under standard gravity. The
// US gallon is 231 cubic inches, the imperial gallon 4.54609 L.
var unitTable = []unitRow{
	{Ohm, Resistance, "Ω", "0", "1", "1", "ohm|ohms", siPrefix},
	{Milliohm, Resistance, "mΩ", "0", "0.001", "1", "mohm|mohms|milliohm|milliohms", siPrefix},
	{Kiloohm, Resistance, "kΩ", "0", "1000", "1", "kohm|kohms|kiloohm|kiloohms|kilohm|kilohms", siPrefix},
	{Megaohm, Resistance, "MΩ", "0", "1000000", "1", "Mohm|Mohms|megaohm|megaohms|megohm|megohms", siPrefix},

	{Celsius, Temperature, "°C", "0", "1", "1", "C|degC|Celsius|℃", sp811Temp},
	{Fahrenheit, Temperature, "°F", "-32", "5", "9", "F|degF|Fahrenheit|℉", sp811Temp},
	{Kelvin, Temperature, "K", "-273.15", "1", "1", "kelvin", sp811Temp},

	{NewtonMetre, Torque, "N·m", "0", "1", "1", "Nm|newtonmetre|newtonmetres|newtonmeter|newtonmeters", sp811B8},
	{PoundForceInch, Torque, "lbf·in", "0", "0.1129848290276167", "1", "inlbf|lbin|inlb|lbsin|inlbs|inchlb|inchlbs|inchpound|inchpounds|poundinch|inchpoundforce|poundforceinch", sp811B8 + ", pound-force inch"},
	{PoundForceFoot, Torque, "lbf·ft", "0", "1.3558179483314004", "1", "ftlbf|lbft|ftlb|lbsft|ftlbs|footlb|footlbs|footpound|footpounds|poundfoot|footpoundforce|poundforcefoot", sp811B8 + ", pound-force foot"},
	{KilogramForceMetre, Torque, "kgf·m", "0", "9.80665", "1", "mkgf|kgm|mkg", sp811B8 + ", kilogram-force meter"},
	{KilogramForceCentimetre, Torque, "kgf·cm", "0", "0.0980665", "1", "cmkgf|kgcm|cmkg", sp811B8 + ", kilogram-force meter"},

	{Kilopascal, Pressure, "kPa", "0", "1", "1", "kilopascal", siPrefix},
	{Pascal, Pressure, "Pa", "0", "0.001", "1", "pascal", siPrefix},
	{Hectopascal, Pressure, "hPa", "0", "0.1", "1", "hectopascal", siPrefix},
	{Megapascal, Pressure, "MPa", "0", "1000", "1", "megapascal", siPrefix},
	{Bar, Pressure, "bar", "0", "100", "1", "bars|barg", sp811B8 + ", bar"},
	{Millibar, Pressure, "mbar", "0", "0.1", "1", "millibar", sp811B8 + ", millibar"},
	{PSI, Pressure, "psi", "0", "4448.2216152605", "645.16", "psig|lbf/in2|lbf/in²", sp811B8 + ", psi"},
	{InchOfMercury, Pressure, "inHg", "0", "3.386388640341", "1", "\"Hg|inchHg|inchofmercury|inchesofmercury", sp811B8 + ", inch of mercury, conventional"},
	{MillimetreOfMercury, Pressure, "mmHg", "0", "0.133322387415", "1", "millimetreofmercury|millimetresofmercury", sp811B8 + ", millimeter of mercury, conventional"},

	{Millimetre, Length, "mm", "0", "1", "1", "millimetre|millimetres|millimeter|millimeters", siPrefix},
	{Micrometre, Length, "µm", "0", "0.001", "1", "um|micron|microns|micrometre|micrometres|micrometer|micrometers", siPrefix},
	{Centimetre, Length, "cm", "0", "10", "1", "centimetre|centimetres|centimeter|centimeters", siPrefix},
	{Metre, Length, "m", "0", "1000", "1", "metre|metres|meter|meters", siPrefix},
	{Inch, Length, "in", "0", "25.4", "1", "inch|inches|\"", sp811B8 + ", inch"},

	{SquareCentimetre, Area, "cm²", "0", "1", "1", "cm2|sqcm", siPrefix},
	{SquareMillimetre, Area, "mm²", "0", "0.01", "1", "mm2|sqmm", siPrefix},
	{SquareInch, Area, "in²", "0", "6.4516", "1", "in2|sqin", sp811B8 + ", square inch"},

	{Litre, Volume, "L", "0", "1", "1", "litre|litres|liter|liters|ltr", sp811B8 + ", liter"},
	{Millilitre, Volume, "mL", "0", "0.001", "1", "millilitre|millilitres|milliliter|milliliters", siPrefix},
	{CubicCentimetre, Volume, "cm³", "0", "0.001", "1", "cm3|cc|ccm", siPrefix},
	{USQuart, Volume, "US qt", "0", "0.946352946", "1", "USquart|USquarts|USliquidquart|qtUS", sp811B8 + ", quart, liquid"},
	{USPint, Volume, "US pt", "0", "0.473176473", "1", "USpint|USpints", sp811B8 + ", pint, liquid"},
	{USGallon, Volume, "US gal", "0", "3.785411784", "1", "USgallon|USgallons|galUS", sp811B8 + ", gallon, U.S."},
	{USFluidOunce, Volume, "US fl oz", "0", "0.0295735295625", "1", "USfluidounce|USfluidounces", sp811B8 + ", fluid ounce, U.S."},
	{ImperialQuart, Volume, "imp qt", "0", "1.1365225", "1", "impquart|impquarts|imperialquart|imperialquarts|imperialqt|UKqt|UKquart|UKquarts|qtimp", sp811B8 + ", gallon, Imperial"},
	{ImperialPint, Volume, "imp pt", "0", "0.56826125", "1", "imppint|imppints|imperialpint|imperialpints|UKpt|UKpint", sp811B8 + ", gallon, Imperial"},
	{ImperialGallon, Volume, "imp gal", "0", "4.54609", "1", "impgallon|impgallons|imperialgallon|imperialgallons|UKgal|UKgallon", sp811B8 + ", gallon, Imperial"},
	{ImperialFluidOunce, Volume, "imp fl oz", "0", "0.0284130625", "1", "imperialfluidounce|imperialfluidounces|UKfloz", sp811B8 + ", gallon, Imperial"},
	{CubicInch, Volume, "in³", "0", "0.016387064", "1", "in3|cuin", sp811B8 + ", cubic inch"},

	{Second, Time, "s", "0", "1", "1", "sec|second|seconds", "NIST SP 811 (2008), 4.1, table 1"},
	{Minute, Time, "min", "0", "60", "1", "minute|minutes", sp811B8 + ", minute"},
	{Hour, Time, "h", "0", "3600", "1", "hour|hours|hr", sp811B8 + ", hour"},

	{MillilitrePerMinute, Flow, "mL/min", "0", "1", "1", "", siPrefix},
	{CubicCentimetrePerMinute, Flow, "cm³/min", "0", "1", "1", "cm3/min|cc/min|ccm/min", siPrefix},
	{CubicCentimetrePerSecond, Flow, "cm³/s", "0", "60", "1", "cm3/s|cc/s|mL/s", siPrefix},
	{LitrePerMinute, Flow, "L/min", "0", "1000", "1", "lpm", siPrefix},

	{SquareMillimetrePerSecond, Viscosity, "mm²/s", "0", "1", "1", "mm2/s", siPrefix},
	{Centistokes, Viscosity, "cSt", "0", "1", "1", "centistoke|centistokes", sp811B8 + ", centistokes"},

	{KilogramPerCubicMetre, Density, "kg/m³", "0", "1", "1", "kg/m3", siPrefix},
	{GramPerCubicCentimetre, Density, "g/cm³", "0", "1000", "1", "g/cm3|g/cc|g/mL", siPrefix},
	{KilogramPerLitre, Density, "kg/L", "0", "1000", "1", "", siPrefix},

	{Percent, Ratio, "%", "0", "1", "1", "percent|pct", "NIST SP 811 (2008), 7.10.2"},
}

// unclear are unit texts, folded, that name several units, with what to write.
var unclear = map[string][]Unit{
	"qt": {USQuart, ImperialQuart}, "qts": {USQuart, ImperialQuart}, "quart": {USQuart, ImperialQuart}, "quarts": {USQuart, ImperialQuart},
	"pt": {USPint, ImperialPint}, "pint": {USPint, ImperialPint}, "pints": {USPint, ImperialPint},
	"gal": {USGallon, ImperialGallon}, "gallon": {USGallon, ImperialGallon}, "gallons": {USGallon, ImperialGallon},
	"floz": {USFluidOunce, ImperialFluidOunce}, "oz": {USFluidOunce, ImperialFluidOunce},
	"lb": {PoundForceInch, PoundForceFoot}, "lbs": {PoundForceInch, PoundForceFoot}, "lbf": {PoundForceInch, PoundForceFoot}, "pounds": {PoundForceInch, PoundForceFoot},
}

type unitFacts struct {
	unitRow
	shift, num, den decimal.Decimal
}

// units is the table with its numbers, at the place of each unit.
var units = sync.OnceValue(func() []unitFacts {
	out := make([]unitFacts, len(unitTable)+1)
	for _, r := range unitTable {
		out[r.unit] = unitFacts{r, decimal.RequireFromString(r.shift), decimal.RequireFromString(r.num), decimal.RequireFromString(r.den)}
	}
	return out
})

// spelled holds the spellings: as written and folded in case. A folded spelling
// that several units share is theirs all.
var spelled = sync.OnceValue(func() map[string][]Unit {
	m := map[string][]Unit{}
	add := func(name string, u Unit) {
		if !slices.Contains(m[name], u) {
			m[name] = append(m[name], u)
		}
	}
	for _, r := range unitTable {
		for _, n := range append(strings.Split(r.names, "|"), r.symbol) {
			if n == "" {
				continue
			}
			add(squeeze(n), r.unit)
			add("~"+strings.ToLower(squeeze(n)), r.unit)
		}
	}
	return m
})

func (u Unit) facts() *unitFacts {
	if int(u) < len(units()) {
		return &units()[u]
	}
	return &units()[0]
}

// Kind gives what u measures; of no unit it is the zero Kind.
func (u Unit) Kind() Kind { return u.facts().kind }

// String gives the unit's symbol.
func (u Unit) String() string { return u.facts().symbol }

// Typed gives a spelling of the unit that any keyboard has, and that [ParseUnit]
// reads: ohm for Ω, Nm for N·m, lbf-in for lbf·in.
func (u Unit) Typed() string {
	f := u.facts()
	ascii := func(s string) bool { return !strings.ContainsFunc(s, func(r rune) bool { return r >= 0x80 }) }
	if ascii(f.symbol) {
		return f.symbol
	}
	names := strings.Split(f.names, "|")
	if plain := strings.ReplaceAll(f.symbol, "·", "-"); ascii(plain) && squeeze(plain) != names[0] {
		return plain
	}
	return names[0]
}

// Source names where the unit's factor comes from.
func (u Unit) Source() string { return u.facts().source }

// UnitsOf gives the units of a kind; the first is the one in which the catalogue's
// columns and the packages below this one reckon.
func UnitsOf(k Kind) []Unit {
	var out []Unit
	for _, r := range unitTable {
		if r.kind == k {
			out = append(out, r.unit)
		}
	}
	return out
}

// Factor gives how many units b one unit a is. Both must be of one kind; shifts
// of scales, as between °C and °F, are left out.
func Factor(a, b Unit) decimal.Decimal {
	x, y := a.facts(), b.facts()
	return quotient(x.num.Mul(y.den), x.den.Mul(y.num))
}

// squeeze takes out of a unit's text what makes no difference, and turns
// characters that mean one thing into one.
func squeeze(s string) string {
	var b strings.Builder
	for _, r := range s {
		switch r {
		case ' ', '\u00a0', '\u2009', '\u202f', '·', '\u22c5', '\u2022', '\u2219', '.', '*', '-', '_':
		case '\u2126': // the ohm sign, which looks like the Greek letter
			b.WriteRune('Ω')
		case 'º', '˚': // taken for the degree sign
			b.WriteRune('°')
		case '\u03bc': // Greek mu, taken for the micro sign
			b.WriteRune('µ')
		case '″', '”':
			b.WriteRune('"')
		default:
			b.WriteRune(r)
		}
	}
	return b.String()
}

// ParseUnit reads a unit of one of the kinds, or of any where none is named. The
// error is an [*Error].
func ParseUnit(text string, kinds ...Kind) (Unit, error) {
	text = strings.TrimSpace(text)
	if text == "" {
		return 0, &Error{Text: text, Reason: NoUnit, Kinds: kinds}
	}
	fits := func(us []Unit) []Unit {
		var out []Unit
		for _, u := range us {
			if len(kinds) == 0 || slices.Contains(kinds, u.Kind()) {
				out = append(out, u)
			}
		}
		return out
	}
	key := squeeze(text)
	exact, folded := spelled()[key], spelled()["~"+strings.ToLower(key)]
	for _, list := range [][]Unit{fits(exact), fits(folded), fits(unclear[strings.ToLower(key)])} {
		switch len(list) {
		case 0:
			continue
		case 1:
			return list[0], nil
		}
		return 0, &Error{Text: text, Reason: UnclearUnit, Kinds: kinds, Units: list}
	}
	if len(exact) > 0 {
		return 0, &Error{Text: text, Reason: WrongKind, Kinds: kinds, Units: exact[:1]}
	}
	if len(folded) > 0 {
		return 0, &Error{Text: text, Reason: WrongKind, Kinds: kinds, Units: folded[:1]}
	}
	return 0, &Error{Text: text, Reason: UnknownUnit, Kinds: kinds}
}
