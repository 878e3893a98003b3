package index

import (
	"context"
	"iter"
	"testing"

	"github.com/stretchr/testify/require"

	"platewright/catalog"
	"platewright/catalog/memory"
	"platewright/catalog/pack"
	"platewright/seed"
)

// inMemory reads a catalogue in memory as an edition of the store is read.
type inMemory struct{ *memory.Catalogue }

func (m inMemory) Rows(t *catalog.Table) iter.Seq2[catalog.Row, error] {
	return func(yield func(catalog.Row, error) bool) {
		for r := range m.Catalogue.Rows(t.Name) {
			if !yield(r, nil) {
				return
			}
		}
	}
}

func demo(t testing.TB) inMemory {
	t.Helper()
	p, err := pack.OpenFS(seed.FS, "demo", pack.Limits{})
	require.NoError(t, err)
	defer p.Close()
	cat, findings, err := pack.ReadMemory(p)
	require.NoError(t, err)
	require.NoError(t, findings.Err())
	return inMemory{cat}
}

func open(t testing.TB, r Reader, o Options) *Index {
	t.Helper()
	x, err := Open(context.Background(), r, o)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, x.Close()) })
	return x
}

func search(t testing.TB, x *Index, q Query) *Result {
	t.Helper()
	r, err := x.Search(context.Background(), q)
	require.NoError(t, err)
	return r
}
