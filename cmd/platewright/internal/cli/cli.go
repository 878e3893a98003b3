package cli

import (
	"bufio"
	"context"
	"errors"
	"io"
	"os"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"platewright/cmd/platewright/internal/render"
)

// Streams are where a command reads and writes: the answer goes to Out, the
// talk about it to Err.
type Streams struct {
	In  io.Reader
	Out io.Writer
	Err io.Writer
}

// Main runs the program with the arguments and gives its exit code. It is the
// only place that turns errors into exit codes.
func Main(ctx context.Context, args []string, s Streams, env func(string) string) int {
	out := bufio.NewWriterSize(s.Out, 32<<10)
	a := &app{in: s.In, out: out, err: s.Err, env: env, tty: s.Out, talk: s.Err}
	root := a.root()
	root.SetArgs(args)
	root.SetIn(s.In)
	root.SetOut(out)
	root.SetErr(s.Err)
	err := root.ExecuteContext(ctx)
	if ferr := out.Flush(); err == nil {
		err = ferr
	}
	if ctx.Err() != nil && err != nil && !errors.Is(err, errSettled) {
		err = context.Canceled
	}
	return a.report(err)
}

// app holds what all commands share: the streams and the global flags.
type app struct {
	in   io.Reader
	out  *bufio.Writer
	err  io.Writer
	env  func(string) string
	tty  io.Writer // the answer's stream itself, to ask whether it is a terminal
	talk io.Writer

	data    string
	json    bool
	noColor bool
	width   int
}

func (a *app) root() *cobra.Command {
	c := &cobra.Command{
		Use:   "platewright",
		Short: "Decide which parts fit an automatic transmission",
		Long: `Platewright tells which variant a transmission can still be, from its plate,
its labels and what can be seen on it, and which parts fit it.

The main job:

  platewright resolve 'PLATE'                    as read; ? for a character that
                                                 cannot be read, [38] for 3 or 8
  platewright resolve 'PLATE' --saw MARK=VALUE   with what was seen on the unit
  platewright resolve 'PLATE' --work SCOPE       the parts that a job takes

It says what is safe to order, what is held and why, and what to look at next.
Without a catalogue of its own it works on a small demo of invented data.`,
		Args:          cobra.NoArgs,
		SilenceErrors: true,
		SilenceUsage:  true,
		RunE:          func(c *cobra.Command, _ []string) error { return c.Help() },
		PersistentPreRunE: func(*cobra.Command, []string) error {
			if a.width < 0 {
				return usagef("--width %d: a text cannot be that wide", a.width)
			}
			return nil
		},
	}
	c.CompletionOptions.HiddenDefaultCmd = false
	f := c.PersistentFlags()
	f.StringVar(&a.data, "data", "", "`folder` of the shop's catalogue (default: PLATEWRIGHT_DATA, or the platform's folder for data)")
	f.BoolVar(&a.json, "json", false, "write the answer as JSON (see: platewright schema)")
	f.BoolVar(&a.noColor, "no-color", false, "no colours (NO_COLOR and TERM=dumb do the same)")
	f.IntVar(&a.width, "width", 0, "lay texts out for this many `columns` (default: the terminal's, else 80)")
	c.SetFlagErrorFunc(func(c *cobra.Command, err error) error { return &usageError{err.Error(), c.CommandPath()} })
	c.SetHelpFunc(a.help)
	c.AddGroup(&cobra.Group{ID: "unit", Title: "A unit and its parts:"}, &cobra.Group{ID: "shop", Title: "The shop's catalogue:"}, &cobra.Group{ID: "more", Title: "More:"})
	c.SetHelpCommandGroupID("more")
	c.SetCompletionCommandGroupID("more")
	c.AddCommand(a.resolveCmd(), a.askCmd(), a.fitsCmd(), a.whereUsedCmd(), a.compareCmd(), a.lookAlikesCmd(), a.searchCmd(), a.measureCmd(), a.orderCmd(), a.receiveCmd(), a.cardCmd(), a.noteCmd(), a.catalogCmd(), a.schemaCmd(), a.versionCmd())
	wrapArgs(c)
	return c
}

// exitCodes ends each help: they are the same for all commands and output formats.
const exitCodes = `Exit codes: 0 done, 1 failed, 2 wrong usage, 3 input refused or an audit has
findings, 4 store in use, 5 store damaged or newer than this program,
10 does not fit, 11 not settled, 130 interrupted.`

// help writes the help of a command, laid out for the screen.
func (a *app) help(c *cobra.Command, _ []string) {
	width := a.screen().Width
	about := c.Long
	if about == "" {
		about = c.Short
	}
	text := render.Folded(render.Unwrapped(strings.TrimRight(about, "\n")), width, 0) + "\n\n"
	if c.Runnable() || c.HasSubCommands() {
		text += render.Folded(c.UsageString(), width, 4)
	}
	// What cannot be written is told when the output is flushed.
	_, _ = io.WriteString(c.OutOrStdout(), text+"\n"+render.Folded(render.Unwrapped(exitCodes), width, 0)+"\n")
}

// wrapArgs makes wrong arguments of c and its subcommands usage errors.
func wrapArgs(c *cobra.Command) {
	if check := c.Args; check != nil {
		c.Args = func(c *cobra.Command, args []string) error {
			if err := check(c, args); err != nil {
				return &usageError{err.Error(), c.CommandPath()}
			}
			return nil
		}
	}
	for _, sub := range c.Commands() {
		wrapArgs(sub)
	}
}

// screen says how the answer's stream shows texts.
func (a *app) screen() render.Screen {
	width, terminal := a.widthOf(a.tty)
	return render.Screen{Width: width, Color: terminal && !a.noColor && a.env("NO_COLOR") == "" && a.env("TERM") != "dumb"}
}

// errWidth is how wide what is said on standard error may be. Where that is no
// terminal but a log, COLUMNS can widen it.
func (a *app) errWidth() int {
	width, terminal := a.widthOf(a.err)
	if n, err := strconv.Atoi(strings.TrimSpace(a.env("COLUMNS"))); a.width == 0 && !terminal && err == nil && n > 0 {
		return n
	}
	return width
}

// widthOf gives the columns of a stream: those asked for, else the terminal's, else
// 80; and whether it is a terminal.
func (a *app) widthOf(stream io.Writer) (width int, terminal bool) {
	f, _ := stream.(*os.File)
	terminal = f != nil && term.IsTerminal(int(f.Fd()))
	if a.width > 0 {
		return a.width, terminal
	}
	if !terminal {
		return 80, false
	}
	if w, _, err := term.GetSize(int(f.Fd())); err == nil && w > 0 {
		return w, true
	}
	if n, err := strconv.Atoi(strings.TrimSpace(a.env("COLUMNS"))); err == nil && n > 0 {
		return n, true
	}
	return 80, true
}
