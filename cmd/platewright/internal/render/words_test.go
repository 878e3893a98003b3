package render

import (
	"strings"
	"testing"

	"platewright/resolve"
)

// Every code of a reason must have words, whichever of its fields are set.
func TestEveryReasonHasWords(t *testing.T) {
	for _, code := range resolve.Codes {
		for _, r := range []resolve.Reason{
			{Code: code},
			{Code: code, Table: "fits", Row: "variant / QX-1 / a", Source: "list", Assembly: "valve-body", Variant: "QX-1", Role: "seal-kit", Position: "long tube",
				Part: "P-1", Other: "P-2", Spec: "S-1", OtherSpec: "S-2", Mark: "pan-shape", Value: "flat", Shows: []string{"deep"}, Qty: 2, Count: 3, Since: "2020", Note: "remark"},
		} {
			s := Sentence(r)
			switch {
			case s == "":
				t.Errorf("no words for %s", code)
			case strings.HasSuffix(s, "."), strings.HasSuffix(s, " "), strings.HasPrefix(s, " "), strings.Contains(s, "  "):
				t.Errorf("words for %s are ill-formed: %q", code, s)
			}
		}
	}
	if s := Sentence(resolve.Reason{Code: "no-such-code"}); s != "" {
		t.Errorf("words for an unknown code: %q", s)
	}
}

// A sentence must say what its reason carries: the fields that the code is
// documented to speak of.
func TestSentencesNameTheirFields(t *testing.T) {
	full := resolve.Reason{Assembly: "valve-body", Variant: "QX-1", Part: "P-1", Other: "P-2", Spec: "S-1", OtherSpec: "S-2", Mark: "shape", Value: "flat", Shows: []string{"deep"}, Count: 3}
	for code, want := range map[resolve.Code][]string{
		resolve.ReasonStated:           {"P-1", "QX-1"},
		resolve.ReasonStatedAgainst:    {"P-1", "not fit"},
		resolve.ReasonReplaced:         {"P-1", "P-2"},
		resolve.ReasonInterchange:      {"P-1", "P-2"},
		resolve.ReasonSplit:            {"P-1", "P-2"},
		resolve.ReasonCompanion:        {"P-1", "P-2"},
		resolve.ReasonCompanionAgainst: {"P-1", "P-2"},
		resolve.ReasonFill:             {"S-1"},
		resolve.ReasonMeets:            {"P-1", "S-1"},
		resolve.ReasonServes:           {"S-1", "S-2"},
		resolve.ReasonNoFluid:          {"S-1"},
		resolve.ReasonSheetOffLimits:   {"P-1", "S-1", "data sheet"},
		resolve.ReasonAllAgree:         {"3"},
		resolve.ReasonSomeUnstated:     {"3"},
		resolve.ReasonConditionOpen:    {"QX-1", "shape"},
		resolve.ReasonTooMany:          {"3"},
		resolve.ReasonConflict:         {"valve body"},
		resolve.ReasonAsBuilt:          {"valve body"},
		resolve.ReasonMarkExcludes:     {"shape", "flat", "QX-1", "deep"},
		resolve.ReasonReadingExcludes:  {"valve body", "QX-1"},
		resolve.ReasonNoteAgainst:      {"P-1"},
		resolve.ReasonUnknownPart:      {"flat"},
		resolve.ReasonGoesBy:           {"flat", "P-1"},
		resolve.ReasonInKit:            {"P-1", "P-2"},
		resolve.ReasonOtherFits:        {"P-2"},
		resolve.ReleaseCheck:           {"shape"},
		resolve.ReleaseStatement:       {"QX-1"},
		resolve.ReleaseSource:          {"P-1"},
	} {
		full.Code = code
		s := strings.ReplaceAll(Sentence(full), string(glue), " ")
		for _, w := range want {
			if !strings.Contains(s, w) {
				t.Errorf("the words for %s do not name %s: %q", code, w, s)
			}
		}
	}
}

// A data sheet that belies what its fluid is said to meet is quoted with its figure
// and the limit.
func TestSheetOffLimitsQuotesTheFigure(t *testing.T) {
	r := resolve.Reason{Code: resolve.ReasonSheetOffLimits, Part: "P-1", Spec: "S-1", Column: "viscosity-100", Value: "5.3"}
	for _, c := range []struct {
		limits []string
		want   string
	}{
		{[]string{"7", "7.6"}, "its viscosity at 100 °C is 5.3 mm²/s (7 to 7.6)"},
		{[]string{"7", ""}, "its viscosity at 100 °C is 5.3 mm²/s (at least 7)"},
		{[]string{"", "5"}, "its viscosity at 100 °C is 5.3 mm²/s (at most 5)"},
	} {
		r.Shows = c.limits
		want := "P-1 is said to meet S-1, and its own data sheet belies it: " + c.want
		if s := strings.ReplaceAll(Sentence(r), string(glue), " "); s != want {
			t.Errorf("%v: %q, wanted %q", c.limits, s, want)
		}
	}
}
