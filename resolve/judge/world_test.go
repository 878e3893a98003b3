package judge_test

import (
	"fmt"
	"math/rand/v2"
	"strings"

	"platewright/catalog"
	"platewright/resolve"
)

// maker builds a small random world, dense in what makes decisions hard.
type maker struct {
	*rand.Rand
	w        world
	families []string
	variants []*catalog.Variant
	parts    []string // the later, the higher its layer
	layer    []int
	fluids   []string
	specs    []string
	circles  bool                // companions may lead back
	dated    bool                // plates bear a build date
	labels   map[string][]string // variant: texts of its labels
	module   bool                // there is a third assembly
	plate    func(v *catalog.Variant, serial int, built string) string
}

func (m *maker) chance(percent int) bool { return m.IntN(100) < percent }

func pick[T any](m *maker, list []T) T { return list[m.IntN(len(list))] }

const src = "made-up"

func decimal(s string) catalog.Decimal {
	d, err := catalog.ParseDecimal(s)
	if err != nil {
		panic(err)
	}
	return d
}

var markValues = map[string][]string{
	"lug":    {"left", "right", "none"},
	"teeth":  {"19", "21"},
	"dye":    {"grey", "green"},
	"length": {"12.0", "12.5", "14"},
}

// makeWorld gives the world of a seed and questions about it.
func makeWorld(seed uint64) (*world, []ask) {
	m := &maker{Rand: rand.New(rand.NewPCG(seed, 7)), labels: map[string][]string{}}
	m.circles = m.chance(15)
	m.module = m.chance(20)
	m.frame()
	m.makeVariants()
	m.makeParts()
	m.makeFits()
	m.makeFluids()
	asks := m.asks()
	m.makeSites(seed, asks)
	m.makeSeals(seed, asks)
	m.makeSheets(seed)
	return &m.w, asks
}

// makeSheets gives fluids a figure of a data sheet and specifications a limit to it,
// so that some sheets belie what their fluids are said to meet. It draws from chances
// of its own, as makeSites does.
func (m *maker) makeSheets(seed uint64) {
	s := &maker{Rand: rand.New(rand.NewPCG(seed, 10))}
	for _, f := range m.fluids {
		if s.chance(60) {
			m.w.add(catalog.TSheets, &catalog.Sheet{Fluid: catalog.PartNo(f), Property: catalog.Viscosity100, Value: decimal(pick(s, []string{"5.2", "5.9", "7"})), Source: src})
		}
	}
	for _, spec := range m.specs {
		l := &catalog.Limit{Spec: spec, Property: catalog.Viscosity100, Source: src}
		switch s.IntN(4) {
		case 0:
			l.Least = decimal("5.9")
		case 1:
			l.Most = decimal("5.9")
		case 2:
			l.Least, l.Most = decimal("5.5"), decimal("6.9")
		default:
			continue
		}
		m.w.add(catalog.TLimits, l)
	}
}

// makeCoilMark gives some worlds a mark that is the coil at the site K1, or is said to
// be and is on another assembly, with rows that differ from those of the site, and
// observations of it. It draws from chances of its own, as makeSites does.
func (m *maker) makeCoilMark(seed uint64, role string, asks []ask) {
	s := &maker{Rand: rand.New(rand.NewPCG(seed, 11))}
	if s.chance(40) {
		return
	}
	assembly := pick(s, []string{"case", "body"})
	if s.chance(80) {
		assembly = m.roleOn(role)
	}
	mark := &catalog.Mark{Mark: "coil", Assembly: assembly, Name: "coil", Kind: catalog.MarkMeasured, Force: catalog.Deciding, Unit: "Ω", Effort: decimal("5"), How: "measure", Site: "K1", Source: src}
	if s.chance(50) {
		mark.Tolerance = decimal("0.2")
	}
	m.w.add(catalog.TMarks, mark)
	show := func(scope catalog.ShowScope, of string) {
		m.w.add(catalog.TShows, &catalog.Show{Scope: scope, Of: of, Mark: "coil", Value: pick(s, []string{"5", "7", "10"}), Tolerance: decimal(pick(s, []string{"0.5", "1"})), Source: src})
	}
	for _, f := range m.families {
		if s.chance(60) {
			show(catalog.OfFamily, f)
		}
	}
	for _, v := range m.variants {
		if s.chance(30) {
			show(catalog.OfVariant, string(v.Variant))
		}
	}
	for i := range asks {
		if s.chance(30) {
			value := pick(s, []string{"5", "5.5", "5.7", "5.701", "7", "8.2", "9.5", "10.8", "11 at 40 °C", "11.001 at 40 °C", "7.5 at 60 °C", "14"})
			if mark.Assembly != m.roleOn(role) {
				value, _, _ = strings.Cut(value, " at ") // a mark like any other has no temperature
			}
			asks[i].question.Saw = append(asks[i].question.Saw, resolve.Observation{Mark: "coil", Value: value})
		}
	}
}

// roleOn gives the assembly that decides a role.
func (m *maker) roleOn(role string) string {
	for _, tr := range m.w.rows {
		if r, ok := tr.row.(*catalog.Role); ok && r.Role == role {
			return r.Assembly
		}
	}
	return ""
}

// makeSites adds an actuator site to every family, for some variants one of their
// own, and readings at it to some questions. It draws from chances of its own, so
// that the rest of a world does not hang on it.
func (m *maker) makeSites(seed uint64, asks []ask) {
	s := &maker{Rand: rand.New(rand.NewPCG(seed, 8))}
	role := pick(s, []string{"drum", "valve"})
	add := func(scope catalog.ShowScope, of string) {
		m.w.add(catalog.TSites, &catalog.Site{Scope: scope, Of: of, Site: "K1", Role: role, Ohm: decimal(pick(s, []string{"5", "10", "10.5"})), Tolerance: decimal(pick(s, []string{"0.5", "1"})),
			Temp: decimal(pick(s, []string{"20", "20", "25", "40"})), Source: src})
	}
	for i, f := range m.families {
		if i > 0 && seed%3 == 0 {
			continue // K1 of a family without rows, for which a mark of it can have some
		}
		add(catalog.OfFamily, f)
	}
	for _, v := range m.variants {
		if s.chance(35) {
			add(catalog.OfVariant, string(v.Variant))
		}
	}
	m.makeCoilMark(seed, role, asks)
	for i := range asks {
		if s.chance(25) {
			value := pick(s, []string{"5", "5.5", "5.501", "4.5", "9.5", "10.8", "11 at 40 °C", "11.001 at 40 °C", "10.786 at 40 °C", "6.4 at 80 °C", "7"})
			asks[i].question.Saw = append(asks[i].question.Saw, resolve.Observation{Mark: "K1", Value: value})
		}
	}
}

// makeSeals adds seals to families and variants in the same way, and makes the mark
// that is a length one that wears in some worlds.
func (m *maker) makeSeals(seed uint64, asks []ask) {
	s := &maker{Rand: rand.New(rand.NewPCG(seed, 9))}
	role := pick(s, []string{"seal", "valve"})
	add := func(scope catalog.ShowScope, of string) {
		r := &catalog.Seal{Scope: scope, Of: of, Seal: "cup", Role: role, Place: "neck", Length: decimal(pick(s, []string{"26", "31.5", "40"})), Qty: 1, Source: src}
		if s.chance(60) {
			r.Tolerance = decimal("0.2")
		}
		if s.chance(60) {
			r.Least = catalog.Decimal{Num: r.Length.Num.Sub(decimal("0.8").Num), Known: true}
		}
		if s.chance(40) {
			r.Fitted = catalog.Decimal{Num: r.Length.Num.Sub(decimal(pick(s, []string{"1", "2.5", "7"})).Num), Known: true}
		}
		m.w.add(catalog.TSeals, r)
	}
	for i, f := range m.families {
		if i == 0 || s.chance(80) {
			add(catalog.OfFamily, f)
		}
	}
	for _, v := range m.variants {
		if s.chance(30) {
			add(catalog.OfVariant, string(v.Variant))
		}
	}
	for i := range asks {
		if s.chance(25) {
			value := pick(s, []string{"26", "26.3", "26.301", "25.2", "25.199", "22.1", "22.099", "24.9", "31.5", "30.7", "30.4", "29", "26.775", "40", "39.2", "34", "33.9", "18.9", "10", "41"})
			asks[i].question.Saw = append(asks[i].question.Saw, resolve.Observation{Mark: "cup", Value: value})
		}
	}
	if s.chance(50) {
		for _, tr := range m.w.rows {
			if r, ok := tr.row.(*catalog.Mark); ok && r.Mark == "length" {
				r.Wears = catalog.Shorter
			}
		}
	}
}

func (m *maker) frame() {
	w := &m.w
	w.add(catalog.TSources, &catalog.Source{Source: src, Title: "made up for a test", Kind: catalog.SourceInvented})
	w.add(catalog.TMakers, &catalog.Maker{Maker: "zurm", Name: "Zurm", Source: src})
	w.add(catalog.TAssemblies, &catalog.Assembly{Assembly: "case", Name: "case", Source: src})
	w.add(catalog.TAssemblies, &catalog.Assembly{Assembly: "body", Name: "body", Follows: "case", Source: src})
	if m.module {
		w.add(catalog.TAssemblies, &catalog.Assembly{Assembly: "module", Name: "module", Follows: pick(m, []string{"case", "body"}), Source: src})
	}
	for i := range 2 + m.IntN(3) {
		f := fmt.Sprintf("F%d", i)
		m.families = append(m.families, f)
		w.add(catalog.TFamilies, &catalog.Family{Family: f, Maker: "zurm", Name: f, Source: src})
	}
	for _, k := range []struct {
		name, asm string
		kind      catalog.MarkKind
		force     catalog.Force
	}{{"lug", "case", catalog.MarkSeen, catalog.Deciding}, {"teeth", "body", catalog.MarkCounted, catalog.Deciding},
		{"dye", pick(m, []string{"case", "body"}), catalog.MarkSeen, catalog.Hinting}, {"length", pick(m, []string{"case", "body"}), catalog.MarkMeasured, catalog.Deciding}} {
		r := &catalog.Mark{Mark: k.name, Assembly: k.asm, Name: k.name, Kind: k.kind, Force: k.force, Effort: decimal("2"), How: "look", Source: src}
		if k.kind == catalog.MarkMeasured {
			r.Unit = "mm"
			if m.chance(70) {
				r.Tolerance = decimal("0.1")
			}
		}
		w.add(catalog.TMarks, r)
	}
	for _, r := range []*catalog.Role{
		{Role: "seal", Name: "seal", Assembly: "case", Kind: catalog.RolePart},
		{Role: "drum", Name: "drum", Assembly: "case", Kind: catalog.RolePart},
		{Role: "valve", Name: "valve", Assembly: "body", Kind: catalog.RolePart},
		{Role: "oil", Name: "oil", Assembly: pick(m, []string{"case", "case", "body"}), Kind: catalog.RoleFluid}} {
		w.add(catalog.TRoles, r)
	}
	if m.module {
		w.add(catalog.TRoles, &catalog.Role{Role: "unit", Name: "unit", Assembly: "module", Kind: catalog.RolePart})
	}
	for _, k := range []catalog.FillKind{catalog.FillNone, catalog.FillRefill, catalog.FillDry} {
		w.add(catalog.TWork, &catalog.WorkScope{Work: "job-" + string(k), Name: "job", Fill: k, Source: src})
		for _, r := range []string{"seal", "drum", "valve", "oil"} {
			if m.chance(60) {
				w.add(catalog.TWorkRoles, &catalog.WorkRole{Work: "job-" + string(k), Role: r, Need: catalog.NeedRequired, Why: "it is used up", Source: src})
			}
		}
	}
}

// fields adds a layout with its fields.
func (m *maker) fields(layout, assembly string, fs ...catalog.Field) {
	m.w.add(catalog.TLayouts, &catalog.Layout{Layout: layout, Maker: "zurm", Assembly: assembly, Name: layout, Example: "made up", Source: src})
	for i := range fs {
		fs[i].Layout, fs[i].Place = layout, i+1
		m.w.add(catalog.TFields, &fs[i])
	}
}

func (m *maker) makeVariants() {
	lit := func(s string) catalog.Field {
		return catalog.Field{Field: "lead", Kind: catalog.FieldLiteral, Chars: s, Means: catalog.MeansNothing}
	}
	var1 := catalog.Field{Field: "code", Kind: catalog.FieldAlphanum, Min: 3, Max: 3, Means: catalog.MeansVariant}
	serial := catalog.Field{Field: "serial", Kind: catalog.FieldDigits, Min: 3, Max: 3, Means: catalog.MeansSerial, Optional: m.chance(40)}
	built := catalog.Field{Field: "built", Kind: catalog.FieldDigits, Min: 6, Max: 6, Means: catalog.MeansBuilt, Form: "YYYYMM"}
	withBuilt := m.chance(30)
	plate := []catalog.Field{lit("K"), var1, serial}
	if m.chance(30) { // the code in two pieces around the serial number
		plate = []catalog.Field{
			{Field: "front", Kind: catalog.FieldLetters, Min: 1, Max: 1, Means: catalog.MeansVariant},
			{Field: "serial", Kind: catalog.FieldDigits, Min: 3, Max: 3, Means: catalog.MeansSerial},
			{Field: "back", Kind: catalog.FieldAlphanum, Min: 2, Max: 2, Means: catalog.MeansVariant}}
		m.plate = func(v *catalog.Variant, s int, b string) string {
			c := string(v.Variant)
			return c[:1] + fmt.Sprintf("%03d", s) + c[1:] + b
		}
	} else {
		m.plate = func(v *catalog.Variant, s int, b string) string {
			if s == 0 {
				return "K" + string(v.Variant) + b
			}
			return "K" + string(v.Variant) + fmt.Sprintf("%03d", s) + b
		}
	}
	if withBuilt {
		plate = append(plate, built)
		m.dated = true
	}
	m.fields("plate", "case", plate...)
	label := []catalog.Field{lit("V"), {Field: "mark", Kind: catalog.FieldAlphanum, Min: 3, Max: 3, Means: catalog.MeansVariant}}
	if m.chance(30) {
		s := serial
		s.Optional = true
		label = append(label, s)
	}
	m.fields("label", "body", label...)
	if m.module {
		m.fields("tag", "module", lit("T"), catalog.Field{Field: "mark", Kind: catalog.FieldAlphanum, Min: 1, Max: 2, Means: catalog.MeansVariant})
	}
	codes := map[string]bool{}
	for range 3 + m.IntN(8) {
		c := string(pick(m, []rune("AB"))) + string(pick(m, []rune("123"))) + string(pick(m, []rune("XYZ")))
		if codes[c] {
			continue
		}
		codes[c] = true
		v := &catalog.Variant{Variant: catalog.VariantCode(c), Family: pick(m, m.families), Layout: "plate", Source: src}
		if m.chance(15) {
			v.SerialFrom = catalog.Serial(100 * (1 + m.IntN(4)))
		}
		if m.chance(15) {
			v.SerialTo = catalog.Serial(500 + 100*m.IntN(4))
		}
		if m.chance(10) {
			v.BuiltFrom = m.date()
		}
		if m.chance(10) {
			v.BuiltTo = m.date()
		}
		if v.BuiltTo != 0 && v.BuiltFrom > v.BuiltTo {
			v.BuiltTo = 0
		}
		m.variants = append(m.variants, v)
		m.w.add(catalog.TVariants, v)
		// Labels are shared by several variants or stand for one.
		for range 1 + m.IntN(2) {
			l := pick(m, []string{"P1A", "P2A", "P3A", "P1B", "P2B"})
			m.labels[c] = append(m.labels[c], "V"+l)
			m.w.add(catalog.TPlates, &catalog.Plate{Layout: "label", Plate: l, Variant: v.Variant, Source: src})
		}
		if m.module {
			l := pick(m, []string{"M1", "M2", "9"})
			m.w.add(catalog.TPlates, &catalog.Plate{Layout: "tag", Plate: l, Variant: v.Variant, Source: src})
		}
		if m.chance(15) { // an older style of plate
			m.w.add(catalog.TPlates, &catalog.Plate{Layout: "plate", Plate: pick(m, []string{"C1X", "C2X"}), Variant: v.Variant, Source: src})
		}
	}
	for _, mark := range []string{"dye", "length", "lug", "teeth"} {
		for _, f := range m.families {
			if m.chance(35) {
				m.shows(catalog.OfFamily, f, mark)
			}
		}
		for _, v := range m.variants {
			if m.chance(35) {
				m.shows(catalog.OfVariant, string(v.Variant), mark)
			}
		}
	}
}

func (m *maker) shows(scope catalog.ShowScope, of, mark string) {
	n := 1
	if m.chance(30) {
		n = 2
	}
	for range n {
		s := &catalog.Show{Scope: scope, Of: of, Mark: mark, Value: pick(m, markValues[mark]), Source: src}
		if mark == "length" && m.chance(60) {
			s.Tolerance = decimal(pick(m, []string{"0.1", "0.4"}))
		}
		m.w.add(catalog.TShows, s)
	}
}

func (m *maker) date() catalog.Date {
	d, err := catalog.ParseDate(pick(m, []string{"2018", "2018-06", "2019-02", "2019-02-14", "2019-07", "2020", "2020-01-31"}))
	if err != nil {
		panic(err)
	}
	return d
}

func (m *maker) makeParts() {
	n := 6 + m.IntN(6)
	layer := 0
	for i := range n {
		p := fmt.Sprintf("N%02d", i)
		if i > 0 && m.chance(45) {
			layer++
		}
		m.parts, m.layer = append(m.parts, p), append(m.layer, layer)
		status := catalog.PartSold
		if m.chance(40) {
			status = catalog.PartEnded
		}
		m.w.add(catalog.TParts, &catalog.Part{Part: catalog.PartNo(p), Name: "piece", Kind: catalog.PartSingle, Origin: catalog.OriginMaker, Status: status, Source: src})
	}
	if m.chance(40) {
		m.w.add(catalog.TNumbers, &catalog.Number{Number: "AKA-1", Part: catalog.PartNo(pick(m, m.parts)), User: "someone", Source: src})
	}
	// Supersessions go to later parts; two-way ones stay in one layer.
	split := map[int]bool{}
	single := map[int]bool{}
	for i := range m.parts {
		for range m.IntN(3) {
			j := i + 1 + m.IntN(4)
			if j >= n {
				continue
			}
			s := &catalog.Supersession{Old: catalog.PartNo(m.parts[i]), New: catalog.PartNo(m.parts[j]), Qty: 1, Source: src}
			switch {
			case m.layer[i] == m.layer[j]:
				s.Kind = catalog.TwoWay
				if m.chance(30) {
					s.Old, s.New = s.New, s.Old
				}
			case m.chance(45) && !single[i]:
				s.Kind, s.Qty = catalog.Split, 1+m.IntN(2)
				split[i] = true
			case !split[i]:
				s.Kind = catalog.OneWay
				single[i] = true
				if m.chance(30) {
					s.Qty = 2
				}
			default:
				continue
			}
			m.w.add(catalog.TSupersessions, s)
		}
	}
	for _, tr := range m.w.rows { // a split into one piece would be a one-way replacement
		if s, ok := tr.row.(*catalog.Supersession); ok && s.Kind == catalog.Split && s.Qty == 1 && m.splits(s.Old) == 1 {
			s.Qty = 2
		}
	}
	for i := range m.parts {
		for range m.IntN(3) {
			j := i + 1 + m.IntN(n)
			if j >= n && !m.circles {
				continue
			}
			j %= n
			if j == i || m.layer[i] == m.layer[j] && !m.circles {
				continue
			}
			c := &catalog.Companion{Part: catalog.PartNo(m.parts[i]), Companion: catalog.PartNo(m.parts[j]), Qty: 1 + m.IntN(2), Per: pick(m, []catalog.Per{catalog.PerJob, catalog.PerPart}), Why: "it must", Source: src}
			if i > 0 && m.chance(50) {
				c.Replacing = catalog.PartNo(m.parts[m.IntN(i)])
			}
			m.w.add(catalog.TCompanions, c)
		}
	}
	for range m.IntN(3) {
		note := &catalog.Note{On: catalog.NoteOnPart, Of: pick(m, m.parts), Note: fmt.Sprint("n", m.IntN(3)), Kind: catalog.NoteDidNotFit, Text: "it did not", State: catalog.NoteConfirmed, Author: "bench 1", Confirmed: "bench 2", Dated: m.date()}
		if m.chance(25) {
			note.State, note.Confirmed = catalog.NoteOpen, ""
		}
		if m.chance(40) {
			note.Family = pick(m, m.families)
		}
		m.w.add(catalog.TNotes, note)
	}
}

// splits counts the pieces of a split part.
func (m *maker) splits(old catalog.PartNo) int {
	pieces := map[catalog.PartNo]bool{}
	for _, tr := range m.w.rows {
		if s, ok := tr.row.(*catalog.Supersession); ok && s.Kind == catalog.Split && s.Old == old {
			pieces[s.New] = true
		}
	}
	return len(pieces)
}

func (m *maker) makeFits() {
	roles := []string{"seal", "drum", "valve"}
	if m.module {
		roles = append(roles, "unit")
	}
	n := 0
	for _, role := range roles {
		positions := []string{""}
		if m.chance(40) {
			positions = []string{"front", "rear"}
		}
		put := func(scope catalog.FitScope, of string) {
			n++
			f := &catalog.Fit{Scope: scope, Of: of, Statement: fmt.Sprint("s", n), Role: role, Effect: catalog.Fits, Part: catalog.PartNo(pick(m, m.parts)), Source: src}
			if m.chance(25) {
				f.Effect = catalog.DoesNotFit
				if m.chance(12) {
					f.Part = ""
				}
			} else {
				f.Qty, f.Rank, f.Position = 1+m.IntN(2), m.IntN(3), pick(m, positions)
			}
			m.conditions(f)
			m.w.add(catalog.TFits, f)
		}
		for _, f := range m.families {
			for range m.IntN(3) {
				put(catalog.FitFamily, f)
			}
		}
		for _, v := range m.variants {
			for range m.IntN(3) {
				put(catalog.FitVariant, string(v.Variant))
			}
		}
		for _, mark := range []string{"lug", "teeth"} {
			if m.chance(25) {
				put(catalog.FitMark, mark+"="+pick(m, markValues[mark]))
			}
		}
	}
}

func (m *maker) conditions(f *catalog.Fit) {
	if m.chance(12) {
		f.SerialFrom = catalog.Serial(100 * (1 + m.IntN(4)))
	}
	if m.chance(12) {
		f.SerialTo = catalog.Serial(450 + 100*m.IntN(4))
	}
	if m.chance(10) {
		f.BuiltFrom = m.date()
	}
	if m.chance(10) {
		f.BuiltTo = m.date()
		if f.BuiltFrom != 0 && f.BuiltFrom > f.BuiltTo {
			f.BuiltTo = 0
		}
	}
	for _, mark := range []string{"lug", "teeth"} {
		if m.chance(8) {
			f.When = append(f.When, catalog.Condition{Mark: mark, Value: pick(m, markValues[mark])})
		}
	}
}

func (m *maker) makeFluids() {
	m.specs = []string{"SP-A", "SP-B", "SP-C"}
	for _, s := range m.specs {
		m.w.add(catalog.TSpecs, &catalog.Spec{Spec: s, Name: s, Source: src})
		for _, o := range m.specs {
			if s != o && m.chance(30) {
				m.w.add(catalog.TServes, &catalog.Serve{Spec: s, ServedBy: o, Source: src})
			}
		}
	}
	for i := range 4 {
		p := fmt.Sprintf("L%02d", i)
		m.fluids = append(m.fluids, p)
		status := catalog.PartSold
		if m.chance(20) {
			status = catalog.PartEnded
		}
		m.w.add(catalog.TParts, &catalog.Part{Part: catalog.PartNo(p), Name: "oil", Kind: catalog.PartFluid, Origin: catalog.OriginMaker, Status: status, Source: src})
		for _, s := range m.specs {
			if m.chance(40) {
				m.w.add(catalog.TMeets, &catalog.Meet{Spec: s, Fluid: catalog.PartNo(p), Claim: pick(m, []catalog.Claim{catalog.Approved, catalog.Claimed}), Source: src})
			}
		}
	}
	fill := func(scope catalog.ShowScope, of string) {
		f := &catalog.Fill{Scope: scope, Of: of, Role: "oil", Spec: pick(m, m.specs), Source: src}
		if m.chance(80) {
			f.Refill = decimal(pick(m, []string{"3.5", "4"}))
		}
		if m.chance(80) {
			f.Dry = decimal(pick(m, []string{"7", "8.25"}))
		}
		m.w.add(catalog.TFills, f)
	}
	n := 0
	against := func(scope catalog.FitScope, of string) {
		n++
		f := &catalog.Fit{Scope: scope, Of: of, Statement: fmt.Sprint("o", n), Role: "oil", Effect: catalog.DoesNotFit, Part: catalog.PartNo(pick(m, m.fluids)), Source: src}
		if m.chance(10) {
			f.Part = ""
		}
		m.conditions(f)
		m.w.add(catalog.TFits, f)
	}
	for _, f := range m.families {
		if m.chance(60) {
			fill(catalog.OfFamily, f)
		}
		if m.chance(25) {
			against(catalog.FitFamily, f)
		}
	}
	for _, v := range m.variants {
		if m.chance(25) {
			fill(catalog.OfVariant, string(v.Variant))
		}
		if m.chance(15) {
			against(catalog.FitVariant, string(v.Variant))
		}
	}
}

// wear makes characters of a text unreadable or either-or.
func (m *maker) wear(text string, n int) string {
	chars := strings.Split(text, "")
	for range n {
		i := m.IntN(len(chars))
		if len(chars[i]) == 1 && chars[i] != "?" && m.chance(30) {
			other := pick(m, []string{"1", "2", "3", "A", "B", "X", "Y"})
			if other != chars[i] {
				if other > chars[i] {
					chars[i] = "[" + chars[i] + other + "]"
				} else {
					chars[i] = "[" + other + chars[i] + "]"
				}
			}
			continue
		}
		chars[i] = "?"
	}
	return strings.Join(chars, "")
}

func (m *maker) asks() []ask {
	var out []ask
	for i := range 6 {
		var q resolve.Question
		v := pick(m, m.variants)
		built := ""
		if m.dated {
			built = pick(m, []string{"201806", "201902", "202001"})
		}
		if m.chance(90) {
			serial := 1 + m.IntN(999)
			if m.chance(80) { // mostly within the variant's own range
				for v.SerialFrom != 0 && serial < int(v.SerialFrom) || v.SerialTo != 0 && serial > int(v.SerialTo) {
					serial = 1 + m.IntN(999)
				}
			}
			q.Plate = m.plate(v, serial, built)
			switch {
			case m.chance(20):
			case m.chance(50):
				q.Plate = m.wear(q.Plate, 1)
			default:
				q.Plate = m.wear(q.Plate, 2)
			}
			if m.chance(4) {
				q.Plate = "V" + pick(m, []string{"P1A", "P2A", "P1B"})
			}
			if m.chance(3) {
				q.Plate = "ZZZZZ"
			}
		}
		if q.Plate == "" || m.chance(45) {
			l := pick(m, m.labels[string(v.Variant)])
			if m.chance(35) {
				l = pick(m, m.labels[string(pick(m, m.variants).Variant)])
			}
			if m.chance(25) {
				l = m.wear(l, 1)
			}
			q.Labels = append(q.Labels, l)
			if m.chance(8) {
				q.Labels = append(q.Labels, pick(m, m.labels[string(pick(m, m.variants).Variant)]))
			}
		}
		if m.module && m.chance(40) {
			q.Labels = append(q.Labels, "T"+pick(m, []string{"M1", "M2", "9", "M?"}))
		}
		for _, mark := range []string{"dye", "length", "lug", "teeth"} {
			if m.chance(25) {
				value := pick(m, markValues[mark])
				if mark == "length" {
					value = pick(m, []string{"12", "12.1", "12.60", "13.5", "14.5"})
				}
				q.Saw = append(q.Saw, resolve.Observation{Mark: mark, Value: value})
			}
		}
		if m.chance(15) {
			q.Serial = catalog.Serial(1 + m.IntN(999))
		}
		if m.chance(15) {
			q.Built = m.date()
		}
		if m.chance(40) {
			q.Work = append(q.Work, pick(m, []string{"job-none", "job-refill", "job-dry"}))
			if m.chance(30) {
				if w := pick(m, []string{"job-none", "job-refill", "job-dry"}); w != q.Work[0] {
					q.Work = append(q.Work, w)
				}
			}
		}
		if m.chance(20) {
			q.Roles = append(q.Roles, pick(m, []string{"seal", "drum", "valve", "oil"}))
		}
		a := ask{question: q}
		all := append(append([]string{}, m.parts...), m.fluids...)
		if i < 2 {
			a.parts = all
		} else {
			a.parts = []string{pick(m, all), pick(m, []string{"AKA-1", "NOBODY"})}
		}
		out = append(out, a)
	}
	return out
}
