package purchase

import (
	"context"
	"math/rand/v2"
	"testing"
	"time"
)

func TestProf(t *testing.T) {
	s := freightHeavy
	p := random(rand.New(rand.NewPCG(2, 1)), s)
	ctx, cancel := context.WithTimeout(context.Background(), 6*time.Second)
	defer cancel()
	plan, _ := Solve(ctx, p, Options{})
	t.Log(plan.Total, plan.Proof)
}
