package render

import (
	"io"
	"strconv"
	"strings"

	"platewright/catalog"
	"platewright/resolve"
)

func (p *page) demoRemark(e resolve.Edition) {
	switch {
	case e.Name == Demo:
		p.put(0, 2, say(DemoRemark).in(warn))
	case e.Invented:
		p.put(0, 2, say(InventedRemark).in(warn))
	}
}

func (p *page) editionFoot(e resolve.Edition) {
	p.gap()
	p.put(0, 2, sayf("Catalogue: %s.", edition(e)).in(muted))
}

// WhereUsedText writes where the catalogue speaks of a part.
func WhereUsedText(w io.Writer, u *resolve.WhereUsed, s Screen) error {
	p := newPage(s)
	p.demoRemark(u.Edition)
	p.gap()
	p.put(0, 2, say(glued(string(u.Part))).in(strong), say(tail(", ", u.Name)))
	if catalog.Fold(u.Asked) != u.Part.Key() {
		switch {
		case u.By == nil:
			p.put(2, 2, sayf("%s is another number of it.", glued(u.Asked)))
		case u.By.State == catalog.NoteConfirmed:
			p.put(2, 2, sayf("%s stands for it by a confirmed note: ", glued(u.Asked)), say(noteWords(*u.By)))
		default:
			p.put(2, 2, sayf("%s stands for it only by an open note, do not order by it: ", glued(u.Asked)).in(warn), say(noteWords(*u.By)))
		}
	}
	if len(u.GoesBy) > 0 {
		p.put(2, 2, say("also goes by "+allOf(u.GoesBy)))
	}
	for _, list := range []struct {
		head string
		rs   []resolve.Reason
	}{{"STANDS IN FOR", u.Replaces}, {"REPLACED BY", u.Replaced}} {
		if len(list.rs) > 0 {
			p.head(strong, "%s", list.head)
			for _, r := range list.rs {
				p.put(2, 2, say(capital(Sentence(r))), say(tail(" ", sourced(r.Source, r.Note))).in(muted))
			}
		}
	}
	if len(u.Uses) == 0 {
		p.head(warn, "No statement names it for a unit.")
	} else {
		p.head(strong, "USED IN (%s)", counted(u.Total, "place", "places"))
		role := ""
		for _, use := range u.Uses {
			if use.Role != role {
				role = use.Role
				p.put(2, 2, say("as "+roleName(use.RoleName, role)+":").in(strong))
			}
			p.use(u, use)
		}
		if u.Total > len(u.Uses) && u.Total > resolve.MaxUses {
			p.put(2, 2, sayf("and more: only the first %d places are listed", resolve.MaxUses))
		}
	}
	if len(u.InKits) > 0 {
		p.gap()
		p.put(0, 2, say("In the kits and sets: "), say(allOf(u.InKits)))
	}
	if len(u.CompanionOf) > 0 {
		p.gap()
		p.put(0, 2, say("Must come along with: "), say(allOf(u.CompanionOf)))
	}
	p.editionFoot(u.Edition)
	_, err := w.Write(p.buf.Bytes())
	return err
}

func sourced(source, note string) string {
	s := ""
	if source != "" {
		s = "(" + source + ")"
	}
	if note != "" {
		s += tail("", ": "+note)
	}
	return s
}

func (p *page) use(u *resolve.WhereUsed, use resolve.Use) {
	who := string(use.Of)
	switch use.Scope {
	case catalog.FitFamily:
		who = "every " + use.Of
	case catalog.FitMark:
		who = "everything with " + use.Of
	}
	ss := []span{say(glued(who)).in(strong)}
	if use.Effect == catalog.DoesNotFit && use.Stated.Key() != u.Part.Key() {
		// A statement against the old number says nothing of the new one.
		p.put(4, 4, append(ss, sayf(": %s does not fit, which says nothing of %s", glued(string(use.Stated)), glued(string(u.Part))),
			say(tail(" ", sourced(use.Source, use.Note))).in(muted))...)
		return
	}
	if use.Family != "" {
		ss = append(ss, say(" (family "+use.Family+")"))
	}
	if use.Effect == catalog.DoesNotFit {
		ss = append(ss, say(" DOES NOT FIT").in(alert))
	} else if use.Qty > 0 {
		ss = append(ss, say(" "+strconv.Itoa(use.Qty)+string(glue)+"×"))
	}
	var more []string
	if use.Position != "" {
		more = append(more, "at "+use.Position)
	}
	if use.SerialFrom != "" || use.SerialTo != "" {
		more = append(more, "serial number"+between(use.SerialFrom, use.SerialTo))
	}
	if use.BuiltFrom != "" || use.BuiltTo != "" {
		more = append(more, "build date"+between(use.BuiltFrom, use.BuiltTo))
	}
	if use.When != "" {
		more = append(more, "with "+use.When)
	}
	if use.Stated.Key() != u.Part.Key() {
		more = append(more, "stated as "+glued(string(use.Stated)))
	}
	if len(more) > 0 {
		ss = append(ss, say(", "+strings.Join(more, ", ")))
	}
	if t := sourced(use.Source, use.Note); t != "" {
		ss = append(ss, say(" "+t).in(muted))
	}
	p.put(4, 4, ss...)
}

// ComparisonText writes what tells two variants apart and what differs in parts.
func ComparisonText(w io.Writer, c *resolve.Comparison, s Screen) error {
	p := newPage(s)
	p.demoRemark(c.Edition)
	a, b := glued(string(c.A.Variant)), glued(string(c.B.Variant))
	p.gap()
	differ := 0
	for _, r := range c.Roles {
		if !r.Same {
			differ++
		}
	}
	if c.A.Variant.Key() == c.B.Variant.Key() {
		p.put(0, 2, say("Both are "+a+".").in(strong))
	} else if differ == 0 {
		p.put(0, 2, say(a+" and "+b+" take the same parts").in(good), sayf(" in the %s compared.", counted(len(c.Roles), "role", "roles")))
	} else {
		p.put(0, 2, say(a+" and "+b+" take different parts").in(warn), sayf(" in %d of %s.", differ, counted(len(c.Roles), "role", "roles")))
	}
	p.put(2, 2, say(a).in(strong), say(tail(", ", candidateName(c.A))))
	p.put(2, 2, say(b).in(strong), say(tail(", ", candidateName(c.B))))
	if c.Misread != nil {
		p.put(2, 2, say("! ").in(warn), sayf("One slip turns one into the other: %s.", neighbour(*c.Misread)))
	}
	if c.ByEye {
		p.put(2, 2, say("! ").in(warn), say("No visible mark that is recorded tells them apart."))
	}
	p.head(strong, "WHAT TELLS THEM APART")
	if len(c.TellApart) == 0 {
		p.put(2, 2, say("No deciding mark is recorded that does."))
	}
	p.tellApart(c.TellApart, a, b)
	if len(c.Hints) > 0 {
		p.put(2, 2, say("Hints only, never to decide by:").in(strong))
		p.tellApart(c.Hints, a, b)
	}
	if differ > 0 {
		p.head(strong, "DIFFERENT PARTS")
		for _, r := range c.Roles {
			if r.Same {
				continue
			}
			p.put(2, 4, say(capitalWord(orWord(r.Name, plainCode(r.Role)))).in(strong), say(", on "+place(r.Assembly)))
			p.outcomes(a, r.A)
			p.outcomes(b, r.B)
		}
	}
	var same []string
	for _, r := range c.Roles {
		if r.Same {
			same = append(same, orWord(r.Name, plainCode(r.Role)))
		}
	}
	if len(same) > 0 {
		p.head(strong, "THE SAME IN BOTH")
		p.put(2, 2, say(strings.Join(same, ", ")))
	}
	p.editionFoot(c.Edition)
	_, err := w.Write(p.buf.Bytes())
	return err
}

func (p *page) tellApart(marks []resolve.TellApart, a, b string) {
	for _, m := range marks {
		p.put(2, 4, say(capitalWord(m.Name)).in(strong), sayf(", on %s (%s): %s on %s, %s on %s",
			place(m.Assembly), minutes(m.Effort), anyOf(m.This), a, anyOf(m.Other), b))
	}
}

// outcomes writes what one variant takes in a role, on one line where it can.
func (p *page) outcomes(who string, groups []resolve.Group) {
	for _, g := range groups {
		head := who
		if len(g.Members) > 0 && len(g.Members[0].When) > 0 {
			head = members(g.Members, g.Total)
		}
		p.put(4, 4, say(head+": ").in(strong), say(outcomeText(g)))
	}
}

func outcomeText(g resolve.Group) string {
	switch g.Outcome {
	case resolve.OutcomeNoStatement:
		return "the catalogue says nothing"
	case resolve.OutcomeDoesNotFit:
		return "takes " + nothing(g.Nothing)
	}
	var lines []string
	for _, l := range g.Lines {
		var cs []string
		for _, c := range l.Choices {
			cs = append(cs, choiceText(c))
		}
		s := strings.Join(cs, ", or ")
		if l.Position != "" {
			s = l.Position + ": " + s
		}
		lines = append(lines, s)
	}
	return strings.Join(lines, "; ")
}
