package main

import (
	"bytes"
	"encoding/csv"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"platewright/catalog/pack"
)

func TestRun(t *testing.T) {
	dir := t.TempDir()
	at := func(name string) string { return filepath.Join(dir, name) }
	require.NoError(t, os.MkdirAll(at("full"), 0o755))
	require.NoError(t, os.WriteFile(filepath.Join(at("full"), "letter.txt"), []byte("mine"), 0o644))
	size := []string{"--variants", "200", "--parts", "1000", "--supersessions", "100", "--notes", "50"}
	for _, c := range []struct {
		name string
		args []string
		code int
		out  string
		errs string
	}{
		{"help", []string{"--help"}, exitDone, "mkcatalog writes", ""},
		{"nothing to write", size, exitUsage, "", "nothing to write"},
		{"no such option", []string{"--colour"}, exitUsage, "", "colour"},
		{"a stray word", append(size, "--out", at("stray"), "more"), exitUsage, "", `"more" is no option`},
		{"too few variants", []string{"--variants", "3", "--out", at("few")}, exitUsage, "", "--variants cannot be 3"},
		{"negative worn", append(size, "--plates", at("p.csv"), "--worn", "-1"), exitUsage, "", "not negative"},
		{"folder in use", append(size, "--out", at("full")), exitFailed, "", "letter.txt"},
		{"folder", append(size, "--out", at("folder")), exitDone, "", ""},
		{"folder again", append(size, "--out", at("folder")), exitDone, "", ""},
		{"zip", append(size, "--out", at("packed"), "--zip"), exitDone, "", ""},
		{"plates", append(size, "--plates", at("plates.csv"), "--plate-count", "20", "--worn", "2"), exitDone, "", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			var out, errs bytes.Buffer
			if code := run(c.args, &out, &errs); code != c.code {
				t.Errorf("the exit code is %d, want %d; said: %s", code, c.code, &errs)
			}
			if !strings.Contains(out.String(), c.out) || c.out == "" && out.Len() > 0 {
				t.Errorf("the output is %q, want %q in it", &out, c.out)
			}
			if !strings.Contains(errs.String(), c.errs) {
				t.Errorf("it said %q, want %q in it", &errs, c.errs)
			}
		})
	}
	for _, name := range []string{"folder", "packed.zip"} {
		p, err := pack.Open(at(name), pack.Limits{})
		require.NoError(t, err)
		if got := p.Info().Name; got != "synthetic" {
			t.Errorf("the package %s is named %q", name, got)
		}
		require.NoError(t, p.Close())
	}
	text, err := os.ReadFile(at("plates.csv"))
	require.NoError(t, err)
	rows, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
	require.NoError(t, err)
	if len(rows) != 21 || strings.Join(rows[0], ",") != "plate,ref" || strings.Count(rows[1][0], "?") != 2 {
		t.Errorf("the list of plates has %d rows and begins %q", len(rows), rows[:2])
	}
	for _, name := range []string{"few", "stray", "p.csv"} {
		if _, err := os.Lstat(at(name)); !os.IsNotExist(err) {
			t.Errorf("%s was written although the options were refused", name)
		}
	}
}
