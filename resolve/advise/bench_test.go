package advise

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"
)

// invented makes a problem of so many worlds and checks. Most checks give one
// answer in each world; of the others, overlap in a hundred can give two.
func invented(seed uint64, worlds, checks, classes, overlap int, unseen float64) Problem {
	r := rand.New(rand.NewPCG(seed, 7))
	p := Problem{Goals: []string{"seal", "filter"}}
	for i := range worlds {
		p.Worlds = append(p.Worlds, World{
			ID: fmt.Sprintf("w%05d", i), Weight: float64(1 + r.IntN(400)),
			Outcomes: []Outcome{
				{"takes", [][]string{{fmt.Sprint("s", r.IntN(classes))}}},
				{"takes", [][]string{[]string{fmt.Sprint("f", r.IntN(classes)), "f-all"}[:1+b2i(r.IntN(5) == 0)]}},
			},
		})
	}
	for i := range checks {
		c := Check{ID: fmt.Sprintf("c%02d", i), Effort: Effort(50 + 25*r.IntN(60)), Unseen: unseen}
		for a := range 2 + r.IntN(3) {
			c.Answers = append(c.Answers, fmt.Sprint(a))
		}
		for range worlds {
			a := r.IntN(len(c.Answers))
			ch := Sure(a)
			if r.IntN(100) < overlap {
				ch = []Chance{{a, 1}, {(a + 1) % len(c.Answers), 1}}
			}
			c.Worlds = append(c.Worlds, ch)
		}
		p.Checks = append(p.Checks, c)
	}
	return p
}

// BenchmarkExact plans twelve groups and fifteen checks, in eight problems of each
// kind: answers that are sure or not, checks that are always seen or not, and in
// "even" only yes and no at one effort, which leaves nothing to prune by.
func BenchmarkExact(b *testing.B) {
	for _, bc := range []struct {
		name    string
		overlap int
		unseen  float64
	}{{"sure", 0, 0}, {"unseen", 0, 0.05}, {"overlap", 10, 0}, {"both", 10, 0.05}, {"wild", 30, 0.05}, {"even", 0, 0.05}} {
		b.Run(bc.name, func(b *testing.B) {
			states, cut, most := 0, 0, time.Duration(0)
			for i := 0; b.Loop(); i++ {
				p := invented(uint64(i%8), 12, 15, 5, bc.overlap, bc.unseen)
				for c := range p.Checks {
					if bc.name == "even" {
						p.Checks[c].Effort, p.Checks[c].Answers = 100, p.Checks[c].Answers[:2]
						for w, ch := range p.Checks[c].Worlds {
							p.Checks[c].Worlds[w] = Sure(ch[0].Answer % 2)
						}
					}
				}
				start := time.Now()
				plan, err := New(p, Options{})
				if err != nil {
					b.Fatal(err)
				}
				most = max(most, time.Since(start))
				states += plan.options.Budget - plan.solver.left
				cut += b2i(plan.Summary().Method == ExactCut)
			}
			b.ReportMetric(float64(states)/float64(b.N), "states/op")
			b.ReportMetric(float64(cut)/float64(b.N), "cut/op")
			b.ReportMetric(float64(most.Milliseconds()), "slowest-ms")
		})
	}
}

func BenchmarkGreedyFirst(b *testing.B) {
	for _, overlap := range []int{0, 10} {
		p := invented(1, 5000, 40, 60, overlap, 0.05)
		b.Run(fmt.Sprint("overlap=", overlap), func(b *testing.B) {
			for b.Loop() {
				plan, err := New(p, Options{})
				if err != nil {
					b.Fatal(err)
				}
				plan.First()
			}
		})
		b.Run(fmt.Sprint("summary/overlap=", overlap), func(b *testing.B) {
			for b.Loop() {
				plan, err := New(p, Options{})
				if err != nil {
					b.Fatal(err)
				}
				s := plan.Summary()
				b.ReportMetric(s.Expected, "expected")
				b.ReportMetric(s.Lower, "lower")
				b.ReportMetric(s.Cut, "cut")
			}
		})
	}
}
