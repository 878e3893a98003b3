package plate

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// TestInDoubt holds that the shares of a character in doubt are those of the table
// of confusable characters and add up to one.
func TestInDoubt(t *testing.T) {
	for c := byte('0'); c <= 'Z'; c++ {
		if one(c) == 0 {
			continue
		}
		list := InDoubt(c)
		sum, can := 0.0, one(c)
		for i, l := range list {
			sum += l.Share
			can |= one(l.Char[0])
			if i > 0 && (!Confusable(c, l.Char[0]) || len(l.Sources) == 0) {
				t.Errorf("%c can be %s without a source", c, l.Char)
			}
			if i > 1 && l.Share > list[i-1].Share {
				t.Errorf("%c: %s stands behind a less likely one", c, l.Char)
			}
		}
		if math.Abs(sum-1) > 1e-12 || can != one(c)|confusableWith(c) {
			t.Errorf("%c: shares add up to %v, and what can stand is %v", c, sum, can)
		}
	}
	// 0 is taken for O by four sources, for D and Q by common practice alone: six
	// in all.
	if got := InDoubt('0'); len(got) != 4 || got[0].Char != "0" || got[1].Char != "O" || math.Abs(got[1].Share-0.5*4/6) > 1e-12 || math.Abs(got[2].Share-0.5/6) > 1e-12 {
		t.Errorf("0 in doubt: %+v", got)
	}
}

// TestFillPlace holds that a text with a place filled reads as the reading with
// the set of that place replaced, and keeps its separators.
func TestFillPlace(t *testing.T) {
	for _, c := range []struct {
		text  string
		place int
		want  string
	}{
		{"XEB-43?-B 18", 6, "XEB-43Q-B 18"},
		{"a[38]-?", 2, "aQ-?"},
		{"a[3, 8]-?", 3, "a[3, 8]-Q"},
		{"ab", 3, ""},
		{"ab", 0, ""},
		{"a[b", 1, ""},
	} {
		if got, ok := FillPlace(c.text, c.place, 'Q'); ok != (c.want != "") || ok && got != c.want {
			t.Errorf("%q with Q at %d: %q %t, want %q", c.text, c.place, got, ok, c.want)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringMatching(`([A-F]|\?|\[[0-9]{1,3}\]|[ -]|\[[0-9](, |/)[0-9]\]){1,12}`).Draw(t, "text")
		rd, err := ParseReading(text)
		if err != nil {
			return
		}
		place := rapid.IntRange(1, len(rd)).Draw(t, "place")
		filled, ok := FillPlace(text, place, 'Z')
		if !ok {
			t.Fatalf("%q at %d is not filled", text, place)
		}
		got, err := ParseReading(filled)
		if err != nil {
			t.Fatal(err)
		}
		rd[place-1] = one('Z')
		if got.String() != rd.String() {
			t.Fatalf("%q with Z at %d is %q", text, place, filled)
		}
	})
}
