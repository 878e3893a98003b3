package advise

import (
	"cmp"
	"encoding/binary"
	"slices"
)

// state is a point of a plan: the groups left, in order of class and then of
// number, their priors times the probabilities of their answers so far, and the
// checks not made that tell some of them apart.
type state struct {
	groups []int32
	weight []float64
	checks []int32
	at     position // the same for the solver, if there is one
}

func (m *model) rootState(s *solver) state {
	st := state{groups: indices(len(m.groups), func(a, b int32) int {
		return cmp.Or(cmp.Compare(m.groups[a].class, m.groups[b].class), cmp.Compare(a, b))
	})}
	for _, g := range st.groups {
		st.weight = append(st.weight, m.groups[g].weight)
	}
	for c := range m.checks {
		st.checks = append(st.checks, int32(c))
	}
	if s != nil {
		st.at = s.root()
	}
	return st
}

func (st *state) mass() float64 {
	sum := 0.0
	for _, w := range st.weight {
		sum += w
	}
	return sum
}

// useful keeps the checks, less one, that some of the groups answer differently.
func (m *model) useful(groups, checks []int32, less int32) []int32 {
	out := make([]int32, 0, len(checks))
	for _, c := range checks {
		if c == less {
			continue
		}
		for _, g := range groups[1:] {
			if m.groups[g].kind[c] != m.groups[groups[0]].kind[c] {
				out = append(out, c)
				break
			}
		}
	}
	return out
}

// branch is what an answer leads to; answer is -1 where nothing could be seen.
type branch struct {
	answer int32
	p      float64 // given the state
	to     state
}

// branches gives the answers that a check can have, in the order in which the
// check lists them, not being seen last.
func (m *model) branches(s *solver, st *state, check int32) []branch {
	c := &m.checks[check]
	total := st.mass()
	by := make([]*branch, len(c.answers))
	sum := make([]float64, len(c.answers))
	for i, g := range st.groups {
		k := &c.kinds[m.groups[g].kind[check]]
		for j, a := range k.answers {
			if by[a] == nil {
				by[a] = &branch{answer: a}
			}
			w := st.weight[i] * k.p[j]
			by[a].to.groups, by[a].to.weight = append(by[a].to.groups, g), append(by[a].to.weight, w)
			sum[a] += w
		}
	}
	var out []branch
	for _, b := range by {
		if b != nil {
			b.p = (1 - c.unseen) * sum[b.answer] / total
			out = append(out, *b)
		}
	}
	slices.SortFunc(out, func(x, y branch) int { return cmp.Compare(c.answers[x.answer], c.answers[y.answer]) })
	if c.unseen > 0 {
		out = append(out, branch{-1, c.unseen, state{groups: st.groups, weight: st.weight}})
	}
	for i := range out {
		to := &out[i].to
		to.checks = m.useful(to.groups, st.checks, check)
		if s == nil {
			continue
		}
		if out[i].answer < 0 {
			to.at = s.unseen(st.at, int(check))
			continue
		}
		// The solver leaves out the answers that no group gives.
		a := slices.IndexFunc(s.checks[check].answers, func(a solverAnswer) bool { return a.name == out[i].answer })
		to.at, _ = s.answer(st.at, int(check), a)
	}
	return out
}

// outcome gives the outcome of the groups in an open goal.
func (m *model) outcome(groups []int32, goal int) outcome {
	out := m.groups[groups[0]].outcomes[goal]
	for _, g := range groups[1:] {
		if out.class == 0 {
			break
		}
		out = out.join(m.groups[g].outcomes[goal])
	}
	return out
}

// leaf tells whether no check could settle more, by the solver where there is
// one. Without, it is exact where every group left gives one answer to every
// check left, and where few enough are left for a solver of their own; else it can
// miss that a goal is out of reach, and then the plan goes on as long as a check
// excludes something.
func (m *model) leaf(s *solver, st *state) bool {
	if s != nil {
		return s.leaf(st.at.groups, st.at.checks)
	}
	if len(st.checks) == 0 {
		return true
	}
	var want []int
	for goal := range m.goals {
		if !m.outcome(st.groups, goal).settles() && slices.ContainsFunc(st.groups, func(g int32) bool { return m.groups[g].outcomes[goal].settles() }) {
			want = append(want, goal)
		}
	}
	if len(want) == 0 {
		return true
	}
	settles := func(groups []int32) bool {
		return slices.ContainsFunc(want, func(goal int) bool { return m.outcome(groups, goal).settles() })
	}
	// Mostly one of the first groups shows that there is more to settle.
	for _, g := range st.groups[:min(len(st.groups), 4)] {
		if settles(m.end(st, g)) {
			return false
		}
	}
	if !m.sure && slices.ContainsFunc(st.checks, func(c int32) bool {
		return slices.ContainsFunc(st.groups, func(g int32) bool { return len(m.checks[c].kinds[m.groups[g].kind[c]].answers) > 1 })
	}) {
		if own := newSolver(m.part(st)); own != nil {
			return own.leaf(own.root().groups, own.root().checks)
		}
		return !slices.ContainsFunc(st.checks, func(c int32) bool { return m.excludes(st, c) })
	}
	// All checks together leave those that answer them alike.
	cells := map[string][]int32{}
	key := make([]byte, 4*len(st.checks))
	for _, g := range st.groups {
		for i, c := range st.checks {
			binary.LittleEndian.PutUint32(key[4*i:], uint32(m.groups[g].kind[c]))
		}
		cells[string(key)] = append(cells[string(key)], g)
	}
	for _, cell := range cells {
		if settles(cell) {
			return false
		}
	}
	return true
}

// end gives the groups that can be left when g is the true one and all checks
// are made: for each check in turn, its answer that leaves fewest.
func (m *model) end(st *state, g int32) []int32 {
	left := slices.Clone(st.groups)
	for _, c := range st.checks {
		kinds := m.checks[c].kinds
		gives := func(h, answer int32) bool { return slices.Contains(kinds[m.groups[h].kind[c]].answers, answer) }
		fewest, count := int32(-1), len(left)+1
		for _, a := range kinds[m.groups[g].kind[c]].answers {
			n := 0
			for _, h := range left {
				n += b2i(gives(h, a))
			}
			if n < count {
				fewest, count = a, n
			}
		}
		left = slices.DeleteFunc(left, func(h int32) bool { return !gives(h, fewest) })
	}
	return left
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}

// part gives a model of what a state leaves.
func (m *model) part(st *state) *model {
	out := &model{goals: m.goals}
	for _, c := range st.checks {
		out.checks = append(out.checks, m.checks[c])
	}
	for _, g := range st.groups {
		part := group{outcomes: m.groups[g].outcomes}
		for _, c := range st.checks {
			part.kind = append(part.kind, m.groups[g].kind[c])
		}
		out.groups = append(out.groups, part)
	}
	return out
}

// excludes tells whether some answer to the check excludes a group.
func (m *model) excludes(st *state, check int32) bool {
	c := &m.checks[check]
	can := make([]int, len(c.answers))
	for _, g := range st.groups {
		for _, a := range c.kinds[m.groups[g].kind[check]].answers {
			can[a]++
		}
	}
	return slices.ContainsFunc(can, func(n int) bool { return n > 0 && n < len(st.groups) })
}

// pick chooses the next check by the greedy rule: the most weight of edges cut in
// expectation for the effort. Of equal ones the first.
func (m *model) pick(st *state) int32 {
	best, bestGain, bestEffort := int32(-1), 0.0, 1.0
	total := st.mass()
	for _, check := range st.checks {
		c := &m.checks[check]
		n := len(c.answers)
		p := make([]float64, n)       // probability of the answer
		left := make([]float64, n)    // weight of the groups that it leaves
		squares := make([]float64, n) // of the weights of the classes that it leaves, summed
		class := make([]float64, n)
		all, allSquares, allClass := 0.0, 0.0, 0.0
		for i, g := range st.groups {
			w := st.weight[i] / total
			k := &c.kinds[m.groups[g].kind[check]]
			for j, a := range k.answers {
				p[a] += w * k.p[j]
				class[a] += w
			}
			allClass += w
			if i+1 == len(st.groups) || m.groups[st.groups[i+1]].class != m.groups[g].class {
				for a := range class {
					left[a] += class[a]
					squares[a] += class[a] * class[a]
					class[a] = 0
				}
				all += allClass
				allSquares += allClass * allClass
				allClass = 0
			}
		}
		gain := all*all - allSquares
		for a := range p {
			gain -= p[a] * (left[a]*left[a] - squares[a])
		}
		gain *= 1 - c.unseen
		if gain*bestEffort > bestGain*c.effort*(1+tie) && gain > 1e-15 {
			best, bestGain, bestEffort = check, gain, c.effort
		}
	}
	if best >= 0 {
		return best
	}
	// What is left to cut is less than rounding: the first check that cuts it.
	if i := slices.IndexFunc(st.checks, func(c int32) bool { return m.excludes(st, c) }); i >= 0 {
		return st.checks[i]
	}
	return st.checks[0]
}
