package resolve_test

import (
	"bytes"
	"cmp"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	gocmp "github.com/google/go-cmp/cmp"
	"golang.org/x/tools/txtar"

	"platewright/catalog"
	"platewright/catalog/catalogtest"
	"platewright/resolve"
)

var update = flag.Bool("update", false, "write the answers of the universes as they are now")

// TestUniverses asks the questions of testdata/*.txtar: each file is a small
// catalogue, told in prose on top, with sections "ask" and after each the
// section "want" with the decision in the form of show. A catalogue is decided
// on by one resolver, so that later questions meet what earlier ones left.
func TestUniverses(t *testing.T) {
	files, err := filepath.Glob("testdata/*.txtar")
	if err != nil || len(files) == 0 {
		t.Fatal("there are no universes: ", err)
	}
	for _, file := range files {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".txtar"), func(t *testing.T) {
			text, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			a := txtar.Parse(text)
			if len(bytes.Fields(a.Comment)) < 8 {
				t.Error("the file does not say in prose what it holds and why the answers are right")
			}
			res := resolve.New(catalogtest.World(t, text), resolve.Edition{Name: "universe"})
			asked, changed := 0, false
			for i := 0; i < len(a.Files); i++ {
				f := a.Files[i]
				if !strings.HasPrefix(f.Name, "ask") {
					continue
				}
				asked++
				name := strings.Replace(f.Name, "ask", "want", 1)
				q, err := parseAsk(string(f.Data))
				if err != nil {
					t.Fatalf("%s: %v", f.Name, err)
				}
				got := ""
				if d, err := res.Decide(q, resolve.Options{WholePlan: planAsked(string(f.Data))}); err != nil {
					got = "error: " + err.Error() + "\n"
				} else {
					got = show(d)
				}
				has := i+1 < len(a.Files) && a.Files[i+1].Name == name
				switch {
				case *update && !has:
					a.Files = slices.Insert(a.Files, i+1, txtar.File{Name: name, Data: []byte(got)})
					changed = true
				case *update:
					changed = changed || string(a.Files[i+1].Data) != got
					a.Files[i+1].Data = []byte(got)
				case !has:
					t.Errorf("%s is not followed by %s", f.Name, name)
				default:
					if diff := gocmp.Diff(string(a.Files[i+1].Data), got); diff != "" {
						t.Errorf("%s of %s, wanted (-) and got (+):\n%s\nthe whole answer:\n%s", name, file, diff, got)
					}
				}
			}
			if asked == 0 {
				t.Error("the file asks nothing")
			}
			if changed {
				if err := os.WriteFile(file, txtar.Format(a), 0o644); err != nil {
					t.Fatal(err)
				}
			}
		})
	}
}

// parseAsk reads a question: one line KEY: VALUE for each thing that is known
// or asked. A line that starts with # is a remark.
func parseAsk(text string) (resolve.Question, error) {
	var q resolve.Question
	for line := range strings.Lines(text) {
		line = strings.TrimSpace(line)
		if line == "" || line[0] == '#' {
			continue
		}
		key, value, ok := strings.Cut(line, ":")
		value = strings.TrimSpace(value)
		if !ok {
			return q, fmt.Errorf("%q is no KEY: VALUE", line)
		}
		var err error
		switch key {
		case "plate":
			q.Plate = value
		case "field":
			name, text, _ := strings.Cut(value, "=")
			if q.Fields == nil {
				q.Fields = map[string]string{}
			}
			q.Fields[name] = text
		case "label":
			q.Labels = append(q.Labels, value)
		case "saw":
			mark, seen, _ := strings.Cut(value, "=")
			q.Saw = append(q.Saw, resolve.Observation{Mark: mark, Value: seen})
		case "vehicle":
			q.Vehicle = value
		case "serial":
			q.Serial, err = catalog.ParseSerial(value)
		case "built":
			q.Built, err = catalog.ParseDate(value)
		case "work":
			q.Work = append(q.Work, value)
		case "role":
			q.Roles = append(q.Roles, value)
		case "part":
			q.Part = value
		case "doubt":
			q.Doubt = append(q.Doubt, value)
		case "cannot see":
			q.CannotSee = append(q.CannotSee, value)
		case "plan":
			// Taken by planAsked.
		default:
			return q, fmt.Errorf("a question has no line %q", key)
		}
		if err != nil {
			return q, err
		}
	}
	return q, nil
}

// planAsked tells whether the question asks for the whole plan of checks.
func planAsked(text string) bool { return strings.Contains(text, "plan: whole") }

// show gives what a decision says in a few lines that a person can write by
// hand: no trails, no names, no words. Quantities are *N, litres *N l; a rank
// other than 0 is #N, steps other than 0 are ^N.
//
//	reading body: matched           only where it did not match, or recovered
//	case own-evidence: A B+1        with the hints of a candidate
//	  out: C by pins=3 (shows 4)
//	replace seal cup=30              with the rows that condemn it
//	  below-least: 30 against 31.5, least 30.7, lost 1.5 mm, 4.76 %, only A
//	mixed: case A B / body C
//	conflict case: reading "A?" + pins=3 + serial 7 + built 2019
//	gasket fits: left P*1#1 | Q*1; right R*1 with S*2 (ended)
//	  fits P*1: A [serial ..41999]
//	  no-statement: B
//	safe gasket left: P*1 with S*2 (by sleeve)
//	held gasket left P: REASONS -> RELEASES
//	look-alike A B by plate: gasket P not Q; tell apart by pins; ruled out: check-guards
//	next mark pins of case: 3 leaves A settles gasket; 4 leaves B settles none, then serial of case; unseen
//	plan exact for gasket: 10.53 minutes
//	part P in gasket fits: A; not B; unstated C
//	part P fits: REASONS
//	note part P / 1
//	caution hot: work reseal
func show(d *resolve.Decision) string {
	var b strings.Builder
	for _, r := range d.Reading {
		var extra []string
		for _, m := range r.Matches {
			for _, c := range m.Recovered {
				extra = append(extra, "recovered "+c.Field+" "+c.Text)
			}
		}
		for _, n := range r.Near {
			extra = append(extra, "near "+n.Text+" for "+join(n.Variants)+" share "+n.Share.String())
		}
		if r.Outcome != resolve.ReadingMatched || len(extra) > 0 {
			fmt.Fprintf(&b, "reading %s: %s\n", r.Assembly, strings.Join(append([]string{string(r.Outcome)}, extra...), "; "))
		}
	}
	for _, a := range d.Assemblies {
		fmt.Fprintf(&b, "%s %s:", a.Assembly, a.Basis)
		if len(a.Candidates) == 0 {
			b.WriteString(" none")
		}
		for _, c := range a.Candidates {
			b.WriteString(" " + string(c.Variant))
			if c.Hints != 0 {
				fmt.Fprintf(&b, "%+d", c.Hints)
			}
			if c.Share.Known {
				fmt.Fprintf(&b, "(%s)", c.Share)
			}
		}
		if a.Total != len(a.Candidates) {
			fmt.Fprintf(&b, " of %d", a.Total)
		}
		b.WriteString("\n")
		for _, r := range a.Excluded {
			fmt.Fprintf(&b, "  out: %s by %s=%s (shows %s)\n", r.Variant, r.Mark, r.Value, strings.Join(r.Shows, ", "))
		}
	}
	for _, o := range d.Observations {
		if c := o.Condemned; c != nil {
			fmt.Fprintf(&b, "replace %s %s=%s%s\n", c.Part, o.Mark, o.Value, map[bool]string{true: ", no evidence"}[c.NoEvidence])
			for _, by := range c.By {
				fmt.Fprintf(&b, "  %s: %s against %s", join(by.Why), by.Found, by.Nominal)
				if by.Loss.Known {
					fmt.Fprintf(&b, ", least %s, lost %s mm, %s %%", cmp.Or(by.Least.String(), "unknown"), by.Loss, by.Percent)
				}
				fmt.Fprintf(&b, "%s\n", prefix(", only ", join(by.Variants)))
			}
		}
	}
	if d.Mixed != nil {
		var parts []string
		for _, p := range d.Mixed.Parts {
			parts = append(parts, p.Assembly+" "+join(p.Variants))
		}
		fmt.Fprintf(&b, "mixed: %s\n", strings.Join(parts, " / "))
	}
	for _, c := range d.Conflicts {
		var st []string
		for _, s := range c.Statements {
			switch s.Kind {
			case resolve.StatementReading:
				st = append(st, strconv.Quote(s.Text))
			case resolve.StatementMark:
				st = append(st, s.Mark+"="+s.Text)
			default:
				st = append(st, string(s.Kind)+" "+s.Text)
			}
		}
		fmt.Fprintf(&b, "conflict %s: %s\n", c.Assembly, strings.Join(st, " + "))
	}
	for _, r := range d.Roles {
		fmt.Fprintf(&b, "%s %s%s\n", r.Role, r.Verdict, prefix(": ", showLines(r.Lines)))
		if len(r.Groups) > 1 || len(r.Groups) == 1 && r.Verdict == resolve.NotSettled {
			for _, g := range r.Groups {
				fmt.Fprintf(&b, "  %s%s: %s\n", g.Outcome, prefix(" ", showLines(g.Lines)), showMembers(g.Members))
			}
		}
	}
	for _, l := range d.SafeToOrder {
		fmt.Fprintf(&b, "safe %s%s: %s\n", l.Role, prefix(" ", l.Position), showItems(l.Items, l.Companions))
	}
	for _, h := range d.Held {
		fmt.Fprintf(&b, "held %s%s%s: %s -> %s\n", h.Role, prefix(" ", h.Position), prefix(" ", string(h.Part)), showReasons(h.Why), cmp.Or(showReasons(h.Release), "nothing known"))
	}
	for _, l := range d.LookAlikes {
		var roles, tell []string
		for _, r := range l.Roles {
			roles = append(roles, r.Role+" "+showTakes(r.This)+" not "+showTakes(r.Other))
		}
		for _, m := range l.TellApart {
			tell = append(tell, m.Mark)
		}
		fmt.Fprintf(&b, "look-alike %s %s of %s by %s: %s; tell apart by %s", l.Assembly, l.Variant, l.Candidate, l.By, strings.Join(roles, ", "), cmp.Or(strings.Join(tell, " "), "nothing"))
		if l.RuledOut != nil {
			fmt.Fprintf(&b, "; ruled out: %s", l.RuledOut.Code)
		}
		b.WriteString("\n")
	}
	if len(d.LookAlikesLeftOut) > 0 {
		fmt.Fprintf(&b, "look-alikes left out: %s\n", join(d.LookAlikesLeftOut))
	}
	if n := d.NextCheck; n != nil {
		fmt.Fprintf(&b, "next %s\n", showCheck(n))
	}
	if d.Plan != nil {
		for _, p := range d.Plan.Parts {
			cost := ""
			if p.Figures != nil {
				cost = ": " + p.Figures.Expected.String() + " minutes"
			}
			fmt.Fprintf(&b, "plan %s for %s%s%s%s\n", p.Method, join(p.Roles), cost, prefix(", never ", join(p.Never)), prefix(", left out ", join(p.LeftOut)))
			if p.First != nil {
				showPlan(&b, p.First, "  ")
			}
		}
	}
	if f := d.Figures; f != nil && len(f.Torques)+len(f.Fills)+len(f.Coils)+len(f.Seals)+len(f.Rings)+len(f.Ports)+len(f.Steps) > 0 {
		showFigures(&b, f)
	}
	if p := d.Part; p != nil {
		for _, r := range p.Roles {
			fmt.Fprintf(&b, "part %s in %s %s", p.Part, r.Role, r.Verdict)
			for _, l := range []struct {
				name string
				m    []resolve.Member
			}{{"fits", r.FitsIn}, {"not", r.NotIn}, {"unstated", r.Unstated}} {
				if len(l.m) > 0 {
					fmt.Fprintf(&b, "; %s %s", l.name, showMembers(l.m))
				}
			}
			if len(r.Instead) > 0 {
				fmt.Fprintf(&b, "; instead %s", showLines(r.Instead))
			}
			b.WriteString("\n")
		}
		fmt.Fprintf(&b, "part %s %s%s\n", cmp.Or(string(p.Part), "none"), p.Verdict, prefix(": ", showReasons(p.Reasons)))
	}
	for _, n := range d.Notes {
		fmt.Fprintf(&b, "note %s %s / %s %s %s\n", n.On, n.Of, n.Note, n.State, n.Kind)
	}
	for _, c := range d.Cautions {
		fmt.Fprintf(&b, "caution %s: %s\n", c.Caution, strings.Join(c.For, ", "))
	}
	return b.String()
}

func join[T ~string](list []T) string {
	out := make([]string, len(list))
	for i, s := range list {
		out[i] = string(s)
	}
	return strings.Join(out, " ")
}

// checkName names a check.
func checkName(n *resolve.NextCheck) string {
	what := n.Mark
	if n.Kind == resolve.CheckCharacter {
		what = strconv.Itoa(n.Place)
	}
	return fmt.Sprintf("%s%s of %s", n.Kind, prefix(" ", what), n.Assembly)
}

func answerName(a *resolve.CheckAnswer) string {
	switch {
	case a.Unseen:
		return "unseen"
	case a.From != "" || a.To != "":
		return a.From + ".." + a.To
	}
	return cmp.Or(a.Value, "other")
}

func showFigures(b *strings.Builder, f *resolve.Figures) {
	put := func(of resolve.FigureOf, format string, args ...any) {
		fmt.Fprintf(b, "figure of %s: %s%s\n", of.Assembly, fmt.Sprintf(format, args...), prefix(", only ", join(of.Variants)))
	}
	for _, x := range f.Torques {
		put(x.FigureOf, "%s %s N·m", x.Fastener, x.Torque)
	}
	for _, x := range f.Fills {
		put(x.FigureOf, "%s l of %s", cmp.Or(x.Litres.String(), "?"), x.Spec)
	}
	for _, x := range f.Coils {
		put(x.FigureOf, "coil %s %s ohm", x.Site, x.Ohm)
	}
	for _, x := range f.Seals {
		put(x.FigureOf, "%d seals %s %s mm", x.Qty, x.Seal, x.Length)
	}
	for _, x := range f.Rings {
		put(x.FigureOf, "%d rings %s %s x %s mm", x.Qty, x.Ring, x.Inside, x.Section)
	}
	for _, x := range f.Ports {
		put(x.FigureOf, "port %s %s %s kPa", x.Port, x.Medium, x.Pressure)
	}
	if len(f.OneTime) > 0 {
		fmt.Fprintf(b, "used once: %s\n", strings.Join(f.OneTime, ", "))
	}
	for _, s := range f.Steps {
		fmt.Fprintf(b, "step %s: %s\n", s.When, s.Text)
	}
}

func showCheck(n *resolve.NextCheck) string {
	var answers []string
	for i := range n.Answers {
		a := &n.Answers[i]
		text := fmt.Sprintf("%s leaves %s settles %s", answerName(a), join(a.Leaves), cmp.Or(join(a.Settles), "nothing"))
		if a.Unseen {
			text = "unseen"
		}
		if a.Mixed {
			text = answerName(a) + " means mixed"
		}
		if a.Next != nil {
			text += ", then " + checkName(a.Next)
		}
		answers = append(answers, text)
	}
	return checkName(n) + ": " + strings.Join(answers, "; ")
}

// showPlan writes a plan as a tree.
func showPlan(b *strings.Builder, n *resolve.NextCheck, indent string) {
	fmt.Fprintf(b, "%s%s\n", indent, checkName(n))
	for i := range n.Answers {
		a := &n.Answers[i]
		fmt.Fprintf(b, "%s  %s (%s): %s", indent, answerName(a), a.Probability, cmp.Or(join(a.Leaves), "none"))
		switch {
		case a.Mixed:
			b.WriteString(", mixed")
		case len(a.Settles) > 0:
			b.WriteString(", settles " + join(a.Settles))
		}
		b.WriteString("\n")
		if a.Next != nil {
			showPlan(b, a.Next, indent+"    ")
		}
	}
}

func prefix(before, s string) string {
	if s == "" {
		return ""
	}
	return before + s
}

func showLines(lines []resolve.Line) string {
	var out []string
	for _, l := range lines {
		var cs []string
		for _, c := range l.Choices {
			s := showItems(c.Items, c.Companions)
			if c.Rank != 0 {
				s += "#" + strconv.Itoa(c.Rank)
			}
			if c.Steps != 0 {
				s += "^" + strconv.Itoa(c.Steps)
			}
			if !c.Buyable {
				s += " (ended)"
			}
			cs = append(cs, s)
		}
		out = append(out, prefixAfter(l.Position, " ")+strings.Join(cs, " | "))
	}
	return strings.Join(out, "; ")
}

func prefixAfter(s, after string) string {
	if s == "" {
		return ""
	}
	return s + after
}

func showItems(items, companions []resolve.Item) string {
	list := func(items []resolve.Item) string {
		var out []string
		for _, it := range items {
			s := string(it.Part)
			switch {
			case it.Kind == catalog.PartFluid && it.Litres.Known:
				s += "*" + it.Litres.String() + "l"
			case it.Kind != catalog.PartFluid || it.Qty != 0:
				s += "*" + strconv.Itoa(it.Qty)
			}
			if it.CoveredBy != "" {
				s += " (by " + it.CoveredBy + ")"
			}
			out = append(out, s)
		}
		return strings.Join(out, "+")
	}
	return list(items) + prefix(" with ", list(companions))
}

func showMembers(ms []resolve.Member) string {
	var out []string
	for _, m := range ms {
		s := string(m.Variant)
		var when []string
		for _, w := range m.When {
			switch w.Kind {
			case resolve.StatementMark:
				when = append(when, w.Mark+"="+cmp.Or(w.Value, "other"))
			default:
				when = append(when, string(w.Kind)+" "+w.From+".."+w.To)
			}
		}
		if len(when) > 0 {
			s += " [" + strings.Join(when, ", ") + "]"
		}
		out = append(out, s)
	}
	return strings.Join(out, ", ")
}

// showReasons gives the codes, each once, with what a release points at.
func showReasons(rs []resolve.Reason) string {
	var out []string
	for _, r := range rs {
		s := string(r.Code)
		switch r.Code {
		case resolve.ReleaseCheck:
			s += " " + cmp.Or(r.Mark, r.Value)
		case resolve.ReleaseNote:
			s += prefix(" or ", string(r.Other))
		case resolve.ReleaseConflict, resolve.ReleaseReading, resolve.ReasonConflict:
			s += " " + r.Assembly
		case resolve.ReleaseStatement:
			s += prefix(" ", string(r.Variant))
		case resolve.ReasonInKit:
			s += " " + string(r.Other)
		}
		if !slices.Contains(out, s) {
			out = append(out, s)
		}
	}
	return strings.Join(out, ", ")
}

// showTakes writes the first choices of a role, "unstated" where nothing is said
// of it.
func showTakes(t resolve.Takes) string {
	var ways []string
	for _, w := range t.Ways {
		switch {
		case w.Outcome == resolve.OutcomeNoStatement:
			ways = append(ways, "unstated")
		case w.Nothing:
			ways = append(ways, "none")
		case w.Outcome == resolve.OutcomeDoesNotFit:
			ways = append(ways, "ruled-out")
		default:
			var items []string
			for _, it := range w.Items {
				s := string(it.Part)
				if it.Qty > 1 {
					s = strconv.Itoa(it.Qty) + "x" + s
				}
				items = append(items, s+prefix("@", it.Position))
			}
			ways = append(ways, strings.Join(items, "+"))
		}
	}
	return strings.Join(ways, "|")
}
