package store_test

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"platewright/catalog"
	"platewright/catalog/catalogtest"
	"platewright/catalog/store"
)

var faults = flag.Int("faults", 50, "how many times each kind of fault is tried")

// The tests of this file run the test binary again as a program that changes a
// catalogue, and stop or hinder it. What it prints is what it has acknowledged.
const childEnv = "PLATEWRIGHT_STORE_CHILD"

func TestMain(m *testing.M) {
	if what := os.Getenv(childEnv); what != "" {
		if err := child(what, os.Args[len(os.Args)-1]); err != nil {
			fmt.Println("failed:", err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	flag.Parse()
	os.Exit(m.Run())
}

func child(what, dir string) error {
	ctx := context.Background()
	switch what {
	case "series": // one edition after another, the first of them new
		for n := 1; n <= editionsOfSeries; n++ {
			e, err := step(ctx, dir, n)
			if err != nil {
				return err
			}
			fmt.Println("made", e)
		}
	case "second": // a second edition over a first
		e, err := step(ctx, dir, 2)
		if err != nil {
			return err
		}
		fmt.Println("made", e)
	case "hold": // an import that waits for its input
		_, err := store.Import(ctx, dir, &waiting{feed: seriesFeed(2)}, store.ImportOptions{Now: catalogtest.Now})
		if err != nil {
			return err
		}
		fmt.Println("made 2")
	case "shop": // notes and cards, one after the other
		return shopChild(dir, 1, 10_000)
	case "shop1", "shop4": // one further step
		runtime.LockOSThread() // system calls are counted by thread
		n := int(what[4] - '0')
		return shopChild(dir, n, n)
	default:
		return errors.New("no such part")
	}
	return nil
}

// waiting says that it is being read, and reads on when its standard input ends.
type waiting struct{ feed catalog.Feed }

func (w *waiting) Name() string             { return w.feed.Name() }
func (w *waiting) Tables() []*catalog.Table { return w.feed.Tables() }
func (w *waiting) Rows(t *catalog.Table, fs *catalog.Findings, each func(catalog.Row, catalog.Place, catalog.Cells) error) error {
	fmt.Println("reading")
	if _, err := io.Copy(io.Discard, os.Stdin); err != nil {
		return err
	}
	return w.feed.Rows(t, fs, each)
}

const editionsOfSeries = 12

// step makes edition n of a series: imports, every fourth a restore, and a drop
// beside every fifth.
func step(ctx context.Context, dir string, n int) (int, error) {
	if n%4 == 0 {
		e, err := store.Restore(ctx, dir, n-1-n%3%2, store.ChangeOptions{Now: catalogtest.Now, Program: "test"})
		var refused *store.EditionError
		if errors.As(err, &refused) { // the newest or a dropped one
			e, err = store.Restore(ctx, dir, n-2, store.ChangeOptions{Now: catalogtest.Now, Program: "test"})
		}
		return e.Number, err
	}
	if n%5 == 0 {
		if err := store.Drop(ctx, dir, []int{n - 4}, store.ChangeOptions{}); err != nil {
			return 0, err
		}
	}
	res, err := store.Import(ctx, dir, seriesFeed(n), store.ImportOptions{Now: catalogtest.Now, Program: "test"})
	return res.Edition, err
}

func seriesFeed(n int) *catalogtest.Feed {
	f := &catalogtest.Feed{Title: "package " + strconv.Itoa(n)}
	add := func(table string, cells ...string) {
		if err := f.Add(table, cells...); err != nil {
			panic(err) // a slip in this test
		}
	}
	add("sources", "source=BENCH", "title=Bench book "+strconv.Itoa(n), "kind=bench")
	for i := range 60 {
		add("parts", fmt.Sprintf("part=P-%03d", i*7%60+n), "name=Part of package "+strconv.Itoa(n), "kind=single", "origin=unit-maker", "status=sold", "source=BENCH")
	}
	return f
}

// series gives the digest of each edition of the series, which says all about
// the edition and those before it.
func series(t *testing.T) []string {
	t.Helper()
	dir := t.TempDir()
	out := []string{""}
	for n := 1; n <= editionsOfSeries; n++ {
		e, err := step(context.Background(), dir, n)
		require.NoError(t, err)
		require.Equal(t, n, e)
	}
	s := catalogtest.Open(t, dir)
	es, err := s.Editions()
	require.NoError(t, err)
	for _, e := range es {
		out = append(out, e.Digest)
	}
	return out
}

func command(t *testing.T, what, dir string, wrap ...string) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	require.NoError(t, err)
	args := append(wrap, self, dir)
	c := exec.Command(args[0], args[1:]...)
	c.Env = append(os.Environ(), childEnv+"="+what)
	return c
}

// state checks the whole catalogue in dir and gives the number of its head
// edition, 0 if there is no catalogue.
func state(t *testing.T, dir string, digests []string) int {
	t.Helper()
	s, err := store.Open(dir)
	var missing *store.MissingError
	if errors.As(err, &missing) {
		return 0
	}
	require.NoError(t, err)
	defer func() { require.NoError(t, s.Close()) }()
	rep, err := s.Check(context.Background(), nil)
	require.NoError(t, err)
	require.Equal(t, digests[rep.Head.Number], rep.Head.Digest, "edition %d is not what was made", rep.Head.Number)
	return rep.Head.Number
}

func acknowledged(t *testing.T, out []byte) int {
	t.Helper()
	n := 0
	for line := range strings.Lines(string(out)) {
		if s, ok := strings.CutPrefix(strings.TrimSpace(line), "made "); ok && strings.HasSuffix(line, "\n") {
			var err error
			n, err = strconv.Atoi(s)
			require.NoError(t, err)
		}
	}
	return n
}

// Killed at any moment, the catalogue is whole, and holds what was acknowledged:
// the acknowledged edition or the one after it.
func TestKill(t *testing.T) {
	digests := series(t)
	rnd := rand.New(rand.NewPCG(3, 4))
	for i := range *faults {
		dir := t.TempDir()
		c := command(t, "series", dir)
		var out bytes.Buffer
		c.Stdout = &out
		require.NoError(t, c.Start())
		time.Sleep(time.Duration(rnd.Int64N(int64(150 * time.Millisecond))))
		_ = c.Process.Kill() // it may have ended by itself
		_ = c.Wait()
		got, ack := state(t, dir, digests), acknowledged(t, out.Bytes())
		require.True(t, got == ack || got == ack+1, "run %d: %d was acknowledged, edition %d is there", i, ack, got)
		// The next change goes on from there, and removes what was left.
		if got < editionsOfSeries {
			e, err := step(context.Background(), dir, got+1)
			require.NoError(t, err)
			require.Equal(t, got+1, state(t, dir, digests), "edition %d", e)
		}
		onlyCatalogue(t, dir)
	}
}

func onlyCatalogue(t *testing.T, dir string) {
	t.Helper()
	es, err := os.ReadDir(dir)
	require.NoError(t, err)
	for _, e := range es {
		require.Contains(t, []string{"catalog.db", "catalog.lock"}, e.Name())
	}
}

// strace gives the command that fails system calls, or skips the test by name.
// Where the tests run for good (CI=true) it must be there.
func strace(t *testing.T) string {
	t.Helper()
	path, err := exec.LookPath("strace")
	if err == nil {
		err = exec.Command(path, "-f", "-o", os.DevNull, "-e", "inject=fsync:error=EIO:when=9999", "true").Run()
	}
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatalf("strace is needed to fail system calls: %v", err)
		}
		t.Skipf("strace cannot be used to fail system calls: %v", err)
	}
	return path
}

// calls are the system calls by which a change writes. A plain write is not
// among them: the package uses none for the catalogue, but the runtime does.
const calls = "pwrite64,ftruncate,fsync,fdatasync,rename,renameat,renameat2,unlink,unlinkat,flock"

// standing makes a folder with the first edition of the series.
func standing(t *testing.T, file []byte) string {
	t.Helper()
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "catalog.db"), file, 0o666))
	return dir
}

// Each system call by which a second edition is made is failed or becomes the
// last one, in turn.
func TestSystemCalls(t *testing.T) {
	tool := strace(t)
	digests := series(t)
	first := t.TempDir()
	_, err := step(context.Background(), first, 1)
	require.NoError(t, err)
	file, err := os.ReadFile(filepath.Join(first, "catalog.db"))
	require.NoError(t, err)

	// How often each call is made when nothing fails.
	dir := standing(t, file)
	trace := filepath.Join(t.TempDir(), "trace")
	require.NoError(t, command(t, "second", dir, tool, "-f", "-o", trace, "-e", "trace="+calls).Run())
	log, err := os.ReadFile(trace)
	require.NoError(t, err)
	counts := map[string]int{}
	for _, m := range regexp.MustCompile(`(?m)^\d+ +(\w+)\(`).FindAllSubmatch(log, -1) {
		counts[string(m[1])]++
	}
	require.NotZero(t, counts["fsync"])
	require.NotZero(t, counts["pwrite64"])
	type fault struct {
		call string
		when int
		on   string // "+" for every call from there on
	}
	var all []fault
	for call, n := range counts {
		for when := 1; when <= n; when++ {
			all = append(all, fault{call, when, ""}, fault{call, when, "+"})
		}
	}
	rand.New(rand.NewPCG(5, 6)).Shuffle(len(all), func(i, j int) { all[i], all[j] = all[j], all[i] })
	t.Logf("calls: %v", counts)

	for _, how := range []string{"error=EIO", "signal=KILL"} {
		t.Run(how, func(t *testing.T) {
			hit := 0
			for _, f := range all[:min(*faults, len(all))] {
				dir := standing(t, file)
				c := command(t, "second", dir, tool, "-f", "-o", os.DevNull, "-e", "trace="+f.call, "-e", fmt.Sprintf("inject=%s:%s:when=%d%s", f.call, how, f.when, f.on))
				out, err := c.Output()
				got, ack := state(t, dir, digests), acknowledged(t, out)
				if ack == 2 {
					require.Equal(t, 2, got, "%v: acknowledged and not there", f)
					continue
				}
				hit++
				if how == "error=EIO" {
					require.Error(t, err, "%v: neither done nor failed", f)
					require.Contains(t, string(out), "failed: ", "%v", f)
				}
				require.Contains(t, []int{1, 2}, got)
				if f.call == "pwrite64" || f.call == "ftruncate" || f.call == "fsync" && f.when == 1 {
					require.Equal(t, 1, got, "%v: an edition in place whose file did not get to the disk", f)
				}
				_, err = step(context.Background(), dir, got+1)
				require.NoError(t, err)
				require.Equal(t, got+1, state(t, dir, digests))
				onlyCatalogue(t, dir)
			}
			require.NotZero(t, hit, "no call was failed")
		})
	}
}

// While one process imports, a second one that wants to is told so, and readers
// read what stands.
func TestTwoProcesses(t *testing.T) {
	dir := t.TempDir()
	_, err := step(context.Background(), dir, 1)
	require.NoError(t, err)
	before := catalogtest.Open(t, dir)

	c := command(t, "hold", dir)
	in, err := c.StdinPipe()
	require.NoError(t, err)
	outPipe, err := c.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, c.Start())
	out := bufio.NewScanner(outPipe)
	require.True(t, out.Scan())
	require.Equal(t, "reading", out.Text())

	// Longer than the second that it may take: the machine may be busy.
	ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
	defer cancel()
	_, err = store.Import(ctx, dir, seriesFeed(3), store.ImportOptions{Now: catalogtest.Now})
	require.ErrorIs(t, err, store.ErrInUse)
	require.Contains(t, err.Error(), strconv.Itoa(c.Process.Pid), "it says who")
	_, err = store.Restore(ctx, dir, 1, store.ChangeOptions{})
	require.ErrorIs(t, err, store.ErrInUse)
	require.ErrorIs(t, store.Drop(ctx, dir, []int{1}, store.ChangeOptions{}), store.ErrInUse)

	// A dry run only reads.
	res, err := store.Import(ctx, dir, seriesFeed(3), store.ImportOptions{Now: catalogtest.Now, DryRun: true})
	require.NoError(t, err)
	require.Equal(t, 1, res.Edition)

	during := catalogtest.Open(t, dir)
	require.Equal(t, 1, during.Number())
	require.False(t, before.Changed())
	require.NoError(t, during.Backup(ctx, filepath.Join(t.TempDir(), "copy.db")))

	require.NoError(t, in.Close())
	for out.Scan() && !strings.HasPrefix(out.Text(), "made") {
	}
	require.Equal(t, "made 2", out.Text())
	require.NoError(t, c.Wait())

	require.True(t, before.Changed())
	v, err := before.Head()
	require.NoError(t, err)
	require.Equal(t, 1, v.Edition().Number, "an open catalogue stays as it was")
	require.Equal(t, 60, v.Count("parts"))
	require.NoError(t, v.Close())
	after := catalogtest.Open(t, dir)
	require.Equal(t, 2, after.Number())
}

// A process that may not write reads all the same.
func TestReadOnlyFolder(t *testing.T) {
	dir := t.TempDir()
	_, err := step(context.Background(), dir, 1)
	require.NoError(t, err)
	require.NoError(t, os.Chmod(filepath.Join(dir, "catalog.db"), 0o444))
	require.NoError(t, os.Chmod(dir, 0o555))
	t.Cleanup(func() { require.NoError(t, os.Chmod(dir, 0o755)) })
	s := catalogtest.Open(t, dir)
	require.Equal(t, 1, s.Number())
	res, err := store.Import(context.Background(), dir, seriesFeed(2), store.ImportOptions{Now: catalogtest.Now, DryRun: true})
	require.NoError(t, err)
	require.False(t, res.Unchanged)
}
