package advise

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// gearboxes is an invented small case: four variants, told apart by the teeth of
// a gear, the length of a shaft with bands that overlap, and a colour of which
// nothing is recorded for one.
func gearboxes() Problem {
	takes := func(parts ...string) []Outcome { return []Outcome{{"takes", [][]string{parts}}} }
	return Problem{
		Goals: []string{"pan-gasket"},
		Worlds: []World{
			{"quay-1", 300, takes("G1")},
			{"quay-2", 100, takes("G1", "G2")},
			{"quay-3", 50, takes("G2")},
			{"quay-4", 50, []Outcome{{Class: Unstated}}},
		},
		Checks: []Check{
			{ID: "teeth", Effort: 1200, Unseen: 0.1, Answers: []string{"31", "29"}, Worlds: [][]Chance{Sure(0), Sure(0), Sure(1), Sure(1)}},
			{ID: "shaft", Effort: 300, Answers: []string{"98.0", "98.4", "99.0"}, Worlds: [][]Chance{Sure(0), {{0, 1}, {1, 1}}, Sure(1), Sure(2)}},
			{ID: "colour", Effort: 50, Answers: []string{"grey", "green"}, Worlds: [][]Chance{Sure(0), nil, Sure(0), Sure(1)}},
		},
	}
}

func TestPlan(t *testing.T) {
	plan := mustNew(t, gearboxes(), Options{})
	// By hand. "98.4" leaves quay-2 and quay-3, which both take G2; "99.0" leaves
	// quay-4 alone, of which nothing is stated and nothing more can be. "98.0"
	// leaves quay-1 and quay-2, which both take G1. The shaft settles all at once;
	// the colour first costs half a minute and saves the shaft never.
	want := Step{
		Check: "shaft", Effort: 300, Left: 4, Open: []string{"pan-gasket"},
		Answers: []Answer{
			{Answer: "98.0", Probability: 0.7, Worlds: []string{"quay-1", "quay-2"}, Settled: []string{"pan-gasket"}, Leaf: true},
			{Answer: "98.4", Probability: 0.2, Worlds: []string{"quay-2", "quay-3"}, Settled: []string{"pan-gasket"}, Leaf: true},
			{Answer: "99.0", Probability: 0.1, Worlds: []string{"quay-4"}, Open: []string{"pan-gasket"}, Leaf: true},
		},
	}
	about := cmp.Comparer(func(a, b float64) bool { return math.Abs(a-b) < small })
	if diff := cmp.Diff(want, plan.First(), about); diff != "" {
		t.Error(diff)
	}
	if diff := cmp.Diff(want, plan.Tree(10), about); diff != "" {
		t.Error(diff)
	}
	if diff := cmp.Diff(Summary{Method: Exact, Groups: 4, Checks: 3, Expected: 3, Lower: 3, Worst: 3, WorstSeen: 3}, plan.Summary(), about); diff != "" {
		t.Error(diff)
	}
	leaf, err := plan.Expand(2)
	if err != nil || !leaf.Leaf || leaf.Left != 1 || leaf.Check != "" {
		t.Errorf("%+v, %v", leaf, err)
	}
	for _, path := range [][]int{{3}, {-1}, {0, 0}} {
		var pe *PathError
		if _, err := plan.Expand(path...); !errors.As(err, &pe) || pe.Depth != len(path)-1 {
			t.Errorf("%v: %v", path, err)
		}
	}
}

// TestUnseen: when a check cannot be seen the plan goes on without it.
func TestUnseen(t *testing.T) {
	p := identify(1, 1)
	p.test("near", 100, 0)
	p.test("far", 250, 0)
	p.Checks[0].Unseen, p.Checks[1].Unseen = 0.2, 0.5
	plan := mustNew(t, p, Options{})
	near(t, "expected", plan.Summary().Expected, 1+0.2*2.5) // by hand
	if s := plan.Summary(); s.Worst != 3.5 || s.WorstSeen != 1 {
		t.Errorf("%+v", s)
	}
	step, err := plan.Expand(2)
	if err != nil || step.Check != "far" || !plan.First().Answers[2].Unseen {
		t.Errorf("%+v, %v", step, err)
	}
	if end, err := plan.Expand(2, 2); err != nil || !end.Leaf || !slices.Equal(end.Open, []string{"which"}) {
		t.Errorf("%+v, %v", end, err)
	}
}

// TestNothingToDo: no check is proposed where nothing can be settled or all is.
func TestNothingToDo(t *testing.T) {
	p := gearboxes()
	p.Worlds = p.Worlds[:2]
	for i := range p.Checks {
		p.Checks[i].Worlds = p.Checks[i].Worlds[:2]
	}
	for _, o := range []Options{{}, {Greedy: true}} {
		plan := mustNew(t, p, o)
		if s := plan.Summary(); s.Method != Exact || s.Expected != 0 || !slices.Equal(s.Settled, []string{"pan-gasket"}) || !plan.First().Leaf {
			t.Errorf("settled: %+v", s)
		}
	}
	q := identify(1, 1, 1)
	q.test("nothing", 100)
	plan := mustNew(t, q, Options{})
	if s := plan.Summary(); s.Groups != 1 || s.Checks != 0 || !slices.Equal(s.Never, []string{"which"}) || !plan.First().Leaf {
		t.Errorf("cannot be settled: %+v", s)
	}
	// A goal that overlapping answers keep out of reach is not chased.
	r := identify(1, 1)
	r.Checks = []Check{{ID: "band", Effort: 100, Answers: []string{"low", "middle", "high"}, Worlds: [][]Chance{{{0, 1}, {1, 2}}, {{0, 3}, {1, 1}}}}}
	plan = mustNew(t, r, Options{})
	if s := plan.Summary(); !slices.Equal(s.Never, []string{"which"}) || !plan.First().Leaf {
		t.Errorf("out of reach: %+v", s)
	}
	// Where one band sticks out it is.
	r.Checks[0].Worlds[1] = []Chance{{1, 1}, {2, 1}}
	if first := mustNew(t, r, Options{}).First(); first.Check != "band" || first.Answers[1].Leaf != true || len(first.Answers[1].Open) != 1 {
		t.Errorf("within reach: %+v", first)
	}
}

// TestTies: of equally good checks the cheaper comes first, then the first by id.
func TestTies(t *testing.T) {
	p := identify(1, 1, 1, 1)
	p.test("b", 100, 0, 1)
	p.test("a", 100, 0, 2)
	for _, o := range []Options{{}, {Greedy: true}} {
		if got := mustNew(t, p, o).First().Check; got != "a" {
			t.Errorf("%+v: %s first", o, got)
		}
	}
	q := identify(1, 1, 1, 1)
	q.test("x", 100, 0, 1)
	q.test("z", 50, 0, 2)
	q.test("y", 50, 0, 2)
	for _, o := range []Options{{}, {Greedy: true}} {
		if got := mustNew(t, q, o).First().Check; got != "y" {
			t.Errorf("%+v: %s first", o, got)
		}
	}
}

// shuffled gives the same problem in another order.
func shuffled(p Problem, r *rand.Rand) Problem {
	goals, worlds, checks := r.Perm(len(p.Goals)), r.Perm(len(p.Worlds)), r.Perm(len(p.Checks))
	var out Problem
	for _, g := range goals {
		out.Goals = append(out.Goals, p.Goals[g])
	}
	for _, w := range worlds {
		v := p.Worlds[w]
		v.Outcomes = nil
		for _, g := range goals {
			o := p.Worlds[w].Outcomes[g]
			for i := range o.Choices {
				o.Choices = slices.Clone(o.Choices)
				o.Choices[i] = slices.Clone(o.Choices[i])
				r.Shuffle(len(o.Choices[i]), func(a, b int) { o.Choices[i][a], o.Choices[i][b] = o.Choices[i][b], o.Choices[i][a] })
			}
			v.Outcomes = append(v.Outcomes, o)
		}
		out.Worlds = append(out.Worlds, v)
	}
	for _, c := range checks {
		d := p.Checks[c]
		d.Worlds = nil
		for _, w := range worlds {
			chances := slices.Clone(p.Checks[c].Worlds[w])
			r.Shuffle(len(chances), func(a, b int) { chances[a], chances[b] = chances[b], chances[a] })
			d.Worlds = append(d.Worlds, chances)
		}
		out.Checks = append(out.Checks, d)
	}
	return out
}

// TestOrderChangesNothing: plans are equal to the last bit whatever the order of
// goals, worlds, checks and chances.
func TestOrderChangesNothing(t *testing.T) {
	same := func(name string, p Problem, r *rand.Rand, o Options) {
		a, b := mustNew(t, p, o), mustNew(t, shuffled(p, r), o)
		if diff := cmp.Diff(a.Summary(), b.Summary()); diff != "" {
			t.Fatalf("%s, %+v: %s", name, o, diff)
		}
		if diff := cmp.Diff(a.Tree(60), b.Tree(60)); diff != "" {
			t.Fatalf("%s, %+v: %s", name, o, diff)
		}
	}
	for seed := range uint64(300) {
		r := rand.New(rand.NewPCG(seed, 3))
		p := random(r)
		for _, o := range []Options{{}, {Greedy: true}, {Budget: 2}} {
			same(fmt.Sprint("problem ", seed), p, r, o)
		}
	}
	r := rand.New(rand.NewPCG(1, 4))
	same("many", invented(1, 300, 20, 9, 0, 0.05), r, Options{Walk: 100_000})
	same("many that overlap", invented(2, 120, 12, 9, 10, 0), r, Options{Walk: 100_000})
	same("twelve", invented(3, 12, 10, 4, 10, 0.05), r, Options{})
}

// TestMergingChangesNothing: worlds of one outcome that answer alike are one.
func TestMergingChangesNothing(t *testing.T) {
	for seed := range uint64(500) {
		r := rand.New(rand.NewPCG(seed, 5))
		p := random(r)
		apart := p
		apart.Worlds, apart.Checks = slices.Clone(p.Worlds), slices.Clone(p.Checks)
		w := r.IntN(len(p.Worlds))
		part := p.Worlds[w].Weight * (0.1 + 0.8*r.Float64())
		apart.Worlds[w].Weight -= part
		twin := p.Worlds[w]
		twin.ID, twin.Weight = "twin", part
		apart.Worlds = append(apart.Worlds, twin)
		for i := range apart.Checks {
			apart.Checks[i].Worlds = append(slices.Clone(apart.Checks[i].Worlds), p.Checks[i].Worlds[w])
		}
		a, b := mustNew(t, p, Options{}).Summary(), mustNew(t, apart, Options{}).Summary()
		if diff := cmp.Diff(a, b, cmp.Comparer(func(x, y float64) bool { return math.Abs(x-y) < small })); diff != "" {
			t.Fatalf("problem %d: %s", seed, diff)
		}
	}
}

// TestMoreChecks: a check more never raises the least effort where the others
// settle every goal at every leaf.
func TestMoreChecks(t *testing.T) {
	counted, helped := 0, 0
	for seed := range uint64(3000) {
		p := random(rand.New(rand.NewPCG(seed, 6)))
		if len(p.Checks) < 2 {
			continue
		}
		fewer := p
		fewer.Checks = p.Checks[:len(p.Checks)-1]
		plan := mustNew(t, fewer, Options{})
		all := true
		var look func(s *Step)
		look = func(s *Step) {
			all = all && !(s.Leaf && len(s.Open) > 0)
			for _, a := range s.Answers {
				all = all && !(a.Leaf && len(a.Open) > 0)
				if a.Next != nil {
					look(a.Next)
				}
			}
		}
		tree := plan.Tree(10_000)
		if look(&tree); !all {
			continue
		}
		counted++
		a, b := plan.Summary().Expected, mustNew(t, p, Options{}).Summary().Expected
		if b > a+small {
			t.Fatalf("problem %d: %v with a check more, %v without\n%+v", seed, b, a, p)
		}
		if b < a-small {
			helped++
		}
	}
	if counted < 300 || helped < 30 {
		t.Errorf("only %d compared, %d helped", counted, helped)
	}
	// Elsewhere it can: the second check brings the goal into reach.
	p := identify(1, 1)
	if s := mustNew(t, p, Options{}).Summary(); s.Expected != 0 {
		t.Errorf("%+v", s)
	}
	p.test("only", 700, 0)
	if s := mustNew(t, p, Options{}).Summary(); s.Expected != 7 {
		t.Errorf("%+v", s)
	}
}

// TestLarge: beyond the exact search the greedy rule is used, said so, and its
// bounds hold together; the path of a true world leads to it.
func TestLarge(t *testing.T) {
	for _, overlap := range []int{0, 5} {
		p := invented(5, 1500, 24, 30, overlap, 0)
		plan := mustNew(t, p, Options{Walk: 2_000_000})
		s := plan.Summary()
		if s.Method != Greedy || s.Lower <= 0 || s.Lower > s.Expected || s.Expected > s.Worst || (s.Factor > 0) != false {
			t.Errorf("%+v", s)
		}
		for _, world := range []int{0, 700, 1499} {
			var path []int
			step := plan.First()
			for !step.Leaf {
				at := slices.IndexFunc(step.Answers, func(a Answer) bool { return slices.Contains(a.Worlds, p.Worlds[world].ID) })
				if at < 0 || len(path) > 24 {
					t.Fatalf("world %d lost at %v", world, path)
				}
				path = append(path, at)
				var err error
				if step, err = plan.Expand(path...); err != nil {
					t.Fatal(err)
				}
			}
			if overlap == 0 && len(step.Open) > 0 {
				t.Errorf("world %d: %v not settled", world, step.Open)
			}
		}
	}
}

func TestProblemErrors(t *testing.T) {
	for _, tc := range []struct {
		spoil func(*Problem)
		want  string
	}{
		{func(p *Problem) { p.Worlds = nil }, "no worlds"},
		{func(p *Problem) { p.Goals = []string{"pan-gasket", "pan-gasket"} }, `goal "pan-gasket": stands twice`},
		{func(p *Problem) { p.Goals = append(p.Goals, "filter") }, "1 outcomes for 2 goals"},
		{func(p *Problem) { p.Worlds[1].ID = "quay-1" }, `world "quay-1": stands twice`},
		{func(p *Problem) { p.Worlds[1].Weight = 0 }, `world "quay-2": weight 0`},
		{func(p *Problem) { p.Worlds[1].Weight = math.NaN() }, "weight NaN"},
		{func(p *Problem) { p.Worlds[1].Weight = math.Inf(1) }, "weight +Inf"},
		{func(p *Problem) { p.Worlds[1].Weight = 1e-30 }, "a part in 10^12"},
		{func(p *Problem) { p.Checks[1].ID = "teeth" }, `check "teeth": stands twice`},
		{func(p *Problem) { p.Checks[1].Effort = -1 }, `check "shaft": effort -1`},
		{func(p *Problem) { p.Checks[1].Unseen = 1 }, "probability 1 that"},
		{func(p *Problem) { p.Checks[1].Unseen = math.NaN() }, "probability NaN that"},
		{func(p *Problem) { p.Checks[1].Answers = nil }, "no answers"},
		{func(p *Problem) { p.Checks[0].Answers[1] = "31" }, `answer "31" stands twice`},
		{func(p *Problem) { p.Checks[1].Worlds = p.Checks[1].Worlds[1:] }, "answers of 3 worlds, where there are 4"},
		{func(p *Problem) { p.Checks[1].Worlds[0] = Sure(3) }, `world "quay-1" gives answer number 3 of 3`},
		{func(p *Problem) { p.Checks[1].Worlds[0] = []Chance{{0, 1}, {1, -1}} }, "share -1"},
		{func(p *Problem) { p.Checks[1].Worlds[0] = []Chance{{0, math.Inf(1)}} }, "share +Inf"},
		{func(p *Problem) { p.Checks[1].Worlds[0] = []Chance{{0, 1}, {0, 1}} }, `answer "98.0" twice`},
		{func(p *Problem) { p.Checks[1].Worlds[0] = []Chance{{0, 1}, {1, 1e-13}} }, "a part in 10^12"},
	} {
		p := gearboxes()
		tc.spoil(&p)
		_, err := New(p, Options{})
		var pe *ProblemError
		if !errors.As(err, &pe) || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%v, want %q", err, tc.want)
		}
	}
}
