package synth

import (
	"math"
	"math/rand/v2"
	"strings"
)

// Syllables that make no words of any language, so that no name means anybody.
var (
	onsets = []string{"vr", "zl", "qu", "dv", "kn", "skr", "tw", "gl", "zw", "fl", "thr", "pl", "gn", "shl"}
	vowels = []string{"a", "e", "i", "o", "u", "ue", "oa"}
	codas  = []string{"b", "lk", "mp", "nd", "rk", "sk", "x", "zz", "ft", "m"}
)

func pick[T any](r *rand.Rand, list []T) T { return list[r.IntN(len(list))] }

// chance is true in n of a thousand cases.
func chance(r *rand.Rand, n int) bool { return r.IntN(1000) < n }

// invent makes up a name of that many syllables.
func invent(r *rand.Rand, syllables int) string {
	var b strings.Builder
	for range syllables {
		b.WriteString(pick(r, onsets))
		b.WriteString(pick(r, vowels))
	}
	b.WriteString(pick(r, codas))
	return b.String()
}

func capital(s string) string { return strings.ToUpper(s[:1]) + s[1:] }

var features = []string{
	"short gear", "long gear", "wide steps", "close steps", "with retarder", "side drive", "low pan", "deep pan",
	"second series", "cold store", "quay tractor", "small bus", "long van", "tall van", "twin cooler", "no cooler",
}

// plainWords are what a shop writes down; the rest of a note's words is
// invented, so that a text index meets rare words too.
var plainWords = strings.Fields(`the and of in on with was is it not at to from for after before when more than both
	ring seal sleeve plug pan bolt filter gasket kit set coil cap wire loom plate clutch piston valve body spring
	shaft bush screw magnet cover drain fill level fluid cooler line tube sensor module harness connector pin
	worn bent cracked tight loose short long wide narrow hard soft clean dirty dry wet warm cold new old left right
	upper lower front rear inner outer first second third measured fitted leaked wept held slipped checked changed
	cleaned turned pressed pulled marked noted returned wrong right side again twice once batch box drawer`)

const rareWords = 1600

// vocabulary gives the words of the notes, the most frequent first.
func vocabulary(r *rand.Rand) []string {
	out := append([]string(nil), plainWords...)
	for range rareWords {
		out = append(out, invent(r, 1+r.IntN(2)))
	}
	return out
}

// sentence gives about n words of the vocabulary. Words at its head come much
// more often than those at its end, as in any text.
func sentence(r *rand.Rand, vocabulary []string, n int) string {
	n += r.IntN(13) - 6
	var b strings.Builder
	b.Grow(8 * n)
	for i := range n {
		w := vocabulary[int(float64(len(vocabulary))*math.Pow(r.Float64(), 3))]
		switch {
		case i == 0:
			w = capital(w)
		case i%9 == 5:
			b.WriteByte(',')
		}
		if i > 0 {
			b.WriteByte(' ')
		}
		b.WriteString(w)
	}
	b.WriteByte('.')
	return b.String()
}
