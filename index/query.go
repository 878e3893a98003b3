package index

import (
	"slices"
	"strings"
	"unicode"

	"platewright/catalog"
)

// Limits of a query. What is beyond them is left out: a person types less, and
// nothing that is pasted by mistake must take long.
const (
	maxQuery = 1000 // bytes
	maxTerms = 24
)

// alternative is one way in which a document can hold a term: all of these
// words, at that weight.
type alternative struct {
	words  []string
	weight float64
}

// term is one thing that is looked for.
type term struct {
	word   Word
	alts   []alternative
	number string // folded; ? for any character; "" for a word
	anchor Anchor
	exact  []found // rows whose number this is
	phrase []string
	at     []int
	filler bool
	figure bool // a number in words: it counts the thing that other words name
	prefix bool // * stood behind it
	typed  int  // where it stands in the query
}

// found is a row that the catalogue has under a number.
type found struct {
	table *catalog.Table
	key   string
	row   catalog.Row
}

// item is a chunk of a query on its way to a term.
type item struct {
	chunk
	words  []string // its words in lower case
	number bool     // holds a digit or ?
	folded string
	anchor Anchor
	star   bool
	done   bool
}

// spoken are the digits as people say them.
var spoken = map[string]string{
	"zero": "0", "oh": "0", "o": "0", "nought": "0", "naught": "0", "nil": "0", "one": "1", "two": "2", "three": "3", "four": "4",
	"five": "5", "six": "6", "seven": "7", "eight": "8", "nine": "9",
}

// figures are numbers as people say them where they count something. Texts write
// them in digits or in words.
var figures = map[string]string{
	"two": "2", "three": "3", "four": "4", "five": "5", "six": "6", "seven": "7", "eight": "8", "nine": "9", "ten": "10",
	"eleven": "11", "twelve": "12", "thirteen": "13", "fourteen": "14", "fifteen": "15", "sixteen": "16", "seventeen": "17", "eighteen": "18",
	"nineteen": "19", "twenty": "20", "thirty": "30", "forty": "40", "fifty": "50", "sixty": "60", "seventy": "70", "eighty": "80", "ninety": "90", "hundred": "100",
}

// cues say where in a number the piece that follows stands.
var cues = []struct {
	words  []string
	anchor Anchor
}{
	{[]string{"ends", "in"}, AnchorTrailing}, {[]string{"ends", "with"}, AnchorTrailing}, {[]string{"ends", "on"}, AnchorTrailing},
	{[]string{"ending", "in"}, AnchorTrailing}, {[]string{"ending", "with"}, AnchorTrailing}, {[]string{"ending", "on"}, AnchorTrailing},
	{[]string{"end", "in"}, AnchorTrailing}, {[]string{"end", "with"}, AnchorTrailing}, {[]string{"ending"}, AnchorTrailing}, {[]string{"ends"}, AnchorTrailing},
	{[]string{"last", "digits"}, AnchorTrailing}, {[]string{"last", "figures"}, AnchorTrailing}, {[]string{"at", "the", "end"}, AnchorTrailing},
	{[]string{"starts", "with"}, AnchorLeading}, {[]string{"starting", "with"}, AnchorLeading}, {[]string{"begins", "with"}, AnchorLeading},
	{[]string{"beginning", "with"}, AnchorLeading}, {[]string{"start", "with"}, AnchorLeading}, {[]string{"starts"}, AnchorLeading}, {[]string{"begins"}, AnchorLeading},
	{[]string{"starting"}, AnchorLeading}, {[]string{"first", "digits"}, AnchorLeading},
	{[]string{"has"}, ""}, {[]string{"contains"}, AnchorInner}, {[]string{"containing"}, AnchorInner}, {[]string{"in", "the", "middle"}, AnchorInner},
}

// items cuts a query into chunks, and says the digits that were spelled out.
func items(text string) []item {
	var out []item
	for _, c := range chunks(text, true) {
		it := item{chunk: c, star: strings.HasPrefix(text[c.to:], "*")}
		newStemmer().words(c, &it)
		if strings.ContainsFunc(c.text, func(r rune) bool { return unicode.IsNumber(r) }) || strings.Trim(c.text, "?") != c.text && strings.Trim(c.text, "?") != "" && strings.Contains(strings.Trim(c.text, "?"), "?") {
			it.number = true
		}
		if q := strings.TrimRight(c.text, "?"); !it.number && strings.Contains(q, "?") {
			it.number = true
		}
		it.folded = catalog.Fold(c.text)
		if !it.number {
			it.folded = strings.ReplaceAll(it.folded, "?", "")
		}
		out = append(out, it)
	}
	return joinSpoken(text, out)
}

// words gives the words and digit runs of a chunk.
func (s *stemmer) words(c chunk, it *item) {
	rest := c.text
	for rest != "" {
		i := strings.IndexFunc(rest, func(r rune) bool { return unicode.IsLetter(r) || unicode.IsMark(r) || unicode.IsNumber(r) })
		if i < 0 {
			return
		}
		rest = rest[i:]
		number := unicode.IsNumber([]rune(rest)[0])
		end := strings.IndexFunc(rest, func(r rune) bool {
			letter := unicode.IsLetter(r) || unicode.IsMark(r) || r == '\'' || r == '’'
			return number && !unicode.IsNumber(r) || !number && !letter
		})
		if end < 0 {
			end = len(rest)
		}
		if w := plain(rest[:end]); w != "" {
			it.words = append(it.words, w)
		}
		rest = rest[end:]
	}
}

// joinSpoken turns runs of at least two spoken digits into a number.
func joinSpoken(text string, in []item) []item {
	var out []item
	for i := 0; i < len(in); {
		digits, j, times := "", i, 1
	run:
		for ; j < len(in); j++ {
			said := ""
			for _, w := range in[j].words {
				switch {
				case w == "double" || w == "triple":
					times = 2
					if w == "triple" {
						times = 3
					}
				case spoken[w] != "":
					said += strings.Repeat(spoken[w], times)
					times = 1
				default:
					break run
				}
			}
			digits += said
		}
		for j > i && len(in[j-1].words) == 1 && (in[j-1].words[0] == "double" || in[j-1].words[0] == "triple") {
			j--
		}
		if len(digits) < 2 {
			out = append(out, in[i])
			i++
			continue
		}
		from, to := in[i].from, in[j-1].to
		out = append(out, item{chunk: chunk{text[from:to], from, to}, words: []string{digits}, number: true, folded: digits})
		i = j
	}
	return out
}

// anchors gives numbers the place that the words before them say, and takes
// these words out.
func (x *Index) anchors(in []item) error {
	for i := range in {
		for _, c := range cues {
			n := len(c.words)
			if i+n > len(in) || in[i].done {
				continue
			}
			ok := true
			for k, w := range c.words {
				ok = ok && len(in[i+k].words) == 1 && in[i+k].words[0] == w
			}
			if !ok {
				continue
			}
			// Up to two words can stand between: "ends in the figures 042".
			k := i + n
			for k < len(in) && k <= i+n+2 && !in[k].number {
				k++
			}
			if k == len(in) || !in[k].number {
				continue
			}
			if c.anchor == "" {
				break
			}
			if err := x.joinBefore(in, i+n, k); err != nil {
				return err
			}
			in[k].anchor = c.anchor
			for d := i; d < i+n; d++ {
				in[d].done = true
			}
			break
		}
	}
	return nil
}

// joinBefore puts letters that stand between a cue and its number before the number,
// where the catalogue has numbers that hold both: "starts with drk four two".
func (x *Index) joinBefore(in []item, from, k int) error {
	for ; from < k; from++ {
		whole := in[k]
		for j := k - 1; j >= from; j-- {
			if in[j].done || len(in[j].folded) > 4 || len(in[j].words) != 1 || stopWords()[in[j].words[0]] {
				whole.folded = ""
				break
			}
			whole.folded = in[j].folded + whole.folded
			whole.words = append(slices.Clone(in[j].words), whole.words...)
		}
		if whole.folded == "" {
			continue
		}
		held, err := x.holdsNumber(whole.folded)
		if err != nil {
			return err
		}
		if held {
			whole.from = in[from].from
			for j := from; j < k; j++ {
				in[j].done = true
			}
			in[k] = whole
			return nil
		}
	}
	return nil
}

// quoted takes the pieces between double quotes out of a text.
func quoted(text string) (rest string, phrases []string) {
	text = strings.NewReplacer("“", `"`, "”", `"`, "„", `"`).Replace(text)
	var b strings.Builder
	for {
		i := strings.IndexByte(text, '"')
		if i < 0 {
			break
		}
		j := strings.IndexByte(text[i+1:], '"')
		if j < 0 {
			break
		}
		b.WriteString(text[:i])
		b.WriteByte(' ')
		phrases = append(phrases, text[i+1:i+1+j])
		text = text[i+j+2:]
	}
	b.WriteString(text)
	return b.String(), phrases
}

// parse reads a query.
func (x *Index) parse(text string) ([]*term, error) {
	if len(text) > maxQuery {
		text = strings.ToValidUTF8(text[:maxQuery], "")
	}
	text = strings.ToValidUTF8(text, " ")
	rest, phrases := quoted(text)
	var out []*term
	for _, p := range phrases {
		t := &term{word: Word{Text: p, Kind: WordPhrase, Also: []string{}, Read: []string{}}}
		x.stem.tokens(p, func(k token) {
			if k.word {
				t.phrase, t.at = append(t.phrase, k.term), append(t.at, k.pos)
			}
		})
		for i := range t.at {
			t.at[i] -= t.at[0]
		}
		switch {
		case len(t.phrase) == 0:
		case len(t.phrase) == 1:
			rest += " " + p
		default:
			out = append(out, t)
		}
	}
	list := items(rest)
	if err := x.anchors(list); err != nil {
		return nil, err
	}
	numbers, err := x.numbersOf(rest, list)
	if err != nil {
		return nil, err
	}
	out = append(out, numbers...)
	words, err := x.wordsOf(list)
	if err != nil {
		return nil, err
	}
	out = append(out, words...)
	if len(out) > maxTerms {
		out = out[:maxTerms]
	}
	// Fillers count only where nothing else does.
	if !slices.ContainsFunc(out, func(t *term) bool { return !t.filler }) {
		for _, t := range out {
			t.filler = false
			if t.word.Kind == WordFiller {
				t.word.Kind = WordText
			}
		}
	}
	return out, nil
}

// numbersOf takes the numbers out of a query: first what the catalogue knows
// exactly, over up to five chunks, then pieces.
func (x *Index) numbersOf(text string, list []item) ([]*term, error) {
	var out []*term
	take := func(i, j int, t *term) {
		t.typed = list[i].from
		t.word.Text = text[list[i].from:list[j-1].to]
		t.word.Also, t.word.Read = []string{}, []string{}
		for k := i; k < j; k++ {
			list[k].done = true
		}
		out = append(out, t)
	}
	open := func(i, j int) bool {
		for k := i; k < j; k++ {
			if list[k].done || list[k].anchor != "" {
				return false
			}
		}
		return true
	}
	for n := min(5, len(list)); n > 0; n-- {
		for i := 0; i+n <= len(list); i++ {
			j := i + n
			whole := n == len(list) && n <= 4
			digits := slices.ContainsFunc(list[i:j], func(it item) bool { return it.number })
			compound := n == 1 && len(list[i].words) > 1
			if !open(i, j) || !whole && !digits && !compound {
				continue
			}
			folded := ""
			for _, it := range list[i:j] {
				folded += it.folded
			}
			if strings.Contains(folded, "?") || len(folded) < 2 || len(folded) > catalog.MaxCode {
				continue
			}
			rows, err := x.exact(folded)
			if err != nil {
				return nil, err
			}
			if len(rows) == 0 {
				continue
			}
			t := &term{number: folded, anchor: AnchorWhole, exact: rows, word: Word{Kind: WordNumber, Anchor: AnchorWhole}}
			t.alts = append(t.alts, alternative{[]string{plain(folded)}, 1})
			if whole && !digits && n >= 1 {
				// A short name in words, such as a scope of work: its words count as well.
				t.word.Text, t.typed = text[list[i].from:list[j-1].to], list[i].from
				t.word.Also, t.word.Read = []string{}, []string{}
				t.filler = true
				out = append(out, t)
				continue
			}
			take(i, j, t)
		}
	}
	for n := min(4, len(list)); n > 0; n-- {
		for i := 0; i+n <= len(list); i++ {
			j := i + n
			if n > 1 && !x.joinable(list[i:j]) || n == 1 && (!list[i].number || list[i].done) {
				continue
			}
			folded := ""
			for _, it := range list[i:j] {
				folded += it.folded
			}
			literal, _ := longestLiteral(folded)
			if n > 1 {
				if ok, err := x.holdsNumber(folded); err != nil {
					return nil, err
				} else if !ok {
					continue
				}
			}
			t := &term{number: folded, anchor: list[i].anchor, word: Word{Kind: WordNumber, Anchor: list[i].anchor}}
			alone := j-i == len(list)
			if len(literal) < 2 && !alone || len(folded) < 3 && list[i].anchor == "" && !alone {
				// A figure such as 10 in "10 ohm": looked for in texts alone.
				t.number = ""
				t.word.Kind = WordText
			}
			if !strings.Contains(folded, "?") {
				t.alts = append(t.alts, alternative{[]string{plain(folded)}, 1})
				var pieces []string
				for _, it := range list[i:j] {
					for _, w := range it.words {
						if !stopWords()[w] {
							pieces = append(pieces, x.stem.stem(w))
						}
					}
				}
				if len(pieces) > 1 {
					t.alts = append(t.alts, alternative{pieces, 0.7})
				}
			}
			take(i, j, t)
		}
	}
	return out, nil
}

// joinable tells whether chunks can be one number written with spaces.
func (x *Index) joinable(list []item) bool {
	digits, size := false, 0
	for _, it := range list {
		if it.done || it.anchor != "" && it.from != list[0].from {
			return false
		}
		size += len(it.folded)
		switch {
		case it.number:
			digits = true
		case len(it.folded) > 4 || len(it.words) != 1 || stopWords()[it.words[0]] || len(it.words[0]) > 1 && x.hasWord(it.words[0]):
			return false
		}
	}
	return digits && size >= 3 && size <= catalog.MaxCode
}

// wordsOf makes terms of the words that are left.
func (x *Index) wordsOf(list []item) ([]*term, error) {
	type word struct {
		text, lower string
		star        bool
		at          int
		apart       []string // of two words that texts write as one: both
	}
	var words []word
	for i := 0; i < len(list); i++ {
		it := list[i]
		if it.done {
			continue
		}
		if len(it.words) > 1 {
			if whole := strings.Join(it.words, ""); x.hasWord(whole) {
				words = append(words, word{it.text, whole, it.star, it.from, it.words})
				continue
			}
		}
		if len(it.words) == 1 && i+1 < len(list) && !list[i+1].done && len(list[i+1].words) == 1 {
			// Two words that texts write as one, or with a dash.
			a, b := it.words[0], list[i+1].words[0]
			if x.hasWord(a+b) && (len(a) < 4 || len(b) < 4 || !x.hasWord(a) || !x.hasWord(b)) {
				words = append(words, word{it.text + " " + list[i+1].text, a + b, list[i+1].star, it.from, []string{a, b}})
				i++
				continue
			}
		}
		for k, w := range it.words {
			words = append(words, word{w, w, it.star && k == len(it.words)-1, it.from + k, nil})
		}
	}
	var out []*term
	once := map[string]bool{} // what is said twice counts once
	for i := 0; i < len(words); {
		// The longest run of words that the trade has others for.
		n := 1
		lower := make([]string, 0, 4)
		for k := i; k < len(words) && k < i+4; k++ {
			lower = append(lower, words[k].lower)
		}
		for k := len(lower); k > 1; k-- {
			if len(x.synonyms.of(x.stem.stemAll(lower[:k]))) > 0 {
				n = k
				break
			}
		}
		w := words[i]
		var texts []string
		for _, v := range words[i : i+n] {
			texts = append(texts, v.text)
		}
		t := &term{word: Word{Text: strings.Join(texts, " "), Kind: WordText, Also: []string{}, Read: []string{}}, prefix: w.star, typed: w.at}
		i += n
		if n == 1 && stopWords()[w.lower] {
			continue
		}
		if n == 1 && fillers()[w.lower] {
			t.filler, t.word.Kind = true, WordFiller
		}
		if kindWords[strings.ToLower(t.word.Text)] != "" {
			t.filler, t.word.Kind, t.word.Text = true, WordFiller, strings.ToLower(t.word.Text)
		}
		said := strings.Join(x.stem.stemAll(lower[:n]), " ")
		if once[said] {
			continue
		}
		once[said] = true
		if n == 1 && w.apart != nil {
			t.alts = append(t.alts, alternative{x.stem.stemAll(w.apart), 1})
		}
		if digits := figures[w.lower]; n == 1 && digits != "" {
			t.figure = true
			t.alts = append(t.alts, alternative{[]string{x.stem.stem(w.lower)}, 1}, alternative{[]string{digits}, 1})
			t.word.Also = append(t.word.Also, digits)
		} else if err := x.alternatives(t, lower[:n]); err != nil {
			return nil, err
		}
		out = append(out, t)
	}
	return out, nil
}

// alternatives fills in what a term is looked for by: its stem, words of the
// trade, and where no text holds it, words that begin with it or are spelled
// nearly so.
func (x *Index) alternatives(t *term, lower []string) error {
	stems := x.stem.stemAll(lower)
	t.alts = append(t.alts, alternative{stems, 1})
	known := false
	also := func(stems []string, weight float64) {
		for _, s := range x.synonyms.of(stems) {
			t.alts = append(t.alts, alternative{s.stems, weight * s.weight})
			if s.weight > 0.9 { // what the catalogue calls it
				t.word.Also = append(t.word.Also, s.text)
			}
			known = true
		}
	}
	also(stems, 1)
	for _, s := range stems {
		n, err := x.count(s)
		if err != nil {
			return err
		}
		known = known || n > 0 && len(stems) == 1
		if n == 0 && len(stems) > 1 {
			break
		}
	}
	if len(lower) > 1 {
		return nil
	}
	w := lower[0]
	if !known {
		// Wider, widest: forms that the stemmer leaves alone.
		for _, s := range plainer(w) {
			if x.hasWord(s) {
				stem := x.stem.stem(s)
				t.alts = append(t.alts, alternative{[]string{stem}, 0.9})
				t.word.Read = append(t.word.Read, s)
				also([]string{stem}, 0.9)
				return nil
			}
		}
	}
	if t.prefix || !known && len(w) >= 3 {
		for _, s := range x.beginning(w) {
			if s == w {
				continue
			}
			t.alts = append(t.alts, alternative{[]string{x.stem.stem(s)}, 0.8})
			if !known {
				t.word.Read = append(t.word.Read, s)
			}
		}
	}
	if known || t.prefix || len(t.word.Read) > 0 || len(w) < 4 {
		return nil
	}
	near, err := x.spelledLike(w)
	if err != nil {
		return err
	}
	for _, s := range near {
		stem := x.stem.stem(s.word)
		weight := 0.8
		if s.distance > 1 {
			weight = 0.6
		}
		t.alts = append(t.alts, alternative{[]string{stem}, weight})
		t.word.Read = append(t.word.Read, s.word)
		also([]string{stem}, weight)
	}
	return nil
}

// plainer gives what a comparative or superlative can be a form of.
func plainer(w string) []string {
	for _, end := range []string{"est", "er"} {
		s, ok := strings.CutSuffix(w, end)
		if !ok || len(s) < 3 {
			continue
		}
		out := []string{s, s + "e"}
		if n := len(s); s[n-1] == s[n-2] {
			out = append(out, s[:n-1])
		}
		if s[len(s)-1] == 'i' {
			out = append(out, s[:len(s)-1]+"y")
		}
		return out
	}
	return nil
}

func (s *stemmer) stemAll(words []string) []string {
	out := make([]string, len(words))
	for i, w := range words {
		out[i] = s.stem(w)
	}
	return out
}

// synonyms are the words of the trade that stand for others, both ways.
type synonyms struct {
	by    map[string][]synonym
	words []string // all single words, for typing errors
}

type synonym struct {
	stems  []string
	text   string
	weight float64
}

func readSynonyms(r Reader, s *stemmer) (*synonyms, error) {
	out := &synonyms{by: map[string][]synonym{}}
	add := func(from, to string, weight float64) {
		a, b := s.textStems(from), s.textStems(to)
		if len(a) > 0 && len(b) > 0 {
			k := strings.Join(a, " ")
			out.by[k] = append(out.by[k], synonym{b, to, weight})
		}
	}
	for row, err := range r.Rows(catalog.TableByName(catalog.TSynonyms)) {
		if err != nil {
			return nil, err
		}
		y := row.(*catalog.Synonym)
		// What the catalogue calls it is the better of the two.
		add(y.Word, y.Means, 0.95)
		add(y.Means, y.Word, 0.6)
		if w := plain(y.Word); !strings.ContainsAny(w, " -") {
			out.words = append(out.words, w)
		}
	}
	return out, nil
}

func (s *synonyms) of(stems []string) []synonym { return s.by[strings.Join(stems, " ")] }

// textStems gives the stems of the words of a text.
func (s *stemmer) textStems(text string) []string {
	var out []string
	s.tokens(text, func(t token) {
		if t.word {
			out = append(out, t.term)
		}
	})
	return out
}
