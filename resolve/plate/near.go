package plate

import (
	"cmp"
	"slices"
)

// NearKind is a single slip in reading, copying or typing a plate.
type NearKind string

// The slips, in the order in which they are reported.
const (
	Misread NearKind = "confusable" // one character taken for another that looks like it
	Swapped NearKind = "swapped"    // two neighbours in the wrong order
	Dropped NearKind = "dropped"    // one character left out
	Doubled NearKind = "doubled"    // one character written twice
)

func (k NearKind) rank() int {
	switch k {
	case Misread:
		return 0
	case Swapped:
		return 1
	case Dropped:
		return 2
	}
	return 3
}

// MaxNear is the most near readings that are given.
const MaxNear = 200

// maxSeeks bounds the work of one call: readings with many open places have
// more neighbours than anyone would look through.
const maxSeeks = 20_000

// NearReading is a plate in the catalogue that would have been read so with one
// slip. It is never the answer, only a question back to the person.
type NearReading struct {
	Kind   NearKind `json:"kind"`
	Place  int      `json:"place"` // the first place concerned, in the reading; of a dropped character the place where it should stand
	Read   string   `json:"read"`  // what was read there; empty for a dropped character
	Would  string   `json:"would"` // what it would be
	Text   string   `json:"text"`  // the corrected plate, with ? where nothing is known beyond the layout
	Layout string   `json:"layout"`
	Key    string   `json:"variant"` // the variant key found
}

// budget stops a search that has used up its seeks, as if there were no more
// keys.
type budget struct {
	Codes
	left *int
}

func (b budget) Seek(from string) (string, bool, error) {
	if *b.left == 0 {
		return "", false, nil
	}
	*b.left--
	return b.Codes.Seek(from)
}

// stepBudget is a budget over codes that step; a step counts like a seek.
type stepBudget struct {
	budget
	step Stepper
}

func (b stepBudget) Next() (string, bool, error) {
	if *b.left == 0 {
		return "", false, nil
	}
	*b.left--
	return b.step.Next()
}

func limit(codes Codes, left *int) Codes {
	if s, ok := codes.(Stepper); ok {
		return stepBudget{budget{s, left}, s}
	}
	return budget{codes, left}
}

// nearer is the state of one call of [Near].
type nearer struct {
	m       matcher
	layouts []*Layout
	codes   []Codes
	seeks   int
	buf     [MaxPlaces]Set
	out     []NearReading
	err     error

	kind  NearKind // the slip tried
	place int      // the place that it concerns, from 0
	width int      // the places there that the corrected text has
	was   []Set    // the places there that the reading has
	key   [MaxPlaces]Set
}

// Near gives every single slip that would turn the reading into a plate that
// matches a layout, passes its checks and has its variant among the codes of
// the layout: one confusable character, one swap of neighbours, one dropped or
// one doubled character. It is meant for readings that matched nothing known.
// The list is sorted by kind in this order, then by place and text, without
// repetition. A dropped character that does not follow from a check and stands
// outside the variant could stand at any of several places; the first is given.
//
// Places that are wholly unreadable are left as they are. whole is false if
// there are more than [MaxNear] or the search was broken off because the
// reading has too many open places. The error is that of codes; codes gives the
// variant keys that can stand on plates of the layout.
func Near(layouts []*Layout, r Reading, codes func(*Layout) Codes) (list []NearReading, whole bool, err error) {
	n := &nearer{layouts: layouts, codes: make([]Codes, len(layouts)), seeks: maxSeeks, out: []NearReading{}}
	if len(r) == 0 || len(r) > MaxPlaces {
		return n.out, true, nil
	}
	fewest, most := MaxPlaces, 0
	for i, l := range layouts {
		n.codes[i] = limit(codes(l), &n.seeks)
		lo, hi := l.Widths()
		fewest, most = min(fewest, lo), max(most, hi)
	}
	found := n.found
	if len(r) >= fewest && len(r) <= most {
		n.kind, n.width = Misread, 1
		text := n.buf[:len(r)]
		copy(text, r)
		for i, s := range r {
			if s == Any {
				continue
			}
			var alike Set
			for c := range s.All() {
				alike |= confusableWith(c)
			}
			for c := range (alike &^ s).All() {
				text[i] = one(c)
				n.try(text, i, r[i:i+1], found)
			}
			text[i] = s
		}
		n.kind, n.width = Swapped, 2
		for i := 0; i+1 < len(r); i++ {
			if r[i] == r[i+1] {
				continue
			}
			text[i], text[i+1] = r[i+1], r[i]
			n.try(text, i, r[i:i+2], found)
			text[i], text[i+1] = r[i], r[i+1]
		}
	}
	if len(r)+1 >= fewest && len(r)+1 <= most {
		n.kind, n.width = Dropped, 1
		text := n.buf[:len(r)+1]
		for i := 0; i <= len(r); i++ {
			copy(text, r[:i])
			text[i] = Any
			copy(text[i+1:], r[i:])
			n.try(text, i, nil, found)
		}
	}
	if len(r)-1 >= fewest && len(r)-1 <= most {
		n.kind, n.width = Doubled, 1
		text := n.buf[:len(r)-1]
		for i := 0; i+1 < len(r); i++ {
			both := r[i] & r[i+1]
			if both == 0 || i > 0 && r[i-1] == r[i] && r[i] == r[i+1] {
				continue // the same text as one place before
			}
			copy(text, r[:i])
			text[i] = both
			copy(text[i+1:], r[i+2:])
			n.try(text, i, r[i:i+2], found)
		}
	}
	if n.err != nil {
		return []NearReading{}, false, n.err
	}
	slices.SortStableFunc(n.out, func(a, b NearReading) int {
		return cmp.Or(cmp.Compare(a.Kind.rank(), b.Kind.rank()), cmp.Compare(a.Place, b.Place),
			cmp.Compare(a.Text, b.Text), cmp.Compare(a.Layout, b.Layout), cmp.Compare(a.Key, b.Key))
	})
	return n.out, n.seeks > 0 && len(n.out) < MaxNear, nil
}

// try lays a corrected text to every layout and looks its variants up.
func (n *nearer) try(text []Set, place int, was []Set, found func(*aligned, Codes) bool) {
	n.place, n.was = place, was
	for i, l := range n.layouts {
		if n.err != nil || n.seeks == 0 || len(n.out) >= MaxNear {
			return
		}
		if !l.mayBe(text) {
			continue
		}
		codes := n.codes[i]
		n.m.find(l, text, func(a *aligned) bool { return found(a, codes) })
	}
}

// found looks up the variants that an alignment of the corrected text can mean.
func (n *nearer) found(a *aligned, codes Codes) bool {
	if !a.settle() {
		return true
	}
	settled := a.sets
	n.err = Find(codes, a.appendKey(n.key[:0]), func(key string) bool {
		a.sets = settled
		if a.fill(key) {
			n.add(a, key)
		}
		return len(n.out) < MaxNear
	})
	a.sets = settled
	return n.err == nil && n.seeks > 0
}

func (n *nearer) add(a *aligned, key string) {
	near := NearReading{Kind: n.kind, Place: n.place + 1, Layout: a.l.Row.Layout, Key: key}
	var buf [4 * MaxPlaces]byte
	text := buf[:0]
	for i := range a.l.fields {
		text = a.appendText(text, i)
	}
	near.Text = string(text)
	near.Read = string(appendSets(buf[:0], n.was))
	near.Would = string(appendSets(buf[:0], a.sets[n.place:n.place+n.width]))
	somewhere := n.kind == Dropped && !a.sets[n.place].single()
	for i := range n.out {
		o := &n.out[i]
		if o.Key != key || o.Layout != near.Layout {
			continue
		}
		if o.Text == near.Text || somewhere && o.Kind == Dropped && len(o.Would) > 1 {
			return
		}
	}
	n.out = append(n.out, near)
}

// Neighbour is a variant key that one slip can turn another into, or be turned
// into by.
type Neighbour struct {
	Key   string   `json:"variant"`
	Kind  NearKind `json:"kind"`
	Place int      `json:"place"` // the first place concerned, 1 for the first of the key given
}

// Neighbours gives the keys that stand one slip from key, each once, until each
// returns false: by a confusable character, by a swap of neighbours, and by one
// character more or less. The last counts as [Doubled] where that character
// equals its neighbour, else as [Dropped]; whichever of the two keys is the
// right one, the other can be read. The order is by kind, then by place and
// key. The error is that of codes.
func Neighbours(codes Codes, key string, each func(Neighbour) bool) error {
	if len(key) == 0 || len(key) > MaxPlaces {
		return nil
	}
	base := make([]Set, len(key), 2*len(key)+1)
	for i := range base {
		if base[i] = one(key[i]); base[i] == 0 {
			return nil
		}
	}
	var out []Neighbour
	add := func(kind NearKind, place int, pattern []Set) error {
		return Find(codes, pattern, func(k string) bool {
			if k == key {
				return true
			}
			for i := range out {
				if out[i].Key == k {
					return true
				}
			}
			out = append(out, Neighbour{k, kind, place + 1})
			return true
		})
	}
	text := base
	for i, s := range base {
		if text[i] = confusableWith(key[i]); text[i] != 0 {
			if err := add(Misread, i, text); err != nil {
				return err
			}
		}
		text[i] = s
	}
	for i := 0; i+1 < len(base); i++ {
		if base[i] == base[i+1] {
			continue
		}
		base[i], base[i+1] = base[i+1], base[i]
		err := add(Swapped, i, base)
		base[i], base[i+1] = base[i+1], base[i]
		if err != nil {
			return err
		}
	}
	other := base[len(base) : 2*len(base)+1]
	for i := range base { // one character less
		if i > 0 && base[i] == base[i-1] {
			continue
		}
		kind := Dropped
		if i+1 < len(base) && base[i] == base[i+1] {
			kind = Doubled
		}
		copy(other, base[:i])
		copy(other[i:], base[i+1:])
		if err := add(kind, i, other[:len(base)-1]); err != nil {
			return err
		}
	}
	if len(base) < MaxPlaces {
		for i := 0; i <= len(base); i++ { // one character more
			copy(other, base[:i])
			copy(other[i+1:], base[i:])
			var beside Set
			if i < len(base) {
				beside = base[i] // after a character of its own kind it is the same text one place before
				other[i] = beside
				if err := add(Doubled, i, other); err != nil {
					return err
				}
			}
			other[i] = Any &^ beside
			if err := add(Dropped, i, other); err != nil {
				return err
			}
		}
	}
	slices.SortStableFunc(out, func(a, b Neighbour) int {
		return cmp.Or(cmp.Compare(a.Kind.rank(), b.Kind.rank()), cmp.Compare(a.Place, b.Place), cmp.Compare(a.Key, b.Key))
	})
	for _, n := range out {
		if !each(n) {
			break
		}
	}
	return nil
}
