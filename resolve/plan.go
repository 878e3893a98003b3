package resolve

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	"platewright/catalog"
	"platewright/resolve/advise"
)

// This file puts what a decision leaves open to the planner of package advise
// (N1) and reads its plans back in the words of a decision.

const (
	// maxPlanWorlds bounds the worlds of one plan. Roles that would take it beyond
	// are left out of the plan and named.
	maxPlanWorlds = 20_000
	// maxRevealed bounds the values of marks not recorded for a variant that are
	// tried together.
	maxRevealed = 64
	// The exact search is tried up to so many groups and checks, within its budget.
	exactGroups, exactChecks = 64, 20
	// budget bounds its states. It is the same whether the whole plan is wanted or
	// not, so that the next check is the same.
	budget = 20_000
	// walk bounds the work of following a plan to its ends.
	walk = 5_000_000
	// maxPlanSteps bounds the steps of a plan that is shown whole, the likeliest
	// first.
	maxPlanSteps = 200
	// shadow is the weight, as a part of all, that stands for an assembly not
	// being the one that the unit was built with: enough to be kept in mind, too
	// little to move an expected effort.
	shadow = 3e-12
)

// planWorld is one way in which the open roles of some assemblies can turn out
// together.
type planWorld struct {
	v      *variant
	cos    []*candidateOutcome // for each role; nil where this world says nothing of it
	joint  world               // what all of them together ask of the unit
	seen   []markValue         // what would be seen of marks not recorded for v
	weight float64
	shadow bool
}

// planPart is a part of the unit that is planned by itself: an assembly with
// those that follow it and were not found apart from it.
type planPart struct {
	d          *decider
	assemblies []*assemblyWork
	roles      []askedRole
	leftOut    []string
	checks     []check
	worlds     []planWorld
	spoken     map[[3]string]bool // keys of variant, role and mark: the worlds of the one speak of the other
	plan       *advise.Plan
}

// nextCheck plans what to look at (N1): the first step is the next check.
func (d *decider) nextCheck() error {
	var open []askedRole
	for i, a := range d.asked {
		as := d.assembly(a.role.assembly)
		if d.dec.Roles[i].Verdict == NotSettled && as != nil && len(as.cands) > 0 && !as.tooMany {
			open = append(open, a)
		}
	}
	if len(open) == 0 || len(d.dec.Conflicts) > 0 {
		return nil
	}
	if err := d.r.loadMarks(); err != nil {
		return err
	}
	plan := &Plan{Parts: []PlanPart{}}
	for _, p := range d.planParts(open) {
		part, err := p.work()
		if err != nil {
			return err
		}
		if part == nil {
			continue
		}
		if d.dec.NextCheck == nil {
			first := p.first()
			if first == nil {
				continue // no answer to anything settles anything
			}
			d.dec.NextCheck = first
		}
		plan.Parts = append(plan.Parts, *part)
	}
	if d.dec.NextCheck == nil {
		return nil
	}
	// What is planned apart is open after the first check of another part.
	for i := range d.dec.NextCheck.Answers {
		a := &d.dec.NextCheck.Answers[i]
		for _, r := range open {
			name := r.role.row.Role
			if !slices.Contains(a.Settles, name) && !slices.Contains(a.Unsettled, name) {
				a.Unsettled = append(a.Unsettled, name)
			}
		}
		slices.Sort(a.Unsettled)
	}
	d.dec.Plan = plan
	return nil
}

// planParts gathers the open roles by the assemblies that bear on one another.
func (d *decider) planParts(open []askedRole) []*planPart {
	head := func(as *assemblyWork) *assemblyWork {
		for !as.apart && d.assembly(as.follows) != nil {
			as = d.assembly(as.follows)
		}
		return as
	}
	var out []*planPart
	for _, as := range d.assemblies {
		if head(as) != as {
			continue
		}
		p := &planPart{d: d}
		for _, other := range d.assemblies {
			if head(other) == as {
				p.assemblies = append(p.assemblies, other)
			}
		}
		for _, r := range open {
			if slices.Contains(p.assemblies, d.assembly(r.role.assembly)) {
				p.roles = append(p.roles, r)
			}
		}
		if len(p.roles) > 0 {
			out = append(out, p)
		}
	}
	return out
}

// work makes the plan, nil where there is nothing to check.
func (p *planPart) work() (*PlanPart, error) {
	var err error
	if p.checks, err = p.d.checks(p.roles); err != nil || len(p.checks) == 0 {
		return nil, err
	}
	if err := p.makeWorlds(); err != nil {
		return nil, err
	}
	if len(p.roles) == 0 || len(p.worlds) == 0 {
		return nil, nil
	}
	if p.plan, err = advise.New(p.problem(), advise.Options{ExactGroups: exactGroups, ExactChecks: exactChecks, Budget: budget, Walk: walk}); err != nil {
		return nil, fmt.Errorf("the checks left cannot be planned: %w", err)
	}
	if p.plan.First().Leaf {
		return nil, nil
	}
	out := &PlanPart{Assemblies: []string{}, Roles: []string{}, LeftOut: orEmpty(p.leftOut), Method: PlanMethod(p.plan.Method())}
	for _, as := range p.assemblies {
		out.Assemblies = append(out.Assemblies, as.row.Assembly)
	}
	for _, r := range p.roles {
		out.Roles = append(out.Roles, r.role.row.Role)
	}
	if p.d.o.WholePlan {
		// What the plan costs is worked out by following it to its ends, which a
		// person who wants the next check alone need not wait for.
		s := p.plan.Summary()
		out.Never = orEmpty(p.names(s.Never))
		out.Figures = &PlanFigures{Expected: hundredths(s.Expected), AtMost: s.Cut > 0, Lower: hundredths(s.Lower), Gap: hundredths(s.Gap), Worst: hundredths(s.Worst), Groups: s.Groups, Checks: s.Checks}
		if s.Factor > 0 {
			out.Figures.Factor = hundredths(s.Factor)
		}
		out.First, out.StepsLeftOut = p.tree()
	}
	return out, nil
}

// names turns goals, which are keys of roles, into roles.
func (p *planPart) names(goals []string) []string {
	var out []string
	for _, r := range p.roles {
		if slices.Contains(goals, r.key) {
			out = append(out, r.role.row.Role)
		}
	}
	return out
}

func hundredths(f float64) catalog.Decimal {
	return minutesOf(int64(math.Round(f * 100)))
}

// makeWorlds joins what the open roles leave possible for each variant.
func (p *planPart) makeWorlds() error {
	p.spoken = map[[3]string]bool{}
	for _, r := range p.roles {
		for i := range p.d.outcomes[r.key] {
			co := &p.d.outcomes[r.key][i]
			for _, m := range co.w.marks {
				p.spoken[[3]string{co.v.key, r.key, m.mark}] = true
			}
		}
	}
	// Variants of an assembly of which nothing is open tell nothing here.
	var of []*assemblyWork
	for _, as := range p.assemblies {
		if slices.ContainsFunc(p.roles, func(r askedRole) bool { return r.role.assembly == as.key }) {
			of = append(of, as)
		}
	}
	var err error
	if p.worlds, p.roles, err = p.build(of, p.roles, false); err != nil {
		return err
	}
	p.weigh()
	return p.addShadows()
}

// build joins, for each variant of some assemblies, what is possible in some
// roles, for shadows with other assemblies as they like. Roles that would make too
// many worlds are left out.
func (p *planPart) build(of []*assemblyWork, roles []askedRole, shadows bool) ([]planWorld, []askedRole, error) {
	var order []*variant
	have := map[string]bool{}
	for _, as := range of {
		for _, v := range as.cands {
			if !have[v.key] {
				have[v.key] = true
				order = append(order, v)
			}
		}
	}
	slices.SortFunc(order, func(a, b *variant) int { return strings.Compare(a.key, b.key) })
	var worlds []planWorld
	for _, v := range order {
		sets, err := p.revealed(v, roles, shadows)
		if err != nil {
			return nil, nil, err
		}
		for _, seen := range sets {
			w := planWorld{v: v}
			for _, mark := range slices.Sorted(maps.Keys(seen)) {
				m := markValue{mark: mark, value: seen[mark]}
				if m.value == "" {
					m.not = p.named(mark)
				}
				w.seen = append(w.seen, m)
				w.joint.marks = append(w.joint.marks, m)
			}
			worlds = append(worlds, w)
		}
	}
	var kept []askedRole
	for _, r := range roles {
		next, err := p.joinRole(worlds, r)
		if err != nil {
			return nil, nil, err
		}
		if next == nil {
			p.leftOut = append(p.leftOut, r.role.row.Role)
			continue
		}
		worlds, kept = next, append(kept, r)
	}
	return worlds, kept, nil
}

// named gives the values that the check of a mark names, each between semicolons.
func (p *planPart) named(mark string) string {
	out := ";"
	for i := range p.checks {
		if c := &p.checks[i]; c.next.Kind == CheckMark && catalog.Fold(c.next.Mark) == mark {
			for _, a := range c.answers {
				if a.seen != nil {
					out += a.seen.value + ";"
				}
			}
		}
	}
	return out
}

// joinRole splits worlds by what is possible in one more role; nil if that makes
// too many.
func (p *planPart) joinRole(worlds []planWorld, r askedRole) ([]planWorld, error) {
	as, root := p.d.assembly(r.role.assembly), p.assemblies[0]
	cos := map[string][]*candidateOutcome{}
	for i := range p.d.outcomes[r.key] {
		co := &p.d.outcomes[r.key][i]
		cos[co.v.key] = append(cos[co.v.key], co)
	}
	next := make([]planWorld, 0, len(worlds))
	for i := range worlds {
		w := &worlds[i]
		of := cos[w.v.key]
		if len(of) > 0 && len(w.seen) > 0 {
			k := as.known
			k.seen = maps.Clone(k.seen)
			if k.seen == nil {
				k.seen = map[string]string{}
			}
			for _, m := range w.seen {
				if m.value != "" {
					k.seen[m.mark] = m.value
				}
			}
			then, err := p.d.r.outcomes(w.v, r.role.row, r.key, k, p.d.fill)
			if err != nil {
				return nil, err
			}
			of = nil
			for j := range then {
				then[j].apart = as.apart
				of = append(of, &then[j])
			}
		}
		if len(of) == 0 {
			n := *w
			n.cos = append(slices.Clone(w.cos), nil)
			next = append(next, n)
			continue
		}
		for _, co := range of {
			asked := co.w
			// What a label of its own says of number and date is of this assembly alone
			// (C4).
			if co.apart || as.spelled.serial || as.known.serial != root.known.serial {
				asked.serial = [2]int64{}
			}
			if co.apart || as.spelled.built || as.known.built != root.known.built {
				asked.built = [2]int32{}
			}
			if joint, ok := w.joint.with(&asked); ok {
				n := *w
				n.cos, n.joint = append(slices.Clone(w.cos), co), joint
				next = append(next, n)
			}
		}
		if len(next) > maxPlanWorlds {
			return nil, nil
		}
	}
	return next, nil
}

// with joins two worlds of one variant; it fails where they contradict.
func (w *world) with(o *world) (world, bool) {
	out := *w
	var ok bool
	if out.serial, ok = overlap(w.serial, o.serial); !ok {
		return out, false
	}
	if out.built, ok = overlap(w.built, o.built); !ok {
		return out, false
	}
	out.marks = slices.Clone(w.marks)
	for _, m := range o.marks {
		i := slices.IndexFunc(out.marks, func(x markValue) bool { return x.mark == m.mark })
		if i < 0 {
			out.marks = append(out.marks, m)
			continue
		}
		switch have := out.marks[i]; {
		case have.value != "" && m.value != "":
			if have.value != m.value {
				return out, false
			}
		case have.value != "":
			if strings.Contains(m.not, ";"+have.value+";") {
				return out, false
			}
		case m.value != "":
			if strings.Contains(have.not, ";"+m.value+";") {
				return out, false
			}
			out.marks[i] = m
		default:
			out.marks[i].not += m.not
		}
	}
	return out, true
}

func overlap[T int32 | int64](a, b [2]T) ([2]T, bool) {
	out := [2]T{max(a[0], b[0]), a[1]}
	if a[1] == 0 || b[1] != 0 && b[1] < a[1] {
		out[1] = b[1]
	}
	return out, out[1] == 0 || out[0] <= out[1]
}

// revealed gives the values of marks that would, once seen, make statements apply
// to a variant that now do not (O1): of marks that are not recorded for it, and for
// shadows of marks on assemblies that do not bear on the roles, since these can show
// what they would not as built. It is a single empty set for most.
func (p *planPart) revealed(v *variant, roles []askedRole, shadows bool) ([]map[string]string, error) {
	sets := []map[string]string{{}}
	for i := range p.checks {
		c := &p.checks[i]
		if c.next.Kind != CheckMark {
			continue
		}
		key := catalog.Fold(c.next.Mark)
		if len(v.shown(key)) > 0 && (!shadows || slices.ContainsFunc(roles, func(r askedRole) bool { return p.d.bears(c, r) })) {
			continue
		}
		says := slices.ContainsFunc(roles, func(r askedRole) bool { return p.spoken[[3]string{v.key, r.key, key}] })
		for _, a := range c.answers {
			if a.seen == nil || says {
				continue
			}
			f, err := p.d.r.fitsOfMark(key, a.seen.value)
			if err != nil {
				return nil, err
			}
			for _, r := range roles {
				says = says || len(f.of(r.key)) > 0
			}
		}
		if !says || len(sets)*len(c.answers) > maxRevealed {
			continue
		}
		var next []map[string]string
		for _, s := range sets {
			for _, a := range c.answers {
				n := maps.Clone(s)
				n[key] = ""
				if a.seen != nil {
					n[key] = a.seen.value
				}
				next = append(next, n)
			}
		}
		sets = next
	}
	return sets, nil
}

// weigh gives each world its probability: by built quantity if it is known for
// every variant, else equal, times how likely the reading makes it, shared evenly
// among the worlds of a variant.
func (p *planPart) weigh() {
	n, counts, known := map[string]int{}, 0.0, true
	var variants []*variant
	for i := range p.worlds {
		v := p.worlds[i].v
		if n[v.key]++; n[v.key] == 1 {
			known = known && v.row.Count > 0
			variants = append(variants, v)
		}
	}
	weight := func(v *variant) float64 {
		w := p.d.likelihood(v)
		if known {
			w *= float64(v.row.Count)
		}
		return w
	}
	for _, v := range variants {
		counts += weight(v)
	}
	for i := range p.worlds {
		w := &p.worlds[i]
		w.weight = max(weight(w.v)/counts/float64(n[w.v.key]), 2*shadow)
	}
}

// addShadows adds, for each assembly that some check does not bear on, worlds that
// speak of this assembly alone: what is found on a valve body takes nothing from
// the case (C5), since it can have been swapped.
func (p *planPart) addShadows() error {
	var all []planWorld
	for _, as := range p.assemblies {
		var own []askedRole
		var at []int
		for j, r := range p.roles {
			if r.role.assembly == as.key {
				own, at = append(own, r), append(at, j)
			}
		}
		if len(own) == 0 || !slices.ContainsFunc(p.checks, func(c check) bool { return !p.d.bearsOn(catalog.Fold(c.next.Assembly), as) }) {
			continue
		}
		worlds, kept, err := p.build([]*assemblyWork{as}, own, true)
		if err != nil {
			return err
		}
		if len(kept) < len(own) {
			continue // the roles are planned for as if the unit were as built
		}
		for _, w := range worlds {
			cos := make([]*candidateOutcome, len(p.roles))
			for k, j := range at {
				cos[j] = w.cos[k]
			}
			w.cos, w.weight, w.shadow = cos, shadow, true
			all = append(all, w)
		}
	}
	p.worlds = append(p.worlds, all...)
	return nil
}

// problem puts worlds and checks in the planner's terms.
func (p *planPart) problem() advise.Problem {
	var out advise.Problem
	outcomes := make([]map[*outcome]advise.Outcome, len(p.roles))
	for j, r := range p.roles {
		out.Goals = append(out.Goals, r.key)
		outcomes[j] = map[*outcome]advise.Outcome{}
		for i := range p.worlds {
			if co := p.worlds[i].cos[j]; co != nil {
				if _, ok := outcomes[j][co.o]; !ok {
					outcomes[j][co.o] = planOutcome(co.o)
				}
			}
		}
	}
	for i := range p.worlds {
		w := &p.worlds[i]
		to := advise.World{ID: fmt.Sprintf("%06d", i), Weight: w.weight}
		for j, co := range w.cos {
			if co == nil {
				to.Outcomes = append(to.Outcomes, advise.Outcome{Class: advise.Silent})
			} else {
				to.Outcomes = append(to.Outcomes, outcomes[j][co.o])
			}
		}
		out.Worlds = append(out.Worlds, to)
	}
	for i := range p.checks {
		out.Checks = append(out.Checks, p.planCheck(&p.checks[i]))
	}
	return out
}

// planOutcome puts an outcome in the planner's terms (V1): what settles is of a
// class, and its positions are the slots.
func planOutcome(o *outcome) advise.Outcome {
	if o.kind == OutcomeNoStatement {
		return advise.Outcome{Class: advise.Unstated}
	}
	out := advise.Outcome{Class: string(o.kind)}
	for i := range o.lines {
		out.Class += "\n" + catalog.FoldValue(o.lines[i].Position)
		keys := make([]string, 0, len(o.lines[i].Choices))
		for j := range o.lines[i].Choices {
			keys = append(keys, o.lines[i].Choices[j].key())
		}
		out.Choices = append(out.Choices, keys)
	}
	return out
}

// planCheck puts a check in the planner's terms.
func (p *planPart) planCheck(c *check) advise.Check {
	out := advise.Check{ID: c.planID(), Effort: advise.Effort(c.next.Effort.Num.Shift(2).Round(0).IntPart()), Unseen: advise.DefaultUnseen}
	for i := range c.answers {
		out.Answers = append(out.Answers, strconv.Itoa(i))
	}
	bears := make([]bool, len(p.roles))
	for j, r := range p.roles {
		bears[j] = p.d.bears(c, r)
	}
	key := catalog.Fold(c.next.Mark)
	out.Worlds = make([][]advise.Chance, len(p.worlds))
	for i := range p.worlds {
		w := &p.worlds[i]
		for a := range c.answers {
			ans := &c.answers[a]
			possible := true
			for j, co := range w.cos {
				if co != nil && !ans.leave(co, bears[j]) {
					possible = false
					break
				}
			}
			if possible && c.next.Kind == CheckMark {
				for _, m := range w.seen {
					if m.mark == key {
						// No value at all stands for any other than those named.
						possible = ans.seen == nil && m.value == "" || ans.seen != nil && ans.seen.value == m.value
					}
				}
			}
			if possible {
				out.Worlds[i] = append(out.Worlds[i], advise.Chance{Answer: a, Share: 1})
			}
		}
	}
	return out
}

// first gives the first step of the plan, with the name of what would be looked
// at after each answer.
func (p *planPart) first() *NextCheck {
	tree := p.plan.Tree(1 + maxFirstAnswers)
	n := p.step(&tree, 1)
	p.helps(&tree)
	return n
}

// maxFirstAnswers bounds the answers of the next check of which it is worked out
// what would be looked at then.
const maxFirstAnswers = 12

// tree gives the whole plan, up to a bound, and how many steps are left out.
func (p *planPart) tree() (*NextCheck, int) {
	tree := p.plan.Tree(maxPlanSteps)
	left := 0
	var count func(s *advise.Step)
	count = func(s *advise.Step) {
		for i := range s.Answers {
			switch a := &s.Answers[i]; {
			case a.Leaf:
			case a.Next == nil:
				left++
			default:
				count(a.Next)
			}
		}
	}
	count(&tree)
	return p.step(&tree, math.MaxInt), left
}

// helps notes the roles that the first check settles or narrows.
func (p *planPart) helps(s *advise.Step) {
	for j, r := range p.roles {
		before := map[*candidateOutcome]bool{}
		for i := range p.worlds {
			if co := p.worlds[i].cos[j]; co != nil {
				before[co] = true
			}
		}
		for i := range s.Answers {
			a := &s.Answers[i]
			if a.Unseen {
				continue
			}
			after := map[*candidateOutcome]bool{}
			for _, id := range a.Worlds {
				if co := p.world(id).cos[j]; co != nil {
					after[co] = true
				}
			}
			if len(after) < len(before) || slices.Contains(a.Settled, r.key) {
				p.d.checkHelps[r.role.row.Role] = true
			}
		}
	}
}

func (p *planPart) world(id string) *planWorld {
	i, err := strconv.Atoi(id)
	if err != nil || i >= len(p.worlds) {
		panic("resolve: the planner speaks of a world " + id + " that it was not given")
	}
	return &p.worlds[i]
}

// takes gives what the roles that an answer settles would take.
func (p *planPart) takes(a *advise.Answer) []RoleTakes {
	out := []RoleTakes{}
	for j, r := range p.roles {
		if !slices.Contains(a.Settled, r.key) {
			continue
		}
		var cos []candidateOutcome
		have := map[*outcome]bool{}
		for _, id := range a.Worlds {
			if co := p.world(id).cos[j]; co != nil && !have[co.o] {
				have[co.o] = true
				cos = append(cos, *co)
			}
		}
		t := RoleTakes{Role: r.role.row.Role, Parts: []catalog.PartNo{}}
		_, lines := judge(cos)
		for _, l := range lines {
			for _, it := range l.Choices[0].Items {
				t.Parts = append(t.Parts, it.Part)
			}
		}
		out = append(out, t)
	}
	return out
}

// step reads a step of the planner back, with deep steps below it.
func (p *planPart) step(s *advise.Step, deep int) *NextCheck {
	at := slices.IndexFunc(p.checks, func(c check) bool { return c.planID() == s.Check })
	if s.Leaf || at < 0 {
		return nil
	}
	c := &p.checks[at]
	n := c.next
	n.Answers = []CheckAnswer{}
	for i := range s.Answers {
		a := &s.Answers[i]
		var out CheckAnswer
		if !a.Unseen {
			k, err := strconv.Atoi(a.Answer)
			if err != nil || k >= len(c.answers) {
				panic("resolve: the planner gives an answer " + a.Answer + " that it was not given")
			}
			out = c.answers[k].show
		}
		out.Unseen = a.Unseen
		out.Probability = hundredths(a.Probability)
		out.Leaves, out.Settles, out.Unsettled = []catalog.VariantCode{}, orEmpty(p.names(a.Settled)), orEmpty(p.names(a.Open))
		out.Unsettled = append(out.Unsettled, p.leftOut...)
		left, real := map[string]bool{}, false
		for _, id := range a.Worlds {
			w := p.world(id)
			real = real || !w.shadow
			if !w.shadow && !left[w.v.key] {
				left[w.v.key] = true
				if len(out.Leaves) < maxListed {
					out.Leaves = append(out.Leaves, w.v.row.Variant)
				}
			}
		}
		out.LeavesTotal = len(left)
		// Where nothing left speaks of a role, its assembly would be of another unit
		// than the one above it, and what it takes is then asked anew (C8).
		for j := range p.roles {
			out.Mixed = out.Mixed || !slices.ContainsFunc(a.Worlds, func(id string) bool { return p.world(id).cos[j] != nil })
		}
		out.Mixed = out.Mixed || !real
		out.Takes = p.takes(a)
		if !a.Leaf && deep > 0 && a.Next != nil && real {
			out.Next = p.step(a.Next, deep-1)
		} else if !a.Leaf && real && deep > 0 {
			out.Cut = true
		}
		if out.Mixed {
			out.Settles, out.Unsettled = []string{}, append(out.Settles, out.Unsettled...)
		}
		slices.SortFunc(out.Leaves, func(x, y catalog.VariantCode) int { return strings.Compare(x.Key(), y.Key()) })
		slices.Sort(out.Unsettled)
		n.Answers = append(n.Answers, out)
	}
	if deep <= 0 {
		n.Answers = []CheckAnswer{}
	}
	return &n
}
