package order

import (
	"context"
	"slices"

	"github.com/shopspring/decimal"

	"platewright/resolve/purchase"
)

// never is an item that nobody has: a way that wants it cannot be taken.
const never = "\x00never"

// mostFluidPlans bounds how many plans are made to keep the fluids apart.
const mostFluidPlans = 12

// solveFluids plans a problem such that no fluid is bought that is not filled in,
// as it would be to reach a least order: what is left over of another kind would be
// mixed up one day. Where the best plan does so, the best of two kinds of plan is
// taken: those without any offer of the fluid, and those in which a need takes it.
func (m *model) solveFluids(ctx context.Context, p purchase.Problem, nodes int) (*purchase.Plan, error) {
	made := 0
	var best func(p purchase.Problem) (*purchase.Plan, error)
	best = func(p purchase.Problem) (*purchase.Plan, error) {
		made++
		plan, err := purchase.Solve(ctx, p, purchase.Options{Nodes: nodes})
		if err != nil || plan == nil {
			return plan, err
		}
		fluid := m.strayFluid(plan)
		if fluid == "" {
			return plan, nil
		}
		without := p
		without.Offers = slices.DeleteFunc(slices.Clone(p.Offers), func(o purchase.Offer) bool { return o.Good == fluid })
		choice, err := best(without)
		if err != nil {
			return nil, err
		}
		for i := range p.Needs {
			if made >= mostFluidPlans {
				choice.Proof.Proven = false
				if choice.Proof.Limit == "" {
					choice.Proof.Limit = purchase.NodesReached
				}
				break
			}
			n := p.Needs[i]
			n.Ways = slices.Clone(n.Ways)
			takes := false
			for k := range n.Ways {
				if slices.ContainsFunc(n.Ways[k].Wants, func(a purchase.Amount) bool { return a.Item == fluid }) {
					takes = true
				} else {
					n.Ways[k].Wants = []purchase.Amount{{Item: never, Qty: 1}}
				}
			}
			if !takes {
				continue
			}
			with := p
			with.Needs = slices.Clone(p.Needs)
			with.Needs[i] = n
			other, err := best(with)
			if err != nil {
				return nil, err
			}
			choice = better(choice, other)
		}
		return choice, nil
	}
	return best(p)
}

// strayFluid names a fluid that a plan buys and no need takes, "" for none.
func (m *model) strayFluid(plan *purchase.Plan) string {
	for _, o := range plan.Orders {
		for _, l := range o.Lines {
			if m.fluids[l.Good] && !slices.ContainsFunc(plan.Covered, func(c purchase.Covered) bool {
				return slices.ContainsFunc(c.Uses, func(u purchase.Use) bool { return u.Item == l.Good })
			}) {
				return l.Good
			}
		}
	}
	return ""
}

// better gives the better of two plans in their aim; together they are as proven as
// the less proven one.
func better(a, b *purchase.Plan) *purchase.Plan {
	worse := func(a, b *purchase.Plan) int {
		switch {
		case a.Found != b.Found:
			if a.Found {
				return -1
			}
			return 1
		case len(a.Uncovered) != len(b.Uncovered):
			return len(a.Uncovered) - len(b.Uncovered)
		case a.Aim == purchase.Earliest && a.Arrives != b.Arrives:
			return int(a.Arrives) - int(b.Arrives)
		case a.Aim == purchase.FewestDeliveries && a.Deliveries != b.Deliveries:
			return a.Deliveries - b.Deliveries
		}
		return a.Total.Cmp(b.Total)
	}
	if worse(b, a) < 0 {
		a, b = b, a
	}
	if !b.Proof.Proven && b.Proof.Bound.LessThan(a.Proof.Bound) {
		a.Proof.Proven, a.Proof.Bound = false, b.Proof.Bound
		a.Proof.Gap = decimal.Max(decimal.Zero, a.Total.Sub(a.Proof.Bound))
		if a.Proof.Limit == "" {
			a.Proof.Limit = b.Proof.Limit
		}
	}
	return a
}
