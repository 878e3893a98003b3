package goods

import (
	"slices"

	"platewright/catalog"
)

// Pieces is what is known of the pieces of one part that arrived.
type Pieces struct {
	Part     catalog.PartNo `json:"part"`
	As       As             `json:"as"`
	Per      int            `json:"per,omitempty"` // of a part that serves: how many stand for one that was ordered
	Came     int            `json:"came"`          // corrections counted in
	Returned int            `json:"returned"`
	Kept     int            `json:"kept"`   // more than ordered, or foreign, and stayed in the shop
	Here     int            `json:"here"`   // came, and neither returned nor kept
	Looked   int            `json:"looked"` // of those here: were looked at, and look as they should
	Odd      int            `json:"odd"`    // of those here: look otherwise
	Saw      string         `json:"saw,omitempty"`
}

// unseen is how many nobody has looked at.
func (p *Pieces) unseen() int { return p.Here - p.Looked - p.Odd }

// apply counts an entry.
func (p *Pieces) apply(e *Entry) {
	switch e.Do {
	case Came, Corrected:
		p.Came += e.Qty
		p.Here += e.Qty
	case Returned:
		p.Returned += e.Qty
		p.Here -= e.Qty
	case Kept:
		p.Kept += e.Qty
		p.Here -= e.Qty
	case Looked:
		p.Odd -= min(p.Odd, max(e.Qty-p.unseen(), 0))
		p.Looked += e.Qty
	case Odd:
		p.Looked -= min(p.Looked, max(e.Qty-p.unseen(), 0))
		p.Odd += e.Qty
		p.Saw = e.Saw
	}
	// What goes is what looks otherwise, then what nobody has looked at.
	if e.Do == Returned || e.Do == Kept {
		p.Odd -= min(p.Odd, e.Qty)
	}
	p.Odd = min(p.Odd, max(p.Here, 0))
	p.Looked = min(p.Looked, max(p.Here-p.Odd, 0))
	if p.Odd == 0 {
		p.Saw = ""
	}
}

// tally is what the receipts of an order have come to.
type tally struct {
	lines   [][]*Pieces // by line
	foreign []*Pieces   // in the order in which they came
}

func newTally(o *Order, done []Receipt) *tally {
	t := &tally{lines: make([][]*Pieces, len(o.Lines))}
	for i := range done {
		for j := range done[i].Entries {
			t.add(&done[i].Entries[j])
		}
	}
	return t
}

func (t *tally) clone() *tally {
	copied := func(ps []*Pieces) []*Pieces {
		out := make([]*Pieces, len(ps))
		for i, p := range ps {
			x := *p
			out[i] = &x
		}
		return out
	}
	n := &tally{foreign: copied(t.foreign)}
	for _, l := range t.lines {
		n.lines = append(n.lines, copied(l))
	}
	return n
}

// at gives the list in which pieces of a line stand; line 0 is for what is foreign.
func (t *tally) at(line int) *[]*Pieces {
	if line < 1 || line > len(t.lines) {
		return &t.foreign
	}
	return &t.lines[line-1]
}

func (t *tally) find(line int, key string) *Pieces {
	list := *t.at(line)
	i := slices.IndexFunc(list, func(p *Pieces) bool { return p.Part.Key() == key })
	if i < 0 {
		return nil
	}
	return list[i]
}

func (t *tally) add(e *Entry) {
	p := t.find(e.Line, e.Part.Key())
	if p == nil {
		p = &Pieces{Part: e.Part, As: e.As, Per: e.Per}
		list := t.at(e.Line)
		*list = append(*list, p)
	}
	p.apply(e)
}

// here is how many pieces that were ordered are here for a line.
func (t *tally) here(line int) int {
	n := 0
	for _, p := range *t.at(line) {
		switch p.As {
		case AsOrdered:
			n += p.Here
		case AsServes:
			n += p.Here / max(p.Per, 1)
		}
	}
	return n
}
