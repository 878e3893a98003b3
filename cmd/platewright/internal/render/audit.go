package render

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"strings"

	"platewright/catalog"
	"platewright/catalog/audit"
	"platewright/resolve"
)

// AuditSchema names the form of the lines of an audit as JSON.
const AuditSchema = "platewright/audit/1"

// AuditLine is one line of an audit as JSON: a finding, or at the end the
// summary.
type AuditLine struct {
	Schema  string        `json:"schema"`
	Finding *AuditFinding `json:"finding,omitempty"`
	Summary *AuditSummary `json:"summary,omitempty"`
}

// AuditFinding is a finding with its words.
type AuditFinding struct {
	audit.Finding
	What     string            `json:"what"`
	Mend     string            `json:"mend"`
	Accepted *audit.Acceptance `json:"accepted,omitempty"` // who lets it stand, and why
}

// AuditSummary counts what an audit has found.
type AuditSummary struct {
	Edition  resolve.Edition `json:"edition"`
	Severity audit.Severity  `json:"severity"` // the least that is listed and that counts
	Open     int             `json:"open"`     // findings of this severity or worse that nobody has accepted
	Counts   []AuditCount    `json:"counts"`
	Accepted bool            `json:"-"` // accepted findings are listed too
}

// AuditCount counts the findings of one kind and severity, listed or not.
type AuditCount struct {
	Kind     audit.Kind     `json:"kind"`
	Severity audit.Severity `json:"severity"`
	Found    int            `json:"found"`
	Accepted int            `json:"accepted"` // of these
}

// AcceptedSchema names the form of [Accepted] as JSON.
const AcceptedSchema = "platewright/accepted/1"

// Accepted lists accepted findings: all that stand, or those that a command has
// accepted or taken back.
type Accepted struct {
	Schema   string             `json:"schema"`
	Path     string             `json:"path"`
	Accepted []audit.Acceptance `json:"accepted"`
}

// NewAuditFinding gives a finding its words.
func NewAuditFinding(f audit.Finding, accepted *audit.Acceptance) AuditFinding {
	return AuditFinding{Finding: f, What: strings.ReplaceAll(auditWhat(f), string(glue), " "), Mend: auditMend(f.Kind), Accepted: accepted}
}

// auditWhat says what a finding states. It is "" for a kind that it does not
// know.
func auditWhat(f audit.Finding) string {
	x := f.Facts
	part := func(i int) string {
		if i < len(x.Parts) {
			return string(x.Parts[i])
		}
		return "a part"
	}
	role := "in the role " + plainCode(x.Role)
	if x.Position != "" {
		role += " at " + x.Position
	}
	whom := x.Family
	if len(x.Variants) > 0 {
		whom = someOf(x.Variants, x.Count)
	}
	forWhom := tail(" for ", whom)
	switch f.Kind {
	case audit.SameReading:
		s := someOf(x.Variants, x.Count)
		switch {
		case x.Text != "":
			s = x.Text + " on " + x.Layout + " means " + s
		case len(x.Layouts) > 0:
			s = "one plate of " + allOf(x.Layouts) + " can be read as " + s
		}
		if len(x.Roles) == 0 {
			return s + "; they take the same"
		}
		return s + ", which differ " + inRoles(x.Roles) + map[audit.Severity]string{audit.Wrong: "; no deciding mark tells them apart", audit.Doubtful: "; deciding marks tell them apart"}[f.Severity]
	case audit.VariantOffLayout:
		return "the code " + someOf(x.Variants, 1) + " cannot stand on a plate of " + x.Layout
	case audit.PlateOffLayout:
		return x.Text + " cannot stand on " + x.Layout
	case audit.LayoutOfOtherMaker:
		return someOf(x.Variants, 1) + " has the layout " + x.Layout + " of the maker " + x.Maker + ", and its family is another maker's"
	case audit.Contradiction:
		return "one statement says that " + part(0) + " fits " + role + forWhom + ", another that it does not" +
			map[bool]string{true: "; the first can never hold"}[x.Covered]
	case audit.QuantityDiffers:
		return part(0) + " " + role + forWhom + " is stated in two quantities" + tail(": ", numbers(x.Qty))
	case audit.EqualRank:
		return part(0) + " and " + part(1) + " are both stated " + role + forWhom + " with the rank " + strconv.Itoa(x.Rank) + ", and neither serves for the other"
	case audit.BreakOverlap:
		return part(0) + " and " + part(1) + " are both stated " + role + forWhom + ", " + rangeName(x.Range) + between(x.From, x.To)
	case audit.BreakGap:
		s := x.From + " to " + x.To
		if x.From == x.To {
			s = x.From
		}
		return "nothing is stated " + role + forWhom + " for " + rangeName(x.Range) + " " + s + ", between " + part(0) + " and " + part(1)
	case audit.NeverApplies:
		s := "a statement " + role + forWhom + " can never hold: "
		if x.Mark != "" {
			return s + "it asks " + x.Mark + "=" + strings.Join(x.Values, ", ") + ", and the variant shows something else"
		}
		return s + "its " + rangeName(x.Range) + " range misses the variant's own"
	case audit.DuplicateStatement:
		if len(x.Parts) == 0 {
			return "that nothing is taken " + role + forWhom + " is stated twice"
		}
		return part(0) + " " + role + tail(" for ", whom) + " is stated twice in the same way"
	case audit.SupersessionCircle:
		return "the replacements of " + part(0) + " lead back to it by " + part(1)
	case audit.EndedWithoutSuccessor:
		return part(0) + " is no longer made and nothing replaces it" + map[bool]string{true: "; statements still name it"}[x.Named]
	case audit.EndedChain:
		return part(0) + " is no longer made, and none of its successors can be bought" + tail(": ", joined(x.Parts[1:], "and"))
	case audit.TwoWaySuccessors:
		return allOf(x.Parts) + " serve for each other, and are not replaced alike" + tail(": ", strings.Join(x.Names, ", "))
	case audit.KitLacksSister:
		return "the kit " + part(0) + " (" + plainCode(x.Role) + forWhom + ") holds nothing " + inRoles(x.Roles) + ", and " + joined(x.Parts[1:], "and") + " of the same role do"
	case audit.KitLacksScope:
		return "the kit " + part(0) + " (" + plainCode(x.Role) + forWhom + ") holds nothing " + inRoles(x.Roles) + ", nothing else is stated, and the work asks for it: " + strings.Join(x.Work, ", ")
	case audit.KitWithoutContents:
		return "what is in the kit " + part(0) + " is not recorded"
	case audit.RoleUnstated:
		s := "nothing is stated " + role + forWhom
		if x.Count == x.Of {
			s = "nothing is stated " + role + " for any variant of " + x.Family
		} else {
			s += fmt.Sprintf(" (%d of %d in %s)", x.Count, x.Of, x.Family)
		}
		return s + ", and work takes it: " + strings.Join(x.Work, ", ")
	case audit.RoleRuledOut:
		return "every part stated " + role + forWhom + " is ruled out" + tail(": ", joined(x.Parts, "and"))
	case audit.FiguresMissing:
		return "the table " + x.Table + " has nothing of " + x.Family + fmt.Sprintf(", and something of %d of %d other families of %s", x.Count, x.Of, x.Maker)
	case audit.MarkUnshown:
		return "no variant and no family shows the mark " + x.Mark
	case audit.ValueUnshown:
		return counted(x.Count, "statement asks", "statements ask") + " for " + x.Mark + "=" + strings.Join(x.Values, ", ") + ", which nothing shows"
	case audit.OfferOfUnknownPart:
		return "the supplier " + x.Supplier + " offers " + part(0) + " as " + strings.Join(x.Stocks, ", ") + ", and the catalogue has no such part"
	case audit.OfferOfEndedPart:
		return "the supplier " + x.Supplier + " offers " + part(0) + " as " + strings.Join(x.Stocks, ", ") + ", and the part is no longer made"
	case audit.OfferTwice:
		var offers []string
		for i := range min(len(x.Stocks), len(x.Prices)) {
			offers = append(offers, x.Stocks[i]+" at "+x.Prices[i])
		}
		return "the supplier " + x.Supplier + " offers " + part(0) + " in equal packs at different prices: " + strings.Join(offers, ", ")
	case audit.BreakWithoutOffer:
		return "the supplier " + x.Supplier + " has a price from " + numbers(x.Qty) + " packs on for " + strings.Join(x.Stocks, ", ") + ", and no such offer"
	case audit.BreakDearer:
		return "the supplier " + x.Supplier + " asks no less for " + strings.Join(x.Stocks, ", ") + " from " + numbers(x.Qty) + " packs on: " + joined(x.Prices, "and then")
	case audit.SheetOffLimits:
		return "the fluid " + part(0) + " is said to meet " + strings.Join(x.Specs, ", ") + ", and its " + plainCode(string(x.Property)) + " is " + strings.Join(x.Values, ", ") +
			tail(", below ", below(x)) + tail(", above ", above(x))
	case audit.FaultWithoutSite:
		return "the trouble code " + x.Code + " of " + x.Family + " points at the site " + x.Site + ", which the family does not have"
	case audit.PartUnnamed:
		return "no statement, kit or number leads to " + part(0)
	case audit.SpecsNearlyNamed:
		return "the specifications " + allOf(x.Specs) + " are one letter apart, and neither is said to serve for the other"
	case audit.FluidMeetsNothing:
		return "the fluid " + part(0) + " meets no specification: only its name says what it is for"
	case audit.ServesWithoutFluid:
		if len(x.Specs) < 2 {
			return ""
		}
		return x.Specs[1] + " serves for " + x.Specs[0] + ", and no fluid that is sold meets it"
	case audit.FillWithoutFluid:
		return "fills ask for " + strings.Join(x.Specs, ", ") + ", and no fluid that is sold meets it or what serves for it"
	case audit.LookAlike:
		s := someOf(x.Variants, x.Count) + " are one slip apart (" + slipName(x.Slip) + ") and differ " + inRoles(x.Roles) + "; no deciding mark tells them apart"
		if x.Checked {
			s += ", only the check character"
		}
		return s
	case audit.NothingToLookAt:
		return someOf(x.Variants, x.Count) + " differ " + inRoles(x.Roles) + ", and no mark tells them apart: only the plate does"
	case audit.LooksLike:
		of := tail(" in ", x.Table)
		if x.Mark != "" {
			of = " among the values of the mark " + x.Mark
		} else if x.Role != "" {
			of = " among the positions of the role " + plainCode(x.Role)
		}
		return strings.Join(x.Names, " and ") + " look alike" + of
	case audit.SameName:
		return allOf(x.Names) + " in " + x.Table + " go by the same name, " + x.Text
	case audit.CautionUnused:
		return "the caution " + strings.Join(x.Names, ", ") + " rides on nothing"
	case audit.SourceUnused:
		return "nothing rests on the source " + strings.Join(x.Names, ", ")
	}
	return ""
}

// auditMend says how to mend a finding of that kind. It is "" for a kind that it
// does not know.
func auditMend(k audit.Kind) string {
	switch k {
	case audit.SameReading:
		return "record a mark that tells them apart, or a further field of the plate"
	case audit.VariantOffLayout, audit.PlateOffLayout:
		return "correct the text, its layout, or the fields of the layout"
	case audit.LayoutOfOtherMaker:
		return "name a layout of the family's maker, or correct the family"
	case audit.Contradiction:
		return "take one of them out, or give them ranges or marks that do not meet"
	case audit.QuantityDiffers:
		return "correct one quantity, or give the statements ranges or marks that do not meet"
	case audit.EqualRank:
		return "give them ranks, or positions if both are needed, or a supersession"
	case audit.BreakOverlap:
		return "let the second range begin after the first has ended"
	case audit.BreakGap:
		return "let the ranges meet, or state what is taken between them"
	case audit.NeverApplies:
		return "correct the condition or the variant, or take the statement out"
	case audit.DuplicateStatement:
		return "take one of them out"
	case audit.SupersessionCircle:
		return "take out the row that points backwards"
	case audit.EndedWithoutSuccessor:
		return "add the successor, or a note where it can still be found"
	case audit.EndedChain:
		return "add the number that can be bought, or correct the status"
	case audit.TwoWaySuccessors:
		return "replace all of them by the same number, or make the row between them one-way"
	case audit.KitLacksSister, audit.KitLacksScope:
		return "add the part to the contents of the kit, or state it for the family"
	case audit.KitWithoutContents:
		return "add its contents, so that what is in it need not be bought again"
	case audit.RoleUnstated:
		return "state the part, or that nothing is taken (does-not-fit without a part)"
	case audit.RoleRuledOut:
		return "state the part that is taken, or that nothing is taken (does-not-fit without a part)"
	case audit.FiguresMissing:
		return "add the figures, or accept that there are none"
	case audit.MarkUnshown:
		return "record what variants show of it, or take the mark out"
	case audit.ValueUnshown:
		return "correct the value, or record what shows it"
	case audit.OfferOfUnknownPart:
		return "correct the number, or add the part"
	case audit.OfferOfEndedPart:
		return "take the offer out, or correct the status of the part"
	case audit.OfferTwice:
		return "take the dearer one out, or tell their packs apart"
	case audit.BreakWithoutOffer:
		return "correct the stock number, or add the offer"
	case audit.BreakDearer:
		return "correct the price or the number of packs"
	case audit.SheetOffLimits:
		return "correct the figure or the limit; if both are right, take out that it meets the specification"
	case audit.FaultWithoutSite:
		return "correct the site, or add it to sites"
	case audit.PartUnnamed:
		return "state where it fits, or take it out"
	case audit.SpecsNearlyNamed:
		return "add a row to serves if one serves for the other; if not, accept it and keep a caution on the families"
	case audit.FluidMeetsNothing:
		return "add what it meets, and who says so, or take the fluid out"
	case audit.ServesWithoutFluid, audit.FillWithoutFluid:
		return "add a fluid that meets it, or correct the specification"
	case audit.LookAlike, audit.NothingToLookAt:
		return "find a mark on the bench that tells them apart and record it"
	case audit.LooksLike:
		return "spell one thing in one way"
	case audit.SameName:
		return "give them names that tell them apart"
	case audit.CautionUnused:
		return "tie it to what it warns of, or take it out"
	case audit.SourceUnused:
		return "take it out, or name it in the rows that rest on it"
	}
	return ""
}

// below and above give the limit that a figure misses.
func below(x audit.Facts) string { return missed(x, x.From, -1) }
func above(x audit.Facts) string { return missed(x, x.To, 1) }

func missed(x audit.Facts, limit string, side int) string {
	l, err := catalog.ParseDecimal(limit)
	if err != nil || len(x.Values) == 0 {
		return ""
	}
	if v, err := catalog.ParseDecimal(x.Values[0]); err != nil || v.Num.Cmp(l.Num) != side {
		return ""
	}
	return limit
}

// someOf names a few of many.
func someOf(list []catalog.VariantCode, all int) string {
	if all <= len(list) {
		return allOf(list)
	}
	texts := make([]string, len(list))
	for i, v := range list {
		texts[i] = string(v)
	}
	return strings.Join(texts, ", ") + fmt.Sprintf(" and %d more", all-len(list))
}

// inRoles names roles, the first few of many.
func inRoles(roles []string) string {
	texts := make([]string, len(roles))
	for i, r := range roles {
		texts[i] = plainCode(r)
	}
	const most = 4
	switch n := len(texts); {
	case n == 1:
		return "in the role " + texts[0]
	case n > most:
		return "in the roles " + strings.Join(texts[:most], ", ") + fmt.Sprintf(" and %d more", n-most)
	}
	return "in the roles " + allOf(texts)
}

func numbers(list []int) string {
	texts := make([]string, len(list))
	for i, n := range list {
		texts[i] = strconv.Itoa(n)
	}
	return strings.Join(texts, " and ")
}

func rangeName(r audit.Range) string {
	if r == audit.OfBuilt {
		return "build date"
	}
	return "serial number"
}

func slipName(s audit.Slip) string {
	switch s {
	case audit.SlipConfusable:
		return "characters that look alike"
	case audit.SlipSwapped:
		return "two neighbours swapped"
	case audit.SlipDropped:
		return "one dropped"
	case audit.SlipDoubled:
		return "one written twice"
	}
	return string(s)
}

func auditPlace(r audit.Row) string {
	s := r.Table + ": " + r.Key
	if r.File != "" && r.Line > 0 {
		return fmt.Sprintf("%s:%d, %s", r.File, r.Line, r.Key)
	}
	return s
}

// AuditJSON writes one line of an audit.
func AuditJSON(w io.Writer, l AuditLine) error {
	l.Schema = AuditSchema
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	return e.Encode(l)
}

// AuditHeading are the columns of an audit as CSV.
var AuditHeading = []string{"id", "severity", "kind", "family", "table", "key", "file", "line", "what", "mend", "accepted"}

// AuditCSV writes one finding of an audit.
func AuditCSV(w *csv.Writer, f AuditFinding) error {
	var at audit.Row
	if len(f.Rows) > 0 {
		at = f.Rows[0]
	}
	line, accepted := "", ""
	if at.Line > 0 {
		line = strconv.Itoa(at.Line)
	}
	if f.Accepted != nil {
		accepted = f.Accepted.Because
	}
	return w.Write([]string{f.ID, string(f.Severity), string(f.Kind), f.Facts.Family, at.Table, at.Key, at.File, line, visible(f.What), f.Mend, visible(accepted)})
}

// AuditText writes an audit for a person: what it came to, then the findings
// that are listed, the worst first. A kind of which there are more than are
// listed says how many.
func AuditText(w io.Writer, sum AuditSummary, listed []AuditFinding, s Screen) error {
	p := newPage(s)
	p.demoRemark(sum.Edition)
	p.gap()
	found, accepted := map[audit.Severity]int{}, 0
	more := map[string]int{}
	for _, c := range sum.Counts {
		found[c.Severity] += c.Found - c.Accepted
		accepted += c.Accepted
		n := c.Found
		if !sum.Accepted {
			n -= c.Accepted
		}
		more[string(c.Severity)+" "+string(c.Kind)] += n
	}
	var counts []string
	for _, sev := range audit.Severities {
		if n := found[sev]; n > 0 && sev.AtLeast(sum.Severity) {
			counts = append(counts, fmt.Sprintf("%d %s", n, sev))
		}
	}
	switch {
	case sum.Open == 0 && sum.Severity == audit.Wrong:
		p.put(0, 2, say("Nothing wrong is open.").in(good))
	case sum.Open == 0:
		p.put(0, 2, sayf("Nothing %s or worse is open.", sum.Severity).in(good))
	default:
		st := warn
		if found[audit.Wrong] > 0 {
			st = alert
		}
		p.put(0, 2, sayf("%s: %s.", counted(sum.Open, "finding", "findings"), strings.Join(counts, ", ")).in(st))
	}
	var rest []string
	for _, sev := range audit.Severities {
		if n := found[sev]; n > 0 && !sev.AtLeast(sum.Severity) {
			rest = append(rest, fmt.Sprintf("%d %s (--severity %s)", n, sev, sev))
		}
	}
	if accepted > 0 && !sum.Accepted {
		rest = append(rest, fmt.Sprintf("%d accepted (--accepted)", accepted))
	}
	if len(rest) > 0 {
		p.put(0, 2, say("Not listed: "+strings.Join(rest, ", ")+".").in(muted))
	}
	for _, sev := range audit.Severities {
		for _, k := range audit.Kinds {
			n := 0
			for _, f := range listed {
				if f.Severity != sev || f.Kind != k {
					continue
				}
				if n == 0 {
					st := warn
					if sev == audit.Wrong {
						st = alert
					} else if sev == audit.Thin {
						st = muted
					}
					p.gap()
					p.put(0, 2, say(strings.ToUpper(string(sev))).in(st), say(": "+plainCode(string(k))))
					p.put(2, 2, say("To mend: "+auditMend(k)+".").in(muted))
				}
				n++
				p.put(2, 4, say(f.ID).in(strong), say(" "+f.What+"."))
				for i, r := range f.Rows {
					if i == 2 {
						break
					}
					p.put(6, 2, say(auditPlace(r)).in(muted))
				}
				if f.Accepted != nil {
					p.put(6, 2, sayf("accepted by %s: %s", f.Accepted.Who, f.Accepted.Because).in(muted))
				}
			}
			if left := more[string(sev)+" "+string(k)] - n; n > 0 && left > 0 {
				p.put(2, 4, sayf("and %d more (--limit 0 --kind %s lists all)", left, k).in(muted))
			}
		}
	}
	p.editionFoot(sum.Edition)
	_, err := w.Write(p.buf.Bytes())
	return err
}

// AcceptedText lists accepted findings.
func AcceptedText(w io.Writer, a Accepted, s Screen) error {
	p := newPage(s)
	if len(a.Accepted) == 0 {
		p.put(0, 2, say("Nothing is accepted."))
	}
	for _, x := range a.Accepted {
		word := "accepted by"
		if x.Revoked {
			word = "acceptance taken back by"
		}
		p.put(0, 2, say(x.ID).in(strong), sayf(" %s, %s: %s %s on %s: %s", plainCode(string(x.Kind)), x.What, word, x.Who, minute(x.At), x.Because))
	}
	_, err := w.Write(p.buf.Bytes())
	return err
}
