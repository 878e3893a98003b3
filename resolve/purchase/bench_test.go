//go:build unix

package purchase

import (
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

var dump = flag.String("dump", "", "folder to write the problems of the benchmark to, as data for testdata/purchase.mod")

// measured are the kinds of problems whose speed is measured, five of each.
var measured = []struct {
	name string
	shape
}{{"goods", goodsHeavy}, {"small", smallBasket}, {"freight", freightHeavy}}

const instances = 5

func instance(s shape, k int) Problem { return random(rand.New(rand.NewPCG(uint64(k), 1)), s) }

// BenchmarkPlan plans to proof. .ci/bench purchase runs it beside CBC and GLPK.
func BenchmarkPlan(b *testing.B) {
	for _, m := range measured {
		for k := range instances {
			p := instance(m.shape, k)
			b.Run(fmt.Sprintf("%s/%d", m.name, k), func(b *testing.B) {
				start := cpu(b)
				for b.Loop() {
					mustSolve(b, p)
				}
				b.ReportMetric((cpu(b)-start).Seconds()/float64(b.N), "cpu-s/op")
			})
			if *dump != "" {
				require.NoError(b, os.WriteFile(filepath.Join(*dump, fmt.Sprintf("%s-%d.dat", m.name, k)), []byte(mathprog(&p, 0, 0)), 0o600))
			}
		}
	}
}

// cpu is the time that this process has worked, on a machine that does other
// things too.
func cpu(b *testing.B) time.Duration {
	var u syscall.Rusage
	require.NoError(b, syscall.Getrusage(syscall.RUSAGE_SELF, &u))
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
