package synth

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"time"

	"platewright/catalog"
)

// Each gives every row of t. A row may be used only until the next one comes.
// It implements pack.Source.
func (w *World) Each(t *catalog.Table, each func(catalog.Row) error) error {
	var make func(func(catalog.Row) error) error
	switch t.Name {
	case catalog.TVariants:
		make = w.eachVariant
	case catalog.TPlates:
		make = w.eachPlate
	case catalog.TShows:
		make = w.eachShow
	case catalog.TFits:
		make = w.eachFit
	case catalog.TNotes:
		make = w.eachNote
	default:
		for _, r := range w.small[t.Name] {
			if err := each(r); err != nil {
				return err
			}
		}
		return nil
	}
	if !w.o.Shuffle {
		return make(each)
	}
	m := &mixer{t: t, r: w.random(streamShuffle, len(t.Name)), each: each}
	if err := make(m.put); err != nil {
		return err
	}
	return m.flush()
}

// mixer gives rows in another order than they come: each waits in a buffer
// until another one takes its place. Rows that come far apart stay so, but the
// families, too, come in no order then.
type mixer struct {
	t    *catalog.Table
	r    *rand.Rand
	each func(catalog.Row) error
	rows []catalog.Row
}

const mixed = 1 << 18

func (m *mixer) put(r catalog.Row) error {
	r = m.t.Clone(r)
	if len(m.rows) < mixed {
		m.rows = append(m.rows, r)
		return nil
	}
	i := m.r.IntN(len(m.rows))
	m.rows[i], r = r, m.rows[i]
	return m.each(r)
}

func (m *mixer) flush() error {
	m.r.Shuffle(len(m.rows), func(i, j int) { m.rows[i], m.rows[j] = m.rows[j], m.rows[i] })
	for _, r := range m.rows {
		if err := m.each(r); err != nil {
			return err
		}
	}
	return nil
}

// order gives the families as they are walked.
func (w *World) order() []*family {
	if !w.o.Shuffle {
		return w.families
	}
	out := slices.Clone(w.families)
	w.random(streamShuffle, 0).Shuffle(len(out), func(i, j int) { out[i], out[j] = out[j], out[i] })
	return out
}

func months(m int) catalog.Date {
	if m == 0 {
		return 0
	}
	return catalog.Date(m/12*10000 + (m%12+1)*100)
}

func (w *World) eachVariant(each func(catalog.Row) error) error {
	var row catalog.Variant
	for _, f := range w.order() {
		r := w.random(streamFamilies, 1_000_000_000+f.index)
		for _, v := range w.variantsOf(f) {
			row = catalog.Variant{Variant: catalog.VariantCode(v.code), Family: f.code, Layout: f.layout.row.Layout, Name: f.name + ", " + pick(r, features),
				SerialFrom: catalog.Serial(v.serialFrom), SerialTo: catalog.Serial(v.serialTo), BuiltFrom: months(v.builtFrom), BuiltTo: months(v.builtTo), Source: f.layout.row.Source}
			if chance(r, 900) {
				row.Count = 20 + r.IntN(1+r.IntN(30_000))
			}
			if err := each(&row); err != nil {
				return err
			}
		}
	}
	return nil
}

// labelText gives the text of a valve body label of a family. Texts come in the
// order of families and numbers.
func labelText(f *family, l *layout, n int) string {
	const perFamily = 400
	i := f.index*perFamily + min(n, perFamily-1)
	if l.fields[1].Kind == catalog.FieldDigits {
		return string(appendPadded(nil, i, 8))
	}
	b := []byte("00000")
	for k := len(b) - 1; i > 0 && k >= 0; k-- {
		b[k] = alphanum[i%len(alphanum)]
		i /= len(alphanum)
	}
	return string(b)
}

func (w *World) eachPlate(each func(catalog.Row) error) error {
	var row catalog.Plate
	for _, l := range w.labels {
		for _, f := range w.order() {
			if f.label != l {
				continue
			}
			for _, v := range w.variantsOf(f) {
				row = catalog.Plate{Layout: l.row.Layout, Plate: labelText(f, l, v.ordinal/variantsOfLabel), Variant: catalog.VariantCode(v.code), Source: l.row.Source}
				if err := each(&row); err != nil {
					return err
				}
			}
		}
	}
	return nil
}

// variantsOfLabel is how many variants share a valve body.
const variantsOfLabel = 5

func (w *World) eachShow(each func(catalog.Row) error) error {
	var row catalog.Show
	put := func(scope catalog.ShowScope, of string, k int, value, source string) error {
		m := &w.marks[k]
		row = catalog.Show{Scope: scope, Of: of, Mark: m.row.Mark, Value: value, Tolerance: m.tolerance, Source: source}
		return each(&row)
	}
	for _, f := range w.order() {
		for k := range w.marks {
			if err := put(catalog.OfFamily, f.code, k, f.shown[k], f.layout.row.Source); err != nil {
				return err
			}
		}
	}
	for _, f := range w.order() {
		r := w.random(streamShows, f.index)
		for _, v := range w.variantsOf(f) {
			// One variant in seven shows something else than its family.
			own := -1
			if chance(r, 140) {
				own = r.IntN(len(w.marks))
			}
			for k := range w.marks {
				values := []string{}
				switch {
				case v.peculiar == byMark && k == markOf(partRoles[w.peculiarRole(&v)]):
					values = append(values, f.shown[k], f.other[k])
					slices.SortFunc(values, func(a, b string) int { return strings.Compare(catalog.FoldValue(a), catalog.FoldValue(b)) })
				case k == own:
					values = append(values, f.other[k])
				}
				for _, s := range values {
					if err := put(catalog.OfVariant, v.code, k, s, f.layout.row.Source); err != nil {
						return err
					}
				}
			}
		}
	}
	return nil
}

// markOf gives the mark by which parts of a role differ where they do.
func markOf(o role) int {
	if o.assembly == unitCase {
		return markPanShape
	}
	return markConnector
}

// statementNames are the names of the first two statements of each role.
var statementNames = func() [][2]string {
	out := make([][2]string, len(partRoles))
	for i, o := range partRoles {
		out[i] = [2]string{o.name + "-1", o.name + "-2"}
	}
	return out
}()

// statement gives a fit statement of a role, the first or the second one.
func (w *World) statement(scope catalog.FitScope, of string, k, n, part int, source string) catalog.Fit {
	return catalog.Fit{Scope: scope, Of: of, Statement: statementNames[k][n], Role: partRoles[k].name, Effect: catalog.Fits,
		Part: w.parts[part].row.Part, Qty: partRoles[k].qty, Source: source}
}

// refuse makes a statement that a part does not fit, or with no part that the
// unit takes nothing.
func refuse(s catalog.Fit, part catalog.PartNo) catalog.Fit {
	return catalog.Fit{Scope: s.Scope, Of: s.Of, Statement: s.Statement, Role: s.Role, Effect: catalog.DoesNotFit, Part: part, Source: s.Source}
}

func roleIndex(name string) int {
	return slices.IndexFunc(partRoles, func(o role) bool { return o.name == name })
}

// statementsOfFamily gives the statements of a family, in the order of keys.
func (w *World) statementsOfFamily(f *family) []catalog.Fit {
	r := w.random(streamFamilyFits, f.index)
	var out []catalog.Fit
	for _, k := range w.familyRoles() {
		a := w.statement(catalog.FitFamily, f.code, k, 0, w.pools[k][r.IntN(len(w.pools[k]))], f.layout.row.Source)
		b := w.statement(catalog.FitFamily, f.code, k, 1, w.pools[k][r.IntN(len(w.pools[k]))], f.layout.row.Source)
		m := markOf(partRoles[k])
		switch at := r.IntN(100); {
		case at < 8: // another part from a build date on
			a.BuiltTo, b.BuiltFrom = months(2014*12+5), months(2014*12+6)
		case at < 14: // another part from a serial number on
			a.SerialTo = catalog.Serial(10_000 + r.IntN(30_000))
			b.SerialFrom = a.SerialTo + 1
		case at < 20: // by what the unit shows
			a.When = catalog.Conditions{{Mark: w.marks[m].row.Mark, Value: f.shown[m]}}
			b.When = catalog.Conditions{{Mark: w.marks[m].row.Mark, Value: f.other[m]}}
		case at < 24 && b.Part != a.Part: // one that is often taken for it does not fit
			b = refuse(b, b.Part)
		default:
			out = append(out, a)
			continue
		}
		out = append(out, a, b)
	}
	return out
}

// statementsOfMarks gives what is stated about everything that shows a mark.
func (w *World) statementsOfMarks() []catalog.Fit {
	var rows []*catalog.Fit
	r := w.random(streamFamilyFits, 1_000_000_000)
	for _, k := range markRoles {
		m := w.marks[markOf(partRoles[k])]
		for _, value := range m.values {
			s := w.statement(catalog.FitMark, m.row.Mark+"="+value, k, 0, pick(r, w.pools[k]), practiceList)
			rows = append(rows, &s)
		}
	}
	out := make([]catalog.Fit, len(rows))
	for i, row := range sorted(catalog.TFits, rows) {
		out[i] = *row.(*catalog.Fit)
	}
	return out
}

func (w *World) eachFit(each func(catalog.Row) error) error {
	var row catalog.Fit
	put := func(f catalog.Fit) error {
		row = f
		return each(&row)
	}
	for _, f := range w.order() {
		for _, s := range w.statementsOfFamily(f) {
			if err := put(s); err != nil {
				return err
			}
		}
	}
	for _, s := range w.statementsOfMarks() {
		if err := put(s); err != nil {
			return err
		}
	}
	for _, f := range w.order() {
		if err := w.fitsOfVariants(f, put); err != nil {
			return err
		}
	}
	return nil
}

// choice is the parts that the variants of a family take in a role: blocks of
// neighbours take the same one, mostly.
type choice struct {
	parts []int
	block int
}

func (c *choice) part(r *rand.Rand, ordinal int) int {
	i := ordinal / c.block
	if chance(r, 60) {
		i = r.IntN(len(c.parts))
	}
	return c.parts[i%len(c.parts)]
}

// other gives another part than the one taken.
func (c *choice) other(r *rand.Rand, taken int) int {
	at := slices.Index(c.parts, taken)
	return c.parts[(at+1+r.IntN(len(c.parts)-1))%len(c.parts)]
}

func (w *World) fitsOfVariants(f *family, put func(catalog.Fit) error) error {
	r := w.random(streamFits, f.index)
	choices := make([]choice, len(partRoles))
	for k := range choices {
		c := &choices[k]
		c.block = 8 + r.IntN(40)
		pool := w.pools[k]
		n := min(len(pool), 3+r.IntN(6))
		// Parts that follow each other in the pool replace each other; a
		// family takes them from all over it.
		start := r.IntN(len(pool))
		for i := range n {
			c.parts = append(c.parts, pool[(start+i*len(pool)/n)%len(pool)])
		}
	}
	ofFamily := w.statementsOfFamily(f)
	covered := make([]bool, len(partRoles))
	for _, v := range w.variantsOf(f) {
		left := quota(w.byVariant, f.before+v.ordinal, w.o.Variants)
		p := v.peculiar
		ruledOut := -1 // the role in which the family's part does not fit
		var wrong catalog.PartNo
		if p == against && left > 2 {
			s := pick(r, ofFamily)
			ruledOut, wrong = roleIndex(s.Role), s.Part
			left -= 2
		}
		two := -1 // the role with two statements
		if left > 1 && p >= serialBreak && p <= twoPlaces {
			two = w.peculiarRole(&v)
			left--
		}
		clear(covered)
		for _, k := range variantRoles[:left] {
			covered[k] = true
		}
		none := -1
		if p == nothing {
			none = variantRoles[left-1]
		}
		for k := range partRoles {
			if !covered[k] && k != ruledOut {
				continue
			}
			c := &choices[k]
			one := c.part(r, v.ordinal)
			if k == ruledOut && w.parts[one].row.Part == wrong {
				one = c.other(r, one)
			}
			a := w.statement(catalog.FitVariant, v.code, k, 0, one, f.layout.row.Source)
			if k == none {
				a = refuse(a, "")
			}
			if k != two && k != ruledOut {
				if err := put(a); err != nil {
					return err
				}
				continue
			}
			b := w.statement(catalog.FitVariant, v.code, k, 1, c.other(r, one), f.layout.row.Source)
			if k == ruledOut {
				b = refuse(b, wrong)
			} else {
				w.breakUp(r, f, &v, p, k, &a, &b)
			}
			if err := put(a); err != nil {
				return err
			}
			if err := put(b); err != nil {
				return err
			}
		}
	}
	return nil
}

// peculiarRole gives the role in which a variant is peculiar: one that it has a
// statement for even where the peculiarity takes the place of two.
func (w *World) peculiarRole(v *variant) int {
	return variantRoles[v.role%max(1, w.o.FitsPerVariant-2)]
}

// breakUp says when which of the two statements of a role holds.
func (w *World) breakUp(r *rand.Rand, f *family, v *variant, p peculiar, k int, a, b *catalog.Fit) {
	switch p {
	case serialBreak:
		from, to := max(v.serialFrom, 1000), v.serialTo
		if to == 0 {
			to = 60_000
		}
		a.SerialTo = catalog.Serial(from + r.IntN(max(1, to-from)))
		b.SerialFrom = a.SerialTo + 1
	case dateBreak:
		from, to := v.builtFrom, v.builtTo
		if to == 0 {
			from, to = 2008*12, 2020*12
		}
		at := from + r.IntN(to-from)
		a.BuiltTo, b.BuiltFrom = months(at), months(at+1)
	case byMark:
		m := markOf(partRoles[k])
		a.When = catalog.Conditions{{Mark: w.marks[m].row.Mark, Value: f.shown[m]}}
		b.When = catalog.Conditions{{Mark: w.marks[m].row.Mark, Value: f.other[m]}}
	case alternative:
		a.Rank, b.Rank = 1, 2
	case twoPlaces:
		a.Position, b.Position = "front", "rear"
	}
}

// eachNote gives the notes: six of ten on variants, the rest on parts, families
// and a few on marks and scopes of work.
func (w *World) eachNote(each func(catalog.Row) error) error {
	var row catalog.Note
	author := []string{"bench 1", "bench 2", "bench 3", "counter"}
	put := func(r *rand.Rand, on catalog.NoteOn, of string, n int, family string) error {
		row = catalog.Note{On: on, Of: of, Note: "n" + strconv.Itoa(1_000_000 + n)[1:], Kind: catalog.NoteRemarkKind, State: catalog.NoteOpen, Text: sentence(r, w.vocabulary, 25),
			Author: pick(r, author), Dated: catalog.Date((2012+r.IntN(12))*10000 + (1+r.IntN(12))*100 + 1 + r.IntN(28))}
		switch at := r.IntN(100); {
		case at < 10:
			row.Kind = catalog.NoteCaution
		case at < 30 && on == catalog.NoteOnPart:
			row.Kind = catalog.NoteFitted
		case at < 38 && on == catalog.NoteOnPart:
			row.Kind = catalog.NoteDidNotFit
		}
		switch at := r.IntN(100); {
		case at < 35:
			row.State, row.Confirmed, row.Evidence = catalog.NoteConfirmed, pick(r, author), "seen on "+strconv.Itoa(1+r.IntN(9))+" units"
		case at < 40:
			row.State = catalog.NoteWithdrawn
		}
		if on == catalog.NoteOnPart && chance(r, 200) {
			row.Family = family
		}
		return each(&row)
	}
	rest := w.o.Notes - w.noted
	onFamilies, onMarks, onWork := rest/4, min(rest/50, 40), min(rest/50, 40)
	onParts := rest - onFamilies - onMarks - onWork
	r := w.random(streamNotes, 1_000_000_000)
	some := func(on catalog.NoteOn, total int, names []string) error {
		for i, of := range names {
			for n := range quota(total, i, len(names)) {
				if err := put(r, on, of, n, pick(r, w.families).code); err != nil {
					return err
				}
			}
		}
		return nil
	}
	var families, marks, parts, scopes []string
	for _, f := range w.families {
		families = append(families, f.code)
	}
	for _, m := range w.marks {
		marks = append(marks, m.row.Mark)
	}
	for _, p := range w.small[catalog.TParts] {
		parts = append(parts, string(p.(*catalog.Part).Part))
	}
	for _, s := range works {
		scopes = append(scopes, s.name)
	}
	if err := some(catalog.NoteOnFamily, onFamilies, families); err != nil {
		return err
	}
	if err := some(catalog.NoteOnMark, onMarks, marks); err != nil {
		return err
	}
	if err := some(catalog.NoteOnPart, onParts, parts); err != nil {
		return err
	}
	for _, f := range w.order() {
		r := w.random(streamNotes, f.index)
		if w.noted*f.before/w.o.Variants == w.noted*(f.before+f.variants)/w.o.Variants {
			continue
		}
		for _, v := range w.variantsOf(f) {
			for n := range quota(w.noted, f.before+v.ordinal, w.o.Variants) {
				if err := put(r, catalog.NoteOnVariant, v.code, n, ""); err != nil {
					return err
				}
			}
		}
	}
	return some(catalog.NoteOnWork, onWork, scopes)
}

// Plate is the plate of a made-up unit.
type Plate struct {
	Text    string
	Variant string
}

// Plates gives n plates of variants drawn at random, with their check
// characters and with serial numbers and build dates that the variants allow. In
// each, worn characters stand as ?. The same n gives the same plates, worn or
// not.
func (w *World) Plates(n, worn int, each func(Plate) error) error {
	r := w.random(streamPlates, 0)
	at := make([][]int, len(w.families)) // by family, which of the n plates
	drawn := make([]int, n)
	for i := range n {
		drawn[i] = r.IntN(w.o.Variants)
		f := w.familyOf(drawn[i])
		at[f.index] = append(at[f.index], i)
	}
	out := make([]Plate, n)
	for _, f := range w.families {
		if len(at[f.index]) == 0 {
			continue
		}
		variants := w.variantsOf(f)
		for _, i := range at[f.index] {
			r := w.random(streamPlates, 1+i)
			v := variants[drawn[i]-f.before]
			from, to := v.serialFrom, v.serialTo
			if to == 0 {
				from, to = 1, 99_999
			}
			first, last := v.builtFrom, v.builtTo
			if last == 0 {
				first, last = 2004*12, 2024*12-1
			}
			built := first + r.IntN(last-first+1)
			text, err := f.layout.plateText(r, v.key, from+r.IntN(to-from+1), built/12, time.Month(built%12+1))
			if err != nil {
				return fmt.Errorf("plate of %s: %w", v.code, err)
			}
			out[i] = Plate{wear(r, text, worn), v.code}
		}
	}
	for _, p := range out {
		if err := each(p); err != nil {
			return err
		}
	}
	return nil
}

// wear makes n of the characters unreadable.
func wear(r *rand.Rand, text string, n int) string {
	b := []byte(text)
	var places []int
	for i, c := range b {
		if c != ' ' && c != '-' {
			places = append(places, i)
		}
	}
	r.Shuffle(len(places), func(i, j int) { places[i], places[j] = places[j], places[i] })
	for _, i := range places[:min(n, len(places))] {
		b[i] = '?'
	}
	return string(b)
}
