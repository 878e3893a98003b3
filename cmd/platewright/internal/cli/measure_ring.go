package cli

import (
	"errors"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"platewright/catalog"
	"platewright/cmd/platewright/internal/render"
	"platewright/resolve"
	"platewright/resolve/measure"
	"platewright/resolve/measure/ring"
)

func (a *app) measureRingCmd() *cobra.Command {
	var unit unitFlags
	var inside, outside, section, off, material, medium string
	var temps []string
	var all bool
	c := &cobra.Command{
		Use:   "ring [PLATE]",
		Short: "Name an O-ring by its measures, check the catalogue's rings, advise on materials",
		Long: `Ring tells which size of AS568 (the sizes that ISO 3601-1 lists) a measured O-ring
is, with its tolerances, or which it can have been before it was worn, stretched,
swollen or shrunk. With PLATE it shows the unit's rings, holds their sizes against
the table, and marks those that the measured ring can be. With --all it checks
every ring of the catalogue.

With --material it says what published comparisons say about the material in oil
at the temperatures: guidance, never more.`,
		Example: `  platewright measure ring --inside 20.1mm --section 3.5mm
  platewright measure ring --outside 1.26in --section 0.139in
  platewright measure ring 'PLATE' --inside 20.4mm --section 3.4mm
  platewright measure ring --material NBR --temp 110C`,
		Args:              cobra.MaximumNArgs(1),
		ValidArgsFunction: a.completeArgs(a.completePlates),
		RunE: func(c *cobra.Command, args []string) error {
			ans := render.MeasureRing{Schema: render.MeasureRingSchema, Bench: noUnit(), Rows: []render.RingRow{}}
			var verdicts []benchVerdict
			if inside+outside+section != "" {
				id, err := identified(inside, outside, section, off)
				if err != nil {
					return err
				}
				ans.Identified = id
			} else if off != "" {
				return measureUsage("--off says what the measuring of a ring can be off: give --inside or --outside and --section")
			}
			at, err := celsius("--temp", temps)
			if err != nil {
				return err
			}
			in := ring.Medium(medium)
			if in != ring.Oil && in != ring.Water {
				return measureUsage("--medium %s: the tables know oil and water", medium)
			}
			if material != "" {
				adv := ring.Advise(material, in, at...)
				ans.Advice = &adv
				verdicts = append(verdicts, adviceVerdict(&adv))
			}
			q, err := unit.question(args)
			if err != nil {
				return err
			}
			switch {
			case all && !knowsNothing(&q):
				return measureUsage("--all checks every ring of the catalogue, and a plate those of one unit: give one of the two")
			case all:
				vs, err := a.allRings(&ans, in, at)
				if err != nil {
					return err
				}
				verdicts = append(verdicts, vs...)
			case !knowsNothing(&q):
				vs, err := a.unitRings(&ans, q, in, at)
				if err != nil {
					return err
				}
				verdicts = append(verdicts, vs...)
			case ans.Identified == nil && ans.Advice == nil:
				return &usageError{"what is asked? give --inside or --outside and --section of a ring, a PLATE, --all, or --material", c.CommandPath()}
			case material == "" && len(temps) > 0:
				return measureUsage("--temp goes with --material, a PLATE or --all")
			}
			if ans.Identified != nil {
				verdicts = append(verdicts, ringVerdict(&ans))
			}
			if a.json {
				err = render.JSON(a.out, ans)
			} else {
				err = render.MeasureRingText(a.out, &ans, a.screen())
			}
			if err != nil {
				return err
			}
			return gravest(verdicts)
		},
	}
	unit.add(a, c, false)
	f := c.Flags()
	f.StringVar(&inside, "inside", "", "inside diameter, a `LENGTH`")
	f.StringVar(&outside, "outside", "", "outside diameter, a `LENGTH`, in the place of --inside")
	f.StringVar(&section, "section", "", "thickness of the ring, a `LENGTH`")
	f.StringVar(&off, "off", "", "what the measuring can be off, a `LENGTH` (default: 0.05 mm)")
	f.StringVar(&material, "material", "", "`MATERIAL` by ISO 1629 or by name, such as NBR")
	f.StringVar(&medium, "medium", string(ring.Oil), "what it works in, `oil|water`")
	f.StringArrayVar(&temps, "temp", nil, "`TEMPERATURE` that it sees (repeat)")
	f.BoolVar(&all, "all", false, "check every ring of the catalogue")
	a.completeFlag(c, "material", func(string) []string {
		var out []string
		for _, m := range ring.Materials() {
			out = append(out, m.Code+"\t"+m.Name)
		}
		return out
	})
	a.completeFlag(c, "medium", func(string) []string { return []string{string(ring.Oil), string(ring.Water)} })
	return c
}

// benchVerdict is what one part of an answer comes to, for the exit code.
type benchVerdict int

const (
	benchGood benchVerdict = iota
	benchOpen
	benchBad
)

// gravest gives the exit code of the gravest part of an answer.
func gravest(vs []benchVerdict) error {
	return outOfLimits(slices.Contains(vs, benchBad), slices.Contains(vs, benchOpen))
}

// ringVerdict judges the measured ring by the rings that it is compared with: those
// of the unit where one was named, else the sizes of the table.
func ringVerdict(ans *render.MeasureRing) benchVerdict {
	is, was := len(ans.Identified.Is) > 0, len(ans.Identified.Was) > 0
	if len(ans.Rows) > 0 {
		is, was = false, false
		for _, r := range ans.Rows {
			if r.Measured != nil {
				good := r.Measured.Codes[0] == ring.IsSize
				is, was = is || good, was || !good
			}
		}
	}
	switch {
	case is:
		return benchGood
	case was:
		return benchBad
	}
	return benchOpen
}

func adviceVerdict(a *ring.Advice) benchVerdict {
	switch a.Verdict {
	case ring.Suits:
		return benchGood
	case ring.Unsuited:
		return benchBad
	}
	return benchOpen
}

func identified(inside, outside, section, off string) (*ring.Identified, error) {
	var m ring.Measured
	for _, x := range []struct {
		flag, text string
		to         *measure.Quantity
	}{{"--inside", inside, &m.Inside}, {"--outside", outside, &m.Outside}, {"--section", section, &m.Section}, {"--off", off, &m.Tolerance}} {
		q, err := optional(x.flag, x.text, measure.Length)
		if err != nil {
			return nil, err
		}
		*x.to = q
	}
	id, err := ring.Identify(m)
	var bad *ring.InputError
	if errors.As(err, &bad) {
		return nil, measureUsage("%v", err)
	}
	return id, err
}

// celsius reads temperatures in °C.
func celsius(where string, texts []string) ([]catalog.Decimal, error) {
	var out []catalog.Decimal
	for _, s := range texts {
		q, err := quantity(where, s, measure.Temperature)
		if err != nil {
			return nil, err
		}
		out = append(out, catalog.Decimal{Num: q.In(measure.Celsius).Value.Round(1), Known: true})
	}
	return out, nil
}

func ringRow(r *catalog.Ring, variants []catalog.VariantCode, id *ring.Identified, in ring.Medium, at []catalog.Decimal) render.RingRow {
	row := render.RingRow{RowCheck: ring.CheckRow(r), Variants: variants, Qty: r.Qty, Material: r.Material}
	if r.Material != "" && len(at) > 0 {
		adv := ring.Advise(r.Material, in, at...)
		row.Advice = &adv
	}
	if id != nil {
		row.Measured = id.Against(r)
	}
	return row
}

func rowVerdicts(rs []render.RingRow) []benchVerdict {
	var out []benchVerdict
	for _, r := range rs {
		if r.Code.Wrong() {
			out = append(out, benchBad)
		}
		if r.Advice != nil {
			out = append(out, adviceVerdict(r.Advice))
		}
	}
	return out
}

func (a *app) allRings(ans *render.MeasureRing, in ring.Medium, at []catalog.Decimal) ([]benchVerdict, error) {
	cat, err := a.open()
	if err != nil {
		return nil, err
	}
	defer cat.Close()
	ans.Edition = cat.edition
	err = rows(cat, catalog.TRings, func(r *catalog.Ring) bool {
		ans.Rows = append(ans.Rows, ringRow(r, []catalog.VariantCode{}, ans.Identified, in, at))
		return true
	})
	return rowVerdicts(ans.Rows), err
}

func (a *app) unitRings(ans *render.MeasureRing, q resolve.Question, in ring.Medium, at []catalog.Decimal) ([]benchVerdict, error) {
	b, err := a.bench(q)
	if err != nil {
		return nil, err
	}
	defer b.Close()
	sets, err := unitRows(b, catalog.TRings, "", func(r *catalog.Ring) string { return r.Ring }, func(r *catalog.Ring) string { return r.Role })
	if err != nil {
		return nil, err
	}
	var of [][]catalog.VariantCode
	var roles []string
	for _, s := range sets {
		of = append(of, s.variants)
		for _, r := range s.rows {
			if !slices.Contains(roles, r.Role) {
				roles = append(roles, r.Role)
			}
			// A row that several sets share stands once, for all their variants.
			if i := slices.IndexFunc(ans.Rows, func(x render.RingRow) bool {
				return x.Scope == r.Scope && strings.EqualFold(x.Of, r.Of) && strings.EqualFold(x.Ring, r.Ring)
			}); i >= 0 {
				for _, v := range s.variants {
					if !slices.Contains(ans.Rows[i].Variants, v) {
						ans.Rows[i].Variants = append(ans.Rows[i].Variants, v)
					}
				}
				continue
			}
			ans.Rows = append(ans.Rows, ringRow(r, slices.Clone(s.variants), ans.Identified, in, at))
		}
	}
	ans.Bench, err = b.aboutSets(q.Plate, of, roles, nil)
	return rowVerdicts(ans.Rows), err
}
