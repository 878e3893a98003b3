package store_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"platewright/catalog"
	"platewright/catalog/memory"
	"platewright/catalog/shop"
	"platewright/catalog/store"
)

// manyNotes makes records of n notes, one in ten an alias.
func manyNotes(b *testing.B, n int) string {
	b.Helper()
	dir := b.TempDir()
	change(b, dir, func(tx *store.ShopTx) error {
		for i := range n {
			c := remark(fmt.Sprintf("note %d of the bench, about as long as such notes are in a shop that writes them down", i))
			c.Of = fmt.Sprintf("KQ-%d", i%(n/2))
			if i%10 == 0 {
				c = shop.Content{On: catalog.NoteOnNumber, Of: fmt.Sprintf("Z-%d", i), Kind: catalog.NoteAlias, Part: catalog.PartNo(c.Of)}
			}
			if _, err := addNote(tx, c, "bench 1"); err != nil {
				return err
			}
		}
		return nil
	})
	return dir
}

// What notes cost a process that answers one question: reading them all, and
// laying them over the catalogue.
func BenchmarkReadShop(b *testing.B) {
	for _, n := range []int{100, 1_000, 10_000} {
		dir := manyNotes(b, n)
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			base := memory.New()
			base.Seal()
			for b.Loop() {
				s, err := store.ReadShop(dir)
				require.NoError(b, err)
				_, err = shop.Over(base, s)
				require.NoError(b, err)
			}
		})
	}
}

// One note, written and on the disk, beside those that are there.
func BenchmarkAddNote(b *testing.B) {
	dir := manyNotes(b, 1_000)
	i := 0
	for b.Loop() {
		i++
		change(b, dir, func(tx *store.ShopTx) error {
			_, err := addNote(tx, remark(fmt.Sprint("one more ", i)), "bench 1")
			return err
		})
	}
}
