package render

import (
	"io"
	"strconv"
	"strings"

	"platewright/catalog"
	"platewright/resolve"
)

// Ways to answer a question of a dialogue that are no finds.
const (
	AskUnseen = "-" // it cannot be made out
	AskBack   = "<" // back to the question before
	AskStop   = "." // leave the dialogue
)

// AskOption gives the text by which an answer of a check is picked from the list,
// "" where it must be typed: a range is no find. Where values are measured, numbers or
// single characters themselves, the place in the list stands behind a #, so that
// none is taken for the other.
func AskOption(n *resolve.NextCheck, i int) string {
	a := &n.Answers[i]
	if a.Unseen || a.Value == "" {
		return ""
	}
	place := strconv.Itoa(i + 1)
	for j := range n.Answers {
		v := catalog.Fold(n.Answers[j].Value)
		if _, err := catalog.ParseDecimal(n.Answers[j].Value); err == nil || len(v) == 1 || n.Unit != "" {
			return "#" + place
		}
	}
	return place
}

// AskStepText writes one question of a dialogue: what is open, what to look at
// and how, and what each answer would mean.
func AskStepText(w io.Writer, d *resolve.Decision, step int, s Screen) error {
	t := newDecisionPage(d, s, false)
	n := d.NextCheck
	if d.Mixed != nil {
		t.loud()
	}
	t.gap()
	var open, left []string
	for _, r := range d.Roles {
		if r.Verdict == resolve.NotSettled {
			open = append(open, r.Role)
		}
	}
	for _, a := range d.Assemblies {
		if a.Total > 0 && a.Basis != resolve.BasisAsBuilt {
			left = append(left, plainCode(a.Assembly)+" "+strconv.Itoa(a.Total))
		}
	}
	t.put(0, 2, sayf("Variants still possible: %s. Not settled: %s.", strings.Join(left, ", "), t.roleNames(open)).in(muted))
	what, _ := checkName(n)
	t.put(0, 3, sayf("%d. Look at %s, on %s (%s).", step, what, place(n.Assembly), minutes(n.Effort)).in(strong))
	if n.Kind == resolve.CheckCharacter || n.Kind == resolve.CheckReading {
		t.put(3, 2, say("It was read as "+glued(t.spelled(n.Reading))+"; clean the plate, chalk it, hold a lamp flat."))
	}
	if n.How != "" {
		t.put(3, 2, say("How: "+n.How))
	}
	if n.Caution != "" {
		t.put(3, 2, say("Caution: ").in(warn), say(t.cautionText(n.Caution)))
	}
	for i := range n.Answers {
		a := &n.Answers[i]
		if a.Unseen {
			continue
		}
		t.put(3, 6, say(tailAfter(AskOption(n, i), "  ")).in(strong), say(answerName(n, a)).in(strong), say(": "+t.answerMeans(a)).in(muted))
	}
	hint := "Type a number or what you see"
	switch {
	case n.Kind == resolve.CheckCharacter:
		hint = "Type the character"
	case n.Kind == resolve.CheckSerial:
		hint = "Type the serial number"
	case n.Kind == resolve.CheckBuilt:
		hint = "Type the date: 2019-04-12, 2019-04 or 2019"
	case n.Unit != "":
		hint = "Type what you measure, in " + n.Unit
	}
	t.put(3, 2, say(hint+"; "+AskUnseen+" if it cannot be made out, "+AskBack+" to go back, "+AskStop+" to stop.").in(muted))
	_, err := w.Write(t.buf.Bytes())
	return err
}

func tailAfter(s, sep string) string {
	if s == "" {
		return ""
	}
	return s + strings.ReplaceAll(sep, " ", string(glue))
}

// AskTroubleText writes what keeps a dialogue from going on: what was read names
// nothing, or the statements cannot all be true.
func AskTroubleText(w io.Writer, d *resolve.Decision, s Screen) error {
	t := newDecisionPage(d, s, false)
	t.loud()
	t.unread()
	t.gap()
	t.put(0, 2, say("Nothing can be settled like this. Type "+AskBack+" to go back and look again, "+AskStop+" to stop."))
	_, err := w.Write(t.buf.Bytes())
	return err
}

// AskEndText writes how a dialogue that was left is taken up again.
func AskEndText(w io.Writer, again, answer string, s Screen) error {
	p := newPage(s)
	p.gap()
	p.put(0, 2, say("To go on from here:"))
	p.buf.WriteString("  " + visible(again) + "\n")
	p.put(0, 2, say("The answer so far:"))
	p.buf.WriteString("  " + visible(answer) + "\n")
	_, err := w.Write(p.buf.Bytes())
	return err
}
