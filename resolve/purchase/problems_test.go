package purchase

import (
	"fmt"
	"math/rand/v2"
	"strings"

	"github.com/shopspring/decimal"

	"platewright/catalog"
)

// shape says what random problems look like.
type shape struct {
	lines, suppliers int
	qty              int     // pieces a line at most
	kits             int     // kits of two to four lines
	offered          float64 // share of suppliers that offer a line
	packs            float64 // share of offers in packs
	breaks           float64
	scarce           float64 // share of offers with little stock
	price            int     // of a line, in cents, about
	freight          int     // in cents, about
	free, minimum    float64 // share of suppliers with a limit
	ways             int     // needs with two ways
	serves           int     // pairs of lines of which one serves for the other
	shelf            float64 // share of lines with something on the shelf
	foreign          float64 // share of suppliers in another currency
}

// goodsHeavy, smallBasket and freightHeavy are the three kinds whose speed is
// measured.
var (
	goodsHeavy   = shape{lines: 60, suppliers: 20, qty: 4, kits: 6, offered: .35, packs: .15, breaks: .1, scarce: .15, price: 6000, freight: 900, free: .3, minimum: .2}
	smallBasket  = shape{lines: 20, suppliers: 8, qty: 4, kits: 3, offered: .6, packs: .2, breaks: .1, scarce: .15, price: 900, freight: 1400, free: .3, minimum: .2}
	freightHeavy = shape{lines: 60, suppliers: 20, qty: 4, kits: 4, offered: .5, packs: .15, breaks: .1, scarce: .1, price: 900, freight: 1800, free: .2, minimum: .1}
	mixed        = shape{lines: 7, suppliers: 4, qty: 5, kits: 3, offered: .7, packs: .35, breaks: .3, scarce: .3, price: 900, freight: 900, free: .5, minimum: .4, ways: 2, serves: 2, shelf: .15, foreign: .3}
	tiny         = shape{lines: 3, suppliers: 2, qty: 3, kits: 1, offered: .8, packs: .4, breaks: .3, scarce: .8, price: 500, freight: 500, free: .6, minimum: .4, ways: 1, serves: 1, shelf: .2, foreign: .2}
)

func cents(n int) decimal.Decimal { return decimal.New(int64(n), -2) }

func item(i int) string { return fmt.Sprintf("item%02d", i) }

// random makes a problem of a shape.
func random(rng *rand.Rand, s shape) Problem {
	p := Problem{Currency: "EUR", Aim: LeastCost}
	chance := func(f float64) bool { return rng.Float64() < f }
	around := func(n int) int { return n/3 + rng.IntN(n*4/3+1) }
	base := make([]int, s.lines)
	for i := range base {
		base[i] = around(s.price)
		need := Wants(fmt.Sprintf("need%02d", i), item(i), 1+rng.IntN(s.qty))
		if i < s.ways && s.lines > 1 {
			other := Way{Name: "other", Wants: []Amount{{item(i) + "x", 1 + rng.IntN(s.qty)}}}
			if chance(.5) {
				other.Wants = append(other.Wants, Amount{item(s.lines - 1), 1})
			}
			need.Ways = append(need.Ways, other)
		}
		p.Needs = append(p.Needs, need)
		if chance(s.shelf) {
			p.Shelf = append(p.Shelf, Amount{item(i), 1 + rng.IntN(2)})
		}
	}
	for range s.serves {
		p.Serves = append(p.Serves, Serves{item(rng.IntN(s.lines)), item(rng.IntN(s.lines))})
	}
	kits := make([]int, s.kits)
	for k := range kits {
		g := Good{Key: fmt.Sprintf("kit%02d", k)}
		for _, i := range rng.Perm(s.lines)[:min(s.lines, 2+rng.IntN(3))] {
			q := 1 + rng.IntN(2)
			g.Holds = append(g.Holds, Amount{item(i), q})
			kits[k] += base[i] * q
		}
		p.Goods = append(p.Goods, g)
	}
	if s.foreign > 0 {
		p.Rates = []Rate{{"SEK", decimal.New(875, -4)}}
	}
	for j := range s.suppliers {
		sp := Supplier{Key: fmt.Sprintf("sup%02d", j), Currency: "EUR", Freight: cents(around(s.freight)), Days: rng.IntN(3), Sends: 20300304 + catalog.Date(rng.IntN(3))}
		scale := 1
		if chance(s.foreign) {
			sp.Currency, scale = "SEK", 11
			sp.Freight = sp.Freight.Mul(decimal.NewFromInt(11))
		}
		if chance(s.free) {
			sp.FreeFreight = cents(scale * around(s.price*s.lines/3))
		}
		if chance(s.minimum) {
			sp.Minimum = cents(scale * around(s.price*2))
		}
		p.Suppliers = append(p.Suppliers, sp)
		offer := func(good string, price int) {
			o := Offer{Supplier: sp.Key, Stock: sp.Key + "/" + good, Good: good, Pack: 1, OnHand: AnyNumber, Days: rng.IntN(2)}
			price = scale * price * (80 + rng.IntN(41)) / 100
			if chance(s.packs) {
				o.Pack = 2 + rng.IntN(4)
				price = price * o.Pack * 9 / 10
			}
			if chance(s.scarce) {
				o.OnHand = 1 + rng.IntN(3)
			}
			o.Price = cents(max(1, price))
			if chance(s.breaks) {
				o.Breaks = append(o.Breaks, Break{2 + rng.IntN(3), cents(max(1, price*9/10))})
			}
			p.Offers = append(p.Offers, o)
		}
		for i := range s.lines {
			if chance(s.offered) {
				offer(item(i), base[i])
			}
			if i < s.ways && chance(s.offered) {
				offer(item(i)+"x", base[i]*(70+rng.IntN(50))/100)
			}
		}
		for k := range kits {
			if chance(s.offered / 2) {
				offer(p.Goods[k].Key, kits[k]*(70+rng.IntN(35))/100)
			}
		}
	}
	return p
}

// mathprog writes a problem as data for testdata/purchase.mod.
func mathprog(p *Problem, delivery, deliveries int) string {
	var b strings.Builder
	w := func(f string, a ...any) { fmt.Fprintf(&b, f, a...) }
	set := func(name string, keys []string) { w("set %s := %s;\n", name, strings.Join(keys, " ")) }
	q := func(s string) string { return "'" + s + "'" }
	wanted, items := map[string]bool{}, map[string]bool{}
	var needs, ways, wants, wantedList, itemList []string
	of := ""
	addItem := func(i string) {
		if !items[i] {
			items[i] = true
			itemList = append(itemList, q(i))
		}
	}
	total := 0
	for _, n := range p.Needs {
		needs = append(needs, q(n.Key))
		for k, wy := range n.Ways {
			name := q(fmt.Sprintf("%s.%d", n.Key, k))
			ways = append(ways, name)
			of += " " + name + " " + q(n.Key)
			for _, a := range wy.Wants {
				if !wanted[a.Item] {
					wanted[a.Item] = true
					wantedList = append(wantedList, q(a.Item))
				}
				addItem(a.Item)
				wants = append(wants, fmt.Sprintf("%s %s %d", name, q(a.Item), a.Qty))
				total += a.Qty
			}
		}
	}
	holds := map[string][]Amount{}
	for _, g := range p.Goods {
		holds[g.Key] = g.Holds
	}
	rate := map[string]decimal.Decimal{p.Currency: decimal.New(1, 0)}
	for _, r := range p.Rates {
		rate[r.Currency] = r.Rate
	}
	type sup struct {
		free, least, rate decimal.Decimal
		other             bool
	}
	sups := map[string]sup{}
	var supList []string
	freight, free, least := "", "", ""
	conv := func(s sup, d decimal.Decimal) decimal.Decimal {
		if s.other {
			return d.Mul(s.rate).Round(4)
		}
		return d
	}
	for _, s := range p.Suppliers {
		x := sup{s.FreeFreight, s.Minimum, rate[s.Currency], s.Currency != p.Currency}
		sups[s.Key] = x
		supList = append(supList, q(s.Key))
		freight += fmt.Sprintf(" %s %s", q(s.Key), conv(x, s.Freight))
		free += fmt.Sprintf(" %s %s", q(s.Key), s.FreeFreight)
		least += fmt.Sprintf(" %s %s", q(s.Key), s.Minimum)
	}
	var offers, gives, tiers []string
	at, from, upto, cost, value := "", "", "", "", ""
	for i, o := range p.Offers {
		name := fmt.Sprintf("o%d", i)
		s := sups[o.Supplier]
		hs, ok := holds[o.Good]
		if !ok {
			hs = []Amount{{o.Good, 1}}
		}
		use := false
		for _, h := range hs {
			use = use || wanted[h.Item]
			for _, sv := range p.Serves {
				use = use || sv.Item == h.Item && wanted[sv.For]
			}
		}
		if !use {
			continue
		}
		offers = append(offers, name)
		at += " " + name + " " + q(o.Supplier)
		for _, h := range hs {
			addItem(h.Item)
			gives = append(gives, fmt.Sprintf("%s %s %d", name, q(h.Item), h.Qty*o.Pack))
		}
		low := o.Price
		for _, br := range o.Breaks {
			low = decimal.Min(low, br.Price)
		}
		most := int64(o.OnHand)
		if o.OnHand == AnyNumber {
			most = int64(total) + decimal.Max(s.free, s.least).Div(low).IntPart() + 2
		}
		ts := append([]Break{{1, o.Price}}, o.Breaks...)
		for k, t := range ts {
			top := most
			if k+1 < len(ts) {
				top = min(top, int64(ts[k+1].Packs)-1)
			}
			if top < int64(t.Packs) {
				continue
			}
			id := fmt.Sprintf("%s %d", name, k+1)
			tiers = append(tiers, "("+name+","+fmt.Sprint(k+1)+")")
			from += fmt.Sprintf(" %s %d", id, t.Packs)
			upto += fmt.Sprintf(" %s %d", id, top)
			cost += fmt.Sprintf(" %s %s", id, conv(s, t.Price))
			value += fmt.Sprintf(" %s %s", id, t.Price)
		}
	}
	shelf := ""
	have := map[string]int{}
	for _, a := range p.Shelf {
		addItem(a.Item)
		have[a.Item] += a.Qty
	}
	for _, it := range itemList {
		if n := have[strings.Trim(it, "'")]; n > 0 {
			shelf += fmt.Sprintf(" %s %d", it, n)
		}
	}
	serves := map[string]bool{}
	var serveList []string
	add := func(a, b string) {
		s := fmt.Sprintf("(%s,%s)", q(a), q(b))
		if items[a] && wanted[b] && !serves[s] {
			serves[s] = true
			serveList = append(serveList, s)
		}
	}
	for _, it := range wantedList {
		add(strings.Trim(it, "'"), strings.Trim(it, "'"))
	}
	for _, s := range p.Serves {
		add(s.Item, s.For)
	}
	w("data;\n")
	set("SUPPLIER", supList)
	set("OFFER", offers)
	set("ITEM", itemList)
	set("WANTED", wantedList)
	set("NEED", needs)
	set("WAY", ways)
	set("SERVES", serveList)
	set("TIER", tiers)
	for _, x := range []struct{ name, rows string }{{"of", of}, {"wants", strings.Join(wants, " ")}, {"shelf", shelf}, {"freight", freight}, {"free", free}, {"least", least},
		{"at", at}, {"gives", strings.Join(gives, " ")}, {"from", from}, {"upto", upto}, {"cost", cost}, {"value", value}} {
		if x.rows != "" {
			w("param %s := %s;\n", x.name, x.rows)
		}
	}
	if delivery > 0 {
		w("param delivery := %d;\n", delivery)
	}
	if deliveries > 0 {
		w("param deliveries := %d;\n", deliveries)
	}
	w("end;\n")
	return b.String()
}
