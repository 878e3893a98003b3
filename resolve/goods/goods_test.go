package goods_test

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"platewright/catalog"
	"platewright/catalog/catalogtest"
	"platewright/catalog/memory"
	"platewright/catalog/shop"
	"platewright/resolve"
	"platewright/resolve/goods"
)

const world = `
-- variants.csv --
variant, family
ALDER,   F
BIRCH,   F
CEDAR,   G
-- roles.csv --
role
set
strainer
ring
gasket
-- parts.csv --
part,    status, look,         note
OLD-1,   ended,  grey caps
NEW-1,   sold,   green caps,   taller
NEW-2,   sold,   green caps
OTHER-1, sold,   grey caps
STR-A,   sold
STR-B,   sold,   other frame
RING,    sold
PAIR,    ended
PAIR-2,  sold
MANY,    ended
PIECE-1, sold
PIECE-2, sold
SLEEVE,  sold
PLUG,    sold
CLIP,    sold
GASKET,  sold,   17 holes
-- supersessions.csv --
old,   new,     kind,    qty, note
OLD-1, NEW-1,   one-way, 1,   taller by 4 mm
NEW-1, NEW-2,   one-way, 1,   the plug is longer
STR-A, STR-B,   two-way, 1
PAIR,  PAIR-2,  one-way, 2
MANY,  PIECE-1, split,   2
MANY,  PIECE-2, split,   1
-- companions.csv --
part,  companion, replacing, qty, per
NEW-1, SLEEVE,    OLD-1
NEW-2, PLUG,      NEW-1
NEW-2, CLIP,      NEW-1,     2,   part
-- fits.csv --
of,    role,     part,    qty
ALDER, set,      NEW-1
BIRCH, set,      OTHER-1
CEDAR, set,      OLD-1
F,     strainer, STR-A
F,     ring,     RING,    6
F,     ring,     PAIR,    2
F,     ring,     MANY,    1
F,     gasket,   GASKET
-- numbers.csv --
number, part
N 1,    NEW-1
TWICE,  RING
-- suppliers.csv --
supplier, name
near,     Near
far,      Far
-- offers.csv --
supplier, stock,  part,   pack
near,     S/1,    NEW-1
near,     S/2,    RING,   10
near,     TWICE,  STR-A
far,      Q-7,    RING,   4
far,      S/1,    STR-B
-- shelf.csv --
part, place,    qty
CLIP, drawer 1, 9
`

func line(n int, stock, part string, wanted int) goods.Line {
	l := goods.Line{Line: n, Stock: stock, Part: catalog.PartNo(part), Name: part, Kind: catalog.PartSingle, Packs: wanted, Pack: 1, Wanted: wanted, Roles: []string{"set"}}
	if part == "RING" {
		l.Packs, l.Pack, l.Roles = 1, wanted, []string{"ring"}
	}
	return l
}

func opened(t testing.TB, cat resolve.Catalogue, plate string, lines ...goods.Line) *bench {
	o := &goods.Order{Number: "P0003-1", Supplier: "near", Name: "Near", Lines: lines}
	var q *resolve.Question
	if plate != "" {
		q = &resolve.Question{Plate: plate}
	}
	return &bench{t: t, d: goods.New(cat, resolve.Edition{Name: "world"}, o, q, nil)}
}

func demoWorld(t testing.TB) *memory.Catalogue { return catalogtest.World(t, []byte(world)) }

// told says in short how an order stands.
func (b *bench) told() []string {
	s, err := b.d.State()
	require.NoError(b.t, err)
	out := []string{}
	for _, l := range s.Lines {
		state := "complete"
		if !l.Complete {
			state = fmt.Sprint(l.Lacks)
		}
		out = append(out, fmt.Sprintf("%s %d/%d %s", l.Part, l.Here, l.Wanted, state))
	}
	for _, f := range s.Foreign {
		out = append(out, fmt.Sprintf("foreign %s %d", f.Part, f.Here))
	}
	if s.Complete {
		out = append(out, "COMPLETE")
	}
	return out
}

// Each story is a row of steps with how the order stands after each.
func TestStories(t *testing.T) {
	for _, x := range []struct {
		name, plate string
		lines       []goods.Line
		steps       []string // what is booked, words apart by ";"
		want        []string // how it stands, by step
	}{
		{"all at once", "ALDER", []goods.Line{line(1, "S/1", "NEW-1", 1), line(2, "S/2", "RING", 6)},
			[]string{"NEW-1; RING=6", "looked"},
			[]string{"NEW-1 1/1 [look], RING 6/6 complete", "NEW-1 1/1 complete, RING 6/6 complete, COMPLETE"}},
		{"one by one, by the supplier's number and another one", "ALDER", []goods.Line{line(1, "S/1", "NEW-1", 3)},
			[]string{"S/1", "n1", "looked S/1", "new 1"},
			[]string{"NEW-1 1/3 [short look]", "NEW-1 2/3 [short look]", "NEW-1 2/3 [short]", "NEW-1 3/3 [look]"}},
		{"packs", "ALDER", []goods.Line{line(1, "S/2", "RING", 10)}, []string{"S/2=1p"}, []string{"RING 10/10 complete, COMPLETE"}},
		{"packs of another supplier's size", "ALDER", []goods.Line{line(1, "S/1", "NEW-1", 1)}, []string{"Q-7=2 packs"},
			[]string{"NEW-1 0/1 [short], foreign RING 8"}},
		{"interchange serves", "ALDER", []goods.Line{line(1, "", "STR-A", 2)}, []string{"STR-B; STR-A", "looked"},
			[]string{"STR-A 2/2 [look]", "STR-A 2/2 complete, COMPLETE"}},
		{"and the other way round", "ALDER", []goods.Line{line(1, "", "STR-B", 1)}, []string{"STR-A"}, []string{"STR-B 1/1 complete, COMPLETE"}},
		{"two for one", "ALDER", []goods.Line{line(1, "", "PAIR", 2)}, []string{"PAIR-2=3", "PAIR-2"},
			[]string{"PAIR 1/2 [short]", "PAIR 2/2 complete, COMPLETE"}},
		{"a replacing number brings what it demands, the shelf has the rest", "ALDER", []goods.Line{line(1, "S/1", "NEW-1", 1)},
			[]string{"NEW-2; looked", "PLUG"},
			[]string{"NEW-1 1/1 [companion]", "NEW-1 1/1 complete, COMPLETE"}},
		{"what it demands is on the order", "ALDER", []goods.Line{line(1, "S/1", "NEW-1", 1), line(2, "", "PLUG", 1)},
			[]string{"NEW-2; looked"}, []string{"NEW-1 1/1 complete, PLUG 0/1 [short]"}},
		{"more than the shelf has", "ALDER", []goods.Line{line(1, "", "NEW-1", 5)},
			[]string{"NEW-2=4; PLUG; looked", "NEW-2; looked"}, []string{"NEW-1 4/5 [short]", "NEW-1 5/5 [companion]"}},
		{"an old number does not serve for the new one", "ALDER", []goods.Line{line(1, "", "NEW-1", 1)},
			[]string{"OLD-1"}, []string{"NEW-1 0/1 [short], foreign OLD-1 1"}},
		{"nor does a piece for the whole", "ALDER", []goods.Line{line(1, "", "MANY", 1)},
			[]string{"PIECE-1=2"}, []string{"MANY 0/1 [short], foreign PIECE-1 2"}},
		{"what serves and is kept from the unit is foreign", "BIRCH", []goods.Line{line(1, "", "NEW-1", 1)},
			[]string{"NEW-2"}, []string{"NEW-1 0/1 [short], foreign NEW-2 1"}},
		{"what serves holds the line while it is not settled that it fits", "?????", []goods.Line{line(1, "", "NEW-1", 1)},
			[]string{"NEW-2; PLUG; looked"}, []string{"NEW-1 1/1 [fit]"}},
		{"without a unit the catalogue's word is taken", "", []goods.Line{line(1, "", "NEW-1", 1)},
			[]string{"NEW-2"}, []string{"NEW-1 1/1 [look companion]"}},
		{"foreign goes back", "ALDER", []goods.Line{line(1, "", "RING", 6)},
			[]string{"RING=6; OTHER-1=2", "returned OTHER-1=1", "returned OTHER-1"},
			[]string{"RING 6/6 complete, foreign OTHER-1 2", "RING 6/6 complete, foreign OTHER-1 1", "RING 6/6 complete, foreign OTHER-1 0, COMPLETE"}},
		{"or stays", "ALDER", []goods.Line{line(1, "", "RING", 6)},
			[]string{"RING=6; OTHER-1", "kept OTHER-1"},
			[]string{"RING 6/6 complete, foreign OTHER-1 1", "RING 6/6 complete, foreign OTHER-1 0, COMPLETE"}},
		{"more than ordered", "ALDER", []goods.Line{line(1, "", "RING", 6)},
			[]string{"RING=8", "kept RING=1", "returned RING=1"},
			[]string{"RING 8/6 [too-many]", "RING 7/6 [too-many]", "RING 6/6 complete, COMPLETE"}},
		{"a return opens the line again", "ALDER", []goods.Line{line(1, "", "NEW-1", 1)},
			[]string{"NEW-1; looked", "returned NEW-1", "NEW-1; looked"},
			[]string{"NEW-1 1/1 complete, COMPLETE", "NEW-1 0/1 [short]", "NEW-1 1/1 complete, COMPLETE"}},
		{"what looks otherwise goes back first", "ALDER", []goods.Line{line(1, "", "NEW-1", 2)},
			[]string{"NEW-1=2", "odd NEW-1=white caps", "looked NEW-1=1", "returned NEW-1=1", "NEW-1; looked"},
			[]string{"NEW-1 2/2 [look]", "NEW-1 2/2 [odd]", "NEW-1 2/2 [odd]", "NEW-1 1/2 [short]", "NEW-1 2/2 complete, COMPLETE"}},
		{"looked at again and right after all", "ALDER", []goods.Line{line(1, "", "NEW-1", 1)},
			[]string{"NEW-1; odd NEW-1=dirty", "looked NEW-1"},
			[]string{"NEW-1 1/1 [odd]", "NEW-1 1/1 complete, COMPLETE"}},
		{"counted wrongly", "ALDER", []goods.Line{line(1, "", "RING", 6)},
			[]string{"RING=7", "corrected RING=6", "corrected RING=5", "corrected RING=6"},
			[]string{"RING 7/6 [too-many]", "RING 6/6 complete, COMPLETE", "RING 5/6 [short]", "RING 6/6 complete, COMPLETE"}},
		{"written down for another thing", "ALDER", []goods.Line{line(1, "", "RING", 6)},
			[]string{"OTHER-1", "corrected OTHER-1=0"},
			[]string{"RING 0/6 [short], foreign OTHER-1 1", "RING 0/6 [short]"}},
		{"two lines of one part", "ALDER", []goods.Line{line(1, "", "RING", 2), line(2, "", "RING", 3)},
			[]string{"RING=2", "RING=3"},
			[]string{"RING 2/2 complete, RING 0/3 [short]", "RING 2/2 complete, RING 3/3 complete, COMPLETE"}},
	} {
		t.Run(x.name, func(t *testing.T) {
			b := opened(t, demoWorld(t), x.plate, x.lines...)
			for i, step := range x.steps {
				b.book(strings.Split(step, "; ")...)
				require.Equal(t, x.want[i], strings.Join(b.told(), ", "), "after %s", step)
			}
		})
	}
}

// A fluid is counted in containers; where it was ordered in several sizes, the
// supplier's number says which.
func TestContainers(t *testing.T) {
	oil := func(n int, stock, size string, wanted int) goods.Line {
		return goods.Line{Line: n, Stock: stock, Part: "OIL", Kind: catalog.PartFluid, Packs: wanted, Pack: 1, PackOf: must(catalog.ParseDecimal(size)), Wanted: wanted}
	}
	cat := catalogtest.World(t, []byte(`
-- variants.csv --
variant
ALDER
-- parts.csv --
part, kind
OIL,  fluid
`))
	b := opened(t, cat, "", oil(1, "T5", "5", 2))
	b.book("OIL=1p")
	require.Equal(t, []string{"OIL 1/2 [short]"}, b.told())
	b.book("OIL")
	require.Equal(t, []string{"OIL 2/2 complete", "COMPLETE"}, b.told())

	b = opened(t, cat, "", oil(1, "T5", "5", 2), oil(2, "T20", "20", 1))
	require.Contains(t, b.refused(goods.Delivery{}, "OIL"), "OIL was ordered in containers of more than one size (found \"OIL\"); say which: T5 for 5 l or T20 for 20 l")
	b.book("T20")
	require.Equal(t, []string{"OIL 0/2 [short]", "OIL 1/1 complete"}, b.told())
	b.book("stock:t5=3")
	b.book("returned T5=1")
	require.Equal(t, []string{"OIL 2/2 complete", "OIL 1/1 complete", "COMPLETE"}, b.told())
	b.book("returned T20")
	require.Equal(t, []string{"OIL 2/2 complete", "OIL 0/1 [short]"}, b.told())
}

// What is done with what a check was about is done with that alone.
func TestOfACheck(t *testing.T) {
	b := opened(t, demoWorld(t), "ALDER", line(1, "", "NEW-1", 2), line(2, "", "NEW-1", 2))
	b.book("NEW-1=2")
	c := b.book("NEW-1=2").Checks[0]
	res, err := b.d.Receive(goods.Delivery{Because: "taken back", Items: []goods.Item{{Do: goods.Corrected, Of: &c, Delta: -2}}})
	require.NoError(t, err)
	b.d.Keep(*res.Receipt)
	require.Equal(t, []string{"NEW-1 2/2 [look]", "NEW-1 0/2 [short]"}, b.told())
	_, err = b.d.Receive(goods.Delivery{Because: "x", Items: []goods.Item{{Do: goods.Corrected, Of: &c, Delta: -2}}})
	require.ErrorContains(t, err, "how many are here?")
}

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

func TestRefused(t *testing.T) {
	start := func() *bench {
		return opened(t, demoWorld(t), "ALDER", line(1, "S/1", "NEW-1", 1), line(2, "S/2", "RING", 6))
	}
	for _, x := range []struct{ items, want string }{
		{"NEW-7", "nothing goes by this number, in the order or in the catalogue (found \"NEW-7\"); did you mean NEW-1"},
		{"NOTHING-LIKE-IT-AT-ALL", "nothing goes by this number"},
		{"TWICE", "the number stands for RING (another number of it) and for STR-A (stock number of near) (found \"TWICE\"); say which: part:NUMBER"},
		{"stock:NEW-1", "nothing goes by this number"},
		{"", "there is no number"},
		{"RING=-1", "a count cannot be negative"},
		{"RING=0", "none of it came"},
		{"RING=1.5", "this is no count"},
		{"RING=p", "this is no count"},
		{"RING=4006381333931", "was a number scanned in the place of the count?"},
		{"RING=99999999999999999999999", "nobody counts more than 100000 pieces"},
		{"RING=20000p", "nobody counts more than 100000 pieces"},
		{"RING=61", "61 pieces came, and 6 were ordered"},
		{"PLUG=2p", "how many pieces a pack of it holds is not known"},
		{"P0003-1", "this is the number of the order itself"},
		{"P0003-1,near,1,1", "this is the number of the order itself"},
		{"2,S/2,RING,1", "this is line 2 on our own sheet: it says that RING was ordered, not what came"},
		{"9,S/2,RING,1", "nothing goes by this number"},
		{"2,S%2F2,RING,1", "this is line 2 on our own sheet"},
		{"P0003-1,near,1,1\n1,S/1,NEW-1,1\n2,S/2,RING,1\n", "this is the number of the order itself"},
		{"P0004-2,near,1,1\n1,S/1,NEW-1,1\n", "this is the sheet of the order P0004-2, and not of P0003-1"},
		{strings.Repeat("x", 81), "this is no number of a part"},
		{"NEW-1\x01", "the number cannot be read"},
		{"returned RING", "nothing of RING has come"},
		{"RING=2; returned RING=3", "2 of RING are here, and no 3"},
		{"RING=2; kept RING", "there is nothing of RING to be decided"},
		{"RING=2; kept RING=1", "0 of RING are here beyond what was ordered"},
		{"RING=2; corrected RING=2", "2 of RING are booked as here"},
		{"RING=2; corrected RING", "how many are here?"},
		{"RING=2; looked RING; looked RING", "there is nothing of RING left to look at"},
		{"RING; odd RING=", "what does RING look like?"},
	} {
		b := start()
		require.Contains(t, b.refused(goods.Delivery{Because: "x"}, strings.Split(x.items, "; ")...), x.want, x.items)
		require.Equal(t, []string{"NEW-1 0/1 [short]", "RING 0/6 [short]"}, b.told(), "nothing was done by %s", x.items)
	}
	b := start()
	require.Contains(t, b.refused(goods.Delivery{}, "RING", "returned RING"), "there is no reason for it")
	require.Contains(t, b.refused(goods.Delivery{Note: "5\n6"}, "RING"), "the number of the delivery note cannot be kept")
	// All that is wrong is told at once.
	require.Len(t, strings.Split(b.refused(goods.Delivery{}, "RING=x", "NEW-7", "TWICE"), "\n"), 3)
}

func TestPrefixes(t *testing.T) {
	b := opened(t, demoWorld(t), "ALDER", line(1, "S/1", "NEW-1", 1))
	require.Equal(t, catalog.PartNo("STR-A"), b.book("stock:TWICE").Checks[0].Part)
	require.Equal(t, catalog.PartNo("RING"), b.book("part:ring").Checks[0].Part)
}

// One delivery note counts once; what repeats is noticed.
func TestRepeats(t *testing.T) {
	b := opened(t, demoWorld(t), "ALDER", line(1, "S/1", "NEW-1", 2), line(2, "S/2", "RING", 6))
	res, err := b.try(goods.Delivery{Note: "DN 7"}, "NEW-1", "RING=4")
	require.NoError(t, err)
	require.NotNil(t, res.Receipt)
	for _, note := range []string{"DN 7", "dn-7"} {
		res, err = b.try(goods.Delivery{Note: note}, "RING=1", "S/1", "RING=3")
		require.NoError(t, err)
		require.Nil(t, res.Receipt)
		require.Equal(t, "bench 1", res.Same.Who)
	}
	require.Contains(t, b.refused(goods.Delivery{Note: "DN 7"}, "RING=1"), "booked on 2026-11-25 14:01 UTC by bench 1 with other things: 1 × NEW-1, 4 × RING")
	require.Equal(t, []string{"NEW-1 1/2 [short look]", "RING 4/6 [short]"}, b.told())
	_, err = b.try(goods.Delivery{Note: "DN 7", Again: true}, "RING=1")
	require.NoError(t, err)
	// By now the note holds both, and giving both is giving the same.
	res, err = b.try(goods.Delivery{Note: "DN 7"}, "NEW-1", "RING=5")
	require.NoError(t, err)
	require.Nil(t, res.Receipt)

	// Without a note, what was booked last cannot be told from a slip of the hand.
	_, err = b.try(goods.Delivery{}, "NEW-1")
	require.NoError(t, err)
	require.Contains(t, b.refused(goods.Delivery{}, "NEW-1"), "the same was booked on 2026-11-25 14:03 UTC by bench 1: 1 × NEW-1")
	_, err = b.try(goods.Delivery{}, "RING")
	require.NoError(t, err)
	require.Equal(t, []string{"NEW-1 2/2 [look]", "RING 6/6 complete"}, b.told())
	require.Contains(t, b.refused(goods.Delivery{}, "NEW-1"), "all 2 of line 1 are here: the last were booked on 2026-11-25 14:03 UTC by bench 1")
	require.Contains(t, b.refused(goods.Delivery{Talk: true}, "RING"), "all 6 of line 2 are here")
	// Another delivery note is another delivery.
	_, err = b.try(goods.Delivery{Note: "DN 8"}, "RING=2")
	require.NoError(t, err)
	require.Equal(t, []string{"NEW-1 2/2 [look]", "RING 8/6 [too-many]"}, b.told())
	_, err = b.try(goods.Delivery{Again: true}, "RING")
	require.NoError(t, err)

	// In a dialogue the same scanned twice are two.
	b = opened(t, demoWorld(t), "ALDER", line(1, "S/2", "RING", 6))
	for range 2 {
		_, err := b.try(goods.Delivery{Talk: true}, "RING")
		require.NoError(t, err)
	}
	require.Equal(t, []string{"RING 2/6 [short]"}, b.told())
}

// An alias of the shop's notes counts once it is confirmed.
func TestAlias(t *testing.T) {
	for _, x := range []struct {
		state catalog.NoteState
		want  string
	}{{catalog.NoteOpen, "that it stands for RING is only an open note of the shop"}, {catalog.NoteConfirmed, ""}} {
		over, err := shop.Over(demoWorld(t), aliasNote(t, x.state))
		require.NoError(t, err)
		b := opened(t, over, "ALDER", line(1, "S/2", "RING", 6))
		if x.want != "" {
			require.Contains(t, b.refused(goods.Delivery{}, "BOX 77"), x.want)
			continue
		}
		c := b.book("BOX 77=6").Checks[0]
		require.Equal(t, goods.Right, c.Verdict)
		require.Equal(t, goods.ByNote, c.By.By)
	}
}

// noted is a shop with one note.
type noted struct{ n *shop.Note }

func (x noted) Filed(key string) ([]*shop.Note, error) {
	if slices.Contains(x.n.Keys(), key) {
		return []*shop.Note{x.n}, nil
	}
	return nil, nil
}

func (x noted) SeekFiled(from string) (string, bool) {
	keys := slices.Sorted(slices.Values(x.n.Keys()))
	for _, k := range keys {
		if k >= from {
			return k, true
		}
	}
	return "", false
}

func aliasNote(t *testing.T, state catalog.NoteState) noted {
	_, e, err := shop.Add(shop.Content{On: catalog.NoteOnNumber, Of: "BOX 77", Kind: catalog.NoteAlias, Part: "RING"}, "bench 1", catalogtest.Now)
	require.NoError(t, err)
	e.Revision = 1
	n, err := shop.ApplyNote(nil, e)
	require.NoError(t, err)
	if state == catalog.NoteConfirmed {
		e, err := n.Confirm("bench 2", &shop.Rules{}, noted{n})
		require.NoError(t, err)
		e.Revision = 2
		n, err = shop.ApplyNote(n, e)
		require.NoError(t, err)
	}
	return noted{n}
}

// What came wrong is named with what it would fit.
func TestForeign(t *testing.T) {
	b := opened(t, demoWorld(t), "ALDER", line(1, "", "NEW-1", 1))
	c := b.book("OTHER-1").Checks[0]
	require.Equal(t, resolve.DoesNotFit, c.Fit.Unit.Verdict)
	require.Equal(t, "set", c.Fit.Unit.Roles[0].Role)
	if d := cmp.Diff([]goods.Use{{Scope: catalog.FitVariant, Of: "BIRCH", Family: "F", Role: "set", Name: "set", Own: true}}, c.Fit.Serves); d != "" {
		t.Error(d)
	}
	c = b.book("OLD-1").Checks[0]
	require.Equal(t, []goods.Like{{Line: 1, Part: "NEW-1", Why: goods.ReplacedBy}}, c.Fit.Like)
	c = b.book("NEW-2").Checks[0]
	require.Equal(t, goods.Serves, c.Verdict)
	require.Equal(t, resolve.Fits, c.Unit.Verdict)
	require.True(t, slices.ContainsFunc(c.Expect, func(e goods.Expect) bool {
		return e.Kind == goods.ExpectReplaces && e.Other == "NEW-1" && e.Text == "the plug is longer"
	}), "%+v", c.Expect)
	var needs []string
	for _, n := range c.Needs {
		needs = append(needs, fmt.Sprintf("%d %s %s %s", n.Qty, n.Part, n.Where, n.Place))
	}
	require.Equal(t, []string{"2 CLIP shelf drawer 1", "1 PLUG missing "}, needs)
}

// Whatever is done in whatever order, the counts are those of a plain model that
// holds every piece as a thing of its own, and reading the receipts back gives the
// same state.
func TestCountsAreThoseOfThePieces(t *testing.T) {
	type piece struct{ state string } // new, looked, odd, gone
	cat := demoWorld(t)
	rapid.Check(t, func(rt *rapid.T) {
		wanted := rapid.IntRange(1, 6).Draw(rt, "wanted")
		o := &goods.Order{Number: "P-1", Supplier: "near", Lines: []goods.Line{line(1, "", "NEW-1", wanted)}}
		desk := goods.New(cat, resolve.Edition{}, o, nil, nil)
		var pieces []*piece
		here := func(states ...string) (out []*piece) {
			for _, s := range states {
				for _, p := range pieces {
					if p.state == s {
						out = append(out, p)
					}
				}
			}
			return out
		}
		var kept []goods.Receipt
		for range rapid.IntRange(1, 12).Draw(rt, "steps") {
			do := rapid.SampledFrom([]goods.Do{goods.Came, goods.Came, goods.Looked, goods.Odd, goods.Returned, goods.Kept}).Draw(rt, "do")
			n := rapid.IntRange(1, 4).Draw(rt, "n")
			there := here("odd", "new", "looked")
			more := max(len(there)-wanted, 0)
			res, err := desk.Receive(goods.Delivery{Again: true, Because: "x", Items: []goods.Item{{Do: do, Number: "NEW-1", Count: fmt.Sprint(n), Saw: "white"}}})
			allowed := true
			var which []*piece
			to := map[goods.Do]string{goods.Looked: "looked", goods.Odd: "odd", goods.Returned: "gone", goods.Kept: "gone"}[do]
			switch do {
			case goods.Came:
				for range n {
					pieces = append(pieces, &piece{"new"})
				}
			case goods.Looked:
				which = here("new", "odd")
			case goods.Odd:
				if which = here("new"); len(which) == 0 {
					which = here("looked")
				}
			case goods.Returned:
				which, allowed = there, n <= len(there)
			case goods.Kept:
				which, allowed = there, n <= more
			}
			if do != goods.Came && (len(which) == 0 || !allowed) {
				require.Error(rt, err)
				continue
			}
			require.NoError(rt, err)
			for _, p := range which[:min(n, len(which))] {
				p.state = to
			}
			text, err := json.Marshal(res.Receipt)
			require.NoError(rt, err)
			var r goods.Receipt
			require.NoError(rt, json.Unmarshal(text, &r))
			kept = append(kept, r)
			desk.Keep(*res.Receipt)
			state, err := desk.State()
			require.NoError(rt, err)
			again, err := goods.New(cat, resolve.Edition{}, o, nil, kept).State()
			require.NoError(rt, err)
			if d := cmp.Diff(state, again); d != "" {
				rt.Fatal(d)
			}
			l := state.Lines[0]
			require.Equal(rt, len(here("odd", "new", "looked")), l.Here)
			require.Equal(rt, len(here("new")), l.Unseen)
			odd := 0
			for _, p := range l.Pieces {
				odd += p.Odd
			}
			require.Equal(rt, len(here("odd")), odd)
			require.Equal(rt, l.Here == wanted && odd == 0 && l.Unseen == 0, l.Complete)
		}
	})
}

// Whatever is typed, it is answered: booked as a part of the catalogue, or refused
// with what to do, and then nothing has changed.
func TestAnyTextIsAnswered(t *testing.T) {
	cat := demoWorld(t)
	words := []string{"NEW-1", "RING", "TWICE", "S/1", "part:", "stock:", "P0003-1", "2,S/2,RING,1", "=", "%", "\"", "1", "p", " ", "-", "\x00", "\xff", "é", "\n"}
	rapid.Check(t, func(rt *rapid.T) {
		text := func(name string) string {
			return strings.Join(rapid.SliceOfN(rapid.SampledFrom(words), 0, 4).Draw(rt, name), "")
		}
		b := opened(t, cat, "", line(1, "S/1", "NEW-1", 1), line(2, "S/2", "RING", 6))
		b.book("NEW-1", "RING=2")
		before := b.told()
		do := rapid.SampledFrom([]goods.Do{goods.Came, goods.Looked, goods.Odd, goods.Returned, goods.Kept, goods.Corrected}).Draw(rt, "do")
		res, err := b.d.Receive(goods.Delivery{Note: text("note"), Because: text("because"), Items: []goods.Item{{Do: do, Number: text("number"), Count: text("count"), Saw: text("saw")}}})
		require.Equal(rt, before, b.told())
		if err == nil {
			for _, c := range res.Checks {
				require.NotEmpty(rt, c.Part)
			}
			for _, e := range res.Receipt.Entries {
				require.True(rt, e.Qty > 0 || e.Do == goods.Corrected && e.Qty != 0, "%+v", e)
			}
			return
		}
		var refused *catalog.RefusedError
		require.ErrorAs(rt, err, &refused)
		for _, f := range refused.Findings {
			require.NotEmpty(rt, f.What)
			require.NotEmpty(rt, f.Mend)
		}
	})
}
