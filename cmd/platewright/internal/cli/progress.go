package cli

import (
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"golang.org/x/term"
)

// progress tells on standard error how far a long work is. It keeps silent for
// the first second and where standard error is no terminal.
type progress struct {
	w     io.Writer // nil: keep silent
	what  string
	from  time.Time
	last  time.Time
	width int // of what stands on the line
}

// These times only keep the talk bearable; no answer depends on them.
const (
	progressAfter = time.Second
	progressEvery = 100 * time.Millisecond
)

func (a *app) progress(what string) *progress {
	p := &progress{what: what, from: time.Now()}
	if f, ok := a.err.(*os.File); ok && term.IsTerminal(int(f.Fd())) {
		p.w = a.err
	}
	return p
}

// say renews the line.
func (p *progress) say(format string, args ...any) {
	if p.w == nil {
		return
	}
	now := time.Now()
	if now.Sub(p.from) < progressAfter || now.Sub(p.last) < progressEvery {
		return
	}
	p.last = now
	text := p.what + ": " + fmt.Sprintf(format, args...)
	fmt.Fprintf(p.w, "\r%s%s", text, strings.Repeat(" ", max(p.width-len(text), 0)))
	p.width = len(text)
}

// end clears the line.
func (p *progress) end() {
	if p.w != nil && p.width > 0 {
		fmt.Fprintf(p.w, "\r%s\r", strings.Repeat(" ", p.width))
		p.width = 0
	}
}
