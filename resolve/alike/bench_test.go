package alike

import (
	"context"
	"fmt"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"platewright/catalog"
	"platewright/catalog/store"
	"platewright/resolve"
)

// codes gives a function that reads the codes of a catalogue with their layouts:
// those of the store in the folder that PLATEWRIGHT_BENCH_DATA names, else a
// million made up here.
func codes(b *testing.B) func(*testing.B) *Texts {
	if dir := os.Getenv("PLATEWRIGHT_BENCH_DATA"); dir != "" {
		return func(b *testing.B) *Texts {
			s, err := store.Open(dir)
			require.NoError(b, err)
			defer s.Close()
			v, err := s.Head()
			require.NoError(b, err)
			defer v.Close()
			layouts := map[string]uint16{}
			var x Texts
			for r, err := range v.Rows(catalog.TableByName(catalog.TVariants)) {
				require.NoError(b, err)
				o := r.(*catalog.Variant)
				l, ok := layouts[o.Layout]
				if !ok {
					l = uint16(len(layouts))
					layouts[o.Layout] = l
				}
				x.Add(o.Variant.Key(), l, uint32(x.Len()))
			}
			x.Sort(len(layouts))
			return &x
		}
	}
	made := million()
	return func(*testing.B) *Texts {
		var x Texts
		for i, c := range made {
			x.Add(c, 0, uint32(i))
		}
		x.Sort(1)
		return &x
	}
}

// BenchmarkSlips finds the pairs of codes that differ in one confusable
// character, in one character, by one misread, and by one edit of any sort, the
// reading of the codes included.
func BenchmarkSlips(b *testing.B) {
	read := codes(b)
	for _, c := range []struct {
		name  string
		kinds Kinds
	}{
		{"confusable", 1 << Confused},
		{"one-character", 1<<Confused | 1<<Substituted},
		{"misreads", Misreads},
		{"any", AnyCharacter},
	} {
		b.Run(c.name, func(b *testing.B) {
			b.ReportAllocs()
			pairs := 0
			for b.Loop() {
				pairs = 0
				require.NoError(b, read(b).Slips(c.kinds, silent, func(Slip) error { pairs++; return nil }))
			}
			b.ReportMetric(float64(pairs), "pairs")
		})
	}
}

// BenchmarkList makes the whole list of the store in the folder that
// PLATEWRIGHT_BENCH_DATA names, for the scope of work in PLATEWRIGHT_BENCH_WORK
// or for every role, without writing it in any form.
func BenchmarkList(b *testing.B) {
	dir := os.Getenv("PLATEWRIGHT_BENCH_DATA")
	if dir == "" {
		b.Skip("PLATEWRIGHT_BENCH_DATA names no folder of a store")
	}
	s, err := store.Open(dir)
	require.NoError(b, err)
	defer s.Close()
	q := Question{Work: strings.Fields(os.Getenv("PLATEWRIGHT_BENCH_WORK"))}
	for b.Loop() {
		var views []*store.View
		lines := 0
		require.NoError(b, List(context.Background(), q, Options{
			Workers: 2,
			Catalogue: func() (resolve.Catalogue, error) {
				v, err := s.Head()
				views = append(views, v)
				return v, err
			},
			Append: func(dst []byte, l *Line) ([]byte, error) { return fmt.Append(dst, l.Pair != nil, "\n"), nil },
			Write:  func(text []byte) error { lines += strings.Count(string(text), "\n"); return nil },
			Report: func(Stage, int, int) error { return nil },
		}))
		for _, v := range views {
			require.NoError(b, v.Close())
		}
		b.ReportMetric(float64(lines), "lines")
	}
}
