package catalogtest

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"testing"

	"golang.org/x/tools/txtar"

	"platewright/catalog"
	"platewright/catalog/memory"
)

// World gives the catalogue that a text describes: a txtar archive with one
// file TABLE.csv for each table that matters, and in it only the columns that
// matter. Cells may be padded with spaces so that columns stand under each
// other, a line that starts with # is a remark, and a row may end early. Files
// that are no tables are left to the caller.
//
// What a world does not say is filled in, so that it stays small:
//
//   - Without makers.csv, families.csv, assemblies.csv, layouts.csv, fields.csv,
//     work.csv or specs.csv there is one maker "maker", the families that the
//     variants name ("F" where they name none), one assembly "case", one layout
//     "plate" of it with a single variant field of 1 to 12 letters and digits,
//     the scopes of work that work_roles.csv names, the specifications that the
//     other tables name.
//   - The source "world" is always there.
//   - A required cell that is empty holds what the table filled below says for its
//     column,
//     and where that says nothing the text of the row's first key column.
//   - The scope of a row is mark where "of" holds a =, family where it names a
//     family, else variant.
//   - A fit statement that does not name a part is one against, and one for a
//     part is for one piece.
//
// The catalogue is checked by [memory.Catalogue.Check], and a finding fails the
// test, unless the archive has a file "findings" with one line PLACE: CODE for
// each: then the findings must be those.
func World(t testing.TB, archive []byte) *memory.Catalogue {
	t.Helper()
	w, err := ParseWorld(archive)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	w.Catalogue.Check(func(f catalog.Finding) {
		got = append(got, fmt.Sprintf("%s: %s", f.Place, f.Code))
		if w.Findings == nil {
			t.Errorf("the world has a finding: %s", f)
		}
	})
	if w.Findings != nil {
		slices.Sort(got)
		if !slices.Equal(got, w.Findings) {
			t.Errorf("the findings of the world are\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(w.Findings, "\n"))
		}
	}
	return w.Catalogue
}

// TextWorld is a catalogue with the findings that its text announces.
type TextWorld struct {
	Catalogue *memory.Catalogue
	Findings  []string // PLACE: CODE, sorted; nil where none are announced
}

// ParseWorld reads what [World] reads, without any check of the catalogue.
func ParseWorld(archive []byte) (*TextWorld, error) {
	w := &TextWorld{Catalogue: memory.New()}
	given := map[string][]worldRow{}
	for _, f := range txtar.Parse(archive).Files {
		name, isTable := strings.CutSuffix(f.Name, ".csv")
		switch {
		case f.Name == "findings":
			w.Findings = []string{}
			for line := range strings.Lines(string(f.Data)) {
				w.Findings = append(w.Findings, strings.TrimSpace(line))
			}
			slices.Sort(w.Findings)
		case isTable && catalog.TableByName(name) == nil:
			return nil, fmt.Errorf("%s is no table of a catalogue", f.Name)
		case isTable && given[name] != nil:
			return nil, fmt.Errorf("%s stands twice", f.Name)
		case isTable:
			rows, err := readWorldRows(catalog.TableByName(name), string(f.Data))
			if err != nil {
				return nil, err
			}
			given[name] = rows
		}
	}
	complete(given)
	for _, t := range catalog.Tables() {
		for _, r := range given[t.Name] {
			row := t.New()
			at := catalog.Place{File: t.Name + ".csv", Table: t.Name, Row: r.line}
			for _, c := range t.Columns {
				if err := c.Set(row, r.cells[c.Name]); err != nil {
					at.Column = c.Name
					return nil, fmt.Errorf("%s: %w", at, err)
				}
			}
			if !w.Catalogue.Add(t, row, at) {
				return nil, fmt.Errorf("%s: a row %s stands before", at, t.RowName(row))
			}
		}
	}
	w.Catalogue.Seal()
	return w, nil
}

// filled says what a required cell holds where a world leaves it empty, by
// TABLE.COLUMN or by column: "#" is the row's number in its table, "##" its
// number among the rows of the same first key column.
var filled = map[string]string{
	"source":             "world",
	"sources.kind":       string(catalog.SourceInvented),
	"families.maker":     "maker",
	"layouts.maker":      "maker",
	"layouts.assembly":   "case",
	"fields.layout":      "plate",
	"fields.place":       "##",
	"fields.field":       "f##",
	"fields.kind":        string(catalog.FieldDigits),
	"fields.means":       string(catalog.MeansVariant),
	"variants.family":    "F",
	"variants.layout":    "plate",
	"marks.assembly":     "case",
	"marks.kind":         string(catalog.MarkSeen),
	"marks.force":        string(catalog.Deciding),
	"marks.effort":       "5",
	"roles.assembly":     "case",
	"roles.kind":         string(catalog.RolePart),
	"parts.kind":         string(catalog.PartSingle),
	"parts.origin":       string(catalog.OriginMaker),
	"parts.status":       string(catalog.PartSold),
	"contents.qty":       "1",
	"fits.statement":     "#",
	"supersessions.kind": string(catalog.OneWay),
	"supersessions.qty":  "1",
	"companions.qty":     "1",
	"companions.per":     string(catalog.PerJob),
	"meets.claim":        string(catalog.Approved),
	"work.fill":          string(catalog.FillNone),
	"work_roles.need":    string(catalog.NeedRequired),
	"suppliers.currency": "EUR",
	"offers.stock":       "#",
	"offers.price":       "1",
	"offers.pack":        "1",
	"shelf.place":        "box",
	"torques.torque":     "10",
	"sites.ohm":          "5",
	"sites.tolerance":    "0.5",
	"sites.temp":         "20",
	"caution_links.on":   string(catalog.OnWork),
	"notes.on":           string(catalog.NoteOnPart),
	"notes.note":         "#",
	"notes.kind":         string(catalog.NoteRemarkKind),
	"notes.state":        string(catalog.NoteOpen),
	"notes.author":       "bench",
	"notes.dated":        "2024-01-15",
	"cautions.defer":     "The unit maker's instructions go first.",
	"marks.how":          "look",
	"companions.why":     "worn",
	"work_roles.why":     "worn",
	"plates.layout":      "label",
}

type worldRow struct {
	line  int
	cells map[string]string
}

func readWorldRows(t *catalog.Table, text string) ([]worldRow, error) {
	r := csv.NewReader(strings.NewReader(text))
	r.FieldsPerRecord, r.TrimLeadingSpace, r.Comment = -1, true, '#'
	var heading []string
	rows := []worldRow{}
	for {
		cells, err := r.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, fmt.Errorf("%s.csv: %w", t.Name, err)
		}
		for i := range cells {
			cells[i] = strings.TrimSpace(cells[i])
		}
		line, _ := r.FieldPos(0)
		if heading == nil {
			for _, h := range cells {
				if t.Column(h) == nil {
					return nil, fmt.Errorf("%s.csv:%d: the table has no column %q", t.Name, line, h)
				}
			}
			heading = cells
			continue
		}
		if len(cells) > len(heading) {
			return nil, fmt.Errorf("%s.csv:%d: the row has %d cells and the heading %d", t.Name, line, len(cells), len(heading))
		}
		row := worldRow{line, map[string]string{}}
		for i, c := range cells {
			row.cells[heading[i]] = c
		}
		rows = append(rows, row)
	}
	if heading == nil {
		return nil, fmt.Errorf("%s.csv has no heading", t.Name)
	}
	return rows, nil
}

// complete adds the tables and cells that a world leaves out.
func complete(given map[string][]worldRow) {
	row := func(pairs ...string) worldRow {
		r := worldRow{0, map[string]string{}}
		for i := 0; i < len(pairs); i += 2 {
			r.cells[pairs[i]] = pairs[i+1]
		}
		return r
	}
	// named gathers the distinct names in a column of tables.
	named := func(at ...[2]string) []string {
		var out []string
		for _, a := range at {
			for _, r := range given[a[0]] {
				if s := r.cells[a[1]]; s != "" && !slices.Contains(out, s) {
					out = append(out, s)
				}
			}
		}
		return out
	}
	if !slices.ContainsFunc(given[catalog.TSources], func(r worldRow) bool { return r.cells["source"] == "world" }) {
		given[catalog.TSources] = append(given[catalog.TSources], row("source", "world"))
	}
	for _, r := range given[catalog.TVariants] {
		if r.cells["family"] == "" {
			r.cells["family"] = filled["variants.family"]
		}
	}
	alone := func(table string, rows ...worldRow) {
		if given[table] == nil {
			given[table] = rows
		}
	}
	each := func(table, column string, names []string) {
		if given[table] == nil {
			for _, n := range names {
				given[table] = append(given[table], row(column, n))
			}
		}
	}
	alone(catalog.TMakers, row("maker", "maker"))
	each(catalog.TFamilies, "family", named([2]string{catalog.TVariants, "family"}))
	alone(catalog.TAssemblies, row("assembly", "case"))
	if given[catalog.TFields] == nil {
		alone(catalog.TLayouts, row("layout", "plate"))
		for _, l := range named([2]string{catalog.TLayouts, "layout"}) {
			given[catalog.TFields] = append(given[catalog.TFields], row("layout", l, "field", "type", "kind", string(catalog.FieldAlphanum), "min", "1", "max", "12"))
		}
	}
	alone(catalog.TLayouts, row("layout", "plate"))
	each(catalog.TWork, "work", named([2]string{catalog.TWorkRoles, "work"}))
	each(catalog.TSpecs, "spec", named([2]string{catalog.TFills, "spec"}, [2]string{catalog.TMeets, "spec"}, [2]string{catalog.TServes, "spec"}, [2]string{catalog.TServes, "served_by"}))
	families := named([2]string{catalog.TFamilies, "family"})

	for _, t := range catalog.Tables() {
		counts := map[string]int{}
		first := t.Columns[t.Key[0]].Name
		for i, r := range given[t.Name] {
			if t.Name == catalog.TFits {
				if r.cells["effect"] == "" {
					r.cells["effect"] = string(catalog.Fits)
					if r.cells["part"] == "" {
						r.cells["effect"] = string(catalog.DoesNotFit)
					}
				}
				if r.cells["effect"] == string(catalog.Fits) && r.cells["qty"] == "" {
					r.cells["qty"] = "1"
				}
			}
			if c := t.Column("scope"); c != nil && r.cells["scope"] == "" {
				switch of := r.cells["of"]; {
				case strings.Contains(of, "="):
					r.cells["scope"] = string(catalog.FitMark)
				case slices.Contains(families, of):
					r.cells["scope"] = string(catalog.OfFamily)
				default:
					r.cells["scope"] = string(catalog.OfVariant)
				}
			}
			for _, c := range t.Columns {
				if !c.Required || r.cells[c.Name] != "" {
					continue
				}
				fill, ok := filled[t.Name+"."+c.Name]
				if !ok {
					fill, ok = filled[c.Name]
				}
				if !ok {
					fill = r.cells[first]
				}
				counts[r.cells[first]+"\x00"+c.Name]++
				fill = strings.ReplaceAll(fill, "##", strconv.Itoa(counts[r.cells[first]+"\x00"+c.Name]))
				r.cells[c.Name] = strings.ReplaceAll(fill, "#", strconv.Itoa(i+1))
			}
		}
	}
}
