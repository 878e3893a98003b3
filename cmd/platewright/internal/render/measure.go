package render

import (
	"strings"

	"platewright/catalog"
	"platewright/resolve"
	"platewright/resolve/measure"
)

// Bench says of which unit bench figures speak.
type Bench struct {
	Edition  resolve.Edition       `json:"edition"`
	Plate    string                `json:"plate"`    // as given; empty for figures on their own
	Variants []catalog.VariantCode `json:"variants"` // what the unit can still be
	Cautions []resolve.Caution     `json:"cautions"`
}

// benchFoot writes cautions and the catalogue, if the figures are held against
// one.
func (p *page) benchFoot(b Bench) {
	if len(b.Cautions) > 0 {
		p.head(warn, "CAUTIONS")
		for _, c := range b.Cautions {
			p.put(2, 2, say("! ").in(warn), say(capital(c.Text)+" "+capital(c.Defer)))
		}
	}
	if b.Edition.Name != "" {
		p.editionFoot(b.Edition)
	}
}

// unitWords names the unit that figures are held against.
func (b Bench) unitWords() string { return someVariants(b.Variants) }

// someVariants names variants, a long list by its beginning.
func someVariants(vs []catalog.VariantCode) string {
	var names []string
	for i, v := range vs {
		if i == 6 && len(vs) > 7 {
			return strings.Join(names, ", ") + " and " + counted(len(vs)-i, "more", "more")
		}
		names = append(names, glued(string(v)))
	}
	return allOf(names)
}

// amount writes a quantity so that number and unit stay on one line.
func amount(q measure.Quantity) string { return glued(q.String()) }

// doubts asks whether another unit was meant.
func (p *page) doubts(indent int, ds []measure.Doubt, as string) {
	for _, d := range ds {
		if d.Number {
			p.put(indent, 2, say("Is the unit right? ").in(warn), sayf("In %s the same number is %s, which is %s.", d.Meant, amount(d.Value.Significant(4)), as))
			continue
		}
		p.put(indent, 2, say("Was it converted? ").in(warn), sayf("It is off by a factor of %s, that between %s and %s; without it it is %s, which is %s.",
			measure.Significant(d.Factor, 4), d.Taken, d.Meant, amount(d.Value.Significant(4)), as))
	}
}
