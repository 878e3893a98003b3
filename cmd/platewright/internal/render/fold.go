package render

import "strings"

// Folded lays a text out in a width: each of its lines that is longer is broken
// between words, and what follows is indented by hang more than the line is, or, in a
// line of two columns, to the second one. A word that is longer than the width, such
// as the name of a file, is left whole, so that it can be copied. What would act on a
// terminal is shown and does not act.
func Folded(text string, width, hang int) string {
	width = max(width, MinWidth)
	var b strings.Builder
	for i, line := range strings.Split(visible(text), "\n") {
		if i > 0 {
			b.WriteByte('\n')
		}
		if columns(line) <= width {
			b.WriteString(line)
			continue
		}
		indent := len(line) - len(strings.TrimLeft(line, " "))
		if indent > width/2 {
			line = line[indent-width/3:] // goes on in a second column for which there is no room
			indent = width / 3
		}
		rest := hang
		if indent > 0 {
			rest = min(indent+max(hang, 2), width/2)
		}
		if first, second, ok := strings.Cut(line[indent:], "  "); ok {
			if at := columns(line) - columns(strings.TrimLeft(second, " ")); indent > 0 && at <= width/2 && first != "" {
				rest = at
			}
		}
		col, some := 0, false // some: the line has a word
		for line != "" {
			word := strings.TrimLeft(line, " ")
			gap := len(line) - len(word)
			word, _, _ = strings.Cut(word, " ")
			line = line[gap+len(word):]
			if n := columns(word); some && col+gap+n > width {
				b.WriteString("\n" + strings.Repeat(" ", rest) + word)
				col = rest + n
			} else {
				b.WriteString(strings.Repeat(" ", gap) + word)
				col, some = col+gap+n, true
			}
		}
	}
	return b.String()
}

// Unwrapped joins the lines of each paragraph of a text that was broken into lines
// when it was written, so that it can be folded anew. A line that begins with a
// space is one of a table and stays by itself.
func Unwrapped(text string) string {
	var b strings.Builder
	joins := false // the line before can be gone on with
	for i, line := range strings.Split(text, "\n") {
		own := line == "" || line[0] == ' '
		switch {
		case i == 0:
		case joins && !own:
			b.WriteByte(' ')
		default:
			b.WriteByte('\n')
		}
		b.WriteString(line)
		joins = !own
	}
	return b.String()
}
