package index

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"platewright/catalog"
)

// harmless spells out what would act on a screen instead of being shown, and
// puts a text on one line.
func harmless(s string) string {
	ok := true
	for i := 0; i < len(s); i++ {
		if c := s[i]; c < ' ' || c >= 0x7f {
			ok = false
			break
		}
	}
	if ok {
		return s
	}
	var b strings.Builder
	for i, r := range s {
		switch {
		case r == '\n' || r == '\t' || r == '\r':
			b.WriteByte(' ')
		case r == utf8.RuneError && !strings.HasPrefix(s[i:], "\ufffd"):
			fmt.Fprintf(&b, `\x%02x`, s[i])
		case unicode.IsControl(r), unicode.Is(unicode.Cf, r), unicode.Is(unicode.Co, r), r == '\u2028', r == '\u2029':
			fmt.Fprintf(&b, `\u%04x`, r)
		default:
			b.WriteRune(r)
		}
	}
	return b.String()
}

// rowOf gives the row of a key, nil for none.
func (x *Index) rowOf(table *catalog.Table, key string) (catalog.Row, error) {
	end, parts := 0, 0
	for end < len(key) && parts < table.Group {
		i := strings.IndexByte(key[end:], byte(catalog.KeySep))
		if i < 0 {
			break
		}
		end += i + 1
		parts++
	}
	// A group can be large, such as all offers of a supplier.
	id := table.Name + " " + key[:end]
	rows, ok := x.groups[id]
	if !ok {
		var err error
		if rows, err = x.reader.Group(table, key[:end]); err != nil {
			return nil, err
		}
		if len(rows) > 1 {
			x.groups[id] = rows
		}
	}
	for _, r := range rows {
		if k := string(table.RowKey(nil, r)); k == key || table.Name == catalog.TPlates && strings.HasPrefix(k, key) {
			return r, nil
		}
	}
	return nil, nil
}

// show describes a candidate. It is nil for a row that is gone.
func (x *Index) show(c candidate, terms []*term, weights []float64) (*Hit, error) {
	h := &Hit{Exact: c.exact, Anchor: c.anchor, Score: c.score, Fields: []Field{}, Missing: []string{}, Makers: []string{}, Families: []string{}, Roles: []string{}, Next: []string{}}
	if h.Exact {
		h.Anchor = AnchorWhole
	}
	var r record
	known := c.found == nil && c.table == ""
	if known {
		s := x.shelves[c.shelf]
		s.record(c.doc, &r)
		c.table, c.key, h.Count = string(r.table), string(r.key), r.count
		if c.table == "" { // a note of the shop
			return x.showNote(h, c, terms, weights)
		}
	}
	if c.found != nil {
		c.table, c.key = c.found.table.Name, c.found.key
	}
	h.table, h.key = catalog.TableByName(c.table), c.key
	if h.table == nil {
		return nil, nil
	}
	row, err := x.rowOf(h.table, c.key)
	if row == nil || err != nil {
		return nil, err
	}
	var of links
	if err := x.fill(h, row, &of); err != nil {
		return nil, err
	}
	var d document
	if known {
		s := x.shelves[c.shelf]
		h.Makers, h.Families, h.Roles = spell(s.Makers, r.makers), spell(s.Families, r.families), spell(s.Roles, r.roles)
		if d.context, err = x.look.contextOf(h.Kind, h.Families, h.Makers, h.Roles); err != nil {
			return nil, err
		}
		d.context = append(d.context, r.more()...)
	} else {
		if l, ok, err := x.linksOfPart(h); err != nil {
			return nil, err
		} else if ok {
			of.join(l)
		}
		d.kind = h.Kind
		if err := x.look.place(&d, &of); err != nil {
			return nil, err
		}
		h.Makers, h.Families, h.Roles = orNone(d.makers), orNone(d.families), orNone(d.roles)
	}
	x.mark(h, d.context, c, terms, weights)
	return h, nil
}

func orNone(list []string) []string {
	if list == nil {
		return []string{}
	}
	return list
}

func spell(list []string, numbers []int) []string {
	out := make([]string, len(numbers))
	for i, n := range numbers {
		out[i] = list[n]
	}
	return out
}

// linksOfPart gives what the part belongs to that a number without a document
// stands for, as the index knows it.
func (x *Index) linksOfPart(h *Hit) (*links, bool, error) {
	number := h.Of
	if h.Kind == KindPart || h.Kind == KindKit {
		number = h.Code
	}
	if number == "" {
		return nil, false, nil
	}
	l, err := x.partLinks(catalog.Fold(number))
	return l, l != nil, err
}

// partLinks gives what a part belongs to, as the index knows it, nil for nothing.
func (x *Index) partLinks(number string) (*links, error) {
	s := x.shelves[0]
	doc, ok, err := s.find(catalog.TParts, catalog.MakeKey(number), number)
	if !ok || err != nil {
		return nil, err
	}
	var r record
	s.record(doc, &r)
	l := &links{}
	for _, f := range spell(s.Families, r.families) {
		l.add(catalog.Fold(f), "")
	}
	for _, f := range spell(s.Roles, r.roles) {
		l.add("", catalog.Fold(f))
	}
	return l, nil
}

// fill gives a hit what its row says.
func (x *Index) fill(h *Hit, row catalog.Row, of *links) error {
	kind, number, fields := describe(row)
	h.Kind, h.Code = kind, number
	if len(fields) > 0 {
		h.Name = harmless(fields[0].Text)
	}
	h.Fields = fields
	part := func(p catalog.PartNo) error {
		h.Of, h.OfKind = string(p), string(catalog.NoteOnPart)
		name, err := x.look.partName(p)
		h.Name = harmless(name)
		return err
	}
	switch r := row.(type) {
	case *catalog.Family:
		of.add(catalog.Fold(r.Family), "")
		h.Next = []string{"search", "--family", r.Family}
	case *catalog.Variant:
		of.add(catalog.Fold(r.Family), "")
		h.Next = []string{"look-alikes", string(r.Variant)}
	case *catalog.Part:
		h.Next = []string{"where-used", string(r.Part)}
	case *catalog.Number:
		if err := part(r.Part); err != nil {
			return err
		}
		h.Fields[0].Text = h.Name
		h.Next = []string{"where-used", r.Number}
	case *catalog.Offer:
		h.Kind, h.Code = KindStock, r.Stock
		if err := part(r.Part); err != nil {
			return err
		}
		h.Fields = []Field{{Name: "name", Text: h.Name}}
		s, err := x.look.row(catalog.TSuppliers, catalog.Fold(r.Supplier))
		if err != nil {
			return err
		}
		if s, ok := s.(*catalog.Supplier); ok {
			h.Fields = append(h.Fields, Field{Name: "sold by", Text: s.Name})
		}
		h.Next = []string{"where-used", string(r.Part)}
	case *catalog.Plate:
		h.Kind, h.Code = KindVariant, string(r.Variant)
		row, err := x.look.row(catalog.TVariants, r.Variant.Key())
		if err != nil {
			return err
		}
		h.Fields = []Field{{Name: "name"}, {Name: "plate", Text: r.Plate}}
		if v, ok := row.(*catalog.Variant); ok {
			of.add(catalog.Fold(v.Family), "")
			h.Name = harmless(v.Name)
			h.Fields[0].Text = v.Name
		}
		h.Next = []string{"look-alikes", string(r.Variant)}
	case *catalog.WorkScope:
		h.Next = []string{"resolve", "PLATE", "--work", r.Work}
	case *catalog.Mark:
		h.Next = []string{"resolve", "PLATE", "--saw", r.Mark + "=VALUE"}
	case *catalog.Spec:
		h.Next = []string{"search", r.Spec, "--kind", string(KindPart)}
	case *catalog.Source:
		h.Next = []string{"search", "--source", r.Source}
	case *catalog.Note:
		h.Of, h.OfKind, h.State = r.Of, string(r.On), string(r.State)
		h.Name = ""
		h.Next = nextOf(string(r.On), r.Of)
	}
	return nil
}

// nextOf gives the command that shows what a note is about.
func nextOf(on, of string) []string {
	switch on {
	case string(catalog.NoteOnPart), "number":
		return []string{"where-used", of}
	case string(catalog.NoteOnVariant):
		return []string{"look-alikes", of}
	case string(catalog.NoteOnFamily):
		return []string{"search", "--family", of}
	case string(catalog.NoteOnMark):
		return []string{"resolve", "PLATE", "--saw", of + "=VALUE"}
	case string(catalog.NoteOnWork):
		return []string{"resolve", "PLATE", "--work", of}
	}
	return []string{"resolve", of}
}

func (x *Index) showNote(h *Hit, c candidate, terms []*term, weights []float64) (*Hit, error) {
	n, ok, err := x.notes.Note(c.key)
	if !ok || err != nil {
		return nil, err
	}
	d, err := noteDocument(x.look, n, x.partLinks)
	if err != nil {
		return nil, err
	}
	h.Kind, h.Code, h.Of, h.OfKind, h.State = KindNote, n.ID, n.Of, n.On, n.State
	h.Fields = d.fields
	h.Makers, h.Families, h.Roles = orNone(d.makers), orNone(d.families), orNone(d.roles)
	h.Next = nextOf(n.On, n.Of)
	x.mark(h, append(d.context, d.more...), c, terms, weights)
	return h, nil
}

// mark puts the reasons for a match on a hit: the pieces of its texts and of its
// number that were looked for, and the words that it lacks.
func (x *Index) mark(h *Hit, context []Field, c candidate, terms []*term, weights []float64) {
	want := map[string]bool{}
	var pieces []string
	for i, t := range terms {
		held := c.matched&(1<<i) != 0
		if !held && !t.filler {
			if weights[i] > 0 { // what is found nowhere is said once, of the query
				h.Missing = append(h.Missing, harmless(t.word.Text))
			}
			continue
		}
		for _, a := range t.alts {
			for _, w := range a.words {
				want[w] = true
			}
		}
		for _, w := range t.phrase {
			want[w] = true
		}
		if t.number != "" {
			pieces = append(pieces, t.number)
		}
	}
	fields := h.Fields
	h.Fields = []Field{}
	if spans := numberSpans(h.Code, pieces); len(spans) > 0 {
		h.Fields = append(h.Fields, Field{Name: "number", Text: h.Code, Spans: spans})
	}
	seen := map[string]bool{}
	for i, f := range fields {
		if f.Text == "" {
			continue
		}
		f = x.marked(f, want, seen)
		if f.Name == "plate" {
			f.Spans = numberSpans(f.Text, pieces)
		}
		if i == 0 || len(f.Spans) > 0 || f.Name == "text" || f.Name == "look" || f.Name == "about" || f.Name == "by" || f.Name == "plate" || f.Name == "sold by" || f.Name == "used by" {
			h.Fields = append(h.Fields, f)
		}
	}
	// What it belongs to is a reason only for words that it does not say itself.
	for i, t := range terms {
		if c.matched&(1<<i) == 0 {
			continue
		}
		said := false
		for _, a := range t.alts {
			said = said || !slices.ContainsFunc(a.words, func(w string) bool { return !seen[w] })
		}
		for _, a := range t.alts {
			for _, w := range a.words {
				if said {
					delete(want, w)
				}
			}
		}
	}
	for _, f := range context {
		if f = x.marked(f, want, seen); len(f.Spans) > 0 {
			h.Fields = append(h.Fields, f)
		}
	}
}

// mostShown is how much of a long text is shown, in bytes.
const mostShown = 240

// marked makes a text harmless, finds the wanted words in it and cuts it to the
// part that holds the first of them. It notes in seen which ones it found.
func (x *Index) marked(f Field, want, seen map[string]bool) Field {
	f.Text, f.Spans = harmless(f.Text), []Span{}
	x.stem.tokens(f.Text, func(t token) {
		if want[t.term] {
			seen[t.term] = true
			f.Spans = append(f.Spans, Span{t.from, t.to})
		}
	})
	f.Spans = mergeSpans(f.Spans)
	if len(f.Text) <= mostShown {
		return f
	}
	from := 0
	if len(f.Spans) > 0 && f.Spans[0].From > mostShown/3 {
		from = f.Spans[0].From - mostShown/3
		if i := strings.IndexByte(f.Text[from:], ' '); i >= 0 && from+i < f.Spans[0].From {
			from += i + 1
		}
		for from > 0 && !utf8.RuneStart(f.Text[from]) {
			from--
		}
	}
	to := min(from+mostShown, len(f.Text))
	if to < len(f.Text) {
		if i := strings.LastIndexByte(f.Text[from:to], ' '); i > 0 {
			to = from + i
		}
		for !utf8.RuneStart(f.Text[to]) {
			to--
		}
	}
	f.Cut = from > 0 || to < len(f.Text)
	f.Text = f.Text[from:to]
	var kept []Span
	for _, s := range f.Spans {
		if s.From >= from && s.To <= to {
			kept = append(kept, Span{s.From - from, s.To - from})
		}
	}
	f.Spans = kept
	if f.Spans == nil {
		f.Spans = []Span{}
	}
	return f
}

func mergeSpans(list []Span) []Span {
	slices.SortFunc(list, func(a, b Span) int { return cmp.Or(cmp.Compare(a.From, b.From), cmp.Compare(b.To, a.To)) })
	out := list[:0]
	for _, s := range list {
		if n := len(out); n > 0 && s.From < out[n-1].To {
			out[n-1].To = max(out[n-1].To, s.To)
			continue
		}
		out = append(out, s)
	}
	return out
}

// numberSpans finds folded pieces in a number as it is spelled. Codes are plain
// ASCII; in anything else nothing is found.
func numberSpans(code string, pieces []string) []Span {
	var at []int
	var folded []byte
	for i := 0; i < len(code); i++ {
		if code[i] >= utf8.RuneSelf {
			return nil
		}
		if f := catalog.Fold(code[i : i+1]); f != "" {
			folded, at = append(folded, f[0]), append(at, i)
		}
	}
	var out []Span
	for _, p := range pieces {
		// The last place is the better one for a piece that ends the number.
		for i := len(folded) - len(p); i >= 0 && p != ""; i-- {
			if matches(folded[i:i+len(p)], p) {
				if out = append(out, Span{at[i], at[i+len(p)-1] + 1}); i+len(p) == len(folded) || i == 0 {
					break
				}
			}
		}
	}
	return mergeSpans(out)
}

// facets counts what the hits belong to.
func (x *Index) facets(all *hits) []Facet {
	var r record
	perShelf := make([][3][]int, len(x.shelves))
	for i, s := range x.shelves {
		perShelf[i] = [3][]int{make([]int, len(s.Makers)), make([]int, len(s.Families)), make([]int, len(s.Roles))}
	}
	kinds := map[Kind]int{}
	for _, d := range all.docs {
		x.shelves[d.shelf].record(int(d.doc), &r)
		kinds[r.kind]++
		n := &perShelf[d.shelf]
		for _, v := range r.makers {
			n[0][v]++
		}
		for _, v := range r.families {
			n[1][v]++
		}
		for _, v := range r.roles {
			n[2][v]++
		}
	}
	for i := range all.others {
		c := &all.others[i]
		if c.table == "" {
			x.shelves[c.shelf].record(c.doc, &r)
			kinds[r.kind]++
			continue
		}
		kinds[x.kindOf(c)]++
	}
	lists := [4][]FacetValue{}
	for k, n := range kinds {
		lists[0] = append(lists[0], FacetValue{string(k), n})
	}
	for k := range 3 {
		merged := map[string]int{}
		for i, s := range x.shelves {
			names := [3][]string{s.Makers, s.Families, s.Roles}[k]
			for v, n := range perShelf[i][k] {
				if n > 0 {
					merged[names[v]] += n
				}
			}
		}
		for v, n := range merged {
			lists[k+1] = append(lists[k+1], FacetValue{v, n})
		}
	}
	out := []Facet{}
	for i, name := range []string{"kind", "maker", "family", "role"} {
		f := Facet{Name: name, Values: append([]FacetValue{}, lists[i]...)}
		slices.SortFunc(f.Values, func(a, b FacetValue) int {
			return cmp.Or(cmp.Compare(b.Count, a.Count), cmp.Compare(a.Value, b.Value))
		})
		if len(f.Values) > mostFacets {
			f.Values = f.Values[:mostFacets]
		}
		out = append(out, f)
	}
	return out
}

// mostFacets is how many values of a facet are given, those with most hits.
const mostFacets = 20

// kindOf tells the kind of a candidate whose table is known.
func (x *Index) kindOf(c *candidate) Kind {
	switch c.table {
	case catalog.TVariants, catalog.TPlates:
		return KindVariant
	case catalog.TOffers:
		return KindStock
	case catalog.TNumbers:
		return KindNumber
	case catalog.TFamilies:
		return KindFamily
	case catalog.TWork:
		return KindWork
	case catalog.TMarks:
		return KindMark
	case catalog.TSpecs:
		return KindSpec
	case catalog.TSources:
		return KindSource
	}
	if c.found != nil {
		k, _, _ := describe(c.found.row)
		return k
	}
	return KindPart
}

// bareAllowed tells whether a number that has no document passes a filter.
func (x *Index) bareAllowed(c *candidate, f *filter) (bool, error) {
	if f.kinds != nil && !f.kinds[x.kindOf(c)] {
		return false, nil
	}
	if f.makers == nil && f.families == nil && f.roles == nil && f.sources == nil {
		return true, nil
	}
	t := catalog.TableByName(c.table)
	row, err := x.rowOf(t, c.key)
	if row == nil || err != nil {
		return false, err
	}
	if f.sources != nil {
		if col := t.Column("source"); col == nil || !f.sources[catalog.Fold(col.Get(row))] {
			return false, nil
		}
	}
	if f.makers == nil && f.families == nil && f.roles == nil {
		return true, nil
	}
	h := &Hit{}
	var of links
	if err := x.fill(h, row, &of); err != nil {
		return false, err
	}
	l, ok, err := x.linksOfPart(h)
	if err != nil {
		return false, err
	}
	if ok {
		of.join(l)
	}
	var d document
	if err := x.look.place(&d, &of); err != nil {
		return false, err
	}
	any := func(want map[string]bool, list []string) bool {
		return want == nil || slices.ContainsFunc(list, func(s string) bool { return want[catalog.Fold(s)] })
	}
	return any(f.makers, d.makers) && any(f.families, d.families) && any(f.roles, d.roles), nil
}
