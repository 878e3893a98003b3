package index

import (
	"encoding/csv"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"unicode"

	"github.com/stretchr/testify/require"

	"platewright/catalog"
)

// shopNotes are notes of a shop as a test has them.
type shopNotes struct {
	list   []Note
	change []int // by note, the change that made it as it is
}

func (s *shopNotes) Change() (int, error) {
	most := 0
	for _, c := range s.change {
		most = max(most, c)
	}
	return most, nil
}

func (s *shopNotes) Since(change int, each func(Note) error) error {
	for i, n := range s.list {
		if s.change[i] > change {
			if err := each(n); err != nil {
				return err
			}
		}
	}
	return nil
}

func (s *shopNotes) Note(id string) (Note, bool, error) {
	for _, n := range s.list {
		if n.ID == id {
			return n, true, nil
		}
	}
	return Note{}, false, nil
}

func (s *shopNotes) add(n Note) {
	most, _ := s.Change()
	s.list, s.change = append(s.list, n), append(s.change, most+1)
}

func records(t testing.TB, name string) []map[string]string {
	t.Helper()
	f, err := os.Open(filepath.Join("testdata", "search", name))
	require.NoError(t, err)
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	var out []map[string]string
	for _, r := range all[1:] {
		m := map[string]string{}
		for i, h := range all[0] {
			m[h] = r[i]
		}
		out = append(out, m)
	}
	return out
}

// shop gives the notes under testdata and further ones between which they have
// to be found: words of the trade in no order that means anything.
func shop(t testing.TB, more int) *shopNotes {
	s := &shopNotes{}
	for _, r := range records(t, "notes.csv") {
		s.add(Note{ID: r["note"], On: r["on"], Of: r["of"], Kind: r["kind"], State: r["state"], Family: r["family"], Text: r["text"], Evidence: r["evidence"], Alias: r["alias"], Author: "bench 1", Dated: "2024-05-02"})
	}
	r := rand.New(rand.NewPCG(7, 11))
	words := strings.Fields(`ring seal sleeve plug pan bolt gasket kit set coil cap wire loom plate clutch piston valve body spring shaft bush screw magnet
		cover drain fill level fluid cooler line tube sensor module harness connector pin worn bent cracked tight loose short long wide narrow hard soft clean
		dirty dry wet warm cold new old left right upper lower front rear inner outer first second third measured fitted leaked held slipped checked changed
		cleaned turned pressed pulled marked noted returned wrong side again twice once batch box drawer van tractor minibus actuator filter white black grey
		blue violet green red`)
	parts := []string{"DRK-4110-S", "DRK-6210-G", "204.P.110", "UY54/001", "HCK-62100", "DRK-5210-L", "DRK-8110-M", "206.P.118", "UY51/010", "DRK-6310-F"}
	for i := range more {
		var text []string
		for range 12 + r.IntN(20) {
			text = append(text, words[int(float64(len(words))*r.Float64()*r.Float64())])
		}
		s.add(Note{ID: fmt.Sprintf("g%04d", i), On: "part", Of: parts[r.IntN(len(parts))], Kind: "remark", State: "open", Text: strings.Join(text, " ") + ".", Author: "bench 2", Dated: "2024-05-03"})
	}
	return s
}

// name says what a hit is, as the wanted ones are written.
func name(h Hit) string {
	if h.Kind == KindWork {
		return "scope " + h.Code
	}
	return string(h.Kind) + " " + h.Code
}

type asked struct {
	group, text string
	want        []string
}

func queries(t testing.TB) []asked {
	var out []asked
	for _, r := range records(t, "queries.csv") {
		out = append(out, asked{r["group"], r["query"], strings.Split(r["want"], ";")})
	}
	return out
}

const depth = 10 // how far down the lists are looked at

// TestQuality asks the queries under testdata/search, written from how people
// ask about the invented catalogue of the demo and invented notes, and asks
// SQLite's FTS5 the same over the same documents, by all ways of asking that a
// shop would try. Ours has to be better in every group.
//
// go test ./index -run TestQuality -v prints the table.
func TestQuality(t *testing.T) {
	if testing.Short() {
		t.Skip("short")
	}
	cat, notes := demo(t), shop(t, 1500)
	x := open(t, cat, Options{Notes: notes})
	list := queries(t)
	if len(list) < 120 {
		t.Fatalf("%d queries, at least 120 are wanted", len(list))
	}
	ours := make([][]string, len(list))
	for i, q := range list {
		for _, h := range search(t, x, Query{Text: q.text, Limit: depth}).Hits {
			ours[i] = append(ours[i], name(h))
		}
	}
	ways, theirs := fts5(t, cat, notes, list)
	var groups []string
	for _, q := range list {
		if !slices.Contains(groups, q.group) {
			groups = append(groups, q.group)
		}
	}
	figures := func(of [][]string, group string) (rr, rec float64) {
		var a, b []float64
		for i, q := range list {
			if group == "" || q.group == group {
				a, b = append(a, reciprocalRank(of[i], q.want)), append(b, recall(of[i], q.want))
			}
		}
		return mean(a), mean(b)
	}
	table := fmt.Sprintf("%-24s %3s  %s  %s", "queries", "n", "ours: rank recall", strings.Join(ways, "  "))
	for _, g := range append(groups, "") {
		n := 0
		for _, q := range list {
			if g == "" || q.group == g {
				n++
			}
		}
		rr, rec := figures(ours, g)
		line := fmt.Sprintf("\n%-24s %3d        %.3f %.3f ", orAll(g), n, rr, rec)
		for w, way := range ways {
			a, b := figures(theirs[w], g)
			line += fmt.Sprintf("  %*s", len(way), fmt.Sprintf("%.3f %.3f", a, b))
			if rr <= a || rec < b {
				t.Errorf("%s: ours %.3f %.3f, FTS5 (%s) %.3f %.3f", orAll(g), rr, rec, way, a, b)
			}
		}
		table += line
	}
	t.Logf("mean reciprocal rank and recall among the first %d\n%s", depth, table)
	for i, q := range list {
		if r := recall(ours[i], q.want); r < 1 || reciprocalRank(ours[i], q.want) < 0.5 {
			t.Logf("%s: %q wants %v, got %v", q.group, q.text, q.want, ours[i])
		}
	}
}

func orAll(group string) string {
	if group == "" {
		return "all"
	}
	return group
}

// fts5 asks SQLite. Every document is a row with the same texts; the words of a
// query are quoted, so that nothing in it is taken for an operator.
func fts5(t *testing.T, cat Reader, notes *shopNotes, list []asked) (ways []string, out [][][]string) {
	t.Helper()
	if _, err := exec.LookPath("sqlite3"); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("sqlite3 is not installed: the comparison has to run")
		}
		t.Skip("sqlite3 is not installed: SKIPPED the comparison with FTS5")
	}
	var sql strings.Builder
	sql.WriteString("CREATE VIRTUAL TABLE d USING fts5(id UNINDEXED, number, name, text, context, tokenize='porter unicode61');\nBEGIN;\n")
	literal := func(s string) string { return "'" + strings.ReplaceAll(s, "'", "''") + "'" }
	row := func(id, number, name, text, context string) {
		fmt.Fprintf(&sql, "INSERT INTO d VALUES(%s,%s,%s,%s,%s);\n", literal(id), literal(number+" "+catalog.Fold(number)), literal(name), literal(text), literal(context))
	}
	join := func(fields []Field) string {
		var s []string
		for _, f := range fields {
			s = append(s, f.Text)
		}
		return strings.Join(s, " | ")
	}
	inv, err := takeInventory(cat, func(int) error { return nil })
	require.NoError(t, err)
	require.NoError(t, documents(cat, inv, func(d *document) error {
		code := d.key
		if r, err := (&Index{reader: cat}).rowOf(d.table, d.key); err == nil && r != nil {
			_, code, _ = describe(r)
		}
		h := Hit{Kind: d.kind, Code: code}
		row(name(h), code, d.fields[0].Text, join(d.fields[1:]), join(append(d.context, d.more...)))
		return nil
	}))
	look := newLookup(cat)
	for _, n := range notes.list {
		d, err := noteDocument(look, n, func(p string) (*links, error) { return inv.parts[p], nil })
		require.NoError(t, err)
		row("note "+n.ID, n.Alias, d.fields[0].Text, join(d.fields[1:]), join(append(d.context, d.more...)))
	}
	for r, err := range cat.Rows(catalog.TableByName(catalog.TOffers)) {
		require.NoError(t, err)
		o := r.(*catalog.Offer)
		row("stock "+o.Stock, o.Stock, "", "", "") // found by number alone, as with us
	}
	sql.WriteString("COMMIT;\n.mode tabs\n")
	ways = []string{"FTS5 all words", "any word", "all, then any", "all begun, then any"}
	rank := "ORDER BY bm25(d, 0, 6, 6, 3, 1), rowid LIMIT 10"
	for w := range ways {
		for i, q := range list {
			words := strings.FieldsFunc(strings.ToLower(q.text), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) })
			all, any, begun := []string{}, []string{}, []string{}
			for _, s := range words {
				all, any, begun = append(all, `"`+s+`"`), append(any, `"`+s+`"`), append(begun, `"`+s+`"*`)
			}
			ask := func(match string) {
				fmt.Fprintf(&sql, "SELECT %d, %d, id FROM d WHERE d MATCH %s %s;\n", w, i, literal(match), rank)
			}
			switch w {
			case 0:
				ask(strings.Join(all, " AND "))
			case 1:
				ask(strings.Join(any, " OR "))
			case 2:
				ask(strings.Join(all, " AND "))
				ask(strings.Join(any, " OR "))
			case 3:
				ask(strings.Join(begun, " AND "))
				ask(strings.Join(begun, " OR "))
			}
		}
	}
	cmd := exec.Command("sqlite3", ":memory:")
	cmd.Stdin = strings.NewReader(sql.String())
	text, err := cmd.CombinedOutput()
	require.NoError(t, err, string(text[:min(len(text), 500)]))
	out = make([][][]string, len(ways))
	for w := range ways {
		out[w] = make([][]string, len(list))
	}
	for _, line := range strings.Split(strings.TrimSpace(string(text)), "\n") {
		var w, i int
		f := strings.SplitN(line, "\t", 3)
		require.Len(t, f, 3, line)
		_, err := fmt.Sscan(f[0]+" "+f[1], &w, &i)
		require.NoError(t, err, line)
		if l := out[w][i]; len(l) < depth && !slices.Contains(l, f[2]) {
			out[w][i] = append(l, f[2])
		}
	}
	return ways, out
}
