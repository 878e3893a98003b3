package purchase

import (
	"context"
	"fmt"
	"math/rand/v2"
	"testing"
	"time"
)

func TestGap(t *testing.T) {
	for _, k := range []struct {
		name string
		s    shape
	}{{"goods", goodsHeavy}, {"freight", freightHeavy}} {
		for _, f := range []string{"all", "nokits", "nolimits", "noscarce", "nopacks", "onlykits", "onlypacks", "onlyscarce", "onlylimits", "none"} {
			s := k.s
			only := s
			only.kits, only.free, only.minimum, only.scarce, only.packs, only.breaks = 0, 0, 0, 0, 0, 0
			switch f {
			case "nokits":
				s.kits = 0
			case "nolimits":
				s.free, s.minimum = 0, 0
			case "noscarce":
				s.scarce = 0
			case "nopacks":
				s.packs, s.breaks = 0, 0
			case "onlykits":
				only.kits = s.kits
				s = only
			case "onlypacks":
				only.packs, only.breaks = s.packs, s.breaks
				s = only
			case "onlyscarce":
				only.scarce = s.scarce
				s = only
			case "onlylimits":
				only.free, only.minimum = s.free, s.minimum
				s = only
			case "none":
				s = only
			}
			for seed := range uint64(2) {
				p := random(rand.New(rand.NewPCG(seed, 1)), s)
				start := cpu()
				plan, _ := Solve(context.Background(), p, Options{Nodes: 1})
				d := (cpu() - start)
				ctx, cancel := context.WithTimeout(context.Background(), 6*time.Second)
				start = cpu()
				full, _ := Solve(ctx, p, Options{Nodes: 5000})
				cancel()
				fmt.Println(k.name, f, seed, plan.Total, "gap", plan.Proof.Gap, d.Round(time.Millisecond), "full", full.Total, full.Proof, (cpu() - start).Round(time.Millisecond))
			}
		}
	}
}
