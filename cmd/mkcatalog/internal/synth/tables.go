package synth

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"

	"github.com/shopspring/decimal"

	"platewright/catalog"
)

// number gives n tenths, hundredths and so on as a decimal.
func number(n int64, places int32) catalog.Decimal {
	return catalog.Decimal{Num: decimal.New(n, -places), Known: true}
}

// mark is a mark with the values that families show.
type mark struct {
	row       catalog.Mark
	values    []string
	tolerance catalog.Decimal // of a value
}

// Marks by index in [makeMarks], which stand in the order of their keys.
const (
	markConnector = 3
	markPanShape  = 7
)

func makeMarks() []mark {
	seen := func(name, assembly, title string, kind catalog.MarkKind, force catalog.Force, effort int64, how, caution string, values string) mark {
		return mark{row: catalog.Mark{Mark: name, Assembly: assembly, Name: title, Kind: kind, Force: force, Effort: number(effort, 0), How: how, Caution: caution, Source: benchList},
			values: strings.Fields(values)}
	}
	measured := func(name, title, unit string, own, of int64, effort int64, how, caution, values string) mark {
		m := seen(name, valveBody, title, catalog.MarkMeasured, catalog.Deciding, effort, how, caution, values)
		m.row.Unit, m.row.Tolerance, m.tolerance = unit, number(own, 1), number(of, 1)
		return m
	}
	const s, c, d, h = catalog.MarkSeen, catalog.MarkCounted, catalog.Deciding, catalog.Hinting
	return []mark{
		seen("actuator-count", valveBody, "actuators on the valve body", c, d, 25, "With the pan off, count the actuators.", "hot-fluid", "5 6 7 8 9"),
		seen("cap-colour", valveBody, "colour of the actuator caps", s, h, 20, "With the pan off, wipe a cap and look. Dyes fade: it hints and never decides.", "hot-fluid", "white black grey blue green amber red"),
		measured("coil", "resistance of the coil at site P1", "Ω", 2, 4, 6, "Engine off, plug pulled, unit near 20 °C. Measure across the two pins of site P1.", "static", "4.2 6.4 8.6 10.8 13"),
		seen("connector", valveBody, "shape of the plug", s, d, 3, "Pull the harness off and look at the plug in the case. Do not touch the pins.", "static",
			"round-keyed round-plain oval-twin oval-single square-lug flat-comb flat-ribbed half-moon star-six star-eight slot-tab wedge"),
		seen("connector-pins", valveBody, "pins in the plug", c, d, 4, "Count the pins of the plug in the case, empty places not counted. Do not touch them.", "static", "8 10 12 13 14 16 18 20 24"),
		seen("input-teeth", unitCase, "teeth of the input shaft", c, d, 18, "With the unit out and the converter drawn off, count around from a chalk mark.", "vehicle-support", "19 21 22 23 24 26 27"),
		seen("pan-bolt-count", unitCase, "bolts of the pan", c, d, 3, "Count the bolts around the pan, holes without a bolt included.", "vehicle-support", "10 12 13 14 16 18 20 22 24 28"),
		seen("pan-shape", unitCase, "shape of the pan", s, d, 2, "Look at the pan from below.", "vehicle-support", "flat ribbed stepped deep deep-stepped round notched slanted"),
		measured("sleeve-length", "length of the case connector sleeve", "mm", 2, 4, 14, "Drain to below the sleeve, pull it, wipe it and measure its whole length.", "hot-fluid", "21 23 25 27 29 31 33"),
		seen("vehicle", unitCase, "kind of vehicle that the unit came in", s, h, 1, "Ask the driver. Vehicles get other gearboxes: it hints and never decides.", "", "van minibus tractor flatbed sweeper"),
	}
}

// cautions are the usual ones of the trade.
var cautions = []catalog.Caution{
	{Caution: "hot-fluid", Text: "Transmission fluid scalds. Let the unit cool until the pan can be touched before a plug is opened, wear gloves and eye protection.", Defer: "The unit maker's instructions and local rules of work safety go first."},
	{Caution: "static", Text: "Static electricity can destroy control modules without a trace. Wear an earthed wrist strap and never touch the pins.", Defer: "The unit maker's instructions for electrostatic-sensitive parts go first."},
	{Caution: "stored-pressure", Text: "Accumulators and springs under load hold energy with the engine off. Release the pressure as the unit maker says.", Defer: "The unit maker's instructions go first."},
	{Caution: "vehicle-support", Text: "A vehicle or unit that slips can kill. Use a lift or stands rated for the load and a transmission jack with the unit strapped to it.", Defer: "The vehicle and lift makers' instructions and local rules for lifting gear go first."},
	{Caution: "waste-fluid", Text: "Used fluid and filters harm soil and water. Catch every drop and hand it to a licensed collector.", Defer: "Local rules on waste go first."},
}

var works = []struct {
	name, title string
	fill        catalog.FillKind
	roles       []string
}{
	{"actuator-replacement", "actuator set replacement", catalog.FillRefill, []string{"actuator-set", "case-connector-sleeve", "pan-gasket", "filter", "fluid"}},
	{"fluid-service", "fluid service", catalog.FillRefill, []string{"drain-plug-seal", "filter", "fluid", "pan-gasket"}},
	{"full-overhaul", "full overhaul", catalog.FillDry, []string{"overhaul-kit", "seal-kit", "friction-set", "steel-set", "bushing-set", "filter", "fluid", "input-seal", "output-seal", "selector-seal", "pan-gasket", "pan-bolts"}},
	{"module-replacement", "control module replacement", catalog.FillRefill, []string{"control-module", "case-connector-sleeve", "pan-gasket", "fluid"}},
	{"output-seal-replacement", "output seal replacement", catalog.FillNone, []string{"output-seal"}},
	{"valve-body-reseal", "valve body reseal", catalog.FillRefill, []string{"seal-kit", "feed-tube-seals", "case-connector-sleeve", "pan-gasket", "filter", "fluid"}},
}

const specs = 12

func specName(i int) string { return fmt.Sprintf("Q7-F%02d", i) }

// makeSmallTables makes everything that does not grow with the variants, and
// the tables that have a few rows for each family.
func (w *World) makeSmallTables() error {
	r := w.random(streamRows, 0)
	w.makeSources()
	w.makeMakers(r)
	if err := w.makeLayouts(); err != nil {
		return err
	}
	w.makeMarkRows()
	w.makeWork()
	w.makePartRows(r)
	w.makeFluids(r)
	w.makeSuppliers(r)
	w.makeFigures(r)
	w.makeBench(r)
	return nil
}

func (w *World) makeSources() {
	sources := []*catalog.Source{}
	add := func(name, title string) {
		sources = append(sources, &catalog.Source{Source: name, Title: title, Kind: catalog.SourceInvented, Edition: "issue 7", Dated: 20240300, About: "made up by a program"})
	}
	for _, m := range partMakers {
		add(listOf(m), "Parts list of maker "+m)
	}
	add(aftermarketList, "Aftermarket lists")
	add(practiceList, "Habits of the trade")
	add(benchList, "Bench book")
	add(supplierList, "Price lists")
	w.small[catalog.TSources] = sorted(catalog.TSources, sources)
	var list []*catalog.Caution
	for _, c := range cautions {
		c.Source = practiceList
		list = append(list, &c)
	}
	w.small[catalog.TCautions] = sorted(catalog.TCautions, list)
}

func (w *World) makeMakers(r *rand.Rand) {
	var makers []*catalog.Maker
	for _, m := range partMakers {
		makers = append(makers, &catalog.Maker{Maker: m, Name: capital(invent(r, 3)) + " Units", Source: listOf(m)})
	}
	w.small[catalog.TMakers] = sorted(catalog.TMakers, makers)
	var families []*catalog.Family
	for _, f := range w.families {
		row := &catalog.Family{Family: f.code, Maker: f.layout.row.Maker, Name: f.name, Source: f.layout.row.Source}
		if chance(r, 200) {
			row.About = sentence(r, w.vocabulary, 8)
		}
		families = append(families, row)
	}
	w.small[catalog.TFamilies] = sorted(catalog.TFamilies, families)
	w.small[catalog.TAssemblies] = sorted(catalog.TAssemblies, []*catalog.Assembly{
		{Assembly: unitCase, Name: "unit case", Source: practiceList},
		{Assembly: valveBody, Name: "valve body with control module", Follows: unitCase, Source: practiceList},
	})
}

func (w *World) makeLayouts() error {
	var rows []*catalog.Layout
	var fields []*catalog.Field
	for i, l := range append(slices.Clone(w.layouts), w.labels...) {
		width := 0
		for _, n := range l.widths {
			width += n
		}
		// An example of no variant in particular.
		key := "7" + strings.Repeat("0", width-1)
		if len(l.prefix) > 0 {
			key = l.prefixOf(0) + strings.Repeat("0", l.number) + l.suffix[0]
		}
		row := l.row
		var err error
		if row.Example, err = l.plateText(w.random(streamPlateText, i), key, 1234, 2017, 4); err != nil {
			return err
		}
		rows = append(rows, &row)
		for _, f := range l.fields {
			fields = append(fields, &f)
		}
	}
	w.small[catalog.TLayouts] = sorted(catalog.TLayouts, rows)
	w.small[catalog.TFields] = sorted(catalog.TFields, fields)
	return nil
}

func (w *World) makeMarkRows() {
	var rows []*catalog.Mark
	for _, m := range w.marks {
		rows = append(rows, &m.row)
	}
	w.small[catalog.TMarks] = sorted(catalog.TMarks, rows)
}

func (w *World) makeWork() {
	var roles []*catalog.Role
	for _, o := range partRoles {
		roles = append(roles, &catalog.Role{Role: o.name, Name: strings.ReplaceAll(o.name, "-", " "), Assembly: o.assembly, Kind: catalog.RolePart, OneTime: o.oneTime})
	}
	roles = append(roles, &catalog.Role{Role: fluidRole, Name: "transmission fluid", Assembly: unitCase, Kind: catalog.RoleFluid, About: "by specification; see the fills"})
	w.small[catalog.TRoles] = sorted(catalog.TRoles, roles)
	var scopes []*catalog.WorkScope
	var needs []*catalog.WorkRole
	var links []*catalog.CautionLink
	for _, s := range works {
		scopes = append(scopes, &catalog.WorkScope{Work: s.name, Name: s.title, Fill: s.fill, Source: practiceList})
		for i, o := range s.roles {
			need, why := catalog.NeedRequired, "this is what the work is about"
			if i > 0 {
				why = "it is opened or moved for the work"
			}
			if i == len(s.roles)-1 && i > 2 && o != fluidRole {
				need = catalog.NeedRecommended
			}
			needs = append(needs, &catalog.WorkRole{Work: s.name, Role: o, Need: need, Why: why, Source: practiceList})
		}
		links = append(links, &catalog.CautionLink{On: catalog.OnWork, Of: s.name, Caution: "vehicle-support"})
		if s.fill != catalog.FillNone {
			links = append(links, &catalog.CautionLink{On: catalog.OnWork, Of: s.name, Caution: "hot-fluid"}, &catalog.CautionLink{On: catalog.OnWork, Of: s.name, Caution: "waste-fluid"})
		}
	}
	links = append(links, &catalog.CautionLink{On: catalog.OnRole, Of: "control-module", Caution: "static"}, &catalog.CautionLink{On: catalog.OnRole, Of: "friction-set", Caution: "stored-pressure"})
	for _, m := range w.marks {
		if m.row.Caution != "" {
			links = append(links, &catalog.CautionLink{On: catalog.OnMark, Of: m.row.Mark, Caution: m.row.Caution})
		}
	}
	for i := 0; i < len(w.families); i += 40 {
		links = append(links, &catalog.CautionLink{On: catalog.OnFamily, Of: w.families[i].code, Caution: "stored-pressure"})
	}
	w.small[catalog.TWork] = sorted(catalog.TWork, scopes)
	w.small[catalog.TWorkRoles] = sorted(catalog.TWorkRoles, needs)
	w.small[catalog.TCautionLinks] = sorted(catalog.TCautionLinks, links)
}

func (w *World) makePartRows(r *rand.Rand) {
	var parts []*catalog.Part
	var numbers []*catalog.Number
	var contents []*catalog.Content
	var supersessions []*catalog.Supersession
	var companions []*catalog.Companion
	for i, p := range w.parts {
		parts = append(parts, p.row)
		supersessions = append(supersessions, p.next...)
		if chance(r, 600) {
			numbers = append(numbers, &catalog.Number{Number: fmt.Sprintf("N7Q %07d", (i*7919+99)%10_000_000), Part: p.row.Part, User: "old list", Source: p.row.Source})
		}
		if p.row.Kind == catalog.PartKit || p.row.Kind == catalog.PartSet {
			n := 3 + r.IntN(6)
			at := r.IntN(len(w.pieces) - n)
			for k, piece := range w.pieces[at : at+n] {
				contents = append(contents, &catalog.Content{Kit: p.row.Part, Part: w.parts[piece].row.Part, Qty: 1 + r.IntN(6), Place: fmt.Sprintf("P%d", k+1), Source: p.row.Source})
			}
		}
		if p.row.Kind != catalog.PartFluid && p.row.Status == catalog.PartSold && i < w.pieces[0] && chance(r, 80) {
			c := &catalog.Companion{Part: p.row.Part, Companion: w.parts[pick(r, w.pieces)].row.Part, Qty: 1, Per: catalog.PerJob, Why: sentence(r, w.vocabulary, 9), Source: p.row.Source}
			if p.before >= 0 && chance(r, 500) {
				c.Replacing = w.parts[p.before].row.Part
			} else if chance(r, 500) {
				c.Per = catalog.PerPart
			}
			companions = append(companions, c)
		}
	}
	w.small[catalog.TParts] = sorted(catalog.TParts, parts)
	w.small[catalog.TNumbers] = sorted(catalog.TNumbers, numbers)
	w.small[catalog.TContents] = sorted(catalog.TContents, contents)
	w.small[catalog.TSupersessions] = sorted(catalog.TSupersessions, supersessions)
	w.small[catalog.TCompanions] = sorted(catalog.TCompanions, companions)
}

func (w *World) makeFluids(r *rand.Rand) {
	var rows []*catalog.Spec
	var serves []*catalog.Serve
	var meets []*catalog.Meet
	for i := range specs {
		rows = append(rows, &catalog.Spec{Spec: specName(i), Name: "fluid " + specName(i), Source: listOf(partMakers[i%len(partMakers)])})
		if i%2 == 1 {
			serves = append(serves, &catalog.Serve{Spec: specName(i - 1), ServedBy: specName(i), Source: listOf(partMakers[i%len(partMakers)])})
		}
	}
	for k, i := range w.fluids {
		// Every specification has a fluid.
		m := &catalog.Meet{Spec: specName(k % specs), Fluid: w.parts[i].row.Part, Claim: catalog.Approved, Source: w.parts[i].row.Source}
		if w.parts[i].row.Origin == catalog.OriginAftermarket {
			m.Claim = catalog.Claimed
		}
		meets = append(meets, m)
	}
	w.small[catalog.TSpecs] = sorted(catalog.TSpecs, rows)
	w.small[catalog.TServes] = sorted(catalog.TServes, serves)
	w.small[catalog.TMeets] = sorted(catalog.TMeets, meets)
	var fills []*catalog.Fill
	for _, f := range w.families {
		refill := int64(30 + r.IntN(60))
		fills = append(fills, &catalog.Fill{Scope: catalog.OfFamily, Of: f.code, Role: fluidRole, Spec: specName(r.IntN(specs)), Refill: number(refill, 1), Dry: number(refill+20+int64(r.IntN(50)), 1),
			TempFrom: number(30, 0), TempTo: number(50, 0), How: "Fill with the vehicle level and set the level at the overflow.", Caution: "hot-fluid", Source: f.layout.row.Source})
	}
	w.small[catalog.TFills] = sorted(catalog.TFills, fills)
}

func (w *World) makeSuppliers(r *rand.Rand) {
	var suppliers []*catalog.Supplier
	var offers []*catalog.Offer
	var shelf []*catalog.ShelfItem
	const sellers = 12
	for i := range sellers {
		suppliers = append(suppliers, &catalog.Supplier{Supplier: fmt.Sprintf("q7s%02d", i), Name: capital(invent(r, 3)) + " Parts", Currency: "EUR", Freight: number(400+int64(r.IntN(1500)), 2),
			FreeFreight: number(100+int64(r.IntN(400)), 0), Minimum: number(int64(r.IntN(60)), 0), Days: 1 + r.IntN(4), Cutoff: fmt.Sprintf("%02d:30", 11+r.IntN(6)), Source: supplierList})
	}
	for i, p := range w.parts {
		if p.row.Status != catalog.PartSold && chance(r, 900) {
			continue
		}
		price := int64(150 + r.IntN(1+r.IntN(60_000)))
		for range r.IntN(5) {
			s := r.IntN(sellers)
			o := &catalog.Offer{Supplier: suppliers[s].Supplier, Stock: fmt.Sprintf("S%d/%07d/%c", s, i, letters[len(offers)%26]), Part: p.row.Part, Price: number(price*(85+int64(r.IntN(31)))/100, 2), Pack: 1, OnHand: r.IntN(20), Source: supplierList}
			if p.row.Kind == catalog.PartFluid {
				o.Litres = number(int64([]int{1, 5, 20}[r.IntN(3)]), 0)
			} else if chance(r, 100) {
				o.Pack = 5 * (1 + r.IntN(4))
			}
			offers = append(offers, o)
		}
		if chance(r, 100) {
			shelf = append(shelf, &catalog.ShelfItem{Part: p.row.Part, Place: fmt.Sprintf("box %d", 1+r.IntN(400)), Qty: 1 + r.IntN(9)})
		}
	}
	w.small[catalog.TSuppliers] = sorted(catalog.TSuppliers, suppliers)
	w.small[catalog.TOffers] = sorted(catalog.TOffers, offers)
	w.small[catalog.TShelf] = sorted(catalog.TShelf, shelf)
}

func (w *World) makeFigures(r *rand.Rand) {
	var torques []*catalog.Torque
	var sites []*catalog.Site
	for _, f := range w.families {
		of, source := f.code, f.layout.row.Source
		torques = append(torques,
			&catalog.Torque{Scope: catalog.OfFamily, Of: of, Fastener: "drain-plug", Role: "drain-plug-seal", Torque: number(20+int64(r.IntN(20)), 0), Tolerance: number(3, 0), Note: "new ring", Source: source},
			&catalog.Torque{Scope: catalog.OfFamily, Of: of, Fastener: "pan-bolt", Role: "pan-bolts", Torque: number(8+int64(r.IntN(8)), 0), Tolerance: number(1, 0), Stages: "half, then the full figure", Order: "crosswise from the middle", Source: source})
		for _, site := range []string{"P1", "S1"} {
			sites = append(sites, &catalog.Site{Scope: catalog.OfFamily, Of: of, Site: site, Role: "actuator-set", Ohm: number(40+int64(r.IntN(90)), 1), Tolerance: number(5, 1), Temp: number(20, 0), Serves: "clutch", Source: source})
		}
	}
	w.small[catalog.TTorques] = sorted(catalog.TTorques, torques)
	w.small[catalog.TSites] = sorted(catalog.TSites, sites)
}

// makeBench makes what is measured on the bench and done beside the parts. It draws
// last, so that all else stays as it was before these tables were there.
func (w *World) makeBench(r *rand.Rand) {
	var seals []*catalog.Seal
	var rings []*catalog.Ring
	var faults []*catalog.Fault
	var ports []*catalog.Port
	for _, f := range w.families {
		of, source := f.code, f.layout.row.Source
		length := 180 + int64(r.IntN(200))
		seals = append(seals, &catalog.Seal{Scope: catalog.OfFamily, Of: of, Seal: "tube-a", Role: "feed-tube-seals", Place: "feed bore A", Length: number(length, 1), Tolerance: number(2, 1), Least: number(length-8, 1), Qty: 1 + r.IntN(3), Source: source})
		rings = append(rings, &catalog.Ring{Scope: catalog.OfFamily, Of: of, Ring: "neck", Role: "filter", Place: "filter neck", Inside: number(150+int64(r.IntN(150)), 1), Section: number(262, 2), Qty: 1, Source: source})
		for i, site := range []string{"P1", "S1"} {
			faults = append(faults, &catalog.Fault{Family: of, Code: fmt.Sprintf("P17%d%X", 5+i, r.IntN(16)), Site: site, Text: "current of the actuator at " + site + " is not as commanded", Source: source})
		}
		ports = append(ports, &catalog.Port{Scope: catalog.OfFamily, Of: of, Port: "A1", Role: "friction-set", Serves: "clutch", Medium: catalog.MediumAir, Pressure: number(400, 0), Volume: number(40+int64(r.IntN(40)), 0), Leak: number(60, 0), Expect: "a dull thud", Source: source})
	}
	var sheets []*catalog.Sheet
	var limits []*catalog.Limit
	var consumables []*catalog.Consumable
	var breaks []*catalog.Break
	var steps []*catalog.Step
	for _, row := range w.small[catalog.TMeets] {
		m := row.(*catalog.Meet)
		if len(sheets) == 0 || sheets[len(sheets)-1].Fluid != m.Fluid {
			sheets = append(sheets, &catalog.Sheet{Fluid: m.Fluid, Property: catalog.Viscosity100, Value: number(52+int64(r.IntN(20)), 1), Source: m.Source})
		}
	}
	sheets = uniqueBy(sheets, func(s *catalog.Sheet) string { return s.Fluid.Key() })
	for _, row := range w.small[catalog.TSpecs] {
		limits = append(limits, &catalog.Limit{Spec: row.(*catalog.Spec).Spec, Property: catalog.Viscosity100, Least: number(50, 1), Most: number(74, 1), Source: row.(*catalog.Spec).Source})
	}
	for _, row := range w.small[catalog.TWork] {
		work := row.(*catalog.WorkScope)
		steps = append(steps, &catalog.Step{Work: work.Work, When: catalog.WhenAfter, Place: 1, Text: "Clear the codes and read them again after the test run.", Source: work.Source})
		for _, p := range w.parts {
			if p.row.Kind == catalog.PartSingle && p.row.Status == catalog.PartSold {
				consumables = append(consumables, &catalog.Consumable{Work: work.Work, Part: p.row.Part, Qty: 1, Why: "used up", Source: work.Source})
				break
			}
		}
	}
	for _, row := range w.small[catalog.TOffers] {
		if o := row.(*catalog.Offer); chance(r, 50) && o.Price.Num.IsPositive() {
			breaks = append(breaks, &catalog.Break{Supplier: o.Supplier, Stock: o.Stock, From: 2 + r.IntN(9), Price: o.Price, Source: o.Source})
		}
	}
	if len(breaks) == 0 {
		o := w.small[catalog.TOffers][0].(*catalog.Offer)
		breaks = append(breaks, &catalog.Break{Supplier: o.Supplier, Stock: o.Stock, From: 2, Price: o.Price, Source: o.Source})
	}
	w.small[catalog.TSeals] = sorted(catalog.TSeals, seals)
	w.small[catalog.TRings] = sorted(catalog.TRings, rings)
	w.small[catalog.TFaults] = sorted(catalog.TFaults, faults)
	w.small[catalog.TPorts] = sorted(catalog.TPorts, ports)
	w.small[catalog.TSheets] = sorted(catalog.TSheets, sheets)
	w.small[catalog.TLimits] = sorted(catalog.TLimits, limits)
	w.small[catalog.TSteps] = sorted(catalog.TSteps, steps)
	w.small[catalog.TConsumables] = sorted(catalog.TConsumables, consumables)
	w.small[catalog.TBreaks] = sorted(catalog.TBreaks, breaks)
	w.small[catalog.TSynonyms] = sorted(catalog.TSynonyms, []*catalog.Synonym{{Word: "solenoid", Means: "actuator", Source: practiceList}, {Word: "sump", Means: "pan", Source: practiceList}})
}

// uniqueBy keeps the first of each key.
func uniqueBy[T any](list []T, key func(T) string) []T {
	seen := map[string]bool{}
	return slices.DeleteFunc(list, func(x T) bool {
		k := key(x)
		defer func() { seen[k] = true }()
		return seen[k]
	})
}
