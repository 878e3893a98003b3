package render

import (
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/shopspring/decimal"
	"golang.org/x/text/currency"

	"platewright/catalog"
	"platewright/resolve"
	"platewright/resolve/goods"
	"platewright/resolve/order"
	"platewright/resolve/purchase"
)

// OrderSchema names the form of [Order] as JSON.
const OrderSchema = "platewright/order/1"

// Order is the answer to what to order for a unit.
type Order struct {
	Schema  string        `json:"schema"`
	Options []OrderOption `json:"options"` // one, or two scopes of work side by side
	Card    int           `json:"card,omitempty"`
	Placed  []order.Sheet `json:"placed"` // the orders recorded
	Files   []string      `json:"files"`  // sheets written
}

// OrderOption is one plan.
type OrderOption struct {
	Plan     *order.Proposal   `json:"plan"`
	Decision *resolve.Decision `json:"-"`      // on which the plan was made
	Leaves   []order.Risk      `json:"leaves"` // what it leaves as it is and the other one renews
}

// OrdersSchema names the form of [Orders] as JSON.
const OrdersSchema = "platewright/orders/1"

// Orders are orders on record.
type Orders struct {
	Schema string        `json:"schema"`
	Orders []OrderRecord `json:"orders"`
}

// OrderRecord is an order on record.
type OrderRecord struct {
	Sheet    order.Sheet    `json:"sheet"`
	Receipts int            `json:"receipts"` // how often something of it came
	Complete bool           `json:"complete"` // all of it is here
	Standing goods.Standing `json:"standing"` // what is here of it
}

// money writes an amount as it is charged: with the places of its currency, more
// where the amount has more.
func money(d decimal.Decimal, code string) string {
	places := int32(2)
	if u, err := currency.ParseISO(code); err == nil {
		n, _ := currency.Standard.Rounding(u)
		places = int32(n)
	}
	for places < 6 && !d.Truncate(places).Equal(d) {
		places++
	}
	return d.StringFixed(places)
}

func charged(d decimal.Decimal, code string) string { return money(d, code) + string(glue) + code }

// dayText writes an ISO 8601 day with the day of the week.
func dayText(iso string) string {
	t, err := time.Parse("2006-01-02", iso)
	if err != nil {
		return iso
	}
	return t.Format("Mon") + string(glue) + iso
}

func much(a order.Amount) string {
	if a.Litres.Known {
		return a.Litres.String() + string(glue) + "l of " + glued(string(a.Part))
	}
	return strconv.Itoa(a.Qty) + string(glue) + "×" + string(glue) + glued(string(a.Part))
}

// packText says what a pack holds, "" for one piece.
func packText(l order.OrderLine) string {
	switch {
	case l.PackOf.Known:
		return l.PackOf.String() + " l"
	case l.Pack > 1:
		return strconv.Itoa(l.Pack) + " pieces"
	}
	return ""
}

// onlyFillsUp names what nothing needs.
const onlyFillsUp = "it only fills the order up"

func forText(fs []order.For) string {
	var out []string
	for _, f := range fs {
		s := f.Name
		if f.Consumable != "" {
			s = "used up in the work"
		}
		s += tail(", ", f.Position)
		if f.EvenHeld {
			s += " (HELD)"
		}
		if !slices.Contains(out, s) {
			out = append(out, s)
		}
	}
	if len(out) == 0 {
		return "nothing: " + onlyFillsUp
	}
	return strings.Join(out, "; ")
}

// unitLine is the identification in one line.
func unitLine(u order.Unit) string {
	s := u.Plate
	if len(u.Labels) > 0 {
		s += tail(", label ", strings.Join(u.Labels, ", label "))
	}
	return strings.TrimPrefix(s, ", ")
}

func workNames(ws []order.Work) string {
	var out []string
	for _, w := range ws {
		out = append(out, w.Name)
	}
	return strings.Join(out, ", ")
}

// whyNot says why an offer with a lower price is not taken.
func whyNot(w purchase.WhyNotCheaper) string {
	switch w {
	case purchase.CheaperFreight:
		return "freight eats it up"
	case purchase.CheaperStock:
		return "too few in stock"
	case purchase.CheaperLate:
		return "it comes too late"
	case purchase.CheaperMinimum:
		return "the supplier's least order would have to be filled"
	case purchase.CheaperBreak:
		return "a price break would be lost"
	case purchase.CheaperPack:
		return "whole packs come to more"
	case purchase.CheaperEqual:
		return "the whole comes to the same"
	}
	return "the order as a whole is no better with it"
}

func whyRefused(w order.WhyRefused) string {
	switch w {
	case order.PriceNotPositive:
		return "its price is zero, which is a gap in a list and no gift"
	case order.PackNotPositive:
		return "a pack of it holds nothing"
	case order.UnknownSupplier:
		return "nobody knows the supplier"
	case order.OutOfStock:
		return "out of stock, and no days named until it leaves"
	case order.NoDay:
		return "when it comes is not known, and there is a day to keep"
	case order.BreakNotSound:
		return "its price breaks make no sense"
	case order.VolumeUnknown:
		return "the litres in a pack are not stated"
	case order.Ended:
		return "the catalogue says that the part is not sold any more"
	}
	return string(w)
}

func uncoveredText(u order.Uncovered) string {
	what := "it"
	if u.Wanted != nil {
		what = glued(string(u.Wanted.Part))
	}
	amount := func(a *order.Amount) string {
		if a == nil {
			return ""
		}
		if a.Litres.Known {
			return a.Litres.String() + " l"
		}
		return strconv.Itoa(a.Qty)
	}
	switch u.Why {
	case purchase.NoOffer:
		return "nobody offers " + what
	case purchase.OffersRefused:
		return "no offer of " + what + " is sound (see below)"
	case purchase.NotEnough:
		return "shelf and suppliers together have " + amount(u.Most) + " of " + what + ", and " + amount(u.Wanted) + " are needed"
	case purchase.TooLate:
		s := "everything comes too late"
		if u.Sooner != "" {
			s += "; " + dayText(u.Sooner) + " could be kept"
		}
		return s
	case purchase.MinimumTooHigh:
		return "the supplier's least order is not reached with all it has"
	case purchase.TakenByOthers:
		return "alone it could be had, but not beside what stands before it"
	}
	return string(u.Why)
}

// proofText says how good a plan is known to be.
func proofText(p *order.Proposal) string {
	x := p.Proof
	switch {
	case !p.Found:
		return "the limit was reached before any plan was found; give it more time with --limit"
	case !x.Proven:
		return "the best found within the limit; among offers of what is needed none costs less than " + charged(x.Bound, p.Currency) + ", so it is at most " + charged(x.Gap, p.Currency) + " from the best"
	case p.Aim == purchase.Earliest:
		return "proven among offers of what is needed: nothing is here sooner, nor for less on that day"
	case p.Aim == purchase.FewestDeliveries:
		return "proven among offers of what is needed: fewer deliveries cannot do, nor as few for less"
	}
	return "proven among offers of what is needed: nothing that covers all this costs less"
}

// OrderText writes what to order for a person.
func OrderText(w io.Writer, x Order, s Screen) error {
	p := newPage(s)
	plan := x.Options[0].Plan
	p.demoRemark(plan.Edition)
	p.gap()
	if len(x.Placed) > 0 {
		var numbers []string
		for _, o := range x.Placed {
			numbers = append(numbers, o.Number+" to "+o.Order.Supplier)
		}
		p.put(0, 2, say("PLACED: ").in(good), sayf("%s, on card %d", allOf(numbers), x.Card))
		if who := lookAlikesOf(plan); len(who) > 0 {
			p.put(2, 2, sayf("Placed although it is not ruled out that the unit is %s: see the warnings.", anyOf(who)).in(warn))
		}
	}
	for _, f := range x.Files {
		p.put(0, 2, say("written: "+f).in(muted))
	}
	if len(x.Options) > 1 {
		p.sideBySide(x.Options)
	}
	for _, o := range x.Options {
		p.orderWarnings(o.Plan, o.Decision, s)
		p.proposal(o.Plan, x.Placed)
	}
	p.editionFoot(plan.Edition)
	_, err := w.Write(p.buf.Bytes())
	return err
}

// sideBySide holds two plans beside each other, with what each leaves at risk.
func (p *page) sideBySide(os []OrderOption) {
	p.head(strong, "SIDE BY SIDE")
	for _, o := range os {
		p.put(2, 4, say(capitalWord(workNames(o.Plan.Work))+": ").in(strong), say(totals(o.Plan)))
		for _, w := range o.Plan.Work {
			if w.About != "" {
				p.put(4, 2, say(w.About))
			}
		}
		if len(o.Leaves) == 0 {
			p.put(4, 2, say("leaves nothing that the other one renews"))
		}
		for _, r := range o.Leaves {
			p.put(4, 2, say("leaves ").in(warn), say(r.Name+" as it is; why the other one takes it: "+r.Why))
		}
	}
}

func totals(o *order.Proposal) string {
	if !o.Found {
		return "no plan found"
	}
	held := ""
	if len(o.Held) > 0 {
		held = ", " + counted(len(o.Held), "line", "lines") + " held"
	}
	s := "nothing to buy" + held
	if o.Deliveries > 0 {
		s = counted(o.Deliveries, "order", "orders") + held + ", " + charged(o.Total, o.Currency)
		if o.Arrives != "" {
			s += ", all here on " + dayText(o.Arrives)
		} else {
			s += ", the day not known"
		}
	}
	return s
}

func (p *page) proposal(o *order.Proposal, placed []order.Sheet) {
	p.gap()
	switch {
	case o.Stopped == order.StopConflict:
		p.put(0, 2, say("CONFLICT: ").in(alert), say(stoppedText(o.Stopped)))
	case o.Stopped == order.StopNotRead:
		p.put(0, 2, say("NOT READ: ").in(alert), say(stoppedText(o.Stopped)))
	case !o.Found:
		p.put(0, 2, say("NO PLAN: ").in(alert), say(proofText(o)))
	case !o.Complete:
		p.put(0, 2, say("NOT ALL CAN BE HAD: ").in(alert), say(totals(o)))
	case len(o.Lines) == 0:
		p.put(0, 2, say("NOTHING IS PLANNED: ").in(warn), say(totals(o)))
	default:
		p.put(0, 2, say("PLAN: ").in(good), say(totals(o)))
	}
	if o.Found && len(o.Lines) > 0 {
		st := plain
		if !o.Proof.Proven {
			st = warn
		}
		p.put(2, 2, say(proofText(o)).in(st))
	}
	p.put(2, 2, say("for "+unitLine(o.Unit)+tail(": ", workNames(o.Work))))
	for _, h := range o.EvenHeld {
		head := "FROM THE SHELF ALTHOUGH HELD: "
		if o.Bought(h) {
			head = "ORDERED ALTHOUGH HELD: "
		}
		p.put(0, 2, say(head).in(alert), say(evenHeldText(o, h)))
	}
	for _, x := range o.Orders {
		number := ""
		for _, s := range placed {
			if s.Order.Supplier == x.Supplier {
				number = s.Number + " "
			}
		}
		p.head(strong, "ORDER %sTO %s (%s): %s", number, x.Name, x.Supplier, charged(x.Total, x.Currency))
		p.put(2, 2, say(freightText(x)))
		for _, l := range x.Lines {
			what := strconv.Itoa(l.Packs) + string(glue) + "×" + string(glue) + glued(l.Stock)
			pack := packText(l)
			if pack != "" {
				pack = " (pack of " + pack + ")"
			}
			p.put(2, 4, say(what).in(strong), say(pack+" "+l.Name+", our "+glued(string(l.Part))+served(l)+": "+charged(l.Total, x.Currency)))
			p.put(6, 2, say("for "+forText(l.For)).in(muted))
			p.instead(o, func(f order.From) bool { return f.Supplier == x.Supplier && f.Stock == l.Stock })
			if l.Look != "" {
				p.put(6, 2, say("looks like: "+l.Look).in(muted))
			}
		}
	}
	if len(o.Shelf) > 0 {
		p.head(strong, "FROM THE SHELF")
		for _, x := range o.Shelf {
			s := x.Place + ": " + much(x.Amount) + " " + x.Name
			if x.Kit != "" {
				s += ", out of the kit " + glued(string(x.Kit))
			}
			p.put(2, 4, say(s))
			p.instead(o, func(f order.From) bool { return f.Supplier == "" && f.Place == x.Place && f.Part == x.Part })
		}
	}
	for i, x := range o.Reserved {
		if i == 0 {
			p.head(warn, "ON THE SHELF, taken by other units")
		}
		s := x.Place + ": " + much(x.Amount) + " " + x.Name
		if x.Kit != "" {
			s += ", out of the kit " + glued(string(x.Kit))
		}
		p.put(2, 4, sayf("%s is taken by card %d", s, x.Card))
	}
	if len(o.Spares) > 0 {
		p.head(strong, "LEFT OVER, for the shelf")
		for _, x := range o.Spares {
			s := much(x.Amount) + " " + x.Name + ", from " + x.Supplier
			if x.FillsUp {
				s += ": " + onlyFillsUp
			}
			p.put(2, 4, say(s))
		}
	}
	for _, x := range o.Doubles {
		p.head(warn, "Perhaps twice: %s for the %s is in the kit %s for the %s too.", much(x.Amount), x.For.Name, glued(string(x.Kit)), x.Of.Name)
		p.put(2, 2, sayf("If one place is meant, leave it out: --skip %s", x.For.Role))
	}
	if len(o.Uncovered) > 0 {
		p.head(alert, "CANNOT BE HAD")
		for _, u := range o.Uncovered {
			p.put(2, 4, say(forText(u.Lines)+": ").in(strong), say(uncoveredText(u)))
		}
	}
	if len(o.Held) > 0 {
		p.head(warn, "HELD, not ordered")
		for _, h := range o.Held {
			p.put(2, 4, say(capitalWord(roleOf(o, h.Role))+tail(", ", h.Position)+": ").in(strong), say(sentences(tellers(h.Why))))
			if len(h.Release) > 0 {
				p.put(4, 2, say("To release: ").in(strong), say(sentences(h.Release)))
			}
		}
	}
	p.leftOut(o)
	p.explained(o)
	first := true
	for _, n := range o.Notes {
		if confirmedWarning(n) || corrects(n) {
			continue // a warning
		}
		if first {
			p.head(warn, "NOTES ON WHAT IS TAKEN")
			first = false
		}
		p.put(2, 4, say(glued(n.Of)+": ").in(strong), say(string(n.State)+" note, "+noteWords(n)))
	}
	for i, r := range o.Refused {
		if i == 0 {
			p.head(muted, "Offers left out")
		}
		p.put(2, 4, say(r.Supplier+" "+glued(r.Stock)+", "+glued(string(r.Part))+": "+whyRefused(r.Why)).in(muted))
	}
}

// stoppedText says what has to come before any order.
func stoppedText(x order.Stop) string {
	switch x {
	case order.StopConflict:
		return "nothing is ordered until what was read and seen can be true"
	case order.StopNotRead:
		return "nothing is ordered until it is known which unit this is"
	}
	return string(x)
}

// roleOf gives the name of a role as the decision gives it.
func roleOf(o *order.Proposal, code string) string {
	if o != nil {
		for c, name := range o.RoleNames {
			if name != "" && catalog.Fold(c) == catalog.Fold(code) {
				return lower(name)
			}
		}
	}
	return plainCode(code)
}

// lookAlikesOf names the look-alikes that are not ruled out.
func lookAlikesOf(o *order.Proposal) []catalog.VariantCode {
	var out []catalog.VariantCode
	for _, l := range o.Warnings.LookAlikes {
		if !slices.Contains(out, l.Variant) {
			out = append(out, l.Variant)
		}
	}
	return out
}

// orderWarnings writes what the decision warns of, its notes only as far as they are
// on what the plan takes.
func (p *page) orderWarnings(o *order.Proposal, d *resolve.Decision, s Screen) {
	if d == nil {
		return
	}
	seen := *d
	seen.Notes = slices.DeleteFunc(slices.Clone(d.Notes), func(n resolve.Note) bool {
		return n.On == catalog.NoteOnPart && !slices.ContainsFunc(o.Notes, func(x resolve.Note) bool { return x.Note == n.Note })
	})
	seen.LookAlikes = o.Warnings.LookAlikes // those ruled out are no matter of an order
	t := newDecisionPage(&seen, s, false)
	t.page = p
	t.loud()
	t.unread()
	t.warnings()
}

func evenHeldText(o *order.Proposal, h order.EvenHeld) string {
	s := roleOf(o, h.Role) + tail(" at ", h.Position)
	if h.Part != "" {
		s += " as " + glued(string(h.Part))
	}
	return s + ", by " + h.Who + tail(" on ", h.At) + ", because: " + h.Because
}

func freightText(x order.Order) string {
	s := "goods " + money(x.Goods, x.Currency) + ", freight " + money(x.Freight, x.Currency)
	if x.Free {
		s = "goods " + money(x.Goods, x.Currency) + ", freight free"
	}
	if x.Arrives != "" {
		s += "; leaves " + dayText(x.Sends) + ", here " + dayText(x.Arrives)
	}
	return s
}

func (p *page) leftOut(o *order.Proposal) {
	var recommended, other []string
	for _, l := range o.LeftOut {
		name := l.Name + tail(", ", l.Position)
		switch l.Reason {
		case order.OnlyRecommended:
			if s := name + tail(" (", orBracket(l.Why)); !slices.Contains(recommended, s) {
				recommended = append(recommended, s)
			}
		case order.Skipped:
			other = append(other, name+" (left out by you)")
		case order.QuantityUnknown:
			other = append(other, name+" (how much is not known: name a scope of work that fills)")
		default:
			other = append(other, name+" (nothing that could be bought)")
		}
	}
	if len(recommended) > 0 {
		p.head(strong, "RECOMMENDED, not ordered")
		for _, s := range recommended {
			p.put(2, 4, say(s))
		}
		if r := o.Recommended; r != nil && r.Possible {
			s := charged(r.More, o.Currency) + " more with all of it (--recommended)"
			if r.More.IsZero() {
				s = "it costs nothing more (--recommended)"
			}
			p.put(2, 2, say(s).in(strong))
		} else if r != nil {
			p.put(2, 2, say("not all of it can be had").in(warn))
		}
	}
	if len(other) > 0 {
		p.head(strong, "NOT ORDERED")
		for _, s := range other {
			p.put(2, 4, say(s))
		}
	}
}

// mostCheaper is how many offers with a lower price a text names.
const mostCheaper = 6

func (p *page) explained(o *order.Proposal) {
	x := o.Explained
	if x == nil || x.Sooner == nil && x.Fewest == nil && len(x.Cheaper) == 0 {
		return
	}
	p.head(strong, "WHY THIS PLAN")
	if a := x.Sooner; a != nil {
		switch {
		case a.Possible:
			p.put(2, 2, say("Sooner: ").in(strong), say(charged(a.More, o.Currency)+" more, all here on "+dayText(a.Arrives)+sure(a)))
		case a.Proven:
			p.put(2, 2, say("Sooner: ").in(strong), say("not possible"))
		default:
			p.put(2, 2, say("Sooner: ").in(strong), say("not found within the limit"))
		}
	}
	if a := x.Fewest; a != nil && a.Possible {
		p.put(2, 2, say("Fewer deliveries: ").in(strong), say(charged(a.More, o.Currency)+" more, "+counted(a.Deliveries, "delivery", "deliveries")+sure(a)))
	}
	shown := 0
	for _, c := range x.Cheaper {
		if shown++; shown > mostCheaper {
			p.put(2, 2, sayf("and %d more offers with a lower price", len(x.Cheaper)-mostCheaper).in(muted))
			break
		}
		s := "not taken, because " + whyNot(c.Why)
		if c.More != nil && c.More.IsPositive() {
			s += ": " + charged(*c.More, o.Currency) + " more in all"
		}
		lower := "lower by the piece"
		if c.Holds.Litres.Known {
			lower = "lower by the litre"
		}
		if c.Saves.IsPositive() {
			lower = charged(c.Saves, o.Currency) + " lower"
		}
		what, than := glued(string(c.Part))+" at "+c.Supplier, "at "+c.Than
		if c.Supplier == c.Than {
			what, than = glued(string(c.Part))+" as "+glued(c.Stock)+" at "+c.Supplier, "as "+glued(c.ThanNo)
		}
		if c.Holds.Qty != c.ThanPack.Qty || !c.Holds.Litres.Num.Equal(c.ThanPack.Litres.Num) {
			what, than = what+holding(c.Holds), than+holding(c.ThanPack)
		}
		p.put(2, 4, say(what+", "+lower+" than "+than+": ").in(strong), say(s))
	}
}

// holding says what a pack holds.
func holding(x order.Pack) string {
	switch {
	case x.Litres.Known:
		return " in packs of " + x.Litres.String() + string(glue) + "l"
	case x.Qty > 1:
		return " in packs of " + strconv.Itoa(x.Qty)
	}
	return " by the single piece"
}

// instead says of the lines that take something from a source what their first
// choice was.
func (p *page) instead(o *order.Proposal, from func(order.From) bool) {
	for _, l := range o.Lines {
		x := l.Instead
		if x == nil || !slices.ContainsFunc(l.Takes, func(t order.Taken) bool { return !t.Companion && slices.ContainsFunc(t.From, from) }) {
			continue
		}
		s := "instead of " + allOf(x.Parts) + ", the first choice for " + lower(l.Name)
		switch {
		case !x.Costed:
		case !x.Possible:
			s += ", which cannot be had"
		case x.Less.IsNegative():
			s += ": " + charged(x.Less.Neg(), o.Currency) + " more"
		case x.Less.IsZero():
			s += ": it costs the same"
		default:
			s += ": " + charged(x.Less, o.Currency) + " less"
		}
		if x.Costed && x.Possible && !x.Proven {
			s += " (the best found within the limit)"
		}
		p.put(6, 2, say(s).in(warn))
	}
}

// served marks what is not of the unit's own make, where a role takes it.
func served(l order.OrderLine) string {
	if slices.ContainsFunc(l.For, func(f order.For) bool { return f.Role != "" }) {
		return origin(l.Origin)
	}
	return ""
}

func origin(x catalog.Origin) string {
	if x == catalog.OriginAftermarket {
		return " (aftermarket)"
	}
	return ""
}

func sure(a *order.Other) string {
	if a.Proven {
		return ""
	}
	return " (the best found within the limit)"
}

// OrdersText lists orders on record.
func OrdersText(w io.Writer, x Orders, s Screen) error {
	p := newPage(s)
	for _, o := range x.Orders {
		state, st := StandingText(&o.Standing), plain
		switch {
		case o.Complete:
			st = good
		case o.Receipts > 0:
			st = warn
		}
		p.put(0, 4, say(o.Sheet.Number).in(strong), sayf(" to %s, %s: ", o.Sheet.Order.Name, charged(o.Sheet.Order.Total, o.Sheet.Order.Currency)), say(state).in(st))
		p.put(4, 2, sayf("card %d, %s; by %s on %s", o.Sheet.Card, unitLine(o.Sheet.Unit), o.Sheet.By, minuteOf(o.Sheet.Placed)).in(muted))
	}
	if len(x.Orders) == 0 {
		p.put(0, 2, say("There is no order yet. Place one with: platewright order PLATE --work SCOPE --place"))
	}
	_, err := w.Write(p.buf.Bytes())
	return err
}

// OrderHeading is the heading of a plan or an order as CSV.
const OrderHeading = "order,supplier,stock,part,name,packs,pack,unit,quantity,price,total,currency,arrives,for,look\r\n"

// AppendOrderCSV appends the lines of an order as records of RFC 4180; number is
// empty for a plan. Cells that a spreadsheet would take for a formula get an
// apostrophe in front, and so do codes that it would take for a number or a date,
// such as 0012, 1E5 or 10-11: [UnguardCode] takes it off again.
func AppendOrderCSV(dst []byte, number string, o order.Order) []byte {
	cell := func(s string) { dst = append(appendCell(dst, s), ',') }
	for _, l := range o.Lines {
		cell(number)
		cell(GuardCode(o.Supplier))
		cell(GuardCode(l.Stock))
		cell(GuardCode(string(l.Part)))
		cell(l.Name)
		cell(strconv.Itoa(l.Packs))
		pack, unit, qty := strconv.Itoa(l.Pack), "piece", strconv.Itoa(l.Qty)
		if l.PackOf.Known {
			pack, unit, qty = l.PackOf.String(), "litre", l.Litres.String()
		}
		cell(pack)
		cell(unit)
		cell(qty)
		cell(money(l.Price, o.Currency))
		cell(money(l.Total, o.Currency))
		cell(o.Currency)
		cell(l.Arrives)
		cell(forText(l.For))
		dst = append(appendCell(dst, l.Look), "\r\n"...)
	}
	return dst
}

// GuardCode puts an apostrophe before a code that a spreadsheet would change: one
// that looks like a number, a date, a time or a truth value, or begins like a
// formula, or begins with an apostrophe of its own.
func GuardCode(code string) string {
	if code == "" {
		return ""
	}
	if code[0] == '\'' || changed(code) {
		return "'" + code
	}
	return code
}

// UnguardCode takes off what [GuardCode] put before a code.
func UnguardCode(cell string) string {
	if len(cell) > 1 && cell[0] == '\'' && (cell[1] == '\'' || changed(cell[1:]) || strings.ContainsRune("=+-@\t\r", rune(cell[1]))) {
		return cell[1:]
	}
	return cell
}

// changed tells whether a spreadsheet would take a text for something else. A text
// counts as changed rather too often than too seldom: digits with anything that
// numbers, dates and times are written with.
func changed(s string) bool {
	digit, letter := false, ""
	for _, r := range s {
		switch {
		case r >= '0' && r <= '9':
			digit = true
		case r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z':
			letter += strings.ToLower(string(r))
		case strings.ContainsRune(" .,:/-+%$€£()'", r):
		default:
			return false
		}
	}
	switch letter {
	case "true", "false":
		return !digit
	case "", "e", "d", "h":
		return digit
	case "am", "pm", "a", "p": // of a time, behind it
		return digit && strings.HasSuffix(strings.ToLower(s), letter)
	}
	if !digit || len(letter) < 3 {
		return false
	}
	for _, m := range []string{"january", "february", "march", "april", "may", "june", "july", "august", "september", "october", "november", "december"} {
		if strings.HasPrefix(m, letter) || strings.HasPrefix(letter, m[:3]) {
			return true
		}
	}
	return false
}
