package audit

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"time"

	"platewright/catalog"
)

// statement is a fit statement made ready to be compared.
type statement struct {
	fit     *catalog.Fit
	level   int // 0 family, 1 mark, 2 variant
	role    int // -1: the catalogue has no such role
	against bool
	part    int // -1: none
	pos     string
	serial  span
	built   span
	asks    []condition
	sum     uint64 // what it says a unit takes: equal for statements that say the same
}

// span is a range of serial numbers or of days as yyyymmdd; an open end reaches
// as far as there are numbers.
type span struct{ from, to int64 }

var whole = span{math.MinInt64, math.MaxInt64}

func (s span) meets(o span) bool { return s.from <= o.to && o.from <= s.to }
func (s span) holds(o span) bool { return s.from <= o.from && o.to <= s.to }

func serialSpan(from, to catalog.Serial) span {
	s := whole
	if from != 0 {
		s.from = int64(from)
	}
	if to != 0 {
		s.to = int64(to)
	}
	return s
}

func builtSpan(from, to catalog.Date) span {
	s := whole
	if from != 0 {
		s.from = int64(from.First())
	}
	if to != 0 {
		s.to = int64(to.Last())
	}
	return s
}

// condition is a value that a mark must have, by index of the mark.
type condition struct {
	mark  int
	value string // folded
}

// shown is a value that a variant or family shows of a mark.
type shown struct {
	row   *catalog.Show
	value string // folded
}

func (a *auditor) statement(f *catalog.Fit) statement {
	s := statement{fit: f, level: 2, against: f.Effect == catalog.DoesNotFit, part: -1, role: -1, serial: whole, built: whole}
	if i, ok := a.roleOf[a.fold(f.Role)]; ok {
		s.role = i
	}
	if f.Part != "" {
		s.part = a.partNo(f.Part)
	}
	if f.Position != "" {
		s.pos = catalog.FoldValue(f.Position)
	}
	if f.SerialFrom|f.SerialTo != 0 {
		s.serial = serialSpan(f.SerialFrom, f.SerialTo)
	}
	if f.BuiltFrom|f.BuiltTo != 0 {
		s.built = builtSpan(f.BuiltFrom, f.BuiltTo)
	}
	switch f.Scope {
	case catalog.FitFamily:
		s.level = 0
	case catalog.FitMark:
		s.level = 1
		if c, err := catalog.ParseCondition(f.Of); err == nil {
			s.asks = append(s.asks, a.condition(c))
		}
	}
	for _, c := range f.When {
		s.asks = append(s.asks, a.condition(c))
	}
	h := fnv(offset, f.Effect)
	h = number(h, uint64(s.part+1))
	h = fnv(h, s.pos)
	h = number(h, uint64(s.fit.Qty))
	for _, n := range []int64{s.serial.from, s.serial.to, s.built.from, s.built.to} {
		h = number(h, uint64(n))
	}
	var asks uint64
	for _, c := range s.asks {
		asks += fnv(number(offset, uint64(c.mark+1)), c.value)
	}
	s.sum = mix(number(h, asks))
	return s
}

func (a *auditor) condition(c catalog.Condition) condition {
	i, ok := a.markOf[a.fold(c.Mark)]
	if !ok {
		i = -1
	}
	return condition{i, catalog.FoldValue(c.Value)}
}

// Sums of what variants take and show are FNV-1a hashes (Fowler, Noll, Vo; RFC
// 9923), mixed before they are added up.
const (
	offset = 14695981039346656037
	prime  = 1099511628211
)

func fnv[S ~string](h uint64, s S) uint64 {
	for i := 0; i < len(s); i++ {
		h = (h ^ uint64(s[i])) * prime
	}
	return (h ^ 0xff) * prime
}

func number(h, n uint64) uint64 {
	for range 8 {
		h = (h ^ n&0xff) * prime
		n >>= 8
	}
	return h
}

// mix spreads a hash so that sums of several do not cancel (the finalizer of
// MurmurHash3, Appleby).
func mix(h uint64) uint64 {
	h = (h ^ h>>33) * 0xff51afd7ed558ccd
	h = (h ^ h>>33) * 0xc4ceb9fe1a85ec53
	return h ^ h>>33
}

// overlap tells whether two statements can hold of one unit.
func overlap(s, o *statement) bool {
	if !s.serial.meets(o.serial) || !s.built.meets(o.built) {
		return false
	}
	for _, c := range s.asks {
		for _, d := range o.asks {
			if c.mark == d.mark && c.value != d.value {
				return false
			}
		}
	}
	return true
}

// impliesConditionsOf tells whether o holds wherever s does.
func (s *statement) impliesConditionsOf(o *statement) bool {
	if !o.serial.holds(s.serial) || !o.built.holds(s.built) {
		return false
	}
	for _, c := range o.asks {
		if !slices.Contains(s.asks, c) {
			return false
		}
	}
	return true
}

// within tells whether a statement's ranges meet those of a variant.
func (s *statement) within(serial, built span) bool {
	return s.serial.meets(serial) && s.built.meets(built)
}

// meeting tells whether two statements can hold of one unit whose ranges are
// those.
func meeting(s, o *statement, serial, built span) bool {
	return overlap(s, o) && s.within(serial, built) && o.within(serial, built)
}

func (a *auditor) rowOf(s *statement) Row { return a.at(catalog.TFits, s.fit) }

// pair reports what two statements that are for one unit say against each other;
// without a unit, for a mark. same tells that they have one target, once that
// other units can meet the same pair.
func (a *auditor) pair(s, o *statement, u *unit, same, once bool) error {
	serial, built := whole, whole
	if u != nil {
		serial, built = u.serial, u.built
	}
	if s.role != o.role || s.against && o.against || !meeting(s, o, serial, built) {
		return nil
	}
	if s.against {
		s, o = o, s
	}
	f := Facts{Role: s.fit.Role}
	var kind Kind
	severity := Wrong
	switch {
	case o.against:
		if o.part >= 0 && o.part != s.part || o.level > s.level {
			return nil
		}
		f.Covered = s.impliesConditionsOf(o)
		if same && !f.Covered && o.impliesConditionsOf(s) {
			return nil
		}
		kind, f.Parts = Contradiction, []catalog.PartNo{s.fit.Part}
		if !f.Covered {
			severity = Doubtful
		}
	case s.pos != o.pos:
		return nil
	case s.part == o.part:
		if s.fit.Qty == o.fit.Qty {
			return nil
		}
		kind, f.Parts, f.Position, f.Qty = QuantityDiffers, []catalog.PartNo{s.fit.Part}, s.fit.Position, []int{s.fit.Qty, o.fit.Qty}
	case s.fit.Rank != o.fit.Rank:
		return nil
	default:
		if a.ways.serves(s.part, o.part) || a.ways.serves(o.part, s.part) {
			return nil
		}
		kind, severity = EqualRank, Doubtful
		f.Parts, f.Position, f.Rank = []catalog.PartNo{s.fit.Part, o.fit.Part}, s.fit.Position, s.fit.Rank
		switch {
		case same && s.serial != whole && o.serial != whole:
			kind, severity, f.Range = BreakOverlap, Wrong, OfSerial
			f.From, f.To = bounds(s.serial, o.serial, strconv.FormatInt)
		case same && s.built != whole && o.built != whole:
			kind, severity, f.Range = BreakOverlap, Wrong, OfBuilt
			f.From, f.To = bounds(s.built, o.built, dayText)
		}
	}
	if !a.want(kind) || kind != Contradiction && u != nil && (u.rules(s) || u.rules(o)) {
		return nil
	}
	one, two := a.rowOf(s), a.rowOf(o)
	if once && !a.once(string(kind)+"\x00"+one.Key+"\x00"+two.Key) {
		return nil
	}
	if o.level > s.level {
		// The row to look at first is the more special one.
		one, two = two, one
	}
	f.Family, f.Variants = a.targetOf(s, o)
	return a.tell(kind, severity, f, one, two)
}

// rules tells whether a statement for the unit rules a fits statement out
// wherever it holds.
func (u *unit) rules(s *statement) bool {
	out := false
	if s.role >= 0 {
		u.applying(s.role, func(o *statement) {
			out = out || o.against && (o.part == s.part || o.part < 0) && s.impliesConditionsOf(o)
		})
	}
	return out
}

// targetOf names what statements speak of: the variant if one does, and the
// family.
func (a *auditor) targetOf(ss ...*statement) (family string, variants []catalog.VariantCode) {
	for _, s := range ss {
		switch s.fit.Scope {
		case catalog.FitVariant:
			if variants == nil {
				variants = []catalog.VariantCode{catalog.VariantCode(s.fit.Of)}
			}
			if a.now != nil {
				family = a.now.name()
			}
		case catalog.FitFamily:
			family = s.fit.Of
		}
	}
	return family, variants
}

// bounds gives what two ranges have in common, "" for an open end.
func bounds(s, o span, text func(int64, int) string) (from, to string) {
	if n := max(s.from, o.from); n != whole.from {
		from = text(n, 10)
	}
	if n := min(s.to, o.to); n != whole.to {
		to = text(n, 10)
	}
	return from, to
}

// dayText writes a day yyyymmdd; the last day of a month known only by name is
// the 31st, and becomes the one that the month has.
func dayText(n int64, _ int) string { return realDay(n).Format("2006-01-02") }

func realDay(n int64) time.Time {
	y, m, d := int(n/10000), time.Month(n/100%100), int(n%100)
	t := time.Date(y, m, d, 0, 0, 0, 0, time.UTC)
	if t.Month() != m {
		t = time.Date(y, m+1, 0, 0, 0, 0, 0, time.UTC)
	}
	return t
}

func dayNumber(t time.Time) int64 {
	return int64(t.Year())*10000 + int64(t.Month())*100 + int64(t.Day())
}

func after(n int64, of Range) int64 {
	if of == OfBuilt {
		return dayNumber(realDay(n).AddDate(0, 0, 1))
	}
	return n + 1
}

func before(n int64, of Range) int64 {
	if of == OfBuilt {
		return dayNumber(realDay(n).AddDate(0, 0, -1))
	}
	return n - 1
}

// target reports what the statements of one variant, family or mark with a value
// say against each other, and the gaps in their breaks.
func (a *auditor) target(u *unit, list []statement) error {
	serial, built := whole, whole
	if u != nil {
		serial, built = u.serial, u.built
	}
	breaks := false
	for i := range list {
		breaks = breaks || list[i].serial != whole || list[i].built != whole
		for j := range i {
			s, o := &list[j], &list[i]
			if err := a.pair(s, o, u, true, false); err != nil {
				return err
			}
			if s.role == o.role && equal(s, o) {
				f := Facts{Role: s.fit.Role, Position: s.fit.Position}
				if s.part >= 0 {
					f.Parts = []catalog.PartNo{s.fit.Part}
				}
				f.Family, f.Variants = a.targetOf(s)
				if err := a.tell(DuplicateStatement, Thin, f, a.rowOf(s), a.rowOf(o)); err != nil {
					return err
				}
			}
		}
	}
	if breaks && a.want(BreakGap) {
		if err := a.gaps(list, OfSerial, serial); err != nil {
			return err
		}
		return a.gaps(list, OfBuilt, built)
	}
	return nil
}

// equal tells whether two statements of one target differ in nothing but their
// names, notes and sources.
func equal(s, o *statement) bool {
	return s.against == o.against && s.part == o.part && s.pos == o.pos && s.fit.Qty == o.fit.Qty && s.fit.Rank == o.fit.Rank &&
		s.serial == o.serial && s.built == o.built && sameAsks(s.asks, o.asks)
}

func sameAsks(a, b []condition) bool {
	return len(a) == len(b) && !slices.ContainsFunc(a, func(c condition) bool { return !slices.Contains(b, c) })
}

// gaps reports what the serial or the build ranges of the statements of one
// target leave out between them.
func (a *auditor) gaps(list []statement, of Range, within span) error {
	ranges := func(s *statement) (this, other span) {
		if of == OfBuilt {
			return s.built, s.serial
		}
		return s.serial, s.built
	}
	done := make([]bool, len(list))
	for i := range list {
		s := &list[i]
		if this, other := ranges(s); done[i] || s.against || this == whole || other != whole {
			continue
		}
		var group []*statement
		filled := false
		for j := range list {
			o := &list[j]
			if o.against || o.role != s.role || o.pos != s.pos {
				continue
			}
			this, other := ranges(o)
			switch {
			case other != whole:
			case this == whole:
				filled = filled || !slices.ContainsFunc(o.asks, func(c condition) bool { return !slices.Contains(s.asks, c) })
			case sameAsks(s.asks, o.asks):
				done[j] = true
				group = append(group, o)
			}
		}
		if filled {
			continue
		}
		slices.SortStableFunc(group, func(x, y *statement) int {
			p, _ := ranges(x)
			q, _ := ranges(y)
			return cmp.Or(cmp.Compare(p.from, q.from), cmp.Compare(p.to, q.to))
		})
		last := group[0]
		end, _ := ranges(last)
		for _, o := range group[1:] {
			next, _ := ranges(o)
			if end.to != whole.to && next.from > after(end.to, of) {
				gap := span{after(end.to, of), before(next.from, of)}
				if gap.meets(within) {
					f := Facts{Role: s.fit.Role, Position: s.fit.Position, Range: of, Parts: []catalog.PartNo{last.fit.Part, o.fit.Part}}
					f.From, f.To = bounds(gap, gap, map[Range]func(int64, int) string{OfSerial: strconv.FormatInt, OfBuilt: dayText}[of])
					f.Family, f.Variants = a.targetOf(s)
					if err := a.tell(BreakGap, Doubtful, f, a.rowOf(o), a.rowOf(last)); err != nil {
						return err
					}
				}
			}
			if next.to > end.to {
				last, end = o, next
			}
		}
	}
	return nil
}
