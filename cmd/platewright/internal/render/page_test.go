package render

import (
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// No line is wider than the screen, no word is lost, whatever the text is.
func TestPutKeepsWidthAndWords(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringOf(rapid.RuneFrom([]rune("ab é漢\n -Ω\u00a0x\u0301"))).Draw(t, "text")
		width := rapid.IntRange(MinWidth, 90).Draw(t, "width")
		indent := rapid.IntRange(0, 40).Draw(t, "indent")
		p := newPage(Screen{Width: width})
		p.put(indent, 4, say(text))
		got := p.buf.String()
		for line := range strings.SplitSeq(got, "\n") {
			if line != strings.TrimRight(line, " ") && !strings.ContainsRune(text, glue) {
				t.Fatalf("the line %q ends with spaces", line)
			}
			if columns(line) > width {
				t.Fatalf("the line %q is %d columns wide, the screen %d", line, columns(line), width)
			}
		}
		squeeze := func(s string) string { return strings.NewReplacer(" ", "", "\n", "", "\u00a0", "").Replace(s) }
		if squeeze(got) != squeeze(text) {
			t.Fatalf("put lost or made up characters: %q from %q", got, text)
		}
	})
}

// Texts from outside are shown and never act on the terminal.
func TestVisible(t *testing.T) {
	for _, x := range []struct{ in, want string }{
		{"plain text", "plain text"},
		{"Ω and °C", "Ω and °C"},
		{"a\x1b[2Jb", `a\u001b[2Jb`},
		{"a\u202eb", `a\u202eb`},
		{"a\u200bb", `a\u200bb`},
		{"a\rb\tc", `a\u000db c`},
		{"a\xffb", `a\xffb`},
		{"\u009b31m", `\u009b31m`},
	} {
		if got := visible(x.in); got != x.want {
			t.Errorf("visible(%q) = %q, want %q", x.in, got, x.want)
		}
	}
}
