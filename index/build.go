package index

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"os"
	"slices"

	"github.com/RoaringBitmap/roaring/v2"
	api "github.com/blevesearch/bleve_index_api"
	segment "github.com/blevesearch/scorch_segment_api/v2"
	"github.com/blevesearch/vellum"
	zap "github.com/blevesearch/zapx/v17"

	"platewright/catalog"
)

// How much a word counts by where it stands: in the name, in the other texts of
// the thing itself, in what it belongs to. These are the field weights of the
// simple BM25 extension to several fields (Robertson, Zaragoza and Taylor, CIKM
// 2004): frequencies are weighted and added before they are saturated.
const (
	weightName    = 6
	weightText    = 3
	weightContext = 1
)

// fieldGap keeps a phrase from running from one field into the next.
const fieldGap = 100

// textField is the one field of a segment: weights are in the frequencies.
const textField = "t"

// batchSize is how many documents are turned into a segment at once. More needs
// more memory; fewer makes the merge longer.
const batchSize = 6000

// zapDocument hands a document that is already taken apart to the segment
// library. Its identity, which the library wants stored, is its number, and is
// not indexed.
type zapDocument struct {
	id   zapField
	text zapField
}

func (d *zapDocument) ID() string                               { return string(d.id.value) }
func (d *zapDocument) Size() int                                { return 0 }
func (d *zapDocument) VisitFields(visit api.FieldVisitor)       { visit(&d.id); visit(&d.text) }
func (d *zapDocument) VisitComposite(api.CompositeFieldVisitor) {}
func (d *zapDocument) HasComposite() bool                       { return false }
func (d *zapDocument) NumPlainTextBytes() uint64                { return 0 }
func (d *zapDocument) AddIDField()                              {}
func (d *zapDocument) StoredFieldsBytes() uint64                { return 0 }
func (d *zapDocument) Indexed() bool                            { return true }

type zapField struct {
	name    string
	value   []byte
	options api.FieldIndexingOptions
	length  int
	terms   api.TokenFrequencies
}

func (f *zapField) Name() string                                   { return f.name }
func (f *zapField) Value() []byte                                  { return f.value }
func (f *zapField) ArrayPositions() []uint64                       { return nil }
func (f *zapField) EncodedFieldType() byte                         { return 't' }
func (f *zapField) Analyze()                                       {}
func (f *zapField) Options() api.FieldIndexingOptions              { return f.options }
func (f *zapField) AnalyzedLength() int                            { return f.length }
func (f *zapField) AnalyzedTokenFrequencies() api.TokenFrequencies { return f.terms }
func (f *zapField) NumPlainTextBytes() uint64                      { return 0 }

// built is everything that an index consists of, in memory.
type built struct {
	docs     []byte // lengths, offsets, records
	words    []byte // vellum dictionary of the words as they are written
	numbers  []byte // folded numbers, a line feed before and after each
	stock    bloom  // which suppliers' numbers there can be among them
	stat     stat
	segments []segment.Segment // batches not merged yet
}

// stat is what scoring needs to know of a whole index.
type stat struct {
	Docs     int       `json:"docs"`
	Length   int       `json:"length"` // weighted length of all documents
	Sections []section `json:"sections"`
	Makers   []string  `json:"makers"`
	Families []string  `json:"families"`
	Roles    []string  `json:"roles"`
	Sources  []string  `json:"sources"`
}

// builder collects documents.
type builder struct {
	stem    *stemmer
	batch   []api.Document
	running chan error // gives what became of the segment in the making
	out     *built
	lengths []uint16
	offsets []uint32
	records []byte
	vocab   map[string]uint64
	numbers bytes.Buffer
	stock   []string // suppliers' numbers
	makers  numbering
	family  numbering
	roles   numbering
	sources numbering
}

// numbering gives small numbers to texts that repeat.
type numbering struct {
	of   map[string]int
	list []string
}

func (n *numbering) number(s string) uint64 {
	i, ok := n.of[s]
	if !ok {
		if n.of == nil {
			n.of = map[string]int{}
		}
		i = len(n.list)
		n.of[s] = i
		n.list = append(n.list, s)
	}
	return uint64(i)
}

func newBuilder() *builder {
	b := &builder{stem: newStemmer(), out: &built{}, vocab: map[string]uint64{}}
	b.numbers.WriteByte('\n')
	return b
}

// add takes one document in.
func (b *builder) add(d *document) error {
	terms := api.TokenFrequencies{}
	length := 0
	base := 0
	field := func(f Field, weight int, placed bool) {
		last := 0
		b.stem.tokens(f.Text, func(t token) {
			if t.word {
				length += weight
			}
			if t.surface != "" && len(t.surface) > 2 {
				b.vocab[t.surface]++
			}
			tf := terms[t.term]
			if tf == nil {
				tf = &api.TokenFreq{Term: []byte(t.term)}
				terms[t.term] = tf
			}
			tf.SetFrequency(tf.Frequency() + weight)
			if placed {
				tf.Locations = append(tf.Locations, &api.TokenLocation{Position: base + t.pos})
			}
			last = t.pos
		})
		base += last + fieldGap
	}
	for i, f := range d.fields {
		w := weightText
		if i == 0 {
			w = weightName
		}
		field(f, w, true)
	}
	for _, f := range append(d.context, d.more...) {
		field(f, weightContext, false)
	}
	if d.number != "" {
		b.stem.tokens(string(lower(d.number)), func(t token) {
			if terms[t.term] == nil {
				tf := &api.TokenFreq{Term: []byte(t.term)}
				tf.SetFrequency(weightText)
				terms[t.term] = tf
			}
		})
		if w := string(lower(d.number)); terms[w] == nil {
			tf := &api.TokenFreq{Term: []byte(w)}
			tf.SetFrequency(weightName)
			terms[w] = tf
		}
	}
	n := len(b.lengths)
	b.batch = append(b.batch, &zapDocument{
		id:   zapField{name: "_id", value: binary.BigEndian.AppendUint32(nil, uint32(n)), options: api.StoreField},
		text: zapField{name: textField, options: api.IndexField | api.IncludeTermVectors, length: min(length, math.MaxUint16), terms: terms},
	})
	b.lengths = append(b.lengths, uint16(min(length, math.MaxUint16)))
	b.out.stat.Length += min(length, math.MaxUint16)
	b.offsets = append(b.offsets, uint32(len(b.records)))
	b.record(d)
	b.numbers.WriteString(d.number)
	b.numbers.WriteByte('\n')
	if len(b.batch) >= batchSize {
		return b.flush()
	}
	return nil
}

func lower(number string) []byte { return bytes.ToLower([]byte(number)) }

// record appends what must be known of a document without reading its row.
func (b *builder) record(d *document) {
	r := b.records
	r = append(r, byte(slices.Index(Kinds, d.kind)))
	name := ""
	if d.table != nil {
		name = d.table.Name
	}
	r = binary.AppendUvarint(r, uint64(len(name)))
	r = append(r, name...)
	r = binary.AppendUvarint(r, uint64(len(d.key)))
	r = append(r, d.key...)
	r = binary.AppendUvarint(r, uint64(d.count))
	list := func(of *numbering, values []string) {
		r = binary.AppendUvarint(r, uint64(len(values)))
		for _, v := range values {
			r = binary.AppendUvarint(r, of.number(v))
		}
	}
	list(&b.makers, d.makers)
	list(&b.family, d.families)
	list(&b.roles, d.roles)
	if d.source == "" {
		r = append(r, 0)
	} else {
		r = binary.AppendUvarint(r, b.sources.number(d.source)+1)
	}
	r = binary.AppendUvarint(r, uint64(len(d.more)))
	for _, f := range d.more {
		for _, s := range []string{f.Name, f.Text} {
			r = binary.AppendUvarint(r, uint64(len(s)))
			r = append(r, s...)
		}
	}
	b.records = r
}

// open begins a section of numbers without documents.
func (b *builder) open(table, prefix string) error {
	b.out.stat.Sections = append(b.out.stat.Sections, section{Table: table, Prefix: prefix})
	return nil
}

// bare takes in a number without a document.
func (b *builder) bare(number string) error {
	b.numbers.WriteString(number)
	b.numbers.WriteByte('\n')
	sec := &b.out.stat.Sections[len(b.out.stat.Sections)-1]
	sec.Lines++
	if sec.Table == catalog.TOffers {
		b.stock = append(b.stock, number)
	}
	return nil
}

func (b *builder) flush() error {
	if len(b.batch) == 0 {
		return nil
	}
	if err := b.await(); err != nil {
		return err
	}
	// The next documents are taken apart while these become a segment.
	batch, done := b.batch, make(chan error, 1)
	b.batch, b.running = nil, done
	go func() {
		s, _, err := (&zap.ZapPlugin{}).New(batch)
		if err == nil {
			b.out.segments = append(b.out.segments, s)
		}
		done <- err
	}()
	return nil
}

// await waits for the segment in the making. Nothing touches the segments
// before.
func (b *builder) await() error {
	if b.running == nil {
		return nil
	}
	err := <-b.running
	b.running = nil
	if err != nil {
		return fmt.Errorf("build the index: %w", err)
	}
	return nil
}

// finish gives everything but the segments, which are merged by the caller.
func (b *builder) finish() (*built, error) {
	if err := errors.Join(b.flush(), b.await()); err != nil {
		return nil, err
	}
	o := b.out
	o.stat.Docs = len(b.lengths)
	o.stat.Makers, o.stat.Families, o.stat.Roles, o.stat.Sources = b.makers.list, b.family.list, b.roles.list, b.sources.list
	for _, n := range b.lengths {
		o.docs = binary.LittleEndian.AppendUint16(o.docs, n)
	}
	for _, n := range append(b.offsets, uint32(len(b.records))) {
		o.docs = binary.LittleEndian.AppendUint32(o.docs, n)
	}
	o.docs = append(o.docs, b.records...)
	o.numbers = b.numbers.Bytes()
	o.stock = newBloom(len(b.stock))
	for _, n := range b.stock {
		o.stock.add(n)
	}
	var words bytes.Buffer
	v, err := vellum.New(&words, nil)
	if err != nil {
		return nil, fmt.Errorf("build the index: %w", err)
	}
	for _, w := range sortedKeys(b.vocab) {
		if err := v.Insert([]byte(w), b.vocab[w]); err != nil {
			return nil, fmt.Errorf("build the index: %w", err)
		}
	}
	if err := v.Close(); err != nil {
		return nil, fmt.Errorf("build the index: %w", err)
	}
	o.words = words.Bytes()
	return o, nil
}

// mergeTo writes the batches as one segment to a file.
func (o *built) mergeTo(path string) error {
	if len(o.segments) == 0 {
		return os.WriteFile(path, nil, 0o666)
	}
	if len(o.segments) == 1 {
		return o.segments[0].(*zap.SegmentBase).Persist(path)
	}
	_, _, err := (&zap.ZapPlugin{}).Merge(o.segments, make([]*roaring.Bitmap, len(o.segments)), path, nil, nil)
	return err
}

// buildCatalogue takes a whole catalogue in.
func buildCatalogue(r Reader, step func(done string, n int) error) (*built, error) {
	inv, err := takeInventory(r, func(rows int) error { return step("rows read", rows) })
	if err != nil {
		return nil, err
	}
	b := newBuilder()
	if err := documents(r, inv, func(d *document) error {
		if n := len(b.lengths); n%256 == 0 {
			if err := step("texts", n); err != nil {
				return err
			}
		}
		return b.add(d)
	}); err != nil {
		return nil, err
	}
	n := 0
	if err := bareNumbers(r, inv, b.open, func(number string) error {
		if n++; n%4096 == 0 {
			if err := step("numbers", n); err != nil {
				return err
			}
		}
		return b.bare(number)
	}); err != nil {
		return nil, err
	}
	return b.finish()
}

// noteDocument makes a document of a note of the shop.
func noteDocument(l *lookup, n Note, part func(key string) (*links, error)) (*document, error) {
	d := &document{kind: KindNote, key: n.ID, fields: describeNote(n)}
	of, err := l.linksOf(n.On, n.Of, n.Family, part)
	if err != nil {
		return nil, err
	}
	if err := l.place(d, of); err != nil {
		return nil, err
	}
	about, err := l.aboutTarget(n.On, n.Of)
	if err != nil {
		return nil, err
	}
	d.more = about
	if n.Alias != "" {
		d.number = catalog.Fold(n.Alias)
	}
	return d, nil
}
