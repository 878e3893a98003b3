// Command platewright decides, from what can be read and seen on an automatic
// transmission, which variant it can still be and which parts fit it.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"

	"platewright/cmd/platewright/internal/cli"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	go func() {
		// The first interrupt asks the work to end; after it the signal has its
		// usual force again, so that a second one ends the process at once.
		<-ctx.Done()
		stop()
	}()
	os.Exit(cli.Main(ctx, os.Args[1:], cli.Streams{In: os.Stdin, Out: os.Stdout, Err: os.Stderr}, os.Getenv))
}
