package resolve

import (
	"cmp"
	"slices"
	"strconv"
	"strings"

	"platewright/catalog"
)

// ruledOut holds the keys of the parts that statements keep from a unit, each
// with the statement (O4).
type ruledOut map[string]*catalog.Fit

// way is a part reached from a stated one, with how it was reached.
type way struct {
	part  *partInfo
	qty   int
	steps int
	path  []string // keys from the stated part to the one before this
	trail []Reason
}

// bought is how a number of pieces of a stated part can be bought.
type bought struct {
	qty     int
	lean    bool     // without trails
	choices []Choice // not nil; shared by all who ask: they must not be changed
	noted   lazy[bool]
}

// maxWays bounds the parts that one stated part can lead to. Chains in
// practice have a handful; a catalogue that passed its checks has no circles.
const maxWays = 512

// buy gives the choices by which qty pieces of a stated part can be bought
// (O5, O6), the preferred first. Rank is left to the caller.
func (r *reader) buy(p *partInfo, qty int, out ruledOut) (*bought, error) {
	if len(out) == 0 {
		// Nearly every part is asked for in one quantity only.
		if b := &p.once; b.choices != nil && b.qty == qty && b.lean == r.lean {
			return b, nil
		}
		for _, b := range p.bought {
			if b.qty == qty && b.lean == r.lean {
				return b, nil
			}
		}
	}
	fills, err := r.fillWays(p, qty, out, 0)
	if err != nil {
		return nil, err
	}
	b := &bought{qty: qty, lean: r.lean, choices: make([]Choice, 0, len(fills))}
	for _, f := range fills {
		c, err := r.choice(p, f, out)
		if err != nil {
			return nil, err
		}
		b.choices = append(b.choices, c)
	}
	sortChoices(b.choices)
	switch {
	case len(out) > 0:
	case p.once.choices == nil:
		p.once = *b
		return &p.once, nil
	default:
		p.bought = append(p.bought, b)
	}
	return b, nil
}

// filled is a way to fill a stated part before its companions are known.
type filled struct {
	items   []way // what to buy
	steps   int
	trail   []Reason
	buyable bool
}

// fillWays follows supersessions from a part (O5).
func (r *reader) fillWays(start *partInfo, qty int, out ruledOut, depth int) ([]filled, error) {
	if start.row == nil || out[start.key] != nil || depth > 32 {
		return nil, nil
	}
	ways, splits, err := r.ways(start, qty, out)
	if err != nil {
		return nil, err
	}
	fills := make([]filled, 0, len(ways))
	for i := range ways {
		if w := &ways[i]; w.part.row.Status == catalog.PartSold {
			fills = append(fills, filled{items: ways[i : i+1 : i+1], steps: w.steps, trail: r.trail(w.trail, func() Reason { return partReason(ReasonSold, w.part.row) }), buyable: true})
		}
	}
	for _, s := range splits {
		f, ok, err := r.fillSplit(s, out, depth)
		if err != nil {
			return nil, err
		}
		if ok {
			fills = append(fills, f)
		}
	}
	if len(fills) == 0 {
		fills = append(fills, filled{
			items: ways[:1:1], // the stated part itself
			trail: r.trail(nil, func() Reason { return partReason(ReasonEnded, start.row) }),
		})
	}
	slices.SortStableFunc(fills, func(a, b filled) int {
		return cmp.Or(-cmp.Compare(b2i(a.buyable), b2i(b.buyable)), cmp.Compare(a.steps, b.steps), strings.Compare(waysKey(a.items), waysKey(b.items)))
	})
	return fills, nil
}

// trail gives a copy of a trail with one more reason; nothing where trails are
// left out.
func (r *reader) trail(have []Reason, more func() Reason) []Reason {
	if r.lean {
		return nil
	}
	return append(slices.Clip(have), more())
}

func partReason(code Code, p *catalog.Part) Reason {
	return Reason{Code: code, Table: catalog.TParts, Row: string(p.Part), Source: p.Source, Part: p.Part}
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}

func waysKey(items []way) string {
	if len(items) == 1 {
		return items[0].part.key
	}
	var b strings.Builder
	for _, w := range items {
		b.WriteString(w.part.key)
		b.WriteByte(' ')
	}
	return b.String()
}

// ways walks single replacements breadth first, neighbours in key order, so
// that each part is reached on the way that O5 wants. It also gives the parts
// among them that are split.
func (r *reader) ways(start *partInfo, qty int, out ruledOut) (ways, splits []way, err error) {
	ways = []way{{part: start, qty: qty}}
	for i := 0; i < len(ways) && len(ways) < maxWays; i++ {
		w := ways[i]
		n, err := r.nextOf(w.part)
		if err != nil {
			return nil, nil, err
		}
		if len(n.split) > 0 {
			splits = append(splits, w)
		}
		for _, s := range n.single {
			if out[s.key] != nil || slices.ContainsFunc(ways, func(o way) bool { return o.part.key == s.key }) {
				continue
			}
			p, err := r.partInfo(s.key)
			if err != nil {
				return nil, nil, err
			}
			if p.row == nil {
				continue
			}
			ways = append(ways, way{part: p, qty: w.qty * s.qty, steps: w.steps + 1,
				path:  append(slices.Clone(w.path), w.part.key),
				trail: r.trail(w.trail, func() Reason { return replacedReason(w.part.row.Part, s.to, s.row) })})
		}
	}
	return ways, splits, nil
}

func replacedReason(from, to catalog.PartNo, row *catalog.Supersession) Reason {
	code := ReasonReplaced
	switch row.Kind {
	case catalog.TwoWay:
		code = ReasonInterchange
	case catalog.Split:
		code = ReasonSplit
	}
	return Reason{Code: code, Table: catalog.TSupersessions, Row: string(row.Old) + " / " + string(row.New), Source: row.Source,
		Part: from, Other: to, Qty: row.Qty, Since: row.Since.String(), Note: row.Note}
}

// fillSplit fills the pieces of a split part, each by its first choice.
func (r *reader) fillSplit(w way, out ruledOut, depth int) (filled, bool, error) {
	n, err := r.nextOf(w.part)
	if err != nil {
		return filled{}, false, err
	}
	f := filled{buyable: true, trail: slices.Clone(w.trail)}
	most := 0
	for _, piece := range n.split {
		f.trail = r.trail(f.trail, func() Reason { return replacedReason(w.part.row.Part, piece.New, piece) })
		p, err := r.partOf(piece.New)
		if err != nil {
			return filled{}, false, err
		}
		sub, err := r.fillWays(p, w.qty*piece.Qty, out, depth+1)
		if err != nil {
			return filled{}, false, err
		}
		if len(sub) == 0 || !sub[0].buyable {
			return filled{}, false, nil
		}
		most = max(most, sub[0].steps)
		f.trail = append(f.trail, sub[0].trail...)
		for _, it := range sub[0].items {
			it.path = slices.Concat(w.path, []string{w.part.key}, it.path)
			if i := slices.IndexFunc(f.items, func(o way) bool { return o.part == it.part }); i >= 0 {
				f.items[i].qty += it.qty
			} else {
				f.items = append(f.items, it)
			}
		}
	}
	slices.SortFunc(f.items, func(a, b way) int { return strings.Compare(a.part.key, b.part.key) })
	f.steps = w.steps + 1 + most
	return f, true, nil
}

// choice adds the companions to a filled part (O6).
func (r *reader) choice(stated *partInfo, f filled, out ruledOut) (Choice, error) {
	c := Choice{Stated: stated.row.Part, Steps: f.steps, Buyable: f.buyable, Trail: f.trail, Items: make([]Item, len(f.items)), Companions: []Item{}}
	for i, w := range f.items {
		c.Items[i] = item(w.part.row, w.qty)
	}
	d := demands{r: r, out: out, items: f.items}
	for _, w := range f.items {
		if err := d.add(w, nil, ""); err != nil {
			return Choice{}, err
		}
	}
	slices.SortFunc(d.found, func(a, b *demand) int { return strings.Compare(a.part.key, b.part.key) })
	for _, x := range d.found {
		c.Companions = append(c.Companions, item(x.part.row, x.each+x.job))
		if x.part.row.Status != catalog.PartSold {
			c.Buyable = false
		}
	}
	c.Trail = orEmpty(append(c.Trail, d.trail...))
	return c, nil
}

func item(p *catalog.Part, qty int) Item {
	return Item{Part: p.Part, Name: p.Name, Kind: p.Kind, Origin: p.Origin, Qty: qty, Look: p.Look}
}

// demand is what all demands for one companion part come to.
type demand struct {
	part      *partInfo
	each, job int
}

type demands struct {
	r     *reader
	out   ruledOut
	items []way
	found []*demand
	trail []Reason
}

// add works out the companions that w demands; above are the parts whose
// demands led to it, and per how the first of them was counted.
func (d *demands) add(w way, above []string, per catalog.Per) error {
	rows, err := d.r.companionsOf(w.part)
	if err != nil || len(rows) == 0 {
		return err
	}
	above = append(slices.Clone(above), w.part.key)
	for _, row := range rows {
		if row.Replacing != "" && !slices.Contains(w.path, row.Replacing.Key()) {
			continue
		}
		p, err := d.r.partOf(row.Companion)
		if err != nil {
			return err
		}
		reason := Reason{Code: ReasonCompanion, Table: catalog.TCompanions, Row: string(row.Part) + " / " + string(row.Companion),
			Source: row.Source, Part: row.Companion, Other: row.Part, Qty: row.Qty, Note: row.Why}
		if d.out[p.key] != nil {
			reason.Code = ReasonCompanionAgainst
			d.trail = d.r.trail(d.trail, func() Reason { return reason })
			continue
		}
		qty, counted := row.Qty, row.Per
		if row.Per == catalog.PerPart {
			qty *= w.qty
		}
		if per == catalog.PerJob {
			counted = catalog.PerJob
		}
		fills, err := d.r.fillWays(p, qty, d.out, 0)
		if err != nil {
			return err
		}
		if len(fills) == 0 {
			continue
		}
		d.trail = append(d.r.trail(d.trail, func() Reason { return reason }), fills[0].trail...)
		for _, it := range fills[0].items {
			if slices.ContainsFunc(d.items, func(o way) bool { return o.part == it.part }) || slices.Contains(above, it.part.key) {
				continue
			}
			i := slices.IndexFunc(d.found, func(o *demand) bool { return o.part == it.part })
			if i < 0 {
				i = len(d.found)
				d.found = append(d.found, &demand{part: it.part})
			}
			if counted == catalog.PerPart {
				d.found[i].each += it.qty
			} else {
				d.found[i].job = max(d.found[i].job, it.qty)
			}
			if len(above) < 16 {
				if err := d.add(it, above, counted); err != nil {
					return err
				}
			}
		}
	}
	return nil
}

// sortChoices puts choices in the order of preference.
func sortChoices(cs []Choice) {
	slices.SortStableFunc(cs, func(a, b Choice) int {
		return cmp.Or(-cmp.Compare(b2i(a.Buyable), b2i(b.Buyable)), cmp.Compare(a.Rank, b.Rank), cmp.Compare(a.Steps, b.Steps),
			strings.Compare(itemsKey(a.Items), itemsKey(b.Items)), slices.CompareFunc(a.Items, b.Items, byQuantity),
			strings.Compare(itemsKey(a.Companions), itemsKey(b.Companions)), slices.CompareFunc(a.Companions, b.Companions, byQuantity))
	})
}

func byQuantity(a, b Item) int {
	return cmp.Or(cmp.Compare(a.Qty, b.Qty), a.Litres.Num.Cmp(b.Litres.Num))
}

func itemsKey(items []Item) string {
	if len(items) == 1 {
		return items[0].Part.Key()
	}
	var b strings.Builder
	for _, it := range items {
		b.WriteString(it.Part.Key())
		b.WriteByte(' ')
	}
	return b.String()
}

// key gives the text by which two choices are the same order: items and
// companions with their quantities, and whether it can be bought.
func (c *Choice) key() string {
	b := make([]byte, 0, 64)
	add := func(items []Item) {
		for _, it := range items {
			b = append(b, it.Part.Key()...)
			b = append(b, '*')
			if it.Litres.Known {
				b = append(b, it.Litres.String()...)
			} else {
				b = strconv.AppendInt(b, int64(it.Qty), 10)
			}
			b = append(b, ' ')
		}
		b = append(b, '|')
	}
	add(c.Items)
	add(c.Companions)
	if c.Buyable {
		b = append(b, '+')
	}
	return string(b)
}
