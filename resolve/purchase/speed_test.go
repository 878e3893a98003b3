package purchase

import (
	"context"
	"fmt"
	"math/rand/v2"
	"testing"
	"time"
)

func TestSpeed(t *testing.T) {
	nop, lim := freightHeavy, freightHeavy
	nop.packs, nop.breaks = 0, 0
	lim.kits, lim.scarce, lim.packs, lim.breaks = 0, 0, 0, 0
	for _, x := range []struct {
		name string
		s    shape
		n    uint64
	}{{"nop", nop, 1}, {"lim", lim, 1}, {"goods", goodsHeavy, 8}, {"small", smallBasket, 8}, {"freight", freightHeavy, 6}} {
		for seed := range x.n {
			p := random(rand.New(rand.NewPCG(seed, 1)), x.s)
			start := cpu()
			ctx, cancel := context.WithTimeout(context.Background(), 25*time.Second)
			plan, err := Solve(ctx, p, Options{})
			cancel()
			if err != nil {
				t.Fatal(err)
			}
			fmt.Println(x.name, seed, (cpu() - start).Round(time.Microsecond*100), plan.Total, plan.Proof, plan.Deliveries, len(plan.Uncovered))
		}
	}
}
