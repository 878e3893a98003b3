package advise

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
)

// identify makes the problem of finding out which of the worlds is the true one.
func identify(weights ...float64) Problem {
	p := Problem{Goals: []string{"which"}}
	for i, w := range weights {
		id := fmt.Sprintf("%02d", i)
		p.Worlds = append(p.Worlds, World{ID: id, Weight: w, Outcomes: []Outcome{{Class: id}}})
	}
	return p
}

// test adds a check that tells whether the world is one of a set.
func (p *Problem) test(id string, effort Effort, set ...int) {
	c := Check{ID: id, Effort: effort, Answers: []string{"no", "yes"}}
	for w := range p.Worlds {
		c.Worlds = append(c.Worlds, Sure(b2i(slices.Contains(set, w))))
	}
	p.Checks = append(p.Checks, c)
}

func near(t *testing.T, what string, got, want float64) {
	t.Helper()
	if math.Abs(got-want) > small {
		t.Errorf("%s: %v, want %v", what, got, want)
	}
}

// TestHuffman: with all binary tests allowed, at equal cost, the best plan is the
// Huffman tree (M. R. Garey, "Optimal binary identification procedures", SIAM J.
// Appl. Math. 23 (1972) 173-186), and Shannon's bound is H <= E < H + 1.
func TestHuffman(t *testing.T) {
	for _, tc := range []struct {
		weights []float64
		want    float64
	}{
		// The table of D. A. Huffman, "A Method for the Construction of
		// Minimum-Redundancy Codes", Proc. IRE 40 (1952): list and 3.42 from memory;
		// that the list gives 3.42 is computed (Python heapq).
		{[]float64{20, 18, 10, 10, 10, 6, 6, 4, 4, 4, 4, 3, 1}, 3.42},
		// Computed (Python heapq).
		{[]float64{.25, .25, .2, .15, .15}, 2.3},
		{[]float64{.5, .25, .125, .125}, 1.75},
		{[]float64{.4, .2, .2, .1, .1}, 2.2},
		{[]float64{1, 1, 1, 1, 1}, 2.4},
		{[]float64{1, 1, 1, 1, 1, 1}, 8.0 / 3},
	} {
		n := len(tc.weights)
		sum, entropy := 0.0, 0.0
		for _, w := range tc.weights {
			sum += w
		}
		for _, w := range tc.weights {
			entropy -= w / sum * math.Log2(w/sum)
		}
		all := identify(tc.weights...)
		for set := 1; set < 1<<(n-1); set++ {
			var in []int
			for w := range n {
				if set&(1<<w) != 0 {
					in = append(in, w)
				}
			}
			all.test(fmt.Sprintf("%04x", set), 100, in...)
		}
		if n <= 6 {
			s := mustNew(t, all, Options{ExactChecks: 31}).Summary()
			if s.Method != Exact {
				t.Errorf("%v: %+v", tc.weights, s)
			}
			near(t, fmt.Sprint(tc.weights), s.Expected, tc.want)
			if s.Expected < entropy-small || s.Expected >= entropy+1 {
				t.Errorf("%v: %v is not within Shannon's bound of %v", tc.weights, s.Expected, entropy)
			}
		}
		// The greedy rule over every split there is, four thousand for the longest
		// list: its lower bound is Huffman's.
		s := mustNew(t, all, Options{Greedy: true}).Summary()
		near(t, fmt.Sprint("lower bound of ", tc.weights), s.Lower, tc.want)
		if s.Expected < tc.want-small || s.Expected > math.Sqrt(s.Factor)*tc.want || s.Cut > 0 {
			t.Errorf("%v greedy: %+v", tc.weights, s)
		}
		// The splits of the Huffman tree itself among others that mislead.
		some := identify(tc.weights...)
		type tree struct {
			weight float64
			in     []int
		}
		var queue []tree
		for i, w := range tc.weights {
			queue = append(queue, tree{w, []int{i}})
			some.test(fmt.Sprint("next ", i), 100, i, (i+1)%n)
			some.test(fmt.Sprint("half ", i), 100, i, (i+2)%n, (i+4)%n, (i+5)%n, (i+7)%n)
		}
		for len(queue) > 1 {
			slices.SortStableFunc(queue, func(a, b tree) int { return int(math.Round(1e6 * (a.weight - b.weight))) })
			some.test(fmt.Sprint("huffman ", len(queue)), 100, queue[0].in...)
			queue = append(queue[2:], tree{queue[0].weight + queue[1].weight, slices.Concat(queue[0].in, queue[1].in)})
		}
		s = mustNew(t, some, Options{ExactGroups: 13, ExactChecks: 64}).Summary()
		if s.Method != Exact {
			t.Errorf("%v: %+v", tc.weights, s)
		}
		near(t, fmt.Sprint(tc.weights, " among others"), s.Expected, tc.want)
	}
}

// TestTwelveCoins: one of twelve coins is heavier or lighter; three weighings find
// it and how it differs, two do not (24 states, 27 and 9 outcomes;
// av8n.com/physics/twelve-coins.htm). The three fixed weighings, and which coin
// each way of tipping and its reverse stand for, are those of
// the-too-much-fun-club.blogspot.com/2007/06/july-1st-games-begin.html.
func TestTwelveCoins(t *testing.T) {
	weighings := [][2][]int{
		{{1, 2, 3, 4}, {5, 6, 7, 8}},
		{{1, 2, 3, 6}, {4, 9, 10, 11}},
		{{1, 4, 7, 10}, {2, 5, 9, 12}},
	}
	shows := []string{"LLL", "LLR", "LLE", "LRL", "LEL", "LRE", "LER", "LEE", "ELL", "ELR", "ELE", "EEL"}
	coins := func(genuine bool, weighings ...[2][]int) Problem {
		p := Problem{Goals: []string{"coin"}}
		for coin := 1; coin <= 12; coin++ {
			for _, how := range []string{"heavy", "light"} {
				id := fmt.Sprintf("%02d %s", coin, how)
				p.Worlds = append(p.Worlds, World{ID: id, Weight: 1, Outcomes: []Outcome{{Class: id}}})
			}
		}
		if genuine {
			p.Worlds = append(p.Worlds, World{ID: "none", Weight: 1, Outcomes: []Outcome{{Class: "none"}}})
		}
		for i, w := range weighings {
			c := Check{ID: fmt.Sprint("weighing ", i+1), Effort: 100, Answers: []string{"L", "E", "R"}}
			for i := range p.Worlds {
				coin, light := i/2+1, i%2
				answer := 1
				if slices.Contains(w[0], coin) {
					answer = 2 * light
				} else if slices.Contains(w[1], coin) {
					answer = 2 - 2*light
				}
				c.Worlds = append(c.Worlds, Sure(answer))
			}
			p.Checks = append(p.Checks, c)
		}
		return p
	}
	for _, genuine := range []bool{false, true} {
		p := coins(genuine, weighings...)
		plan := mustNew(t, p, Options{ExactGroups: 25})
		s := plan.Summary()
		if s.Method != Exact || s.Worst != 3 || s.Groups != 24+b2i(genuine) {
			t.Errorf("three weighings: %+v", s)
		}
		found := map[string]bool{}
		for coin, show := range shows {
			for _, tips := range []string{show, strings.NewReplacer("L", "R", "R", "L").Replace(show)} {
				var path []int
				step, left := plan.First(), []string{}
				for !step.Leaf {
					var n int
					if _, err := fmt.Sscanf(step.Check, "weighing %d", &n); err != nil {
						t.Fatal(err)
					}
					at := slices.IndexFunc(step.Answers, func(a Answer) bool { return a.Answer == tips[n-1:n] })
					if at < 0 {
						t.Fatalf("coin %d: no answer %s to %s", coin+1, tips[n-1:n], step.Check)
					}
					left, path = step.Answers[at].Worlds, append(path, at)
					var err error
					if step, err = plan.Expand(path...); err != nil {
						t.Fatal(err)
					}
				}
				if len(left) != 1 || !strings.HasPrefix(left[0], fmt.Sprintf("%02d ", coin+1)) || !slices.Equal(step.Settled, []string{"coin"}) {
					t.Errorf("%s: %v %+v, want coin %d", tips, left, step, coin+1)
					continue
				}
				found[left[0]] = true
			}
		}
		if len(found) != 24 {
			t.Errorf("%d states found, want 24", len(found))
		}
	}
	// Two weighings: whichever two, some coin stays unsettled; and whatever others
	// there are besides, any plan that settles all makes more than two.
	for drop := range weighings {
		two := slices.Delete(slices.Clone(weighings), drop, drop+1)
		tree := mustNew(t, coins(false, two...), Options{ExactGroups: 25}).Tree(100)
		unsettled := tree.Leaf && len(tree.Open) > 0
		var walk func(s *Step)
		walk = func(s *Step) {
			for _, a := range s.Answers {
				unsettled = unsettled || a.Leaf && len(a.Open) > 0
				if a.Next != nil {
					walk(a.Next)
				}
			}
		}
		if walk(&tree); !unsettled {
			t.Errorf("without weighing %d all coins are settled", drop+1)
		}
	}
	many := slices.Clone(weighings)
	for i := range 40 {
		at := func(n int) int { return 1 + (i*5+n*(1+i%5))%12 }
		var left, right []int
		for n := range 4 {
			if !slices.Contains(right, at(n)) {
				left = append(left, at(n))
			}
			if !slices.Contains(left, at(n+4)) {
				right = append(right, at(n+4))
			}
		}
		k := min(len(left), len(right))
		many = append(many, [2][]int{left[:k], right[:k]})
	}
	if s := mustNew(t, coins(false, many...), Options{}).Summary(); s.Lower <= 2 || s.Method != Greedy {
		t.Errorf("two weighings might do: %+v", s)
	}
}

// order follows a plan by one answer.
func order(t *testing.T, p *Plan, answer string) []string {
	t.Helper()
	var out []string
	var path []int
	for {
		step, err := p.Expand(path...)
		if err != nil {
			t.Fatal(err)
		}
		if step.Leaf {
			return out
		}
		out = append(out, step.Check)
		at := slices.IndexFunc(step.Answers, func(a Answer) bool { return a.Answer == answer })
		if at < 0 {
			return out
		}
		path = append(path, at)
	}
}

// TestSearchOrder: where one of several places holds the fault, the one with the
// largest probability for its cost is looked at next (Blackwell, in M. C. Chew,
// "A Sequential Search Procedure", Ann. Math. Statist. 38 (1967) 494-502). The
// efforts and orders are computed by trying all permutations.
func TestSearchOrder(t *testing.T) {
	for _, tc := range []struct {
		p, cost []float64
		order   []string
		want    float64
	}{
		{[]float64{20, 25, 30, 10, 15}, []float64{6, 5, 10, 4, 12}, []string{"2", "1", "3", "4", "5"}, 17.8},
		{[]float64{10, 30, 15, 25, 20}, []float64{2, 9, 3, 10, 4}, []string{"1", "3", "5", "2", "4"}, 15.15},
	} {
		// That the fault is nowhere is next to impossible, and makes the last place
		// worth looking at.
		const nowhere = 1e-9
		p := identify(append(slices.Clone(tc.p), nowhere)...)
		for i, c := range tc.cost {
			p.test(fmt.Sprint(i+1), Effort(100*c), i)
		}
		plan := mustNew(t, p, Options{})
		if got := plan.Summary().Expected; math.Abs(got-tc.want) > 1e-7 {
			t.Errorf("%v: %v, want %v", tc.p, got, tc.want)
		}
		if got := order(t, plan, "no"); !slices.Equal(got, tc.order) {
			t.Errorf("%v: order %v, want %v", tc.p, got, tc.order)
		}
	}

	// Where the last suspect need not be looked at, the rule is wrong: its order 4 1
	// 3 (2) takes 19.15.
	p := identify(30, 10, 35, 25)
	for i, c := range []Effort{900, 1000, 1200, 700} {
		p.test(fmt.Sprint(i+1), c, i)
	}
	plan := mustNew(t, p, Options{})
	near(t, "last not looked at", plan.Summary().Expected, 18.25)
	if got := order(t, plan, "no"); !slices.Equal(got, []string{"4", "1", "2"}) {
		t.Errorf("last not looked at: order %v", got)
	}

	// Accept or reject: four independent tests, all of which must pass; the first
	// to reject ends it. By cost over probability of rejecting: 4 1 3 2, and 7.56
	// (computed by trying all permutations).
	series := Problem{Goals: []string{"accept"}}
	reject, cost := []float64{.1, .3, .5, .2}, []Effort{100, 400, 600, 100}
	for set := range 16 {
		w := World{ID: fmt.Sprintf("%04b", set), Weight: 1, Outcomes: []Outcome{{Class: "reject"}}}
		if set == 0 {
			w.Outcomes[0].Class = "accept"
		}
		for i, r := range reject {
			if set&(1<<i) != 0 {
				w.Weight *= r
			} else {
				w.Weight *= 1 - r
			}
		}
		series.Worlds = append(series.Worlds, w)
	}
	for i, c := range cost {
		var rejected []int
		for set := range 16 {
			if set&(1<<i) != 0 {
				rejected = append(rejected, set)
			}
		}
		series.test(fmt.Sprint(i+1), c, rejected...)
	}
	plan = mustNew(t, series, Options{ExactGroups: 16})
	near(t, "accept or reject", plan.Summary().Expected, 7.56)
	if got := order(t, plan, "no"); !slices.Equal(got, []string{"4", "1", "3", "2"}) {
		t.Errorf("accept or reject: order %v", got)
	}
}

// TestRestricted: binary identification with few tests (computed by dynamic
// programming over subsets). The last is one where taking the most information
// first takes 8/3, and shows that the plan is no mere rule.
func TestRestricted(t *testing.T) {
	sets := [][]int{{0, 1}, {0, 2}, {1, 3}, {3}, {0, 3, 4}}
	for _, tc := range []struct {
		cost []Effort
		want float64
	}{{[]Effort{100, 100, 100, 100, 100}, 2.2}, {[]Effort{300, 200, 100, 100, 200}, 3.7}} {
		p := identify(.4, .2, .2, .1, .1)
		for i, set := range sets {
			p.test(fmt.Sprint(i), tc.cost[i], set...)
		}
		near(t, fmt.Sprint(tc.cost), mustNew(t, p, Options{}).Summary().Expected, tc.want)
	}
	p := identify(4, 6, 2, 9, 2, 1)
	for i, set := range [][]int{{3, 5}, {1, 2, 3}, {5}, {2, 3, 5}, {0, 1, 5}} {
		p.test(fmt.Sprint(i), 100, set...)
	}
	near(t, "not greedy", mustNew(t, p, Options{}).Summary().Expected, 19.0/8)
}
