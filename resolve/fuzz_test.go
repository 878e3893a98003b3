package resolve_test

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"platewright/catalog"
	"platewright/resolve"
)

// FuzzResolve asks the demo whatever stands on a plate, a label and an
// observation. A question that cannot be asked is refused by a QuestionError;
// nothing panics; and what is said to fit fits a candidate.
func FuzzResolve(f *testing.F) {
	for _, s := range [][3]string{
		{"XEB-411-A 1618 003052 N", "", ""},
		{"XEB-43?-B 1832 007345 ?", "VB-QK-12-8", "coil=5.2"},
		{"UY WA-3[17] 05512", "", "connector-pins=12"},
		{"31-2047 00????? ?", "H 112 4406", "connector=flat-comb"},
		{"XEB-471-A 1618 004217 Q", "VB-??-??-?", "pan-shape=stepped"},
		{"", "VB-QK-07-2", "vehicle=van"},
		{"XEB-417-A 1618 004217 Q", "", "cap-colour=green"},
		{"ｘｅｂ４１１ａ", "[", "coil=5,2"},
		{"????????????????", "\x00", "="},
		{"38-0615 0004490-2", "", "nothing"},
		{"XEB-43?-B 1832 007345 ?", "", "P1=7.1"},
		{"XEB-411-A 1618 003052 N", "", "P1=11,9 ohm at 140 °F"},
		{"XEB-44[28]-[BC] 1918 009001 ?", "", "tube-middle=39"},
		{"UY WA-3[17] 05512", "", "tube=20.4 mm"},
		{"31-2140 0007702-8", "", "tube-a=1e9 in"},
	} {
		f.Add(s[0], s[1], s[2])
	}
	cat := demo(f)
	res := resolve.New(cat, resolve.Edition{Name: "demo"})
	f.Fuzz(func(t *testing.T, plate, label, saw string) {
		q := resolve.Question{Plate: plate, Work: []string{"actuator-replacement"}, Part: "DRK-5231-L"}
		if label != "" {
			q.Labels = []string{label}
		}
		if mark, value, ok := strings.Cut(saw, "="); ok {
			q.Saw = []resolve.Observation{{Mark: mark, Value: value}}
		}
		d, err := res.Decide(q, resolve.Options{})
		if err != nil {
			var bad *resolve.QuestionError
			if !errors.As(err, &bad) {
				t.Fatalf("%+v: %v is no QuestionError", q, err)
			}
			if d != nil {
				t.Fatalf("%+v: a decision beside an error", q)
			}
			return
		}
		candidates := map[string]int{}
		for _, as := range d.Assemblies {
			candidates[as.Assembly] = len(as.Candidates)
			if (as.Basis == resolve.BasisNone || as.Basis == resolve.BasisConflict) && len(as.Candidates) > 0 {
				t.Fatalf("%+v: the %s has candidates on the basis %s", q, as.Assembly, as.Basis)
			}
		}
		for _, r := range d.Roles {
			if r.Verdict == resolve.Fits && (candidates[r.Assembly] == 0 || len(r.Lines) == 0) {
				t.Fatalf("%+v: %s fits nothing", q, r.Role)
			}
			if r.Verdict != resolve.Fits && len(r.Lines) > 0 {
				t.Fatalf("%+v: %s is %s and has lines", q, r.Role, r.Verdict)
			}
		}
		if d.Part == nil || d.Part.Verdict == resolve.Fits && !slices.ContainsFunc(d.Part.Roles, func(r resolve.PartRole) bool { return r.Verdict == resolve.Fits && len(r.FitsIn) > 0 }) {
			t.Fatalf("%+v: the part fits in no role: %+v", q, d.Part)
		}
		if len(d.Conflicts) > 0 && len(d.SafeToOrder) > 0 {
			t.Fatalf("%+v: something is safe to order in spite of a conflict", q)
		}
		for _, l := range d.SafeToOrder {
			for _, it := range l.Items {
				rows, _ := cat.Group(catalog.TableByName(catalog.TParts), catalog.MakeKey(it.Part.Key()))
				if len(rows) != 1 || rows[0].(*catalog.Part).Status != catalog.PartSold {
					t.Fatalf("%+v: %s is safe to order and not sold", q, it.Part)
				}
			}
		}
	})
}
