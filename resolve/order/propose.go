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

// Propose plans what to order for a decision. It stops early when the context is
// cancelled or its deadline passes, with the best plan found until then. The error
// is an [*AskError] or a [*purchase.InputError], or trouble of the catalogue.
func Propose(ctx context.Context, cat resolve.Catalogue, ask Ask) (*Proposal, error) {
	m, err := stated(cat, &ask)
	if err != nil {
		return nil, err
	}
	plan, err := m.solve(ctx, m.problem, ask.Nodes)
	if err != nil {
		return nil, err
	}
	if err := m.tell(plan); err != nil {
		return nil, err
	}
	if !ask.Recommended && slices.ContainsFunc(m.p.LeftOut, func(l LeftOut) bool { return l.Reason == OnlyRecommended }) {
		if m.p.Recommended, err = withRecommended(ctx, cat, ask, plan); err != nil {
			return nil, err
		}
	}
	if ask.Explain && plan.Found {
		if err := m.explain(ctx, plan); err != nil {
			return nil, err
		}
	}
	m.p.roundTotals()
	return m.p, nil
}

func stated(cat resolve.Catalogue, ask *Ask) (*model, error) {
	d := ask.Decision
	m := &model{reader: newReader(cat), ask: ask, notes: notes(d)}
	m.p = &Proposal{Schema: Schema, Edition: d.Edition, Unit: unit(d), Work: []Work{}, Aim: ask.Aim, RoleNames: map[string]string{}, Stopped: stop(d), Warnings: warnings(d), Orders: []Order{}, Shelf: []Pick{}, Reserved: []Reserved{}, Lines: []Line{}, Spares: []Spare{},
		Uncovered: []Uncovered{}, Held: append([]resolve.HeldLine{}, d.Held...), EvenHeld: []EvenHeld{}, LeftOut: []LeftOut{}, Refused: []Refused{}, Doubles: []Double{},
		Cautions: append([]resolve.Caution{}, d.Cautions...), Notes: []resolve.Note{}, By: day(ask.By)}
	if !ask.Moment.IsZero() {
		m.p.Moment = ask.Moment.Format("2006-01-02T15:04")
	}
	for _, w := range d.Question.Work {
		row, err := one[catalog.WorkScope](m.reader, catalog.TWork, catalog.Fold(w))
		if err != nil {
			return nil, err
		}
		if row != nil {
			m.p.Work = append(m.p.Work, Work{row.Work, row.Name, row.About})
		}
	}
	for _, r := range d.Roles {
		m.p.RoleNames[r.Role] = r.Name
	}
	if m.p.Stopped != "" && len(ask.EvenHeld) > 0 {
		return nil, cannot("read the unit again: platewright resolve says what cannot be", "nothing is ordered for a unit that is not known, held or not")
	}
	if m.p.Stopped == "" {
		if err := m.gather(); err != nil {
			return nil, err
		}
	}
	// What is ordered although it is held is held no longer.
	m.p.Held = slices.DeleteFunc(m.p.Held, func(h resolve.HeldLine) bool {
		return slices.ContainsFunc(m.lines, func(l *line) bool {
			return l.EvenHeld != nil && l.Role == h.Role && (h.Position == "" || l.Position == h.Position)
		})
	})
	if err := m.state(); err != nil {
		return nil, err
	}
	m.p.Currency = m.problem.Currency
	return m, nil
}

// day gives a date as text, "" for none.
func day(d catalog.Date) string {
	if d == 0 {
		return ""
	}
	return d.String()
}

// unit gives the identification to quote.
func unit(d *resolve.Decision) Unit {
	q := &d.Question
	u := Unit{Plate: q.Plate, Labels: append([]string{}, q.Labels...), Built: q.BuiltISO, Assemblies: []Assembly{}, Mixed: d.Mixed != nil}
	if u.Plate == "" {
		for _, f := range sortedKeys(q.Fields) {
			u.Plate = strings.TrimSpace(u.Plate + " " + f + " " + q.Fields[f])
		}
	}
	if q.Serial != 0 {
		u.Serial = q.Serial.String()
	}
	for _, r := range d.Reading {
		for _, x := range r.Matches {
			// What the reading of the unit spells, where it spells one thing only.
			if len(d.Assemblies) == 0 || r.Assembly != d.Assemblies[0].Assembly || len(r.Matches) > 1 {
				continue
			}
			if u.Serial == "" && x.Serial != 0 {
				u.Serial = x.Serial.String()
			}
			if u.Built == "" && x.BuiltFrom != "" {
				u.Built = x.BuiltFrom
				if x.BuiltTo != x.BuiltFrom {
					u.Built += "/" + x.BuiltTo // an interval as ISO 8601 writes it
				}
			}
		}
	}
	for _, s := range d.Assemblies {
		a := Assembly{Assembly: s.Assembly, Name: s.Assembly, Basis: s.Basis, Variants: []catalog.VariantCode{}, Total: s.Total}
		for _, c := range s.Candidates {
			a.Variants = append(a.Variants, c.Variant)
		}
		if len(s.Candidates) == 1 {
			a.About, a.Family = s.Candidates[0].Name, s.Candidates[0].Family
		}
		u.Assemblies = append(u.Assemblies, a)
	}
	return u
}

// solve plans a problem; what covers nothing has a plan that buys nothing.
func (m *model) solve(ctx context.Context, p purchase.Problem, nodes int) (*purchase.Plan, error) {
	if m.ask.Nodes > 0 {
		nodes = min(nodes, m.ask.Nodes)
	}
	plan, err := m.solveFluids(ctx, p, nodes)
	if err == nil && plan == nil {
		err = cannot("report the question with its catalogue", "the planner found neither a plan nor a reason why there is none")
	}
	return plan, err
}

// amount says how much of an item, in pieces or litres.
func (m *model) amount(key string, qty int) (Amount, error) {
	p, err := m.part(key)
	if err != nil {
		return Amount{}, err
	}
	a := Amount{Part: catalog.PartNo(key)}
	if p != nil {
		a.Part, a.Name = p.Part, p.Name
	}
	if m.fluids[key] {
		a.Litres = hundredths(qty)
	} else {
		a.Qty = qty
	}
	return a, nil
}

func hundredths(n int) catalog.Decimal {
	return catalog.Decimal{Num: decimal.New(int64(n), -2), Known: true}
}

// tell writes a plan down in parts, roles and suppliers.
func (m *model) tell(plan *purchase.Plan) error {
	p := m.p
	p.Found, p.Complete = plan.Found, plan.Complete
	p.Goods, p.Freight, p.Total, p.Deliveries, p.Arrives = plan.Goods, plan.Freight, plan.Total, plan.Deliveries, day(plan.Arrives)
	x := plan.Proof
	p.Proof = Proof{x.Proven, x.Limit, x.Bound, x.Gap, day(x.Soonest), x.Deliveries, x.Nodes}
	m.keepShelf(plan)
	uses, err := m.deal(plan)
	if err != nil {
		return err
	}
	m.settleHeld()
	for _, o := range plan.Orders {
		s := m.suppliers[o.Supplier]
		at := slices.IndexFunc(m.problem.Suppliers, func(s purchase.Supplier) bool { return s.Key == o.Supplier })
		order := Order{Supplier: o.Supplier, Name: s.Name, Currency: o.Currency, Lines: []OrderLine{}, Goods: o.Goods, Freight: o.Freight, Free: o.Free, Total: o.Total, Cost: o.Cost,
			Sends: day(m.problem.Suppliers[at].Sends), Arrives: day(o.Arrives)}
		for _, l := range o.Lines {
			of := m.offers[ref{o.Supplier, l.Stock}]
			row, err := m.part(l.Good)
			if err != nil {
				return err
			}
			y := OrderLine{Stock: l.Stock, Part: of.Part, Packs: l.Packs, Price: l.Price, Total: l.Total, Arrives: day(l.Arrives), For: append([]For{}, uses[ref{o.Supplier, l.Stock}]...)}
			if row != nil {
				y.Part, y.Name, y.Kind, y.Origin, y.Look = row.Part, row.Name, row.Kind, row.Origin, row.Look
			}
			if m.fluids[l.Good] {
				y.PackOf, y.Litres = hundredths(m.packs[ref{o.Supplier, l.Stock}]), hundredths(l.Pieces)
			} else {
				y.Pack, y.Qty = of.Pack, l.Pieces
			}
			order.Lines = append(order.Lines, y)
		}
		p.Orders = append(p.Orders, order)
	}
	for _, s := range plan.Spares {
		a, err := m.amount(s.Item, s.Qty)
		if err != nil {
			return err
		}
		p.Spares = append(p.Spares, Spare{a, s.Supplier, s.Stock, len(uses[ref{s.Supplier, s.Stock}]) == 0})
	}
	for _, u := range plan.Uncovered {
		if err := m.uncovered(u); err != nil {
			return err
		}
	}
	for _, n := range m.ask.Decision.Notes {
		of := catalog.Fold(n.Of)
		if n.On != catalog.NoteOnPart && n.ShopNote != nil && n.Part != "" {
			of = n.Part.Key() // a note on a number of the part
		} else if n.On != catalog.NoteOnPart {
			continue
		}
		if slices.ContainsFunc(p.Lines, func(l Line) bool {
			return slices.ContainsFunc(l.Takes, func(t Taken) bool {
				return t.Part.Key() == of || slices.ContainsFunc(t.From, func(f From) bool { return f.Part.Key() == of })
			})
		}) {
			p.Notes = append(p.Notes, n)
		}
	}
	p.Refused = append(p.Refused, m.refused...)
	for _, r := range plan.Refused {
		p.Refused = append(p.Refused, Refused{r.Supplier, r.Stock, m.offers[ref{r.Supplier, r.Stock}].Part, WhyRefused(r.Why)})
	}
	return m.doubles()
}

// keepShelf leaves on the shelf what a kit on the order brings anyway.
func (m *model) keepShelf(plan *purchase.Plan) {
	for i := range plan.Spares {
		s := &plan.Spares[i]
		if m.offers[ref{s.Supplier, s.Stock}].Part.Key() == s.Item {
			continue // no kit
		}
		for k := range plan.Covered {
			c := &plan.Covered[k]
			for u := 0; u < len(c.Uses); u++ {
				q := min(s.Qty, c.Uses[u].Qty)
				if c.Uses[u].Supplier != "" || c.Uses[u].Item != s.Item || q == 0 {
					continue
				}
				rest := c.Uses[u]
				rest.Qty -= q
				c.Uses[u].Qty, c.Uses[u].Supplier, c.Uses[u].Stock = q, s.Supplier, s.Stock
				if s.Qty -= q; rest.Qty > 0 {
					c.Uses = slices.Insert(c.Uses, u+1, rest)
				}
			}
		}
	}
	plan.Spares = slices.DeleteFunc(plan.Spares, func(s purchase.Spare) bool { return s.Qty == 0 })
}

func (m *model) need(key string) *joined {
	i := slices.IndexFunc(m.needs, func(n joined) bool { return n.key == key })
	return &m.needs[i]
}

func (m *model) uncovered(u purchase.Uncovered) error {
	out := Uncovered{Lines: []For{}, Why: u.Why, Sooner: day(u.Sooner)}
	for _, i := range m.need(u.Need).lines {
		out.Lines = append(out.Lines, forLine(&m.lines[i].Line))
	}
	if u.Item != "" {
		w, err := m.amount(u.Item, u.Wanted)
		if err != nil {
			return err
		}
		most, err := m.amount(u.Item, u.Most)
		if err != nil {
			return err
		}
		out.Wanted, out.Most = &w, &most
	}
	m.p.Uncovered = append(m.p.Uncovered, out)
	return nil
}

func forLine(l *Line) For {
	return For{l.Role, l.Consumable, l.Name, l.Position, l.EvenHeld != nil}
}

// deal hands what the plan gives to each need on to its lines, and notes what is
// taken from which place of the shelf. It gives the lines that each offer serves.
func (m *model) deal(plan *purchase.Plan) (map[ref][]For, error) {
	serves := map[ref][]For{}
	type pickKey struct{ part, at, kit string }
	picks := map[pickKey]*Pick{}
	var order []pickKey
	left := map[string][]place{}
	for k, ps := range m.shelf {
		left[k] = slices.Clone(ps)
	}
	done := map[int]Line{}
	for _, c := range plan.Covered {
		n := m.need(c.Need)
		w := &n.ways[c.Way]
		uses := slices.Clone(c.Uses)
		for k, i := range n.lines {
			l := m.lines[i].Line
			if w.of[k] != 0 && m.lines[i].first {
				l.Instead = &Instead{Parts: []catalog.PartNo{}}
				for _, x := range m.lines[i].ways[0].wants {
					if !x.companion {
						l.Instead.Parts = append(l.Instead.Parts, x.part)
					}
				}
			}
			for _, x := range w.wants[k] {
				t := Taken{Companion: x.companion, From: []From{}}
				var err error
				if t.Amount, err = m.amount(x.key, x.qty); err != nil {
					return nil, err
				}
				if p, err := m.part(x.key); err != nil {
					return nil, err
				} else if p != nil {
					t.Look, t.Origin = p.Look, p.Origin
				}
				items, err := m.expand(x.key, x.qty)
				if err != nil {
					return nil, err
				}
				for _, it := range items {
					for need, u := it.qty, 0; need > 0 && u < len(uses); u++ {
						q := min(need, uses[u].Qty)
						if uses[u].Wanted != it.key || q == 0 {
							continue
						}
						need -= q
						uses[u].Qty -= q
						if uses[u].Supplier != "" {
							at := ref{uses[u].Supplier, uses[u].Stock}
							f, err := m.from(uses[u].Item, q)
							if err != nil {
								return nil, err
							}
							f.Supplier, f.Stock = at.supplier, at.stock
							if o := m.offers[at]; o.Part.Key() != uses[u].Item {
								f.Kit = o.Part
							}
							t.From = append(t.From, f)
							if x := forLine(&l); !slices.Contains(serves[at], x) {
								serves[at] = append(serves[at], x)
							}
							continue
						}
						for s := range left[uses[u].Item] {
							pl := &left[uses[u].Item][s]
							take := min(q, pl.left)
							if take == 0 {
								continue
							}
							q -= take
							pl.left -= take
							f, err := m.from(uses[u].Item, take)
							if err != nil {
								return nil, err
							}
							f.Place = pl.at
							if pl.part.Key() != uses[u].Item {
								f.Kit = pl.part
							}
							t.From = append(t.From, f)
							key := pickKey{uses[u].Item, pl.at, string(f.Kit)}
							if picks[key] == nil {
								picks[key] = &Pick{Amount: Amount{Part: f.Part, Name: f.Name}, Place: pl.at, Kit: f.Kit, For: []For{}}
								order = append(order, key)
							}
							pk := picks[key]
							pk.Qty += f.Qty
							if f.Litres.Known {
								pk.Litres = catalog.Decimal{Num: pk.Litres.Num.Add(f.Litres.Num), Known: true}
							}
							if x := forLine(&l); !slices.Contains(pk.For, x) {
								pk.For = append(pk.For, x)
							}
						}
					}
				}
				l.Takes = append(l.Takes, t)
			}
			done[i] = l
		}
	}
	for _, i := range sortedKeys(done) {
		m.p.Lines = append(m.p.Lines, done[i])
	}
	for _, k := range order {
		m.p.Shelf = append(m.p.Shelf, *picks[k])
	}
	return serves, nil
}

func (m *model) from(item string, qty int) (From, error) {
	a, err := m.amount(item, qty)
	return From{Amount: a}, err
}

// doubles notes which parts of the lines a kit of another line holds too.
func (m *model) doubles() error {
	for i := range m.p.Lines {
		for j := range m.p.Lines {
			if i == j {
				continue
			}
			for _, kit := range m.p.Lines[j].Takes {
				holds, err := m.contents(kit.Part.Key())
				if err != nil {
					return err
				}
				for _, t := range m.p.Lines[i].Takes {
					if inside, err := m.contents(t.Part.Key()); err != nil {
						return err
					} else if inside != nil {
						continue
					}
					for _, c := range holds {
						if c.key == t.Part.Key() {
							m.p.Doubles = append(m.p.Doubles, Double{t.Amount, forLine(&m.p.Lines[i]), kit.Part, forLine(&m.p.Lines[j])})
						}
					}
				}
			}
		}
	}
	return nil
}

// withRecommended plans with what the work recommends.
func withRecommended(ctx context.Context, cat resolve.Catalogue, ask Ask, plan *purchase.Plan) (*Other, error) {
	ask.Recommended, ask.Explain = true, false
	m, err := stated(cat, &ask)
	if err != nil {
		return nil, err
	}
	m.problem.Currency = plan.Currency
	p, err := m.solve(ctx, m.problem, explainNodes)
	if err != nil {
		return nil, err
	}
	return other(plan, p), nil
}

// other holds a plan beside the one made.
func other(plan, p *purchase.Plan) *Other {
	o := &Other{Possible: p.Found && len(p.Uncovered) <= len(plan.Uncovered), Proven: p.Proof.Proven}
	if p.Found {
		o.More, o.Total, o.Deliveries, o.Arrives = p.Total.Sub(plan.Total), p.Total, p.Deliveries, day(p.Arrives)
	}
	return o
}
