package resolve

import (
	"slices"

	"platewright/catalog"
)

// Takes is what a variant takes in a role, nothing being known of the unit beside
// what was asked with. Where two variants take the same by it and yet differ, they
// differ in what else can be bought or must come along.
type Takes struct {
	Ways []Way `json:"ways"` // several where it hangs on what is not known of a unit
}

// Way is one thing that a variant can take in a role.
type Way struct {
	Outcome OutcomeKind `json:"outcome"`           // no-statement: nothing is stated, so what it takes is not known
	Nothing bool        `json:"nothing,omitempty"` // of does-not-fit: a statement says that nothing is taken; else what was stated is ruled out
	Items   []TakenItem `json:"items"`             // of fits: the first choice of every position, all together
}

// TakenItem is what is bought of a part or a fluid.
type TakenItem struct {
	Part     catalog.PartNo  `json:"part"`
	Qty      int             `json:"qty,omitempty"`   // pieces
	Litres   catalog.Decimal `json:"litres,omitzero"` // of a fluid; left out where the scope of work does not tell
	Position string          `json:"position,omitempty"`
}

func (t TakenItem) equal(o TakenItem) bool {
	return t.Part == o.Part && t.Qty == o.Qty && t.Position == o.Position && t.Litres.String() == o.Litres.String()
}

// Equal tells whether both say the same, in the same order.
func (t Takes) Equal(o Takes) bool { return slices.EqualFunc(t.Ways, o.Ways, Way.equal) }

func (w Way) equal(o Way) bool {
	return w.Outcome == o.Outcome && w.Nothing == o.Nothing && slices.EqualFunc(w.Items, o.Items, TakenItem.equal)
}

// takesOf gives the first choices of all worlds, each way once.
func takesOf(cos []candidateOutcome) Takes {
	out := Takes{Ways: make([]Way, 0, 1)}
	for _, co := range cos {
		w := Way{Outcome: co.o.kind, Nothing: co.o.nothing(), Items: []TakenItem{}}
		if co.o.kind == OutcomeFits {
			for _, l := range co.o.lines {
				for _, it := range l.Choices[0].Items {
					w.Items = append(w.Items, TakenItem{it.Part, it.Qty, it.Litres, l.Position})
				}
			}
		}
		if !slices.ContainsFunc(out.Ways, w.equal) {
			out.Ways = append(out.Ways, w)
		}
	}
	return out
}
