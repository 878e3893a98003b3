package purchase

import (
	"context"
	"math/rand/v2"
	"testing"
	"time"
)

func TestProf(t *testing.T) {
	s := freightHeavy
	s.kits, s.scarce, s.packs, s.breaks = 0, 0, 0, 0
	p := random(rand.New(rand.NewPCG(0, 1)), s)
	ctx, cancel := context.WithTimeout(context.Background(), 2*time.Second)
	defer cancel()
	plan, _ := Solve(ctx, p, Options{})
	t.Log(plan.Total, plan.Proof)
}
