package cli

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"platewright/catalog"
	"platewright/cmd/platewright/internal/render"
	"platewright/resolve"
)

func (a *app) askCmd() *cobra.Command {
	var unit unitFlags
	c := &cobra.Command{
		Use:     "ask [PLATE]",
		GroupID: "unit",
		Short:   "Ask for one thing to look at after the other, until the parts are settled",
		Long: `Ask walks through the plan of checks at the terminal: one thing to look at at a
time, with how to look and what each answer would mean. It ends with the answer
that resolve gives with the same observations.

Answer with the number in the list or with what you see. - says that it cannot be
made out, < goes back, . stops. Where values are numbers themselves the place in
the list is written #1, #2. When it stops, it prints the commands that go on from
there. With --json the talk is on standard error and the answer on standard output.`,
		Example: `  platewright ask 'PLATE' --work SCOPE`,
		Args:    cobra.MaximumNArgs(1), ValidArgsFunction: a.completeArgs(a.completePlates),
		RunE: func(c *cobra.Command, args []string) error {
			q, err := unit.question(args)
			if err != nil {
				return err
			}
			return a.ask(c.Context(), q)
		},
	}
	unit.add(a, c, true)
	return c
}

// dialogue is a walk through the checks of one unit.
type dialogue struct {
	a      *app
	res    *resolve.Resolver
	lines  <-chan string
	ctx    context.Context
	talk   io.Writer
	typed  bool               // at a terminal, which shows what is typed
	before []resolve.Question // those to go back to
	q      resolve.Question
}

func (a *app) ask(ctx context.Context, q resolve.Question) error {
	cat, err := a.open()
	if err != nil {
		return err
	}
	defer cat.Close()
	in, _ := a.in.(*os.File)
	g := &dialogue{a: a, typed: in != nil && term.IsTerminal(int(in.Fd())), res: resolve.New(cat, cat.edition), lines: linesOf(ctx, a.in), ctx: ctx, talk: a.out, q: q}
	if a.json {
		g.talk = a.err
	}
	if knowsNothing(&g.q) {
		if err := g.askPlate(); err != nil {
			return err
		}
	}
	d, err := g.walk()
	if err != nil || d == nil {
		return err
	}
	if a.json {
		err = render.JSON(a.out, d)
	} else {
		err = render.DecisionText(a.out, d, a.screen(), false)
	}
	if err != nil {
		return err
	}
	if unanswered(d) {
		return answered(exitNotSettled)
	}
	return nil
}

// linesOf reads lines as they are typed, until there are no more or nobody asks.
func linesOf(ctx context.Context, in io.Reader) <-chan string {
	out := make(chan string)
	go func() {
		defer close(out)
		s := bufio.NewScanner(in)
		for s.Scan() {
			select {
			case out <- s.Text():
			case <-ctx.Done():
				return
			}
		}
	}()
	return out
}

// errLeft says that the person left the dialogue.
var errLeft = errors.New("left")

// line asks for a line. The error is errLeft where no more come.
func (g *dialogue) line() (string, error) {
	if _, err := fmt.Fprint(g.talk, "> "); err != nil {
		return "", err
	}
	if err := g.a.out.Flush(); err != nil {
		return "", err
	}
	select {
	case s, ok := <-g.lines:
		if !ok {
			_, err := fmt.Fprintln(g.talk)
			return "", errors.Join(err, errLeft)
		}
		if !g.typed {
			// Nothing that is typed is on the screen: what was answered is shown.
			if err := g.say("%s", render.Shown(s)); err != nil {
				return "", err
			}
		}
		return strings.TrimSpace(s), nil
	case <-g.ctx.Done():
		return "", context.Canceled
	}
}

func (g *dialogue) say(format string, args ...any) error {
	_, err := fmt.Fprintf(g.talk, format+"\n", args...)
	return err
}

func (g *dialogue) askPlate() error {
	for {
		if err := g.say("What does the plate say? Write ? for a character that cannot be read, [38] for one that is 3 or 8."); err != nil {
			return err
		}
		text, err := g.line()
		switch {
		case errors.Is(err, errLeft), text == render.AskStop:
			return &usageError{"what is the unit? give its PLATE as read, or --field or --label", "platewright ask"}
		case err != nil:
			return err
		}
		if g.q.Plate = text; text != "" {
			return nil
		}
	}
}

// walk asks until nothing is left to look at. It gives the last answer, or none
// where the person left before.
func (g *dialogue) walk() (*resolve.Decision, error) {
	told := "" // the trouble that was explained
	for {
		d, err := g.res.Decide(g.q, resolve.Options{})
		if err != nil {
			var wrong *resolve.QuestionError
			if len(g.before) == 0 || !errors.As(err, &wrong) {
				return nil, err
			}
			// What was typed cannot be meant: the question is asked again.
			if err := g.say("%v", err); err != nil {
				return nil, err
			}
			g.back()
			continue
		}
		trouble := unanswered(d)
		if !trouble && d.NextCheck == nil || trouble && len(g.before) == 0 {
			return d, nil
		}
		if trouble && told == g.a.commandLine("", &g.q) {
			err = g.say("Type %s to go back, %s to stop.", render.AskBack, render.AskStop)
		} else if trouble {
			told = g.a.commandLine("", &g.q)
			err = render.AskTroubleText(g.talk, d, g.a.screen())
		} else {
			err = render.AskStepText(g.talk, d, len(g.before)+1, g.a.screen())
		}
		if err != nil {
			return nil, err
		}
		text, err := g.line()
		switch {
		case errors.Is(err, errLeft), text == render.AskStop, errors.Is(err, context.Canceled):
			if trouble {
				g.back() // what brought the trouble is not worth going on from
			}
			if left := g.leave(); err == nil || errors.Is(err, errLeft) {
				return nil, left
			}
			return nil, errors.Join(err, g.a.out.Flush())
		case err != nil:
			return nil, err
		case text == render.AskBack:
			if len(g.before) == 0 {
				err = g.say("This is the first question.")
			}
			g.back()
		case trouble || text == "":
		default:
			err = g.take(d.NextCheck, text)
		}
		if err != nil {
			return nil, err
		}
	}
}

func (g *dialogue) back() {
	if n := len(g.before); n > 0 {
		g.q, g.before = g.before[n-1], g.before[:n-1]
	}
}

// take puts an answer into the question.
func (g *dialogue) take(n *resolve.NextCheck, text string) error {
	found := text
	switch {
	case text == render.AskUnseen:
		found = ""
	default:
		i := slices.IndexFunc(n.Answers, func(a resolve.CheckAnswer) bool {
			return a.Value != "" && catalog.FoldValue(a.Value) == catalog.FoldValue(text)
		})
		if i < 0 {
			for j := range n.Answers {
				if o := render.AskOption(n, j); o != "" && o == text {
					i, found = j, n.Answers[j].Value
				}
			}
		}
		if i < 0 && strings.HasPrefix(text, "#") {
			return g.say("There is no %s in the list.", text)
		}
		if _, err := strconv.Atoi(text); i < 0 && err == nil && n.Kind == resolve.CheckMark && n.Unit == "" && render.AskOption(n, 0) == "1" {
			return g.say("There is no %s in the list.", text)
		}
		if i < 0 && n.Kind == resolve.CheckMark && n.Unit == "" {
			var known []string
			for _, a := range n.Answers {
				if a.Value != "" {
					known = append(known, a.Value)
				}
			}
			hint := ""
			if near := catalog.Nearest(text, known); near != "" {
				hint = fmt.Sprintf(" Did you mean %q?", near)
			}
			if err := g.say("None of the units still possible is known to show %q.%s Type it again if it is what you see, or another answer.", text, hint); err != nil {
				return err
			}
			again, err := g.line()
			switch {
			case errors.Is(err, errLeft):
				return nil // the walk finds the end itself
			case err != nil:
				return err
			case catalog.FoldValue(again) != catalog.FoldValue(text):
				if again == render.AskBack || again == "" || again == render.AskStop {
					return nil
				}
				return g.take(n, again)
			}
		}
	}
	q, err := g.q.Answered(n, found)
	if err != nil {
		return g.say("%v", err)
	}
	g.before = append(g.before, g.q)
	g.q = q
	return nil
}

// leave ends a dialogue before its end, with the commands that take it up again.
func (g *dialogue) leave() error {
	if err := render.AskEndText(g.talk, g.a.commandLine("ask", &g.q), g.a.commandLine("resolve", &g.q), g.a.screen()); err != nil {
		return err
	}
	return answered(exitNotSettled)
}

// commandLine gives the command that asks a question, as a shell takes it.
func (a *app) commandLine(command string, q *resolve.Question) string {
	words := []string{"platewright", command}
	add := func(flag, value string) {
		if value != "" {
			words = append(words, flag, value)
		}
	}
	if q.Plate != "" {
		words = append(words, q.Plate)
	}
	names := make([]string, 0, len(q.Fields))
	for n := range q.Fields {
		names = append(names, n)
	}
	slices.Sort(names)
	for _, n := range names {
		add("--field", n+"="+q.Fields[n])
	}
	for _, l := range q.Labels {
		add("--label", l)
	}
	for _, o := range q.Saw {
		add("--saw", o.Mark+"="+o.Value)
	}
	add("--vehicle", q.Vehicle)
	add("--serial", q.Serial.String())
	add("--built", q.Built.String())
	add("--doubt", strings.Join(q.Doubt, ","))
	for _, c := range q.CannotSee {
		add("--cannot-see", c)
	}
	for _, w := range q.Work {
		add("--work", w)
	}
	for _, r := range q.Roles {
		add("--role", r)
	}
	add("--data", a.data)
	for i, w := range words {
		words[i] = shellWord(w)
	}
	return strings.Join(words, " ")
}

// shellWord quotes a word where a shell would take it apart.
func shellWord(w string) string {
	plain := func(r rune) bool {
		return r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || strings.ContainsRune("-_.,:=/@%+", r)
	}
	if w != "" && strings.IndexFunc(w, func(r rune) bool { return !plain(r) }) < 0 {
		return w
	}
	return "'" + strings.ReplaceAll(w, "'", `'\''`) + "'"
}
