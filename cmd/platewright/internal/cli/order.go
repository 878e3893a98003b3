package cli

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/shopspring/decimal"
	"github.com/spf13/cobra"
	"golang.org/x/text/currency"

	"platewright/catalog"
	"platewright/catalog/shop"
	"platewright/catalog/store"
	"platewright/cmd/platewright/internal/render"
	"platewright/resolve"
	"platewright/resolve/goods"
	"platewright/resolve/order"
	"platewright/resolve/purchase"
)

// orderFlags are what an order is planned by.
type orderFlags struct {
	unit        unitFlags
	or          []string
	aim         string
	by          string
	limit       float64
	now         string
	holidays    []string
	rates       []string
	currency    string
	without     []string
	skip        []string
	recommended bool
	preferred   bool
	evenHeld    []string
	because     []string
	csv         bool

	place    bool
	again    bool
	card     int
	revision int
	who      string
	sheets   string
}

func (a *app) orderCmd() *cobra.Command {
	var f orderFlags
	c := &cobra.Command{
		Use:     "order [PLATE]",
		GroupID: "shop",
		Short:   "Plan what to buy from whom for a unit, and place the order",
		Long: `Order plans what to buy for the work on a unit: only what is safe to order, less
what lies on the shelf, in kits or singles and whole packs, from the suppliers of the
catalogue, with freight, least orders, stock and days. The plan comes with its proof:
that nothing better exists, or how far from that it was left when the time was up.
PLATE and the flags of the unit are those of: platewright resolve

--place records the orders, one for each supplier, on the card of the unit (--card, or
a new one), and --sheets DIR writes their sheets and the work sheet for the bench.
Whatever is held is left out, unless --even-held names it and --because says why.

--or SCOPE plans a second scope of work beside the first, such as the whole set
beside one failed piece, with what each leaves at risk.

The exit code is 0 if all that the work requires is on the plan, 11 if something of it
is held or cannot be had.`,
		Example: `  platewright order 'PLATE' --work SCOPE
  platewright order 'PLATE' --work SCOPE --aim earliest --by 2026-12-01
  platewright order 'PLATE' --work SCOPE --or SCOPE
  platewright order --card 7 --place --sheets DIR`,
		Args:              cobra.MaximumNArgs(1),
		ValidArgsFunction: a.completeArgs(a.completePlates),
		RunE:              func(c *cobra.Command, args []string) error { return a.order(c, args, &f) },
	}
	f.unit.add(a, c, true)
	s := c.Flags()
	s.StringArrayVar(&f.or, "or", nil, "plan this `SCOPE` of work beside that of --work (repeat for several scopes together)")
	s.StringVar(&f.aim, "aim", string(purchase.LeastCost), "`AIM` of the plan: least-cost, earliest or fewest-deliveries")
	s.StringVar(&f.by, "by", "", "nothing may arrive after this `DATE`")
	s.Float64Var(&f.limit, "limit", 20, "stop searching after so many `SECONDS`")
	s.StringVar(&f.now, "now", "", "reckon as if it were this `TIME` at the shop: 2026-11-25T14:00 (default: now)")
	s.StringSliceVar(&f.holidays, "holiday", nil, "a `DATE` on which nobody works (repeat)")
	s.StringSliceVar(&f.rates, "rate", nil, "what one unit of a currency costs in that of the plan, such as `USD=0.92` (repeat)")
	s.StringVar(&f.currency, "currency", "", "`CODE` of the currency of the totals (default: that of most suppliers)")
	s.StringArrayVar(&f.without, "without", nil, "order nothing from this `SUPPLIER` (repeat)")
	s.StringArrayVar(&f.skip, "skip", nil, "leave this `ROLE` out (repeat)")
	s.BoolVar(&f.recommended, "recommended", false, "order what the work recommends, too")
	s.BoolVar(&f.preferred, "preferred", false, "take the first choice of each line, whatever it costs")
	s.StringArrayVar(&f.evenHeld, "even-held", nil, "order a held line all the same: `ROLE[@POSITION][=PART]`, the role by code or name, with the part where the role is not settled (repeat)")
	s.StringArrayVar(&f.because, "because", nil, "`TEXT`: why a held line is ordered (once for all, or once for each --even-held)")
	s.BoolVar(&f.csv, "csv", false, "write the lines to order as CSV")
	s.BoolVar(&f.place, "place", false, "record the orders")
	s.BoolVar(&f.again, "again", false, "order once more what a card of the unit has ordered already, whatever open cards take from the shelf")
	s.IntVar(&f.card, "card", 0, "the `CARD` of the unit, in the place of PLATE")
	s.IntVar(&f.revision, "revision", 0, revisionHelp)
	s.StringVar(&f.who, "who", "", whoHelp)
	s.StringVar(&f.sheets, "sheets", "", "write the sheets of the orders, and the work sheet, into this `folder`")
	a.completeFlag(c, "or", a.completeWork)
	a.completeFlag(c, "skip", a.completeRoles)
	a.completeFlag(c, "even-held", a.completeRoles)
	a.completeFlag(c, "card", a.completeCards)
	a.completeFlag(c, "aim", func(string) []string {
		return []string{string(purchase.LeastCost), string(purchase.Earliest), string(purchase.FewestDeliveries)}
	})
	suppliers := func(text string) []string {
		return a.completions(func(cat resolve.Catalogue, add func(string, string) bool) error {
			return starting(cat, catalog.TSuppliers, text, func(r *catalog.Supplier) bool { return add(r.Supplier, r.Name) })
		})
	}
	a.completeFlag(c, "without", suppliers)
	for _, name := range []string{"by", "limit", "now", "holiday", "rate", "currency", "because", "who", "revision"} {
		a.completeFlag(c, name, func(string) []string { return nil })
	}
	c.AddCommand(a.orderListCmd(), a.orderShowCmd())
	return c
}

// ask puts the flags into what is asked of a plan, all but the decision.
func (a *app) orderAsk(f *orderFlags) (order.Ask, error) {
	ask := order.Ask{Aim: purchase.Aim(f.aim), Currency: strings.ToUpper(f.currency), Without: f.without, Skip: f.skip, Recommended: f.recommended, Preferred: f.preferred, Explain: true}
	if !slices.Contains([]purchase.Aim{purchase.LeastCost, purchase.Earliest, purchase.FewestDeliveries}, ask.Aim) {
		return ask, usagef("--aim %q: use least-cost, earliest or fewest-deliveries", f.aim)
	}
	if _, err := currency.ParseISO(ask.Currency); ask.Currency != "" && err != nil {
		return ask, usagef("--currency %q is not a known currency: give its code of ISO 4217, such as EUR", f.currency)
	}
	oneDay := func(flag, s string) (catalog.Date, error) {
		d, err := catalog.ParseDate(s)
		if err == nil && len(d.String()) != len("2026-11-25") {
			err = errors.New("name the day, such as 2026-11-25")
		}
		if err != nil {
			return 0, usagef("--%s %q: %v", flag, s, err)
		}
		return d, nil
	}
	var err error
	if f.by != "" {
		if ask.By, err = oneDay("by", f.by); err != nil {
			return ask, err
		}
	}
	for _, h := range f.holidays {
		d, err := oneDay("holiday", strings.TrimSpace(h))
		if err != nil {
			return ask, err
		}
		ask.Calendar.Holidays = append(ask.Calendar.Holidays, d)
	}
	for _, r := range f.rates {
		code, text, ok := strings.Cut(r, "=")
		rate, err := decimal.NewFromString(strings.TrimSpace(text))
		if !ok || err != nil {
			return ask, usagef("--rate %q: write CURRENCY=RATE, such as USD=0.92", r)
		}
		ask.Rates = append(ask.Rates, purchase.Rate{Currency: strings.ToUpper(strings.TrimSpace(code)), Rate: rate})
	}
	if f.limit <= 0 {
		return ask, usagef("--limit %v: give the seconds that the search may take", f.limit)
	}
	switch {
	case f.now == "":
		if ask.Moment, err = a.now(); err != nil {
			return ask, err
		}
		if a.env("SOURCE_DATE_EPOCH") == "" {
			ask.Moment = ask.Moment.Local() // cut-off times are those of the clock on the wall
		}
	default:
		if ask.Moment, err = time.Parse("2006-01-02T15:04", f.now); err != nil {
			return ask, usagef("--now %q: write day and time, such as 2026-11-25T14:00", f.now)
		}
	}
	if ask.By != 0 && ask.By < catalog.Date(ask.Moment.Year()*10000+int(ask.Moment.Month())*100+ask.Moment.Day()) {
		return ask, usagef("--by %s: that day has passed", f.by)
	}
	return ask, a.orderEvenHeld(f, &ask)
}

func (a *app) orderEvenHeld(f *orderFlags, ask *order.Ask) error {
	if len(f.evenHeld) == 0 {
		if len(f.because) > 0 {
			return usagef("--because without --even-held: there is nothing that needs a reason")
		}
		return nil
	}
	if len(f.because) == 0 {
		return usagef("--even-held needs a reason: say it with --because TEXT")
	}
	if len(f.because) > 1 && len(f.because) != len(f.evenHeld) {
		return usagef("%d reasons for %d held lines: give --because once for all, or once for each", len(f.because), len(f.evenHeld))
	}
	who, err := a.who(f.who)
	if err != nil {
		return err
	}
	now, err := a.now()
	if err != nil {
		return err
	}
	for i, s := range f.evenHeld {
		x := order.EvenHeld{Who: who, At: now.UTC().Format(time.RFC3339), Because: strings.TrimSpace(f.because[min(i, len(f.because)-1)])}
		name, part, _ := strings.Cut(s, "=")
		role, position, _ := strings.Cut(name, "@")
		x.Role, x.Position, x.Part = strings.TrimSpace(role), strings.TrimSpace(position), catalog.PartNo(strings.TrimSpace(part))
		if err := catalog.CheckText(x.Because); x.Because == "" || err != nil {
			return usagef("--because %q: say in plain text why the held line is ordered", x.Because)
		}
		ask.EvenHeld = append(ask.EvenHeld, x)
	}
	return nil
}

// orderQuestion gives the unit of an order: from the arguments, or from a card,
// with the number of events that the card had.
func (a *app) orderQuestion(c *cobra.Command, args []string, f *orderFlags) (resolve.Question, *shop.Card, *resolve.Decision, error) {
	if f.card == 0 {
		q, err := f.unit.question(args)
		if err == nil && knowsNothing(&q) {
			err = &usageError{"which unit? give its PLATE as read, or --field or --label, or the --card it has", c.CommandPath()}
		}
		return q, nil, nil, err
	}
	for _, name := range []string{"field", "label", "saw", "vehicle", "built", "serial", "work", "role", "doubt", "cannot-see"} {
		if c.Flags().Changed(name) || len(args) > 0 {
			return resolve.Question{}, nil, nil, usagef("--card names the unit and its work; change what it says with: platewright card edit %d", f.card)
		}
	}
	s, err := a.ownShop()
	if err != nil {
		return resolve.Question{}, nil, nil, err
	}
	card, err := s.Card(f.card)
	if err != nil {
		return resolve.Question{}, nil, nil, err
	}
	q, d, err := storedDecision(s, card)
	return q, card, d, err
}

func (a *app) order(c *cobra.Command, args []string, f *orderFlags) error {
	switch {
	case f.csv && a.json:
		return &usageError{"--csv and --json: choose one", c.CommandPath()}
	case len(f.or) > 0 && (f.place || f.sheets != "" || f.csv):
		return usagef("--or compares two scopes of work; place one of them by itself")
	}
	ask, err := a.orderAsk(f)
	if err != nil {
		return err
	}
	q, card, before, err := a.orderQuestion(c, args, f)
	if err != nil {
		return err
	}
	if len(q.Work) == 0 && len(q.Roles) == 0 {
		return &usageError{"what is done? name the work with --work SCOPE, or single roles with --role", c.CommandPath()}
	}
	cat, err := a.open()
	if err != nil {
		return err
	}
	defer cat.Close()
	body, d, err := decide(cat, q, "")
	if err != nil {
		return err
	}
	if before != nil {
		if x := resolve.Differ(before, d); x.Any() {
			return &shop.RefusedError{What: fmt.Sprintf("card %d would be decided differently now than it was", f.card), Mend: fmt.Sprintf("look at: platewright card affected, and take the new decision over with: platewright card edit %d", f.card)}
		}
	}
	if !f.again {
		if ask.Reserved, err = a.reserved(f); err != nil {
			return err
		}
	}
	ctx, cancel := context.WithTimeout(c.Context(), time.Duration(f.limit*float64(time.Second)))
	defer cancel()
	ends := a.planning(f.limit)
	defer ends()
	out := render.Order{Schema: render.OrderSchema, Placed: []order.Sheet{}, Files: []string{}}
	option := func(d *resolve.Decision) error {
		ask.Decision = d
		plan, err := order.Propose(ctx, cat, ask)
		out.Options = append(out.Options, render.OrderOption{Plan: plan, Decision: d, Leaves: []order.Risk{}})
		return err
	}
	if err := option(d); err != nil {
		return a.orderError(err)
	}
	if len(f.or) > 0 {
		second := q
		second.Work, second.Roles = f.or, nil
		_, other, err := decide(cat, second, "")
		if err != nil {
			return err
		}
		if err := option(other); err != nil {
			return a.orderError(err)
		}
		one, two := &out.Options[0], &out.Options[1]
		if one.Leaves, err = order.Leaves(cat, one.Plan, two.Plan, d); err != nil {
			return err
		}
		if two.Leaves, err = order.Leaves(cat, two.Plan, one.Plan, other); err != nil {
			return err
		}
	}
	ends()
	if err := c.Context().Err(); err != nil {
		return err
	}
	plan := out.Options[0].Plan
	sheets := plan.Sheets()
	if f.place {
		if sheets, out.Card, err = a.placeOrders(c.Context(), f, card, body, d, ask.Reserved, plan); err != nil {
			return err
		}
		out.Placed = sheets
	}
	if f.sheets != "" {
		if out.Files, err = writeSheets(f.sheets, sheets, plan, d); err != nil {
			if f.place && len(sheets) > 0 {
				err = hint(err, "The orders are recorded all the same; write their sheets with: platewright order show %s --sheets DIR", sheets[0].Number)
			}
			return err
		}
	}
	switch {
	case a.json:
		err = render.JSON(a.out, out)
	case f.csv:
		text := []byte(render.OrderHeading)
		for i, o := range plan.Orders {
			text = render.AppendOrderCSV(text, sheets[i].Number, o)
		}
		_, err = a.out.Write(text)
	default:
		err = render.OrderText(a.out, out, a.screen())
	}
	if err != nil {
		return err
	}
	for _, o := range out.Options {
		if unfinished(o.Plan) {
			return answered(exitNotSettled)
		}
	}
	return nil
}

// planning tells how long a plan has been searched for, until the function that it
// gives is called.
func (a *app) planning(limit float64) (end func()) {
	p := a.progress("planning")
	done := make(chan struct{})
	var talk sync.WaitGroup
	talk.Go(func() {
		tick := time.NewTicker(progressEvery)
		defer tick.Stop()
		for {
			select {
			case <-done:
				p.end()
				return
			case <-tick.C:
				p.say("%.0f of at most %.0f seconds", time.Since(p.from).Seconds(), limit)
			}
		}
	})
	return sync.OnceFunc(func() {
		close(done)
		talk.Wait()
	})
}

// unfinished tells whether something that the work requires is not on a plan.
func unfinished(p *order.Proposal) bool {
	return !p.Found || !p.Complete || slices.ContainsFunc(p.Held, func(h resolve.HeldLine) bool { return h.Need != catalog.NeedRecommended }) || len(p.Lines) == 0
}

// orderError says what a person can do where a plan cannot be made.
func (a *app) orderError(err error) error {
	var bad *purchase.InputError
	if errors.As(err, &bad) && slices.ContainsFunc(bad.Findings, func(f purchase.Finding) bool { return f.Code == purchase.NoRate }) {
		return hint(err, "Give the rate with --rate CURRENCY=RATE, or leave the supplier out with --without SUPPLIER.")
	}
	return err
}

// placeOrders records the orders of a plan on the card of the unit, in one step,
// and gives their sheets with the numbers that they got.
func (a *app) placeOrders(ctx context.Context, f *orderFlags, card *shop.Card, body shop.DecidedBody, d *resolve.Decision, reserved []order.Reserved, plan *order.Proposal) ([]order.Sheet, int, error) {
	if len(plan.Orders) == 0 {
		return nil, 0, usagef("there is nothing to place: no line that is safe to order has to be bought")
	}
	who, err := a.who(f.who)
	if err != nil {
		return nil, 0, err
	}
	now, err := a.now()
	if err != nil {
		return nil, 0, err
	}
	text, err := json.Marshal(plan)
	if err != nil {
		return nil, 0, err
	}
	sheets := plan.Sheets()
	number := f.card
	_, err = a.changeShop(ctx, func(tx *store.ShopTx) error {
		if !f.again {
			now, err := reservedIn(tx, f)
			if err != nil {
				return err
			}
			if !reflect.DeepEqual(now, reserved) {
				return &shop.RefusedError{What: "what other units take from the shelf has changed while this was planned", Mend: "plan it anew: give the same command again"}
			}
		}
		had := 0
		add := func(kind shop.Kind, body any) error {
			e, err := shop.NewCardEvent(kind, who, body)
			if err == nil {
				e.Card = number
				_, err = tx.Append(e)
			}
			return err
		}
		if card == nil {
			number = tx.NextCard()
			if !f.again {
				if err := orderedElsewhere(tx, body, d, plan); err != nil {
					return err
				}
			}
			if err := add(shop.CardOpened, body); err != nil {
				return err
			}
		} else {
			now, err := tx.Card(number)
			if err != nil {
				return err
			}
			// Whoever has named no revision has seen the one that the plan was made on.
			if err := seen(tx, "card", fmt.Sprint(number), cmp.Or(f.revision, card.Revision), now.Revision, now.Changes); err != nil {
				return err
			}
			if err := orderedBefore(now, plan, f.again); err != nil {
				return err
			}
			had = len(now.Orders)
		}
		if err := add(shop.CardPlanned, shop.PlannedBody{Plan: text}); err != nil {
			return err
		}
		for i := range sheets {
			s := &sheets[i]
			s.Number, s.Card, s.Placed, s.By = orderNumber(number, had+i+1), number, now.UTC().Format(time.RFC3339), who
			detail, err := json.Marshal(s)
			if err != nil {
				return err
			}
			b := shop.OrderedBody{Order: s.Number, Supplier: s.Order.Supplier, Lines: []shop.Ordered{}, Detail: detail}
			for _, t := range plan.Taken(s.Order.Supplier) {
				b.Lines = append(b.Lines, shop.Ordered{Role: t.Role, Position: t.Position, Part: t.Part, Qty: t.Qty, Litres: t.Litres, Held: t.Held})
			}
			for _, h := range s.Held() {
				b.Held = append(b.Held, shop.HeldBody{Role: h.Role, Position: h.Position, Because: h.Because})
			}
			if err := add(shop.CardOrdered, b); err != nil {
				return err
			}
		}
		return nil
	})
	return sheets, number, err
}

// orderedBefore refuses to order for a card what it has ordered before, unless it
// is wanted again.
func orderedBefore(card *shop.Card, plan *order.Proposal, again bool) error {
	if again {
		return nil
	}
	for _, o := range card.Orders {
		for _, l := range o.Lines {
			for _, x := range plan.Orders {
				for _, t := range plan.Taken(x.Supplier) {
					if catalog.Fold(t.Role) == catalog.Fold(l.Role) && catalog.FoldValue(t.Position) == catalog.FoldValue(l.Position) {
						return &shop.RefusedError{What: fmt.Sprintf("the order %s of card %d has %s for %s already", o.Order, card.Number, l.Part, l.Role),
							Mend: fmt.Sprintf("leave it out with --skip %s, or order it once more with --again", l.Role)}
					}
				}
			}
		}
	}
	return nil
}

// shopCards reads cards with what happened to them.
type shopCards interface {
	Cards() ([]*shop.Card, error)
	EventsAt(numbers []int) ([]shop.Event, error)
}

// reserved gives what the open cards take from the shelf, besides what is planned
// anew for the card of the order.
func (a *app) reserved(f *orderFlags) ([]order.Reserved, error) {
	s, err := a.readShop()
	if err != nil || s == nil {
		return nil, err
	}
	return reservedIn(s, f)
}

func reservedIn(s shopCards, f *orderFlags) ([]order.Reserved, error) {
	cards, err := s.Cards()
	if err != nil {
		return nil, err
	}
	var out []order.Reserved
	for _, c := range cards {
		if c.State != shop.CardOpen || c.Planned == 0 {
			continue
		}
		es, err := s.EventsAt(c.Changes)
		if err != nil {
			return nil, err
		}
		var plans []*order.Proposal
		for _, e := range es {
			if e.Kind != shop.CardPlanned {
				continue
			}
			b, err := shop.Body[shop.PlannedBody](e)
			p := &order.Proposal{}
			if err == nil {
				err = json.Unmarshal(b.Plan, p)
			}
			if err != nil {
				return nil, fmt.Errorf("the plan of card %d cannot be read: %w", c.Number, err)
			}
			plans = append(plans, p)
		}
		out = append(out, order.Reserves(c.Number, plans, func(role string) bool {
			// What its own card takes for other roles stays taken.
			return c.Number == f.card && !slices.ContainsFunc(f.skip, func(s string) bool { return catalog.Fold(s) == catalog.Fold(role) })
		})...)
	}
	return out, nil
}

// orderedElsewhere refuses to order for a unit on a new card what an open card of
// the same unit has ordered.
func orderedElsewhere(tx shopCards, body shop.DecidedBody, d *resolve.Decision, plan *order.Proposal) error {
	cards, err := tx.Cards()
	if err != nil {
		return err
	}
	for _, c := range cards {
		if c.State != shop.CardOpen || len(c.Orders) == 0 {
			continue
		}
		es, err := tx.EventsAt([]int{c.Decided})
		if err != nil {
			return err
		}
		b, err := shop.Body[shop.DecidedBody](es[0])
		before := &resolve.Decision{}
		if err == nil {
			err = json.Unmarshal(b.Decision, before)
		}
		if err != nil {
			return fmt.Errorf("card %d: what was decided cannot be read: %w", c.Number, err)
		}
		if plateKey(b, before) != plateKey(body, d) {
			continue
		}
		var again *shop.RefusedError
		if err := orderedBefore(c, plan, false); errors.As(err, &again) {
			again.Mend = fmt.Sprintf("go on with that card: --card %d, or order it once more with --again", c.Number)
			return again
		} else if err != nil {
			return err
		}
	}
	return nil
}

// plateKey is what was read of a unit in its canonical form: the plate, or all that
// is known where none was read.
func plateKey(b shop.DecidedBody, d *resolve.Decision) string {
	if d.Question.Plate != "" && len(d.Reading) > 0 {
		return d.Reading[0].Text
	}
	return catalog.Fold(b.Unit)
}

// orderNumber makes the number of an order from that of its card: with a letter in
// front, so that no spreadsheet takes it for a number or a date.
func orderNumber(card, n int) string { return fmt.Sprintf("P%04d-%d", card, n) }

// writeSheets writes the sheets of orders and the work sheet into a folder. No file
// that is there is written over.
func writeSheets(dir string, sheets []order.Sheet, plan *order.Proposal, d *resolve.Decision) ([]string, error) {
	files, err := render.SheetFiles(sheets, plan, d)
	if err != nil {
		return nil, err
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, err
	}
	for _, f := range files {
		path := filepath.Join(dir, f.Name)
		if _, err := os.Lstat(path); err == nil {
			return nil, usagef("%s is there already: name another folder for --sheets, or move it away", path)
		} else if !errors.Is(err, os.ErrNotExist) {
			return nil, err
		}
	}
	var out []string
	for _, f := range files {
		path := filepath.Join(dir, f.Name)
		w, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
		if err != nil {
			return out, err
		}
		_, err = w.Write(f.Text)
		if err = errors.Join(err, w.Close()); err != nil {
			return out, err
		}
		out = append(out, path)
	}
	return out, nil
}

// storedOrders gives the orders on record, in the order of their cards.
func (a *app) storedOrders() ([]render.OrderRecord, *store.Shop, error) {
	out := []render.OrderRecord{}
	s, err := a.readShop()
	if err != nil || s == nil {
		return out, s, err
	}
	cards, err := s.Cards()
	if err != nil {
		return nil, nil, err
	}
	for _, c := range cards {
		for _, o := range c.Orders {
			es, err := s.EventsAt([]int{o.Event})
			if err != nil {
				return nil, nil, err
			}
			b, err := shop.Body[shop.OrderedBody](es[0])
			if err != nil {
				return nil, nil, err
			}
			placed, done, err := recorded(s, c, o)
			if err != nil {
				return nil, nil, err
			}
			r := render.OrderRecord{Receipts: len(o.Receipts), Complete: o.Complete, Standing: goods.StandingOf(placed, done, o.Complete)}
			if err := json.Unmarshal(b.Detail, &r.Sheet); err != nil {
				return nil, nil, fmt.Errorf("the order %s of card %d cannot be read: %w", o.Order, c.Number, err)
			}
			out = append(out, r)
		}
	}
	return out, s, nil
}

func (a *app) orderListCmd() *cobra.Command {
	var all bool
	c := &cobra.Command{
		Use:   "list",
		Short: "List the orders that have not come",
		Args:  cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			rs, _, err := a.storedOrders()
			if err != nil {
				return err
			}
			out := render.Orders{Schema: render.OrdersSchema, Orders: []render.OrderRecord{}}
			for _, r := range rs {
				if all || !r.Complete {
					out.Orders = append(out.Orders, r)
				}
			}
			if a.json {
				return render.JSON(a.out, out)
			}
			return render.OrdersText(a.out, out, a.screen())
		},
	}
	c.Flags().BoolVar(&all, "all", false, "those that are complete too")
	return c
}

func (a *app) completeOrders(string) []string {
	rs, _, err := a.storedOrders()
	if err != nil {
		return nil
	}
	var out []string
	for _, r := range rs {
		if len(out) < maxCompletions {
			out = append(out, r.Sheet.Number+"\t"+r.Sheet.Order.Name)
		}
	}
	return out
}

func (a *app) orderShowCmd() *cobra.Command {
	var sheets string
	var csv bool
	c := &cobra.Command{
		Use:               "show ORDER",
		Short:             "Show an order on record, or write its sheets again",
		Args:              cobra.ExactArgs(1),
		ValidArgsFunction: a.completeArgs(a.completeOrders),
		RunE: func(c *cobra.Command, args []string) error {
			if csv && a.json {
				return &usageError{"--csv and --json: choose one", c.CommandPath()}
			}
			rs, s, err := a.storedOrders()
			if err != nil {
				return err
			}
			i := slices.IndexFunc(rs, func(r render.OrderRecord) bool { return catalog.Fold(r.Sheet.Number) == catalog.Fold(args[0]) })
			if i < 0 {
				return &shop.UnknownError{What: "order", Name: args[0], Mend: "platewright order list --all names them"}
			}
			sheet := rs[i].Sheet
			if sheets != "" {
				plan, d, err := a.orderedPlan(s, sheet.Card, sheet.Number)
				if err != nil {
					return err
				}
				files, err := writeSheets(sheets, []order.Sheet{sheet}, plan, d)
				if err != nil {
					return err
				}
				for _, f := range files {
					fmt.Fprintln(a.err, "written: "+f)
				}
			}
			switch {
			case a.json:
				return render.JSON(a.out, render.Orders{Schema: render.OrdersSchema, Orders: rs[i : i+1]})
			case csv:
				_, err = a.out.Write(render.AppendOrderCSV([]byte(render.OrderHeading), sheet.Number, sheet.Order))
				return err
			}
			return render.SheetText(a.out, sheet, a.screen())
		},
	}
	c.Flags().StringVar(&sheets, "sheets", "", "write its sheets, and the work sheet, into this `folder`")
	c.Flags().BoolVar(&csv, "csv", false, "write its lines as CSV")
	return c
}

// orderedPlan gives the plan by which an order was placed, and the decision that
// stood then.
func (a *app) orderedPlan(s *store.Shop, card int, number string) (*order.Proposal, *resolve.Decision, error) {
	c, err := s.Card(card)
	if err != nil {
		return nil, nil, err
	}
	es, err := s.EventsAt(c.Changes)
	if err != nil {
		return nil, nil, err
	}
	plan, d := &order.Proposal{}, &resolve.Decision{}
	for _, e := range es {
		switch e.Kind {
		case shop.CardOpened, shop.CardDecided:
			b, err := shop.Body[shop.DecidedBody](e)
			if err == nil {
				*d = resolve.Decision{}
				err = json.Unmarshal(b.Decision, d)
			}
			if err != nil {
				return nil, nil, err
			}
		case shop.CardPlanned:
			b, err := shop.Body[shop.PlannedBody](e)
			if err == nil {
				*plan = order.Proposal{}
				err = json.Unmarshal(b.Plan, plan)
			}
			if err != nil {
				return nil, nil, err
			}
		case shop.CardOrdered:
			b, err := shop.Body[shop.OrderedBody](e)
			if err != nil {
				return nil, nil, err
			}
			if b.Order == number {
				return plan, d, nil
			}
		}
	}
	return nil, nil, &shop.UnknownError{What: "order", Name: number, Mend: "platewright order list --all names them"}
}
