package purchase

import (
	"fmt"
	"math/rand/v2"
	"os"
	"testing"
)

func TestDump(t *testing.T) {
	for _, x := range []struct {
		name string
		s    shape
	}{{"goods", goodsHeavy}, {"freight", freightHeavy}} {
		s := x.s
		s.kits, s.scarce, s.packs, s.breaks = 0, 0, 0, 0
		for seed := range uint64(2) {
			p := random(rand.New(rand.NewPCG(seed, 1)), s)
			os.WriteFile(fmt.Sprintf("/tmp/pd/%slim%d.dat", x.name, seed), []byte(mathprog(&p, 0, 0)), 0o600)
		}
		s = x.s
		s.packs, s.breaks = 0, 0
		for seed := range uint64(2) {
			p := random(rand.New(rand.NewPCG(seed, 1)), s)
			os.WriteFile(fmt.Sprintf("/tmp/pd/%snop%d.dat", x.name, seed), []byte(mathprog(&p, 0, 0)), 0o600)
		}
	}
}
