package goods_test

import (
	"encoding/csv"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"platewright/catalog"
	"platewright/catalog/memory"
	"platewright/catalog/pack"
	"platewright/resolve"
	"platewright/resolve/goods"
	"platewright/resolve/order"
	"platewright/resolve/purchase"
	"platewright/seed"
)

func demo(t testing.TB) *memory.Catalogue {
	t.Helper()
	p, err := pack.OpenFS(seed.FS, "demo", pack.Limits{})
	require.NoError(t, err)
	defer p.Close()
	c, findings, err := pack.ReadMemory(p)
	require.NoError(t, err)
	require.NoError(t, findings.Err())
	return c
}

// bench is goods-in of one order, as the program uses it: what is booked is kept.
type bench struct {
	t testing.TB
	d *goods.Desk
	n int
}

func (b *bench) try(in goods.Delivery, items ...string) (*goods.Result, error) {
	b.t.Helper()
	for _, x := range items {
		it := goods.Item{Do: goods.Came, Number: x}
		for _, do := range []goods.Do{goods.Looked, goods.Odd, goods.Returned, goods.Kept, goods.Corrected} {
			if rest, ok := strings.CutPrefix(x, string(do)+" "); ok {
				it.Do, it.Number = do, rest
			} else if x == string(do) {
				it.Do, it.Number = do, ""
			}
		}
		if n, c, ok := strings.Cut(it.Number, "="); ok {
			it.Number, it.Count = n, c
			if it.Do == goods.Odd {
				it.Count, it.Saw = "", c
			}
		}
		in.Items = append(in.Items, it)
	}
	res, err := b.d.Receive(in)
	if err == nil && res.Receipt != nil {
		b.n++
		r := *res.Receipt
		r.At, r.Who = fmt.Sprintf("2026-11-25T14:%02d:00Z", b.n), "bench 1"
		b.d.Keep(r)
	}
	return res, err
}

// book books something as a line of a dialogue, in which the same once more is more
// of it.
func (b *bench) book(items ...string) *goods.Result {
	b.t.Helper()
	res, err := b.try(goods.Delivery{Because: "as agreed", Talk: true}, items...)
	require.NoError(b.t, err)
	return res
}

// refused gives what is wrong, all of it.
func (b *bench) refused(in goods.Delivery, items ...string) string {
	b.t.Helper()
	_, err := b.try(in, items...)
	var r *catalog.RefusedError
	require.ErrorAs(b.t, err, &r)
	var out []string
	for _, f := range r.Findings {
		out = append(out, f.String())
	}
	return strings.Join(out, "\n")
}

// ordered plans and opens goods-in of the order to a supplier.
func ordered(t testing.TB, cat resolve.Catalogue, q resolve.Question, supplier string) *bench {
	t.Helper()
	e := resolve.Edition{Name: "demo"}
	dec, err := resolve.New(cat, e).Decide(q, resolve.Options{})
	require.NoError(t, err)
	p, err := order.Propose(t.Context(), cat, order.Ask{Decision: dec, Aim: purchase.LeastCost, Preferred: true, Moment: time.Date(2026, 11, 25, 14, 0, 0, 0, time.UTC)})
	require.NoError(t, err)
	for _, s := range p.Sheets() {
		if supplier == "" || s.Order.Supplier == supplier {
			s.Number = "P0001-1"
			return &bench{t: t, d: goods.New(cat, e, goods.FromSheet(&s), &q, nil)}
		}
	}
	t.Fatalf("nothing is ordered from %q", supplier)
	return nil
}

// What the demo says of a superseded set that brings a sleeve, and of the set of a
// look-alike that came in its place.
func TestDemoSupersededSet(t *testing.T) {
	b := ordered(t, demo(t), resolve.Question{Plate: "XEB-421-A 1708 012900 L", Work: []string{"actuator-replacement"}}, "snedd")
	c := b.book("SN-1119").Checks[0]
	require.Equal(t, goods.Right, c.Verdict)
	require.Equal(t, goods.ByStock, c.By.By)
	has := func(k goods.ExpectKind, other catalog.PartNo, text string) {
		t.Helper()
		require.True(t, slices.ContainsFunc(c.Expect, func(e goods.Expect) bool {
			return e.Kind == k && e.Other == other && strings.Contains(e.Text, text)
		}), "%s %s %q is not among %+v", k, other, text, c.Expect)
	}
	has(goods.ExpectLook, "", "taller by 4 mm")
	has(goods.ExpectReplaces, "DRK-4130-S", "the long sleeve must go in with it")
	has(goods.ExpectNot, "DRK-4110-S", "six actuators")
	c = b.book("DRK-5231-L").Checks[0]
	has(goods.ExpectCompanion, "DRK-4230-S", "does not latch in the short sleeve")

	c = b.book("DRK-4110-S").Checks[0]
	require.Equal(t, goods.Wrong, c.Verdict)
	require.Equal(t, resolve.DoesNotFit, c.Fit.Unit.Verdict)
	require.Equal(t, []goods.Like{{Line: 1, Part: "DRK-4230-S", Why: goods.LookAlikeTakes, Role: "actuator-set", Variant: "XEB-412-A"}}, c.Fit.Like)
	require.Equal(t, 4, c.Fit.Total)
	require.Equal(t, "XEB-411-A", c.Fit.Serves[0].Of)
	require.True(t, c.Fit.Serves[0].Own)
}

// The colour changed and the number stayed.
func TestDemoColour(t *testing.T) {
	b := ordered(t, demo(t), resolve.Question{Plate: "XEB-411-A 1618 003052 N", Roles: []string{"actuator-set"}}, "")
	c := b.book("DKS 4110 R").Checks[0] // the number of an old parts list
	require.Equal(t, goods.Right, c.Verdict)
	require.Equal(t, goods.ByOther, c.By.By)
	require.Equal(t, "six actuators; pressure caps green since 2021, grey before, same number", c.Expect[0].Text)
	require.Equal(t, "colour changed, number stayed", c.Expect[1].Text)
}

// Each number of the demo is found by goods-in as the catalogue states it.
func TestDemoNumbers(t *testing.T) {
	cat := demo(t)
	o := &goods.Order{Number: "P-1", Supplier: "lorrq"}
	read := func(table string) (out [][]string) {
		f, err := seed.FS.Open(table + ".csv")
		require.NoError(t, err)
		defer f.Close()
		out, err = csv.NewReader(f).ReadAll()
		require.NoError(t, err)
		return out[1:]
	}
	try := func(number, part string) {
		t.Helper()
		b := &bench{t: t, d: goods.New(cat, resolve.Edition{Name: "demo"}, o, nil, nil)}
		require.Equal(t, catalog.PartNo(part), b.book(number).Checks[0].Part, number)
	}
	for i, r := range read("parts") {
		if i%10 == 0 {
			try(r[0], r[0])
		}
	}
	for _, r := range read("numbers") {
		try(r[0], r[1])
	}
	for i, r := range read("offers") {
		if i%10 == 0 || r[0] == "lorrq" {
			try(r[1], r[2])
		}
	}
}
