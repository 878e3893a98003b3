package audit

import (
	"cmp"
	"slices"
	"strconv"
	"strings"

	"platewright/catalog"
)

// walked are the tables that are not read into memory.
var walked = []string{catalog.TShows, catalog.TFits, catalog.TFills, catalog.TSites, catalog.TTorques, catalog.TSeals, catalog.TRings, catalog.TPorts,
	catalog.TVariants, catalog.TPlates}

// kept are the tables that are.
var kept = []string{catalog.TSources, catalog.TCautions, catalog.TMakers, catalog.TFamilies, catalog.TAssemblies, catalog.TLayouts, catalog.TFields,
	catalog.TMarks, catalog.TRoles, catalog.TParts, catalog.TNumbers, catalog.TContents, catalog.TSupersessions, catalog.TCompanions, catalog.TSpecs,
	catalog.TServes, catalog.TMeets, catalog.TWork, catalog.TWorkRoles, catalog.TSuppliers, catalog.TOffers, catalog.TConsumables,
	catalog.TBreaks, catalog.TSheets, catalog.TLimits, catalog.TFaults}

// readSmall reads the small tables, and of the others what they rest on.
func (a *auditor) readSmall() error {
	a.folds = map[string]string{}
	a.cited = [2]map[string]bool{{}, {}}
	a.small = map[string][]catalog.Row{}
	a.asked = map[condition]*question{}
	a.memo = map[int]*unit{}
	for _, t := range catalog.Tables() {
		if slices.Contains(walked, t.Name) {
			continue
		}
		keep := slices.Contains(kept, t.Name)
		if !keep && !slices.ContainsFunc(t.Columns, func(c *catalog.Column) bool { return c.Ref == catalog.TSources || c.Ref == catalog.TCautions }) {
			continue
		}
		if err := a.each(t.Name, func(r catalog.Row) error {
			if keep {
				a.small[t.Name] = append(a.small[t.Name], r)
			}
			return nil
		}); err != nil {
			return err
		}
	}
	a.readAssemblies()
	a.roleOf, a.markOf = map[string]int{}, map[string]int{}
	for _, o := range rows[catalog.Role](a, catalog.TRoles) {
		key := catalog.Fold(o.Role)
		a.roleOf[key] = len(a.roles)
		a.roles = append(a.roles, role{row: o, key: key, assembly: a.assemblyOf[catalog.Fold(o.Assembly)]})
		a.places = append(a.places, map[string]string{})
	}
	for _, w := range rows[catalog.WorkRole](a, catalog.TWorkRoles) {
		if i, ok := a.roleOf[catalog.Fold(w.Role)]; ok {
			a.roles[i].works = append(a.roles[i].works, work{w.Work, w.Need})
			a.roles[i].required = a.roles[i].required || w.Need == catalog.NeedRequired
		}
	}
	for _, m := range rows[catalog.Mark](a, catalog.TMarks) {
		key := catalog.Fold(m.Mark)
		a.markOf[key] = len(a.marks)
		a.marks = append(a.marks, mark{row: m, key: key})
		a.values = append(a.values, map[string]string{})
	}
	fields := map[string][]*catalog.Field{}
	for _, f := range rows[catalog.Field](a, catalog.TFields) {
		k := catalog.Fold(f.Layout)
		fields[k] = append(fields[k], f)
	}
	a.layoutOf = map[string]int{}
	for _, l := range rows[catalog.Layout](a, catalog.TLayouts) {
		key := catalog.Fold(l.Layout)
		a.layoutOf[key] = len(a.layouts)
		n := newLayout(l, key, fields[key])
		n.assembly = a.assemblyOf[catalog.Fold(l.Assembly)]
		a.layouts = append(a.layouts, n)
	}
	a.familyOf = map[string]int{}
	for _, f := range rows[catalog.Family](a, catalog.TFamilies) {
		a.families[a.familyIndex(f.Family)].row = f
	}
	a.readParts()
	return nil
}

// rows gives the rows of a small table.
func rows[T any](a *auditor, table string) []*T {
	out := make([]*T, len(a.small[table]))
	for i, r := range a.small[table] {
		out[i] = r.(*T)
	}
	return out
}

// readAssemblies puts the assembly that follows none first.
func (a *auditor) readAssemblies() {
	list := rows[catalog.Assembly](a, catalog.TAssemblies)
	slices.SortStableFunc(list, func(x, y *catalog.Assembly) int { return cmp.Compare(min(len(x.Follows), 1), min(len(y.Follows), 1)) })
	a.assemblyOf = map[string]int{}
	for i, s := range list {
		a.assemblyOf[catalog.Fold(s.Assembly)] = i
		a.assemblies = append(a.assemblies, s.Assembly)
	}
	a.codes.takes = make([][]uint64, len(a.assemblies))
}

// familyIndex gives the number of a family, and makes one for a name that is
// not in the table, so that what is said of it has a place.
func (a *auditor) familyIndex(name string) int {
	key := a.fold(name)
	if i, ok := a.familyOf[key]; ok {
		return i
	}
	i := len(a.families)
	a.familyOf[key] = i
	a.families = append(a.families, &family{key: key, shows: make([][]shown, len(a.marks)), byRole: make([][]statement, len(a.roles)),
		fills: make([]*catalog.Fill, len(a.roles)), missing: make([]gathered, len(a.roles)), kits: make([][]int, len(a.roles)),
		figures: make([]bool, len(figureTables)), sites: map[string]bool{}, looks: map[uint64]*looks{}})
	return i
}

// partNo gives the number of a part as it is spelled in a row.
func (a *auditor) partNo(p catalog.PartNo) int {
	if i, ok := a.partOf[p]; ok {
		return i
	}
	key := p.Key()
	i, ok := a.partKeys[key]
	if !ok {
		i = len(a.parts)
		a.partKeys[key] = i
		a.parts = append(a.parts, part{no: p, key: key})
	}
	a.partOf[catalog.PartNo(strings.Clone(string(p)))] = i
	return i
}

func (a *auditor) readParts() {
	a.partOf, a.partKeys = map[catalog.PartNo]int{}, map[string]int{}
	for _, p := range rows[catalog.Part](a, catalog.TParts) {
		i := a.partNo(p.Part)
		a.parts[i].row = p
		a.parts[i].kit = p.Kind == catalog.PartKit || p.Kind == catalog.PartSet
	}
	for _, c := range rows[catalog.Content](a, catalog.TContents) {
		k, p := a.partNo(c.Kit), a.partNo(c.Part)
		a.parts[k].content = append(a.parts[k].content, p)
		a.parts[p].named = true
	}
	for _, c := range rows[catalog.Companion](a, catalog.TCompanions) {
		i := a.partNo(c.Companion)
		a.parts[i].named, a.parts[i].asked = true, true
	}
	for _, c := range rows[catalog.Consumable](a, catalog.TConsumables) {
		i := a.partNo(c.Part)
		a.parts[i].named, a.parts[i].asked = true, true
	}
	for _, m := range rows[catalog.Meet](a, catalog.TMeets) {
		a.parts[a.partNo(m.Fluid)].named = true
	}
	for _, s := range rows[catalog.Supersession](a, catalog.TSupersessions) {
		old, to := a.partNo(s.Old), a.partNo(s.New)
		a.parts[to].named = true
		if s.Kind == catalog.TwoWay {
			a.parts[old].named = true
		}
	}
	a.ways = newWays(a, rows[catalog.Supersession](a, catalog.TSupersessions))
}

// smallTables reports what the small tables alone tell.
func (a *auditor) smallTables() error {
	for _, step := range []func() error{a.supersessions, a.offers, a.breaks, a.fluids, a.sheets, a.names} {
		if err := step(); err != nil {
			return err
		}
	}
	return nil
}

// offers reports offers of what cannot be ordered, and parts that a supplier
// sells twice.
func (a *auditor) offers() error {
	type pack struct{ supplier, part, size string }
	packs := map[pack][]*catalog.Offer{}
	var order []pack
	for _, o := range rows[catalog.Offer](a, catalog.TOffers) {
		p := a.parts[a.partNo(o.Part)]
		f := Facts{Supplier: o.Supplier, Stocks: []string{o.Stock}, Parts: []catalog.PartNo{o.Part}}
		switch {
		case p.row == nil:
			if err := a.tell(OfferOfUnknownPart, Wrong, f, a.at(catalog.TOffers, o)); err != nil {
				return err
			}
		case p.row.Status == catalog.PartEnded:
			if err := a.tell(OfferOfEndedPart, Doubtful, f, a.at(catalog.TOffers, o)); err != nil {
				return err
			}
		}
		k := pack{catalog.Fold(o.Supplier), p.key, strconv.Itoa(o.Pack) + " " + o.Litres.String()}
		if packs[k] == nil {
			order = append(order, k)
		}
		packs[k] = append(packs[k], o)
	}
	for _, k := range order {
		list := packs[k]
		if !slices.ContainsFunc(list, func(o *catalog.Offer) bool { return !o.Price.Equal(list[0].Price) }) {
			continue
		}
		f := Facts{Supplier: list[0].Supplier, Parts: []catalog.PartNo{list[0].Part}}
		var at []Row
		for _, o := range list {
			f.Stocks, f.Prices = append(f.Stocks, o.Stock), append(f.Prices, o.Price.String())
			at = append(at, a.at(catalog.TOffers, o))
		}
		if err := a.tell(OfferTwice, Doubtful, f, at...); err != nil {
			return err
		}
	}
	return nil
}

// breaks reports prices by number of packs that cannot be meant.
func (a *auditor) breaks() error {
	prices := map[[2]string]catalog.Decimal{}
	for _, o := range rows[catalog.Offer](a, catalog.TOffers) {
		prices[[2]string{catalog.Fold(o.Supplier), catalog.Fold(o.Stock)}] = o.Price
	}
	// The rows stand in the order of supplier, stock number and packs.
	for _, b := range rows[catalog.Break](a, catalog.TBreaks) {
		k := [2]string{catalog.Fold(b.Supplier), catalog.Fold(b.Stock)}
		f := Facts{Supplier: b.Supplier, Stocks: []string{b.Stock}, Qty: []int{b.From}}
		before, ok := prices[k]
		if !ok {
			if err := a.tell(BreakWithoutOffer, Wrong, f, a.at(catalog.TBreaks, b)); err != nil {
				return err
			}
			continue
		}
		if before.Known && b.Price.Known && b.Price.Num.GreaterThanOrEqual(before.Num) {
			f.Prices = []string{before.String(), b.Price.String()}
			if err := a.tell(BreakDearer, Doubtful, f, a.at(catalog.TBreaks, b)); err != nil {
				return err
			}
		}
		prices[k] = b.Price
	}
	return nil
}

// sheets reports figures of fluids that contradict what they are said to meet.
func (a *auditor) sheets() error {
	figures := map[string]map[catalog.Property]*catalog.Sheet{}
	for _, s := range rows[catalog.Sheet](a, catalog.TSheets) {
		k := s.Fluid.Key()
		if figures[k] == nil {
			figures[k] = map[catalog.Property]*catalog.Sheet{}
		}
		figures[k][s.Property] = s
	}
	limits := map[string][]*catalog.Limit{}
	for _, l := range rows[catalog.Limit](a, catalog.TLimits) {
		limits[catalog.Fold(l.Spec)] = append(limits[catalog.Fold(l.Spec)], l)
	}
	for _, m := range rows[catalog.Meet](a, catalog.TMeets) {
		for _, l := range limits[catalog.Fold(m.Spec)] {
			s := figures[m.Fluid.Key()][l.Property]
			if s == nil || !l.Excludes(s.Value) {
				continue
			}
			if err := a.tell(SheetOffLimits, Wrong, Facts{Specs: []string{m.Spec}, Parts: []catalog.PartNo{m.Fluid}, Property: l.Property,
				Values: []string{s.Value.String()}, From: l.Least.String(), To: l.Most.String()}, a.at(catalog.TSheets, s), a.at(catalog.TLimits, l)); err != nil {
				return err
			}
		}
	}
	return nil
}

// faults reports trouble codes that point at no site.
func (a *auditor) faults() error {
	for _, x := range rows[catalog.Fault](a, catalog.TFaults) {
		f := a.families[a.familyIndex(x.Family)]
		if f.sites[catalog.Fold(x.Site)] {
			continue
		}
		if err := a.tell(FaultWithoutSite, Doubtful, Facts{Family: x.Family, Code: x.Code, Site: x.Site}, a.at(catalog.TFaults, x)); err != nil {
			return err
		}
	}
	return nil
}

// fluids reports specifications that sound alike, and fluids that serve by
// their name only.
func (a *auditor) fluids() error {
	serves := map[[2]string]bool{}
	for _, s := range rows[catalog.Serve](a, catalog.TServes) {
		serves[[2]string{catalog.Fold(s.Spec), catalog.Fold(s.ServedBy)}] = true
	}
	met, meets := map[string]bool{}, map[string]bool{}
	for _, m := range rows[catalog.Meet](a, catalog.TMeets) {
		p := a.parts[a.partNo(m.Fluid)]
		meets[p.key] = true
		if p.row != nil && p.row.Status == catalog.PartSold {
			met[catalog.Fold(m.Spec)] = true
		}
	}
	specs := rows[catalog.Spec](a, catalog.TSpecs)
	for i, s := range specs {
		for _, o := range specs[:i] {
			j, k := catalog.Fold(o.Spec), catalog.Fold(s.Spec)
			if serves[[2]string{j, k}] || serves[[2]string{k, j}] || !oneLetterApart(j, k) && !oneLetterApart(catalog.Fold(o.Name), catalog.Fold(s.Name)) {
				continue
			}
			if err := a.tell(SpecsNearlyNamed, Doubtful, Facts{Specs: []string{o.Spec, s.Spec}}, a.at(catalog.TSpecs, s), a.at(catalog.TSpecs, o)); err != nil {
				return err
			}
		}
	}
	for _, p := range rows[catalog.Part](a, catalog.TParts) {
		if p.Kind == catalog.PartFluid && !meets[p.Part.Key()] && !a.usedUp(p.Part) {
			if err := a.tell(FluidMeetsNothing, Doubtful, Facts{Parts: []catalog.PartNo{p.Part}}, a.at(catalog.TParts, p)); err != nil {
				return err
			}
		}
	}
	for _, s := range rows[catalog.Serve](a, catalog.TServes) {
		if !met[catalog.Fold(s.ServedBy)] {
			if err := a.tell(ServesWithoutFluid, Doubtful, Facts{Specs: []string{s.Spec, s.ServedBy}}, a.at(catalog.TServes, s)); err != nil {
				return err
			}
		}
	}
	a.served = func(spec string) bool {
		key := catalog.Fold(spec)
		if met[key] {
			return true
		}
		for _, s := range specs {
			if k := catalog.Fold(s.Spec); serves[[2]string{key, k}] && met[k] {
				return true
			}
		}
		return false
	}
	return nil
}

// usedUp tells whether a scope of work uses the part up: a cleaner is bought as
// a fluid and meets no specification of one that is filled in.
func (a *auditor) usedUp(p catalog.PartNo) bool {
	return slices.ContainsFunc(rows[catalog.Consumable](a, catalog.TConsumables), func(c *catalog.Consumable) bool { return c.Part.Key() == p.Key() })
}

// oneLetterApart tells whether one letter makes the difference between two
// texts: another one, one too many, or two neighbours swapped.
func oneLetterApart(a, b string) bool {
	if len(a) > len(b) {
		a, b = b, a
	}
	if a == b || len(b)-len(a) > 1 || a == "" {
		return false
	}
	i := 0
	for i < len(a) && a[i] == b[i] {
		i++
	}
	if len(a) < len(b) {
		return a[i:] == b[i+1:]
	}
	return a[i+1:] == b[i+1:] || i+1 < len(a) && a[i] == b[i+1] && a[i+1] == b[i] && a[i+2:] == b[i+2:]
}

// shapes are the characters that look like another one, with the one that stands
// for all of their look. (Crockford, Base32, 2019-03-04, takes O for 0 and I and
// L for 1; 2 and Z, 5 and S, 6 and G, 8 and B, 0 and Q: common practice, no
// published source.)
var shapes = strings.NewReplacer("O", "0", "Q", "0", "I", "1", "L", "1", "Z", "2", "S", "5", "G", "6", "B", "8")

// shape gives what is left of a text when spaces, separators and the difference
// between characters that look alike are taken away.
func shape(text string) string { return shapes.Replace(catalog.Fold(text)) }

// alikeNames reports the names among several that are the same in shape and
// differ by fold.
func (a *auditor) alikeNames(names []named, fold func(string) string, f Facts) error {
	of := map[string][]named{}
	var order []string
	for _, n := range names {
		s := shape(n.name)
		if of[s] == nil {
			order = append(order, s)
		}
		if !slices.ContainsFunc(of[s], func(o named) bool { return fold(o.name) == fold(n.name) || o.means != "" && o.means == n.means }) {
			of[s] = append(of[s], n)
		}
	}
	for _, s := range order {
		if len(of[s]) < 2 {
			continue
		}
		g := f
		var at []Row
		for _, n := range of[s] {
			g.Names = append(g.Names, n.name)
			if n.row != nil {
				at = append(at, n.row())
			}
		}
		if err := a.tell(LooksLike, Doubtful, g, at...); err != nil {
			return err
		}
	}
	return nil
}

// named is a name, what goes by it (two numbers of one part are no mistake), and
// the row where it stands.
type named struct {
	name, means string
	row         func() Row
}

// coded are the small tables of which the codes and names are compared.
var coded = []struct {
	table, code string
	name        string // "": names may repeat
}{
	{catalog.TSources, "source", ""}, {catalog.TCautions, "caution", ""}, {catalog.TMakers, "maker", "name"}, {catalog.TFamilies, "family", "name"},
	{catalog.TAssemblies, "assembly", "name"}, {catalog.TLayouts, "layout", ""}, {catalog.TMarks, "mark", "name"}, {catalog.TRoles, "role", "name"},
	{catalog.TSpecs, "spec", "name"}, {catalog.TWork, "work", "name"}, {catalog.TSuppliers, "supplier", "name"},
}

// names reports codes and names that look like others.
func (a *auditor) names() error {
	var parts []named
	for _, p := range rows[catalog.Part](a, catalog.TParts) {
		parts = append(parts, named{string(p.Part), p.Part.Key(), func() Row { return a.at(catalog.TParts, p) }})
	}
	for _, n := range rows[catalog.Number](a, catalog.TNumbers) {
		parts = append(parts, named{n.Number, n.Part.Key(), func() Row { return a.at(catalog.TNumbers, n) }})
	}
	if err := a.alikeNames(parts, catalog.Fold, Facts{Table: catalog.TParts}); err != nil {
		return err
	}
	for _, c := range coded {
		t := catalog.TableByName(c.table)
		code := t.Column(c.code)
		var codes []named
		by := map[string][]catalog.Row{}
		var order []string
		for _, r := range a.small[c.table] {
			codes = append(codes, named{name: code.Get(r), row: func() Row { return a.at(c.table, r) }})
			if c.name != "" {
				k := catalog.FoldValue(t.Column(c.name).Get(r))
				if by[k] == nil {
					order = append(order, k)
				}
				by[k] = append(by[k], r)
			}
		}
		if err := a.alikeNames(codes, catalog.Fold, Facts{Table: c.table}); err != nil {
			return err
		}
		for _, k := range order {
			if len(by[k]) < 2 {
				continue
			}
			f := Facts{Table: c.table, Text: t.Column(c.name).Get(by[k][0])}
			var at []Row
			for _, r := range by[k] {
				f.Names = append(f.Names, code.Get(r))
				at = append(at, a.at(c.table, r))
			}
			if err := a.tell(SameName, Thin, f, at...); err != nil {
				return err
			}
		}
	}
	return nil
}

// tellFamilies reports what can be told of a family once all its variants are read.
func (a *auditor) tellFamilies() error {
	for _, f := range a.families {
		if f.row == nil || f.variants == 0 {
			continue
		}
		if err := a.progress("families", f.variants); err != nil {
			return err
		}
		for _, step := range []func(*family) error{a.unstated, a.kits, a.figures, a.nothingToLookAt} {
			if err := step(f); err != nil {
				return err
			}
		}
	}
	return nil
}

// holds gives the roles of which a kit holds a part.
func (a *auditor) holds(kit int) bits {
	var out bits
	seen := map[int]bool{kit: true}
	var into func(int)
	into = func(k int) {
		for _, p := range a.parts[k].content {
			out.addAll(a.parts[p].stated)
			if !seen[p] {
				seen[p] = true
				into(p)
			}
		}
	}
	into(kit)
	return out
}

// togetherIn tells whether a scope of work takes both roles.
func togetherIn(r, o *role) bool {
	return slices.ContainsFunc(r.works, func(w work) bool {
		return slices.ContainsFunc(o.works, func(v work) bool { return catalog.Fold(v.name) == catalog.Fold(w.name) })
	})
}

func (a *auditor) unstated(f *family) error {
	for r := range a.roles {
		g := &f.missing[r]
		if g.n == 0 {
			continue
		}
		held := false
		for k, list := range f.kits {
			for _, kit := range list {
				held = held || k != r && togetherIn(&a.roles[k], &a.roles[r]) && a.holds(kit).has(r)
			}
		}
		if held {
			continue
		}
		x := Facts{Family: f.row.Family, Role: a.roles[r].row.Role, Of: f.variants, Need: catalog.NeedRecommended}
		severity := Thin
		if a.roles[r].required {
			x.Need = catalog.NeedRequired
			if g.n < f.variants {
				severity = Doubtful
			}
		}
		for _, w := range a.roles[r].works {
			x.Work = append(x.Work, w.name)
		}
		at := a.at(catalog.TFamilies, f.row)
		if g.facts(&x); g.n < f.variants {
			at = a.variantRow(&unit{code: g.first[0], key: g.first[0].Key()})
		}
		if err := a.tell(RoleUnstated, severity, x, at); err != nil {
			return err
		}
	}
	return nil
}

func (a *auditor) kits(f *family) error {
	for r, list := range f.kits {
		for _, kit := range list {
			p := &a.parts[kit]
			if p.row == nil {
				continue
			}
			x := Facts{Family: f.row.Family, Role: a.roles[r].row.Role, Parts: []catalog.PartNo{p.row.Part}}
			at := a.at(catalog.TParts, p.row)
			if p.row.Kind != catalog.PartKit {
				continue // the pieces of a set are equal and need no list
			}
			if len(p.content) == 0 {
				if a.once(string(KitWithoutContents) + p.key) {
					if err := a.tell(KitWithoutContents, Thin, Facts{Parts: x.Parts}, at); err != nil {
						return err
					}
				}
				continue
			}
			has := a.holds(kit)
			var sisters []int
			for _, s := range list {
				if s != kit && len(a.parts[s].content) > 0 && a.parts[s].row != nil && a.parts[s].row.Kind == catalog.PartKit {
					sisters = append(sisters, s)
				}
			}
			for o := range a.roles {
				if !a.roles[o].row.OneTime || o == r || has.has(o) {
					continue
				}
				lacks := x
				lacks.Roles = []string{a.roles[o].row.Role}
				if len(sisters) > 0 && !slices.ContainsFunc(sisters, func(s int) bool { return !a.holds(s).has(o) }) {
					lacks := lacks
					for _, s := range sisters {
						lacks.Parts = append(lacks.Parts, a.parts[s].no)
					}
					if err := a.tell(KitLacksSister, Doubtful, lacks, at); err != nil {
						return err
					}
				}
				if a.roles[o].assembly != a.roles[r].assembly || f.covered.has(o) {
					continue
				}
				for _, w := range a.roles[r].works {
					if slices.ContainsFunc(a.roles[o].works, func(v work) bool {
						return catalog.Fold(v.name) == catalog.Fold(w.name) && v.need == catalog.NeedRequired
					}) {
						lacks.Work = append(lacks.Work, w.name)
					}
				}
				if len(lacks.Work) > 0 {
					if err := a.tell(KitLacksScope, Wrong, lacks, at); err != nil {
						return err
					}
				}
			}
		}
	}
	return nil
}

// figures reports tables of figures that have nothing of a family and something
// of its sisters.
func (a *auditor) figures(f *family) error {
	for i, t := range figureTables {
		if f.figures[i] {
			continue
		}
		sisters, have := 0, 0
		for _, s := range a.families {
			if s == f || s.row == nil || s.variants == 0 || catalog.Fold(s.row.Maker) != catalog.Fold(f.row.Maker) {
				continue
			}
			sisters++
			if s.figures[i] {
				have++
			}
		}
		if have == 0 || 2*have < sisters {
			continue
		}
		if err := a.tell(FiguresMissing, Thin, Facts{Family: f.row.Family, Maker: f.row.Maker, Table: t, Count: have, Of: sisters}, a.at(catalog.TFamilies, f.row)); err != nil {
			return err
		}
	}
	return nil
}

// nothingToLookAt reports the variants of a family that no deciding mark tells
// from another one that takes different parts. Variants that show the same are
// looked at together; what follows for two of them follows for all.
func (a *auditor) nothingToLookAt(f *family) error {
	if !a.want(NothingToLookAt) {
		return nil
	}
	groups := make([]*looks, 0, len(f.looks))
	for _, l := range f.looks {
		groups = append(groups, l)
	}
	slices.SortFunc(groups, func(x, y *looks) int { return strings.Compare(x.first[0].Key(), y.first[0].Key()) })
	// to leads from each group towards the first of those that it is tied to.
	to := make([]int, len(groups))
	for i := range to {
		to[i] = i
	}
	root := func(i int) int {
		for to[i] != i {
			to[i] = to[to[i]]
			i = to[i]
		}
		return i
	}
	tied := make([]bool, len(groups))
	for i, l := range groups {
		tied[i] = tied[i] || len(l.differ) > 0
		for j, o := range groups[:i] {
			if tied[i] && tied[j] && root(i) == root(j) || len(l.differ) == 0 && len(o.differ) == 0 && slices.Equal(l.takes, o.takes) || a.looksApart(l, o) {
				continue
			}
			tied[i], tied[j] = true, true
			x, y := root(i), root(j)
			to[max(x, y)] = min(x, y)
		}
	}
	for i := range groups {
		if !tied[i] || root(i) != i {
			continue
		}
		x := Facts{Family: f.row.Family, Of: f.variants}
		var all gathered
		var differ bits
		for j, o := range groups {
			if !tied[j] || root(j) != i {
				continue
			}
			all.n, all.sum = all.n+o.n, all.sum+o.sum
			all.first = append(all.first, o.first...)
			differ.addAll(o.differ)
			for r := range a.roles {
				if o.takes[r] != groups[i].takes[r] {
					differ.add(r)
				}
			}
		}
		slices.SortFunc(all.first, func(x, y catalog.VariantCode) int { return strings.Compare(x.Key(), y.Key()) })
		all.first = all.first[:min(len(all.first), maxNamed)]
		for r := range a.roles {
			if differ.has(r) {
				x.Roles = append(x.Roles, a.roles[r].row.Role)
			}
		}
		all.facts(&x)
		if err := a.tell(NothingToLookAt, Thin, x, a.variantRow(&unit{code: all.first[0], key: all.first[0].Key()})); err != nil {
			return err
		}
	}
	return nil
}

// looksApart tells whether a deciding mark tells two looks apart.
func (a *auditor) looksApart(l, o *looks) bool {
	for m := range a.marks {
		if a.marks[m].row.Force == catalog.Deciding && apart(a.marks[m].row, l.shown[m], o.shown[m]) {
			return true
		}
	}
	return false
}

// tellLeftovers reports what nothing names, shows or rests on, once everything is read.
func (a *auditor) tellLeftovers() error {
	for i := range a.parts {
		p := &a.parts[i]
		if p.row == nil {
			continue
		}
		if !p.named {
			if err := a.tell(PartUnnamed, Thin, Facts{Parts: []catalog.PartNo{p.row.Part}}, a.at(catalog.TParts, p.row)); err != nil {
				return err
			}
		}
		if p.row.Status != catalog.PartEnded {
			continue
		}
		f := Facts{Parts: []catalog.PartNo{p.row.Part}, Named: p.asked}
		switch {
		case !a.ways.leads(i):
			severity := Thin
			if p.asked {
				severity = Doubtful
			}
			if err := a.tell(EndedWithoutSuccessor, severity, f, a.at(catalog.TParts, p.row)); err != nil {
				return err
			}
		case !a.ways.buyable[i]:
			for _, o := range a.ways.reached(i) {
				if o != i {
					f.Parts = append(f.Parts, a.parts[o].no)
				}
			}
			if err := a.tell(EndedChain, Doubtful, f, a.at(catalog.TParts, p.row)); err != nil {
				return err
			}
		}
	}
	for m := range a.marks {
		if !a.marks[m].shown {
			if err := a.tell(MarkUnshown, Thin, Facts{Mark: a.marks[m].row.Mark}, a.at(catalog.TMarks, a.marks[m].row)); err != nil {
				return err
			}
		}
		if a.marks[m].row.Kind != catalog.MarkMeasured {
			if err := a.alikeNames(spelledNames(a.values[m]), catalog.FoldValue, Facts{Mark: a.marks[m].row.Mark}); err != nil {
				return err
			}
		}
	}
	for r := range a.roles {
		if err := a.alikeNames(spelledNames(a.places[r]), catalog.FoldValue, Facts{Role: a.roles[r].row.Role}); err != nil {
			return err
		}
	}
	asked := make([]condition, 0, len(a.asked))
	for c := range a.asked {
		if _, ok := a.values[c.mark][c.value]; !ok {
			asked = append(asked, c)
		}
	}
	slices.SortFunc(asked, func(x, y condition) int { return cmp.Or(cmp.Compare(x.mark, y.mark), cmp.Compare(x.value, y.value)) })
	for _, c := range asked {
		q := a.asked[c]
		if err := a.tell(ValueUnshown, Doubtful, Facts{Mark: q.mark, Values: []string{q.value}, Count: q.n}, q.first); err != nil {
			return err
		}
	}
	asks := sortedKeys(a.specsAsked)
	for _, k := range asks {
		if spec := a.specsAsked[k]; !a.served(spec) {
			if err := a.tell(FillWithoutFluid, Wrong, Facts{Specs: []string{spec}}, Row{Table: catalog.TSpecs, Key: spec}); err != nil {
				return err
			}
		}
	}
	for _, s := range rows[catalog.Source](a, catalog.TSources) {
		if !a.cited[0][catalog.Fold(s.Source)] {
			if err := a.tell(SourceUnused, Thin, Facts{Names: []string{s.Source}}, a.at(catalog.TSources, s)); err != nil {
				return err
			}
		}
	}
	for _, c := range rows[catalog.Caution](a, catalog.TCautions) {
		if !a.cited[1][catalog.Fold(c.Caution)] {
			if err := a.tell(CautionUnused, Thin, Facts{Names: []string{c.Caution}}, a.at(catalog.TCautions, c)); err != nil {
				return err
			}
		}
	}
	return nil
}

func spelledNames(m map[string]string) []named {
	var out []named
	for _, k := range sortedKeys(m) {
		out = append(out, named{name: m[k]})
	}
	return out
}
