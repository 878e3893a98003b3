package render

import (
	"bytes"
	"encoding/csv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"platewright/catalog"
	"platewright/resolve"
	"platewright/resolve/goods"
)

// hostileReceive is an order at goods-in whose every text starts like a formula, or
// holds what would act on a terminal.
func hostileReceive() Receive {
	expect := []goods.Expect{}
	for _, k := range []goods.ExpectKind{goods.ExpectLook, goods.ExpectRemark, goods.ExpectReplaces, goods.ExpectExchange, goods.ExpectPiece, goods.ExpectCompanion, goods.ExpectNote, goods.ExpectCaution, goods.ExpectNot} {
		expect = append(expect, goods.Expect{Kind: k, Text: "=LOOK(" + string(k) + ")\x1b[2J", Part: "+1", Other: "-2", Name: "@n", Variant: "=V", State: catalog.NoteOpen, Defer: "=d"})
	}
	line := goods.LineState{Line: goods.Line{Line: 1, Stock: "0012", Part: "1E5", Name: "=1+1", Wanted: 3, Roles: []string{}}, Here: 1, Open: 2,
		Lacks:      []goods.Lack{goods.Short, goods.TooMany, goods.NotLooked, goods.LooksOdd, goods.Alone, goods.Unsettled},
		Pieces:     []goods.Pieces{{Part: "1E5", As: goods.AsOrdered, Here: 1, Odd: 1, Saw: "=saw\x07"}, {Part: "2E5", As: goods.AsServes, Here: 1, Returned: 1, Kept: 2}},
		Expect:     expect,
		Companions: []goods.Companion{{Part: "=C", Name: "@c", With: "2E5", Qty: 1, Why: "=why", Where: goods.NotThere}}}
	fit := &goods.Fit{Unit: &resolve.PartAnswer{Verdict: resolve.DoesNotFit, Roles: []resolve.PartRole{{Role: "set", Verdict: resolve.DoesNotFit}}},
		Serves: []goods.Use{{Scope: catalog.FitFamily, Of: "=F", Role: "set"}}, Total: 3}
	for _, w := range []goods.LikeWhy{goods.LookAlikeTakes, goods.ReplacedBy, goods.PieceOf, goods.InTheKit, goods.OneSlip, goods.SameRole} {
		fit.Like = append(fit.Like, goods.Like{Line: 1, Part: "1E5", Why: w, Role: "set", Variant: "=V"})
	}
	x := Receive{State: goods.State{Order: "P0001-1", Supplier: "-s", Name: "=name", Card: 1, Unit: "=unit",
		Lines: []goods.LineState{line}, Foreign: []goods.Foreign{{Pieces: goods.Pieces{Part: "10-11", Here: 1}, Name: "+n", Look: "@l", Fit: fit}},
		Receipts: []goods.Receipt{{At: "2026-11-25T14:00:00Z", Who: "=who", DeliveryNote: "=dn", Because: "=b"}}}}
	for _, do := range []goods.Do{goods.Came, goods.Looked, goods.Odd, goods.Returned, goods.Kept, goods.Corrected} {
		x.Receipts[0].Entries = append(x.Receipts[0].Entries, goods.Entry{Do: do, Part: "1E5", Qty: 1, Saw: "=s"})
		for _, v := range []goods.CheckVerdict{goods.Right, goods.Serves, goods.ComesWith, goods.Wrong} {
			c := goods.Check{Do: do, Given: "=g", By: &goods.Meaning{By: goods.ByElse, Supplier: "=s"}, Verdict: v, Part: "1E5", Name: "=n\u202e", Line: 1, Ordered: "3E5", Qty: 1, More: 1, Unseen: 1,
				Expect: expect, Needs: line.Companions, Unit: &goods.FitOfUnit{Verdict: resolve.NotSettled}, Saw: "=s"}
			if v == goods.Wrong {
				c.Line, c.Fit = 0, fit
			}
			x.Checks = append(x.Checks, c)
		}
	}
	return x
}

// No cell of the CSV begins with a character by which a spreadsheet takes it for a
// formula, and codes come back as they were.
func TestReceiveCSV(t *testing.T) {
	x := hostileReceive()
	rows, err := csv.NewReader(bytes.NewReader(AppendReceiveCSV([]byte(ReceiveHeading), &x.State))).ReadAll()
	require.NoError(t, err)
	require.Len(t, rows, 3)
	for _, r := range rows {
		for _, c := range r {
			require.False(t, c != "" && strings.ContainsRune("=+-@\t\r", rune(c[0])), "%q", c)
		}
	}
	require.Equal(t, "0012", UnguardCode(rows[1][3]))
	require.NotEqual(t, "0012", rows[1][3])
	require.Equal(t, "1E5", UnguardCode(rows[1][4]))
	require.Equal(t, "10-11", UnguardCode(rows[2][4]))
}

// On a narrow screen no line is wider than the screen, and what somebody typed does
// not act on the terminal.
func TestReceiveTexts(t *testing.T) {
	x := hostileReceive()
	for _, width := range []int{30, 80} {
		for name, write := range map[string]func(*bytes.Buffer) error{
			"receive": func(b *bytes.Buffer) error { return ReceiveText(b, x, Screen{Width: width}) },
			"shown":   func(b *bytes.Buffer) error { y := x; y.Checks = nil; return ReceiveText(b, y, Screen{Width: width}) },
			"scan":    func(b *bytes.Buffer) error { return ScanText(b, x, Screen{Width: width}) },
			"open":    func(b *bytes.Buffer) error { return ScanOpenText(b, x, Screen{Width: width}) },
			"line":    func(b *bytes.Buffer) error { return ScanLineText(b, x, 1, Screen{Width: width}) },
		} {
			var b bytes.Buffer
			require.NoError(t, write(&b))
			require.NotZero(t, b.Len())
			for line := range strings.Lines(b.String()) {
				if n := columns(strings.TrimSuffix(line, "\n")); n > width {
					t.Errorf("%s at %d: %d columns: %s", name, width, n, line)
				}
				require.False(t, strings.ContainsAny(line, "\x1b\x07\u202e"), "%s: %q", name, line)
			}
		}
	}
}

// What the unit takes all the same is not told to be without a use.
func TestUseOfTheUnitIsAUse(t *testing.T) {
	text := func(v resolve.Verdict) string {
		fit := &goods.Fit{Unit: &resolve.PartAnswer{Part: "UY-2", Verdict: v, Roles: []resolve.PartRole{{Role: "fluid", Verdict: v}}}}
		check := goods.Check{Do: goods.Came, Verdict: goods.Wrong, Part: "UY-2", Qty: 1, Fit: fit}
		var b bytes.Buffer
		require.NoError(t, ScanText(&b, Receive{Checks: []goods.Check{check}}, Screen{Width: 200}))
		return b.String()
	}
	const unknown = "The catalogue does not say what it fits"
	require.Contains(t, text(resolve.Fits), "It fits this unit all the same as fluid")
	require.NotContains(t, text(resolve.Fits), unknown)
	require.Contains(t, text(resolve.NotSettled), unknown)
}
