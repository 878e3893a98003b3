// Package pack reads and writes a catalogue as files: a Frictionless Data
// Package (a folder, a zip or any [fs.FS], with datapackage.json and CSV
// tables), or an XLSX workbook with the same tables as sheets.
//
// What lives here: the descriptor and its dialects, the CSV and sheet readers
// with everything that can be wrong in a file, the writers. What must not: the
// rules of rows and of the whole (package catalog), storage (package store).
//
// # Reading
//
// A package is read table by table through [catalog.Feed]. A resource is a
// table by its name, whatever its file is called; a sheet by its own name. The
// heading row names the columns, in any order; optional columns may be left
// out. Blank rows are skipped. Nothing is trimmed, repaired or guessed: what
// is not exactly a value of its column is a finding with its place and how to
// mend it. A cell that holds [catalog.ClearWord] empties what stands.
//
// Spreadsheets rewrite codes: 1E5 becomes 1.00E+05, 3-3 becomes 03-Mar, 0421
// becomes 421. Codes in a CSV file that look so are refused. A code that truly
// looks so is allowed by listing it in the property literalCodes of its
// resource in datapackage.json; the writers list such codes by themselves. A
// workbook tells numbers and dates from text, so there a number or date in a
// column of texts is refused and text is taken as it stands.
//
// # Writing
//
// The same catalogue gives the same bytes, always. CSV files follow RFC 4180:
// UTF-8, commas, CRLF, a heading row, quotes only where they are needed. With
// [Options.ForSpreadsheets] the files begin with a byte-order mark, and a cell
// that a spreadsheet would take for a formula gets an apostrophe in front; the
// resource then carries "apostrophes": true, and reading takes one apostrophe
// off again wherever a cell begins with one. Against rewritten codes only a
// workbook helps: there the columns are formatted as text.
package pack
