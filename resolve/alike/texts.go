package alike

import (
	"bytes"
	"math/bits"
	"slices"

	"platewright/resolve/plate"
)

// symbols is how many characters the numbers of symbols can tell apart: those
// from ! to `, of which [plate.Any] can stand on a plate.
const symbols = 64

const lowest = '!' // the character with the symbol 0

// symbol gives the number of a character, and whether it can stand on a plate.
func symbol(c byte) (byte, bool) { return c - lowest, plate.Any.Has(c) }

// confusable holds for each symbol those that are taken for it.
func confusable() (like [symbols]uint64) {
	for _, p := range plate.Confusables() {
		a, _ := symbol(p.A)
		b, _ := symbol(p.B)
		like[a] |= 1 << b
		like[b] |= 1 << a
	}
	return like
}

// anyOther holds for each symbol all others.
func anyOther() (like [symbols]uint64) {
	for i := range like {
		like[i] = ^uint64(0) &^ (1 << i)
	}
	return like
}

// Texts are texts that name variants, grouped by the layouts on which they
// stand. The zero value is ready for use: add to it, then sort it.
type Texts struct {
	letters []byte
	from    []uint32 // where each text begins in letters, and where the last ends
	of      []uint32 // the variant that each names, by number
	on      []uint16 // the layout of each, by number
	bounds  []int    // where the texts of each layout begin, and where the last end
}

// Len tells how many texts there are.
func (t *Texts) Len() int { return len(t.of) }

// Add adds a folded text that names a variant on plates of a layout.
func (t *Texts) Add(text string, layout uint16, variant uint32) {
	if t.from == nil {
		t.from = append(t.from, 0)
	}
	t.letters = append(t.letters, text...)
	t.from = append(t.from, uint32(len(t.letters)))
	t.of = append(t.of, variant)
	t.on = append(t.on, layout)
}

// At gives the text with that number. It must not be changed.
func (t *Texts) At(i uint32) []byte { return t.letters[t.from[i]:t.from[i+1]] }

// Of gives the number of the variant that the text names.
func (t *Texts) Of(i uint32) uint32 { return t.of[i] }

// On gives the number of the layout of the text.
func (t *Texts) On(i uint32) uint16 { return t.on[i] }

// Sort puts the texts in the order of layouts, texts and variants; the number of
// a text is its place in this order.
func (t *Texts) Sort(layouts int) {
	order := make([]uint32, t.Len())
	for i := range order {
		order[i] = uint32(i)
	}
	compare := func(a, b uint32) int {
		if t.on[a] != t.on[b] {
			return int(t.on[a]) - int(t.on[b])
		}
		if c := bytes.Compare(t.At(a), t.At(b)); c != 0 {
			return c
		}
		return int(t.of[a]) - int(t.of[b])
	}
	// Variants come in the order of their codes, so that most of the texts of a
	// layout are in order already and a stable distribution leaves little to do.
	counts := make([]int, layouts+1)
	for _, l := range t.on {
		counts[l+1]++
	}
	for l := range layouts {
		counts[l+1] += counts[l]
	}
	t.bounds = slices.Clone(counts)
	for i := range t.of {
		l := t.on[i]
		order[counts[l]] = uint32(i)
		counts[l]++
	}
	for l := range layouts {
		part := order[t.bounds[l]:t.bounds[l+1]]
		if !slices.IsSortedFunc(part, compare) {
			slices.SortFunc(part, compare)
		}
	}
	s := Texts{letters: make([]byte, 0, len(t.letters)), from: make([]uint32, 1, len(t.from)+1), of: make([]uint32, 0, len(t.of)), on: make([]uint16, 0, len(t.on)), bounds: t.bounds}
	for _, i := range order {
		s.letters = append(s.letters, t.At(i)...)
		s.from = append(s.from, uint32(len(s.letters)))
		s.of = append(s.of, t.of[i])
		s.on = append(s.on, t.on[i])
	}
	*t = s
}

// Slip is a pair of texts of one layout that one slip turns into each other.
type Slip struct {
	A, B  uint32 // numbers of the texts, the lower first
	Kind  Kind
	Place uint8 // the first place concerned, 1 for the first, the same in both
}

// Kind is a kind of slip.
type Kind uint8

// The kinds of slips, in the order in which one is preferred to another.
const (
	Confused    Kind = iota // one character taken for another that looks like it
	Swapped                 // two neighbours in the wrong order
	Dropped                 // one character left out
	Doubled                 // one character written twice
	Substituted             // one character for another that does not look like it
)

// Kinds is a set of kinds of slips.
type Kinds uint8

// The slips of rule L1, and with them the substitution of any character.
const (
	Misreads     Kinds = 1<<Confused | 1<<Swapped | 1<<Dropped | 1<<Doubled
	AnyCharacter Kinds = Misreads | 1<<Substituted
)

// Has tells whether the kind is in the set.
func (k Kinds) Has(one Kind) bool { return k&(1<<one) != 0 }

// Texts are looked up by a hash that is a sum over their places, so that the
// hash of a text with one place changed, or with one left out, follows from that
// of the text in one step.
const (
	step   uint64 = 0x9E3779B97F4A7C15 // odd: it has an inverse
	mixing uint64 = 0xD6E8FEB86659FD93
)

// hasher holds what the hash is made of.
type hasher struct {
	value [symbols]uint64
	power [plate.MaxPlaces + 1]uint64
	back  uint64 // step times back is 1
}

func newHasher() *hasher {
	h := &hasher{}
	x := uint64(0x243F6A8885A308D3) // digits of pi: any start does
	for i := range h.value {
		// splitmix64, so that the values have nothing to do with each other
		x += step
		z := x
		z = (z ^ z>>30) * 0xBF58476D1CE4E5B9
		z = (z ^ z>>27) * 0x94D049BB133111EB
		h.value[i] = z ^ z>>31
	}
	h.power[0] = 1
	for i := 1; i < len(h.power); i++ {
		h.power[i] = h.power[i-1] * step
	}
	h.back = step
	for range 6 { // each round doubles the bits that are right
		h.back *= 2 - step*h.back
	}
	return h
}

func mix(h uint64) uint64 {
	h ^= h >> 32
	h *= mixing
	return h ^ h>>29
}

// finder looks texts of one layout up.
type finder struct {
	t      *Texts
	h      *hasher
	lo, hi uint32
	slots  []uint64 // upper half of the mixed hash, and the number of the text less lo, plus one
	shift  uint
	sieve  []uint64 // a bit for each of the texts, more or less: most look-ups end here
	sifts  uint
	at     [plate.MaxPlaces]uint64 // the symbols that stand at each place of some text
}

func bitsFor(n int) uint {
	b := uint(4)
	for 1<<b < n {
		b++
	}
	return b
}

func newFinder(t *Texts, h *hasher, lo, hi uint32) *finder {
	n := int(hi - lo)
	table, sieve := bitsFor(2*n), bitsFor(16*n)
	f := &finder{t: t, h: h, lo: lo, hi: hi, slots: make([]uint64, 1<<table), shift: 64 - table, sieve: make([]uint64, max(1<<sieve/64, 1)), sifts: 64 - sieve}
	var chars [plate.MaxPlaces]byte
	for i := lo; i < hi; i++ {
		text := t.At(i)
		if i > lo && bytes.Equal(text, t.At(i-1)) || !readable(text, &chars) {
			continue
		}
		sum := uint64(0)
		for j := range text {
			f.at[j] |= 1 << chars[j]
			sum += h.value[chars[j]] * h.power[j]
		}
		sum = mix(sum)
		f.sieve[sum>>f.sifts/64] |= 1 << (sum >> f.sifts % 64)
		for s := sum >> f.shift; ; s = (s + 1) & (1<<table - 1) {
			if f.slots[s] == 0 {
				f.slots[s] = sum<<32 | uint64(i-lo+1)
				break
			}
		}
	}
	return f
}

// readable gives the symbols of a text; a text with other characters, or too
// long for a plate, is no neighbour of any.
func readable(text []byte, chars *[plate.MaxPlaces]byte) bool {
	if len(text) == 0 || len(text) > plate.MaxPlaces {
		return false
	}
	for i, c := range text {
		s, ok := symbol(c)
		if !ok {
			return false
		}
		chars[i] = s
	}
	return true
}

// find gives the first text whose hash is sum and that same takes for the one
// looked for.
func (f *finder) find(sum uint64, same func(text []byte) bool) (uint32, bool) {
	sum = mix(sum)
	if f.sieve[sum>>f.sifts/64]&(1<<(sum>>f.sifts%64)) == 0 {
		return 0, false
	}
	mask := uint64(len(f.slots) - 1)
	for s := sum >> f.shift; f.slots[s] != 0; s = (s + 1) & mask {
		if uint32(f.slots[s]>>32) == uint32(sum) {
			if i := f.lo + uint32(f.slots[s]) - 1; same(f.t.At(i)) {
				return i, true
			}
		}
	}
	return 0, false
}

// Slips gives each pair of texts that one slip of the kinds turns into each
// other, once, in the order of their first texts' numbers within a layout, until
// each returns an error. Texts that are equal count as one, the first of them.
// Before each layout and every few thousand texts it calls tick with how many are
// done. [Texts.Sort] must have been called.
func (t *Texts) Slips(kinds Kinds, tick func(done int) error, each func(Slip) error) error {
	h := newHasher()
	for l := range len(t.bounds) - 1 {
		if lo, hi := t.bounds[l], t.bounds[l+1]; lo < hi {
			f := newFinder(t, h, uint32(lo), uint32(hi))
			if err := f.slips(kinds, tick, each); err != nil {
				return err
			}
		}
	}
	return nil
}

// tickEvery is how many texts lie between two calls of tick.
const tickEvery = 4096

func (f *finder) slips(kinds Kinds, tick func(done int) error, each func(Slip) error) error {
	alike, other := confusable(), [symbols]uint64{}
	if kinds.Has(Substituted) {
		other = anyOther()
	}
	for i := range alike {
		if other[i] &^= alike[i]; !kinds.Has(Confused) {
			alike[i] = 0
		}
	}
	var chars [plate.MaxPlaces]byte
	h := f.h
	for i := f.lo; i < f.hi; i++ {
		if (i-f.lo)%tickEvery == 0 {
			if err := tick(int(i)); err != nil {
				return err
			}
		}
		text := f.t.At(i)
		if i > f.lo && bytes.Equal(text, f.t.At(i-1)) || !readable(text, &chars) {
			continue
		}
		sum := uint64(0)
		for j := range text {
			sum += h.value[chars[j]] * h.power[j]
		}
		report := func(b uint32, kind Kind, place int) error {
			return each(Slip{A: min(i, b), B: max(i, b), Kind: kind, Place: uint8(place + 1)})
		}
		before := uint64(0) // the part of sum before place j
		for j := range text {
			c := chars[j]
			own := h.value[c] * h.power[j]
			// Of two texts that differ in one place, the one with the higher
			// character is found from the other.
			above := f.at[j] &^ (1<<(c+1) - 1)
			for set := (alike[c] | other[c]) & above; set != 0; set &= set - 1 {
				d := byte(bits.TrailingZeros64(set))
				if b, ok := f.find(sum-own+h.value[d]*h.power[j], func(s []byte) bool {
					return len(s) == len(text) && s[j] == d+lowest && bytes.Equal(s[:j], text[:j]) && bytes.Equal(s[j+1:], text[j+1:])
				}); ok {
					kind := Substituted
					if alike[c]&(1<<d) != 0 {
						kind = Confused
					}
					if err := report(b, kind, j); err != nil {
						return err
					}
				}
			}
			if j+1 < len(text) && kinds.Has(Swapped) && c < chars[j+1] && f.at[j]&(1<<chars[j+1]) != 0 && f.at[j+1]&(1<<c) != 0 {
				d := chars[j+1]
				swapped := sum - own - h.value[d]*h.power[j+1] + h.value[d]*h.power[j] + h.value[c]*h.power[j+1]
				if b, ok := f.find(swapped, func(s []byte) bool {
					return len(s) == len(text) && s[j] == d+lowest && s[j+1] == c+lowest && bytes.Equal(s[:j], text[:j]) && bytes.Equal(s[j+2:], text[j+2:])
				}); ok {
					if err := report(b, Swapped, j); err != nil {
						return err
					}
				}
			}
			// The longer text finds the shorter. Of equal neighbours the first
			// stands for all.
			if run := j > 0 && c == chars[j-1]; !run && len(text) > 1 {
				kind := Dropped
				if j+1 < len(text) && chars[j+1] == c {
					kind = Doubled
				}
				if kinds.Has(kind) {
					after := (sum - before - own) * h.back
					if b, ok := f.find(before+after, func(s []byte) bool {
						return len(s) == len(text)-1 && bytes.Equal(s[:j], text[:j]) && bytes.Equal(s[j:], text[j+1:])
					}); ok {
						if err := report(b, kind, j); err != nil {
							return err
						}
					}
				}
			}
			before += own
		}
	}
	return nil
}

// slipBetween gives the slip that turns one text into another, as [Texts.Slips]
// would; ok is false if no slip of the kinds does.
func slipBetween(a, b []byte, kinds Kinds, alike *[symbols]uint64) (kind Kind, place int, ok bool) {
	if len(a) < len(b) {
		a, b = b, a
	}
	if len(a)-len(b) > 1 {
		return 0, 0, false
	}
	var chars [plate.MaxPlaces]byte
	if !readable(a, &chars) || !readable(b, &chars) {
		return 0, 0, false
	}
	j := 0
	for j < len(b) && a[j] == b[j] {
		j++
	}
	switch {
	case j == len(a):
		return 0, 0, false // equal
	case len(a) > len(b):
		if !bytes.Equal(a[j+1:], b[j:]) {
			return 0, 0, false
		}
		kind = Dropped
		if j > 0 && a[j-1] == a[j] {
			kind = Doubled
		}
		for j > 0 && a[j-1] == a[j] {
			j--
		}
	case bytes.Equal(a[j+1:], b[j+1:]):
		kind = Substituted
		if x, _ := symbol(b[j]); alike[a[j]-lowest]&(1<<x) != 0 {
			kind = Confused
		}
	case j+1 < len(a) && a[j] == b[j+1] && a[j+1] == b[j] && bytes.Equal(a[j+2:], b[j+2:]):
		kind = Swapped
	default:
		return 0, 0, false
	}
	return kind, j, kinds.Has(kind)
}
