package render

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"
	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"

	"platewright/index"
)

func storedSearch(t *testing.T, name string) *Search {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("testdata", "search", name))
	require.NoError(t, err)
	d := json.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	var out Search
	require.NoError(t, d.Decode(&out), name)
	return &out
}

func TestSearchText(t *testing.T) {
	codes := regexp.MustCompile("\x1b\\[[0-9;]*m")
	schema := compiled(t, "search")
	for _, name := range storedNames(t, "search") {
		s := storedSearch(t, name)
		var written bytes.Buffer
		require.NoError(t, JSON(&written, s))
		doc, err := jsonschema.UnmarshalJSON(&written)
		require.NoError(t, err)
		if err := schema.Validate(doc); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		base := "search/" + strings.TrimSuffix(name, ".json")
		var plain string
		for _, v := range []struct {
			suffix string
			screen Screen
		}{{".txt", Screen{Width: 80}}, {".narrow.txt", Screen{Width: 40}}} {
			var b, colored bytes.Buffer
			require.NoError(t, SearchText(&b, s, v.screen))
			golden(t, base+v.suffix, b.Bytes())
			v.screen.Color = true
			require.NoError(t, SearchText(&colored, s, v.screen))
			if d := cmp.Diff(b.String(), codes.ReplaceAllString(colored.String(), "")); d != "" {
				t.Errorf("%s: colour says something alone (-plain +coloured without codes):\n%s", name, d)
			}
			for i, line := range strings.Split(b.String(), "\n") {
				if n := utf8.RuneCountInString(line); n > v.screen.Width || strings.TrimRight(line, " ") != line {
					t.Errorf("%s%s line %d is %d columns wide or ends with spaces: %q", base, v.suffix, i+1, n, line)
				}
			}
			plain = b.String()
		}
		for _, h := range s.Hits {
			if h.Kind != index.KindNote && !strings.Contains(plain, h.Code) {
				t.Errorf("%s: the text does not name %s", name, h.Code)
			}
			if !strings.Contains(strings.Join(strings.Fields(plain), " "), command(h.Next)) {
				t.Errorf("%s: the text does not say how to go on with %s", name, h.Code)
			}
		}
	}
}

// What goes into a command line survives the shell that reads it.
func TestCommandsAreQuoted(t *testing.T) {
	for _, c := range []struct{ arg, want string }{
		{"DRK-4110-S", "DRK-4110-S"}, {"UY54/001", "UY54/001"}, {"a=b", "a=b"}, {"", "''"},
		{"it's; rm *", `'it'\''s; rm *'`}, {"$HOME", "'$HOME'"}, {"é", "'é'"},
	} {
		if got := strings.ReplaceAll(shellQuoted(c.arg), string(glue), " "); got != c.want {
			t.Errorf("%q is quoted as %s, want %s", c.arg, got, c.want)
		}
	}
}
