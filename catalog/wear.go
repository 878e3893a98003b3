package catalog

import "github.com/shopspring/decimal"

// Deepest is the share of its length below which nothing that wears shorter is
// looked for where its fitted height is not known: common practice, no published
// source.
var Deepest = decimal.New(85, -2)

// Shortest gives the length that use leaves of what is length long when it is new and
// can be off by tolerance: [Deepest] of it, or less where a new one can be less.
func Shortest(length, tolerance decimal.Decimal) decimal.Decimal {
	return decimal.Min(length.Mul(Deepest), length.Sub(tolerance))
}

// Band gives what can be measured of a nominal of a measured mark, both ends
// included: as far off as the row's tolerance and the mark's own allow, and where it
// wears down to [Shortest].
func (m *Mark) Band(nominal decimal.Decimal, tolerance Decimal) (low, high decimal.Decimal) {
	reach := tolerance.Num.Add(m.Tolerance.Num)
	low, high = nominal.Sub(reach), nominal.Add(reach)
	if m.Wears == Shorter {
		low = Shortest(nominal, reach)
	}
	return low, high
}

// Meet tells whether the bands of two values of a measured mark meet, so that one
// thing measured can be either's. What is no number keeps nothing apart.
func (m *Mark) Meet(a, b *Show) bool {
	p, err := ParseDecimal(a.Value)
	if err != nil {
		return true
	}
	q, err := ParseDecimal(b.Value)
	if err != nil {
		return true
	}
	low, high := m.Band(p.Num, a.Tolerance)
	from, to := m.Band(q.Num, b.Tolerance)
	return low.LessThanOrEqual(to) && from.LessThanOrEqual(high)
}
