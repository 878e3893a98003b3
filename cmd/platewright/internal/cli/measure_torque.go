package cli

import (
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"platewright/catalog"
	"platewright/cmd/platewright/internal/render"
	"platewright/resolve"
	"platewright/resolve/measure"
	"platewright/resolve/measure/torque"
)

func (a *app) measureTorqueCmd() *cobra.Command {
	var unit unitFlags
	var steps []string
	var tolerance string
	var work []string
	c := &cobra.Command{
		Use:   "torque [PLATE] [FASTENER[=TORQUE]...] | TORQUE",
		Short: "Give torques as a wrench is set, in N·m, lbf·in and lbf·ft",
		Long: `Torque lists the fasteners of a unit with their torques, converted by exact
factors and rounded to the marks of a wrench, never beyond the tolerance. With
--work it lists those that the job handles, to be printed. FASTENER=TORQUE asks
whether a torque is right, and questions one that looks like another unit.

A TORQUE alone is converted without a unit: platewright measure torque '6 N·m'`,
		Example: `  platewright measure torque 'PLATE' --work SCOPE
  platewright measure torque 'PLATE' pan-bolt=80in-lb
  platewright measure torque 6Nm --tolerance 0.5Nm --step '5 in-lb'`,
		RunE: func(c *cobra.Command, args []string) error {
			scales := torque.Usual()
			if len(steps) > 0 {
				scales = nil
			}
			for _, s := range steps {
				q, err := quantity("--step", s, measure.Torque)
				if err != nil {
					return err
				}
				if !q.Value.IsPositive() {
					return usagef("--step %s: a step is above zero", s)
				}
				scales = append(scales, torque.Scale{Step: q})
			}
			named, rest, err := pairs(args)
			if err != nil {
				return err
			}
			if len(rest) == 1 && len(named) == 0 && !unit.givesUnit("") {
				q, err := measure.Parse(rest[0], measure.Torque)
				if err == nil {
					return a.torqueByHand(q, tolerance, scales)
				}
				if looksLikeTorque(rest[0]) {
					return &usageError{err.Error(), c.CommandPath()}
				}
			}
			plate := ""
			if !unit.givesUnit("") && len(rest) > 0 {
				plate, rest = rest[0], rest[1:]
			}
			if !unit.givesUnit(plate) {
				return &usageError{"what is the unit? give its PLATE, or one TORQUE with its unit to convert", c.CommandPath()}
			}
			if tolerance != "" {
				return usagef("--tolerance is for a torque without a unit; here the catalogue has it")
			}
			return a.measureTorque(&unit, plate, rest, named, work, scales)
		},
		ValidArgsFunction: a.completeArgs(a.completePlates),
	}
	unit.add(a, c, false)
	a.workFlag(c, &work)
	c.Flags().StringArrayVar(&steps, "step", nil, "round to marks of this `STEP`, such as '5 in-lb' (repeat; default: 0.5 N·m, 1 lbf·in, 1 lbf·ft)")
	c.Flags().StringVar(&tolerance, "tolerance", "", "of a torque without a unit: its tolerance, a `TORQUE`")
	return c
}

// looksLikeTorque tells whether a text that is no torque can only be meant for one: it
// begins with a number and ends with a unit of torque, which no plate does.
func looksLikeTorque(text string) bool {
	digit := func(c rune) bool { return '0' <= c && c <= '9' }
	last := strings.LastIndexFunc(text, digit)
	if last < 0 || !digit(rune(strings.TrimLeft(text, "+-.,")[0])) {
		return false
	}
	_, err := measure.ParseUnit(text[last+1:], measure.Torque)
	return err == nil
}

func (a *app) torqueByHand(q measure.Quantity, tolerance string, scales []torque.Scale) error {
	var tol measure.Quantity
	if tolerance != "" {
		var err error
		if tol, err = quantity("--tolerance", tolerance, measure.Torque); err != nil {
			return err
		}
	}
	if !q.Value.IsPositive() {
		return usagef("%s: a torque is above zero", q)
	}
	f := torque.ByHand(q, tol, scales)
	return a.answerTorque(&render.MeasureTorque{Schema: torque.Schema, Bench: noBench(), Work: []string{}, Report: torque.Report{Fasteners: []torque.Fastener{f}}})
}

func (a *app) answerTorque(m *render.MeasureTorque) error {
	var err error
	if a.json {
		err = render.JSON(a.out, m)
	} else {
		err = render.MeasureTorqueText(a.out, m, a.screen())
	}
	if err != nil {
		return err
	}
	bad, open, asked := false, false, 0
	for _, f := range m.Fasteners {
		if f.Asked == nil {
			continue
		}
		asked++
		switch f.Asked.Verdict {
		case torque.High, torque.Low:
			bad = true
		case torque.Unjudged:
			open = true
		}
	}
	// A torque that is right for some variants and wrong for others is open.
	for _, f := range m.Fasteners {
		if bad && f.Asked != nil && (f.Asked.Verdict == torque.Within || f.Asked.Verdict == torque.TheSame) && slices.ContainsFunc(m.Fasteners, func(o torque.Fastener) bool {
			return o.Asked != nil && catalog.Fold(o.Fastener) == catalog.Fold(f.Fastener) && o.Asked.Verdict != f.Asked.Verdict
		}) {
			bad, open = false, true
		}
	}
	return outOfLimits(bad, open || asked == 0 && len(m.Fasteners) == 0)
}

func (a *app) measureTorque(unit *unitFlags, plate string, wanted []string, named [][2]string, work []string, scales []torque.Scale) error {
	q, err := unit.question(plateArgs(plate))
	if err != nil {
		return err
	}
	q.Work = work
	asks := map[string]measure.Quantity{}
	for _, p := range named {
		v, err := quantity(p[0]+"=", p[1], measure.Torque)
		if err != nil {
			return err
		}
		if _, twice := asks[catalog.Fold(p[0])]; twice {
			return usagef("%s stands twice: give each fastener once", p[0])
		}
		asks[catalog.Fold(p[0])] = v
		wanted = append(wanted, p[0])
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
	list, of, err := b.fasteners(all, work, scales)
	if err != nil {
		return err
	}
	known := []string{}
	for _, f := range list {
		if !slices.Contains(known, f.Fastener) {
			known = append(known, f.Fastener)
		}
	}
	slices.Sort(known)
	for _, w := range wanted {
		if !slices.ContainsFunc(known, func(k string) bool { return catalog.Fold(k) == catalog.Fold(w) }) {
			mend := "on record are " + strings.Join(known, ", ")
			if near := catalog.Nearest(w, known); near != "" {
				mend = fmt.Sprintf("did you mean %q? %s", near, mend)
			}
			return &usageError{fmt.Sprintf("the unit has no fastener %q; %s", w, mend), "platewright measure torque"}
		}
	}
	if len(wanted) > 0 {
		list = slices.DeleteFunc(list, func(f torque.Fastener) bool {
			return !slices.ContainsFunc(wanted, func(w string) bool { return catalog.Fold(w) == catalog.Fold(f.Fastener) })
		})
	}
	var roles []string
	for i := range list {
		if v, ok := asks[catalog.Fold(list[i].Fastener)]; ok {
			list[i].Judge(v)
		}
		roles = append(roles, list[i].Role)
	}
	slices.Sort(roles)
	if work == nil {
		work = []string{}
	}
	m := &render.MeasureTorque{Schema: torque.Schema, Work: work, Report: torque.Report{Fasteners: list}}
	if m.Fasteners == nil {
		m.Fasteners = []torque.Fastener{}
	}
	if m.Bench, err = b.about(plate, of, slices.Compact(roles), work); err != nil {
		return err
	}
	return a.answerTorque(m)
}

// fasteners gives the fasteners of all candidates, with scopes of work only those
// that they handle, and the candidates asked.
func (b *benchUnit) fasteners(all map[string][]resolve.Candidate, work []string, scales []torque.Scale) ([]torque.Fastener, []resolve.Candidate, error) {
	var roles map[string]bool
	if len(work) > 0 {
		roles = map[string]bool{}
		for _, r := range b.decision.Roles {
			roles[catalog.Fold(r.Role)] = true
		}
	}
	var lists [][]resolve.Candidate
	for _, s := range b.decision.Assemblies {
		lists = append(lists, all[catalog.Fold(s.Assembly)])
	}
	var out []torque.Fastener
	var of []resolve.Candidate
	for _, v := range union(lists...) {
		rows, err := scoped(b.cat, catalog.TTorques, v, func(r *catalog.Torque) string { return r.Fastener })
		if err != nil {
			return nil, nil, err
		}
		any := false
		for _, row := range rows {
			if roles != nil && !roles[catalog.Fold(row.Role)] || !slices.ContainsFunc(b.of(all, row.Role), func(o resolve.Candidate) bool { return o.Variant == v.Variant }) {
				continue
			}
			f := torque.Of(row, scales)
			f.Variants = append(f.Variants, v.Variant)
			out, any = append(out, f), true
		}
		if any {
			of = append(of, v)
		}
	}
	return torque.Merge(out), of, nil
}
