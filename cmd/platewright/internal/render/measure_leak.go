package render

import (
	"io"
	"strings"

	"platewright/catalog"
	"platewright/resolve/measure"
	"platewright/resolve/measure/leak"
)

// MeasureLeak is the answer about air and vacuum tests: the test ports of a unit,
// or one test.
type MeasureLeak struct {
	Schema string `json:"schema"`
	Bench
	Ports []leak.Port  `json:"ports"` // of the unit
	Test  *leak.Report `json:"test"`  // null where the ports are only listed
}

// MeasureLeakText writes the ports of a unit, or a test held against one.
func MeasureLeakText(w io.Writer, m *MeasureLeak, s Screen) error {
	p := newPage(s)
	if m.Edition.Name != "" {
		p.demoRemark(m.Edition)
	}
	p.gap()
	if t := m.Test; t != nil {
		p.leakTest(t)
	} else {
		if len(m.Ports) == 0 {
			p.put(0, 2, say("No test port is on record for this unit.").in(warn))
		} else {
			p.put(0, 2, say("TEST PORTS: "+m.unitWords()).in(strong))
		}
		for i := range m.Ports {
			p.gap()
			p.port(m, &m.Ports[i])
		}
	}
	p.benchFoot(m.Bench)
	_, err := w.Write(p.buf.Bytes())
	return err
}

// inOther gives a pressure in the units of other gauges: psi for air, inches of
// mercury for vacuum.
func inOther(q measure.Quantity, m catalog.Medium) string {
	if m == catalog.MediumVacuum {
		return amount(q.In(measure.InchOfMercury).Significant(3))
	}
	return amount(q.In(measure.Bar).Significant(3)) + ", " + amount(q.In(measure.PSI).Significant(3))
}

func (p *page) port(m *MeasureLeak, x *leak.Port) {
	ss := []span{say(glued(x.Port)).in(strong)}
	if x.Serves != "" {
		ss = append(ss, say(" "+x.Serves))
	}
	word := "air at "
	if x.Medium == catalog.MediumVacuum {
		word = "vacuum of "
	}
	ss = append(ss, say(": "+word+amount(x.Pressure)+" ("+inOther(x.Pressure, x.Medium)+")"))
	if x.Releases {
		ss = append(ss, say(", "), say("ONLY RELEASES").in(warn))
	}
	if m != nil && len(x.Variants) > 0 && len(x.Variants) < len(m.Variants) {
		ss = append(ss, say(" for "+someVariants(x.Variants)).in(warn))
	}
	if x.Source != "" {
		ss = append(ss, say(" ("+x.Source+")").in(muted))
	}
	p.put(0, 4, ss...)
	p.put(4, 2, say(x.Expect))
	if x.Limit.Known() {
		line := "a good one loses at most " + amount(x.Limit)
		if x.Volume.Known() {
			line += ", with " + amount(x.Volume) + " behind the port"
		}
		p.put(4, 2, say(line))
	}
}

func (p *page) leakTest(t *leak.Report) {
	switch {
	case t.Verdict == leak.Within:
		p.put(0, 2, sayf("WITHIN THE LIMIT: %s, at most %s", amount(t.Rate), amount(t.Limit)).in(good))
	case t.Verdict == leak.Leaks:
		p.put(0, 2, sayf("LEAKS: %s, at most %s", amount(t.Rate), amount(t.Limit)).in(alert))
	default:
		p.put(0, 2, sayf("NOT JUDGED: it loses %s", amount(t.Rate)).in(warn))
	}
	fall := amount(t.Start) + " to " + amount(t.End) + " in " + amount(t.Time) + ", volume " + amount(t.Volume)
	if t.FallLimit.Known() {
		fall += "; the limit lets it fall by " + amount(t.FallLimit) + " in that time"
	}
	p.put(0, 2, say(fall+"."))
	p.doubts(0, t.Doubts, "the pressure of this port")
	for _, r := range t.Reasons {
		p.put(0, 2, say(capital(LeakSentence(r))).in(warn))
	}
	if t.Port.Port != "" {
		p.gap()
		p.port(nil, &t.Port)
	}
	p.gap()
	p.put(0, 2, sayf("A leak rate is gas at ambient pressure, %s; %s. One kelvin of cooling alone looks like %s.", amount(t.Ambient), strings.Replace(t.Formula, "Q = ", "Q"+string(glue)+"="+string(glue), 1), amount(t.PerKelvin)).in(muted))
}

// LeakSentence says a reason about a leak test in words, without a full stop. It
// is "" for a code that it does not know.
func LeakSentence(r leak.Reason) string {
	switch r.Code {
	case leak.NoLimit:
		return "nothing is on record of how much a good one may lose"
	case leak.OnlyReleases:
		return "this port only releases: nothing is heard to apply, and what it loses says nothing of the piston"
	case leak.WarmthCounts:
		return "one kelvin of warmth looks like " + orAmount(r.Value, "as much") + ", more than the " + orAmount(r.Limit, "distance") + " to the limit: let the gas settle and test again"
	case leak.FarFromTest:
		return "the test began at " + orAmount(r.Value, "another pressure") + ", and the port is tried at " + orAmount(r.Limit, "its own") + ", for which the limit holds: test again at that"
	case leak.CannotFail:
		return "this test cannot fail: in that time the limit lets it fall by " + orAmount(r.Value, "more") + ", and it began at " + orAmount(r.Limit, "less") + "; read the gauge sooner"
	case leak.NoChange:
		return "the gauge did not move: it loses less than the gauge can show, or the tap to the port was closed"
	}
	return ""
}
