package order

import (
	"cmp"
	"slices"
	"strings"

	"github.com/shopspring/decimal"

	"platewright/catalog"
	"platewright/resolve/purchase"
)

// ref names an offer.
type ref struct{ supplier, stock string }

// model is a question to package purchase with what its keys stand for.
type model struct {
	*reader
	ask   *Ask
	p     *Proposal
	notes noter

	lines []*line
	needs []joined

	problem   purchase.Problem
	wanted    map[string]bool // items
	fluids    map[string]bool // items that are counted in hundredths of a litre
	suppliers map[string]*catalog.Supplier
	offers    map[ref]*catalog.Offer
	packs     map[ref]int // pieces in a pack, of a fluid hundredths of a litre
	refused   []Refused
	shelf     map[string][]place // by item, in the order in which it is taken
}

// place is pieces of an item on the shelf.
type place struct {
	part catalog.PartNo // the item, or the kit that it is in
	at   string
	left int
}

// state makes the question for the lines.
func (m *model) state() error {
	m.join()
	m.wanted, m.fluids = map[string]bool{}, map[string]bool{}
	for i := range m.needs {
		n := &m.needs[i]
		need := purchase.Need{Key: n.key}
		for k := range n.ways {
			for _, ws := range n.ways[k].wants {
				for _, x := range ws {
					if x.fluid {
						m.fluids[x.key] = true
					}
				}
			}
			as, err := m.amounts(&n.ways[k])
			if err != nil {
				return err
			}
			for _, a := range as {
				m.wanted[a.Item] = true
			}
			need.Ways = append(need.Ways, purchase.Way{Wants: as})
		}
		m.problem.Needs = append(m.problem.Needs, need)
	}
	if err := m.readShelf(); err != nil {
		return err
	}
	return m.readOffers()
}

// readShelf reads what the shop has of the wanted items, kits taken apart.
func (m *model) readShelf() error {
	m.shelf = map[string][]place{}
	return m.eachGood(func(key string, holds []content) error {
		rows, err := group[catalog.ShelfItem](m.reader, catalog.TShelf, key)
		if err != nil {
			return err
		}
		for _, row := range rows {
			for _, c := range holds {
				q := c.qty * row.Qty
				if m.fluids[c.key] {
					q *= 100
				}
				if m.wanted[c.key] && q > 0 {
					m.shelf[c.key] = append(m.shelf[c.key], place{row.Part, row.Place, q})
				}
			}
		}
		return nil
	}, func() {
		m.reserve()
		for _, k := range sortedKeys(m.shelf) {
			have := 0
			for _, s := range m.shelf[k] {
				have += s.left
			}
			// What lies loose is taken before a kit is opened.
			slices.SortStableFunc(m.shelf[k], func(a, b place) int {
				return cmp.Or(cmp.Compare(loose(a, k), loose(b, k)), strings.Compare(a.at, b.at))
			})
			m.problem.Shelf = append(m.problem.Shelf, purchase.Amount{Item: k, Qty: have})
		}
	})
}

func loose(p place, item string) int {
	if p.part.Key() == item {
		return 0
	}
	return 1
}

// eachGood gives every part that is or holds a wanted item, in order of keys, with
// what it holds.
func (m *model) eachGood(each func(key string, holds []content) error, end func()) error {
	goods := map[string]bool{}
	var up func(key string, depth int) error
	up = func(key string, depth int) error {
		if goods[key] || depth > 8 {
			return nil
		}
		goods[key] = true
		kits, err := m.referring(catalog.TContents, "part", key)
		if err != nil {
			return err
		}
		for _, g := range kits {
			kit := strings.TrimSuffix(g, string(rune(catalog.KeySep)))
			c, err := m.contents(kit)
			if err != nil {
				return err
			}
			if c == nil {
				continue // a set, or a kit of which the contents are not known
			}
			against, err := m.against(kit)
			if err != nil {
				return err
			}
			if !against {
				if err := up(kit, depth+1); err != nil {
					return err
				}
			}
		}
		return nil
	}
	for _, k := range sortedKeys(m.wanted) {
		if err := up(k, 0); err != nil {
			return err
		}
	}
	for _, k := range sortedKeys(goods) {
		holds, err := m.expand(k, 1)
		if err != nil {
			return err
		}
		if err := each(k, holds); err != nil {
			return err
		}
	}
	if end != nil {
		end()
	}
	return nil
}

// against tells whether something speaks against taking a kit apart for this unit:
// a confirmed note, or a statement that it does not fit. What a statement of a mark
// says is taken as said, whatever the unit shows.
func (m *model) against(kit string) (bool, error) {
	if m.notes[kit] {
		return true, nil
	}
	groups, err := m.referring(catalog.TFits, "part", kit)
	if err != nil {
		return false, err
	}
	for _, g := range groups {
		rows, err := m.cat.Group(catalog.TableByName(catalog.TFits), g)
		if err != nil {
			return false, err
		}
		for _, x := range rows {
			f := x.(*catalog.Fit)
			if f.Effect != catalog.DoesNotFit || f.Part.Key() != kit {
				continue
			}
			if f.Scope == catalog.FitMark {
				return true, nil
			}
			for _, a := range m.ask.Decision.Assemblies {
				for _, c := range a.Candidates {
					if f.Scope == catalog.FitFamily && catalog.Fold(f.Of) == catalog.Fold(c.Family) ||
						f.Scope == catalog.FitVariant && catalog.Fold(f.Of) == c.Variant.Key() {
						return true, nil
					}
				}
			}
		}
	}
	return false, nil
}

// readOffers reads who offers the goods, at what price and when.
func (m *model) readOffers() error {
	m.suppliers, m.offers, m.packs = map[string]*catalog.Supplier{}, map[ref]*catalog.Offer{}, map[ref]int{}
	without := map[string]bool{}
	for _, s := range m.ask.Without {
		row, err := one[catalog.Supplier](m.reader, catalog.TSuppliers, catalog.Fold(s))
		if err != nil {
			return err
		}
		if row == nil {
			return cannot("check the spelling: platewright search "+s, "there is no supplier %q to leave out", s)
		}
		without[row.Supplier] = true
	}
	goods, who := map[string]bool{}, map[string]bool{}
	err := m.eachGood(func(key string, holds []content) error {
		goods[key] = true
		if len(holds) != 1 || holds[0] != (content{key, 1}) {
			g := purchase.Good{Key: key}
			for _, c := range holds {
				g.Holds = append(g.Holds, purchase.Amount{Item: c.key, Qty: c.qty})
			}
			m.problem.Goods = append(m.problem.Goods, g)
		}
		groups, err := m.referring(catalog.TOffers, "part", key)
		for _, g := range groups {
			who[g] = true
		}
		return err
	}, nil)
	if err != nil {
		return err
	}
	currencies := map[string]int{}
	for _, g := range sortedKeys(who) {
		rows, err := m.cat.Group(catalog.TableByName(catalog.TOffers), g)
		if err != nil {
			return err
		}
		some := false
		for _, x := range rows {
			o := x.(*catalog.Offer)
			if !goods[o.Part.Key()] || without[o.Supplier] {
				continue
			}
			if err := m.offer(o); err != nil {
				return err
			}
			some = true
		}
		if !some {
			continue
		}
		s, err := one[catalog.Supplier](m.reader, catalog.TSuppliers, strings.TrimSuffix(g, string(rune(catalog.KeySep))))
		if err != nil {
			return err
		}
		if s == nil {
			continue // its offers are refused by name
		}
		m.suppliers[s.Supplier] = s
		currencies[s.Currency]++
		p := purchase.Supplier{Key: s.Supplier, Currency: s.Currency, Freight: s.Freight.Num, FreeFreight: s.FreeFreight.Num, Minimum: s.Minimum.Num, Days: s.Days, Works: m.ask.Calendar}
		if s.Days > 0 {
			p.Sends = Sends(m.ask.Moment, s.Cutoff, m.ask.Calendar)
		}
		m.problem.Suppliers = append(m.problem.Suppliers, p)
	}
	m.problem.Currency = m.ask.Currency
	if m.problem.Currency == "" {
		best := ""
		for _, c := range sortedKeys(currencies) {
			if best == "" || currencies[c] > currencies[best] {
				best = c
			}
		}
		m.problem.Currency = cmp.Or(best, "EUR")
	}
	m.problem.Rates, m.problem.Aim, m.problem.By = m.ask.Rates, m.ask.Aim, m.ask.By
	return nil
}

// offer adds an offer, or the reason why it is refused.
func (m *model) offer(o *catalog.Offer) error {
	refuse := func(why WhyRefused) error {
		m.refused = append(m.refused, Refused{o.Supplier, o.Stock, o.Part, why})
		return nil
	}
	p, err := m.part(o.Part.Key())
	if err != nil {
		return err
	}
	pack := o.Pack
	switch {
	case p != nil && p.Status != catalog.PartSold:
		return refuse(Ended)
	case m.fluids[o.Part.Key()]:
		if pack = whole(o.Litres); pack < 1 {
			return refuse(VolumeUnknown)
		}
	}
	x := purchase.Offer{Supplier: o.Supplier, Stock: o.Stock, Good: o.Part.Key(), Pack: pack, Price: o.Price.Num, OnHand: o.OnHand, Days: o.Days}
	if o.OnHand == 0 && o.Days > 0 {
		x.OnHand = purchase.AnyNumber // the supplier gets it in
	}
	breaks, err := group[catalog.Break](m.reader, catalog.TBreaks, catalog.Fold(o.Supplier), catalog.Fold(o.Stock))
	if err != nil {
		return err
	}
	for _, b := range breaks {
		x.Breaks = append(x.Breaks, purchase.Break{Packs: b.From, Price: b.Price.Num})
	}
	at := ref{o.Supplier, o.Stock}
	m.offers[at], m.packs[at] = o, pack
	m.problem.Offers = append(m.problem.Offers, x)
	return nil
}

// cost gives an amount of a supplier in the plan's currency.
func (m *model) cost(supplier string, d decimal.Decimal) decimal.Decimal {
	s := m.suppliers[supplier]
	if s == nil || s.Currency == m.problem.Currency {
		return d
	}
	for _, r := range m.problem.Rates {
		if r.Currency == s.Currency {
			return d.Mul(r.Rate)
		}
	}
	return d
}
