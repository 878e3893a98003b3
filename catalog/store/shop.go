package store

import (
	"bytes"
	"context"
	"crypto/rand"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"iter"
	"os"
	"path/filepath"
	"runtime/debug"
	"slices"
	"strings"
	"sync"
	"time"

	bolt "go.etcd.io/bbolt"
	berrors "go.etcd.io/bbolt/errors"

	"platewright/catalog"
	"platewright/catalog/shop"
)

// This file keeps the shop's own records: shop.db, beside catalog.db. Unlike the
// catalogue it is changed in place, in single transactions, each of which is on
// the disk before anybody is told of it. Nobody keeps the file open: reading
// copies the notes and closes it, so that readers and writers wait for each
// other for milliseconds only.
//
// Its buckets:
//
//   - "platewright" with the record "shop": format, number and chained digest of
//     the last change, counts and sums of the notes and cards, the shop's rules;
//   - "changes": by number every [shop.Event] ever, with the digest chained over
//     it and those before. Nothing in it is ever changed;
//   - "notes": by name each note as the changes have left it, with the keys under
//     which it is filed;
//   - "cards": by number each card as the changes have left it.
//
// Each record carries its checksum (seal.go). The notes are read as a whole, and
// their number and the sum of their checksums have to be those of the head
// record: a note that is gone from the file cannot look as if there were none.

const (
	shopFile    = "shop.db"
	shopLock    = "shop.lock"
	shopNew     = shopFile + ".new-"
	shopFormat  = 1
	shopKey     = "shop"
	changesName = "changes"
	notesName   = "notes"
	cardsName   = "cards"

	// shopWait is how long is waited for another process. Each holds the file
	// for milliseconds, so this bridges many of them.
	shopWait = 4 * time.Second

	// wholeCheck is up to which size every page is read before the file is
	// changed; of a larger one it is the branch pages and the list of free ones.
	wholeCheck = 16 << 20

	mendShop      = "restore a backup of the file, or move it away to begin anew"
	mendShopMiss  = "nothing has been noted yet"
	mendShopOlder = "export the notes with the program that made it, and import them into a new folder"
)

// shopHead is the record that the shop's file starts with.
type shopHead struct {
	Format   int        `json:"format"`
	Fold     int        `json:"fold"`    // catalog.FoldVersion of the keys
	Program  string     `json:"program"` // that wrote it last
	Changes  int        `json:"changes"` // number of the last change
	Digest   digest     `json:"digest"`  // chained, of the last change
	Notes    int        `json:"notes"`
	NotesSum uint64     `json:"notesSum"` // of the checksums of all notes
	Cards    int        `json:"cards"`
	CardsSum uint64     `json:"cardsSum"`
	Rules    shop.Rules `json:"rules"`
}

// change is an event as it is kept.
type changeRecord struct {
	Event  json.RawMessage `json:"event"`
	Before digest          `json:"before"`
	Digest digest          `json:"digest"`
}

// Shop is what the shop has noted, as it was when it was read: later changes are
// seen by reading again. It is safe for use by several goroutines and keeps no
// file open. It is a [shop.Notes].
type Shop struct {
	path string
	head shopHead

	mu    sync.Mutex
	raw   map[string][]byte // of each note, by name
	sums  map[string]uint32 // checksums of the records of notes
	filed []filedKey        // in order
	notes map[string]*shop.Note
}

type filedKey struct{ key, note string }

func compareFiled(a, b filedKey) int {
	if c := strings.Compare(a.key, b.key); c != 0 {
		return c
	}
	return strings.Compare(a.note, b.note)
}

type shopInUse struct{}

func (shopInUse) Error() string {
	return "the shop's notes and cards are in use by another process; wait until it is done and try again"
}
func (shopInUse) Is(target error) bool { return target == ErrInUse }

// UncertainError says that the disk reported an error just when a change was to
// be completed, so that it is not known whether it will last.
type UncertainError struct {
	Path string
	Seen bool // the change can be read at present
	Err  error
}

func (e *UncertainError) Error() string {
	s := "cannot be found in it"
	if e.Seen {
		s = "can be read at present, but may not last"
	}
	return fmt.Sprintf("writing %s failed at the last step (%v), and what was to be written %s; check the disk and look before doing it again", e.Path, e.Err, s)
}

func (e *UncertainError) Unwrap() error { return e.Err }

// ReadShop reads the notes of the shop in the folder dir. It creates and changes
// nothing. The errors are [*MissingError], [*NotOursError], [*NewerError],
// [*OlderError], [*DamagedError], one that wraps [ErrInUse], or of the file
// system.
func ReadShop(dir string) (*Shop, error) {
	path := filepath.Join(dir, shopFile)
	var s *Shop
	err := viewShop(path, func(f *shopView) (err error) {
		s, err = f.load()
		return err
	})
	return s, err
}

// HasShop tells whether the folder dir holds records of a shop.
func HasShop(dir string) bool {
	_, err := os.Stat(filepath.Join(dir, shopFile))
	return err == nil
}

// shopView is the shop's file while it is open for reading.
type shopView struct {
	path string
	tx   *bolt.Tx
	file *os.File
	meta meta
	head shopHead
}

// viewShop opens the file, checks that it is whole, and closes it afterwards.
func viewShop(path string, do func(*shopView) error) (err error) {
	st, err := os.Stat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return &MissingError{path, mendShopMiss}
	case err != nil:
		return err
	case !st.Mode().IsRegular():
		return &NotOursError{path, "it is no regular file", mendShop}
	case st.Size() == 0:
		return &NotOursError{path, "the file is empty", mendShop}
	}
	defer shopGuard(path, debug.SetPanicOnFault(true), &err)
	f := &shopView{path: path}
	db, err := openShop(path, true, &f.file)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	// The lock is held by now, so nobody writes while pages are read beside bbolt.
	if err := f.whole(); err != nil {
		return err
	}
	tx, err := db.Begin(false)
	if err != nil {
		return err
	}
	defer func() { _ = tx.Rollback() }() // a read transaction has nothing to lose
	f.tx = tx
	if err := f.readHead(); err != nil {
		return err
	}
	return do(f)
}

func openShop(path string, readOnly bool, file **os.File) (*bolt.DB, error) {
	db, err := bolt.Open(path, 0, &bolt.Options{ReadOnly: readOnly, NoStatistics: true, Timeout: shopWait,
		OpenFile: func(name string, flag int, perm os.FileMode) (f *os.File, err error) {
			f, err = os.OpenFile(name, flag&^os.O_CREATE, perm)
			if file != nil {
				*file = f
			}
			return f, err
		}})
	switch {
	case err == nil:
		return db, nil
	case errors.Is(err, berrors.ErrTimeout):
		return nil, shopInUse{}
	}
	// A plain look at the head pages says what is wrong.
	f, oerr := os.Open(path)
	if oerr != nil {
		return nil, oerr
	}
	defer f.Close()
	st, serr := f.Stat()
	if serr != nil {
		return nil, serr
	}
	if _, merr := readMeta(f, st.Size(), path); merr != nil {
		return nil, shopMend(merr)
	}
	if errors.Is(err, berrors.ErrInvalid) || errors.Is(err, berrors.ErrChecksum) || errors.Is(err, berrors.ErrVersionMismatch) {
		return nil, &DamagedError{path, err.Error(), mendShop}
	}
	return nil, err
}

// shopMend puts the advice for the shop's file in the place of that for a
// catalogue.
func shopMend(err error) error {
	var d *DamagedError
	var n *NotOursError
	switch {
	case errors.As(err, &d):
		return &DamagedError{d.Path, d.What, mendShop}
	case errors.As(err, &n):
		return &NotOursError{n.Path, strings.ReplaceAll(n.What, "a catalogue", "the records"), mendShop}
	}
	return err
}

func shopGuard(path string, fault bool, err *error) {
	debug.SetPanicOnFault(fault)
	r := recover()
	if r == nil {
		return
	}
	if d, ok := r.(damage); ok {
		*err = &DamagedError{path, d.what, mendShop}
		return
	}
	*err = &DamagedError{path, fmt.Sprintf("its pages cannot be read (%v)", r), mendShop}
}

// whole checks, with plain reads, that the file is as long as it says and that
// its branch pages form a tree, before bbolt descends it.
func (f *shopView) whole() error {
	st, err := f.file.Stat()
	if err != nil {
		return err
	}
	if f.meta, err = readMeta(f.file, st.Size(), f.path); err != nil {
		return shopMend(err)
	}
	if err := newPageFile(f.file, f.meta).skeleton(f.meta.root); err != nil {
		damaged("%v", err)
	}
	return nil
}

// bucket opens a part of which the branch pages are known to form a tree.
func (f *shopView) bucket(name string) *bolt.Bucket {
	b := f.tx.Bucket([]byte(name))
	if b == nil {
		damaged("its part %s is missing", name)
	}
	if root := uint64(b.Root()); root != 0 {
		if err := newPageFile(f.file, f.meta).skeleton(root); err != nil {
			damaged("%v", err)
		}
	}
	return b
}

func (f *shopView) readHead() error {
	b := f.tx.Bucket([]byte(headBucket))
	if b == nil || b.Get([]byte(shopKey)) == nil {
		return &NotOursError{f.path, "it is a database of another kind", mendShop}
	}
	if err := json.Unmarshal(openRecord(headBucket, []byte(shopKey), b.Get([]byte(shopKey))), &f.head); err != nil {
		damaged("its head record cannot be read: %v", err)
	}
	switch h := f.head; {
	case h.Format > shopFormat:
		return &NewerError{f.path, fmt.Sprintf("its format is %d, this program knows %d", h.Format, shopFormat), mendNewer}
	case h.Fold > catalog.FoldVersion:
		return &NewerError{f.path, fmt.Sprintf("its codes are folded by rule %d, this program knows %d", h.Fold, catalog.FoldVersion), mendNewer}
	case h.Fold < catalog.FoldVersion:
		return &OlderError{f.path, fmt.Sprintf("its codes are folded by rule %d, this program needs %d", h.Fold, catalog.FoldVersion), mendShopOlder}
	}
	return nil
}

// load copies the notes.
func (f *shopView) load() (*Shop, error) {
	s := &Shop{path: f.path, head: f.head, raw: make(map[string][]byte, f.head.Notes), sums: make(map[string]uint32, f.head.Notes), notes: map[string]*shop.Note{}}
	c := f.bucket(notesName).Cursor()
	sum := uint64(0)
	for k, v := c.First(); k != nil; k, v = c.Next() {
		body := openRecord(notesName, k, v)
		id := string(k)
		keys, text := openNote(body)
		for _, key := range keys {
			s.filed = append(s.filed, filedKey{key, id})
		}
		s.raw[id] = bytes.Clone(text)
		s.sums[id] = binary.LittleEndian.Uint32(v)
		sum += uint64(s.sums[id])
	}
	if len(s.raw) != f.head.Notes || sum != f.head.NotesSum {
		damaged("it holds %d notes, and not the %d that were written", len(s.raw), f.head.Notes)
	}
	slices.SortFunc(s.filed, compareFiled)
	return s, nil
}

// sealNote gives the record of a note: the keys under which it is filed, then
// the note.
func sealNote(id string, keys []string, text []byte) []byte {
	body := binary.AppendUvarint(nil, uint64(len(keys)))
	for _, k := range keys {
		body = binary.AppendUvarint(body, uint64(len(k)))
		body = append(body, k...)
	}
	return sealRecord(notesName, []byte(id), append(body, text...))
}

func openNote(body []byte) (keys []string, text []byte) {
	count, n := binary.Uvarint(body)
	if n <= 0 || count > 16 {
		damaged("a note cannot be read")
	}
	body = body[n:]
	for range count {
		size, n := binary.Uvarint(body)
		if n <= 0 || size > uint64(len(body)-n) {
			damaged("a note cannot be read")
		}
		keys = append(keys, string(body[n:n+int(size)]))
		body = body[n+int(size):]
	}
	return keys, body
}

// Path is the path of the file.
func (s *Shop) Path() string { return s.path }

// Number is the number of the last change. A derived index that carries it is up
// to date; what came later is in [Shop.Events].
func (s *Shop) Number() int { return s.head.Changes }

// Digest is the digest chained over all changes so far.
func (s *Shop) Digest() string { return string(s.head.Digest) }

// Rules gives what the shop has settled for its notes.
func (s *Shop) Rules() shop.Rules {
	r := s.head.Rules
	r.Trusted = append([]string{}, r.Trusted...)
	return r
}

// Note gives the note of that name, or nil. It must not be changed.
func (s *Shop) Note(id string) (*shop.Note, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if n := s.notes[id]; n != nil {
		return n, nil
	}
	text := s.raw[id]
	if text == nil {
		return nil, nil
	}
	n := &shop.Note{}
	if err := json.Unmarshal(text, n); err != nil {
		return nil, &DamagedError{s.path, fmt.Sprintf("the note %s cannot be read: %v", id, err), mendShop}
	}
	s.notes[id] = n
	return n, nil
}

// Find gives the note whose name begins with the text. The error is a
// [*shop.UnknownError] if there is none or several.
func (s *Shop) Find(text string) (*shop.Note, error) {
	name := strings.ToLower(strings.TrimSpace(text))
	if s.raw[name] != nil {
		return s.Note(name)
	}
	var found []string
	if name != "" && name != "n" {
		for id := range s.raw {
			if strings.HasPrefix(id, name) {
				found = append(found, id)
			}
		}
	}
	slices.Sort(found)
	switch len(found) {
	case 0:
		return nil, &shop.UnknownError{What: "note", Name: text, Mend: "platewright note list names them"}
	case 1:
		return s.Note(found[0])
	}
	return nil, &shop.UnknownError{What: "single note", Name: text, Mend: "it begins the names of " + strings.Join(found[:min(len(found), 5)], ", ")}
}

// Notes gives all notes, those that are withdrawn too, in the order of their
// names. After an error it ends.
func (s *Shop) Notes() iter.Seq2[*shop.Note, error] {
	return func(yield func(*shop.Note, error) bool) {
		ids := make([]string, 0, len(s.raw))
		for id := range s.raw {
			ids = append(ids, id)
		}
		slices.Sort(ids)
		for _, id := range ids {
			n, err := s.Note(id)
			if !yield(n, err) || err != nil {
				return
			}
		}
	}
}

// Filed gives the notes that are filed under the key.
func (s *Shop) Filed(key string) ([]*shop.Note, error) {
	var out []*shop.Note
	i, _ := slices.BinarySearchFunc(s.filed, filedKey{key, ""}, compareFiled)
	for ; i < len(s.filed) && s.filed[i].key == key; i++ {
		n, err := s.Note(s.filed[i].note)
		if err != nil {
			return nil, err
		}
		if n == nil {
			return nil, &DamagedError{s.path, "the note " + s.filed[i].note + " is missing", mendShop}
		}
		out = append(out, n)
	}
	return out, nil
}

// SeekFiled gives the first key, under which a note is filed, that is not below
// from.
func (s *Shop) SeekFiled(from string) (key string, ok bool) {
	i, _ := slices.BinarySearchFunc(s.filed, filedKey{from, ""}, compareFiled)
	if i == len(s.filed) {
		return "", false
	}
	return s.filed[i].key, true
}

// eventsAtOnce is how many events are copied while the file is open.
const eventsAtOnce = 500

// Events calls each for everything that happened after the change with the
// number since, as the file holds it by now. An error of each ends it.
func (s *Shop) Events(since int, each func(shop.Event) error) error {
	for {
		var batch []shop.Event
		err := viewShop(s.path, func(f *shopView) error {
			b := f.bucket(changesName)
			for n := since + 1; n <= f.head.Changes && len(batch) < eventsAtOnce; n++ {
				batch = append(batch, readChange(b, n).event)
			}
			return nil
		})
		if err != nil {
			return err
		}
		for _, e := range batch {
			if err := each(e); err != nil {
				return err
			}
			since = e.Number
		}
		if len(batch) < eventsAtOnce {
			return nil
		}
	}
}

// EventsAt gives the events of those numbers.
func (s *Shop) EventsAt(numbers []int) ([]shop.Event, error) {
	out := make([]shop.Event, 0, len(numbers))
	err := viewShop(s.path, func(f *shopView) error {
		b := f.bucket(changesName)
		for _, n := range numbers {
			out = append(out, readChange(b, n).event)
		}
		return nil
	})
	return out, err
}

// Cards gives all cards as the file holds them by now, the oldest first.
func (s *Shop) Cards() ([]*shop.Card, error) {
	var out []*shop.Card
	err := viewShop(s.path, func(f *shopView) error {
		out = nil
		sum := uint64(0)
		c := f.bucket(cardsName).Cursor()
		for k, v := c.First(); k != nil; k, v = c.Next() {
			out = append(out, openCard(k, v))
			sum += uint64(binary.LittleEndian.Uint32(v))
		}
		if len(out) != f.head.Cards || sum != f.head.CardsSum {
			damaged("it holds %d cards, and not the %d that were written", len(out), f.head.Cards)
		}
		return nil
	})
	return out, err
}

// Card gives the card of that number as the file holds it by now. The error is a
// [*shop.UnknownError] if there is none.
func (s *Shop) Card(number int) (c *shop.Card, err error) {
	err = viewShop(s.path, func(f *shopView) (err error) {
		c, err = cardIn(f.bucket(cardsName), f.head, number)
		return err
	})
	return c, err
}

func cardIn(b *bolt.Bucket, h shopHead, number int) (*shop.Card, error) {
	if number < 1 || number > h.Cards {
		return nil, &shop.UnknownError{What: "card", Name: fmt.Sprint(number), Mend: "platewright card list names them"}
	}
	key := numberKey(number)
	return openCard(key, b.Get(key)), nil
}

func openCard(key, value []byte) *shop.Card {
	c := &shop.Card{}
	if err := json.Unmarshal(openRecord(cardsName, key, value), c); err != nil {
		damaged("a card cannot be read: %v", err)
	}
	return c
}

func numberKey(n int) []byte { return binary.BigEndian.AppendUint64(nil, uint64(n)) }

type readEvent struct {
	event  shop.Event
	record changeRecord
}

// readChange reads a change and demands that its digest follows from it.
func readChange(b *bolt.Bucket, n int) readEvent {
	key := numberKey(n)
	var r readEvent
	if err := json.Unmarshal(openRecord(changesName, key, b.Get(key)), &r.record); err != nil {
		damaged("the change %d cannot be read: %v", n, err)
	}
	if chain(r.record.Before, digestOf(r.record.Event)) != r.record.Digest {
		damaged("the digest of the change %d is wrong", n)
	}
	if err := json.Unmarshal(r.record.Event, &r.event); err != nil {
		damaged("the change %d cannot be read: %v", n, err)
	}
	if r.event.Number != n {
		damaged("the change %d says that it is change %d", n, r.event.Number)
	}
	return r
}

// ShopOptions say who changes the shop's records, and when.
type ShopOptions struct {
	Now     time.Time
	Program string // program and version
}

// ShopTx is one change of the shop's records while it is being made. It reads as
// [Shop] does, with what it has itself done so far.
type ShopTx struct {
	*Shop
	tx   *bolt.Tx
	file *os.File
	opts ShopOptions
	op   string
	done []shop.Event
}

// ChangeShop changes the shop's records in the folder dir: what do appends is
// written in one transaction, and is on the disk when ChangeShop returns without
// an error; if do returns an error, nothing is. Where there are no records yet
// they are begun. The events are given as they were kept. The errors are those
// of [ReadShop], of do, an [*UncertainError], or of the file system.
func ChangeShop(ctx context.Context, dir string, opts ShopOptions, do func(*ShopTx) error) (_ []shop.Event, err error) {
	path := filepath.Join(dir, shopFile)
	// Everything that bbolt takes as sound is read beforehand, since a damaged
	// list of free pages would have it write over pages in use.
	err = viewShop(path, func(f *shopView) error { return f.writable() })
	var missing *MissingError
	if errors.As(err, &missing) {
		err = beginShop(ctx, dir, opts.Program)
	}
	if err != nil {
		return nil, err
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	id := make([]byte, 12)
	_, _ = rand.Read(id) // it never fails
	w := &ShopTx{opts: opts, op: hex.EncodeToString(id)}
	err = w.run(path, do)
	var uncertain *UncertainError
	if errors.As(err, &uncertain) {
		uncertain.Seen = w.seen(path)
	}
	if err != nil {
		return nil, err
	}
	return w.done, nil
}

// writable checks what a change takes as sound.
func (f *shopView) writable() error {
	if int64(f.meta.pages)*int64(f.meta.pageSize) <= wholeCheck {
		if err := checkPages(f.file, f.meta); err != nil {
			damaged("%v", err)
		}
		return nil
	}
	for _, name := range []string{headBucket, changesName, notesName, cardsName} {
		f.bucket(name)
	}
	if f.meta.freelist == noFreelist {
		return nil
	}
	if err := newPageFile(f.file, f.meta).free(); err != nil {
		damaged("%v", err)
	}
	return nil
}

func (w *ShopTx) run(path string, do func(*ShopTx) error) (err error) {
	defer shopGuard(path, debug.SetPanicOnFault(true), &err)
	db, err := openShop(path, false, &w.file)
	if err != nil {
		return err
	}
	db.AllocSize = 256 << 10
	defer func() {
		if cerr := db.Close(); cerr != nil && err == nil {
			err = &UncertainError{Path: path, Err: cerr}
		}
	}()
	f := &shopView{path: path, file: w.file}
	if err := f.whole(); err != nil {
		return err
	}
	tx, err := db.Begin(true)
	if err != nil {
		return err
	}
	open := true
	defer func() {
		if open {
			_ = tx.Rollback() // nothing of it was written
		}
	}()
	f.tx, w.tx = tx, tx
	if err := f.readHead(); err != nil {
		return err
	}
	for _, name := range []string{changesName, cardsName} {
		f.bucket(name) // its branch pages form a tree; what this change adds is bbolt's own
	}
	if w.Shop, err = f.load(); err != nil {
		return err
	}
	if err := do(w); err != nil {
		return err
	}
	if len(w.done) == 0 {
		return nil
	}
	w.head.Program = w.opts.Program
	text, err := json.Marshal(w.head)
	if err != nil {
		return err
	}
	if err := tx.Bucket([]byte(headBucket)).Put([]byte(shopKey), sealRecord(headBucket, []byte(shopKey), text)); err != nil {
		return err
	}
	open = false
	if err := tx.Commit(); err != nil {
		_ = tx.Rollback() // where Commit has not done so itself; it then says only that
		return &UncertainError{Path: path, Err: err}
	}
	return nil
}

// seen tells whether a change whose completion failed can be read.
func (w *ShopTx) seen(path string) bool {
	found := false
	err := viewShop(path, func(f *shopView) error {
		for _, e := range w.done {
			found = e.Number <= f.head.Changes && readChange(f.bucket(changesName), e.Number).event.Op == w.op
		}
		return nil
	})
	return err == nil && found
}

// Card gives the card of that number with what was done so far.
func (w *ShopTx) Card(number int) (*shop.Card, error) {
	return cardIn(w.tx.Bucket([]byte(cardsName)), w.head, number)
}

// Cards gives all cards with what was done so far, the oldest first.
func (w *ShopTx) Cards() ([]*shop.Card, error) {
	var out []*shop.Card
	c := w.tx.Bucket([]byte(cardsName)).Cursor()
	for k, v := c.First(); k != nil; k, v = c.Next() {
		out = append(out, openCard(k, v))
	}
	return out, nil
}

// EventsAt gives the events of those numbers.
func (w *ShopTx) EventsAt(numbers []int) ([]shop.Event, error) {
	b, out := w.tx.Bucket([]byte(changesName)), make([]shop.Event, 0, len(numbers))
	for _, n := range numbers {
		out = append(out, readChange(b, n).event)
	}
	return out, nil
}

// Events calls each for everything that happened after the change with the
// number since.
func (w *ShopTx) Events(since int, each func(shop.Event) error) error {
	b := w.tx.Bucket([]byte(changesName))
	for n := since + 1; n <= w.head.Changes; n++ {
		if err := each(readChange(b, n).event); err != nil {
			return err
		}
	}
	return nil
}

// NextCard is the number that a new card gets.
func (w *ShopTx) NextCard() int { return w.head.Cards + 1 }

// Append adds an event to the history and makes what it says true. Number, time,
// operation and revision are set here.
func (w *ShopTx) Append(e shop.Event) (shop.Event, error) {
	e.Number, e.At, e.Op = w.head.Changes+1, w.opts.Now.UTC(), w.op
	var put func() error
	switch {
	case e.Note != "":
		before, err := w.Note(e.Note)
		if err != nil {
			return e, err
		}
		e.Revision = 1
		if before != nil {
			e.Revision = before.Revision + 1
		}
		after, err := shop.ApplyNote(before, e)
		if err != nil {
			return e, err
		}
		put = func() error { return w.putNote(before, after) }
	case e.Card != 0:
		var before *shop.Card
		e.Revision = 1
		if e.Card <= w.head.Cards {
			var err error
			if before, err = w.Card(e.Card); err != nil {
				return e, err
			}
			e.Revision = before.Revision + 1
		} else if e.Card != w.NextCard() {
			return e, &shop.UnknownError{What: "card", Name: fmt.Sprint(e.Card), Mend: "platewright card list names them"}
		}
		after, err := shop.ApplyCard(before, e)
		if err != nil {
			return e, err
		}
		put = func() error { return w.putCard(after) }
	default:
		rules, err := shop.ApplyRules(e)
		if err != nil {
			return e, err
		}
		put = func() error { w.head.Rules = rules; return nil }
	}
	text, err := json.Marshal(e)
	if err != nil {
		return e, err
	}
	r := changeRecord{Event: text, Before: w.head.Digest, Digest: chain(w.head.Digest, digestOf(text))}
	record, err := json.Marshal(r)
	if err != nil {
		return e, err
	}
	b := w.tx.Bucket([]byte(changesName))
	b.FillPercent = 1 // nothing is ever put between
	key := numberKey(e.Number)
	if err := errors.Join(b.Put(key, sealRecord(changesName, key, record)), put()); err != nil {
		return e, err
	}
	w.head.Changes, w.head.Digest = e.Number, r.Digest
	w.done = append(w.done, e)
	return e, nil
}

func (w *ShopTx) putNote(before, after *shop.Note) error {
	text, err := json.Marshal(after)
	if err != nil {
		return err
	}
	id, keys := after.ID, after.Keys()
	record := sealNote(id, keys, text)
	if err := w.tx.Bucket([]byte(notesName)).Put([]byte(id), record); err != nil {
		return err
	}
	if before != nil {
		for _, k := range before.Keys() {
			if i, ok := slices.BinarySearchFunc(w.filed, filedKey{k, id}, compareFiled); ok {
				w.filed = slices.Delete(w.filed, i, i+1)
			}
		}
	} else {
		w.head.Notes++
	}
	for _, k := range keys {
		i, _ := slices.BinarySearchFunc(w.filed, filedKey{k, id}, compareFiled)
		w.filed = slices.Insert(w.filed, i, filedKey{k, id})
	}
	sum := binary.LittleEndian.Uint32(record)
	w.head.NotesSum += uint64(sum) - uint64(w.sums[id])
	w.mu.Lock()
	defer w.mu.Unlock()
	w.raw[id], w.sums[id], w.notes[id] = text, sum, after
	return nil
}

func (w *ShopTx) putCard(after *shop.Card) error {
	text, err := json.Marshal(after)
	if err != nil {
		return err
	}
	b, key := w.tx.Bucket([]byte(cardsName)), numberKey(after.Number)
	if old := b.Get(key); old != nil {
		w.head.CardsSum -= uint64(binary.LittleEndian.Uint32(old))
	} else {
		w.head.Cards++
	}
	record := sealRecord(cardsName, key, text)
	w.head.CardsSum += uint64(binary.LittleEndian.Uint32(record))
	return b.Put(key, record)
}

// beginShop makes an empty file of records beside the place and renames it
// there, unless another process has done so meanwhile.
func beginShop(ctx context.Context, dir, program string) (err error) {
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return err
	}
	lock, err := lockFile(ctx, filepath.Join(dir, shopLock), shopWait, shopInUse{})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, lock.release()) }()
	entries, err := os.ReadDir(dir)
	if err != nil {
		return err
	}
	for _, e := range entries {
		if e.Name() == shopFile {
			return nil
		}
		if strings.HasPrefix(e.Name(), shopNew) {
			if err := os.Remove(filepath.Join(dir, e.Name())); err != nil {
				return fmt.Errorf("remove what an interrupted beginning left: %w", err)
			}
		}
	}
	id := make([]byte, 6)
	_, _ = rand.Read(id) // it never fails
	fresh := filepath.Join(dir, shopNew+hex.EncodeToString(id))
	defer func() { err = errors.Join(err, removeIfThere(fresh)) }()
	w, err := createFile(fresh)
	if err != nil {
		return err
	}
	for _, name := range []string{changesName, notesName, cardsName} {
		if _, err := w.bucket(name); err != nil {
			return errors.Join(err, w.abandon())
		}
	}
	head, err := json.Marshal(shopHead{Format: shopFormat, Fold: catalog.FoldVersion, Program: program, Rules: shop.Rules{Trusted: []string{}}})
	if err != nil {
		return errors.Join(err, w.abandon())
	}
	if err := w.finishAs(shopKey, sealRecord(headBucket, []byte(shopKey), head)); err != nil {
		return err
	}
	if err := os.Rename(fresh, filepath.Join(dir, shopFile)); err != nil {
		return fmt.Errorf("begin the shop's records: %w", err)
	}
	return syncDir(dir)
}

// ShopReport is what a whole check of the shop's records has found: everything
// sound, else there is an error instead.
type ShopReport struct {
	Path    string
	Size    int64
	Changes int
	Notes   int
	Cards   int
}

// CheckShop reads the shop's records whole and proves them sound: the tree of
// pages, the checksum of every record, the chain of digests, and that what is
// kept of notes, cards and rules is what the changes make of them.
func CheckShop(dir string) (ShopReport, error) { return checkShop(filepath.Join(dir, shopFile)) }

// BackupShop writes a checked copy of the shop's records to path. A file that is
// there already is replaced only once the copy is complete.
func BackupShop(dir, path string) (rep ShopReport, err error) {
	f, err := os.CreateTemp(filepath.Dir(path), filepath.Base(path)+".new-*")
	if err != nil {
		return rep, err
	}
	tmp := f.Name()
	defer func() {
		if err != nil {
			err = errors.Join(err, removeIfThere(tmp))
		}
	}()
	err = viewShop(filepath.Join(dir, shopFile), func(v *shopView) error {
		_, err := v.tx.WriteTo(f)
		return err
	})
	if err := errors.Join(err, f.Sync(), f.Close()); err != nil {
		return rep, fmt.Errorf("write the backup: %w", err)
	}
	if rep, err = checkShop(tmp); err != nil {
		return rep, fmt.Errorf("check the backup: %w", err)
	}
	if err := os.Rename(tmp, path); err != nil {
		return rep, fmt.Errorf("put the backup in place: %w", err)
	}
	rep.Path = path
	return rep, syncDir(filepath.Dir(path))
}

func checkShop(path string) (rep ShopReport, err error) {
	err = viewShop(path, func(f *shopView) error {
		if err := checkPages(f.file, f.meta); err != nil {
			damaged("%v", err)
		}
		s, err := f.load()
		if err != nil {
			return err
		}
		notes, cards, rules := map[string]*shop.Note{}, map[int]*shop.Card{}, shop.Rules{Trusted: []string{}}
		b := f.bucket(changesName)
		before := digest("")
		for n := 1; n <= f.head.Changes; n++ {
			r := readChange(b, n)
			if r.record.Before != before {
				damaged("the change %d does not follow the one before", n)
			}
			before = r.record.Digest
			switch e := r.event; {
			case e.Note != "":
				if notes[e.Note], err = shop.ApplyNote(notes[e.Note], e); err != nil {
					return f.broken(err)
				}
			case e.Card != 0:
				if cards[e.Card], err = shop.ApplyCard(cards[e.Card], e); err != nil {
					return f.broken(err)
				}
			default:
				if rules, err = shop.ApplyRules(e); err != nil {
					return f.broken(err)
				}
			}
		}
		if k, _ := b.Cursor().Last(); before != f.head.Digest || k != nil && !bytes.Equal(k, numberKey(f.head.Changes)) {
			damaged("the last change is not the one that was written last")
		}
		if len(notes) != len(s.raw) {
			damaged("the changes make %d notes, and %d are kept", len(notes), len(s.raw))
		}
		for id, n := range notes {
			text, err := json.Marshal(n)
			if err != nil {
				return err
			}
			keys, kept := openNote(openRecord(notesName, []byte(id), f.bucket(notesName).Get([]byte(id))))
			if !bytes.Equal(text, kept) || !slices.Equal(keys, n.Keys()) {
				damaged("the note %s is not what the changes make of it", id)
			}
		}
		sum := uint64(0)
		for number, c := range cards {
			text, err := json.Marshal(c)
			if err != nil {
				return err
			}
			key := numberKey(number)
			value := f.bucket(cardsName).Get(key)
			if !bytes.Equal(text, openRecord(cardsName, key, value)) {
				damaged("the card %d is not what the changes make of it", number)
			}
			sum += uint64(binary.LittleEndian.Uint32(value))
		}
		if len(cards) != f.head.Cards || sum != f.head.CardsSum {
			damaged("the changes make %d cards, and %d are kept", len(cards), f.head.Cards)
		}
		if x, y := fmt.Sprint(rules), fmt.Sprint(f.head.Rules); x != y {
			damaged("the rules are not what the changes make of them")
		}
		st, err := f.file.Stat()
		if err != nil {
			return err
		}
		rep = ShopReport{Path: path, Size: st.Size(), Changes: f.head.Changes, Notes: len(notes), Cards: len(cards)}
		return nil
	})
	return rep, err
}

func (f *shopView) broken(err error) error {
	return &DamagedError{f.path, err.Error(), mendShop}
}
