package purchase

import (
	"cmp"
	"slices"
)

// heuristic makes plans from what a bound suggests. Whatever it makes is judged
// by [model.price] and [model.covers] alone.
type heuristic struct {
	m      *model
	lo, hi []int64 // ranges that plans must keep
	open   []bool
	packs  []int64
	live   []int
	takes  [][]int32
	f      []int64
	took   [][]int32
	only   int // supplier that alone may cover a row; -1 for all that are open
	keep   []int64
	best   []int64
	moves  []move
	dear   []int64 // by supplier: what a unit of value costs at least
}

func newHeuristic(m *model) *heuristic {
	h := &heuristic{m: m, open: make([]bool, len(m.sups)), packs: make([]int64, len(m.offers)), dear: make([]int64, len(m.sups)), only: -1}
	for i := range m.sups {
		h.dear[i] = m.yieldMost(&m.sups[i])
	}
	return h
}

// row is room for the costs of a row by pieces.
func (h *heuristic) row(n int) []int64 {
	if len(h.f) < n {
		h.f = make([]int64, n)
	}
	return h.f[:n]
}

// nearby looks for plans near the relaxed covers of the node; thorough, it also
// tries to improve them.
func (s *search) nearby(n *node, thorough bool) {
	m, b, h := s.m, s.b, s.h
	ways := s.waysOf(n)
	used := make([]bool, len(m.sups))
	chosen := make([]int64, len(m.offers))
	for i := range m.offers {
		if n.modes[m.offers[i].sup] != closed {
			chosen[i] = min(s.chosen(n, i), h.hi[i])
			if chosen[i] > 0 {
				used[m.offers[i].sup] = true
			}
		}
	}
	s.take(chosen, ways)
	if s.anyLimit {
		copy(h.open, used)
		copy(h.packs, chosen)
		if h.cover(ways) {
			h.limits(s.cost, ways)
			s.take(h.packs, ways)
		}
	}
	seeds := [][]int64{chosen}
	if len(m.multi) > 0 {
		few := slices.Clone(chosen)
		for _, i := range m.multi {
			if chosen[i] == 0 {
				continue
			}
			least := never
			for _, r := range m.offers[i].rows {
				if b.rows[r.row].d > 0 {
					least = min(least, b.want[r.slot])
				}
			}
			if least < never {
				few[i] = n.lo[i] + least
			}
		}
		if !slices.Equal(few, chosen) {
			seeds = append(seeds, few)
		}
	}
	for _, seed := range seeds {
		copy(h.open, used)
		multi := make([]int64, len(m.offers))
		for _, i := range m.multi {
			multi[i] = seed[i]
		}
		cost, ok := h.build(multi, ways, s.cost)
		if !ok {
			// Not enough from these suppliers alone.
			for i := range h.open {
				h.open[i] = h.open[i] || n.modes[i] != closed
			}
			if cost, ok = h.build(multi, ways, s.cost); !ok {
				continue
			}
		}
		s.take(h.packs, ways)
		if thorough {
			s.improve(multi, ways, cost)
		}
	}
}

// improve closes and opens suppliers and moves offers in several rows while that
// gains.
func (s *search) improve(multi []int64, ways []int, cost int64) {
	m, h := s.m, s.h
	for range 8 {
		before := cost
		for i := range m.sups {
			h.open[i] = !h.open[i]
			held := make([]int64, 0, 8)
			if !h.open[i] {
				for _, o := range m.sups[i].offers {
					held = append(held, multi[o])
					multi[o] = 0
				}
			}
			c, ok := h.build(multi, ways, s.cost)
			if ok && c < cost {
				cost = c
				s.take(h.packs, ways)
				continue
			}
			h.open[i] = !h.open[i]
			for k, o := range m.sups[i].offers {
				if len(held) > 0 {
					multi[o] = held[k]
				}
			}
		}
		for _, i := range m.multi {
			if !h.open[m.offers[i].sup] {
				continue
			}
			for _, d := range [2]int64{-1, 1} {
				if multi[i]+d < h.lo[i] || multi[i]+d > h.hi[i] {
					continue
				}
				multi[i] += d
				c, ok := h.build(multi, ways, s.cost)
				if ok && c < cost {
					cost = c
					s.take(h.packs, ways)
					break
				}
				multi[i] -= d
			}
		}
		if cost >= before {
			return
		}
	}
}

// build makes a plan from open suppliers and the packs of offers in several rows,
// and gives its cost.
func (h *heuristic) build(multi []int64, ways []int, bar int64) (int64, bool) {
	m := h.m
	for i := range h.packs {
		h.packs[i] = h.lo[i]
		if len(m.offers[i].rows) > 1 {
			h.packs[i] = max(h.lo[i], multi[i])
		}
	}
	if !h.cover(ways) {
		return never, false
	}
	h.limits(bar, ways)
	return m.price(h.packs)
}

// cover covers what the packs leave open.
func (h *heuristic) cover(ways []int) bool {
	for r, q := range h.m.short(h.packs, ways) {
		if q > 0 && !h.coverRow(r, q) {
			return false
		}
	}
	return true
}

// move is a row covered by one supplier instead of those that cover it.
type move struct {
	row        int
	cost, gain int64 // what it costs more, and the value that the supplier gains
}

// limits brings orders to their limits where they have to reach them, or where
// that may come below the bar: by more packs, or by rows moved there.
func (h *heuristic) limits(bar int64, ways []int) {
	m := h.m
	for i := range m.sups {
		sp := &m.sups[i]
		if sp.minimum == 0 && sp.free == 0 {
			continue
		}
		value, used := h.value(i)
		if !used || value >= max(sp.minimum, sp.free) {
			continue
		}
		now, ok := m.price(h.packs)
		if ok && value < sp.free && now-sp.freight >= bar {
			continue // not even for nothing
		}
		h.keep = append(h.keep[:0], h.packs...)
		h.reach(i)
		cost, good := m.price(h.packs)
		h.best = append(h.best[:0], h.packs...)
		for _, least := range [2]int64{sp.minimum, sp.free} {
			if value >= least {
				continue
			}
			copy(h.packs, h.keep)
			if !h.moveTo(i, least-value, ways) {
				continue
			}
			if c, ok := m.price(h.packs); ok && (!good || c < cost) {
				cost, good = c, true
				h.best = append(h.best[:0], h.packs...)
			}
		}
		copy(h.packs, h.best)
	}
}

func (h *heuristic) value(i int) (value int64, used bool) {
	for _, o := range h.m.sups[i].offers {
		if n := h.packs[o]; n > 0 {
			used = true
			value += h.m.offers[o].value(n)
		}
	}
	return value, used
}

// moveTo covers rows from one supplier, those first where a unit of its value
// costs least, until its order has gained enough.
func (h *heuristic) moveTo(i int, lack int64, ways []int) bool {
	m := h.m
	h.moves = h.moves[:0]
	at := append([]int64(nil), h.packs...)
	for r := range m.rows {
		if c, g, ok := h.moved(r, i, at, ways); ok && g > 0 {
			h.moves = append(h.moves, move{r, c, g})
		}
		copy(h.packs, at)
	}
	// By cost for a unit gained; what is larger than needed counts as needed.
	slices.SortStableFunc(h.moves, func(a, b move) int {
		return cmp.Compare(ratio(a.cost, min(a.gain, lack)), ratio(b.cost, min(b.gain, lack)))
	})
	for _, mv := range h.moves {
		if lack <= 0 {
			break
		}
		before := append(at[:0], h.packs...)
		if _, g, ok := h.moved(mv.row, i, before, ways); ok && g > 0 {
			lack -= g
		} else {
			copy(h.packs, before)
		}
	}
	if lack > 0 {
		lack -= h.fillUp(&m.sups[i], lack, never)
	}
	return lack <= 0
}

// ratio compares costs for a unit; savings come first.
func ratio(cost, gain int64) int64 {
	if cost < 0 {
		return cost
	}
	return cost / gain
}

// moved covers a row from a supplier alone and gives what that costs more.
func (h *heuristic) moved(r, i int, at []int64, ways []int) (cost, gain int64, ok bool) {
	m := h.m
	row := &m.rows[r]
	any := false
	for _, e := range row.entries {
		o := &m.offers[e.offer]
		if len(o.rows) > 1 {
			continue
		}
		any = any || o.sup == i
		if n := at[e.offer]; n > h.lo[e.offer] {
			cost -= o.cost(n) - o.cost(h.lo[e.offer])
			if o.sup == i {
				gain -= o.value(n) - o.value(h.lo[e.offer])
			}
			h.packs[e.offer] = h.lo[e.offer]
		}
	}
	if !any {
		return 0, 0, false
	}
	q := m.shortOf(r, h.packs, ways)
	if q <= 0 {
		return 0, 0, false
	}
	h.only = i
	ok = h.coverRow(r, q)
	h.only = -1
	if !ok {
		return 0, 0, false
	}
	for _, e := range row.entries {
		o := &m.offers[e.offer]
		if n := h.packs[e.offer]; len(o.rows) == 1 && n > h.lo[e.offer] {
			cost += o.cost(n) - o.cost(h.lo[e.offer])
			if o.sup == i {
				gain += o.value(n) - o.value(h.lo[e.offer])
			}
		}
	}
	return cost, gain, true
}

// coverRow covers pieces of a row by offers in this row alone, at the least cost
// where freight does not count.
func (h *heuristic) coverRow(r int, q int64) bool {
	m := h.m
	row := &m.rows[r]
	unit := row.unit
	d := int((q + unit - 1) / unit)
	f := h.row(d + 1)
	f[0] = 0
	for x := 1; x <= d; x++ {
		f[x] = never
	}
	for len(h.took) < len(row.entries) {
		h.took = append(h.took, nil)
	}
	for i, e := range row.entries {
		if len(h.took[i]) < d+1 {
			h.took[i] = make([]int32, d+1)
		}
		took := h.took[i][:d+1]
		clear(took)
		o := &m.offers[e.offer]
		pieces := e.qty / unit
		if len(o.rows) > 1 || !h.open[o.sup] && h.only < 0 || h.only >= 0 && o.sup != h.only || pieces == 0 {
			continue
		}
		have := h.packs[e.offer]
		most := h.hi[e.offer] - have
		start := o.cost(have)
		for x := d; x > 0; x-- {
			for k := int64(1); k <= most; k++ {
				left := max(0, int64(x)-k*pieces)
				if f[left] < never {
					if c := f[left] + o.cost(have+k) - start; c < f[x] {
						f[x], took[x] = c, int32(k)
					}
				}
				if left == 0 {
					break
				}
			}
			for _, t := range o.tiers[1:] {
				if k := t.from - have; k > 0 && k <= most {
					left := max(0, int64(x)-satMul(k, pieces))
					if c := f[left] + o.cost(have+k) - start; f[left] < never && c < f[x] {
						f[x], took[x] = c, int32(k)
					}
				}
			}
		}
	}
	if f[d] >= never {
		return false
	}
	x := int64(d)
	for i := len(row.entries) - 1; i >= 0; i-- {
		if k := int64(h.took[i][x]); k > 0 {
			e := row.entries[i]
			h.packs[e.offer] += k
			x = max(0, x-satMul(k, e.qty/unit))
		}
	}
	return true
}

// reach buys more from a supplier where its least order asks for it, or where
// that costs less than the freight that it saves.
func (h *heuristic) reach(i int) {
	m := h.m
	sp := &m.sups[i]
	value, used := h.value(i)
	if !used {
		return
	}
	if value < sp.minimum {
		value += h.fillUp(sp, sp.minimum-value, never)
	}
	if sp.free > value && value >= sp.minimum {
		// A unit of value costs at least so much: mostly there is no point in it.
		if h.dear[i] == 0 || (sp.free-value) < sp.freight/h.dear[i] {
			h.fillUp(sp, sp.free-value, sp.freight)
		}
	}
}

// fillUp adds packs worth so much at the least cost, if that is below most, and
// gives the value added.
func (h *heuristic) fillUp(sp *sup, lack, most int64) int64 {
	m := h.m
	// In steps that divide all prices; where that is too fine, in coarser ones, and
	// what is then bought too much is taken back below.
	const steps = 512
	var unit int64
	for _, o := range sp.offers {
		if h.hi[o] > h.packs[o] {
			unit = gcd(unit, m.offers[o].tier(max(h.packs[o], 1)).value)
		}
	}
	unit = max(unit, (lack+steps-1)/steps)
	d := int((lack + unit - 1) / unit)
	f := h.row(d + 1)
	f[0] = 0
	for x := 1; x <= d; x++ {
		f[x] = never
	}
	took := make([][]int32, len(sp.offers))
	for k, o := range sp.offers {
		took[k] = make([]int32, d+1)
		of := &m.offers[o]
		have := h.packs[o]
		top := h.hi[o] - have
		if top <= 0 {
			continue
		}
		t := of.tier(max(have, 1))
		v := t.value / unit
		if v == 0 {
			continue
		}
		top = min(top, int64(d)/v+1)
		for x := d; x > 0; x-- {
			for n := int64(1); n <= top; n++ {
				left := max(0, int64(x)-n*v)
				if f[left] < never {
					if c := f[left] + n*(t.cost+of.place); c < f[x] {
						f[x], took[k][x] = c, int32(n)
					}
				}
				if left == 0 {
					break
				}
			}
		}
	}
	if f[d] >= most {
		return 0
	}
	var added int64
	x := int64(d)
	for k := len(sp.offers) - 1; k >= 0; k-- {
		if n := int64(took[k][x]); n > 0 {
			x = max(0, x-n*(m.offers[sp.offers[k]].tier(max(h.packs[sp.offers[k]], 1)).value/unit))
			added += h.more(sp.offers[k], n)
			took[k][0] = int32(n)
		}
	}
	for k, o := range sp.offers {
		for n := took[k][0]; n > 0; n-- {
			if back := h.more(o, -1); added+back < lack {
				h.more(o, 1)
				break
			} else {
				added += back
			}
		}
	}
	return added
}

// more adds packs of an offer and gives the value that they add.
func (h *heuristic) more(o int, n int64) int64 {
	of := &h.m.offers[o]
	before := of.value(h.packs[o])
	h.packs[o] += n
	return of.value(h.packs[o]) - before
}
