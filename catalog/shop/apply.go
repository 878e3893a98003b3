package shop

import (
	"fmt"
	"reflect"
	"slices"

	"platewright/catalog"
)

// ApplyNote gives the note as the event leaves it; n is nil before the first
// event. The note given stays as it is. The error is a [*BrokenError].
func ApplyNote(n *Note, e Event) (*Note, error) {
	broken := func(format string, args ...any) (*Note, error) {
		return nil, &BrokenError{e.Number, fmt.Sprintf(format, args...)}
	}
	if (n == nil) != (e.Kind == NoteAdded || e.Kind == NoteImported && e.Revision == 1) {
		return broken("the note %s cannot have %s happen to it now", e.Note, e.Kind)
	}
	n = n.clone()
	if n == nil {
		n = &Note{ID: e.Note, Rivals: []string{}, Confirmed: []Confirmation{}, Elsewhere: []Elsewhere{}, State: catalog.NoteOpen}
	}
	if n.Revision+1 != e.Revision {
		return broken("the note %s is at revision %d and not at %d", e.Note, n.Revision, e.Revision-1)
	}
	today := day(e.At)
	switch e.Kind {
	case NoteAdded, NoteEdited, NoteSettled:
		b, err := bodyOf[WordingBody](e)
		if err != nil {
			return nil, err
		}
		w := b.Wording
		if named(w).Name != w.Name || e.Kind == NoteAdded && idOf(w) != n.ID {
			return broken("the wording %s of the note %s is not what its name says", w.Name, n.ID)
		}
		was := n.Current()
		n.Wordings = append(n.Wordings, w)
		n.Head, n.Rivals, n.Met = w.Name, []string{}, today
		if e.Kind == NoteSettled && was != nil && sameContent(&w.Content, &was.Content) {
			// What was in force and stays so keeps its state.
			for i := range n.Confirmed {
				n.Confirmed[i].Wording = w.Name
			}
			break
		}
		n.State, n.Confirmed, n.Because = catalog.NoteOpen, []Confirmation{}, ""
	case NoteConfirmed:
		b, err := bodyOf[ConfirmedBody](e)
		if err != nil {
			return nil, err
		}
		if b.Wording != n.Head || n.State == catalog.NoteWithdrawn {
			return broken("the wording %s of the note %s cannot be confirmed now", b.Wording, n.ID)
		}
		n.State, n.Met = catalog.NoteConfirmed, today
		n.Confirmed = append(n.Confirmed, Confirmation{Who: e.Who, On: today, Wording: b.Wording, OneMan: b.OneMan})
	case NoteWithdrawn:
		b, err := bodyOf[BecauseBody](e)
		if err != nil {
			return nil, err
		}
		n.State, n.Because = catalog.NoteWithdrawn, b.Because
	case NoteImported:
		b, err := bodyOf[ImportedBody](e)
		if err != nil {
			return nil, err
		}
		n.take(b, today)
	default:
		return broken("%s does not happen to notes", e.Kind)
	}
	n.Revision++
	n.Changes = append(n.Changes, e.Number)
	return n, nil
}

// ApplyRules gives the rules as the event leaves them.
func ApplyRules(e Event) (Rules, error) { return bodyOf[Rules](e) }

func sameContent(a, b *Content) bool {
	x, y := *a, *b
	x.Card, y.Card = 0, 0 // where it was learned says nothing of what it says
	return reflect.DeepEqual(normal(x), normal(y))
}

func normal(c Content) Content {
	if len(c.Measured) == 0 {
		c.Measured = nil
	}
	if len(c.Photos) == 0 {
		c.Photos = nil
	}
	return c
}

// set puts the note into a state that was brought from elsewhere.
func (n *Note) set(state catalog.NoteState, confirmed []Confirmation) {
	n.State = state
	n.Confirmed = []Confirmation{}
	if state == catalog.NoteConfirmed {
		n.Confirmed = slices.Clone(confirmed)
	}
}
