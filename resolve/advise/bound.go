package advise

import (
	"cmp"
	"math"
	"slices"
)

// maxPairs bounds the comparisons of groups that a lower bound takes.
const maxPairs = 50_000_000

// floor gives a lower bound of the expected effort of any plan, in hundredths of
// a minute, for a problem whose root is no leaf: the first check is paid for in
// any case, and groups that cannot end at one leaf must be led apart.
//
// Take the runs in which every check is seen and the true group gives its only
// possible answer. Along them a plan is a tree with at most as many branches as
// a check has answers, whose leaves hold the groups that stay together; its least
// mean depth is Huffman's (1952) for the weights of the sets of groups that can
// share a leaf. A run that makes d checks costs at least the d smallest efforts,
// each counting as often as all checks before it are seen. The least cost for a
// mean depth is read off the convex hull of that.
func (m *model) floor() float64 {
	if len(m.checks) == 0 {
		return 0
	}
	cheapest := m.checks[0].effort
	together := m.together()
	if len(together) == 0 {
		return cheapest
	}
	ways := 2
	for i := range m.checks {
		ways = max(ways, len(m.checks[i].answers))
	}
	depth, mass := huffman(together, ways)
	mean := depth / mass

	likeliest := 0.0
	for i := range m.checks {
		likeliest = max(likeliest, m.checks[i].unseen)
	}
	cost := []float64{0} // of a run with so many checks
	seen := 1.0
	for i := range m.checks {
		cost = append(cost, cost[i]+m.checks[i].effort*seen)
		seen *= 1 - likeliest
	}
	n := len(cost) - 1
	mean = min(mean, float64(n))
	least := math.Inf(1)
	for i := 0; i <= n && float64(i) <= mean; i++ {
		for j := n; j >= i && float64(j) >= mean; j-- {
			at := cost[i]
			if j > i {
				at += (cost[j] - cost[i]) * (mean - float64(i)) / float64(j-i)
			}
			least = min(least, at)
		}
	}
	return max(cheapest, mass*least+(1-mass)*cheapest)
}

// together gives the weights of sets of groups, among those that give one answer
// to every check, such that groups of different sets can never share a leaf that
// is reached in the runs of floor.
func (m *model) together() []float64 {
	var sure, others []int32
	for i := range m.groups {
		one := !slices.ContainsFunc(m.groups[i].outcomes, func(o outcome) bool { return o.class == silent })
		for c := range m.checks {
			one = one && len(m.checks[c].kinds[m.groups[i].kind[c]].answers) == 1
		}
		if one {
			sure = append(sure, int32(i))
		} else {
			others = append(others, int32(i))
		}
	}
	if len(sure)*len(others)*len(m.checks) > maxPairs {
		return nil
	}
	// A group counts only if it settles at the end of its run all that it settles
	// alone, whatever it cannot be told from.
	sure = slices.DeleteFunc(sure, func(g int32) bool {
		end := []int32{g}
		for _, o := range others {
			apart := false
			for c := range m.checks {
				k := &m.checks[c].kinds
				if (*k)[m.groups[o].kind[c]].prob((*k)[m.groups[g].kind[c]].answers[0]) == 0 {
					apart = true
					break
				}
			}
			if !apart {
				end = append(end, o)
			}
		}
		for goal := range m.goals {
			if m.groups[g].outcomes[goal].settles() && !m.outcome(end, goal).settles() {
				return true
			}
		}
		return false
	})
	// Groups of different labels in any goal and slot settle that goal alone and
	// not together, or one of them alone: groups that share a choice are linked,
	// and what is linked has one label.
	label := make([]int32, len(m.groups))
	refine := func(by func(g int32) int32) {
		n := map[[2]int32]int32{}
		for _, g := range sure {
			k := [2]int32{label[g], by(g)}
			if _, ok := n[k]; !ok {
				n[k] = int32(len(n))
			}
			label[g] = n[k]
		}
	}
	for goal := range m.goals {
		refine(func(g int32) int32 { return m.groups[g].outcomes[goal].class })
		slots := 0
		for _, g := range sure {
			slots = max(slots, len(m.groups[g].outcomes[goal].slots))
		}
		for slot := range slots {
			parent := map[int32]int32{}
			var find func(c int32) int32
			find = func(c int32) int32 {
				if p, ok := parent[c]; ok && p != c {
					parent[c] = find(p)
					return parent[c]
				}
				return c
			}
			choices := func(g int32) []int32 {
				if s := m.groups[g].outcomes[goal].slots; slot < len(s) {
					return s[slot]
				}
				return nil
			}
			for _, g := range sure {
				for i, c := range choices(g) {
					if i > 0 {
						parent[find(c)] = find(choices(g)[0])
					}
				}
			}
			refine(func(g int32) int32 {
				if c := choices(g); len(c) > 0 {
					return find(c[0])
				}
				return 0
			})
		}
	}
	weights := map[int32]float64{}
	for _, g := range sure {
		weights[label[g]] += m.groups[g].weight
	}
	out := make([]float64, 0, len(weights))
	for _, w := range weights {
		out = append(out, w)
	}
	slices.Sort(out)
	return out
}

// huffman gives the least sum of weight times depth of a tree with so many ways
// at each node, and the sum of the weights.
func huffman(weights []float64, ways int) (depth, mass float64) {
	for _, w := range weights {
		mass += w
	}
	queue := slices.Clone(weights)
	for (len(queue)-1)%(ways-1) != 0 {
		queue = append(queue, 0)
	}
	slices.Sort(queue)
	for len(queue) > 1 {
		sum := 0.0
		for _, w := range queue[:ways] {
			sum += w
		}
		depth += sum
		queue = queue[ways:]
		at, _ := slices.BinarySearchFunc(queue, sum, cmp.Compare[float64])
		queue = slices.Insert(queue, at, sum)
	}
	return depth, mass
}
