package resolve

import (
	"slices"
	"strings"

	"platewright/catalog"
	"platewright/resolve/plate"
)

// findPart gives the part that goes by a number (V4): its own number first,
// then the other numbers. It is nil if there is none, or if notes of the shop
// differ about what the number stands for.
func (r *reader) findPart(number string) (*catalog.Part, *catalog.Number, error) {
	key := catalog.Fold(number)
	p, err := r.part(key)
	if err != nil || p != nil {
		return p, nil, err
	}
	ns, err := group[catalog.Number](r.cat, catalog.TableByName(catalog.TNumbers), catalog.MakeKey(key))
	if err != nil || len(ns) != 1 {
		return nil, nil, err
	}
	p, err = r.part(ns[0].Part.Key())
	return p, ns[0], err
}

// nearParts gives the numbers that one slip would turn into the one asked for.
func (r *reader) nearParts(key string) ([]catalog.PartNo, error) {
	out := []catalog.PartNo{}
	var keys []string
	if err := plate.Neighbours(plate.TrimSep(partCodes{r.cat, r.tParts}), key, func(n plate.Neighbour) bool {
		keys = append(keys, n.Key)
		return len(keys) < maxNearParts
	}); err != nil {
		return nil, err
	}
	for _, k := range keys {
		p, err := r.part(k)
		if err != nil {
			return nil, err
		}
		if p != nil {
			out = append(out, p.Part)
		}
	}
	return out, nil
}

// maxNearParts is how many near numbers are listed; more would not help.
const maxNearParts = 6

// partCodes are the keys of all parts.
type partCodes struct {
	cat Catalogue
	t   *catalog.Table
}

func (c partCodes) Seek(from string) (string, bool, error) { return c.cat.Seek(c.t, from) }

// stance is what one world says about a part in a role.
type stance struct {
	verdict Verdict // NotSettled: nothing is stated
	trail   []Reason
}

// stanceOf works out what a world says about the part (V4).
func (r *reader) stanceOf(key string, c candidateOutcome, role *catalog.Role) (stance, error) {
	if f := c.o.out[key]; f != nil {
		return stance{DoesNotFit, []Reason{fitReason(ReasonStatedAgainst, f, c.v)}}, nil
	}
	if c.o.none != nil {
		return stance{DoesNotFit, []Reason{fitReason(ReasonTakesNone, c.o.none, c.v)}}, nil
	}
	if role.Kind == catalog.RoleFluid {
		for _, l := range c.o.lines {
			for _, ch := range l.Choices {
				if ch.Items[0].Part.Key() == key {
					return stance{Fits, ch.Trail}, nil
				}
			}
		}
	}
	for _, x := range c.o.belied {
		if x.key == key {
			return stance{NotSettled, slices.Concat(x.trail, x.belied)}, nil
		}
	}
	for _, s := range c.o.stated {
		trail, ok, err := r.leads(s.key, key, c.o.out, 0)
		if err != nil {
			return stance{}, err
		}
		if ok {
			return stance{Fits, append([]Reason{fitReason(ReasonStated, s.fit, c.v)}, trail...)}, nil
		}
	}
	if c.o.kind == OutcomeFits {
		reason := Reason{Code: ReasonOtherFits, Role: role.Role, Variant: c.v.row.Variant, Part: c.o.lines[0].Choices[0].Items[0].Part}
		return stance{DoesNotFit, append([]Reason{reason}, c.o.lines[0].Choices[0].Trail...)}, nil
	}
	return stance{NotSettled, c.o.reasons}, nil
}

// leads follows supersessions from a stated part to another (O5), through what
// is not ruled out.
func (r *reader) leads(from, to string, out ruledOut, depth int) ([]Reason, bool, error) {
	start, err := r.partInfo(from)
	if err != nil || start.row == nil || out[from] != nil || depth > 32 {
		return nil, false, err
	}
	ways, splits, err := r.ways(start, 1, out)
	if err != nil {
		return nil, false, err
	}
	for _, w := range ways {
		if w.part.key == to {
			return w.trail, true, nil
		}
	}
	// A piece of a split serves only together with the others, so it is reached
	// only where the split itself is a choice.
	for _, s := range splits {
		f, ok, err := r.fillSplit(s, out, depth)
		if err != nil {
			return nil, false, err
		}
		if ok && slices.ContainsFunc(f.items, func(w way) bool { return w.part.key == to }) {
			return f.trail, true, nil
		}
	}
	return nil, false, nil
}

// answerPart works out the verdict about the part asked for.
func (d *decider) answerPart() error {
	ans := &PartAnswer{Asked: d.q.Part, Roles: []PartRole{}, Reasons: []Reason{}, Against: []Reason{}, Near: []catalog.PartNo{}, Notes: []Note{}}
	d.dec.Part = ans
	p, other, err := d.r.findPart(d.q.Part)
	if err != nil {
		return err
	}
	if p == nil {
		unclear, err := d.unclearAlias(ans)
		if err != nil || unclear {
			return err
		}
		ans.Reasons = append(ans.Reasons, Reason{Code: ReasonUnknownPart, Value: d.q.Part})
		ans.Near, err = d.r.nearParts(catalog.Fold(d.q.Part))
		return err
	}
	ans.Part, ans.Name, ans.Status = p.Part, p.Name, p.Status
	switch {
	case other == nil:
	case other.By != nil:
		d.byAlias(ans, other)
	default:
		ans.Reasons = append(ans.Reasons, Reason{Code: ReasonGoesBy, Table: catalog.TNumbers, Row: other.Number, Source: other.Source, Value: d.q.Part, Part: p.Part})
	}
	key := p.Part.Key()
	roles, err := d.rolesOfPart(key, p.Kind)
	if err != nil {
		return err
	}
	open, fits := false, false
	for _, rk := range roles {
		role := d.r.roles[rk]
		as := d.assembly(role.assembly)
		pr := PartRole{Role: role.row.Role, Assembly: role.row.Assembly, FitsIn: []Member{}, NotIn: []Member{}, Unstated: []Member{}, Trail: []Reason{}, Instead: []Line{}, Take: []Choice{}}
		if as == nil || len(as.cands) == 0 || as.tooMany {
			open = true
			ans.Roles = append(ans.Roles, pr)
			continue
		}
		cos, ok := d.outcomes[rk]
		if !ok {
			if cos, err = d.roleOutcomes(askedRole{role: role, key: rk}, as); err != nil {
				return err
			}
		}
		counts := map[Verdict]int{}
		trails := map[Verdict][]Reason{}
		for _, c := range cos {
			s, err := d.r.stanceOf(key, c, role.row)
			if err != nil {
				return err
			}
			if counts[s.verdict]++; counts[s.verdict] == 1 {
				trails[s.verdict] = s.trail
			}
			list := map[Verdict]*[]Member{Fits: &pr.FitsIn, DoesNotFit: &pr.NotIn, NotSettled: &pr.Unstated}[s.verdict]
			if len(*list) < maxListed {
				*list = append(*list, member(c))
			}
		}
		switch len(cos) {
		case counts[Fits]:
			pr.Verdict, fits = Fits, true
			if _, lines := judge(cos); lines != nil {
				for _, l := range lines {
					for _, c := range l.Choices {
						if slices.ContainsFunc(c.Items, func(it Item) bool { return it.Part == p.Part }) {
							pr.Take = append(pr.Take, c)
						}
					}
				}
			}
		case counts[DoesNotFit]:
			pr.Verdict = DoesNotFit
			if v, lines := judge(cos); v == Fits {
				pr.Instead = orEmpty(lines)
			}
		default:
			open = true
		}
		for _, v := range []Verdict{Fits, DoesNotFit, NotSettled} {
			if pr.Verdict == v || pr.Verdict == NotSettled {
				pr.Trail = append(pr.Trail, trails[v]...)
			}
		}
		// Kits that fit here and hold the part.
		if pr.Verdict != Fits {
			kits, err := d.kitsHolding(key, cos)
			if err != nil {
				return err
			}
			for _, k := range kits {
				ans.Reasons = append(ans.Reasons, Reason{Code: ReasonInKit, Role: role.row.Role, Part: p.Part, Other: k})
			}
		}
		ans.Roles = append(ans.Roles, pr)
	}
	if len(roles) == 0 {
		ans.Reasons = append(ans.Reasons, Reason{Code: ReasonNoStatement, Part: p.Part})
		for _, a := range d.asked {
			kits, err := d.kitsHolding(key, d.outcomes[a.key])
			if err != nil {
				return err
			}
			for _, k := range kits {
				ans.Reasons = append(ans.Reasons, Reason{Code: ReasonInKit, Role: a.role.row.Role, Part: p.Part, Other: k})
			}
		}
	}
	var slip *assemblyWork
	for _, r := range ans.Roles {
		if as := d.bySlip(d.assembly(catalog.Fold(r.Assembly))); as != nil {
			slip = as
		}
	}
	switch {
	case len(d.dec.Conflicts) > 0:
		ans.Verdict = NotSettled
		for _, c := range d.dec.Conflicts {
			ans.Reasons = append(ans.Reasons, Reason{Code: ReasonConflict, Assembly: c.Assembly})
		}
	case slip != nil:
		ans.Verdict = NotSettled
		ans.Reasons = append(ans.Reasons, Reason{Code: ReasonBySlip, Assembly: slip.row.Assembly})
	case fits:
		ans.Verdict = Fits
	case len(roles) > 0 && !open:
		ans.Verdict = DoesNotFit
	}
	notes, err := d.notesOn(catalog.NoteOnPart, key)
	if err != nil {
		return err
	}
	on, err := d.notesOn(catalog.NoteOnNumber, catalog.Fold(d.q.Part))
	if err != nil {
		return err
	}
	for i, n := range slices.Concat(on, notes) {
		if i >= len(on) && slices.ContainsFunc(on, func(o *catalog.Note) bool { return o.Note == n.Note && o.On == n.On }) {
			continue // a note on the number itself is one on the part too
		}
		ans.Notes = append(ans.Notes, showNote(n))
		if n.Kind == catalog.NoteDidNotFit && n.State == catalog.NoteConfirmed {
			ans.Against = append(ans.Against, Reason{Code: ReasonNoteAgainst, Table: catalog.TNotes, Row: n.Of + " / " + n.Note, Part: p.Part, Note: n.Text})
		}
	}
	return nil
}

func (d *decider) kitsHolding(key string, cos []candidateOutcome) ([]catalog.PartNo, error) {
	var holders []string
	if err := d.r.cat.Referring(catalog.TableByName(catalog.TContents), "part", key, func(g string) bool {
		holders = append(holders, strings.TrimSuffix(g, string(catalog.KeySep)))
		return len(holders) < maxListed
	}); err != nil || len(holders) == 0 {
		return nil, err
	}
	var out []catalog.PartNo
	for _, c := range cos {
		for _, l := range c.o.lines {
			for _, ch := range l.Choices {
				for _, it := range ch.Items {
					if slices.Contains(holders, it.Part.Key()) && !slices.Contains(out, it.Part) {
						out = append(out, it.Part)
					}
				}
			}
		}
	}
	return out, nil
}

// maxReferring bounds the scopes that are looked into for the roles of a part
// that no candidate's statement names. A part has one role, or a few.
const maxReferring = 256

// rolesOfPart gives the keys of the roles in which the catalogue speaks of the
// part, sorted: for a candidate, or else anywhere.
func (d *decider) rolesOfPart(key string, kind catalog.PartKind) ([]string, error) {
	// What can lead to the part: itself and everything that it replaces.
	from := []string{key}
	for i := 0; i < len(from) && len(from) < maxWays; i++ {
		prev, err := d.r.replacedBy(from[i])
		if err != nil {
			return nil, err
		}
		for _, p := range prev {
			if !slices.Contains(from, p) {
				from = append(from, p)
			}
		}
	}
	roles := map[string]bool{}
	for _, f := range from {
		n := 0
		var groups []string
		if err := d.r.cat.Referring(d.r.tFits, "part", f, func(g string) bool {
			groups = append(groups, g)
			n++
			return n < maxReferring
		}); err != nil {
			return nil, err
		}
		for _, g := range groups {
			rows, err := group[catalog.Fit](d.r.cat, d.r.tFits, g)
			if err != nil {
				return nil, err
			}
			for _, row := range rows {
				if row.Part.Key() == f {
					roles[catalog.Fold(row.Role)] = true
				}
			}
		}
	}
	// Statements for the candidates themselves can lie beyond the bound.
	for _, as := range d.assemblies {
		for _, v := range as.cands {
			for _, fits := range []*fitsByRole{v.fits, v.fam.fits} {
				if fits == nil {
					continue
				}
				for _, f := range fits.all {
					if slices.Contains(from, f.Part.Key()) {
						roles[catalog.Fold(f.Role)] = true
					}
				}
			}
		}
	}
	if kind == catalog.PartFluid {
		for k, o := range d.r.roles {
			if o.row.Kind == catalog.RoleFluid {
				roles[k] = true
			}
		}
	}
	var out []string
	for k := range roles {
		if d.r.roles[k] != nil {
			out = append(out, k)
		}
	}
	slices.Sort(out)
	return out, nil
}

// replacedBy gives the keys of the parts from which supersession leads to the
// part in one step.
func (r *reader) replacedBy(key string) ([]string, error) {
	var out []string
	var groups []string
	if err := r.cat.Referring(r.tSupersessions, "new", key, func(g string) bool { groups = append(groups, g); return true }); err != nil {
		return nil, err
	}
	for _, g := range groups {
		out = append(out, strings.TrimSuffix(g, string(catalog.KeySep)))
	}
	rows, err := group[catalog.Supersession](r.cat, r.tSupersessions, catalog.MakeKey(key))
	if err != nil {
		return nil, err
	}
	for _, s := range rows {
		if s.Kind == catalog.TwoWay {
			out = append(out, s.New.Key())
		}
	}
	return out, nil
}
