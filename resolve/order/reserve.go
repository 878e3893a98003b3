package order

import (
	"slices"
	"strings"

	"platewright/catalog"
)

// Reserved is what the shelf has and another unit takes.
type Reserved struct {
	Amount
	Place string         `json:"place"`
	Kit   catalog.PartNo `json:"kit,omitempty"` // out of this kit
	Card  int            `json:"card"`          // of the unit that takes it
}

// Reserves tells what the plans of a card take from the shelf. Of two plans for one
// line the later counts; lines of roles of which
// free is true are left out; what the work uses up has the role "".
func Reserves(card int, plans []*Proposal, free func(role string) bool) []Reserved {
	lines := map[string][]Reserved{}
	for _, p := range plans {
		for _, l := range p.Lines {
			key := strings.Join([]string{catalog.Fold(l.Role), catalog.FoldValue(l.Position), l.Consumable.Key()}, "\x00")
			delete(lines, key)
			if free(l.Role) {
				continue
			}
			for _, t := range l.Takes {
				for _, f := range t.From {
					if f.Supplier == "" {
						lines[key] = append(lines[key], Reserved{f.Amount, f.Place, f.Kit, card})
					}
				}
			}
		}
	}
	var out []Reserved
	for _, k := range sortedKeys(lines) {
		out = append(out, lines[k]...)
	}
	return out
}

// reserve takes off the shelf what other units take. What is not in the place it was
// promised from any more is taken from wherever the part lies.
func (m *model) reserve() {
	for _, r := range m.ask.Reserved {
		key := r.Part.Key()
		left := r.Qty
		if r.Litres.Known {
			left = litres(r.Litres)
		}
		took := 0
		for _, anywhere := range []bool{false, true} {
			for i := range m.shelf[key] {
				s := &m.shelf[key][i]
				kit := s.part
				if kit.Key() == key {
					kit = ""
				}
				if !anywhere && (s.at != r.Place || kit.Key() != r.Kit.Key()) {
					continue
				}
				q := min(left, s.left)
				s.left, left, took = s.left-q, left-q, took+q
			}
		}
		if took == 0 {
			continue
		}
		if r.Litres.Known {
			r.Litres = hundredths(took)
		} else {
			r.Qty = took
		}
		same := func(o Reserved) bool {
			return o.Part.Key() == key && o.Place == r.Place && o.Kit == r.Kit && o.Card == r.Card
		}
		if i := slices.IndexFunc(m.p.Reserved, same); i >= 0 {
			o := &m.p.Reserved[i]
			o.Qty += r.Qty
			if r.Litres.Known {
				o.Litres = catalog.Decimal{Num: o.Litres.Num.Add(r.Litres.Num), Known: true}
			}
			continue
		}
		m.p.Reserved = append(m.p.Reserved, r)
	}
}
