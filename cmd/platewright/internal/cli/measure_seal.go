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
	"platewright/resolve/measure/seal"
)

// mostGroups is how many different answers one unit may leave: beyond that
// nobody can use them.
const mostGroups = 12

func (a *app) measureSealCmd() *cobra.Command {
	var unit unitFlags
	var role, off, length, tolerance, least, fitted string
	c := &cobra.Command{
		Use:   "seal [PLATE] LENGTH…",
		Short: "Judge seals, sleeves and feed tubes by their length, and sort a handful",
		Long: `Seal holds measured lengths against those of the unit's seals: what each has
lost, whether it is to be replaced, which place it came from, and what is missing.
Use makes a seal shorter and never longer, so a length is only looked for among
nominal lengths that are not below it. Where more than one way to place the pieces
is possible, the answer says so.

LENGTH is a number with its unit; beside PLATE a bare number is in mm, as the
catalogue has it. SEAL=LENGTH says which seal a piece is; where all pieces are
named, each is judged for itself and none is missing. With --new the figures of
one seal are given and no catalogue is asked.

With --field or --label instead of PLATE, all arguments are lengths.`,
		Example: `  platewright measure seal 'PLATE' 30 39 24.7 24.7
  platewright measure seal 'PLATE' tube-long=30
  platewright measure seal --new 31.5mm --least 30.7mm --fitted 29mm 30mm`,
		ValidArgsFunction: a.completeArgs(a.completePlates),
		Args:              cobra.ArbitraryArgs,
		RunE: func(c *cobra.Command, args []string) error {
			tol, err := optional("--off", off, measure.Length)
			if err != nil {
				return err
			}
			if length != "" {
				if len(unit.fields)+len(unit.labels)+len(unit.saw) > 0 || role != "" || unit.serial+unit.built+unit.vehicle != "" {
					return measureUsage("--new gives the figures of a seal, and no unit is asked beside it")
				}
				n, err := newSeal(length, tolerance, least, fitted)
				if err != nil {
					return err
				}
				got, err := lengths(args, 0)
				if err != nil {
					return err
				}
				n.Qty = len(got)
				for i := range got {
					if got[i].Seal != "" {
						return measureUsage("%s=: with --new there is one seal, without a name", got[i].Seal)
					}
					got[i].Seal = n.Seal
				}
				return a.sealAnswer(noUnit(), []render.SealGroup{{Variants: []catalog.VariantCode{}}}, [][]seal.Nominal{{n}}, got, tol)
			}
			if tolerance+least+fitted != "" {
				return measureUsage("--tolerance, --least and --fitted go with --new; the seals of a unit have theirs in the catalogue")
			}
			var plates []string
			if len(unit.fields)+len(unit.labels) == 0 && len(args) > 0 {
				plates, args = args[:1], args[1:]
			}
			if q, err := measure.Parse(first(plates), measure.Length); err == nil {
				return measureUsage("%s is a length: the PLATE of the unit comes first, or --new with the length of a new seal", q)
			}
			q, err := unit.question(plates)
			if err != nil {
				return err
			}
			if knowsNothing(&q) {
				return &usageError{"what is the unit? give its PLATE first, or --field or --label, or --new with the length of a new seal", c.CommandPath()}
			}
			got, err := lengths(args, measure.Millimetre)
			if err != nil {
				return err
			}
			b, err := a.bench(q)
			if err != nil {
				return err
			}
			defer b.Close()
			groups, nominals, roles, err := b.seals(role)
			if err != nil {
				return err
			}
			about, err := b.aboutSets(first(plates), sealVariants(groups), roles, nil)
			if err != nil {
				return err
			}
			return a.sealAnswer(about, groups, nominals, got, tol)
		},
	}
	unit.add(a, c, false)
	f := c.Flags()
	f.StringVar(&role, "role", "", "only the seals of this `ROLE`")
	f.StringVar(&off, "off", "", "what the measuring can be off, a `LENGTH` (default: 0.1 mm, a caliper on rubber)")
	f.StringVar(&length, "new", "", "free `LENGTH` of a new seal, in the place of a unit")
	f.StringVar(&tolerance, "tolerance", "", "with --new: tolerance `LENGTH` of a new one")
	f.StringVar(&least, "least", "", "with --new: `LENGTH` below which it is replaced")
	f.StringVar(&fitted, "fitted", "", "with --new: its `LENGTH` when fitted, for the compression set")
	a.completeFlag(c, "role", a.completeRoles)
	return c
}

// measureUsage says that a command about bench figures cannot be meant.
func measureUsage(format string, args ...any) error {
	return &usageError{fmt.Sprintf(format, args...), "platewright measure"}
}

// optional reads a quantity that may be left out.
func optional(where, text string, k measure.Kind) (measure.Quantity, error) {
	if text == "" {
		return measure.Quantity{}, nil
	}
	return quantity(where, text, k)
}

func decimalOf(q measure.Quantity, u measure.Unit) catalog.Decimal {
	if !q.Known() {
		return catalog.Decimal{}
	}
	return catalog.Decimal{Num: q.In(u).Value, Known: true}
}

func newSeal(length, tolerance, least, fitted string) (seal.Nominal, error) {
	n := seal.Nominal{Seal: "seal"}
	for _, x := range []struct {
		flag, text string
		to         *catalog.Decimal
	}{{"--new", length, &n.Length}, {"--tolerance", tolerance, &n.Tolerance}, {"--least", least, &n.Least}, {"--fitted", fitted, &n.Fitted}} {
		q, err := optional(x.flag, x.text, measure.Length)
		if err != nil {
			return n, err
		}
		*x.to = decimalOf(q, measure.Millimetre)
	}
	return n, sealRefusal(n.Check())
}

// lengths reads the pieces; with a unit of the catalogue's column a bare number
// has it.
func lengths(args []string, column measure.Unit) ([]seal.Got, error) {
	if len(args) == 0 {
		return nil, measureUsage("what was measured? give the LENGTH of each piece, such as 24.7mm")
	}
	var out []seal.Got
	for _, s := range args {
		name, text, named := strings.Cut(s, "=")
		if !named {
			name, text = "", s
		}
		read := func() (measure.Quantity, error) { return measure.Parse(text, measure.Length) }
		if column != 0 {
			read = func() (measure.Quantity, error) { return measure.ParseIn(text, column) }
		}
		q, err := read()
		if err != nil {
			return nil, measureUsage("%v", err)
		}
		out = append(out, seal.Got{Length: q, Seal: strings.TrimSpace(name)})
	}
	return out, nil
}

// sealRefusal makes a refusal of package seal an error of usage.
func sealRefusal(err error) error {
	var s *seal.InputError
	if errors.As(err, &s) {
		return measureUsage("%v", err)
	}
	return err
}

// sealAnswer sorts the pieces for everything that the unit can still be. They are in
// order only if they are for all of it, and condemned only if they are for all.
func (a *app) sealAnswer(about render.Bench, groups []render.SealGroup, nominals [][]seal.Nominal, got []seal.Got, off measure.Quantity) error {
	ans := render.MeasureSeal{Schema: render.MeasureSealSchema, Groups: []render.SealGroup{}, Fits: []catalog.VariantCode{}}
	ans.Bench = about
	good, bad := true, true
	for i, g := range groups {
		s, err := seal.Sort(nominals[i], got, off)
		if err != nil {
			return sealRefusal(err)
		}
		g.Sorted = *s
		ans.Groups = append(ans.Groups, g)
		if s.Extra == 0 {
			ans.Fits = append(ans.Fits, g.Variants...)
		}
		good, bad = good && s.Verdict == seal.Good, bad && s.Verdict == seal.Replace
	}
	var err error
	if a.json {
		err = render.JSON(a.out, ans)
	} else {
		err = render.MeasureSealText(a.out, &ans, a.screen())
	}
	if err != nil {
		return err
	}
	return outOfLimits(bad, !good)
}

// seals gives the seals of everything that the unit can still be; variants with
// the same seals share a group.
func (b *benchUnit) seals(role string) (groups []render.SealGroup, nominals [][]seal.Nominal, roles []string, err error) {
	oneTime := map[string]bool{}
	if err := rows(b.cat, catalog.TRoles, func(r *catalog.Role) bool {
		oneTime[catalog.Fold(r.Role)] = r.OneTime
		return true
	}); err != nil {
		return nil, nil, nil, err
	}
	sets, err := unitRows(b, catalog.TSeals, role, func(r *catalog.Seal) string { return r.Seal }, func(r *catalog.Seal) string { return r.Role })
	if err != nil {
		return nil, nil, nil, err
	}
	for _, s := range sets {
		var ns []seal.Nominal
		for _, r := range s.rows {
			ns = append(ns, seal.Of(r, oneTime[catalog.Fold(r.Role)]))
			if !slices.Contains(roles, r.Role) {
				roles = append(roles, r.Role)
			}
		}
		groups, nominals = append(groups, render.SealGroup{Variants: s.variants}), append(nominals, ns)
	}
	return groups, nominals, roles, nil
}

func sealVariants(groups []render.SealGroup) [][]catalog.VariantCode {
	var out [][]catalog.VariantCode
	for _, g := range groups {
		out = append(out, g.Variants)
	}
	return out
}

// noUnit is what an answer says of the unit where none was asked.
func noUnit() render.Bench {
	return render.Bench{Variants: []catalog.VariantCode{}, Cautions: []resolve.Caution{}}
}

func first(args []string) string {
	if len(args) > 0 {
		return args[0]
	}
	return ""
}

// aboutSets is about for variants that stand in sets of rows.
func (b *benchUnit) aboutSets(plate string, sets [][]catalog.VariantCode, roles, work []string) (render.Bench, error) {
	var cands []resolve.Candidate
	for _, s := range sets {
		for _, v := range s {
			cands = union(cands, []resolve.Candidate{{Variant: v}})
		}
	}
	return b.about(plate, cands, roles, work)
}

// rowSet is the rows of a table about a unit, for the variants that share them.
type rowSet[T any] struct {
	variants []catalog.VariantCode
	rows     []*T
}

// unitRows gives the rows about everything that the unit can still be: of each
// assembly those whose role it decides, for each of its candidates. Only assemblies
// about which there are rows count; where two have some, each way to have both is
// one set.
func unitRows[T any](b *benchUnit, table, role string, name, roleOf func(*T) string) ([]rowSet[T], error) {
	if role != "" {
		if _, ok := b.assembly[catalog.Fold(role)]; !ok {
			return nil, measureUsage("--role %s: the catalogue has no such role", role)
		}
	}
	out := []rowSet[T]{{}}
	some := false
	for _, s := range b.decision.Assemblies {
		var sets []rowSet[T]
		any := false
		wanted := func(r *T) bool {
			return (role == "" || catalog.Fold(roleOf(r)) == catalog.Fold(role)) && catalog.Fold(b.assembly[catalog.Fold(roleOf(r))]) == catalog.Fold(s.Assembly)
		}
		for _, c := range s.Candidates {
			list, err := scoped(b.cat, table, c, name)
			if err != nil {
				return nil, err
			}
			list = slices.DeleteFunc(list, func(r *T) bool { return !wanted(r) })
			any = any || len(list) > 0
			if i := slices.IndexFunc(sets, func(x rowSet[T]) bool { return slices.Equal(x.rows, list) }); i >= 0 {
				sets[i].variants = append(sets[i].variants, c.Variant)
			} else {
				sets = append(sets, rowSet[T]{[]catalog.VariantCode{c.Variant}, list})
			}
		}
		if !any {
			continue
		}
		some = true
		if _, err := b.candidatesOf(s.Assembly); err != nil {
			return nil, err
		}
		var next []rowSet[T]
		for _, x := range out {
			for _, y := range sets {
				vs := slices.Clone(x.variants)
				for _, v := range y.variants {
					if !slices.Contains(vs, v) {
						vs = append(vs, v)
					}
				}
				next = append(next, rowSet[T]{vs, slices.Concat(x.rows, y.rows)})
			}
		}
		out = next
	}
	if !some {
		if !slices.ContainsFunc(b.decision.Assemblies, func(s resolve.AssemblyState) bool { return len(s.Candidates) > 0 }) {
			return nil, errNoUnit
		}
		return nil, hint(errors.New("the catalogue has nothing in its table "+table+" for what this unit can be"), "Give the figures yourself, see: platewright measure --help")
	}
	if len(out) > mostGroups {
		return nil, measureUsage("what was read leaves variants with %d different sets of figures; read more of the plate", len(out))
	}
	return out, nil
}
