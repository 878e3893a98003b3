package store

import (
	"bytes"
	"cmp"
	"container/heap"
	"encoding/binary"
	"errors"
	"os"
	"slices"
	"sync"
)

// runs takes records in any order and gives them back sorted by key, records
// with equal keys in the order in which they came. All keys of one runs must
// hold the same number of [catalog.KeySep], the last at their end, so that none
// is the beginning of another.
//
// Records collect in pieces of a few megabytes. A full piece is sorted, unless
// it came in order, and kept in memory while the budget lasts, in a file after
// that. Adding is for one goroutine, reading for another, which may start while
// records are still added.
type runs struct {
	spill *spill

	cur     []byte
	last    []byte // key of the last record of cur
	count   int    // records in cur
	ordered bool   // cur is in order so far
	full    bool   // a piece was completed before
	sorting chan error

	mu     sync.Mutex
	grown  sync.Cond
	pieces []*piece
	closed bool
	err    error
	rows   int
}

// piece is a sorted piece of records: each the length of its key and of its
// body, the key, the body.
type piece struct {
	mem         []byte // nil if it lies in the file
	at          int64
	size        int
	first, last []byte
}

// spill is the memory and the file that the runs of one import share.
type spill struct {
	dir   string
	piece int // bytes of a piece

	mu   sync.Mutex
	left int // bytes of memory that may still be kept
	f    *os.File
	size int64
	free []byte // a buffer that can be used again
}

func newRuns(s *spill) *runs {
	r := &runs{spill: s, ordered: true}
	r.grown.L = &r.mu
	return r
}

// buffer gives an empty buffer, of n bytes if it is a fresh one.
func (s *spill) buffer(n int) []byte {
	s.mu.Lock()
	defer s.mu.Unlock()
	if b := s.free; b != nil {
		s.free = nil
		return b[:0]
	}
	return make([]byte, 0, n)
}

// keep keeps a piece in memory or writes it to the file.
func (s *spill) keep(b []byte) (p *piece, err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	p = &piece{size: len(b)}
	if len(b) <= s.left {
		s.left -= len(b)
		p.mem = b
		return p, nil
	}
	if s.f == nil {
		if s.f, err = os.CreateTemp(s.dir, newName+"*"); err != nil {
			return nil, err
		}
	}
	if _, err := s.f.WriteAt(b, s.size); err != nil {
		return nil, err
	}
	p.at = s.size
	s.size += int64(len(b))
	s.free = b
	return p, nil
}

// close removes the file.
func (s *spill) close() error {
	if s.f == nil {
		return nil
	}
	return errors.Join(s.f.Close(), os.Remove(s.f.Name()))
}

// add keeps a record.
func (r *runs) add(key, body []byte) error {
	if r.cur == nil {
		n := 64 << 10
		if r.full { // a large table: no growing step by step
			n += r.spill.piece
		}
		r.cur = r.spill.buffer(n)
	}
	if r.ordered && r.count > 0 && bytes.Compare(r.last, key) > 0 {
		r.ordered = false
	}
	r.cur = appendRecord(r.cur, key, body)
	if r.ordered {
		r.last = append(r.last[:0], key...)
	}
	r.count++
	if len(r.cur) >= r.spill.piece {
		r.full = true
		return r.flush()
	}
	return nil
}

func appendRecord(dst, key, body []byte) []byte {
	dst = binary.AppendUvarint(dst, uint64(len(key)))
	dst = binary.AppendUvarint(dst, uint64(len(body)))
	return append(append(dst, key...), body...)
}

// splitRecord gives the first record of b and its whole length, 0 if b does not
// hold all of it.
func splitRecord(b []byte) (key, body []byte, n int) {
	k, i := binary.Uvarint(b)
	v, j := binary.Uvarint(b[max(i, 0):])
	if i <= 0 || j <= 0 || uint64(len(b)-i-j) < k+v {
		return nil, nil, 0
	}
	at := i + j
	end := at + int(k)
	n = end + int(v)
	return b[at:end:end], b[end:n:n], n
}

// flush completes a piece. One that is out of order is sorted in the
// background, beside the reading of the next.
func (r *runs) flush() error {
	if r.count == 0 {
		return nil
	}
	if err := r.settle(); err != nil {
		return err
	}
	b, count, last := r.cur, r.count, bytes.Clone(r.last)
	ordered := r.ordered
	r.cur, r.count, r.ordered, r.last = nil, 0, true, r.last[:0]
	if ordered {
		return r.keep(b, count, last)
	}
	done := make(chan error, 1)
	r.sorting = done
	go func() {
		sorted := sortRecords(b, count)
		var last []byte
		for rest := sorted; len(rest) > 0; {
			k, _, n := splitRecord(rest)
			last, rest = k, rest[n:]
		}
		done <- r.keep(sorted, count, bytes.Clone(last))
	}()
	return nil
}

// settle waits for the piece that is being sorted.
func (r *runs) settle() error {
	if r.sorting == nil {
		return nil
	}
	err := <-r.sorting
	r.sorting = nil
	return err
}

// keep adds a sorted piece.
func (r *runs) keep(b []byte, count int, last []byte) error {
	first, _, _ := splitRecord(b)
	first = bytes.Clone(first)
	p, err := r.spill.keep(b)
	if err != nil {
		return err
	}
	p.first, p.last = first, last
	r.mu.Lock()
	r.pieces = append(r.pieces, p)
	r.rows += count
	r.mu.Unlock()
	r.grown.Broadcast()
	return nil
}

// close says that no more records come; err is why, nil if they are all there.
func (r *runs) close(err error) error {
	if err == nil {
		err = r.flush()
	}
	err = errors.Join(err, r.settle())
	r.mu.Lock()
	r.closed, r.err = true, err
	r.mu.Unlock()
	r.grown.Broadcast()
	return err
}

// wait waits until all records are there and tells how many.
func (r *runs) wait() (rows int, err error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	for !r.closed {
		r.grown.Wait()
	}
	return r.rows, r.err
}

// piece waits for the piece with index i; nil if there are no more.
func (r *runs) piece(i int) (*piece, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	for i >= len(r.pieces) && !r.closed {
		r.grown.Wait()
	}
	if i < len(r.pieces) {
		return r.pieces[i], nil
	}
	return nil, r.err
}

// sortRecords gives the records of b in the order of their keys.
func sortRecords(b []byte, count int) []byte {
	recs := make([]sortRec, 0, count)
	for at := 0; at < len(b); {
		key, body, n := splitRecord(b[at:])
		recs = append(recs, sortRec{at: uint32(at), n: uint32(n), key: uint32(at + n - len(body) - len(key)), klen: uint32(len(key))})
		at += n
	}
	sortByKey(b, recs, 0)
	out := make([]byte, 0, len(b))
	for _, r := range recs {
		out = append(out, b[r.at:r.at+r.n]...)
	}
	return out
}

type sortRec struct {
	head  uint64 // eight bytes of the key
	at, n uint32 // the record
	key   uint32 // where its key starts
	klen  uint32
}

// sortByKey sorts by eight bytes of the keys at a time: keys share long
// beginnings, which a comparison of whole keys would read again and again.
func sortByKey(b []byte, recs []sortRec, depth uint32) {
	for i := range recs {
		recs[i].head = eightBytes(b[recs[i].key+min(depth, recs[i].klen) : recs[i].key+recs[i].klen])
	}
	slices.SortFunc(recs, func(x, y sortRec) int {
		if c := cmp.Compare(x.head, y.head); c != 0 {
			return c
		}
		return cmp.Compare(x.at, y.at)
	})
	for i := 0; i < len(recs); {
		j := i + 1
		for j < len(recs) && recs[j].head == recs[i].head {
			j++
		}
		// Where a key ends within the eight bytes, all with these bytes end
		// there: they are one key.
		if j-i > 1 && recs[i].klen > depth+8 {
			sortByKey(b, recs[i:j], depth+8)
		}
		i = j
	}
}

func eightBytes(b []byte) uint64 {
	if len(b) >= 8 {
		return binary.BigEndian.Uint64(b)
	}
	var buf [8]byte
	copy(buf[:], b)
	return binary.BigEndian.Uint64(buf[:])
}

// errUnordered says that records read while they are still added did not come
// in order.
var errUnordered = errors.New("the records do not come in order")

// recordReader gives the records of runs in order. Key and body of a record are
// good until the next one is read.
type recordReader struct {
	r       *runs
	stream  bool
	started bool
	next    int    // piece to be read next
	last    []byte // last key of the piece before it
	heap    runHeap
	cur     *pieceReader // the one under the last record given
}

// reader gives a reader of all records, which must all have been added.
func (r *runs) reader() *recordReader { return &recordReader{r: r} }

// streamReader gives a reader that follows the adding. It fails with
// errUnordered as soon as a piece does not follow the one before.
func (r *runs) streamReader() *recordReader { return &recordReader{r: r, stream: true} }

func (rr *recordReader) read() (key, body []byte, ok bool, err error) {
	if rr.stream {
		for {
			if rr.cur != nil {
				if ok, err := rr.cur.advance(); ok || err != nil {
					return rr.cur.key, rr.cur.body, ok, err
				}
			}
			p, err := rr.r.piece(rr.next)
			if p == nil || err != nil {
				return nil, nil, false, err
			}
			if rr.next > 0 && bytes.Compare(rr.last, p.first) > 0 {
				return nil, nil, false, errUnordered
			}
			rr.next++
			rr.last = p.last
			rr.cur = newPieceReader(rr.r.spill, p)
		}
	}
	if !rr.started {
		rr.started = true
		for _, run := range rr.r.sortedRuns() {
			pr := &pieceReader{spill: rr.r.spill, queue: run, rank: len(rr.heap)}
			ok, err := pr.advance()
			if err != nil {
				return nil, nil, false, err
			}
			if ok {
				rr.heap = append(rr.heap, pr)
			}
		}
		heap.Init(&rr.heap)
	} else if len(rr.heap) > 0 {
		ok, err := rr.heap[0].advance()
		if err != nil {
			return nil, nil, false, err
		}
		if !ok {
			heap.Pop(&rr.heap)
		} else if len(rr.heap) > 1 {
			heap.Fix(&rr.heap, 0)
		}
	}
	if len(rr.heap) == 0 {
		return nil, nil, false, nil
	}
	return rr.heap[0].key, rr.heap[0].body, true, nil
}

// sortedRuns joins pieces that follow one another.
func (r *runs) sortedRuns() [][]*piece {
	var out [][]*piece
	for _, p := range r.pieces {
		if n := len(out); n > 0 {
			run := out[n-1]
			if bytes.Compare(run[len(run)-1].last, p.first) <= 0 {
				out[n-1] = append(run, p)
				continue
			}
		}
		out = append(out, []*piece{p})
	}
	return out
}

// runHeap orders readers by their record, equal keys by their age.
type runHeap []*pieceReader

func (h runHeap) Len() int { return len(h) }
func (h runHeap) Less(i, j int) bool {
	if c := bytes.Compare(h[i].key, h[j].key); c != 0 {
		return c < 0
	}
	return h[i].rank < h[j].rank
}
func (h runHeap) Swap(i, j int) { h[i], h[j] = h[j], h[i] }
func (h *runHeap) Push(x any)   { *h = append(*h, x.(*pieceReader)) }
func (h *runHeap) Pop() any {
	old := *h
	x := old[len(old)-1]
	*h = old[:len(old)-1]
	return x
}

// pieceReader reads pieces one after another.
type pieceReader struct {
	spill *spill
	queue []*piece
	rank  int

	key, body []byte

	rest []byte // read and not yet given
	file int64  // where the file goes on
	more int    // bytes of the piece still in the file
	buf  []byte
}

const spillRead = 256 << 10

func newPieceReader(s *spill, p *piece) *pieceReader {
	return &pieceReader{spill: s, queue: []*piece{p}}
}

func (p *pieceReader) advance() (bool, error) {
	for {
		if len(p.rest) > 0 {
			key, body, n := splitRecord(p.rest)
			if n > 0 {
				p.key, p.body, p.rest = key, body, p.rest[n:]
				return true, nil
			}
		}
		if p.more > 0 {
			if err := p.refill(); err != nil {
				return false, err
			}
			continue
		}
		if len(p.queue) == 0 {
			return false, nil
		}
		next := p.queue[0]
		p.queue = p.queue[1:]
		p.rest, p.file, p.more = next.mem, next.at, 0
		if next.mem == nil {
			p.more = next.size
		}
	}
}

// refill reads on in the file, behind what is left of the last read.
func (p *pieceReader) refill() error {
	n := min(p.more, spillRead)
	if need := len(p.rest) + n; cap(p.buf) < need {
		b := make([]byte, need)
		copy(b, p.rest)
		p.buf = b
	} else {
		p.buf = p.buf[:need]
		copy(p.buf, p.rest)
	}
	if _, err := p.spill.f.ReadAt(p.buf[len(p.rest):], p.file); err != nil {
		return err
	}
	p.rest = p.buf
	p.file += int64(n)
	p.more -= n
	return nil
}
