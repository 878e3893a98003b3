package order

import (
	"slices"

	"platewright/catalog"
	"platewright/resolve"
)

// SheetSchema names the form of the JSON of [Sheet].
const SheetSchema = "platewright/order-sheet/1"

// Sheet is one order to one supplier as it is recorded and printed: what was
// ordered for which unit, on which decision, and what it is expected to look like.
type Sheet struct {
	Schema   string            `json:"schema"`
	Number   string            `json:"number"` // of the order; empty for a draft
	Card     int               `json:"card,omitempty"`
	Placed   string            `json:"placed,omitempty"` // RFC 3339
	By       string            `json:"by,omitempty"`     // who placed it
	Edition  resolve.Edition   `json:"edition"`          // on which it was decided
	Unit     Unit              `json:"unit"`
	Work     []Work            `json:"work"`
	Order    Order             `json:"order"`
	EvenHeld []EvenHeld        `json:"evenHeld"` // what was ordered for the unit although it was held, on this order or another
	Cautions []resolve.Caution `json:"cautions"`
}

// Sheets gives a draft of each order of a proposal.
func (p *Proposal) Sheets() []Sheet {
	out := []Sheet{}
	for _, o := range p.Orders {
		out = append(out, Sheet{Schema: SheetSchema, Edition: p.Edition, Unit: p.Unit, Work: p.Work, Order: o, EvenHeld: p.EvenHeld, Cautions: p.Cautions})
	}
	return out
}

// Held tells which lines of this order were ordered although they were held.
func (s *Sheet) Held() []EvenHeld {
	var out []EvenHeld
	for _, x := range s.EvenHeld {
		if slices.ContainsFunc(s.Order.Lines, func(l OrderLine) bool {
			return slices.ContainsFunc(l.For, func(f For) bool {
				return f.EvenHeld && catalog.Fold(f.Role) == catalog.Fold(x.Role) && (x.Position == "" || catalog.FoldValue(f.Position) == catalog.FoldValue(x.Position))
			})
		}) {
			out = append(out, x)
		}
	}
	return out
}

// RoleTaken is a part that a line of a role takes from one supplier.
type RoleTaken struct {
	Role     string
	Position string
	Held     bool // ordered although it is held
	Amount
}

// Taken tells which parts the roles take from one supplier, as the decision names
// them: of a kit that is met by its contents, the kit.
func (p *Proposal) Taken(supplier string) []RoleTaken {
	var out []RoleTaken
	for _, l := range p.Lines {
		for _, t := range l.Takes {
			if l.Role != "" && slices.ContainsFunc(t.From, func(f From) bool { return f.Supplier == supplier }) {
				out = append(out, RoleTaken{l.Role, l.Position, l.EvenHeld != nil, t.Amount})
			}
		}
	}
	return out
}

// Stands tells whether a part that was ordered for a line of a role would be
// ordered by a decision too: the line is safe to order, and one of its choices that
// can be bought has the part.
func Stands(d *resolve.Decision, role, position string, part catalog.PartNo) bool {
	safe := slices.ContainsFunc(d.SafeToOrder, func(l resolve.OrderLine) bool {
		return catalog.Fold(l.Role) == catalog.Fold(role) && catalog.FoldValue(l.Position) == catalog.FoldValue(position)
	})
	if !safe {
		return false
	}
	is := func(it resolve.Item) bool { return it.Part.Key() == part.Key() }
	for _, r := range d.Roles {
		for _, l := range r.Lines {
			if catalog.Fold(r.Role) != catalog.Fold(role) || catalog.FoldValue(l.Position) != catalog.FoldValue(position) {
				continue
			}
			for _, c := range l.Choices {
				if c.Buyable && (slices.ContainsFunc(c.Items, is) || slices.ContainsFunc(c.Companions, is)) {
					return true
				}
			}
		}
	}
	return false
}
