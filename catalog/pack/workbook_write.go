package pack

import (
	"archive/zip"
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"slices"
	"strconv"

	"github.com/xuri/excelize/v2"

	"platewright/catalog"
)

// WriteWorkbook writes the catalogue as a workbook with one sheet a table. All
// columns but those of numbers are formatted as text, so that codes typed into
// them stay as they are. A table of more than 1048575 rows does not fit, and
// the workbook is made in memory: large catalogues travel as packages.
func WriteWorkbook(w io.Writer, src Source, info Info, opts Options) (err error) {
	f := excelize.NewFile(excelize.Options{RawCellValue: true})
	defer func() { err = errors.Join(err, f.Close()) }()
	f.SetZipWriter(func(w io.Writer) excelize.ZipWriter { return &sortedZip{w: w, parts: map[string]*bytes.Buffer{}} })
	// The name of the library's author is no author of the catalogue.
	if err := f.SetDocProps(&excelize.DocProperties{Creator: "Platewright", Identifier: slug(info.Name),
		Title: info.Title, Version: info.Version, Description: info.About}); err != nil {
		return err
	}
	text, err := f.NewStyle(&excelize.Style{NumFmt: 49}) // 49 is @, text (ECMA-376-1, 18.8.30)
	if err != nil {
		return err
	}
	heading, err := f.NewStyle(&excelize.Style{NumFmt: 49, Font: &excelize.Font{Bold: true}})
	if err != nil {
		return err
	}
	sheets := 0
	for _, t := range tableSet(opts.Tables).list() {
		sheet := &sheetOut{f: f, table: t, text: text, heading: heading, first: sheets == 0}
		if !opts.SkipEmpty {
			if err := sheet.begin(); err != nil {
				return fmt.Errorf("write sheet %s: %w", t.Name, err)
			}
		}
		if err := src.Each(t, sheet.row); err != nil {
			return fmt.Errorf("write sheet %s: %w", t.Name, err)
		}
		if sheet.w == nil {
			continue
		}
		sheets++
		if err := sheet.w.Flush(); err != nil {
			return fmt.Errorf("write sheet %s: %w", t.Name, err)
		}
	}
	return f.Write(w)
}

// sheetOut writes one sheet.
type sheetOut struct {
	f             *excelize.File
	table         *catalog.Table
	text, heading int
	first         bool // of the workbook
	w             *excelize.StreamWriter
	rows          int
	cells         []any
}

func (s *sheetOut) begin() error {
	if s.first {
		// A new workbook has a sheet; to delete it in the end would make the
		// library read all others again.
		if err := s.f.SetSheetName("Sheet1", s.table.Name); err != nil {
			return err
		}
	} else if _, err := s.f.NewSheet(s.table.Name); err != nil {
		return err
	}
	w, err := s.f.NewStreamWriter(s.table.Name)
	if err != nil {
		return err
	}
	s.w = w
	s.cells = make([]any, len(s.table.Columns))
	for i, c := range s.table.Columns {
		width := 14.0
		switch c.Kind {
		case catalog.KindText:
			width = 36
		case catalog.KindConditions:
			width = 24
		}
		if err := w.SetColWidth(i+1, i+1, width); err != nil {
			return err
		}
		if !isNumber(c.Kind) {
			if err := w.SetColStyle(i+1, i+1, s.text); err != nil {
				return err
			}
		}
		s.cells[i] = excelize.Cell{StyleID: s.heading, Value: c.Name}
	}
	if err := w.SetPanes(&excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"}); err != nil {
		return err
	}
	return s.put()
}

func isNumber(k catalog.Kind) bool {
	return k == catalog.KindCount || k == catalog.KindDecimal || k == catalog.KindSerial
}

func (s *sheetOut) put() error {
	s.rows++
	if s.rows > excelize.TotalRows {
		return fmt.Errorf("the table has more than the %d rows that a sheet holds: write it as a package of CSV files", excelize.TotalRows-1)
	}
	return s.w.SetRow("A"+strconv.Itoa(s.rows), s.cells)
}

func (s *sheetOut) row(r catalog.Row) error {
	if s.w == nil {
		if err := s.begin(); err != nil {
			return err
		}
	}
	for i, c := range s.table.Columns {
		cell := c.Get(r)
		switch {
		case cell == "":
			s.cells[i] = nil
		case cell == catalog.ClearWord:
			return fmt.Errorf("the cell %s of %s is the word %s, which cannot be written: it would empty the cell when it is read", c.Name, s.table.RowName(r), cell)
		case isNumber(c.Kind):
			s.cells[i] = number(cell)
		default:
			s.cells[i] = cell
		}
	}
	return s.put()
}

// number gives a cell's number where a sheet keeps it exactly, else its text.
func number(cell string) any {
	n := 0
	for i := range len(cell) {
		if '0' <= cell[i] && cell[i] <= '9' {
			n++
		}
	}
	f, err := strconv.ParseFloat(cell, 64)
	if err != nil || n > 15 {
		return cell
	}
	if text, ok := numberText(strconv.FormatFloat(f, 'f', -1, 64)); !ok || text != cell {
		return cell
	}
	return f
}

// sortedZip writes the parts of a workbook in a fixed order with a fixed time.
// The library hands them over in the order of a map.
type sortedZip struct {
	w     io.Writer
	parts map[string]*bytes.Buffer
}

// Create implements [excelize.ZipWriter].
func (s *sortedZip) Create(name string) (io.Writer, error) {
	b := &bytes.Buffer{}
	s.parts[name] = b
	return b, nil
}

// AddFS implements [excelize.ZipWriter]; the library does not use it to save.
func (s *sortedZip) AddFS(fs.FS) error { return errors.ErrUnsupported }

// Close implements [excelize.ZipWriter].
func (s *sortedZip) Close() error {
	names := make([]string, 0, len(s.parts))
	for n := range s.parts {
		names = append(names, n)
	}
	slices.Sort(names) // [Content_Types].xml comes first, as it should
	z := zip.NewWriter(s.w)
	for _, n := range names {
		f, err := createIn(z, n)
		if err != nil {
			return err
		}
		if _, err := f.Write(s.parts[n].Bytes()); err != nil {
			return err
		}
	}
	return z.Close()
}
