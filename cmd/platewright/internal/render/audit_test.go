package render

import (
	"bytes"
	"encoding/csv"
	"strings"
	"testing"
	"time"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"

	"platewright/catalog"
	"platewright/catalog/audit"
	"platewright/resolve"
)

// full has every fact that a finding can have.
var full = audit.Facts{
	Family: "FAM", Maker: "MAK", Layout: "LAY", Assembly: "case", Text: "TXT", Variants: []catalog.VariantCode{"V-1", "V-2"}, Count: 2, Of: 5, Slip: audit.SlipSwapped, Checked: true,
	Role: "pan-gasket", Roles: []string{"filter", "seal-kit"}, Position: "left", Parts: []catalog.PartNo{"P-1", "P-2"}, Rank: 3, Qty: []int{7, 9}, Covered: true, Range: audit.OfSerial,
	From: "100", To: "200", Mark: "plug", Values: []string{"oval"}, Work: []string{"reseal"}, Need: catalog.NeedRequired, Specs: []string{"S-1", "S-2"}, Supplier: "SUP",
	Stocks: []string{"ST-1", "ST-2"}, Prices: []string{"4.5", "4.8"}, Table: "torques", Property: catalog.FlashPoint, Site: "L1", Code: "P0750", Names: []string{"N-1", "N-2"}, Named: true,
}

// Every kind has words that name what it speaks of, and a way to mend.
func TestEveryKindOfFindingHasWords(t *testing.T) {
	names := map[audit.Kind][]string{
		audit.SameReading:           {"TXT", "LAY", "V-1", "V-2", "filter"},
		audit.VariantOffLayout:      {"V-1", "LAY"},
		audit.PlateOffLayout:        {"TXT", "LAY"},
		audit.LayoutOfOtherMaker:    {"V-1", "LAY", "MAK"},
		audit.Contradiction:         {"P-1", "pan gasket", "left", "V-1"},
		audit.QuantityDiffers:       {"P-1", "pan gasket", "7", "9", "V-1"},
		audit.EqualRank:             {"P-1", "P-2", "pan gasket", "3", "V-1"},
		audit.BreakOverlap:          {"P-1", "P-2", "pan gasket", "serial number", "100", "200"},
		audit.BreakGap:              {"P-1", "P-2", "pan gasket", "serial number", "100", "200"},
		audit.NeverApplies:          {"V-1", "pan gasket", "plug", "oval"},
		audit.DuplicateStatement:    {"P-1", "pan gasket", "V-1"},
		audit.SupersessionCircle:    {"P-1", "P-2"},
		audit.EndedWithoutSuccessor: {"P-1"},
		audit.EndedChain:            {"P-1", "P-2"},
		audit.TwoWaySuccessors:      {"P-1", "P-2", "N-1", "N-2"},
		audit.KitLacksSister:        {"P-1", "P-2", "filter"},
		audit.KitLacksScope:         {"P-1", "filter", "reseal"},
		audit.KitWithoutContents:    {"P-1"},
		audit.RoleUnstated:          {"pan gasket", "V-1", "2 of 5", "FAM", "reseal"},
		audit.RoleRuledOut:          {"pan gasket", "V-1", "P-1", "P-2"},
		audit.FiguresMissing:        {"torques", "FAM", "2 of 5", "MAK"},
		audit.MarkUnshown:           {"plug"},
		audit.ValueUnshown:          {"plug", "oval", "2"},
		audit.OfferOfUnknownPart:    {"SUP", "P-1", "ST-1"},
		audit.OfferOfEndedPart:      {"SUP", "P-1", "ST-1"},
		audit.OfferTwice:            {"SUP", "P-1", "ST-1", "4.5", "ST-2", "4.8"},
		audit.BreakWithoutOffer:     {"SUP", "ST-1", "7"},
		audit.BreakDearer:           {"SUP", "ST-1", "7", "4.5", "4.8"},
		audit.SheetOffLimits:        {"P-1", "S-1", "flash point", "150", "above 140"},
		audit.FaultWithoutSite:      {"P0750", "FAM", "site L1"},
		audit.PartUnnamed:           {"P-1"},
		audit.SpecsNearlyNamed:      {"S-1", "S-2"},
		audit.FluidMeetsNothing:     {"P-1"},
		audit.ServesWithoutFluid:    {"S-1", "S-2"},
		audit.FillWithoutFluid:      {"S-1"},
		audit.LookAlike:             {"V-1", "V-2", "swapped", "filter", "check character"},
		audit.NothingToLookAt:       {"V-1", "V-2", "filter"},
		audit.LooksLike:             {"N-1", "N-2"},
		audit.SameName:              {"N-1", "N-2", "torques", "TXT"},
		audit.CautionUnused:         {"N-1"},
		audit.SourceUnused:          {"N-1"},
	}
	for _, k := range audit.Kinds {
		if auditMend(k) == "" {
			t.Errorf("no way to mend %s", k)
		}
		x := full
		if k == audit.SheetOffLimits {
			x.From, x.To, x.Values = "120", "140", []string{"150"}
		}
		s := auditWhat(audit.Finding{Kind: k, Severity: audit.Wrong, Facts: x})
		switch {
		case s == "":
			t.Errorf("no words for %s", k)
		case strings.HasSuffix(s, "."), strings.HasSuffix(s, " "), strings.HasPrefix(s, " "), strings.Contains(s, "  "):
			t.Errorf("the words for %s are ill-formed: %q", k, s)
		}
		for _, n := range names[k] {
			if !strings.Contains(strings.ReplaceAll(s, string(glue), " "), n) {
				t.Errorf("the words for %s do not name %s: %q", k, n, s)
			}
		}
	}
	if auditWhat(audit.Finding{Kind: "no-such-kind"}) != "" || auditMend("no-such-kind") != "" {
		t.Error("there are words for an unknown kind")
	}
}

func auditOf(t *testing.T) (AuditSummary, []AuditFinding) {
	t.Helper()
	by := &audit.Acceptance{ID: "aaaa", Kind: audit.OfferTwice, What: "offers: SUP / ST-1", Because: "one is a return", Who: "bench 2", At: time.Date(2031, 5, 6, 7, 8, 9, 0, time.UTC)}
	var list []AuditFinding
	for i, x := range []struct {
		k audit.Kind
		s audit.Severity
	}{{audit.Contradiction, audit.Wrong}, {audit.RoleUnstated, audit.Doubtful}, {audit.OfferTwice, audit.Doubtful}, {audit.KitWithoutContents, audit.Thin}} {
		f := audit.Finding{ID: strings.Repeat("abcd"[i:i+1], 12), Kind: x.k, Severity: x.s, Facts: full, Rows: []audit.Row{{Table: "fits", Key: "variant / V-1 / s1", File: "fits.csv", Line: 7 + i}, {Table: "parts", Key: "P-1"}}}
		list = append(list, NewAuditFinding(f, nil))
	}
	list[2].Accepted = by
	return AuditSummary{Edition: resolve.Edition{Name: "the shop's catalogue", Number: 4}, Severity: audit.Doubtful, Open: 13, Accepted: true, Counts: []AuditCount{
		{Kind: audit.Contradiction, Severity: audit.Wrong, Found: 1}, {Kind: audit.RoleUnstated, Severity: audit.Doubtful, Found: 12},
		{Kind: audit.OfferTwice, Severity: audit.Doubtful, Found: 1, Accepted: 1}, {Kind: audit.KitWithoutContents, Severity: audit.Thin, Found: 4}}}, list
}

func TestAuditText(t *testing.T) {
	sum, list := auditOf(t)
	for name, s := range map[string]Screen{"text": {Width: 80}, "narrow": {Width: 34}, "color": {Width: 80, Color: true}} {
		var b bytes.Buffer
		require.NoError(t, AuditText(&b, sum, list[:3], s))
		golden(t, "audit/"+name+".txt", b.Bytes())
		if s.Color {
			continue
		}
		for _, l := range strings.Split(b.String(), "\n") {
			if columns(l) > s.Width {
				t.Errorf("a line is wider than %d columns: %q", s.Width, l)
			}
		}
	}
	var b bytes.Buffer
	// An accepted finding that is not listed is no more to be listed.
	rest := AuditSummary{Severity: audit.Doubtful, Open: 1, Counts: []AuditCount{{Kind: audit.Contradiction, Severity: audit.Wrong, Found: 2, Accepted: 1}}}
	require.NoError(t, AuditText(&b, rest, list[:1], Screen{Width: 80}))
	require.NotContains(t, b.String(), "more (--limit 0")
	require.Contains(t, b.String(), "1 accepted (--accepted)")
	b.Reset()
	rest.Counts[0].Found = 3
	require.NoError(t, AuditText(&b, rest, list[:1], Screen{Width: 80}))
	require.Contains(t, b.String(), "and 1 more (--limit 0")
	b.Reset()
	require.NoError(t, AuditText(&b, AuditSummary{Severity: audit.Wrong, Counts: []AuditCount{}}, nil, Screen{Width: 80}))
	if !strings.HasPrefix(b.String(), "Nothing wrong is open.\n") {
		t.Errorf("without findings the text is %q", &b)
	}
}

func TestAuditLinesObeyTheSchema(t *testing.T) {
	sum, list := auditOf(t)
	var b bytes.Buffer
	for i := range list {
		require.NoError(t, AuditJSON(&b, AuditLine{Finding: &list[i]}))
	}
	require.NoError(t, AuditJSON(&b, AuditLine{Summary: &sum}))
	s := compiled(t, "audit")
	lines := strings.Split(strings.TrimSuffix(b.String(), "\n"), "\n")
	if len(lines) != len(list)+1 {
		t.Errorf("%d lines, want %d", len(lines), len(list)+1)
	}
	for _, l := range lines {
		doc, err := jsonschema.UnmarshalJSON(strings.NewReader(l))
		require.NoError(t, err)
		if err := s.Validate(doc); err != nil {
			t.Errorf("%s: %v", l, err)
		}
	}
}

// A finding in CSV is one record of as many fields as the heading, whatever
// stands in it (RFC 4180).
func TestAuditCSV(t *testing.T) {
	_, list := auditOf(t)
	list[0].What = "a \"name\", with\na line feed"
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	require.NoError(t, w.Write(AuditHeading))
	for _, f := range list {
		require.NoError(t, AuditCSV(w, f))
	}
	w.Flush()
	records, err := csv.NewReader(&b).ReadAll()
	require.NoError(t, err)
	if len(records) != len(list)+1 || records[1][8] != list[0].What || records[3][10] != "one is a return" || records[1][7] != "7" {
		t.Errorf("the records are %q", records)
	}
}
