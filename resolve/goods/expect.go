package goods

import (
	"slices"

	"platewright/catalog"
	"platewright/resolve"
)

// ExpectKind is what a thing to look at is.
type ExpectKind string

const (
	ExpectLook      ExpectKind = "look"      // what it looks like out of the box
	ExpectRemark    ExpectKind = "remark"    // what the catalogue remarks on it
	ExpectReplaces  ExpectKind = "replaces"  // it came in the place of another number, and so differs from what came out of the unit
	ExpectExchange  ExpectKind = "exchange"  // another number that serves for it and is served by it
	ExpectPiece     ExpectKind = "piece"     // one of several that replace a number together
	ExpectCompanion ExpectKind = "companion" // it comes along with another
	ExpectNote      ExpectKind = "note"      // a note of the shop
	ExpectCaution   ExpectKind = "caution"   // a warning of harm
	ExpectNot       ExpectKind = "not"       // what is easily taken for it, and is not it
)

// Expect is something to look at, or to know before looking.
type Expect struct {
	Kind    ExpectKind          `json:"kind"`
	Text    string              `json:"text,omitempty"`
	Part    catalog.PartNo      `json:"part,omitempty"`
	Other   catalog.PartNo      `json:"other,omitempty"`
	Name    string              `json:"name,omitempty"`    // of the other part
	Since   string              `json:"since,omitempty"`   // ISO 8601
	Variant catalog.VariantCode `json:"variant,omitempty"` // of not: the look-alike that takes the other part
	State   catalog.NoteState   `json:"state,omitempty"`   // of a note
	Defer   string              `json:"defer,omitempty"`   // of a caution
	Source  string              `json:"source,omitempty"`
}

// decide asks about the unit once.
func (d *Desk) decide() (*resolve.Decision, error) {
	if d.decision != nil || d.question == nil {
		return d.decision, nil
	}
	q := *d.question
	q.Part = ""
	dec, err := d.resolver.Decide(q, resolve.Options{NoNextCheck: true, NoFigures: true, NoNear: true})
	if err != nil {
		return nil, err
	}
	d.decision = dec
	return dec, nil
}

// expect gives what is to be seen on a part of a line, 0 for none.
func (d *Desk) expect(part catalog.PartNo, line int) ([]Expect, error) {
	out := []Expect{}
	key := part.Key()
	p, err := d.part(key)
	if err != nil {
		return nil, err
	}
	l := d.order.line(line)
	look, source := "", ""
	if p != nil {
		look, source = p.Look, p.Source
	}
	if look == "" && l != nil && l.Part.Key() == key {
		look = l.Look
	}
	if look != "" {
		out = append(out, Expect{Kind: ExpectLook, Text: look, Part: part, Source: source})
	}
	if p != nil && p.Note != "" {
		out = append(out, Expect{Kind: ExpectRemark, Text: p.Note, Part: part, Source: source})
	}
	add := func(e Expect) {
		if !slices.ContainsFunc(out, func(o Expect) bool {
			return o.Kind == e.Kind && o.Part == e.Part && o.Other == e.Other && o.Text == e.Text
		}) {
			out = append(out, e)
		}
	}
	named := func(e Expect) error {
		other, err := d.part(e.Other.Key())
		if err == nil && other != nil {
			e.Name = other.Name
			if e.Kind == ExpectNot {
				e.Text = other.Look
			}
		}
		add(e)
		return err
	}
	// What arrives in the place of what was ordered differs by the rows between.
	if l != nil && l.Part.Key() != key {
		way, err := d.leads(l.Part, part)
		if err != nil {
			return nil, err
		}
		if way != nil {
			for _, s := range way.rows {
				if err := named(replaced(s, way.kindOf(s))); err != nil {
					return nil, err
				}
			}
		}
	}
	dec, err := d.decide()
	if err != nil {
		return nil, err
	}
	if dec != nil {
		for _, r := range trails(dec, key) {
			e := Expect{Part: r.Part, Other: r.Other, Text: r.Note, Since: r.Since, Source: r.Source}
			switch r.Code {
			case resolve.ReasonReplaced:
				// The reason reads from old to new.
				e.Kind, e.Part, e.Other = ExpectReplaces, r.Other, r.Part
			case resolve.ReasonInterchange:
				e.Kind = ExpectExchange
			case resolve.ReasonSplit:
				e.Kind, e.Part, e.Other = ExpectPiece, r.Other, r.Part
			case resolve.ReasonCompanion:
				if r.Part.Key() != key {
					continue
				}
				e.Kind = ExpectCompanion
			default:
				continue
			}
			if err := named(e); err != nil {
				return nil, err
			}
		}
		nots := 0
		for _, x := range dec.LookAlikes {
			for _, r := range x.Roles {
				is := func(o catalog.PartNo) bool { return o.Key() == key }
				this := taken(r.This)
				if !slices.ContainsFunc(this, is) {
					continue
				}
				for _, o := range taken(r.Other) {
					if nots < mostNots && !is(o) && !slices.ContainsFunc(this, func(t catalog.PartNo) bool { return t.Key() == o.Key() }) {
						if err := named(Expect{Kind: ExpectNot, Part: part, Other: o, Variant: x.Variant}); err != nil {
							return nil, err
						}
						nots = ofKind(out, ExpectNot)
					}
				}
			}
		}
	}
	notes, err := group[catalog.Note](d.reader, catalog.TNotes, catalog.Fold(string(catalog.NoteOnPart)), key)
	if err != nil {
		return nil, err
	}
	for _, n := range notes {
		if n.State == catalog.NoteWithdrawn || n.Kind == catalog.NoteAlias || n.Kind == catalog.NoteFitted {
			continue
		}
		add(Expect{Kind: ExpectNote, Text: n.Text, Part: part, State: n.State})
	}
	links, err := group[catalog.CautionLink](d.reader, catalog.TCautionLinks, catalog.Fold(string(catalog.OnPart)), key)
	if err != nil {
		return nil, err
	}
	for _, k := range links {
		cs, err := group[catalog.Caution](d.reader, catalog.TCautions, catalog.Fold(k.Caution))
		if err != nil {
			return nil, err
		}
		for _, c := range cs {
			add(Expect{Kind: ExpectCaution, Text: c.Text, Defer: c.Defer, Part: part, Source: c.Source})
		}
	}
	return out, nil
}

// mostNots is how many parts are named that are easily taken for one: more would
// not be read.
const mostNots = 3

func ofKind(es []Expect, k ExpectKind) int {
	n := 0
	for _, e := range es {
		if e.Kind == k {
			n++
		}
	}
	return n
}

// taken gives the parts of all that a variant can take in a role.
func taken(t resolve.Takes) []catalog.PartNo {
	var out []catalog.PartNo
	for _, w := range t.Ways {
		for _, it := range w.Items {
			out = append(out, it.Part)
		}
	}
	return out
}

func replaced(s *catalog.Supersession, back bool) Expect {
	e := Expect{Kind: ExpectReplaces, Part: s.New, Other: s.Old, Text: s.Note, Since: s.Since.String(), Source: s.Source}
	if s.Kind == catalog.TwoWay {
		e.Kind = ExpectExchange
		if back {
			e.Part, e.Other = s.Old, s.New
		}
	}
	return e
}

// trails gives the reasons by which a decision comes to a part, of every choice
// that holds it.
func trails(dec *resolve.Decision, key string) []resolve.Reason {
	var out []resolve.Reason
	is := func(it resolve.Item) bool { return it.Part.Key() == key }
	lines := func(ls []resolve.Line) {
		for i := range ls {
			for j := range ls[i].Choices {
				c := &ls[i].Choices[j]
				item, companion := slices.ContainsFunc(c.Items, is), slices.ContainsFunc(c.Companions, is)
				for _, r := range c.Trail {
					if item && r.Code != resolve.ReasonCompanion || companion && r.Code == resolve.ReasonCompanion {
						out = append(out, r)
					}
				}
			}
		}
	}
	for i := range dec.Roles {
		lines(dec.Roles[i].Lines)
		for j := range dec.Roles[i].Groups {
			lines(dec.Roles[i].Groups[j].Lines)
		}
	}
	return out
}

// way leads from one number to another that serves for it.
type way struct {
	path []string // keys of the parts before the last
	rows []*catalog.Supersession
	back []bool // the row was gone from new to old
	per  int    // pieces of the last for one of the first
}

func (w *way) kindOf(s *catalog.Supersession) (back bool) {
	return w.back[slices.Index(w.rows, s)]
}

// mostSteps bounds how far replacements are followed.
const mostSteps = 32

// leads follows replacements from a part to another that serves for it alone, by
// the shortest way; nil if there is none.
func (d *Desk) leads(from, to catalog.PartNo) (*way, error) {
	type at struct {
		key string
		way way
	}
	seen := map[string]bool{from.Key(): true}
	list := []at{{key: from.Key(), way: way{per: 1}}}
	for i := 0; i < len(list) && len(list[i].way.rows) < mostSteps; i++ {
		a := list[i]
		rows, err := group[catalog.Supersession](d.reader, catalog.TSupersessions, a.key)
		if err != nil {
			return nil, err
		}
		olds, err := d.referring(catalog.TSupersessions, "new", a.key)
		if err != nil {
			return nil, err
		}
		step := func(s *catalog.Supersession, back bool, next string, per int) {
			if seen[next] {
				return
			}
			seen[next] = true
			w := way{path: append(slices.Clone(a.way.path), a.key), rows: append(slices.Clone(a.way.rows), s), back: append(slices.Clone(a.way.back), back), per: a.way.per * max(per, 1)}
			list = append(list, at{next, w})
		}
		for _, s := range rows {
			if s.Kind != catalog.Split {
				step(s, false, s.New.Key(), s.Qty)
			}
		}
		for _, o := range olds {
			rows, err := group[catalog.Supersession](d.reader, catalog.TSupersessions, o)
			if err != nil {
				return nil, err
			}
			for _, s := range rows {
				// Only where one stands for one does the old one serve in its number.
				if s.Kind == catalog.TwoWay && s.New.Key() == a.key && s.Qty == 1 {
					step(s, true, s.Old.Key(), 1)
				}
			}
		}
		for j := range list {
			if list[j].key == to.Key() && j > 0 {
				return &list[j].way, nil
			}
		}
	}
	return nil, nil
}
