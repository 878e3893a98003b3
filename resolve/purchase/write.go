package purchase

import (
	"cmp"
	"slices"
	"strings"

	"github.com/shopspring/decimal"
)

// write fills a plan from the packs of each offer and the way of each need.
func (r *reading) write(p *Plan, keep []int, packs []int64, ways []int) {
	for i := range r.sups {
		if o, ok := r.order(i, packs); ok {
			rate := func(d decimal.Decimal) decimal.Decimal { return r.cost(&r.sups[i], d) }
			goods := decimal.Zero
			for _, l := range o.Lines {
				goods = goods.Add(rate(l.Price).Mul(decimal.NewFromInt(int64(l.Packs))))
			}
			freight := rate(o.Freight)
			o.Cost = goods.Add(freight)
			p.Goods, p.Freight = p.Goods.Add(goods), p.Freight.Add(freight)
			p.Orders = append(p.Orders, o)
		}
	}
	p.Total = p.Goods.Add(p.Freight)
	p.Deliveries = len(p.Orders)
	if day, known := r.arrives(packs); known {
		p.Arrives = day
	}
	r.deal(p, keep, packs, ways)
}

func (r *reading) order(i int, packs []int64) (Order, bool) {
	s := &r.sups[i]
	o := Order{Supplier: s.Key, Currency: s.currency, Lines: []Line{}, Freight: s.Freight}
	known := true
	for k, n := range packs {
		of := &r.offers[k]
		if of.sup != i || n == 0 {
			continue
		}
		price := of.tiers[0].Price
		for _, t := range of.tiers {
			if int64(t.Packs) <= n {
				price = t.Price
			}
		}
		l := Line{Stock: of.Stock, Good: of.Good, Packs: int(n), Pieces: int(n) * of.Pack, Price: price, Total: price.Mul(decimal.NewFromInt(n)), Arrives: of.arrives}
		o.Goods = o.Goods.Add(l.Total)
		known = known && l.Arrives != 0
		o.Arrives = max(o.Arrives, l.Arrives)
		o.Lines = append(o.Lines, l)
	}
	if !known {
		o.Arrives = 0
	}
	if s.FreeFreight.IsPositive() && o.Goods.GreaterThanOrEqual(s.FreeFreight) {
		o.Free, o.Freight = true, decimal.Zero
	}
	o.Total = o.Goods.Add(o.Freight)
	return o, len(o.Lines) > 0
}

// pieces are pieces of an item of one origin.
type pieces struct {
	item            string
	supplier, stock string // "" for the shelf
	left            int64
}

// wish is pieces wanted by a need, with what is dealt to it.
type wish struct {
	covered int // index into the plan's covered needs
	wanted  string
	item    int
	got     []int64 // by origin
	left    int64
}

// deal deals the pieces out to the needs: the shelf's first, the item itself
// before what serves for it. Where the first hand leaves a wish open, pieces
// move on between wishes; that it comes out is what the rows of the model saw to.
func (r *reading) deal(p *Plan, keep []int, packs []int64, ways []int) {
	var from []pieces
	shelf := map[string]int64{}
	for _, a := range r.p.Shelf {
		shelf[a.Item] += int64(a.Qty)
	}
	for item, q := range shelf {
		if q > 0 && len(r.serve[item]) > 0 {
			from = append(from, pieces{item: item, left: q})
		}
	}
	slices.SortFunc(from, func(a, b pieces) int { return strings.Compare(a.item, b.item) })
	for k, n := range packs {
		if n > 0 {
			o := &r.offers[k]
			for _, h := range r.held(o.Good) {
				from = append(from, pieces{h.item, o.Supplier, o.Stock, n * int64(o.Pack) * h.qty})
			}
		}
	}
	var wishes []*wish
	for k, n := range keep {
		p.Covered = append(p.Covered, Covered{Need: r.p.Needs[n].Key, Way: ways[k], Uses: []Use{}})
		for _, a := range r.p.Needs[n].Ways[ways[k]].Wants {
			wishes = append(wishes, &wish{covered: k, wanted: a.Item, item: r.items[a.Item], got: make([]int64, len(from)), left: int64(a.Qty)})
		}
	}
	can := func(w *wish, f int) bool { return slices.Contains(r.serve[from[f].item], w.item) }
	for _, pass := range []func(w *wish, f int) bool{
		func(w *wish, f int) bool { return from[f].supplier == "" && from[f].item == w.wanted },
		func(w *wish, f int) bool { return from[f].supplier == "" && can(w, f) },
		func(w *wish, f int) bool { return from[f].item == w.wanted },
		can,
	} {
		for _, w := range wishes {
			for f := range from {
				if q := min(w.left, from[f].left); q > 0 && pass(w, f) {
					w.got[f] += q
					w.left -= q
					from[f].left -= q
				}
			}
		}
	}
	for _, w := range wishes {
		for w.left > 0 && r.passOn(w, wishes, from, can) {
		}
	}
	for _, w := range wishes {
		for f, q := range w.got {
			if q > 0 {
				c := &p.Covered[w.covered]
				c.Uses = append(c.Uses, Use{w.wanted, from[f].item, int(q), from[f].supplier, from[f].stock})
			}
		}
	}
	for _, f := range from {
		if f.supplier != "" && f.left > 0 {
			p.Spares = append(p.Spares, Spare{f.item, int(f.left), f.supplier, f.stock})
		}
	}
	slices.SortStableFunc(p.Spares, func(a, b Spare) int {
		return cmp.Or(strings.Compare(a.Item, b.Item), strings.Compare(a.Supplier, b.Supplier), strings.Compare(a.Stock, b.Stock))
	})
}

// passOn finds one chain by which a wish gets pieces that another one has, which
// takes others instead.
func (r *reading) passOn(w *wish, wishes []*wish, from []pieces, can func(*wish, int) bool) bool {
	type step struct {
		wish int // who takes
		from int // which pieces
		back int // step that takes from this wish
	}
	at := slices.Index(wishes, w)
	queue := []step{{wish: at, from: -1, back: -1}}
	seen := make([]bool, len(from))
	for head := 0; head < len(queue); head++ {
		me := wishes[queue[head].wish]
		for f := range from {
			if seen[f] || !can(me, f) {
				continue
			}
			seen[f] = true
			if from[f].left > 0 {
				// Along the chain: each one takes its pieces from the next.
				q := min(w.left, from[f].left)
				for k := head; queue[k].from >= 0; k = queue[k].back {
					q = min(q, wishes[queue[k].wish].got[queue[k].from])
				}
				take := f
				from[f].left -= q
				for k := head; ; k = queue[k].back {
					wishes[queue[k].wish].got[take] += q
					if queue[k].from < 0 {
						break
					}
					wishes[queue[k].wish].got[queue[k].from] -= q
					take = queue[k].from
				}
				w.left -= q
				return true
			}
			for x, other := range wishes {
				if other.got[f] > 0 {
					queue = append(queue, step{wish: x, from: f, back: head})
				}
			}
		}
	}
	return false
}
