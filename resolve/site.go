package resolve

import (
	"errors"
	"slices"
	"strings"

	"platewright/catalog"
	"platewright/resolve/measure"
	"platewright/resolve/measure/coil"
	"platewright/resolve/measure/seal"

	"github.com/shopspring/decimal"
)

// This file reads what was measured at an actuator site (C2a) or on a seal (C2b),
// of which the catalogue has rows of their own and no mark, as observations.

// seenBench is what an observation of a coil or a seal knows beside that of a mark.
type seenBench struct {
	table  *catalog.Table              // sites or seals
	key    string                      // of the site or seal
	mark   *catalog.Mark               // of a coil, the mark of the site by whose name it was measured; nil for the site's own
	shows  map[string][]*catalog.Show  // with mark: what variants without a row of the site are held to, by their keys
	ohm    measure.Quantity            // of a coil
	temp   measure.Quantity            // of a coil, when it was measured
	length decimal.Decimal             // of a seal, in mm
	role   string                      // as the row spells it
	faulty bool                        // it is no evidence (C2c)
	own    map[string][]*catalog.Show  // what a variant has of its own, by its key
	family map[string][]*catalog.Show  // what a family has, by its key
	rows   map[*catalog.Show]*benchRow // where it comes from
}

// benchRow is a row of sites or of seals.
type benchRow struct {
	site *catalog.Site
	seal *catalog.Seal
}

func (b *benchRow) name() string {
	if b.site != nil {
		return b.site.Site
	}
	return b.seal.Seal
}

func (b *benchRow) role() string {
	if b.site != nil {
		return b.site.Role
	}
	return b.seal.Role
}

// show gives the row as what a variant shows of a mark.
func (b *benchRow) show() *catalog.Show {
	if s := b.site; s != nil {
		return &catalog.Show{Scope: s.Scope, Of: s.Of, Mark: s.Site, Value: s.Ohm.String(), Tolerance: s.Tolerance, Source: s.Source}
	}
	s := b.seal
	return &catalog.Show{Scope: s.Scope, Of: s.Of, Mark: s.Seal, Value: s.Length.String(), Tolerance: s.Tolerance, Source: s.Source}
}

// siteTemp gives the temperature for which the row's resistance holds.
func siteTemp(s *catalog.Site) measure.Quantity {
	if s.Temp.Known {
		return measure.Of(s.Temp.Num, measure.Celsius)
	}
	return coil.Reference()
}

// caliper is the measuring tolerance of a seal in mm (C2b).
func caliper() decimal.Decimal { return seal.Caliper.In(measure.Millimetre).Value }

// agrees tells whether what was measured can be of a unit with this row.
func (s *seenBench) agrees(b *benchRow) bool {
	if b.site != nil {
		return coil.Agrees(s.ohm, s.temp, b.site.Ohm.Num, b.site.Tolerance.Num, siteTemp(b.site))
	}
	n := seal.Of(b.seal, false)
	return n.Can(s.length, caliper())
}

// agreesWith tells whether a coil measured by the name of a mark can be of a variant
// that has no row of the site and shows this of the mark.
func (s *seenBench) agreesWith(show *catalog.Show) bool {
	nominal, err := catalog.ParseDecimal(show.Value)
	return err == nil && coil.Agrees(s.ohm, s.temp, nominal.Num, show.Tolerance.Num, coil.Reference())
}

// coilMark gives an observation of a mark that is the coil at a site (C2a); nil where
// the mark is none.
func (d *decider) coilMark(m *catalog.Mark, key string, o Observation) (*seenMark, error) {
	if m.Site == "" || m.Kind != catalog.MarkMeasured || m.Force != catalog.Deciding {
		return nil, nil
	}
	if u, err := measure.ParseUnit(m.Unit); err != nil || u != measure.Ohm {
		return nil, nil
	}
	t, site := catalog.TableByName(catalog.TSites), catalog.Fold(m.Site)
	row, err := d.findBench(t, site)
	if err != nil || row == nil {
		return nil, err
	}
	role, err := d.r.role(catalog.Fold(row.role()))
	if err != nil || role == nil || catalog.Fold(role.row.Assembly) != catalog.Fold(m.Assembly) {
		return nil, err
	}
	s := &seenMark{key: key, text: strings.TrimSpace(o.Value), bench: &seenBench{table: t, key: site, mark: m, role: row.role(), shows: map[string][]*catalog.Show{},
		own: map[string][]*catalog.Show{}, family: map[string][]*catalog.Show{}, rows: map[*catalog.Show]*benchRow{}}}
	if err := s.readCoil(row.site, o.Mark); err != nil {
		return nil, err
	}
	// What the rows of the site allow is all there is; of what is shown of the mark
	// both tolerances stand in what it is held to.
	own := *m
	own.Tolerance = catalog.Decimal{}
	s.mark = &own
	s.value, s.num.Known = s.num.Num.String(), true
	s.bench.faulty, err = d.faulty(s)
	return s, err
}

// held gives what is shown of the mark as what a coil is held to: with both
// tolerances.
func (s *seenBench) held(shows []*catalog.Show) []*catalog.Show {
	var out []*catalog.Show
	for _, show := range shows {
		own := *show
		own.Tolerance = catalog.Decimal{Num: show.Tolerance.Num.Add(s.mark.Tolerance.Num), Known: true}
		out = append(out, &own)
	}
	return out
}

// benchMark gives an observation of a coil or a seal, as of a measured, deciding
// mark of its name on the assembly of its role; nil if the catalogue has none of
// that name.
func (d *decider) benchMark(key, name, text string) (*seenMark, error) {
	for _, table := range []string{catalog.TSites, catalog.TSeals} {
		t := catalog.TableByName(table)
		row, err := d.findBench(t, key)
		if err != nil {
			return nil, err
		}
		if row == nil {
			continue
		}
		role, err := d.r.role(catalog.Fold(row.role()))
		if err != nil || role == nil {
			return nil, err
		}
		o := &seenMark{key: key, text: text, bench: &seenBench{table: t, key: key, role: row.role(),
			own: map[string][]*catalog.Show{}, family: map[string][]*catalog.Show{}, rows: map[*catalog.Show]*benchRow{}}}
		if row.site != nil {
			err = o.readCoil(row.site, name)
		} else {
			err = o.readSeal(row.seal, name)
		}
		if err != nil {
			return nil, err
		}
		o.mark.Assembly = role.row.Assembly
		o.value, o.num.Known = o.num.Num.String(), true
		o.bench.faulty, err = d.faulty(o)
		return o, err
	}
	return nil, nil
}

// readCoil reads what was measured at a site.
func (o *seenMark) readCoil(s *catalog.Site, name string) error {
	value, at, hot := strings.Cut(o.text, " at ")
	reading, err := coil.ParseReading(name, value, measure.Ohm)
	if err == nil && reading.Open {
		err = errOpenCoil
	}
	o.bench.temp = coil.Reference()
	if err == nil && hot {
		o.bench.temp, err = measure.Parse(at, measure.Temperature)
	}
	if err != nil {
		part := "site " + s.Site
		if o.bench.mark != nil {
			part = "mark " + o.bench.mark.Mark
		}
		return &QuestionError{Part: part + ", measured in Ω", Value: name + "=" + o.text, Err: err}
	}
	o.bench.ohm = reading.Value.In(measure.Ohm)
	o.num.Num = coil.Bring(o.bench.ohm, o.bench.temp, coil.Reference()).Value
	o.mark = siteMark(s)
	o.mark.How = "Measure the coil at site " + s.Site + " again, leads taken off, with its temperature."
	return nil
}

// siteMark gives the mark as which a site is taken, without its assembly.
func siteMark(s *catalog.Site) *catalog.Mark {
	return &catalog.Mark{Mark: s.Site, Name: "resistance of the coil at site " + s.Site, Kind: catalog.MarkMeasured, Force: catalog.Deciding, Unit: "Ω", Source: s.Source}
}

// readSeal reads the length of a seal.
func (o *seenMark) readSeal(s *catalog.Seal, name string) error {
	q, err := measure.ParseIn(o.text, measure.Millimetre)
	if err == nil {
		o.bench.length, err = seal.LengthOf(q)
	}
	if err != nil {
		return &QuestionError{Part: "seal " + s.Seal + ", measured in mm", Value: name + "=" + o.text, Err: err}
	}
	o.num.Num = o.bench.length
	o.mark = &catalog.Mark{Mark: s.Seal, Name: "length of the seal " + s.Seal, Kind: catalog.MarkMeasured, Force: catalog.Deciding, Unit: "mm",
		Tolerance: catalog.Decimal{Num: caliper(), Known: true}, Wears: catalog.Shorter, Source: s.Source,
		How: "Wipe the seal " + s.Seal + " and measure its whole length again with a caliper; see that it is the one from this place and not another."}
	return nil
}

// errOpenCoil refuses an open circuit as evidence.
var errOpenCoil = errors.New("an open circuit tells of a fault and not of a variant; judge it with the data of the unit, and name here what can be measured")

// findBench finds a row of that name: among those of the families that readings
// leave, of their variants, else of any. A reading completed later can leave families
// that have none, of which nothing is then recorded.
func (d *decider) findBench(t *catalog.Table, key string) (*benchRow, error) {
	families, err := d.familiesRead(nil)
	if err != nil {
		return nil, err
	}
	for _, f := range families {
		if b, err := d.r.benchRow(t, catalog.OfFamily, f, key); err != nil || b != nil {
			return b, err
		}
	}
	var found *benchRow
	if len(families) > 0 {
		err = d.r.variantsOf(families, func(v *variant) (bool, error) {
			var err error
			found, err = d.r.benchRow(t, catalog.OfVariant, v.key, key)
			return found == nil, err
		})
		if err != nil || found != nil {
			return found, err
		}
	}
	err = d.r.benchRows(t, "", func(b *benchRow) bool {
		if catalog.Fold(b.name()) == key {
			found = b
		}
		return found == nil
	})
	return found, err
}

// faulty tells whether a reading at a site agrees with no row of the site, or a
// length is shorter than use leaves any seal of that name (C2c). The rows are those
// of all families and of the variants of the families that readings leave.
func (d *decider) faulty(o *seenMark) (bool, error) {
	s, speaks := o.bench, false
	against := func(b *benchRow) bool {
		switch {
		case b == nil || catalog.Fold(b.name()) != s.key:
		case b.site != nil:
			speaks = s.agrees(b)
		default:
			n := seal.Of(b.seal, false)
			speaks = s.length.GreaterThanOrEqual(n.Shortest(caliper()))
		}
		return !speaks
	}
	families, err := d.familiesRead(nil)
	if err != nil {
		return false, err
	}
	for _, f := range families { // they mostly agree, and are read already
		b, err := d.r.benchRow(s.table, catalog.OfFamily, f, s.key)
		if err != nil || !against(b) {
			return false, err
		}
	}
	if err := d.r.benchRows(s.table, catalog.MakeKey(catalog.Fold(string(catalog.OfFamily))), against); err != nil || speaks {
		return false, err
	}
	err = d.r.variantsOf(families, func(v *variant) (bool, error) {
		b, err := d.r.benchRow(s.table, catalog.OfVariant, v.key, s.key)
		return err == nil && against(b), err
	})
	if err != nil || speaks || s.mark == nil {
		return err == nil && !speaks, err
	}
	speaks, err = d.shownAgrees(o, families)
	return err == nil && !speaks, err
}

// shownAgrees tells whether a coil measured by the name of a mark agrees with what a
// family, or a variant of the families given, shows of the mark that has no row of the
// site to be held to.
func (d *decider) shownAgrees(o *seenMark, families []string) (bool, error) {
	s := o.bench
	agrees := func(shows []*catalog.Show) bool {
		return slices.ContainsFunc(s.held(shows), func(show *catalog.Show) bool { return catalog.Fold(show.Mark) == o.key && s.agreesWith(show) })
	}
	prefix := catalog.MakeKey(catalog.Fold(string(catalog.OfFamily)))
	for at, ok, err := d.r.cat.Seek(d.r.tShows, prefix); ; at, ok, err = d.r.cat.Seek(d.r.tShows, at+"\x00") {
		if err != nil {
			return false, err
		}
		if !ok || !strings.HasPrefix(at, prefix) {
			break
		}
		shows, err := group[catalog.Show](d.r.cat, d.r.tShows, at)
		if err != nil {
			return false, err
		}
		if !agrees(shows) {
			continue
		}
		row, err := d.r.benchRow(s.table, catalog.OfFamily, catalog.Fold(shows[0].Of), s.key)
		if err != nil || row == nil {
			return err == nil, err
		}
	}
	speaks := false
	err := d.r.variantsOf(families, func(v *variant) (bool, error) {
		shows, err := d.r.variantGroup(d.r.tShows, catalog.MakeKey(variantScope, v.key))
		if err != nil {
			return false, err
		}
		var own []*catalog.Show
		for _, row := range shows {
			own = append(own, row.(*catalog.Show))
		}
		if !agrees(own) {
			return true, nil
		}
		rows, err := o.siteShown(d.r, v)
		speaks = len(rows) == 0
		return err == nil && !speaks, err
	})
	return speaks, err
}

// benchRow gives the row of that name of one family or variant, nil for none.
func (r *reader) benchRow(t *catalog.Table, scope catalog.ShowScope, of, key string) (*benchRow, error) {
	group := catalog.MakeKey(catalog.Fold(string(scope)), of)
	var rows []catalog.Row
	var err error
	if scope == catalog.OfVariant {
		rows, err = r.variantGroup(t, group)
	} else {
		rows, err = r.cat.Group(t, group)
	}
	if err != nil {
		return nil, err
	}
	for _, row := range rows {
		if b := benchOf(row); catalog.Fold(b.name()) == key {
			return b, nil
		}
	}
	return nil, nil
}

func benchOf(row catalog.Row) *benchRow {
	switch row := row.(type) {
	case *catalog.Site:
		return &benchRow{site: row}
	case *catalog.Seal:
		return &benchRow{seal: row}
	}
	panic("resolve: neither a row of sites nor of seals")
}

// benchRows walks the rows of the groups whose keys begin with prefix.
func (r *reader) benchRows(t *catalog.Table, prefix string, each func(*benchRow) bool) error {
	for at, ok, err := r.cat.Seek(t, prefix); ; at, ok, err = r.cat.Seek(t, at+"\x00") {
		if err != nil || !ok || !strings.HasPrefix(at, prefix) {
			return err
		}
		rows, err := r.cat.Group(t, at)
		if err != nil {
			return err
		}
		for _, row := range rows {
			if !each(benchOf(row)) {
				return nil
			}
		}
	}
}

// shownBy gives what a variant shows of what was observed (C1): of a coil or a
// seal its own row, else its family's.
func (o *seenMark) shownBy(r *reader, v *variant) ([]*catalog.Show, error) {
	if o.bench == nil {
		if err := r.loadShows(v); err != nil {
			return nil, err
		}
		return v.shown(o.key), nil
	}
	rows, err := o.siteShown(r, v)
	if err != nil || len(rows) > 0 || o.bench.mark == nil {
		return rows, err
	}
	shows, ok := o.bench.shows[v.key]
	if !ok {
		if err := r.loadShows(v); err != nil {
			return nil, err
		}
		shows = o.bench.held(v.shown(o.key))
		o.bench.shows[v.key] = shows
	}
	return shows, nil
}

// nominals gives the values that a coil of a variant has, as they are observed.
func (o *seenMark) nominals(r *reader, v *variant) ([]string, error) {
	shows, err := o.shownBy(r, v)
	if err != nil {
		return nil, err
	}
	var out []string
	for _, s := range shows {
		if row := o.bench.rows[s]; row != nil {
			out = append(out, nominal(row.site))
		} else {
			out = append(out, s.Value)
		}
	}
	return out, nil
}

// siteShown gives the row of a site or a seal that a variant has, or its family.
func (o *seenMark) siteShown(r *reader, v *variant) ([]*catalog.Show, error) {
	own, err := o.benchShown(r, o.bench.own, catalog.OfVariant, v.key)
	if err != nil || len(own) > 0 {
		return own, err
	}
	return o.benchShown(r, o.bench.family, catalog.OfFamily, v.famKey)
}

func (o *seenMark) benchShown(r *reader, known map[string][]*catalog.Show, scope catalog.ShowScope, of string) ([]*catalog.Show, error) {
	if shows, ok := known[of]; ok {
		return shows, nil
	}
	row, err := r.benchRow(o.bench.table, scope, of, o.bench.key)
	if err != nil {
		return nil, err
	}
	var shows []*catalog.Show
	if row != nil {
		show := row.show()
		o.bench.rows[show] = row
		shows = append(shows, show)
	}
	known[of] = shows
	return shows, nil
}

// benchKnown gives the names of the sites and seals of the families that readings
// leave, to propose one of them.
func (d *decider) benchKnown() ([]string, error) {
	families, err := d.familiesRead(nil)
	if err != nil {
		return nil, err
	}
	var out []string
	for _, table := range []string{catalog.TSites, catalog.TSeals} {
		t := catalog.TableByName(table)
		for _, f := range families {
			rows, err := d.r.cat.Group(t, catalog.MakeKey(catalog.Fold(string(catalog.OfFamily)), f))
			if err != nil {
				return nil, err
			}
			for _, row := range rows {
				if name := benchOf(row).name(); !slices.Contains(out, name) {
					out = append(out, name)
				}
			}
		}
	}
	return out, nil
}
