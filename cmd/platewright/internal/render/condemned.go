package render

import (
	"slices"
	"strings"

	"platewright/catalog"
	"platewright/resolve"
)

// decides tells whether an observation takes variants away.
func decides(o resolve.Observed) bool {
	return o.Force == catalog.Deciding && (o.Condemned == nil || !o.Condemned.NoEvidence)
}

// condemned says of each coil and seal that is to be replaced by what was measured,
// and of what was seen where the catalogue knows nothing that it decided nothing.
func (t *decisionPage) condemned(add func(...span)) {
	for _, o := range t.d.Observations {
		c := o.Condemned
		if c == nil {
			if o.Force == catalog.Deciding && len(o.Known) == 0 && !t.unknown() {
				add(sayf("%s decided nothing: ", capitalWord(plainCode(o.Mark))).in(warn), say("the catalogue knows nothing of it for what this unit can be. Is it misspelt?"))
			}
			continue
		}
		what := string(c.Part) + " " + c.Name
		again := ""
		if c.NoEvidence {
			again = " Measure it again: as it is, it tells of no variant and was not used to decide."
		}
		for i, by := range c.By {
			head := "REPLACE " + what + ": "
			if len(by.Variants) > 0 {
				head = "REPLACE " + what + " if it is of " + t.someOf(by.Variants, len(by.Variants)) + ": "
			}
			text := condemnedBy(o, by) + "."
			if i == len(c.By)-1 {
				text += again
			}
			add(say(head).in(alert), say(text))
		}
		if len(c.By) == 0 {
			add(say("REPLACE "+what+": ").in(alert), say(o.Value+" fits no "+string(c.Part)+" of that name on record."+again))
		}
	}
}

// condemnedBy says what a row makes of what was measured.
func condemnedBy(o resolve.Observed, by resolve.CondemnedBy) string {
	if slices.Contains(by.Why, resolve.OutOfWindow) {
		s := withUnit(by.Found.String(), "Ω")
		if strings.Contains(o.Value, " at ") {
			s = o.Value + ", which is " + s + " at " + withUnit(by.Temp.String(), "°C") + ","
		}
		return s + " is outside " + withUnit(glued(by.Nominal.String()+" ± "+by.Tolerance.String()), "Ω") + " at " + withUnit(by.Temp.String(), "°C") + ": the coil is faulty"
	}
	s := withUnit(by.Found.String(), "mm") + " is " + withUnit(by.Loss.String(), "mm") + " (" + withUnit(by.Percent.String(), "%") + ") shorter than the " + withUnit(by.Nominal.String(), "mm") + " of a new one"
	switch {
	case slices.Contains(by.Why, resolve.TooShort):
		s += ", more than use takes: it is torn, a piece is missing, or it is another seal"
	case slices.Contains(by.Why, resolve.BelowLeast):
		s += "; it is replaced below " + withUnit(by.Least.String(), "mm")
	}
	if slices.Contains(by.Why, resolve.NoSpring) {
		s += "; fitted it is " + withUnit(by.Fitted.String(), "mm") + " high, so it no longer presses"
	}
	return s
}
