package seed_test

import (
	"strconv"
	"strings"
	"testing"
)

// The check characters of the demo are judged by the rules as published, apart
// from the code that reads plates.

const (
	alphabet36 = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
	alphabet37 = alphabet36 + "*"
)

// mod37_2 checks by ISO/IEC 7064 MOD 37-2, a pure system: the sum of value ×
// 2^(position from the right, the check character at 0) is 1 modulo 37.
func mod37_2(s string) bool {
	sum, power := 0, 1
	for i := len(s) - 1; i >= 0; i-- {
		v := strings.IndexByte(alphabet37, s[i])
		if v < 0 || v == 36 && i != len(s)-1 {
			return false
		}
		sum, power = (sum+v*power)%37, power*2%37
	}
	return sum == 1
}

// mod37_36 checks by ISO/IEC 7064 MOD 37,36, a hybrid system: from 36, each
// character adds to the product modulo 36 (36 for 0), which is doubled modulo
// 37; the check character makes the last sum 1 modulo 36.
func mod37_36(s string) bool {
	p := 36
	for i := range len(s) {
		v := strings.IndexByte(alphabet36, s[i])
		if v < 0 {
			return false
		}
		p = (p + v) % 36
		if i == len(s)-1 {
			return p == 1
		}
		if p == 0 {
			p = 36
		}
		p = p * 2 % 37
	}
	return false
}

// mod11 checks by the modulus 11 with weights as the ISSN has it (ISO 3297,
// ISSN Manual): the weighted sum with the check character is a multiple of 11, X
// counts as ten.
func mod11(weights []string, s string) bool {
	if len(s) != len(weights)+1 {
		return false
	}
	sum := 0
	for i := range len(s) {
		v := strings.IndexByte("0123456789X", s[i])
		if v < 0 || v == 10 && i != len(s)-1 {
			return false
		}
		w := 1
		if i < len(weights) {
			w, _ = strconv.Atoi(weights[i])
		}
		sum += v * w
	}
	return sum%11 == 0
}

// TestCheckRules holds the rules above to examples that others published.
func TestCheckRules(t *testing.T) {
	issn := strings.Fields("8 7 6 5 4 3 2")
	for _, c := range []struct {
		name, text string
		want       bool
		check      func(string) bool
	}{
		// ISO/IEC 7064 MOD 37-2: a donation number with its check character from
		// the tests of the Go library jacoelho/go-iso7064.
		{"MOD 37-2", "G123489654321Y", true, mod37_2},
		{"MOD 37-2, star", "LMOSBYFCTRSSJCB3X6U9DUBLKNIH03FO6X963TGXYAHG*", true, mod37_2},
		{"MOD 37-2, wrong", "G123489654321X", false, mod37_2},
		// ISO/IEC 7064 MOD 37,36: example of the Global Release Identifier, check
		// character M.
		{"MOD 37,36", "A12425GABC1234002M", true, mod37_36},
		{"MOD 37,36, wrong", "A12425GABC1234020M", false, mod37_36},
		// The worked example of the ISSN Manual, at loc.gov/issn/check.html: 0317-8471.
		{"modulus 11", "03178471", true, func(s string) bool { return mod11(issn, s) }},
		{"modulus 11, wrong", "03718471", false, func(s string) bool { return mod11(issn, s) }},
	} {
		if got := c.check(c.text); got != c.want {
			t.Errorf("%s: %q is judged %t, want %t", c.name, c.text, got, c.want)
		}
	}
}
