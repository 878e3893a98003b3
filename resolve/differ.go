package resolve

import (
	"cmp"
	"encoding/json"
	"slices"

	"platewright/catalog"
)

// Difference is what two decisions about one unit, such as on two editions of
// the catalogue, decide differently.
type Difference struct {
	Assemblies []AssemblyDiffers `json:"assemblies"`
	Roles      []RoleDiffers     `json:"roles"`
}

// Any tells whether anything is decided differently.
func (d *Difference) Any() bool { return len(d.Assemblies)+len(d.Roles) > 0 }

// AssemblyDiffers is an assembly that can be something else than before.
type AssemblyDiffers struct {
	Assembly string                `json:"assembly"`
	Before   []catalog.VariantCode `json:"before"` // candidates, as far as they were listed
	After    []catalog.VariantCode `json:"after"`
	Was      Basis                 `json:"was,omitempty"`
	Is       Basis                 `json:"is,omitempty"`
}

// RoleDiffers is a role of which something else is to be ordered or held.
type RoleDiffers struct {
	Role   string   `json:"role"`
	Name   string   `json:"name"`
	Before []Stand  `json:"before"` // its lines before; none where the role was not asked
	After  []Stand  `json:"after"`
	Gone   []Reason `json:"gone"` // reasons that there were before and are no longer
	Come   []Reason `json:"come"` // reasons that there were not before
}

// Stand is how a line of a role stands.
type Stand struct {
	Position   string      `json:"position,omitempty"`
	Verdict    Verdict     `json:"verdict"`
	Safe       bool        `json:"safe"` // to order
	Items      []TakenItem `json:"items"`
	Companions []TakenItem `json:"companions"`
}

// Differ tells what is decided differently in after than in before, both of them
// decisions about the same question.
func Differ(before, after *Decision) Difference {
	out := Difference{Assemblies: []AssemblyDiffers{}, Roles: []RoleDiffers{}}
	states := func(d *Decision) map[string]AssemblyState {
		m := map[string]AssemblyState{}
		for _, a := range d.Assemblies {
			m[a.Assembly] = a
		}
		return m
	}
	was, is := states(before), states(after)
	for _, name := range either(was, is) {
		a, b := was[name], is[name]
		x := AssemblyDiffers{Assembly: name, Before: codes(a), After: codes(b), Was: a.Basis, Is: b.Basis}
		if a.Total != b.Total || a.Basis != b.Basis || !slices.Equal(slices.Sorted(slices.Values(x.Before)), slices.Sorted(slices.Values(x.After))) {
			out.Assemblies = append(out.Assemblies, x)
		}
	}
	roles := func(d *Decision) map[string]*RoleAnswer {
		m := map[string]*RoleAnswer{}
		for i := range d.Roles {
			m[d.Roles[i].Role] = &d.Roles[i]
		}
		return m
	}
	old, now := roles(before), roles(after)
	for _, name := range either(old, now) {
		a, b := old[name], now[name]
		x := RoleDiffers{Role: name, Before: stands(before, a), After: stands(after, b)}
		if slices.EqualFunc(x.Before, x.After, sameStand) {
			continue
		}
		x.Name = cmp.Or(b, a).Name
		wasProof, isProof := proofOf(before, a), proofOf(after, b)
		x.Gone, x.Come = spokenOf(notIn(wasProof, isProof), isProof), spokenOf(notIn(isProof, wasProof), wasProof)
		out.Roles = append(out.Roles, x)
	}
	return out
}

// StandOf gives how the line of a role at a position stands in a decision, and
// whether there is such a line.
func StandOf(d *Decision, role, position string) (Stand, bool) {
	for i := range d.Roles {
		if catalog.Fold(d.Roles[i].Role) != catalog.Fold(role) {
			continue
		}
		list := stands(d, &d.Roles[i])
		for _, s := range list {
			if catalog.FoldValue(s.Position) == catalog.FoldValue(position) {
				return s, true
			}
		}
		if len(list) == 1 && list[0].Position == "" {
			return list[0], true // the role as a whole
		}
	}
	return Stand{Items: []TakenItem{}, Companions: []TakenItem{}}, false
}

func codes(a AssemblyState) []catalog.VariantCode {
	out := make([]catalog.VariantCode, len(a.Candidates))
	for i, c := range a.Candidates {
		out[i] = c.Variant
	}
	return out
}

func either[T any](a, b map[string]T) []string {
	var out []string
	for k := range a {
		out = append(out, k)
	}
	for k := range b {
		if _, ok := a[k]; !ok {
			out = append(out, k)
		}
	}
	slices.Sort(out)
	return out
}

// stands gives the lines of a role by position; a role without lines is one.
func stands(d *Decision, ans *RoleAnswer) []Stand {
	if ans == nil {
		return []Stand{}
	}
	var out []Stand
	for _, l := range ans.Lines {
		s := Stand{Position: l.Position, Verdict: ans.Verdict, Items: []TakenItem{}, Companions: []TakenItem{}}
		if len(l.Choices) > 0 {
			s.Items, s.Companions = takenItems(l.Choices[0].Items), takenItems(l.Choices[0].Companions)
		}
		s.Safe = slices.ContainsFunc(d.SafeToOrder, func(o OrderLine) bool { return o.Role == ans.Role && o.Position == l.Position })
		out = append(out, s)
	}
	if len(out) == 0 {
		out = append(out, Stand{Verdict: ans.Verdict, Items: []TakenItem{}, Companions: []TakenItem{}})
	}
	slices.SortStableFunc(out, func(a, b Stand) int { return cmp.Compare(a.Position, b.Position) })
	return out
}

func takenItems(items []Item) []TakenItem {
	out := make([]TakenItem, len(items))
	for i, it := range items {
		out[i] = TakenItem{Part: it.Part, Qty: it.Qty, Litres: it.Litres}
	}
	return out
}

func sameStand(a, b Stand) bool {
	same := func(x, y TakenItem) bool {
		return x.Part.Key() == y.Part.Key() && x.Qty == y.Qty && x.Litres.Equal(y.Litres)
	}
	return a.Position == b.Position && a.Verdict == b.Verdict && a.Safe == b.Safe && slices.EqualFunc(a.Items, b.Items, same) && slices.EqualFunc(a.Companions, b.Companions, same)
}

// proofOf gathers the reasons of a role's answer.
func proofOf(d *Decision, ans *RoleAnswer) []Reason {
	if ans == nil {
		return nil
	}
	out := slices.Clone(ans.Reasons)
	lines := func(ls []Line) {
		for _, l := range ls {
			for _, c := range l.Choices {
				out = append(out, c.Trail...)
			}
		}
	}
	lines(ans.Lines)
	if len(ans.Lines) == 0 {
		for _, g := range ans.Groups {
			lines(g.Lines)
		}
	}
	for _, h := range d.Held {
		if h.Role == ans.Role {
			out = append(out, h.Why...)
		}
	}
	return out
}

// spokenOf leaves out what is said of a part itself, such as that it is sold or
// replaced, where the other proof does not speak of that: nothing is known there of
// its being otherwise.
func spokenOf(rs, other []Reason) []Reason {
	sold := func(r Reason) bool { return r.Code == ReasonSold || r.Code == ReasonEnded }
	return slices.DeleteFunc(rs, func(r Reason) bool {
		switch r.Code {
		case ReasonSold, ReasonEnded, ReasonReplaced, ReasonInterchange, ReasonSplit, ReasonCompanion:
			return !slices.ContainsFunc(other, func(o Reason) bool {
				return o.Part.Key() == r.Part.Key() && (!sold(r) || sold(o)) || !sold(r) && o.Other != "" && o.Other.Key() == r.Part.Key()
			})
		}
		return false
	})
}

// notIn gives the reasons of a that b has not, each once.
func notIn(a, b []Reason) []Reason {
	key := func(r Reason) string {
		text, _ := json.Marshal(r) // strings and numbers only
		return string(text)
	}
	seen := map[string]bool{}
	for _, r := range b {
		seen[key(r)] = true
	}
	out := []Reason{}
	for _, r := range a {
		if k := key(r); !seen[k] && len(out) < maxListed {
			seen[k] = true
			out = append(out, r)
		}
	}
	return out
}
