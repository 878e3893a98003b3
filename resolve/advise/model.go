package advise

import (
	"cmp"
	"encoding/binary"
	"math"
	"slices"
	"strconv"
	"strings"
)

// model is a problem in canonical order: worlds, goals and checks by id, checks
// by effort first, so that the lowest index is what ties are broken by. Worlds
// that answer every check alike are one group, since nothing tells them apart.
type model struct {
	p       *Problem
	checks  []check // those that tell groups apart
	groups  []group
	goals   []string // open ones: not settled by all groups, settled by some
	settled []string // goals that all worlds settle as they stand
	never   []string // goals that no group settles
	sure    bool     // every group gives one answer to every check
	seen    bool     // every check can be seen
	silent  bool     // some world does not speak of some goal
}

type check struct {
	of      *Check
	effort  float64 // hundredths of a minute
	unseen  float64
	answers []int       // index in Check.Answers, by name
	kinds   []behaviour // the different ways in which groups answer
}

// behaviour is a way to answer a check: the answers by their index in
// check.answers, ascending, with probabilities that add up to 1.
type behaviour struct {
	answers []int32
	p       []float64
}

func (b *behaviour) prob(answer int32) float64 {
	for i, a := range b.answers {
		if a == answer {
			return b.p[i]
		}
	}
	return 0
}

type group struct {
	worlds   []int32 // indices in Problem.Worlds, by id
	weight   float64 // of all groups together 1
	kind     []int32 // for each check the behaviour
	outcomes []outcome
	class    int32 // of the greedy rule
}

// outcome is what a set of worlds comes to in a goal: the class, 0 if they do not
// settle it, or silent, and the choices common to all in each slot, ascending. The
// number of slots is part of the class.
type outcome struct {
	class int32
	slots [][]int32
}

// silent is the class of worlds of which none speaks of the goal.
const silent = -1

// settles tells whether the set settles the goal.
func (a outcome) settles() bool { return a.class > 0 }

// join gives the outcome of two sets together.
func (a outcome) join(b outcome) outcome {
	switch {
	case a.class == silent:
		return b
	case b.class == silent:
		return a
	}
	if a.class == 0 || a.class != b.class {
		return outcome{}
	}
	if len(a.slots) == 0 {
		return a
	}
	slots := make([][]int32, len(a.slots))
	for i := range slots {
		if slots[i] = common(a.slots[i], b.slots[i]); len(slots[i]) == 0 {
			return outcome{}
		}
	}
	return outcome{a.class, slots}
}

func common(a, b []int32) []int32 {
	if slices.Equal(a, b) {
		return a
	}
	var out []int32
	for i, j := 0, 0; i < len(a) && j < len(b); {
		switch {
		case a[i] < b[j]:
			i++
		case a[i] > b[j]:
			j++
		default:
			out = append(out, a[i])
			i++
			j++
		}
	}
	return out
}

// meets tells whether join would settle the goal.
func (a outcome) meets(b outcome) bool {
	if a.class == silent || b.class == silent {
		return a.settles() || b.settles()
	}
	if a.class == 0 || a.class != b.class {
		return false
	}
	for i := range a.slots {
		if !meet(a.slots[i], b.slots[i]) {
			return false
		}
	}
	return true
}

func meet(a, b []int32) bool {
	for i, j := 0, 0; i < len(a) && j < len(b); {
		switch {
		case a[i] < b[j]:
			i++
		case a[i] > b[j]:
			j++
		default:
			return true
		}
	}
	return false
}

func (a outcome) equal(b outcome) bool {
	return a.class == b.class && slices.EqualFunc(a.slots, b.slots, slices.Equal[[]int32])
}

func newModel(p *Problem) *model {
	m := &model{p: p, sure: true, seen: true}
	worlds := indices(len(p.Worlds), func(a, b int32) int { return strings.Compare(p.Worlds[a].ID, p.Worlds[b].ID) })
	checks := indices(len(p.Checks), func(a, b int32) int {
		return cmp.Or(cmp.Compare(p.Checks[a].Effort, p.Checks[b].Effort), strings.Compare(p.Checks[a].ID, p.Checks[b].ID))
	})
	kinds := make([][]int32, 0, len(checks)) // for each check, by index of the world
	for _, i := range checks {
		c, kind := newCheck(&p.Checks[i])
		if len(c.kinds) > 1 {
			m.checks, kinds = append(m.checks, c), append(kinds, kind)
		}
	}

	heaviest := 0.0
	for _, i := range worlds {
		heaviest = max(heaviest, p.Worlds[i].Weight)
	}
	total := 0.0
	for _, i := range worlds {
		total += p.Worlds[i].Weight / heaviest
	}
	index := make(map[string]int, len(worlds))
	key := make([]byte, 4*len(kinds))
	for _, i := range worlds {
		for c := range kinds {
			binary.LittleEndian.PutUint32(key[4*c:], uint32(kinds[c][i]))
		}
		at, ok := index[string(key)]
		if !ok {
			at = len(m.groups)
			index[string(key)] = at
			g := group{kind: make([]int32, len(kinds))}
			for c := range kinds {
				g.kind[c] = kinds[c][i]
			}
			m.groups = append(m.groups, g)
		}
		g := &m.groups[at]
		g.worlds = append(g.worlds, i)
		g.weight += p.Worlds[i].Weight / heaviest / total
	}
	m.readGoals()
	for i := range m.checks {
		m.seen = m.seen && m.checks[i].unseen == 0
		for _, k := range m.checks[i].kinds {
			m.sure = m.sure && len(k.answers) == 1
		}
	}
	return m
}

func indices(n int, order func(a, b int32) int) []int32 {
	out := make([]int32, n)
	for i := range out {
		out[i] = int32(i)
	}
	slices.SortFunc(out, order)
	return out
}

// newCheck gathers the different ways in which worlds answer a check, and which
// way each world has.
func newCheck(of *Check) (check, []int32) {
	c := check{of: of, effort: float64(of.Effort), unseen: of.Unseen}
	byName := indices(len(of.Answers), func(a, b int32) int { return strings.Compare(of.Answers[a], of.Answers[b]) })
	rank := make([]int32, len(byName))
	for r, i := range byName {
		rank[i] = int32(r)
		c.answers = append(c.answers, int(i))
	}
	kind := make([]int32, len(of.Worlds))
	single := make([]int32, len(byName)) // the behaviour that gives this answer alone, counted from 1
	several := map[string]int32{}
	for w, chances := range of.Worlds {
		if len(chances) == 1 {
			a := rank[chances[0].Answer]
			if single[a] == 0 {
				c.kinds = append(c.kinds, behaviour{[]int32{a}, []float64{1}})
				single[a] = int32(len(c.kinds))
			}
			kind[w] = single[a] - 1
			continue
		}
		var b behaviour
		if len(chances) == 0 {
			for r := range byName {
				b.answers, b.p = append(b.answers, int32(r)), append(b.p, 1/float64(len(byName)))
			}
		} else {
			order := indices(len(chances), func(i, j int32) int { return cmp.Compare(rank[chances[i].Answer], rank[chances[j].Answer]) })
			largest, sum := 0.0, 0.0
			for _, i := range order {
				largest = max(largest, chances[i].Share)
			}
			for _, i := range order {
				sum += chances[i].Share / largest
			}
			for _, i := range order {
				b.answers, b.p = append(b.answers, rank[chances[i].Answer]), append(b.p, chances[i].Share/largest/sum)
			}
		}
		var key []byte
		for i := range b.answers {
			key = binary.LittleEndian.AppendUint32(key, uint32(b.answers[i]))
			key = binary.LittleEndian.AppendUint64(key, math.Float64bits(b.p[i]))
		}
		at, ok := several[string(key)]
		if !ok {
			at = int32(len(c.kinds))
			several[string(key)] = at
			c.kinds = append(c.kinds, b)
		}
		kind[w] = at
	}
	// One answer alone is no answer at all: nobody can say anything else.
	if len(byName) == 1 {
		c.kinds = c.kinds[:1]
	}
	return c, kind
}

// readGoals numbers classes and choices, and keeps the goals that are open.
func (m *model) readGoals() {
	goals := indices(len(m.p.Goals), func(a, b int32) int { return strings.Compare(m.p.Goals[a], m.p.Goals[b]) })
	for _, goal := range goals {
		classes, choices := map[string]int32{}, map[string]int32{}
		number := func(of map[string]int32, s string) int32 {
			n, ok := of[s]
			if !ok {
				n = int32(len(of)) + 1
				of[s] = n
			}
			return n
		}
		read := func(w int32) outcome {
			o := &m.p.Worlds[w].Outcomes[goal]
			switch o.Class {
			case Unstated:
				return outcome{}
			case Silent:
				m.silent = true
				return outcome{class: silent}
			}
			out := outcome{class: number(classes, strconv.Itoa(len(o.Choices))+" "+o.Class)}
			for _, slot := range o.Choices {
				if len(slot) == 0 {
					return outcome{}
				}
				ids := make([]int32, len(slot))
				for i, c := range slot {
					ids[i] = number(choices, c)
				}
				slices.Sort(ids)
				out.slots = append(out.slots, slices.Compact(ids))
			}
			return out
		}
		of := make([]outcome, len(m.groups))
		all, some := outcome{}, false
		for i := range m.groups {
			for j, w := range m.groups[i].worlds {
				if o := read(w); j == 0 {
					of[i] = o
				} else {
					of[i] = of[i].join(o)
				}
			}
			some = some || of[i].settles()
			if i == 0 {
				all = of[i]
			} else {
				all = all.join(of[i])
			}
		}
		switch {
		case all.settles() && !slices.ContainsFunc(of, func(o outcome) bool { return o.class == silent }):
			m.settled = append(m.settled, m.p.Goals[goal])
		case !some:
			m.never = append(m.never, m.p.Goals[goal])
		default:
			m.goals = append(m.goals, m.p.Goals[goal])
			for i := range m.groups {
				m.groups[i].outcomes = append(m.groups[i].outcomes, of[i])
			}
		}
	}
}

// maxFits bounds the classes that a group is tried in; a new class is always
// right, only less apt.
const maxFits = 64

// classify puts the groups into classes for the greedy rule, first fit, heaviest
// first, and tells whether the classes are a true partition: no two groups of
// different classes settle the same goals together that they settle alone.
func (m *model) classify() bool {
	type class struct {
		id     int32
		joined []outcome
	}
	compatible := func(a, b []outcome) bool {
		for g := range a {
			if a[g].class != b[g].class || a[g].settles() && !a[g].meets(b[g]) {
				return false
			}
		}
		return true
	}
	buckets := map[string][]*class{} // by the classes in all goals
	key := make([]byte, 4*len(m.goals))
	n := int32(0)
	order := indices(len(m.groups), func(a, b int32) int {
		return cmp.Or(-cmp.Compare(m.groups[a].weight, m.groups[b].weight), cmp.Compare(a, b))
	})
	for _, i := range order {
		o := m.groups[i].outcomes
		for g := range o {
			binary.LittleEndian.PutUint32(key[4*g:], uint32(o[g].class))
		}
		list := buckets[string(key)]
		at := slices.IndexFunc(list[:min(len(list), maxFits)], func(c *class) bool { return compatible(c.joined, o) })
		if at < 0 {
			buckets[string(key)] = append(list, &class{n, o})
			m.groups[i].class = n
			n++
			continue
		}
		c := list[at]
		joined := make([]outcome, len(o))
		for g := range o {
			joined[g] = c.joined[g].join(o[g])
		}
		c.joined = joined
		m.groups[i].class = c.id
	}
	if m.silent {
		return false // what is silent goes with several classes
	}
	// A true partition: the outcomes within a class are all alike, and those of
	// two classes never compatible. Other partitions are possible and not claimed.
	for _, list := range buckets {
		if len(list) > maxFits {
			return false
		}
		for i, c := range list {
			if slices.ContainsFunc(list[:i], func(b *class) bool { return compatible(b.joined, c.joined) }) {
				return false
			}
		}
	}
	joined := make([][]outcome, n)
	for _, list := range buckets {
		for _, c := range list {
			joined[c.id] = c.joined
		}
	}
	for i := range m.groups {
		if !slices.EqualFunc(m.groups[i].outcomes, joined[m.groups[i].class], outcome.equal) {
			return false
		}
	}
	return true
}
