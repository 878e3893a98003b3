package index

import (
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/require"
	"golang.org/x/text/unicode/norm"

	"platewright/catalog"
)

func lines(t *testing.T, name string) []string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("testdata", name))
	require.NoError(t, err)
	return slices.DeleteFunc(strings.Split(string(text), "\n"), func(s string) bool { return s == "" || s[0] == '#' })
}

// The stems of the Snowball project's own vocabulary: see testdata/README.md.
func TestStemsAreThoseOfSnowball(t *testing.T) {
	s, n := newStemmer(), 0
	for _, l := range lines(t, "snowball-english.txt") {
		f := strings.Fields(l)
		require.Len(t, f, 2, l)
		if got := s.stem(f[0]); got != f[1] {
			t.Errorf("the stem of %q is %q, Snowball's is %q", f[0], got, f[1])
		}
		n++
	}
	if n < 200 {
		t.Errorf("only %d words were compared", n)
	}
}

// Unicode's own test of NFKC: what reads the same is found the same. A number
// spelled with the source and one spelled with its compatibility form have one
// folded form, and so do words.
func TestFoldingFollowsUnicode(t *testing.T) {
	decode := func(field string) string {
		var b strings.Builder
		for _, h := range strings.Fields(field) {
			n, err := strconv.ParseUint(h, 16, 32)
			require.NoError(t, err)
			b.WriteRune(rune(n))
		}
		return b.String()
	}
	n := 0
	for _, l := range lines(t, "nfkc.txt") {
		f := strings.Split(l, ";")
		source, nfkc := decode(f[0]), decode(f[3])
		if got := norm.NFKC.String(source); got != nfkc {
			t.Errorf("NFKC of %U is %U, the test file has %U", []rune(source), []rune(got), []rune(nfkc))
		}
		if a, b := catalog.Fold("A"+source+"7"), catalog.Fold("A"+nfkc+"7"); a != b {
			t.Errorf("%U folds to %q in a number, its NFKC form to %q", []rune(source), a, b)
		}
		if a, b := plain("a"+source), plain("a"+nfkc); a != b {
			t.Errorf("%U folds to %q in a word, its NFKC form to %q", []rune(source), a, b)
		}
		n++
	}
	if n < 400 {
		t.Errorf("only %d lines were compared", n)
	}
}

func TestTokens(t *testing.T) {
	s := newStemmer()
	for _, c := range []struct{ text, want string }{
		{"pan gasket", "pan@0 gasket@1"},
		{"The sealing rings of the pump", "seal@1 ring@2 pump@5"},
		{"lock-up actuator", "lock@0 up@1 lockup+0 actuat@2"},
		{"DRK-4110-S", "drk@0 4110@1 s@2 drk4110s+0"},
		{"204.P.110, six", "204@0 p@1 110@2 204p110+0 six@3"},
		{"10ohm 5Ω", "10@0 ohm@1 10ohm+0 5@2 ohm@3 5ohm+2"},
		{"maker’s customers' don't", "maker@0 custom@1 dont@2"},
		{"ＤＲＫ４１", "drk@0 41@1 drk41+0"},
		{"---...///", ""},
	} {
		var got []string
		s.tokens(c.text, func(k token) {
			at := "+"
			if k.word {
				at = "@"
			}
			got = append(got, k.term+at+strconv.Itoa(k.pos))
			if k.from < 0 || k.to > len(c.text) || k.from >= k.to || !utf8.ValidString(c.text[k.from:k.to]) {
				t.Errorf("%q: %q stands at %d to %d", c.text, k.term, k.from, k.to)
			}
		})
		if d := cmp.Diff(c.want, strings.Join(got, " ")); d != "" {
			t.Errorf("%q (-want +got):\n%s", c.text, d)
		}
	}
}

// What is said of a query has to be what a person means.
func TestQueriesAreRead(t *testing.T) {
	x := open(t, demo(t), Options{})
	for _, c := range []struct{ text, want string }{
		{"ends in oh-four-two", "042 trailing"},
		{"number ends in oh four two", "042 trailing"},
		{"double seven three", "773"},
		{"sleeve starting with 52", "52 leading"},
		{"starts with drk four two", "DRK42 leading"},
		{"starts with the figures four two", "42 leading"},
		{"has two wires", ""},
		{"drk 4110 s", "DRK4110S whole"},
		{"P.218", "P218"},
		{"10 ohm", ""},
		{"10", "10"},
		{"UY5?/019", "UY5?019"},
		{"what is it?", ""},
	} {
		terms, err := x.parse(c.text)
		require.NoError(t, err)
		var got []string
		for _, k := range terms {
			if k.number != "" {
				got = append(got, strings.TrimSpace(k.number+" "+string(k.anchor)))
			}
		}
		if d := cmp.Diff(c.want, strings.Join(got, ", ")); d != "" {
			t.Errorf("%q (-want +got):\n%s", c.text, d)
		}
	}
}
