package render

import (
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"platewright/catalog"
)

// Names of the forms of the answers about a catalogue as JSON.
const (
	ImportSchema   = "platewright/import/1"
	ChangesSchema  = "platewright/changes/1"
	EditionsSchema = "platewright/editions/1"
	InfoSchema     = "platewright/info/1"
	DoneSchema     = "platewright/done/1"
)

// MaxChanges is how many changed rows of one table an answer lists; the tables
// count all.
const MaxChanges = 200

// textChanges is how many changed rows of one table a text shows.
const textChanges = 20

// Import is what an import did, or would do.
type Import struct {
	Schema    string            `json:"schema"`
	From      string            `json:"from"`
	DryRun    bool              `json:"dryRun"`
	Applied   bool              `json:"applied"`
	Edition   int               `json:"edition"`   // the head afterwards; 0 for none
	Unchanged bool              `json:"unchanged"` // everything stood there already
	Tables    []TableChange     `json:"tables"`
	Changes   []RowChange       `json:"changes"` // the first of them
	Listed    int               `json:"listed"`  // how many of them are listed
	Total     int               `json:"total"`   // how many there are
	Findings  []catalog.Finding `json:"findings"`
	Dropped   int               `json:"dropped"` // findings that are only counted
}

// Changes is what differs between two editions.
type Changes struct {
	Schema  string        `json:"schema"`
	A       int           `json:"a"`
	B       int           `json:"b"`
	Tables  []TableChange `json:"tables"`
	Changes []RowChange   `json:"changes"` // the first of each table
	Listed  int           `json:"listed"`
	Total   int           `json:"total"`
}

// TableChange counts what changes in a table.
type TableChange struct {
	Table   string `json:"table"`
	Added   int    `json:"added"`
	Changed int    `json:"changed"`
	Removed int    `json:"removed"`
	Kept    int    `json:"kept"` // rows that the package does not hold and that stay
	Held    int    `json:"held"` // rows in which an empty cell left a value that stands
	Fresh   bool   `json:"-"`    // nothing stood there before
}

// RowChange is a row that comes, goes or changes.
type RowChange struct {
	Table string       `json:"table"`
	Kind  string       `json:"kind"` // came, went, changed
	Row   string       `json:"row"`
	Cells []CellChange `json:"cells"`
}

// CellChange is a cell before and after.
type CellChange struct {
	Column string `json:"column"`
	Old    string `json:"old"`
	New    string `json:"new"`
}

// Editions lists the editions of a catalogue.
type Editions struct {
	Schema   string    `json:"schema"`
	Path     string    `json:"path"`
	Head     int       `json:"head"`
	Editions []Edition `json:"editions"`
}

// Edition is one state of a catalogue.
type Edition struct {
	Number   int       `json:"number"`
	Made     time.Time `json:"made"`
	Origin   string    `json:"origin"`
	Program  string    `json:"program"`
	Parent   int       `json:"parent"`   // 0 for none
	Restores int       `json:"restores"` // 0 for none
	Dropped  bool      `json:"dropped"`
	Rows     int       `json:"rows"`
	Digest   string    `json:"digest"`
}

// Info says which catalogue the program works on.
type Info struct {
	Schema  string     `json:"schema"`
	Demo    bool       `json:"demo"`
	Path    string     `json:"path,omitempty"` // of the file; none for the demo
	Size    int64      `json:"size"`           // of the file in bytes
	Format  int        `json:"format"`         // of the file
	Edition *Edition   `json:"edition"`        // null for the demo
	Checked bool       `json:"checked"`        // every byte was read and is sound
	Tables  []RowCount `json:"tables"`
}

// RowCount is how many rows a table has.
type RowCount struct {
	Table string `json:"table"`
	Rows  int    `json:"rows"`
}

// Done tells what a command did to the catalogue or wrote from it.
type Done struct {
	Schema  string `json:"schema"`
	Did     string `json:"did"`     // exported, restored, dropped, backed-up
	Edition int    `json:"edition"` // the edition it was done with, 0 for the demo
	Head    int    `json:"head"`    // the edition that answers now, 0 for the demo
	Path    string `json:"path,omitempty"`
}

// ImportText writes what an import did or would do.
func ImportText(w io.Writer, r Import, s Screen) error {
	p := newPage(s)
	switch {
	case r.Unchanged:
		p.put(0, 2, sayf("%s: everything stands there already; ", r.From), say(orWord(editionWord(r.Edition), "no edition was made")+".").in(strong))
	case r.DryRun:
		p.put(0, 2, sayf("%s: dry run, nothing was changed. The import would do this:", r.From).in(strong))
	case r.Applied:
		p.put(0, 2, sayf("%s: imported as edition %d.", r.From, r.Edition).in(good))
	}
	if r.DryRun {
		p.changes(r.Tables, r.Changes)
	} else {
		p.counts(r.Tables)
	}
	p.stays(r.Tables)
	if r.DryRun && !r.Unchanged {
		p.gap()
		p.put(0, 2, say("To do it, run the same without --dry-run. An import can be taken back: "+strings.ReplaceAll("platewright catalog restore NUMBER", " ", string(glue))))
	}
	_, err := w.Write(p.buf.Bytes())
	return err
}

func editionWord(n int) string {
	if n == 0 {
		return ""
	}
	return "edition " + strconv.Itoa(n) + " stays"
}

// ChangesText writes what differs between two editions.
func ChangesText(w io.Writer, c Changes, s Screen) error {
	p := newPage(s)
	if c.Total == 0 {
		p.put(0, 2, sayf("Editions %d and %d are the same.", c.A, c.B))
	} else {
		p.put(0, 2, sayf("From edition %d to edition %d:", c.A, c.B).in(strong))
	}
	p.changes(c.Tables, c.Changes)
	_, err := w.Write(p.buf.Bytes())
	return err
}

// stays tells what an update left as it is, so that nobody takes a row for gone
// because it is not in the package.
func (p *page) stays(tables []TableChange) {
	first := true
	line := func(s string) {
		if first {
			p.gap()
			first = false
		}
		p.put(0, 2, say(s).in(muted))
	}
	for _, t := range tables {
		if t.Kept > 0 {
			line(counted(t.Kept, "row of ", "rows of ") + t.Table + " not in the package: left as they are (--replace " + t.Table + " takes such rows out)")
		}
		if t.Held > 0 {
			line(counted(t.Held, "row of ", "rows of ") + t.Table + " with empty cells: the values that stand are left (write (clear) to empty one)")
		}
	}
}

// counts tells how many rows of each table changed.
func (p *page) counts(tables []TableChange) {
	for _, t := range tables {
		if t.Added+t.Changed+t.Removed > 0 {
			p.count(2, t)
		}
	}
}

func (p *page) count(indent int, t TableChange) {
	p.put(indent, 2, say(t.Table).in(strong), sayf(": %d added, %d changed, %d removed", t.Added, t.Changed, t.Removed))
}

// changes tells which rows changed. A table that was empty before is only
// counted: its rows are those of the package.
func (p *page) changes(tables []TableChange, changes []RowChange) {
	for i, t := range tables {
		if t.Added+t.Changed+t.Removed == 0 {
			continue
		}
		if t.Fresh {
			if i == 0 || !tables[i-1].Fresh {
				p.gap()
			}
			p.count(0, t)
			continue
		}
		p.gap()
		p.count(0, t)
		shown := 0
		for _, c := range changes {
			if c.Table != t.Table {
				continue
			}
			if shown++; shown > textChanges {
				break
			}
			p.rowChange(c)
		}
		if more := t.Added + t.Changed + t.Removed - min(shown, textChanges); more > 0 {
			p.put(2, 2, sayf("and %d more", more))
		}
	}
}

func (p *page) rowChange(c RowChange) {
	switch c.Kind {
	case "came":
		p.put(2, 4, say("+ "), say(c.Row).in(good))
	case "went":
		p.put(2, 4, say("- "), say(c.Row).in(alert))
	default:
		p.put(2, 4, say("~ "), say(c.Row).in(strong))
		for _, x := range c.Cells {
			p.put(6, 2, sayf("%s: %s -> %s", x.Column, quoted(x.Old), quoted(x.New)))
		}
	}
}

func quoted(s string) string {
	if s == "" {
		return "(empty)"
	}
	return strconv.Quote(s)
}

// EditionsText lists the editions, the newest last.
func EditionsText(w io.Writer, e Editions, s Screen) error {
	p := newPage(s)
	for _, x := range e.Editions {
		head := string(glue) + string(glue)
		if x.Number == e.Head {
			head = ">" + string(glue)
		}
		ss := []span{sayf("%s%d", head, x.Number).in(strong), say(" " + strings.ReplaceAll(minute(x.Made), " ", string(glue)))}
		what := x.Origin
		if x.Restores > 0 {
			what = fmt.Sprintf("edition %d brought back", x.Restores)
		}
		ss = append(ss, say(" "+what))
		if x.Dropped {
			ss = append(ss, say(" (dropped)").in(muted))
		} else {
			ss = append(ss, say(" ("+counted(x.Rows, "row", "rows")+")"))
		}
		p.put(0, 6, ss...)
	}
	p.put(0, 2, say("> marks the edition that answers. Compare: "+strings.ReplaceAll("platewright catalog compare A B", " ", string(glue))).in(muted))
	_, err := w.Write(p.buf.Bytes())
	return err
}

func minute(t time.Time) string { return t.UTC().Format("2006-01-02 15:04") + " UTC" }

// minuteOf is minute for a moment as RFC 3339 writes it; another text stays.
func minuteOf(text string) string {
	t, err := time.Parse(time.RFC3339, text)
	if err != nil {
		return text
	}
	return minute(t)
}

// InfoText says which catalogue the program works on.
func InfoText(w io.Writer, i Info, s Screen) error {
	p := newPage(s)
	if i.Demo {
		p.put(0, 2, say(DemoRemark).in(warn))
		p.put(0, 2, say("No catalogue has been imported yet. To begin your own:\n  "+strings.ReplaceAll("platewright catalog import FOLDER", " ", string(glue))))
	} else {
		p.put(0, 2, say("Catalogue: ").in(strong), say(i.Path))
		p.put(0, 2, sayf("%s, format %d", bytesText(i.Size), i.Format))
		if e := i.Edition; e != nil {
			p.put(0, 2, sayf("Edition %d, made %s by %s from %s", e.Number, minute(e.Made), e.Program, e.Origin))
			p.put(0, 2, say("Digest "+e.Digest).in(muted))
		}
		if i.Checked {
			p.put(0, 2, say("Every byte was read and is sound.").in(good))
		}
	}
	p.gap()
	for _, t := range i.Tables {
		n := strconv.Itoa(t.Rows)
		p.put(0, 10, say(strings.Repeat(string(glue), max(8-len(n), 0))+n), say(" "+t.Table))
	}
	_, err := w.Write(p.buf.Bytes())
	return err
}

func bytesText(n int64) string {
	switch {
	case n < 10<<10:
		return strconv.FormatInt(n, 10) + " bytes"
	case n < 10<<20:
		return strconv.FormatInt(n>>10, 10) + " KiB"
	}
	return strconv.FormatInt(n>>20, 10) + " MiB"
}

// DoneText tells what a command did.
func DoneText(w io.Writer, d Done, s Screen) error {
	p := newPage(s)
	of := "the demo"
	if d.Edition > 0 {
		of = "edition " + strconv.Itoa(d.Edition)
	}
	switch d.Did {
	case "exported":
		p.put(0, 2, sayf("Exported %s to %s.", of, d.Path))
		if d.Edition == 0 {
			p.put(0, 2, say(DemoRemark).in(warn))
		}
	case "restored":
		p.put(0, 2, sayf("Brought %s back; it answers now as edition %d.", of, d.Head).in(good))
	case "dropped":
		p.put(0, 2, sayf("Dropped %s; edition %d answers as before.", of, d.Head))
	case "backed-up":
		p.put(0, 2, sayf("Backed up all editions to %s; edition %d answers.", d.Path, d.Head))
	}
	_, err := w.Write(p.buf.Bytes())
	return err
}
