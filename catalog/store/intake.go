package store

import (
	"bytes"
	"encoding/binary"
	"math/bits"
	"strings"
	"sync"

	"platewright/catalog"
)

// intake holds the rows that a feed gives for one table, in the form in which
// they are sorted and merged with what stands. Adding is for the goroutine that
// reads the feed; everything else for the one that merges.
//
// The body of a record is
//
//	1 byte   1 if the row by itself obeys all rules
//	uvarint  number of the file, uvarint row in it
//	uvarint  set of cleared columns
//	uvarint  set of columns whose cells follow
//	for each a word number, or a length and the text
type intake struct {
	t     *catalog.Table
	runs  *runs
	words []*words // for each column that repeats, nil for the others
	files fileNames

	cells []string
	key   []byte
	body  []byte
	bad   bool
}

// words numbers the texts of a column from 1.
type words struct {
	ids      map[string]uint32
	last     string
	lastID   uint32
	snapshot []string // for the merging side

	mu    sync.Mutex
	texts []string
}

func (w *words) id(text string) uint32 {
	if text == w.last && w.lastID != 0 {
		return w.lastID
	}
	id, ok := w.ids[text]
	if !ok {
		text = strings.Clone(text) // the feed's texts can be pieces of large buffers
		w.mu.Lock()
		w.texts = append(w.texts, text)
		id = uint32(len(w.texts))
		w.mu.Unlock()
		w.ids[text] = id
	} else {
		text = w.text(id)
	}
	w.last, w.lastID = text, id
	return id
}

// text is for the side that adds.
func (w *words) text(id uint32) string { return w.texts[id-1] }

// get is for the side that merges.
func (w *words) get(id uint32) string {
	if int(id) > len(w.snapshot) {
		w.mu.Lock()
		w.snapshot = w.texts
		w.mu.Unlock()
	}
	return w.snapshot[id-1]
}

// fileNames numbers the files that places name.
type fileNames struct {
	mu    sync.Mutex
	names []string
	last  uint64
}

func (f *fileNames) id(name string) uint64 {
	if f.last < uint64(len(f.names)) && f.names[f.last] == name {
		return f.last
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	for i, n := range f.names {
		if n == name {
			f.last = uint64(i)
			return f.last
		}
	}
	f.names = append(f.names, strings.Clone(name))
	f.last = uint64(len(f.names) - 1)
	return f.last
}

func (f *fileNames) get(id uint64) string {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.names[id]
}

func newIntake(t *catalog.Table, s *spill) *intake {
	in := &intake{t: t, runs: newRuns(s), words: make([]*words, len(t.Columns))}
	for i, c := range t.Columns {
		if c.Repeats {
			in.words[i] = &words{ids: map[string]uint32{}}
		}
	}
	return in
}

// add keeps a row.
func (in *intake) add(r catalog.Row, at catalog.Place, cleared catalog.Cells) error {
	in.bad = false
	catalog.CheckRow(in.t, r, at, in.mark)
	in.cells = in.t.Cells(in.cells[:0], r)
	in.key = appendKey(in.key[:0], in.t, in.cells)

	b := append(in.body[:0], 1)
	if in.bad {
		b[0] = 0
	}
	b = binary.AppendUvarint(b, in.files.id(at.File))
	b = binary.AppendUvarint(b, uint64(at.Row))
	b = binary.AppendUvarint(b, uint64(cleared))
	set := uint64(0)
	for i, s := range in.cells {
		if s != "" {
			set |= 1 << i
		}
	}
	b = binary.AppendUvarint(b, set)
	for ; set != 0; set &= set - 1 {
		i := bits.TrailingZeros64(set)
		s := in.cells[i]
		if w := in.words[i]; w != nil {
			b = binary.AppendUvarint(b, uint64(w.id(s)))
			continue
		}
		b = append(binary.AppendUvarint(b, uint64(len(s))), s...)
	}
	in.body = b
	return in.runs.add(in.key, b)
}

func (in *intake) mark(catalog.Finding) { in.bad = true }

// appendKey appends the key of the row with these cells: [catalog.Table.RowKey]
// without the row.
func appendKey(dst []byte, t *catalog.Table, cells []string) []byte {
	for _, k := range t.Key {
		dst = append(append(dst, catalog.KeyPart(t.Columns[k].Kind, cells[k])...), catalog.KeySep)
	}
	return dst
}

// groupLength tells how much of a row's key is the key of its group.
func groupLength(t *catalog.Table, key []byte) int {
	n := 0
	for i, b := range key {
		if b == catalog.KeySep {
			if n++; n == t.Group {
				return i + 1
			}
		}
	}
	return len(key)
}

// record is one row of an intake, or of what stands.
type record struct {
	key     []byte
	text    []string // for each column its cell; pieces of buffers that change with the next record
	word    []uint32 // for each column that repeats the number of the cell's word, 0 for empty
	sound   bool     // the row by itself obeys all rules
	file    uint64
	row     int
	cleared catalog.Cells
}

func newRecord(t *catalog.Table) *record {
	return &record{text: make([]string, len(t.Columns)), word: make([]uint32, len(t.Columns))}
}

func compareKeys(a, b *record) int { return bytes.Compare(a.key, b.key) }

// read takes a record of the intake apart.
func (in *intake) read(rec *record, key, body []byte) {
	rec.key = key
	rec.sound = body[0] == 1
	at := 1
	next := func() uint64 {
		if body[at] < 0x80 {
			at++
			return uint64(body[at-1])
		}
		v, n := binary.Uvarint(body[at:])
		at += n
		return v
	}
	rec.file = next()
	rec.row = int(next())
	rec.cleared = catalog.Cells(next())
	clear(rec.text)
	clear(rec.word)
	for set := next(); set != 0; set &= set - 1 {
		i := bits.TrailingZeros64(set)
		v := next()
		if w := in.words[i]; w != nil {
			rec.word[i] = uint32(v)
			rec.text[i] = w.get(uint32(v))
			continue
		}
		rec.text[i] = asString(body[at : at+int(v)])
		at += int(v)
	}
}

func (in *intake) place(rec *record) catalog.Place {
	return catalog.Place{File: in.files.get(rec.file), Table: in.t.Name, Row: rec.row}
}

// intakeCursor gives the records of an intake in order.
type intakeCursor struct {
	in  *intake
	rd  *recordReader
	rec *record // the record under the cursor, nil at the end
	buf *record
}

func (in *intake) cursor(rd *recordReader) *intakeCursor {
	return &intakeCursor{in: in, rd: rd, buf: newRecord(in.t)}
}

func (c *intakeCursor) next() error {
	key, body, ok, err := c.rd.read()
	c.rec = nil
	if ok && err == nil {
		c.in.read(c.buf, key, body)
		c.rec = c.buf
	}
	return err
}
