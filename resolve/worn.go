package resolve

import (
	"slices"
	"strings"

	"platewright/catalog"
	"platewright/resolve/measure"
	"platewright/resolve/measure/coil"
	"platewright/resolve/measure/seal"
)

// CondemnedPart is what was found to be worn out or faulty.
type CondemnedPart string

const (
	CondemnedCoil CondemnedPart = "coil"
	CondemnedSeal CondemnedPart = "seal"
)

// CondemnedWhy says in one word what a part is condemned by.
type CondemnedWhy string

const (
	OutOfWindow CondemnedWhy = "out-of-window" // a coil: off the nominal by more than the tolerance
	BelowLeast  CondemnedWhy = "below-least"   // a seal: shorter than the catalogue's least
	NoSpring    CondemnedWhy = "no-spring"     // a seal: not above its fitted height
	TooShort    CondemnedWhy = "too-short"     // a seal: shorter than use leaves it
)

// Condemned says that a coil or a seal is to be replaced by what was measured
// (C2c). It holds no line.
type Condemned struct {
	Part       CondemnedPart `json:"part"`
	Name       string        `json:"name"`                 // of the site or the seal
	Role       string        `json:"role"`                 // of its row
	Sure       bool          `json:"sure"`                 // by the rows of every variant still possible; else only by those listed
	NoEvidence bool          `json:"noEvidence,omitempty"` // it takes no variant away
	By         []CondemnedBy `json:"by"`                   // the limits; none where no variant still possible has a row
}

// CondemnedBy is a row by which a part is condemned: Ω at °C, or mm.
type CondemnedBy struct {
	Variants  []catalog.VariantCode `json:"variants"` // for which it holds; empty for every variant still possible
	Why       []CondemnedWhy        `json:"why"`
	Found     catalog.Decimal       `json:"found"` // what was measured; of a coil brought to the row's temperature, to a milliohm
	Nominal   catalog.Decimal       `json:"nominal"`
	Tolerance catalog.Decimal       `json:"tolerance,omitzero"`
	Temp      catalog.Decimal       `json:"temp,omitzero"`    // of a coil: the row's temperature
	Least     catalog.Decimal       `json:"least,omitzero"`   // of a seal
	Fitted    catalog.Decimal       `json:"fitted,omitzero"`  // of a seal
	Loss      catalog.Decimal       `json:"loss,omitzero"`    // of a seal: mm of the nominal
	Percent   catalog.Decimal       `json:"percent,omitzero"` // of a seal: per cent of the nominal
	Source    string                `json:"source"`
}

// condemned tells whether an observation condemns what was measured, by the rows of
// the variants that the assembly can still be; nil where it does not.
func (d *decider) condemned(o *seenMark, as *assemblyWork) (*Condemned, error) {
	if o.bench == nil {
		return nil, nil
	}
	out := &Condemned{Part: CondemnedCoil, Name: o.mark.Mark, Role: o.bench.role, NoEvidence: o.bench.faulty, Sure: true, By: []CondemnedBy{}}
	if o.bench.table.Name == catalog.TSeals {
		out.Part = CondemnedSeal
	}
	if o.bench.mark != nil {
		out.Name = o.bench.mark.Site
	}
	at := map[string]int{} // place in By, by what the row says
	for _, v := range as.cands {
		shows, err := o.shownBy(d.r, v)
		if err != nil {
			return nil, err
		}
		if len(shows) == 0 || o.bench.rows[shows[0]] == nil {
			out.Sure = out.Sure && o.bench.faulty
			continue
		}
		by := o.bench.judge(o.bench.rows[shows[0]])
		if len(by.Why) == 0 {
			out.Sure = false
			continue
		}
		key := strings.Join([]string{by.Nominal.String(), by.Tolerance.String(), by.Temp.String(), by.Least.String(), by.Fitted.String(), by.Source}, "\n")
		i, ok := at[key]
		if !ok {
			i = len(out.By)
			at[key] = i
			out.By = append(out.By, by)
		}
		out.By[i].Variants = append(out.By[i].Variants, v.row.Variant)
	}
	if len(out.By) == 0 && !o.bench.faulty {
		return nil, nil
	}
	for i := range out.By {
		switch by := &out.By[i]; {
		case len(by.Variants) == len(as.cands):
			by.Variants = []catalog.VariantCode{}
		default:
			by.Variants = by.Variants[:min(len(by.Variants), maxListed)]
		}
	}
	return out, nil
}

// judge holds what was measured against a row; without a reason the row does not
// condemn it.
func (s *seenBench) judge(b *benchRow) CondemnedBy {
	if c := b.site; c != nil {
		temp := siteTemp(c)
		out := CondemnedBy{Why: []CondemnedWhy{}, Nominal: c.Ohm, Tolerance: c.Tolerance, Source: c.Source,
			Found: catalog.Decimal{Num: coil.Bring(s.ohm, s.temp, temp).Value.Round(3), Known: true},
			Temp:  catalog.Decimal{Num: temp.In(measure.Celsius).Value, Known: true}}
		if s.faulty && !s.agrees(b) {
			out.Why = append(out.Why, OutOfWindow)
		}
		return out
	}
	j := seal.Judge(seal.Of(b.seal, false), s.length, caliper())
	out := CondemnedBy{Why: []CondemnedWhy{}, Nominal: j.Nominal.Length, Tolerance: j.Nominal.Tolerance, Least: j.Nominal.Least, Fitted: j.Nominal.Fitted, Source: j.Nominal.Source,
		Found: j.Length, Loss: j.Loss, Percent: j.Percent}
	for _, c := range []struct {
		code seal.Code
		why  CondemnedWhy
	}{{seal.TooShort, TooShort}, {seal.BelowLimit, BelowLeast}, {seal.NoSpring, NoSpring}} {
		if slices.Contains(j.Codes, c.code) {
			out.Why = append(out.Why, c.why)
		}
	}
	return out
}
