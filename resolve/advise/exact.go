package advise

import (
	"encoding/binary"
	"math"
	"math/bits"
	"slices"
)

// maxBits bounds groups, checks and open goals of the solver, which keeps sets of
// them in machine words.
const maxBits = 64

// tie is the relative difference below which two efforts count as equal, well
// above what rounding does to them.
const tie = 1e-10

// solver is the exact search, and the exact rule of leaves, for up to maxBits
// groups, checks and open goals.
type solver struct {
	n      int
	m      int
	prior  []float64
	checks []solverCheck
	clean  [][]uint64 // [w][u]: checks in which w gives one answer and u cannot give it
	goals  []solverGoal

	// The probabilities of the groups left are their priors times a ratio each,
	// which is 1 for all as long as every answer was the only possible one.
	ratios  [][]float64 // by number; the first is 1 for all
	ratioOf map[string]int32

	nodes   map[position]*node
	bounds  map[[2]uint64]float64
	settles map[uint64]uint64
	left    int // states that the budget still allows
}

type solverCheck struct {
	effort, unseen float64
	kind           []int32  // of each group
	alike          []uint64 // the groups of each kind
	several        uint64   // the groups that can give several answers
	answers        []solverAnswer
}

type solverAnswer struct {
	name int32     // index in check.answers
	can  uint64    // the groups that can give it
	only uint64    // the groups that give it and no other
	p    []float64 // for each group
}

type solverGoal struct {
	silent  uint64 // the groups that do not speak of it
	classes []solverClass
}

// solverClass is a class of outcomes: the groups that have it, and for each slot
// the groups that share a choice, largest sets only.
type solverClass struct {
	has   uint64
	slots [][]uint64
}

// position is a state of the search: the groups left, the checks not made that
// tell some of them apart, and the number of their ratios.
type position struct {
	groups, checks uint64
	ratio          int32
}

// node is what is known of a position. Values are expected efforts times the mass
// of the position, prior times ratio summed.
type node struct {
	lo, hi float64
	best   int // the check of hi, -1 for none yet
	leaf   bool
}

func (n *node) solved() bool { return n.leaf || n.lo >= n.hi }

func newSolver(m *model) *solver {
	if len(m.groups) > maxBits || len(m.checks) > maxBits || len(m.goals) > maxBits {
		return nil
	}
	s := &solver{
		n: len(m.groups), m: len(m.checks),
		ratioOf: map[string]int32{}, nodes: map[position]*node{}, bounds: map[[2]uint64]float64{}, settles: map[uint64]uint64{},
	}
	one := make([]float64, s.n)
	for i, g := range m.groups {
		s.prior = append(s.prior, g.weight)
		one[i] = 1
	}
	s.ratios = [][]float64{one}
	for ci := range m.checks {
		c := &m.checks[ci]
		sc := solverCheck{effort: c.effort, unseen: c.unseen, alike: make([]uint64, len(c.kinds)), answers: make([]solverAnswer, len(c.answers))}
		for a := range sc.answers {
			sc.answers[a].name, sc.answers[a].p = int32(a), make([]float64, s.n)
		}
		for w, g := range m.groups {
			k := &c.kinds[g.kind[ci]]
			sc.kind = append(sc.kind, g.kind[ci])
			sc.alike[g.kind[ci]] |= 1 << w
			if len(k.answers) > 1 {
				sc.several |= 1 << w
			} else {
				sc.answers[k.answers[0]].only |= 1 << w
			}
			for i, a := range k.answers {
				sc.answers[a].can |= 1 << w
				sc.answers[a].p[w] = k.p[i]
			}
		}
		sc.answers = slices.DeleteFunc(sc.answers, func(a solverAnswer) bool { return a.can == 0 })
		s.checks = append(s.checks, sc)
	}
	for w := range s.n {
		row := make([]uint64, s.n)
		for c := range s.checks {
			for _, a := range s.checks[c].answers {
				if a.only&(1<<w) != 0 {
					for u := range s.n {
						if a.can&(1<<u) == 0 {
							row[u] |= 1 << c
						}
					}
				}
			}
		}
		s.clean = append(s.clean, row)
	}
	for g := range m.goals {
		s.goals = append(s.goals, newSolverGoal(m, g))
	}
	return s
}

func newSolverGoal(m *model, g int) solverGoal {
	var out solverGoal
	at := map[int32]int{}
	sets := map[int32][]map[int32]uint64{}
	for w := range m.groups {
		o := m.groups[w].outcomes[g]
		if o.class == silent {
			out.silent |= 1 << w
			continue
		}
		if !o.settles() {
			continue
		}
		i, ok := at[o.class]
		if !ok {
			i = len(out.classes)
			at[o.class] = i
			out.classes = append(out.classes, solverClass{slots: make([][]uint64, len(o.slots))})
			for range o.slots {
				sets[o.class] = append(sets[o.class], map[int32]uint64{})
			}
		}
		c := &out.classes[i]
		c.has |= 1 << w
		for slot, choices := range o.slots {
			for _, ch := range choices {
				sets[o.class][slot][ch] |= 1 << w
			}
		}
	}
	for class, i := range at {
		for slot, of := range sets[class] {
			var list []uint64
			for _, set := range of {
				list = append(list, set)
			}
			slices.SortFunc(list, func(a, b uint64) int { return bits.OnesCount64(b) - bits.OnesCount64(a) })
			var largest []uint64
			for _, set := range list {
				if !slices.ContainsFunc(largest, func(l uint64) bool { return set&^l == 0 }) {
					largest = append(largest, set)
				}
			}
			out.classes[i].slots[slot] = largest
		}
	}
	return out
}

func (g *solverGoal) settledBy(set uint64) bool {
	if set &^= g.silent; set == 0 {
		return false
	}
	for i := range g.classes {
		c := &g.classes[i]
		if set&^c.has != 0 {
			continue
		}
		for _, slot := range c.slots {
			if !slices.ContainsFunc(slot, func(l uint64) bool { return set&^l == 0 }) {
				return false
			}
		}
		return true
	}
	return false
}

// settled gives the goals that the groups settle, as a set.
func (s *solver) settled(set uint64) uint64 {
	out, ok := s.settles[set]
	if !ok {
		for i := range s.goals {
			if s.goals[i].settledBy(set) {
				out |= 1 << i
			}
		}
		s.settles[set] = out
	}
	return out
}

func full(n int) uint64 {
	if n == 64 {
		return math.MaxUint64
	}
	return 1<<n - 1
}

func (s *solver) root() position { return position{full(s.n), s.useful(full(s.n), full(s.m)), 0} }

// useful keeps the checks that some of the groups answer differently.
func (s *solver) useful(groups, checks uint64) uint64 {
	if groups == 0 {
		return 0
	}
	first := bits.TrailingZeros64(groups)
	for b := checks; b != 0; b &= b - 1 {
		c := bits.TrailingZeros64(b)
		if groups&^s.checks[c].alike[s.checks[c].kind[first]] == 0 {
			checks &^= 1 << c
		}
	}
	return checks
}

// maxEnds bounds the sets that the rule of leaves follows for one group. Without
// answers that overlap there is one; 2^12 is every set of twelve groups.
const maxEnds = 1 << 12

// reach gives those of the wanted goals that some answers to the checks settle,
// or as soon as there is one if any is enough. By what it leaves undecided beyond
// maxEnds it can say too little, which it tells.
func (s *solver) reach(groups, checks, want uint64, any bool) (got uint64, all bool) {
	all = true
	for ws := groups; ws != 0; ws &= ws - 1 {
		w := bits.TrailingZeros64(ws)
		if s.settled(1<<w)&want&^got == 0 {
			continue
		}
		// What is left if w is the true one and the answers are those that
		// exclude most. Where two answers exclude different groups, both ways are
		// followed.
		sure := groups
		for us := groups; us != 0; us &= us - 1 {
			if u := bits.TrailingZeros64(us); s.clean[w][u]&checks != 0 {
				sure &^= 1 << u
			}
		}
		ends := []uint64{sure}
		for b := checks; b != 0; b &= b - 1 {
			c := &s.checks[bits.TrailingZeros64(b)]
			if c.several&(1<<w) == 0 {
				continue
			}
			var next []uint64
			for _, e := range ends {
				var ways []uint64
				for i := range c.answers {
					if c.answers[i].can&(1<<w) != 0 {
						ways = append(ways, e&c.answers[i].can)
					}
				}
				slices.SortFunc(ways, func(x, y uint64) int { return bits.OnesCount64(x) - bits.OnesCount64(y) })
				kept := ways[:0]
				for _, way := range ways {
					if !slices.ContainsFunc(kept, func(k uint64) bool { return k&^way == 0 }) {
						kept = append(kept, way)
					}
				}
				next = append(next, kept...)
			}
			slices.Sort(next)
			ends = slices.Compact(next)
			if len(ends) > maxEnds {
				ends, all = ends[:maxEnds], false
			}
		}
		for _, e := range ends {
			got |= s.settled(e) & want
		}
		if any && got != 0 || got == want {
			return got, true
		}
	}
	return got, all
}

// leaf tells whether nothing more can be settled. Where that was not found out
// it is no leaf as long as a check is left.
func (s *solver) leaf(groups, checks uint64) bool {
	if checks == 0 {
		return true
	}
	want := full(len(s.goals)) &^ s.settled(groups)
	if want == 0 {
		return true
	}
	got, all := s.reach(groups, checks, want, true)
	return got == 0 && all
}

// mass gives prior times ratio of the groups summed.
func (s *solver) mass(groups uint64, ratio []float64) float64 {
	sum := 0.0
	for b := groups; b != 0; b &= b - 1 {
		w := bits.TrailingZeros64(b)
		sum += s.prior[w] * ratio[w]
	}
	return sum
}

// unseen gives the position after a check that could not be made out.
func (s *solver) unseen(p position, c int) position {
	p.checks = s.useful(p.groups, p.checks&^(1<<c))
	return p
}

// answer gives the position after an answer, and the factor by which its ratios
// stand for more than they are.
func (s *solver) answer(p position, c, a int) (position, float64) {
	ans := &s.checks[c].answers[a]
	out := position{groups: p.groups & ans.can}
	out.checks = s.useful(out.groups, p.checks&^(1<<c))
	if p.ratio == 0 && out.groups&s.checks[c].several == 0 {
		return out, 1
	}
	ratio := make([]float64, s.n)
	largest := 0.0
	for b := out.groups; b != 0; b &= b - 1 {
		w := bits.TrailingZeros64(b)
		ratio[w] = s.ratios[p.ratio][w] * ans.p[w]
		largest = max(largest, ratio[w])
	}
	// Ratios that differ only by rounding are one.
	key := binary.LittleEndian.AppendUint64(nil, out.groups)
	alike := true
	for b := out.groups; b != 0; b &= b - 1 {
		w := bits.TrailingZeros64(b)
		ratio[w] /= largest
		if 1-ratio[w] < 1e-12 {
			ratio[w] = 1
		} else {
			alike = false
		}
		key = binary.LittleEndian.AppendUint64(key, rounded(ratio[w]))
	}
	if alike {
		return out, largest
	}
	n, ok := s.ratioOf[string(key)]
	if !ok {
		n = int32(len(s.ratios))
		s.ratioOf[string(key)] = n
		s.ratios = append(s.ratios, ratio)
	}
	out.ratio = n
	return out, largest
}

// rounded gives a number's bits to 40 binary digits.
func rounded(f float64) uint64 { return (math.Float64bits(f) + 1<<11) &^ (1<<12 - 1) }

// bound gives a lower bound of the value of a position: the effort of the runs in
// which every check is seen and the true group is of live, whose answers are each
// the only one that it can give, all other runs being free. It is worked out as
// if all checks were there, and holds where those that are there exclude, for
// the groups of live, all that all checks would.
func (s *solver) bound(groups, live uint64) float64 {
	key := [2]uint64{groups, live}
	if v, ok := s.bounds[key]; ok {
		return v
	}
	v := 0.0
	if s.liveOpen(groups, live) {
		mass := s.mass(live, s.ratios[0])
		checks := s.useful(groups, full(s.m))
		if len(s.bounds) >= maxBounds {
			return mass * s.checks[bits.TrailingZeros64(checks)].effort
		}
		v = math.Inf(1)
		for b := checks; b != 0; b &= b - 1 {
			c := &s.checks[bits.TrailingZeros64(b)]
			cost, idle := c.effort*mass, false
			for i := range c.answers {
				g, l := groups&c.answers[i].can, live&c.answers[i].only
				if l == 0 {
					continue
				}
				if g == groups && l == live {
					idle = true
					break
				}
				if cost >= v {
					break
				}
				cost += (1 - c.unseen) * s.bound(g, l)
			}
			if idle {
				// It leads back here, less what is free because it was not seen:
				// made again and again until then, it costs this.
				if c.unseen == 0 {
					continue
				}
				cost = c.effort * mass / c.unseen
			}
			v = min(v, cost)
		}
		if math.IsInf(v, 1) {
			v = 0
		}
	}
	s.bounds[key] = v
	return v
}

// liveOpen tells whether some group of live could settle more by its only
// answers.
func (s *solver) liveOpen(groups, live uint64) bool {
	settled := s.settled(groups)
	for b := live; b != 0; b &= b - 1 {
		w := bits.TrailingZeros64(b)
		end := uint64(0)
		for us := groups; us != 0; us &= us - 1 {
			if u := bits.TrailingZeros64(us); s.clean[w][u] == 0 {
				end |= 1 << u
			}
		}
		if s.settled(end)&^settled != 0 {
			return true
		}
	}
	return false
}

// allThere tells whether the checks exclude, for every group of live, all that
// all checks would.
func (s *solver) allThere(groups, live, checks uint64) bool {
	for b := live; b != 0; b &= b - 1 {
		w := bits.TrailingZeros64(b)
		for us := groups; us != 0; us &= us - 1 {
			if u := bits.TrailingZeros64(us); s.clean[w][u] != 0 && s.clean[w][u]&checks == 0 {
				return false
			}
		}
	}
	return true
}

// node gives what is known of a position, at first its lower bound.
func (s *solver) node(p position) *node {
	if n, ok := s.nodes[p]; ok {
		return n
	}
	n := &node{best: -1, hi: math.Inf(1)}
	s.nodes[p] = n
	if s.leaf(p.groups, p.checks) {
		n.leaf, n.hi = true, 0
		return n
	}
	ratio := s.ratios[p.ratio]
	cheapest := s.checks[bits.TrailingZeros64(p.checks)].effort // they are in order of effort
	n.lo = cheapest * s.mass(p.groups, ratio)
	live, smallest := uint64(0), 1.0
	for b := p.groups; b != 0; b &= b - 1 {
		w := bits.TrailingZeros64(b)
		if ratio[w] == 1 {
			live |= 1 << w
		}
		smallest = min(smallest, ratio[w])
	}
	if s.allThere(p.groups, live, p.checks) {
		n.lo = max(n.lo, s.bound(p.groups, live))
	}
	if live != p.groups && s.allThere(p.groups, p.groups, p.checks) {
		n.lo = max(n.lo, smallest*s.bound(p.groups, p.groups))
	}
	return n
}

// maxBounds is how many bounds are worked out in full; beyond it they are the
// cheapest check's, so that a budget of states bounds the whole work.
const maxBounds = 1 << 15

// option is a check that could be made at a position.
type option struct {
	check int
	own   float64 // the effort of the check itself
	kids  []kid
	lo    float64
}

type kid struct {
	node   *node
	at     position
	weight float64
}

func (o *option) update() {
	o.lo = o.own
	for i := range o.kids {
		o.lo += o.kids[i].weight * o.kids[i].node.lo
	}
}

func (o *option) solved() bool {
	return !slices.ContainsFunc(o.kids, func(k kid) bool { return !k.node.solved() })
}

// options lists the checks that could come next. Of checks that tell the groups
// left apart in the same way and are as likely to be seen, only the first is
// needed: in any plan that makes another one before it, the two can change places.
func (s *solver) options(p position) []option {
	mass := s.mass(p.groups, s.ratios[p.ratio])
	var out []option
	for b := p.checks; b != 0; b &= b - 1 {
		c := bits.TrailingZeros64(b)
		if slices.ContainsFunc(out, func(o option) bool { return s.twins(p.groups, o.check, c) }) {
			continue
		}
		o := option{check: c, own: s.checks[c].effort * mass}
		for a := range s.checks[c].answers {
			if s.checks[c].answers[a].can&p.groups == 0 {
				continue
			}
			at, scale := s.answer(p, c, a)
			if n := s.node(at); !n.leaf {
				o.kids = append(o.kids, kid{n, at, (1 - s.checks[c].unseen) * scale})
			}
		}
		// What weighs most is solved first; not being seen comes last.
		slices.SortStableFunc(o.kids, func(x, y kid) int {
			switch dx, dy := x.weight*x.node.lo, y.weight*y.node.lo; {
			case dx > dy:
				return -1
			case dx < dy:
				return 1
			}
			return 0
		})
		if s.checks[c].unseen > 0 {
			at := s.unseen(p, c)
			if n := s.node(at); !n.leaf {
				o.kids = append(o.kids, kid{n, at, s.checks[c].unseen})
			}
		}
		o.update()
		out = append(out, o)
	}
	slices.SortStableFunc(out, func(x, y option) int {
		switch {
		case x.lo < y.lo:
			return -1
		case x.lo > y.lo:
			return 1
		}
		return 0
	})
	return out
}

func (s *solver) twins(groups uint64, c, d int) bool {
	x, y := &s.checks[c], &s.checks[d]
	if x.unseen != y.unseen || (x.several|y.several)&groups != 0 {
		return false
	}
	for i := range x.answers {
		set := x.answers[i].can & groups
		if set == 0 {
			continue
		}
		k := y.kind[bits.TrailingZeros64(set)]
		if y.alike[k]&groups != set {
			return false
		}
	}
	return true
}

// solve works out the value of a position, or that it is not below cut.
func (s *solver) solve(p position, cut float64) *node {
	n := s.node(p)
	if n.solved() || n.lo >= cut || s.left <= 0 {
		return n
	}
	s.left--
	opts := s.options(p)
	// An option must stay below this to win against the best one: by more than a
	// tie, or a tie and come first.
	target := func(o *option) float64 {
		if o.check < n.best {
			return n.hi * (1 + tie)
		}
		return n.hi * (1 - tie)
	}
	for i := range opts {
		o := &opts[i]
		for k := range o.kids {
			o.update()
			t := min(target(o), cut)
			if o.lo >= t {
				break
			}
			if c := &o.kids[k]; !c.node.solved() {
				// A little more than what lifts the option to t, for rounding.
				s.solve(c.at, c.node.lo+(t-o.lo+tie*t/100)/c.weight)
			}
		}
		o.update()
		if o.lo < target(o) && o.solved() {
			n.hi, n.best = min(n.hi, o.lo), o.check
		}
	}
	lo := n.hi
	for i := range opts {
		lo = min(lo, max(opts[i].lo, n.lo))
	}
	n.lo = max(n.lo, lo)
	open := func(o option) bool { return o.check != n.best && o.lo < target(&o) }
	if n.best >= 0 && !slices.ContainsFunc(opts, open) {
		n.lo = n.hi
	}
	return n
}
