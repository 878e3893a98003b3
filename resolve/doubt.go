package resolve

import (
	"cmp"
	"slices"
	"strconv"
	"strings"

	"platewright/catalog"
	"platewright/resolve/plate"

	"github.com/shopspring/decimal"
)

// AnySlip is the word of a doubt about a whole reading: one slip, anywhere.
const AnySlip = "slip"

// doubted is a place of a reading that the person is not sure of.
type doubted struct {
	place  int // 1 for the first
	likely []plate.Likely
}

// doubts takes what is in doubt about a reading into it (C3): places get the
// characters that they are taken for. The words are those of Question.Doubt
// without what names the reading.
func doubts(part, text string, rd plate.Reading, words []string) (plate.Reading, []doubted, bool, error) {
	var list []doubted
	slip := false
	for _, w := range words {
		if catalog.Fold(w) == catalog.Fold(AnySlip) {
			slip = true
			continue
		}
		n, err := strconv.Atoi(w)
		if err != nil {
			return nil, nil, false, &QuestionError{Part: "doubt", Value: w, Reason: NoPlace}
		}
		if slices.ContainsFunc(list, func(d doubted) bool { return d.place == n }) {
			continue
		}
		open, ok := rd.WithDoubt(n)
		if !ok {
			return nil, nil, false, &QuestionError{Part: part, Value: text, Reason: NotOneCharacter, Known: []string{w}}
		}
		c, _ := rd[n-1 : n].Text()
		rd = open
		list = append(list, doubted{n, plate.InDoubt(c[0])})
	}
	return rd, list, slip, nil
}

// doubtsOf gives the words of Question.Doubt that speak of the plate, or of the
// n-th label, 1 for the first.
func (q *Question) doubtsOf(label int) ([]string, error) {
	var out []string
	for _, w := range q.Doubt {
		of, at := 0, w
		if head, tail, ok := strings.Cut(w, ":"); ok {
			of, at = 1, tail
			n, ok := strings.CutPrefix(catalog.Fold(head), catalog.Fold("label"))
			if !ok {
				return nil, &QuestionError{Part: "doubt", Value: w, Reason: NoPlace}
			}
			if n != "" {
				var err error
				if of, err = strconv.Atoi(n); err != nil || of < 1 {
					return nil, &QuestionError{Part: "doubt", Value: w, Reason: NoPlace}
				}
			}
			if of > len(q.Labels) {
				return nil, &QuestionError{Part: "doubt", Value: w, Reason: NoPlace}
			}
		} else if q.Plate == "" {
			return nil, &QuestionError{Part: "doubt", Value: w, Reason: NoPlace}
		}
		if of == label {
			out = append(out, at)
		}
	}
	return out, nil
}

// likelihoods works out how likely a reading with doubts makes each variant that
// it allows: the product of the shares of the characters that stand in doubt, the
// check character's part in it taken into account; of several ways to read it the
// likeliest counts.
func (rw *readWork) likelihoods() {
	if len(rw.doubted) == 0 && !rw.slip {
		return
	}
	if rw.like == nil {
		rw.like = map[string]float64{}
	}
	for _, key := range rw.order {
		for _, text := range rw.texts[key] {
			for _, m := range rw.matches {
				c, ok := m.Complete(text)
				if !ok {
					continue
				}
				like := 1.0
				at := c.Reading()
				for _, x := range rw.doubted {
					if x.place > len(at) {
						continue
					}
					share := 0.0
					for _, l := range x.likely {
						if at[x.place-1].Has(l.Char[0]) {
							share += l.Share
						}
					}
					like *= share
				}
				rw.like[key] = max(rw.like[key], like)
			}
		}
	}
}

// slips adds to a reading the variants that one slip keeps from being found: for
// the person who says that there may be one.
func (d *decider) slips(as *assemblyWork, rw *readWork) error {
	near, whole, err := plate.Near(d.res.layouts[as.key], rw.reading, func(l *plate.Layout) plate.Codes {
		return d.res.layoutCodes(catalog.Fold(l.Row.Layout))
	})
	if err != nil {
		return err
	}
	rw.out.NearCut = !whole
	rw.overflow = rw.overflow || !whole
	if rw.like == nil {
		rw.like = map[string]float64{}
	}
	total := 0.0 // so that all slips together are as likely as none
	for i := range near {
		total += near[i].Weight()
	}
	for i := range near {
		n := &near[i]
		vs, err := d.res.variantsAt(catalog.Fold(n.Layout), n.Key)
		if err != nil {
			return err
		}
		for _, v := range vs {
			if rw.allowed[v.key] == nil {
				if len(rw.allowed) > maxCandidates {
					rw.overflow = true
					return nil
				}
				rw.allowed[v.key] = v
				rw.order = append(rw.order, v.key)
				rw.out.Slips++
			}
			if !slices.Contains(rw.texts[v.key], n.Key) {
				rw.texts[v.key] = append(rw.texts[v.key], n.Key)
			}
			rw.slipTexts = append(rw.slipTexts, slipText{n.Text, v.key})
			rw.like[v.key] = max(rw.like[v.key], n.Weight()/total)
		}
	}
	if rw.out.Slips > 0 {
		// Where the slip is nobody knows: it can be in the number or the date.
		rw.serial, rw.built = 0, catalog.Span[int32]{}
	}
	slices.Sort(rw.order)
	return nil
}

// slipText is a plate that one slip would have turned into the reading.
type slipText struct {
	text, variant string
}

// likelihood tells how much more the readings make of a variant than of others.
func (d *decider) likelihood(v *variant) float64 {
	like := 1.0
	for _, as := range d.assemblies {
		for _, rw := range as.readings {
			if l, ok := rw.like[v.key]; ok {
				like *= max(l, 1e-6)
			}
		}
	}
	return like
}

// doubtful tells whether any reading is in doubt.
func (d *decider) doubtful() bool {
	for _, as := range d.assemblies {
		for _, rw := range as.readings {
			if len(rw.doubted) > 0 || rw.slip {
				return true
			}
		}
	}
	return false
}

// rank gives the near readings their shares, by how likely the slip is and how
// many of the variants were built, where that is known of all, and puts the
// likeliest first.
func rank(near []NearReading, counts []int) {
	total, known := 0.0, true
	for _, n := range counts {
		known = known && n > 0
	}
	weight := make([]float64, len(near))
	for i := range near {
		weight[i] = near[i].Weight()
		if known {
			weight[i] *= float64(counts[i])
		}
		total += weight[i]
	}
	for i := range near {
		near[i].Share = share(weight[i] / total)
		near[i].weight = weight[i]
	}
	slices.SortStableFunc(near, func(a, b NearReading) int { return -cmp.Compare(a.weight, b.weight) })
}

// shares gives candidates their shares, as a plan weighs them.
func (d *decider) shares(vs []*variant, to []Candidate) {
	total, known := 0.0, true
	for _, v := range vs {
		known = known && v.row.Count > 0
	}
	weights := make([]float64, len(vs))
	for i, v := range vs {
		weights[i] = d.likelihood(v)
		if known {
			weights[i] *= float64(v.row.Count)
		}
		total += weights[i]
	}
	for i := range to {
		to[i].Share = share(weights[i] / total)
	}
}

// share gives a part of all to the thousandth.
func share(f float64) catalog.Decimal {
	return catalog.Decimal{Num: decimal.NewFromFloat(f).Round(3), Known: true}
}

// bySlip gives the assembly, or the one that it is taken to follow, that was read so
// that only a slip makes it a plate or label that there is; nil for none. Nothing is
// ordered by that: which slip it was nobody has seen.
func (d *decider) bySlip(as *assemblyWork) *assemblyWork {
	for ; as != nil; as = d.assembly(as.follows) {
		for _, rw := range as.readings {
			if len(rw.slipTexts) > 0 && len(rw.matches) == 0 {
				return as
			}
		}
		if as.apart {
			return nil
		}
	}
	return nil
}

// whole tells whether every place of the reading that tells variants apart is one
// character.
func (rw *readWork) whole() bool {
	for _, m := range rw.matches {
		for _, set := range m.Key {
			if set.Len() > 1 {
				return false
			}
		}
	}
	return len(rw.matches) > 0
}
