package purchase

import (
	"slices"

	"platewright/catalog"
)

// supply is how many pieces each row can get at most, if everything on offer that
// serves one of the needs were bought. With minimum, suppliers that cannot reach
// their least order by that count for nothing.
func (r *reading) supply(needs []int, with filter, minimum bool) []int64 {
	wanted := make([]bool, len(r.rows))
	for _, n := range needs {
		for _, q := range r.needs[n] {
			for j := range q {
				wanted[j] = wanted[j] || q[j] > 0
			}
		}
	}
	use := func(o *readOffer) bool {
		return (with == nil || with(o)) && slices.ContainsFunc(o.rows, func(q rowQty) bool { return wanted[q.row] })
	}
	value := make([]int64, len(r.sups))
	if minimum {
		for i := range r.offers {
			o := &r.offers[i]
			if use(o) {
				value[o.sup] = satAdd(value[o.sup], o.mostValue(o.most(), r.sups[o.sup].places))
			}
		}
	}
	all := slices.Clone(r.shelf)
	for i := range r.offers {
		o := &r.offers[i]
		if s := &r.sups[o.sup]; !use(o) || minimum && value[o.sup] < whole64(s.Minimum, s.places) {
			continue
		}
		for _, q := range o.rows {
			all[q.row] = satAdd(all[q.row], satMul(q.qty, o.most()))
		}
	}
	return all
}

// most is the number of packs that there are.
func (o *readOffer) most() int64 {
	if o.OnHand == AnyNumber {
		return never
	}
	return int64(o.OnHand)
}

// mostValue is the largest value of an order of n packs or fewer.
func (o *readOffer) mostValue(n int64, places int32) int64 {
	var most int64
	for k, t := range o.tiers {
		to := n
		if k+1 < len(o.tiers) {
			to = min(n, int64(o.tiers[k+1].Packs)-1)
		}
		if to >= int64(t.Packs) {
			most = max(most, satMul(to, whole64(t.Price, places)))
		}
	}
	return most
}

// together tells whether needs can all be covered from a supply.
func (r *reading) together(needs []int, supply []int64) bool {
	left := slices.Clone(supply)
	var try func(k int) bool
	try = func(k int) bool {
		if k == len(needs) {
			return true
		}
		for _, q := range r.needs[needs[k]] {
			fits := true
			for j := range q {
				fits = fits && q[j] <= left[j]
			}
			if !fits {
				continue
			}
			for j := range q {
				left[j] -= q[j]
			}
			if try(k + 1) {
				return true
			}
			for j := range q {
				left[j] += q[j]
			}
		}
		return false
	}
	return try(0)
}

// coverable splits the needs into those that can be covered together, the earlier
// ones first, and the rest with the reason.
func (r *reading) coverable(with filter) ([]int, []Uncovered) {
	keep := make([]int, len(r.p.Needs))
	for i := range keep {
		keep[i] = i
	}
	if r.together(keep, r.supply(keep, with, true)) {
		return keep, nil
	}
	keep = keep[:0]
	// A later need can bring a supplier to its least order, so that an earlier one
	// can be covered after all.
	for more := true; more; {
		more = false
		for i := range r.p.Needs {
			if slices.Contains(keep, i) {
				continue
			}
			next := append(slices.Clone(keep), i)
			slices.Sort(next)
			if r.together(next, r.supply(next, with, true)) {
				keep, more = next, true
			}
		}
	}
	var out []Uncovered
	for i := range r.p.Needs {
		if !slices.Contains(keep, i) {
			out = append(out, r.whyNot(i, with))
		}
	}
	return keep, out
}

// whyNot finds the reason why a need cannot be covered.
func (r *reading) whyNot(i int, with filter) Uncovered {
	one := []int{i}
	u := Uncovered{Need: r.p.Needs[i].Key}
	supply := r.supply(one, with, true)
	if r.together(one, supply) {
		u.Why = TakenByOthers
		return u
	}
	// The way that lacks in the fewest rows, and of it the first that is short.
	least := -1
	for w, q := range r.needs[i] {
		lacks := 0
		for j := range q {
			if q[j] > supply[j] {
				lacks++
			}
		}
		if least >= 0 && lacks >= least {
			continue
		}
		least = lacks
		for _, a := range r.p.Needs[i].Ways[w].Wants {
			if j := r.shortRow(r.items[a.Item], q, supply); j >= 0 {
				u.Item, u.Wanted, u.Most = a.Item, int(q[j]), int(supply[j])
				break
			}
		}
	}
	it := r.items[u.Item]
	offered := slices.ContainsFunc(r.offers, func(o readOffer) bool {
		return slices.ContainsFunc(o.rows, func(q rowQty) bool { return slices.Contains(r.rows[q.row], it) })
	})
	switch {
	case r.together(one, r.supply(one, nil, true)):
		u.Why = TooLate
		for _, d := range r.days() {
			if r.together(one, r.supply(one, r.until(d), true)) {
				u.Sooner = d
				break
			}
		}
	case r.together(one, r.supply(one, with, false)):
		u.Why = MinimumTooHigh
	case offered || u.Most > 0:
		u.Why = NotEnough
	case r.raw[it]:
		u.Why = OffersRefused
	default:
		u.Why = NoOffer
	}
	return u
}

// shortRow is the first row with a wanted item from which more is wanted than
// there is, or -1.
func (r *reading) shortRow(item int, q, supply []int64) int {
	for j, set := range r.rows {
		if q[j] > supply[j] && slices.Contains(set, item) {
			return j
		}
	}
	return -1
}

// until keeps the offers that arrive by a day.
func (r *reading) until(d catalog.Date) filter {
	return func(o *readOffer) bool { return o.arrives != 0 && o.arrives <= d }
}
