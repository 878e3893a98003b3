package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// TestKilledNotesAreFound writes notes and searches, killing both at any moment:
// every note that was confirmed to its writer is there afterwards and is found.
func TestKilledNotesAreFound(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("needs a symbolic link to the test program: SKIPPED on Windows")
	}
	self, err := os.Executable()
	require.NoError(t, err)
	dir := t.TempDir()
	program := filepath.Join(dir, "platewright") // the test program acts as what it is called
	require.NoError(t, os.Symlink(self, program))
	run := func(args ...string) *exec.Cmd {
		c := exec.Command(program, args...)
		c.Env = append(os.Environ(), "PLATEWRIGHT_DATA="+filepath.Join(dir, "data"))
		return c
	}
	begun := time.Now()
	out, err := run("catalog", "export", filepath.Join(dir, "package")).CombinedOutput()
	require.NoError(t, err, string(out))
	out, err = run("catalog", "import", filepath.Join(dir, "package")).CombinedOutput()
	require.NoError(t, err, string(out))
	usual := time.Since(begun) / 2 // what a command takes on this machine
	r := rand.New(rand.NewPCG(9, 9))
	var confirmed []string
	killed := 0
	for i := range 14 {
		word := fmt.Sprintf("wimble%c%cthorpe", 'a'+i%26, 'a'+i*7%26)
		note := run("note", "add", "remark", "--on", "part=DRK-6210-G", "--who", "bench 1", "Remember the "+word+".")
		search := run("search", "thorpe", word)
		require.NoError(t, search.Start())
		require.NoError(t, note.Start())
		time.Sleep(time.Duration(r.Int64N(int64(usual / 4))))
		if i%3 != 2 {
			_ = note.Process.Kill()
		}
		_ = search.Process.Kill()
		_ = search.Wait()
		var exit *exec.ExitError
		switch err := note.Wait(); {
		case err == nil:
			confirmed = append(confirmed, word)
		case errors.As(err, &exit) && exit.ExitCode() == -1:
			killed++
		default:
			t.Fatalf("the note %s was refused: %v", word, err)
		}
	}
	if len(confirmed) == 0 {
		t.Error("no note was ever confirmed")
	}
	t.Logf("%d notes confirmed, %d writers killed", len(confirmed), killed)
	for _, word := range confirmed {
		out, err := run("search", word, "--json").Output()
		require.NoError(t, err)
		var got struct {
			Hits []struct {
				Kind string
				Of   string
			}
		}
		require.NoError(t, json.Unmarshal(out, &got))
		if len(got.Hits) != 1 || got.Hits[0].Kind != "note" || got.Hits[0].Of != "DRK-6210-G" {
			t.Errorf("the confirmed note %s: found is %+v", word, got.Hits)
		}
	}
}
