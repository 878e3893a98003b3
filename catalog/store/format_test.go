package store

import (
	"context"
	"encoding/json"
	"fmt"
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
		b := tx.Bucket([]byte(aboutBucket))
		var a about
		if err := json.Unmarshal(openRecord(aboutBucket, []byte(name), b.Get([]byte(name))), &a); err != nil {
			return err
		}
		a.Columns = append(a.Columns, "viscosity")
		body, err := json.Marshal(a)
		if err != nil {
			return err
		}
		return b.Put([]byte(name), sealRecord(aboutBucket, []byte(name), body))
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
	sp := limits{}.spill(t.TempDir())
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
		var a about
		key := []byte("parts.1")
		require.NoError(t, json.Unmarshal(openRecord(aboutBucket, key, tx.Bucket([]byte(aboutBucket)).Get(key)), &a))
		require.Equal(t, of.Rows, a.Rows)
		l, what := joinLayout(now, "parts.1", a)
		require.NotNil(t, l, what)
		g := openGeneration(&knownGeneration{l, newWordCache(a.Words)}, func(name string) *bolt.Bucket { return tx.Bucket([]byte(partName("parts.1", name))) })
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
	sp := limits{memory: 1}.spill(t.TempDir())
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

// many is a feed of parts in no order, of further numbers in order up to the
// last one, and of supersessions, which are also found by a column that does
// not repeat; some rows stand twice if so wanted.
type many struct {
	n     int
	twice bool
}

func (m many) Name() string { return "many" }
func (m many) Tables() []*catalog.Table {
	return []*catalog.Table{catalog.TableByName(catalog.TSources), catalog.TableByName(catalog.TParts), catalog.TableByName(catalog.TNumbers), catalog.TableByName(catalog.TSupersessions)}
}

func (m many) part(i int) catalog.PartNo { return catalog.PartNo(fmt.Sprintf("P-%05d", i)) }

func (m many) Rows(t *catalog.Table, _ *catalog.Findings, each func(catalog.Row, catalog.Place, catalog.Cells) error) error {
	at := catalog.Place{File: t.Name + ".csv", Table: t.Name, Row: 1}
	put := func(r catalog.Row) error { at.Row++; return each(r, at, 0) }
	if t.Name == catalog.TSources {
		return put(&catalog.Source{Source: "S", Title: "T", Kind: catalog.SourceInvented})
	}
	for i := range m.n {
		j := i * 7919 % m.n
		var r catalog.Row
		switch t.Name {
		case catalog.TParts:
			r = &catalog.Part{Part: m.part(j), Name: fmt.Sprint("Part ", j), Kind: catalog.PartSingle, Origin: catalog.OriginMaker, Status: catalog.PartSold, Source: "S"}
		case catalog.TNumbers:
			if i == m.n-1 {
				i = -1 // the last comes first in the order of keys
			}
			r = &catalog.Number{Number: fmt.Sprintf("N-%05d", i+1), Part: m.part(j), Source: "S"}
		case catalog.TSupersessions:
			if j == m.n-1 {
				continue
			}
			r = &catalog.Supersession{Old: m.part(j), New: m.part(j + 1), Kind: catalog.OneWay, Qty: 1, Source: "S"}
		}
		if err := put(r); err != nil {
			return err
		}
		if m.twice && i%1000 == 500 {
			if err := put(r); err != nil {
				return err
			}
		}
	}
	return nil
}

// Little memory, small pieces and rows out of order, which make the import
// start over with a table, lead to the same catalogue.
func TestLittleMemory(t *testing.T) {
	ctx := context.Background()
	feed := many{n: 5000}
	var want []TableOf
	for i, l := range []limits{{}, {memory: 1, piece: 10_000}, {memory: 30_000, piece: 999}, {memory: 1 << 20, piece: 2000}} {
		dir := t.TempDir()
		_, err := Import(ctx, dir, feed, ImportOptions{limits: l})
		require.NoError(t, err)
		s, err := Open(dir)
		require.NoError(t, err)
		_, err = s.Check(ctx, nil)
		require.NoError(t, err)
		v, err := s.Head()
		require.NoError(t, err)
		var got []string
		require.NoError(t, v.Referring(catalog.TableByName(catalog.TSupersessions), "new", "P00300", func(g string) bool { got = append(got, g); return true }))
		require.Equal(t, []string{"P00299\x00"}, got)
		tables := v.Edition().Tables
		for i := range tables {
			tables[i].Generation = 0
		}
		if i == 0 {
			want = tables
		}
		require.Equal(t, want, tables)
		require.NoError(t, v.Close())
		require.NoError(t, s.Close())

		_, err = Import(ctx, dir, many{n: 5000, twice: true}, ImportOptions{limits: l})
		var refused *catalog.RefusedError
		require.ErrorAs(t, err, &refused)
		require.Len(t, refused.Findings, 15)
		_, err = Import(ctx, t.TempDir(), many{n: 5000, twice: true}, ImportOptions{limits: l})
		require.ErrorAs(t, err, &refused)
		require.Len(t, refused.Findings, 15)
		es, err := os.ReadDir(dir)
		require.NoError(t, err)
		require.Len(t, es, 2)
	}
}

// A spelling comes back from its shape, whatever it is.
func TestShapes(t *testing.T) {
	for _, s := range []string{"QM7-031", "qm7031", "a/b.c d", "ABC", "x", "a-B--c", "·", "ab·c", "é1", strings.Repeat("Ab-", 21), strings.Repeat("A", 64)} {
		part := catalog.Fold(s)
		shape, ok := shapeOf(nil, s, part)
		if ok {
			require.Equal(t, s, spell(string(shape), part), "shape %q", shape)
		}
		require.Equal(t, catalog.CheckCode(s) == nil, ok, "%q has a shape exactly if it is a code", s)
	}
	_, ok := shapeOf(nil, "AB", "ABC")
	require.False(t, ok)
	_, ok = shapeOf(nil, "", "A")
	require.False(t, ok)
}
