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
)

func (a *app) measureCmd() *cobra.Command {
	c := &cobra.Command{
		Use:     "measure",
		GroupID: "unit",
		Short:   "Bench figures: what was measured against what the unit should have",
		Long: `Measure holds what was measured on the bench against the data of a unit, or
reckons on its own where the figures are given.

Numbers have their unit: 10.8 Ω (or ohm), 24 °C (or 24C), 6 N·m (or Nm), 53 in-lb,
400 kPa, 20 inHg, 31.5 mm. A point is the decimal mark. A comma is one too where it
cannot separate thousands: 10,8 is read, 1,234 is refused.

` + benchExits + `.`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error { return c.Help() },
	}
	c.AddCommand(a.measureCoilCmd(), a.measureFaultCmd(), a.measureTorqueCmd(), a.measureLeakCmd(),
		a.measureSealCmd(), a.measureRingCmd(), a.measureFluidCmd(), a.measureSheetCmd())
	for _, sub := range c.Commands() {
		sub.Long += "\n\n" + benchExits + "."
	}
	return c
}

// benchExits says what the exit codes of an answer about bench figures mean.
const benchExits = `The exit code is 0 when what was measured is in order, 10 when something is out
of its limits, and 11 when that is not settled`

// benchUnit is a unit for which bench figures are asked.
type benchUnit struct {
	cat      *opened
	decision *resolve.Decision
	assembly map[string]string // of a role, by key
}

// bench resolves the unit that the question speaks of; the caller closes its
// catalogue. What a role's assembly can still be is asked of the result.
func (a *app) bench(q resolve.Question) (*benchUnit, error) {
	cat, err := a.open()
	if err != nil {
		return nil, err
	}
	b := &benchUnit{cat: cat, assembly: map[string]string{}}
	b.decision, err = resolve.New(cat, cat.edition).Decide(q, resolve.Options{NoLookAlikes: true, NoNextCheck: true, NoTrails: true, NoFigures: true})
	if err == nil {
		err = rows(cat, catalog.TRoles, func(r *catalog.Role) bool {
			b.assembly[catalog.Fold(r.Role)] = r.Assembly
			return true
		})
	}
	if err != nil {
		return nil, errors.Join(err, cat.Close())
	}
	return b, nil
}

func (b *benchUnit) Close() error { return b.cat.Close() }

// candidatesOf gives what an assembly can still be. Where nothing is left, or more
// is left than a decision lists, the error says so.
func (b *benchUnit) candidatesOf(assembly string) ([]resolve.Candidate, error) {
	for _, s := range b.decision.Assemblies {
		if catalog.Fold(s.Assembly) != catalog.Fold(assembly) {
			continue
		}
		if len(s.Candidates) == 0 {
			return nil, errNoUnit
		}
		if s.Total > len(s.Candidates) {
			return nil, &usageError{fmt.Sprintf("what was read leaves %d variants, too many to hold figures against; read more of the plate", s.Total), "platewright resolve"}
		}
		return s.Candidates, nil
	}
	return nil, errNoUnit
}

// errNoUnit says that nothing is left that figures could be held against.
var errNoUnit = hint(errors.New("what was read and seen leaves no variant of the catalogue"), "See what contradicts itself, or cannot be read: platewright resolve 'PLATE'")

// scoped gives the rows of a table about a variant: its own, and those of its
// family under names for which it has none of its own.
func scoped[T any](cat resolve.Catalogue, table string, of resolve.Candidate, name func(*T) string) ([]*T, error) {
	t := catalog.TableByName(table)
	var out []*T
	own := map[string]bool{}
	for _, s := range []struct {
		scope catalog.ShowScope
		of    string
	}{{catalog.OfVariant, string(of.Variant)}, {catalog.OfFamily, of.Family}} {
		list, err := cat.Group(t, catalog.MakeKey(catalog.Fold(string(s.scope)), catalog.Fold(s.of)))
		if err != nil {
			return nil, err
		}
		for _, r := range list {
			row := any(r).(*T)
			key := catalog.Fold(name(row))
			if s.scope == catalog.OfVariant {
				own[key] = true
			} else if own[key] {
				continue
			}
			out = append(out, row)
		}
	}
	return out, nil
}

// about gives what an answer says of the unit: the variants asked of, and the
// cautions that ride on the roles and scopes of work.
func (b *benchUnit) about(plate string, cands []resolve.Candidate, roles, work []string) (render.Bench, error) {
	out := render.Bench{Edition: b.decision.Edition, Plate: plate, Variants: []catalog.VariantCode{}, Cautions: []resolve.Caution{}}
	for _, c := range cands {
		out.Variants = append(out.Variants, c.Variant)
	}
	links, texts := catalog.TableByName(catalog.TCautionLinks), catalog.TableByName(catalog.TCautions)
	at := map[string]int{}
	ride := func(on catalog.CautionOn, names []string) error {
		for _, name := range names {
			list, err := b.cat.Group(links, catalog.MakeKey(catalog.Fold(string(on)), catalog.Fold(name)))
			if err != nil {
				return err
			}
			for _, r := range list {
				code := any(r).(*catalog.CautionLink).Caution
				because := string(on) + " " + name
				if i, ok := at[catalog.Fold(code)]; ok {
					if f := out.Cautions[i].For; !slices.Contains(f, because) {
						out.Cautions[i].For = append(f, because)
					}
					continue
				}
				rows, err := b.cat.Group(texts, catalog.MakeKey(catalog.Fold(code)))
				if err != nil {
					return err
				}
				for _, t := range rows {
					c := any(t).(*catalog.Caution)
					at[catalog.Fold(code)] = len(out.Cautions)
					out.Cautions = append(out.Cautions, resolve.Caution{Caution: c.Caution, Text: c.Text, Defer: c.Defer, Source: c.Source, For: []string{because}})
				}
			}
		}
		return nil
	}
	if err := ride(catalog.OnWork, work); err != nil {
		return out, err
	}
	return out, ride(catalog.OnRole, roles)
}

// union puts candidates of several assemblies together, each once.
func union(lists ...[]resolve.Candidate) []resolve.Candidate {
	var out []resolve.Candidate
	for _, list := range lists {
		for _, c := range list {
			if !slices.ContainsFunc(out, func(o resolve.Candidate) bool { return o.Variant == c.Variant }) {
				out = append(out, c)
			}
		}
	}
	return out
}

// everyCandidate gives, for each assembly with candidates, what it can still be.
func (b *benchUnit) everyCandidate() (map[string][]resolve.Candidate, error) {
	out := map[string][]resolve.Candidate{}
	for _, s := range b.decision.Assemblies {
		if len(s.Candidates) == 0 {
			continue
		}
		list, err := b.candidatesOf(s.Assembly)
		if err != nil {
			return nil, err
		}
		out[catalog.Fold(s.Assembly)] = list
	}
	if len(out) == 0 {
		return nil, errNoUnit
	}
	return out, nil
}

// of gives the candidates of the assembly that decides a role.
func (b *benchUnit) of(all map[string][]resolve.Candidate, role string) []resolve.Candidate {
	return all[catalog.Fold(b.assembly[catalog.Fold(role)])]
}

// pairs takes arguments apart: those of the form NAME=VALUE and the others.
func pairs(args []string) (named [][2]string, rest []string, err error) {
	for _, s := range args {
		name, value, ok := strings.Cut(s, "=")
		if !ok {
			rest = append(rest, s)
			continue
		}
		if name, value = strings.TrimSpace(name), strings.TrimSpace(value); name == "" || value == "" {
			return nil, nil, usagef("%q: write NAME=VALUE", s)
		}
		named = append(named, [2]string{name, value})
	}
	return named, rest, nil
}

// givesUnit tells whether the flags or a plate name a unit.
func (f *unitFlags) givesUnit(plate string) bool {
	return plate != "" || len(f.fields) > 0 || len(f.labels) > 0
}

// outOfLimits is the exit code of an answer about bench figures.
func outOfLimits(bad, open bool) error {
	switch {
	case bad:
		return answered(exitDoesNotFit)
	case open:
		return answered(exitNotSettled)
	}
	return nil
}

// quantity reads a quantity given with a flag or argument.
func quantity(where, text string, k measure.Kind) (measure.Quantity, error) {
	q, err := measure.Parse(text, k)
	if err != nil {
		return q, &usageError{fmt.Sprintf("%s %v", where, err), "platewright measure"}
	}
	return q, nil
}
