package main

import (
	"bufio"
	"encoding/csv"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"platewright/catalog"
	"platewright/catalog/pack"
	"platewright/cmd/mkcatalog/internal/synth"
)

const (
	exitDone   = 0
	exitFailed = 1
	exitUsage  = 2
)

// run does what the arguments say and gives the exit code. Talk goes to errs,
// help to out.
func run(args []string, out, errs io.Writer) int {
	flags := flag.NewFlagSet("mkcatalog", flag.ContinueOnError)
	flags.SetOutput(errs)
	o := synth.DefaultOptions()
	var (
		dir        = flags.String("out", "", "write the package to this `folder`; what stands there is written over only if it is a package")
		zip        = flags.Bool("zip", false, "write the package as a zip, OUT.zip")
		plates     = flags.String("plates", "", "write plates of units to this CSV `file`, for: platewright resolve --from")
		plateCount = flags.Int("plate-count", 10_000, "how many plates")
		worn       = flags.Int("worn", 0, "characters of each plate that stand as ?")
	)
	flags.Uint64Var(&o.Seed, "seed", o.Seed, "random number to start from")
	flags.IntVar(&o.Variants, "variants", o.Variants, "how many variants")
	flags.IntVar(&o.FitsPerVariant, "fits-per-variant", o.FitsPerVariant, "fit statements of all scopes for each variant, on average")
	flags.IntVar(&o.Parts, "parts", o.Parts, "how many parts")
	flags.IntVar(&o.Supersessions, "supersessions", o.Supersessions, "how many supersessions, at most half as many as parts")
	flags.IntVar(&o.Notes, "notes", o.Notes, "how many notes")
	flags.BoolVar(&o.Shuffle, "shuffle", false, "write the rows of the large tables in no order")
	flags.Usage = func() {
		fmt.Fprint(flags.Output(), "mkcatalog writes a synthetic catalogue of any size, all of it made up.\n\n"+
			"  mkcatalog --variants 100000 --out DIR\n"+
			"  mkcatalog --variants 100000 --plates plates.csv --worn 1\n\n")
		flags.PrintDefaults()
	}
	for _, a := range args {
		if a == "--help" || a == "-help" || a == "-h" {
			flags.SetOutput(out)
		}
	}
	switch err := flags.Parse(args); {
	case errors.Is(err, flag.ErrHelp):
		return exitDone
	case err != nil:
		return exitUsage
	}
	switch {
	case flags.NArg() > 0:
		fmt.Fprintf(errs, "mkcatalog: %q is no option; see mkcatalog --help\n", flags.Arg(0))
		return exitUsage
	case *dir == "" && *plates == "":
		fmt.Fprintln(errs, "mkcatalog: there is nothing to write; give --out DIR, or --plates FILE, or both")
		return exitUsage
	case *plateCount < 0 || *worn < 0:
		fmt.Fprintln(errs, "mkcatalog: --plate-count and --worn are not negative")
		return exitUsage
	}
	w, err := synth.New(o)
	if err == nil && *dir != "" {
		path := *dir
		if *zip && !strings.HasSuffix(path, ".zip") {
			path += ".zip"
		}
		err = writePackage(w, path, *zip, errs)
	}
	if err == nil && *plates != "" {
		err = writePlates(w, *plates, *plateCount, *worn)
	}
	var bad *synth.OptionError
	switch {
	case errors.As(err, &bad):
		fmt.Fprintf(errs, "mkcatalog: --%v\n", err)
		return exitUsage
	case err != nil:
		fmt.Fprintf(errs, "mkcatalog: %v\n", err)
		return exitFailed
	}
	return exitDone
}

// told is a source that says on errs which table is written.
type told struct {
	*synth.World
	errs  io.Writer
	start time.Time
}

func (t told) Each(table *catalog.Table, each func(catalog.Row) error) error {
	n := 0
	err := t.World.Each(table, func(r catalog.Row) error {
		if n++; n%1_000_000 == 0 {
			fmt.Fprintf(t.errs, "%6.1f s  %s: %d rows so far\n", time.Since(t.start).Seconds(), table.Name, n)
		}
		return each(r)
	})
	if n >= 100_000 {
		fmt.Fprintf(t.errs, "%6.1f s  %s: %d rows\n", time.Since(t.start).Seconds(), table.Name, n)
	}
	return err
}

func writePackage(w *synth.World, path string, zip bool, errs io.Writer) error {
	src, opts := told{w, errs, time.Now()}, pack.Options{Replace: true, SkipEmpty: true}
	if zip {
		return pack.WriteFile(path, src, w.Info(), opts)
	}
	return pack.WriteFolder(path, src, w.Info(), opts)
}

// writePlates writes a list of units. The column ref holds the variant, so that
// the answers can be checked.
func writePlates(w *synth.World, path string, n, worn int) (err error) {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	b := bufio.NewWriter(f)
	c := csv.NewWriter(b)
	c.UseCRLF = true
	if err := c.Write([]string{"plate", "ref"}); err != nil {
		return err
	}
	if err := w.Plates(n, worn, func(p synth.Plate) error { return c.Write([]string{p.Text, p.Variant}) }); err != nil {
		return err
	}
	c.Flush()
	return errors.Join(c.Error(), b.Flush())
}
