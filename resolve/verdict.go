package resolve

import (
	"cmp"
	"slices"
	"strings"

	"platewright/catalog"
)

// maxListed bounds what a decision lists of one kind; totals are always given.
const maxListed = 50

// judge gives the verdict of a role over all worlds of all candidates (V1),
// with the lines that all of them share.
func judge(cos []candidateOutcome) (Verdict, []Line) {
	if len(cos) == 0 {
		return NotSettled, nil
	}
	kind := cos[0].o.kind
	for _, c := range cos[1:] {
		if c.o.kind != kind {
			return NotSettled, nil
		}
	}
	switch kind {
	case OutcomeDoesNotFit:
		return DoesNotFit, nil
	case OutcomeNoStatement:
		return NotSettled, nil
	}
	lines := cos[0].o.lines
	if len(cos) == 1 {
		return Fits, lines
	}
	shared := make([]Line, len(lines))
	for i, l := range lines {
		shared[i] = Line{Position: l.Position, Choices: slices.Clone(l.Choices)}
	}
	for _, c := range cos[1:] {
		if len(c.o.lines) != len(shared) {
			return NotSettled, nil
		}
		for i := range shared {
			l := &shared[i]
			if catalog.FoldValue(c.o.lines[i].Position) != catalog.FoldValue(l.Position) {
				return NotSettled, nil
			}
			kept := l.Choices[:0]
			for _, have := range l.Choices {
				k := have.key()
				j := slices.IndexFunc(c.o.lines[i].Choices, func(o Choice) bool { return o.key() == k })
				if j < 0 {
					continue
				}
				o := c.o.lines[i].Choices[j]
				have.Rank, have.Steps = max(have.Rank, o.Rank), max(have.Steps, o.Steps)
				kept = append(kept, have)
			}
			if len(kept) == 0 {
				return NotSettled, nil
			}
			l.Choices = kept
		}
	}
	for i := range shared {
		sortChoices(shared[i].Choices)
	}
	return Fits, shared
}

// groups gathers worlds with the same outcome (V2).
func groups(cos []candidateOutcome) []Group {
	if len(cos) == 1 {
		return []Group{{Outcome: cos[0].o.kind, Nothing: cos[0].o.nothing(), Lines: orEmpty(cos[0].o.lines), Members: []Member{member(cos[0])}, Total: 1}}
	}
	type gathered struct {
		key string
		g   Group
	}
	var list []*gathered
	index := map[string]*gathered{}
	for _, c := range cos {
		k := c.o.groupKey()
		g := index[k]
		if g == nil {
			g = &gathered{key: k, g: Group{Outcome: c.o.kind, Nothing: c.o.nothing(), Lines: orEmpty(c.o.lines)}}
			index[k] = g
			list = append(list, g)
		}
		g.g.Total++
		g.g.Nothing = g.g.Nothing && c.o.nothing()
		if len(g.g.Members) < maxListed {
			g.g.Members = append(g.g.Members, member(c))
		}
	}
	order := map[OutcomeKind]int{OutcomeFits: 0, OutcomeDoesNotFit: 1, OutcomeNoStatement: 2}
	slices.SortFunc(list, func(a, b *gathered) int {
		return cmp.Or(cmp.Compare(order[a.g.Outcome], order[b.g.Outcome]), -cmp.Compare(a.g.Total, b.g.Total), strings.Compare(a.key, b.key))
	})
	out := make([]Group, len(list))
	for i, g := range list {
		out[i] = g.g
	}
	return out
}

// onlyGroup is groups for one world of one candidate, as most roles have it. The
// groups of all roles share one piece of memory.
func (d *decider) onlyGroup(c *candidateOutcome) []Group {
	if len(d.groups) == cap(d.groups) {
		d.groups, d.members = make([]Group, 0, len(d.asked)), make([]Member, 0, len(d.asked))
	}
	n := len(d.groups)
	d.members = append(d.members, member(*c))
	d.groups = append(d.groups, Group{Outcome: c.o.kind, Nothing: c.o.nothing(), Lines: orEmpty(c.o.lines), Members: d.members[n : n+1 : n+1], Total: 1})
	return d.groups[n : n+1 : n+1]
}

func member(c candidateOutcome) Member {
	return Member{Variant: c.v.row.Variant, When: orEmpty(c.w.when)}
}

// orEmpty keeps null out of the JSON.
func orEmpty[T any](s []T) []T {
	if s == nil {
		return []T{}
	}
	return s
}

// askedRole is a role that the question asks for.
type askedRole struct {
	role *roleInfo
	key  string
	need catalog.Need
	why  string
	only *outcome // when it is answered: the outcome, where there is one world of one candidate
}

// answerRole works out one role over the candidates of its assembly.
func (d *decider) answerRole(a *askedRole) (RoleAnswer, error) {
	ans := RoleAnswer{Role: a.role.row.Role, Name: a.role.row.Name, Assembly: a.role.row.Assembly, Kind: a.role.row.Kind, OneTime: a.role.row.OneTime,
		Need: a.need, Why: a.why, Lines: []Line{}, Groups: []Group{}, Reasons: []Reason{}}
	as := d.assembly(a.role.assembly)
	if as != nil && as.tooMany {
		ans.Reasons = append(ans.Reasons, Reason{Code: ReasonTooMany, Assembly: a.role.row.Assembly, Role: a.role.row.Role, Count: as.total})
		return ans, nil
	}
	if as == nil || len(as.cands) == 0 {
		code := ReasonNoCandidates
		if as != nil && as.basis == BasisConflict {
			code = ReasonConflict
		}
		ans.Reasons = append(ans.Reasons, Reason{Code: code, Assembly: a.role.row.Assembly, Role: a.role.row.Role})
		return ans, nil
	}
	cos, err := d.roleOutcomes(*a, as)
	if err != nil {
		return ans, err
	}
	v, lines := judge(cos)
	ans.Verdict, ans.Lines = v, orEmpty(lines)
	if len(cos) == 1 {
		ans.Groups, a.only = d.onlyGroup(&cos[0]), cos[0].o
	} else {
		ans.Groups = groups(cos)
	}
	ans.Reasons = roleReasons(*a, as, cos, v)
	return ans, nil
}

// roleOutcomes gives the worlds of all candidates of an assembly in a role.
func (d *decider) roleOutcomes(a askedRole, as *assemblyWork) ([]candidateOutcome, error) {
	// All roles share one piece of memory as long as it suffices.
	from := len(d.worlds)
	for _, v := range as.cands {
		var err error
		if d.worlds, err = d.r.appendOutcomes(d.worlds, v, a.role, as.known, d.fill); err != nil {
			return nil, err
		}
	}
	cos := slices.Clip(d.worlds[from:])
	if !d.bearsOn(d.assemblies[0].key, as) {
		for i := range cos {
			cos[i].apart = true
		}
	}
	d.outcomes[a.key] = cos
	return cos, nil
}

func roleReasons(a askedRole, as *assemblyWork, cos []candidateOutcome, v Verdict) []Reason {
	var out []Reason
	if as.basis == BasisAsBuilt || as.assumed {
		if as.asBuilt == nil {
			as.asBuilt = []Reason{{Code: ReasonAsBuilt, Assembly: as.row.Assembly}}
		}
		out = slices.Clip(as.asBuilt) // the same for every role; more is added to a copy
	}
	var seen map[string]bool // few roles have reasons to tell apart
	unstated := 0
	for _, c := range cos {
		if c.o.kind == OutcomeNoStatement {
			unstated++
		}
		for _, r := range c.o.reasons {
			id := strings.Join([]string{string(r.Code), r.Table, r.Row, string(r.Variant), r.Position, r.Spec}, "\x00")
			if !seen[id] && len(seen) < maxListed {
				if seen == nil {
					seen = map[string]bool{}
				}
				seen[id] = true
				out = append(out, r)
			}
		}
	}
	switch {
	case v != NotSettled && len(as.cands) > 1:
		out = append(out, Reason{Code: ReasonAllAgree, Role: a.role.row.Role, Count: len(as.cands)})
	case v == NotSettled && unstated > 0:
		out = append(out, Reason{Code: ReasonSomeUnstated, Role: a.role.row.Role, Count: unstated})
	case v == NotSettled:
		out = append(out, Reason{Code: ReasonDiffer, Role: a.role.row.Role, Count: len(cos)})
	}
	if v == NotSettled {
		open := map[string]bool{}
		for _, c := range cos {
			for _, w := range c.w.when {
				k := string(w.Kind) + w.Mark
				if !open[k] && len(open) < maxListed {
					open[k] = true
					r := Reason{Code: ReasonConditionOpen, Variant: c.v.row.Variant, Role: a.role.row.Role, Mark: w.Mark}
					if w.Kind != StatementMark {
						r.Value = string(w.Kind)
					}
					out = append(out, r)
				}
			}
		}
	}
	return orEmpty(out)
}

// gate sorts the lines of all roles into those safe to order and those held (V3).
func (d *decider) gate() error {
	dec := d.dec
	conflict := len(dec.Conflicts) > 0
	dec.SafeToOrder = make([]OrderLine, 0, len(dec.Roles))
	for i := range dec.Roles {
		ans := &dec.Roles[i]
		held := func(line *Line, part catalog.PartNo, why, release []Reason) {
			h := HeldLine{Role: ans.Role, Need: ans.Need, Part: part, Why: why, Release: release}
			if line != nil {
				h.Position = line.Position
			}
			dec.Held = append(dec.Held, h)
		}
		if ans.Verdict == NotSettled {
			why := []Reason{{Code: ReasonNotSettled, Role: ans.Role}}
			why = append(why, ans.Reasons...)
			held(nil, "", why, d.release(ans))
			continue
		}
		if ans.Verdict == DoesNotFit {
			// Where the unit takes nothing there is nothing to wait for; where
			// every part stated is ruled out, something is still needed.
			cos := d.outcomes[d.asked[i].key]
			if slices.ContainsFunc(cos, func(c candidateOutcome) bool { return c.o.none == nil }) {
				held(nil, "", append([]Reason{{Code: ReasonPositionUnfilled, Role: ans.Role}}, ans.Reasons...), []Reason{{Code: ReleaseStatement, Role: ans.Role}})
			}
			continue
		}
		for j := range ans.Lines {
			line := &ans.Lines[j]
			c := &line.Choices[0]
			var why, release []Reason
			if conflict {
				for _, x := range dec.Conflicts {
					why = append(why, Reason{Code: ReasonConflict, Assembly: x.Assembly})
					release = append(release, Reason{Code: ReleaseConflict, Assembly: x.Assembly})
				}
			}
			if as := d.bySlip(d.assembly(d.asked[i].role.assembly)); as != nil {
				why = append(why, Reason{Code: ReasonBySlip, Assembly: as.row.Assembly})
				release = append(release, Reason{Code: ReleaseReading, Assembly: as.row.Assembly})
			}
			if !c.Buyable {
				for _, it := range append(slices.Clone(c.Items), c.Companions...) {
					p, err := d.r.part(it.Part.Key())
					if err != nil {
						return err
					}
					if p != nil && p.Status != catalog.PartSold {
						why = append(why, Reason{Code: ReasonNotBuyable, Part: it.Part, Role: ans.Role, Position: line.Position})
						release = append(release, Reason{Code: ReleaseSource, Part: it.Part, Role: ans.Role})
					}
				}
			}
			if ans.Kind == catalog.RoleFluid && d.fill != catalog.FillNone && d.fill != "" && !c.Items[0].Litres.Known {
				why = append(why, Reason{Code: ReasonVolumeUnknown, Role: ans.Role, Part: c.Items[0].Part})
				release = append(release, Reason{Code: ReleaseStatement, Role: ans.Role, Table: catalog.TFills})
			}
			look := true
			if only := d.asked[i].only; only != nil {
				var err error
				if look, err = d.r.noted(only); err != nil {
					return err
				}
			}
			var notes []*catalog.Note
			if look {
				var err error
				if notes, err = d.notesAgainst(c); err != nil {
					return err
				}
			}
			for _, n := range notes {
				why = append(why, Reason{Code: ReasonNoteAgainst, Table: catalog.TNotes, Row: n.Of + " / " + n.Note, Part: catalog.PartNo(n.Of), Note: n.Text})
				rel := Reason{Code: ReleaseNote, Table: catalog.TNotes, Row: n.Of + " / " + n.Note, Part: catalog.PartNo(n.Of)}
				for _, o := range line.Choices[1:] {
					against, err := d.notesAgainst(&o)
					if err != nil {
						return err
					}
					if o.Buyable && len(against) == 0 {
						rel.Other = o.Items[0].Part
						break
					}
				}
				release = append(release, rel)
			}
			if len(why) > 0 {
				held(line, c.Items[0].Part, why, orEmpty(release))
				continue
			}
			dec.SafeToOrder = append(dec.SafeToOrder, OrderLine{Role: ans.Role, Position: line.Position, Need: ans.Need, Items: c.Items, Companions: append([]Item{}, c.Companions...)})
		}
	}
	// A companion that another line brings in full is not bought twice.
	for i := range dec.SafeToOrder {
		for j := range dec.SafeToOrder[i].Companions {
			c := &dec.SafeToOrder[i].Companions[j]
			for k := range dec.SafeToOrder {
				other := &dec.SafeToOrder[k]
				if k != i && slices.ContainsFunc(other.Items, func(it Item) bool {
					return it.Qty >= c.Qty && it.Part == c.Part // both as the table of parts spells them
				}) {
					c.CoveredBy = other.Role
					break
				}
			}
		}
	}
	return nil
}

// release says what would settle a role.
func (d *decider) release(ans *RoleAnswer) []Reason {
	var out []Reason
	for _, x := range d.dec.Conflicts {
		out = append(out, Reason{Code: ReleaseConflict, Assembly: x.Assembly})
	}
	for _, r := range ans.Reasons {
		switch r.Code {
		case ReasonNoCandidates, ReasonTooMany:
			out = append(out, Reason{Code: ReleaseReading, Assembly: ans.Assembly})
		case ReasonNoStatement, ReasonPositionUnfilled, ReasonNoFluid:
			out = append(out, Reason{Code: ReleaseStatement, Variant: r.Variant, Role: ans.Role, Position: r.Position, Spec: r.Spec})
		}
	}
	if n := d.dec.NextCheck; n != nil && d.checkHelps[ans.Role] {
		r := Reason{Code: ReleaseCheck, Mark: n.Mark, Role: ans.Role}
		if n.Kind != CheckMark {
			r.Value = string(n.Kind)
		}
		out = append(out, r)
	}
	return orEmpty(out)
}

// notesOn gives the notes about something that speak of the candidates'
// families.
func (d *decider) notesOn(on catalog.NoteOn, of string) ([]*catalog.Note, error) {
	key := catalog.MakeKey(catalog.Fold(string(on)), of)
	if n, ok := d.notes[key]; ok {
		return n, nil
	}
	rows, err := d.r.notes(key)
	if err != nil {
		return nil, err
	}
	var out []*catalog.Note
	for _, n := range rows {
		if n.State != catalog.NoteWithdrawn && d.concerns(n) {
			out = append(out, n)
		}
	}
	if d.notes == nil {
		d.notes = map[string][]*catalog.Note{}
	}
	d.notes[key] = out
	d.noteOrder = append(d.noteOrder, key)
	return out, nil
}

// concerns tells whether a note speaks of a family of the candidates, or of one
// of them.
func (d *decider) concerns(n *catalog.Note) bool {
	if n.Shop != nil && n.Shop.Variant != "" {
		return d.candidate(n.Shop.Variant.Key())
	}
	return n.Family == "" || d.families[catalog.Fold(n.Family)]
}

// notesAgainst gives the confirmed notes that a part of the choice did not fit.
func (d *decider) notesAgainst(c *Choice) ([]*catalog.Note, error) {
	var out []*catalog.Note
	for _, items := range [][]Item{c.Items, c.Companions} {
		for i := range items {
			notes, err := d.r.partNotes(items[i].Part)
			if err != nil {
				return nil, err
			}
			for _, n := range notes {
				if confirmedMisfit(n) && d.concerns(n) {
					out = append(out, n)
				}
			}
		}
	}
	return out, nil
}

// noted tells whether a confirmed note says of the first choice in any line of an
// outcome that it did not fit. It is remembered with what many units share, so
// that the notes of one part are not looked up for each unit that takes it.
func (r *reader) noted(o *outcome) (bool, error) {
	if o.noted.read {
		return o.noted.value, nil
	}
	noted := false
	for i := range o.lines {
		first := &o.lines[i].Choices[0]
		at := new(lazy[bool])
		for _, s := range o.stated {
			// Mostly the line begins with what is bought first of a stated part.
			if s.bought != nil && len(s.bought.choices) > 0 && &s.bought.choices[0].Items[0] == &first.Items[0] {
				at = &s.bought.noted
				break
			}
		}
		if !at.read {
			some, err := r.didNotFit(first)
			if err != nil {
				return false, err
			}
			*at = lazy[bool]{some, true}
		}
		noted = noted || at.value
	}
	o.noted = lazy[bool]{noted, true}
	return noted, nil
}

// didNotFit tells whether a confirmed note says of an item or companion of the
// choice that it did not fit, in whatever family.
func (r *reader) didNotFit(c *Choice) (bool, error) {
	for _, items := range [][]Item{c.Items, c.Companions} {
		for i := range items {
			notes, err := r.partNotes(items[i].Part)
			if err != nil {
				return false, err
			}
			if slices.ContainsFunc(notes, confirmedMisfit) {
				return true, nil
			}
		}
	}
	return false, nil
}

func confirmedMisfit(n *catalog.Note) bool {
	return n.Kind == catalog.NoteDidNotFit && n.State == catalog.NoteConfirmed
}

// collectNotes lists the notes on everything that the answer names.
func (d *decider) collectNotes() error {
	look := func(on catalog.NoteOn, of string) error {
		_, err := d.notesOn(on, of)
		return err
	}
	for i := range d.dec.Roles {
		ans := &d.dec.Roles[i]
		var lines []Line
		lines = append(lines, ans.Lines...)
		for _, g := range ans.Groups {
			lines = append(lines, g.Lines...)
		}
		for _, l := range lines {
			for _, c := range l.Choices {
				for _, it := range append(slices.Clone(c.Items), c.Companions...) {
					if err := look(catalog.NoteOnPart, it.Part.Key()); err != nil {
						return err
					}
				}
				if err := look(catalog.NoteOnPart, c.Stated.Key()); err != nil {
					return err
				}
			}
		}
	}
	for _, as := range d.assemblies {
		if len(as.cands) <= maxListed {
			for _, v := range as.cands {
				if err := look(catalog.NoteOnVariant, v.key); err != nil {
					return err
				}
			}
		}
	}
	for f := range d.families {
		if err := look(catalog.NoteOnFamily, f); err != nil {
			return err
		}
	}
	for _, o := range d.dec.Observations {
		if err := look(catalog.NoteOnMark, catalog.Fold(o.Mark)); err != nil {
			return err
		}
	}
	for _, w := range d.work {
		if err := look(catalog.NoteOnWork, catalog.Fold(w.Work)); err != nil {
			return err
		}
	}
	slices.Sort(d.noteOrder)
	for _, k := range slices.Compact(d.noteOrder) {
		for _, n := range d.notes[k] {
			// A note on a number is found by the number and by the part.
			if n.On != catalog.NoteOnNumber || !slices.ContainsFunc(d.dec.Notes, func(o Note) bool { return o.Note == n.Note && o.On == n.On }) {
				d.dec.Notes = append(d.dec.Notes, showNote(n))
			}
		}
	}
	return d.shopNotes()
}
