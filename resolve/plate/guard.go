package plate

import (
	"math/bits"

	"platewright/catalog"
)

// Guard tells which slips in the fields that mean the variant the check
// characters of a layout catch, whatever else stands on the plate. It is safe for
// concurrent use; nil guards
// nothing.
type Guard struct {
	l    *Layout
	lays map[int][]lay // by the length of the variant's text
	cut  map[int]bool  // lengths with more ways than are gone through
}

// lay is one way in which the fields of a layout can have their widths.
type lay struct {
	key    []uint8 // place of each character of the variant's text
	sets   []Set   // what can stand at each place
	checks []guardCheck
}

type guardCheck struct {
	*Check
	idx []uint8 // places covered, without those of the check characters
}

// maxStates is how many states the largest scheme has.
const maxStates = 97

// maxLays bounds the ways that are gone through for one length.
const maxLays = 256

// NewGuard makes a layout ready for the question.
func NewGuard(l *Layout) *Guard {
	g := &Guard{l: l, lays: map[int][]lay{}, cut: map[int]bool{}}
	if len(l.checks) == 0 {
		return g
	}
	a := aligned{l: l}
	left := 16 * maxLays
	var walk func(i, pos int)
	walk = func(i, pos int) {
		if i == len(l.fields) {
			a.at[i], a.n = uint8(pos), pos
			g.add(&a)
			return
		}
		f := &l.fields[i]
		a.at[i] = uint8(pos)
		for w := f.max; w >= 0 && left > 0; w-- {
			if w < f.min && (w > 0 || !f.optional) {
				continue
			}
			left--
			walk(i+1, pos+w)
			a.at[i] = uint8(pos)
		}
	}
	walk(0, 0)
	if left == 0 {
		// A way that was not gone through can be one that lets a slip pass.
		g.lays = map[int][]lay{}
	}
	return g
}

func (g *Guard) add(a *aligned) {
	var x lay
	for i := range g.l.fields {
		f := &g.l.fields[i]
		from, to := a.places(i)
		for p := from; p < to; p++ {
			x.sets = append(x.sets, f.at(p-from))
			if f.row.Means == catalog.MeansVariant {
				x.key = append(x.key, uint8(p))
			}
		}
	}
	for k := range g.l.checks {
		c := &g.l.checks[k]
		var buf [MaxPlaces]uint8
		if idx := a.order(c, &buf); idx != nil {
			x.checks = append(x.checks, guardCheck{c.Check, append([]uint8(nil), idx[:len(idx)-c.width]...)})
		}
	}
	n := len(x.key)
	if len(g.lays[n]) == maxLays {
		g.cut[n] = true
		return
	}
	g.lays[n] = append(g.lays[n], x)
}

// Catches tells whether, with all else on the plate read right, the check
// characters that are right for the one text are wrong for the other, whatever
// that else is. Of texts of different length, which move the other fields,
// nothing is claimed (L1), and neither where the plate can be without the check
// character.
func (g *Guard) Catches(a, b string) bool {
	if g == nil || len(a) != len(b) || g.cut[len(a)] {
		return false
	}
	some := false
	for i := range g.lays[len(a)] {
		x := &g.lays[len(a)][i]
		if !x.holds(a) || !x.holds(b) {
			continue
		}
		if some = x.catches(a, b); !some {
			return false
		}
	}
	return some
}

func (x *lay) holds(text string) bool {
	for i, p := range x.key {
		if !x.sets[p].Has(text[i]) {
			return false
		}
	}
	return true
}

func (x *lay) catches(a, b string) bool {
	var one, other [MaxPlaces]Set
	copy(one[:], x.sets)
	copy(other[:], x.sets)
	for i, p := range x.key {
		one[p], other[p] = 1<<(a[i]-lowest), 1<<(b[i]-lowest)
	}
	for i := range x.checks {
		if x.checks[i].tells(&one, &other) {
			return true
		}
	}
	return false
}

// tells tells whether no plate with the one and no plate with the other has the
// same check characters. It follows both through the states of the scheme, an
// open place being the same character on both. From one and the same state, each
// character leads to a state that no other state leads to, in every scheme: so
// what is apart behind the last place at which the two differ is apart for good.
func (c *guardCheck) tells(one, other *[MaxPlaces]Set) bool {
	c.tables.Do(c.tabulate)
	first, last := -1, -1
	for i, p := range c.idx {
		if one[p] != other[p] {
			if last = i; first < 0 {
				first = i
			}
		}
	}
	if first < 0 {
		return false // it does not cover what was misread
	}
	n := len(c.idx)
	row := func(i, s int) []uint8 { return c.next[c.kind(i, n)][s<<6:][:64] }
	each := func(s states, do func(s int)) {
		for w, word := range s {
			for ; word != 0; word &= word - 1 {
				do(w<<6 + bits.TrailingZeros64(word))
			}
		}
	}
	var reach states
	reach.add(c.start)
	for i := range first {
		var to states
		each(reach, func(s int) {
			for rest := uint64(one[c.idx[i]]); rest != 0; rest &= rest - 1 {
				if next := row(i, s)[bits.TrailingZeros64(rest)]; next != none {
					to.add(int(next))
				}
			}
		})
		reach = to
	}
	// For each state of the one, the states of the other that go with it.
	var with [maxStates]states
	each(reach, func(s int) { with[s].add(s) })
	for i := first; i <= last; i++ {
		var to [maxStates]states
		p := c.idx[i]
		for s := range c.mod {
			each(with[s], func(t int) {
				for rest := uint64(one[p]); rest != 0; rest &= rest - 1 {
					at := bits.TrailingZeros64(rest)
					and := at
					if one[p] != other[p] {
						and = bits.TrailingZeros64(uint64(other[p]))
					}
					x, y := row(i, s)[at], row(i, t)[and]
					if x != none && y != none {
						to[x].add(int(y))
					}
				}
			})
		}
		with = to
	}
	for s := range c.mod {
		if with[s].has(s) {
			return false
		}
	}
	return true
}
