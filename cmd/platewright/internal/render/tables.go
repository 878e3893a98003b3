package render

import (
	"io"
	"slices"
	"strings"

	"platewright/catalog"
)

// TablesSchema names the form of [Tables] as JSON.
const TablesSchema = "platewright/tables/1"

// Tables is the description of the tables of a catalogue.
type Tables struct {
	Schema string  `json:"schema"`
	Tables []Table `json:"tables"`
}

// Table describes one table.
type Table struct {
	Name    string   `json:"name"`
	About   string   `json:"about"`
	Key     []string `json:"key"` // columns that identify a row
	Columns []Column `json:"columns"`
}

// Column describes one column of a table.
type Column struct {
	Name     string   `json:"name"`
	Kind     string   `json:"kind"`
	About    string   `json:"about"`
	Required bool     `json:"required"`
	Words    []string `json:"words"`           // of a word column: what it may hold
	Names    string   `json:"names,omitempty"` // the table that the cell must name a row of
}

// DescribeTables describes tables of the catalogue.
func DescribeTables(tables []*catalog.Table) Tables {
	out := Tables{Schema: TablesSchema, Tables: []Table{}}
	for _, t := range tables {
		d := Table{Name: t.Name, About: t.Doc, Key: []string{}, Columns: []Column{}}
		for _, i := range t.Key {
			d.Key = append(d.Key, t.Columns[i].Name)
		}
		for _, c := range t.Columns {
			d.Columns = append(d.Columns, Column{Name: c.Name, Kind: c.Kind.String(), About: c.Doc, Required: c.Required,
				Words: append([]string{}, c.Words...), Names: c.Ref})
		}
		out.Tables = append(out.Tables, d)
	}
	return out
}

// TablesText writes the description of tables for a person who fills them in.
func TablesText(w io.Writer, d Tables, s Screen) error {
	p := newPage(s)
	for _, t := range d.Tables {
		p.head(strong, "%s", t.Name)
		p.put(2, 0, say(t.About))
		for _, c := range t.Columns {
			about := []string{c.Kind}
			if slices.Contains(t.Key, c.Name) {
				about = append(about, "key")
			}
			if c.Required {
				about = append(about, "required")
			}
			if c.Names != "" {
				about = append(about, "names a row of "+c.Names)
			}
			text := c.About
			if len(c.Words) > 0 {
				text += ": " + strings.Join(c.Words, ", ")
			}
			p.put(2, 4, say(c.Name).in(strong), say(" ("+strings.Join(about, "; ")+") "), say(text))
		}
	}
	_, err := w.Write(p.buf.Bytes())
	return err
}
