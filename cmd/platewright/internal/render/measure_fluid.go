package render

import (
	"io"
	"strconv"
	"strings"

	"platewright/catalog"
	"platewright/resolve/measure/fluid"
)

// MeasureFluidSchema names the form of [MeasureFluid] as JSON.
const MeasureFluidSchema = "platewright/measure-fluid/1"

// MeasureFluid is the answer about a unit's fluid.
type MeasureFluid struct {
	Schema string `json:"schema"`
	Bench
	Work   []string     `json:"work"`   // scopes of work; none reckons with a refill
	Groups []FluidGroup `json:"groups"` // one for each fill that the unit can have
}

// FluidGroup is the fluid that some variants take.
type FluidGroup struct {
	Variants []catalog.VariantCode `json:"variants"`
	Role     string                `json:"role"`
	Plan     fluid.Plan            `json:"plan"`
}

// MeasureSheetSchema names the form of [MeasureSheet] as JSON.
const MeasureSheetSchema = "platewright/measure-sheet/1"

// MeasureSheet is the answer about data sheets of fluids.
type MeasureSheet struct {
	Schema string `json:"schema"`
	Bench
	Sheets []SheetAnswer `json:"sheets"`
}

// SheetAnswer is a data sheet with the viscosities asked for.
type SheetAnswer struct {
	fluid.SheetCheck
	At []fluid.ViscosityAt `json:"at"`
}

// FluidSentence says a code about a fill in words, without a full stop. It is ""
// for a code that it does not know.
func FluidSentence(c fluid.Code) string {
	switch c {
	case fluid.VolumeRefill:
		return "a refill after draining, by the catalogue"
	case fluid.VolumeDry:
		return "into an empty unit, by the catalogue"
	case fluid.VolumeNone:
		return "the scope of work fills nothing: check the level afterwards"
	case fluid.VolumeUnknown:
		return "the catalogue gives no volume for this scope of work"
	case fluid.VolumeDrained:
		return "as much as came out"
	case fluid.DrainedLess:
		return "less came out than the catalogue refills: some is still inside, or it was low before; find out which"
	case fluid.DrainedMore:
		return "more came out than the catalogue refills: it was overfilled, or something else is in it"
	case fluid.DrainedAboveDry:
		return "more came out than the empty unit takes: check the measuring and the unit, and look for water in it"
	case fluid.WithinWindow:
		return "the level was set within the temperature window"
	case fluid.SetTooHot:
		return "the level was set above the temperature window: the unit holds too little"
	case fluid.SetTooCold:
		return "the level was set below the temperature window: the unit holds too much"
	case fluid.NoWindow:
		return "the catalogue gives no temperature window for the level"
	case fluid.NoArea:
		return "the catalogue gives no surface at the level, so the millimetres are not known"
	case fluid.OnRefillVolume:
		return "reckoned on the refill, since the volume of the dry unit is not known: more than this"
	case fluid.StockShort:
		return "the supplier has fewer packs in stock"
	case fluid.NotOffered:
		return "nobody offers it"
	case fluid.NotSold:
		return "it is no longer made"
	}
	return ""
}

// PropertyName says a figure of a data sheet in words.
func PropertyName(p catalog.Property) string {
	switch p {
	case catalog.Viscosity40:
		return "viscosity at 40 °C"
	case catalog.Viscosity100:
		return "viscosity at 100 °C"
	case catalog.ViscosityIndex:
		return "viscosity index"
	case catalog.Density15:
		return "density at 15 °C"
	case catalog.FlashPoint:
		return "flash point"
	case catalog.PourPoint:
		return "pour point"
	}
	return plainCode(string(p))
}

func propertyValue(p catalog.Property, v catalog.Decimal) string {
	unit := map[catalog.Property]string{catalog.Viscosity40: " mm²/s", catalog.Viscosity100: " mm²/s", catalog.Density15: " kg/m³", catalog.FlashPoint: " °C", catalog.PourPoint: " °C"}[p]
	return glued(v.String() + unit)
}

// SheetSentence says what a doubt or a limit makes of a figure. It is "" for a code
// that it does not know.
func SheetSentence(c fluid.SheetCode, d fluid.SheetDoubt) string {
	name, value := orWord(PropertyName(d.Property), "figure"), "what is stated"
	if d.Value.Known {
		value = propertyValue(d.Property, d.Value)
	}
	would := ""
	if d.Would.Known {
		would = propertyValue(d.Property, d.Would)
	}
	switch c {
	case fluid.IndexOff:
		return "the stated viscosity index of " + value + " is not that of the two viscosities" + tail(", which is ", would)
	case fluid.PairOff:
		return "the two viscosities give no index that a transmission fluid has"
	case fluid.Swapped:
		return "it would be right if the viscosities at 40 °C and at 100 °C had changed places"
	case fluid.Tenfold:
		return "it would be right if the " + name + " of " + value + " were " + orWord(would, "ten times larger or smaller")
	case fluid.DensityUnit:
		return "the density of " + orWord(glued(d.Value.String()), value) + " is in another unit" + tail(": in kg/m³ it would be ", would)
	case fluid.DensityOff:
		return "no lubricating oil has a density of " + value
	case fluid.PourSign:
		return "a pour point of " + value + " is above freezing: its minus sign can be lost"
	case fluid.FlashBelow:
		return "the flash point of " + value + " is not above the pour point"
	case fluid.IndexNotDone:
		return "below 2 mm²/s at 100 °C the viscosity index is not defined"
	case fluid.WithinLimit:
		return "within its limits"
	case fluid.BelowLimit:
		return "BELOW its limit"
	case fluid.AboveLimit:
		return "ABOVE its limit"
	case fluid.FigureMissing:
		return "not on the sheet, and the specification limits it"
	}
	return ""
}

func sheetVerdict(v fluid.SheetVerdict) (string, style) {
	switch v {
	case fluid.SheetMeets:
		return "keeps the limits", good
	case fluid.SheetOutside:
		return "OUTSIDE THE LIMITS", alert
	case fluid.SheetDoubtful:
		return "CONTRADICTS ITSELF", alert
	case fluid.SheetNotSettled:
		return "not settled", warn
	}
	return "", plain
}

func litres(d catalog.Decimal) string { return glued(d.String() + " L") }

// MeasureFluidText writes the fluid of a unit, how much of it, and how it is filled.
func MeasureFluidText(w io.Writer, m *MeasureFluid, s Screen) error {
	p := newPage(s)
	p.demoRemark(m.Edition)
	p.gap()
	if len(m.Groups) > 1 {
		p.put(0, 2, say("NOT SETTLED: the unit can have different fills").in(warn), say("; each is answered for itself."))
	}
	for i := range m.Groups {
		p.fluidPlan(m, &m.Groups[i])
	}
	p.benchFoot(m.Bench)
	_, err := w.Write(p.buf.Bytes())
	return err
}

func (p *page) fluidPlan(m *MeasureFluid, g *FluidGroup) {
	x := &g.Plan
	p.gap()
	head := []span{say(glued(x.Spec)).in(strong), say(tail(", ", x.SpecName))}
	if x.Volume.Litres.Known {
		head = append(head, say(": "), say(litres(x.Volume.Litres)).in(strong))
	}
	p.put(0, 2, append(head, sayf(" (%s)", someVariants(g.Variants)))...)
	var why []string
	for _, c := range x.Volume.Codes {
		if text := FluidSentence(c); text != "" {
			why = append(why, text)
		}
	}
	if l := capital(strings.Join(why, "; ")); l != "" {
		st := plain
		if len(x.Volume.Codes) > 1 || x.Volume.Codes[0] == fluid.VolumeUnknown {
			st = warn
		}
		p.put(2, 2, say(l).in(st), say(tail(" ", sourced(x.Source, ""))).in(muted))
	}
	if x.Volume.Drained.Known && x.Volume.First.Known {
		p.put(2, 2, sayf("Drained: %s. First put in %s, then set the level (common practice, no published source).", litres(x.Volume.Drained), litres(x.Volume.First)))
	}
	if l := x.Level; l != nil {
		for _, c := range l.Codes {
			if c == fluid.SetTooHot || c == fluid.SetTooCold {
				p.put(2, 2, say("! ").in(warn), say("LEVEL SET WRONG").in(alert), say(": "+FluidSentence(c)+", see below"))
			}
		}
	}
	for _, n := range x.Apart {
		st := alert
		text := glued(n.Spec) + " is one letter from " + glued(n.Like)
		if n.Serves {
			st = plain
			text += " and is stated to serve for " + glued(x.Spec)
		} else {
			text += " and does NOT serve"
			if len(n.Shelf) > 0 {
				text += "; on the shelf, and not for this unit: " + allOf(n.Shelf)
			}
		}
		p.put(2, 2, say("! ").in(warn), say(text).in(st))
	}
	p.head(strong, "WHAT MAY BE FILLED IN")
	if len(x.Fluids) == 0 {
		p.put(2, 2, say("No fluid that can be had is said to meet it.").in(warn))
	}
	for i := range x.Fluids {
		p.fluidChoice(i, &x.Fluids[i], x)
	}
	if len(x.Belied) > 0 {
		p.head(alert, "NOT TO BE FILLED IN")
		for i := range x.Belied {
			c := &x.Belied[i]
			p.put(2, 4, say(glued(string(c.Fluid))).in(strong), say(tail(", ", c.Name)+": said to meet "+glued(c.Meets)+", and its own data sheet is "), say("OUTSIDE THE LIMITS").in(alert), say(tail(" ", sourced(c.Source, ""))).in(muted))
			for _, s := range c.Sheet.Specs {
				for _, l := range s.Limits {
					if l.Code == fluid.BelowLimit || l.Code == fluid.AboveLimit {
						p.put(4, 2, say(capitalWord(PropertyName(l.Property))+": "+propertyValue(l.Property, l.Value)+", "), say(SheetSentence(l.Code, fluid.SheetDoubt{})).in(alert), say(limitText(l)))
					}
				}
			}
			for _, s := range c.Shelf {
				p.put(4, 2, sayf("on the shelf, and not for this unit: %s in %s", counted(s.Qty, "piece", "pieces"), s.Place).in(alert))
			}
		}
	}
	p.head(strong, "HOW IT IS FILLED")
	switch x.Engine {
	case catalog.EngineRunning:
		p.put(2, 2, say("Engine running while the level is set."))
	case catalog.EngineOff:
		p.put(2, 2, say("Engine off while the level is set."))
	}
	if l := x.Level; l != nil && l.From.Known && l.To.Known {
		p.put(2, 2, sayf("Fluid at %s while the level is set.", glued(l.From.String()+" to "+l.To.String()+" °C")))
	}
	if x.Plugs != "" {
		p.put(2, 2, say("Plugs: "+x.Plugs))
	}
	if x.How != "" {
		p.put(2, 2, say(x.How))
	}
	if x.Level != nil {
		p.fluidLevel(x.Level)
	}
}

func (p *page) fluidChoice(i int, c *fluid.Choice, x *fluid.Plan) {
	ss := []span{sayf("%d ", i+1), say(glued(string(c.Fluid))).in(strong), say(tail(", ", c.Name))}
	claim := "approved for "
	st := good
	if c.Claim == catalog.Claimed {
		claim, st = "by its maker's own claim, without approval: ", warn
	}
	ss = append(ss, say("; "), say(claim+glued(c.Meets)).in(st))
	if c.Serves {
		ss = append(ss, say(", which serves for "+glued(x.Spec)+tail(" (", c.Note)))
		if c.Note != "" {
			ss = append(ss, say(")"))
		}
	}
	ss = append(ss, say(tail(" ", sourced(c.Source, ""))).in(muted))
	p.put(2, 4, ss...)
	for _, s := range c.Shelf {
		p.put(4, 2, sayf("on the shelf: %s in %s, the size of a piece is not recorded", counted(s.Qty, "piece", "pieces"), s.Place))
	}
	for _, b := range c.Buy {
		var packs []string
		for _, k := range b.Packs {
			packs = append(packs, glued(strconv.Itoa(k.Count)+"× "+k.Litres.String()+" L")+" ("+glued(k.Stock)+")")
		}
		line := "buy at " + b.Supplier + ": " + strings.Join(packs, " + ") + ", " + glued(b.Total.Num.StringFixed(2)+" "+b.Currency)
		if b.Over.Num.IsPositive() {
			line += ", " + litres(b.Over) + " left over"
		}
		ss := []span{say(line)}
		for _, code := range b.Codes {
			ss = append(ss, say("; "), say(FluidSentence(code)).in(warn))
		}
		p.put(4, 2, ss...)
	}
	for _, code := range c.Codes {
		p.put(4, 2, say(capital(FluidSentence(code))).in(warn))
	}
	if c.Sheet != nil && c.Sheet.Verdict != fluid.SheetMeets {
		word, st := sheetVerdict(c.Sheet.Verdict)
		p.put(4, 2, say("data sheet: "), say(word).in(st), sayf("; before it is filled in see: platewright measure sheet %s", glued(string(c.Fluid))))
	}
}

func offBy(o fluid.Off) string {
	s := litres(catalog.Decimal{Num: o.Litres.Num.Abs(), Known: true})
	if o.Millimetres.Known {
		s += " or " + millimetres(catalog.Decimal{Num: o.Millimetres.Num.Abs(), Known: true})
	}
	return s
}

func (p *page) fluidLevel(l *fluid.Level) {
	p.head(strong, "WHAT A WRONG LEVEL MEANS")
	for _, c := range l.Codes {
		switch c {
		case fluid.SetTooHot, fluid.SetTooCold:
			much := "too little"
			if c == fluid.SetTooCold {
				much = "too much"
			}
			p.put(2, 2, sayf("Set at %s: ", glued(l.SetAt.Num.Round(1).String()+" °C")), sayf("%s to %s %s", offBy(l.Least), offBy(l.Most), much).in(alert),
				say(" once the fluid is in the window: set it again."))
		case fluid.WithinWindow:
			p.put(2, 2, sayf("Set at %s: ", glued(l.SetAt.Num.Round(1).String()+" °C")), say(capital(FluidSentence(c))).in(good))
		default:
			p.put(2, 2, say(capital(FluidSentence(c))).in(muted))
		}
	}
	if l.PerDegree.Known {
		p.put(2, 2, sayf("%s grow by %s for each °C; between the ends of the window the level differs by %s.", litres(l.Volume), glued(l.PerDegree.Num.Shift(3).Round(1).String()+" mL"), offBy(l.Window)))
		basis := "0.00070 per °C, a handbook's value for oil"
		if l.ByDensity {
			basis = "API MPMS 11.1 for lubricating oils of " + glued(l.Density.String()+" kg/m³")
		}
		p.put(2, 2, sayf("Thermal expansion: %s. The case grows by about a tenth of it, which is left out.", basis).in(muted))
	}
}

// MeasureSheetText writes what data sheets are worth.
func MeasureSheetText(w io.Writer, m *MeasureSheet, s Screen) error {
	p := newPage(s)
	if m.Edition.Name != "" {
		p.demoRemark(m.Edition)
	}
	for i := range m.Sheets {
		p.gap()
		p.sheet(&m.Sheets[i])
	}
	p.benchFoot(m.Bench)
	_, err := w.Write(p.buf.Bytes())
	return err
}

func (p *page) sheet(x *SheetAnswer) {
	word, st := sheetVerdict(x.Verdict)
	name := "The sheet"
	if x.Fluid != "" {
		name = glued(string(x.Fluid))
	}
	if x.Verdict == fluid.SheetNotSettled && len(x.Specs) == 0 {
		word, st = "agrees with itself; no limits were asked", good
	}
	p.put(0, 2, say(name).in(strong), say(tail(", ", x.Name)+": "), say(word).in(st))
	for _, d := range x.Doubts {
		p.put(2, 2, say("! ").in(warn), say(capital(SheetSentence(d.Code, d))).in(alert))
	}
	if len(x.Doubts) > 0 {
		p.put(2, 2, say("Ask for a correct sheet before relying on it."))
	}
	var figures []string
	for _, f := range x.Figures {
		figures = append(figures, PropertyName(f.Property)+" "+propertyValue(f.Property, f.Value))
	}
	p.put(2, 2, say(capital(strings.Join(figures, ", "))), say(tail(" ", sourced(strings.Join(x.Sources, ", "), ""))).in(muted))
	// Of viscosities that cannot be right nothing is worked out.
	wrong := false
	for _, d := range x.Doubts {
		wrong = wrong || d.Code == fluid.PairOff
	}
	if x.Index.Known && !wrong {
		line := "Viscosity index by ASTM D2270: " + glued(x.Index.String())
		if x.IndexLo.Known {
			line += ", as the figures are rounded " + glued(x.IndexLo.String()+" to "+x.IndexHi.String())
		}
		p.put(2, 2, say(line))
	}
	switch {
	case wrong:
	case x.Grade > 0:
		p.put(2, 2, sayf("Grade by ISO 3448: %s", glued("VG "+strconv.Itoa(x.Grade))))
	case has(x.Figures, catalog.Viscosity40):
		p.put(2, 2, say("It lies between the grades of ISO 3448 and has none."))
	}
	for _, v := range x.At {
		if wrong {
			break
		}
		line := "At " + glued(v.Temp.String()+" °C") + ": " + glued(v.Viscosity.String()+" mm²/s") + " (ASTM D341"
		if v.Beyond {
			line += ", beyond the sheet's two temperatures and so less sure"
		}
		p.put(2, 2, say(line+")"))
	}
	for _, s := range x.Specs {
		word, st := sheetVerdict(s.Verdict)
		claim := ""
		switch s.Claim {
		case catalog.Approved:
			claim = ", approved"
		case catalog.Claimed:
			claim = ", by its maker's own claim"
		}
		if len(s.Limits) == 0 {
			p.put(2, 4, say(glued(s.Spec)).in(strong), say(claim+": no limits are on record"))
			continue
		}
		p.put(2, 4, say(glued(s.Spec)).in(strong), say(claim+": "), say(word).in(st))
		for _, l := range s.Limits {
			st := plain
			switch l.Code {
			case fluid.BelowLimit, fluid.AboveLimit:
				st = alert
			case fluid.FigureMissing:
				st = warn
			}
			text := PropertyName(l.Property) + ": "
			if l.Value.Known {
				text += propertyValue(l.Property, l.Value)
				if l.Worked {
					text += ", worked out"
				}
				text += ", "
			}
			p.put(4, 4, say(text), say(SheetSentence(l.Code, fluid.SheetDoubt{})).in(st), say(limitText(l)), say(tail(" ", sourced(l.Source, ""))).in(muted))
		}
	}
}

func has(fs []fluid.Figure, p catalog.Property) bool {
	for _, f := range fs {
		if f.Property == p {
			return true
		}
	}
	return false
}

func limitText(l fluid.LimitCheck) string {
	switch {
	case l.Least.Known && l.Most.Known:
		return " (" + glued(l.Least.String()+" to "+l.Most.String()) + ")"
	case l.Least.Known:
		return " (at least " + l.Least.String() + ")"
	}
	return " (at most " + l.Most.String() + ")"
}
