package shop

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"platewright/catalog"
)

// Incoming is a note as a package from another shop holds it.
type Incoming struct {
	ID        string            `json:"note"`
	Wordings  []Wording         `json:"wordings"`
	Head      string            `json:"wording"` // in force there
	State     catalog.NoteState `json:"state"`   // there
	Confirmed []Confirmation    `json:"confirmed"`
	History   []Happening       `json:"history"`
}

// Happening is a line of the history of a note in another shop.
type Happening struct {
	At      string `json:"at"`
	Who     string `json:"who"`
	What    string `json:"what"`
	Wording string `json:"wording,omitempty"`
	Because string `json:"because,omitempty"`
}

// ImportedBody is what a package brought of a note.
type ImportedBody struct {
	Source  string `json:"source"`
	Trusted bool   `json:"trusted,omitempty"` // the shop trusted the source when it was imported
	Own     bool   `json:"own,omitempty"`     // the package came from this shop itself
	Incoming
}

// check refuses a note of which a wording is not what its name says, and gives
// every wording its source.
func (in *Incoming) check(source string) error {
	known := map[string]bool{}
	roots := 0
	for i := range in.Wordings {
		w := &in.Wordings[i]
		if named(*w).Name != w.Name {
			return refuse("the wording "+w.Name+" of the note "+in.ID+" is not what its name says", "leave the rows of written notes as they are; word a note anew with: platewright note edit")
		}
		if known[w.Name] {
			return refuse("the wording "+w.Name+" stands twice", "take one of the two rows away")
		}
		known[w.Name] = true
		w.From = source
		if len(w.After) == 0 {
			roots++
			if idOf(*w) != in.ID {
				return refuse("the wording "+w.Name+" does not begin the note "+in.ID, "leave the names of written notes as they are")
			}
		}
		if w.On != in.Wordings[0].On || catalog.Fold(w.Of) != catalog.Fold(in.Wordings[0].Of) || w.Kind != in.Wordings[0].Kind {
			return refuse("the wordings of the note "+in.ID+" speak of different things", "leave the rows of written notes as they are")
		}
	}
	for _, w := range in.Wordings {
		for _, a := range w.After {
			if !known[a] {
				return refuse("the wording "+a+", from which "+w.Name+" was made, is not in the package", "let the other shop export its notes again, with all their wordings")
			}
		}
	}
	switch {
	case roots != 1:
		return refuse("the note "+in.ID+" has no first wording, or several", "let the other shop export its notes again, with all their wordings")
	case !known[in.Head]:
		return refuse("it does not say which wording of the note "+in.ID+" is in force", "leave the state of one wording of each note filled in")
	}
	return nil
}

// Import puts a note of a package together with what the shop has of it; n is
// nil where it has nothing. changed is false where the package brings nothing
// new.
func Import(n *Note, in Incoming, source, who string, rules *Rules, at time.Time) (_ Event, changed bool, _ error) {
	if err := checkName("name of who imports", who); err != nil {
		return Event{}, false, err
	}
	if err := checkName("name of the source", source); err != nil {
		return Event{}, false, err
	}
	in.Wordings = slices.Clone(in.Wordings)
	if err := in.check(source); err != nil {
		return Event{}, false, err
	}
	// Other clocks and other sides of the date line are allowed a day.
	latest := day(at.AddDate(0, 0, 1))
	for _, w := range in.Wordings {
		if err := w.Content.check(latest); err != nil {
			return Event{}, false, err
		}
		if err := checkName("name of who worded it", w.By); err != nil {
			return Event{}, false, err
		}
		if w.Edited > latest {
			return Event{}, false, refuse("a wording is dated "+w.Edited+", and today is "+day(at), "correct the clock of one of the two computers")
		}
	}
	if n != nil {
		fresh := in.Wordings[:0]
		for _, w := range in.Wordings {
			if n.Wording(w.Name) == nil {
				fresh = append(fresh, w)
			}
		}
		in.Wordings = fresh
	}
	b := ImportedBody{Source: source, Trusted: rules.Trusts(source), Own: rules.Name != "" && samePerson(source, rules.Name), Incoming: in}
	if n != nil {
		after := n.clone()
		after.take(b, day(at))
		if after.sameAs(n) {
			return Event{}, false, nil
		}
	}
	e := event(NoteImported, who, b)
	e.Note = in.ID
	return e, true, nil
}

// take puts what was imported together with the note. Nothing that this shop has
// worded or settled is overwritten.
func (n *Note) take(b ImportedBody, today string) {
	fresh := n.Revision == 0
	n.Wordings = append(n.Wordings, b.Wordings...)
	state := b.State
	if state == catalog.NoteConfirmed && !b.Trusted {
		state = catalog.NoteOpen
	}
	hs := heads(n.Wordings)
	switch {
	case fresh:
		n.Head, n.From, n.Met = b.Head, b.Source, today
		n.set(state, b.Confirmed)
	case n.Head != b.Head && n.descends(b.Head, n.Head) && (b.Trusted || n.Current().From == b.Source) &&
		(n.State != catalog.NoteConfirmed || state == catalog.NoteConfirmed):
		// Theirs was made from ours, and it is for them to say: they are
		// trusted, or the wording was theirs all along. What is confirmed here
		// gives way only to what is confirmed too: it may hold a line.
		n.Head, n.Met = b.Head, today
		n.set(state, b.Confirmed)
	case n.Head == b.Head && b.Trusted && n.State == catalog.NoteOpen && state == catalog.NoteConfirmed:
		n.set(state, b.Confirmed)
		n.Met = today
	}
	n.Rivals = []string{}
	for _, h := range hs {
		if h != n.Head && !n.descends(n.Head, h) {
			n.Rivals = append(n.Rivals, h)
		}
	}
	if b.Own {
		return // how this shop itself once held it is no news
	}
	i := slices.IndexFunc(n.Elsewhere, func(x Elsewhere) bool { return samePerson(x.Source, b.Source) })
	there := Elsewhere{Source: b.Source, State: b.State, Wording: b.Head, On: today}
	switch {
	case i < 0 && there.State == n.State && there.Wording == n.Head:
		// It is held there as it is here.
	case i < 0:
		n.Elsewhere = append(n.Elsewhere, there)
	case n.Elsewhere[i].State != there.State || n.Elsewhere[i].Wording != there.Wording:
		n.Elsewhere[i] = there
	}
}

// sameAs tells whether an import has changed nothing.
func (n *Note) sameAs(o *Note) bool {
	return n.State == o.State && n.Head == o.Head && len(n.Wordings) == len(o.Wordings) && slices.Equal(n.Rivals, o.Rivals) &&
		slices.EqualFunc(n.Elsewhere, o.Elsewhere, func(a, b Elsewhere) bool {
			return a.Source == b.Source && a.State == b.State && a.Wording == b.Wording
		})
}

// Travel gives the rows in which the note travels to another shop.
func (n *Note) Travel(history []Event) (wordings []*catalog.NoteWording, happenings []*catalog.NoteHappening) {
	for i := range n.Wordings {
		w := &n.Wordings[i]
		r := &catalog.NoteWording{Note: n.ID, Wording: w.Name, After: w.After, On: w.On, Of: w.Of, Kind: w.Kind, Part: w.Part, Family: w.Family, Variant: w.Variant,
			Text: w.Text, Author: w.Author, Evidence: w.Evidence, Card: w.Card, By: w.By}
		r.Dated, _ = catalog.ParseDate(w.Dated) // both were checked when they were written
		r.Edited, _ = catalog.ParseDate(w.Edited)
		if c := w.Correction; c != nil {
			r.Table, r.Row, r.Column, r.Before, r.Value = c.Table, strings.Join(c.Row, " | "), c.Column, c.Before, c.After
		}
		var lines []string
		for _, m := range w.Measured {
			lines = append(lines, m.Name+"="+m.Value)
		}
		r.Measured = strings.Join(lines, "\n")
		lines = nil
		for _, p := range w.Photos {
			lines = append(lines, p.SHA256+" "+p.Path)
		}
		r.Photos = strings.Join(lines, "\n")
		if w.Name == n.Head {
			r.State = n.State
			lines = nil
			for _, c := range n.Confirmed {
				lines = append(lines, c.On+" "+c.Who)
			}
			r.Confirmed = strings.Join(lines, "\n")
		}
		wordings = append(wordings, r)
	}
	for i, e := range history {
		h := &catalog.NoteHappening{Note: n.ID, Place: i + 1, At: e.At.UTC().Format(time.RFC3339), Who: e.Who, What: string(e.Kind)}
		h.Wording, h.Because = e.about()
		happenings = append(happenings, h)
	}
	return wordings, happenings
}

// about gives the wording that an event concerns, and why it was done.
func (e Event) about() (wording, because string) {
	switch e.Kind {
	case NoteAdded, NoteEdited, NoteSettled:
		if b, err := bodyOf[WordingBody](e); err == nil {
			return b.Wording.Name, ""
		}
	case NoteConfirmed:
		if b, err := bodyOf[ConfirmedBody](e); err == nil {
			return b.Wording, ""
		}
	case NoteWithdrawn, CardClosed, CardReopened:
		if b, err := bodyOf[BecauseBody](e); err == nil {
			return "", b.Because
		}
	case NoteImported:
		if b, err := bodyOf[ImportedBody](e); err == nil {
			return b.Head, "from " + b.Source
		}
	}
	return "", ""
}

// Arrivals collects the rows of a package from another shop into notes.
type Arrivals struct {
	notes   map[string]*Incoming
	order   []string
	at      map[string]catalog.Place
	today   string
	who     string
	heads   map[string]int
	history map[string][]Happening
}

// NewArrivals begins to collect; notes that were typed into the package by hand
// are given to who.
func NewArrivals(who string, at time.Time) *Arrivals {
	return &Arrivals{notes: map[string]*Incoming{}, at: map[string]catalog.Place{}, today: day(at), who: who, heads: map[string]int{}, history: map[string][]Happening{}}
}

// Wording adds a row of the table of notes.
func (a *Arrivals) Wording(r *catalog.NoteWording, at catalog.Place, fs *catalog.Findings) {
	put := func(column, value, what, mend string) {
		at := at
		at.Column = column
		fs.Add(catalog.Finding{Code: catalog.BadCombination, Place: at, Value: value, What: what, Mend: mend})
	}
	w := Wording{Name: r.Wording, After: slices.Clone(r.After), By: r.By, Edited: r.Edited.String(), Content: Content{On: r.On, Of: r.Of, Kind: r.Kind, Part: r.Part, Family: r.Family, Variant: r.Variant,
		Text: r.Text, Author: r.Author, Dated: r.Dated.String(), Evidence: r.Evidence, Card: r.Card}}
	if w.After == nil {
		w.After = []string{}
	}
	if r.Table != "" || r.Kind == catalog.NoteCorrection {
		w.Correction = &catalog.Correction{Table: r.Table, Row: strings.Split(r.Row, " | "), Column: r.Column, Before: r.Before, After: r.Value}
		if _, ok := w.Correction.Key(); !ok {
			put("row", r.Row, "it is no key of a row of the table "+r.Table, "write the cells of the key columns with a bar between, one of each")
			return
		}
		if w.Of == "" || r.Note == "" {
			w.Of = CorrectionName(w.Correction)
		}
	}
	for line := range strings.SplitSeq(r.Measured, "\n") {
		if line == "" {
			continue
		}
		name, value, ok := strings.Cut(line, "=")
		if !ok {
			put("measured", line, "it is not NAME=VALUE", "write one value a line")
			return
		}
		w.Measured = append(w.Measured, Measured{name, value})
	}
	for line := range strings.SplitSeq(r.Photos, "\n") {
		if line == "" {
			continue
		}
		sum, path, ok := strings.Cut(line, " ")
		if !ok {
			put("photos", line, "it is not a digest and a path", "write the SHA-256 of the file, a space, its path")
			return
		}
		w.Photos = append(w.Photos, Photo{path, sum})
	}
	id := r.Note
	if (id == "") != (r.Wording == "") {
		put("wording", r.Wording, "a note has a name or its wording has, but not both", "leave both as they were written, or both empty for a new note")
		return
	}
	typed := id == ""
	if typed {
		if len(w.After) > 0 {
			put("after", r.After.String(), "a new note was made from no other", "leave the cell empty")
			return
		}
		if w.By == "" {
			w.By = w.Author
		}
		if r.Edited == 0 {
			w.Edited = w.Dated
		}
		w = named(w)
		id = idOf(w)
	}
	id = strings.ToLower(id)
	in := a.notes[id]
	if in == nil {
		in = &Incoming{ID: id, Confirmed: []Confirmation{}, History: []Happening{}}
		a.notes[id] = in
		a.order = append(a.order, id)
		a.at[id] = at
	}
	in.Wordings = append(in.Wordings, w)
	if r.State == "" && !typed {
		return
	}
	if a.heads[id]++; a.heads[id] > 1 {
		put("state", string(r.State), "two wordings of the note are in force", "leave the state of one wording of each note filled in")
		return
	}
	in.Head, in.State = w.Name, r.State
	if typed {
		in.State = catalog.NoteOpen // who types a note into a sheet cannot confirm it there
		return
	}
	for line := range strings.SplitSeq(r.Confirmed, "\n") {
		if on, who, ok := strings.Cut(line, " "); ok {
			in.Confirmed = append(in.Confirmed, Confirmation{Who: who, On: on, Wording: w.Name})
		}
	}
	if in.State == catalog.NoteConfirmed && !slices.ContainsFunc(in.Confirmed, func(c Confirmation) bool { return checkName("name", c.Who) == nil }) {
		put("confirmed", r.Confirmed, "a confirmed note names who confirmed it", "write the day, a space, the name")
	}
}

// Happening adds a row of the table of histories.
func (a *Arrivals) Happening(r *catalog.NoteHappening) {
	id := strings.ToLower(r.Note)
	a.history[id] = append(a.history[id], Happening{At: r.At, Who: r.Who, What: r.What, Wording: r.Wording, Because: r.Because})
}

// Each gives the notes in the order in which they came, with the place of the
// first row of each.
func (a *Arrivals) Each(each func(in Incoming, at catalog.Place) error) error {
	for _, id := range a.order {
		in := *a.notes[id]
		if h := a.history[id]; h != nil {
			in.History = h
		}
		if err := each(in, a.at[id]); err != nil {
			return fmt.Errorf("the note %s: %w", id, err)
		}
	}
	return nil
}
