package shop

import (
	"cmp"
	"slices"
	"time"

	"platewright/catalog"
)

// Concern is why a note wants looking at again.
type Concern string

// The reasons for which a note is reviewed.
const (
	ConcernConflict    Concern = "edited-twice"        // it was edited in two ways
	ConcernContradicts Concern = "contradicts"         // another note says otherwise
	ConcernCatalogue   Concern = "against-catalogue"   // the catalogue says otherwise
	ConcernGone        Concern = "gone"                // what it speaks of is not in the catalogue
	ConcernNow         Concern = "now-in-catalogue"    // the catalogue says it by now
	ConcernPassed      Concern = "no-longer-applies"   // the row that it corrects says something else by now
	ConcernSuperseded  Concern = "superseded"          // an alias of a number that has been replaced
	ConcernElsewhere   Concern = "withdrawn-elsewhere" // another shop has withdrawn it
	ConcernOpen        Concern = "long-open"           // nobody has confirmed it for long
	ConcernNotMet      Concern = "not-met-again"       // a caution that nobody has met for long
)

// Reviewed is a note with the reason for which it is to be looked at.
type Reviewed struct {
	Note    *Note          `json:"note"`
	Concern Concern        `json:"concern"`
	Other   string         `json:"other,omitempty"` // of contradicts: the other note
	Part    catalog.PartNo `json:"part,omitempty"`  // of superseded: the number that replaces it; of against-catalogue: what the number stands for
	Now     string         `json:"now,omitempty"`   // of no-longer-applies: what the catalogue says
	Source  string         `json:"source,omitempty"`
	Since   string         `json:"since,omitempty"` // of long-open and not-met-again
	Settle  string         `json:"settle"`          // the command that settles it
}

// ReviewOptions say for how long a note may be open, and a caution not met.
type ReviewOptions struct {
	Open time.Duration
	Met  time.Duration
}

const command = "platewright note "

// Review gives every note that is to be looked at again, with the command that
// settles it: by concern, and by name within.
func Review(cat Catalogue, all []*Note, o ReviewOptions, now time.Time) ([]Reviewed, error) {
	out := []Reviewed{}
	byPlace := map[string][]*Note{}
	for _, n := range all {
		if n.State == catalog.NoteWithdrawn {
			continue
		}
		w := n.Current()
		put := func(c Concern, r Reviewed) {
			r.Note, r.Concern = n, c
			out = append(out, r)
		}
		if len(n.Rivals) > 0 {
			put(ConcernConflict, Reviewed{Settle: command + "settle " + n.ID})
		}
		for _, e := range n.Elsewhere {
			if e.State == catalog.NoteWithdrawn {
				put(ConcernElsewhere, Reviewed{Source: e.Source, Settle: command + "withdraw " + n.ID})
			}
		}
		if n.State == catalog.NoteOpen && n.Met <= day(now.Add(-o.Open)) {
			put(ConcernOpen, Reviewed{Since: n.Met, Settle: command + "confirm " + n.ID})
		}
		if w.Kind == catalog.NoteCaution && n.State == catalog.NoteConfirmed && n.Met <= day(now.Add(-o.Met)) {
			put(ConcernNotMet, Reviewed{Since: n.Met, Settle: command + "confirm " + n.ID})
		}
		if err := besideCatalogue(cat, w, n.ID, put); err != nil {
			return nil, err
		}
		for _, other := range byPlace[placeKey(w.On, w.Of)] {
			if contradict(&w.Content, &other.Current().Content) {
				put(ConcernContradicts, Reviewed{Other: other.ID, Settle: command + "withdraw " + n.ID})
			}
		}
		byPlace[placeKey(w.On, w.Of)] = append(byPlace[placeKey(w.On, w.Of)], n)
	}
	order := []Concern{ConcernConflict, ConcernContradicts, ConcernCatalogue, ConcernGone, ConcernNow, ConcernPassed, ConcernSuperseded, ConcernElsewhere, ConcernOpen, ConcernNotMet}
	slices.SortStableFunc(out, func(a, b Reviewed) int {
		return cmp.Or(cmp.Compare(slices.Index(order, a.Concern), slices.Index(order, b.Concern)), cmp.Compare(a.Note.ID, b.Note.ID))
	})
	return out, nil
}

// besideCatalogue holds a note to the catalogue at hand.
func besideCatalogue(cat Catalogue, w *Wording, id string, put func(Concern, Reviewed)) error {
	if w.Kind == catalog.NoteCorrection {
		applies, now, err := Stands(cat, w.Correction)
		switch {
		case err != nil:
			return err
		case applies == catalog.CorrectionNow:
			put(ConcernNow, Reviewed{Settle: command + "withdraw " + id})
		case applies == catalog.CorrectionPassed:
			put(ConcernPassed, Reviewed{Now: now, Settle: command + "withdraw " + id})
		}
		return nil
	}
	there := func(table, name string) (bool, error) {
		rows, err := cat.Group(catalog.TableByName(table), catalog.MakeKey(catalog.Fold(name)))
		return len(rows) > 0, err
	}
	type place struct{ table, name string }
	var places []place
	switch w.On {
	case catalog.NoteOnPart:
		places = append(places, place{catalog.TParts, w.Of})
	case catalog.NoteOnVariant:
		places = append(places, place{catalog.TVariants, w.Of})
	case catalog.NoteOnFamily:
		places = append(places, place{catalog.TFamilies, w.Of})
	case catalog.NoteOnMark:
		places = append(places, place{catalog.TMarks, w.Of})
	case catalog.NoteOnWork:
		places = append(places, place{catalog.TWork, w.Of})
	case catalog.NoteOnNumber:
		if w.Part != "" {
			places = append(places, place{catalog.TParts, string(w.Part)})
		}
	}
	if w.Family != "" {
		places = append(places, place{catalog.TFamilies, w.Family})
	}
	if w.Variant != "" {
		places = append(places, place{catalog.TVariants, string(w.Variant)})
	}
	for _, p := range places {
		ok, err := there(p.table, p.name)
		if err != nil {
			return err
		}
		if !ok {
			put(ConcernGone, Reviewed{Settle: command + "withdraw " + id})
			return nil
		}
	}
	if w.Kind != catalog.NoteAlias {
		return nil
	}
	key := catalog.MakeKey(catalog.Fold(w.Of))
	if rows, err := cat.Group(catalog.TableByName(catalog.TParts), key); err != nil || len(rows) > 0 {
		if err == nil {
			put(ConcernCatalogue, Reviewed{Part: rows[0].(*catalog.Part).Part, Settle: command + "withdraw " + id})
		}
		return err
	}
	rows, err := cat.Group(catalog.TableByName(catalog.TNumbers), key)
	if err != nil {
		return err
	}
	if len(rows) > 0 { // a number stands for one part
		if n := rows[0].(*catalog.Number); n.Part.Key() == w.Part.Key() {
			put(ConcernNow, Reviewed{Settle: command + "withdraw " + id})
		} else {
			put(ConcernCatalogue, Reviewed{Part: n.Part, Settle: command + "withdraw " + id})
		}
		return nil
	}
	rows, err = cat.Group(catalog.TableByName(catalog.TSupersessions), catalog.MakeKey(w.Part.Key()))
	if err != nil {
		return err
	}
	for _, r := range rows {
		if s := r.(*catalog.Supersession); s.Kind != catalog.TwoWay {
			put(ConcernSuperseded, Reviewed{Part: s.New, Settle: command + "edit " + id + " --is '" + string(s.New) + "'"})
			return nil
		}
	}
	return nil
}

// contradict tells whether two notes on one thing cannot both hold.
func contradict(a, b *Content) bool {
	switch {
	case a.Kind == catalog.NoteAlias && b.Kind == catalog.NoteAlias:
		return a.Part.Key() != b.Part.Key()
	case a.Kind == catalog.NoteCorrection && b.Kind == catalog.NoteCorrection:
		return a.Correction.Column == b.Correction.Column && a.Correction.After != b.Correction.After
	case a.Kind == catalog.NoteFitted && b.Kind == catalog.NoteDidNotFit, a.Kind == catalog.NoteDidNotFit && b.Kind == catalog.NoteFitted:
		same := func(x, y string) bool { return x == "" || y == "" || catalog.Fold(x) == catalog.Fold(y) }
		return same(a.Family, b.Family) && same(string(a.Variant), string(b.Variant))
	}
	return false
}
