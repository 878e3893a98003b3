package catalog_test

import (
	"encoding/json"
	"errors"
	"strings"
	"testing"
	"time"
	"unicode"

	"golang.org/x/text/unicode/norm"
	"pgregory.net/rapid"

	"platewright/catalog"
)

func TestFold(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"XEB-411-A", "XEB411A"},
		{" xeb 411.a ", "XEB411A"},
		{"a/b_c:d·e–f—g−h\tI", "ABCDEFGHI"},
		{"ＸＥＢ　４１１", "XEB411"},
		{"", ""},
		{"-", ""},
		{"A*B", "A*B"},   // what does not belong stays
		{"А-1", "А1"},    // a Cyrillic letter stays a difference
		{"5.2", "52"},    // a point separates in a code
		{"é-1", "É1"},    // composed
		{"e\u0301", "É"}, // and in two characters
		// The compatibility composites of UAX #15 (Unicode 17.0.0, revision 57),
		// figure 6, in NFKC and upper case.
		{"\ufb01", "FI"},
		{"2\u2075", "25"},
		{"\u1e9b\u0323", "\u1e68"},
	} {
		if got := catalog.Fold(c.text); got != c.want {
			t.Errorf("Fold(%q) = %q, want %q", c.text, got, c.want)
		}
	}
}

// TestFoldAllRunes holds that Fold and FoldValue are idempotent on every
// character of Unicode by itself and behind a letter, that what Fold gives is in
// NFKC (UAX #15), and that no separator is left.
func TestFoldAllRunes(t *testing.T) {
	for r := rune(0); r <= unicode.MaxRune; r++ {
		switch {
		case r == 0x3400, r == 0x20000:
			r += 0x1A00 // CJK ideographs and Hangul fold to themselves; a sample is enough
		case r == 0xac00:
			r = 0xd7a0
		case r == 0xd800:
			r = 0xe000
		case r == 0x30000:
			r = 0xe0000
		case r == 0xf0000:
			r = unicode.MaxRune - 100
		}
		for _, s := range [2]string{string(r), "e" + string(r)} {
			f := catalog.Fold(s)
			if g := catalog.Fold(f); g != f {
				t.Errorf("Fold(%+q) = %+q, and of that %+q", s, f, g)
			}
			if !norm.NFKC.IsNormalString(f) {
				t.Errorf("Fold(%+q) = %+q is not in NFKC", s, f)
			}
			if strings.ContainsFunc(f, unicode.IsSpace) || strings.ContainsAny(f, "-./_:·–—−") {
				t.Errorf("Fold(%+q) = %+q holds a separator", s, f)
			}
			v := catalog.FoldValue(s)
			if w := catalog.FoldValue(v); w != v {
				t.Errorf("FoldValue(%+q) = %+q, and of that %+q", s, v, w)
			}
		}
	}
}

// TestFoldEqual holds that separators put in anywhere and the case of letters
// make no difference to a key, and that a further letter or digit does.
func TestFoldEqual(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		code := rapid.StringMatching(`[A-Za-z0-9*]{1,12}`).Draw(t, "code")
		var b strings.Builder
		for _, r := range code {
			b.WriteString(rapid.SampledFrom([]string{"", "", "-", " ", ".", "/", "_", ":", "–", "\u00a0"}).Draw(t, "separator"))
			switch {
			case rapid.Bool().Draw(t, "wide") && r != '*':
				b.WriteRune(r + 0xfee0) // the full-width form
			case rapid.Bool().Draw(t, "lower"):
				b.WriteRune(unicode.ToLower(r))
			default:
				b.WriteRune(unicode.ToUpper(r))
			}
		}
		key := catalog.Fold(code)
		if got := catalog.Fold(b.String()); got != key {
			t.Fatalf("Fold(%q) = %q and Fold(%q) = %q", code, key, b.String(), got)
		}
		if more := code + "7"; catalog.Fold(more) == key {
			t.Fatalf("Fold(%q) = Fold(%q)", code, more)
		}
	})
}

func FuzzFold(f *testing.F) {
	for _, s := range []string{"", "XEB-411-A", "ﬁ", "ẛ̣", "e-\u0301", "A¨", "ſ", "\xff", "ｘ－１", "İ", "ß"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		k := catalog.Fold(s)
		if catalog.Fold(k) != k {
			t.Errorf("Fold(%+q) = %+q, and of that %+q", s, k, catalog.Fold(k))
		}
		if catalog.CheckCode(s) == nil && k != "" && strings.ContainsAny(k, " -./_:") {
			t.Errorf("Fold(%+q) = %+q holds a separator", s, k)
		}
		v := catalog.FoldValue(s)
		if strings.TrimSpace(v) != v || strings.Contains(v, "  ") {
			t.Errorf("FoldValue(%+q) = %+q holds needless space", s, v)
		}
	})
}

// FoldValue has a way of its own for ASCII; this holds it to the rule.
func TestFoldValueIsTheRule(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.StringOf(rapid.RuneFrom([]rune("aBz 7.\t\n\v\f\r\x00\x1c\x1f\x7f\u0085\u00a0éÉ½K"))).Draw(t, "s")
		want := strings.Join(strings.Fields(strings.ToLower(norm.NFKC.String(s))), " ")
		if got := catalog.FoldValue(s); got != want {
			t.Fatalf("FoldValue(%+q) = %+q, by the rule %+q", s, got, want)
		}
	})
}

func TestCheckCode(t *testing.T) {
	for _, c := range []string{"A", "7", "DRK-4110-S", "205.P.306", "a b", "H 112/4", strings.Repeat("x", catalog.MaxCode)} {
		if err := catalog.CheckCode(c); err != nil {
			t.Errorf("CheckCode(%q): %v", c, err)
		}
	}
	for c, reason := range map[string]string{
		"":                                     "no letter and no digit",
		"-":                                    "no letter and no digit",
		" A":                                   "begins or ends with a space",
		"A ":                                   "begins or ends with a space",
		"A\tB":                                 "U+0009",
		"A\x7fB":                               "U+007F",
		"А1":                                   "U+0410 CYRILLIC CAPITAL LETTER A",
		"A\u200b1":                             "U+200B ZERO WIDTH SPACE",
		"A\xff":                                "not UTF-8",
		"A–1":                                  "U+2013 EN DASH",
		strings.Repeat("x", catalog.MaxCode+1): "65 bytes long",
	} {
		err := catalog.CheckCode(c)
		var bad *catalog.CodeError
		if !errors.As(err, &bad) || !strings.Contains(bad.Reason, reason) || bad.Mend == "" {
			t.Errorf("CheckCode(%q): %v, want one about %q", c, err, reason)
		}
	}
}

func TestCheckText(t *testing.T) {
	for _, s := range []string{"", "Ω, mm², 5 ± 0.2\n\ttwo lines", "日本", strings.Repeat("x", catalog.MaxText)} {
		if err := catalog.CheckText(s); err != nil {
			t.Errorf("CheckText(%.20q): %v", s, err)
		}
	}
	for _, s := range []string{"a\x00", "a\rb", "a\x1b[31m", "a\u200bb", "a\u202eb", "a\u00adb", "a\ue000", "a\xff", strings.Repeat("x", catalog.MaxText+1)} {
		var bad *catalog.ValueError
		if err := catalog.CheckText(s); !errors.As(err, &bad) {
			t.Errorf("CheckText(%.20q): %v, want a ValueError", s, err)
		}
	}
}

func TestParseDecimal(t *testing.T) {
	for text, want := range map[string]string{"5": "5", "5.20": "5.2", "0": "0", "-0.50": "-0.5", "007.5": "7.5", "123456789012345678901.5": "123456789012345678901.5"} {
		d, err := catalog.ParseDecimal(text)
		if err != nil || d.String() != want || !d.Known {
			t.Errorf("ParseDecimal(%q) = %q, %v, want %q", text, d, err, want)
		}
		again, err := catalog.ParseDecimal(d.String())
		if err != nil || !again.Equal(d) {
			t.Errorf("%q printed as %q comes back as %v, %v", text, d, again, err)
		}
		var back catalog.Decimal
		b, err := json.Marshal(d)
		if err != nil || json.Unmarshal(b, &back) != nil || !back.Equal(d) {
			t.Errorf("%q in JSON is %s and comes back as %v", text, b, back)
		}
	}
	for _, text := range []string{"", "-", ".", "5.", ".5", "5,2", "1e3", "1E3", "+5", "5.2.1", "5 ", "0x5", "٥", "NaN", strings.Repeat("1", 25)} {
		var bad *catalog.ValueError
		if _, err := catalog.ParseDecimal(text); !errors.As(err, &bad) {
			t.Errorf("ParseDecimal(%q): %v, want a ValueError", text, err)
		}
	}
	var unknown catalog.Decimal
	zero, _ := catalog.ParseDecimal("0")
	if unknown.Equal(zero) || unknown.Negative() || unknown.String() != "" {
		t.Error("an unknown number is taken for zero")
	}
	if b, _ := json.Marshal(unknown); string(b) != "null" {
		t.Errorf("an unknown number is %s in JSON", b)
	}
}

func TestParseSerial(t *testing.T) {
	for text, want := range map[string]catalog.Serial{"1": 1, "0042000": 42000, "999999999999999999": 999999999999999999} {
		if got, err := catalog.ParseSerial(text); err != nil || got != want {
			t.Errorf("ParseSerial(%q) = %d, %v, want %d", text, got, err, want)
		}
	}
	for _, text := range []string{"", "0", "000", "-1", "+1", "1a", "1 ", "1000000000000000000", "0000000000000000001"} {
		var bad *catalog.ValueError
		if _, err := catalog.ParseSerial(text); !errors.As(err, &bad) {
			t.Errorf("ParseSerial(%q): %v, want a ValueError", text, err)
		}
	}
}

func TestParseDate(t *testing.T) {
	for text, days := range map[string][2]int32{
		"2019-04-12": {20190412, 20190412},
		"2019-04":    {20190401, 20190431},
		"2019":       {20190101, 20191231},
		"2020-02-29": {20200229, 20200229},
		"1900":       {19000101, 19001231},
		"2199-12-31": {21991231, 21991231},
	} {
		d, err := catalog.ParseDate(text)
		if err != nil || d.String() != text || d.First() != days[0] || d.Last() != days[1] {
			t.Errorf("ParseDate(%q) = %s from %d to %d, %v, want %d to %d", text, d, d.First(), d.Last(), err, days[0], days[1])
		}
	}
	for _, text := range []string{"", "19", "2019-4", "2019-13", "2019-00", "2019-02-30", "2021-02-29", "12.04.2019", "2019/04/12", "20190412", "2019-W15", "1899", "2200", "2019-04-1x"} {
		var bad *catalog.ValueError
		if _, err := catalog.ParseDate(text); !errors.As(err, &bad) {
			t.Errorf("ParseDate(%q): %v, want a ValueError", text, err)
		}
	}
	if d := catalog.Date(0); d.String() != "" || d.First() != 0 || d.Last() != 0 {
		t.Error("a date that is not known has days")
	}
}

// TestDateHoldsItsDays walks every day of four centuries' corners and holds a
// date against the calendar of package time: it contains a day if and only if
// the day begins with its text.
func TestDateHoldsItsDays(t *testing.T) {
	dates := []catalog.Date{}
	for _, s := range []string{"2019", "2020", "2019-12", "2020-01", "2020-02", "2021-02", "2020-02-29", "2019-12-31", "1999-06"} {
		d, err := catalog.ParseDate(s)
		if err != nil {
			t.Fatal(err)
		}
		dates = append(dates, d)
	}
	for day := time.Date(1998, 12, 25, 0, 0, 0, 0, time.UTC); day.Year() < 2022; day = day.AddDate(0, 0, 1) {
		text := day.Format(time.DateOnly)
		one, err := catalog.ParseDate(text)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range dates {
			got := catalog.Span[int32]{From: d.First(), To: d.Last()}.Contains(one.First())
			if want := strings.HasPrefix(text, d.String()); got != want {
				t.Errorf("%s in %s: %t, want %t", text, d, got, want)
			}
		}
	}
}

func FuzzParseDate(f *testing.F) {
	for _, s := range []string{"2019", "2019-04", "2019-04-12", "", "2019-02-30", "0000", "9999-12-31"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		d, err := catalog.ParseDate(s)
		if err != nil {
			if d != 0 {
				t.Errorf("ParseDate(%q) = %d beside an error", s, d)
			}
			return
		}
		if d.String() != s {
			t.Errorf("%q is printed as %q", s, d)
		}
		if d.First() > d.Last() || d.First() == 0 {
			t.Errorf("%q runs from %d to %d", s, d.First(), d.Last())
		}
	})
}

// TestSpan holds spans against the naive list of what they contain.
func TestSpan(t *testing.T) {
	const most = 7
	contains := func(s catalog.Span[int], n int) bool {
		return (s.From == 0 || n >= s.From) && (s.To == 0 || n <= s.To)
	}
	for a := 0; a <= most; a++ {
		for b := 0; b <= most; b++ {
			s := catalog.Span[int]{From: a, To: b}
			if s.Open() != (a == 0 && b == 0) {
				t.Errorf("%v is open: %t", s, s.Open())
			}
			any := false
			for n := 1; n <= most; n++ {
				any = any || contains(s, n)
				if s.Contains(n) != contains(s, n) {
					t.Errorf("%v contains %d: %t", s, n, s.Contains(n))
				}
			}
			if s.Valid() != any {
				t.Errorf("%v is valid: %t", s, s.Valid())
			}
			for c := 0; c <= most; c++ {
				for d := 0; d <= most; d++ {
					o := catalog.Span[int]{From: c, To: d}
					if !s.Valid() || !o.Valid() {
						continue
					}
					both := false
					for n := 1; n <= most; n++ {
						both = both || contains(s, n) && contains(o, n)
					}
					if s.Overlaps(o) != both || o.Overlaps(s) != both {
						t.Errorf("%v overlaps %v: %t, want %t", s, o, s.Overlaps(o), both)
					}
				}
			}
		}
	}
}

func TestParseConditions(t *testing.T) {
	for text, want := range map[string]string{
		"":                             "",
		"  ":                           "",
		"pan=deep":                     "pan=deep",
		" pan = deep ;pins=12":         "pan=deep; pins=12",
		"connector=oval twin; a-b=5.2": "connector=oval twin; a-b=5.2",
	} {
		cs, err := catalog.ParseConditions(text)
		if err != nil || cs.String() != want {
			t.Errorf("ParseConditions(%q) = %q, %v, want %q", text, cs, err, want)
		}
		again, err := catalog.ParseConditions(cs.String())
		if err != nil || again.String() != cs.String() || len(again) != len(cs) {
			t.Errorf("%q comes back as %q, %v", cs, again, err)
		}
	}
	for _, text := range []string{"pan", "pan=", "=deep", "pan=deep;", ";", "pan=deep; Pan=flat", "p-an=a; PAN=b", "pän=deep", "pan=a=b", "pan=" + strings.Repeat("x", 65), "pan=a\nb", "pan=\u200b"} {
		var bad *catalog.ValueError
		if _, err := catalog.ParseConditions(text); !errors.As(err, &bad) {
			t.Errorf("ParseConditions(%q): %v, want a ValueError", text, err)
		}
	}
	if a, b := (catalog.Condition{Mark: "Pan-Shape", Value: "Deep  Step"}), (catalog.Condition{Mark: "panshape", Value: "deep step"}); a.Key() != b.Key() {
		t.Errorf("%q and %q have different keys", a, b)
	}
}
