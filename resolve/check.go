package resolve

import (
	"cmp"
	"errors"
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

// minutesOf gives hundredths of a minute in minutes.
func minutesOf(n int64) catalog.Decimal { return catalog.Decimal{Num: decimal.New(n, -2), Known: true} }

// check is a check that could be made, with the answers it can have.
type check struct {
	next    NextCheck
	answers []answer
	site    bool // of the coil at a site
	nth     int  // of a character or reading: which reading of the assembly it is, 0 for the first
}

// answer is a possible answer to a check: it leaves some of the worlds. Of
// assemblies on which the check does not bear it can still leave only those
// worlds that speak of the mark themselves.
type answer struct {
	show  CheckAnswer
	leave func(c *candidateOutcome, bears bool) bool
	seen  *seenMark // of a mark: what would then be seen; nil for any other value
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

// checks lists what could still be looked at for the open roles.
func (d *decider) checks(open []askedRole) ([]check, error) {
	var out []check
	sites, measured, err := d.siteChecks(open)
	if err != nil {
		return nil, err
	}
	for _, m := range d.r.markOrder {
		key := catalog.Fold(m.Mark)
		if slices.Contains(measured, key) {
			continue
		}
		if m.Force != catalog.Deciding || slices.ContainsFunc(d.seen, func(s *seenMark) bool { return s.key == key }) {
			continue
		}
		c, ok, err := d.markCheck(m, key, open)
		if err != nil {
			return nil, err
		}
		if ok {
			out = append(out, c)
		}
	}
	out = append(out, sites...)
	for _, kind := range []StatementKind{StatementSerial, StatementBuilt} {
		if c, ok := d.rangeCheck(kind, open); ok {
			out = append(out, c)
		}
	}
	for _, as := range d.assemblies {
		out = append(out, d.characterChecks(as, open)...)
	}
	for i := range out {
		out[i].next.ID = d.checkID(&out[i])
	}
	return slices.DeleteFunc(out, func(c check) bool {
		return slices.ContainsFunc(d.q.CannotSee, func(id string) bool { return catalog.Fold(id) == catalog.Fold(c.next.ID) })
	}), nil
}

// checkID names a check among those of a unit.
func (d *decider) checkID(c *check) string {
	id := string(c.next.Kind)
	switch c.next.Kind {
	case CheckMark:
		return c.next.Mark
	case CheckCharacter:
		id += ":" + strconv.Itoa(c.next.Place)
	case CheckReading:
	default:
		return id
	}
	if c.next.Assembly != d.assemblies[0].row.Assembly {
		id += "@" + c.next.Assembly
	}
	if c.nth > 0 {
		id += "@" + strconv.Itoa(c.nth+1)
	}
	return id
}

// markCheck makes a check of a mark, with an answer for each value that a
// remaining world shows or a condition names.
func (d *decider) markCheck(m *catalog.Mark, key string, open []askedRole) (check, bool, error) {
	c := check{next: NextCheck{Kind: CheckMark, Assembly: m.Assembly, Mark: m.Mark, Name: m.Name, Effort: m.Effort, How: m.How, Unit: m.Unit, Caution: m.Caution}}
	// Of the coil at a site the rows of the site count (C2a).
	coil, err := d.coilMark(m, key, Observation{m.Mark, "1"})
	if err != nil {
		return c, false, err
	}
	shownBy := func(v *variant) ([]string, error) {
		if coil != nil {
			return coil.nominals(d.r, v)
		}
		var out []string
		for _, s := range v.shown(key) {
			out = append(out, s.Value)
		}
		return out, nil
	}
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
			values, err := shownBy(co.v)
			if err != nil {
				return c, false, err
			}
			for _, v := range values {
				spelled[catalog.FoldValue(v)] = v
			}
		}
	}
	if len(spelled)+b2i(other) < 2 {
		return c, false, nil
	}
	var values []string
	ohms := map[string]catalog.Decimal{} // of the coil at a site: at 20 °C
	for v := range spelled {
		values = append(values, v)
		if coil != nil {
			if o, err := d.coilMark(m, key, Observation{m.Mark, spelled[v]}); err == nil {
				ohms[v] = o.num
			}
		}
	}
	slices.SortFunc(values, func(a, b string) int {
		x, y := ohms[a], ohms[b]
		if coil == nil || !x.Known && !y.Known {
			n, e1 := decimal.NewFromString(a)
			m, e2 := decimal.NewFromString(b)
			if e1 == nil && e2 == nil {
				return n.Cmp(m)
			}
		} else if x.Known && y.Known {
			return cmp.Or(x.Num.Cmp(y.Num), strings.Compare(a, b))
		}
		return cmp.Or(b2i(y.Known)-b2i(x.Known), strings.Compare(a, b))
	})
	for _, v := range values {
		seen := &seenMark{mark: m, key: key, value: v}
		agrees := func(v *variant) bool { return seen.compatible(v.shown(key)) }
		switch {
		case coil != nil:
			var unread *QuestionError
			if seen, err = d.coilMark(m, key, Observation{m.Mark, spelled[v]}); errors.As(err, &unread) {
				continue // a value of a condition that is none
			}
			if err != nil {
				return c, false, err
			}
			if agrees, err = d.coilAgrees(seen, open); err != nil {
				return c, false, err
			}
		case m.Kind == catalog.MarkMeasured:
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
			return !bears || agrees(co.v)
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
	return c, true, nil
}

// coilAgrees tells which variants of the open roles a coil measured by the name of a
// mark leaves: all where it would be faulty.
func (d *decider) coilAgrees(o *seenMark, open []askedRole) (func(*variant) bool, error) {
	gone := map[string]bool{}
	for _, role := range open {
		for _, co := range d.outcomes[role.key] {
			if _, done := gone[co.v.key]; done {
				continue
			}
			shows, err := o.shownBy(d.r, co.v)
			if err != nil {
				return nil, err
			}
			gone[co.v.key] = o.evident() && !o.compatible(shows)
		}
	}
	return func(v *variant) bool { return !gone[v.key] }, nil
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
	own := func(v *variant) (lo, hi int64) {
		if kind == StatementSerial {
			return int64(v.row.SerialFrom), int64(v.row.SerialTo)
		}
		return int64(v.row.BuiltFrom.First()), int64(v.row.BuiltTo.Last())
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
			if co.apart {
				return true
			}
			// The variant's own range excludes it as well (C4).
			a, b := own(co.v)
			if hi != 0 && a > hi || b != 0 && lo > b {
				return false
			}
			if !split(co) {
				return true
			}
			a, b = bounds(co)
			return (hi == 0 || a <= hi) && (b == 0 || lo <= b)
		}})
	}
	return c, true
}

// characterChecks makes a check of each open character of a reading that tells
// variants apart.
func (d *decider) characterChecks(as *assemblyWork, open []askedRole) []check {
	var out []check
	// In whatever order labels are given, the first by text is the first.
	readings := slices.SortedFunc(slices.Values(as.readings), func(a, b *readWork) int { return strings.Compare(a.out.Text, b.out.Text) })
	for nth, rw := range readings {
		if len(rw.matches) != 1 || rw.reading == nil {
			continue
		}
		m := rw.matches[0]
		read := func(v *variant) []string { return rw.texts[v.key] }
		if len(rw.slipTexts) > 0 {
			read = func(v *variant) []string {
				return slices.DeleteFunc(slices.Clone(rw.texts[v.key]), func(text string) bool { return !m.Allows(text) })
			}
		}
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
				c := check{nth: nth, next: NextCheck{Kind: CheckCharacter, Assembly: as.row.Assembly, Name: f.Field, Place: f.Place + i, Reading: rw.source, Effort: minutes(reviveMinutes)}}
				var chars []byte
				for _, role := range open {
					if !d.bears(&c, role) {
						continue
					}
					for _, co := range d.outcomes[role.key] {
						for _, text := range read(co.v) {
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
						texts := read(co.v)
						// A variant that only a slip allows says nothing of this place.
						return !bears || len(texts) == 0 || slices.ContainsFunc(texts, func(text string) bool { return text[at] == ch })
					}})
				}
				out = append(out, c)
			}
		}
	}
	slices.SortStableFunc(out, func(a, b check) int { return cmp.Compare(a.next.Place, b.next.Place) })
	for nth, rw := range readings {
		if c, ok := d.slipCheck(as, nth, rw); ok {
			out = append(out, c)
		}
	}
	return out
}

// slipCheck makes the check of a whole reading in which a slip was thought
// possible, with an answer for each text that it can be.
func (d *decider) slipCheck(as *assemblyWork, nth int, rw *readWork) (check, bool) {
	c := check{nth: nth, next: NextCheck{Kind: CheckReading, Assembly: as.row.Assembly, Reading: rw.source, Effort: minutes(reviveMinutes)}}
	if len(rw.slipTexts) == 0 {
		return c, false
	}
	of := map[string][]string{} // keys of variants
	add := func(text, key string) {
		if !slices.Contains(of[text], key) {
			of[text] = append(of[text], key)
		}
	}
	for _, s := range rw.slipTexts {
		add(s.text, s.variant)
	}
	for _, m := range rw.matches {
		for _, key := range rw.order {
			if slices.ContainsFunc(rw.texts[key], m.Allows) {
				add(rw.source, key)
			}
		}
	}
	for _, text := range slices.Sorted(maps.Keys(of)) {
		c.answers = append(c.answers, answer{show: CheckAnswer{Value: text}, leave: func(co *candidateOutcome, bears bool) bool {
			return !bears || slices.Contains(of[text], co.v.key)
		}})
	}
	return c, len(c.answers) > 1
}

// checkUnseen refuses what is said to be not to be made out and is no check that
// there is: a name misspelt would leave the check in the plan without a word.
func (d *decider) checkUnseen() error {
	if len(d.q.CannotSee) == 0 {
		return nil
	}
	if err := d.r.loadMarks(); err != nil {
		return err
	}
	for _, id := range d.q.CannotSee {
		key := catalog.Fold(id)
		kind, _, _ := strings.Cut(id, "@")
		kind, place, _ := strings.Cut(kind, ":")
		n, err := strconv.Atoi(place)
		switch k := CheckKind(strings.ToLower(kind)); {
		case d.r.marks[key] != nil, k == CheckSerial, k == CheckBuilt, k == CheckReading, k == CheckCharacter && err == nil && n > 0:
			continue
		}
		site, err := d.findBench(catalog.TableByName(catalog.TSites), key)
		if err != nil {
			return err
		}
		if site != nil {
			continue
		}
		known, err := d.benchKnown()
		if err != nil {
			return err
		}
		for _, m := range d.r.markOrder {
			known = append(known, m.Mark)
		}
		return &QuestionError{Part: "check", Value: id, Reason: UnknownName, Known: append(known, string(CheckSerial), string(CheckBuilt), string(CheckCharacter)+":PLACE", string(CheckReading))}
	}
	return nil
}
