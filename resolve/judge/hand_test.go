package judge_test

import (
	"slices"
	"strings"
	"testing"

	"platewright/catalog"
	"platewright/resolve"
)

// The judge is itself a program and can be wrong: what it says of a few small
// worlds is written down here as worked out by hand from the rules.

// small gives a world with one family F1 of the variants A1X and A2X, plates
// K + code + three digits of serial number, labels V + three characters, and the
// roles seal (of the case) and valve (of the body).
func small() *world {
	w := &world{}
	w.add(catalog.TSources, &catalog.Source{Source: src, Title: "made up for a test", Kind: catalog.SourceInvented})
	w.add(catalog.TMakers, &catalog.Maker{Maker: "zurm", Name: "Zurm", Source: src})
	w.add(catalog.TFamilies, &catalog.Family{Family: "F1", Maker: "zurm", Name: "F1", Source: src})
	w.add(catalog.TAssemblies, &catalog.Assembly{Assembly: "case", Name: "case", Source: src}, &catalog.Assembly{Assembly: "body", Name: "body", Follows: "case", Source: src})
	m := &maker{w: *w}
	m.fields("plate", "case", catalog.Field{Field: "lead", Kind: catalog.FieldLiteral, Chars: "K", Means: catalog.MeansNothing},
		catalog.Field{Field: "code", Kind: catalog.FieldAlphanum, Min: 3, Max: 3, Means: catalog.MeansVariant},
		catalog.Field{Field: "serial", Kind: catalog.FieldDigits, Min: 3, Max: 3, Means: catalog.MeansSerial})
	m.fields("label", "body", catalog.Field{Field: "lead", Kind: catalog.FieldLiteral, Chars: "V", Means: catalog.MeansNothing},
		catalog.Field{Field: "mark", Kind: catalog.FieldAlphanum, Min: 3, Max: 3, Means: catalog.MeansVariant})
	w = &m.w
	w.add(catalog.TVariants, &catalog.Variant{Variant: "A1X", Family: "F1", Layout: "plate", Source: src}, &catalog.Variant{Variant: "A2X", Family: "F1", Layout: "plate", Source: src})
	w.add(catalog.TPlates, &catalog.Plate{Layout: "label", Plate: "P1A", Variant: "A1X", Source: src}, &catalog.Plate{Layout: "label", Plate: "P2A", Variant: "A2X", Source: src})
	w.add(catalog.TMarks, &catalog.Mark{Mark: "lug", Assembly: "case", Name: "lug", Kind: catalog.MarkSeen, Force: catalog.Deciding, Effort: decimal("2"), How: "look", Source: src})
	w.add(catalog.TShows, &catalog.Show{Scope: catalog.OfVariant, Of: "A1X", Mark: "lug", Value: "left", Source: src}, &catalog.Show{Scope: catalog.OfVariant, Of: "A2X", Mark: "lug", Value: "right", Source: src})
	w.add(catalog.TRoles, &catalog.Role{Role: "seal", Name: "seal", Assembly: "case", Kind: catalog.RolePart}, &catalog.Role{Role: "valve", Name: "valve", Assembly: "body", Kind: catalog.RolePart})
	for _, p := range []string{"N1", "N2", "N3", "N4"} {
		w.add(catalog.TParts, &catalog.Part{Part: catalog.PartNo(p), Name: "piece", Kind: catalog.PartSingle, Origin: catalog.OriginMaker, Status: catalog.PartSold, Source: src})
	}
	return w
}

func (w *world) part(no catalog.PartNo) *catalog.Part {
	for _, tr := range w.rows {
		if p, ok := tr.row.(*catalog.Part); ok && p.Part == no {
			return p
		}
	}
	return nil
}

func fits(of, statement, role string, part catalog.PartNo, qty int) *catalog.Fit {
	return &catalog.Fit{Scope: catalog.FitVariant, Of: of, Statement: statement, Role: role, Effect: catalog.Fits, Part: part, Qty: qty, Source: src}
}

func TestJudgeByHand(t *testing.T) {
	needJudge(t)
	for _, c := range []struct {
		name     string
		world    func(*world)
		question resolve.Question
		parts    []string
		want     []string // what the judge must say
	}{
		{
			name: "C8: a label of another variant makes the unit mixed, and each role goes by its own assembly",
			world: func(w *world) {
				w.add(catalog.TFits, fits("A1X", "1", "seal", "N1", 1), fits("A2X", "1", "valve", "N2", 1))
			},
			question: resolve.Question{Plate: "KA1X100", Labels: []string{"VP2A"}},
			want: []string{"mixed 1", "state CASE own-evidence A1X", "state BODY own-evidence A2X",
				"safe SEAL  N1*1", "safe VALVE  N2*1"},
		},
		{
			name:     "C9: plate and mark contradict each other, and nothing is safe",
			world:    func(w *world) { w.add(catalog.TFits, fits("A1X", "1", "seal", "N1", 1)) },
			question: resolve.Question{Plate: "KA1X100", Saw: []resolve.Observation{{Mark: "lug", Value: "right"}}, Roles: []string{"seal"}},
			want:     []string{"state CASE conflict ", "conflict CASE mark LUG right & reading KA1X100", "verdict SEAL not-settled", "held SEAL "},
		},
		{
			name: "O3, V1: a serial break inside a variant leaves two worlds; the part common to both settles it",
			world: func(w *world) {
				a, b := fits("A1X", "1", "seal", "N1", 1), fits("A1X", "2", "seal", "N2", 1)
				a.SerialTo, b.SerialFrom = 499, 300
				w.add(catalog.TFits, a, b)
				w.add(catalog.TSupersessions, &catalog.Supersession{Old: "N1", New: "N2", Kind: catalog.OneWay, Qty: 1, Source: src})
			},
			question: resolve.Question{Plate: "KA1X?00"},
			parts:    []string{"N1", "N2"},
			want: []string{"verdict SEAL fits", "line SEAL  1 1 0 1 N2 N2*1",
				"world SEAL A1X 1 299 0 9999999 ; fits {: N1*1 / N2*1}", "world SEAL A1X 500 999999999999999999 0 9999999 ; fits {: N2*1}",
				"part N1 N1 not-settled", "part N2 N2 fits"},
		},
		{
			name: "O5, O6: a split multiplies, its companion comes for each piece, that of the replaced number once for the job",
			world: func(w *world) {
				w.part("N1").Status = catalog.PartEnded
				w.add(catalog.TFits, fits("A1X", "1", "seal", "N1", 3))
				w.add(catalog.TSupersessions, &catalog.Supersession{Old: "N1", New: "N2", Kind: catalog.Split, Qty: 2, Source: src},
					&catalog.Supersession{Old: "N1", New: "N3", Kind: catalog.Split, Qty: 1, Source: src})
				w.add(catalog.TCompanions, &catalog.Companion{Part: "N2", Companion: "N4", Qty: 2, Per: catalog.PerPart, Why: "it must", Source: src},
					&catalog.Companion{Part: "N3", Companion: "N4", Replacing: "N1", Qty: 5, Per: catalog.PerJob, Why: "it must", Source: src})
			},
			question: resolve.Question{Plate: "KA1X100"},
			want:     []string{"safe SEAL  N2*6+N3*3 with N4*17"},
		},
		{
			name: "O4, O5: what is ruled out is not gone through, and an ended part without successor cannot be bought",
			world: func(w *world) {
				w.part("N1").Status = catalog.PartEnded
				no := fits("A1X", "2", "seal", "N2", 0)
				no.Effect = catalog.DoesNotFit
				w.add(catalog.TFits, fits("A1X", "1", "seal", "N1", 1), no)
				w.add(catalog.TSupersessions, &catalog.Supersession{Old: "N1", New: "N2", Kind: catalog.OneWay, Qty: 1, Source: src},
					&catalog.Supersession{Old: "N2", New: "N3", Kind: catalog.OneWay, Qty: 1, Source: src})
			},
			question: resolve.Question{Plate: "KA1X100"},
			parts:    []string{"N2", "N3"},
			want: []string{"verdict SEAL fits", "line SEAL  1 0 0 0 N1 N1*1 unbuyable", "held SEAL ",
				"part N2 N2 does-not-fit", "part N3 N3 does-not-fit"},
		},
		{
			name: "V1: a candidate without a statement leaves the role open, one that takes nothing too",
			world: func(w *world) {
				none := fits("A2X", "1", "valve", "", 0)
				none.Effect = catalog.DoesNotFit
				w.add(catalog.TFits, fits("A1X", "1", "seal", "N1", 1), fits("A1X", "2", "valve", "N1", 1), none)
			},
			question: resolve.Question{Plate: "KA?X100"},
			want:     []string{"verdict SEAL not-settled", "verdict VALVE not-settled", "state CASE own-evidence A1X A2X", "state BODY as-built A1X A2X"},
		},
		{
			name: "O8, V4: a fluid is no choice by a specification that its sheet belies, is one by another, and of it nothing is stated",
			world: func(w *world) {
				w.add(catalog.TRoles, &catalog.Role{Role: "oil", Name: "oil", Assembly: "case", Kind: catalog.RoleFluid})
				w.add(catalog.TSpecs, &catalog.Spec{Spec: "SP-A", Name: "A", Source: src}, &catalog.Spec{Spec: "SP-B", Name: "B", Source: src})
				w.add(catalog.TServes, &catalog.Serve{Spec: "SP-A", ServedBy: "SP-B", Source: src})
				for _, p := range []catalog.PartNo{"L1", "L2"} {
					w.add(catalog.TParts, &catalog.Part{Part: p, Name: "oil", Kind: catalog.PartFluid, Origin: catalog.OriginMaker, Status: catalog.PartSold, Source: src})
					w.add(catalog.TMeets, &catalog.Meet{Spec: "SP-A", Fluid: p, Claim: catalog.Approved, Source: src})
					w.add(catalog.TSheets, &catalog.Sheet{Fluid: p, Property: catalog.Viscosity100, Value: decimal("5.3"), Source: src})
				}
				w.add(catalog.TMeets, &catalog.Meet{Spec: "SP-B", Fluid: "L2", Claim: catalog.Claimed, Source: src})
				w.add(catalog.TLimits, &catalog.Limit{Spec: "SP-A", Property: catalog.Viscosity100, Least: decimal("5.31"), Source: src},
					&catalog.Limit{Spec: "SP-B", Property: catalog.Viscosity100, Least: decimal("5.3"), Most: decimal("5.3"), Source: src})
				w.add(catalog.TFills, &catalog.Fill{Scope: catalog.OfVariant, Of: "A1X", Role: "oil", Spec: "SP-A", Source: src})
			},
			question: resolve.Question{Plate: "KA1X100", Roles: []string{"oil"}},
			parts:    []string{"L1", "L2"},
			want:     []string{"verdict OIL fits", "line OIL  1 1 3 0 L2 L2*ml", "partrole L1 OIL not-settled", "part L1 L1 not-settled", "part L2 L2 fits"},
		},
	} {
		t.Run(c.name, func(t *testing.T) {
			w := small()
			c.world(w)
			memoryOf(w).Check(func(f catalog.Finding) { t.Fatal(f) })
			said := judge(t, []*world{w}, []ask{{question: c.question, parts: c.parts}})
			var have []string
			for _, f := range said[0] {
				have = append(have, strings.Join(f, " "))
			}
			for _, want := range c.want {
				if !slices.Contains(have, want) {
					t.Errorf("the judge does not say %q; it says\n%s", want, strings.Join(have, "\n"))
				}
			}
		})
	}
}

// TestJudgeFindsErrors changes right decisions in one place each and holds the
// judge to finding it.
func TestJudgeFindsErrors(t *testing.T) {
	needJudge(t)
	worlds, asks, _ := randomWorlds(t, 0, 60)
	said := judge(t, worlds, asks)
	firstRole := func(d *resolve.Decision, ok func(*resolve.RoleAnswer) bool) *resolve.RoleAnswer {
		for i := range d.Roles {
			if ok(&d.Roles[i]) {
				return &d.Roles[i]
			}
		}
		return nil
	}
	settled := func(d *resolve.Decision) *resolve.RoleAnswer {
		return firstRole(d, func(r *resolve.RoleAnswer) bool { return r.Verdict == resolve.Fits && r.Kind == catalog.RolePart })
	}
	errors := []struct {
		name   string
		change func(answers) bool // false if the decision has nothing to change
	}{
		{"a candidate is missing", func(a answers) bool {
			s := &a.decision.Assemblies[0]
			if len(s.Candidates) == 0 {
				return false
			}
			s.Candidates, s.Total = s.Candidates[1:], s.Total-1
			return true
		}},
		{"a basis is wrong", func(a answers) bool {
			a.decision.Assemblies[1].Basis = "nothing"
			return true
		}},
		{"a mixed unit is not said to be", func(a answers) bool {
			was := a.decision.Mixed
			a.decision.Mixed = nil
			return was != nil
		}},
		{"a smallest set is missing", func(a answers) bool {
			n := len(a.decision.Conflicts)
			a.decision.Conflicts = a.decision.Conflicts[:max(n-1, 0)]
			return n > 0
		}},
		{"a set is not the smallest", func(a answers) bool {
			for i, c := range a.decision.Conflicts {
				a.decision.Conflicts[i].Statements = append(slices.Clone(c.Statements), resolve.Statement{Kind: resolve.StatementSerial, Text: "7"})
				return true
			}
			return false
		}},
		{"a verdict is wrong", func(a answers) bool {
			r := firstRole(a.decision, func(r *resolve.RoleAnswer) bool { return r.Verdict == resolve.NotSettled })
			if r != nil {
				r.Verdict = resolve.DoesNotFit
			}
			return r != nil
		}},
		{"a role is missing", func(a answers) bool {
			n := len(a.decision.Roles)
			a.decision.Roles = a.decision.Roles[:max(n-1, 0)]
			return n > 0
		}},
		{"a quantity is wrong", func(a answers) bool {
			r := settled(a.decision)
			if r != nil {
				r.Lines[0].Choices[0].Items[0].Qty++
			}
			return r != nil
		}},
		{"a choice is missing", func(a answers) bool {
			r := settled(a.decision)
			if r == nil || len(r.Lines[0].Choices) < 2 {
				return false
			}
			r.Lines[0].Choices = r.Lines[0].Choices[1:]
			return true
		}},
		{"choices are in the wrong order", func(a answers) bool {
			r := settled(a.decision)
			if r == nil || len(r.Lines[0].Choices) < 2 || r.Lines[0].Choices[0].Rank == r.Lines[0].Choices[1].Rank {
				return false
			}
			slices.Reverse(r.Lines[0].Choices[:2])
			return true
		}},
		{"a rank is wrong", func(a answers) bool {
			r := settled(a.decision)
			if r != nil {
				r.Lines[0].Choices[0].Rank += 3
			}
			return r != nil
		}},
		{"a companion is missing", func(a answers) bool {
			r := settled(a.decision)
			if r == nil || len(r.Lines[0].Choices[0].Companions) == 0 {
				return false
			}
			r.Lines[0].Choices[0].Companions = r.Lines[0].Choices[0].Companions[1:]
			return true
		}},
		{"what cannot be bought can", func(a answers) bool {
			r := settled(a.decision)
			if r == nil || r.Lines[0].Choices[0].Buyable {
				return false
			}
			r.Lines[0].Choices[0].Buyable = true
			return true
		}},
		{"a member is in no group", func(a answers) bool {
			r := firstRole(a.decision, func(r *resolve.RoleAnswer) bool { return len(r.Groups) > 0 })
			if r == nil {
				return false
			}
			r.Groups[0].Members, r.Groups[0].Total = r.Groups[0].Members[1:], r.Groups[0].Total-1
			return true
		}},
		{"two groups are exchanged", func(a answers) bool {
			r := firstRole(a.decision, func(r *resolve.RoleAnswer) bool { return len(r.Groups) > 1 })
			if r == nil {
				return false
			}
			r.Groups[0].Members, r.Groups[1].Members = r.Groups[1].Members, r.Groups[0].Members
			r.Groups[0].Total, r.Groups[1].Total = r.Groups[1].Total, r.Groups[0].Total
			return true
		}},
		{"a held line is safe", func(a answers) bool {
			for _, h := range a.decision.Held {
				a.decision.SafeToOrder = append(a.decision.SafeToOrder, resolve.OrderLine{Role: h.Role, Position: h.Position})
				return true
			}
			return false
		}},
		{"a safe line is not listed", func(a answers) bool {
			n := len(a.decision.SafeToOrder)
			a.decision.SafeToOrder = a.decision.SafeToOrder[:max(n-1, 0)]
			return n > 0
		}},
		{"a part fits that does not", func(a answers) bool {
			for _, p := range a.parts {
				if p != nil && p.Verdict == resolve.DoesNotFit {
					p.Verdict = resolve.Fits
					return true
				}
			}
			return false
		}},
		{"a part's member is in the wrong list", func(a answers) bool {
			for _, p := range a.parts {
				for i := range p.Roles {
					if r := &p.Roles[i]; len(r.NotIn) > 0 {
						r.FitsIn, r.NotIn = append(r.FitsIn, r.NotIn[0]), r.NotIn[1:]
						return true
					}
				}
			}
			return false
		}},
	}
	resolvers := make([]*resolve.Resolver, len(worlds))
	for i, w := range worlds {
		resolvers[i] = resolve.New(memoryOf(w), resolve.Edition{Name: "made"})
	}
	again := func(q int) answers {
		got, err := decide(resolvers[asks[q].world], asks[q])
		if err != nil {
			t.Fatal(err)
		}
		return got
	}
	right := map[int]bool{}
	for q := range asks {
		right[q] = len(differences(again(q), said[q])) == 0
	}
	for _, e := range errors {
		t.Run(e.name, func(t *testing.T) {
			tried := 0
			for q := 0; q < len(asks) && tried < 5; q++ {
				if !right[q] {
					continue
				}
				got := again(q)
				if !e.change(got) {
					continue
				}
				tried++
				if len(differences(got, said[q])) == 0 {
					t.Errorf("the judge does not find it in: %s", printedAsk(asks[q]))
				}
			}
			if tried == 0 {
				t.Error("no decision has anything to change: the worlds are too tame")
			}
		})
	}
}
