package resolve

import (
	"cmp"
	"slices"
	"strings"

	"platewright/catalog"
)

// known is what is known of the unit as far as one assembly's parts depend on
// it.
type known struct {
	serial catalog.Serial
	built  catalog.Span[int32] // first and last day as yyyymmdd; zero for not known
	seen   map[string]string   // deciding marks: key of the mark, folded value
}

// world is one way in which what is not known about a unit can turn out (O3).
type world struct {
	serial [2]int64 // first and last serial number; 0 for open
	built  [2]int32 // first and last day; 0 for open
	marks  []markValue
	when   []When
}

type markValue struct {
	mark  string // key
	value string // folded; "" for any other than those named
	not   string // of any other: those named, each between semicolons
}

// outcome is what a candidate takes in a role in one world (O7, O8).
type outcome struct {
	kind    OutcomeKind
	lines   []Line
	reasons []Reason
	out     ruledOut
	stated  []statedPart
	none    *catalog.Fit // the statement that the unit takes nothing
	fluid   *catalog.Fill
	belied  []*fluidChoice // fluids that only their data sheet keeps from being choices (O8)
	key     string         // of the group; built when it is asked for
	noted   lazy[bool]

	// Memory for lines and stated, which seldom need more.
	fewLines  [1]Line
	fewStated [2]statedPart
}

type statedPart struct {
	key    string
	fit    *catalog.Fit
	bought *bought // what the statement adds to its position; nil for nothing
}

// candidateOutcome is a world of a candidate with its outcome.
type candidateOutcome struct {
	v     *variant
	w     world
	o     *outcome
	apart bool // of an assembly that does not have the root's serial number and date
}

// maxWorlds bounds the worlds of one candidate in one role. More than that
// means that a dozen conditions are open at once; the role is not settled.
const maxWorlds = 2048

// outcomes works out what a candidate takes in a role in each of its worlds.
// litres is the kind of volume that the scope of work takes.
func (r *reader) outcomes(v *variant, role *catalog.Role, roleKey string, k known, fill catalog.FillKind) ([]candidateOutcome, error) {
	return r.appendOutcomes(nil, v, r.roles[roleKey], k, fill)
}

// appendOutcomes appends to dst what [reader.outcomes] gives.
func (r *reader) appendOutcomes(dst []candidateOutcome, v *variant, role *roleInfo, k known, fill catalog.FillKind) ([]candidateOutcome, error) {
	if err := r.load(v); err != nil {
		return nil, err
	}
	// Without trails and reasons an outcome names no variant. So what the rows of
	// the family alone say, without a condition, is worked out once for them all.
	var ofFamily **outcome
	if r.lean && len(k.seen) == 0 && v.onlyFamily(role.key) {
		ofFamily = v.fam.outcomeOf(role, fill, len(r.roles))
		if *ofFamily != nil {
			return append(dst, candidateOutcome{v: v, o: *ofFamily}), nil
		}
	}
	fits, err := r.statements(r.scratch[:0], v, role.key, k)
	if err != nil {
		return nil, err
	}
	r.scratch = fits
	worlds := r.worlds(v, fits, k)
	if len(worlds) == 0 {
		return append(dst, candidateOutcome{v: v, o: &outcome{kind: OutcomeNoStatement, reasons: []Reason{{Code: ReasonTooMany, Variant: v.row.Variant, Role: role.row.Role, Count: maxWorlds}}}}), nil
	}
	from := len(dst)
	for _, w := range worlds {
		o, err := r.outcome(v, role.row, role.key, fits, w, fill)
		if err != nil {
			return nil, err
		}
		dst = append(dst, candidateOutcome{v: v, w: w, o: o})
		if ofFamily != nil && len(worlds) == 1 && len(o.reasons) == 0 && !slices.ContainsFunc(fits, func(s stmt) bool { return s.conditional() }) {
			*ofFamily = o
		}
	}
	// Worlds that all come to the same need not be told apart.
	if res := dst[from:]; len(res) > 1 {
		same := true
		for i := range res[1:] {
			if !res[1+i].o.answersLike(res[0].o) {
				same = false
				break
			}
		}
		if same {
			res[0].w = world{}
			dst = dst[:from+1]
		}
	}
	return dst, nil
}

// onlyFamily tells whether just the family's own rows speak of the variant in a
// role: neither the variant's nor those of a mark that either shows.
func (v *variant) onlyFamily(role string) bool {
	speaks := func(m markFits) bool { return m.fits.of(role) != nil }
	return v.fits.of(role) == nil && len(v.fills) == 0 && !slices.ContainsFunc(v.marks, speaks) && !slices.ContainsFunc(v.fam.marks, speaks)
}

// outcomeOf gives the place of the outcome of a role that the rows of the family
// alone have; fill is the volume that the scope of work takes.
func (f *family) outcomeOf(role *roleInfo, fill catalog.FillKind, roles int) **outcome {
	i := slices.IndexFunc(f.outcomes, func(o familyOutcomes) bool { return o.fill == fill })
	if i < 0 {
		i = len(f.outcomes)
		f.outcomes = append(f.outcomes, familyOutcomes{fill, make([]*outcome, roles)})
	}
	return &f.outcomes[i].ofRole[role.at]
}

// familyOutcomes are the outcomes of what the rows of a family alone say.
type familyOutcomes struct {
	fill   catalog.FillKind
	ofRole []*outcome // by place in [reader.roleOrder]; nil for not worked out, or not shared
}

// statements appends to out what the catalogue says (O1): own, family's, marks'.
func (r *reader) statements(out []stmt, v *variant, role string, k known) ([]stmt, error) {
	for _, f := range v.fits.of(role) {
		out = append(out, stmt{fit: f})
	}
	for _, f := range v.fam.fits.of(role) {
		out = append(out, stmt{fit: f})
	}
	// Of marks, those that the variant shows (C1) and those seen on the unit.
	for i := range v.marks {
		out = v.marks[i].statements(out, role)
	}
	for i := range v.fam.marks {
		if m := &v.fam.marks[i]; len(v.shows[m.mark]) == 0 {
			out = m.statements(out, role)
		}
	}
	for mark, value := range k.seen {
		f, err := r.fitsOfMark(mark, value)
		if err != nil {
			return nil, err
		}
		for _, f := range f.of(role) {
			if !slices.ContainsFunc(out, func(s stmt) bool { return s.fit == f }) {
				out = append(out, stmt{f, mark, value})
			}
		}
	}
	if len(k.seen) > 1 {
		// Map order must not show in the order of reasons.
		slices.SortStableFunc(out, func(a, b stmt) int { return cmp.Or(strings.Compare(a.mark, b.mark), strings.Compare(a.value, b.value)) })
	}
	return out, nil
}

// statements appends those of a role to out.
func (m *markFits) statements(out []stmt, role string) []stmt {
	for _, f := range m.fits.of(role) {
		out = append(out, stmt{f, m.mark, m.value})
	}
	return out
}

// stmt is a statement, with the mark that its scope asks for.
type stmt struct {
	fit         *catalog.Fit
	mark, value string
}

func (s *stmt) conditional() bool {
	f := s.fit
	return s.mark != "" || f.SerialFrom|f.SerialTo != 0 || f.BuiltFrom|f.BuiltTo != 0 || len(f.When) > 0
}

// worlds splits a candidate by what its statements ask and nobody knows (O3).
// The next call can write over the slice, not over what stands in its worlds.
func (r *reader) worlds(v *variant, fits []stmt, k known) []world {
	conditional := false
	for i := range fits {
		if fits[i].conditional() {
			conditional = true
			break
		}
	}
	if !conditional {
		return r.oneWorld[:]
	}
	r.worldOf[0] = world{}
	ws := r.worldOf[:]

	// Serial numbers.
	if k.serial != 0 {
		ws[0].serial = [2]int64{int64(k.serial), int64(k.serial)}
	} else {
		var cuts []int64
		for _, s := range fits {
			if s.fit.SerialFrom != 0 {
				cuts = append(cuts, int64(s.fit.SerialFrom))
			}
			if s.fit.SerialTo != 0 {
				cuts = append(cuts, int64(s.fit.SerialTo)+1)
			}
		}
		if len(cuts) > 0 {
			segs := segments(int64(v.row.SerialFrom), int64(v.row.SerialTo), cuts, func(n int64) int64 { return n - 1 })
			ws = split(ws, len(segs), func(w *world, i int) {
				w.serial = segs[i]
				if len(segs) > 1 {
					w.when = append(w.when, When{Kind: StatementSerial, From: catalog.Serial(segs[i][0]).String(), To: catalog.Serial(segs[i][1]).String()})
				}
			})
		}
	}

	// Build dates.
	var cuts []int32
	for _, s := range fits {
		if s.fit.BuiltFrom != 0 {
			cuts = append(cuts, s.fit.BuiltFrom.First())
		}
		if s.fit.BuiltTo != 0 {
			cuts = append(cuts, dayAfter(s.fit.BuiltTo.Last()))
		}
	}
	if len(cuts) > 0 {
		lo, hi := v.row.BuiltFrom.First(), v.row.BuiltTo.Last()
		if k.built.From != 0 {
			lo, hi = max(lo, k.built.From), k.built.To
			if v.row.BuiltTo != 0 {
				hi = min(hi, v.row.BuiltTo.Last())
			}
			if lo > hi {
				// No day of the unit's is in the variant's range, which is
				// possible where another assembly is in conflict (C4): the
				// unit's own days count.
				lo, hi = k.built.From, k.built.To
			}
		}
		segs := segments(lo, hi, cuts, dayBefore)
		ws = split(ws, len(segs), func(w *world, i int) {
			w.built = segs[i]
			if len(segs) > 1 {
				w.when = append(w.when, When{Kind: StatementBuilt, From: catalog.Date(realDay(segs[i][0])).String(), To: catalog.Date(realDay(segs[i][1])).String()})
			}
		})
	}

	// Marks.
	var few, fewValues [8]markValue
	named := few[:0] // those of one mark together
	for _, s := range fits {
		if s.mark != "" {
			named = append(named, markValue{mark: s.mark, value: s.value})
		}
		for _, c := range s.fit.When {
			named = append(named, markValue{mark: catalog.Fold(c.Mark), value: catalog.FoldValue(c.Value)})
		}
	}
	slices.SortStableFunc(named, func(a, b markValue) int { return strings.Compare(a.mark, b.mark) })
	for len(named) > 0 {
		n, mark := 1, named[0].mark
		for n < len(named) && named[n].mark == mark {
			n++
		}
		of := named[:n:n]
		named = named[n:]
		values := fewValues[:0]
		if seen, ok := k.seen[mark]; ok {
			values = append(values, markValue{mark: mark, value: seen})
		} else if shows := v.shown(mark); len(shows) > 0 {
			for _, s := range shows {
				values = append(values, markValue{mark: mark, value: catalog.FoldValue(s.Value)})
			}
		} else {
			other := markValue{mark: mark, not: ";"}
			for i, n := range of {
				if !slices.Contains(of[:i], n) {
					other.not += n.value + ";"
				}
			}
			values = append(append(values, of...), other)
		}
		slices.SortFunc(values, func(a, b markValue) int { return strings.Compare(a.value, b.value) })
		values = slices.Compact(values)
		if len(ws)*len(values) > maxWorlds {
			return nil
		}
		if len(values) == 1 {
			for i := range ws {
				ws[i].marks = append(ws[i].marks, values[0])
			}
			continue
		}
		name := mark
		if m, err := r.mark(mark); err == nil && m != nil {
			name = m.Mark
		}
		ws = split(ws, len(values), func(w *world, i int) {
			w.marks = append(w.marks, values[i])
			w.when = append(w.when, When{Kind: StatementMark, Mark: name, Value: values[i].value})
		})
	}
	return ws
}

// split makes n copies of each world and lets set tell them apart.
func split(ws []world, n int, set func(w *world, i int)) []world {
	if n == 1 {
		for i := range ws {
			set(&ws[i], 0)
		}
		return ws
	}
	out := make([]world, 0, len(ws)*n)
	for _, w := range ws {
		for i := range n {
			c := w
			c.marks = slices.Clone(w.marks)
			c.when = slices.Clone(w.when)
			set(&c, i)
			out = append(out, c)
		}
	}
	return out
}

// segments cuts the range lo to hi (0 for open) before each of cuts.
func segments[T int32 | int64](lo, hi T, cuts []T, before func(T) T) [][2]T {
	slices.Sort(cuts)
	cuts = slices.Compact(cuts)
	var out [][2]T
	from := lo
	for _, c := range cuts {
		if c <= lo || c <= 1 {
			continue
		}
		if hi != 0 && c > hi {
			break
		}
		out = append(out, [2]T{from, before(c)})
		from = c
	}
	return append(out, [2]T{from, hi})
}

func daysIn(y, m int32) int32 {
	switch m {
	case 4, 6, 9, 11:
		return 30
	case 2:
		if y%4 == 0 && (y%100 != 0 || y%400 == 0) {
			return 29
		}
		return 28
	}
	return 31
}

// realDay gives the last day of the month for a day beyond it, such as the end
// of a month known only by name.
func realDay(d int32) int32 {
	if d == 0 {
		return 0
	}
	return d - d%100 + min(d%100, daysIn(d/10000, d/100%100))
}

// dayAfter gives the day after yyyymmdd; a day beyond the month's end counts as
// its last.
func dayAfter(d int32) int32 {
	y, m, day := d/10000, d/100%100, d%100
	if day < daysIn(y, m) {
		return d + 1
	}
	if m == 12 {
		return (y+1)*10000 + 101
	}
	return y*10000 + (m+1)*100 + 1
}

func dayBefore(d int32) int32 {
	y, m, day := d/10000, d/100%100, d%100
	if day > 1 {
		return d - 1
	}
	if m == 1 {
		return (y-1)*10000 + 1231
	}
	return y*10000 + (m-1)*100 + daysIn(y, m-1)
}

// applies tells whether all conditions of the statement hold in the world (O2).
// Worlds are cut at the ends of ranges, so a world's first number stands for all.
func (s *stmt) applies(w *world) bool {
	f := s.fit
	if f.SerialFrom != 0 && w.serial[0] < int64(f.SerialFrom) {
		return false
	}
	if f.SerialTo != 0 && w.serial[0] > int64(f.SerialTo) {
		return false
	}
	if f.BuiltFrom != 0 && w.built[0] < f.BuiltFrom.First() {
		return false
	}
	if f.BuiltTo != 0 && w.built[0] > f.BuiltTo.Last() {
		return false
	}
	if s.mark != "" && !w.shows(s.mark, s.value) {
		return false
	}
	for _, c := range f.When {
		if !w.shows(catalog.Fold(c.Mark), catalog.FoldValue(c.Value)) {
			return false
		}
	}
	return true
}

func (w *world) shows(mark, value string) bool {
	for _, m := range w.marks {
		if m.mark == mark {
			return m.value == value
		}
	}
	return false
}

func fitReason(code Code, f *catalog.Fit, v *variant) Reason {
	return Reason{Code: code, Table: catalog.TFits, Row: string(f.Scope) + " / " + f.Of + " / " + f.Statement, Source: f.Source,
		Variant: v.row.Variant, Role: f.Role, Position: f.Position, Part: f.Part, Qty: f.Qty, Note: f.Note}
}

// outcome applies the statements of one world (O4 to O8).
func (r *reader) outcome(v *variant, role *catalog.Role, roleKey string, fits []stmt, w world, fill catalog.FillKind) (*outcome, error) {
	o := &outcome{kind: OutcomeNoStatement}
	var few [4]*catalog.Fit // most roles have no more
	forThis := few[:0]
	for i := range fits {
		if !fits[i].applies(&w) {
			continue
		}
		f := fits[i].fit
		switch {
		case f.Effect == catalog.Fits:
			forThis = append(forThis, f)
		case f.Part == "":
			o.none = f
			o.reasons = append(o.reasons, fitReason(ReasonTakesNone, f, v))
		default:
			if o.out == nil {
				o.out = ruledOut{}
			}
			o.out[r.fold(string(f.Part))] = f
			o.reasons = append(o.reasons, fitReason(ReasonStatedAgainst, f, v))
		}
	}
	if role.Kind == catalog.RoleFluid {
		return o, r.fluidOutcome(v, role, roleKey, o, fill)
	}
	against := o.none != nil || len(o.out) > 0

	if len(forThis) > 0 {
		o.lines, o.stated = o.fewLines[:0], o.fewStated[:0]
	}
	kept, empty := 0, 0
	for _, f := range forThis {
		i := slices.IndexFunc(o.lines, func(l Line) bool { return samePosition(l.Position, f.Position) })
		if i < 0 {
			i = len(o.lines)
			o.lines = append(o.lines, Line{Position: f.Position})
		}
		p, err := r.partOf(f.Part)
		if err != nil {
			return nil, err
		}
		o.stated = append(o.stated, statedPart{key: p.key, fit: f})
		if o.none != nil {
			continue
		}
		b, err := r.buy(p, f.Qty, o.out)
		if err != nil {
			return nil, err
		}
		o.stated[len(o.stated)-1].bought = b
		o.lines[i].Choices = r.addChoices(o.lines[i].Choices, b.choices, f, v)
	}
	for i := range o.lines {
		if len(o.lines[i].Choices) > 0 {
			kept++
		} else {
			empty++
			o.reasons = append(o.reasons, Reason{Code: ReasonPositionUnfilled, Variant: v.row.Variant, Role: role.Role, Position: o.lines[i].Position})
		}
	}
	switch {
	case kept > 0 && empty == 0:
		o.kind = OutcomeFits
	case kept > 0:
		o.kind = OutcomeNoStatement
	case empty > 0 || against:
		o.kind = OutcomeDoesNotFit
	default:
		o.reasons = append(o.reasons, Reason{Code: ReasonNoStatement, Variant: v.row.Variant, Role: role.Role})
	}
	if o.kind != OutcomeFits {
		o.lines = nil
	} else if len(o.lines) > 1 {
		slices.SortFunc(o.lines, func(a, b Line) int {
			return strings.Compare(catalog.FoldValue(a.Position), catalog.FoldValue(b.Position))
		})
	}
	return o, nil
}

func samePosition(a, b string) bool { return a == b || catalog.FoldValue(a) == catalog.FoldValue(b) }

// addChoices adds the choices of a statement to those of its position, in order.
// One that another statement gave already keeps the better rank and fewer steps.
// Neither have nor add is changed, since both can be shared.
func (r *reader) addChoices(have, add []Choice, f *catalog.Fit, v *variant) []Choice {
	if len(have) == 0 && f.Rank == 0 && r.lean {
		return slices.Clip(add) // nothing of the statement's own is added
	}
	have = append(make([]Choice, 0, len(have)+len(add)), have...)
	for _, c := range add {
		c.Rank = f.Rank
		if r.lean {
			c.Trail = []Reason{}
		} else {
			c.Trail = append([]Reason{fitReason(ReasonStated, f, v)}, c.Trail...)
		}
		if len(have) > 0 {
			k := c.key()
			if i := slices.IndexFunc(have, func(o Choice) bool { return o.key() == k }); i >= 0 {
				if c.Rank < have[i].Rank || c.Rank == have[i].Rank && c.Steps < have[i].Steps {
					have[i] = c
				}
				continue
			}
		}
		have = append(have, c)
	}
	sortChoices(have)
	return have
}

type fluidChoice struct {
	part   *catalog.Part
	key    string
	rank   int
	trail  []Reason
	belied []Reason // the figures of its data sheet that lie outside the limits of the specification
}

// fluidsFor gives the sold fluids that serve where spec is asked for (O8), those
// that their data sheets belie included.
func (r *reader) fluidsFor(spec string) ([]fluidChoice, error) {
	if f, ok := r.fluids[spec]; ok {
		return f, nil
	}
	var out []fluidChoice
	add := func(spec string, rank int, trail []Reason) error {
		meets, err := group[catalog.Meet](r.cat, r.tMeets, catalog.MakeKey(spec))
		if err != nil {
			return err
		}
		limits, err := group[catalog.Limit](r.cat, r.tLimits, catalog.MakeKey(spec))
		if err != nil {
			return err
		}
		for _, m := range meets {
			p, err := r.part(m.Fluid.Key())
			if err != nil {
				return err
			}
			if p == nil || p.Status != catalog.PartSold {
				continue
			}
			rank := rank
			if m.Claim == catalog.Claimed {
				rank++
			}
			c := fluidChoice{part: p, key: m.Fluid.Key(), rank: rank, trail: append(slices.Clone(trail), Reason{Code: ReasonMeets, Table: catalog.TMeets,
				Row: m.Spec + " / " + string(m.Fluid), Source: m.Source, Part: p.Part, Spec: m.Spec, Value: string(m.Claim)})}
			if c.belied, err = r.belied(m, p, limits); err != nil {
				return err
			}
			if i := slices.IndexFunc(out, func(o fluidChoice) bool { return o.key == c.key }); i >= 0 {
				// By one specification it can be a choice where by another it is none.
				was, is := len(out[i].belied) > 0, len(c.belied) > 0
				if was && !is || was == is && c.rank < out[i].rank {
					out[i] = c
				}
				continue
			}
			out = append(out, c)
		}
		return nil
	}
	if err := add(spec, 0, nil); err != nil {
		return nil, err
	}
	serves, err := group[catalog.Serve](r.cat, r.tServes, catalog.MakeKey(spec))
	if err != nil {
		return nil, err
	}
	for _, s := range serves {
		trail := []Reason{{Code: ReasonServes, Table: catalog.TServes, Row: s.Spec + " / " + s.ServedBy, Source: s.Source, Spec: s.Spec, OtherSpec: s.ServedBy, Note: s.Note}}
		if err := add(catalog.Fold(s.ServedBy), 2, trail); err != nil {
			return nil, err
		}
	}
	r.fluids[spec] = out
	return out, nil
}

// belied gives the figures of a fluid's data sheet that lie outside the limits of the
// specification that it is said to meet.
func (r *reader) belied(m *catalog.Meet, p *catalog.Part, limits []*catalog.Limit) ([]Reason, error) {
	if len(limits) == 0 {
		return nil, nil
	}
	sheet, err := group[catalog.Sheet](r.cat, r.tSheets, catalog.MakeKey(m.Fluid.Key()))
	if err != nil {
		return nil, err
	}
	var out []Reason
	for _, l := range limits {
		for _, s := range sheet {
			if s.Property == l.Property && l.Excludes(s.Value) {
				out = append(out, Reason{Code: ReasonSheetOffLimits, Table: catalog.TSheets, Row: string(s.Fluid) + " / " + string(s.Property), Source: s.Source,
					Part: p.Part, Spec: m.Spec, Column: string(s.Property), Value: s.Value.String(), Shows: []string{l.Least.String(), l.Most.String()}})
			}
		}
	}
	return out, nil
}

func (r *reader) fluidOutcome(v *variant, role *catalog.Role, roleKey string, o *outcome, fill catalog.FillKind) error {
	f, err := r.fill(v, roleKey)
	if err != nil {
		return err
	}
	switch {
	case o.none != nil:
		o.kind = OutcomeDoesNotFit
		return nil
	case f == nil:
		if len(o.out) > 0 {
			o.kind = OutcomeDoesNotFit
		} else {
			o.reasons = append(o.reasons, Reason{Code: ReasonNoStatement, Variant: v.row.Variant, Role: role.Role})
		}
		return nil
	}
	o.fluid = f
	fluids, err := r.fluidsFor(catalog.Fold(f.Spec))
	if err != nil {
		return err
	}
	var litres catalog.Decimal
	switch fill {
	case catalog.FillRefill:
		litres = f.Refill
	case catalog.FillDry:
		litres = f.Dry
	}
	line := Line{}
	excluded := false
	for i := range fluids {
		x := &fluids[i]
		if o.out[x.key] != nil {
			excluded = true
			continue
		}
		if len(x.belied) > 0 {
			o.belied = append(o.belied, x)
			continue
		}
		it := item(x.part, 0)
		it.Litres = litres
		c := Choice{Stated: catalog.PartNo(f.Spec), Items: []Item{it}, Companions: []Item{}, Buyable: true, Rank: x.rank, Trail: []Reason{}}
		if !r.lean {
			c.Trail = append([]Reason{{Code: ReasonFill, Table: catalog.TFills, Row: string(f.Scope) + " / " + f.Of + " / " + f.Role, Source: f.Source,
				Variant: v.row.Variant, Role: f.Role, Spec: f.Spec}}, x.trail...)
		}
		line.Choices = append(line.Choices, c)
	}
	switch {
	case len(line.Choices) > 0:
		sortChoices(line.Choices)
		o.kind, o.lines = OutcomeFits, []Line{line}
	case excluded && len(o.belied) == 0:
		o.kind = OutcomeDoesNotFit
	default:
		o.reasons = append(o.reasons, Reason{Code: ReasonNoFluid, Variant: v.row.Variant, Role: f.Role, Spec: f.Spec})
	}
	for _, x := range o.belied {
		o.reasons = append(o.reasons, x.belied...)
	}
	return nil
}

// answersLike tells whether two outcomes answer every question alike. That is
// more than being one group: the same choices can have other ranks and steps
// (V1), come from other stated parts or leave out others (V4), and nothing can
// fit because the unit takes none or because all is ruled out (V3).
func (o *outcome) answersLike(p *outcome) bool {
	if o.groupKey() != p.groupKey() || (o.none == nil) != (p.none == nil) || len(o.out) != len(p.out) {
		return false
	}
	for k := range o.out {
		if p.out[k] == nil {
			return false
		}
	}
	for i := range o.lines {
		// Both are in the order of rank and steps, so like stands beside like.
		if !slices.EqualFunc(o.lines[i].Choices, p.lines[i].Choices, func(a, b Choice) bool {
			return a.Rank == b.Rank && a.Steps == b.Steps && a.key() == b.key()
		}) {
			return false
		}
	}
	return slices.EqualFunc(o.stated, p.stated, func(a, b statedPart) bool { return a.key == b.key })
}

// nothing tells whether a statement says that the unit takes nothing, and not just
// that something does not fit it.
func (o *outcome) nothing() bool { return o.kind == OutcomeDoesNotFit && o.none != nil }

// groupKey gives the text by which two outcomes are one group (V2).
func (o *outcome) groupKey() string {
	if o.key != "" {
		return o.key
	}
	var b strings.Builder
	b.WriteString(string(o.kind))
	for _, l := range o.lines {
		b.WriteByte('\n')
		b.WriteString(catalog.FoldValue(l.Position))
		keys := make([]string, len(l.Choices))
		for i := range l.Choices {
			keys[i] = l.Choices[i].key()
		}
		slices.Sort(keys)
		for _, k := range keys {
			b.WriteByte('\t')
			b.WriteString(k)
		}
	}
	o.key = b.String()
	return o.key
}
