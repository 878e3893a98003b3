package resolve

import (
	"cmp"
	"slices"
	"strings"

	"platewright/catalog"
	"platewright/resolve/plate"
)

// maxLookers bounds the candidates for which look-alikes are sought: with more
// of them the unit is not known well enough for a warning to help. maxFamily
// bounds the variants of a family that are compared by eye.
const (
	maxLookers = 8
	maxFamily  = 5000
)

// looker seeks the look-alikes of one candidate.
type looker struct {
	d     *decider
	as    *assemblyWork
	v     *variant
	roles []askedRole      // those that the assembly's identity decides
	takes map[string]taken // what v takes, by key of the role
	seen  map[string]bool  // keys of the variants looked at already
}

// taken is what a variant takes in a role: its outcomes by key, and what is shown
// of them.
type taken struct {
	outcomes []string
	takes    Takes
}

// lookAlikes lists the variants that a person could take for a candidate and
// that take something else in an asked role (L1 to L4).
func (d *decider) lookAlikes() error {
	if len(d.asked) == 0 {
		return nil
	}
	if err := d.r.loadMarks(); err != nil {
		return err
	}
	// What relatives take is compared, not shown: their trails are not needed.
	defer func(lean bool) { d.r.lean = lean }(d.r.lean)
	d.r.lean = true
	for _, as := range d.assemblies {
		if len(as.cands) == 0 || as.tooMany {
			continue
		}
		if len(as.cands) > maxLookers {
			d.dec.LookAlikesLeftOut = append(d.dec.LookAlikesLeftOut, as.row.Assembly)
			continue
		}
		for _, v := range as.cands {
			l := looker{d: d, as: as, v: v, takes: map[string]taken{}, seen: map[string]bool{v.key: true}}
			for _, a := range d.asked {
				if d.decides(as, a.role.assembly) {
					l.roles = append(l.roles, a)
				}
			}
			if len(l.roles) == 0 {
				continue
			}
			if as.basis != BasisAsBuilt {
				if err := l.byPlate(); err != nil {
					return err
				}
			}
			if err := l.byEye(); err != nil {
				return err
			}
		}
	}
	order := map[LookAlikeBy]int{ByPlate: 0, ByEye: 1}
	slices.SortStableFunc(d.dec.LookAlikes, func(a, b LookAlike) int {
		return cmp.Or(cmp.Compare(b2i(a.RuledOut != nil), b2i(b.RuledOut != nil)), cmp.Compare(order[a.By], order[b.By]),
			-cmp.Compare(len(a.Roles), len(b.Roles)), strings.Compare(a.Candidate.Key(), b.Candidate.Key()), strings.Compare(a.Variant.Key(), b.Variant.Key()))
	})
	return nil
}

// decides tells whether the identity of an assembly decides a role of another:
// its own roles, and those of assemblies that are assumed to be as built.
func (d *decider) decides(as *assemblyWork, of string) bool {
	for o := d.assembly(of); o != nil; o = d.assembly(o.follows) {
		if o == as {
			return true
		}
		if o.basis != BasisAsBuilt {
			return false
		}
	}
	return false
}

func (l *looker) byPlate() error {
	for _, rw := range l.as.readings {
		for _, m := range rw.matches {
			layout := catalog.Fold(m.Layout)
			texts := []string{}
			if catalog.Fold(l.v.row.Layout) == layout {
				texts = append(texts, l.v.key)
			}
			if err := l.d.r.cat.Referring(l.d.r.tPlates, "variant", l.v.key, func(g string) bool {
				if lay, text, ok := strings.Cut(g, string(catalog.KeySep)); ok && lay == layout {
					texts = append(texts, strings.TrimSuffix(text, string(catalog.KeySep)))
				}
				return true
			}); err != nil {
				return err
			}
			for _, text := range texts {
				var near []plate.Neighbour
				if err := plate.Neighbours(l.d.res.layoutCodes(layout), text, func(n plate.Neighbour) bool {
					near = append(near, n)
					return len(near) < maxListed
				}); err != nil {
					return err
				}
				for _, n := range near {
					others, err := l.d.res.variantsAt(layout, n.Key)
					if err != nil {
						return err
					}
					for _, w := range others {
						if err := l.add(w, ByPlate, &n, guarded(m, n.Key)); err != nil {
							return err
						}
					}
				}
			}
		}
	}
	return nil
}

// guarded tells whether the check character, as read, would be wrong on the
// plate with another text in the fields that mean the variant and all else as
// read (L1). A text of another length moves the other fields, and then nothing
// is claimed.
func guarded(m *plate.Match, text string) bool {
	if len(text) != len(m.Key) || !slices.ContainsFunc(m.Checks, func(c plate.CheckMatch) bool { return c.Outcome == plate.CheckPassed }) {
		return false
	}
	var other plate.Reading
	for _, f := range m.Fields {
		if f.Means != catalog.MeansVariant {
			other = append(other, f.Chars...)
			continue
		}
		for range f.Chars {
			set, ok := plate.SetOf(text[:1])
			if !ok {
				return false
			}
			other, text = append(other, set), text[1:]
		}
	}
	return len(m.Of().Match(other)) == 0
}

// alikeByEye gives the relatives of a variant that no visible mark keeps apart
// from it (L2). whole is false if the family is larger than is compared.
func (r *reader) alikeByEye(v *variant) (alike []*variant, whole bool, err error) {
	n := 0
	err = r.variantsOf([]string{v.famKey}, func(w *variant) (bool, error) {
		if n++; n > maxFamily {
			return false, nil
		}
		if w.key == v.key {
			return true, nil
		}
		if err := r.loadShows(w); err != nil {
			return false, err
		}
		if r.sameByEye(v, w) {
			alike = append(alike, w)
		}
		return true, nil
	})
	return alike, n <= maxFamily, err
}

func (l *looker) byEye() error {
	alike, whole, err := l.d.r.alikeByEye(l.v)
	if err != nil {
		return err
	}
	more := !whole
	listed := len(l.d.dec.LookAlikes)
	for _, w := range alike {
		if len(l.d.dec.LookAlikes)-listed == maxListed {
			more = true
			break
		}
		if err := l.add(w, ByEye, nil, false); err != nil {
			return err
		}
	}
	if more {
		l.d.dec.LookAlikesLeftOut = append(l.d.dec.LookAlikesLeftOut, l.as.row.Assembly)
	}
	return nil
}

// sameByEye tells whether no seen or counted mark keeps two variants apart (L2).
func (r *reader) sameByEye(v, w *variant) bool {
	if len(v.own) == 0 && len(w.own) == 0 && v.fam == w.fam {
		return true // both look as their family does
	}
	for i, m := range r.markOrder {
		if m.Kind == catalog.MarkMeasured {
			continue
		}
		if key := r.markKeys[i]; key != vehicleKey && apart(m, v.shown(key), w.shown(key)) {
			return false
		}
	}
	return true
}

// vehicleKey is the key of [VehicleMark]: the vehicle is no look of the unit.
var vehicleKey = catalog.Fold(VehicleMark)

// apart tells whether both have shown values of the mark and none in common
// (L4).
func apart(m *catalog.Mark, a, b []*catalog.Show) bool {
	if len(a) == 0 || len(b) == 0 {
		return false
	}
	for _, x := range a {
		for _, y := range b {
			if m.Kind != catalog.MarkMeasured {
				if catalog.FoldValue(x.Value) == catalog.FoldValue(y.Value) {
					return false
				}
				continue
			}
			if m.Meet(x, y) {
				return false
			}
		}
	}
	return true
}

// add lists a look-alike if it changes an asked role (L3).
func (l *looker) add(w *variant, by LookAlikeBy, misread *plate.Neighbour, checked bool) error {
	d := l.d
	if l.seen[w.key] || slices.ContainsFunc(l.as.cands, func(c *variant) bool { return c.key == w.key }) {
		return nil
	}
	l.seen[w.key] = true
	out := LookAlike{Assembly: l.as.row.Assembly, Candidate: l.v.row.Variant, Variant: w.row.Variant, By: by, Misread: misread, Roles: []RoleDifference{}, TellApart: []TellApart{}}
	for _, a := range l.roles {
		diff, ok, err := l.roleDifference(a, w)
		if err != nil {
			return err
		}
		if ok {
			out.Roles = append(out.Roles, diff)
		}
	}
	if len(out.Roles) == 0 {
		return nil
	}
	if err := d.r.load(w); err != nil {
		return err
	}
	out.TellApart = d.r.tellApart(l.v, w)
	switch {
	case misread != nil && checked:
		out.RuledOut = &Reason{Code: ReasonCheckGuards, Assembly: l.as.row.Assembly, Variant: w.row.Variant}
	case misread == nil && len(l.as.readings) > 0:
		out.RuledOut = &Reason{Code: ReasonReadingExcludes, Assembly: l.as.row.Assembly, Variant: w.row.Variant}
	}
	if root := d.assemblies[0]; d.decides(l.as, root.key) || l.as.basis == BasisAsBuilt {
		// The serial number and the date are those of this unit, whatever it is.
		for _, e := range d.evidenceOf(root, true) {
			if e.read != nil || e.mark != nil {
				continue
			}
			if ok, err := e.allows(d.r, w); err != nil {
				return err
			} else if !ok {
				out.RuledOut = &Reason{Code: ReasonReadingExcludes, Assembly: root.row.Assembly, Variant: w.row.Variant, Value: e.st.Text}
			}
		}
	}
	for _, s := range d.seen {
		// A mark of the assembly itself, or of the one that it is assumed to
		// belong with, rules a look-alike out.
		if !s.evident() || !d.decides(l.as, catalog.Fold(s.mark.Assembly)) {
			continue
		}
		shows, err := s.shownBy(d.r, w)
		if err != nil {
			return err
		}
		if !s.compatible(shows) {
			r, err := excludedBy(d.r, s, w)
			if err != nil {
				return err
			}
			out.RuledOut = &r
		}
	}
	d.dec.LookAlikes = append(d.dec.LookAlikes, out)
	return nil
}

// roleDifference compares what a variant takes in a role with what the looker's
// own takes.
func (l *looker) roleDifference(a askedRole, w *variant) (RoleDifference, bool, error) {
	k := known{}
	if as := l.d.assembly(a.role.assembly); as != nil {
		k.serial, k.built = as.known.serial, as.known.built
	}
	return l.d.r.roleDifference(a.role, l.v, w, k, l.d.fill, l.takes)
}

// roleDifference compares what two variants take in a role; takes remembers
// what v takes, since it is compared with many.
func (r *reader) roleDifference(role *roleInfo, v, w *variant, k known, fill catalog.FillKind, takes map[string]taken) (RoleDifference, bool, error) {
	if err := r.load(v); err != nil {
		return RoleDifference{}, false, err
	}
	if err := r.load(w); err != nil {
		return RoleDifference{}, false, err
	}
	if role.row.Kind == catalog.RolePart && alikeByRows(v, w, role.key) {
		return RoleDifference{}, false, nil
	}
	this, ok := takes[role.key]
	if !ok {
		cos, err := r.outcomes(v, role.row, role.key, k, fill)
		if err != nil {
			return RoleDifference{}, false, err
		}
		this = taken{outcomeKeys(cos), takesOf(cos)}
		takes[role.key] = this
	}
	other, err := r.outcomes(w, role.row, role.key, k, fill)
	if err != nil {
		return RoleDifference{}, false, err
	}
	if slices.Equal(this.outcomes, outcomeKeys(other)) {
		return RoleDifference{}, false, nil
	}
	return RoleDifference{Role: role.row.Role, This: this.takes, Other: takesOf(other)}, true, nil
}

// alikeByRows tells, without working it out, that two variants take the same in
// a role: both have only the rows of one family to go by, and the same ranges.
func alikeByRows(v, w *variant, role string) bool {
	return v.fam == w.fam && v.fits.of(role) == nil && w.fits.of(role) == nil && len(v.shows) == 0 && len(w.shows) == 0 &&
		v.row.SerialFrom == w.row.SerialFrom && v.row.SerialTo == w.row.SerialTo && v.row.BuiltFrom == w.row.BuiltFrom && v.row.BuiltTo == w.row.BuiltTo
}

func outcomeKeys(cos []candidateOutcome) []string {
	var out []string
	for _, c := range cos {
		out = append(out, c.o.groupKey())
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// tellApart lists the deciding marks that keep two variants apart, the quickest
// first.
func (r *reader) tellApart(v, w *variant) []TellApart {
	out := []TellApart{}
	for i, m := range r.markOrder {
		key := r.markKeys[i]
		a, b := v.shown(key), w.shown(key)
		if m.Force != catalog.Deciding || !apart(m, a, b) {
			continue
		}
		out = append(out, TellApart{Mark: m.Mark, Name: m.Name, Assembly: m.Assembly, How: m.How, Effort: m.Effort, Unit: m.Unit, This: showTexts(a, m), Other: showTexts(b, m)})
	}
	slices.SortStableFunc(out, func(a, b TellApart) int {
		return cmp.Or(a.Effort.Num.Cmp(b.Effort.Num), strings.Compare(a.Mark, b.Mark))
	})
	return out
}
