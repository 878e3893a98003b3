package audit_test

import (
	"os"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/require"
)

// The demo has these findings and no others: each is a case that it wants to show,
// and seed/README.md names it.
func TestDemo(t *testing.T) {
	var got strings.Builder
	for _, f := range found(t, demo(t)) {
		got.WriteString(line(t, f))
	}
	if *update {
		require.NoError(t, os.WriteFile("testdata/demo.txt", []byte(got.String()), 0o666))
		return
	}
	want, err := os.ReadFile("testdata/demo.txt")
	require.NoError(t, err)
	if d := cmp.Diff(string(want), got.String()); d != "" {
		t.Errorf("the findings differ (-want +got):\n%s", d)
	}
	readme, err := os.ReadFile("../../seed/README.md")
	require.NoError(t, err)
	_, said, ok := strings.Cut(string(readme), "## What the audit says of it\n")
	require.True(t, ok, "seed/README.md says nothing of the audit")
	for _, f := range found(t, demo(t)) {
		if !strings.Contains(said, f.ID) {
			t.Errorf("seed/README.md does not explain %s", line(t, f))
		}
	}
}
