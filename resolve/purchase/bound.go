package purchase

import "math/bits"

// node is a part of the space of plans: modes of suppliers, ranges of packs, ways
// of needs; with the multipliers that gave the bound of the part it was cut from.
type node struct {
	modes  []mode
	lo, hi []int64
	ways   []uint64 // ways still allowed, by bit

	bound  int64
	made   int
	taken  bool    // looked at out of turn
	reach  []int64 // for each row, the cost that its cover is to reach
	shares []int64 // for each slot of an offer in several rows, its share of the price of a pack
	yields []int64 // for each supplier, the part of a unit of value that is paid towards its limit
	few    int64   // what a delivery costs more so that no more are made than allowed
}

// clone copies what the search changes in place; ranges and ways are replaced as
// a whole.
func (n *node) clone() *node {
	c := *n
	c.modes = append([]mode(nil), n.modes...)
	c.reach = append([]int64(nil), n.reach...)
	c.shares = append([]int64(nil), n.shares...)
	c.yields = append([]int64(nil), n.yields...)
	return &c
}

// The bound shares every cost out among the rows, and lets each row choose its
// own cheapest cover under its shares; their sum is what any plan costs at least.
//
//   - The fixed cost of a supplier about which nothing is decided is shared out
//     among the rows that could use it. A row has one multiplier, the cost that
//     its cover is to reach; what a supplier's cover is short of that is the row's
//     share of the supplier. Shares beyond the fixed cost are taken off the bound.
//   - The price of an offer that serves in several rows is shared among these, and
//     each row chooses how many packs it wants.
//   - A limit of value that an order must reach is paid for in part instead: for
//     a part of the limit, goods cost that part less.
//
// Any multipliers give a bound, and it is reckoned in whole numbers. Good ones are
// found by subgradient steps. Within a row the choice of offers is exact (packs,
// breaks, stock), by dynamic programming over the pieces.
type bounder struct {
	m       *model
	rows    []rowState
	sups    []supState
	inc     []increment // for each offer
	base    int64       // what is decided already
	picks   []int64     // packs of single offers chosen, beyond lo
	want    []int64     // for each slot of an offer in several rows, packs chosen in that row
	knap    []int64
	knapN   [][]int32
	blocks  []block
	inBlock []bool
}

// block is a need whose way is open, with the rows that are its own.
type block struct {
	need int
	ways []int        // allowed
	dem  [][]blockRow // for each of them
	best int
}

type blockRow struct{ row, d int }

type rowState struct {
	d      int     // pieces (in units) wanted
	cost   []int64 // by pieces: the best cover without shares of suppliers
	best   []int64 // by pieces: the best cover with them
	groups []groupState
	live   []int // groups of suppliers that are not closed
	multi  bool
	base   int64 // gained in any case, at most zero
}

type groupState struct {
	w     []int64 // by pieces: the cost of getting them here
	share int64   // of the supplier's fixed cost
	at    int     // pieces for which the share is reckoned
	take  []int32 // by pieces: pieces taken here in the best cover
}

type supState struct {
	fixed int64 // while optional
	sum   int64 // of shares
	yield int64
	free  int64 // the supplier's limits, as far up as whole packs can only reach them
	least int64
	most  int64 // the largest part of a unit of value that can be taken off prices
}

// increment describes an offer beyond the packs that are certain.
type increment struct {
	most  int64 // packs more at most
	lin   int64 // of an offer in several rows: cost of a pack at least
	multi bool
}

func newBounder(m *model) *bounder {
	b := &bounder{m: m, rows: make([]rowState, len(m.rows)), sups: make([]supState, len(m.sups)), inc: make([]increment, len(m.offers)),
		picks: make([]int64, len(m.offers)), want: make([]int64, m.slots()), inBlock: make([]bool, len(m.rows))}
	for i := range m.sups {
		b.sups[i].most = m.yieldMost(&m.sups[i])
	}
	most := m.mostWanted()
	top := 0
	for i := range m.rows {
		r := &m.rows[i]
		d := int((most[i] + r.unit - 1) / r.unit)
		top = max(top, d)
		s := &b.rows[i]
		s.cost, s.best = make([]int64, d+1), make([]int64, d+1)
		s.groups = make([]groupState, len(r.groups))
		for j := range s.groups {
			s.groups[j] = groupState{w: make([]int64, d+1), take: make([]int32, d+1)}
			s.multi = s.multi || r.groups[j].multi
		}
	}
	b.knap = make([]int64, top+1)
	return b
}

// yieldMost is the largest part of a unit of value that can be taken off prices.
func (m *model) yieldMost(s *sup) int64 {
	y := never
	for _, o := range s.offers {
		for _, t := range m.offers[o].tiers {
			y = min(y, t.cost/t.value)
		}
	}
	if y == never {
		return 0
	}
	return y
}

// price is what n packs cost in the bound.
func (b *bounder) price(o *offer, n int64) int64 {
	return o.cost(n) - b.sups[o.sup].yield*o.value(n)
}

// prepare lays a node out; false if nothing can cover its rows.
func (b *bounder) prepare(n *node, cap int) bool {
	m := b.m
	b.base = 0
	if cap > 0 {
		b.base = -n.few * int64(cap)
	}
	for i := range m.sups {
		s, st := &m.sups[i], &b.sups[i]
		st.yield, st.sum = 0, 0
		md := n.modes[i]
		if md == closed {
			continue
		}
		fixed := m.one()
		b.reachable(n, i)
		switch {
		case md&mayPay == 0:
			st.yield = n.yields[i]
			fixed += st.yield * st.free
		case md&mayFree == 0:
			fixed += s.freight
			if s.minimum > 0 {
				st.yield = n.yields[i]
				fixed += st.yield * st.least
			}
		default:
			// One price for both: whether freight is paid or the limit is reached.
			st.yield = min(s.freight/max(1, st.free-st.least), st.most)
			fixed += min(s.freight+st.yield*st.least, st.yield*st.free)
		}
		if cap > 0 {
			fixed += n.few
		}
		if md.open() {
			b.base += fixed
		} else {
			st.fixed = fixed
		}
	}
	dem := make([]int64, len(m.rows))
	b.blocks = b.blocks[:0]
	clear(b.inBlock)
	for i := range m.needs {
		b.demand(n, i, dem)
	}
	for i := range m.rows {
		dem[i] -= m.rows[i].shelf
	}
	for i := range m.offers {
		o, inc := &m.offers[i], &b.inc[i]
		inc.multi = len(o.rows) > 1
		inc.most = 0
		if n.modes[o.sup] == closed {
			if n.lo[i] > 0 {
				return false
			}
			continue
		}
		lo, hi := n.lo[i], n.hi[i]
		if lo > hi {
			return false
		}
		inc.most = hi - lo
		if lo > 0 {
			b.base += b.price(o, lo)
			for _, r := range o.rows {
				dem[r.row] -= satMul(lo, r.qty)
			}
		}
		if inc.multi && inc.most > 0 {
			b.linear(n, i)
		}
	}
	for i := range m.rows {
		if !b.inBlock[i] {
			if !b.fill(n, i, int((max(0, dem[i])+m.rows[i].unit-1)/m.rows[i].unit)) {
				return false
			}
		}
	}
	for i := range b.blocks {
		if !b.block(n, &b.blocks[i], dem) {
			return false
		}
	}
	return true
}

// reachable raises the limits of a supplier to values that whole packs can have:
// what is settled, and multiples of the largest number that divides all prices of
// what is not.
func (b *bounder) reachable(n *node, i int) {
	s, st := &b.m.sups[i], &b.sups[i]
	st.least, st.free = s.minimum, s.free
	if s.minimum == 0 && s.free == 0 {
		return
	}
	var settled, step int64
	for _, k := range s.offers {
		o := &b.m.offers[k]
		if n.lo[k] == n.hi[k] {
			settled += o.value(n.lo[k])
			continue
		}
		for _, t := range o.tiers {
			step = gcd(step, t.value)
		}
	}
	if step < 2 {
		return
	}
	up := func(limit int64) int64 {
		if limit <= settled {
			return limit
		}
		return settled + (limit-settled+step-1)/step*step
	}
	st.least, st.free = up(s.minimum), up(s.free)
}

// limit is the value that the order of a supplier must reach in a mode.
func (b *bounder) limit(i int, md mode) int64 {
	if md&^mayClose == mayFree {
		return b.sups[i].free
	}
	return b.sups[i].least
}

// demand adds what a need wants at least; of a need whose way is open, the rows
// of its own become a block.
func (b *bounder) demand(n *node, i int, dem []int64) {
	ways := b.m.needs[i].ways
	if mask := n.ways[i]; mask&(mask-1) == 0 {
		for _, d := range ways[bits.TrailingZeros64(mask)] {
			dem[d.row] += d.qty
		}
		return
	}
	bl := block{need: i}
	least := map[int]int64{}
	count := map[int]int{}
	for w, ds := range ways {
		if n.ways[i]>>w&1 == 0 {
			continue
		}
		bl.ways = append(bl.ways, w)
		for _, d := range ds {
			if b.m.rows[d.row].own == i {
				b.inBlock[d.row] = true
				continue
			}
			if count[d.row] == 0 || d.qty < least[d.row] {
				least[d.row] = d.qty
			}
			count[d.row]++
		}
	}
	for r, q := range least {
		if count[r] == len(bl.ways) {
			dem[r] += q
		}
	}
	b.blocks = append(b.blocks, bl)
}

// block lays out the rows of a need whose way is open. Ways that cannot be
// covered are left out.
func (b *bounder) block(n *node, bl *block, dem []int64) bool {
	m := b.m
	most := map[int]int{}
	for _, w := range bl.ways {
		var rs []blockRow
		for _, d := range m.needs[bl.need].ways[w] {
			if m.rows[d.row].own == bl.need {
				q := max(0, d.qty+dem[d.row])
				rs = append(rs, blockRow{d.row, int((q + m.rows[d.row].unit - 1) / m.rows[d.row].unit)})
				most[d.row] = max(most[d.row], rs[len(rs)-1].d)
			}
		}
		bl.dem = append(bl.dem, rs)
	}
	for r := range m.rows {
		if d, ok := most[r]; ok {
			b.fill(n, r, d)
		} else if b.inBlock[r] && m.rows[r].own == bl.need {
			b.fill(n, r, 0)
		}
	}
	ok := false
	for k := range bl.ways {
		reached := true
		for _, r := range bl.dem[k] {
			reached = reached && b.rows[r.row].cost[r.d] < never
		}
		ok = ok || reached
	}
	return ok
}

// linear finds a cost by the pack below the costs of an offer in several rows,
// and books what lies still below that.
func (b *bounder) linear(n *node, i int) {
	o, inc := &b.m.offers[i], &b.inc[i]
	lo, hi := n.lo[i], n.hi[i]
	start := b.price(o, lo)
	lin := never
	ends := func(visit func(packs, cost int64)) {
		visit(lo+1, b.price(o, lo+1)-start)
		visit(hi, b.price(o, hi)-start)
		for _, t := range o.tiers[1:] {
			for _, p := range [2]int64{t.from - 1, t.from} {
				if p > lo && p <= hi {
					visit(p, b.price(o, p)-start)
				}
			}
		}
	}
	ends(func(p, c int64) {
		if c < 0 {
			lin = 0
			return
		}
		lin = min(lin, c/(p-lo))
	})
	under := int64(0)
	ends(func(p, c int64) { under = min(under, c-lin*(p-lo)) })
	inc.lin = lin
	b.base += under
	// The shares keep their proportions; what rounding leaves goes to the first.
	var sum int64
	for _, r := range o.rows {
		sum += n.shares[r.slot]
	}
	if sum != lin && sum > 0 {
		from := sum
		sum = 0
		for _, r := range o.rows {
			n.shares[r.slot] = mulDiv(n.shares[r.slot], lin, from)
			sum += n.shares[r.slot]
		}
	}
	n.shares[o.rows[0].slot] += lin - sum
}

// refill works a row out again after shares of offers in several rows moved.
func (b *bounder) refill(n *node, r int) {
	row, st := &b.m.rows[r], &b.rows[r]
	if st.base < 0 {
		b.fill(n, r, st.d)
		return
	}
	for _, g := range st.live {
		if row.groups[g].multi {
			b.group(n, r, g)
		}
	}
	b.dynamic(r, st.cost, false)
}

// leastUnit is what a further pack of an offer adds to its cost at least, as part
// of any number of further packs.
func (b *bounder) leastUnit(n *node, i int) int64 {
	o := &b.m.offers[i]
	lo, hi := n.lo[i], n.hi[i]
	if len(o.tiers) == 1 {
		return b.price(o, 1)
	}
	start, least := b.price(o, lo), never
	// With breaks, the pack and all that come with it are cheapest at an end of a
	// tier; what those others would cost alone is at most the dearest tier.
	var dear int64
	for _, t := range o.tiers {
		dear = max(dear, t.cost+o.place-b.sups[o.sup].yield*t.value)
	}
	try := func(p int64) {
		if p > lo && p <= hi {
			least = min(least, b.price(o, p)-start-dear*(p-lo-1))
		}
	}
	try(lo + 1)
	try(hi)
	for _, t := range o.tiers[1:] {
		try(t.from - 1)
		try(t.from)
	}
	return least
}

// fill works out a row without shares; false if it cannot be covered.
func (b *bounder) fill(n *node, r, d int) bool {
	row, st := &b.m.rows[r], &b.rows[r]
	st.d, st.base = d, 0
	st.live = st.live[:0]
	for g := range row.groups {
		if n.modes[row.groups[g].sup] == closed {
			continue
		}
		if b.group(n, r, g) {
			st.live = append(st.live, g)
		}
		st.groups[g].share, st.groups[g].at = 0, d
	}
	b.dynamic(r, st.cost, false)
	return st.cost[d] < never
}

// group works out what pieces of a row cost at one supplier; false if it adds
// nothing.
func (b *bounder) group(n *node, r, g int) bool {
	row, st := &b.m.rows[r], &b.rows[r]
	gr := &row.groups[g]
	d := st.d
	w := st.groups[g].w[:d+1]
	w[0] = 0
	for q := 1; q <= d; q++ {
		w[q] = never
	}
	any := false
	for _, e := range row.entries[gr.from:gr.to] {
		inc := &b.inc[e.offer]
		if inc.most == 0 {
			continue
		}
		any = true
		b.add(n, row, e, w, nil)
	}
	if w[0] < 0 {
		gain := w[0]
		st.base += gain
		for q := range w {
			if w[q] < never {
				w[q] -= gain
			}
		}
	}
	return any && (d > 0 || st.base < 0)
}

// add takes an offer into the costs by pieces; with took, it notes the packs.
func (b *bounder) add(n *node, row *row, e entry, w []int64, took []int32) {
	o, inc := &b.m.offers[e.offer], &b.inc[e.offer]
	d := len(w) - 1
	pieces := int((e.qty + row.unit - 1) / row.unit)
	cover := min(inc.most, int64((d+pieces-1)/pieces))
	lo := n.lo[e.offer]
	if !inc.multi && lo == 0 && len(o.tiers) == 1 || inc.multi {
		one := n.shares[e.slot]
		if !inc.multi {
			one = b.price(o, 1)
		}
		if d == 1 {
			if cover > 0 && one < w[1] {
				w[1] = one
				if took != nil {
					took[1] = 1
				}
			}
			return
		}
		for q := d; q > 0; q-- {
			best, with := w[q], int32(0)
			for k := int64(1); k <= cover; k++ {
				left := q - int(k)*pieces
				c := k * one
				if left > 0 {
					c += w[left]
				}
				if c < best {
					best, with = c, int32(k)
				}
				if left <= 0 {
					break
				}
			}
			w[q] = best
			if took != nil {
				took[q] = with
			}
		}
		return
	}
	start := b.price(o, lo)
	for q := d; q >= 0; q-- {
		best, with := w[q], int32(0)
		try := func(k int64) {
			left := max(0, int64(q)-satMul(k, int64(pieces)))
			if c := b.price(o, lo+k) - start + w[left]; w[left] < never && c < best {
				best, with = c, int32(k)
			}
		}
		for k := int64(1); k <= cover; k++ {
			try(k)
		}
		for _, t := range o.tiers[1:] {
			if k := t.from - lo; k > cover && k <= inc.most {
				try(k)
			}
		}
		w[q] = best
		if took != nil {
			took[q] = with
		}
	}
}

// dynamic works out the best covers of a row from its groups, with the shares of
// suppliers or without.
func (b *bounder) dynamic(r int, f []int64, shares bool) {
	st := &b.rows[r]
	d := st.d
	f[0] = st.base
	for q := 1; q <= d; q++ {
		f[q] = never
	}
	for _, g := range st.live {
		gs := &st.groups[g]
		add := int64(0)
		if shares {
			add = gs.share
		}
		if d == 1 {
			gs.take[1] = 0
			if c := gs.w[1]; c < never && c+add+st.base < f[1] {
				f[1], gs.take[1] = c+add+st.base, 1
			}
			continue
		}
		w := gs.w
		for q := d; q > 0; q-- {
			best, take := f[q], int32(0)
			for u := 1; u <= q; u++ {
				if w[u] >= never {
					break
				}
				if u < q && w[u+1] == w[u] {
					continue
				}
				if c := w[u] + add + f[q-u]; f[q-u] < never && c < best {
					best, take = c, int32(u)
				}
			}
			f[q], gs.take[q] = best, take
		}
	}
}

// share sets the shares of a row from the cost that its cover is to reach, and
// works the row out with them.
func (b *bounder) share(n *node, r int) {
	row, st := &b.m.rows[r], &b.rows[r]
	d := st.d
	if d == 0 {
		st.best[0] = st.cost[0]
		return
	}
	above := max(0, n.reach[r]-st.cost[d])
	for _, g := range st.live {
		gs := &st.groups[g]
		gs.share = 0
		s := row.groups[g].sup
		if !n.modes[s].optional() {
			continue
		}
		for q := 1; q <= d && gs.w[q] < never && st.cost[q] < never; q++ {
			if x := st.cost[q] - st.base + above*int64(q)/int64(d) - gs.w[q]; x > gs.share {
				gs.share, gs.at = x, q
			}
		}
		b.sups[s].sum += gs.share
	}
	b.dynamic(r, st.best, true)
}

// evaluate is the bound under the multipliers of the node.
func (b *bounder) evaluate(n *node) int64 {
	for i := range b.sups {
		b.sups[i].sum = 0
	}
	total := b.base
	for r := range b.rows {
		b.share(n, r)
		if !b.inBlock[r] {
			total += b.rows[r].best[b.rows[r].d]
		}
	}
	for i := range b.blocks {
		total += b.settle(&b.blocks[i])
	}
	for i := range b.sups {
		if n.modes[i].optional() {
			total -= max(0, b.sups[i].sum-b.sups[i].fixed)
		}
	}
	return total
}

// settle chooses the cheapest way of a block.
func (b *bounder) settle(bl *block) int64 {
	least := never
	for k := range bl.ways {
		var c int64
		for _, r := range bl.dem[k] {
			c = satAdd(c, b.rows[r.row].best[r.d]-b.rows[r.row].base)
		}
		if c < least {
			least, bl.best = c, k
		}
	}
	for r := range b.rows {
		if b.inBlock[r] && b.m.rows[r].own == bl.need {
			least += b.rows[r].base
		}
	}
	return least
}

// pieces calls visit for every row with the pieces that its relaxed cover is for:
// all that it wants, or what the chosen way of its block wants.
func (b *bounder) pieces(visit func(r, d int)) {
	for r := range b.rows {
		if !b.inBlock[r] {
			visit(r, b.rows[r].d)
		}
	}
	for i := range b.blocks {
		bl := &b.blocks[i]
		rest := map[int]bool{}
		for _, r := range bl.dem[bl.best] {
			visit(r.row, r.d)
			rest[r.row] = true
		}
		for r := range b.rows {
			if b.inBlock[r] && b.m.rows[r].own == bl.need && !rest[r] {
				visit(r, 0)
			}
		}
	}
}

// trace finds the packs of the covers that the rows choose.
func (b *bounder) trace(n *node, onlyMulti bool) {
	clear(b.want)
	if !onlyMulti {
		clear(b.picks)
	}
	b.pieces(func(r, d int) {
		st := &b.rows[r]
		if onlyMulti && !st.multi {
			return
		}
		q := d
		for i := len(st.live) - 1; i >= 0; i-- {
			g := st.live[i]
			u := 0
			if q > 0 {
				u = int(st.groups[g].take[q])
			}
			if u > 0 || st.base < 0 {
				b.unpack(n, r, g, u)
			}
			q -= u
		}
	})
}

// unpack notes the packs by which a supplier covers pieces of a row.
func (b *bounder) unpack(n *node, r, g, d int) {
	row := &b.m.rows[r]
	gr := &row.groups[g]
	es := row.entries[gr.from:gr.to]
	w := b.knap[:d+1]
	w[0] = 0
	for q := 1; q <= d; q++ {
		w[q] = never
	}
	for len(b.knapN) < len(es) {
		b.knapN = append(b.knapN, make([]int32, len(b.knap)))
	}
	for i, e := range es {
		clear(b.knapN[i][:d+1])
		if b.inc[e.offer].most > 0 {
			b.add(n, row, e, w, b.knapN[i][:d+1])
		}
	}
	q := int64(d)
	for i := len(es) - 1; i >= 0; i-- {
		k := int64(b.knapN[i][q])
		if k == 0 {
			continue
		}
		e := es[i]
		if b.inc[e.offer].multi {
			b.want[e.slot] = k
		} else {
			b.picks[e.offer] += k
		}
		q = max(0, q-satMul(k, (e.qty+row.unit-1)/row.unit))
	}
}
