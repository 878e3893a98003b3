package render

import (
	"bytes"
	"encoding/csv"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"

	"platewright/catalog"
	"platewright/resolve"
	"platewright/resolve/alike"
)

// hostile are lines whose every text starts like a formula, or holds what CSV
// must put into quotes.
func hostile() []alike.Line {
	ten, _ := catalog.ParseDecimal("10")
	pair := alike.Pair{
		A: alike.Unit{Variant: "=1+2", Family: "+F"}, B: alike.Unit{Variant: "@SUM", Family: "-F"}, By: resolve.ByPlate,
		Slip:  &alike.PlateSlip{Kind: alike.SlipDropped, Place: 1, A: "=1+2", B: "\t1+2", ReadA: "=", Layout: "=l", Assembly: "=case", OfUnit: true},
		Check: &alike.Check{Mark: "=mark", Name: "-name\r\n\"of\"", Assembly: "case", Effort: ten},
		Marks: []resolve.TellApart{{Mark: "=mark", Name: "-name", Assembly: "case", Effort: ten, This: []string{"=x"}, Other: []string{"+y"}}},
		Roles: []alike.Difference{{Role: "=set", Name: "@set", A: resolve.Takes{Ways: []resolve.Way{{Outcome: resolve.OutcomeFits, Items: []resolve.TakenItem{{Part: "=P", Qty: 2}}}}},
			B: resolve.Takes{Ways: []resolve.Way{{Outcome: resolve.OutcomeNoStatement, Items: []resolve.TakenItem{}}}}}},
	}
	group := alike.Group{By: resolve.ByEye, ByEye: true, Family: "=F", Name: "+n", Maker: "-m", Variants: 30, Pairs: 400, Roles: []alike.Role{{Role: "=set", Name: "@set"}},
		Outcomes: []alike.OutcomeGroup{{Variants: 20, Examples: []catalog.VariantCode{"=1"}, Takes: []alike.RoleTakes{{Role: "=set", Takes: pair.Roles[0].A}}}}, More: 2, Examples: []alike.Pair{pair}}
	labels := alike.Group{By: resolve.ByPlate, Slip: pair.Slip, Check: &alike.Check{Assembly: "=case", Effort: ten}, Variants: 4, Pairs: 4, Roles: group.Roles,
		Outcomes: []alike.OutcomeGroup{{Label: "=1+2", Variants: 2, Examples: []catalog.VariantCode{"=1"}, Takes: group.Outcomes[0].Takes},
			{Label: "\t1+2", Variants: 2, Examples: []catalog.VariantCode{"+1"}, Takes: []alike.RoleTakes{{Role: "=set", Takes: pair.Roles[0].B}}}}, Examples: []alike.Pair{pair}}
	summary := alike.Summary{Question: alike.Question{Work: []string{}, Families: []string{"=F"}, Makers: []string{}}, Roles: []alike.Role{}, Variants: 2000, Pairs: 1234567}
	return []alike.Line{{Schema: alike.Schema, Summary: &summary}, {Schema: alike.Schema, Pair: &pair}, {Schema: alike.Schema, Group: &group}, {Schema: alike.Schema, Group: &labels}}
}

// TestLookAlikesCSVStartsNoFormula: no cell begins with a character by which a
// spreadsheet takes a text for a formula, and a reader of RFC 4180 finds the
// columns of the heading in every row.
func TestLookAlikesCSVStartsNoFormula(t *testing.T) {
	out := []byte(LookAlikesHeading)
	for _, l := range hostile() {
		out = AppendLookAlikesCSV(out, &l, true)
	}
	rows, err := csv.NewReader(bytes.NewReader(out)).ReadAll()
	require.NoError(t, err)
	if len(rows) != 4 {
		t.Fatalf("%d rows of a pair and two groups with their heading", len(rows))
	}
	for _, row := range rows {
		for i, cell := range row {
			if cell != "" && strings.ContainsRune("=+-@\t\r", rune(cell[0])) {
				t.Errorf("column %s: %q starts like a formula", rows[0][i], cell)
			}
		}
	}
	at := map[string]string{}
	for i, name := range rows[0] {
		at[name] = rows[1][i]
	}
	for name, want := range map[string]string{"kind": "pair", "variant_a": "'=1+2", "slip": "dropped", "check": "'=mark", "value_b": "'+y", "roles": "'=set", "takes_a": "'=set: 2 x =P", "takes_b": "'=set: nothing stated"} {
		if at[name] != want {
			t.Errorf("%s is %q, want %q", name, at[name], want)
		}
	}
}

func TestLookAlikesJSONObeysTheSchema(t *testing.T) {
	s := compiled(t, "look-alikes-all")
	for _, l := range hostile() {
		line, err := AppendLookAlikesJSON([]byte("x"), &l)
		require.NoError(t, err)
		if bytes.Count(line, []byte{'\n'}) != 1 || line[0] != 'x' {
			t.Errorf("not one line appended: %q", line)
		}
		doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(line[1:]))
		require.NoError(t, err)
		if err := s.Validate(doc); err != nil {
			t.Error(err)
		}
	}
}

func TestLookAlikesTextFitsTheScreen(t *testing.T) {
	for _, width := range []int{40, 80} {
		var out []byte
		for _, l := range hostile() {
			out = AppendLookAlikesText(out, &l, Screen{Width: width})
		}
		for line := range strings.Lines(string(out)) {
			if n := utf8.RuneCountInString(strings.TrimSuffix(line, "\n")); n > width {
				t.Errorf("%d columns: %q", n, line)
			}
		}
		for _, want := range []string{"1 234 567 pairs", "2 × =P", "nothing is stated for @SUM", "and 2 more sets of parts", "no check character catches it", "read the label of the =case again"} {
			if !strings.Contains(strings.Join(strings.Fields(string(out)), " "), want) {
				t.Errorf("%d columns: %q is missing in\n%s", width, want, out)
			}
		}
	}
}
