package render

import (
	"io"
	"strings"

	"platewright/resolve/measure"
	"platewright/resolve/measure/coil"
)

// MeasureCoil is the answer about coils.
type MeasureCoil struct {
	Schema string `json:"schema"`
	Bench
	coil.Report
}

// coilWords says a verdict on a coil.
func coilWords(v coil.Verdict) (string, style) {
	switch v {
	case coil.Within:
		return "in order", good
	case coil.High:
		return "TOO HIGH", alert
	case coil.Low:
		return "TOO LOW", alert
	case coil.Open:
		return "OPEN CIRCUIT", alert
	case coil.Shorted:
		return "SHORTED", alert
	case coil.Differs:
		return "in order for some only", warn
	}
	return "", plain
}

// MeasureCoilText writes what coils read and what that says.
func MeasureCoilText(w io.Writer, m *MeasureCoil, s Screen) error {
	p := newPage(s)
	if m.Edition.Name != "" {
		p.demoRemark(m.Edition)
	}
	p.gap()
	listing := m.Verdict == "" && len(m.Sites) > 0 && !m.Sites[0].Read.Known()
	bad, apart := []string{}, []string{}
	for _, x := range m.Sites {
		switch {
		case x.Verdict.Bad():
			word, _ := coilWords(x.Verdict)
			bad = append(bad, glued(x.Site)+" "+word)
		case x.Verdict == coil.Differs:
			apart = append(apart, glued(x.Site))
		}
	}
	switch {
	case listing:
		p.put(0, 2, sayf("What a meter should read: %s", m.unitWords()).in(strong))
	case len(bad) > 0:
		p.put(0, 2, say("NOT IN ORDER: "+strings.Join(bad, ", ")).in(alert))
	case len(apart) > 0 && len(m.Fits) == 0:
		p.put(0, 2, say("NOT SETTLED: no variant has what was found at "+allOf(apart)).in(warn))
	case len(apart) > 0:
		p.put(0, 2, say("IN ORDER, if the unit is "+someVariants(m.Fits)).in(good))
	case m.Verdict == coil.Within:
		p.put(0, 2, say("IN ORDER as measured").in(good))
	default:
		p.put(0, 2, say("NOT JUDGED: there is no nominal to hold it against").in(warn))
	}
	how := "Coils at " + amount(m.Temp)
	if m.Lead.Value.IsZero() {
		how += ", leads zeroed"
	} else {
		how += ", leads of " + amount(m.Lead)
		if listing {
			how += " included"
		} else {
			how += " taken off"
		}
	}
	if listing {
		how += "; hot at " + amount(m.Hot)
	}
	for _, r := range m.Reasons {
		if r.Code == coil.FitsRelatives { // before a coil is thrown away
			p.put(0, 2, say("! "+capital(CoilSentence(r))).in(warn))
		}
	}
	p.put(0, 2, say(how+".").in(muted))
	p.gap()
	for i := range m.Sites {
		p.coilSite(m, &m.Sites[i], listing)
	}
	for _, x := range m.Spreads {
		p.gap()
		ss := []span{sayf("Twins %s: %s to %s at 20 °C, spread %s", allOf(x.Sites), amount(x.Lowest.Round(2)), amount(x.Highest.Round(2)), amount(x.Spread.Round(2)))}
		if x.Share.Known() {
			ss = append(ss, sayf(" (%s)", amount(x.Share)))
		}
		p.put(0, 2, append(ss, say("."))...)
	}
	if len(m.Reasons) > 0 {
		p.gap()
	}
	for _, r := range m.Reasons {
		if r.Code == coil.FitsRelatives {
			continue
		}
		st := plain
		if r.Code == coil.OddOneOut || r.Code == coil.SetsMixed || r.Code == coil.FitsRelatives || r.Code == coil.TwinsDiffer {
			st = warn
		}
		p.put(0, 2, say(capital(CoilSentence(r))).in(st))
	}
	if len(m.Observed) > 0 && len(m.Fits) > 0 && m.Plate != "" { // what contradicts itself is nothing to ask with
		p.gap()
		cmd := "platewright resolve '" + m.Plate + "'"
		for _, o := range m.Observed {
			cmd += " --saw " + o.Site + "=" + o.Value.Value.String()
		}
		p.put(0, 2, say("With what was found: "), say(cmd).in(strong))
	}
	p.gap()
	p.put(0, 2, sayf("Copper: %s.", m.Copper).in(muted))
	p.benchFoot(m.Bench)
	_, err := w.Write(p.buf.Bytes())
	return err
}

func (p *page) coilSite(m *MeasureCoil, x *coil.Site, listing bool) {
	ss := []span{say(glued(x.Site)).in(strong)}
	word, st := coilWords(x.Verdict)
	switch {
	case listing:
	case x.Read.Known():
		ss = append(ss, say(" "+amount(x.Read)))
	default:
		ss = append(ss, say(" no circuit"))
	}
	if word != "" {
		ss = append(ss, say(": "), say(word).in(st))
	}
	if x.Serves != "" {
		ss = append(ss, say(", serves "+x.Serves))
	}
	if len(x.Gears) > 0 {
		ss = append(ss, say(", gears "+strings.Join(x.Gears, " ")))
	}
	p.put(0, 4, ss...)
	if x.Coil.Known() {
		line := "the coil itself is " + amount(x.Coil.Round(2))
		if m.Temp.Cmp(coil.Reference()) != 0 {
			line += ", at 20 °C " + amount(x.At20.Round(2))
		}
		if x.Verdict == coil.Within || x.Verdict == coil.Differs {
			line += "; hot, at " + amount(m.Hot) + ", expect " + amount(x.HotExpect)
		}
		p.put(4, 2, say(line))
	}
	for _, o := range x.Options {
		var ss []span
		if len(x.Options) > 1 {
			ss = append(ss, say(someVariants(o.Variants)+": "))
		}
		ss = append(ss, say("the meter shows "+glued(o.Low.Value.StringFixed(2)+" to "+o.High.Fixed(2))))
		if listing {
			ss = append(ss, say(", hot "+glued(o.HotLow.Value.StringFixed(2)+" to "+o.HotHigh.Fixed(2))))
		}
		if word, st := coilWords(o.Verdict); len(x.Options) > 1 && word != "" {
			ss = append(ss, say(", "), say(word).in(st))
		}
		from := glued(o.Nominal.Value.String() + " ± " + o.Tolerance.String() + " at " + o.Temp.String())
		if o.Source != "" {
			from += ", " + o.Source
		}
		p.put(4, 2, append(ss, say(" ("+from+")").in(muted))...)
	}
	p.doubts(4, x.Doubts, "what a coil here has")
}

// CoilSentence says a reason about coils in words, without a full stop. It is ""
// for a code that it does not know.
func CoilSentence(r coil.Reason) string {
	sites := orWord(allOf(r.Sites), "this site")
	several := len(r.Sites) > 1
	switch r.Code {
	case coil.ColdDoesNotClear:
		return "a coil that is in order at " + orAmount(r.Value, "this temperature") + " can still fail hot: measure " + sites + " again at " + orAmount(r.Limit, "working temperature") + " before clearing " + oneOr(several, "it", "them")
	case coil.OddOneOut:
		return sites + " is the odd one: without it its twins lie together, with it they spread by " + orAmount(r.Value.Round(2), "much") + share(r.Limit) + ", which matters even inside the tolerance"
	case coil.TwinsDiffer:
		return sites + " should be alike and differ by " + orAmount(r.Value.Round(2), "much") + share(r.Limit) + "; with two, nothing says which one is odd"
	case coil.NotMeasured:
		return sites + " " + oneOr(several, "was", "were") + " not measured"
	case coil.TellsApart:
		return "what was found at " + sites + " tells variants apart"
	case coil.FaultNotVariant:
		return "what was found at " + sites + " fits no variant that the unit can be: that tells of a fault, not of a variant, and nothing is ruled out by it"
	case coil.FitsRelatives:
		return "what was found at " + sites + " is what " + orWord(someVariants(r.Variants), "another variant of the family") + " would have: the assembly can have been exchanged for one of theirs, so read its label before condemning a coil"
	case coil.SetsMixed:
		return "what was found at " + sites + " fits variants, but none has all of it: a coil is not what it was, or is of another set"
	case coil.NoNominal:
		return "there is no nominal to hold " + sites + " against"
	}
	return ""
}

func share(q measure.Quantity) string {
	if !q.Known() {
		return ""
	}
	return " (" + amount(q) + ")"
}

func orAmount(q measure.Quantity, otherwise string) string { return orWord(amount(q), otherwise) }

func oneOr(several bool, one, more string) string {
	if several {
		return more
	}
	return one
}
