package pack

import (
	"archive/zip"
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"iter"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"platewright/catalog"
)

// Source is a catalogue to be written.
type Source interface {
	// Each gives every row of t in the order of their keys. It returns the
	// first error of each, or its own.
	Each(t *catalog.Table, each func(catalog.Row) error) error
}

// Memory makes a [Source] of a catalogue in memory, such as a
// *memory.Catalogue.
func Memory(c interface {
	Rows(table string) iter.Seq2[catalog.Row, catalog.Place]
}) Source {
	return rowSource(c.Rows)
}

type rowSource func(table string) iter.Seq2[catalog.Row, catalog.Place]

func (s rowSource) Each(t *catalog.Table, each func(catalog.Row) error) error {
	for r := range s(t.Name) {
		if err := each(r); err != nil {
			return err
		}
	}
	return nil
}

// Options say how a catalogue is written.
type Options struct {
	SkipEmpty       bool // leave out tables without rows
	ForSpreadsheets bool // write CSV files that a spreadsheet can open without harm; see the package comment
	Replace         bool // write over a package that stands at the place; only for [WriteFolder] and [WriteFile]

	Tables []*catalog.Table // the tables to write, in reading order; nil for those of a catalogue
}

// ExistsError says that something stands where a package was to be written.
type ExistsError struct {
	Path   string
	Reason string
}

func (e *ExistsError) Error() string { return e.Path + " is not written over: " + e.Reason }

// WriteFile writes the catalogue to a path: a workbook if it ends in .xlsx, a
// zip if it ends in .zip, else a folder.
func WriteFile(path string, src Source, info Info, opts Options) error {
	switch strings.ToLower(filepath.Ext(path)) {
	case ".zip":
		return writeBeside(path, opts, func(w io.Writer) error { return WriteZip(w, src, info, opts) })
	case ".xlsx":
		return writeBeside(path, opts, func(w io.Writer) error { return WriteWorkbook(w, src, info, opts) })
	}
	return WriteFolder(path, src, info, opts)
}

// writeBeside writes a new file beside path and puts it into place when it is
// whole and on the disk.
func writeBeside(path string, opts Options, write func(io.Writer) error) (err error) {
	if _, err := os.Lstat(path); err == nil && !opts.Replace {
		return &ExistsError{path, "a file of this name stands there"}
	}
	f, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+".*")
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, f.Close(), os.Remove(f.Name()))
		}
	}()
	b := bufio.NewWriterSize(f, 1<<18)
	if err := write(b); err != nil {
		return err
	}
	if err := errors.Join(b.Flush(), f.Chmod(0o644), f.Sync()); err != nil {
		return err
	}
	if err := f.Close(); err != nil {
		return errors.Join(err, os.Remove(f.Name()))
	}
	if err := os.Rename(f.Name(), path); err != nil {
		return err
	}
	return syncFolder(filepath.Dir(path))
}

// WriteFolder writes the catalogue as a folder. It is written under another
// name beside dir, which then takes its place. With Options.Replace a package
// in dir gives way, but never a folder that holds anything else.
func WriteFolder(dir string, src Source, info Info, opts Options) error {
	dir = filepath.Clean(dir)
	old, err := canReplace(dir, opts)
	if err != nil {
		return err
	}
	parent := filepath.Dir(dir)
	if err := os.MkdirAll(parent, 0o755); err != nil {
		return err
	}
	fresh, err := os.MkdirTemp(parent, "."+filepath.Base(dir)+".*")
	if err != nil {
		return err
	}
	create := func(name string) (io.WriteCloser, error) {
		f, err := os.OpenFile(filepath.Join(fresh, name), os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
		if err != nil {
			return nil, err
		}
		return &syncedFile{f}, nil
	}
	if err := errors.Join(writePackage(create, src, info, opts), os.Chmod(fresh, 0o755), syncFolder(fresh)); err != nil {
		return errors.Join(err, os.RemoveAll(fresh))
	}
	aside := ""
	if old {
		// A folder cannot be renamed over a full one: the old one steps aside
		// first, and comes back if the new one cannot take its place.
		aside = fresh + ".old"
		if err := os.Rename(dir, aside); err != nil {
			return errors.Join(err, os.RemoveAll(fresh))
		}
	}
	if err := os.Rename(fresh, dir); err != nil {
		if aside != "" {
			err = errors.Join(err, os.Rename(aside, dir))
		}
		return errors.Join(err, os.RemoveAll(fresh))
	}
	if err := syncFolder(parent); err != nil {
		return err
	}
	if aside != "" {
		return os.RemoveAll(aside)
	}
	return nil
}

// canReplace tells whether a folder stands at dir that may give way.
func canReplace(dir string, opts Options) (bool, error) {
	list, err := os.ReadDir(dir)
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	if err != nil {
		if info, e := os.Stat(dir); e == nil && !info.IsDir() {
			return false, &ExistsError{dir, "a file of this name stands there"}
		}
		return false, err
	}
	for _, e := range list {
		table := tableSet(opts.Tables).byName(strings.TrimSuffix(e.Name(), ".csv"))
		if e.Name() != DescriptorName && (table == nil || e.Name() != fileOf(table) || e.IsDir()) {
			return false, &ExistsError{dir, "the folder holds " + e.Name() + ", which is no part of a package written here"}
		}
	}
	if len(list) > 0 && !opts.Replace {
		return false, &ExistsError{dir, "a package stands there"}
	}
	return true, nil
}

type syncedFile struct{ *os.File }

func (f *syncedFile) Close() error { return errors.Join(f.Sync(), f.File.Close()) }

func syncFolder(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	err = d.Sync()
	if errors.Is(err, errors.ErrUnsupported) || errors.Is(err, fs.ErrPermission) || errors.Is(err, fs.ErrInvalid) {
		err = nil // not every system can do it for folders; the files are safe
	}
	return errors.Join(err, d.Close())
}

// zipTime stands for all files of a zip, the earliest that its format can say.
var zipTime = time.Date(1980, 1, 1, 0, 0, 0, 0, time.UTC)

func createIn(z *zip.Writer, name string) (io.Writer, error) {
	return z.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Deflate, Modified: zipTime})
}

// WriteZip writes the catalogue as a zip of a package.
func WriteZip(w io.Writer, src Source, info Info, opts Options) error {
	z := zip.NewWriter(w)
	create := func(name string) (io.WriteCloser, error) {
		f, err := createIn(z, name)
		if err != nil {
			return nil, err
		}
		return openEnd{f}, nil
	}
	if err := writePackage(create, src, info, opts); err != nil {
		return err
	}
	return z.Close()
}

// openEnd is a writer that whoever made it ends.
type openEnd struct{ io.Writer }

func (openEnd) Close() error { return nil }

// writePackage writes the tables in their order and then the descriptor, which
// needs to know what is in them.
func writePackage(create func(name string) (io.WriteCloser, error), src Source, info Info, opts Options) error {
	var written []tableOut
	for _, t := range tableSet(opts.Tables).list() {
		out := tableOut{table: t, apostrophes: opts.ForSpreadsheets}
		n, err := writeTable(create, src, &out, opts)
		if err != nil {
			return fmt.Errorf("write %s: %w", fileOf(t), err)
		}
		if n > 0 || !opts.SkipEmpty {
			written = append(written, out)
		}
	}
	text, err := descriptor(info, written)
	if err != nil {
		return err
	}
	f, err := create(DescriptorName)
	if err != nil {
		return err
	}
	_, err = f.Write(text)
	return errors.Join(err, f.Close())
}

// tableOut is a table as it has been written.
type tableOut struct {
	table       *catalog.Table
	apostrophes bool
	literal     []string // codes that look as if a spreadsheet had rewritten them
}

func fileOf(t *catalog.Table) string { return t.Name + ".csv" }

func writeTable(create func(name string) (io.WriteCloser, error), src Source, out *tableOut, opts Options) (n int, err error) {
	t := out.table
	var f io.WriteCloser
	var w *bufio.Writer
	begin := func() error {
		file, err := create(fileOf(t))
		if err != nil {
			return err
		}
		f, w = file, bufio.NewWriterSize(file, 1<<18)
		heading := strings.Join(columnNames(t), ",") + "\r\n"
		if opts.ForSpreadsheets {
			heading = string(utf8Mark) + heading
		}
		_, err = w.WriteString(heading)
		return err
	}
	defer func() {
		if f != nil {
			err = errors.Join(err, f.Close())
		}
	}()
	if !opts.SkipEmpty {
		if err := begin(); err != nil {
			return 0, err
		}
	}
	lits := newLiterals(t)
	var line []byte
	err = src.Each(t, func(r catalog.Row) error {
		if n++; n == 1 && f == nil {
			if err := begin(); err != nil {
				return err
			}
		}
		line = line[:0]
		for i, c := range t.Columns {
			if i > 0 {
				line = append(line, ',')
			}
			cell := c.Get(r)
			if cell == catalog.ClearWord {
				return fmt.Errorf("the cell %s of %s is the word %s, which cannot be written: it would empty the cell when it is read", c.Name, t.RowName(r), cell)
			}
			lits.see(i, cell)
			if opts.ForSpreadsheets && c.Kind != catalog.KindDecimal && needsApostrophe(cell) {
				cell = "'" + cell
			}
			line = appendCell(line, cell)
		}
		line = append(line, '\r', '\n')
		_, err := w.Write(line)
		return err
	})
	if err != nil {
		return n, err
	}
	out.literal = lits.list()
	if w != nil {
		err = w.Flush()
	}
	return n, err
}

// needsApostrophe tells whether a spreadsheet would take the cell of a CSV
// file for a formula, or the reader for one that has an apostrophe already.
func needsApostrophe(cell string) bool {
	return cell != "" && strings.IndexByte("=+-@\t\r'", cell[0]) >= 0
}

// literals collects the codes of a table that [converter.code] would refuse.
type literals struct {
	table *catalog.Table
	zeros []*zeros // by column; nil where zeros are not watched
	found map[string]bool
	last  []string
}

func newLiterals(t *catalog.Table) *literals {
	l := &literals{table: t, zeros: make([]*zeros, len(t.Columns)), found: map[string]bool{}, last: make([]string, len(t.Columns))}
	for i, c := range t.Columns {
		if watchesZeros(t, i, c) {
			l.zeros[i] = &zeros{}
		}
	}
	return l
}

// watchesZeros tells whether lost zeros in front would show in column i: a
// column of the key that names the row itself.
func watchesZeros(t *catalog.Table, i int, c *catalog.Column) bool {
	return c.Kind == catalog.KindCode && c.Ref == "" && t.IsKey(i)
}

func (l *literals) see(i int, cell string) {
	kind := l.table.Columns[i].Kind
	if kind != catalog.KindCode && kind != catalog.KindTarget || cell == l.last[i] {
		return
	}
	l.last[i] = cell
	if mangledAs(cell) != "" {
		l.found[cell] = true
	}
	if l.zeros[i] != nil {
		l.zeros[i].see(cell, catalog.Place{})
	}
}

func (l *literals) list() []string {
	for _, z := range l.zeros {
		if z == nil {
			continue
		}
		cases, _ := z.suspects()
		for _, c := range cases {
			l.found[c.code] = true
		}
	}
	out := make([]string, 0, len(l.found))
	for c := range l.found {
		out = append(out, c)
	}
	slices.Sort(out)
	return out
}

// The types below are the JSON of a descriptor, property by property in the
// order in which they are written (Frictionless Data Package, Tabular Data
// Resource, CSV Dialect and Table Schema, version 1).

type packageOut struct {
	Profile     string        `json:"profile"`
	Name        string        `json:"name"`
	Title       string        `json:"title,omitempty"`
	Version     string        `json:"version,omitempty"`
	Description string        `json:"description,omitempty"`
	Resources   []resourceOut `json:"resources"`
}

type resourceOut struct {
	Profile      string     `json:"profile"`
	Name         string     `json:"name"`
	Path         string     `json:"path"`
	Description  string     `json:"description"`
	Format       string     `json:"format"`
	MediaType    string     `json:"mediatype"`
	Encoding     string     `json:"encoding"`
	Dialect      dialectOut `json:"dialect"`
	Schema       schemaOut  `json:"schema"`
	Apostrophes  bool       `json:"apostrophes,omitempty"`
	LiteralCodes []string   `json:"literalCodes,omitempty"`
}

type dialectOut struct {
	Delimiter        string `json:"delimiter"`
	LineTerminator   string `json:"lineTerminator"`
	QuoteChar        string `json:"quoteChar"`
	DoubleQuote      bool   `json:"doubleQuote"`
	SkipInitialSpace bool   `json:"skipInitialSpace"`
	Header           bool   `json:"header"`
}

type schemaOut struct {
	Fields        []fieldOut   `json:"fields"`
	MissingValues []string     `json:"missingValues"`
	PrimaryKey    []string     `json:"primaryKey,omitempty"`
	UniqueKeys    [][]string   `json:"uniqueKeys,omitempty"`
	ForeignKeys   []foreignOut `json:"foreignKeys,omitempty"`
}

type fieldOut struct {
	Name        string         `json:"name"`
	Type        string         `json:"type"`
	Description string         `json:"description"`
	TrueValues  []string       `json:"trueValues,omitempty"`
	FalseValues []string       `json:"falseValues,omitempty"`
	Constraints *constraintOut `json:"constraints,omitempty"`
}

type constraintOut struct {
	Required  bool     `json:"required,omitempty"`
	MaxLength int      `json:"maxLength,omitempty"`
	Minimum   *int     `json:"minimum,omitempty"`
	Pattern   string   `json:"pattern,omitempty"`
	Enum      []string `json:"enum,omitempty"`
}

type foreignOut struct {
	Fields    string       `json:"fields"`
	Reference referenceOut `json:"reference"`
}

type referenceOut struct {
	Resource string `json:"resource"`
	Fields   string `json:"fields"`
}

// Descriptor gives the datapackage.json of a package with all tables of a
// catalogue, as [WriteFolder] writes it.
func Descriptor(info Info) ([]byte, error) {
	var all []tableOut
	for _, t := range catalog.Tables() {
		all = append(all, tableOut{table: t})
	}
	return descriptor(info, all)
}

func descriptor(info Info, tables []tableOut) ([]byte, error) {
	out := packageOut{Profile: "tabular-data-package", Name: slug(info.Name), Title: info.Title, Version: info.Version, Description: info.About,
		Resources: []resourceOut{}}
	for _, o := range tables {
		t := o.table
		there := func(name string) bool {
			return slices.ContainsFunc(tables, func(o tableOut) bool { return o.table.Name == name })
		}
		out.Resources = append(out.Resources, resourceOut{
			Profile: "tabular-data-resource", Name: t.Name, Path: fileOf(t), Description: t.Doc,
			Format: "csv", MediaType: "text/csv", Encoding: "utf-8",
			Dialect:     dialectOut{Delimiter: ",", LineTerminator: "\r\n", QuoteChar: `"`, DoubleQuote: true, Header: true},
			Schema:      schemaOf(t, there),
			Apostrophes: o.apostrophes, LiteralCodes: o.literal,
		})
	}
	var b strings.Builder
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", "  ")
	if err := enc.Encode(out); err != nil {
		return nil, err
	}
	return []byte(b.String()), nil
}

func schemaOf(t *catalog.Table, there func(table string) bool) schemaOut {
	s := schemaOut{MissingValues: []string{"", catalog.ClearWord}}
	for _, c := range t.Columns {
		s.Fields = append(s.Fields, fieldOf(c))
		if c.Ref == "" || !there(c.Ref) {
			continue
		}
		target := catalog.TableByName(c.Ref)
		to := c.Ref
		if c.Ref == t.Name {
			to = "" // Table Schema: the empty string means the resource itself
		}
		s.ForeignKeys = append(s.ForeignKeys, foreignOut{c.Name, referenceOut{to, target.Columns[target.Key[0]].Name}})
	}
	var key []string
	full := true
	for _, i := range t.Key {
		key = append(key, t.Columns[i].Name)
		full = full && t.Columns[i].Required
	}
	// A primary key holds no empty cell; a key that may is a unique key.
	if full {
		s.PrimaryKey = key
	} else {
		s.UniqueKeys = [][]string{key}
	}
	return s
}

func fieldOf(c *catalog.Column) fieldOut {
	f := fieldOut{Name: c.Name, Type: "string", Description: c.Doc}
	k := constraintOut{Required: c.Required}
	least := 0
	switch c.Kind {
	case catalog.KindCode, catalog.KindValue, catalog.KindTarget:
		k.MaxLength = catalog.MaxCode
	case catalog.KindText:
		// The limit of a text is in bytes, a maxLength in characters.
	case catalog.KindWord:
		k.Enum = c.Words
	case catalog.KindCount:
		f.Type = "integer"
		if c.Required {
			least = 1
		}
		k.Minimum = &least
	case catalog.KindSerial:
		f.Type = "integer"
		least = 1
		k.Minimum = &least
	case catalog.KindDecimal:
		f.Type = "number"
	case catalog.KindYes:
		f.Type = "boolean"
		f.TrueValues, f.FalseValues = []string{"yes"}, []string{"no"}
	case catalog.KindDate:
		// A date known to the month or year only is no Table Schema date.
		k.Pattern = `[0-9]{4}(-[0-9]{2}(-[0-9]{2})?)?`
	}
	if k.Required || k.MaxLength > 0 || k.Minimum != nil || k.Pattern != "" || len(k.Enum) > 0 {
		f.Constraints = &k
	}
	return f
}

// slug gives a name that can stand in a URL: lower-case letters, digits and
// - . _ (Data Package, name).
func slug(name string) string {
	s := strings.Map(func(r rune) rune {
		switch {
		case 'a' <= r && r <= 'z', '0' <= r && r <= '9', r == '.', r == '_':
			return r
		case 'A' <= r && r <= 'Z':
			return r + 'a' - 'A'
		}
		return '-'
	}, name)
	s = strings.Trim(s, "-")
	if s == "" {
		return "catalogue"
	}
	return s
}
