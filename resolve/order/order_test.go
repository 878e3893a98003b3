package order_test

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/shopspring/decimal"
	"github.com/stretchr/testify/require"

	"platewright/catalog"
	"platewright/catalog/catalogtest"
	"platewright/resolve"
	"platewright/resolve/order"
	"platewright/resolve/purchase"
)

// told says in short what a proposal comes to: what is bought from whom, what is
// taken from the shelf, what is left over, what is not covered, what is left out.
func told(p *order.Proposal) []string {
	much := func(a order.Amount) string {
		if a.Litres.Known {
			return a.Litres.String() + " l " + string(a.Part)
		}
		return fmt.Sprintf("%d %s", a.Qty, a.Part)
	}
	fors := func(fs []order.For) string {
		var out []string
		for _, f := range fs {
			out = append(out, strings.TrimSpace(f.Role+string(f.Consumable)+" "+f.Position))
		}
		return strings.Join(out, ", ")
	}
	out := []string{}
	for _, o := range p.Orders {
		for _, l := range o.Lines {
			out = append(out, fmt.Sprintf("buy %d × %s at %s for %s", l.Packs, l.Part, o.Supplier, fors(l.For)))
		}
	}
	for _, x := range p.Shelf {
		s := "shelf " + much(x.Amount) + " in " + x.Place
		if x.Kit != "" {
			s += " out of " + string(x.Kit)
		}
		out = append(out, s)
	}
	for _, x := range p.Spares {
		out = append(out, "spare "+much(x.Amount))
	}
	for _, x := range p.Uncovered {
		out = append(out, fmt.Sprintf("uncovered %s: %s", fors(x.Lines), x.Why))
	}
	for _, x := range p.LeftOut {
		out = append(out, fmt.Sprintf("left out %s: %s", strings.TrimSpace(x.Role+" "+x.Position), x.Reason))
	}
	for _, x := range p.Refused {
		out = append(out, fmt.Sprintf("refused %s of %s: %s", x.Part, x.Supplier, x.Why))
	}
	for _, x := range p.Doubles {
		out = append(out, fmt.Sprintf("double %s with %s", x.Part, x.Kit))
	}
	for _, x := range p.Held {
		out = append(out, "held "+x.Role)
	}
	return append(out, "total "+p.Total.String())
}

const base = `
-- variants.csv --
variant, family
ALDER,   F
BIRCH,   F
-- work.csv --
work, name, fill
job,  job,  refill
-- suppliers.csv --
supplier, name, freight, days
near,     Near, 5,       1
far,      Far,  3,       4
`

// Each world is a small catalogue with what is bought on it for the plate.
func TestWorlds(t *testing.T) {
	for _, x := range []struct {
		name, world string
		ask         func(*order.Ask)
		plate       string
		want        []string
	}{
		{name: "a line, in whole packs, with a spare", world: `
-- roles.csv --
role
bolts
-- work_roles.csv --
work, role
job, bolts
-- parts.csv --
part
B
-- fits.csv --
of, role, part, qty
F, bolts, B, 7
-- offers.csv --
supplier, part, price, pack, on_hand
near, B, 10, 5, 9
`, want: []string{"buy 2 × B at near for bolts", "spare 3 B", "total 25"}},

		{name: "what the gate holds is not ordered", plate: "?????", world: `
-- roles.csv --
role
coil
seal
-- work_roles.csv --
work, role
job, coil
job, seal
-- parts.csv --
part
C1
C2
S
-- fits.csv --
of, role, part
ALDER, coil, C1
BIRCH, coil, C2
F, seal, S
-- offers.csv --
supplier, part, price, on_hand
near, C1, 10, 1
near, C2, 10, 1
near, S, 1, 1
`, want: []string{"buy 1 × S at near for seal", "held coil", "total 6"}},

		{name: "what is held can be left out", plate: "?????", ask: func(a *order.Ask) { a.Skip = []string{"coil"} }, world: `
-- roles.csv --
role
coil
-- work_roles.csv --
work, role
job, coil
-- parts.csv --
part
C1
C2
-- fits.csv --
of, role, part
ALDER, coil, C1
BIRCH, coil, C2
`, want: []string{"left out coil: skipped", "total 0"}},

		{name: "unless a person says which and why", plate: "?????", world: `
-- roles.csv --
role
coil
-- work_roles.csv --
work, role
job, coil
-- parts.csv --
part
C1
C2
-- fits.csv --
of, role, part
ALDER, coil, C1
BIRCH, coil, C2
-- offers.csv --
supplier, part, price, on_hand
near, C1, 10, 1
near, C2, 10, 1
`, ask: func(a *order.Ask) {
			a.EvenHeld = []order.EvenHeld{{Role: "coil", Part: "c 2", Because: "read on the old one", Who: "bench"}}
		}, want: []string{"buy 1 × C2 at near for coil", "total 15"}},

		{name: "any choice of a line serves, one noted against does not", world: `
-- roles.csv --
role
seal
-- work_roles.csv --
work, role
job, seal
-- parts.csv --
part
S1
S2
S3
-- fits.csv --
of, role, part, rank
F, seal, S1, 1
F, seal, S2, 2
F, seal, S3, 3
-- notes.csv --
of, kind, state, text, confirmed
S3, did-not-fit, confirmed, too long, other
-- offers.csv --
supplier, part, price, on_hand
near, S1, 10, 1
near, S2, 8, 1
near, S3, 2, 1
`, want: []string{"buy 1 × S2 at near for seal", "total 13"}},

		{name: "the first choice alone where that is asked", world: `
-- roles.csv --
role
seal
-- work_roles.csv --
work, role
job, seal
-- parts.csv --
part
S1
S2
-- fits.csv --
of, role, part, rank
F, seal, S1, 1
F, seal, S2, 2
-- offers.csv --
supplier, part, price, on_hand
near, S1, 10, 1
near, S2, 8, 1
`, ask: func(a *order.Ask) { a.Preferred = true }, want: []string{"buy 1 × S1 at near for seal", "total 15"}},

		{name: "an old number serves from the shelf, the new one not for another role", world: `
-- roles.csv --
role
filter
-- work_roles.csv --
work, role
job, filter
-- parts.csv --
part, status
OLD, ended
NEW, sold
-- supersessions.csv --
old, new
OLD, NEW
-- fits.csv --
of, role, part
ALDER, filter, OLD
BIRCH, filter, NEW
-- offers.csv --
supplier, part, price, on_hand
near, NEW, 10, 9
-- shelf.csv --
part, place, qty
OLD, hook, 1
`, want: []string{"shelf 1 OLD in hook", "total 0"}},

		{name: "and for a unit that states the new number the old one does not", plate: "BIRCH", world: `
-- roles.csv --
role
filter
-- work_roles.csv --
work, role
job, filter
-- parts.csv --
part, status
OLD, ended
NEW, sold
-- supersessions.csv --
old, new
OLD, NEW
-- fits.csv --
of, role, part
ALDER, filter, OLD
BIRCH, filter, NEW
-- offers.csv --
supplier, part, price, on_hand
near, NEW, 10, 9
-- shelf.csv --
part, place, qty
OLD, hook, 1
`, want: []string{"buy 1 × NEW at near for filter", "total 15"}},

		{name: "an offer of a number that is not sold any more is refused", world: `
-- roles.csv --
role
filter
-- work_roles.csv --
work, role
job, filter
-- parts.csv --
part, status
OLD, ended
NEW, sold
-- supersessions.csv --
old, new
OLD, NEW
-- fits.csv --
of, role, part
ALDER, filter, OLD
-- offers.csv --
supplier, part, price, on_hand
near, OLD, 1, 9
near, NEW, 10, 9
`, want: []string{"buy 1 × NEW at near for filter", "refused OLD of near: ended", "total 15"}},

		{name: "a companion that another line brings is bought once", world: companionWorld, want: []string{"buy 1 × SET at near for set", "buy 1 × SLEEVE at near for sleeve", "total 45"}},

		{name: "where that line is left out the companion is bought all the same", world: companionWorld,
			ask:  func(a *order.Ask) { a.Skip = []string{"sleeve"} },
			want: []string{"buy 1 × SET at near for set", "buy 1 × SLEEVE at near for set", "left out sleeve: skipped", "total 45"}},

		{name: "a line met in another way brings no companion: the whole is weighed", world: strings.Replace(companionWorld, "near, SLEEVE, 10, 9", "near, SLEEVE, 10, 9\nnear, OTHER, 1, 9", 1),
			want: []string{"buy 1 × SET at near for set", "buy 1 × SLEEVE at near for sleeve", "total 45"}},

		{name: "a kit dearer than its singles is met by them", world: kitWorld, want: []string{
			"buy 1 × G at near for kit", "buy 4 × R at near for kit", "total 14"}},

		{name: "a kit cheaper than its singles is bought", world: strings.Replace(kitWorld, "near, KIT, 40", "near, KIT, 9", 1), want: []string{
			"buy 1 × KIT at near for kit", "total 14"}},

		{name: "singles come out of a kit, what is over is a spare", ask: func(a *order.Ask) { a.Decision = nil }, world: strings.NewReplacer("near, KIT, 40", "near, KIT, 6", "job, kit", "job, gasket\njob, rings").Replace(kitWorld), want: []string{
			"buy 1 × KIT at near for gasket, rings", "spare 2 R", "total 11"}},

		{name: "a kit that does not fit is not taken apart", world: strings.NewReplacer("near, KIT, 40", "near, KIT, 4", "job, kit", "job, gasket\njob, rings", "F, kit, KIT, 1, fits", "F, kit, KIT, , does-not-fit").Replace(kitWorld), want: []string{
			"buy 1 × G at near for gasket", "buy 2 × R at near for rings", "total 12"}},

		{name: "a kit on the shelf is opened after what lies loose", world: kitWorld + `
-- shelf.csv --
part, place, qty
KIT, rack, 1
R, box, 3
`, want: []string{"shelf 1 G in rack out of KIT", "shelf 3 R in box", "shelf 1 R in rack out of KIT", "total 0"}},

		{name: "a part that a kit of another line holds too is named", world: strings.Replace(kitWorld, "job, kit", "job, kit\njob, gasket", 1), want: []string{
			"buy 2 × G at near for gasket, kit", "buy 4 × R at near for kit", "double G with KIT", "total 19"}},

		{name: "a set is never taken apart", world: strings.Replace(strings.NewReplacer("near, KIT, 40", "near, KIT, 4", "job, kit", "job, rings").Replace(kitWorld), "KIT, kit", "KIT, set", 1), want: []string{
			"buy 2 × R at near for rings", "total 7"}},

		{name: "one fluid fills, in hundredths of a litre", world: fluidWorld, want: []string{"buy 1 × BLUE at near for fluid", "spare 0.75 l BLUE", "total 25"}},

		{name: "what the shelf has of a fluid is litres, and fluids are not mixed", world: fluidWorld + `
-- shelf.csv --
part, place, qty
BLUE, tank, 4
RED, tank, 4
`, want: []string{"buy 1 × RED at near for fluid", "shelf 4 l RED in tank", "spare 0.75 l RED", "total 15"}},

		{name: "a fluid without litres in a pack cannot be counted", world: strings.Replace(fluidWorld, "near, BLUE, 20, 5", "near, BLUE, 20,", 1), want: []string{
			"buy 5 × RED at near for fluid", "spare 0.75 l RED", "refused BLUE of near: volume-unknown", "total 55"}},

		{name: "of consumables several scopes take the largest", world: `
-- roles.csv --
role
seal
-- work.csv --
work, name, fill
job, job, none
more, more, none
-- work_roles.csv --
work, role
job, seal
more, seal
-- parts.csv --
part, kind
S, single
CLOTH, single
WASH, fluid
-- fits.csv --
of, role, part
F, seal, S
-- consumables.csv --
work, part, qty, litres, why
job, CLOTH, 1, , lint
more, CLOTH, 2, , lint
more, WASH, , 1.5, grit
-- offers.csv --
supplier, part, price, litres, on_hand
near, S, 1, , 9
near, CLOTH, 2, , 9
near, WASH, 3, 1, 9
`, ask: func(a *order.Ask) { a.Decision.Question.Work = []string{"job", "more"} },
			want: []string{"buy 1 × S at near for seal", "buy 2 × CLOTH at near for CLOTH", "buy 2 × WASH at near for WASH", "spare 0.5 l WASH", "total 16"}},

		{name: "what is recommended is left out, and costed", world: recommendedWorld, want: []string{
			"buy 1 × S at near for seal", "left out bolts: recommended", "total 6"}},
		{name: "and ordered where it is asked for", world: recommendedWorld, ask: func(a *order.Ask) { a.Recommended = true }, want: []string{
			"buy 1 × B at near for bolts", "buy 1 × S at near for seal", "total 13"}},

		{name: "no number in stock is out of stock, unless the offer says when it leaves", world: `
-- roles.csv --
role
a
b
c
-- work_roles.csv --
work, role
job, a
job, b
job, c
-- parts.csv --
part
A
B
C
-- fits.csv --
of, role, part, qty
F, a, A, 1
F, b, B, 30
F, c, C, 1
-- offers.csv --
supplier, part, price, on_hand, days
near, A, 1, , 
near, B, 1, , 3
near, C, 0, 5, 
`, want: []string{"buy 30 × B at near for b", "uncovered a: offers-refused", "uncovered c: offers-refused", "refused A of near: out-of-stock", "refused C of near: price-not-positive", "total 35"}},

		{name: "nobody offers it", world: `
-- roles.csv --
role
a
-- work_roles.csv --
work, role
job, a
-- parts.csv --
part
A
-- fits.csv --
of, role, part
F, a, A
`, want: []string{"uncovered a: no-offer", "total 0"}},

		{name: "a supplier that is left out gets no order", world: `
-- roles.csv --
role
a
-- work_roles.csv --
work, role
job, a
-- parts.csv --
part
A
-- fits.csv --
of, role, part
F, a, A
-- offers.csv --
supplier, part, price, on_hand
near, A, 1, 5
far, A, 20, 5
`, ask: func(a *order.Ask) { a.Without = []string{"NEAR"} }, want: []string{"buy 1 × A at far for a", "total 23"}},

		{name: "price breaks", world: `
-- roles.csv --
role
a
-- work_roles.csv --
work, role
job, a
-- parts.csv --
part
A
-- fits.csv --
of, role, part, qty
F, a, A, 9
-- offers.csv --
supplier, stock, part, price, on_hand
near, X-1, A, 2, 50
-- breaks.csv --
supplier, stock, from, price
near, X-1, 10, 1
`, want: []string{"buy 10 × A at near for a", "spare 1 A", "total 15"}},
	} {
		t.Run(x.name, func(t *testing.T) {
			world := base + x.world
			if strings.Contains(x.world, "-- work.csv --") {
				a, b := strings.Index(world, "-- work.csv --"), strings.Index(world, "-- suppliers.csv --")
				world = world[:a] + world[b:]
			}
			cat := catalogtest.World(t, []byte(world))
			work := []string{"job"}
			if strings.Contains(x.world, "\nmore, more") {
				work = append(work, "more")
			}
			plate := x.plate
			if plate == "" {
				plate = "ALDER"
			}
			ask := order.Ask{Decision: decided(t, cat, plate, work...)}
			if x.ask != nil {
				x.ask(&ask)
				if ask.Decision == nil {
					ask.Decision = decided(t, cat, plate, work...)
				}
			}
			p := proposed(t, cat, ask)
			require.True(t, p.Proof.Proven)
			if d := cmp.Diff(x.want, told(p)); d != "" {
				t.Error(d)
			}
		})
	}
}

const companionWorld = `
-- roles.csv --
role
set
sleeve
-- work_roles.csv --
work, role
job, set
job, sleeve
-- parts.csv --
part
SET
SLEEVE
OTHER
-- companions.csv --
part, companion
SET, SLEEVE
-- fits.csv --
of, role, part, rank
F, set, SET,
F, sleeve, SLEEVE, 1
F, sleeve, OTHER, 2
-- offers.csv --
supplier, part, price, on_hand
near, SET, 30, 9
near, SLEEVE, 10, 9
`

const kitWorld = `
-- roles.csv --
role
kit
gasket
rings
-- work_roles.csv --
work, role
job, kit
-- parts.csv --
part, kind
KIT, kit
G, single
R, single
-- contents.csv --
kit, part, qty
KIT, G, 1
KIT, R, 4
-- fits.csv --
of, role, part, qty, effect
F, kit, KIT, 1, fits
F, gasket, G, 1, fits
F, rings, R, 2, fits
-- offers.csv --
supplier, part, price, pack, on_hand
near, KIT, 40, 1, 9
near, G, 5, 1, 9
near, R, 1, 1, 9
`

const fluidWorld = `
-- roles.csv --
role, kind
fluid, fluid
-- work_roles.csv --
work, role
job, fluid
-- specs.csv --
spec
HT
-- parts.csv --
part, kind
BLUE, fluid
RED, fluid
-- meets.csv --
spec, fluid
HT, BLUE
HT, RED
-- fills.csv --
of, role, spec, refill
F, fluid, HT, 4.25
-- offers.csv --
supplier, part, price, litres, on_hand
near, BLUE, 20, 5, 9
near, RED, 10, 1, 9
`

const recommendedWorld = `
-- roles.csv --
role
bolts
seal
-- work_roles.csv --
work, role, need
job, bolts, recommended
job, seal, required
-- parts.csv --
part
B
S
-- fits.csv --
of, role, part
F, bolts, B
F, seal, S
-- offers.csv --
supplier, part, price, on_hand
near, B, 7, 9
near, S, 1, 9
`

func TestRecommendedIsCosted(t *testing.T) {
	cat := catalogtest.World(t, []byte(base+recommendedWorld))
	p := proposed(t, cat, order.Ask{Decision: decided(t, cat, "ALDER", "job")})
	require.NotNil(t, p.Recommended)
	if got := p.Recommended; !got.Possible || !got.Proven || got.More.String() != "7" || got.Total.String() != "13" {
		t.Errorf("with what is recommended: %+v", got)
	}
}

// What one unit takes from the shelf is not there for the next one.
func TestShelfIsPromisedOnce(t *testing.T) {
	cat := catalogtest.World(t, []byte(base+recommendedWorld+`
-- shelf.csv --
part, place, qty
S, rack A 2, 1
`))
	ask := order.Ask{Decision: decided(t, cat, "ALDER", "job")}
	first := proposed(t, cat, ask)
	none := func(string) bool { return false }
	ask.Reserved = order.Reserves(1, []*order.Proposal{first, first}, none)
	second := proposed(t, cat, ask)
	if d := cmp.Diff([]string{"buy 1 × S at near for seal", "left out bolts: recommended", "total 6"}, told(second)); d != "" {
		t.Error(d)
	}
	if r := second.Reserved; len(r) != 1 || r[0].Card != 1 || r[0].Place != "rack A 2" || r[0].Qty != 1 {
		t.Errorf("taken by others: %+v", r)
	}
	// A later plan that takes nothing from the shelf for the line frees it.
	if r := order.Reserves(1, []*order.Proposal{first, second}, none); len(r) != 0 {
		t.Errorf("still taken: %+v", r)
	}
	if r := order.Reserves(1, []*order.Proposal{first}, func(role string) bool { return role == "seal" }); len(r) != 0 {
		t.Errorf("still taken: %+v", r)
	}
}

// What a kit on the order brings anyway stays on the shelf; the rest is taken from it.
func TestKitLeavesTheShelf(t *testing.T) {
	cat := catalogtest.World(t, []byte(base+`
-- roles.csv --
role
a
b
-- work_roles.csv --
work, role
job, a
job, b
-- parts.csv --
part, kind
A, single
B, single
K, kit
-- contents.csv --
kit, part, qty
K, A, 1
K, B, 1
-- fits.csv --
of, role, part, qty
F, a, A, 2
F, b, B, 1
-- shelf.csv --
part, place, qty
A, box 8, 2
-- offers.csv --
supplier, part, price, on_hand
near, K, 10, 1
near, B, 50, 1
`))
	p := proposed(t, cat, order.Ask{Decision: decided(t, cat, "ALDER", "job")})
	if d := cmp.Diff([]string{"buy 1 × K at near for a, b", "shelf 1 A in box 8", "total 15"}, told(p)); d != "" {
		t.Error(d)
	}
}

// Where the first choice is not what is bought, it is named with what the other saves.
func TestInsteadOfTheFirstChoice(t *testing.T) {
	cat := catalogtest.World(t, []byte(base+`
-- roles.csv --
role
coil
-- work_roles.csv --
work, role
job, coil
-- parts.csv --
part
OWN
OTHER
-- fits.csv --
of, role, part, rank
F, coil, OWN, 1
F, coil, OTHER, 2
-- offers.csv --
supplier, part, price, on_hand
near, OWN, 30, 1
near, OTHER, 10, 1
`))
	p := proposed(t, cat, order.Ask{Decision: decided(t, cat, "ALDER", "job"), Explain: true})
	x := p.Lines[0].Instead
	if x == nil || len(x.Parts) != 1 || x.Parts[0] != "OWN" || !x.Possible || !x.Proven || x.Less.String() != "20" {
		t.Errorf("instead: %+v", x)
	}
	p = proposed(t, cat, order.Ask{Decision: decided(t, cat, "ALDER", "job"), Preferred: true, Explain: true})
	if p.Lines[0].Instead != nil {
		t.Errorf("instead of what is bought: %+v", p.Lines[0].Instead)
	}
}

func TestAskErrors(t *testing.T) {
	world := base + `
-- roles.csv --
role
coil
seal
-- work_roles.csv --
work, role
job, coil
job, seal
-- parts.csv --
part
C1
C2
S
-- fits.csv --
of, role, part
ALDER, coil, C1
BIRCH, coil, C2
F, seal, S
`
	cat := catalogtest.World(t, []byte(world))
	d := decided(t, cat, "?????", "job")
	for _, x := range []struct {
		ask  order.Ask
		want string
	}{
		{order.Ask{EvenHeld: []order.EvenHeld{{Role: "coil", Part: "C1"}}}, "no reason is given"},
		{order.Ask{EvenHeld: []order.EvenHeld{{Role: "coil", Because: "x"}}}, "it must be said which part is ordered: C1 or C2"},
		{order.Ask{EvenHeld: []order.EvenHeld{{Role: "coil", Part: "S", Because: "x"}}}, "S is none of the parts that coil can take"},
		{order.Ask{EvenHeld: []order.EvenHeld{{Role: "seal", Because: "x"}}}, "seal is not held"},
		{order.Ask{EvenHeld: []order.EvenHeld{{Role: "pump", Because: "x"}}}, "no role \"pump\" in the answer to order although it is held; name one of what is held: coil"},
		{order.Ask{Skip: []string{"pump"}}, `no role "pump"`},
		{order.Ask{Without: []string{"nobody"}}, `no supplier "nobody"`},
	} {
		x.ask.Decision, x.ask.Aim = d, purchase.LeastCost
		_, err := order.Propose(t.Context(), cat, x.ask)
		var bad *order.AskError
		if !errors.As(err, &bad) || !strings.Contains(err.Error(), x.want) {
			t.Errorf("%v; want %q", err, x.want)
		}
	}
}

func TestRatesAreNeeded(t *testing.T) {
	world := strings.Replace(base, "supplier, name, freight, days\nnear,     Near, 5,       1\nfar,      Far,  3,       4",
		"supplier, name, currency, freight, days\nnear, Near, EUR, 5, 1\nfar, Far, USD, 3, 4", 1) + `
-- roles.csv --
role
a
b
-- work_roles.csv --
work, role
job, a
job, b
-- parts.csv --
part
A
B
-- fits.csv --
of, role, part
F, a, A
F, b, B
-- offers.csv --
supplier, part, price, on_hand
near, A, 10, 9
near, B, 10, 9
far, A, 10, 9
`
	cat := catalogtest.World(t, []byte(world))
	ask := order.Ask{Decision: decided(t, cat, "ALDER", "job"), Aim: purchase.LeastCost, Currency: "EUR", Moment: moment}
	_, err := order.Propose(t.Context(), cat, ask)
	var bad *purchase.InputError
	require.ErrorAs(t, err, &bad)
	if len(bad.Findings) != 1 || bad.Findings[0].Code != purchase.NoRate {
		t.Errorf("%v", err)
	}
	ask.Rates = []purchase.Rate{{Currency: "USD", Rate: decimal.RequireFromString("0.1")}}
	if d := cmp.Diff([]string{"buy 1 × A at far for a", "buy 1 × B at near for b", "total 16.3"}, told(proposed(t, cat, ask))); d != "" {
		t.Error(d)
	}
	// Totals have the digits of the currency.
	ask.Rates[0].Rate = decimal.RequireFromString("0.1111")
	if p := proposed(t, cat, ask); p.Total.String() != "16.44" || !p.Goods.Add(p.Freight).Equal(p.Total) || !p.Proof.Bound.Equal(p.Total) {
		t.Errorf("the total is %s", p.Total)
	}
}

func TestSends(t *testing.T) {
	at := func(s string) time.Time {
		x, err := time.Parse("2006-01-02T15:04", s)
		require.NoError(t, err)
		return x
	}
	christmas := purchase.Calendar{Holidays: []catalog.Date{20261225}}
	for _, x := range []struct {
		moment, cutoff string
		works          purchase.Calendar
		want           catalog.Date
	}{
		{"2026-11-25T14:00", "14:00", purchase.Calendar{}, 20261125}, // to the minute
		{"2026-11-25T14:01", "14:00", purchase.Calendar{}, 20261126},
		{"2026-11-25T23:59", "", purchase.Calendar{}, 20261125},
		{"2026-11-27T16:00", "15:30", purchase.Calendar{}, 20261130}, // Friday to Monday
		{"2026-11-28T08:00", "15:30", purchase.Calendar{}, 20261130},
		{"2026-11-28T08:00", "15:30", purchase.Calendar{Rest: []time.Weekday{time.Sunday}}, 20261128},
		{"2026-12-24T16:00", "15:30", christmas, 20261228}, // the holiday is a Friday
	} {
		if got := order.Sends(at(x.moment), x.cutoff, x.works); got != x.want {
			t.Errorf("%s, cut-off %q: %v, want %v", x.moment, x.cutoff, got, x.want)
		}
	}
	if got := order.Sends(time.Time{}, "15:00", purchase.Calendar{}); got != 0 {
		t.Errorf("no moment gives %v", got)
	}
}

// The cases of the demo's README that are about buying.
func TestDemoCases(t *testing.T) {
	cat := demo(t)
	has := func(p *order.Proposal, want string) bool {
		return slices.ContainsFunc(told(p), func(s string) bool { return strings.HasPrefix(s, want) })
	}
	for _, x := range []struct {
		name, plate string
		work        []string
		wants, not  []string
	}{
		{"one sleeve in all for a superseded set", "XEB-421-A 1708 012900 L", []string{"actuator-replacement", "connector-sleeve-replacement"}, []string{"buy 1 × DRK-5231-L at"}, []string{"buy 2 × DRK-5231-L", "spare"}},
		{"the last of an old filter on the shelf", "31-2140 0007702-8", []string{"fluid-service"}, []string{"shelf 1 206.P.118 in rack B 1"}, []string{"buy 1 × 206.P.218"}},
		{"the new filter where the old one does not fit", "31-2310 0011264-X", []string{"fluid-service"}, []string{"buy 1 × 206.P.218"}, []string{"shelf 1 206.P.118"}},
		{"rings in the place of an assortment", "31-2140 0007702-8", []string{"valve-body-reseal"}, []string{"shelf 2 205.P.306 in box 14", "buy 1 × 205.P.307"}, nil},
		{"a kit dearer than what is in it", "38-0513 0020871-9", []string{"valve-body-reseal"}, []string{"buy 1 × 255.P.511", "buy 5 × 205.P.014"}, []string{"buy 1 × 255.P.510"}},
		{"a number without successor is held", "UY WA-33 04108", []string{"inner-loom-replacement"}, []string{"held inner-loom"}, []string{"buy 1 × UY57/077"}},
		{"nothing of a set that is not settled", "XEB-43?-B 1832 007345 ?", []string{"actuator-replacement"}, []string{"held actuator-set"}, []string{"buy 1 × DRK-4140-S", "buy 1 × DRK-4150-S"}},
		{"the kit against which a note is confirmed is never bought", "31-2147 0005061-9", []string{"valve-body-reseal"}, []string{"held seal-kit"}, []string{"buy 1 × HCK-31120"}},
	} {
		t.Run(x.name, func(t *testing.T) {
			p := proposed(t, cat, order.Ask{Decision: decided(t, cat, x.plate, x.work...)})
			require.True(t, p.Proof.Proven)
			for _, w := range x.wants {
				if !has(p, w) {
					t.Errorf("no %q in\n%s", w, strings.Join(told(p), "\n"))
				}
			}
			for _, w := range x.not {
				if has(p, w) {
					t.Errorf("%q in\n%s", w, strings.Join(told(p), "\n"))
				}
			}
			adds(t, p)
		})
	}
}

// adds demands that sums are sums: what lines take is what comes from somewhere,
// and the totals of lines, orders and plan agree.
func adds(t *testing.T, p *order.Proposal) {
	t.Helper()
	total := decimal.Zero
	for _, o := range p.Orders {
		goods := decimal.Zero
		for _, l := range o.Lines {
			if got := l.Price.Mul(decimal.NewFromInt(int64(l.Packs))); !got.Equal(l.Total) {
				t.Errorf("%s: %s a line of %s", l.Stock, got, l.Total)
			}
			// What serves nothing only fills an order up, and is spare.
			if len(l.For) == 0 && !slices.ContainsFunc(p.Spares, func(s order.Spare) bool { return s.Supplier == o.Supplier && s.Stock == l.Stock }) {
				t.Errorf("%s serves nothing and is no spare", l.Stock)
			}
			goods = goods.Add(l.Total)
		}
		if !goods.Equal(o.Goods) || !goods.Add(o.Freight).Equal(o.Total) {
			t.Errorf("%s: goods %s and total %s of lines that come to %s", o.Supplier, o.Goods, o.Total, goods)
		}
		total = total.Add(o.Cost)
	}
	if !total.Equal(p.Total) {
		t.Errorf("the orders come to %s, the plan to %s", total, p.Total)
	}
	type origin struct{ supplier, stock string }
	used := map[origin]map[catalog.PartNo]int{}
	count := func(a order.Amount) int {
		if a.Litres.Known {
			return int(a.Litres.Num.Shift(2).IntPart())
		}
		return a.Qty
	}
	for _, l := range p.Lines {
		for _, x := range l.Takes {
			have := 0
			for _, f := range x.From {
				at := origin{f.Supplier, f.Stock}
				if used[at] == nil {
					used[at] = map[catalog.PartNo]int{}
				}
				used[at][f.Part] += count(f.Amount)
				if f.Part == x.Part {
					have += count(f.Amount)
				}
			}
			if whole := len(x.From) > 0 && x.From[0].Part == x.Part; whole && have != count(x.Amount) {
				t.Errorf("%s takes %d of %s, and %d come", l.Role, count(x.Amount), x.Part, have)
			}
			if len(x.From) == 0 {
				t.Errorf("%s takes %s, and nothing comes", l.Role, x.Part)
			}
		}
	}
	for _, s := range p.Spares {
		at := origin{s.Supplier, s.Stock}
		if used[at] == nil {
			used[at] = map[catalog.PartNo]int{}
		}
		used[at][s.Part] += count(s.Amount)
	}
	for _, o := range p.Orders {
		for _, l := range o.Lines {
			want := l.Qty
			if l.Litres.Known {
				want = int(l.Litres.Num.Shift(2).IntPart())
			}
			if got, single := used[origin{o.Supplier, l.Stock}][l.Part]; single && got != want {
				t.Errorf("%s: %d pieces bought, %d used or spare", l.Stock, want, got)
			}
		}
	}
}

// Every plate and every scope of work of the demo can be planned, with every aim.
func TestEveryScopeOfTheDemo(t *testing.T) {
	cat := demo(t)
	n := 0
	for _, plate := range []string{"XEB-421-A 1708 012900 L", "XUK-702-A 1705 000412 R", "38-0513 0020871-9", "UY WA-31 05512"} {
		for _, work := range []string{"actuator-replacement", "fluid-service", "full-overhaul", "valve-body-reseal", "pan-reseal", "control-module-replacement", "output-seal-replacement"} {
			d := decided(t, cat, plate, work)
			best := map[purchase.Aim]*order.Proposal{}
			for _, aim := range []purchase.Aim{purchase.LeastCost, purchase.Earliest, purchase.FewestDeliveries} {
				p := proposed(t, cat, order.Ask{Decision: d, Aim: aim, Nodes: 100})
				// Where the nodes run out the plan has to say how far it is from proven.
				if !p.Found || p.Proof.Proven == (p.Proof.Limit != "") || p.Proof.Proven && !p.Proof.Gap.IsZero() {
					t.Errorf("%s, %s, %s: %+v", plate, work, aim, p.Proof)
				}
				adds(t, p)
				best[aim] = p
				n++
			}
			cheap, soon, few := best[purchase.LeastCost], best[purchase.Earliest], best[purchase.FewestDeliveries]
			if !cheap.Proof.Proven {
				continue
			}
			if cheap.Total.GreaterThan(soon.Total) || cheap.Total.GreaterThan(few.Total) || soon.Arrives > cheap.Arrives || few.Deliveries > cheap.Deliveries {
				t.Errorf("%s, %s: a plan is beaten in its own aim", plate, work)
			}
		}
	}
	if n == 0 {
		t.Error("nothing was planned")
	}
}

func TestLeaves(t *testing.T) {
	cat := demo(t)
	plan := func(work string) (*order.Proposal, *resolve.Decision) {
		d := decided(t, cat, "XEB-411-A 1618 003052 N", work)
		return proposed(t, cat, order.Ask{Decision: d}), d
	}
	one, oneOn := plan("lockup-actuator-replacement")
	all, allOn := plan("actuator-replacement")
	risks, err := order.Leaves(cat, one, all, oneOn)
	require.NoError(t, err)
	i := slices.IndexFunc(risks, func(r order.Risk) bool { return r.Role == "actuator-set" })
	if i < 0 || risks[i].Work != "actuator-replacement" || risks[i].Why != "this is what is replaced" || risks[i].Name == "" {
		t.Errorf("%+v", risks)
	}
	// The one actuator is in the set.
	risks, err = order.Leaves(cat, all, one, allOn)
	require.NoError(t, err)
	if len(risks) > 0 {
		t.Errorf("the whole set leaves %+v", risks)
	}
}

func TestExplained(t *testing.T) {
	world := base + `
-- roles.csv --
role
a
b
-- work_roles.csv --
work, role
job, a
job, b
-- parts.csv --
part
A
B
-- fits.csv --
of, role, part
F, a, A
F, b, B
-- offers.csv --
supplier, part, price, on_hand
near, A, 10, 9
near, B, 30, 9
far, A, 8, 9
far, B, 15, 9
`
	cat := catalogtest.World(t, []byte(world))
	p := proposed(t, cat, order.Ask{Decision: decided(t, cat, "ALDER", "job"), Explain: true})
	// All from far: 8 + 15 + 3 = 26, four working days after Wednesday. From near 45 the next day.
	if p.Total.String() != "26" || p.Arrives != "2026-12-01" {
		t.Fatalf("total %s on %s", p.Total, p.Arrives)
	}
	s := p.Explained.Sooner
	if s == nil || !s.Possible || s.More.String() != "19" || s.Arrives != "2026-11-26" {
		t.Errorf("a day sooner: %+v", s)
	}
	// With the far B at its own freight limit: dearer with a second order.
	p = proposed(t, cat, order.Ask{Decision: decided(t, cat, "ALDER", "job"), Explain: true, Aim: purchase.Earliest})
	if p.Total.String() != "45" || len(p.Explained.Cheaper) != 2 {
		t.Fatalf("%+v", p.Explained)
	}
	for _, c := range p.Explained.Cheaper {
		if c.Why != purchase.CheaperLate || c.Supplier != "far" || c.Than != "near" || !c.Saves.IsPositive() {
			t.Errorf("%+v", c)
		}
	}
}

func TestEqualQuestionsGiveEqualPlans(t *testing.T) {
	cat := demo(t)
	d := decided(t, cat, "XUK-702-A 1705 000412 R", "full-overhaul")
	ask := order.Ask{Decision: d, Explain: true}
	eq := cmp.Comparer(func(a, b decimal.Decimal) bool { return a.Equal(b) })
	dates := cmp.Comparer(func(a, b catalog.Decimal) bool { return a.Equal(b) })
	if x := cmp.Diff(proposed(t, cat, ask), proposed(t, cat, ask), eq, dates); x != "" {
		t.Error(x)
	}
}
