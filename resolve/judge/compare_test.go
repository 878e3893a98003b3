package judge_test

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"platewright/catalog"
	"platewright/catalog/memory"
	"platewright/resolve"
)

// memoryOf gives the world as the resolver reads it.
func memoryOf(w *world) *memory.Catalogue {
	c := memory.New()
	for i, tr := range w.rows {
		c.Add(catalog.TableByName(tr.table), tr.row, catalog.Place{Table: tr.table, Row: i + 1})
	}
	c.Seal()
	return c
}

// answers are the resolver's decision on a question, and those on each part
// asked about beside it.
type answers struct {
	decision *resolve.Decision
	parts    map[string]*resolve.PartAnswer
}

func decide(res *resolve.Resolver, a ask) (answers, error) {
	left := resolve.Options{NoLookAlikes: true, NoNextCheck: true, NoNear: true}
	d, err := res.Decide(a.question, left)
	if err != nil {
		return answers{}, err
	}
	out := answers{d, map[string]*resolve.PartAnswer{}}
	for _, p := range a.parts {
		q := a.question
		q.Part = p
		d, err := res.Decide(q, left)
		if err != nil {
			return answers{}, err
		}
		out.parts[p] = d.Part
	}
	return out, nil
}

// differences compares what the resolver says with what the judge says: lines
// beginning with + are only the resolver's, those with - only the judge's.
func differences(got answers, said [][]string) []string {
	want, have := map[string]bool{}, map[string]bool{}
	for _, f := range said {
		switch f[0] {
		case "world", "pworld":
		case "mixed":
			if f[1] == "1" {
				want["mixed"] = true
			}
		case "line":
			// position, place in the order, buyable, rank, steps, keys, choice
			want[lineFact(f[1], f[2], f[8], f[5], f[6])] = true
		default:
			want[strings.TrimSpace(strings.Join(f, " | "))] = true
		}
	}
	d := got.decision
	put := func(f ...string) { have[strings.TrimSpace(strings.Join(f, " | "))] = true }
	for _, a := range d.Assemblies {
		var vs []string
		for _, c := range a.Candidates {
			vs = append(vs, c.Variant.Key())
		}
		slices.Sort(vs)
		put("state", catalog.Fold(a.Assembly), string(a.Basis), strings.Join(vs, " "))
		if a.Total != len(a.Candidates) {
			put("state", catalog.Fold(a.Assembly), "total", strconv.Itoa(a.Total))
		}
	}
	if d.Mixed != nil {
		have["mixed"] = true
	}
	for _, o := range d.Observations {
		c := o.Condemned
		if c == nil {
			continue
		}
		if c.NoEvidence {
			put("faulty", catalog.Fold(o.Mark))
		}
		for _, by := range c.By {
			variants := by.Variants
			for _, a := range d.Assemblies {
				if len(variants) == 0 && a.Assembly == o.Assembly { // all that are possible
					for _, k := range a.Candidates {
						variants = append(variants, k.Variant)
					}
				}
			}
			for _, v := range variants {
				put("condemned", catalog.Fold(o.Mark), v.Key())
			}
		}
	}
	for _, c := range d.Conflicts {
		var st []string
		for _, s := range c.Statements {
			switch s.Kind {
			case resolve.StatementMark:
				st = append(st, "mark "+catalog.Fold(s.Mark)+" "+catalog.FoldValue(s.Text))
			case resolve.StatementReading:
				st = append(st, "reading "+catalog.Fold(s.Text))
			case resolve.StatementSerial:
				st = append(st, "serial "+s.Text)
			case resolve.StatementBuilt:
				st = append(st, "built")
			}
		}
		slices.Sort(st)
		put("conflict", catalog.Fold(c.Assembly), strings.Join(st, " & "))
	}
	var out []string
	for _, r := range d.Roles {
		role := catalog.Fold(r.Role)
		put("verdict", role, r.Verdict.String())
		fluid := r.Kind == catalog.RoleFluid
		for _, l := range r.Lines {
			pos := catalog.FoldValue(l.Position)
			for _, c := range l.Choices {
				rank, steps := strconv.Itoa(c.Rank), strconv.Itoa(c.Steps)
				have[lineFact(role, pos, canonical(c, fluid), rank, steps)] = true
			}
			out = append(out, orderDifferences(role, pos, l, fluid, said)...)
		}
		out = append(out, worldDifferences(r, said)...)
	}
	for _, s := range d.SafeToOrder {
		put("safe", catalog.Fold(s.Role), catalog.FoldValue(s.Position), canonicalItems(s.Items, s.Companions, roleIsFluid(d, s.Role)))
	}
	for _, h := range d.Held {
		put("held", catalog.Fold(h.Role), catalog.FoldValue(h.Position))
	}
	for asked, p := range got.parts {
		if p == nil {
			put("part", catalog.Fold(asked), "no answer")
			continue
		}
		put("part", catalog.Fold(asked), p.Part.Key(), p.Verdict.String())
		for _, r := range p.Roles {
			put("partrole", catalog.Fold(asked), catalog.Fold(r.Role), r.Verdict.String())
			out = append(out, stanceDifferences(catalog.Fold(asked), r, said)...)
		}
	}
	for f := range have {
		if !want[f] {
			out = append(out, "+ "+f)
		}
	}
	for f := range want {
		if !have[f] {
			out = append(out, "- "+f)
		}
	}
	slices.SortFunc(out, func(a, b string) int { return strings.Compare(a[2:]+a[:1], b[2:]+b[:1]) })
	return out
}

// lineFact names a choice of a line. Of fluids only the order is compared: the
// rules say what comes before what and give no ranks.
func lineFact(role, pos, choice, rank, steps string) string {
	s := fmt.Sprintf("line %s {%s} has: %s", role, pos, choice)
	if strings.Contains(choice, "ml") {
		return s
	}
	return s + ", rank " + rank + ", steps " + steps
}

func roleIsFluid(d *resolve.Decision, role string) bool {
	for _, r := range d.Roles {
		if catalog.Fold(r.Role) == catalog.Fold(role) {
			return r.Kind == catalog.RoleFluid
		}
	}
	return false
}

func canonicalItems(items, companions []resolve.Item, fluid bool) string {
	text := func(list []resolve.Item) string {
		var out []string
		for _, it := range list {
			if fluid {
				ml := ""
				if it.Litres.Known {
					ml = it.Litres.Num.Shift(3).String()
				}
				out = append(out, it.Part.Key()+"*"+ml+"ml")
			} else {
				out = append(out, it.Part.Key()+"*"+strconv.Itoa(it.Qty))
			}
		}
		slices.Sort(out)
		return strings.Join(out, "+")
	}
	s := text(items)
	if len(companions) > 0 {
		s += " with " + text(companions)
	}
	return s
}

func canonical(c resolve.Choice, fluid bool) string {
	s := canonicalItems(c.Items, c.Companions, fluid)
	if !c.Buyable {
		s += " unbuyable"
	}
	return s
}

// orderDifferences holds the order of a line's choices against the judge's
// places; choices that the rules leave in any order may stand in any.
func orderDifferences(role, pos string, l resolve.Line, fluid bool, said [][]string) []string {
	key := map[string]string{}
	for _, f := range said {
		if f[0] == "line" && f[1] == role && f[2] == pos {
			rank, _ := strconv.Atoi(f[5])
			steps, _ := strconv.Atoi(f[6])
			buyable := map[string]string{"1": "a", "0": "b"}[f[4]]
			key[f[8]] = fmt.Sprintf("%s %08d %08d %s", buyable, rank, steps, f[7])
		}
	}
	last, where := "", ""
	for _, c := range l.Choices {
		name := canonical(c, fluid)
		if k, ok := key[name]; ok {
			if k < last {
				return []string{fmt.Sprintf("+ line %s {%s} has %s before %s", role, pos, where, name)}
			}
			last, where = k, name
		}
	}
	return nil
}

// groupContent is a group as the judge writes an outcome.
func groupContent(g resolve.Group, fluid bool) string {
	if g.Outcome != resolve.OutcomeFits {
		return string(g.Outcome)
	}
	var lines []string
	for _, l := range g.Lines {
		var cs []string
		for _, c := range l.Choices {
			cs = append(cs, canonical(c, fluid))
		}
		slices.Sort(cs)
		lines = append(lines, " {"+catalog.FoldValue(l.Position)+": "+strings.Join(cs, " / ")+"}")
	}
	slices.Sort(lines)
	return string(g.Outcome) + strings.Join(lines, "")
}

// worldDifferences looks each world of the judge up in the resolver's groups. A
// member stands for a world if all its conditions can hold in it.
func worldDifferences(r resolve.RoleAnswer, said [][]string) []string {
	role := catalog.Fold(r.Role)
	contents, out := map[string]bool{}, []string{}
	met := map[[2]int]bool{}
	for _, f := range said {
		if f[0] != "world" || f[1] != role {
			continue
		}
		variant, cell, content := f[2], f[3:8], f[8]
		contents[content] = true
		name := "world " + role + " " + variant + cellText(cell)
		found := false
		for i, g := range r.Groups {
			for j, m := range g.Members {
				if m.Variant.Key() != variant || !holdsIn(m.When, cell) {
					continue
				}
				found = true
				met[[2]int{i, j}] = true
				if have := groupContent(g, r.Kind == catalog.RoleFluid); have != content {
					out = append(out, "+ "+name+" has "+have, "- "+name+" has "+content)
				}
			}
		}
		if !found {
			out = append(out, "- "+name+" has "+content)
		}
	}
	if len(contents) != len(r.Groups) {
		out = append(out, fmt.Sprintf("+ groups %s: %d", role, len(r.Groups)), fmt.Sprintf("- groups %s: %d", role, len(contents)))
	}
	for i, g := range r.Groups {
		if g.Total != len(g.Members) {
			out = append(out, fmt.Sprintf("+ group %s total %d of %d", role, g.Total, len(g.Members)))
		}
		for j, m := range g.Members {
			if !met[[2]int{i, j}] {
				out = append(out, fmt.Sprintf("+ group %s has the member %s %v, which is no world", role, m.Variant.Key(), m.When))
			}
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// listed is how many members an answer about a part lists of each sort.
const listed = 50

// stanceDifferences holds the members of an answer about a part against the
// judge's worlds in the same way.
func stanceDifferences(asked string, r resolve.PartRole, said [][]string) []string {
	role, out := catalog.Fold(r.Role), []string{}
	lists := []struct {
		says    string
		members []resolve.Member
	}{{"fits", r.FitsIn}, {"does-not-fit", r.NotIn}, {"unstated", r.Unstated}}
	for _, f := range said {
		if f[0] != "pworld" || f[1] != asked || f[2] != role {
			continue
		}
		variant, cell, says := f[3], f[4:9], f[9]
		cut := false
		name := "part " + asked + " in world " + role + " " + variant + cellText(cell)
		found := false
		for _, l := range lists {
			cut = cut || l.says == says && len(l.members) >= listed
			for _, m := range l.members {
				if m.Variant.Key() != variant || !holdsIn(m.When, cell) {
					continue
				}
				found = true
				if l.says != says {
					out = append(out, "+ "+name+" "+l.says, "- "+name+" "+says)
				}
			}
		}
		if !found && !cut {
			out = append(out, "- "+name+" "+says)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// cellText writes a cell of the judge: first and last serial number, first and
// last day, marks.
func cellText(cell []string) string {
	return fmt.Sprintf(" serial %s..%s day %s..%s marks %s", cell[0], cell[1], cell[2], cell[3], cell[4])
}

// holdsIn tells whether all conditions can hold in a cell.
func holdsIn(when []resolve.When, cell []string) bool {
	num := func(s string) int64 { n, _ := strconv.ParseInt(s, 10, 64); return n }
	for _, w := range when {
		switch w.Kind {
		case resolve.StatementMark:
			mark := ";" + catalog.Fold(w.Mark) + "="
			if strings.Contains(cell[4], mark) && !strings.Contains(cell[4], mark+catalog.FoldValue(w.Value)+";") {
				return false
			}
		case resolve.StatementSerial:
			if w.From != "" && num(cell[1]) < num(w.From) || w.To != "" && num(w.To) < num(cell[0]) {
				return false
			}
		case resolve.StatementBuilt:
			if w.From != "" && num(cell[3]) < int64(dayOf(w.From)) || w.To != "" && int64(dayOf(w.To)) < num(cell[2]) {
				return false
			}
		}
	}
	return true
}

// dayOf reads an ISO 8601 date to the day; anything else counts as day 0, which
// is in no world.
func dayOf(s string) int {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		return 0
	}
	return dayNumber(t)
}
