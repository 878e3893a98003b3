package purchase

import (
	"context"
	"fmt"
	"math/rand/v2"
	"testing"
	"time"
)

func TestSpeed(t *testing.T) {
	for _, x := range []struct {
		name string
		s    shape
	}{{"goods", goodsHeavy}, {"small", smallBasket}, {"freight", freightHeavy}} {
		for seed := range uint64(8) {
			p := random(rand.New(rand.NewPCG(seed, 1)), x.s)
			start := time.Now()
			ctx, cancel := context.WithTimeout(context.Background(), 8*time.Second)
			plan, err := Solve(ctx, p, Options{})
			cancel()
			if err != nil {
				t.Fatal(err)
			}
			fmt.Println(x.name, seed, time.Since(start).Round(time.Microsecond*100), plan.Total, plan.Proof, plan.Deliveries, len(plan.Uncovered))
		}
	}
}
