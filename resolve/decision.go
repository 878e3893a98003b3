package resolve

import (
	"platewright/catalog"
	"platewright/resolve/plate"
)

// Catalogue is what a decision reads: the rows it needs and never the whole.
// An edition in the store and a catalogue in memory both are one.
type Catalogue interface {
	// Group gives the rows of t that share the group key, nil for none. The
	// rows must not be changed.
	Group(t *catalog.Table, key string) ([]catalog.Row, error)
	// Seek gives the first group key of t that is not below from.
	Seek(t *catalog.Table, from string) (key string, ok bool, err error)
	// Referring gives, in order, the keys of the groups of t with a row whose
	// cell in the reverse column has the folded text key, until each returns
	// false.
	Referring(t *catalog.Table, column, key string, each func(group string) bool) error
}

// Question is what is asked about one unit.
type Question struct {
	Plate    string            `json:"plate,omitempty"`   // the unit's plate as read; ? and [38] stand for open characters
	Fields   map[string]string `json:"fields,omitempty"`  // the plate field by field, instead of Plate
	Labels   []string          `json:"labels,omitempty"`  // labels of other assemblies as read
	Saw      []Observation     `json:"saw,omitempty"`     // marks found on the unit
	Vehicle  string            `json:"vehicle,omitempty"` // the vehicle it came from, a hint
	Serial   catalog.Serial    `json:"serial,omitempty"`  // the unit's serial number, 0 for not known
	Built    catalog.Date      `json:"-"`                 // the unit's build date, 0 for not known
	BuiltISO string            `json:"built,omitempty"`   // Built as text
	Work     []string          `json:"work,omitempty"`    // scopes of work; none asks for every role
	Roles    []string          `json:"roles,omitempty"`   // roles asked for, beside those of Work
	Part     string            `json:"part,omitempty"`    // a part asked about by any number it goes by

	// Doubt names what was read and is not sure: a place of the plate by its
	// number, 1 for the first character that is no separator, or the word "slip"
	// for one slip anywhere; of a label, label:PLACE or label:slip (label2: for the
	// second). What is in doubt widens what a reading allows and is never taken as
	// read.
	Doubt []string `json:"doubt,omitempty"`
	// CannotSee names checks, by their ID, that were tried and gave nothing.
	CannotSee []string `json:"cannotSee,omitempty"`
}

// Observation is a mark with the value found on this unit.
type Observation struct {
	Mark  string `json:"mark"`
	Value string `json:"value"`
}

// Verdict is the answer for a role or a part. Its zero value is not settled, so
// that a forgotten assignment can never read as fits.
type Verdict int

const (
	NotSettled Verdict = iota
	Fits
	DoesNotFit
)

// String gives the word of the verdict as JSON carries it.
func (v Verdict) String() string { return [...]string{"not-settled", "fits", "does-not-fit"}[v] }

// MarshalText writes the word of the verdict.
func (v Verdict) MarshalText() ([]byte, error) { return []byte(v.String()), nil }

// UnmarshalText reads the word of a verdict.
func (v *Verdict) UnmarshalText(b []byte) error {
	for _, w := range []Verdict{NotSettled, Fits, DoesNotFit} {
		if w.String() == string(b) {
			*v = w
			return nil
		}
	}
	return &catalog.ValueError{Value: string(b), Reason: "it is no verdict", Mend: "use fits, does-not-fit or not-settled"}
}

// Schema names the form of the decision's JSON.
const Schema = "platewright/resolve/1"

// Decision is the whole answer to a [Question]: data first. Equal questions on
// equal catalogues give equal decisions, down to the bytes of their JSON.
type Decision struct {
	Schema            string          `json:"schema"`
	Edition           Edition         `json:"edition"`
	Question          Question        `json:"question"`
	Reading           []Reading       `json:"reading"`
	Assemblies        []AssemblyState `json:"assemblies"`
	Mixed             *Mixed          `json:"mixed"` // null unless assemblies name different variants
	Conflicts         []Conflict      `json:"conflicts"`
	Roles             []RoleAnswer    `json:"roles"`
	Part              *PartAnswer     `json:"part,omitempty"` // only when a part was asked about
	LookAlikes        []LookAlike     `json:"lookAlikes"`
	LookAlikesLeftOut []string        `json:"lookAlikesLeftOut,omitempty"` // assemblies with too many candidates or relatives to look for all look-alikes
	SafeToOrder       []OrderLine     `json:"safeToOrder"`
	Held              []HeldLine      `json:"held"`
	NextCheck         *NextCheck      `json:"nextCheck"` // null if nothing needs to be looked at, or nothing would help
	Figures           *Figures        `json:"figures"`   // the sheet of figures for the asked work; null without one
	Plan              *Plan           `json:"plan"`      // how the next check was chosen, and with Options.WholePlan what comes after it; null if there is none
	Cautions          []Caution       `json:"cautions"`
	Observations      []Observed      `json:"observations"`
	Notes             []Note          `json:"notes"` // the shop's notes on what the answer names
}

// Edition says which catalogue was asked.
type Edition struct {
	Name     string `json:"name"`             // "demo", or where the catalogue stands
	Number   int    `json:"number"`           // 0 for a catalogue without editions
	Digest   string `json:"digest,omitempty"` // hexadecimal
	Invented bool   `json:"invented"`         // sources of the catalogue are of the kind invented: nothing is to be ordered by it
}

// ReadingOutcome says what became of a text read from a plate or label.
type ReadingOutcome string

const (
	ReadingMatched  ReadingOutcome = "matched"          // it names at least one variant of the catalogue
	ReadingUnknown  ReadingOutcome = "not-in-catalogue" // a layout fits, but the catalogue has no such variant
	ReadingRejected ReadingOutcome = "check-failed"     // a layout fits, but its check character does not
	ReadingNoLayout ReadingOutcome = "no-layout"        // no layout of the catalogue could have produced it
)

// Reading is one text read from a plate or label, with what it can be.
type Reading struct {
	Text     string            `json:"text"`     // canonical text of the reading
	Assembly string            `json:"assembly"` // the assembly that carries it
	Outcome  ReadingOutcome    `json:"outcome"`
	Matches  []ReadingMatch    `json:"matches"`           // one for each layout and alignment that leaves variants
	Rejected []plate.Rejection `json:"rejected"`          // of a failed check: what the check would have to be
	Furthest []plate.Failure   `json:"furthest"`          // of no layout: how far the best ones got
	Near     []NearReading     `json:"near"`              // never taken as the answer
	NearCut  bool              `json:"nearCut,omitempty"` // there are more near readings than listed
	Doubted  []DoubtedPlace    `json:"doubted,omitempty"` // what is in doubt; Text has what can stand there
	Slips    int               `json:"slips,omitempty"`   // variants allowed because one slip was thought possible
}

// ReadingMatch is a layout that could have produced a reading.
type ReadingMatch struct {
	Layout    string         `json:"layout"`
	Fields    []FieldText    `json:"fields"`
	Recovered []FieldText    `json:"recovered"` // fields with characters that only the check character tells
	Serial    catalog.Serial `json:"serial,omitempty"`
	BuiltFrom string         `json:"builtFrom,omitempty"` // ISO 8601 dates
	BuiltTo   string         `json:"builtTo,omitempty"`
	Checked   bool           `json:"checked"` // a check character was read and agrees
	Variants  int            `json:"variants"`
}

// NearReading is a plate of the catalogue that one slip would have turned into
// this reading.
type NearReading struct {
	plate.NearReading
	Variants []catalog.VariantCode `json:"variants"`
	Share    catalog.Decimal       `json:"share"` // of all near readings listed: by how likely the slip is, and by built quantities where all are known
	weight   float64
}

// DoubtedPlace is a place of a reading that is in doubt.
type DoubtedPlace struct {
	Place  int            `json:"place"` // 1 for the first
	Likely []plate.Likely `json:"likely"`
}

// FieldText is a field of a plate with its text; open characters as in a reading.
type FieldText struct {
	Field string `json:"field"`
	Means string `json:"means"`
	Text  string `json:"text"`
}

// Basis says what an assembly's candidates rest on.
type Basis string

const (
	BasisOwn      Basis = "own-evidence" // its own plate or label, or marks seen on it
	BasisAsBuilt  Basis = "as-built"     // assumed: the one that the unit was built with
	BasisFamily   Basis = "family"       // only the family is known, from another assembly
	BasisNone     Basis = "none"         // nothing that was read or seen leaves a candidate
	BasisConflict Basis = "conflict"     // the evidence contradicts itself
)

// AssemblyState is what one assembly can still be.
type AssemblyState struct {
	Assembly   string      `json:"assembly"`
	Basis      Basis       `json:"basis"`
	Follows    string      `json:"follows,omitempty"` // the assembly whose identity is assumed, for as-built
	Candidates []Candidate `json:"candidates"`        // likeliest first; order never decides
	Total      int         `json:"total"`             // how many candidates there are, listed or not
	Excluded   []Reason    `json:"excluded"`          // variants that a deciding mark took out, with it
	Assumed    bool        `json:"assumed,omitempty"` // what was read of it allows variants beside these, so that it is the one the unit was built with is assumed
	BySlip     bool        `json:"bySlip,omitempty"`  // only a slip makes what was read a plate or label that there is: nothing is ordered by it
}

// Candidate is a variant that reading and observations still allow.
type Candidate struct {
	Variant catalog.VariantCode `json:"variant"`
	Family  string              `json:"family"`
	Name    string              `json:"name,omitempty"`
	Count   int                 `json:"count,omitempty"` // built quantity, where known
	Hints   int                 `json:"hints"`           // hinting marks that agree less those that differ
	Share   catalog.Decimal     `json:"share,omitzero"`  // of all candidates, where a reading is in doubt: by how likely the misread is, and by built quantities where all are known
}

// Mixed says that assemblies of the unit name different variants.
type Mixed struct {
	Parts []MixedPart `json:"parts"`
}

// MixedPart is one assembly of a mixed unit.
type MixedPart struct {
	Assembly string                `json:"assembly"`
	Variants []catalog.VariantCode `json:"variants"`
}

// Conflict is a smallest set of statements about one assembly that cannot all
// be true.
type Conflict struct {
	Assembly   string      `json:"assembly"`
	Statements []Statement `json:"statements"`
}

// StatementKind tells where a statement about the unit comes from.
type StatementKind string

const (
	StatementReading StatementKind = "reading"
	StatementMark    StatementKind = "mark"
	StatementSerial  StatementKind = "serial"
	StatementBuilt   StatementKind = "built"
)

// Statement is one thing that was said about the unit, and how to look again.
type Statement struct {
	Kind  StatementKind `json:"kind"`
	Text  string        `json:"text"`            // the reading, the value, the serial number, the date
	Mark  string        `json:"mark,omitempty"`  // of a mark
	Again string        `json:"again,omitempty"` // how to look, from the catalogue
}

// Observed is an observation with what it did.
type Observed struct {
	Observation
	Assembly string                `json:"assembly"`
	Force    catalog.Force         `json:"force"`
	Excludes int                   `json:"excludes"`        // candidates it took out by itself; a hinting mark never does
	Known    []string              `json:"known"`           // values on record for the variants concerned; where no variant of their families shows the value, those on record for any of them
	OnRecord bool                  `json:"onRecord"`        // the value is on record for one of the variants concerned or of their families, or nothing is; a value that is not can be misspelt
	Differs  []catalog.VariantCode `json:"differs"`         // of a hinting mark: remaining candidates that show another value
	Shown    []string              `json:"shown,omitempty"` // of a hinting mark: the values on record for those that differ

	Condemned *Condemned `json:"condemned,omitempty"` // of a coil or a seal that is to be replaced by what was measured
}

// RoleAnswer is the answer for one role.
type RoleAnswer struct {
	Role     string           `json:"role"`
	Name     string           `json:"name"`
	Assembly string           `json:"assembly"`
	Kind     catalog.RoleKind `json:"kind"`
	OneTime  bool             `json:"oneTime"`
	Need     catalog.Need     `json:"need,omitempty"` // by the scope of work; empty without one
	Why      string           `json:"why,omitempty"`  // why the scope of work takes it
	Verdict  Verdict          `json:"verdict"`
	Lines    []Line           `json:"lines"`   // what to take, when it fits
	Groups   []Group          `json:"groups"`  // the outcomes that are still possible; one when it is settled alike
	Reasons  []Reason         `json:"reasons"` // why this verdict
}

// Line is one position of a role: what to take there.
type Line struct {
	Position string   `json:"position,omitempty"`
	Choices  []Choice `json:"choices"` // alternatives, the preferred first
}

// Choice is one way to fill a line.
type Choice struct {
	Stated     catalog.PartNo `json:"stated"`     // the part, or for a fluid the specification, that the statement names
	Items      []Item         `json:"items"`      // what to buy
	Companions []Item         `json:"companions"` // what must come along
	Buyable    bool           `json:"buyable"`    // false: nothing that serves is sold any more
	Rank       int            `json:"rank"`       // the statement's order among alternatives
	Steps      int            `json:"steps"`      // replacements between what is stated and what is bought
	Trail      []Reason       `json:"trail"`      // the rows used, in order
}

// Item is a number to buy, with how many pieces or litres.
type Item struct {
	Part      catalog.PartNo   `json:"part"`
	Name      string           `json:"name"`
	Kind      catalog.PartKind `json:"kind"`
	Origin    catalog.Origin   `json:"origin"`
	Qty       int              `json:"qty,omitempty"`   // pieces
	Litres    catalog.Decimal  `json:"litres,omitzero"` // of a fluid; left out where the scope of work does not tell
	Look      string           `json:"look,omitempty"`
	CoveredBy string           `json:"coveredBy,omitempty"` // of a companion on an order line: the role whose own line brings it already
}

// Group is one possible outcome of a role, with the units that have it.
type Group struct {
	Outcome OutcomeKind `json:"outcome"`
	Nothing bool        `json:"nothing,omitempty"` // of does-not-fit: a statement says that nothing is taken; else what was stated is ruled out
	Lines   []Line      `json:"lines"`
	Members []Member    `json:"members"`
	Total   int         `json:"total"` // how many members there are, listed or not
}

// OutcomeKind is what the catalogue says about one candidate in one role.
type OutcomeKind string

const (
	OutcomeNoStatement OutcomeKind = "no-statement"
	OutcomeFits        OutcomeKind = "fits"
	OutcomeDoesNotFit  OutcomeKind = "does-not-fit"
)

// Member is a candidate, under conditions where it has several outcomes.
type Member struct {
	Variant catalog.VariantCode `json:"variant"`
	When    []When              `json:"when"` // all must hold; empty for always
}

// When is a condition on the unit that is not known yet.
type When struct {
	Kind  StatementKind `json:"kind"` // mark, serial or built
	Mark  string        `json:"mark,omitempty"`
	Value string        `json:"value,omitempty"` // of a mark; empty stands for any other value than those named
	From  string        `json:"from,omitempty"`  // first serial number or build date; empty for open
	To    string        `json:"to,omitempty"`    // last one; empty for open
}

// Code of a reason: a closed list; see reasons.go for the meaning of each.
type Code string

// Reason is one step of a proof: a row of the catalogue that was used, or a
// rule that combined others. Only the fields that its code speaks of are set.
type Reason struct {
	Code      Code                `json:"code"`
	Table     string              `json:"table,omitempty"` // the row used: its table,
	Row       string              `json:"row,omitempty"`   // its name there
	Source    string              `json:"source,omitempty"`
	Assembly  string              `json:"assembly,omitempty"`
	Variant   catalog.VariantCode `json:"variant,omitempty"`
	Role      string              `json:"role,omitempty"`
	Position  string              `json:"position,omitempty"`
	Part      catalog.PartNo      `json:"part,omitempty"`
	Other     catalog.PartNo      `json:"other,omitempty"` // the part at the other end
	Spec      string              `json:"spec,omitempty"`
	OtherSpec string              `json:"otherSpec,omitempty"`
	Mark      string              `json:"mark,omitempty"`
	Column    string              `json:"column,omitempty"` // of a correction; the property of a fluid's data sheet
	Value     string              `json:"value,omitempty"`  // found, or asked for
	Shows     []string            `json:"shows,omitempty"`  // what the catalogue says instead
	Qty       int                 `json:"qty,omitempty"`
	Count     int                 `json:"count,omitempty"`
	Since     string              `json:"since,omitempty"`
	Note      string              `json:"note,omitempty"` // the row's own remark
}

// PartAnswer is the answer about one part in one unit.
type PartAnswer struct {
	Asked   string             `json:"asked"`          // as asked
	Part    catalog.PartNo     `json:"part,omitempty"` // the part that goes by this number
	Name    string             `json:"name,omitempty"`
	Status  catalog.PartStatus `json:"status,omitempty"` // whether it is still sold
	Verdict Verdict            `json:"verdict"`
	Roles   []PartRole         `json:"roles"` // the roles in which the catalogue speaks of it
	Reasons []Reason           `json:"reasons"`
	Near    []catalog.PartNo   `json:"near"`    // numbers one slip away, where nothing goes by the number asked
	Against []Reason           `json:"against"` // confirmed notes that it did not fit, open ones by which it goes by the number: they change no verdict and hold the part
	Notes   []Note             `json:"notes"`
}

// PartRole is the answer about a part in one role.
type PartRole struct {
	Role     string   `json:"role"`
	Assembly string   `json:"assembly"`
	Verdict  Verdict  `json:"verdict"`
	FitsIn   []Member `json:"fitsIn"`   // candidates that take it
	NotIn    []Member `json:"notIn"`    // candidates that a statement keeps it from, or that take something else
	Unstated []Member `json:"unstated"` // candidates without a statement
	Trail    []Reason `json:"trail"`    // the rows used
	Instead  []Line   `json:"instead"`  // what the role takes when it is settled on something else
	Take     []Choice `json:"take"`     // of a role that it fits: the choices that it is part of, with all that comes along
}

// LookAlikeBy is how a look-alike can be taken for the unit.
type LookAlikeBy string

const (
	ByPlate LookAlikeBy = "plate" // one misread away
	ByEye   LookAlikeBy = "eye"   // no visible mark that is recorded tells them apart
)

// LookAlike is a variant that a person could take for this one and that takes
// another part in an asked role.
type LookAlike struct {
	Assembly  string              `json:"assembly"`
	Candidate catalog.VariantCode `json:"candidate"`
	Variant   catalog.VariantCode `json:"variant"` // the look-alike
	By        LookAlikeBy         `json:"by"`
	Misread   *plate.Neighbour    `json:"misread,omitempty"` // of by plate
	Caught    *bool               `json:"caught,omitempty"`  // of by plate, where a variant and not a unit was asked about: a check character of the layout catches the misread
	Roles     []RoleDifference    `json:"roles"`
	TellApart []TellApart         `json:"tellApart"` // checks that tell them apart, the quickest first; empty: nothing recorded does
	RuledOut  *Reason             `json:"ruledOut"`  // why it cannot be this unit any more; null while it can
}

// RoleDifference is what a variant and its look-alike take in one role.
type RoleDifference struct {
	Role  string `json:"role"`
	This  Takes  `json:"this"`
	Other Takes  `json:"other"`
}

// TellApart is a mark that two variants show differently.
type TellApart struct {
	Mark     string          `json:"mark"`
	Name     string          `json:"name"`
	Assembly string          `json:"assembly"`
	How      string          `json:"how"`
	Effort   catalog.Decimal `json:"effort"` // minutes
	This     []string        `json:"this"`
	Other    []string        `json:"other"`
	Unit     string          `json:"unit,omitempty"`
}

// OrderLine is a line that is safe to order.
type OrderLine struct {
	Role       string       `json:"role"`
	Position   string       `json:"position,omitempty"`
	Need       catalog.Need `json:"need,omitempty"`
	Items      []Item       `json:"items"`
	Companions []Item       `json:"companions"`
}

// HeldLine is a role or line that must not be ordered yet.
type HeldLine struct {
	Role     string         `json:"role"`
	Position string         `json:"position,omitempty"`
	Need     catalog.Need   `json:"need,omitempty"`
	Part     catalog.PartNo `json:"part,omitempty"` // the part held, where one is known
	Why      []Reason       `json:"why"`
	Release  []Reason       `json:"release"` // what would release it
}

// PlanMethod is how a plan was found.
type PlanMethod string

const (
	PlanExact    PlanMethod = "exact"     // no plan has less expected effort
	PlanExactCut PlanMethod = "exact-cut" // the best found when the exact search used up its bound
	PlanGreedy   PlanMethod = "greedy"    // by the greedy rule for equivalence classes
)

// Plan says what to look at, and what after each answer, so that with the least
// expected effort every open role is settled that can be settled (N1).
type Plan struct {
	Parts []PlanPart `json:"parts"` // one after the other; several only where assemblies have nothing to do with each other
}

// PlanPart is a plan for the roles of assemblies that bear on one another.
type PlanPart struct {
	Assemblies   []string     `json:"assemblies"`
	Roles        []string     `json:"roles"`   // open ones that it is about
	LeftOut      []string     `json:"leftOut"` // open roles with too many possibilities to plan for
	Method       PlanMethod   `json:"method"`
	Never        []string     `json:"never,omitempty"`   // of the roles, those that no answers settle; with the whole plan only, as what follows
	Figures      *PlanFigures `json:"figures,omitempty"` // what the plan costs
	First        *NextCheck   `json:"first,omitempty"`   // the plan
	StepsLeftOut int          `json:"stepsLeftOut,omitempty"`
}

// PlanFigures is what a plan costs, in minutes, and how good it is.
type PlanFigures struct {
	Expected catalog.Decimal `json:"expected"`
	AtMost   bool            `json:"atMost,omitempty"` // the plan was too large to follow whole: Expected is no less than what it costs
	Lower    catalog.Decimal `json:"lower"`            // no plan has less expected effort
	Gap      catalog.Decimal `json:"gap"`              // it is at most this far from the best
	Factor   catalog.Decimal `json:"factor,omitzero"`  // and takes at most so many times the least
	Worst    catalog.Decimal `json:"worst"`
	Groups   int             `json:"groups"` // of possibilities that the checks tell apart
	Checks   int             `json:"checks"` // that tell some of them apart
}

// CheckKind is what a check looks at.
type CheckKind string

const (
	CheckMark      CheckKind = "mark"
	CheckSerial    CheckKind = "serial"
	CheckBuilt     CheckKind = "built"
	CheckCharacter CheckKind = "character" // an open character of a plate or label
	CheckReading   CheckKind = "reading"   // a plate or label as a whole, where a slip was thought possible
)

// NextCheck is the next thing to look at.
type NextCheck struct {
	ID       string          `json:"id"` // names the check in Question.CannotSee: the mark, serial, built, character:PLACE or reading, with @ASSEMBLY behind where it is not the first
	Kind     CheckKind       `json:"kind"`
	Assembly string          `json:"assembly"`
	Mark     string          `json:"mark,omitempty"`
	Name     string          `json:"name,omitempty"`
	Place    int             `json:"place,omitempty"`   // of a character: its place in the reading, 1 for the first
	Reading  string          `json:"reading,omitempty"` // of a character or reading: the canonical text that it stands in
	Effort   catalog.Decimal `json:"effort"`            // minutes
	How      string          `json:"how,omitempty"`
	Unit     string          `json:"unit,omitempty"`
	Caution  string          `json:"caution,omitempty"`
	Answers  []CheckAnswer   `json:"answers"`
}

// CheckAnswer is a possible result of a check and what it would mean.
type CheckAnswer struct {
	Value       string                `json:"value,omitempty"` // empty for any other value
	From        string                `json:"from,omitempty"`
	To          string                `json:"to,omitempty"`
	Unseen      bool                  `json:"unseen,omitempty"` // nothing could be made out
	Probability catalog.Decimal       `json:"probability"`      // by built quantities where all are known, else as if equally many of each were built
	Leaves      []catalog.VariantCode `json:"leaves"`
	LeavesTotal int                   `json:"leavesTotal"` // how many, listed or not
	Settles     []string              `json:"settles"`     // roles settled by it
	Unsettled   []string              `json:"unsettled"`
	Takes       []RoleTakes           `json:"takes"`           // what the settled roles would take
	Mixed       bool                  `json:"mixed,omitempty"` // the unit would not be as built
	Next        *NextCheck            `json:"next,omitempty"`  // what to look at then
	Cut         bool                  `json:"cut,omitempty"`   // there is more to look at than is listed here
}

// RoleTakes is what a role would take once it is settled.
type RoleTakes struct {
	Role  string           `json:"role"`
	Parts []catalog.PartNo `json:"parts"` // the preferred choice of each line, or of a fluid the fluid; empty: nothing fits
}

// Caution is a warning of harm that belongs to the answer.
type Caution struct {
	Caution string   `json:"caution"`
	Text    string   `json:"text"`
	Defer   string   `json:"defer"`
	For     []string `json:"for"` // what it rides on, such as "work actuator-replacement"
	Source  string   `json:"source"`
}

// Note is a note of the shop on something that the answer names.
type Note struct {
	On       catalog.NoteOn    `json:"on"`
	Of       string            `json:"of"`
	Note     string            `json:"note"`
	Kind     catalog.NoteKind  `json:"kind"`
	State    catalog.NoteState `json:"state"`
	Text     string            `json:"text"`
	Author   string            `json:"author"`
	Dated    string            `json:"dated,omitempty"`
	Evidence string            `json:"evidence,omitempty"`
	Family   string            `json:"family,omitempty"` // only in units of this family
	*ShopNote
}

// ShopNote is what only a note of the shop's own says.
type ShopNote struct {
	Variant    catalog.VariantCode       `json:"variant,omitempty"`    // only in units of this variant
	Part       catalog.PartNo            `json:"part,omitempty"`       // of a note on a number: what it stands for
	Correction *catalog.Correction       `json:"correction,omitempty"` // of a correction
	Applies    catalog.CorrectionApplies `json:"applies,omitempty"`    // of a correction: what became of it
	Now        string                    `json:"now,omitempty"`        // of a correction: what the catalogue itself says
	Unsettled  bool                      `json:"unsettled,omitempty"`  // it was edited in two ways, and nobody has settled which one holds
}
