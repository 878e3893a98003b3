package purchase

import (
	"context"
	"slices"

	"github.com/shopspring/decimal"

	"platewright/catalog"
)

// Solve makes the best plan. It stops early when the context is cancelled or the
// nodes allowed are used up, and then gives the best plan found and how far from
// proven it is. The error is an [*InputError].
func Solve(ctx context.Context, p Problem, opt Options) (*Plan, error) {
	r, err := read(&p)
	if err != nil {
		return nil, err
	}
	return r.solve(ctx, opt, demands{})
}

// demands narrow a plan beyond its problem, for explanations.
type demands struct {
	before     catalog.Date // complete before this day
	until      catalog.Date // complete by this day
	deliveries int          // at most
	force      int          // 1 + offer to be bought
	without    string       // good not to be bought
	keep       []int        // the needs to cover, if known
}

// tooLarge is the finding where costs do not fit.
func tooLarge() error {
	return &InputError{[]Finding{{TooLarge, "plan", "", "the amounts together are too large to be added up exactly", "correct the amounts, or plan in parts"}}}
}

func (r *reading) solve(ctx context.Context, opt Options, d demands) (*Plan, error) {
	plan := &Plan{Schema: Schema, Currency: r.p.Currency, Aim: r.p.Aim, By: r.p.By, Orders: []Order{}, Covered: []Covered{}, Spares: []Spare{},
		Uncovered: []Uncovered{}, Refused: append([]Refused{}, r.refused...)}
	with := func(o *readOffer) bool {
		return (r.p.By == 0 || o.arrives <= r.p.By) && (d.before == 0 || o.arrives != 0 && o.arrives < d.before) && (d.until == 0 || o.arrives <= d.until) &&
			(d.without == "" || o.Good != d.without)
	}
	keep := d.keep
	if keep == nil {
		var un []Uncovered
		keep, un = r.coverable(with)
		plan.Uncovered = append(plan.Uncovered, un...)
	} else if !r.together(keep, r.supply(keep, with, true)) {
		return nil, nil
	}
	plan.Complete = len(plan.Uncovered) == 0
	if r.p.Aim == Earliest {
		// Buying more never makes a plan later, so a day is early enough if all that
		// arrives by then would do.
		for _, day := range append([]catalog.Date{0}, r.days()...) {
			base, until := with, r.until(day)
			within := func(o *readOffer) bool { return base(o) && until(o) }
			if r.together(keep, r.supply(keep, within, true)) {
				with, plan.Proof.Soonest = within, day
				break
			}
		}
	}
	cap := d.deliveries
	var start *solution
	if r.p.Aim == FewestDeliveries || cap > 0 {
		// The fewest deliveries there can be, or whether so few can do.
		q := question{nodes: opt.Nodes}
		if cap > 0 {
			q.below = int64(cap) + 1
		}
		few, out, err := r.run(ctx, keep, with, false, q, d)
		if err != nil {
			return nil, err
		}
		plan.Proof.Nodes += out.nodes
		if out.limit != "" {
			plan.Proof.Limit = out.limit
		}
		if out.sol == nil {
			return nothing(plan, out)
		}
		start = out.sol
		if r.p.Aim == FewestDeliveries {
			plan.Proof.Deliveries = int(out.bound)
			cap = few.deliveries(start.packs)
		}
	}
	b, out, err := r.run(ctx, keep, with, true, question{cap: cap, start: start, nodes: opt.Nodes}, d)
	if err != nil {
		return nil, err
	}
	plan.Proof.Nodes += out.nodes
	if out.limit != "" {
		plan.Proof.Limit = out.limit
	}
	if out.sol == nil {
		return nothing(plan, out)
	}
	bound := b.total(out.bound)
	packs, ways := b.packs(out.sol), out.sol.ways
	value := b.total(out.key)
	// As good but earlier.
	for plan.Proof.Limit == "" {
		last, known := r.arrives(packs)
		if !known {
			break
		}
		sooner := func(o *readOffer) bool { return with(o) && o.arrives != 0 && o.arrives < last }
		if !r.together(keep, r.supply(keep, sooner, true)) {
			break
		}
		e, eout, err := r.run(ctx, keep, sooner, true, question{cap: cap, nodes: opt.Nodes, key: value, count: deliveries(packs, r)}, d)
		if err != nil {
			return nil, err
		}
		plan.Proof.Nodes += eout.nodes
		if eout.sol == nil {
			break
		}
		packs, ways = e.packs(eout.sol), eout.sol.ways
	}
	r.write(plan, keep, packs, ways)
	plan.Proof.Bound = decimal.Min(bound, plan.Total)
	plan.Proof.Gap = plan.Total.Sub(plan.Proof.Bound)
	plan.Proof.Proven = plan.Proof.Limit == ""
	plan.Found = true
	return plan, nil
}

// nothing is the answer where no plan was found: there is none, or a limit came
// before.
func nothing(plan *Plan, out outcome) (*Plan, error) {
	if out.limit == "" {
		return nil, nil
	}
	return plan, nil
}

func deliveries(packs []int64, r *reading) int {
	seen := map[int]bool{}
	for i, n := range packs {
		if n > 0 {
			seen[r.offers[i].sup] = true
		}
	}
	return len(seen)
}

// run builds a model and searches it.
func (r *reading) run(ctx context.Context, keep []int, with filter, amounts bool, q question, d demands) (*built, outcome, error) {
	b, ok := r.build(keep, with, amounts)
	if !ok {
		return nil, outcome{}, tooLarge()
	}
	if q.count > 0 {
		q.below = whole64(q.key, r.places)<<b.counts | int64(q.count) + 1
	}
	if d.force != 0 {
		at := slices.Index(b.offers, d.force-1)
		if at < 0 {
			return b, outcome{bound: never}, nil
		}
		q.lo = make([]int64, len(b.offers))
		q.lo[at] = 1
	}
	return b, b.search(ctx, q), nil
}
