package resolve

import (
	"errors"
	"slices"
	"strings"

	"platewright/catalog"
	"platewright/resolve/measure"
	"platewright/resolve/measure/coil"
)

// seenSite is what an observation at an actuator site knows beside that of a mark
// (C2a): the coil's resistance, and what variants have at the site.
type seenSite struct {
	ohm, temp measure.Quantity
	own       map[string][]*catalog.Show // what a variant has of its own, by its key
	family    map[string][]*catalog.Show // what a family has, by its key
	rows      map[*catalog.Show]*catalog.Site
}

// siteMark gives an observation at an actuator site, as of a measured, deciding
// mark of the site's name on the assembly of its role; nil if no unit that the
// readings leave has such a site.
func (d *decider) siteMark(key, name, text string) (*seenMark, error) {
	site, err := d.findSite(key)
	if err != nil || site == nil {
		return nil, err
	}
	role, err := d.r.role(catalog.Fold(site.Role))
	if err != nil || role == nil {
		return nil, err
	}
	value, at, hot := strings.Cut(text, " at ")
	reading, err := coil.ParseReading(name, value, measure.Ohm)
	refuse := func(err error) error {
		return &QuestionError{Part: "site " + site.Site + ", measured in Ω", Value: name + "=" + text, Err: err}
	}
	switch {
	case err != nil:
		return nil, refuse(err)
	case reading.Open:
		return nil, refuse(errOpenCoil)
	}
	temp := coil.Reference()
	if hot {
		if temp, err = measure.Parse(at, measure.Temperature); err != nil {
			return nil, refuse(err)
		}
	}
	m := &catalog.Mark{Mark: site.Site, Assembly: role.row.Assembly, Name: "resistance of the coil at site " + site.Site, Kind: catalog.MarkMeasured, Force: catalog.Deciding, Unit: "Ω",
		How: "Measure the coil at site " + site.Site + " again, leads taken off, with its temperature. One that fits no variant is faulty and tells of none: leave it out.", Source: site.Source}
	ohm := reading.Value.In(measure.Ohm)
	at20 := coil.Bring(ohm, temp, coil.Reference())
	return &seenMark{mark: m, key: key, text: text, value: at20.Value.String(), num: catalog.Decimal{Num: at20.Value, Known: true},
		site: &seenSite{ohm: ohm, temp: temp, own: map[string][]*catalog.Show{}, family: map[string][]*catalog.Show{}, rows: map[*catalog.Show]*catalog.Site{}}}, nil
}

// errOpenCoil refuses an open circuit as evidence.
var errOpenCoil = errors.New("an open circuit tells of a fault and not of a variant; judge it with the data of the unit, and name here what can be measured")

// findSite finds a row of the site: among those of the families that readings
// leave, of their variants, and where nothing was read that the catalogue has, of any.
func (d *decider) findSite(key string) (*catalog.Site, error) {
	families, err := d.familiesRead(nil)
	if err != nil {
		return nil, err
	}
	t := catalog.TableByName(catalog.TSites)
	for _, f := range families {
		if s, err := d.r.siteAt(t, catalog.OfFamily, f, key); err != nil || s != nil {
			return s, err
		}
	}
	var found *catalog.Site
	if len(families) > 0 {
		err = d.r.variantsOf(families, func(v *variant) (bool, error) {
			var err error
			found, err = d.r.siteAt(t, catalog.OfVariant, v.key, key)
			return found == nil, err
		})
		return found, err
	}
	for at, ok, err := d.r.cat.Seek(t, ""); ; at, ok, err = d.r.cat.Seek(t, at+"\x00") {
		if err != nil || !ok {
			return nil, err
		}
		rows, err := group[catalog.Site](d.r.cat, t, at)
		if err != nil {
			return nil, err
		}
		for _, s := range rows {
			if catalog.Fold(s.Site) == key {
				return s, nil
			}
		}
	}
}

// siteAt gives the row of a site of one family or variant, nil for none.
func (r *reader) siteAt(t *catalog.Table, scope catalog.ShowScope, of, key string) (*catalog.Site, error) {
	rows, err := group[catalog.Site](r.cat, t, catalog.MakeKey(catalog.Fold(string(scope)), of))
	if err != nil {
		return nil, err
	}
	for _, s := range rows {
		if catalog.Fold(s.Site) == key {
			return s, nil
		}
	}
	return nil, nil
}

// shownBy gives what a variant shows of what was observed (C1): of a site, its
// own row, else its family's, as a value at the temperature of the row.
func (o *seenMark) shownBy(r *reader, v *variant) ([]*catalog.Show, error) {
	if o.site == nil {
		if err := r.loadShows(v); err != nil {
			return nil, err
		}
		return v.shown(o.key), nil
	}
	own, err := o.site.at(r, o.site.own, catalog.OfVariant, v.key, o.key)
	if err != nil || len(own) > 0 {
		return own, err
	}
	return o.site.at(r, o.site.family, catalog.OfFamily, v.famKey, o.key)
}

func (s *seenSite) at(r *reader, known map[string][]*catalog.Show, scope catalog.ShowScope, of, key string) ([]*catalog.Show, error) {
	if shows, ok := known[of]; ok {
		return shows, nil
	}
	row, err := r.siteAt(catalog.TableByName(catalog.TSites), scope, of, key)
	if err != nil {
		return nil, err
	}
	var shows []*catalog.Show
	if row != nil && row.Ohm.Known {
		show := &catalog.Show{Scope: scope, Of: row.Of, Mark: row.Site, Value: row.Ohm.String(), Tolerance: row.Tolerance, Source: row.Source}
		s.rows[show] = row
		shows = append(shows, show)
	}
	known[of] = shows
	return shows, nil
}

// agrees tells whether the coil, brought to the temperature of the row, is off its
// nominal by no more than its tolerance. Both sides are multiplied out, so that an
// end of the window is judged exactly.
func (s *seenSite) agrees(show *catalog.Show) bool {
	row := s.rows[show]
	if row == nil {
		return false
	}
	temp := coil.Reference()
	if row.Temp.Known {
		temp = measure.Of(row.Temp.Num, measure.Celsius)
	}
	return coil.Agrees(s.ohm, s.temp, row.Ohm.Num, row.Tolerance.Num, temp)
}

// sitesKnown gives the names of the sites of the families that readings leave, to
// propose one of them.
func (d *decider) sitesKnown() ([]string, error) {
	families, err := d.familiesRead(nil)
	if err != nil {
		return nil, err
	}
	var out []string
	for _, f := range families {
		rows, err := group[catalog.Site](d.r.cat, catalog.TableByName(catalog.TSites), catalog.MakeKey(catalog.Fold(string(catalog.OfFamily)), f))
		if err != nil {
			return nil, err
		}
		for _, s := range rows {
			if !slices.Contains(out, s.Site) {
				out = append(out, s.Site)
			}
		}
	}
	return out, nil
}
