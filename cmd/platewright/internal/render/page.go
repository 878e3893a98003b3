package render

import (
	"bytes"
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/width"
)

// Screen says how wide a text may be and whether it may be coloured. What a
// text means never hangs on colour: each coloured piece says it in words too.
type Screen struct {
	Width int // columns
	Color bool
}

// MinWidth is the narrowest screen that a text is laid out for.
const MinWidth = 30

type style uint8

const (
	plain style = iota
	strong
	muted
	good
	warn
	alert
)

// The sixteen basic colours only, so that each terminal's own theme decides how
// they look.
func (s style) sgr() string {
	switch s {
	case strong:
		return "\x1b[1m"
	case muted:
		return "\x1b[2m"
	case good:
		return "\x1b[1;32m"
	case warn:
		return "\x1b[1;33m"
	case alert:
		return "\x1b[1;31m"
	}
	return ""
}

// span is a piece of a paragraph in one style.
type span struct {
	text  string
	style style
}

func say(text string) span                 { return span{text, plain} }
func sayf(format string, args ...any) span { return span{fmt.Sprintf(format, args...), plain} }
func (s span) in(st style) span            { s.style = st; return s }

// glue stands where a line must not be broken, between a count and its number;
// it is printed as a space.
const glue = '\u00a0'

// page lays paragraphs out on a screen.
type page struct {
	buf   bytes.Buffer
	width int
	color bool
}

func newPage(s Screen) *page { return &page{width: max(s.Width, MinWidth), color: s.Color} }

// gap leaves one empty line between blocks, never two and none at the top.
func (p *page) gap() {
	b := p.buf.Bytes()
	if len(b) > 0 && !bytes.HasSuffix(b, []byte("\n\n")) {
		p.buf.WriteByte('\n')
	}
}

// head writes the heading of a block.
func (p *page) head(st style, format string, args ...any) {
	p.gap()
	p.put(0, 2, sayf(format, args...).in(st))
}

// put writes one paragraph: the first line indented by indent, the others by
// indent and hang. On a narrow screen indents are cut so that most of the width
// is left to the words.
func (p *page) put(indent, hang int, spans ...span) {
	indent = min(indent, p.width/5)
	rest := min(indent+hang, p.width/4)
	col, line := indent, false // a line is padded when its first word comes
	var word []span
	size := 0
	var flush func()
	flush = func() {
		if len(word) == 0 {
			return
		}
		if size > p.width-rest {
			// What is glued and does not fit on a line of its own comes apart.
			if first, last, glued := unglue(word); glued {
				word, size = first, spanColumns(first)
				flush()
				word, size = last, spanColumns(last)
				flush()
				return
			}
		}
		if line && col+1+size > p.width {
			p.buf.WriteByte('\n')
			col, line = rest, false
		}
		if line {
			p.buf.WriteByte(' ')
			col++
		} else {
			p.pad(col)
		}
		for _, s := range word {
			col = p.write(s, col, rest)
		}
		line, word, size = true, word[:0], 0
	}
	for _, s := range spans {
		text := visible(s.text)
		for text != "" {
			i := strings.IndexAny(text, " \n")
			if i < 0 {
				word, size = append(word, span{text, s.style}), size+columns(text)
				break
			}
			if i > 0 {
				word, size = append(word, span{text[:i], s.style}), size+columns(text[:i])
			}
			flush()
			if text[i] == '\n' {
				p.buf.WriteByte('\n')
				col, line = rest, false
			}
			text = text[i+1:]
		}
	}
	flush()
	p.buf.WriteByte('\n')
}

// unglue takes a word apart at its first glue.
func unglue(word []span) (first, last []span, ok bool) {
	for i, s := range word {
		before, after, found := strings.Cut(s.text, string(glue))
		if !found {
			continue
		}
		first = append(append(first, word[:i]...), span{before, s.style})
		last = append(append(last, span{after, s.style}), word[i+1:]...)
		return first, last, true
	}
	return nil, nil, false
}

func spanColumns(word []span) int {
	n := 0
	for _, s := range word {
		n += columns(s.text)
	}
	return n
}

// write puts a piece of a word at column col; what is longer than a whole line
// is broken where it reaches the edge.
func (p *page) write(s span, col, rest int) int {
	sgr := ""
	if p.color {
		sgr = s.style.sgr()
	}
	p.buf.WriteString(sgr)
	for _, r := range s.text {
		n := runeColumns(r)
		if col+n > p.width && col > rest {
			if sgr != "" {
				p.buf.WriteString("\x1b[0m")
			}
			p.buf.WriteByte('\n')
			p.pad(rest)
			p.buf.WriteString(sgr)
			col = rest
		}
		if r == glue {
			r = ' '
		}
		p.buf.WriteRune(r)
		col += n
	}
	if sgr != "" {
		p.buf.WriteString("\x1b[0m")
	}
	return col
}

func (p *page) pad(n int) {
	for range n {
		p.buf.WriteByte(' ')
	}
}

// visible replaces what would act on a terminal instead of being shown: a
// text typed or imported by somebody must not move the cursor or turn the
// direction of writing.
func visible(s string) string {
	ok := true
	for i := 0; i < len(s); i++ {
		if c := s[i]; c < ' ' && c != '\n' || c >= 0x7f {
			ok = false
			break
		}
	}
	if ok {
		return s
	}
	var b strings.Builder
	for i, r := range s {
		switch {
		case r == '\n':
			b.WriteByte('\n')
		case r == '\t':
			b.WriteByte(' ')
		case r == utf8.RuneError && !strings.HasPrefix(s[i:], "\ufffd"):
			fmt.Fprintf(&b, `\x%02x`, s[i])
		case unicode.IsControl(r), unicode.Is(unicode.Cf, r), unicode.Is(unicode.Co, r), r == '\u2028', r == '\u2029':
			fmt.Fprintf(&b, `\u%04x`, r)
		default:
			b.WriteRune(r)
		}
	}
	return b.String()
}

func columns(s string) int {
	n := 0
	for _, r := range s {
		n += runeColumns(r)
	}
	return n
}

func runeColumns(r rune) int {
	switch {
	case r < 0x300:
		return 1
	case unicode.In(r, unicode.Mn, unicode.Me):
		return 0
	}
	switch width.LookupRune(r).Kind() {
	case width.EastAsianWide, width.EastAsianFullwidth:
		return 2
	}
	return 1
}

// Shown gives a text that was typed or imported by somebody as it can safely be
// shown on a terminal.
func Shown(s string) string { return visible(s) }
