package plate

import (
	"fmt"
	"unicode/utf8"

	"platewright/catalog"
)

// MaxPlaces is the most places a reading can have.
const MaxPlaces = 64

// Reading is what a person could make out, place by place.
type Reading []Set

// String gives the canonical text: folded, either-or characters in byte order.
// [ParseReading] of it gives the same reading.
func (r Reading) String() string { return string(appendSets(nil, r)) }

func appendSets(dst []byte, r []Set) []byte {
	for _, s := range r {
		dst = s.appendTo(dst)
	}
	return dst
}

// MarshalText gives String.
func (r Reading) MarshalText() ([]byte, error) { return appendSets(nil, r), nil }

// UnmarshalText reads what MarshalText gives. The error is a [*ReadingError].
func (r *Reading) UnmarshalText(text []byte) error {
	if len(text) == 0 {
		*r = nil
		return nil
	}
	p, err := ParseReading(string(text))
	if err != nil {
		return err
	}
	*r = p
	return nil
}

// Text gives the text of a reading without open places, false if there is one.
func (r Reading) Text() (string, bool) {
	b := make([]byte, len(r))
	for i, s := range r {
		if !s.single() {
			return "", false
		}
		b[i] = s.min()
	}
	return string(b), true
}

// Open counts the places that are not settled to one character.
func (r Reading) Open() int {
	n := 0
	for _, s := range r {
		if !s.single() {
			n++
		}
	}
	return n
}

// ReadingCode says in one word what is wrong with the text of a reading.
type ReadingCode string

// The codes of a [ReadingError].
const (
	NothingRead    ReadingCode = "nothing"       // the text has no place at all
	Impossible     ReadingCode = "impossible"    // a character that stands on no plate
	Unclosed       ReadingCode = "unclosed"      // a [ without its ]
	Unopened       ReadingCode = "unopened"      // a ] without its [
	Nested         ReadingCode = "nested"        // a [ or ? within brackets
	EmptyBracket   ReadingCode = "empty-bracket" // brackets without a character
	RangeInBracket ReadingCode = "range"         // a dash within brackets: characters are listed, not spanned
	TooLong        ReadingCode = "too-long"      // more than [MaxPlaces] places
	UnknownField   ReadingCode = "unknown-field" // the layout has no field of this name
	FieldNeeded    ReadingCode = "field-needed"  // the field was said to be missing and is not optional
)

// ReadingError says why a text is no reading.
type ReadingError struct {
	Code  ReadingCode `json:"code"`
	Text  string      `json:"text"`            // the text refused
	Place int         `json:"place,omitempty"` // the character of Text it is about, 1 for the first
	Char  string      `json:"char,omitempty"`  // that character
	Field string      `json:"field,omitempty"` // the field, of a reading given field by field
}

func (e *ReadingError) Error() string {
	in := fmt.Sprintf("reading %q", e.Text)
	if e.Field != "" {
		in = fmt.Sprintf("field %q: ", e.Field) + in
	}
	switch e.Code {
	case NothingRead:
		return in + " has no character; write what can be made out, ? for what cannot"
	case Impossible:
		return fmt.Sprintf("%s: %q at character %d stands on no plate; write ? for what cannot be read", in, e.Char, e.Place)
	case Unclosed:
		return fmt.Sprintf("%s: the [ at character %d is not closed; write ] after the last of the characters it can be", in, e.Place)
	case Unopened:
		return fmt.Sprintf("%s: the ] at character %d was not opened; write [ before the first of the characters it can be", in, e.Place)
	case Nested:
		return fmt.Sprintf("%s: the %s at character %d stands within brackets; list plain characters there", in, e.Char, e.Place)
	case EmptyBracket:
		return fmt.Sprintf("%s: the brackets at character %d are empty; list the characters it can be, or write ?", in, e.Place)
	case RangeInBracket:
		return fmt.Sprintf("%s: the %s at character %d can mean a range; list each character it can be", in, e.Char, e.Place)
	case TooLong:
		return fmt.Sprintf("%s has more than %d places; give the text of one plate only", in, MaxPlaces)
	case UnknownField:
		return fmt.Sprintf("the layout has no field %q; name one of its fields", e.Field)
	case FieldNeeded:
		return fmt.Sprintf("field %q is always there; write ? for its characters, or leave it out for not read", e.Field)
	}
	return in + " is no reading"
}

// ParseReading reads what a person wrote: characters, ? for an unreadable one,
// and [38] for either-or. Case, width, spaces and separators do not matter;
// within brackets a comma, a slash or a bar may stand between the characters.
// A dash within brackets is refused: whoever writes [A-C] may mean a range or
// three characters. The error is a [*ReadingError].
func ParseReading(text string) (Reading, error) {
	out := make(Reading, 0, min(len(text), 24))
	fail := func(code ReadingCode, place int, char rune) (Reading, error) {
		e := &ReadingError{Code: code, Text: cut(text), Place: place}
		if char != 0 {
			e.Char = string(char)
		}
		return nil, e
	}
	inside, opened := false, 0
	var list Set
	place := 0
	for i, r := range text {
		place++
		if len(out) > MaxPlaces {
			break
		}
		var few [1]byte
		var folded []byte
		switch {
		case '0' <= r && r <= '9' || 'A' <= r && r <= 'Z':
			few[0] = byte(r)
			folded = few[:]
		case r == utf8.RuneError && text[i] != "\uFFFD"[0]:
			return fail(Impossible, place, r)
		default:
			folded = []byte(catalog.Fold(string(r)))
			if len(folded) == 0 {
				if inside && dash(r) {
					return fail(RangeInBracket, place, r)
				}
				continue
			}
		}
		for _, c := range folded {
			switch {
			case c == '[' && !inside:
				inside, opened, list = true, place, 0
			case c == ']' && inside:
				if list == 0 {
					return fail(EmptyBracket, opened, 0)
				}
				inside = false
				out = append(out, list)
			case c == ']':
				return fail(Unopened, place, 0)
			case inside && (c == '[' || c == '?'):
				return fail(Nested, place, rune(c))
			case inside && (c == ',' || c == '|'):
			case c == '?':
				out = append(out, Any)
			case one(c) == 0:
				return fail(Impossible, place, r)
			case inside:
				list |= one(c)
			default:
				out = append(out, one(c))
			}
		}
	}
	switch {
	case len(out) > MaxPlaces:
		return fail(TooLong, 0, 0)
	case inside:
		return fail(Unclosed, opened, 0)
	case len(out) == 0:
		return fail(NothingRead, 0, 0)
	}
	return out, nil
}

func dash(r rune) bool {
	switch r {
	case '-', '‐', '‑', '‒', '–', '—', '−':
		return true
	}
	return false
}

// cut keeps an error short where a whole file was given for a reading.
func cut(s string) string {
	const most = 200
	if len(s) <= most {
		return s
	}
	n := most
	for n > 0 && !utf8.RuneStart(s[n]) {
		n--
	}
	return s[:n]
}

// FillPlace gives the text with c in a place, 1 for the first, and all else as
// it was written. It is false where the text is no reading or has no such place
// of its own.
func FillPlace(text string, place int, c byte) (string, bool) {
	if _, err := ParseReading(text); err != nil {
		return "", false
	}
	at, from := 0, -1
	for i, r := range text {
		folded := catalog.Fold(string(r))
		switch {
		case folded == "[":
			from = i
		case folded == "]":
			if at++; at == place {
				return text[:from] + string(c) + text[i+len(string(r)):], true
			}
			from = -1
		case from >= 0:
		default:
			for range folded {
				if at++; at == place {
					return text[:i] + string(c) + text[i+len(string(r)):], len(folded) == 1
				}
			}
		}
	}
	return "", false
}
