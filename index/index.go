package index

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"
	"unsafe"

	"github.com/blevesearch/mmap-go"
	segment "github.com/blevesearch/scorch_segment_api/v2"
	"github.com/blevesearch/vellum/levenshtein"
	zap "github.com/blevesearch/zapx/v17"

	"platewright/catalog"
)

// formatVersion numbers the form of the files. It is part of their folder's
// name, so that programs of two versions do not undo each other's work.
const formatVersion = 1

// Options say where an index is kept and what it must cover.
type Options struct {
	Dir     string // the folder of the catalogue; "" to keep nothing
	Edition int    // the edition that is read
	Digest  string // of the edition
	Notes   Notes  // the shop's notes, nil for none
	// Wait is how long to wait for another process that builds the same index.
	// After that the catalogue is read through without one.
	Wait time.Duration
	// Progress is told how far the building is, if it is not nil.
	Progress func(stage string, done int)
}

// Index answers queries about one edition of a catalogue and the shop's notes.
// It is for one goroutine at a time.
type Index struct {
	reader   Reader
	notes    Notes
	look     *lookup
	stem     *stemmer
	synonyms *synonyms
	layouts  []string
	shelves  []*shelf          // the catalogue, the notes, the notes changed since
	masked   []map[string]bool // by shelf: keys that a later shelf has anew
	state    State
	options  Options
	scores   []*scores
	hold     []float32      // by weighted length, how far it holds a document's words back
	counts   map[string]int // documents that hold a term
	groups   map[string][]catalog.Row
	spelling [3]*levenshtein.LevenshteinAutomatonBuilder // by the number of typing errors; made when a query needs it
}

// mostPending is how many changed notes are read beside the index before it is
// brought up to date. Reading one takes some 20 µs.
const mostPending = 300

// Open opens the index of a catalogue. One that is missing, of another edition,
// damaged or made by other rules is built anew, beside what is there, and put
// in its place by a rename; what cannot be kept (a folder that cannot be
// written, another process that takes too long) is answered from memory. The
// index never is the reason why a search fails: the errors are those of reading
// the catalogue, and of a context that ended.
func Open(ctx context.Context, r Reader, o Options) (*Index, error) {
	x, err := openAll(ctx, r, o)
	var damaged *damagedError
	if errors.As(err, &damaged) {
		return damaged.mend(ctx, r, o)
	}
	return x, err
}

func openAll(ctx context.Context, r Reader, o Options) (*Index, error) {
	x := &Index{reader: r, notes: o.Notes, look: newLookup(r), stem: newStemmer(), options: o, counts: map[string]int{}, groups: map[string][]catalog.Row{}}
	x.state = State{How: FromIndex, Edition: o.Edition}
	ok := false
	defer func() {
		if !ok {
			x.Close()
		}
	}()
	var err error
	if x.synonyms, err = readSynonyms(r, x.stem); err != nil {
		return nil, err
	}
	for row, err := range r.Rows(catalog.TableByName(catalog.TLayouts)) {
		if err != nil {
			return nil, err
		}
		x.layouts = append(x.layouts, catalog.Fold(row.(*catalog.Layout).Layout))
	}
	step := func(stage string, n int) error {
		if o.Progress != nil {
			o.Progress(stage, n)
		}
		return ctx.Err()
	}
	want := stamp{Format: formatVersion, Analysis: analysisVersion, Fold: catalog.FoldVersion, Of: "catalogue", Edition: o.Edition, Digest: o.Digest}
	s, err := x.ensure(ctx, o, want, func() (*built, error) { return buildCatalogue(r, step) })
	if err != nil {
		return nil, err
	}
	x.shelves, x.masked = append(x.shelves, s), append(x.masked, nil)
	x.state.Docs = s.Docs
	if o.Notes != nil {
		if err := x.openNotes(ctx, o, want, step); err != nil {
			return nil, err
		}
	}
	ok = true
	return x, nil
}

// openNotes opens the index of the shop's notes, and reads those that changed
// since it was made, so that saving a note never waits for it.
func (x *Index) openNotes(ctx context.Context, o Options, want stamp, step func(string, int) error) error {
	now, err := o.Notes.Change()
	if err != nil {
		return err
	}
	x.state.Change = now
	build := func(since, most int) (*built, map[string]bool, error) {
		b, keys, n := newBuilder(), map[string]bool{}, 0
		err := o.Notes.Since(since, func(note Note) error {
			if n++; n > most {
				return errTooMany
			}
			d, err := noteDocument(x.look, note, x.partLinks)
			if err != nil {
				return err
			}
			keys[note.ID] = true
			if n%256 == 0 {
				if err := step("notes", n); err != nil {
					return err
				}
			}
			return b.add(d)
		})
		if err != nil {
			return nil, nil, err
		}
		out, err := b.finish()
		return out, keys, err
	}
	want.Of, want.Change = "notes", now
	// An index of fewer notes will do if what it lacks is soon read.
	s, made, err := openLatest(o.Dir, want)
	if err == nil {
		pending, keys, err := build(made, mostPending)
		switch {
		case err == nil:
			x.shelves, x.masked = append(x.shelves, s), append(x.masked, keys)
			x.state.Docs += s.Docs
			x.state.Notes = len(keys)
			if len(keys) == 0 {
				return nil
			}
			return x.addMemory(pending)
		case !errors.Is(err, errTooMany):
			return errors.Join(err, s.close())
		}
		if err := s.close(); err != nil {
			return err
		}
	}
	s, err = x.ensure(ctx, o, want, func() (*built, error) {
		out, _, err := build(0, int(^uint(0)>>1))
		return out, err
	})
	if err != nil {
		return err
	}
	x.shelves, x.masked = append(x.shelves, s), append(x.masked, nil)
	x.state.Docs += s.Docs
	return nil
}

var errTooMany = errors.New("too many notes changed")

func (x *Index) addMemory(b *built) error {
	s, err := memoryShelf(b)
	if err != nil {
		return err
	}
	x.shelves, x.masked = append(x.shelves, s), append(x.masked, nil)
	return nil
}

// Close frees what the index holds. It does not close the catalogue.
func (x *Index) Close() error {
	var err error
	for _, s := range x.shelves {
		err = errors.Join(err, s.close())
	}
	x.shelves = nil
	return err
}

// State says what answers.
func (x *Index) State() State { return x.state }

// stamp is written last into an index: what it covers, by which rules it was
// made, and check sums of its files.
type stamp struct {
	Format   int          `json:"format"`
	Analysis int          `json:"analysis"`
	Fold     int          `json:"fold"`
	Of       string       `json:"of"` // catalogue or notes
	Edition  int          `json:"edition"`
	Digest   string       `json:"digest"`
	Change   int          `json:"change"`
	Stat     stat         `json:"stat"`
	Segment  segmentParts `json:"segment"`
	Files    []fileSum    `json:"files"`
}

type segmentParts struct {
	Docs     uint64 `json:"docs"`
	Chunk    uint32 `json:"chunk"`
	Stored   uint64 `json:"stored"`
	Sections uint64 `json:"sections"`
	Bytes    int    `json:"bytes"`
}

type fileSum struct {
	Name string `json:"name"`
	Size int    `json:"size"`
	Sum  uint32 `json:"sum"` // CRC-32C
}

const (
	folderName  = "search"
	stampName   = "stamp.json"
	segmentName = "segment.zap"
	docsName    = "docs.bin"
	wordsName   = "words.fst"
	numbersName = "numbers.txt"
	stockName   = "stock.bloom"
	newPrefix   = "new-"
)

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// prefix begins the names of the folders of all indexes of this form that cover
// the same thing.
func (w stamp) prefix() string {
	return fmt.Sprintf("%s-%d.%d.%d-", w.Of, w.Format, w.Analysis, w.Fold)
}

// base is the folder's name without the number of a change.
func (w stamp) base() string {
	sum := sha256.Sum256([]byte(w.Digest))
	return w.prefix() + fmt.Sprintf("%d-%s", w.Edition, hex.EncodeToString(sum[:6]))
}

func (w stamp) folder() string {
	if w.Of == "notes" {
		return fmt.Sprintf("%s-%016d", w.base(), w.Change)
	}
	return w.base()
}

var errMissing = errors.New("there was none yet")

// openFolder opens the index in a folder, after checking every byte of it.
func openFolder(dir string, want stamp) (_ *shelf, change int, err error) {
	text, err := os.ReadFile(filepath.Join(dir, stampName))
	if errors.Is(err, fs.ErrNotExist) {
		if _, err := os.Stat(dir); err == nil {
			return nil, 0, errors.New("it was not finished")
		}
		return nil, 0, errMissing
	}
	if err != nil {
		return nil, 0, err
	}
	sum, body, _ := strings.Cut(string(text), "\n")
	if sum != fmt.Sprintf("%08x", crc32.Checksum([]byte(body), castagnoli)) {
		return nil, 0, errors.New("its stamp is damaged")
	}
	var st stamp
	if err := json.Unmarshal([]byte(body), &st); err != nil {
		return nil, 0, fmt.Errorf("its stamp is damaged: %w", err)
	}
	if st.Format != want.Format || st.Analysis != want.Analysis || st.Fold != want.Fold {
		return nil, 0, errors.New("it was made by another version of the program")
	}
	if st.Of != want.Of || st.Edition != want.Edition || st.Digest != want.Digest {
		return nil, 0, errors.New("it covers something else")
	}
	s := &shelf{stat: st.Stat, looked: map[string][]numberHit{}, dir: dir}
	s.close = func() error {
		var err error
		for _, m := range s.maps {
			err = errors.Join(err, m.Unmap())
		}
		s.maps = nil
		return err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, s.close())
		}
	}()
	// Each file is read through once in small pieces for its check sum, and then
	// mapped: of most pages an answer needs none, and fresh memory for all of them
	// would cost more than the answer.
	load := func(name string) ([]byte, error) {
		for _, f := range st.Files {
			if f.Name != name {
				continue
			}
			m, err := f.load(filepath.Join(dir, name))
			if m != nil {
				s.maps = append(s.maps, m)
			}
			return m, err
		}
		return nil, fmt.Errorf("its file %s is missing", name)
	}
	if s.docs, err = load(docsName); err != nil {
		return nil, 0, err
	}
	words, err := load(wordsName)
	if err != nil {
		return nil, 0, err
	}
	if err := s.load(words); err != nil {
		return nil, 0, err
	}
	if s.stock, err = load(stockName); err != nil {
		return nil, 0, err
	}
	if n := len(s.stock); n&(n-1) != 0 {
		return nil, 0, errShelf
	}
	seg, err := load(segmentName)
	if err != nil {
		return nil, 0, err
	}
	if p := st.Segment; p.Docs > 0 {
		if p.Bytes > len(seg) {
			return nil, 0, errShelf
		}
		sb, err := zap.InitSegmentBase(seg[:p.Bytes:p.Bytes], 0, p.Chunk, p.Docs, p.Stored, p.Sections, nil, new(segment.Stats))
		if err != nil {
			return nil, 0, err
		}
		if err := s.take(sb, 0); err != nil {
			return nil, 0, err
		}
	}
	// The numbers are looked at when a query asks for one, and their check sum is
	// compared then; see [Index.Search] for what comes of a difference.
	var list numberList
	s.numbers = func() (numberList, error) {
		if list == nil {
			b, err := load(numbersName)
			if err != nil {
				return nil, &damagedError{dir, err}
			}
			list = b
		}
		return list, nil
	}
	return s, st.Change, s.check()
}

// load checks a file and maps it. It is nil for an empty one.
func (f fileSum) load(path string) (_ mmap.MMap, err error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, file.Close()) }()
	sum := crc32.New(castagnoli)
	n, err := io.CopyBuffer(sum, struct{ io.Reader }{file}, make([]byte, 256<<10))
	if err != nil {
		return nil, err
	}
	if int(n) != f.Size || sum.Sum32() != f.Sum {
		return nil, fmt.Errorf("its file %s is damaged", f.Name)
	}
	if n == 0 {
		return nil, nil
	}
	return mmap.Map(file, mmap.RDONLY, 0)
}

// damagedError says that a part of the index turned out to be damaged while it
// was used.
type damagedError struct {
	dir string
	err error
}

func (e *damagedError) Error() string { return "the search index is damaged: " + e.err.Error() }
func (e *damagedError) Unwrap() error { return e.err }

// folder gives the folder of the index in whose files an address lies.
func (x *Index) folder(addr uintptr) string {
	for _, s := range x.shelves {
		for _, m := range s.maps {
			if from := uintptr(unsafe.Pointer(unsafe.SliceData(m))); addr >= from && addr < from+uintptr(len(m)) {
				return s.dir
			}
		}
	}
	return x.shelves[0].dir
}

// mend opens the index again without what is damaged, so that it is built anew.
func (e *damagedError) mend(ctx context.Context, r Reader, o Options) (*Index, error) {
	if err := os.Remove(filepath.Join(e.dir, stampName)); err != nil && !errors.Is(err, fs.ErrNotExist) {
		o.Dir = "" // it cannot be mended where it is
	}
	x, err := openAll(ctx, r, o)
	if err != nil {
		return nil, err
	}
	x.state.Why = e.err.Error()
	return x, nil
}

// openLatest opens the newest index of the notes that fits, with the change that
// it covers.
func openLatest(dir string, want stamp) (*shelf, int, error) {
	if dir == "" {
		return nil, 0, errMissing
	}
	root := filepath.Join(dir, folderName)
	entries, err := os.ReadDir(root)
	if err != nil {
		return nil, 0, err
	}
	for i := len(entries) - 1; i >= 0; i-- {
		if !strings.HasPrefix(entries[i].Name(), want.base()+"-") {
			continue
		}
		s, change, err := openFolder(filepath.Join(root, entries[i].Name()), want)
		if err == nil && change <= want.Change {
			return s, change, nil
		}
	}
	return nil, 0, errMissing
}

// ensure opens the wanted index, or builds it.
func (x *Index) ensure(ctx context.Context, o Options, want stamp, build func() (*built, error)) (*shelf, error) {
	reading := func(why string) (*shelf, error) {
		b, err := build()
		if err != nil {
			return nil, err
		}
		x.state.How, x.state.Why = FromReading, why
		return memoryShelf(b)
	}
	if o.Dir == "" {
		return reading("")
	}
	root := filepath.Join(o.Dir, folderName)
	path := filepath.Join(root, want.folder())
	s, _, err := openFolder(path, want)
	if err == nil {
		return s, nil
	}
	why := reason(root, want, err)
	if err := os.MkdirAll(root, 0o777); err != nil {
		return reading("the folder of the index cannot be written: " + err.Error())
	}
	lock, err := lockFolder(ctx, root, o.Wait, func() bool {
		s, _, err = openFolder(path, want)
		return err == nil
	})
	switch {
	case errors.Is(err, errReady):
		return s, nil
	case errors.Is(err, errHeld):
		return reading("another process is building the index")
	case ctx.Err() != nil:
		return nil, ctx.Err()
	case err != nil:
		return reading("the folder of the index cannot be written: " + err.Error())
	}
	defer lock.release()
	if s, _, err := openFolder(path, want); err == nil {
		return s, nil // another process was faster
	}
	b, err := build()
	if err != nil {
		return nil, err
	}
	if err := write(root, want, b); err != nil {
		x.state.How, x.state.Why = FromReading, "the index cannot be kept: "+err.Error()
		return memoryShelf(b)
	}
	tidy(root, want)
	if s, _, err = openFolder(path, want); err != nil {
		x.state.How, x.state.Why = FromReading, "the index cannot be read back: "+err.Error()
		return memoryShelf(b)
	}
	x.state.How, x.state.Why = FromRebuilt, why
	return s, nil
}

// reason says why an index is not ready.
func reason(root string, want stamp, err error) string {
	if !errors.Is(err, errMissing) {
		return err.Error()
	}
	entries, _ := os.ReadDir(root)
	for _, e := range entries {
		if strings.HasPrefix(e.Name(), want.prefix()) {
			return "the " + want.Of + " changed"
		}
		if strings.HasPrefix(e.Name(), want.Of+"-") {
			return "it was made by another version of the program"
		}
	}
	return err.Error()
}

// write puts an index beside the others and renames it into its place.
func write(root string, want stamp, b *built) (err error) {
	dir, err := os.MkdirTemp(root, newPrefix)
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			_ = os.RemoveAll(dir) // it would be removed by the next one that builds
		}
	}()
	path := filepath.Join(dir, segmentName)
	if err := b.mergeTo(path); err != nil {
		return err
	}
	if b.stat.Docs > 0 {
		s, err := (&zap.ZapPlugin{}).Open(path)
		if err != nil {
			return err
		}
		z := s.(*zap.Segment)
		want.Segment = segmentParts{z.NumDocs(), z.ChunkMode(), z.StoredIndexOffset(), z.SectionsIndexOffset(), len(z.Data()) - zap.FooterSize}
		if err := z.Close(); err != nil {
			return err
		}
	}
	want.Stat = b.stat
	for _, f := range []struct {
		name string
		data []byte
	}{{segmentName, nil}, {docsName, b.docs}, {wordsName, b.words}, {numbersName, b.numbers}, {stockName, b.stock}} {
		path := filepath.Join(dir, f.name)
		if f.name == segmentName {
			if f.data, err = os.ReadFile(path); err != nil {
				return err
			}
		} else if err := writeFile(path, f.data); err != nil {
			return err
		}
		want.Files = append(want.Files, fileSum{f.name, len(f.data), crc32.Checksum(f.data, castagnoli)})
	}
	body, err := json.Marshal(want)
	if err != nil {
		return err
	}
	if err := writeFile(filepath.Join(dir, stampName), fmt.Appendf(nil, "%08x\n%s", crc32.Checksum(body, castagnoli), body)); err != nil {
		return err
	}
	if err := syncDir(dir); err != nil {
		return err
	}
	to := filepath.Join(root, want.folder())
	if err := os.RemoveAll(to); err != nil { // a damaged one
		return err
	}
	if err := os.Rename(dir, to); err != nil {
		return err
	}
	return syncDir(root)
}

func writeFile(path string, data []byte) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	if err == nil {
		err = f.Sync()
	}
	return errors.Join(err, f.Close())
}

// tidy removes what killed processes left and what the index just made
// replaces. Only the holder of the lock may do it. What cannot be removed, since
// somebody has it open, is left for the next time.
func tidy(root string, made stamp) {
	entries, err := os.ReadDir(root)
	if err != nil {
		return
	}
	for _, e := range entries {
		n := e.Name()
		if n != made.folder() && strings.HasPrefix(n, made.prefix()) || strings.HasPrefix(n, newPrefix) {
			_ = os.RemoveAll(filepath.Join(root, n))
		}
	}
}
