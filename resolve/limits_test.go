package resolve_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"platewright/catalog"
	"platewright/catalog/memory"
	"platewright/resolve"
)

// crowd is a catalogue with more variants than are worked through, in two
// families. Only the last variant, of the second family, has a deep pan; the
// first variant alone of the first family has the module "odd".
func crowd(t *testing.T) *memory.Catalogue {
	t.Helper()
	const n = 5600
	c := memory.New()
	add := func(table string, cells ...string) {
		tab := catalog.TableByName(table)
		r := tab.New()
		for i := 0; i < len(cells); i += 2 {
			require.NoError(t, tab.Column(cells[i]).Set(r, cells[i+1]))
		}
		require.True(t, c.Add(tab, r, catalog.Place{Table: table}))
	}
	add("sources", "source", "s", "title", "made up", "kind", "invented")
	add("makers", "maker", "m", "name", "m", "source", "s")
	add("assemblies", "assembly", "case", "name", "case", "source", "s")
	add("assemblies", "assembly", "body", "name", "body", "follows", "case", "source", "s")
	add("layouts", "layout", "lay", "maker", "m", "assembly", "case", "name", "lay", "example", "0000", "source", "s")
	add("fields", "layout", "lay", "place", "1", "field", "type", "kind", "digits", "min", "4", "max", "4", "means", "variant")
	for _, f := range []string{"FA", "FB"} {
		add("families", "family", f, "maker", "m", "name", f, "source", "s")
	}
	for _, m := range []string{"pan", "module"} {
		add("marks", "mark", m, "assembly", map[string]string{"pan": "case", "module": "body"}[m], "name", m, "kind", "seen", "force", "deciding", "effort", "1", "how", "look", "source", "s")
	}
	for _, p := range []string{"P1", "P2"} {
		add("parts", "part", p, "name", p, "kind", "single", "origin", "unit-maker", "status", "sold", "source", "s")
	}
	add("roles", "role", "gasket", "name", "gasket", "assembly", "case", "kind", "part")
	add("roles", "role", "seal", "name", "seal", "assembly", "body", "kind", "part")
	for i := range n {
		v, f := fmt.Sprintf("%04d", i), "FA"
		if i >= n-300 {
			f = "FB"
		}
		add("variants", "variant", v, "family", f, "layout", "lay", "source", "s")
		pan, module := "flat", "even"
		if i == n-1 {
			pan, module = "deep", "odd"
		}
		if i == 0 {
			module = "odd"
		}
		add("shows", "scope", "variant", "of", v, "mark", "pan", "value", pan, "source", "s")
		add("shows", "scope", "variant", "of", v, "mark", "module", "value", module, "source", "s")
		part := "P1"
		if f == "FB" {
			part = "P2"
		}
		for _, role := range []string{"gasket", "seal"} {
			add("fits", "scope", "variant", "of", v, "statement", role, "role", role, "effect", "fits", "part", part, "qty", "1", "source", "s")
		}
	}
	c.Seal()
	c.Check(func(f catalog.Finding) { t.Error(f) })
	return c
}

// With more variants than are worked through nothing may be settled on those
// that are at hand, and none of them need contradict anything: the one that
// agrees can lie beyond the bound.
func TestTooManyVariantsSettleNothing(t *testing.T) {
	r := resolve.New(crowd(t), resolve.Edition{})
	for _, saw := range []string{"", "pan=deep", "pan=flat", "module=odd", "module=even", "pan=deep module=odd"} {
		q := resolve.Question{Plate: "????", Roles: []string{"gasket", "seal"}}
		for _, s := range strings.Fields(saw) {
			m, v, _ := strings.Cut(s, "=")
			q.Saw = append(q.Saw, resolve.Observation{Mark: m, Value: v})
		}
		d, err := r.Decide(q, resolve.Options{})
		require.NoError(t, err)
		if len(d.SafeToOrder) > 0 || len(d.Conflicts) > 0 || d.Mixed != nil {
			t.Errorf("saw %q: safe %v, conflicts %v, mixed %v; want none of them, not all variants are at hand", saw, d.SafeToOrder, d.Conflicts, d.Mixed)
		}
		for _, role := range d.Roles {
			if role.Verdict != resolve.NotSettled {
				t.Errorf("saw %q: %s is %v, want not settled", saw, role.Role, role.Verdict)
			}
		}
	}
	// The same marks settle as soon as the plate leaves few enough.
	d, err := r.Decide(resolve.Question{Plate: "55??", Saw: []resolve.Observation{{Mark: "pan", Value: "deep"}}, Roles: []string{"gasket"}}, resolve.Options{})
	require.NoError(t, err)
	require.Len(t, d.SafeToOrder, 1)
	require.Equal(t, catalog.PartNo("P2"), d.SafeToOrder[0].Items[0].Part)
}
