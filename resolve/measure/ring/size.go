package ring

import (
	_ "embed"
	"encoding/csv"
	"fmt"
	"strings"
	"sync"

	"github.com/shopspring/decimal"

	"platewright/catalog"
)

//go:embed sizes.csv
var sizesText string

// Size is a row of the table of sizes: nominal values with their tolerances, in
// millimetres, exactly as the inches of the table give them.
type Size struct {
	Dash             string          `json:"dash"`             // the number after the dash, three digits
	Inside           catalog.Decimal `json:"inside"`           // mm, inside diameter
	InsideTolerance  catalog.Decimal `json:"insideTolerance"`  // mm
	Section          catalog.Decimal `json:"section"`          // mm, cross section
	SectionTolerance catalog.Decimal `json:"sectionTolerance"` // mm
	InsideInch       catalog.Decimal `json:"insideInch"`       // in, as the table has it
	SectionInch      catalog.Decimal `json:"sectionInch"`      // in, as the table has it
}

// Source names the table of sizes.
const Source = "AS568, as a published quick-reference chart gives it; inside diameters and tolerances agree with ISO 3601-1 class A"

var inch = decimal.New(254, -1)

// table reads the embedded table once. The table is part of the program, and a
// test holds each row of it beside another copy: a row that cannot be read is a
// fault of the build.
var table = sync.OnceValue(func() []Size {
	sizes, err := readSizes(sizesText)
	if err != nil {
		panic(err)
	}
	return sizes
})

func readSizes(text string) ([]Size, error) {
	r := csv.NewReader(strings.NewReader(text))
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		return nil, fmt.Errorf("the table of sizes: %w", err)
	}
	var out []Size
	for i, row := range rows {
		if i == 0 {
			continue
		}
		var v [4]decimal.Decimal
		for j := range v {
			if v[j], err = decimal.NewFromString(row[j+1]); err != nil {
				return nil, fmt.Errorf("the table of sizes, size %s: %w", row[0], err)
			}
		}
		mm := func(d decimal.Decimal) catalog.Decimal { return known(d.Mul(inch)) }
		out = append(out, Size{row[0], mm(v[0]), mm(v[1]), mm(v[2]), mm(v[3]), known(v[0]), known(v[2])})
	}
	return out, nil
}

func known(d decimal.Decimal) catalog.Decimal { return catalog.Decimal{Num: d, Known: true} }

// Sizes gives the whole table in the order of the numbers. It must not be changed.
func Sizes() []Size { return table() }

// Find gives the size that a designation names: the three digits, with or without
// what is written before them (AS568-214, -214, 214, ISO 3601-1-214) and with or
// without the class after them (214A, 214B).
func Find(designation string) (Size, bool) {
	s := catalog.Fold(designation)
	for _, p := range []string{"ISO36011", "AS568A", "AS568B", "AS568C", "AS568D", "AS568E", "AS568F", "AS568"} {
		// The number itself has three digits, so that what is left tells whether
		// the prefix was one.
		if rest, ok := strings.CutPrefix(s, p); ok && len(rest) >= 3 {
			s = rest
			break
		}
	}
	if len(s) == 4 && (s[3] == 'A' || s[3] == 'B') {
		s = s[:3]
	}
	for _, z := range table() {
		if z.Dash == s {
			return z, true
		}
	}
	return Size{}, false
}
