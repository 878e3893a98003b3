package cli

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"platewright/catalog"
	"platewright/catalog/audit"
	"platewright/catalog/shop"
	"platewright/catalog/store"
	"platewright/resolve"
	"platewright/resolve/order"
	"platewright/resolve/purchase"
)

// The table of exit codes, row by row, also for errors that are wrapped.
func TestExitCodes(t *testing.T) {
	for _, x := range []struct {
		err  error
		want int
	}{
		{nil, 0},
		{errors.New("the disk is full"), 1},
		{&store.MissingError{}, 1},
		{usagef("no such flag"), 2},
		{&resolve.QuestionError{Part: "mark", Value: "x", Reason: resolve.UnknownName}, 2},
		{&store.EditionError{Number: 9}, 2},
		{&catalog.RefusedError{}, 3},
		{fmt.Errorf("%w (process 7)", store.ErrInUse), 4},
		{&store.DamagedError{}, 5},
		{&store.NewerError{}, 5},
		{&store.OlderError{}, 5},
		{&store.NotOursError{}, 5},
		{&audit.AcceptedError{}, 5},
		{&audit.NotAcceptedError{}, 2},
		{&order.AskError{}, 2},
		{&purchase.InputError{}, 3},
		{answered(exitRefused), 3},
		{&shop.UnknownError{What: "note", Name: "n1"}, 2},
		{&shop.RefusedError{What: "an author does not confirm"}, 3},
		{&shop.ChangedError{What: "card", Name: "7"}, 3},
		{&shop.BrokenError{}, 5},
		{&store.UncertainError{Err: errors.New("the disk")}, 1},
		{answered(exitDoesNotFit), 10},
		{answered(exitNotSettled), 11},
		{fmt.Errorf("while reading: %w", context.Canceled), 130},
		{hint(&store.DamagedError{}, "restore a backup"), 5},
		{errors.Join(&catalog.RefusedError{}, errors.New("and the pipe broke")), 3},
	} {
		if got := exitCode(x.err); got != x.want {
			t.Errorf("exitCode(%v) = %d, want %d", x.err, got, x.want)
		}
		if x.err == nil {
			continue
		}
		if got := exitCode(fmt.Errorf("wrapped: %w", x.err)); got != x.want {
			t.Errorf("exitCode(wrapped %v) = %d, want %d", x.err, got, x.want)
		}
	}
}

// demoOnly is an environment in which no catalogue stands, whatever the machine
// has.
func demoOnly(name string) string {
	if name == "PLATEWRIGHT_DATA" {
		return filepath.Join(os.TempDir(), "no-catalogue-of-platewright-stands-here")
	}
	return ""
}

func run(ctx context.Context, in string, args ...string) (code int, out, talk string) {
	var o, e bytes.Buffer
	code = Main(ctx, args, Streams{In: strings.NewReader(in), Out: &o, Err: &e}, demoOnly)
	return code, o.String(), e.String()
}

// An interrupted command says so, exits with 130 and leaves nothing.
func TestInterrupted(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	for _, args := range [][]string{
		{"look-alikes"},
		{"catalog", "audit"},
		{"resolve", "--from", "-"},
	} {
		code, _, talk := run(ctx, "plate\nXEB-411-A 1618 003052 N\n", args...)
		if code != 130 || !strings.Contains(talk, "interrupted") {
			t.Errorf("%v, interrupted: exit code %d, said %q", args, code, talk)
		}
	}
}

type brokenPipe struct{}

func (brokenPipe) Write([]byte) (int, error) { return 0, errors.New("no space left on the device") }

// An answer that cannot be written is not done.
func TestAnswerThatCannotBeWritten(t *testing.T) {
	var talk bytes.Buffer
	code := Main(t.Context(), []string{"resolve", "XEB-411-A 1618 003052 N"},
		Streams{In: strings.NewReader(""), Out: brokenPipe{}, Err: &talk}, demoOnly)
	if code != 1 || !strings.Contains(talk.String(), "no space left") {
		t.Errorf("exit code %d, said %q; want 1 and the reason", code, talk.String())
	}
}

// A long list comes back whole and in its order, however many work on it.
func TestListKeepsItsOrder(t *testing.T) {
	plates := []string{"XEB-411-A 1618 003052 N", "XEB-417-A 1618 004217 Q", "31-2047 0038114-8", "UY WA-31 05512", "no plate at all"}
	const rows = 1500
	var in strings.Builder
	in.WriteString("ref,plate\n")
	for i := range rows {
		fmt.Fprintf(&in, "r%d,%s\n", i, plates[i%len(plates)])
	}
	code, out, talk := run(t.Context(), in.String(), "resolve", "--from", "-", "--role", "actuator-set")
	if code != 0 {
		t.Fatalf("exit code %d: %s", code, talk)
	}
	lines := strings.Split(strings.TrimSuffix(out, "\r\n"), "\r\n")
	if len(lines) != rows+1 {
		t.Fatalf("%d lines, want %d and the heading", len(lines), rows)
	}
	for i, line := range lines[1:] {
		if want := fmt.Sprintf("%d,r%d,%s,", i+2, i, plates[i%len(plates)]); !strings.HasPrefix(line, want) {
			t.Fatalf("line %d is %q, want it to begin with %q", i+1, line, want)
		}
	}
}

func BenchmarkList(b *testing.B) {
	plates := []string{"XEB-411-A 1618 003052 N", "XEB-417-A 1618 004217 Q", "31-2047 0038114-8", "UY WA-31 05512", "XEB-43?-B 1832 007345 ?"}
	var in strings.Builder
	in.WriteString("plate\n")
	for i := range 10_000 {
		in.WriteString(plates[i%len(plates)] + "\n")
	}
	for _, args := range [][]string{{}, {"--json"}} {
		b.Run(strings.Join(append([]string{"rows"}, args...), " "), func(b *testing.B) {
			for b.Loop() {
				code, _, talk := run(b.Context(), in.String(), append([]string{"resolve", "--from", "-", "--work", "actuator-replacement"}, args...)...)
				if code != 0 {
					b.Fatal(talk)
				}
			}
		})
	}
}
