package shop

import (
	"errors"
	"fmt"
	"iter"
	"slices"
	"strings"

	"platewright/catalog"
)

// CorrectionName names the row that a correction speaks of, as the place of its
// note.
func CorrectionName(c *catalog.Correction) string { return c.Table + ": " + c.Name() }

// Correct makes the correction of a cell: the table, the row by the cells of its
// key with " / " between, the column and what it should say. was, if not nil, is
// what the catalogue is believed to say; another text there is refused.
func Correct(cat Catalogue, table, row, column string, was *string, after string) (*catalog.Correction, error) {
	t := catalog.TableByName(table)
	if t == nil {
		var known []string
		for _, t := range catalog.Tables() {
			known = append(known, t.Name)
		}
		return nil, unknown("table of the catalogue", table, known, "platewright catalog schema lists them")
	}
	switch t.Name {
	case catalog.TAssemblies, catalog.TLayouts, catalog.TFields, catalog.TNotes:
		// A note corrects one cell, and there one cell can break all of it.
		return nil, refuse("the table "+t.Name+" is checked as a whole", "correct it in the package that it comes from, and import that")
	}
	col := t.Column(column)
	if col == nil {
		var known []string
		for _, c := range t.Columns {
			known = append(known, c.Name)
		}
		return nil, unknown("column in the table "+table, column, known, "it has "+strings.Join(known, ", "))
	}
	if t.Name == catalog.TMarks && (column == "kind" || column == "force") || t.Name == catalog.TRoles && column == "kind" {
		return nil, refuse("other rows of the catalogue depend on the column "+column+" of "+table, "correct it in the package that it comes from, and import that")
	}
	if t.IsKey(slices.Index(t.Columns, col)) {
		return nil, refuse("the column "+column+" is part of the name of the row", "correct the row in the package that it comes from, and import that")
	}
	r, err := findRow(cat, t, row)
	if err != nil {
		return nil, err
	}
	c := &catalog.Correction{Table: table, Column: column, Before: col.Get(r), After: after}
	for _, k := range t.Key {
		c.Row = append(c.Row, t.Columns[k].Get(r))
	}
	if was != nil && *was != c.Before {
		return nil, refuse(fmt.Sprintf("the catalogue says %q there, not %q", c.Before, *was), "look at the row again")
	}
	return c, checkCorrected(cat, t, r, c)
}

// findRow finds a row by the cells of its key with " / " between.
func findRow(cat Catalogue, t *catalog.Table, text string) (catalog.Row, error) {
	cells := strings.Split(text, " / ")
	for len(cells) < len(t.Key) {
		cells = append(cells, "") // a name leaves empty cells out, which stand last in every table that has them
	}
	if len(cells) == len(t.Key) {
		c := &catalog.Correction{Table: t.Name, Row: cells}
		group, _ := c.Group()
		key, _ := c.Key()
		rows, err := cat.Group(t, group)
		if err != nil {
			return nil, err
		}
		for _, r := range rows {
			if string(t.RowKey(nil, r)) == key {
				return r, nil
			}
		}
	}
	var heads []string
	for _, k := range t.Key {
		heads = append(heads, t.Columns[k].Name)
	}
	return nil, &UnknownError{"row in the table " + t.Name, text, "name it by " + strings.Join(heads, " / ")}
}

// checkCorrected refuses a correction that would leave the row against the rules
// of the catalogue.
func checkCorrected(cat Catalogue, t *catalog.Table, r catalog.Row, c *catalog.Correction) error {
	if c.Before == c.After {
		return refuse(fmt.Sprintf("the catalogue says %q there already", c.After), "nothing needs to be corrected")
	}
	fixed := t.Clone(r)
	col := t.Column(c.Column)
	if err := col.Set(fixed, c.After); err != nil {
		return refuse("the correction cannot stand there: "+err.Error(), "write it as the catalogue would")
	}
	c.After = col.Get(fixed)
	var bad []catalog.Finding
	catalog.CheckRow(t, fixed, catalog.Place{}, func(f catalog.Finding) { bad = append(bad, f) })
	var failed error
	catalog.NewContext(func(table string) iter.Seq2[catalog.Row, catalog.Place] {
		return func(yield func(catalog.Row, catalog.Place) bool) {
			t := catalog.TableByName(table)
			key, ok, err := cat.Seek(t, "")
			for ; ok && err == nil; key, ok, err = cat.Seek(t, key+"\x00") {
				var rows []catalog.Row
				if rows, err = cat.Group(t, key); err != nil {
					break
				}
				for _, r := range rows {
					if !yield(r, catalog.Place{}) {
						return
					}
				}
			}
			failed = errors.Join(failed, err)
		}
	}).Check(fixed, catalog.Place{}, func(f catalog.Finding) { bad = append(bad, f) })
	if failed != nil {
		return failed
	}
	if len(bad) > 0 {
		return refuse("the row would be wrong: "+bad[0].What, bad[0].Mend)
	}
	for column, ref := range catalog.References(t, fixed) {
		if column != c.Column {
			continue
		}
		rows, err := cat.Group(catalog.TableByName(ref.Table), ref.Key)
		if err != nil {
			return err
		}
		if len(rows) == 0 {
			return refuse("nothing in the table "+ref.Table+" goes by the name "+ref.Text, "correct it, or add it to the catalogue first")
		}
	}
	return nil
}

// Ground finds what the note is about in the catalogue, and gives it the
// spelling that the catalogue has. What is not there is refused.
func (c *Content) Ground(cat Catalogue) error {
	find := func(table, name, what string) (catalog.Row, error) {
		t := catalog.TableByName(table)
		rows, err := cat.Group(t, catalog.MakeKey(catalog.Fold(name)))
		if err != nil || len(rows) > 0 {
			return first(rows), err
		}
		known, err := someNames(cat, t)
		if err != nil {
			return nil, err
		}
		return nil, unknown(what, name, known, "a note speaks of something in the catalogue; check the spelling")
	}
	part := func(name string) (catalog.PartNo, error) {
		t := catalog.TableByName(catalog.TParts)
		rows, err := cat.Group(t, catalog.MakeKey(catalog.Fold(name)))
		if err != nil {
			return "", err
		}
		if len(rows) > 0 {
			return rows[0].(*catalog.Part).Part, nil
		}
		numbers, err := cat.Group(catalog.TableByName(catalog.TNumbers), catalog.MakeKey(catalog.Fold(name)))
		if err != nil {
			return "", err
		}
		if len(numbers) == 1 && numbers[0].(*catalog.Number).By == nil {
			return numbers[0].(*catalog.Number).Part, nil
		}
		_, err = find(catalog.TParts, name, "part")
		return "", err
	}
	var err error
	switch c.On {
	case catalog.NoteOnPart:
		var p catalog.PartNo
		if p, err = part(c.Of); err == nil {
			c.Of = string(p)
		}
	case catalog.NoteOnVariant:
		var r catalog.Row
		if r, err = find(catalog.TVariants, c.Of, "variant"); err == nil {
			c.Of = string(r.(*catalog.Variant).Variant)
		}
	case catalog.NoteOnFamily:
		var r catalog.Row
		if r, err = find(catalog.TFamilies, c.Of, "family"); err == nil {
			c.Of = r.(*catalog.Family).Family
		}
	case catalog.NoteOnMark:
		var r catalog.Row
		if r, err = find(catalog.TMarks, c.Of, "mark"); err == nil {
			c.Of = r.(*catalog.Mark).Mark
		}
	case catalog.NoteOnWork:
		var r catalog.Row
		if r, err = find(catalog.TWork, c.Of, "scope of work"); err == nil {
			c.Of = r.(*catalog.WorkScope).Work
		}
	}
	if err != nil {
		return err
	}
	if c.Kind == catalog.NoteAlias {
		if c.Part, err = part(string(c.Part)); err != nil {
			return err
		}
		return c.groundAlias(cat)
	}
	if c.On == catalog.NoteOnNumber && c.Part == "" {
		parts, err := partsOf(cat, c.Of)
		if err != nil {
			return err
		}
		if len(parts) == 1 {
			c.Part = parts[0]
		}
	}
	if c.Family != "" {
		r, err := find(catalog.TFamilies, c.Family, "family")
		if err != nil {
			return err
		}
		c.Family = r.(*catalog.Family).Family
	}
	if c.Variant != "" {
		r, err := find(catalog.TVariants, string(c.Variant), "variant")
		if err != nil {
			return err
		}
		c.Variant = r.(*catalog.Variant).Variant
	}
	return nil
}

// groundAlias refuses an alias for a number of which the catalogue itself says
// what it is.
func (c *Content) groundAlias(cat Catalogue) error {
	key := catalog.MakeKey(catalog.Fold(c.Of))
	rows, err := cat.Group(catalog.TableByName(catalog.TParts), key)
	if err != nil {
		return err
	}
	if len(rows) > 0 {
		return refuse(c.Of+" is itself the number of a part of the catalogue", "where two parts serve for each other, the catalogue says so by a supersession")
	}
	rows, err = cat.Group(catalog.TableByName(catalog.TNumbers), key)
	if err != nil {
		return err
	}
	for _, r := range rows {
		switch n := r.(*catalog.Number); {
		case n.By != nil:
		case n.Part.Key() == c.Part.Key():
			return refuse("the catalogue says already that "+c.Of+" is "+string(n.Part), "nothing needs to be noted")
		default:
			return refuse("the catalogue says that "+c.Of+" is "+string(n.Part), "if that is wrong, correct it: platewright note add correction --on numbers='"+n.Number+"' --cell part='"+string(c.Part)+"'")
		}
	}
	return nil
}

// partsOf gives the parts that go by a number: a number of the catalogue, or a
// supplier's stock number.
func partsOf(cat Catalogue, number string) ([]catalog.PartNo, error) {
	var out []catalog.PartNo
	add := func(p catalog.PartNo) {
		if !slices.ContainsFunc(out, func(q catalog.PartNo) bool { return q.Key() == p.Key() }) {
			out = append(out, p)
		}
	}
	key := catalog.Fold(number)
	rows, err := cat.Group(catalog.TableByName(catalog.TNumbers), catalog.MakeKey(key))
	if err != nil {
		return nil, err
	}
	for _, r := range rows {
		add(r.(*catalog.Number).Part)
	}
	offers := catalog.TableByName(catalog.TOffers)
	group, ok, err := cat.Seek(offers, "")
	for ; ok && err == nil; group, ok, err = cat.Seek(offers, group+"\x00") {
		list, err := cat.Group(offers, group)
		if err != nil {
			return nil, err
		}
		for _, x := range list {
			if o := x.(*catalog.Offer); catalog.Fold(o.Stock) == key {
				add(o.Part)
			}
		}
	}
	return out, err
}

func first(rows []catalog.Row) catalog.Row {
	if len(rows) == 0 {
		return nil
	}
	return rows[0]
}

// someNames gives names of a table to guess from, not more than can be looked
// through in a moment.
func someNames(cat Catalogue, t *catalog.Table) ([]string, error) {
	var out []string
	key, ok, err := cat.Seek(t, "")
	for ; ok && err == nil && len(out) < 2000; key, ok, err = cat.Seek(t, key+"\x00") {
		rows, err := cat.Group(t, key)
		if err != nil {
			return nil, err
		}
		for _, r := range rows {
			out = append(out, t.Columns[t.Key[0]].Get(r))
		}
	}
	return out, err
}

func unknown(what, name string, known []string, mend string) error {
	if near := catalog.Nearest(name, known); near != "" {
		mend = fmt.Sprintf("did you mean %q?", near)
	}
	return &UnknownError{what, name, mend}
}
