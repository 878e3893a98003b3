package index

import (
	"encoding/binary"
	"errors"
	"fmt"
	"slices"

	"github.com/blevesearch/mmap-go"
	segment "github.com/blevesearch/scorch_segment_api/v2"
	"github.com/blevesearch/vellum"
)

// shelf is one opened index: of the catalogue, of the shop's notes, or of the
// notes that changed since.
type shelf struct {
	stat
	segments []segmentAt
	docs     []byte
	words    *vellum.FST
	numbers  func() (numberList, error)
	stock    bloom                  // which suppliers' numbers there can be
	looked   map[string][]numberHit // suppliers' numbers that were looked for
	close    func() error
	dir      string // where its files are, "" for one in memory
	maps     []mmap.MMap
}

// segmentAt is a segment with the number of its first document.
type segmentAt struct {
	s    segment.Segment
	dict segment.TermDictionary
	from int
}

// memoryShelf opens what was just built, without a file.
func memoryShelf(o *built) (*shelf, error) {
	s := &shelf{stat: o.stat, docs: o.docs, stock: o.stock, looked: map[string][]numberHit{}, numbers: func() (numberList, error) { return o.numbers, nil }, close: func() error { return nil }}
	from := 0
	for _, sg := range o.segments {
		if err := s.take(sg, from); err != nil {
			return nil, err
		}
		from += int(sg.Count())
	}
	return s, s.load(o.words)
}

func (s *shelf) take(sg segment.Segment, from int) error {
	dict, err := sg.Dictionary(textField)
	if err != nil {
		return fmt.Errorf("open the index: %w", err)
	}
	s.segments = append(s.segments, segmentAt{sg, dict, from})
	return nil
}

func (s *shelf) load(words []byte) error {
	if len(words) == 0 {
		return nil
	}
	var err error
	if s.words, err = vellum.Load(words); err != nil {
		return fmt.Errorf("open the index: %w", err)
	}
	return nil
}

var errShelf = errors.New("its parts do not fit one another")

// check tells whether the parts can belong together, so that nothing below
// reaches outside of them.
func (s *shelf) check() error {
	n := s.Docs
	head := 2*n + 4*(n+1)
	if n < 0 || len(s.docs) < head {
		return errShelf
	}
	last := uint32(0)
	for i := range n + 1 {
		o := binary.LittleEndian.Uint32(s.docs[2*n+4*i:])
		if o < last || int(o) > len(s.docs)-head {
			return errShelf
		}
		last = o
	}
	docs := 0
	for _, sg := range s.segments {
		docs += int(sg.s.Count())
	}
	if docs != n {
		return errShelf
	}
	return nil
}

// length is the weighted length of a document.
func (s *shelf) length(doc int) int {
	return int(binary.LittleEndian.Uint16(s.docs[2*doc:]))
}

// record is what is known of a document without reading its row.
type record struct {
	kind     Kind
	table    []byte
	key      []byte
	count    int
	makers   []int
	families []int
	roles    []int
	source   int    // 0 for none, else its number plus one
	rest     []byte // what more says
}

// more gives the further texts by which a document is found.
func (r *record) more() []Field {
	b := r.rest
	text := func() string {
		n, k := binary.Uvarint(b)
		if k <= 0 || n > uint64(len(b)-k) {
			b = nil
			return ""
		}
		t := string(b[k : k+int(n)])
		b = b[k+int(n):]
		return t
	}
	n, k := binary.Uvarint(b)
	if k <= 0 {
		return nil
	}
	b = b[k:]
	var out []Field
	for range n {
		f := Field{Name: text(), Text: text()}
		if b == nil {
			break
		}
		out = append(out, f)
	}
	return out
}

// record reads the record of a document. The lists are used again by the next
// call with the same r; texts must not be changed.
func (s *shelf) record(doc int, r *record) {
	n := s.Docs
	at := 2*n + 4*(n+1)
	from := binary.LittleEndian.Uint32(s.docs[2*n+4*doc:])
	to := binary.LittleEndian.Uint32(s.docs[2*n+4*(doc+1):])
	b := s.docs[at+int(from) : at+int(to)]
	uvarint := func() int {
		v, n := binary.Uvarint(b)
		if n <= 0 {
			b = nil
			return 0
		}
		b = b[n:]
		return int(v)
	}
	text := func() []byte {
		n := min(uvarint(), len(b))
		t := b[:n:n]
		b = b[n:]
		return t
	}
	if len(b) == 0 || int(b[0]) >= len(Kinds) {
		*r = record{}
		return
	}
	r.kind, b = Kinds[b[0]], b[1:]
	r.table = text()
	r.key = text()
	r.count = uvarint()
	list := func(to []int, of []string) []int {
		to = to[:0]
		for range uvarint() {
			if i := uvarint(); i < len(of) {
				to = append(to, i)
			}
			if b == nil {
				break
			}
		}
		return to
	}
	r.makers = list(r.makers, s.Makers)
	r.families = list(r.families, s.Families)
	r.roles = list(r.roles, s.Roles)
	if r.source = uvarint(); r.source > len(s.Sources) {
		r.source = 0
	}
	r.rest = b
}

// find gives the document of a row, by its folded number: each document holds its
// own number as a term.
func (s *shelf) find(table, key, number string) (doc int, ok bool, err error) {
	var r record
	err = s.postings(plain(number), func(d int, _ float32) {
		if ok {
			return
		}
		if s.record(d, &r); string(r.table) == table && string(r.key) == key {
			doc, ok = d, true
		}
	})
	return doc, ok, err
}

// stockLines gives the lines that are exactly this number, if it can be a
// supplier's.
func (s *shelf) stockLines(number string) ([]numberHit, error) {
	if !s.stock.has(number) {
		return nil, nil
	}
	if hits, ok := s.looked[number]; ok {
		return hits, nil
	}
	list, err := s.numbers()
	if err != nil {
		return nil, err
	}
	hits, _ := list.find(number, AnchorWhole)
	if len(s.looked) > 4096 {
		clear(s.looked)
	}
	s.looked[number] = hits
	return hits, nil
}

// bareAt gives the section that a line without a document is in.
func (s *shelf) bareAt(line int) (section, bool) {
	line -= s.Docs
	for _, sec := range s.Sections {
		if line < sec.Lines {
			return sec, line >= 0
		}
		line -= sec.Lines
	}
	return section{}, false
}

// postings calls each for every document that holds a term.
func (s *shelf) postings(term string, each func(doc int, frequency float32)) error {
	for _, sg := range s.segments {
		list, err := sg.dict.PostingsList([]byte(term), nil, nil)
		if err != nil {
			return fmt.Errorf("read the index: %w", err)
		}
		if list.Count() == 0 {
			continue
		}
		it := list.Iterator(true, false, false, nil)
		for {
			p, err := it.Next()
			if err != nil {
				return fmt.Errorf("read the index: %w", err)
			}
			if p == nil {
				break
			}
			if doc := sg.from + int(p.Number()); doc < s.Docs {
				each(doc, float32(p.Frequency()))
			}
		}
	}
	return nil
}

// postingsAt calls each for those of the documents, which must be in order, that
// hold a term.
func (s *shelf) postingsAt(term string, docs []int32, each func(doc int, frequency float32)) error {
	for _, sg := range s.segments {
		list, err := sg.dict.PostingsList([]byte(term), nil, nil)
		if err != nil {
			return fmt.Errorf("read the index: %w", err)
		}
		if list.Count() == 0 {
			continue
		}
		it := list.Iterator(true, false, false, nil)
		var p segment.Posting
		for _, d := range docs {
			if int(d) < sg.from {
				continue
			}
			want := uint64(int(d) - sg.from)
			if p == nil || p.Number() < want {
				if p, err = it.Advance(want); err != nil {
					return fmt.Errorf("read the index: %w", err)
				}
				if p == nil {
					break
				}
			}
			if p.Number() == want {
				each(int(d), float32(p.Frequency()))
			}
		}
	}
	return nil
}

// count tells how many documents hold a term.
func (s *shelf) count(term string) (int, error) {
	n := 0
	for _, sg := range s.segments {
		list, err := sg.dict.PostingsList([]byte(term), nil, nil)
		if err != nil {
			return 0, fmt.Errorf("read the index: %w", err)
		}
		n += int(list.Count())
	}
	return n, nil
}

// phrase calls each for every document in which the terms stand at these
// distances from the first.
func (s *shelf) phrase(terms []string, at []int, each func(doc int)) error {
	for _, sg := range s.segments {
		var its []segment.PostingsIterator
		rarest, least := 0, uint64(1<<63)
		for i, t := range terms {
			list, err := sg.dict.PostingsList([]byte(t), nil, nil)
			if err != nil {
				return fmt.Errorf("read the index: %w", err)
			}
			if n := list.Count(); n < least {
				rarest, least = i, n
			}
			its = append(its, list.Iterator(true, false, true, nil))
		}
		if least == 0 {
			continue
		}
		on := make([]segment.Posting, len(its))
	docs:
		for {
			p, err := its[rarest].Next()
			if err != nil {
				return fmt.Errorf("read the index: %w", err)
			}
			if p == nil {
				break
			}
			want := p.Number()
			starts := positions(p, at[rarest])
			for i, it := range its {
				if i == rarest {
					continue
				}
				if on[i] == nil || on[i].Number() < want {
					if on[i], err = it.Advance(want); err != nil {
						return fmt.Errorf("read the index: %w", err)
					}
					if on[i] == nil {
						break docs
					}
				}
				if on[i].Number() != want {
					continue docs
				}
				here := positions(on[i], at[i])
				starts = slices.DeleteFunc(starts, func(n int) bool { return !slices.Contains(here, n) })
				if len(starts) == 0 {
					continue docs
				}
			}
			if doc := sg.from + int(want); doc < s.Docs && len(starts) > 0 {
				each(doc)
			}
		}
	}
	return nil
}

// positions gives where a phrase begins whose word at that distance stands here.
func positions(p segment.Posting, at int) []int {
	var out []int
	for _, l := range p.Locations() {
		if n := int(l.Pos()) - at; n >= 0 {
			out = append(out, n)
		}
	}
	return out
}
