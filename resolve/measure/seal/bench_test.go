package seal_test

import (
	"testing"

	"github.com/shopspring/decimal"

	"platewright/resolve/measure"
	"platewright/resolve/measure/seal"
)

// BenchmarkSort sorts as many pieces as are taken, each of which can have come from
// several places.
func BenchmarkSort(b *testing.B) {
	var ns []seal.Nominal
	for j := range 20 {
		n := nominal(string(rune('a'+j)), "1", "0.2", "", "", 5)
		n.Length.Num = decimal.New(int64(400+3*j), -1)
		ns = append(ns, n)
	}
	var got []seal.Got
	for i := range seal.MostPieces {
		got = append(got, seal.Got{Length: measure.Of(decimal.New(int64(390+i*53%60), -1), measure.Millimetre)})
	}
	for b.Loop() {
		if _, err := seal.Sort(ns, got, mm("0.1")); err != nil {
			b.Fatal(err)
		}
	}
}
