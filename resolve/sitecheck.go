package resolve

import (
	"cmp"
	"slices"
	"strings"

	"platewright/catalog"
	"platewright/resolve/measure"
	"platewright/resolve/measure/coil"
)

// coilMinutes is the effort of measuring a coil at its site where no mark of the
// site says more (common practice, no published source).
const coilMinutes = 6

// howCoil tells how a coil is measured.
func howCoil(site string) string {
	return "Engine off, harness plug pulled, unit near 20 °C. Measure across the two pins of site " + site +
		" with an ohmmeter, leads zeroed; do not touch the pins. A warm coil reads higher: write VALUE at TEMPERATURE."
}

// sited are the rows that the variants still possible have at one site.
type sited struct {
	name string
	of   map[string]*catalog.Site // by key of the variant: its own, else its family's
}

// sitesOf gathers what the variants of open roles have at their sites, in the order
// of the sites' keys. It is nil for a catalogue without sites.
func (d *decider) sitesOf(open []askedRole) (map[string]*sited, error) {
	t := catalog.TableByName(catalog.TSites)
	if _, some, err := d.r.cat.Seek(t, ""); err != nil || !some {
		return nil, err
	}
	sites, families := map[string]*sited{}, map[string][]catalog.Row{}
	done := map[string]bool{}
	for _, role := range open {
		for i := range d.outcomes[role.key] {
			v := d.outcomes[role.key][i].v
			if done[v.key] {
				continue
			}
			done[v.key] = true
			own, err := d.r.variantGroup(t, catalog.MakeKey(variantScope, v.key))
			if err != nil {
				return nil, err
			}
			family, ok := families[v.famKey]
			if !ok {
				if family, err = d.r.cat.Group(t, catalog.MakeKey(catalog.Fold(string(catalog.OfFamily)), v.famKey)); err != nil {
					return nil, err
				}
				families[v.famKey] = family
			}
			for _, rows := range [2][]catalog.Row{own, family} {
				for _, r := range rows {
					row := r.(*catalog.Site)
					key := d.r.fold(row.Site)
					s := sites[key]
					if s == nil {
						s = &sited{name: row.Site, of: map[string]*catalog.Site{}}
						sites[key] = s
					}
					if s.of[v.key] == nil {
						s.of[v.key] = row
					}
				}
			}
		}
	}
	return sites, nil
}

// siteChecks makes a check of each site at which remaining variants differ (N1),
// and names by their keys the marks that are no checks beside a site that was
// measured.
func (d *decider) siteChecks(open []askedRole) (checks []check, measured []string, err error) {
	sites, err := d.sitesOf(open)
	if err != nil {
		return nil, nil, err
	}
	keys := make([]string, 0, len(sites))
	for k := range sites {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	for _, key := range keys {
		s := sites[key]
		if d.r.marks[key] != nil {
			continue // the mark goes first (C2a)
		}
		row, err := d.findBench(catalog.TableByName(catalog.TSites), key)
		if err != nil || row == nil {
			return nil, nil, err
		}
		role, err := d.r.role(catalog.Fold(row.role()))
		if err != nil {
			return nil, nil, err
		}
		if role == nil {
			continue
		}
		seen := slices.ContainsFunc(d.seen, func(o *seenMark) bool {
			return o.key == key || o.bench != nil && o.bench.mark != nil && o.bench.key == key
		})
		c := check{site: true, next: NextCheck{Kind: CheckMark, Assembly: role.row.Assembly, Mark: s.name, Name: "resistance of the coil at site " + s.name,
			Effort: minutes(coilMinutes), How: howCoil(s.name), Unit: "Ω"}}
		stands := false
		for i, m := range d.r.markOrder {
			if m.Site == "" || d.r.fold(m.Site) != key {
				continue
			}
			mark := d.r.markKeys[i]
			coil, err := d.coilMark(m, mark, Observation{m.Mark, "1"})
			if err != nil {
				return nil, nil, err
			}
			if coil == nil {
				continue
			}
			if stands = true; seen {
				measured = append(measured, mark)
			}
		}
		if !seen && !stands && d.siteAnswers(&c, s, open) {
			checks = append(checks, c)
		}
	}
	return checks, measured, nil
}

// siteAnswers gives the check of a site an answer for each nominal that a remaining
// variant has there; it tells whether the answers differ in what they leave.
func (d *decider) siteAnswers(c *check, s *sited, open []askedRole) bool {
	var rows []*catalog.Site  // those that differ in what agrees with them
	class := map[string]int{} // by key of the variant: place in rows
	nominals := map[string]*catalog.Site{}
	for _, role := range open {
		if !d.bears(c, role) {
			continue
		}
		for i := range d.outcomes[role.key] {
			v := d.outcomes[role.key][i].v
			row := s.of[v.key]
			if _, done := class[v.key]; row == nil || done {
				continue
			}
			at := slices.IndexFunc(rows, func(o *catalog.Site) bool {
				return o.Ohm.Num.Equal(row.Ohm.Num) && o.Tolerance.Num.Equal(row.Tolerance.Num) && siteTemp(o).Cmp(siteTemp(row)) == 0
			})
			if at < 0 {
				at = len(rows)
				rows = append(rows, row)
				nominals[nominal(row)] = row
			}
			class[v.key] = at
		}
	}
	if len(nominals) < 2 {
		return false
	}
	var values []string
	for n := range nominals {
		values = append(values, n)
	}
	at20 := func(n string) measure.Quantity {
		row := nominals[n]
		return coil.Bring(measure.Of(row.Ohm.Num, measure.Ohm), siteTemp(row), coil.Reference())
	}
	slices.SortFunc(values, func(a, b string) int { return cmp.Or(at20(a).Cmp(at20(b)), strings.Compare(a, b)) })
	differ := false
	for _, n := range values {
		found, agree := nominals[n], make([]bool, len(rows))
		for i, row := range rows {
			agree[i] = coil.Agrees(measure.Of(found.Ohm.Num, measure.Ohm), siteTemp(found), row.Ohm.Num, row.Tolerance.Num, siteTemp(row))
			differ = differ || !agree[i]
		}
		c.answers = append(c.answers, answer{show: CheckAnswer{Value: n}, leave: func(co *candidateOutcome, bears bool) bool {
			i, recorded := class[co.v.key]
			return !bears || !recorded || agree[i]
		}})
	}
	return differ
}

// nominal writes a site's resistance as it is observed: bare at 20 °C.
func nominal(s *catalog.Site) string {
	if temp := siteTemp(s); temp.Cmp(coil.Reference()) != 0 {
		return s.Ohm.String() + " Ω at " + s.Temp.String() + " °C"
	}
	return s.Ohm.String()
}

// planID names a check to the planner, which takes the first by name of those that
// are equally good: a mark before a coil, since the catalogue tells more of it.
func (c *check) planID() string {
	if c.site {
		return "\uffff" + c.next.ID
	}
	return c.next.ID
}
