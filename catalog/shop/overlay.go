package shop

import (
	"maps"
	"slices"
	"strings"
	"sync"

	"platewright/catalog"
)

// Over gives the catalogue as the shop's own notes leave it:
//
//   - its table of notes holds the shop's notes too, those that are withdrawn
//     left out;
//   - its table of numbers holds the aliases, each with the note that says so
//     ([catalog.Number.By]), where the catalogue itself says nothing of the
//     number. What has no confirmed note is found by its number only;
//   - rows read as confirmed corrections say, where the catalogue still says
//     what the correction expects.
//
// What it gives is a [Corrected], safe for concurrent use if base and notes are,
// and answers as of now: a later note needs another Over. Where there are no
// notes it gives base itself.
func Over(base Catalogue, notes Notes) (Catalogue, error) {
	if _, any := notes.SeekFiled(""); !any {
		return base, nil
	}
	o := &overlay{base: base, notes: notes, tNotes: catalog.TableByName(catalog.TNotes), tNumbers: catalog.TableByName(catalog.TNumbers),
		used: map[string]*Note{}, fixes: map[string]map[string][]*Note{}, moved: map[string]map[string][]string{}}
	if err := o.loadCorrections(); err != nil {
		return nil, err
	}
	return o, nil
}

// Corrected is a catalogue that remembers which corrections have changed a row
// that was read, so that whoever answers by it can say so.
type Corrected interface {
	Catalogue
	// Used gives the notes of these corrections, in the order of their names.
	Used() []*Note
}

type overlay struct {
	base             Catalogue
	notes            Notes
	tNotes, tNumbers *catalog.Table

	mu   sync.Mutex
	used map[string]*Note // corrections that changed a row

	fixes map[string]map[string][]*Note  // by table and group: confirmed corrections
	moved map[string]map[string][]string // by table and column, then cell: groups that hold the cell by a correction
}

// filed walks the keys that begin with prefix.
func filed(notes Notes, prefix string, each func(key string, ns []*Note) error) error {
	for key, ok := notes.SeekFiled(prefix); ok && strings.HasPrefix(key, prefix); key, ok = notes.SeekFiled(key + "\x00") {
		ns, err := notes.Filed(key)
		if err != nil {
			return err
		}
		if err := each(key, ns); err != nil {
			return err
		}
	}
	return nil
}

func (o *overlay) loadCorrections() error {
	return filed(o.notes, fileCorrection, func(_ string, ns []*Note) error {
		for _, n := range ns {
			if n.State != catalog.NoteConfirmed {
				continue
			}
			c := n.Current().Correction
			t := c.TableOf()
			group, ok := c.Group()
			if !ok {
				continue // of a table that this program does not have
			}
			if o.fixes[t.Name] == nil {
				o.fixes[t.Name] = map[string][]*Note{}
			}
			o.fixes[t.Name][group] = append(o.fixes[t.Name][group], n)
			col := t.Column(c.Column)
			if col == nil || !col.Reverse {
				continue
			}
			if applies, _, err := Stands(o.base, c); err != nil || applies != catalog.CorrectionHolds {
				if err != nil {
					return err
				}
				continue
			}
			at := t.Name + "." + col.Name
			if o.moved[at] == nil {
				o.moved[at] = map[string][]string{}
			}
			cell := catalog.KeyPart(col.Kind, c.After)
			if !slices.Contains(o.moved[at][cell], group) {
				o.moved[at][cell] = append(o.moved[at][cell], group)
				slices.Sort(o.moved[at][cell])
			}
		}
		return nil
	})
}

// Stands tells what became of a correction in a catalogue, and what that says.
func Stands(cat Catalogue, c *catalog.Correction) (applies catalog.CorrectionApplies, now string, err error) {
	t := c.TableOf()
	group, ok := c.Group()
	if !ok || t.Column(c.Column) == nil {
		return catalog.CorrectionPassed, "", nil
	}
	rows, err := cat.Group(t, group)
	if err != nil {
		return "", "", err
	}
	key, _ := c.Key()
	for _, r := range rows {
		if string(t.RowKey(nil, r)) != key {
			continue
		}
		switch now := t.Column(c.Column).Get(r); now {
		case c.Before:
			return catalog.CorrectionHolds, now, nil
		case c.After:
			return catalog.CorrectionNow, now, nil
		default:
			return catalog.CorrectionPassed, now, nil
		}
	}
	return catalog.CorrectionPassed, "", nil
}

// Group gives the rows of a group as the notes leave them.
func (o *overlay) Group(t *catalog.Table, key string) ([]catalog.Row, error) {
	rows, err := o.base.Group(t, key)
	if err != nil {
		return nil, err
	}
	switch t {
	case o.tNotes:
		return o.notesOn(rows, key)
	case o.tNumbers:
		if len(rows) == 0 {
			return o.aliases(key)
		}
	}
	fixes := o.fixes[t.Name][key]
	if len(fixes) == 0 {
		return rows, nil
	}
	return o.corrected(t, rows, fixes), nil
}

func (o *overlay) Used() []*Note {
	o.mu.Lock()
	defer o.mu.Unlock()
	return slices.SortedFunc(maps.Values(o.used), func(a, b *Note) int { return strings.Compare(a.ID, b.ID) })
}

// corrected gives the rows with their corrections; rows that have none stay the
// same ones.
func (o *overlay) corrected(t *catalog.Table, rows []catalog.Row, fixes []*Note) []catalog.Row {
	out := slices.Clone(rows)
	for _, n := range fixes {
		c := n.Current().Correction
		key, _ := c.Key()
		col := t.Column(c.Column)
		if col == nil {
			continue
		}
		for i, r := range out {
			if string(t.RowKey(nil, r)) != key || col.Get(r) != c.Before {
				continue
			}
			fixed := t.Clone(r)
			if col.Set(fixed, c.After) == nil {
				out[i] = fixed
				o.mu.Lock()
				o.used[n.ID] = n
				o.mu.Unlock()
			}
		}
	}
	return out
}

func (o *overlay) notesOn(rows []catalog.Row, key string) ([]catalog.Row, error) {
	ns, err := o.notes.Filed(filePlace + key)
	if err != nil {
		return nil, err
	}
	if part, ok := strings.CutPrefix(key, partPlace); ok {
		of, err := o.notes.Filed(fileNumber + part)
		if err != nil {
			return nil, err
		}
		ns = append(slices.Clip(ns), of...)
	}
	if len(ns) == 0 {
		return rows, nil
	}
	out := slices.Clip(rows)
	for _, n := range ns {
		r := n.Row()
		if c := r.Shop.Correction; c != nil {
			if r.Shop.Applies, r.Shop.Now, err = Stands(o.base, c); err != nil {
				return nil, err
			}
		}
		out = append(out, r)
	}
	slices.SortStableFunc(out, func(a, b catalog.Row) int {
		return strings.Compare(string(o.tNotes.RowKey(nil, a)), string(o.tNotes.RowKey(nil, b)))
	})
	return out, nil
}

// aliases gives what notes say that a number stands for: what confirmed notes
// say where there are any, else what open ones say. Each part stands once.
func (o *overlay) aliases(key string) ([]catalog.Row, error) {
	ns, err := o.notes.Filed(fileAlias + key)
	if err != nil {
		return nil, err
	}
	var out []catalog.Row
	var state catalog.NoteState
	for _, s := range []catalog.NoteState{catalog.NoteConfirmed, catalog.NoteOpen} {
		for _, n := range ns {
			w := n.Current()
			if n.State != s || state != "" && state != s {
				continue
			}
			state = s
			if !slices.ContainsFunc(out, func(r catalog.Row) bool { return r.(*catalog.Number).Part.Key() == w.Part.Key() }) {
				out = append(out, &catalog.Number{Number: w.Of, Part: w.Part, User: "the shop", Source: "note " + n.ID, By: n.Row()})
			}
		}
	}
	return out, nil
}

// Seek gives the first group key that is not below from.
func (o *overlay) Seek(t *catalog.Table, from string) (string, bool, error) {
	key, ok, err := o.base.Seek(t, from)
	if err != nil {
		return "", false, err
	}
	least := func(k string, there bool) {
		if there && (!ok || k < key) {
			key, ok = k, true
		}
	}
	seek := func(prefix, from, place string) {
		if k, there := o.notes.SeekFiled(prefix + from); there && strings.HasPrefix(k, prefix) {
			least(place+k[len(prefix):], true)
		}
	}
	switch t {
	case o.tNotes:
		seek(filePlace, from, "")
		switch part, in := strings.CutPrefix(from, partPlace); {
		case in:
			seek(fileNumber, part, partPlace)
		case from < partPlace:
			seek(fileNumber, "", partPlace)
		}
	case o.tNumbers:
		seek(fileAlias, from, "")
	}
	return key, ok, nil
}

// partPlace begins the keys of the groups of notes on parts.
var partPlace = catalog.MakeKey(catalog.Fold(string(catalog.NoteOnPart)))

// Referring gives the groups with a row whose cell in the column has the key, as
// the notes leave them.
func (o *overlay) Referring(t *catalog.Table, column, key string, each func(group string) bool) error {
	added := slices.Clip(o.moved[t.Name+"."+column][key]) // appending must not touch what others read
	if t == o.tNumbers && column == "part" {
		// Aliases that are not confirmed are found by their number only.
		prefix := filePart + catalog.MakeKey(key)
		if err := filed(o.notes, prefix, func(k string, _ []*Note) error {
			added = append(added, k[len(prefix):])
			return nil
		}); err != nil {
			return err
		}
		added = slices.Compact(slices.Sorted(slices.Values(added)))
	}
	col := t.Column(column)
	fixed := o.fixes[t.Name]
	if len(added) == 0 && len(fixed) == 0 {
		return o.base.Referring(t, column, key, each)
	}
	var failed error
	stopped := false
	give := func(group string) bool {
		if stopped = !each(group); stopped {
			return false
		}
		return true
	}
	err := o.base.Referring(t, column, key, func(group string) bool {
		for len(added) > 0 && added[0] <= group {
			if added[0] < group && !give(added[0]) {
				return false
			}
			added = added[1:]
		}
		if fixes := fixed[group]; len(fixes) > 0 {
			// A correction can have taken the cell out of the group.
			rows, err := o.Group(t, group)
			if err != nil {
				failed = err
				return false
			}
			if !slices.ContainsFunc(rows, func(r catalog.Row) bool { return catalog.KeyPart(col.Kind, col.Get(r)) == key }) {
				return true
			}
		}
		return give(group)
	})
	if err != nil || failed != nil || stopped {
		if failed != nil {
			return failed
		}
		return err
	}
	for _, g := range added {
		if !each(g) {
			break
		}
	}
	return nil
}
