package index

import (
	"math"
	"testing"
)

// reciprocalRank is 1 through the rank of the first wanted thing in a list, 0
// where it has none.
func reciprocalRank(list, want []string) float64 {
	for i, s := range list {
		for _, w := range want {
			if s == w {
				return 1 / float64(i+1)
			}
		}
	}
	return 0
}

// recall is the share of the wanted things that a list holds.
func recall(list, want []string) float64 {
	n := 0
	for _, w := range want {
		for _, s := range list {
			if s == w {
				n++
				break
			}
		}
	}
	return float64(n) / float64(len(want))
}

func mean(list []float64) float64 {
	sum := 0.0
	for _, v := range list {
		sum += v
	}
	return sum / float64(len(list))
}

// The worked example of "Mean reciprocal rank", Wikipedia, the free
// encyclopedia (section Example, which follows Voorhees, TREC-8 Question
// Answering Track Report, 1999): three queries, ranks 3, 2 and 1, mean 11/18.
func TestReciprocalRankOnAPublishedExample(t *testing.T) {
	got := mean([]float64{
		reciprocalRank([]string{"catten", "cati", "cats"}, []string{"cats"}),
		reciprocalRank([]string{"torii", "tori", "toruses"}, []string{"tori"}),
		reciprocalRank([]string{"viruses", "virii", "viri"}, []string{"viruses"}),
	})
	if want := 11.0 / 18; math.Abs(got-want) > 1e-12 {
		t.Errorf("mean reciprocal rank is %v, the published one %v", got, want)
	}
	if got := reciprocalRank([]string{"a", "b"}, []string{"c"}); got != 0 {
		t.Errorf("reciprocal rank is %v where nothing was found, want 0", got)
	}
}

// Manning, Raghavan and Schütze, Introduction to Information Retrieval, 2008,
// section 8.3, exercise 8.1: 8 of 20 relevant documents are among 18 returned,
// so recall is 8/20.
func TestRecallOnAPublishedExample(t *testing.T) {
	var list, want []string
	for i := range 18 {
		list = append(list, string(rune('a'+i)))
	}
	for i := range 20 {
		want = append(want, string(rune('a'+i+10))) // k to r are in both
	}
	if got := recall(list, want); got != 8.0/20 {
		t.Errorf("recall is %v, the published one %v", got, 8.0/20)
	}
}
