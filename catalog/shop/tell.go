package shop

import "time"

// Told is a line of the history of a note.
type Told struct {
	Revision  int         `json:"revision"`
	Number    int         `json:"number"` // of the change
	At        time.Time   `json:"at"`
	Who       string      `json:"who"`
	Kind      Kind        `json:"kind"`
	Wording   string      `json:"wording,omitempty"`
	Because   string      `json:"because,omitempty"`
	Text      string      `json:"text,omitempty"` // of the wording, where it was written then
	Elsewhere []Happening `json:"elsewhere"`      // of an import: what had happened in the other shop
}

// Tell makes the history of a note out of its events.
func Tell(n *Note, es []Event) []Told {
	out := make([]Told, 0, len(es))
	for _, e := range es {
		t := Told{Revision: e.Revision, Number: e.Number, At: e.At, Who: e.Who, Kind: e.Kind, Elsewhere: []Happening{}}
		t.Wording, t.Because = e.about()
		if w := n.Wording(t.Wording); w != nil && e.Kind != NoteConfirmed {
			t.Text = w.Text
		}
		if e.Kind == NoteImported {
			if b, err := bodyOf[ImportedBody](e); err == nil && b.History != nil {
				t.Elsewhere = b.History
			}
		}
		out = append(out, t)
	}
	return out
}
