package seal

import (
	"fmt"

	"github.com/shopspring/decimal"

	"platewright/catalog"
	"platewright/resolve/measure"
)

// Caliper is what the measuring of a seal can be off where nothing else is said:
// a caliper on rubber, common practice, no published source.
var Caliper = measure.Of(decimal.New(1, -1), measure.Millimetre)

// Verdict is what to do with a seal. Its zero value is that the length does not
// settle it.
type Verdict string

const (
	NotSettled Verdict = "not-settled"
	Good       Verdict = "good"
	Replace    Verdict = "replace"
	NotThis    Verdict = "not-this" // it is another seal, since none gets longer
)

// Code says in one word what a verdict rests on: a closed list, see [Codes].
type Code string

const (
	BelowLimit    Code = "below-limit"    // shorter than the catalogue's least
	AtLimit       Code = "at-limit"       // as close to the catalogue's least as the measuring can tell
	AboveLimit    Code = "above-limit"    // not shorter than the catalogue's least
	NoLimit       Code = "no-limit"       // the catalogue gives no least length
	TooLong       Code = "too-long"       // longer than a new one can be
	TooShort      Code = "too-short"      // shorter than use makes it: another seal, or a piece is missing
	OneTimeUse    Code = "one-time-use"   // replaced whenever it was pulled, whatever its length
	NoSpring      Code = "no-spring"      // at or below its fitted height: it no longer presses
	Several       Code = "several"        // several nominals are possible
	NoNominal     Code = "no-nominal"     // no nominal is possible
	NoPlaceLeft   Code = "no-place-left"  // its places are taken by other pieces
	OtherUnit     Code = "other-unit"     // the number would be a length of this seal in another unit
	PieceMissing  Code = "piece-missing"  // fewer pieces than the place takes
	PlaceUnfilled Code = "place-unfilled" // no piece at all for the place
)

// Codes lists every code that a result of this package can carry.
var Codes = []Code{BelowLimit, AtLimit, AboveLimit, NoLimit, TooLong, TooShort, OneTimeUse, NoSpring, Several, NoNominal, NoPlaceLeft, OtherUnit, PieceMissing, PlaceUnfilled}

// Nominal is a seal as it should be.
type Nominal struct {
	Seal      string          `json:"seal"`
	Place     string          `json:"place,omitempty"`
	Role      string          `json:"role,omitempty"`
	Length    catalog.Decimal `json:"length"`    // mm, free, of a new one
	Tolerance catalog.Decimal `json:"tolerance"` // mm, of a new one; null counts as none
	Least     catalog.Decimal `json:"least"`     // mm; null for no limit
	Fitted    catalog.Decimal `json:"fitted"`    // mm; null for not known
	Qty       int             `json:"qty"`       // at this place
	OneTime   bool            `json:"oneTime"`   // its role is used once and never again
	Source    string          `json:"source,omitempty"`
}

// Of gives the nominal of a row of the catalogue; oneTime is that of its role.
func Of(r *catalog.Seal, oneTime bool) Nominal {
	return Nominal{r.Seal, r.Place, r.Role, r.Length, r.Tolerance, r.Least, r.Fitted, r.Qty, oneTime, r.Source}
}

// InputError says what of the input cannot be meant.
type InputError struct {
	What, Mend string
}

func (e *InputError) Error() string { return e.What + "; " + e.Mend }

var (
	hundred = decimal.NewFromInt(100)
	longest = decimal.NewFromInt(1000)
)

// Check refuses a nominal that cannot be.
func (n *Nominal) Check() error {
	bad := func(what, mend string) error { return &InputError{"seal " + n.Seal + ": " + what, mend} }
	switch {
	case !n.Length.Known || !n.Length.Num.IsPositive():
		return bad("its free length is not above zero", "give the length of a new one in mm")
	case n.Length.Num.GreaterThan(longest):
		return bad("a free length of "+n.Length.String()+" mm is longer than any seal", "check the number and its unit")
	case n.Tolerance.Negative():
		return bad("its tolerance is negative", "write a number of zero or above")
	case n.Least.Known && n.Least.Num.GreaterThan(n.Length.Num):
		return bad("a new one would be below its own limit", "correct the length or the limit")
	case n.Fitted.Known && n.Fitted.Num.GreaterThanOrEqual(n.Length.Num):
		return bad("fitted, it would not be shorter than free", "correct the length or the fitted height")
	case n.Fitted.Known && !n.Fitted.Num.IsPositive():
		return bad("its fitted height is not above zero", "give the height in mm, or leave it out")
	case n.Qty < 0:
		return bad("its quantity is negative", "write how many the unit takes")
	}
	return nil
}

func (n *Nominal) top(off decimal.Decimal) decimal.Decimal {
	return n.Length.Num.Add(n.Tolerance.Num).Add(off)
}

// Shortest gives what use leaves of the seal, in mm: off is what the measuring can
// be off.
func (n *Nominal) Shortest(off decimal.Decimal) decimal.Decimal {
	if n.Fitted.Known {
		return n.Fitted.Num.Sub(off)
	}
	return catalog.Shortest(n.Length.Num, n.Tolerance.Num.Add(off))
}

// Can tells whether a piece of this length in mm can be, or have been, this seal;
// off is what the measuring can be off.
func (n *Nominal) Can(length, off decimal.Decimal) bool {
	return length.LessThanOrEqual(n.top(off)) && length.GreaterThanOrEqual(n.Shortest(off))
}

// Judged is a seal held against its nominal.
type Judged struct {
	Nominal Nominal         `json:"nominal"`
	Length  catalog.Decimal `json:"length"` // mm, measured
	Verdict Verdict         `json:"verdict"`
	Codes   []Code          `json:"codes"`
	Loss    catalog.Decimal `json:"loss"`    // mm of the nominal length; negative where it is longer
	Percent catalog.Decimal `json:"percent"` // per cent of the nominal length: ASTM D395 method A
	Set     catalog.Decimal `json:"set"`     // per cent, ASTM D395 method B and ISO 815-1; null where the fitted height is not known
}

// LengthOf gives a measured length in mm; the error is an [*InputError] for what
// no seal measures.
func LengthOf(q measure.Quantity) (decimal.Decimal, error) {
	v := q.In(measure.Millimetre).Value
	switch {
	case !q.Known() || !v.IsPositive():
		return v, &InputError{"a seal's length is above zero", "measure it from end to end and give it with its unit"}
	case v.GreaterThan(longest):
		return v, &InputError{fmt.Sprintf("a length of %s is longer than any seal", q), "check the number and its unit"}
	}
	return v, nil
}

func offBy(q measure.Quantity) (decimal.Decimal, error) {
	if !q.Known() {
		q = Caliper
	}
	v := q.In(measure.Millimetre).Value
	if v.IsNegative() || v.GreaterThan(decimal.NewFromInt(2)) {
		return v, &InputError{fmt.Sprintf("measuring that can be off by %s is no measuring of a seal", q), "give what the caliper can be off, such as 0.1 mm"}
	}
	return v, nil
}

// Judge holds a length in mm against a nominal; off is what the measuring can be off.
func Judge(n Nominal, l, off decimal.Decimal) Judged {
	j := Judged{Nominal: n, Length: known(l), Codes: []Code{}}
	loss := n.Length.Num.Sub(l)
	j.Loss = known(loss)
	j.Percent = known(loss.Mul(hundred).DivRound(n.Length.Num, 2))
	if n.Fitted.Known {
		j.Set = known(loss.Mul(hundred).DivRound(n.Length.Num.Sub(n.Fitted.Num), 2))
	}
	switch {
	case l.GreaterThan(n.top(off)):
		j.Verdict = NotThis
		j.Codes = append(j.Codes, TooLong)
		return j
	case l.LessThan(n.Shortest(off)):
		// Whatever it is, it does not seal here: what is short of use is worn out
		// or never belonged.
		j.Verdict = Replace
		j.Codes = append(j.Codes, TooShort)
	case n.Least.Known && l.LessThan(n.Least.Num):
		j.Verdict = Replace
		j.Codes = append(j.Codes, BelowLimit)
	case n.Least.Known:
		j.Verdict = Good
		j.Codes = append(j.Codes, AboveLimit)
	default:
		j.Verdict = NotSettled
		j.Codes = append(j.Codes, NoLimit)
	}
	if n.Least.Known && l.Sub(n.Least.Num).Abs().LessThanOrEqual(off) {
		j.Codes = append(j.Codes, AtLimit)
	}
	if n.Fitted.Known && l.LessThanOrEqual(n.Fitted.Num) {
		j.Verdict = Replace
		j.Codes = append(j.Codes, NoSpring)
	}
	if n.OneTime {
		j.Codes = append(j.Codes, OneTimeUse)
	}
	return j
}

func known(d decimal.Decimal) catalog.Decimal { return catalog.Decimal{Num: d, Known: true} }
