package purchase

import (
	"context"
	"fmt"
	"os"
	"strings"
	"testing"

	"github.com/shopspring/decimal"
	"github.com/stretchr/testify/require"
)

func dec(s string) decimal.Decimal { return decimal.RequireFromString(s) }

// table reads lines of fields.
func table(t *testing.T, name string) [][]string {
	t.Helper()
	b, err := os.ReadFile("testdata/" + name)
	require.NoError(t, err)
	var rows [][]string
	for _, l := range strings.Split(strings.TrimSpace(string(b)), "\n") {
		rows = append(rows, strings.Fields(l))
	}
	return rows
}

func wantTotal(t *testing.T, name string, p *Plan, want decimal.Decimal) {
	t.Helper()
	if !p.Total.Equal(want) || !p.Proof.Proven || !p.Proof.Bound.Equal(want) || !p.Proof.Gap.IsZero() || !p.Complete {
		t.Errorf("%s: total %s, want %s; proof %+v", name, p.Total, want, p.Proof)
	}
}

// TestOrLibrary: uncapacitated warehouse location is this problem with one piece a
// need and freight as the fixed cost. See testdata/README.md for the source.
func TestOrLibrary(t *testing.T) {
	rows := table(t, "cap71.txt")
	require.Len(t, rows, 50)
	for _, x := range []struct{ name, fixed, want string }{
		{"cap71", "7500", "932615.75"}, {"cap72", "12500", "977799.4"}, {"cap73", "17500", "1010641.45"}, {"cap74", "25000", "1034976.975"},
	} {
		p := Problem{Currency: "EUR", Aim: LeastCost}
		for w := range 16 {
			s := Supplier{Key: fmt.Sprintf("w%02d", w+1), Freight: dec(x.fixed)}
			if w == 10 {
				s.Freight = decimal.Zero
			}
			p.Suppliers = append(p.Suppliers, s)
		}
		for c, row := range rows {
			key := fmt.Sprintf("c%02d", c+1)
			p.Needs = append(p.Needs, Wants(key, key, 1))
			for w, cost := range row[1:] {
				// One more on every price, taken off below: a price of zero is refused.
				p.Offers = append(p.Offers, Offer{Supplier: p.Suppliers[w].Key, Stock: key, Good: key, Pack: 1, OnHand: AnyNumber, Price: dec(cost).Add(decimal.New(1, 0))})
			}
		}
		wantTotal(t, x.name, mustSolve(t, p), dec(x.want).Add(decimal.New(50, 0)))
	}
}

// TestWarehouses: CSPLib problem 034, optimum 383
// (https://www.csplib.org/Problems/prob034/). Five warehouses with fixed cost 30
// serve 1, 4, 2, 1 and 3 of ten stores at most. A capacity is not part of a
// purchase, so it is written as needs: serving a store also takes a place at the
// warehouse, every place is to be taken, and the one place too many is on the
// shelf, good for any warehouse. Ten times 100 on top keep it from serving a store
// twice, which would make room beyond a capacity.
func TestWarehouses(t *testing.T) {
	costs := [10][5]int{{20, 24, 11, 25, 30}, {28, 27, 82, 83, 74}, {74, 97, 71, 96, 70}, {2, 55, 73, 69, 61}, {46, 96, 59, 83, 4},
		{42, 22, 29, 67, 59}, {1, 5, 73, 59, 56}, {10, 73, 13, 43, 96}, {93, 35, 63, 85, 46}, {47, 65, 55, 71, 95}}
	p := Problem{Currency: "EUR", Aim: LeastCost, Shelf: []Amount{{"any place", 1}}}
	for w, capacity := range []int{1, 4, 2, 1, 3} {
		key := fmt.Sprintf("w%d", w)
		p.Suppliers = append(p.Suppliers, Supplier{Key: key, Freight: decimal.New(30, 0)})
		p.Needs = append(p.Needs, Wants(key, key, capacity))
		p.Serves = append(p.Serves, Serves{"any place", key})
		for s := range costs {
			good := fmt.Sprintf("%s-s%d", key, s)
			p.Goods = append(p.Goods, Good{good, []Amount{{fmt.Sprintf("s%d", s), 1}, {key, 1}}})
			p.Offers = append(p.Offers, Offer{Supplier: key, Stock: good, Good: good, Pack: 1, OnHand: AnyNumber, Price: decimal.New(int64(100+costs[s][w]), 0)})
		}
	}
	for s := range costs {
		key := fmt.Sprintf("s%d", s)
		p.Needs = append(p.Needs, Wants(key, key, 1))
	}
	wantTotal(t, "prob034", mustSolve(t, p), decimal.New(10*100+383, 0))
}

// TestFixedCharge: fixed-charge transportation bal8x12, optimum 471.55; see
// testdata/README.md for the source. Each link is a supplier whose freight is the
// fixed cost and whose packs of five (all quantities are multiples of five) hold
// what leaves a source and what reaches a customer. Supply and demand are equal;
// 100 on top of each of the 42 packs keep it from shipping more than that. It is
// far from a shop's order, 96 suppliers with one offer each, and is not proven in
// reasonable time: the test is that bound and plan keep to their sides of the
// optimum.
func TestFixedCharge(t *testing.T) {
	p := Problem{Currency: "EUR", Aim: LeastCost}
	var costs, fixed [][]string
	for _, row := range table(t, "bal8x12.txt") {
		switch row[0] {
		case "supply", "demand":
			for i, q := range row[1:] {
				key := fmt.Sprintf("%s%02d", row[0], i)
				p.Needs = append(p.Needs, Wants(key, key, int(dec(q).IntPart())))
			}
		case "cost":
			costs = append(costs, row[1:])
		case "fixed":
			fixed = append(fixed, row[1:])
		}
	}
	require.Len(t, p.Needs, 20)
	for i := range costs {
		for j := range costs[i] {
			key := fmt.Sprintf("%02d-%02d", i, j)
			p.Suppliers = append(p.Suppliers, Supplier{Key: key, Freight: dec(fixed[i][j])})
			p.Goods = append(p.Goods, Good{key, []Amount{{fmt.Sprintf("supply%02d", i), 1}, {fmt.Sprintf("demand%02d", j), 1}}})
			p.Offers = append(p.Offers, Offer{Supplier: key, Stock: key, Good: key, Pack: 5, OnHand: AnyNumber, Price: dec(costs[i][j]).Mul(decimal.New(5, 0)).Add(decimal.New(100, 0))})
		}
	}
	plan, err := Solve(context.Background(), p, Options{Nodes: 150})
	require.NoError(t, err)
	optimum := dec("4671.55")
	if pr := plan.Proof; pr.Proven || pr.Limit != NodesReached || pr.Bound.GreaterThan(optimum) || plan.Total.LessThan(optimum) || !pr.Gap.Equal(plan.Total.Sub(pr.Bound)) || pr.Bound.LessThan(dec("4500")) {
		t.Errorf("bal8x12: total %s, optimum %s; proof %+v", plan.Total, optimum, pr)
	}
}

// TestTinyKits: two suppliers with kits, optimum 139.00 with this one plan alone
// (glpsol 5.0, cbc 2.10.8 and exhaustive search agree).
func TestTinyKits(t *testing.T) {
	p := tinyKits()
	plan := mustSolve(t, p)
	wantTotal(t, "tiny", plan, dec("139"))
	got := map[string]int{}
	for _, o := range plan.Orders {
		for _, l := range o.Lines {
			got[l.Stock] = l.Packs
		}
	}
	want := map[string]int{"A_SOL1": 1, "A_FLUID1": 1, "B_SEAL1": 1, "B_FLUID4": 1, "B_KIT": 1}
	require.Equal(t, want, got)
}

func tinyKits() Problem {
	p := Problem{Currency: "EUR", Aim: LeastCost,
		Needs:     []Need{Wants("SOL", "SOL", 3), Wants("SEAL", "SEAL", 5), Wants("FLUID", "FLUID", 7)},
		Goods:     []Good{{"KITA", []Amount{{"SOL", 2}, {"SEAL", 3}, {"FLUID", 1}}}, {"KITB", []Amount{{"SOL", 2}, {"SEAL", 4}, {"FLUID", 2}}}},
		Suppliers: []Supplier{{Key: "S1", Freight: dec("12")}, {Key: "S2", Freight: dec("7.50")}},
	}
	for _, x := range []struct {
		stock, sup, good, price string
		pack                    int
	}{
		{"A_SOL1", "S1", "SOL", "21.40", 1}, {"A_SEAL4", "S1", "SEAL", "6", 4}, {"A_FLUID1", "S1", "FLUID", "8.20", 1}, {"A_KIT", "S1", "KITA", "52", 1},
		{"B_SOL1", "S2", "SOL", "23", 1}, {"B_SEAL1", "S2", "SEAL", "1.90", 1}, {"B_FLUID4", "S2", "FLUID", "28", 4}, {"B_KIT", "S2", "KITB", "60", 1},
	} {
		p.Offers = append(p.Offers, Offer{Supplier: x.sup, Stock: x.stock, Good: x.good, Pack: x.pack, Price: dec(x.price), OnHand: AnyNumber})
	}
	return p
}
