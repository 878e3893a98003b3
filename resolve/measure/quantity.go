package measure

import (
	"encoding/json"
	"fmt"
	"strings"
	"unicode/utf8"

	"github.com/shopspring/decimal"
)

// places is to how many decimal places a division is worked out.
const places = 24

// maxDigits is how many digits a number can have: no instrument gives more.
const maxDigits = 18

// Quantity is a number with its unit, as it was given or worked out. The zero
// Quantity has no unit and means not known.
type Quantity struct {
	Value decimal.Decimal
	Unit  Unit
}

// Of gives the quantity of v in units u.
func Of(v decimal.Decimal, u Unit) Quantity { return Quantity{v, u} }

// Known tells whether q has a unit.
func (q Quantity) Known() bool { return q.Unit != 0 }

// String gives the number, without exponent and trailing zeros, and the symbol
// of the unit.
func (q Quantity) String() string {
	if !q.Known() {
		return ""
	}
	return q.Value.String() + " " + q.Unit.String()
}

// In converts q to the unit u of the same kind. The result is exact where it has
// a finite decimal form, else rounded to 24 places. A unit of another kind is a
// slip of the caller and gives the zero Quantity.
func (q Quantity) In(u Unit) Quantity {
	if q.Unit == u {
		return q
	}
	if q.Unit.Kind() == 0 || q.Unit.Kind() != u.Kind() {
		return Quantity{}
	}
	from, to := q.Unit.facts(), u.facts()
	if from.num.Equal(to.num) && from.den.Equal(to.den) && from.shift.Equal(to.shift) {
		return Quantity{q.Value, u} // the same unit by another name: the last digit stays the last
	}
	v := q.Value.Add(from.shift)
	return Quantity{quotient(v.Mul(from.num).Mul(to.den), from.den.Mul(to.num)).Sub(to.shift), u}
}

// Cmp compares two quantities of one kind exactly: -1 if q is the less, 0 if they
// are equal, 1 if q is the greater.
func (q Quantity) Cmp(o Quantity) int {
	a, b := q.Unit.facts(), o.Unit.facts()
	x := q.Value.Add(a.shift).Mul(a.num).Mul(b.den)
	y := o.Value.Add(b.shift).Mul(b.num).Mul(a.den)
	return x.Cmp(y)
}

// Round rounds the number half away from zero to so many decimal places.
func (q Quantity) Round(decimals int32) Quantity { return Quantity{q.Value.Round(decimals), q.Unit} }

// Fixed gives the text of q with so many decimal places, as a meter shows it.
func (q Quantity) Fixed(decimals int32) string {
	return q.Value.StringFixed(decimals) + " " + q.Unit.String()
}

// Significant rounds the number to so many significant digits.
func (q Quantity) Significant(digits int) Quantity {
	return Quantity{Significant(q.Value, digits), q.Unit}
}

// Significant rounds v to so many significant digits.
func Significant(v decimal.Decimal, digits int) decimal.Decimal {
	if v.IsZero() {
		return v
	}
	lead := int32(v.NumDigits()) + v.Exponent() // the place of the first digit, counted from the point
	return v.Round(int32(digits) - lead)
}

// MarshalJSON writes {"value": NUMBER, "unit": "SYMBOL"}, and null for the zero
// Quantity.
func (q Quantity) MarshalJSON() ([]byte, error) {
	if !q.Known() {
		return []byte("null"), nil
	}
	return json.Marshal(struct {
		Value json.Number `json:"value"`
		Unit  string      `json:"unit"`
	}{json.Number(q.Value.String()), q.Unit.String()})
}

// UnmarshalJSON reads what MarshalJSON writes.
func (q *Quantity) UnmarshalJSON(b []byte) error {
	if string(b) == "null" {
		*q = Quantity{}
		return nil
	}
	var p struct {
		Value json.Number `json:"value"`
		Unit  string      `json:"unit"`
	}
	if err := json.Unmarshal(b, &p); err != nil {
		return err
	}
	v, err := decimal.NewFromString(p.Value.String())
	if err != nil {
		return fmt.Errorf("the value of a quantity: %w", err)
	}
	u, err := ParseUnit(p.Unit)
	if err != nil {
		return err
	}
	*q = Quantity{v, u}
	return nil
}

// MarshalText gives the symbol of the unit.
func (u Unit) MarshalText() ([]byte, error) { return []byte(u.String()), nil }

// UnmarshalText reads the symbol of a unit; an empty text is no unit.
func (u *Unit) UnmarshalText(b []byte) error {
	if len(b) == 0 {
		*u = 0
		return nil
	}
	v, err := ParseUnit(string(b))
	if err != nil {
		return err
	}
	*u = v
	return nil
}

// quotient divides, exactly where the result is finite within the places worked
// out.
func quotient(a, b decimal.Decimal) decimal.Decimal { return a.DivRound(b, places) }

// Parse reads a number with its unit, which is required and of the kind. The
// error is an [*Error].
func Parse(text string, k Kind) (Quantity, error) { return parse(text, k, 0) }

// ParseIn reads a number from a column whose unit is u: a bare number has that
// unit, and a unit of the same kind written with the number counts for it. The error is
// an [*Error].
func ParseIn(text string, u Unit) (Quantity, error) { return parse(text, u.Kind(), u) }

func parse(text string, k Kind, column Unit) (Quantity, error) {
	refuse := func(err error) (Quantity, error) {
		e := err.(*Error)
		e.Text, e.Kinds = text, []Kind{k}
		return Quantity{}, e
	}
	s := strings.TrimFunc(text, isSpace)
	head, tail := split(s)
	v, err := Number(head)
	if err != nil {
		return refuse(err)
	}
	if err := looksLikeNumber(tail); err != nil {
		return refuse(err)
	}
	u := column
	if tail != "" || u == 0 {
		if u, err = ParseUnit(tail, k); err != nil {
			return refuse(err)
		}
	}
	q := Quantity{v, u}
	if err := q.plausible(); err != nil {
		return refuse(err)
	}
	return q, nil
}

func isSpace(r rune) bool { return strings.ContainsRune(" \t\u00a0\u2009\u202f", r) }

// split cuts a text into the number at its start and the unit.
func split(s string) (number, unit string) {
	i := 0
	for i < len(s) {
		r, n := utf8.DecodeRuneInString(s[i:])
		if !('0' <= r && r <= '9') && r != '.' && r != ',' && !(i == 0 && (r == '+' || r == '-' || r == '\u2212')) {
			break
		}
		i += n
	}
	return s[:i], strings.TrimFunc(s[i:], isSpace)
}

// looksLikeNumber finds in what follows a number the rest of one, which would
// otherwise be called an unknown unit.
func looksLikeNumber(tail string) error {
	if tail == "" {
		return nil
	}
	digit := func(i int) bool { return i < len(tail) && '0' <= tail[i] && tail[i] <= '9' }
	switch {
	case digit(0), (tail[0] == '\'' || tail[0] == '_') && digit(1), strings.HasPrefix(tail, "’") && digit(len("’")):
		return &Error{Reason: Grouped}
	case tail[0] == '/' && digit(1):
		return &Error{Reason: Fraction}
	case (tail[0] == 'e' || tail[0] == 'E') && (digit(1) || len(tail) > 1 && (tail[1] == '-' || tail[1] == '+') && digit(2)):
		return &Error{Reason: Exponent}
	}
	return nil
}

// Number reads a number without a unit, by the rule in the package's comment. The
// error is an [*Error].
func Number(text string) (decimal.Decimal, error) {
	refuse := func(r Reason) (decimal.Decimal, error) {
		return decimal.Decimal{}, &Error{Text: text, Reason: r}
	}
	s := strings.TrimFunc(text, isSpace)
	minus := false
	for _, sign := range []string{"+", "-", "\u2212"} {
		if rest, ok := strings.CutPrefix(s, sign); ok {
			s, minus = rest, sign != "+"
			break
		}
	}
	at, marks, digits := -1, 0, 0
	for i := 0; i < len(s); i++ {
		switch c := s[i]; {
		case '0' <= c && c <= '9':
			digits++
		case c == '.' || c == ',':
			at = i
			marks++
		default:
			if digits > 0 {
				if err := looksLikeNumber(strings.TrimFunc(s[i:], isSpace)); err != nil {
					return refuse(err.(*Error).Reason)
				}
			}
			return refuse(NotNumber)
		}
	}
	switch {
	case digits == 0:
		return refuse(NotNumber)
	case marks > 1:
		return refuse(TwoMarks)
	case at == 0 || at == len(s)-1:
		return refuse(NoWholePart)
	case digits > maxDigits:
		return refuse(TooLong)
	case at > 0 && s[at] == ',' && len(s)-at-1 == 3 && at <= 3 && s[0] != '0':
		return refuse(UnclearComma)
	}
	v, err := decimal.NewFromString(strings.Replace(s, ",", ".", 1))
	if err != nil {
		return refuse(NotNumber)
	}
	if minus {
		v = v.Neg()
	}
	return v, nil
}

// The temperatures between which a gearbox, its fluid and its bench can be.
var (
	coldest = Quantity{decimal.NewFromInt(-60), Celsius}
	hottest = Quantity{decimal.NewFromInt(300), Celsius}
)

// tightest is more than any fastener of a gearbox is tightened with: common practice,
// no published source.
var tightest = Quantity{decimal.NewFromInt(5000), NewtonMetre}

// plausible refuses what no measuring can give.
func (q Quantity) plausible() error {
	if q.Unit.Kind() == Temperature {
		if q.Cmp(coldest) < 0 || q.Cmp(hottest) > 0 {
			return &Error{Reason: Absurd, Limits: []Quantity{coldest.In(q.Unit), hottest.In(q.Unit)}}
		}
		return nil
	}
	if q.Value.IsNegative() {
		return &Error{Reason: Negative}
	}
	if none := Of(decimal.Zero, q.Unit); q.Unit.Kind() == Torque && q.Cmp(tightest) > 0 {
		return &Error{Reason: Absurd, Limits: []Quantity{none, tightest.In(q.Unit).Round(0)}}
	}
	return nil
}
