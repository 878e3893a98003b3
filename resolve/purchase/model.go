package purchase

import (
	"math"
	"math/bits"
	"slices"
)

// never is a cost that nothing has; sums of a few of them do not overflow.
const never = int64(math.MaxInt64 / 8)

// model is a problem in whole numbers. Everything in it is sorted by key, so that
// the search runs alike for equal problems, however they were written down.
//
// A composite cost is one number for what is compared one after the other: the
// amount in the plan's currency, the number of suppliers, and the places of the
// packs bought. The first two are the key, which decides what is optimal; places
// fill the granule of bits below it and make the search prefer offers that come
// first.
type model struct {
	needs  []need
	rows   []row
	offers []offer
	sups   []sup
	places uint    // bits of the granule
	counts uint    // bits for the number of suppliers
	multi  []int32 // offers that serve in several rows
}

// need is a need by what its ways add to the rows.
type need struct {
	ways [][]demand
}

type demand struct {
	row int
	qty int64
}

// row is a set of items of which so many pieces are wanted together, and all
// that can supply them. By Hall's theorem, pieces can be dealt out to the items
// wanted if and only if every set of items finds as many pieces serving any of
// them as it wants; only sets that cannot be taken apart matter.
type row struct {
	shelf   int64
	unit    int64 // pieces counted as one in the bound; rounding up keeps it a bound
	entries []entry
	groups  []group // entries by supplier
	own     int     // the only need that wants from this row, -1 if several do
}

type group struct {
	sup      int
	from, to int
	multi    bool // holds entries of offers that serve in several rows
}

type entry struct {
	offer int
	slot  int   // place of this entry among all, for multipliers
	qty   int64 // pieces a pack
}

type sup struct {
	freight int64 // composite, of an order that pays it; without the supplier's own count
	free    int64 // value from which freight is free, above minimum; 0 for never
	minimum int64 // least value of an order
	offers  []int
	conv    bool // values are in another currency than costs
}

// offer is bought n packs at a time at tier prices.
type offer struct {
	sup   int
	rows  []rowQty
	max   int64 // packs at most that any best plan has
	stock int64 // packs that there are, at most never
	place int64
	tiers []tier // by packs, the first from 1
}

type rowQty struct {
	row, slot int
	qty       int64
}

type tier struct {
	from  int64
	cost  int64 // composite, a pack
	value int64 // in the supplier's currency, a pack
}

// cost is the composite cost of n packs.
func (o *offer) cost(n int64) int64 {
	if n == 0 {
		return 0
	}
	return n * (o.tier(n).cost + o.place)
}

// value is what n packs count towards the supplier's limits.
func (o *offer) value(n int64) int64 {
	if n == 0 {
		return 0
	}
	return n * o.tier(n).value
}

func (o *offer) tier(n int64) *tier {
	t := &o.tiers[0]
	for i := 1; i < len(o.tiers) && o.tiers[i].from <= n; i++ {
		t = &o.tiers[i]
	}
	return t
}

// one is what the supplier itself counts in composite costs.
func (m *model) one() int64 { return 1 << m.places }

// key drops the places of a composite cost.
func (m *model) key(cost int64) int64 { return cost >> m.places }

// mode is what may still become of a supplier, as a set of bits.
type mode uint8

const (
	mayClose mode = 1 << iota // nothing is bought there
	mayPay                    // freight is paid, whatever the value
	mayFree                   // the value reaches the limit from which freight is free

	closed = mayClose
)

// open tells whether something is bought there in any case.
func (md mode) open() bool { return md&mayClose == 0 }

// optional tells whether it is not decided if anything is bought there.
func (md mode) optional() bool { return md&mayClose != 0 && md != closed }

// settled tells whether only one mode is left.
func (md mode) settled() bool { return md&(md-1) == 0 }

// modes are all modes that a supplier can have.
func (s *sup) modes() mode {
	if s.free > 0 {
		return mayClose | mayPay | mayFree
	}
	return mayClose | mayPay
}

// least is the value that an order must reach in any case.
func (s *sup) least(md mode) int64 {
	if md == mayFree {
		return s.free
	}
	return s.minimum
}

// finish works out everything that follows from rows, offers and suppliers:
// groups, slots, the packs that are of use, places.
func (m *model) finish() {
	for i := range m.rows {
		m.rows[i].entries, m.rows[i].groups = nil, nil
	}
	slot := 0
	for i := range m.offers {
		o := &m.offers[i]
		for j := range o.rows {
			o.rows[j].slot = slot
			r := &m.rows[o.rows[j].row]
			r.entries = append(r.entries, entry{offer: i, slot: slot, qty: o.rows[j].qty})
			slot++
		}
		if len(o.rows) > 1 {
			m.multi = append(m.multi, int32(i))
		}
		m.sups[o.sup].offers = append(m.sups[o.sup].offers, i)
	}
	most := m.mostWanted()
	for i := range m.rows {
		r := &m.rows[i]
		var g int64
		for j, e := range r.entries {
			g = gcd(g, e.qty)
			s := m.offers[e.offer].sup
			if n := len(r.groups); n == 0 || r.groups[n-1].sup != s {
				r.groups = append(r.groups, group{sup: s, from: j})
			}
			last := &r.groups[len(r.groups)-1]
			last.to = j + 1
			last.multi = last.multi || len(m.offers[e.offer].rows) > 1
		}
		// More steps than this would cost more time in the bound than they are
		// worth; the search then looks into what rounding hides.
		const steps = 192
		r.unit = max(g, 1)
		if d := most[i]; d > steps*r.unit {
			r.unit = (d + steps - 1) / steps
		}
	}
	var packs int64
	for i := range m.offers {
		o := &m.offers[i]
		o.max = m.useful(o, most)
		packs = satAdd(packs, o.max)
	}
	shift := uint(0)
	for shift < 63 && satMul(packs, int64(len(m.offers))>>shift) >= 1<<m.places {
		shift++
	}
	for i := range m.offers {
		m.offers[i].place = int64(i) >> shift
	}
	m.owners()
}

// mostWanted is the largest demand that each row can have.
func (m *model) mostWanted() []int64 {
	most := make([]int64, len(m.rows))
	most1 := make([]int64, len(m.rows))
	for _, n := range m.needs {
		clear(most1)
		for _, w := range n.ways {
			for _, d := range w {
				most1[d.row] = max(most1[d.row], d.qty)
			}
		}
		for r, q := range most1 {
			most[r] += q
		}
	}
	for r := range most {
		most[r] = max(0, most[r]-m.rows[r].shelf)
	}
	return most
}

// useful is the number of packs beyond which no plan gains by more of an offer:
// enough for every row, then on to a price break that makes the whole cheaper,
// and on to the limits of the supplier.
func (m *model) useful(o *offer, most []int64) int64 {
	var n int64
	for _, r := range o.rows {
		n = max(n, (most[r.row]+r.qty-1)/r.qty)
	}
	n = min(n, o.stock)
	for _, t := range o.tiers[1:] {
		if t.from > n && t.from <= o.stock && t.from*t.cost < n*o.tier(n).cost {
			n = t.from
		}
	}
	s := &m.sups[o.sup]
	if least := max(s.minimum, s.free); least > 0 {
		low := o.tiers[0].value
		for _, t := range o.tiers {
			low = min(low, t.value)
		}
		n = satAdd(n, (least+low-1)/low)
	}
	return min(n, o.stock)
}

// owners finds the rows that only one need wants from.
func (m *model) owners() {
	for r := range m.rows {
		m.rows[r].own = -1
	}
	seen := make([]int, len(m.rows))
	for i := range seen {
		seen[i] = -1
	}
	for i, n := range m.needs {
		for _, w := range n.ways {
			for _, d := range w {
				switch seen[d.row] {
				case -1:
					seen[d.row], m.rows[d.row].own = i, i
				case i:
				default:
					seen[d.row], m.rows[d.row].own = -2, -1
				}
			}
		}
	}
}

// slots is the number of entries of all rows.
func (m *model) slots() int {
	if len(m.offers) == 0 {
		return 0
	}
	last := m.offers[len(m.offers)-1].rows
	return last[len(last)-1].slot + 1
}

func gcd(a, b int64) int64 {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

func satAdd(a, b int64) int64 {
	if a > never-b {
		return never
	}
	return a + b
}

func satMul(a, b int64) int64 {
	hi, lo := bits.Mul64(uint64(a), uint64(b))
	if hi != 0 || lo > uint64(never) {
		return never
	}
	return int64(lo)
}

// mulDiv is a*b/c, rounded down, for numbers that are not negative and a result
// that fits.
func mulDiv(a, b, c int64) int64 {
	hi, lo := bits.Mul64(uint64(a), uint64(b))
	if hi >= uint64(c) {
		return never
	}
	q, _ := bits.Div64(hi, lo, uint64(c))
	if q > uint64(never) {
		return never
	}
	return int64(q)
}

// solution is a plan by packs of each offer and ways of each need.
type solution struct {
	packs []int64
	ways  []int
}

// covers tells whether packs meet every row under the ways chosen.
func (m *model) covers(packs []int64, ways []int) bool {
	short := m.short(packs, ways)
	return !slices.ContainsFunc(short, func(q int64) bool { return q > 0 })
}

// short is what is missing in each row.
func (m *model) short(packs []int64, ways []int) []int64 {
	d := make([]int64, len(m.rows))
	for i, n := range m.needs {
		for _, w := range n.ways[ways[i]] {
			d[w.row] += w.qty
		}
	}
	for r := range d {
		d[r] -= m.rows[r].shelf
	}
	for i, n := range packs {
		if n > 0 {
			for _, r := range m.offers[i].rows {
				d[r.row] -= satMul(n, r.qty)
			}
		}
	}
	return d
}

// price is the composite cost of packs: goods, freight, suppliers, places.
// The second result is false if an order does not reach its least value.
func (m *model) price(packs []int64) (int64, bool) {
	var total int64
	for i := range m.sups {
		s := &m.sups[i]
		var value, cost int64
		used := false
		for _, o := range s.offers {
			if n := packs[o]; n > 0 {
				used = true
				value += m.offers[o].value(n)
				cost += m.offers[o].cost(n)
			}
		}
		if !used {
			continue
		}
		if value < s.minimum {
			return never, false
		}
		total += cost + m.one()
		if s.free == 0 || value < s.free {
			total += s.freight
		}
	}
	return total, true
}

// shortOf is what is missing in one row.
func (m *model) shortOf(r int, packs []int64, ways []int) int64 {
	q := -m.rows[r].shelf
	for i, n := range m.needs {
		for _, w := range n.ways[ways[i]] {
			if w.row == r {
				q += w.qty
			}
		}
	}
	for _, e := range m.rows[r].entries {
		q -= satMul(packs[e.offer], e.qty)
	}
	return q
}
