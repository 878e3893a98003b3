package cli

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"platewright/catalog"
	"platewright/catalog/shop"
	"platewright/catalog/store"
	"platewright/cmd/platewright/internal/render"
	"platewright/resolve"
)

func (a *app) noteCmd() *cobra.Command {
	c := &cobra.Command{
		Use:     "note",
		GroupID: "shop",
		Short:   "Keep what the shop has learned, and let it count",
		Long: `Notes are what the shop knows and no catalogue says. A note shows wherever what it
speaks of does. It is open until another person than its author has confirmed it,
and can be withdrawn; nothing is ever taken out of its history.

  caution       beware of something
  did-not-fit   a part did not fit; confirmed, it holds the line
  fitted-well   a part proved itself
  alias         a number stands for a part; open, it is found but nothing is
                ordered by it
  correction    a cell of the catalogue is wrong; confirmed, answers use what the
                note says, and say so
  remark        anything else`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error { return c.Help() },
	}
	c.AddCommand(a.noteAddCmd(), a.noteListCmd(), a.noteShowCmd(), a.noteConfirmCmd(), a.noteWithdrawCmd(), a.noteEditCmd(), a.noteSettleCmd(),
		a.noteHistoryCmd(), a.noteExportCmd(), a.noteImportCmd(), a.noteReviewCmd(), a.noteTrustCmd(), a.noteRulesCmd(), a.noteCheckCmd(), a.noteBackupCmd())
	return c
}

// noteFlags are what a note says, on the command line.
type noteFlags struct {
	on, is, cell, was, in, evidence, dated, author, who string
	measured, photos                                    []string
	card, revision                                      int
}

func (f *noteFlags) add(c *cobra.Command, fresh bool) {
	s := c.Flags()
	if fresh {
		s.StringVar(&f.on, "on", "", "what it is about, `PLACE=NAME`: part, number, variant, family, mark, work, plate (a pattern with ? and *); of a correction TABLE=ROW, the row by its key, \"A / B\"")
		s.StringVar(&f.dated, "dated", "", "`DATE` of what was found (default: today)")
		s.StringVar(&f.author, "author", "", "`NAME` of who found it (default: who notes it)")
		s.StringVar(&f.was, "was", "", "of a correction: the `TEXT` that the catalogue is believed to have; refused if it has another")
		s.StringVar(&f.cell, "cell", "", "of a correction: `COLUMN=TEXT` as it should read")
	} else {
		s.StringVar(&f.cell, "cell", "", "of a correction: `COLUMN=TEXT` as it should read")
		s.IntVar(&f.revision, "revision", 0, revisionHelp)
	}
	s.StringVar(&f.is, "is", "", "of an alias: the `PART` that the number stands for")
	s.StringVar(&f.in, "in", "", "only in units of this `FAMILY` or variant")
	s.StringArrayVar(&f.measured, "measured", nil, "a value that was measured, `NAME=VALUE` (repeat)")
	s.StringArrayVar(&f.photos, "photo", nil, "a photo: its `FILE` is looked at and stays where it is (repeat)")
	s.StringVar(&f.evidence, "evidence", "", "`TEXT`: what else it rests on")
	s.IntVar(&f.card, "card", 0, "`NUMBER` of the job card that it came from")
	s.StringVar(&f.who, "who", "", whoHelp)
}

// noteText is the text of a note: the arguments, or standard input for -.
func (a *app) noteText(args []string) (string, error) {
	if len(args) != 1 || args[0] != "-" {
		return strings.Join(args, " "), nil
	}
	text, err := io.ReadAll(io.LimitReader(a.in, catalog.MaxText+1))
	if err != nil {
		return "", fmt.Errorf("read the note from standard input: %w", err)
	}
	if len(text) > catalog.MaxText {
		return "", &shop.RefusedError{What: fmt.Sprintf("the text of the note is longer than %d bytes", catalog.MaxText), Mend: "shorten it"}
	}
	return strings.TrimRight(string(text), "\r\n"), nil
}

// lookAtPhotos takes the digests of photos.
func lookAtPhotos(paths []string) ([]shop.Photo, error) {
	var out []shop.Photo
	for _, p := range paths {
		sum, err := digestOfFile(p)
		if err != nil {
			return nil, fmt.Errorf("look at the photo: %w", err)
		}
		out = append(out, shop.Photo{Path: p, SHA256: sum})
	}
	return out, nil
}

func digestOfFile(path string) (string, error) {
	info, err := os.Stat(path)
	if err != nil {
		return "", err
	}
	if !info.Mode().IsRegular() {
		return "", fmt.Errorf("%s is no file", path)
	}
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return "", err
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

func (a *app) noteAddCmd() *cobra.Command {
	var f noteFlags
	kinds := []catalog.NoteKind{catalog.NoteAlias, catalog.NoteCaution, catalog.NoteCorrection, catalog.NoteDidNotFit, catalog.NoteFitted, catalog.NoteRemarkKind}
	c := &cobra.Command{
		Use:   "add KIND --on PLACE=NAME [TEXT]",
		Short: "Write down what was found",
		Long: `Add writes a note. KIND is alias, caution, correction, did-not-fit, fitted-well or
remark; TEXT is what was found, - to read it from standard input. The same note
said twice is one note.`,
		Example: `  platewright note add did-not-fit --on part=NUMBER --in FAMILY 'the lip folds'
  platewright note add alias --on number=NUMBER --is PART 'stamped on the box'
  platewright note add correction --on fits='variant / CODE / 1' --cell qty=2`,
		Args: cobra.MinimumNArgs(1),
		ValidArgsFunction: a.completeArgs(func(string) []string {
			var out []string
			for _, k := range kinds {
				out = append(out, string(k))
			}
			return out
		}, func(string) []string { return nil }),
		RunE: func(c *cobra.Command, args []string) error {
			kind := catalog.NoteKind(args[0])
			if !slices.Contains(kinds, kind) {
				return &usageError{fmt.Sprintf("%q is no kind of note; use alias, caution, correction, did-not-fit, fitted-well or remark", args[0]), c.CommandPath()}
			}
			if f.on == "" {
				return &usageError{"what is the note about? name it with --on, such as --on part=NUMBER", c.CommandPath()}
			}
			return a.noteAdd(c, kind, &f, args[1:])
		},
	}
	f.add(c, true)
	a.completeFlag(c, "on", a.completeNotePlaces)
	a.completeFlag(c, "is", a.completeParts)
	return c
}

// completeNotePlaces proposes places, and what there is once a place is named.
func (a *app) completeNotePlaces(text string) []string {
	on, _, named := strings.Cut(text, "=")
	if !named {
		var out []string
		for _, p := range []catalog.NoteOn{catalog.NoteOnPart, catalog.NoteOnNumber, catalog.NoteOnVariant, catalog.NoteOnFamily, catalog.NoteOnMark, catalog.NoteOnWork, catalog.NoteOnPlate} {
			out = append(out, string(p)+"=")
		}
		return out
	}
	tables := map[catalog.NoteOn]string{catalog.NoteOnPart: catalog.TParts, catalog.NoteOnVariant: catalog.TVariants, catalog.NoteOnFamily: catalog.TFamilies, catalog.NoteOnMark: catalog.TMarks, catalog.NoteOnWork: catalog.TWork}
	t := catalog.TableByName(tables[catalog.NoteOn(on)])
	if t == nil {
		return nil
	}
	return a.completions(func(cat resolve.Catalogue, add func(string, string) bool) error {
		key, ok, err := cat.Seek(t, catalog.Fold(text[len(on)+1:]))
		for ; ok && err == nil; key, ok, err = cat.Seek(t, key+"\x00") {
			rows, err := cat.Group(t, key)
			if err != nil {
				return err
			}
			for _, r := range rows {
				if !add(on+"="+t.Columns[t.Key[0]].Get(r), "") {
					return nil
				}
			}
		}
		return err
	})
}

func (a *app) noteAdd(c *cobra.Command, kind catalog.NoteKind, f *noteFlags, args []string) error {
	who, err := a.who(f.who)
	if err != nil {
		return err
	}
	on, of, err := place(f.on)
	if err != nil {
		return &usageError{err.Error(), c.CommandPath()}
	}
	content := shop.Content{On: catalog.NoteOn(on), Of: of, Kind: kind, Part: catalog.PartNo(f.is), Author: f.author, Dated: f.dated, Evidence: f.evidence, Card: f.card}
	if content.Text, err = a.noteText(args); err != nil {
		return err
	}
	if content.Measured, err = measured(f.measured); err != nil {
		return err
	}
	if content.Photos, err = lookAtPhotos(f.photos); err != nil {
		return err
	}
	if f.dated != "" {
		d, err := catalog.ParseDate(f.dated)
		if err != nil {
			return usagef("--dated %v", err)
		}
		content.Dated = d.String()
	}
	cat, err := a.open()
	if err != nil {
		return err
	}
	defer cat.Close()
	if err := a.ground(c, &content, f, cat.own); err != nil {
		return err
	}
	now, err := a.now()
	if err != nil {
		return err
	}
	id, e, err := shop.Add(content, who, now)
	if err != nil {
		return err
	}
	out := render.Noted{Schema: render.NoteSchema, Did: "added"}
	_, err = a.changeShop(c.Context(), func(tx *store.ShopTx) (err error) {
		if f.card != 0 {
			if _, err := tx.Card(f.card); err != nil {
				return err
			}
		}
		if out.Note, err = tx.Note(id); err != nil {
			return err
		}
		if out.Note != nil {
			out.Did = "there-already"
			return nil
		}
		if _, err := tx.Append(e); err != nil {
			return err
		}
		out.Note, err = tx.Note(id)
		return err
	})
	if err != nil {
		return err
	}
	return a.noted(out)
}

// ground finds what a new note is about in the catalogue itself, without the
// notes over it.
func (a *app) ground(c *cobra.Command, content *shop.Content, f *noteFlags, cat resolve.Catalogue) error {
	if content.Kind == catalog.NoteCorrection {
		column, text, ok := strings.Cut(f.cell, "=")
		if !ok {
			return &usageError{"what should the row say? write --cell COLUMN=TEXT", c.CommandPath()}
		}
		var was *string
		if c.Flags().Changed("was") {
			was = &f.was
		}
		fix, err := shop.Correct(cat, string(content.On), content.Of, strings.TrimSpace(column), was, strings.TrimSpace(text))
		if err != nil {
			return err
		}
		content.On, content.Of, content.Correction = catalog.NoteOnRow, shop.CorrectionName(fix), fix
	} else if f.cell != "" || f.was != "" {
		return &usageError{"--cell and --was are for corrections", c.CommandPath()}
	}
	if err := within(cat, content, f.in); err != nil {
		return err
	}
	return content.Ground(cat)
}

// noted writes what was done to a note.
func (a *app) noted(n render.Noted) error {
	if a.json {
		return render.JSON(a.out, n)
	}
	return render.NotedText(a.out, n, a.screen())
}

// noteChange changes a note by its name.
func (a *app) noteChange(c *cobra.Command, name, did string, revision int, make func(tx *store.ShopTx, n *shop.Note) (shop.Event, error)) error {
	if _, err := a.ownShop(); err != nil {
		return err
	}
	out := render.Noted{Schema: render.NoteSchema, Did: did}
	_, err := a.changeShop(c.Context(), func(tx *store.ShopTx) error {
		n, err := tx.Find(name)
		if err != nil {
			return err
		}
		if err := seen(tx, "note", n.ID, revision, n.Revision, n.Changes); err != nil {
			return err
		}
		e, err := make(tx, n)
		if err != nil {
			return err
		}
		if _, err := tx.Append(e); err != nil {
			return err
		}
		out.Note, err = tx.Note(n.ID)
		return err
	})
	if err != nil {
		return err
	}
	return a.noted(out)
}

func (a *app) completeNotes(string) []string {
	s, err := a.readShop()
	if err != nil || s == nil {
		return nil
	}
	var out []string
	for n, err := range s.Notes() {
		if err != nil || len(out) == maxCompletions {
			break
		}
		if n.State != catalog.NoteWithdrawn {
			w := n.Current()
			out = append(out, n.ID+"\t"+string(w.Kind)+" "+w.Of)
		}
	}
	return out
}

func (a *app) noteConfirmCmd() *cobra.Command {
	var who string
	var revision int
	c := &cobra.Command{
		Use:   "confirm NOTE",
		Short: "Say that a note is right, as another person than its author",
		Long: `Confirm says that a note is right. Only another person than those who wrote it
may. Who confirms a confirmed note says that it was met again.`,
		Args:              cobra.ExactArgs(1),
		ValidArgsFunction: a.completeArgs(a.completeNotes),
		RunE: func(c *cobra.Command, args []string) error {
			name, err := a.who(who)
			if err != nil {
				return err
			}
			return a.noteChange(c, args[0], "confirmed", revision, func(tx *store.ShopTx, n *shop.Note) (shop.Event, error) {
				rules := tx.Rules()
				return n.Confirm(name, &rules, tx)
			})
		},
	}
	c.Flags().StringVar(&who, "who", "", whoHelp)
	c.Flags().IntVar(&revision, "revision", 0, revisionHelp)
	return c
}

func (a *app) noteWithdrawCmd() *cobra.Command {
	var who, because string
	var revision int
	c := &cobra.Command{
		Use:               "withdraw NOTE",
		Short:             "Take a note back; its history stays",
		Args:              cobra.ExactArgs(1),
		ValidArgsFunction: a.completeArgs(a.completeNotes),
		RunE: func(c *cobra.Command, args []string) error {
			name, err := a.who(who)
			if err != nil {
				return err
			}
			return a.noteChange(c, args[0], "withdrawn", revision, func(_ *store.ShopTx, n *shop.Note) (shop.Event, error) {
				return n.Withdraw(name, because)
			})
		},
	}
	c.Flags().StringVar(&who, "who", "", whoHelp)
	c.Flags().StringVar(&because, "because", "", "`TEXT`: why")
	c.Flags().IntVar(&revision, "revision", 0, revisionHelp)
	return c
}

func (a *app) noteEditCmd() *cobra.Command {
	var f noteFlags
	c := &cobra.Command{
		Use:   "edit NOTE [TEXT]",
		Short: "Word a note anew; it is open again afterwards",
		Long: `Edit words a note anew: TEXT takes the place of its text, and each flag of what
it names; the rest stays. What the note is about and its kind stay too. The
wordings before stay in its history. A confirmed or withdrawn note is open again.`,
		Args:              cobra.MinimumNArgs(1),
		ValidArgsFunction: a.completeArgs(a.completeNotes, func(string) []string { return nil }),
		RunE: func(c *cobra.Command, args []string) error {
			name, err := a.who(f.who)
			if err != nil {
				return err
			}
			cat, err := a.open()
			if err != nil {
				return err
			}
			defer cat.Close()
			now, err := a.now()
			if err != nil {
				return err
			}
			text, err := a.noteText(args[1:])
			if err != nil {
				return err
			}
			values, err := measured(f.measured)
			if err != nil {
				return err
			}
			photos, err := lookAtPhotos(f.photos)
			if err != nil {
				return err
			}
			return a.noteChange(c, args[0], "edited", f.revision, func(_ *store.ShopTx, n *shop.Note) (shop.Event, error) {
				w := n.Current().Content
				if len(args) > 1 {
					w.Text = text
				}
				set := c.Flags().Changed
				if set("measured") {
					w.Measured = values
				}
				if set("photo") {
					w.Photos = photos
				}
				if set("evidence") {
					w.Evidence = f.evidence
				}
				if set("card") {
					w.Card = f.card
				}
				if set("is") {
					w.Part = catalog.PartNo(f.is)
				}
				if set("in") {
					w.Family, w.Variant = "", ""
					if err := within(cat.own, &w, f.in); err != nil {
						return shop.Event{}, err
					}
				}
				if set("cell") {
					fix, err := reworded(cat.own, w.Correction, f.cell)
					if err != nil {
						return shop.Event{}, err
					}
					w.Correction = fix
				}
				if set("is") || set("in") {
					if err := w.Ground(cat.own); err != nil {
						return shop.Event{}, err
					}
				}
				return n.Edit(w, name, now)
			})
		},
	}
	f.add(c, false)
	a.completeFlag(c, "is", a.completeParts)
	return c
}

// reworded gives a correction of the same cell with another text.
func reworded(cat resolve.Catalogue, was *catalog.Correction, cell string) (*catalog.Correction, error) {
	column, text, ok := strings.Cut(cell, "=")
	switch {
	case was == nil:
		return nil, usagef("--cell is for corrections")
	case !ok:
		return nil, usagef("--cell %q: write COLUMN=TEXT", cell)
	case column != was.Column:
		return nil, usagef("the note corrects the column %s; write a new one for %s", was.Column, column)
	}
	return shop.Correct(cat, was.Table, strings.Join(was.Row, " / "), column, nil, text)
}

func (a *app) noteSettleCmd() *cobra.Command {
	var who, take string
	c := &cobra.Command{
		Use:   "settle NOTE --take WORDING",
		Short: "Say which of two edits of a note holds",
		Long: `Settle ends a conflict: where this shop and another have edited the same note,
both wordings are kept, and one of them is taken from now on. Without --take the
wordings are shown.`,
		Args:              cobra.ExactArgs(1),
		ValidArgsFunction: a.completeArgs(a.completeNotes),
		RunE: func(c *cobra.Command, args []string) error {
			name, err := a.who(who)
			if err != nil {
				return err
			}
			if take == "" {
				return a.noteShow(args[0])
			}
			now, err := a.now()
			if err != nil {
				return err
			}
			return a.noteChange(c, args[0], "settled", 0, func(_ *store.ShopTx, n *shop.Note) (shop.Event, error) {
				return n.Settle(take, name, now)
			})
		},
	}
	c.Flags().StringVar(&who, "who", "", whoHelp)
	c.Flags().StringVar(&take, "take", "", "the `WORDING` that holds, by the beginning of its name")
	return c
}

func (a *app) noteShowCmd() *cobra.Command {
	return &cobra.Command{
		Use:               "show NOTE",
		Short:             "Show a note with all it rests on",
		Args:              cobra.ExactArgs(1),
		ValidArgsFunction: a.completeArgs(a.completeNotes),
		RunE:              func(_ *cobra.Command, args []string) error { return a.noteShow(args[0]) },
	}
}

func (a *app) noteShow(name string) error {
	s, err := a.ownShop()
	if err != nil {
		return err
	}
	n, err := s.Find(name)
	if err != nil {
		return err
	}
	out := render.Noted{Schema: render.NoteSchema, Did: "shown", Note: n, Photos: []render.PhotoState{}}
	for _, p := range n.Current().Photos {
		state := "as it was"
		switch sum, err := digestOfFile(p.Path); {
		case errors.Is(err, os.ErrNotExist):
			state = "not found from here"
		case err != nil:
			state = "cannot be looked at"
		case sum != p.SHA256:
			state = "changed since"
		}
		out.Photos = append(out.Photos, render.PhotoState{Path: p.Path, State: state})
	}
	return a.noted(out)
}

func (a *app) noteListCmd() *cobra.Command {
	var on, kind, state string
	var all bool
	c := &cobra.Command{
		Use:   "list",
		Short: "List the shop's notes",
		Args:  cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			out := render.Notes{Schema: render.NotesSchema, Notes: []*shop.Note{}}
			s, err := a.readShop()
			if err != nil {
				return err
			}
			if s != nil {
				rules := s.Rules()
				out.Shop, out.Change = rules.Name, s.Number()
				for n, err := range s.Notes() {
					if err != nil {
						return err
					}
					out.Total++
					w := n.Current()
					if n.State == catalog.NoteWithdrawn && !all && state == "" || kind != "" && string(w.Kind) != kind || state != "" && string(n.State) != state {
						continue
					}
					if on != "" {
						p, of, err := place(on)
						if err != nil {
							return &usageError{err.Error(), c.CommandPath()}
						}
						if string(w.On) != p || catalog.Fold(w.Of) != catalog.Fold(of) {
							continue
						}
					}
					out.Notes = append(out.Notes, n)
				}
			}
			if a.json {
				return render.JSON(a.out, out)
			}
			return render.NotesText(a.out, out, a.screen())
		},
	}
	c.Flags().StringVar(&on, "on", "", "only on `PLACE=NAME`")
	c.Flags().StringVar(&kind, "kind", "", "only of this `KIND`")
	c.Flags().StringVar(&state, "state", "", "only in this `STATE`: open, confirmed, withdrawn")
	c.Flags().BoolVar(&all, "all", false, "those that are withdrawn too")
	a.completeFlag(c, "on", a.completeNotePlaces)
	return c
}

func (a *app) noteHistoryCmd() *cobra.Command {
	return &cobra.Command{
		Use:               "history NOTE",
		Short:             "Tell everything that happened to a note",
		Args:              cobra.ExactArgs(1),
		ValidArgsFunction: a.completeArgs(a.completeNotes),
		RunE: func(_ *cobra.Command, args []string) error {
			s, err := a.ownShop()
			if err != nil {
				return err
			}
			n, err := s.Find(args[0])
			if err != nil {
				return err
			}
			es, err := s.EventsAt(n.Changes)
			if err != nil {
				return err
			}
			out := render.NoteHistory{Schema: render.NoteHistorySchema, Note: n, Lines: shop.Tell(n, es)}
			if a.json {
				return render.JSON(a.out, out)
			}
			return render.NoteHistoryText(a.out, out, a.screen())
		},
	}
}

func (a *app) noteTrustCmd() *cobra.Command {
	var who string
	var not bool
	c := &cobra.Command{
		Use:   "trust SOURCE",
		Short: "Let notes of another shop keep their state when they are imported",
		Long: `Trust says that notes that come from SOURCE keep the state that they have there.
Without it they come in as open. SOURCE is the name that the other shop gives its
packages: whoever makes a package can write any name into it, so take packages of
a trusted source only from its own hand.`,
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			return a.noteRules(c, who, func(r *shop.Rules) {
				r.Trusted = slices.DeleteFunc(r.Trusted, func(s string) bool { return catalog.FoldValue(s) == catalog.FoldValue(args[0]) })
				if !not {
					r.Trusted = append(r.Trusted, args[0])
				}
			})
		},
	}
	c.Flags().StringVar(&who, "who", "", whoHelp)
	c.Flags().BoolVar(&not, "no-longer", false, "trust it no longer")
	return c
}

func (a *app) noteRulesCmd() *cobra.Command {
	var who, name string
	var oneMan bool
	c := &cobra.Command{
		Use:   "rules",
		Short: "Show or set what the shop has settled for its notes",
		Args:  cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			set := c.Flags().Changed
			if !set("name") && !set("one-man") {
				out := render.NoteRules{Schema: render.NoteRulesSchema, Rules: shop.Rules{Trusted: []string{}}}
				s, err := a.readShop()
				if err != nil {
					return err
				}
				if s != nil {
					out.Rules = s.Rules()
				}
				return a.rules(out)
			}
			return a.noteRules(c, who, func(r *shop.Rules) {
				if set("name") {
					r.Name = name
				}
				if set("one-man") {
					r.OneMan = oneMan
				}
			})
		},
	}
	c.Flags().StringVar(&name, "name", "", "the shop's `NAME`, under which its notes travel")
	c.Flags().BoolVar(&oneMan, "one-man", false, "one person works here: an author may confirm (--one-man=false takes it back)")
	c.Flags().StringVar(&who, "who", "", whoHelp)
	return c
}

func (a *app) noteRules(c *cobra.Command, named string, edit func(*shop.Rules)) error {
	who, err := a.who(named)
	if err != nil {
		return err
	}
	out := render.NoteRules{Schema: render.NoteRulesSchema}
	_, err = a.changeShop(c.Context(), func(tx *store.ShopTx) error {
		was := tx.Rules()
		now := tx.Rules()
		edit(&now)
		e, err := was.Change(who, now)
		if err != nil {
			return err
		}
		_, err = tx.Append(e)
		out.Rules = tx.Rules()
		return err
	})
	if err != nil {
		return err
	}
	return a.rules(out)
}

func (a *app) rules(r render.NoteRules) error {
	if a.json {
		return render.JSON(a.out, r)
	}
	return render.NoteRulesText(a.out, r, a.screen())
}

func (a *app) noteCheckCmd() *cobra.Command {
	return &cobra.Command{
		Use:   "check",
		Short: "Read all notes and cards with their history and prove them sound",
		Args:  cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			s, err := a.ownShop()
			if err != nil {
				return err
			}
			rep, err := store.CheckShop(filepath.Dir(s.Path()))
			if err != nil {
				return err
			}
			return a.shopState(rep, "checked")
		},
	}
}

func (a *app) noteBackupCmd() *cobra.Command {
	var replace bool
	c := &cobra.Command{
		Use:   "backup FILE",
		Short: "Write a checked copy of all notes and cards with their history",
		Long: `Backup copies the shop's own records to FILE and checks the copy. To use a backup,
put it as shop.db into the folder of the shop's catalogue, in the place of the one
that is there.`,
		Args: cobra.ExactArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			s, err := a.ownShop()
			if err != nil {
				return err
			}
			if err := backupPlace(args[0], s.Path(), replace); err != nil {
				return err
			}
			rep, err := store.BackupShop(filepath.Dir(s.Path()), args[0])
			if err != nil {
				return err
			}
			return a.shopState(rep, "backed-up")
		},
	}
	c.Flags().BoolVar(&replace, "force", false, "write over a file that is there already")
	return c
}

func (a *app) shopState(rep store.ShopReport, did string) error {
	out := render.ShopState{Schema: render.ShopSchema, Did: did, Path: rep.Path, Size: rep.Size, Changes: rep.Changes, Notes: rep.Notes, Cards: rep.Cards}
	if a.json {
		return render.JSON(a.out, out)
	}
	return render.ShopStateText(a.out, out, a.screen())
}
