package store

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/maphash"
	"runtime/debug"
	"slices"
	"strings"

	bolt "go.etcd.io/bbolt"

	"platewright/catalog"
)

// Report is what a whole check has found: everything sound, else there is an
// error instead.
type Report struct {
	Path     string
	Size     int64 // of the file in bytes
	Program  string
	Format   int
	Head     Edition
	Editions []Edition // every one ever made, with the dropped ones
	Tables   []TableSize
}

// TableSize is what a generation of a table takes in the file.
type TableSize struct {
	TableOf
	Editions []int // that hold it
	Bytes    int64 // of keys and values, without what the pages add
}

// Info tells the same as Check, without reading the rows: Tables is empty.
func (s *Store) Info() (Report, error) {
	st, err := s.file.Stat()
	if err != nil {
		return Report{}, err
	}
	es, err := s.Editions()
	if err != nil {
		return Report{}, err
	}
	return Report{Path: s.path, Size: st.Size(), Program: s.head.Program, Format: s.head.Format, Head: es[len(es)-1], Editions: es}, nil
}

// Check reads the whole file and proves it sound: the tree of its pages, the
// checksum and the order of every entry, the counts and the digest of every
// table, reverse look-ups against the rows, the chain of editions, and what
// bbolt checks itself. Where something is wrong the error is a
// [*DamagedError]. progress, if any, is told now and then.
func (s *Store) Check(ctx context.Context, progress func(Progress)) (Report, error) {
	if err := s.checkPages(); err != nil {
		return Report{}, err
	}
	rep, err := s.Info()
	if err != nil {
		return Report{}, err
	}
	holders := map[TableOf][]int{}
	var order []TableOf
	for _, e := range rep.Editions {
		for _, of := range e.Tables {
			if holders[of] == nil {
				order = append(order, of)
			}
			holders[of] = append(holders[of], e.Number)
		}
	}
	for _, of := range order {
		n, err := s.checkGeneration(ctx, of, progress)
		if err != nil {
			return Report{}, err
		}
		rep.Tables = append(rep.Tables, TableSize{of, holders[of], n})
	}
	if err := s.checkBuckets(order); err != nil {
		return Report{}, err
	}
	return rep, s.checkBolt()
}

// checkPages proves that the pages form a sound tree. bbolt's own check comes
// after it and may then take that for granted, which it has to: it runs in a
// goroutine of its own, where a fault ends the program.
func (s *Store) checkPages() (err error) {
	defer s.guard(debug.SetPanicOnFault(true), &err)
	if err := checkPages(s.file, s.meta); err != nil {
		damaged("%v", err)
	}
	if !s.meta.both {
		return &DamagedError{s.path, "one of its two head pages is not sound; the other one still leads to everything", "make a backup and put it in the place of the file: the copy has both"}
	}
	return nil
}

func (s *Store) checkBolt() (err error) {
	defer s.guard(debug.SetPanicOnFault(true), &err)
	tx, err := s.db.Begin(false)
	if err != nil {
		return err
	}
	defer func() { _ = tx.Rollback() }()
	var first error
	for err := range tx.Check() {
		if first == nil {
			first = err
		}
	}
	if first != nil {
		damaged("%v", first)
	}
	return nil
}

// checkBuckets demands that nothing else is in the file.
func (s *Store) checkBuckets(held []TableOf) (err error) {
	defer s.guard(debug.SetPanicOnFault(true), &err)
	tx, err := s.db.Begin(false)
	if err != nil {
		return err
	}
	defer func() { _ = tx.Rollback() }()
	generations := map[string]bool{}
	for _, of := range held {
		generations[generationName(of.Table, of.Generation)] = true
	}
	return tx.ForEach(func(name []byte, _ *bolt.Bucket) error {
		switch n := string(name); n {
		case headBucket, editionsBucket, aboutBucket:
		default:
			if g, _, ok := strings.Cut(n, "/"); !ok || !generations[g] {
				damaged("the part %q belongs to no edition", n)
			}
		}
		return nil
	})
}

// checkGeneration reads a generation whole.
func (s *Store) checkGeneration(ctx context.Context, of TableOf, progress func(Progress)) (size int64, err error) {
	t := catalog.TableByName(of.Table)
	if t == nil {
		return 0, &NewerError{s.path, "it has a table " + of.Table + ", which this program does not know", mendNewer}
	}
	tx, err := s.db.Begin(false)
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, tx.Rollback()) }()
	c := generationChecker{s: s, tx: tx, t: t, of: of, seed: maphash.MakeSeed()}
	if err := c.open(); err != nil {
		return 0, err
	}
	for n := 0; ; {
		rows, ok, err := c.rows()
		if err != nil {
			return 0, err
		}
		if !ok {
			break
		}
		if n/progressRows != (n+rows)/progressRows {
			if err := ctx.Err(); err != nil {
				return 0, err
			}
			if progress != nil {
				progress(Progress{StageCheck, of.Table, n})
			}
		}
		n += rows
	}
	return c.size, c.close()
}

type generationChecker struct {
	s    *Store
	tx   *bolt.Tx
	t    *catalog.Table
	of   TableOf
	seed maphash.Seed

	g       *generation
	list    *sealed // of the rows
	order   *sealed
	digest  contentDigest
	cells   []string
	key     keyMaker
	last    []byte
	n       int
	size    int64
	reverse []int    // columns with lists
	pairs   []uint64 // for each, a sum over its pairs of cell and group
	started bool
}

func (c *generationChecker) open() (err error) {
	defer c.s.guard(debug.SetPanicOnFault(true), &err)
	if c.g, err = c.s.generation(c.tx, c.t, c.of); err != nil {
		return err
	}
	c.list, c.order = c.g.seal(rowsBucket), c.g.seal(orderBucket)
	c.digest = newContentDigest(c.g.about.Columns)
	c.cells = make([]string, len(c.g.columns))
	c.key.init(c.g.columns, c.g.key)
	for _, name := range c.g.about.Reverse {
		at := slices.Index(c.g.about.Columns, name)
		if at < 0 {
			damaged("%s has a list of a column that it does not have", c.g.name)
		}
		c.reverse = append(c.reverse, at)
	}
	c.pairs = make([]uint64, len(c.reverse))
	return nil
}

// rows checks the next group and tells how many rows it has.
func (c *generationChecker) rows() (rows int, ok bool, err error) {
	defer c.s.guard(debug.SetPanicOnFault(true), &err)
	var e, o entry
	step := func(s *sealed, first bool) entry {
		if first {
			return s.first()
		}
		return s.next()
	}
	e = step(c.list, !c.started)
	if e.end || e.ordinal%orderStep == 0 {
		o = step(c.order, !c.started)
	}
	c.started = true
	c.size += int64(len(e.key) + len(e.payload) + len(o.key) + len(o.payload))
	if e.end {
		if !o.end || int(e.ordinal) != c.of.Groups || c.n != c.of.Rows {
			damaged("%s has %d rows in %d groups and should have %d in %d", c.g.name, c.n, e.ordinal, c.of.Rows, c.of.Groups)
		}
		return 0, false, nil
	}
	if e.ordinal%orderStep == 0 && (o.end || !bytes.Equal(o.payload, e.key) || binary.BigEndian.Uint32(o.key) != uint32(e.ordinal/orderStep)) {
		damaged("the order of %s is wrong", c.g.name)
	}
	texts := make([][]string, len(c.reverse))
	err = c.g.eachCells(e.key, e.payload, c.cells, func(cells []string) error {
		rows++
		c.digest.row(cells)
		key := c.key.of(cells)
		if !bytes.HasPrefix(key, e.key) || bytes.Compare(c.last, key) >= 0 {
			damaged("a row of %s is not where its key belongs", c.g.name)
		}
		c.last = append(c.last[:0], key...)
		for i, at := range c.reverse {
			if p := catalog.KeyPart(c.g.columns[at].Kind, cells[at]); p != "" && !slices.Contains(texts[i], p) {
				texts[i] = append(texts[i], p)
				c.pairs[i] += c.pair(p, e.ordinal)
			}
		}
		return nil
	})
	c.n += rows
	return rows, true, err
}

func (c *generationChecker) pair(cell string, ordinal uint64) uint64 {
	return maphash.Comparable(c.seed, struct {
		cell    string
		ordinal uint64
	}{cell, ordinal})
}

// close checks what is beside the rows.
func (c *generationChecker) close() (err error) {
	defer c.s.guard(debug.SetPanicOnFault(true), &err)
	if string(c.digest.sum()) != c.of.Digest {
		damaged("the digest of %s is wrong", c.g.name)
	}
	dict := c.g.seal(wordsBucket)
	for e := dict.first(); !e.end; e = dict.next() {
		c.size += int64(len(e.key) + len(e.payload))
	}
	for i, at := range c.g.about.Words {
		for chunk := 0; chunk*wordsInValue < at; chunk++ {
			c.g.readWords(i, chunk)
		}
	}
	for i, at := range c.reverse {
		sum := uint64(0)
		list := c.g.seal(byBucket + c.g.about.Columns[at])
		ordinal := uint64(0)
		for e := list.first(); !e.end; e = list.next() {
			c.size += int64(len(e.key) + len(e.payload))
			cell, piece, ok := splitListKey(e.key)
			if !ok {
				damaged("a list of %s has no proper key", c.g.name)
			}
			if piece == 0 {
				ordinal = 0
			}
			d := decoder{text: string(e.payload), g: c.g}
			d.uvarint()
			for n := d.uvarint(); n > 0; n-- {
				ordinal += d.uvarint()
				sum += c.pair(cell, ordinal-1)
			}
			d.done()
		}
		if sum != c.pairs[i] {
			damaged("the lists of %s do not match its rows", list.name)
		}
	}
	return nil
}

func splitListKey(key []byte) (cell string, piece uint32, ok bool) {
	at := len(key) - 5
	if at < 0 || key[at] != catalog.KeySep {
		return "", 0, false
	}
	return string(key[:at]), binary.BigEndian.Uint32(key[at+1:]), true
}

// verifyNew reads a new file back before it is put in place: its pages and the
// checksum of every entry. What the entries say has been checked on the way in.
func verifyNew(ctx context.Context, path string, want head, tell func(Progress)) error {
	s, err := openFile(path)
	if err != nil {
		return fmt.Errorf("read the new file back: %w", err)
	}
	if s.head != want {
		err = errors.New("the new file is not as it was written; check the disk")
	} else if err = s.checkEntries(ctx, tell); err != nil {
		err = fmt.Errorf("read the new file back: %w", err)
	}
	return errors.Join(err, s.Close())
}

// checkEntries proves every page and every entry sound, without taking the
// entries apart.
func (s *Store) checkEntries(ctx context.Context, tell func(Progress)) error {
	if err := s.checkPages(); err != nil {
		return err
	}
	records, err := s.records()
	if err != nil {
		return err
	}
	done := map[string]bool{}
	for _, r := range records {
		for _, of := range r.Tables {
			name := generationName(of.Table, of.Generation)
			if done[name] {
				continue
			}
			done[name] = true
			if err := s.checkGenerationEntries(ctx, name, of, tell); err != nil {
				return err
			}
		}
	}
	return nil
}

func (s *Store) checkGenerationEntries(ctx context.Context, name string, of TableOf, tell func(Progress)) (err error) {
	tx, err := s.db.Begin(false)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, tx.Rollback()) }()
	buckets, err := s.generationBuckets(tx, name)
	if err != nil {
		return err
	}
	tell(Progress{StageCheck, of.Table, 0})
	for _, b := range buckets {
		var list *sealed
		// some reads some entries; the callers' functions run outside of the guard.
		some := func() (e entry, err error) {
			defer s.guard(debug.SetPanicOnFault(true), &err)
			if list == nil {
				list = s.part(tx, name, b)
				e = list.first()
			} else {
				e = list.next()
			}
			for n := 0; !e.end && n < progressRows; n++ {
				e = list.next()
			}
			if e.end && b == rowsBucket && int(e.ordinal) != of.Groups {
				damaged("%s has %d groups and should have %d", name, e.ordinal, of.Groups)
			}
			return e, nil
		}
		for {
			e, err := some()
			if err != nil {
				return err
			}
			if e.end {
				break
			}
			if err := ctx.Err(); err != nil {
				return err
			}
			tell(Progress{StageCheck, of.Table, int(e.ordinal)})
		}
	}
	return nil
}
