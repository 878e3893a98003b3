package render

import (
	"bytes"
	"encoding/json"
	"flag"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/require"

	"platewright/catalog"
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
func stored(t *testing.T, folder, name string) *resolve.Decision {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("testdata", folder, name))
	require.NoError(t, err)
	d := json.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	var out resolve.Decision
	require.NoError(t, d.Decode(&out), name)
	return &out
}

func storedNames(t *testing.T, folder string) []string {
	t.Helper()
	files, err := filepath.Glob(filepath.Join("testdata", folder, "*.json"))
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for i, f := range files {
		files[i] = filepath.Base(f)
	}
	return files
}

func TestDecisionText(t *testing.T) { goldenTexts(t, "decision", DecisionText) }

func TestFitsText(t *testing.T) { goldenTexts(t, "part", FitsText) }

func goldenTexts(t *testing.T, folder string, write func(io.Writer, *resolve.Decision, Screen, bool) error) {
	for _, name := range storedNames(t, folder) {
		d := stored(t, folder, name)
		base := folder + "/" + strings.TrimSuffix(name, ".json")
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
			require.NoError(t, write(&b, d, v.screen, v.why))
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

// Colour must carry nothing by itself: without its codes the coloured text is
// the plain one.
func TestColorSaysNothingAlone(t *testing.T) {
	codes := regexp.MustCompile("\x1b\\[[0-9;]*m")
	for _, name := range storedNames(t, "decision") {
		d := stored(t, "decision", name)
		var plain, colored bytes.Buffer
		require.NoError(t, DecisionText(&plain, d, Screen{Width: 80}, true))
		require.NoError(t, DecisionText(&colored, d, Screen{Width: 80, Color: true}, true))
		if d := cmp.Diff(plain.String(), codes.ReplaceAllString(colored.String(), "")); d != "" {
			t.Errorf("%s (-plain +coloured without codes):\n%s", name, d)
		}
	}
}

// Every line that is held or safe must stand in the text with its number.
func TestTextNamesEveryPart(t *testing.T) {
	for _, name := range storedNames(t, "decision") {
		d := stored(t, "decision", name)
		var b bytes.Buffer
		require.NoError(t, DecisionText(&b, d, Screen{Width: 80}, false))
		text := b.String()
		want := func(part catalog.PartNo) {
			if part != "" && !strings.Contains(text, string(part)) {
				t.Errorf("%s: the text does not name %s", name, part)
			}
		}
		for _, l := range d.SafeToOrder {
			for _, it := range append(slices.Clone(l.Items), l.Companions...) {
				want(it.Part)
			}
		}
		for _, h := range d.Held {
			want(h.Part)
		}
		for _, c := range d.Cautions {
			flat := strings.Join(strings.Fields(text), " ")
			if first, _, _ := strings.Cut(c.Text, ". "); !strings.Contains(flat, first) && len(d.SafeToOrder)+len(d.Held) > 0 && (len(d.Question.Work) > 0 || d.Assemblies[0].Total > 0) {
				t.Errorf("%s: the text leaves out the caution %s", name, c.Caution)
			}
		}
	}
}
