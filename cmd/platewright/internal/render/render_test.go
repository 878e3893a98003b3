package render

import (
	"bytes"
	"encoding/json"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/require"

	"platewright/resolve"
)

var update = flag.Bool("update", false, "write the golden files anew")

// golden compares got with the file of that name under testdata.
func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		require.NoError(t, os.WriteFile(path, got, 0o666))
		return
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err, "run the test with -update to write the file")
	if d := cmp.Diff(string(want), string(got)); d != "" {
		t.Errorf("%s differs (-want +got):\n%s", path, d)
	}
}

// stored reads a decision that is kept as JSON. It must use every field that it
// names, so that a field renamed in the model is noticed.
func stored(t *testing.T, name string) *resolve.Decision {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("testdata", "decision", name))
	require.NoError(t, err)
	d := json.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	var out resolve.Decision
	require.NoError(t, d.Decode(&out), name)
	return &out
}

func storedNames(t *testing.T) []string {
	t.Helper()
	files, err := filepath.Glob(filepath.Join("testdata", "decision", "*.json"))
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for i, f := range files {
		files[i] = filepath.Base(f)
	}
	return files
}

func TestDecisionText(t *testing.T) {
	for _, name := range storedNames(t) {
		d := stored(t, name)
		base := "decision/" + strings.TrimSuffix(name, ".json")
		for _, v := range []struct {
			suffix string
			screen Screen
			why    bool
		}{
			{".txt", Screen{Width: 80}, false},
			{".narrow.txt", Screen{Width: 40}, false},
			{".why.txt", Screen{Width: 80}, true},
			{".color.txt", Screen{Width: 80, Color: true}, false},
		} {
			var b bytes.Buffer
			require.NoError(t, DecisionText(&b, d, v.screen, v.why))
			golden(t, base+v.suffix, b.Bytes())
			if v.screen.Color {
				continue
			}
			for i, line := range strings.Split(b.String(), "\n") {
				if n := utf8.RuneCountInString(line); n > v.screen.Width {
					t.Errorf("%s%s line %d is %d columns wide, the screen %d: %s", base, v.suffix, i+1, n, v.screen.Width, line)
				}
				if strings.TrimRight(line, " ") != line {
					t.Errorf("%s%s line %d ends with spaces: %q", base, v.suffix, i+1, line)
				}
			}
		}
	}
}
