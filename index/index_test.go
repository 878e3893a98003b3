package index

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"
	"unicode"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/stretchr/testify/require"

	"platewright/catalog"
)

// probes are queries that touch every part of an index.
var probes = []string{"solenoid set 10 ohm", "gaskett", "ends in 218", "DRK-41?0-S", "\"valve body\"", "burr in the bore", "OLD88213", "sep*"}

func answers(t testing.TB, x *Index) []*Result {
	var out []*Result
	for _, q := range probes {
		r := search(t, x, Query{Text: q, Limit: 30, Facets: true})
		r.Index = State{}
		out = append(out, r)
	}
	return out
}

var sameHits = cmp.Options{cmpopts.IgnoreUnexported(Hit{}), cmpopts.EquateApprox(1e-5, 0)}

// An index that is not as it should be is made anew by itself, says why, and
// answers as if nothing had been.
func TestWhatIsWrongIsMended(t *testing.T) {
	cat, notes := demo(t), shop(t, 50)
	want := answers(t, open(t, cat, Options{Notes: notes}))
	dir := t.TempDir()
	o := Options{Dir: dir, Edition: 3, Digest: "abc", Notes: notes}
	x := open(t, cat, o)
	if s := x.State(); s.How != FromRebuilt || s.Why != "there was none yet" {
		t.Errorf("the first opening says %+v", s)
	}
	if d := cmp.Diff(want, answers(t, x), sameHits); d != "" {
		t.Errorf("on disk it answers otherwise than in memory (-memory +disk):\n%s", d)
	}
	if s := open(t, cat, o).State(); s.How != FromIndex || s.Why != "" {
		t.Errorf("the second opening says %+v", s)
	}
	folders, err := filepath.Glob(filepath.Join(dir, folderName, "*-*"))
	require.NoError(t, err)
	require.Len(t, folders, 2)
	flip := func(name string, at int) func(string) error {
		return func(folder string) error {
			path := filepath.Join(folder, name)
			b, err := os.ReadFile(path)
			if err != nil || len(b) == 0 {
				return err
			}
			b[(at%len(b)+len(b))%len(b)] ^= 4
			return os.WriteFile(path, b, 0o666)
		}
	}
	cut := func(name string) func(string) error {
		return func(folder string) error {
			st, err := os.Stat(filepath.Join(folder, name))
			if err != nil {
				return err
			}
			return os.Truncate(filepath.Join(folder, name), st.Size()/2)
		}
	}
	gone := func(name string) func(string) error {
		return func(folder string) error { return os.RemoveAll(filepath.Join(folder, name)) }
	}
	cases := map[string]func(string) error{
		"no stamp": gone(stampName), "half a stamp": cut(stampName), "a flipped stamp": flip(stampName, 300), "nothing": gone(""),
		"a stamp of nothing": func(folder string) error { return os.WriteFile(filepath.Join(folder, stampName), nil, 0o666) },
	}
	for _, name := range []string{segmentName, docsName, wordsName, numbersName, stockName} {
		cases["no "+name], cases["half of "+name] = gone(name), cut(name)
		for i := range 3 {
			cases[fmt.Sprintf("%s flipped at %d", name, i)] = flip(name, i*7919)
		}
		cases[name+" flipped at its end"] = flip(name, -3)
	}
	for _, what := range sortedKeys(cases) {
		for _, folder := range folders {
			open(t, cat, o)
			require.NoError(t, cases[what](folder))
			x := open(t, cat, o)
			got := answers(t, x)
			if d := cmp.Diff(want, got, sameHits); d != "" {
				t.Errorf("%s in %s (-want +got):\n%s", what, filepath.Base(folder), d)
			}
			if s := x.State(); s.How != FromRebuilt || s.Why == "" {
				t.Errorf("%s in %s: it says %+v", what, filepath.Base(folder), s)
			}
			if s := open(t, cat, o).State(); s.How != FromIndex {
				t.Errorf("%s in %s: after mending it says %+v", what, filepath.Base(folder), s)
			}
		}
	}
}

// A file that is cut short while it is in use is noticed, and the search answers
// all the same.
func TestCutShortWhileInUse(t *testing.T) {
	cat, dir := demo(t), t.TempDir()
	want := answers(t, open(t, cat, Options{}))
	x := open(t, cat, Options{Dir: dir, Edition: 1, Digest: "a"})
	files, err := filepath.Glob(filepath.Join(dir, folderName, "*-*", "*"))
	require.NoError(t, err)
	for _, f := range files {
		require.NoError(t, os.Truncate(f, 0))
	}
	got := answers(t, x)
	if d := cmp.Diff(want, got, sameHits); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
	if s := x.State(); s.How != FromRebuilt || s.Why == "" {
		t.Errorf("it says %+v", s)
	}
}

// Another edition needs another index, and the old one goes.
func TestAnotherEdition(t *testing.T) {
	cat, dir := demo(t), t.TempDir()
	open(t, cat, Options{Dir: dir, Edition: 1, Digest: "a"})
	x := open(t, cat, Options{Dir: dir, Edition: 2, Digest: "b"})
	if s := x.State(); s.How != FromRebuilt || s.Why != "the catalogue changed" || s.Edition != 2 {
		t.Errorf("it says %+v", s)
	}
	folders, err := filepath.Glob(filepath.Join(dir, folderName, "*-*"))
	require.NoError(t, err)
	if len(folders) != 1 {
		t.Errorf("these are left: %v", folders)
	}
	// What a newer program made is left alone, and does not stand in the way.
	newer := filepath.Join(dir, folderName, "catalogue-999.1.1-2-x")
	require.NoError(t, os.Mkdir(newer, 0o777))
	open(t, cat, Options{Dir: dir, Edition: 3, Digest: "c"})
	if _, err := os.Stat(newer); err != nil {
		t.Errorf("the newer program's index is gone: %v", err)
	}
}

// Where nothing can be kept, the catalogue is read through.
func TestAnswersWithoutAFolder(t *testing.T) {
	cat, dir := demo(t), t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, folderName), []byte("in the way"), 0o666))
	x := open(t, cat, Options{Dir: dir, Edition: 1, Digest: "a"})
	if s := x.State(); s.How != FromReading || !strings.Contains(s.Why, "cannot be written") {
		t.Errorf("it says %+v", s)
	}
	if d := cmp.Diff(answers(t, open(t, cat, Options{})), answers(t, x), sameHits); d != "" {
		t.Error(d)
	}
}

// While another process builds, a search waits for a while, then reads the
// catalogue through; it never hangs.
func TestAnotherProcessBuilds(t *testing.T) {
	cat, dir := demo(t), t.TempDir()
	root := filepath.Join(dir, folderName)
	require.NoError(t, os.Mkdir(root, 0o777))
	lock, err := lockFolder(t.Context(), root, 0, nil)
	require.NoError(t, err)
	o := Options{Dir: dir, Edition: 1, Digest: "a", Wait: 60 * time.Millisecond}
	if s := open(t, cat, o).State(); s.How != FromReading || s.Why != "another process is building the index" {
		t.Errorf("it says %+v", s)
	}
	// A wait is ended by a context.
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	o.Wait = time.Hour
	if _, err := Open(ctx, cat, o); !errors.Is(err, context.Canceled) {
		t.Errorf("a cancelled wait ends with %v", err)
	}
	lock.release()
	// Many at once: one builds, all answer.
	var wg sync.WaitGroup
	for range 8 {
		wg.Go(func() {
			x, err := Open(context.Background(), cat, Options{Dir: dir, Edition: 2, Digest: "b", Wait: time.Minute})
			if err != nil {
				t.Error(err)
				return
			}
			if s := x.State(); s.How == FromReading {
				t.Errorf("it says %+v", s)
			}
			if err := x.Close(); err != nil {
				t.Error(err)
			}
		})
	}
	wg.Wait()
}

const childDir = "INDEX_TEST_DIR"

// TestMain lets the test program build indexes until it is killed.
func TestMain(m *testing.M) {
	if dir := os.Getenv(childDir); dir != "" {
		for n := 1; ; n++ {
			x, err := Open(context.Background(), childCatalogue(), Options{Dir: dir, Edition: n, Digest: "child", Notes: &shopNotes{}})
			if err != nil {
				fmt.Fprintln(os.Stderr, err)
				os.Exit(1)
			}
			_ = x.Close()
			_ = os.WriteFile(filepath.Join(dir, "done"), fmt.Append(nil, n), 0o666)
		}
	}
	os.Exit(m.Run())
}

func childCatalogue() inMemory {
	t := &testing.T{}
	return demo(t)
}

// Killed at any moment, it recovers.
func TestKilledWhileBuilding(t *testing.T) {
	cat := demo(t)
	want := answers(t, open(t, cat, Options{Notes: &shopNotes{}}))
	dir := t.TempDir()
	self, err := os.Executable()
	require.NoError(t, err)
	r := rand.New(rand.NewPCG(1, 2))
	begun := time.Now()
	whole := time.Duration(0) // what a child takes for its first index
	for i := range 8 {
		cmd := exec.Command(self)
		cmd.Env = append(os.Environ(), childDir+"="+dir)
		var talk strings.Builder
		cmd.Stderr = &talk
		require.NoError(t, cmd.Start())
		if i == 0 {
			for _, err := os.Stat(filepath.Join(dir, "done")); err != nil && time.Since(begun) < time.Minute; _, err = os.Stat(filepath.Join(dir, "done")) {
				time.Sleep(5 * time.Millisecond)
			}
			whole = time.Since(begun)
		} else {
			time.Sleep(whole/4 + time.Duration(r.Int64N(int64(whole))))
		}
		require.NoError(t, cmd.Process.Kill())
		_ = cmd.Wait()
		if talk.Len() > 0 {
			t.Fatalf("the child said: %s", talk.String())
		}
		// Each edition that it could have left is opened as it stands.
		for _, e := range []int{1, 2, 1000 + i} {
			x := open(t, cat, Options{Dir: dir, Edition: e, Digest: "child", Notes: &shopNotes{}})
			if s := x.State(); s.How == FromReading {
				t.Errorf("kill %d, edition %d: it says %+v", i, e, s)
			}
			if d := cmp.Diff(want, answers(t, x), sameHits); d != "" {
				t.Errorf("kill %d, edition %d (-want +got):\n%s", i, e, d)
			}
		}
	}
	if _, err := os.Stat(filepath.Join(dir, "done")); err != nil {
		t.Error("no child ever finished an index")
	}
	left, err := filepath.Glob(filepath.Join(dir, folderName, newPrefix+"*"))
	require.NoError(t, err)
	if len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
}

// A note is found at once after it was saved, by its new text and not by its old
// one, without the index being touched; many changes bring the index up to date.
func TestNotesAreFoundAtOnce(t *testing.T) {
	cat, notes, dir := demo(t), shop(t, 0), t.TempDir()
	o := Options{Dir: dir, Edition: 1, Digest: "a", Notes: notes}
	open(t, cat, o)
	found := func(text string) (ids []string, s State) {
		x := open(t, cat, o)
		for _, h := range search(t, x, Query{Text: text, Kinds: []Kind{KindNote}}).Hits {
			ids = append(ids, h.Code)
		}
		return ids, x.State()
	}
	notes.add(Note{ID: "z1", On: "part", Of: "DRK-4110-S", Kind: "remark", State: "open", Text: "Quibbleworth spigot rattles.", Alias: ""})
	ids, s := found("quibbleworth spigots")
	if !slices.Equal(ids, []string{"z1"}) || s.How != FromIndex || s.Notes != 1 {
		t.Errorf("after saving: %v, %+v", ids, s)
	}
	i := len(notes.list) - 1
	notes.list[i].Text, notes.change[i] = "Flangewise grommet hums.", notes.change[i]+1
	if ids, _ := found("quibbleworth"); len(ids) > 0 {
		t.Errorf("the old text still finds %v", ids)
	}
	if ids, _ := found("flangewise"); !slices.Equal(ids, []string{"z1"}) {
		t.Errorf("the new text finds %v", ids)
	}
	// A note that the index holds and that was changed since.
	notes.list[3].Text, notes.change[3] = "Collar was turned down on the lathe.", notes.change[i]+1
	if ids, _ := found("burr bore"); len(ids) > 0 {
		t.Errorf("the old text of an indexed note still finds %v", ids)
	}
	if ids, _ := found("lathe"); !slices.Equal(ids, []string{"h04"}) {
		t.Errorf("the new text of an indexed note finds %v", ids)
	}
	for n := range mostPending + 5 {
		notes.add(Note{ID: fmt.Sprint("y", n), On: "work", Of: "fluid-service", Kind: "remark", State: "open", Text: fmt.Sprintf("Ledger line %d.", n)})
	}
	if _, s := found("ledger"); s.How != FromRebuilt || s.Notes != 0 || s.Why != "the notes changed" {
		t.Errorf("after many changes: %+v", s)
	}
	if ids, s := found("flangewise"); !slices.Equal(ids, []string{"z1"}) || s.How != FromIndex {
		t.Errorf("after many changes: %v, %+v", ids, s)
	}
	// A number that a note has for a part is a number like others.
	notes.add(Note{ID: "z2", On: "part", Of: "DRK-4110-S", Kind: "alias", State: "open", Text: "On the box.", Alias: "QQ-77.120 Z"})
	x := open(t, cat, o)
	hits := search(t, x, Query{Text: "qq77120z"}).Hits
	if len(hits) == 0 || hits[0].Code != "z2" || !hits[0].Exact || hits[0].Of != "DRK-4110-S" {
		t.Errorf("the alias finds %+v", hits)
	}
	// A note on something that is gone is found all the same.
	notes.add(Note{ID: "z3", On: "part", Of: "GONE-1", Kind: "remark", State: "withdrawn", Text: "Wimblesnatch."})
	if ids, _ := found("wimblesnatch"); !slices.Equal(ids, []string{"z3"}) {
		t.Errorf("a note on a part that is gone: %v", ids)
	}
}

// Every number of the catalogue, whole and however it is separated, is the first
// hit.
func TestWholeNumbersStandFirst(t *testing.T) {
	cat := demo(t)
	x := open(t, cat, Options{Notes: shop(t, 200)})
	r := rand.New(rand.NewPCG(3, 4))
	seps := []string{"", "-", " ", ".", "/"}
	for _, table := range []string{catalog.TParts, catalog.TNumbers, catalog.TVariants, catalog.TOffers} {
		n := 0
		for row, err := range cat.Rows(catalog.TableByName(table)) {
			require.NoError(t, err)
			var number string
			switch v := row.(type) {
			case *catalog.Part:
				number = string(v.Part)
			case *catalog.Number:
				number = v.Number
			case *catalog.Variant:
				number = string(v.Variant)
			case *catalog.Offer:
				number = v.Stock
			}
			if n++; n > 120 {
				break
			}
			words := strings.FieldsFunc(number, func(c rune) bool { return strings.ContainsRune(" -./", c) })
			asked := strings.Join(words, seps[r.IntN(len(seps))])
			if r.IntN(2) == 0 {
				asked = strings.ToLower(asked)
			}
			hits := search(t, x, Query{Text: asked, Limit: 5}).Hits
			if len(hits) == 0 || !hits[0].Exact || catalog.Fold(hits[0].Code) != catalog.Fold(number) {
				t.Errorf("%q for %s: %+v", asked, number, hits)
			}
		}
	}
}

// Pages follow one another without a gap and without a repetition, in one order.
func TestPages(t *testing.T) {
	x := open(t, demo(t), Options{Notes: shop(t, 300)})
	for _, text := range []string{"gasket", "pan seal", "41", ""} {
		q := Query{Text: text, Kinds: []Kind{KindPart, KindKit, KindNote, KindStock}}
		var want []string
		q.Limit = 1000
		all := search(t, x, q)
		for _, h := range all.Hits {
			want = append(want, string(h.Kind)+" "+h.Code+" "+h.key)
		}
		if len(want) != min(all.Total, 1000) {
			t.Errorf("%q: %d hits of %d", text, len(want), all.Total)
		}
		q.Limit = 7
		var got []string
		for len(got) < len(want) {
			q.Offset = len(got)
			r := search(t, x, q)
			if len(r.Hits) == 0 {
				break
			}
			for _, h := range r.Hits {
				got = append(got, string(h.Kind)+" "+h.Code+" "+h.key)
			}
		}
		if d := cmp.Diff(want, got); d != "" {
			t.Errorf("%q (-at once +in pages):\n%s", text, d)
		}
	}
}

// Filters leave what belongs, and facets count it.
func TestFiltersAndFacets(t *testing.T) {
	x := open(t, demo(t), Options{Notes: shop(t, 300)})
	r := search(t, x, Query{Text: "gasket", Limit: 1000, Facets: true})
	for _, f := range r.Facets {
		for _, v := range f.Values {
			q := Query{Text: "gasket", Limit: 1000}
			switch f.Name {
			case "kind":
				q.Kinds = []Kind{Kind(v.Value)}
			case "maker":
				q.Makers = []string{v.Value}
			case "family":
				q.Families = []string{strings.ToLower(v.Value)}
			case "role":
				q.Roles = []string{v.Value}
			}
			got := search(t, x, q)
			// Fewer hits can have a weaker best one, and with it weaker others.
			if got.Total < v.Count {
				t.Errorf("%s %s: %d hits, the facet counts %d", f.Name, v.Value, got.Total, v.Count)
			}
			for _, h := range got.Hits {
				list := map[string][]string{"kind": {string(h.Kind)}, "maker": h.Makers, "family": h.Families, "role": h.Roles}[f.Name]
				if !slices.Contains(list, v.Value) {
					t.Errorf("%s %s: %s %s has %v", f.Name, v.Value, h.Kind, h.Code, list)
				}
			}
		}
	}
	for _, c := range []struct {
		q    Query
		want string
	}{
		{Query{Text: "pan gasket", Families: []string{"XUK"}, Kinds: []Kind{KindPart}, Limit: 2}, "part DRK-6610-G;part DRK-6611-G"},
		{Query{Kinds: []Kind{KindFamily}, Makers: []string{"drosk"}}, "family XEB;family XUK"},
		{Query{Kinds: []Kind{KindSpec}, Sources: []string{"pelm-list"}}, "spec PQ-6;spec PQ-8"},
		{Query{Text: "L20042", Families: []string{"XEB"}}, ""},
		{Query{Text: "L20042", Families: []string{"PM31"}}, "stock L20042"},
	} {
		if c.q.Limit == 0 {
			c.q.Limit = 100
		}
		var got []string
		for _, h := range search(t, x, c.q).Hits {
			got = append(got, name(h))
		}
		slices.Sort(got)
		if d := cmp.Diff(c.want, strings.Join(got, ";")); d != "" {
			t.Errorf("%+v (-want +got):\n%s", c.q, d)
		}
	}
}

// Where many things hold every word, what lacks one is no hit; where few do, it
// is one, and says what it lacks.
func TestEveryWord(t *testing.T) {
	x := open(t, demo(t), Options{Notes: shop(t, 300)})
	r := search(t, x, Query{Text: "pan gasket", Limit: 1000})
	if r.Total < enough {
		t.Fatalf("only %d hits", r.Total)
	}
	for _, h := range r.Hits {
		if len(h.Missing) > 0 {
			t.Errorf("%s %s lacks %v", h.Kind, h.Code, h.Missing)
		}
	}
	r = search(t, x, Query{Text: "stepped pan gasket with a wide bead", Limit: 1000})
	lacking := 0
	for i, h := range r.Hits {
		if len(h.Missing) > 0 {
			lacking++
		} else if lacking > 0 && i < 3 {
			t.Errorf("%s %s holds every word and stands behind one that does not", h.Kind, h.Code)
		}
	}
	if lacking == 0 || r.Hits[0].Code != "DRK-6213-G" {
		t.Errorf("%d hits lack a word, the first is %s", lacking, r.Hits[0].Code)
	}
}

// Words in quotes follow one another.
func TestPhrases(t *testing.T) {
	x := open(t, demo(t), Options{Notes: shop(t, 500)})
	r := search(t, x, Query{Text: `"valve body seal kit"`, Limit: 200})
	if len(r.Hits) == 0 {
		t.Fatal("the phrase finds nothing")
	}
	for _, h := range r.Hits {
		ok := false
		for _, f := range h.Fields {
			ok = ok || strings.Contains(strings.ToLower(f.Text), "valve body seal kit")
		}
		if !ok {
			t.Errorf("%s %s does not hold the phrase: %+v", h.Kind, h.Code, h.Fields)
		}
	}
	if r := search(t, x, Query{Text: `"kit seal body valve"`}); r.Total > 0 {
		t.Errorf("the words in another order find %d", r.Total)
	}
}

// safe tells what is wrong with a result as something to show.
func safe(r *Result) string {
	for _, h := range r.Hits {
		for _, f := range h.Fields {
			for _, c := range f.Text {
				if unicode.IsControl(c) || unicode.Is(unicode.Cf, c) || c == '\u2028' || c == '\u2029' {
					return fmt.Sprintf("%q holds %U", f.Text, c)
				}
			}
			last := 0
			for _, s := range f.Spans {
				if s.From < last || s.To <= s.From || s.To > len(f.Text) {
					return fmt.Sprintf("%q has the spans %v", f.Text, f.Spans)
				}
				last = s.To
			}
		}
	}
	return ""
}

// What would act on a screen is spelled out, and what matched is still marked.
func TestTextsAreHarmless(t *testing.T) {
	notes := &shopNotes{}
	notes.add(Note{ID: "e1", On: "part", Of: "DRK-4110-S\x1b[31m", Kind: "remark", State: "open",
		Text: "Bell\a and \x1b]0;title\x07 and \u202egnitirw\u202c <b>markup</b>\r\nzero\u200bwidth \xff grommet" + strings.Repeat(" padding", 1200) + " tailpiece"})
	x := open(t, demo(t), Options{Notes: notes})
	for _, q := range []string{"grommet", "tailpiece", "markup"} {
		r := search(t, x, Query{Text: q})
		if len(r.Hits) == 0 || r.Hits[0].Code != "e1" {
			t.Fatalf("%q finds %+v", q, r.Hits)
		}
		if s := safe(r); s != "" {
			t.Error(s)
		}
		marked := ""
		for _, f := range r.Hits[0].Fields {
			if len(f.Text) > mostShown+10 {
				t.Errorf("%q: a text of %d bytes is shown", q, len(f.Text))
			}
			for _, s := range f.Spans {
				marked += f.Text[s.From:s.To]
			}
		}
		if marked != q {
			t.Errorf("%q: marked is %q", q, marked)
		}
	}
}

// A query of any bytes has an answer that can be shown.
func FuzzSearch(f *testing.F) {
	cat := demo(f)
	x := open(f, cat, Options{Notes: shop(f, 20)})
	for _, q := range append(probes, `"`, `""`, "?", "???", "*", "a*b", "-- . //", "\x00\xff", "'; DROP TABLE x; --", "ends in", "double double two", "ﬁlter ½ Ω", "\u202e042", strings.Repeat("a ", 400), "e\u0301'", "1 2 3 4 5 6 7 8 9", "''''s", "ω?", "”“x„") {
		f.Add(q)
	}
	f.Fuzz(func(t *testing.T, q string) {
		r, err := x.Search(context.Background(), Query{Text: q, Facets: true})
		if err != nil {
			t.Fatalf("%q: %v", q, err)
		}
		if s := safe(r); s != "" {
			t.Errorf("%q: %s", q, s)
		}
		exact := true
		last := 0.0
		for i, h := range r.Hits {
			if h.Exact && !exact {
				t.Errorf("%q: an exact number behind others", q)
			}
			if i > 0 && h.Exact == exact && h.Score > last {
				t.Errorf("%q: the hits are out of order", q)
			}
			exact, last = h.Exact, h.Score
		}
		again, err := x.Search(context.Background(), Query{Text: q, Facets: true})
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(r, again, cmpopts.IgnoreUnexported(Hit{})); d != "" {
			t.Errorf("%q is answered in two ways (-first +second):\n%s", q, d)
		}
	})
}

// What counts a thing is less than what the thing is called, and stands in texts as
// a word and in digits.
func TestNumbersInWords(t *testing.T) {
	x := open(t, demo(t), Options{})
	for _, text := range []string{"solonoid kit ten ohm", "solenoid kit ten ohm"} {
		hits := search(t, x, Query{Text: text, Limit: 3}).Hits
		require.NotEmpty(t, hits)
		require.Equal(t, "205.P.120", hits[0].Code, text)
	}
	hits := search(t, x, Query{Text: "twelve"}).Hits
	require.NotEmpty(t, hits)
	require.Equal(t, "UY54/006", hits[0].Code, "12 bolts")
}

// A letter for the digit that looks like it is looked for where nothing else is found.
func TestMisreadNumbers(t *testing.T) {
	x := open(t, demo(t), Options{})
	for _, c := range []struct {
		text string
		read []string
		want []string
	}{
		{"411O", []string{"4110", "411"}, []string{"DRK-4110-S", "XEB-411-A"}},
		{"XEB-41l", []string{"XEB411"}, []string{"XEB-411-A"}},
		{"starts with DRK4Z", []string{"DRK42"}, []string{"DRK-4230-S"}},
	} {
		res := search(t, x, Query{Text: c.text, Limit: 30})
		require.Len(t, res.Words, 1)
		require.True(t, res.Words[0].Misread, c.text)
		require.Equal(t, c.read, res.Words[0].Read)
		var got []string
		for _, h := range res.Hits {
			got = append(got, h.Code)
		}
		for _, w := range c.want {
			require.Contains(t, got, w, c.text)
		}
	}
	// What is found as it was typed is taken for nothing else.
	for _, text := range []string{"4110", "DRK-4110-S", "XEB-411"} {
		require.False(t, search(t, x, Query{Text: text}).Words[0].Misread, text)
	}
}
