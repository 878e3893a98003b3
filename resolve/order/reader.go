package order

import (
	"cmp"
	"slices"
	"strings"

	"platewright/catalog"
	"platewright/resolve"
)

// reader reads the rows that an order needs.
type reader struct {
	cat   resolve.Catalogue
	parts map[string]*catalog.Part
	kits  map[string][]content // what a kit holds in the end; nil for what is no kit with known contents
}

type content struct {
	key string
	qty int
}

func newReader(cat resolve.Catalogue) *reader {
	return &reader{cat: cat, parts: map[string]*catalog.Part{}, kits: map[string][]content{}}
}

func group[T any](r *reader, table string, key ...string) ([]*T, error) {
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

// one gives the row of a table with the key, nil if there is none.
func one[T any](r *reader, table, key string) (*T, error) {
	rows, err := group[T](r, table, key)
	if err != nil || len(rows) == 0 {
		return nil, err
	}
	return rows[0], nil
}

// referring gives the groups of a table whose rows name the key.
func (r *reader) referring(table, column, key string) ([]string, error) {
	var out []string
	err := r.cat.Referring(catalog.TableByName(table), column, key, func(g string) bool {
		out = append(out, g)
		return true
	})
	return out, err
}

func (r *reader) part(key string) (*catalog.Part, error) {
	if p, ok := r.parts[key]; ok {
		return p, nil
	}
	p, err := one[catalog.Part](r, catalog.TParts, key)
	if err != nil {
		return nil, err
	}
	r.parts[key] = p
	return p, nil
}

// contents gives what a kit holds in the end, kits in it taken apart too; nil for
// a part that is no kit, or of which no contents are stated.
func (r *reader) contents(key string) ([]content, error) { return r.open(key, nil) }

func (r *reader) open(key string, above []string) ([]content, error) {
	if c, ok := r.kits[key]; ok {
		return c, nil
	}
	p, err := r.part(key)
	if err != nil || p == nil || p.Kind != catalog.PartKit || slices.Contains(above, key) {
		return nil, err
	}
	rows, err := group[catalog.Content](r, catalog.TContents, key)
	if err != nil {
		return nil, err
	}
	sum := map[string]int{}
	for _, row := range rows {
		inner, err := r.open(row.Part.Key(), append(slices.Clone(above), key))
		if err != nil {
			return nil, err
		}
		if inner == nil {
			sum[row.Part.Key()] += row.Qty
			continue
		}
		for _, c := range inner {
			sum[c.key] += c.qty * row.Qty
		}
	}
	var out []content
	for k, q := range sum {
		out = append(out, content{k, q})
	}
	slices.SortFunc(out, func(a, b content) int { return strings.Compare(a.key, b.key) })
	r.kits[key] = out
	return out, nil
}

// expand gives the items that stand for a number of pieces of a part.
func (r *reader) expand(key string, qty int) ([]content, error) {
	c, err := r.contents(key)
	if err != nil || c == nil {
		return []content{{key, qty}}, err
	}
	out := make([]content, len(c))
	for i, x := range c {
		out[i] = content{x.key, x.qty * qty}
	}
	return out, nil
}

// sortedKeys gives the keys of a map in order.
func sortedKeys[K cmp.Ordered, V any](m map[K]V) []K {
	var out []K
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}
