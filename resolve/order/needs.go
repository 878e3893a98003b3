package order

import (
	"cmp"
	"slices"
	"strconv"
	"strings"

	"github.com/shopspring/decimal"

	"platewright/catalog"
	"platewright/resolve"
	"platewright/resolve/purchase"
)

// want is a part that a line wants, in pieces or in hundredths of a litre.
type want struct {
	part      catalog.PartNo
	key       string
	qty       int
	fluid     bool
	companion bool
}

// lineWay is one way to meet a line.
type lineWay struct {
	wants []want
	shelf bool // only the shelf can have it: a part that is not sold any more
}

// line is a line to be met, before it is planned.
type line struct {
	Line
	ways  []lineWay
	first bool // the first way is the first choice of the decision
}

// litres counts a volume in hundredths of a litre, rounded up.
func litres(d catalog.Decimal) int {
	return int(d.Num.Mul(decimal.NewFromInt(100)).Ceil().IntPart())
}

// whole counts a volume in hundredths of a litre, rounded down.
func whole(d catalog.Decimal) int {
	return int(d.Num.Mul(decimal.NewFromInt(100)).Floor().IntPart())
}

func wantOf(it resolve.Item, companion bool) (want, bool) {
	w := want{part: it.Part, key: it.Part.Key(), qty: it.Qty, companion: companion}
	if it.Kind == catalog.PartFluid && it.Litres.Known {
		w.fluid, w.qty = true, litres(it.Litres)
	}
	return w, w.qty > 0
}

// noter tells whether a confirmed note says that a part did not fit.
type noter map[string]bool

func notes(d *resolve.Decision) noter {
	n := noter{}
	for _, x := range d.Notes {
		if x.Kind == catalog.NoteDidNotFit && x.State == catalog.NoteConfirmed {
			n[catalog.Fold(x.Of)] = true
			if x.ShopNote != nil && x.Part != "" {
				n[x.Part.Key()] = true
			}
		}
	}
	return n
}

func (n noter) against(ws []want) bool {
	return slices.ContainsFunc(ws, func(w want) bool { return n[w.key] })
}

// choiceWay gives the way of a choice; ok is false where a quantity is not known.
func choiceWay(c *resolve.Choice) (w lineWay, ok bool) {
	for _, it := range c.Items {
		x, ok := wantOf(it, false)
		if !ok {
			return w, false
		}
		w.wants = append(w.wants, x)
	}
	for _, it := range c.Companions {
		x, ok := wantOf(it, true)
		if !ok {
			return w, false
		}
		w.wants = append(w.wants, x)
	}
	return w, true
}

// passed gives the ways to meet a choice from the shelf with a part that is stated,
// or passed on the way to what is bought, and not sold any more. Its own companions
// must be among those of the choice; otherwise what it demands in this unit is not
// known, and it is left out.
func (m *model) passed(c *resolve.Choice) ([]lineWay, error) {
	at := slices.IndexFunc(c.Trail, func(r resolve.Reason) bool { return r.Code == resolve.ReasonStated })
	if at < 0 || c.Trail[at].Qty < 1 || c.Trail[at].Part.Key() != c.Stated.Key() {
		return nil, nil
	}
	part, qty, path := c.Stated, c.Trail[at].Qty, []string{}
	var out []lineWay
	add := func() error {
		p, err := m.part(part.Key())
		if err != nil || p == nil || p.Status == catalog.PartSold || m.notes[p.Part.Key()] {
			return err
		}
		rows, err := group[catalog.Companion](m.reader, catalog.TCompanions, p.Part.Key())
		if err != nil {
			return err
		}
		w := lineWay{shelf: true, wants: []want{{part: p.Part, key: p.Part.Key(), qty: qty}}}
		for _, row := range rows {
			if row.Replacing != "" && !slices.Contains(path, row.Replacing.Key()) {
				continue
			}
			i := slices.IndexFunc(c.Companions, func(it resolve.Item) bool { return it.Part.Key() == row.Companion.Key() })
			if i < 0 {
				return nil
			}
			x, ok := wantOf(c.Companions[i], true)
			if !ok {
				return nil
			}
			if !slices.ContainsFunc(w.wants, func(o want) bool { return o.key == x.key }) {
				w.wants = append(w.wants, x)
			}
		}
		out = append(out, w)
		return nil
	}
	if err := add(); err != nil {
		return nil, err
	}
	for _, r := range c.Trail[at+1:] {
		if r.Code != resolve.ReasonReplaced && r.Code != resolve.ReasonInterchange || r.Part.Key() != part.Key() {
			break
		}
		path = append(path, part.Key())
		part, qty = r.Other, qty*max(r.Qty, 1)
		if err := add(); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// waysOf gives the ways of a line of a role. The first choice has passed the gate;
// of the others those count that can be bought and against which nothing is noted.
func (m *model) waysOf(choices []resolve.Choice) (ways []lineWay, unknown bool, err error) {
	seen := map[string]bool{}
	add := func(w lineWay) {
		if k := wantsKey(w.wants); !seen[k] && !m.notes.against(w.wants) {
			seen[k] = true
			ways = append(ways, w)
		}
	}
	for i := range choices {
		c := &choices[i]
		if c.Buyable {
			w, ok := choiceWay(c)
			unknown = unknown || !ok
			if ok {
				add(w)
			}
		}
		old, err := m.passed(c)
		if err != nil {
			return nil, false, err
		}
		for _, w := range old {
			add(w)
		}
	}
	return ways, unknown, nil
}

func wantsKey(ws []want) string {
	var keys []string
	for _, w := range ws {
		keys = append(keys, w.key+"*"+strconv.Itoa(w.qty))
	}
	slices.Sort(keys)
	return strings.Join(keys, " ")
}

// gather makes the lines to be met from the decision.
func (m *model) gather() error {
	d := m.ask.Decision
	role := map[string]*resolve.RoleAnswer{}
	for i := range d.Roles {
		role[catalog.Fold(d.Roles[i].Role)] = &d.Roles[i]
	}
	skip := map[string]bool{}
	for _, s := range m.ask.Skip {
		ans := named(role, s)
		if ans == nil {
			return cannot("name one of the roles of the work: platewright resolve lists them", "there is no role %q in the answer to leave out", s)
		}
		skip[catalog.Fold(ans.Role)] = true
	}
	for _, safe := range d.SafeToOrder {
		ans := role[catalog.Fold(safe.Role)]
		at := -1
		if ans != nil {
			at = slices.IndexFunc(ans.Lines, func(l resolve.Line) bool { return l.Position == safe.Position })
		}
		if at < 0 {
			return cannot("ask for the decision anew", "the decision holds no choices for the role %s", safe.Role)
		}
		l := lineOf(ans, safe.Position)
		switch {
		case skip[catalog.Fold(safe.Role)]:
			m.p.LeftOut = append(m.p.LeftOut, LeftOut{Line: l, Reason: Skipped})
			continue
		case safe.Need == catalog.NeedRecommended && !m.ask.Recommended:
			m.p.LeftOut = append(m.p.LeftOut, LeftOut{Line: l, Reason: OnlyRecommended})
			continue
		}
		choices := ans.Lines[at].Choices
		if m.ask.Preferred {
			choices = choices[:1]
		}
		ways, unknown, err := m.waysOf(choices)
		if err != nil {
			return err
		}
		if len(ways) == 0 {
			r := NothingToBuy
			if unknown {
				r = QuantityUnknown
			}
			m.p.LeftOut = append(m.p.LeftOut, LeftOut{Line: l, Reason: r})
			continue
		}
		w, ok := choiceWay(&choices[0])
		m.lines = append(m.lines, &line{Line: l, ways: ways, first: ok && choices[0].Buyable && wantsKey(w.wants) == wantsKey(ways[0].wants)})
	}
	m.p.Held = slices.DeleteFunc(m.p.Held, func(h resolve.HeldLine) bool {
		ans := role[catalog.Fold(h.Role)]
		if ans == nil || !skip[catalog.Fold(h.Role)] {
			return false
		}
		m.p.LeftOut = append(m.p.LeftOut, LeftOut{Line: lineOf(ans, h.Position), Reason: Skipped})
		return true
	})
	if err := m.evenHeld(role, skip); err != nil {
		return err
	}
	if err := m.consumables(); err != nil {
		return err
	}
	// Of lines that cannot be covered together, the earlier ones stay.
	slices.SortStableFunc(m.lines, func(a, b *line) int { return cmp.Compare(later(a), later(b)) })
	return nil
}

// named finds a role by its code or its name.
func named(roles map[string]*resolve.RoleAnswer, text string) *resolve.RoleAnswer {
	if r := roles[catalog.Fold(text)]; r != nil {
		return r
	}
	for _, k := range sortedKeys(roles) {
		if catalog.FoldValue(roles[k].Name) == catalog.FoldValue(text) {
			return roles[k]
		}
	}
	return nil
}

func later(l *line) int {
	if l.Need == catalog.NeedRecommended {
		return 1
	}
	return 0
}

func lineOf(ans *resolve.RoleAnswer, position string) Line {
	return Line{Role: ans.Role, Name: ans.Name, Position: position, Need: ans.Need, Why: ans.Why, OneTime: ans.OneTime, Takes: []Taken{}}
}

// evenHeld makes lines from what is held and is ordered all the same.
func (m *model) evenHeld(role map[string]*resolve.RoleAnswer, skip map[string]bool) error {
	d := m.ask.Decision
	for _, x := range m.ask.EvenHeld {
		name := strings.TrimSpace(x.Role + " " + x.Position)
		if strings.TrimSpace(x.Because) == "" {
			return cannot("say why with --because TEXT", "%s is held, and no reason is given for ordering it all the same", name)
		}
		which := "nothing is held"
		if names := heldNames(d); len(names) > 0 {
			which = "name one of what is held: " + strings.Join(names, ", ")
		}
		ans := named(role, x.Role)
		if ans == nil || skip[catalog.Fold(ans.Role)] {
			return cannot(which, "there is no role %q in the answer to order although it is held", x.Role)
		}
		x.Role = ans.Role
		found := false
		for i := range d.Held {
			h := &d.Held[i]
			if catalog.Fold(h.Role) != catalog.Fold(x.Role) || x.Position != "" && h.Position != "" && catalog.FoldValue(h.Position) != catalog.FoldValue(x.Position) {
				continue
			}
			found = true
			x.Why = append(slices.Clone(x.Why), h.Why...)
			lines, err := m.heldLines(ans, h, x)
			if err != nil {
				return err
			}
			for _, l := range lines {
				l.EvenHeld = &x
				if slices.ContainsFunc(m.lines, func(o *line) bool { return o.Role == l.Role && o.Position == l.Position }) {
					return cannot("name it once", "%s is to be ordered twice", name)
				}
				m.lines = append(m.lines, l)
			}
		}
		if !found {
			return cannot("order it as it is; "+which, "%s is not held", name)
		}
		m.p.EvenHeld = append(m.p.EvenHeld, x)
	}
	return nil
}

// heldLines gives the lines of a held role that the person names.
func (m *model) heldLines(ans *resolve.RoleAnswer, h *resolve.HeldLine, x EvenHeld) ([]*line, error) {
	sets := [][]resolve.Line{ans.Lines}
	if ans.Verdict != resolve.Fits {
		sets = nil
		for _, g := range ans.Groups {
			sets = append(sets, g.Lines)
		}
		if x.Part == "" {
			return nil, cannot("name the part: --even-held "+ans.Role+"=PART", "%s is not settled, so it must be said which part is ordered: %s", ans.Role, strings.Join(possible(sets), " or "))
		}
	}
	fluid := false
	for _, set := range sets {
		var out []*line
		for i := range set {
			l := &set[i]
			at := h.Position
			if ans.Verdict != resolve.Fits {
				at = x.Position // a role that is not settled is held as a whole
			}
			if (at != "" || ans.Verdict == resolve.Fits) && catalog.FoldValue(l.Position) != catalog.FoldValue(at) {
				continue
			}
			for j := range l.Choices {
				c := &l.Choices[j]
				if x.Part != "" && !slices.ContainsFunc(c.Items, func(it resolve.Item) bool { return it.Part.Key() == x.Part.Key() }) {
					continue
				}
				w, ok := choiceWay(c)
				if !ok {
					fluid = true
					continue
				}
				out = append(out, &line{Line: lineOf(ans, l.Position), ways: []lineWay{w}})
				break
			}
		}
		if len(out) > 0 {
			return out, nil
		}
	}
	if fluid {
		return nil, cannot("name a scope of work that fills it", "of %s the volume is not known", ans.Role)
	}
	if p := possible(sets); x.Part != "" && len(p) > 0 {
		return nil, cannot("name one of "+strings.Join(p, ", "), "%s is none of the parts that %s can take", x.Part, ans.Role)
	}
	return nil, cannot("find out what the unit takes, and add it to the catalogue", "for %s the catalogue names no part", ans.Role)
}

// possible lists the first parts of the choices.
func possible(sets [][]resolve.Line) []string {
	var out []string
	for _, set := range sets {
		for _, l := range set {
			for _, c := range l.Choices {
				if s := string(c.Items[0].Part); !slices.Contains(out, s) {
					out = append(out, s)
				}
			}
		}
	}
	return out
}

// consumables adds what the scopes of work use up: of a part that several of them
// name, the largest quantity.
func (m *model) consumables() error {
	at := map[string]*line{}
	var keys []string
	for _, w := range m.ask.Decision.Question.Work {
		rows, err := group[catalog.Consumable](m.reader, catalog.TConsumables, catalog.Fold(w))
		if err != nil {
			return err
		}
		for _, row := range rows {
			x := want{part: row.Part, key: row.Part.Key(), qty: row.Qty}
			if row.Litres.Known {
				x.fluid, x.qty = true, litres(row.Litres)
			}
			if x.qty < 1 {
				continue
			}
			l := at[x.key]
			if l == nil {
				p, err := m.part(x.key)
				if err != nil {
					return err
				}
				if p == nil {
					continue
				}
				l = &line{Line: Line{Consumable: row.Part, Name: p.Name, Need: catalog.NeedRequired, Why: row.Why, Takes: []Taken{}}, ways: []lineWay{{wants: []want{x}}}}
				at[x.key] = l
				keys = append(keys, x.key)
			}
			if l.ways[0].wants[0].qty < x.qty {
				l.ways[0].wants[0].qty = x.qty
			}
		}
	}
	slices.Sort(keys)
	for _, k := range keys {
		m.lines = append(m.lines, at[k])
	}
	return nil
}

// joined are lines that are met together, because one can bring the companion of
// another; each combination of their ways is a way of one need.
type joined struct {
	key   string
	lines []int
	ways  []joinedWay
}

type joinedWay struct {
	of    []int    // by line: its way
	wants [][]want // by line: what is left to get
}

// mostWays is how many ways a need may have; what is beyond is left out from the
// lines with the most ways, the least preferred first.
const mostWays = 60

// join gathers lines into needs.
func (m *model) join() {
	group := make([]int, len(m.lines))
	for i := range group {
		group[i] = i
	}
	for i, a := range m.lines {
		for j, b := range m.lines {
			if i == j || !brings(a, b) {
				continue
			}
			from, to := max(group[i], group[j]), min(group[i], group[j])
			for k := range group {
				if group[k] == from {
					group[k] = to
				}
			}
		}
	}
	for i := range m.lines {
		if group[i] != i {
			continue
		}
		n := joined{key: "need " + strconv.Itoa(i+1)}
		for j := range m.lines {
			if group[j] == i {
				n.lines = append(n.lines, j)
			}
		}
		m.combine(&n)
		m.needs = append(m.needs, n)
	}
}

// brings tells whether a line can bring a companion of another.
func brings(a, b *line) bool {
	for _, wa := range a.ways {
		for _, c := range wa.wants {
			if !c.companion {
				continue
			}
			for _, wb := range b.ways {
				if brought(c, wb.wants) {
					return true
				}
			}
		}
	}
	return false
}

// brought tells whether items of another line bring a companion in at least its
// quantity.
func brought(c want, by []want) bool {
	return slices.ContainsFunc(by, func(w want) bool { return !w.companion && w.key == c.key && w.qty >= c.qty })
}

func (m *model) combine(n *joined) {
	count := make([]int, len(n.lines))
	product := 1
	for k, i := range n.lines {
		count[k] = len(m.lines[i].ways)
		product *= count[k]
	}
	for product > mostWays {
		k := slices.Index(count, slices.Max(count))
		product = product / count[k] * (count[k] - 1)
		count[k]--
	}
	of := make([]int, len(n.lines))
	for {
		w := joinedWay{of: slices.Clone(of)}
		for k, i := range n.lines {
			var left []want
			for _, x := range m.lines[i].ways[of[k]].wants {
				covered := false
				for k2, i2 := range n.lines {
					covered = covered || x.companion && k2 != k && brought(x, m.lines[i2].ways[of[k2]].wants)
				}
				if !covered {
					left = append(left, x)
				}
			}
			w.wants = append(w.wants, left)
		}
		n.ways = append(n.ways, w)
		k := len(of) - 1
		for ; k >= 0; k-- {
			if of[k]++; of[k] < count[k] {
				break
			}
			of[k] = 0
		}
		if k < 0 {
			return
		}
	}
}

// amounts gives what a way wants, kits taken apart.
func (m *model) amounts(w *joinedWay) ([]purchase.Amount, error) {
	sum := map[string]int{}
	for _, ws := range w.wants {
		for _, x := range ws {
			cs, err := m.expand(x.key, x.qty)
			if err != nil {
				return nil, err
			}
			for _, c := range cs {
				sum[c.key] += c.qty
			}
		}
	}
	var out []purchase.Amount
	for _, k := range sortedKeys(sum) {
		out = append(out, purchase.Amount{Item: k, Qty: sum[k]})
	}
	return out, nil
}
