package fluid

import (
	_ "embed"
	"encoding/csv"
	"errors"
	"fmt"
	"math"
	"sort"
	"strconv"
	"strings"
	"sync"
)

// Grade is a viscosity grade of ISO 3448. Viscosities are in mm²/s at 40 °C, both
// ends included.
type Grade struct {
	VG   int
	Low  float64
	Mid  float64
	High float64
}

// middles are the mid-point viscosities of ISO 3448, table 1, by grade, up to the
// thickest that a published copy of the table shows. The limits
// are ten per cent to either side, rounded to three digits as the table has them.
var middles = []struct {
	vg  int
	mid float64
}{{2, 2.2}, {3, 3.2}, {5, 4.6}, {7, 6.8}, {10, 10}, {15, 15}, {22, 22}, {32, 32}, {46, 46}, {68, 68}, {100, 100}, {150, 150},
	{220, 220}, {320, 320}, {460, 460}, {680, 680}, {1000, 1000}, {1500, 1500}}

// Grades gives the grades of ISO 3448 from the thinnest.
func Grades() []Grade {
	out := make([]Grade, len(middles))
	for i, m := range middles {
		out[i] = Grade{m.vg, digits(m.mid*0.9, 3), m.mid, digits(m.mid*1.1, 3)}
	}
	return out
}

// GradeOf gives the grade of a viscosity at 40 °C; a fluid in a gap between grades,
// or beyond them, has none.
func GradeOf(v40 float64) (Grade, bool) {
	for _, g := range Grades() {
		if g.Low <= v40 && v40 <= g.High {
			return g, true
		}
	}
	return Grade{}, false
}

// digits rounds to so many significant digits.
func digits(v float64, n int) float64 {
	if v == 0 || math.IsInf(v, 0) || math.IsNaN(v) {
		return v
	}
	r, err := strconv.ParseFloat(strconv.FormatFloat(v, 'e', n-1, 64), 64)
	if err != nil {
		return v
	}
	return r
}

//go:embed lh.csv
var lhText string

type lhRow struct{ y, l, h float64 }

// lh reads the embedded table once. It is part of the program, and a test holds
// each row of it beside the standard's other form.
var lh = sync.OnceValue(func() []lhRow {
	rows, err := readLH(lhText)
	if err != nil {
		panic(err)
	}
	return rows
})

func readLH(text string) ([]lhRow, error) {
	r := csv.NewReader(strings.NewReader(text))
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		return nil, fmt.Errorf("the table of L and H: %w", err)
	}
	var out []lhRow
	for i, row := range rows {
		if i == 0 {
			continue
		}
		var v [3]float64
		for j := range v {
			if v[j], err = strconv.ParseFloat(row[j], 64); err != nil {
				return nil, fmt.Errorf("the table of L and H, row %d: %w", i, err)
			}
		}
		out = append(out, lhRow{v[0], v[1], v[2]})
	}
	return out, nil
}

// Errors of the arithmetic: what was given cannot be reckoned with.
var (
	ErrNotPositive = errors.New("a viscosity is above zero")
	ErrIndexLow    = errors.New("the viscosity index is not defined below 2 mm²/s at 100 °C (ASTM D2270, 1.2)")
	ErrNotThinner  = errors.New("a fluid is thinner when it is hotter, and these figures say the reverse")
	ErrSameTemp    = errors.New("two viscosities at one temperature say nothing about others")
	ErrTemperature = errors.New("the temperature is not above absolute zero")
)

// LH gives L and H of ASTM D2270 for a viscosity at 100 °C: the viscosities at
// 40 °C of an oil of index 0 and of one of index 100.
func LH(v100 float64) (l, h float64, err error) {
	switch {
	case !(v100 > 0) || math.IsInf(v100, 0):
		return 0, 0, ErrNotPositive
	case v100 < 2:
		return 0, 0, ErrIndexLow
	case v100 > 70:
		return 0.8353*v100*v100 + 14.67*v100 - 216, 0.1684*v100*v100 + 11.85*v100 - 97, nil
	}
	t := lh()
	i := sort.Search(len(t), func(i int) bool { return t[i].y >= v100 })
	if t[i].y == v100 {
		return t[i].l, t[i].h, nil
	}
	a, b := t[i-1], t[i]
	f := (v100 - a.y) / (b.y - a.y)
	return a.l + f*(b.l-a.l), a.h + f*(b.h-a.h), nil
}

// Index gives the viscosity index of ASTM D2270, not rounded.
func Index(v40, v100 float64) (float64, error) {
	if !(v40 > 0) || math.IsInf(v40, 0) {
		return 0, ErrNotPositive
	}
	l, h, err := LH(v100)
	if err != nil {
		return 0, err
	}
	if v40 <= v100 {
		return 0, ErrNotThinner
	}
	if v40 >= h {
		return 100 * (l - v40) / (l - h), nil
	}
	n := (math.Log10(h) - math.Log10(v40)) / math.Log10(v100)
	return (math.Pow(10, n)-1)/0.00715 + 100, nil
}

// WholeIndex rounds an index as the standard reports it: to the nearest whole
// number, and to the even one from the middle between two.
func WholeIndex(vi float64) int { return int(math.RoundToEven(vi)) }

// Line is the viscosity-temperature line of ASTM D341 through two points.
type Line struct {
	A, B     float64 // log10 log10 Z = A − B · log10 T
	Low, Hot float64 // °C, of the two points
}

const kelvin = 273.15

// Through gives the line through two measured viscosities in mm²/s at temperatures
// in °C.
func Through(v1, t1, v2, t2 float64) (Line, error) {
	if t1 > t2 {
		v1, t1, v2, t2 = v2, t2, v1, t1
	}
	switch {
	case !(v1 > 0) || !(v2 > 0) || math.IsInf(v1, 0) || math.IsInf(v2, 0):
		return Line{}, ErrNotPositive
	case !(t1 > -kelvin) || math.IsInf(t2, 0) || math.IsNaN(t2):
		return Line{}, ErrTemperature
	case t1 == t2:
		return Line{}, ErrSameTemp
	case v1 <= v2:
		return Line{}, ErrNotThinner
	}
	x1, x2 := math.Log10(t1+kelvin), math.Log10(t2+kelvin)
	y1, y2 := loglog(z(v1)), loglog(z(v2))
	b := (y1 - y2) / (x2 - x1)
	return Line{y1 + b*x1, b, t1, t2}, nil
}

func loglog(z float64) float64 { return math.Log10(math.Log10(z)) }

// z is the quantity that the standard draws; for 2 mm²/s and more its last term is
// below what can be measured.
func z(v float64) float64 { return v + 0.7 + math.Exp(-1.47-1.84*v-0.51*v*v) }

// At gives the viscosity in mm²/s at a temperature in °C, and whether the
// temperature is beyond the two points of the line: there the standard trusts it
// less the farther it is.
func (l Line) At(t float64) (v float64, beyond bool, err error) {
	if !(t > -kelvin) || math.IsInf(t, 0) {
		return 0, false, ErrTemperature
	}
	want := math.Pow(10, math.Pow(10, l.A-l.B*math.Log10(t+kelvin)))
	// z grows with v, so halving finds the viscosity that has it.
	low, high := 0.0, want
	if math.IsInf(want, 0) || z(low) > want {
		return 0, true, fmt.Errorf("at %g °C the line gives no viscosity of a fluid", t)
	}
	for range 200 {
		v = (low + high) / 2
		if z(v) < want {
			low = v
		} else {
			high = v
		}
	}
	return v, t < l.Low || t > l.Hot, nil
}
