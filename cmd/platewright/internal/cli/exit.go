package cli

import (
	"context"
	"errors"
	"fmt"
	"syscall"

	"platewright/catalog"
	"platewright/catalog/audit"
	"platewright/catalog/shop"
	"platewright/catalog/store"
	"platewright/cmd/platewright/internal/render"
	"platewright/resolve"
	"platewright/resolve/order"
	"platewright/resolve/purchase"
)

// The exit codes of the program, the same in every output format.
const (
	exitDone        = 0   // answered, or done
	exitFailed      = 1   // something in the world went wrong: a disk, a pipe
	exitUsage       = 2   // the command line cannot be meant
	exitRefused     = 3   // input was refused, with findings; or an audit has findings
	exitInUse       = 4   // another process holds the store
	exitDamaged     = 5   // the store is damaged, or newer than this program
	exitDoesNotFit  = 10  // the part does not fit the unit
	exitNotSettled  = 11  // not settled: nothing matches, the evidence conflicts, or more must be looked at
	exitInterrupted = 130 // interrupted
)

// errSettled marks the errors that are answers: the answer is written, and only
// the exit code is left to tell.
var errSettled = errors.New("answered")

// answered is an answer with an exit code of its own.
type answered int

func (c answered) Error() string        { return fmt.Sprintf("answered with exit code %d", int(c)) }
func (c answered) Is(target error) bool { return target == errSettled }

// usageError says that the command line cannot be meant.
type usageError struct {
	text    string
	command string // whose help tells more
}

func (e *usageError) Error() string { return e.text }

func usagef(format string, args ...any) error { return &usageError{text: fmt.Sprintf(format, args...)} }

// hinted is an error with the next thing to do.
type hinted struct {
	err  error
	hint string
}

func (e *hinted) Error() string { return e.err.Error() }
func (e *hinted) Unwrap() error { return e.err }

func hint(err error, format string, args ...any) error {
	return &hinted{err, fmt.Sprintf(format, args...)}
}

// report writes an error for a person, what to do last, and gives the exit code.
func (a *app) report(err error) int {
	code := exitCode(err)
	var done answered
	var usage *usageError
	var refused *catalog.RefusedError
	switch {
	case err == nil || errors.As(err, &done):
		return code
	case errors.Is(err, syscall.EPIPE):
		// The reader of the answer went away; there is nobody to tell.
		return code
	case code == exitInterrupted:
		a.complain("interrupted; nothing was left half done")
		return code
	case errors.As(err, &usage):
		a.complain(usage.text)
		help := "platewright"
		if usage.command != "" {
			help = usage.command
		}
		fmt.Fprintf(a.err, "See: %s --help\n", help)
		return code
	case errors.As(err, &refused):
		n := len(refused.Findings) + refused.Dropped
		s := "findings"
		if n == 1 {
			s = "finding"
		}
		a.complain(fmt.Sprintf("the input was refused with %d %s; nothing was changed", n, s))
	default:
		a.complain(err.Error())
	}
	var h *hinted
	if errors.As(err, &h) {
		fmt.Fprintln(a.err, render.Folded(h.hint, a.errWidth(), 0))
	}
	return code
}

// complain writes a message, folded to the width. Its first word is the program's
// name, so that other tools find it.
func (a *app) complain(text string) {
	fmt.Fprintln(a.err, render.Folded("platewright: "+text, a.errWidth(), 2))
}

// exitCode is the one table from errors to exit codes.
func exitCode(err error) int {
	var done answered
	var usage *usageError
	var question *resolve.QuestionError
	var refused *catalog.RefusedError
	var edition *store.EditionError
	var damaged *store.DamagedError
	var newer *store.NewerError
	var older *store.OlderError
	var notOurs *store.NotOursError
	var nothing *shop.UnknownError
	var mayNot *shop.RefusedError
	var changed *shop.ChangedError
	var broken *shop.BrokenError
	var accepted *audit.AcceptedError
	var notAccepted *audit.NotAcceptedError
	var notOrdered *order.AskError
	var notPlanned *purchase.InputError
	switch {
	case err == nil:
		return exitDone
	case errors.As(err, &done):
		return int(done)
	case errors.Is(err, context.Canceled):
		return exitInterrupted
	case errors.Is(err, errNoUnit):
		return exitNotSettled
	case errors.As(err, &usage), errors.As(err, &question), errors.As(err, &edition), errors.As(err, &notAccepted):
		return exitUsage
	case errors.As(err, &nothing), errors.As(err, &notOrdered):
		return exitUsage
	case errors.As(err, &refused), errors.As(err, &mayNot), errors.As(err, &changed), errors.As(err, &notPlanned):
		return exitRefused
	case errors.As(err, &broken):
		return exitDamaged
	case errors.Is(err, store.ErrInUse):
		return exitInUse
	case errors.As(err, &damaged), errors.As(err, &newer), errors.As(err, &older), errors.As(err, &notOurs), errors.As(err, &accepted):
		return exitDamaged
	}
	return exitFailed
}
