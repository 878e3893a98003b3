package coil

import (
	"slices"

	"github.com/shopspring/decimal"

	"platewright/catalog"
	"platewright/resolve/measure"
)

// fit finds the variants whose data every reading agrees with that can be in
// order at all, and the readings that tell variants apart. A reading that is in order
// with no variant tells of a fault and is left out; so is one of an open coil.
func (rep *Report) fit(candidates []Candidate) {
	for _, c := range candidates {
		if c.Variant == "" {
			continue
		}
		if !slices.ContainsFunc(rep.Sites, func(s Site) bool { return s.Verdict == Differs && !s.within(c.Variant) }) {
			rep.Fits = append(rep.Fits, c.Variant)
		}
	}
	for _, s := range rep.Sites {
		if s.Verdict == Differs {
			rep.Observed = append(rep.Observed, Observation{s.Site, s.At20})
		}
	}
}

// within tells whether the coil is in order by the data of the variant. Data
// that say nothing of the site exclude nothing.
func (s *Site) within(v catalog.VariantCode) bool {
	for _, o := range s.Options {
		if slices.Contains(o.Variants, v) {
			return o.Verdict == Within
		}
	}
	return true
}

// alike tells whether two sites should have equal coils: the same nominals for
// the same variants.
func alike(a, b *Site) bool {
	return slices.EqualFunc(a.Options, b.Options, func(x, y Option) bool {
		return x.Nominal.Cmp(y.Nominal) == 0 && x.Tolerance.Cmp(y.Tolerance) == 0 && x.Temp.Cmp(y.Temp) == 0 && slices.Equal(x.Variants, y.Variants)
	})
}

// spread compares the sites that should be alike with one another. Open coils
// are no twins of anything.
func (rep *Report) spread() {
	done := make([]bool, len(rep.Sites))
	for i := range rep.Sites {
		a := &rep.Sites[i]
		if done[i] || !a.Coil.Known() || len(a.Options) == 0 {
			continue
		}
		twins := []*Site{a}
		for j := i + 1; j < len(rep.Sites); j++ {
			if b := &rep.Sites[j]; b.Coil.Known() && alike(a, b) {
				twins, done[j] = append(twins, b), true
			}
		}
		if len(twins) > 1 {
			rep.Spreads = append(rep.Spreads, spreadOf(twins))
		}
	}
}

func spreadOf(twins []*Site) Spread {
	sorted := slices.Clone(twins)
	slices.SortStableFunc(sorted, func(a, b *Site) int { return a.At20.Cmp(b.At20) })
	n := len(sorted)
	at := func(i int) decimal.Decimal { return sorted[i].At20.Value }
	median := at(n / 2)
	if n%2 == 0 {
		median = at(n/2 - 1).Add(median).Div(decimal.NewFromInt(2))
	}
	ohm := func(v decimal.Decimal) measure.Quantity { return measure.Of(v, measure.Ohm) }
	width := at(n - 1).Sub(at(0))
	s := Spread{Lowest: ohm(at(0)), Highest: ohm(at(n - 1)), Spread: ohm(width)}
	if len(twins[0].Options) == 1 {
		s.Nominal = twins[0].Options[0].Nominal
	}
	for _, t := range twins {
		s.Sites = append(s.Sites, t.Site)
	}
	if median.IsPositive() {
		s.Share = measure.Of(width.Mul(hundred).DivRound(median, 1), measure.Percent)
	}
	// With three or more, the one at an end is odd if the others are together
	// without it.
	if n >= 3 && width.GreaterThan(median.Mul(oddShare)) {
		withoutFirst, withoutLast := at(n-1).Sub(at(1)), at(n-2).Sub(at(0))
		half := width.Div(decimal.NewFromInt(2))
		switch {
		case withoutLast.LessThan(withoutFirst) && withoutLast.LessThan(half):
			s.Odd = sorted[n-1].Site
		case withoutFirst.LessThan(withoutLast) && withoutFirst.LessThan(half):
			s.Odd = sorted[0].Site
		}
	}
	return s
}

// overall gives the set one verdict: a bad coil first, then one that is not
// settled, then within.
func (rep *Report) overall() {
	for _, s := range rep.Sites {
		switch {
		case s.Verdict.Bad() && !rep.Verdict.Bad(), s.Verdict == Differs && !rep.Verdict.Bad(), s.Verdict == Within && rep.Verdict == "":
			rep.Verdict = s.Verdict
		}
	}
}

// remark says what the figures alone do not.
func (rep *Report) remark(candidates []Candidate, seen map[string]bool) {
	where := func(is func(*Site) bool) []string {
		var out []string
		for i := range rep.Sites {
			if is(&rep.Sites[i]) {
				out = append(out, rep.Sites[i].Site)
			}
		}
		return out
	}
	add := func(c Code, sites []string, value, limit measure.Quantity) {
		if len(sites) > 0 {
			rep.Reasons = append(rep.Reasons, Reason{Code: c, Sites: sites, Value: value, Limit: limit})
		}
	}
	none := measure.Quantity{}
	fault := where(func(s *Site) bool { return s.Verdict.Bad() })
	if len(candidates) > 1 || len(candidates) == 1 && candidates[0].Variant != "" {
		add(FaultNotVariant, fault, none, none)
	}
	apart := where(func(s *Site) bool { return s.Verdict == Differs })
	if len(apart) > 0 && len(rep.Fits) == 0 {
		add(SetsMixed, apart, none, none)
	} else {
		add(TellsApart, apart, none, none)
	}
	for _, s := range rep.Spreads {
		switch {
		case s.Odd != "":
			add(OddOneOut, []string{s.Odd}, s.Spread, s.Share)
		case len(s.Sites) == 2 && s.Share.Known() && s.Share.Value.GreaterThan(oddShare.Mul(hundred)):
			add(TwinsDiffer, s.Sites, s.Spread, s.Share)
		}
	}
	if rep.Temp.Cmp(hotFrom) < 0 {
		add(ColdDoesNotClear, where(func(s *Site) bool { return s.Verdict == Within || s.Verdict == Differs }), rep.Temp, rep.Hot)
	}
	add(NoNominal, where(func(s *Site) bool { return len(s.Options) == 0 }), none, none)
	var missing []string
	for _, c := range candidates {
		for _, row := range c.Sites {
			if !seen[catalog.Fold(row.Site)] && c.Variant != "" && !slices.Contains(missing, row.Site) {
				missing = append(missing, row.Site)
			}
		}
	}
	slices.Sort(missing)
	add(NotMeasured, missing, none, none)
}

// Relatives looks among other variants, such as all of the family, for those by
// which every coil that is too high or too low would be in order. Where there are
// some, the readings are no fault for sure: they are observations, which can say that
// the assembly was exchanged.
func (rep *Report) Relatives(others []Candidate) {
	var bad []*Site
	for i := range rep.Sites {
		if s := &rep.Sites[i]; s.Verdict == High || s.Verdict == Low {
			bad = append(bad, s)
		}
	}
	if len(bad) == 0 {
		return
	}
	r := Reason{Code: FitsRelatives, Sites: []string{}}
	for _, c := range others {
		fits := 0
		for _, s := range bad {
			for _, row := range c.Sites {
				if catalog.Fold(row.Site) == catalog.Fold(s.Site) && row.Ohm.Known && Agrees(s.Coil, rep.Temp, row.Ohm.Num, row.Tolerance.Num, rowTemp(row)) {
					fits++
				}
			}
		}
		if fits == len(bad) && !slices.Contains(r.Variants, c.Variant) {
			r.Variants = append(r.Variants, c.Variant)
		}
	}
	if len(r.Variants) == 0 {
		return
	}
	for _, s := range bad {
		r.Sites = append(r.Sites, s.Site)
		rep.Observed = append(rep.Observed, Observation{s.Site, s.At20})
	}
	rep.Reasons = slices.DeleteFunc(rep.Reasons, func(x Reason) bool { return x.Code == FaultNotVariant && slices.Equal(x.Sites, r.Sites) })
	rep.Reasons = slices.Insert(rep.Reasons, 0, r)
}
