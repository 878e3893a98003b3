package pack

import (
	"strings"

	"platewright/catalog"
)

// mangledAs tells what a spreadsheet made of a code: "a number with an
// exponent", "a date", or "" if the code does not look so. It knows the forms
// that spreadsheets write to CSV files with their usual settings.
func mangledAs(code string) string {
	if code == "" {
		return ""
	}
	c := code[0]
	switch {
	case '0' <= c && c <= '9' || c == '-' && len(code) > 1:
		if isExponent(code) {
			return "a number with an exponent"
		}
		if isNumericDate(code) || isMonthDate(code) {
			return "a date"
		}
	case 'A' <= c && c <= 'S' || 'a' <= c && c <= 's':
		// Month names in capitals are a person's, not a spreadsheet's.
		if len(code) > 1 && 'a' <= code[1] && code[1] <= 'z' && isMonthDate(code) {
			return "a date"
		}
	}
	return ""
}

func digits(s string) int {
	n := 0
	for n < len(s) && '0' <= s[n] && s[n] <= '9' {
		n++
	}
	return n
}

// isExponent: 1E5, 1.23457E+11, 1,23457E+11, -1.5e-07.
func isExponent(s string) bool {
	s = strings.TrimPrefix(s, "-")
	n := digits(s)
	if n == 0 {
		return false
	}
	s = s[n:]
	if s != "" && (s[0] == '.' || s[0] == ',') {
		n = digits(s[1:])
		if n == 0 {
			return false
		}
		s = s[1+n:]
	}
	if s == "" || s[0] != 'E' && s[0] != 'e' {
		return false
	}
	s = s[1:]
	if s != "" && (s[0] == '+' || s[0] == '-') {
		s = s[1:]
	}
	n = digits(s)
	return 0 < n && n <= 3 && n == len(s)
}

// isNumericDate: 2014-03-01, 1/2/2014, 03.04.2014, 3-4-2014. The year has four
// digits, and day and month are possible ones: 12.34.5678 is a code.
func isNumericDate(s string) bool {
	var part [3]string
	rest, sep := s, byte(0)
	for i := range part {
		n := digits(rest)
		if n == 0 {
			return false
		}
		part[i], rest = rest[:n], rest[n:]
		if i == 2 {
			break
		}
		if rest == "" || !strings.ContainsRune("-./", rune(rest[0])) || sep != 0 && rest[0] != sep {
			return false
		}
		sep, rest = rest[0], rest[1:]
	}
	if rest != "" {
		return false
	}
	year, a, b := part[2], part[0], part[1]
	if len(part[0]) == 4 {
		year, a, b = part[0], part[1], part[2]
	}
	m, n := small(a), small(b)
	return len(year) == 4 && "1900" <= year && year <= "2199" &&
		1 <= m && m <= 31 && 1 <= n && n <= 31 && (m <= 12 || n <= 12)
}

// small gives the number of one or two digits, 0 for anything else.
func small(s string) int {
	switch len(s) {
	case 1:
		return int(s[0] - '0')
	case 2:
		return int(s[0]-'0')*10 + int(s[1]-'0')
	}
	return 0
}

// months in the languages whose spreadsheets write them in plain letters:
// English, German, Dutch, French, Spanish, Italian, Danish and Polish.
const months = " jan feb mar apr may jun jul aug sep sept oct nov dec" +
	" mrz mai okt dez mrt mei janv mars avr juin juil ene abr ago dic gen mag giu lug set ott maj sty lut kwi cze lip sie wrz lis gru "

// isMonthDate: 03-Mar, 3-Mar-14, Mar-14, Mar 2014, 3. Mrz.
func isMonthDate(s string) bool {
	n := digits(s)
	if n > 2 {
		return false
	}
	day := n > 0
	if day && (small(s[:n]) < 1 || small(s[:n]) > 31) {
		return false
	}
	s = s[n:]
	if day {
		t := strings.TrimLeft(s, "-. /")
		if t == s {
			return false
		}
		s = t
	}
	n = 0
	for n < len(s) && ('a' <= s[n] && s[n] <= 'z' || n == 0 && 'A' <= s[n] && s[n] <= 'Z') {
		n++
	}
	if n < 3 || n > 4 || !strings.Contains(months, " "+strings.ToLower(s[:n])+" ") {
		return false
	}
	s = s[n:]
	if s == "" || s == "." {
		return day
	}
	t := strings.TrimLeft(s, "-. /")
	n = digits(t)
	return t != s && n == len(t) && (n == 2 || n == 4)
}

// zeros finds codes that have lost their leading zeros: where the digits-only
// codes of a column mostly have one width and some of them begin with 0, a
// shorter one was most likely a number once.
type zeros struct {
	width [catalog.MaxCode + 1]struct {
		n, led int
		kept   []zeroCase
	}
	keep int // cases kept of each width, 0 for all
}

type zeroCase struct {
	code string
	at   catalog.Place
}

func (z *zeros) see(code string, at catalog.Place) {
	n := len(code)
	if n == 0 || n > catalog.MaxCode || digits(code) != n {
		return
	}
	w := &z.width[n]
	w.n++
	if code[0] == '0' {
		w.led++
	} else if z.keep == 0 || len(w.kept) < z.keep {
		w.kept = append(w.kept, zeroCase{code, at})
	}
}

// suspects gives the shorter codes and the width of the others.
func (z *zeros) suspects() ([]zeroCase, int) {
	most, total := 0, 0
	for n := range z.width {
		if z.width[n].n > 0 {
			most = n
			total += z.width[n].n
		}
	}
	top := z.width[most]
	if top.led == 0 || 2*top.n <= total {
		return nil, 0
	}
	var out []zeroCase
	for n := range most {
		if z.width[n].led > 0 {
			return nil, 0 // zeros in front of different widths: the width says nothing
		}
		out = append(out, z.width[n].kept...)
	}
	return out, most
}
