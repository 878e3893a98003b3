// Package memory holds a whole catalogue in memory: the embedded demo and the
// small worlds of tests. It answers the same questions as an edition in the
// store.
//
// What must not live here: checks (package catalog), files (package pack).
package memory

import (
	"iter"
	"slices"
	"sort"
	"strings"

	"platewright/catalog"
)

// Catalogue is a catalogue in memory. Fill it with Add, then call Seal; after
// that it is safe for concurrent reading.
type Catalogue struct {
	tables  map[string]*tableRows
	excused map[string]bool // table and key
}

type tableRows struct {
	t       *catalog.Table
	rows    []keyed
	groups  map[string][]catalog.Row
	keys    []string                       // of groups, sorted
	reverse map[string]map[string][]string // column, key of the cell: group keys, sorted
}

type keyed struct {
	key, group string
	row        catalog.Row
	at         catalog.Place
}

// New gives an empty catalogue.
func New() *Catalogue {
	return &Catalogue{tables: map[string]*tableRows{}, excused: map[string]bool{}}
}

// Excuse keeps Check from reporting references to a row that is not here but
// was met, and refused for a reason of its own.
func (c *Catalogue) Excuse(table, key string) { c.excused[table+" "+key] = true }

// Add keeps the row, which must not be changed afterwards. It reports whether
// the table had no row of the same key before; a second one is not kept.
func (c *Catalogue) Add(t *catalog.Table, row catalog.Row, at catalog.Place) bool {
	tr := c.tables[t.Name]
	if tr == nil {
		tr = &tableRows{t: t, groups: map[string][]catalog.Row{}}
		c.tables[t.Name] = tr
	}
	k := keyed{string(t.RowKey(nil, row)), string(t.GroupKey(nil, row)), row, at}
	for _, o := range tr.groups[k.group] {
		if string(t.RowKey(nil, o)) == k.key {
			return false
		}
	}
	tr.groups[k.group] = append(tr.groups[k.group], row)
	tr.rows = append(tr.rows, k)
	return true
}

// Seal sorts what was added and builds the reverse look-ups.
func (c *Catalogue) Seal() {
	for _, tr := range c.tables {
		slices.SortFunc(tr.rows, func(a, b keyed) int { return strings.Compare(a.key, b.key) })
		tr.groups = map[string][]catalog.Row{}
		tr.keys = nil
		tr.reverse = map[string]map[string][]string{}
		for _, k := range tr.rows {
			if tr.groups[k.group] == nil {
				tr.keys = append(tr.keys, k.group)
			}
			tr.groups[k.group] = append(tr.groups[k.group], k.row)
		}
		for _, col := range tr.t.Columns {
			if !col.Reverse {
				continue
			}
			m := map[string][]string{}
			for _, k := range tr.rows {
				if s := catalog.KeyPart(col.Kind, col.Get(k.row)); s != "" {
					if g := m[s]; len(g) == 0 || g[len(g)-1] != k.group {
						m[s] = append(g, k.group)
					}
				}
			}
			tr.reverse[col.Name] = m
		}
	}
}

// Group gives the rows of a group, nil for none.
func (c *Catalogue) Group(t *catalog.Table, key string) ([]catalog.Row, error) {
	tr := c.tables[t.Name]
	if tr == nil {
		return nil, nil
	}
	return tr.groups[key], nil
}

// Seek gives the first group key that is not below from.
func (c *Catalogue) Seek(t *catalog.Table, from string) (string, bool, error) {
	tr := c.tables[t.Name]
	if tr == nil {
		return "", false, nil
	}
	i := sort.SearchStrings(tr.keys, from)
	if i == len(tr.keys) {
		return "", false, nil
	}
	return tr.keys[i], true, nil
}

// Referring gives, in order, the keys of the groups of t with a row whose cell
// in the reverse column has the folded text key, until each returns false.
func (c *Catalogue) Referring(t *catalog.Table, column, key string, each func(group string) bool) error {
	tr := c.tables[t.Name]
	if tr == nil {
		return nil
	}
	for _, g := range tr.reverse[column][key] {
		if !each(g) {
			break
		}
	}
	return nil
}

// Count tells how many rows a table has.
func (c *Catalogue) Count(table string) int {
	if tr := c.tables[table]; tr != nil {
		return len(tr.rows)
	}
	return 0
}

// Rows gives the rows of a table in the order of their keys, with their places.
func (c *Catalogue) Rows(table string) iter.Seq2[catalog.Row, catalog.Place] {
	return func(yield func(catalog.Row, catalog.Place) bool) {
		tr := c.tables[table]
		if tr == nil {
			return
		}
		for _, k := range tr.rows {
			if !yield(k.row, k.at) {
				return
			}
		}
	}
}

// Check reports everything that is wrong with the catalogue: broken rules of
// rows, references to nothing, rules of the whole.
func (c *Catalogue) Check(report func(catalog.Finding)) {
	context := catalog.NewContext(c.Rows)
	for _, t := range catalog.Tables() {
		for r, at := range c.Rows(t.Name) {
			catalog.CheckRow(t, r, at, report)
			context.Check(r, at, report)
			for col, ref := range catalog.References(t, r) {
				there := func(key string) bool {
					rows, _ := c.Group(catalog.TableByName(ref.Table), key)
					return len(rows) > 0
				}
				if !there(ref.Key) && !c.excused[ref.Table+" "+ref.Key] {
					at := at
					at.Column = col
					report(catalog.UnresolvedReference(ref, at, there))
				}
			}
		}
	}
	catalog.CheckWhole(c.Rows, report)
}
