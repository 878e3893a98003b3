package order

import (
	"platewright/catalog"
	"platewright/resolve"
)

// Warnings are what the decision says besides the parts, and whoever orders by it
// has to know.
type Warnings struct {
	Conflicts         []resolve.Conflict  `json:"conflicts"`
	Unread            []resolve.Reading   `json:"unread"` // what was read and names no variant
	Mixed             *resolve.Mixed      `json:"mixed,omitempty"`
	BySlip            []string            `json:"bySlip"`            // assemblies that are known only if there is a slip in what was read
	Assumed           []string            `json:"assumed"`           // assemblies taken to be as built
	LookAlikes        []resolve.LookAlike `json:"lookAlikes"`        // not ruled out
	LookAlikesLeftOut []string            `json:"lookAlikesLeftOut"` // assemblies of which not all look-alikes were searched
	Differ            []resolve.Observed  `json:"differ"`            // hints that speak against a variant that remains
}

// Stop is why nothing at all is planned.
type Stop string

const (
	StopConflict Stop = "conflict" // what was read and seen cannot all be true
	StopNotRead  Stop = "not-read" // a check character does not agree, or no variant is left
)

func warnings(d *resolve.Decision) Warnings {
	w := Warnings{Conflicts: append([]resolve.Conflict{}, d.Conflicts...), Unread: []resolve.Reading{}, Mixed: d.Mixed, BySlip: []string{}, Assumed: []string{},
		LookAlikes: []resolve.LookAlike{}, LookAlikesLeftOut: append([]string{}, d.LookAlikesLeftOut...), Differ: []resolve.Observed{}}
	for _, r := range d.Reading {
		if r.Outcome != resolve.ReadingMatched {
			w.Unread = append(w.Unread, r)
		}
	}
	for _, a := range d.Assemblies {
		if a.BySlip {
			w.BySlip = append(w.BySlip, a.Assembly)
		}
		if (a.Basis == resolve.BasisAsBuilt || a.Assumed) && a.Total > 0 {
			w.Assumed = append(w.Assumed, a.Assembly)
		}
	}
	for _, l := range d.LookAlikes {
		if l.RuledOut == nil {
			w.LookAlikes = append(w.LookAlikes, l)
		}
	}
	for _, o := range d.Observations {
		if o.Force == catalog.Hinting && len(o.Differs) > 0 {
			w.Differ = append(w.Differ, o)
		}
	}
	return w
}

// stop tells whether the decision leaves nothing that may be ordered, not even what
// the work uses up: whoever is not sure which unit it is does not know the work.
func stop(d *resolve.Decision) Stop {
	if len(d.Conflicts) > 0 {
		return StopConflict
	}
	none := true
	for _, r := range d.Reading {
		if r.Outcome == resolve.ReadingRejected {
			return StopNotRead
		}
	}
	for _, a := range d.Assemblies {
		none = none && a.Total == 0
	}
	if none {
		return StopNotRead
	}
	return ""
}

// heldNames lists what is held, to be named.
func heldNames(d *resolve.Decision) []string {
	out := []string{}
	for _, h := range d.Held {
		s := h.Role
		if h.Position != "" {
			s += "@" + h.Position
		}
		out = append(out, s)
	}
	return out
}

// settleHeld drops from the held lines that were to be ordered all the same those
// for which the plan has nothing: they are uncovered.
func (m *model) settleHeld() {
	var out []EvenHeld
	for _, x := range m.p.EvenHeld {
		for i := range m.p.Lines {
			l := &m.p.Lines[i]
			if l.EvenHeld != nil && catalog.Fold(l.Role) == catalog.Fold(x.Role) && (x.Position == "" || catalog.FoldValue(l.Position) == catalog.FoldValue(x.Position)) {
				out = append(out, x)
				break
			}
		}
	}
	m.p.EvenHeld = append([]EvenHeld{}, out...)
}

// Bought tells whether something is bought for a held line; otherwise the shelf has
// it.
func (p *Proposal) Bought(x EvenHeld) bool {
	for _, l := range p.Lines {
		if l.EvenHeld == nil || catalog.Fold(l.Role) != catalog.Fold(x.Role) || x.Position != "" && catalog.FoldValue(l.Position) != catalog.FoldValue(x.Position) {
			continue
		}
		for _, t := range l.Takes {
			for _, f := range t.From {
				if f.Supplier != "" {
					return true
				}
			}
		}
	}
	return false
}
