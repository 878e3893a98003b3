package store

import (
	"encoding/binary"
	"math/bits"
	"slices"
	"strconv"
	"strings"
	"sync/atomic"
	"unsafe"

	"platewright/catalog"
)

// A group's payload is
//
//	uvarint  number of rows
//	for each column of the group key, how the first row spells it:
//	         0 as the part of the key; else 1 + a cell, where a column that does
//	         not repeat has 2 * number of a shape, or 2 * length + 1 and the text
//	for each row
//	         uvarint  set of columns whose cells follow, a bit each
//	         for each of them its cell
//
// A cell of a column that repeats is the number of a word. Texts repeat in
// other columns too: there a cell is 2 * number of a word, or 2 * length + 1 and
// the text, and a text is a word from its second use on. A cell of a group key
// column follows only where the row spells it otherwise than the first row does;
// of the other columns exactly the cells that are not empty follow.
//
// A shape says how to spell a folded code, see [shapeOf]. All codes of one make
// share it.

// about describes a generation: the record in the bucket aboutBucket by which a later program reads it
// whose tables have more columns.
type about struct {
	Table   string   `json:"table"`
	Columns []string `json:"columns"`
	Key     []string `json:"key"`
	Group   int      `json:"group"`
	Repeats []string `json:"repeats"` // columns kept by word number
	Words   []int    `json:"words"`   // how many words each column has, and how many shapes there are
	Reverse []string `json:"reverse"` // columns with a bucket by.COLUMN
	Rows    int      `json:"rows"`
	Groups  int      `json:"groups"`
	Digest  digest   `json:"digest"` // of the rows, see [contentDigest]
}

const (
	aboutBucket  = "generations"
	rowsBucket   = "rows"
	wordsBucket  = "words"
	orderBucket  = "order"
	byBucket     = "by."
	wordsInValue = 64 // words that share one entry
	orderStep    = 32 // groups between two entries of the order bucket
	listInValue  = 2048
)

func generationName(table string, n int) string { return table + "." + strconv.Itoa(n) }

// layout is how the rows of a generation lie in it, joined with the table as
// this program knows it.
type layout struct {
	t       *catalog.Table
	name    string
	about   about
	columns []*catalog.Column // in the order of the generation
	key     []int             // into columns
	repeats []bool            // for each column: it is kept by word number
	inGroup []bool            // for each column: it is part of the group key
	same    bool              // columns are those of t, in its order
}

// layoutOf gives the layout in which new generations of t are written.
func layoutOf(t *catalog.Table, n int) *layout {
	a := about{Table: t.Name, Group: t.Group}
	for _, c := range t.Columns {
		a.Columns = append(a.Columns, c.Name)
		if c.Repeats {
			a.Repeats = append(a.Repeats, c.Name)
		}
		if c.Reverse {
			a.Reverse = append(a.Reverse, c.Name)
		}
	}
	a.Words = make([]int, len(a.Columns)+1)
	for _, k := range t.Key {
		a.Key = append(a.Key, t.Columns[k].Name)
	}
	l, _ := joinLayout(t, generationName(t.Name, n), a)
	return l
}

// joinLayout joins the description of a generation with a table. It tells, as
// what, why that is not possible.
func joinLayout(t *catalog.Table, name string, a about) (l *layout, what string) {
	l = &layout{t: t, name: name, about: a, same: len(a.Columns) == len(t.Columns)}
	for i, c := range a.Columns {
		col := t.Column(c)
		if col == nil {
			return nil, "its table " + t.Name + " has a column " + c + ", which this program does not know"
		}
		l.same = l.same && t.Columns[i] == col
		l.columns = append(l.columns, col)
		l.repeats = append(l.repeats, slices.Contains(a.Repeats, c))
	}
	l.inGroup = make([]bool, len(l.columns))
	for i, k := range a.Key {
		at := slices.Index(a.Columns, k)
		if at < 0 || i >= len(t.Key) || t.Columns[t.Key[i]].Name != k {
			return nil, "its table " + t.Name + " has another key"
		}
		l.key = append(l.key, at)
		if i < a.Group {
			l.inGroup[at] = true
		}
	}
	if len(a.Key) != len(t.Key) || a.Group != t.Group || len(a.Columns) > 64 || len(a.Words) != len(a.Columns)+1 {
		return nil, "its table " + t.Name + " has another key"
	}
	return l, ""
}

// wordCache holds the words of a generation that have been read. It is shared
// by all views of a store.
type wordCache struct {
	chunks [][]atomic.Pointer[[]string] // for each column, wordsInValue at a time
}

func newWordCache(counts []int) *wordCache {
	w := &wordCache{chunks: make([][]atomic.Pointer[[]string], len(counts))}
	for i, n := range counts {
		w.chunks[i] = make([]atomic.Pointer[[]string], (n+wordsInValue-1)/wordsInValue)
	}
	return w
}

func wordKey(dst []byte, column, chunk int) []byte {
	return binary.BigEndian.AppendUint32(append(dst, byte(column)), uint32(chunk))
}

// generation reads one generation within a transaction.
type generation struct {
	*layout
	words  *wordCache
	rows   *sealed
	seal   func(name string) *sealed // opens a further bucket
	dict   *sealed
	byName map[string]*sealed
	buf    []byte

	walk    *sealed // a second cursor in the rows, for [generation.groupAt]
	walking bool    // it stands on an entry
}

// word gives a word of a column; of the column behind the last one a shape.
func (g *generation) word(column int, id uint64) string {
	chunks := g.words.chunks[column]
	c := int(id / wordsInValue)
	if id >= uint64(g.about.Words[column]) {
		damaged("%s names a word that is not there", g.name)
	}
	p := chunks[c].Load()
	if p == nil {
		p = g.readWords(column, c)
		chunks[c].Store(p)
	}
	return (*p)[id%wordsInValue]
}

func (g *generation) readWords(column, chunk int) *[]string {
	if g.dict == nil {
		g.dict = g.seal(wordsBucket)
	}
	e, ok := g.dict.get(wordKey(g.buf[:0], column, chunk))
	if !ok {
		damaged("words of %s are missing", g.name)
	}
	d := decoder{text: string(e.payload), g: g}
	n := min(g.about.Words[column]-chunk*wordsInValue, wordsInValue)
	out := make([]string, n)
	for i := range out {
		out[i] = d.string(d.uvarint())
	}
	d.done()
	return &out
}

// decoder takes a payload apart. The payload is one string, of which the cells
// are pieces, so a group costs one copy.
type decoder struct {
	text string
	at   int
	g    *generation
}

func (d *decoder) uvarint() uint64 {
	if d.at < len(d.text) && d.text[d.at] < 0x80 {
		d.at++
		return uint64(d.text[d.at-1])
	}
	v, shift := uint64(0), 0
	for d.at < len(d.text) && shift < 64 {
		b := d.text[d.at]
		d.at++
		v |= uint64(b&0x7f) << shift
		if b < 0x80 {
			return v
		}
		shift += 7
	}
	damaged("an entry of %s is cut short", d.g.name)
	return 0
}

func (d *decoder) string(n uint64) string {
	if n > uint64(len(d.text)-d.at) {
		damaged("an entry of %s is cut short", d.g.name)
	}
	s := d.text[d.at : d.at+int(n)]
	d.at += int(n)
	return s
}

// cell reads the cell of a column whose leading number is v.
func (d *decoder) cell(column int, v uint64) string {
	switch {
	case d.g.repeats[column]:
		return d.g.word(column, v)
	case v&1 == 0:
		return d.g.word(column, v/2)
	}
	return d.string(v / 2)
}

func (d *decoder) done() {
	if d.at != len(d.text) {
		damaged("an entry of %s is longer than what it says", d.g.name)
	}
}

// maxGroupColumns is enough for the group key of any table.
const maxGroupColumns = 4

// head reads the number of rows and the spelling of the group key columns.
func (d *decoder) head(key string) (rows int, spelled [maxGroupColumns]string) {
	n := d.uvarint()
	if n == 0 || n > uint64(len(d.text)) {
		damaged("an entry of %s has no rows", d.g.name)
	}
	for i := range d.g.about.Group {
		part, rest, ok := strings.Cut(key, string(catalog.KeySep))
		if !ok {
			damaged("a key of %s has too few parts", d.g.name)
		}
		key = rest
		if v := d.uvarint(); v > 0 {
			v--
			if at := d.g.key[i]; v&1 == 0 && !d.g.repeats[at] {
				part = spell(d.g.word(len(d.g.columns), v/2), part)
			} else {
				part = d.cell(at, v)
			}
		}
		spelled[i] = part
	}
	return int(n), spelled
}

// group gives the rows of a group.
func (g *generation) group(key string, payload []byte) []catalog.Row {
	d := decoder{text: string(payload), g: g}
	n, spelled := d.head(key)
	rows := g.t.Slab(n)
	for _, r := range rows {
		set := d.uvarint()
		for i := range g.about.Group {
			if at := g.key[i]; set&(1<<at) == 0 {
				g.set(r, at, spelled[i])
			}
		}
		for ; set != 0; set &= set - 1 {
			at := bits.TrailingZeros64(set)
			if at >= len(g.columns) {
				damaged("a row of %s has too many cells", g.name)
			}
			g.set(r, at, d.cell(at, d.uvarint()))
		}
	}
	d.done()
	return rows
}

func (g *generation) set(r catalog.Row, column int, text string) {
	if text == "" {
		return
	}
	if err := g.columns[column].Set(r, text); err != nil {
		damaged("a cell of the column %s of %s cannot be read: %v", g.columns[column].Name, g.name, err)
	}
}

// eachCells gives the cells of the rows of a group in the order of g.columns.
// The slice is used again for the next row.
func (g *generation) eachCells(key, payload []byte, cells []string, each func(cells []string) error) error {
	d := decoder{text: string(payload), g: g}
	n, spelled := d.head(string(key))
	for range n {
		clear(cells)
		for i := range g.about.Group {
			cells[g.key[i]] = spelled[i]
		}
		for set := d.uvarint(); set != 0; set &= set - 1 {
			at := bits.TrailingZeros64(set)
			if at >= len(g.columns) {
				damaged("a row of %s has too many cells", g.name)
			}
			cells[at] = d.cell(at, d.uvarint())
		}
		if err := each(cells); err != nil {
			return err
		}
	}
	d.done()
	return nil
}

// asString looks at bytes as a string. The bytes must not change while it is
// in use.
func asString(b []byte) string { return unsafe.String(unsafe.SliceData(b), len(b)) }

// knownGeneration is what the views of a store share about a generation.
type knownGeneration struct {
	layout *layout
	words  *wordCache
}

// A shape is a text that turns a folded code back into one of its spellings: a
// byte of 0x80 + n stands for n characters as they are, 0xc0 + n for n letters
// in lower case, any other for itself.

const (
	shapeRun   = 0x80
	shapeLower = 0xc0
	maxRun     = 0x3f
)

// shapeOf appends the shape of a spelling of a folded code; ok tells that there
// is one. Codes are ASCII, and what folds to a part otherwise has no shape.
func shapeOf(dst []byte, spelled, part string) (_ []byte, ok bool) {
	start, run := len(dst), -1 // run is where the last run stands in dst
	extend := func(kind byte) {
		if run >= 0 && dst[run]&0xc0 == kind && dst[run]&maxRun < maxRun {
			dst[run]++
			return
		}
		run = len(dst)
		dst = append(dst, kind+1)
	}
	for i := 0; i < len(spelled); i++ {
		c := spelled[i]
		switch {
		case c >= shapeRun:
			return dst[:start], false
		case part != "" && c == part[0]:
			extend(shapeRun)
			part = part[1:]
		case part != "" && 'a' <= c && c <= 'z' && c-'a'+'A' == part[0]:
			extend(shapeLower)
			part = part[1:]
		default:
			dst, run = append(dst, c), -1
		}
	}
	return dst, part == ""
}

// spell gives the spelling of a folded code that a shape describes.
func spell(shape, part string) string {
	b := make([]byte, 0, catalog.MaxCode)
	for i := 0; i < len(shape); i++ {
		c := shape[i]
		if c < shapeRun {
			b = append(b, c)
			continue
		}
		n := int(c & maxRun)
		if n > len(part) {
			damaged("a shape does not suit its code")
		}
		for _, p := range []byte(part[:n]) {
			if c >= shapeLower {
				p += 'a' - 'A'
			}
			b = append(b, p)
		}
		part = part[n:]
	}
	if part != "" {
		damaged("a shape does not suit its code")
	}
	return string(b)
}
