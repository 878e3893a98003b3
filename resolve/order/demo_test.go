package order_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"platewright/catalog/memory"
	"platewright/catalog/pack"
	"platewright/resolve"
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

// moment is a Wednesday after the earliest cut-off times and before the latest.
var moment = time.Date(2026, 11, 25, 14, 0, 0, 0, time.UTC)

func decided(t testing.TB, cat resolve.Catalogue, plate string, work ...string) *resolve.Decision {
	t.Helper()
	d, err := resolve.New(cat, resolve.Edition{Name: "demo"}).Decide(resolve.Question{Plate: plate, Work: work}, resolve.Options{})
	require.NoError(t, err)
	return d
}

func proposed(t testing.TB, cat resolve.Catalogue, ask order.Ask) *order.Proposal {
	t.Helper()
	if ask.Aim == "" {
		ask.Aim = purchase.LeastCost
	}
	if ask.Moment.IsZero() {
		ask.Moment = moment
	}
	p, err := order.Propose(t.Context(), cat, ask)
	require.NoError(t, err)
	return p
}
