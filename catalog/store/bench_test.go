package store_test

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"platewright/catalog"
	"platewright/catalog/catalogtest"
	"platewright/catalog/store"
)

// synthetic is a feed of any size: variants of one family with five fit
// statements each, over a fiftieth as many parts.
type synthetic struct {
	variants int
	shuffled bool // rows in no order
	frame    *catalogtest.Feed
}

const fitsPerVariant = 5

func newSynthetic(t testing.TB, variants int, shuffled bool) *synthetic {
	return &synthetic{variants, shuffled, lines(t, "synthetic", `
sources: source=BENCH | title=Bench book | kind=invented
makers: maker=Quillmoor | name=Quillmoor Drives | source=BENCH
families: family=QM-7 | maker=Quillmoor | name=Seven gear unit | source=BENCH
assemblies: assembly=case | name=Unit case | source=BENCH
layouts: layout=QP1 | maker=Quillmoor | assembly=case | name=Case plate | example=QM7031 | source=BENCH
fields: layout=QP1 | place=1 | field=code | kind=alphanum | min=3 | max=14 | means=variant
roles: role=r0 | name=Role | assembly=case | kind=part
roles: role=r1 | name=Role | assembly=case | kind=part
roles: role=r2 | name=Role | assembly=case | kind=part
roles: role=r3 | name=Role | assembly=case | kind=part
roles: role=r4 | name=Role | assembly=case | kind=part
variants:
fits:
parts:
`)}
}

func (s *synthetic) Name() string             { return "synthetic" }
func (s *synthetic) Tables() []*catalog.Table { return s.frame.Tables() }

func (s *synthetic) variant(i int) string { return fmt.Sprintf("QX%07d-%c", i, 'A'+byte(i%7)) }

func (s *synthetic) parts() int { return max(s.variants/50, 10) }

// place gives the i-th of n rows.
func (s *synthetic) place(i, n int) int {
	if !s.shuffled {
		return i
	}
	return int(int64(i) * 7_368_787 % int64(n)) // a prime, so every row once
}

func (s *synthetic) Rows(t *catalog.Table, fs *catalog.Findings, each func(catalog.Row, catalog.Place, catalog.Cells) error) error {
	at := catalog.Place{File: t.Name + ".csv", Table: t.Name}
	switch t.Name {
	case catalog.TVariants:
		for i := range s.variants {
			n := s.place(i, s.variants)
			at.Row = i + 2
			v := catalog.Variant{Variant: catalog.VariantCode(s.variant(n)), Family: "QM-7", Layout: "QP1", Count: n % 1000, Source: "BENCH"}
			if err := each(&v, at, 0); err != nil {
				return err
			}
		}
	case catalog.TParts:
		for i := range s.parts() {
			at.Row = i + 2
			p := catalog.Part{Part: catalog.PartNo(fmt.Sprintf("P%06d", i)), Name: "Part", Kind: catalog.PartSingle, Origin: catalog.OriginMaker, Status: catalog.PartSold, Source: "BENCH"}
			if err := each(&p, at, 0); err != nil {
				return err
			}
		}
	case catalog.TFits:
		part := make([]catalog.PartNo, s.parts())
		for i := range part {
			part[i] = catalog.PartNo(fmt.Sprintf("P%06d", i))
		}
		roles := [...]string{"r0", "r1", "r2", "r3", "r4"}
		statements := [...]string{"1", "2", "3", "4", "5"}
		code, last := "", -1
		for i := range s.variants * fitsPerVariant {
			n := s.place(i, s.variants*fitsPerVariant)
			v, k := n/fitsPerVariant, n%fitsPerVariant
			if v != last {
				code, last = s.variant(v), v
			}
			at.Row = i + 2
			f := catalog.Fit{Scope: catalog.FitVariant, Of: code, Statement: statements[k], Role: roles[k], Effect: catalog.Fits,
				Part: part[(v*31+k*977)%len(part)], Qty: 1 + k%2, Source: "BENCH"}
			if k == 3 {
				f.SerialFrom = catalog.Serial(1000 + v%5000)
			}
			if err := each(&f, at, 0); err != nil {
				return err
			}
		}
	default:
		return s.frame.Rows(t, fs, each)
	}
	return nil
}

func benchmarkImport(b *testing.B, variants int, shuffled bool) {
	feed := newSynthetic(b, variants, shuffled)
	var size int64
	for b.Loop() {
		dir := b.TempDir()
		_, err := store.Import(context.Background(), dir, feed, store.ImportOptions{Now: catalogtest.Now})
		require.NoError(b, err, catalogtest.Explain(err))
		st, err := os.Stat(filepath.Join(dir, "catalog.db"))
		require.NoError(b, err)
		size = st.Size()
	}
	b.ReportMetric(float64(size)/1e6, "MB")
	b.ReportMetric(float64(variants*(1+fitsPerVariant))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mrows/s")
}

func BenchmarkImport10k(b *testing.B)             { benchmarkImport(b, 10_000, false) }
func BenchmarkImportShuffled10k(b *testing.B)     { benchmarkImport(b, 10_000, true) }
func BenchmarkImportMillion(b *testing.B)         { benchmarkImport(b, 1_000_000, false) }
func BenchmarkImportShuffledMillion(b *testing.B) { benchmarkImport(b, 1_000_000, true) }

func benchmarkView(b *testing.B, variants int) (*synthetic, *store.View) {
	feed := newSynthetic(b, variants, false)
	dir := b.TempDir()
	_, err := store.Import(context.Background(), dir, feed, store.ImportOptions{Now: catalogtest.Now})
	require.NoError(b, err, catalogtest.Explain(err))
	s, err := store.Open(dir)
	require.NoError(b, err)
	v, err := s.Head()
	require.NoError(b, err)
	b.Cleanup(func() {
		require.NoError(b, v.Close())
		require.NoError(b, s.Close())
	})
	return feed, v
}

func BenchmarkGroup(b *testing.B) {
	feed, v := benchmarkView(b, 100_000)
	t := catalog.TableByName(catalog.TFits)
	keys := make([]string, 1000)
	for i := range keys {
		keys[i] = catalog.MakeKey("VARIANT", catalog.Fold(feed.variant(i*97)))
	}
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		rows, err := v.Group(t, keys[i%len(keys)])
		if err != nil || len(rows) != fitsPerVariant {
			b.Fatal(rows, err)
		}
	}
}

func BenchmarkGroupAbsent(b *testing.B) {
	feed, v := benchmarkView(b, 100_000)
	t := catalog.TableByName(catalog.TFits)
	keys := make([]string, 1000)
	for i := range keys {
		keys[i] = catalog.MakeKey("VARIANT", catalog.Fold(feed.variant(i*97))+"X")
	}
	for i := 0; b.Loop(); i++ {
		rows, err := v.Group(t, keys[i%len(keys)])
		if err != nil || rows != nil {
			b.Fatal(rows, err)
		}
	}
}

func BenchmarkSeek(b *testing.B) {
	feed, v := benchmarkView(b, 100_000)
	t := catalog.TableByName(catalog.TVariants)
	keys := make([]string, 1000)
	for i := range keys {
		keys[i] = catalog.Fold(feed.variant(i * 97))[:8]
	}
	for i := 0; b.Loop(); i++ {
		if _, ok, err := v.Seek(t, keys[i%len(keys)]); err != nil || !ok {
			b.Fatal(ok, err)
		}
	}
}

// One operation gives the 250 variants that take a part.
func BenchmarkReferring(b *testing.B) {
	_, v := benchmarkView(b, 100_000)
	t := catalog.TableByName(catalog.TFits)
	n := 0
	for i := 0; b.Loop(); i++ {
		n = 0
		err := v.Referring(t, "part", fmt.Sprintf("P%06d", i%2000), func(string) bool { n++; return true })
		if err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(n), "groups")
}

// One operation opens the file, reads one group and closes it.
func BenchmarkOpenAndGroup(b *testing.B) {
	feed := newSynthetic(b, 100_000, false)
	dir := b.TempDir()
	_, err := store.Import(context.Background(), dir, feed, store.ImportOptions{Now: catalogtest.Now})
	require.NoError(b, err)
	t := catalog.TableByName(catalog.TFits)
	key := catalog.MakeKey("VARIANT", catalog.Fold(feed.variant(54321)))
	for b.Loop() {
		s, err := store.Open(dir)
		require.NoError(b, err)
		v, err := s.Head()
		require.NoError(b, err)
		rows, err := v.Group(t, key)
		if err != nil || len(rows) != fitsPerVariant {
			b.Fatal(rows, err)
		}
		require.NoError(b, v.Close())
		require.NoError(b, s.Close())
	}
}
