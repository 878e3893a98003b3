package cli

import (
	"errors"
	"iter"
	"runtime/debug"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"platewright/catalog"
	"platewright/catalog/memory"
	"platewright/catalog/shop"
	"platewright/catalog/store"
	"platewright/cmd/platewright/internal/render"
	"platewright/index"
	"platewright/resolve"
)

// indexWait is how long a search waits for another process that builds the
// index, before it reads the catalogue through by itself.
const indexWait = 3 * time.Second

func (a *app) searchCmd() *cobra.Command {
	var q index.Query
	var kinds []string
	page := 1
	c := &cobra.Command{
		Use:     "search WORDS…",
		GroupID: "unit",
		Short:   "Find units, parts, numbers, scopes of work and notes by words",
		Long: `Search finds families, variants, parts, kits, their other numbers and suppliers'
numbers, scopes of work, marks, fluid specifications, sources and notes.

Words may stand in any order and form; words of the trade, such as solenoid for
actuator, and typing errors are allowed for. A number is found with or without
its separators, whole or by a piece of it, with ? for a character that is not
known, and with "ends in", "starts with" or "oh four two" as people say it. A
number that is given whole stands first. "Words in quotes" must follow one
another; a * ends a word that is not typed to its end.

Without WORDS, the flags list what belongs to a maker, a family or a role.`,
		Example: `  platewright search solenoid set 10 ohm --family XEB
  platewright search number ends in oh four two
  platewright search 'DRK-41?0' --kind kit`,
		Args:              cobra.ArbitraryArgs,
		ValidArgsFunction: a.completeArgs(a.completeParts),
		RunE: func(c *cobra.Command, args []string) error {
			q.Text = strings.Join(args, " ")
			for _, k := range kinds {
				if !slices.Contains(index.Kinds, index.Kind(k)) {
					return &usageError{"--kind " + k + ": there is no such kind; the kinds are " + kindList(), c.CommandPath()}
				}
				q.Kinds = append(q.Kinds, index.Kind(k))
			}
			if strings.TrimSpace(q.Text) == "" && len(q.Kinds)+len(q.Makers)+len(q.Families)+len(q.Roles)+len(q.Sources) == 0 {
				return &usageError{"say what to search for: words, or one of the flags", c.CommandPath()}
			}
			if q.Limit < 1 || q.Limit > 1000 {
				return &usageError{"--limit: give a number from 1 to 1000", c.CommandPath()}
			}
			if page < 1 || page > 1_000_000 {
				return &usageError{"--page: give a number from 1 on", c.CommandPath()}
			}
			q.Offset, q.Facets = (page-1)*q.Limit, true
			return a.search(c, q)
		},
	}
	s := c.Flags()
	s.StringArrayVar(&kinds, "kind", nil, "only hits of this `KIND`: "+kindList()+" (repeat)")
	s.StringArrayVar(&q.Makers, "maker", nil, "only what belongs to units of this `MAKER` (repeat)")
	s.StringArrayVar(&q.Families, "family", nil, "only what belongs to this `FAMILY` (repeat)")
	s.StringArrayVar(&q.Roles, "role", nil, "only what serves in this `ROLE` (repeat)")
	s.StringArrayVar(&q.Sources, "source", nil, "only what rests on this `SOURCE` (repeat)")
	s.IntVar(&q.Limit, "limit", 10, "show at most this `many` hits")
	s.IntVar(&page, "page", 1, "show this `page` of the hits")
	a.completeFlag(c, "kind", func(string) []string { return strings.Split(kindList(), ", ") })
	a.completeFlag(c, "role", a.completeRoles)
	a.completeFlag(c, "maker", func(text string) []string {
		return a.completions(func(cat resolve.Catalogue, add func(string, string) bool) error {
			return starting(cat, catalog.TMakers, text, func(r *catalog.Maker) bool { return add(r.Maker, r.Name) })
		})
	})
	a.completeFlag(c, "family", func(text string) []string {
		return a.completions(func(cat resolve.Catalogue, add func(string, string) bool) error {
			return starting(cat, catalog.TFamilies, text, func(r *catalog.Family) bool { return add(r.Family, r.Name) })
		})
	})
	a.completeFlag(c, "source", func(text string) []string {
		return a.completions(func(cat resolve.Catalogue, add func(string, string) bool) error {
			return starting(cat, catalog.TSources, text, func(r *catalog.Source) bool { return add(r.Source, r.Title) })
		})
	})
	return c
}

func kindList() string {
	var out []string
	for _, k := range index.Kinds {
		out = append(out, string(k))
	}
	return strings.Join(out, ", ")
}

func (a *app) search(c *cobra.Command, q index.Query) error {
	// The index is of the catalogue as it was imported; the shop's notes, which
	// change at any moment, have one of their own.
	cat, err := a.openOwn()
	if err != nil {
		return err
	}
	defer cat.Close()
	// Making an index works through much more than an answer does, so garbage is
	// collected as often as usual.
	debug.SetGCPercent(cat.collect)
	notes, err := a.readShop()
	if err != nil {
		return err
	}
	o := index.Options{Edition: cat.edition.Number, Digest: cat.edition.Digest, Wait: indexWait}
	reader, ok := cat.Catalogue.(index.Reader)
	if m, demo := cat.Catalogue.(*memory.Catalogue); demo {
		reader, ok = wholeMemory{m}, true
	}
	if !ok {
		return errors.New("this catalogue cannot be searched as a whole")
	}
	if notes != nil {
		o.Notes = notesOf{notes}
	}
	if cat.store != nil {
		if o.Dir, err = a.dir(); err != nil {
			return err
		}
	}
	p := a.progress("making the search index")
	o.Progress = func(stage string, n int) { p.say("%d %s", n, stage) }
	x, err := index.Open(c.Context(), reader, o)
	p.end()
	if err != nil {
		return err
	}
	defer x.Close()
	res, err := x.Search(c.Context(), q)
	if err != nil {
		return err
	}
	s := render.Search{Schema: render.SearchSchema, Edition: cat.edition, Result: *res}
	if err := rows(cat, catalog.TSources, func(r *catalog.Source) bool {
		s.Edition.Invented = r.Kind == catalog.SourceInvented
		return !s.Edition.Invented
	}); err != nil {
		return err
	}
	if a.json {
		return render.JSON(a.out, s)
	}
	return render.SearchText(a.out, &s, a.screen())
}

// wholeMemory reads a catalogue in memory as an edition of the store is read.
type wholeMemory struct{ *memory.Catalogue }

func (m wholeMemory) Rows(t *catalog.Table) iter.Seq2[catalog.Row, error] {
	return func(yield func(catalog.Row, error) bool) {
		for r := range m.Catalogue.Rows(t.Name) {
			if !yield(r, nil) {
				return
			}
		}
	}
}

// notesOf shows the notes of the shop as the index sees them.
type notesOf struct{ s *store.Shop }

func (n notesOf) Change() (int, error) { return n.s.Number(), nil }

func (n notesOf) Note(id string) (index.Note, bool, error) {
	note, err := n.s.Note(id)
	if note == nil || err != nil {
		return index.Note{}, false, err
	}
	return indexNote(note), true, nil
}

func (n notesOf) Since(change int, each func(index.Note) error) error {
	if change == 0 {
		for note, err := range n.s.Notes() {
			if err != nil {
				return err
			}
			if err := each(indexNote(note)); err != nil {
				return err
			}
		}
		return nil
	}
	if change >= n.s.Number() {
		return nil
	}
	seen := map[string]bool{}
	return n.s.Events(change, func(e shop.Event) error {
		if e.Note == "" || seen[e.Note] {
			return nil
		}
		seen[e.Note] = true
		note, ok, err := n.Note(e.Note)
		if !ok || err != nil {
			return err // one that was written after the notes were read
		}
		return each(note)
	})
}

func indexNote(n *shop.Note) index.Note {
	w := n.Current()
	out := index.Note{ID: n.ID, State: string(n.State)}
	if w == nil {
		return out
	}
	out.On, out.Of, out.Kind, out.Family, out.Text, out.Author, out.Dated = string(w.On), w.Of, string(w.Kind), w.Family, w.Text, w.Author, w.Dated
	if len(out.Dated) > len("2006-01-02") {
		out.Dated = out.Dated[:len("2006-01-02")]
	}
	evidence := []string{}
	for _, m := range w.Measured {
		evidence = append(evidence, m.Name+" "+m.Value)
	}
	if w.Evidence != "" {
		evidence = append(evidence, w.Evidence)
	}
	out.Evidence = strings.Join(evidence, "; ")
	if w.Part != "" {
		// A note on a number that stands for a part.
		out.Alias, out.On, out.Of = w.Of, string(catalog.NoteOnPart), string(w.Part)
	}
	return out
}
