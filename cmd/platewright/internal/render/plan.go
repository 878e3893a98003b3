package render

import (
	"strconv"
	"strings"

	"platewright/catalog"
	"platewright/resolve"

	"github.com/shopspring/decimal"
)

// percent writes a part of all, "" where it is not known.
func percent(share catalog.Decimal) string {
	if !share.Known {
		return ""
	}
	p := share.Num.Shift(2)
	switch {
	case share.Num.IsZero() || p.LessThan(decimal.New(1, 0)):
		return "under" + string(glue) + "1" + string(glue) + "%"
	}
	return p.Round(0).String() + string(glue) + "%"
}

// checkName names what is looked at, and the option that takes what was found.
func checkName(n *resolve.NextCheck) (what, again string) {
	switch n.Kind {
	case resolve.CheckSerial:
		return "the serial number", "--serial NUMBER"
	case resolve.CheckBuilt:
		return "the build date", "--built DATE"
	case resolve.CheckCharacter:
		return "character " + strconv.Itoa(n.Place) + " of the plate or label", "the reading completed"
	case resolve.CheckReading:
		return "the whole plate or label, character by character", "the reading as it then is, without --doubt slip"
	}
	return lower(orWord(n.Name, plainCode(n.Mark))), "--saw " + n.Mark + "=VALUE"
}

// answerName writes what a check can find.
func answerName(n *resolve.NextCheck, a *resolve.CheckAnswer) string {
	head := "any other"
	switch {
	case a.Unseen:
		return "cannot be made out"
	case a.Value != "":
		return withUnit(glued(a.Value), n.Unit)
	case a.From != "" || a.To != "":
		head = strings.TrimPrefix(between(a.From, a.To), " ")
		if n.Unit != "" {
			head = withUnit(head, n.Unit)
		}
	}
	return head
}

// maxTakes is how many settled roles an answer names with their parts.
const maxTakes = 3

// answerMeans writes what follows from an answer.
func (t *decisionPage) answerMeans(a *resolve.CheckAnswer) string {
	var parts []string
	switch {
	case a.Unseen:
	case a.Mixed:
		return "the unit is not as built, its assemblies name different variants: ask again with what you see"
	case len(a.Leaves) == 0:
		parts = append(parts, "leaves no variant")
	default:
		parts = append(parts, "leaves "+t.someOf(a.Leaves, a.LeavesTotal))
	}
	if len(a.Settles) > 0 {
		parts = append(parts, "settles "+t.settled(a))
	}
	if len(a.Unsettled) > 0 && !a.Unseen {
		parts = append(parts, "still open: "+t.roleNames(a.Unsettled))
	}
	switch {
	case a.Next != nil:
		what, _ := checkName(a.Next)
		parts = append(parts, "then look at "+what+" ("+minutes(a.Next.Effort)+")")
	case a.Unseen && a.Cut:
		parts = append(parts, "then there is more to look at")
	case a.Unseen:
		parts = append(parts, "then nothing else tells more")
	}
	return strings.Join(parts, "; ")
}

func (t *decisionPage) settled(a *resolve.CheckAnswer) string {
	if len(a.Takes) == 0 || len(a.Takes) > maxTakes {
		return t.roleNames(a.Settles)
	}
	var out []string
	for _, r := range a.Takes {
		codes := make([]string, len(r.Parts))
		for i, p := range r.Parts {
			codes[i] = glued(string(p))
		}
		text := "nothing fits"
		if len(codes) > 0 {
			text = strings.Join(codes, " and ")
		}
		out = append(out, t.roleName(r.Role)+" ("+text+")")
	}
	return strings.Join(out, ", ")
}

// next writes the next thing to look at and what each answer would mean.
func (t *decisionPage) next() {
	n := t.d.NextCheck
	if n == nil {
		return
	}
	what, again := checkName(n)
	t.head(strong, "NEXT CHECK (%s): %s, on %s", minutes(n.Effort), what, place(n.Assembly))
	if n.How != "" {
		t.put(2, 2, say("How: "+n.How))
	}
	if n.Caution != "" {
		t.put(2, 2, say("Caution: ").in(warn), say(t.cautionText(n.Caution)))
	}
	for i := range n.Answers {
		a := &n.Answers[i]
		t.put(2, 4, say(answerName(n, a)+": ").in(strong), say(t.answerMeans(a)))
	}
	for _, w := range t.d.Question.Doubt {
		if n.Kind == resolve.CheckCharacter && w[strings.LastIndexByte(w, ':')+1:] == strconv.Itoa(n.Place) {
			again = "the character as it then reads, without --doubt " + w
		}
	}
	t.put(2, 2, say("Then ask again with "+strings.ReplaceAll(again, " ", string(glue))+"; what cannot be made out is named by "+strings.ReplaceAll("--cannot-see "+n.ID, " ", string(glue))+"."))
}

// plan writes the whole plan of checks, where it was asked for.
func (t *decisionPage) plan() {
	if t.d.Plan == nil {
		return
	}
	for i := range t.d.Plan.Parts {
		p := &t.d.Plan.Parts[i]
		if p.First == nil || p.Figures == nil {
			continue
		}
		assemblies := make([]string, len(p.Assemblies))
		for j, a := range p.Assemblies {
			assemblies[j] = plainCode(a)
		}
		t.head(strong, "PLAN OF CHECKS (%s)", strings.Join(assemblies, ", "))
		t.put(2, 2, say(planMethod(p)))
		if len(p.Never) > 0 {
			t.put(2, 2, say("No check settles: "+t.roleNames(p.Never)+"."))
		}
		if len(p.LeftOut) > 0 {
			t.put(2, 2, say("Too much is open to plan for: "+t.roleNames(p.LeftOut)+"."))
		}
		t.steps(p.First)
		if p.StepsLeftOut > 0 {
			t.put(2, 2, sayf("The %d least likely branches are not listed.", p.StepsLeftOut))
		}
	}
}

// planMethod says what a plan takes and how good it is.
func planMethod(p *resolve.PlanPart) string {
	f := p.Figures
	s := minutes(f.Expected) + " expected, " + f.Worst.String() + " at most"
	if f.AtMost {
		s = "no more than " + s
	}
	switch p.Method {
	case resolve.PlanExact:
		return capitalWord(s) + "; no plan takes less in expectation."
	case resolve.PlanGreedy:
		s += "; found by the greedy rule for equivalence classes"
	default:
		s += "; the best found in the time given"
	}
	s += ": the best takes no less than " + f.Lower.String() + ", so this is at most " + f.Gap.String() + " from it"
	if f.Factor.Known {
		s += ", and at most " + f.Factor.String() + " times as much"
	}
	return capitalWord(s) + "."
}

// steps writes the steps of a plan, numbered, the first ones first. Answers say by
// number where to go on, which needs no more room the deeper a plan is.
func (t *decisionPage) steps(first *resolve.NextCheck) {
	list, number := []*resolve.NextCheck{first}, map[*resolve.NextCheck]int{first: 1}
	for i := 0; i < len(list); i++ {
		for j := range list[i].Answers {
			if n := list[i].Answers[j].Next; n != nil {
				list = append(list, n)
				number[n] = len(list)
			}
		}
	}
	for i, n := range list {
		what, _ := checkName(n)
		t.put(2, 3, sayf("%d. Look at %s, on %s (%s)", i+1, what, place(n.Assembly), minutes(n.Effort)).in(strong))
		for j := range n.Answers {
			a := &n.Answers[j]
			means := t.answerMeans(&resolve.CheckAnswer{Unseen: a.Unseen, Mixed: a.Mixed, Leaves: a.Leaves, LeavesTotal: a.LeavesTotal, Settles: a.Settles, Takes: a.Takes})
			if a.Unseen {
				means = ""
			}
			then := ""
			switch {
			case a.Next != nil:
				then = "go on with " + strconv.Itoa(number[a.Next])
			case a.Cut:
				then = "more to look at, not listed"
			case !a.Mixed && (a.Unseen || len(a.Settles) == 0):
				then = "nothing else tells more"
			}
			if means != "" && then != "" {
				means += "; "
			}
			t.put(5, 4, say(answerName(n, a)+" ("+percent(a.Probability)+"): "), say(means), say(then).in(strong))
		}
	}
}

// inDoubt says what was taken as not sure and what it can be.
func (t *decisionPage) inDoubt(r resolve.Reading) {
	for _, d := range r.Doubted {
		var can []string
		for _, l := range d.Likely {
			share := catalog.Decimal{Num: decimal.NewFromFloat(l.Share), Known: true}
			can = append(can, l.Char+" "+percent(share))
		}
		t.put(2, 2, sayf("Character %d is in doubt: %s. Which characters are taken for each other is from published lists and from practice; how likely that is, and with it the ranking of the variants, is an estimate, weighed by how many of each were built where that is known.", d.Place, strings.Join(can, ", ")))
	}
	if r.Slips > 0 {
		t.put(2, 2, sayf("One slip is thought possible; variants allowed for it: %d.", r.Slips))
	}
}
