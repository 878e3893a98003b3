package catalog

import "sync"

// This file holds what the shop's own notes say beyond the notes of a
// catalogue, and the tables in which they travel from shop to shop. They are no
// tables of a catalogue: an import of a catalogue does not know them.

// The kinds that only the shop's own notes have.
const (
	NoteAlias      NoteKind = "alias"      // a number stands for a part
	NoteCorrection NoteKind = "correction" // a cell of a row of the catalogue is wrong
)

// The places that only the shop's own notes speak of.
const (
	NoteOnNumber NoteOn = "number" // a supplier's number, or one on a box
	NoteOnPlate  NoteOn = "plate"  // plates of a pattern, ? for any character and * for any number of them
	NoteOnRow    NoteOn = "row"    // a row of the catalogue
)

// ShopNote is what only a note of the shop's own says.
type ShopNote struct {
	Variant    VariantCode       // only in units of this variant; empty for all
	Part       PartNo            // of an alias: what the number stands for
	Correction *Correction       // of a correction
	Applies    CorrectionApplies // of a correction, in the catalogue at hand
	Now        string            // of a correction: what the catalogue at hand says
	Unsettled  bool              // it was edited in two ways, and nobody has settled which one holds
}

// Correction says that a cell of the catalogue should read otherwise.
type Correction struct {
	Table  string   `json:"table"`
	Row    []string `json:"row"` // the cells of the table's key columns
	Column string   `json:"column"`
	Before string   `json:"before"` // what the catalogue says, or said when the note was written
	After  string   `json:"after"`  // what it should say
}

// CorrectionApplies says whether a correction still has something to correct.
type CorrectionApplies string

const (
	CorrectionHolds  CorrectionApplies = "holds"             // the catalogue says what the correction expects, which is wrong
	CorrectionNow    CorrectionApplies = "now-in-catalogue"  // the catalogue says by now what the correction says
	CorrectionPassed CorrectionApplies = "no-longer-applies" // the catalogue says something else by now, or the row is gone
)

// TableOf gives the table that the correction speaks of, or nil.
func (c *Correction) TableOf() *Table { return TableByName(c.Table) }

// Key gives the key of the row, and whether the table and its key columns are
// there.
func (c *Correction) Key() (key string, ok bool) {
	t := c.TableOf()
	if t == nil || len(c.Row) != len(t.Key) {
		return "", false
	}
	parts := make([]string, len(t.Key))
	for i, k := range t.Key {
		parts[i] = KeyPart(t.Columns[k].Kind, c.Row[i])
	}
	return MakeKey(parts...), true
}

// Group gives the key of the group in which the row stands.
func (c *Correction) Group() (key string, ok bool) {
	t := c.TableOf()
	if t == nil || len(c.Row) != len(t.Key) {
		return "", false
	}
	parts := make([]string, t.Group)
	for i, k := range t.Key[:t.Group] {
		parts[i] = KeyPart(t.Columns[k].Kind, c.Row[i])
	}
	return MakeKey(parts...), true
}

// Name names the row for people, as [Table.RowName] does.
func (c *Correction) Name() string {
	s := ""
	for _, cell := range c.Row {
		if cell == "" {
			continue
		}
		if s != "" {
			s += " / "
		}
		s += cell
	}
	return s
}

// Names of the tables in which the shop's own notes travel.
const (
	TShopNotes   = "shop_notes"
	TShopHistory = "shop_history"
)

// NoteWording is one wording of a note on its way from shop to shop: as it was
// written, or as it was after an edit.
type NoteWording struct {
	Note      string // the note's name, which its first wording decides
	Wording   string // name of the wording, which what it says decides
	After     Words  // the wordings that it was made from; none for the first
	On        NoteOn
	Of        string
	Kind      NoteKind
	Part      PartNo
	Family    string
	Variant   VariantCode
	Table     string
	Row       string
	Column    string
	Before    string
	Value     string
	Text      string
	Author    string
	Dated     Date
	Measured  string
	Photos    string
	Evidence  string
	Card      int
	By        string
	Edited    Date
	State     NoteState
	Confirmed string
}

// NoteHappening is one line of the history of a note on its way from shop to
// shop.
type NoteHappening struct {
	Note    string
	Place   int // counted from 1 in the shop that it comes from
	At      string
	Who     string
	What    string
	Wording string
	Because string
}

// ShopTables gives the descriptors of the tables in which notes travel, in
// reading order. The slice and what it points to must not be changed.
var ShopTables = sync.OnceValue(func() []*Table {
	return []*Table{
		table[NoteWording](TShopNotes, "The notes of a shop, one row for each wording of each.", []string{"note", "wording"}, 1, nil,
			code("note", "name of the note; empty for a new one that was typed here", func(r *NoteWording) *string { return &r.Note }),
			code("wording", "name of this wording; empty for a new note that was typed here", func(r *NoteWording) *string { return &r.Wording }),
			words("after", "the wordings that this one was made from", func(r *NoteWording) *Words { return &r.After }),
			word("on", "what the note is about", []NoteOn{NoteOnPart, NoteOnNumber, NoteOnVariant, NoteOnFamily, NoteOnMark, NoteOnWork, NoteOnPlate, NoteOnRow}, func(r *NoteWording) *NoteOn { return &r.On }, required),
			text("of", "which one", func(r *NoteWording) *string { return &r.Of }, required),
			word("kind", "what it says", []NoteKind{NoteAlias, NoteCaution, NoteFitted, NoteDidNotFit, NoteCorrection, NoteRemarkKind}, func(r *NoteWording) *NoteKind { return &r.Kind }, required),
			code("part", "of an alias: the part that the number stands for", func(r *NoteWording) *PartNo { return &r.Part }),
			code("family", "only in units of this family; empty for all", func(r *NoteWording) *string { return &r.Family }),
			code("variant", "only in units of this variant; empty for all", func(r *NoteWording) *VariantCode { return &r.Variant }),
			code("table", "of a correction: the table", func(r *NoteWording) *string { return &r.Table }),
			text("row", "of a correction: the key of the row, its cells with a bar between", func(r *NoteWording) *string { return &r.Row }),
			code("column", "of a correction: the column", func(r *NoteWording) *string { return &r.Column }),
			text("before", "of a correction: what the catalogue says", func(r *NoteWording) *string { return &r.Before }),
			text("value", "of a correction: what it should say", func(r *NoteWording) *string { return &r.Value }),
			text("text", "the note", func(r *NoteWording) *string { return &r.Text }),
			text("author", "who wrote it first", func(r *NoteWording) *string { return &r.Author }, required),
			date("dated", "when it was written first", func(r *NoteWording) *Date { return &r.Dated }, required),
			text("measured", "values measured, one a line, NAME=VALUE", func(r *NoteWording) *string { return &r.Measured }),
			text("photos", "photos, one a line: the SHA-256 of the file, a space, its path", func(r *NoteWording) *string { return &r.Photos }),
			text("evidence", "what else it rests on", func(r *NoteWording) *string { return &r.Evidence }),
			count("card", "the job card that it came from, in the shop that wrote it", func(r *NoteWording) *int { return &r.Card }),
			text("by", "who worded it so", func(r *NoteWording) *string { return &r.By }),
			date("edited", "when", func(r *NoteWording) *Date { return &r.Edited }),
			word("state", "of the wording in force: how far it is trusted in the shop that it comes from", []NoteState{NoteOpen, NoteConfirmed, NoteWithdrawn}, func(r *NoteWording) *NoteState { return &r.State }),
			text("confirmed", "who confirmed it there, one a line", func(r *NoteWording) *string { return &r.Confirmed }),
		),
		table[NoteHappening](TShopHistory, "What happened to the notes of a shop.", []string{"note", "place"}, 1, nil,
			code("note", "name of the note", func(r *NoteHappening) *string { return &r.Note }, required),
			count("place", "its place in the history", func(r *NoteHappening) *int { return &r.Place }, required),
			text("at", "when, as an RFC 3339 time", func(r *NoteHappening) *string { return &r.At }, required),
			text("who", "who did it", func(r *NoteHappening) *string { return &r.Who }, required),
			text("what", "what was done", func(r *NoteHappening) *string { return &r.What }, required),
			code("wording", "the wording that it concerns", func(r *NoteHappening) *string { return &r.Wording }),
			text("because", "why", func(r *NoteHappening) *string { return &r.Because }),
		),
	}
})
