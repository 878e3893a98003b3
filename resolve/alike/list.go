package alike

import (
	"cmp"
	"context"
	"slices"
	"strings"

	"github.com/shopspring/decimal"

	"platewright/resolve"
)

// Stage is what a list is being worked on.
type Stage string

// The stages, in their order. The second and the third are left out where the
// whole catalogue is compared.
const (
	Reading   Stage = "reading"   // variants are read, and compared
	Searching Stage = "searching" // plates one slip apart are sought
	Comparing Stage = "comparing" // what variants show and take is compared
	Looking   Stage = "looking"   // the families are gone through by eye
	Writing   Stage = "writing"   // pairs are written
)

// Options says how a list is made.
type Options struct {
	// Catalogue gives a way to read the catalogue; it is called once for each
	// goroutine that reads. Whoever gives it closes it, after List returned.
	Catalogue func() (resolve.Catalogue, error)
	Edition   resolve.Edition
	Workers   int // how many compare at once; 1 or more
	// Append appends a line of the list to dst. Several goroutines call it at once.
	Append func(dst []byte, line *Line) ([]byte, error)
	// Write takes the lines, in order. It must not keep them.
	Write func(lines []byte) error
	// Report is told how far the work is; of is 0 where that is not known.
	Report func(stage Stage, done, of int) error

	// Bounds of the memory, for tests: 0 stands for maxHeld, maxKept and maxNumbers.
	hold, kept, numbers int
}

// maxHeld is how many pairs by plate are held in memory; if there are more, they
// are sought again for each so many.
const maxHeld = 2_000_000

// maxSpelled is how many pairs by eye of one family are spelled out; of more,
// the family is summed up.
const maxSpelled = 20

// rereading is what it takes to read the plate again at one place, in minutes:
// cleaner, chalk and a flat light (rule N1; common practice, no published source).
const rereading = 10

// The ranks of pairs, the worst first; after them come those that a check tells
// apart, the longest check first.
const (
	rankBoth        = iota // by plate and by eye, and no deciding mark is recorded that tells them apart
	rankBothCaught         // the same, with a slip that a check character catches
	rankPlate              // by plate alone, and no deciding mark
	rankPlateCaught        // the same, with a slip that a check character catches
	rankEye                // by eye alone, and no deciding mark
	rankMarked             // the first of those with a check; those whose slip is caught come after all others
)

// rankMarks puts marks and the pairs that they tell apart into order.
func (l *lister) rankMarks() {
	effort := func(m int) decimal.Decimal { return l.marks[m].Effort.Num }
	again := decimal.NewFromInt(rereading)
	order := make([]int, len(l.marks))
	efforts := []decimal.Decimal{again}
	for i := range order {
		order[i] = i
		efforts = append(efforts, effort(i))
	}
	slices.SortStableFunc(order, func(a, b int) int {
		return cmp.Or(effort(a).Cmp(effort(b)), strings.Compare(l.marks[a].Mark, l.marks[b].Mark))
	})
	slices.SortFunc(efforts, func(a, b decimal.Decimal) int { return b.Cmp(a) })
	efforts = slices.CompactFunc(efforts, func(a, b decimal.Decimal) bool { return a.Equal(b) })
	rank := func(d decimal.Decimal) uint16 {
		return rankMarked + uint16(slices.IndexFunc(efforts, d.Equal))
	}
	l.quickness, l.effortOf = make([]int, len(order)), make([]uint16, len(order))
	for place, m := range order {
		l.quickness[m], l.effortOf[m] = place, rank(effort(m))
	}
	l.plateRank, l.caughtRank, l.ranks = rank(again), uint16(len(efforts)), rankMarked+2*len(efforts)
}

// record is a pair before its details are worked out.
type record struct {
	a, b   uint32 // variants, the one whose code comes first before the other
	slip   Slip   // its A is the text of a; of a pair by eye its places are 0
	rank   uint16
	sameBy bool // no visible mark keeps them apart
	caught bool // a check character catches the slip
}

func (r *record) compare(o *record) int {
	return cmp.Or(cmp.Compare(r.rank, o.rank), cmp.Compare(r.a, o.a), cmp.Compare(r.b, o.b))
}

// bucket is the pairs by eye of one family of which the same mark is the quickest
// that tells them apart.
type bucket struct {
	family int
	mark   int // noMark if nothing does
	rank   uint16
	pairs  int64
}

// labelled is the pairs of which the one bears a label and the other one that is
// one slip away, where these are many: those of the same rank and the same
// quickest mark, by eye or not.
type labelled struct {
	slip   Slip // of the first texts of the two labels
	mark   int  // noMark if nothing tells them apart
	rank   uint16
	sameBy bool
	pairs  int64
}

// maxByLabel is how many pairs by the same two labels are spelled out; more are
// summed up.
const maxByLabel = maxExamples

// List lists the pairs of a catalogue that can be taken for each other and take
// different parts: a summary, then pairs and groups, the worst first. Its memory
// is bounded by the number of variants, not by that of pairs. The error is a
// [*resolve.QuestionError] for what the catalogue does not know.
func List(ctx context.Context, q Question, o Options) error {
	l := &lister{q: q, kinds: Misreads, like: confusable(), edition: o.Edition, report: o.Report, buffers: make(chan []byte, 16),
		keptHeld: cmp.Or(o.kept, maxKept), numbersHeld: cmp.Or(o.numbers, maxNumbers)}
	if q.AnyCharacter {
		l.kinds = AnyCharacter
	}
	l.q.Work, l.q.Families, l.q.Makers = orEmpty(q.Work), orEmpty(q.Families), orEmpty(q.Makers)
	if err := l.open(o.Catalogue, max(o.Workers, 1)); err != nil {
		return err
	}
	if err := l.read(ctx); err != nil {
		return err
	}
	j := newJudge(l)
	held := &selection{cap: cmp.Or(o.hold, maxHeld)}
	s := Summary{Edition: l.edition, Question: l.q, Roles: []Role{}, Variants: l.variants.len()}
	for _, r := range l.roles {
		s.Roles = append(s.Roles, Role{r.Role, r.Name})
	}
	if l.wanted != nil {
		s.Variants = 0
		for i := range l.variants.len() {
			if l.wants(uint32(i)) {
				s.Variants++
			}
		}
	}
	count := func(n int64, rank uint16, sameBy, caught bool) {
		s.ByPlate += n
		if sameBy {
			s.Both += n
		}
		if rank == rankPlate || rank == rankPlateCaught {
			s.Unmarked += n // those by eye are counted with all others by eye
		}
		if !caught {
			s.Uncaught += n
		}
	}
	var labels []labelled
	if err := l.byPlate(ctx, j, func(r record) {
		count(1, r.rank, r.sameBy, r.caught)
		held.add(r)
	}, func(b labelled) {
		count(b.pairs, b.rank, b.sameBy, l.caught(b.slip))
		labels = append(labels, b)
	}); err != nil {
		return err
	}
	slices.SortStableFunc(labels, func(a, b labelled) int { return cmp.Compare(a.rank, b.rank) })
	buckets, err := l.byEye(ctx)
	if err != nil {
		return err
	}
	for _, b := range buckets {
		s.ByEye += b.pairs
		if b.mark == noMark {
			s.Unmarked += b.pairs
		}
	}
	s.Pairs = s.ByPlate + s.ByEye - s.Both
	head, err := o.Append(nil, &Line{Schema: Schema, Summary: &s})
	if err != nil {
		return err
	}
	if err := o.Write(head); err != nil {
		return err
	}
	done := 0
	return inOrder(ctx, l.workers, func(give func(job) bool) error {
		return l.produce(ctx, j, held, labels, buckets, give)
	}, func(w *worker, jb job) (written, error) {
		return w.write(jb, o.Append)
	}, func(x written) error {
		done += x.pairs
		if err := l.report(Writing, done, int(min(s.Pairs, 1<<31-1))); err != nil {
			return err
		}
		err := o.Write(x.lines)
		select {
		case l.buffers <- x.lines[:0]:
		default:
		}
		return err
	})
}

func orEmpty(s []string) []string {
	if s == nil {
		return []string{}
	}
	return s
}

func (l *lister) ticking(ctx context.Context, stage Stage) func(done int) error {
	return func(done int) error {
		if err := ctx.Err(); err != nil {
			return err
		}
		return l.report(stage, done, l.texts.Len())
	}
}

// differ tells whether two variants take different parts in a role that the
// identity of an assembly decides.
func (l *lister) differ(a, b uint32, assembly int) bool {
	x, y := l.variants.class[a], l.variants.class[b]
	n := len(l.assemblies)
	return x != y && l.sums[int(x)*n+assembly] != l.sums[int(y)*n+assembly]
}

// byPlate gives the pairs one slip of a plate or label apart. Those of labels that
// many bear are given together, unless pairs are to be spelled out.
func (l *lister) byPlate(ctx context.Context, j *judge, each func(record), many func(labelled)) error {
	type kind struct {
		mark   int
		sameBy bool
	}
	type some struct {
		labelled
		few []record // while they are few
	}
	return l.texts.Slips(l.kinds, l.ticking(ctx, Searching), func(s Slip) error {
		if l.layouts[l.texts.On(s.A)].assembly == 0 || l.q.Pairs {
			l.pairsBy(j, s, func(r record, _ int) bool { each(r); return true })
			return nil
		}
		var order []kind
		of := map[kind]*some{}
		l.pairsBy(j, s, func(r record, mark int) bool {
			k := kind{mark, r.sameBy}
			x := of[k]
			if x == nil {
				x = &some{labelled: labelled{slip: s, mark: mark, rank: r.rank, sameBy: r.sameBy}}
				of[k], order = x, append(order, k)
			}
			if x.pairs++; x.pairs <= maxByLabel {
				x.few = append(x.few, r)
			}
			return true
		})
		for _, k := range order {
			if x := of[k]; x.pairs > maxByLabel {
				many(x.labelled)
			} else {
				for _, r := range x.few {
					each(r)
				}
			}
		}
		return nil
	})
}

// pairsBy gives the pairs of which a slip turns the text of the one into that of
// the other, with the mark that tells them apart most quickly, until each returns
// false.
func (l *lister) pairsBy(j *judge, s Slip, each func(r record, mark int) bool) {
	v := &l.variants
	assembly := l.layouts[l.texts.On(s.A)].assembly
	caught, asked := false, false
	more := true
	l.owners(s, func(s Slip, a, b uint32) {
		if !more || !l.differ(a, b, assembly) {
			return
		}
		if !asked {
			caught, asked = l.caught(s), true
		}
		if l.texts.Of(s.A) != a {
			s.A, s.B = s.B, s.A
		}
		r := record{a: a, b: b, slip: s, sameBy: v.family[a] == v.family[b] && j.sameByEye(v.look[a], v.look[b]), caught: caught}
		m := j.quickest(v.look[a], v.look[b])
		switch {
		case m != noMark:
			// A check character does not help who goes by the look.
			if r.rank = max(l.effortOf[m], l.plateRank); r.caught && !r.sameBy {
				r.rank += l.caughtRank
			}
		case r.sameBy:
			r.rank = rankBoth + uint16(b2i(r.caught))
		default:
			r.rank = rankPlate + uint16(b2i(r.caught))
		}
		more = each(r, m)
	})
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}

// caught tells whether a check character of the plate catches a slip.
func (l *lister) caught(s Slip) bool {
	return l.layouts[l.texts.On(s.A)].guard.Catches(string(l.texts.At(s.A)), string(l.texts.At(s.B)))
}

// isByPlate tells whether [lister.byPlate] gives the pair.
func (l *lister) isByPlate(a, b uint32) bool {
	s, ok := l.slip(a, b)
	return ok && l.differ(a, b, l.layouts[l.texts.On(s.A)].assembly)
}

// byEye counts the pairs by eye of each family.
func (l *lister) byEye(ctx context.Context) ([]bucket, error) {
	var out []bucket
	done := 0
	err := inOrder(ctx, l.workers, func(give func(int) bool) error {
		for f := range l.families {
			if (l.wanted == nil || l.wanted[f]) && !give(f) {
				break
			}
		}
		return nil
	}, func(w *worker, f int) ([]bucket, error) {
		pairs := make([]int64, len(l.marks)+1) // the last of no mark
		k := w.judge.kinOf(f)
		steps := 0
		if err := w.judge.join(k, func(a, b int) error {
			if steps++; steps%tickEvery == 0 && ctx.Err() != nil {
				return ctx.Err()
			}
			if n := k.differing(a, b); n > 0 {
				m := w.judge.quickest(k.looks[a].look, k.looks[b].look)
				if m == noMark {
					m = len(l.marks)
				}
				pairs[m] += n
			}
			return nil
		}); err != nil {
			return nil, err
		}
		var out []bucket
		for m, n := range pairs {
			switch {
			case n == 0:
			case m == len(l.marks):
				out = append(out, bucket{f, noMark, rankEye, n})
			default:
				out = append(out, bucket{f, m, l.effortOf[m], n})
			}
		}
		return out, nil
	}, func(b []bucket) error {
		done++
		out = append(out, b...)
		return l.report(Looking, done, len(l.families))
	})
	slices.SortStableFunc(out, func(a, b bucket) int { return cmp.Compare(a.rank, b.rank) })
	return out, err
}

// selection holds the records that come first of those after a given one, as many
// as it may.
type selection struct {
	cap     int
	records []record
	after   *record // nil for all
	more    bool    // there are records after those held
}

func (s *selection) add(r record) {
	if s.after != nil && r.compare(s.after) <= 0 {
		return
	}
	if s.records = append(s.records, r); len(s.records) >= 2*s.cap {
		s.cut()
	}
}

// cut keeps the first of the records, in order.
func (s *selection) cut() {
	slices.SortFunc(s.records, func(a, b record) int { return a.compare(&b) })
	if len(s.records) > s.cap {
		s.records, s.more = s.records[:s.cap], true
	}
}

// job is lines to be written: pairs, or a family or two labels summed up.
type job struct {
	pairs  []record
	group  *bucket
	labels *labelled
}

type written struct {
	lines []byte
	pairs int
}

// produce gives the jobs of all lines after the summary, in order.
func (l *lister) produce(ctx context.Context, j *judge, held *selection, labels []labelled, buckets []bucket, give func(job) bool) error {
	held.cut()
	next := 0 // among those held
	var some []record
	flush := func() bool {
		full := some
		some = nil
		return len(full) == 0 || give(job{pairs: full})
	}
	add := func(r record) bool {
		if some == nil {
			some = make([]record, 0, batch)
		}
		some = append(some, r)
		return len(some) < batch || flush()
	}
	for rank := range uint16(l.ranks) {
		for {
			if next == len(held.records) && held.more {
				last := held.records[next-1]
				held.after, held.records, held.more, next = &last, held.records[:0], false, 0
				if err := l.byPlate(ctx, j, held.add, func(labelled) {}); err != nil {
					return err
				}
				held.cut()
			}
			if next == len(held.records) || held.records[next].rank != rank {
				break
			}
			if !add(held.records[next]) {
				return nil
			}
			next++
		}
		for len(labels) > 0 && labels[0].rank == rank {
			b := labels[0]
			labels = labels[1:]
			if !flush() || !give(job{labels: &b}) {
				return nil
			}
		}
		for len(buckets) > 0 && buckets[0].rank == rank {
			b := buckets[0]
			buckets = buckets[1:]
			if b.pairs > maxSpelled && !l.q.Pairs {
				if !flush() || !give(job{group: &b}) {
					return nil
				}
				continue
			}
			if ok, err := l.spell(j, b, add); !ok || err != nil {
				return err
			}
		}
	}
	flush()
	return ctx.Err()
}

// spell gives the pairs by eye of a family that are not pairs by plate too. The
// few that are spelled out anyway come in the order of their codes.
func (l *lister) spell(j *judge, b bucket, add func(record) bool) (bool, error) {
	k := j.kinOf(b.family)
	var few []record
	err := l.pairsOf(j, k, b, func(x, y uint32) bool {
		if l.isByPlate(x, y) {
			return true
		}
		r := record{a: min(x, y), b: max(x, y), rank: b.rank, sameBy: true}
		if b.pairs > maxSpelled {
			return add(r)
		}
		few = append(few, r)
		return true
	})
	if err == errEnough {
		return false, nil
	}
	slices.SortFunc(few, func(a, b record) int { return a.compare(&b) })
	for _, r := range few {
		if !add(r) {
			return false, nil
		}
	}
	return true, err
}

// errEnough ends a walk of which no more is wanted.
var errEnough = &enough{}

type enough struct{}

func (*enough) Error() string { return "no more is wanted" }

// looksOf walks the looks of a family of which a bucket holds pairs.
func (l *lister) looksOf(j *judge, k *kin, b bucket, each func(x, y int) error) error {
	return j.join(k, func(x, y int) error {
		if k.differing(x, y) == 0 || j.quickest(k.looks[x].look, k.looks[y].look) != b.mark {
			return nil
		}
		return each(x, y)
	})
}

// pairsOf walks the pairs of a bucket until each returns false; the error is then
// errEnough.
func (l *lister) pairsOf(j *judge, k *kin, b bucket, each func(a, b uint32) bool) error {
	return l.looksOf(j, k, b, func(x, y int) error {
		for i := k.looks[x].from; i < k.looks[x].to; i++ {
			from := k.looks[y].from
			if x == y {
				from = i + 1
			}
			for n := from; n < k.looks[y].to; n++ {
				if k.cells[i].number == k.cells[n].number {
					continue
				}
				for _, p := range k.members[k.cells[i].from:k.cells[i].to] {
					for _, q := range k.members[k.cells[n].from:k.cells[n].to] {
						if !each(p, q) {
							return errEnough
						}
					}
				}
			}
		}
		return nil
	})
}
