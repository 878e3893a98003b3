package purchase

import (
	"math/bits"
	"slices"

	"github.com/shopspring/decimal"

	"platewright/catalog"
)

// built is a model of the needs that can be covered, with the way back to the
// problem.
type built struct {
	*model
	r      *reading
	needs  []int           // index into the problem's needs
	offers []int           // index into the reading's offers
	amount decimal.Decimal // one unit of a key's amount
}

// filter says which offers a model has.
type filter func(o *readOffer) bool

// build makes the model of some needs from some offers. Without amounts, only
// deliveries count. It is false where costs are too large for exact sums.
func (r *reading) build(needs []int, with filter, amounts bool) (*built, bool) {
	m := &model{}
	b := &built{model: m, r: r, needs: needs, amount: decimal.New(1, -r.places)}
	index := make([]int, len(r.rows)) // 1 + row of the model
	for j := range r.rows {
		for _, n := range needs {
			if index[j] == 0 && slices.ContainsFunc(r.needs[n], func(q []int64) bool { return q[j] > 0 }) {
				m.rows = append(m.rows, row{shelf: r.shelf[j]})
				index[j] = len(m.rows)
			}
		}
	}
	for _, n := range needs {
		var x need
		for _, q := range r.needs[n] {
			var ds []demand
			for j := range q {
				if q[j] > 0 {
					ds = append(ds, demand{index[j] - 1, q[j]})
				}
			}
			x.ways = append(x.ways, ds)
		}
		m.needs = append(m.needs, x)
	}
	supAt := make([]int, len(r.sups))
	for i := range supAt {
		supAt[i] = -1
	}
	for i := range r.offers {
		o := &r.offers[i]
		if with != nil && !with(o) {
			continue
		}
		x := offer{stock: never}
		if o.OnHand != AnyNumber {
			x.stock = int64(o.OnHand)
		}
		for _, q := range o.rows {
			if index[q.row] > 0 {
				x.rows = append(x.rows, rowQty{row: index[q.row] - 1, qty: q.qty})
			}
		}
		if len(x.rows) == 0 {
			continue
		}
		rs := &r.sups[o.sup]
		if supAt[o.sup] < 0 {
			supAt[o.sup] = len(m.sups)
			s := sup{minimum: whole64(rs.Minimum, rs.places), conv: rs.other}
			if amounts && rs.Freight.IsPositive() {
				s.freight = whole64(r.cost(rs, rs.Freight), r.places)
				s.free = whole64(rs.FreeFreight, rs.places)
				if s.free > 0 && s.free <= s.minimum {
					s.freight, s.free = 0, 0 // no order pays it
				}
			}
			m.sups = append(m.sups, s)
		}
		x.sup = supAt[o.sup]
		for _, t := range o.tiers {
			y := tier{from: int64(t.Packs), value: whole64(t.Price, rs.places)}
			if amounts {
				y.cost = whole64(r.cost(rs, t.Price), r.places)
			}
			x.tiers = append(x.tiers, y)
		}
		m.offers = append(m.offers, x)
		b.offers = append(b.offers, i)
	}
	m.counts = uint(bits.Len(uint(len(m.sups) + 1)))
	// No plan worth looking at costs more than covering every row at the dearest
	// and reaching every limit.
	most := m.mostWanted()
	var top int64
	for i := range m.offers {
		o := &m.offers[i]
		var n, dear int64
		for _, r := range o.rows {
			n = max(n, (most[r.row]+r.qty-1)/r.qty)
		}
		for _, t := range o.tiers {
			dear = max(dear, t.cost)
		}
		top = satAdd(top, satMul(n, dear))
	}
	for i := range m.sups {
		s := &m.sups[i]
		limit := max(s.minimum, s.free)
		if s.conv && amounts {
			limit = satMul(limit, 1+m.dearest(i))
		}
		top = satAdd(top, satAdd(s.freight, limit))
	}
	room := 60 - bits.Len64(uint64(top)) - int(m.counts)
	if room < 0 {
		return nil, false
	}
	m.places = uint(min(room, 28))
	unit := m.places + m.counts
	for i := range m.sups {
		m.sups[i].freight <<= unit
	}
	for i := range m.offers {
		for j := range m.offers[i].tiers {
			m.offers[i].tiers[j].cost <<= unit
		}
	}
	m.finish()
	return b, true
}

// dearest is the most that a unit of value costs at a supplier, rounded down.
func (m *model) dearest(s int) int64 {
	var most int64
	for i := range m.offers {
		if m.offers[i].sup == s {
			for _, t := range m.offers[i].tiers {
				most = max(most, t.cost/t.value)
			}
		}
	}
	return most
}

func whole64(d decimal.Decimal, places int32) int64 {
	return d.Shift(places).IntPart()
}

// total is the amount of a key.
func (b *built) total(key int64) decimal.Decimal {
	return b.amount.Mul(decimal.NewFromInt(key >> b.counts))
}

// packs gives the packs by the reading's offers.
func (b *built) packs(sol *solution) []int64 {
	p := make([]int64, len(b.r.offers))
	for i, n := range sol.packs {
		p[b.offers[i]] = n
	}
	return p
}

// arrives is the day of the last delivery of packs.
func (r *reading) arrives(packs []int64) (last catalog.Date, known bool) {
	known = true
	for i, n := range packs {
		if n > 0 {
			known = known && r.offers[i].arrives != 0
			last = max(last, r.offers[i].arrives)
		}
	}
	if !known {
		return 0, false
	}
	return last, last != 0
}

// days are the days on which offers arrive, in order.
func (r *reading) days() []catalog.Date {
	seen := map[catalog.Date]bool{}
	var ds []catalog.Date
	for i := range r.offers {
		if d := r.offers[i].arrives; d != 0 && !seen[d] {
			seen[d] = true
			ds = append(ds, d)
		}
	}
	slices.Sort(ds)
	return ds
}
