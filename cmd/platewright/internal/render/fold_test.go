package render

import (
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestFolded(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"short", "short"},
		{"one two three four five six seven eight", "one two three four five six\n  seven eight"},
		{"  --flag   what it is for and why it is there", "  --flag   what it is for and\n           why it is there"},
		{"look at /a/path/that/is/longer/than/the/whole/line here", "look at\n  /a/path/that/is/longer/than/the/whole/line\n  here"},
		{"                         goes on over there", "          goes on over there"},
		{"line\nand another one that is longer than that", "line\nand another one that is longer\n  than that"},
		{"acts \x1b[31m", "acts \\u001b[31m"},
	} {
		if got := Folded(c.text, MinWidth, 2); got != c.want {
			t.Errorf("%q is folded to\n%s\nwant\n%s", c.text, got, c.want)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringMatching(`([a-z]{1,12} ?){0,30}`).Draw(t, "text")
		width := rapid.IntRange(MinWidth, 60).Draw(t, "width")
		got := Folded(text, width, 2)
		if strings.Join(strings.Fields(got), " ") != strings.Join(strings.Fields(text), " ") {
			t.Fatalf("words are lost: %q", got)
		}
		for line := range strings.Lines(got) {
			if line = strings.TrimSuffix(line, "\n"); len(line) > width && strings.Contains(strings.TrimSpace(line), " ") {
				t.Fatalf("%d columns: %q", len(line), line)
			}
		}
	})
}

func TestUnwrapped(t *testing.T) {
	got := Unwrapped("one\ntwo\n\nthree:\n\n  a  b\n  c  d\n\nfour")
	if want := "one two\n\nthree:\n\n  a  b\n  c  d\n\nfour"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}
