package store

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"math/bits"
	"slices"

	bolt "go.etcd.io/bbolt"
)

// A sealed bucket is written once in key order. Its entries are
//
//	key -> CRC-32C (4 bytes, little-endian) | ordinal (uvarint) | payload
//
// and the last one has the key sentinel and the number of the others as its
// ordinal. The checksum covers the name of the bucket (as its start value),
// the key and everything behind itself.

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// sentinel is above every key, since keys are UTF-8 text or start with a byte
// below 0xff.
var sentinel = []byte{0xff, 0xff}

// saltOf gives the start value of the checksums in a bucket.
func saltOf(bucket string) uint32 {
	return crc32.Update(0, castagnoli, []byte(bucket+"\x00"))
}

// partName gives the name of the bucket of a part of a generation.
func partName(generation, part string) string { return generation + "/" + part }

func entrySum(salt uint32, key, rest []byte) uint32 {
	return crc32.Update(crc32.Update(salt, castagnoli, key), castagnoli, rest)
}

// sealWriter writes one sealed bucket.
type sealWriter struct {
	w       *fileWriter
	name    string // of the bucket
	salt    uint32
	ordinal uint64
	last    []byte

	epoch  int
	bucket *bolt.Bucket
}

func (w *fileWriter) seal(generation, name string) *sealWriter {
	name = partName(generation, name)
	return &sealWriter{w: w, name: name, salt: saltOf(name), epoch: -1}
}

func (s *sealWriter) add(key, payload []byte) error {
	return s.end(key, append(s.begin(len(payload)), payload...))
}

// begin gives the beginning of an entry with room for a payload of n bytes, to
// be appended to it and given to end.
func (s *sealWriter) begin(n int) []byte {
	v := s.w.alloc(4 + uvarintLen(s.ordinal) + n)
	return binary.AppendUvarint(v[:4], s.ordinal)
}

func (s *sealWriter) end(key, v []byte) error {
	if s.ordinal > 0 && bytes.Compare(s.last, key) >= 0 {
		// A slip in this package: the sorted runs guarantee the order.
		panic("store: entries of a sealed bucket out of order")
	}
	s.last = append(s.last[:0], key...)
	binary.LittleEndian.PutUint32(v, entrySum(s.salt, key, v[4:]))
	s.ordinal++
	return s.raw(key, v)
}

// close writes the sentinel. The ordinal stays the number of entries.
func (s *sealWriter) close() error {
	err := s.add(sentinel, nil)
	s.ordinal--
	return err
}

// raw puts a value that carries its checksum already. The value must last
// until the batch is committed.
func (s *sealWriter) raw(key, value []byte) error {
	if s.epoch != s.w.epoch {
		b, err := s.w.bucket(s.name)
		if err != nil {
			return err
		}
		s.bucket, s.epoch = b, s.w.epoch
	}
	if err := s.bucket.Put(key, value); err != nil {
		return err
	}
	return s.w.added(len(key) + len(value))
}

func uvarintLen(v uint64) int { return (bits.Len64(v|1) + 6) / 7 }

func newSealed(b *bolt.Bucket, name string) *sealed {
	return &sealed{name: name, salt: saltOf(name), cursor: b.Cursor()}
}

// sealed reads one sealed bucket. What is wrong with it is a panic with damage.
type sealed struct {
	name   string
	salt   uint32
	cursor *bolt.Cursor
	at     uint64 // ordinal of the entry under the cursor
	warm   bool   // for has: the cursor stands on an entry
}

type entry struct {
	key     []byte
	payload []byte
	ordinal uint64
	end     bool // it is the sentinel
}

// open takes an entry apart after it has proved sound.
func (s *sealed) open(key, value []byte) entry {
	if key == nil {
		damaged("%s ends too early", s.name)
	}
	if len(value) < 5 || binary.LittleEndian.Uint32(value) != entrySum(s.salt, key, value[4:]) {
		damaged("the checksum of an entry of %s is wrong", s.name)
	}
	ordinal, n := binary.Uvarint(value[4:])
	if n <= 0 {
		damaged("an entry of %s has no ordinal", s.name)
	}
	s.at = ordinal
	return entry{key, value[4+n:], ordinal, bytes.Equal(key, sentinel)}
}

// get finds the entry of that key, or proves that there is none.
func (s *sealed) get(key []byte) (entry, bool) {
	e := s.seek(key)
	return e, !e.end && bytes.Equal(e.key, key)
}

// has tells whether there is an entry of that key. Keys that are asked for in
// order are found by a step instead of a search.
func (s *sealed) has(key []byte) bool {
	if s.warm {
		k, v := s.cursor.Next()
		if bytes.Equal(k, key) {
			s.open(k, v)
			return true
		}
	}
	e, ok := s.get(key)
	s.warm = !e.end
	return ok
}

// seek finds the first entry whose key is not below key; the sentinel at least.
func (s *sealed) seek(key []byte) entry {
	k, v := s.cursor.Seek(key)
	if bytes.Equal(k, key) {
		return s.open(k, v)
	}
	e := s.open(k, v)
	if bytes.Compare(e.key, key) < 0 {
		damaged("a look-up in %s went astray", s.name)
	}
	before, value := s.cursor.Prev()
	if before == nil {
		if e.ordinal != 0 {
			damaged("an entry of %s is missing", s.name)
		}
		// The cursor stands before the first entry: bring it back.
		s.cursor.First()
	} else {
		b := s.open(before, value)
		if bytes.Compare(b.key, key) >= 0 || b.ordinal+1 != e.ordinal {
			damaged("an entry of %s is missing", s.name)
		}
		s.cursor.Next()
	}
	s.at = e.ordinal
	return e
}

// next moves from the entry under the cursor to the one behind it.
func (s *sealed) next() entry {
	want := s.at + 1
	e := s.open(s.cursor.Next())
	if e.ordinal != want {
		damaged("an entry of %s is missing", s.name)
	}
	return e
}

// first moves to the first entry.
func (s *sealed) first() entry {
	e := s.open(s.cursor.First())
	if e.ordinal != 0 {
		damaged("an entry of %s is missing", s.name)
	}
	return e
}

// skip moves n entries ahead. Only the one reached is looked at: its ordinal
// says whether it is the right one.
func (s *sealed) skip(n uint64) entry {
	want := s.at + n
	var k, v []byte
	for range n {
		if k, v = s.cursor.Next(); k == nil {
			break
		}
	}
	e := s.open(k, v)
	if e.ordinal != want {
		damaged("an entry of %s is missing", s.name)
	}
	return e
}

// sealRecord gives a single record that is no entry of a sealed bucket.
func sealRecord(bucket string, key, body []byte) []byte {
	sum := entrySum(saltOf(bucket), key, body)
	return slices.Concat(binary.LittleEndian.AppendUint32(nil, sum), body)
}

func openRecord(bucket string, key, value []byte) []byte {
	if len(value) < 4 || binary.LittleEndian.Uint32(value) != entrySum(saltOf(bucket), key, value[4:]) {
		damaged("a record of %s is missing or its checksum is wrong", bucket)
	}
	return value[4:]
}
