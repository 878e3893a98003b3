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
//	for each its cell
//
// A cell is 2 * number of a word, or 2 * length + 1 and the text.
type intake struct {
	t     *catalog.Table
	runs  *runs
	words []*words // for each column
	files fileNames

	cells []string
	key   keyMaker
	body  []byte
	bad   bool
}

// words numbers the texts of a column from 1.
type words struct {
	ids      map[string]uint32
	recent   [256]uint32 // by a cheap hash the number of the last text that had it
	all      bool        // every text is a word
	closed   bool        // no text is
	seen     int         // texts asked for
	snapshot []string    // for the merging side

	mu    sync.Mutex
	texts []string
}

// What cannot be worth a number in a column that does not repeat: a long text,
// and all texts once there are that many words of which few come again.
const (
	maxWord  = 64
	maxWords = 32 << 10
)

// id gives the number of a text, 0 if it has none.
func (w *words) id(text string) uint32 {
	n := len(text)
	if !w.all && (w.closed || n > maxWord) {
		return 0
	}
	w.seen++
	slot := &w.recent[(uint32(text[n-1])*31+uint32(text[n/2])*7+uint32(n))%256]
	if id := *slot; id != 0 && w.text(id) == text {
		return id
	}
	id, ok := w.ids[text]
	if !ok {
		if !w.all && len(w.texts) >= maxWords && len(w.texts) > w.seen/4 {
			w.closed = true
			w.ids = nil // not asked again
			return 0
		}
		text = strings.Clone(text) // the feed's texts can be pieces of large buffers
		w.mu.Lock()
		w.texts = append(w.texts, text)
		id = uint32(len(w.texts))
		w.mu.Unlock()
		w.ids[text] = id
	}
	*slot = id
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
	in.key.init(t.Columns, t.Key)
	for i, c := range t.Columns {
		in.words[i] = &words{ids: map[string]uint32{}, all: c.Repeats}
		for _, k := range t.Key[:t.Group] {
			if k == i && !c.Repeats {
				in.words[i].closed = true // the key tells it, by its shape
			}
		}
	}
	return in
}

// add keeps a row.
func (in *intake) add(r catalog.Row, at catalog.Place, cleared catalog.Cells) error {
	in.bad = false
	catalog.CheckRow(in.t, r, at, in.mark)
	in.cells = in.t.Cells(in.cells[:0], r)
	key := in.key.of(in.cells)

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
		if id := in.words[i].id(s); id != 0 {
			b = binary.AppendUvarint(b, 2*uint64(id))
			continue
		}
		b = append(binary.AppendUvarint(b, 2*uint64(len(s))+1), s...)
	}
	in.body = b
	return in.runs.add(key, b)
}

func (in *intake) mark(catalog.Finding) { in.bad = true }

// keyMaker makes the keys of rows from their cells: [catalog.Table.RowKey]
// without the row. In a table that is in order most parts repeat those of the
// row before, so the last ones are kept.
type keyMaker struct {
	columns []*catalog.Column
	key     []int
	last    [][]byte // cells of the row before
	parts   [][]byte // their folded forms
	buf     []byte
}

func (m *keyMaker) init(columns []*catalog.Column, key []int) {
	m.columns, m.key = columns, key
	m.last, m.parts = make([][]byte, len(key)), make([][]byte, len(key))
	for i, k := range key {
		m.parts[i] = []byte(catalog.KeyPart(columns[k].Kind, ""))
	}
}

// of gives the key of the row with these cells. It is good until the next call.
func (m *keyMaker) of(cells []string) []byte {
	b := m.buf[:0]
	for i, k := range m.key {
		if s := cells[k]; s != string(m.last[i]) {
			m.parts[i] = append(m.parts[i][:0], catalog.KeyPart(m.columns[k].Kind, s)...)
			m.last[i] = append(m.last[i][:0], s...)
		}
		b = append(append(b, m.parts[i]...), catalog.KeySep)
	}
	m.buf = b
	return b
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
	word    []uint32 // for each column the number of the cell's word, 0 for none
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
		if v&1 == 0 {
			id := uint32(v / 2)
			rec.word[i] = id
			rec.text[i] = in.words[i].get(id)
			continue
		}
		n := int(v / 2)
		rec.text[i] = asString(body[at : at+n])
		at += n
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
