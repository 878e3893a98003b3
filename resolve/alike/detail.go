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
	if j.group != nil {
		g, err := w.group(*j.group)
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
		p.Check = &Check{Assembly: p.Slip.Assembly, Effort: catalog.Decimal{Num: decimal.NewFromInt(rereading), Known: true}}
	}
	if len(p.Marks) > 0 && (p.Check == nil || p.Marks[0].Effort.Num.LessThanOrEqual(p.Check.Effort.Num)) {
		m := &p.Marks[0]
		p.Check = &Check{Mark: m.Mark, Name: m.Name, Assembly: m.Assembly, Effort: m.Effort}
	}
	p.A, p.B = l.unit(r.a), l.unit(r.b)
	var err error
	p.Roles, err = w.differences(v.class[r.a], v.class[r.b], assembly)
	return p, err
}

func (l *lister) plateSlip(s Slip) *PlateSlip {
	a, b := l.texts.At(s.A), l.texts.At(s.B)
	y := &l.layouts[l.texts.On(s.A)]
	out := &PlateSlip{Kind: s.Kind.Name(), Place: int(s.Place), A: string(a), B: string(b), Layout: y.row.Layout, Assembly: l.assemblies[y.assembly].Assembly, OfUnit: y.assembly == 0}
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

// group sums up the pairs of a bucket.
func (w *worker) group(b bucket) (*Group, error) {
	l, j := w.l, w.judge
	row := l.families[b.family].row
	g := &Group{Family: row.Family, Name: row.Name, Maker: row.Maker, Pairs: b.pairs, Outcomes: []OutcomeGroup{}, Roles: []Role{}, Examples: []Pair{}}
	if b.mark != noMark {
		m := l.marks[b.mark]
		g.Check = &Check{Mark: m.Mark, Name: m.Name, Assembly: m.Assembly, Effort: m.Effort}
	}
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

	type outcome struct {
		number  uint32
		n       int
		class   uint32
		members []uint32
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
			outcomes = append(outcomes, outcome{number: c.number, class: c.class})
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
	g.More = max(len(outcomes)-maxOutcomes, 0)
	outcomes = outcomes[:min(len(outcomes), maxOutcomes)]
	taken := make([][]*resolve.Taken, len(outcomes))
	for i, o := range outcomes {
		taken[i] = make([]*resolve.Taken, len(l.roles))
		for r := range l.roles {
			var err error
			if taken[i][r], err = w.takes(o.class, r); err != nil {
				return nil, err
			}
		}
	}
	var differ []int
	for r := range l.roles {
		if slices.ContainsFunc(taken, func(t []*resolve.Taken) bool { return t[r].Sum != taken[0][r].Sum }) {
			differ = append(differ, r)
			g.Roles = append(g.Roles, Role{l.roles[r].Role, l.roles[r].Name})
		}
	}
	for i, o := range outcomes {
		x := OutcomeGroup{Variants: o.n, Examples: []catalog.VariantCode{}, Takes: []RoleTakes{}}
		for _, m := range o.members {
			x.Examples = append(x.Examples, l.variants.code(m))
		}
		for _, r := range differ {
			x.Takes = append(x.Takes, RoleTakes{l.roles[r].Role, taken[i][r].Takes})
		}
		g.Outcomes = append(g.Outcomes, x)
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
