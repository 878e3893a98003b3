package alike

import (
	"cmp"
	"slices"

	"platewright/catalog"
	"platewright/resolve"
)

// judge compares looks. It remembers which sets of values lie apart and is for
// one goroutine.
type judge struct {
	l     *lister
	apart map[[2]uint32]bool
}

func newJudge(l *lister) *judge { return &judge{l, map[[2]uint32]bool{}} }

// maxRemembered bounds what a goroutine remembers of one thing.
const maxRemembered = 1 << 12

// setsApart tells whether two sets of values of a mark have none in common.
func (j *judge) setsApart(mark uint16, a, b uint32) bool {
	if a == b {
		return false
	}
	m := j.l.marks[mark]
	x, y := &j.l.sets[a], &j.l.sets[b]
	if m.Kind != catalog.MarkMeasured {
		return !shareOne(x.values, y.values)
	}
	key := [2]uint32{min(a, b), max(a, b)}
	apart, ok := j.apart[key]
	if !ok {
		apart = resolve.Apart(m, x.shows, y.shows)
		if len(j.apart) >= maxRemembered {
			clear(j.apart)
		}
		j.apart[key] = apart
	}
	return apart
}

// shareOne tells whether two lists in order have an element in common.
func shareOne(a, b []uint32) bool {
	for len(a) > 0 && len(b) > 0 {
		switch {
		case a[0] == b[0]:
			return true
		case a[0] < b[0]:
			a = a[1:]
		default:
			b = b[1:]
		}
	}
	return false
}

// both calls each with the sets of every mark of which two looks have some, until
// it returns false.
func both(a, b look, each func(mark uint16, a, b uint32) bool) {
	for len(a) > 0 && len(b) > 0 {
		switch {
		case a[0].mark < b[0].mark:
			a = a[1:]
		case a[0].mark > b[0].mark:
			b = b[1:]
		default:
			if !each(a[0].mark, a[0].set, b[0].set) {
				return
			}
			a, b = a[1:], b[1:]
		}
	}
}

// noMark stands for no mark that tells two looks apart.
const noMark = -1

// quickest gives the deciding mark that tells two looks apart most quickly (L4),
// or noMark.
func (j *judge) quickest(a, b uint32) int {
	best := noMark
	if a == b {
		return best
	}
	both(j.l.looks[a], j.l.looks[b], func(m uint16, x, y uint32) bool {
		if j.l.marks[m].Force == catalog.Deciding && (best == noMark || j.l.quickness[m] < j.l.quickness[best]) && j.setsApart(m, x, y) {
			best = int(m)
		}
		return true
	})
	return best
}

// sameByEye tells whether no visible mark keeps two looks apart (L2).
func (j *judge) sameByEye(a, b uint32) bool {
	same := true
	if a != b {
		both(j.l.looks[a], j.l.looks[b], func(m uint16, x, y uint32) bool {
			same = !j.l.visible[m] || !j.setsApart(m, x, y)
			return same
		})
	}
	return same
}

// kin is the variants of one family, those of one look and one class together.
type kin struct {
	members []uint32
	looks   []kinLook
	cells   []cell
	vectors [][]uint32 // by look: its set of each visible mark plus one, 0 for none
}

// kinLook is the cells of one look.
type kinLook struct {
	look     uint32
	from, to int // cells
	n        int // members
	numbers  int // different outcomes
}

// cell is variants of a family that look the same and take the same.
type cell struct {
	number   uint32 // of what they take: equal numbers are equal outcomes
	class    uint32
	from, to int // members
}

// kinOf gives the variants of a family in the order in which [judge.join] wants
// them: looks that agree in the marks that split the family most lie together.
func (j *judge) kinOf(f int) *kin {
	l := j.l
	k := &kin{members: slices.Clone(l.byFamily[l.familyFrom[f]:l.familyFrom[f+1]])}
	v := &l.variants
	var looks []uint32
	for _, i := range k.members {
		looks = append(looks, v.look[i])
	}
	slices.Sort(looks)
	looks = slices.Compact(looks)
	marks := l.splitting(looks)
	vector := make(map[uint32][]uint32, len(looks))
	for _, o := range looks {
		x := make([]uint32, len(marks))
		for i, m := range marks {
			if at := slices.IndexFunc(l.looks[o], func(s markSet) bool { return s.mark == m }); at >= 0 {
				x[i] = l.looks[o][at].set + 1
			}
		}
		vector[o] = x
	}
	slices.SortFunc(looks, func(a, b uint32) int { return cmp.Or(slices.Compare(vector[a], vector[b]), cmp.Compare(a, b)) })
	place := make(map[uint32]int, len(looks))
	for i, o := range looks {
		place[o] = i
		k.vectors = append(k.vectors, vector[o])
	}
	number := func(i uint32) uint32 { return l.numbers[v.class[i]] }
	slices.SortFunc(k.members, func(a, b uint32) int {
		return cmp.Or(cmp.Compare(place[v.look[a]], place[v.look[b]]), cmp.Compare(number(a), number(b)), cmp.Compare(v.class[a], v.class[b]), cmp.Compare(a, b))
	})
	for i, m := range k.members {
		newLook := i == 0 || v.look[m] != v.look[k.members[i-1]]
		if newLook {
			k.looks = append(k.looks, kinLook{look: v.look[m], from: len(k.cells)})
		}
		o := &k.looks[len(k.looks)-1]
		if newLook || number(m) != number(k.members[i-1]) {
			o.numbers++
		}
		if newLook || v.class[m] != v.class[k.members[i-1]] {
			k.cells = append(k.cells, cell{number: number(m), class: v.class[m], from: i})
		}
		k.cells[len(k.cells)-1].to = i + 1
		o.n++
		o.to = len(k.cells)
	}
	return k
}

// splitting gives the visible marks that some of the looks have, first those that
// split them into most parts.
func (l *lister) splitting(looks []uint32) []uint16 {
	sets := make([][]uint32, len(l.marks))
	for _, o := range looks {
		for _, s := range l.looks[o] {
			if l.visible[s.mark] {
				sets[s.mark] = append(sets[s.mark], s.set)
			}
		}
	}
	var out []uint16
	parts := make([]int, len(l.marks))
	for m := range sets {
		if len(sets[m]) == 0 {
			continue
		}
		out = append(out, uint16(m))
		// The looks without the mark are in every part, so a mark that few have
		// splits little.
		n := len(sets[m])
		slices.Sort(sets[m])
		parts[m] = len(slices.Compact(sets[m])) * n
	}
	slices.SortStableFunc(out, func(a, b uint16) int { return -cmp.Compare(parts[a], parts[b]) })
	return out
}

// join calls each with every two looks of a family that are the same by eye, the
// one that comes first before the other, and each look with itself. It compares
// parts of the family and not looks: mark by mark, only the parts that share a
// value, or of which nothing is recorded, are taken further.
func (j *judge) join(k *kin, each func(a, b int) error) error {
	if len(k.looks) == 0 {
		return nil
	}
	return j.joinParts(k, part{0, len(k.looks)}, part{0, len(k.looks)}, 0, each)
}

// part is a range of looks that have the same set of the marks before a level.
type part struct{ from, to int }

func (j *judge) joinParts(k *kin, a, b part, level int, each func(a, b int) error) error {
	if level == len(k.vectors[a.from]) {
		for x := a.from; x < a.to; x++ {
			for y := max(x, b.from); y < b.to; y++ {
				if err := each(x, y); err != nil {
					return err
				}
			}
		}
		return nil
	}
	pa := k.partsOf(a, level)
	pb := pa
	if a != b {
		pb = k.partsOf(b, level)
	}
	set := func(p part) uint32 { return k.vectors[p.from][level] }
	// Which parts of b hold a value.
	holding := map[uint32][]int{}
	for i, p := range pb {
		if s := set(p); s > 0 {
			for _, value := range j.l.sets[s-1].values {
				holding[value] = append(holding[value], i)
			}
		}
	}
	var partners []int
	for i, p := range pa {
		partners = partners[:0]
		if s := set(p); s == 0 {
			for n := range pb {
				partners = append(partners, n)
			}
		} else {
			if set(pb[0]) == 0 { // nothing recorded sorts first
				partners = append(partners, 0)
			}
			for _, value := range j.l.sets[s-1].values {
				partners = append(partners, holding[value]...)
			}
			slices.Sort(partners)
			partners = slices.Compact(partners)
		}
		for _, n := range partners {
			if a == b && n < i {
				continue
			}
			if err := j.joinParts(k, p, pb[n], level+1, each); err != nil {
				return err
			}
		}
	}
	return nil
}

// partsOf cuts a part by the sets of the mark of a level.
func (k *kin) partsOf(p part, level int) []part {
	var out []part
	for from := p.from; from < p.to; {
		to := from + 1
		for to < p.to && k.vectors[to][level] == k.vectors[from][level] {
			to++
		}
		out = append(out, part{from, to})
		from = to
	}
	return out
}

// differing counts the pairs of variants of two looks that take different parts.
func (k *kin) differing(a, b int) int64 {
	x, y := &k.looks[a], &k.looks[b]
	all, same := int64(x.n)*int64(y.n), int64(0)
	i, n := x.from, y.from
	for i < x.to && n < y.to {
		switch p, q := k.cells[i].number, k.cells[n].number; {
		case p < q:
			i++
		case p > q:
			n++
		default:
			var inA, inB int64
			for ; i < x.to && k.cells[i].number == p; i++ {
				inA += int64(k.cells[i].to - k.cells[i].from)
			}
			for ; n < y.to && k.cells[n].number == p; n++ {
				inB += int64(k.cells[n].to - k.cells[n].from)
			}
			same += inA * inB
		}
	}
	if a == b {
		return (all - same) / 2
	}
	return all - same
}
