package order

import (
	"github.com/shopspring/decimal"
	"golang.org/x/text/currency"
)

// minor gives the decimal places of a currency.
func minor(code string) int32 {
	u, err := currency.ParseISO(code)
	if err != nil {
		return 2
	}
	n, _ := currency.Standard.Rounding(u)
	return int32(n)
}

// roundTotals rounds the amounts that are paid as a whole to what the currency has;
// prices keep the digits that the supplier gives them. A bound is rounded down, so
// that it stays one.
func (p *Proposal) roundTotals() {
	places := minor(p.Currency)
	round := func(ds ...*decimal.Decimal) {
		for _, d := range ds {
			*d = d.Round(places)
		}
	}
	round(&p.Total, &p.Freight)
	p.Goods = p.Total.Sub(p.Freight)
	p.Proof.Bound = p.Proof.Bound.RoundFloor(places)
	if p.Proof.Proven {
		p.Proof.Bound = p.Total
	}
	p.Proof.Gap = p.Total.Sub(p.Proof.Bound)
	for i := range p.Orders {
		o := &p.Orders[i]
		own := minor(o.Currency)
		o.Total, o.Freight, o.Cost = o.Total.Round(own), o.Freight.Round(own), o.Cost.Round(places)
		o.Goods = o.Total.Sub(o.Freight)
	}
	for i := range p.Lines {
		if x := p.Lines[i].Instead; x != nil {
			round(&x.Less)
		}
	}
	others := []*Other{p.Recommended}
	if x := p.Explained; x != nil {
		others = append(others, x.Sooner, x.Fewest)
		for i := range x.Cheaper {
			round(&x.Cheaper[i].Saves)
			if m := x.Cheaper[i].More; m != nil {
				round(m)
			}
		}
	}
	for _, o := range others {
		if o != nil {
			round(&o.More, &o.Total)
		}
	}
}
