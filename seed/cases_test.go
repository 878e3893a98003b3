package seed_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/shopspring/decimal"

	"platewright/catalog"
	"platewright/catalog/memory"
)

func rows[T any](c *memory.Catalogue, table string) []*T {
	var out []*T
	for r := range c.Rows(table) {
		out = append(out, r.(*T))
	}
	return out
}

// world gives the demo to the tests in the words that they need.
type world struct {
	*memory.Catalogue
	family  map[string]string        // of a variant
	parts   map[string]*catalog.Part // by number
	sups    []*catalog.Supersession
	fits    []*catalog.Fit
	shown   map[string]map[string]bool // variant: MARK=VALUE
	offered map[string]decimal.Decimal // part: cheapest piece
}

func demo(t *testing.T) *world {
	w := &world{Catalogue: load(t), family: map[string]string{}, parts: map[string]*catalog.Part{}, shown: map[string]map[string]bool{}, offered: map[string]decimal.Decimal{}}
	w.sups, w.fits = rows[catalog.Supersession](w.Catalogue, catalog.TSupersessions), rows[catalog.Fit](w.Catalogue, catalog.TFits)
	for _, p := range rows[catalog.Part](w.Catalogue, catalog.TParts) {
		w.parts[string(p.Part)] = p
	}
	own := map[string]bool{}
	shows := rows[catalog.Show](w.Catalogue, catalog.TShows)
	for _, s := range shows {
		if s.Scope == catalog.OfVariant {
			own[s.Of+" "+s.Mark] = true
		}
	}
	for _, v := range rows[catalog.Variant](w.Catalogue, catalog.TVariants) {
		code := string(v.Variant)
		w.family[code] = v.Family
		w.shown[code] = map[string]bool{}
		for _, s := range shows {
			if s.Of == code || s.Of == v.Family && !own[code+" "+s.Mark] {
				w.shown[code][s.Mark+"="+s.Value] = true
			}
		}
	}
	for _, o := range rows[catalog.Offer](w.Catalogue, catalog.TOffers) {
		piece := o.Price.Num.Div(decimal.NewFromInt(int64(o.Pack)))
		if had, ok := w.offered[string(o.Part)]; !ok || piece.LessThan(had) {
			w.offered[string(o.Part)] = piece
		}
	}
	return w
}

// stated gives the statements about a variant in a role, whatever their scope.
func (w *world) stated(variant, role string) []*catalog.Fit {
	var out []*catalog.Fit
	for _, f := range w.fits {
		if f.Role == role && (f.Of == variant || f.Of == w.family[variant] || w.shown[variant][f.Of]) {
			out = append(out, f)
		}
	}
	return out
}

// takes gives the parts that are stated to fit without a condition, in the
// order of their ranks.
func (w *world) takes(variant, role string) []string {
	list := w.stated(variant, role)
	slices.SortStableFunc(list, func(a, b *catalog.Fit) int { return a.Rank - b.Rank })
	var out []string
	for _, f := range list {
		if f.Effect == catalog.Fits && len(f.When) == 0 && f.BuiltFrom|f.BuiltTo == 0 && f.SerialFrom|f.SerialTo == 0 {
			out = append(out, string(f.Part))
		}
	}
	return out
}

func (w *world) next(old string) []string {
	var out []string
	for _, s := range w.sups {
		if string(s.Old) == old || s.Kind == catalog.TwoWay && string(s.New) == old {
			out = append(out, string(s.Kind)+" "+string(s.New))
		}
	}
	return out
}

func TestSizes(t *testing.T) {
	w := demo(t)
	units := 0
	meets := map[catalog.PartNo]bool{}
	for _, r := range rows[catalog.Meet](w.Catalogue, catalog.TMeets) {
		meets[r.Fluid] = true
	}
	fluids := len(meets)
	for _, l := range rows[catalog.Layout](w.Catalogue, catalog.TLayouts) {
		if l.Assembly == "case" {
			units++
		}
	}
	schemes := map[catalog.Scheme]bool{}
	for _, f := range rows[catalog.Field](w.Catalogue, catalog.TFields) {
		schemes[f.Scheme] = true
	}
	for what, n := range map[string][3]int{
		"makers": {w.Count(catalog.TMakers), 3, 3}, "plate layouts": {units, 3, 3}, "families": {w.Count(catalog.TFamilies), 5, 5},
		"variants": {w.Count(catalog.TVariants), 55, 65}, "parts": {len(w.parts), 240, 265}, "fluids": {fluids, 12, 12},
		"specifications": {w.Count(catalog.TSpecs), 6, 6}, "suppliers": {w.Count(catalog.TSuppliers), 5, 5},
	} {
		if n[0] < n[1] || n[0] > n[2] {
			t.Errorf("%d %s, want %d to %d", n[0], what, n[1], n[2])
		}
	}
	for _, s := range []catalog.Scheme{catalog.SchemeMod37_2, catalog.SchemeMod37_36, catalog.SchemeMod11Comp} {
		if !schemes[s] {
			t.Errorf("no layout has the check %s", s)
		}
	}
}

// TestSources holds the demo to what it says of itself: made up, apart from
// facts of the trade.
func TestSources(t *testing.T) {
	for _, s := range rows[catalog.Source](load(t), catalog.TSources) {
		if s.Kind != catalog.SourceInvented && s.Kind != catalog.SourcePractice {
			t.Errorf("source %s is of kind %s", s.Source, s.Kind)
		}
		if s.Kind == catalog.SourcePractice && !strings.Contains(s.About, "no published source") {
			t.Errorf("source %s does not say that nothing was published", s.Source)
		}
	}
}

// TestOffers holds that what is sold can be bought and what is ended cannot.
func TestOffers(t *testing.T) {
	w := demo(t)
	for _, o := range rows[catalog.Offer](w.Catalogue, catalog.TOffers) {
		if o.Litres.Known != (w.parts[string(o.Part)].Kind == catalog.PartFluid) {
			t.Errorf("offer %s %s: litres belong to fluids and to nothing else", o.Supplier, o.Stock)
		}
	}
	for no, p := range w.parts {
		if _, ok := w.offered[no]; ok != (p.Status == catalog.PartSold) {
			t.Errorf("part %s is %s and offered: %t", no, p.Status, ok)
		}
	}
}

// TestEveryPartServes holds that no part lies about unused.
func TestEveryPartServes(t *testing.T) {
	w := demo(t)
	used := map[catalog.PartNo]bool{}
	for _, f := range w.fits {
		used[f.Part] = true
	}
	for _, s := range w.sups {
		used[s.Old], used[s.New] = true, true
	}
	for _, r := range rows[catalog.Content](w.Catalogue, catalog.TContents) {
		used[r.Part] = true
	}
	for _, r := range rows[catalog.Companion](w.Catalogue, catalog.TCompanions) {
		used[r.Companion] = true
	}
	for _, r := range rows[catalog.Meet](w.Catalogue, catalog.TMeets) {
		used[r.Fluid] = true
	}
	for _, r := range rows[catalog.Consumable](w.Catalogue, catalog.TConsumables) {
		used[r.Part] = true
	}
	for no := range w.parts {
		if !used[catalog.PartNo(no)] {
			t.Errorf("part %s is in no statement, kit, supersession or list of consumables", no)
		}
	}
}

// TestCoverage holds that each variant has a statement in each role, apart
// from the case of the sleeve that shows what a missing one looks like.
func TestCoverage(t *testing.T) {
	w := demo(t)
	var missing []string
	for v, family := range w.family {
		for _, r := range rows[catalog.Role](w.Catalogue, catalog.TRoles) {
			if r.Kind == catalog.RoleFluid {
				key := catalog.MakeKey(catalog.Fold("family"), catalog.Fold(family))
				if g, _ := w.Group(catalog.TableByName(catalog.TFills), key); len(g) != 1 {
					t.Errorf("family %s has %d fills", family, len(g))
				}
			} else if len(w.stated(v, r.Role)) == 0 {
				missing = append(missing, v+" "+r.Role)
			}
		}
	}
	if !slices.Equal(missing, []string{"WA-36 case-connector-sleeve"}) {
		t.Errorf("without a statement are %v", missing)
	}
}

// TestCases holds the rows by which README.md explains its cases.
func TestCases(t *testing.T) {
	w := demo(t)
	equal := func(what string, got, want []string) {
		t.Helper()
		if !slices.Equal(got, want) {
			t.Errorf("%s: %v, want %v", what, got, want)
		}
	}
	apart := func(a, b string) (out []string) {
		for k := range w.shown[a] {
			if m, _, _ := strings.Cut(k, "="); !w.shown[b][k] && !slices.Contains(out, m) {
				out = append(out, m)
			}
		}
		slices.Sort(out)
		return out
	}

	// 1: a digit apart.
	for v, want := range map[string][2]string{"XEB-411-A": {"DRK-4110-S", "DRK-5110-K"}, "XEB-417-A": {"DRK-4120-S", "DRK-5120-K"}, "WA-31": {"UY51/030", "UY52/130"}, "WA-37": {"UY51/070", "UY52/170"}} {
		equal(v, []string{w.takes(v, "actuator-set")[0], w.takes(v, "seal-kit")[0]}, want[:])
	}
	// 2 and 13: a coil apart, all else alike, the seal kit too.
	equal("a coil apart", apart("XEB-437-B", "XEB-439-B"), []string{"coil"})
	equal("the other way", apart("XEB-439-B", "XEB-437-B"), []string{"coil"})
	if a, b := w.takes("XEB-437-B", "actuator-set")[0], w.takes("XEB-439-B", "actuator-set")[0]; a == b {
		t.Errorf("a coil apart, and yet both take %s", a)
	}
	for _, role := range []string{"seal-kit", "case-connector-sleeve", "feed-tube-seals", "pan-gasket", "pan-bolts", "filter"} {
		equal("settled for both, "+role, w.takes("XEB-437-B", role), w.takes("XEB-439-B", role))
	}
	// 3: a colour that changed.
	if look := w.parts["DRK-4110-S"].Look; !strings.Contains(look, "green") || !strings.Contains(look, "grey") || w.shown["XEB-411-A"]["cap-colour=green"] || !w.shown["XEB-411-A"]["cap-colour=grey"] {
		t.Errorf("the colour has not changed: %q", look)
	}
	// 4: superseded, with a sleeve.
	equal("set of XEB-421-A", w.takes("XEB-421-A", "actuator-set"), []string{"DRK-4130-S"})
	equal("set of XEB-421-C", w.takes("XEB-421-C", "actuator-set"), []string{"DRK-4230-S"})
	equal("what replaces it", w.next("DRK-4130-S"), []string{"one-way DRK-4230-S"})
	var comps []string
	for _, c := range rows[catalog.Companion](w.Catalogue, catalog.TCompanions) {
		if c.Part == "DRK-4230-S" {
			comps = append(comps, string(c.Companion)+" for "+string(c.Replacing))
		}
	}
	equal("companions of the new set", comps, []string{"DRK-5231-L for DRK-4130-S"})
	equal("sleeve of XEB-421-A", w.takes("XEB-421-A", "case-connector-sleeve"), []string{"DRK-5231-L"})
	// 5 and 6: one-way, two-way, split.
	equal("one-way", w.next("206.P.118"), []string{"one-way 206.P.218"})
	equal("not back", w.next("206.P.218"), nil)
	equal("split", w.next("205.P.305"), []string{"split 205.P.306", "split 205.P.307"})
	equal("two-way", w.next("UY54/018"), []string{"two-way UY54/019"})
	// 7: breaks inside a variant. ISO 8601 (2019) 4.3: a week begins on Monday,
	// and week 1 is the one with the year's first Thursday; so week 26 of 2018
	// holds both sides of the break.
	monday := time.Date(2018, 6, 25, 0, 0, 0, 0, time.UTC)
	if y, week := monday.ISOWeek(); y != 2018 || week != 26 {
		t.Errorf("25 June 2018 is in week %d of %d", week, y)
	}
	if y, week := monday.AddDate(0, 0, 6).ISOWeek(); y != 2018 || week != 26 {
		t.Errorf("1 July 2018 is in week %d of %d", week, y)
	}
	var breaks []string
	for _, f := range w.fits {
		if f.BuiltFrom|f.BuiltTo != 0 || f.SerialFrom|f.SerialTo != 0 {
			breaks = append(breaks, strings.TrimSpace(f.Of+" "+string(f.Part)+" "+f.SerialFrom.String()+f.BuiltFrom.String()+" to "+f.SerialTo.String()+f.BuiltTo.String()))
		}
	}
	equal("breaks", breaks, []string{
		"31-2047 207.P.011  to 41999", "31-2047 207.P.012 42000 to",
		"38-0612 260.P.002  to 2016-12-31", "38-0612 260.P.003 2017-01-01 to",
		"38-0615 260.P.002  to 2016-12-31", "38-0615 260.P.003 2017-01-01 to",
		"38-0617 260.P.002  to 2016-12-31", "38-0617 260.P.003 2017-01-01 to",
		"38-0621 260.P.002  to 2016-12-31", "38-0621 260.P.003 2017-01-01 to",
		"XEB-442-B DRK-6212-G  to 2018-06-30", "XEB-442-B DRK-6213-G 2018-07-01 to",
		"XEB-443-B DRK-6212-G  to 2018-06-30", "XEB-443-B DRK-6213-G 2018-07-01 to"})
	// 8: specifications.
	var serves []string
	for _, s := range rows[catalog.Serve](w.Catalogue, catalog.TServes) {
		serves = append(serves, s.ServedBy+" for "+s.Spec)
	}
	equal("serves", serves, []string{"PQ-8 for PQ-6", "PQ-8 for UY-HT", "UY-HT for UY-LT"})
	both := map[catalog.PartNo]string{}
	for _, m := range rows[catalog.Meet](w.Catalogue, catalog.TMeets) {
		if m.Spec == "DK-FLO-M" || m.Spec == "DK-FLO-N" {
			if both[m.Fluid] != "" {
				t.Errorf("the fluid %s meets both", m.Fluid)
			}
			both[m.Fluid] = m.Spec
		}
	}
	// 9: kits against singles.
	for kit, cheaper := range map[string]bool{"255.P.510": false, "DRK-4110-S": true} {
		sum := decimal.Zero
		for _, r := range rows[catalog.Content](w.Catalogue, catalog.TContents) {
			if string(r.Kit) == kit {
				sum = sum.Add(w.offered[string(r.Part)].Mul(decimal.NewFromInt(int64(r.Qty))))
			}
		}
		if w.offered[kit].LessThan(sum) != cheaper {
			t.Errorf("the kit %s costs %s, its contents %s", kit, w.offered[kit], sum)
		}
	}
	// 10: no successor.
	equal("loom of WA-33", w.takes("WA-33", "inner-loom"), []string{"UY57/077"})
	equal("after it", w.next("UY57/077"), nil)
	if w.parts["UY57/077"].Status != catalog.PartEnded {
		t.Error("UY57/077 is still sold")
	}
	// 12: notes.
	states := map[string]string{}
	for _, n := range rows[catalog.Note](w.Catalogue, catalog.TNotes) {
		states[n.Of+" "+string(n.Kind)] = string(n.State)
	}
	for of, want := range map[string]string{"MWD-417-S caution": "confirmed", "HCK-31120 did-not-fit": "confirmed", "UY54/020 did-not-fit": "open", "DRK-4150-S did-not-fit": "withdrawn"} {
		if states[of] != want {
			t.Errorf("the note on %s is %q, want %q", of, states[of], want)
		}
	}
	equal("with a caution", w.takes("XEB-417-A", "actuator-set"), []string{"DRK-4120-S", "MWD-417-S"})
	equal("held", w.takes("31-2147", "seal-kit"), []string{"HCK-31120", "205.P.120"})
	// 14: nothing said, and said not to fit.
	if s := w.stated("WA-38", "case-connector-sleeve"); len(s) != 1 || s[0].Effect != catalog.DoesNotFit || s[0].Part != "" {
		t.Errorf("WA-38 and the sleeve: %v", s)
	}
	// 18 and 19: marks.
	for _, v := range []string{"XEB-437-B", "31-2310", "38-0513"} {
		if s := w.stated(v, "case-connector-sleeve"); len(s) != 1 || s[0].Scope != catalog.FitMark {
			t.Errorf("%s gets its sleeve by %v", v, s)
		}
	}
	if !w.shown["XUK-712-A"]["pan-shape=deep"] || !w.shown["XUK-712-A"]["pan-shape=deep-stepped"] {
		t.Error("XUK-712-A does not have two pans")
	}
	for _, f := range w.stated("XUK-712-A", "pan-gasket") {
		if len(f.When) != 1 {
			t.Errorf("the gasket %s of XUK-712-A has no condition", f.Part)
		}
	}
}
