package cli

import (
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"slices"
	"strconv"
	"strings"

	"platewright/catalog/pack"
	"platewright/catalog/shop"
	"platewright/catalog/store"
	"platewright/cmd/platewright/internal/render"
	"platewright/resolve"
	"platewright/seed"
)

// opened is the catalogue that a command works on.
type opened struct {
	resolve.Catalogue                   // as the shop's own notes leave it
	own               resolve.Catalogue // as it was imported, or the demo
	edition           resolve.Edition
	demo              bool
	store             *store.Store // nil for the demo
	notes             *store.Shop  // nil where the shop has noted nothing
	views             []io.Closer
	corrected         []shop.Corrected   // what was laid over the catalogue
	tell              func([]*shop.Note) // says which corrections were used; nil where the answer itself does
	collect           int                // the garbage collector's percentage before
}

// open opens the shop's catalogue, or the demo where there is none, with the
// shop's own notes over it. Corrections that an answer rests on are told on
// closing, unless the answer does so itself ([opened.tells]).
func (a *app) open() (*opened, error) {
	o, err := a.openOwn()
	if err != nil {
		return nil, err
	}
	if o.notes, err = a.readShop(); err == nil {
		o.Catalogue, err = o.over(o.own)
	}
	if err != nil {
		return nil, errors.Join(err, o.Close())
	}
	o.tell = func(used []*shop.Note) {
		// There is nobody to tell where the talk cannot be written.
		_ = render.CorrectedText(a.err, used, a.screen().Width)
	}
	return o, nil
}

// tells says that the answer itself names the corrections that it rests on.
func (o *opened) tells() { o.tell = nil }

// over lays the shop's notes over a catalogue.
func (o *opened) over(cat resolve.Catalogue) (resolve.Catalogue, error) {
	if o.notes == nil {
		return cat, nil
	}
	over, err := shop.Over(cat, o.notes)
	if c, ok := over.(shop.Corrected); ok {
		o.corrected = append(o.corrected, c)
	}
	return over, err
}

// readShop reads the shop's own records, nil where there are none.
func (a *app) readShop() (*store.Shop, error) {
	dir, err := a.dir()
	if err != nil {
		return nil, err
	}
	s, err := store.ReadShop(dir)
	var missing *store.MissingError
	if errors.As(err, &missing) {
		return nil, nil
	}
	return s, err
}

// openOwn opens the catalogue alone, for what is about the catalogue and not
// about a unit. Until it is closed, garbage is collected a quarter as often: an
// answer makes much and keeps little, and most processes end before the first
// collection would pay.
func (a *app) openOwn() (*opened, error) {
	percent := 400
	if set, err := strconv.Atoi(a.env("GOGC")); err == nil {
		percent = set
	} else if a.env("GOGC") == "off" {
		percent = -1
	}
	collect := debug.SetGCPercent(percent)
	o, err := a.openCatalogue()
	if err != nil {
		debug.SetGCPercent(collect)
		return nil, err
	}
	o.collect, o.own = collect, o.Catalogue
	return o, nil
}

func (a *app) openCatalogue() (*opened, error) {
	dir, err := a.dir()
	if err != nil {
		return nil, err
	}
	s, err := store.Open(dir)
	var missing *store.MissingError
	switch {
	case errors.As(err, &missing) && a.data != "" && !store.HasShop(dir):
		// Who names a folder means the catalogue in it, not a demo; but notes and
		// cards can be kept beside the demo too.
		return nil, &usageError{"there is no catalogue in " + a.data + "; check the folder's name, import a package into it, or leave --data out to see the demo", "platewright"}
	case errors.As(err, &missing):
		return openDemo()
	case err != nil:
		return nil, err
	}
	o := &opened{store: s}
	v, err := s.Head()
	if err != nil {
		return nil, errors.Join(err, s.Close())
	}
	o.views = append(o.views, v)
	o.Catalogue = v
	e := v.Edition()
	o.edition = resolve.Edition{Name: "the shop's catalogue", Number: e.Number, Digest: e.Digest}
	return o, nil
}

func openDemo() (*opened, error) {
	p, err := pack.OpenFS(seed.FS, render.Demo, pack.Limits{})
	if err != nil {
		return nil, fmt.Errorf("the demo: %w", err)
	}
	defer p.Close()
	cat, findings, err := pack.ReadMemory(p)
	if err == nil {
		err = findings.Err()
	}
	if err != nil {
		return nil, fmt.Errorf("the demo: %w", err)
	}
	return &opened{Catalogue: cat, demo: true, edition: resolve.Edition{Name: render.Demo}}, nil
}

// view gives a way to read the catalogue for one worker: an edition in the store
// is read through one view for each goroutine, the demo is shared.
func (o *opened) view() (resolve.Catalogue, error) {
	if o.store == nil {
		return o.Catalogue, nil // both the demo and what lies over it can be shared
	}
	v, err := o.store.Edition(o.edition.Number)
	if err != nil {
		return nil, err
	}
	o.views = append(o.views, v)
	return o.over(v)
}

// Close ends all reading.
func (o *opened) Close() error {
	var err error
	if o.tell != nil {
		used := map[string]*shop.Note{}
		for _, c := range o.corrected {
			for _, n := range c.Used() {
				used[n.ID] = n
			}
		}
		if len(used) > 0 {
			o.tell(slices.SortedFunc(maps.Values(used), func(a, b *shop.Note) int { return strings.Compare(a.ID, b.ID) }))
		}
	}
	for _, v := range o.views {
		err = errors.Join(err, v.Close())
	}
	if o.store != nil {
		err = errors.Join(err, o.store.Close())
	}
	debug.SetGCPercent(o.collect)
	return err
}

// dir is the folder of the shop's catalogue.
func (a *app) dir() (string, error) {
	if a.data != "" {
		return a.data, nil
	}
	if d := a.env("PLATEWRIGHT_DATA"); d != "" {
		return d, nil
	}
	base, err := a.platformDir()
	if err != nil {
		return "", hint(err, "Name a folder with --data DIR, or set PLATEWRIGHT_DATA.")
	}
	return filepath.Join(base, "platewright"), nil
}

// platformDir is where the platform wants a program's data to stand. The
// standard library knows the folders for settings and caches only.
func (a *app) platformDir() (string, error) {
	switch runtime.GOOS {
	case "windows":
		if d := a.env("LocalAppData"); d != "" {
			return d, nil
		}
		return "", errors.New("the folder for data is not known: LocalAppData is not set")
	case "darwin", "ios":
		return os.UserConfigDir()
	}
	if d := a.env("XDG_DATA_HOME"); filepath.IsAbs(d) {
		return d, nil
	}
	if d := a.env("HOME"); d != "" {
		return filepath.Join(d, ".local", "share"), nil
	}
	return "", errors.New("the folder for data is not known: neither XDG_DATA_HOME nor HOME is set")
}

// rows walks all rows of a table.
func rows[T any](cat resolve.Catalogue, table string, each func(*T) bool) error {
	return starting(cat, table, "", each)
}
