package resolve_test

import (
	"os"
	"regexp"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/require"

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
	type answer struct {
		Assemblies []resolve.AssemblyState
		Roles      []resolve.RoleAnswer
		Safe       []resolve.OrderLine
		Held       []string
	}
	bare := func(d *resolve.Decision) answer {
		a := answer{Assemblies: d.Assemblies, Safe: d.SafeToOrder}
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
