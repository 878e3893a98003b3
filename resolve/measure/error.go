package measure

import (
	"fmt"
	"strings"
)

// Reason says in one word why a text is not a quantity that can be used.
type Reason string

// The reasons.
const (
	NotNumber    Reason = "not-a-number"     // no number stands at its start
	NoWholePart  Reason = "no-whole-part"    // .5 or 5., where a point is easily lost
	UnclearComma Reason = "unclear-comma"    // 1,234 can be a little over one or over a thousand
	TwoMarks     Reason = "two-separators"   // 1.234,5
	Grouped      Reason = "grouped-digits"   // 1 234 or 1'234
	Exponent     Reason = "exponent"         // 1e3
	Fraction     Reason = "fraction"         // 1/8
	TooLong      Reason = "too-many-digits"  // more than can be measured
	NoUnit       Reason = "no-unit"          // a bare number where no column says what it is
	UnknownUnit  Reason = "unknown-unit"     // no unit is written so
	UnclearUnit  Reason = "unclear-unit"     // several units are written so
	WrongKind    Reason = "unit-of-another"  // a unit of another kind of quantity
	Negative     Reason = "negative"         // a length, a resistance below zero
	Absurd       Reason = "out-of-all-range" // no bench gives such a value
)

// Error says why a text cannot be read as a quantity, and what to write instead.
type Error struct {
	Text   string // as given
	Reason Reason
	Kinds  []Kind     // what was wanted
	Units  []Unit     // of UnclearUnit: what it can be; of WrongKind: what it is
	Limits []Quantity // of Absurd: the lowest and the highest taken
}

func (e *Error) Error() string { return fmt.Sprintf("%q: %s; %s", e.Text, e.Wrong(), e.Mend()) }

// Wrong says what is wrong with the text, without the text.
func (e *Error) Wrong() string { what, _ := e.words(); return what }

// Mend says what to write instead.
func (e *Error) Mend() string { _, mend := e.words(); return mend }

func (e *Error) words() (what, mend string) {
	switch e.Reason {
	case NotNumber:
		return "no number stands at its start", "write digits and a unit, such as " + e.example()
	case NoWholePart:
		return "there must be a digit on both sides of the decimal mark, since a mark at the edge is easily lost", "write 0.5, not .5"
	case UnclearComma:
		return "the comma can separate thousands or decimals, which is a thousandfold difference", "write a point for decimals, and nothing between thousands"
	case TwoMarks:
		return "it has more than one separator", "write one point for decimals, and nothing between thousands"
	case Grouped:
		return "its digits are grouped", "write the digits of the number together"
	case Exponent:
		return "an exponent is not read", "write the number out"
	case Fraction:
		return "a fraction is not read", "write it as a decimal number"
	case TooLong:
		return "it has more digits than can be measured", "round it to at most 18 digits"
	case NoUnit:
		return "it has no unit", "write one of " + e.wanted() + " after the number"
	case UnknownUnit:
		return "the unit is not known", "write one of " + e.wanted()
	case UnclearUnit:
		return "it can be several units", "write one of " + typed(e.Units)
	case WrongKind:
		return fmt.Sprintf("%s is a unit of %s", symbols(e.Units), e.Units[0].Kind()), "write one of " + e.wanted()
	case Negative:
		return "it is below zero", "write it without the minus sign; a vacuum is written as its depth"
	case Absurd:
		if len(e.Limits) == 2 {
			return fmt.Sprintf("no bench gives this value; it must be between %s and %s", e.Limits[0], e.Limits[1]), "check the number and its unit"
		}
		return "no bench gives this value", "check the number and its unit"
	}
	return "it cannot be read", "write digits and a unit, such as " + e.example()
}

func (e *Error) wanted() string {
	var us []Unit
	for _, k := range e.Kinds {
		us = append(us, UnitsOf(k)...)
	}
	if len(us) == 0 {
		return "mm, ohm, C, Nm, kPa, L"
	}
	return typed(us)
}

func (e *Error) example() string {
	if len(e.Kinds) > 0 {
		if us := UnitsOf(e.Kinds[0]); len(us) > 0 {
			return "5.2 " + us[0].Typed()
		}
	}
	return "5.2 mm"
}

func symbols(us []Unit) string {
	out := make([]string, len(us))
	for i, u := range us {
		out[i] = u.String()
	}
	return strings.Join(out, ", ")
}

// typed lists units as they can be typed.
func typed(us []Unit) string {
	out := make([]string, len(us))
	for i, u := range us {
		out[i] = u.Typed()
	}
	return strings.Join(out, ", ")
}
