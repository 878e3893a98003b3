package audit_test

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/require"

	"platewright/catalog/audit"
)

func acceptance(id, because string) audit.Acceptance {
	return audit.Acceptance{ID: id, Kind: audit.OfferTwice, What: "offers: ORP / 1", Because: because, Who: "bench 2", At: time.Date(2031, 5, 6, 7, 8, 9, 0, time.UTC)}
}

func read(t *testing.T, dir string) *audit.Acceptances {
	t.Helper()
	a, err := audit.ReadAcceptances(dir)
	require.NoError(t, err)
	return a
}

func TestAcceptances(t *testing.T) {
	dir := t.TempDir()
	a := read(t, dir)
	if a.Of("one") != nil || len(a.List()) != 0 {
		t.Error("something is accepted where there is no file")
	}
	require.NoError(t, a.Add(acceptance("one", "because <of> it"), acceptance("two", "so")))
	require.NoError(t, a.Add(acceptance("one", "better said")))
	for name, x := range map[string]*audit.Acceptances{"the same": a, "read again": read(t, dir)} {
		want := []audit.Acceptance{acceptance("two", "so"), acceptance("one", "better said")}
		if d := cmp.Diff(want, x.List()); d != "" {
			t.Errorf("%s: what is accepted differs:\n%s", name, d)
		}
		if x.Of("one") == nil || x.Of("one").Because != "better said" {
			t.Errorf("%s: the reason is %v", name, x.Of("one"))
		}
	}
	// One of two is not accepted: neither is taken back.
	_, err := a.Revoke([]string{"one", "three"}, "no", "bench 3", acceptance("", "").At)
	var not *audit.NotAcceptedError
	require.ErrorAs(t, err, &not)
	require.Equal(t, "three", not.ID)
	require.NotNil(t, read(t, dir).Of("one"))
	gone, err := a.Revoke([]string{"one", "one"}, "look again", "bench 3", acceptance("", "").At)
	require.NoError(t, err)
	if len(gone) != 1 || !gone[0].Revoked || gone[0].Kind != audit.OfferTwice {
		t.Errorf("taken back were %v", gone)
	}
	a = read(t, dir)
	if a.Of("one") != nil || a.Of("two") == nil {
		t.Error("the wrong one was taken back")
	}
	// Nothing that was written is ever written over.
	text, err := os.ReadFile(audit.AcceptedPath(dir))
	require.NoError(t, err)
	if n := strings.Count(string(text), "\n"); n != 4 || !strings.Contains(string(text), `"because":"because <of> it"`) {
		t.Errorf("the file has %d lines:\n%s", n, text)
	}
}

// Two that have read the same file both add to it.
func TestAcceptancesOfTwo(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, read(t, dir).Add(acceptance("zero", "so")))
	a, b := read(t, dir), read(t, dir)
	require.NoError(t, a.Add(acceptance("one", "so")))
	require.NoError(t, b.Add(acceptance("two", "so")))
	require.NoError(t, a.Add(acceptance("three", "so")))
	if got := read(t, dir).List(); len(got) != 4 {
		t.Errorf("%d are accepted, want 4: %v", len(got), got)
	}
}

// A crash can cut the last line short, at any byte: what stands before it holds,
// the cut line was never written, and the next acceptance mends the file.
func TestAcceptancesCutShort(t *testing.T) {
	dir := t.TempDir()
	a := read(t, dir)
	require.NoError(t, a.Add(acceptance("one", "so")))
	whole, err := os.ReadFile(audit.AcceptedPath(dir))
	require.NoError(t, err)
	require.NoError(t, a.Add(acceptance("two", "so")))
	both, err := os.ReadFile(audit.AcceptedPath(dir))
	require.NoError(t, err)
	for n := len(whole); n < len(both); n++ {
		require.NoError(t, os.WriteFile(audit.AcceptedPath(dir), both[:n], 0o644))
		x := read(t, dir)
		if x.Of("one") == nil || x.Of("two") != nil {
			t.Fatalf("cut to %d bytes the accepted are %v", n, x.List())
		}
		require.NoError(t, x.Add(acceptance("three", "so")))
		if y := read(t, dir); len(y.List()) != 2 || y.Of("three") == nil {
			t.Fatalf("cut to %d bytes and added to, the accepted are %v", n, y.List())
		}
	}
}

func TestAcceptancesThatCannotBeRead(t *testing.T) {
	for name, text := range map[string]string{
		"no JSON":         "one,two\n",
		"no identifier":   "{}\n",
		"two in a line":   `{"id":"a"} {"id":"b"}` + "\n",
		"an unknown name": `{"id":"a","why":"b"}` + "\n",
		"an empty line":   "\n",
	} {
		dir := t.TempDir()
		good := `{"id":"a","kind":"offer-twice","what":"","because":"so","who":"b","at":"2031-05-06T07:08:09Z"}` + "\n"
		require.NoError(t, os.WriteFile(audit.AcceptedPath(dir), []byte(good+text), 0o644))
		_, err := audit.ReadAcceptances(dir)
		var bad *audit.AcceptedError
		if !errors.As(err, &bad) || bad.Line != 2 || bad.Path != filepath.Join(dir, audit.AcceptedFile) {
			t.Errorf("%s: the error is %v", name, err)
		}
	}
	dir := filepath.Join(t.TempDir(), "missing")
	require.Error(t, read(t, dir).Add(acceptance("one", "so")))
}
