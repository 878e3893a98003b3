package goods

import (
	"errors"
	"slices"

	"platewright/catalog"
	"platewright/resolve"
)

// Fit is what a part that was not ordered is for.
type Fit struct {
	Unit   *resolve.PartAnswer `json:"unit,omitempty"` // whether it fits the unit of the order; left out where the unit is not known
	Like   []Like              `json:"like"`           // lines of the order that it is taken for most easily
	Serves []Use               `json:"serves"`         // where the catalogue says that it fits, the unit's own family first
	Total  int                 `json:"total"`          // how many such places there are, listed or not
	InKits []catalog.PartNo    `json:"inKits"`         // kits and sets that hold it
}

// Like is a line of the order that a foreign part can have come for.
type Like struct {
	Line    int                 `json:"line"`
	Part    catalog.PartNo      `json:"part"`
	Why     LikeWhy             `json:"why"`
	Role    string              `json:"role,omitempty"`
	Variant catalog.VariantCode `json:"variant,omitempty"` // the look-alike that takes it
}

// LikeWhy says why a foreign part is like one that was ordered.
type LikeWhy string

const (
	LookAlikeTakes LikeWhy = "look-alike" // a unit that is easily taken for this one takes it in the same role
	ReplacedBy     LikeWhy = "replaced"   // what was ordered replaces it, and it does not serve for that
	PieceOf        LikeWhy = "piece"      // it replaces what was ordered only together with others
	InTheKit       LikeWhy = "in-kit"     // the kit that was ordered holds it
	OneSlip        LikeWhy = "slip"       // its number is one slip away
	SameRole       LikeWhy = "role"       // it is for the same role in other units
)

// Use is a place where the catalogue says that a part fits.
type Use struct {
	Scope  catalog.FitScope `json:"scope"`
	Of     string           `json:"of"`
	Family string           `json:"family,omitempty"`
	Role   string           `json:"role"`
	Name   string           `json:"name,omitempty"` // of the role
	Own    bool             `json:"own"`            // of the unit's own family
}

// mostUses is how many uses of a foreign part are listed.
const mostUses = 12

// answer gives what the decision about the unit says of a part; nil where the unit
// is not known.
func (d *Desk) answer(part catalog.PartNo) (*resolve.PartAnswer, error) {
	if d.question == nil {
		return nil, nil
	}
	if a, ok := d.answers[part.Key()]; ok {
		return a, nil
	}
	q := *d.question
	q.Part = string(part)
	dec, err := d.resolver.Decide(q, resolve.Options{NoLookAlikes: true, NoNextCheck: true, NoFigures: true, NoNear: true})
	if err != nil {
		return nil, err
	}
	d.answers[part.Key()] = dec.Part
	return dec.Part, nil
}

// fit tells what a part is for.
func (d *Desk) fit(part catalog.PartNo) (*Fit, error) {
	f := &Fit{Like: []Like{}, Serves: []Use{}, InKits: []catalog.PartNo{}}
	var err error
	if f.Unit, err = d.answer(part); err != nil {
		return nil, err
	}
	u, err := d.resolver.WhereUsed(string(part))
	var wrong *resolve.QuestionError
	if errors.As(err, &wrong) {
		return f, nil // no part of the catalogue by now
	}
	if err != nil {
		return nil, err
	}
	f.InKits = append(f.InKits, u.InKits...)
	families, err := d.families()
	if err != nil {
		return nil, err
	}
	roles := map[string]bool{}
	for _, x := range u.Uses {
		if x.Effect != catalog.Fits {
			continue
		}
		roles[catalog.Fold(x.Role)] = true
		family := x.Family
		if x.Scope == catalog.FitFamily {
			family = x.Of
		}
		use := Use{Scope: x.Scope, Of: x.Of, Family: family, Role: x.Role, Name: x.RoleName, Own: families[catalog.Fold(family)]}
		if !slices.Contains(f.Serves, use) {
			f.Serves = append(f.Serves, use)
		}
	}
	f.Total = len(f.Serves)
	slices.SortStableFunc(f.Serves, func(a, b Use) int {
		switch {
		case a.Own == b.Own:
			return 0
		case a.Own:
			return -1
		}
		return 1
	})
	f.Serves = f.Serves[:min(len(f.Serves), mostUses)]
	return f, d.alike(f, part, roles)
}

// families gives the families that the unit can be of.
func (d *Desk) families() (map[string]bool, error) {
	dec, err := d.decide()
	if err != nil || dec == nil {
		return nil, err
	}
	out := map[string]bool{}
	for _, a := range dec.Assemblies {
		for _, c := range a.Candidates {
			out[catalog.Fold(c.Family)] = true
		}
	}
	return out, nil
}

// alike finds the lines that a foreign part can have come for, the best reason for
// each.
func (d *Desk) alike(f *Fit, part catalog.PartNo, roles map[string]bool) error {
	key := part.Key()
	dec, err := d.decide()
	if err != nil {
		return err
	}
	is := func(want string) func(catalog.PartNo) bool {
		return func(p catalog.PartNo) bool { return p.Key() == want }
	}
	near, err := d.near(string(part))
	if err != nil {
		return err
	}
	for i := range d.order.Lines {
		l := &d.order.Lines[i]
		like := Like{Line: l.Line, Part: l.Part}
		if dec != nil {
			for _, x := range dec.LookAlikes {
				for _, r := range x.Roles {
					if like.Why == "" && slices.ContainsFunc(taken(r.This), is(l.Part.Key())) && slices.ContainsFunc(taken(r.Other), is(key)) {
						like.Why, like.Role, like.Variant = LookAlikeTakes, r.Role, x.Variant
					}
				}
			}
		}
		if like.Why == "" {
			back, err := d.leads(part, l.Part)
			if err != nil {
				return err
			}
			if back != nil {
				like.Why = ReplacedBy
			}
		}
		if like.Why == "" {
			pieces, err := group[catalog.Supersession](d.reader, catalog.TSupersessions, l.Part.Key())
			if err != nil {
				return err
			}
			if slices.ContainsFunc(pieces, func(s *catalog.Supersession) bool { return s.Kind == catalog.Split && s.New.Key() == key }) {
				like.Why = PieceOf
			}
		}
		if like.Why == "" && slices.ContainsFunc(f.InKits, is(l.Part.Key())) {
			like.Why = InTheKit
		}
		if like.Why == "" {
			for _, r := range l.Roles {
				if roles[catalog.Fold(r)] {
					like.Why, like.Role = SameRole, r
					break
				}
			}
		}
		if (like.Why == "" || like.Why == SameRole) && slices.Contains(near, string(l.Part)) && d.slips(key, l.Part.Key()) {
			like.Why = OneSlip
		}
		if like.Why != "" {
			f.Like = append(f.Like, like)
		}
	}
	// That it is for the same role says something only where nothing else does.
	if slices.ContainsFunc(f.Like, func(l Like) bool { return l.Why != SameRole }) {
		f.Like = slices.DeleteFunc(f.Like, func(l Like) bool { return l.Why == SameRole })
	}
	return nil
}
