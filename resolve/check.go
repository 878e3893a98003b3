package resolve

import (
	"cmp"
	"maps"
	"slices"
	"strconv"
	"strings"

	"platewright/catalog"

	"github.com/shopspring/decimal"
)

// The catalogue has no figures for the effort of reading a plate, so these stand
// for it (common practice, no published source): a serial number or date not
// given is read in two minutes; a character that could not be made out takes
// ten, with cleaner, chalk and a lamp held flat.
const (
	readMinutes   = 2
	reviveMinutes = 10
)

func minutes(n int64) catalog.Decimal { return catalog.Decimal{Num: decimal.New(n, 0), Known: true} }

// check is a check that could be made, with the answers it can have.
type check struct {
	next    NextCheck
	answers []answer
}

// answer is a possible answer to a check: it leaves some of the worlds. Of
// assemblies on which the check does not bear it can still leave only those
// worlds that speak of the mark themselves.
type answer struct {
	show  CheckAnswer
	leave func(c *candidateOutcome, bears bool) bool
	seen  *seenMark // of a mark: what would then be seen; nil for any other value
}

// nextCheck finds the check that settles the most asked roles per minute (N1).
func (d *decider) nextCheck() error {
	var open []askedRole
	for i, a := range d.asked {
		as := d.assembly(a.role.assembly)
		if d.dec.Roles[i].Verdict == NotSettled && as != nil && len(as.cands) > 0 && !as.tooMany {
			open = append(open, a)
		}
	}
	if len(open) == 0 || len(d.dec.Conflicts) > 0 {
		return nil
	}
	if err := d.r.loadMarks(); err != nil {
		return err
	}
	checks, err := d.checks(open)
	if err != nil {
		return err
	}
	best, bestScore := -1, score{}
	for i := range checks {
		s, splits, err := d.score(&checks[i], open)
		if err != nil {
			return err
		}
		if splits && (best < 0 || s.better(bestScore)) {
			best, bestScore = i, s
		}
	}
	if best < 0 {
		return nil
	}
	n := checks[best].next
	for i := range checks[best].answers {
		a := checks[best].answers[i].show
		a.Settles, a.Unsettled, a.Leaves = []string{}, []string{}, []catalog.VariantCode{}
		left := map[catalog.VariantCode]bool{}
		for _, role := range open {
			cos, err := d.left(&checks[best], i, role)
			if err != nil {
				return err
			}
			for _, c := range cos {
				if !left[c.v.row.Variant] && len(left) < maxListed {
					left[c.v.row.Variant] = true
					a.Leaves = append(a.Leaves, c.v.row.Variant)
				}
			}
			if len(cos) > 0 && settles(cos) {
				a.Settles = append(a.Settles, role.role.row.Role)
				d.checkHelps[role.role.row.Role] = true
			} else {
				a.Unsettled = append(a.Unsettled, role.role.row.Role)
				if len(cos) < len(d.outcomes[role.key]) {
					d.checkHelps[role.role.row.Role] = true
				}
			}
		}
		slices.SortFunc(a.Leaves, func(x, y catalog.VariantCode) int { return strings.Compare(x.Key(), y.Key()) })
		if len(a.Leaves) > 0 {
			n.Answers = append(n.Answers, a)
		}
	}
	d.dec.NextCheck = &n
	return nil
}

// left gives the worlds of a role that an answer leaves. Where statements of the
// role speak of a mark, what is seen of it can call for others than what was
// expected (O1, O3), so that the candidates left are worked out anew.
func (d *decider) left(c *check, answer int, role askedRole) ([]candidateOutcome, error) {
	a, cos, bears := &c.answers[answer], d.outcomes[role.key], d.bears(c, role)
	var out []candidateOutcome
	anew, err := d.speaks(a.seen, cos, role, bears)
	if err != nil {
		return nil, err
	}
	if !anew {
		for i := range cos {
			if a.leave(&cos[i], bears) {
				out = append(out, cos[i])
			}
		}
		return out, nil
	}
	known := d.assembly(role.role.assembly).known
	known.seen = maps.Clone(known.seen)
	known.seen[a.seen.key] = a.seen.value
	for i := range cos {
		v := cos[i].v
		if i > 0 && cos[i-1].v == v || bears && !a.seen.compatible(v.shown(a.seen.key)) {
			continue
		}
		then, err := d.r.outcomes(v, role.role.row, role.key, known, d.fill)
		if err != nil {
			return nil, err
		}
		out = append(out, then...)
	}
	return out, nil
}

// speaks tells whether statements of a role can speak of what would be seen.
func (d *decider) speaks(seen *seenMark, cos []candidateOutcome, role askedRole, bears bool) (bool, error) {
	if seen == nil {
		return false, nil
	}
	for i := range cos {
		if _, ok := cos[i].w.mark(seen.key); ok || !bears {
			return true, nil
		}
	}
	f, err := d.r.fitsOfMark(seen.key, seen.value)
	return len(f.of(role.key)) > 0, err
}

// bears tells whether what a check finds can take candidates from a role.
func (d *decider) bears(c *check, role askedRole) bool {
	return d.bearsOn(catalog.Fold(c.next.Assembly), d.assembly(role.role.assembly))
}

// bearsOn tells whether evidence of an assembly bears on the candidates of as:
// its own does, and that of the assembly that it follows, unless it is apart
// from it (C8).
func (d *decider) bearsOn(assembly string, as *assemblyWork) bool {
	for ; as != nil; as = d.assembly(as.follows) {
		if as.key == assembly {
			return true
		}
		if as.apart {
			return false
		}
	}
	return false
}

// score rates a check: roles settled in expectation for each minute, groups
// left in expectation, minutes, name.
type score struct {
	settled float64
	groups  float64
	minutes float64
	name    string
}

func (s score) better(o score) bool {
	const eps = 1e-9 // weights are sums of floats in varying order
	a, b := s.settled/s.minutes, o.settled/o.minutes
	switch {
	case a > b+eps:
		return true
	case a < b-eps:
		return false
	case s.groups < o.groups-eps:
		return true
	case s.groups > o.groups+eps:
		return false
	case s.minutes != o.minutes:
		return s.minutes < o.minutes
	}
	return s.name < o.name
}

// score also tells whether the check keeps any two worlds of an open role
// apart; one that does not is no use.
func (d *decider) score(c *check, open []askedRole) (score, bool, error) {
	s := score{minutes: max(c.next.Effort.Num.InexactFloat64(), 0.1), name: string(c.next.Kind) + c.next.Mark + strconv.Itoa(c.next.Place)}
	splits := false
	for _, role := range open {
		cos := d.outcomes[role.key]
		weights, bears := weigh(cos), d.bears(c, role)
		for i := range c.answers {
			left, err := d.left(c, i, role)
			if err != nil {
				return s, false, err
			}
			if len(left) == 0 {
				continue
			}
			// A world that several answers leave counts for each with its share.
			p := 0.0
			for j := range cos {
				if c.answers[i].leave(&cos[j], bears) {
					n := 0
					for k := range c.answers {
						if c.answers[k].leave(&cos[j], bears) {
							n++
						}
					}
					p += weights[j] / float64(n)
				} else {
					splits = true
				}
			}
			if settles(left) {
				s.settled += p
			}
			s.groups += p * float64(len(groups(left)))
		}
	}
	return s, splits, nil
}

// weigh gives each world its probability: by built quantity if it is known for
// every candidate, else equal, shared evenly among the worlds of a candidate.
func weigh(cos []candidateOutcome) []float64 {
	worlds := map[string]int{}
	counts, known := 0, true
	for _, c := range cos {
		if worlds[c.v.key]++; worlds[c.v.key] == 1 {
			counts += c.v.row.Count
			known = known && c.v.row.Count > 0
		}
	}
	out := make([]float64, len(cos))
	for i, c := range cos {
		w := 1 / float64(len(worlds))
		if known {
			w = float64(c.v.row.Count) / float64(counts)
		}
		out[i] = w / float64(worlds[c.v.key])
	}
	return out
}

// checks lists what could still be looked at for the open roles.
func (d *decider) checks(open []askedRole) ([]check, error) {
	var out []check
	for _, m := range d.r.markOrder {
		key := catalog.Fold(m.Mark)
		if m.Force != catalog.Deciding || slices.ContainsFunc(d.seen, func(s *seenMark) bool { return s.key == key }) {
			continue
		}
		if c, ok := d.markCheck(m, key, open); ok {
			out = append(out, c)
		}
	}
	for _, kind := range []StatementKind{StatementSerial, StatementBuilt} {
		if c, ok := d.rangeCheck(kind, open); ok {
			out = append(out, c)
		}
	}
	for _, as := range d.assemblies {
		out = append(out, d.characterChecks(as, open)...)
	}
	return out, nil
}

// markCheck makes a check of a mark, with an answer for each value that a
// remaining world shows or a condition names.
func (d *decider) markCheck(m *catalog.Mark, key string, open []askedRole) (check, bool) {
	c := check{next: NextCheck{Kind: CheckMark, Assembly: m.Assembly, Mark: m.Mark, Name: m.Name, Effort: m.Effort, How: m.How, Unit: m.Unit, Caution: m.Caution}}
	spelled := map[string]string{}
	other := false
	for _, role := range open {
		bears := d.bears(&c, role)
		for _, co := range d.outcomes[role.key] {
			if m, ok := co.w.mark(key); ok {
				if m.value == "" {
					other = true
				} else if spelled[m.value] == "" {
					spelled[m.value] = m.value
				}
				continue
			}
			if !bears {
				continue
			}
			for _, s := range co.v.shown(key) {
				spelled[catalog.FoldValue(s.Value)] = s.Value
			}
		}
	}
	if len(spelled)+b2i(other) < 2 {
		return c, false
	}
	var values []string
	for v := range spelled {
		values = append(values, v)
	}
	slices.SortFunc(values, func(a, b string) int {
		x, e1 := decimal.NewFromString(a)
		y, e2 := decimal.NewFromString(b)
		if e1 == nil && e2 == nil {
			return x.Cmp(y)
		}
		return strings.Compare(a, b)
	})
	for _, v := range values {
		seen := &seenMark{mark: m, key: key, value: v}
		if m.Kind == catalog.MarkMeasured {
			n, err := catalog.ParseDecimal(v)
			if err != nil {
				continue
			}
			seen.num = n
		}
		c.answers = append(c.answers, answer{show: CheckAnswer{Value: spelled[v]}, seen: seen, leave: func(co *candidateOutcome, bears bool) bool {
			if have, ok := co.w.mark(key); ok {
				// Any other value than this candidate's statements name can be
				// one that another's name.
				return have.value == v || have.value == "" && !strings.Contains(have.not, ";"+v+";")
			}
			return !bears || seen.compatible(co.v.shown(key))
		}})
	}
	if other {
		c.answers = append(c.answers, answer{show: CheckAnswer{}, leave: func(co *candidateOutcome, bears bool) bool {
			if have, ok := co.w.mark(key); ok {
				return have.value == ""
			}
			return !bears || len(co.v.shown(key)) == 0
		}})
	}
	return c, true
}

// mark gives the mark's value in the world, where the world speaks of it.
func (w *world) mark(mark string) (markValue, bool) {
	for _, m := range w.marks {
		if m.mark == mark {
			return m, true
		}
	}
	return markValue{}, false
}

// rangeCheck makes the check of the serial number or the build date, with an
// answer for each range between two ends.
func (d *decider) rangeCheck(kind StatementKind, open []askedRole) (check, bool) {
	c := check{next: NextCheck{Kind: CheckKind(kind), Effort: minutes(readMinutes)}}
	c.next.Assembly = d.assemblies[0].row.Assembly
	bounds := func(co *candidateOutcome) (lo, hi int64) {
		if kind == StatementSerial {
			return co.w.serial[0], co.w.serial[1]
		}
		return int64(co.w.built[0]), int64(co.w.built[1])
	}
	split := func(co *candidateOutcome) bool {
		// What the root bears tells nothing of an assembly of another unit (C4).
		return !co.apart && slices.ContainsFunc(co.w.when, func(w When) bool { return w.Kind == kind })
	}
	var starts []int64
	for _, role := range open {
		for i := range d.outcomes[role.key] {
			co := &d.outcomes[role.key][i]
			if lo, _ := bounds(co); split(co) && !slices.Contains(starts, lo) {
				starts = append(starts, lo)
			}
		}
	}
	if len(starts) < 2 {
		return c, false
	}
	slices.Sort(starts)
	text := func(n int64) string {
		switch {
		case n == 0:
			return ""
		case kind == StatementSerial:
			return catalog.Serial(n).String()
		}
		return catalog.Date(n).String()
	}
	before := func(n int64) int64 {
		if kind == StatementBuilt {
			return int64(dayBefore(int32(n)))
		}
		return n - 1
	}
	for i, lo := range starts {
		hi := int64(0)
		if i+1 < len(starts) {
			hi = before(starts[i+1])
		}
		c.answers = append(c.answers, answer{show: CheckAnswer{From: text(lo), To: text(hi)}, leave: func(co *candidateOutcome, _ bool) bool {
			if !split(co) {
				return true
			}
			a, b := bounds(co)
			return (hi == 0 || a <= hi) && (b == 0 || lo <= b)
		}})
	}
	return c, true
}

// characterChecks makes a check of each open character of a reading that tells
// variants apart.
func (d *decider) characterChecks(as *assemblyWork, open []askedRole) []check {
	var out []check
	for _, rw := range as.readings {
		if len(rw.matches) != 1 || rw.reading == nil {
			continue
		}
		m := rw.matches[0]
		index := 0
		for _, f := range m.Fields {
			if f.Means != catalog.MeansVariant {
				continue
			}
			for i, set := range f.Chars {
				at := index
				index++
				if set.Len() < 2 {
					continue
				}
				c := check{next: NextCheck{Kind: CheckCharacter, Assembly: as.row.Assembly, Name: f.Field, Place: f.Place + i, Effort: minutes(reviveMinutes)}}
				var chars []byte
				for _, role := range open {
					if !d.bears(&c, role) {
						continue
					}
					for _, co := range d.outcomes[role.key] {
						for _, text := range rw.texts[co.v.key] {
							if !slices.Contains(chars, text[at]) {
								chars = append(chars, text[at])
							}
						}
					}
				}
				if len(chars) < 2 {
					continue
				}
				slices.Sort(chars)
				for _, ch := range chars {
					c.answers = append(c.answers, answer{show: CheckAnswer{Value: string(ch)}, leave: func(co *candidateOutcome, bears bool) bool {
						return !bears || slices.ContainsFunc(rw.texts[co.v.key], func(text string) bool { return text[at] == ch })
					}})
				}
				out = append(out, c)
			}
		}
	}
	slices.SortStableFunc(out, func(a, b check) int { return cmp.Compare(a.next.Place, b.next.Place) })
	return out
}
