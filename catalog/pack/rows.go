package pack

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"

	"platewright/catalog"
)

// converter turns the cells under one heading row into rows of a table and
// says what is wrong with them.
type converter struct {
	table       *catalog.Table
	file        string
	columns     []*catalog.Column // by place in the file; nil for one that is not known
	index       []int             // by place in the file: the column's index in the table
	literal     map[string]bool
	apostrophes bool
	fromCSV     bool
	usable      bool // every key column is there, so rows can be yielded

	row     catalog.Row
	last    []string // by place in the file: the last code that was found good
	zeros   []*zeros // by place in the file; nil where zeros are not watched
	spoiled []bool   // by place in the file: cells of the row at hand that have been reported
	report  func(catalog.Finding)
	refuse  func(*catalog.Table, catalog.Row) // told each row that is not yielded though its key is known
}

// newConverter reads the heading row.
func newConverter(t *catalog.Table, res *resource, heading []string, line int, report func(catalog.Finding), refuse func(*catalog.Table, catalog.Row)) *converter {
	n := len(heading)
	c := &converter{table: t, file: res.file, literal: res.literal, apostrophes: res.apostrophes, fromCSV: res.path != "",
		columns: make([]*catalog.Column, n), index: make([]int, n), usable: true,
		row: t.New(), last: make([]string, n), zeros: make([]*zeros, n), spoiled: make([]bool, n), report: report, refuse: refuse}
	seen := make([]bool, len(t.Columns))
	for i, name := range heading {
		at := catalog.Place{File: c.file, Table: t.Name, Row: line, Column: name}
		k := slices.IndexFunc(t.Columns, func(col *catalog.Column) bool { return col.Name == name })
		switch {
		case k < 0:
			what, mend := "the table "+t.Name+" has no column of this name", "take the column away"
			if name == "" {
				what, mend = fmt.Sprintf("the heading of column %d is empty", i+1), "write the column's name, or take the column away"
			} else if near := catalog.Nearest(name, columnNames(t)); near != "" {
				mend = "did you mean " + near + "? Otherwise take the column away"
			}
			report(catalog.Finding{Code: catalog.BadHeading, Place: at, Value: name, What: what, Mend: mend})
		case seen[k]:
			report(catalog.Finding{Code: catalog.BadHeading, Place: at, Value: name, What: "the heading stands twice", Mend: "keep one column of this name"})
		default:
			seen[k] = true
			col := t.Columns[k]
			c.columns[i], c.index[i] = col, k
			if c.fromCSV && watchesZeros(t, k, col) {
				c.zeros[i] = &zeros{keep: catalog.MaxFindings}
			}
		}
	}
	for k, col := range t.Columns {
		if seen[k] || !col.Required {
			continue
		}
		if t.IsKey(k) {
			c.usable = false
		}
		report(catalog.Finding{Code: catalog.BadHeading, Place: catalog.Place{File: c.file, Table: t.Name, Row: line, Column: col.Name},
			What: "the column " + col.Name + " is missing", Mend: "add it: " + col.Doc})
	}
	return c
}

func columnNames(t *catalog.Table) []string {
	names := make([]string, len(t.Columns))
	for i, c := range t.Columns {
		names[i] = c.Name
	}
	return names
}

// convert reads the cells of a row into c.row. It reports whether the row is
// well-formed; if not, it has said why.
func (c *converter) convert(cells []string, line int) (cleared catalog.Cells, ok bool) {
	if len(cells) != len(c.columns) {
		mend := "check the separators and quotes of this row"
		if len(cells) > len(c.columns) {
			mend = "put a cell that holds the separator in quotes"
		}
		clear(c.spoiled)
		c.report(catalog.Finding{Code: catalog.BadShape, Place: c.at(line, nil), Value: strings.ToValidUTF8(strings.Join(cells, " | "), "?"),
			What: fmt.Sprintf("the row has %d cells and the heading has %d", len(cells), len(c.columns)), Mend: mend})
		return 0, false
	}
	c.table.Reset(c.row)
	ok = c.usable
	keyed := c.usable // the cells of the key are good
	wrong := func(i int) {
		ok = false
		keyed = keyed && !c.table.IsKey(c.index[i])
	}
	for i, cell := range cells {
		col := c.columns[i]
		if c.spoiled[i] {
			c.spoiled[i] = false
			wrong(i)
			continue
		}
		if cell == "" || col == nil {
			continue
		}
		if cell[0] == '\'' && c.apostrophes {
			if cell = cell[1:]; cell == "" {
				continue
			}
		}
		if cell[0] == '(' && cell == catalog.ClearWord {
			if c.table.IsKey(c.index[i]) {
				c.report(catalog.Finding{Code: catalog.BadCell, Place: c.at(line, col), Value: cell, What: "a column of the key cannot be cleared", Mend: "leave the cell empty, or write what the row is about"})
				wrong(i)
				continue
			}
			cleared = cleared.With(c.index[i])
			continue
		}
		if err := col.Set(c.row, cell); err != nil {
			c.report(cellFinding(err, col, cell, c.at(line, col)))
			wrong(i)
			continue
		}
		if c.fromCSV && (col.Kind == catalog.KindCode || col.Kind == catalog.KindTarget) && cell != c.last[i] {
			if !c.code(i, cell, line) {
				wrong(i)
				continue
			}
			c.last[i] = cell
		}
	}
	if !ok && keyed {
		c.refuse(c.table, c.row)
	}
	return cleared, ok
}

// code reports a code that a spreadsheet has rewritten.
func (c *converter) code(i int, code string, line int) bool {
	if len(c.literal) > 0 && c.literal[code] {
		return true
	}
	if as := mangledAs(code); as != "" {
		c.report(catalog.Finding{Code: catalog.Mangled, Place: c.at(line, c.columns[i]), Value: code,
			What: "the code looks like " + as + " that a spreadsheet made of it",
			Mend: "write the code as it stands on the part or plate, in a column formatted as text; if it truly looks so, list it in literalCodes of the resource in " + DescriptorName})
		return false
	}
	if z := c.zeros[i]; z != nil && '0' <= code[0] && code[0] <= '9' {
		z.see(code, c.at(line, c.columns[i]))
	}
	return true
}

// finish reports what only shows when all rows are read.
func (c *converter) finish() {
	for i, z := range c.zeros {
		if z == nil {
			continue
		}
		cases, width := z.suspects()
		for _, s := range cases {
			c.report(catalog.Finding{Code: catalog.LostLeadingZeros, Place: s.at, Value: s.code,
				What: fmt.Sprintf("the other codes of digits in the column %s have %d and some begin with 0; this one seems to have lost its zeros", c.columns[i].Name, width),
				Mend: fmt.Sprintf("write %s; if it truly has %d digits, list it in literalCodes of the resource in %s", strings.Repeat("0", width-len(s.code))+s.code, len(s.code), DescriptorName)})
		}
	}
}

func (c *converter) at(line int, col *catalog.Column) catalog.Place {
	at := catalog.Place{File: c.file, Table: c.table.Name, Row: line}
	if col != nil {
		at.Column = col.Name
	}
	return at
}

// cellFinding tells what is wrong with a cell that its column refuses.
func cellFinding(err error, col *catalog.Column, cell string, at catalog.Place) catalog.Finding {
	f := catalog.Finding{Code: catalog.BadCell, Place: at, Value: cell}
	var code *catalog.CodeError
	var value *catalog.ValueError
	switch {
	case errors.As(err, &code):
		f.Code, f.What, f.Mend = catalog.BadCode, code.Reason, code.Mend
	case errors.As(err, &value):
		f.What, f.Mend = value.Reason, value.Mend
		if col.Kind == catalog.KindCount && len(cell) > 1 && cell[0] == '-' && digits(cell[1:]) == len(cell)-1 {
			f.Code = catalog.BadNumber
		}
	default:
		f.What, f.Mend = err.Error(), "correct it: "+col.Doc
	}
	return f
}

// badText reports the cells that are not UTF-8 or hold a NUL byte.
func (c *converter) badText(cells []string, line int) {
	for i, cell := range cells {
		var col *catalog.Column
		if i < len(c.columns) {
			col = c.columns[i]
		}
		if f, bad := textFinding(cell, c.at(line, col)); bad {
			c.report(f)
			if i < len(c.columns) {
				c.spoiled[i] = true
			}
		}
	}
}

const asUTF8 = "save the file as UTF-8: in a spreadsheet choose “CSV UTF-8” or the character set Unicode (UTF-8) when saving"

func textFinding(cell string, at catalog.Place) (catalog.Finding, bool) {
	if i := strings.IndexByte(cell, 0); i >= 0 {
		return catalog.Finding{Code: catalog.BadEncoding, Place: at, Value: strings.ToValidUTF8(cell, "?"),
			What: fmt.Sprintf("byte %d of the cell is NUL, so the file is not UTF-8 text, or it is damaged", i+1), Mend: asUTF8}, true
	}
	for i, r := range cell {
		if r != utf8.RuneError {
			continue
		}
		if _, size := utf8.DecodeRuneInString(cell[i:]); size > 1 {
			continue
		}
		what := fmt.Sprintf("byte %d of the cell is 0x%02X, which is not UTF-8", i+1, cell[i])
		if as := charmap.Windows1252.DecodeByte(cell[i]); as != utf8.RuneError && as >= 0xa0 {
			what += "; in Windows-1252 it would be " + strconv.QuoteRune(as)
		}
		return catalog.Finding{Code: catalog.BadEncoding, Place: at, Value: strings.ToValidUTF8(cell, "?"), What: what, Mend: asUTF8}, true
	}
	return catalog.Finding{}, false
}
