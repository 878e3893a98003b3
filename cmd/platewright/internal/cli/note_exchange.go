package cli

import (
	"cmp"
	"errors"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"platewright/catalog"
	"platewright/catalog/pack"
	"platewright/catalog/shop"
	"platewright/catalog/store"
	"platewright/cmd/platewright/internal/render"
)

func (a *app) noteExportCmd() *cobra.Command {
	var as string
	var sheets, replace bool
	c := &cobra.Command{
		Use:   "export PATH",
		Short: "Write the shop's notes as a folder, a .zip or an .xlsx workbook",
		Long: `Export writes all notes with their wordings, their state and their history, so
that another shop or another bench can take them in: a zip if PATH ends in .zip,
a workbook if it ends in .xlsx, else a folder.`,
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return a.noteExport(args[0], as, pack.Options{ForSpreadsheets: sheets, Replace: replace, Tables: catalog.ShopTables()})
		},
	}
	c.Flags().StringVar(&as, "as", "", "`NAME` of the shop for the receiver (default: the one set with note rules --name)")
	c.Flags().BoolVar(&sheets, "for-spreadsheets", false, "write CSV files so that a spreadsheet opens them without harm")
	c.Flags().BoolVar(&replace, "force", false, "write over a package that stands at PATH")
	return c
}

// travelling are notes on their way out.
type travelling struct {
	wordings []*catalog.NoteWording
	history  []*catalog.NoteHappening
}

// Each gives the rows of a table in the order of their keys.
func (t travelling) Each(table *catalog.Table, each func(catalog.Row) error) error {
	var rows []catalog.Row
	switch table.Name {
	case catalog.TShopNotes:
		for _, r := range t.wordings {
			rows = append(rows, r)
		}
	case catalog.TShopHistory:
		for _, r := range t.history {
			rows = append(rows, r)
		}
	}
	slices.SortFunc(rows, func(a, b catalog.Row) int {
		return strings.Compare(string(table.RowKey(nil, a)), string(table.RowKey(nil, b)))
	})
	for _, r := range rows {
		if err := each(r); err != nil {
			return err
		}
	}
	return nil
}

func (a *app) noteExport(path, as string, o pack.Options) error {
	s, err := a.ownShop()
	if err != nil {
		return err
	}
	rules := s.Rules()
	name := cmp.Or(as, rules.Name)
	if name == "" {
		return &usageError{"under which name do the notes travel? set it once with: platewright note rules --name NAME, or give --as NAME", "platewright note export"}
	}
	events := map[string][]shop.Event{}
	if err := s.Events(0, func(e shop.Event) error {
		if e.Note != "" && e.Number <= s.Number() {
			events[e.Note] = append(events[e.Note], e)
		}
		return nil
	}); err != nil {
		return err
	}
	out := render.NoteExchange{Schema: render.NoteExchangeSchema, Did: "exported", Path: path, Source: name, Findings: []catalog.Finding{}, Notes: []render.NoteArrived{}}
	var t travelling
	for n, err := range s.Notes() {
		if err != nil {
			return err
		}
		ws, hs := n.Travel(events[n.ID])
		t.wordings, t.history = append(t.wordings, ws...), append(t.history, hs...)
		out.Total++
	}
	if err := pack.WriteFile(path, t, pack.Info{Name: name, Title: name, About: "Notes of a shop, written by Platewright"}, o); err != nil {
		var exists *pack.ExistsError
		if errors.As(err, &exists) && !o.Replace {
			return hint(err, "Name another place, or write over it with --force.")
		}
		return err
	}
	return a.exchanged(out)
}

func (a *app) exchanged(x render.NoteExchange) error {
	if a.json {
		return render.JSON(a.out, x)
	}
	return render.NoteExchangeText(a.out, x, a.screen())
}

func (a *app) noteImportCmd() *cobra.Command {
	var from, who string
	var dryRun bool
	c := &cobra.Command{
		Use:   "import PACKAGE",
		Short: "Take in the notes of another shop",
		Long: `Import takes in notes that another shop has exported, from a folder, a .zip or an
.xlsx workbook. The same note twice is one. Notes come in as open, unless the shop
trusts the source (platewright note trust). What this shop has written, edited or
confirmed is never overwritten: where both have edited a note, both wordings are
kept, and one has to be settled on.

Everything is checked first. If anything is wrong, all findings are listed, nothing
is changed, and the exit code is 3.`,
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error { return a.noteImport(c, args[0], from, who, dryRun) },
	}
	c.Flags().StringVar(&from, "from", "", "`NAME` of the source (default: the one that the package gives)")
	c.Flags().BoolVar(&dryRun, "dry-run", false, "check everything and show what would be taken in, but change nothing")
	c.Flags().StringVar(&who, "who", "", whoHelp)
	return c
}

func (a *app) noteImport(c *cobra.Command, path, from, named string, dryRun bool) error {
	who, err := a.who(named)
	if err != nil {
		return err
	}
	now, err := a.now()
	if err != nil {
		return err
	}
	out := render.NoteExchange{Schema: render.NoteExchangeSchema, Did: "imported", Path: path, Source: from, DryRun: dryRun, Findings: []catalog.Finding{}, Notes: []render.NoteArrived{}}
	p, err := pack.OpenTables(path, catalog.ShopTables(), pack.Limits{})
	if err != nil {
		return a.refusedNotes(out, err)
	}
	defer p.Close()
	if out.Source == "" {
		if out.Source = strings.TrimSpace(p.Info().Title); out.Source == "" {
			return &usageError{"the package does not say from whom it is; name the source with --from NAME", c.CommandPath()}
		}
	}
	var findings catalog.Findings
	arrived, err := readNotes(p, who, now, &findings)
	if err != nil {
		return err
	}
	take := func(note func(string) (*shop.Note, error), rules shop.Rules, each func(shop.Event) (*shop.Note, error)) error {
		err := arrived.Each(func(in shop.Incoming, at catalog.Place) error {
			n, err := note(in.ID)
			if err != nil {
				return err
			}
			e, changed, err := shop.Import(n, in, out.Source, who, &rules, now)
			var refused *shop.RefusedError
			if errors.As(err, &refused) {
				findings.Add(catalog.Finding{Code: catalog.BadCombination, Place: at, Value: in.ID, What: refused.What, Mend: refused.Mend})
				return nil
			}
			if err != nil {
				return err
			}
			x := render.NoteArrived{Note: in.ID, How: "same"}
			if changed {
				after, err := each(e)
				if err != nil {
					return err
				}
				x = render.NoteArrived{Note: in.ID, How: "new", State: after.State, On: after.Current().On, Of: after.Current().Of, Kind: after.Current().Kind}
				switch {
				case n != nil && len(after.Rivals) > len(n.Rivals):
					x.How = "conflict"
				case n != nil && after.Head != n.Head:
					x.How = "updated"
				case n != nil:
					x.How = "state-elsewhere"
				}
			}
			out.Total++
			out.Notes = append(out.Notes, x)
			return nil
		})
		return errors.Join(err, findings.Err())
	}
	if dryRun {
		s, err := a.readShop()
		if err != nil {
			return err
		}
		note, rules := func(string) (*shop.Note, error) { return nil, nil }, shop.Rules{}
		if s != nil {
			note, rules = s.Note, s.Rules()
		}
		err = take(note, rules, func(e shop.Event) (*shop.Note, error) {
			n, err := note(e.Note)
			if err != nil {
				return nil, err
			}
			e.Revision = 1
			if n != nil {
				e.Revision = n.Revision + 1
			}
			e.At = now
			return shop.ApplyNote(n, e)
		})
		if err != nil {
			return a.refusedNotes(out, err)
		}
	} else if _, err := a.changeShop(c.Context(), func(tx *store.ShopTx) error {
		return take(tx.Note, tx.Rules(), func(e shop.Event) (*shop.Note, error) {
			if _, err := tx.Append(e); err != nil {
				return nil, err
			}
			return tx.Note(e.Note)
		})
	}); err != nil {
		return a.refusedNotes(out, err)
	}
	return a.exchanged(out)
}

// readNotes reads the notes of a package.
func readNotes(p *pack.Package, who string, now time.Time, fs *catalog.Findings) (*shop.Arrivals, error) {
	arrived := shop.NewArrivals(who, now)
	for _, t := range p.Tables() {
		err := p.Rows(t, fs, func(r catalog.Row, at catalog.Place, _ catalog.Cells) error {
			switch r := r.(type) {
			case *catalog.NoteWording:
				catalog.CheckRow(t, r, at, fs.Add)
				arrived.Wording(r, at, fs)
			case *catalog.NoteHappening:
				catalog.CheckRow(t, r, at, fs.Add)
				arrived.Happening(r)
			}
			return nil
		})
		if err != nil {
			return nil, err
		}
	}
	return arrived, nil
}

func (a *app) refusedNotes(x render.NoteExchange, err error) error {
	var refused *catalog.RefusedError
	if !errors.As(err, &refused) {
		return err
	}
	x.Findings, x.Dropped, x.Notes, x.Total = refused.Findings, refused.Dropped, []render.NoteArrived{}, 0
	var werr error
	if a.json {
		werr = render.JSON(a.out, x)
	} else {
		werr = render.FindingsText(a.out, refused.Findings, refused.Dropped, a.screen())
	}
	return errors.Join(err, werr, a.out.Flush())
}

func (a *app) noteReviewCmd() *cobra.Command {
	var open, met int
	c := &cobra.Command{
		Use:   "review",
		Short: "List the notes that want looking at again, each with what settles it",
		Args:  cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			if open < 0 || met < 0 {
				return &usageError{"a number of days is not negative", c.CommandPath()}
			}
			now, err := a.now()
			if err != nil {
				return err
			}
			cat, err := a.open()
			if err != nil {
				return err
			}
			defer cat.Close()
			out := render.NoteReview{Schema: render.NoteReviewSchema, Edition: cat.edition, Notes: []shop.Reviewed{}}
			if cat.notes != nil {
				var all []*shop.Note
				for n, err := range cat.notes.Notes() {
					if err != nil {
						return err
					}
					all = append(all, n)
				}
				const daily = 24 * time.Hour
				if out.Notes, err = shop.Review(cat.own, all, shop.ReviewOptions{Open: time.Duration(open) * daily, Met: time.Duration(met) * daily}, now); err != nil {
					return err
				}
			}
			if a.json {
				return render.JSON(a.out, out)
			}
			return render.NoteReviewText(a.out, out, a.screen())
		},
	}
	c.Flags().IntVar(&open, "open", 90, "list notes that have been open for this many `DAYS`")
	c.Flags().IntVar(&met, "met", 365, "list cautions that nobody has met for this many `DAYS`")
	return c
}
