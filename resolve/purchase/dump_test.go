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
	}{{"goods", goodsHeavy}, {"small", smallBasket}, {"freight", freightHeavy}} {
		for seed := range uint64(8) {
			p := random(rand.New(rand.NewPCG(seed, 1)), x.s)
			os.WriteFile(fmt.Sprintf("/tmp/pd/%s%d.dat", x.name, seed), []byte(mathprog(&p, 0, 0)), 0o600)
		}
	}
}
