package catalog

import (
	"cmp"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/shopspring/decimal"
)

// Decimal is an exact decimal number that may be unknown: a measured value, a
// volume, a price. Binary floating point is never used for what a person wrote
// down. The zero value is unknown, which is not the number zero.
type Decimal struct {
	Num   decimal.Decimal
	Known bool
}

// String gives the number without exponent and trailing zeros, "" if unknown.
func (d Decimal) String() string {
	if !d.Known {
		return ""
	}
	return d.Num.String()
}

// Equal tells whether both are unknown or both the same number.
func (d Decimal) Equal(o Decimal) bool {
	return d.Known == o.Known && (!d.Known || d.Num.Equal(o.Num))
}

// Negative tells whether d is known and below zero.
func (d Decimal) Negative() bool { return d.Known && d.Num.IsNegative() }

// MarshalJSON writes a number, or null if unknown.
func (d Decimal) MarshalJSON() ([]byte, error) {
	if !d.Known {
		return []byte("null"), nil
	}
	return []byte(d.Num.String()), nil
}

// UnmarshalJSON reads what MarshalJSON writes.
func (d *Decimal) UnmarshalJSON(b []byte) error {
	if string(b) == "null" {
		*d = Decimal{}
		return nil
	}
	v, err := ParseDecimal(string(b))
	if err != nil {
		return err
	}
	*d = v
	return nil
}

// ValueError says why a text is not a value of the kind wanted.
type ValueError struct {
	Value  string
	Reason string
	Mend   string
}

func (e *ValueError) Error() string {
	return fmt.Sprintf("%q: %s; %s", e.Value, e.Reason, e.Mend)
}

// ParseDecimal reads a decimal number with a point: digits, one point at most,
// a leading minus. Exponents, thousands separators and decimal commas are
// refused by name, never guessed at. The error is a [*ValueError].
func ParseDecimal(s string) (Decimal, error) {
	digits, point := 0, 0
	for i := 0; i < len(s); i++ {
		switch c := s[i]; {
		case '0' <= c && c <= '9':
			digits++
		case c == '.' && point == 0 && digits > 0:
			point = i
		case c == '-' && i == 0:
		case c == ',':
			return Decimal{}, &ValueError{s, "a comma is not read as a decimal point", "write 5.2, not 5,2"}
		case c == 'e' || c == 'E':
			return Decimal{}, &ValueError{s, "an exponent is not read", "write the number out"}
		default:
			return Decimal{}, &ValueError{s, "it is not a decimal number", "write digits with a point, such as 5.2"}
		}
	}
	if digits == 0 || s[len(s)-1] == '.' {
		return Decimal{}, &ValueError{s, "it is not a decimal number", "write digits with a point, such as 5.2"}
	}
	if len(s) > 24 {
		return Decimal{}, &ValueError{s[:24], "the number is longer than 24 characters", "round it to what can be measured"}
	}
	d, err := decimal.NewFromString(s)
	if err != nil {
		return Decimal{}, &ValueError{s, "it is not a decimal number", "write digits with a point, such as 5.2"}
	}
	return Decimal{d, true}, nil
}

// Serial is a unit's running number as a count; 0 means not known. Serials are
// compared by number, so leading zeros do not matter.
type Serial int64

// ParseSerial reads up to 18 digits. The error is a [*ValueError].
func ParseSerial(s string) (Serial, error) {
	n, err := strconv.ParseInt(s, 10, 64)
	if err != nil || n <= 0 || len(s) > 18 || s[0] == '+' {
		return 0, &ValueError{s, "it is not a serial number", "write its digits, 1 to 18 of them, above zero"}
	}
	return Serial(n), nil
}

func (s Serial) String() string {
	if s == 0 {
		return ""
	}
	return strconv.FormatInt(int64(s), 10)
}

// Date is a build date known to the day, the month or the year: the number
// yyyymmdd, with 00 for what is not known. The zero Date means not known.
type Date int32

// ParseDate reads an ISO 8601 calendar date, 2019-04-12, 2019-04 or 2019.
// The error is a [*ValueError].
func ParseDate(s string) (Date, error) {
	bad := func(why string) (Date, error) {
		return 0, &ValueError{s, why, "write a date as 2019-04-12, 2019-04 or 2019"}
	}
	var layout string
	switch len(s) {
	case 4:
		layout = "2006"
	case 7:
		layout = "2006-01"
	case 10:
		layout = "2006-01-02"
	default:
		return bad("it is not an ISO 8601 date")
	}
	t, err := time.Parse(layout, s)
	if err != nil {
		return bad("it is not an ISO 8601 date")
	}
	if t.Year() < 1900 || t.Year() > 2199 {
		return bad("the year is outside 1900 to 2199")
	}
	d := Date(t.Year() * 10000)
	if len(s) >= 7 {
		d += Date(t.Month()) * 100
	}
	if len(s) == 10 {
		d += Date(t.Day())
	}
	return d, nil
}

func (d Date) String() string {
	if d == 0 {
		return ""
	}
	y, m, day := int(d/10000), int(d/100%100), int(d%100)
	digit := func(n int) byte { return byte('0' + n%10) }
	b := make([]byte, 0, len("2006-01-02"))
	b = append(b, digit(y/1000), digit(y/100), digit(y/10), digit(y))
	if m != 0 {
		b = append(b, '-', digit(m/10), digit(m))
	}
	if m != 0 && day != 0 {
		b = append(b, '-', digit(day/10), digit(day))
	}
	return string(b)
}

// First is the earliest day that d can mean, as the number yyyymmdd.
func (d Date) First() int32 {
	switch {
	case d == 0:
		return 0
	case d/100%100 == 0:
		return int32(d) + 101
	case d%100 == 0:
		return int32(d) + 1
	}
	return int32(d)
}

// Last is the latest day that d can mean, as the number yyyymmdd. In a month
// known only by name it is always the 31st: the numbers are only compared.
func (d Date) Last() int32 {
	switch {
	case d == 0:
		return 0
	case d/100%100 == 0:
		return int32(d) + 1231
	case d%100 == 0:
		return int32(d) + 31
	}
	return int32(d)
}

// Span is a range with both ends included; the zero value of an end leaves it
// open. A span with both ends open holds everything.
type Span[T cmp.Ordered] struct {
	From, To T
}

// Open tells whether the span holds everything.
func (s Span[T]) Open() bool { var zero T; return s.From == zero && s.To == zero }

// Valid tells whether the span does not end before it starts.
func (s Span[T]) Valid() bool {
	var zero T
	return s.From == zero || s.To == zero || s.From <= s.To
}

// Contains tells whether v lies in the span.
func (s Span[T]) Contains(v T) bool {
	var zero T
	return (s.From == zero || s.From <= v) && (s.To == zero || v <= s.To)
}

// Overlaps tells whether some value lies in both spans.
func (s Span[T]) Overlaps(o Span[T]) bool {
	var zero T
	return (s.From == zero || o.To == zero || s.From <= o.To) && (o.From == zero || s.To == zero || o.From <= s.To)
}

// Condition is a demand on one mark of the unit on the bench: the mark shows
// the value.
type Condition struct {
	Mark  string
	Value string
}

func (c Condition) String() string { return c.Mark + "=" + c.Value }

// Key is the form by which two conditions are compared.
func (c Condition) Key() string { return Fold(c.Mark) + "=" + FoldValue(c.Value) }

// ParseCondition reads MARK=VALUE. The error is a [*ValueError].
func ParseCondition(s string) (Condition, error) {
	mark, value, ok := strings.Cut(s, "=")
	mark, value = strings.TrimSpace(mark), strings.TrimSpace(value)
	if !ok || mark == "" || value == "" {
		return Condition{}, &ValueError{s, "it is not a mark with its value", "write MARK=VALUE, such as connector=keyed"}
	}
	if err := CheckCode(mark); err != nil {
		return Condition{}, &ValueError{s, "the mark is no code", "write MARK=VALUE, such as connector=keyed"}
	}
	if err := CheckText(value); err != nil {
		return Condition{}, err
	}
	if len(value) > MaxCode || strings.ContainsAny(value, "=\n\t") {
		return Condition{}, &ValueError{s, "it cannot be a mark's value", "write MARK=VALUE, the value in at most 64 bytes and without ="}
	}
	return Condition{mark, value}, nil
}

// Conditions must all hold. Their text form joins them with a semicolon.
type Conditions []Condition

func (cs Conditions) String() string {
	if len(cs) == 0 {
		return ""
	}
	out := make([]string, len(cs))
	for i, c := range cs {
		out[i] = c.String()
	}
	return strings.Join(out, "; ")
}

// ParseConditions reads "MARK=VALUE; MARK=VALUE"; an empty text has none. A
// mark may stand once: two values of one mark cannot both hold.
func ParseConditions(s string) (Conditions, error) {
	if strings.TrimSpace(s) == "" {
		return nil, nil
	}
	var out Conditions
	for part := range strings.SplitSeq(s, ";") {
		c, err := ParseCondition(strings.TrimSpace(part))
		if err != nil {
			return nil, err
		}
		for _, o := range out {
			if Fold(o.Mark) == Fold(c.Mark) {
				return nil, &ValueError{s, "it names the mark " + c.Mark + " twice", "write two statements, one for each value"}
			}
		}
		out = append(out, c)
	}
	return out, nil
}

// Words is a list of words or codes; its text form joins them with a space.
type Words []string

func (w Words) String() string { return strings.Join(w, " ") }
