package audit

import (
	"cmp"
	"slices"

	"platewright/catalog"
)

// alike reports codes that are one slip of reading apart, of variants that take
// different parts and that no deciding mark tells apart. Codes that are one slip
// apart are the same once the place of the slip is taken out of both, so for
// each place the codes are sorted by what is left.
func (a *auditor) alike() error {
	if !a.want(LookAlike) {
		return nil
	}
	c := &a.codes
	longest := 0
	for v := range c.len() {
		longest = max(longest, len(c.bytes(v)))
	}
	type left struct {
		sum uint64
		v   int32
	}
	list := make([]left, 0, c.len())
	var buf []byte
	sum := func(v int, text []byte) uint64 { return mix(fnv(number(offset, uint64(c.layout[v])), string(text))) }
	// same calls each for all pairs that are left with the same; the pairs that
	// share a sum by chance are told apart by each.
	same := func(each func(v, w int) error) error {
		slices.SortFunc(list, func(x, y left) int { return cmp.Or(cmp.Compare(x.sum, y.sum), cmp.Compare(x.v, y.v)) })
		for i := 0; i < len(list); {
			j := i + 1
			for j < len(list) && list[j].sum == list[i].sum {
				j++
			}
			for x := i; x < j; x++ {
				for y := i; y < x; y++ {
					if err := each(int(list[y].v), int(list[x].v)); err != nil {
						return err
					}
				}
			}
			i = j
		}
		list = list[:0]
		return nil
	}
	differ := func(v, w int) bool { return c.layout[v] >= 0 && c.takes[0][v] != c.takes[0][w] }
	for p := range longest {
		if err := a.progress("codes", p*c.len()/longest); err != nil {
			return err
		}
		if a.o.Confusable != nil {
			for v := range c.len() {
				if k := c.bytes(v); p < len(k) {
					buf = append(append(append(buf[:0], k[:p]...), 0), k[p+1:]...)
					list = append(list, left{sum(v, buf), int32(v)})
				}
			}
			if err := same(func(v, w int) error {
				x, y := c.bytes(v), c.bytes(w)
				if len(x) != len(y) || !differ(v, w) || string(x[:p]) != string(y[:p]) || string(x[p+1:]) != string(y[p+1:]) || !a.o.Confusable(x[p], y[p]) {
					return nil
				}
				return a.lookAlike(v, w, SlipConfusable)
			}); err != nil {
				return err
			}
		}
		for v := range c.len() {
			if k := c.bytes(v); p+1 < len(k) && k[p] != k[p+1] {
				buf = append(buf[:0], k...)
				buf[p], buf[p+1] = min(k[p], k[p+1]), max(k[p], k[p+1])
				list = append(list, left{sum(v, buf), int32(v)})
			}
		}
		if err := same(func(v, w int) error {
			x, y := c.bytes(v), c.bytes(w)
			if len(x) != len(y) || !differ(v, w) || string(x[:p]) != string(y[:p]) || string(x[p+2:]) != string(y[p+2:]) || x[p] != y[p+1] || x[p+1] != y[p] {
				return nil
			}
			if a.o.Confusable != nil && a.confused(x, y) {
				return nil // reported as that
			}
			return a.lookAlike(v, w, SlipSwapped)
		}); err != nil {
			return err
		}
	}
	return a.shorter()
}

// confused tells whether two codes of one length differ in one place only, by
// characters that are taken for each other.
func (a *auditor) confused(x, y []byte) bool {
	n, at := 0, 0
	for i := range x {
		if x[i] != y[i] {
			n, at = n+1, i
		}
	}
	return n == 1 && a.o.Confusable(x[at], y[at])
}

// shorter reports codes that become another one when a character is dropped.
// It takes layouts on which texts of several lengths can stand.
func (a *auditor) shorter() error {
	c := &a.codes
	var buf []byte
	for v := range c.len() {
		if l := c.layout[v]; l < 0 || !a.layouts[l].varies {
			continue
		}
		if v%10_000 == 0 {
			if err := a.progress("shorter codes", v); err != nil {
				return err
			}
		}
		k := c.bytes(v)
		for p := range k {
			if p > 0 && k[p] == k[p-1] {
				continue // the same text as one place before
			}
			buf = append(append(buf[:0], k[:p]...), k[p+1:]...)
			w := c.find(string(buf))
			if w < 0 || c.layout[w] != c.layout[v] || c.takes[0][v] == c.takes[0][w] {
				continue
			}
			slip := SlipDropped
			if p+1 < len(k) && k[p] == k[p+1] {
				slip = SlipDoubled
			}
			if err := a.lookAlike(min(v, w), max(v, w), slip); err != nil {
				return err
			}
		}
	}
	return nil
}

// lookAlike reports two codes if no deciding mark tells their variants apart.
func (a *auditor) lookAlike(v, w int, slip Slip) error {
	c := &a.codes
	x, err := a.unit(v)
	if err != nil {
		return err
	}
	y, err := a.unit(w)
	if err != nil {
		return err
	}
	if (c.family[v] != c.family[w] || c.look[v] != c.look[w]) && a.markApart(x, y, 0) {
		return nil
	}
	l := a.layouts[c.layout[v]]
	f := Facts{Layout: l.row.Layout, Variants: []catalog.VariantCode{x.code, y.code}, Count: 2, Slip: slip, Checked: l.checked}
	if x.fam.row != nil && x.fam == y.fam {
		f.Family = x.fam.row.Family
	}
	for r := range a.roles {
		if x.takes[r] != y.takes[r] {
			f.Roles = append(f.Roles, a.roles[r].row.Role)
		}
	}
	severity := Wrong
	if l.checked {
		severity = Thin
	}
	return a.tell(LookAlike, severity, f, a.variantRow(x), a.variantRow(y))
}
