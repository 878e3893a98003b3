package plate

import (
	"platewright/catalog"
)

// MaxMatches is the most alignments of one reading to one layout that are
// given. Only layouts with several fields of variable width and readings with
// many open places have that many.
const MaxMatches = 256

// maxJoint is how many completions are gone through where two checks share an
// open place; beyond it each check narrows by itself and [Match.Exact] is
// false.
const maxJoint = 50_000

// Match is one way to see a reading as a plate of a layout.
type Match struct {
	Layout  string       `json:"layout"`          // code of the layout
	Text    string       `json:"text"`            // the plate, with ? where nothing is known beyond the layout
	Fields  []FieldMatch `json:"fields"`          // from left to right; an optional field that is missing has no characters
	Key     Reading      `json:"variant"`         // what the variant's key can be: the fields that mean the variant, joined
	Serial  string       `json:"serial"`          // the serial number's digits if all are read, else empty
	Built   *Built       `json:"built,omitempty"` // when it was built, if that is read
	Checks  []CheckMatch `json:"checks"`
	Regains []Regained   `json:"recovered"` // what a check recovered
	Exact   bool         `json:"exact"`     // false if checks share too many open places to be judged together

	layout *Layout
	at     []uint8 // start of each field, and the end
	sets   []Set   // what can stand at each place
	seen   []Set   // the same before the checks
	linked bool    // a check ties open places of the variant to others
}

// FieldMatch is what stands in a field.
type FieldMatch struct {
	Field string          `json:"field"`
	Means catalog.Meaning `json:"means"`
	Place int             `json:"place"` // the field's first place, 1 for the first of the plate
	Text  string          `json:"text"`  // as in Match.Text
	Chars Reading         `json:"chars"` // what can stand at each of its places
}

// CheckOutcome is what a check character did.
type CheckOutcome string

// The outcomes of a check. One that fails makes no match, but a [Rejection].
const (
	CheckPassed   CheckOutcome = "passed"   // all is read, and it is right
	CheckNarrowed CheckOutcome = "narrowed" // it took characters from open places, or recovered some
	CheckOpen     CheckOutcome = "open"     // too little is read for it to say anything
	CheckMissing  CheckOutcome = "missing"  // the plate is one without the optional check field
)

// CheckMatch is the state of a check field.
type CheckMatch struct {
	Field   string         `json:"field"`
	Scheme  catalog.Scheme `json:"scheme"`
	Outcome CheckOutcome   `json:"outcome"`
}

// Regained is a character that was not read and follows from a check.
type Regained struct {
	Field string `json:"field"`
	Place int    `json:"place"` // 1 for the first of the plate
	Char  string `json:"char"`
}

// aligned is a layout laid over a reading: which places belong to which field.
// It is the matcher's scratch; a [Match] keeps a copy of what it needs.
type aligned struct {
	l       *Layout
	n       int                  // places
	at      [maxFields + 1]uint8 // start of each field, and the end
	seen    [MaxPlaces]Set       // characters read that the layout allows
	sets    [MaxPlaces]Set       // the same after the checks
	exact   bool
	failed  int  // index of the check that failed
	badDate bool // the build date cannot be
}

// matcher finds the alignments of one reading to one layout.
type matcher struct {
	aligned
	read  []Set      // the reading, nil if it is given field by field
	given [][]Set    // the fields, nil for not read
	blank [32]bool   // of a reading by fields: said to be missing
	dead  [32]uint64 // places from which a field and all after it cannot be laid
	emit  func(*aligned) bool
	stop  bool
	left  int // alignments that may still be emitted
	cut   bool
}

// find emits every alignment by shape, before any check, until emit gives
// false.
func (m *matcher) find(l *Layout, read []Set, emit func(*aligned) bool) {
	m.l, m.read, m.given, m.emit = l, read, nil, emit
	m.stop, m.cut, m.left = false, false, MaxMatches
	if !l.mayBe(read) {
		return
	}
	clear(m.dead[:len(l.fields)])
	m.n = len(read)
	m.walk(0, 0)
}

func (m *matcher) walk(i, pos int) bool {
	l := m.l
	if i == len(l.fields) {
		if m.given != nil {
			m.n = pos
		} else if pos != m.n {
			return false
		}
		if m.left == 0 {
			m.stop, m.cut = true, true
			return true
		}
		m.left--
		m.at[i] = uint8(pos)
		if !m.emit(&m.aligned) {
			m.stop = true
		}
		return true
	}
	if pos < 64 && m.dead[i]>>pos&1 == 1 {
		return false
	}
	m.at[i] = uint8(pos)
	f := &l.fields[i]
	found := false
	fits := func(width int) bool {
		if m.given != nil {
			return pos+width <= MaxPlaces
		}
		rest := m.n - pos - width
		return rest >= l.minRest[i+1] && rest <= l.maxRest[i+1]
	}
	for w := 1; w <= f.max; w++ {
		k := pos + w - 1
		if k >= MaxPlaces || m.given == nil && k >= m.n {
			break
		}
		s := f.at(w - 1)
		if m.given == nil {
			s &= m.read[k]
		} else if g := m.given[i]; g != nil {
			if w > len(g) {
				break
			}
			s &= g[w-1]
		} else if m.blank[i] {
			break
		}
		if s == 0 {
			break
		}
		m.seen[k] = s
		if w < f.min || !fits(w) || m.given != nil && m.given[i] != nil && w != len(m.given[i]) {
			continue
		}
		found = m.walk(i+1, pos+w) || found
		if m.stop {
			return true
		}
		m.at[i] = uint8(pos)
	}
	if f.optional && fits(0) && (m.given == nil || m.given[i] == nil) {
		found = m.walk(i+1, pos) || found
	}
	if !found && pos < 64 {
		m.dead[i] |= 1 << pos
	}
	return found
}

// places gives the places of field i.
func (a *aligned) places(i int) (from, to int) { return int(a.at[i]), int(a.at[i+1]) }

// order lists the places of a check: what it covers, then the check characters.
// It is empty if the check field is missing.
func (a *aligned) order(c *check, buf *[MaxPlaces]uint8) []uint8 {
	from, to := a.places(c.field)
	if from == to {
		return nil
	}
	idx := buf[:0]
	for _, f := range c.over {
		p, q := a.places(f)
		for ; p < q; p++ {
			idx = append(idx, uint8(p))
		}
	}
	for ; from < to; from++ {
		idx = append(idx, uint8(from))
	}
	return idx
}

// settle starts from the characters seen and takes what no completion has that
// passes the checks. It is false if a check fails or a date cannot be.
func (a *aligned) settle() bool {
	copy(a.sets[:a.n], a.seen[:a.n])
	return a.narrow() && a.dated()
}

func (a *aligned) narrow() bool {
	a.exact, a.failed, a.badDate = true, -1, false
	l := a.l
	var buf [MaxPlaces]uint8
	for again := true; again; {
		again = false
		for k := range l.checks {
			c := &l.checks[k]
			idx := a.order(c, &buf)
			if idx == nil {
				continue
			}
			ok, shrank := c.narrow(&a.sets, idx)
			if !ok {
				a.failed = k
				return false
			}
			again = again || shrank && len(l.checks) > 1
		}
	}
	if len(l.checks) > 1 {
		return a.joint()
	}
	return true
}

// joint judges checks that share open places together, by going through the
// completions where these are few enough.
func (a *aligned) joint() bool {
	var open [MaxPlaces]uint8
	var uses [MaxPlaces]uint8
	var buf [MaxPlaces]uint8
	shared := false
	for k := range a.l.checks {
		for _, p := range a.order(&a.l.checks[k], &buf) {
			if !a.sets[p].single() {
				uses[p]++
				shared = shared || uses[p] > 1
			}
		}
	}
	if !shared {
		return true
	}
	n, product := 0, 1
	for p := range a.n {
		if uses[p] == 0 {
			continue
		}
		open[n] = uint8(p)
		n++
		if product *= a.sets[p].Len(); product > maxJoint {
			a.exact = false
			return true
		}
	}
	try := a.sets
	var got [MaxPlaces]Set
	any := false
	var walk func(i int)
	walk = func(i int) {
		if i < n {
			for rest := a.sets[open[i]]; rest != 0; rest &= rest - 1 {
				try[open[i]] = rest & -rest
				walk(i + 1)
			}
			return
		}
		for k := range a.l.checks {
			c := &a.l.checks[k]
			if idx := a.order(c, &buf); idx != nil {
				if ok, _ := c.narrow(&try, idx); !ok {
					return
				}
			}
		}
		any = true
		for _, p := range open[:n] {
			got[p] |= try[p]
		}
	}
	walk(0)
	if !any {
		a.failed = len(a.l.checks) - 1
		return false
	}
	for _, p := range open[:n] {
		a.sets[p] = got[p]
	}
	return true
}

// text appends the characters of places that are all read; ok is false if one
// is open.
func (a *aligned) text(dst []byte, from, to int) ([]byte, bool) {
	for p := from; p < to; p++ {
		if !a.sets[p].single() {
			return dst, false
		}
		dst = append(dst, a.sets[p].min())
	}
	return dst, true
}

func (a *aligned) date() (b Built, read, can bool) {
	if a.l.built < 0 {
		return Built{}, false, true
	}
	from, to := a.places(a.l.built)
	if from == to {
		return Built{}, false, true
	}
	var buf [8]byte
	digits, read := a.text(buf[:0], from, to)
	if !read {
		return Built{}, false, true
	}
	b, can = ParseBuilt(a.l.fields[a.l.built].row.Form, string(digits))
	return b, true, can
}

// dated is false if the build date is read and cannot be. A date with an open
// place is not judged.
func (a *aligned) dated() bool {
	_, _, can := a.date()
	a.badDate = !can
	return can
}

// appendKey appends what can stand in the fields that mean the variant.
func (a *aligned) appendKey(dst []Set) []Set {
	for i := range a.l.fields {
		if a.l.fields[i].row.Means == catalog.MeansVariant {
			from, to := a.places(i)
			dst = append(dst, a.sets[from:to]...)
		}
	}
	return dst
}

// appendText appends the plate's text with ? where the layout's own set is all
// that is known.
func (a *aligned) appendText(dst []byte, i int) []byte {
	from, to := a.places(i)
	f := &a.l.fields[i]
	for p := from; p < to; p++ {
		if s := a.sets[p]; s == f.at(p-from) && !s.single() {
			dst = append(dst, '?')
		} else {
			dst = s.appendTo(dst)
		}
	}
	return dst
}

// keep makes a Match of a settled alignment. With filled, the variant was put
// in from outside, so its places are not reported as recovered.
func (a *aligned) keep(filled bool) Match {
	l := a.l
	m := Match{Layout: l.Row.Layout, layout: l, Exact: a.exact, Checks: []CheckMatch{}, Regains: []Regained{}}
	both := make([]Set, 2*a.n)
	m.sets, m.seen = both[:a.n:a.n], both[a.n:]
	copy(m.sets, a.sets[:a.n])
	copy(m.seen, a.seen[:a.n])
	m.at = append([]uint8(nil), a.at[:len(l.fields)+1]...)

	var textBuf [4 * MaxPlaces]byte
	var ends [maxFields]int
	text := textBuf[:0]
	for i := range l.fields {
		text = a.appendText(text, i)
		ends[i] = len(text)
	}
	m.Text = string(text)
	m.Fields = make([]FieldMatch, len(l.fields))
	start := 0
	var serial [MaxPlaces]byte
	digits, serialRead := serial[:0], true
	var openKey bool
	for i := range l.fields {
		f := &l.fields[i]
		from, to := a.places(i)
		m.Fields[i] = FieldMatch{f.row.Field, f.row.Means, from + 1, m.Text[start:ends[i]], m.sets[from:to:to]}
		start = ends[i]
		switch f.row.Means {
		case catalog.MeansVariant:
			if m.Key == nil {
				m.Key = m.sets[from:to:to]
			} else {
				m.Key = append(m.Key, m.sets[from:to]...) // moves away: the capacity ends at to
			}
		case catalog.MeansSerial:
			if serialRead {
				digits, serialRead = a.text(digits, from, to)
			}
		}
		for p := from; p < to; p++ {
			if f.row.Means == catalog.MeansVariant {
				openKey = openKey || !m.sets[p].single()
				if filled {
					continue
				}
			}
			if c, ok := m.sets[p].One(); ok && !m.seen[p].single() {
				m.Regains = append(m.Regains, Regained{f.row.Field, p + 1, string(c)})
			}
		}
	}
	if serialRead {
		m.Serial = string(digits)
	}
	if b, read, can := a.date(); read && can {
		m.Built = &b
	}
	if len(l.checks) > 0 {
		m.Checks = make([]CheckMatch, 0, len(l.checks))
	}
	var buf [MaxPlaces]uint8
	for k := range l.checks {
		c := &l.checks[k]
		row := &l.fields[c.field].row
		state := CheckMissing
		if idx := a.order(c, &buf); idx != nil {
			state = CheckPassed
			for _, p := range idx {
				if !a.seen[p].single() && state == CheckPassed {
					state = CheckOpen
				}
				if a.seen[p] != a.sets[p] {
					state = CheckNarrowed
				}
			}
			if state != CheckPassed {
				m.linked = m.linked || openKey
			}
		}
		m.Checks = append(m.Checks, CheckMatch{row.Field, row.Scheme, state})
	}
	return m
}

// Match gives every way in which the reading can be a plate of this layout and
// pass its checks, at most [MaxMatches], in a fixed order.
func (l *Layout) Match(r Reading) []Match {
	out := []Match{}
	if !l.mayBe(r) {
		return out
	}
	var m matcher
	m.find(l, r, func(a *aligned) bool {
		if a.settle() {
			out = append(out, a.keep(false))
		}
		return true
	})
	return out
}

// Of gives the layout matched.
func (m *Match) Of() *Layout { return m.layout }

// Reading gives what can stand at each place of the whole plate.
func (m *Match) Reading() Reading { return m.sets }

// fill puts key, which is as long as the variant's fields, into them and narrows
// again. It is false if the key cannot stand there.
func (a *aligned) fill(key string) bool {
	j := 0
	for i := range a.l.fields {
		if a.l.fields[i].row.Means != catalog.MeansVariant {
			continue
		}
		from, to := a.places(i)
		for p := from; p < to; p, j = p+1, j+1 {
			if a.sets[p] &= one(key[j]); a.sets[p] == 0 {
				return false
			}
		}
	}
	return a.narrow() && a.dated()
}

// put lays the match again with key in the fields that mean the variant.
func (m *Match) put(a *aligned, key string) bool {
	a.l, a.n = m.layout, len(m.sets)
	copy(a.at[:], m.at)
	copy(a.seen[:], m.seen)
	copy(a.sets[:], m.sets)
	return a.fill(key)
}

// inKey tells whether key is as long as the pattern and has at each place a
// character that the place allows by itself.
func (m *Match) inKey(key string) bool {
	if len(key) != len(m.Key) {
		return false
	}
	for i := range m.Key {
		if m.Key[i]&one(key[i]) == 0 {
			return false
		}
	}
	return true
}

// Allows tells whether some completion of the reading has the folded variant
// key in its fields and passes the checks. The pattern in Key says it for each
// place by itself only; candidates are filtered with Allows. It is exact where
// [Match.Exact] is true. Build dates are judged where they are fully read.
func (m *Match) Allows(key string) bool {
	if !m.inKey(key) {
		return false
	}
	if !m.linked {
		return true
	}
	var a aligned
	return m.put(&a, key)
}

// Complete gives the match with the folded variant key put in and with what
// follows from it, such as the check character. What was recovered lists only
// places outside the variant. It is false where [Match.Allows] is.
func (m *Match) Complete(key string) (Match, bool) {
	if !m.inKey(key) {
		return Match{}, false
	}
	var a aligned
	if !m.put(&a, key) {
		return Match{}, false
	}
	return a.keep(true), true
}
