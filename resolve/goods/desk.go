package goods

import (
	"slices"

	"platewright/catalog"
	"platewright/resolve"
)

// Desk checks the goods-in of one order. It is not safe for concurrent use.
type Desk struct {
	reader
	order    *Order
	edition  resolve.Edition
	resolver *resolve.Resolver
	question *resolve.Question
	decision *resolve.Decision // about the unit, once it was asked for; nil where the unit is not known
	answers  map[string]*resolve.PartAnswer
	done     []Receipt
	tally    *tally
	beside   []Beside
}

// Beside is another order for the same unit, with its receipts so far.
type Beside struct {
	Order *Order
	Done  []Receipt
}

// Beside tells of the other orders for the same unit, for which something can have
// come that this one does not hold.
func (d *Desk) Beside(orders ...Beside) { d.beside = orders }

// New opens the goods-in of an order with the receipts so far, the oldest first.
// The question is the one about the unit that the order is for, nil where none is
// known.
func New(cat resolve.Catalogue, edition resolve.Edition, o *Order, q *resolve.Question, done []Receipt) *Desk {
	return &Desk{reader: reader{cat}, order: o, edition: edition, resolver: resolve.New(cat, edition), question: q,
		answers: map[string]*resolve.PartAnswer{}, done: done, tally: newTally(o, done)}
}

// StateSchema names the form of the JSON of [State].
const StateSchema = "platewright/receive/1"

// State is how an order stands at goods-in.
type State struct {
	Edition  resolve.Edition `json:"edition"`
	Order    string          `json:"order"`
	Supplier string          `json:"supplier"`
	Name     string          `json:"name,omitempty"` // of the supplier
	Card     int             `json:"card,omitempty"`
	Unit     string          `json:"unit,omitempty"`
	Complete bool            `json:"complete"` // every line is, and nothing foreign is undecided
	Lines    []LineState     `json:"lines"`
	Foreign  []Foreign       `json:"foreign"`  // what came and was not ordered
	Receipts []Receipt       `json:"receipts"` // what was done so far, the oldest first
}

// Lack is what keeps a line from being complete.
type Lack string

const (
	Short     Lack = "short"     // fewer are here than were ordered
	TooMany   Lack = "too-many"  // more are here than were ordered
	NotLooked Lack = "look"      // nobody has looked at all of it
	LooksOdd  Lack = "odd"       // something looks otherwise
	Alone     Lack = "companion" // what must come along is neither ordered, here, nor on the shelf
	Unsettled Lack = "fit"       // that what came in the place of another fits the unit is not settled, or a confirmed note says that it did not
)

// LineState is how a line stands.
type LineState struct {
	Line
	Here       int         `json:"here"` // pieces that count for the line; of a fluid, containers
	Open       int         `json:"open"` // have not come
	More       int         `json:"more"` // here beyond what was ordered
	Unseen     int         `json:"unseen"`
	Complete   bool        `json:"complete"`
	Lacks      []Lack      `json:"lacks"`
	Pieces     []Pieces    `json:"pieces"`     // what came, by number
	Expect     []Expect    `json:"expect"`     // what is to be seen, and need not worry anybody
	Companions []Companion `json:"companions"` // what a number that serves for another demands
}

// Where tells where a companion is.
type Where string

const (
	OnOrder  Where = "order"
	Arrived  Where = "arrived"
	OnShelf  Where = "shelf"
	NotThere Where = "missing"
)

// Companion is a part that must come along with what arrived in the place of what
// was ordered.
type Companion struct {
	Part  catalog.PartNo `json:"part"`
	Name  string         `json:"name"`
	With  catalog.PartNo `json:"with"`
	Qty   int            `json:"qty"`
	Why   string         `json:"why,omitempty"`
	Where Where          `json:"where"`
	Place string         `json:"place,omitempty"` // on the shelf
}

// Foreign is a part that arrived and was not ordered.
type Foreign struct {
	Pieces
	Name string `json:"name"`
	Look string `json:"look,omitempty"`
	Fit  *Fit   `json:"fit"`
}

// State gives how the order stands.
func (d *Desk) State() (*State, error) { return d.state(d.tally) }

func (d *Desk) state(t *tally) (*State, error) {
	o := d.order
	s := &State{Edition: d.edition, Order: o.Number, Supplier: o.Supplier, Name: o.Name, Card: o.Card, Unit: o.Unit,
		Complete: true, Lines: []LineState{}, Foreign: []Foreign{}, Receipts: append([]Receipt{}, d.done...)}
	for i := range o.Lines {
		l, err := d.lineState(t, i+1)
		if err != nil {
			return nil, err
		}
		s.Complete = s.Complete && l.Complete
		s.Lines = append(s.Lines, *l)
	}
	for _, p := range t.foreign {
		if p.Here == 0 && p.Came == 0 {
			continue // taken back
		}
		f := Foreign{Pieces: *p}
		part, err := d.part(p.Part.Key())
		if err != nil {
			return nil, err
		}
		if part != nil {
			f.Name, f.Look = part.Name, part.Look
		}
		if f.Fit, err = d.fit(p.Part); err != nil {
			return nil, err
		}
		s.Complete = s.Complete && p.Here == 0
		s.Foreign = append(s.Foreign, f)
	}
	return s, nil
}

func (d *Desk) lineState(t *tally, n int) (*LineState, error) {
	l := &LineState{Line: *d.order.line(n), Lacks: []Lack{}, Pieces: []Pieces{}, Expect: []Expect{}, Companions: []Companion{}}
	if l.Roles == nil {
		l.Roles = []string{}
	}
	l.Here = t.here(n)
	l.Open, l.More = max(l.Wanted-l.Here, 0), max(l.Here-l.Wanted, 0)
	var err error
	if l.Expect, err = d.expect(l.Part, n); err != nil {
		return nil, err
	}
	odd, unseen, unsettled := 0, 0, false
	for _, p := range *t.at(n) {
		l.Pieces = append(l.Pieces, *p)
		odd += p.Odd
		if p.As == AsServes {
			cs, err := d.companionsOf(t, n, p)
			if err != nil {
				return nil, err
			}
			l.Companions = append(l.Companions, cs...)
			ans, err := d.answer(p.Part)
			if err != nil {
				return nil, err
			}
			unsettled = unsettled || p.Here > 0 && ans != nil && (ans.Verdict != resolve.Fits || len(ans.Against) > 0)
		}
		look, err := d.hasLook(p.Part, n)
		if err != nil {
			return nil, err
		}
		if look {
			unseen += p.unseen()
		}
	}
	l.Unseen = unseen
	lack := func(is bool, what Lack) {
		if is {
			l.Lacks = append(l.Lacks, what)
		}
	}
	lack(l.Open > 0, Short)
	lack(l.More > 0, TooMany)
	lack(unseen > 0, NotLooked)
	lack(odd > 0, LooksOdd)
	lack(slices.ContainsFunc(l.Companions, func(c Companion) bool { return c.Where == NotThere }), Alone)
	lack(unsettled, Unsettled)
	l.Complete = len(l.Lacks) == 0
	return l, nil
}

// hasLook tells whether there is anything to look at on a part of a line.
func (d *Desk) hasLook(part catalog.PartNo, line int) (bool, error) {
	p, err := d.part(part.Key())
	if err != nil {
		return false, err
	}
	l := d.order.line(line)
	return p != nil && p.Look != "" || l != nil && l.Look != "" && l.Part.Key() == part.Key(), nil
}

// companionsOf gives what a part demands that came in the place of the one ordered,
// beyond what that one demands itself: that was reckoned with when it was ordered.
func (d *Desk) companionsOf(t *tally, line int, p *Pieces) ([]Companion, error) {
	if p.Here == 0 {
		return nil, nil
	}
	ordered := d.order.line(line).Part
	way, err := d.leads(ordered, p.Part)
	if err != nil || way == nil {
		return nil, err
	}
	before, err := group[catalog.Companion](d.reader, catalog.TCompanions, ordered.Key())
	if err != nil {
		return nil, err
	}
	rows, err := group[catalog.Companion](d.reader, catalog.TCompanions, p.Part.Key())
	if err != nil {
		return nil, err
	}
	var out []Companion
	for _, row := range rows {
		switch {
		case row.Replacing != "" && !slices.Contains(way.path, row.Replacing.Key()):
			continue
		case slices.ContainsFunc(before, func(b *catalog.Companion) bool {
			return b.Companion.Key() == row.Companion.Key() && b.Replacing == "" && b.Qty*max(d.order.line(line).Wanted, 1) >= row.Qty
		}):
			continue
		}
		c := Companion{Part: row.Companion, With: p.Part, Qty: row.Qty, Why: row.Why, Where: NotThere}
		if row.Per == catalog.PerPart {
			c.Qty *= p.Here
		}
		part, err := d.part(row.Companion.Key())
		if err != nil {
			return nil, err
		}
		if part != nil {
			c.Name = part.Name
		}
		if err := d.whereIs(t, &c); err != nil {
			return nil, err
		}
		out = append(out, c)
	}
	return out, nil
}

// whereIs looks for a companion: on the order, among what came, on the shelf.
func (d *Desk) whereIs(t *tally, c *Companion) error {
	for i := range d.order.Lines {
		if l := &d.order.Lines[i]; l.Part.Key() == c.Part.Key() && l.Wanted >= c.Qty {
			c.Where = OnOrder
			return nil
		}
	}
	came := 0
	for n := 0; n <= len(t.lines); n++ {
		if p := t.find(n, c.Part.Key()); p != nil && (p.As == AsCompanion || p.As == AsOrdered) {
			came += p.Here
		}
	}
	if came >= c.Qty {
		c.Where = Arrived
		return nil
	}
	rows, err := group[catalog.ShelfItem](d.reader, catalog.TShelf, c.Part.Key())
	if err != nil {
		return err
	}
	for _, row := range rows {
		if row.Qty >= c.Qty {
			c.Where, c.Place = OnShelf, row.Place
			return nil
		}
	}
	return nil
}
