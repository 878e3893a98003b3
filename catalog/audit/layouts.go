package audit

import (
	"slices"
	"sort"
	"strings"

	"platewright/catalog"
)

// layout is a plate layout made ready to hold codes against.
type layout struct {
	row      *catalog.Layout
	key      string
	assembly int
	fields   []field
	varies   bool // variant texts of several lengths can stand on it
	checked  bool // a check character covers all that means the variant
	serial   bool // it always spells the serial number
	built    bool // it always spells the build date
}

// field is what can stand in one field.
type field struct {
	row      *catalog.Field
	set      set
	literal  string
	min, max int
	variant  bool
}

// set is a set of ASCII characters.
type set [2]uint64

func setOf(chars string) (s set) {
	for i := 0; i < len(chars); i++ {
		if c := chars[i]; c < 128 {
			s[c/64] |= 1 << (c % 64)
		}
	}
	return s
}

func (s set) has(c byte) bool { return c < 128 && s[c/64]&(1<<(c%64)) != 0 }
func (s set) and(o set) set   { return set{s[0] & o[0], s[1] & o[1]} }
func (s set) none() bool      { return s == set{} }

const (
	digits  = "0123456789"
	letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
)

func newLayout(row *catalog.Layout, key string, rows []*catalog.Field) *layout {
	l := &layout{row: row, key: key}
	slices.SortStableFunc(rows, func(a, b *catalog.Field) int { return a.Place - b.Place })
	names := map[string]bool{}
	for _, r := range rows {
		f := field{row: r, min: r.Min, max: r.Max, variant: r.Means == catalog.MeansVariant}
		switch r.Kind {
		case catalog.FieldLiteral:
			f.literal = catalog.Fold(r.Chars)
			f.min, f.max = len(f.literal), len(f.literal)
		case catalog.FieldDigits:
			f.set = setOf(digits)
		case catalog.FieldLetters:
			f.set = setOf(letters)
		case catalog.FieldAlphanum:
			f.set = setOf(digits + letters)
		default:
			f.set = setOf(catalog.Fold(r.Chars))
		}
		if f.variant {
			names[catalog.Fold(r.Field)] = true
			l.varies = l.varies || r.Optional || f.min != f.max
		}
		l.serial = l.serial || r.Means == catalog.MeansSerial && !r.Optional
		l.built = l.built || r.Means == catalog.MeansBuilt && !r.Optional
		l.fields = append(l.fields, f)
	}
	for _, r := range rows {
		if r.Means != catalog.MeansCheck {
			continue
		}
		covers := 0
		for _, o := range r.Over {
			if names[catalog.Fold(o)] {
				covers++
			}
		}
		l.checked = l.checked || len(r.Over) == 0 || covers == len(names)
	}
	return l
}

// stands tells whether a folded text can stand in the fields that mean the
// variant.
func (l *layout) stands(text string) bool {
	// at holds the places of text that the fields so far can end at.
	at := make([]bool, len(text)+1)
	at[0] = true
	for _, f := range l.fields {
		if !f.variant {
			continue
		}
		next := make([]bool, len(text)+1)
		for i, ok := range at {
			if !ok {
				continue
			}
			if f.row.Optional {
				next[i] = true
			}
			if f.literal != "" {
				if strings.HasPrefix(text[i:], f.literal) {
					next[i+len(f.literal)] = true
				}
				continue
			}
			for n := 0; n <= f.max && i+n <= len(text); n++ {
				if n >= f.min {
					next[i+n] = true
				}
				if i+n < len(text) && !f.set.has(text[i+n]) {
					break
				}
			}
		}
		at = next
	}
	return at[len(text)]
}

// form is one way in which a layout can be spelled: how wide each field is.
type form struct {
	l      *layout
	sets   []set // what can stand at each place
	means  []int // of each place: the place in the text of the variant, -1 for none
	length int   // of the text of the variant
}

// maxForms bounds the ways in which a layout is taken apart: a layout with more
// has so many fields of no fixed width that no reading of it says much.
const maxForms = 4096

func (l *layout) forms() []form {
	out := []form{{l: l}}
	for _, f := range l.fields {
		var next []form
		for _, o := range out {
			grow := func(sets []set) {
				n := form{l: l, sets: append(slices.Clip(o.sets), sets...), means: slices.Clip(o.means), length: o.length}
				for range sets {
					if f.variant {
						n.means = append(n.means, n.length)
						n.length++
					} else {
						n.means = append(n.means, -1)
					}
				}
				next = append(next, n)
			}
			if f.row.Optional {
				grow(nil)
			}
			if f.literal != "" {
				var sets []set
				for i := range len(f.literal) {
					sets = append(sets, setOf(f.literal[i:i+1]))
				}
				grow(sets)
				continue
			}
			for n := f.min; n <= f.max; n++ {
				if n == 0 && f.row.Optional {
					continue
				}
				sets := make([]set, n)
				for i := range sets {
					sets[i] = f.set
				}
				grow(sets)
			}
		}
		if out = next; len(out) > maxForms {
			return nil
		}
	}
	return out
}

// alike tells whether some text can be read in both forms.
func (f *form) alike(o *form) bool {
	if len(f.sets) != len(o.sets) {
		return false
	}
	for i := range f.sets {
		if f.sets[i].and(o.sets[i]).none() {
			return false
		}
	}
	return true
}

// layoutOfVariant reports a variant that does not suit its layout.
func (a *auditor) layoutOfVariant(v *catalog.Variant, u *unit) error {
	i, ok := a.layoutOf[a.fold(v.Layout)]
	if !ok {
		return nil
	}
	l := a.layouts[i]
	if !l.stands(u.key) {
		if err := a.tell(VariantOffLayout, Wrong, Facts{Family: v.Family, Layout: v.Layout, Variants: []catalog.VariantCode{v.Variant}}, a.at(catalog.TVariants, v)); err != nil {
			return err
		}
	}
	if u.fam.row != nil && a.fold(l.row.Maker) != a.fold(u.fam.row.Maker) {
		return a.tell(LayoutOfOtherMaker, Doubtful, Facts{Family: v.Family, Layout: v.Layout, Maker: l.row.Maker, Variants: []catalog.VariantCode{v.Variant}}, a.at(catalog.TVariants, v))
	}
	return nil
}

// codes are the codes of all variants in the order of their keys, with what
// stands for what each takes and shows: some forty bytes a variant.
type codes struct {
	text   []byte
	ends   []uint32
	layout []int32
	family []int32
	look   []uint64
	takes  [][]uint64 // of each assembly: what is taken in its roles; of the first, in all roles
}

func (c *codes) add(a *auditor, u *unit, v *catalog.Variant) {
	c.text = append(c.text, u.key...)
	c.ends = append(c.ends, uint32(len(c.text)))
	l, ok := a.layoutOf[a.fold(v.Layout)]
	if !ok {
		l = -1
	}
	c.layout = append(c.layout, int32(l))
	c.family = append(c.family, int32(a.familyIndex(v.Family)))
	c.look = append(c.look, u.look)
	for i := range a.assemblies {
		c.takes[i] = append(c.takes[i], total(a.takesOf(u, i)))
	}
}

// takesOf gives what a unit takes in the roles that an assembly decides.
func (a *auditor) takesOf(u *unit, assembly int) []uint64 {
	if assembly == 0 {
		return u.takes
	}
	out := make([]uint64, len(u.takes))
	for r, t := range u.takes {
		if a.roles[r].assembly == assembly {
			out[r] = t
		}
	}
	return out
}

func (c *codes) len() int { return len(c.ends) }

func (c *codes) key(i int) string {
	from := uint32(0)
	if i > 0 {
		from = c.ends[i-1]
	}
	return string(c.text[from:c.ends[i]])
}

func (c *codes) bytes(i int) []byte {
	from := uint32(0)
	if i > 0 {
		from = c.ends[i-1]
	}
	return c.text[from:c.ends[i]:c.ends[i]]
}

// find gives the number of the variant with that key, -1 for none.
func (c *codes) find(key string) int {
	i := sort.Search(c.len(), func(i int) bool { return string(c.bytes(i)) >= key })
	if i < c.len() && string(c.bytes(i)) == key {
		return i
	}
	return -1
}

// matching calls each for the variants between from and to of which the key can
// be spelled by the sets, the first n of which they have in common.
func (c *codes) matching(sets []set, from, to, n int, each func(int) bool) bool {
	for from < to {
		k := c.bytes(from)
		if len(k) == n {
			if n == len(sets) && !each(from) {
				return false
			}
			from++ // the only one of this length: keys are unique
			continue
		}
		if n == len(sets) {
			return true
		}
		ch := k[n]
		end := from + sort.Search(to-from, func(i int) bool {
			k := c.bytes(from + i)
			return len(k) > n && k[n] > ch
		})
		if sets[n].has(ch) && !c.matching(sets, from, end, n+1, each) {
			return false
		}
		from = end
	}
	return true
}

// maxReadings is how many other readings of one variant's plate are listed.
const maxReadings = 20

// readings reports plates that can be read in two ways.
func (a *auditor) readings() error {
	if !a.want(SameReading) {
		return nil
	}
	forms := make([][]form, len(a.layouts))
	for i, l := range a.layouts {
		forms[i] = l.forms()
	}
	type ways struct{ one, other *form }
	of := map[int][]ways{} // by layout of the variant whose plate is read otherwise
	for i := range a.layouts {
		for j := range a.layouts {
			if a.layouts[i].assembly != a.layouts[j].assembly {
				continue
			}
			for x := range forms[i] {
				for y := range forms[j] {
					if i == j && x == y {
						continue
					}
					f, o := &forms[i][x], &forms[j][y]
					if f.alike(o) && f.length > 0 && o.length > 0 && !(i == j && slices.Equal(f.means, o.means)) {
						of[i] = append(of[i], ways{f, o})
					}
				}
			}
		}
	}
	if len(of) == 0 {
		return nil
	}
	for v := range a.codes.len() {
		if v%10_000 == 0 {
			if err := a.progress("readings", v); err != nil {
				return err
			}
		}
		key := a.codes.bytes(v)
		seen := map[int]bool{}
		for _, w := range of[int(a.codes.layout[v])] {
			if w.one.length != len(key) {
				continue
			}
			sets, ok := make([]set, w.other.length), true
			for p := range w.one.sets {
				s := w.one.sets[p]
				if m := w.one.means[p]; m >= 0 {
					if !s.has(key[m]) {
						ok = false
						break
					}
					s = setOf(string(key[m : m+1]))
				}
				if s = s.and(w.other.sets[p]); s.none() {
					ok = false
					break
				}
				if m := w.other.means[p]; m >= 0 {
					sets[m] = s
				}
			}
			if !ok {
				continue
			}
			a.codes.matching(sets, 0, a.codes.len(), 0, func(o int) bool {
				if o != v && a.layouts[a.codes.layout[o]] == w.other.l {
					seen[o] = true
				}
				return len(seen) < maxReadings
			})
		}
		others := make([]int, 0, len(seen))
		for o := range seen {
			if o > v {
				others = append(others, o)
			}
		}
		slices.Sort(others)
		for _, o := range others {
			l, m := a.layouts[a.codes.layout[v]], a.layouts[a.codes.layout[o]]
			if err := a.sameReading([]int{v, o}, l.assembly, Facts{Layouts: slices.Compact([]string{l.row.Layout, m.row.Layout})}); err != nil {
				return err
			}
		}
	}
	return nil
}

// readPlates reads the further texts of plates and labels: each that means
// several variants, and each that cannot stand on its layout.
func (a *auditor) readPlates() error {
	if err := a.readings(); err != nil {
		return err
	}
	var at, text, spelled string
	var row Row
	var on []int
	flush := func() error {
		if len(on) < 2 {
			return nil
		}
		i := a.layoutOf[at]
		l := a.layouts[i]
		slices.Sort(on)
		return a.sameReading(slices.Compact(on), l.assembly, Facts{Layout: l.row.Layout, Text: spelled}, row)
	}
	if err := a.each(catalog.TPlates, func(r catalog.Row) error {
		p := r.(*catalog.Plate)
		i, ok := a.layoutOf[a.fold(p.Layout)]
		v := a.codes.find(p.Variant.Key())
		if !ok || v < 0 {
			return nil
		}
		key := catalog.Fold(p.Plate)
		if a.layouts[i].key != at || key != text {
			if err := flush(); err != nil {
				return err
			}
			at, text, spelled, on = a.layouts[i].key, key, p.Plate, on[:0]
			row = a.at(catalog.TPlates, p)
			// A text can be the code of another variant on the same layout.
			if o := a.codes.find(key); o >= 0 && int(a.codes.layout[o]) == i {
				on = append(on, o)
			}
			if !a.layouts[i].stands(key) {
				if err := a.tell(PlateOffLayout, Wrong, Facts{Layout: p.Layout, Text: p.Plate, Variants: []catalog.VariantCode{p.Variant}}, row); err != nil {
					return err
				}
			}
		}
		on = append(on, v)
		return nil
	}); err != nil {
		return err
	}
	return flush()
}

// sameReading reports variants that one reading cannot tell apart.
func (a *auditor) sameReading(on []int, assembly int, f Facts, rows ...Row) error {
	if len(on) < 2 || !a.want(SameReading) {
		return nil
	}
	takes := a.codes.takes[assembly]
	differ := slices.ContainsFunc(on[1:], func(v int) bool { return takes[v] != takes[on[0]] })
	if assembly > 0 && !differ {
		return nil
	}
	units := make([]*unit, len(on))
	for i, v := range on {
		u, err := a.unit(v)
		if err != nil {
			return err
		}
		units[i] = u
	}
	// Serial numbers and dates tell apart what one layout names.
	apart := func(u, w *unit) bool {
		if f.Layout == "" {
			return false
		}
		l := a.layouts[a.layoutOf[catalog.Fold(f.Layout)]]
		return l.serial && !u.serial.meets(w.serial) || l.built && !u.built.meets(w.built)
	}
	var roles bits
	together, unmarked := map[int]bool{}, false
	for i, u := range units {
		for j, w := range units[:i] {
			if apart(u, w) {
				continue
			}
			together[i], together[j] = true, true
			same := true
			for r := range a.roles {
				if (assembly == 0 || a.roles[r].assembly == assembly) && u.takes[r] != w.takes[r] {
					roles.add(r)
					same = false
				}
			}
			unmarked = unmarked || !same && !a.markApart(u, w, assembly)
		}
	}
	if len(together) == 0 {
		return nil
	}
	severity := Thin
	for r := range a.roles {
		if roles.has(r) {
			f.Roles = append(f.Roles, a.roles[r].row.Role)
			severity = Doubtful
		}
	}
	switch {
	case unmarked:
		severity = Wrong
	case severity == Thin && assembly > 0:
		return nil
	}
	f.Assembly = a.assemblies[assembly]
	var g gathered
	for i, u := range units {
		if together[i] {
			g.add(u.code, mix(fnv(offset, u.key)))
			rows = append(rows, Row{})
			rows[len(rows)-1] = a.variantRow(u)
		}
	}
	g.facts(&f)
	return a.tell(SameReading, severity, f, rows[:min(len(rows), maxNamed)]...)
}

// markApart tells whether a deciding mark of the assembly (of the first, any)
// keeps two units apart.
func (a *auditor) markApart(u, w *unit, assembly int) bool {
	for m := range a.marks {
		row := a.marks[m].row
		if row.Force == catalog.Deciding && (assembly == 0 || a.assemblyOf[a.fold(row.Assembly)] == assembly) && apart(row, u.shown[m], w.shown[m]) {
			return true
		}
	}
	return false
}

// apart tells whether both show values of a mark and have none in common; of a
// measured one, whether the bands, widened by all tolerances, do not meet.
func apart(m *catalog.Mark, a, b []shown) bool {
	if len(a) == 0 || len(b) == 0 {
		return false
	}
	for _, x := range a {
		for _, y := range b {
			if m.Kind != catalog.MarkMeasured {
				if x.value == y.value {
					return false
				}
				continue
			}
			if m.Meet(x.row, y.row) {
				return false
			}
		}
	}
	return true
}

func (a *auditor) variantRow(u *unit) Row {
	out := Row{Table: catalog.TVariants, Key: string(u.code)}
	if a.placer != nil {
		p := a.placer.Place(catalog.TableByName(catalog.TVariants), catalog.MakeKey(u.key))
		out.File, out.Line = p.File, p.Row
	}
	return out
}

// maxMemo bounds the units that are kept while pairs are compared.
const maxMemo = 4096

// unit reads what is said of the variant with that number.
func (a *auditor) unit(v int) (*unit, error) {
	if u := a.memo[v]; u != nil {
		return u, nil
	}
	key := a.codes.key(v)
	group := func(table, key string) ([]catalog.Row, error) { return a.r.Group(catalog.TableByName(table), key) }
	rows, err := group(catalog.TVariants, catalog.MakeKey(key))
	if err != nil {
		return nil, err
	}
	about := catalog.MakeKey(catalog.Fold(string(catalog.OfVariant)), key)
	shows, err := group(catalog.TShows, about)
	if err != nil {
		return nil, err
	}
	fits, err := group(catalog.TFits, about)
	if err != nil {
		return nil, err
	}
	fills, err := group(catalog.TFills, about)
	if err != nil {
		return nil, err
	}
	u := &unit{}
	a.fillUnit(u, rows[0].(*catalog.Variant), shows, fits, fills)
	if len(a.memo) >= maxMemo {
		clear(a.memo)
	}
	a.memo[v] = u
	return u, nil
}
