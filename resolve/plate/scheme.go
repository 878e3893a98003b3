package plate

import (
	"fmt"
	"math/bits"
	"strconv"
	"strings"
	"sync"

	"platewright/catalog"
)

// Check computes and verifies the check character or characters of one scheme.
// It is safe for concurrent use.
//
// The schemes, each an automaton over few states, which is what lets open
// places be narrowed exactly:
//
//   - [catalog.SchemeMod11_2], [catalog.SchemeMod37_2]: the pure systems of
//     ISO/IEC 7064:2003. With a check character, the sum of character values
//     times powers of 2, the check character counting once, leaves 1. Values
//     are 0 to 9 and, of MOD 37-2, A = 10 to Z = 35. The check character can
//     also be X = 10 (MOD 11-2) or * = 36 (MOD 37-2).
//   - [catalog.SchemeMod97_10]: the pure system of ISO/IEC 7064:2003, clause
//     7.4, two check digits: 98 less the remainder of the payload with 00
//     behind it. Letters count as two digits, A = 10 to Z = 35, as ISO 13616
//     and ISO 17442 use the system. Verification asks only that the whole
//     leaves 1, so three remainders have a second pair that passes: 01 beside
//     98, 02 beside 99 and 00 beside 97. Compute never gives 00, 01 or 99 but
//     gives 98, 02 and 97 there; Verify accepts both.
//   - [catalog.SchemeMod37_36]: the hybrid system MOD 37,36 of ISO/IEC
//     7064:2003, letters and digits for payload and check character.
//   - [catalog.SchemeMod11]: weighted sum modulo 11, the remainder is the check
//     character, X for 10, as 49 CFR 565.15(c) does it.
//   - [catalog.SchemeMod11Comp]: weighted sum modulo 11, the check character is
//     what is missing to a multiple of 11, X for 10, as ISO 2108:1992 does it.
//     The weights of both are given from the left.
//   - [catalog.SchemeGS1]: GS1 General Specifications, section 7.9: weights 3
//     and 1 from the right, 3 next to the check digit.
//   - [catalog.SchemeLuhn]: ISO/IEC 7812-1, annex B: every second digit from
//     the right is doubled, the one next to the check digit first.
type Check struct {
	scheme  catalog.Scheme
	start   int      // state before the first character
	accept  int      // state after the last check character
	mod     int      // of pure, weighted and digit schemes
	width   int      // check characters
	weights []int    // reduced modulo 11
	val     [64]int8 // value of a payload character by its bit, -1 for none
	last    [64]int8 // value of a check character by its bit, -1 for none
	payload Set      // characters with a value
	checks  Set      // characters that a check character can be

	// next holds step and tail holds end as tables: the state after a state and
	// a character by its bit, none where the character has no value. There is a
	// table for each way in which a place can count: one, or one for each
	// weight modulo 11, or one for odd and one for even distance from the end.
	// They are filled for the first reading that needs them: most plates are of
	// one layout among many.
	tables sync.Once
	next   [][]uint8
	tail   []uint8
}

const none = 255

// SchemeError says why a scheme cannot be used so, or a text cannot be counted.
type SchemeError struct {
	Scheme catalog.Scheme `json:"scheme"`
	Code   SchemeCode     `json:"code"`
	Value  string         `json:"value,omitempty"` // the text or cell refused
	Place  int            `json:"place,omitempty"` // the character of Value it is about, 1 for the first
}

// SchemeCode says in one word what is wrong.
type SchemeCode string

// The codes of a [SchemeError].
const (
	UnknownScheme  SchemeCode = "unknown"       // no such scheme
	BadWeight      SchemeCode = "weight"        // a weight that is no whole number from 0 up
	BadValue       SchemeCode = "value"         // a cell of values that is not CHARACTERS=NUMBER
	NotCounted     SchemeCode = "not-counted"   // a character that has no value in the scheme
	TooFewWeights  SchemeCode = "few-weights"   // more characters than weights
	NothingCovered SchemeCode = "nothing"       // an empty payload
	NotWeighted    SchemeCode = "not-weighted"  // weights or values given to a scheme that has none
	NeedsWeights   SchemeCode = "needs-weights" // a weighted scheme without weights
)

func (e *SchemeError) Error() string {
	switch e.Code {
	case UnknownScheme:
		return fmt.Sprintf("no check scheme %q; use one of the schemes of the catalogue", string(e.Scheme))
	case BadWeight:
		return fmt.Sprintf("scheme %s: weight %q is no whole number from 0 to 1000; correct it", e.Scheme, e.Value)
	case BadValue:
		return fmt.Sprintf("scheme %s: %q is not CHARACTERS=NUMBER; write such as AJ=1", e.Scheme, e.Value)
	case NotCounted:
		return fmt.Sprintf("scheme %s: character %d of %q has no value; leave it out of what is covered, or give it one", e.Scheme, e.Place, e.Value)
	case TooFewWeights:
		return fmt.Sprintf("scheme %s: %q has more characters than there are weights; write one weight for each", e.Scheme, e.Value)
	case NothingCovered:
		return fmt.Sprintf("scheme %s: there is no text to count; give at least one character", e.Scheme)
	case NotWeighted:
		return fmt.Sprintf("scheme %s has no weights and values; leave them empty", e.Scheme)
	case NeedsWeights:
		return fmt.Sprintf("scheme %s needs weights; write one for each character covered", e.Scheme)
	}
	return fmt.Sprintf("scheme %s cannot be used so", e.Scheme)
}

// NewCheck makes a scheme ready for use. Weights and values belong to the two
// weighted schemes only, as in [catalog.Field]. The error is a [*SchemeError].
func NewCheck(scheme catalog.Scheme, weights, values catalog.Words) (*Check, error) {
	c := &Check{scheme: scheme, width: 1}
	for i := range c.val {
		c.val[i], c.last[i] = -1, -1
	}
	fill := func(table *[64]int8, letters bool) {
		for d := byte('0'); d <= '9'; d++ {
			table[d-lowest] = int8(d - '0')
		}
		if letters {
			for l := byte('A'); l <= 'Z'; l++ {
				table[l-lowest] = int8(l-'A') + 10
			}
		}
	}
	weighted := false
	switch scheme {
	case catalog.SchemeMod11_2:
		c.mod, c.accept = 11, 1
		fill(&c.val, false)
		fill(&c.last, false)
		c.last['X'-lowest] = 10
	case catalog.SchemeMod37_2:
		c.mod, c.accept = 37, 1
		fill(&c.val, true)
		fill(&c.last, true)
		c.last['*'-lowest] = 36
	case catalog.SchemeMod97_10:
		c.mod, c.accept, c.width = 97, 1, 2
		fill(&c.val, true)
		fill(&c.last, false)
	case catalog.SchemeMod37_36:
		c.start, c.accept, c.mod = 36, 1, 37
		fill(&c.val, true)
		fill(&c.last, true)
	case catalog.SchemeMod11, catalog.SchemeMod11Comp:
		c.mod, weighted = 11, true
		fill(&c.val, false)
		fill(&c.last, false)
		c.last['X'-lowest] = 10
	case catalog.SchemeGS1, catalog.SchemeLuhn:
		c.mod = 10
		fill(&c.val, false)
		fill(&c.last, false)
	default:
		return nil, &SchemeError{Scheme: scheme, Code: UnknownScheme}
	}
	if !weighted && len(weights)+len(values) > 0 {
		return nil, &SchemeError{Scheme: scheme, Code: NotWeighted, Value: weights.String()}
	}
	if weighted && len(weights) == 0 {
		return nil, &SchemeError{Scheme: scheme, Code: NeedsWeights}
	}
	for _, w := range weights {
		n, err := strconv.Atoi(w)
		if err != nil || n < 0 || n > 1000 {
			return nil, &SchemeError{Scheme: scheme, Code: BadWeight, Value: w}
		}
		c.weights = append(c.weights, n%11)
	}
	for _, v := range values {
		chars, num, ok := strings.Cut(v, "=")
		n, err := strconv.Atoi(num)
		set, fine := SetOf(catalog.Fold(chars))
		if !ok || err != nil || set == 0 || !fine {
			return nil, &SchemeError{Scheme: scheme, Code: BadValue, Value: v}
		}
		for ; set != 0; set &= set - 1 {
			c.val[set.min()-lowest] = int8((n%11 + 11) % 11)
		}
	}
	for i := range c.val {
		if c.val[i] >= 0 {
			c.payload |= 1 << i
		}
		if c.last[i] >= 0 {
			c.checks |= 1 << i
		}
	}
	return c, nil
}

// tabulate fills the tables of the automaton.
func (c *Check) tabulate() {
	table := func(next func(s, bit int) int) []uint8 {
		t := make([]uint8, c.mod*64)
		for i := range t {
			t[i] = none
			if n := next(i/64, i%64); n >= 0 {
				t[i] = uint8(n)
			}
		}
		return t
	}
	kinds := 1
	switch c.scheme {
	case catalog.SchemeMod11, catalog.SchemeMod11Comp:
		kinds = 11
	case catalog.SchemeGS1, catalog.SchemeLuhn:
		kinds = 2
	}
	for kind := range kinds {
		c.next = append(c.next, table(func(s, bit int) int {
			if c.val[bit] < 0 {
				return -1
			}
			return c.step(s, kind, int(c.val[bit]))
		}))
	}
	c.tail = table(func(s, bit int) int {
		if c.last[bit] < 0 {
			return -1
		}
		return c.end(s, int(c.last[bit]))
	})
}

// Scheme names the scheme.
func (c *Check) Scheme() catalog.Scheme { return c.scheme }

// Width is how many check characters the scheme has.
func (c *Check) Width() int { return c.width }

// kind tells how payload place i of n counts: by its weight, or by whether its
// distance from the end is odd, or like all others.
func (c *Check) kind(i, n int) int {
	switch c.scheme {
	case catalog.SchemeMod11, catalog.SchemeMod11Comp:
		return c.weights[i]
	case catalog.SchemeGS1, catalog.SchemeLuhn:
		return (n - i) % 2
	}
	return 0
}

// step gives the state after a payload character of value v at a place of that
// kind.
func (c *Check) step(s, kind, v int) int {
	switch c.scheme {
	case catalog.SchemeMod11_2, catalog.SchemeMod37_2:
		return (s + v) * 2 % c.mod
	case catalog.SchemeMod97_10:
		if v > 9 {
			return (s*100 + v) % 97
		}
		return (s*10 + v) % 97
	case catalog.SchemeMod37_36:
		t := (s + v) % 36
		if t == 0 {
			t = 36
		}
		return t * 2 % 37
	case catalog.SchemeMod11, catalog.SchemeMod11Comp:
		return (s + kind*v) % 11
	case catalog.SchemeGS1:
		if kind == 1 {
			v *= 3
		}
		return (s + v) % 10
	default: // Luhn: nine is cast out of a doubled digit above nine
		if kind == 1 {
			v *= 2
			if v > 9 {
				v -= 9
			}
		}
		return (s + v) % 10
	}
}

// end gives the state after a check character with the value v.
func (c *Check) end(s, v int) int {
	switch c.scheme {
	case catalog.SchemeMod97_10:
		return (s*10 + v) % 97
	case catalog.SchemeMod37_36:
		return (s + v) % 36
	case catalog.SchemeMod11:
		return (s + 11 - v) % 11
	}
	return (s + v) % c.mod
}

// run folds the payload and gives the state after it.
func (c *Check) run(payload string) (int, error) {
	text := catalog.Fold(payload)
	if text == "" {
		return 0, &SchemeError{Scheme: c.scheme, Code: NothingCovered}
	}
	if c.weights != nil && len(text) > len(c.weights) {
		return 0, &SchemeError{Scheme: c.scheme, Code: TooFewWeights, Value: cut(text)}
	}
	s := c.start
	for i := 0; i < len(text); i++ {
		if !c.payload.Has(text[i]) {
			return 0, &SchemeError{Scheme: c.scheme, Code: NotCounted, Value: cut(text), Place: i + 1}
		}
		s = c.step(s, c.kind(i, len(text)), int(c.val[text[i]-lowest]))
	}
	return s, nil
}

// Compute gives the check character or characters of the payload, which is
// folded first. The error is a [*SchemeError].
func (c *Check) Compute(payload string) (string, error) {
	s, err := c.run(payload)
	if err != nil {
		return "", err
	}
	if c.scheme == catalog.SchemeMod97_10 {
		pair := 98 - s*100%97
		return string([]byte{byte('0' + pair/10), byte('0' + pair%10)}), nil
	}
	for k := range c.checks.All() {
		if c.end(s, int(c.last[k-lowest])) == c.accept {
			return string(k), nil
		}
	}
	// Every state of every other scheme has its check character: their values
	// are a complete set of residues. MOD 37,36 and the digit schemes included.
	return "", &SchemeError{Scheme: c.scheme, Code: NotCounted, Value: cut(payload)}
}

// Verify tells whether check stands rightly behind payload. Both are folded; a
// text that the scheme cannot count is not verified.
func (c *Check) Verify(payload, check string) bool {
	s, err := c.run(payload)
	check = catalog.Fold(check)
	if err != nil || len(check) != c.width {
		return false
	}
	for i := 0; i < len(check); i++ {
		if !c.checks.Has(check[i]) {
			return false
		}
		s = c.end(s, int(c.last[check[i]-lowest]))
	}
	return s == c.accept
}

// states is a set of automaton states; the largest scheme has 97.
type states [2]uint64

func (m *states) add(s int)      { m[s>>6] |= 1 << (s & 63) }
func (m *states) has(s int) bool { return m[s>>6]>>(s&63)&1 == 1 }

// narrow takes from sets, at the places idx (the payload in its order, then the
// check characters), every character that stands in no text which verifies. It
// reports whether any text verifies and whether a set shrank. This is exact for
// any number of open places: a forward and a backward pass over the states of
// the scheme keep just what lies on a path from start to accept.
func (c *Check) narrow(sets *[MaxPlaces]Set, idx []uint8) (ok, shrank bool) {
	c.tables.Do(c.tabulate)
	n := len(idx) - c.width
	table := func(i int) []uint8 {
		if i < n {
			return c.next[c.kind(i, n)]
		}
		return c.tail
	}
	// What is read from the front is followed without sets of states.
	s, lead := c.start, 0
	for ; lead < len(idx) && sets[idx[lead]].single(); lead++ {
		t := table(lead)[s<<6|bits.TrailingZeros64(uint64(sets[idx[lead]]))]
		if t == none {
			return false, false
		}
		s = int(t)
	}
	if lead == len(idx) {
		return s == c.accept, false
	}
	var every states
	for s := range c.mod {
		every.add(s)
	}
	var reach [MaxPlaces + 1]states
	reach[lead].add(s)
	for i := lead; i < len(idx); i++ {
		set, t, to := uint64(sets[idx[i]]), table(i), &reach[i+1]
	forward:
		for w, word := range reach[i] {
			for ; word != 0; word &= word - 1 {
				row := t[(w<<6+bits.TrailingZeros64(word))<<6:][:64]
				for rest := set; rest != 0; rest &= rest - 1 {
					if next := row[bits.TrailingZeros64(rest)&63]; next != none {
						to.add(int(next))
					}
				}
				if *to == every {
					break forward
				}
			}
		}
	}
	if !reach[len(idx)].has(c.accept) {
		return false, false
	}
	var live states
	live.add(c.accept)
	for i := len(idx) - 1; i >= lead; i-- {
		set, t := uint64(sets[idx[i]]), table(i)
		var before states
		var keep uint64
		for w, word := range reach[i] {
			for ; word != 0; word &= word - 1 {
				s := w<<6 + bits.TrailingZeros64(word)
				row := t[s<<6:][:64]
				for rest := set; rest != 0; rest &= rest - 1 {
					if next := row[bits.TrailingZeros64(rest)&63]; next != none && live.has(int(next)) {
						before.add(s)
						if keep |= rest & -rest; keep == set {
							break // one way on is enough for the state
						}
					}
				}
			}
		}
		if keep != set {
			sets[idx[i]] = Set(keep)
			shrank = true
		}
		live = before
	}
	return true, shrank
}
