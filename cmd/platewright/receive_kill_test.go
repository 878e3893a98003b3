package main

import (
	"bytes"
	"encoding/json"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"platewright/catalog/store"
	"platewright/cmd/platewright/internal/render"
)

// Killed at any moment while numbers are scanned, one program or two beside each
// other: each piece that stood on a screen is booked, and none twice.
func TestKilledGoodsInKeepsWhatItConfirmed(t *testing.T) {
	if testing.Short() {
		t.Skip("starts the program many times")
	}
	self, err := os.Executable()
	require.NoError(t, err)
	// The test binary is the program when it is called so.
	program := filepath.Join(t.TempDir(), "platewright")
	require.NoError(t, os.Symlink(self, program))
	data := filepath.Join(t.TempDir(), "data")
	command := func(args ...string) *exec.Cmd {
		c := exec.Command(program, args...)
		c.Env = append(os.Environ(), "PLATEWRIGHT_DATA="+data, "SOURCE_DATE_EPOCH=1700000000")
		return c
	}
	out, err := command("order", "XEB-421-A 1708 012900 L", "--role", "feed-tube-seals", "--preferred", "--place", "--who", "counter", "--now", "2026-11-25T14:00").CombinedOutput()
	require.NoError(t, err, "%s", out)
	here := func() (n, receipts int) {
		c := command("receive", "P0001-1", "--json")
		out, err := c.Output()
		if c.ProcessState.ExitCode() != 11 {
			require.NoError(t, err)
		}
		var x render.Receive
		require.NoError(t, json.Unmarshal(out, &x))
		for _, l := range x.Lines {
			n += l.Here
		}
		return n, len(x.Receipts)
	}
	// Each line says that more than ordered came, as that is what is left after two.
	scan := func() (*exec.Cmd, *bytes.Buffer, io.Closer) {
		c := command("receive", "P0001-1", "--scan", "--who", "bench 1")
		var out bytes.Buffer
		c.Stdout = &out
		in, err := c.StdinPipe()
		require.NoError(t, err)
		require.NoError(t, c.Start())
		go func() { _, _ = io.WriteString(in, strings.Repeat("DRK-6103-R!\n", 400)) }()
		return c, &out, in
	}
	confirmed := func(out *bytes.Buffer) int { return strings.Count(out.String(), "\nRIGHT: ") }

	rnd := rand.New(rand.NewPCG(31, 32))
	total, killed := 0, 0
	for i := range 8 {
		before, _ := here()
		programs := 1 + i%2
		var cs []*exec.Cmd
		var outs []*bytes.Buffer
		for range programs {
			c, out, in := scan()
			defer in.Close()
			cs, outs = append(cs, c), append(outs, out)
		}
		time.Sleep(time.Duration(100+rnd.IntN(300)) * time.Millisecond)
		shown := 0
		for k, c := range cs {
			_ = c.Process.Kill() // it may have ended by itself
			if c.Wait() != nil {
				killed++
			}
			shown += confirmed(outs[k])
		}
		after, receipts := here()
		require.GreaterOrEqual(t, after-before, shown, "pieces that stood on the screen are not booked")
		require.LessOrEqual(t, after-before, shown+programs, "pieces are booked that nobody has scanned")
		require.Equal(t, after, receipts)
		total += shown
	}
	require.NotZero(t, total, "every run was killed before it booked anything")
	_, err = store.CheckShop(data)
	require.NoError(t, err)
	t.Logf("%d pieces were confirmed, %d programs killed", total, killed)
}
