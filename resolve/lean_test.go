package resolve_test

import (
	"os"
	"regexp"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"platewright/catalog"
	"platewright/catalog/catalogtest"
	"platewright/resolve"
)

// A list leaves trails, notes, look-alikes and the next check out, works out
// what a family's rows say only once, and shares that between units. It must
// decide as the whole answer does, in whatever order the units come.
func TestListsDecideAsWholeAnswersDo(t *testing.T) {
	cat := demo(t)
	text, err := os.ReadFile("../seed/README.md")
	require.NoError(t, err)
	var questions []resolve.Question
	for _, m := range regexp.MustCompile("(?m)^\\| `([^`]+)` \\| case \\|").FindAllSubmatch(text, -1) {
		for _, work := range [][]string{nil, {"actuator-replacement"}, {"fluid-service"}, {"full-overhaul"}} {
			questions = append(questions, resolve.Question{Plate: string(m[1]), Work: work},
				resolve.Question{Plate: string(m[1]), Work: work, Saw: []resolve.Observation{{Mark: "coil", Value: "5.2"}}})
		}
	}
	require.Greater(t, len(questions), 200)

	lean := resolve.New(cat, resolve.Edition{})
	ask := func(r *resolve.Resolver, q resolve.Question, o resolve.Options) *resolve.Decision {
		d, err := r.Decide(q, o)
		require.NoError(t, err, "%+v", q)
		return d
	}
	for pass := range 2 { // the second pass goes backwards over what the first left behind
		for i := range questions {
			q := questions[i]
			if pass == 1 {
				q = questions[len(questions)-1-i]
			}
			whole := bare(ask(resolve.New(cat, resolve.Edition{}), q, resolve.Options{}))
			list := bare(ask(lean, q, listOptions))
			if d := cmp.Diff(whole, list); d != "" {
				t.Fatalf("%+v, a whole answer (-) and in a list (+):\n%s", q, d)
			}
		}
	}
}

// leanAnswer is what a list and a whole answer must have in common.
type leanAnswer struct {
	Assemblies []resolve.AssemblyState
	Roles      []resolve.RoleAnswer
	Safe       []resolve.OrderLine
	Held       []string
}

// bare takes what a list leaves out from a decision.
func bare(d *resolve.Decision) leanAnswer {
	a := leanAnswer{Assemblies: d.Assemblies, Safe: d.SafeToOrder}
	drop := func(ls []resolve.Line) []resolve.Line {
		var out []resolve.Line
		for _, l := range ls {
			l.Choices = append([]resolve.Choice{}, l.Choices...)
			for i := range l.Choices {
				l.Choices[i].Trail = nil
			}
			out = append(out, l)
		}
		return out
	}
	for _, r := range d.Roles {
		r.Lines = drop(r.Lines)
		r.Groups = append([]resolve.Group{}, r.Groups...)
		for i := range r.Groups {
			r.Groups[i].Lines = drop(r.Groups[i].Lines)
		}
		a.Roles = append(a.Roles, r)
	}
	for _, h := range d.Held {
		a.Held = append(a.Held, h.Role+" "+h.Position+" "+string(h.Part))
	}
	return a
}

// The same of random catalogues, where variants show marks of their own, and
// statements rest on marks, serial numbers and dates.
func TestRandomListsDecideAsWholeAnswersDo(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := drawWorld(t)
		list := resolve.New(w.cat, resolve.Edition{})
		for range rapid.IntRange(2, 6).Draw(t, "units") {
			q := drawQuestion(t)
			whole, err := resolve.New(w.cat, resolve.Edition{}).Decide(q, resolve.Options{})
			if err != nil {
				continue
			}
			d, err := list.Decide(q, listOptions)
			if err != nil {
				t.Fatalf("%+v in a list: %v", q, err)
			}
			if diff := cmp.Diff(bare(whole), bare(d)); diff != "" {
				t.Fatalf("%+v, a whole answer (-) and in a list (+):\n%s\n%s", q, diff, w.text)
			}
		}
	})
}

// OAK's own plug takes the place of its family's, so that a statement about the
// family's plug is none about OAK. What a list remembers of the one must not
// become the answer about the other, whichever comes first.
func TestListsTellOwnMarksFromTheFamilys(t *testing.T) {
	cat := catalogtest.World(t, []byte(`
-- assemblies.csv --
assembly
case
-- variants.csv --
variant, family
OAK,     F
ELM,     F
-- marks.csv --
mark, assembly
plug, case
-- shows.csv --
of,  mark, value
F,   plug, oval
OAK, plug, round
-- roles.csv --
role
gasket
-- parts.csv --
part
P
Q
-- fits.csv --
of,        role,   part, position
F,         gasket, P,    left
plug=oval, gasket, Q,    right
`))
	for _, order := range [][]string{{"OAK", "ELM", "OAK"}, {"ELM", "OAK", "ELM"}} {
		list := resolve.New(cat, resolve.Edition{})
		for _, plate := range order {
			d, err := list.Decide(resolve.Question{Plate: plate}, listOptions)
			require.NoError(t, err)
			var parts []catalog.PartNo
			for _, l := range d.SafeToOrder {
				parts = append(parts, l.Items[0].Part)
			}
			want := map[string][]catalog.PartNo{"OAK": {"P"}, "ELM": {"P", "Q"}}[plate]
			if diff := cmp.Diff(want, parts); diff != "" {
				t.Errorf("%s in the list %v, wanted (-) and got (+):\n%s", plate, order, diff)
			}
		}
	}
}
