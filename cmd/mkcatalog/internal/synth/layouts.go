package synth

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"time"

	"platewright/catalog"
	"platewright/resolve/plate"
)

// layout is a way in which plates are composed, with the alphabet from which
// the codes of its variants are made. A code is a prefix that its family alone
// has, a number and a suffix; no prefix of any layout begins another one.
type layout struct {
	row     catalog.Layout
	fields  []catalog.Field
	prefix  []string // the characters possible at each place of the prefix
	number  int      // digits of the number
	suffix  []string // in byte order
	share   int      // of the families, in parts of all shares
	widths  []int    // of the fields that mean the variant
	check   *plate.Check
	checkAt int   // index of the check field, -1 for none
	over    []int // indexes of the fields that it covers
}

const (
	digits   = "0123456789"
	letters  = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
	alphanum = digits + letters
)

func places(n int, chars string) []string {
	out := make([]string, n)
	for i := range out {
		out[i] = chars
	}
	return out
}

func join(lists ...[]string) []string {
	var out []string
	for _, l := range lists {
		out = append(out, l...)
	}
	return out
}

// field makes the row of a field; its layout and place are filled in later.
func field(name string, kind catalog.FieldKind, n int, means catalog.Meaning) catalog.Field {
	return catalog.Field{Field: name, Kind: kind, Min: n, Max: n, Means: means}
}

func literal(text string) catalog.Field {
	return catalog.Field{Field: "lead", Kind: catalog.FieldLiteral, Chars: text, Means: catalog.MeansNothing}
}

func set(name, chars string, n int, means catalog.Meaning) catalog.Field {
	f := field(name, catalog.FieldSet, n, means)
	f.Chars = chars
	return f
}

func built(form string) catalog.Field {
	f := field("built", catalog.FieldDigits, len(form), catalog.MeansBuilt)
	f.Form = form
	return f
}

func serial(n int) catalog.Field {
	return field("serial", catalog.FieldDigits, n, catalog.MeansSerial)
}

func check(f catalog.Field, scheme catalog.Scheme, over string) catalog.Field {
	f.Scheme, f.Over = scheme, strings.Fields(over)
	return f
}

func weighted(f catalog.Field, weights, values string) catalog.Field {
	f.Weights, f.Values = strings.Fields(weights), strings.Fields(values)
	return f
}

func optional(f catalog.Field) catalog.Field {
	f.Optional = true
	return f
}

var (
	threeRevisions  = []string{"A", "B", "C"}
	doubleRevisions = []string{"AA", "AB", "BA"}
	issues          = []string{"01", "02", "03"}
)

// caseLayouts are the plates on unit cases: codes of 10 to 14 characters, every
// scheme of check characters, and none.
func caseLayouts() []*layout {
	const v, n, c = catalog.MeansVariant, catalog.MeansNothing, catalog.MeansCheck
	return []*layout{
		{row: catalog.Layout{Layout: "q7a-plate", Maker: "q7a"}, share: 18, number: 4, suffix: threeRevisions,
			prefix: join([]string{"Q"}, places(2, letters), places(2, digits)),
			fields: []catalog.Field{field("model", catalog.FieldLetters, 3, v), field("series", catalog.FieldDigits, 2, v),
				field("type", catalog.FieldDigits, 4, v), field("revision", catalog.FieldLetters, 1, v), built("YYWW"), serial(6),
				check(set("check", alphanum+"*", 1, c), catalog.SchemeMod37_2, "model series type revision built serial")}},
		{row: catalog.Layout{Layout: "q7b-plate", Maker: "q7b"}, share: 16, number: 4, suffix: issues,
			prefix: join([]string{"1234"}, places(3, digits)),
			fields: []catalog.Field{field("series", catalog.FieldDigits, 4, v), field("design", catalog.FieldDigits, 4, v),
				field("issue", catalog.FieldDigits, 2, v), serial(7),
				weighted(check(set("check", digits+"X", 1, c), catalog.SchemeMod11Comp, "series design issue serial"), "2 7 6 5 4 3 2 7 6 5 4 3 2 7 6 5 4", "")}},
		{row: catalog.Layout{Layout: "q7c-plate", Maker: "q7c"}, share: 14, number: 5, suffix: doubleRevisions,
			prefix: join([]string{"Z"}, places(3, letters)),
			fields: []catalog.Field{literal("7Q"), field("type", catalog.FieldLetters, 4, v), field("figure", catalog.FieldDigits, 5, v),
				field("suffix", catalog.FieldLetters, 2, v), optional(serial(5))}},
		{row: catalog.Layout{Layout: "q7d-plate", Maker: "q7d"}, share: 12, number: 5, suffix: []string{"1A", "2A", "2B"},
			prefix: join([]string{"Q", "7"}, places(3, alphanum)),
			fields: []catalog.Field{field("model", catalog.FieldAlphanum, 5, v), field("type", catalog.FieldDigits, 5, v),
				field("issue", catalog.FieldAlphanum, 2, v), built("YYMM"), serial(6),
				check(field("check", catalog.FieldAlphanum, 1, c), catalog.SchemeMod37_36, "model type issue serial")}},
		{row: catalog.Layout{Layout: "q7e-plate", Maker: "q7e"}, share: 9, number: 5, suffix: doubleRevisions,
			prefix: join([]string{"X"}, places(2, letters), places(2, alphanum)),
			fields: []catalog.Field{field("body", catalog.FieldLetters, 3, v), field("code", catalog.FieldAlphanum, 2, v),
				field("type", catalog.FieldDigits, 5, v), field("revision", catalog.FieldLetters, 2, v), built("YYYYMM"), serial(6),
				check(field("check", catalog.FieldDigits, 2, c), catalog.SchemeMod97_10, "body code type revision serial")}},
		{row: catalog.Layout{Layout: "q7f-plate", Maker: "q7f"}, share: 9, number: 6, suffix: issues,
			prefix: join([]string{"567"}, places(4, digits)),
			fields: []catalog.Field{field("group", catalog.FieldDigits, 5, v), field("number", catalog.FieldDigits, 6, v),
				field("issue", catalog.FieldDigits, 2, v), serial(6),
				check(field("check", catalog.FieldDigits, 1, c), catalog.SchemeGS1, "group number issue serial")}},
		{row: catalog.Layout{Layout: "q7g-plate", Maker: "q7g"}, share: 7, number: 5, suffix: doubleRevisions,
			prefix: join([]string{"V"}, places(3, letters), places(3, digits)),
			fields: []catalog.Field{field("model", catalog.FieldLetters, 4, v), field("type", catalog.FieldDigits, 8, v),
				field("revision", catalog.FieldLetters, 2, v), built("YYYYMMDD"), serial(6),
				check(field("check", catalog.FieldDigits, 1, c), catalog.SchemeLuhn, "type serial")}},
		{row: catalog.Layout{Layout: "q7h-plate", Maker: "q7h"}, share: 6, number: 6, suffix: []string{"A1", "A2", "B1"},
			prefix: join([]string{"W", "7"}, places(4, alphanum)),
			fields: []catalog.Field{field("group", catalog.FieldAlphanum, 6, v), field("type", catalog.FieldDigits, 6, v),
				field("revision", catalog.FieldAlphanum, 2, v), field("plant", catalog.FieldLetters, 1, n), serial(7),
				check(set("check", digits+"X", 1, c), catalog.SchemeMod11_2, "type serial")}},
		{row: catalog.Layout{Layout: "q7a-old-plate", Maker: "q7a"}, share: 5, number: 4, suffix: []string{"1", "2", "3"},
			prefix: join([]string{"T"}, places(2, "ABCDEFGHJ"), places(3, digits)),
			fields: []catalog.Field{set("series", "ABCDEFGHJT", 3, v), field("design", catalog.FieldDigits, 3, v),
				field("type", catalog.FieldDigits, 4, v), field("issue", catalog.FieldDigits, 1, v), serial(6),
				weighted(check(set("check", digits+"X", 1, c), catalog.SchemeMod11, "series design type issue serial"), "8 7 6 5 4 3 2 10 9 8 7 6 5 4 3 2 9", "AJ=1 B=2 C=3 D=4 E=5 F=6 G=7 H=8 T=9")}},
		{row: catalog.Layout{Layout: "q7c-old-plate", Maker: "q7c"}, share: 4, number: 6, suffix: doubleRevisions,
			prefix: join([]string{"Y"}, places(1, letters), places(3, digits)),
			fields: []catalog.Field{field("body", catalog.FieldLetters, 2, v), field("form", catalog.FieldDigits, 3, v),
				field("type", catalog.FieldDigits, 6, v), field("revision", catalog.FieldLetters, 2, v), built("YYYY"), serial(8)}},
	}
}

// labelLayouts are the labels on valve bodies. What stands on them is listed in
// the table of plates.
func labelLayouts() []*layout {
	const v, n, c = catalog.MeansVariant, catalog.MeansNothing, catalog.MeansCheck
	return []*layout{
		{row: catalog.Layout{Layout: "q7a-label", Maker: "q7a", Assembly: valveBody},
			fields: []catalog.Field{literal("LB"), field("body", catalog.FieldAlphanum, 5, v),
				check(field("check", catalog.FieldAlphanum, 1, c), catalog.SchemeMod37_36, "body")}},
		{row: catalog.Layout{Layout: "q7b-label", Maker: "q7b", Assembly: valveBody},
			fields: []catalog.Field{literal("K"), field("body", catalog.FieldDigits, 8, v), field("batch", catalog.FieldDigits, 4, n)}},
	}
}

// complete fills in what follows from the definition.
func (l *layout) complete() error {
	l.checkAt = -1
	if l.row.Assembly == "" {
		l.row.Assembly = unitCase
	}
	l.row.Name = "plate of " + l.row.Maker
	l.row.Source = listOf(l.row.Maker)
	for i := range l.fields {
		f := &l.fields[i]
		f.Layout, f.Place = l.row.Layout, i+1
		if f.Kind == catalog.FieldLiteral {
			f.Min, f.Max = 0, 0
		}
		switch f.Means {
		case catalog.MeansVariant:
			l.widths = append(l.widths, f.Max)
		case catalog.MeansCheck:
			var err error
			if l.check, err = plate.NewCheck(f.Scheme, f.Weights, f.Values); err != nil {
				return err
			}
			l.checkAt = i
			for _, name := range f.Over {
				for j := range l.fields {
					if l.fields[j].Field == name {
						l.over = append(l.over, j)
					}
				}
			}
		}
	}
	return nil
}

// prefixes is how many families the layout has codes for.
func (l *layout) prefixes() int {
	n := 1
	for _, chars := range l.prefix {
		n *= len(chars)
	}
	return n
}

// prefixOf gives prefix i of the layout, all different and in no order.
func (l *layout) prefixOf(i int) string {
	total := l.prefixes()
	// Steps by a number without a common divisor visit each place once. All
	// totals are products of 2, 3, 4, 5, 9, 10, 13, 26 and 36.
	i = int((uint64(i)*7919 + 1234) % uint64(total))
	b := make([]byte, len(l.prefix))
	for k := len(b) - 1; k >= 0; k-- {
		chars := l.prefix[k]
		b[k] = chars[i%len(chars)]
		i /= len(chars)
	}
	return string(b)
}

// spell gives the code as people write it: a dash between the plate's fields.
func (l *layout) spell(key string) string {
	var b strings.Builder
	b.Grow(len(key) + len(l.widths))
	for i, w := range l.widths {
		if i > 0 {
			b.WriteByte('-')
		}
		b.WriteString(key[:w])
		key = key[w:]
	}
	return b.String()
}

// plateText composes a plate of the layout: the texts of the variant fields in
// one, the serial number and the build date. It is spelled with the check
// character and with spaces and dashes as people write them.
func (l *layout) plateText(r *rand.Rand, key string, serial int, year int, month time.Month) (string, error) {
	texts := make([]string, len(l.fields))
	for i, f := range l.fields {
		switch f.Means {
		case catalog.MeansVariant:
			texts[i], key = key[:f.Max], key[f.Max:]
		case catalog.MeansSerial:
			texts[i] = fmt.Sprintf("%0*d", f.Max, serial)
		case catalog.MeansBuilt:
			day := time.Date(year, month, 15, 0, 0, 0, 0, time.UTC)
			if f.Form == "YYWW" {
				y, w := day.ISOWeek()
				texts[i] = fmt.Sprintf("%02d%02d", y%100, w)
			} else {
				texts[i] = day.Format(map[string]string{"YYMM": "0601", "YYYYMM": "200601", "YYYYMMDD": "20060102", "YYYY": "2006"}[f.Form])
			}
		case catalog.MeansNothing:
			if texts[i] = f.Chars; f.Kind == catalog.FieldLiteral {
				break
			}
			chars := digits
			if f.Kind == catalog.FieldLetters {
				chars = letters
			}
			for range f.Max {
				texts[i] += string(chars[r.IntN(len(chars))])
			}
		}
	}
	if l.checkAt >= 0 {
		var payload strings.Builder
		for _, i := range l.over {
			payload.WriteString(texts[i])
		}
		var err error
		if texts[l.checkAt], err = l.check.Compute(payload.String()); err != nil {
			return "", err
		}
	}
	var b strings.Builder
	for i, s := range texts {
		if i > 0 {
			if l.fields[i].Means == catalog.MeansVariant && l.fields[i-1].Means == catalog.MeansVariant {
				b.WriteByte('-')
			} else {
				b.WriteByte(' ')
			}
		}
		b.WriteString(s)
	}
	return b.String(), nil
}
