package audit

import (
	"reflect"
	"testing"

	"platewright/catalog"
)

// Every fact, and every row, counts for the identifier; how a code is spelled and
// where its row stands in a file does not.
func TestIdentifierStandsForWhatIsStated(t *testing.T) {
	base := Finding{Kind: EqualRank, Severity: Doubtful, Rows: []Row{{Table: "fits", Key: "variant / K-10 / s1"}}, Facts: Facts{
		Family: "XEB", Maker: "drosk", Layout: "plate", Layouts: []string{"plate"}, Assembly: "case", Text: "QK-07", Variants: []catalog.VariantCode{"K-10"}, Count: 1, Of: 2,
		Slip: SlipSwapped, Checked: true, Role: "seal-kit", Roles: []string{"filter"}, Position: "left", Parts: []catalog.PartNo{"P-1"}, Rank: 1, Qty: []int{1}, Covered: true,
		Range: OfSerial, From: "1", To: "2", Mark: "plug", Values: []string{"oval-twin"}, Work: []string{"reseal"}, Need: catalog.NeedRequired, Specs: []string{"S-1"}, Supplier: "orp",
		Stocks: []string{"OR.1"}, Prices: []string{"4.5"}, Table: "torques", Property: catalog.FlashPoint, Site: "L1", Code: "P0750", Names: []string{"N-1"}, Named: true, members: 1}}
	id := func(f Finding) string { f.identify(); return f.ID }
	was := id(base)
	if len(was) != idLength {
		t.Errorf("the identifier %q has not %d characters", was, idLength)
	}
	seen := map[string]string{was: "nothing"}
	v := reflect.ValueOf(&base.Facts).Elem()
	for i := range v.NumField() {
		f, name := v.Field(i), v.Type().Field(i).Name
		if !f.CanSet() {
			continue
		}
		old := reflect.New(f.Type()).Elem()
		old.Set(f)
		for _, change := range []string{"other", "more", "none"} {
			switch {
			case change == "none":
				f.SetZero()
			case f.Kind() == reflect.Slice && change == "more":
				f.Set(reflect.Append(old, old.Index(0)))
			case f.Kind() == reflect.Slice:
				f.Set(reflect.MakeSlice(f.Type(), 1, 1))
				alter(f.Index(0))
			case change == "other":
				alter(f)
			default:
				continue
			}
			if f.Kind() == reflect.Bool && change == "other" {
				f.Set(old)
				continue
			}
			now := id(base)
			if of, ok := seen[now]; ok {
				t.Errorf("%s (%s) and %s have the same identifier", name, change, of)
			}
			seen[now] = name + " (" + change + ")"
			f.Set(old)
		}
	}
	for name, f := range map[string]func(*Finding){
		"kind":     func(f *Finding) { f.Kind = BreakOverlap },
		"severity": func(f *Finding) { f.Severity = Wrong },
		"row":      func(f *Finding) { f.Rows = []Row{{Table: "fits", Key: "variant / K-10 / s2"}} },
		"table":    func(f *Finding) { f.Rows = []Row{{Table: "shows", Key: "variant / K-10 / s1"}} },
		"rows":     func(f *Finding) { f.Rows = append(f.Rows[:1:1], f.Rows[0]) },
		"members":  func(f *Finding) { f.Facts.members++ },
	} {
		g := base
		f(&g)
		if of, ok := seen[id(g)]; ok {
			t.Errorf("another %s and %s have the same identifier", name, of)
		}
		seen[id(g)] = name
	}
	for name, f := range map[string]func(*Finding){
		"place in a file": func(f *Finding) {
			f.Rows = []Row{{Table: "fits", Key: "variant / K-10 / s1", File: "fits.csv", Line: 9}}
		},
		"spelling of a row":       func(f *Finding) { f.Rows = []Row{{Table: "fits", Key: "variant / k 10 / S1"}} },
		"spelling of a part":      func(f *Finding) { f.Facts.Parts = []catalog.PartNo{"p1"} },
		"capitals of a value":     func(f *Finding) { f.Facts.Values = []string{"Oval-Twin"} },
		"spelling of the variant": func(f *Finding) { f.Facts.Variants = []catalog.VariantCode{"k10"} },
	} {
		g := base
		f(&g)
		if id(g) != was {
			t.Errorf("the %s changes the identifier", name)
		}
	}
}

func alter(v reflect.Value) {
	switch v.Kind() {
	case reflect.String:
		v.SetString("another7")
	case reflect.Int:
		v.SetInt(77)
	}
}

func TestOneLetterApart(t *testing.T) {
	for _, x := range []struct {
		a, b string
		want bool
	}{
		{"DKFLOM", "DKFLON", true}, {"DKFLOM", "DKFLOM", false}, {"PQ6", "PQ68", true}, {"PQ68", "PQ6", true}, {"PQ68", "PQ86", true},
		{"PQ6", "PQ888", false}, {"AB", "CD", false}, {"ABC", "BCD", false}, {"", "A", false}, {"A", "B", true}, {"XAB", "AB", true}, {"ABCD", "ADCB", false},
	} {
		if got := oneLetterApart(x.a, x.b); got != x.want {
			t.Errorf("oneLetterApart(%q, %q) = %v", x.a, x.b, got)
		}
	}
}
