package render

import (
	"io"
	"strconv"
	"strings"

	"platewright/catalog"
	"platewright/resolve/measure/ring"
)

// MeasureRingSchema names the form of [MeasureRing] as JSON.
const MeasureRingSchema = "platewright/measure-ring/1"

// MeasureRing is the answer about O-rings.
type MeasureRing struct {
	Schema string `json:"schema"`
	Bench
	Identified *ring.Identified `json:"identified"` // the ring that was measured; null where none was
	Advice     *ring.Advice     `json:"advice"`     // on the material that was asked about; null where none was
	Rows       []RingRow        `json:"rows"`       // rings of the unit, or of the whole catalogue
}

// RingRow is a ring of the catalogue.
type RingRow struct {
	ring.RowCheck
	Variants []catalog.VariantCode `json:"variants"` // of the unit, that have it; empty for the whole catalogue
	Qty      int                   `json:"qty"`
	Material string                `json:"material,omitempty"`
	Advice   *ring.Advice          `json:"advice"`   // on its material at the temperatures asked; null where none was
	Measured *ring.Match           `json:"measured"` // how the measured ring can be this one; null where it cannot, or none was measured
}

// RingSentence says a code about a measured ring in words, without a full stop.
// It is "" for a code that it does not know.
func RingSentence(c ring.Code) string {
	switch c {
	case ring.IsSize:
		return "within the tolerances of a new one"
	case ring.Stretched:
		return "stretched (wider than a new one)"
	case ring.Shrunk:
		return "shrunk (narrower than a new one)"
	case ring.Worn:
		return "worn or flattened (thinner than a new one)"
	case ring.Swollen:
		return "swollen (thicker than a new one)"
	case ring.NoSize:
		return "no size of AS568 is near: it can be of another series, a metric one perhaps"
	case ring.OtherUnit:
		return "is the unit right? The same numbers are a size in the other one of mm and in"
	case ring.Several:
		return "more than one size is possible: measure again, or lay it beside a new one"
	}
	return ""
}

// RingRowSentence says how a ring of the catalogue stands to the table of sizes. It
// is "" for a code that it does not know.
func RingRowSentence(c ring.RowCode) string {
	switch c {
	case ring.RowAgrees:
		return "agrees with the table"
	case ring.RowNear:
		return "within the tolerances of its size, and not its nominal measures"
	case ring.RowDiffers:
		return "its measures are not those of the size that it is said to be"
	case ring.RowNoSuchSize:
		return "there is no such size"
	case ring.RowUnnamed:
		return "has no designation, and the measures of a size"
	case ring.RowOwnSize:
		return "has no designation, and the measures of no size of AS568"
	}
	return ""
}

// RingAdvice says a code of the guidance on a material in words. It is "" for a code
// that it does not know.
func RingAdvice(c ring.AdviceCode, a *ring.Advice) string {
	medium := string(a.Medium)
	rated := string(a.Worst)
	if a.Best != a.Worst {
		rated += " to " + string(a.Best)
	}
	switch c {
	case ring.MediumSuits:
		return rated + " in " + medium
	case ring.MediumDoubtful:
		return "only " + rated + " in " + medium
	case ring.MediumHarms:
		return rated + " in " + medium + ": it does not last there"
	case ring.HeatSuits:
		return "stands the temperature"
	case ring.HeatDoubtful:
		return "one table allows the temperature and a stricter one does not"
	case ring.HeatHarms:
		return "no table allows the temperature"
	case ring.HeatUnknown:
		return "no table gives its limit on that side"
	case ring.UnknownMaterial:
		return "the tables do not know this material"
	}
	return ""
}

func adviceVerdict(v ring.Verdict) (string, style) {
	switch v {
	case ring.Suits:
		return "suits", good
	case ring.Doubtful:
		return "DOUBTFUL", warn
	case ring.Unsuited:
		return "UNSUITED", alert
	case ring.NotKnown:
		return "not known", warn
	}
	return "", plain
}

// MeasureRingText writes what a ring is, and how the catalogue's rings stand to
// the table of sizes.
func MeasureRingText(w io.Writer, m *MeasureRing, s Screen) error {
	p := newPage(s)
	if m.Edition.Name != "" {
		p.demoRemark(m.Edition)
	}
	if m.Identified != nil {
		p.gap()
		if len(m.Rows) > 0 {
			p.ringPlaces(m)
		}
		most := 6
		if len(m.Rows) > 0 {
			most = 1
		}
		p.ringIdentified(m.Identified, most)
	}
	if m.Advice != nil {
		p.gap()
		p.ringAdvice(0, m.Advice)
	}
	if len(m.Rows) > 0 {
		p.ringRows(m)
	}
	p.benchFoot(m.Bench)
	_, err := w.Write(p.buf.Bytes())
	return err
}

// ringPlaces says first where the measured ring belongs.
func (p *page) ringPlaces(m *MeasureRing) {
	var is, was []string
	for _, r := range m.Rows {
		switch {
		case r.Measured == nil:
		case r.Measured.Codes[0] == ring.IsSize:
			is = append(is, glued(r.Ring))
		default:
			was = append(was, glued(r.Ring))
		}
	}
	switch {
	case len(is) > 0:
		p.put(0, 2, say("GOOD for "+allOf(is)).in(good))
	case len(was) > 0:
		p.put(0, 2, say("REPLACE").in(alert), say(": it can have been "+anyOf(was)))
	default:
		p.put(0, 2, say("NONE of these rings").in(warn))
	}
}

// ringIdentified says what a ring is by the table; where the rings of a unit follow,
// only the likeliest size.
func (p *page) ringIdentified(id *ring.Identified, most int) {
	measured := "measured " + glued(id.Inside.Num.Round(3).String()+" × "+id.Section.Num.Round(3).String()+" mm")
	switch {
	case len(id.Is) > 0:
		p.put(0, 2, say("AS568-"+id.Is[0].Size.Dash).in(good), say(", "+measured))
	case len(id.Was) > 0:
		p.put(0, 2, say("NO NEW RING").in(alert), say(", "+measured+"; it can have been AS568-"+id.Was[0].Size.Dash))
	default:
		p.put(0, 2, say("NO SIZE").in(warn), say(", "+measured))
	}
	for _, c := range id.Codes {
		if c == ring.IsSize {
			continue
		}
		p.put(2, 2, say("! ").in(warn), say(capital(RingSentence(c))))
	}
	list := id.Is
	if len(list) == 0 {
		list = id.Was
	}
	for i, x := range list {
		if i == most {
			p.put(2, 2, sayf("and %s, see --json", counted(len(list)-most, "more size that is possible", "more sizes that are possible")).in(muted))
			break
		}
		p.ringMatch(x, id.Tolerance)
	}
	p.put(2, 2, sayf("The measuring can be off by %s. Sizes: %s.", millimetres(id.Tolerance), id.Source).in(muted))
}

// ringWords says what a measured ring is by a size, and whether it is new only by what
// the measuring can be off.
func ringWords(x *ring.Match, tolerance catalog.Decimal) string {
	var what []string
	for _, c := range x.Codes {
		what = append(what, RingSentence(c))
	}
	beyond := func(off, of catalog.Decimal) bool { return of.Known && off.Num.Abs().GreaterThan(of.Num) }
	if x.Codes[0] == ring.IsSize && (beyond(x.InsideOff, x.Size.InsideTolerance) || beyond(x.SectionOff, x.Size.SectionTolerance)) {
		return "beyond the tolerances of a new one, by no more than the " + millimetres(tolerance) + " that the measuring can be off"
	}
	return strings.Join(what, "; ")
}

func (p *page) ringMatch(x ring.Match, tolerance catalog.Decimal) {
	z := x.Size
	nominal := func(mm, tol, in catalog.Decimal) string {
		return glued(mm.Num.StringFixed(2)+" ± "+tol.Num.StringFixed(2)+" mm") + " (" + glued(in.Num.StringFixed(3)+" in") + ")"
	}
	p.put(2, 4, say("AS568-"+z.Dash).in(strong), sayf(": inside %s, section %s", nominal(z.Inside, z.InsideTolerance, z.InsideInch), nominal(z.Section, z.SectionTolerance, z.SectionInch)))
	signed := func(d catalog.Decimal) string {
		s := d.Num.StringFixed(2)
		if !d.Num.IsNegative() {
			s = "+" + s
		}
		return glued(s + " mm")
	}
	p.put(4, 2, sayf("inside %s, section %s: %s", signed(x.InsideOff), signed(x.SectionOff), ringWords(&x, tolerance)))
}

func (p *page) ringAdvice(indent int, a *ring.Advice) {
	word, st := adviceVerdict(a.Verdict)
	var temps []string
	for _, t := range a.Temps {
		temps = append(temps, glued(t.String()+" °C"))
	}
	where := " in " + string(a.Medium)
	if len(temps) > 0 {
		where += " at " + strings.Join(temps, " and ")
	}
	name := a.Asked
	if a.Material != nil && !strings.EqualFold(a.Asked, a.Material.Name) {
		name += ", " + a.Material.Name
	}
	var what []string
	for _, c := range a.Codes {
		what = append(what, RingAdvice(c, a))
	}
	p.put(indent, 2, say(name).in(strong), say(where+": "), say(word).in(st), say("; "+strings.Join(what, "; ")))
	if m := a.Material; m != nil {
		limits := func(low, high catalog.Decimal) string {
			switch {
			case low.Known && high.Known:
				return glued(low.String() + " to " + high.String() + " °C")
			case high.Known:
				return "up to " + glued(high.String()+" °C")
			}
			return ""
		}
		s := "for continuous use " + limits(m.Low, m.High)
		if m.StrictHigh.Known {
			s += ", by a stricter table " + limits(m.StrictLow, m.StrictHigh)
		}
		p.put(indent+2, 2, say(s))
		p.put(indent+2, 2, sayf("Guidance only, since compounds differ: %s.", strings.Join(m.Sources, "; ")).in(muted))
	}
	if len(a.Better) > 0 {
		p.put(indent+2, 2, say("by the same tables these suit: "+strings.Join(a.Better, ", ")))
	}
}

func (p *page) ringRows(m *MeasureRing) {
	wrong := 0
	for _, r := range m.Rows {
		if r.Code.Wrong() {
			wrong++
		}
	}
	p.gap()
	head := counted(len(m.Rows), "ring", "rings")
	if m.Plate != "" || len(m.Variants) > 0 {
		head += " of " + m.unitWords()
	} else {
		head += " of the catalogue"
	}
	switch {
	case wrong > 0:
		p.put(0, 2, say(strconv.Itoa(wrong)+" WRONG").in(alert), say(" of "+head))
	default:
		p.put(0, 2, say(head).in(strong), say(", none against the table of sizes"))
	}
	for _, r := range m.Rows {
		named := r.Named
		if named == "" {
			named = "no designation"
		}
		p.put(2, 4, say(glued(r.Ring)).in(strong), sayf(", %s: %s %s, %s%s", r.Place, glued(strconv.Itoa(r.Qty)+"×"),
			glued(r.Inside.String()+" × "+r.Section.String()+" mm"), glued(named), tail(", ", r.Material)), say(tail(" ", sourced(r.Source, ""))).in(muted))
		if len(m.Variants) > len(r.Variants) || len(m.Variants) == 0 {
			who := someVariants(r.Variants)
			if len(r.Variants) == 0 {
				who = r.Of
			}
			p.put(4, 2, say("in "+who))
		}
		st := plain
		if r.Code.Wrong() {
			st = alert
		}
		text := RingRowSentence(r.Code)
		if len(r.Meant) > 0 {
			text += "; they are those of AS568-" + strings.Join(r.Meant, ", AS568-")
		}
		if r.Code == ring.RowUnnamed && r.Size != nil {
			text += ", AS568-" + r.Size.Dash
		}
		p.put(4, 2, say(text).in(st))
		if x := r.Measured; x != nil {
			what := ringWords(x, m.Identified.Tolerance)
			if x.Codes[0] == ring.IsSize {
				p.put(4, 2, say("The measured ring is this one").in(good), say(": "+what))
			} else {
				p.put(4, 2, say("The measured ring can have been this one").in(warn), say(": "+what))
			}
		}
		if r.Advice != nil {
			p.ringAdvice(4, r.Advice)
		}
	}
}
