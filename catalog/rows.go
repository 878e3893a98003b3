package catalog

// PartNo is the number under which a part, kit or set is ordered.
type PartNo string

// Key is the folded form by which the number is found.
func (p PartNo) Key() string { return Fold(string(p)) }

// VariantCode names one variant: what its plate says in the fields that tell
// variants apart.
type VariantCode string

// Key is the folded form by which the variant is found.
func (v VariantCode) Key() string { return Fold(string(v)) }

// Maker built units.
type Maker struct {
	Maker  string
	Name   string
	Source string
}

// Family is one design of unit.
type Family struct {
	Family string
	Maker  string
	Name   string
	About  string
	Source string
}

// Assembly is a part of a unit with an identity of its own, which can have been
// swapped for another.
type Assembly struct {
	Assembly string
	Name     string
	Follows  string // the assembly whose identity is assumed for this one while nothing is read or seen on it
	Source   string
}

// Layout is how a maker's plate or label is composed; its [Field] rows follow
// one another on the plate.
type Layout struct {
	Layout   string
	Maker    string
	Assembly string // the assembly that carries this plate or label
	Name     string
	Example  string // one plate of this layout, with a valid check character if it has one
	Source   string
}

// FieldKind is what the characters of a plate field can be.
type FieldKind string

const (
	FieldLiteral  FieldKind = "literal"  // exactly the text in Chars
	FieldDigits   FieldKind = "digits"   // 0 to 9
	FieldLetters  FieldKind = "letters"  // A to Z
	FieldAlphanum FieldKind = "alphanum" // A to Z, 0 to 9
	FieldSet      FieldKind = "set"      // the characters in Chars
)

// Meaning is what a plate field tells.
type Meaning string

const (
	MeansVariant Meaning = "variant" // part of the variant's code
	MeansSerial  Meaning = "serial"  // the serial number
	MeansBuilt   Meaning = "built"   // the build date, in Form
	MeansCheck   Meaning = "check"   // the check character(s)
	MeansNothing Meaning = "nothing" // nothing that decides, such as a plant letter
)

// Scheme is a way to compute check characters.
type Scheme string

const (
	SchemeMod11_2   Scheme = "mod-11-2"         // ISO/IEC 7064 MOD 11-2
	SchemeMod37_2   Scheme = "mod-37-2"         // ISO/IEC 7064 MOD 37-2
	SchemeMod97_10  Scheme = "mod-97-10"        // ISO/IEC 7064 MOD 97-10, two characters
	SchemeMod37_36  Scheme = "mod-37-36"        // ISO/IEC 7064 MOD 37,36
	SchemeMod11     Scheme = "mod-11-remainder" // weighted sum modulo 11, the remainder is the check, X for 10
	SchemeMod11Comp Scheme = "mod-11-rest"      // weighted sum modulo 11, what is missing to a multiple of 11, X for 10
	SchemeGS1       Scheme = "gs1-mod-10"       // GS1 General Specifications, modulo 10 with weights 3 and 1
	SchemeLuhn      Scheme = "luhn"             // ISO/IEC 7812-1 annex B
)

// Field is one field of a plate layout.
type Field struct {
	Layout   string
	Place    int // 1 for the first from the left
	Field    string
	Kind     FieldKind
	Chars    string // the literal text, or the set of characters
	Min, Max int    // how many characters
	Optional bool   // the field can be missing as a whole
	Means    Meaning
	Form     string // of a built field: letters Y M D W with their count, such as YYWW or YYYYMM
	Scheme   Scheme // of a check field
	Over     Words  // of a check field: the fields it covers, in the order in which they count; empty for all others
	Weights  Words  // of a check field with a weighted scheme: one whole number for each character covered
	Values   Words  // of a check field with a weighted scheme: CHARACTERS=NUMBER for what is no digit, such as AJ=1
}

// Variant is the thing that parts are decided by: one member of a family.
type Variant struct {
	Variant    VariantCode
	Family     string
	Layout     string // the plate layout in whose variant fields the code stands
	Name       string
	Count      int // how many were built, 0 for not known
	SerialFrom Serial
	SerialTo   Serial
	BuiltFrom  Date
	BuiltTo    Date
	Source     string
}

// Plate is a further text that a plate or label can bear for a variant: the
// label of a valve body used in several variants, a plate of an older style.
type Plate struct {
	Layout  string
	Plate   string // the text of the fields that mean the variant
	Variant VariantCode
	Source  string
}

// MarkKind is how a mark's value is found.
type MarkKind string

const (
	MarkSeen     MarkKind = "seen"     // a shape, a colour, a stamped letter
	MarkCounted  MarkKind = "counted"  // teeth, holes, wires
	MarkMeasured MarkKind = "measured" // a length, a resistance, in Unit
)

// Force is what a mark can do to candidates.
type Force string

const (
	Deciding Force = "deciding" // excludes the variants that do not show the value
	Hinting  Force = "hinting"  // ranks, never excludes: dyes fade, vehicles get other gearboxes
)

// Wear is how use changes what is measured.
type Wear string

// Shorter: it gets shorter in use and never longer, as a seal does.
const Shorter Wear = "shorter"

// Mark is something that can be seen, counted or measured on an assembly.
type Mark struct {
	Mark      string
	Assembly  string
	Name      string
	Kind      MarkKind
	Force     Force
	Unit      string  // of a measured mark
	Tolerance Decimal // of a measured mark: what the measuring itself can be off, in Unit
	Wears     Wear    // of a measured mark: how use changes what is measured; empty for not at all
	Site      string  // of a measured mark: the actuator site whose coil it measures
	Effort    Decimal // minutes that the check takes
	How       string  // how to look
	Caution   string
	Source    string
}

// ShowScope is what a [Show], [Fill], [Torque] or [Site] row speaks of.
type ShowScope string

const (
	OfFamily  ShowScope = "family"
	OfVariant ShowScope = "variant"
)

// Show says which value of a mark a variant shows. Several rows with one mark
// are alternatives. The rows of a variant for a mark replace those of its
// family for the same mark.
type Show struct {
	Scope     ShowScope
	Of        string
	Mark      string
	Value     string  // of a measured mark: the nominal, a decimal number
	Tolerance Decimal // of a measured mark: how far a good one can be off the nominal
	Note      string
	Source    string
}

// RoleKind tells parts that are counted from fluids that are filled in.
type RoleKind string

const (
	RolePart  RoleKind = "part"
	RoleFluid RoleKind = "fluid"
)

// Role is what a part is for in a unit.
type Role struct {
	Role     string
	Name     string
	Assembly string // the assembly whose identity decides the role
	Kind     RoleKind
	OneTime  bool // the parts are used once and never again
	About    string
}

// PartKind is what a number buys.
type PartKind string

const (
	PartSingle PartKind = "single"
	PartKit    PartKind = "kit" // contents for one job, such as a seal kit
	PartSet    PartKind = "set" // equal things that are replaced together
	PartFluid  PartKind = "fluid"
)

// Origin is who stands behind a part.
type Origin string

const (
	OriginMaker       Origin = "unit-maker"
	OriginAftermarket Origin = "aftermarket"
)

// PartStatus tells whether a number can be bought.
type PartStatus string

const (
	PartSold  PartStatus = "sold"
	PartEnded PartStatus = "ended"
)

// Part is anything with a number that can be ordered.
type Part struct {
	Part   PartNo
	Name   string
	Kind   PartKind
	Origin Origin
	Status PartStatus
	Look   string // what it looks like out of the box
	Note   string
	Source string
}

// Number is another number for a part: an aftermarket or supplier's number, or
// a spelling in use. A number may stand for one part only.
type Number struct {
	Number string
	Part   PartNo
	User   string // who uses it
	Source string
	By     *Note // the shop's note that says so; nil for a row of the catalogue, and no column of it
}

// Content says what is in a kit or set.
type Content struct {
	Kit    PartNo
	Part   PartNo
	Qty    int
	Place  string // where it goes
	Source string
}

// FitScope is what a [Fit] statement speaks of.
type FitScope string

const (
	FitFamily  FitScope = "family"
	FitVariant FitScope = "variant"
	FitMark    FitScope = "mark" // everything that shows a mark with a value
)

// Effect is what a [Fit] statement says.
type Effect string

const (
	Fits       Effect = "fits"
	DoesNotFit Effect = "does-not-fit"
)

// Fit is a fit statement: a part does, or does not, fit in a role, for which
// units and under which conditions.
type Fit struct {
	Scope      FitScope
	Of         string // the family, the variant, or MARK=VALUE
	Statement  string // tells the statements of one scope apart
	Role       string
	Effect     Effect
	Part       PartNo // empty with does-not-fit: the unit takes nothing in this role
	Position   string // parts with different positions in a role are all needed; with the same they are alternatives
	Qty        int    // how many, of a fits statement
	Rank       int    // the order among alternatives, the lowest first
	SerialFrom Serial
	SerialTo   Serial
	BuiltFrom  Date
	BuiltTo    Date
	When       Conditions // what the unit must show
	Note       string
	Source     string
}

// SupersessionKind is how a number replaces another.
type SupersessionKind string

const (
	OneWay SupersessionKind = "one-way" // the new number serves for the old, not the reverse
	TwoWay SupersessionKind = "two-way" // interchangeable
	Split  SupersessionKind = "split"   // the old number is replaced by all its split rows together
)

// Supersession says that one number is replaced by another.
type Supersession struct {
	Old    PartNo
	New    PartNo
	Kind   SupersessionKind
	Qty    int // new pieces for one old piece
	Since  Date
	Note   string
	Source string
}

// Per tells how a companion is counted.
type Per string

const (
	PerPart Per = "part" // for each piece
	PerJob  Per = "job"  // once
)

// Companion is a part that must come along with another.
type Companion struct {
	Part      PartNo
	Companion PartNo
	Replacing PartNo // only where Part is bought in the place of this number; empty for always
	Qty       int
	Per       Per
	Why       string
	Source    string
}

// Spec is a fluid specification.
type Spec struct {
	Spec   string
	Name   string
	About  string
	Source string
}

// Serve says that a fluid of one specification serves where another is asked
// for. It is directed and does not chain: what serves for what serves is a
// statement of its own or is not so.
type Serve struct {
	Spec     string // asked for
	ServedBy string // serves for it
	Note     string
	Source   string
}

// Claim is who says that a fluid meets a specification.
type Claim string

const (
	Approved Claim = "approved" // by the owner of the specification
	Claimed  Claim = "claimed"  // by the fluid's maker alone
)

// Meet says that a fluid meets a specification.
type Meet struct {
	Spec   string
	Fluid  PartNo
	Claim  Claim
	Source string
}

// Fill says which fluid a unit takes and how much. A variant's row replaces its
// family's for the same role.
type Fill struct {
	Scope    ShowScope
	Of       string
	Role     string
	Spec     string
	Refill   Decimal // litres after draining
	Dry      Decimal // litres into an empty unit
	TempFrom Decimal // °C of the fluid when the level is set
	TempTo   Decimal // °C
	How      string
	Engine   EngineState // what the engine does while the level is set
	Plugs    string      // which plugs are opened and closed, in order
	Area     Decimal     // cm², of the fluid's surface where the level is set
	Caution  string
	Source   string
}

// EngineState is what the engine does while a fluid level is set.
type EngineState string

const (
	EngineRunning EngineState = "running"
	EngineOff     EngineState = "off"
)

// FillKind is which volume a scope of work takes.
type FillKind string

const (
	FillNone   FillKind = "none"
	FillRefill FillKind = "refill"
	FillDry    FillKind = "dry"
)

// WorkScope is a scope of work: what is being done.
type WorkScope struct {
	Work   string
	Name   string
	Fill   FillKind
	About  string
	Source string
}

// Need is how much a scope of work needs a role.
type Need string

const (
	NeedRequired    Need = "required"
	NeedRecommended Need = "recommended"
)

// WorkRole is a role that a scope of work takes.
type WorkRole struct {
	Work   string
	Role   string
	Need   Need
	Why    string
	Source string
}

// Supplier sells parts.
type Supplier struct {
	Supplier    string
	Name        string
	Currency    string  // ISO 4217
	Freight     Decimal // for one order, in Currency
	FreeFreight Decimal // order value from which there is no freight
	Minimum     Decimal // least order value
	Days        int     // working days to the door
	Cutoff      string  // time of day until which an order leaves the same day, hh:mm
	Source      string
}

// Offer is a part at a supplier's.
type Offer struct {
	Supplier string
	Stock    string // the supplier's stock number
	Part     PartNo
	Price    Decimal // for one pack, in the supplier's currency
	Pack     int     // pieces in a pack
	Litres   Decimal // of a fluid: litres in a pack
	OnHand   int     // packs in stock
	Days     int     // working days until it leaves, beyond the supplier's own
	Source   string
}

// ShelfItem is what the shop itself has.
type ShelfItem struct {
	Part  PartNo
	Place string
	Qty   int
}

// Torque is a fastener's tightening figure.
type Torque struct {
	Scope     ShowScope
	Of        string
	Fastener  string
	Role      string  // the role in whose work the fastener is handled
	Torque    Decimal // N·m
	Tolerance Decimal // N·m
	Stages    string  // when it is tightened in stages
	Order     string  // the order of tightening
	Note      string
	Source    string
}

// Site is a place in a unit that takes an actuator, with its coil.
type Site struct {
	Scope     ShowScope
	Of        string
	Site      string
	Role      string
	Ohm       Decimal // nominal resistance in Ω at Temp
	Tolerance Decimal // Ω
	Temp      Decimal // °C
	Serves    string  // the apply elements it serves
	Gears     Words   // the gears that would show a fault of it
	Source    string
}

// Seal is a seal, sleeve or feed tube that is judged by its length.
type Seal struct {
	Scope     ShowScope
	Of        string
	Seal      string
	Role      string
	Place     string  // where it goes
	Length    Decimal // mm, free, of a new one
	Tolerance Decimal // mm, of a new one
	Least     Decimal // mm: below this length it is replaced
	Fitted    Decimal // mm, its height when fitted, where known
	Qty       int     // how many the unit takes at this place
	Source    string
}

// Ring is a place in a unit that takes an O-ring.
type Ring struct {
	Scope    ShowScope
	Of       string
	Ring     string
	Role     string
	Place    string  // where it goes
	Inside   Decimal // mm, inside diameter
	Section  Decimal // mm, cross section
	Size     string  // its designation in a published table of sizes, where it has one
	Material string
	Qty      int
	Source   string
}

// Fault is what a trouble code points at in a family. The form of the codes is
// that of SAE J2012 and ISO 15031-6.
type Fault struct {
	Family string
	Code   string
	Site   string
	Text   string // what the family's control module means by it
	Source string
}

// Medium is what a test port is tried with.
type Medium string

const (
	MediumVacuum Medium = "vacuum"
	MediumAir    Medium = "air"
)

// Port is a place at which an assembly is tried with vacuum or air.
type Port struct {
	Scope    ShowScope
	Of       string
	Port     string
	Role     string // the role whose parts the test judges
	Serves   string // the apply element behind it
	Medium   Medium
	Pressure Decimal // kPa above ambient for air, below ambient for vacuum
	Volume   Decimal // cm³ behind the port, with the tester's own hose
	Leak     Decimal // cm³/min of gas at ambient pressure: the most that a good one loses
	Expect   string  // what is heard or seen
	Releases bool    // the port only releases: nothing is to be heard to apply
	Source   string
}

// Property is a figure of a fluid's data sheet.
type Property string

const (
	Viscosity40    Property = "viscosity-40"    // mm²/s at 40 °C
	Viscosity100   Property = "viscosity-100"   // mm²/s at 100 °C
	ViscosityIndex Property = "viscosity-index" // ASTM D2270, no unit
	Density15      Property = "density-15"      // kg/m³ at 15 °C
	FlashPoint     Property = "flash-point"     // °C
	PourPoint      Property = "pour-point"      // °C
)

// Sheet is one figure of a fluid's data sheet, in the unit of its [Property].
type Sheet struct {
	Fluid    PartNo
	Property Property
	Value    Decimal
	Source   string
}

// Limit is what a fluid specification asks of a figure, in the unit of its
// [Property].
type Limit struct {
	Spec     string
	Property Property
	Least    Decimal
	Most     Decimal
	Source   string
}

// Excludes tells whether a figure lies outside the limit. One that is not known does
// not, and both ends are allowed.
func (l *Limit) Excludes(figure Decimal) bool {
	return figure.Known && (l.Least.Known && figure.Num.LessThan(l.Least.Num) || l.Most.Known && figure.Num.GreaterThan(l.Most.Num))
}

// When says at which point of the work a [Step] stands.
type When string

const (
	WhenBefore When = "before"
	WhenDuring When = "during"
	WhenAfter  When = "after"
)

// Step is something that a scope of work asks for beside the parts: codes to
// read, an adaptation run, a level to check again.
type Step struct {
	Work   string
	When   When
	Place  int    // the order among the steps of one point
	Family string // only in units of this family; empty for all
	Text   string
	Source string
}

// Consumable is what a scope of work uses up beside the parts of its roles.
type Consumable struct {
	Work   string
	Part   PartNo
	Qty    int     // pieces
	Litres Decimal // of a liquid, in the place of pieces
	Why    string
	Source string
}

// Break is a price that an [Offer] has from a number of packs on.
type Break struct {
	Supplier string
	Stock    string
	From     int     // packs
	Price    Decimal // for one pack, in the supplier's currency
	Source   string
}

// Synonym is a word of the trade that stands for another in a search.
type Synonym struct {
	Word   string
	Means  string
	Source string
}

// Caution is a warning of harm, with the deference to who knows better.
type Caution struct {
	Caution string
	Text    string
	Defer   string // whose instructions go before this one
	Source  string
}

// CautionOn is what a caution rides on.
type CautionOn string

const (
	OnWork   CautionOn = "work"
	OnRole   CautionOn = "role"
	OnFamily CautionOn = "family"
	OnMark   CautionOn = "mark"
	OnPart   CautionOn = "part"
)

// CautionLink ties a caution to the data it belongs to.
type CautionLink struct {
	On      CautionOn
	Of      string
	Caution string
}

// Source is where a statement comes from.
type Source struct {
	Source  string
	Title   string
	Kind    SourceKind
	Edition string
	Dated   Date
	About   string
}

// SourceKind is what sort of source it is.
type SourceKind string

const (
	SourceMaker    SourceKind = "unit-maker"      // a unit maker's publication
	SourceSupplier SourceKind = "supplier"        // a supplier's list
	SourceBench    SourceKind = "bench"           // measured or seen in a shop
	SourcePractice SourceKind = "common-practice" // the trade's habit, no published source
	SourceStandard SourceKind = "standard"        // a published standard
	SourceInvented SourceKind = "invented"        // made up for a demonstration or a test
)

// NoteKind is what a note says.
type NoteKind string

const (
	NoteCaution    NoteKind = "caution"
	NoteFitted     NoteKind = "fitted-well"
	NoteDidNotFit  NoteKind = "did-not-fit"
	NoteRemarkKind NoteKind = "remark"
)

// NoteState is how far a note is trusted.
type NoteState string

const (
	NoteOpen      NoteState = "open"
	NoteConfirmed NoteState = "confirmed" // by another person than its author
	NoteWithdrawn NoteState = "withdrawn"
)

// NoteOn is what a note is about.
type NoteOn string

const (
	NoteOnPart    NoteOn = "part"
	NoteOnVariant NoteOn = "variant"
	NoteOnFamily  NoteOn = "family"
	NoteOnMark    NoteOn = "mark"
	NoteOnWork    NoteOn = "work"
)

// Note is the shop's own knowledge. It never changes a verdict; a confirmed
// "did not fit" holds the line.
type Note struct {
	On        NoteOn
	Of        string
	Note      string // tells the notes on one thing apart
	Kind      NoteKind
	Family    string // only in units of this family; empty for all
	Text      string
	State     NoteState
	Author    string
	Dated     Date
	Confirmed string // who confirmed it
	Evidence  string
	Shop      *ShopNote // what only a note of the shop's own says; nil for a row of the catalogue, and no column of it
}
