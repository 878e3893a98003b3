package audit

import (
	"slices"

	"platewright/catalog"
)

// ways are the supersessions between parts, by their numbers.
type ways struct {
	rows     []*catalog.Supersession
	ends     [][2]int // old and new of each row
	from, to [][]int  // rows by their old and new part
	pair     []int    // for each part, what stands for all that serve for each other with it
	buyable  []bool
}

func newWays(a *auditor, rows []*catalog.Supersession) ways {
	w := ways{rows: rows}
	n := 0
	for _, s := range rows {
		e := [2]int{a.partNo(s.Old), a.partNo(s.New)}
		w.ends = append(w.ends, e)
		n = max(n, e[0]+1, e[1]+1)
	}
	n = max(n, len(a.parts))
	w.from, w.to, w.pair, w.buyable = make([][]int, n), make([][]int, n), make([]int, n), make([]bool, n)
	for i := range w.pair {
		w.pair[i] = i
	}
	for i, e := range w.ends {
		w.from[e[0]] = append(w.from[e[0]], i)
		w.to[e[1]] = append(w.to[e[1]], i)
		if rows[i].Kind == catalog.TwoWay {
			w.pair[w.root(e[0])] = w.root(e[1])
		}
	}
	// A number can be bought if it is sold, or if another that serves for it can
	// be, or all pieces of its split.
	for i := range a.parts {
		p := a.parts[i].row
		w.buyable[i] = p != nil && p.Status == catalog.PartSold
	}
	for changed := true; changed; {
		changed = false
		for i := range w.buyable {
			if !w.buyable[i] && w.through(i) {
				w.buyable[i], changed = true, true
			}
		}
	}
	return w
}

func (w *ways) root(p int) int {
	for w.pair[p] != p {
		w.pair[p] = w.pair[w.pair[p]]
		p = w.pair[p]
	}
	return p
}

// through tells whether something can be bought in the place of a part.
func (w *ways) through(p int) bool {
	pieces, all := 0, true
	for _, i := range w.from[p] {
		to := w.buyable[w.ends[i][1]]
		if w.rows[i].Kind != catalog.Split {
			if to {
				return true
			}
			continue
		}
		pieces++
		all = all && to
	}
	for _, i := range w.to[p] {
		if w.rows[i].Kind == catalog.TwoWay && w.buyable[w.ends[i][0]] {
			return true
		}
	}
	return pieces > 0 && all
}

// next gives the parts that a part leads to in one step.
func (w *ways) next(p int) []int {
	var out []int
	if p >= len(w.from) {
		return nil
	}
	for _, i := range w.from[p] {
		out = append(out, w.ends[i][1])
	}
	for _, i := range w.to[p] {
		if w.rows[i].Kind == catalog.TwoWay {
			out = append(out, w.ends[i][0])
		}
	}
	return out
}

// leads tells whether anything replaces a part.
func (w *ways) leads(p int) bool { return len(w.next(p)) > 0 }

// reached gives a part and all parts that it leads to, in the order of their
// numbers.
func (w *ways) reached(p int) []int {
	seen := []int{p}
	for i := 0; i < len(seen); i++ {
		for _, o := range w.next(seen[i]) {
			if !slices.Contains(seen, o) {
				seen = append(seen, o)
			}
		}
	}
	slices.Sort(seen)
	return seen
}

// serves tells whether p is reached from the part that is asked for.
func (w *ways) serves(p, asked int) bool {
	return w.leadsTo(asked, p)
}

func (w *ways) leadsTo(from, to int) bool {
	return from < len(w.from) && len(w.next(from)) > 0 && slices.Contains(w.reached(from), to)
}

// supersessions reports circles, and numbers that serve for each other and are
// replaced differently.
func (a *auditor) supersessions() error {
	w := &a.ways
	for i, s := range w.rows {
		if s.Kind == catalog.TwoWay {
			continue
		}
		e := w.ends[i]
		if w.root(e[0]) == w.root(e[1]) || w.leadsTo(e[1], e[0]) {
			if err := a.tell(SupersessionCircle, Wrong, Facts{Parts: []catalog.PartNo{s.Old, s.New}}, a.at(catalog.TSupersessions, s)); err != nil {
				return err
			}
		}
	}
	groups := map[int][]int{}
	var order []int
	for _, e := range w.ends {
		for _, p := range e {
			r := w.root(p)
			if groups[r] == nil {
				order = append(order, r)
			}
			if !slices.Contains(groups[r], p) {
				groups[r] = append(groups[r], p)
			}
		}
	}
	for _, r := range order {
		members := groups[r]
		if len(members) < 2 {
			continue
		}
		slices.Sort(members)
		if err := a.twoWay(members); err != nil {
			return err
		}
	}
	return nil
}

// twoWay looks at numbers that serve for each other.
func (a *auditor) twoWay(members []int) error {
	w := &a.ways
	outside := func(p int) (parts, at []int) {
		for _, i := range w.from[p] {
			if to := w.ends[i][1]; w.rows[i].Kind != catalog.TwoWay && w.root(to) != w.root(p) {
				parts, at = append(parts, to), append(at, i)
			}
		}
		return parts, at
	}
	// serve tells whether something of one list is something of the other, or
	// leads to it.
	serve := func(x, y []int) bool {
		return slices.ContainsFunc(x, func(p int) bool {
			return slices.ContainsFunc(w.reached(p), func(q int) bool { return slices.Contains(y, q) })
		})
	}
	var f Facts
	var at []Row
	different, alone, sold := false, false, false
	for i, p := range members {
		f.Parts = append(f.Parts, a.parts[p].no)
		mine, rows := outside(p)
		for _, r := range rows {
			at = append(at, a.at(catalog.TSupersessions, w.rows[r]))
			f.Names = append(f.Names, string(w.rows[r].Old)+" > "+string(w.rows[r].New))
		}
		alone = alone || len(mine) > 0
		sold = sold || len(mine) == 0 && a.parts[p].row != nil && a.parts[p].row.Status == catalog.PartSold
		for _, q := range members[:i] {
			if yours, _ := outside(q); len(mine) > 0 && len(yours) > 0 && !serve(mine, yours) && !serve(yours, mine) {
				different = true
			}
		}
	}
	switch {
	case different:
		return a.tell(TwoWaySuccessors, Doubtful, f, at...)
	case alone && sold:
		return a.tell(TwoWaySuccessors, Thin, f, at...)
	}
	return nil
}
