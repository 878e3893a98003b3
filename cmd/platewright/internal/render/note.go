package render

import (
	"io"
	"strconv"
	"strings"

	"platewright/catalog"
	"platewright/catalog/shop"
	"platewright/resolve"
)

// Names of the forms of the answers about notes as JSON.
const (
	NoteSchema         = "platewright/note/1"
	NotesSchema        = "platewright/notes/1"
	NoteHistorySchema  = "platewright/note-history/1"
	NoteExchangeSchema = "platewright/note-exchange/1"
	NoteReviewSchema   = "platewright/note-review/1"
	NoteRulesSchema    = "platewright/note-rules/1"
	ShopSchema         = "platewright/shop/1"
)

// Noted is a note with what was done to it.
type Noted struct {
	Schema string       `json:"schema"`
	Did    string       `json:"did"` // added, there-already, confirmed, withdrawn, edited, settled, shown
	Note   *shop.Note   `json:"note"`
	Photos []PhotoState `json:"photos,omitempty"` // when it is shown
}

// PhotoState tells whether a photo is still the one that a note rests on.
type PhotoState struct {
	Path  string `json:"path"`
	State string `json:"state"`
}

// Notes lists notes of the shop.
type Notes struct {
	Schema string       `json:"schema"`
	Shop   string       `json:"shop"`   // the shop's name, if it has given itself one
	Change int          `json:"change"` // number of the last change, 0 for none
	Notes  []*shop.Note `json:"notes"`
	Total  int          `json:"total"` // how many there are, listed or not
}

// NoteHistory is everything that happened to a note.
type NoteHistory struct {
	Schema string      `json:"schema"`
	Note   *shop.Note  `json:"note"`
	Lines  []shop.Told `json:"lines"`
}

// NoteExchange is what an export or import of notes did.
type NoteExchange struct {
	Schema   string            `json:"schema"`
	Did      string            `json:"did"` // exported, imported
	Path     string            `json:"path"`
	Source   string            `json:"source"` // the shop from which the notes come
	DryRun   bool              `json:"dryRun"`
	Total    int               `json:"total"`
	Notes    []NoteArrived     `json:"notes"` // of an import: each note of the package
	Findings []catalog.Finding `json:"findings"`
	Dropped  int               `json:"dropped"` // findings that are only counted
}

// NoteArrived is what became of a note of a package.
type NoteArrived struct {
	Note  string            `json:"note"`
	How   string            `json:"how"` // new, updated, conflict, state-elsewhere, same
	State catalog.NoteState `json:"state,omitempty"`
	On    catalog.NoteOn    `json:"on,omitempty"`
	Of    string            `json:"of,omitempty"`
	Kind  catalog.NoteKind  `json:"kind,omitempty"`
}

// NoteReview lists the notes that want looking at again.
type NoteReview struct {
	Schema  string          `json:"schema"`
	Edition resolve.Edition `json:"edition"`
	Notes   []shop.Reviewed `json:"notes"`
}

// NoteRules is what the shop has settled for its notes.
type NoteRules struct {
	Schema string     `json:"schema"`
	Rules  shop.Rules `json:"rules"`
}

func stateStyle(s catalog.NoteState) style {
	switch s {
	case catalog.NoteConfirmed:
		return good
	case catalog.NoteWithdrawn:
		return muted
	}
	return warn
}

// about says what a note is about and of which kind, in a few words.
func about(w *shop.Wording) string {
	s := plainCode(string(w.Kind)) + " on " + string(w.On) + " " + glued(w.Of)
	switch {
	case w.Kind == catalog.NoteAlias:
		s = "alias: " + glued(w.Of) + " stands for " + glued(string(w.Part))
	case w.Correction != nil:
		c := w.Correction
		s = "correction: " + c.Column + " of " + c.Table + " " + c.Name() + " should read " + quoted(c.After) + ", not " + quoted(c.Before)
	case w.On == catalog.NoteOnNumber && w.Part != "":
		s += " (" + glued(string(w.Part)) + ")"
	}
	switch {
	case w.Family != "":
		s += ", in family " + glued(w.Family)
	case w.Variant != "":
		s += ", in " + glued(string(w.Variant))
	}
	return s
}

// noteLine writes a note in two or three lines.
func (p *page) noteLine(n *shop.Note) {
	w := n.Current()
	p.put(0, 4, say(n.ID).in(strong), say(" "), say(string(n.State)).in(stateStyle(n.State)), say(" "+about(w)))
	if w.Text != "" {
		p.put(4, 2, say(w.Text))
	}
	if len(n.Rivals) > 0 {
		p.put(4, 2, sayf("CONFLICT: edited in %d ways; settle it: platewright note settle %s", 1+len(n.Rivals), n.ID).in(alert))
	}
	p.put(4, 2, say(noteBy(n)).in(muted))
}

func noteBy(n *shop.Note) string {
	w := n.Current()
	s := w.Author + ", " + w.Dated
	if w.By != w.Author || w.Edited != w.Dated {
		s += "; worded by " + w.By + ", " + w.Edited
	}
	if n.From != "" {
		s += "; from " + n.From
	}
	for _, c := range n.Confirmed {
		s += "; confirmed by " + c.Who + ", " + c.On
		if c.OneMan {
			s += " (the author, in a shop of one)"
		}
	}
	return s
}

// NotedText writes what was done to a note, and the note.
func NotedText(w io.Writer, n Noted, s Screen) error {
	p := newPage(s)
	words := map[string]string{"added": "Noted", "there-already": "Noted before; nothing was added", "confirmed": "Confirmed", "withdrawn": "Withdrawn", "edited": "Worded anew", "settled": "Settled"}
	if head := words[n.Did]; head != "" {
		p.put(0, 2, say(head+".").in(good))
	}
	p.noteLine(n.Note)
	cur := n.Note.Current()
	if n.Did == "added" || n.Did == "edited" {
		p.put(4, 2, sayf("Open until another person confirms it: platewright note confirm %s", n.Note.ID))
	}
	if n.Note.Because != "" {
		p.put(4, 2, say("withdrawn because: "+n.Note.Because))
	}
	for _, m := range cur.Measured {
		p.put(4, 2, sayf("measured: %s %s", m.Name, m.Value))
	}
	for i, x := range cur.Photos {
		line := "photo: " + x.Path
		if i < len(n.Photos) {
			line += " (" + n.Photos[i].State + ")"
		}
		p.put(4, 2, say(line))
	}
	if cur.Evidence != "" {
		p.put(4, 2, say("evidence: "+cur.Evidence))
	}
	if cur.Card != 0 {
		p.put(4, 2, sayf("from card %d", cur.Card))
	}
	for _, e := range n.Note.Elsewhere {
		p.put(4, 2, sayf("at %s it is %s (learned %s)", e.Source, e.State, e.On))
	}
	if len(n.Note.Rivals) > 0 {
		p.head(alert, "WORDINGS TO SETTLE")
		for _, name := range append([]string{n.Note.Head}, n.Note.Rivals...) {
			x := n.Note.Wording(name)
			p.put(2, 4, say(name).in(strong), say(" "+about(x)))
			if x.Text != "" {
				p.put(6, 2, say(x.Text))
			}
			p.put(6, 2, say(x.By+", "+x.Edited+tail("; from ", x.From)).in(muted))
		}
		p.put(2, 2, sayf("Take one: platewright note settle %s --take WORDING", n.Note.ID))
	}
	if n.Did == "shown" {
		p.put(4, 2, sayf("revision %d", n.Note.Revision).in(muted))
	}
	_, err := w.Write(p.buf.Bytes())
	return err
}

// NotesText lists notes.
func NotesText(w io.Writer, ns Notes, s Screen) error {
	p := newPage(s)
	for _, n := range ns.Notes {
		p.noteLine(n)
	}
	switch {
	case ns.Total == 0:
		p.put(0, 2, say("Nothing has been noted yet. Begin with: platewright note add"))
	case len(ns.Notes) < ns.Total:
		p.put(0, 2, sayf("%d of %d notes are listed.", len(ns.Notes), ns.Total).in(muted))
	}
	_, err := w.Write(p.buf.Bytes())
	return err
}

// NoteHistoryText tells everything that happened to a note, the first first.
func NoteHistoryText(w io.Writer, h NoteHistory, s Screen) error {
	p := newPage(s)
	p.put(0, 4, say(h.Note.ID).in(strong), say(" "+about(h.Note.Current())))
	for _, l := range h.Lines {
		p.put(2, 4, sayf("%d. ", l.Revision).in(strong), say(minute(l.At)+" "+l.Who+": "+plainCode(strings.TrimPrefix(string(l.Kind), "note-"))+tail(" ", l.Wording)))
		if l.Because != "" {
			p.put(6, 2, say(l.Because))
		}
		if l.Text != "" {
			p.put(6, 2, say("“"+l.Text+"”"))
		}
		for _, x := range l.Elsewhere {
			p.put(6, 2, say("there: "+x.At+" "+x.Who+": "+plainCode(strings.TrimPrefix(x.What, "note-"))+tail(" ", x.Wording)+tail(": ", x.Because)).in(muted))
		}
	}
	_, err := w.Write(p.buf.Bytes())
	return err
}

// NoteExchangeText writes what an export or import of notes did.
func NoteExchangeText(w io.Writer, x NoteExchange, s Screen) error {
	p := newPage(s)
	if x.Did == "exported" {
		p.put(0, 2, sayf("%s written to %s, as notes of %s.", counted(x.Total, "note", "notes"), x.Path, x.Source).in(good))
		_, err := w.Write(p.buf.Bytes())
		return err
	}
	count := map[string]int{}
	for _, n := range x.Notes {
		count[n.How]++
	}
	var parts []string
	for _, k := range []struct{ how, words string }{{"new", "new"}, {"updated", "worded anew there"}, {"conflict", "edited here and there, to be settled"}, {"state-elsewhere", "with another state there"}, {"same", "the same"}} {
		if n := count[k.how]; n > 0 {
			parts = append(parts, strconv.Itoa(n)+" "+k.words)
		}
	}
	head, st := "Imported from ", good
	if x.DryRun {
		head, st = "Dry run, nothing was changed. From ", strong
	}
	p.put(0, 2, sayf("%s%s: %s: %s.", head, x.Source, counted(x.Total, "note", "notes"), orWord(strings.Join(parts, ", "), "nothing")).in(st))
	for _, n := range x.Notes {
		if n.How == "same" {
			continue
		}
		p.put(2, 4, say(n.Note).in(strong), sayf(" %s, ", plainCode(n.How)), say(string(n.State)).in(stateStyle(n.State)), sayf(" %s on %s %s", plainCode(string(n.Kind)), n.On, glued(n.Of)))
		if n.How == "conflict" {
			p.put(6, 2, sayf("settle it: platewright note settle %s", n.Note))
		}
	}
	_, err := w.Write(p.buf.Bytes())
	return err
}

// NoteReviewText lists what to look at again.
func NoteReviewText(w io.Writer, r NoteReview, s Screen) error {
	p := newPage(s)
	last := shop.Concern("")
	for _, x := range r.Notes {
		if x.Concern != last {
			last = x.Concern
			p.head(strong, "%s", concernWords(last))
		}
		p.put(2, 4, say(x.Note.ID).in(strong), say(" "), say(string(x.Note.State)).in(stateStyle(x.Note.State)), say(" "+about(x.Note.Current())))
		if more := concernDetail(x); more != "" {
			p.put(6, 2, say(more))
		}
		p.put(6, 2, say(x.Settle).in(muted))
	}
	if len(r.Notes) == 0 {
		p.put(0, 2, say("No note wants looking at again.").in(good))
	}
	p.editionFoot(r.Edition)
	_, err := w.Write(p.buf.Bytes())
	return err
}

func concernWords(c shop.Concern) string {
	switch c {
	case shop.ConcernConflict:
		return "EDITED IN TWO WAYS"
	case shop.ConcernContradicts:
		return "CONTRADICT EACH OTHER"
	case shop.ConcernCatalogue:
		return "THE CATALOGUE SAYS OTHERWISE"
	case shop.ConcernGone:
		return "NOT IN THE CATALOGUE ANY MORE"
	case shop.ConcernNow:
		return "NOW IN THE CATALOGUE"
	case shop.ConcernPassed:
		return "NO LONGER APPLIES"
	case shop.ConcernSuperseded:
		return "STANDS FOR A NUMBER THAT WAS REPLACED"
	case shop.ConcernElsewhere:
		return "WITHDRAWN BY ANOTHER SHOP"
	case shop.ConcernOpen:
		return "OPEN FOR LONG"
	case shop.ConcernNotMet:
		return "CAUTIONS NOT MET AGAIN"
	}
	return strings.ToUpper(plainCode(string(c)))
}

func concernDetail(x shop.Reviewed) string {
	switch x.Concern {
	case shop.ConcernContradicts:
		return "against " + x.Other
	case shop.ConcernCatalogue:
		return "there it is " + glued(string(x.Part))
	case shop.ConcernPassed:
		if x.Now == "" {
			return "the row is gone, or its cell is empty"
		}
		return "the catalogue says " + quoted(x.Now)
	case shop.ConcernSuperseded:
		return "replaced by " + glued(string(x.Part))
	case shop.ConcernElsewhere:
		return "at " + x.Source
	case shop.ConcernOpen, shop.ConcernNotMet:
		return "since " + x.Since
	}
	return ""
}

// NoteRulesText writes what the shop has settled.
func NoteRulesText(w io.Writer, r NoteRules, s Screen) error {
	p := newPage(s)
	p.put(0, 2, say("Shop: ").in(strong), say(orWord(r.Rules.Name, "no name yet (--name NAME)")))
	one := "another person than the author confirms a note"
	if r.Rules.OneMan {
		one = "one person works here, so an author may confirm"
	}
	p.put(0, 2, say("Confirming: ").in(strong), say(one))
	p.put(0, 2, say("Trusted sources: ").in(strong), say(orWord(strings.Join(r.Rules.Trusted, ", "), "none")))
	_, err := w.Write(p.buf.Bytes())
	return err
}

// ShopState tells what the shop's own records hold, after every byte was read.
type ShopState struct {
	Schema  string `json:"schema"`
	Did     string `json:"did"` // checked, backed-up
	Path    string `json:"path"`
	Size    int64  `json:"size"`    // of the file in bytes
	Changes int    `json:"changes"` // everything that ever happened
	Notes   int    `json:"notes"`
	Cards   int    `json:"cards"`
}

// ShopStateText writes what the shop's own records hold.
func ShopStateText(w io.Writer, x ShopState, s Screen) error {
	p := newPage(s)
	head := x.Path + " is sound: "
	if x.Did == "backed-up" {
		head = "The records were copied to " + x.Path + ", and the copy is sound: "
	}
	p.put(0, 2, say(head+counted(x.Notes, "note", "notes")+", "+counted(x.Cards, "card", "cards")+", "+counted(x.Changes, "change", "changes")+".").in(good))
	_, err := w.Write(p.buf.Bytes())
	return err
}

// CorrectedText says, beside an answer that has no place for it, which
// corrections of the shop it rests on.
func CorrectedText(w io.Writer, used []*shop.Note, width int) error {
	p := newPage(Screen{Width: width})
	for _, n := range used {
		c := n.Current().Correction
		p.put(0, 2, sayf("Corrected by the shop (%s): %s of %s %s is taken as %s, not as %s of the catalogue%s", n.ID, c.Column, c.Table, c.Name(), quoted(c.After), quoted(c.Before), tail(": ", n.Current().Text)))
	}
	_, err := w.Write(p.buf.Bytes())
	return err
}
