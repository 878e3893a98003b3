package coil

import (
	"github.com/shopspring/decimal"

	"platewright/resolve/measure"
)

// CopperSource names where the temperature coefficient comes from.
const CopperSource = "IEC 60028: 0.00393 per kelvin at 20 °C for annealed copper"

var (
	alpha20 = decimal.New(393, -5)
	twenty  = decimal.NewFromInt(20)
	one     = decimal.NewFromInt(1)
	hundred = decimal.NewFromInt(100)
)

// Reference is the temperature to which readings are brought where a catalogue
// states none.
func Reference() measure.Quantity { return measure.Of(twenty, measure.Celsius) }

// rise is the resistance of copper at a temperature as a multiple of that at
// 20 °C.
func rise(t measure.Quantity) decimal.Decimal {
	return one.Add(alpha20.Mul(t.In(measure.Celsius).Value.Sub(twenty)))
}

// Bring gives the resistance that a copper coil of resistance r at the temperature
// from has at the temperature to. It is what every conversion of this package goes
// through.
func Bring(r, from, to measure.Quantity) measure.Quantity {
	if from.Cmp(to) == 0 {
		return r
	}
	return measure.Of(r.Value.Mul(rise(to)).DivRound(rise(from), 24), r.Unit)
}

// Agrees tells whether a coil of resistance r at the temperature at is off a
// nominal in Ω, which holds at the temperature of, by no more than the tolerance;
// both ends are included. It divides nothing, so that it is exact.
func Agrees(r, at measure.Quantity, nominal, tolerance decimal.Decimal, of measure.Quantity) bool {
	scale := rise(at)
	got := r.In(measure.Ohm).Value.Mul(rise(of))
	return got.Sub(nominal.Mul(scale)).Abs().LessThanOrEqual(tolerance.Mul(scale))
}
