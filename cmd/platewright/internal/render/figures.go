package render

import (
	"strings"

	"platewright/catalog"
	"platewright/resolve"
	"platewright/resolve/measure/torque"
)

// figures writes the sheet of figures for the asked work: what is torqued, filled
// and measured, what is used once, what is done before and afterwards.
func (t *decisionPage) figures() {
	f := t.d.Figures
	if f == nil {
		return
	}
	steps := func(when catalog.When, title string) {
		first := true
		for _, s := range f.Steps {
			if s.When != when {
				continue
			}
			if first {
				t.put(2, 2, say(title).in(strong))
				first = false
			}
			text := s.Text
			if s.Family != "" {
				text += " (family " + s.Family + ")"
			}
			t.put(4, 4, say("[ ] "+text))
		}
	}
	t.head(strong, "FIGURES FOR THE WORK; the unit maker's own figures and local rules go first")
	for _, a := range f.Unknown {
		t.put(2, 2, sayf("Of %s too little is known to give figures.", place(a)).in(warn))
	}
	steps(catalog.WhenBefore, "Before")
	if len(f.OneTime) > 0 {
		t.put(2, 2, say("Used once, always new: ").in(strong), say(t.roleNames(f.OneTime)))
	}
	t.torques(f.Torques)
	if len(f.Coils) > 0 {
		t.put(2, 2, say("Coils").in(strong))
	}
	for _, c := range f.Coils {
		t.put(4, 4, sayf("%s: %s ± %s Ω at %s °C", plainCode(c.Site), c.Ohm, c.Tolerance, c.Temp), say(tail(", serves ", c.Serves)), t.only(c.FigureOf))
	}
	if len(f.Seals) > 0 {
		t.put(2, 2, say("Lengths").in(strong))
	}
	for _, s := range f.Seals {
		least := ""
		if s.Least.Known {
			least = ", replace below " + s.Least.String() + " mm"
		}
		t.put(4, 4, sayf("%d × %s: %s mm", s.Qty, s.Place, s.Length), say(least), t.only(s.FigureOf))
	}
	if len(f.Rings) > 0 {
		t.put(2, 2, say("O-rings").in(strong))
	}
	for _, r := range f.Rings {
		t.put(4, 4, sayf("%d × %s: %s × %s mm", r.Qty, r.Place, r.Inside, r.Section), say(tail(", ", r.Size)+tail(", ", r.Material)), t.only(r.FigureOf))
	}
	if len(f.Ports) > 0 {
		t.put(2, 2, say("Tests with vacuum and air").in(strong))
	}
	for _, p := range f.Ports {
		text := p.Port + tail(", ", p.Serves) + ": " + string(p.Medium) + ", " + p.Pressure.String() + " kPa"
		if p.Leak.Known {
			text += ", at most " + p.Leak.String() + " cm³/min lost"
		}
		if p.Releases {
			text += "; it only releases"
		}
		t.put(4, 4, say(text+"; "+p.Expect), t.only(p.FigureOf))
	}
	if len(f.Fills) > 0 {
		t.put(2, 2, say("Fill").in(strong))
	}
	for _, x := range f.Fills {
		t.fill(x)
	}
	steps(catalog.WhenDuring, "During the work")
	steps(catalog.WhenAfter, "Afterwards")
}

// only says for which variants a figure holds, where it does not for all.
func (t *decisionPage) only(of resolve.FigureOf) span {
	if len(of.Variants) == 0 {
		return say("")
	}
	return say("; only " + t.someOf(of.Variants, len(of.Variants))).in(warn)
}

func (t *decisionPage) torques(list []resolve.TorqueFigure) {
	if len(list) > 0 {
		t.put(2, 2, say("Torques").in(strong))
	}
	for _, x := range list {
		text := plainCode(x.Fastener) + ": " + x.Torque.String()
		if x.Tolerance.Known {
			text += " ± " + x.Tolerance.String()
		}
		text += string(glue) + "N·m"
		f := torque.Of(&catalog.Torque{Torque: x.Torque, Tolerance: x.Tolerance}, torque.Usual())
		var set []string
		for _, s := range f.Settings[1:] {
			if s.State != torque.NoSetting {
				set = append(set, s.Set.String())
			}
		}
		if len(set) > 0 {
			text += " (" + strings.Join(set, ", ") + ")"
		}
		t.put(4, 4, say(text+tail("; ", x.Stages)+tail("; ", x.Order)+tail("; ", x.Note)), t.only(x.FigureOf))
	}
}

func (t *decisionPage) fill(x resolve.FillFigure) {
	text := "specification " + x.Spec
	if x.Litres.Known {
		text = x.Litres.String() + " l of " + text
	}
	if x.TempFrom.Known && x.TempTo.Known {
		text += "; level set at " + x.TempFrom.String() + " to " + x.TempTo.String() + " °C"
	}
	if x.Engine != "" {
		text += ", engine " + string(x.Engine)
	}
	t.put(4, 4, say(text+tail("; ", x.Plugs)), t.only(x.FigureOf))
	if x.How != "" {
		t.put(6, 2, say(x.How).in(muted))
	}
}
