package render

import (
	"io"
	"slices"
	"strings"

	"platewright/catalog"
	"platewright/resolve"
)

// FitsText writes the answer about one part in one unit: the verdict first, then
// the roles it is about, what the unit is, and what to look at next.
func FitsText(w io.Writer, d *resolve.Decision, s Screen, why bool) error {
	t := newDecisionPage(d, s, why)
	t.demo()
	t.part()
	t.loud()
	t.unread()
	t.identity()
	t.readings()
	t.warnings()
	if d.Part == nil || d.Part.Verdict == resolve.NotSettled {
		t.next()
	}
	if d.Part != nil && len(d.Part.Roles) > 0 {
		t.cautions() // those of its roles; of a number that nobody knows there are none
	}
	t.foot()
	_, err := w.Write(t.buf.Bytes())
	return err
}

// part writes the verdict about the part asked about.
func (t *decisionPage) part() {
	p := t.d.Part
	if p == nil {
		return
	}
	name := glued(orWord(string(p.Part), p.Asked))
	if p.Name != "" {
		name += ", " + p.Name
	}
	t.gap()
	switch {
	case p.Verdict == resolve.Fits && len(p.Against) > 0:
		t.put(0, 2, say("HELD: ").in(alert), say(name).in(strong))
		if slices.ContainsFunc(p.Against, func(r resolve.Reason) bool { return r.Code == resolve.ReasonNoteAgainst }) {
			t.put(2, 2, say("It fits by the catalogue, but a confirmed note says that it did not fit. Do not order it."))
		} else {
			t.put(2, 2, sayf("%s fits by the catalogue. That %s stands for it is only an open note of the shop: do not order by it until another person has confirmed that.", glued(string(p.Part)), glued(p.Asked)))
		}
	case p.Verdict == resolve.Fits:
		t.put(0, 2, say("FITS: ").in(good), say(name).in(strong))
	case p.Verdict == resolve.DoesNotFit:
		t.put(0, 2, say("DOES NOT FIT: ").in(alert), say(name).in(strong))
	default:
		t.put(0, 2, say("NOT SETTLED: ").in(warn), say(name).in(strong))
	}
	if p.Status == catalog.PartEnded {
		t.put(2, 2, say("It is not sold any more: only what still lies on a shelf can be used."))
	}
	if len(p.Near) > 0 {
		t.put(2, 2, sayf("Did you mean %s?", anyOf(partTexts(p.Near))))
	}
	for _, r := range p.Roles {
		t.partRole(r)
	}
	if !t.why {
		for _, r := range p.Reasons {
			t.put(2, 2, say(capital(Sentence(r))))
		}
	}
	t.proof(2, p.Reasons)
	for _, n := range p.Notes {
		t.put(2, 2, sayf("note (%s): ", n.State).in(strong), say(noteWords(n)))
	}
}

func (t *decisionPage) partRole(r resolve.PartRole) {
	verdict := "not settled"
	switch r.Verdict {
	case resolve.Fits:
		verdict = "fits"
	case resolve.DoesNotFit:
		verdict = "does not fit"
	}
	head := "As " + t.roleName(r.Role) + " of " + place(r.Assembly) + ": " + verdict
	t.put(2, 2, say(head).in(strong))
	if r.Verdict == resolve.NotSettled || t.why {
		for _, g := range []struct {
			word string
			ms   []resolve.Member
		}{{"fits", r.FitsIn}, {"does not fit", r.NotIn}, {"nothing is stated for", r.Unstated}} {
			if len(g.ms) > 0 {
				t.put(4, 2, say(g.word+" "+members(g.ms, len(g.ms))))
			}
		}
	}
	if !t.why { // the proof has them
		for _, x := range r.Trail {
			if x.Code == resolve.ReasonSheetOffLimits {
				t.put(4, 2, say(capital(Sentence(x))).in(warn))
			}
		}
	}
	for i, c := range r.Take {
		word := "Taken as: "
		if i > 0 {
			word = "or: "
		}
		s := choiceText(c)
		if len(c.Companions) > 0 {
			s += " (what stands after + must come along)"
		}
		t.put(4, 2, say(word).in(strong), say(s))
	}
	t.proof(4, r.Trail)
	var instead []string
	for _, l := range r.Instead {
		for i, c := range l.Choices {
			s := choiceText(c)
			switch {
			case i > 0:
				s = "or " + s
			case l.Position != "":
				s = l.Position + ": " + s
			}
			instead = append(instead, s)
		}
	}
	if len(instead) > 0 {
		t.put(4, 2, say("What the unit takes instead: ").in(strong), say(strings.Join(instead, "; ")))
	}
}

func partTexts(ps []catalog.PartNo) []string {
	out := make([]string, len(ps))
	for i, p := range ps {
		out[i] = glued(string(p))
	}
	return out
}
