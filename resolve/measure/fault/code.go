package fault

import (
	"fmt"
	"regexp"
	"strings"
	"sync"
)

// Code is a trouble code in its five characters, such as P0750.
type Code string

// DefinedBy says who defines what a code means.
type DefinedBy string

// Who defines codes.
const (
	ByStandard DefinedBy = "standard" // SAE J2012 and ISO 15031-6
	ByMaker    DefinedBy = "maker"    // the maker of the vehicle or the unit
	Unsettled  DefinedBy = "unsettled"
)

// CodeError says why a text is no trouble code.
type CodeError struct {
	Text   string
	Reason string
	Mend   string
}

func (e *CodeError) Error() string { return fmt.Sprintf("%q: %s; %s", e.Text, e.Reason, e.Mend) }

var (
	codeForm = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^[PCBU][0-3][0-9A-F]{3}$`) })
	twoBytes = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^[0-9A-F]{2} [0-9A-F]{2}$`) })
)

// ParseCode reads a trouble code as P0750, in any case and with spaces or a dash
// between, or as the two bytes by which it travels, 07 50. The letter O in the place of
// a zero is named, not mended. The error is a [*CodeError].
func ParseCode(text string) (Code, error) {
	s := strings.ToUpper(strings.TrimSpace(text))
	if twoBytes().MatchString(s) {
		return fromBytes(s), nil
	}
	squeezed := strings.NewReplacer(" ", "", "-", "").Replace(s)
	if codeForm().MatchString(squeezed) {
		return Code(squeezed), nil
	}
	mend := "write a letter P, C, B or U, a digit from 0 to 3 and three digits that can be A to F, such as P0750"
	switch {
	case s == "":
		return "", &CodeError{text, "it is empty", mend}
	case len(squeezed) == 5 && codeForm().MatchString(squeezed[:1]+strings.ReplaceAll(squeezed[1:], "O", "0")):
		return "", &CodeError{text, "it has the letter O in the place of a zero", "write it with a zero, if that is what the tool shows"}
	case len(squeezed) == 4 && codeForm().MatchString("P"+squeezed):
		return "", &CodeError{text, "the letter is missing", "write it with its letter, such as P" + squeezed + "; two bytes stand with a space between"}
	case len(squeezed) > 5 && codeForm().MatchString(squeezed[:5]):
		return "", &CodeError{text, "it has more than five characters", "write the code alone, " + squeezed[:5] + ", without what the tool adds to it"}
	}
	return "", &CodeError{text, "it is no trouble code", mend}
}

// fromBytes reads the two bytes of a code: two bits for the letter, two for the
// first digit, twelve for the rest.
func fromBytes(s string) Code {
	hex := s[:2] + s[3:]
	first := strings.IndexByte("0123456789ABCDEF", hex[0])
	return Code(string("PCBU"[first>>2]) + string(rune('0'+first&3)) + hex[1:])
}

// DefinedBy tells who defines the code. Codes of which readings of the standard
// differ are unsettled.
func (c Code) DefinedBy() DefinedBy {
	if !codeForm().MatchString(string(c)) {
		return Unsettled
	}
	switch digit := c[1]; {
	case digit == '0':
		return ByStandard
	case c[0] == 'P' && digit == '2':
		return ByStandard
	case c[0] == 'P' && digit == '3':
		switch {
		case c[2] <= '3':
			return ByMaker
		case c[2] <= '9':
			return ByStandard
		}
		return Unsettled
	case digit == '1', digit == '2':
		return ByMaker
	}
	return Unsettled
}
