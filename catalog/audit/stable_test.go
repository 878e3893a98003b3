package audit_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"strconv"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/require"

	"platewright/catalog"
	"platewright/catalog/audit"
	"platewright/catalog/catalogtest"
	"platewright/catalog/memory"
	"platewright/resolve/plate"
)

func identifiers(list []audit.Finding) []string {
	var out []string
	for _, f := range list {
		out = append(out, f.ID)
	}
	slices.Sort(out)
	return out
}

// shuffled gives the same catalogue from files whose rows stand in another order.
func shuffled(c *memory.Catalogue, r *rand.Rand) *memory.Catalogue {
	out := memory.New()
	for _, t := range catalog.Tables() {
		var rows []catalog.Row
		for row := range c.Rows(t.Name) {
			rows = append(rows, row)
		}
		r.Shuffle(len(rows), func(i, j int) { rows[i], rows[j] = rows[j], rows[i] })
		for i, row := range rows {
			out.Add(t, row, catalog.Place{File: t.Name + ".csv", Table: t.Name, Row: i + 2})
		}
	}
	out.Seal()
	return out
}

// The order of rows changes no identifier, and neither does a catalogue of other
// things beside this one: every finding stays, under its own identifier.
func TestIdentifiersAreStable(t *testing.T) {
	for i := range 60 {
		r := rand.New(rand.NewPCG(11, uint64(i)))
		alone := memory.New()
		random(alone, r, "")
		alone.Seal()
		was := found(t, alone)
		if d := cmp.Diff(identifiers(was), identifiers(found(t, shuffled(alone, r)))); d != "" {
			t.Fatalf("catalogue %d: another order of rows gives other findings:\n%s", i, d)
		}
		both := memory.New()
		random(both, r, "Z")
		for _, tab := range catalog.Tables() {
			for row, at := range alone.Rows(tab.Name) {
				both.Add(tab, row, at)
			}
		}
		both.Seal()
		now := identifiers(found(t, both))
		for _, f := range was {
			if !slices.Contains(now, f.ID) {
				t.Errorf("catalogue %d: beside another catalogue this finding is gone: %s", i, line(t, f))
			}
		}
	}
}

// An edition in the store has the findings of the same catalogue in memory. Only
// where rows stand in a file is not known there.
func TestStoreHasTheSameFindings(t *testing.T) {
	c := demo(t)
	feed := &catalogtest.Feed{Title: "demo"}
	for _, tab := range catalog.Tables() {
		for row := range c.Rows(tab.Name) {
			feed.AddRow(tab, row, 0)
		}
	}
	// Something of every sort to find, in the terms of the demo.
	for i := range 30 {
		require.NoError(t, feed.Add(catalog.TFits, "scope=variant", fmt.Sprintf("of=XEB-4%d%d-A", 1+i%2, 1+i%3), "statement=x"+strconv.Itoa(i), "role=filter", "effect=fits", "part=DRK-6310-F", "qty="+strconv.Itoa(1+i%4), "rank="+strconv.Itoa(i%3), "source=demo"))
	}
	s, _ := catalogtest.Store(t, feed)
	v, err := s.Head()
	require.NoError(t, err)
	defer v.Close()
	whole := memory.New()
	for _, tab := range catalog.Tables() {
		require.NoError(t, v.Each(tab, func(r catalog.Row) error { whole.Add(tab, r, catalog.Place{}); return nil }))
	}
	whole.Seal()
	var got []audit.Finding
	require.NoError(t, audit.Run(t.Context(), v, audit.Options{Confusable: plate.Confusable}, func(f audit.Finding) error {
		got = append(got, f)
		return nil
	}))
	want := found(t, whole)
	if len(want) < 20 {
		t.Errorf("there are only %d findings to compare", len(want))
	}
	var a, b string
	for _, f := range want {
		a += line(t, f)
	}
	for _, f := range got {
		b += line(t, f)
	}
	if d := cmp.Diff(a, b); d != "" {
		t.Errorf("the store and memory differ (-memory +store):\n%s", d)
	}
}

// Interrupted, an audit ends at once.
func TestRunInterrupted(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	c := memory.New()
	random(c, rand.New(rand.NewPCG(3, 3)), "")
	c.Seal()
	err := audit.Run(ctx, audit.Memory(c), audit.Options{}, func(audit.Finding) error { return nil })
	require.ErrorIs(t, err, context.Canceled)
}
