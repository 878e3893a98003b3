package render

import (
	"io"
	"strings"

	"platewright/resolve/measure/coil"
	"platewright/resolve/measure/fault"
)

// MeasureFault is the answer about a trouble code.
type MeasureFault struct {
	Schema string `json:"schema"`
	Bench
	fault.Report
	Coils []coil.Site `json:"coils"` // what a meter should read at the sites pointed at
}

// MeasureFaultText writes what a trouble code points at.
func MeasureFaultText(w io.Writer, m *MeasureFault, s Screen) error {
	p := newPage(s)
	p.demoRemark(m.Edition)
	p.gap()
	if len(m.Points) == 0 {
		p.put(0, 2, sayf("%s: not on record for %s", m.Code, m.unitWords()).in(warn))
		if len(m.Known) > 0 {
			names := make([]string, len(m.Known))
			for i, c := range m.Known {
				names[i] = string(c)
			}
			p.put(2, 2, say("On record are "+strings.Join(names, ", ")+"."))
		}
	} else {
		sites := []string{}
		for _, x := range m.Points {
			sites = append(sites, glued(x.Site))
		}
		head, st := string(m.Code)+" points at "+allOf(sites), strong
		switch m.Verdict {
		case fault.Fits:
			head += ", and the complaint FITS"
		case fault.Partly:
			head, st = head+", and the complaint fits only PARTLY", warn
		case fault.DoesNotFit:
			head, st = head+", and the complaint DOES NOT FIT", warn
		}
		p.put(0, 2, say(head).in(st))
	}
	switch m.DefinedBy {
	case fault.ByStandard:
		p.put(0, 2, say("Codes of this range are defined by SAE J2012 and ISO 15031-6.").in(muted))
	case fault.ByMaker:
		p.put(0, 2, say("Codes of this range are the maker's own (SAE J2012): the same code means another thing elsewhere.").in(muted))
	}
	for i := range m.Points {
		p.gap()
		p.pointed(m, &m.Points[i])
	}
	if len(m.Elsewhere) > 0 {
		p.gap()
		p.put(0, 2, say("The complaint fits these sites:").in(strong))
		for _, e := range m.Elsewhere {
			line := glued(e.Site)
			if e.Serves != "" {
				line += ", " + e.Serves
			}
			line += ", gears " + strings.Join(e.Gears, " ")
			if e.Exact {
				line += ": these and no others"
			}
			p.put(2, 2, say(line))
		}
	}
	p.benchFoot(m.Bench)
	_, err := w.Write(p.buf.Bytes())
	return err
}

func (p *page) pointed(m *MeasureFault, x *fault.Pointed) {
	p.put(0, 4, say(glued(x.Site)).in(strong), say(": "+x.Text), say(" ("+x.Source+")").in(muted))
	if x.Serves != "" || len(x.Gears) > 0 {
		line := []string{}
		if x.Serves != "" {
			line = append(line, "serves "+x.Serves)
		}
		if len(x.Gears) > 0 {
			line = append(line, "shows in gears "+strings.Join(x.Gears, " "))
		}
		p.put(4, 2, say(strings.Join(line, ", ")))
	}
	if len(x.Variants) > 0 && len(x.Without) > 0 {
		p.put(4, 2, say("only on "+someVariants(x.Variants)).in(warn))
	} else if len(x.Variants) == 0 {
		p.put(4, 2, say("no variant that the unit can be has this site").in(warn))
	}
	switch x.Verdict {
	case fault.Fits:
		line := "complaint in " + strings.Join(x.Fit, " ") + ": fits"
		if len(x.Quiet) > 0 {
			line += "; see whether " + strings.Join(x.Quiet, " ") + " shows it too"
		}
		p.put(4, 2, say(line))
	case fault.Partly:
		p.put(4, 2, sayf("complaint in %s: fits, in %s: does not, so look for another cause too", strings.Join(x.Fit, " "), strings.Join(x.Unfit, " ")).in(warn))
	case fault.DoesNotFit:
		p.put(4, 2, sayf("complaint in %s: does not fit", strings.Join(x.Unfit, " ")).in(warn))
	}
	for _, c := range m.Coils {
		if c.Site != x.Site {
			continue
		}
		for _, o := range c.Options {
			line := "its coil reads " + glued(o.Low.Value.StringFixed(2)+" to "+o.High.Fixed(2)) + " at 20 °C, " + glued(o.HotLow.Value.StringFixed(2)+" to "+o.HotHigh.Fixed(2)) + " hot"
			if len(c.Options) > 1 {
				line += " (" + someVariants(o.Variants) + ")"
			}
			p.put(4, 2, say(line+"; measure it: platewright measure coil"))
		}
	}
}
