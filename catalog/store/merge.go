package store

import (
	"bytes"
	"errors"
	"fmt"
	"iter"
	"runtime/debug"
	"slices"
	"strings"

	"platewright/catalog"
)

// pass goes once over the rows of a table, those that stand and those that
// come, in the order of their keys.
type pass struct {
	t        *catalog.Table
	in       *intake
	rd       *recordReader
	standing TableOf
	stands   bool
	replace  bool
	recheck  map[string]bool     // tables that have lost rows: references to them are looked at in all rows
	context  *catalog.Context    // beside which rows are checked; nil for tables that need none
	concerns func([]string) bool // whether a row needs to be
	again    bool                // it has altered, so rows that stay are checked too

	check   bool               // report what is wrong
	changes func(Change) error // told each change; nil for nobody
	write   *generationWriter  // takes the rows that result; nil for none
	result  *TableResult

	refs *referenceChecker
	key  []byte // of the last record that came
	file uint64 // and where it stands
	row  int
}

// ChangeKind is what happens to a row.
type ChangeKind string

const (
	Came    ChangeKind = "came"
	Went    ChangeKind = "went"
	Changed ChangeKind = "changed"
)

// Change is one row that differs between two editions.
type Change struct {
	Table *catalog.Table
	Kind  ChangeKind
	Key   string        // of the row, see [catalog.Table.RowKey]
	Name  string        // its key columns as spelled, see [catalog.Table.RowName]
	Cells []CellChange  // of a row that came or went every cell that is not empty, of another those that differ
	At    catalog.Place // in the feed, of an import
}

// CellChange is a cell before and after.
type CellChange struct {
	Column   *catalog.Column
	Old, New string
}

func (im *importer) pass(p *pass) error {
	if p.context != nil {
		p.concerns = p.context.Concerns(p.t)
	}
	p.refs = &referenceChecker{im: im, p: p}
	p.refs.init()
	feed := p.in.cursor(p.rd)
	var old cellCursor
	if p.stands {
		old = cellCursor{v: im.head.view, t: p.t, words: p.in.words}
	}
	if err := old.next(); err != nil {
		return err
	}
	if err := p.next(im, feed); err != nil {
		return err
	}
	merged := newRecord(p.t)
	for n := 1; old.rec != nil || feed.rec != nil; n++ {
		if n%progressRows == 0 {
			if err := im.ctx.Err(); err != nil {
				return err
			}
			im.tell(Progress{StageMerge, p.t.Name, n})
		}
		c := 1
		switch {
		case feed.rec == nil:
			c = -1
		case old.rec != nil:
			c = compareKeys(old.rec, feed.rec)
		}
		var err error
		switch {
		case c < 0:
			err = p.stay(im, old.rec)
			if err == nil {
				err = old.next()
			}
		case c > 0:
			err = p.come(im, feed.rec)
			if err == nil {
				err = p.next(im, feed)
			}
		default:
			err = p.meet(im, old.rec, feed.rec, merged)
			if err == nil {
				err = old.next()
			}
			if err == nil {
				err = p.next(im, feed)
			}
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// next moves to the next record that comes, past further ones of the same key.
func (p *pass) next(im *importer, feed *intakeCursor) error {
	for {
		if err := feed.next(); err != nil {
			return err
		}
		if feed.rec == nil {
			return nil
		}
		if p.key == nil || !bytes.Equal(p.key, feed.rec.key) {
			p.key = append(p.key[:0], feed.rec.key...)
			p.file, p.row = feed.rec.file, feed.rec.row
			return nil
		}
		if p.check {
			at := p.in.place(feed.rec)
			at.Column = p.t.Columns[p.t.Key[len(p.t.Key)-1]].Name
			was := p.in.place(&record{file: p.file, row: p.row})
			im.report.Add(catalog.Finding{Code: catalog.Duplicate, Place: at, Value: strings.Clone(nameOf(p.t, feed.rec.text)),
				What: fmt.Sprintf("the row stands already at %s; capitals, spaces and separators make no difference", was),
				Mend: "keep one of the two rows"})
		}
	}
}

// stay handles a row that stands and does not come.
func (p *pass) stay(im *importer, rec *record) error {
	if p.replace {
		p.result.Removed++
		return p.tell(Went, rec, nil)
	}
	p.result.Same++
	p.result.Kept++
	if p.check && len(p.recheck) > 0 {
		if err := p.refs.check(rec, true, true); err != nil {
			return err
		}
	}
	if p.again {
		if err := p.beside(im, rec, catalog.Place{Table: p.t.Name}); err != nil {
			return err
		}
	}
	return p.put(rec)
}

// come handles a row that comes and does not stand.
func (p *pass) come(im *importer, rec *record) error {
	p.result.Added++
	if p.check {
		if !rec.sound {
			if err := im.checkRow(p.t, rec, p.in.place(rec)); err != nil {
				return err
			}
		}
		if err := p.refs.check(rec, false, false); err != nil {
			return err
		}
		if err := p.beside(im, rec, p.in.place(rec)); err != nil {
			return err
		}
	}
	if err := p.tell(Came, nil, rec); err != nil {
		return err
	}
	return p.put(rec)
}

// meet handles a row that stands and comes.
func (p *pass) meet(im *importer, old, rec, merged *record) error {
	merged.key, merged.file, merged.row = rec.key, rec.file, rec.row
	inherits, differs := false, false
	for i := range merged.text {
		from := rec
		if rec.text[i] == "" && !p.replace && !rec.cleared.Has(i) && old.text[i] != "" {
			from, inherits = old, true
		}
		merged.text[i], merged.word[i] = from.text[i], from.word[i]
		differs = differs || merged.text[i] != old.text[i]
	}
	if inherits {
		p.result.Held++
	}
	if differs {
		p.result.Changed++
	} else {
		p.result.Same++
	}
	if p.check {
		if differs && (inherits || !rec.sound) {
			if err := im.checkRow(p.t, merged, p.in.place(rec)); err != nil {
				return err
			}
		}
		if differs || len(p.recheck) > 0 {
			if err := p.refs.check(merged, false, !differs); err != nil {
				return err
			}
		}
		if differs || p.again {
			if err := p.beside(im, merged, p.in.place(rec)); err != nil {
				return err
			}
		}
	}
	if differs {
		if err := p.tell(Changed, old, merged); err != nil {
			return err
		}
	}
	return p.put(merged)
}

// beside checks a row beside the marks and roles of the result.
func (p *pass) beside(im *importer, rec *record, at catalog.Place) error {
	if p.context == nil || !p.check || !p.concerns(rec.text) {
		return nil
	}
	r, err := im.row(p.t, rec)
	if err != nil {
		return err
	}
	p.context.Check(r, at, im.report.Add)
	return nil
}

// context gives the marks and roles of the result for a table whose rows are
// checked beside them, and whether rows of these that stood have altered.
func (im *importer) context(t *catalog.Table) (*catalog.Context, bool, error) {
	of := catalog.ContextOf(t)
	if of == nil {
		return nil, false, nil
	}
	var failed error
	c := catalog.NewContext(func(table string) iter.Seq2[catalog.Row, catalog.Place] {
		return func(yield func(catalog.Row, catalog.Place) bool) {
			// What t does not rest on may not be merged yet.
			if failed == nil && slices.Contains(of, table) {
				failed = im.resultRows(table, yield)
			}
		}
	})
	return c, slices.ContainsFunc(of, func(table string) bool { return im.altered[table] }), failed
}

func (p *pass) put(rec *record) error {
	if p.write == nil {
		return nil
	}
	return p.write.add(rec)
}

func (p *pass) tell(kind ChangeKind, old, now *record) error {
	if p.changes == nil {
		return nil
	}
	c := makeChange(p.t, kind, old, now)
	if now != nil {
		c.At = p.in.place(now)
	}
	err := p.changes(c)
	if errors.Is(err, ErrSkipTable) {
		p.changes, err = nil, nil
	}
	return err
}

func makeChange(t *catalog.Table, kind ChangeKind, old, now *record) Change {
	c := Change{Table: t, Kind: kind}
	rec := now
	if now == nil {
		rec = old
	}
	c.Key = string(rec.key)
	c.Name = strings.Clone(nameOf(t, rec.text))
	for i, col := range t.Columns {
		var d CellChange
		if old != nil {
			d.Old = old.text[i]
		}
		if now != nil {
			d.New = now.text[i]
		}
		if d.Old != d.New {
			// The texts are pieces of buffers that are used again.
			c.Cells = append(c.Cells, CellChange{col, strings.Clone(d.Old), strings.Clone(d.New)})
		}
	}
	return c
}

// nameOf is [catalog.Table.RowName] without the row.
func nameOf(t *catalog.Table, cells []string) string {
	var parts []string
	for _, k := range t.Key {
		if cells[k] != "" {
			parts = append(parts, cells[k])
		}
	}
	return strings.Join(parts, " / ")
}

// row makes a row of a record, to be used until the next call for the table.
func (im *importer) row(t *catalog.Table, rec *record) (catalog.Row, error) {
	r := im.scratch[t]
	if r == nil {
		r = t.New()
		im.scratch[t] = r
	}
	t.Reset(r)
	for i, c := range t.Columns {
		if rec.text[i] == "" {
			continue
		}
		if err := c.Set(r, strings.Clone(rec.text[i])); err != nil {
			return nil, fmt.Errorf("the column %s of %s does not take its own text: %w", c.Name, t.Name, err)
		}
	}
	return r, nil
}

func (im *importer) checkRow(t *catalog.Table, rec *record, at catalog.Place) error {
	r, err := im.row(t, rec)
	if err != nil {
		return err
	}
	catalog.CheckRow(t, r, at, im.report.Add)
	return nil
}

// cellCursor gives the rows of a table of the standing edition as records,
// their words numbered as those of an intake. The zero cursor has none.
type cellCursor struct {
	v     *View
	t     *catalog.Table
	words []*words

	groups groupCursor
	from   []int // for each column of the generation the one of the table
	recs   []*record
	n, at  int
	rec    *record // the record under the cursor, nil at the end
	cells  []string
	key    keyMaker
}

func (c *cellCursor) next() error {
	if c.v == nil {
		return nil
	}
	for c.at >= c.n {
		ok, err := c.fill()
		if err != nil || !ok {
			c.rec = nil
			return err
		}
	}
	c.rec = c.recs[c.at]
	c.at++
	return nil
}

// fill reads the next group.
func (c *cellCursor) fill() (ok bool, err error) {
	if c.groups.v == nil {
		c.groups = groupCursor{v: c.v, t: c.t}
	}
	e, ok, err := c.groups.entry()
	if !ok {
		return false, err
	}
	defer c.v.s.guard(debug.SetPanicOnFault(true), &err)
	g := c.groups.g
	if c.from == nil {
		for _, col := range g.columns {
			c.from = append(c.from, slices.Index(c.t.Columns, col))
		}
		c.cells = make([]string, len(g.columns))
		c.key.init(c.t.Columns, c.t.Key)
	}
	c.n, c.at = 0, 0
	err = g.eachCells(e.key, e.payload, c.cells, func(cells []string) error {
		if c.n == len(c.recs) {
			c.recs = append(c.recs, newRecord(c.t))
		}
		rec := c.recs[c.n]
		c.n++
		for i, s := range cells {
			at := c.from[i]
			rec.text[at] = s
			rec.word[at] = 0
			if s != "" && c.words != nil {
				rec.word[at] = c.words[at].id(s)
			}
		}
		rec.key = append(rec.key[:0], c.key.of(rec.text)...)
		return nil
	})
	return true, err
}

// referenceTarget answers whether a table has a key, in its resulting state.
type referenceTarget struct {
	index int // of the table in catalog.Tables
	t     *catalog.Table
}

func (im *importer) target(table string) *referenceTarget {
	rt := im.refs[table]
	if rt == nil {
		t := catalog.TableByName(table)
		rt = &referenceTarget{slices.Index(catalog.Tables(), t), t}
		im.refs[table] = rt
	}
	return rt
}

// has tells whether what ref names is in the resulting catalogue.
func (im *importer) has(ref catalog.Reference) (bool, error) {
	return im.resultHas(im.target(ref.Table).t, ref.Key)
}

// dangling reports a reference to nothing.
func (im *importer) dangling(ref catalog.Reference, at catalog.Place) error {
	ref.Text = strings.Clone(ref.Text)
	f := catalog.DanglingReference(ref, at)
	code := strings.TrimSuffix(ref.Key, string(catalog.KeySep))
	if code != "" && strings.Trim(code, "0123456789") == "" {
		for n := 1; n <= maxLostZeros && len(code)+n <= catalog.MaxCode; n++ {
			whole := strings.Repeat("0", n) + code
			ok, err := im.has(catalog.Reference{Table: ref.Table, Key: catalog.MakeKey(whole)})
			if err != nil {
				return err
			}
			if ok {
				f.Code = catalog.LostLeadingZeros
				f.What = "nothing in the table " + ref.Table + " goes by this name, but " + whole + " does: a spreadsheet may have taken its zeros"
				f.Mend = "write " + whole + ", in a column formatted as text"
				break
			}
		}
	}
	im.report.Add(f)
	return nil
}

const maxLostZeros = 12

// lostTargets gives the tables that t refers to and that lose rows.
func (im *importer) lostTargets(t *catalog.Table) map[string]bool {
	out := map[string]bool{}
	for _, name := range catalog.ReferredTables(t) {
		if im.shrunk[name] {
			out[name] = true
		}
	}
	return out
}

// referenceChecker checks the references of the rows of a pass. Rows of a
// sorted table repeat theirs, so answers are kept: by word number, and the last
// one of each other column.
type referenceChecker struct {
	im   *importer
	p    *pass
	cols []referenceColumn
	of   lastReference // of the target column that a scope word directs
	sc   int           // the scope column, -1 for none
}

type referenceColumn struct {
	column int
	c      *catalog.Column
	rt     *referenceTarget
	known  []int8 // by word number: 0 not known, 1 there, -1 not there
	last   lastReference
}

// lastReference is the last reference that was looked up and led somewhere.
type lastReference struct {
	scope string
	text  []byte
	ok    bool
}

func (r *referenceChecker) init() {
	r.sc = -1
	if !r.p.check {
		return
	}
	for i, c := range r.p.t.Columns {
		if c.Ref != "" {
			r.cols = append(r.cols, referenceColumn{column: i, c: c, rt: r.im.target(c.Ref)})
		}
		if c.Kind == catalog.KindTarget {
			r.sc = i
		}
	}
}

// check reports references of the row to nothing; with lostOnly only those to
// tables that lose rows. The row stands already, or came with the feed.
func (r *referenceChecker) check(rec *record, stands, lostOnly bool) error {
	for i := range r.cols {
		c := &r.cols[i]
		text := rec.text[c.column]
		if text == "" || lostOnly && !r.p.recheck[c.c.Ref] {
			continue
		}
		if c.last.is("", text) {
			continue
		}
		if rec.word[c.column] == 0 || c.rt.index >= r.im.at {
			if err := r.one(&c.last, "", text, reference(c.c.Ref, text), c.c, rec, stands); err != nil {
				return err
			}
			continue
		}
		id := int(rec.word[c.column])
		for id >= len(c.known) {
			c.known = append(c.known, make([]int8, max(64, len(c.known), id+1-len(c.known)))...)
		}
		if c.known[id] == 0 {
			ok, err := r.im.has(reference(c.c.Ref, text))
			if err != nil {
				return err
			}
			c.known[id] = -1
			if ok {
				c.known[id] = 1
			}
		}
		if c.known[id] < 0 {
			if err := r.im.dangling(reference(c.c.Ref, text), r.place(rec, c.c, stands)); err != nil {
				return err
			}
		}
	}
	if r.sc < 0 {
		return nil
	}
	scope, of := rec.text[r.sc-1], rec.text[r.sc]
	if r.of.is(scope, of) {
		return nil
	}
	ref, ok := catalog.ScopeReference(r.p.t, scope, of)
	if !ok || lostOnly && !r.p.recheck[ref.Table] {
		return nil
	}
	return r.one(&r.of, scope, of, ref, r.p.t.Columns[r.sc], rec, stands)
}

func (r *referenceChecker) place(rec *record, c *catalog.Column, stands bool) catalog.Place {
	at := catalog.Place{Table: r.p.t.Name}
	if !stands {
		at = r.p.in.place(rec)
	}
	at.Column = c.Name
	return at
}

// is tells whether the last reference was this one and led somewhere.
func (l *lastReference) is(scope, text string) bool {
	return l.ok && string(l.text) == text && l.scope == scope
}

func (r *referenceChecker) one(last *lastReference, scope, text string, ref catalog.Reference, c *catalog.Column, rec *record, stands bool) error {
	if r.im.target(ref.Table).index >= r.im.at {
		ref.Text = strings.Clone(ref.Text)
		ref.Key = strings.Clone(ref.Key)
		r.im.later = append(r.im.later, laterReference{ref, r.place(rec, c, stands)})
		return nil
	}
	ok, err := r.im.has(ref)
	if err != nil {
		return err
	}
	if !ok {
		last.ok = false
		return r.im.dangling(ref, r.place(rec, c, stands))
	}
	if last.scope != scope {
		last.scope = strings.Clone(scope)
	}
	last.ok, last.text = true, append(last.text[:0], text...)
	return nil
}

func reference(table, text string) catalog.Reference {
	return catalog.Reference{Table: table, Key: catalog.MakeKey(catalog.Fold(text)), Text: text}
}

// checkWhole runs the rules of the whole over the result, with the places of
// the rows that came.
func (im *importer) checkWhole() error {
	var failed error
	rows := func(table string) iter.Seq2[catalog.Row, catalog.Place] {
		return func(yield func(catalog.Row, catalog.Place) bool) {
			if failed == nil {
				failed = im.resultRows(table, yield)
			}
		}
	}
	catalog.CheckWhole(rows, im.report.Add)
	return failed
}

// resultRows walks the resulting rows of a table beside those that came.
func (im *importer) resultRows(table string, yield func(catalog.Row, catalog.Place) bool) error {
	t := catalog.TableByName(table)
	in := im.intakes[table]
	var feed *intakeCursor
	if in != nil {
		feed = in.cursor(in.runs.reader())
		if err := feed.next(); err != nil {
			return err
		}
	}
	var key []byte
	return im.walkResult(t, func(rows []catalog.Row) (bool, error) {
		for _, r := range rows {
			at := catalog.Place{Table: table}
			if feed != nil {
				key = t.RowKey(key[:0], r)
				for feed.rec != nil && bytes.Compare(feed.rec.key, key) < 0 {
					if err := feed.next(); err != nil {
						return false, err
					}
				}
				if feed.rec != nil && bytes.Equal(feed.rec.key, key) {
					at = in.place(feed.rec)
				}
			}
			if !yield(r, at) {
				return false, nil
			}
		}
		return true, nil
	})
}
