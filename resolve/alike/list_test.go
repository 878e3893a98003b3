package alike

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"

	gocmp "github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"platewright/catalog"
	"platewright/catalog/catalogtest"
	"platewright/catalog/memory"
	"platewright/resolve"
	"platewright/resolve/plate"
)

// drawWorld draws a small catalogue: codes a slip apart, a plate, an older plate
// and a label, marks of every kind that some variants show and some do not, and
// statements of every scope.
func drawWorld(t *rapid.T) (*memory.Catalogue, string) {
	var b strings.Builder
	table := func(name, heading string) { fmt.Fprintf(&b, "-- %s.csv --\n%s\n", name, heading) }
	row := func(cells ...any) {
		fmt.Fprintln(&b, strings.TrimSuffix(strings.ReplaceAll(fmt.Sprintf(strings.Repeat("%v,", len(cells)), cells...), "<nil>", ""), ","))
	}
	pick := func(name string, of ...string) string { return rapid.SampledFrom(of).Draw(t, name) }

	table("makers", "maker")
	row("M1")
	row("M2")
	table("families", "family,maker")
	row("F", "M1")
	row("G", pick("maker of G", "M1", "M2"))
	table("assemblies", "assembly,follows")
	row("case", "")
	row("body", "case")
	table("layouts", "layout,maker,assembly")
	row("plate", "M1", "case")
	row("older", "M1", "case")
	row("label", "M1", "body")
	table("fields", "layout,field,kind,min,max,means")
	for _, l := range []string{"plate", "older", "label"} {
		row(l, "type", "alphanum", 1, 6, "variant")
	}
	codes := rapid.SliceOfNDistinct(rapid.Custom(func(t *rapid.T) string {
		return string(rapid.SliceOfN(rapid.SampledFrom([]byte("0OB8A")), 2, 3).Draw(t, "code"))
	}), rapid.SampledFrom([]int{2, 6, 10}).Draw(t, "at least"), 14, rapid.ID[string]).Draw(t, "codes")
	table("variants", "variant,family,layout,serial_from,serial_to")
	for _, c := range codes {
		row(c[:1]+"-"+c[1:], pick("family", "F", "F", "F", "G"), pick("layout", "plate", "plate", "older"), "", pick("to", "", "", "40"))
	}
	table("plates", "layout,plate,variant")
	listed := map[string]bool{}
	// Several bear the same label, and most labels are one slip from another.
	for range rapid.SampledFrom([]int{0, 3, 6, 24}).Draw(t, "plates") {
		l, p, v := pick("on", "label", "label", "label", "older"), pick("text", "10", "1O", "10", "1O", "18", "1B", "01", "110"), pick("names", codes...)
		if k := l + p + v; !listed[k] {
			listed[k] = true
			row(l, p, v)
		}
	}
	table("marks", "mark,assembly,kind,force,unit,tolerance,effort")
	row("plug", "case", "seen", "deciding", "", "", 3)
	row("pins", "body", "counted", "deciding", "", "", 4)
	row("coil", "body", "measured", "deciding", "ohm", "0.1", pick("effort", "6", "10", "30"))
	row("depth", "case", "measured", "deciding", "mm", "0.1", 12)
	row("caps", "body", "seen", "hinting", "", "", 1)
	row("vehicle", "case", "seen", "hinting", "", "", 0)
	values := map[string][]string{"plug": {"round", "Round", "oval"}, "pins": {"12", "16"}, "coil": {"5", "5.4", "10"}, "depth": {"2", "9"}, "caps": {"green", "grey"}, "vehicle": {"van", "bus"}}
	table("shows", "scope,of,mark,value,tolerance")
	shown := map[string]bool{}
	for range rapid.SampledFrom([]int{0, 12, 24, 40}).Draw(t, "shows") {
		scope, of := "variant", pick("of", codes...)
		if rapid.Bool().Draw(t, "family's") {
			scope, of = "family", pick("family", "F", "G")
		}
		mark := pick("mark", "coil", "coil", "depth", "depth", "coil", "depth", "coil", "coil", "plug", "pins", "caps", "vehicle")
		value, tolerance := pick("value", values[mark]...), ""
		if mark == "coil" {
			tolerance = pick("tolerance", "", "0.2")
		}
		if k := scope + of + mark + catalog.FoldValue(value); !shown[k] {
			shown[k] = true
			row(scope, of, mark, value, tolerance)
		}
	}
	table("roles", "role,name,assembly,kind")
	row("gasket", "pan gasket", "case", "part")
	row("seal", "lip seal", "body", "part")
	row("fluid", "fluid", "case", "fluid")
	table("parts", "part,status,kind")
	for _, p := range []string{"P1", "P2", "P3"} {
		row(p, pick("status", "sold", "sold", "ended"), "single")
	}
	row("F1", "sold", "fluid")
	table("supersessions", "old,new,kind,qty")
	if rapid.Bool().Draw(t, "replaced") {
		row("P1", "P3", pick("kind", "one-way", "two-way"), 1)
	}
	table("specs", "spec")
	row("S")
	table("meets", "spec,fluid,claim")
	row("S", "F1", "approved")
	table("fills", "scope,of,role,spec,refill,dry")
	row("family", "F", "fluid", "S", 4, 7)
	if rapid.Bool().Draw(t, "own fill") {
		row("variant", pick("of", codes...), "fluid", "S", pick("litres", "4", "5"), 7)
	}
	table("fits", "scope,of,role,effect,part,position,qty,rank,serial_from,when")
	for range rapid.SampledFrom([]int{0, 10, 20, 30}).Draw(t, "fits") {
		scope, of := "variant", pick("of", codes...)
		switch pick("scope", "variant", "variant", "family", "mark") {
		case "family":
			scope, of = "family", pick("family", "F", "G")
		case "mark":
			scope, of = "mark", pick("mark", "plug=round", "pins=12")
		}
		role, part := pick("role", "gasket", "seal"), pick("part", "P1", "P2", "P3")
		serial, when := "", ""
		switch pick("condition", "", "", "", "serial", "when") {
		case "serial":
			serial = "30"
		case "when":
			when = pick("when", "plug=oval", "pins=16")
		}
		if pick("effect", "fits", "fits", "fits", "not") == "not" {
			row(scope, of, role, "does-not-fit", part, "", "", "", serial, when)
		} else {
			row(scope, of, role, "fits", part, pick("position", "", "", "left"), pick("qty", "1", "2"), pick("rank", "0", "1"), serial, when)
		}
	}
	table("work", "work,fill")
	row("reseal", "none")
	row("drain", "refill")
	table("work_roles", "work,role,need,why")
	row("reseal", "seal", "required", "hard")
	row("drain", "fluid", "required", "old")
	row("drain", "gasket", "recommended", "pressed flat")

	w, err := catalogtest.ParseWorld([]byte(b.String()))
	if err != nil {
		t.Fatalf("%v\n%s", err, b.String())
	}
	w.Catalogue.Check(func(f catalog.Finding) { t.Fatalf("%s\n%s", f, b.String()) })
	return w.Catalogue, b.String()
}

// list gives the lines of a list, the summary first and the others as they come.
func list(cat resolve.Catalogue, q Question, hold int) ([]Line, error) {
	var mu sync.Mutex
	var out []Line
	err := List(context.Background(), q, Options{
		Catalogue: func() (resolve.Catalogue, error) { return cat, nil }, Edition: resolve.Edition{Name: "drawn"}, Workers: 2, hold: hold, kept: hold, numbers: 2 * hold,
		Append: func(dst []byte, l *Line) ([]byte, error) {
			mu.Lock()
			defer mu.Unlock()
			out = append(out, *l)
			return dst, nil
		},
		Write:  func([]byte) error { return nil },
		Report: func(Stage, int, int) error { return nil },
	})
	return out, err
}

// judged is a pair as the plain judge sees it.
type judged struct {
	A, B    catalog.VariantCode
	By      resolve.LookAlikeBy
	ByEye   bool
	Slip    string
	Roles   string
	Marks   string
	Check   string
	Minutes string
}

func judgedOf(p *Pair) judged {
	j := judged{A: p.A.Variant, B: p.B.Variant, By: p.By, ByEye: p.ByEye}
	if s := p.Slip; s != nil {
		j.Slip = fmt.Sprintf("%s %s %d %s %s", s.Layout, s.Kind, s.Place, s.A, s.B)
	}
	for _, r := range p.Roles {
		j.Roles += r.Role + " "
	}
	for _, m := range p.Marks {
		j.Marks += m.Mark + " "
	}
	if p.Check != nil {
		j.Check, j.Minutes = orPlate(p.Check.Mark), p.Check.Effort.String()
	}
	return j
}

func orPlate(mark string) string {
	if mark == "" {
		return "plate"
	}
	return mark
}

// judge works the list out the slow way: every two variants are compared by
// [resolve.Resolver.Compare], which knows the roles, the marks and the look, and
// each two of their texts by [plate.Neighbours].
func judgePairs(t *rapid.T, cat *memory.Catalogue, q Question) map[[2]string]judged {
	type text struct{ layout, text string }
	texts := map[string][]text{}
	var order []*catalog.Variant
	for r := range cat.Rows(catalog.TVariants) {
		v := r.(*catalog.Variant)
		order = append(order, v)
		texts[v.Variant.Key()] = append(texts[v.Variant.Key()], text{v.Layout, v.Variant.Key()})
	}
	for r := range cat.Rows(catalog.TPlates) {
		p := r.(*catalog.Plate)
		texts[p.Variant.Key()] = append(texts[p.Variant.Key()], text{p.Layout, catalog.Fold(p.Plate)})
	}
	slices.SortFunc(order, func(a, b *catalog.Variant) int { return strings.Compare(a.Variant.Key(), b.Variant.Key()) })
	makers := map[string]string{}
	for r := range cat.Rows(catalog.TFamilies) {
		f := r.(*catalog.Family)
		makers[f.Family] = f.Maker
	}
	wanted := func(v *catalog.Variant) bool {
		return (len(q.Families) == 0 || slices.Contains(q.Families, v.Family)) && (len(q.Makers) == 0 || slices.Contains(q.Makers, makers[v.Family]))
	}
	kinds := []string{"confusable", "swapped", "dropped", "doubled"}
	out := map[[2]string]judged{}
	for i, a := range order {
		for _, b := range order[i+1:] {
			if !wanted(a) && !wanted(b) {
				continue
			}
			c, err := resolve.New(cat, resolve.Edition{}).Compare(a.Variant, b.Variant, q.Work)
			if err != nil {
				t.Fatal(err)
			}
			type slip struct {
				root  bool
				kind  string
				place int
				text  string
				texts string // layout and texts in order, which decide among equals
			}
			var slips []slip
			for _, x := range texts[a.Variant.Key()] {
				for _, y := range texts[b.Variant.Key()] {
					if x.layout != y.layout {
						continue
					}
					if err := plate.Neighbours(plate.SortedKeys{y.text}, x.text, func(n plate.Neighbour) bool {
						slips = append(slips, slip{x.layout != "label", string(n.Kind), n.Place, fmt.Sprintf("%s %s %d %s %s", x.layout, n.Kind, n.Place, x.text, y.text),
							fmt.Sprintf("%s\t%s\t%s", x.layout, min(x.text, y.text), max(x.text, y.text))})
						return true
					}); err != nil {
						t.Fatal(err)
					}
				}
			}
			slices.SortStableFunc(slips, func(a, b slip) int {
				rank := func(s slip) int {
					if s.root {
						return 0
					}
					return 1
				}
				return cmp.Or(rank(a)-rank(b), slices.Index(kinds, a.kind)-slices.Index(kinds, b.kind), a.place-b.place, strings.Compare(a.texts, b.texts))
			})
			j := judged{A: a.Variant, B: b.Variant, By: resolve.ByEye, ByEye: c.ByEye}
			roles := func(of string) (s string) {
				for _, r := range c.Roles {
					if !r.Same && (of == "" || r.Assembly == of) {
						s += r.Role + " "
					}
				}
				return s
			}
			j.Roles = roles("")
			for _, m := range c.TellApart {
				j.Marks += m.Mark + " "
			}
			if len(c.TellApart) > 0 {
				j.Check, j.Minutes = c.TellApart[0].Mark, c.TellApart[0].Effort.String()
			}
			if len(slips) > 0 {
				s := slips[0]
				of := ""
				if !s.root {
					of = "body"
				}
				if roles(of) != "" {
					j.By, j.Slip, j.Roles = resolve.ByPlate, s.text, roles(of)
					if len(c.TellApart) == 0 || c.TellApart[0].Effort.Num.IntPart() > 10 {
						j.Check, j.Minutes = "plate", "10"
					}
				}
			}
			if j.Roles != "" && (j.By == resolve.ByPlate || j.ByEye) {
				out[[2]string{string(a.Variant), string(b.Variant)}] = j
			}
		}
	}
	return out
}

// TestListIsThatOfAllComparisons holds the list against comparing every two
// variants, for whole catalogues and parts of them, with few pairs held at once.
func TestListIsThatOfAllComparisons(t *testing.T) {
	seen := map[string]int{}
	rapid.Check(t, func(t *rapid.T) {
		cat, text := drawWorld(t)
		q := Question{Pairs: true,
			Work:     rapid.SampledFrom([][]string{nil, {"reseal"}, {"drain", "reseal"}}).Draw(t, "work"),
			Families: rapid.SampledFrom([][]string{nil, nil, {"F"}, {"G"}, {"F", "G"}}).Draw(t, "families"),
			Makers:   rapid.SampledFrom([][]string{nil, nil, {"M1"}, {"M2"}}).Draw(t, "makers"),
		}
		want := judgePairs(t, cat, q)
		hold := rapid.SampledFrom([]int{0, 1, 2, 5}).Draw(t, "hold")
		lines, err := list(cat, q, hold)
		if err != nil {
			t.Fatalf("%v\n%s", err, text)
		}
		got := map[[2]string]judged{}
		var s Summary
		for i, l := range lines {
			switch {
			case l.Summary != nil:
				s = *l.Summary
			case l.Pair != nil:
				j := judgedOf(l.Pair)
				key := [2]string{string(j.A), string(j.B)}
				if _, twice := got[key]; twice {
					t.Errorf("%v is listed twice", key)
				}
				got[key] = j
				seen[fmt.Sprintf("%s, by eye %v, marked %v", j.By, j.ByEye, j.Marks != "")]++
			default:
				t.Errorf("line %d holds neither pair nor summary", i)
			}
		}
		if diff := gocmp.Diff(want, got); diff != "" {
			t.Fatalf("%+v, holding %d (-judged +listed)\n%s\n%s", q, hold, diff, text)
		}
		var counts Summary
		for _, j := range got {
			counts.Pairs++
			if j.By == resolve.ByPlate {
				counts.ByPlate++
			}
			if j.ByEye {
				counts.ByEye++
			}
			if j.ByEye && j.By == resolve.ByPlate {
				counts.Both++
			}
			if j.Marks == "" {
				counts.Unmarked++
			}
		}
		if s.Pairs != counts.Pairs || s.ByPlate != counts.ByPlate || s.ByEye != counts.ByEye || s.Both != counts.Both || s.Unmarked != counts.Unmarked {
			t.Errorf("the summary says %+v, the list has %+v\n%s", s, counts, text)
		}

		// Summed up, the pairs by plate that are not listed by themselves are those
		// of labels that many bear, in groups of one check and one look.
		q.Pairs = false
		if lines, err = list(cat, q, hold); err != nil {
			t.Fatal(err)
		}
		type group struct {
			labels, check string
			byEye, marked bool
		}
		wanted, grouped := map[group]int64{}, map[group]int64{}
		of := func(j judged) group {
			f := strings.Fields(j.Slip)
			mark, _, _ := strings.Cut(j.Marks, " ")
			return group{f[0] + " " + min(f[3], f[4]) + " " + max(f[3], f[4]), mark, j.ByEye, j.Marks != ""}
		}
		for _, j := range got {
			if strings.HasPrefix(j.Slip, "label ") {
				wanted[of(j)]++
			}
		}
		for _, l := range lines {
			switch {
			case l.Group != nil && l.Group.By == resolve.ByPlate:
				g := l.Group
				for _, p := range g.Examples {
					j := judgedOf(&p)
					if diff := gocmp.Diff(want[[2]string{string(j.A), string(j.B)}], j); diff != "" {
						t.Errorf("example (-judged +listed)\n%s\n%s", diff, text)
					}
				}
				k := of(judgedOf(&g.Examples[0]))
				grouped[k] += g.Pairs
				if g.Pairs <= 3 || g.ByEye != k.byEye || g.Marked != k.marked || g.Slip.OfUnit {
					t.Errorf("%+v of the kind %+v", g, k)
				}
				bear := 0
				for _, o := range g.Outcomes {
					if o.Label != g.Slip.A && o.Label != g.Slip.B {
						t.Errorf("outcome of the label %q among %+v", o.Label, g.Slip)
					}
					bear += o.Variants
				}
				if g.More == 0 && bear < g.Variants {
					t.Errorf("%d variants bear the labels, %d are counted\n%s", bear, g.Variants, text)
				}
				seen["labels summed up"]++
			case l.Pair != nil && l.Pair.Slip != nil && !l.Pair.Slip.OfUnit:
				if k := of(judgedOf(l.Pair)); wanted[k] > 3 {
					t.Errorf("%v is spelled out\n%s", k, text)
				} else {
					grouped[k]++
				}
			}
		}
		if diff := gocmp.Diff(wanted, grouped, gocmp.AllowUnexported(group{})); diff != "" {
			t.Errorf("pairs by label (-spelled out +summed up)\n%s\n%s", diff, text)
		}
		if u := *lines[0].Summary; u.Pairs != s.Pairs || u.ByPlate != s.ByPlate || u.Both != s.Both || u.Unmarked != s.Unmarked || u.Uncaught != s.Uncaught {
			t.Errorf("summed up %+v, spelled out %+v\n%s", u, s, text)
		}
	})
	if seen["labels summed up"] == 0 {
		t.Error("no labels were summed up")
	}
	for _, kind := range []string{"plate, by eye true, marked false", "plate, by eye true, marked true", "plate, by eye false, marked true", "eye, by eye true, marked false", "eye, by eye true, marked true"} {
		if seen[kind] == 0 {
			t.Errorf("no pair was of the kind %q: %v", kind, seen)
		}
	}
}

// writtenOf gives the pairs of a list in the order in which they are written.
func writtenOf(t testing.TB, cat resolve.Catalogue, q Question, hold int) (head string, lines []string) {
	t.Helper()
	require.NoError(t, List(context.Background(), q, Options{
		Catalogue: func() (resolve.Catalogue, error) { return cat, nil }, Workers: 2, hold: hold,
		Append: func(dst []byte, l *Line) ([]byte, error) {
			switch {
			case l.Summary != nil:
				s := l.Summary
				return fmt.Appendf(dst, "%d pairs, %d by plate, %d by eye, %d both, %d unmarked\n", s.Pairs, s.ByPlate, s.ByEye, s.Both, s.Unmarked), nil
			case l.Group != nil:
				g := l.Group
				dst = fmt.Appendf(dst, "group %s: %d pairs of %d variants, check %v;", g.Family, g.Pairs, g.Variants, g.Check)
				for _, o := range g.Outcomes {
					dst = fmt.Appendf(dst, " %d like %v;", o.Variants, o.Examples)
				}
				return fmt.Appendf(dst, " %d more\n", g.More), nil
			}
			j := judgedOf(l.Pair)
			return fmt.Appendf(dst, "%s %s %s%v %s %s\n", j.A, j.B, j.By, j.ByEye, orNone(j.Check), j.Minutes), nil
		},
		Write: func(b []byte) error {
			for line := range strings.Lines(string(b)) {
				lines = append(lines, strings.TrimSpace(line))
			}
			return nil
		},
		Report: func(Stage, int, int) error { return nil },
	}))
	require.NotEmpty(t, lines)
	return lines[0], lines[1:]
}

func orNone(check string) string {
	if check == "" {
		return "none"
	}
	return check
}

// TestTheWorstComeFirst: pairs without a mark, first those by plate and by eye,
// then by plate, then by eye; after them the longest check first. It is the same
// whatever number of pairs is held at once.
func TestTheWorstComeFirst(t *testing.T) {
	cat := catalogtest.World(t, []byte(`
-- marks.csv --
mark,assembly,kind,force,unit,tolerance,effort
coil,case,measured,deciding,ohm,0,25
depth,case,measured,deciding,mm,0,7
caps,case,seen,hinting,,,1
pins,case,counted,deciding,,,4
-- families.csv --
family
F
G
H
I
J
K
-- variants.csv --
variant,family
A111,F
A711,F
B111,G
C111,G
D111,H
D171,H
E111,I
F222,I
G333,J
H444,J
J111,K
J711,K
-- shows.csv --
scope,of,mark,value
variant,D111,caps,red
variant,D171,caps,blue
variant,E111,coil,5
variant,F222,coil,9
variant,G333,depth,5
variant,H444,depth,9
variant,J111,pins,5
variant,J711,pins,9
-- roles.csv --
role,assembly,kind
set,case,part
-- parts.csv --
part,status,kind
P1,sold,single
P2,sold,single
-- fits.csv --
scope,of,role,effect,part,qty
variant,A111,set,fits,P1,1
variant,A711,set,fits,P2,1
variant,B111,set,fits,P1,1
variant,C111,set,fits,P2,1
variant,D111,set,fits,P1,1
variant,D171,set,fits,P2,1
variant,E111,set,fits,P1,1
variant,F222,set,fits,P2,1
variant,G333,set,fits,P1,1
variant,H444,set,fits,P2,1
variant,J111,set,fits,P1,1
variant,J711,set,fits,P2,1
`))
	want := []string{
		"A111 A711 platetrue plate 10",
		"D111 D171 platefalse plate 10",
		"B111 C111 eyetrue none",
		"E111 F222 eyetrue coil 25",
		"G333 H444 eyetrue depth 7",
		"J111 J711 platefalse pins 4",
	}
	for _, hold := range []int{0, 1, 2} {
		head, lines := writtenOf(t, cat, Question{}, hold)
		if diff := gocmp.Diff(want, lines); diff != "" {
			t.Errorf("holding %d (-want +got)\n%s", hold, diff)
		}
		if head != "6 pairs, 3 by plate, 4 by eye, 1 both, 3 unmarked" {
			t.Error(head)
		}
	}
}

// TestWhatACheckCharacterCatchesComesLast: within what a mark tells apart, and
// within what none does, slips that no check character catches come first, however
// quick their check. A pair that looks the same stays up: who goes by the look reads
// no check character.
func TestWhatACheckCharacterCatchesComesLast(t *testing.T) {
	cat := catalogtest.World(t, []byte(`
-- layouts.csv --
layout,maker,assembly
checked,M1,case
bare,M1,case
-- makers.csv --
maker
M1
-- fields.csv --
layout,field,place,kind,chars,min,max,means,scheme
checked,type,1,alphanum,,4,4,variant,
checked,serial,2,digits,,3,3,serial,
checked,check,3,set,0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ*,1,1,check,mod-37-2
bare,type,1,alphanum,,4,4,variant,
-- marks.csv --
mark,assembly,kind,force,unit,tolerance,effort
coil,case,measured,deciding,ohm,0,7
caps,case,seen,hinting,,,1
pins,case,counted,deciding,,,4
-- families.csv --
family,maker
F,M1
G,M1
H,M1
I,M1
J,M1
-- variants.csv --
variant,family,layout
A111,F,checked
A711,F,checked
B111,G,bare
B711,G,bare
C111,H,checked
C711,H,checked
D111,I,bare
D711,I,bare
E111,J,checked
E711,J,checked
-- shows.csv --
scope,of,mark,value
variant,A111,caps,red
variant,A711,caps,blue
variant,B111,caps,red
variant,B711,caps,blue
variant,C111,coil,5
variant,C111,caps,red
variant,C711,coil,9
variant,C711,caps,blue
variant,D111,pins,5
variant,D711,pins,9
variant,E111,coil,5
variant,E711,coil,9
-- roles.csv --
role,assembly,kind
set,case,part
-- parts.csv --
part,status,kind
P1,sold,single
P2,sold,single
-- fits.csv --
scope,of,role,effect,part,qty
variant,A111,set,fits,P1,1
variant,A711,set,fits,P2,1
variant,B111,set,fits,P1,1
variant,B711,set,fits,P2,1
variant,C111,set,fits,P1,1
variant,C711,set,fits,P2,1
variant,D111,set,fits,P1,1
variant,D711,set,fits,P2,1
variant,E111,set,fits,P1,1
variant,E711,set,fits,P2,1
`))
	want := []string{
		"B111 B711 platefalse plate 10",
		"A111 A711 platefalse plate 10", // caught
		"E111 E711 platetrue coil 7",    // caught, but they look the same
		"D111 D711 platefalse pins 4",
		"C111 C711 platefalse coil 7", // caught
	}
	for _, hold := range []int{0, 1} {
		if _, lines := writtenOf(t, cat, Question{}, hold); gocmp.Diff(want, lines) != "" {
			t.Errorf("holding %d (-want +got)\n%s", hold, gocmp.Diff(want, lines))
		}
	}
	lines, err := list(cat, Question{}, 0)
	require.NoError(t, err)
	for _, l := range lines {
		switch {
		case l.Summary != nil:
			if l.Summary.Uncaught != 2 {
				t.Errorf("%d uncaught", l.Summary.Uncaught)
			}
		case l.Pair.Slip.Caught != (l.Pair.Slip.Layout == "checked"):
			t.Errorf("%+v", l.Pair.Slip)
		}
	}
	one, err := resolve.New(cat, resolve.Edition{}).LookAlikesOf("C111", nil)
	require.NoError(t, err)
	if len(one.Pairs) != 1 || one.Pairs[0].Caught == nil || !*one.Pairs[0].Caught {
		t.Errorf("of one variant: %+v", one.Pairs)
	}
}

// TestManyAreSummedUp: a family of 3,000 variants without marks that take eleven
// different parts is one line, its pairs are counted, and they come one by one
// only when they are asked for.
func TestManyAreSummedUp(t *testing.T) {
	var b strings.Builder
	b.WriteString("-- variants.csv --\nvariant,family\n")
	const n, outcomes = 3000, 11
	for i := range n {
		fmt.Fprintf(&b, "Q%sW,F\n", strings.NewReplacer("0", "A", "1", "C", "2", "E", "3", "H", "4", "K", "5", "M", "6", "P", "7", "T", "8", "W", "9", "Z").Replace(fmt.Sprintf("%04d", i)))
	}
	b.WriteString("-- roles.csv --\nrole,assembly,kind\nset,case,part\n-- parts.csv --\npart,status,kind\n")
	for i := range outcomes {
		fmt.Fprintf(&b, "P%d,sold,single\n", i)
	}
	w, err := catalogtest.ParseWorld([]byte(b.String()))
	require.NoError(t, err)
	b.WriteString("-- fits.csv --\nscope,of,role,effect,part,qty\n")
	i, sizes := 0, make([]int64, outcomes)
	for r := range w.Catalogue.Rows(catalog.TVariants) {
		fmt.Fprintf(&b, "variant,%s,set,fits,P%d,1\n", r.(*catalog.Variant).Variant, i%outcomes)
		sizes[i%outcomes]++
		i++
	}
	require.Equal(t, n, i)
	want := int64(n) * n
	for _, s := range sizes {
		want -= s * s
	}
	want /= 2
	cat := catalogtest.World(t, []byte(b.String()))
	head, lines := writtenOf(t, cat, Question{}, 0)
	groups := 0
	for _, l := range lines {
		if strings.HasPrefix(l, "group ") {
			groups++
			if !strings.HasPrefix(l, fmt.Sprintf("group F: %d pairs of %d variants, check <nil>; 273 like [", want, n)) || !strings.HasSuffix(l, "; 5 more") {
				t.Error(l)
			}
		}
	}
	if groups != 1 || !strings.Contains(head, fmt.Sprintf(" %d by eye", want)) {
		t.Errorf("%d groups; %s", groups, head)
	}
	// Spelled out they come as they are found: the first are there long before the
	// last, and stopping stops the search.
	stop, some := errors.New("enough"), 0
	err = List(context.Background(), Question{Pairs: true}, Options{
		Catalogue: func() (resolve.Catalogue, error) { return cat, nil }, Workers: 1,
		Append: func(dst []byte, l *Line) ([]byte, error) { return append(dst, '\n'), nil },
		Write: func(lines []byte) error {
			if some += len(lines); some > 10_000 {
				return stop
			}
			return nil
		},
		Report: func(Stage, int, int) error { return nil },
	})
	if !errors.Is(err, stop) || some > 12_000 {
		t.Errorf("%v after %d lines", err, some)
	}
}

// TestSpelledOutMatchesTheCount: with --pairs as many pairs come as were counted.
func TestSpelledOutMatchesTheCount(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var b strings.Builder
		b.WriteString("-- marks.csv --\nmark,assembly,kind,force,unit,tolerance,effort\nplug,case,seen,deciding,,,3\npins,case,counted,hinting,,,4\ncoil,case,measured,deciding,ohm,0,6\n-- variants.csv --\nvariant,family\n")
		n := rapid.IntRange(8, 40).Draw(t, "variants")
		code := func(i int) string { return fmt.Sprintf("%c%c%c", 'A'+i%26, 'C'+i/26, 'Q') }
		for i := range n {
			fmt.Fprintf(&b, "%s,F\n", code(i))
		}
		b.WriteString("-- shows.csv --\nscope,of,mark,value\n")
		for i := range n {
			for mark, values := range map[string][]string{"plug": {"", "", "round", "oval", "square"}, "pins": {"", "12", "16"}, "coil": {"", "5", "9"}} {
				first := rapid.SampledFrom(values).Draw(t, mark)
				if first != "" {
					fmt.Fprintf(&b, "variant,%s,%s,%s\n", code(i), mark, first)
				}
				if other := rapid.SampledFrom(values).Draw(t, mark+" or"); first != "" && other != "" && other != first {
					fmt.Fprintf(&b, "variant,%s,%s,%s\n", code(i), mark, other)
				}
			}
		}
		b.WriteString("-- roles.csv --\nrole,assembly,kind\nset,case,part\n-- parts.csv --\npart,status,kind\nP1,sold,single\nP2,sold,single\nP3,sold,single\n-- fits.csv --\nscope,of,role,effect,part,qty\n")
		for i := range n {
			fmt.Fprintf(&b, "variant,%s,set,fits,%s,1\n", code(i), rapid.SampledFrom([]string{"P1", "P2", "P3"}).Draw(t, "part"))
		}
		w, err := catalogtest.ParseWorld([]byte(b.String()))
		if err != nil {
			t.Fatal(err)
		}
		spelled, err := list(w.Catalogue, Question{Pairs: true}, 0)
		if err != nil {
			t.Fatal(err)
		}
		summed, err := list(w.Catalogue, Question{}, 0)
		if err != nil {
			t.Fatal(err)
		}
		pairs, grouped, single := map[string]int64{}, map[string]int64{}, map[string]int64{}
		for _, l := range spelled[1:] {
			if l.Pair.ByEye {
				pairs[quickest(l.Pair)]++
			}
		}
		for _, l := range summed[1:] {
			switch {
			case l.Group != nil:
				c := "none"
				if l.Group.Check != nil {
					c = l.Group.Check.Mark
				}
				grouped[c] += l.Group.Pairs
			case l.Pair.ByEye:
				single[quickest(l.Pair)]++
			}
		}
		for c, n := range pairs {
			if grouped[c] > 0 && grouped[c] != n || grouped[c] == 0 && single[c] != n {
				t.Errorf("check %s: %d spelled out, %d summed up, %d single\n%s", c, n, grouped[c], single[c], b.String())
			}
		}
		if spelled[0].Summary.ByEye != summed[0].Summary.ByEye {
			t.Errorf("%d and %d by eye", spelled[0].Summary.ByEye, summed[0].Summary.ByEye)
		}
	})
}

func quickest(p *Pair) string {
	if len(p.Marks) == 0 {
		return "none"
	}
	return p.Marks[0].Mark
}

func TestUnknownNames(t *testing.T) {
	cat := catalogtest.World(t, []byte("-- variants.csv --\nvariant,family\nA1,F\n"))
	for _, q := range []Question{{Families: []string{"X"}}, {Makers: []string{"X"}}, {Work: []string{"X"}}} {
		_, err := list(cat, q, 0)
		var bad *resolve.QuestionError
		if !errors.As(err, &bad) || bad.Value != "X" {
			t.Errorf("%+v: %v", q, err)
		}
	}
}

func TestCancelled(t *testing.T) {
	cat := catalogtest.World(t, []byte("-- variants.csv --\nvariant,family\nA1,F\nA7,F\n"))
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	err := List(ctx, Question{}, Options{Catalogue: func() (resolve.Catalogue, error) { return cat, nil }, Workers: 2,
		Append: func(dst []byte, _ *Line) ([]byte, error) { return dst, nil }, Write: func([]byte) error { return nil }, Report: func(Stage, int, int) error { return nil }})
	if !errors.Is(err, context.Canceled) {
		t.Error(err)
	}
}

// TestInOrder: results come in the order of the jobs, errors of every part end
// the work, and no worker is left running.
func TestInOrder(t *testing.T) {
	workers := []int{0, 1, 2}
	produce := func(give func(int) bool) error {
		for i := range 500 {
			if !give(i) {
				return nil
			}
		}
		return nil
	}
	var got []int
	double := func(_, i int) (int, error) { return 2 * i, nil }
	take := func(i int) error { got = append(got, i); return nil }
	require.NoError(t, inOrder(context.Background(), workers, produce, double, take))
	for i, n := range got {
		if n != 2*i {
			t.Fatalf("place %d holds %d", i, n)
		}
	}
	if len(got) != 500 {
		t.Errorf("%d results", len(got))
	}
	bad := errors.New("bad")
	for name, err := range map[string]error{
		"produce": inOrder(context.Background(), workers, func(give func(int) bool) error { give(1); return bad }, double, take),
		"work":    inOrder(context.Background(), workers, produce, func(_, i int) (int, error) { return 0, bad }, take),
		"take":    inOrder(context.Background(), workers, produce, double, func(int) error { return bad }),
	} {
		if !errors.Is(err, bad) {
			t.Errorf("%s: %v", name, err)
		}
	}
}
