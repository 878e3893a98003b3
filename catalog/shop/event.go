package shop

import (
	"encoding/json"
	"fmt"
	"strings"
	"time"

	"platewright/catalog"
)

// Kind is what happened.
type Kind string

// What can happen to notes, to the rules of the shop, and to cards.
const (
	NoteAdded     Kind = "note-added"     // a [WordingBody]
	NoteEdited    Kind = "note-edited"    // a [WordingBody]
	NoteConfirmed Kind = "note-confirmed" // a [ConfirmedBody]
	NoteWithdrawn Kind = "note-withdrawn" // a [BecauseBody]
	NoteSettled   Kind = "note-settled"   // a [WordingBody]
	NoteImported  Kind = "note-imported"  // an [ImportedBody]

	RulesChanged Kind = "rules-changed" // the new [Rules]

	CardOpened   Kind = "card-opened"   // a [DecidedBody]
	CardDecided  Kind = "card-decided"  // a [DecidedBody]: another reading, observation or edition
	CardNoted    Kind = "card-noted"    // a [TextBody]
	CardMeasured Kind = "card-measured" // a [MeasuredBody]
	CardPlanned  Kind = "card-planned"  // a [PlannedBody]
	CardOrdered  Kind = "card-ordered"  // an [OrderedBody]
	CardReceived Kind = "card-received" // a [ReceivedBody]
	CardClosed   Kind = "card-closed"   // a [BecauseBody]
	CardReopened Kind = "card-reopened" // a [BecauseBody]
)

// Event is one thing that happened. It never changes; what stands now is what
// all of them together have made.
type Event struct {
	Number   int             `json:"number"` // counted from 1 over everything that happened
	At       time.Time       `json:"at"`
	Who      string          `json:"who"`
	Op       string          `json:"op,omitempty"` // the operation that it was part of
	Kind     Kind            `json:"kind"`
	Note     string          `json:"note,omitempty"`
	Card     int             `json:"card,omitempty"`
	Revision int             `json:"revision,omitempty"` // of the note or card, which this made
	Body     json.RawMessage `json:"body,omitempty"`
}

// WordingBody is a wording that was written.
type WordingBody struct {
	Wording Wording `json:"wording"`
}

// ConfirmedBody says which wording was confirmed.
type ConfirmedBody struct {
	Wording string `json:"wording"`
	OneMan  bool   `json:"oneMan,omitempty"` // by its own author, in a shop of one
}

// BecauseBody says why.
type BecauseBody struct {
	Because string `json:"because,omitempty"`
}

// Rules are what the shop has settled for its notes.
type Rules struct {
	Name    string   `json:"name"`    // of the shop, under which its notes travel; empty until it is given
	OneMan  bool     `json:"oneMan"`  // one person works here, so an author may confirm
	Trusted []string `json:"trusted"` // sources whose notes keep their state when they are imported
}

// Trusts tells whether notes of the source keep their state.
func (r *Rules) Trusts(source string) bool {
	for _, t := range r.Trusted {
		if samePerson(t, source) {
			return true
		}
	}
	return false
}

func event(kind Kind, who string, body any) Event {
	e := Event{Kind: kind, Who: who}
	if body != nil {
		text, err := json.Marshal(body)
		if err != nil {
			panic("shop: an event cannot be written: " + err.Error()) // plain structures only: a slip in this package
		}
		e.Body = text
	}
	return e
}

func bodyOf[T any](e Event) (T, error) {
	var v T
	if err := json.Unmarshal(e.Body, &v); err != nil {
		return v, &BrokenError{Event: e.Number, What: fmt.Sprintf("its body cannot be read: %v", err)}
	}
	return v, nil
}

// BrokenError says that the events do not make sense one after the other. The
// records are damaged, or were written by a program with other rules.
type BrokenError struct {
	Event int
	What  string
}

func (e *BrokenError) Error() string { return fmt.Sprintf("change %d: %s", e.Event, e.What) }

// RefusedError says that something must not be done to the records.
type RefusedError struct {
	What string
	Mend string
}

func (e *RefusedError) Error() string { return e.What + "; " + e.Mend }

func refuse(what, mend string) error { return &RefusedError{what, mend} }

// UnknownError says that there is nothing of that name.
type UnknownError struct {
	What string // note, card, or a table of the catalogue
	Name string
	Mend string
}

func (e *UnknownError) Error() string {
	return fmt.Sprintf("there is no %s %q; %s", e.What, e.Name, e.Mend)
}

// done says in words what an event of the kind did.
func (k Kind) done() string {
	switch k {
	case RulesChanged:
		return "other rules set"
	case CardOpened:
		return "opened"
	case CardDecided:
		return "decided again"
	case CardNoted:
		return "something noted"
	case CardMeasured:
		return "something measured"
	case CardPlanned:
		return "a purchase planned"
	case CardOrdered:
		return "an order placed"
	case CardReceived:
		return "goods received"
	}
	_, what, _ := strings.Cut(string(k), "-")
	return what
}

// ChangedError says that somebody else was first: the note or card is not any
// more what whoever wants to change it has seen.
type ChangedError struct {
	What     string // note or card
	Name     string
	Seen     int     // the revision that was seen
	Revision int     // the one that stands
	Since    []Event // what happened between
}

func (e *ChangedError) Error() string {
	s := fmt.Sprintf("%s %s has been changed since revision %d: it is at revision %d", e.What, e.Name, e.Seen, e.Revision)
	// What one person did several times in a row is said once, with the last time.
	for i := 0; i < len(e.Since); i++ {
		x, n := e.Since[i], 1
		for ; i+1 < len(e.Since) && e.Since[i+1].Kind == x.Kind && e.Since[i+1].Who == x.Who; n++ {
			i++
			x = e.Since[i]
		}
		times := ""
		if n > 1 {
			times = fmt.Sprintf(" %d times, last", n)
		}
		s += fmt.Sprintf("; %s by %s%s on %s UTC", x.Kind.done(), x.Who, times, x.At.UTC().Format("2006-01-02 15:04"))
	}
	return s + "; look at it again, and repeat with --revision " + fmt.Sprint(e.Revision)
}

// checkName refuses what cannot be the name of a person or a shop.
func checkName(what, s string) error {
	const mend = "write a name in one line of at most 80 bytes"
	switch err := catalog.CheckText(s); {
	case s == "":
		return refuse("the "+what+" is empty", mend)
	case err != nil:
		return refuse("the "+what+" cannot be read: "+err.Error(), mend)
	case len(s) > 80:
		return refuse("the "+what+" is longer than 80 bytes", mend)
	case hasLines(s):
		return refuse("the "+what+" holds a new line or a tab", mend)
	case s[0] == ' ' || s[len(s)-1] == ' ':
		return refuse("the "+what+" begins or ends with a space", mend)
	}
	return nil
}

func hasLines(s string) bool {
	for i := 0; i < len(s); i++ {
		if s[i] == '\n' || s[i] == '\t' {
			return true
		}
	}
	return false
}
