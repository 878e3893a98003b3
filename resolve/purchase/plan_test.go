package purchase

import (
	"context"
	"errors"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/shopspring/decimal"
	"github.com/stretchr/testify/require"

	"platewright/catalog"
)

// The harbour town's gearbox shop needs an actuator set, its sleeve and fluid.
// Suppliers, numbers and prices are invented.
func harbour() Problem {
	sent := catalog.Date(20300315) // a Friday
	return Problem{
		Currency: "EUR", Aim: LeastCost,
		Needs: []Need{
			{Key: "set", Ways: []Way{
				{Name: "as built", Wants: []Amount{{"old-set", 1}}},
				{Name: "successor", Wants: []Amount{{"new-set", 1}, {"sleeve", 1}}},
			}},
			Wants("sleeve", "sleeve", 1),
			{Key: "fluid", Ways: []Way{{Wants: []Amount{{"fluid-a", 680}}}, {Wants: []Amount{{"fluid-b", 680}}}}},
			Wants("seal", "seal", 3),
		},
		Goods: []Good{{"reseal-kit", []Amount{{"seal", 4}, {"gasket", 1}, {"sleeve", 1}}}},
		Suppliers: []Supplier{
			{Key: "fellm", Currency: "EUR", Freight: dec("6.90"), FreeFreight: dec("250"), Sends: sent, Days: 2},
			{Key: "rondq", Currency: "EUR", Freight: dec("4.50"), Sends: sent, Days: 1},
			{Key: "tallg", Currency: "EUR", Freight: dec("18.50"), Minimum: dec("40"), Sends: sent, Days: 3},
		},
		Offers: []Offer{
			{Supplier: "fellm", Stock: "f1", Good: "new-set", Pack: 1, Price: dec("212"), OnHand: 3},
			{Supplier: "fellm", Stock: "f2", Good: "sleeve", Pack: 1, Price: dec("9.80"), OnHand: 5},
			{Supplier: "fellm", Stock: "f3", Good: "seal", Pack: 2, Price: dec("3.10"), OnHand: 9, Breaks: []Break{{4, dec("2.60")}}},
			{Supplier: "rondq", Stock: "r1", Good: "old-set", Pack: 1, Price: dec("239"), OnHand: 1},
			{Supplier: "rondq", Stock: "r2", Good: "sleeve", Pack: 1, Price: dec("11"), OnHand: 2},
			{Supplier: "rondq", Stock: "r3", Good: "reseal-kit", Pack: 1, Price: dec("24"), OnHand: 2},
			{Supplier: "rondq", Stock: "r4", Good: "fluid-b", Pack: 100, Price: dec("13.20"), OnHand: AnyNumber},
			{Supplier: "tallg", Stock: "t1", Good: "fluid-a", Pack: 100, Price: dec("9.90"), OnHand: 4},
			{Supplier: "tallg", Stock: "t2", Good: "fluid-a", Pack: 500, Price: dec("41"), OnHand: AnyNumber},
		},
	}
}

// show is a plan without its long parts.
type show struct {
	Lines   map[string]int
	Ways    map[string]int
	Spares  map[string]int
	Total   string
	Arrives catalog.Date
}

func short(p *Plan) show {
	s := show{map[string]int{}, map[string]int{}, map[string]int{}, p.Total.String(), p.Arrives}
	for _, o := range p.Orders {
		for _, l := range o.Lines {
			s.Lines[l.Stock] = l.Packs
		}
	}
	for _, c := range p.Covered {
		s.Ways[c.Need] = c.Way
	}
	for _, x := range p.Spares {
		s.Spares[x.Item] += x.Qty
	}
	return s
}

func TestPlan(t *testing.T) {
	// By hand: the old set with kit and seven cans at rondq is 239 + 24 + 92.40 + 4.50
	// = 359.90. The successor needs two sleeves, 212 + 19.60 + 6.20 = 237.80 at fellm
	// with 6.90 freight (four packs of seals more are 12.40 and reach 250.20 only from
	// six packs at 2.60, 15.60, 247.20: too little), 244.70; the fluid at rondq 96.90:
	// 341.60. The fluid at tallg, 41 + 2 * 9.90 + 18.50 = 79.30, is cheaper: 324.00.
	p := harbour()
	plan := mustSolve(t, p)
	verify(t, &p, plan)
	want := show{
		Lines:   map[string]int{"f1": 1, "f2": 2, "f3": 2, "t1": 2, "t2": 1},
		Ways:    map[string]int{"set": 1, "sleeve": 0, "fluid": 0, "seal": 0},
		Spares:  map[string]int{"seal": 1, "fluid-a": 20},
		Total:   "324",
		Arrives: 20300320, // Friday and three working days
	}
	if d := cmp.Diff(want, short(plan)); d != "" {
		t.Error(d)
	}

	// Wednesday is too late: everything but the fluid could come on Tuesday.
	p.By = 20300319
	want = show{
		Lines:   map[string]int{"f1": 1, "f2": 2, "f3": 2, "r4": 7},
		Ways:    map[string]int{"set": 1, "sleeve": 0, "fluid": 1, "seal": 0},
		Spares:  map[string]int{"seal": 1, "fluid-b": 20},
		Total:   "341.6",
		Arrives: 20300319,
	}
	if d := cmp.Diff(want, short(mustSolve(t, p))); d != "" {
		t.Error(d)
	}

	// Soonest and fewest are one: all from rondq on Monday.
	want = show{
		Lines:   map[string]int{"r1": 1, "r3": 1, "r4": 7},
		Ways:    map[string]int{"set": 0, "sleeve": 0, "fluid": 1, "seal": 0},
		Spares:  map[string]int{"seal": 1, "gasket": 1, "fluid-b": 20},
		Total:   "359.9",
		Arrives: 20300318,
	}
	for _, aim := range []Aim{Earliest, FewestDeliveries} {
		p = harbour()
		p.Aim = aim
		plan := mustSolve(t, p)
		verify(t, &p, plan)
		if d := cmp.Diff(want, short(plan)); d != "" {
			t.Error(aim, d)
		}
	}

	// With the shelf: nothing to buy but the fluid.
	p = harbour()
	p.Shelf = []Amount{{"old-set", 1}, {"sleeve", 2}, {"seal", 3}, {"fluid-a", 200}}
	plan = mustSolve(t, p)
	verify(t, &p, plan)
	if got := short(plan); got.Total != "59.5" || got.Lines["t2"] != 1 || len(got.Lines) != 1 {
		t.Errorf("with the shelf: %+v", got)
	}
	p.Shelf[3].Qty = 680
	if plan = mustSolve(t, p); len(plan.Orders) != 0 || !plan.Total.IsZero() || plan.Arrives != 0 || !plan.Complete {
		t.Errorf("everything on the shelf: %+v", plan)
	}
}

func TestExplain(t *testing.T) {
	p := harbour()
	plan := mustSolve(t, p)
	e, err := Explain(context.Background(), p, plan, Options{})
	require.NoError(t, err)
	// A day sooner is the plan by Tuesday; a delivery fewer is one supplier for all.
	if s := e.Sooner; s == nil || !s.Possible || !s.Proven || !s.More.Equal(dec("17.60")) || s.Plan.Arrives != 20300319 {
		t.Errorf("sooner: %+v", s)
	}
	if f := e.Fewer; f == nil || !f.Possible || !f.Proven || !f.More.Equal(dec("35.90")) || f.Plan.Deliveries != 1 {
		t.Errorf("fewer: %+v", f)
	}
	if len(e.Sets) != 1 || e.Sets[0].Good != "reseal-kit" || e.Sets[0].Taken || !e.Sets[0].Without.More.IsZero() || !e.Sets[0].With.More.IsPositive() {
		t.Errorf("sets: %+v", e.Sets)
	}
	// A can that looks cheaper by the litre at a third supplier, who asks freight.
	p.Suppliers = append(p.Suppliers, Supplier{Key: "zemmo", Currency: "EUR", Freight: dec("30"), Sends: 20300315, Days: 1})
	p.Offers = append(p.Offers,
		Offer{Supplier: "zemmo", Stock: "z1", Good: "new-set", Pack: 1, Price: dec("200"), OnHand: 3},
		Offer{Supplier: "zemmo", Stock: "z2", Good: "sleeve", Pack: 1, Price: dec("1"), OnHand: 1},
		Offer{Supplier: "zemmo", Stock: "z3", Good: "seal", Pack: 50, Price: dec("20"), OnHand: 9})
	same := mustSolve(t, p)
	require.True(t, same.Total.Equal(plan.Total))
	e, err = Explain(context.Background(), p, same, Options{})
	require.NoError(t, err)
	why := map[string]WhyNotCheaper{}
	for _, c := range e.Cheaper {
		why[c.Line.Stock+" "+c.Offer.Stock] = c.Why
		if c.Forced != nil && c.Forced.Possible && c.Forced.More.IsNegative() {
			t.Errorf("a plan with %+v costs less than the best", c.Offer)
		}
	}
	want := map[string]WhyNotCheaper{"f1 z1": CheaperFreight, "f2 z2": CheaperStock, "f3 z3": CheaperPack}
	if d := cmp.Diff(want, why); d != "" {
		t.Error(d)
	}
}

func TestArrival(t *testing.T) {
	for _, x := range []struct {
		what  string
		s     Supplier
		days  int
		wants catalog.Date
	}{
		{"same day", Supplier{Sends: 20300315}, 0, 20300315},
		{"over the weekend", Supplier{Sends: 20300315, Days: 1}, 0, 20300318},
		{"offer's days on top", Supplier{Sends: 20300315, Days: 1}, 4, 20300322},
		{"sent on a Saturday", Supplier{Sends: 20300316, Days: 0}, 0, 20300318},
		{"holiday", Supplier{Sends: 20300315, Days: 1, Works: Calendar{Holidays: []catalog.Date{20300318}}}, 0, 20300319},
		{"works on Saturdays", Supplier{Sends: 20300315, Days: 1, Works: Calendar{Rest: []time.Weekday{time.Sunday}}}, 0, 20300316},
		{"no rest", Supplier{Sends: 20300315, Days: 2, Works: Calendar{Rest: []time.Weekday{}}}, 0, 20300317},
		{"over the year", Supplier{Sends: 20301231, Days: 1}, 0, 20310101},
		{"not known", Supplier{Days: 1}, 0, 0},
	} {
		s := readSup{Supplier: &x.s}
		if x.s.Sends != 0 {
			s.sends = day(x.s.Sends)
		}
		if got := s.arrival(x.days); got != x.wants {
			t.Errorf("%s: %s, want %s", x.what, got, x.wants)
		}
	}
}

func TestUncovered(t *testing.T) {
	for _, x := range []struct {
		what string
		edit func(p *Problem)
		want []Uncovered
	}{
		{"nobody has it", func(p *Problem) { p.Needs = append(p.Needs, Wants("x", "unheard", 1)) }, []Uncovered{{Need: "x", Why: NoOffer, Item: "unheard", Wanted: 1}}},
		{"stock", func(p *Problem) { p.Needs[3] = Wants("seal", "seal", 30) }, []Uncovered{{Need: "seal", Why: NotEnough, Item: "seal", Wanted: 30, Most: 26}}},
		{"packs", func(p *Problem) {
			p.Needs = append(p.Needs, Wants("x", "bush", 5))
			p.Offers = append(p.Offers, Offer{Supplier: "fellm", Stock: "f9", Good: "bush", Pack: 4, Price: dec("1"), OnHand: 1})
		}, []Uncovered{{Need: "x", Why: NotEnough, Item: "bush", Wanted: 5, Most: 4}}},
		{"price of zero", func(p *Problem) {
			p.Needs = append(p.Needs, Wants("x", "bush", 1))
			p.Offers = append(p.Offers, Offer{Supplier: "fellm", Stock: "f9", Good: "bush", Pack: 1, OnHand: 1})
		}, []Uncovered{{Need: "x", Why: OffersRefused, Item: "bush", Wanted: 1}}},
		{"too late", func(p *Problem) {
			p.By = 20300318
			p.Needs = append(p.Needs, Wants("x", "gear", 1))
			p.Offers = append(p.Offers, Offer{Supplier: "fellm", Stock: "f9", Good: "gear", Pack: 1, Price: dec("9"), OnHand: 1, Days: 2})
		}, []Uncovered{{Need: "x", Why: TooLate, Item: "gear", Wanted: 1, Sooner: 20300321}}},
		{"minimum", func(p *Problem) {
			p.Needs = []Need{Wants("x", "gear", 1)}
			p.Offers = append(p.Offers, Offer{Supplier: "tallg", Stock: "t9", Good: "gear", Pack: 1, Price: dec("9"), OnHand: 4})
		}, []Uncovered{{Need: "x", Why: MinimumTooHigh, Item: "gear", Wanted: 1}}},
		{"another took it", func(p *Problem) {
			p.Needs = []Need{Wants("a", "old-set", 1), Wants("b", "old-set", 1)}
		}, []Uncovered{{Need: "b", Why: TakenByOthers}}},
	} {
		p := harbour()
		x.edit(&p)
		plan := mustSolve(t, p)
		verify(t, &p, plan)
		if d := cmp.Diff(x.want, plan.Uncovered); d != "" || plan.Complete {
			t.Errorf("%s: %s", x.what, d)
		}
	}
}

func TestRefused(t *testing.T) {
	p := harbour()
	bad := []Offer{
		{Supplier: "nobody", Stock: "n1", Good: "seal", Pack: 1, Price: dec("1"), OnHand: 1},
		{Supplier: "fellm", Stock: "b1", Good: "seal", Pack: 1, OnHand: 1},
		{Supplier: "fellm", Stock: "b2", Good: "seal", Pack: 0, Price: dec("1"), OnHand: 1},
		{Supplier: "fellm", Stock: "b3", Good: "seal", Pack: 1, Price: dec("1")},
		{Supplier: "fellm", Stock: "b4", Good: "seal", Pack: 1, Price: dec("1"), OnHand: 1, Breaks: []Break{{1, dec("1")}}},
		{Supplier: "fellm", Stock: "b5", Good: "seal", Pack: 1, Price: dec("-1"), OnHand: 1},
	}
	p.Offers = append(p.Offers, bad...)
	want := []Refused{{"nobody", "n1", UnknownSupplier}, {"fellm", "b1", PriceNotPositive}, {"fellm", "b2", PackNotPositive},
		{"fellm", "b3", OutOfStock}, {"fellm", "b4", BreakNotSound}, {"fellm", "b5", PriceNotPositive}}
	plan := mustSolve(t, p)
	if d := cmp.Diff(want, plan.Refused); d != "" || !plan.Total.Equal(dec("324")) {
		t.Errorf("%s: %s", plan.Total, d)
	}
	p = harbour()
	p.By, p.Suppliers[1].Sends = 20300320, 0
	if plan = mustSolve(t, p); len(plan.Refused) != 4 || plan.Refused[0].Why != NoDay {
		t.Errorf("no day: %+v", plan.Refused)
	}
}

func TestInput(t *testing.T) {
	for _, x := range []struct {
		what string
		edit func(p *Problem)
		want InputCode
	}{
		{"no currency", func(p *Problem) { p.Currency = "" }, BadCurrency},
		{"small letters", func(p *Problem) { p.Currency = "eur" }, BadCurrency},
		{"no such currency", func(p *Problem) { p.Suppliers[0].Currency = "QQQ" }, BadCurrency},
		{"no rate", func(p *Problem) { p.Suppliers[0].Currency = "SEK" }, NoRate},
		{"rate of zero", func(p *Problem) { p.Rates = []Rate{{"SEK", decimal.Zero}} }, BadRate},
		{"two rates", func(p *Problem) { p.Rates = []Rate{{"SEK", dec("0.1")}, {"SEK", dec("0.2")}} }, BadRate},
		{"no aim", func(p *Problem) { p.Aim = "" }, BadAim},
		{"a month", func(p *Problem) { p.By = 20300300 }, BadDate},
		{"no day", func(p *Problem) { p.Suppliers[0].Sends = 20300230 }, BadDate},
		{"no working day", func(p *Problem) { p.Suppliers[0].Works.Rest = []time.Weekday{0, 1, 2, 3, 4, 5, 6} }, BadDate},
		{"none wanted", func(p *Problem) { p.Needs[1].Ways[0].Wants[0].Qty = 0 }, BadQuantity},
		{"no way", func(p *Problem) { p.Needs[1].Ways = nil }, BadQuantity},
		{"negative stock", func(p *Problem) { p.Offers[0].OnHand = -2 }, BadQuantity},
		{"negative freight", func(p *Problem) { p.Suppliers[0].Freight = dec("-1") }, BadAmount},
		{"seven places", func(p *Problem) { p.Offers[0].Price = dec("1.0000001") }, BadAmount},
		{"no key", func(p *Problem) { p.Needs[1].Key = "" }, NoKey},
		{"twice", func(p *Problem) { p.Offers[1].Stock = "f1" }, TwiceGiven},
		{"supplier twice", func(p *Problem) { p.Suppliers[1].Key = "fellm" }, TwiceGiven},
		{"enormous", func(p *Problem) {
			p.Needs[3].Ways[0].Wants[0].Qty = 900_000
			p.Offers[2].Price, p.Offers[2].OnHand = dec("900000000000.000001"), AnyNumber
		}, TooLarge},
	} {
		p := harbour()
		x.edit(&p)
		plan, err := Solve(context.Background(), p, Options{})
		var bad *InputError
		if !errors.As(err, &bad) || plan != nil || bad.Findings[0].Code != x.want || bad.Findings[0].Mend == "" || bad.Error() == "" {
			t.Errorf("%s: %v, want %s", x.what, err, x.want)
		}
	}
}

// TestForeign: amounts of another currency are converted at the rate, rounded half
// up to a hundredth of a cent; limits stay in the supplier's currency.
func TestForeign(t *testing.T) {
	p := Problem{Currency: "EUR", Aim: LeastCost, Rates: []Rate{{"SEK", dec("0.08753")}}, Needs: []Need{Wants("a", "a", 3)},
		Suppliers: []Supplier{{Key: "s", Currency: "SEK", Freight: dec("99"), FreeFreight: dec("300"), Minimum: dec("250")}},
		Offers:    []Offer{{Supplier: "s", Stock: "1", Good: "a", Pack: 1, Price: dec("99.95"), OnHand: AnyNumber}}}
	// 99.95 * 0.08753 = 8.7486235, so 8.7486; three are 299.85 and 99 freight
	// (8.66547, so 8.6655), 34.9113; a fourth saves nothing: 34.9944.
	plan := mustSolve(t, p)
	if plan.Total.String() != "34.9113" || plan.Orders[0].Total.String() != "398.85" || plan.Orders[0].Lines[0].Packs != 3 {
		t.Errorf("%s, %+v", plan.Total, plan.Orders)
	}
	p.Suppliers[0].Freight = dec("101")
	if plan = mustSolve(t, p); plan.Total.String() != "34.9944" || !plan.Orders[0].Free || plan.Spares[0].Qty != 1 {
		t.Errorf("%s, %+v", plan.Total, plan.Orders)
	}
}
