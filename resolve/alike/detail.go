package alike

import (
	"cmp"
	"slices"
	"strings"

	"github.com/shopspring/decimal"

	"platewright/catalog"
	"platewright/resolve"
)

// write works out the lines of a job.
func (w *worker) write(j job, line func([]byte, *Line) ([]byte, error)) (written, error) {
	var out written
	var err error
	select { // what is written already makes room
	case out.lines = <-w.l.buffers:
	default:
	}
	if j.group != nil || j.labels != nil {
		var g *Group
		if j.labels != nil {
			g, err = w.labels(*j.labels)
		} else {
			g, err = w.group(*j.group)
		}
		if err != nil {
			return out, err
		}
		out.lines, err = line(out.lines, &Line{Schema: Schema, Group: g})
		out.pairs = int(min(g.Pairs, 1<<31-1))
		return out, err
	}
	for i := range j.pairs {
		p, err := w.pair(&j.pairs[i])
		if err != nil {
			return out, err
		}
		if out.lines, err = line(out.lines, &Line{Schema: Schema, Pair: p}); err != nil {
			return out, err
		}
	}
	out.pairs = len(j.pairs)
	return out, err
}

// pair works out the details of a pair.
func (w *worker) pair(r *record) (*Pair, error) {
	l := w.l
	v := &l.variants
	p := &Pair{By: resolve.ByEye, ByEye: r.sameBy, Marks: w.tellApart(v.look[r.a], v.look[r.b])}
	assembly := 0
	if r.slip.Place > 0 {
		p.By, p.Slip = resolve.ByPlate, l.plateSlip(r.slip)
		assembly = l.layouts[l.texts.On(r.slip.A)].assembly
	}
	p.Check = l.check(p.Slip, w.judge.quickest(v.look[r.a], v.look[r.b]))
	p.A, p.B = l.unit(r.a), l.unit(r.b)
	var err error
	p.Roles, err = w.differences(v.class[r.a], v.class[r.b], assembly)
	return p, err
}

func (l *lister) plateSlip(s Slip) *PlateSlip {
	a, b := l.texts.At(s.A), l.texts.At(s.B)
	y := &l.layouts[l.texts.On(s.A)]
	out := &PlateSlip{Kind: s.Kind.Name(), Place: int(s.Place), A: string(a), B: string(b), Layout: y.row.Layout, Assembly: l.assemblies[y.assembly].Assembly, OfUnit: y.assembly == 0, Caught: l.caught(s)}
	at, width := int(s.Place)-1, 1
	switch {
	case len(a) > len(b):
		out.ReadA = string(a[at])
		return out
	case len(a) < len(b):
		out.ReadB = string(b[at])
		return out
	case s.Kind == Swapped:
		width = 2
	}
	out.ReadA, out.ReadB = string(a[at:at+width]), string(b[at:at+width])
	return out
}

func (l *lister) unit(i uint32) Unit {
	return Unit{Variant: l.variants.code(i), Family: l.families[l.variants.family[i]].row.Family}
}

// takes tells what a class takes in a role.
func (w *worker) takes(class uint32, role int) (*resolve.Taken, error) {
	l := w.l
	if at := int(class)*len(l.roles) + role; at < len(l.taken) && l.taken[at] != notKept {
		return l.kept[l.taken[at]], nil
	}
	if t, ok := w.taken[class]; ok {
		return t[role], nil
	}
	v, _, err := w.c.Variant(l.variants.key(l.classes[class]))
	if err != nil {
		return nil, err
	}
	t := make([]*resolve.Taken, len(l.roles))
	for i := range t {
		if t[i], err = w.c.Takes(v, i); err != nil {
			return nil, err
		}
	}
	if len(w.taken) >= maxRemembered {
		clear(w.taken)
	}
	w.taken[class] = t
	return t[role], nil
}

// differences lists the roles that the identity of an assembly decides and in
// which two classes take different parts.
func (w *worker) differences(a, b uint32, assembly int) ([]Difference, error) {
	out := []Difference{}
	for i, r := range w.l.roles {
		x, err := w.takes(a, i)
		if err != nil {
			return nil, err
		}
		y, err := w.takes(b, i)
		if err != nil {
			return nil, err
		}
		if x.Sum != y.Sum && w.l.decides[assembly][i] {
			out = append(out, Difference{Role: r.Role, Name: r.Name, A: x.Takes, B: y.Takes})
		}
	}
	return out, nil
}

// tellApart lists the deciding marks that tell two looks apart (L4), the quickest
// first.
func (w *worker) tellApart(a, b uint32) []resolve.TellApart {
	key := [2]uint32{a, b}
	if t, ok := w.marks[key]; ok {
		return t
	}
	l := w.l
	out := []resolve.TellApart{}
	both(l.looks[a], l.looks[b], func(mark uint16, x, y uint32) bool {
		if m := l.marks[mark]; m.Force == catalog.Deciding && w.judge.setsApart(mark, x, y) {
			out = append(out, resolve.TellApart{Mark: m.Mark, Name: m.Name, Assembly: m.Assembly, How: m.How, Effort: m.Effort, Unit: m.Unit,
				This: resolve.ShownTexts(m, l.sets[x].shows), Other: resolve.ShownTexts(m, l.sets[y].shows)})
		}
		return true
	})
	slices.SortStableFunc(out, func(a, b resolve.TellApart) int {
		return cmp.Or(a.Effort.Num.Cmp(b.Effort.Num), strings.Compare(a.Mark, b.Mark))
	})
	if len(w.marks) >= maxRemembered {
		clear(w.marks)
	}
	w.marks[key] = out
	return out
}

// How much of a group is shown.
const (
	maxOutcomes = 6
	maxExamples = 3
)

// outcome is variants of a group that take the same.
type outcome struct {
	label   string
	n       int
	class   uint32
	members []uint32 // some of them
}

// show puts outcomes, and the roles of those compared in which they differ, into a
// group.
func (w *worker) show(g *Group, outcomes []outcome, compared func(role int) bool) error {
	l := w.l
	if more := len(outcomes) - maxOutcomes; more > 0 {
		g.More += more
		outcomes = outcomes[:maxOutcomes]
	}
	taken := make([][]*resolve.Taken, len(outcomes))
	for i, o := range outcomes {
		taken[i] = make([]*resolve.Taken, len(l.roles))
		for r := range l.roles {
			var err error
			if taken[i][r], err = w.takes(o.class, r); err != nil {
				return err
			}
		}
	}
	var differ []int
	for r := range l.roles {
		if compared(r) && slices.ContainsFunc(taken, func(t []*resolve.Taken) bool { return t[r].Sum != taken[0][r].Sum }) {
			differ = append(differ, r)
			g.Roles = append(g.Roles, Role{l.roles[r].Role, l.roles[r].Name})
		}
	}
	for i, o := range outcomes {
		x := OutcomeGroup{Label: o.label, Variants: o.n, Examples: []catalog.VariantCode{}, Takes: []RoleTakes{}}
		for _, m := range o.members {
			x.Examples = append(x.Examples, l.variants.code(m))
		}
		for _, r := range differ {
			x.Takes = append(x.Takes, RoleTakes{l.roles[r].Role, taken[i][r].Takes})
		}
		g.Outcomes = append(g.Outcomes, x)
	}
	return nil
}

// labels sums up the pairs by two labels, in the roles that the labels' assembly
// decides.
func (w *worker) labels(b labelled) (*Group, error) {
	l := w.l
	v := &l.variants
	g := &Group{By: resolve.ByPlate, ByEye: b.sameBy, Slip: l.plateSlip(b.slip), Marked: b.mark != noMark, Pairs: b.pairs, Outcomes: []OutcomeGroup{}, Roles: []Role{}, Examples: []Pair{}}
	g.Check = l.check(g.Slip, b.mark)
	assembly := l.layouts[l.texts.On(b.slip.A)].assembly
	var outcomes []outcome
	type who struct {
		variant uint32
		second  bool
	}
	type what struct {
		sum    uint64
		second bool
	}
	seen, at := map[who]bool{}, map[what]int{}
	family := -1 // -2 for several
	add := func(i uint32, second bool, label string) {
		if seen[who{i, second}] {
			return
		}
		seen[who{i, second}] = true
		if !seen[who{i, !second}] {
			g.Variants++
		}
		if f := int(v.family[i]); family == -1 {
			family = f
		} else if family != f {
			family = -2
		}
		sum := what{l.sums[int(v.class[i])*len(l.assemblies)+assembly], second}
		o, ok := at[sum]
		if !ok {
			o = len(outcomes)
			at[sum] = o
			outcomes = append(outcomes, outcome{label: label, class: v.class[i]})
		}
		outcomes[o].n++
		outcomes[o].members = append(outcomes[o].members, i)
	}
	var failed error
	l.pairsBy(w.judge, b.slip, func(r record, mark int) bool {
		if mark != b.mark || r.sameBy != b.sameBy {
			return true
		}
		for _, side := range []struct {
			variant, text uint32
		}{{r.a, r.slip.A}, {r.b, r.slip.B}} {
			label := string(l.texts.At(side.text))
			add(side.variant, label == g.Slip.B, label)
		}
		if len(g.Examples) < maxExamples {
			p, err := w.pair(&r)
			if err != nil {
				failed = err
				return false
			}
			g.Examples = append(g.Examples, *p)
		}
		return true
	})
	if failed != nil {
		return nil, failed
	}
	for i := range outcomes {
		slices.Sort(outcomes[i].members)
		outcomes[i].members = outcomes[i].members[:min(maxExamples, len(outcomes[i].members))]
	}
	slices.SortStableFunc(outcomes, func(a, b outcome) int {
		return cmp.Or(cmp.Compare(b2i(a.label == g.Slip.B), b2i(b.label == g.Slip.B)), -cmp.Compare(a.n, b.n), cmp.Compare(a.members[0], b.members[0]))
	})
	// Of each label as many are shown.
	if second := slices.IndexFunc(outcomes, func(o outcome) bool { return o.label == g.Slip.B }); len(outcomes) > maxOutcomes {
		first, rest := outcomes[:second], outcomes[second:]
		keep := min(len(first), max(maxOutcomes/2, maxOutcomes-len(rest)))
		g.More = len(first) - keep
		outcomes = slices.Concat(first[:keep], rest)
	}
	if family >= 0 {
		f := l.families[family].row
		g.Family, g.Name, g.Maker = f.Family, f.Name, f.Maker
	}
	return g, w.show(g, outcomes, func(role int) bool { return l.decides[assembly][role] })
}

// check gives the quicker of reading the plate again and looking at a mark.
func (l *lister) check(slip *PlateSlip, mark int) *Check {
	again := catalog.Decimal{Num: decimal.NewFromInt(rereading), Known: true}
	if mark != noMark {
		if m := l.marks[mark]; slip == nil || m.Effort.Num.LessThanOrEqual(again.Num) {
			return &Check{Mark: m.Mark, Name: m.Name, Assembly: m.Assembly, Effort: m.Effort}
		}
	}
	if slip == nil {
		return nil
	}
	return &Check{Assembly: slip.Assembly, Effort: again}
}

// group sums up the pairs of a bucket.
func (w *worker) group(b bucket) (*Group, error) {
	l, j := w.l, w.judge
	row := l.families[b.family].row
	g := &Group{By: resolve.ByEye, ByEye: true, Marked: b.mark != noMark, Family: row.Family, Name: row.Name, Maker: row.Maker, Pairs: b.pairs, Outcomes: []OutcomeGroup{}, Roles: []Role{}, Examples: []Pair{}}
	g.Check = l.check(nil, b.mark)
	k := j.kinOf(b.family)
	in := make([]bool, len(k.cells))
	take := func(x, y int) { // the cells of x that something in y differs from
		for i := k.looks[x].from; i < k.looks[x].to; i++ {
			in[i] = in[i] || k.looks[y].numbers > 1 || k.cells[i].number != k.cells[k.looks[y].from].number
		}
	}
	if err := l.looksOf(j, k, b, func(x, y int) error {
		take(x, y)
		take(y, x)
		return nil
	}); err != nil {
		return nil, err
	}

	var outcomes []outcome
	at := map[uint32]int{}
	for i, c := range k.cells {
		if !in[i] {
			continue
		}
		o, ok := at[c.number]
		if !ok {
			o = len(outcomes)
			at[c.number] = o
			outcomes = append(outcomes, outcome{class: c.class})
		}
		members := k.members[c.from:c.to]
		outcomes[o].n += len(members)
		outcomes[o].members = append(outcomes[o].members, members[:min(maxExamples, len(members))]...)
		g.Variants += len(members)
	}
	for i := range outcomes {
		slices.Sort(outcomes[i].members)
		outcomes[i].members = outcomes[i].members[:min(maxExamples, len(outcomes[i].members))]
	}
	slices.SortFunc(outcomes, func(a, b outcome) int {
		return cmp.Or(-cmp.Compare(a.n, b.n), cmp.Compare(a.members[0], b.members[0]))
	})
	if err := w.show(g, outcomes, func(int) bool { return true }); err != nil {
		return nil, err
	}
	var failed error
	err := l.pairsOf(j, k, b, func(x, y uint32) bool {
		r := record{a: min(x, y), b: max(x, y), rank: b.rank, sameBy: true}
		if s, ok := l.slip(r.a, r.b); ok && l.isByPlate(r.a, r.b) {
			if l.texts.Of(s.A) != r.a {
				s.A, s.B = s.B, s.A
			}
			r.slip = s
		}
		p, err := w.pair(&r)
		if err != nil {
			failed = err
			return false
		}
		g.Examples = append(g.Examples, *p)
		return len(g.Examples) < maxExamples
	})
	if err != nil && err != errEnough {
		return nil, err
	}
	return g, failed
}
