package audit

import (
	"cmp"
	"maps"
	"slices"
	"strings"

	"platewright/catalog"
)

// unit is what the catalogue says of one variant: its own rows, and what it takes
// over from its family.
type unit struct {
	code    catalog.VariantCode
	key     string
	fam     *family
	serial  span
	built   span
	shown   [][]shown // of each mark
	own     []statement
	marks   []*statement // about marks that it shows
	fills   []*catalog.Fill
	takes   []uint64 // of each role: stands for all that is stated
	look    uint64   // stands for the values of all deciding marks
	special bool     // it shows values of its own
}

// readFamilies reads what is said of families and of marks, and leaves the
// cursors where what is said of variants begins.
func (a *auditor) readFamilies() error {
	a.markRows = map[condition][]*statement{}
	a.told, a.specsAsked = map[string]bool{}, map[string]string{}
	family := func(of string) *family { return a.families[a.familyIndex(of)] }
	var err error
	if a.reader.shows, err = a.open(catalog.TShows, func(r catalog.Row) error {
		s := r.(*catalog.Show)
		if m, ok := a.markOf[a.fold(s.Mark)]; ok {
			f := family(s.Of)
			f.shows[m] = append(f.shows[m], a.shown(m, s))
		}
		return nil
	}); err != nil {
		return err
	}
	if a.reader.fits, err = a.open(catalog.TFits, func(r catalog.Row) error {
		f := r.(*catalog.Fit)
		s := a.statement(f)
		a.note(&s)
		switch {
		case f.Scope == catalog.FitMark:
			if len(s.asks) > 0 {
				a.markRows[s.asks[0]] = append(a.markRows[s.asks[0]], &s)
			}
		case s.role >= 0:
			fam := family(f.Of)
			fam.byRole[s.role] = append(fam.byRole[s.role], s)
			a.kit(fam, &s)
		}
		return nil
	}); err != nil {
		return err
	}
	if a.reader.fills, err = a.open(catalog.TFills, func(r catalog.Row) error {
		f := r.(*catalog.Fill)
		if i, ok := a.roleOf[a.fold(f.Role)]; ok {
			family(f.Of).fills[i] = f
		}
		if k := a.fold(f.Spec); a.specsAsked[k] == "" {
			a.specsAsked[k] = f.Spec
		}
		family(f.Of).figures[slices.Index(figureTables, catalog.TFills)] = true
		return nil
	}); err != nil {
		return err
	}
	for i, t := range figureTables {
		if t == catalog.TFills {
			a.reader.figures = append(a.reader.figures, nil)
			continue
		}
		of := catalog.TableByName(t).Column("of")
		c, err := a.open(t, func(r catalog.Row) error {
			family(of.Get(r)).figure(i, r)
			return nil
		})
		if err != nil {
			return err
		}
		a.reader.figures = append(a.reader.figures, c)
	}
	for _, f := range a.families {
		a.setBase(f)
	}
	return nil
}

// setBase works out what a variant of the family without rows of its own is.
func (a *auditor) setBase(f *family) {
	f.base = &unit{fam: f, serial: whole, built: whole, shown: f.shows, fills: f.fills}
	a.complete(f.base)
}

// figure sees that a table of figures has a row of the family or a variant of it.
func (f *family) figure(table int, r catalog.Row) {
	f.figures[table] = true
	if s, ok := r.(*catalog.Site); ok {
		f.sites[catalog.Fold(s.Site)] = true
	}
}

func (a *auditor) closeCursors() {
	for _, c := range append([]*cursor{a.reader.shows, a.reader.fits, a.reader.fills}, a.reader.figures...) {
		if c != nil {
			c.stop()
		}
	}
}

func (a *auditor) shown(m int, s *catalog.Show) shown {
	out := shown{s, catalog.FoldValue(s.Value)}
	a.marks[m].shown = true
	if _, ok := a.values[m][out.value]; !ok {
		a.values[m][strings.Clone(out.value)] = s.Value
	}
	return out
}

// note sees what a statement names: the part in the role, the position.
func (a *auditor) note(s *statement) {
	if s.part >= 0 {
		p := &a.parts[s.part]
		p.named = true
		if !s.against {
			p.asked = true
			if s.role >= 0 {
				p.stated.add(s.role)
			}
		}
	}
	if s.role >= 0 && s.pos != "" {
		if _, ok := a.places[s.role][s.pos]; !ok {
			a.places[s.role][strings.Clone(s.pos)] = s.fit.Position
		}
	}
	for i, c := range s.asks {
		if c.mark < 0 {
			continue
		}
		q := a.asked[c]
		if q == nil {
			q = &question{first: a.rowOf(s)}
			if i == 0 && s.level == 1 {
				q.mark, q.value, _ = strings.Cut(s.fit.Of, "=")
			} else {
				w := s.fit.When[i-len(s.asks)+len(s.fit.When)]
				q.mark, q.value = w.Mark, w.Value
			}
			a.asked[c] = q
		}
		q.n++
	}
}

// question is a value of a mark that statements ask.
type question struct {
	mark, value string // as the first of them spells it
	first       Row
	n           int
}

// kit sees that a kit or set is stated for a family in a role.
func (a *auditor) kit(f *family, s *statement) {
	if !s.against && s.role >= 0 && s.part >= 0 && a.parts[s.part].kit && !slices.Contains(f.kits[s.role], s.part) {
		f.kits[s.role] = append(f.kits[s.role], s.part)
	}
}

// complete works out what a unit takes and how it looks, once its own rows are
// there.
func (a *auditor) complete(u *unit) {
	f := u.fam
	if u != f.base && !u.special {
		u.marks, u.look = f.base.marks, f.base.look
		a.take(u)
		return
	}
	u.marks = nil
	u.look = 0
	for m := range a.marks {
		var values uint64
		for _, s := range u.shown[m] {
			if rows := a.markRows[condition{m, s.value}]; len(rows) > 0 {
				u.marks = append(u.marks, rows...)
			}
			h := fnv(number(offset, uint64(m)), s.value)
			if s.row.Tolerance.Known {
				h = fnv(h, s.row.Tolerance.String())
			}
			values += mix(h)
		}
		if a.marks[m].row.Force == catalog.Deciding && len(u.shown[m]) > 0 {
			u.look += mix(values)
		}
	}
	a.take(u)
}

// take adds up what a unit takes in each role. What the family's rows and marks
// alone say is added up once for the family.
func (a *auditor) take(u *unit) {
	f := u.fam
	if cap(u.takes) < len(a.roles) {
		u.takes = make([]uint64, len(a.roles))
	}
	u.takes = u.takes[:len(a.roles)]
	if u == f.base || u.special {
		for r := range a.roles {
			u.takes[r] = a.taken(u, r)
		}
		return
	}
	copy(u.takes, f.base.takes)
	for i := range u.own {
		if r := u.own[i].role; r >= 0 && (i == 0 || r != u.own[i-1].role) {
			u.takes[r] = a.taken(u, r)
		}
	}
	for r, fill := range u.fills {
		if fill != f.fills[r] {
			u.takes[r] = a.taken(u, r)
		}
	}
}

// taken stands for what a unit takes in a role: the different fits statements
// that are for it and not ruled out, the statements that rule out a part that
// one of these states or leads to, the statements that it takes nothing, the
// specification of the fill.
func (a *auditor) taken(u *unit, role int) uint64 {
	list := a.list[:0]
	against := false
	u.applying(role, func(s *statement) {
		list = append(list, s)
		against = against || s.against
	})
	a.list = list
	var sum uint64
	for i, s := range list {
		if slices.ContainsFunc(list[:i], func(o *statement) bool { return o.sum == s.sum }) || against && !a.bears(s, list) {
			continue
		}
		sum += s.sum
	}
	if fill := u.fills[role]; fill != nil {
		sum += fillSum(fill)
	}
	return sum
}

// bears tells whether a statement changes what is taken by the others.
func (a *auditor) bears(s *statement, list []*statement) bool {
	switch {
	case !s.against:
		return !ruled(s, list)
	case s.part < 0:
		return true
	}
	return slices.ContainsFunc(list, func(o *statement) bool {
		return !o.against && !ruled(o, list) && (o.part == s.part || a.ways.leadsTo(o.part, s.part))
	})
}

// ruled tells whether a statement among list rules a fits statement out wherever
// it holds.
func ruled(s *statement, list []*statement) bool {
	return slices.ContainsFunc(list, func(o *statement) bool {
		return o.against && (o.part == s.part || o.part < 0) && s.impliesConditionsOf(o)
	})
}

func fillSum(f *catalog.Fill) uint64 { return mix(fnv(offset, catalog.Fold(f.Spec))) }

// fillUnit takes over a unit's own rows. It keeps the slices that the unit has.
func (a *auditor) fillUnit(u *unit, v *catalog.Variant, shows, fits, fills []catalog.Row) {
	u.code, u.key = v.Variant, v.Variant.Key()
	u.fam = a.families[a.familyIndex(v.Family)]
	if u.fam.base == nil {
		a.setBase(u.fam) // nothing but this variant speaks of the family
	}
	u.serial, u.built = serialSpan(v.SerialFrom, v.SerialTo), builtSpan(v.BuiltFrom, v.BuiltTo)
	u.special = len(shows) > 0
	u.shown = u.fam.shows
	if u.special {
		own := make([][]shown, len(a.marks))
		for _, r := range shows {
			s := r.(*catalog.Show)
			if m, ok := a.markOf[a.fold(s.Mark)]; ok {
				own[m] = append(own[m], a.shown(m, s))
			}
		}
		for m := range own {
			if len(own[m]) == 0 {
				own[m] = u.fam.shows[m]
			}
		}
		u.shown = own
	}
	u.own = u.own[:0]
	for _, r := range fits {
		u.own = append(u.own, a.statement(r.(*catalog.Fit)))
	}
	u.fills = u.fam.fills
	if len(fills) > 0 {
		u.fills = slices.Clone(u.fam.fills)
		for _, r := range fills {
			f := r.(*catalog.Fill)
			if i, ok := a.roleOf[a.fold(f.Role)]; ok {
				u.fills[i] = f
			}
		}
	}
	a.complete(u)
}

// readVariants walks through the variants beside everything that is said of each.
func (a *auditor) readVariants() error {
	defer a.closeCursors()
	for _, f := range a.families {
		for r := range f.byRole {
			if err := a.target(f.base, f.byRole[r]); err != nil {
				return err
			}
		}
	}
	for _, c := range slices.SortedFunc(maps.Keys(a.markRows), func(x, y condition) int {
		return cmp.Or(cmp.Compare(x.mark, y.mark), cmp.Compare(x.value, y.value))
	}) {
		var list []statement
		for _, s := range a.markRows[c] {
			list = append(list, *s)
		}
		if err := a.target(nil, list); err != nil {
			return err
		}
	}
	n := 0
	u := &unit{}
	t := catalog.TableByName(catalog.TVariants)
	cites := a.citing(t)
	for r, err := range a.r.Rows(t) {
		if err != nil {
			return err
		}
		if n++; n%1000 == 0 {
			if err := a.progress("variants", n); err != nil {
				return err
			}
		}
		cites(r)
		v := r.(*catalog.Variant)
		key := v.Variant.Key()
		shows, err := a.reader.shows.of(key)
		if err != nil {
			return err
		}
		fits, err := a.reader.fits.of(key)
		if err != nil {
			return err
		}
		fills, err := a.reader.fills.of(key)
		if err != nil {
			return err
		}
		a.fillUnit(u, v, shows, fits, fills)
		a.now = u.fam
		for _, r := range fills {
			f := r.(*catalog.Fill)
			if k := a.fold(f.Spec); a.specsAsked[k] == "" {
				a.specsAsked[k] = f.Spec
			}
		}
		for i, c := range a.reader.figures {
			if c == nil {
				u.fam.figures[i] = u.fam.figures[i] || len(fills) > 0
				continue
			}
			rows, err := c.of(key)
			if err != nil {
				return err
			}
			for _, r := range rows {
				u.fam.figure(i, r)
			}
		}
		for i := range u.own {
			a.note(&u.own[i])
			a.kit(u.fam, &u.own[i])
		}
		if err := a.walk(u, v); err != nil {
			return err
		}
	}
	a.now = nil
	return nil
}

// markPairs reports what statements about marks that a unit shows say against
// each other and against those of its family.
func (a *auditor) markPairs(u *unit) error {
	for i, s := range u.marks {
		for _, o := range u.marks[:i] {
			same := len(s.asks) > 0 && len(o.asks) > 0 && s.asks[0] == o.asks[0]
			if same {
				continue // they are one target, reported once for the mark
			}
			if err := a.pair(s, o, u, false, true); err != nil {
				return err
			}
		}
		if s.role < 0 {
			continue
		}
		for j := range u.fam.byRole[s.role] {
			if err := a.pair(&u.fam.byRole[s.role][j], s, u, false, true); err != nil {
				return err
			}
		}
	}
	return nil
}

// walk looks at one variant.
func (a *auditor) walk(u *unit, v *catalog.Variant) error {
	f := u.fam
	h := mix(fnv(offset, u.key))
	f.variants++
	a.codes.add(a, u, v)
	if err := a.layoutOfVariant(v, u); err != nil {
		return err
	}
	if u.special || !f.walked {
		// Which pairs meet depends on the marks and the ranges of the variant; one
		// without any of its own shows all that its like can meet.
		f.walked = f.walked || !u.special && u.serial == whole && u.built == whole
		if err := a.markPairs(u); err != nil {
			return err
		}
	}
	if err := a.target(u, u.own); err != nil {
		return err
	}
	for i := range u.own {
		s := &u.own[i]
		if err := a.never(u, s); err != nil {
			return err
		}
		if s.role < 0 {
			continue
		}
		for j := range f.byRole[s.role] {
			if err := a.pair(&f.byRole[s.role][j], s, u, false, false); err != nil {
				return err
			}
		}
		for _, o := range u.marks {
			if err := a.pair(o, s, u, false, false); err != nil {
				return err
			}
		}
	}
	if err := a.ruledOut(u); err != nil {
		return err
	}
	a.cover(u, h)
	l := f.looks[u.look]
	if l == nil {
		l = &looks{takes: slices.Clone(u.takes), shown: u.shown}
		f.looks[u.look] = l
	}
	l.add(u.code, h)
	for r, t := range u.takes {
		if t != l.takes[r] {
			l.differ.add(r)
		}
	}
	return nil
}

// total stands for all that a variant takes.
func total(takes []uint64) uint64 {
	var h uint64
	for r, t := range takes {
		if t != 0 {
			h += mix(number(number(offset, uint64(r)), t))
		}
	}
	return h
}

// never reports a statement of a variant that can never hold.
func (a *auditor) never(u *unit, s *statement) error {
	f := Facts{Family: u.fam.name(), Variants: []catalog.VariantCode{u.code}, Role: s.fit.Role}
	if s.part >= 0 {
		f.Parts = []catalog.PartNo{s.fit.Part}
	}
	switch {
	case !s.serial.meets(u.serial):
		f.Range = OfSerial
	case !s.built.meets(u.built):
		f.Range = OfBuilt
	default:
		for i, c := range s.asks {
			if c.mark >= 0 && len(u.shown[c.mark]) > 0 && !slices.ContainsFunc(u.shown[c.mark], func(x shown) bool { return x.value == c.value }) {
				f.Mark, f.Values = s.fit.When[i].Mark, []string{s.fit.When[i].Value}
				return a.tell(NeverApplies, Doubtful, f, a.rowOf(s))
			}
		}
		return nil
	}
	return a.tell(NeverApplies, Doubtful, f, a.rowOf(s))
}

// applying calls each for every statement that is for the unit in a role.
func (u *unit) applying(role int, each func(*statement)) {
	for i := range u.fam.byRole[role] {
		each(&u.fam.byRole[role][i])
	}
	for _, s := range u.marks {
		if s.role == role {
			each(s)
		}
	}
	for i := range u.own {
		if u.own[i].role == role {
			each(&u.own[i])
		}
	}
}

// ruledOut reports roles in which statements of the variant's own leave nothing
// of what is stated for it.
func (a *auditor) ruledOut(u *unit) error {
	if !a.want(RoleRuledOut) {
		return nil
	}
	for i := range u.own {
		s := &u.own[i]
		if s.role < 0 || slices.ContainsFunc(u.own[:i], func(o statement) bool { return o.role == s.role }) {
			continue
		}
		list := a.list[:0]
		against, nothing := false, false
		u.applying(s.role, func(o *statement) {
			list = append(list, o)
			against = against || o.against && o.part >= 0
			nothing = nothing || o.against && o.part < 0
		})
		a.list = list
		if !against || nothing {
			continue
		}
		left, all := map[string]bool{}, map[string]*statement{}
		for _, o := range list {
			if !o.against && o.within(u.serial, u.built) {
				all[o.pos] = o
				left[o.pos] = left[o.pos] || !ruled(o, list)
			}
		}
		for _, pos := range sortedKeys(all) {
			if left[pos] {
				continue
			}
			f := Facts{Family: u.fam.name(), Variants: []catalog.VariantCode{u.code}, Role: s.fit.Role, Position: all[pos].fit.Position}
			for _, o := range list {
				if !o.against && o.pos == pos && !slices.Contains(f.Parts, o.fit.Part) {
					f.Parts = append(f.Parts, o.fit.Part)
				}
			}
			if err := a.tell(RoleRuledOut, Doubtful, f, a.rowOf(s)); err != nil {
				return err
			}
		}
	}
	return nil
}

// name gives the family's code as it is spelled in its table.
func (f *family) name() string {
	if f.row == nil {
		return ""
	}
	return f.row.Family
}

func sortedKeys[V any](m map[string]V) []string {
	out := make([]string, 0, len(m))
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}

// cover sees in which roles something is stated for a variant.
func (a *auditor) cover(u *unit, h uint64) {
	var covered bits
	see := func(s *statement) {
		if s.role >= 0 && (!s.against || s.part < 0) {
			covered.add(s.role)
		}
	}
	f := u.fam
	for _, list := range f.byRole {
		for i := range list {
			see(&list[i])
		}
	}
	for _, s := range u.marks {
		see(s)
	}
	for i := range u.own {
		see(&u.own[i])
	}
	for r, fill := range u.fills {
		if fill != nil {
			covered.add(r)
		}
	}
	f.covered.addAll(covered)
	for r := range a.roles {
		if len(a.roles[r].works) > 0 && !covered.has(r) {
			f.missing[r].add(u.code, h)
		}
	}
}
