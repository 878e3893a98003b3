package purchase

import (
	"cmp"
	"fmt"
	"math/bits"
	"slices"
	"strings"
	"time"

	"github.com/shopspring/decimal"
	"golang.org/x/text/currency"

	"platewright/catalog"
)

// Bounds of what is planned at once. They are far beyond a shop's order, and keep
// sums of whole numbers within 64 bits.
const (
	maxQty    = 1_000_000
	maxPlaces = 6 // decimal places of an amount
	maxRows   = 2048
)

var maxAmount = decimal.New(1, 12)

// reading is a problem that has passed its checks, sorted by key.
type reading struct {
	p       *Problem
	sups    []readSup
	offers  []readOffer // sound and of use, by supplier and stock number
	refused []Refused
	items   map[string]int    // wanted items
	names   []string          // of wanted items
	holds   map[string][]hold // what a piece of a good is worth to wanted items
	serve   map[string][]int  // wanted items that a piece of an item serves
	rows    []rowSet
	shelf   []int64      // pieces on the shelf, by row
	needs   [][][]int64  // pieces wanted, by need, way and row
	minor   int32        // decimal places of the plan's currency
	places  int32        // decimal places in which costs are whole
	raw     map[int]bool // wanted items that any offer serves, refused or not
}

type readSup struct {
	*Supplier
	currency string
	rate     decimal.Decimal
	other    bool  // another currency than the plan's
	places   int32 // decimal places in which values are whole
	sends    time.Time
}

type readOffer struct {
	*Offer
	sup     int
	tiers   []Break  // from one pack on
	rows    []rowQty // pieces of a pack, by row
	arrives catalog.Date
}

type hold struct {
	item string
	qty  int64
}

// rowSet is a set of wanted items, by index into names.
type rowSet []int

// read checks a problem and sorts it.
func read(p *Problem) (*reading, error) {
	r := &reading{p: p, items: map[string]int{}, holds: map[string][]hold{}, serve: map[string][]int{}, raw: map[int]bool{}}
	var bad []Finding
	report := func(code InputCode, where, key, what, mend string) {
		bad = append(bad, Finding{code, strings.TrimSpace(where + " " + key), key, what, mend})
	}
	r.readNeeds(report)
	r.readGoods(report)
	r.readSuppliers(report)
	if len(bad) == 0 {
		r.readOffers(report)
	}
	if len(bad) == 0 {
		r.countPlaces(report)
	}
	if len(bad) == 0 {
		r.makeRows(report)
	}
	if len(bad) > 0 {
		return nil, &InputError{bad}
	}
	r.fillRows()
	return r, nil
}

type reporter func(code InputCode, where, key, what, mend string)

func badCurrency(s string) bool {
	u, err := currency.ParseISO(s)
	return err != nil || u.String() != s
}

func (r *reading) readNeeds(report reporter) {
	p := r.p
	if badCurrency(p.Currency) {
		report(BadCurrency, "plan", p.Currency, "its currency is not a code of ISO 4217", "give three capital letters, such as EUR")
	} else {
		scale, _ := currency.Standard.Rounding(currency.MustParseISO(p.Currency))
		r.minor = int32(scale)
	}
	switch p.Aim {
	case LeastCost, Earliest, FewestDeliveries:
	default:
		report(BadAim, "plan", string(p.Aim), "it is no aim", fmt.Sprintf("use %s, %s or %s", LeastCost, Earliest, FewestDeliveries))
	}
	if p.By != 0 && !isDay(p.By) {
		report(BadDate, "plan", p.By.String(), "the day to keep is no day of the calendar", "give year, month and day")
	}
	seen := map[string]bool{}
	for _, n := range p.Needs {
		switch {
		case n.Key == "":
			report(NoKey, "need", "", "it has no key", "give every need a key of its own")
			continue
		case seen[n.Key]:
			report(TwiceGiven, "need", n.Key, "it is given twice", "add the quantities up, or give it another key")
		case len(n.Ways) == 0:
			report(BadQuantity, "need", n.Key, "it has no way to be covered", "give at least one way")
		case len(n.Ways) > 60:
			report(TooLarge, "need", n.Key, "it has more than 60 ways", "leave out ways that will not be taken")
		}
		seen[n.Key] = true
		for _, w := range n.Ways {
			if len(w.Wants) == 0 {
				report(BadQuantity, "need", n.Key, "a way wants nothing", "leave the way out, or say what it wants")
			}
			for _, a := range w.Wants {
				if a.Item == "" {
					report(NoKey, "need", n.Key, "it wants an item without a name", "name the item")
				}
				if a.Qty < 1 || a.Qty > maxQty {
					report(BadQuantity, "need", n.Key, fmt.Sprintf("it wants %d of %s", a.Qty, a.Item), fmt.Sprintf("want 1 to %d pieces", maxQty))
				}
				if _, ok := r.items[a.Item]; !ok {
					r.items[a.Item] = 0
				}
			}
		}
	}
	for it := range r.items {
		r.names = append(r.names, it)
	}
	slices.Sort(r.names)
	for i, it := range r.names {
		r.items[it] = i
	}
	for _, a := range p.Shelf {
		if a.Qty < 0 || a.Qty > maxQty {
			report(BadQuantity, "shelf", a.Item, fmt.Sprintf("it holds %d", a.Qty), fmt.Sprintf("give 0 to %d pieces", maxQty))
		}
	}
}

func (r *reading) readGoods(report reporter) {
	for i, it := range r.names {
		r.serve[it] = []int{i}
	}
	for _, s := range r.p.Serves {
		if i, ok := r.items[s.For]; ok && !slices.Contains(r.serve[s.Item], i) {
			r.serve[s.Item] = append(r.serve[s.Item], i)
		}
	}
	for _, s := range r.serve {
		slices.Sort(s)
	}
	seen := map[string]bool{}
	for _, g := range r.p.Goods {
		switch {
		case g.Key == "":
			report(NoKey, "good", "", "it has no key", "give every good a key of its own")
		case seen[g.Key]:
			report(TwiceGiven, "good", g.Key, "it is given twice", "give everything that it holds in one row")
		}
		seen[g.Key] = true
		all := map[string]int64{}
		for _, a := range g.Holds {
			if a.Qty < 1 || a.Qty > maxQty {
				report(BadQuantity, "good", g.Key, fmt.Sprintf("it holds %d of %s", a.Qty, a.Item), fmt.Sprintf("give 1 to %d pieces", maxQty))
			}
			all[a.Item] += int64(a.Qty)
		}
		hs := []hold{}
		for it, q := range all {
			hs = append(hs, hold{it, q})
		}
		slices.SortFunc(hs, func(a, b hold) int { return strings.Compare(a.item, b.item) })
		r.holds[g.Key] = hs
	}
}

// held is what a piece of a good holds.
func (r *reading) held(good string) []hold {
	if h, ok := r.holds[good]; ok {
		return h
	}
	return []hold{{good, 1}}
}

// of use tells whether a good holds anything that serves a need.
func (r *reading) ofUse(good string) bool {
	return slices.ContainsFunc(r.held(good), func(h hold) bool { return len(r.serve[h.item]) > 0 })
}

func (r *reading) readSuppliers(report reporter) {
	rates := map[string]decimal.Decimal{}
	for _, x := range r.p.Rates {
		switch _, twice := rates[x.Currency]; {
		case badCurrency(x.Currency):
			report(BadCurrency, "rate", x.Currency, "it is not a currency code of ISO 4217", "give three capital letters, such as EUR")
		case twice:
			report(BadRate, "rate", x.Currency, "it is given twice", "give one rate for a currency")
		case !x.Rate.IsPositive() || x.Rate.GreaterThan(maxAmount):
			report(BadRate, "rate", x.Currency, "it is not above zero, or too large", "give what one unit costs in the plan's currency")
		}
		rates[x.Currency] = x.Rate
	}
	used := map[string]bool{}
	for i := range r.p.Offers {
		used[r.p.Offers[i].Supplier] = used[r.p.Offers[i].Supplier] || r.ofUse(r.p.Offers[i].Good)
	}
	seen := map[string]bool{}
	for i := range r.p.Suppliers {
		s := &r.p.Suppliers[i]
		x := readSup{Supplier: s, currency: cmp.Or(s.Currency, r.p.Currency), rate: decimal.New(1, 0)}
		switch {
		case s.Key == "":
			report(NoKey, "supplier", "", "it has no key", "give every supplier a key of its own")
		case seen[s.Key]:
			report(TwiceGiven, "supplier", s.Key, "it is given twice", "give every supplier once")
		}
		seen[s.Key] = true
		switch {
		case badCurrency(x.currency):
			report(BadCurrency, "supplier", s.Key, fmt.Sprintf("its currency %q is not a code of ISO 4217", x.currency), "give three capital letters, such as EUR")
		case x.currency != r.p.Currency:
			rate, ok := rates[x.currency]
			if !ok && used[s.Key] {
				report(NoRate, "supplier", s.Key, fmt.Sprintf("it asks %s, the plan is in %s, and no rate is given", x.currency, r.p.Currency), "give a rate for "+x.currency)
			}
			x.rate, x.other = rate, true
		}
		for _, a := range []struct {
			what string
			d    decimal.Decimal
		}{{"freight", s.Freight}, {"limit for free freight", s.FreeFreight}, {"least order value", s.Minimum}} {
			if a.d.IsNegative() || a.d.GreaterThan(maxAmount) {
				report(BadAmount, "supplier", s.Key, "its "+a.what+" is below zero or too large", "correct the amount")
			}
		}
		if s.Days < 0 || s.Days > 3650 {
			report(BadQuantity, "supplier", s.Key, fmt.Sprintf("it takes %d days", s.Days), "give 0 to 3650 working days")
		}
		if s.Sends != 0 && !isDay(s.Sends) {
			report(BadDate, "supplier", s.Key, "its day of sending is no day of the calendar", "give year, month and day, or leave it out")
		} else if s.Sends != 0 {
			x.sends = day(s.Sends)
		}
		week := map[time.Weekday]bool{}
		for _, w := range s.Works.Rest {
			week[w] = true
		}
		if len(week) > 6 {
			report(BadDate, "supplier", s.Key, "no day of the week is a working day", "leave at least one")
		}
		for _, h := range s.Works.Holidays {
			if !isDay(h) {
				report(BadDate, "supplier", s.Key, fmt.Sprintf("its holiday %s is no day of the calendar", h), "give year, month and day")
			}
		}
		r.sups = append(r.sups, x)
	}
	slices.SortFunc(r.sups, func(a, b readSup) int { return strings.Compare(a.Key, b.Key) })
}

func (r *reading) readOffers(report reporter) {
	sup := map[string]int{}
	for i, s := range r.sups {
		sup[s.Key] = i
	}
	type ref struct{ supplier, stock string }
	seen := map[ref]bool{}
	for i := range r.p.Offers {
		o := &r.p.Offers[i]
		where := o.Supplier + " " + o.Stock
		if o.Stock == "" || o.Good == "" {
			report(NoKey, "offer", where, "it has no stock number or no good", "give both")
		}
		if seen[ref{o.Supplier, o.Stock}] {
			report(TwiceGiven, "offer", where, "it is given twice", "give every stock number of a supplier once")
		}
		seen[ref{o.Supplier, o.Stock}] = true
		if o.OnHand < AnyNumber || o.Days < 0 || o.Days > 3650 || o.Pack > maxQty {
			report(BadQuantity, "offer", where, fmt.Sprintf("stock of %d, %d days, packs of %d", o.OnHand, o.Days, o.Pack),
				fmt.Sprintf("give stock of 0 or more or %d for any number, 0 to 3650 days, packs of at most %d", AnyNumber, maxQty))
		}
		if !r.ofUse(o.Good) {
			continue
		}
		for _, h := range r.held(o.Good) {
			for _, it := range r.serve[h.item] {
				r.raw[it] = true
			}
		}
		x := readOffer{Offer: o, tiers: []Break{{1, o.Price}}}
		why := WhyRefused("")
		var ok bool
		x.sup, ok = sup[o.Supplier]
		sound := true
		for _, b := range o.Breaks {
			sound = sound && b.Packs > 1 && b.Price.IsPositive()
			x.tiers = append(x.tiers, b)
		}
		slices.SortStableFunc(x.tiers, func(a, b Break) int { return cmp.Compare(a.Packs, b.Packs) })
		for k := 1; k < len(x.tiers); k++ {
			sound = sound && x.tiers[k].Packs > x.tiers[k-1].Packs
		}
		switch {
		case !ok:
			why = UnknownSupplier
		case o.Pack < 1:
			why = PackNotPositive
		case !o.Price.IsPositive():
			why = PriceNotPositive
		case !sound:
			why = BreakNotSound
		case o.OnHand == 0:
			why = OutOfStock
		case r.sups[x.sup].Sends == 0 && (r.p.By != 0 || r.p.Aim == Earliest):
			why = NoDay
		}
		if why != "" {
			r.refused = append(r.refused, Refused{o.Supplier, o.Stock, why})
			continue
		}
		x.arrives = r.sups[x.sup].arrival(o.Days)
		r.offers = append(r.offers, x)
	}
	slices.SortFunc(r.offers, func(a, b readOffer) int {
		return cmp.Or(cmp.Compare(a.sup, b.sup), strings.Compare(a.Stock, b.Stock))
	})
}

// decimals is the number of decimal places of an amount.
func decimals(d decimal.Decimal) int32 {
	for n := int32(0); n <= maxPlaces; n++ {
		if d.Truncate(n).Equal(d) {
			return n
		}
	}
	return maxPlaces + 1
}

// cost converts an amount of a supplier into the plan's currency.
func (r *reading) cost(s *readSup, d decimal.Decimal) decimal.Decimal {
	if !s.other {
		return d
	}
	return d.Mul(s.rate).Round(r.minor + 2)
}

// countPlaces finds the decimal places in which every amount is whole.
func (r *reading) countPlaces(report reporter) {
	seen := map[int]bool{}
	amount := func(s *readSup, d decimal.Decimal, where, key string) {
		s.places = max(s.places, decimals(d))
		r.places = max(r.places, decimals(r.cost(s, d)))
		switch {
		case decimals(d) > maxPlaces || decimals(r.cost(s, d)) > maxPlaces:
			report(BadAmount, where, key, fmt.Sprintf("%s has more than %d decimal places", d, maxPlaces), "round the amount as it will be charged")
		case d.GreaterThan(maxAmount):
			report(BadAmount, where, key, fmt.Sprintf("%s is too large", d), "correct the amount")
		}
	}
	for i := range r.offers {
		o := &r.offers[i]
		s := &r.sups[o.sup]
		if !seen[o.sup] {
			seen[o.sup] = true
			amount(s, s.Freight, "supplier", s.Key)
			amount(s, s.FreeFreight, "supplier", s.Key)
			amount(s, s.Minimum, "supplier", s.Key)
		}
		for _, t := range o.tiers {
			amount(s, t.Price, "offer", o.Supplier+" "+o.Stock)
			if !r.cost(s, t.Price).IsPositive() {
				report(BadAmount, "offer", o.Supplier+" "+o.Stock, fmt.Sprintf("%s %s is nothing in %s", t.Price, s.currency, r.p.Currency), "correct the price or the rate")
			}
		}
	}
}

// makeRows finds the sets of wanted items that rows are made of.
func (r *reading) makeRows(report reporter) {
	// What serves each wanted item, of all that is on offer or on the shelf.
	index := map[string]int{}
	by := make([]map[int]bool, len(r.names))
	for i := range by {
		by[i] = map[int]bool{}
	}
	add := func(item string) {
		for _, it := range r.serve[item] {
			if _, ok := index[item]; !ok {
				index[item] = len(index)
			}
			by[it][index[item]] = true
		}
	}
	for _, a := range r.p.Shelf {
		add(a.Item)
	}
	for i := range r.offers {
		for _, h := range r.held(r.offers[i].Good) {
			add(h.item)
		}
	}
	// Parts of wanted items that share what serves them.
	group := make([]int, len(r.names))
	for i := range group {
		group[i] = i
	}
	for changed := true; changed; {
		changed = false
		for i := range by {
			for j := range i {
				if group[i] != group[j] && overlap(by[i], by[j]) {
					group[i] = min(group[i], group[j])
					group[j] = group[i]
					changed = true
				}
			}
		}
	}
	for i := range r.names {
		if group[i] != i {
			continue
		}
		var part []int
		for j := range r.names {
			if group[j] == i {
				part = append(part, j)
			}
		}
		if len(part) == 1 {
			r.rows = append(r.rows, rowSet{i})
			continue
		}
		if len(part) > 64 {
			report(TooLarge, "serves", r.names[i], "more than 64 wanted items are linked by what serves for them", "plan them in parts")
			return
		}
		r.rows = append(r.rows, closedSets(part, by)...)
		if len(r.rows) > maxRows {
			report(TooLarge, "serves", r.names[i], "what serves for what is too entangled", "leave out some of the items that serve for others")
			return
		}
	}
}

func overlap(a, b map[int]bool) bool {
	for k := range a {
		if b[k] {
			return true
		}
	}
	return false
}

// closedSets gives the sets of items that have to be looked at together: closed
// (nothing else is served by the same alone) and linked.
func closedSets(part []int, by []map[int]bool) []rowSet {
	union := func(set uint64) map[int]bool {
		u := map[int]bool{}
		for k, i := range part {
			if set>>k&1 == 1 {
				for x := range by[i] {
					u[x] = true
				}
			}
		}
		return u
	}
	closure := func(set uint64) uint64 {
		u := union(set)
		for k, i := range part {
			inside := true
			for x := range by[i] {
				inside = inside && u[x]
			}
			// What nothing serves is a set of its own.
			if inside && len(by[i]) > 0 {
				set |= 1 << k
			}
		}
		return set
	}
	have := map[uint64]bool{}
	var sets []uint64
	add := func(s uint64) {
		if s = closure(s); !have[s] {
			have[s] = true
			sets = append(sets, s)
		}
	}
	for k := range part {
		add(1 << k)
	}
	for i := 0; i < len(sets) && len(sets) <= maxRows; i++ {
		for j := 0; j < i; j++ {
			if overlap(union(sets[i]), union(sets[j])) {
				add(sets[i] | sets[j])
			}
		}
	}
	slices.SortFunc(sets, func(a, b uint64) int {
		return cmp.Or(cmp.Compare(bits.OnesCount64(a), bits.OnesCount64(b)), cmp.Compare(a, b))
	})
	var rows []rowSet
	for _, s := range sets {
		var row rowSet
		for k, i := range part {
			if s>>k&1 == 1 {
				row = append(row, i)
			}
		}
		rows = append(rows, row)
	}
	return rows
}

// fillRows works out what shelf, needs and offers have to do with each row.
func (r *reading) fillRows() {
	r.shelf = make([]int64, len(r.rows))
	of := map[string][]int{} // the rows that a piece of an item counts in
	rowsOf := func(item string) []int {
		rows, ok := of[item]
		if !ok {
			for j, set := range r.rows {
				if slices.ContainsFunc(r.serve[item], func(it int) bool { return slices.Contains(set, it) }) {
					rows = append(rows, j)
				}
			}
			of[item] = rows
		}
		return rows
	}
	for _, a := range r.p.Shelf {
		for _, j := range rowsOf(a.Item) {
			r.shelf[j] += int64(a.Qty)
		}
	}
	for _, n := range r.p.Needs {
		var ways [][]int64
		for _, w := range n.Ways {
			q := make([]int64, len(r.rows))
			for _, a := range w.Wants {
				for j, set := range r.rows {
					if slices.Contains(set, r.items[a.Item]) {
						q[j] += int64(a.Qty)
					}
				}
			}
			ways = append(ways, q)
		}
		r.needs = append(r.needs, ways)
	}
	for i := range r.offers {
		o := &r.offers[i]
		at := map[int]int64{}
		for _, h := range r.held(o.Good) {
			for _, j := range rowsOf(h.item) {
				at[j] += h.qty * int64(o.Pack)
			}
		}
		for j, q := range at {
			o.rows = append(o.rows, rowQty{row: j, qty: q})
		}
		slices.SortFunc(o.rows, func(a, b rowQty) int { return cmp.Compare(a.row, b.row) })
	}
}

// isDay tells whether a date is a day of the calendar.
func isDay(d catalog.Date) bool {
	x, err := catalog.ParseDate(d.String())
	return err == nil && x == d && d%100 != 0
}

func day(d catalog.Date) time.Time {
	return time.Date(int(d/10000), time.Month(d/100%100), int(d%100), 0, 0, 0, 0, time.UTC)
}

func date(t time.Time) catalog.Date {
	return catalog.Date(t.Year()*10000 + int(t.Month())*100 + t.Day())
}

// arrival is the day on which a supplier's goods are at the door: so many working
// days after its day of sending, or after the next working day where that is
// none. Zero if the day of sending is not known.
func (s *readSup) arrival(days int) catalog.Date {
	if s.Sends == 0 {
		return 0
	}
	works := func(t time.Time) bool {
		if s.Works.Rest == nil {
			if w := t.Weekday(); w == time.Saturday || w == time.Sunday {
				return false
			}
		} else if slices.Contains(s.Works.Rest, t.Weekday()) {
			return false
		}
		return !slices.Contains(s.Works.Holidays, date(t))
	}
	t := s.sends
	for !works(t) {
		t = t.AddDate(0, 0, 1)
	}
	for left := days + s.Days; left > 0; left-- {
		for t = t.AddDate(0, 0, 1); !works(t); t = t.AddDate(0, 0, 1) {
		}
	}
	return date(t)
}
