package render

import (
	"encoding/json"
	"io"
	"slices"
	"strconv"
	"strings"

	"platewright/catalog"
	"platewright/resolve"
	"platewright/resolve/alike"
	"platewright/resolve/plate"
)

// LookAlikesText writes the variants that one can be taken for and that take
// different parts.
func LookAlikesText(w io.Writer, l *resolve.LookAlikePairs, s Screen) error {
	p := newPage(s)
	p.demoRemark(l.Edition)
	p.gap()
	if len(l.Pairs) == 0 {
		p.put(0, 2, sayf("No look-alike of %s takes another part.", glued(l.Of)))
	} else {
		p.put(0, 2, sayf("%s of %s that can be confused and take different parts", counted(len(l.Pairs), "pair", "pairs"), glued(l.Of)).in(strong))
	}
	if l.Cut {
		p.put(0, 2, say("! ").in(warn), say("The family is large, and not all of its variants were compared by eye: there can be more."))
	}
	for _, x := range l.Pairs {
		p.gap()
		a, b := glued(string(x.Candidate)), glued(string(x.Variant))
		how := "by eye: no visible mark that is recorded tells them apart"
		if x.By == resolve.ByPlate {
			how = "by the plate"
			if x.Misread != nil {
				how += ": " + neighbour(*x.Misread)
			}
			if x.Caught != nil {
				how += "; " + catches(*x.Caught)
			}
		}
		p.put(0, 2, say(a+" and "+b).in(strong), say(", "+how))
		for _, r := range x.Roles {
			p.put(2, 4, say(roleName(l.RoleNames[r.Role], r.Role)+": "+difference(a, r.This, b, r.Other)))
		}
		if len(x.TellApart) == 0 {
			p.put(2, 2, say("! ").in(warn), say("No mark is recorded that tells them apart."))
		}
		p.tellApart(x.TellApart, a, b)
	}
	p.editionFoot(l.Edition)
	_, err := w.Write(p.buf.Bytes())
	return err
}

// roleName names a role, with its code where that is not the name.
func roleName(name, code string) string {
	if name == "" || catalog.Fold(name) == catalog.Fold(code) {
		return orWord(name, plainCode(code))
	}
	return name + " (" + glued(code) + ")"
}

// AppendLookAlikesText appends a line of the list of all look-alikes as text.
func AppendLookAlikesText(dst []byte, line *alike.Line, s Screen) []byte {
	p := newPage(s)
	switch {
	case line.Summary != nil:
		p.lookAlikesSummary(line.Summary)
	case line.Pair != nil:
		p.buf.WriteByte('\n')
		p.lookAlikePair(line.Pair)
	case line.Group != nil:
		p.buf.WriteByte('\n')
		p.lookAlikeGroup(line.Group)
	}
	return append(dst, p.buf.Bytes()...)
}

// LookAlikesEndText writes what stands at the end of the list of all look-alikes.
func LookAlikesEndText(w io.Writer, e resolve.Edition, s Screen) error {
	if _, err := io.WriteString(w, "\n"); err != nil {
		return err
	}
	p := newPage(s)
	p.put(0, 2, sayf("Catalogue: %s.", edition(e)).in(muted))
	_, err := w.Write(p.buf.Bytes())
	return err
}

func (p *page) lookAlikesSummary(x *alike.Summary) {
	p.demoRemark(x.Edition)
	p.gap()
	if x.Pairs == 0 {
		p.put(0, 2, say("No two variants can be confused and take different parts.").in(good))
	} else {
		p.put(0, 2, sayf("%s that can be confused and take different parts, the worst first", many(x.Pairs, "pair", "pairs")).in(strong))
		if x.Unmarked > 0 {
			p.put(2, 2, say("! ").in(alert), sayf("%s told apart by no mark that is recorded", many(x.Unmarked, "pair is", "pairs are")))
		}
		how := "one misread of the plate apart"
		if x.Question.AnyCharacter {
			how = "one slip or one other character of the plate apart"
		}
		p.put(2, 2, sayf("%s %s, %s by eye, %s both", thousands(x.ByPlate), how, thousands(x.ByEye), thousands(x.Both)))
		if x.ByPlate > 0 {
			p.put(2, 2, sayf("of those by the plate, a check character catches the misread in %s and does not in %s", thousands(x.ByPlate-x.Uncaught), thousands(x.Uncaught)))
		}
	}
	var roles []string
	for _, r := range x.Roles {
		roles = append(roles, roleName(r.Name, r.Role))
	}
	in := strings.Join(roles, ", ")
	if len(x.Question.Work) == 0 {
		in = "every role"
	}
	p.put(2, 2, sayf("%s compared in: %s", many(int64(x.Variants), "variant", "variants"), in).in(muted))
}

// thousands writes a number with its thousands apart.
func thousands(n int64) string {
	s := strconv.FormatInt(n, 10)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + string(glue) + s[i:]
	}
	return s
}

func many(n int64, one, more string) string {
	if n == 1 {
		return "1 " + one
	}
	return thousands(n) + " " + more
}

func (p *page) lookAlikePair(x *alike.Pair) {
	a, b := glued(string(x.A.Variant)), glued(string(x.B.Variant))
	how := "by eye"
	if x.Slip != nil {
		how = "by the plate"
		if !x.Slip.OfUnit {
			how = "by the label of " + place(x.Slip.Assembly) + ", " + glued(x.Slip.A) + " and " + glued(x.Slip.B)
		}
		if x.ByEye {
			how += ", and by eye"
		}
	}
	if x.Slip != nil {
		how += ": " + plateSlip(x.Slip) + "; " + catches(x.Slip.Caught)
	} else {
		how += ": no visible mark that is recorded tells them apart"
	}
	p.put(0, 2, say(a+" and "+b).in(strong), say(", "+how))
	p.lookAlikeCheck(x, a, b)
	for _, r := range x.Roles {
		p.put(2, 4, say(roleName(r.Name, r.Role)+": "+difference(a, r.A, b, r.B)))
	}
}

// lookAlikeCheck writes what tells two variants apart most quickly.
func (p *page) lookAlikeCheck(x *alike.Pair, a, b string) {
	c := x.Check
	switch {
	case c == nil:
		p.put(2, 2, say("! ").in(alert), say("Nothing recorded tells these apart.").in(alert))
	case c.Mark != "":
		m := x.Marks[0]
		p.put(2, 4, say("Quickest check: ").in(strong), sayf("%s, on %s (%s): %s on %s, %s on %s",
			m.Name, place(m.Assembly), minutes(m.Effort), anyOf(m.This), a, anyOf(m.Other), b))
	default:
		what := "plate"
		if !x.Slip.OfUnit {
			what = "label"
		}
		if len(x.Marks) == 0 {
			p.put(2, 2, say("! ").in(alert), sayf("Nothing recorded tells these apart but the %s.", what).in(alert))
		}
		p.put(2, 4, say("Quickest check: ").in(strong), sayf("read the %s of %s again (%s): %s on %s, %s on %s",
			what, place(c.Assembly), minutes(c.Effort), glued(x.Slip.A), a, glued(x.Slip.B), b))
	}
}

// catches says whether a check character of the plate tells that it was misread.
func catches(caught bool) string {
	if caught {
		return "a check character catches it"
	}
	return "no check character catches it"
}

// plateSlip says which slip turns one plate into another.
func plateSlip(s *alike.PlateSlip) string {
	n := plate.Neighbour{Kind: plate.NearKind(s.Kind), Place: s.Place}
	at := "character " + strconv.Itoa(s.Place) + " of the code"
	switch s.Kind {
	case alike.SlipConfused:
		return at + " is " + s.ReadA + " or " + s.ReadB + ", easily taken for each other"
	case alike.SlipSubstituted:
		return at + " is " + s.ReadA + " or " + s.ReadB
	case alike.SlipSwapped:
		return "characters " + strconv.Itoa(s.Place) + " and " + strconv.Itoa(s.Place+1) + " of the code swapped, " + s.ReadA + " or " + s.ReadB
	}
	return neighbour(n)
}

// takesClause says what a variant takes, or that nothing is stated of it.
func takesClause(who string, t resolve.Takes) string {
	if unstated(t) {
		return "nothing is stated for " + who
	}
	return who + " takes " + takesText(t)
}

// unstated tells whether the catalogue says nothing of what is taken, which is
// not the same as nothing being taken.
func unstated(t resolve.Takes) bool {
	return !slices.ContainsFunc(t.Ways, func(w resolve.Way) bool { return w.Outcome != resolve.OutcomeNoStatement })
}

// mostWays is how many ways one line can hold.
const mostWays = 6

// takesText says in words what is taken.
func takesText(t resolve.Takes) string {
	if unstated(t) {
		return "nothing stated"
	}
	ways := make([]string, 0, len(t.Ways))
	for _, w := range t.Ways[:min(len(t.Ways), mostWays)] {
		switch w.Outcome {
		case resolve.OutcomeNoStatement:
			ways = append(ways, "what is not stated")
		case resolve.OutcomeDoesNotFit:
			ways = append(ways, nothing(w.Nothing))
		default:
			items := make([]string, len(w.Items))
			for i, it := range w.Items {
				items[i] = itemOf(it, string(glue)+"×"+string(glue)) + inBrackets(it.Position)
			}
			ways = append(ways, allOf(items))
		}
	}
	s := strings.Join(ways, " or ")
	if more := len(t.Ways) - len(ways); more > 0 {
		s += " or one of " + strconv.Itoa(more) + " more"
	}
	return s
}

// nothing says what is taken where the outcome is that nothing fits: nothing, as
// a statement says, or what is not known, since all that is stated is ruled out.
func nothing(stated bool) string {
	if stated {
		return "nothing"
	}
	return "nothing that is stated, which is ruled out"
}

func inBrackets(s string) string {
	if s == "" {
		return ""
	}
	return " (" + s + ")"
}

// difference says what two variants take in a role in which they differ. What
// reads alike is not shown as a difference.
func difference(a string, ta resolve.Takes, b string, tb resolve.Takes) string {
	switch x := takesText(ta); {
	case x != takesText(tb):
		return takesClause(a, ta) + ", " + takesClause(b, tb)
	case unstated(ta):
		return "of neither anything is stated that can be ordered, but they differ in what is ruled out"
	default:
		return "both take " + x + ", but differ in what else serves or must come along"
	}
}

// itemOf writes a part with how many pieces or litres are taken.
func itemOf(it resolve.TakenItem, times string) string {
	switch {
	case it.Litres.Known:
		return it.Litres.String() + string(glue) + "l" + string(glue) + string(it.Part)
	case it.Qty > 1:
		return strconv.Itoa(it.Qty) + times + string(it.Part)
	}
	return string(it.Part)
}

func (p *page) lookAlikeGroup(g *alike.Group) {
	of := sayf("%s of %s that take %s sets of parts", many(g.Pairs, "pair", "pairs"), many(int64(g.Variants), "variant", "variants"), thousands(int64(len(g.Outcomes)+g.More)))
	spell := "--pairs"
	if g.Family != "" {
		spell = "--family " + glued(g.Family) + " --pairs"
	}
	if s := g.Slip; s == nil {
		p.put(0, 2, say("Family "+glued(g.Family)+tail(", ", g.Name)).in(strong), say(", by eye: "), of)
	} else {
		how := "by the label"
		if g.ByEye {
			how += ", and by eye"
		}
		p.put(0, 2, say("Labels "+glued(s.A)+" and "+glued(s.B)+" of "+place(s.Assembly)).in(strong), say(", "+how+": "), of, say("; "+plateSlip(s)+"; "+catches(s.Caught)))
	}
	switch {
	case g.Check == nil:
		p.put(2, 2, say("! ").in(alert), say("Nothing recorded tells these apart.").in(alert))
	case g.Check.Mark == "":
		if !g.Marked {
			p.put(2, 2, say("! ").in(alert), say("Nothing recorded tells these apart but the label.").in(alert))
		}
		p.put(2, 4, say("Quickest check: ").in(strong), sayf("read the label of %s again (%s)", place(g.Check.Assembly), minutes(g.Check.Effort)))
	default:
		p.put(2, 4, say("Quickest check: ").in(strong), sayf("%s, on %s (%s)", g.Check.Name, place(g.Check.Assembly), minutes(g.Check.Effort)))
	}
	names := map[string]string{}
	for _, r := range g.Roles {
		names[r.Role] = roleName(r.Name, r.Role)
	}
	for _, o := range g.Outcomes {
		who := allOf(o.Examples)
		if more := o.Variants - len(o.Examples); more > 0 {
			codes := make([]string, len(o.Examples))
			for i, e := range o.Examples {
				codes[i] = glued(string(e))
			}
			who = strings.Join(codes, ", ") + " and " + thousands(int64(more)) + " more"
		}
		var takes []string
		for _, t := range o.Takes {
			takes = append(takes, names[t.Role]+" "+takesText(t.Takes))
		}
		if o.Label != "" {
			who = glued(o.Label) + " (" + who + ")"
		}
		p.put(2, 4, say(who).in(strong), say(": "+strings.Join(takes, "; ")))
	}
	if g.More > 0 {
		p.put(2, 2, sayf("and %s; spell the pairs out with %s", many(int64(g.More), "more set of parts", "more sets of parts"), spell))
	}
}

// AppendLookAlikesJSON appends a line of the list of all look-alikes as one line
// of JSON.
func AppendLookAlikesJSON(dst []byte, line *alike.Line) ([]byte, error) {
	b := appending{dst}
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	err := e.Encode(line)
	return b.to, err
}

// appending is a writer that appends.
type appending struct{ to []byte }

func (a *appending) Write(b []byte) (int, error) {
	a.to = append(a.to, b...)
	return len(b), nil
}

// LookAlikesHeading is the heading of the list of all look-alikes as CSV.
const LookAlikesHeading = "kind,pairs,variants,by,by_eye,family_a,variant_a,family_b,variant_b,slip,place,plate_a,plate_b,caught," +
	"marked,check,check_name,minutes,value_a,value_b,roles,takes_a,takes_b\r\n"

// AppendLookAlikesCSV appends a line of the list of all look-alikes as CSV; the
// summary is no row. A text that a spreadsheet would take for a formula gets an
// apostrophe in front; for spreadsheets, see [ByteOrderMark].
func AppendLookAlikesCSV(dst []byte, line *alike.Line, sheets bool) []byte {
	row := csvRow{dst: dst, sheets: sheets}
	switch {
	case line.Pair != nil:
		x := line.Pair
		row.cells("pair", "1", "2", string(x.By), yes(x.ByEye))
		row.codes(x.A.Family, string(x.A.Variant), x.B.Family, string(x.B.Variant))
		if s := x.Slip; s != nil {
			row.cells(string(s.Kind), strconv.Itoa(s.Place))
			row.codes(s.A, s.B)
			row.cells(yes(s.Caught))
		} else {
			row.cells("", "", "", "", "")
		}
		row.cells(yes(len(x.Marks) > 0))
		switch c := x.Check; {
		case c == nil:
			row.cells("", "", "", "", "")
		case c.Mark == "":
			row.cells("plate", "read the plate again", c.Effort.String())
			row.codes(x.Slip.A, x.Slip.B)
		default:
			row.cells(c.Mark, c.Name, c.Effort.String())
			row.codes(strings.Join(x.Marks[0].This, "; "), strings.Join(x.Marks[0].Other, "; "))
		}
		var roles, a, b []byte
		for i := range x.Roles {
			r := &x.Roles[i]
			roles = append(separated(roles), r.Role...)
			a = appendTakes(separated(a), r.Role, r.A)
			b = appendTakes(separated(b), r.Role, r.B)
		}
		row.cells(string(roles), string(a), string(b))
	case line.Group != nil:
		g := line.Group
		row.cells("group", strconv.FormatInt(g.Pairs, 10), strconv.Itoa(g.Variants), string(g.By), yes(g.ByEye))
		row.codes(g.Family, "", g.Family, "")
		if s := g.Slip; s != nil {
			row.cells(string(s.Kind), strconv.Itoa(s.Place))
			row.codes(s.A, s.B)
			row.cells(yes(s.Caught))
		} else {
			row.cells("", "", "", "", "")
		}
		row.cells(yes(g.Marked))
		switch c := g.Check; {
		case c == nil:
			row.cells("", "", "")
		case c.Mark == "":
			row.cells("plate", "read the plate again", c.Effort.String())
		default:
			row.cells(c.Mark, c.Name, c.Effort.String())
		}
		var roles []byte
		for _, r := range g.Roles {
			roles = append(separated(roles), r.Role...)
		}
		// What is taken has a cell only where each label stands for one set of parts.
		var a, b []byte
		if o := g.Outcomes; g.Slip != nil && g.More == 0 && len(o) == 2 && o[0].Label != o[1].Label {
			for i := range g.Roles {
				a, b = appendTakes(separated(a), o[0].Takes[i].Role, o[0].Takes[i].Takes), appendTakes(separated(b), o[1].Takes[i].Role, o[1].Takes[i].Takes)
			}
		}
		row.cells("", "", string(roles), string(a), string(b))
	default:
		return dst
	}
	return append(row.dst, "\r\n"...)
}

func yes(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}

func appendTakes(c []byte, role string, t resolve.Takes) []byte {
	c = append(append(c, role...), ": "...)
	for i, w := range t.Ways {
		if i > 0 {
			c = append(c, " or "...)
		}
		switch w.Outcome {
		case resolve.OutcomeNoStatement:
			c = append(c, "nothing stated"...)
		case resolve.OutcomeDoesNotFit:
			if w.Nothing {
				c = append(c, "fits nothing"...)
			} else {
				c = append(c, "ruled out"...)
			}
		default:
			for k, it := range w.Items {
				if k > 0 {
					c = append(c, " + "...)
				}
				c = append(c, strings.ReplaceAll(itemOf(it, " x ")+inBrackets(it.Position), string(glue), " ")...)
			}
		}
	}
	return c
}

// csvRow is a row of CSV being written.
type csvRow struct {
	dst    []byte
	some   bool
	sheets bool // for spreadsheets
}

func (r *csvRow) cells(cells ...string) {
	for _, c := range cells {
		r.next()
		r.dst = appendCell(r.dst, c)
	}
}

// codes appends cells that must stay as they are spelled.
func (r *csvRow) codes(cells ...string) {
	for _, c := range cells {
		r.next()
		r.dst = appendCode(r.dst, c, r.sheets)
	}
}

func (r *csvRow) next() {
	if r.some {
		r.dst = append(r.dst, ',')
	}
	r.some = true
}
