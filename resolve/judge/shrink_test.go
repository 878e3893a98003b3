package judge_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"platewright/catalog"
	"platewright/resolve"
)

// shrink leaves rows of the world and pieces of the question out as long as a
// difference of the same sort stays, so that a person can see what it is about.
// It judges all ways to leave something out in one run of the judge.
func shrink(t testing.TB, w *world, a ask, compare func(*world, ask, [][]string) []string, keep func(diff []string) bool) (*world, ask) {
	t.Helper()
	try := func(worlds []*world, asks []ask) int {
		for i := range asks {
			asks[i].world = i
		}
		said := judge(t, worlds, asks)
		for i := range worlds {
			if keep(compare(worlds[i], asks[i], said[i])) {
				return i
			}
		}
		return -1
	}
	// Whole chunks first, then smaller ones.
	for size := len(w.rows) / 2; size >= 1; {
		var worlds []*world
		var asks []ask
		for from := 0; from < len(w.rows); from += size {
			smaller := without(w, from, min(from+size, len(w.rows)))
			if smaller != nil && stillAsks(smaller, a) {
				worlds, asks = append(worlds, smaller), append(asks, a)
			}
		}
		if i := -1; len(worlds) > 0 {
			if i = try(worlds, asks); i >= 0 {
				w = worlds[i]
				size = min(size, max(len(w.rows)/2, 1))
				continue
			}
		}
		size /= 2
	}
	for {
		var worlds []*world
		var asks []ask
		for _, smaller := range smallerAsks(a) {
			worlds, asks = append(worlds, w), append(asks, smaller)
		}
		i := -1
		if len(asks) > 0 {
			i = try(worlds, asks)
		}
		if i < 0 {
			return w, a
		}
		a = asks[i]
	}
}

// without leaves out rows from..to and all that would then refer to nothing;
// nil if the rest is no valid catalogue.
func without(w *world, from, to int) *world {
	rows := slices.Concat(w.rows[:from], w.rows[to:])
	for {
		keys := map[string]bool{}
		for _, tr := range rows {
			t := catalog.TableByName(tr.table)
			keys[tr.table+"|"+string(t.GroupKey(nil, tr.row))] = true
		}
		kept := slices.DeleteFunc(slices.Clone(rows), func(tr tableRow) bool {
			for _, ref := range catalog.References(catalog.TableByName(tr.table), tr.row) {
				if !keys[ref.Table+"|"+ref.Key] {
					return true
				}
			}
			return false
		})
		if len(kept) == len(rows) {
			break
		}
		rows = kept
	}
	out, valid := &world{rows: rows}, true
	memoryOf(out).Check(func(f catalog.Finding) { valid = valid && f.Severity == catalog.Remark })
	if !valid {
		return nil
	}
	return out
}

// stillAsks tells whether the world still has the names that a question uses.
func stillAsks(w *world, a ask) bool {
	names := map[string]bool{}
	for _, tr := range w.rows {
		switch r := tr.row.(type) {
		case *catalog.Mark:
			names["mark "+r.Mark] = true
		case *catalog.Site:
			if r.Scope == catalog.OfFamily {
				names["mark "+r.Site] = true
			}
		case *catalog.Role:
			names["role "+r.Role] = true
		case *catalog.WorkScope:
			names["work "+r.Work] = true
		case *catalog.Layout:
			names["layout "+r.Assembly] = true
		}
	}
	for _, o := range a.question.Saw {
		if !names["mark "+o.Mark] {
			return false
		}
	}
	for _, r := range a.question.Roles {
		if !names["role "+r] {
			return false
		}
	}
	for _, s := range a.question.Work {
		if !names["work "+s] {
			return false
		}
	}
	return true
}

func smallerAsks(a ask) []ask {
	var out []ask
	put := func(change func(*ask)) {
		b := a
		change(&b)
		out = append(out, b)
	}
	cut := func(list []string, i int) []string { return slices.Delete(slices.Clone(list), i, i+1) }
	for i := range a.parts {
		put(func(b *ask) { b.parts = cut(a.parts, i) })
	}
	for i := range a.question.Labels {
		if a.question.Plate != "" || len(a.question.Labels) > 1 {
			put(func(b *ask) { b.question.Labels = cut(a.question.Labels, i) })
		}
	}
	for i := range a.question.Saw {
		put(func(b *ask) { b.question.Saw = slices.Delete(slices.Clone(a.question.Saw), i, i+1) })
	}
	for i := range a.question.Work {
		put(func(b *ask) { b.question.Work = cut(a.question.Work, i) })
	}
	for i := range a.question.Roles {
		put(func(b *ask) { b.question.Roles = cut(a.question.Roles, i) })
	}
	if a.question.Plate != "" && len(a.question.Labels) > 0 {
		put(func(b *ask) { b.question.Plate = "" })
	}
	if a.question.Serial != 0 {
		put(func(b *ask) { b.question.Serial = 0 })
	}
	if a.question.Built != 0 {
		put(func(b *ask) { b.question.Built = 0 })
	}
	return out
}

// printed gives the rows that a decision can depend on, one a line, without
// empty cells and sources.
func printed(w *world, a ask) string {
	var b strings.Builder
	for _, tr := range w.rows {
		if tr.table == catalog.TSources || tr.table == catalog.TMakers {
			continue
		}
		fmt.Fprintf(&b, "  %s:", tr.table)
		for _, c := range catalog.TableByName(tr.table).Columns {
			s := c.Get(tr.row)
			switch c.Name {
			case "source", "why", "how", "name", "text", "example", "effort", "maker", "dated", "author", "confirmed":
				continue
			}
			if s != "" {
				fmt.Fprintf(&b, " %s=%s", c.Name, s)
			}
		}
		b.WriteByte('\n')
	}
	fmt.Fprintf(&b, "  question: %s", printedAsk(a))
	return b.String()
}

func printedAsk(a ask) string {
	q := a.question
	var out []string
	put := func(name, value string) {
		if value != "" {
			out = append(out, name+" "+value)
		}
	}
	put("plate", q.Plate)
	for _, l := range q.Labels {
		put("label", l)
	}
	for _, o := range q.Saw {
		put("saw", o.Mark+"="+o.Value)
	}
	put("serial", q.Serial.String())
	put("built", q.Built.String())
	put("work", strings.Join(q.Work, ", "))
	put("roles", strings.Join(q.Roles, ", "))
	put("parts", strings.Join(a.parts, ", "))
	return strings.Join(out, "; ")
}

// resolved compares the resolver of package resolve with the judge.
func resolved(w *world, a ask, said [][]string) []string {
	got, err := decide(resolve.New(memoryOf(w), resolve.Edition{Name: "made"}), a)
	if err != nil {
		return []string{"+ error " + err.Error()}
	}
	return differences(got, said)
}
