package index

import (
	"iter"
	"slices"
	"strings"

	"platewright/catalog"
)

// Reader reads the catalogue that is indexed: an edition in the store, or a
// catalogue in memory.
type Reader interface {
	// Group gives the rows of a group, nil for none.
	Group(t *catalog.Table, key string) ([]catalog.Row, error)
	// Seek gives the first group key that is not below from.
	Seek(t *catalog.Table, from string) (string, bool, error)
	// Rows gives all rows of a table in the order of their keys.
	Rows(t *catalog.Table) iter.Seq2[catalog.Row, error]
}

// Notes is where the shop's own notes come from.
type Notes interface {
	// Change is the number of the last change; it grows with each.
	Change() (int, error)
	// Since gives the notes that changed after that change, each as it is now,
	// until each returns an error. 0 gives all.
	Since(change int, each func(Note) error) error
	// Note gives the note of that identity as it is now, and whether there is one.
	Note(id string) (Note, bool, error)
}

// Note is a note of the shop as the index sees it.
type Note struct {
	ID       string
	On       string // what it is about: part, variant, family, number, plate, mark, work
	Of       string // which one
	Kind     string
	State    string
	Family   string // only in units of this family; "" for all
	Text     string
	Author   string
	Dated    string
	Evidence string
	Alias    string // of an alias: the number that stands for Of
}

// links is what a thing belongs to, by folded codes.
type links struct {
	families, roles map[string]bool
	marks           map[string]bool // as a person reads them
}

func (l *links) add(family, role string) {
	if family != "" {
		if l.families == nil {
			l.families = map[string]bool{}
		}
		l.families[family] = true
	}
	if role != "" {
		if l.roles == nil {
			l.roles = map[string]bool{}
		}
		l.roles[role] = true
	}
}

func (l *links) join(o *links) {
	if o == nil {
		return
	}
	for f := range o.families {
		l.add(f, "")
	}
	for r := range o.roles {
		l.add("", r)
	}
}

// document is one thing that is found by text.
type document struct {
	kind     Kind
	table    *catalog.Table // nil for a note of the shop
	key      string
	number   string // folded; "" for none
	count    int
	fields   []Field // what it says itself, the name first
	context  []Field // what it belongs to, as its makers, families and roles say
	more     []Field // what else it is found by; kept in the index, since no single row says it
	makers   []string
	families []string
	roles    []string
	source   string
}

// maxContext is how many families a thing may belong to and still be found by
// their names: what fits everywhere is not described by any of them.
const maxContext = 8

// describe gives what a row says itself: its number and its texts, the name
// first. Indexing and showing use it alike.
func describe(row catalog.Row) (kind Kind, number string, fields []Field) {
	f := func(pairs ...string) []Field {
		var out []Field
		for i := 0; i < len(pairs); i += 2 {
			if pairs[i+1] != "" || i == 0 {
				out = append(out, Field{Name: pairs[i], Text: pairs[i+1]})
			}
		}
		return out
	}
	switch r := row.(type) {
	case *catalog.Family:
		return KindFamily, r.Family, f("name", r.Name, "about", r.About)
	case *catalog.Variant:
		return KindVariant, string(r.Variant), f("name", r.Name)
	case *catalog.Part:
		kind = KindPart
		if r.Kind == catalog.PartKit || r.Kind == catalog.PartSet {
			kind = KindKit
		}
		return kind, string(r.Part), f("name", r.Name, "look", r.Look, "note", r.Note, "status", endedWord(r.Status))
	case *catalog.Number:
		return KindNumber, r.Number, f("name", "", "used by", r.User)
	case *catalog.WorkScope:
		return KindWork, r.Work, f("name", r.Name, "about", r.About)
	case *catalog.Mark:
		return KindMark, r.Mark, f("name", r.Name, "how", r.How)
	case *catalog.Spec:
		return KindSpec, r.Spec, f("name", r.Name, "about", r.About)
	case *catalog.Source:
		return KindSource, r.Source, f("name", r.Title, "about", r.About, "edition", r.Edition)
	case *catalog.Note:
		return KindNote, r.Note, f("about", r.Of, "text", r.Text, "kind", plainWord(string(r.Kind)), "evidence", r.Evidence, "by", joinText(r.Author, r.Dated.String()))
	}
	return "", "", nil
}

func describeNote(n Note) []Field {
	out := []Field{{Name: "about", Text: n.Of}}
	for _, f := range []Field{{Name: "number", Text: n.Alias}, {Name: "text", Text: n.Text}, {Name: "kind", Text: plainWord(n.Kind)}, {Name: "evidence", Text: n.Evidence}, {Name: "by", Text: joinText(n.Author, n.Dated)}} {
		if f.Text != "" {
			out = append(out, f)
		}
	}
	return out
}

func endedWord(s catalog.PartStatus) string {
	if s == catalog.PartEnded {
		return "no longer sold"
	}
	return ""
}

func plainWord(code string) string { return strings.ReplaceAll(code, "-", " ") }

// lookup reads single rows and remembers those that many things share.
type lookup struct {
	r     Reader
	known map[rowID]catalog.Row
}

type rowID struct{ table, code string }

func newLookup(r Reader) *lookup { return &lookup{r: r, known: map[rowID]catalog.Row{}} }

// row gives the row of a folded code, nil for none.
func (l *lookup) row(table, code string) (catalog.Row, error) {
	id := rowID{table, code}
	if r, ok := l.known[id]; ok {
		return r, nil
	}
	rows, err := l.r.Group(catalog.TableByName(table), catalog.MakeKey(code))
	if err != nil {
		return nil, err
	}
	var row catalog.Row
	if len(rows) > 0 {
		row = rows[0]
	}
	switch table {
	case catalog.TFamilies, catalog.TMakers, catalog.TRoles, catalog.TSources, catalog.TSuppliers:
		l.known[id] = row
	}
	return row, nil
}

func (l *lookup) family(code string) (*catalog.Family, error) {
	row, err := l.row(catalog.TFamilies, catalog.Fold(code))
	f, _ := row.(*catalog.Family)
	return f, err
}

// place puts a document where it belongs: spelled codes of makers, families and
// roles from links, and the context by which it is found.
func (l *lookup) place(d *document, of *links) error {
	if of == nil {
		of = &links{}
	}
	for _, code := range sortedKeys(of.families) {
		f, err := l.family(code)
		if err != nil {
			return err
		}
		if f != nil {
			d.families = append(d.families, f.Family)
			if !slices.Contains(d.makers, f.Maker) {
				d.makers = append(d.makers, f.Maker)
			}
		}
	}
	slices.Sort(d.makers)
	for _, code := range sortedKeys(of.roles) {
		row, err := l.row(catalog.TRoles, code)
		if err != nil {
			return err
		}
		if r, ok := row.(*catalog.Role); ok {
			d.roles = append(d.roles, r.Role)
		}
	}
	var err error
	d.context, err = l.contextOf(d.kind, d.families, d.makers, d.roles)
	return err
}

// contextOf gives the texts of what something belongs to.
func (l *lookup) contextOf(kind Kind, families, makers, roles []string) ([]Field, error) {
	var out []Field
	if kind != KindWork {
		for _, code := range roles {
			row, err := l.row(catalog.TRoles, catalog.Fold(code))
			if err != nil {
				return nil, err
			}
			if r, ok := row.(*catalog.Role); ok {
				out = append(out, Field{Name: "role", Text: joinText(r.Name, r.About)})
			}
		}
	}
	if len(families) <= maxContext {
		for _, code := range families {
			f, err := l.family(code)
			if err != nil {
				return nil, err
			}
			if f == nil {
				continue
			}
			about := f.About
			if kind == KindFamily {
				out = append(out, Field{Name: "family", Text: f.Family})
				continue
			}
			out = append(out, Field{Name: "family", Text: joinText(f.Family, f.Name, about)})
		}
		for _, code := range makers {
			row, err := l.row(catalog.TMakers, catalog.Fold(code))
			if err != nil {
				return nil, err
			}
			if m, ok := row.(*catalog.Maker); ok {
				out = append(out, Field{Name: "maker", Text: m.Name})
			}
		}
	}
	return out, nil
}

// mostShownVariants is how many descriptions of variants a catalogue may have
// for their marks to be looked at one by one.
const mostShownVariants = 20_000

// shown gives the marks that a family or variant shows, as a text to find it by.
func (l *lookup) shown(scope catalog.ShowScope, of string) ([]Field, error) {
	rows, err := l.r.Group(catalog.TableByName(catalog.TShows), catalog.MakeKey(catalog.Fold(string(scope)), of))
	if err != nil {
		return nil, err
	}
	var out []string
	for _, r := range rows {
		s := r.(*catalog.Show)
		out = append(out, plainWord(s.Mark+" "+s.Value))
	}
	if len(out) == 0 {
		return nil, nil
	}
	return []Field{{Name: "shows", Text: strings.Join(out, "; ")}}, nil
}

func joinText(parts ...string) string {
	var out []string
	for _, p := range parts {
		if p != "" {
			out = append(out, p)
		}
	}
	return strings.Join(out, ", ")
}

func sortedKeys[V any](m map[string]V) []string {
	out := make([]string, 0, len(m))
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}

// inventory is what is known of a whole catalogue before its documents are made.
type inventory struct {
	parts  map[string]*links           // by folded number
	groups map[variantGroup]*variantOf // descriptions that variants share
	order  []variantGroup
}

type variantGroup struct{ family, name string }

type variantOf struct {
	first *catalog.Variant
	count int
}

// takeInventory walks the variants and the statements side by side, both of
// which stand in the order of the variants' codes, so that no table of a million
// variants is kept.
func takeInventory(r Reader, step func(rows int) error) (*inventory, error) {
	inv := &inventory{parts: map[string]*links{}, groups: map[variantGroup]*variantOf{}}
	part := func(key, family, role string) {
		l := inv.parts[key]
		if l == nil {
			l = &links{}
			inv.parts[key] = l
		}
		l.add(family, role)
	}
	nextVariant, stop := iter.Pull2(r.Rows(catalog.TableByName(catalog.TVariants)))
	defer stop()
	var key, family string
	lastFold, lastFamily := "", ""
	rows := 0
	advance := func() (bool, error) {
		row, err, ok := nextVariant()
		if !ok || err != nil {
			return false, err
		}
		v := row.(*catalog.Variant)
		if v.Family != lastFamily {
			lastFamily, lastFold = v.Family, catalog.Fold(v.Family)
		}
		key, family = v.Variant.Key(), lastFold
		g := variantGroup{family, v.Name}
		of := inv.groups[g]
		if of == nil {
			of = &variantOf{first: v}
			inv.groups[g] = of
			inv.order = append(inv.order, g)
		}
		of.count++
		if rows++; rows%4096 == 0 {
			return true, step(rows)
		}
		return true, nil
	}
	more := true
	var err error
	fold := map[string]string{}
	folded := func(s string) string {
		k, ok := fold[s]
		if !ok {
			k = catalog.Fold(s)
			fold[s] = k
		}
		return k
	}
	lastOf, lastKey := "", ""
	for row, rerr := range r.Rows(catalog.TableByName(catalog.TFits)) {
		if rerr != nil {
			return nil, rerr
		}
		f := row.(*catalog.Fit)
		if rows++; rows%4096 == 0 {
			if err := step(rows); err != nil {
				return nil, err
			}
		}
		if f.Part == "" {
			continue
		}
		of := ""
		switch f.Scope {
		case catalog.FitFamily:
			of = folded(f.Of)
		case catalog.FitVariant:
			if f.Of != lastOf {
				lastOf, lastKey = f.Of, catalog.Fold(f.Of)
			}
			for more && key < lastKey {
				if more, err = advance(); err != nil {
					return nil, err
				}
			}
			if more && key == lastKey {
				of = family
			}
		}
		key := folded(string(f.Part))
		part(key, of, folded(f.Role))
		if f.Scope == catalog.FitMark {
			l := inv.parts[key]
			if l.marks == nil {
				l.marks = map[string]bool{}
			}
			l.marks[plainWord(strings.ReplaceAll(f.Of, "=", " "))] = true
		}
	}
	for more {
		if more, err = advance(); err != nil {
			return nil, err
		}
	}
	// What is in a kit belongs where the kit does, what replaces a number where
	// that did, and what must come along with a part where the part does.
	pieces := map[string]*links{}
	inherit := func(to, from string) {
		if o := inv.parts[from]; o != nil {
			l := pieces[to]
			if l == nil {
				l = &links{}
				pieces[to] = l
			}
			for f := range o.families {
				l.add(f, "")
			}
		}
	}
	for row, err := range r.Rows(catalog.TableByName(catalog.TSupersessions)) {
		if err != nil {
			return nil, err
		}
		s := row.(*catalog.Supersession)
		if o := inv.parts[s.Old.Key()]; o != nil {
			for role := range o.roles {
				part(s.New.Key(), "", role)
			}
		}
		inherit(s.New.Key(), s.Old.Key())
	}
	for k, l := range pieces {
		for f := range l.families {
			part(k, f, "")
		}
	}
	clear(pieces)
	for row, err := range r.Rows(catalog.TableByName(catalog.TContents)) {
		if err != nil {
			return nil, err
		}
		c := row.(*catalog.Content)
		inherit(c.Part.Key(), c.Kit.Key())
	}
	for row, err := range r.Rows(catalog.TableByName(catalog.TCompanions)) {
		if err != nil {
			return nil, err
		}
		c := row.(*catalog.Companion)
		inherit(c.Companion.Key(), c.Part.Key())
	}
	for k, l := range pieces {
		if own := inv.parts[k]; own == nil || len(own.families) == 0 {
			for f := range l.families {
				part(k, f, "")
			}
		}
	}
	return inv, nil
}

// documents gives every document of a catalogue.
func documents(r Reader, inv *inventory, each func(*document) error) error {
	l := newLookup(r)
	put := func(t string, row catalog.Row, source string, of *links, more ...Field) error {
		table := catalog.TableByName(t)
		d := &document{table: table, key: string(table.RowKey(nil, row)), source: source}
		kind, number, fields := describe(row)
		d.kind, d.fields = kind, fields
		if kind != KindNote {
			d.number = catalog.Fold(number)
		}
		if err := l.place(d, of); err != nil {
			return err
		}
		d.more = more
		return each(d)
	}
	inside := map[string][]string{} // names of what is in a kit
	for row, err := range r.Rows(catalog.TableByName(catalog.TContents)) {
		if err != nil {
			return err
		}
		c := row.(*catalog.Content)
		p, err := l.row(catalog.TParts, c.Part.Key())
		if err != nil {
			return err
		}
		if p, ok := p.(*catalog.Part); ok && !slices.Contains(inside[c.Kit.Key()], p.Name) {
			inside[c.Kit.Key()] = append(inside[c.Kit.Key()], p.Name)
		}
	}
	meets := map[string][]string{}
	for row, err := range r.Rows(catalog.TableByName(catalog.TMeets)) {
		if err != nil {
			return err
		}
		m := row.(*catalog.Meet)
		meets[m.Fluid.Key()] = append(meets[m.Fluid.Key()], m.Spec)
	}
	for row, err := range r.Rows(catalog.TableByName(catalog.TFamilies)) {
		if err != nil {
			return err
		}
		f := row.(*catalog.Family)
		k := catalog.Fold(f.Family)
		shown, err := l.shown(catalog.OfFamily, k)
		if err != nil {
			return err
		}
		if err := put(catalog.TFamilies, f, f.Source, &links{families: map[string]bool{k: true}}, shown...); err != nil {
			return err
		}
	}
	for _, g := range inv.order {
		of := inv.groups[g]
		v := of.first
		d := &document{kind: KindVariant, table: catalog.TableByName(catalog.TVariants), key: catalog.MakeKey(v.Variant.Key()), number: v.Variant.Key(), source: v.Source}
		_, _, d.fields = describe(v)
		if of.count > 1 {
			d.count = of.count
		} else if len(inv.order) <= mostShownVariants {
			var err error
			if d.more, err = l.shown(catalog.OfVariant, v.Variant.Key()); err != nil {
				return err
			}
		}
		if err := l.place(d, &links{families: map[string]bool{g.family: true}}); err != nil {
			return err
		}
		if err := each(d); err != nil {
			return err
		}
	}
	for row, err := range r.Rows(catalog.TableByName(catalog.TParts)) {
		if err != nil {
			return err
		}
		p := row.(*catalog.Part)
		var more []Field
		if names := inside[p.Part.Key()]; len(names) > 0 {
			more = append(more, Field{Name: "holds", Text: strings.Join(names, "; ")})
		}
		if specs := meets[p.Part.Key()]; len(specs) > 0 {
			more = append(more, Field{Name: "meets", Text: strings.Join(specs, "; ")})
		}
		if of := inv.parts[p.Part.Key()]; of != nil && len(of.marks) > 0 && len(of.marks) <= maxContext {
			more = append(more, Field{Name: "for units with", Text: strings.Join(sortedKeys(of.marks), "; ")})
		}
		if err := put(catalog.TParts, p, p.Source, inv.parts[p.Part.Key()], more...); err != nil {
			return err
		}
	}
	for row, err := range r.Rows(catalog.TableByName(catalog.TNumbers)) {
		if err != nil {
			return err
		}
		n := row.(*catalog.Number)
		name, err := l.partName(n.Part)
		if err != nil {
			return err
		}
		if err := put(catalog.TNumbers, n, n.Source, inv.parts[n.Part.Key()], Field{Name: "part", Text: joinText(string(n.Part), name)}); err != nil {
			return err
		}
	}
	roles := map[string]*links{}
	for row, err := range r.Rows(catalog.TableByName(catalog.TWorkRoles)) {
		if err != nil {
			return err
		}
		w := row.(*catalog.WorkRole)
		k := catalog.Fold(w.Work)
		if roles[k] == nil {
			roles[k] = &links{}
		}
		roles[k].add("", catalog.Fold(w.Role))
	}
	for row, err := range r.Rows(catalog.TableByName(catalog.TWork)) {
		if err != nil {
			return err
		}
		w := row.(*catalog.WorkScope)
		if err := put(catalog.TWork, w, w.Source, roles[catalog.Fold(w.Work)]); err != nil {
			return err
		}
	}
	for row, err := range r.Rows(catalog.TableByName(catalog.TMarks)) {
		if err != nil {
			return err
		}
		m := row.(*catalog.Mark)
		if err := put(catalog.TMarks, m, m.Source, nil); err != nil {
			return err
		}
	}
	for row, err := range r.Rows(catalog.TableByName(catalog.TSpecs)) {
		if err != nil {
			return err
		}
		s := row.(*catalog.Spec)
		if err := put(catalog.TSpecs, s, s.Source, nil); err != nil {
			return err
		}
	}
	for row, err := range r.Rows(catalog.TableByName(catalog.TSources)) {
		if err != nil {
			return err
		}
		s := row.(*catalog.Source)
		if err := put(catalog.TSources, s, s.Source, nil); err != nil {
			return err
		}
	}
	for row, err := range r.Rows(catalog.TableByName(catalog.TNotes)) {
		if err != nil {
			return err
		}
		n := row.(*catalog.Note)
		of, err := l.linksOf(string(n.On), n.Of, n.Family, func(part string) (*links, error) { return inv.parts[part], nil })
		if err != nil {
			return err
		}
		about, err := l.aboutTarget(string(n.On), n.Of)
		if err != nil {
			return err
		}
		if err := put(catalog.TNotes, n, "", of, about...); err != nil {
			return err
		}
	}
	return nil
}

func (l *lookup) partName(p catalog.PartNo) (string, error) {
	row, err := l.row(catalog.TParts, p.Key())
	if r, ok := row.(*catalog.Part); ok {
		return r.Name, err
	}
	return "", err
}

// linksOf tells what a note belongs to.
func (l *lookup) linksOf(on, of, family string, part func(key string) (*links, error)) (*links, error) {
	out := &links{}
	key := catalog.Fold(of)
	switch on {
	case string(catalog.NoteOnPart):
		p, err := part(key)
		if err != nil {
			return nil, err
		}
		out.join(p)
	case "number":
		row, err := l.row(catalog.TNumbers, key)
		if err != nil {
			return nil, err
		}
		if n, ok := row.(*catalog.Number); ok {
			p, err := part(n.Part.Key())
			if err != nil {
				return nil, err
			}
			out.join(p)
		}
	case string(catalog.NoteOnFamily):
		out.add(key, "")
	case string(catalog.NoteOnVariant):
		row, err := l.row(catalog.TVariants, key)
		if err != nil {
			return nil, err
		}
		if v, ok := row.(*catalog.Variant); ok {
			out.add(catalog.Fold(v.Family), "")
		}
	}
	if family != "" {
		out.families = map[string]bool{catalog.Fold(family): true}
	}
	return out, nil
}

// aboutTarget gives the name of what a note is about.
func (l *lookup) aboutTarget(on, of string) ([]Field, error) {
	key, name := catalog.Fold(of), ""
	row, err := l.targetRow(on, key)
	if err != nil {
		return nil, err
	}
	if row != nil {
		if _, _, fields := describe(row); len(fields) > 0 {
			name = fields[0].Text
		}
	}
	if name == "" {
		return nil, nil
	}
	return []Field{{Name: "on", Text: name}}, nil
}

func (l *lookup) targetRow(on, key string) (catalog.Row, error) {
	switch on {
	case string(catalog.NoteOnPart):
		return l.row(catalog.TParts, key)
	case string(catalog.NoteOnVariant):
		return l.row(catalog.TVariants, key)
	case string(catalog.NoteOnFamily):
		return l.row(catalog.TFamilies, key)
	case string(catalog.NoteOnMark):
		return l.row(catalog.TMarks, key)
	case string(catalog.NoteOnWork):
		return l.row(catalog.TWork, key)
	}
	return nil, nil
}

// section is a run of numbers that have no document: all of one table, or of one
// supplier or layout in it.
type section struct {
	Table  string `json:"table"`
	Prefix string `json:"prefix"` // the key before the number
	Lines  int    `json:"lines"`
}

// bareNumbers gives the numbers that are found by number alone, in sections: each
// is called with the folded number.
func bareNumbers(r Reader, inv *inventory, open func(table, prefix string) error, each func(number string) error) error {
	first := map[string]bool{}
	for _, of := range inv.groups {
		first[of.first.Variant.Key()] = true
	}
	if err := open(catalog.TVariants, ""); err != nil {
		return err
	}
	for row, err := range r.Rows(catalog.TableByName(catalog.TVariants)) {
		if err != nil {
			return err
		}
		if k := row.(*catalog.Variant).Variant.Key(); !first[k] {
			if err := each(k); err != nil {
				return err
			}
		}
	}
	last := ""
	for row, err := range r.Rows(catalog.TableByName(catalog.TOffers)) {
		if err != nil {
			return err
		}
		o := row.(*catalog.Offer)
		if o.Supplier != last {
			last = o.Supplier
			if err := open(catalog.TOffers, catalog.MakeKey(catalog.Fold(o.Supplier))); err != nil {
				return err
			}
		}
		if err := each(catalog.Fold(o.Stock)); err != nil {
			return err
		}
	}
	last = ""
	lastPlate := ""
	for row, err := range r.Rows(catalog.TableByName(catalog.TPlates)) {
		if err != nil {
			return err
		}
		p := row.(*catalog.Plate)
		if p.Layout != last {
			last, lastPlate = p.Layout, ""
			if err := open(catalog.TPlates, catalog.MakeKey(catalog.Fold(p.Layout))); err != nil {
				return err
			}
		}
		k := catalog.Fold(p.Plate)
		if k == lastPlate {
			continue
		}
		lastPlate = k
		if err := each(k); err != nil {
			return err
		}
	}
	return nil
}
