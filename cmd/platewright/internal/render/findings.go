package render

import (
	"fmt"
	"io"

	"platewright/catalog"
)

// FindingsText writes findings one a line: the place, what is wrong, the value
// found, how to mend it. A finding's line is never wrapped, so that other tools
// can take the lines apart.
func FindingsText(w io.Writer, findings []catalog.Finding, dropped int, s Screen) error {
	p := newPage(s)
	for _, f := range findings {
		word, st := "refused", alert
		if f.Severity == catalog.Remark {
			word, st = "remark", warn
		}
		if s.Color {
			word = st.sgr() + word + "\x1b[0m"
		}
		fmt.Fprintf(&p.buf, "%s: %s\n", word, visible(f.String()))
	}
	if dropped > 0 {
		fmt.Fprintf(&p.buf, "and %d more of the kinds above\n", dropped)
	}
	_, err := w.Write(p.buf.Bytes())
	return err
}
