package store

import (
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/require"
	bolt "go.etcd.io/bbolt"

	"platewright/catalog"
)

// small is a feed of two tables.
type small struct{ title string }

func (s small) Name() string { return s.title }
func (s small) Tables() []*catalog.Table {
	return []*catalog.Table{catalog.TableByName(catalog.TSources), catalog.TableByName(catalog.TSpecs)}
}
func (s small) Rows(t *catalog.Table, _ *catalog.Findings, each func(catalog.Row, catalog.Place, catalog.Cells) error) error {
	at := catalog.Place{File: t.Name + ".csv", Table: t.Name, Row: 2}
	if t.Name == catalog.TSources {
		return each(&catalog.Source{Source: "BENCH", Title: s.title, Kind: catalog.SourceBench}, at, 0)
	}
	return each(&catalog.Spec{Spec: "Q-3", Name: "Quill three", About: "thin", Source: "BENCH"}, at, 0)
}

func smallStore(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	_, err := Import(context.Background(), dir, small{"one"}, ImportOptions{Now: time.Unix(1e9, 0), Program: "test 1"})
	require.NoError(t, err)
	return dir
}

// rewrite changes the file as another program might have written it.
func rewrite(t *testing.T, dir string, fn func(tx *bolt.Tx) error) {
	t.Helper()
	db, err := bolt.Open(filepath.Join(dir, fileName), 0o666, &bolt.Options{Timeout: lockWait})
	require.NoError(t, err)
	require.NoError(t, db.Update(fn))
	require.NoError(t, db.Close())
}

func putHead(t *testing.T, dir string, change func(h *head)) {
	t.Helper()
	rewrite(t, dir, func(tx *bolt.Tx) error {
		b := tx.Bucket([]byte(headBucket))
		var h head
		if err := json.Unmarshal(openRecord(headBucket, []byte(headKey), b.Get([]byte(headKey))), &h); err != nil {
			return err
		}
		change(&h)
		body, err := json.Marshal(h)
		if err != nil {
			return err
		}
		return b.Put([]byte(headKey), sealRecord(headBucket, []byte(headKey), body))
	})
}

func TestOtherVersions(t *testing.T) {
	var newer *NewerError
	var older *OlderError
	var notOurs *NotOursError
	var damagedErr *DamagedError

	dir := smallStore(t)
	putHead(t, dir, func(h *head) { h.Format = formatVersion + 1 })
	_, err := Open(dir)
	require.ErrorAs(t, err, &newer)
	_, err = Import(context.Background(), dir, small{"two"}, ImportOptions{})
	require.ErrorAs(t, err, &newer, "an import over a newer file")

	dir = smallStore(t)
	putHead(t, dir, func(h *head) { h.Fold = catalog.FoldVersion + 1 })
	_, err = Open(dir)
	require.ErrorAs(t, err, &newer)

	dir = smallStore(t)
	putHead(t, dir, func(h *head) { h.Fold = catalog.FoldVersion - 1 })
	_, err = Open(dir)
	require.ErrorAs(t, err, &older)

	// A head that names another edition than the chain ends with.
	dir = smallStore(t)
	putHead(t, dir, func(h *head) { h.Digest = digestOf(nil) })
	_, err = Open(dir)
	require.ErrorAs(t, err, &damagedErr)

	// A database of the same kind that is not ours.
	dir = t.TempDir()
	rewrite(t, dir, func(tx *bolt.Tx) error { _, err := tx.CreateBucket([]byte("letters")); return err })
	_, err = Open(dir)
	require.ErrorAs(t, err, &notOurs)

	// A column and a table of a later program.
	dir = smallStore(t)
	rewrite(t, dir, func(tx *bolt.Tx) error {
		name := generationName(catalog.TSpecs, 2)
		b := tx.Bucket([]byte(name))
		var a about
		if err := json.Unmarshal(openRecord(name, []byte(aboutKey), b.Get([]byte(aboutKey))), &a); err != nil {
			return err
		}
		a.Columns = append(a.Columns, "viscosity")
		body, err := json.Marshal(a)
		if err != nil {
			return err
		}
		return b.Put([]byte(aboutKey), sealRecord(name, []byte(aboutKey), body))
	})
	s, err := Open(dir)
	require.NoError(t, err)
	v, err := s.Head()
	require.NoError(t, err)
	_, err = v.Group(catalog.TableByName(catalog.TSpecs), catalog.MakeKey("Q3"))
	require.ErrorAs(t, err, &newer)
	require.NoError(t, v.Close())
	require.NoError(t, s.Close())
}

// A generation that an earlier program wrote, whose table had fewer columns in
// another order, is read by name.
func TestEarlierColumns(t *testing.T) {
	now := catalog.TableByName(catalog.TParts)
	before := *now
	before.Columns = nil
	for _, c := range slices.Backward(now.Columns) {
		if c.Name != "look" {
			before.Columns = append(before.Columns, c)
		}
	}
	before.Key = []int{slices.Index(before.Columns, now.Column("part"))}

	path := filepath.Join(t.TempDir(), "file")
	w, err := createFile(path)
	require.NoError(t, err)
	sp := &spill{dir: t.TempDir()}
	in := newIntake(&before, sp)
	want := []catalog.Row{
		&catalog.Part{Part: "a-1", Name: "One", Kind: catalog.PartSingle, Origin: catalog.OriginMaker, Status: catalog.PartSold, Note: "n", Source: "S"},
		&catalog.Part{Part: "B2", Name: "Two", Kind: catalog.PartKit, Origin: catalog.OriginMaker, Status: catalog.PartEnded, Source: "S"},
	}
	for _, r := range want {
		require.NoError(t, in.add(r, catalog.Place{}, 0))
	}
	require.NoError(t, in.runs.close(nil))
	l := layoutOf(&before, 1)
	g := w.generation(l, in.words, sp)
	c := in.cursor(in.runs.reader())
	for {
		require.NoError(t, c.next())
		if c.rec == nil {
			break
		}
		require.NoError(t, g.add(c.rec))
	}
	of, err := g.close(1)
	require.NoError(t, err)
	require.NoError(t, w.finish(nil))
	require.NoError(t, sp.close())

	db, err := bolt.Open(path, 0, &bolt.Options{ReadOnly: true, Timeout: lockWait})
	require.NoError(t, err)
	defer func() { require.NoError(t, db.Close()) }()
	require.NoError(t, db.View(func(tx *bolt.Tx) error {
		b := tx.Bucket([]byte(generationName(catalog.TParts, 1)))
		var a about
		require.NoError(t, json.Unmarshal(openRecord("parts.1", []byte(aboutKey), b.Get([]byte(aboutKey))), &a))
		require.Equal(t, of.Rows, a.Rows)
		l, what := joinLayout(now, "parts.1", a)
		require.NotNil(t, l, what)
		g := openGeneration(&knownGeneration{l, newWordCache(a.Words)}, func(name string) *bolt.Bucket { return b.Bucket([]byte(name)) })
		for i, key := range []string{"A1\x00", "B2\x00"} {
			e, ok := g.rows.get([]byte(key))
			require.True(t, ok)
			if d := cmp.Diff(want[i:i+1], g.group(key, e.payload)); d != "" {
				t.Errorf("%q:\n%s", key, d)
			}
		}
		return nil
	}))
}

// Each of the two head pages leads to the whole catalogue; without both there
// is none.
func TestEitherHeadPage(t *testing.T) {
	dir := smallStore(t)
	path := filepath.Join(dir, fileName)
	whole, err := os.ReadFile(path)
	require.NoError(t, err)
	var d *DamagedError
	for page := range 2 {
		b := slices.Clone(whole)
		clear(b[page*pageSize+pageHeader : page*pageSize+pageHeader+metaSize])
		require.NoError(t, os.WriteFile(path, b, 0o666))
		s, err := Open(dir)
		require.NoError(t, err, "without head page %d", page)
		v, err := s.Head()
		require.NoError(t, err)
		rows, err := v.Group(catalog.TableByName(catalog.TSpecs), catalog.MakeKey("Q3"))
		require.NoError(t, err)
		require.Len(t, rows, 1)
		require.NoError(t, v.Close())
		_, err = s.Check(context.Background(), nil)
		require.ErrorAs(t, err, &d, "the whole check names it")
		// As its mend says, a backup has both again.
		again := t.TempDir()
		require.NoError(t, s.Backup(context.Background(), filepath.Join(again, fileName)))
		require.NoError(t, s.Close())
		s, err = Open(again)
		require.NoError(t, err)
		_, err = s.Check(context.Background(), nil)
		require.NoError(t, err)
		require.NoError(t, s.Close())
	}
	b := slices.Clone(whole)
	b[pageHeader+20]++
	b[pageSize+pageHeader+20]++
	require.NoError(t, os.WriteFile(path, b, 0o666))
	_, err = Open(dir)
	require.ErrorAs(t, err, &d)
}

// sortRecords agrees with a comparison of whole keys, keys that begin alike and
// equal ones in the order of their coming included.
func TestSortedRuns(t *testing.T) {
	sp := &spill{dir: t.TempDir(), left: 0} // nothing is kept in memory
	r := newRuns(sp)
	keys := []string{"b\x00\x00", "a\x00b\x00", "a\x00\x00", "aaaaaaaaaaaaaaaa\x00x\x00", "aaaaaaaaaaaaaaaa\x00\x00", "aaaaaaaab\x00\x00", "a\x00b\x00", "aaaaaaaa\x00y\x00"}
	type rec struct{ key, body string }
	var want []rec
	for round := range 3 {
		for i, k := range keys {
			body := string(rune('A'+round)) + string(rune('a'+i))
			want = append(want, rec{k, body})
			require.NoError(t, r.add([]byte(k), []byte(body)))
		}
		require.NoError(t, r.flush())
	}
	require.NoError(t, r.close(nil))
	slices.SortStableFunc(want, func(a, b rec) int { return strings.Compare(a.key, b.key) })
	var got []rec
	rd := r.reader()
	for {
		k, b, ok, err := rd.read()
		require.NoError(t, err)
		if !ok {
			break
		}
		got = append(got, rec{string(k), string(b)})
	}
	require.Equal(t, want, got)
	require.NoError(t, sp.close())
}
