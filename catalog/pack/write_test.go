package pack

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"
	"pgregory.net/rapid"

	"platewright/catalog"
	"platewright/catalog/memory"
)

var info = Info{Name: "harbour-shop", Title: "Harbour shop", Version: "7", About: "Invented throughout."}

// anyText draws texts with everything that a text may hold and a file may spoil.
func anyText() *rapid.Generator[string] {
	return rapid.OneOf(
		rapid.StringOfN(rapid.SampledFrom([]rune("abZ09 ,;\"'=+-@\t\n()_.:/ü€漢x")), 1, 12, -1),
		rapid.SampledFrom([]string{"=1+1", "+5", "-5", "@sum", "\tx", "'", "''x", "'=1", "_x0041_", "_x005F_", "_x005F_x0041_", "a_x000D_b", "<b>&amp;", " lead", "trail ", "1E5", "0421", "TRUE", "2014-03-01", "#N/A"}),
	)
}

func anyCode() *rapid.Generator[string] {
	return rapid.OneOf(
		rapid.StringMatching(`[A-Z0-9][A-Z0-9 ,;"'=+@._/-]{0,10}[A-Z0-9]`),
		rapid.StringMatching(`0[0-9]{4}|[0-9]{2,5}`),
		rapid.SampledFrom([]string{"1E5", "1.23457E+11", "03-Mar", "Mar-14", "2014-03-01", "=A1", "-12", "+12", "@1", "'1"}),
	)
}

// anyCell draws a cell of a column; some are empty. What the column refuses is
// drawn again by the caller.
func anyCell(c *catalog.Column) *rapid.Generator[string] {
	var g *rapid.Generator[string]
	switch c.Kind {
	case catalog.KindCode, catalog.KindTarget:
		g = anyCode()
	case catalog.KindWord:
		g = rapid.SampledFrom(c.Words)
	case catalog.KindCount:
		g = rapid.Map(rapid.IntRange(1, 99_999_999), func(n int) string { return fmt.Sprint(n) })
	case catalog.KindSerial:
		g = rapid.StringMatching(`[1-9][0-9]{0,17}`)
	case catalog.KindDecimal:
		g = rapid.StringMatching(`-?[0-9]{1,12}(\.[0-9]{1,9})?`)
	case catalog.KindYes:
		g = rapid.Just("yes")
	case catalog.KindDate:
		g = rapid.SampledFrom([]string{"2014", "2014-03", "2014-03-01", "1999-12-31"})
	case catalog.KindWords:
		g = rapid.SampledFrom([]string{"1", "7 3 1", "a b", "AJ=1 BK=2"})
	case catalog.KindConditions:
		g = rapid.SampledFrom([]string{"connector=keyed", "connector=keyed; colour=grey, light"})
	default:
		g = anyText()
	}
	if c.Required {
		return g
	}
	return rapid.OneOf(g, rapid.Just(""))
}

// anyCatalogue draws rows of every table. They are well-formed, no more: what
// rows mean is not the business of files.
func anyCatalogue(t *rapid.T) *memory.Catalogue {
	c := memory.New()
	for _, table := range catalog.Tables() {
		for range rapid.IntRange(0, 6).Draw(t, "rows") {
			r := table.New()
			for _, col := range table.Columns {
				cell := anyCell(col).Draw(t, table.Name+"."+col.Name)
				if cell == catalog.ClearWord || col.Set(r, cell) != nil {
					_ = col.Set(r, map[bool]string{true: "Q1"}[col.Required])
				}
			}
			c.Add(table, r, catalog.Place{})
		}
	}
	c.Seal()
	return c
}

// wellFormed reads a package without the checks of meaning.
func wellFormed(t testing.TB, p *Package) *memory.Catalogue {
	t.Helper()
	c := memory.New()
	var found catalog.Findings
	for _, table := range p.Tables() {
		require.NoError(t, p.Rows(table, &found, func(r catalog.Row, at catalog.Place, cleared catalog.Cells) error {
			if !c.Add(table, table.Clone(r), at) || cleared != 0 {
				t.Errorf("%s: a double row, or a cleared cell", at)
			}
			return nil
		}))
	}
	if err := found.Err(); err != nil {
		t.Errorf("what was written is refused:\n%s", show(found.List()))
	}
	c.Seal()
	return c
}

func zipped(t testing.TB, src Source, opts Options) []byte {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, WriteZip(&b, src, info, opts))
	return b.Bytes()
}

func workbookOf(t testing.TB, src Source, opts Options) []byte {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, WriteWorkbook(&b, src, info, opts))
	return b.Bytes()
}

func openBook(b []byte, limits Limits) (*Package, error) {
	return openWorkbook(bytes.NewReader(b), int64(len(b)), "book.xlsx", nil, limits.withDefaults())
}

// TestRoundTrip: whatever a catalogue holds comes back, and is written to the
// same bytes again.
func TestRoundTrip(t *testing.T) {
	checks := 0
	rapid.Check(t, func(rt *rapid.T) {
		if checks++; checks > 50 { // a catalogue takes some 20 ms
			return
		}
		c := anyCatalogue(rt)
		want := content(Memory(c))
		opts := Options{SkipEmpty: rapid.Bool().Draw(rt, "skip"), ForSpreadsheets: rapid.Bool().Draw(rt, "guard")}

		first := zipped(t, Memory(c), opts)
		p, err := openBytes(first, Limits{})
		if err != nil {
			if len(want) == 0 {
				return // nothing but a descriptor without resources
			}
			rt.Fatal(err)
		}
		if p.Info() != info {
			rt.Errorf("got %+v, want %+v", p.Info(), info)
		}
		back := wellFormed(t, p)
		if d := cmp.Diff(want, content(Memory(back))); d != "" {
			rt.Fatalf("zip (-written +read):\n%s", d)
		}
		if !bytes.Equal(first, zipped(t, Memory(back), opts)) {
			rt.Fatal("the second zip has other bytes than the first")
		}
	})
}

func TestWorkbookRoundTrip(t *testing.T) {
	checks := 0
	rapid.Check(t, func(rt *rapid.T) {
		if checks++; checks > 15 { // a workbook takes some 20 ms
			return
		}
		c := anyCatalogue(rt)
		first := workbookOf(t, Memory(c), Options{})
		p, err := openBook(first, Limits{})
		if err != nil {
			rt.Fatal(err)
		}
		if p.Info() != info {
			rt.Errorf("got %+v, want %+v", p.Info(), info)
		}
		back := wellFormed(t, p)
		if d := cmp.Diff(content(Memory(c)), content(Memory(back))); d != "" {
			rt.Fatalf("(-written +read):\n%s", d)
		}
		if !bytes.Equal(first, workbookOf(t, Memory(back), Options{})) {
			rt.Fatal("the second workbook has other bytes than the first")
		}
	})
}

func soundWorld(t *testing.T) *memory.Catalogue {
	t.Helper()
	c, findings := read(t, asFS(t, world(), nil))
	require.Empty(t, findings)
	return c
}

func files(t *testing.T, dir string) map[string]string {
	t.Helper()
	out := map[string]string{}
	require.NoError(t, filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := os.ReadFile(path)
		name, _ := filepath.Rel(dir, path)
		out[name] = string(b)
		return err
	}))
	return out
}

func TestFolderRoundTrip(t *testing.T) {
	top := t.TempDir()
	one, two := filepath.Join(top, "deep", "one"), filepath.Join(top, "two")
	require.NoError(t, WriteFile(one, Memory(soundWorld(t)), info, Options{}))
	p, err := Open(one, Limits{})
	require.NoError(t, err)
	c, findings := readAll(t, p)
	for _, f := range findings {
		if f.Code != catalog.EmptyTable {
			t.Errorf("finding: %s", f)
		}
	}
	require.NoError(t, WriteFile(two, Memory(c), info, Options{}))
	if d := cmp.Diff(files(t, one), files(t, two)); d != "" {
		t.Errorf("(-first +second):\n%s", d)
	}
	if got := files(t, one)["makers.csv"]; got != "maker,name,source\r\nQUORN,Quornwerk,BENCH\r\n" {
		t.Errorf("makers.csv is %q", got)
	}
	if got := files(t, one)["variants.csv"]; !strings.Contains(got, "\r\nHX7-014,HX7,Q-PLATE,\"Van, short\",120,100,,,,BENCH\r\n") {
		t.Errorf("variants.csv is %q", got)
	}
	if list, err := os.ReadDir(top); err != nil || len(list) != 2 {
		t.Errorf("something is left beside the packages: %v %v", list, err)
	}
}

func TestSkipEmpty(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "p")
	require.NoError(t, WriteFolder(dir, Memory(soundWorld(t)), info, Options{SkipEmpty: true}))
	got := files(t, dir)
	if len(got) != len(world())+1 {
		t.Errorf("got %d files, want %d tables and the descriptor", len(got), len(world()))
	}
	// A foreign key to a resource that is not there would be wrong.
	if strings.Contains(got[DescriptorName], `"resource": "cautions"`) {
		t.Error("the descriptor refers to a table that has not been written")
	}
	p, err := Open(dir, Limits{})
	require.NoError(t, err)
	if _, findings := readAll(t, p); len(findings) > 0 {
		t.Errorf("findings:\n%s", show(findings))
	}
}

func TestLiteralCodesAreListedWhenWritten(t *testing.T) {
	c := memory.New()
	parts := catalog.TableByName(catalog.TParts)
	for _, code := range []string{"000421", "007330", "7330-", "118204", "7331", "1E5", "03-Mar", "GK-1"} {
		c.Add(parts, &catalog.Part{Part: catalog.PartNo(code)}, catalog.Place{})
	}
	c.Seal()
	dir := filepath.Join(t.TempDir(), "p")
	require.NoError(t, WriteFolder(dir, Memory(c), info, Options{SkipEmpty: true}))
	text := strings.Join(strings.Fields(files(t, dir)[DescriptorName]), "")
	if !strings.Contains(text, `"literalCodes":["03-Mar","1E5","7331"]`) {
		t.Errorf("the descriptor does not list the codes that look mangled: %s", text)
	}
}

// TestFormulas: no cell of a file for spreadsheets begins with a character
// that starts a formula there (OWASP, CSV Injection: = + - @, tab, carriage
// return), other than numbers, and the same text comes back.
func TestFormulas(t *testing.T) {
	c := memory.New()
	table := catalog.TableByName(catalog.TSources)
	texts := []string{"=HYPERLINK(1)", "+1", "-1", "@x", "\tx", "'=x", "'", "''", "plain", "a=b"}
	for i, s := range texts {
		c.Add(table, &catalog.Source{Source: fmt.Sprintf("S%d", i), Title: s, Kind: catalog.SourceBench}, catalog.Place{})
	}
	c.Add(catalog.TableByName(catalog.TShows), &catalog.Show{Scope: catalog.OfFamily, Of: "-7A", Mark: "M", Value: "-5"}, catalog.Place{})
	fills := catalog.TableByName(catalog.TFills)
	fill := &catalog.Fill{Scope: catalog.OfFamily, Of: "F", Role: "R", Spec: "S"}
	require.NoError(t, fills.Column("temp_from").Set(fill, "-5"))
	c.Add(fills, fill, catalog.Place{})
	c.Seal()

	dir := filepath.Join(t.TempDir(), "p")
	require.NoError(t, WriteFolder(dir, Memory(c), info, Options{ForSpreadsheets: true, SkipEmpty: true}))
	got := files(t, dir)
	for name, text := range got {
		if name == DescriptorName {
			continue
		}
		rest, marked := strings.CutPrefix(text, "\ufeff")
		if !marked {
			t.Errorf("%s has no byte-order mark", name)
		}
		rows, err := standard(rest, ',')
		require.NoError(t, err)
		for _, r := range rows {
			for i, cell := range r.Cells {
				if cell != "" && strings.ContainsRune("=+-@\t\r", rune(cell[0])) && rows[0].Cells[i] != "temp_from" {
					t.Errorf("%s: the cell %q would be a formula", name, cell)
				}
			}
		}
	}
	if !strings.Contains(got["fills.csv"], ",-5,") {
		t.Error("a negative number got an apostrophe")
	}
	p, err := Open(dir, Limits{})
	require.NoError(t, err)
	if d := cmp.Diff(content(Memory(c)), content(Memory(wellFormed(t, p)))); d != "" {
		t.Errorf("(-written +read):\n%s", d)
	}

	// Without the option a cell stands as it is.
	plain := filepath.Join(t.TempDir(), "q")
	require.NoError(t, WriteFolder(plain, Memory(c), info, Options{SkipEmpty: true}))
	if got := files(t, plain); !strings.Contains(got["sources.csv"], "\r\nS0,=HYPERLINK(1),") || strings.Contains(got[DescriptorName], "apostrophes") {
		t.Errorf("got %q", got["sources.csv"])
	}
}

func TestClearWordIsNotWritten(t *testing.T) {
	c := memory.New()
	c.Add(catalog.TableByName(catalog.TMakers), &catalog.Maker{Maker: "Q", Name: catalog.ClearWord, Source: "B"}, catalog.Place{})
	c.Seal()
	if err := WriteZip(io.Discard, Memory(c), info, Options{}); err == nil || !strings.Contains(err.Error(), "name of Q") {
		t.Errorf("zip: got %v", err)
	}
	if err := WriteWorkbook(io.Discard, Memory(c), info, Options{}); err == nil || !strings.Contains(err.Error(), "name of Q") {
		t.Errorf("workbook: got %v", err)
	}
}

// failing gives some rows and then an error.
type failing struct {
	Source
	err error
}

func (f failing) Each(t *catalog.Table, each func(catalog.Row) error) error {
	if err := f.Source.Each(t, each); err != nil || t.Name != catalog.TFits {
		return err
	}
	return f.err
}

func TestNeverHalfAPackage(t *testing.T) {
	top := t.TempDir()
	broken := failing{Memory(soundWorld(t)), errors.New("the store is gone")}
	for _, name := range []string{"p", "p.zip", "p.xlsx"} {
		path := filepath.Join(top, name)
		if err := WriteFile(path, broken, info, Options{}); !errors.Is(err, broken.err) {
			t.Errorf("%s: got the error %v", name, err)
		}
		if list, _ := os.ReadDir(top); len(list) != 0 {
			t.Errorf("%s: a failed write leaves %v", name, list)
		}
	}
	// What stood there stays.
	for _, name := range []string{"p", "p.zip", "p.xlsx"} {
		path := filepath.Join(top, name)
		require.NoError(t, WriteFile(path, Memory(soundWorld(t)), info, Options{}))
	}
	before := files(t, top)
	for _, name := range []string{"p", "p.zip", "p.xlsx"} {
		path := filepath.Join(top, name)
		if err := WriteFile(path, broken, info, Options{Replace: true}); !errors.Is(err, broken.err) {
			t.Errorf("%s: got the error %v", name, err)
		}
		var exists *ExistsError
		if err := WriteFile(path, Memory(soundWorld(t)), info, Options{}); !errors.As(err, &exists) {
			t.Errorf("%s: written over without being asked to: %v", name, err)
		}
	}
	if d := cmp.Diff(before, files(t, top)); d != "" {
		t.Errorf("a failed write changes what stands (-before +after):\n%s", d)
	}
}

func TestReplace(t *testing.T) {
	top := t.TempDir()
	for _, name := range []string{"p", "p.zip", "p.xlsx"} {
		path := filepath.Join(top, name)
		require.NoError(t, WriteFile(path, Memory(soundWorld(t)), Info{Name: "old"}, Options{}))
		require.NoError(t, WriteFile(path, Memory(soundWorld(t)), Info{Name: "new"}, Options{SkipEmpty: true, Replace: true}))
		p, err := Open(path, Limits{})
		require.NoError(t, err)
		if p.Name() != "new" || len(p.Tables()) != len(world()) {
			t.Errorf("%s: not replaced whole: %q with %d tables", name, p.Name(), len(p.Tables()))
		}
		require.NoError(t, p.Close())
	}
	if list, _ := os.ReadDir(top); len(list) != 3 {
		t.Errorf("something is left beside: %v", list)
	}

	// A folder with anything else in it is never written over.
	letter := filepath.Join(top, "p", "letter.txt")
	require.NoError(t, os.WriteFile(letter, []byte("Dear"), 0o600))
	var exists *ExistsError
	if err := WriteFile(filepath.Join(top, "p"), Memory(soundWorld(t)), info, Options{Replace: true}); !errors.As(err, &exists) {
		t.Errorf("got the error %v", err)
	}
	if _, err := os.Stat(letter); err != nil {
		t.Error(err)
	}
}

// TestWorkbookByItsLibrary: the workbook library reads what is written, with
// texts as texts and counts as numbers.
func TestWorkbookByItsLibrary(t *testing.T) {
	f, err := excelize.OpenReader(bytes.NewReader(workbookOf(t, Memory(soundWorld(t)), Options{SkipEmpty: true})))
	require.NoError(t, err)
	defer f.Close()
	if got := f.GetSheetList(); len(got) != len(world()) || got[0] != "sources" || slices.Contains(got, "Sheet1") {
		t.Errorf("got the sheets %v", got)
	}
	rows, err := f.GetRows("variants")
	require.NoError(t, err)
	if d := cmp.Diff([]string{"HX7-014", "HX7", "Q-PLATE", "Van, short", "120", "100", "", "", "", "BENCH"}, rows[1]); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
	for cell, want := range map[string]excelize.CellType{"A2": excelize.CellTypeInlineString, "E2": excelize.CellTypeUnset} {
		if got, err := f.GetCellType("variants", cell); err != nil || got != want {
			t.Errorf("%s has the type %v, %v, want %v", cell, got, err, want)
		}
	}
	// A code typed into a new row stays a text.
	id, err := f.GetColStyle("variants", "A")
	require.NoError(t, err)
	style, err := f.GetStyle(id)
	require.NoError(t, err)
	if style.NumFmt != 49 {
		t.Errorf("the column of codes has the number format %d, want 49, text", style.NumFmt)
	}
}
