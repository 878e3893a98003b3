package advise

import (
	"fmt"
	"math/rand/v2"
	"testing"
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

func BenchmarkExact(b *testing.B) {
	for _, bc := range []struct {
		name    string
		overlap int
		unseen  float64
	}{{"sure", 0, 0}, {"unseen", 0, 0.05}, {"overlap", 10, 0}, {"both", 10, 0.05}, {"wild", 30, 0.05}} {
		b.Run(bc.name, func(b *testing.B) {
			for i := 0; b.Loop(); i++ {
				p, err := New(invented(uint64(i%8), 12, 15, 5, bc.overlap, bc.unseen), Options{Budget: 300000})
				if err != nil {
					b.Fatal(err)
				}
				b.ReportMetric(float64(300000-p.solver.left), "states")
				b.ReportMetric(float64(len(p.solver.nodes)), "nodes")
				b.ReportMetric(float64(len(p.solver.bounds)), "bounds")
			}
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
