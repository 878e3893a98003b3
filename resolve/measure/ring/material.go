package ring

import (
	_ "embed"
	"encoding/csv"
	"fmt"
	"slices"
	"strings"
	"sync"

	"github.com/shopspring/decimal"

	"platewright/catalog"
)

//go:embed materials.csv
var materialsText string

// Medium is what a ring works in.
type Medium string

const (
	Oil   Medium = "oil" // hydrocarbon oils, a transmission fluid among them
	Water Medium = "water"
)

// Rating is how well a material stands a medium, by a published comparison. The
// zero Rating is not stated.
type Rating string

const (
	Poor      Rating = "poor"
	Fair      Rating = "fair"
	Good      Rating = "good"
	Excellent Rating = "excellent"
)

var ratings = []Rating{Poor, Fair, Good, Excellent}

// Material is what published comparisons say about an elastomer.
type Material struct {
	Code       string                 `json:"code"` // by ISO 1629
	Name       string                 `json:"name"`
	Low        catalog.Decimal        `json:"low"`        // °C, for continuous use
	High       catalog.Decimal        `json:"high"`       // °C, for continuous use
	StrictLow  catalog.Decimal        `json:"strictLow"`  // °C, by the stricter table
	StrictHigh catalog.Decimal        `json:"strictHigh"` // °C, by the stricter table
	Sources    []string               `json:"sources"`
	stands     map[Medium]([2]Rating) // from the worst that is said to the best
}

// materialSources spells the numbers in the column sources.
var materialSources = map[string]string{
	"1": "a rubber moulder's published tables of chemical resistance and of comparative properties",
	"2": "a pipe maker's published table of its seal materials",
	"3": "a seal maker's published guide to materials",
}

var materials = sync.OnceValue(func() []Material {
	ms, err := readMaterials(materialsText)
	if err != nil {
		panic(err)
	}
	return ms
})

func readMaterials(text string) ([]Material, error) {
	r := csv.NewReader(strings.NewReader(text))
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		return nil, fmt.Errorf("the table of materials: %w", err)
	}
	var out []Material
	for i, row := range rows {
		if i == 0 {
			continue
		}
		m := Material{Code: row[0], Name: row[1], Sources: []string{}, stands: map[Medium][2]Rating{}}
		for j, medium := range []Medium{Oil, Water} {
			worst, best, two := strings.Cut(row[2+j], " to ")
			if !two {
				best = worst
			}
			if !slices.Contains(ratings, Rating(worst)) || !slices.Contains(ratings, Rating(best)) {
				return nil, fmt.Errorf("the table of materials, %s: %q is no rating", m.Code, row[2+j])
			}
			m.stands[medium] = [2]Rating{Rating(worst), Rating(best)}
		}
		for j, d := range []*catalog.Decimal{&m.Low, &m.High, &m.StrictLow, &m.StrictHigh} {
			if row[4+j] == "" {
				continue
			}
			if *d, err = catalog.ParseDecimal(row[4+j]); err != nil {
				return nil, fmt.Errorf("the table of materials, %s: %w", m.Code, err)
			}
		}
		for _, n := range strings.Fields(row[8]) {
			m.Sources = append(m.Sources, materialSources[n])
		}
		out = append(out, m)
	}
	return out, nil
}

// Materials gives the table of materials in the order of their codes. It must not
// be changed.
func Materials() []Material { return materials() }

// AdviceCode says in one word what the guidance on a material is: a closed list,
// see [AdviceCodes].
type AdviceCode string

const (
	MediumSuits     AdviceCode = "medium-suits"     // the comparison calls it good or excellent in the medium
	MediumDoubtful  AdviceCode = "medium-doubtful"  // the comparison calls it fair, or not in all its kinds good
	MediumHarms     AdviceCode = "medium-harms"     // the comparison calls it poor in the medium
	HeatSuits       AdviceCode = "heat-suits"       // the temperature is within what every table allows
	HeatDoubtful    AdviceCode = "heat-doubtful"    // one table allows the temperature and another does not
	HeatHarms       AdviceCode = "heat-harms"       // no table allows the temperature
	HeatUnknown     AdviceCode = "heat-unknown"     // no table gives the limit in question
	UnknownMaterial AdviceCode = "unknown-material" // the tables do not know the material
)

// AdviceCodes lists every code that an [Advice] can carry.
var AdviceCodes = []AdviceCode{MediumSuits, MediumDoubtful, MediumHarms, HeatSuits, HeatDoubtful, HeatHarms, HeatUnknown, UnknownMaterial}

// Verdict is the guidance as a whole. Its zero value is that nothing is known.
type Verdict string

const (
	NotKnown Verdict = "not-known"
	Suits    Verdict = "suits"
	Doubtful Verdict = "doubtful"
	Unsuited Verdict = "unsuited"
)

// Advice is guidance on a material in a medium at temperatures. It is never more
// than guidance: compounds of one elastomer differ.
type Advice struct {
	Asked    string            `json:"asked"` // the material as it was named
	Medium   Medium            `json:"medium"`
	Temps    []catalog.Decimal `json:"temps"` // °C, those asked about
	Verdict  Verdict           `json:"verdict"`
	Codes    []AdviceCode      `json:"codes"`
	Worst    Rating            `json:"worst,omitempty"`
	Best     Rating            `json:"best,omitempty"`
	Material *Material         `json:"material"` // null where the tables do not know it
	Better   []string          `json:"better"`   // where it is unsuited or doubtful: the materials that suit
}

// FindMaterial gives the material with this code or name, such as NBR, nitrile or
// "FKM 75".
func FindMaterial(text string) (Material, bool) {
	for _, word := range append(strings.FieldsFunc(text, func(r rune) bool { return strings.ContainsRune(" ,;/()-", r) }), text) {
		for _, m := range materials() {
			if strings.EqualFold(word, m.Code) || strings.EqualFold(word, m.Name) {
				return m, true
			}
		}
	}
	return Material{}, false
}

// Advise says what the tables say about a material in a medium at temperatures in
// °C.
func Advise(material string, medium Medium, temps ...catalog.Decimal) Advice {
	a := Advice{Asked: material, Medium: medium, Temps: append([]catalog.Decimal{}, temps...), Codes: []AdviceCode{}, Better: []string{}}
	m, ok := FindMaterial(material)
	if !ok {
		a.Verdict, a.Codes = NotKnown, append(a.Codes, UnknownMaterial)
		return a
	}
	a.Material = &m
	a.Verdict, a.Codes, a.Worst, a.Best = m.judge(medium, temps)
	if a.Verdict != Suits {
		for _, o := range materials() {
			if v, _, _, _ := o.judge(medium, temps); v == Suits {
				a.Better = append(a.Better, o.Code)
			}
		}
	}
	return a
}

func (m *Material) judge(medium Medium, temps []catalog.Decimal) (v Verdict, codes []AdviceCode, worst, best Rating) {
	worst, best = m.stands[medium][0], m.stands[medium][1]
	v = Suits
	add := func(c AdviceCode, to Verdict) {
		if !slices.Contains(codes, c) {
			codes = append(codes, c)
		}
		rank := map[Verdict]int{Suits: 0, NotKnown: 1, Doubtful: 2, Unsuited: 3}
		if rank[to] > rank[v] {
			v = to
		}
	}
	switch {
	case best == Poor || worst == Poor && best == Fair:
		add(MediumHarms, Unsuited)
	case slices.Index(ratings, worst) < slices.Index(ratings, Good):
		add(MediumDoubtful, Doubtful)
	default:
		add(MediumSuits, Suits)
	}
	for _, t := range temps {
		// Only the limit on the side of the temperature is in question: a ring in a
		// hot gearbox is not judged by the cold that nobody asked about.
		wide, strict := m.High, m.StrictHigh
		beyond := func(limit catalog.Decimal) bool { return t.Num.GreaterThan(limit.Num) }
		if t.Num.LessThan(decimal.NewFromInt(20)) {
			wide, strict = m.Low, m.StrictLow
			beyond = func(limit catalog.Decimal) bool { return t.Num.LessThan(limit.Num) }
		}
		switch {
		case !wide.Known:
			add(HeatUnknown, NotKnown)
		case beyond(wide):
			add(HeatHarms, Unsuited)
		case strict.Known && beyond(strict):
			add(HeatDoubtful, Doubtful)
		default:
			add(HeatSuits, Suits)
		}
	}
	return v, codes, worst, best
}
