package index

import (
	"bytes"
	"cmp"
	"container/heap"
	"context"
	"errors"
	"fmt"
	"math"
	"math/bits"
	"runtime/debug"
	"slices"
	"strings"

	"github.com/blevesearch/vellum/levenshtein"

	"platewright/catalog"
)

// Parameters of BM25 (Robertson and Zaragoza, 2009): how fast a word's
// repetitions stop to count, and how much long texts are held back.
const (
	saturation = 1.2
	lengthHold = 0.4
)

// What a number is worth by where the piece stands in it. They lie above what a
// word can reach, since who types part of a number wants that number.
const (
	worthWhole    = 26.0
	worthLeading  = 17.0
	worthTrailing = 17.0
	worthInner    = 12.0
	worthNear     = 10.0
	worthLength   = 5.0 // times the share of the number that was given
	worthTerm     = 7.0 // how much a number weighs among the words of a query
)

// hasWord tells whether a word stands in a text as it is.
func (x *Index) hasWord(w string) bool {
	for _, s := range x.shelves {
		if s.words != nil {
			if ok, err := s.words.Contains([]byte(w)); ok && err == nil {
				return true
			}
		}
	}
	return false
}

// count tells how many documents hold a term.
func (x *Index) count(term string) (int, error) {
	if n, ok := x.counts[term]; ok {
		return n, nil
	}
	n := 0
	for _, s := range x.shelves {
		k, err := s.count(term)
		if err != nil {
			return 0, err
		}
		n += k
	}
	if len(x.counts) > 4096 {
		clear(x.counts)
	}
	x.counts[term] = n
	return n, nil
}

const mostReadings = 6

// beginning gives the most frequent words that begin with w.
func (x *Index) beginning(w string) []string {
	seen := map[string]uint64{}
	for _, s := range x.shelves {
		if s.words == nil {
			continue
		}
		it, err := s.words.Iterator([]byte(w), append([]byte(w), 0xff))
		for n := 0; err == nil && n < 2000; n++ {
			k, v := it.Current()
			seen[string(k)] += v
			err = it.Next()
		}
	}
	return mostFrequent(seen, mostReadings)
}

func mostFrequent(seen map[string]uint64, most int) []string {
	words := sortedKeys(seen)
	slices.SortStableFunc(words, func(a, b string) int { return cmp.Compare(seen[b], seen[a]) })
	return words[:min(len(words), most)]
}

type spelled struct {
	word     string
	distance int
}

// spelledLike gives the words that a typing error or two turn w into, the
// nearest only.
func (x *Index) spelledLike(w string) ([]spelled, error) {
	for d := 1; d <= 2; d++ {
		if d == 2 && len(w) < 7 {
			break
		}
		seen := map[string]uint64{}
		if x.spelling[d] == nil {
			b, err := levenshtein.NewLevenshteinAutomatonBuilder(uint8(d), true)
			if err != nil {
				return nil, fmt.Errorf("look for typing errors: %w", err)
			}
			x.spelling[d] = b
		}
		dfa, err := x.spelling[d].BuildDfa(w, uint8(d))
		if err != nil {
			return nil, nil // too long a word to have errors in
		}
		for _, s := range x.shelves {
			if s.words == nil {
				continue
			}
			it, err := s.words.Search(dfa, nil, nil)
			for ; err == nil; err = it.Next() {
				k, v := it.Current()
				seen[string(k)] += v
			}
		}
		for _, y := range x.synonyms.words {
			if ok, _ := dfa.MatchAndDistance(y); ok {
				seen[y] += 2
			}
		}
		if len(seen) == 0 {
			continue
		}
		// Another first letter is a rare slip.
		same := map[string]uint64{}
		for k, v := range seen {
			if k[0] == w[0] {
				same[k] = v
			}
		}
		if len(same) > 0 {
			seen = same
		}
		var out []spelled
		for _, k := range mostFrequent(seen, mostReadings) {
			out = append(out, spelled{k, d})
		}
		return out, nil
	}
	return nil, nil
}

// holdsNumber tells whether any number holds a folded piece.
func (x *Index) holdsNumber(piece string) (bool, error) {
	if strings.Contains(piece, "?") {
		return false, nil
	}
	for _, s := range x.shelves {
		list, err := s.numbers()
		if err != nil {
			return false, err
		}
		if bytes.Contains(list, []byte(piece)) {
			return true, nil
		}
	}
	return false, nil
}

// exact gives the rows that the catalogue has under a folded number, parts
// first. It asks the catalogue itself, never the index.
func (x *Index) exact(folded string) ([]found, error) {
	var out []found
	key := catalog.MakeKey(folded)
	for _, name := range []string{catalog.TParts, catalog.TNumbers, catalog.TVariants, catalog.TFamilies, catalog.TWork, catalog.TMarks, catalog.TSpecs, catalog.TSources} {
		t := catalog.TableByName(name)
		rows, err := x.reader.Group(t, key)
		if err != nil {
			return nil, err
		}
		for _, r := range rows {
			out = append(out, found{t, string(t.RowKey(nil, r)), r})
		}
	}
	if !strings.ContainsAny(folded, "0123456789") {
		return out, nil
	}
	plates := catalog.TableByName(catalog.TPlates)
	for _, layout := range x.layouts {
		rows, err := x.reader.Group(plates, catalog.MakeKey(layout, folded)[:plateKey(plates, layout, folded)])
		if err != nil {
			return nil, err
		}
		for _, r := range rows {
			if k := string(plates.RowKey(nil, r)); strings.HasPrefix(k, catalog.MakeKey(layout, folded)) {
				out = append(out, found{plates, k, r})
			}
		}
	}
	stock, err := x.exactStock(folded)
	return append(out, stock...), err
}

// plateKey is how much of a key names the group of a plate.
func plateKey(t *catalog.Table, layout, plate string) int {
	if t.Group == 1 {
		return len(catalog.MakeKey(layout))
	}
	return len(catalog.MakeKey(layout, plate))
}

// exactStock gives the offers under a supplier's stock number. All offers of a
// supplier are one group of the store, too large to be read for each query, so
// the list of numbers says first whether there is one.
func (x *Index) exactStock(folded string) ([]found, error) {
	s := x.shelves[0]
	lines, err := s.stockLines(folded)
	if err != nil {
		return nil, err
	}
	var out []found
	for _, h := range lines {
		sec, ok := s.bareAt(h.line)
		if !ok || sec.Table != catalog.TOffers {
			continue
		}
		t := catalog.TableByName(sec.Table)
		key := sec.Prefix + catalog.MakeKey(folded)
		row, err := x.rowOf(t, key)
		if err != nil {
			return nil, err
		}
		if row != nil {
			out = append(out, found{t, key, row})
		}
	}
	return out, nil
}

// scores are what the documents of one shelf have reached. They are used again
// for the next query.
type scores struct {
	score   []float32
	matched []uint32 // bit of each term that the document holds
	term    []float32
	touched []int32
	once    []int32 // documents touched by the term at hand
}

func (x *Index) newScores() []*scores {
	if len(x.scores) != len(x.shelves) {
		x.scores = nil
		docs, length := 0, 0
		for _, s := range x.shelves {
			docs += s.Docs
			length += s.Length
		}
		average := float64(length) / float64(max(docs, 1))
		x.hold = make([]float32, 2048)
		for n := range x.hold {
			x.hold[n] = float32(weightText * saturation * (1 - lengthHold + lengthHold*float64(n)/average))
		}
		for _, s := range x.shelves {
			n := s.Docs
			x.scores = append(x.scores, &scores{score: make([]float32, n), matched: make([]uint32, n), term: make([]float32, n)})
		}
	}
	for _, c := range x.scores {
		for _, d := range c.touched {
			c.score[d], c.matched[d] = 0, 0
		}
		for _, d := range c.once { // of a query that ended with an error
			c.term[d] = 0
		}
		c.touched, c.once = c.touched[:0], c.once[:0]
	}
	return x.scores
}

// give lets a document reach a score in the term at hand; the best counts.
func (c *scores) give(doc int, s float32) {
	if c.term[doc] == 0 {
		c.once = append(c.once, int32(doc))
	}
	if s > c.term[doc] {
		c.term[doc] = s
	}
}

// settle ends a term.
func (c *scores) settle(bit int) {
	for _, d := range c.once {
		if c.matched[d] == 0 && c.score[d] == 0 {
			c.touched = append(c.touched, d)
		}
		c.score[d] += c.term[d]
		c.matched[d] |= 1 << bit
		c.term[d] = 0
	}
	c.once = c.once[:0]
}

// candidate is a hit before it is described.
type candidate struct {
	shelf   int
	doc     int // of the shelf, or the line of a number without a document, or -1
	score   float64
	matched uint32
	exact   bool
	anchor  Anchor
	number  string // of a line without a document
	found   *found
	table   string // "" for a document
	key     string
}

// scored is a document that is a hit.
type scored struct {
	shelf, doc int32
	score      float32
	matched    uint32
}

// hits are all hits of a query: documents, of which there can be very many, and
// numbers without a document and exact ones.
type hits struct {
	docs     []scored
	others   []candidate
	anchored map[lineAt]Anchor
}

type lineAt struct{ shelf, line int }

// page gives the hits from offset on, at most limit, in order. It sorts no more
// of them than it needs.
func (h *hits) page(offset, limit int) []candidate {
	slices.SortFunc(h.others, compareCandidates)
	n := offset + limit
	less := func(a, b scored) int {
		return cmp.Or(cmp.Compare(b.score, a.score), cmp.Compare(a.shelf, b.shelf), cmp.Compare(a.doc, b.doc))
	}
	best := h.docs
	if len(best) > 4*n {
		// Keep the n best in a heap whose top is the worst of them.
		top := &worstFirst{list: slices.Clone(best[:n]), less: less}
		heap.Init(top)
		for _, d := range best[n:] {
			if less(d, top.list[0]) < 0 {
				top.list[0] = d
				heap.Fix(top, 0)
			}
		}
		best = top.list
	}
	slices.SortFunc(best, less)
	var out []candidate
	i, j := 0, 0
	for len(out) < n && (i < len(best) || j < len(h.others)) {
		var c candidate
		if i < len(best) {
			d := best[i]
			c = candidate{shelf: int(d.shelf), doc: int(d.doc), score: float64(d.score), matched: d.matched, anchor: h.anchored[lineAt{int(d.shelf), int(d.doc)}]}
		}
		if i == len(best) || j < len(h.others) && compareCandidates(h.others[j], c) < 0 {
			c = h.others[j]
			j++
		} else {
			i++
		}
		out = append(out, c)
	}
	return out[min(offset, len(out)):]
}

// worstFirst is a heap of hits.
type worstFirst struct {
	list []scored
	less func(a, b scored) int
}

func (w *worstFirst) Len() int           { return len(w.list) }
func (w *worstFirst) Less(i, j int) bool { return w.less(w.list[i], w.list[j]) > 0 }
func (w *worstFirst) Swap(i, j int)      { w.list[i], w.list[j] = w.list[j], w.list[i] }
func (w *worstFirst) Push(any)           {} // the heap never grows
func (w *worstFirst) Pop() any           { return nil }

// Search answers a query. It never fails because of what the query says, nor
// because of the index: where that turns out to be damaged it is built anew. The
// error is one of reading the catalogue, or of a context that ended.
func (x *Index) Search(ctx context.Context, q Query) (*Result, error) {
	res, err := x.guarded(q)
	var damaged *damagedError
	if !errors.As(err, &damaged) {
		return res, err
	}
	again, err := damaged.mend(ctx, x.reader, x.options)
	if err != nil {
		return nil, err
	}
	err = x.Close()
	*x = *again
	if err != nil {
		return nil, err
	}
	return x.guarded(q)
}

// guarded searches, and takes a fault of the memory map, such as that of a file
// which somebody cut short in the meantime, for the damage that it is.
func (x *Index) guarded(q Query) (_ *Result, err error) {
	before := debug.SetPanicOnFault(true)
	defer func() {
		debug.SetPanicOnFault(before)
		r := recover()
		if r == nil {
			return
		}
		fault, ok := r.(interface{ Addr() uintptr })
		if !ok {
			panic(r)
		}
		err = &damagedError{x.folder(fault.Addr()), errors.New("its files cannot be read to their end")}
	}()
	return x.search(q)
}

func (x *Index) search(q Query) (*Result, error) {
	if q.Limit <= 0 {
		q.Limit = 10
	}
	q.Offset = max(q.Offset, 0)
	res := &Result{Query: q, Words: []Word{}, Hits: []Hit{}, Facets: []Facet{}, Index: x.state}
	terms, err := x.parse(q.Text)
	if err != nil {
		return nil, err
	}
	if len(terms) == 0 && strings.TrimSpace(q.Text) != "" {
		// Nothing in it can be looked for; that is not the same as no words.
		res.Words = append(res.Words, Word{Text: harmless(strings.TrimSpace(q.Text)), Kind: WordUnmet, Also: []string{}, Read: []string{}})
		return res, nil
	}
	f := newFilter(q)
	all, weights, more, err := x.candidates(terms, f)
	if err != nil {
		return nil, err
	}
	for i, t := range terms {
		if weights[i] == 0 && t.word.Kind != WordFiller {
			t.word.Kind = WordUnmet
			t.word.Read = []string{}
		}
	}
	for _, t := range inOrder(terms) {
		if !(t.filler && t.exact != nil) {
			res.Words = append(res.Words, t.word)
		}
	}
	res.Total, res.More = len(all.docs)+len(all.others), more
	if q.Facets {
		res.Facets = x.facets(all)
	}
	for _, c := range all.page(q.Offset, q.Limit) {
		h, err := x.show(c, terms, weights)
		if err != nil {
			return nil, err
		}
		if h != nil {
			res.Hits = append(res.Hits, *h)
		}
	}
	return res, nil
}

// inOrder gives terms as they were typed.
func inOrder(terms []*term) []*term {
	out := slices.Clone(terms)
	slices.SortStableFunc(out, func(a, b *term) int { return cmp.Compare(a.typed, b.typed) })
	return out
}

// filter is what a hit must belong to.
type filter struct {
	kinds                            map[Kind]bool
	makers, families, roles, sources map[string]bool
}

func newFilter(q Query) *filter {
	fold := func(list []string) map[string]bool {
		var m map[string]bool
		for _, s := range list {
			if m == nil {
				m = map[string]bool{}
			}
			m[catalog.Fold(s)] = true
		}
		return m
	}
	f := &filter{makers: fold(q.Makers), families: fold(q.Families), roles: fold(q.Roles), sources: fold(q.Sources)}
	for _, k := range q.Kinds {
		if f.kinds == nil {
			f.kinds = map[Kind]bool{}
		}
		f.kinds[k] = true
	}
	return f
}

func (f *filter) empty() bool {
	return f.kinds == nil && f.makers == nil && f.families == nil && f.roles == nil && f.sources == nil
}

// allowed turns the filter's codes into the numbers that a shelf gives them.
type allowed struct {
	f                                *filter
	makers, families, roles, sources map[int]bool
}

func (f *filter) on(s *shelf) *allowed {
	numbers := func(want map[string]bool, list []string) map[int]bool {
		if want == nil {
			return nil
		}
		m := map[int]bool{}
		for i, v := range list {
			if want[catalog.Fold(v)] {
				m[i] = true
			}
		}
		return m
	}
	return &allowed{f, numbers(f.makers, s.Makers), numbers(f.families, s.Families), numbers(f.roles, s.Roles), numbers(f.sources, s.Sources)}
}

func (a *allowed) has(r *record) bool {
	any := func(want map[int]bool, list []int) bool {
		return want == nil || slices.ContainsFunc(list, func(i int) bool { return want[i] })
	}
	return (a.f.kinds == nil || a.f.kinds[r.kind]) && any(a.makers, r.makers) && any(a.families, r.families) && any(a.roles, r.roles) &&
		(a.sources == nil || r.source > 0 && a.sources[r.source-1])
}

// candidates gives all hits, the best first, and what each term weighs: 0 for
// one that nothing holds.
func (x *Index) candidates(terms []*term, f *filter) (*hits, []float64, bool, error) {
	weights := make([]float64, len(terms))
	all := x.newScores()
	docs := 0
	for _, s := range x.shelves {
		docs += s.Docs
	}
	bare := map[lineAt]*candidate{}
	anchored := map[lineAt]Anchor{}
	var exact []candidate
	more := false
	whole, err := x.together(terms, weights, all, docs)
	if err != nil {
		return nil, nil, false, err
	}
	rest := terms
	if whole != 0 {
		rest = nil // all that counts is scored already
	} else {
		clear(weights)
		all = x.newScores()
	}
	for ti, t := range rest {
		if len(t.phrase) > 0 {
			idf := 0.0
			for _, w := range t.phrase {
				n, err := x.count(w)
				if err != nil {
					return nil, nil, false, err
				}
				idf += inverse(docs, n)
			}
			for si, s := range x.shelves {
				if err := s.phrase(t.phrase, t.at, func(d int) { all[si].give(d, float32(1.5*idf)); weights[ti] = idf }); err != nil {
					return nil, nil, false, err
				}
			}
		}
		holders := 0 // documents that hold the term as meant: its own words or equal ones
		for i, a := range t.alts {
			if i > 0 && (a.weight < 0.9 || t.number != "") {
				continue
			}
			least := math.MaxInt
			for _, w := range a.words {
				n, err := x.count(w)
				if err != nil {
					return nil, nil, false, err
				}
				least = min(least, n)
			}
			holders += least
		}
		for ai, a := range t.alts {
			n := holders
			if ai > 0 && a.weight < 0.9 || holders == 0 {
				n = math.MaxInt
				for _, w := range a.words {
					k, err := x.count(w)
					if err != nil {
						return nil, nil, false, err
					}
					n = min(n, k)
				}
			}
			if n == 0 {
				continue
			}
			idf := inverse(docs, n) * t.share(len(terms))
			held, err := x.give(all, a, idf, t.filler)
			if err != nil {
				return nil, nil, false, err
			}
			if held {
				weights[ti] = max(weights[ti], idf*a.weight)
			}
		}
		if t.number != "" {
			weights[ti] = max(weights[ti], 0)
			hits := false
			lists, found, cut, err := x.linesOf(t)
			if err != nil {
				return nil, nil, false, err
			}
			more = more || cut
			for si, s := range x.shelves {
				list, lines := lists[si], found[si]
				for _, h := range lines {
					hits = true
					w := worth(h, len(t.number))
					at := lineAt{si, h.line}
					if old, ok := anchored[at]; !ok || rankAnchor(h.anchor) < rankAnchor(old) {
						anchored[at] = h.anchor
					}
					if h.line < s.Docs {
						all[si].give(h.line, float32(w))
						continue
					}
					c := bare[at]
					if c == nil {
						c = &candidate{shelf: si, doc: h.line, number: string(list[h.at:h.to]), anchor: h.anchor}
						bare[at] = c
					}
					c.score += w
					c.matched |= 1 << ti
				}
			}
			if hits || len(t.exact) > 0 {
				weights[ti] = worthTerm
			}
			for i := range t.exact {
				e := &t.exact[i]
				exact = append(exact, candidate{shelf: -1, doc: -1, exact: true, anchor: AnchorWhole, found: e, table: e.table.Name, key: e.key, score: worthWhole, matched: 1 << ti})
			}
		}
		for _, c := range all {
			c.settle(ti)
		}
	}
	sum := 0.0
	for i, t := range terms {
		if !t.filler {
			sum += weights[i]
		}
	}
	out := &hits{anchored: anchored}
	best, err := x.addBare(out, bareList(bare), terms, weights, sum, f)
	if err != nil {
		return nil, nil, false, err
	}
	x.collect(out, best, terms, weights, sum, all, whole, f)
	if err := x.addExact(out, exact, f); err != nil {
		return nil, nil, false, err
	}
	return out, weights, more, nil
}

// linesOf gives the lines of each shelf's numbers that hold a number or a piece of
// one. Where none does, the place in the number is let go, then one typing error.
func (x *Index) linesOf(t *term) (lists []numberList, found [][]numberHit, cut bool, err error) {
	lists, found = make([]numberList, len(x.shelves)), make([][]numberHit, len(x.shelves))
	look := func(find func(si int) ([]numberHit, int, error)) (bool, error) {
		any := false
		for si := range x.shelves {
			lines, total, err := find(si)
			if err != nil {
				return false, err
			}
			found[si] = lines
			cut = cut || total > len(lines)
			any = any || len(lines) > 0
		}
		return any, nil
	}
	any, err := look(func(si int) ([]numberHit, int, error) {
		s := x.shelves[si]
		if si == 0 && t.exact != nil {
			// What the catalogue itself knows need not be looked for.
			lines, err := s.docsOf(t.exact, t.number)
			return lines, 0, err
		}
		list, err := s.numbers()
		if err != nil {
			return nil, 0, err
		}
		lists[si] = list
		lines, total := list.find(t.number, t.anchor)
		return lines, total, nil
	})
	if any || err != nil || t.exact != nil {
		return lists, found, cut, err
	}
	if t.anchor != "" {
		// People leave out the letter behind the figures, or mean the last ones
		// that they can read.
		any, err := look(func(si int) ([]numberHit, int, error) {
			lines, total := lists[si].find(t.number, "")
			return lines, total, nil
		})
		if any || err != nil {
			return lists, found, cut, err
		}
	}
	t.word.Read = []string{}
	any, err = look(func(si int) ([]numberHit, int, error) {
		if t.anchor != "" {
			return nil, 0, nil // a piece is no whole number with an error in it
		}
		lines := lists[si].near(t.number)
		for _, h := range lines {
			if n := string(lists[si][h.at:h.to]); len(t.word.Read) < 3 && !slices.Contains(t.word.Read, n) {
				t.word.Read = append(t.word.Read, n)
			}
		}
		return lines, 0, nil
	})
	if any || err != nil {
		return lists, found, cut, err
	}
	// Letters and digits that look alike, the other way round.
	for _, other := range misread(t.number) {
		any, err := look(func(si int) ([]numberHit, int, error) {
			lines, total := lists[si].find(other, t.anchor)
			return lines, total, nil
		})
		if err != nil {
			return nil, nil, false, err
		}
		if !any {
			continue
		}
		t.word.Misread, t.word.Read = true, append(t.word.Read, other)
		// The letter can be one too many as well.
		short := t.number[:len(t.number)-1]
		t.number = other
		if last := other[len(other)-1]; len(short) < 3 || last < '0' || last > '9' || strings.Trim(short[len(short)-3:], "0123456789") != "" {
			return lists, found, cut, nil
		}
		for si := range x.shelves {
			lines, total := lists[si].find(short, "")
			cut = cut || total > len(lines)
			for _, h := range lines {
				if !slices.ContainsFunc(found[si], func(o numberHit) bool { return o.line == h.line }) {
					h.anchor = AnchorNear
					found[si] = append(found[si], h)
				}
			}
			slices.SortFunc(found[si], func(a, b numberHit) int { return cmp.Compare(a.line, b.line) })
		}
		t.word.Read = append(t.word.Read, short)
		return lists, found, cut, nil
	}
	return lists, found, cut, nil
}

// alikeDigits are the letters that are read for a digit, and vice versa (from
// memory).
var alikeDigits = map[byte]string{
	'O': "0", 'Q': "0", 'D': "0", 'I': "1", 'L': "1", 'Z': "2", 'S': "5", 'G': "6", 'B': "8",
	'0': "O", '1': "I", '2': "Z", '5': "S", '6': "G", '8': "B",
}

// mostMisread bounds how many places of a number are taken to be misread.
const mostMisread = 4

// misread gives what a folded number can be when letters and digits that look alike
// were taken for each other, the fewest such places first.
func misread(number string) []string {
	var at []int
	for i := 0; i < len(number); i++ {
		if alikeDigits[number[i]] != "" {
			at = append(at, i)
		}
	}
	// A digit among letters is misread less often than a letter among digits.
	slices.SortStableFunc(at, func(a, b int) int {
		letter := func(i int) int {
			if number[i] >= 'A' {
				return 0
			}
			return 1
		}
		return letter(a) - letter(b)
	})
	at = at[:min(len(at), mostMisread)]
	var out []string
	for size := 1; size <= len(at); size++ {
		for mask := 1; mask < 1<<len(at); mask++ {
			if bits.OnesCount(uint(mask)) != size {
				continue
			}
			b := []byte(number)
			for k, i := range at {
				if mask&(1<<k) != 0 {
					b[i] = alikeDigits[number[i]][0]
				}
			}
			out = append(out, string(b))
		}
	}
	return out
}

// docsOf gives the documents of rows that have this number.
func (s *shelf) docsOf(rows []found, number string) ([]numberHit, error) {
	var out []numberHit
	for _, f := range rows {
		doc, ok, err := s.find(f.table.Name, f.key, number)
		if err != nil {
			return nil, err
		}
		if ok {
			out = append(out, numberHit{line: doc, anchor: AnchorWhole})
		}
	}
	return out, nil
}

func bareList[K comparable](m map[K]*candidate) []*candidate {
	out := make([]*candidate, 0, len(m))
	for _, c := range m {
		out = append(out, c)
	}
	return out
}

// inverse is the weight of a word by how few documents hold it.
func inverse(docs, holding int) float64 {
	return math.Log(1 + (float64(docs)-float64(holding)+0.5)/(float64(holding)+0.5))
}

func worth(h numberHit, given int) float64 {
	w := worthInner
	switch h.anchor {
	case AnchorWhole:
		w = worthWhole
	case AnchorLeading:
		w = worthLeading
	case AnchorTrailing:
		w = worthTrailing
	case AnchorNear:
		return worthNear
	}
	return w + worthLength*float64(given)/float64(given+h.rest)
}

func rankAnchor(a Anchor) int {
	return slices.Index([]Anchor{AnchorWhole, AnchorLeading, AnchorTrailing, AnchorInner, AnchorNear, ""}, a)
}

// give scores the documents that hold all words of an alternative.
func (x *Index) give(all []*scores, a alternative, idf float64, filler bool) (bool, error) {
	weight := float32(a.weight * idf * (saturation + 1))
	if filler {
		weight *= fillerShare
	}
	held := false
	for si, s := range x.shelves {
		one := func(doc int, f float32) float32 { return weight * f / (f + x.hold[min(s.length(doc), len(x.hold)-1)]) }
		if len(a.words) == 1 {
			c := all[si]
			if err := s.postings(a.words[0], func(doc int, f float32) {
				held = true
				c.give(doc, one(doc, f))
			}); err != nil {
				return false, err
			}
			continue
		}
		least := map[int]float32{}
		for i, w := range a.words {
			next := map[int]float32{}
			if err := s.postings(w, func(doc int, f float32) {
				v := one(doc, f)
				if old, ok := least[doc]; i == 0 || ok {
					if i > 0 {
						v = min(v, old)
					}
					next[doc] = v
				}
			}); err != nil {
				return false, err
			}
			least = next
		}
		for doc, v := range least {
			held = true
			all[si].give(doc, v)
		}
	}
	return held, nil
}

// enough is how many documents must hold every word of a query for those that
// lack one to be left out.
const enough = 10

// together scores the documents that hold every word of a query, if there are
// enough of them, and gives the bits of these words; 0 if not. It begins with the
// rarest word and looks the others up where that one is, so that a frequent word
// costs little. Queries with numbers and phrases are left to the long way.
func (x *Index) together(terms []*term, weights []float64, all []*scores, docs int) (uint32, error) {
	type word struct{ ti, holders int }
	var words, extra []word
	for ti, t := range terms {
		if t.number != "" || len(t.phrase) > 0 || len(t.exact) > 0 {
			return 0, nil
		}
		n := 0
		for _, a := range t.alts {
			least, err := x.leastCount(a.words)
			if err != nil {
				return 0, err
			}
			n += least
			if least > 0 {
				weights[ti] = max(weights[ti], a.weight*inverse(docs, least)*t.share(len(terms)))
			}
		}
		switch {
		case n == 0:
		case t.filler:
			extra = append(extra, word{ti, n})
		default:
			words = append(words, word{ti, n})
		}
	}
	if len(words) < 2 {
		return 0, nil
	}
	slices.SortStableFunc(words, func(a, b word) int { return cmp.Compare(a.holders, b.holders) })
	need := uint32(0)
	for i, w := range append(words, extra...) {
		if err := x.scoreWhere(terms[w.ti], len(terms), all, docs, need, i == 0); err != nil {
			return 0, err
		}
		for _, c := range all {
			c.settle(w.ti)
		}
		if i >= len(words) {
			continue
		}
		need |= 1 << w.ti
		held := 0
		for _, c := range all {
			for _, d := range c.touched {
				if c.matched[d]&need == need {
					held++
				}
			}
		}
		if held < enough {
			return 0, nil
		}
	}
	return need, nil
}

// leastCount tells how many documents hold the rarest of some words.
func (x *Index) leastCount(words []string) (int, error) {
	least := math.MaxInt
	for _, w := range words {
		n, err := x.count(w)
		if err != nil {
			return 0, err
		}
		least = min(least, n)
	}
	return least, nil
}

// scoreWhere scores a term in the documents that hold the terms of need already,
// or in all of them.
func (x *Index) scoreWhere(t *term, of int, all []*scores, docs int, need uint32, everywhere bool) error {
	holders := 0
	for i, a := range t.alts {
		if i > 0 && a.weight < 0.9 {
			continue
		}
		n, err := x.leastCount(a.words)
		if err != nil {
			return err
		}
		holders += n
	}
	for i, a := range t.alts {
		n := holders
		if i > 0 && a.weight < 0.9 || holders == 0 {
			var err error
			if n, err = x.leastCount(a.words); err != nil {
				return err
			}
		}
		if n == 0 {
			continue
		}
		idf := inverse(docs, n) * t.share(of)
		if everywhere || len(a.words) > 1 {
			if _, err := x.give(all, a, idf, t.filler); err != nil {
				return err
			}
			continue
		}
		weight := float32(a.weight * idf * (saturation + 1))
		if t.filler {
			weight *= fillerShare
		}
		for si, s := range x.shelves {
			c := all[si]
			var where []int32
			for _, d := range c.touched {
				if c.matched[d]&need == need {
					where = append(where, d)
				}
			}
			slices.Sort(where)
			if err := s.postingsAt(a.words[0], where, func(doc int, f float32) {
				c.give(doc, weight*f/(f+x.hold[min(s.length(doc), len(x.hold)-1)]))
			}); err != nil {
				return err
			}
		}
	}
	return nil
}

// figureShare is what a number in words weighs against the words of the thing.
const figureShare = 0.5

// share is what a term of a query with so many terms weighs of what it would weigh.
func (t *term) share(of int) float64 {
	if t.figure && of > 1 {
		return figureShare
	}
	return 1
}

// fillerShare is what a filler weighs against a word that counts.
const fillerShare = 0.15

// coverage is the share of a query, by weight, that a document holds.
func coverage(terms []*term, weights []float64, sum float64, matched uint32) float64 {
	if sum == 0 {
		return 1
	}
	got := 0.0
	for i, t := range terms {
		if !t.filler && matched&(1<<i) != 0 {
			got += weights[i]
		}
	}
	return got / sum
}

// weak is the share of the best score below which a hit is left out: it holds
// far less of the query than the best does. Whole numbers stand apart and set no
// measure for what speaks of them.
const weak = 0.12

// kindWords are words for a kind of hit that no such hit would have in its texts.
// Who says one means hits of that kind before all others.
var kindWords = map[string]Kind{"note": KindNote, "notes": KindNote}

// otherKind is what hits of another kind than the one that was said are worth.
const otherKind = 0.25

// collect gathers the documents that are hits: they hold the terms of need. best
// is the best score of the others.
func (x *Index) collect(out *hits, best float64, terms []*term, weights []float64, sum float64, all []*scores, need uint32, f *filter) {
	var r record
	// A phrase must be there.
	for i, t := range terms {
		if len(t.phrase) > 0 {
			need |= 1 << i
		}
	}
	shares := map[uint32]float32{}
	lastMask, lastShare := ^uint32(0), float32(0) // most documents hold the same words
	said := Kind("")
	for _, t := range terms {
		if t.filler && kindWords[t.word.Text] != "" && len(terms) > 1 {
			said = kindWords[t.word.Text]
		}
	}
	for si, c := range all {
		if len(terms) > 0 {
			for _, d := range c.touched {
				m := c.matched[d]
				if m != lastMask {
					v, ok := shares[m]
					if !ok {
						c := coverage(terms, weights, sum, m)
						v = float32(c * c)
						shares[m] = v
					}
					lastMask, lastShare = m, v
				}
				share := lastShare
				if said != "" {
					if x.shelves[si].record(int(d), &r); r.kind != said {
						share *= otherKind
					}
				}
				c.score[d] *= share
				if m&need == need && (len(out.anchored) == 0 || out.anchored[lineAt{si, int(d)}] != AnchorWhole) {
					best = max(best, float64(c.score[d]))
				}
			}
		}
	}
	least := float32(best * weak)
	for si, s := range x.shelves {
		a := f.on(s)
		take := func(doc int32, score float32, matched uint32) {
			if !f.empty() || x.masked[si] != nil {
				if s.record(int(doc), &r); !a.has(&r) || x.masked[si][string(r.key)] {
					return
				}
			}
			out.docs = append(out.docs, scored{int32(si), doc, score, matched})
		}
		if len(terms) == 0 {
			for doc := range s.Docs {
				take(int32(doc), 0, 0)
			}
			continue
		}
		c := all[si]
		for _, d := range c.touched {
			if m := c.matched[d]; m&need == need && c.score[d] >= least {
				take(d, c.score[d], m)
			}
		}
	}
	kept := out.others[:0]
	for _, o := range out.others {
		if o.score >= float64(least) {
			kept = append(kept, o)
		}
	}
	out.others = kept
}

// addBare adds the numbers that have no document, and gives the best score.
func (x *Index) addBare(out *hits, bare []*candidate, terms []*term, weights []float64, sum float64, f *filter) (float64, error) {
	best := 0.0
	for _, c := range bare {
		sec, ok := x.shelves[c.shelf].bareAt(c.doc)
		if !ok {
			continue
		}
		c.table = sec.Table
		c.key = sec.Prefix + catalog.MakeKey(c.number)
		share := coverage(terms, weights, sum, c.matched)
		c.score *= share * share
		for _, t := range terms {
			if t.filler && kindWords[t.word.Text] != "" {
				c.score *= otherKind
			}
		}
		if !f.empty() {
			ok, err := x.bareAllowed(c, f)
			if err != nil {
				return 0, err
			}
			if !ok {
				continue
			}
		}
		if c.anchor != AnchorWhole {
			best = max(best, c.score)
		}
		out.others = append(out.others, *c)
	}
	return best, nil
}

// addExact puts the rows that the catalogue has under a number before all
// others, in the place of their documents.
func (x *Index) addExact(out *hits, exact []candidate, f *filter) error {
	if len(out.anchored) == 0 && len(exact) == 0 {
		return nil
	}
	// The lines of exact numbers are few; what they stand for is read.
	var whole []int
	gone := map[int]bool{}
	for i, d := range out.docs {
		if out.anchored[lineAt{int(d.shelf), int(d.doc)}] != AnchorWhole {
			continue
		}
		if d.shelf == 0 {
			whole = append(whole, i)
			continue
		}
		// A note that this number stands for a part. The notes are no rows of the
		// catalogue; their own list is the one that knows.
		out.others = append(out.others, candidate{shelf: int(d.shelf), doc: int(d.doc), score: float64(d.score) + worthWhole, matched: d.matched, exact: true, anchor: AnchorWhole})
		gone[i] = true
	}
	var r record
	for _, e := range exact {
		if !f.empty() {
			ok, err := x.bareAllowed(&e, f)
			if err != nil {
				return err
			}
			if !ok {
				continue
			}
		}
		done := false
		for i := range out.others {
			o := &out.others[i]
			if !o.exact && o.anchor == AnchorWhole && o.table == e.table && strings.HasPrefix(e.key, o.key) {
				o.exact, o.found, o.score, done = true, e.found, o.score+worthWhole, true
				break
			}
		}
		for _, i := range whole {
			d := out.docs[i]
			if x.shelves[d.shelf].record(int(d.doc), &r); done || gone[i] || string(r.table) != e.table || string(r.key) != e.key {
				continue
			}
			c := candidate{shelf: int(d.shelf), doc: int(d.doc), score: float64(d.score) + worthWhole, matched: d.matched | e.matched, exact: true, anchor: AnchorWhole}
			if r.count > 1 {
				// The document stands for several variants; the row is the one.
				c = candidate{shelf: -1, doc: -1, score: c.score, matched: c.matched, exact: true, anchor: AnchorWhole, found: e.found, table: e.table, key: e.key}
			}
			out.others = append(out.others, c)
			gone[i], done = true, true
		}
		if !done {
			out.others = append(out.others, e)
		}
	}
	if len(gone) > 0 {
		kept := make([]scored, 0, len(out.docs))
		for i, d := range out.docs {
			if !gone[i] {
				kept = append(kept, d)
			}
		}
		out.docs = kept
	}
	return nil
}

func compareCandidates(a, b candidate) int {
	if a.exact != b.exact {
		if a.exact {
			return -1
		}
		return 1
	}
	if c := cmp.Compare(b.score, a.score); c != 0 {
		return c
	}
	if c := cmp.Compare(a.shelf, b.shelf); c != 0 {
		return c
	}
	if c := cmp.Compare(a.doc, b.doc); c != 0 {
		return c
	}
	return cmp.Or(cmp.Compare(a.table, b.table), cmp.Compare(a.key, b.key))
}
