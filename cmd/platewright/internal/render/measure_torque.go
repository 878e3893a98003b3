package render

import (
	"io"
	"strings"

	"platewright/resolve/measure/torque"
)

// MeasureTorque is the answer about torques.
type MeasureTorque struct {
	Schema string `json:"schema"`
	Bench
	Work []string `json:"work"` // scopes of work that the list is for
	torque.Report
}

// MeasureTorqueText writes torques with what a wrench is set to.
func MeasureTorqueText(w io.Writer, m *MeasureTorque, s Screen) error {
	p := newPage(s)
	if m.Edition.Name != "" {
		p.demoRemark(m.Edition)
	}
	p.gap()
	wrong := []string{}
	for _, f := range m.Fasteners {
		if f.Asked != nil && (f.Asked.Verdict == torque.High || f.Asked.Verdict == torque.Low) {
			wrong = append(wrong, glued(f.Fastener)+" "+amount(f.Asked.Torque))
		}
	}
	switch {
	case len(wrong) > 0:
		p.put(0, 2, say("NOT RIGHT: "+strings.Join(wrong, ", ")).in(alert))
	case len(m.Fasteners) == 0:
		p.put(0, 2, say("No fastener is on record for this.").in(warn))
	case m.Plate != "" || len(m.Variants) > 0:
		head := "TORQUES: " + m.unitWords()
		if len(m.Work) > 0 {
			head += ", " + strings.Join(m.Work, ", ")
		}
		p.put(0, 2, say(head).in(strong))
	}
	for i := range m.Fasteners {
		p.fastener(m, &m.Fasteners[i])
	}
	if len(m.Fasteners) > 0 {
		p.gap()
		p.put(0, 2, say("Settings are the nearest mark of the scale, converted exactly (NIST SP 811, B.8); a mark beyond the tolerance, or where none is known more than "+torque.MostOff.Shift(2).String()+string(glue)+"% off (common practice, no published source), is not given.").in(muted))
		p.put(0, 2, say("The unit maker's instructions go before these figures.").in(muted))
	}
	p.benchFoot(m.Bench)
	_, err := w.Write(p.buf.Bytes())
	return err
}

func (p *page) fastener(m *MeasureTorque, f *torque.Fastener) {
	p.gap()
	ss := []span{}
	if f.Fastener != "" {
		ss = append(ss, say(plainCode(f.Fastener)+": ").in(strong))
	}
	ss = append(ss, say(amount(f.Torque)).in(strong))
	if f.Tolerance.Known() {
		ss = append(ss, sayf(" ± %s, %s to %s", amount(f.Tolerance), f.Low.Value, amount(f.High)))
	} else {
		ss = append(ss, say(", no tolerance on record"))
	}
	if len(f.Variants) > 0 && len(f.Variants) < len(m.Variants) {
		ss = append(ss, say(" for "+someVariants(f.Variants)).in(warn))
	}
	if f.Source != "" {
		ss = append(ss, say(" ("+f.Source+")").in(muted))
	}
	p.put(0, 4, ss...)
	if a := f.Asked; a != nil {
		word, st := "within the tolerance", good
		switch a.Verdict {
		case torque.High:
			word, st = "TOO MUCH", alert
		case torque.Low:
			word, st = "TOO LITTLE", alert
		case torque.Unjudged:
			word, st = "not judged: no tolerance is on record", warn
		case torque.TheSame:
			word = "the very figure"
		}
		ss := []span{sayf("%s asked: ", amount(a.Torque)), say(word).in(st)}
		if a.Percent.Known() && a.Verdict != torque.TheSame {
			ss = append(ss, sayf(", %s off", signed(amount(a.Percent))))
		}
		p.put(2, 2, ss...)
		p.doubts(2, a.Doubts, "the figure on record")
	}
	best := f.Best()
	for i, x := range f.Settings {
		if x.State == torque.NoSetting {
			p.put(2, 2, say("no setting").in(warn), sayf(" in steps of %s: the nearest, %s, is %s off", amount(x.Step), amount(x.Set), signed(amount(x.Percent))))
			continue
		}
		st := plain
		if i == best {
			st = strong
		}
		line := " is " + amount(x.Is) + ", " + signed(amount(x.Percent))
		if x.Off.Value.IsZero() {
			line = " exactly"
		}
		ss := []span{say("set "), say(amount(x.Set)).in(st), say(line)}
		if !x.Off.Value.IsZero() {
			ss = append(ss, sayf(" (exact: %s)", amount(x.Exact.Round(2))).in(muted))
		}
		p.put(2, 2, ss...)
	}
	for _, t := range f.Thumbs {
		line := "Rule of thumb: " + amount(t.Says) + ", " + signed(amount(t.Percent)) + " off (exact: " + amount(t.Exact) + ")"
		switch t.State {
		case torque.NoSetting:
			line += ", beyond the tolerance"
		case torque.Good:
			line += ", inside the tolerance"
		}
		p.put(2, 2, say(line+"; "+t.Source).in(muted))
	}
	if f.Stages != "" {
		p.put(2, 2, say("stages: "+f.Stages))
		for _, x := range f.Figures {
			var sets []string
			for _, y := range x.Settings {
				if y.State != torque.NoSetting {
					sets = append(sets, amount(y.Set))
				}
			}
			p.put(4, 2, sayf("%s is about %s", amount(x.Torque), strings.Join(sets, ", ")).in(muted))
		}
	}
	if f.Order != "" {
		p.put(2, 2, say("order: "+f.Order))
	}
	if f.Note != "" {
		p.put(2, 2, say("note: "+f.Note))
	}
}

// signed puts a plus before what is not below zero.
func signed(s string) string {
	if strings.HasPrefix(s, "-") {
		return s
	}
	return "+" + s
}
