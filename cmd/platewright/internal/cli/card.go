package cli

import (
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"platewright/catalog"
	"platewright/catalog/shop"
	"platewright/catalog/store"
	"platewright/cmd/platewright/internal/render"
	"platewright/resolve"
	"platewright/resolve/measure"
	"platewright/resolve/measure/coil"
	"platewright/resolve/order"
)

func (a *app) cardCmd() *cobra.Command {
	c := &cobra.Command{
		Use:     "card",
		GroupID: "shop",
		Short:   "Keep a job card for each unit in the shop",
		Long: `A card is the record of one unit: what was read and seen, what was decided on
which edition of the catalogue, what was measured, planned, ordered and received,
and who did it when. Nothing is ever taken out of its history.

Two people who work on one card cannot overwrite each other: who has seen an older
state is told what has happened since.`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error { return c.Help() },
	}
	c.AddCommand(a.cardNewCmd(), a.cardEditCmd(), a.cardShowCmd(), a.cardListCmd(), a.cardNoteCmd(), a.cardMeasureCmd(), a.cardCloseCmd(), a.cardReopenCmd(), a.cardAffectedCmd())
	return c
}

func (a *app) completeCards(string) []string {
	s, err := a.readShop()
	if err != nil || s == nil {
		return nil
	}
	cards, err := s.Cards()
	if err != nil {
		return nil
	}
	var out []string
	for _, c := range cards {
		if c.State == shop.CardOpen && len(out) < maxCompletions {
			out = append(out, strconv.Itoa(c.Number)+"\t"+c.Unit)
		}
	}
	return out
}

// cardNumber reads the number of a card.
func cardNumber(s string) (int, error) {
	n, err := strconv.Atoi(s)
	if err != nil || n < 1 {
		return 0, usagef("%q is no card; platewright card list names them by number", s)
	}
	return n, nil
}

// cardFlags are who works on a card and what that person has seen.
type cardFlags struct {
	who      string
	revision int
	check    func(*shop.Card) error // of the card as it is; nil for none
}

func (f *cardFlags) add(c *cobra.Command) {
	c.Flags().StringVar(&f.who, "who", "", whoHelp)
	c.Flags().IntVar(&f.revision, "revision", 0, revisionHelp)
}

// decide answers the question of a card on the catalogue at hand.
func decide(cat *opened, q resolve.Question, ref string) (shop.DecidedBody, *resolve.Decision, error) {
	d, err := resolve.New(cat, cat.edition).Decide(q, resolve.Options{})
	if err != nil {
		return shop.DecidedBody{}, nil, err
	}
	question, err := json.Marshal(d.Question)
	if err != nil {
		return shop.DecidedBody{}, nil, err
	}
	decision, err := json.Marshal(d)
	if err != nil {
		return shop.DecidedBody{}, nil, err
	}
	return shop.DecidedBody{Unit: unitText(&q), Ref: ref, Work: append([]string{}, q.Work...), Question: question, Decision: decision,
		Edition: shop.Edition{Name: d.Edition.Name, Number: d.Edition.Number, Digest: d.Edition.Digest}}, d, nil
}

// unitText names a unit by what was read of it.
func unitText(q *resolve.Question) string {
	var parts []string
	if q.Plate != "" {
		parts = append(parts, q.Plate)
	}
	var fields []string
	for name, text := range q.Fields {
		fields = append(fields, name+" "+text)
	}
	slices.Sort(fields)
	parts = append(parts, fields...)
	for _, l := range q.Labels {
		if l != "" {
			parts = append(parts, l)
		}
	}
	return strings.Join(parts, "; ")
}

func (a *app) cardNewCmd() *cobra.Command {
	var unit unitFlags
	var flags cardFlags
	var ref string
	c := &cobra.Command{
		Use:   "new [PLATE]",
		Short: "Open a card for a unit, with the decision about it",
		Long: `New opens a card: what was read and seen of the unit, the work, and what is decided
on that. PLATE and the flags are those of: platewright resolve`,
		Example:           `  platewright card new 'PLATE' --work SCOPE --ref 'green van'`,
		Args:              cobra.MaximumNArgs(1),
		ValidArgsFunction: a.completeArgs(a.completePlates),
		RunE: func(c *cobra.Command, args []string) error {
			q, err := unit.question(args)
			if err != nil {
				return err
			}
			if knowsNothing(&q) {
				return &usageError{"what is the unit? give its PLATE as read, or --field or --label", c.CommandPath()}
			}
			who, err := a.who(flags.who)
			if err != nil {
				return err
			}
			cat, err := a.open()
			if err != nil {
				return err
			}
			defer cat.Close()
			cat.tells()
			body, d, err := decide(cat, q, ref)
			if err != nil {
				return err
			}
			e, err := shop.NewCardEvent(shop.CardOpened, who, body)
			if err != nil {
				return err
			}
			out := render.CardAnswer{Schema: render.CardSchema, Did: "opened", Decision: d}
			if _, err = a.changeShop(c.Context(), func(tx *store.ShopTx) error {
				if out.Also, err = openCards(tx, plateKey(body, d)); err != nil {
					return err
				}
				e.Card = tx.NextCard()
				if _, err := tx.Append(e); err != nil {
					return err
				}
				out.Card, err = tx.Card(e.Card)
				return err
			}); err != nil {
				return err
			}
			return a.carded(out)
		},
	}
	unit.add(a, c, true)
	c.Flags().StringVar(&ref, "ref", "", "`TEXT`: the shop's own reference, such as whose it is")
	c.Flags().StringVar(&flags.who, "who", "", whoHelp)
	return c
}

// openCards gives the open cards of a unit, by what was read of it.
func openCards(tx shopCards, unit string) ([]int, error) {
	out := []int{}
	cards, err := tx.Cards()
	if err != nil {
		return nil, err
	}
	for _, c := range cards {
		if c.State != shop.CardOpen {
			continue
		}
		es, err := tx.EventsAt([]int{c.Decided})
		if err != nil {
			return nil, err
		}
		b, err := shop.Body[shop.DecidedBody](es[0])
		before := &resolve.Decision{}
		if err == nil {
			err = json.Unmarshal(b.Decision, before)
		}
		if err != nil {
			return nil, fmt.Errorf("card %d: what was decided cannot be read: %w", c.Number, err)
		}
		if plateKey(b, before) == unit {
			out = append(out, c.Number)
		}
	}
	return out, nil
}

func (a *app) carded(x render.CardAnswer) error {
	if x.Events == nil {
		x.Events = []shop.Event{}
	}
	s, err := a.ownShop()
	if err != nil {
		return err
	}
	if x.Standing, err = standings(s, x.Card); err != nil {
		return err
	}
	if a.json {
		return render.JSON(a.out, x)
	}
	return render.CardText(a.out, x, a.screen())
}

// cardChange adds an event to a card and writes the card.
func (a *app) cardChange(c *cobra.Command, text, did string, f cardFlags, make func(who string) (shop.Event, error)) error {
	var out render.CardAnswer
	if err := a.cardChangeWith(c, text, did, f, make, &out); err != nil {
		return err
	}
	return a.carded(out)
}

func (a *app) cardChangeWith(c *cobra.Command, text, did string, f cardFlags, make func(who string) (shop.Event, error), out *render.CardAnswer) error {
	number, err := cardNumber(text)
	if err != nil {
		return err
	}
	who, err := a.who(f.who)
	if err != nil {
		return err
	}
	if _, err := a.ownShop(); err != nil {
		return err
	}
	e, err := make(who)
	if err != nil {
		return err
	}
	*out = render.CardAnswer{Schema: render.CardSchema, Did: did}
	_, err = a.changeShop(c.Context(), func(tx *store.ShopTx) error {
		card, err := tx.Card(number)
		if err != nil {
			return err
		}
		if err := seen(tx, "card", text, f.revision, card.Revision, card.Changes); err != nil {
			return err
		}
		if f.check != nil {
			if err := f.check(card); err != nil {
				return err
			}
		}
		e.Card = number
		if _, err := tx.Append(e); err != nil {
			return err
		}
		out.Card, err = tx.Card(number)
		return err
	})
	return err
}

// storedDecision reads the question and the decision that a card holds.
func storedDecision(s *store.Shop, card *shop.Card) (resolve.Question, *resolve.Decision, error) {
	es, err := s.EventsAt([]int{card.Decided})
	if err != nil {
		return resolve.Question{}, nil, err
	}
	b, err := shop.Body[shop.DecidedBody](es[0])
	if err != nil {
		return resolve.Question{}, nil, err
	}
	var q resolve.Question
	d := &resolve.Decision{}
	if err := errors.Join(json.Unmarshal(b.Question, &q), json.Unmarshal(b.Decision, d)); err != nil {
		return q, nil, fmt.Errorf("card %d: what was decided cannot be read: %w", card.Number, err)
	}
	// The date travels as a text.
	if err := setBuilt(&q, q.BuiltISO); err != nil {
		return q, nil, err
	}
	return q, d, nil
}

func (a *app) cardEditCmd() *cobra.Command {
	var unit unitFlags
	var flags cardFlags
	var plate, ref string
	c := &cobra.Command{
		Use:   "edit CARD",
		Short: "Add to what was read and seen, and decide again",
		Long: `Edit changes what a card says of its unit and decides again, on the edition of the
catalogue that answers now: --saw adds a mark or takes the place of its value, each
other flag takes the place of what it names, and the rest stays. Without any flag it
decides again what stands.`,
		Args:              cobra.ExactArgs(1),
		ValidArgsFunction: a.completeArgs(a.completeCards),
		RunE: func(c *cobra.Command, args []string) error {
			card, q, err := a.decidedCard(args[0])
			if err != nil {
				return err
			}
			if err := unit.over(c, &q, plate); err != nil {
				return err
			}
			if !c.Flags().Changed("ref") {
				ref = card.Ref
			}
			cat, err := a.open()
			if err != nil {
				return err
			}
			defer cat.Close()
			cat.tells()
			body, d, err := decide(cat, q, ref)
			if err != nil {
				return err
			}
			// Whoever has named no revision has seen the one that was read here.
			flags.revision = cmp.Or(flags.revision, card.Revision)
			out := render.CardAnswer{}
			err = a.cardChangeWith(c, args[0], "decided", flags, func(who string) (shop.Event, error) {
				return shop.NewCardEvent(shop.CardDecided, who, body)
			}, &out)
			if err != nil {
				return err
			}
			out.Decision = d
			return a.carded(out)
		},
	}
	unit.add(a, c, true)
	flags.add(c)
	c.Flags().StringVar(&plate, "plate", "", "the plate as read by now, in the place of the `TEXT` before")
	c.Flags().StringVar(&ref, "ref", "", "`TEXT`: the shop's own reference")
	return c
}

// over puts the flags that were given over a question.
func (f *unitFlags) over(c *cobra.Command, q *resolve.Question, plate string) error {
	set := c.Flags().Changed
	fresh, err := f.question(nil)
	if err != nil {
		return err
	}
	if set("plate") {
		if len(fresh.Fields) > 0 {
			return usagef("--plate and --field: give the plate as a whole or field by field, not both")
		}
		q.Plate, q.Fields = plate, nil
		q.Doubt = nil // its places were those of the text before
	}
	if set("field") {
		q.Plate, q.Fields = "", fresh.Fields
	}
	if set("label") {
		q.Labels = fresh.Labels
	}
	for _, o := range fresh.Saw {
		i := slices.IndexFunc(q.Saw, func(x resolve.Observation) bool { return catalog.Fold(x.Mark) == catalog.Fold(o.Mark) })
		if i < 0 {
			q.Saw = append(q.Saw, o)
		} else {
			q.Saw[i] = o
		}
	}
	if set("work") {
		q.Work = fresh.Work
	}
	if set("role") {
		q.Roles = fresh.Roles
	}
	if set("vehicle") {
		q.Vehicle = fresh.Vehicle
	}
	if set("built") {
		q.Built, q.BuiltISO = fresh.Built, fresh.BuiltISO
	}
	if set("serial") {
		q.Serial = fresh.Serial
	}
	if set("doubt") {
		q.Doubt = fresh.Doubt
	}
	if set("cannot-see") {
		q.CannotSee = fresh.CannotSee
	}
	if knowsNothing(q) {
		return usagef("nothing would be left of what was read of the unit")
	}
	return nil
}

func (a *app) cardShowCmd() *cobra.Command {
	var why, history bool
	c := &cobra.Command{
		Use:               "show CARD",
		Short:             "Show a card with what was decided on it",
		Args:              cobra.ExactArgs(1),
		ValidArgsFunction: a.completeArgs(a.completeCards),
		RunE: func(_ *cobra.Command, args []string) error {
			number, err := cardNumber(args[0])
			if err != nil {
				return err
			}
			s, err := a.ownShop()
			if err != nil {
				return err
			}
			out := render.CardAnswer{Schema: render.CardSchema, Did: "shown", History: history, Why: why}
			if out.Card, err = s.Card(number); err != nil {
				return err
			}
			if _, out.Decision, err = storedDecision(s, out.Card); err != nil {
				return err
			}
			if out.Events, err = s.EventsAt(out.Card.Changes); err != nil {
				return err
			}
			return a.carded(out)
		},
	}
	c.Flags().BoolVar(&why, "why", false, "show the proof of each line with its sources")
	c.Flags().BoolVar(&history, "history", false, "tell everything that happened to it")
	return c
}

func (a *app) cardListCmd() *cobra.Command {
	var all bool
	c := &cobra.Command{
		Use:   "list",
		Short: "List the cards of the units in the shop",
		Args:  cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			out := render.Cards{Schema: render.CardsSchema, Cards: []*shop.Card{}, Standing: render.Standing{}}
			s, err := a.readShop()
			if err != nil {
				return err
			}
			if s != nil {
				cards, err := s.Cards()
				if err != nil {
					return err
				}
				for _, c := range cards {
					if out.Total++; all || c.State == shop.CardOpen {
						out.Cards = append(out.Cards, c)
					}
				}
				if out.Standing, err = standings(s, out.Cards...); err != nil {
					return err
				}
			}
			if a.json {
				return render.JSON(a.out, out)
			}
			return render.CardsText(a.out, out, a.screen())
		},
	}
	c.Flags().BoolVar(&all, "all", false, "those that are closed too")
	return c
}

func (a *app) cardNoteCmd() *cobra.Command {
	var flags cardFlags
	c := &cobra.Command{
		Use:   "note CARD TEXT",
		Short: "Write down what was found on this unit",
		Long: `Note writes down what was found on this one unit; - reads it from standard input.
What other units can have too belongs into a note of the shop: platewright note add`,
		Args:              cobra.MinimumNArgs(2),
		ValidArgsFunction: a.completeArgs(a.completeCards, func(string) []string { return nil }),
		RunE: func(c *cobra.Command, args []string) error {
			text, err := a.noteText(args[1:])
			if err != nil {
				return err
			}
			return a.cardChange(c, args[0], "noted", flags, func(who string) (shop.Event, error) {
				return shop.NewCardEvent(shop.CardNoted, who, shop.TextBody{Text: text})
			})
		},
	}
	flags.add(c)
	return c
}

func (a *app) cardMeasureCmd() *cobra.Command {
	var flags cardFlags
	c := &cobra.Command{
		Use:   "measure CARD NAME=VALUE...",
		Short: "Write down what was measured on this unit",
		Long: `Measure writes down figures with their units. 'coil SITE' and 'seal NAME' must be
of the unit; platewright measure judges them.`,
		Example:           `  platewright card measure 7 'coil P1=5.3 ohm' 'coil P2=5.1 ohm'`,
		Args:              cobra.MinimumNArgs(2),
		ValidArgsFunction: a.completeArgs(a.completeCards, func(string) []string { return nil }),
		RunE: func(c *cobra.Command, args []string) error {
			values, err := measured(args[1:])
			if err != nil {
				return err
			}
			if err := a.checkMeasured(args[0], values); err != nil {
				return err
			}
			return a.cardChange(c, args[0], "measured", flags, func(who string) (shop.Event, error) {
				return shop.NewCardEvent(shop.CardMeasured, who, shop.MeasuredBody{Measured: values})
			})
		},
	}
	flags.add(c)
	return c
}

// decidedCard gives the card of a number as typed, with the question that it was
// decided on last.
func (a *app) decidedCard(text string) (*shop.Card, resolve.Question, error) {
	number, err := cardNumber(text)
	if err != nil {
		return nil, resolve.Question{}, err
	}
	s, err := a.ownShop()
	if err != nil {
		return nil, resolve.Question{}, err
	}
	card, err := s.Card(number)
	if err != nil {
		return nil, resolve.Question{}, err
	}
	q, _, err := storedDecision(s, card)
	return card, q, err
}

// checkMeasured refuses values that cannot be read, and coils and seals that the unit
// of a card has not.
func (a *app) checkMeasured(card string, values []shop.Measured) error {
	c, q, err := a.decidedCard(card)
	if err != nil {
		return err
	}
	b, err := a.bench(q)
	if err != nil {
		return err
	}
	defer b.Close()
	known := func(m shop.Measured, what, name string, names []string) error {
		if slices.ContainsFunc(names, func(n string) bool { return catalog.Fold(n) == catalog.Fold(name) }) {
			return nil
		}
		slices.Sort(names)
		return usagef("%s=%s: the unit of card %d has no %s %s; it has: %s", m.Name, m.Value, c.Number, what, name, strings.Join(slices.Compact(names), ", "))
	}
	for _, m := range values {
		what, name, _ := strings.Cut(m.Name, " ")
		name = strings.TrimSpace(name)
		switch {
		case strings.EqualFold(what, "coil") && name != "":
			if _, err := coil.ParseReading(name, m.Value, 0); err != nil {
				return usagef("%s=%s: %v", m.Name, m.Value, err)
			}
			cands, _, _, err := b.coilCandidates()
			if err != nil {
				return err
			}
			var names []string
			for _, c := range cands {
				for _, site := range c.Sites {
					names = append(names, site.Site)
				}
			}
			if err := known(m, "coil", name, names); err != nil {
				return err
			}
		case strings.EqualFold(what, "seal") && name != "":
			if _, err := measure.Parse(m.Value, measure.Length); err != nil {
				return usagef("%s=%s: %v", m.Name, m.Value, err)
			}
			_, groups, _, err := b.seals("")
			if err != nil {
				return err
			}
			var names []string
			for _, g := range groups {
				for _, n := range g {
					names = append(names, n.Seal)
				}
			}
			if err := known(m, "seal", name, names); err != nil {
				return err
			}
		case !anyQuantity(m.Value):
			return usagef("%s=%s: no figure with a unit, such as 5.3 ohm or 31.5 mm; what was seen is written down with: platewright card note %d TEXT", m.Name, m.Value, c.Number)
		}
	}
	return nil
}

// anyQuantity tells whether a text is a figure with a unit of any kind.
func anyQuantity(text string) bool {
	for k := measure.Resistance; k <= measure.Ratio; k++ {
		if _, err := measure.Parse(text, k); err == nil {
			return true
		}
	}
	return false
}

func (a *app) cardCloseCmd() *cobra.Command {
	return a.cardEndCmd("close CARD", "Close a card: the unit has left", "closed", shop.CardClosed)
}

func (a *app) cardReopenCmd() *cobra.Command {
	return a.cardEndCmd("reopen CARD", "Open a closed card again", "reopened", shop.CardReopened)
}

func (a *app) cardEndCmd(use, short, did string, kind shop.Kind) *cobra.Command {
	var flags cardFlags
	var because string
	var anyway bool
	c := &cobra.Command{
		Use:               use,
		Short:             short,
		Args:              cobra.ExactArgs(1),
		ValidArgsFunction: a.completeArgs(a.completeCards),
		RunE: func(c *cobra.Command, args []string) error {
			if kind == shop.CardClosed && !anyway {
				s, err := a.ownShop()
				if err != nil {
					return err
				}
				if flags.check, err = settled(s, args[0]); err != nil {
					return err
				}
			}
			return a.cardChange(c, args[0], did, flags, func(who string) (shop.Event, error) {
				return shop.NewCardEvent(kind, who, shop.BecauseBody{Because: because})
			})
		},
	}
	flags.add(c)
	c.Flags().StringVar(&because, "because", "", "`TEXT`: why")
	if kind == shop.CardClosed {
		c.Flags().BoolVar(&anyway, "anyway", false, "close it although an order of it is not complete")
	}
	return c
}

// settled makes the check that nothing of a card's orders is outstanding. How they
// stand is read before the change; whether they are complete, within it.
func settled(s *store.Shop, text string) (func(*shop.Card) error, error) {
	number, err := cardNumber(text)
	if err != nil {
		return nil, err
	}
	card, err := s.Card(number)
	if err != nil {
		return nil, err
	}
	stand, err := standings(s, card)
	if err != nil {
		return nil, err
	}
	return func(now *shop.Card) error {
		var open []string
		for _, o := range now.Orders {
			if o.Complete {
				continue
			}
			how := "placed just now"
			if x, ok := stand[o.Order]; ok {
				how = render.StandingText(&x)
			}
			open = append(open, fmt.Sprintf("%s to %s (%s)", o.Order, o.Supplier, how))
		}
		if len(open) == 0 || now.State != shop.CardOpen {
			return nil
		}
		return &shop.RefusedError{What: fmt.Sprintf("card %d has orders that are not complete: %s", number, strings.Join(open, "; ")),
			Mend: "settle them with platewright receive ORDER, since nothing is received on a closed card; or close it with --anyway"}
	}, nil
}

func (a *app) cardAffectedCmd() *cobra.Command {
	return &cobra.Command{
		Use:   "affected",
		Short: "List the cards and orders that would be decided differently now",
		Long: `Affected decides each open card, and each card with an order that is not complete,
again on the catalogue and the notes as they are now, and lists those that come out
differently, with the reasons. Nothing is changed: platewright card edit CARD takes
the new decision over.`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			cat, err := a.open()
			if err != nil {
				return err
			}
			defer cat.Close()
			cat.tells()
			out := render.CardsAffected{Schema: render.CardsAffectedSchema, Edition: cat.edition, Cards: []render.AffectedCard{}}
			if cat.notes != nil {
				cards, err := cat.notes.Cards()
				if err != nil {
					return err
				}
				r := resolve.New(cat, cat.edition)
				p := a.progress("deciding again")
				defer p.end()
				for _, card := range cards {
					if err := c.Context().Err(); err != nil {
						return err
					}
					waits := slices.ContainsFunc(card.Orders, func(o shop.Order) bool { return !o.Complete })
					if card.State != shop.CardOpen && !waits {
						continue
					}
					out.Checked++
					p.say("card %d", card.Number)
					x, err := affected(cat.notes, r, card)
					if err != nil {
						return err
					}
					if x != nil {
						out.Cards = append(out.Cards, *x)
					}
				}
				p.end()
			}
			if a.json {
				return render.JSON(a.out, out)
			}
			return render.CardsAffectedText(a.out, out, a.screen())
		},
	}
}

// affected decides a card again, and gives what comes out differently, nil for
// nothing.
func affected(s *store.Shop, r *resolve.Resolver, card *shop.Card) (*render.AffectedCard, error) {
	q, before, err := storedDecision(s, card)
	if err != nil {
		return nil, err
	}
	stand, err := standings(s, card)
	if err != nil {
		return nil, err
	}
	x := &render.AffectedCard{Card: card, Standing: stand, Difference: resolve.Difference{Assemblies: []resolve.AssemblyDiffers{}, Roles: []resolve.RoleDiffers{}}, Orders: []render.AffectedOrder{}}
	after, err := r.Decide(q, resolve.Options{NoNextCheck: true, NoLookAlikes: true})
	var cannot *resolve.QuestionError
	if errors.As(err, &cannot) {
		x.Cannot = err.Error()
		return x, nil
	}
	if err != nil {
		return nil, err
	}
	x.Difference = resolve.Differ(before, after)
	for _, o := range card.Orders {
		if o.Complete {
			continue
		}
		var lines []render.AffectedLine
		for _, l := range o.Lines {
			now, _ := resolve.StandOf(after, l.Role, l.Position)
			if l.Held && !now.Safe {
				continue // it was held when it was ordered, and still is
			}
			if !order.Stands(after, l.Role, l.Position, l.Part) {
				lines = append(lines, render.AffectedLine{Ordered: l, Now: now})
			}
		}
		if len(lines) > 0 {
			x.Orders = append(x.Orders, render.AffectedOrder{Order: o.Order, Supplier: o.Supplier, Standing: stand[o.Order], Lines: lines})
		}
	}
	if !x.Difference.Any() && len(x.Orders) == 0 {
		return nil, nil
	}
	return x, nil
}
