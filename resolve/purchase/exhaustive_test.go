package purchase

import (
	"cmp"
	"context"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/shopspring/decimal"
	"github.com/stretchr/testify/require"

	"platewright/catalog"
)

// verify checks what a plan says against the problem, from the words of the
// package alone: whole packs in stock, prices, freight, limits, conversion, every
// piece used once and where it may be, spares, sums.
func verify(t *testing.T, p *Problem, plan *Plan) {
	t.Helper()
	if !plan.Found {
		return
	}
	one := decimal.New(1, 0)
	rate := map[string]decimal.Decimal{p.Currency: one}
	for _, r := range p.Rates {
		rate[r.Currency] = r.Rate
	}
	type origin struct{ supplier, stock, item string }
	pieces := map[origin]int{}
	for _, a := range p.Shelf {
		pieces[origin{"", "", a.Item}] += a.Qty
	}
	goods, freight := decimal.Zero, decimal.Zero
	for _, o := range plan.Orders {
		s := p.Suppliers[slices.IndexFunc(p.Suppliers, func(s Supplier) bool { return s.Key == o.Supplier })]
		conv := func(d decimal.Decimal) decimal.Decimal {
			if c := cmp.Or(s.Currency, p.Currency); c != p.Currency {
				return d.Mul(rate[c]).Round(4)
			}
			return d
		}
		sum, cost := decimal.Zero, decimal.Zero
		require.NotEmpty(t, o.Lines)
		for _, l := range o.Lines {
			of := p.Offers[slices.IndexFunc(p.Offers, func(x Offer) bool { return x.Supplier == o.Supplier && x.Stock == l.Stock })]
			price, from := of.Price, 1
			for _, b := range of.Breaks {
				if b.Packs <= l.Packs && b.Packs > from {
					price, from = b.Price, b.Packs
				}
			}
			if l.Packs < 1 || of.OnHand != AnyNumber && l.Packs > of.OnHand || l.Good != of.Good || l.Pieces != l.Packs*of.Pack || !l.Price.Equal(price) || !l.Total.Equal(price.Mul(decimal.NewFromInt(int64(l.Packs)))) {
				t.Errorf("line %+v of %s is not what the offer says: %+v", l, o.Supplier, of)
			}
			sum = sum.Add(l.Total)
			cost = cost.Add(conv(price).Mul(decimal.NewFromInt(int64(l.Packs))))
			holds := []Amount{{of.Good, 1}}
			for _, g := range p.Goods {
				if g.Key == of.Good {
					holds = g.Holds
				}
			}
			for _, h := range holds {
				pieces[origin{o.Supplier, l.Stock, h.Item}] += h.Qty * l.Pieces
			}
		}
		free := s.FreeFreight.IsPositive() && sum.GreaterThanOrEqual(s.FreeFreight)
		f := s.Freight
		if free {
			f = decimal.Zero
		}
		if !o.Goods.Equal(sum) || !o.Freight.Equal(f) || o.Free != free || !o.Total.Equal(sum.Add(f)) || !o.Cost.Equal(cost.Add(conv(f))) || sum.LessThan(s.Minimum) {
			t.Errorf("order %+v: goods %s, freight %s, at least %s", o, sum, f, s.Minimum)
		}
		goods, freight = goods.Add(cost), freight.Add(conv(f))
	}
	if !plan.Goods.Equal(goods) || !plan.Freight.Equal(freight) || !plan.Total.Equal(goods.Add(freight)) || plan.Deliveries != len(plan.Orders) {
		t.Errorf("plan says %s and %s, %s: it is %s and %s", plan.Goods, plan.Freight, plan.Total, goods, freight)
	}
	for _, c := range plan.Covered {
		n := p.Needs[slices.IndexFunc(p.Needs, func(n Need) bool { return n.Key == c.Need })]
		got := map[string]int{}
		for _, u := range c.Uses {
			got[u.Wanted] += u.Qty
			pieces[origin{u.Supplier, u.Stock, u.Item}] -= u.Qty
			if u.Item != u.Wanted && !slices.Contains(p.Serves, Serves{u.Item, u.Wanted}) {
				t.Errorf("%s is used for %s", u.Item, u.Wanted)
			}
		}
		want := map[string]int{}
		for _, a := range n.Ways[c.Way].Wants {
			want[a.Item] += a.Qty
		}
		require.Equal(t, want, got, c.Need)
	}
	for _, s := range plan.Spares {
		pieces[origin{s.Supplier, s.Stock, s.Item}] -= s.Qty
	}
	for k, q := range pieces {
		if q < 0 || q > 0 && k.supplier != "" {
			t.Errorf("%d pieces of %+v are left", q, k)
		}
	}
	if len(plan.Covered)+len(plan.Uncovered) != len(p.Needs) || plan.Complete != (len(plan.Uncovered) == 0) {
		t.Errorf("%d covered and %d uncovered of %d needs", len(plan.Covered), len(plan.Uncovered), len(p.Needs))
	}
}

// score is what a plan is judged by, in order.
type score struct {
	total      decimal.Decimal
	deliveries int
	arrives    catalog.Date
}

func (a score) compare(b score, aim Aim) int {
	byTotal := cmp.Or(a.total.Cmp(b.total), cmp.Compare(a.deliveries, b.deliveries), cmp.Compare(a.arrives, b.arrives))
	switch aim {
	case Earliest:
		return cmp.Or(cmp.Compare(a.arrives, b.arrives), byTotal)
	case FewestDeliveries:
		return cmp.Or(cmp.Compare(a.deliveries, b.deliveries), byTotal)
	}
	return byTotal
}

// every tries every plan there is: all packs in stock of all offers, all ways, and
// all ways to deal the pieces out. It is written from the words of the package,
// in decimals.
func every(p *Problem, arrives func(Offer) catalog.Date) (best score, found bool) {
	packs := make([]int, len(p.Offers))
	holds := func(good string) []Amount {
		for _, g := range p.Goods {
			if g.Key == good {
				return g.Holds
			}
		}
		return []Amount{{good, 1}}
	}
	serves := func(item, wanted string) bool {
		return item == wanted || slices.Contains(p.Serves, Serves{item, wanted})
	}
	var deal func(wants []Amount, have map[string]int) bool
	deal = func(wants []Amount, have map[string]int) bool {
		if len(wants) == 0 {
			return true
		}
		w := wants[0]
		if w.Qty == 0 {
			return deal(wants[1:], have)
		}
		for item, q := range have {
			if q > 0 && serves(item, w.Item) {
				have[item]--
				wants[0].Qty--
				ok := deal(wants, have)
				wants[0].Qty++
				have[item]++
				if ok {
					return true
				}
			}
		}
		return false
	}
	var ways func(k int, wants []Amount, have map[string]int) bool
	ways = func(k int, wants []Amount, have map[string]int) bool {
		if k == len(p.Needs) {
			return deal(slices.Clone(wants), have)
		}
		for _, w := range p.Needs[k].Ways {
			if ways(k+1, append(slices.Clone(wants), w.Wants...), have) {
				return true
			}
		}
		return false
	}
	rate := map[string]decimal.Decimal{p.Currency: decimal.New(1, 0)}
	for _, r := range p.Rates {
		rate[r.Currency] = r.Rate
	}
	judge := func() {
		var s score
		have := map[string]int{}
		for _, a := range p.Shelf {
			have[a.Item] += a.Qty
		}
		for _, sp := range p.Suppliers {
			c := cmp.Or(sp.Currency, p.Currency)
			conv := func(d decimal.Decimal) decimal.Decimal {
				if c != p.Currency {
					return d.Mul(rate[c]).Round(4)
				}
				return d
			}
			value, used := decimal.Zero, false
			for i, n := range packs {
				o := p.Offers[i]
				if o.Supplier != sp.Key || n == 0 {
					continue
				}
				used = true
				price, from := o.Price, 1
				for _, b := range o.Breaks {
					if b.Packs <= n && b.Packs > from {
						price, from = b.Price, b.Packs
					}
				}
				value = value.Add(price.Mul(decimal.NewFromInt(int64(n))))
				s.total = s.total.Add(conv(price).Mul(decimal.NewFromInt(int64(n))))
				s.arrives = max(s.arrives, arrives(o))
				for _, h := range holds(o.Good) {
					have[h.Item] += h.Qty * o.Pack * n
				}
			}
			if !used {
				continue
			}
			s.deliveries++
			if value.LessThan(sp.Minimum) {
				return
			}
			if !sp.FreeFreight.IsPositive() || value.LessThan(sp.FreeFreight) {
				s.total = s.total.Add(conv(sp.Freight))
			}
		}
		if (!found || s.compare(best, p.Aim) < 0) && (p.By == 0 || s.arrives <= p.By) && ways(0, nil, have) {
			best, found = s, true
		}
	}
	var try func(i int)
	try = func(i int) {
		if i == len(packs) {
			judge()
			return
		}
		for n := 0; n <= p.Offers[i].OnHand; n++ {
			packs[i] = n
			try(i + 1)
		}
		packs[i] = 0
	}
	try(0)
	return best, found
}

// TestEveryPlan: tiny problems against every plan there is, for all aims, with
// what tells equal plans apart.
func TestEveryPlan(t *testing.T) {
	tried, uncovered := 0, 0
	for seed := uint64(0); tried < 240; seed++ {
		rng := rand.New(rand.NewPCG(seed, 3))
		p := random(rng, tiny)
		plans := 1
		for i := range p.Offers {
			p.Offers[i].OnHand = 1 + rng.IntN(3)
			if rng.IntN(3) == 0 { // ties
				p.Offers[i].Price = cents(100 * (1 + rng.IntN(3)))
			}
			plans *= p.Offers[i].OnHand + 1
		}
		if plans > 4000 {
			continue
		}
		tried++
		p.Aim = []Aim{LeastCost, Earliest, FewestDeliveries}[tried%3]
		if rng.IntN(4) == 0 {
			p.By = 20300306
		}
		plan := mustSolve(t, p)
		verify(t, &p, plan)
		r, err := read(&p)
		require.NoError(t, err)
		arrives := func(o Offer) catalog.Date {
			for _, x := range r.offers {
				if x.Supplier == o.Supplier && x.Stock == o.Stock {
					return x.arrives
				}
			}
			return 0
		}
		of := func(p Problem) Problem { // offers that serve a need
			r, err := read(&p)
			require.NoError(t, err)
			p.Offers = slices.DeleteFunc(slices.Clone(p.Offers), func(o Offer) bool { return !r.ofUse(o.Good) })
			return p
		}
		kept := of(p.without(plan.Uncovered))
		want, found := every(&kept, arrives)
		got := score{plan.Total, plan.Deliveries, plan.Arrives}
		if !found || got.compare(want, p.Aim) != 0 {
			t.Errorf("problem %d, %s: %v, best of all is %v (%v)", seed, p.Aim, got, want, found)
		}
		// A need left out cannot be covered beside those kept.
		for _, u := range plan.Uncovered {
			uncovered++
			i := slices.IndexFunc(p.Needs, func(n Need) bool { return n.Key == u.Need })
			with := p
			with.Needs = append(slices.Clone(kept.Needs), p.Needs[i])
			with = of(with)
			if s, found := every(&with, arrives); found {
				t.Errorf("problem %d: %s is left out (%s), and can be covered: %v", seed, u.Need, u.Why, s)
			}
		}
	}
	if uncovered == 0 {
		t.Error("no need was left out")
	}
}

// TestOrderOfRowsChangesNothing, and neither does asking again.
func TestOrderOfRowsChangesNothing(t *testing.T) {
	for seed := range uint64(40) {
		rng := rand.New(rand.NewPCG(seed, 4))
		p := random(rng, mixed)
		for i := range p.Offers { // many ties
			p.Offers[i].Price = cents(100 * (1 + rng.IntN(4)))
			p.Offers[i].Breaks = nil
		}
		want := mustSolve(t, p)
		q := p
		q.Offers, q.Suppliers, q.Goods, q.Shelf, q.Serves = slices.Clone(p.Offers), slices.Clone(p.Suppliers), slices.Clone(p.Goods), slices.Clone(p.Shelf), slices.Clone(p.Serves)
		rng.Shuffle(len(q.Offers), func(i, j int) { q.Offers[i], q.Offers[j] = q.Offers[j], q.Offers[i] })
		rng.Shuffle(len(q.Suppliers), func(i, j int) { q.Suppliers[i], q.Suppliers[j] = q.Suppliers[j], q.Suppliers[i] })
		rng.Shuffle(len(q.Goods), func(i, j int) { q.Goods[i], q.Goods[j] = q.Goods[j], q.Goods[i] })
		rng.Shuffle(len(q.Shelf), func(i, j int) { q.Shelf[i], q.Shelf[j] = q.Shelf[j], q.Shelf[i] })
		rng.Shuffle(len(q.Serves), func(i, j int) { q.Serves[i], q.Serves[j] = q.Serves[j], q.Serves[i] })
		require.Equal(t, want, mustSolve(t, q), "problem %d", seed)
	}
}

// TestWhatNeverMakesItDearer: more offers, lower prices, less freight and more on
// the shelf never raise the least total; more wanted never lowers it.
func TestWhatNeverMakesItDearer(t *testing.T) {
	for seed := range uint64(24) {
		rng := rand.New(rand.NewPCG(seed, 5))
		p := random(rng, mixed)
		before := mustSolve(t, p)
		if !before.Complete {
			continue
		}
		q := p
		q.Offers, q.Suppliers, q.Needs, q.Shelf = slices.Clone(p.Offers), slices.Clone(p.Suppliers), slices.Clone(p.Needs), slices.Clone(p.Shelf)
		what := []string{"an offer more", "a lower freight", "a limit lower", "more on the shelf", "no minimum", "more stock"}[seed%6]
		i, k := rng.IntN(len(q.Offers)), rng.IntN(len(q.Suppliers))
		switch what {
		case "an offer more":
			o := q.Offers[i]
			o.Supplier, o.Stock = q.Suppliers[k].Key, "new"
			q.Offers = append(q.Offers, o)
		case "a lower freight":
			q.Suppliers[k].Freight = q.Suppliers[k].Freight.Div(decimal.New(2, 0)).Round(2)
		case "a limit lower":
			if q.Suppliers[k].FreeFreight.IsPositive() {
				q.Suppliers[k].FreeFreight = q.Suppliers[k].FreeFreight.Mul(decimal.New(9, -1)).Round(2)
			}
		case "more on the shelf":
			q.Shelf = append(q.Shelf, Amount{q.Needs[0].Ways[0].Wants[0].Item, 1})
		case "no minimum":
			q.Suppliers[k].Minimum = decimal.Zero
		case "more stock":
			q.Offers[i].OnHand = AnyNumber
		}
		if after := mustSolve(t, q); after.Total.GreaterThan(before.Total) {
			t.Errorf("problem %d, %s: %s, then %s", seed, what, before.Total, after.Total)
		}
		q.Needs[0] = Need{Key: q.Needs[0].Key, Ways: slices.Clone(q.Needs[0].Ways)}
		for w := range q.Needs[0].Ways {
			wants := slices.Clone(q.Needs[0].Ways[w].Wants)
			wants[0].Qty++
			q.Needs[0].Ways[w].Wants = wants
		}
		q.Offers, q.Suppliers, q.Shelf = p.Offers, p.Suppliers, p.Shelf
		if after := mustSolve(t, q); after.Complete && after.Total.LessThan(before.Total) {
			t.Errorf("problem %d, more wanted: %s, then %s", seed, before.Total, after.Total)
		}
	}
}

// TestGapIsHonest: whatever the limit, the bound is not above the best total and
// the plan not below it, and more nodes never loosen either.
func TestGapIsHonest(t *testing.T) {
	for seed := range uint64(4) {
		p := random(rand.New(rand.NewPCG(seed, 6)), smallBasket)
		best := mustSolve(t, p)
		for _, nodes := range []int{1, 2, 3, 5, 10, 20} {
			plan, err := Solve(context.Background(), p, Options{Nodes: nodes})
			require.NoError(t, err)
			pr := plan.Proof
			if !plan.Found || pr.Bound.GreaterThan(best.Total) || plan.Total.LessThan(best.Total) || !pr.Gap.Equal(plan.Total.Sub(pr.Bound)) || pr.Proven != (pr.Limit == "") || pr.Proven && !pr.Gap.IsZero() {
				t.Errorf("basket %d, %d nodes: %s with %+v, best is %s", seed, nodes, plan.Total, pr, best.Total)
			}
		}
		ctx, cancel := context.WithCancel(context.Background())
		cancel()
		plan, err := Solve(ctx, p, Options{})
		require.NoError(t, err)
		if plan.Proof.Proven || plan.Proof.Limit != Stopped {
			t.Errorf("basket %d, cancelled: %+v", seed, plan.Proof)
		}
	}
}
