package resolve

import (
	"slices"
	"strings"

	"platewright/catalog"
)

// reader gives typed rows of a catalogue and remembers those of small tables
// and of everything that many variants share, so that a list of plates reads
// them once. It is not safe for concurrent use.
type reader struct {
	cat Catalogue

	tVariants, tShows, tFits, tParts, tSupersessions, tCompanions, tFills, tMeets, tServes, tSheets, tLimits, tPlates *catalog.Table

	parts       map[string]*partInfo         // by key
	spelled     map[catalog.PartNo]*partInfo // the same, as statements spell them
	roles       map[string]*roleInfo
	roleOrder   []*roleInfo // by key
	works       map[string]*workInfo
	noteRows    map[string][]*catalog.Note
	placedNotes map[catalog.NoteOn][]*catalog.Note
	folds       map[string]string
	lean        bool                    // leave trails out
	oneWorld    [1]world                // of a candidate about which nothing is open; never changed
	ofVariants  map[*catalog.Table]bool // whether rows of the table speak of single variants at all
	worldOf     [1]world                // memory for the one world of most other candidates
	scratch     []stmt                  // the statements worked on last; its memory serves the next
	invented    *bool
	marks       map[string]*catalog.Mark
	markOrder   []*catalog.Mark
	markKeys    []string            // of markOrder
	assemblies  []*catalog.Assembly // root first, each after the one that it follows
	families    map[string]*family  // by key
	familyOf    map[string]*family  // the same, as variants spell them
	markFits    map[string]*fitsByRole
	fluids      map[string][]fluidChoice
}

// roleInfo is a role with its folded codes.
type roleInfo struct {
	row           *catalog.Role
	key, assembly string
	at            int // place in the order of roles
}

// workInfo is a scope of work with its roles.
type workInfo struct {
	row   *catalog.WorkScope
	roles []*catalog.WorkRole
	keys  []string // of roles
}

// fold is catalog.Fold for codes that many rows repeat.
func (r *reader) fold(s string) string {
	if f, ok := r.folds[s]; ok {
		return f
	}
	f := catalog.Fold(s)
	r.folds[s] = f
	return f
}

// family is what all variants of a family share.
type family struct {
	key     string
	shows   map[string][]*catalog.Show // by key of the mark
	fits    *fitsByRole
	fills   map[string]*catalog.Fill // by key of the role
	marks   []markFits               // statements about marks that the family shows
	rolesOf []assemblyRoles          // of which the family's rows speak

	outcomes []familyOutcomes
}

// assemblyRoles are roles of one assembly.
type assemblyRoles struct {
	assembly string // key
	roles    []*roleInfo
}

// markFits are the statements about everything that shows a mark with a value.
type markFits struct {
	mark, value string // folded
	fits        *fitsByRole
}

// variant is a variant with its own rows, read when they are asked for.
type variant struct {
	row    *catalog.Variant
	key    string
	fam    *family
	famKey string
	own    []*catalog.Show            // what it shows itself
	shows  map[string][]*catalog.Show // the same, by key of the mark
	fits   *fitsByRole
	marks  []markFits // statements about marks that the variant itself shows
	fills  []*catalog.Fill

	readShows bool // shows are read
	read      bool // and the rest
}

// fitsByRole are the statements of one scope, by key of the role.
type fitsByRole struct {
	all   []*catalog.Fit
	roles []roleFits
}

type roleFits struct {
	role string
	info *roleInfo // nil for a role that is not in the table
	fits []*catalog.Fit
}

func (f *fitsByRole) of(role string) []*catalog.Fit {
	if f == nil {
		return nil
	}
	for i := range f.roles {
		if f.roles[i].role == role {
			return f.roles[i].fits
		}
	}
	return nil
}

func newReader(cat Catalogue) *reader {
	return &reader{cat: cat,
		tVariants: catalog.TableByName(catalog.TVariants), tShows: catalog.TableByName(catalog.TShows),
		tFits: catalog.TableByName(catalog.TFits), tParts: catalog.TableByName(catalog.TParts),
		tSupersessions: catalog.TableByName(catalog.TSupersessions), tCompanions: catalog.TableByName(catalog.TCompanions),
		tFills: catalog.TableByName(catalog.TFills), tMeets: catalog.TableByName(catalog.TMeets),
		tServes: catalog.TableByName(catalog.TServes), tPlates: catalog.TableByName(catalog.TPlates),
		tSheets: catalog.TableByName(catalog.TSheets), tLimits: catalog.TableByName(catalog.TLimits),
		parts: map[string]*partInfo{}, spelled: map[catalog.PartNo]*partInfo{},
		families: map[string]*family{}, familyOf: map[string]*family{}, markFits: map[string]*fitsByRole{}, fluids: map[string][]fluidChoice{},
		works: map[string]*workInfo{}, noteRows: map[string][]*catalog.Note{}, folds: map[string]string{}, ofVariants: map[*catalog.Table]bool{},
	}
}

// group gives the typed rows of a group.
func group[T any](cat Catalogue, t *catalog.Table, key string) ([]*T, error) {
	rows, err := cat.Group(t, key)
	if err != nil || len(rows) == 0 {
		return nil, err
	}
	out := make([]*T, len(rows))
	for i, r := range rows {
		out[i] = any(r).(*T)
	}
	return out, nil
}

// first gives the only row of a group that has one row, nil for none.
func first[T any](cat Catalogue, t *catalog.Table, key string) (*T, error) {
	rows, err := cat.Group(t, key)
	if err != nil || len(rows) == 0 {
		return nil, err
	}
	return any(rows[0]).(*T), nil
}

// every walks all rows of a small table in the order of their keys.
func every[T any](cat Catalogue, table string, each func(*T)) error {
	t := catalog.TableByName(table)
	key, ok, err := cat.Seek(t, "")
	for ; ok && err == nil; key, ok, err = cat.Seek(t, key+"\x00") {
		rows, err := cat.Group(t, key)
		if err != nil {
			return err
		}
		for _, r := range rows {
			each(any(r).(*T))
		}
	}
	return err
}

// partInfo is a part with everything that its rows lead to. All of it is
// remembered in one place, since one look-up then finds what a line needs; what
// is not needed is never read.
type partInfo struct {
	key        string
	row        *catalog.Part // nil for a number that is no part
	next       *next
	companions lazy[[]*catalog.Companion]
	notes      lazy[[]*catalog.Note]
	once       bought    // how it is bought in the quantity that was asked for first
	bought     []*bought // in others, or with trails
}

// lazy is a value that is read when it is first asked for.
type lazy[T any] struct {
	value T
	read  bool
}

func (r *reader) part(key string) (*catalog.Part, error) {
	p, err := r.partInfo(key)
	if err != nil {
		return nil, err
	}
	return p.row, nil
}

// partInfo gives the part with that key; its row is nil if there is none.
func (r *reader) partInfo(key string) (*partInfo, error) {
	if p := r.parts[key]; p != nil {
		return p, nil
	}
	row, err := first[catalog.Part](r.cat, r.tParts, catalog.MakeKey(key))
	if err != nil {
		return nil, err
	}
	p := &partInfo{key: key, row: row}
	r.parts[key] = p
	return p, nil
}

// partOf gives the part that a row names.
func (r *reader) partOf(number catalog.PartNo) (*partInfo, error) {
	if p := r.spelled[number]; p != nil {
		return p, nil
	}
	p, err := r.partInfo(number.Key())
	if err != nil {
		return nil, err
	}
	r.spelled[number] = p
	return p, nil
}

func (r *reader) companionsOf(p *partInfo) ([]*catalog.Companion, error) {
	if !p.companions.read {
		c, err := group[catalog.Companion](r.cat, r.tCompanions, catalog.MakeKey(p.key))
		if err != nil {
			return nil, err
		}
		p.companions = lazy[[]*catalog.Companion]{c, true}
	}
	return p.companions.value, nil
}

// next holds where a part leads: single replacements by key of the part that
// they lead to, and the pieces of its split.
type next struct {
	single []step
	split  []*catalog.Supersession
}

type step struct {
	to  catalog.PartNo
	key string
	row *catalog.Supersession
	qty int
}

func (r *reader) next(key string) (*next, error) {
	p, err := r.partInfo(key)
	if err != nil {
		return nil, err
	}
	return r.nextOf(p)
}

func (r *reader) nextOf(p *partInfo) (*next, error) {
	if p.next != nil {
		return p.next, nil
	}
	key, n := p.key, &next{}
	forward, err := group[catalog.Supersession](r.cat, r.tSupersessions, catalog.MakeKey(key))
	if err != nil {
		return nil, err
	}
	for _, s := range forward {
		switch s.Kind {
		case catalog.Split:
			n.split = append(n.split, s)
		default:
			n.single = append(n.single, step{s.New, s.New.Key(), s, s.Qty})
		}
	}
	var back []string
	if err := r.cat.Referring(r.tSupersessions, "new", key, func(g string) bool { back = append(back, g); return true }); err != nil {
		return nil, err
	}
	for _, g := range back {
		rows, err := group[catalog.Supersession](r.cat, r.tSupersessions, g)
		if err != nil {
			return nil, err
		}
		for _, s := range rows {
			if s.Kind == catalog.TwoWay && s.New.Key() == key {
				n.single = append(n.single, step{s.Old, s.Old.Key(), s, s.Qty})
			}
		}
	}
	slices.SortStableFunc(n.single, func(a, b step) int { return strings.Compare(a.key, b.key) })
	p.next = n
	return n, nil
}

func (r *reader) role(key string) (*roleInfo, error) {
	if r.roles == nil {
		m, order := map[string]*roleInfo{}, []*roleInfo{}
		if err := every(r.cat, catalog.TRoles, func(o *catalog.Role) {
			k := catalog.Fold(o.Role)
			m[k] = &roleInfo{o, k, catalog.Fold(o.Assembly), len(order)}
			order = append(order, m[k])
		}); err != nil {
			return nil, err
		}
		r.roles, r.roleOrder = m, order
	}
	return r.roles[key], nil
}

// work gives a scope of work with its roles, nil for none.
func (r *reader) work(key string) (*workInfo, error) {
	if w, ok := r.works[key]; ok {
		return w, nil
	}
	row, err := first[catalog.WorkScope](r.cat, catalog.TableByName(catalog.TWork), catalog.MakeKey(key))
	if err != nil || row == nil {
		return nil, err
	}
	w := &workInfo{row: row}
	if w.roles, err = group[catalog.WorkRole](r.cat, catalog.TableByName(catalog.TWorkRoles), catalog.MakeKey(key)); err != nil {
		return nil, err
	}
	for _, o := range w.roles {
		w.keys = append(w.keys, catalog.Fold(o.Role))
	}
	r.works[key] = w
	return w, nil
}

// madeUp tells whether a source of the catalogue is of the kind invented.
func (r *reader) madeUp() (bool, error) {
	if r.invented == nil {
		found := false
		if err := every(r.cat, catalog.TSources, func(s *catalog.Source) { found = found || s.Kind == catalog.SourceInvented }); err != nil {
			return false, err
		}
		r.invented = &found
	}
	return *r.invented, nil
}

// notes gives the notes on something.
func (r *reader) notes(key string) ([]*catalog.Note, error) {
	if n, ok := r.noteRows[key]; ok {
		return n, nil
	}
	n, err := group[catalog.Note](r.cat, catalog.TableByName(catalog.TNotes), key)
	if err != nil {
		return nil, err
	}
	r.noteRows[key] = n
	return n, nil
}

// partNotes gives the notes on a part, by its number as the table of parts
// spells it.
func (r *reader) partNotes(part catalog.PartNo) ([]*catalog.Note, error) {
	p, err := r.partOf(part)
	if err != nil {
		return nil, err
	}
	if !p.notes.read {
		n, err := r.notes(catalog.MakeKey("PART", p.key))
		if err != nil {
			return nil, err
		}
		p.notes = lazy[[]*catalog.Note]{n, true}
	}
	return p.notes.value, nil
}

func (r *reader) mark(key string) (*catalog.Mark, error) {
	if err := r.loadMarks(); err != nil {
		return nil, err
	}
	return r.marks[key], nil
}

func (r *reader) loadMarks() error {
	if r.marks != nil {
		return nil
	}
	m, order, keys := map[string]*catalog.Mark{}, []*catalog.Mark{}, []string{}
	err := every(r.cat, catalog.TMarks, func(o *catalog.Mark) {
		k := catalog.Fold(o.Mark)
		m[k] = o
		order, keys = append(order, o), append(keys, k)
	})
	if err != nil {
		return err
	}
	r.marks, r.markOrder, r.markKeys = m, order, keys
	return nil
}

// loadAssemblies reads the assemblies: the root, those that follow it in the
// order of their keys, those that follow these, and so on.
func (r *reader) loadAssemblies() error {
	if r.assemblies != nil {
		return nil
	}
	var all []*catalog.Assembly
	if err := every(r.cat, catalog.TAssemblies, func(a *catalog.Assembly) { all = append(all, a) }); err != nil {
		return err
	}
	done := map[string]bool{}
	var out []*catalog.Assembly
	for len(out) < len(all) {
		before := len(out)
		for _, a := range all {
			if !done[catalog.Fold(a.Assembly)] && (a.Follows == "" || done[catalog.Fold(a.Follows)]) {
				out = append(out, a)
			}
		}
		for _, a := range out[before:] {
			done[catalog.Fold(a.Assembly)] = true
		}
		if len(out) == before {
			return &CatalogueError{Table: catalog.TAssemblies, Row: all[0].Assembly, What: "the assemblies do not lead to a root"}
		}
	}
	r.assemblies = out
	return nil
}

// CatalogueError says that the catalogue cannot be decided on. A catalogue that
// passed its checks never gives one.
type CatalogueError struct {
	Table, Row string
	What       string
}

func (e *CatalogueError) Error() string {
	return "the catalogue's table " + e.Table + ", row " + e.Row + ": " + e.What + "; check the catalogue"
}

func (r *reader) family(key string) (*family, error) {
	if f, ok := r.families[key]; ok {
		return f, nil
	}
	f := &family{key: key, fills: map[string]*catalog.Fill{}}
	shows, err := group[catalog.Show](r.cat, r.tShows, catalog.MakeKey("FAMILY", key))
	if err != nil {
		return nil, err
	}
	f.shows = byMark(shows)
	if f.marks, err = r.fitsOfShows(shows); err != nil {
		return nil, err
	}
	if f.fits, err = r.fitsOf(catalog.MakeKey("FAMILY", key)); err != nil {
		return nil, err
	}
	fills, err := group[catalog.Fill](r.cat, r.tFills, catalog.MakeKey("FAMILY", key))
	if err != nil {
		return nil, err
	}
	for _, x := range fills {
		f.fills[catalog.Fold(x.Role)] = x
	}
	r.families[key] = f
	return f, nil
}

func byMark(shows []*catalog.Show) map[string][]*catalog.Show {
	if len(shows) == 0 {
		return nil
	}
	m := make(map[string][]*catalog.Show, len(shows))
	for _, s := range shows {
		k := catalog.Fold(s.Mark)
		m[k] = append(m[k], s)
	}
	return m
}

func (r *reader) fitsOf(key string) (*fitsByRole, error) {
	rows, err := group[catalog.Fit](r.cat, r.tFits, key)
	if err != nil || len(rows) == 0 {
		return nil, err
	}
	if _, err := r.role(""); err != nil {
		return nil, err
	}
	// Most roles have one row of a scope, and that is a piece of all.
	f := &fitsByRole{all: rows, roles: make([]roleFits, 0, len(rows))}
	for n, s := range rows {
		k := r.fold(s.Role)
		i := slices.IndexFunc(f.roles, func(x roleFits) bool { return x.role == k })
		if i < 0 {
			f.roles = append(f.roles, roleFits{k, r.roles[k], rows[n : n+1 : n+1]})
			continue
		}
		f.roles[i].fits = append(f.roles[i].fits, s)
	}
	return f, nil
}

// fitsOfShows gives the statements about the marks shown, in the order of marks
// and values.
func (r *reader) fitsOfShows(shows []*catalog.Show) ([]markFits, error) {
	var out []markFits
	for _, s := range shows {
		mark, value := catalog.Fold(s.Mark), catalog.FoldValue(s.Value)
		f, err := r.fitsOfMark(mark, value)
		if err != nil {
			return nil, err
		}
		if f != nil {
			out = append(out, markFits{mark, value, f})
		}
	}
	return out, nil
}

// fitsOfMark gives the statements about everything that shows a mark with a
// value.
func (r *reader) fitsOfMark(mark, value string) (*fitsByRole, error) {
	key := catalog.MakeKey("MARK", mark+"="+value)
	if f, ok := r.markFits[key]; ok {
		return f, nil
	}
	f, err := r.fitsOf(key)
	if err != nil {
		return nil, err
	}
	r.markFits[key] = f
	return f, nil
}

// variant gives the variant with that key, nil for none.
func (r *reader) variant(key string) (*variant, error) {
	row, err := first[catalog.Variant](r.cat, r.tVariants, catalog.MakeKey(key))
	if err != nil || row == nil {
		return nil, err
	}
	fam := r.familyOf[row.Family]
	if fam == nil {
		if fam, err = r.family(catalog.Fold(row.Family)); err != nil {
			return nil, err
		}
		r.familyOf[row.Family] = fam
	}
	return &variant{row: row, key: key, fam: fam, famKey: fam.key}, nil
}

// loadShows reads what the variant itself shows, which is all that its looks
// take.
func (r *reader) loadShows(v *variant) error {
	if v.readShows {
		return nil
	}
	shows, err := variantRows[catalog.Show](r, r.tShows, catalog.MakeKey(variantScope, v.key))
	if err != nil {
		return err
	}
	v.own, v.shows, v.readShows = shows, byMark(shows), true
	return nil
}

// load reads the variant's own rows.
func (r *reader) load(v *variant) error {
	if v.read {
		return nil
	}
	err := r.loadShows(v)
	if err != nil {
		return err
	}
	if v.marks, err = r.fitsOfShows(v.own); err != nil {
		return err
	}
	key := catalog.MakeKey(variantScope, v.key)
	if v.fits, err = r.fitsOf(key); err != nil {
		return err
	}
	if v.fills, err = variantRows[catalog.Fill](r, r.tFills, key); err != nil {
		return err
	}
	v.read = true
	return nil
}

// variantScope is the key of the scope of rows that speak of one variant.
const variantScope = "VARIANT"

// variantRows gives the rows about one variant. To find that there are none
// costs more than to find some, so a table that has none about any variant, as
// is common, is asked only once.
func variantRows[T any](r *reader, t *catalog.Table, key string) ([]*T, error) {
	some, err := r.speaksOfVariants(t)
	if err != nil || !some {
		return nil, err
	}
	return group[T](r.cat, t, key)
}

// variantGroup is variantRows without the type of the rows.
func (r *reader) variantGroup(t *catalog.Table, key string) ([]catalog.Row, error) {
	some, err := r.speaksOfVariants(t)
	if err != nil || !some {
		return nil, err
	}
	return r.cat.Group(t, key)
}

// speaksOfVariants tells whether the table has a row about any variant.
func (r *reader) speaksOfVariants(t *catalog.Table) (bool, error) {
	some, known := r.ofVariants[t]
	if !known {
		scope := catalog.MakeKey(variantScope)
		at, ok, err := r.cat.Seek(t, scope)
		if err != nil {
			return false, err
		}
		some = ok && strings.HasPrefix(at, scope)
		r.ofVariants[t] = some
	}
	return some, nil
}

// shown gives what the variant shows of a mark (C1).
func (v *variant) shown(mark string) []*catalog.Show {
	if s := v.shows[mark]; len(s) > 0 {
		return s
	}
	return v.fam.shows[mark]
}

func (r *reader) fill(v *variant, role string) (*catalog.Fill, error) {
	if err := r.load(v); err != nil {
		return nil, err
	}
	for _, f := range v.fills {
		if r.fold(f.Role) == role {
			return f, nil
		}
	}
	return v.fam.fills[role], nil
}
