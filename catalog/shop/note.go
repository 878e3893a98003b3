package shop

import (
	"crypto/sha256"
	"encoding/base32"
	"encoding/json"
	"slices"
	"strings"
	"time"

	"platewright/catalog"
)

// Content is what a note says.
type Content struct {
	On         catalog.NoteOn      `json:"on"`
	Of         string              `json:"of"` // which one; of a correction the table and the row
	Kind       catalog.NoteKind    `json:"kind"`
	Part       catalog.PartNo      `json:"part,omitempty"`    // of a note on a number: the part that it stands for, where that is known
	Family     string              `json:"family,omitempty"`  // only in units of this family; empty for all
	Variant    catalog.VariantCode `json:"variant,omitempty"` // only in units of this variant; empty for all
	Correction *catalog.Correction `json:"correction,omitempty"`
	Text       string              `json:"text,omitempty"`
	Author     string              `json:"author"`
	Dated      string              `json:"dated"` // when it was written first, ISO 8601
	Measured   []Measured          `json:"measured,omitempty"`
	Photos     []Photo             `json:"photos,omitempty"`
	Evidence   string              `json:"evidence,omitempty"` // what else it rests on
	Card       int                 `json:"card,omitempty"`     // the job card that it came from, 0 for none
}

// Measured is a value that was measured.
type Measured struct {
	Name  string `json:"name"`
	Value string `json:"value"`
}

// Photo is a photo that a note rests on. It stays where it is; the digest tells
// whether it is still the same.
type Photo struct {
	Path   string `json:"path"`
	SHA256 string `json:"sha256"` // of the file, hexadecimal
}

// Wording is one wording of a note: the first, or an edit of others. It never
// changes.
type Wording struct {
	Name    string   `json:"wording"` // what it says decides the name
	After   []string `json:"after"`   // the wordings that it was made from; none for the first
	Content          // what it says
	By      string   `json:"by"`             // who worded it so
	Edited  string   `json:"edited"`         // when, ISO 8601
	From    string   `json:"from,omitempty"` // the source that it was imported from; empty for this shop's own
}

// names are written in letters and digits that cannot be taken for each other.
var names = base32.NewEncoding("0123456789abcdefghjkmnpqrstvwxyz").WithPadding(base32.NoPadding)

// named gives the wording its name, which follows from what it says, what it was
// made from, by whom and when, so that the same wording has the same name in
// every shop.
func named(w Wording) Wording {
	slices.Sort(w.After)
	w.After = slices.Compact(w.After)
	if w.After == nil {
		w.After = []string{}
	}
	from := w.From
	w.Name, w.From = "", ""
	text, err := json.Marshal(w)
	if err != nil {
		panic("shop: a wording cannot be written: " + err.Error()) // strings and numbers only: a slip in this package
	}
	sum := sha256.Sum256(text)
	w.Name, w.From = "w"+names.EncodeToString(sum[:10]), from
	return w
}

// idOf gives the name of the note that begins with the wording.
func idOf(first Wording) string { return "n" + first.Name[1:11] }

// Confirmation is one person's word that a note is right.
type Confirmation struct {
	Who     string `json:"who"`
	On      string `json:"on"` // ISO 8601
	Wording string `json:"wording"`
	OneMan  bool   `json:"oneMan,omitempty"` // by its own author, in a shop of one
}

// Elsewhere is how another shop holds a note that this one has too.
type Elsewhere struct {
	Source  string            `json:"source"`
	State   catalog.NoteState `json:"state"`
	Wording string            `json:"wording"` // the one in force there
	On      string            `json:"on"`      // when that was learned, ISO 8601
}

// Note is a note of the shop as its history has left it.
type Note struct {
	ID        string            `json:"note"`
	State     catalog.NoteState `json:"state"`
	Head      string            `json:"wording"`           // name of the wording in force
	Rivals    []string          `json:"rivals"`            // other wordings that nothing was made from yet: to be settled
	Wordings  []Wording         `json:"wordings"`          // all, as they came
	Confirmed []Confirmation    `json:"confirmed"`         // of the wording in force
	Because   string            `json:"because,omitempty"` // why it was withdrawn
	From      string            `json:"from,omitempty"`    // the source that it was imported from; empty for this shop's own
	Elsewhere []Elsewhere       `json:"elsewhere"`
	Revision  int               `json:"revision"` // counts what happened to it
	Changes   []int             `json:"changes"`  // numbers of what happened to it
	Met       string            `json:"met"`      // when it was last written, confirmed or met again, ISO 8601
}

// Wording gives the wording of that name, or nil.
func (n *Note) Wording(name string) *Wording {
	for i := range n.Wordings {
		if n.Wordings[i].Name == name {
			return &n.Wordings[i]
		}
	}
	return nil
}

// Current gives the wording in force.
func (n *Note) Current() *Wording { return n.Wording(n.Head) }

func (n *Note) clone() *Note {
	if n == nil {
		return nil
	}
	c := *n
	c.Rivals, c.Wordings = slices.Clone(n.Rivals), slices.Clone(n.Wordings)
	c.Confirmed, c.Elsewhere, c.Changes = slices.Clone(n.Confirmed), slices.Clone(n.Elsewhere), slices.Clone(n.Changes)
	return &c
}

// heads gives the names of the wordings that no other was made from, sorted.
func heads(ws []Wording) []string {
	used := map[string]bool{}
	for _, w := range ws {
		for _, a := range w.After {
			used[a] = true
		}
	}
	var out []string
	for _, w := range ws {
		if !used[w.Name] {
			out = append(out, w.Name)
		}
	}
	slices.Sort(out)
	return out
}

// descends tells whether the wording later was made from the wording early,
// directly or through others, or is it.
func (n *Note) descends(later, early string) bool {
	seen := map[string]bool{}
	todo := []string{later}
	for len(todo) > 0 {
		name := todo[len(todo)-1]
		todo = todo[:len(todo)-1]
		if name == early {
			return true
		}
		if w := n.Wording(name); w != nil && !seen[name] {
			seen[name] = true
			todo = append(todo, w.After...)
		}
	}
	return false
}

// samePerson compares names as people write them.
func samePerson(a, b string) bool { return catalog.FoldValue(a) == catalog.FoldValue(b) }

// day gives the date of a time as notes carry it.
func day(at time.Time) string { return at.UTC().Format(time.DateOnly) }

// Row gives the note as a row of the catalogue's table of notes, as far as that
// can hold it.
func (n *Note) Row() *catalog.Note {
	w := n.Current()
	r := &catalog.Note{On: w.On, Of: w.Of, Note: n.ID, Kind: w.Kind, Family: w.Family, Text: w.Text, State: n.State, Author: w.Author,
		Evidence: w.evidence(),
		Shop:     &catalog.ShopNote{Variant: w.Variant, Part: w.Part, Correction: w.Correction, Unsettled: len(n.Rivals) > 0}}
	r.Dated, _ = catalog.ParseDate(w.Dated) // checked when it was written
	if n.State == catalog.NoteConfirmed && len(n.Confirmed) > 0 {
		r.Confirmed = n.Confirmed[0].Who
	}
	return r
}

// evidence says in one line what the note rests on.
func (c *Content) evidence() string {
	var out []string
	for _, m := range c.Measured {
		out = append(out, m.Name+" "+m.Value)
	}
	for _, p := range c.Photos {
		out = append(out, "photo "+p.Path)
	}
	if c.Evidence != "" {
		out = append(out, c.Evidence)
	}
	return strings.Join(out, "; ")
}
