package pack

import (
	"archive/zip"
	"bytes"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"platewright/catalog"
)

// book makes the world as a workbook, the way a person's program would save
// it, and lets change spoil it.
func book(t *testing.T, change func(f *excelize.File)) []byte {
	t.Helper()
	f := excelize.NewFile()
	defer f.Close()
	for name, text := range world() {
		_, err := f.NewSheet(name)
		require.NoError(t, err)
		rows, err := standard(text, ',')
		require.NoError(t, err)
		for i, r := range rows {
			for j, cell := range r.Cells {
				at, err := excelize.CoordinatesToCellName(j+1, i+1)
				require.NoError(t, err)
				require.NoError(t, f.SetCellStr(name, at, cell))
			}
		}
	}
	if change != nil {
		change(f)
	}
	b, err := f.WriteToBuffer()
	require.NoError(t, err)
	return b.Bytes()
}

func readBook(t *testing.T, change func(f *excelize.File)) []catalog.Finding {
	t.Helper()
	p, err := openBook(book(t, change), Limits{})
	require.NoError(t, err)
	_, findings := readAll(t, p)
	return findings
}

func TestWorkbook(t *testing.T) {
	path := filepath.Join(t.TempDir(), "harbour.xlsx")
	require.NoError(t, os.WriteFile(path, book(t, nil), 0o600))
	p, err := Open(path, Limits{})
	require.NoError(t, err)
	if p.Name() != "harbour.xlsx" {
		t.Errorf("the name is %q", p.Name())
	}
	fromBook, findings := readAll(t, p)
	if len(findings) > 0 {
		t.Errorf("findings:\n%s", show(findings))
	}
	if d := cmp.Diff(content(Memory(soundWorld(t))), content(Memory(fromBook))); d != "" {
		t.Errorf("(-package +workbook):\n%s", d)
	}
}

func TestWorkbookCells(t *testing.T) {
	set := func(sheet, cell string, v any) func(*excelize.File) {
		return func(f *excelize.File) { require.NoError(t, f.SetCellValue(sheet, cell, v)) }
	}
	day := time.Date(2014, 3, 1, 0, 0, 0, 0, time.UTC)
	format := func(f *excelize.File, sheet, cell string, format string) {
		id, err := f.NewStyle(&excelize.Style{CustomNumFmt: &format})
		require.NoError(t, err)
		require.NoError(t, f.SetCellStyle(sheet, cell, cell, id))
	}
	for _, tt := range []struct {
		name         string
		change       func(f *excelize.File)
		code         catalog.FindingCode
		place, value string
		word         string
	}{
		{"number in a column of codes", set("sources", "A3", 421), catalog.Mangled, "book.xlsx!sources:3 column source", "421", "format the column as text"},
		{"number with zeros shown in front", func(f *excelize.File) {
			set("sources", "A3", 421)(f)
			format(f, "sources", "A3", "00000")
		}, catalog.Mangled, "book.xlsx!sources:3 column source", "421", "loses the zeros"},
		{"date in a column of codes", set("sources", "A3", day), catalog.Mangled, "book.xlsx!sources:3 column source", "41699", "date"},
		{"date in a column of dates", set("sources", "E2", day), catalog.BadCell, "book.xlsx!sources:2 column dated", "41699", "2019-04"},
		{"date with a format of its own", func(f *excelize.File) {
			set("sources", "A3", 41699)(f)
			format(f, "sources", "A3", `"on "d"."m`)
		}, catalog.Mangled, "book.xlsx!sources:3 column source", "41699", "date"},
		{"number in a column of texts", set("makers", "B2", 7), catalog.BadCell, "book.xlsx!makers:2 column name", "7", "number"},
		{"formula", func(f *excelize.File) { require.NoError(t, f.SetCellFormula("makers", "B2", "A2&1")) }, catalog.BadCell, "book.xlsx!makers:2 column name", "=A2&1", "formula"},
		{"formula without a value", func(f *excelize.File) { require.NoError(t, f.SetCellFormula("sources", "F2", "A2")) }, catalog.BadCell, "book.xlsx!sources:2 column about", "=A2", "formula"},
		{"truth value", set("roles", "E2", true), catalog.BadCell, "book.xlsx!roles:2 column one_time", "1", "truth value"},
		{"count that is no whole number", set("variants", "E2", 1.5), catalog.BadCell, "book.xlsx!variants:2 column count", "1.5", "whole number"},
		{"negative quantity", set("supersessions", "D2", -1), catalog.BadNumber, "book.xlsx!supersessions:2 column qty", "-1", "negative"},
		{"number of more than 15 digits", set("variants", "F2", 1234567890123456), catalog.BadNumber, "book.xlsx!variants:2 column serial_from", "1234567890123456", "15 digits"},
		{"cell beside the table", set("makers", "E2", "see there"), catalog.BadShape, "book.xlsx!makers:2", "see there", "right of the last heading"},
		{"unknown heading", func(f *excelize.File) { set("makers", "D1", "nmae")(f) }, catalog.BadHeading, "book.xlsx!makers:1 column nmae", "nmae", "did you mean name"},
		{"merged cells", func(f *excelize.File) { require.NoError(t, f.MergeCell("makers", "A4", "B5")) }, catalog.BadShape, "book.xlsx!makers:4", "A4:B5", "merged"},
		{"hidden sheet", func(f *excelize.File) { require.NoError(t, f.SetSheetVisible("supersessions", false)) }, catalog.BadFile, "book.xlsx!supersessions", "supersessions", "hidden"},
		{"sheet that is no table", func(f *excelize.File) {
			_, err := f.NewSheet("fit")
			require.NoError(t, err)
			set("fit", "A1", "x")(f)
		}, catalog.UnknownTable, "book.xlsx!fit", "fit", "did you mean fits"},
		{"duplicate", func(f *excelize.File) {
			require.NoError(t, f.SetSheetRow("makers", "A5", &[]string{"quorn", "Again", "BENCH"}))
		}, catalog.Duplicate, "book.xlsx!makers:5 column maker", "quorn", "makers:2"},
		{"dangling", set("makers", "C2", "GONE"), catalog.Dangling, "book.xlsx!makers:2 column source", "GONE", "sources"},
		{"look-alike letter", set("sources", "A3", "BЕNCH"), catalog.BadCode, "book.xlsx!sources:3 column source", "BЕNCH", "CYRILLIC"},
		{"empty first row", func(f *excelize.File) {
			require.NoError(t, f.RemoveRow("supersessions", 1))
			require.NoError(t, f.RemoveRow("supersessions", 1))
		},
			catalog.BadHeading, "book.xlsx!supersessions:1", "", "first row"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			findings := readBook(t, func(f *excelize.File) {
				// A second source, for codes to be spoiled that nothing refers to.
				require.NoError(t, f.SetSheetRow("sources", "A1", &[]string{"source", "title", "kind", "edition", "dated", "about"}))
				require.NoError(t, f.SetSheetRow("sources", "A3", &[]string{"SHOP", "The shop's own", "invented"}))
				tt.change(f)
			})
			expect(t, findings, tt.code, tt.place, tt.value, tt.word)
		})
	}
}

func TestWorkbookThatIsFine(t *testing.T) {
	for name, change := range map[string]func(f *excelize.File){
		"numbers in columns of numbers": func(f *excelize.File) {
			require.NoError(t, f.SetCellValue("variants", "E2", 120))
			require.NoError(t, f.SetCellValue("variants", "F2", 100))
			require.NoError(t, f.SetSheetRow("sources", "D1", &[]string{"dated"}))
			require.NoError(t, f.SetCellValue("sources", "D2", 2014))
		},
		"a text that a program would turn into a number": func(f *excelize.File) {
			require.NoError(t, f.SetCellStr("sources", "A3", "1E5"))
			require.NoError(t, f.SetCellStr("sources", "B3", "00421"))
			require.NoError(t, f.SetCellStr("sources", "C3", "invented"))
		},
		"an empty sheet of another name": func(f *excelize.File) {
			_, err := f.NewSheet("Sheet2")
			require.NoError(t, err)
		},
		"an empty row between": func(f *excelize.File) {
			require.NoError(t, f.SetSheetRow("makers", "A5", &[]string{"ZUSK", "Zusk", "BENCH"}))
		},
		"text in several styles": func(f *excelize.File) {
			require.NoError(t, f.SetCellRichText("makers", "B2", []excelize.RichTextRun{{Text: "Quorn", Font: &excelize.Font{Bold: true}}, {Text: "werk"}}))
		},
	} {
		if findings := readBook(t, change); len(findings) > 0 {
			t.Errorf("%s: findings:\n%s", name, show(findings))
		}
	}
	findings := readBook(t, func(f *excelize.File) {
		_, err := f.NewSheet("lists")
		require.NoError(t, err)
		require.NoError(t, f.SetCellValue("lists", "A1", 7))
		require.NoError(t, f.SetSheetVisible("lists", false))
	})
	if len(findings) != 1 || findings[0].Severity != catalog.Remark || findings[0].Code != catalog.UnknownTable {
		t.Errorf("a hidden sheet that is no table: got\n%s", show(findings))
	}
}

// TestNumberText: sheets keep binary numbers with 17 digits and show 15.
func TestNumberText(t *testing.T) {
	for raw, want := range map[string]string{"5.2000000000000002": "5.2", "1.1000000000000001": "1.1", "0.1": "0.1", "120": "120", "1E+5": "100000", "1.0000000000000001E-5": "0.00001", "-12.5": "-12.5"} {
		if got, ok := numberText(raw); !ok || got != want {
			t.Errorf("numberText(%q) = %q, %v, want %q", raw, got, ok, want)
		}
	}
	for _, raw := range []string{"1E15", "1234567890123456", "x", "", "NaN", "Inf"} {
		if got, ok := numberText(raw); ok {
			t.Errorf("numberText(%q) = %q, want a refusal", raw, got)
		}
	}
}

// TestDateFormats: ECMA-376-1, 18.8.31, number format codes.
func TestDateFormats(t *testing.T) {
	for format, want := range map[string]bool{"yyyy-mm-dd": true, "d.m.": true, "h:mm": true, `[$-407]d/ mmm`: true, "0.00": false, "00000": false,
		`0" days"`: false, `0\d`: false, "[Red]0": false, "#,##0_);[Red]0": false, "@": false} {
		if got := dateFormat(format); got != want {
			t.Errorf("dateFormat(%q) = %v", format, got)
		}
	}
}

// repack changes one part of a workbook.
func repack(t *testing.T, b []byte, part string, change func(string) string) []byte {
	t.Helper()
	z, err := zip.NewReader(bytes.NewReader(b), int64(len(b)))
	require.NoError(t, err)
	var files []string
	hit := false
	for _, f := range z.File {
		r, err := f.Open()
		require.NoError(t, err)
		text, err := io.ReadAll(r)
		require.NoError(t, err)
		s := string(text)
		if f.Name == part {
			hit = true
			s = change(s)
		}
		files = append(files, f.Name, s)
	}
	require.True(t, hit, part)
	return zipOf(t, files...)
}

func TestHostileWorkbooks(t *testing.T) {
	good := book(t, nil)
	const sheet = "xl/worksheets/sheet2.xml"
	replace := func(old, fresh string) func(string) string {
		return func(s string) string {
			require.Contains(t, s, old)
			return strings.Replace(s, old, fresh, 1)
		}
	}
	for _, tt := range []struct {
		name   string
		bytes  []byte
		limits Limits
		code   catalog.FindingCode
		word   string
	}{
		{"cell far to the right", repack(t, good, sheet, replace(`r="B2"`, `r="XFD2"`)), Limits{}, catalog.BadFile, "XFD2"},
		{"row far below", repack(t, good, sheet, func(s string) string {
			return strings.ReplaceAll(strings.Replace(s, `<row r="2"`, `<row r="1048576"`, 1), `2"`, `1048576"`)
		}), Limits{}, catalog.BadFile, "100000 rows"},
		{"rows without numbers", repack(t, good, sheet, replace(`<row r="1"`, `<row`)), Limits{}, catalog.BadFile, "row"},
		{"rows out of order", repack(t, good, sheet, replace(`<row r="2"`, `<row r="1"`)), Limits{}, catalog.BadFile, "row"},
		{"cells without places", repack(t, good, sheet, replace(` r="B2"`, ``)), Limits{}, catalog.BadFile, "place"},
		{"text cut off", repack(t, good, sheet, func(s string) string { return s[:len(s)*2/3] }), Limits{}, catalog.BadFile, "damaged"},
		{"blown up", repack(t, good, sheet, func(s string) string { return s + strings.Repeat(" ", 9<<20) }), Limits{}, catalog.TooLarge, "times"},
		{"too large", good, Limits{Workbook: 10_000}, catalog.TooLarge, "10000 bytes"},
		{"too many parts", good, Limits{Entries: 3}, catalog.TooLarge, "limit is 3"},
		{"no zip", []byte("name,maker\n"), Limits{}, catalog.BadPackage, "zip"},
		{"a zip of something else", zipOf(t, "a.txt", "b"), Limits{}, catalog.BadPackage, ""},
		{"a password", append([]byte("\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"), make([]byte, 4096)...), Limits{}, catalog.BadPackage, "password"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, err := openBook(tt.bytes, tt.limits)
			list := refusedWith(t, err)
			if len(list) != 1 || list[0].Code != tt.code || !strings.Contains(list[0].String(), tt.word) {
				t.Errorf("got:\n%s", show(list))
			}
		})
	}
	t.Run("shared text that is not there", func(t *testing.T) {
		b := repack(t, good, sheet, func(s string) string {
			i := strings.LastIndex(s, "<v>")
			return s[:i] + "<v>99999</v>" + s[i+strings.Index(s[i:], "</v>")+4:]
		})
		p, err := openBook(b, Limits{})
		require.NoError(t, err)
		if _, findings := readAll(t, p); len(findings) == 0 {
			t.Error("no finding")
		}
	})
}

// TestDamagedWorkbooks: whatever bytes are changed, there are findings or rows
// and never a panic.
func TestDamagedWorkbooks(t *testing.T) {
	good := book(t, nil)
	for _, part := range []string{"xl/workbook.xml", "xl/_rels/workbook.xml.rels", "xl/styles.xml", "xl/sharedStrings.xml", "xl/worksheets/sheet3.xml", "[Content_Types].xml", "docProps/core.xml"} {
		for cut := range 6 {
			b := repack(t, good, part, func(s string) string {
				at := len(s) * cut / 6
				return s[:at] + strings.Replace(s[at:], `"`, ``, cut%2) + "<"
			})
			p, err := openBook(b, Limits{})
			if err != nil {
				_ = refusedWith(t, err)
				continue
			}
			readAll(t, p)
		}
	}
}

func TestWorkbookWithoutTables(t *testing.T) {
	f := excelize.NewFile()
	defer f.Close()
	b, err := f.WriteToBuffer()
	require.NoError(t, err)
	_, err = openBook(b.Bytes(), Limits{})
	check(t, refusedWith(t, err)[0], catalog.NothingToImport, "book.xlsx", "", "no sheet")
}
