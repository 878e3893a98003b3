package render

import (
	"io"
	"slices"
	"strconv"
	"strings"

	"platewright/catalog"
	"platewright/resolve"
)

// Demo is the name of the edition that is the embedded demo.
const Demo = "demo"

// DemoRemark stands over every answer from the demo.
const DemoRemark = "demo catalogue, invented data: never order by it"

// InventedRemark stands over every answer from a catalogue of the shop's in which
// a source is of the kind invented.
const InventedRemark = "this catalogue holds invented data (see its sources): never order by it"

// DecisionText writes the answer about a unit for a person who reads it at
// arm's length: what it is first, then what to beware of, then what to order,
// then what to look at next. With why, each line carries its proof.
func DecisionText(w io.Writer, d *resolve.Decision, s Screen, why bool) error {
	t := newDecisionPage(d, s, why)
	t.demo()
	t.loud()
	t.unread()
	t.identity()
	t.readings()
	t.warnings()
	t.orders()
	t.next()
	t.plan()
	t.figures()
	t.cautions()
	t.notes()
	t.excluded()
	t.foot()
	_, err := w.Write(t.buf.Bytes())
	return err
}

// decisionPage is the text of one decision while it is being written.
type decisionPage struct {
	*page
	d       *resolve.Decision
	why     bool
	uses    map[string]int // sentences of the proof, how often each is used
	numbers map[string]int // numbers given to those that are used again
	said    map[string]bool
	sources []string
}

func newDecisionPage(d *resolve.Decision, s Screen, why bool) *decisionPage {
	t := &decisionPage{page: newPage(s), d: d, why: why, uses: map[string]int{}, numbers: map[string]int{}, said: map[string]bool{}}
	t.collect()
	return t
}

// proofs gives every list of reasons that the page can print as a proof, in its order.
func (t *decisionPage) proofs(each func([]resolve.Reason)) {
	lines := func(ls []resolve.Line) {
		for _, l := range ls {
			for _, c := range l.Choices {
				each(c.Trail)
			}
		}
	}
	for _, r := range t.d.Roles {
		each(r.Reasons)
		if len(r.Lines) > 0 {
			lines(r.Lines)
			continue
		}
		for _, g := range r.Groups {
			lines(g.Lines)
		}
	}
	if t.d.Part != nil {
		each(t.d.Part.Reasons)
		for _, r := range t.d.Part.Roles {
			each(r.Trail)
		}
	}
}

func (t *decisionPage) collect() {
	seen := map[string]bool{}
	t.proofs(func(rs []resolve.Reason) {
		for _, r := range rs {
			t.uses[proofLine(r)]++
			if r.Source != "" {
				seen[r.Source] = true
			}
		}
	})
	for _, c := range t.d.Cautions {
		if c.Source != "" {
			seen[c.Source] = true
		}
	}
	for s := range seen {
		t.sources = append(t.sources, s)
	}
	slices.Sort(t.sources)
}

// proofLine is a reason with the row it rests on.
func proofLine(r resolve.Reason) string {
	s := Sentence(r)
	switch {
	case r.Source != "" && r.Row != "":
		s += " (" + r.Source + "; " + r.Table + " " + r.Row + ")"
	case r.Source != "":
		s += " (" + r.Source + ")"
	}
	if r.Note != "" && r.Code != resolve.ReasonNoteAgainst {
		s += ": " + r.Note
	}
	return s
}

// proof writes a list of reasons. One that is used again later gets a number,
// and is only referred to from then on.
func (t *decisionPage) proof(indent int, rs []resolve.Reason) {
	if !t.why {
		return
	}
	for _, r := range rs {
		line := proofLine(r)
		switch n := t.numbers[line]; {
		case n > 0:
			t.put(indent, 2, sayf("because of [%d]", n).in(muted))
		case t.uses[line] > 1:
			n = len(t.numbers) + 1
			t.numbers[line] = n
			t.put(indent, 2, sayf("because [%d] %s", n, line).in(muted))
		default:
			t.put(indent, 2, say("because "+line).in(muted))
		}
	}
}

func (t *decisionPage) demo() { t.demoRemark(t.d.Edition) }

// loud says what makes everything below doubtful.
func (t *decisionPage) loud() {
	d := t.d
	if len(d.Conflicts) > 0 {
		// A statement that contradicts no other one but the catalogue stands alone.
		alone := !slices.ContainsFunc(d.Conflicts, func(c resolve.Conflict) bool { return len(c.Statements) > 1 })
		if alone {
			t.head(alert, "CONFLICT: what was read or seen cannot be true. Order nothing.")
		} else {
			t.head(alert, "CONFLICT: what was read and seen cannot all be true. Order nothing.")
		}
		for i, c := range d.Conflicts {
			what := "these cannot all be true"
			if len(c.Statements) == 1 {
				what = "this is true of no variant that it can be"
			}
			of := "Of "
			if i > 0 {
				of = "Also of "
			}
			t.put(2, 2, sayf("%s%s, %s:", of, place(c.Assembly), what))
			for _, s := range c.Statements {
				t.put(4, 2, say("- "+t.statement(s)).in(strong))
				if s.Again != "" {
					t.put(6, 2, say("look again: "+s.Again))
				}
				for _, o := range d.Observations {
					if s.Kind == resolve.StatementMark && o.Mark == s.Mark && !o.OnRecord {
						t.put(6, 2, sayf("no variant of the family shows this; on record: %s. Is it misspelt?", anyOf(o.Known)).in(warn))
					}
				}
			}
		}
		switch {
		case !alone:
			t.put(2, 2, say("One of them was misread, or the assembly is not what its plate says."))
		case len(d.Conflicts) == 1:
			t.put(2, 2, say("It was misread or mistyped, or the catalogue does not hold this unit."))
		default:
			t.put(2, 2, say("Each was misread or mistyped, or the catalogue does not hold this unit."))
		}
	}
	if d.Mixed != nil {
		t.head(alert, "MIXED UNIT: its assemblies name different variants.")
		for _, p := range d.Mixed.Parts {
			t.put(2, 4, sayf("%s: ", capitalWord(plainCode(p.Assembly))), say(allOf(p.Variants)).in(strong))
		}
		t.put(2, 2, say("An assembly was swapped in an earlier repair, or a plate or label was misread: read both again. Each role below is decided by its own assembly."))
	}
}

func (t *decisionPage) statement(s resolve.Statement) string {
	switch s.Kind {
	case resolve.StatementReading:
		return "it reads " + glued(t.spelled(s.Text))
	case resolve.StatementMark:
		return plainCode(s.Mark) + " is " + s.Text
	case resolve.StatementSerial:
		return "the serial number is " + s.Text
	case resolve.StatementBuilt:
		return "it was built " + s.Text
	}
	return s.Text
}

// unknown tells whether no variant of the catalogue is left, without a conflict.
func (t *decisionPage) unknown() bool {
	return len(t.d.Conflicts) == 0 && !slices.ContainsFunc(t.d.Assemblies, func(a resolve.AssemblyState) bool { return a.Total > 0 })
}

// listed is how many candidates are named one by one with their names.
const listed = 4

// identity says what each assembly can still be.
func (t *decisionPage) identity() {
	t.gap()
	if t.unknown() {
		t.put(0, 2, say("No variant of the catalogue matches.").in(alert))
		return
	}
	for _, a := range t.d.Assemblies {
		name := capitalWord(plainCode(a.Assembly))
		switch a.Basis {
		case resolve.BasisConflict:
			t.put(0, 4, say(name+": ").in(strong), say("no variant, see CONFLICT").in(alert))
			continue
		case resolve.BasisNone:
			t.put(0, 4, say(name+": ").in(strong), say("no variant of the catalogue matches").in(alert))
			continue
		case resolve.BasisAsBuilt:
			t.put(0, 4, say(name+": ").in(strong), sayf("taken to be as built, like %s", place(a.Follows)))
			if on := t.seenOn(a.Assembly); on != "" {
				var codes []catalog.VariantCode
				for _, c := range a.Candidates {
					codes = append(codes, c.Variant)
				}
				t.put(2, 2, sayf("with %s on it: %s", on, t.someOf(codes, a.Total)))
			}
			continue
		}
		on := t.basis(a)
		switch {
		case a.Total == 1 && len(a.Candidates) == 1:
			c := a.Candidates[0]
			t.put(0, 4, say(name+": ").in(strong), say(glued(string(c.Variant))).in(good), say(tail(", ", candidateName(c))))
			t.put(2, 2, say("on the basis of "+on))
		default:
			t.put(0, 4, say(name+": ").in(strong), sayf("%d variants are still possible", a.Total).in(warn))
			if a.Total <= listed || t.ranked(a) {
				for _, c := range a.Candidates[:min(len(a.Candidates), most)] {
					t.put(2, 4, say(glued(string(c.Variant))).in(strong), say(tail(", ", percent(c.Share))), say(tail(", ", candidateName(c))))
				}
				if more := a.Total - min(len(a.Candidates), most); more > 0 {
					t.put(2, 4, sayf("and %d more", more))
				}
			} else {
				codes := make([]catalog.VariantCode, len(a.Candidates))
				for i, c := range a.Candidates {
					codes[i] = c.Variant
				}
				t.put(2, 2, say(t.someOf(codes, a.Total)))
			}
			t.put(2, 2, say("on the basis of "+on))
		}
	}
}

// ranked tells whether the candidates stand by how likely they are.
func (t *decisionPage) ranked(a resolve.AssemblyState) bool {
	return len(a.Candidates) > 0 && a.Candidates[0].Share.Known
}

func candidateName(c resolve.Candidate) string {
	switch {
	case c.Name == "":
		return "family " + c.Family
	case c.Family == "":
		return c.Name
	}
	return c.Name + " (family " + c.Family + ")"
}

func tail(sep, s string) string {
	if s == "" {
		return ""
	}
	return sep + s
}

// most is how many of a kind a screen can hold.
const most = 12

// someOf lists codes, not more than a screen can hold.
func (t *decisionPage) someOf(codes []catalog.VariantCode, total int) string {
	show := codes[:min(len(codes), most)]
	if more := total - len(show); more > 0 {
		parts := make([]string, len(show))
		for i, c := range show {
			parts[i] = glued(string(c))
		}
		return strings.Join(parts, ", ") + " and " + strconv.Itoa(more) + " more"
	}
	return allOf(show)
}

// basis says what an assembly's candidates rest on.
func (t *decisionPage) basis(a resolve.AssemblyState) string {
	if a.Basis == resolve.BasisFamily {
		return "the family alone, since nothing was read or seen on it"
	}
	var parts []string
	for _, r := range t.d.Reading {
		if r.Assembly != a.Assembly || r.Outcome != resolve.ReadingMatched {
			continue
		}
		s := "the reading " + glued(t.spelled(r.Text))
		checked := len(r.Matches) > 0
		for _, m := range r.Matches {
			checked = checked && m.Checked
		}
		if checked {
			s += " (its check character agrees)"
		}
		parts = append(parts, s)
	}
	for _, o := range t.d.Observations {
		if o.Assembly == a.Assembly && decides(o) {
			parts = append(parts, plainCode(o.Mark)+" "+o.Value)
		}
	}
	switch q := t.d.Question; {
	case q.Serial != 0 && a.Follows == "":
		parts = append(parts, "serial number "+q.Serial.String())
	}
	if q := t.d.Question; q.BuiltISO != "" && a.Follows == "" {
		parts = append(parts, "built "+q.BuiltISO)
	}
	if len(parts) == 0 {
		return "what was read and seen"
	}
	return allOf(parts)
}

// spelled gives a reading as it was typed, which a person knows again.
func (t *decisionPage) spelled(text string) string {
	key := catalog.Fold(text)
	for _, s := range append([]string{t.d.Question.Plate}, t.d.Question.Labels...) {
		if catalog.Fold(s) == key {
			return strings.TrimSpace(s)
		}
	}
	return text
}

// unread says what became of texts that name no variant.
func (t *decisionPage) unread() {
	places := false
	for _, r := range t.d.Reading {
		switch r.Outcome {
		case resolve.ReadingUnknown:
			t.head(alert, "%s reads like a plate or label, but the catalogue has no such variant.", glued(t.spelled(r.Text)))
		case resolve.ReadingRejected:
			t.head(alert, "%s cannot be right: its check character does not agree. Read it again.", glued(t.spelled(r.Text)))
			t.rejection(r)
		case resolve.ReadingNoLayout:
			t.head(alert, "%s is not composed like any plate or label of the catalogue. Read it again.", glued(t.spelled(r.Text)))
			t.mismatch(r)
			places = places || len(r.Furthest) > 0
		}
		if len(r.Near) == 0 {
			continue
		}
		places = true
		head := "One slip away; not the answer, read again and compare:"
		if len(r.Near) > 1 {
			head = "One slip away; not the answer, read again and compare (the shares, of those listed, are estimates):"
		}
		t.put(2, 2, say(head))
		for _, n := range r.Near {
			t.near(n, len(r.Near))
		}
		if r.NearCut {
			t.put(4, 2, say("and more"))
		}
	}
	if places {
		t.put(2, 2, say("Places count letters and digits, not spaces and dashes.").in(muted))
	}
}

// readings says what the check characters brought back and, as part of the
// proof, how the texts were taken apart.
func (t *decisionPage) readings() {
	for _, r := range t.d.Reading {
		t.inDoubt(r)
		for _, m := range r.Matches {
			for _, f := range m.Recovered {
				t.put(2, 2, sayf("The check character tells that the field %s reads %s.", f.Field, glued(f.Text)))
			}
			if !t.why {
				continue
			}
			fields := make([]string, len(m.Fields))
			for i, f := range m.Fields {
				fields[i] = f.Field + string(glue) + glued(f.Text)
			}
			t.put(2, 2, say(t.spelled(r.Text)+" as "+m.Layout+": "+strings.Join(fields, ", ")).in(muted))
		}
	}
}

// warnings says what to beware of before anything is ordered.
func (t *decisionPage) warnings() {
	var out [][]span
	add := func(ss ...span) { out = append(out, ss) }
	t.condemned(add)
	for _, a := range t.d.Assemblies {
		if a.BySlip {
			add(sayf("%s: ", capitalWord(plainCode(a.Assembly))).in(warn),
				say("what was read is no plate or label that there is; it names a variant only if there is a slip in it. Nothing is ordered by that: read it again, character by character."))
		}
		if (a.Basis == resolve.BasisAsBuilt || a.Assumed) && a.Total > 0 {
			why := "nothing was read or seen on it"
			switch {
			case a.Assumed:
				why = "what could be read of it fits other variants too"
			case t.seenOn(a.Assembly) != "":
				why = "what was seen on it fits other variants too"
			}
			add(sayf("%s assumed as built: ", capitalWord(plainCode(a.Assembly))).in(warn),
				say(why+", and it can have been swapped. Read its label."))
		}
	}
	shown, more := 0, 0
	for _, l := range t.d.LookAlikes {
		if l.RuledOut != nil {
			continue
		}
		if shown++; shown > mostLookAlikes {
			more++
			continue
		}
		add(t.lookAlike(l)...)
	}
	if more > 0 {
		add(sayf("%d more look-alikes not ruled out: ", more).in(warn), say("platewright look-alikes VARIANT lists them all. Look at what tells them apart before ordering."))
	}
	for _, a := range t.d.LookAlikesLeftOut {
		add(sayf("Look-alikes of %s not all searched: ", place(a)).in(warn), say("too many variants are still possible. Read more of the plate or label first."))
	}
	for _, n := range t.d.Notes {
		switch {
		case corrects(n):
			add(say("Corrected by the shop: ").in(warn), say(noteWords(n)))
		case confirmedWarning(n):
			add(sayf("Confirmed note on %s: ", glued(n.Of)).in(warn), say(noteWords(n)))
		}
	}
	for _, o := range t.d.Observations {
		if o.Force == catalog.Hinting && len(o.Differs) > 0 {
			says := sayf("found %s, but on record is %s for %s. ", o.Value, anyOf(o.Shown), t.someOf(o.Differs, len(o.Differs)))
			if !o.OnRecord && len(o.Known) > len(o.Shown) {
				says.text += "No variant of the family shows what was found; on record: " + anyOf(o.Known) + ". "
			}
			if catalog.Fold(o.Mark) == catalog.Fold(resolve.VehicleMark) {
				says.text += "Vehicles get other gearboxes: "
			} else {
				says.text += "Looks change with age and with what was replaced: "
			}
			says.text += "it is a hint and not used to decide."
			add(sayf("%s differs: ", capitalWord(plainCode(o.Mark))).in(warn), says)
		}
	}
	if len(out) > 0 {
		t.head(warn, "WARNINGS")
		for _, ss := range out {
			t.put(2, 2, append([]span{say("! ").in(warn)}, ss...)...)
		}
	}
	t.ruledOut()
}

// doubted tells whether a look-alike that takes another part can still be this
// unit.
func (t *decisionPage) doubted() bool {
	return slices.ContainsFunc(t.d.LookAlikes, func(l resolve.LookAlike) bool { return l.RuledOut == nil })
}

// mostLookAlikes is how many look-alikes the warnings describe; a page of them
// would push the answer off the screen.
const mostLookAlikes = 6

// seenOn gives the deciding marks found on an assembly, "" for none.
func (t *decisionPage) seenOn(assembly string) string {
	var parts []string
	for _, o := range t.d.Observations {
		if o.Assembly == assembly && decides(o) {
			parts = append(parts, plainCode(o.Mark)+" "+o.Value)
		}
	}
	return strings.Join(parts, ", ")
}

// ruledOut names the look-alikes that cannot be this unit any more, those ruled
// out for one reason together.
func (t *decisionPage) ruledOut() {
	type group struct{ assembly, why string }
	var why []group
	who := map[group][]catalog.VariantCode{}
	for _, l := range t.d.LookAlikes {
		if l.RuledOut == nil {
			continue
		}
		r := *l.RuledOut
		r.Variant = ""
		g := group{l.Assembly, Sentence(r)}
		if who[g] == nil {
			why = append(why, g)
		}
		if !slices.Contains(who[g], l.Variant) {
			who[g] = append(who[g], l.Variant)
		}
	}
	for i, g := range why {
		if i == 0 {
			t.gap()
		}
		word := "Look-alike"
		if len(who[g]) > 1 {
			word = "Look-alikes"
		}
		t.put(2, 2, say(word+" of "+place(g.assembly)+" ruled out: "+t.someOf(who[g], len(who[g]))+". "+capital(g.why)).in(muted))
	}
}

func confirmedWarning(n resolve.Note) bool {
	return n.State == catalog.NoteConfirmed && (n.Kind == catalog.NoteCaution || n.Kind == catalog.NoteDidNotFit)
}

// noteOf names what a note is on, for its heading.
func noteOf(n resolve.Note) string {
	if n.On == catalog.NoteOnRow && n.ShopNote != nil && n.Correction != nil {
		return "of " + n.Correction.Table
	}
	return n.Of
}

// corrects tells whether a note has changed a row that the answer can rest on.
func corrects(n resolve.Note) bool {
	return n.Kind == catalog.NoteCorrection && n.State == catalog.NoteConfirmed && n.ShopNote != nil && n.Applies == catalog.CorrectionHolds
}

func (t *decisionPage) lookAlike(l resolve.LookAlike) []span {
	how := "no visible mark that is recorded tells it from " + glued(string(l.Candidate))
	if l.By == resolve.ByPlate {
		how = "its plate is one misread away"
		if l.Misread != nil {
			how += " (" + neighbour(*l.Misread) + ")"
		}
	}
	ss := []span{sayf("Look-alike of %s not ruled out, %s: ", place(l.Assembly), glued(string(l.Variant))).in(warn), say(how + ". ")}
	ss = append(ss, t.otherParts(l)...)
	if len(l.TellApart) == 0 {
		return append(ss, say("No mark is recorded that tells them apart: compare the parts before fitting."))
	}
	a := l.TellApart[0]
	return append(ss, sayf("To tell them apart look at %s, on %s (%s): %s on %s, %s on %s.", lower(a.Name), place(a.Assembly), minutes(a.Effort),
		anyOf(a.This), glued(string(l.Candidate)), anyOf(a.Other), glued(string(l.Variant))))
}

// otherParts says what a look-alike takes instead. That nothing is stated of it
// is not said as if it took nothing.
func (t *decisionPage) otherParts(l resolve.LookAlike) []span {
	var other, open, beside []string
	for _, r := range l.Roles {
		name, this, that := t.roleName(r.Role), takesText(r.This), takesText(r.Other)
		switch {
		case this == that:
			beside = append(beside, name)
		case unstated(r.Other):
			open = append(open, name+" ("+takesClause(glued(string(l.Candidate)), r.This)+")")
		case unstated(r.This):
			other = append(other, name+" "+that+" (nothing is stated for "+glued(string(l.Candidate))+")")
		default:
			other = append(other, name+" "+that+", not "+this)
		}
	}
	var ss []span
	for _, x := range []struct {
		says  string
		roles []string
	}{{"It takes another part: %s. ", other}, {"What it takes is not stated: %s. ", open}, {"It differs in what else serves or must come along: %s. ", beside}} {
		const most = 3
		if n := len(x.roles); n > most {
			x.roles = append(x.roles[:most], counted(n-most, "more role", "more roles"))
		}
		if len(x.roles) > 0 {
			ss = append(ss, sayf(x.says, strings.Join(x.roles, "; ")))
		}
	}
	return ss
}

func withUnit(s, unit string) string {
	if unit == "" {
		return s
	}
	if value, at, warm := strings.Cut(s, string(glue)+"at"+string(glue)); warm {
		return withUnit(strings.TrimSuffix(value, string(glue)+unit), unit) + " at " + at
	}
	return s + string(glue) + unit
}

func minutes(d catalog.Decimal) string {
	switch s := d.String(); s {
	case "":
		return "time not known"
	case "1":
		return "1 minute"
	default:
		return s + " minutes"
	}
}

func (t *decisionPage) roleName(role string) string {
	for _, r := range t.d.Roles {
		if catalog.Fold(r.Role) == catalog.Fold(role) && r.Name != "" {
			return lower(r.Name)
		}
	}
	return plainCode(role)
}

// lower puts a name into a sentence; an abbreviation keeps its capitals.
func lower(s string) string {
	if len(s) > 1 && 'A' <= s[0] && s[0] <= 'Z' && !('A' <= s[1] && s[1] <= 'Z' || '0' <= s[1] && s[1] <= '9' || s[1] == '-') {
		return string(s[0]-'A'+'a') + s[1:]
	}
	return s
}

func capitalWord(s string) string {
	if s != "" && 'a' <= s[0] && s[0] <= 'z' {
		return string(s[0]-'a'+'A') + s[1:]
	}
	return s
}

// orders writes what is safe to order, what is held, and the roles that take
// nothing.
func (t *decisionPage) orders() {
	d := t.d
	if t.unknown() {
		return // the unit is not known: a list of everything that is held says no more
	}
	placed := map[string]bool{}
	if len(d.SafeToOrder) > 0 {
		if t.doubted() || d.Mixed != nil {
			t.head(good, "SAFE TO ORDER (%s), once the warnings above are cleared", counted(len(d.SafeToOrder), "line", "lines"))
		} else {
			t.head(good, "SAFE TO ORDER (%s)", counted(len(d.SafeToOrder), "line", "lines"))
		}
		last := ""
		for _, l := range d.SafeToOrder {
			r := t.role(l.Role)
			if l.Role != last {
				t.put(2, 4, t.roleHead(r, l.Role, l.Need)...)
				last = l.Role
				placed[l.Role] = true
				if r != nil {
					t.proof(4, r.Reasons)
				}
			}
			t.safeLine(r, l)
			t.leftOut(r)
		}
	} else if len(d.Held) > 0 {
		t.head(warn, "NOTHING IS SAFE TO ORDER YET")
	}
	if len(d.Held) > 0 {
		t.head(warn, "HELD (%s): do not order yet", counted(len(d.Held), "line", "lines"))
		for _, g := range groupHeld(d.Held) {
			named := t.heldLines(g)
			for _, h := range g {
				placed[h.Role] = true
			}
			if !named {
				t.heldTogether(g)
			}
			t.put(4, 2, say("Held: ").in(warn), say(sentences(tellers(g[0].Why))))
			if len(g[0].Release) > 0 {
				t.put(4, 2, say("To release: ").in(strong), say(sentences(g[0].Release)))
			}
		}
	}
	first := true
	for i := range d.Roles {
		r := &d.Roles[i]
		if placed[r.Role] {
			continue
		}
		if first {
			t.head(strong, "NOTHING TO TAKE")
			first = false
		}
		t.put(2, 4, t.roleHead(r, r.Role, r.Need)...)
		if !t.why {
			t.put(4, 2, say(sentences(r.Reasons)))
		}
		t.proof(4, r.Reasons)
	}
}

// leftOut names the fluids that are no choice of a role because their own data
// sheets belie them: they are offered for it, so leaving them out is said.
func (t *decisionPage) leftOut(r *resolve.RoleAnswer) {
	if r == nil || t.why { // the proof of the role has them
		return
	}
	for _, x := range r.Reasons {
		if x.Code == resolve.ReasonSheetOffLimits {
			t.put(4, 2, say("left out: ").in(warn), say(Sentence(x)))
		}
	}
}

func (t *decisionPage) role(code string) *resolve.RoleAnswer {
	for i := range t.d.Roles {
		if t.d.Roles[i].Role == code {
			return &t.d.Roles[i]
		}
	}
	return nil
}

func (t *decisionPage) roleHead(r *resolve.RoleAnswer, code string, need catalog.Need) []span {
	name, also := capitalWord(plainCode(code)), []string{}
	if r != nil && r.Name != "" {
		name = capitalWord(r.Name)
	}
	if need != "" {
		also = append(also, string(need))
	}
	if r != nil && r.OneTime {
		also = append(also, "used once, always new")
	}
	ss := []span{say(name).in(strong)}
	if len(also) > 0 {
		ss = append(ss, say(" ("+strings.Join(also, "; ")+")"))
	}
	return ss
}

// choices finds the alternatives of a line.
func choices(r *resolve.RoleAnswer, position string) []resolve.Choice {
	if r == nil {
		return nil
	}
	for _, l := range r.Lines {
		if l.Position == position {
			return l.Choices
		}
	}
	return nil
}

func (t *decisionPage) safeLine(r *resolve.RoleAnswer, l resolve.OrderLine) {
	alternatives := choices(r, l.Position)
	stated := catalog.PartNo("")
	if len(alternatives) > 0 && alternatives[0].Steps > 0 {
		stated = alternatives[0].Stated
	}
	t.items(4, l.Position, l.Items, l.Companions, stated)
	if len(alternatives) > 0 {
		t.proof(6, alternatives[0].Trail)
	}
	for i, c := range alternatives {
		if i == 0 {
			continue
		}
		t.put(4, 4, say("or "+choiceText(c)))
		if !c.Buyable {
			t.put(6, 2, say("not sold any more").in(muted))
		}
		for _, it := range c.Items {
			t.partNotes(6, it.Part)
		}
		t.proof(6, c.Trail)
	}
}

// items writes numbers to buy and what comes along with them.
func (t *decisionPage) items(indent int, position string, items, companions []resolve.Item, stated catalog.PartNo) {
	for i, it := range items {
		ss := []span{}
		switch {
		case i > 0:
			ss = append(ss, say("with "))
		case position != "":
			ss = append(ss, say(position+": "))
		}
		ss = append(ss, say(quantity(it)+glued(string(it.Part))).in(strong), say(tail(" ", it.Name)))
		if it.Origin == catalog.OriginAftermarket {
			ss = append(ss, say(" (aftermarket)"))
		}
		t.put(indent, 4, ss...)
		if it.Look != "" {
			t.put(indent+2, 2, say("looks like: "+it.Look).in(muted))
		}
		t.partNotes(indent+2, it.Part)
	}
	if stated != "" {
		t.put(indent+2, 2, sayf("in the place of %s", glued(string(stated))))
	}
	for _, c := range companions {
		also := ", must come along"
		if r := t.lineOf(c.Part); r != "" {
			also += "; it is the one under " + r + ", order it once"
		}
		t.put(indent, 4, say("+ "), say(quantity(c)+glued(string(c.Part))).in(strong), say(tail(" ", c.Name)+also))
		t.partNotes(indent+2, c.Part)
	}
}

// lineOf names the role for which a part stands on a line of its own among what
// is safe to order, "" for none.
func (t *decisionPage) lineOf(part catalog.PartNo) string {
	for _, l := range t.d.SafeToOrder {
		for _, it := range l.Items {
			if it.Part.Key() == part.Key() {
				return t.roleName(l.Role)
			}
		}
	}
	return ""
}

func quantity(it resolve.Item) string {
	switch {
	case it.Litres.Known:
		return it.Litres.String() + string(glue) + "l" + string(glue) + "of" + string(glue)
	case it.Qty > 0:
		return strconv.Itoa(it.Qty) + string(glue) + "×" + string(glue)
	}
	return ""
}

// choiceText names a choice on one line.
func choiceText(c resolve.Choice) string {
	parts := make([]string, 0, len(c.Items)+len(c.Companions))
	for _, it := range c.Items {
		s := quantity(it) + glued(string(it.Part)) + tail(" ", it.Name)
		if it.Origin == catalog.OriginAftermarket {
			s += " (aftermarket)"
		}
		parts = append(parts, s)
	}
	s := strings.Join(parts, " and ")
	if len(c.Items) == 0 {
		s = glued(string(c.Stated))
	}
	for _, it := range c.Companions {
		s += " + " + quantity(it) + glued(string(it.Part))
	}
	return s
}

// groupHeld puts together the held lines that are held and released alike, in
// the order in which they come.
func groupHeld(held []resolve.HeldLine) [][]resolve.HeldLine {
	var out [][]resolve.HeldLine
	at := map[string]int{}
	for _, h := range held {
		k := sentences(tellers(h.Why)) + "\x00" + sentences(h.Release)
		i, ok := at[k]
		if !ok {
			i = len(out)
			at[k] = i
			out = append(out, nil)
		}
		out[i] = append(out[i], h)
	}
	return out
}

// tellers leaves out of the reasons for holding a line what a person knows
// already from the rest of the page: that it is not settled, that an assembly
// is assumed as built, and the statements that stand in the proof.
func tellers(rs []resolve.Reason) []resolve.Reason {
	conditional := slices.ContainsFunc(rs, func(r resolve.Reason) bool { return r.Code == resolve.ReasonConditionOpen })
	out := slices.DeleteFunc(slices.Clone(rs), func(r resolve.Reason) bool {
		switch r.Code {
		case resolve.ReasonDiffer:
			return conditional // the condition says what makes the difference
		case resolve.ReasonNotSettled, resolve.ReasonAsBuilt, resolve.ReasonStatedAgainst, resolve.ReasonStated, resolve.ReasonAllAgree:
			return true
		}
		return false
	})
	if len(out) == 0 {
		return rs
	}
	return out
}

// sentences says reasons one after the other, each once.
func sentences(rs []resolve.Reason) string {
	var out []string
	for _, r := range rs {
		s := capital(Sentence(r))
		if !slices.Contains(out, s) {
			out = append(out, s)
		}
	}
	return strings.Join(out, " ")
}

// heldLines writes lines that are held for the same reason; those that have
// nothing to show but their name stand together, and together is then true.
func (t *decisionPage) heldLines(g []resolve.HeldLine) (together bool) {
	var bare []string
	for _, h := range g {
		if r := t.role(h.Role); r == nil || len(r.Lines) == 0 && len(r.Groups) == 0 {
			name := plainCode(h.Role)
			if r != nil && r.Name != "" {
				name = r.Name
			}
			bare = append(bare, name)
		}
	}
	if len(bare) == len(g) && len(g) > 2 {
		t.put(2, 2, say(capitalWord(strings.Join(bare, ", "))).in(strong))
		return true
	}
	for _, h := range g {
		t.heldLine(h)
	}
	return false
}

// heldTogether says for which lines the reasons below hold, where these are more
// than the one that stands right above.
func (t *decisionPage) heldTogether(g []resolve.HeldLine) {
	var names []string
	for _, h := range g {
		name := t.roleName(h.Role)
		if h.Position != "" {
			name += " (" + h.Position + ")"
		}
		if !slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	if len(names) > 1 {
		t.put(2, 2, sayf("For these %d: %s", len(names), allOf(names)).in(strong))
	}
}

func (t *decisionPage) heldLine(h resolve.HeldLine) {
	r := t.role(h.Role)
	t.put(2, 4, t.roleHead(r, h.Role, h.Need)...)
	if r == nil {
		return
	}
	t.proof(4, r.Reasons)
	if r.Verdict == resolve.Fits {
		for _, l := range r.Lines {
			if l.Position != h.Position || len(l.Choices) == 0 {
				continue
			}
			for i, c := range l.Choices {
				word := "or "
				if i == 0 {
					word = tail("", l.Position)
					if word != "" {
						word += ": "
					}
				}
				t.put(4, 4, say(word+choiceText(c)))
				if !c.Buyable {
					t.put(6, 2, say("not sold any more").in(muted))
				}
				for _, it := range c.Items {
					t.partNotes(6, it.Part)
				}
				t.proof(6, c.Trail)
			}
		}
		return
	}
	if t.said[h.Role] {
		return
	}
	t.said[h.Role] = true
	for _, g := range r.Groups {
		t.group(g)
	}
}

// group writes one outcome that is still possible, and for which units.
func (t *decisionPage) group(g resolve.Group) {
	who := members(g.Members, g.Total)
	switch g.Outcome {
	case resolve.OutcomeNoStatement:
		t.put(4, 4, say(who+": ").in(strong), say("the catalogue says nothing"))
		return
	case resolve.OutcomeDoesNotFit:
		t.put(4, 4, say(who+": ").in(strong), say("takes "+nothing(g.Nothing)))
		return
	}
	t.put(4, 4, say(who+": ").in(strong))
	for _, l := range g.Lines {
		for i, c := range l.Choices {
			word := "or "
			if i == 0 {
				word = ""
				if l.Position != "" {
					word = l.Position + ": "
				}
			}
			t.put(6, 4, say(word+choiceText(c)))
			t.proof(8, c.Trail)
		}
	}
}

// members names candidates with the conditions under which they are meant.
func members(ms []resolve.Member, total int) string {
	const most = 6
	var out []string
	for _, m := range ms[:min(len(ms), most)] {
		s := glued(string(m.Variant))
		for i, w := range m.When {
			if i == 0 {
				s += " with "
			} else {
				s += " and "
			}
			s += condition(w)
		}
		out = append(out, s)
	}
	if more := total - len(out); more > 0 {
		out = append(out, strconv.Itoa(more)+" more")
	}
	return strings.Join(out, ", ")
}

func condition(w resolve.When) string {
	switch w.Kind {
	case resolve.StatementSerial:
		return "serial number" + between(w.From, w.To)
	case resolve.StatementBuilt:
		return "build date" + between(w.From, w.To)
	}
	if w.Value == "" {
		return "any other " + plainCode(w.Mark)
	}
	return plainCode(w.Mark) + " " + w.Value
}

func between(from, to string) string {
	switch {
	case from != "" && from == to:
		return " " + from
	case from != "" && to != "":
		return " " + from + " to " + to
	case from != "":
		return " " + from + " or later"
	case to != "":
		return " " + to + " or earlier"
	}
	return " of any value"
}

func (t *decisionPage) roleNames(roles []string) string {
	names := make([]string, len(roles))
	for i, r := range roles {
		names[i] = t.roleName(r)
	}
	return strings.Join(names, ", ")
}

func (t *decisionPage) cautionText(code string) string {
	for _, c := range t.d.Cautions {
		if catalog.Fold(c.Caution) == catalog.Fold(code) {
			return c.Text
		}
	}
	return plainCode(code)
}

func (t *decisionPage) cautions() {
	if len(t.d.Cautions) == 0 || t.unknown() && len(t.d.Question.Work) == 0 {
		return // nothing is known of the unit and no work is named
	}
	t.head(warn, "CAUTIONS")
	for _, c := range t.d.Cautions {
		t.put(2, 2, say("! ").in(warn), say(capital(c.Text)+" "+capital(c.Defer)))
	}
}

func noteWords(n resolve.Note) string {
	kind := ""
	switch n.Kind {
	case catalog.NoteCaution:
		kind = "caution: "
	case catalog.NoteFitted:
		kind = "fitted well: "
	case catalog.NoteDidNotFit:
		kind = "did not fit: "
	case catalog.NoteAlias:
		kind = "stands for this part: "
		if n.ShopNote != nil {
			kind = "stands for " + glued(string(n.Part)) + tail(": ", n.Text)
			return kind + noteSource(n)
		}
	case catalog.NoteCorrection:
		return correctionWords(n) + noteSource(n)
	}
	return kind + n.Text + noteSource(n)
}

// correctionWords says what a correction corrects and what became of it.
func correctionWords(n resolve.Note) string {
	if n.ShopNote == nil || n.Correction == nil {
		return n.Text
	}
	c := n.Correction
	s := c.Column + " of " + c.Table + " " + c.Name() + " should read " + quoted(c.After) + ", not " + quoted(c.Before)
	switch n.Applies {
	case catalog.CorrectionNow:
		s += "; now in the catalogue"
	case catalog.CorrectionPassed:
		s += "; no longer applies, the catalogue says " + quoted(n.Now)
	default:
		if n.State == catalog.NoteConfirmed {
			s = c.Column + " of " + c.Table + " " + c.Name() + " is taken as " + quoted(c.After) + ", not as " + quoted(c.Before) + " of the catalogue"
		} else {
			s += "; not used while nobody has confirmed it"
		}
	}
	return s + tail(": ", n.Text)
}

// noteSource says who noted something, when, and what it rests on.
func noteSource(n resolve.Note) string {
	s := " (" + n.Author
	if n.Dated != "" {
		s += ", " + n.Dated
	}
	if n.Evidence != "" {
		s += "; " + n.Evidence
	}
	if n.ShopNote != nil {
		if n.Unsettled {
			s += "; edited in two ways, see: platewright note settle " + n.Note
		} else {
			s += "; " + n.Note
		}
	}
	return s + ")"
}

// partNotes writes the shop's notes on a part where the part stands. Confirmed
// warnings stand at the top already.
func (t *decisionPage) partNotes(indent int, part catalog.PartNo) {
	for _, n := range t.d.Notes {
		if n.On != catalog.NoteOnPart || catalog.Fold(n.Of) != part.Key() {
			continue
		}
		if confirmedWarning(n) {
			t.put(indent, 2, say("! confirmed note, see WARNINGS").in(warn))
			continue
		}
		t.put(indent, 2, sayf("note (%s): ", n.State).in(strong), say(noteWords(n)))
	}
}

// notes writes the notes that speak of something else than a part shown above.
func (t *decisionPage) notes() {
	first := true
	for _, n := range t.d.Notes {
		if confirmedWarning(n) || corrects(n) || n.On == catalog.NoteOnPart && t.shows(n.Of) {
			continue
		}
		if first {
			t.head(strong, "NOTES OF THE SHOP")
			first = false
		}
		t.put(2, 2, sayf("%s %s (%s): ", n.On, glued(noteOf(n)), n.State).in(strong), say(noteWords(n)))
	}
}

// shows tells whether the text names the part on a line of its own, with its
// notes below.
func (t *decisionPage) shows(part string) bool {
	key := catalog.Fold(part)
	has := func(items []resolve.Item) bool {
		return slices.ContainsFunc(items, func(it resolve.Item) bool { return it.Part.Key() == key })
	}
	for _, l := range t.d.SafeToOrder {
		if has(l.Items) || has(l.Companions) {
			return true
		}
		for _, c := range choices(t.role(l.Role), l.Position) {
			if has(c.Items) {
				return true
			}
		}
	}
	for _, h := range t.d.Held {
		if r := t.role(h.Role); r != nil && r.Verdict == resolve.Fits {
			for _, l := range r.Lines {
				for _, c := range l.Choices {
					if l.Position == h.Position && has(c.Items) {
						return true
					}
				}
			}
		}
	}
	return false
}

// excluded says, as part of the proof, which variants a mark took out.
func (t *decisionPage) excluded() {
	if !t.why {
		return
	}
	first := true
	for _, a := range t.d.Assemblies {
		for _, r := range a.Excluded {
			if first {
				t.head(strong, "TAKEN OUT")
				first = false
			}
			t.put(2, 2, say(glued(string(r.Variant))+": "+proofLine(r)).in(muted))
		}
	}
}

// foot names the edition and the sources.
func (t *decisionPage) foot() {
	t.gap()
	s := "Catalogue: " + edition(t.d.Edition) + "."
	if len(t.sources) > 0 {
		s += " Sources: " + strings.Join(t.sources, ", ") + "."
	}
	t.put(0, 2, say(s).in(muted))
}

func edition(e resolve.Edition) string {
	if e.Number == 0 {
		return e.Name
	}
	return e.Name + ", edition " + strconv.Itoa(e.Number)
}
