package catalog

import "testing"

// The bands of a mark that wears reach down to 0.85 of the nominal (common practice,
// no published source), of any other mark no further down than up; both ends meet.
func TestBandsMeet(t *testing.T) {
	num := func(s string) Decimal {
		d, err := ParseDecimal(s)
		if err != nil {
			t.Fatal(err)
		}
		return d
	}
	for _, c := range []struct {
		wears           Wear
		a, b, tolerance string
		want            bool
	}{
		{"", "5", "5.6", "0.2", true}, // 5 + 0.2 + 0.1 = 5.6 - 0.2 - 0.1
		{"", "5", "5.61", "0.2", false},
		{Shorter, "40", "42", "0.2", true},     // a worn one of 42 can be 40
		{Shorter, "26", "30.9", "0.2", true},   // 0.85 × 30.9 = 26.265, and 26 reaches 26.3
		{Shorter, "26", "30.95", "0.2", false}, // 26.3075
		{Shorter, "26", "26", "30", true},
		{Shorter, "100", "101", "0", true},
		{"", "100", "101", "0", false},
		{Shorter, "10", "17", "6", true}, // a new one of 17 can be 10.9, shorter than 0.85 of it
		{Shorter, "long", "5", "0", true},
	} {
		m := &Mark{Kind: MarkMeasured, Unit: "mm", Tolerance: num("0.1"), Wears: c.wears}
		a, b := &Show{Value: c.a, Tolerance: num(c.tolerance)}, &Show{Value: c.b, Tolerance: num(c.tolerance)}
		if m.Meet(a, b) != c.want || m.Meet(b, a) != c.want {
			t.Errorf("%s and %s by %s, wears %q: they meet %t", c.a, c.b, c.tolerance, c.wears, !c.want)
		}
	}
}
