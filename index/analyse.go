package index

import (
	"strings"
	"sync"
	"unicode"
	"unicode/utf8"

	"github.com/blevesearch/bleve/v2/analysis"
	"github.com/blevesearch/bleve/v2/analysis/lang/en"
	"golang.org/x/text/unicode/norm"

	"platewright/catalog"
)

// analysisVersion numbers the rules by which texts become terms. An index made
// by other rules is built anew.
const analysisVersion = 1

// token is one piece of a text under which the text is found.
type token struct {
	term     string // what is compared: a stem, digits, a folded number
	surface  string // the word as it stands in the text, in lower case; "" for numbers
	from, to int    // the bytes of the text that it stands for
	pos      int    // counted in words; several tokens can share one
	word     bool   // counts as a word of the text; the others are further readings of words
}

// stemmer remembers the stems of words, which a text repeats all the time.
type stemmer struct {
	known  map[string]string
	filter *en.EnglishStemmerFilter
}

func newStemmer() *stemmer {
	return &stemmer{known: map[string]string{}, filter: en.NewEnglishStemmerFilter()}
}

// stem gives the stem of a word in lower case, by the English rules of Snowball.
func (s *stemmer) stem(word string) string {
	if t, ok := s.known[word]; ok {
		return t
	}
	out := s.filter.Filter(analysis.TokenStream{{Term: []byte(word)}})
	t := string(out[0].Term)
	s.known[word] = t
	return t
}

// stopWords carry nothing by which a text could be found. Words that turn a
// meaning around (not, no, off, out, without) and sides stay.
var stopWords = sync.OnceValue(func() map[string]bool {
	return set("a an the of for to in on at with and or is are was were be been it its this that these those as by from my our your i we you they he she me us them have has had do does did will would can could should there here what which who whom when where how than then so if into any some am im ive")
})

// fillers are what people say around the words that count. In a query they help
// a little where they stand in a text and are not missed where they do not.
var fillers = sync.OnceValue(func() map[string]bool {
	return set("need needs needed looking look want wants wanted please number numbers no part parts one ones thing things stuff got get give find search show list order ordering something anything guy customer customers caller his her says said called uses used use using fit fits fitting goes go right about just new old need again")
})

func set(words string) map[string]bool {
	m := map[string]bool{}
	for _, w := range strings.Fields(words) {
		m[w] = true
	}
	return m
}

// joins tells whether r can stand within a number or a compound word.
func joins(r rune) bool {
	switch r {
	case '-', '.', '/', '_', ':', '·', '‐', '‑', '‒', '–', '−':
		return true
	}
	return false
}

// chunk is a run of letters and digits with single joiners between.
type chunk struct {
	text     string // as it stands
	from, to int
}

// chunks cuts a text where people put spaces and punctuation. With wild, ? is a
// character of a number.
func chunks(text string, wild bool) []chunk {
	var out []chunk
	start, last := -1, 0
	flush := func(end int) {
		if start >= 0 {
			out = append(out, chunk{text[start:end], start, end})
			start = -1
		}
	}
	for i, r := range text {
		switch {
		case unicode.IsLetter(r), unicode.IsDigit(r), unicode.IsNumber(r), unicode.IsMark(r), r == '\'' && start >= 0, r == '’' && start >= 0, wild && r == '?':
			if start < 0 {
				start = i
			}
			last = i + utf8.RuneLen(r)
			if r == utf8.RuneError {
				last = i + 1
			}
		case joins(r) && start >= 0 && last == i:
			// One joiner; a second one in a row ends the chunk.
		default:
			flush(last)
		}
	}
	flush(last)
	return out
}

// tokens takes a text apart. The terms of one text do not depend on what stands
// before or after it.
func (s *stemmer) tokens(text string, each func(token)) {
	pos := 0
	for _, c := range chunks(text, false) {
		pos = s.chunkTokens(c, pos, each)
	}
}

// plain gives the form of a text in which words are compared: Unicode NFKC,
// lower case, no apostrophes, Ω as a word.
func plain(s string) string {
	ascii := true
	for i := 0; i < len(s); i++ {
		if s[i] >= utf8.RuneSelf || s[i] == '\'' {
			ascii = false
			break
		}
	}
	if ascii {
		return strings.ToLower(s)
	}
	s = strings.ToLower(norm.NFKC.String(s))
	s = strings.NewReplacer("ω", "ohm", "’", "'").Replace(s)
	s = strings.TrimSuffix(strings.TrimSuffix(s, "'s"), "s'")
	return strings.ReplaceAll(s, "'", "")
}

// chunkTokens gives the terms of one chunk and the position after it: the words
// and digit runs in it one after another, and at the place of the first, where
// there are several, the chunk as a whole.
func (s *stemmer) chunkTokens(c chunk, pos int, each func(token)) int {
	first := pos
	pieces, digits := 0, false
	rest, at := c.text, c.from
	for rest != "" {
		r, n := utf8.DecodeRuneInString(rest)
		if !unicode.IsLetter(r) && !unicode.IsMark(r) && !unicode.IsNumber(r) {
			rest, at = rest[n:], at+n
			continue
		}
		number := unicode.IsNumber(r)
		end := 0
		for end < len(rest) {
			r, n := utf8.DecodeRuneInString(rest[end:])
			letter := unicode.IsLetter(r) || unicode.IsMark(r) || r == '\'' || r == '’'
			if number && !unicode.IsNumber(r) || !number && !letter {
				break
			}
			end += n
		}
		t := plain(rest[:end])
		digits = digits || number
		switch {
		case t == "":
		case number:
			each(token{term: t, from: at, to: at + end, pos: pos, word: true})
			pieces++
		case stopWords()[t]:
			pieces++
		default:
			each(token{term: s.stem(t), surface: t, from: at, to: at + end, pos: pos, word: true})
			pieces++
		}
		if t != "" {
			pos++
		}
		rest, at = rest[end:], at+end
	}
	if pieces > 1 {
		whole := plain(catalog.Fold(c.text))
		if digits {
			each(token{term: whole, from: c.from, to: c.to, pos: first})
		} else if whole != "" {
			each(token{term: s.stem(whole), surface: whole, from: c.from, to: c.to, pos: first})
		}
	}
	return pos
}
