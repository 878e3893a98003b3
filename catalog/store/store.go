package store

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime/debug"
	"slices"
	"sync"

	bolt "go.etcd.io/bbolt"
	berrors "go.etcd.io/bbolt/errors"

	"platewright/catalog"
)

// Store is an open catalogue, for reading. It is safe for use by several
// goroutines. It keeps the file that it opened: editions that another process
// makes are seen by opening again, see [Store.Changed].
type Store struct {
	path string
	db   *bolt.DB
	file *os.File // the same file, for plain reads
	meta meta
	head head

	mu       sync.Mutex
	editions map[int]*editionRecord
	known    map[string]*knownGeneration
	sound    map[uint64]bool // roots of buckets whose branch pages form a tree

	checking sync.Mutex
	pages    *pageFile // for the checks that fill sound, one at a time: its memory serves all of them
}

// Open opens the catalogue in the folder dir for reading. It never creates or
// changes a file, and does not wait for a running import: until that is done it
// opens the catalogue as it was before. The errors are [*MissingError],
// [*NotOursError], [*NewerError], [*OlderError], [*DamagedError], one that
// wraps [ErrInUse], or of the file system.
func Open(dir string) (*Store, error) { return openPath(filepath.Join(dir, fileName)) }

func openPath(path string) (s *Store, err error) {
	// A writer can rename a new file over between two steps of opening; that
	// it does so many times in a row is out of the question.
	for range 8 {
		if s, err = openFile(path); !errors.Is(err, errMoved) {
			break
		}
	}
	return s, err
}

func openFile(path string) (_ *Store, err error) {
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, &MissingError{path, mendMissing}
	}
	if err != nil {
		return nil, err
	}
	s := &Store{path: path, file: f, editions: map[int]*editionRecord{}, known: map[string]*knownGeneration{}, sound: map[uint64]bool{}}
	defer func() {
		if err != nil {
			err = errors.Join(err, s.Close())
		}
	}()
	st, err := f.Stat()
	if err != nil {
		return nil, err
	}
	if !st.Mode().IsRegular() {
		return nil, &NotOursError{path, "it is no regular file", mendNotOurs}
	}
	if s.meta, err = readMeta(f, st.Size(), path); err != nil {
		return nil, err
	}
	if s.db, err = s.openBolt(st); err != nil {
		return nil, err
	}
	if err := s.readHead(); err != nil {
		return nil, err
	}
	return s, nil
}

// openBolt maps the file that s.file has open already: between the two a writer
// can have renamed another one over.
func (s *Store) openBolt(want os.FileInfo) (_ *bolt.DB, err error) {
	defer s.guard(debug.SetPanicOnFault(true), &err)
	moved := false
	db, err := bolt.Open(s.path, 0, &bolt.Options{ReadOnly: true, NoStatistics: true, Timeout: lockWait,
		OpenFile: func(name string, flag int, perm os.FileMode) (*os.File, error) {
			f, err := os.OpenFile(name, flag, perm)
			if err != nil {
				return nil, err
			}
			st, err := f.Stat()
			if err != nil {
				return nil, errors.Join(err, f.Close())
			}
			if os.SameFile(want, st) {
				return f, nil
			}
			moved = true
			return nil, errors.Join(errMoved, f.Close())
		}})
	switch {
	case moved:
		return nil, errMoved
	case errors.Is(err, berrors.ErrTimeout):
		return nil, ErrInUse
	case errors.Is(err, berrors.ErrInvalid), errors.Is(err, berrors.ErrChecksum), errors.Is(err, berrors.ErrVersionMismatch):
		return nil, &DamagedError{s.path, err.Error(), mendDamaged}
	}
	return db, err
}

var errMoved = errors.New("the catalogue was renewed while it was opened")

func (s *Store) readHead() (err error) {
	defer s.guard(debug.SetPanicOnFault(true), &err)
	if err := s.skeleton(s.meta.root); err != nil {
		damaged("%v", err)
	}
	tx, err := s.db.Begin(false)
	if err != nil {
		return err
	}
	defer func() { _ = tx.Rollback() }() // a read transaction has nothing to lose
	b := s.bucket(tx, headBucket)
	if b == nil {
		return &NotOursError{s.path, "it is a database of another program", mendNotOurs}
	}
	body := openRecord(headBucket, []byte(headKey), b.Get([]byte(headKey)))
	if err := json.Unmarshal(body, &s.head); err != nil {
		damaged("its head record cannot be read: %v", err)
	}
	switch h := s.head; {
	case h.Format > formatVersion:
		return &NewerError{s.path, fmt.Sprintf("its format is %d, this program knows %d", h.Format, formatVersion), mendNewer}
	case h.Fold > catalog.FoldVersion:
		return &NewerError{s.path, fmt.Sprintf("its codes are folded by rule %d, this program knows %d", h.Fold, catalog.FoldVersion), mendNewer}
	case h.Fold < catalog.FoldVersion:
		return &OlderError{s.path, fmt.Sprintf("its codes are folded by rule %d, this program needs %d", h.Fold, catalog.FoldVersion), mendOlder}
	}
	r := s.readEdition(tx, s.head.Edition)
	if r.Digest != string(s.head.Digest) {
		damaged("the head edition is not the one that was written last")
	}
	for _, t := range r.Tables {
		if catalog.TableByName(t.Table) == nil {
			return &NewerError{s.path, "it has a table " + t.Table + ", which this program does not know", mendNewer}
		}
	}
	return nil
}

// Close frees the file. Views must be closed before: it waits for them.
func (s *Store) Close() error {
	var err error
	if s.db != nil {
		err = s.db.Close()
	}
	return errors.Join(err, s.file.Close())
}

// Path is the path of the file.
func (s *Store) Path() string { return s.path }

// Number is the number of the head edition.
func (s *Store) Number() int { return s.head.Edition }

// Changed tells whether the catalogue has been renewed since it was opened.
func (s *Store) Changed() bool {
	mine, err := s.file.Stat()
	if err != nil {
		return true
	}
	now, err := os.Stat(s.path)
	return err != nil || !os.SameFile(mine, now)
}

// guard ends a call that reads the file: call it deferred, with what
// debug.SetPanicOnFault(true) gave. A fault of the memory map, a failed
// assertion of bbolt and damage all become a [*DamagedError].
func (s *Store) guard(fault bool, err *error) {
	debug.SetPanicOnFault(fault)
	if r := recover(); r != nil {
		*err = s.damage(r)
	}
}

func (s *Store) damage(r any) error {
	if d, ok := r.(damage); ok {
		return &DamagedError{s.path, d.what, mendDamaged}
	}
	return &DamagedError{s.path, fmt.Sprintf("its pages cannot be read (%v)", r), mendDamaged}
}

// bucket opens a bucket whose branch pages are known to form a tree, nil for
// none.
func (s *Store) bucket(tx *bolt.Tx, name string) *bolt.Bucket {
	b := tx.Bucket([]byte(name))
	if b == nil {
		return nil
	}
	root := uint64(b.Root())
	if root == 0 {
		return b // it lies within a page
	}
	s.mu.Lock()
	ok := s.sound[root]
	s.mu.Unlock()
	if !ok {
		if err := s.skeleton(root); err != nil {
			damaged("%v", err)
		}
		s.mu.Lock()
		s.sound[root] = true
		s.mu.Unlock()
	}
	return b
}

// skeleton checks the branch pages under root, see [pageFile.skeleton].
func (s *Store) skeleton(root uint64) error {
	s.checking.Lock()
	defer s.checking.Unlock()
	if s.pages == nil {
		s.pages = newPageFile(s.file, s.meta)
	}
	return s.pages.skeleton(root)
}

// part opens a part of a generation.
func (s *Store) part(tx *bolt.Tx, generation, part string) *sealed {
	name := partName(generation, part)
	b := s.bucket(tx, name)
	if b == nil {
		damaged("the part %s of %s is missing", part, generation)
	}
	return newSealed(b, name)
}

// about gives the description of a generation.
func (s *Store) about(tx *bolt.Tx, generation string) []byte {
	b := s.bucket(tx, aboutBucket)
	if b == nil {
		damaged("the list of generations is missing")
	}
	key := []byte(generation)
	return openRecord(aboutBucket, key, b.Get(key))
}

func (s *Store) readEdition(tx *bolt.Tx, n int) *editionRecord {
	s.mu.Lock()
	r := s.editions[n]
	s.mu.Unlock()
	if r != nil {
		return r
	}
	b := s.bucket(tx, editionsBucket)
	if b == nil {
		damaged("the list of editions is missing")
	}
	key := editionKey(n)
	r = &editionRecord{}
	if err := json.Unmarshal(openRecord(editionsBucket, key, b.Get(key)), r); err != nil {
		damaged("the record of edition %d cannot be read: %v", n, err)
	}
	if what := r.verify(n); what != "" {
		damaged("%s", what)
	}
	s.mu.Lock()
	s.editions[n] = r
	s.mu.Unlock()
	return r
}

// records gives the records of all editions, the first first, with their chain
// checked.
func (s *Store) records() (out []*editionRecord, err error) {
	defer s.guard(debug.SetPanicOnFault(true), &err)
	tx, err := s.db.Begin(false)
	if err != nil {
		return nil, err
	}
	defer func() { _ = tx.Rollback() }()
	before := digest("")
	for n := 1; n <= s.head.Edition; n++ {
		r := s.readEdition(tx, n)
		if r.Before != before {
			damaged("edition %d does not follow edition %d", n, n-1)
		}
		before = digest(r.Digest)
		out = append(out, r)
	}
	return out, nil
}

// Editions lists every edition ever made, the newest last, with the dropped
// ones.
func (s *Store) Editions() ([]Edition, error) {
	rs, err := s.records()
	if err != nil {
		return nil, err
	}
	out := make([]Edition, len(rs))
	for i, r := range rs {
		out[i] = r.Edition
		out[i].Tables = slices.Clone(r.Tables)
	}
	return out, nil
}

// Head gives the newest edition for reading.
func (s *Store) Head() (*View, error) { return s.Edition(s.head.Edition) }

// Edition gives an edition for reading. The error is an [*EditionError] if
// there is none of that number or it has been dropped.
func (s *Store) Edition(n int) (_ *View, err error) {
	defer s.guard(debug.SetPanicOnFault(true), &err)
	if n < 1 || n > s.head.Edition {
		return nil, &EditionError{n, "there is no such edition", fmt.Sprintf("name one from 1 to %d", s.head.Edition)}
	}
	tx, err := s.db.Begin(false)
	if err != nil {
		return nil, err
	}
	v := &View{s: s, tx: tx, tables: map[*catalog.Table]*generation{}}
	opened := false
	defer func() {
		if !opened {
			_ = tx.Rollback()
		}
	}()
	r := s.readEdition(tx, n)
	if r.Dropped {
		return nil, &EditionError{n, "it has been dropped", "name another one; the list of editions shows which are kept"}
	}
	v.edition = &r.Edition
	opened = true
	return v, nil
}

// generation opens a generation within a transaction.
func (s *Store) generation(tx *bolt.Tx, t *catalog.Table, of TableOf) (*generation, error) {
	name := generationName(t.Name, of.Generation)
	s.mu.Lock()
	k := s.known[name]
	s.mu.Unlock()
	if k == nil {
		var a about
		if err := json.Unmarshal(s.about(tx, name), &a); err != nil {
			damaged("the description of %s cannot be read: %v", name, err)
		}
		if a.Table != t.Name || a.Rows != of.Rows || a.Groups != of.Groups || string(a.Digest) != of.Digest {
			damaged("%s is not what its edition says", name)
		}
		l, what := joinLayout(t, name, a)
		if l == nil {
			return nil, &NewerError{s.path, what, mendNewer}
		}
		k = &knownGeneration{l, newWordCache(a.Words)}
		s.mu.Lock()
		s.known[name] = k
		s.mu.Unlock()
	}
	return openGeneration(k, func(part string) *bolt.Bucket { return s.bucket(tx, partName(name, part)) }), nil
}

// openGeneration makes a reader of a generation whose buckets bucket opens.
func openGeneration(k *knownGeneration, bucket func(name string) *bolt.Bucket) *generation {
	g := &generation{layout: k.layout, words: k.words}
	g.seal = func(name string) *sealed {
		b := bucket(name)
		if b == nil {
			damaged("the part %s of %s is missing", name, g.name)
		}
		return newSealed(b, partName(g.name, name))
	}
	g.rows = g.seal(rowsBucket)
	return g
}
