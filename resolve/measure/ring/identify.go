package ring

import (
	"cmp"
	"fmt"
	"slices"

	"github.com/shopspring/decimal"

	"platewright/catalog"
	"platewright/resolve/measure"
)

// State says how a measured value stands to a size.
type State string

const (
	Within State = "within"
	Over   State = "over"
	Under  State = "under"
)

// Code says in one word what a comparison rests on: a closed list, see [Codes].
type Code string

const (
	IsSize    Code = "is-size"    // inside diameter and section are within the tolerances of the size
	Stretched Code = "stretched"  // the inside diameter is larger than a new one of the size
	Shrunk    Code = "shrunk"     // the inside diameter is smaller than a new one of the size
	Worn      Code = "worn"       // the section is thinner than a new one of the size
	Swollen   Code = "swollen"    // the section is thicker than a new one of the size
	NoSize    Code = "no-size"    // no size of the table is near: it can be of another series, a metric one perhaps
	OtherUnit Code = "other-unit" // the numbers would be a size in the other unit
	Several   Code = "several"    // more than one size is possible: measure again, or lay it beside a new one
)

// Codes lists every code that a [Match] or an [Identified] can carry.
var Codes = []Code{IsSize, Stretched, Shrunk, Worn, Swollen, NoSize, OtherUnit, Several}

// The bounds of what a used ring can have been, as shares of the nominal value:
// common practice, no published source.
var (
	MostStretch = decimal.New(6, -2)
	MostShrink  = decimal.New(3, -2)
	MostLoss    = decimal.New(18, -2)
	MostSwell   = decimal.New(12, -2)
)

// Measured is a ring as it was measured.
type Measured struct {
	Inside    measure.Quantity // the inside diameter; not known where Outside is given
	Outside   measure.Quantity // the outside diameter, in the place of Inside
	Section   measure.Quantity
	Tolerance measure.Quantity // what the measuring can be off; not known takes 0.05 mm, a caliper on rubber
}

// Match is a size that a ring is or can have been.
type Match struct {
	Size        Size            `json:"size"`
	Codes       []Code          `json:"codes"` // is-size, or what use has done to it
	Inside      State           `json:"inside"`
	Section     State           `json:"section"`
	InsideOff   catalog.Decimal `json:"insideOff"`   // mm, measured less nominal
	SectionOff  catalog.Decimal `json:"sectionOff"`  // mm, measured less nominal
	InsideShare catalog.Decimal `json:"insideShare"` // per cent of the nominal
	SectionLoss catalog.Decimal `json:"sectionLoss"` // per cent of the nominal, positive for thinner
	distance    decimal.Decimal
}

// Identified is what a measured ring is.
type Identified struct {
	Inside    catalog.Decimal `json:"inside"`    // mm, as measured or worked out from the outside diameter
	Section   catalog.Decimal `json:"section"`   // mm
	Tolerance catalog.Decimal `json:"tolerance"` // mm, of the measuring
	Codes     []Code          `json:"codes"`     // is-size, several or no-size, and other-unit
	Is        []Match         `json:"is"`        // the sizes that it is, the nearest first
	Was       []Match         `json:"was"`       // the sizes that it can have been, the likeliest first; only where it is none
	Source    string          `json:"source"`
}

// InputError says what of a measured ring cannot be meant.
type InputError struct {
	What, Mend string
}

func (e *InputError) Error() string { return e.What + "; " + e.Mend }

var (
	defaultTolerance = decimal.New(5, -2)
	hundred          = decimal.NewFromInt(100)
	largestInside    = decimal.NewFromInt(700) // the largest of the table is 659 mm
	largestSection   = decimal.NewFromInt(20)
)

// Identify compares a measured ring with every size of the table. The error is an
// [*InputError].
func Identify(m Measured) (*Identified, error) {
	if m.Inside.Known() == m.Outside.Known() {
		return nil, &InputError{"the ring needs its inside diameter or its outside diameter, one of the two", "measure the inside diameter on a cone or across, without stretching"}
	}
	if !m.Section.Known() {
		return nil, &InputError{"the ring's section is not given", "measure its thickness without squeezing it"}
	}
	section := m.Section.In(measure.Millimetre).Value
	inside := m.Inside.In(measure.Millimetre).Value
	if m.Outside.Known() {
		outside := m.Outside.In(measure.Millimetre).Value
		inside = outside.Sub(section.Mul(decimal.NewFromInt(2)))
		if !inside.IsPositive() {
			return nil, &InputError{fmt.Sprintf("an outside diameter of %s leaves no hole in a ring of section %s", m.Outside, m.Section), "check which measure is which"}
		}
	}
	tolerance := defaultTolerance
	if m.Tolerance.Known() {
		tolerance = m.Tolerance.In(measure.Millimetre).Value
	}
	switch {
	case !inside.IsPositive():
		return nil, &InputError{fmt.Sprintf("an inside diameter of %s is none", m.Inside), "measure again"}
	case !section.IsPositive():
		return nil, &InputError{fmt.Sprintf("a section of %s is none", m.Section), "measure again"}
	case inside.GreaterThan(largestInside):
		return nil, &InputError{fmt.Sprintf("an inside diameter of %s mm is larger than any of the table", inside.Round(2)), "check the number and its unit"}
	case section.GreaterThan(largestSection):
		return nil, &InputError{fmt.Sprintf("a section of %s mm is thicker than any of the table", section.Round(2)), "check the number and its unit"}
	case tolerance.IsNegative() || tolerance.GreaterThan(decimal.NewFromInt(1)):
		return nil, &InputError{fmt.Sprintf("measuring that can be off by %s is no measuring of a ring", m.Tolerance), "give what the caliper can be off, such as 0.05 mm"}
	}
	out := &Identified{Inside: known(inside), Section: known(section), Tolerance: known(tolerance), Codes: []Code{}, Source: Source}
	out.Is, out.Was = compare(inside, section, tolerance)
	switch {
	case len(out.Is) == 1:
		out.Codes = append(out.Codes, IsSize)
	case len(out.Is) > 1:
		out.Codes = append(out.Codes, IsSize, Several)
	case len(out.Was) > 1:
		out.Codes = append(out.Codes, Several)
	case len(out.Was) == 0:
		out.Codes = append(out.Codes, NoSize)
	}
	if len(out.Is) == 0 {
		// Numbers read in inches and given in millimetres, or the reverse. Only a
		// whole agreement raises the question, and no tolerance widens it.
		for _, f := range []decimal.Decimal{inch, decimal.NewFromInt(1).DivRound(inch, 24)} {
			if is, _ := compare(inside.Mul(f), section.Mul(f), decimal.Zero); len(is) > 0 {
				out.Codes = append(out.Codes, OtherUnit)
				break
			}
		}
	}
	return out, nil
}

func compare(inside, section, tolerance decimal.Decimal) (is, was []Match) {
	is, was = []Match{}, []Match{}
	for _, z := range table() {
		x, ok := z.match(inside, section, tolerance)
		switch {
		case !ok:
		case x.Codes[0] == IsSize:
			is = append(is, x)
		default:
			was = append(was, x)
		}
	}
	order := func(a, b Match) int {
		return cmp.Or(cmp.Compare(a.against(), b.against()), a.distance.Cmp(b.distance), cmp.Compare(a.Size.Dash, b.Size.Dash))
	}
	slices.SortFunc(is, order)
	slices.SortFunc(was, order)
	if len(is) > 0 {
		was = []Match{}
	}
	return is, was
}

// match holds a ring against one size; ok is false where it neither is the size nor
// can have been.
func (z *Size) match(inside, section, tolerance decimal.Decimal) (x Match, ok bool) {
	x = Match{Size: *z, Codes: []Code{}}
	di, ds := inside.Sub(z.Inside.Num), section.Sub(z.Section.Num)
	ti, ts := z.InsideTolerance.Num.Add(tolerance), z.SectionTolerance.Num.Add(tolerance)
	x.Inside, x.Section = stands(di, ti), stands(ds, ts)
	far := false
	switch x.Inside {
	case Over:
		x.Codes = append(x.Codes, Stretched)
		far = di.Sub(ti).GreaterThan(z.Inside.Num.Mul(MostStretch))
	case Under:
		x.Codes = append(x.Codes, Shrunk)
		far = di.Add(ti).Neg().GreaterThan(z.Inside.Num.Mul(MostShrink))
	}
	switch x.Section {
	case Over:
		x.Codes = append(x.Codes, Swollen)
		far = far || ds.Sub(ts).GreaterThan(z.Section.Num.Mul(MostSwell))
	case Under:
		x.Codes = append(x.Codes, Worn)
		far = far || ds.Add(ts).Neg().GreaterThan(z.Section.Num.Mul(MostLoss))
	}
	if far {
		return x, false
	}
	x.InsideOff, x.SectionOff = known(di), known(ds)
	share := di.Mul(hundred).DivRound(z.Inside.Num, 6)
	loss := ds.Neg().Mul(hundred).DivRound(z.Section.Num, 6)
	x.InsideShare, x.SectionLoss = known(share.Round(1)), known(loss.Round(1))
	x.distance = share.Abs().Add(loss.Abs())
	if len(x.Codes) == 0 {
		x.Codes = append(x.Codes, IsSize)
	}
	return x, true
}

// against counts what has to be assumed of use: one thing before two, and wear and
// stretching, which every ring sees, before swelling and shrinking.
func (m *Match) against() int {
	n := 0
	for _, c := range m.Codes {
		switch c {
		case Worn, Stretched:
			n += 2
		case Swollen, Shrunk:
			n += 3
		}
	}
	return n
}

func stands(off, tolerance decimal.Decimal) State {
	switch {
	case off.GreaterThan(tolerance):
		return Over
	case off.Neg().GreaterThan(tolerance):
		return Under
	}
	return Within
}
