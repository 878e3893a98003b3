package plate

import (
	"cmp"
	"slices"
	"strings"
)

// Likely is a character that can stand where another was read.
type Likely struct {
	Char    string   `json:"char"`
	Share   float64  `json:"share"`             // of all that can stand there, from 0 to 1
	Sources []Source `json:"sources,omitempty"` // of the pair of characters; none for the character that was read
}

// readRight is the share that a character in doubt keeps for itself.
const readRight = 0.5

// InDoubt gives what can stand where c, folded, was read by somebody who doubts
// it, the likeliest first: c itself, and the characters that it is taken for.
//
// Which characters these are has the sources named beside each (see
// [Confusables]). How likely they are nobody has published for stamped plates:
// c keeps one half, and the others share the rest by how many sources name the
// pair, a pair of common practice alone counting as one (common practice, no
// published source).
func InDoubt(c byte) []Likely {
	out := []Likely{{Char: string(c), Share: 1}}
	total := 0
	for i := range confusables {
		p := &confusables[i]
		switch c {
		case p.A:
			out = append(out, Likely{Char: string(p.B), Sources: slices.Clone(p.Sources)})
		case p.B:
			out = append(out, Likely{Char: string(p.A), Sources: slices.Clone(p.Sources)})
		default:
			continue
		}
		total += len(p.Sources)
	}
	if total == 0 {
		return out
	}
	out[0].Share = readRight
	for i := range out[1:] {
		l := &out[1+i]
		l.Share = (1 - readRight) * float64(len(l.Sources)) / float64(total)
	}
	slices.SortStableFunc(out[1:], func(a, b Likely) int {
		return cmp.Or(-cmp.Compare(a.Share, b.Share), strings.Compare(a.Char, b.Char))
	})
	return out
}

// WithDoubt gives the reading with what [InDoubt] allows at a place, 1 for the
// first. It is false where there is no such place, or more or less than one
// character is read there.
func (r Reading) WithDoubt(place int) (Reading, bool) {
	if place < 1 || place > len(r) || r[place-1].Len() != 1 {
		return nil, false
	}
	c, _ := Reading{r[place-1]}.Text()
	out := slices.Clone(r)
	out[place-1] |= confusableWith(c[0])
	return out, true
}

// Weight tells how likely the slip of a near reading is beside others: a
// confusable character as in [InDoubt], a swap, a dropped and a doubled character
// one for each confusable (common practice, no published source: clerks' slips
// with separators and order are seen, but rarer than a misread).
func (n *NearReading) Weight() float64 {
	if n.Kind != Misread || len(n.Read) != 1 || len(n.Would) != 1 {
		return slipWeight
	}
	for _, l := range InDoubt(n.Read[0]) {
		if l.Char == n.Would {
			return l.Share
		}
	}
	return slipWeight
}

// slipWeight is the weight of a swap, a dropped or a doubled character.
const slipWeight = 0.1
