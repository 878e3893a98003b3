package audit_test

import (
	"os"
	"testing"

	"platewright/catalog/audit"
	"platewright/catalog/store"
	"platewright/resolve/plate"
)

// BenchmarkRun audits the catalogue in the folder PLATEWRIGHT_BENCH_DATA, which
// .ci/bench makes: a million variants there.
func BenchmarkRun(b *testing.B) {
	dir := os.Getenv("PLATEWRIGHT_BENCH_DATA")
	if dir == "" {
		b.Skip("PLATEWRIGHT_BENCH_DATA names no folder with a catalogue")
	}
	s, err := store.Open(dir)
	if err != nil {
		b.Fatal(err)
	}
	defer s.Close()
	v, err := s.Head()
	if err != nil {
		b.Fatal(err)
	}
	defer v.Close()
	b.ReportAllocs()
	for b.Loop() {
		found := map[audit.Kind]int{}
		if err := audit.Run(b.Context(), v, audit.Options{Confusable: plate.Confusable}, func(f audit.Finding) error {
			found[f.Kind]++
			return nil
		}); err != nil {
			b.Fatal(err)
		}
		b.Log(found)
	}
}
