package purchase

// whole is one in the arithmetic of the ascent, which reckons in fractions of it.
const whole = 1024

// multipliers are those of a node, kept while others are tried.
type multipliers struct {
	reach, shares, yields []int64
	few                   int64
}

func (k *multipliers) keep(n *node) {
	k.reach = append(k.reach[:0], n.reach...)
	k.shares = append(k.shares[:0], n.shares...)
	k.yields = append(k.yields[:0], n.yields...)
	k.few = n.few
}

func (k *multipliers) give(n *node) {
	copy(n.reach, k.reach)
	copy(n.shares, k.shares)
	copy(n.yields, k.yields)
	n.few = k.few
}

// ascend improves the multipliers of a prepared node by subgradient steps and
// leaves the node evaluated with the best ones. It stops early once the bound
// reaches enough. The length of a step follows the distance to upper, the cost of
// a plan if one is known (Polyak's rule), and halves where nothing is gained.
func (s *search) ascend(n *node, steps int, upper, enough int64) int64 {
	b, m := s.b, s.m
	for r := range b.rows {
		if c := b.rows[r].cost[b.rows[r].d]; c < never {
			n.reach[r] = max(n.reach[r], c)
		}
	}
	value := b.evaluate(n)
	best := value
	s.kept.keep(n)
	grad, gradShare := s.grad, s.gradShare
	half, stall := int64(512), 0 // the step's factor in 1/256
	moved := false
	for step := 1; step <= steps && best < enough; step++ {
		var norm int64
		clear(grad)
		used := 0
		b.pieces(func(r, d int) {
			if d == 0 {
				return
			}
			st := &b.rows[r]
			if st.best[st.d] < n.reach[r] {
				n.reach[r] = st.best[st.d]
			}
			g := int64(whole)
			for _, l := range st.live {
				gs := &st.groups[l]
				if gs.share > 0 && b.sups[m.rows[r].groups[l].sup].sum > b.sups[m.rows[r].groups[l].sup].fixed {
					g -= whole * int64(gs.at) / int64(st.d)
				}
			}
			grad[r] = g
			norm += g * g
		})
		if len(m.multi) > 0 {
			b.trace(n, true)
			for _, i := range m.multi {
				if b.inc[i].most == 0 {
					continue
				}
				o := &m.offers[i]
				var sum int64
				for _, r := range o.rows {
					sum += b.want[r.slot]
				}
				k := int64(len(o.rows))
				for _, r := range o.rows {
					g := whole * (b.want[r.slot]*k - sum) / k
					gradShare[r.slot] = g
					norm += g * g / s.packsFor(int(i))
				}
			}
		}
		if s.cap > 0 {
			used = s.usedSuppliers(n)
			g := int64(used-s.cap) * whole
			norm += g * g
		}
		yields := step%4 == 0 && s.limits(n)
		if norm == 0 && !yields {
			break
		}
		gap := upper - value
		if upper >= never {
			gap = value/16 + whole
		}
		gap = max(gap, 1)
		scale := mulDiv(gap, half, 256)
		by := func(g int64) int64 {
			if g < 0 {
				return -mulDiv(scale, -g*whole, norm)
			}
			return mulDiv(scale, g*whole, norm)
		}
		if norm > 0 {
			for r, g := range grad {
				if g != 0 {
					n.reach[r] = max(0, n.reach[r]+by(g))
				}
			}
			if s.cap > 0 {
				n.few = max(0, n.few+by(int64(used-s.cap)*whole))
			}
			for _, i := range m.multi {
				if b.inc[i].most > 0 {
					s.reshare(n, int(i), by)
				}
			}
		}
		if yields {
			s.stepYields(n, scale)
		}
		if yields || s.cap > 0 {
			b.prepare(n, s.cap)
		} else if len(m.multi) > 0 {
			for r := range b.rows {
				if b.rows[r].multi {
					b.refill(n, r)
				}
			}
		}
		for r := range b.rows {
			if c := b.rows[r].cost[b.rows[r].d]; c < never {
				n.reach[r] = max(n.reach[r], c)
			}
		}
		value = b.evaluate(n)
		moved = true
		if value > best {
			best, moved, stall = value, false, 0
			s.kept.keep(n)
			continue
		}
		if stall++; stall >= 3 {
			half, stall = half*5/8, 0
			if half < 4 {
				break
			}
		}
	}
	if moved {
		s.kept.give(n)
		b.prepare(n, s.cap)
		best = b.evaluate(n)
	}
	return best
}

// reshare moves the shares of an offer along the subgradient and keeps their sum.
func (s *search) reshare(n *node, i int, by func(int64) int64) {
	o := &s.m.offers[i]
	var sum int64
	for _, r := range o.rows {
		if g := s.gradShare[r.slot]; g != 0 {
			n.shares[r.slot] = max(0, n.shares[r.slot]+by(g)/s.packsFor(i))
		}
		sum += n.shares[r.slot]
	}
	lin := s.b.inc[i].lin
	// What is too much or too little is spread evenly.
	for k, r := range o.rows {
		left := int64(len(o.rows) - k)
		d := (lin - sum) / left
		if k == len(o.rows)-1 {
			d = lin - sum
		}
		if d == 0 {
			continue
		}
		d = max(d, -n.shares[r.slot])
		n.shares[r.slot] += d
		sum += d
	}
	if sum > lin {
		for _, r := range o.rows {
			cut := min(n.shares[r.slot], sum-lin)
			n.shares[r.slot] -= cut
			sum -= cut
		}
	}
}

// packsFor is how many packs of an offer a row can take, by which its share is
// scaled: multipliers that matter alike should move alike.
func (s *search) packsFor(i int) int64 {
	var most int64 = 1
	for _, q := range s.m.offers[i].rows {
		pieces := (q.qty + s.m.rows[q.row].unit - 1) / s.m.rows[q.row].unit
		most = max(most, (int64(s.b.rows[q.row].d)+pieces-1)/pieces)
	}
	return most
}

// limits tells whether any order of the node has a value to reach by yields.
func (s *search) limits(n *node) bool {
	for i := range s.m.sups {
		if s.limited(n, i) {
			return true
		}
	}
	return false
}

func (s *search) limited(n *node, i int) bool {
	md, sp := n.modes[i], &s.m.sups[i]
	switch {
	case md == closed:
		return false
	case md&mayPay == 0:
		return true
	}
	return md&mayFree == 0 && sp.minimum > 0
}

// stepYields moves the yields by how far the values chosen are from the limits.
func (s *search) stepYields(n *node, scale int64) {
	b, m := s.b, s.m
	b.trace(n, false)
	values := s.values(n)
	for i := range m.sups {
		if !s.limited(n, i) {
			continue
		}
		if n.modes[i].optional() && values[i] == 0 {
			continue
		}
		lack := b.limit(i, n.modes[i]) - values[i]
		if lack == 0 {
			continue
		}
		size := lack
		if size < 0 {
			size = -size
		}
		step := mulDiv(scale, 1, 2*size)
		most := b.sups[i].most
		step = min(step, most/4)
		if lack < 0 {
			step = -step
		}
		n.yields[i] = min(most, max(0, n.yields[i]+step))
	}
}

// values are what the chosen covers are worth at each supplier.
func (s *search) values(n *node) []int64 {
	v := make([]int64, len(s.m.sups))
	for i := range s.m.offers {
		o := &s.m.offers[i]
		if n.modes[o.sup] != closed {
			if k := s.chosen(n, i); k > 0 {
				v[o.sup] += o.value(k)
			}
		}
	}
	return v
}

// chosen is how many packs of an offer the traced covers come to; of an offer in
// several rows the most that one of them wants.
func (s *search) chosen(n *node, i int) int64 {
	o := &s.m.offers[i]
	k := n.lo[i]
	if len(o.rows) == 1 {
		return k + s.b.picks[i]
	}
	var most int64
	for _, r := range o.rows {
		most = max(most, s.b.want[r.slot])
	}
	return k + most
}

// usedSuppliers counts the orders of the relaxed covers, those decided included.
func (s *search) usedSuppliers(n *node) int {
	b := s.b
	used := s.usedBuf
	clear(used)
	for i, md := range n.modes {
		used[i] = md.open()
	}
	// Shares in excess stand for an order, as in the gradient of the rows.
	for i := range b.sups {
		if n.modes[i].optional() && b.sups[i].sum > b.sups[i].fixed {
			used[i] = true
		}
	}
	k := 0
	for _, u := range used {
		if u {
			k++
		}
	}
	return k
}
