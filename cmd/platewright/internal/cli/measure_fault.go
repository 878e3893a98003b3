package cli

import (
	"errors"
	"strings"

	"github.com/spf13/cobra"

	"platewright/catalog"
	"platewright/cmd/platewright/internal/render"
	"platewright/resolve"
	"platewright/resolve/measure/coil"
	"platewright/resolve/measure/fault"
)

func (a *app) measureFaultCmd() *cobra.Command {
	var unit unitFlags
	var gears []string
	c := &cobra.Command{
		Use:   "fault CODE [PLATE]",
		Short: "Tell what a trouble code points at, and whether a complaint fits",
		Long: `Fault names the actuator site that a trouble code points at in a unit, the apply
elements that it serves and the gears that would show it. With --gear it says
whether the complaint fits: 0 fits or nothing was asked, 10 does not fit, 11 only
partly, or the code is not on record.

CODE is written as P0750, or as its two bytes, '07 50'.`,
		Example: `  platewright measure fault P1750 'PLATE' --gear 2 --gear 3`,
		Args:    cobra.RangeArgs(1, 2),
		RunE: func(c *cobra.Command, args []string) error {
			code, err := fault.ParseCode(args[0])
			if err != nil {
				return &usageError{err.Error(), c.CommandPath()}
			}
			plate := ""
			if len(args) > 1 {
				plate = args[1]
			}
			if !unit.givesUnit(plate) {
				return &usageError{"what is the unit? a code means another thing in another family; give its PLATE, or --label or --field", c.CommandPath()}
			}
			return a.measureFault(&unit, code, plate, gears)
		},
		ValidArgsFunction: a.completeArgs(func(string) []string { return nil }, a.completePlates),
	}
	unit.add(a, c, false)
	c.Flags().StringArrayVar(&gears, "gear", nil, "a `GEAR` in which the fault shows, as the unit's data name it: 1, 2, R (repeat)")
	return c
}

func (a *app) measureFault(unit *unitFlags, code fault.Code, plate string, gears []string) error {
	q, err := unit.question(plateArgs(plate))
	if err != nil {
		return err
	}
	b, err := a.bench(q)
	if err != nil {
		return err
	}
	defer b.Close()
	cands, of, _, err := b.coilCandidates()
	if err != nil {
		return err
	}
	var asked []fault.Candidate
	var families []string
	for i, c := range cands {
		asked = append(asked, fault.Candidate{Variant: c.Variant, Family: of[i].Family, Sites: c.Sites})
		families = append(families, of[i].Family)
	}
	rows, err := b.faults(families)
	if err != nil {
		return err
	}
	var complaint []string
	for _, g := range gears {
		complaint = append(complaint, strings.FieldsFunc(g, func(r rune) bool { return r == ' ' || r == ',' })...)
	}
	rep, err := fault.Explain(code, rows, asked, complaint)
	var wrong *fault.GearError
	if errors.As(err, &wrong) {
		return &usageError{wrong.Error(), "platewright measure fault"}
	}
	if err != nil {
		return err
	}
	expect, err := coil.Expect(cands, coil.Conditions{Temp: coil.Reference()})
	if err != nil {
		return err
	}
	m := &render.MeasureFault{Schema: fault.Schema, Report: *rep, Coils: []coil.Site{}}
	var roles []string
	for _, p := range rep.Points {
		if p.Role != "" {
			roles = append(roles, p.Role)
		}
		for _, s := range expect.Sites {
			if catalog.Fold(s.Site) == catalog.Fold(p.Site) {
				m.Coils = append(m.Coils, s)
			}
		}
	}
	if m.Bench, err = b.about(plate, of, roles, nil); err != nil {
		return err
	}
	if a.json {
		err = render.JSON(a.out, m)
	} else {
		err = render.MeasureFaultText(a.out, m, a.screen())
	}
	if err != nil {
		return err
	}
	return outOfLimits(rep.Verdict == fault.DoesNotFit, len(rep.Points) == 0 || rep.Verdict == fault.Partly)
}

// faults gives the trouble codes of families.
func (b *benchUnit) faults(families []string) ([]*catalog.Fault, error) {
	t := catalog.TableByName(catalog.TFaults)
	var out []*catalog.Fault
	done := map[string]bool{}
	for _, f := range families {
		key := catalog.Fold(f)
		if done[key] {
			continue
		}
		done[key] = true
		if err := groupsUnder(b.cat, t, catalog.MakeKey(key), func(r *catalog.Fault) { out = append(out, r) }); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// groupsUnder walks the rows of the groups whose key begins with another key.
func groupsUnder[T any](cat resolve.Catalogue, t *catalog.Table, prefix string, each func(*T)) error {
	for from := prefix; ; {
		key, ok, err := cat.Seek(t, from)
		if err != nil || !ok || !strings.HasPrefix(key, prefix) {
			return err
		}
		list, err := cat.Group(t, key)
		if err != nil {
			return err
		}
		for _, r := range list {
			each(any(r).(*T))
		}
		from = key + "\x00"
	}
}
