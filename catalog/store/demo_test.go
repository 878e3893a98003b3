package store_test

import (
	"bytes"
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"platewright/catalog/catalogtest"
	"platewright/catalog/pack"
	"platewright/catalog/store"
	"platewright/seed"
)

// The demo package answers from the store as from memory, and comes out of it
// as it went in.
func TestDemo(t *testing.T) {
	p, err := pack.OpenFS(seed.FS, "demo", pack.Limits{})
	require.NoError(t, err)
	want, findings, err := pack.ReadMemory(p)
	require.NoError(t, err)
	require.NoError(t, findings.Err())

	s, _ := catalogtest.Store(t, p)
	v := head(t, s)
	sameAnswers(t, want, v)

	var mine, theirs bytes.Buffer
	require.NoError(t, pack.WriteZip(&mine, v, pack.Info{}, pack.Options{}))
	require.NoError(t, pack.WriteZip(&theirs, pack.Memory(want), pack.Info{}, pack.Options{}))
	require.True(t, bytes.Equal(mine.Bytes(), theirs.Bytes()), "the package written from the store differs")

	// Once more it changes nothing.
	dir := t.TempDir()
	do(t, dir, p, store.ImportOptions{})
	require.True(t, do(t, dir, p, store.ImportOptions{}).Unchanged)
	require.NoError(t, s.Compare(context.Background(), 1, 1, nil))
}
