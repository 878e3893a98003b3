package render

import (
	"bytes"
	"io"
	"regexp"
	"strings"
	"testing"

	"github.com/shopspring/decimal"
	"github.com/stretchr/testify/require"

	"platewright/catalog"
	"platewright/resolve"
	"platewright/resolve/measure"
	"platewright/resolve/measure/fluid"
	"platewright/resolve/measure/ring"
	"platewright/resolve/measure/seal"
)

func num(s string) catalog.Decimal {
	return catalog.Decimal{Num: decimal.RequireFromString(s), Known: true}
}

func lengthOf(s string) measure.Quantity {
	return measure.Of(decimal.RequireFromString(s), measure.Millimetre)
}

// benchAnswers are answers about seals, rings and fluids as the packages give them,
// with much in them that can go wrong.
func benchAnswers(t *testing.T) map[string]func(io.Writer, Screen) error {
	t.Helper()
	about := Bench{Edition: resolve.Edition{Name: Demo, Invented: true}, Plate: "QX-1", Variants: []catalog.VariantCode{"QX-1", "QX-2"},
		Cautions: []resolve.Caution{{Caution: "hot", Text: "it scalds", Defer: "the maker's instructions go first", For: []string{"fluid"}}}}
	tubes := []seal.Nominal{{Seal: "tube-long", Place: "pump side", Length: num("31.5"), Tolerance: num("0.2"), Least: num("30.7"), Fitted: num("29"), Qty: 1, OneTime: true, Source: "s"},
		{Seal: "tube-short", Place: "brake side", Length: num("26"), Least: num("25.2"), Qty: 3, Source: "s"}}
	sorted, err := seal.Sort(tubes, []seal.Got{{Length: lengthOf("30")}, {Length: lengthOf("24.7")}, {Length: lengthOf("99")}, {Length: lengthOf("1.02")}, {Length: lengthOf("40"), Seal: "tube-long"}}, measure.Quantity{})
	require.NoError(t, err)
	seals := &MeasureSeal{Schema: MeasureSealSchema, Bench: about, Groups: []SealGroup{{[]catalog.VariantCode{"QX-1"}, *sorted}, {[]catalog.VariantCode{"QX-2"}, *sorted}}, Fits: []catalog.VariantCode{"QX-2"}}

	id, err := ring.Identify(ring.Measured{Inside: lengthOf("25.4"), Section: lengthOf("3.2")})
	require.NoError(t, err)
	adv := ring.Advise("NBR", ring.Oil, num("110"))
	bad := &catalog.Ring{Scope: catalog.OfFamily, Of: "QX", Ring: "neck", Place: "filter neck", Inside: num("24.99"), Section: num("3.53"), Size: "AS568-215", Material: "NBR", Qty: 2, Source: "s"}
	rings := &MeasureRing{Schema: MeasureRingSchema, Bench: about, Identified: id, Advice: &adv,
		Rows: []RingRow{{RowCheck: ring.CheckRow(bad), Variants: []catalog.VariantCode{"QX-1"}, Qty: 2, Material: "NBR", Advice: &adv, Measured: id.Against(bad)}}}

	sheet := []*catalog.Sheet{{Fluid: "F-1", Property: catalog.Viscosity40, Value: num("298"), Source: "s"}, {Fluid: "F-1", Property: catalog.Viscosity100, Value: num("5.9"), Source: "s"}, {Fluid: "F-1", Property: catalog.Density15, Value: num("846"), Source: "s"}}
	limits := []*catalog.Limit{{Spec: "QX-M", Property: catalog.Viscosity40, Most: num("31"), Source: "s"}, {Spec: "QX-M", Property: catalog.PourPoint, Most: num("-40"), Source: "s"}}
	plan, err := fluid.PlanFor(&fluid.Data{
		Fill:   &catalog.Fill{Scope: catalog.OfFamily, Of: "QX", Role: "fluid", Spec: "QX-M", Refill: num("5.5"), Dry: num("9.2"), TempFrom: num("30"), TempTo: num("50"), Area: num("400"), Engine: catalog.EngineRunning, Plugs: "side, then floor", How: "slowly", Source: "s"},
		Specs:  []*catalog.Spec{{Spec: "QX-M", Name: "em"}, {Spec: "QX-N", Name: "en"}},
		Meets:  map[string][]*catalog.Meet{"QXM": {{Spec: "QX-M", Fluid: "F-1", Claim: catalog.Claimed, Source: "s"}}, "QXN": {{Spec: "QX-N", Fluid: "F-2", Claim: catalog.Approved, Source: "s"}}},
		Parts:  map[string]*catalog.Part{"F1": {Part: "F-1", Name: "one", Status: catalog.PartSold}, "F2": {Part: "F-2", Name: "two", Status: catalog.PartSold}},
		Offers: map[string][]*catalog.Offer{"F1": {{Supplier: "north", Stock: "N1", Part: "F-1", Price: num("12"), Litres: num("1"), OnHand: 1}}},
		Shelf:  map[string][]*catalog.ShelfItem{"F1": {{Part: "F-1", Place: "cupboard", Qty: 2}}, "F2": {{Part: "F-2", Place: "cupboard", Qty: 1}}},
		Sheets: map[string][]*catalog.Sheet{"F1": sheet}, Limits: map[string][]*catalog.Limit{"QXM": limits}, Money: map[string]string{"NORTH": "EUR"},
	}, []catalog.FillKind{catalog.FillRefill}, num("4"), num("70"))
	require.NoError(t, err)
	fluids := &MeasureFluid{Schema: MeasureFluidSchema, Bench: about, Work: []string{"service"}, Groups: []FluidGroup{{[]catalog.VariantCode{"QX-1"}, "fluid", *plan}, {[]catalog.VariantCode{"QX-2"}, "fluid", *plan}}}

	check := fluid.CheckSheet("F-1", sheet, []fluid.SpecLimits{{Spec: "QX-M", Claim: catalog.Claimed, Limits: limits}, {Spec: "QX-N"}})
	at, err := check.ViscosityAt(num("-20"))
	require.NoError(t, err)
	sheets := &MeasureSheet{Schema: MeasureSheetSchema, Bench: about, Sheets: []SheetAnswer{{*check, []fluid.ViscosityAt{at}}}}
	return map[string]func(io.Writer, Screen) error{
		"seal":  func(w io.Writer, s Screen) error { return MeasureSealText(w, seals, s) },
		"ring":  func(w io.Writer, s Screen) error { return MeasureRingText(w, rings, s) },
		"fluid": func(w io.Writer, s Screen) error { return MeasureFluidText(w, fluids, s) },
		"sheet": func(w io.Writer, s Screen) error { return MeasureSheetText(w, sheets, s) },
	}
}

// Each answer stays within the screen, says the same with and without colour, and
// names what matters first.
func TestBenchAnswersOnAScreen(t *testing.T) {
	sgr := regexp.MustCompile("\x1b\\[[0-9;]*m")
	first := map[string]string{"seal": "NOT SETTLED", "ring": "REPLACE", "fluid": "NOT SETTLED", "sheet": "CONTRADICTS ITSELF"}
	for name, write := range benchAnswers(t) {
		for _, width := range []int{30, 46, 80, 200} {
			var plain, colour bytes.Buffer
			require.NoError(t, write(&plain, Screen{Width: width}))
			require.NoError(t, write(&colour, Screen{Width: width, Color: true}))
			if got := sgr.ReplaceAllString(colour.String(), ""); got != plain.String() {
				t.Errorf("%s at %d: the colours change the text", name, width)
			}
			for i, line := range strings.Split(plain.String(), "\n") {
				if columns(line) > width {
					t.Errorf("%s at %d, line %d has %d columns: %q", name, width, i+1, columns(line), line)
				}
				if strings.Contains(line, "..") || strings.HasSuffix(line, " ") || strings.Contains(line, " ,") || strings.Contains(line, "()") {
					t.Errorf("%s at %d, line %d is ill-formed: %q", name, width, i+1, line)
				}
			}
			head, _, _ := strings.Cut(strings.TrimSpace(strings.TrimPrefix(plain.String(), DemoRemark)), "\n\n")
			if width == 200 && !strings.Contains(head, first[name]) {
				t.Errorf("%s does not begin with %s:\n%s", name, first[name], plain.String())
			}
		}
	}
}
