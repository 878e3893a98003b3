package pack

import (
	"archive/zip"
	"encoding/xml"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"

	"github.com/xuri/excelize/v2"

	"platewright/catalog"
)

// maxSheetColumns is beyond every table. A cell further to the right is no
// part of one, and would make the workbook library fill in all cells before it.
const maxSheetColumns = 256

// workbook reads the sheets of an opened workbook.
type workbook struct {
	f     *excelize.File
	base  string
	dates map[int]bool // styles by number: whether they show a date
}

func openWorkbookFile(name, base string, size int64, tables tableSet, limits Limits) (*Package, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return openWorkbook(f, size, base, tables, limits)
}

func openWorkbook(r io.ReaderAt, size int64, base string, set tableSet, limits Limits) (p *Package, err error) {
	at := catalog.Place{File: base}
	head := make([]byte, 8)
	if n, _ := r.ReadAt(head, 0); n == 8 && string(head) == "\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" {
		return nil, refused(catalog.Finding{Code: catalog.BadPackage, Place: at, What: "the workbook has a password, or is in the format from before 2007",
			Mend: "save it as .xlsx without a password"})
	}
	z, err := readZip(r, size, base, limits, limits.Workbook)
	if err != nil {
		return nil, err
	}
	for _, part := range z.File {
		if what := checkSheetPart(part, limits); what != "" {
			return nil, refused(catalog.Finding{Code: catalog.BadFile, Place: catalog.Place{File: base + "!" + part.Name}, What: what,
				Mend: "open the workbook in a spreadsheet program and save it again, with the tables at the top left of their sheets"})
		}
	}
	bad := func(why any) error {
		return refused(catalog.Finding{Code: catalog.BadPackage, Place: at, What: fmt.Sprint("it cannot be read as a workbook: ", why), Mend: "open it in a spreadsheet program and save it again as .xlsx"})
	}
	// The library takes the shape of the file's parts for granted here and there.
	defer func() {
		if why := recover(); why != nil {
			p, err = nil, bad(why)
		}
	}()
	// Both limits are the same, so that the library never spills into files of
	// its own beside us.
	f, err := excelize.OpenReader(io.NewSectionReader(r, 0, size), excelize.Options{
		RawCellValue: true, UnzipSizeLimit: limits.Workbook, UnzipXMLSizeLimit: limits.Workbook})
	if err != nil {
		return nil, bad(err)
	}
	book := &workbook{f: f, base: base, dates: map[int]bool{}}
	p = &Package{name: base, limits: limits, book: book, close: []io.Closer{f}}
	if props, err := f.GetDocProps(); err == nil {
		p.info = Info{Name: props.Identifier, Title: props.Title, Version: props.Version, About: props.Description}
	}
	tables := map[string]*resource{}
	for _, name := range f.GetSheetList() {
		at := catalog.Place{File: book.sheet(name)}
		visible, err := f.GetSheetVisible(name)
		if err != nil {
			return nil, bad(err)
		}
		t := set.byName(name)
		switch {
		case t == nil && !visible:
			p.findings = append(p.findings, catalog.Finding{Code: catalog.UnknownTable, Severity: catalog.Remark, Place: at, Value: name,
				What: "the hidden sheet is no table of a catalogue and is not read", Mend: "nothing needs to be done, or take the sheet away"})
		case t == nil && book.empty(name):
		case t == nil:
			p.findings = append(p.findings, unknownTable(at, name, "sheet", set))
		case !visible:
			at.Table = t.Name
			p.findings = append(p.findings, catalog.Finding{Code: catalog.BadFile, Severity: catalog.Refused, Place: at, Value: name,
				What: "the sheet is hidden: what nobody sees is not imported", Mend: "show the sheet and look through it, or take it away"})
		default:
			tables[name] = &resource{table: t, file: book.sheet(name)}
		}
	}
	for _, t := range set.list() {
		if r := tables[t.Name]; r != nil {
			p.resources = append(p.resources, r)
		}
	}
	if len(p.resources) == 0 {
		if err := refused(p.findings...); err != nil {
			return nil, err
		}
		return nil, refused(catalog.Finding{Code: catalog.NothingToImport, Place: at, What: "no sheet is a table of a catalogue", Mend: "name each sheet after its table, such as parts"})
	}
	return p, nil
}

// checkSheetPart looks through a part of the workbook, if it is a sheet, for
// what would cost the library too much or what it would pass over in silence:
// rows and cells without their place or out of order, cells far to the right,
// and text that is not well-formed.
func checkSheetPart(part *zip.File, limits Limits) string {
	r, err := part.Open()
	if err != nil {
		return "the packed file is damaged: " + err.Error()
	}
	defer r.Close()
	d := xml.NewDecoder(&io.LimitedReader{R: r, N: limits.Workbook})
	row, sheet := 0, false
	for {
		token, err := d.RawToken()
		if err != nil {
			if err == io.EOF || !sheet {
				return ""
			}
			return "the sheet is damaged: " + err.Error()
		}
		start, ok := token.(xml.StartElement)
		if !ok {
			continue
		}
		if !sheet {
			if start.Name.Local != "worksheet" {
				return ""
			}
			sheet = true
		}
		switch start.Name.Local {
		case "row":
			n, err := strconv.Atoi(attribute(start, "r"))
			if err != nil || n <= row {
				return fmt.Sprintf("row %q follows row %d", attribute(start, "r"), row)
			}
			if row = n; row > limits.SheetRows {
				return fmt.Sprintf("a sheet has more than %d rows; a table of that size travels better as a package of CSV files", limits.SheetRows)
			}
		case "c":
			col, r, err := excelize.CellNameToCoordinates(attribute(start, "r"))
			if err != nil || r != row {
				return fmt.Sprintf("a cell in row %d has the place %q", row, attribute(start, "r"))
			}
			if col > maxSheetColumns {
				return fmt.Sprintf("the cell %s lies to the right of every table", attribute(start, "r"))
			}
		}
	}
}

func attribute(e xml.StartElement, name string) string {
	for _, a := range e.Attr {
		if a.Name.Local == name && a.Name.Space == "" {
			return a.Value
		}
	}
	return ""
}

// sheet names a sheet the way spreadsheets do in references.
func (b *workbook) sheet(name string) string { return b.base + "!" + name }

// empty tells whether a sheet holds nothing, like those of a new workbook.
func (b *workbook) empty(name string) bool {
	rows, err := b.f.Rows(name)
	if err != nil {
		return false
	}
	defer rows.Close()
	for rows.Next() {
		if cells, err := rows.Columns(); err != nil || len(cells) > 0 {
			return false
		}
	}
	return rows.Error() == nil
}

// rows reads a sheet. The library keeps the whole of it in memory while that
// is done.
func (b *workbook) rows(r *resource, report func(catalog.Finding), refuse func(*catalog.Table, catalog.Row), each eachRow) (err error) {
	at := catalog.Place{File: r.file, Table: r.table.Name}
	bad := func(why any) {
		report(catalog.Finding{Code: catalog.BadFile, Place: at, What: fmt.Sprint("the sheet cannot be read: ", why), Mend: "open the workbook in a spreadsheet program and save it again"})
	}
	own := false // a panic of the consumer is not the library's
	defer func() {
		if own {
			return
		}
		if why := recover(); why != nil {
			bad(why)
		}
	}()
	defer b.f.Sheet.Clear() // nothing has been changed; only the memory is given back

	name := r.table.Name
	// Rows come first: once the library has taken the sheet in, it would write
	// it out again for them.
	rows, err := b.f.Rows(name)
	if err != nil {
		bad(err)
		return nil
	}
	defer rows.Close()
	merged, err := b.f.GetMergeCells(name, true)
	if err != nil {
		bad(err)
		return nil
	}
	for _, m := range merged {
		_, row, err := excelize.CellNameToCoordinates(m.GetStartAxis())
		if err != nil {
			bad(err)
			return nil
		}
		report(catalog.Finding{Code: catalog.BadShape, Place: catalog.Place{File: r.file, Table: name, Row: row}, Value: m.GetStartAxis() + ":" + m.GetEndAxis(),
			What: "cells are merged, so a value belongs to no one row and column", Mend: "split the cells and write the value into each row that it belongs to"})
	}
	var c *converter
	count := 0
	for line := 1; rows.Next(); line++ {
		cells, err := rows.Columns()
		if err != nil {
			bad(err)
			return nil
		}
		if c == nil {
			if line == 1 && len(cells) == 0 {
				break // an empty sheet, or one that does not begin at its top
			}
			for len(cells) > 0 && cells[len(cells)-1] == "" {
				cells = cells[:len(cells)-1]
			}
			c = newConverter(r.table, r, cells, line, report, refuse)
			continue
		}
		for len(cells) < len(c.columns) {
			cells = append(cells, "")
		}
		texts, empty, beside := b.texts(c, cells, line)
		if empty {
			continue
		}
		count++
		cleared, ok := c.convert(texts, line)
		if !ok {
			continue
		}
		if beside {
			refuse(r.table, c.row)
			continue
		}
		own = true
		if err := each(c.row, c.at(line, nil), cleared); err != nil {
			return err
		}
		own = false
	}
	if err := rows.Error(); err != nil {
		bad(err)
		return nil
	}
	switch {
	case c == nil:
		at.Row = 1
		report(catalog.Finding{Code: catalog.BadHeading, Place: at, What: "the first row of the sheet is empty", Mend: "begin the sheet with the heading row, or take it away"})
	case count == 0:
		report(emptyTable(at))
	default:
		c.finish()
	}
	return nil
}

// texts gives the cells of a row as texts. It reports and marks as spoiled
// those that are not texts where a number would not do, and tells whether there
// is anything beside the columns.
func (b *workbook) texts(c *converter, cells []string, line int) (texts []string, empty, beside bool) {
	texts, empty = cells[:0], true
	for i, cell := range cells {
		var col *catalog.Column
		if i < len(c.columns) {
			col = c.columns[i]
		}
		bad := false
		put := func(code catalog.FindingCode, value, what, mend string) {
			c.report(catalog.Finding{Code: code, Place: c.at(line, col), Value: value, What: what, Mend: mend})
			bad = true
		}
		text, err := b.text(c.table.Name, i, line, cell, col, put)
		if err != nil {
			put(catalog.BadFile, cell, "the cell cannot be read: "+err.Error(), "open the workbook in a spreadsheet program and save it again")
		}
		empty = empty && text == "" && !bad
		if i < len(c.columns) {
			c.spoiled[i] = bad
		} else if bad || text != "" {
			if !bad {
				put(catalog.BadShape, cell, "the cell lies to the right of the last heading", "give the column a heading, or empty the cell")
			}
			beside = true
		}
		texts = append(texts, text)
	}
	return texts[:len(c.columns)], empty, beside
}

func (b *workbook) text(sheet string, i, line int, cell string, col *catalog.Column, put putFunc) (string, error) {
	ref, err := excelize.CoordinatesToCellName(i+1, line)
	if err != nil {
		return "", err
	}
	formula, err := b.f.GetCellFormula(sheet, ref)
	if err != nil {
		return "", err
	}
	if formula != "" {
		put(catalog.BadCell, "="+formula, "the cell holds a formula, and a formula is not computed", "put its value in its place: copy the cells and paste them as values")
		return "", nil
	}
	kind, err := b.f.GetCellType(sheet, ref)
	if err != nil {
		return "", err
	}
	if cell == "" {
		if kind == excelize.CellTypeSharedString {
			// In reading by rows the library passes over a reference to a
			// shared text that is not there.
			_, err = b.f.GetCellValue(sheet, ref)
		}
		return "", err
	}
	switch kind {
	case excelize.CellTypeSharedString, excelize.CellTypeInlineString, excelize.CellTypeFormula:
		return cell, nil
	case excelize.CellTypeError:
		put(catalog.BadCell, cell, "the cell holds an error value", "write the value that belongs there")
		return "", nil
	case excelize.CellTypeBool:
		put(catalog.BadCell, cell, "the cell holds a truth value, not text", "format the column as text and write yes, or leave the cell empty")
		return "", nil
	}
	date := kind == excelize.CellTypeDate
	if !date {
		if date, err = b.isDate(sheet, ref); err != nil {
			return "", err
		}
	}
	code := catalog.BadCell
	if col != nil && (col.Kind == catalog.KindCode || col.Kind == catalog.KindTarget) {
		code = catalog.Mangled
	}
	if date {
		mend := "format the column as text and write what belongs there again, as it stands on the part or plate"
		if col != nil && col.Kind == catalog.KindDate {
			mend = "format the column as text and write the date as 2019-04-12, 2019-04 or 2019"
		}
		put(code, cell, "the cell holds a spreadsheet's date, which is a number of days and not what was typed", mend)
		return "", nil
	}
	if col != nil {
		switch col.Kind {
		case catalog.KindCount, catalog.KindDecimal, catalog.KindSerial, catalog.KindDate:
			text, fine := numberText(cell)
			if !fine {
				put(catalog.BadNumber, cell, "the number has more than 15 digits, and a spreadsheet rounds those away", "format the column as text and write the number again")
			}
			return text, nil
		}
	}
	put(code, cell, "the cell holds a number: a number loses the zeros in front, and digits beyond the fifteenth", "format the column as text and write it again, as it stands on the part or plate")
	return "", nil
}

// numberText gives a number of a sheet the way a person typed it. Sheets keep
// binary numbers and show 15 digits, so 5.2 may stand there as
// 5.2000000000000002.
func numberText(raw string) (string, bool) {
	f, err := strconv.ParseFloat(raw, 64)
	if err != nil || strings.Trim(raw, "0123456789+-.eE") != "" || f >= 1e15 || f <= -1e15 {
		return "", false
	}
	f, err = strconv.ParseFloat(strconv.FormatFloat(f, 'g', 15, 64), 64)
	if err != nil {
		return "", false
	}
	return strconv.FormatFloat(f, 'f', -1, 64), true
}

// isDate tells whether a number is shown as a date or time (ECMA-376-1,
// 18.8.30 numFmt: the built-in formats 14 to 22, 27 to 36, 45 to 47 and 50 to
// 58, and formats of one's own with y, m, d, h or s outside quotes).
func (b *workbook) isDate(sheet, ref string) (bool, error) {
	id, err := b.f.GetCellStyle(sheet, ref)
	if err != nil {
		return false, err
	}
	if is, known := b.dates[id]; known {
		return is, nil
	}
	style, err := b.f.GetStyle(id)
	if err != nil {
		return false, err
	}
	n := style.NumFmt
	is := 14 <= n && n <= 22 || 27 <= n && n <= 36 || 45 <= n && n <= 47 || 50 <= n && n <= 58
	if style.CustomNumFmt != nil {
		is = dateFormat(*style.CustomNumFmt)
	}
	b.dates[id] = is
	return is, nil
}

func dateFormat(format string) bool {
	quoted, bracket := false, false
	for i := 0; i < len(format); i++ {
		switch c := format[i]; {
		case c == '\\' || c == '_' || c == '*':
			i++
		case c == '"':
			quoted = !quoted
		case quoted:
		case c == '[':
			bracket = true
		case c == ']':
			bracket = false
		case bracket:
		case strings.IndexByte("ymdhsYMDHS", c) >= 0:
			return true
		}
	}
	return false
}
