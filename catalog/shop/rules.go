package shop

import (
	"slices"
	"strings"
	"time"

	"platewright/catalog"
)

// Catalogue is what the rules read of a catalogue: the rows they need and never
// the whole. An edition in the store and a catalogue in memory both are one.
type Catalogue interface {
	// Group gives the rows of t that share the group key, nil for none. The
	// rows must not be changed.
	Group(t *catalog.Table, key string) ([]catalog.Row, error)
	// Seek gives the first group key of t that is not below from.
	Seek(t *catalog.Table, from string) (key string, ok bool, err error)
	// Referring gives, in order, the keys of the groups of t with a row whose
	// cell in the reverse column has the folded text key, until each returns
	// false.
	Referring(t *catalog.Table, column, key string, each func(group string) bool) error
}

// Notes is what the rules look up among the notes of the shop. Notes that are
// withdrawn are filed under no key. What it gives must not be changed.
type Notes interface {
	// Filed gives the notes that are filed under the key, in the order of their
	// names.
	Filed(key string) ([]*Note, error)
	// SeekFiled gives the first key that is not below from.
	SeekFiled(from string) (key string, ok bool)
}

// The keys under which a note is filed begin with one of these letters.
const (
	fileAlias      = "a" // then the number: aliases
	filePart       = "b" // then the part and the number: confirmed aliases
	fileCorrection = "c" // then the table, a separator, and the key of the row: corrections
	fileNumber     = "d" // then the part: notes on its numbers that are no aliases
	filePlace      = "p" // then the key of the group in the catalogue's table of notes: all
)

// Keys gives the keys under which the note is filed.
func (n *Note) Keys() []string {
	if n.State == catalog.NoteWithdrawn {
		return nil
	}
	w := n.Current()
	keys := []string{filePlace + placeKey(w.On, w.Of)}
	switch {
	case w.Kind == catalog.NoteAlias:
		keys = append(keys, fileAlias+catalog.MakeKey(catalog.Fold(w.Of)))
		if n.State == catalog.NoteConfirmed {
			keys = append(keys, filePart+catalog.MakeKey(w.Part.Key(), catalog.Fold(w.Of)))
		}
	case w.Kind == catalog.NoteCorrection:
		if key, ok := w.Correction.Key(); ok {
			keys = append(keys, fileCorrection+w.Correction.Table+string(catalog.KeySep)+key)
		}
	case w.On == catalog.NoteOnNumber && w.Part != "":
		keys = append(keys, fileNumber+catalog.MakeKey(w.Part.Key()))
	}
	return keys
}

// placeKey is the key of the group of notes on something in the catalogue's
// table of notes.
func placeKey(on catalog.NoteOn, of string) string {
	return catalog.MakeKey(catalog.Fold(string(on)), catalog.KeyPart(catalog.KindTarget, of))
}

// Limits of a note.
const (
	MaxMeasured = 50 // values measured
	MaxPhotos   = 20
	MaxLine     = 400 // bytes of a path, of the name or the value of something measured
)

// check refuses what cannot be said in a note, whatever the catalogue holds.
// today is the day on which it is said.
func (c *Content) check(today string) error {
	for what, s := range map[string]string{"text": c.Text, "evidence": c.Evidence} {
		if err := catalog.CheckText(s); err != nil {
			return refuse("the "+what+" of the note cannot be kept: "+err.Error(), "a note is plain text")
		}
	}
	if strings.TrimSpace(c.Text) == "" && c.Kind != catalog.NoteAlias && c.Kind != catalog.NoteCorrection {
		return refuse("the note says nothing", "write what was found")
	}
	if err := checkName("author", c.Author); err != nil {
		return err
	}
	d, err := catalog.ParseDate(c.Dated)
	switch {
	case err != nil:
		return refuse("the date of the note cannot be read: "+err.Error(), "write it like "+today)
	case d.String() > today: // a date known to the month or year only comes before its days
		return refuse("the note is dated "+c.Dated+", and today is "+today, "correct the date, or the clock of this computer")
	}
	if len(c.Photos) > MaxPhotos {
		return refuse("the note rests on more than 20 photos", "put the rest into a second note")
	}
	if err := checkMeasured(c.Measured); err != nil {
		return err
	}
	for _, p := range c.Photos {
		if err := checkLine("the path of a photo", p.Path); err != nil {
			return err
		}
		if len(p.SHA256) != 64 || strings.Trim(p.SHA256, "0123456789abcdef") != "" {
			return refuse("the digest of the photo "+p.Path+" is no SHA-256", "add the photo again")
		}
	}
	if c.Card < 0 || c.Card > 99_999_999 {
		return refuse("the job card has no such number", "name the card by its number")
	}
	return c.checkPlace()
}

func checkLine(what, s string) error {
	if err := catalog.CheckText(s); err != nil {
		return refuse(what+" cannot be kept: "+err.Error(), "write it in one plain line")
	}
	if s == "" || len(s) > MaxLine || hasLines(s) {
		return refuse(what+" is empty, longer than 400 bytes, or holds a new line or a tab", "write it in one plain line")
	}
	return nil
}

func checkMeasured(ms []Measured) error {
	if len(ms) > MaxMeasured {
		return refuse("there are more than 50 measured values", "put the rest into a second note")
	}
	for _, m := range ms {
		if err := checkLine("the name of a measured value", m.Name); err != nil {
			return err
		}
		if strings.Contains(m.Name, "=") {
			return refuse("the name of a measured value holds =", "write NAME=VALUE")
		}
		if err := checkLine("the value of "+m.Name, m.Value); err != nil {
			return err
		}
	}
	return nil
}

// checkPlace refuses combinations of kind and place that mean nothing.
func (c *Content) checkPlace() error {
	if c.Family != "" && c.Variant != "" {
		return refuse("the note is limited to a family and to a variant", "name one of them")
	}
	switch c.Kind {
	case catalog.NoteAlias, catalog.NoteCaution, catalog.NoteFitted, catalog.NoteDidNotFit, catalog.NoteCorrection, catalog.NoteRemarkKind:
	default:
		return refuse("a note of the kind "+string(c.Kind)+" is not known", "use alias, caution, fitted-well, did-not-fit, correction or remark")
	}
	if c.Kind == catalog.NoteAlias && c.Part == "" || c.On != catalog.NoteOnNumber && c.Part != "" {
		return refuse("an alias names the part that its number stands for; notes on other things than numbers name none", "name the part with an alias")
	}
	if c.Kind == catalog.NoteAlias && c.On != catalog.NoteOnNumber {
		return refuse("an alias is a note on a number", "say which number it is")
	}
	if (c.Kind == catalog.NoteCorrection) != (c.Correction != nil) || (c.Correction != nil) != (c.On == catalog.NoteOnRow) {
		return refuse("a correction speaks of a row of the catalogue, and no other note does", "name the table, the row and the column with a correction, and only there")
	}
	switch c.On {
	case catalog.NoteOnPart, catalog.NoteOnNumber, catalog.NoteOnVariant, catalog.NoteOnFamily, catalog.NoteOnMark, catalog.NoteOnWork:
		if err := catalog.CheckCode(c.Of); err != nil {
			return refuse("what the note is about cannot be read: "+err.Error(), "name it as it stands in the catalogue or on the box")
		}
	case catalog.NoteOnPlate:
		return checkPattern(c.Of)
	case catalog.NoteOnRow:
		if t := c.Correction.TableOf(); t == nil || c.Of != CorrectionName(c.Correction) {
			return refuse("the note names another row than its correction", "leave the naming to the program")
		}
	default:
		return refuse("a note cannot be on "+string(c.On), "use part, number, variant, family, mark, work or plate")
	}
	if part := string(c.Part); part != "" {
		if err := catalog.CheckCode(part); err != nil {
			return refuse("the part of the alias cannot be read: "+err.Error(), "name a part of the catalogue")
		}
	}
	return nil
}

// checkPattern refuses patterns of plates that nearly every plate would fit.
func checkPattern(pattern string) error {
	if err := catalog.CheckCode(pattern); err != nil {
		return refuse("the pattern of plates cannot be read: "+err.Error(), "write a plate with ? for any character and * for any number of them")
	}
	sure := 0
	for _, r := range catalog.Fold(pattern) {
		if r != '?' && r != '*' {
			sure++
		}
	}
	if sure < 2 {
		return refuse("the pattern "+pattern+" fits nearly every plate", "give two characters at least that must stand there")
	}
	return nil
}

// Add writes a new note. Author and date are taken from who and at where they
// are empty. The event is meaningless where the shop has a note of that name
// already: the same was said before.
func Add(c Content, who string, at time.Time) (id string, _ Event, _ error) {
	if err := checkName("name of who writes", who); err != nil {
		return "", Event{}, err
	}
	if c.Author == "" {
		c.Author = who
	}
	if c.Dated == "" {
		c.Dated = day(at)
	}
	if err := c.check(day(at)); err != nil {
		return "", Event{}, err
	}
	w := named(Wording{Content: c, By: who, Edited: day(at)})
	e := event(NoteAdded, who, WordingBody{w})
	e.Note = idOf(w)
	return e.Note, e, nil
}

// Edit words a note anew. What the note is about and of which kind stays. A
// confirmed or withdrawn note is open again afterwards.
func (n *Note) Edit(c Content, who string, at time.Time) (Event, error) {
	if err := checkName("name of who edits", who); err != nil {
		return Event{}, err
	}
	was := n.Current()
	if err := n.unsettled(); err != nil {
		return Event{}, err
	}
	if c.On != was.On || catalog.Fold(c.Of) != catalog.Fold(was.Of) || c.Kind != was.Kind {
		return Event{}, refuse("an edit cannot make a note speak of something else", "withdraw it, and add a new one")
	}
	c.Author, c.Dated = was.Author, was.Dated
	if err := c.check(day(at)); err != nil {
		return Event{}, err
	}
	w := named(Wording{After: []string{n.Head}, Content: c, By: who, Edited: day(at)})
	if sameContent(&w.Content, &was.Content) && n.State != catalog.NoteWithdrawn {
		return Event{}, refuse("the edit changes nothing", "say what should read otherwise")
	}
	if n.Wording(w.Name) != nil {
		return Event{}, refuse("the note has read so before", "say what should read otherwise")
	}
	e := event(NoteEdited, who, WordingBody{w})
	e.Note = n.ID
	return e, nil
}

func (n *Note) unsettled() error {
	if len(n.Rivals) == 0 {
		return nil
	}
	return refuse("the note "+n.ID+" was edited in two ways", "settle first which one holds: platewright note settle "+n.ID)
}

// Confirm says that the wording in force is right. Only another person than
// those who wrote it may, unless one person alone works in the shop. Who
// confirms a note once more says that it was met again.
func (n *Note) Confirm(who string, rules *Rules, notes Notes) (Event, error) {
	if err := checkName("name of who confirms", who); err != nil {
		return Event{}, err
	}
	w := n.Current()
	if n.State == catalog.NoteWithdrawn {
		return Event{}, refuse("the note "+n.ID+" was withdrawn", "edit it first if it holds after all")
	}
	if err := n.unsettled(); err != nil {
		return Event{}, err
	}
	own := samePerson(who, w.Author) || samePerson(who, w.By)
	if own && !rules.OneMan {
		return Event{}, refuse(who+" wrote the note "+n.ID+" and cannot confirm it", "let another person look at it; a shop of one says so with: platewright note rules --one-man")
	}
	other, err := n.contradicts(notes)
	if err != nil {
		return Event{}, err
	}
	if other != "" {
		return Event{}, refuse("the confirmed note "+other+" says otherwise of the same thing", "withdraw one of the two: platewright note withdraw "+other)
	}
	e := event(NoteConfirmed, who, ConfirmedBody{Wording: n.Head, OneMan: own})
	e.Note = n.ID
	return e, nil
}

// contradicts gives the name of a confirmed note with which this one cannot
// hold: another part for the same number, another text for the same cell.
func (n *Note) contradicts(notes Notes) (string, error) {
	w := n.Current()
	key := ""
	switch w.Kind {
	case catalog.NoteAlias:
		key = fileAlias + catalog.MakeKey(catalog.Fold(w.Of))
	case catalog.NoteCorrection:
		row, ok := w.Correction.Key()
		if !ok {
			return "", nil
		}
		key = fileCorrection + w.Correction.Table + string(catalog.KeySep) + row
	default:
		return "", nil
	}
	list, err := notes.Filed(key)
	if err != nil {
		return "", err
	}
	for _, o := range list {
		ow := o.Current()
		if o.ID == n.ID || o.State != catalog.NoteConfirmed {
			continue
		}
		if w.Kind == catalog.NoteAlias && ow.Part.Key() != w.Part.Key() {
			return o.ID, nil
		}
		if w.Kind == catalog.NoteCorrection && ow.Correction.Column == w.Correction.Column && ow.Correction.After != w.Correction.After {
			return o.ID, nil
		}
	}
	return "", nil
}

// Withdraw takes a note back. It stays in the history.
func (n *Note) Withdraw(who, because string) (Event, error) {
	if err := checkName("name of who withdraws", who); err != nil {
		return Event{}, err
	}
	if n.State == catalog.NoteWithdrawn {
		return Event{}, refuse("the note "+n.ID+" was withdrawn before", "nothing needs to be done")
	}
	if err := catalog.CheckText(because); err != nil {
		return Event{}, refuse("the reason cannot be kept: "+err.Error(), "write plain text")
	}
	e := event(NoteWithdrawn, who, BecauseBody{because})
	e.Note = n.ID
	return e, nil
}

// Settle says which of several wordings holds, by its name or the beginning of
// it. All of them stay in the history.
func (n *Note) Settle(take, who string, at time.Time) (Event, error) {
	if err := checkName("name of who settles", who); err != nil {
		return Event{}, err
	}
	if len(n.Rivals) == 0 {
		return Event{}, refuse("the note "+n.ID+" was not edited in two ways", "nothing needs to be settled")
	}
	var found []*Wording
	for _, name := range append([]string{n.Head}, n.Rivals...) {
		if take != "" && strings.HasPrefix(name, strings.ToLower(take)) {
			found = append(found, n.Wording(name))
		}
	}
	if len(found) != 1 {
		return Event{}, refuse("the wording to take is not clear", "name one of: "+strings.Join(append([]string{n.Head}, n.Rivals...), ", "))
	}
	w := named(Wording{After: append([]string{n.Head}, n.Rivals...), Content: found[0].Content, By: found[0].By, Edited: day(at)})
	e := event(NoteSettled, who, WordingBody{w})
	e.Note = n.ID
	return e, nil
}

// Change changes the rules of the shop.
func (r Rules) Change(who string, to Rules) (Event, error) {
	if err := checkName("name of who changes the rules", who); err != nil {
		return Event{}, err
	}
	if to.Name != "" {
		if err := checkName("name of the shop", to.Name); err != nil {
			return Event{}, err
		}
	}
	for _, t := range to.Trusted {
		if err := checkName("name of a source", t); err != nil {
			return Event{}, err
		}
	}
	if to.Trusted == nil {
		to.Trusted = []string{}
	}
	slices.Sort(to.Trusted)
	to.Trusted = slices.Compact(to.Trusted)
	if to.Name == r.Name && to.OneMan == r.OneMan && slices.Equal(to.Trusted, r.Trusted) {
		return Event{}, refuse("the rules are so already", "nothing needs to be done")
	}
	return event(RulesChanged, who, to), nil
}
