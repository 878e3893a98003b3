package advise

import (
	"cmp"
	"encoding/binary"
	"fmt"
	"math"
	"slices"
)

// Options bound the work of planning. Zero values stand for the defaults.
type Options struct {
	ExactGroups int  // most groups of worlds for the exact search; default 12, at most 64
	ExactChecks int  // most checks that tell groups apart for it; default 15, at most 64
	Budget      int  // states that it works out before it settles for the best found; default 100,000
	Walk        int  // groups times checks looked at to work out the effort of a greedy plan; default 20,000,000
	Greedy      bool // use the greedy rule whatever the size
}

// Method is how a plan was found.
type Method string

const (
	Exact    Method = "exact"     // no plan has less expected effort
	ExactCut Method = "exact-cut" // the best found when the exact search used up its budget
	Greedy   Method = "greedy"    // by the greedy rule for equivalence classes
)

// Plan says what to check next and what after each answer. It is worked out as
// far as it is asked for. It is not for concurrent use.
type Plan struct {
	m         *model
	solver    *solver
	exact     bool // the solver chooses
	partition bool // the classes of the greedy rule are a true partition
	root      state
	options   Options
	summary   *Summary
	lower     float64 // hundredths of a minute
	method    Method
}

// Step is a point of a plan: the check to make there, or the end.
type Step struct {
	Leaf    bool // nothing more can be settled; there is no check
	Check   string
	Effort  Effort
	Left    int      // worlds left
	Settled []string // goals settled here, by name
	Open    []string // goals not settled here; at a leaf they are out of reach
	Answers []Answer // in the order of the check, not being seen last
}

// Answer is what a check can come to.
type Answer struct {
	Answer      string // empty if it could not be seen
	Unseen      bool
	Probability float64  // given that the step is reached
	Worlds      []string // left, by id
	Settled     []string // goals settled after it, by name
	Open        []string // goals not settled after it
	Leaf        bool     // nothing more can be settled after it
	Next        *Step    // by Tree only, as far as it was asked for
}

// Summary says what a plan costs and how good it is. All figures are minutes.
type Summary struct {
	Method Method
	Groups int // of worlds that the checks can tell apart
	Checks int // that tell groups apart

	// Expected is the expected effort of the plan. Where the plan was too large to
	// work out whole (Cut above zero) it is an upper bound, which takes the runs
	// not followed to their ends to make as many checks as can be.
	Expected float64
	Cut      float64 // the probability of the runs not followed to their ends
	Lower    float64 // no plan has less expected effort
	Gap      float64 // Expected less Lower: the plan is at most this far from the best

	// Factor, unless 0, bounds how many times the least expected effort a greedy
	// plan takes; see the package's comment for what it rests on.
	Factor float64

	Worst     float64  // the most that a run can take
	WorstSeen float64  // the most that a run can take in which every check is seen
	Settled   []string // goals that need no check, by name
	Never     []string // goals that no answers to the checks can settle, by name
}

// PathError says that a path leads nowhere.
type PathError struct {
	Depth   int // how many answers could be followed
	Answer  int // the one that could not
	Answers int // how many there are at that step, none at a leaf
}

func (e *PathError) Error() string {
	return fmt.Sprintf("following a plan of checks: answer number %d after %d answers, where there are %d", e.Answer, e.Depth, e.Answers)
}

// New plans the checks of a problem, which must not be changed afterwards. The
// exact search is made here; a greedy plan is only prepared, and its steps are
// worked out when they are asked for.
func New(p Problem, o Options) (*Plan, error) {
	if err := p.validate(); err != nil {
		return nil, err
	}
	o.ExactGroups = min(cmp.Or(o.ExactGroups, 12), maxBits)
	o.ExactChecks = min(cmp.Or(o.ExactChecks, 15), maxBits)
	o.Budget = cmp.Or(o.Budget, 100_000)
	o.Walk = cmp.Or(o.Walk, 20_000_000)
	plan := &Plan{m: newModel(&p), options: o}
	plan.solver = newSolver(plan.m)
	plan.dropNever()
	plan.partition = plan.m.classify()
	plan.root = plan.m.rootState(plan.solver)
	plan.method = Greedy
	if plan.m.leaf(plan.solver, &plan.root) {
		plan.method = Exact
		return plan, nil
	}
	plan.lower = plan.m.floor()
	if plan.solver == nil || o.Greedy || len(plan.m.groups) > o.ExactGroups || len(plan.m.checks) > o.ExactChecks {
		return plan, nil
	}
	plan.search()
	return plan, nil
}

// dropNever takes out the goals that are found to be out of reach from the start,
// so that no class is kept apart for their sake.
func (p *Plan) dropNever() {
	if p.solver == nil || p.m.sure {
		return // a goal that a group settles is in reach
	}
	root := p.solver.root()
	want := full(len(p.m.goals))
	got, all := p.solver.reach(root.groups, root.checks, want, false)
	if got == want || !all {
		return
	}
	kept := []string{}
	for goal := len(p.m.goals) - 1; goal >= 0; goal-- {
		if got&(1<<goal) != 0 {
			kept = append(kept, p.m.goals[goal])
			continue
		}
		p.m.never = append(p.m.never, p.m.goals[goal])
		for i := range p.m.groups {
			g := &p.m.groups[i]
			g.outcomes = slices.Delete(slices.Clone(g.outcomes), goal, goal+1)
		}
	}
	slices.Reverse(kept)
	p.m.goals = kept
	slices.Sort(p.m.never)
	p.solver = newSolver(p.m)
}

// search runs the exact search and keeps the better of what it found and what
// the greedy rule finds.
func (p *Plan) search() {
	s := p.solver
	s.left = p.options.Budget
	root := s.solve(p.root.at, math.Inf(1))
	p.exact = true
	if root.solved() {
		p.method, p.lower = Exact, root.hi
		return
	}
	p.method, p.lower = ExactCut, max(p.lower, root.lo)
	found := p.walk()
	p.exact = false
	if greedy := p.walk(); greedy.expected > found.expected {
		p.exact = true
	}
}

// choose gives the check to make at a state, or -1 at a leaf.
func (p *Plan) choose(st *state) int32 {
	if p.m.leaf(p.solver, st) {
		return -1
	}
	if p.exact {
		if n, ok := p.solver.nodes[st.at]; ok && n.best >= 0 {
			return int32(n.best)
		}
	}
	return p.m.pick(st)
}

// Method tells how the plan was found.
func (p *Plan) Method() Method { return p.method }

// First gives the first step.
func (p *Plan) First() Step { return p.step(&p.root) }

// Expand gives the step after the answers of a path, each given by its index in
// the Answers of the step before.
func (p *Plan) Expand(path ...int) (Step, error) {
	st := p.root
	for i, n := range path {
		check := p.choose(&st)
		var next []branch
		if check >= 0 {
			next = p.m.branches(p.solver, &st, check)
		}
		if n < 0 || n >= len(next) {
			return Step{}, &PathError{i, n, len(next)}
		}
		st = next[n].to
	}
	return p.step(&st), nil
}

// Tree gives the plan as a tree of up to so many steps, those that are reached
// with the greatest probability.
func (p *Plan) Tree(steps int) Step {
	type open struct {
		st *state
		p  float64
		to **Step
	}
	root := &Step{}
	queue := []open{{&p.root, 1, &root}}
	for ; len(queue) > 0 && steps > 0; steps-- {
		likeliest := 0
		for i := range queue {
			if queue[i].p > queue[likeliest].p {
				likeliest = i
			}
		}
		o := queue[likeliest]
		queue = slices.Delete(queue, likeliest, likeliest+1)
		step, next := p.expand(o.st)
		*o.to = &step
		for i := range next {
			if !step.Answers[i].Leaf {
				queue = append(queue, open{&next[i].to, o.p * next[i].p, &step.Answers[i].Next})
			}
		}
	}
	return *root
}

func (p *Plan) step(st *state) Step {
	step, _ := p.expand(st)
	return step
}

func (p *Plan) expand(st *state) (Step, []branch) {
	var out Step
	out.Settled, out.Open = p.goals(st)
	for _, g := range st.groups {
		out.Left += len(p.m.groups[g].worlds)
	}
	check := p.choose(st)
	if check < 0 {
		out.Leaf = true
		return out, nil
	}
	c := p.m.checks[check].of
	out.Check, out.Effort = c.ID, c.Effort
	next := p.m.branches(p.solver, st, check)
	for i := range next {
		b := &next[i]
		a := Answer{Probability: b.p, Unseen: b.answer < 0, Leaf: p.m.leaf(p.solver, &b.to)}
		if b.answer >= 0 {
			a.Answer = c.Answers[p.m.checks[check].answers[b.answer]]
		}
		for _, g := range b.to.groups {
			for _, w := range p.m.groups[g].worlds {
				a.Worlds = append(a.Worlds, p.m.p.Worlds[w].ID)
			}
		}
		slices.Sort(a.Worlds)
		a.Settled, a.Open = p.goals(&b.to)
		out.Answers = append(out.Answers, a)
	}
	return out, next
}

// goals gives the goals settled at a state and the others.
func (p *Plan) goals(st *state) (settled, open []string) {
	settled, open = append(settled, p.m.settled...), append(open, p.m.never...)
	for i, g := range p.m.goals {
		if p.m.outcome(st.groups, i).settles() {
			settled = append(settled, g)
		} else {
			open = append(open, g)
		}
	}
	slices.Sort(settled)
	slices.Sort(open)
	return settled, open
}

// Summary works out, on first use, what the plan costs and how far it can be from
// the best. For a greedy plan that takes much longer than a step.
func (p *Plan) Summary() Summary {
	if p.summary != nil {
		return *p.summary
	}
	w := p.walk()
	if p.method == Greedy && p.solver != nil {
		p.lower = max(p.lower, p.solver.bound(p.root.at.groups, p.root.at.groups))
	}
	s := &Summary{
		Method: p.method, Groups: len(p.m.groups), Checks: len(p.m.checks),
		Expected: w.expected / 100, Cut: w.cut, Lower: min(p.lower, w.expected) / 100,
		Worst: w.worst.Minutes(), WorstSeen: w.worstSeen.Minutes(),
		Settled: slices.Clone(p.m.settled), Never: slices.Clone(p.m.never),
	}
	if p.method == Exact {
		s.Lower = s.Expected
	}
	s.Gap = s.Expected - s.Lower
	if p.method == Greedy && p.partition && p.m.sure && p.m.seen {
		least := 1.0
		for i := range p.m.groups {
			least = min(least, p.m.groups[i].weight)
		}
		f := 2*math.Log(1/least) + 1
		s.Factor = f * f
	}
	p.summary = s
	return *s
}

// walked is what following a plan to its leaves gives, in hundredths of a minute.
type walked struct {
	expected         float64
	cut              float64
	worst, worstSeen Effort
}

// visit is a state on the way, with the probability of the runs that come to it,
// and the most effort of such a run, of one in which all was seen, -1 for none.
type visit struct {
	key              string
	st               state
	p                float64
	worst, worstSeen Effort
}

// rare is the probability of runs that are not followed once a twentieth of the
// work is done.
const rare = 1e-7

// walk follows the plan. States with equally many checks made are taken
// together, runs that meet are joined, and of the states at one depth those with
// the most probability first, up to half the work that is left.
func (p *Plan) walk() walked {
	var out walked
	work := p.options.Walk
	level := []*visit{{st: p.root, p: 1}}
	for len(level) > 0 {
		slices.SortFunc(level, func(x, y *visit) int { return cmp.Or(-cmp.Compare(x.p, y.p), cmp.Compare(x.key, y.key)) })
		var next []*visit
		index := map[string]*visit{}
		allowed := max(work/2, 1)
		for _, v := range level {
			if allowed <= 0 || v.p < rare && work < p.options.Walk*19/20 {
				if p.m.leaf(p.solver, &v.st) {
					out.end(v, 0)
					continue
				}
				expected, worst := p.m.most(&v.st)
				out.expected += v.p * expected
				out.cut += v.p
				out.end(v, worst)
				continue
			}
			cost := (len(v.st.groups) + 1) * (len(v.st.checks) + 1)
			allowed, work = allowed-cost, work-cost
			check := p.choose(&v.st)
			if check < 0 {
				out.end(v, 0)
				continue
			}
			effort := p.m.checks[check].of.Effort
			out.expected += v.p * float64(effort)
			for _, b := range p.m.branches(p.solver, &v.st, check) {
				key := p.key(&b.to)
				n := index[key]
				if n == nil {
					n = &visit{key: key, st: b.to, worstSeen: -1}
					index[key] = n
					next = append(next, n)
				}
				n.p += v.p * b.p
				n.worst = max(n.worst, v.worst+effort)
				if b.answer >= 0 && v.worstSeen >= 0 {
					n.worstSeen = max(n.worstSeen, v.worstSeen+effort)
				}
			}
		}
		level = next
	}
	return out
}

// most bounds from above what is still to come at a state, in expectation and in
// the worst case. No run makes more than all checks left. Where every group gives
// one answer, a check that is seen excludes a group at least, and how many are
// made until so many were seen is, in expectation, known.
func (m *model) most(st *state) (expected float64, worst Effort) {
	dearest, likeliest := Effort(0), 0.0
	for _, c := range st.checks {
		worst += m.checks[c].of.Effort
		dearest = max(dearest, m.checks[c].of.Effort)
		likeliest = max(likeliest, m.checks[c].unseen)
	}
	expected = float64(worst)
	if m.sure {
		expected = min(expected, float64(dearest)*float64(len(st.groups)-1)/(1-likeliest))
	}
	return expected, worst
}

func (w *walked) end(v *visit, rest Effort) {
	w.worst = max(w.worst, v.worst+rest)
	if v.worstSeen >= 0 {
		w.worstSeen = max(w.worstSeen, v.worstSeen+rest)
	}
}

// key tells states apart: groups, checks, and the proportions of the weights.
func (p *Plan) key(st *state) string {
	if p.exact {
		b := binary.LittleEndian.AppendUint64(nil, st.at.groups)
		b = binary.LittleEndian.AppendUint64(b, st.at.checks)
		return string(binary.LittleEndian.AppendUint32(b, uint32(st.at.ratio)))
	}
	b := binary.LittleEndian.AppendUint32(nil, uint32(len(st.groups)))
	for _, g := range st.groups {
		b = binary.LittleEndian.AppendUint32(b, uint32(g))
	}
	for _, c := range st.checks {
		b = binary.LittleEndian.AppendUint32(b, uint32(c))
	}
	if !p.m.sure {
		total := st.mass()
		for _, w := range st.weight {
			b = binary.LittleEndian.AppendUint64(b, rounded(w/total))
		}
	}
	return string(b)
}
