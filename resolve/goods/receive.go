package goods

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"platewright/catalog"
	"platewright/resolve"
)

// Delivery is what is to be done in one step at goods-in.
type Delivery struct {
	Note    string // number of the delivery note, "" for none
	Talk    bool   // one line of a dialogue: the same scanned twice are two
	Again   bool   // it is another delivery, or more than ordered, though it looks like what came before
	Looked  bool   // what comes was looked at, and looks as told
	Because string
	Items   []Item
	Wrong   []catalog.Finding // what is wrong already, where it was read
}

// Item is one thing that was typed or scanned.
type Item struct {
	Do     Do
	Number string
	Count  string        // as typed; "" for one piece, and of what is done with what is here, for all of it
	Saw    string        // of odd
	Looked bool          // of what comes: it was looked at, and looks as told
	Of     *Check        // in the place of a number: what that check was about
	Delta  int           // of corrected, in the place of a count: the difference
	Place  catalog.Place // where it was typed, for findings
}

// CheckVerdict says what a check has come to.
type CheckVerdict string

const (
	Right     CheckVerdict = "right"     // the part that a line orders
	Serves    CheckVerdict = "serves"    // another number that serves for it
	ComesWith CheckVerdict = "companion" // what such a number demands
	Wrong     CheckVerdict = "wrong"     // nothing that was ordered
	Done      CheckVerdict = "done"      // looked at, returned, kept or corrected
)

// Check is what came of one item.
type Check struct {
	Do       Do             `json:"do"`
	Given    string         `json:"given"` // the number as typed or scanned
	By       *Meaning       `json:"by,omitempty"`
	Verdict  CheckVerdict   `json:"verdict"`
	Part     catalog.PartNo `json:"part"`
	Name     string         `json:"name"`
	Line     int            `json:"line,omitempty"`
	Ordered  catalog.PartNo `json:"ordered,omitempty"` // of serves: what the line orders
	Qty      int            `json:"qty"`               // pieces; of a fluid, containers; of a correction the difference
	Here     int            `json:"here"`              // for the line, or of the part, afterwards
	Open     int            `json:"open"`              // of the line, afterwards
	More     int            `json:"more"`              // of the line, afterwards: here beyond what was ordered
	Unseen   int            `json:"unseen"`            // still to be looked at
	Expect   []Expect       `json:"expect"`
	Needs    []Companion    `json:"needs"`          // of serves: what must come along
	Fit      *Fit           `json:"fit,omitempty"`  // of wrong: what it would fit
	Unit     *FitOfUnit     `json:"unit,omitempty"` // of serves: what the unit's decision says of it
	On       *OnAnother     `json:"on,omitempty"`   // of wrong: another order of the same unit that has it
	Saw      string         `json:"saw,omitempty"`
	Complete bool           `json:"complete"` // the line is, afterwards
}

// OnAnother is a line of another order of the same unit.
type OnAnother struct {
	Order string `json:"order"`
	Name  string `json:"name"` // of its supplier
	Line  int    `json:"line"`
	Open  int    `json:"open"` // have not come for that line
}

// FitOfUnit is what the decision about the unit says of a part.
type FitOfUnit struct {
	Verdict resolve.Verdict  `json:"verdict"`
	Against []resolve.Reason `json:"against"` // notes that hold it
}

// Result is what a step at goods-in has come to.
type Result struct {
	Checks  []Check  `json:"checks"`
	Same    *Receipt `json:"same,omitempty"` // the delivery note was booked before with the same things: nothing was done
	Receipt *Receipt `json:"-"`              // to be kept; nil where nothing was done
	State   *State   `json:"state"`          // afterwards
}

// Limits of what is typed.
const (
	maxNumber = 80     // bytes of a number
	maxPieces = 100000 // pieces in one count
	maxItems  = 10000
	farBeyond = 10 // a count of more than this many times what is open is taken for a slip
	maxText   = 400
)

// Receive checks what was typed or scanned and gives the receipt to be kept, which
// the desk does not do itself. Nothing is done where anything is wrong; the error
// is then a [*catalog.RefusedError] that lists all of it.
func (d *Desk) Receive(in Delivery) (*Result, error) {
	out := &Result{Checks: []Check{}}
	var fs catalog.Findings
	for _, f := range in.Wrong {
		fs.Add(f)
	}
	in.Note, in.Because = strings.TrimSpace(in.Note), strings.TrimSpace(in.Because)
	for _, x := range []struct{ what, text string }{{"number of the delivery note", in.Note}, {"reason", in.Because}} {
		if err := catalog.CheckText(x.text); err != nil || strings.ContainsAny(x.text, "\n\t") || len(x.text) > maxText {
			fs.Add(catalog.Finding{Code: catalog.BadCell, Value: x.text, What: "the " + x.what + " cannot be kept", Mend: "write it in one short line of plain text"})
		}
	}
	if len(in.Items) > maxItems {
		fs.Add(catalog.Finding{Code: catalog.TooLarge, What: fmt.Sprintf("these are %d things in one step", len(in.Items)), Mend: fmt.Sprintf("book at most %d at a time", maxItems)})
		in.Items = nil
	}
	t := d.tally.clone()
	var entries []Entry
	for i := range in.Items {
		done, checks, err := d.item(t, &in, &in.Items[i], &fs)
		if err != nil {
			return nil, err
		}
		entries = append(entries, done...)
		out.Checks = append(out.Checks, checks...)
	}
	if err := fs.Err(); err != nil {
		return nil, err
	}
	r := &Receipt{Schema: ReceiptSchema, DeliveryNote: in.Note, Talk: in.Talk, Because: in.Because, Entries: entries}
	if same := d.repeats(r, &in, &fs); same != nil {
		s, err := d.State()
		return &Result{Checks: []Check{}, Same: same, State: s}, err
	}
	if fs.Err() == nil {
		d.beyond(&in, entries, &fs)
	}
	if err := fs.Err(); err != nil {
		return nil, err
	}
	for i := range out.Checks {
		if err := d.after(t, &out.Checks[i]); err != nil {
			return nil, err
		}
	}
	s, err := d.state(t)
	if err != nil {
		return nil, err
	}
	out.State = s
	if len(entries) > 0 {
		out.Receipt = r
		s.Receipts = append(s.Receipts, *r)
	}
	return out, nil
}

// Keep takes a receipt into the history once it has been kept.
func (d *Desk) Keep(r Receipt) {
	d.done = append(d.done, r)
	for i := range r.Entries {
		d.tally.add(&r.Entries[i])
	}
}

// repeats finds out whether a receipt was booked before. The same things by the
// same delivery note are the same delivery.
func (d *Desk) repeats(r *Receipt, in *Delivery, fs *catalog.Findings) *Receipt {
	if in.Again || in.Talk && r.DeliveryNote == "" || !slices.ContainsFunc(r.Entries, func(e Entry) bool { return e.Do == Came }) {
		return nil
	}
	same := func(o *Receipt) bool {
		return slices.Equal(came(r.Entries), came(o.Entries))
	}
	if r.DeliveryNote != "" {
		if in.Talk {
			return nil // asked once, when the dialogue begins
		}
		var before []Entry
		var last *Receipt
		for i := range d.done {
			if catalog.Fold(d.done[i].DeliveryNote) == catalog.Fold(r.DeliveryNote) {
				last = &d.done[i]
				before = append(before, last.Entries...)
			}
		}
		switch {
		case last == nil:
			return nil
		case same(last) || slices.Equal(came(r.Entries), came(before)):
			return last
		}
		fs.Add(catalog.Finding{Code: catalog.Duplicate, Value: r.DeliveryNote,
			What: fmt.Sprintf("the delivery note was booked %s with other things: %s", Booked(last), told(came(before))),
			Mend: "put a wrong count right with --correct NUMBER=COUNT, or add to it with --again"})
		return nil
	}
	if n := len(d.done); n > 0 && d.done[n-1].DeliveryNote == "" && !d.done[n-1].Talk && same(&d.done[n-1]) {
		fs.Add(catalog.Finding{Code: catalog.Duplicate, What: fmt.Sprintf("the same was booked %s: %s", Booked(&d.done[n-1]), told(came(r.Entries))),
			Mend: "if it is another delivery, give its number with --delivery-note, or book it with --again"})
	}
	return nil
}

// NoteBooked gives the newest receipt of a delivery note, nil where there is none.
func (d *Desk) NoteBooked(note string) *Receipt {
	for i := len(d.done) - 1; i >= 0; i-- {
		if note != "" && catalog.Fold(d.done[i].DeliveryNote) == catalog.Fold(note) {
			return &d.done[i]
		}
	}
	return nil
}

// Booked says when a receipt was booked, and by whom.
func Booked(r *Receipt) string {
	s := "before"
	if r.At != "" {
		s = "on " + r.At
		if t, err := time.Parse(time.RFC3339, r.At); err == nil {
			s = "on " + t.UTC().Format("2006-01-02 15:04") + " UTC"
		}
	}
	if r.Who != "" {
		s += " by " + r.Who
	}
	return s
}

// arrival is how many of a part came.
type arrival struct {
	part string
	qty  int
}

func came(es []Entry) []arrival {
	sum := map[string]int{}
	keys := map[string]bool{}
	for _, e := range es {
		if e.Do == Came {
			sum[e.Part.Key()] += e.Qty
			keys[string(e.Part)] = true
		}
	}
	var out []arrival
	for _, p := range sorted(keys) {
		if n, ok := sum[catalog.Fold(p)]; ok {
			out = append(out, arrival{p, n})
			delete(sum, catalog.Fold(p))
		}
	}
	return out
}

func told(as []arrival) string {
	var out []string
	for _, a := range as {
		out = append(out, fmt.Sprintf("%d × %s", a.qty, a.part))
	}
	if len(out) == 0 {
		return "nothing"
	}
	return strings.Join(out, ", ")
}

// beyond refuses more of a line of which all came before: mostly that is the same
// delivery once more. A delivery note of its own says that it is not.
func (d *Desk) beyond(in *Delivery, entries []Entry, fs *catalog.Findings) {
	if in.Again || in.Note != "" && d.NoteBooked(in.Note) == nil {
		return
	}
	for n := 1; n <= len(d.order.Lines); n++ {
		l := d.order.line(n)
		comes := slices.ContainsFunc(entries, func(e Entry) bool { return e.Line == n && e.Do == Came && (e.As == AsOrdered || e.As == AsServes) })
		if comes && d.tally.here(n) >= l.Wanted {
			last := Receipt{}
			for _, r := range d.done {
				if slices.ContainsFunc(r.Entries, func(e Entry) bool { return e.Line == n && e.Do == Came }) {
					last = r
				}
			}
			fs.Add(catalog.Finding{Code: catalog.Duplicate, Value: string(l.Part),
				What: fmt.Sprintf("all %d of line %d are here: the last were booked %s", l.Wanted, n, Booked(&last)),
				Mend: "if more than ordered came, book it with --again, or with --delivery-note NUMBER of the new delivery"})
		}
	}
}

// item checks one item and counts it in t.
func (d *Desk) item(t *tally, in *Delivery, x *Item, fs *catalog.Findings) ([]Entry, []Check, error) {
	bad := func(code catalog.FindingCode, value, mend, what string, args ...any) ([]Entry, []Check, error) {
		fs.Add(catalog.Finding{Code: code, Place: x.Place, Value: value, What: fmt.Sprintf(what, args...), Mend: mend})
		return nil, nil, nil
	}
	number := strings.TrimSpace(x.Number)
	switch {
	case x.Of != nil:
		c := Check{Do: x.Do, Given: x.Of.Given, By: x.Of.By, Part: x.Of.Part, Name: x.Of.Name, Expect: []Expect{}, Needs: []Companion{}}
		return d.change(t, in, x, &c, bad)
	case number == "" && x.Do == Looked:
		return d.lookedAtAll(t)
	}
	const mendNumber = "write NUMBER or NUMBER=COUNT, the number as it stands on the part, its bag or the delivery note"
	switch err := catalog.CheckText(number); {
	case number == "":
		return bad(catalog.Missing, "", mendNumber, "there is no number")
	case err != nil:
		return bad(catalog.BadCode, number, mendNumber, "the number cannot be read: %v", err)
	}
	const mendScan = "scan or type the number on the part or its bag"
	if code, ok := d.order.SheetCode(number); ok {
		switch {
		case catalog.Fold(code.Order) != catalog.Fold(d.order.Number):
			return bad(catalog.BadCode, number, "take the sheet of this order", "this is the sheet of the order %s, and not of %s", code.Order, d.order.Number)
		case code.Line == 0:
			return bad(catalog.BadCode, number, mendScan, "this is the number of the order itself")
		}
		return bad(catalog.BadCode, number, mendScan, "this is line %d on our own sheet: it says that %s was ordered, not what came", code.Line, d.order.line(code.Line).Part)
	}
	if len(number) > maxNumber || strings.ContainsAny(number, "\n\t") {
		return bad(catalog.BadCode, number, mendNumber, "this is no number of a part")
	}
	ms, err := d.meanings(number)
	if err != nil {
		return nil, nil, err
	}
	switch {
	case len(ms) == 0:
		near, err := d.near(number)
		if err != nil {
			return nil, nil, err
		}
		mend := "read it again on the part or its bag; if the shop knows what it stands for, write it down: platewright note add alias"
		if len(near) > 0 {
			mend = "did you mean " + strings.Join(near, " or ") + "? Otherwise " + mend
		}
		return bad(catalog.Dangling, number, mend, "nothing goes by this number, in the order or in the catalogue")
	case len(ms) > 1:
		var list []string
		for i := range ms {
			list = append(list, ms[i].String())
		}
		return bad(catalog.BadCombination, number, "say which: "+prefixPart+"NUMBER with the part's own number, or "+prefixStock+"NUMBER for the supplier's", "the number stands for %s", strings.Join(list, " and for "))
	case ms[0].Open:
		return bad(catalog.BadCombination, number, "read the maker's number on the part, or let another person confirm it: platewright note confirm "+ms[0].Note, "that it stands for %s is only an open note of the shop", ms[0].Part)
	}
	m := ms[0]
	c := Check{Do: x.Do, Given: number, By: &m, Part: m.Part, Expect: []Expect{}, Needs: []Companion{}}
	part, err := d.part(m.Part.Key())
	if err != nil {
		return nil, nil, err
	}
	if part != nil {
		c.Name, c.Part = part.Name, part.Part
	}
	if x.Do != Came {
		return d.change(t, in, x, &c, bad)
	}
	if sizes := d.containers(&m, number); len(sizes) > 0 {
		return bad(catalog.BadCombination, number, "say which: "+strings.Join(sizes, " or "), "%s was ordered in containers of more than one size", c.Part)
	}
	if err := d.place(t, &c); err != nil {
		return nil, nil, err
	}
	e := Entry{Do: Came, Given: number, Part: c.Part, As: AsForeign, Line: c.Line}
	switch c.Verdict {
	case Right:
		e.As = AsOrdered
	case Serves:
		w, err := d.leads(d.order.line(c.Line).Part, c.Part)
		if err != nil {
			return nil, nil, err
		}
		e.As, e.Per = AsServes, w.per
	case ComesWith:
		e.As = AsCompanion
	}
	pack := m.pack
	if l := d.order.line(c.Line); l != nil && e.As == AsOrdered && l.Pack > 0 {
		pack = l.Pack
	}
	if part != nil && part.Kind == catalog.PartFluid {
		pack = 1 // its container is what is counted
	}
	n, what, mend := count(x.Count, pack)
	if what != "" {
		return bad(catalog.BadNumber, x.Count, mend, "%s", what)
	}
	if n == 0 {
		return bad(catalog.BadNumber, x.Count, "leave out what has not come; what is open is shown by: platewright receive "+d.order.Number, "none of it came")
	}
	if l := d.order.line(c.Line); l != nil && n > farBeyond*max(l.Wanted, 2)*max(e.Per, 1) && !in.Again {
		return bad(catalog.TooLarge, x.Count, "count again; if it is so, book it with --again", "%d pieces came, and %d were ordered", n, l.Wanted)
	}
	e.Qty = n
	entries := []Entry{e}
	if (in.Looked || x.Looked) && e.As != AsForeign {
		entries = append(entries, Entry{Do: Looked, Part: e.Part, As: e.As, Line: e.Line, Qty: n, Per: e.Per})
	}
	for i := range entries {
		t.add(&entries[i])
	}
	c.Qty = n
	return entries, []Check{c}, nil
}

// linesOf gives the lines that a number speaks of: by the supplier's stock number
// those under it, where there are any, else all of its part.
func (d *Desk) linesOf(m *Meaning, number string) []int {
	var of, under []int
	key := catalog.Fold(number)
	if i := len(prefixStock); len(number) > i && strings.EqualFold(number[:i], prefixStock) {
		key = catalog.Fold(number[i:])
	}
	for i := range d.order.Lines {
		l := &d.order.Lines[i]
		if l.Part.Key() != m.Part.Key() {
			continue
		}
		of = append(of, l.Line)
		if l.Stock != "" && catalog.Fold(l.Stock) == key {
			under = append(under, l.Line)
		}
	}
	if len(under) > 0 {
		return under
	}
	return of
}

// containers gives the stock numbers of which one must be said, since a fluid is
// counted in containers and was ordered in several sizes.
func (d *Desk) containers(m *Meaning, number string) []string {
	var out []string
	size := ""
	differ := false
	for _, n := range d.linesOf(m, number) {
		l := d.order.line(n)
		if !l.PackOf.Known {
			return nil
		}
		differ = differ || size != "" && size != l.PackOf.String()
		size = l.PackOf.String()
		out = append(out, fmt.Sprintf("%s for %s l", l.Stock, size))
	}
	if !differ {
		return nil
	}
	return out
}

// place finds the line for which a part comes, and says what it is to it. Of
// several lines it is the first that is open.
func (d *Desk) place(t *tally, c *Check) error {
	key := c.Part.Key()
	best := 0
	of := d.linesOf(c.By, c.Given)
	for i := range d.order.Lines {
		l := &d.order.Lines[i]
		if slices.Contains(of, l.Line) && (best == 0 || t.here(best) >= d.order.line(best).Wanted && t.here(l.Line) < l.Wanted) {
			best = l.Line
		}
	}
	if best > 0 {
		c.Verdict, c.Line = Right, best
		return nil
	}
	// What the unit's decision keeps from it serves for nothing.
	ans, err := d.answer(c.Part)
	if err != nil {
		return err
	}
	if ans == nil || ans.Verdict != resolve.DoesNotFit {
		for i := range d.order.Lines {
			l := &d.order.Lines[i]
			w, err := d.leads(l.Part, c.Part)
			if err != nil {
				return err
			}
			if w != nil && (best == 0 || t.here(best) >= d.order.line(best).Wanted && t.here(l.Line) < l.Wanted) {
				best = l.Line
			}
		}
	}
	if best > 0 {
		c.Verdict, c.Line, c.Ordered = Serves, best, d.order.line(best).Part
		if ans != nil {
			c.Unit = &FitOfUnit{ans.Verdict, append([]resolve.Reason{}, ans.Against...)}
		}
		return nil
	}
	// What a number demands that came in the place of another.
	for i := range d.order.Lines {
		n := d.order.Lines[i].Line
		for _, p := range *t.at(n) {
			if p.As != AsServes {
				continue
			}
			cs, err := d.companionsOf(t, n, p)
			if err != nil {
				return err
			}
			if slices.ContainsFunc(cs, func(x Companion) bool { return x.Part.Key() == key }) {
				c.Verdict, c.Line = ComesWith, n
				return nil
			}
		}
	}
	c.Verdict = Wrong
	return nil
}

// lookedAtAll says that all that is here was looked at.
func (d *Desk) lookedAtAll(t *tally) ([]Entry, []Check, error) {
	var entries []Entry
	var checks []Check
	for n := 1; n <= len(t.lines); n++ {
		for _, p := range t.lines[n-1] {
			if p.unseen() == 0 {
				continue
			}
			part, err := d.part(p.Part.Key())
			if err != nil {
				return nil, nil, err
			}
			c := Check{Do: Looked, Verdict: Done, Part: p.Part, Line: n, Qty: p.unseen(), Expect: []Expect{}, Needs: []Companion{}}
			if part != nil {
				c.Name = part.Name
			}
			e := Entry{Do: Looked, Part: p.Part, As: p.As, Line: n, Qty: p.unseen(), Per: p.Per}
			t.add(&e)
			entries, checks = append(entries, e), append(checks, c)
		}
	}
	return entries, checks, nil
}

type badFunc func(code catalog.FindingCode, value, mend, what string, args ...any) ([]Entry, []Check, error)

// change does something with what is here: it was looked at, goes back, stays, or
// was counted wrongly.
func (d *Desk) change(t *tally, in *Delivery, x *Item, c *Check, bad badFunc) ([]Entry, []Check, error) {
	c.Verdict = Done
	// Where pieces of the part are, what is foreign first: it is what goes.
	var at []int
	var of []int
	if x.Of == nil {
		if of = d.linesOf(c.By, c.Given); x.Do != Looked && len(d.containers(c.By, c.Given)) > 0 {
			return bad(catalog.BadCombination, c.Given, "say which: "+strings.Join(d.containers(c.By, c.Given), " or "), "%s was ordered in containers of more than one size", c.Part)
		}
	}
	for n := 0; n <= len(t.lines); n++ {
		p := t.find(n, c.Part.Key())
		switch {
		case p == nil, x.Of != nil && n != x.Of.Line, p.As == AsOrdered && x.Of == nil && !slices.Contains(of, n):
		default:
			at = append(at, n)
		}
	}
	if len(at) == 0 {
		return bad(catalog.Dangling, c.Given, "name what has come; platewright receive "+d.order.Number+" lists it", "nothing of %s has come for this order", c.Part)
	}
	if slices.Contains([]Do{Returned, Kept, Corrected}, x.Do) && in.Because == "" {
		return bad(catalog.Missing, c.Given, "say why with --because TEXT", "there is no reason for it")
	}
	pack := c.By.pack
	here := 0
	for _, n := range at {
		p := t.find(n, c.Part.Key())
		here += p.Here
		if l := d.order.line(n); l != nil && p.As == AsOrdered && l.Pack > 0 {
			pack = l.Pack
		}
	}
	if part, err := d.part(c.Part.Key()); err != nil {
		return nil, nil, err
	} else if part != nil && part.Kind == catalog.PartFluid {
		pack = 1
	}
	n, all := here+x.Delta, x.Count == "" && x.Delta == 0
	if !all && x.Delta == 0 {
		var what, mend string
		if n, what, mend = count(x.Count, pack); what != "" {
			return bad(catalog.BadNumber, x.Count, mend, "%s", what)
		}
	}
	var entries []Entry
	put := func(line, qty int) {
		p := t.find(line, c.Part.Key())
		e := Entry{Do: x.Do, Given: c.Given, Part: p.Part, As: p.As, Line: line, Qty: qty, Per: p.Per, Saw: strings.TrimSpace(x.Saw)}
		t.add(&e)
		entries = append(entries, e)
		c.Line = line
		c.Qty += qty
	}
	switch x.Do {
	case Corrected:
		if all || n < 0 {
			return bad(catalog.BadNumber, "", "write NUMBER=COUNT, with how many are truly here", "how many are here?")
		}
		if n == here {
			return bad(catalog.BadNumber, x.Count, "there is nothing to put right", "%d of %s are booked as here", here, c.Part)
		}
		diff := n - here
		// What is too much is taken from what came last; what is missing is added to
		// the first place.
		for i := len(at) - 1; i >= 0 && diff < 0; i-- {
			p := t.find(at[i], c.Part.Key())
			if take := min(p.Here, -diff); take > 0 {
				put(at[i], -take)
				diff += take
			}
		}
		if diff > 0 {
			put(at[len(at)-1], diff)
		}
	case Looked, Odd:
		if x.Do == Odd {
			if err := catalog.CheckText(x.Saw); err != nil || strings.TrimSpace(x.Saw) == "" || len(x.Saw) > maxText || strings.ContainsAny(x.Saw, "\n\t") {
				return bad(catalog.BadCell, x.Saw, "write NUMBER=TEXT with what is seen, in one short line", "what does %s look like?", c.Part)
			}
			c.Saw = strings.TrimSpace(x.Saw)
		}
		for _, line := range at {
			p := t.find(line, c.Part.Key())
			open := p.unseen()
			if x.Do == Looked {
				open += p.Odd // looked at again, and right after all
			}
			if x.Do == Odd && open == 0 {
				open = p.Looked
			}
			if !all {
				open = min(open, n)
			}
			if open > 0 && line > 0 {
				put(line, open)
				n -= open
			}
		}
		if len(entries) == 0 {
			return bad(catalog.BadNumber, c.Given, "nothing needs to be done", "there is nothing of %s left to look at", c.Part)
		}
	case Returned, Kept:
		if all {
			n = here
			if x.Do == Kept {
				n = d.undecided(t, c.Part.Key(), at)
			}
		}
		switch {
		case n == 0:
			return bad(catalog.BadNumber, x.Count, "platewright receive "+d.order.Number+" lists what is here", "there is nothing of %s to be decided", c.Part)
		case n > here:
			return bad(catalog.BadNumber, x.Count, "count again; platewright receive "+d.order.Number+" lists what is here", "%d of %s are here, and no %d", here, c.Part, n)
		case x.Do == Kept && n > d.undecided(t, c.Part.Key(), at):
			return bad(catalog.BadNumber, x.Count, "what was ordered stays for the unit anyway", "%d of %s are here beyond what was ordered, and no %d", d.undecided(t, c.Part.Key(), at), c.Part, n)
		}
		for _, line := range at {
			p := t.find(line, c.Part.Key())
			if take := min(p.Here, n); take > 0 {
				put(line, take)
				n -= take
			}
		}
	}
	return entries, []Check{*c}, nil
}

// undecided is how many pieces of a part are here that nobody ordered.
func (d *Desk) undecided(t *tally, key string, at []int) int {
	n := 0
	for _, line := range at {
		p := t.find(line, key)
		switch l := d.order.line(line); {
		case l == nil:
			n += p.Here
		case p.As == AsCompanion:
		default:
			n += min(p.Here, max(t.here(line)-l.Wanted, 0)*max(p.Per, 1))
		}
	}
	return n
}

// after fills in how things stand once all was counted.
func (d *Desk) after(t *tally, c *Check) error {
	var err error
	if c.Do == Came {
		if c.Expect, err = d.expect(c.Part, c.Line); err != nil {
			return err
		}
	}
	if c.Line == 0 {
		if p := t.find(0, c.Part.Key()); p != nil {
			c.Here = p.Here
		}
		if c.Do == Came {
			c.Fit, err = d.fit(c.Part)
			c.On = d.onAnother(c.Part.Key())
		}
		return err
	}
	l, err := d.lineState(t, c.Line)
	if err != nil {
		return err
	}
	c.Here, c.Open, c.More, c.Unseen, c.Complete = l.Here, l.Open, l.More, l.Unseen, l.Complete
	if c.Verdict == Serves {
		c.Needs = l.Companions
	}
	return nil
}

// onAnother finds a part among the other orders of the unit, where it is still
// awaited if there is such a line.
func (d *Desk) onAnother(part string) *OnAnother {
	var out *OnAnother
	for i := range d.beside {
		b := &d.beside[i]
		t := newTally(b.Order, b.Done)
		for j := range b.Order.Lines {
			l := &b.Order.Lines[j]
			open := max(l.Wanted-t.here(l.Line), 0)
			if l.Part.Key() == part && (out == nil || out.Open == 0 && open > 0) {
				name := b.Order.Name
				if name == "" {
					name = b.Order.Supplier
				}
				out = &OnAnother{Order: b.Order.Number, Name: name, Line: l.Line, Open: open}
			}
		}
	}
	return out
}

// count reads a count: pieces, or packs with a p or the word behind it. What is
// wrong with it is said in what, "" for nothing.
func count(text string, pack int) (n int, what, mend string) {
	const how = "write how many pieces, such as 6, or packs as 2p"
	s := strings.ToLower(strings.TrimSpace(text))
	if s == "" {
		return 1, "", ""
	}
	digits := strings.TrimRight(s, "packs ")
	unit := strings.TrimSpace(s[len(digits):])
	if unit != "" && unit != "p" && unit != "pack" && unit != "packs" {
		return 0, "this is no count", how
	}
	n, err := strconv.Atoi(digits)
	switch {
	case err != nil && strings.HasPrefix(digits, "-"), n < 0:
		return 0, "a count cannot be negative", "what goes back is written with --return NUMBER=COUNT, what was counted wrongly with --correct NUMBER=COUNT"
	case err != nil && digits != "" && strings.Trim(digits, "0123456789") == "", n > maxPieces:
		return 0, fmt.Sprintf("nobody counts more than %d pieces at once", maxPieces), "was a number scanned in the place of the count? " + how
	case err != nil:
		return 0, "this is no count", how
	}
	if unit != "" {
		if pack < 1 {
			return 0, "how many pieces a pack of it holds is not known", "count the pieces"
		}
		n *= pack
	}
	if n > maxPieces {
		return 0, fmt.Sprintf("nobody counts more than %d pieces at once", maxPieces), how
	}
	return n, "", ""
}
