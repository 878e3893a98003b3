package pack

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"iter"
	"maps"
	"os"
	"path"
	"path/filepath"
	"strings"
	"sync/atomic"
	"unicode/utf8"

	"platewright/catalog"
)

// Package is an opened package or workbook. It is a [catalog.Feed]. Tables of
// one package are read one after the other, not at the same time.
type Package struct {
	name   string
	info   Info
	limits Limits

	fsys      fs.FS
	book      *workbook
	close     []io.Closer
	resources []*resource // in reading order
	findings  []catalog.Finding
	refused   map[string]map[string]bool // by table, the keys of rows that were not yielded

	sizes map[string]int64 // by path, what has been read of a file so far
	read  int64            // of all files, against Limits.Total
	done  atomic.Int64
	total int64
}

var utf8Mark = []byte("\xef\xbb\xbf")

// Open opens a folder with a datapackage.json in it, that file itself, a .zip
// of such a folder, or an .xlsx workbook. What is wrong with the package as
// such is a [*catalog.RefusedError]; what is wrong with its tables is found
// when they are read.
func Open(name string, limits Limits) (*Package, error) { return OpenTables(name, nil, limits) }

// OpenTables is [Open] for packages that hold other tables than a catalogue
// does. They are given in reading order; nil stands for those of a catalogue.
func OpenTables(name string, tables []*catalog.Table, limits Limits) (*Package, error) {
	limits = limits.withDefaults()
	info, err := os.Stat(name)
	if err != nil {
		return nil, err
	}
	base := filepath.Base(filepath.Clean(name))
	switch {
	case info.IsDir():
	case base == DescriptorName:
		name = filepath.Dir(name)
		if abs, err := filepath.Abs(name); err == nil {
			base = filepath.Base(abs)
		}
	case strings.EqualFold(filepath.Ext(name), ".zip"):
		return openZip(name, base, info.Size(), tables, limits)
	case strings.EqualFold(filepath.Ext(name), ".xlsx"):
		return openWorkbookFile(name, base, info.Size(), tables, limits)
	default:
		return nil, refused(catalog.Finding{Code: catalog.BadPackage, Place: catalog.Place{File: base},
			What: "it is neither a folder nor a .zip nor an .xlsx file", Mend: "name the folder that holds " + DescriptorName + ", a zip of it, or a workbook"})
	}
	// A root keeps symbolic links from leading out of the folder.
	root, err := os.OpenRoot(name)
	if err != nil {
		return nil, err
	}
	p, err := openFS(root.FS(), base, tables, limits)
	if err != nil {
		return nil, errors.Join(err, root.Close())
	}
	p.close = append(p.close, root)
	return p, nil
}

// OpenFS opens the package in the top folder of fsys. The name stands for the
// package where it does not give one itself.
func OpenFS(fsys fs.FS, name string, limits Limits) (*Package, error) {
	return openFS(fsys, name, nil, limits)
}

func openFS(fsys fs.FS, name string, tables tableSet, limits Limits) (*Package, error) {
	p := &Package{name: name, limits: limits.withDefaults(), fsys: fsys, sizes: map[string]int64{}}
	f, err := p.open(DescriptorName)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, refused(catalog.Finding{Code: catalog.BadPackage, Place: catalog.Place{File: name},
			What: "there is no " + DescriptorName + " in it", Mend: "name a folder or zip that holds " + DescriptorName + " at its top"})
	}
	if err != nil {
		if finding, ok := fileFinding(err, catalog.Place{File: DescriptorName}); ok {
			return nil, refused(finding)
		}
		return nil, err
	}
	defer f.Close()
	text, err := io.ReadAll(p.counted(f, DescriptorName))
	if err != nil {
		if finding, ok := fileFinding(err, catalog.Place{File: DescriptorName}); ok {
			return nil, refused(finding)
		}
		return nil, fmt.Errorf("read %s: %w", DescriptorName, err)
	}
	info, list, findings, err := readDescriptor(text, tables)
	if err != nil {
		return nil, err
	}
	p.info, p.findings = info, findings
	for _, t := range tables.list() {
		for _, r := range list {
			if r.table != t {
				continue
			}
			p.resources = append(p.resources, r)
			if st, err := fs.Stat(fsys, r.path); err == nil {
				p.total += st.Size()
			}
		}
	}
	if len(p.resources) == 0 {
		return nil, refused(findings...)
	}
	return p, nil
}

// Name gives the package's title and edition, or else the name of its file.
func (p *Package) Name() string {
	if s := p.info.String(); s != "" {
		return s
	}
	return p.name
}

// Info gives what the package says about itself.
func (p *Package) Info() Info { return p.info }

// Tables gives the tables that the package holds, in reading order.
func (p *Package) Tables() []*catalog.Table {
	out := make([]*catalog.Table, len(p.resources))
	for i, r := range p.resources {
		out[i] = r.table
	}
	return out
}

// Progress tells how many bytes of the tables have been read, of how many. It
// can be asked at any time, from any goroutine.
func (p *Package) Progress() (done, total int64) { return p.done.Load(), p.total }

// Close closes the files of the package.
func (p *Package) Close() error {
	var errs []error
	for _, c := range p.close {
		errs = append(errs, c.Close())
	}
	p.close = nil
	return errors.Join(errs...)
}

// Rows yields the rows of t, as [catalog.Feed] says. What is wrong with the
// description of the package is reported with the first of its tables.
func (p *Package) Rows(t *catalog.Table, fs *catalog.Findings, each func(r catalog.Row, at catalog.Place, cleared catalog.Cells) error) error {
	for i, r := range p.resources {
		if r.table != t {
			continue
		}
		if i == 0 {
			for _, f := range p.findings {
				fs.Add(f)
			}
		}
		if p.refused == nil {
			p.refused = map[string]map[string]bool{}
		}
		p.refused[t.Name] = map[string]bool{}
		if p.book != nil {
			return p.book.rows(r, fs.Add, p.refuse, each)
		}
		return p.rows(r, fs.Add, each)
	}
	return nil
}

// RefusedKeys gives the keys of rows of t that were met when it was read last
// and not yielded because of a bad cell. Whoever reports references to nothing
// can pass over those to them: the finding on the cell says it all. Of very
// many only some are kept.
func (p *Package) RefusedKeys(t *catalog.Table) iter.Seq[string] { return maps.Keys(p.refused[t.Name]) }

const maxRefusedKeys = 100_000

// refuse keeps the key of a row of t that is not yielded.
func (p *Package) refuse(t *catalog.Table, row catalog.Row) {
	if keys := p.refused[t.Name]; len(keys) < maxRefusedKeys {
		keys[string(t.RowKey(nil, row))] = true
	}
}

type eachRow func(r catalog.Row, at catalog.Place, cleared catalog.Cells) error

// open opens a file of the package. Anything but an ordinary file, such as a
// folder or a pipe, is refused before it can be waited on.
func (p *Package) open(name string) (fs.File, error) {
	info, err := fs.Stat(p.fsys, name)
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() {
		return nil, errNoFile
	}
	return p.fsys.Open(name)
}

var errNoFile = errors.New("it is no ordinary file")

func (p *Package) rows(r *resource, report func(catalog.Finding), each eachRow) error {
	at := catalog.Place{File: r.file, Table: r.table.Name}
	f, err := p.open(r.path)
	if errors.Is(err, fs.ErrNotExist) {
		report(catalog.Finding{Code: catalog.BadFile, Place: at, What: "the file is not in the package", Mend: "add the file, or take its resource out of " + DescriptorName})
		return nil
	}
	if err != nil {
		if finding, ok := fileFinding(err, at); ok {
			report(finding)
			return nil
		}
		return err
	}
	defer f.Close()
	err = p.csvRows(r, p.counted(f, r.path), report, each)
	if err != nil {
		var own *eachError
		if errors.As(err, &own) {
			return own.error
		}
		if finding, ok := fileFinding(err, at); ok {
			report(finding)
			return nil
		}
		return fmt.Errorf("read %s: %w", r.path, err)
	}
	return nil
}

// eachError keeps an error of the consumer apart from those of reading.
type eachError struct{ error }

func (p *Package) csvRows(r *resource, src io.Reader, report func(catalog.Finding), each eachRow) error {
	s := newRecords(src, r.comma, r.quote, p.limits.Row)
	at := catalog.Place{File: r.file, Table: r.table.Name}
	whole := func(code catalog.FindingCode, row int, value, what, mend string) error {
		at.Row = row
		report(catalog.Finding{Code: code, Place: at, Value: value, What: what, Mend: mend})
		return nil
	}
	start, err := s.peek(64)
	if err != nil {
		return err
	}
	if name := wideEncoding(start); name != "" {
		return whole(catalog.BadEncoding, 1, "", "the file is "+name+", not UTF-8", asUTF8)
	}
	if bytes.HasPrefix(start, utf8Mark) {
		s.skip(len(utf8Mark))
	}
	var c *converter
	rows := 0
	for {
		cells, line, err := s.next()
		if err == io.EOF {
			break
		}
		if err != nil {
			var bad *rowError
			var long *longError
			switch {
			case errors.As(err, &bad):
				whole(catalog.BadShape, line, "", bad.what, bad.mend)
				if c == nil {
					return nil // nothing can be said of the rows without a heading
				}
				continue
			case errors.As(err, &long):
				mend := "keep texts short; the rest of the file has not been read"
				if long.quoted {
					mend = "look for a quote that is opened and never closed; the rest of the file has not been read"
				}
				return whole(catalog.TooLarge, line, "", long.Error(), mend)
			}
			return err
		}
		bad := !utf8.ValidString(s.text) || strings.IndexByte(s.text, 0) >= 0
		if c == nil {
			if bad {
				for _, cell := range cells {
					if f, is := textFinding(cell, catalog.Place{File: r.file, Table: r.table.Name, Row: line}); is {
						report(f)
						break
					}
				}
				return nil
			}
			if what, mend := wrongSeparator(cells, r.comma); what != "" {
				return whole(catalog.BadHeading, line, strings.Join(cells, string(r.comma)), what, mend)
			}
			c = newConverter(r.table, r, cells, line, report, p.refuse)
			continue
		}
		if blank(cells) {
			continue
		}
		rows++
		if bad {
			c.badText(cells, line)
		}
		cleared, ok := c.convert(cells, line)
		if !ok {
			continue
		}
		if err := each(c.row, c.at(line, nil), cleared); err != nil {
			return &eachError{err}
		}
	}
	switch {
	case c == nil:
		return whole(catalog.BadHeading, 0, "", "the file is empty", "begin it with the heading row, or take its resource out of "+DescriptorName)
	case rows == 0:
		report(emptyTable(at))
	}
	c.finish()
	return nil
}

func emptyTable(at catalog.Place) catalog.Finding {
	return catalog.Finding{Code: catalog.EmptyTable, Severity: catalog.Remark, Place: at,
		What: "the table has a heading and no rows", Mend: "nothing needs to be done: what stands in the catalogue stays"}
}

func blank(cells []string) bool {
	for _, c := range cells {
		if c != "" {
			return false
		}
	}
	return true
}

// wideEncoding names an encoding of two or four bytes a character.
func wideEncoding(start []byte) string {
	switch {
	case bytes.HasPrefix(start, []byte{0xff, 0xfe, 0, 0}), bytes.HasPrefix(start, []byte{0, 0, 0xfe, 0xff}):
		return "UTF-32"
	case bytes.HasPrefix(start, []byte{0xff, 0xfe}), bytes.HasPrefix(start, []byte{0xfe, 0xff}):
		return "UTF-16"
	case len(start) >= 4 && (start[0] == 0) != (start[1] == 0) && (start[0] == 0) == (start[2] == 0) && (start[1] == 0) == (start[3] == 0):
		return "UTF-16"
	}
	return ""
}

// wrongSeparator recognises a heading that another separator of cells or rows
// would split.
func wrongSeparator(heading []string, comma byte) (what, mend string) {
	if strings.HasPrefix(heading[0], "sep=") {
		return "the first line tells a spreadsheet the separator and is no heading", "take the line away; the separator stands in the dialect of the resource in " + DescriptorName
	}
	for _, h := range heading {
		if strings.IndexByte(h, '\r') >= 0 {
			return "the rows end with a carriage return alone", "save the file with CRLF or LF at the end of its rows"
		}
	}
	if len(heading) != 1 {
		return "", ""
	}
	for _, other := range []byte{';', ',', '\t', '|'} {
		if other != comma && strings.IndexByte(heading[0], other) >= 0 {
			return fmt.Sprintf("the cells are separated by %q, and the package says %q", other, comma),
				fmt.Sprintf("write \"dialect\": {\"delimiter\": %q} into the resource in %s, or save the file with %q", string(other), DescriptorName, comma)
		}
	}
	return "", ""
}

// sizeError is a file or package beyond the limits.
type sizeError struct{ what string }

func (e *sizeError) Error() string { return e.what }

// counted bounds what is read of a file and of the package, whatever sizes
// they claim to have.
func (p *Package) counted(r io.Reader, name string) io.Reader {
	c := &countingReader{r: r, p: p, name: name, limit: p.limits.File, table: name != DescriptorName}
	if !c.table {
		c.limit = min(c.limit, maxDescriptor)
	}
	c.count(-p.sizes[name]) // a file that is read again counts once
	return c
}

// maxDescriptor bounds the description of a package, which is kept in memory.
const maxDescriptor = 64 << 20

type countingReader struct {
	r     io.Reader
	p     *Package
	name  string
	limit int64
	table bool
}

func (c *countingReader) count(n int64) {
	c.p.sizes[c.name] += n
	c.p.read += n
	if c.table {
		c.p.done.Add(n)
	}
}

func (c *countingReader) Read(b []byte) (int, error) {
	n, err := c.r.Read(b)
	c.count(int64(n))
	if c.p.sizes[c.name] > c.limit {
		return 0, &sizeError{fmt.Sprintf("the file is larger than %d bytes", c.limit)}
	}
	if c.p.read > c.p.limits.Total {
		return 0, &sizeError{fmt.Sprintf("the files of the package are larger than %d bytes together", c.p.limits.Total)}
	}
	return n, err
}

// fileFinding tells errors that lie in the input from those of the machine.
func fileFinding(err error, at catalog.Place) (catalog.Finding, bool) {
	var size *sizeError
	var deflate flate.CorruptInputError
	switch {
	case errors.As(err, &size):
		return catalog.Finding{Code: catalog.TooLarge, Place: at, What: size.what, Mend: "split the catalogue, or raise the limit if you trust the file"}, true
	case errors.Is(err, errNoFile):
		return catalog.Finding{Code: catalog.BadFile, Place: at, What: err.Error(), Mend: "give the path of a CSV file"}, true
	case errors.As(err, &deflate), errors.Is(err, zip.ErrChecksum), errors.Is(err, zip.ErrFormat), errors.Is(err, zip.ErrAlgorithm), errors.Is(err, io.ErrUnexpectedEOF):
		return catalog.Finding{Code: catalog.BadFile, Place: at, What: "the packed file is damaged: " + err.Error(), Mend: "make or copy the zip again"}, true
	}
	return catalog.Finding{}, false
}

func openZip(name, base string, size int64, tables tableSet, limits Limits) (*Package, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	p, err := openZipReader(f, size, base, tables, limits)
	if err != nil {
		return nil, errors.Join(err, f.Close())
	}
	p.close = append(p.close, f)
	return p, nil
}

func openZipReader(r io.ReaderAt, size int64, base string, tables tableSet, limits Limits) (*Package, error) {
	z, err := readZip(r, size, base, limits, limits.Total)
	if err != nil {
		return nil, err
	}
	fsys := fs.FS(z)
	if sub := topFolder(z); sub != "" {
		if fsys, err = fs.Sub(z, sub); err != nil {
			return nil, err
		}
	}
	return openFS(fsys, base, tables, limits)
}

// readZip reads the directory of a zip and refuses what claims to unpack to
// more than the limits. Sizes that are claimed falsely are caught in reading.
func readZip(r io.ReaderAt, size int64, base string, limits Limits, total int64) (*zip.Reader, error) {
	at := catalog.Place{File: base}
	z, err := zip.NewReader(r, size)
	if err != nil && !errors.Is(err, zip.ErrInsecurePath) { // such names are never opened
		if errors.Is(err, zip.ErrFormat) || errors.Is(err, zip.ErrAlgorithm) || errors.Is(err, io.ErrUnexpectedEOF) {
			return nil, refused(catalog.Finding{Code: catalog.BadPackage, Place: at, What: "it cannot be read as a zip file: " + err.Error(), Mend: "make or copy the file again"})
		}
		return nil, err
	}
	tooLarge := func(what string) error {
		return refused(catalog.Finding{Code: catalog.TooLarge, Place: at, What: what, Mend: "do not unpack the file unless you know where it comes from"})
	}
	if len(z.File) > limits.Entries {
		return nil, tooLarge(fmt.Sprintf("it holds %d files, the limit is %d", len(z.File), limits.Entries))
	}
	sum, names := uint64(0), map[string]bool{}
	for _, f := range z.File {
		if names[f.Name] {
			return nil, refused(catalog.Finding{Code: catalog.BadPackage, Place: at, Value: f.Name, What: "it holds two files of one name", Mend: "make the zip again with one file of each name"})
		}
		names[f.Name] = true
		if f.UncompressedSize64 > uint64(limits.File) {
			return nil, tooLarge(fmt.Sprintf("%s would unpack to %d bytes, the limit is %d", f.Name, f.UncompressedSize64, limits.File))
		}
		if f.UncompressedSize64 > 1<<20 && f.UncompressedSize64/uint64(limits.Ratio) > f.CompressedSize64 {
			return nil, tooLarge(fmt.Sprintf("%s would unpack to more than %d times its size", f.Name, limits.Ratio))
		}
		// Each term is at most limits.File, so the sum of some thousand cannot
		// run over.
		if sum += f.UncompressedSize64; sum > uint64(total) {
			return nil, tooLarge(fmt.Sprintf("it would unpack to more than %d bytes", total))
		}
	}
	return z, nil
}

// topFolder gives the one folder of a zip in which everything lies, for a zip
// of a folder instead of its files.
func topFolder(z *zip.Reader) string {
	found := ""
	for _, f := range z.File {
		dir, file := path.Split(f.Name)
		if file != DescriptorName {
			continue
		}
		if dir == "" {
			return ""
		}
		if strings.Count(dir, "/") == 1 && found == "" {
			found = strings.TrimSuffix(dir, "/")
		}
	}
	if found == "" || !fs.ValidPath(found) {
		return ""
	}
	return found
}
