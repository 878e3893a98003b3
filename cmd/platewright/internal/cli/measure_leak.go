package cli

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"platewright/catalog"
	"platewright/cmd/platewright/internal/render"
	"platewright/resolve"
	"platewright/resolve/measure"
	"platewright/resolve/measure/leak"
)

// leakFlags are what a test measured.
type leakFlags struct {
	start, end, time, volume, ambient, temp, limit string
	vacuum                                         bool
}

func (a *app) measureLeakCmd() *cobra.Command {
	var unit unitFlags
	var f leakFlags
	c := &cobra.Command{
		Use:   "leak [PLATE [PORT]]",
		Short: "Give the test ports of a unit, or a leak rate from a fall of pressure",
		Long: `Leak lists the ports at which a unit is tried with air or vacuum: the pressure,
what is heard or seen, and how much a good one loses. With --start, --end and
--time it reckons the leak rate of a test and holds it against the port's limit.

Pressures are those of a gauge: above ambient for air, the depth below ambient for
vacuum. Without PLATE give --volume, and --limit if there is one.`,
		Example: `  platewright measure leak 'PLATE'
  platewright measure leak 'PLATE' A1 --start 400kPa --end 385kPa --time 30s
  platewright measure leak --vacuum --volume 30cc --start 20inHg --end 18inHg --time 60s`,
		Args: cobra.MaximumNArgs(2),
		RunE: func(c *cobra.Command, args []string) error {
			plate, port := "", ""
			if !unit.givesUnit("") && len(args) > 0 {
				plate, args = args[0], args[1:]
			}
			if len(args) > 0 {
				port, args = args[0], args[1:]
			}
			if len(args) > 0 {
				return usagef("%q: with --label or --field only the PORT is left to name", args[0])
			}
			test, tests, err := f.test()
			if err != nil {
				return err
			}
			if !unit.givesUnit(plate) {
				return a.leakByHand(&f, test, tests)
			}
			if f.limit != "" || c.Flags().Changed("vacuum") {
				return usagef("--limit and --vacuum are for a test without a unit; here the catalogue has them")
			}
			if tests && port == "" {
				return usagef("which PORT was tried? platewright measure leak 'PLATE' lists them")
			}
			return a.measureLeak(&unit, plate, port, test, tests)
		},
		ValidArgsFunction: a.completeArgs(a.completePlates),
	}
	unit.add(a, c, false)
	s := c.Flags()
	s.StringVar(&f.start, "start", "", "`PRESSURE` when the tap was closed")
	s.StringVar(&f.end, "end", "", "`PRESSURE` that was left")
	s.StringVar(&f.time, "time", "", "`TIME` between the two readings, such as 30s")
	s.StringVar(&f.volume, "volume", "", "`VOLUME` closed in, with the tester's hose (default: that of the port)")
	s.StringVar(&f.ambient, "ambient", "", "`PRESSURE` of the air around (default: 101.325 kPa)")
	s.StringVar(&f.temp, "temp", "", "`TEMPERATURE` of the air in the tester (default: 20 °C)")
	s.StringVar(&f.limit, "limit", "", "without PLATE: `RATE` that a good one loses at most, such as 60cc/min")
	s.BoolVar(&f.vacuum, "vacuum", false, "without PLATE: the test was made with vacuum")
	return c
}

// test reads the flags of a test, and tells whether there was one.
func (f *leakFlags) test() (leak.Test, bool, error) {
	var t leak.Test
	for _, x := range []struct {
		flag, text string
		kind       measure.Kind
		to         *measure.Quantity
	}{
		{"--start", f.start, measure.Pressure, &t.Start}, {"--end", f.end, measure.Pressure, &t.End}, {"--time", f.time, measure.Time, &t.Time},
		{"--volume", f.volume, measure.Volume, &t.Volume}, {"--ambient", f.ambient, measure.Pressure, &t.Ambient}, {"--temp", f.temp, measure.Temperature, &t.Temp},
	} {
		if x.text == "" {
			continue
		}
		q, err := quantity(x.flag, x.text, x.kind)
		if err != nil {
			return t, false, err
		}
		*x.to = q
	}
	return t, t.Start.Known() || t.End.Known() || t.Time.Known(), nil
}

func leakUsage(err error) error {
	var e *leak.Error
	if errors.As(err, &e) {
		return &usageError{e.Error(), "platewright measure leak"}
	}
	return err
}

func (a *app) leakByHand(f *leakFlags, test leak.Test, tests bool) error {
	if !tests {
		return &usageError{"what was tried? give PLATE to see its ports, or --volume, --start, --end and --time", "platewright measure leak"}
	}
	port := leak.Port{Variants: []catalog.VariantCode{}, Medium: catalog.MediumAir}
	if f.vacuum {
		port.Medium = catalog.MediumVacuum
	}
	if f.limit != "" {
		q, err := quantity("--limit", f.limit, measure.Flow)
		if err != nil {
			return err
		}
		port.Limit = q
	}
	rep, err := leak.Judge(port, test)
	if err != nil {
		return leakUsage(err)
	}
	return a.answerLeak(&render.MeasureLeak{Schema: leak.Schema, Bench: noBench(), Ports: []leak.Port{}, Test: rep})
}

func (a *app) answerLeak(m *render.MeasureLeak) error {
	var err error
	if a.json {
		err = render.JSON(a.out, m)
	} else {
		err = render.MeasureLeakText(a.out, m, a.screen())
	}
	if err != nil {
		return err
	}
	if m.Test == nil {
		return outOfLimits(false, len(m.Ports) == 0)
	}
	return outOfLimits(m.Test.Verdict == leak.Leaks, m.Test.Verdict == "")
}

func (a *app) measureLeak(unit *unitFlags, plate, name string, test leak.Test, tests bool) error {
	q, err := unit.question(plateArgs(plate))
	if err != nil {
		return err
	}
	b, err := a.bench(q)
	if err != nil {
		return err
	}
	defer b.Close()
	all, err := b.everyCandidate()
	if err != nil {
		return err
	}
	ports, of, err := b.ports(all)
	if err != nil {
		return err
	}
	if name != "" {
		var known []string
		for _, p := range ports {
			if !slices.Contains(known, p.Port) {
				known = append(known, p.Port)
			}
		}
		ports = slices.DeleteFunc(ports, func(p leak.Port) bool { return catalog.Fold(p.Port) != catalog.Fold(name) })
		if len(ports) == 0 {
			return &usageError{fmt.Sprintf("the unit has no test port %q; on record are %s", name, strings.Join(known, ", ")), "platewright measure leak"}
		}
	}
	var roles []string
	for _, p := range ports {
		if p.Role != "" {
			roles = append(roles, p.Role)
		}
	}
	slices.Sort(roles)
	m := &render.MeasureLeak{Schema: leak.Schema, Ports: ports}
	if m.Ports == nil {
		m.Ports = []leak.Port{}
	}
	if tests {
		if len(ports) > 1 {
			return &usageError{fmt.Sprintf("what was read leaves variants with different data for the port %s; read more of the plate, or name the variant", name), "platewright measure leak"}
		}
		if m.Test, err = leak.Judge(ports[0], test); err != nil {
			return leakUsage(err)
		}
	}
	if m.Bench, err = b.about(plate, of, slices.Compact(roles), nil); err != nil {
		return err
	}
	return a.answerLeak(m)
}

// ports gives the test ports of all candidates; equal ones stand once with their
// variants.
func (b *benchUnit) ports(all map[string][]resolve.Candidate) ([]leak.Port, []resolve.Candidate, error) {
	var lists [][]resolve.Candidate
	for _, s := range b.decision.Assemblies {
		lists = append(lists, all[catalog.Fold(s.Assembly)])
	}
	var out []leak.Port
	var of []resolve.Candidate
	for _, v := range union(lists...) {
		rows, err := scoped(b.cat, catalog.TPorts, v, func(r *catalog.Port) string { return r.Port })
		if err != nil {
			return nil, nil, err
		}
		any := false
		for _, row := range rows {
			if row.Role != "" && !slices.ContainsFunc(b.of(all, row.Role), func(o resolve.Candidate) bool { return o.Variant == v.Variant }) {
				continue
			}
			any = true
			p := leak.Of(row)
			i := slices.IndexFunc(out, func(o leak.Port) bool { return o.Same(&p) })
			if i < 0 {
				i = len(out)
				out = append(out, p)
			}
			out[i].Variants = append(out[i].Variants, v.Variant)
		}
		if any {
			of = append(of, v)
		}
	}
	slices.SortStableFunc(out, func(x, y leak.Port) int { return strings.Compare(catalog.Fold(x.Port), catalog.Fold(y.Port)) })
	return out, of, nil
}
