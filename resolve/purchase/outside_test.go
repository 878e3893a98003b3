package purchase

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"testing"

	"github.com/shopspring/decimal"
	"github.com/stretchr/testify/require"
)

// outside finds a program that judges from outside; without it the test is
// skipped, or fails where everything has to run.
func outside(t testing.TB, name, debian string) string {
	path, err := exec.LookPath(name)
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatalf("%s is absent; install %s", name, debian)
		}
		t.Skipf("%s is absent (Debian package %s)", name, debian)
	}
	return path
}

var (
	glpTotal = regexp.MustCompile(`(?m)^TOTAL (\S+)$`)
	cbcTotal = regexp.MustCompile(`(?m)^Objective value: +(\S+)$`)
)

// glpsol solves problem data by GLPK.
func glpsol(t testing.TB, dir, data string) (decimal.Decimal, bool) {
	file := filepath.Join(dir, "plan.dat")
	require.NoError(t, os.WriteFile(file, []byte(data), 0o600))
	out, err := exec.Command("glpsol", "-m", "testdata/purchase.mod", "-d", file, "--mipgap", "0").CombinedOutput()
	require.NoError(t, err, "%s", out)
	m := glpTotal.FindSubmatch(out)
	if m == nil || regexp.MustCompile(`HAS NO (PRIMAL )?(INTEGER )?FEASIBLE`).Match(out) {
		return decimal.Zero, false
	}
	return decimal.RequireFromString(string(m[1])), true
}

// cbc solves problem data by CBC.
func cbc(t testing.TB, dir, data string) (decimal.Decimal, bool) {
	file, lp := filepath.Join(dir, "plan.dat"), filepath.Join(dir, "plan.lp")
	require.NoError(t, os.WriteFile(file, []byte(data), 0o600))
	out, err := exec.Command("glpsol", "-m", "testdata/purchase.mod", "-d", file, "--check", "--wlp", lp).CombinedOutput()
	require.NoError(t, err, "%s", out)
	out, err = exec.Command("cbc", lp, "-ratioGap", "0", "-allowableGap", "0", "solve").CombinedOutput()
	require.NoError(t, err, "%s", out)
	m := cbcTotal.FindSubmatch(out)
	if m == nil {
		return decimal.Zero, false
	}
	return decimal.RequireFromString(string(m[1])), true
}

func mustSolve(t testing.TB, p Problem) *Plan {
	t.Helper()
	plan, err := Solve(context.Background(), p, Options{})
	require.NoError(t, err)
	require.NotNil(t, plan)
	if plan.Found && !plan.Proof.Proven {
		t.Errorf("not proven: %+v", plan.Proof)
	}
	return plan
}

func TestTry(t *testing.T) {
	for seed := range uint64(60) {
		p := random(rand.New(rand.NewPCG(seed, 1)), mixed)
		plan, err := Solve(context.Background(), p, Options{Nodes: 20000})
		require.NoError(t, err)
		want, ok := glpsol(t, t.TempDir(), mathprog(&p, 0, 0))
		fmt.Println(seed, plan.Total, plan.Proof, want, ok, plan.Uncovered)
	}
}
