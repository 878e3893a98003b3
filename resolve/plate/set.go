package plate

import (
	"iter"
	"math/bits"
)

// Set is the characters that can stand at one place: a bit for each character
// from ! to `, the lowest first, so that the order of bits is byte order.
type Set uint64

const lowest = '!' // bit 0

// Classes of characters.
const (
	Digits   Set = (1<<10 - 1) << ('0' - lowest)
	Letters  Set = (1<<26 - 1) << ('A' - lowest)
	Alphanum     = Digits | Letters

	// Any is every character that can stand on a plate. What a folded text
	// never holds (- . / : _) and what has a meaning in a reading (? [ ] and
	// the comma) is not among them.
	Any = ^(Set(1)<<(','-lowest) | 1<<('-'-lowest) | 1<<('.'-lowest) | 1<<('/'-lowest) |
		1<<(':'-lowest) | 1<<('?'-lowest) | 1<<('['-lowest) | 1<<(']'-lowest) | 1<<('_'-lowest))
)

// one is the set of just c, empty if c cannot stand on a plate.
func one(c byte) Set {
	if c < lowest || c > '`' {
		return 0
	}
	return 1 << (c - lowest) & Any
}

// SetOf gives the set of the characters in s, which must be folded; false if
// one of them cannot stand on a plate.
func SetOf(s string) (Set, bool) {
	var set Set
	for i := 0; i < len(s); i++ {
		b := one(s[i])
		if b == 0 {
			return 0, false
		}
		set |= b
	}
	return set, true
}

// Has tells whether c is in the set.
func (s Set) Has(c byte) bool { return s&one(c) != 0 }

// Len is the number of characters in the set.
func (s Set) Len() int { return bits.OnesCount64(uint64(s)) }

// One gives the only character of the set, false if there are none or several.
func (s Set) One() (byte, bool) {
	if !s.single() {
		return 0, false
	}
	return s.min(), true
}

func (s Set) single() bool { return s != 0 && s&(s-1) == 0 }

func (s Set) min() byte { return byte(bits.TrailingZeros64(uint64(s))) + lowest }

// above gives the lowest character of the set that is above c in byte order.
func (s Set) above(c byte) (byte, bool) {
	if c >= lowest {
		if c >= '`' {
			return 0, false
		}
		s &^= 1<<(c-lowest+1) - 1
	}
	if s == 0 {
		return 0, false
	}
	return s.min(), true
}

// All yields the characters in byte order.
func (s Set) All() iter.Seq[byte] {
	return func(yield func(byte) bool) {
		for ; s != 0; s &= s - 1 {
			if !yield(s.min()) {
				return
			}
		}
	}
}

func (s Set) appendTo(dst []byte) []byte {
	switch {
	case s.single():
		return append(dst, s.min())
	case s == Any:
		return append(dst, '?')
	}
	dst = append(dst, '[')
	for ; s != 0; s &= s - 1 {
		dst = append(dst, s.min())
	}
	return append(dst, ']')
}

// String gives the set as it stands in a reading: the character, ? for all,
// or the characters in brackets.
func (s Set) String() string { return string(s.appendTo(nil)) }

// MarshalText gives String.
func (s Set) MarshalText() ([]byte, error) { return s.appendTo(nil), nil }

// UnmarshalText reads what MarshalText gives. The error is a [*ReadingError].
func (s *Set) UnmarshalText(text []byte) error {
	if string(text) == "[]" {
		*s = 0
		return nil
	}
	r, err := ParseReading(string(text))
	if err != nil {
		return err
	}
	if len(r) != 1 {
		return &ReadingError{Code: TooLong, Text: string(text), Place: 2}
	}
	*s = r[0]
	return nil
}
