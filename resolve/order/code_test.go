package order_test

import (
	"errors"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"platewright/catalog"
	"platewright/resolve/order"
)

func TestCodesGoRound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringOfN(rapid.RuneFrom([]rune(`aZ09 ,"';%/=-éΩ漢`+"\t")), 1, 20, -1)
		s := order.Sheet{Number: "P0001-1", Order: order.Order{Supplier: text.Draw(t, "supplier")}}
		var want []order.CodeLine
		for i := range rapid.IntRange(0, 60).Draw(t, "lines") {
			l := order.OrderLine{Stock: text.Draw(t, "stock"), Part: catalog.PartNo(text.Draw(t, "part")), Packs: rapid.IntRange(1, 99).Draw(t, "packs")}
			s.Order.Lines = append(s.Order.Lines, l)
			want = append(want, order.CodeLine{No: i + 1, Stock: l.Stock, Part: l.Part, Packs: l.Packs})
		}
		var got []order.CodeLine
		texts := s.Codes()
		for i, c := range texts {
			if strings.ContainsFunc(c, func(r rune) bool { return r > '~' || r < ' ' && r != '\n' }) {
				t.Fatalf("%q is not plain", c)
			}
			x, err := order.ReadCode(c)
			if err != nil || x.Number != s.Number || x.Supplier != s.Order.Supplier || x.Place != i+1 || x.Of != len(texts) {
				t.Fatalf("%+v: %v", x, err)
			}
			got = append(got, x.Lines...)
		}
		if d := cmp.Diff(want, got); d != "" {
			t.Fatal(d)
		}
	})
}

func TestNoCode(t *testing.T) {
	for _, text := range []string{"", "P0001-1", "a,b,c,d\n", "P1,s,1,1\n1,x,y,0\n", "P1,s,2,1\n", "P1,s,1,1\n1,%,y,1\n", "\"", ",s,1,1\n"} {
		var bad *order.AskError
		if _, err := order.ReadCode(text); !errors.As(err, &bad) {
			t.Errorf("%q is read as a code: %v", text, err)
		}
	}
}
