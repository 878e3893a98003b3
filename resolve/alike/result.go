package alike

import (
	"platewright/catalog"
	"platewright/resolve"
	"platewright/resolve/plate"
)

// Question says which pairs are wanted.
type Question struct {
	Work         []string `json:"work"`         // scopes of work; empty for every role
	Families     []string `json:"families"`     // only pairs with a variant of one of these families; empty for all
	Makers       []string `json:"makers"`       // only pairs with a variant of one of these makers; empty for all
	AnyCharacter bool     `json:"anyCharacter"` // also pairs whose plates differ in one character that is not easily taken for the other
	Pairs        bool     `json:"pairs"`        // spell out every pair, however many look the same or bear the same labels
}

// Line is one line of the list: just one of its fields beside the schema is set.
// The summary comes first, and then the pairs and groups, the worst first.
type Line struct {
	Schema  string   `json:"schema"`
	Summary *Summary `json:"summary,omitempty"`
	Pair    *Pair    `json:"pair,omitempty"`
	Group   *Group   `json:"group,omitempty"`
}

// Schema names the form of the JSON of [Line].
const Schema = "platewright/look-alikes-all/1"

// Summary counts what the list holds.
type Summary struct {
	Edition  resolve.Edition `json:"edition"`
	Question Question        `json:"question"`
	Roles    []Role          `json:"roles"`    // compared
	Variants int             `json:"variants"` // compared with others
	Pairs    int64           `json:"pairs"`    // that can be taken for each other and take different parts
	ByPlate  int64           `json:"byPlate"`  // of them, one slip of the plate apart
	ByEye    int64           `json:"byEye"`    // of them, kept apart by no visible mark
	Both     int64           `json:"both"`     // of them, both
	Unmarked int64           `json:"unmarked"` // of them, told apart by no mark that is recorded
	Uncaught int64           `json:"uncaught"` // of those by plate, with a slip that no check character catches
}

// Role is a role that was compared.
type Role struct {
	Role string `json:"role"`
	Name string `json:"name"`
}

// Pair is two variants that can be taken for each other and take different
// parts.
type Pair struct {
	A     Unit                `json:"a"` // the one whose code comes first
	B     Unit                `json:"b"`
	By    resolve.LookAlikeBy `json:"by"`
	ByEye bool                `json:"byEye"`          // no visible mark that is recorded keeps them apart
	Slip  *PlateSlip          `json:"slip,omitempty"` // of by plate
	Check *Check              `json:"check"`          // the quickest check that tells them apart; null: nothing recorded does
	Marks []resolve.TellApart `json:"marks"`          // deciding marks that tell them apart, the quickest first
	Roles []Difference        `json:"roles"`          // in which they take different parts
}

// Unit is one variant of a pair.
type Unit struct {
	Variant catalog.VariantCode `json:"variant"`
	Family  string              `json:"family"`
}

// PlateSlip is the one slip that turns the plate of a variant into that of
// another.
type PlateSlip struct {
	Kind     SlipKind `json:"kind"`
	Place    int      `json:"place"` // the first place concerned, 1 for the first of the texts
	A        string   `json:"a"`     // what the plate of the one says in the fields that mean the variant
	B        string   `json:"b"`
	ReadA    string   `json:"readA"` // what stands at the place; of a character more or less nothing on the shorter one
	ReadB    string   `json:"readB"`
	Layout   string   `json:"layout"`
	Assembly string   `json:"assembly"` // that carries the plate or label
	OfUnit   bool     `json:"ofUnit"`   // it is the unit's own plate, not the label of an assembly that follows it
	Caught   bool     `json:"caught"`   // a check character of the layout, read with all else, is wrong after the slip, whatever that else is
}

// SlipKind is a [Kind] by name.
type SlipKind string

// The kinds by name: those of misreads, and the one that rule L1 leaves out.
const (
	SlipConfused    = SlipKind(plate.Misread)
	SlipSwapped     = SlipKind(plate.Swapped)
	SlipDropped     = SlipKind(plate.Dropped)
	SlipDoubled     = SlipKind(plate.Doubled)
	SlipSubstituted = SlipKind("substituted")
)

// Name gives the kind by name.
func (k Kind) Name() SlipKind {
	return [...]SlipKind{SlipConfused, SlipSwapped, SlipDropped, SlipDoubled, SlipSubstituted}[k]
}

// Check is a way to tell two variants apart.
type Check struct {
	Mark     string          `json:"mark,omitempty"` // empty: it is reading the plate again at the place where the two differ
	Name     string          `json:"name,omitempty"` // of the mark
	Assembly string          `json:"assembly"`
	Effort   catalog.Decimal `json:"effort"` // minutes
}

// Difference is a role in which two variants take different parts.
type Difference struct {
	Role string        `json:"role"`
	Name string        `json:"name"`
	A    resolve.Takes `json:"a"`
	B    resolve.Takes `json:"b"`
}

// Group is so many pairs that they are counted and not spelled out: variants of
// one family of which many look the same, or variants that bear one of two labels
// which are one slip apart.
type Group struct {
	By       resolve.LookAlikeBy `json:"by"`
	ByEye    bool                `json:"byEye"`
	Family   string              `json:"family"` // of by plate empty, like name and maker, where not all are of one family
	Name     string              `json:"name"`   // of the family
	Maker    string              `json:"maker"`
	Slip     *PlateSlip          `json:"slip,omitempty"` // of by plate: the two labels
	Check    *Check              `json:"check"`          // the quickest check that tells the two of a pair apart; null: nothing recorded does
	Marked   bool                `json:"marked"`         // a deciding mark tells the two of a pair apart
	Variants int                 `json:"variants"`       // in one of the pairs or more
	Pairs    int64               `json:"pairs"`          // of by eye, those one slip of the plate apart are listed by themselves as well
	Outcomes []OutcomeGroup      `json:"outcomes"`       // the largest first, of by plate those of the one label before those of the other
	More     int                 `json:"more"`           // outcomes that are not listed
	Roles    []Role              `json:"roles"`          // in which the listed outcomes differ
	Examples []Pair              `json:"examples"`
}

// OutcomeGroup is variants of a group that take the same.
type OutcomeGroup struct {
	Label    string                `json:"label,omitempty"` // of by plate: the label that they bear
	Variants int                   `json:"variants"`
	Examples []catalog.VariantCode `json:"examples"`
	Takes    []RoleTakes           `json:"takes"` // in the roles of the group
}

// RoleTakes is what variants take in a role.
type RoleTakes struct {
	Role string `json:"role"`
	resolve.Takes
}
