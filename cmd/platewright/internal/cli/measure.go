package cli

import (
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"platewright/catalog"
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

The exit code is 0 when what was measured is in order, 10 when something is out
of its limits, and 11 when the data do not settle it.`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error { return c.Help() },
	}
	return c
}

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
	b.decision, err = resolve.New(cat, cat.edition).Decide(q, resolve.Options{NoLookAlikes: true, NoNextCheck: true, NoTrails: true})
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

// candidates gives what the assembly of a role can still be. Where nothing is
// left, or more is left than a decision lists, the error says so.
func (b *benchUnit) candidates(role string) ([]resolve.Candidate, error) {
	name, ok := b.assembly[catalog.Fold(role)]
	if !ok {
		return nil, fmt.Errorf("the catalogue has no role %q; check the catalogue", role)
	}
	return b.candidatesOf(name)
}

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

// quantity reads a quantity given with a flag or argument.
func quantity(where, text string, k measure.Kind) (measure.Quantity, error) {
	q, err := measure.Parse(text, k)
	if err != nil {
		return q, usagef("%s %v", where, err)
	}
	return q, nil
}
