package advise

import (
	"fmt"
	"math"
)

// Effort is what a check takes, in hundredths of a minute, so that efforts are
// compared and added without rounding.
type Effort int64

// Minutes gives the effort in minutes.
func (e Effort) Minutes() float64 { return float64(e) / 100 }

// DefaultUnseen is the probability that a check cannot be made out for callers
// that know nothing better: one in twenty (common practice, no published source).
const DefaultUnseen = 0.05

// Unstated is the class of an outcome of which nothing is known.
const Unstated = ""

// Silent is the class of an outcome of a world that does not speak of the goal: it
// goes with whatever the others say. Worlds that are all silent settle nothing.
const Silent = "-"

// Problem is what is asked of the planner. The order of goals, worlds and checks
// changes nothing in the answer; the order of a check's answers is that in which
// they are listed.
type Problem struct {
	Goals  []string
	Worlds []World
	Checks []Check
}

// World is a state that the thing looked at can still be in.
type World struct {
	ID       string
	Weight   float64   // more than zero; only the proportions count, none under 1e-12 of the whole
	Outcomes []Outcome // one for each goal, in their order
}

// Outcome is what a world comes to in one goal.
type Outcome struct {
	Class string // Unstated settles nothing, Silent goes with anything

	// Choices are the ids of what is acceptable in each slot. Outcomes with other
	// numbers of slots are of other classes. Without slots the same class settles
	// the goal.
	Choices [][]string
}

// Check is something that could be looked at.
type Check struct {
	ID      string
	Effort  Effort
	Unseen  float64    // probability that nothing can be made out, from 0 to below 1
	Answers []string   // the names of the answers, all different
	Worlds  [][]Chance // for each world, in their order, the answers it can give; none for any
}

// Chance is an answer that a world can give.
type Chance struct {
	Answer int     // index in Check.Answers
	Share  float64 // more than zero; only the proportions within a world count, none under 1e-12 of the whole
}

// Sure gives the chances of a world that can give one answer only.
func Sure(answer int) []Chance { return []Chance{{answer, 1}} }

// ProblemError says what is wrong with a problem and where.
type ProblemError struct {
	Where string // "goal", "world" or "check", empty for the problem as a whole
	ID    string // of what stands there
	What  string
}

func (e *ProblemError) Error() string {
	if e.Where == "" {
		return "planning checks: " + e.What
	}
	return fmt.Sprintf("planning checks: %s %q: %s", e.Where, e.ID, e.What)
}

// least is the least part of a whole that weights and shares may have, so that
// products of them stay numbers.
const least = 1e-12

// validate finds the first thing that makes the problem meaningless.
func (p *Problem) validate() error {
	if len(p.Worlds) == 0 {
		return &ProblemError{What: "no worlds; give at least one"}
	}
	heaviest, total := 0.0, 0.0
	for i := range p.Worlds {
		if w := p.Worlds[i].Weight; w > heaviest && !math.IsInf(w, 1) {
			heaviest = w
		}
	}
	for i := range p.Worlds {
		if w := p.Worlds[i].Weight; w > 0 && !math.IsInf(w, 1) {
			total += w / heaviest
		}
	}
	seen := map[string]bool{}
	for _, g := range p.Goals {
		if seen[g] {
			return &ProblemError{"goal", g, "stands twice; name each goal once"}
		}
		seen[g] = true
	}
	seen = make(map[string]bool, len(p.Worlds))
	for i := range p.Worlds {
		w := &p.Worlds[i]
		switch {
		case seen[w.ID]:
			return &ProblemError{"world", w.ID, "stands twice; name each world once"}
		case !(w.Weight > 0) || math.IsInf(w.Weight, 1):
			return &ProblemError{"world", w.ID, fmt.Sprintf("weight %v; give a finite number above zero", w.Weight)}
		case w.Weight/heaviest < least*total:
			return &ProblemError{"world", w.ID, fmt.Sprintf("weight %v is less than a part in 10^12 of all; leave the world out or weigh it more", w.Weight)}
		case len(w.Outcomes) != len(p.Goals):
			return &ProblemError{"world", w.ID, fmt.Sprintf("%d outcomes for %d goals; give one for each", len(w.Outcomes), len(p.Goals))}
		}
		seen[w.ID] = true
	}
	seen = map[string]bool{}
	for i := range p.Checks {
		c := &p.Checks[i]
		switch {
		case seen[c.ID]:
			return &ProblemError{"check", c.ID, "stands twice; name each check once"}
		case c.Effort < 0 || c.Effort > math.MaxInt32:
			return &ProblemError{"check", c.ID, fmt.Sprintf("effort %d; give hundredths of a minute from 0 to %d", c.Effort, math.MaxInt32)}
		case !(c.Unseen >= 0 && c.Unseen < 1):
			return &ProblemError{"check", c.ID, fmt.Sprintf("probability %v that it cannot be seen; give a number from 0 to below 1", c.Unseen)}
		case len(c.Answers) == 0:
			return &ProblemError{"check", c.ID, "no answers; give at least one"}
		case len(c.Worlds) != len(p.Worlds):
			return &ProblemError{"check", c.ID, fmt.Sprintf("answers of %d worlds, where there are %d; give them for each, empty for any", len(c.Worlds), len(p.Worlds))}
		}
		seen[c.ID] = true
		names := map[string]bool{}
		for _, a := range c.Answers {
			if names[a] {
				return &ProblemError{"check", c.ID, fmt.Sprintf("answer %q stands twice; name each answer once", a)}
			}
			names[a] = true
		}
		for j, chances := range c.Worlds {
			if len(chances) == 1 && chances[0].Answer >= 0 && chances[0].Answer < len(c.Answers) && chances[0].Share > 0 && !math.IsInf(chances[0].Share, 1) {
				continue
			}
			largest, sum := 0.0, 0.0
			for _, ch := range chances {
				if ch.Share > largest && !math.IsInf(ch.Share, 1) {
					largest = ch.Share
				}
			}
			for _, ch := range chances {
				if ch.Share > 0 && !math.IsInf(ch.Share, 1) {
					sum += ch.Share / largest
				}
			}
			for k, ch := range chances {
				if ch.Answer < 0 || ch.Answer >= len(c.Answers) {
					return &ProblemError{"check", c.ID, fmt.Sprintf("world %q gives answer number %d of %d", p.Worlds[j].ID, ch.Answer, len(c.Answers))}
				}
				if !(ch.Share > 0) || math.IsInf(ch.Share, 1) {
					return &ProblemError{"check", c.ID, fmt.Sprintf("world %q gives an answer with share %v; give a finite number above zero", p.Worlds[j].ID, ch.Share)}
				}
				if ch.Share/largest < least*sum {
					return &ProblemError{"check", c.ID, fmt.Sprintf("world %q gives answer %q with less than a part in 10^12; leave it out or give it more", p.Worlds[j].ID, c.Answers[ch.Answer])}
				}
				for _, before := range chances[:k] {
					if before.Answer == ch.Answer {
						return &ProblemError{"check", c.ID, fmt.Sprintf("world %q gives answer %q twice; give it once", p.Worlds[j].ID, c.Answers[ch.Answer])}
					}
				}
			}
		}
	}
	return nil
}
