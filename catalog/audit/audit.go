package audit

import (
	"context"
	"iter"
	"slices"

	"platewright/catalog"
)

// Reader reads a catalogue. An edition in the store is one; a catalogue in memory
// becomes one by [Memory].
type Reader interface {
	// Rows gives the rows of t in the order of their keys; after an error it ends.
	Rows(t *catalog.Table) iter.Seq2[catalog.Row, error]
	// Group gives the rows of a group, nil for none.
	Group(t *catalog.Table, key string) ([]catalog.Row, error)
}

// Placer is a [Reader] that knows in which file each row stands.
type Placer interface {
	Place(t *catalog.Table, key string) catalog.Place
}

// Options are what [Run] can be told beside the catalogue.
type Options struct {
	// Confusable tells whether two characters are taken for each other. Without it
	// no confusable characters are looked for.
	Confusable func(a, b byte) bool
	// Want tells which kinds are wanted; nil for all. What is not wanted is not
	// worked out, where that saves work.
	Want func(Kind) bool
	// Progress is told how far the work is; its error ends it.
	Progress func(stage string, done int) error
}

// Run reads the whole catalogue and gives every finding to report, whose error
// ends it. The order of findings depends on the catalogue alone.
func Run(ctx context.Context, r Reader, o Options, report func(Finding) error) error {
	a := &auditor{ctx: ctx, r: r, o: o, report: report}
	a.placer, _ = r.(Placer)
	for _, step := range []func() error{a.readSmall, a.readFamilies, a.smallTables, a.readVariants, a.readPlates, a.tellFamilies, a.tellLeftovers, a.faults, a.alike} {
		if err := step(); err != nil {
			return err
		}
	}
	return nil
}

// auditor is the state of one run.
type auditor struct {
	ctx    context.Context
	r      Reader
	placer Placer
	o      Options
	report func(Finding) error

	folds map[string]string
	cited [2]map[string]bool // sources, cautions: keys of those that something names

	// The small tables.
	small      map[string][]catalog.Row
	roles      []role
	roleOf     map[string]int
	marks      []mark
	markOf     map[string]int
	assemblies []string // spelled, root first
	assemblyOf map[string]int
	layouts    []*layout
	layoutOf   map[string]int
	families   []*family
	familyOf   map[string]int
	parts      []part
	partOf     map[catalog.PartNo]int // as spelled
	partKeys   map[string]int
	ways       ways

	markRows map[condition][]*statement
	asked    map[condition]*question
	values   []map[string]string // of each mark: folded to spelled
	places   []map[string]string // of each role: positions, folded to spelled

	codes  codes
	reader struct { // cursors that the walk through the variants shares
		shows, fits, fills *cursor
		figures            []*cursor
	}
	specsAsked map[string]string      // by fills
	served     func(spec string) bool // some fluid that is sold serves for it
	now        *family                // of the variant looked at

	told map[string]bool // findings about pairs that several variants meet
	memo map[int]*unit
	list []*statement // used again and again
}

type role struct {
	row      *catalog.Role
	key      string
	assembly int
	works    []work // that take it
	required bool   // by one of them
}

type work struct {
	name string
	need catalog.Need
}

type mark struct {
	row   *catalog.Mark
	key   string
	shown bool
}

type part struct {
	no      catalog.PartNo
	key     string
	row     *catalog.Part // nil: the catalogue has no such part
	named   bool          // by anything
	asked   bool          // by a statement that it fits, a companion, a work
	kit     bool
	stated  bits // roles that fits statements name it in
	content []int
}

type family struct {
	row    *catalog.Family
	key    string
	shows  [][]shown // of each mark
	byRole [][]statement
	fills  []*catalog.Fill // of each role
	base   *unit           // what a variant without rows of its own is
	walked bool

	variants int
	covered  bits // roles of which something is stated for some variant
	missing  []gathered
	kits     [][]int // stated, of each role
	figures  []bool
	sites    map[string]bool // keys of those that the family or a variant has
	looks    map[uint64]*looks
}

// gathered counts variants and names the first of them.
type gathered struct {
	n     int
	first []catalog.VariantCode
	sum   uint64
}

func (g *gathered) add(v catalog.VariantCode, h uint64) {
	g.n++
	g.sum += h
	if len(g.first) < maxNamed {
		g.first = append(g.first, v)
	}
}

func (g *gathered) facts(f *Facts) {
	f.Variants, f.Count, f.members = g.first, g.n, g.sum
}

// looks are the variants of a family that show the same of every deciding mark.
type looks struct {
	gathered
	shown  [][]shown // what they show
	takes  []uint64  // of each role, what the first of them takes
	differ bits      // roles in which another takes something else
}

// figureTables are the tables of figures that families have or have not.
var figureTables = []string{catalog.TSites, catalog.TTorques, catalog.TFills, catalog.TSeals, catalog.TRings, catalog.TPorts}

// fold is catalog.Fold for texts that many rows repeat.
func (a *auditor) fold(s string) string {
	if f, ok := a.folds[s]; ok {
		return f
	}
	f := catalog.Fold(s)
	a.folds[s] = f
	return f
}

func (a *auditor) want(kinds ...Kind) bool {
	return a.o.Want == nil || slices.ContainsFunc(kinds, a.o.Want)
}

// tell hands a finding on.
func (a *auditor) tell(k Kind, s Severity, f Facts, rows ...Row) error {
	if !a.want(k) {
		return nil
	}
	out := Finding{Kind: k, Severity: s, Facts: f, Rows: rows}
	if out.Rows == nil {
		out.Rows = []Row{}
	}
	out.identify()
	return a.report(out)
}

// once tells whether name is asked for the first time.
func (a *auditor) once(name string) bool {
	if a.told[name] {
		return false
	}
	a.told[name] = true
	return true
}

// at names a row.
func (a *auditor) at(table string, r catalog.Row) Row {
	t := catalog.TableByName(table)
	out := Row{Table: table, Key: t.RowName(r)}
	if a.placer != nil {
		p := a.placer.Place(t, string(t.RowKey(nil, r)))
		out.File, out.Line = p.File, p.Row
	}
	return out
}

func (a *auditor) progress(stage string, done int) error {
	if err := a.ctx.Err(); err != nil {
		return err
	}
	if a.o.Progress == nil {
		return nil
	}
	return a.o.Progress(stage, done)
}

// each reads a whole table and sees what its rows rest on.
func (a *auditor) each(name string, each func(catalog.Row) error) error {
	t := catalog.TableByName(name)
	cites := a.citing(t)
	n := 0
	for r, err := range a.r.Rows(t) {
		if err != nil {
			return err
		}
		if n++; n%10_000 == 0 {
			if err := a.progress(name, n); err != nil {
				return err
			}
		}
		cites(r)
		if err := each(r); err != nil {
			return err
		}
	}
	return nil
}

// citing gives what notes the sources and cautions that a row names.
func (a *auditor) citing(t *catalog.Table) func(catalog.Row) {
	type column struct {
		c    *catalog.Column
		to   map[string]bool
		last string
	}
	var columns []column
	for _, c := range t.Columns {
		switch {
		case t.Name == catalog.TSources && c.Name == "source" || t.Name == catalog.TCautions && c.Name == "caution":
		case c.Ref == catalog.TSources:
			columns = append(columns, column{c: c, to: a.cited[0]})
		case c.Ref == catalog.TCautions:
			columns = append(columns, column{c: c, to: a.cited[1]})
		}
	}
	return func(r catalog.Row) {
		for i := range columns {
			c := &columns[i]
			if s := c.c.Get(r); s != c.last {
				c.last = s
				c.to[a.fold(s)] = true
			}
		}
	}
}

// cursor walks a table whose rows speak of a family or a variant (or a mark), in
// the order of their keys, beside a walk through the variants.
type cursor struct {
	a     *auditor
	next  func() (catalog.Row, error, bool)
	stop  func()
	cites func(catalog.Row)
	scope func(catalog.Row) (scope, of string)
	row   catalog.Row // the next one, nil at the end
	last  string      // what it speaks of, as spelled
	key   string      // and folded
	group []catalog.Row
}

// open begins a walk and gives the rows that speak of anything but a variant to
// each.
func (a *auditor) open(table string, each func(catalog.Row) error) (*cursor, error) {
	t := catalog.TableByName(table)
	c := &cursor{a: a, cites: a.citing(t)}
	scope, of := t.Column("scope"), t.Column("of")
	c.scope = func(r catalog.Row) (string, string) { return scope.Get(r), of.Get(r) }
	if table == catalog.TFits {
		c.scope = func(r catalog.Row) (string, string) { f := r.(*catalog.Fit); return string(f.Scope), f.Of }
	}
	c.next, c.stop = iter.Pull2(a.r.Rows(t))
	if err := c.step(); err != nil {
		c.stop()
		return nil, err
	}
	for c.row != nil {
		if s, _ := c.scope(c.row); s == string(catalog.OfVariant) {
			break
		}
		if err := each(c.row); err != nil {
			c.stop()
			return nil, err
		}
		if err := c.step(); err != nil {
			c.stop()
			return nil, err
		}
	}
	return c, nil
}

func (c *cursor) step() error {
	r, err, ok := c.next()
	if err != nil {
		return err
	}
	if !ok {
		c.row = nil
		return nil
	}
	c.row = r
	c.cites(r)
	if _, of := c.scope(r); of != c.last || c.key == "" {
		c.last, c.key = of, catalog.Fold(of)
	}
	return nil
}

// of gives the rows that speak of the variant with that key. The slice is used
// again; the keys asked for must come in order.
func (c *cursor) of(key string) ([]catalog.Row, error) {
	c.group = c.group[:0]
	for c.row != nil && c.key <= key {
		if c.key == key {
			c.group = append(c.group, c.row)
		}
		if err := c.step(); err != nil {
			return nil, err
		}
	}
	return c.group, nil
}

// bits is a set of roles.
type bits []uint64

func (b bits) has(i int) bool { return i/64 < len(b) && b[i/64]&(1<<(i%64)) != 0 }

func (b *bits) add(i int) {
	for len(*b) <= i/64 {
		*b = append(*b, 0)
	}
	(*b)[i/64] |= 1 << (i % 64)
}

func (b *bits) addAll(o bits) {
	for len(*b) < len(o) {
		*b = append(*b, 0)
	}
	for i, w := range o {
		(*b)[i] |= w
	}
}
