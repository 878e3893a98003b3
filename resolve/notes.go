package resolve

import (
	"slices"
	"strings"

	"platewright/catalog"
)

// This file holds what notes of the shop's own do beyond the notes of a
// catalogue: numbers that stand for a part by an alias, notes on plates of a
// pattern, corrections of rows. They reach the resolver through the catalogue
// itself, as rows of its tables.

func showNote(n *catalog.Note) Note {
	out := Note{On: n.On, Of: n.Of, Note: n.Note, Kind: n.Kind, State: n.State, Text: n.Text, Author: n.Author, Dated: n.Dated.String(), Evidence: n.Evidence, Family: n.Family}
	if s := n.Shop; s != nil {
		out.ShopNote = &ShopNote{Variant: s.Variant, Part: s.Part, Correction: s.Correction, Applies: s.Applies, Now: s.Now, Unsettled: s.Unsettled}
	}
	return out
}

// candidate tells whether the variant is a candidate of any assembly.
func (d *decider) candidate(key string) bool {
	for _, as := range d.assemblies {
		if slices.ContainsFunc(as.cands, func(v *variant) bool { return v.key == key }) {
			return true
		}
	}
	return false
}

// byAlias says that the part asked for goes by its number because of a note.
// While that is open, nothing is ordered by the number.
func (d *decider) byAlias(ans *PartAnswer, alias *catalog.Number) {
	r := Reason{Code: ReasonGoesBy, Table: catalog.TNotes, Row: alias.Number + " / " + alias.By.Note, Source: alias.Source, Value: d.q.Part, Part: alias.Part, Note: alias.By.Text}
	ans.Reasons = append(ans.Reasons, r)
	if alias.By.State != catalog.NoteConfirmed {
		r.Code = ReasonAliasOpen
		ans.Against = append(ans.Against, r)
	}
}

// unclearAlias tells whether notes differ about what the number asked for stands
// for, and lists what they say.
func (d *decider) unclearAlias(ans *PartAnswer) (bool, error) {
	key := catalog.Fold(d.q.Part)
	ns, err := group[catalog.Number](d.r.cat, catalog.TableByName(catalog.TNumbers), catalog.MakeKey(key))
	if err != nil || len(ns) < 2 {
		return false, err
	}
	for _, n := range ns {
		r := Reason{Code: ReasonAliasOpen, Source: n.Source, Value: d.q.Part, Part: n.Part}
		if n.By != nil {
			r.Table, r.Row, r.Note = catalog.TNotes, n.Number+" / "+n.By.Note, n.By.Text
		}
		ans.Reasons = append(ans.Reasons, r)
	}
	notes, err := d.notesOn(catalog.NoteOnNumber, key)
	for _, n := range notes {
		ans.Notes = append(ans.Notes, showNote(n))
	}
	return true, err
}

// placed gives the notes on everything of one sort, of which there are few.
func (r *reader) placed(on catalog.NoteOn) ([]*catalog.Note, error) {
	if ns, ok := r.placedNotes[on]; ok {
		return ns, nil
	}
	t, prefix := catalog.TableByName(catalog.TNotes), catalog.MakeKey(catalog.Fold(string(on)))
	var out []*catalog.Note
	key, ok, err := r.cat.Seek(t, prefix)
	for ; ok && err == nil && strings.HasPrefix(key, prefix); key, ok, err = r.cat.Seek(t, key+"\x00") {
		ns, err := group[catalog.Note](r.cat, t, key)
		if err != nil {
			return nil, err
		}
		out = append(out, ns...)
	}
	if err != nil {
		return nil, err
	}
	if r.placedNotes == nil {
		r.placedNotes = map[catalog.NoteOn][]*catalog.Note{}
	}
	r.placedNotes[on] = out
	return out, nil
}

// shopNotes lists the notes on plates like the one that was read, and the
// corrections of rows that the answer can rest on.
func (d *decider) shopNotes() error {
	ns, err := d.r.placed(catalog.NoteOnPlate)
	if err != nil {
		return err
	}
	for _, n := range ns {
		if n.State == catalog.NoteWithdrawn || !d.concerns(n) {
			continue
		}
		if slices.ContainsFunc(d.dec.Reading, func(r Reading) bool { return canBe(catalog.Fold(n.Of), catalog.Fold(r.Text)) }) {
			d.dec.Notes = append(d.dec.Notes, showNote(n))
		}
	}
	if ns, err = d.r.placed(catalog.NoteOnRow); err != nil || len(ns) == 0 {
		return err
	}
	named := d.named()
	for _, n := range ns {
		if n.State == catalog.NoteWithdrawn || n.Shop == nil || n.Shop.Correction == nil {
			continue
		}
		roles, concerns, err := d.corrects(n.Shop.Correction, named)
		if err != nil {
			return err
		}
		if !concerns {
			continue
		}
		d.dec.Notes = append(d.dec.Notes, showNote(n))
		if n.State != catalog.NoteConfirmed || n.Shop.Applies != catalog.CorrectionHolds {
			continue
		}
		c := n.Shop.Correction
		reason := Reason{Code: ReasonCorrected, Table: c.Table, Row: c.Name(), Source: "note " + n.Note, Column: c.Column, Value: c.After, Shows: []string{c.Before}, Note: n.Text}
		for i := range d.dec.Roles {
			ans := &d.dec.Roles[i]
			if roles[catalog.Fold(ans.Role)] || restsOn(ans, c.Table, c.Name()) {
				ans.Reasons = append(slices.Clip(ans.Reasons), reason)
			}
		}
	}
	return nil
}

// canBe tells whether what a reading leaves open can be so that it has the
// pattern, in which ? is any character and * any number of them. Both are folded.
func canBe(pattern, text string) bool {
	type sign struct {
		any, run bool
		of       string
	}
	signs := func(s string, run bool) []sign {
		var out []sign
		for i := 0; i < len(s); i++ {
			switch {
			case s[i] == '?':
				out = append(out, sign{any: true})
			case s[i] == '*' && run:
				out = append(out, sign{run: true})
			case s[i] == '[' && !run && strings.IndexByte(s[i:], ']') > 0:
				end := i + strings.IndexByte(s[i:], ']')
				out = append(out, sign{of: s[i+1 : end]})
				i = end
			default:
				out = append(out, sign{of: s[i : i+1]})
			}
		}
		return out
	}
	p, t := signs(pattern, true), signs(text, false)
	// can[j] tells whether the signs of the pattern so far can end before t[j].
	can := make([]bool, len(t)+1)
	can[0] = true
	for _, x := range p {
		next := make([]bool, len(t)+1)
		for j := range next {
			switch {
			case x.run:
				next[j] = can[j] || j > 0 && next[j-1]
			case j > 0 && can[j-1]:
				next[j] = x.any || t[j-1].any || strings.Contains(t[j-1].of, x.of)
			}
		}
		can = next
	}
	return can[len(t)]
}

// named gives what the answer speaks of, by table and key.
func (d *decider) named() map[string]bool {
	out := map[string]bool{}
	put := func(table, key string) {
		if key != "" {
			out[table+" "+key] = true
		}
	}
	variant := func(v catalog.VariantCode) { put(catalog.TVariants, v.Key()) }
	part := func(p catalog.PartNo) { put(catalog.TParts, p.Key()) }
	reasons := func(rs []Reason) {
		for _, r := range rs {
			variant(r.Variant)
			part(r.Part)
			part(r.Other)
			put(catalog.TSpecs, catalog.Fold(r.Spec))
			put(catalog.TSpecs, catalog.Fold(r.OtherSpec))
		}
	}
	lines := func(ls []Line) {
		for _, l := range ls {
			for _, c := range l.Choices {
				part(c.Stated)
				for _, it := range c.Items {
					part(it.Part)
				}
				for _, it := range c.Companions {
					part(it.Part)
				}
				reasons(c.Trail)
			}
		}
	}
	for _, as := range d.assemblies {
		put(catalog.TAssemblies, as.key)
		for _, v := range as.cands {
			put(catalog.TVariants, v.key)
		}
	}
	for f := range d.families {
		put(catalog.TFamilies, f)
	}
	for _, as := range d.dec.Assemblies {
		reasons(as.Excluded)
	}
	for _, r := range d.dec.Reading {
		for _, m := range r.Matches {
			put(catalog.TLayouts, catalog.Fold(m.Layout))
		}
	}
	for _, r := range d.dec.Roles {
		reasons(r.Reasons)
		lines(r.Lines)
		for _, g := range r.Groups {
			lines(g.Lines)
		}
	}
	for _, l := range d.dec.LookAlikes {
		variant(l.Variant)
	}
	if p := d.dec.Part; p != nil {
		part(p.Part)
		for _, r := range p.Roles {
			reasons(r.Trail)
			lines(r.Instead)
			lines([]Line{{Choices: r.Take}})
		}
	}
	for _, o := range d.seen {
		put(catalog.TMarks, catalog.Fold(o.mark.Mark))
	}
	if n := d.dec.NextCheck; n != nil {
		put(catalog.TMarks, catalog.Fold(n.Mark))
	}
	for _, w := range d.work {
		put(catalog.TWork, catalog.Fold(w.Work))
	}
	for i := range d.asked {
		put(catalog.TRoles, d.asked[i].role.key)
	}
	return out
}

// corrects tells whether the answer can rest on the row that a correction speaks
// of, and gives the keys of the roles of which the row speaks. It rather names a
// row too many than one too few: who reads the answer has to know.
func (d *decider) corrects(c *catalog.Correction, named map[string]bool) (roles map[string]bool, concerns bool, err error) {
	t := c.TableOf()
	group, ok := c.Group()
	if !ok {
		return nil, false, nil
	}
	rows, err := d.r.cat.Group(t, group)
	if err != nil {
		return nil, false, err
	}
	key, _ := c.Key()
	i := slices.IndexFunc(rows, func(r catalog.Row) bool { return string(t.RowKey(nil, r)) == key })
	if i < 0 {
		return nil, false, nil // the row is gone, so nothing rests on it
	}
	row := rows[i]
	is := func(table, text string) bool { return named[table+" "+catalog.Fold(text)] }
	if col := t.Column("role"); col != nil {
		roles = map[string]bool{catalog.Fold(col.Get(row)): true}
		if c.Column == col.Name {
			roles[catalog.Fold(c.Before)], roles[catalog.Fold(c.After)] = true, true
		}
		asked := false
		for r := range roles {
			asked = asked || r == "" || is(catalog.TRoles, r)
		}
		if p := d.dec.Part; !asked && p != nil {
			asked = slices.ContainsFunc(p.Roles, func(r PartRole) bool { return roles[catalog.Fold(r.Role)] })
		}
		if !asked {
			return nil, false, nil
		}
	}
	if v, ok := row.(*catalog.Variant); ok {
		return roles, is(catalog.TVariants, string(v.Variant)) || is(catalog.TFamilies, v.Family), nil
	}
	if len(t.Key) == 1 && named[t.Name+" "+strings.TrimSuffix(key, string(catalog.KeySep))] {
		return roles, true, nil
	}
	for column, ref := range catalog.References(t, row) {
		switch j := slices.IndexFunc(t.Columns, func(c *catalog.Column) bool { return c.Name == column }); {
		case !t.IsKey(j) || ref.Table == catalog.TRoles || ref.Table == catalog.TSources:
		case ref.Table == catalog.TMarks && t.Columns[j].Kind == catalog.KindTarget:
			return roles, true, nil // of everything that shows a value, whatever that is
		case ref.Table == catalog.TMarks && t.Name == catalog.TShows:
		case named[ref.Table+" "+strings.TrimSuffix(ref.Key, string(catalog.KeySep))]:
			return roles, true, nil
		}
	}
	return roles, false, nil
}

// restsOn tells whether a role's answer was reached by a row.
func restsOn(ans *RoleAnswer, table, row string) bool {
	uses := func(rs []Reason) bool {
		return slices.ContainsFunc(rs, func(r Reason) bool { return r.Table == table && r.Row == row })
	}
	in := func(ls []Line) bool {
		for _, l := range ls {
			if slices.ContainsFunc(l.Choices, func(c Choice) bool { return uses(c.Trail) }) {
				return true
			}
		}
		return false
	}
	return uses(ans.Reasons) || in(ans.Lines) || slices.ContainsFunc(ans.Groups, func(g Group) bool { return in(g.Lines) })
}
