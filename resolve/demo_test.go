package resolve_test

import (
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"

	gocmp "github.com/google/go-cmp/cmp"

	"platewright/catalog"
	"platewright/catalog/memory"
	"platewright/catalog/pack"
	"platewright/resolve"
	"platewright/seed"
)

var readDemo = sync.OnceValues(func() (*memory.Catalogue, error) {
	p, err := pack.OpenFS(seed.FS, "demo", pack.Limits{})
	if err != nil {
		return nil, err
	}
	defer p.Close()
	c, findings, err := pack.ReadMemory(p)
	if err != nil {
		return nil, err
	}
	return c, findings.Err()
})

func demo(t testing.TB) *memory.Catalogue {
	t.Helper()
	c, err := readDemo()
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// answer is a decision with the words in which the cases speak of it.
type answer struct {
	t *testing.T
	*resolve.Decision
}

// ask decides on the demo. A question is written as in the cases: the plate,
// then --saw MARK=VALUE, --label TEXT, --work SCOPE, --built DATE, --part NUMBER.
func ask(t *testing.T, question string) answer {
	t.Helper()
	parts := strings.Split(question, " --")
	q := resolve.Question{Plate: parts[0]}
	if rest, label := strings.CutPrefix(parts[0], "--label "); label {
		q.Plate, q.Labels = "", []string{rest}
	}
	for _, p := range parts[1:] {
		word, value, _ := strings.Cut(p, " ")
		switch word {
		case "saw":
			mark, seen, _ := strings.Cut(value, "=")
			q.Saw = append(q.Saw, resolve.Observation{Mark: mark, Value: seen})
		case "label":
			q.Labels = append(q.Labels, value)
		case "work":
			q.Work = append(q.Work, value)
		case "built":
			b, err := catalog.ParseDate(value)
			if err != nil {
				t.Fatal(err)
			}
			q.Built = b
		case "part":
			q.Part = value
		default:
			t.Fatalf("a question has no --%s", word)
		}
	}
	d, err := resolve.New(demo(t), resolve.Edition{Name: "demo"}).Decide(q, resolve.Options{})
	if err != nil {
		t.Fatalf("%s: %v", question, err)
	}
	return answer{t, d}
}

func (a answer) equal(what string, got, want any) {
	a.t.Helper()
	if diff := gocmp.Diff(want, got); diff != "" {
		a.t.Errorf("%s: %s, want (-), got (+):\n%s", a.Question.Plate, what, diff)
	}
}

// candidates gives the basis and the candidates of an assembly, sorted.
func (a answer) candidates(assembly string) string {
	for _, as := range a.Assemblies {
		if as.Assembly == assembly {
			var vs []string
			for _, c := range as.Candidates {
				vs = append(vs, string(c.Variant))
			}
			slices.Sort(vs)
			return strings.Join(append([]string{string(as.Basis)}, vs...), " ")
		}
	}
	return "no such assembly"
}

func (a answer) role(name string) resolve.RoleAnswer {
	a.t.Helper()
	for _, r := range a.Roles {
		if r.Role == name {
			return r
		}
	}
	a.t.Fatalf("%s: the role %s was not asked", a.Question.Plate, name)
	return resolve.RoleAnswer{}
}

// takes gives the verdict of a role with the choices of each of its positions.
func (a answer) takes(role string) string {
	a.t.Helper()
	r := a.role(role)
	return strings.TrimSpace(r.Verdict.String() + " " + showPlain(r.Lines))
}

// groups gives the outcomes of a role that are still open.
func (a answer) groups(role string) []string {
	a.t.Helper()
	var out []string
	for _, g := range a.role(role).Groups {
		out = append(out, strings.TrimSpace(string(g.Outcome)+" "+showPlain(g.Lines))+": "+showMembers(g.Members))
	}
	return out
}

// showPlain gives the choices without their ranks and steps.
func showPlain(lines []resolve.Line) string {
	var out []string
	for _, l := range lines {
		var cs []string
		for _, c := range l.Choices {
			s := showItems(c.Items, c.Companions)
			if !c.Buyable {
				s += " (ended)"
			}
			cs = append(cs, s)
		}
		out = append(out, prefixAfter(l.Position, " ")+strings.Join(cs, " | "))
	}
	return strings.Join(out, "; ")
}

func (a answer) safe(role string) string {
	var out []string
	for _, l := range a.SafeToOrder {
		if l.Role == role {
			out = append(out, prefixAfter(l.Position, " ")+showItems(l.Items, l.Companions))
		}
	}
	return strings.Join(out, "; ")
}

func (a answer) held(role string) string {
	for _, l := range a.Held {
		if l.Role == role {
			return string(l.Part) + ": " + showReasons(l.Why) + " -> " + showReasons(l.Release)
		}
	}
	return ""
}

// lookAlike gives how a variant can be taken for a candidate and what tells them
// apart, "" if there is no warning.
func (a answer) lookAlike(candidate, variant string) string {
	for _, l := range a.LookAlikes {
		if string(l.Candidate) == candidate && string(l.Variant) == variant {
			var marks []string
			for _, m := range l.TellApart {
				marks = append(marks, m.Mark)
			}
			s := string(l.By) + " " + strings.Join(marks, " ")
			if l.RuledOut != nil {
				s += " ruled out " + string(l.RuledOut.Code)
			}
			return s
		}
	}
	return ""
}

func (a answer) cautions() []string {
	var out []string
	for _, c := range a.Cautions {
		out = append(out, c.Caution)
	}
	slices.Sort(out)
	return out
}

// ordered adds up how many pieces of a part all safe lines bring.
func (a answer) ordered(part string) int {
	n := 0
	for _, l := range a.SafeToOrder {
		for _, it := range l.Items {
			if string(it.Part) == part {
				n += it.Qty
			}
		}
		for _, it := range l.Companions {
			if string(it.Part) == part && it.CoveredBy == "" {
				n += it.Qty
			}
		}
	}
	return n
}

// TestDemo holds the answers on the demo catalogue to its cases: each is named
// by its number and title in seed/README.md, which gives the expected answer and
// the rows that make it so.
func TestDemo(t *testing.T) {
	cases := []struct {
		name string
		test func(t *testing.T)
	}{
		{"1 a digit apart", func(t *testing.T) {
			for _, c := range []struct{ plate, self, other, set, kit string }{
				{"XEB-411-A 1618 003052 N", "XEB-411-A", "XEB-417-A", "DRK-4110-S", "DRK-5110-K"},
				{"XEB-417-A 1618 004217 Q", "XEB-417-A", "XEB-411-A", "DRK-4120-S", "DRK-5120-K"},
				{"UY WA-31 05512", "WA-31", "WA-37", "UY51/030", "UY52/130"},
				{"UY WA-37 05512", "WA-37", "WA-31", "UY51/070", "UY52/170"},
			} {
				a := ask(t, c.plate+" --work valve-body-reseal --work actuator-replacement")
				a.equal("case", a.candidates("case"), "own-evidence "+c.self)
				set, kit := a.role("actuator-set"), a.role("seal-kit")
				a.equal("set", fmt.Sprint(set.Verdict, " ", set.Lines[0].Choices[0].Items[0].Part), "fits "+c.set)
				a.equal("kit", fmt.Sprint(kit.Verdict, " ", kit.Lines[0].Choices[0].Items[0].Part), "fits "+c.kit)
				warned := a.lookAlike(c.self, c.other)
				mark, checked := "coil", strings.HasPrefix(c.plate, "XEB")
				if !checked {
					mark = "connector-pins"
				}
				if !strings.HasPrefix(warned, "plate ") || !strings.Contains(warned, mark) {
					t.Errorf("%s: the warning of %s is %q, want one by plate, told apart by %s", c.plate, c.other, warned, mark)
				}
				// Where a check character was read a misread digit would show.
				if ruled := strings.Contains(warned, "ruled out check-guards"); ruled != checked {
					t.Errorf("%s: the warning of %s is ruled out by the check character: %t", c.plate, c.other, ruled)
				}
			}
		}},
		{"2 a coil apart", func(t *testing.T) {
			const worn = "XEB-43?-B 1832 007345 ?"
			a := ask(t, worn+" --work actuator-replacement")
			a.equal("case", a.candidates("case"), "own-evidence XEB-437-B XEB-439-B")
			a.equal("set", a.groups("actuator-set"), []string{"fits DRK-4140-S*1 | MWD-437-S*1: XEB-437-B", "fits DRK-4150-S*1: XEB-439-B"})
			a.equal("verdict", a.takes("actuator-set"), "not-settled")
			// To bring a worn digit back takes longer than to measure the coil.
			if n := a.NextCheck; n == nil || n.Mark != "coil" || n.Effort.String() != "6" {
				t.Errorf("the next check is %+v, want the coil in 6 minutes", n)
			}
			for saw, v := range map[string]string{"5.2": "XEB-437-B", "10.1": "XEB-439-B"} {
				b := ask(t, worn+" --work actuator-replacement --saw coil="+saw)
				b.equal("case", b.candidates("case"), "own-evidence XEB-437-B XEB-439-B")
				b.equal("valve body", b.candidates("valve-body"), "as-built "+v)
				b.equal("set", b.safe("actuator-set"), map[string]string{"XEB-437-B": "DRK-4140-S", "XEB-439-B": "DRK-4150-S"}[v]+"*1")
			}
		}},
		{"26 measured, and what it tells", func(t *testing.T) {
			const worn, job = "XEB-43?-B 1832 007345 ?", " --work actuator-replacement"
			q := ask(t, worn+job).Question
			q.CannotSee = []string{"coil"}
			d, err := resolve.New(demo(t), resolve.Edition{Name: "demo"}).Decide(q, resolve.Options{})
			if err != nil || d.NextCheck == nil || d.NextCheck.ID != "P2" || d.NextCheck.Effort.String() != "6" || d.NextCheck.Unit != "Ω" {
				t.Fatalf("the next check after the mark coil is %+v, want P2 in 6 minutes (%v)", d.NextCheck, err)
			}
			// What is found at P2, as the dialogue and --saw take it.
			found, err := d.Question.Answered(d.NextCheck, "10.1")
			if err != nil {
				t.Fatal(err)
			}
			a := ask(t, worn+job+" --saw P2=10.1")
			a.equal("as in a dialogue", found.Saw, a.Question.Saw)
			a.equal("set", a.safe("actuator-set"), "DRK-4150-S*1")
			a = ask(t, worn+job+" --saw P1=7.1")
			a.equal("valve body", a.candidates("valve-body"), "as-built XEB-437-B XEB-439-B")
			a.equal("condemned", a.Observations[0].Condemned.NoEvidence, true)
			a.equal("next", a.NextCheck.ID, "P2")
			a = ask(t, "XEB-411-A 1618 003052 N --saw P1=10.2")
			a.equal("mixed", a.Mixed != nil, true)
			a.equal("not condemned", a.Observations[0].Condemned == nil, true)
			const two = "XEB-44[28]-[BC] 1918 009001 ? --work actuator-replacement"
			a = ask(t, two+" --saw tube-middle=41.9")
			a.equal("longer than 40", a.candidates("valve-body"), "own-evidence XEB-448-C")
			a.equal("set", a.safe("actuator-set"), "DRK-4160-S*1")
			a = ask(t, two+" --saw tube-middle=39")
			a.equal("worn", a.candidates("valve-body"), "as-built XEB-442-B XEB-448-C")
			by := a.Observations[0].Condemned.By
			if len(by) != 2 || by[0].Loss.String() != "1" || by[0].Percent.String() != "2.5" || by[1].Loss.String() != "3" || by[1].Percent.String() != "7.14" {
				t.Errorf("39 mm is condemned by %+v, want 1 mm, 2.5 %% of 40 and 3 mm, 7.14 %% of 42", by)
			}
			// Common practice, no published source: feed tubes of 31.5, 40 and twice 26 mm
			// found at 30, 39 and 24.7 mm are worn out. They hold nothing.
			a = ask(t, "XEB-417-A 1618 004217 Q --work valve-body-reseal --saw tube-long=30 --saw tube-middle=39 --saw tube-short=24.7")
			a.equal("held", len(a.Held), 0)
			for _, o := range a.Observations {
				if c := o.Condemned; c == nil || !c.Sure || c.NoEvidence || len(c.By) != 1 || !slices.Equal(c.By[0].Why, []resolve.CondemnedWhy{resolve.BelowLeast}) {
					t.Errorf("%s=%s is not condemned below its least: %+v", o.Mark, o.Value, c)
				}
			}
		}},
		{"3 a colour that changed while the number stayed", func(t *testing.T) {
			a := ask(t, "XEB-411-A 1618 003052 N --saw cap-colour=green --work actuator-replacement")
			a.equal("case", a.candidates("case"), "own-evidence XEB-411-A")
			a.equal("valve body", a.candidates("valve-body"), "as-built XEB-411-A")
			a.equal("set", a.safe("actuator-set"), "DRK-4110-S*1")
			a.equal("remark", a.Observations[0].Differs, []catalog.VariantCode{"XEB-411-A"})
			a.equal("excludes", a.Observations[0].Excludes, 0)
		}},
		{"4 a superseded set that brings a new sleeve", func(t *testing.T) {
			a := ask(t, "XEB-421-A 1708 012900 L --work actuator-replacement")
			a.equal("set", a.takes("actuator-set"), "fits DRK-4230-S*1 with DRK-5231-L*1")
			a.equal("stated", a.role("actuator-set").Lines[0].Choices[0].Stated, catalog.PartNo("DRK-4130-S"))
			a.equal("order", a.safe("actuator-set"), "DRK-4230-S*1 with DRK-5231-L*1 (by case-connector-sleeve)")
			a.equal("sleeve", a.safe("case-connector-sleeve"), "DRK-5231-L*1")
			a.equal("sleeves in all", a.ordered("DRK-5231-L"), 1)
			b := ask(t, "XEB-421-C 1944 030115 V --work actuator-replacement")
			b.equal("set", b.takes("actuator-set"), "fits DRK-4230-S*1")
		}},
		{"5 a one-way replacement", func(t *testing.T) {
			a := ask(t, "31-2140 0007702-8 --work fluid-service --part 206.P.118")
			a.equal("filter", a.takes("filter"), "fits 206.P.218*1")
			a.equal("stated", a.role("filter").Lines[0].Choices[0].Stated, catalog.PartNo("206.P.118"))
			a.equal("the last one on the shelf", a.Part.Verdict, resolve.Fits)
			b := ask(t, "31-2310 0011264-X --work fluid-service --part 206.P.118")
			b.equal("filter", b.takes("filter"), "fits 206.P.218*1")
			b.equal("the old for the new", b.Part.Verdict, resolve.DoesNotFit)
		}},
		{"6 a two-way interchange and a split", func(t *testing.T) {
			a := ask(t, "UY WA-31 05512 --work fluid-service")
			a.equal("strainer", a.takes("filter"), "fits UY54/018*1 | UY54/019*1")
			for _, p := range []string{"UY54/018", "UY54/019"} {
				b := ask(t, "UY WA-31 05512 --work fluid-service --part "+p)
				b.equal(p, b.Part.Verdict, resolve.Fits)
			}
			c := ask(t, "31-2140 0007702-8 --work valve-body-reseal")
			c.equal("feed tube seals", c.safe("feed-tube-seals"), "205.P.306*2+205.P.307*1")
		}},
		{"7 a break inside a variant", func(t *testing.T) {
			for plate, want := range map[string]string{
				"31-2047 0038114-8": "fits 207.P.011*1",
				"31-2047 0042000-3": "fits 207.P.012*1",
				"31-2047 00????? ?": "not-settled",
			} {
				a := ask(t, plate+" --work connector-sleeve-replacement")
				a.equal("sleeve", a.takes("case-connector-sleeve"), want)
			}
			for plate, want := range map[string]string{
				"XEB-442-B 1810 009001 D": "fits DRK-6212-G*1",
				"XEB-442-B 1840 009877 T": "fits DRK-6213-G*1",
				"XEB-442-B 1826 009422 K": "not-settled",
			} {
				a := ask(t, plate+" --work pan-reseal")
				a.equal("gasket", a.takes("pan-gasket"), want)
			}
			week := ask(t, "XEB-442-B 1826 009422 K --work pan-reseal")
			week.equal("the days of the week", week.groups("pan-gasket"), []string{
				"fits DRK-6212-G*1: XEB-442-B [built 2018-06-25..2018-06-30]", "fits DRK-6213-G*1: XEB-442-B [built 2018-07-01..2018-07-01]"})
			a := ask(t, "38-0615 0004490-2 --work control-module-replacement")
			a.equal("module", a.takes("control-module"), "not-settled")
			if n := a.NextCheck; n == nil || n.Kind != resolve.CheckBuilt {
				t.Errorf("the next check is %+v, want the build date", n)
			}
			for built, want := range map[string]string{"2016-12-31": "260.P.002", "2017-01": "260.P.003"} {
				b := ask(t, "38-0615 0004490-2 --work control-module-replacement --built "+built)
				b.equal(built, b.takes("control-module"), "fits "+want+"*1")
			}
		}},
		{"8 two specifications a letter apart", func(t *testing.T) {
			for plate, c := range map[string]struct {
				spec    string
				fits    []string // specifications that its choices meet
				caution bool
			}{
				"XEB-411-A 1618 003052 N": {"DK-FLO-M", []string{"DK-FLO-M"}, true},
				"XUK-702-A 1705 000412 R": {"DK-FLO-N", []string{"DK-FLO-N"}, true},
				"31-2140 0007702-8":       {"PQ-6", []string{"PQ-6", "PQ-8"}, false},
				"38-0513 0020871-9":       {"PQ-8", []string{"PQ-8"}, false},
				"UY WA-31 05512":          {"UY-LT", []string{"UY-HT", "UY-LT"}, false},
				"UY WA-41 02650":          {"UY-HT", []string{"PQ-8", "UY-HT"}, false},
			} {
				a := ask(t, plate+" --work fluid-service")
				r := a.role("fluid")
				a.equal("verdict", r.Verdict, resolve.Fits)
				var met []string
				for i, ch := range r.Lines[0].Choices {
					a.equal("asked for", ch.Stated, catalog.PartNo(c.spec))
					last := ch.Trail[len(ch.Trail)-1]
					if i == 0 {
						a.equal("first choice meets", last.Spec, c.spec)
					}
					if !slices.Contains(met, last.Spec) {
						met = append(met, last.Spec)
					}
				}
				slices.Sort(met)
				a.equal("fluids meet", met, c.fits)
				a.equal("caution fluid-mix", slices.Contains(a.cautions(), "fluid-mix"), c.caution)
				// SLK-20 meets neither of the DK-FLO specifications by anything but its name.
				if c.caution {
					b := ask(t, plate+" --work fluid-service --part SLK-20")
					b.equal("SLK-20", b.Part.Verdict, resolve.DoesNotFit)
				}
			}
		}},
		{"25 fluids that their own data sheets belie", func(t *testing.T) {
			for _, c := range []struct {
				plate, part string
				want        resolve.Verdict
				figures     []string // of the reasons that name the sheet's row
			}{
				{"UY WA-41 02650", "SLK-20", resolve.NotSettled, []string{"SLK-20 / viscosity-100 5.3 of 7 to 7.6"}},
				{"UY WA-41 02650", "TGF-68", resolve.NotSettled, []string{"TGF-68 / viscosity-100 7 of 5.3 to 5.9"}},
				{"UY WA-41 02650", "290.P.008", resolve.Fits, nil},
				{"UY WA-31 05512", "SLK-20", resolve.Fits, nil},
				{"31-2140 0007702-8", "TGF-68", resolve.Fits, nil},
				{"38-0513 0020871-9", "TGF-68", resolve.NotSettled, []string{"TGF-68 / viscosity-100 7 of 5.3 to 5.9"}},
			} {
				a := ask(t, c.plate+" --work fluid-service --part "+c.part)
				a.equal(c.part+" in "+c.plate, a.Part.Verdict, c.want)
				listed := slices.ContainsFunc(a.role("fluid").Lines[0].Choices, func(ch resolve.Choice) bool { return ch.Items[0].Part == catalog.PartNo(c.part) })
				a.equal(c.part+" listed for "+c.plate, listed, c.want == resolve.Fits)
				var figures []string
				for _, r := range a.Part.Roles[0].Trail {
					if r.Code == resolve.ReasonSheetOffLimits {
						figures = append(figures, r.Row+" "+r.Value+" of "+strings.Join(r.Shows, " to "))
					}
				}
				a.equal("figures that belie "+c.part, figures, c.figures)
			}
		}},
		{"9 a kit dearer than its singles, and one cheaper", func(t *testing.T) {
			// What is bought is for the purchase plan; the decision names the kits.
			a := ask(t, "38-0513 0020871-9 --work valve-body-reseal")
			a.equal("kit", a.role("seal-kit").Lines[0].Choices[0].Items[0].Part, catalog.PartNo("255.P.510"))
			b := ask(t, "XEB-411-A 1618 003052 N --work actuator-replacement")
			b.equal("set", b.role("actuator-set").Lines[0].Choices[0].Items[0].Part, catalog.PartNo("DRK-4110-S"))
		}},
		{"10 a number with no successor", func(t *testing.T) {
			a := ask(t, "UY WA-33 04108 --work inner-loom-replacement --part UY57/071")
			a.equal("loom", a.takes("inner-loom"), "fits UY57/077*1 (ended)")
			a.equal("held", a.held("inner-loom"), "UY57/077: not-buyable -> release-source")
			a.equal("another one", a.Part.Verdict, resolve.DoesNotFit)
			b := ask(t, "UY WA-33 04108 --work inner-loom-replacement --part UY57/077")
			b.equal("one from somewhere", b.Part.Verdict, resolve.Fits)
		}},
		{"11 a swapped valve body", func(t *testing.T) {
			a := ask(t, "XEB-411-A 1618 003052 N --label VB-QK-12-8 --work actuator-replacement --work valve-body-reseal")
			a.equal("case", a.candidates("case"), "own-evidence XEB-411-A")
			a.equal("valve body", a.candidates("valve-body"), "own-evidence XEB-417-A XEB-418-A XEB-419-A")
			if a.Mixed == nil || len(a.Mixed.Parts) != 2 {
				t.Errorf("the unit is not mixed of two: %+v", a.Mixed)
			}
			a.equal("set", a.role("actuator-set").Lines[0].Choices[0].Items[0].Part, catalog.PartNo("DRK-4120-S"))
			a.equal("kit", a.role("seal-kit").Lines[0].Choices[0].Items[0].Part, catalog.PartNo("DRK-5120-K"))
			a.equal("gasket", a.safe("pan-gasket"), "DRK-6210-G*1")
			for _, r := range a.Roles {
				if r.Assembly == "valve-body" && r.Verdict == resolve.NotSettled {
					t.Errorf("the role %s of the valve body is not settled", r.Role)
				}
			}
		}},
		{"12 an aftermarket set with a caution", func(t *testing.T) {
			a := ask(t, "XEB-417-A 1618 004217 Q --work actuator-replacement")
			a.equal("set", a.takes("actuator-set"), "fits DRK-4120-S*1 | MWD-417-S*1")
			a.equal("order", a.safe("actuator-set"), "DRK-4120-S*1")
			a.equal("caution", noteOn(a, "MWD-417-S"), "caution confirmed")
			b := ask(t, "31-2147 0005061-9 --work valve-body-reseal")
			b.equal("kit", b.takes("seal-kit"), "fits HCK-31120*1 | 205.P.120*1")
			b.equal("held", b.held("seal-kit"), "HCK-31120: note-against -> release-note or 205.P.120")
			c := ask(t, "UY WA-41 02650 --work fluid-service")
			c.equal("filter", c.safe("filter"), "UY54/020*1")
			c.equal("open note", noteOn(c, "UY54/020"), "did-not-fit open")
		}},
		{"13 a role settled, the variant not", func(t *testing.T) {
			a := ask(t, "XEB-43?-B 1832 007345 ? --work valve-body-reseal")
			a.equal("case", a.candidates("case"), "own-evidence XEB-437-B XEB-439-B")
			a.equal("kit", a.safe("seal-kit"), "DRK-5140-K*1")
			a.equal("sleeve", a.safe("case-connector-sleeve"), "DRK-5231-L*1")
			a.equal("gasket", a.safe("pan-gasket"), "DRK-6212-G*1")
			a.equal("held", len(a.Held), 0)
			if a.NextCheck != nil {
				t.Errorf("there is something left to look at: %+v", a.NextCheck)
			}
			b := ask(t, "XEB-43?-B 1832 007345 ? --work actuator-replacement")
			b.equal("set", b.takes("actuator-set"), "not-settled")
		}},
		{"14 no statement, against a statement that it does not fit", func(t *testing.T) {
			a := ask(t, "UY WA-36 00921 --work connector-sleeve-replacement")
			a.equal("nothing said", a.groups("case-connector-sleeve"), []string{"no-statement: WA-36"})
			a.equal("verdict", a.takes("case-connector-sleeve"), "not-settled")
			if h := a.held("case-connector-sleeve"); !strings.Contains(h, "release-statement WA-36") {
				t.Errorf("held: %s", h)
			}
			b := ask(t, "UY WA-38 01377 --work connector-sleeve-replacement")
			b.equal("cast in", b.takes("case-connector-sleeve"), "does-not-fit")
			b.equal("nothing to wait for", b.held("case-connector-sleeve"), "")
			c := ask(t, "UY WA-41 02650 --work fluid-service --part UY54/018")
			c.equal("against the family", c.Part.Verdict, resolve.DoesNotFit)
		}},
		{"15 a worn character brought back", func(t *testing.T) {
			a := ask(t, "XEB-43?-B 1832 007345 2")
			a.equal("case", a.candidates("case"), "own-evidence XEB-437-B")
			a.equal("brought back", a.Reading[0].Matches[0].Recovered, []resolve.FieldText{{Field: "type", Text: "7"}})
			b := ask(t, "31-2047 00?8114-8")
			b.equal("serial", b.Reading[0].Matches[0].Serial, catalog.Serial(38114))
			c := ask(t, "XEB-43?-B 1832 007345 ?")
			c.equal("nothing", len(c.Reading[0].Matches[0].Recovered), 0)
		}},
		{"16 a label for several variants", func(t *testing.T) {
			a := ask(t, "--label VB-QK-07-2")
			a.equal("valve body", a.candidates("valve-body"), "own-evidence XEB-411-A XEB-412-A")
			b := ask(t, "--label H 112 4406")
			b.equal("valve body", b.candidates("valve-body"), "own-evidence 31-2045 31-2047 31-2049")
		}},
		{"17 the plug contradicts the plate", func(t *testing.T) {
			a := ask(t, "XEB-417-A 1618 004217 Q --saw connector=oval-twin --work actuator-replacement")
			a.equal("case", a.candidates("case"), "own-evidence XEB-417-A")
			if a.Mixed == nil {
				t.Error("the unit is not mixed")
			}
			if strings.Contains(a.candidates("valve-body"), "XEB-417-A") {
				t.Errorf("the valve body can be the XEB-417-A's: %s", a.candidates("valve-body"))
			}
			a.equal("sleeve", a.takes("case-connector-sleeve"), "fits DRK-5231-L*1")
			a.equal("feed tube seals", a.role("feed-tube-seals").Verdict, resolve.Fits)
			a.equal("set", a.takes("actuator-set"), "not-settled")
			for question, want := range map[string][]string{
				"XEB-417-A 1618 004217 Q --saw pan-shape=stepped":                          {`case: "XEB417A1618004217Q" + pan-shape=stepped`},
				"XEB-417-A 1618 004217 Q --label VB-QK-12-8 --saw connector=oval-twin":     {`valve-body: "VBQK128" + connector=oval-twin`},
				"--label VB-QK-12-8 --saw connector=oval-twin --work actuator-replacement": {`valve-body: "VBQK128" + connector=oval-twin`},
			} {
				b := ask(t, question)
				var got []string
				for _, c := range b.Conflicts {
					var st []string
					for _, s := range c.Statements {
						if s.Kind == resolve.StatementMark {
							st = append(st, s.Mark+"="+s.Text)
						} else {
							st = append(st, fmt.Sprintf("%q", s.Text))
						}
					}
					got = append(got, c.Assembly+": "+strings.Join(st, " + "))
					b.equal("candidates of "+c.Assembly, b.candidates(c.Assembly), "conflict")
				}
				b.equal("conflicts of "+question, got, want)
				b.equal("safe to order", len(b.SafeToOrder), 0)
			}
		}},
		{"18 a statement about a mark", func(t *testing.T) {
			for plate, want := range map[string]string{
				"XEB-437-B 1832 007345 2": "DRK-5231-L", "31-2310 0011264-X": "207.P.030", "38-0513 0020871-9": "207.P.030",
			} {
				a := ask(t, plate+" --work connector-sleeve-replacement")
				a.equal("sleeve", a.takes("case-connector-sleeve"), "fits "+want+"*1")
				if row := a.role("case-connector-sleeve").Lines[0].Choices[0].Trail[0].Row; !strings.HasPrefix(row, "mark / connector=") {
					t.Errorf("%s gets its sleeve by %s", plate, row)
				}
			}
		}},
		{"19 a condition", func(t *testing.T) {
			a := ask(t, "XUK-712-A 1705 000733 F --work pan-reseal")
			a.equal("gasket", a.takes("pan-gasket"), "not-settled")
			a.equal("bolts", a.takes("pan-bolts"), "not-settled")
			if n := a.NextCheck; n == nil || n.Mark != "pan-shape" {
				t.Errorf("the next check is %+v, want the pan's shape", n)
			}
			bolts := map[int]bool{}
			gaskets := map[catalog.PartNo]bool{}
			for _, shape := range []string{"deep", "deep-stepped"} {
				b := ask(t, "XUK-712-A 1705 000733 F --work pan-reseal --saw pan-shape="+shape)
				b.equal("case", b.candidates("case"), "own-evidence XUK-712-A")
				b.equal("gasket", b.role("pan-gasket").Verdict, resolve.Fits)
				b.equal("bolts", b.role("pan-bolts").Verdict, resolve.Fits)
				bolts[b.role("pan-bolts").Lines[0].Choices[0].Items[0].Qty] = true
				gaskets[b.role("pan-gasket").Lines[0].Choices[0].Items[0].Part] = true
			}
			a.equal("numbers of bolts", bolts, map[int]bool{24: true, 28: true})
			a.equal("gaskets", len(gaskets), 2)
		}},
		{"20 a swapped pair of digits", func(t *testing.T) {
			a := ask(t, "XEB-471-A 1618 004217 Q")
			a.equal("case", a.candidates("case"), "none")
			a.equal("reading", a.Reading[0].Outcome, resolve.ReadingRejected)
			found := false
			for _, n := range a.Reading[0].Near {
				found = found || slices.Contains(n.Variants, "XEB-417-A") && catalog.Fold(n.Text) == "XEB417A1618004217Q"
			}
			if !found {
				t.Errorf("XEB-417-A 1618 004217 Q is not among what one misread would explain: %+v", a.Reading[0].Near)
			}
			a.equal("safe to order", len(a.SafeToOrder), 0)
		}},
		{"21 several in a role", func(t *testing.T) {
			a := ask(t, "XUK-702-A 1705 000412 R --work full-overhaul")
			for role, n := range map[string]int{"filter": 2, "feed-tube-seals": 2, "piston-set": 2} {
				a.equal(role, a.role(role).Verdict, resolve.Fits)
				a.equal("positions of "+role, len(a.role(role).Lines), n)
			}
			var qty []int
			for _, l := range a.role("feed-tube-seals").Lines {
				qty = append(qty, l.Choices[0].Items[0].Qty)
			}
			slices.Sort(qty)
			a.equal("feed tube seals", qty, []int{2, 6})
			var where []string
			for _, l := range a.role("piston-set").Lines {
				where = append(where, l.Position)
			}
			slices.Sort(where)
			a.equal("pistons", where, []string{"B1", "K1"})
		}},
		{"22 nothing to look at", func(t *testing.T) {
			a := ask(t, "XEB-421-A 1708 012900 L --work actuator-replacement")
			for _, l := range a.LookAlikes {
				if l.Variant == "XEB-421-C" {
					a.equal("tells them apart", len(l.TellApart), 0)
				}
			}
			cmp, err := resolve.New(demo(t), resolve.Edition{}).Compare("XEB-421-A", "XEB-421-C", []string{"actuator-replacement"})
			if err != nil {
				t.Fatal(err)
			}
			for _, m := range cmp.TellApart {
				t.Errorf("the mark %s tells XEB-421-A from XEB-421-C", m.Mark)
			}
		}},
	}
	for _, c := range cases {
		t.Run(c.name, c.test)
	}
}

// noteOn gives kind and state of the note on a part.
func noteOn(a answer, part string) string {
	for _, n := range a.Notes {
		if n.Of == part {
			return string(n.Kind) + " " + string(n.State)
		}
	}
	return ""
}

// TestDemoDecidesAll asks for every plate that the demo lists, with every scope
// of work: there is no error, and each role asked is either settled or held with
// a reason.
func TestDemoDecidesAll(t *testing.T) {
	cat := demo(t)
	res := resolve.New(cat, resolve.Edition{Name: "demo"})
	var work []string
	for r := range cat.Rows(catalog.TWork) {
		work = append(work, r.(*catalog.WorkScope).Work)
	}
	n := 0
	for r := range cat.Rows(catalog.TLayouts) {
		l := r.(*catalog.Layout)
		for _, w := range work {
			q := resolve.Question{Work: []string{w}}
			if l.Assembly == "case" {
				q.Plate = l.Example
			} else {
				q.Labels = []string{l.Example}
			}
			d, err := res.Decide(q, resolve.Options{})
			if err != nil {
				t.Errorf("%s, %s: %v", l.Example, w, err)
				continue
			}
			n++
			for _, role := range d.Roles {
				lines := 0
				for _, s := range d.SafeToOrder {
					if s.Role == role.Role {
						lines++
					}
				}
				for _, h := range d.Held {
					if h.Role == role.Role {
						lines++
						if len(h.Why) == 0 {
							t.Errorf("%s, %s: %s is held without a reason", l.Example, w, role.Role)
						}
					}
				}
				want := max(1, len(role.Lines))
				if role.Verdict == resolve.DoesNotFit {
					continue
				}
				if lines != want {
					t.Errorf("%s, %s: %s has %d lines to order or held, want %d", l.Example, w, role.Role, lines, want)
				}
			}
		}
	}
	if n < 5*10 {
		t.Errorf("only %d questions were asked", n)
	}
}
