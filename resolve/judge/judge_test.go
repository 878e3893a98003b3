// The judge is a second program for the rules of a decision, written from
// DEVELOPERS.md alone, in SQL, and run by the sqlite3 shell (SQLite 3.40 or
// later; Debian package sqlite3) over the same catalogues and questions as
// package resolve. Where the two differ, one of them, or the page, is wrong.
//
// It covers, for every question and role: C1 to C2c with all kinds of marks; C3
// (its own reading of plates, with check characters, in plates_test.go); C4 to
// C9 with the smallest contradicting sets found by trying all sets; O1 to O8;
// V0; V1 with the common choices, their order, ranks and steps; V2, world by
// world; V3, what is safe to order and what is held; V4 for every part, world by
// world.
//
// It does not cover: hints and the order of candidates, near readings, excluded
// variants and their reasons, reasons and trails, what releases a held line,
// companions covered by another line (V3a), what a part's answer lists instead,
// kits that hold a part, look-alikes (L1 to L4), the next check (N1), plates
// given field by field, notes other than those that hold a line, conditions on
// measured and on hinting marks, a label that layouts of two assemblies could
// have produced, and catalogues with more than four assemblies in a row.
package judge_test

import (
	"fmt"
	"math/rand/v2"
	"regexp"
	"slices"
	"strings"
	"testing"

	"platewright/catalog"
	"platewright/catalog/pack"
	"platewright/resolve"
	"platewright/seed"
)

// worldSeeds is how many random worlds are judged, with six questions each.
const worldSeeds = 400

func randomWorlds(t *testing.T, from, to int) (worlds []*world, asks []ask, names []string) {
	t.Helper()
	for s := from; s < to; s++ {
		w, as := makeWorld(uint64(s))
		memoryOf(w).Check(func(f catalog.Finding) {
			if f.Severity != catalog.Remark {
				t.Fatalf("the generator made a catalogue that would be refused, seed %d: %s", s, f)
			}
		})
		for i, a := range as {
			a.world = len(worlds)
			asks = append(asks, a)
			names = append(names, fmt.Sprintf("seed %d, question %d", s, i))
		}
		worlds = append(worlds, w)
	}
	return worlds, asks, names
}

// TestRandomWorlds compares resolver and judge on small catalogues that are
// dense in what makes decisions hard.
func TestRandomWorlds(t *testing.T) {
	needJudge(t)
	t.Parallel()
	compareAll(t, func() ([]*world, []ask, []string) { return randomWorlds(t, 0, worldSeeds) })
}

// compareAll reports the first questions on which resolver and judge differ,
// with the smallest catalogue that still shows it.
func compareAll(t *testing.T, give func() ([]*world, []ask, []string)) {
	t.Helper()
	worlds, asks, names := give()
	resolvers := make([]*resolve.Resolver, len(worlds))
	for i, w := range worlds {
		resolvers[i] = resolve.New(memoryOf(w), resolve.Edition{Name: "made"})
	}
	said := judge(t, worlds, asks)
	const shown = 3
	var failed []string
	seen := map[string]bool{}
	for q, a := range asks {
		got, err := decide(resolvers[a.world], a)
		if err != nil {
			t.Errorf("%s: %s: %v", names[q], printedAsk(a), err)
			continue
		}
		diff := differences(got, said[q])
		if len(diff) == 0 {
			continue
		}
		failed = append(failed, names[q]+": "+diff[0])
		// Each sort of difference is shown once.
		sort := sortOf(diff[0])
		if seen[sort] || len(seen) >= shown {
			continue
		}
		seen[sort] = true
		w, small := shrink(t, worlds[a.world], a, resolved, func(d []string) bool {
			return slices.ContainsFunc(d, func(line string) bool { return sortOf(line) == sort })
		})
		small.world = 0
		t.Errorf("%s: %s\nresolver (+) and judge (-) differ:\n%s\nthe smallest case found:\n%s\n%s", names[q], printedAsk(a), strings.Join(diff, "\n"),
			printed(w, small), strings.Join(resolved(w, small, judge(t, []*world{w}, []ask{small})[0]), "\n"))
	}
	if len(failed) > 0 {
		t.Errorf("%d of %d questions differ:\n%s", len(failed), len(asks), strings.Join(failed[:min(len(failed), 40)], "\n"))
	}
}

// sortOf gives the sort of a difference: its sign and words without names.
var codes = regexp.MustCompile(`[A-Z0-9][A-Z0-9.*+-]+`)

func sortOf(line string) string {
	s, _, _ := strings.Cut(codes.ReplaceAllString(line, "#"), ":")
	return s[:min(len(s), 24)]
}

// TestDemo compares resolver and judge on the demo catalogue: every variant's
// plate, worn in one and two places, with labels, with every value of every
// deciding mark, in every role.
func TestDemo(t *testing.T) {
	needJudge(t)
	t.Parallel()
	compareAll(t, func() ([]*world, []ask, []string) {
		w := demo(t)
		asks := demoAsks(t, w)
		names := make([]string, len(asks))
		for i := range asks {
			names[i] = "demo"
		}
		return []*world{w}, asks, names
	})
}

func demo(t *testing.T) *world {
	t.Helper()
	p, err := pack.OpenFS(seed.FS, "demo", pack.DefaultLimits())
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = p.Close() }()
	c, findings, err := pack.ReadMemory(p)
	if err != nil || findings.Err() != nil {
		t.Fatal(err, findings.Err())
	}
	w := &world{}
	for _, table := range catalog.Tables() {
		for r := range c.Rows(table.Name) {
			w.add(table.Name, r)
		}
	}
	return w
}

func demoAsks(t *testing.T, w *world) []ask {
	m := &maker{Rand: rand.New(rand.NewPCG(1, 2))}
	p := newPlates(w)
	var variants []*catalog.Variant
	var parts []string
	values := map[string][]string{}
	var marks []string
	for _, tr := range w.rows {
		switch r := tr.row.(type) {
		case *catalog.Variant:
			variants = append(variants, r)
		case *catalog.Part:
			parts = append(parts, string(r.Part))
		case *catalog.Mark:
			if r.Force == catalog.Deciding {
				marks = append(marks, r.Mark)
			}
		case *catalog.Show:
			if !slices.Contains(values[r.Mark], r.Value) {
				values[r.Mark] = append(values[r.Mark], r.Value)
			}
		}
	}
	var asks []ask
	put := func(q resolve.Question, parts ...string) {
		asks = append(asks, ask{question: q, parts: parts})
	}
	labels := map[string][]string{}
	var all []string
	for _, v := range variants {
		labels[v.Variant.Key()] = p.compose(m, v, false)
		all = append(all, labels[v.Variant.Key()]...)
	}
	for i, v := range variants {
		texts := p.compose(m, v, true)
		if len(texts) == 0 {
			t.Fatalf("no plate could be composed for %s", v.Variant)
		}
		plate := texts[0]
		for _, text := range texts {
			put(resolve.Question{Plate: text})
		}
		// A twelfth of the parts for each variant, another one for the next.
		var some []string
		for j := i % 12; j < len(parts); j += 12 {
			some = append(some, parts[j])
		}
		put(resolve.Question{Plate: m.wear(plate, 1)}, some...)
		put(resolve.Question{Plate: m.wear(plate, 2)})
		put(resolve.Question{Plate: strings.Join(openVariant(m, plate), "")})
		for _, l := range labels[v.Variant.Key()] {
			put(resolve.Question{Plate: plate, Labels: []string{l}})
			put(resolve.Question{Labels: []string{l}})
		}
		put(resolve.Question{Plate: plate, Labels: []string{pick(m, all)}}, some...)
		put(resolve.Question{Plate: m.wear(plate, 1), Labels: []string{m.wear(pick(m, all), 1)}})
		for _, value := range []string{"5.2", "10.1", "7", "11.9 at 60 °C"} { // at an actuator site, which every family of the demo has
			put(resolve.Question{Plate: m.wear(plate, 1), Saw: []resolve.Observation{{Mark: "P1", Value: value}}})
		}
		for _, value := range []string{"5.81", "7", "11.1", "11.9 at 60 °C"} { // of the mark that is the coil at P1
			put(resolve.Question{Plate: m.wear(plate, 1), Saw: []resolve.Observation{{Mark: "coil", Value: value}}})
		}
		for _, value := range []string{"39", "41.9"} { // of a seal, which one family of the demo has
			put(resolve.Question{Plate: m.wear(plate, 1), Saw: []resolve.Observation{{Mark: "tube-middle", Value: value}}})
		}
		for _, mark := range marks {
			for _, value := range values[mark] {
				put(resolve.Question{Plate: plate, Saw: []resolve.Observation{{Mark: mark, Value: value}}})
			}
		}
	}
	return asks
}

// openVariant makes two of the first characters of a plate unreadable, where the
// variant stands.
func openVariant(m *maker, plate string) []string {
	chars := strings.Split(plate, "")
	chars[m.IntN(3)] = "?"
	chars[3+m.IntN(3)] = "?"
	return chars
}
