package cli

import (
	"errors"
	"fmt"
	"slices"

	"github.com/spf13/cobra"

	"platewright/catalog"
	"platewright/cmd/platewright/internal/render"
	"platewright/resolve"
	"platewright/resolve/measure"
	"platewright/resolve/measure/fluid"
)

func (a *app) measureFluidCmd() *cobra.Command {
	var unit unitFlags
	var drained, setAt string
	c := &cobra.Command{
		Use:   "fluid PLATE",
		Short: "Which fluid a unit takes, how much for a job, how it is filled, what a wrong level means",
		Long: `Fluid tells the specification that the unit asks for, the fluids that may be filled
in (approved and merely claimed kept apart, what serves by a stated and directed
relation only), names a letter apart that must not be mixed up, the volume for the
scope of work, the packs to buy, and how the level is set. With --set-at it says by
how many litres and millimetres a level is off that was set at that temperature.
Without --work it reckons with a refill after draining.

The unit maker's own instructions for the level go before all of it.`,
		Example: `  platewright measure fluid 'PLATE' --work fluid-service
  platewright measure fluid 'PLATE' --work full-overhaul --drained 8.1L
  platewright measure fluid 'PLATE' --set-at 70C`,
		Args:              cobra.MaximumNArgs(1),
		ValidArgsFunction: a.completeArgs(a.completePlates),
		RunE: func(c *cobra.Command, args []string) error {
			out, err := optional("--drained", drained, measure.Volume)
			if err != nil {
				return err
			}
			at, err := optional("--set-at", setAt, measure.Temperature)
			if err != nil {
				return err
			}
			q, err := unit.question(args)
			if err != nil {
				return err
			}
			if knowsNothing(&q) {
				return &usageError{"what is the unit? give its PLATE as read, or --field or --label", c.CommandPath()}
			}
			b, err := a.bench(q)
			if err != nil {
				return err
			}
			defer b.Close()
			ans, err := b.fluids(unit.work, decimalOf(out, measure.Litre), decimalOf(at, measure.Celsius))
			if err != nil {
				return err
			}
			if a.json {
				err = render.JSON(a.out, ans)
			} else {
				err = render.MeasureFluidText(a.out, ans, a.screen())
			}
			if err != nil {
				return err
			}
			return gravest(fluidVerdicts(ans))
		},
	}
	unit.add(a, c, false)
	f := c.Flags()
	f.StringArrayVar(&unit.work, "work", nil, "`SCOPE` of work (repeat: the largest volume counts; default: a refill)")
	f.StringVar(&drained, "drained", "", "the `VOLUME` that came out")
	f.StringVar(&setAt, "set-at", "", "the `TEMPERATURE` of the fluid when the level was set")
	a.completeFlag(c, "work", a.completeWork)
	return c
}

func fluidVerdicts(ans *render.MeasureFluid) []benchVerdict {
	var out []benchVerdict
	if len(ans.Groups) > 1 {
		out = append(out, benchOpen)
	}
	for _, g := range ans.Groups {
		if len(g.Plan.Fluids) == 0 {
			out = append(out, benchOpen)
		}
		if l := g.Plan.Level; l != nil && (slices.Contains(l.Codes, fluid.SetTooHot) || slices.Contains(l.Codes, fluid.SetTooCold)) {
			out = append(out, benchBad)
		}
		if slices.Contains(g.Plan.Volume.Codes, fluid.DrainedAboveDry) {
			out = append(out, benchBad)
		}
	}
	return out
}

// fluids plans the fluid for everything that the unit can still be.
func (b *benchUnit) fluids(work []string, drained, at catalog.Decimal) (*render.MeasureFluid, error) {
	ans := &render.MeasureFluid{Schema: render.MeasureFluidSchema, Work: []string{}, Groups: []render.FluidGroup{}}
	kinds := []catalog.FillKind{catalog.FillRefill}
	if len(work) > 0 {
		kinds = nil
		for _, w := range work {
			scopes, err := groupOf[catalog.WorkScope](b.cat, catalog.TWork, w)
			if err != nil {
				return nil, err
			}
			if len(scopes) == 0 {
				return nil, measureUsage("--work %s: the catalogue has no such scope of work; completion proposes those that it has", w)
			}
			kinds = append(kinds, scopes[0].Fill)
			ans.Work = append(ans.Work, scopes[0].Work)
		}
	}
	sets, err := unitRows(b, catalog.TFills, "", func(r *catalog.Fill) string { return r.Role }, func(r *catalog.Fill) string { return r.Role })
	if err != nil {
		return nil, err
	}
	var of [][]catalog.VariantCode
	var roles, cautions []string
	for _, s := range sets {
		of = append(of, s.variants)
		for _, f := range s.rows {
			d, err := fluidData(b.cat, f)
			if err != nil {
				return nil, err
			}
			p, err := fluid.PlanFor(d, kinds, drained, at)
			var bad *fluid.InputError
			if errors.As(err, &bad) {
				return nil, measureUsage("%v", err)
			}
			if err != nil {
				return nil, err
			}
			ans.Groups = append(ans.Groups, render.FluidGroup{Variants: s.variants, Role: f.Role, Plan: *p})
			roles = append(roles, f.Role)
			if f.Caution != "" && !slices.Contains(cautions, f.Caution) {
				cautions = append(cautions, f.Caution)
			}
		}
	}
	if ans.Bench, err = b.aboutSets(b.decision.Question.Plate, of, roles, ans.Work); err != nil {
		return nil, err
	}
	for _, code := range cautions {
		if slices.ContainsFunc(ans.Cautions, func(c resolve.Caution) bool { return catalog.Fold(c.Caution) == catalog.Fold(code) }) {
			continue
		}
		list, err := groupOf[catalog.Caution](b.cat, catalog.TCautions, code)
		if err != nil {
			return nil, err
		}
		for _, c := range list {
			ans.Cautions = append(ans.Cautions, resolve.Caution{Caution: c.Caution, Text: c.Text, Defer: c.Defer, Source: c.Source, For: []string{"the fill"}})
		}
	}
	return ans, nil
}

// groupOf gives the rows of a table that share a key.
func groupOf[T any](cat resolve.Catalogue, table string, key ...string) ([]*T, error) {
	for i, k := range key {
		key[i] = catalog.Fold(k)
	}
	list, err := cat.Group(catalog.TableByName(table), catalog.MakeKey(key...))
	if err != nil {
		return nil, err
	}
	out := make([]*T, len(list))
	for i, r := range list {
		out[i] = any(r).(*T)
	}
	return out, nil
}

// fluidData gathers what the catalogue says about the specification of a fill.
func fluidData(cat resolve.Catalogue, f *catalog.Fill) (*fluid.Data, error) {
	d := &fluid.Data{Fill: f, Meets: map[string][]*catalog.Meet{}, Parts: map[string]*catalog.Part{}, Offers: map[string][]*catalog.Offer{},
		Shelf: map[string][]*catalog.ShelfItem{}, Sheets: map[string][]*catalog.Sheet{}, Limits: map[string][]*catalog.Limit{}, Money: map[string]string{}}
	var err error
	if d.Serves, err = groupOf[catalog.Serve](cat, catalog.TServes, f.Spec); err != nil {
		return nil, err
	}
	specs := []string{f.Spec}
	for _, s := range d.Serves {
		specs = append(specs, s.ServedBy)
	}
	asked := slices.Clone(specs)
	if err := rows(cat, catalog.TSpecs, func(s *catalog.Spec) bool {
		d.Specs = append(d.Specs, s)
		if slices.ContainsFunc(asked, func(a string) bool { return fluid.OneApart(catalog.Fold(a), catalog.Fold(s.Spec)) }) {
			specs = append(specs, s.Spec)
		}
		return true
	}); err != nil {
		return nil, err
	}
	for _, s := range specs {
		key := catalog.Fold(s)
		if _, done := d.Meets[key]; done {
			continue
		}
		if d.Meets[key], err = groupOf[catalog.Meet](cat, catalog.TMeets, s); err != nil {
			return nil, err
		}
		if d.Limits[key], err = groupOf[catalog.Limit](cat, catalog.TLimits, s); err != nil {
			return nil, err
		}
		for _, m := range d.Meets[key] {
			if err := gatherFluid(cat, d, m.Fluid); err != nil {
				return nil, err
			}
		}
	}
	return d, rows(cat, catalog.TSuppliers, func(s *catalog.Supplier) bool {
		d.Money[catalog.Fold(s.Supplier)] = s.Currency
		return true
	})
}

// gatherFluid gathers what the catalogue says about one fluid.
func gatherFluid(cat resolve.Catalogue, d *fluid.Data, no catalog.PartNo) error {
	key := no.Key()
	if d.Parts[key] != nil {
		return nil
	}
	parts, err := groupOf[catalog.Part](cat, catalog.TParts, string(no))
	if err != nil {
		return err
	}
	if len(parts) == 0 {
		return nil
	}
	d.Parts[key] = parts[0]
	if d.Shelf[key], err = groupOf[catalog.ShelfItem](cat, catalog.TShelf, string(no)); err != nil {
		return err
	}
	if d.Sheets[key], err = groupOf[catalog.Sheet](cat, catalog.TSheets, string(no)); err != nil {
		return err
	}
	offers := catalog.TableByName(catalog.TOffers)
	var groups []string
	if err := cat.Referring(offers, "part", key, func(group string) bool {
		groups = append(groups, group)
		return true
	}); err != nil {
		return err
	}
	for _, g := range groups {
		list, err := cat.Group(offers, g)
		if err != nil {
			return err
		}
		for _, r := range list {
			if o := r.(*catalog.Offer); o.Part.Key() == key {
				d.Offers[key] = append(d.Offers[key], o)
			}
		}
	}
	return nil
}

func (a *app) measureSheetCmd() *cobra.Command {
	given := map[catalog.Property]*string{}
	var specs, at []string
	c := &cobra.Command{
		Use:   "sheet [FLUID]…",
		Short: "Hold a fluid's data sheet against itself and against specifications",
		Long: `Sheet works out the viscosity index (ASTM D2270) and the grade (ISO 3448) of a data
sheet's figures, holds them against the limits of the specifications that the fluid
is said to meet, and finds obvious misprints: an index that is not that of the two
viscosities, viscosities that have changed places, a figure ten times too large or
too small. With --at it gives the viscosity at other temperatures (ASTM D341).

FLUID is the number of a fluid in the catalogue; without one, and without figures,
every sheet of the catalogue is checked. With figures no FLUID is named; --spec then
names the specification whose limits they are held against.`,
		Example: `  platewright measure sheet
  platewright measure sheet FLUID --at 70C
  platewright measure sheet --v40 29.8cSt --v100 5.9cSt --index 150 --spec SPEC`,
		ValidArgsFunction: a.completeArgs(a.completeParts),
		Args:              cobra.ArbitraryArgs,
		RunE: func(c *cobra.Command, args []string) error {
			sheet, err := sheetOf(given)
			if err != nil {
				return err
			}
			if len(sheet) > 0 && len(args) > 0 {
				return measureUsage("figures and a FLUID: give the figures of a sheet, or name a fluid that has one in the catalogue, not both")
			}
			if len(sheet) == 0 && len(specs) > 0 {
				return measureUsage("--spec goes with figures; a fluid of the catalogue is held against what it is said to meet")
			}
			temps, err := celsius("--at", at)
			if err != nil {
				return err
			}
			ans := &render.MeasureSheet{Schema: render.MeasureSheetSchema, Bench: noUnit(), Sheets: []render.SheetAnswer{}}
			if len(sheet) > 0 && len(specs) == 0 {
				ans.Sheets = append(ans.Sheets, render.SheetAnswer{SheetCheck: *fluid.CheckSheet("", sheet, nil), At: []fluid.ViscosityAt{}})
			} else if err := a.catalogueSheets(ans, args, sheet, specs); err != nil {
				return err
			}
			for i := range ans.Sheets {
				for _, t := range temps {
					v, err := ans.Sheets[i].ViscosityAt(t)
					if err != nil {
						return measureUsage("--at %s °C: %v", t, err)
					}
					ans.Sheets[i].At = append(ans.Sheets[i].At, v)
				}
			}
			if a.json {
				err = render.JSON(a.out, ans)
			} else {
				err = render.MeasureSheetText(a.out, ans, a.screen())
			}
			if err != nil {
				return err
			}
			var vs []benchVerdict
			for _, s := range ans.Sheets {
				switch s.Verdict {
				case fluid.SheetOutside, fluid.SheetDoubtful:
					vs = append(vs, benchBad)
				case fluid.SheetNotSettled:
					// A sheet that is asked about with nothing to hold it against is not open.
					if len(s.Specs) > 0 {
						vs = append(vs, benchOpen)
					}
				}
			}
			return gravest(vs)
		},
	}
	f := c.Flags()
	for _, x := range sheetFlags {
		given[x.property] = f.String(x.flag, "", x.help)
		a.completeFlag(c, x.flag, func(string) []string { return nil })
	}
	f.StringArrayVar(&specs, "spec", nil, "with figures: `SPEC` whose limits they are held against (repeat)")
	f.StringArrayVar(&at, "at", nil, "a `TEMPERATURE` at which the viscosity is asked (repeat)")
	return c
}

// sheetFlags are the figures of a sheet as flags, in the order of a sheet.
var sheetFlags = []struct {
	flag     string
	property catalog.Property
	kind     measure.Kind // 0 for a number without a unit
	unit     measure.Unit
	help     string
}{
	{"v40", catalog.Viscosity40, measure.Viscosity, measure.SquareMillimetrePerSecond, "`VISCOSITY` at 40 °C, such as 29.8cSt"},
	{"v100", catalog.Viscosity100, measure.Viscosity, measure.SquareMillimetrePerSecond, "`VISCOSITY` at 100 °C"},
	{"index", catalog.ViscosityIndex, 0, 0, "viscosity index, a `NUMBER`"},
	{"density", catalog.Density15, measure.Density, measure.KilogramPerCubicMetre, "`DENSITY` at 15 °C, such as 846kg/m3"},
	{"flash", catalog.FlashPoint, measure.Temperature, measure.Celsius, "flash point, a `TEMPERATURE`"},
	{"pour", catalog.PourPoint, measure.Temperature, measure.Celsius, "pour point, a `TEMPERATURE`"},
}

func sheetOf(given map[catalog.Property]*string) ([]*catalog.Sheet, error) {
	var out []*catalog.Sheet
	for _, x := range sheetFlags {
		text := *given[x.property]
		if text == "" {
			continue
		}
		r := &catalog.Sheet{Property: x.property}
		if x.kind == 0 {
			v, err := measure.Number(text)
			if err != nil || !v.IsPositive() {
				return nil, measureUsage("--%s %q: it is no viscosity index; write digits, such as 150", x.flag, text)
			}
			r.Value = catalog.Decimal{Num: v, Known: true}
		} else {
			q, err := quantity("--"+x.flag, text, x.kind)
			if err != nil {
				return nil, err
			}
			r.Value = decimalOf(q, x.unit)
			if x.kind != measure.Temperature && !r.Value.Num.IsPositive() {
				return nil, measureUsage("--%s %s: the figure is not above zero", x.flag, text)
			}
		}
		out = append(out, r)
	}
	return out, nil
}

// catalogueSheets checks the sheets of the fluids named, of all where none is
// named, or the figures given against the limits of specifications.
func (a *app) catalogueSheets(ans *render.MeasureSheet, fluids []string, sheet []*catalog.Sheet, specs []string) error {
	cat, err := a.open()
	if err != nil {
		return err
	}
	defer cat.Close()
	ans.Edition = cat.edition
	if len(sheet) > 0 {
		var ls []fluid.SpecLimits
		for _, s := range specs {
			known, err := groupOf[catalog.Spec](cat, catalog.TSpecs, s)
			if err != nil {
				return err
			}
			if len(known) == 0 {
				return measureUsage("--spec %s: the catalogue has no such specification", s)
			}
			limits, err := groupOf[catalog.Limit](cat, catalog.TLimits, s)
			if err != nil {
				return err
			}
			ls = append(ls, fluid.SpecLimits{Spec: known[0].Spec, Limits: limits})
		}
		ans.Sheets = append(ans.Sheets, render.SheetAnswer{SheetCheck: *fluid.CheckSheet("", sheet, ls), At: []fluid.ViscosityAt{}})
		return nil
	}
	var numbers []catalog.PartNo
	for _, s := range fluids {
		numbers = append(numbers, catalog.PartNo(s))
	}
	if len(numbers) == 0 {
		if err := rows(cat, catalog.TSheets, func(r *catalog.Sheet) bool {
			if len(numbers) == 0 || numbers[len(numbers)-1].Key() != r.Fluid.Key() {
				numbers = append(numbers, r.Fluid)
			}
			return true
		}); err != nil {
			return err
		}
	}
	meets := map[string][]*catalog.Meet{}
	if err := rows(cat, catalog.TMeets, func(m *catalog.Meet) bool {
		meets[m.Fluid.Key()] = append(meets[m.Fluid.Key()], m)
		return true
	}); err != nil {
		return err
	}
	for _, no := range numbers {
		parts, err := groupOf[catalog.Part](cat, catalog.TParts, string(no))
		if err != nil {
			return err
		}
		if len(parts) == 0 {
			return measureUsage("the catalogue knows no part %q; give the number of a fluid", string(no))
		}
		list, err := groupOf[catalog.Sheet](cat, catalog.TSheets, string(no))
		if err != nil {
			return err
		}
		if len(list) == 0 {
			return fmt.Errorf("the catalogue has no data sheet of %s; give its figures with --v40, --v100 and the others", parts[0].Part)
		}
		var ls []fluid.SpecLimits
		for _, m := range meets[no.Key()] {
			limits, err := groupOf[catalog.Limit](cat, catalog.TLimits, m.Spec)
			if err != nil {
				return err
			}
			ls = append(ls, fluid.SpecLimits{Spec: m.Spec, Claim: m.Claim, Limits: limits})
		}
		check := fluid.CheckSheet(parts[0].Part, list, ls)
		check.Name = parts[0].Name
		ans.Sheets = append(ans.Sheets, render.SheetAnswer{SheetCheck: *check, At: []fluid.ViscosityAt{}})
	}
	return nil
}
