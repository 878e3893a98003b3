package shop

import (
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"platewright/catalog"
	"platewright/catalog/memory"
)

var now = time.Date(2031, 5, 6, 7, 8, 9, 0, time.UTC)

// desk keeps notes in memory as the store does on disk.
type desk struct {
	rules  Rules
	notes  map[string]*Note
	events []Event
}

func newDesk(name string) *desk { return &desk{rules: Rules{Name: name}, notes: map[string]*Note{}} }

func (d *desk) append(e Event) error {
	e.Number, e.At, e.Revision = len(d.events)+1, now, 1
	if n := d.notes[e.Note]; n != nil {
		e.Revision = n.Revision + 1
	}
	n, err := ApplyNote(d.notes[e.Note], e)
	if err != nil {
		return err
	}
	d.notes[e.Note] = n
	d.events = append(d.events, e)
	return nil
}

func (d *desk) ids() []string {
	var out []string
	for id := range d.notes {
		out = append(out, id)
	}
	slices.Sort(out)
	return out
}

func (d *desk) Filed(key string) ([]*Note, error) {
	var out []*Note
	for _, id := range d.ids() {
		if slices.Contains(d.notes[id].Keys(), key) {
			out = append(out, d.notes[id])
		}
	}
	return out, nil
}

func (d *desk) SeekFiled(from string) (key string, ok bool) {
	for _, n := range d.notes {
		for _, k := range n.Keys() {
			if k >= from && (!ok || k < key) {
				key, ok = k, true
			}
		}
	}
	return key, ok
}

func (d *desk) add(t require.TestingT, c Content, who string) string {
	id, e, err := Add(c, who, now)
	require.NoError(t, err)
	if d.notes[id] == nil {
		require.NoError(t, d.append(e))
	}
	return id
}

// send brings all notes of d to another desk, through the rows in which they
// travel, and tells how many brought something new.
func (d *desk) send(t require.TestingT, to *desk) int {
	a := NewArrivals("importer", now)
	var fs catalog.Findings
	for _, id := range d.ids() {
		ws, hs := d.notes[id].Travel(nil)
		for _, w := range ws {
			// Through the texts of the cells, as in a file.
			table := catalog.ShopTables()[0]
			r := table.New()
			for _, c := range table.Columns {
				require.NoError(t, c.Set(r, c.Get(w)), c.Name)
			}
			a.Wording(r.(*catalog.NoteWording), catalog.Place{}, &fs)
		}
		for _, h := range hs {
			a.Happening(h)
		}
	}
	require.NoError(t, fs.Err())
	n := 0
	require.NoError(t, a.Each(func(in Incoming, _ catalog.Place) error {
		e, changed, err := Import(to.notes[in.ID], in, d.rules.Name, "importer", &to.rules, now)
		if err != nil || !changed {
			return err
		}
		n++
		return to.append(e)
	}))
	return n
}

func part(kind catalog.NoteKind, text string) Content {
	return Content{On: catalog.NoteOnPart, Of: "KQ-100", Kind: kind, Text: text}
}

// work does something to a desk, by chance.
func work(t *rapid.T, d *desk) {
	people := []string{"ann " + d.rules.Name, "bo " + d.rules.Name, "cy"}
	who := rapid.SampledFrom(people).Draw(t, "who")
	ids := d.ids()
	what := 0
	if len(ids) > 0 {
		what = rapid.IntRange(0, 4).Draw(t, "what")
	}
	if what == 0 {
		d.add(t, part(catalog.NoteRemarkKind, rapid.SampledFrom([]string{"a", "b", "c"}).Draw(t, "text")), who)
		return
	}
	n := d.notes[rapid.SampledFrom(ids).Draw(t, "note")]
	var e Event
	var err error
	switch what {
	case 1:
		c := n.Current().Content
		c.Text = rapid.SampledFrom([]string{"d", "e", "f"}).Draw(t, "edit")
		e, err = n.Edit(c, who, now)
	case 2:
		e, err = n.Confirm(who, &d.rules, d)
	case 3:
		e, err = n.Withdraw(who, "why")
	case 4:
		e, err = n.Settle(rapid.SampledFrom(append([]string{n.Head}, n.Rivals...)).Draw(t, "take"), who, now)
	}
	var refused *RefusedError
	if errors.As(err, &refused) {
		return
	}
	require.NoError(t, err)
	require.NoError(t, d.append(e))
}

// Whatever two shops do and send each other: nothing of one's own is
// overwritten, nothing is taken in twice, and in the end both hold the same
// wordings.
func TestExchange(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := newDesk("north"), newDesk("south")
		if rapid.Bool().Draw(t, "trust") {
			b.rules.Trusted = []string{"North"}
		}
		for range rapid.IntRange(1, 12).Draw(t, "steps") {
			from, to := a, b
			if rapid.Bool().Draw(t, "turn") {
				from, to = b, a
			}
			if rapid.IntRange(0, 3).Draw(t, "send") > 0 {
				work(t, from)
				continue
			}
			before := map[string]*Note{}
			for id, n := range to.notes {
				before[id] = n.clone()
			}
			from.send(t, to)
			if n := from.send(t, to); n != 0 {
				t.Fatalf("%d notes are new the second time", n)
			}
			trusted := to.rules.Trusts(from.rules.Name)
			for id, n := range to.notes {
				was, theirs := before[id], from.notes[id]
				switch {
				case was == nil && n.State == catalog.NoteConfirmed && !trusted:
					t.Fatalf("%s came in confirmed", id)
				case was == nil || theirs == nil:
				case !trusted && was.Current().From == "" && (n.Head != was.Head || n.State != was.State):
					t.Fatalf("%s: our own wording gave way: %s %s, was %s %s", id, n.Head, n.State, was.Head, was.State)
				case was.State == catalog.NoteConfirmed && n.State != was.State:
					t.Fatalf("%s was confirmed here, and is %s", id, n.State)
				}
				if was != nil {
					for _, w := range was.Wordings {
						if n.Wording(w.Name) == nil {
							t.Fatalf("%s: the wording %s is gone", id, w.Name)
						}
					}
				}
				// What is not settled is every end of the edits but the one in force.
				for _, h := range heads(n.Wordings) {
					if h != n.Head && !slices.Contains(n.Rivals, h) {
						t.Fatalf("%s: the wording %s is neither in force nor to be settled", id, h)
					}
				}
			}
		}
		a.send(t, b)
		b.send(t, a)
		names := func(d *desk) map[string][]string {
			out := map[string][]string{}
			for id, n := range d.notes {
				for _, w := range n.Wordings {
					out[id] = append(out[id], w.Name)
				}
				slices.Sort(out[id])
			}
			return out
		}
		if d := cmp.Diff(names(a), names(b)); d != "" {
			t.Fatalf("wordings differ (-north +south):\n%s", d)
		}
		// The history alone makes the same notes again.
		for _, d := range []*desk{a, b} {
			again := map[string]*Note{}
			for _, e := range d.events {
				n, err := ApplyNote(again[e.Note], e)
				require.NoError(t, err)
				again[e.Note] = n
			}
			if diff := cmp.Diff(d.notes, again); diff != "" {
				t.Fatalf("the history makes other notes:\n%s", diff)
			}
		}
	})
}

// A note keeps its name through a change of shop, and a wording that was altered
// on the way is refused.
func TestImportRefuses(t *testing.T) {
	a := newDesk("north")
	id := a.add(t, part(catalog.NoteCaution, "tails too long"), "ann")
	ws, _ := a.notes[id].Travel(nil)
	for _, x := range []struct {
		name string
		do   func(*catalog.NoteWording)
		want string
	}{
		{"another text", func(w *catalog.NoteWording) { w.Text = "tails fine" }, "is not what its name says"},
		{"another author", func(w *catalog.NoteWording) { w.Author = "bo" }, "is not what its name says"},
		{"another name", func(w *catalog.NoteWording) { w.Note = "n0000000000" }, "does not begin the note"},
		{"no wording in force", func(w *catalog.NoteWording) { w.State = "" }, "in force"},
		{"a wording after none", func(w *catalog.NoteWording) { w.After = catalog.Words{"w0000000000000000"} }, "is not what its name says"},
		{"a name for one of two", func(w *catalog.NoteWording) { w.Wording = "" }, "but not both"},
		{"confirmed by nobody", func(w *catalog.NoteWording) { w.State = catalog.NoteConfirmed }, "names who confirmed it"},
	} {
		w := *ws[0]
		x.do(&w)
		arrived, fs := NewArrivals("bo", now), catalog.Findings{}
		arrived.Wording(&w, catalog.Place{}, &fs)
		err := fs.Err()
		if err == nil {
			err = arrived.Each(func(in Incoming, _ catalog.Place) error {
				_, _, err := Import(nil, in, "north", "bo", &Rules{}, now)
				return err
			})
		}
		require.Error(t, err, x.name)
		require.Contains(t, err.Error(), x.want, x.name)
	}

	// A note that was typed into a sheet is a new one, and open whatever it says.
	arrived, fs := NewArrivals("bo", now), catalog.Findings{}
	arrived.Wording(&catalog.NoteWording{On: catalog.NoteOnPart, Of: "KQ-100", Kind: catalog.NoteRemarkKind, Text: "typed", Author: "di", Dated: 20310401, State: catalog.NoteConfirmed}, catalog.Place{}, &fs)
	require.NoError(t, fs.Err())
	b := newDesk("south")
	b.rules.Trusted = []string{"sheet"}
	require.NoError(t, arrived.Each(func(in Incoming, _ catalog.Place) error {
		e, changed, err := Import(nil, in, "sheet", "bo", &b.rules, now)
		require.True(t, changed)
		require.NoError(t, err)
		return b.append(e)
	}))
	require.Len(t, b.notes, 1)
	for _, n := range b.notes {
		require.Equal(t, catalog.NoteOpen, n.State)
		require.Equal(t, "di", n.Current().Author)
	}
}

// What a trusted source confirms is confirmed; what it withdraws of ours is told
// and not done.
func TestTrust(t *testing.T) {
	a, b := newDesk("north"), newDesk("south")
	b.rules.Trusted = []string{"north"}
	id := a.add(t, part(catalog.NoteCaution, "tails too long"), "ann")
	e, err := a.notes[id].Confirm("bo", &a.rules, a)
	require.NoError(t, err)
	require.NoError(t, a.append(e))
	a.send(t, b)
	require.Equal(t, catalog.NoteConfirmed, b.notes[id].State)
	require.Equal(t, "bo", b.notes[id].Confirmed[0].Who)
	e, err = a.notes[id].Withdraw("ann", "tails were swapped")
	require.NoError(t, err)
	require.NoError(t, a.append(e))
	a.send(t, b)
	require.Equal(t, catalog.NoteConfirmed, b.notes[id].State)
	require.Equal(t, catalog.NoteWithdrawn, b.notes[id].Elsewhere[0].State)
}

// What must not stand in a note is refused by name; markup is text like any.
func TestAddRefuses(t *testing.T) {
	for _, x := range []struct {
		name string
		do   func(*Content)
		who  string
		want string
	}{
		{"nothing said", func(c *Content) { c.Text = " " }, "ann", "says nothing"},
		{"ten megabytes", func(c *Content) { c.Text = strings.Repeat("x", 10<<20) }, "ann", "the limit is"},
		{"an escape", func(c *Content) { c.Text = "a\x1b[2Jb" }, "ann", "invisible character U+001B"},
		{"a bell", func(c *Content) { c.Evidence = "a\ab" }, "ann", "invisible character U+0007"},
		{"right to left", func(c *Content) { c.Text = "KQ\u202e001" }, "ann", "RIGHT-TO-LEFT OVERRIDE"},
		{"zero width", func(c *Content) { c.Text = "KQ\u200b001" }, "ann", "ZERO WIDTH SPACE"},
		{"no UTF-8", func(c *Content) { c.Text = "KQ\xff" }, "ann", "not UTF-8"},
		{"a line in a name", func(c *Content) {}, "ann\nFITS", "new line"},
		{"a name without end", func(c *Content) {}, strings.Repeat("ann", 50), "longer than 80"},
		{"a name in spaces", func(c *Content) {}, " ann", "space"},
		{"nobody", func(c *Content) {}, "", "is empty"},
		{"a line in a number", func(c *Content) { c.Of = "KQ\n100" }, "ann", "control character"},
		{"tomorrow", func(c *Content) { c.Dated = "2031-05-07" }, "ann", "today is 2031-05-06"},
		{"next month", func(c *Content) { c.Dated = "2031-06" }, "ann", "today is 2031-05-06"},
		{"no date", func(c *Content) { c.Dated = "yesterday" }, "ann", "cannot be read"},
		{"a photo without digest", func(c *Content) { c.Photos = []Photo{{Path: "a.jpg", SHA256: "12"}} }, "ann", "no SHA-256"},
		{"a photo on two lines", func(c *Content) { c.Photos = []Photo{{Path: "a\nb", SHA256: strings.Repeat("0", 64)}} }, "ann", "new line"},
		{"a value without name", func(c *Content) { c.Measured = []Measured{{"", "1"}} }, "ann", "is empty"},
		{"an alias of nothing", func(c *Content) { c.Kind = catalog.NoteAlias }, "ann", "an alias"},
		{"a correction of nothing", func(c *Content) { c.Kind = catalog.NoteCorrection }, "ann", "a correction"},
		{"another kind", func(c *Content) { c.Kind = "rumour" }, "ann", "is not known"},
		{"another place", func(c *Content) { c.On = "moon" }, "ann", "cannot be on"},
	} {
		c := part(catalog.NoteRemarkKind, "the lip is soft")
		x.do(&c)
		_, _, err := Add(c, x.who, now)
		var refused *RefusedError
		require.ErrorAs(t, err, &refused, x.name)
		require.Contains(t, err.Error(), x.want, x.name)
		require.Less(t, len(err.Error()), 1000, x.name)
	}
	d := newDesk("north")
	id := d.add(t, part(catalog.NoteRemarkKind, `<script>alert("KQ")</script> & =1+1`), "ann")
	require.Equal(t, `<script>alert("KQ")</script> & =1+1`, d.notes[id].Current().Text)
}

// Two notes about one number or one cell cannot both be confirmed.
func TestConfirmRefusesContradiction(t *testing.T) {
	d := newDesk("north")
	alias := func(p string) string {
		return d.add(t, Content{On: catalog.NoteOnNumber, Of: "Z-1", Kind: catalog.NoteAlias, Part: catalog.PartNo(p)}, "ann")
	}
	fix := func(after string) string {
		c := &catalog.Correction{Table: catalog.TParts, Row: []string{"KQ-100"}, Column: "look", Before: "black", After: after}
		return d.add(t, Content{On: catalog.NoteOnRow, Of: CorrectionName(c), Kind: catalog.NoteCorrection, Correction: c}, "ann")
	}
	for _, pair := range [][2]string{{alias("KQ-100"), alias("KQ-200")}, {fix("green"), fix("brown")}} {
		e, err := d.notes[pair[0]].Confirm("bo", &d.rules, d)
		require.NoError(t, err)
		require.NoError(t, d.append(e))
		_, err = d.notes[pair[1]].Confirm("bo", &d.rules, d)
		require.ErrorContains(t, err, pair[0])
	}
}

// world is a small catalogue.
func world(t testing.TB, rows ...string) *memory.Catalogue {
	t.Helper()
	m := memory.New()
	for _, line := range rows {
		table, cells, _ := strings.Cut(line, ": ")
		tab := catalog.TableByName(table)
		require.NotNil(t, tab, table)
		r := tab.New()
		for cell := range strings.SplitSeq(cells, "; ") {
			name, text, _ := strings.Cut(cell, "=")
			require.NoError(t, tab.Column(name).Set(r, text))
		}
		require.True(t, m.Add(tab, r, catalog.Place{}))
	}
	m.Seal()
	return m
}

var harbour = []string{
	"sources: source=BENCH; title=Bench book; kind=bench",
	"parts: part=KQ-100; name=lip seal; kind=single; origin=unit-maker; status=sold; look=black; source=BENCH",
	"parts: part=KQ-200; name=lip seal; kind=single; origin=unit-maker; status=sold; look=green; source=BENCH",
	"parts: part=KQ-300; name=lip seal; kind=single; origin=unit-maker; status=sold; source=BENCH",
	"numbers: number=Y 7; part=KQ-100; source=BENCH",
	"numbers: number=Y 9; part=KQ-200; source=BENCH",
	"suppliers: supplier=dock; name=Dock; currency=EUR; days=1; source=BENCH",
	"offers: supplier=dock; stock=D-55; part=KQ-300; price=3; pack=1; source=BENCH",
	"supersessions: old=KQ-200; new=KQ-300; kind=one-way; qty=1; source=BENCH",
	"families: family=F; maker=M; name=Family; source=BENCH",
	"assemblies: assembly=case; name=Case; source=BENCH",
	"marks: mark=coil; assembly=case; name=Coil; kind=seen; force=deciding; effort=1; source=BENCH",
	"shows: scope=family; of=F; mark=coil; value=5.2; source=BENCH",
	"notes: on=part; of=KQ-100; note=old; kind=remark; text=of the catalogue; state=open; author=ann; dated=2030-01-01",
}

// dump reads everything of the tables that notes can change.
func dump(t testing.TB, cat Catalogue) map[string][]string {
	t.Helper()
	out := map[string][]string{}
	for _, name := range []string{catalog.TParts, catalog.TNumbers, catalog.TOffers, catalog.TSupersessions, catalog.TNotes} {
		tab := catalog.TableByName(name)
		out[name] = []string{}
		key, ok, err := cat.Seek(tab, "")
		for ; ok; key, ok, err = cat.Seek(tab, key+"\x00") {
			rows, err := cat.Group(tab, key)
			require.NoError(t, err)
			require.NotEmpty(t, rows, "%s %q", name, key)
			for _, r := range rows {
				out[name] = append(out[name], strings.Join(tab.Cells(nil, r), "|"))
			}
		}
		require.NoError(t, err)
		for _, c := range tab.Columns {
			if !c.Reverse {
				continue
			}
			for _, cell := range []string{"KQ100", "KQ200", "KQ300"} {
				at := name + "." + c.Name + "=" + cell
				out[at] = []string{}
				require.NoError(t, cat.Referring(tab, c.Name, cell, func(g string) bool { out[at] = append(out[at], catalog.ShowKey(g)); return true }))
			}
		}
	}
	return out
}

// The catalogue under notes reads as a catalogue that had been written so.
func TestOver(t *testing.T) {
	base := world(t, harbour...)
	d := newDesk("north")
	same, err := Over(base, d)
	require.NoError(t, err)
	require.Equal(t, Catalogue(base), same, "without notes it is the catalogue itself")

	confirm := func(id string) {
		e, err := d.notes[id].Confirm("bo", &d.rules, d)
		require.NoError(t, err)
		require.NoError(t, d.append(e))
	}
	correct := func(table, row, column, after string) string {
		c, err := Correct(base, table, row, column, nil, after)
		require.NoError(t, err)
		return d.add(t, Content{On: catalog.NoteOnRow, Of: CorrectionName(c), Kind: catalog.NoteCorrection, Correction: c}, "ann")
	}
	confirm(correct("parts", "KQ-100", "look", "brown"))
	confirm(correct("numbers", "Y 9", "part", "KQ-100"))
	correct("parts", "KQ-200", "look", "never")
	alias := Content{On: catalog.NoteOnNumber, Of: "A 1", Kind: catalog.NoteAlias, Part: "kq100"}
	require.NoError(t, alias.Ground(base))
	confirm(d.add(t, alias, "ann"))
	open := Content{On: catalog.NoteOnNumber, Of: "Z 8", Kind: catalog.NoteAlias, Part: "KQ-200"}
	d.add(t, open, "ann")
	stock := Content{On: catalog.NoteOnNumber, Of: "d55", Kind: catalog.NoteCaution, Text: "comes without the ring"}
	require.NoError(t, stock.Ground(base))
	require.Equal(t, catalog.PartNo("KQ-300"), stock.Part)
	d.add(t, stock, "ann")
	gone := d.add(t, part(catalog.NoteCaution, "withdrawn"), "ann")
	e, err := d.notes[gone].Withdraw("ann", "")
	require.NoError(t, err)
	require.NoError(t, d.append(e))

	over, err := Over(base, d)
	require.NoError(t, err)
	rows := slices.Clone(harbour)
	rows[1] = strings.Replace(rows[1], "look=black", "look=brown", 1)
	rows[5] = strings.Replace(rows[5], "part=KQ-200", "part=KQ-100", 1)
	rows = append(rows, "numbers: number=A 1; part=KQ-100; user=the shop; source=x", "numbers: number=Z 8; part=KQ-200; user=the shop; source=x")
	want, got := dump(t, world(t, rows...)), dump(t, over)
	// The notes themselves and the sources of aliases are looked at below; an
	// open alias is found by its number only.
	delete(want, catalog.TNotes)
	notes := got[catalog.TNotes]
	delete(got, catalog.TNotes)
	for i, r := range got[catalog.TNumbers] {
		if j := strings.Index(r, "|note n"); j > 0 {
			got[catalog.TNumbers][i] = r[:j] + "|x"
		}
	}
	want["numbers.part=KQ200"] = slices.DeleteFunc(want["numbers.part=KQ200"], func(s string) bool { return s == "Z8" })
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("catalogue under notes (-want +got):\n%s", d)
	}
	var places []string
	for _, n := range notes {
		f := strings.Split(n, "|")
		places = append(places, f[0]+" "+f[1]+" "+f[3]+" "+f[6])
	}
	slices.Sort(places)
	if d := cmp.Diff([]string{"number A 1 alias confirmed", "number Z 8 alias open", "number d55 caution open", "number d55 caution open",
		"part KQ-100 remark open", "row numbers: Y 9 correction confirmed", "row parts: KQ-100 correction confirmed", "row parts: KQ-200 correction open"}, places); d != "" {
		t.Errorf("notes (-want +got):\n%s", d)
	}

	// The rows of base are as they were.
	if d := cmp.Diff(dump(t, world(t, harbour...)), dump(t, base)); d != "" {
		t.Errorf("the catalogue itself was changed:\n%s", d)
	}
}

// After an import a correction is in the catalogue, or applies no longer; and the
// review says so, with what settles each.
func TestReview(t *testing.T) {
	base := world(t, harbour...)
	d := newDesk("north")
	add := func(c Content, err error) string {
		require.NoError(t, err)
		return d.add(t, c, "ann")
	}
	correct := func(row, column, after string) Content {
		c, err := Correct(base, "parts", row, column, nil, after)
		require.NoError(t, err)
		return Content{On: catalog.NoteOnRow, Of: CorrectionName(c), Kind: catalog.NoteCorrection, Correction: c}
	}
	done := add(correct("KQ-100", "look", "brown"), nil)
	passed := add(correct("KQ-200", "look", "blue"), nil)
	alias := add(Content{On: catalog.NoteOnNumber, Of: "Z 8", Kind: catalog.NoteAlias, Part: "KQ-200"}, nil)
	other := add(Content{On: catalog.NoteOnNumber, Of: "Z 8", Kind: catalog.NoteAlias, Part: "KQ-100"}, nil)
	lost := add(Content{On: catalog.NoteOnPart, Of: "KQ-900", Kind: catalog.NoteCaution, Text: "gone"}, nil)
	well := add(part(catalog.NoteFitted, "twice"), nil)
	badly := add(part(catalog.NoteDidNotFit, "once"), nil)

	rows := slices.Clone(harbour)
	rows[1] = strings.Replace(rows[1], "look=black", "look=brown", 1)
	rows[2] = strings.Replace(rows[2], "look=green", "look=grey", 1)
	after := world(t, rows...)
	var all []*Note
	for _, id := range d.ids() {
		all = append(all, d.notes[id])
	}
	list, err := Review(after, all, ReviewOptions{Open: 90 * 24 * time.Hour, Met: 365 * 24 * time.Hour}, now)
	require.NoError(t, err)
	got := map[string][]string{}
	for _, r := range list {
		got[r.Note.ID] = append(got[r.Note.ID], string(r.Concern))
		require.Contains(t, r.Settle, r.Note.ID)
	}
	contradicting := func(a, b string) string { return max(a, b) }
	want := map[string][]string{done: {"now-in-catalogue"}, passed: {"no-longer-applies"}, alias: {"superseded"}, lost: {"gone"}}
	for _, id := range []string{contradicting(alias, other), contradicting(well, badly)} {
		want[id] = append([]string{"contradicts"}, want[id]...)
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("review (-want +got):\n%s", d)
	}

	// Half a year later all of them have been open for long.
	list, err = Review(after, all, ReviewOptions{Open: 90 * 24 * time.Hour, Met: 365 * 24 * time.Hour}, now.AddDate(0, 6, 0))
	require.NoError(t, err)
	long := 0
	for _, r := range list {
		if r.Concern == ConcernOpen {
			long++
			require.Equal(t, "2031-05-06", r.Since)
		}
	}
	require.Equal(t, len(all), long)
	// A confirmed caution that nobody has met for long.
	e, err := d.notes[lost].Confirm("bo", &d.rules, d)
	require.NoError(t, err)
	require.NoError(t, d.append(e))
	list, err = Review(base, []*Note{d.notes[lost]}, ReviewOptions{Open: 1, Met: 365 * 24 * time.Hour}, now.AddDate(2, 0, 0))
	require.NoError(t, err)
	require.Equal(t, ConcernNotMet, list[len(list)-1].Concern)
}

// Correct refuses what would leave the catalogue wrong.
func TestCorrectRefuses(t *testing.T) {
	base := world(t, harbour...)
	text := func(s string) *string { return &s }
	for _, x := range []struct {
		table, row, column string
		was                *string
		after, want        string
	}{
		{"part", "KQ-100", "look", nil, "x", `did you mean "parts"`},
		{"parts", "KQ-999", "look", nil, "x", "name it by part"},
		{"parts", "KQ-100", "looks", nil, "x", `did you mean "look"`},
		{"parts", "KQ-100", "part", nil, "KQ-101", "part of the name of the row"},
		{"parts", "KQ-100", "look", text("green"), "x", `says "black" there, not "green"`},
		{"parts", "KQ-100", "look", nil, "black", "already"},
		{"parts", "KQ-100", "status", nil, "lost", "cannot stand there"},
		{"parts", "KQ-100", "name", nil, "", "the row would be wrong"},
		{"numbers", "Y 9", "part", nil, "KQ-999", "nothing in the table parts"},
		{"supersessions", "KQ-200 / KQ-300", "qty", nil, "-1", "cannot stand there"},
		{"notes", "part / KQ-100 / old", "text", nil, "x", "is checked as a whole"},
		{"marks", "coil", "force", nil, "hinting", "other rows of the catalogue depend"},
		{"shows", "family / F / coil / 5.2", "tolerance", nil, "0.1", "is not measured"},
	} {
		_, err := Correct(base, x.table, x.row, x.column, x.was, x.after)
		require.ErrorContains(t, err, x.want, fmt.Sprint(x))
	}
	c, err := Correct(base, "supersessions", "kq 200 / KQ300", "qty", text("1"), "2")
	require.NoError(t, err)
	require.Equal(t, []string{"KQ-200", "KQ-300"}, c.Row)
}

// A card goes through its states and refuses what cannot happen to it.
func TestCard(t *testing.T) {
	var c *Card
	n := 0
	do := func(kind Kind, body any) error {
		e, err := NewCardEvent(kind, "ann", body)
		if err != nil {
			return err
		}
		e.Number, e.Card, e.At, e.Revision = n+1, 1, now, 1
		if c != nil {
			e.Revision = c.Revision + 1
		}
		after, err := ApplyCard(c, e)
		if err == nil {
			c, n = after, n+1
		}
		return err
	}
	decided := DecidedBody{Unit: "QA-1", Work: []string{"reseal"}, Question: json.RawMessage(`{}`), Decision: json.RawMessage(`{}`), Edition: Edition{Name: "demo", Number: 3}}
	var broken *BrokenError
	require.ErrorAs(t, do(CardNoted, TextBody{"early"}), &broken)
	require.NoError(t, do(CardOpened, decided))
	require.ErrorAs(t, do(CardOpened, decided), &broken)
	require.ErrorContains(t, do(CardNoted, TextBody{"a\x1bb"}), "invisible")
	require.ErrorContains(t, do(CardNoted, TextBody{" "}), "is empty")
	require.ErrorContains(t, do(CardMeasured, MeasuredBody{}), "nothing was measured")
	order := OrderedBody{Order: "B-1", Supplier: "dock", Lines: []Ordered{{Role: "seal", Part: "KQ-100", Qty: 2}}}
	require.NoError(t, do(CardOrdered, order))
	require.ErrorContains(t, do(CardOrdered, order), "already")
	require.ErrorContains(t, do(CardReceived, ReceivedBody{Order: "B-2"}), "no order B-2")
	require.NoError(t, do(CardReceived, ReceivedBody{Order: "B-1"}))
	require.NoError(t, do(CardReceived, ReceivedBody{Order: "B-1", Complete: true}))
	require.ErrorContains(t, do(CardReceived, ReceivedBody{Order: "B-1", Complete: true}), "came before")
	require.NoError(t, do(CardClosed, BecauseBody{"fetched"}))
	require.ErrorContains(t, do(CardOrdered, OrderedBody{Order: "B-3", Supplier: "dock"}), "is closed")
	require.NoError(t, do(CardReopened, BecauseBody{}))
	require.Equal(t, CardOpen, c.State)
	require.Equal(t, []int{3, 4}, c.Orders[0].Receipts)
	require.True(t, c.Orders[0].Complete)
	require.Equal(t, 6, c.Revision)
}
