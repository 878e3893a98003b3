package catalog

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"
	"golang.org/x/text/unicode/runenames"
)

// FoldVersion numbers the rule of [Fold]. A store keeps it beside its keys:
// keys made by another version cannot be compared with keys made now.
const FoldVersion = 1

// Fold gives the key by which a code, a number or a plate text is found:
// Unicode NFKC, letters in upper case, and without spaces and the separators
// - – — . / _ : · which people write or leave out as they like. Everything else
// stays, so that a character which does not belong shows up as a difference.
// Fold is idempotent.
func Fold(s string) string {
	plain := true
	for i := 0; i < len(s); i++ {
		c := s[i]
		if !('0' <= c && c <= '9' || 'A' <= c && c <= 'Z') {
			plain = false
			break
		}
	}
	if plain {
		return s
	}
	ascii := true
	for i := 0; i < len(s); i++ {
		if s[i] >= utf8.RuneSelf {
			ascii = false
			break
		}
	}
	if ascii {
		b := make([]byte, 0, len(s))
		for i := 0; i < len(s); i++ {
			c := s[i]
			switch {
			case 'a' <= c && c <= 'z':
				b = append(b, c-('a'-'A'))
			case isSeparator(rune(c)):
			default:
				b = append(b, c)
			}
		}
		return string(b)
	}
	// Upper-casing can undo NFKC and the other way round (ſ, ﬁ), so both are
	// repeated until nothing changes; two rounds are enough for all of Unicode
	// and the bound only guards against a table that says otherwise.
	for range 4 {
		t := strings.Map(func(r rune) rune {
			if isSeparator(r) {
				return -1
			}
			return r
		}, strings.ToUpper(norm.NFKC.String(s)))
		if t == s {
			break
		}
		s = t
	}
	return s
}

func isSeparator(r rune) bool {
	switch r {
	case ' ', '\t', '\n', '\r', '-', '.', '/', '_', ':', '·', '‐', '‑', '‒', '–', '—', '−', '\u00a0', '\u202f':
		return true
	}
	return unicode.IsSpace(r)
}

// FoldValue gives the key of a mark's value: Unicode NFKC, lower case, runs of
// space as one, none at the ends. Unlike [Fold] it keeps separators, since in
// "5.2" and "52" they make the difference.
func FoldValue(s string) string {
	plain := true
	for i := 0; i < len(s); i++ {
		c := s[i]
		if !('0' <= c && c <= '9' || 'a' <= c && c <= 'z' || c == '.' || c == '-') {
			plain = false
			break
		}
	}
	if plain {
		return s
	}
	// Most values are ASCII with a capital or two, which need no tables.
	b := make([]byte, 0, len(s))
	space := false
	for i := 0; i < len(s); i++ {
		c := s[i]
		switch {
		case c >= utf8.RuneSelf:
			return strings.Join(strings.Fields(strings.ToLower(norm.NFKC.String(s))), " ")
		case c == ' ' || '\t' <= c && c <= '\r':
			space = true
			continue
		case 'A' <= c && c <= 'Z':
			c += 'a' - 'A'
		}
		if space && len(b) > 0 {
			b = append(b, ' ')
		}
		b, space = append(b, c), false
	}
	return string(b)
}

// MaxCode is the longest code in bytes that [CheckCode] accepts.
const MaxCode = 64

// CodeError says why a text cannot be a code.
type CodeError struct {
	Code   string // the text refused
	Reason string // what is wrong with it, e.g. "holds U+0410 CYRILLIC CAPITAL LETTER A"
	Mend   string // what to do
}

func (e *CodeError) Error() string {
	return fmt.Sprintf("%q is no code: %s; %s", e.Code, e.Reason, e.Mend)
}

// CheckCode refuses what cannot be typed from a part or a plate: an empty text,
// one longer than [MaxCode], and every character outside printable ASCII.
// Zero-width characters and letters of other scripts that look like ours are
// named, because they cannot be seen. The error is a [*CodeError].
func CheckCode(s string) error {
	if len(s) > MaxCode {
		short := s[:MaxCode]
		return &CodeError{short, fmt.Sprintf("it is %d bytes long, the limit is %d", len(s), MaxCode), "keep descriptions in a text column"}
	}
	sign := false
	for i := 0; i < len(s); i++ {
		c := s[i]
		switch {
		case c >= utf8.RuneSelf:
			r, size := utf8.DecodeRuneInString(s[i:])
			if r == utf8.RuneError && size <= 1 {
				return &CodeError{strings.ToValidUTF8(s, "?"), "it is not UTF-8 text", "save the file as UTF-8"}
			}
			return &CodeError{s, fmt.Sprintf("holds U+%04X %s", r, runenames.Name(r)), "type it again with plain letters, digits and dashes"}
		case c < ' ' || c == 0x7f:
			return &CodeError{s, fmt.Sprintf("holds the control character U+%04X", c), "type it again with plain letters, digits and dashes"}
		}
		if '0' <= c && c <= '9' || 'a' <= c && c <= 'z' || 'A' <= c && c <= 'Z' {
			sign = true
		}
	}
	switch {
	case !sign:
		return &CodeError{s, "it has no letter and no digit", "give the code as it stands on the part or plate"}
	case s[0] == ' ' || s[len(s)-1] == ' ':
		return &CodeError{s, "it begins or ends with a space", "take the space away"}
	}
	return nil
}

// MaxText is the longest text in bytes that [CheckText] accepts.
const MaxText = 8 << 10

// CheckText refuses what must not stand in a text for people: bytes that are
// not UTF-8, control characters other than a line feed or a tab, the marks that
// turn the direction of writing, invisible characters, and more than [MaxText]
// bytes. The error is a [*ValueError].
func CheckText(s string) error {
	if len(s) > MaxText {
		return &ValueError{s[:64], fmt.Sprintf("the text is %d bytes long, the limit is %d", len(s), MaxText), "shorten it"}
	}
	for i, r := range s {
		if r < utf8.RuneSelf && r >= ' ' && r != 0x7f || r == '\n' || r == '\t' {
			continue
		}
		if r == utf8.RuneError {
			if _, size := utf8.DecodeRuneInString(s[i:]); size <= 1 {
				return &ValueError{strings.ToValidUTF8(s, "?"), "it is not UTF-8 text", "save the file as UTF-8"}
			}
		}
		// Cf holds the zero-width and the direction marks; the soft hyphen too.
		if unicode.Is(unicode.Cc, r) || unicode.Is(unicode.Cf, r) || unicode.Is(unicode.Co, r) {
			return &ValueError{s, fmt.Sprintf("it holds the invisible character U+%04X %s", r, runenames.Name(r)), "type the text again without it"}
		}
	}
	return nil
}
