package measure

import (
	"slices"

	"github.com/shopspring/decimal"
)

// Doubt says that a value fits what was expected once one unit is taken for
// another: a question to ask, never a correction made.
type Doubt struct {
	Taken  Unit            `json:"taken"`  // the unit that was written, or reckoned with
	Meant  Unit            `json:"meant"`  // the unit that would make it right
	Factor decimal.Decimal `json:"-"`      // units meant in one unit taken, the larger way round
	Value  Quantity        `json:"value"`  // what the value would be, in the unit that was expected
	Number bool            `json:"number"` // the number as written is right in the unit meant; else it was converted by the wrong factor
}

// Doubts asks whether a value that is not what was expected would be so in
// another unit of its kind: the same number with another unit, or a number that was
// converted by a factor between two other units. A value within the share of what was
// expected raises none, and such a value counts as right. Where a number in another
// unit is right, factors are not looked at.
func Doubts(got, want Quantity, within decimal.Decimal) []Doubt {
	k := got.Unit.Kind()
	if k == 0 || k != want.Unit.Kind() {
		return nil
	}
	near := func(q Quantity) bool {
		v := q.In(want.Unit).Value
		return v.Sub(want.Value).Abs().LessThanOrEqual(want.Value.Abs().Mul(within))
	}
	if near(got) {
		return nil
	}
	var out []Doubt
	for _, u := range UnitsOf(k) {
		if q := (Quantity{got.Value, u}); u != got.Unit && near(q) {
			out = append(out, Doubt{got.Unit, u, ratio(got.Unit, u), q.In(want.Unit), true})
		}
	}
	if len(out) > 0 || k == Temperature {
		return out
	}
	for _, a := range everyday(k) {
		for _, b := range everyday(k) {
			f := Factor(a, b)
			if a == b || f.Equal(decimal.NewFromInt(1)) {
				continue
			}
			if q := (Quantity{got.Value.Div(f), got.Unit}); near(q) && !slices.ContainsFunc(out, func(d Doubt) bool { return d.Factor.Equal(ratio(a, b)) }) {
				out = append(out, Doubt{a, b, ratio(a, b), q.In(want.Unit), false})
			}
		}
	}
	return out
}

// ratio gives the factor between two units, the larger way round.
func ratio(a, b Unit) decimal.Decimal {
	if f := Factor(a, b); f.GreaterThan(decimal.NewFromInt(1)) {
		return f
	}
	return Factor(b, a)
}

// everyday are the units of a kind that people convert between.
func everyday(k Kind) []Unit {
	switch k {
	case Torque:
		return []Unit{NewtonMetre, PoundForceInch, PoundForceFoot}
	case Length:
		return []Unit{Millimetre, Inch}
	case Pressure:
		return []Unit{Kilopascal, Bar, PSI, InchOfMercury}
	case Volume:
		return []Unit{Litre, USQuart, ImperialQuart}
	}
	return nil
}
