package purchase

import (
	"cmp"
	"context"
	"slices"

	"github.com/shopspring/decimal"
)

// Explain says about a plan that [Solve] made for the problem what stands beside
// it: the cheaper offers that it leaves, what it would cost to be complete
// sooner or to have one delivery fewer, and each set held against its singles.
// Every answer is a search of its own, with the same options; where one was
// stopped, its Proven is false. All of them cover the same needs as the plan.
func Explain(ctx context.Context, p Problem, plan *Plan, opt Options) (*Explanation, error) {
	r, err := read(&p)
	if err != nil {
		return nil, err
	}
	x := &explainer{ctx: ctx, r: r, plan: plan, opt: opt}
	for _, c := range plan.Covered {
		at := slices.IndexFunc(p.Needs, func(n Need) bool { return n.Key == c.Need })
		if at < 0 {
			return nil, &InputError{[]Finding{{NoKey, "plan " + c.Need, c.Need, "the plan covers a need that the problem does not have", "explain a plan with the problem that it was made for"}}}
		}
		x.keep = append(x.keep, at)
	}
	slices.Sort(x.keep)
	e := &Explanation{Cheaper: []Cheaper{}, Sets: []SetCosted{}}
	if !plan.Found || len(plan.Orders) == 0 {
		return e, nil
	}
	if plan.Arrives != 0 {
		if e.Sooner, err = x.alternative(demands{before: plan.Arrives}); err != nil {
			return nil, err
		}
	}
	if plan.Deliveries > 1 {
		if e.Fewer, err = x.alternative(demands{deliveries: plan.Deliveries - 1}); err != nil {
			return nil, err
		}
	}
	if err := x.cheaper(e); err != nil {
		return nil, err
	}
	return e, x.sets(e)
}

type explainer struct {
	ctx  context.Context
	r    *reading
	plan *Plan
	opt  Options
	keep []int
}

// alternative is the best plan for the same needs under demands. It is the
// cheapest of those, whatever the aim of the plan was, since it is asked what the
// other way costs.
func (x *explainer) alternative(d demands) (*Alternative, error) {
	d.keep = x.keep
	p := *x.r.p
	p.Aim = LeastCost
	r := *x.r
	r.p = &p
	other, err := r.solve(x.ctx, x.opt, d)
	if err != nil {
		return nil, err
	}
	if other == nil {
		return &Alternative{Proven: true}, nil
	}
	a := &Alternative{Possible: other.Found, Proven: other.Proof.Proven}
	if other.Found {
		other.Uncovered = x.plan.Uncovered
		other.Complete = x.plan.Complete
		a.More, a.Plan = other.Total.Sub(x.plan.Total), other
	}
	return a, nil
}

// same adds to demands what makes a plan as good in the aim as the plan explained.
func (x *explainer) same(d demands) demands {
	switch x.r.p.Aim {
	case Earliest:
		d.until = x.plan.Arrives
	case FewestDeliveries:
		d.deliveries = x.plan.Deliveries
	}
	return d
}

// packs are what the plan buys of each offer.
func (x *explainer) packs() map[LineRef]int {
	packs := map[LineRef]int{}
	for _, o := range x.plan.Orders {
		for _, l := range o.Lines {
			packs[LineRef{o.Supplier, l.Stock}] = l.Packs
		}
	}
	return packs
}

// cheaper looks, for each line, at the offer that gives all that the line gives for
// the least, of those that are not part of the plan and look cheaper by the piece.
func (x *explainer) cheaper(e *Explanation) error {
	r := x.r
	bought := x.packs()
	for i := range r.offers {
		line := &r.offers[i]
		have := bought[LineRef{line.Supplier, line.Stock}]
		if have == 0 {
			continue
		}
		best := Cheaper{Line: LineRef{line.Supplier, line.Stock}}
		at := -1
		for k := range r.offers {
			o := &r.offers[k]
			packs := r.standIn(line, have, o)
			if packs == 0 || bought[LineRef{o.Supplier, o.Stock}] > 0 {
				continue
			}
			// By the piece it has to look cheaper; whole packs may say otherwise.
			piece := r.priceOf(o, packs).Mul(decimal.NewFromInt(int64(have) * int64(line.Pack)))
			if piece.GreaterThan(r.priceOf(line, have).Mul(decimal.NewFromInt(int64(packs) * int64(o.Pack)))) {
				continue
			}
			if saves := r.priceOf(line, have).Sub(r.priceOf(o, packs)); at < 0 || saves.GreaterThan(best.Saves) {
				at, best.Offer, best.Packs, best.Saves = k, LineRef{o.Supplier, o.Stock}, packs, saves
			}
		}
		if at < 0 {
			continue
		}
		if err := x.why(&best, line, have, at); err != nil {
			return err
		}
		e.Cheaper = append(e.Cheaper, best)
	}
	slices.SortStableFunc(e.Cheaper, func(a, b Cheaper) int {
		return cmp.Or(cmp.Compare(a.Line.Supplier, b.Line.Supplier), cmp.Compare(a.Line.Stock, b.Line.Stock), b.Saves.Cmp(a.Saves))
	})
	return nil
}

// standIn is how many packs of an offer give everything that packs of a line do,
// 0 if no number does.
func (r *reading) standIn(line *readOffer, have int, o *readOffer) int {
	packs := int64(0)
	for _, q := range line.rows {
		at := slices.IndexFunc(o.rows, func(x rowQty) bool { return x.row == q.row })
		if at < 0 {
			return 0
		}
		packs = max(packs, (q.qty*int64(have)+o.rows[at].qty-1)/o.rows[at].qty)
	}
	return int(packs)
}

// priceOf is what packs of an offer cost in the plan's currency.
func (r *reading) priceOf(o *readOffer, packs int) decimal.Decimal {
	price := o.tiers[0].Price
	for _, t := range o.tiers {
		if t.Packs <= packs {
			price = t.Price
		}
	}
	return r.cost(&r.sups[o.sup], price).Mul(decimal.NewFromInt(int64(packs)))
}

// why finds the reason why the offer is not taken in place of the line.
func (x *explainer) why(c *Cheaper, line *readOffer, have, offer int) error {
	r := x.r
	o := &r.offers[offer]
	s := &r.sups[o.sup]
	switch {
	case o.OnHand != AnyNumber && o.OnHand < c.Packs:
		c.Why = CheaperStock
	case r.p.By != 0 && o.arrives > r.p.By, r.p.Aim == Earliest && x.plan.Arrives != 0 && o.arrives > x.plan.Arrives:
		c.Why = CheaperLate
		return nil
	case c.Saves.IsNegative():
		c.Why = CheaperPack
	}
	forced, err := x.alternative(x.same(demands{force: offer + 1}))
	if err != nil {
		return err
	}
	c.Forced = forced
	if c.Why != "" {
		return nil
	}
	// The line's packs moved to the offer, everything else as it is.
	var home, away *Order
	for i := range x.plan.Orders {
		switch x.plan.Orders[i].Supplier {
		case line.Supplier:
			home = &x.plan.Orders[i]
		case o.Supplier:
			away = &x.plan.Orders[i]
		}
	}
	value := r.priceIn(o, c.Packs)
	if away != nil {
		value = value.Add(away.Goods)
	}
	switch {
	case forced.Possible && forced.More.IsZero():
		c.Why = CheaperEqual
	case value.LessThan(s.Minimum):
		c.Why = CheaperMinimum
	case away == nil && s.Freight.IsPositive() && (s.FreeFreight.IsZero() || value.LessThan(s.FreeFreight)),
		home != nil && home.Free && home.Goods.Sub(r.priceIn(line, have)).LessThan(r.sups[line.sup].FreeFreight):
		c.Why = CheaperFreight
	case home != nil && home.Goods.Sub(r.priceIn(line, have)).IsPositive() && home.Goods.Sub(r.priceIn(line, have)).LessThan(r.sups[line.sup].Minimum):
		c.Why = CheaperMinimum
	case len(line.tiers) > 1 && have >= line.tiers[1].Packs && forced.Possible && forced.Plan != nil && r.stillBuys(forced.Plan, line):
		c.Why = CheaperBreak
	default:
		c.Why = CheaperWhole
	}
	return nil
}

// priceIn is what packs of an offer cost in its supplier's currency.
func (r *reading) priceIn(o *readOffer, packs int) decimal.Decimal {
	price := o.tiers[0].Price
	for _, t := range o.tiers {
		if t.Packs <= packs {
			price = t.Price
		}
	}
	return price.Mul(decimal.NewFromInt(int64(packs)))
}

func (r *reading) stillBuys(p *Plan, line *readOffer) bool {
	for _, o := range p.Orders {
		for _, l := range o.Lines {
			if o.Supplier == line.Supplier && l.Stock == line.Stock {
				return true
			}
		}
	}
	return false
}

// sets holds each good that serves at least two wanted items, or several pieces,
// against its singles.
func (x *explainer) sets(e *Explanation) error {
	r := x.r
	seen := map[string]bool{}
	var goods []string
	for i := range r.offers {
		g := r.offers[i].Good
		served := 0
		for _, h := range r.held(g) {
			if len(r.serve[h.item]) > 0 {
				served++
			}
		}
		if !seen[g] && served > 1 {
			seen[g] = true
			goods = append(goods, g)
		}
	}
	slices.Sort(goods)
	bought := x.packs()
	for _, g := range goods {
		sc := SetCosted{Good: g}
		with, err := x.withGood(g, bought)
		if err != nil {
			return err
		}
		sc.With = *with
		for i := range r.offers {
			sc.Taken = sc.Taken || r.offers[i].Good == g && bought[LineRef{r.offers[i].Supplier, r.offers[i].Stock}] > 0
		}
		without, err := x.alternative(x.same(demands{without: g}))
		if err != nil {
			return err
		}
		sc.Without = *without
		e.Sets = append(e.Sets, sc)
	}
	return nil
}

// withGood is the best plan that buys a good from any of its suppliers.
func (x *explainer) withGood(g string, bought map[LineRef]int) (*Alternative, error) {
	best := &Alternative{Proven: true}
	for i := range x.r.offers {
		if x.r.offers[i].Good != g {
			continue
		}
		a, err := x.alternative(x.same(demands{force: i + 1}))
		if err != nil {
			return nil, err
		}
		proven := best.Proven && a.Proven
		if a.Possible && (!best.Possible || a.More.LessThan(best.More)) {
			best = a
		}
		best.Proven = proven
	}
	return best, nil
}
