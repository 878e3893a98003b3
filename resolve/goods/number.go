package goods

import (
	"fmt"
	"slices"
	"strings"

	"platewright/catalog"
	"platewright/resolve"
	"platewright/resolve/plate"
)

// By is why a number stands for a part.
type By string

const (
	ByPart  By = "part"  // the part's own number
	ByOther By = "other" // another number of it, in the catalogue
	ByNote  By = "note"  // a note of the shop says so
	ByStock By = "stock" // the supplier's stock number
	ByElse  By = "else"  // the stock number of another supplier
)

// Meaning is a part that a number stands for.
type Meaning struct {
	By       By             `json:"by"`
	Part     catalog.PartNo `json:"part"`
	Supplier string         `json:"supplier,omitempty"` // of a stock number
	Who      string         `json:"who,omitempty"`      // uses the number
	Note     string         `json:"note,omitempty"`     // the note of the shop
	Open     bool           `json:"open,omitempty"`     // the note is not confirmed
	pack     int            // pieces in the pack of the offer, 0 for not known
}

// How a number is written so that it can have one sense only.
const (
	prefixPart  = "part:"
	prefixStock = "stock:"
)

// reader reads rows.
type reader struct{ cat resolve.Catalogue }

func group[T any](r reader, table string, key ...string) ([]*T, error) {
	rows, err := r.cat.Group(catalog.TableByName(table), catalog.MakeKey(key...))
	if err != nil {
		return nil, err
	}
	out := make([]*T, len(rows))
	for i, x := range rows {
		out[i] = x.(*T)
	}
	return out, nil
}

func (r reader) part(key string) (*catalog.Part, error) {
	rows, err := group[catalog.Part](r, catalog.TParts, key)
	if err != nil || len(rows) == 0 {
		return nil, err
	}
	return rows[0], nil
}

// referring gives the keys of the groups whose rows name the key, without the
// separator behind them.
func (r reader) referring(table, column, key string) ([]string, error) {
	var out []string
	err := r.cat.Referring(catalog.TableByName(table), column, key, func(g string) bool {
		out = append(out, strings.TrimSuffix(g, string(catalog.KeySep)))
		return len(out) < mostRows
	})
	return out, err
}

// mostRows bounds what is read of rows that name a part.
const mostRows = 1000

// meanings gives every part that a number stands for, in this order first and then
// in the catalogue. What another supplier calls it counts only where nothing else
// goes by the number.
func (d *Desk) meanings(number string) ([]Meaning, error) {
	text, want := number, By("")
	lower := strings.ToLower(number)
	switch {
	case strings.HasPrefix(lower, prefixPart):
		text, want = number[len(prefixPart):], ByPart
	case strings.HasPrefix(lower, prefixStock):
		text, want = number[len(prefixStock):], ByStock
	}
	key := catalog.Fold(text)
	if key == "" {
		return nil, nil
	}
	var out []Meaning
	add := func(m Meaning) {
		if (want == "" || want == m.By) && !slices.ContainsFunc(out, func(o Meaning) bool { return o.Part.Key() == m.Part.Key() }) {
			out = append(out, m)
		}
	}
	for i := range d.order.Lines {
		if l := &d.order.Lines[i]; l.Part.Key() == key {
			add(Meaning{By: ByPart, Part: l.Part, pack: l.Pack})
		}
	}
	for i := range d.order.Lines {
		if l := &d.order.Lines[i]; l.Stock != "" && catalog.Fold(l.Stock) == key {
			add(Meaning{By: ByStock, Part: l.Part, Supplier: d.order.Supplier, pack: l.Pack})
		}
	}
	p, err := d.part(key)
	if err != nil {
		return nil, err
	}
	if p != nil {
		add(Meaning{By: ByPart, Part: p.Part})
	}
	ns, err := group[catalog.Number](d.reader, catalog.TNumbers, key)
	if err != nil {
		return nil, err
	}
	for _, n := range ns {
		m := Meaning{By: ByOther, Part: n.Part, Who: n.User}
		if n.By != nil {
			m.By, m.Note, m.Open = ByNote, n.By.Note, n.By.State != catalog.NoteConfirmed
		}
		add(m)
	}
	offers, err := d.offers(d.order.Supplier, key)
	if err != nil {
		return nil, err
	}
	for _, o := range offers {
		add(Meaning{By: ByStock, Part: o.Part, Supplier: o.Supplier, pack: o.Pack})
	}
	if len(out) > 0 || want != "" {
		return out, nil
	}
	tOffers := catalog.TableByName(catalog.TOffers)
	for from := ""; ; {
		g, ok, err := d.cat.Seek(tOffers, from)
		if err != nil {
			return nil, err
		}
		if !ok {
			return out, nil
		}
		others, err := d.offers(strings.TrimSuffix(g, string(catalog.KeySep)), key)
		if err != nil {
			return nil, err
		}
		for _, o := range others {
			add(Meaning{By: ByElse, Part: o.Part, Supplier: o.Supplier, pack: o.Pack})
		}
		from = g + "\x00"
	}
}

// offers gives what a supplier offers under a stock number.
func (d *Desk) offers(supplier, stock string) ([]*catalog.Offer, error) {
	all, err := group[catalog.Offer](d.reader, catalog.TOffers, catalog.Fold(supplier))
	if err != nil {
		return nil, err
	}
	return slices.DeleteFunc(slices.Clone(all), func(o *catalog.Offer) bool { return catalog.Fold(o.Stock) != stock }), nil
}

// mostNear is how many numbers are named that could have been meant.
const mostNear = 6

type partCodes struct {
	cat resolve.Catalogue
	t   *catalog.Table
}

func (c partCodes) Seek(from string) (string, bool, error) { return c.cat.Seek(c.t, from) }

// near gives numbers that one slip would turn into the one given: those of the
// order first.
func (d *Desk) near(number string) ([]string, error) {
	key := catalog.Fold(number)
	var out, own []string
	add := func(s string) {
		if len(out) < mostNear && !slices.Contains(out, s) {
			out = append(out, s)
		}
	}
	slips := map[string]bool{}
	if err := plate.Neighbours(plate.TrimSep(partCodes{d.cat, catalog.TableByName(catalog.TParts)}), key, func(n plate.Neighbour) bool {
		slips[n.Key] = true
		return len(slips) < mostNear
	}); err != nil {
		return nil, err
	}
	for i := range d.order.Lines {
		l := &d.order.Lines[i]
		own = append(own, string(l.Part))
		if l.Stock != "" {
			own = append(own, l.Stock)
		}
		if slips[l.Part.Key()] {
			add(string(l.Part))
		}
	}
	if n := catalog.Nearest(number, own); n != "" {
		add(n)
	}
	for _, k := range sorted(slips) {
		p, err := d.part(k)
		if err != nil {
			return nil, err
		}
		if p != nil {
			add(string(p.Part))
		}
	}
	return out, nil
}

func sorted(m map[string]bool) []string {
	var out []string
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}

func (m *Meaning) String() string {
	s := string(m.Part)
	switch m.By {
	case ByPart:
		return s + " (the part's own number)"
	case ByStock, ByElse:
		return fmt.Sprintf("%s (stock number of %s)", s, m.Supplier)
	case ByNote:
		return fmt.Sprintf("%s (by the note %s)", s, m.Note)
	}
	if m.Who != "" {
		return fmt.Sprintf("%s (%s)", s, m.Who)
	}
	return s + " (another number of it)"
}

// slips tells whether one slip turns one number into the other.
func (d *Desk) slips(a, b string) bool {
	found := false
	// The codes are the two numbers alone, which cannot fail to be read.
	_ = plate.Neighbours(oneCode(b), a, func(plate.Neighbour) bool {
		found = true
		return false
	})
	return found
}

// oneCode is a list of one code.
type oneCode string

func (c oneCode) Seek(from string) (string, bool, error) { return string(c), string(c) >= from, nil }
