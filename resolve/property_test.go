package resolve_test

import (
	"cmp"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"

	gocmp "github.com/google/go-cmp/cmp"
	"github.com/shopspring/decimal"
	"pgregory.net/rapid"

	"platewright/catalog"
	"platewright/catalog/catalogtest"
	"platewright/catalog/memory"
	"platewright/resolve"
)

// The properties below hold for every catalogue and question. They are tried on
// small random worlds: three assemblies that follow one another, a handful of
// variants in two families, marks of every kind, statements with every sort of
// condition, replacements, companions and notes.

// drawn is a random world with its text, for the report of a failure.
type drawn struct {
	text string
	cat  *memory.Catalogue
}

var (
	codes = []string{"AA", "AB", "BA", "BB", "AC"}
	parts = []string{"P1", "P2", "P3", "P4", "P5", "P6"}
)

func drawWorld(t *rapid.T) drawn {
	var b strings.Builder
	table := func(name, heading string) { fmt.Fprintf(&b, "-- %s.csv --\n%s\n", name, heading) }
	row := func(cells ...any) {
		for i, c := range cells {
			if i > 0 {
				b.WriteByte(',')
			}
			fmt.Fprint(&b, c)
		}
		b.WriteByte('\n')
	}
	pick := func(name string, of ...string) string { return rapid.SampledFrom(of).Draw(t, name) }
	maybe := func(name string) bool { return rapid.Bool().Draw(t, name) }
	some := func(name string, most int) int { return rapid.IntRange(0, most).Draw(t, name) }

	table("assemblies", "assembly,follows")
	row("case", "")
	row("body", "case")
	row("module", pick("module follows", "case", "body"))
	assembly := func(name string) string { return pick(name, "case", "body", "module") }

	table("layouts", "layout,assembly")
	row("plate", "case")
	row("blabel", "body")
	row("mlabel", "module")
	table("fields", "layout,field,kind,min,max,optional,means")
	row("plate", "type", "letters", 2, 2, "", "variant")
	row("plate", "serial", "digits", 2, 2, "yes", "serial")
	row("blabel", "code", "digits", 1, 1, "", "variant")
	row("blabel", "serial", "digits", 2, 2, "yes", "serial")
	row("mlabel", "code", "digits", 4, 4, "", "variant")

	n := rapid.IntRange(2, len(codes)).Draw(t, "variants")
	vs := codes[:n]
	table("variants", "variant,family,count,serial_from,serial_to,built_from,built_to")
	families := []string{"F"}
	for i, v := range vs {
		family := "F"
		if i > 0 && maybe("other family") {
			family, families = "G", []string{"F", "G"}
		}
		from, to, bfrom := "", "", ""
		if maybe("range") {
			from = pick("from", "", "20")
			to = pick("to", "", "60")
			bfrom = pick("built from", "", "2016")
		}
		row(v, family, pick("count", "", "10", "40"), from, to, bfrom, "")
	}
	table("plates", "layout,plate,variant")
	listed := map[string]bool{}
	for range some("plates", 5) {
		layout, text := "blabel", pick("text", "1", "2", "3")
		if maybe("module's") {
			layout, text = "mlabel", "100"+text
		}
		v := pick("names", vs...)
		if k := layout + text + v; !listed[k] {
			listed[k] = true
			row(layout, text, v)
		}
	}
	table("marks", "mark,assembly,kind,force,unit,tolerance,effort,wears,site")
	row("plug", assembly("plug on"), "seen", "deciding", "", "", 3, "", "")
	row("pins", assembly("pins on"), "counted", "deciding", "", "", 4, "", "")
	coilOn := assembly("coil on")
	row("coil", coilOn, "measured", "deciding", "ohm", "0.1", 6, "", pick("coil at", "", "L1"))
	row("tube", assembly("tube on"), "measured", "deciding", "mm", "0.1", 5, pick("tube wears", "", "shorter"), "")
	row("caps", assembly("caps on"), "seen", "hinting", "", "", 1, "", "")
	table("shows", "scope,of,mark,value,tolerance")
	shown := map[string]bool{}
	for range some("shows", 9) {
		scope, of := "variant", pick("of", vs...)
		if maybe("family's") {
			scope, of = "family", pick("family", families...)
		}
		mark := pick("mark", "plug", "pins", "coil", "caps", "tube")
		value, tol := pick("value", markValues[mark]...), ""
		if mark == "coil" || mark == "tube" {
			tol = pick("tolerance", "", "0.2")
		}
		if k := of + mark + value; !shown[k] {
			shown[k] = true
			row(scope, of, mark, value, tol)
		}
	}
	table("roles", "role,assembly,kind")
	row("gasket", "case", "part")
	row("seal", "body", "part")
	setOf := assembly("set of")
	row("set", setOf, "part")
	row("fluid", "case", "fluid")
	// One name of a site or seal is of one assembly.
	roleOn := map[string][]string{"case": {"gasket"}, "body": {"seal"}}
	roleOn[setOf] = append(roleOn[setOf], "set")
	if roleOn[coilOn] == nil {
		coilOn = "body"
	}
	benchRows := func(name string, least int, put func(scope, of string)) {
		had := map[string]bool{}
		for range least + some(name, 3) {
			scope, of := "variant", pick("of", vs...)
			if maybe("family's") {
				scope, of = "family", pick("family", families...)
			}
			if !had[of] {
				had[of] = true
				put(scope, of)
			}
		}
	}
	table("sites", "scope,of,site,role,ohm,tolerance,temp")
	for _, site := range []string{"L1", "L2"} {
		role := pick("coil of", roleOn[coilOn]...)
		benchRows(site, 1, func(scope, of string) {
			row(scope, of, site, role, pick("ohm", "5", "5.4", "10"), pick("tolerance", "0.2", "0.5"), pick("temp", "20", "20", "40"))
		})
	}
	table("seals", "scope,of,seal,role,length,tolerance,least,fitted,qty")
	role := pick("cup of", roleOn["body"]...)
	benchRows("cup", 1, func(scope, of string) {
		row(scope, of, "cup", role, pick("length", "26", "31.5", "40"), pick("tolerance", "", "0.2"), pick("least", "", "25.2"), pick("fitted", "", "24"), 1)
	})
	table("parts", "part,status,kind")
	for _, p := range parts {
		row(p, pick("status", "sold", "sold", "ended"), "single")
	}
	row("F1", pick("status", "sold", "ended"), "fluid")
	row("F2", "sold", "fluid")
	table("supersessions", "old,new,kind,qty")
	for i, old := range parts[:len(parts)-2] {
		next := func(name string) string { return parts[rapid.IntRange(i+1, len(parts)-1).Draw(t, name)] }
		switch kind := pick("replaced", "", "", "one-way", "two-way", "split"); kind {
		case "":
		case "split":
			a, z := next("new"), next("other")
			if a != z {
				row(old, a, kind, 2)
				row(old, z, kind, 1)
			}
		default:
			row(old, next("new"), kind, 1)
		}
	}
	table("companions", "part,companion,replacing,qty,per")
	demanded := map[string]bool{}
	for range some("companions", 3) {
		p, c, r := pick("of", parts...), pick("companion", parts...), pick("replacing", "", parts[0], parts[1])
		if k := p + c + r; p != c && !demanded[k] {
			demanded[k] = true
			row(p, c, r, rapid.IntRange(1, 2).Draw(t, "qty"), pick("per", "part", "job"))
		}
	}
	table("specs", "spec")
	row("M")
	row("N")
	table("serves", "spec,served_by")
	row("M", "N")
	table("meets", "spec,fluid,claim")
	row("M", "F1", "claimed")
	row("N", "F2", "approved")
	table("sheets", "fluid,property,value")
	row("F1", "pour-point", pick("pour point", "-40", "-30"))
	table("limits", "spec,property,least,most")
	if maybe("limit") {
		row("M", "pour-point", "", "-35")
	}
	table("fills", "scope,of,role,spec,refill,dry")
	row("family", "F", "fluid", pick("spec", "M", "N"), "4", "7")
	if maybe("own fill") {
		row("variant", pick("of", vs...), "fluid", pick("spec", "M", "N"), "4", "")
	}
	table("fits", "scope,of,role,effect,part,position,qty,rank,serial_from,serial_to,built_from,built_to,when")
	for range some("fits", 10) {
		scope, of := "variant", pick("of", vs...)
		switch pick("scope", "variant", "family", "mark") {
		case "family":
			scope, of = "family", pick("family", families...)
		case "mark":
			mark := pick("mark", "plug", "pins")
			scope, of = "mark", mark+"="+pick("value", markValues[mark]...)
		}
		role := pick("role", "gasket", "gasket", "seal", "set", "fluid")
		effect, part := "fits", pick("part", parts...)
		position, qty, rank := pick("position", "", "", "left"), "1", pick("rank", "0", "1", "2")
		if role == "fluid" {
			part = pick("fluid", "F1", "F2")
		}
		if role == "fluid" || maybe("maybe against") && maybe("against") {
			effect, position, qty, rank = "does-not-fit", "", "", ""
			if maybe("takes none") && maybe("none") {
				part = ""
			}
		}
		sfrom, sto, bfrom, bto, when := "", "", "", "", ""
		switch pick("condition", "", "", "serial from", "serial to", "built from", "built to", "when") {
		case "serial from":
			sfrom = pick("from", "30", "50")
		case "serial to":
			sto = pick("to", "29", "49")
		case "built from":
			bfrom = "2018-07"
		case "built to":
			bto = "2018-06"
		case "when":
			mark := pick("mark", "plug", "pins")
			when = mark + "=" + pick("value", markValues[mark]...)
		}
		row(scope, of, role, effect, part, position, qty, rank, sfrom, sto, bfrom, bto, when)
	}
	table("work_roles", "work,role,need,why")
	row("reseal", "gasket", "required", "pressed flat")
	row("reseal", "seal", "recommended", "hard")
	row("renew", "set", "required", "worn")
	row("renew", "seal", "recommended", "moved")
	row("drain", "fluid", "required", "old")
	table("work", "work,fill")
	row("reseal", "none")
	row("renew", "refill")
	row("drain", "dry")
	table("notes", "of,kind,family,state,confirmed")
	for range some("notes", 2) {
		row(pick("of", parts...), "did-not-fit", pick("family", append(families, "")...), "confirmed", "bench 2")
	}

	w, err := catalogtest.ParseWorld([]byte(b.String()))
	if err != nil {
		t.Fatalf("%v\n%s", err, b.String())
	}
	w.Catalogue.Check(func(f catalog.Finding) { t.Fatalf("%s\n%s", f, b.String()) })
	return drawn{b.String(), w.Catalogue}
}

var markValues = map[string][]string{
	"plug": {"round", "oval"},
	"pins": {"12", "16"},
	"coil": {"5", "5.4", "10"},
	"caps": {"green", "grey"},
	"tube": {"26", "30", "31.5"},
	"L1":   {"5", "5.4", "10", "7", "10.786 at 40 °C", "5.5"},
	"L2":   {"5", "5.6", "10", "6.2 at 40 °C"},
	"cup":  {"26", "25", "30", "31.5", "39", "23", "20", "44"},
}

func drawMark(t *rapid.T, marks ...string) resolve.Observation {
	m := rapid.SampledFrom(marks).Draw(t, "seen mark")
	return resolve.Observation{Mark: m, Value: rapid.SampledFrom(markValues[m]).Draw(t, "seen value")}
}

func drawQuestion(t *rapid.T) resolve.Question {
	var q resolve.Question
	label := func() string {
		return rapid.SampledFrom([]string{"1", "2", "3", "?", "[12]", "1 25", "2 55", "1001", "1002", "100?", "9", "XX"}).Draw(t, "label")
	}
	if rapid.IntRange(0, 4).Draw(t, "has plate") > 0 {
		q.Plate = rapid.SampledFrom([]string{"AA", "AB", "A?", "?A", "??", "[AB]B", "CC", "AA 25", "?? 45", "A? 7?", "?? ??"}).Draw(t, "plate")
	}
	for range rapid.IntRange(0, 2).Draw(t, "labels") {
		q.Labels = append(q.Labels, label())
	}
	if q.Plate == "" && len(q.Labels) == 0 {
		q.Labels = []string{label()}
	}
	for _, m := range []string{"plug", "pins", "coil", "caps", "tube", "L1", "cup"} {
		if rapid.IntRange(0, 3).Draw(t, "sees "+m) == 0 {
			q.Saw = append(q.Saw, drawMark(t, m))
		}
	}
	if rapid.IntRange(0, 3).Draw(t, "has serial") == 0 {
		q.Serial = rapid.SampledFrom([]catalog.Serial{10, 25, 40, 70}).Draw(t, "serial")
	}
	if rapid.IntRange(0, 3).Draw(t, "has date") == 0 {
		q.Built, _ = catalog.ParseDate(rapid.SampledFrom([]string{"2015", "2018", "2018-06", "2018-07-01"}).Draw(t, "built"))
	}
	if c := (q.Plate + "?")[0]; c != '?' && c != '[' {
		q.Doubt = rapid.SampledFrom([][]string{nil, nil, nil, {"1"}, {"slip"}, {"1", "slip"}}).Draw(t, "in doubt")
	}
	q.Work = rapid.SampledFrom([][]string{nil, {"reseal"}, {"renew", "reseal"}, {"drain", "renew", "reseal"}}).Draw(t, "work")
	return q
}

func decide(t *rapid.T, w drawn, q resolve.Question) *resolve.Decision {
	t.Helper()
	d, err := resolve.New(w.cat, resolve.Edition{Name: "drawn"}).Decide(q, resolve.Options{})
	if err != nil {
		t.Fatalf("%+v: %v\n%s", q, err, w.text)
	}
	return d
}

func inJSON(t *rapid.T, d *resolve.Decision) string {
	t.Helper()
	b, err := json.MarshalIndent(d, "", " ")
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// questions draws a world and calls test with several questions about it.
func questions(t *testing.T, test func(t *rapid.T, w drawn, q resolve.Question)) {
	t.Helper()
	rapid.Check(t, func(t *rapid.T) {
		w := drawWorld(t)
		for range 4 {
			test(t, w, drawQuestion(t))
		}
	})
}

// TestEqualQuestions holds that equal questions give equal answers down to the
// bytes, from a fresh resolver, from one that has been asked before, and from
// the same once more.
func TestEqualQuestions(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := drawWorld(t)
		used := resolve.New(w.cat, resolve.Edition{Name: "drawn"})
		var asked []resolve.Question
		var answers []string
		for range 5 {
			q := drawQuestion(t)
			asked = append(asked, q)
			answers = append(answers, inJSON(t, decide(t, w, q)))
		}
		for _, i := range []int{0, 1, 2, 3, 4, 3, 0} {
			for _, o := range []resolve.Options{{NoLookAlikes: true, NoNextCheck: true, NoNear: true}, {}} {
				d, err := used.Decide(asked[i], o)
				if err != nil {
					t.Fatal(err)
				}
				if got := inJSON(t, d); o == (resolve.Options{}) && got != answers[i] {
					t.Fatalf("%+v: a resolver that was asked before answers otherwise: %s\n%s", asked[i], gocmp.Diff(answers[i], got), w.text)
				}
			}
		}
	})
}

// TestRoundTrip holds that a decision comes back from its JSON.
func TestRoundTrip(t *testing.T) {
	questions(t, func(t *rapid.T, w drawn, q resolve.Question) {
		before := inJSON(t, decide(t, w, q))
		var d resolve.Decision
		if err := json.Unmarshal([]byte(before), &d); err != nil {
			t.Fatal(err)
		}
		if after := inJSON(t, &d); after != before {
			t.Fatalf("%s", gocmp.Diff(before, after))
		}
		if strings.Contains(before, ": null") {
			for line := range strings.Lines(before) {
				if k := strings.TrimSpace(line); strings.Contains(k, ": null") && !slices.Contains([]string{`"figures"`, `"mixed"`, `"nextCheck"`, `"plan"`, `"ruledOut"`}, strings.SplitN(k, ":", 2)[0]) {
					t.Fatalf("%+v: null in the JSON: %s", q, k)
				}
			}
		}
	})
}

// TestOrderOfEvidence holds that the order in which observations, labels and
// scopes of work are given changes nothing, apart from the order in which the
// answer repeats the labels themselves.
func TestOrderOfEvidence(t *testing.T) {
	questions(t, func(t *rapid.T, w drawn, q resolve.Question) {
		p := q
		p.Saw = rapid.Permutation(q.Saw).Draw(t, "other order of what was seen")
		p.Labels = rapid.Permutation(q.Labels).Draw(t, "other order of labels")
		p.Work = rapid.Permutation(q.Work).Draw(t, "other order of work")
		a, b := decide(t, w, q), decide(t, w, p)
		for _, d := range []*resolve.Decision{a, b} {
			d.Question = resolve.Question{}
			slices.SortFunc(d.Reading, func(a, b resolve.Reading) int { return cmp.Compare(a.Text, b.Text) })
			for _, c := range d.Conflicts {
				slices.SortFunc(c.Statements, compareStatements)
			}
			slices.SortFunc(d.Conflicts, func(a, b resolve.Conflict) int {
				return cmp.Or(cmp.Compare(a.Assembly, b.Assembly), slices.CompareFunc(a.Statements, b.Statements, compareStatements))
			})
		}
		if x, y := inJSON(t, a), inJSON(t, b); x != y {
			t.Fatalf("%+v and in another order %+v: %s\n%s", q, p, gocmp.Diff(x, y), w.text)
		}
	})
}

func compareStatements(a, b resolve.Statement) int {
	return cmp.Or(cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.Mark, b.Mark), cmp.Compare(a.Text, b.Text))
}

func candidatesOf(d *resolve.Decision, assembly string) []string {
	var out []string
	for _, as := range d.Assemblies {
		if as.Assembly == assembly {
			for _, c := range as.Candidates {
				out = append(out, string(c.Variant))
			}
		}
	}
	slices.Sort(out)
	return out
}

// TestMoreEvidence holds that adding evidence never adds candidates to an
// assembly. C8 states the exception: an assembly that follows another and shares
// no variant with it, or follows one without candidates, is what its own evidence
// says, no longer what it was assumed to be. And where no reading of an assembly
// names variants, another reading can name further families for its universe
// (C6).
func TestMoreEvidence(t *testing.T) {
	seen := map[string]int{}
	questions(t, func(t *rapid.T, w drawn, q resolve.Question) {
		more := q
		kind := rapid.SampledFrom([]string{"mark", "label", "serial", "built"}).Draw(t, "more")
		switch kind {
		case "mark":
			o := drawMark(t, "plug", "pins", "coil", "tube", "L1", "L2", "cup")
			if slices.ContainsFunc(q.Saw, func(s resolve.Observation) bool { return s.Mark == o.Mark }) {
				return
			}
			more.Saw = append(slices.Clone(q.Saw), o)
		case "label":
			more.Labels = append(slices.Clone(q.Labels), rapid.SampledFrom([]string{"1", "2", "1001", "1002", "9"}).Draw(t, "further label"))
		case "serial":
			if q.Serial != 0 {
				return
			}
			more.Serial = 25
		case "built":
			if q.Built != 0 {
				return
			}
			more.Built, _ = catalog.ParseDate("2018-06")
		}
		before, after := decide(t, w, q), decide(t, w, more)
		apart := map[string]bool{}
		if after.Mixed != nil {
			for _, p := range after.Mixed.Parts[1:] {
				apart[p.Assembly] = true
			}
		}
		follows := map[string]string{}
		for r := range w.cat.Rows(catalog.TAssemblies) {
			a := r.(*catalog.Assembly)
			follows[a.Assembly] = a.Follows
		}
		for _, as := range before.Assemblies {
			excused := ""
			for a := as.Assembly; follows[a] != ""; a = follows[a] {
				if apart[a] || len(candidatesOf(after, follows[a])) == 0 {
					excused = "C8"
				}
			}
			read := slices.ContainsFunc(before.Reading, func(r resolve.Reading) bool { return r.Assembly == as.Assembly })
			if kind == "label" && !read {
				excused = "C6"
			}
			if kind == "label" && follows[as.Assembly] != "" && !slices.ContainsFunc(before.Reading, func(r resolve.Reading) bool { return r.Assembly == "case" }) {
				excused = "C6" // the case above it has no reading
			}
			had, have := candidatesOf(before, as.Assembly), candidatesOf(after, as.Assembly)
			for _, v := range have {
				if !slices.Contains(had, v) {
					if excused == "" {
						t.Fatalf("%+v and then %+v: the %s could be %v and now %v\n%s", q, more, as.Assembly, had, have, w.text)
					}
					seen[excused]++
				}
			}
			if len(have) < len(had) {
				seen["fewer"]++
			}
		}
	})
	if seen["fewer"] == 0 {
		t.Errorf("the property was not put to the test: %v", seen)
	}
}

// TestHintsDecideNothing holds that a hinting mark changes no verdict, no line
// and no candidate, only their order.
func TestHintsDecideNothing(t *testing.T) {
	questions(t, func(t *rapid.T, w drawn, q resolve.Question) {
		q.Saw = slices.DeleteFunc(slices.Clone(q.Saw), func(o resolve.Observation) bool { return o.Mark == "caps" })
		hinted := q
		hinted.Saw = append(slices.Clone(q.Saw), drawMark(t, "caps"))
		a, b := decide(t, w, q), decide(t, w, hinted)
		for _, d := range []*resolve.Decision{a, b} {
			d.Question, d.Observations = resolve.Question{}, nil
			for i := range d.Assemblies {
				for j := range d.Assemblies[i].Candidates {
					d.Assemblies[i].Candidates[j].Hints = 0
				}
				slices.SortFunc(d.Assemblies[i].Candidates, func(a, b resolve.Candidate) int { return cmp.Compare(a.Variant, b.Variant) })
			}
		}
		if x, y := inJSON(t, a), inJSON(t, b); x != y {
			t.Fatalf("%+v with %+v: %s\n%s", q, hinted.Saw, gocmp.Diff(x, y), w.text)
		}
	})
}

// TestCandidatesTogether holds that the answer over several candidates is that
// over each of them alone, combined (V1): all do not fit; or all fit with the
// same positions and something in common in each, which then has the largest
// rank and the most steps of all; or not settled.
func TestCandidatesTogether(t *testing.T) {
	settled := 0
	questions(t, func(t *rapid.T, w drawn, q resolve.Question) {
		q.Labels, q.Saw = nil, nil
		q.Plate = rapid.SampledFrom([]string{"??", "A?", "?A", "?? 45"}).Draw(t, "plate of several")
		q.Doubt = nil
		together := decide(t, w, q)
		vs := candidatesOf(together, "case")
		if len(vs) < 2 {
			return
		}
		var alone []*resolve.Decision
		for _, v := range vs {
			p := q
			p.Plate = v + strings.TrimLeft(q.Plate, "AB?")
			d := decide(t, w, p)
			if got := candidatesOf(d, "case"); !slices.Equal(got, []string{v}) {
				t.Fatalf("%s leaves %v\n%s", p.Plate, got, w.text)
			}
			alone = append(alone, d)
		}
		for _, r := range together.Roles {
			var each []resolve.RoleAnswer
			for _, d := range alone {
				i := slices.IndexFunc(d.Roles, func(o resolve.RoleAnswer) bool { return o.Role == r.Role })
				if i < 0 { // not asked of this one: nothing is stated
					each = append(each, resolve.RoleAnswer{})
					continue
				}
				each = append(each, d.Roles[i])
			}
			verdict, lines := combine(each)
			if verdict != resolve.NotSettled {
				settled++
			}
			if got, want := r.Verdict.String()+" "+showLines(r.Lines), verdict.String()+" "+showLines(lines); got != want {
				t.Fatalf("%s of %v: %s, and each alone combined %s\n%s", r.Role, vs, got, want, w.text)
			}
		}
	})
	if settled == 0 {
		t.Error("no role of several candidates was settled")
	}
}

func combine(each []resolve.RoleAnswer) (resolve.Verdict, []resolve.Line) {
	for _, r := range each {
		if r.Verdict != each[0].Verdict || r.Verdict == resolve.NotSettled || len(r.Lines) != len(each[0].Lines) {
			return resolve.NotSettled, nil
		}
	}
	if each[0].Verdict == resolve.DoesNotFit {
		return resolve.DoesNotFit, nil
	}
	var lines []resolve.Line
	for i, first := range each[0].Lines {
		line := resolve.Line{Position: first.Position}
		for _, c := range first.Choices {
			everywhere := true
			for _, r := range each[1:] {
				if r.Lines[i].Position != first.Position {
					return resolve.NotSettled, nil
				}
				j := slices.IndexFunc(r.Lines[i].Choices, func(o resolve.Choice) bool {
					return showItems(o.Items, o.Companions) == showItems(c.Items, c.Companions) && o.Buyable == c.Buyable
				})
				if j < 0 {
					everywhere = false
					break
				}
				c.Rank, c.Steps = max(c.Rank, r.Lines[i].Choices[j].Rank), max(c.Steps, r.Lines[i].Choices[j].Steps)
			}
			if everywhere {
				line.Choices = append(line.Choices, c)
			}
		}
		if len(line.Choices) == 0 {
			return resolve.NotSettled, nil
		}
		// "Choices are ordered": what can be bought, rank, steps, keys.
		slices.SortStableFunc(line.Choices, func(a, b resolve.Choice) int {
			buyable := map[bool]int{true: 0, false: 1}
			return cmp.Or(buyable[a.Buyable]-buyable[b.Buyable], a.Rank-b.Rank, a.Steps-b.Steps, slices.CompareFunc(a.Items, b.Items, func(x, y resolve.Item) int { return cmp.Compare(x.Part, y.Part) }))
		})
		lines = append(lines, line)
	}
	return resolve.Fits, lines
}

// TestConflictsAreSmallest judges every conflict by trying all sets of all
// statements over the variants of the families concerned (C9): what is listed
// cannot all be true, leaves a variant as soon as any one statement is taken
// back, and is in each set that cannot be true.
func TestConflictsAreSmallest(t *testing.T) {
	sizes := map[int]int{}
	questions(t, func(t *rapid.T, w drawn, q resolve.Question) {
		q.Doubt = nil // what doubt allows is for other tests
		for range 2 { // more marks make more conflicts
			if o := drawMark(t, "plug", "pins", "coil", "tube", "L1", "L2", "cup"); !slices.ContainsFunc(q.Saw, func(s resolve.Observation) bool { return s.Mark == o.Mark }) {
				q.Saw = append(q.Saw, o)
			}
		}
		d := decide(t, w, q)
		for _, as := range d.Assemblies {
			if as.Basis != resolve.BasisConflict {
				continue
			}
			statements, base, clash := statementsOf(t, w, q, d, as.Assembly)
			possible := func(set int) bool {
				for _, c := range clash {
					if set&c == c {
						return false
					}
				}
				for _, v := range base {
					ok := true
					for i, s := range statements {
						ok = ok && (set&(1<<i) == 0 || s.allows(v))
					}
					if ok {
						return true
					}
				}
				return false
			}
			var want []string
			for set := 1; set < 1<<len(statements); set++ {
				smallest := !possible(set)
				for i := range statements {
					smallest = smallest && (set&(1<<i) == 0 || possible(set&^(1<<i)))
				}
				if smallest {
					var names []string
					for i, s := range statements {
						if set&(1<<i) != 0 {
							names = append(names, s.name)
						}
					}
					slices.Sort(names)
					want = append(want, strings.Join(names, " + "))
					sizes[len(names)]++
				}
			}
			var got []string
			for _, c := range d.Conflicts {
				if c.Assembly == as.Assembly {
					var names []string
					for _, s := range c.Statements {
						names = append(names, statementName(s.Kind, s.Mark, s.Text))
					}
					slices.Sort(names)
					got = append(got, strings.Join(names, " + "))
				}
			}
			slices.Sort(got)
			slices.Sort(want)
			if !slices.Equal(got, want) {
				t.Fatalf("%+v: the conflicts of the %s are %q, want %q\n%s", q, as.Assembly, got, want, w.text)
			}
			if len(d.SafeToOrder) > 0 {
				t.Fatalf("%+v: something is safe to order in spite of a conflict", q)
			}
		}
	})
	if sizes[1] == 0 || sizes[2] == 0 {
		t.Errorf("the property was not put to the test: %v", sizes)
	}
}

// plainStatement is a statement with what it allows, worked out from the rows.
type plainStatement struct {
	name   string
	allows func(v *catalog.Variant) bool
}

func statementName(kind resolve.StatementKind, mark, text string) string {
	if kind == resolve.StatementBuilt {
		return "built"
	}
	return strings.Join([]string{string(kind), mark, text}, " ")
}

// statementsOf gives the statements about an assembly, the variants over which
// they are judged, and the pairs that contradict each other by themselves.
func statementsOf(t *rapid.T, w drawn, q resolve.Question, d *resolve.Decision, assembly string) (out []plainStatement, base []*catalog.Variant, clash []int) {
	t.Helper()
	variants, families, everywhere := map[string]*catalog.Variant{}, map[string]bool{}, map[string]bool{}
	for r := range w.cat.Rows(catalog.TVariants) {
		v := r.(*catalog.Variant)
		variants[string(v.Variant)] = v
	}
	// What a reading allows is what it leaves when it is all that is known. Of a
	// plate it is read without the serial number, a statement of its own.
	read := func(r resolve.Reading) map[string]bool {
		p := resolve.Question{Labels: []string{r.Text}}
		if r.Assembly == "case" {
			p = resolve.Question{Plate: strings.Fields(q.Plate)[0]}
		}
		allowed := map[string]bool{}
		for _, m := range candidatesOf(decide(t, w, p), r.Assembly) {
			allowed[m] = true
		}
		return allowed
	}
	own := false
	for _, r := range d.Reading {
		own = own || r.Assembly == assembly
	}
	serial, from, to := q.Serial, int32(0), int32(0)
	if q.Built != 0 {
		from, to = q.Built.First(), q.Built.Last()
	}
	var reads []int
	for _, r := range d.Reading {
		allowed := read(r)
		for v := range allowed {
			everywhere[variants[v].Family] = true
		}
		if own == (r.Assembly == assembly) {
			for v := range allowed {
				families[variants[v].Family] = true
			}
		}
		if r.Assembly != assembly {
			continue
		}
		name := statementName(resolve.StatementReading, "", r.Text)
		if i := slices.IndexFunc(out, func(s plainStatement) bool { return s.name == name }); i >= 0 {
			continue // the same text twice says nothing more
		}
		out = append(out, plainStatement{name, func(v *catalog.Variant) bool { return allowed[string(v.Variant)] }})
		if assembly == "case" && len(r.Matches) > 0 && r.Matches[0].Serial != 0 {
			if q.Serial == 0 {
				serial = r.Matches[0].Serial
			} else if q.Serial != r.Matches[0].Serial {
				reads = append(reads, len(out)-1)
			}
		}
	}
	for r := range w.cat.Rows(catalog.TMarks) {
		m := r.(*catalog.Mark)
		for _, o := range q.Saw {
			if o.Mark == m.Mark && m.Assembly == assembly && m.Force == catalog.Deciding && coilMark(w.cat, m.Mark) == nil {
				out = append(out, plainStatement{statementName(resolve.StatementMark, m.Mark, o.Value), func(v *catalog.Variant) bool { return agrees(w.cat, v, m, o.Value) }})
			}
		}
	}
	for _, o := range q.Saw {
		if b := benchStatement(w.cat, o, everywhere); b != nil && b.assembly == assembly {
			out = append(out, plainStatement{statementName(resolve.StatementMark, o.Mark, o.Value), b.allows})
		}
	}
	if assembly == "case" && serial != 0 {
		for _, i := range reads {
			clash = append(clash, 1<<i|1<<len(out))
		}
		out = append(out, plainStatement{statementName(resolve.StatementSerial, "", serial.String()), func(v *catalog.Variant) bool {
			return (v.SerialFrom == 0 || v.SerialFrom <= serial) && (v.SerialTo == 0 || serial <= v.SerialTo)
		}})
	}
	if assembly == "case" && from != 0 {
		out = append(out, plainStatement{"built", func(v *catalog.Variant) bool {
			return (v.BuiltFrom == 0 || v.BuiltFrom.First() <= to) && (v.BuiltTo == 0 || from <= v.BuiltTo.Last())
		}})
	}
	for _, v := range variants {
		if families[v.Family] {
			base = append(base, v)
		}
	}
	return out, base, clash
}

// plainBench is what was measured of a coil or a seal, in plain words.
type plainBench struct {
	assembly string
	allows   func(v *catalog.Variant) bool
}

// benchStatement is C2a to C2c in plain words; nil for what is no evidence and for
// marks. Read are the families that readings leave.
func benchStatement(cat *memory.Catalogue, o resolve.Observation, read map[string]bool) *plainBench {
	name, sited := o.Mark, coilMark(cat, o.Mark)
	if _, mark := map[string]bool{"plug": true, "pins": true, "coil": true, "caps": true, "tube": true}[o.Mark]; mark && sited == nil {
		return nil
	}
	if sited != nil {
		name = sited.Site
	}
	num := func(s string) decimal.Decimal { return decimal.RequireFromString(s) }
	value, temp, _ := strings.Cut(o.Value, " at ")
	found, at := num(value), num(cmp.Or(strings.TrimSuffix(temp, " °C"), "20"))
	copper := func(t decimal.Decimal) decimal.Decimal {
		return num("1").Add(num("0.00393").Mul(t.Sub(num("20"))))
	}
	type row struct {
		scope    catalog.ShowScope
		of, role string
		agrees   bool
		speaks   bool // it keeps what was found from being a fault
	}
	var rows []row
	for r := range cat.Rows(catalog.TSites) {
		if s := r.(*catalog.Site); s.Site == name {
			off := found.Mul(copper(s.Temp.Num)).Sub(s.Ohm.Num.Mul(copper(at))).Abs()
			ok := !off.GreaterThan(s.Tolerance.Num.Mul(copper(at)))
			rows = append(rows, row{s.Scope, s.Of, s.Role, ok, ok})
		}
	}
	for r := range cat.Rows(catalog.TSeals) {
		if s := r.(*catalog.Seal); s.Seal == o.Mark {
			reach := s.Tolerance.Num.Add(num("0.1"))
			least := decimal.Min(s.Length.Num.Mul(num("0.85")), s.Length.Num.Sub(reach))
			if s.Fitted.Known {
				least = s.Fitted.Num.Sub(num("0.1"))
			}
			rows = append(rows, row{s.Scope, s.Of, s.Role, !found.LessThan(least) && !found.GreaterThan(s.Length.Num.Add(reach)), !found.LessThan(least)})
		}
	}
	families := map[string]string{}
	for r := range cat.Rows(catalog.TVariants) {
		v := r.(*catalog.Variant)
		families[string(v.Variant)] = v.Family
	}
	// A mark of the site counts, with both tolerances, where there is no row of the site.
	var shown []row
	if sited != nil {
		has := func(scope catalog.ShowScope, of string) bool {
			return slices.ContainsFunc(rows, func(r row) bool { return r.scope == scope && r.of == of })
		}
		for r := range cat.Rows(catalog.TShows) {
			s := r.(*catalog.Show)
			if s.Mark != o.Mark || has(s.Scope, s.Of) || s.Scope == catalog.OfVariant && has(catalog.OfFamily, families[s.Of]) {
				continue
			}
			off := found.Sub(num(s.Value).Mul(copper(at))).Abs()
			ok := !off.GreaterThan(s.Tolerance.Num.Add(sited.Tolerance.Num).Mul(copper(at)))
			shown = append(shown, row{s.Scope, s.Of, rows[0].role, ok, ok})
		}
	}
	if !slices.ContainsFunc(slices.Concat(rows, shown), func(r row) bool { return r.speaks && (r.scope == catalog.OfFamily || read[families[r.of]]) }) {
		return nil
	}
	out := &plainBench{allows: func(v *catalog.Variant) bool {
		for _, list := range [][]row{rows, shown} {
			for _, of := range []row{{scope: catalog.OfVariant, of: string(v.Variant)}, {scope: catalog.OfFamily, of: v.Family}} {
				some, agree := false, false
				for _, r := range list {
					if r.scope == of.scope && r.of == of.of {
						some, agree = true, agree || r.agrees
					}
				}
				if some {
					return agree
				}
			}
		}
		return true
	}}
	for r := range cat.Rows(catalog.TRoles) {
		if o := r.(*catalog.Role); o.Role == rows[0].role {
			out.assembly = o.Assembly
		}
	}
	return out
}

// coilMark gives the mark of that name if it is the coil at a site that has rows, on
// the assembly of their role (C2a); else nil.
func coilMark(cat *memory.Catalogue, name string) *catalog.Mark {
	for r := range cat.Rows(catalog.TMarks) {
		m := r.(*catalog.Mark)
		if m.Mark != name || m.Site == "" {
			continue
		}
		for r := range cat.Rows(catalog.TSites) {
			s := r.(*catalog.Site)
			for r := range cat.Rows(catalog.TRoles) {
				if o := r.(*catalog.Role); s.Site == m.Site && o.Role == s.Role && o.Assembly == m.Assembly {
					return m
				}
			}
		}
	}
	return nil
}

// agrees is C1 and C2 in plain words.
func agrees(cat *memory.Catalogue, v *catalog.Variant, m *catalog.Mark, value string) bool {
	for _, of := range []struct {
		scope catalog.ShowScope
		name  string
	}{{catalog.OfVariant, string(v.Variant)}, {catalog.OfFamily, v.Family}} {
		rows, agree := 0, false
		for r := range cat.Rows(catalog.TShows) {
			s := r.(*catalog.Show)
			if s.Scope != of.scope || s.Of != of.name || s.Mark != m.Mark {
				continue
			}
			rows++
			if m.Kind != catalog.MarkMeasured {
				agree = agree || s.Value == value
				continue
			}
			found, _ := catalog.ParseDecimal(value)
			nominal, _ := catalog.ParseDecimal(s.Value)
			reach := s.Tolerance.Num.Add(m.Tolerance.Num)
			if m.Wears == catalog.Shorter && found.Num.LessThan(nominal.Num) {
				agree = agree || !found.Num.LessThan(nominal.Num.Mul(decimal.New(85, -2))) // C2b
			}
			agree = agree || !found.Num.Sub(nominal.Num).Abs().GreaterThan(reach)
		}
		if rows > 0 {
			return agree
		}
	}
	return true
}

// speaksAcross tells whether a statement of the role names the mark, which is on an
// assembly that does not bear on the role's.
func (w *drawn) speaksAcross(role string, n *resolve.NextCheck) bool {
	rows, _ := w.cat.Group(catalog.TableByName(catalog.TRoles), catalog.MakeKey(catalog.Fold(role)))
	for at := rows[0].(*catalog.Role).Assembly; at != ""; {
		if at == n.Assembly {
			return false
		}
		up, _ := w.cat.Group(catalog.TableByName(catalog.TAssemblies), catalog.MakeKey(catalog.Fold(at)))
		at = up[0].(*catalog.Assembly).Follows
	}
	for line := range strings.Lines(w.text) {
		if strings.Contains(line, ","+role+",") && strings.Contains(line, n.Mark+"=") {
			return true
		}
	}
	return false
}

// ofMarks tells whether a statement about all that shows a mark names the role.
func (w *drawn) ofMarks(role string) bool {
	for line := range strings.Lines(w.text) {
		if strings.HasPrefix(line, "mark,") && strings.Contains(line, ","+role+",") {
			return true
		}
	}
	return false
}

// TestPlanKeepsItsPromise follows plans along random answers and asks again at each
// step: exactly the roles that the plan says are settled there are settled, and a
// plan ends only where no check is left that could settle more.
func TestPlanKeepsItsPromise(t *testing.T) {
	kept, leaves, sites := map[resolve.CheckKind]int{}, 0, 0
	questions(t, func(t *rapid.T, w drawn, q resolve.Question) {
		res := resolve.New(w.cat, resolve.Edition{Name: "drawn"})
		whole := func(q resolve.Question) *resolve.Decision {
			d, err := res.Decide(q, resolve.Options{WholePlan: true})
			if err != nil {
				t.Fatalf("%+v: %v\n%s", q, err, w.text)
			}
			return d
		}
		d := whole(q)
		if d.Plan == nil || slices.ContainsFunc(d.Assemblies, func(as resolve.AssemblyState) bool { return len(as.Candidates) == 0 }) {
			return // what is found cannot be told from what an assembly without candidates would have taken away
		}
		for _, r := range d.Roles { // without them fewer candidates would have fewer roles asked (V0)
			q.Roles = append(q.Roles, r.Role)
		}
		part, across := d.Plan.Parts[0], map[string]bool{}
		read := slices.ContainsFunc(d.Reading, func(r resolve.Reading) bool { return r.Assembly == d.Assemblies[0].Assembly })
		for n := part.First; n != nil; {
			a := n.Answers[rapid.IntRange(0, len(n.Answers)-1).Draw(t, "answer")]
			found := cmp.Or(a.Value, a.From, a.To)
			if found == "" && !a.Unseen || a.Mixed || n.Kind == resolve.CheckReading {
				return // any other value: there is none to try; a mixed unit is asked anew
			}
			if n.Kind == resolve.CheckCharacter && slices.Contains(q.Doubt, resolve.AnySlip) {
				return // one slip in another text is another slip
			}
			var err error
			if q, err = q.Answered(n, found); err != nil {
				t.Fatalf("%+v: %s %q: %v", q, n.Kind, found, err)
			}
			after := whole(q)
			for _, role := range part.Roles {
				// A statement can speak of a mark on an assembly that does not bear on
				// its role: seen there is then what is not as built.
				if n.Kind == resolve.CheckMark && w.speaksAcross(role, n) {
					across[role] = true
				}
				if across[role] {
					continue
				}
				i := slices.IndexFunc(after.Roles, func(r resolve.RoleAnswer) bool { return r.Role == role })
				is := i >= 0 && after.Roles[i].Verdict != resolve.NotSettled
				if is && (!read || w.ofMarks(role)) {
					// What is read elsewhere can take whole families from a root that was not read (C6); a
					// statement of a mark speaks of a variant for which the mark is not
					// recorded once it is seen, and the plan reckons with it before (O1).
					continue
				}
				if said := slices.Contains(a.Settles, role); said != is {
					t.Fatalf("%+v: %s %q: that %s is settled is %t, said was %t:\n%s\n%s\n%s", q, n.ID, found, role, is, said, show(d), show(after), w.text)
				}
			}
			kept[n.Kind]++
			if n.Mark == "L1" || n.Mark == "L2" {
				sites++
			}
			if n = a.Next; n == nil && !a.Cut {
				leaves++
				if len(across) == 0 && !slices.ContainsFunc(part.Roles, w.ofMarks) && read && after.Plan != nil && slices.Contains(after.Plan.Parts[0].Assemblies, part.Assemblies[0]) {
					t.Fatalf("%+v: the plan ends where more can be settled:\n%s\n%s\n%s", q, show(d), show(after), w.text)
				}
			}
		}
	})
	if kept[resolve.CheckMark] == 0 || kept[resolve.CheckCharacter] == 0 || kept[resolve.CheckSerial]+kept[resolve.CheckBuilt] == 0 || leaves == 0 {
		t.Errorf("the property was not put to the test: %v, %d ends, %d coils at sites", kept, leaves, sites)
	}
}
