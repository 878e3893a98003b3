package plate

import (
	"slices"
	"strings"

	"platewright/catalog"
)

// State says what came of laying a reading to a set of layouts.
type State string

// The states of an [Outcome].
const (
	Matched   State = "matched"   // it can be a plate of at least one layout
	Rejected  State = "rejected"  // it has the shape of a layout, and no completion passes the check
	Unmatched State = "unmatched" // it has the shape of no layout
)

// Outcome is what came of a reading.
type Outcome struct {
	State      State       `json:"state"`
	Matches    []Match     `json:"matches"`
	Rejections []Rejection `json:"rejections"` // filled where nothing matched
	Failures   []Failure   `json:"failures"`   // filled where nothing matched: the layouts that came furthest
	Cut        bool        `json:"cut"`        // some layout has more matches than [MaxMatches]
}

// Rejection is a plate of the right shape that fails its check.
type Rejection struct {
	Layout   string         `json:"layout"`
	Text     string         `json:"text"` // the plate, with ? where nothing is known beyond the layout
	Field    string         `json:"field"`
	Scheme   catalog.Scheme `json:"scheme"`
	Place    int            `json:"place"`    // of the check field
	Read     string         `json:"read"`     // what stands in the check field
	Expected []string       `json:"expected"` // what would be right there, if all that it covers is read; of MOD 97-10 there can be two
}

// FailureReason says why a layout does not fit a reading.
type FailureReason string

// The reasons of a [Failure].
const (
	WrongCharacter FailureReason = "character" // what is read cannot stand in the field
	TooShort       FailureReason = "short"     // the reading ends before the layout does
	TooLongFor     FailureReason = "long"      // the reading goes on where the layout ends
	NoSuchDate     FailureReason = "date"      // the build date cannot be
)

// Failure tells how far a layout could be laid along a reading.
type Failure struct {
	Layout string            `json:"layout"`
	Reason FailureReason     `json:"reason"`
	Place  int               `json:"place"`           // the first place that does not fit, 1 for the first of the reading
	Field  string            `json:"field,omitempty"` // the field it should belong to; empty with long
	Kind   catalog.FieldKind `json:"kind,omitempty"`  // what the field holds
	Want   *Set              `json:"want,omitempty"`  // all that could stand at the place
	Read   *Set              `json:"read,omitempty"`  // what is read there
	Text   string            `json:"text,omitempty"`  // with date: the digits
}

// Read lays the reading to each layout. Matches stand in the order of the
// layouts.
func Read(layouts []*Layout, r Reading) Outcome {
	out := Outcome{State: Unmatched, Matches: []Match{}, Rejections: []Rejection{}, Failures: []Failure{}}
	var m matcher
	settled := func(a *aligned) bool {
		if a.settle() {
			out.Matches = append(out.Matches, a.keep(false))
		}
		return true
	}
	for _, l := range layouts {
		if l.mayBe(r) {
			m.find(l, r, settled)
			out.Cut = out.Cut || m.cut
		}
	}
	if len(out.Matches) > 0 {
		out.State = Matched
		return out
	}
	for _, l := range layouts {
		before := len(out.Rejections) + len(out.Failures)
		m.find(l, r, out.explain)
		if len(out.Rejections)+len(out.Failures) == before {
			out.Failures = append(out.Failures, furthest(l, r))
		}
	}
	out.conclude()
	return out
}

// explain adds why an alignment that fits by shape is no match.
func (o *Outcome) explain(a *aligned) bool {
	switch {
	case a.settle():
	case a.badDate:
		f := &a.l.fields[a.l.built]
		from, to := a.places(a.l.built)
		var buf [8]byte
		digits, _ := a.text(buf[:0], from, to)
		o.Failures = append(o.Failures, Failure{Layout: a.l.Row.Layout, Reason: NoSuchDate, Place: from + 1,
			Field: f.row.Field, Kind: f.row.Kind, Text: string(digits)})
	default:
		o.Rejections = append(o.Rejections, a.rejection())
	}
	return true
}

// conclude sets the state and keeps the failures that came furthest.
func (o *Outcome) conclude() {
	if len(o.Rejections) > 0 {
		o.State = Rejected
	}
	// A date that cannot be stands on a plate that fits from end to end.
	far := func(f *Failure) int {
		if f.Reason == NoSuchDate {
			return MaxPlaces + 2
		}
		return f.Place
	}
	best := 0
	for i := range o.Failures {
		best = max(best, far(&o.Failures[i]))
	}
	o.Failures = slices.DeleteFunc(o.Failures, func(f Failure) bool { return far(&f) < best })
	slices.SortStableFunc(o.Failures, func(a, b Failure) int { return strings.Compare(a.Layout, b.Layout) })
}

func (a *aligned) rejection() Rejection {
	c := &a.l.checks[a.failed]
	row := &a.l.fields[c.field].row
	from, to := a.places(c.field)
	rej := Rejection{Layout: a.l.Row.Layout, Field: row.Field, Scheme: row.Scheme, Place: from + 1, Expected: []string{}}
	copy(a.sets[:a.n], a.seen[:a.n])
	var text []byte
	for i := range a.l.fields {
		text = a.appendText(text, i)
	}
	rej.Text = string(text)
	rej.Read = string(a.appendText(nil, c.field))
	var buf [MaxPlaces]uint8
	idx := a.order(c, &buf)
	payload := make([]byte, 0, len(idx))
	for _, p := range idx[:len(idx)-c.width] {
		if !a.sets[p].single() {
			return rej
		}
		payload = append(payload, a.sets[p].min())
	}
	// What the field itself can hold counts: a maker that issues no X has no
	// right check character for such a payload.
	f := &a.l.fields[c.field]
	var spell func(s, k int, check []byte)
	state, err := c.run(string(payload))
	if err != nil {
		return rej
	}
	spell = func(s, k int, check []byte) {
		if k == to-from {
			if s == c.accept {
				rej.Expected = append(rej.Expected, string(check))
			}
			return
		}
		for ch := range (f.at(k) & c.checks).All() {
			spell(c.end(s, int(c.last[ch-lowest])), k+1, append(check, ch))
		}
	}
	spell(state, 0, make([]byte, 0, 2))
	return rej
}

// furthest tells where the layout that does not fit by shape breaks off: the
// alignment that uses most of the reading.
func furthest(l *Layout, r []Set) Failure {
	best := Failure{Layout: l.Row.Layout, Place: -1}
	bestOptional := false
	var been [maxFields + 1][MaxPlaces + 1]bool
	note := func(i, k, pos int) {
		if pos+1 < best.Place {
			return
		}
		// Several fields can fail at one place: after an optional one, or where
		// widths vary. All that could stand there is wanted, and the field named
		// is one that must be there if any is.
		if pos+1 == best.Place {
			if i < len(l.fields) && best.Want != nil {
				*best.Want |= l.fields[i].at(k)
				if bestOptional && !l.fields[i].optional {
					best.Field, best.Kind, bestOptional = l.fields[i].row.Field, l.fields[i].row.Kind, false
				}
			}
			return
		}
		f := Failure{Layout: l.Row.Layout, Place: pos + 1}
		if pos < len(r) {
			s := r[pos]
			f.Read = &s
		}
		if i < len(l.fields) {
			w := l.fields[i].at(k)
			f.Field, f.Kind, f.Want = l.fields[i].row.Field, l.fields[i].row.Kind, &w
			bestOptional = l.fields[i].optional
		}
		switch {
		case i == len(l.fields):
			f.Reason = TooLongFor
		case pos == len(r):
			f.Reason = TooShort
		default:
			f.Reason = WrongCharacter
		}
		best = f
	}
	var walk func(i, pos int)
	walk = func(i, pos int) {
		if been[i][pos] {
			return
		}
		been[i][pos] = true
		if i == len(l.fields) {
			if pos < len(r) {
				note(i, 0, pos)
			}
			return
		}
		f := &l.fields[i]
		for k := 0; k < f.max; k++ {
			if pos+k == len(r) || r[pos+k]&f.at(k) == 0 {
				// A field that already has its fewest characters fails
				// nowhere: the next field takes over.
				if k < f.min {
					note(i, k, pos+k)
				}
				break
			}
			if k+1 >= f.min {
				walk(i+1, pos+k+1)
			}
		}
		if f.optional {
			walk(i+1, pos)
		}
	}
	walk(0, 0)
	return best
}

// Fields is a reading given field by field for one layout.
type Fields struct {
	layout *Layout
	given  [][]Set
	blank  [maxFields]bool
}

// FieldReading takes what was read in single fields of the layout, by their
// names. A field not named is wholly unknown: any width, any characters. An
// empty text says that an optional field is missing on the plate. The error is
// a [*ReadingError].
func FieldReading(l *Layout, texts map[string]string) (*Fields, error) {
	out := &Fields{layout: l, given: make([][]Set, len(l.fields))}
	names := make([]string, 0, len(texts))
	for name := range texts {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		key := catalog.Fold(name)
		i := slices.IndexFunc(l.fields, func(f field) bool { return catalog.Fold(f.row.Field) == key })
		if i < 0 {
			return nil, &ReadingError{Code: UnknownField, Field: name}
		}
		if texts[name] == "" {
			if !l.fields[i].optional {
				return nil, &ReadingError{Code: FieldNeeded, Field: name}
			}
			out.blank[i] = true
			continue
		}
		r, err := ParseReading(texts[name])
		if err != nil {
			e := *err.(*ReadingError)
			e.Field = name
			return nil, &e
		}
		out.given[i] = r
	}
	return out, nil
}

// Match gives every way in which the fields can stand on a plate that passes
// its checks, at most [MaxMatches]. Where a field that is not read can have
// several widths, each is a match of its own.
func (f *Fields) Match() []Match { return f.Read().Matches }

// Read is [Fields.Match] with the reasons where nothing matches. A field that
// cannot hold what was read in it is a failure at that field; Place then counts
// within the field.
func (f *Fields) Read() Outcome {
	out := Outcome{State: Unmatched, Matches: []Match{}, Rejections: []Rejection{}, Failures: []Failure{}}
	l := f.layout
	var m matcher
	run := func(emit func(*aligned) bool) {
		m = matcher{}
		m.l, m.given, m.blank, m.emit, m.left = l, f.given, f.blank, emit, MaxMatches
		m.walk(0, 0)
	}
	run(func(a *aligned) bool {
		if a.settle() {
			out.Matches = append(out.Matches, a.keep(false))
		}
		return true
	})
	out.Cut = m.cut
	if len(out.Matches) > 0 {
		out.State = Matched
		return out
	}
	run(out.explain)
	if len(out.Rejections)+len(out.Failures) == 0 {
		for i, g := range f.given {
			if fail, bad := misfit(&l.fields[i], g); bad {
				fail.Layout = l.Row.Layout
				out.Failures = append(out.Failures, fail)
			}
		}
	}
	if len(out.Rejections) > 0 {
		out.State = Rejected
	}
	return out
}

// misfit tells why the characters given cannot stand in the field.
func misfit(f *field, given []Set) (Failure, bool) {
	if given == nil {
		return Failure{}, false
	}
	fail := Failure{Field: f.row.Field, Kind: f.row.Kind}
	for k, s := range given {
		fail.Place = k + 1
		if k >= f.max {
			fail.Reason, fail.Read = TooLongFor, &s
			return fail, true
		}
		if w := f.at(k); s&w == 0 {
			fail.Reason, fail.Want, fail.Read = WrongCharacter, &w, &s
			return fail, true
		}
	}
	if len(given) < f.min {
		w := f.at(len(given))
		fail.Place, fail.Reason, fail.Want = len(given)+1, TooShort, &w
		return fail, true
	}
	return Failure{}, false
}
