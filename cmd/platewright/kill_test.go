package main

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"platewright/catalog"
	"platewright/catalog/shop"
	"platewright/catalog/store"
)

// Killed at any moment while it writes notes and cards, and while others read
// them: what stood on the screen is there.
func TestKilledProgramKeepsWhatItConfirmed(t *testing.T) {
	if testing.Short() {
		t.Skip("starts the program many times")
	}
	self, err := os.Executable()
	require.NoError(t, err)
	// The test binary is the program when it is called so.
	program := filepath.Join(t.TempDir(), "platewright")
	require.NoError(t, os.Symlink(self, program))
	data := filepath.Join(t.TempDir(), "data")
	start := func(args ...string) (*exec.Cmd, *bytes.Buffer) {
		c := exec.Command(program, args...)
		c.Env = append(os.Environ(), "PLATEWRIGHT_DATA="+data, "SOURCE_DATE_EPOCH=1700000000")
		var out bytes.Buffer
		c.Stdout = &out
		require.NoError(t, c.Start())
		return c, &out
	}

	stop := make(chan struct{})
	var readers sync.WaitGroup
	readers.Go(func() {
		for {
			select {
			case <-stop:
				return
			default:
			}
			c := exec.Command(program, "note", "list", "--json")
			c.Env = append(os.Environ(), "PLATEWRIGHT_DATA="+data)
			if out, err := c.CombinedOutput(); err != nil {
				t.Errorf("reading beside the writer: %v\n%s", err, out)
				return
			}
		}
	})

	// How long a run takes here and now.
	began := time.Now()
	c, _ := start("note", "add", "remark", "--on", "part=MWD-417-S", "--who", "bench 1", "the first")
	require.NoError(t, c.Wait())
	most := int64(time.Since(began)) * 3 / 2

	rnd := rand.New(rand.NewPCG(21, 22))
	var notes, cards []string
	for i := range 20 {
		text := fmt.Sprintf("tail chafed on unit %d", i)
		c, out := start("note", "add", "caution", "--on", "part=MWD-417-S", "--who", "bench 1", text)
		time.Sleep(time.Duration(rnd.Int64N(most)))
		_ = c.Process.Kill() // it may have ended by itself
		_ = c.Wait()
		if strings.HasPrefix(out.String(), "Noted.") {
			notes = append(notes, text)
		}
		unit := fmt.Sprintf("XEB-411-A 1618 %06d ?", i)
		c, out = start("card", "new", unit, "--role", "actuator-set", "--who", "bench 1")
		time.Sleep(time.Duration(rnd.Int64N(most)))
		_ = c.Process.Kill()
		_ = c.Wait()
		if strings.HasPrefix(out.String(), "Opened.") {
			cards = append(cards, unit)
		}
	}
	close(stop)
	readers.Wait()
	require.NotEmpty(t, append(notes, cards...), "every run was killed before it wrote")

	_, err = store.CheckShop(data)
	require.NoError(t, err)
	s, err := store.ReadShop(data)
	require.NoError(t, err)
	there := map[string]bool{}
	for n, err := range s.Notes() {
		require.NoError(t, err)
		there[n.Current().Text] = true
		require.Equal(t, catalog.NoteOpen, n.State)
	}
	all, err := s.Cards()
	require.NoError(t, err)
	for _, c := range all {
		there[c.Unit] = true
		require.Equal(t, shop.CardOpen, c.State)
	}
	for _, x := range append(notes, cards...) {
		require.True(t, there[x], "%s was confirmed on the screen and is not there", x)
	}
	t.Logf("%d notes and %d cards were confirmed, %d and %d are there", len(notes), len(cards), s.Number()-len(all), len(all))
}
