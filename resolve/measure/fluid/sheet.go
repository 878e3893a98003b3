package fluid

import (
	"errors"
	"math"
	"slices"

	"github.com/shopspring/decimal"

	"platewright/catalog"
)

// The viscosity indices between which a transmission fluid can be: common practice,
// no published source.
const (
	LeastIndex = 20.0
	MostIndex  = 320.0
)

// SheetCode says what is wrong with a data sheet, or what a limit makes of a
// figure: a closed list, see [SheetCodes].
type SheetCode string

const (
	IndexOff      SheetCode = "index-off"      // the stated index is not that of the two viscosities
	PairOff       SheetCode = "pair-off"       // the two viscosities give no index of a fluid for transmissions
	Swapped       SheetCode = "swapped"        // the viscosities at 40 °C and at 100 °C have changed places
	Tenfold       SheetCode = "tenfold"        // a figure would be right ten times larger or smaller
	DensityUnit   SheetCode = "density-unit"   // the density is in another unit than kg/m³
	DensityOff    SheetCode = "density-off"    // no lubricating oil has this density
	PourSign      SheetCode = "pour-sign"      // a pour point above freezing: its minus sign can be lost
	FlashBelow    SheetCode = "flash-below"    // the flash point is not above the pour point
	IndexNotDone  SheetCode = "index-not-done" // below 2 mm²/s at 100 °C the index is not defined
	WithinLimit   SheetCode = "within-limit"
	BelowLimit    SheetCode = "below-limit"
	AboveLimit    SheetCode = "above-limit"
	FigureMissing SheetCode = "figure-missing" // the specification limits a figure that the sheet does not give
)

// SheetCodes lists every code that a [SheetCheck] can carry.
var SheetCodes = []SheetCode{IndexOff, PairOff, Swapped, Tenfold, DensityUnit, DensityOff, PourSign, FlashBelow, IndexNotDone, WithinLimit, BelowLimit, AboveLimit, FigureMissing}

// SheetVerdict is what a data sheet is worth. Its zero value is not settled.
type SheetVerdict string

const (
	SheetNotSettled SheetVerdict = "not-settled" // a limited figure is missing, or nothing can be held against a limit
	SheetMeets      SheetVerdict = "meets"       // every limited figure is within
	SheetOutside    SheetVerdict = "outside"     // a figure is outside its limit
	SheetDoubtful   SheetVerdict = "doubtful"    // the sheet contradicts itself: ask for a correct one first
)

// SheetCheck is a fluid's data sheet held against itself and against the limits of
// specifications.
type SheetCheck struct {
	Fluid   catalog.PartNo  `json:"fluid,omitempty"`
	Name    string          `json:"name,omitempty"`
	Verdict SheetVerdict    `json:"verdict"`
	Figures []Figure        `json:"figures"` // in the order of the sheet
	Doubts  []SheetDoubt    `json:"doubts"`
	Index   catalog.Decimal `json:"index"`    // worked out from the two viscosities, whole; null where it cannot be
	IndexLo catalog.Decimal `json:"indexLow"` // the least index that the viscosities allow as they are rounded
	IndexHi catalog.Decimal `json:"indexHigh"`
	Grade   int             `json:"grade,omitempty"` // of ISO 3448; 0 in a gap between grades or not known
	Specs   []SpecCheck     `json:"specs"`
	Sources []string        `json:"sources"`
}

// Figure is a figure of the sheet.
type Figure struct {
	Property catalog.Property `json:"property"`
	Value    catalog.Decimal  `json:"value"`
}

// SheetDoubt is something that cannot be right on a sheet, with the slip that would
// explain it.
type SheetDoubt struct {
	Code     SheetCode        `json:"code"`
	Property catalog.Property `json:"property,omitempty"` // the figure in question
	Value    catalog.Decimal  `json:"value"`              // as it stands
	Would    catalog.Decimal  `json:"would"`              // what would be right; null where several things could be
}

// SpecLimits are the limits of a specification that a fluid is said to meet.
type SpecLimits struct {
	Spec   string
	Claim  catalog.Claim
	Limits []*catalog.Limit
}

// SpecCheck is a sheet against one specification.
type SpecCheck struct {
	Spec    string        `json:"spec"`
	Claim   catalog.Claim `json:"claim,omitempty"`
	Verdict SheetVerdict  `json:"verdict"`
	Limits  []LimitCheck  `json:"limits"`
}

// LimitCheck is a figure against its limit.
type LimitCheck struct {
	Property catalog.Property `json:"property"`
	Code     SheetCode        `json:"code"`
	Value    catalog.Decimal  `json:"value"`  // null where the figure is missing
	Worked   bool             `json:"worked"` // the value is not on the sheet and was worked out from the viscosities
	Least    catalog.Decimal  `json:"least"`
	Most     catalog.Decimal  `json:"most"`
	Source   string           `json:"source"`
}

// CheckSheet holds the figures of a sheet against each other and against the
// limits.
func CheckSheet(fluid catalog.PartNo, rows []*catalog.Sheet, specs []SpecLimits) *SheetCheck {
	c := &SheetCheck{Fluid: fluid, Figures: []Figure{}, Doubts: []SheetDoubt{}, Specs: []SpecCheck{}, Sources: []string{}}
	for _, r := range rows {
		c.Figures = append(c.Figures, Figure{r.Property, r.Value})
		if r.Source != "" && !slices.Contains(c.Sources, r.Source) {
			c.Sources = append(c.Sources, r.Source)
		}
	}
	v40, v100, vi := figure(rows, catalog.Viscosity40), figure(rows, catalog.Viscosity100), figure(rows, catalog.ViscosityIndex)
	c.viscosities(v40, v100, vi)
	c.others(figure(rows, catalog.Density15), figure(rows, catalog.FlashPoint), figure(rows, catalog.PourPoint))
	if v40.Known {
		if g, ok := GradeOf(v40.Num.InexactFloat64()); ok {
			c.Grade = g.VG
		}
	}
	for _, s := range specs {
		c.Specs = append(c.Specs, c.against(s, rows))
	}
	c.Verdict = c.verdict()
	return c
}

func (c *SheetCheck) verdict() SheetVerdict {
	if len(c.Doubts) > 0 {
		return SheetDoubtful
	}
	if len(c.Specs) == 0 {
		return SheetNotSettled
	}
	v := SheetMeets
	for _, s := range c.Specs {
		switch {
		case s.Verdict == SheetOutside:
			return SheetOutside
		case s.Verdict == SheetNotSettled:
			v = SheetNotSettled
		}
	}
	return v
}

// half is half a unit of the last digit written: what rounding can have hidden.
func half(d catalog.Decimal) float64 {
	return 0.5 * math.Pow10(int(min(d.Num.Exponent(), 0)))
}

// span gives the least and the most index that two viscosities allow as they are
// rounded. Ok is false where the standard gives none.
func span(v40, v100 catalog.Decimal) (lo, hi float64, ok bool) {
	a, b := v40.Num.InexactFloat64(), v100.Num.InexactFloat64()
	// A thinner fluid at 40 °C and a thicker one at 100 °C have the higher index.
	lo, err1 := Index(a+half(v40), b-half(v100))
	hi, err2 := Index(a-half(v40), b+half(v100))
	return lo, hi, err1 == nil && err2 == nil && lo <= hi
}

// agree tells whether a pair, and the stated index if there is one, can stand.
func agree(v40, v100, vi catalog.Decimal) bool {
	lo, hi, ok := span(v40, v100)
	if !ok || hi < LeastIndex || lo > MostIndex {
		return false
	}
	if !vi.Known {
		return true
	}
	// A stated index is a rounded one.
	v := vi.Num.InexactFloat64()
	return v >= lo-0.5-half(vi) && v <= hi+0.5+half(vi)
}

func (c *SheetCheck) viscosities(v40, v100, vi catalog.Decimal) {
	if !v40.Known || !v100.Known {
		return
	}
	if v, err := Index(v40.Num.InexactFloat64(), v100.Num.InexactFloat64()); err == nil {
		c.Index = known(decimal.NewFromInt(int64(WholeIndex(v))))
		if lo, hi, ok := span(v40, v100); ok {
			c.IndexLo, c.IndexHi = rounded(lo, 1), rounded(hi, 1)
		}
	}
	if agree(v40, v100, vi) {
		return
	}
	if b := v100.Num.InexactFloat64(); b < 2 && b > 0 && v40.Num.GreaterThan(v100.Num) && !vi.Known {
		c.Doubts = append(c.Doubts, SheetDoubt{Code: IndexNotDone, Property: catalog.Viscosity100, Value: v100})
	} else if lo, hi, ok := span(v40, v100); ok && vi.Known && hi >= LeastIndex && lo <= MostIndex {
		c.Doubts = append(c.Doubts, SheetDoubt{Code: IndexOff, Property: catalog.ViscosityIndex, Value: vi, Would: c.Index})
	} else {
		c.Doubts = append(c.Doubts, SheetDoubt{Code: PairOff, Property: catalog.Viscosity40, Value: v40})
	}
	// One slip at a time that makes the sheet agree.
	if agree(v100, v40, vi) {
		c.Doubts = append(c.Doubts, SheetDoubt{Code: Swapped, Property: catalog.Viscosity40, Value: v40, Would: v100})
	}
	ten := decimal.NewFromInt(10)
	for _, times := range []bool{true, false} {
		by := func(d catalog.Decimal) catalog.Decimal {
			if times {
				return known(d.Num.Mul(ten))
			}
			return known(d.Num.Div(ten))
		}
		if x := by(v40); agree(x, v100, vi) {
			c.Doubts = append(c.Doubts, SheetDoubt{Code: Tenfold, Property: catalog.Viscosity40, Value: v40, Would: x})
		}
		if x := by(v100); agree(v40, x, vi) {
			c.Doubts = append(c.Doubts, SheetDoubt{Code: Tenfold, Property: catalog.Viscosity100, Value: v100, Would: x})
		}
		if vi.Known {
			if x := by(vi); agree(v40, v100, x) {
				c.Doubts = append(c.Doubts, SheetDoubt{Code: Tenfold, Property: catalog.ViscosityIndex, Value: vi, Would: x})
			}
		}
	}
}

func (c *SheetCheck) others(density, flash, pour catalog.Decimal) {
	if density.Known {
		thousand := decimal.NewFromInt(1000)
		in := func(d decimal.Decimal) bool {
			return d.GreaterThan(decimal.NewFromInt(700)) && d.LessThan(decimal.NewFromInt(1100))
		}
		switch {
		case in(density.Num):
		case in(density.Num.Mul(thousand)):
			c.Doubts = append(c.Doubts, SheetDoubt{Code: DensityUnit, Property: catalog.Density15, Value: density, Would: known(density.Num.Mul(thousand))})
		case in(density.Num.Mul(decimal.NewFromInt(10))):
			c.Doubts = append(c.Doubts, SheetDoubt{Code: Tenfold, Property: catalog.Density15, Value: density, Would: known(density.Num.Mul(decimal.NewFromInt(10)))})
		case in(density.Num.Div(decimal.NewFromInt(10))):
			c.Doubts = append(c.Doubts, SheetDoubt{Code: Tenfold, Property: catalog.Density15, Value: density, Would: known(density.Num.Div(decimal.NewFromInt(10)))})
		default:
			c.Doubts = append(c.Doubts, SheetDoubt{Code: DensityOff, Property: catalog.Density15, Value: density})
		}
	}
	if pour.Known && pour.Num.IsPositive() {
		c.Doubts = append(c.Doubts, SheetDoubt{Code: PourSign, Property: catalog.PourPoint, Value: pour, Would: known(pour.Num.Neg())})
	}
	if pour.Known && flash.Known && flash.Num.LessThanOrEqual(pour.Num) {
		c.Doubts = append(c.Doubts, SheetDoubt{Code: FlashBelow, Property: catalog.FlashPoint, Value: flash})
	}
}

func (c *SheetCheck) against(s SpecLimits, rows []*catalog.Sheet) SpecCheck {
	out := SpecCheck{Spec: s.Spec, Claim: s.Claim, Limits: []LimitCheck{}, Verdict: SheetMeets}
	for _, l := range s.Limits {
		x := LimitCheck{Property: l.Property, Least: l.Least, Most: l.Most, Source: l.Source, Value: figure(rows, l.Property)}
		if !x.Value.Known && l.Property == catalog.ViscosityIndex && c.Index.Known {
			x.Value, x.Worked = c.Index, true
		}
		switch {
		case !x.Value.Known:
			x.Code = FigureMissing
			if out.Verdict == SheetMeets {
				out.Verdict = SheetNotSettled
			}
		case l.Least.Known && x.Value.Num.LessThan(l.Least.Num):
			x.Code, out.Verdict = BelowLimit, SheetOutside
		case l.Most.Known && x.Value.Num.GreaterThan(l.Most.Num):
			x.Code, out.Verdict = AboveLimit, SheetOutside
		default:
			x.Code = WithinLimit
		}
		out.Limits = append(out.Limits, x)
	}
	if len(out.Limits) == 0 {
		out.Verdict = SheetNotSettled
	}
	return out
}

// ViscosityAt is a viscosity at a temperature.
type ViscosityAt struct {
	Temp      catalog.Decimal `json:"temp"`      // °C
	Viscosity catalog.Decimal `json:"viscosity"` // mm²/s, by the line of ASTM D341
	Beyond    bool            `json:"beyond"`    // beyond the two temperatures of the sheet, where the line is less sure
}

// ErrNoPair says that a sheet lacks one of the two viscosities.
var ErrNoPair = errors.New("the viscosity at other temperatures needs those at 40 °C and at 100 °C")

// ViscosityAt gives the viscosity at a temperature in °C by the line through the two
// viscosities of the sheet.
func (c *SheetCheck) ViscosityAt(t catalog.Decimal) (ViscosityAt, error) {
	var v40, v100 catalog.Decimal
	for _, f := range c.Figures {
		switch f.Property {
		case catalog.Viscosity40:
			v40 = f.Value
		case catalog.Viscosity100:
			v100 = f.Value
		}
	}
	if !v40.Known || !v100.Known {
		return ViscosityAt{}, ErrNoPair
	}
	l, err := Through(v40.Num.InexactFloat64(), 40, v100.Num.InexactFloat64(), 100)
	if err != nil {
		return ViscosityAt{}, err
	}
	v, beyond, err := l.At(t.Num.InexactFloat64())
	if err != nil {
		return ViscosityAt{}, err
	}
	return ViscosityAt{t, known(decimal.NewFromFloat(digits(v, 3))), beyond}, nil
}
