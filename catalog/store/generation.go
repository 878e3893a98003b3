package store

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"errors"
	"hash"
	"slices"
	"strconv"

	"platewright/catalog"
)

// generationWriter writes a generation from records that come in the order of
// their keys.
type generationWriter struct {
	w     *fileWriter
	l     *layout
	words []*words // numbers of the records' words
	rows  *sealWriter
	order *sealWriter

	group   []byte // key of the group that is being collected
	inGroup int
	payload []byte
	head    []byte
	first   [maxGroupColumns][]byte // how its first row spells the group key

	digest  contentDigest
	reverse []*reverseWriter
	used    []wordUse // for each column
	shapes  words
	shape   []byte
}

// wordUse gives the words of a column that are in use their final numbers, in
// the order in which they come up.
type wordUse struct {
	final []uint32 // by number in the intake; 1 + final number, 0 for not in use
	texts []string
}

// usedOnce marks a word that has been written once, as a text.
const usedOnce = ^uint32(0)

func (u *wordUse) at(id uint32) *uint32 {
	for int(id) >= len(u.final) {
		u.final = append(u.final, make([]uint32, max(64, len(u.final), int(id)+1-len(u.final)))...)
	}
	return &u.final[id]
}

// id gives the final number of a word.
func (u *wordUse) id(w *words, id uint32) uint64 {
	f := u.at(id)
	if *f == 0 || *f == usedOnce {
		u.texts = append(u.texts, w.get(id))
		*f = uint32(len(u.texts))
	}
	return uint64(*f - 1)
}

// first tells, once for each word, that it comes up for the first time.
func (u *wordUse) first(id uint32) bool {
	f := u.at(id)
	if *f != 0 {
		return false
	}
	*f = usedOnce
	return true
}

// contentDigest computes the digest of the rows of a table: SHA-256 over the
// names of the columns, and for each row in the order of the keys the index of
// each column whose cell is not empty, counted from 1, the length of the cell
// and the cell, and 0 at the row's end.
type contentDigest struct {
	h   hash.Hash
	buf []byte
}

func newContentDigest(columns []string) contentDigest {
	d := contentDigest{h: sha256.New(), buf: make([]byte, 0, 64<<10)}
	for _, c := range columns {
		d.cell(0, c)
	}
	return d
}

func (d *contentDigest) cell(column int, text string) {
	d.buf = append(d.buf, byte(column+1))
	d.buf = append(binary.AppendUvarint(d.buf, uint64(len(text))), text...)
}

func (d *contentDigest) endRow() {
	d.buf = append(d.buf, 0)
	if len(d.buf) > 32<<10 {
		d.h.Write(d.buf) // a hash never fails
		d.buf = d.buf[:0]
	}
}

func (d *contentDigest) row(cells []string) {
	for i, s := range cells {
		if s != "" {
			d.cell(i, s)
		}
	}
	d.endRow()
}

func (d *contentDigest) sum() digest {
	d.h.Write(d.buf)
	d.buf = d.buf[:0]
	return digest(hex.EncodeToString(d.h.Sum(nil)))
}

func (w *fileWriter) generation(l *layout, vocabulary []*words, s *spill) *generationWriter {
	g := &generationWriter{w: w, l: l, words: vocabulary, rows: w.seal(l.name, rowsBucket), order: w.seal(l.name, orderBucket),
		digest: newContentDigest(l.about.Columns), used: make([]wordUse, len(l.columns)), shapes: words{ids: map[string]uint32{}}}
	for i, c := range l.columns {
		if c.Reverse {
			r := &reverseWriter{column: i, kind: c.Kind}
			if !c.Repeats {
				r.runs = newRuns(s)
			}
			g.reverse = append(g.reverse, r)
		}
	}
	return g
}

// add takes the next row.
func (g *generationWriter) add(rec *record) error {
	n := groupLength(g.l.t, rec.key)
	if g.inGroup == 0 || !bytes.Equal(rec.key[:n], g.group) {
		if err := g.flush(); err != nil {
			return err
		}
		g.group = append(g.group[:0], rec.key[:n]...)
		g.start(rec)
	}
	g.inGroup++
	g.l.about.Rows++

	set := uint64(0)
	for i, s := range rec.text {
		if s != "" && !g.l.inGroup[i] {
			set |= 1 << i
		}
	}
	for i := range g.l.about.Group {
		if at := g.l.key[i]; rec.text[at] != string(g.first[i]) {
			set |= 1 << at
		}
	}
	b := binary.AppendUvarint(g.payload, set)
	for i, s := range rec.text {
		if s != "" {
			g.digest.cell(i, s)
		}
		if set&(1<<i) == 0 {
			continue
		}
		b = g.cell(b, 0, i, s, rec.word[i])
	}
	g.payload = b
	g.digest.endRow()
	for _, r := range g.reverse {
		if err := r.add(rec, g.rows.ordinal); err != nil {
			return err
		}
	}
	return nil
}

// cell appends a cell, its leading number greater by plus.
func (g *generationWriter) cell(b []byte, plus uint64, column int, text string, word uint32) []byte {
	use := &g.used[column]
	if g.l.repeats[column] {
		return binary.AppendUvarint(b, plus+use.id(g.words[column], word))
	}
	if word == 0 || use.first(word) {
		return append(binary.AppendUvarint(b, plus+2*uint64(len(text))+1), text...)
	}
	return binary.AppendUvarint(b, plus+2*use.id(g.words[column], word))
}

// start notes how the first row of a group spells the key.
func (g *generationWriter) start(rec *record) {
	g.head = g.head[:0]
	rest := g.group
	for i := range g.l.about.Group {
		end := bytes.IndexByte(rest, catalog.KeySep)
		part := rest[:end]
		rest = rest[end+1:]
		at := g.l.key[i]
		s := rec.text[at]
		g.first[i] = append(g.first[i][:0], s...)
		switch {
		case s == string(part):
			g.head = append(g.head, 0)
		case g.l.repeats[at]:
			g.head = g.cell(g.head, 1, at, s, rec.word[at])
		default:
			var ok bool
			if g.shape, ok = shapeOf(g.shape[:0], s, asString(part)); ok {
				if id := g.shapes.id(asString(g.shape)); id != 0 {
					g.head = binary.AppendUvarint(g.head, 1+2*uint64(id-1))
					continue
				}
			}
			g.head = g.cell(g.head, 1, at, s, 0)
		}
	}
}

// flush writes the group collected.
func (g *generationWriter) flush() error {
	if g.inGroup == 0 {
		return nil
	}
	if g.rows.ordinal%orderStep == 0 {
		if err := g.order.add(binary.BigEndian.AppendUint32(nil, uint32(g.rows.ordinal/orderStep)), g.group); err != nil {
			return err
		}
	}
	n := binary.AppendUvarint(make([]byte, 0, 10), uint64(g.inGroup))
	v := g.rows.begin(len(n) + len(g.head) + len(g.payload))
	v = append(append(append(v, n...), g.head...), g.payload...)
	if err := g.rows.end(g.group, v); err != nil {
		return err
	}
	g.inGroup, g.payload = 0, g.payload[:0]
	return nil
}

// close completes the generation and says what it is.
func (g *generationWriter) close(generation int) (TableOf, error) {
	fail := func(err error) (TableOf, error) { return TableOf{}, err }
	if err := g.flush(); err != nil {
		return fail(err)
	}
	if err := errors.Join(g.rows.close(), g.order.close()); err != nil {
		return fail(err)
	}
	a := &g.l.about
	a.Groups = int(g.rows.ordinal)
	a.Digest = g.digest.sum()

	dict := g.w.seal(g.l.name, wordsBucket)
	for at := range a.Words {
		texts := g.shapes.texts
		if at < len(g.used) {
			texts = g.used[at].texts
		}
		a.Words[at] = len(texts)
		for chunk := 0; len(texts) > 0; chunk++ {
			n := min(len(texts), wordsInValue)
			var b []byte
			for _, s := range texts[:n] {
				b = append(binary.AppendUvarint(b, uint64(len(s))), s...)
			}
			if err := dict.add(wordKey(nil, at, chunk), b); err != nil {
				return fail(err)
			}
			texts = texts[n:]
		}
	}
	if err := dict.close(); err != nil {
		return fail(err)
	}
	for _, r := range g.reverse {
		if err := r.close(g); err != nil {
			return fail(err)
		}
	}
	body, err := json.Marshal(a)
	if err != nil {
		return fail(err)
	}
	key := []byte(g.l.name)
	if err := g.w.put(aboutBucket, key, sealRecord(aboutBucket, key, body)); err != nil {
		return fail(err)
	}
	return TableOf{Table: a.Table, Generation: generation, Rows: a.Rows, Groups: a.Groups, Digest: string(a.Digest)}, nil
}

// reverseWriter collects which groups hold a cell in a column.
type reverseWriter struct {
	column int
	kind   catalog.Kind

	lists []groupList // by word number in the intake, for a column that repeats
	runs  *runs       // pairs of cell and ordinal, for the others
	buf   []byte
}

// groupList is a list of ordinals as differences, the first counted from 1.
type groupList struct {
	deltas []byte
	last   uint64 // ordinal + 1
	n      int
}

func (l *groupList) add(ordinal uint64) {
	if l.last == ordinal+1 {
		return // another row of the same group
	}
	l.deltas = binary.AppendUvarint(l.deltas, ordinal+1-l.last)
	l.last = ordinal + 1
	l.n++
}

func (r *reverseWriter) add(rec *record, ordinal uint64) error {
	text := rec.text[r.column]
	if text == "" {
		return nil
	}
	if r.runs == nil {
		id := int(rec.word[r.column])
		for id >= len(r.lists) {
			r.lists = append(r.lists, make([]groupList, max(64, len(r.lists), id+1-len(r.lists)))...)
		}
		r.lists[id].add(ordinal)
		return nil
	}
	part := catalog.KeyPart(r.kind, text)
	if part == "" {
		return nil
	}
	r.buf = append(append(r.buf[:0], part...), catalog.KeySep)
	var digits [12]byte
	d := strconv.AppendUint(digits[:0], ordinal, 10)
	for range 12 - len(d) {
		r.buf = append(r.buf, '0')
	}
	r.buf = append(append(r.buf, d...), catalog.KeySep)
	return r.runs.add(r.buf, nil)
}

// close writes the lists in the order of their cells.
func (r *reverseWriter) close(g *generationWriter) error {
	out := listWriter{s: g.w.seal(g.l.name, byBucket+g.l.about.Columns[r.column])}
	if r.runs != nil {
		if err := r.runs.close(nil); err != nil {
			return err
		}
		rd := r.runs.reader()
		for {
			key, _, ok, err := rd.read()
			if err != nil {
				return err
			}
			if !ok {
				break
			}
			at := len(key) - 13
			ordinal, err := strconv.ParseUint(string(key[at:at+12]), 10, 64)
			if err != nil {
				return err
			}
			if err := out.add(asString(key[:at-1]), ordinal); err != nil {
				return err
			}
		}
		return out.close()
	}
	type cell struct {
		part string
		id   int
	}
	var cells []cell
	for id := range r.lists {
		if r.lists[id].n == 0 {
			continue
		}
		if part := catalog.KeyPart(r.kind, g.words[r.column].get(uint32(id))); part != "" {
			cells = append(cells, cell{part, id})
		}
	}
	slices.SortFunc(cells, func(a, b cell) int { return cmp.Or(cmp.Compare(a.part, b.part), cmp.Compare(a.id, b.id)) })
	for len(cells) > 0 {
		n := 1
		for n < len(cells) && cells[n].part == cells[0].part {
			n++
		}
		var ordinals []uint64
		for _, c := range cells[:n] {
			ordinals = r.lists[c.id].ordinals(ordinals)
		}
		if n > 1 { // spellings of one code
			slices.Sort(ordinals)
			ordinals = slices.Compact(ordinals)
		}
		for _, o := range ordinals {
			if err := out.add(cells[0].part, o); err != nil {
				return err
			}
		}
		cells = cells[n:]
	}
	return out.close()
}

func (l *groupList) ordinals(dst []uint64) []uint64 {
	at := uint64(0)
	for b := l.deltas; len(b) > 0; {
		v, n := binary.Uvarint(b)
		at += v
		dst = append(dst, at-1)
		b = b[n:]
	}
	return dst
}

// listWriter writes the lists of a by bucket. The value of a piece is 1 if
// another follows, the number of groups in it, and their ordinals as
// differences, the first of a list counted from 1.
type listWriter struct {
	s     *sealWriter
	cell  []byte
	list  groupList
	piece uint32
	open  bool
}

func (w *listWriter) add(cell string, ordinal uint64) error {
	if w.open && string(w.cell) != cell {
		if err := w.flush(false); err != nil {
			return err
		}
		w.open = false
	}
	if !w.open {
		w.open, w.piece, w.list = true, 0, groupList{deltas: w.list.deltas[:0]}
		w.cell = append(w.cell[:0], cell...)
	}
	if w.list.last == ordinal+1 {
		return nil
	}
	if w.list.n == listInValue {
		if err := w.flush(true); err != nil {
			return err
		}
	}
	w.list.add(ordinal)
	return nil
}

func (w *listWriter) flush(more bool) error {
	b := []byte{0}
	if more {
		b[0] = 1
	}
	b = append(binary.AppendUvarint(b, uint64(w.list.n)), w.list.deltas...)
	err := w.s.add(listKey(nil, string(w.cell), w.piece), b)
	w.piece++
	w.list.n, w.list.deltas = 0, w.list.deltas[:0]
	return err
}

func (w *listWriter) close() error {
	if w.open {
		if err := w.flush(false); err != nil {
			return err
		}
	}
	return w.s.close()
}
