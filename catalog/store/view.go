package store

import (
	"encoding/binary"
	"iter"
	"runtime/debug"

	bolt "go.etcd.io/bbolt"

	"platewright/catalog"
)

// View reads one edition. It is for one goroutine at a time; several views of a
// store can be used at once. Rows and texts that it gives stay good after
// Close. Close it soon: an open view keeps the file mapped.
type View struct {
	s       *Store
	tx      *bolt.Tx
	edition *Edition
	tables  map[*catalog.Table]*generation // nil for a table without rows
}

// Close ends the view.
func (v *View) Close() error {
	if v.tx == nil {
		return nil
	}
	tx := v.tx
	v.tx = nil
	return tx.Rollback()
}

// Edition says which edition it is. The slice of tables must not be changed.
func (v *View) Edition() Edition { return *v.edition }

// Count tells how many rows a table has.
func (v *View) Count(table string) int {
	of, _ := v.edition.table(table)
	return of.Rows
}

// generation gives the rows of t, nil for none. It is called under guard.
func (v *View) generation(t *catalog.Table) (*generation, error) {
	if g, ok := v.tables[t]; ok {
		return g, nil
	}
	var g *generation
	if of, ok := v.edition.table(t.Name); ok {
		var err error
		if g, err = v.s.generation(v.tx, t, of); err != nil {
			return nil, err
		}
	}
	v.tables[t] = g
	return g, nil
}

// Group gives the rows of the group of t with that key, nil for none. The
// error is a [*DamagedError], or a [*NewerError] for a table with columns that
// this program does not know; that holds for all methods of a view.
func (v *View) Group(t *catalog.Table, key string) (rows []catalog.Row, err error) {
	defer v.s.guard(debug.SetPanicOnFault(true), &err)
	g, err := v.generation(t)
	if g == nil || err != nil {
		return nil, err
	}
	g.buf = append(g.buf[:0], key...)
	e, ok := g.rows.get(g.buf)
	if !ok {
		return nil, nil
	}
	return g.group(key, e.payload), nil
}

// Has tells whether t has a group of that key, without reading its rows.
func (v *View) Has(t *catalog.Table, key string) (ok bool, err error) {
	defer v.s.guard(debug.SetPanicOnFault(true), &err)
	g, err := v.generation(t)
	if g == nil || err != nil {
		return false, err
	}
	g.buf = append(g.buf[:0], key...)
	_, ok = g.rows.get(g.buf)
	return ok, nil
}

// Seek gives the first group key of t that is not below from.
func (v *View) Seek(t *catalog.Table, from string) (key string, ok bool, err error) {
	defer v.s.guard(debug.SetPanicOnFault(true), &err)
	g, err := v.generation(t)
	if g == nil || err != nil {
		return "", false, err
	}
	g.buf = append(g.buf[:0], from...)
	e := g.rows.seek(g.buf)
	if e.end {
		return "", false, nil
	}
	return string(e.key), true, nil
}

// Referring gives, in order, the keys of the groups of t with a row whose cell
// in the reverse column has the folded text key, until each returns false.
func (v *View) Referring(t *catalog.Table, column, key string, each func(group string) bool) error {
	next, err := v.referring(t, column, key)
	for err == nil {
		var groups []string
		// each is called outside of the guard: its panics are not ours.
		if groups, err = next(); len(groups) == 0 {
			break
		}
		for _, g := range groups {
			if !each(g) {
				return nil
			}
		}
	}
	return err
}

// referring gives a function that gives the groups piece by piece, none at the
// end.
func (v *View) referring(t *catalog.Table, column, key string) (_ func() ([]string, error), err error) {
	defer v.s.guard(debug.SetPanicOnFault(true), &err)
	none := func() ([]string, error) { return nil, nil }
	g, err := v.generation(t)
	if g == nil || err != nil {
		return none, err
	}
	list := g.part(byBucket + column)
	k := listKey(nil, key, 0)
	e, ok := list.get(k)
	if !ok {
		return none, nil
	}
	piece, left := decoder{}, uint64(0)
	chunk, ordinal, done := uint32(0), uint64(0), false
	open := func(e entry) {
		piece = decoder{text: string(e.payload), g: g}
		more := piece.uvarint()
		left = piece.uvarint()
		done = more == 0
	}
	open(e)
	return func() (groups []string, err error) {
		defer v.s.guard(debug.SetPanicOnFault(true), &err)
		for len(groups) < 256 {
			if left == 0 {
				piece.done()
				if done {
					break
				}
				chunk++
				// Another call may have moved the cursor.
				e, ok := list.get(listKey(k[:0], key, chunk))
				if !ok {
					damaged("a list of %s is cut short", list.name)
				}
				open(e)
				continue
			}
			left--
			ordinal += piece.uvarint()
			groups = append(groups, string(g.groupAt(ordinal-1).key))
		}
		return groups, nil
	}, nil
}

// listKey is the key of a piece of the list of groups that hold a cell.
func listKey(dst []byte, cell string, piece uint32) []byte {
	dst = append(append(dst, cell...), catalog.KeySep)
	return binary.BigEndian.AppendUint32(dst, piece)
}

// part opens a further bucket of the generation once.
func (g *generation) part(name string) *sealed {
	s := g.byName[name]
	if s == nil {
		s = g.seal(name)
		if g.byName == nil {
			g.byName = map[string]*sealed{}
		}
		g.byName[name] = s
	}
	return s
}

// groupAt finds the group with that ordinal, counted from 0.
func (g *generation) groupAt(ordinal uint64) entry {
	if ordinal >= uint64(g.about.Groups) {
		damaged("a list of %s names a group that is not there", g.name)
	}
	walk := g.walk
	if walk == nil {
		walk = g.seal(rowsBucket)
		g.walk = walk
	}
	// Lists are in order, so the next one is often a few steps ahead.
	if g.walking && ordinal > walk.at && ordinal-walk.at < orderStep {
		return walk.skip(ordinal - walk.at)
	}
	o, ok := g.part(orderBucket).get(binary.BigEndian.AppendUint32(g.buf[:0], uint32(ordinal/orderStep)))
	if !ok {
		damaged("the order of %s is cut short", g.name)
	}
	e, ok := walk.get(o.payload)
	if !ok || e.ordinal != ordinal/orderStep*orderStep {
		damaged("the order of %s is wrong", g.name)
	}
	g.walking = true
	if n := ordinal % orderStep; n > 0 {
		e = walk.skip(n)
	}
	return e
}

// Rows gives the rows of t in the order of their keys. After an error it ends;
// a row comes with a nil error.
func (v *View) Rows(t *catalog.Table) iter.Seq2[catalog.Row, error] {
	return func(yield func(catalog.Row, error) bool) {
		c := groupCursor{v: v, t: t}
		for {
			rows, ok, err := c.next()
			if err != nil {
				yield(nil, err)
				return
			}
			if !ok {
				return
			}
			for _, r := range rows {
				if !yield(r, nil) {
					return
				}
			}
		}
	}
}

// Each gives the rows of t in the order of their keys to each, and returns the
// first error of each or its own.
func (v *View) Each(t *catalog.Table, each func(catalog.Row) error) error {
	for r, err := range v.Rows(t) {
		if err != nil {
			return err
		}
		if err := each(r); err != nil {
			return err
		}
	}
	return nil
}

// groupCursor walks the groups of a table of a view. It keeps its own cursor in
// the rows, so that look-ups between do not disturb it.
type groupCursor struct {
	v    *View
	t    *catalog.Table
	g    *generation
	rows *sealed
}

func (c *groupCursor) entry() (e entry, ok bool, err error) {
	defer c.v.s.guard(debug.SetPanicOnFault(true), &err)
	if c.rows == nil {
		if c.g, err = c.v.generation(c.t); c.g == nil || err != nil {
			return entry{}, false, err
		}
		c.rows = c.g.seal(rowsBucket)
		e = c.rows.first()
	} else {
		e = c.rows.next()
	}
	if e.end {
		if e.ordinal != uint64(c.g.about.Groups) {
			damaged("%s has %d groups and should have %d", c.g.name, e.ordinal, c.g.about.Groups)
		}
		return entry{}, false, nil
	}
	return e, true, nil
}

func (c *groupCursor) next() (rows []catalog.Row, ok bool, err error) {
	e, ok, err := c.entry()
	if !ok {
		return nil, false, err
	}
	defer c.v.s.guard(debug.SetPanicOnFault(true), &err)
	return c.g.group(string(e.key), e.payload), true, nil
}
