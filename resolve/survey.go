package resolve

import (
	"cmp"
	"slices"
	"strings"

	"platewright/catalog"
	"platewright/resolve/plate"
)

// This file answers questions about the catalogue beside a single unit: where a
// part is used, how two units differ, which variants can be taken for each other.

// WhereUsed is where the catalogue speaks of a part.
type WhereUsed struct {
	Schema      string           `json:"schema"`
	Edition     Edition          `json:"edition"`
	Asked       string           `json:"asked"`
	Part        catalog.PartNo   `json:"part"`
	Name        string           `json:"name"`
	GoesBy      []string         `json:"goesBy"`   // its other numbers
	Replaces    []Reason         `json:"replaces"` // numbers that it serves for, directly or through others
	Replaced    []Reason         `json:"replaced"` // numbers that serve for it in one step
	Uses        []Use            `json:"uses"`
	Total       int              `json:"total"` // scopes that name it, listed or not
	InKits      []catalog.PartNo `json:"inKits"`
	CompanionOf []catalog.PartNo `json:"companionOf"`
	By          *Note            `json:"by,omitempty"` // the shop's note by which it goes by the number asked for
}

// Use is one statement that names a part, or a number that it serves for.
type Use struct {
	Scope      catalog.FitScope `json:"scope"`
	Of         string           `json:"of"`
	Family     string           `json:"family,omitempty"` // of a variant
	Role       string           `json:"role"`
	RoleName   string           `json:"roleName"`
	Effect     catalog.Effect   `json:"effect"`
	Stated     catalog.PartNo   `json:"stated"` // the number that the statement names
	Qty        int              `json:"qty,omitempty"`
	Position   string           `json:"position,omitempty"`
	SerialFrom string           `json:"serialFrom,omitempty"`
	SerialTo   string           `json:"serialTo,omitempty"`
	BuiltFrom  string           `json:"builtFrom,omitempty"`
	BuiltTo    string           `json:"builtTo,omitempty"`
	When       string           `json:"when,omitempty"`
	Source     string           `json:"source"`
	Note       string           `json:"note,omitempty"`
}

// WhereUsedSchema names the form of the JSON of [WhereUsed].
const WhereUsedSchema = "platewright/where-used/1"

// MaxUses is how many uses [Resolver.WhereUsed] lists.
const MaxUses = 1000

// WhereUsed lists the statements that name a part, by any number it goes by, or
// a number that the part serves for. The error is a [*QuestionError] if nothing
// goes by the number.
func (res *Resolver) WhereUsed(number string) (*WhereUsed, error) {
	r := res.r
	p, other, err := r.findPart(number)
	if err != nil {
		return nil, err
	}
	if p == nil {
		return nil, &QuestionError{Part: "part", Value: number, Reason: UnknownName}
	}
	edition, err := res.about()
	if err != nil {
		return nil, err
	}
	out := &WhereUsed{Schema: WhereUsedSchema, Edition: edition, Asked: number, Part: p.Part, Name: p.Name, GoesBy: []string{}, Replaces: []Reason{}, Replaced: []Reason{},
		Uses: []Use{}, InKits: []catalog.PartNo{}, CompanionOf: []catalog.PartNo{}}
	if other != nil && other.By != nil {
		by := showNote(other.By)
		out.By = &by
	}
	key := p.Part.Key()

	numbers := catalog.TableByName(catalog.TNumbers)
	if err := res.referring(numbers, "part", key, func(row catalog.Row) {
		out.GoesBy = append(out.GoesBy, row.(*catalog.Number).Number)
	}); err != nil {
		return nil, err
	}
	if err := res.referring(catalog.TableByName(catalog.TContents), "part", key, func(row catalog.Row) {
		if c := row.(*catalog.Content); c.Part.Key() == key && !slices.Contains(out.InKits, c.Kit) {
			out.InKits = append(out.InKits, c.Kit)
		}
	}); err != nil {
		return nil, err
	}
	if err := res.referring(r.tCompanions, "companion", key, func(row catalog.Row) {
		if c := row.(*catalog.Companion); c.Companion.Key() == key && !slices.Contains(out.CompanionOf, c.Part) {
			out.CompanionOf = append(out.CompanionOf, c.Part)
		}
	}); err != nil {
		return nil, err
	}
	n, err := r.next(key)
	if err != nil {
		return nil, err
	}
	for _, s := range n.single {
		out.Replaced = append(out.Replaced, replacedReason(p.Part, s.to, s.row))
	}
	for _, s := range n.split {
		out.Replaced = append(out.Replaced, replacedReason(p.Part, s.New, s))
	}

	// Statements about the part and about everything that leads to it. A piece
	// of a split serves only with the others; it is listed all the same, since
	// who asks where a piece is used wants to find the split.
	from := []string{key}
	for i := 0; i < len(from) && len(from) < maxWays; i++ {
		prev, err := r.replacedBy(from[i])
		if err != nil {
			return nil, err
		}
		for _, k := range prev {
			if slices.Contains(from, k) {
				continue
			}
			from = append(from, k)
			old, err := r.next(k)
			if err != nil {
				return nil, err
			}
			op, err := r.part(k)
			if err != nil {
				return nil, err
			}
			if op == nil {
				continue
			}
			for _, s := range old.single {
				if s.key == from[i] {
					out.Replaces = append(out.Replaces, replacedReason(op.Part, s.to, s.row))
				}
			}
			for _, s := range old.split {
				if s.New.Key() == from[i] {
					out.Replaces = append(out.Replaces, replacedReason(op.Part, s.New, s))
				}
			}
		}
	}
	for _, k := range from {
		var groups []string
		if err := res.cat.Referring(r.tFits, "part", k, func(g string) bool {
			out.Total++
			if out.Total <= MaxUses {
				groups = append(groups, g)
			}
			return true
		}); err != nil {
			return nil, err
		}
		for _, g := range groups {
			rows, err := group[catalog.Fit](res.cat, r.tFits, g)
			if err != nil {
				return nil, err
			}
			for _, f := range rows {
				if f.Part.Key() != k {
					continue
				}
				u := Use{Scope: f.Scope, Of: f.Of, Role: f.Role, Effect: f.Effect, Stated: f.Part, Qty: f.Qty, Position: f.Position,
					SerialFrom: f.SerialFrom.String(), SerialTo: f.SerialTo.String(), BuiltFrom: f.BuiltFrom.String(), BuiltTo: f.BuiltTo.String(),
					When: f.When.String(), Source: f.Source, Note: f.Note}
				if f.Scope == catalog.FitVariant {
					v, err := r.variant(catalog.Fold(f.Of))
					if err != nil {
						return nil, err
					}
					if v != nil {
						u.Family = v.row.Family
					}
				}
				if role, err := r.role(r.fold(f.Role)); err != nil {
					return nil, err
				} else if role != nil {
					u.RoleName = role.row.Name
				}
				out.Uses = append(out.Uses, u)
			}
		}
	}
	return out, nil
}

// referring gives the rows of the groups that refer to a key.
func (res *Resolver) referring(t *catalog.Table, column, key string, each func(catalog.Row)) error {
	var groups []string
	if err := res.cat.Referring(t, column, key, func(g string) bool {
		groups = append(groups, g)
		return len(groups) < MaxUses
	}); err != nil {
		return err
	}
	c := t.Column(column)
	for _, g := range groups {
		rows, err := res.cat.Group(t, g)
		if err != nil {
			return err
		}
		for _, row := range rows {
			if catalog.KeyPart(c.Kind, c.Get(row)) == key {
				each(row)
			}
		}
	}
	return nil
}

// Comparison holds two variants side by side.
type Comparison struct {
	Schema    string           `json:"schema"`
	Edition   Edition          `json:"edition"`
	A         Candidate        `json:"a"`
	B         Candidate        `json:"b"`
	Misread   *plate.Neighbour `json:"misread"` // the slip that turns one plate into the other; null if one does not
	ByEye     bool             `json:"byEye"`   // of one family, and no visible mark keeps them apart
	TellApart []TellApart      `json:"tellApart"`
	Hints     []TellApart      `json:"hints"` // hinting marks that differ: they decide nothing
	Roles     []RoleCompared   `json:"roles"`
}

// RoleCompared is a role in two variants.
type RoleCompared struct {
	Role     string  `json:"role"`
	Name     string  `json:"name"`
	Assembly string  `json:"assembly"`
	Same     bool    `json:"same"`
	A        []Group `json:"a"`
	B        []Group `json:"b"`
}

// ComparisonSchema names the form of the JSON of [Comparison].
const ComparisonSchema = "platewright/compare/1"

// Single gives the one variant that a text names: a variant's code, or a
// reading that leaves one candidate of the root assembly. The error is a
// [*QuestionError] if it names none or several.
func (res *Resolver) Single(text string) (catalog.VariantCode, error) {
	v, err := res.r.variant(catalog.Fold(text))
	if err != nil {
		return "", err
	}
	if v != nil {
		return v.row.Variant, nil
	}
	d, err := res.prepare(Question{Plate: text}, Options{NoNear: true})
	if err != nil {
		return "", err
	}
	var names []string
	for _, as := range d.assemblies {
		for _, rw := range as.readings {
			for _, k := range rw.order {
				names = append(names, string(rw.allowed[k].row.Variant))
			}
		}
	}
	switch len(names) {
	case 0:
		return "", &QuestionError{Part: "variant", Value: text, Reason: UnknownName}
	case 1:
	default:
		return "", &QuestionError{Part: "variant", Value: text, Reason: SeveralLeft, Known: names}
	}
	return catalog.VariantCode(names[0]), nil
}

// Compare holds two variants side by side in the roles of the scopes of work,
// or in all roles.
func (res *Resolver) Compare(a, b catalog.VariantCode, work []string) (*Comparison, error) {
	r := res.r
	va, err := res.mustVariant(a)
	if err != nil {
		return nil, err
	}
	vb, err := res.mustVariant(b)
	if err != nil {
		return nil, err
	}
	if err := r.loadMarks(); err != nil {
		return nil, err
	}
	d := &decider{res: res, r: r, q: Question{Work: work}, dec: &Decision{}}
	if err := d.askRoles(); err != nil {
		return nil, err
	}
	edition, err := res.about()
	if err != nil {
		return nil, err
	}
	out := &Comparison{Schema: ComparisonSchema, Edition: edition, A: candidateOf(va), B: candidateOf(vb), TellApart: r.tellApart(va, vb), Hints: []TellApart{}, Roles: []RoleCompared{}}
	if va.famKey == vb.famKey {
		out.ByEye = r.sameByEye(va, vb)
	}
	for _, m := range r.markOrder {
		key := catalog.Fold(m.Mark)
		x, y := va.shown(key), vb.shown(key)
		if m.Force == catalog.Hinting && apart(m, x, y) {
			out.Hints = append(out.Hints, TellApart{Mark: m.Mark, Name: m.Name, Assembly: m.Assembly, How: m.How, Effort: m.Effort, Unit: m.Unit, This: showTexts(x, m), Other: showTexts(y, m)})
		}
	}
	if va.row.Layout == vb.row.Layout {
		if err := plate.Neighbours(res.variantCodes, va.key, func(n plate.Neighbour) bool {
			if n.Key == vb.key {
				out.Misread = &n
				return false
			}
			return true
		}); err != nil {
			return nil, err
		}
	}
	for _, as := range d.asked {
		ca, err := r.outcomes(va, as.role.row, as.key, known{}, d.fill)
		if err != nil {
			return nil, err
		}
		cb, err := r.outcomes(vb, as.role.row, as.key, known{}, d.fill)
		if err != nil {
			return nil, err
		}
		if len(work) == 0 && silent(ca) && silent(cb) {
			continue
		}
		out.Roles = append(out.Roles, RoleCompared{Role: as.role.row.Role, Name: as.role.row.Name, Assembly: as.role.row.Assembly,
			Same: slices.Equal(outcomeKeys(ca), outcomeKeys(cb)), A: groups(ca), B: groups(cb)})
	}
	return out, nil
}

func candidateOf(v *variant) Candidate {
	return Candidate{Variant: v.row.Variant, Family: v.row.Family, Name: v.row.Name, Count: v.row.Count}
}

// silent tells whether the catalogue says nothing at all.
func silent(cos []candidateOutcome) bool {
	for _, c := range cos {
		if c.o.kind != OutcomeNoStatement || len(c.o.stated) > 0 || c.o.fluid != nil {
			return false
		}
	}
	return true
}

func (res *Resolver) mustVariant(code catalog.VariantCode) (*variant, error) {
	v, err := res.r.variant(code.Key())
	if err != nil {
		return nil, err
	}
	if v == nil {
		return nil, &QuestionError{Part: "variant", Value: string(code), Reason: UnknownName}
	}
	return v, res.r.load(v)
}

// LookAlikePairs are the variants that one can be taken for.
type LookAlikePairs struct {
	Schema    string            `json:"schema"`
	Edition   Edition           `json:"edition"`
	Of        string            `json:"of"` // the variant asked about
	Work      []string          `json:"work"`
	RoleNames map[string]string `json:"roleNames"` // of the roles that differ
	Pairs     []LookAlike       `json:"pairs"`
	Cut       bool              `json:"cut"` // not all variants of the family were compared by eye
}

// LookAlikePairsSchema names the form of the JSON of [LookAlikePairs].
const LookAlikePairsSchema = "platewright/look-alikes/1"

// LookAlikesOf lists the look-alikes of one variant in the roles of the scopes
// of work, or in all roles: by its plate, and by eye.
func (res *Resolver) LookAlikesOf(code catalog.VariantCode, work []string) (*LookAlikePairs, error) {
	v, err := res.mustVariant(code)
	if err != nil {
		return nil, err
	}
	out, err := res.noPairs(work)
	if err != nil {
		return nil, err
	}
	out.Of = string(v.row.Variant)
	var whole bool
	out.Pairs, whole, err = res.pairsOf(v, work)
	out.Cut = !whole
	for _, p := range out.Pairs {
		for _, d := range p.Roles {
			out.RoleNames[d.Role] = res.r.roles[catalog.Fold(d.Role)].row.Name
		}
	}
	return out, err
}

func (res *Resolver) noPairs(work []string) (*LookAlikePairs, error) {
	e, err := res.about()
	if err != nil {
		return nil, err
	}
	return &LookAlikePairs{Schema: LookAlikePairsSchema, Edition: e, Work: orEmpty(work), RoleNames: map[string]string{}, Pairs: []LookAlike{}}, nil
}

func (res *Resolver) pairsOf(v *variant, work []string) (pairs []LookAlike, whole bool, err error) {
	r := res.r
	if err := r.loadAssemblies(); err != nil {
		return nil, false, err
	}
	if err := r.loadMarks(); err != nil {
		return nil, false, err
	}
	d := &decider{res: res, r: r, q: Question{Work: work}, dec: &Decision{}}
	if err := d.askRoles(); err != nil {
		return nil, false, err
	}
	var out []LookAlike
	takes := map[string]taken{}
	defer func(lean bool) { r.lean = lean }(r.lean)
	r.lean = true
	if err := res.loadLayouts(); err != nil {
		return nil, false, err
	}
	layout := catalog.Fold(v.row.Layout)
	var guard *plate.Guard
	for _, l := range res.layouts[catalog.Fold(r.assemblies[0].Assembly)] {
		if catalog.Fold(l.Row.Layout) == layout {
			guard = plate.NewGuard(l)
		}
	}
	add := func(w *variant, by LookAlikeBy, n *plate.Neighbour) error {
		for _, o := range out {
			if o.Variant.Key() == w.key {
				return nil
			}
		}
		p := LookAlike{Assembly: r.assemblies[0].Assembly, Candidate: v.row.Variant, Variant: w.row.Variant, By: by, Misread: n, Roles: []RoleDifference{}}
		for _, a := range d.asked {
			diff, ok, err := r.roleDifference(a.role, v, w, known{}, d.fill, takes)
			if err != nil {
				return err
			}
			if ok {
				p.Roles = append(p.Roles, diff)
			}
		}
		if len(p.Roles) == 0 {
			return nil
		}
		if n != nil {
			caught := guard.Catches(v.key, n.Key)
			p.Caught = &caught
		}
		p.TellApart = r.tellApart(v, w)
		out = append(out, p)
		return nil
	}
	var near []plate.Neighbour
	if err := plate.Neighbours(res.layoutCodes(layout), v.key, func(n plate.Neighbour) bool { near = append(near, n); return true }); err != nil {
		return nil, false, err
	}
	for _, n := range near {
		ws, err := res.variantsAt(layout, n.Key)
		if err != nil {
			return nil, false, err
		}
		for _, w := range ws {
			if w.key == v.key {
				continue
			}
			if err := r.load(w); err != nil {
				return nil, false, err
			}
			if err := add(w, ByPlate, &n); err != nil {
				return nil, false, err
			}
		}
	}
	alike, whole, err := r.alikeByEye(v)
	if err != nil {
		return nil, false, err
	}
	for _, w := range alike {
		if err := add(w, ByEye, nil); err != nil {
			return nil, false, err
		}
	}
	// What nothing recorded tells apart comes first, and within that what no check
	// character catches: it is the worst case.
	caught := func(p *LookAlike) int { return b2i(p.Caught != nil && *p.Caught) }
	slices.SortStableFunc(out, func(a, b LookAlike) int {
		return cmp.Or(cmp.Compare(min(len(a.TellApart), 1), min(len(b.TellApart), 1)), cmp.Compare(caught(&a), caught(&b)), -cmp.Compare(len(a.Roles), len(b.Roles)), strings.Compare(a.Variant.Key(), b.Variant.Key()))
	})
	return orEmpty(out), whole, nil
}
