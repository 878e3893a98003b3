package resolve

import (
	"cmp"
	"slices"
	"strings"

	"platewright/catalog"
)

// Figures is the sheet of figures for the asked work: what is torqued, filled,
// measured and done, as the catalogue states it for the candidates. Where
// candidates differ, each figure names the variants that it holds for.
type Figures struct {
	Torques []TorqueFigure `json:"torques"`
	Fills   []FillFigure   `json:"fills"`
	Coils   []CoilFigure   `json:"coils"`
	Seals   []SealFigure   `json:"seals"`
	Rings   []RingFigure   `json:"rings"`
	Ports   []PortFigure   `json:"ports"`
	OneTime []string       `json:"oneTime"` // asked roles whose parts are used once
	Steps   []StepFigure   `json:"steps"`   // what is done beside the parts
	Unknown []string       `json:"unknown"` // assemblies of which too little is known to give figures
}

// FigureOf says where a figure comes from and for what it holds.
type FigureOf struct {
	Assembly string                `json:"assembly"`
	Role     string                `json:"role,omitempty"`
	Variants []catalog.VariantCode `json:"variants"` // for which it holds; empty for every variant still possible
	Source   string                `json:"source"`
}

// TorqueFigure is a fastener's figure, in N·m.
type TorqueFigure struct {
	Fastener  string          `json:"fastener"`
	Torque    catalog.Decimal `json:"torque"`
	Tolerance catalog.Decimal `json:"tolerance,omitzero"`
	Stages    string          `json:"stages,omitempty"`
	Order     string          `json:"order,omitempty"`
	Note      string          `json:"note,omitempty"`
	FigureOf
}

// FillFigure is how a fluid is filled: litres, °C, cm².
type FillFigure struct {
	Spec     string              `json:"spec"`
	Litres   catalog.Decimal     `json:"litres,omitzero"` // of the asked work; left out where it does not tell
	Refill   catalog.Decimal     `json:"refill,omitzero"`
	Dry      catalog.Decimal     `json:"dry,omitzero"`
	TempFrom catalog.Decimal     `json:"tempFrom,omitzero"`
	TempTo   catalog.Decimal     `json:"tempTo,omitzero"`
	Engine   catalog.EngineState `json:"engine,omitempty"`
	Plugs    string              `json:"plugs,omitempty"`
	Area     catalog.Decimal     `json:"area,omitzero"`
	How      string              `json:"how,omitempty"`
	FigureOf
}

// CoilFigure is what a coil should read, in Ω at a temperature in °C.
type CoilFigure struct {
	Site      string          `json:"site"`
	Ohm       catalog.Decimal `json:"ohm"`
	Tolerance catalog.Decimal `json:"tolerance"`
	Temp      catalog.Decimal `json:"temp"`
	Serves    string          `json:"serves,omitempty"`
	FigureOf
}

// SealFigure is the length of a seal or tube, in mm.
type SealFigure struct {
	Seal      string          `json:"seal"`
	Place     string          `json:"place"`
	Length    catalog.Decimal `json:"length"`
	Tolerance catalog.Decimal `json:"tolerance,omitzero"`
	Least     catalog.Decimal `json:"least,omitzero"`
	Qty       int             `json:"qty"`
	FigureOf
}

// RingFigure is the size of an O-ring, in mm.
type RingFigure struct {
	Ring     string          `json:"ring"`
	Place    string          `json:"place"`
	Inside   catalog.Decimal `json:"inside"`
	Section  catalog.Decimal `json:"section"`
	Size     string          `json:"size,omitempty"`
	Material string          `json:"material,omitempty"`
	Qty      int             `json:"qty"`
	FigureOf
}

// PortFigure is a test with vacuum or air: kPa, cm³/min.
type PortFigure struct {
	Port     string          `json:"port"`
	Serves   string          `json:"serves,omitempty"`
	Medium   catalog.Medium  `json:"medium"`
	Pressure catalog.Decimal `json:"pressure"`
	Leak     catalog.Decimal `json:"leak,omitzero"`
	Expect   string          `json:"expect"`
	Releases bool            `json:"releases,omitempty"`
	FigureOf
}

// StepFigure is something to do.
type StepFigure struct {
	Work   string       `json:"work"`
	When   catalog.When `json:"when"`
	Family string       `json:"family,omitempty"` // only in units of this family
	Text   string       `json:"text"`
	Source string       `json:"source"`
}

// figures gathers the sheet for the asked work.
func (d *decider) figures() error {
	if len(d.work) == 0 || len(d.families) == 0 || len(d.dec.Conflicts) > 0 {
		return nil
	}
	f := &Figures{Torques: []TorqueFigure{}, Fills: []FillFigure{}, Coils: []CoilFigure{}, Seals: []SealFigure{}, Rings: []RingFigure{}, Ports: []PortFigure{},
		OneTime: []string{}, Steps: []StepFigure{}, Unknown: []string{}}
	for _, a := range d.asked {
		if a.role.row.OneTime {
			f.OneTime = append(f.OneTime, a.role.row.Role)
		}
	}
	for _, as := range d.assemblies {
		if as.tooMany || len(as.cands) == 0 {
			f.Unknown = append(f.Unknown, as.row.Assembly)
		}
	}
	err := gather(d, catalog.TTorques, func(r *catalog.Torque) (string, string) { return r.Fastener, r.Role }, func(r *catalog.Torque, of FigureOf) {
		of.Source = r.Source
		f.Torques = append(f.Torques, TorqueFigure{r.Fastener, r.Torque, r.Tolerance, r.Stages, r.Order, r.Note, of})
	})
	err = cmp.Or(err, gather(d, catalog.TFills, func(r *catalog.Fill) (string, string) { return r.Role, r.Role }, func(r *catalog.Fill, of FigureOf) {
		of.Source = r.Source
		x := FillFigure{Spec: r.Spec, Refill: r.Refill, Dry: r.Dry, TempFrom: r.TempFrom, TempTo: r.TempTo, Engine: r.Engine, Plugs: r.Plugs, Area: r.Area, How: r.How, FigureOf: of}
		switch d.fill {
		case catalog.FillRefill:
			x.Litres = r.Refill
		case catalog.FillDry:
			x.Litres = r.Dry
		}
		f.Fills = append(f.Fills, x)
	}))
	err = cmp.Or(err, gather(d, catalog.TSites, func(r *catalog.Site) (string, string) { return r.Site, r.Role }, func(r *catalog.Site, of FigureOf) {
		of.Source = r.Source
		f.Coils = append(f.Coils, CoilFigure{r.Site, r.Ohm, r.Tolerance, r.Temp, r.Serves, of})
	}))
	err = cmp.Or(err, gather(d, catalog.TSeals, func(r *catalog.Seal) (string, string) { return r.Seal, r.Role }, func(r *catalog.Seal, of FigureOf) {
		of.Source = r.Source
		f.Seals = append(f.Seals, SealFigure{r.Seal, r.Place, r.Length, r.Tolerance, r.Least, r.Qty, of})
	}))
	err = cmp.Or(err, gather(d, catalog.TRings, func(r *catalog.Ring) (string, string) { return r.Ring, r.Role }, func(r *catalog.Ring, of FigureOf) {
		of.Source = r.Source
		f.Rings = append(f.Rings, RingFigure{r.Ring, r.Place, r.Inside, r.Section, r.Size, r.Material, r.Qty, of})
	}))
	err = cmp.Or(err, gather(d, catalog.TPorts, func(r *catalog.Port) (string, string) { return r.Port, r.Role }, func(r *catalog.Port, of FigureOf) {
		of.Source = r.Source
		f.Ports = append(f.Ports, PortFigure{r.Port, r.Serves, r.Medium, r.Pressure, r.Leak, r.Expect, r.Releases, of})
	}))
	if err != nil {
		return err
	}
	steps := catalog.TableByName(catalog.TSteps)
	for _, w := range d.work {
		for _, when := range []catalog.When{catalog.WhenBefore, catalog.WhenDuring, catalog.WhenAfter} {
			rows, err := group[catalog.Step](d.r.cat, steps, catalog.MakeKey(catalog.Fold(w.Work)))
			if err != nil {
				return err
			}
			rows = slices.DeleteFunc(rows, func(r *catalog.Step) bool {
				return r.When != when || r.Family != "" && !d.families[catalog.Fold(r.Family)]
			})
			slices.SortStableFunc(rows, func(a, b *catalog.Step) int { return cmp.Compare(a.Place, b.Place) })
			for _, r := range rows {
				said := slices.ContainsFunc(f.Steps, func(s StepFigure) bool { return s.When == r.When && s.Text == r.Text && s.Family == r.Family })
				if !said {
					f.Steps = append(f.Steps, StepFigure{r.Work, r.When, r.Family, r.Text, r.Source})
				}
			}
		}
	}
	slices.SortStableFunc(f.Steps, func(a, b StepFigure) int { return cmp.Compare(whenRank(a.When), whenRank(b.When)) })
	d.dec.Figures = f
	return nil
}

func whenRank(w catalog.When) int {
	return slices.Index([]catalog.When{catalog.WhenBefore, catalog.WhenDuring, catalog.WhenAfter}, w)
}

// gather gives the rows of a table that hold for the candidates of the asked
// roles, a variant's own in the place of its family's of the same name. name gives
// a row's name and role; a row without a role belongs to the unit's own assembly.
func gather[T any](d *decider, table string, name func(*T) (name, role string), put func(*T, FigureOf)) error {
	t := catalog.TableByName(table)
	type found struct {
		row      *T
		name     string
		role     string
		assembly *assemblyWork
		variants []catalog.VariantCode
	}
	var list []*found
	index := map[string]*found{} // by all that a row says but for what it speaks of
	var cells []string
	families := map[string][]*T{}
	for _, as := range d.assemblies {
		if as.tooMany {
			continue
		}
		for _, v := range as.cands {
			of, ok := families[v.famKey]
			if !ok {
				var err error
				if of, err = group[T](d.r.cat, t, catalog.MakeKey(catalog.Fold(string(catalog.OfFamily)), v.famKey)); err != nil {
					return err
				}
				families[v.famKey] = of
			}
			own, err := group[T](d.r.cat, t, catalog.MakeKey(catalog.Fold(string(catalog.OfVariant)), v.key))
			if err != nil {
				return err
			}
			add := func(r *T) {
				n, role := name(r)
				here := as == d.assemblies[0]
				if role != "" {
					key := catalog.Fold(role)
					here = slices.ContainsFunc(d.asked, func(a askedRole) bool {
						// A coil is measured whenever its assembly is worked on.
						return a.role.assembly == as.key && (a.key == key || table == catalog.TSites && d.r.roles[key] != nil && d.r.roles[key].assembly == as.key)
					})
				}
				if !here {
					return
				}
				cells = t.Cells(cells[:0], any(r).(catalog.Row))
				key := as.key + "\n" + strings.Join(cells[2:], "\n")
				x := index[key]
				if x == nil {
					x = &found{row: r, name: n, role: role, assembly: as}
					index[key] = x
					list = append(list, x)
				}
				x.variants = append(x.variants, v.row.Variant)
			}
			replaced := map[string]bool{}
			for _, r := range own {
				n, _ := name(r)
				replaced[catalog.Fold(n)] = true
				add(r)
			}
			for _, r := range of {
				if n, _ := name(r); !replaced[catalog.Fold(n)] {
					add(r)
				}
			}
		}
	}
	slices.SortStableFunc(list, func(a, b *found) int {
		return cmp.Or(strings.Compare(catalog.Fold(a.name), catalog.Fold(b.name)), strings.Compare(a.variants[0].Key(), b.variants[0].Key()))
	})
	for _, x := range list {
		of := FigureOf{Assembly: x.assembly.row.Assembly, Role: x.role, Variants: x.variants}
		if len(x.variants) == len(x.assembly.cands) {
			of.Variants = []catalog.VariantCode{}
		} else if len(of.Variants) > maxListed {
			of.Variants = of.Variants[:maxListed]
		}
		put(x.row, of)
	}
	return nil
}
