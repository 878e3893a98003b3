package ring

import (
	"math"

	"github.com/shopspring/decimal"

	"platewright/catalog"
)

// RowCode says how a ring of the catalogue stands to the table of sizes: a closed
// list, see [RowCodes].
type RowCode string

const (
	RowAgrees     RowCode = "agrees"       // the designation is in the table, and both measures round to its nominal ones
	RowNear       RowCode = "near"         // both measures are within the tolerances of the designation, and one is not its nominal
	RowDiffers    RowCode = "differs"      // a measure is not that of the designation
	RowNoSuchSize RowCode = "no-such-size" // the table has no such designation
	RowUnnamed    RowCode = "unnamed"      // it has no designation, and its measures are those of a size
	RowOwnSize    RowCode = "own-size"     // it has no designation, and its measures are those of no size
)

// RowCodes lists every code that a [RowCheck] can carry.
var RowCodes = []RowCode{RowAgrees, RowNear, RowDiffers, RowNoSuchSize, RowUnnamed, RowOwnSize}

// Wrong tells whether the row contradicts the table.
func (c RowCode) Wrong() bool { return c == RowDiffers || c == RowNoSuchSize }

// RowCheck is a ring of the catalogue held against the table of sizes.
type RowCheck struct {
	Scope   catalog.ShowScope `json:"scope"`
	Of      string            `json:"of"`
	Ring    string            `json:"ring"`
	Place   string            `json:"place"`
	Inside  catalog.Decimal   `json:"inside"`  // mm, by the catalogue
	Section catalog.Decimal   `json:"section"` // mm, by the catalogue
	Named   string            `json:"named,omitempty"`
	Code    RowCode           `json:"code"`
	Size    *Size             `json:"size"`  // of the designation, or of the measures where there is none; null for none
	Meant   []string          `json:"meant"` // where it differs: the sizes that have these measures
	Source  string            `json:"source"`
}

// rounding is what a measure can be off that a catalogue has rounded to hundredths
// of a millimetre from the inches of the table.
var rounding = decimal.New(5, -3)

// CheckRow holds a ring of the catalogue against the table.
func CheckRow(r *catalog.Ring) RowCheck {
	c := RowCheck{Scope: r.Scope, Of: r.Of, Ring: r.Ring, Place: r.Place, Inside: r.Inside, Section: r.Section, Named: r.Size, Meant: []string{}, Source: r.Source}
	var same []Size
	for _, z := range table() {
		if nominal(r, z) {
			same = append(same, z)
		}
	}
	if r.Size == "" {
		c.Code = RowOwnSize
		if len(same) > 0 {
			c.Code, c.Size = RowUnnamed, &same[0]
		}
		return c
	}
	z, ok := Find(r.Size)
	if ok {
		c.Size = &z
	}
	switch {
	case ok && nominal(r, z):
		c.Code = RowAgrees
		return c
	case ok && off(r.Inside, z.Inside).LessThanOrEqual(z.InsideTolerance.Num) && off(r.Section, z.Section).LessThanOrEqual(z.SectionTolerance.Num):
		c.Code = RowNear
	case ok:
		c.Code = RowDiffers
	default:
		c.Code = RowNoSuchSize
	}
	for _, s := range same {
		c.Meant = append(c.Meant, s.Dash)
	}
	return c
}

// nominal tells whether both measures of a ring round to those of a size.
func nominal(r *catalog.Ring, z Size) bool {
	return off(r.Inside, z.Inside).LessThanOrEqual(rounding) && off(r.Section, z.Section).LessThanOrEqual(rounding)
}

func off(a, b catalog.Decimal) decimal.Decimal { return a.Num.Sub(b.Num).Abs() }

// Against holds the measured ring against a ring of the catalogue: against the size
// that it is said to be or that its measures are, else against its own measures with
// the tolerances of [Tolerances]. It is nil where the one cannot be the other.
func (id *Identified) Against(r *catalog.Ring) *Match {
	z := Size{Inside: r.Inside, Section: r.Section}
	if c := CheckRow(r); c.Size != nil && !c.Code.Wrong() {
		z = *c.Size
	} else {
		z.InsideTolerance, z.SectionTolerance = Tolerances(r.Inside, r.Section)
	}
	x, ok := z.match(id.Inside.Num, id.Section.Num, id.Tolerance.Num)
	if !ok {
		return nil
	}
	return &x
}

// sections are the tolerances of a section that is not one of the table's, by the
// thickest that has them (ISO 3601-1, other sections, class B).
var sections = []struct{ thickest, tolerance decimal.Decimal }{
	{decimal.New(225, -2), decimal.New(8, -2)},
	{decimal.New(315, -2), decimal.New(9, -2)},
	{decimal.New(450, -2), decimal.New(10, -2)},
	{decimal.New(630, -2), decimal.New(13, -2)},
	{decimal.New(840, -2), decimal.New(15, -2)},
}

// Tolerances gives the tolerances in mm of a ring that is none of the table's sizes:
// of the inside diameter d ± (0.009 · d^0.95 + 0.11), ISO 3601-1:2012 equation A.1
// (class B), rounded to hundredths; of the section by its thickness.
func Tolerances(inside, section catalog.Decimal) (insideTolerance, sectionTolerance catalog.Decimal) {
	t := math.Pow(inside.Num.InexactFloat64(), 0.95)*0.009 + 0.11
	s := sections[len(sections)-1].tolerance
	for _, x := range sections {
		if section.Num.LessThanOrEqual(x.thickest) {
			s = x.tolerance
			break
		}
	}
	return known(decimal.NewFromFloat(t).Round(2)), known(s)
}
