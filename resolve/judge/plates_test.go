package judge_test

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"platewright/catalog"
)

// This file reads plates (rule C3) in the most obvious way: every composition
// that a layout allows is laid beside the reading, every text that means a
// variant is put into it, and every completion of what is still open is tried.

const (
	allDigits  = "0123456789"
	allLetters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
)

type plates struct {
	root    string
	first   string // the first that follows another
	layouts []*plateLayout
}

type plateLayout struct {
	name, assembly string
	shapes         [][]place   // one entry for each character
	pairs          [][2]string // text, variant
}

// place is one character of a composition.
type place struct {
	field *catalog.Field
	chars string
}

func newPlates(w *world) *plates {
	p := &plates{}
	byName := map[string]*plateLayout{}
	fields := map[string][]*catalog.Field{}
	for _, tr := range w.rows {
		switch r := tr.row.(type) {
		case *catalog.Assembly:
			if r.Follows == "" {
				p.root = catalog.Fold(r.Assembly)
			} else if a := catalog.Fold(r.Assembly); p.first == "" || a < p.first {
				p.first = a
			}
		case *catalog.Layout:
			l := &plateLayout{name: catalog.Fold(r.Layout), assembly: catalog.Fold(r.Assembly)}
			byName[l.name] = l
			p.layouts = append(p.layouts, l)
		case *catalog.Field:
			k := catalog.Fold(r.Layout)
			fields[k] = append(fields[k], r)
		}
	}
	for _, tr := range w.rows {
		switch r := tr.row.(type) {
		case *catalog.Variant:
			if l := byName[catalog.Fold(r.Layout)]; l != nil {
				l.pairs = append(l.pairs, [2]string{r.Variant.Key(), r.Variant.Key()})
			}
		case *catalog.Plate:
			if l := byName[catalog.Fold(r.Layout)]; l != nil {
				l.pairs = append(l.pairs, [2]string{catalog.Fold(r.Plate), r.Variant.Key()})
			}
		}
	}
	for name, l := range byName {
		fs := fields[name]
		slices.SortFunc(fs, func(a, b *catalog.Field) int { return a.Place - b.Place })
		l.shapes = [][]place{nil}
		for _, f := range fs {
			var next [][]place
			for _, s := range l.shapes {
				for _, width := range widths(f) {
					longer := slices.Clone(s)
					for i := range width {
						longer = append(longer, place{f, fieldChars(f, i)})
					}
					next = append(next, longer)
				}
			}
			l.shapes = next
		}
	}
	return p
}

func widths(f *catalog.Field) []int {
	var out []int
	if f.Optional {
		out = append(out, 0)
	}
	if f.Kind == catalog.FieldLiteral {
		return append(out, len(catalog.Fold(f.Chars)))
	}
	for n := f.Min; n <= f.Max; n++ {
		out = append(out, n)
	}
	return out
}

func fieldChars(f *catalog.Field, i int) string {
	switch f.Kind {
	case catalog.FieldLiteral:
		return catalog.Fold(f.Chars)[i : i+1]
	case catalog.FieldDigits:
		return allDigits
	case catalog.FieldLetters:
		return allLetters
	case catalog.FieldAlphanum:
		return allDigits + allLetters
	}
	return strings.ToUpper(f.Chars)
}

// compose writes plates (root) or labels that the variant can bear, one for each
// composition and text, built within its range, with check characters that hold.
func (p *plates) compose(m *maker, v *catalog.Variant, root bool) []string {
	var out []string
	for _, l := range p.layouts {
		if (l.assembly == p.root) != root {
			continue
		}
		for _, pair := range l.pairs {
			if pair[1] != v.Variant.Key() {
				continue
			}
			for _, s := range l.shapes {
				for year := 10; year < 24; year++ {
					open := make([]string, len(s))
					built := fmt.Sprintf("%02d18", year)
					for i, pl := range s {
						switch {
						case pl.field.Means == catalog.MeansVariant, pl.field.Means == catalog.MeansCheck:
							open[i] = pl.chars
						case pl.field.Means == catalog.MeansBuilt:
							open[i], built = built[:1], built[1:]
						default:
							at := m.IntN(len(pl.chars))
							open[i] = pl.chars[at : at+1]
						}
					}
					if b1, b2 := spelledBuilt(s, open); b1 != 0 && (v.BuiltFrom != 0 && b1 < firstOrNull(v.BuiltFrom).(int) || v.BuiltTo != 0 && b2 > lastOrNull(v.BuiltTo).(int)) {
						continue
					}
					l.completions(s, open, pair[0], func(full []string) bool {
						out = append(out, strings.Join(full, ""))
						return false
					})
					break
				}
			}
		}
	}
	return out
}

type plateReading struct {
	assembly string
	serial   int64
	b1, b2   int
	variants []string
}

// read finds the assembly, and what the reading allows and spells in full: the
// serial number and the date are known where all that the check characters and
// the catalogue leave agree in them.
func (p *plates) read(text string, isPlate bool) plateReading {
	chars := tokens(text)
	try := func(root bool) (plateReading, bool) {
		var out plateReading
		found, some := false, false
		serials, builts := map[int64]bool{}, map[[2]int]bool{}
		for _, l := range p.layouts {
			if (l.assembly == p.root) != root {
				continue
			}
			for _, s := range l.shapes {
				open := overlay(s, chars)
				if open == nil {
					continue
				}
				found = true
				out.assembly = l.assembly
				for _, pair := range l.pairs {
					allows := false
					l.completions(s, open, pair[0], func(full []string) bool {
						allows = true
						serials[spelledSerial(s, full)] = true
						b1, b2 := spelledBuilt(s, full)
						builts[[2]int{b1, b2}] = true
						return true
					})
					if allows && !slices.Contains(out.variants, pair[1]) {
						out.variants = append(out.variants, pair[1])
					}
					some = some || allows
				}
			}
		}
		if some && len(serials) == 1 {
			for n := range serials {
				out.serial = n
			}
		}
		if some && len(builts) == 1 {
			for b := range builts {
				out.b1, out.b2 = b[0], b[1]
			}
		}
		slices.Sort(out.variants)
		return out, found
	}
	if isPlate {
		if r, ok := try(true); ok {
			return r
		}
	}
	if r, ok := try(false); ok {
		return r
	}
	if isPlate {
		return plateReading{assembly: p.root} // nothing could have produced it, and it allows nothing
	}
	return plateReading{assembly: p.first} // likewise
}

// tokens gives what each character of a reading can be: "" for any.
func tokens(text string) []string {
	var out []string
	s := catalog.Fold(text)
	for i := 0; i < len(s); i++ {
		switch s[i] {
		case '?':
			out = append(out, "")
		case '[':
			end := strings.IndexByte(s[i:], ']')
			out = append(out, s[i+1:i+end])
			i += end
		default:
			out = append(out, s[i:i+1])
		}
	}
	return out
}

// overlay gives what each place can hold in this composition, nil if it could
// not have produced the reading.
func overlay(s []place, chars []string) []string {
	if len(s) != len(chars) {
		return nil
	}
	out := make([]string, len(s))
	for i, pl := range s {
		for _, c := range pl.chars {
			if chars[i] == "" || strings.ContainsRune(chars[i], c) {
				out[i] += string(c)
			}
		}
		if out[i] == "" {
			return nil
		}
	}
	return out
}

// completions visits the completions in which the variant fields spell text.
func (l *plateLayout) completions(s []place, open []string, text string, visit func([]string) bool) {
	fixed := slices.Clone(open)
	n := 0
	for i, pl := range s {
		if pl.field.Means != catalog.MeansVariant {
			continue
		}
		if n >= len(text) || !strings.Contains(open[i], text[n:n+1]) {
			return
		}
		fixed[i] = text[n : n+1]
		n++
	}
	if n == len(text) {
		complete(s, fixed, 0, visit)
	}
}

// complete visits every completion of the places from i on with check
// characters that hold, until visit returns false.
func complete(s []place, open []string, i int, visit func([]string) bool) bool {
	for ; i < len(s); i++ {
		if len(open[i]) == 1 || !covered(s, s[i].field) {
			continue
		}
		was := open[i]
		defer func() { open[i] = was }()
		for _, c := range was {
			open[i] = string(c)
			if !complete(s, open, i+1, visit) {
				return false
			}
		}
		return true
	}
	for j := range s {
		if s[j].field.Means == catalog.MeansCheck && (j == 0 || s[j-1].field != s[j].field) && !checkHolds(s, open, s[j].field) {
			return true
		}
	}
	return visit(open)
}

// covered tells whether a check depends on the field.
func covered(s []place, f *catalog.Field) bool {
	for _, pl := range s {
		if pl.field.Means == catalog.MeansCheck && (pl.field == f || slices.Contains(covers(s, pl.field), f)) {
			return true
		}
	}
	return false
}

// covers gives the fields that a check field covers, in the order in which they
// count.
func covers(s []place, check *catalog.Field) []*catalog.Field {
	var out []*catalog.Field
	if len(check.Over) == 0 {
		for _, pl := range s {
			if pl.field.Means != catalog.MeansCheck && !slices.Contains(out, pl.field) {
				out = append(out, pl.field)
			}
		}
		return out
	}
	for _, name := range check.Over {
		for _, pl := range s {
			if catalog.Fold(pl.field.Field) == catalog.Fold(name) && !slices.Contains(out, pl.field) {
				out = append(out, pl.field)
			}
		}
	}
	return out
}

func fieldText(s []place, open []string, f *catalog.Field) string {
	var b strings.Builder
	for i, pl := range s {
		if pl.field == f {
			b.WriteString(open[i])
		}
	}
	return b.String()
}

// checkHolds computes a check once more. The pure and hybrid systems follow
// ISO/IEC 7064:2003, clauses 7 and 9; GS1 General Specifications, section 7.9;
// Luhn ISO/IEC 7812-1, annex B. Package plate is judged on its own against
// published numbers; here only two programs are to agree.
func checkHolds(s []place, open []string, check *catalog.Field) bool {
	var body string
	for _, f := range covers(s, check) {
		body += fieldText(s, open, f)
	}
	got := fieldText(s, open, check)
	digit := func(c byte) int { return strings.IndexByte(allDigits+allLetters+"*", c) }
	pure := func(text string, m, r int) bool {
		sum := 0
		for i := range len(text) {
			v := digit(text[i])
			if m == 11 && text[i] == 'X' {
				v = 10
			}
			sum = (sum*r + v) % m
		}
		return sum == 1
	}
	switch check.Scheme {
	case catalog.SchemeMod11_2:
		return pure(body+got, 11, 2)
	case catalog.SchemeMod37_2:
		return pure(body+got, 37, 2)
	case catalog.SchemeMod97_10:
		n := 0
		for i := range len(body + got) {
			v := digit((body + got)[i])
			if v >= 10 {
				n = (n*100 + v) % 97
			} else {
				n = (n*10 + v) % 97
			}
		}
		return n == 1
	case catalog.SchemeMod37_36:
		p := 36
		for i := range len(body) {
			x := (p + digit(body[i])) % 36
			if x == 0 {
				x = 36
			}
			p = x * 2 % 37
		}
		return (p+digit(got[0]))%36 == 1
	case catalog.SchemeGS1, catalog.SchemeLuhn:
		sum := 0
		for i := range len(body) {
			v := int(body[len(body)-1-i] - '0')
			if i%2 == 0 {
				if check.Scheme == catalog.SchemeGS1 {
					v *= 3
				} else if v *= 2; v > 9 {
					v -= 9
				}
			}
			sum += v
		}
		return (sum+int(got[0]-'0'))%10 == 0
	}
	sum := 0
	for i := range len(body) {
		v := digit(body[i])
		if v >= 10 {
			v = -1
			for _, x := range check.Values {
				chars, n, _ := strings.Cut(x, "=")
				if strings.Contains(strings.ToUpper(chars), body[i:i+1]) {
					v, _ = strconv.Atoi(n)
				}
			}
			if v < 0 {
				return false
			}
		}
		weight, _ := strconv.Atoi(check.Weights[i])
		sum += weight * v
	}
	want := sum % 11
	if check.Scheme == catalog.SchemeMod11Comp {
		want = (11 - want) % 11
	}
	return got == "0123456789X"[want:want+1]
}

func spelled(s []place, open []string, means catalog.Meaning) (string, string) {
	text, form := "", ""
	for i, pl := range s {
		if pl.field.Means == means {
			if len(open[i]) != 1 {
				return "", ""
			}
			text, form = text+open[i], pl.field.Form
		}
	}
	return text, form
}

func spelledSerial(s []place, open []string) int64 {
	text, _ := spelled(s, open, catalog.MeansSerial)
	n, _ := strconv.ParseInt(text, 10, 64)
	return n
}

// spelledBuilt gives the first and last day of a build date. A year of two
// digits is of this century.
func spelledBuilt(s []place, open []string) (int, int) {
	text, form := spelled(s, open, catalog.MeansBuilt)
	if text == "" {
		return 0, 0
	}
	y, rest := 0, ""
	if strings.HasPrefix(form, "YYYY") {
		y, _ = strconv.Atoi(text[:4])
		rest = text[4:]
	} else {
		y, _ = strconv.Atoi(text[:2])
		y += 2000
		rest = text[2:]
	}
	if form == "YYWW" {
		week, _ := strconv.Atoi(rest)
		// The fourth of January is always in week 1 (ISO 8601-1, 3.1.1.23).
		d := time.Date(y, 1, 4, 0, 0, 0, 0, time.UTC)
		monday := d.AddDate(0, 0, -(int(d.Weekday())+6)%7+7*(week-1))
		if iy, iw := monday.ISOWeek(); iy != y || iw != week {
			return 0, 0
		}
		return dayNumber(monday), dayNumber(monday) + 6
	}
	date := strconv.Itoa(y)
	for ; len(rest) >= 2; rest = rest[2:] {
		date += "-" + rest[:2]
	}
	d, err := catalog.ParseDate(date)
	if err != nil {
		return 0, 0
	}
	return days(d)
}
