package order

import (
	"context"
	"slices"
	"strings"

	"github.com/shopspring/decimal"

	"platewright/catalog"
	"platewright/resolve"
	"platewright/resolve/purchase"
)

// mostForced bounds how many cheaper offers are planned with, one after the other.
const mostForced = 12

// explainNodes bounds the search of each plan that only explains: what it does not
// prove it says, and an answer does not wait for it.
const explainNodes = 200

// explain says what other plans would cost: each is a plan of its own.
func (m *model) explain(ctx context.Context, plan *purchase.Plan) error {
	x := &Explained{Cheaper: []Cheaper{}}
	m.p.Explained = x
	if plan.Arrives != 0 {
		p := m.problem
		p.Aim, p.By = purchase.LeastCost, dayBefore(plan.Arrives)
		s, err := m.solve(ctx, p, explainNodes)
		if err != nil {
			return err
		}
		x.Sooner = other(plan, s)
	}
	if plan.Deliveries > 1 && plan.Aim != purchase.FewestDeliveries {
		p := m.problem
		p.Aim = purchase.FewestDeliveries
		s, err := m.solve(ctx, p, explainNodes)
		if err != nil {
			return err
		}
		if o := other(plan, s); o.Deliveries < plan.Deliveries || !o.Proven {
			x.Fewest = o
		}
	}
	if err := m.costFirst(ctx, plan); err != nil {
		return err
	}
	forced := 0
	for _, o := range plan.Orders {
		for _, l := range o.Lines {
			if err := m.cheaper(ctx, plan, o, l, &forced); err != nil {
				return err
			}
		}
	}
	return nil
}

// costFirst says what the plan would cost with the first choice of each line for
// which another is taken.
func (m *model) costFirst(ctx context.Context, plan *purchase.Plan) error {
	costed := 0
	for i := range m.p.Lines {
		l := &m.p.Lines[i]
		if l.Instead == nil {
			continue
		}
		if costed++; costed > mostForced {
			break
		}
		for ni := range m.needs {
			n := &m.needs[ni]
			k := slices.IndexFunc(n.lines, func(j int) bool {
				o := &m.lines[j].Line
				return o.Role == l.Role && o.Position == l.Position && o.Consumable == l.Consumable
			})
			if k < 0 {
				continue
			}
			p := m.problem
			p.Needs = slices.Clone(p.Needs)
			at := slices.IndexFunc(p.Needs, func(x purchase.Need) bool { return x.Key == n.key })
			p.Needs[at].Ways = slices.Clone(p.Needs[at].Ways)
			for w := range p.Needs[at].Ways {
				if n.ways[w].of[k] != 0 {
					p.Needs[at].Ways[w].Wants = []purchase.Amount{{Item: never, Qty: 1}}
				}
			}
			s, err := m.solve(ctx, p, explainNodes)
			if err != nil {
				return err
			}
			o := other(plan, s)
			l.Instead.Costed, l.Instead.Possible, l.Instead.Proven = true, o.Possible, o.Proven
			if o.Possible {
				l.Instead.Less = o.More
			}
		}
	}
	return nil
}

// cheaper lists the offers of the same good that cost less a piece than a line.
func (m *model) cheaper(ctx context.Context, plan *purchase.Plan, o purchase.Order, l purchase.Line, forced *int) error {
	each := m.cost(o.Supplier, l.Total).Div(decimal.NewFromInt(int64(l.Pieces)))
	for i := range m.problem.Offers {
		c := &m.problem.Offers[i]
		if c.Good != l.Good || c.Supplier == o.Supplier && c.Stock == l.Stock || taken(plan, c.Supplier, c.Stock) || refusedIn(plan, c) {
			continue
		}
		packs := (l.Pieces + c.Pack - 1) / c.Pack
		price := c.Price
		most := 1
		for _, b := range c.Breaks {
			if b.Packs <= packs && b.Packs > most {
				price, most = b.Price, b.Packs
			}
		}
		price = m.cost(c.Supplier, price)
		if price.Div(decimal.NewFromInt(int64(c.Pack))).GreaterThanOrEqual(each) {
			continue
		}
		y := Cheaper{Supplier: c.Supplier, Stock: c.Stock, Part: m.offers[ref{c.Supplier, c.Stock}].Part, Than: o.Supplier, ThanNo: l.Stock,
			Holds: m.pack(l.Good, ref{c.Supplier, c.Stock}), ThanPack: m.pack(l.Good, ref{o.Supplier, l.Stock}),
			Saves: m.cost(o.Supplier, l.Total).Sub(price.Mul(decimal.NewFromInt(int64(packs))))}
		switch {
		case c.OnHand != purchase.AnyNumber && c.OnHand < packs:
			y.Why = purchase.CheaperStock
		case !y.Saves.IsPositive():
			y.Why = purchase.CheaperPack
		case *forced >= mostForced:
			y.Why = purchase.CheaperWhole
		default:
			*forced++
			if err := m.force(ctx, plan, c, &y); err != nil {
				return err
			}
		}
		m.p.Explained.Cheaper = append(m.p.Explained.Cheaper, y)
	}
	return nil
}

// pack tells what a pack of an offer holds.
func (m *model) pack(good string, at ref) Pack {
	if m.fluids[good] {
		return Pack{Litres: hundredths(m.packs[at])}
	}
	return Pack{Qty: m.packs[at]}
}

// force plans with no other offer of the good than the cheaper one.
func (m *model) force(ctx context.Context, plan *purchase.Plan, c *purchase.Offer, y *Cheaper) error {
	p := m.problem
	p.Offers = nil
	for _, o := range m.problem.Offers {
		if o.Good != c.Good || o.Supplier == c.Supplier && o.Stock == c.Stock {
			p.Offers = append(p.Offers, o)
		}
	}
	s, err := m.solve(ctx, p, explainNodes)
	if err != nil {
		return err
	}
	i := slices.IndexFunc(m.problem.Suppliers, func(s purchase.Supplier) bool { return s.Key == c.Supplier })
	with := m.problem.Suppliers[i]
	at := slices.IndexFunc(plan.Orders, func(o purchase.Order) bool { return o.Supplier == c.Supplier })
	if !s.Found || !taken(s, c.Supplier, c.Stock) || len(s.Uncovered) > len(plan.Uncovered) {
		y.Why = purchase.CheaperWhole
		if slices.ContainsFunc(s.Uncovered, func(u purchase.Uncovered) bool { return u.Why == purchase.TooLate }) {
			y.Why = purchase.CheaperLate
		} else if at < 0 && with.Minimum.IsPositive() {
			y.Why = purchase.CheaperMinimum
		}
		return nil
	}
	more := s.Total.Sub(plan.Total)
	y.More = &more
	switch {
	case plan.Aim == purchase.Earliest && s.Arrives > plan.Arrives:
		y.Why = purchase.CheaperLate
	case plan.Aim != purchase.LeastCost && !more.IsPositive():
		y.Why = purchase.CheaperWhole
	case more.IsZero():
		y.Why = purchase.CheaperEqual
	case at < 0 && with.Minimum.IsPositive() && m.goodsOf(s, c.Supplier).GreaterThan(c.Price.Mul(decimal.NewFromInt(int64(packsOf(s, c))))):
		y.Why = purchase.CheaperMinimum
	case at < 0 || s.Freight.GreaterThan(plan.Freight):
		y.Why = purchase.CheaperFreight
	default:
		y.Why = purchase.CheaperWhole
	}
	return nil
}

func taken(p *purchase.Plan, supplier, stock string) bool {
	return slices.ContainsFunc(p.Orders, func(o purchase.Order) bool {
		return o.Supplier == supplier && slices.ContainsFunc(o.Lines, func(l purchase.Line) bool { return l.Stock == stock })
	})
}

func refusedIn(p *purchase.Plan, o *purchase.Offer) bool {
	return slices.ContainsFunc(p.Refused, func(r purchase.Refused) bool { return r.Supplier == o.Supplier && r.Stock == o.Stock })
}

func (m *model) goodsOf(p *purchase.Plan, supplier string) decimal.Decimal {
	for _, o := range p.Orders {
		if o.Supplier == supplier {
			return o.Goods
		}
	}
	return decimal.Zero
}

func packsOf(p *purchase.Plan, c *purchase.Offer) int {
	for _, o := range p.Orders {
		for _, l := range o.Lines {
			if o.Supplier == c.Supplier && l.Stock == c.Stock {
				return l.Packs
			}
		}
	}
	return 0
}

// Risk is a role that one scope of work renews and another leaves as it is.
type Risk struct {
	Role string       `json:"role"`
	Name string       `json:"name"`
	Need catalog.Need `json:"need"`
	Work string       `json:"work"` // the scope of work that renews it
	Why  string       `json:"why"`  // why it does
}

// Leaves tells what a proposal leaves as it is that another one beside it renews:
// the roles ordered there and not here, with why the scope of work there takes them.
// What is in a set or kit that can fill a role here is renewed here too; d is the
// decision that the proposal was made on.
func Leaves(cat resolve.Catalogue, here, there *Proposal, d *resolve.Decision) ([]Risk, error) {
	r := newReader(cat)
	out := []Risk{}
	inside := map[string]bool{}
	for _, role := range d.Roles {
		if !takes(here, role.Role) {
			continue
		}
		for _, l := range role.Lines {
			for _, c := range l.Choices {
				for _, it := range c.Items {
					rows, err := group[catalog.Content](r, catalog.TContents, it.Part.Key())
					if err != nil {
						return nil, err
					}
					for _, row := range rows {
						inside[row.Part.Key()] = true
					}
				}
			}
		}
	}
	renewed := func(role string) bool {
		all := true
		for _, l := range there.Lines {
			for _, t := range l.Takes {
				all = all && (l.Role != role || inside[t.Part.Key()])
			}
		}
		return all
	}
	for _, w := range there.Work {
		rows, err := group[catalog.WorkRole](r, catalog.TWorkRoles, catalog.Fold(w.Work))
		if err != nil {
			return nil, err
		}
		for _, row := range rows {
			if takes(here, row.Role) || !takes(there, row.Role) || renewed(row.Role) || slices.ContainsFunc(out, func(x Risk) bool { return x.Role == row.Role }) {
				continue
			}
			role, err := one[catalog.Role](r, catalog.TRoles, catalog.Fold(row.Role))
			if err != nil {
				return nil, err
			}
			x := Risk{Role: row.Role, Name: row.Role, Need: row.Need, Work: row.Work, Why: row.Why}
			if role != nil {
				x.Name = role.Name
			}
			out = append(out, x)
		}
	}
	slices.SortFunc(out, func(a, b Risk) int { return strings.Compare(a.Role, b.Role) })
	return out, nil
}

func takes(p *Proposal, role string) bool {
	return slices.ContainsFunc(p.Lines, func(l Line) bool { return l.Role == role })
}
