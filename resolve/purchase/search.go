package purchase

import (
	"cmp"
	"container/heap"
	"context"
	"math/bits"
	"slices"

	"github.com/shopspring/decimal"
)

// search is one branch and bound over the plans of a model.
type search struct {
	ctx   context.Context
	m     *model
	b     *bounder
	cap   int // deliveries at most; 0 for no limit
	nodes int
	most  int // nodes at most; 0 for no limit

	best *solution
	cost int64 // of best; composite
	cut  int64 // only plans with a lower key than this are looked for

	kept            multipliers
	grad, gradShare []int64
	usedBuf         []bool
	anyLimit        bool
	rise            []int64 // by offer: what the bound rises by at least with one more pack
	h               *heuristic
	open            queue
	fresh           []*node // made by the last look
	next            int     // nodes at which to dive again
	made            int     // nodes made, to tell equal ones apart
}

// question narrows a search.
type question struct {
	lo, hi []int64         // ranges of packs; nil for all that are of use
	cap    int             // deliveries at most; 0 for no limit
	below  int64           // look only for plans with a lower key; 0 for any
	key    decimal.Decimal // with count: look only for plans that cost no more than
	count  int             // this, and where equal have no more deliveries
	nodes  int
	start  *solution // a plan to begin with; nil for none
}

// outcome is what a search found.
type outcome struct {
	sol   *solution // nil: none was found
	cost  int64
	key   int64
	bound int64 // key that no plan is below; at least question.below if there is no plan
	limit Limit // what stopped the search; "" if it is proven
	nodes int
}

func (m *model) search(ctx context.Context, q question) outcome {
	s := &search{ctx: ctx, m: m, b: newBounder(m), cap: q.cap, most: q.nodes, cost: never, cut: never >> m.places,
		grad: make([]int64, len(m.rows)), gradShare: make([]int64, m.slots()), usedBuf: make([]bool, len(m.sups)), rise: make([]int64, len(m.offers))}
	s.h = newHeuristic(m)
	for i := range m.sups {
		s.anyLimit = s.anyLimit || m.sups[i].minimum > 0 || m.sups[i].free > 0
	}
	if q.below > 0 {
		s.cut = q.below
	}
	root := &node{modes: make([]mode, len(m.sups)), lo: q.lo, hi: q.hi, ways: make([]uint64, len(m.needs)),
		reach: make([]int64, len(m.rows)), shares: make([]int64, m.slots()), yields: make([]int64, len(m.sups))}
	if root.lo == nil {
		root.lo = make([]int64, len(m.offers))
	}
	if root.hi == nil {
		root.hi = make([]int64, len(m.offers))
		for i := range m.offers {
			root.hi[i] = m.offers[i].max
		}
	}
	for i := range m.sups {
		root.modes[i] = m.sups[i].modes()
	}
	for i, n := range m.needs {
		root.ways[i] = 1<<len(n.ways) - 1
	}
	m.startShares(root)
	if q.start != nil {
		s.take(q.start.packs, q.start.ways)
	}
	s.h.hi = root.hi
	s.h.lo = root.lo
	s.push(root)
	limit := Limit("")
	for s.sweep(); len(s.open) > 0; s.sweep() {
		if s.most > 0 && s.nodes >= s.most {
			limit = NodesReached
			break
		}
		if ctx.Err() != nil {
			limit = Stopped
			break
		}
		n := heap.Pop(&s.open).(*node)
		// Now and then down to the ground, for a better plan.
		dive := 0
		if s.nodes >= s.next {
			dive, s.next = 48, s.nodes+s.nodes/4+32
		}
		for ; n != nil; dive-- {
			s.nodes++
			s.fresh = s.fresh[:0]
			s.look(n)
			n = nil
			if dive > 0 && ctx.Err() == nil {
				for _, f := range s.fresh {
					if m.key(f.bound) < s.cut && (n == nil || f.bound < n.bound) {
						n = f
					}
				}
				if n != nil {
					n.taken = true
					n = n.clone()
				}
			}
		}
	}
	out := outcome{sol: s.best, cost: s.cost, limit: limit, nodes: s.nodes, bound: s.cut}
	if s.best != nil {
		out.key = m.key(s.cost)
	}
	if len(s.open) > 0 {
		out.bound = min(out.bound, m.key(s.open[0].bound))
	}
	return out
}

// sweep takes from the top of the queue what has been looked at or is beaten.
func (s *search) sweep() {
	for len(s.open) > 0 && (s.open[0].taken || s.m.key(s.open[0].bound) >= s.cut) {
		heap.Pop(&s.open)
	}
}

// startShares shares the price of an offer in several rows by what its pieces
// cost as singles.
func (m *model) startShares(n *node) {
	for _, i := range m.multi {
		o := &m.offers[i]
		price := o.cost(1)
		var sum int64
		worth := make([]int64, len(o.rows))
		for k, r := range o.rows {
			single := never
			for _, e := range m.rows[r.row].entries {
				if x := &m.offers[e.offer]; len(x.rows) == 1 {
					single = min(single, x.cost(1)/e.qty)
				}
			}
			if single == never {
				single = price / r.qty / int64(len(o.rows))
			}
			worth[k] = min(price, satMul(single, r.qty)) + 1
			sum += worth[k]
		}
		for k, r := range o.rows {
			n.shares[r.slot] = mulDiv(price, worth[k], sum)
		}
	}
}

// take keeps a plan if it is better than the best so far.
func (s *search) take(packs []int64, ways []int) {
	cost, ok := s.m.price(packs)
	if !ok {
		return
	}
	better := s.m.key(cost) < s.cut || s.best != nil && cost < s.cost
	if !better || s.cap > 0 && s.m.deliveries(packs) > s.cap || !s.m.covers(packs, ways) {
		return
	}
	s.best = &solution{packs: append([]int64(nil), packs...), ways: append([]int(nil), ways...)}
	s.cost = cost
	s.cut = min(s.cut, s.m.key(cost))
}

func (m *model) deliveries(packs []int64) int {
	k := 0
	for i := range m.sups {
		for _, o := range m.sups[i].offers {
			if packs[o] > 0 {
				k++
				break
			}
		}
	}
	return k
}

// look works on a node: bound, plans nearby, what follows for suppliers, and the
// parts into which it is cut.
func (s *search) look(n *node) {
	m, b := s.m, s.b
	steps := 24
	if s.nodes == 1 {
		steps = 160
	}
	for round := 0; ; round++ {
		if s.cap > 0 && !s.capped(n) {
			return
		}
		if !b.prepare(n, s.cap) || !s.reachable(n) {
			return
		}
		enough, upper := s.target()
		if s.nodes == 1 && round == 0 && s.best == nil {
			// A plan to measure steps by.
			b.evaluate(n)
			b.trace(n, false)
			s.nearby(n, true)
			enough, upper = s.target()
		}
		value := s.ascend(n, steps, upper, enough)
		n.bound = max(n.bound, value)
		if m.key(n.bound) >= s.cut {
			return
		}
		b.trace(n, false)
		// What is settled further down rests on the bound as it stands afterwards.
		value = s.tune(n, value)
		n.bound = max(n.bound, value)
		if m.key(n.bound) >= s.cut {
			return
		}
		s.nearby(n, s.nodes == 1 || s.nodes%64 == 0)
		if m.key(n.bound) >= s.cut {
			return
		}
		changed := s.settleSuppliers(n, value)
		s.settleOffers(n, value)
		if !changed {
			break
		}
		steps = 12
	}
	s.cutUp(n)
}

// capped closes what is left where all deliveries allowed are decided.
func (s *search) capped(n *node) bool {
	open := 0
	for _, md := range n.modes {
		if md.open() {
			open++
		}
	}
	if open > s.cap {
		return false
	}
	if open == s.cap {
		for i, md := range n.modes {
			if md.optional() {
				n.modes[i] = closed
			}
		}
	}
	return true
}

// reachable tells whether every order decided on can reach its value.
func (s *search) reachable(n *node) bool {
	for i := range s.m.sups {
		sp := &s.m.sups[i]
		if !n.modes[i].open() {
			continue
		}
		least := sp.least(n.modes[i])
		var top int64
		for _, o := range sp.offers {
			if top >= least {
				break
			}
			// More packs are never worth less than fewer, except just behind a break.
			f := &s.m.offers[o]
			v := f.value(n.hi[o])
			for _, t := range f.tiers[1:] {
				if t.from-1 <= n.hi[o] && t.from > n.lo[o] {
					v = max(v, f.value(t.from-1))
				}
			}
			top = satAdd(top, v)
		}
		if top < least {
			return false
		}
	}
	return true
}

// settleSuppliers decides suppliers whose other choice cannot beat the best plan.
func (s *search) settleSuppliers(n *node, value int64) bool {
	m, b := s.m, s.b
	if s.cut >= never>>m.places {
		return false
	}
	any := false
	for i, md := range n.modes {
		if !md.optional() {
			continue
		}
		if m.key(value+max(0, b.sups[i].fixed-b.sups[i].sum)) >= s.cut {
			n.modes[i] = closed
			any = any || b.sups[i].sum > 0
			continue
		}
		if m.key(value+s.without(n, i)) >= s.cut {
			n.modes[i] &^= mayClose
			any = true
		}
	}
	return any
}

// settleOffers takes out offers of which one more pack cannot be part of a plan
// better than the best: that pack and what it leaves of its rows to cover.
func (s *search) settleOffers(n *node, value int64) {
	m, b := s.m, s.b
	if s.cut >= never>>m.places {
		return
	}
	own := false
	for i := range m.offers {
		s.rise[i] = 0
		o, inc := &m.offers[i], &b.inc[i]
		if inc.most == 0 {
			continue
		}
		unit := inc.lin
		if !inc.multi {
			unit = b.leastUnit(n, i)
		}
		rise := unit
		known := true
		for _, q := range o.rows {
			st := &b.rows[q.row]
			if b.inBlock[q.row] {
				known = false
				break
			}
			pieces := int((q.qty + m.rows[q.row].unit - 1) / m.rows[q.row].unit)
			rise += st.best[max(0, st.d-pieces)] - st.best[st.d]
		}
		if !known {
			continue
		}
		s.rise[i] = max(0, rise)
		if m.key(value+rise) >= s.cut {
			if !own {
				n.hi, own = slices.Clone(n.hi), true
			}
			n.hi[i] = n.lo[i]
			inc.most = 0
		}
	}
}

// without is what the bound rises by at least if a supplier is closed.
func (s *search) without(n *node, i int) int64 {
	b := s.b
	gain := max(0, b.sups[i].sum-b.sups[i].fixed)
	for r := range b.rows {
		if b.inBlock[r] {
			continue
		}
		st := &b.rows[r]
		for k, g := range st.live {
			if s.m.rows[r].groups[g].sup != i {
				continue
			}
			if st.d == 0 || !s.uses(r, g) {
				break
			}
			// The row again, without this group.
			live := st.live
			rest := append(append(s.h.live[:0], live[:k]...), live[k+1:]...)
			s.h.live = rest[:0]
			st.live = rest
			f := s.h.row(st.d + 1)
			takes := s.h.takes[:0]
			for _, l := range rest {
				takes = append(takes, append([]int32(nil), st.groups[l].take[:st.d+1]...))
			}
			b.dynamic(r, f, true)
			for x, l := range rest {
				copy(st.groups[l].take, takes[x])
			}
			st.live = live
			gain = satAdd(gain, f[st.d]-st.best[st.d])
			break
		}
	}
	return gain
}

// uses tells whether the chosen cover of a row takes pieces from a group.
func (s *search) uses(r, g int) bool {
	st := &s.b.rows[r]
	q := st.d
	for i := len(st.live) - 1; i >= 0 && q > 0; i-- {
		u := int(st.groups[st.live[i]].take[q])
		if st.live[i] == g {
			return u > 0
		}
		q -= u
	}
	return false
}

// cutUp cuts a node into parts and puts them on the stack, the most promising last.
func (s *search) cutUp(n *node) {
	m, b := s.m, s.b
	// A need whose ways want what others want too: the bound knows little of it.
	for i, mask := range n.ways {
		if mask&(mask-1) != 0 && !s.private(i) {
			s.splitWays(n, i)
			return
		}
	}
	if parts, changed := s.contested(n); changed {
		s.push(n)
		return
	} else if parts != nil {
		for _, p := range parts {
			s.push(p)
		}
		return
	}
	for i, mask := range n.ways {
		if mask&(mask-1) != 0 {
			s.splitWays(n, i)
			return
		}
	}
	// An offer in several rows of which they want different numbers of packs.
	worst, at := int64(0), -1
	var packs int64
	for _, i := range m.multi {
		if b.inc[i].most == 0 {
			continue
		}
		var most, lack int64
		for _, r := range m.offers[i].rows {
			most = max(most, b.want[r.slot])
		}
		for _, r := range m.offers[i].rows {
			lack += n.shares[r.slot] * (most - b.want[r.slot])
		}
		if lack > worst {
			worst, at, packs = lack, int(i), n.lo[i]+most
		}
	}
	if at >= 0 {
		s.splitOffer(n, at, packs-1)
		return
	}
	// A row that rounding covers and the packs chosen do not.
	chosen := make([]int64, len(m.offers))
	for i := range m.offers {
		if n.modes[m.offers[i].sup] != closed {
			chosen[i] = s.chosen(n, i)
		}
	}
	short := m.short(chosen, s.waysOf(n))
	for r, q := range short {
		if q <= 0 {
			continue
		}
		pick := -1
		for _, e := range m.rows[r].entries {
			if b.inc[e.offer].most > 0 && (pick < 0 || chosen[e.offer] > n.lo[e.offer] && chosen[pick] == n.lo[pick]) {
				pick = e.offer
			}
		}
		if pick >= 0 {
			s.splitOffer(n, pick, min(chosen[pick], n.hi[pick]-1))
			return
		}
	}
	// An order that does not reach its value, or reaches it with yields too high.
	values := s.values(n)
	for pass := 0; pass < 2; pass++ {
		for i := range m.sups {
			if !n.modes[i].open() || !n.modes[i].settled() || pass == 0 && values[i] >= b.limit(i, n.modes[i]) || pass == 1 && n.yields[i] == 0 {
				continue
			}
			pick := -1
			for _, o := range m.sups[i].offers {
				if b.inc[o].most > 0 && (pick < 0 || s.rise[o] < s.rise[pick]) {
					pick = o
				}
			}
			if pick >= 0 {
				s.splitOffer(n, pick, min(chosen[pick], n.hi[pick]-1))
				return
			}
		}
	}
	// An offer in several rows whose price breaks the bound sees as a line.
	for _, i := range m.multi {
		if b.inc[i].most > 0 && len(m.offers[i].tiers) > 1 {
			s.splitOffer(n, int(i), min(chosen[i], n.hi[i]-1))
			return
		}
	}
	for i, md := range n.modes {
		if !md.settled() && (b.sups[i].sum > 0 || md.open()) {
			s.splitSupplier(n, i)
			return
		}
	}
	for i := range m.offers {
		if b.inc[i].most > 0 {
			s.splitOffer(n, i, min(chosen[i], n.hi[i]-1))
			return
		}
	}
}

func (s *search) private(i int) bool {
	for _, w := range s.m.needs[i].ways {
		for _, d := range w {
			if s.m.rows[d.row].own != i {
				return false
			}
		}
	}
	return true
}

// contested finds the supplier to decide next by trying: what bounds the parts
// would have, for the suppliers that promise most. Where a part is already beaten,
// the mode is struck out for good and no cut is needed (changed). The parts come
// with the most promising last; none if no supplier is left to decide.
func (s *search) contested(n *node) (parts []*node, changed bool) {
	m, b := s.m, s.b
	used := make([]bool, len(m.sups))
	for i := range m.offers {
		o := &m.offers[i]
		if n.modes[o.sup] != closed && !used[o.sup] && s.chosen(n, i) > 0 {
			used[o.sup] = true
		}
	}
	values := s.values(n)
	type candidate struct {
		sup   int
		score int64
	}
	var cs []candidate
	for i, md := range n.modes {
		if md.settled() || md.optional() && !used[i] && b.sups[i].sum <= b.sups[i].fixed {
			continue
		}
		c := candidate{sup: i}
		if md.optional() {
			c.score = s.without(n, i)
		}
		if md&(mayPay|mayFree) == mayPay|mayFree && used[i] {
			// What freight is more than the bound has for it.
			sp := &m.sups[i]
			c.score += sp.freight - min(sp.freight, b.sups[i].yield*max(0, sp.free-values[i]))
		}
		cs = append(cs, c)
	}
	slices.SortStableFunc(cs, func(a, b candidate) int { return cmp.Compare(b.score, a.score) })
	try := 4
	if s.nodes <= 2 {
		try = len(cs)
	}
	var best int64 = -1
	for _, c := range cs[:min(try, len(cs))] {
		var ps []*node
		least := never
		for _, md := range []mode{closed, mayFree, mayPay} {
			if n.modes[c.sup]&md == 0 {
				continue
			}
			p := n.clone()
			p.modes[c.sup] = md
			if !s.probe(p, c.sup) {
				n.modes[c.sup] &^= md
				changed = true
				continue
			}
			least = min(least, p.bound)
			ps = append(ps, p)
		}
		if len(ps) == 0 {
			n.bound = never
			return nil, true
		}
		if least > best {
			best, parts = least, ps
		}
	}
	if changed {
		return nil, true
	}
	slices.SortStableFunc(parts, func(a, b *node) int { return cmp.Compare(b.bound, a.bound) })
	return parts, false
}

// probe bounds a node with few steps; false if the node is beaten.
func (s *search) probe(n *node, i int) bool {
	m, b := s.m, s.b
	if s.cap > 0 && !s.capped(n) {
		return false
	}
	enough, upper := s.target()
	if n.modes[i]&mayPay == 0 {
		s.tuneYield(n, i)
	}
	if !b.prepare(n, s.cap) || !s.reachable(n) {
		return false
	}
	n.bound = max(n.bound, s.ascend(n, 8, upper, enough))
	return m.key(n.bound) < s.cut
}

// target is the bound that beats a node, and the cost of a plan by which steps are
// measured.
func (s *search) target() (enough, upper int64) {
	if s.cut >= never>>s.m.places {
		return never, never
	}
	return s.cut << s.m.places, s.cut<<s.m.places + s.m.one()
}

// tune sets the yields of a node one after the other where the covers chosen miss
// the limits, or overshoot them though they are paid for, and gives the bound. The
// node stays evaluated and traced.
func (s *search) tune(n *node, value int64) int64 {
	b := s.b
	for range 2 {
		before := value
		for i := range s.m.sups {
			if !n.modes[i].open() || !s.limited(n, i) {
				continue
			}
			v, least := s.values(n)[i], s.b.limit(i, n.modes[i])
			if v >= least && (n.yields[i] == 0 || v < least+least/8) {
				continue
			}
			was, shares := n.yields[i], slices.Clone(n.shares)
			s.tuneYield(n, i)
			b.prepare(n, s.cap)
			if c := b.evaluate(n); c > value {
				value = c
			} else {
				n.yields[i] = was
				copy(n.shares, shares)
				b.prepare(n, s.cap)
				value = b.evaluate(n)
			}
			b.trace(n, false)
		}
		if value <= before {
			break
		}
	}
	return value
}

// tuneYield looks for the yield at which the covers chosen just reach the limit:
// the bound is highest there.
func (s *search) tuneYield(n *node, i int) {
	b := s.b
	lo, hi := int64(0), b.sups[i].most
	best := int64(-1)
	var at int64
	shares := slices.Clone(n.shares) // low prices would wear them away
	defer func() { copy(n.shares, shares) }()
	for step := 0; step < 8 && (step == 0 || lo < hi); step++ {
		y := lo + (hi-lo)/2
		if step == 0 {
			y = hi // as far as it goes, in case not even that reaches it
		}
		n.yields[i] = y
		copy(n.shares, shares)
		if !b.prepare(n, s.cap) {
			return
		}
		v := b.evaluate(n)
		if v > best {
			best, at = v, y
		}
		b.trace(n, false)
		short := s.values(n)[i] < b.limit(i, n.modes[i])
		switch {
		case step == 0 && short:
			lo = hi
		case short:
			lo = y
		default:
			hi = y
		}
	}
	n.yields[i] = at
}

// push adds a part to look at; a beaten one is dropped.
func (s *search) push(n *node) {
	if s.m.key(n.bound) < s.cut {
		s.made++
		n.made = s.made
		heap.Push(&s.open, n)
		n.taken = false
		s.fresh = append(s.fresh, n)
	}
}

// queue holds the nodes open, the one with the lowest bound first, of equal ones
// the one made last.
type queue []*node

func (q queue) Len() int { return len(q) }
func (q queue) Less(i, j int) bool {
	return q[i].bound < q[j].bound || q[i].bound == q[j].bound && q[i].made > q[j].made
}
func (q queue) Swap(i, j int) { q[i], q[j] = q[j], q[i] }
func (q *queue) Push(x any)   { *q = append(*q, x.(*node)) }
func (q *queue) Pop() any {
	old := *q
	n := old[len(old)-1]
	old[len(old)-1] = nil
	*q = old[:len(old)-1]
	return n
}

func (s *search) splitSupplier(n *node, i int) {
	for _, md := range []mode{closed, mayFree, mayPay} {
		if n.modes[i]&md != 0 {
			c := n.clone()
			c.modes[i] = md
			s.push(c)
		}
	}
}

func (s *search) splitWays(n *node, i int) {
	chosen := s.waysOf(n)[i]
	for w := bits.Len64(n.ways[i]) - 1; w >= 0; w-- {
		if n.ways[i]>>w&1 == 1 && w != chosen {
			c := n.clone()
			c.ways = slices.Clone(n.ways)
			c.ways[i] = 1 << w
			s.push(c)
		}
	}
	c := n.clone()
	c.ways = slices.Clone(n.ways)
	c.ways[i] = 1 << chosen
	s.push(c)
}

// splitOffer cuts at a number of packs: up to it, and above.
func (s *search) splitOffer(n *node, i int, at int64) {
	a, b := n.clone(), n.clone()
	a.hi, b.lo = slices.Clone(n.hi), slices.Clone(n.lo)
	a.hi[i], b.lo[i] = at, at+1
	s.push(a)
	s.push(b)
}

// waysOf is the way of each need in the relaxed covers.
func (s *search) waysOf(n *node) []int {
	ways := make([]int, len(n.ways))
	for i, mask := range n.ways {
		ways[i] = bits.TrailingZeros64(mask)
	}
	for i := range s.b.blocks {
		bl := &s.b.blocks[i]
		ways[bl.need] = bl.ways[bl.best]
	}
	return ways
}
