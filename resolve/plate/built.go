package plate

import (
	"encoding/json"
	"time"

	"platewright/catalog"
)

// Built is what a plate says of when the unit was built: one date, known to the
// day, the month or the year, or a week's first and last day.
type Built struct {
	First, Last catalog.Date
}

// Week tells whether the plate names a week, so that First and Last differ.
func (b Built) Week() bool { return b.First != b.Last }

type builtJSON struct {
	First string `json:"first"`
	Last  string `json:"last"`
}

// MarshalJSON writes both dates as ISO 8601 texts.
func (b Built) MarshalJSON() ([]byte, error) {
	return json.Marshal(builtJSON{b.First.String(), b.Last.String()})
}

// UnmarshalJSON reads what MarshalJSON writes.
func (b *Built) UnmarshalJSON(text []byte) error {
	var j builtJSON
	if err := json.Unmarshal(text, &j); err != nil {
		return err
	}
	first, err := catalog.ParseDate(j.First)
	if err != nil {
		return err
	}
	last, err := catalog.ParseDate(j.Last)
	if err != nil {
		return err
	}
	*b = Built{first, last}
	return nil
}

// ParseBuilt reads the digits of a built field by its form: YYWW, YYMM, YYYYMM,
// YYYYMMDD or YYYY. Of a year with two digits, 70 to 99 are 1970 to 1999 and
// 00 to 69 are 2000 to 2069: no unit from before 1970 is expected on a bench.
// WW is a week by ISO 8601, from Monday to Sunday; a year without a 53rd week
// has none. It is false for a date that cannot be.
func ParseBuilt(form, digits string) (Built, bool) {
	if len(form) != len(digits) {
		return Built{}, false
	}
	num := func(from, to int) int {
		n := 0
		for _, c := range []byte(digits[from:to]) {
			if c < '0' || c > '9' {
				return -1
			}
			n = n*10 + int(c-'0')
		}
		return n
	}
	year, rest := 0, 0
	switch form {
	case "YYWW", "YYMM":
		year, rest = num(0, 2), 2
		if year < 0 {
			return Built{}, false
		}
		if year >= 70 {
			year += 1900
		} else {
			year += 2000
		}
	case "YYYY", "YYYYMM", "YYYYMMDD":
		year, rest = num(0, 4), 4
		if year < 1900 || year > 2199 {
			return Built{}, false
		}
	default:
		return Built{}, false
	}
	if rest == len(form) {
		d := catalog.Date(year * 10000)
		return Built{d, d}, true
	}
	second := num(rest, rest+2)
	if form == "YYWW" {
		return week(year, second)
	}
	if second < 1 || second > 12 {
		return Built{}, false
	}
	d := catalog.Date(year*10000 + second*100)
	if form != "YYYYMMDD" {
		return Built{d, d}, true
	}
	day := num(6, 8)
	t := time.Date(year, time.Month(second), day, 0, 0, 0, 0, time.UTC)
	if day < 1 || t.Day() != day {
		return Built{}, false
	}
	d += catalog.Date(day)
	return Built{d, d}, true
}

// week gives a week by ISO 8601: week 1 holds the year's first Thursday, which
// is the week of 4 January.
func week(year, w int) (Built, bool) {
	if w < 1 || w > 53 {
		return Built{}, false
	}
	fourth := time.Date(year, 1, 4, 0, 0, 0, 0, time.UTC)
	monday := fourth.AddDate(0, 0, -(int(fourth.Weekday())+6)%7+(w-1)*7)
	if y, n := monday.ISOWeek(); y != year || n != w {
		return Built{}, false
	}
	sunday := monday.AddDate(0, 0, 6)
	return Built{day(monday), day(sunday)}, true
}

func day(t time.Time) catalog.Date {
	return catalog.Date(t.Year()*10000 + int(t.Month())*100 + t.Day())
}
