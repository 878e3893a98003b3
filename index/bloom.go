package index

import (
	"math/bits"
)

// bloom tells which numbers a list cannot hold as a whole line, without looking
// through it: what people type makes many numbers to try, and hardly any of them
// is a supplier's. It is a Bloom filter (Bloom, Communications of the ACM, 1970)
// of 16 bits a number and four hashes, which is wrong once in some 400 numbers.
type bloom []byte

const (
	bloomBits   = 16
	bloomHashes = 4
)

func newBloom(numbers int) bloom {
	size := 64
	for size < numbers*bloomBits {
		size <<= 1
	}
	return make(bloom, size/8)
}

// hash is FNV-1a of 64 bits: it must be the same in every process.
func (b bloom) hash(number string) uint64 {
	h := uint64(14695981039346656037)
	for i := 0; i < len(number); i++ {
		h = (h ^ uint64(number[i])) * 1099511628211
	}
	h ^= h >> 32
	return h * 0x9e3779b97f4a7c15
}

func (b bloom) add(number string) {
	h := b.hash(number)
	for range bloomHashes {
		i := h & uint64(len(b)*8-1)
		b[i/8] |= 1 << (i % 8)
		h = bits.RotateLeft64(h, 17)*0x9e3779b97f4a7c15 + 1
	}
}

// has is false only for numbers that were not added.
func (b bloom) has(number string) bool {
	if len(b) == 0 {
		return false
	}
	h := b.hash(number)
	for range bloomHashes {
		i := h & uint64(len(b)*8-1)
		if b[i/8]&(1<<(i%8)) == 0 {
			return false
		}
		h = bits.RotateLeft64(h, 17)*0x9e3779b97f4a7c15 + 1
	}
	return true
}
