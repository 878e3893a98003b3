package store_test

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"platewright/catalog"
	"platewright/catalog/catalogtest"
	"platewright/catalog/store"
)

// question is one thing to ask a view; its answer is a text.
type question struct {
	name string
	ask  func(v *store.View) (string, error)
}

// questions asks for every group, seeks around every key, every reverse
// look-up and every walk of a catalogue.
func questions(t *testing.T, v *store.View) []question {
	t.Helper()
	var out []question
	render := func(table *catalog.Table, rows []catalog.Row) string {
		var b strings.Builder
		for _, r := range rows {
			for _, c := range table.Columns {
				b.WriteString(c.Get(r))
				b.WriteByte('|')
			}
			b.WriteByte('\n')
		}
		return b.String()
	}
	for _, table := range catalog.Tables() {
		out = append(out, question{"rows of " + table.Name, func(v *store.View) (string, error) {
			var rows []catalog.Row
			for r, err := range v.Rows(table) {
				if err != nil {
					return "", err
				}
				rows = append(rows, r)
			}
			return render(table, rows), nil
		}})
		keys, cells := []string{"", "~"}, map[string]bool{}
		for r, err := range v.Rows(table) {
			require.NoError(t, err)
			k := string(table.GroupKey(nil, r))
			if len(keys) > 2 && keys[len(keys)-1] == k+"0" {
				continue
			}
			keys = append(keys, k, k[:len(k)-1], k+"0")
			for _, c := range table.Columns {
				if part := catalog.KeyPart(c.Kind, c.Get(r)); c.Reverse && part != "" {
					cells[c.Name+"="+part] = true
					cells[c.Name+"="+part+"0"] = true
				}
			}
		}
		for _, k := range keys {
			out = append(out, question{fmt.Sprintf("group %q of %s", k, table.Name), func(v *store.View) (string, error) {
				rows, err := v.Group(table, k)
				return render(table, rows), err
			}}, question{fmt.Sprintf("seek %q in %s", k, table.Name), func(v *store.View) (string, error) {
				key, ok, err := v.Seek(table, k)
				if !ok {
					key = "none"
				}
				return key, err
			}})
		}
		for c := range cells {
			column, key, _ := strings.Cut(c, "=")
			out = append(out, question{fmt.Sprintf("groups with %s in %s", c, table.Name), func(v *store.View) (string, error) {
				var groups []string
				err := v.Referring(table, column, key, func(g string) bool { groups = append(groups, g); return true })
				return strings.Join(groups, "|"), err
			}})
		}
	}
	return out
}

// named tells whether an error names the file as not usable, with what to do.
func named(err error) bool {
	var damaged *store.DamagedError
	var notOurs *store.NotOursError
	return errors.As(err, &damaged) && damaged.Mend != "" || errors.As(err, &notOurs) && notOurs.Mend != ""
}

var flips = flag.Int("flips", 200, "how many bits are flipped")

// A catalogue whose file has been changed in any single place must say so or
// answer as before: never otherwise.
func TestDamage(t *testing.T) {
	_, dir := catalogtest.Store(t, newSynthetic(t, 200, true))
	do(t, dir, lines(t, "more", harbour), store.ImportOptions{})
	s := catalogtest.Open(t, dir)
	v := head(t, s)
	all := questions(t, v)
	want := make([]string, len(all))
	for i, q := range all {
		var err error
		want[i], err = q.ask(v)
		require.NoError(t, err)
	}
	whole, err := os.ReadFile(filepath.Join(dir, "catalog.db"))
	require.NoError(t, err)

	// look opens what has become of the file and asks everything; it gives the
	// errors, and fails the test for a wrong answer.
	look := func(t *testing.T, b []byte) (errs []error) {
		dir := t.TempDir()
		require.NoError(t, os.WriteFile(filepath.Join(dir, "catalog.db"), b, 0o666))
		s, err := store.Open(dir)
		if err != nil {
			return []error{err}
		}
		defer func() { require.NoError(t, s.Close()) }()
		if _, err := s.Editions(); err != nil {
			errs = append(errs, err)
		}
		v, err := s.Head()
		if err != nil {
			return append(errs, err)
		}
		defer func() { require.NoError(t, v.Close()) }()
		for i, q := range all {
			got, err := q.ask(v)
			if err != nil {
				errs = append(errs, err)
			} else if got != want[i] {
				t.Errorf("%s: a wrong answer without an error\nwant %s\ngot  %s", q.name, want[i], got)
			}
		}
		// The whole check sees at least what the questions have seen.
		if _, err := s.Check(context.Background(), nil); err == nil && len(errs) > 0 {
			t.Errorf("the whole check found nothing, and yet: %v", errs[0])
		} else if err != nil {
			errs = append(errs, err)
		}
		return errs
	}
	rnd := rand.New(rand.NewPCG(1, 2))
	kinds := []struct {
		name  string
		n     int
		spoil func(b []byte) []byte
		must  bool // it must be noticed when the file is opened
	}{
		{"flipped bit anywhere", *flips / 2, func(b []byte) []byte {
			b[rnd.IntN(len(b))] ^= 1 << rnd.IntN(8)
			return b
		}, false},
		// Most of a small file is room to spare; here every bit says something,
		// if only in a page that is free.
		{"flipped bit of what is written", *flips, func(b []byte) []byte {
			at := rnd.IntN(len(b))
			for b[at] == 0 {
				at = rnd.IntN(len(b))
			}
			b[at] ^= 1 << rnd.IntN(8)
			return b
		}, false},
		{"cut short", 200, func(b []byte) []byte { return b[:rnd.IntN(len(b))] }, true},
		{"sector of zeros", 60, func(b []byte) []byte {
			at := rnd.IntN(len(b)/512) * 512
			clear(b[at : at+512])
			return b
		}, false},
		{"page of another place", 60, func(b []byte) []byte {
			from, to := rnd.IntN(len(b)/16384)*16384, rnd.IntN(len(b)/16384)*16384
			copy(b[to:to+16384], b[from:from+16384])
			return b
		}, false},
	}
	for _, k := range kinds {
		t.Run(k.name, func(t *testing.T) {
			noticed := 0
			for i := range k.n {
				b := k.spoil(slices.Clone(whole))
				errs := look(t, b)
				if len(errs) > 0 {
					noticed++
				}
				for _, err := range errs {
					require.True(t, named(err), "number %d: %v (%T)", i, err, err)
				}
				if k.must {
					require.NotEmpty(t, errs, "number %d was not noticed", i)
				}
			}
			t.Logf("%d of %d noticed, the others did no harm", noticed, k.n)
		})
	}
}

func TestRefusesWhatIsNotACatalogue(t *testing.T) {
	write := func(t *testing.T, b []byte) string {
		dir := t.TempDir()
		require.NoError(t, os.WriteFile(filepath.Join(dir, "catalog.db"), b, 0o666))
		return dir
	}
	var notOurs *store.NotOursError
	var missing *store.MissingError
	_, err := store.Open(t.TempDir())
	require.ErrorAs(t, err, &missing)
	_, err = store.Open(filepath.Join(t.TempDir(), "none"))
	require.ErrorAs(t, err, &missing)
	for name, b := range map[string][]byte{
		"empty": {},
		"text":  []byte("part,name\n00421,Seal kit\n"),
		"zeros": make([]byte, 100_000),
	} {
		t.Run(name, func(t *testing.T) {
			dir := write(t, b)
			_, err := store.Open(dir)
			require.ErrorAs(t, err, &notOurs)
			require.NotEmpty(t, notOurs.Mend)
			// An import must not write over it either.
			_, err = store.Import(context.Background(), dir, lines(t, "harbour", harbour), store.ImportOptions{Now: catalogtest.Now})
			require.ErrorAs(t, err, &notOurs)
			left, err := os.ReadFile(filepath.Join(dir, "catalog.db"))
			require.NoError(t, err)
			require.Equal(t, b, left)
		})
	}
}
