package store_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/require"

	"platewright/catalog"
	"platewright/catalog/catalogtest"
	"platewright/catalog/shop"
	"platewright/catalog/store"
)

func change(t testing.TB, dir string, do func(*store.ShopTx) error) []shop.Event {
	t.Helper()
	es, err := store.ChangeShop(context.Background(), dir, store.ShopOptions{Now: catalogtest.Now, Program: "test"}, do)
	require.NoError(t, err)
	return es
}

func readShop(t testing.TB, dir string) *store.Shop {
	t.Helper()
	s, err := store.ReadShop(dir)
	require.NoError(t, err)
	return s
}

func checkShop(t testing.TB, dir string) store.ShopReport {
	t.Helper()
	rep, err := store.CheckShop(dir)
	require.NoError(t, err)
	return rep
}

func remark(text string) shop.Content {
	return shop.Content{On: catalog.NoteOnPart, Of: "KQ-100", Kind: catalog.NoteRemarkKind, Text: text}
}

func addNote(tx *store.ShopTx, c shop.Content, who string) (string, error) {
	id, e, err := shop.Add(c, who, catalogtest.Now)
	if err != nil {
		return "", err
	}
	_, err = tx.Append(e)
	return id, err
}

func newCard(tx *store.ShopTx, unit string) (int, error) {
	e, err := shop.NewCardEvent(shop.CardOpened, "bench 1", shop.DecidedBody{Unit: unit, Work: []string{}, Question: json.RawMessage(`{"plate":"` + unit + `"}`),
		Decision: json.RawMessage(`{}`), Edition: shop.Edition{Name: "demo"}})
	if err != nil {
		return 0, err
	}
	e.Card = tx.NextCard()
	_, err = tx.Append(e)
	return e.Card, err
}

// What was written is there for everybody, as the history tells it.
func TestShop(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "data")
	_, err := store.ReadShop(dir)
	var missing *store.MissingError
	require.ErrorAs(t, err, &missing)

	var id string
	es := change(t, dir, func(tx *store.ShopTx) (err error) {
		id, err = addNote(tx, remark("the lip is soft"), "bench 1")
		return err
	})
	require.Len(t, es, 1)
	require.Equal(t, 1, es[0].Number)

	s := readShop(t, dir)
	n, err := s.Find(strings.ToUpper(id[:5]))
	require.NoError(t, err)
	require.Equal(t, catalog.NoteOpen, n.State)
	require.Equal(t, "the lip is soft", n.Current().Text)
	require.Equal(t, "2031-05-06", n.Current().Dated)

	// An author does not confirm; another does; and the history holds both.
	_, err = n.Confirm("Bench  1", &shop.Rules{}, s)
	var refused *shop.RefusedError
	require.ErrorAs(t, err, &refused)
	change(t, dir, func(tx *store.ShopTx) error {
		n, err := tx.Note(id)
		if err != nil {
			return err
		}
		rules := tx.Rules()
		e, err := n.Confirm("counter", &rules, tx)
		if err != nil {
			return err
		}
		_, err = tx.Append(e)
		return err
	})
	require.Equal(t, catalog.NoteOpen, n.State, "what was read stays as it was read")
	s = readShop(t, dir)
	n, err = s.Note(id)
	require.NoError(t, err)
	require.Equal(t, catalog.NoteConfirmed, n.State)
	history, err := s.EventsAt(n.Changes)
	require.NoError(t, err)
	require.Equal(t, []shop.Kind{shop.NoteAdded, shop.NoteConfirmed}, []shop.Kind{history[0].Kind, history[1].Kind})

	// What fails in the middle leaves nothing.
	boom := errors.New("boom")
	_, err = store.ChangeShop(context.Background(), dir, store.ShopOptions{Now: catalogtest.Now}, func(tx *store.ShopTx) error {
		if _, err := addNote(tx, remark("never said"), "bench 2"); err != nil {
			return err
		}
		return boom
	})
	require.ErrorIs(t, err, boom)
	require.Equal(t, 2, readShop(t, dir).Number())

	// Cards.
	change(t, dir, func(tx *store.ShopTx) error { _, err := newCard(tx, "QA-1"); return err })
	change(t, dir, func(tx *store.ShopTx) error { _, err := newCard(tx, "QA-2"); return err })
	s = readShop(t, dir)
	cards, err := s.Cards()
	require.NoError(t, err)
	require.Len(t, cards, 2)
	require.Equal(t, "QA-2", cards[1].Unit)
	_, err = s.Card(3)
	var unknown *shop.UnknownError
	require.ErrorAs(t, err, &unknown)

	// What came since a change, in order.
	var since []int
	require.NoError(t, s.Events(1, func(e shop.Event) error { since = append(since, e.Number); return nil }))
	require.Equal(t, []int{2, 3, 4}, since)
	require.Equal(t, store.ShopReport{Path: s.Path(), Size: checkShop(t, dir).Size, Changes: 4, Notes: 1, Cards: 2}, checkShop(t, dir))
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	for _, e := range entries {
		require.Contains(t, []string{"shop.db", "shop.lock"}, e.Name())
	}
}

// The notes are filed as their keys say after any series of changes, and the
// file is what the history makes of it.
func TestShopFilesNotes(t *testing.T) {
	dir := t.TempDir()
	rnd := rand.New(rand.NewPCG(7, 8))
	var ids []string
	for i := range 60 {
		change(t, dir, func(tx *store.ShopTx) error {
			rules := tx.Rules()
			for range 1 + rnd.IntN(4) {
				if len(ids) < 5 || rnd.IntN(3) == 0 {
					c := remark("remark " + strconv.Itoa(i) + " " + strconv.Itoa(rnd.IntN(1000)))
					if rnd.IntN(2) == 0 {
						c = shop.Content{On: catalog.NoteOnNumber, Of: "ZZ-" + strconv.Itoa(rnd.IntN(10)), Kind: catalog.NoteAlias, Part: "KQ-100", Text: fmt.Sprint(i, rnd.Int())}
					}
					id, err := addNote(tx, c, "bench 1")
					if err != nil {
						return err
					}
					ids = append(ids, id)
					continue
				}
				n, err := tx.Note(ids[rnd.IntN(len(ids))])
				if err != nil {
					return err
				}
				var e shop.Event
				switch rnd.IntN(3) {
				case 0:
					e, err = n.Confirm("counter", &rules, tx)
				case 1:
					e, err = n.Withdraw("counter", "no")
				default:
					c := n.Current().Content
					c.Text = fmt.Sprint("again ", rnd.Int())
					e, err = n.Edit(c, "bench 2", catalogtest.Now)
				}
				var refused *shop.RefusedError
				if errors.As(err, &refused) {
					continue
				}
				if err == nil {
					_, err = tx.Append(e)
				}
				if err != nil {
					return err
				}
			}
			return nil
		})
	}
	checkShop(t, dir)
	s := readShop(t, dir)
	want := map[string][]string{}
	for n, err := range s.Notes() {
		require.NoError(t, err)
		for _, k := range n.Keys() {
			want[k] = append(want[k], n.ID)
		}
	}
	got := map[string][]string{}
	for key, ok := s.SeekFiled(""); ok; key, ok = s.SeekFiled(key + "\x00") {
		ns, err := s.Filed(key)
		require.NoError(t, err)
		for _, n := range ns {
			got[key] = append(got[key], n.ID)
		}
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("filed (-want +got):\n%s", d)
	}
	require.NotEmpty(t, got)
}

// populated makes records worth damaging.
func populated(t testing.TB) string {
	t.Helper()
	dir := t.TempDir()
	for i := range 40 {
		change(t, dir, func(tx *store.ShopTx) error {
			if _, err := addNote(tx, remark("remark "+strconv.Itoa(i)), "bench 1"); err != nil {
				return err
			}
			_, err := newCard(tx, "QA-"+strconv.Itoa(i))
			return err
		})
	}
	return dir
}

// everything reads all that the records hold.
func everything(dir string) (string, error) {
	s, err := store.ReadShop(dir)
	if err != nil {
		return "", err
	}
	var b strings.Builder
	for n, err := range s.Notes() {
		if err != nil {
			return "", err
		}
		text, err := json.Marshal(n)
		if err != nil {
			return "", err
		}
		b.Write(text)
	}
	cards, err := s.Cards()
	if err != nil {
		return "", err
	}
	for _, c := range cards {
		text, err := json.Marshal(c)
		if err != nil {
			return "", err
		}
		b.Write(text)
	}
	err = s.Events(0, func(e shop.Event) error {
		text, err := json.Marshal(e)
		b.Write(text)
		return err
	})
	return b.String(), err
}

// A file that is foreign, empty, cut short, newer or damaged is refused by name,
// and a write to it too.
func TestShopRefusesBadFiles(t *testing.T) {
	dir := populated(t)
	path := filepath.Join(dir, "shop.db")
	good, err := os.ReadFile(path)
	require.NoError(t, err)
	whole, err := everything(dir)
	require.NoError(t, err)
	try := func(name string, file []byte, want func(error) bool) {
		t.Helper()
		require.NoError(t, os.WriteFile(path, file, 0o666))
		_, err := everything(dir)
		require.True(t, want(err), "%s: reading gives %v", name, err)
		_, err = store.ChangeShop(context.Background(), dir, store.ShopOptions{Now: catalogtest.Now}, func(tx *store.ShopTx) error {
			_, err := addNote(tx, remark("one more"), "bench 1")
			return err
		})
		require.True(t, want(err), "%s: writing gives %v", name, err)
		now, err := os.ReadFile(path)
		require.NoError(t, err)
		require.True(t, bytes.Equal(now, file), "%s: the file was touched", name)
	}
	notOurs := func(err error) bool {
		var e *store.NotOursError
		return errors.As(err, &e) && strings.Contains(err.Error(), "shop's records") && e.Mend != ""
	}
	try("empty", nil, notOurs)
	try("text", bytes.Repeat([]byte("a page of text\n"), 5000), notOurs)
	cat := t.TempDir()
	_, err = step(context.Background(), cat, 1)
	require.NoError(t, err)
	file, err := os.ReadFile(filepath.Join(cat, "catalog.db"))
	require.NoError(t, err)
	try("a catalogue", file, notOurs)
	for _, n := range []int{16 << 10, 40 << 10, 80 << 10} {
		try("cut to "+strconv.Itoa(n), good[:n], named)
	}

	// A bit that is flipped anywhere is found, or changes nothing that is read.
	rnd := rand.New(rand.NewPCG(9, 10))
	found := 0
	for range *flips {
		file := bytes.Clone(good)
		at := rnd.IntN(len(file) * 8)
		file[at/8] ^= 1 << (at % 8)
		require.NoError(t, os.WriteFile(path, file, 0o666))
		got, err := everything(dir)
		if err != nil {
			require.True(t, named(err), "bit %d: %v", at, err)
			found++
			continue
		}
		require.Equal(t, whole, got, "bit %d gives another answer", at)
	}
	require.NotZero(t, found)
}

// Two people, four processes: each change is there once, and nobody hangs.
func TestShopTwoAtOnce(t *testing.T) {
	dir := t.TempDir()
	const writers, each = 4, 10
	var wg sync.WaitGroup
	for w := range writers {
		wg.Go(func() {
			for i := range each {
				_, err := store.ChangeShop(context.Background(), dir, store.ShopOptions{Now: catalogtest.Now}, func(tx *store.ShopTx) error {
					_, err := addNote(tx, remark(fmt.Sprint("said by ", w, " as number ", i)), "bench "+strconv.Itoa(w))
					return err
				})
				if err != nil {
					t.Errorf("writer %d: %v", w, err)
				}
				if _, err := store.ReadShop(dir); err != nil {
					t.Errorf("reader %d: %v", w, err)
				}
			}
		})
	}
	wg.Wait()
	require.Equal(t, writers*each, checkShop(t, dir).Notes)
}

// While another process holds the file for long, who waits is told so.
func TestShopInUse(t *testing.T) {
	t.Parallel() // it waits for seconds and does nothing
	dir := populated(t)
	holding, release := make(chan struct{}), make(chan struct{})
	var wg sync.WaitGroup
	wg.Go(func() {
		_, err := store.ChangeShop(context.Background(), dir, store.ShopOptions{Now: catalogtest.Now}, func(tx *store.ShopTx) error {
			close(holding)
			<-release
			_, err := addNote(tx, remark("slow"), "bench 1")
			return err
		})
		if err != nil {
			t.Errorf("the slow one: %v", err)
		}
	})
	<-holding
	_, err := store.ReadShop(dir)
	require.ErrorIs(t, err, store.ErrInUse)
	require.Contains(t, err.Error(), "notes and cards")
	close(release)
	wg.Wait()
	require.Equal(t, 41, checkShop(t, dir).Notes)
}

// shopChild is the part of the program that the fault tests run: it writes notes
// and cards one after the other, and says of each when it is kept.
func shopChild(dir string, from, to int) error {
	for i := from; i <= to; i++ {
		_, err := store.ChangeShop(context.Background(), dir, store.ShopOptions{Now: catalogtest.Now, Program: "test"}, func(tx *store.ShopTx) error {
			if _, err := addNote(tx, remark("note "+strconv.Itoa(i)), "bench 1"); err != nil {
				return err
			}
			_, err := newCard(tx, "QA-"+strconv.Itoa(i))
			return err
		})
		if err != nil {
			return err
		}
		fmt.Println("made", i)
	}
	return nil
}

// shopState checks the records whole and gives how many of the child's steps
// they hold, in order and without a gap.
func shopState(t *testing.T, dir string) int {
	t.Helper()
	rep, err := store.CheckShop(dir)
	var missing *store.MissingError
	if errors.As(err, &missing) {
		return 0
	}
	require.NoError(t, err)
	require.Equal(t, rep.Notes, rep.Cards)
	cards, err := readShop(t, dir).Cards()
	require.NoError(t, err)
	for i, c := range cards {
		require.Equal(t, "QA-"+strconv.Itoa(i+1), c.Unit)
	}
	return rep.Notes
}

// Killed at any moment: what was confirmed is there, and at most one step more.
func TestShopKill(t *testing.T) {
	rnd := rand.New(rand.NewPCG(11, 12))
	most := 0
	for i := range *faults {
		dir := t.TempDir()
		c := command(t, "shop", dir)
		var out bytes.Buffer
		c.Stdout = &out
		require.NoError(t, c.Start())
		time.Sleep(time.Duration(rnd.Int64N(int64(120 * time.Millisecond))))
		_ = c.Process.Kill() // it may have ended by itself
		_ = c.Wait()
		got, ack := shopState(t, dir), acknowledged(t, out.Bytes())
		require.True(t, got == ack || got == ack+1, "run %d: %d was confirmed, %d are there", i, ack, got)
		most = max(most, ack)
		// It goes on from there.
		require.NoError(t, shopChild(dir, got+1, got+1))
		require.Equal(t, got+1, shopState(t, dir))
		entries, err := os.ReadDir(dir)
		require.NoError(t, err)
		for _, e := range entries {
			require.Contains(t, []string{"shop.db", "shop.lock"}, e.Name())
		}
	}
	require.NotZero(t, most, "no run got as far as to confirm anything")
}

// Each system call by which the records are begun and a first step is written,
// and by which a further step is, is failed or becomes the last one, in turn.
func TestShopSystemCalls(t *testing.T) {
	tool := strace(t)
	base := t.TempDir()
	require.NoError(t, shopChild(base, 1, 3))
	file, err := os.ReadFile(filepath.Join(base, "shop.db"))
	require.NoError(t, err)
	hit := 0
	for _, begun := range []bool{false, true} {
		what, stands := "shop1", 0
		if begun {
			what, stands = "shop4", 3
		}
		folder := func() string {
			dir := t.TempDir()
			if begun {
				require.NoError(t, os.WriteFile(filepath.Join(dir, "shop.db"), file, 0o666))
			}
			return dir
		}
		for _, call := range strings.Split(calls, ",") {
			for _, how := range []string{"error=EIO", "signal=KILL"} {
				if call == "flock" && how == "error=EIO" {
					continue // a lock that cannot be let go makes whoever looks next wait, for seconds
				}
				for when := 1; when <= 12; when++ {
					dir := folder()
					c := exec.Command(tool, "-f", "-o", os.DevNull, "-e", "trace="+call, "-e", fmt.Sprintf("inject=%s:%s:when=%d", call, how, when), mustSelf(t), dir)
					c.Env = append(os.Environ(), childEnv+"="+what)
					out, err := c.Output()
					got, ack := shopState(t, dir), acknowledged(t, out)
					if ack > 0 {
						require.Equal(t, stands+1, got, "%s %s %d: confirmed and not there", call, how, when)
						if err == nil {
							break // the call is not made that often
						}
						continue
					}
					hit++
					if how == "error=EIO" {
						require.Contains(t, string(out), "failed: ", "%s %d", call, when)
					}
					require.Contains(t, []int{stands, stands + 1}, got, "%s %s %d", call, how, when)
					require.NoError(t, shopChild(dir, got+1, got+1), "%s %s %d", call, how, when)
					require.Equal(t, got+1, shopState(t, dir))
				}
			}
		}
	}
	require.Greater(t, hit, 20, "calls that were failed")
}

func mustSelf(t *testing.T) string {
	t.Helper()
	self, err := os.Executable()
	require.NoError(t, err)
	return self
}

// A commit whose last step fails says that it is not known what will last.
func TestShopUncertain(t *testing.T) {
	tool := strace(t)
	dir := t.TempDir()
	require.NoError(t, shopChild(dir, 1, 3))
	c := exec.Command(tool, "-f", "-o", os.DevNull, "-e", "trace=fdatasync", "-e", "inject=fdatasync:error=EIO:when=2", mustSelf(t), dir)
	c.Env = append(os.Environ(), childEnv+"=shop4")
	out, err := c.Output()
	require.Error(t, err)
	require.Contains(t, string(out), "can be read at present, but may not last")
	require.Equal(t, 4, shopState(t, dir))
}
