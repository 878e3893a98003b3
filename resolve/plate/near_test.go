package plate

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"sort"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"platewright/catalog"
)

func sorted(keys []string) SortedKeys {
	keys = slices.Clone(keys)
	slices.Sort(keys)
	return slices.Compact(keys)
}

func found(t testing.TB, codes Codes, pattern []Set) []string {
	t.Helper()
	out := []string{}
	require.NoError(t, Find(codes, pattern, func(key string) bool { out = append(out, key); return true }))
	return out
}

// TestFindAgrees holds the skipping search against a plain filter, over keys of
// mixed lengths, with the separator, and over two collections at once.
func TestFindAgrees(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		char := rapid.SampledFrom([]byte("!*019AZ"))
		key := rapid.Custom(func(t *rapid.T) string {
			return string(rapid.SliceOfN(char, 1, 4).Draw(t, "key"))
		})
		keys := sorted(rapid.SliceOfN(key, 0, 150).Draw(rt, "keys"))
		pattern := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Set {
			s, _ := SetOf(string(rapid.SliceOfN(char, 1, 3).Draw(t, "chars")))
			if rapid.Bool().Draw(t, "open") {
				return Any
			}
			return s
		}), 1, 4).Draw(rt, "pattern")
		want := []string{}
		for _, k := range keys {
			ok := len(k) == len(pattern)
			for i := 0; ok && i < len(k); i++ {
				ok = pattern[i].Has(k[i])
			}
			if ok {
				want = append(want, k)
			}
		}
		if diff := cmp.Diff(want, found(t, keys, pattern)); diff != "" {
			rt.Errorf("%s (-filter +find)\n%s", Reading(pattern), diff)
		}
		ended := SortedKeys{}
		for _, k := range keys {
			ended = append(ended, catalog.MakeKey(k))
		}
		slices.Sort(ended)
		if diff := cmp.Diff(want, found(t, TrimSep(ended), pattern)); diff != "" {
			rt.Errorf("%s with separators (-filter +find)\n%s", Reading(pattern), diff)
		}
		var a, b SortedKeys
		for i, k := range keys {
			if i%3 != 0 {
				a = append(a, k)
			}
			if i%3 != 1 {
				b = append(b, k)
			}
		}
		for name, codes := range map[string]Codes{
			"stepping": keys.Walk(), "over two": Union(a, b), "stepping over two": Union(a.Walk(), b.Walk()),
			"stepping with separators": TrimSep(ended.Walk()), "half stepping": Union(a, b.Walk()),
		} {
			if diff := cmp.Diff(want, found(t, codes, pattern)); diff != "" {
				rt.Errorf("%s %s (-filter +find)\n%s", Reading(pattern), name, diff)
			}
		}
	})
}

func TestFindStops(t *testing.T) {
	n := 0
	require.NoError(t, Find(SortedKeys{"A1", "A2", "A3"}, []Set{Any, Any}, func(string) bool { n++; return n < 2 }))
	if n != 2 {
		t.Errorf("each was called %d times after it said stop at 2", n)
	}
}

var errBroken = errors.New("broken")

type broken struct{}

func (broken) Seek(string) (string, bool, error) { return "", false, errBroken }

func TestErrorsOfCodes(t *testing.T) {
	if err := Find(broken{}, []Set{Any}, func(string) bool { return true }); !errors.Is(err, errBroken) {
		t.Errorf("find: %v", err)
	}
	if err := Find(Union(SortedKeys{"A"}.Walk(), broken{}), []Set{Any}, func(string) bool { return true }); !errors.Is(err, errBroken) {
		t.Errorf("union: %v", err)
	}
	list, whole, err := Near([]*Layout{pier(t)}, read(t, pierPlate(t, "M4K2200300417")[1:]), func(*Layout) Codes { return broken{} })
	if !errors.Is(err, errBroken) || whole || len(list) != 0 {
		t.Errorf("near: %v %v %v", list, whole, err)
	}
	if err := Neighbours(broken{}, "A1", func(Neighbour) bool { return true }); !errors.Is(err, errBroken) {
		t.Errorf("neighbours: %v", err)
	}
}

// TestNear is one plate with each of the four slips, by a layout with a check
// character: only the plate itself comes back.
func TestNear(t *testing.T) {
	l := pier(t)
	text := pierPlate(t, "M4K2"+"2003"+"00417")
	codes := func(*Layout) Codes { return sorted([]string{"M4K2", "M4X2", "MKK2", "B111"}) }
	for _, c := range []struct {
		slip string
		want NearReading
	}{
		{strings.Replace(text, "M4K2", "M4KZ", 1), NearReading{Kind: Misread, Place: 6, Read: "Z", Would: "2"}},
		{strings.Replace(text, "M4K2", "MK42", 1), NearReading{Kind: Swapped, Place: 4, Read: "K4", Would: "4K"}},
		{strings.Replace(text, "M4K2", "M4K", 1), NearReading{Kind: Dropped, Place: 6, Read: "", Would: "2"}},
		{strings.Replace(text, "M4K2", "M4KK2", 1), NearReading{Kind: Doubled, Place: 5, Read: "KK", Would: "K"}},
		{strings.Replace(text, "0041", "041", 1), NearReading{Kind: Dropped, Place: 11, Read: "", Would: "0"}},
	} {
		list, whole, err := Near([]*Layout{l}, read(t, c.slip), codes)
		require.NoError(t, err)
		c.want.Text, c.want.Layout, c.want.Key = text, "pier", "M4K2"
		if !slices.Contains(list, c.want) || !whole {
			t.Errorf("%s: %+v does not hold %+v", c.slip, list, c.want)
		}
	}
	// One of two equal characters left out: it can stand before or after the
	// other, and that is one plate, not two.
	twin := pierPlate(t, "MKK2"+"2003"+"00417")
	twins, _, err := Near([]*Layout{l}, read(t, strings.Replace(twin, "KK", "K", 1)), codes)
	require.NoError(t, err)
	want := []NearReading{{Kind: Dropped, Place: 4, Would: "K", Text: twin, Layout: "pier", Key: "MKK2"}}
	if diff := cmp.Diff(want, twins); diff != "" {
		t.Errorf("(-want +got)\n%s", diff)
	}
	// With an either-or place beside the slip.
	slip := text[:4] + "[KX]Z" + text[6:]
	list, _, err := Near([]*Layout{l}, read(t, slip), codes)
	require.NoError(t, err)
	if len(list) == 0 || list[0].Text != text || list[0].Kind != Misread {
		t.Errorf("%s: %+v", slip, list)
	}
	// Nothing at hand: no slip leads to a key.
	list, whole, err := Near([]*Layout{l}, read(t, "WWWWWWWWWWWWWWWW"), codes)
	if err != nil || !whole || len(list) != 0 {
		t.Errorf("%+v %v %v", list, whole, err)
	}
}

// TestNearWithOpenPlaces has a slip beside two open places that the check ties
// together: of the keys that each place allows by itself, only those come back
// for which the other place has a character.
func TestNearWithOpenPlaces(t *testing.T) {
	l := pier(t)
	text := pierPlate(t, "M4K2"+"2003"+"00417")
	var keys []string
	for c := range Alphanum.All() {
		keys = append(keys, "M"+string(c)+"K2")
	}
	slip := text[:3] + "?" + "X" + text[5:12] + "?" + text[13:] // X for K
	list, whole, err := Near([]*Layout{l}, read(t, slip), func(*Layout) Codes { return sorted(keys) })
	require.NoError(t, err)
	got := map[string]bool{}
	for _, n := range list {
		if n.Kind != Misread || n.Place != 5 {
			continue
		}
		got[n.Key] = true
		ms := l.Match(read(t, n.Text))
		if len(ms) != 1 || ms[0].Checks[0].Outcome != CheckPassed {
			t.Errorf("%+v does not pass its check", n)
		}
	}
	// The slow way: each serial digit has at most one character before it.
	want := map[string]bool{}
	for _, key := range keys {
		for d := range Digits.All() {
			full := "Q7" + key + text[6:12] + string(d) + text[13:]
			if ms := l.Match(read(t, full)); len(ms) == 1 {
				want[key] = true
			}
		}
	}
	if diff := cmp.Diff(want, got); diff != "" || !whole || len(want) < 9 {
		t.Errorf("%s: whole %v, keys (-judged +near)\n%s", slip, whole, diff)
	}
}

// slips gives all texts that the plain text becomes by undoing one slip, by
// kind: the slow and obvious way.
func slips(text string) map[NearKind]map[string]bool {
	out := map[NearKind]map[string]bool{Misread: {}, Swapped: {}, Dropped: {}, Doubled: {}}
	for i := range text {
		for c := range Any.All() {
			if Confusable(text[i], c) {
				out[Misread][text[:i]+string(c)+text[i+1:]] = true
			}
		}
		if i+1 < len(text) && text[i] != text[i+1] {
			out[Swapped][text[:i]+text[i+1:i+2]+text[i:i+1]+text[i+2:]] = true
		}
		if i+1 < len(text) && text[i] == text[i+1] {
			out[Doubled][text[:i]+text[i+1:]] = true
		}
	}
	for i := 0; i <= len(text); i++ {
		for c := range Any.All() {
			out[Dropped][text[:i]+string(c)+text[i:]] = true
		}
	}
	return out
}

// TestNearAgrees holds Near against trying every slip on the text.
func TestNearAgrees(t *testing.T) {
	ls := append(small(t), buoy(t))
	rapid.Check(t, func(rt *rapid.T) {
		l := rapid.SampledFrom(ls).Draw(rt, "layout")
		char := rapid.SampledFrom([]byte("ABKXT01238"))
		text := string(rapid.SliceOfN(char, 2, 7).Draw(rt, "text"))
		var keys []string
		for range 60 {
			keys = append(keys, string(rapid.SliceOfN(char, 1, 5).Draw(rt, "key")))
		}
		codes := sorted(keys)
		type hit struct {
			kind NearKind
			text string
			key  string
		}
		want := map[hit]bool{}
		for kind, texts := range slips(text) {
			for s := range texts {
				r, err := ParseReading(s)
				if err != nil {
					continue
				}
				for _, m := range l.Match(r) {
					if key := m.Key.String(); slices.Contains(codes, key) {
						want[hit{kind, s, key}] = true
					}
				}
			}
		}
		list, whole, err := Near([]*Layout{l}, read(t, text), func(*Layout) Codes { return codes })
		if err != nil || !whole {
			rt.Fatalf("%s: %v %v", text, whole, err)
		}
		stepped, _, err := Near([]*Layout{l}, read(t, text), func(*Layout) Codes { return codes.Walk() })
		if diff := cmp.Diff(list, stepped); diff != "" || err != nil {
			rt.Errorf("%s: stepping over the keys gives another list, %v\n%s", text, err, diff)
		}
		covered := map[hit]bool{}
		once := map[[2]string]bool{}
		for i, n := range list {
			if once[[2]string{n.Text, n.Key}] {
				rt.Errorf("%s: %+v is there twice", text, n)
			}
			once[[2]string{n.Text, n.Key}] = true
			if i > 0 && (list[i-1].Kind.rank() > n.Kind.rank() || list[i-1].Kind == n.Kind && list[i-1].Place > n.Place) {
				rt.Errorf("%s: not in order: %+v, %+v", text, list[i-1], n)
			}
			some := false
			for h := range want {
				if h.key != n.Key {
					continue
				}
				// One text stands under the first kind that gives it, and a
				// dropped character that could stand anywhere stands once.
				same := fits(h.text, n.Text) || n.Kind == Dropped && h.kind == Dropped && len(n.Would) > 1
				if same && n.Kind.rank() <= h.kind.rank() {
					covered[h] = true
				}
				some = some || same && h.kind == n.Kind
			}
			if !some {
				rt.Errorf("%s: %+v is no slip away", text, n)
			}
		}
		for h := range want {
			if !covered[h] {
				rt.Errorf("%s as %s: %+v is missing in %+v", text, l.Row.Layout, h, list)
			}
		}
	})
}

// fits tells whether the plain text is one that the printed pattern allows.
func fits(text, pattern string) bool {
	r, err := ParseReading(pattern)
	if err != nil || len(r) != len(text) {
		return false
	}
	for i := range r {
		if !r[i].Has(text[i]) {
			return false
		}
	}
	return true
}

// TestNeighboursAgree holds Neighbours against judging every key of the
// collection by itself.
func TestNeighboursAgree(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		char := rapid.SampledFrom([]byte("0O1I8B"))
		key := rapid.Custom(func(t *rapid.T) string { return string(rapid.SliceOfN(char, 1, 5).Draw(t, "key")) })
		codes := sorted(rapid.SliceOfN(key, 0, 120).Draw(rt, "keys"))
		of := key.Draw(rt, "of")
		want := map[string]NearKind{}
		for _, k := range codes {
			if k == of {
				continue
			}
			if slips(of)[Misread][k] {
				want[k] = Misread
			}
			if slips(of)[Swapped][k] {
				want[k] = Swapped
			}
			if len(k) != len(of) && (slips(of)[Dropped][k] || slips(k)[Dropped][of]) {
				want[k] = Dropped
				if slips(k)[Doubled][of] || slips(of)[Doubled][k] {
					want[k] = Doubled
				}
			}
		}
		got := map[string]NearKind{}
		err := Neighbours(codes, of, func(n Neighbour) bool {
			if _, twice := got[n.Key]; twice {
				rt.Errorf("%s comes twice", n.Key)
			}
			got[n.Key] = n.Kind
			return true
		})
		if err != nil {
			rt.Fatal(err)
		}
		if diff := cmp.Diff(want, got); diff != "" {
			rt.Errorf("neighbours of %s (-judged +got)\n%s", of, diff)
		}
	})
}

func TestNearIsBounded(t *testing.T) {
	// A layout without a check and a catalogue that holds everything: more near
	// readings than anyone looks through, or too many open places.
	l := compile(t, "plain", catalog.Field{Field: "type", Kind: catalog.FieldAlphanum, Min: 4, Max: 12, Means: means})
	var keys []string
	for i := range 36 * 36 {
		keys = append(keys, fmt.Sprintf("%c%c%c%c", Alphanum.nth(i%36), Alphanum.nth(i/36), 'A', 'B'))
	}
	codes := func(*Layout) Codes { return sorted(keys) }
	list, whole, err := Near([]*Layout{l}, read(t, "??AB8"), codes)
	if err != nil || whole && len(list) >= MaxNear || len(list) > MaxNear {
		t.Errorf("%d near readings, whole %v, %v", len(list), whole, err)
	}
	list, whole, err = Near([]*Layout{l}, read(t, "?AB"), codes)
	if err != nil || whole || len(list) != MaxNear {
		t.Errorf("%d near readings, whole %v, %v; want them cut at %d", len(list), whole, err, MaxNear)
	}
}

func (s Set) nth(n int) byte {
	for c := range s.All() {
		if n == 0 {
			return c
		}
		n--
	}
	return 0
}

// million is a million invented keys of eight characters: two letters of a
// family out of forty pairs, a size digit, a letter and four more characters.
func million(shape string) SortedKeys {
	rng := rand.New(rand.NewPCG(7, 11))
	families := make([]string, 40)
	for i := range families {
		families[i] = string([]byte{byte('A' + rng.IntN(26)), byte('A' + rng.IntN(26))})
	}
	const alnum = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
	seen := make(map[string]bool, 1_000_000)
	keys := make([]string, 0, 1_000_000)
	for len(keys) < 1_000_000 {
		var k string
		if shape == "families" {
			k = fmt.Sprintf("%s%d%c%04d", families[rng.IntN(40)], rng.IntN(10), alnum[10+rng.IntN(26)], rng.IntN(10000))
		} else {
			b := make([]byte, 8)
			for i := range b {
				b[i] = alnum[rng.IntN(36)]
			}
			k = string(b)
		}
		if !seen[k] {
			seen[k] = true
			keys = append(keys, k)
		}
	}
	slices.Sort(keys)
	return keys
}

func BenchmarkFind(b *testing.B) {
	for _, shape := range []string{"families", "random"} {
		keys := million(shape)
		rng := rand.New(rand.NewPCG(1, 2))
		for _, open := range [][2]int{{0, 1}, {1, 3}, {3, 5}, {6, 7}} {
			b.Run(fmt.Sprintf("%s/open=%d,%d", shape, open[0]+1, open[1]+1), func(b *testing.B) {
				b.ReportAllocs()
				patterns := make([][]Set, 256)
				for i := range patterns {
					k := keys[rng.IntN(len(keys))]
					p := make([]Set, len(k))
					for j := range p {
						p[j] = one(k[j])
					}
					p[open[0]], p[open[1]] = Any, Any
					patterns[i] = p
				}
				n, i, walk := 0, 0, keys.Walk()
				for b.Loop() {
					err := Find(walk, patterns[i%256], func(string) bool { n++; return true })
					if err != nil {
						b.Fatal(err)
					}
					i++
				}
				if n < i {
					b.Fatal("a pattern did not find the key it was made of")
				}
			})
		}
	}
}

// ten are ten layouts as a catalogue of several makers has them.
func ten(t testing.TB) []*Layout {
	out := []*Layout{wide(t, "wide", true), wide(t, "bare", false), buoy(t), pier(t)}
	for i := range 6 {
		out = append(out, compile(t, fmt.Sprintf("other%d", i),
			catalog.Field{Field: "head", Kind: catalog.FieldLiteral, Chars: fmt.Sprintf("W%d", i), Means: catalog.MeansNothing},
			catalog.Field{Field: "type", Kind: catalog.FieldAlphanum, Min: 6, Max: 8, Means: means},
			catalog.Field{Field: "serial", Kind: catalog.FieldDigits, Min: 4, Max: 7, Means: catalog.MeansSerial}))
	}
	return out
}

// wide is a plate whose variant has the eight characters of [million].
func wide(t testing.TB, code string, checked bool) *Layout {
	fields := []catalog.Field{
		{Field: "type", Kind: catalog.FieldAlphanum, Min: 8, Max: 8, Means: means},
		{Field: "week", Kind: catalog.FieldDigits, Min: 4, Max: 4, Means: catalog.MeansBuilt, Form: "YYWW"},
		{Field: "serial", Kind: catalog.FieldDigits, Min: 5, Max: 5, Means: catalog.MeansSerial},
	}
	if checked {
		fields = append(fields, catalog.Field{Field: "check", Kind: catalog.FieldAlphanum, Min: 1, Max: 1, Means: catalog.MeansCheck, Scheme: catalog.SchemeMod37_36})
	}
	return compile(t, code, fields...)
}

func BenchmarkMatch(b *testing.B) {
	ls := ten(b)
	c, err := NewCheck(catalog.SchemeMod37_36, nil, nil)
	require.NoError(b, err)
	check, err := c.Compute("AB3K0417200300417")
	require.NoError(b, err)
	full := "AB3K0417200300417" + check
	for name, text := range map[string]string{
		"read":   full,
		"open=2": full[:2] + "?" + full[3:6] + "?" + full[7:],
		"open=6": "??" + full[2:5] + "??" + full[7:12] + "??" + full[14:],
		"none":   "99999999999999999999999",
	} {
		r := read(b, text)
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				Read(ls, r)
			}
		})
	}
	open := read(b, "AB?K04?72003?0417"+check)
	ms := ls[0].Match(open)
	require.Len(b, ms, 1)
	b.Run("allows", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			ms[0].Allows("AB3K0417")
		}
	})
	b.Run("parse", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			if _, err := ParseReading(full); err != nil {
				b.Fatal(err)
			}
		}
	})
}

// wrong makes a slip in the key part of a plate that leads to no other key.
func wrong(key string, i int, keys SortedKeys) string {
	b := []byte(key)
	for {
		b[4+i%4] = byte('0' + (int(b[4+i%4]-'0')+1+i%3)%10)
		if j := sort.SearchStrings(keys, string(b)); j == len(keys) || keys[j] != string(b) {
			return string(b)
		}
		i++
	}
}

func BenchmarkNear(b *testing.B) {
	keys := million("families")
	rng := rand.New(rand.NewPCG(3, 4))
	all := ten(b)
	c, err := NewCheck(catalog.SchemeMod37_36, nil, nil)
	require.NoError(b, err)
	for _, checked := range []bool{true, false} {
		readings := make([]Reading, 256)
		for i := range readings {
			key := keys[rng.IntN(len(keys))]
			if !checked {
				key = wrong(key, i, keys)
			}
			body := key + fmt.Sprintf("20%02d%05d", 1+rng.IntN(52), rng.IntN(100000))
			if checked {
				check, err := c.Compute(body)
				require.NoError(b, err)
				body += check
				// Two neighbours of the key are swapped; the check notices.
				for j := 3 + i%4; ; j = (j + 1) % 7 {
					if body[j] != body[j+1] {
						body = body[:j] + body[j+1:j+2] + body[j:j+1] + body[j+2:]
						break
					}
				}
			}
			readings[i] = read(b, body)
		}
		b.Run(fmt.Sprintf("checked=%v", checked), func(b *testing.B) {
			b.ReportAllocs()
			i, n, walk := 0, 0, keys.Walk()
			for b.Loop() {
				list, _, err := Near(all, readings[i%256], func(*Layout) Codes { return walk })
				if err != nil {
					b.Fatal(err)
				}
				n += len(list)
				i++
			}
			b.ReportMetric(float64(n)/float64(i), "found/op")
		})
	}
}

func BenchmarkNeighbours(b *testing.B) {
	keys := million("families")
	rng := rand.New(rand.NewPCG(5, 6))
	b.ReportAllocs()
	walk := keys.Walk()
	for b.Loop() {
		if err := Neighbours(walk, keys[rng.IntN(len(keys))], func(Neighbour) bool { return true }); err != nil {
			b.Fatal(err)
		}
	}
}
