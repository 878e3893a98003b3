package resolve

import (
	"encoding/json"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/require"

	"platewright/catalog"
)

// A pattern is met by every reading that can turn out to have it.
func TestCanBe(t *testing.T) {
	for _, x := range []struct {
		pattern, text string
		want          bool
	}{
		{"XEB41?A*", "XEB411A1618003052N", true},
		{"XEB41?A*", "XEB437B1832", false},
		{"XEB41?A", "XEB411A1618", false},
		{"XEB4*", "XEB4??", true},
		{"XEB47*", "XEB4??", true},
		{"XEB47*", "XEB4[38]9", false},
		{"XEB43*", "XEB4[38]9", true},
		{"*7", "AB?", true},
		{"*7", "AB8", false},
		{"A*B*C", "AXXBC", true},
		{"A*B*C", "ACB", false},
		{"AB", "AB", true},
		{"AB", "", false},
		{"*", "", true},
		{"A?C", "AC", false},
	} {
		if got := canBe(x.pattern, x.text); got != x.want {
			t.Errorf("canBe(%q, %q) = %v, want %v", x.pattern, x.text, got, x.want)
		}
	}
}

// Differ names what is decided differently and why, and nothing else; what a card
// keeps of a decision is enough to tell.
func TestDiffer(t *testing.T) {
	make := func(verdict Verdict, part catalog.PartNo, qty int, safe bool, row string) *Decision {
		d := &Decision{Assemblies: []AssemblyState{{Assembly: "case", Basis: BasisOwn, Total: 1, Candidates: []Candidate{{Variant: "AA"}}}}}
		trail := []Reason{{Code: ReasonStated, Table: catalog.TFits, Row: row, Part: part, Qty: qty}}
		d.Roles = []RoleAnswer{{Role: "seal", Name: "Seal", Verdict: verdict, Lines: []Line{{Position: "front", Choices: []Choice{{Items: []Item{{Part: part, Qty: qty}}, Trail: trail}}}}},
			{Role: "filter", Name: "Filter", Verdict: Fits, Lines: []Line{{Choices: []Choice{{Items: []Item{{Part: "F", Qty: 1}}}}}}}}
		d.SafeToOrder = []OrderLine{{Role: "filter"}}
		if safe {
			d.SafeToOrder = append(d.SafeToOrder, OrderLine{Role: "seal", Position: "front"})
		} else {
			d.Held = []HeldLine{{Role: "seal", Position: "front", Why: []Reason{{Code: ReasonNoteAgainst, Part: part}}}}
		}
		// As it comes back from a card.
		text, err := json.Marshal(d)
		require.NoError(t, err)
		back := &Decision{}
		require.NoError(t, json.Unmarshal(text, back))
		return back
	}
	before := make(Fits, "P1", 2, true, "a")
	same := Differ(before, make(Fits, "P1", 2, true, "a"))
	require.False(t, same.Any())
	other := Differ(before, make(Fits, "P1", 2, true, "b"))
	require.False(t, other.Any(), "the same comes out by another row")

	more := Differ(before, make(Fits, "P1", 3, true, "a"))
	require.Len(t, more.Roles, 1)
	if d := cmp.Diff([]Reason{{Code: ReasonStated, Table: catalog.TFits, Row: "a", Part: "P1", Qty: 3}}, more.Roles[0].Come); d != "" {
		t.Errorf("reasons (-want +got):\n%s", d)
	}
	require.Equal(t, 2, more.Roles[0].Before[0].Items[0].Qty)
	require.Equal(t, 3, more.Roles[0].After[0].Items[0].Qty)

	// That another part is taken says nothing of what is sold.
	sold := func(part catalog.PartNo, row string, extra ...Reason) *Decision {
		d := make(Fits, part, 2, true, row)
		c := &d.Roles[0].Lines[0].Choices[0]
		c.Trail = append(append(c.Trail, extra...), Reason{Code: ReasonSold, Part: part})
		return d
	}
	codes := func(rs []Reason) []Code {
		var out []Code
		for _, r := range rs {
			out = append(out, r.Code)
		}
		return out
	}
	moved := Differ(sold("P1", "a", Reason{Code: ReasonInterchange, Part: "P1", Other: "P0"}), sold("P2", "b"))
	require.Equal(t, []Code{ReasonStated}, codes(moved.Roles[0].Gone))
	require.Equal(t, []Code{ReasonStated}, codes(moved.Roles[0].Come))
	replaced := Differ(sold("P1", "a"), sold("P2", "a", Reason{Code: ReasonReplaced, Part: "P1", Other: "P2"}))
	require.Contains(t, codes(replaced.Roles[0].Come), ReasonReplaced)

	held := Differ(before, make(Fits, "P1", 2, false, "a"))
	require.Len(t, held.Roles, 1)
	require.Equal(t, ReasonNoteAgainst, held.Roles[0].Come[0].Code)
	require.Empty(t, held.Roles[0].Gone)

	after := make(Fits, "P1", 2, true, "a")
	after.Assemblies[0].Candidates, after.Assemblies[0].Total = []Candidate{{Variant: "AA"}, {Variant: "AB"}}, 2
	two := Differ(before, after)
	require.Equal(t, []catalog.VariantCode{"AA", "AB"}, two.Assemblies[0].After)
	require.Empty(t, two.Roles)

	s, ok := StandOf(before, "SEAL", "Front")
	require.True(t, ok)
	require.True(t, s.Safe)
	_, ok = StandOf(before, "pump", "")
	require.False(t, ok)
}
