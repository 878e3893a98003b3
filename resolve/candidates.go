package resolve

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"platewright/catalog"
	"platewright/resolve/measure"
	"platewright/resolve/plate"
)

// maxCandidates bounds the candidates that are worked through. Beyond it a
// decision says that there are too many and asks for more of the plate.
const maxCandidates = 5000

// assemblyWork is what is worked out about one assembly.
type assemblyWork struct {
	row      *catalog.Assembly
	key      string
	follows  string // key
	readings []*readWork
	marks    []*seenMark // deciding observations
	basis    Basis
	cands    []*variant
	total    int
	tooMany  bool
	known    known
	excluded []Reason
	asBuilt  []Reason                     // the reason that it is assumed to be as built
	assumed  bool                         // what was read of it leaves more than the assembly above does
	universe []string                     // keys of the families where no reading names variants
	apart    bool                         // mixed: it shares no variant with the assembly that it follows (C8)
	clashes  []clash                      // what is given and read and differs (C4)
	spelled  struct{ serial, built bool } // labels of its own spell several, so none is known
}

// readWork is a reading with the variants that it allows.
type readWork struct {
	out      Reading
	reading  plate.Reading
	outcome  plate.Outcome
	allowed  map[string]*variant
	texts    map[string][]string // the texts that name each of allowed
	order    []string            // keys of allowed, sorted
	matches  []*plate.Match
	overflow bool // more variants than are worked through
	serial   catalog.Serial
	built    catalog.Span[int32]

	source    string             // canonical text, without what is in doubt
	doubted   []doubted          // places that are in doubt
	slip      bool               // one slip is thought possible
	slipTexts []slipText         // the plates that it would be then
	like      map[string]float64 // how likely each of allowed is, with doubts only
}

// seenMark is an observation of a mark of the catalogue.
type seenMark struct {
	mark  *catalog.Mark
	key   string
	text  string // as given
	value string // folded
	num   catalog.Decimal
	bench *seenBench // of an observation of a coil or a seal (C2a, C2b)
}

// compatible tells whether the observation agrees with what a variant shows
// (C2).
func (o *seenMark) compatible(shows []*catalog.Show) bool {
	if len(shows) == 0 {
		return true
	}
	for _, s := range shows {
		if o.agrees(s) {
			return true
		}
	}
	return false
}

func (o *seenMark) agrees(s *catalog.Show) bool {
	if o.bench != nil {
		if row := o.bench.rows[s]; row != nil {
			return o.bench.agrees(row)
		}
		return o.bench.agreesWith(s)
	}
	if o.mark.Kind != catalog.MarkMeasured {
		return catalog.FoldValue(s.Value) == o.value
	}
	nominal, err := catalog.ParseDecimal(s.Value)
	if err != nil {
		return false
	}
	low, high := o.mark.Band(nominal.Num, s.Tolerance)
	return o.num.Num.GreaterThanOrEqual(low) && o.num.Num.LessThanOrEqual(high)
}

// evident tells whether what was seen decides: what only tells of a fault does
// not (C2c).
func (o *seenMark) evident() bool {
	return o.mark.Force == catalog.Deciding && (o.bench == nil || !o.bench.faulty)
}

// loadLayouts compiles the plate layouts, those of each assembly together.
func (r *Resolver) loadLayouts() error {
	if r.layouts != nil {
		return nil
	}
	layouts := map[string][]*plate.Layout{}
	var bad error
	if err := every(r.cat, catalog.TLayouts, func(l *catalog.Layout) {
		c, err := compileLayout(r.cat, l)
		var wrong *plate.LayoutError
		if errors.As(err, &wrong) {
			err = &CatalogueError{Table: catalog.TLayouts, Row: l.Layout, What: err.Error()}
		}
		if err != nil {
			bad = cmp.Or(bad, err)
			return
		}
		k := catalog.Fold(l.Assembly)
		layouts[k] = append(layouts[k], c)
	}); err != nil {
		return err
	}
	if bad != nil {
		return bad
	}
	r.layouts = layouts
	return nil
}

// compileLayout compiles one plate layout with its fields.
func compileLayout(cat Catalogue, l *catalog.Layout) (*plate.Layout, error) {
	rows, err := group[catalog.Field](cat, catalog.TableByName(catalog.TFields), catalog.MakeKey(catalog.Fold(l.Layout)))
	if err != nil {
		return nil, err
	}
	fields := make([]catalog.Field, len(rows))
	for i, f := range rows {
		fields[i] = *f
	}
	return plate.Compile(*l, fields)
}

// read works out the readings of the question (C3).
func (d *decider) read() error {
	if err := d.r.loadAssemblies(); err != nil {
		return err
	}
	if err := d.res.loadLayouts(); err != nil {
		return err
	}
	works := make([]assemblyWork, len(d.r.assemblies))
	d.assemblies = make([]*assemblyWork, len(works))
	for i, a := range d.r.assemblies {
		works[i] = assemblyWork{row: a, key: d.r.fold(a.Assembly), follows: d.r.fold(a.Follows)}
		d.assemblies[i] = &works[i]
	}
	if len(d.assemblies) == 0 {
		return &CatalogueError{Table: catalog.TAssemblies, What: "the table is empty"}
	}
	root := d.assemblies[0]
	if d.q.Plate != "" {
		rd, err := plate.ParseReading(d.q.Plate)
		if err != nil {
			return &QuestionError{Part: "plate", Value: d.q.Plate, Err: err}
		}
		words, err := d.q.doubtsOf(0)
		if err != nil {
			return err
		}
		source := rd.String()
		rd, places, slip, err := doubts("plate", d.q.Plate, rd, words)
		if err != nil {
			return err
		}
		out := plate.Read(d.res.layouts[root.key], rd)
		as := root
		if out.State == plate.Unmatched {
			// The text may be that of another assembly's label.
			for _, o := range d.assemblies[1:] {
				if other := plate.Read(d.res.layouts[o.key], rd); better(other.State, out.State) {
					out, as = other, o
				}
			}
		}
		if err := d.addReading(as, &readWork{reading: rd, outcome: out, out: Reading{Text: rd.String()}, source: source, doubted: places, slip: slip}); err != nil {
			return err
		}
	}
	if len(d.q.Fields) > 0 {
		if d.q.Plate != "" {
			return &QuestionError{Part: "plate", Value: d.q.Plate, Reason: GivenTwice}
		}
		rw, err := d.readFields(root)
		if err != nil {
			return err
		}
		if err := d.addReading(root, rw); err != nil {
			return err
		}
	}
	for i, text := range d.q.Labels {
		rd, err := plate.ParseReading(text)
		if err != nil {
			return &QuestionError{Part: "label", Value: text, Err: err}
		}
		words, err := d.q.doubtsOf(i + 1)
		if err != nil {
			return err
		}
		source := rd.String()
		rd, places, slip, err := doubts("label", text, rd, words)
		if err != nil {
			return err
		}
		var as *assemblyWork
		var out plate.Outcome
		for _, o := range d.assemblies[1:] {
			other := plate.Read(d.res.layouts[o.key], rd)
			if as == nil || better(other.State, out.State) {
				as, out = o, other
			}
		}
		if as == nil {
			return &QuestionError{Part: "label", Value: text, Reason: NoLabels}
		}
		if err := d.addReading(as, &readWork{reading: rd, outcome: out, out: Reading{Text: rd.String()}, source: source, doubted: places, slip: slip}); err != nil {
			return err
		}
	}
	if len(d.q.Doubt) > 0 {
		if _, err := d.q.doubtsOf(0); err != nil {
			return err
		}
	}
	if len(d.dec.Reading) == 0 {
		return &QuestionError{Part: "plate", Reason: NothingRead}
	}
	return nil
}

func better(a, b plate.State) bool {
	order := map[plate.State]int{plate.Matched: 0, plate.Rejected: 1, plate.Unmatched: 2}
	return order[a] < order[b]
}

// readFields reads a plate given field by field, in every layout of the
// assembly that has all the fields named.
func (d *decider) readFields(as *assemblyWork) (*readWork, error) {
	rw := &readWork{outcome: plate.Outcome{State: plate.Unmatched}}
	var names []string
	for n := range d.q.Fields {
		names = append(names, n)
	}
	slices.Sort(names)
	var texts []string
	for _, n := range names {
		texts = append(texts, n+"="+d.q.Fields[n])
	}
	rw.out.Text = strings.Join(texts, " ")
	var known []string
	tried := false
	for _, l := range d.res.layouts[as.key] {
		has := map[string]bool{}
		for _, f := range l.Fields() {
			has[catalog.Fold(f.Field)] = true
			known = append(known, f.Field)
		}
		all := true
		for _, n := range names {
			all = all && has[catalog.Fold(n)]
		}
		if !all {
			continue
		}
		tried = true
		f, err := plate.FieldReading(l, d.q.Fields)
		if err != nil {
			return nil, &QuestionError{Part: "field", Value: rw.out.Text, Err: err}
		}
		o := f.Read()
		if better(o.State, rw.outcome.State) {
			rw.outcome.State = o.State
		}
		rw.outcome.Matches = append(rw.outcome.Matches, o.Matches...)
		rw.outcome.Rejections = append(rw.outcome.Rejections, o.Rejections...)
		rw.outcome.Failures = append(rw.outcome.Failures, o.Failures...)
	}
	if !tried {
		slices.Sort(known)
		return nil, &QuestionError{Part: "field", Value: strings.Join(names, ", "), Reason: UnknownName, Known: slices.Compact(known)}
	}
	return rw, nil
}

// addReading looks up what a reading can mean and files it under its assembly.
func (d *decider) addReading(as *assemblyWork, rw *readWork) error {
	// The same text twice says no more than once.
	if slices.ContainsFunc(as.readings, func(o *readWork) bool { return o.out.Text == rw.out.Text }) {
		return nil
	}
	rw.allowed, rw.texts = map[string]*variant{}, map[string][]string{}
	rw.out.Assembly = as.row.Assembly
	serials, builts, first := false, false, true // whether there are several
	for i := range rw.outcome.Matches {
		m := &rw.outcome.Matches[i]
		n, err := d.find(rw, m)
		if err != nil {
			return err
		}
		if n == 0 {
			continue
		}
		rw.matches = append(rw.matches, m)
		shown := *m
		if len(rw.allowed) == 1 && n == 1 && (rw.reading == nil || rw.reading.Open() > 0) {
			for _, k := range rw.order {
				if c, ok := m.Complete(k); ok {
					shown = c
				}
			}
		}
		rm := ReadingMatch{Layout: m.Layout, Fields: make([]FieldText, 0, len(shown.Fields)), Recovered: []FieldText{}, Variants: n}
		for _, f := range shown.Fields {
			rm.Fields = append(rm.Fields, FieldText{f.Field, string(f.Means), f.Text})
		}
		for _, g := range m.Regains {
			rm.Recovered = append(rm.Recovered, FieldText{Field: g.Field, Text: g.Char})
		}
		for _, c := range m.Checks {
			rm.Checked = rm.Checked || c.Outcome == plate.CheckPassed
		}
		var s catalog.Serial
		if shown.Serial != "" {
			if s, err = catalog.ParseSerial(shown.Serial); err != nil {
				s = 0 // all zeros: no number to compare
			}
			rm.Serial = s
		}
		var b catalog.Span[int32]
		if shown.Built != nil {
			b = catalog.Span[int32]{From: shown.Built.First.First(), To: shown.Built.Last.Last()}
			rm.BuiltFrom, rm.BuiltTo = shown.Built.First.String(), shown.Built.Last.String()
		}
		if first {
			rw.serial, rw.built, first = s, b, false
		}
		serials, builts = serials || s != rw.serial, builts || b != rw.built
		rw.out.Matches = append(rw.out.Matches, rm)
	}
	// Two ways to read the plate that give different serial numbers give none.
	if serials {
		rw.serial = 0
	}
	if builts {
		rw.built = catalog.Span[int32]{}
	}
	slices.Sort(rw.order)
	rw.likelihoods()
	if rw.slip {
		if err := d.slips(as, rw); err != nil {
			return err
		}
	}
	for _, x := range rw.doubted {
		rw.out.Doubted = append(rw.out.Doubted, DoubtedPlace{x.place, x.likely})
	}
	switch {
	case len(rw.allowed) > 0:
		rw.out.Outcome = ReadingMatched
	case rw.outcome.State == plate.Matched:
		rw.out.Outcome = ReadingUnknown
	case rw.outcome.State == plate.Rejected:
		rw.out.Outcome = ReadingRejected
	default:
		rw.out.Outcome = ReadingNoLayout
	}
	rw.out.Matches = orEmpty(rw.out.Matches)
	rw.out.Rejected = orEmpty(rw.outcome.Rejections)
	rw.out.Furthest = orEmpty(rw.outcome.Failures)
	rw.out.Near = []NearReading{}
	if rw.out.Outcome != ReadingMatched && rw.reading != nil && !d.o.NoNear {
		if err := d.near(as, rw); err != nil {
			return err
		}
	}
	as.readings = append(as.readings, rw)
	d.dec.Reading = append(d.dec.Reading, rw.out)
	return nil
}

// near lists the variants that one slip in the reading keeps from being found.
func (d *decider) near(as *assemblyWork, rw *readWork) error {
	near, whole, err := plate.Near(d.res.layouts[as.key], rw.reading, func(l *plate.Layout) plate.Codes {
		return d.res.layoutCodes(catalog.Fold(l.Row.Layout))
	})
	if err != nil {
		return err
	}
	rw.out.NearCut = !whole
	var counts []int // of each, 0 where not known
	for _, n := range near {
		vs, err := d.res.variantsAt(catalog.Fold(n.Layout), n.Key)
		if err != nil {
			return err
		}
		if len(vs) == 0 {
			continue
		}
		nr, count := NearReading{NearReading: n}, 0
		for _, v := range vs {
			nr.Variants = append(nr.Variants, v.row.Variant)
			count += v.row.Count
			if v.row.Count == 0 {
				count = math.MinInt
			}
		}
		rw.out.Near = append(rw.out.Near, nr)
		counts = append(counts, count)
	}
	rank(rw.out.Near, counts)
	return nil
}

// find adds the variants that a match allows to the reading; it gives their
// number.
func (d *decider) find(rw *readWork, m *plate.Match) (int, error) {
	layout := d.r.fold(m.Layout)
	if text, ok := m.Key.Text(); ok && m.Allows(text) {
		// Nothing is open, so there is one text to look up and nothing to seek.
		vs, err := d.res.variantsAt(layout, text)
		if err != nil {
			return 0, err
		}
		for _, v := range vs { // each once
			rw.texts[v.key] = append(rw.texts[v.key], text)
			if rw.allowed[v.key] == nil {
				rw.allowed[v.key] = v
				rw.order = append(rw.order, v.key)
			}
		}
		return len(vs), nil
	}
	n := 0
	seen := map[string]bool{}
	add := func(text, key string, v *variant) {
		rw.texts[key] = append(rw.texts[key], text)
		if seen[key] {
			return
		}
		seen[key] = true
		n++
		if rw.allowed[key] != nil {
			return
		}
		if len(rw.allowed) > maxCandidates {
			rw.overflow = true
			return
		}
		rw.allowed[key] = v
		rw.order = append(rw.order, key)
	}
	var inner error
	err := plate.Find(d.res.variantCodes, m.Key, func(key string) bool {
		if !m.Allows(key) {
			return true
		}
		v, err := d.r.variant(key)
		if err != nil {
			inner = err
			return false
		}
		if v != nil && d.r.fold(v.row.Layout) == layout {
			add(key, key, v)
		}
		return !rw.overflow
	})
	if err = cmp.Or(inner, err); err != nil {
		return 0, err
	}
	err = plate.Find(plateCodes{d.res.cat, d.r.tPlates, catalog.MakeKey(layout)}, m.Key, func(text string) bool {
		if !m.Allows(text) {
			return true
		}
		rows, err := group[catalog.Plate](d.r.cat, d.r.tPlates, catalog.MakeKey(layout, text))
		if err != nil {
			inner = err
			return false
		}
		for _, p := range rows {
			key := p.Variant.Key()
			v, err := d.r.variant(key)
			if err != nil {
				inner = err
				return false
			}
			if v != nil {
				add(text, key, v)
			}
		}
		return !rw.overflow
	})
	return n, cmp.Or(inner, err)
}

// variantCodes are the keys of all variants.
type variantCodes struct {
	cat Catalogue
	t   *catalog.Table
}

func (c variantCodes) Seek(from string) (string, bool, error) { return c.cat.Seek(c.t, from) }

// plateCodes are the texts that the table of plates lists for one layout.
type plateCodes struct {
	cat    Catalogue
	t      *catalog.Table
	prefix string
}

func (c plateCodes) Seek(from string) (string, bool, error) {
	k, ok, err := c.cat.Seek(c.t, c.prefix+from)
	if err != nil || !ok || !strings.HasPrefix(k, c.prefix) {
		return "", false, err
	}
	return strings.TrimSuffix(k[len(c.prefix):], string(catalog.KeySep)), true, nil
}

// observe files the observations under their assemblies.
func (d *decider) observe() error {
	if err := d.checkUnseen(); err != nil {
		return err
	}
	if len(d.q.Saw) == 0 && d.q.Vehicle == "" {
		return nil
	}
	if err := d.r.loadMarks(); err != nil {
		return err
	}
	saw := slices.Clone(d.q.Saw)
	if d.q.Vehicle != "" && d.r.marks[catalog.Fold(VehicleMark)] != nil {
		saw = append(saw, Observation{VehicleMark, d.q.Vehicle})
	}
	slices.SortStableFunc(saw, func(a, b Observation) int { return strings.Compare(catalog.Fold(a.Mark), catalog.Fold(b.Mark)) })
	var last *seenMark
	for _, o := range saw {
		key := catalog.Fold(o.Mark)
		m := d.r.marks[key]
		if err := catalog.CheckText(o.Value); err != nil && catalog.FoldValue(o.Value) != "" {
			return &QuestionError{Part: "mark", Value: o.Mark, Err: err}
		}
		if catalog.FoldValue(o.Value) == "" && m != nil {
			return &QuestionError{Part: "mark", Value: o.Mark + "=", Reason: NoValue}
		}
		s, err := d.seenAs(m, key, o)
		if err != nil {
			return err
		}
		if last != nil && last.key == key {
			if last.value != s.value {
				return &QuestionError{Part: "mark", Value: o.Mark + "=" + o.Value, Reason: GivenTwice}
			}
			continue
		}
		last = s
		d.seen = append(d.seen, s)
		if s.evident() {
			if as := d.assembly(catalog.Fold(s.mark.Assembly)); as != nil {
				as.marks = append(as.marks, s)
			}
		}
	}
	return nil
}

// seenAs reads an observation of a mark, or where no mark is called so, of a
// coil or a seal (C2a, C2b).
func (d *decider) seenAs(m *catalog.Mark, key string, o Observation) (*seenMark, error) {
	if m == nil {
		s, err := d.benchMark(key, o.Mark, strings.TrimSpace(o.Value))
		if err != nil || s != nil {
			return s, err
		}
		names, err := d.benchKnown()
		if err != nil {
			return nil, err
		}
		for _, k := range d.r.markOrder {
			names = append(names, k.Mark)
		}
		slices.Sort(names)
		return nil, &QuestionError{Part: "mark", Value: o.Mark, Reason: UnknownName, Known: names}
	}
	if s, err := d.coilMark(m, key, o); err != nil || s != nil {
		return s, err
	}
	s := &seenMark{mark: m, key: key, text: o.Value, value: catalog.FoldValue(o.Value)}
	if m.Kind == catalog.MarkCounted && !isCount(s.value) {
		return nil, &QuestionError{Part: "mark " + m.Mark + ", counted", Value: o.Mark + "=" + o.Value, Err: fmt.Errorf("%q %w", o.Value, errNoCount)}
	}
	if m.Kind == catalog.MarkMeasured {
		n, err := measured(o.Value, m.Unit)
		if err != nil {
			return nil, &QuestionError{Part: "mark " + m.Mark + ", measured in " + m.Unit, Value: o.Mark + "=" + o.Value, Err: err}
		}
		s.num, s.value = n, n.String()
	}
	return s, nil
}

// errNoCount refuses what nobody can have counted.
var errNoCount = errors.New("is no number; write what was counted as digits, such as 16")

// isCount tells whether a folded value can be what was counted.
func isCount(value string) bool {
	return value != "" && !strings.ContainsFunc(value, func(r rune) bool { return r < '0' || r > '9' })
}

// measured reads the value of a measured mark, a number in the mark's unit or with
// a unit of its own kind. A unit that package measure does not know may only be
// repeated after the number.
func measured(value, unit string) (catalog.Decimal, error) {
	u, err := measure.ParseUnit(unit)
	if err != nil {
		text := strings.TrimSpace(value)
		if unit != "" {
			text = strings.TrimSpace(strings.TrimSuffix(text, unit))
		}
		return catalog.ParseDecimal(text)
	}
	q, err := measure.ParseIn(value, u)
	if err != nil {
		return catalog.Decimal{}, err
	}
	return catalog.Decimal{Num: q.In(u).Value, Known: true}, nil
}

// VehicleMark is the mark under which a catalogue keeps the vehicles that a
// unit is found in. It can only hint.
const VehicleMark = "vehicle"

// evidence is one statement about an assembly with what it allows.
type evidence struct {
	st     Statement
	read   *readWork
	mark   *seenMark
	serial catalog.Serial
	built  catalog.Span[int32]
}

// allows tells whether the evidence leaves the variant.
func (e *evidence) allows(r *reader, v *variant) (bool, error) {
	switch {
	case e.read != nil:
		return e.read.allowed[v.key] != nil, nil
	case e.mark != nil:
		shows, err := e.mark.shownBy(r, v)
		return err == nil && e.mark.compatible(shows), err
	case e.serial != 0:
		return catalog.Span[catalog.Serial]{From: v.row.SerialFrom, To: v.row.SerialTo}.Contains(e.serial), nil
	}
	return catalog.Span[int32]{From: v.row.BuiltFrom.First(), To: v.row.BuiltTo.Last()}.Overlaps(e.built), nil
}

// evidenceOf gathers the own evidence of an assembly (C5). Readings that allow
// nothing are left out: they name no variant and so say nothing.
func (d *decider) evidenceOf(as *assemblyWork, root bool) []*evidence {
	var out []*evidence
	for _, rw := range as.readings {
		if rw.out.Outcome == ReadingMatched {
			out = append(out, &evidence{st: Statement{Kind: StatementReading, Text: rw.out.Text}, read: rw})
		}
	}
	for _, m := range as.marks {
		out = append(out, &evidence{st: Statement{Kind: StatementMark, Mark: m.mark.Mark, Text: m.text, Again: m.mark.How}, mark: m})
	}
	if root {
		if s := as.known.serial; s != 0 {
			out = append(out, &evidence{st: Statement{Kind: StatementSerial, Text: s.String()}, serial: s})
		}
		if b := as.known.built; b.From != 0 {
			text := catalog.Date(b.From).String()
			if d.q.Built != 0 {
				text = d.q.Built.String()
			}
			out = append(out, &evidence{st: Statement{Kind: StatementBuilt, Text: text}, built: b})
		}
	}
	return out
}

// candidates works out what each assembly can still be (C4 to C9).
func (d *decider) candidates() error {
	seen := map[string]string{}
	for _, s := range d.seen {
		if s.evident() {
			seen[s.key] = s.value
		}
	}
	for i, as := range d.assemblies {
		as.known.seen = seen
		d.setSerial(as, i == 0)
	}
	for i, as := range d.assemblies {
		if err := d.candidatesOf(as, i == 0); err != nil {
			return err
		}
	}
	return nil
}

// setSerial takes serial number and build date from the question or the
// readings (C4).
func (d *decider) setSerial(as *assemblyWork, root bool) {
	for _, rw := range as.readings {
		if rw.serial != 0 && as.known.serial == 0 {
			as.known.serial = rw.serial
		}
		if rw.built.From != 0 && as.known.built.From == 0 {
			as.known.built = rw.built
		}
	}
	if !root {
		// Labels that spell different ones spell none, in whatever order they
		// were read.
		for _, rw := range as.readings {
			if rw.serial != 0 && rw.serial != as.known.serial {
				as.known.serial, as.spelled.serial = 0, true
				break
			}
		}
		for _, rw := range as.readings {
			if rw.built.From != 0 && rw.built != as.known.built {
				as.known.built, as.spelled.built = catalog.Span[int32]{}, true
				break
			}
		}
		return
	}
	if s := d.q.Serial; s != 0 {
		for _, rw := range as.readings {
			if rw.serial != 0 && rw.serial != s {
				as.clashes = append(as.clashes, clash{rw, StatementSerial})
			}
		}
		as.known.serial = s
	}
	if b := d.q.Built; b != 0 {
		span := catalog.Span[int32]{From: b.First(), To: b.Last()}
		for _, rw := range as.readings {
			if rw.built.From == 0 {
				continue
			}
			if !rw.built.Overlaps(span) {
				as.clashes = append(as.clashes, clash{rw, StatementBuilt})
			} else {
				// Both are known; the days that both allow are left.
				span = catalog.Span[int32]{From: max(span.From, rw.built.From), To: min(span.To, rw.built.To)}
			}
		}
		as.known.built = span
	}
}

// clash is a reading that spells another serial number or build date than the
// one given.
type clash struct {
	read *readWork
	kind StatementKind
}

func (d *decider) candidatesOf(as *assemblyWork, root bool) error {
	ev := d.evidenceOf(as, root)
	own := len(as.readings) > 0 || len(as.marks) > 0
	var above *assemblyWork
	spelled := as.known
	if !root {
		above = d.assembly(as.follows)
		d.inherit(as, above)
		if !own {
			as.cands, as.total, as.tooMany = above.cands, above.total, above.tooMany
			as.basis = BasisAsBuilt
			return nil
		}
	}
	read := false
	for _, rw := range as.readings {
		read = true
		as.tooMany = as.tooMany || rw.overflow
	}
	named := slices.ContainsFunc(ev, func(e *evidence) bool { return e.read != nil })
	unread := slices.ContainsFunc(as.readings, func(rw *readWork) bool { return rw.out.Outcome != ReadingMatched })
	if read && (!named || unread) {
		as.basis = BasisNone
		return nil
	}

	// The universe (C6), streamed through the evidence.
	var left []*variant
	consider := func(v *variant) (bool, error) {
		for _, e := range ev {
			ok, err := e.allows(d.r, v)
			if err != nil {
				return false, err
			}
			if !ok {
				if e.mark != nil && named && len(as.excluded) < maxListed {
					x, err := excludedBy(d.r, e.mark, v)
					if err != nil {
						return false, err
					}
					as.excluded = append(as.excluded, x)
				}
				return true, nil
			}
		}
		as.total++
		if len(left) > maxCandidates {
			as.tooMany = true
			return true, nil
		}
		left = append(left, v)
		return true, nil
	}
	if named {
		for _, k := range ev[0].read.order {
			if _, err := consider(ev[0].read.allowed[k]); err != nil {
				return err
			}
		}
	} else {
		families, err := d.familiesRead(as)
		if err != nil {
			return err
		}
		for _, o := range d.assemblies {
			if slices.ContainsFunc(o.readings, func(rw *readWork) bool { return rw.overflow }) {
				// Not all variants that the reading allows are at hand, so not all
				// families either: nothing may be settled on those that are.
				as.tooMany = true
			}
		}
		as.universe = families
		if len(families) == 0 {
			as.basis = BasisNone
			return nil
		}
		if !root && len(as.clashes) == 0 && len(above.cands) > 0 && !above.tooMany {
			done, err := d.narrow(as, above, ev)
			if err != nil || done {
				return err
			}
		}
		if err := d.r.variantsOf(families, consider); err != nil {
			return err
		}
	}

	if len(as.clashes) > 0 {
		left, as.total, as.tooMany = nil, 0, false
	}
	if as.tooMany && len(left) == 0 {
		// None of those at hand, and there are more: that is no contradiction.
		as.basis = BasisOwn
		return nil
	}
	if len(left) == 0 && len(ev) > 0 {
		as.basis = BasisConflict
		return d.conflict(as, ev)
	}
	as.basis = BasisOwn
	if root {
		if !own && len(ev) == 0 {
			as.basis = BasisFamily
		}
		as.cands = left
		return nil
	}

	// A following assembly beside the one that it follows (C8).
	if len(above.cands) == 0 || above.tooMany {
		as.cands = left
		return nil
	}
	var both []*variant
	for _, v := range left {
		if slices.ContainsFunc(above.cands, func(o *variant) bool { return o.key == v.key }) {
			both = append(both, v)
		}
	}
	if as.tooMany {
		// Not all of W is at hand, so nothing is said about what both share.
		as.cands = left
		return nil
	}
	if len(both) > 0 {
		as.cands, as.total = both, len(both)
		as.assumed = len(left) > len(both) && !slices.ContainsFunc(as.readings, (*readWork).whole)
		return nil
	}
	as.cands, as.apart, as.known = left, true, spelled
	if d.dec.Mixed == nil {
		d.dec.Mixed = &Mixed{Parts: []MixedPart{mixedPart(above)}}
	}
	d.dec.Mixed.Parts = append(d.dec.Mixed.Parts, mixedPart(as))
	return nil
}

// inherit takes serial number and build date over from the assembly that as
// follows, where its own label does not spell them.
func (d *decider) inherit(as, above *assemblyWork) {
	if as.known.serial == 0 && !as.spelled.serial {
		as.known.serial = above.known.serial
	}
	if as.known.built.From == 0 && !as.spelled.built {
		as.known.built = above.known.built
	}
}

// narrow takes what was seen on a following assembly to the candidates of the
// one that it follows (C8), and tells whether that leaves any. Where what was
// seen fits other variants too, the answer still rests on the assembly above.
func (d *decider) narrow(as, above *assemblyWork, ev []*evidence) (bool, error) {
	allowed := func(v *variant) (bool, error) {
		for _, e := range ev {
			if ok, err := e.allows(d.r, v); err != nil || !ok {
				return false, err
			}
		}
		return true, nil
	}
	shared := map[string]bool{}
	var both []*variant
	for _, v := range above.cands {
		shared[v.key] = true
		ok, err := allowed(v)
		if err != nil {
			return false, err
		}
		if ok {
			both = append(both, v)
		}
	}
	if len(both) == 0 {
		return false, nil
	}
	as.cands, as.total, as.basis = both, len(both), BasisOwn
	return true, d.r.variantsOf(as.universe, func(v *variant) (bool, error) {
		if shared[v.key] {
			return true, nil
		}
		ok, err := allowed(v)
		if ok {
			as.basis = BasisAsBuilt
		}
		return !ok, err
	})
}

func mixedPart(as *assemblyWork) MixedPart {
	p := MixedPart{Assembly: as.row.Assembly, Variants: []catalog.VariantCode{}}
	for _, v := range as.cands[:min(len(as.cands), maxListed)] {
		p.Variants = append(p.Variants, v.row.Variant)
	}
	return p
}

func excludedBy(r *reader, m *seenMark, v *variant) (Reason, error) {
	shows, err := m.shownBy(r, v)
	return Reason{Code: ReasonMarkExcludes, Variant: v.row.Variant, Mark: m.mark.Mark, Value: m.text, Shows: showTexts(shows, m.mark)}, err
}

func showTexts(shows []*catalog.Show, m *catalog.Mark) []string {
	out := []string{}
	for _, s := range shows {
		t := s.Value
		// What is measured can be off by both tolerances (C2).
		if off := s.Tolerance.Num.Add(m.Tolerance.Num); s.Tolerance.Known || off.IsPositive() {
			t += " ± " + off.String()
		}
		if m.Unit != "" {
			t += " " + m.Unit
		}
		out = append(out, t)
	}
	return out
}

// familiesRead gives the families of the variants that readings of other
// assemblies allow.
func (d *decider) familiesRead(as *assemblyWork) ([]string, error) {
	var out []string
	for _, o := range d.assemblies {
		if o == as {
			continue
		}
		for _, rw := range o.readings {
			for _, v := range rw.allowed {
				if !slices.Contains(out, v.famKey) {
					out = append(out, v.famKey)
				}
			}
		}
	}
	slices.Sort(out)
	return out, nil
}

// variantsOf walks the variants of families in the order of their keys.
func (r *reader) variantsOf(families []string, each func(*variant) (bool, error)) error {
	for _, f := range families {
		var keys []string
		if err := r.cat.Referring(r.tVariants, "family", f, func(g string) bool {
			keys = append(keys, strings.TrimSuffix(g, string(catalog.KeySep)))
			return true
		}); err != nil {
			return err
		}
		for _, k := range keys {
			v, err := r.variant(k)
			if err != nil {
				return err
			}
			if v == nil {
				continue
			}
			more, err := each(v)
			if err != nil || !more {
				return err
			}
		}
	}
	return nil
}

// maxEvidence bounds the statements among which smallest contradictions are
// sought: there are two to the power of it subsets.
const maxEvidence = 12

// conflict lists every smallest set of statements that cannot all be true (C9).
func (d *decider) conflict(as *assemblyWork, ev []*evidence) error {
	// In an order that does not hang on that of the question.
	ev = slices.Clone(ev)
	kinds := []StatementKind{StatementReading, StatementMark, StatementSerial, StatementBuilt}
	slices.SortStableFunc(ev, func(a, b *evidence) int {
		return cmp.Or(cmp.Compare(slices.Index(kinds, a.st.Kind), slices.Index(kinds, b.st.Kind)), strings.Compare(catalog.Fold(a.st.Mark), catalog.Fold(b.st.Mark)), strings.Compare(a.st.Text, b.st.Text))
	})
	if len(ev) > maxEvidence {
		ev = ev[:maxEvidence]
	}
	// The base: what some reading allows, and the families of all that.
	families := slices.Clone(as.universe)
	for _, e := range ev {
		if e.read != nil {
			for _, v := range e.read.allowed {
				if !slices.Contains(families, v.famKey) {
					families = append(families, v.famKey)
				}
			}
		}
	}
	slices.Sort(families)
	// For each variant of the base the set of statements that allow it. A set
	// of statements can all be true if it is part of one of these.
	masks := map[uint16]bool{}
	err := d.r.variantsOf(families, func(v *variant) (bool, error) {
		var mask uint16
		for i, e := range ev {
			ok, err := e.allows(d.r, v)
			if err != nil {
				return false, err
			}
			if ok {
				mask |= 1 << i
			}
		}
		masks[mask] = true
		return true, nil
	})
	if err != nil {
		return err
	}
	var clashing []uint16
	for _, c := range as.clashes {
		var mask uint16
		for i, e := range ev {
			if e.read == c.read || e.st.Kind == c.kind {
				mask |= 1 << i
			}
		}
		clashing = append(clashing, mask)
	}
	possible := func(set uint16) bool {
		if slices.ContainsFunc(clashing, func(c uint16) bool { return c&^set == 0 }) {
			return false
		}
		for m := range masks {
			if set&^m == 0 {
				return true
			}
		}
		return false
	}
	var smallest []uint16
	for size := 1; size <= len(ev); size++ {
		for set := uint16(1); set < 1<<len(ev); set++ {
			if popcount(set) != size || slices.ContainsFunc(smallest, func(s uint16) bool { return s&^set == 0 }) || possible(set) {
				continue
			}
			smallest = append(smallest, set)
		}
	}
	for _, set := range smallest {
		c := Conflict{Assembly: as.row.Assembly, Statements: []Statement{}}
		for i, e := range ev {
			if set&(1<<i) != 0 {
				c.Statements = append(c.Statements, e.st)
			}
		}
		d.dec.Conflicts = append(d.dec.Conflicts, c)
	}
	return nil
}

func popcount(x uint16) int {
	n := 0
	for ; x != 0; x &= x - 1 {
		n++
	}
	return n
}

// describe writes the assemblies and observations into the decision, hints
// applied to the order of candidates.
func (d *decider) describe() error {
	hinting := []*seenMark{}
	for _, s := range d.seen {
		if s.mark.Force == catalog.Hinting {
			hinting = append(hinting, s)
		}
	}
	for _, as := range d.assemblies {
		st := AssemblyState{Assembly: as.row.Assembly, Basis: as.basis, Candidates: []Candidate{}, Total: as.total, Excluded: orEmpty(as.excluded)}
		if as.total == 0 {
			st.Total = len(as.cands)
		}
		if as.basis == BasisAsBuilt {
			st.Follows = as.row.Follows
		}
		st.Assumed, st.BySlip = as.assumed, d.bySlip(as) == as
		for _, v := range as.cands {
			c := Candidate{Variant: v.row.Variant, Family: v.row.Family, Name: v.row.Name, Count: v.row.Count}
			for _, s := range hinting {
				if err := d.r.load(v); err != nil {
					return err
				}
				shows := v.shown(s.key)
				switch {
				case len(shows) == 0:
				case s.hints(shows):
					c.Hints++
				default:
					c.Hints--
				}
			}
			st.Candidates = append(st.Candidates, c)
		}
		if len(as.cands) > 1 && d.doubtful() {
			d.shares(as.cands, st.Candidates)
		}
		slices.SortStableFunc(st.Candidates, func(a, b Candidate) int {
			return cmp.Or(-a.Share.Num.Cmp(b.Share.Num), -cmp.Compare(a.Hints, b.Hints), -cmp.Compare(a.Count, b.Count), strings.Compare(a.Variant.Key(), b.Variant.Key()))
		})
		if len(st.Candidates) > maxListed {
			st.Candidates = st.Candidates[:maxListed:maxListed]
		}
		d.dec.Assemblies = append(d.dec.Assemblies, st)
		for _, v := range as.cands {
			d.families[v.famKey] = true
		}
	}
	for _, s := range d.seen {
		o := Observed{Observation: Observation{s.mark.Mark, s.text}, Assembly: s.mark.Assembly, Force: s.mark.Force, Differs: []catalog.VariantCode{}, Known: []string{}}
		as := d.assembly(catalog.Fold(s.mark.Assembly))
		if as != nil {
			known, recorded := map[string]bool{}, false
			var bad error
			note := func(v *variant) bool {
				shows, err := s.shownBy(d.r, v)
				bad = cmp.Or(bad, err)
				recorded = recorded || len(shows) > 0 && s.hints(shows)
				for _, t := range showTexts(shows, s.mark) {
					if !known[t] && len(known) < maxListed {
						known[t] = true
						o.Known = append(o.Known, t)
					}
				}
				if s.mark.Force == catalog.Hinting {
					return len(shows) == 0 || s.hints(shows)
				}
				return s.compatible(shows)
			}
			switch {
			case s.mark.Force == catalog.Deciding && !s.evident():
				recorded = true // nobody misspelt what a meter shows
			case s.mark.Force == catalog.Deciding:
				for _, rw := range as.readings {
					for _, k := range rw.order {
						v := rw.allowed[k]
						if err := d.r.load(v); err != nil {
							return err
						}
						if !note(v) {
							o.Excludes++
						}
					}
				}
			default:
				for _, v := range as.cands {
					if err := d.r.load(v); err != nil {
						return err
					}
					if note(v) || len(o.Differs) == maxListed {
						continue
					}
					o.Differs = append(o.Differs, v.row.Variant)
					shows, err := s.shownBy(d.r, v)
					if err != nil {
						return err
					}
					for _, t := range showTexts(shows, s.mark) {
						if !slices.Contains(o.Shown, t) && len(o.Shown) < maxListed {
							o.Shown = append(o.Shown, t)
						}
					}
				}
			}
			if !recorded {
				// No variant that is thought of shows the value: does any of their
				// families? If so, what else the family shows is beside the point.
				concerned := len(o.Known)
				if err := d.relatives(func(v *variant) { note(v) }, func() bool { return recorded }); err != nil {
					return err
				}
				if recorded && concerned > 0 {
					o.Known = o.Known[:concerned]
				}
			}
			if bad != nil {
				return bad
			}
			slices.Sort(o.Known)
			slices.Sort(o.Shown)
			o.OnRecord = len(o.Known) == 0 || recorded
			var err error
			if o.Condemned, err = d.condemned(s, as); err != nil {
				return err
			}
		}
		d.dec.Observations = append(d.dec.Observations, o)
	}
	return nil
}

// relatives walks the variants of the families that the readings allow, at most
// maxFamily of them, until enough is true.
func (d *decider) relatives(each func(*variant), enough func() bool) error {
	families, err := d.familiesRead(nil)
	if err != nil {
		return err
	}
	n := 0
	return d.r.variantsOf(families, func(v *variant) (bool, error) {
		if n++; n > maxFamily {
			return false, nil
		}
		if err := d.r.load(v); err != nil {
			return false, err
		}
		each(v)
		return !enough(), nil
	})
}

// hints tells whether a hinting observation agrees with what is recorded. For
// text it is enough that all words of the one stand in the other: a vehicle is
// called by more names than a catalogue lists.
func (o *seenMark) hints(shows []*catalog.Show) bool {
	if o.compatible(shows) {
		return true
	}
	if o.mark.Kind != catalog.MarkSeen {
		return false
	}
	for _, s := range shows {
		if wordsIn(s.Value, o.text) || wordsIn(o.text, s.Value) {
			return true
		}
	}
	return false
}

func wordsIn(a, b string) bool {
	have := strings.Fields(catalog.FoldValue(b))
	for _, w := range strings.Fields(catalog.FoldValue(a)) {
		if !slices.Contains(have, w) {
			return false
		}
	}
	return true
}

// layoutCodes are the texts that name variants on plates of a layout. Codes of
// variants of other layouts are among them; what is found is looked up with
// variantsAt.
func (res *Resolver) layoutCodes(layout string) plate.Codes {
	return plate.Union(res.variantCodes, plateCodes{res.cat, res.r.tPlates, catalog.MakeKey(layout)})
}

// variantsAt gives the variants that a text names on plates of a layout, each
// once.
func (res *Resolver) variantsAt(layout, text string) ([]*variant, error) {
	var out []*variant
	v, err := res.r.variant(text)
	if err != nil {
		return nil, err
	}
	if v != nil && res.r.fold(v.row.Layout) == layout {
		out = append(out, v)
	}
	rows, err := group[catalog.Plate](res.cat, res.r.tPlates, catalog.MakeKey(layout, text))
	if err != nil {
		return nil, err
	}
	for _, p := range rows {
		if len(out) > 0 && p.Variant.Key() == out[0].key {
			continue // it is named by its code already
		}
		w, err := res.r.variant(p.Variant.Key())
		if err != nil {
			return nil, err
		}
		if w != nil {
			out = append(out, w)
		}
	}
	return out, nil
}
