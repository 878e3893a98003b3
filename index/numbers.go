package index

import (
	"bytes"
	"slices"
	"strings"
)

// numberList is a text with a line feed before and after each folded number.
// The lines of documents come first, in the order of the documents.
type numberList []byte

// numberHit is a line that holds what was looked for.
type numberHit struct {
	line   int
	at, to int // the number's bytes in the list
	anchor Anchor
	rest   int // characters of the number beyond what was looked for
}

// mostNumbers is how many lines of one anchor are kept: more than a person looks
// through, and few enough to keep a short piece among a million numbers cheap.
const mostNumbers = 1000

// find gives the lines that hold a folded piece, in which ? stands for any
// character, at the place that anchor says; "" is any. It gives the best of them
// and how many there are.
func (l numberList) find(piece string, anchor Anchor) (hits []numberHit, total int) {
	needle, before := longestLiteral(piece)
	if needle == "" || strings.ContainsRune(piece, '\n') {
		return nil, 0
	}
	kept := map[Anchor]int{}
	pos, counted, lines := 0, 0, -1
	for {
		i := bytes.Index(l[pos:], []byte(needle))
		if i < 0 {
			return hits, total
		}
		p := pos + i
		pos = p + 1
		from, to := p-before, p-before+len(piece)
		if from < 1 || to >= len(l) || !matches(l[from:to], piece) {
			continue
		}
		lead, trail := l[from-1] == '\n', l[to] == '\n'
		a := AnchorInner
		switch {
		case lead && trail:
			a = AnchorWhole
		case lead:
			a = AnchorLeading
		case trail:
			a = AnchorTrailing
		}
		switch anchor {
		case AnchorLeading:
			if !lead {
				continue
			}
		case AnchorTrailing:
			if !trail {
				continue
			}
		case AnchorWhole:
			if a != AnchorWhole {
				continue
			}
		}
		start := bytes.LastIndexByte(l[:from], '\n') + 1
		end := to + bytes.IndexByte(l[to:], '\n')
		total++
		if a != AnchorInner || bytes.IndexByte(l[pos:end], needle[0]) < 0 {
			pos = end
		} else if better := l.later(pos, end, piece, needle, before); better {
			// The piece stands once more in this number, at its end.
			total--
			continue
		} else {
			pos = end
		}
		if kept[a]++; kept[a] > mostNumbers {
			continue
		}
		lines += bytes.Count(l[counted:start], []byte{'\n'})
		counted = start
		hits = append(hits, numberHit{line: lines, at: start, to: end, anchor: a, rest: end - start - len(piece)})
	}
}

// later tells whether the piece ends the number that ends before end.
func (l numberList) later(pos, end int, piece, needle string, before int) bool {
	from := end - len(piece)
	return from >= pos && matches(l[from:end], piece)
}

func matches(text []byte, piece string) bool {
	for i := 0; i < len(piece); i++ {
		if c := text[i]; c == '\n' || piece[i] != '?' && piece[i] != c {
			return false
		}
	}
	return true
}

// longestLiteral gives the longest run without ? and how much stands before it.
func longestLiteral(piece string) (string, int) {
	best, at := "", 0
	for i := 0; i < len(piece); {
		if piece[i] == '?' {
			i++
			continue
		}
		j := i
		for j < len(piece) && piece[j] != '?' {
			j++
		}
		if j-i > len(best) {
			best, at = piece[i:j], i
		}
		i = j
	}
	return best, at
}

// near gives the lines that are one typing error away from a whole folded
// number: one character wrong, missing or too many, or two neighbours swapped.
// One error leaves the part before it or the part behind it as it is, so only
// lines that begin or end like the number are compared.
func (l numberList) near(number string) []numberHit {
	if len(number) < 5 || strings.ContainsAny(number, "?\n") {
		return nil
	}
	h := len(number) / 2
	var hits []numberHit
	seen := map[int]bool{}
	for _, needle := range []string{"\n" + number[:h], number[h-1:] + "\n", number[h+1:] + "\n", "\n" + number[:h-1]} {
		pos, counted, lines := 0, 0, -1
		for {
			i := bytes.Index(l[pos:], []byte(needle))
			if i < 0 {
				break
			}
			p := pos + i
			pos = p + 1
			if needle[0] == '\n' {
				p++
			}
			start := bytes.LastIndexByte(l[:p], '\n') + 1
			end := start + bytes.IndexByte(l[start:], '\n')
			if d := end - start - len(number); d < -1 || d > 1 || seen[start] || !oneOff(string(l[start:end]), number) {
				continue
			}
			seen[start] = true
			lines += bytes.Count(l[counted:start], []byte{'\n'})
			counted = start
			if len(hits) < mostNumbers {
				hits = append(hits, numberHit{line: lines, at: start, to: end, anchor: AnchorNear})
			}
		}
	}
	slices.SortFunc(hits, func(a, b numberHit) int { return a.line - b.line })
	return hits
}

// oneOff tells whether one typing error turns a into b.
func oneOff(a, b string) bool {
	if len(a) > len(b) {
		a, b = b, a
	}
	i := 0
	for i < len(a) && a[i] == b[i] {
		i++
	}
	if len(a) < len(b) {
		return a[i:] == b[i+1:]
	}
	if i == len(a) {
		return false
	}
	return a[i+1:] == b[i+1:] || i+1 < len(a) && a[i] == b[i+1] && a[i+1] == b[i] && a[i+2:] == b[i+2:]
}
