package store

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime/debug"
	"slices"
	"time"

	bolt "go.etcd.io/bbolt"

	"platewright/catalog"
)

// build is a new file under way.
type build struct {
	ctx  context.Context
	dir  string // where the new file is made
	path string // what it becomes

	head struct { // what stands; no store if there is none
		Edition int
		store   *Store
		view    *View
	}
	w              *fileWriter
	nextGeneration int
	madeTables     map[string]*madeTable
	onClose        []func() error
}

// madeTable is a generation that this build has written.
type madeTable struct {
	known *knownGeneration
	of    TableOf

	epoch int // of the writer in which the reader was opened
	gen   *generation
}

// change runs fn over a new file while it holds the write lock of the folder.
func change(ctx context.Context, dir string, fn func(*build) error) error {
	lock, err := lockFolder(ctx, dir)
	if err != nil {
		return err
	}
	b, err := newBuild(ctx, dir, dir)
	if err != nil {
		return errors.Join(err, lock.release())
	}
	err = fn(b)
	return errors.Join(err, b.close(), lock.release())
}

// newBuild opens what stands in the folder and starts a new file in the folder
// in.
func newBuild(ctx context.Context, dir, in string) (_ *build, err error) {
	b := &build{ctx: ctx, dir: in, path: filepath.Join(dir, fileName), madeTables: map[string]*madeTable{}, nextGeneration: 1}
	defer func() {
		if err != nil {
			err = errors.Join(err, b.close())
		}
	}()
	s, err := openPath(b.path)
	var missing *MissingError
	switch {
	case errors.As(err, &missing):
	case err != nil:
		return nil, err
	default:
		b.head.store, b.head.Edition, b.nextGeneration = s, s.Number(), s.head.NextGeneration
		if b.head.view, err = s.Head(); err != nil {
			return nil, err
		}
	}
	f, err := os.CreateTemp(in, newName+"*")
	if err != nil {
		return nil, err
	}
	name := f.Name()
	// bbolt makes the file itself; the name is free for it now.
	if err := errors.Join(f.Close(), os.Remove(name)); err != nil {
		return nil, err
	}
	b.onClose = append(b.onClose, func() error { return removeIfThere(name) })
	b.w, err = createFile(name)
	return b, err
}

// closeHead closes what stands.
func (b *build) closeHead() error {
	var errs []error
	if b.head.view != nil {
		errs = append(errs, b.head.view.Close())
	}
	if b.head.store != nil {
		errs = append(errs, b.head.store.Close())
	}
	b.head.view, b.head.store = nil, nil
	return errors.Join(errs...)
}

// close removes what is not in place yet.
func (b *build) close() error {
	errs := []error{b.closeHead()}
	if b.w != nil {
		errs = append(errs, b.w.abandon())
	}
	for _, f := range slices.Backward(b.onClose) {
		errs = append(errs, f())
	}
	return errors.Join(errs...)
}

// standing gives what the head edition has of a table.
func (b *build) standing(table string) (TableOf, bool) {
	if b.head.view == nil {
		return TableOf{}, false
	}
	return b.head.view.edition.table(table)
}

// current gives what the edition under way has of a table.
func (b *build) current(table string) (TableOf, bool) {
	if m := b.madeTables[table]; m != nil {
		return m.of, true
	}
	return b.standing(table)
}

// made notes a generation that has been written.
func (b *build) made(t *catalog.Table, l *layout, of TableOf) {
	b.madeTables[t.Name] = &madeTable{known: &knownGeneration{l, newWordCache(l.about.Words)}, of: of, epoch: -1}
}

// guard is [Store.guard] for the new file.
func (b *build) guard(fault bool, err *error) {
	debug.SetPanicOnFault(fault)
	if r := recover(); r != nil {
		*err = fmt.Errorf("the new file cannot be read back: %v", r)
		if d, ok := r.(damage); ok {
			*err = fmt.Errorf("the new file is not as it was written: %s; check the disk", d.what)
		}
	}
}

// reader reads a generation of the new file. It is good until the next put.
func (b *build) reader(m *madeTable) *generation {
	if m.epoch != b.w.epoch {
		m.gen = openGeneration(m.known, func(name string) *bolt.Bucket {
			return b.w.tx.Bucket([]byte(partName(m.known.layout.name, name)))
		})
		m.epoch = b.w.epoch
	}
	return m.gen
}

// resultHas tells whether the edition under way has a group of that key.
func (b *build) resultHas(t *catalog.Table, key string) (ok bool, err error) {
	m := b.madeTables[t.Name]
	if m == nil {
		if b.head.view == nil {
			return false, nil
		}
		return b.head.view.Has(t, key)
	}
	defer b.guard(debug.SetPanicOnFault(true), &err)
	g := b.reader(m)
	g.buf = append(g.buf[:0], key...)
	return g.rows.has(g.buf), nil
}

// walkResult gives the rows of a table of the edition under way, group by
// group, until each returns false.
func (b *build) walkResult(t *catalog.Table, each func(rows []catalog.Row) (bool, error)) error {
	next := func() ([]catalog.Row, bool, error) { return nil, false, nil }
	if m := b.madeTables[t.Name]; m != nil {
		var rows *sealed
		next = func() (out []catalog.Row, ok bool, err error) {
			defer b.guard(debug.SetPanicOnFault(true), &err)
			g := b.reader(m)
			var e entry
			if rows == nil {
				rows = g.seal(rowsBucket)
				e = rows.first()
			} else {
				e = rows.next()
			}
			if e.end {
				return nil, false, nil
			}
			return g.group(string(e.key), e.payload), true, nil
		}
	} else if b.head.view != nil {
		c := groupCursor{v: b.head.view, t: t}
		next = c.next
	}
	for {
		rows, ok, err := next()
		if !ok || err != nil {
			return err
		}
		if ok, err := each(rows); !ok || err != nil {
			return err
		}
	}
}

// complete finishes the new file and puts it in the place of the old one. It
// adds the edition e, if any, and lets the editions in drop go.
func (b *build) complete(e *Edition, drop map[int]bool, tell func(Progress)) error {
	h := head{Format: formatVersion, Fold: catalog.FoldVersion, NextGeneration: b.nextGeneration}
	var records []*editionRecord
	if b.head.store != nil {
		old, err := b.head.store.records()
		if err != nil {
			return err
		}
		for _, r := range old {
			if drop[r.Number] {
				gone := *r
				gone.Dropped, gone.Tables = true, nil
				r = &gone
			}
			records = append(records, r)
		}
		h.Edition, h.Digest, h.Program = b.head.Edition, b.head.store.head.Digest, b.head.store.head.Program
	}
	if e != nil {
		e.Number = h.Edition + 1
		e.Made = e.Made.UTC().Truncate(time.Second)
		r := &editionRecord{Edition: *e}
		if err := r.seal(h.Digest); err != nil {
			return err
		}
		e.Digest = r.Digest
		records = append(records, r)
		h.Edition, h.Digest, h.Program = e.Number, digest(r.Digest), e.Program
	}
	copied := map[string]bool{}
	for _, r := range records {
		for _, of := range r.Tables {
			name := generationName(of.Table, of.Generation)
			if m := b.madeTables[of.Table]; copied[name] || m != nil && m.of.Generation == of.Generation {
				continue
			}
			copied[name] = true
			if err := b.copyGeneration(of, tell); err != nil {
				return err
			}
		}
	}
	for _, r := range records {
		body, err := json.Marshal(r)
		if err != nil {
			return err
		}
		key := editionKey(r.Number)
		if err := b.w.put(editionsBucket, key, sealRecord(editionsBucket, key, body)); err != nil {
			return err
		}
	}
	body, err := json.Marshal(h)
	if err != nil {
		return err
	}
	tmp := b.w.db.Path()
	w := b.w
	b.w = nil
	if err := w.finish(sealRecord(headBucket, []byte(headKey), body)); err != nil {
		return fmt.Errorf("write the new file: %w", err)
	}
	if err := b.ctx.Err(); err != nil {
		return err
	}
	if err := verifyNew(b.ctx, tmp, h, tell); err != nil {
		return err
	}
	return b.install(tmp)
}

// install renames the new file over the old one.
func (b *build) install(tmp string) error {
	// Some systems do not let a file go that is open, by this process or by a
	// reader in another.
	if err := b.closeHead(); err != nil {
		return err
	}
	if err := os.Rename(tmp, b.path); err != nil {
		if heldOpen(err) {
			return fmt.Errorf("%w; a program that reads it must end first (%w)", ErrInUse, err)
		}
		return fmt.Errorf("put the new file in place: %w; the old one stands", err)
	}
	if err := syncDir(filepath.Dir(b.path)); err != nil {
		return fmt.Errorf("the new edition is in place, but the folder could not be synced: %w; check the disk", err)
	}
	return nil
}

// copyGeneration copies the buckets of a generation that stays, checking each
// entry.
func (b *build) copyGeneration(of TableOf, tell func(Progress)) error {
	s, v := b.head.store, b.head.view
	name := generationName(of.Table, of.Generation)
	buckets, err := s.generationBuckets(v.tx, name)
	if err != nil {
		return err
	}
	n := 0
	for _, bucket := range buckets {
		var from *sealed
		read := func(buf []byte) (key, value []byte, end bool, err error) {
			defer s.guard(debug.SetPanicOnFault(true), &err)
			var e entry
			if from == nil {
				from = s.part(v.tx, name, bucket)
				e = from.first()
			} else {
				e = from.next()
			}
			// The map is read under guard only.
			buf = append(append(buf, e.key...), e.payload...)
			return buf[:len(e.key)], buf[len(e.key):], e.end, nil
		}
		to := b.w.seal(name, bucket)
		var buf []byte
		for {
			key, payload, end, err := read(buf[:0])
			if err != nil {
				return err
			}
			if end {
				break
			}
			buf = key
			if err := to.add(key, payload); err != nil {
				return err
			}
			if n++; n%progressRows == 0 {
				if err := b.ctx.Err(); err != nil {
					return err
				}
				tell(Progress{StageCopy, of.Table, n})
			}
		}
		if err := to.close(); err != nil {
			return err
		}
	}
	about, err := s.generationAbout(v.tx, name)
	if err != nil {
		return err
	}
	return b.w.put(aboutBucket, []byte(name), about)
}

// generationBuckets gives the names of the parts of a generation.
func (s *Store) generationBuckets(tx *bolt.Tx, name string) (out []string, err error) {
	defer s.guard(debug.SetPanicOnFault(true), &err)
	var a struct {
		Reverse []string `json:"reverse"`
	}
	if err := json.Unmarshal(s.about(tx, name), &a); err != nil {
		damaged("the description of %s cannot be read: %v", name, err)
	}
	out = []string{rowsBucket, orderBucket, wordsBucket}
	for _, r := range a.Reverse {
		out = append(out, byBucket+r)
	}
	return out, nil
}

// generationAbout gives the description of a generation as it is kept.
func (s *Store) generationAbout(tx *bolt.Tx, name string) (value []byte, err error) {
	defer s.guard(debug.SetPanicOnFault(true), &err)
	return sealRecord(aboutBucket, []byte(name), s.about(tx, name)), nil
}
