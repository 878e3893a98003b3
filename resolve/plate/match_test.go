package plate

import (
	"encoding/json"
	"errors"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"platewright/catalog"
)

func compile(t testing.TB, code string, fields ...catalog.Field) *Layout {
	t.Helper()
	for i := range fields {
		fields[i].Place = i + 1
		fields[i].Layout = code
	}
	l, err := Compile(catalog.Layout{Layout: code}, fields)
	require.NoError(t, err)
	return l
}

const (
	means   = catalog.MeansVariant
	check37 = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789*"
)

// pier is an invented plate of fixed width: letters and digits that tell
// variants apart, a build week, a serial number, one check character.
func pier(t testing.TB) *Layout {
	return compile(t, "pier",
		catalog.Field{Field: "head", Kind: catalog.FieldLiteral, Chars: "Q-7", Means: catalog.MeansNothing},
		catalog.Field{Field: "type", Kind: catalog.FieldAlphanum, Min: 4, Max: 4, Means: means},
		catalog.Field{Field: "week", Kind: catalog.FieldDigits, Min: 4, Max: 4, Means: catalog.MeansBuilt, Form: "YYWW"},
		catalog.Field{Field: "serial", Kind: catalog.FieldDigits, Min: 5, Max: 5, Means: catalog.MeansSerial},
		catalog.Field{Field: "check", Kind: catalog.FieldSet, Chars: check37, Min: 1, Max: 1, Means: catalog.MeansCheck, Scheme: catalog.SchemeMod37_2})
}

// buoy is an invented plate of variable width without a check character.
func buoy(t testing.TB) *Layout {
	return compile(t, "buoy",
		catalog.Field{Field: "type", Kind: catalog.FieldDigits, Min: 3, Max: 5, Means: means},
		catalog.Field{Field: "plant", Kind: catalog.FieldLetters, Min: 1, Max: 1, Optional: true, Means: catalog.MeansNothing},
		catalog.Field{Field: "grade", Kind: catalog.FieldSet, Chars: "XYZ", Min: 1, Max: 1, Means: means},
		catalog.Field{Field: "serial", Kind: catalog.FieldDigits, Min: 2, Max: 3, Means: catalog.MeansSerial})
}

func pierPlate(t testing.TB, body string) string {
	t.Helper()
	c, err := NewCheck(catalog.SchemeMod37_2, nil, nil)
	require.NoError(t, err)
	check, err := c.Compute("Q7" + body)
	require.NoError(t, err)
	return "Q7" + body + check
}

func TestMatchFullyRead(t *testing.T) {
	l := pier(t)
	text := pierPlate(t, "M4K2"+"2003"+"00417")
	spelled := strings.ToLower("q-7 " + text[2:6] + " / " + text[6:])
	ms := l.Match(read(t, spelled))
	require.Len(t, ms, 1)
	m := ms[0]
	if m.Text != text || m.Key.String() != "M4K2" || m.Serial != "00417" || !m.Exact {
		t.Errorf("%q, key %s, serial %q, exact %v", m.Text, m.Key, m.Serial, m.Exact)
	}
	// 2020-W03 by ISO 8601: 13 January 2020 was a Monday.
	if diff := cmp.Diff(&Built{20200113, 20200119}, m.Built); diff != "" {
		t.Errorf("built (-want +got)\n%s", diff)
	}
	want := []CheckMatch{{"check", catalog.SchemeMod37_2, CheckPassed}}
	if diff := cmp.Diff(want, m.Checks); diff != "" {
		t.Errorf("checks (-want +got)\n%s", diff)
	}
	if !m.Allows("M4K2") || m.Allows("M4K3") || m.Allows("M4K") || m.Allows("M4K22") {
		t.Error("only the key on the plate is allowed")
	}
	if m.Fields[1].Place != 3 || m.Fields[1].Text != "M4K2" || m.Fields[3].Place != 11 {
		t.Errorf("fields %+v", m.Fields)
	}
}

// TestMatchTiesKeyToCheck opens one place of the variant and one of the serial
// number: each alone can be many things, but a key settles the other.
func TestMatchTiesKeyToCheck(t *testing.T) {
	l := pier(t)
	text := pierPlate(t, "M4K2"+"2003"+"00417")
	open := []byte(text)
	open[3], open[12] = '?', '?'
	ms := l.Match(read(t, string(open)))
	require.Len(t, ms, 1)
	m := ms[0]
	allowed := 0
	for ch := range m.Key[1].All() {
		key := "M" + string(ch) + "K2"
		if !m.Allows(key) {
			t.Errorf("%s is in the pattern of one open place and must be allowed", key)
		}
		full, ok := m.Complete(key)
		if !ok || full.Serial == "" || len(full.Regains) != 1 || full.Regains[0].Field != "serial" {
			t.Errorf("%s: %+v; the serial digit follows from the check", key, full)
			continue
		}
		allowed++
		if again := l.Match(read(t, full.Text)); len(again) != 1 || again[0].Checks[0].Outcome != CheckPassed {
			t.Errorf("%s: %s does not pass its check", key, full.Text)
		}
	}
	// Ten digits of the serial number leave ten characters of the variant, less
	// the one that would have to be the check-only character *.
	if allowed < 9 || allowed > 10 {
		t.Errorf("%d keys allowed", allowed)
	}
	if m.Checks[0].Outcome != CheckNarrowed {
		t.Errorf("check %s, want narrowed", m.Checks[0].Outcome)
	}
}

func TestRejected(t *testing.T) {
	text := pierPlate(t, "M4K2"+"2003"+"00417")
	wrong := text[:5] + "3" + text[6:]
	out := Read([]*Layout{buoy(t), pier(t)}, read(t, wrong))
	require.Len(t, out.Rejections, 1)
	c, err := NewCheck(catalog.SchemeMod37_2, nil, nil)
	require.NoError(t, err)
	expected, err := c.Compute(wrong[:len(wrong)-1])
	require.NoError(t, err)
	want := Rejection{Layout: "pier", Text: wrong, Field: "check", Scheme: catalog.SchemeMod37_2, Place: 16,
		Read: text[15:], Expected: []string{expected}}
	if diff := cmp.Diff(want, out.Rejections[0]); diff != "" || out.State != Rejected {
		t.Errorf("%s (-want +got)\n%s", out.State, diff)
	}
}

func TestUnmatchedSaysWhere(t *testing.T) {
	ls := []*Layout{pier(t), buoy(t)}
	for _, c := range []struct {
		text   string
		layout string
		reason FailureReason
		place  int
		field  string
	}{
		{"Q7M4K2A003", "pier", WrongCharacter, 7, "week"},
		{"Q7M4K2200300417", "pier", TooShort, 16, "check"},
		{"1234KX123Q", "buoy", TooLongFor, 10, ""},
		{"12345678", "buoy", WrongCharacter, 6, "grade"},
		{pierPlate(t, "M4K2"+"2060"+"00417"), "pier", NoSuchDate, 7, "week"},
	} {
		out := Read(ls, read(t, c.text))
		if out.State != Unmatched || len(out.Failures) != 1 {
			t.Errorf("%s: %s %+v", c.text, out.State, out.Failures)
			continue
		}
		f := out.Failures[0]
		if f.Layout != c.layout || f.Reason != c.reason || f.Place != c.place || f.Field != c.field {
			t.Errorf("%s: %+v, want %+v", c.text, f, c)
		}
	}
}

// TestMatchVariable lists every alignment of a plate that can be read in
// several ways.
func TestMatchVariable(t *testing.T) {
	l := buoy(t)
	show := func(ms []Match) []string {
		out := []string{}
		for _, m := range ms {
			var b strings.Builder
			for _, f := range m.Fields {
				b.WriteString(f.Text + "|")
			}
			out = append(out, m.Key.String()+" "+m.Serial+" "+b.String())
		}
		return out
	}
	for text, want := range map[string][]string{
		"1234KX123": {"1234X 123 1234|K|X|123|"},
		"123XY99":   {"123Y 99 123|X|Y|99|"},
		"123X99":    {"123X 99 123||X|99|"},
		"123?X99":   {"123X 99 123|?|X|99|", "123[0123456789]X 99 123?||X|99|"},
		"12X99":     {},
		"123X9999":  {},
	} {
		if diff := cmp.Diff(want, show(l.Match(read(t, text)))); diff != "" {
			t.Errorf("%s (-want +got)\n%s", text, diff)
		}
	}
}

func TestFieldReading(t *testing.T) {
	l := buoy(t)
	f, err := FieldReading(l, map[string]string{"TYPE": "12?", "grade": "X", "plant": ""})
	require.NoError(t, err)
	var got []string
	for _, m := range f.Match() {
		got = append(got, m.Text)
	}
	if diff := cmp.Diff([]string{"12?X??", "12?X???"}, got); diff != "" {
		t.Errorf("(-want +got)\n%s", diff)
	}
	// The unknown fields narrow like open places of a whole reading.
	p := pier(t)
	text := pierPlate(t, "M4K2"+"2003"+"00417")
	f, err = FieldReading(p, map[string]string{"type": "M4K2", "week": "2003", "serial": "00417"})
	require.NoError(t, err)
	ms := f.Match()
	require.Len(t, ms, 1)
	if ms[0].Text != text || len(ms[0].Regains) != 1 {
		t.Errorf("%s %+v, want %s with the check recovered", ms[0].Text, ms[0].Regains, text)
	}
	f, err = FieldReading(p, map[string]string{"type": "M4K"})
	require.NoError(t, err)
	if out := f.Read(); out.State != Unmatched || len(out.Failures) != 1 || out.Failures[0].Reason != TooShort || out.Failures[0].Field != "type" {
		t.Errorf("%+v", out)
	}
	var re *ReadingError
	_, err = FieldReading(p, map[string]string{"kind": "M4K"})
	if !errors.As(err, &re) || re.Code != UnknownField {
		t.Errorf("%v", err)
	}
	_, err = FieldReading(p, map[string]string{"type": ""})
	if !errors.As(err, &re) || re.Code != FieldNeeded {
		t.Errorf("%v", err)
	}
	_, err = FieldReading(p, map[string]string{"type": "[12"})
	if !errors.As(err, &re) || re.Code != Unclosed || re.Field != "type" {
		t.Errorf("%v", err)
	}
}

func TestParseReadingErrors(t *testing.T) {
	for _, c := range []struct {
		text  string
		code  ReadingCode
		place int
	}{
		{"", NothingRead, 0}, {" - / ", NothingRead, 0}, {"12[38", Unclosed, 3}, {"12]", Unopened, 3}, {"1[]2", EmptyBracket, 2},
		{"1[ ,]", EmptyBracket, 2}, {"1[2[3]]", Nested, 4}, {"1[2?]", Nested, 4}, {"K[A-C]", RangeInBracket, 4}, {"1é2", Impossible, 2},
		{"1\x002", Impossible, 2}, {"1\xff", Impossible, 2}, {"a{b", Impossible, 2}, {"1,2", Impossible, 2}, {"К1", Impossible, 1},
		{strings.Repeat("7", 65), TooLong, 0}, {strings.Repeat("7", 1<<16), TooLong, 0},
	} {
		_, err := ParseReading(c.text)
		var re *ReadingError
		if !errors.As(err, &re) || re.Code != c.code || re.Place != c.place {
			t.Errorf("%.20q: %v; want %s at %d", c.text, err, c.code, c.place)
		}
	}
	if _, err := ParseReading(strings.Repeat("7", 64)); err != nil {
		t.Error(err)
	}
}

func TestParseReading(t *testing.T) {
	for text, want := range map[string]string{
		"km-4 17/0042": "KM4170042", "a[8b]?": "A[8B]?", "[b,8]": "[8B]", "[8/b]": "[8B]", "[88]": "8", "ＫＭ４": "KM4", "1*": "1*", "[ 3 8 ]": "[38]", "？［３８］": "?[38]",
	} {
		if got := read(t, text).String(); got != want {
			t.Errorf("%q: %q, want %q", text, got, want)
		}
	}
}

// TestParseBuilt has outside weeks: ISO 8601 says that week 1 holds the year's
// first Thursday, so 2008-12-29 is in 2009-W01 and 2010-01-03 in 2009-W53 (both
// computed with isocalendar of Python 3.11's datetime; that ISO 8601 shows the same
// two as its examples is from memory).
func TestParseBuilt(t *testing.T) {
	for _, c := range []struct {
		form, digits string
		want         Built
		ok           bool
	}{
		{"YYWW", "0901", Built{20081229, 20090104}, true},
		{"YYWW", "0953", Built{20091228, 20100103}, true},
		{"YYWW", "1053", Built{}, false},
		{"YYWW", "1000", Built{}, false},
		{"YYMM", "6912", Built{20691200, 20691200}, true},
		{"YYMM", "7001", Built{19700100, 19700100}, true},
		{"YYMM", "7013", Built{}, false},
		{"YYYYMM", "201904", Built{20190400, 20190400}, true},
		{"YYYYMM", "189904", Built{}, false},
		{"YYYYMMDD", "20200229", Built{20200229, 20200229}, true},
		{"YYYYMMDD", "20190229", Built{}, false},
		{"YYYYMMDD", "20190200", Built{}, false},
		{"YYYY", "2019", Built{20190000, 20190000}, true},
		{"YYYY", "201", Built{}, false},
		{"DDMM", "0101", Built{}, false},
	} {
		got, ok := ParseBuilt(c.form, c.digits)
		if got != c.want || ok != c.ok {
			t.Errorf("%s %s: %v %v, want %v %v", c.form, c.digits, got, ok, c.want, c.ok)
		}
	}
}

func TestCompileErrors(t *testing.T) {
	variant := catalog.Field{Field: "type", Kind: catalog.FieldAlphanum, Min: 2, Max: 2, Means: means}
	letters := catalog.Field{Field: "code", Kind: catalog.FieldLetters, Min: 1, Max: 1, Means: catalog.MeansNothing}
	chk := func(change func(*catalog.Field)) catalog.Field {
		f := catalog.Field{Field: "check", Kind: catalog.FieldAlphanum, Min: 1, Max: 1, Means: catalog.MeansCheck, Scheme: catalog.SchemeMod37_36}
		change(&f)
		return f
	}
	for _, c := range []struct {
		code   LayoutCode
		fields []catalog.Field
	}{
		{NoFields, nil},
		{NoFields, []catalog.Field{letters}},
		{TooManyFields, make([]catalog.Field, 33)},
		{SameFieldTwice, []catalog.Field{variant, variant}},
		{BadFieldKind, []catalog.Field{variant, {Field: "x", Kind: "colour", Min: 1, Max: 1}}},
		{BadFieldChars, []catalog.Field{variant, {Field: "x", Kind: catalog.FieldLiteral, Chars: "-"}}},
		{BadFieldChars, []catalog.Field{variant, {Field: "x", Kind: catalog.FieldSet, Chars: "A?", Min: 1, Max: 1}}},
		{BadFieldWidth, []catalog.Field{variant, {Field: "x", Kind: catalog.FieldDigits, Min: 2, Max: 1}}},
		{TooManyPlaces, []catalog.Field{variant, {Field: "x", Kind: catalog.FieldDigits, Min: 1, Max: 40}, {Field: "y", Kind: catalog.FieldDigits, Min: 1, Max: 40}}},
		{BadForm, []catalog.Field{variant, {Field: "x", Kind: catalog.FieldDigits, Min: 2, Max: 2, Means: catalog.MeansBuilt, Form: "YYWW"}}},
		{BadScheme, []catalog.Field{variant, chk(func(f *catalog.Field) { f.Scheme = "sum" })}},
		{BadScheme, []catalog.Field{variant, chk(func(f *catalog.Field) { f.Weights = catalog.Words{"1"} })}},
		{BadCheckWidth, []catalog.Field{variant, chk(func(f *catalog.Field) { f.Max = 2 })}},
		{BadCheckChars, []catalog.Field{variant, chk(func(f *catalog.Field) { f.Kind, f.Chars = catalog.FieldSet, "*" })}},
		{UnknownCovered, []catalog.Field{variant, chk(func(f *catalog.Field) { f.Over = catalog.Words{"kind"} })}},
		{UnknownCovered, []catalog.Field{variant, chk(func(f *catalog.Field) { f.Over = catalog.Words{"check"} })}},
		{UnknownCovered, []catalog.Field{variant, chk(func(f *catalog.Field) { f.Over = catalog.Words{"type", "type"} })}},
		{CannotCover, []catalog.Field{variant, chk(func(f *catalog.Field) { f.Scheme = catalog.SchemeLuhn })}},
		{ShortWeights, []catalog.Field{letters, variant, chk(func(f *catalog.Field) {
			f.Scheme, f.Over, f.Weights, f.Values = catalog.SchemeMod11, catalog.Words{"code"}, catalog.Words{"1"}, vinValues
			f.Over = catalog.Words{"code", "type"}
			f.Values = append(slices.Clone(vinValues), "IOQ=0")
		})}},
	} {
		fields := slices.Clone(c.fields)
		for i := range fields {
			fields[i].Place = i + 1
		}
		_, err := Compile(catalog.Layout{Layout: "x"}, fields)
		var le *LayoutError
		if !errors.As(err, &le) || le.Code != c.code {
			t.Errorf("%v, want %s", err, c.code)
		}
	}
}

// TestMatchJSON checks that what renderers read can be stored and read back.
func TestMatchJSON(t *testing.T) {
	text := []byte(pierPlate(t, "M4K2"+"2003"+"00417"))
	text[4] = '?'
	out := Read([]*Layout{pier(t)}, read(t, string(text)))
	one, err := json.Marshal(out)
	require.NoError(t, err)
	var back Outcome
	require.NoError(t, json.Unmarshal(one, &back))
	two, err := json.Marshal(back)
	require.NoError(t, err)
	if diff := cmp.Diff(string(one), string(two)); diff != "" {
		t.Error(diff)
	}
	if !strings.Contains(string(one), `"variant":"M4K2"`) || !strings.Contains(string(one), `"first":"2020-01-13"`) {
		t.Errorf("%s", one)
	}
}

// TestOutcomeJSON stores and reads back an outcome of each state.
func TestOutcomeJSON(t *testing.T) {
	ls := []*Layout{pier(t), buoy(t)}
	text := pierPlate(t, "M4K2"+"2003"+"00417")
	for _, s := range []string{text, text[:5] + "3" + text[6:], text[:9], text[:7] + "[AB]" + text[8:]} {
		out := Read(ls, read(t, s))
		stored, err := json.Marshal(out)
		require.NoError(t, err)
		var back Outcome
		require.NoError(t, json.Unmarshal(stored, &back))
		again, err := json.Marshal(back)
		require.NoError(t, err)
		if diff := cmp.Diff(string(stored), string(again)); diff != "" || strings.Contains(string(stored), "null") {
			t.Errorf("%s: %s\n%s", s, stored, diff)
		}
	}
}

// TestTooManyToJudgeTogether has two checks that share more open places than
// are gone through: nothing valid is lost, and the match says that it is not
// exact.
func TestTooManyToJudgeTogether(t *testing.T) {
	l := compile(t, "two",
		catalog.Field{Field: "type", Kind: catalog.FieldDigits, Min: 6, Max: 6, Means: means},
		catalog.Field{Field: "a", Kind: catalog.FieldDigits, Min: 1, Max: 1, Means: catalog.MeansCheck, Scheme: catalog.SchemeGS1},
		catalog.Field{Field: "b", Kind: catalog.FieldDigits, Min: 1, Max: 1, Means: catalog.MeansCheck, Scheme: catalog.SchemeLuhn})
	all := schemes(t)
	valid := func(key string) string {
		a, err := all[catalog.SchemeGS1].Compute(key)
		require.NoError(t, err)
		b, err := all[catalog.SchemeLuhn].Compute(key)
		require.NoError(t, err)
		return key + a + b
	}
	text := valid("407316")
	ms := l.Match(read(t, "??????"+text[6:]))
	require.Len(t, ms, 1)
	if ms[0].Exact || !ms[0].Allows("407316") {
		t.Errorf("exact %v, allows %v", ms[0].Exact, ms[0].Allows("407316"))
	}
	// A full key leaves nothing open, so that it is judged exactly again.
	for key, want := range map[string]bool{"407316": true, "407317": false, "417316": false} {
		if got := ms[0].Allows(key); got != want {
			t.Errorf("%s allowed %v, want %v", key, got, want)
		}
	}
	ms = l.Match(read(t, "4???16"+text[6:]))
	require.Len(t, ms, 1)
	if !ms[0].Exact {
		t.Error("a thousand completions can be judged together")
	}
}

// TestMatchesAreBounded has a layout of which a plate can be seen in very many
// ways.
func TestMatchesAreBounded(t *testing.T) {
	var fields []catalog.Field
	for i := range 9 {
		fields = append(fields, catalog.Field{Field: "f" + string(rune('a'+i)), Kind: catalog.FieldDigits, Min: 1, Max: 5, Optional: true, Means: means})
	}
	out := Read([]*Layout{compile(t, "loose", fields...)}, read(t, "12345678901234567890"))
	if len(out.Matches) != MaxMatches || !out.Cut {
		t.Errorf("%d matches, cut %v; want %d, cut", len(out.Matches), out.Cut, MaxMatches)
	}
}

// TestErrorTexts checks that each code of an error has a text of its own that
// says what to do.
func TestErrorTexts(t *testing.T) {
	seen := map[string]bool{}
	check := func(code string, err error) {
		text := err.Error()
		what, todo, ok := strings.Cut(text, "; ")
		if !ok || todo == "" || seen[what] {
			t.Errorf("%s: %q is not a text of its own with what to do", code, text)
		}
		seen[what] = true
	}
	for _, c := range []ReadingCode{NothingRead, Impossible, Unclosed, Unopened, Nested, EmptyBracket, RangeInBracket, TooLong, UnknownField, FieldNeeded} {
		check(string(c), &ReadingError{Code: c, Text: "x", Place: 1, Char: "y", Field: "f"})
	}
	for _, c := range []SchemeCode{UnknownScheme, BadWeight, BadValue, NotCounted, TooFewWeights, NothingCovered, NotWeighted, NeedsWeights} {
		check(string(c), &SchemeError{Code: c, Scheme: "s", Value: "v", Place: 1})
	}
	for _, c := range []LayoutCode{NoFields, TooManyFields, TooManyPlaces, BadFieldKind, BadFieldChars, BadFieldWidth, SameFieldTwice, BadForm, BadCheckWidth, BadCheckChars, UnknownCovered, CannotCover, ShortWeights} {
		check(string(c), &LayoutError{Code: c, Layout: "l", Field: "f", Value: "v"})
	}
	cause := &SchemeError{Code: NeedsWeights, Scheme: "s"}
	err := error(&LayoutError{Code: BadScheme, Layout: "l", Field: "f", Cause: cause})
	check(string(BadScheme), err)
	if !errors.Is(err, cause) {
		t.Error("the cause is not wrapped")
	}
}

// small are layouts with few enough completions for a plain judge: every kind of
// field, optional ones, checks of every shape, two checks that share places.
func small(t testing.TB) []*Layout {
	f := func(name string, kind catalog.FieldKind, chars string, lo, hi int, m catalog.Meaning) catalog.Field {
		return catalog.Field{Field: name, Kind: kind, Chars: chars, Min: lo, Max: hi, Means: m}
	}
	check := func(f catalog.Field, s catalog.Scheme, over ...string) catalog.Field {
		f.Scheme, f.Over = s, over
		return f
	}
	opt := func(f catalog.Field) catalog.Field { f.Optional = true; return f }
	weighted := check(f("c", catalog.FieldSet, "0123456789X", 1, 1, catalog.MeansCheck), catalog.SchemeMod11Comp, "b", "a")
	weighted.Weights, weighted.Values = catalog.Words{"7", "3", "5", "2"}, catalog.Words{"AB=4", "C=10"}
	remainder := weighted
	remainder.Scheme = catalog.SchemeMod11
	return []*Layout{
		compile(t, "hybrid", f("a", catalog.FieldSet, "AB3", 1, 3, means), f("s", catalog.FieldDigits, "", 1, 1, catalog.MeansSerial),
			check(f("c", catalog.FieldAlphanum, "", 1, 1, catalog.MeansCheck), catalog.SchemeMod37_36)),
		compile(t, "optional", f("a", catalog.FieldDigits, "", 2, 2, means), opt(f("p", catalog.FieldSet, "KX7", 1, 1, catalog.MeansNothing)), f("s", catalog.FieldDigits, "", 1, 2, catalog.MeansSerial),
			opt(check(f("c", catalog.FieldSet, "0123456789X", 1, 1, catalog.MeansCheck), catalog.SchemeMod11_2, "s", "a"))),
		compile(t, "shared", f("a", catalog.FieldDigits, "", 2, 2, means), check(f("c", catalog.FieldDigits, "", 1, 1, catalog.MeansCheck), catalog.SchemeGS1, "a"),
			f("b", catalog.FieldSet, "123", 1, 1, means), check(f("d", catalog.FieldDigits, "", 1, 1, catalog.MeansCheck), catalog.SchemeLuhn, "a", "c", "b")),
		compile(t, "pair", f("l", catalog.FieldLiteral, "T8", 0, 0, catalog.MeansNothing), f("a", catalog.FieldSet, "A12", 1, 2, means),
			check(f("c", catalog.FieldDigits, "", 2, 2, catalog.MeansCheck), catalog.SchemeMod97_10)),
		compile(t, "rest", f("a", catalog.FieldSet, "ABC12", 2, 2, means), weighted, f("b", catalog.FieldDigits, "", 1, 2, catalog.MeansSerial)),
		compile(t, "remainder", f("a", catalog.FieldSet, "ABC12", 2, 2, means), remainder, f("b", catalog.FieldDigits, "", 1, 2, catalog.MeansSerial)),
		compile(t, "star", f("a", catalog.FieldSet, "AZ*", 1, 2, catalog.MeansNothing), f("b", catalog.FieldLetters, "", 1, 1, means),
			check(f("c", catalog.FieldSet, check37, 1, 1, catalog.MeansCheck), catalog.SchemeMod37_2, "b")),
	}
}

// truth is what a plain judge finds for one alignment: the widths of the
// fields, what stands at each place over all completions that pass, and their
// keys.
type truth struct {
	sets []Set
	keys map[string]bool
}

// judge goes through all widths and all completions; false if there are too
// many of them.
func judge(l *Layout, r Reading) (map[string]*truth, bool) {
	out := map[string]*truth{}
	work := 0
	var widths func(i, pos int, at []int) bool
	widths = func(i, pos int, at []int) bool {
		if i == len(l.fields) {
			if pos != len(r) {
				return true
			}
			at = append(at, pos)
			var fill func(p int, text []byte) bool
			fill = func(p int, text []byte) bool {
				if p == len(r) {
					if work++; work > 40_000 {
						return false
					}
					for k := range l.checks {
						c := &l.checks[k]
						if at[c.field] == at[c.field+1] {
							continue
						}
						var payload strings.Builder
						for _, f := range c.over {
							payload.Write(text[at[f]:at[f+1]])
						}
						if !c.Verify(payload.String(), string(text[at[c.field]:at[c.field+1]])) {
							return true
						}
					}
					name, err := json.Marshal(at)
					if err != nil {
						return false
					}
					tr := out[string(name)]
					if tr == nil {
						tr = &truth{make([]Set, len(r)), map[string]bool{}}
						out[string(name)] = tr
					}
					key := ""
					for f := range l.fields {
						if l.fields[f].row.Means == catalog.MeansVariant {
							key += string(text[at[f]:at[f+1]])
						}
					}
					tr.keys[key] = true
					for q, ch := range text {
						tr.sets[q] |= one(ch)
					}
					return true
				}
				f := 0
				for at[f+1] <= p {
					f++
				}
				for ch := range (r[p] & l.fields[f].at(p-at[f])).All() {
					if !fill(p+1, append(text[:p:p], ch)) {
						return false
					}
				}
				return true
			}
			return fill(0, nil)
		}
		f := &l.fields[i]
		if f.optional && !widths(i+1, pos, append(slices.Clone(at), pos)) {
			return false
		}
		for w := f.min; w <= f.max && pos+w <= len(r); w++ {
			if !widths(i+1, pos+w, append(slices.Clone(at), pos)) {
				return false
			}
		}
		return true
	}
	whole := widths(0, 0, nil)
	return out, whole
}

// agree holds Match, Allows and Complete against the plain judge.
func agree(t interface {
	Errorf(string, ...any)
	Helper()
}, l *Layout, r Reading) {
	t.Helper()
	want, whole := judge(l, r)
	if !whole {
		return
	}
	got := l.Match(r)
	if len(got) != len(want) {
		t.Errorf("%s as %s: %d matches, want %d", r, l.Row.Layout, len(got), len(want))
		return
	}
	for i := range got {
		m := &got[i]
		at := make([]int, len(m.at))
		for j, a := range m.at {
			at[j] = int(a)
		}
		name, _ := json.Marshal(at)
		tr := want[string(name)]
		if tr == nil {
			t.Errorf("%s as %s: fields at %s match and should not", r, l.Row.Layout, name)
			continue
		}
		if diff := cmp.Diff(Reading(tr.sets).String(), m.Reading().String()); diff != "" || !m.Exact {
			t.Errorf("%s as %s at %s, exact %v: places (-want +got)\n%s", r, l.Row.Layout, name, m.Exact, diff)
		}
		var keys func(p int, key []byte)
		keys = func(p int, key []byte) {
			if p == len(m.Key) {
				if got := m.Allows(string(key)); got != tr.keys[string(key)] {
					t.Errorf("%s as %s at %s: key %s allowed %v, want %v", r, l.Row.Layout, name, key, got, !got)
				}
				full, ok := m.Complete(string(key))
				if ok != tr.keys[string(key)] {
					t.Errorf("%s as %s at %s: key %s completed %v", r, l.Row.Layout, name, key, ok)
				}
				if ok && full.Key.String() != string(key) {
					t.Errorf("%s as %s at %s: key %s completed to %s", r, l.Row.Layout, name, key, full.Key)
				}
				return
			}
			for ch := range m.Key[p].All() {
				keys(p+1, append(key[:p:p], ch))
			}
		}
		keys(0, nil)
	}
}

// FuzzMatch holds the matcher against a judge that goes through all
// completions.
func FuzzMatch(f *testing.F) {
	f.Add(uint8(0), "A?[13]?")
	f.Add(uint8(0), "??3K")
	f.Add(uint8(1), "12?4?")
	f.Add(uint8(1), "1?K3X")
	f.Add(uint8(2), "1?4??")
	f.Add(uint8(2), "?[24]?23")
	f.Add(uint8(3), "T8??1?")
	f.Add(uint8(4), "??X?")
	f.Add(uint8(5), "A[12]?3?")
	f.Add(uint8(6), "A??")
	ls := small(f)
	f.Fuzz(func(t *testing.T, which uint8, text string) {
		r, err := ParseReading(text)
		if err != nil || len(r) > 8 {
			return
		}
		agree(t, ls[int(which)%len(ls)], r)
	})
}

// TestMatchAgrees draws readings of the small layouts, most of them near a
// valid plate, and holds them against the judge.
func TestMatchAgrees(t *testing.T) {
	ls := small(t)
	rapid.Check(t, func(t *rapid.T) {
		l := rapid.SampledFrom(ls).Draw(t, "layout")
		n := rapid.IntRange(l.minRest[0], l.maxRest[0]).Draw(t, "places")
		place := rapid.Custom(func(t *rapid.T) Set {
			switch rapid.IntRange(0, 4).Draw(t, "kind") {
			case 0:
				return Any
			case 1:
				return one(rapid.SampledFrom([]byte("AB3K")).Draw(t, "a")) | one(rapid.SampledFrom([]byte("120X*")).Draw(t, "b"))
			}
			return one(rapid.SampledFrom([]byte("ABCKTX0123478")).Draw(t, "char"))
		})
		r := Reading(rapid.SliceOfN(place, n, n).Draw(t, "reading"))
		agree(t, l, r)
	})
}

// FuzzReading checks that a reading prints to a text that reads the same, and
// that a plain text is read as catalog.Fold folds it.
func FuzzReading(f *testing.F) {
	for _, s := range []string{"km-4 17", "[38]?", "[ a, b / c|d ]", "ﬁ１２", "[A-C]", "[", "]", "1*", "½"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		r, err := ParseReading(text)
		if err != nil {
			var re *ReadingError
			if !errors.As(err, &re) || re.Error() == "" {
				t.Fatalf("%q: %v is no reading error", text, err)
			}
			return
		}
		again, err := ParseReading(r.String())
		if err != nil || !slices.Equal(r, again) {
			t.Errorf("%q prints as %q, which reads as %v, %v", text, r, again, err)
		}
		if !strings.ContainsAny(catalog.Fold(text), "?[") {
			if plain, ok := r.Text(); !ok || plain != catalog.Fold(text) {
				t.Errorf("%q is read as %q, folded %q", text, plain, catalog.Fold(text))
			}
		}
	})
}

// TestSchemesPromise draws payloads: a changed character is always noticed
// where the scheme promises it, and a lost one comes back exactly where one
// completion exists.
func TestSchemesPromise(t *testing.T) {
	for scheme, c := range schemes(t) {
		t.Run(string(scheme), func(t *testing.T) {
			rapid.Check(t, func(t *rapid.T) {
				chars := []byte{}
				for ch := range c.payload.All() {
					chars = append(chars, ch)
				}
				most := 20
				if c.weights != nil {
					most = len(c.weights)
				}
				payload := string(rapid.SliceOfN(rapid.SampledFrom(chars), 1, most).Draw(t, "payload"))
				check, err := c.Compute(payload)
				if err != nil || !c.Verify(payload, check) {
					t.Fatalf("%s: %q, %v does not verify", payload, check, err)
				}
				text := payload + check
				p := rapid.IntRange(0, len(text)-1).Draw(t, "place")
				allowed := c.payload
				if p >= len(payload) {
					allowed = c.checks
				}
				var completions Set
				for ch := range allowed.All() {
					changed := text[:p] + string(ch) + text[p+1:]
					if c.Verify(changed[:len(payload)], changed[len(payload):]) {
						completions |= one(ch)
					}
				}
				// No scheme tells characters of equal value apart, and MOD 97-10
				// promises nothing for a letter in a digit's place: a letter
				// counts as two digits and shifts all before it.
				for ch := range completions.All() {
					equal := p < len(payload) && c.val[ch-lowest] == c.val[text[p]-lowest]
					shifts := scheme == catalog.SchemeMod97_10 && Digits.Has(ch) != Digits.Has(text[p])
					if ch != text[p] && !equal && !shifts {
						t.Errorf("%s: %c at %d for %c verifies too", text, ch, p, text[p])
					}
				}
				var sets [MaxPlaces]Set
				idx := []uint8{}
				for i := range text {
					sets[i] = one(text[i])
					idx = append(idx, uint8(i))
				}
				sets[p] = Any
				ok, _ := c.narrow(&sets, idx)
				if !ok || sets[p] != completions {
					t.Errorf("%s without %d: narrowed to %s, want %s", text, p, sets[p], completions)
				}
			})
		})
	}
}
