package store

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/fnv"
	"io"
	"os"
)

// This file reads the pages of a bbolt file with plain reads, without a memory
// map: before bbolt maps the file, to see that it is whole; and the tree of
// pages, since bbolt takes it as sound and a flipped page number can send it in
// a circle or behind the end of the map, which no recover catches. The format
// is bbolt's version 2.

const (
	boltMagic   = 0xED0CDAED
	boltVersion = 2

	pageHeader = 16
	elemSize   = 16
	metaSize   = 64

	flagBranch   = 0x01
	flagLeaf     = 0x02
	flagMeta     = 0x04
	flagFreelist = 0x10

	flagBucket = 0x01 // of a leaf element: its value is a bucket

	noFreelist = ^uint64(0)
)

var order = binary.NativeEndian // as bbolt writes it

type meta struct {
	pageSize uint32
	root     uint64 // page of the root bucket
	freelist uint64
	pages    uint64 // the high-water mark
	txid     uint64
	both     bool // the other head page is sound too
}

// readMeta gives the newer of the two sound meta pages. The errors are
// *NotOursError and *DamagedError.
func readMeta(r io.ReaderAt, size int64, path string) (meta, error) {
	if size == 0 {
		return meta{}, &NotOursError{path, "the file is empty", mendDamaged}
	}
	page := func(off int64) (meta, bool) {
		b := make([]byte, pageHeader+metaSize)
		if _, err := r.ReadAt(b, off); err != nil {
			return meta{}, false
		}
		b = b[pageHeader:]
		sum := fnv.New64a()
		_, _ = sum.Write(b[:56])
		if order.Uint32(b) != boltMagic || order.Uint32(b[4:]) != boltVersion || order.Uint64(b[56:]) != sum.Sum64() {
			return meta{}, false
		}
		return meta{order.Uint32(b[8:]), order.Uint64(b[16:]), order.Uint64(b[32:]), order.Uint64(b[40:]), order.Uint64(b[48:]), false}, true
	}
	a, okA := page(0)
	// Where the first page is not sound, the second can start at any of the
	// page sizes.
	var b meta
	okB := false
	if okA {
		b, okB = page(int64(a.pageSize))
	} else {
		for shift := 0; shift <= 15 && !okB; shift++ {
			at := int64(1024) << shift
			b, okB = page(at)
			okB = okB && int64(b.pageSize) == at
		}
	}
	switch {
	case !okA && !okB:
		head := make([]byte, pageHeader+8)
		n, err := r.ReadAt(head, 0)
		if err != nil && !errors.Is(err, io.EOF) {
			return meta{}, fmt.Errorf("read %s: %w", path, err)
		}
		if n == len(head) && (order.Uint32(head[pageHeader:]) == boltMagic || bytes.Equal(head[:pageHeader], []byte{8: flagMeta, 15: 0})) {
			return meta{}, &DamagedError{path, "neither of its two head pages is sound", mendDamaged}
		}
		if size > 2*pageSize && secondMagic(r) {
			return meta{}, &DamagedError{path, "neither of its two head pages is sound", mendDamaged}
		}
		return meta{}, &NotOursError{path, "it is a file of another kind, or only the beginning of a catalogue", mendNotOurs}
	case okB && (!okA || b.txid > a.txid):
		a = b
	}
	a.both = okA && okB
	if a.pageSize < 512 || a.pageSize&(a.pageSize-1) != 0 || a.root >= a.pages || a.freelist >= a.pages && a.freelist != noFreelist {
		return meta{}, &DamagedError{path, "its head page contradicts itself", mendDamaged}
	}
	if want := int64(a.pages) * int64(a.pageSize); size < want {
		return meta{}, &DamagedError{path, fmt.Sprintf("it is cut short: %d bytes of %d", size, want), mendDamaged}
	}
	return a, nil
}

func secondMagic(r io.ReaderAt) bool {
	b := make([]byte, 4)
	_, err := r.ReadAt(b, pageSize+pageHeader)
	return err == nil && order.Uint32(b) == boltMagic
}

// pageFile reads the pages of a file.
type pageFile struct {
	r    io.ReaderAt
	meta meta
	seen []uint64 // bit per page: reached already
	buf  [][]byte // one page buffer for each level
}

func newPageFile(r io.ReaderAt, m meta) *pageFile {
	return &pageFile{r: r, meta: m, seen: make([]uint64, m.pages/64+1)}
}

// read reads a page without its overflow into the buffer of that level.
func (p *pageFile) read(id uint64, level int) ([]byte, error) {
	if id < 2 || id >= p.meta.pages {
		return nil, fmt.Errorf("page %d is outside of the file", id)
	}
	for len(p.buf) <= level {
		p.buf = append(p.buf, make([]byte, p.meta.pageSize))
	}
	b := p.buf[level]
	if _, err := p.r.ReadAt(b, int64(id)*int64(len(b))); err != nil {
		return nil, fmt.Errorf("read page %d: %w", id, err)
	}
	return b, nil
}

// page reads a page with its overflow, where it has none into the buffer of
// that level.
func (p *pageFile) page(id uint64, level int) ([]byte, error) {
	b, err := p.read(id, level)
	if err != nil {
		return nil, err
	}
	size := len(b)
	if got := order.Uint64(b); got != id {
		return nil, fmt.Errorf("page %d says that it is page %d", id, got)
	}
	if over := uint64(order.Uint32(b[12:])); over > 0 {
		if over >= p.meta.pages-id {
			return nil, fmt.Errorf("page %d ends outside of the file", id)
		}
		b = make([]byte, int(over+1)*size)
		if _, err := p.r.ReadAt(b, int64(id)*int64(size)); err != nil {
			return nil, fmt.Errorf("read page %d: %w", id, err)
		}
	}
	for i := id; i < id+uint64(len(b)/size); i++ {
		if !p.mark(i) {
			return nil, fmt.Errorf("page %d is used twice", i)
		}
	}
	return b, nil
}

func (p *pageFile) mark(id uint64) bool {
	w, bit := id/64, uint64(1)<<(id%64)
	if p.seen[w]&bit != 0 {
		return false
	}
	p.seen[w] |= bit
	return true
}

type leafElem struct {
	key, value []byte
	bucket     bool
}

func leafAt(b []byte, i int) (leafElem, error) {
	at := pageHeader + i*elemSize
	e := b[at:]
	pos, ks, vs := uint64(order.Uint32(e[4:])), uint64(order.Uint32(e[8:])), uint64(order.Uint32(e[12:]))
	if uint64(at)+pos+ks+vs > uint64(len(b)) {
		return leafElem{}, errors.New("an entry ends outside of its page")
	}
	kv := e[pos : pos+ks+vs]
	return leafElem{kv[:ks], kv[ks:], order.Uint32(e)&flagBucket != 0}, nil
}

func branchAt(b []byte, i int) (key []byte, child uint64, err error) {
	at := pageHeader + i*elemSize
	e := b[at:]
	pos, ks := uint64(order.Uint32(e)), uint64(order.Uint32(e[4:]))
	if uint64(at)+pos+ks > uint64(len(b)) {
		return nil, 0, errors.New("a key ends outside of its page")
	}
	return e[pos : pos+ks], order.Uint64(e[8:]), nil
}

// elements gives kind and number of the elements of a page, whose headers then
// lie inside of it.
func elements(b []byte) (flags uint16, n int, err error) {
	flags, n = order.Uint16(b[8:]), int(order.Uint16(b[10:]))
	if flags != flagBranch && flags != flagLeaf {
		return 0, 0, fmt.Errorf("a page is of no kind that belongs there (%#x)", flags)
	}
	if pageHeader+n*elemSize > len(b) {
		return 0, 0, errors.New("a page has more entries than room")
	}
	if flags == flagBranch && n == 0 {
		return 0, 0, errors.New("a branch page is empty")
	}
	return flags, n, nil
}

// walk reads the whole tree of pages under root and reports the first thing
// wrong with it: every page once, elements inside, keys ascending and within
// the keys of their branch, all leaves at one depth.
func (p *pageFile) walk(root uint64) error {
	leafLevel := -1
	return p.tree(root, 0, &leafLevel, nil, nil)
}

func (p *pageFile) tree(id uint64, level int, leafLevel *int, from, to []byte) error {
	if level > 60 {
		return errors.New("the pages lead in a circle")
	}
	b, err := p.page(id, level)
	if err != nil {
		return err
	}
	flags, n, err := elements(b)
	if err != nil {
		return fmt.Errorf("page %d: %w", id, err)
	}
	if flags == flagLeaf {
		if *leafLevel < 0 {
			*leafLevel = level
		}
		if *leafLevel != level {
			return fmt.Errorf("page %d hangs at the wrong depth", id)
		}
		if err := p.leaf(b, n, level, from, to); err != nil {
			return fmt.Errorf("page %d: %w", id, err)
		}
		return nil
	}
	// The page's buffer stays as it is while deeper levels are read.
	prev := from
	for i := range n {
		key, child, err := branchAt(b, i)
		if err != nil {
			return fmt.Errorf("page %d: %w", id, err)
		}
		if c := bytes.Compare(prev, key); i == 0 && c > 0 && prev != nil || i > 0 && c >= 0 || to != nil && bytes.Compare(key, to) >= 0 {
			return fmt.Errorf("page %d: its keys are out of order", id)
		}
		end := to
		if i+1 < n {
			if end, _, err = branchAt(b, i+1); err != nil {
				return fmt.Errorf("page %d: %w", id, err)
			}
		}
		if err := p.tree(child, level+1, leafLevel, key, end); err != nil {
			return err
		}
		prev = key
	}
	return nil
}

func (p *pageFile) leaf(b []byte, n, level int, from, to []byte) error {
	prev := from
	for i := range n {
		e, err := leafAt(b, i)
		if err != nil {
			return err
		}
		if c := bytes.Compare(prev, e.key); i == 0 && prev != nil && c > 0 || i > 0 && c >= 0 || to != nil && bytes.Compare(e.key, to) >= 0 {
			return errors.New("its keys are out of order")
		}
		prev = e.key
		if !e.bucket {
			continue
		}
		if len(e.value) < 16 {
			return errors.New("a bucket has no root")
		}
		if root := order.Uint64(e.value); root != 0 {
			// The value lies in the buffer of this level; deeper ones are others.
			leafLevel := -1
			if err := p.tree(root, level+1, &leafLevel, nil, nil); err != nil {
				return err
			}
			continue
		}
		inline := e.value[16:]
		if len(inline) < pageHeader {
			return errors.New("a small bucket is cut short")
		}
		// bbolt reads an inline page in place, its id is 0.
		flags, m, err := elements(inline)
		if err != nil {
			return err
		}
		if flags != flagLeaf || order.Uint32(inline[12:]) != 0 {
			return errors.New("a small bucket is no leaf")
		}
		if err := p.leaf(inline, m, level, nil, nil); err != nil {
			return err
		}
	}
	return nil
}

// skeleton reads the branch pages under root and demands that they form a tree
// of one depth, so that bbolt's descent ends. The leaves are not read, apart
// from the first, which tells the depth. It can be called for one tree after
// another.
func (p *pageFile) skeleton(root uint64) error {
	clear(p.seen)
	var depth int
	for id := root; ; depth++ {
		if depth > 60 {
			return errors.New("the pages lead in a circle")
		}
		b, err := p.read(id, 0)
		if err != nil {
			return err
		}
		if order.Uint16(b[8:]) == flagLeaf {
			break
		}
		if _, _, err := elements(b); err != nil {
			return fmt.Errorf("page %d: %w", id, err)
		}
		_, child, err := branchAt(b, 0)
		if err != nil {
			return fmt.Errorf("page %d: %w", id, err)
		}
		id = child
	}
	return p.branches(root, 0, depth)
}

func (p *pageFile) branches(id uint64, level, depth int) error {
	if level == depth { // a leaf: bbolt's descent ends here, whatever it holds
		if id < 2 || id >= p.meta.pages || !p.mark(id) {
			return fmt.Errorf("page %d is used twice or outside of the file", id)
		}
		return nil
	}
	b, err := p.page(id, level)
	if err != nil {
		return err
	}
	flags, n, err := elements(b)
	if err != nil {
		return fmt.Errorf("page %d: %w", id, err)
	}
	if flags != flagBranch {
		return fmt.Errorf("page %d hangs at the wrong depth", id)
	}
	for i := range n {
		_, child, err := branchAt(b, i)
		if err != nil {
			return fmt.Errorf("page %d: %w", id, err)
		}
		if err := p.branches(child, level+1, depth); err != nil {
			return err
		}
	}
	return nil
}

// checkPages reads every page of the tree of a file.
func checkPages(f *os.File, m meta) error {
	p := newPageFile(f, m)
	if err := p.walk(m.root); err != nil {
		return err
	}
	if m.freelist == noFreelist {
		return nil
	}
	return p.free()
}

// free reads the list of free pages, from which bbolt allocates: none may be
// outside of the file, twice in the list, or among those read before.
func (p *pageFile) free() error {
	m := p.meta
	b, err := p.page(m.freelist, 0)
	if err != nil {
		return err
	}
	if flags := order.Uint16(b[8:]); flags != flagFreelist {
		return fmt.Errorf("page %d is not the list of free pages", m.freelist)
	}
	n, at := uint64(order.Uint16(b[10:])), pageHeader
	if n == 0xFFFF {
		n, at = order.Uint64(b[pageHeader:]), pageHeader+8
	}
	if n > uint64(len(b)-at)/8 {
		return errors.New("the list of free pages is longer than its room")
	}
	for i := range n {
		id := order.Uint64(b[at+int(i)*8:])
		if id < 2 || id >= m.pages || !p.mark(id) {
			return fmt.Errorf("page %d is free and in use, or outside of the file", id)
		}
	}
	return nil
}
