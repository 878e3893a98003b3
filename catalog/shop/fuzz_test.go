package shop

import (
	"strings"
	"testing"

	"platewright/catalog"
)

// Whatever the cells of a package hold, its notes are taken in or refused; what
// was taken in can be filed, shown and sent on.
func FuzzImport(f *testing.F) {
	f.Add("||part|KQ-100|caution|||||||||the lip is soft|ann|2031-01-02")
	f.Add("||row||correction||||parts|KQ-100|look|black|brown||ann|2031-01-02")
	f.Add("||number|Z 1|alias|KQ-100||||||||box|ann|2031")
	f.Add("n0000000000|w0000000000000000|plate|XEB4?*|remark|||||||||x|ann|2031-01-02")
	f.Fuzz(func(t *testing.T, cells string) {
		table := catalog.ShopTables()[0]
		names := []string{"note", "wording", "on", "of", "kind", "part", "family", "variant", "table", "row", "column", "before", "value", "text", "author", "dated", "measured", "photos", "by", "edited", "state", "confirmed", "after"}
		var fs catalog.Findings
		arrived := NewArrivals("bo", now)
		for line := range strings.SplitSeq(cells, "\x1e") {
			r := table.New()
			for i, text := range strings.Split(line, "|") {
				if i >= len(names) || table.Column(names[i]).Set(r, text) != nil {
					return // package pack yields no such row
				}
			}
			bad := false
			catalog.CheckRow(table, r, catalog.Place{}, func(catalog.Finding) { bad = true })
			if bad {
				return
			}
			arrived.Wording(r.(*catalog.NoteWording), catalog.Place{}, &fs)
		}
		if fs.Err() != nil {
			return
		}
		d := newDesk("south")
		err := arrived.Each(func(in Incoming, _ catalog.Place) error {
			e, changed, err := Import(d.notes[in.ID], in, "north", "bo", &d.rules, now)
			if err != nil || !changed {
				return err
			}
			return d.append(e)
		})
		if err != nil {
			return
		}
		for _, n := range d.notes {
			if n.State == catalog.NoteConfirmed {
				t.Errorf("%s came in confirmed", n.ID)
			}
			if len(n.Keys()) == 0 || n.Row().Note != n.ID {
				t.Errorf("%s cannot be filed or shown", n.ID)
			}
		}
		to := newDesk("east")
		d.rules.Name = "south"
		d.send(t, to)
		if len(to.notes) != len(d.notes) {
			t.Errorf("%d notes were sent on, %d arrived", len(d.notes), len(to.notes))
		}
	})
}
