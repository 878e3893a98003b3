package store

import (
	"context"
	"errors"
	"os"
	"slices"
	"sync"
	"time"

	"platewright/catalog"
)

// ImportOptions say how an import is done.
type ImportOptions struct {
	// Replace names tables that are replaced whole: rows that the feed does
	// not have go, and its cells stand as they are, the empty ones too. In
	// other tables rows are added and changed by key, and an empty cell keeps
	// what stands.
	Replace []string

	// DryRun checks everything and tells every change, and changes nothing. It
	// works on a folder that cannot be written, and beside another import.
	DryRun bool

	Now     time.Time // when the edition is made
	Program string    // program and version that make it

	// Changes is called for every row that comes, goes or changes, in the order
	// of tables and keys, before anything is applied, and also where the import
	// is then refused. An error ends the import; [ErrSkipTable] only leaves out
	// the other changes of the table, which for a large new table saves much.
	Changes func(Change) error

	// Progress is called every few ten thousand rows, several times a second,
	// never twice at once.
	Progress func(Progress)

	limits limits
}

// ErrSkipTable is what a function that is told changes returns to be told no more
// of the same table. The table is imported or compared all the same.
var ErrSkipTable = errors.New("skip the other changes of this table")

// limits are what an import may take of memory. The zero value has the usual
// ones; tests set lower ones.
type limits struct {
	memory int // bytes of rows kept in memory until they are merged
	piece  int // bytes of rows sorted at once
}

func (l limits) spill(dir string) *spill {
	s := &spill{dir: dir, left: 48 << 20, piece: 4 << 20}
	if l.memory > 0 {
		s.left = l.memory
	}
	if l.piece > 0 {
		s.piece = l.piece
	}
	return s
}

// Stage is what an import is doing.
type Stage string

const (
	StageRead  Stage = "read"  // rows of the feed; runs beside the others
	StageMerge Stage = "merge" // rows merged with what stands, and written
	StageCopy  Stage = "copy"  // tables that stay as they are
	StageCheck Stage = "check" // the new file
)

// Progress tells how far an import is.
type Progress struct {
	Stage Stage
	Table string
	Rows  int // of this table in this stage
}

// Result is what an import did, or would do.
type Result struct {
	Edition   int               // the head afterwards; in a dry run the one before
	Unchanged bool              // everything was there already, so no edition was made
	Tables    []TableResult     // of the tables that the feed holds, in reading order
	Remarks   []catalog.Finding // findings that do not refuse the import
}

// TableResult counts what an import does to a table.
type TableResult struct {
	Table   string
	Added   int
	Changed int
	Removed int
	Same    int // rows that stay as they were, in the feed or not
	Kept    int // of Same: rows of a table of the feed that the feed does not hold
	Held    int // rows of the feed in which an empty cell left a value that stands
}

func (r *TableResult) changes() int { return r.Added + r.Changed + r.Removed }

// Import merges the feed with the head edition of the catalogue in the folder
// dir and makes a new edition, or changes nothing. There need not be a
// catalogue yet. Everything that is wrong with the feed is in a
// [*catalog.RefusedError]; other errors are those of [Open], one that wraps
// [ErrInUse], of ctx, of the feed, or of the file system. Where the Result
// names an edition beside an error, the import is done and only the tidying up
// failed.
func Import(ctx context.Context, dir string, feed catalog.Feed, opts ImportOptions) (Result, error) {
	if opts.DryRun {
		scratch, err := os.MkdirTemp("", "platewright-")
		if err != nil {
			return Result{}, err
		}
		b, err := newBuild(ctx, dir, scratch)
		if err != nil {
			return Result{}, errors.Join(err, os.RemoveAll(scratch))
		}
		res, err := b.importFeed(feed, opts)
		return res, errors.Join(err, b.close(), os.RemoveAll(scratch))
	}
	var res Result
	err := change(ctx, dir, func(b *build) (err error) {
		res, err = b.importFeed(feed, opts)
		return err
	})
	return res, err
}

// importer is one import under way.
type importer struct {
	*build
	opts    ImportOptions
	intakes map[string]*intake
	report  catalog.Findings // of the merging side
	results []TableResult

	at      int             // index in catalog.Tables of the table being merged
	shrunk  map[string]bool // tables that lose rows
	altered map[string]bool // tables of which rows that stood are lost or changed
	later   []laterReference
	refs    map[string]*referenceTarget
	scratch map[*catalog.Table]catalog.Row

	progress sync.Mutex
}

// laterReference is a reference to a table that is not merged yet.
type laterReference struct {
	ref catalog.Reference
	at  catalog.Place
}

func (b *build) importFeed(feed catalog.Feed, opts ImportOptions) (Result, error) {
	im := &importer{build: b, opts: opts, intakes: map[string]*intake{}, shrunk: map[string]bool{}, altered: map[string]bool{},
		refs: map[string]*referenceTarget{}, scratch: map[*catalog.Table]catalog.Row{}}
	sp := opts.limits.spill(b.dir)
	defer func() { b.onClose = append(b.onClose, sp.close) }()

	var tables []*catalog.Table
	held := feed.Tables()
	for _, t := range catalog.Tables() {
		if slices.Contains(held, t) {
			tables = append(tables, t)
			im.intakes[t.Name] = newIntake(t, sp)
		}
	}
	for _, name := range opts.Replace {
		if catalog.TableByName(name) == nil {
			return Result{}, &catalog.RefusedError{Findings: []catalog.Finding{{Code: catalog.UnknownTable, Severity: catalog.Refused,
				Value: name, What: "there is no table of this name to replace", Mend: "name a table of the catalogue"}}}
		}
	}

	// The feed is read in a goroutine of its own: it takes as long as all the
	// rest.
	ctx, cancel := context.WithCancel(b.ctx)
	read := make(chan struct{})
	var found catalog.Findings // of the reading side
	go func() {
		defer close(read)
		im.read(ctx, feed, tables, &found)
	}()
	err := im.merge()
	cancel()
	<-read
	if err != nil {
		return Result{}, err
	}
	return im.conclude(feed, &found)
}

// read fills the intakes.
func (im *importer) read(ctx context.Context, feed catalog.Feed, tables []*catalog.Table, found *catalog.Findings) {
	var failed error
	for _, t := range tables {
		in := im.intakes[t.Name]
		if failed == nil {
			n := 0
			failed = feed.Rows(t, found, func(r catalog.Row, at catalog.Place, cleared catalog.Cells) error {
				if n++; n%progressRows == 0 {
					if err := ctx.Err(); err != nil {
						return err
					}
					im.tell(Progress{StageRead, t.Name, n})
				}
				return in.add(r, at, cleared)
			})
		}
		if failed == nil {
			failed = ctx.Err()
		}
		failed = in.runs.close(failed)
	}
}

const progressRows = 20_000

func (im *importer) tell(p Progress) {
	if im.opts.Progress == nil {
		return
	}
	im.progress.Lock()
	defer im.progress.Unlock()
	im.opts.Progress(p)
}

// merge merges every table that the feed holds, or that can be left with
// references to nothing, in reading order: references point backwards, so what
// they name is already there in its new state.
func (im *importer) merge() error {
	for i, t := range catalog.Tables() {
		im.at = i
		if err := im.table(t, im.intakes[t.Name]); err != nil {
			return err
		}
	}
	im.at++
	for _, l := range im.later {
		ok, err := im.has(l.ref)
		if err != nil {
			return err
		}
		if !ok {
			if err := im.dangling(l.ref, l.at); err != nil {
				return err
			}
		}
	}
	return im.checkWhole()
}

func (im *importer) table(t *catalog.Table, in *intake) error {
	standing, stands := im.standing(t.Name)
	replace := slices.Contains(im.opts.Replace, t.Name)
	recheck := im.lostTargets(t)
	context, again, err := im.context(t)
	if err != nil {
		return err
	}
	if in == nil {
		if replace {
			im.emptyReplace(t)
		}
		if !stands || len(recheck) == 0 && !again {
			return nil
		}
		// Nothing comes: only what the rows rest on is looked at.
		in = newIntake(t, im.opts.limits.spill(im.dir))
		if err := in.runs.close(nil); err != nil {
			return err
		}
		var none TableResult
		return im.pass(&pass{t: t, in: in, rd: in.runs.reader(), standing: standing, stands: true, recheck: recheck, context: context, again: again, check: true, result: &none})
	}

	result := TableResult{Table: t.Name}
	p := &pass{t: t, in: in, standing: standing, stands: stands, replace: replace, recheck: recheck, context: context, again: again, check: true, result: &result}
	if !stands {
		// Nothing stands, so every row is new: it can be written while the
		// rest is still read, as long as they come in order.
		ok, err := im.stream(p)
		if err != nil {
			return err
		}
		rows, err := in.runs.wait()
		if err != nil {
			return err
		}
		if !ok && rows > 0 {
			result = TableResult{Table: t.Name}
			p.rd = in.runs.reader()
			if err := im.write(p); err != nil {
				return err
			}
		}
		if rows == 0 && replace {
			im.emptyReplace(t)
		}
		im.results = append(im.results, result)
		return im.tellNew(t)
	}
	rows, err := in.runs.wait()
	if err != nil {
		return err
	}
	if rows == 0 {
		if replace {
			im.emptyReplace(t)
		}
		result.Same = standing.Rows
		im.results = append(im.results, result)
		if len(recheck) == 0 && !again {
			return nil
		}
		result = TableResult{}
	}
	// The first pass finds what is wrong and what changes.
	p.replace = replace && rows > 0
	p.rd = in.runs.reader()
	p.changes = im.opts.Changes
	if err := im.pass(p); err != nil {
		return err
	}
	if rows > 0 {
		im.results = append(im.results, result)
	}
	im.shrunk[t.Name] = result.Removed > 0
	im.altered[t.Name] = result.Removed+result.Changed > 0
	if result.changes() == 0 {
		return nil
	}
	var second TableResult
	return im.write(&pass{t: t, in: in, rd: in.runs.reader(), standing: standing, stands: stands, replace: p.replace, result: &second})
}

// tellNew tells the rows of a table of which nothing stood before.
func (im *importer) tellNew(t *catalog.Table) error {
	if im.opts.Changes == nil || im.madeTables[t.Name] == nil {
		return nil
	}
	rec := newRecord(t)
	var key []byte
	var told error
	err := im.resultRows(t.Name, func(r catalog.Row, at catalog.Place) bool {
		key = t.RowKey(key[:0], r)
		rec.key, rec.text = key, t.Cells(rec.text[:0], r)
		c := makeChange(t, Came, nil, rec)
		c.At = at
		told = im.opts.Changes(c)
		return told == nil
	})
	if err == nil && !errors.Is(told, ErrSkipTable) {
		err = told
	}
	return err
}

func (im *importer) emptyReplace(t *catalog.Table) {
	im.report.Add(catalog.Finding{Code: catalog.EmptyTable, Severity: catalog.Refused, Place: catalog.Place{Table: t.Name},
		What: "the table is to be replaced, and the package has no row of it", Mend: "leave it out of the tables to replace, or add its rows"})
}

// stream tries to write the rows of a new table while they are still read. It
// gives false if they do not come in order, or do not come at all; then
// nothing is left of the try.
func (im *importer) stream(p *pass) (bool, error) {
	first, err := p.in.runs.piece(0)
	if err != nil || first == nil {
		return false, err
	}
	report, later := im.report, im.later
	im.report, im.later = catalog.Findings{}, nil
	p.rd = p.in.runs.streamReader()
	err = im.write(p)
	tried := im.report
	im.report, im.later = report, append(later, im.later...)
	if errors.Is(err, errUnordered) {
		im.later = later
		return false, im.w.drop(generationName(p.t.Name, im.nextGeneration))
	}
	if err != nil {
		return false, err
	}
	im.report.Merge(&tried)
	return true, nil
}

// write writes a new generation of a table from a pass over it.
func (im *importer) write(p *pass) (err error) {
	l := layoutOf(p.t, im.nextGeneration)
	lists := im.opts.limits.spill(im.dir)
	defer func() { err = errors.Join(err, lists.close()) }()
	p.write = im.w.generation(l, p.in.words, lists)
	if err := im.pass(p); err != nil {
		return err
	}
	of, err := p.write.close(im.nextGeneration)
	if err != nil {
		return err
	}
	im.nextGeneration++
	im.made(p.t, l, of)
	return nil
}

// conclude makes the edition if nothing is wrong and something changes.
func (im *importer) conclude(feed catalog.Feed, found *catalog.Findings) (Result, error) {
	rows := 0
	for _, t := range catalog.Tables() {
		in := im.intakes[t.Name]
		if in == nil {
			continue
		}
		rows += in.runs.rows
		if in.runs.rows == 0 && !slices.ContainsFunc(found.List(), func(f catalog.Finding) bool { return f.Table == t.Name }) {
			found.Add(catalog.Finding{Code: catalog.EmptyTable, Severity: catalog.Remark, Place: catalog.Place{Table: t.Name},
				What: "the table has no rows, so what stands is left as it is", Mend: "nothing, unless rows were meant to be there"})
		}
	}
	found.Merge(&im.report)
	if rows == 0 && found.Refused() == 0 {
		found.Add(catalog.Finding{Code: catalog.NothingToImport, Place: catalog.Place{File: feed.Name()},
			What: "no table holds a row", Mend: "check that it is the right package"})
	}
	if err := found.Err(); err != nil {
		return Result{}, err
	}
	res := Result{Edition: im.head.Edition, Tables: im.results, Remarks: found.List()}
	res.Unchanged = !slices.ContainsFunc(res.Tables, func(t TableResult) bool { return t.changes() > 0 })
	if res.Unchanged || im.opts.DryRun {
		return res, nil
	}
	e := Edition{Made: im.opts.Now, Origin: feed.Name(), Program: im.opts.Program, Parent: im.head.Edition, Tables: im.result()}
	if err := im.complete(&e, nil, im.tell); err != nil {
		return Result{}, err
	}
	res.Edition = e.Number
	return res, nil
}

// result gives the tables of the edition under way.
func (im *importer) result() []TableOf {
	var out []TableOf
	for _, t := range catalog.Tables() {
		if of, ok := im.current(t.Name); ok && of.Rows > 0 {
			out = append(out, of)
		}
	}
	return out
}
