package order

import (
	"github.com/shopspring/decimal"

	"platewright/catalog"
	"platewright/resolve"
	"platewright/resolve/purchase"
)

// Schema names the form of the JSON of [Proposal].
const Schema = "platewright/order-plan/1"

// Proposal is a plan of what to order for one unit, in the words of the shop.
type Proposal struct {
	Schema      string             `json:"schema"`
	Edition     resolve.Edition    `json:"edition"` // on which it was decided
	Unit        Unit               `json:"unit"`
	Work        []Work             `json:"work"`
	RoleNames   map[string]string  `json:"roleNames"`         // of the roles in the answer
	Stopped     Stop               `json:"stopped,omitempty"` // why nothing at all is planned
	Warnings    Warnings           `json:"warnings"`
	Aim         purchase.Aim       `json:"aim"`
	By          string             `json:"by,omitempty"`     // ISO 8601: nothing arrives later
	Moment      string             `json:"moment,omitempty"` // by which the days are reckoned, on the shop's clock
	Currency    string             `json:"currency"`         // of the totals, ISO 4217
	Found       bool               `json:"found"`            // false: the limit was reached before any plan was found
	Complete    bool               `json:"complete"`         // every line is covered
	Orders      []Order            `json:"orders"`           // one for each supplier
	Shelf       []Pick             `json:"shelf"`            // what is taken from the shop's own shelf
	Reserved    []Reserved         `json:"reserved"`         // what would serve from the shelf and is taken by other units
	Lines       []Line             `json:"lines"`            // the lines met, each with what it takes and whence
	Spares      []Spare            `json:"spares"`           // bought and not used
	Uncovered   []Uncovered        `json:"uncovered"`
	Held        []resolve.HeldLine `json:"held"`                  // not ordered, with what would release them
	EvenHeld    []EvenHeld         `json:"evenHeld"`              // ordered although they are held
	LeftOut     []LeftOut          `json:"leftOut"`               // not ordered though it could be, or left out by name
	Refused     []Refused          `json:"refused"`               // offers that are not sound
	Doubles     []Double           `json:"doubles"`               // parts that a kit of another line holds too
	Recommended *Other             `json:"recommended,omitempty"` // the plan with what is recommended beside
	Goods       decimal.Decimal    `json:"goods"`
	Freight     decimal.Decimal    `json:"freight"`
	Total       decimal.Decimal    `json:"total"`
	Deliveries  int                `json:"deliveries"`
	Arrives     string             `json:"arrives,omitempty"` // ISO 8601: the last delivery; left out where a day is not known
	Proof       Proof              `json:"proof"`
	Explained   *Explained         `json:"explained,omitempty"`
	Cautions    []resolve.Caution  `json:"cautions"`
	Notes       []resolve.Note     `json:"notes"` // the shop's notes on the parts taken
}

// Unit is the identification that is quoted on an order.
type Unit struct {
	Plate      string     `json:"plate"` // as read
	Labels     []string   `json:"labels"`
	Serial     string     `json:"serial,omitempty"`
	Built      string     `json:"built,omitempty"`
	Assemblies []Assembly `json:"assemblies"`
	Mixed      bool       `json:"mixed,omitempty"` // its assemblies name different variants
}

// Assembly is what one assembly of the unit can be.
type Assembly struct {
	Assembly string                `json:"assembly"`
	Name     string                `json:"name"`
	Basis    resolve.Basis         `json:"basis"`
	Variants []catalog.VariantCode `json:"variants"`
	Total    int                   `json:"total"`           // how many variants there are, listed or not
	About    string                `json:"about,omitempty"` // the name of the only one
	Family   string                `json:"family,omitempty"`
}

// Work is a scope of work.
type Work struct {
	Work  string `json:"work"`
	Name  string `json:"name"`
	About string `json:"about,omitempty"`
}

// Amount is pieces or litres of a part.
type Amount struct {
	Part   catalog.PartNo  `json:"part"`
	Name   string          `json:"name"`
	Qty    int             `json:"qty,omitempty"`   // pieces
	Litres catalog.Decimal `json:"litres,omitzero"` // of a fluid
}

// Line is one thing that the work takes.
type Line struct {
	Role       string         `json:"role,omitempty"`
	Consumable catalog.PartNo `json:"consumable,omitempty"` // in the place of a role: what the work uses up
	Name       string         `json:"name"`
	Position   string         `json:"position,omitempty"`
	Need       catalog.Need   `json:"need,omitempty"`
	Why        string         `json:"why,omitempty"`
	OneTime    bool           `json:"oneTime,omitempty"` // used once, always new
	EvenHeld   *EvenHeld      `json:"evenHeld,omitempty"`
	Instead    *Instead       `json:"instead,omitempty"` // where the first choice of the decision is not what is taken
	Takes      []Taken        `json:"takes"`
}

// Instead is the first choice of a line in the place of which another is taken.
type Instead struct {
	Parts    []catalog.PartNo `json:"parts"`
	Costed   bool             `json:"costed"`   // the plan with it was made
	Possible bool             `json:"possible"` // it can be had
	Less     decimal.Decimal  `json:"less"`     // what the plan as a whole costs less without it, in its currency
	Proven   bool             `json:"proven"`
}

// Taken is a part that a line takes, and whence it comes.
type Taken struct {
	Amount
	Look      string         `json:"look,omitempty"`
	Origin    catalog.Origin `json:"origin,omitempty"`
	Companion bool           `json:"companion,omitempty"` // it must come along
	From      []From         `json:"from"`
}

// From is where pieces come from.
type From struct {
	Amount                  // in pieces of what is used: of a kit that is taken apart, its contents
	Supplier string         `json:"supplier,omitempty"` // empty for the shelf
	Stock    string         `json:"stock,omitempty"`
	Place    string         `json:"place,omitempty"` // on the shelf
	Kit      catalog.PartNo `json:"kit,omitempty"`   // out of this kit
}

// Order is what one supplier gets, in its currency.
type Order struct {
	Supplier string          `json:"supplier"`
	Name     string          `json:"name"`
	Currency string          `json:"currency"`
	Lines    []OrderLine     `json:"lines"`
	Goods    decimal.Decimal `json:"goods"`
	Freight  decimal.Decimal `json:"freight"`
	Free     bool            `json:"free"` // the goods reach the limit from which freight is free
	Total    decimal.Decimal `json:"total"`
	Cost     decimal.Decimal `json:"cost"` // the total in the plan's currency
	Sends    string          `json:"sends,omitempty"`
	Arrives  string          `json:"arrives,omitempty"`
}

// OrderLine is one offer on an order.
type OrderLine struct {
	Stock   string           `json:"stock"` // the supplier's number
	Part    catalog.PartNo   `json:"part"`  // ours
	Name    string           `json:"name"`
	Kind    catalog.PartKind `json:"kind"`
	Origin  catalog.Origin   `json:"origin"`
	Look    string           `json:"look,omitempty"` // what it looks like out of the box
	Packs   int              `json:"packs"`
	Pack    int              `json:"pack,omitempty"`      // pieces in a pack
	PackOf  catalog.Decimal  `json:"packLitres,omitzero"` // of a fluid: litres in a pack
	Qty     int              `json:"qty,omitempty"`       // pieces in all
	Litres  catalog.Decimal  `json:"litres,omitzero"`     // of a fluid, in all
	Price   decimal.Decimal  `json:"price"`               // of a pack
	Total   decimal.Decimal  `json:"total"`
	Arrives string           `json:"arrives,omitempty"`
	For     []For            `json:"for"` // the lines that it serves
}

// For names a line that something serves.
type For struct {
	Role       string         `json:"role,omitempty"`
	Consumable catalog.PartNo `json:"consumable,omitempty"`
	Name       string         `json:"name"`
	Position   string         `json:"position,omitempty"`
	EvenHeld   bool           `json:"evenHeld,omitempty"` // ordered although it is held
}

// Pick is what is taken from the shelf.
type Pick struct {
	Amount
	Place string         `json:"place"`
	Kit   catalog.PartNo `json:"kit,omitempty"` // out of this kit
	For   []For          `json:"for"`
}

// Spare is what is bought and not used.
type Spare struct {
	Amount
	Supplier string `json:"supplier"`
	Stock    string `json:"stock"`
	FillsUp  bool   `json:"fillsUp,omitempty"` // nothing of the offer is needed: it only fills the order up
}

// Uncovered is lines that the plan leaves out, with why.
type Uncovered struct {
	Lines  []For                 `json:"lines"` // more than one where they are met together
	Why    purchase.WhyUncovered `json:"why"`
	Wanted *Amount               `json:"wanted,omitempty"` // what is short, of the way that comes closest
	Most   *Amount               `json:"most,omitempty"`   // what could be had of it
	Sooner string                `json:"sooner,omitempty"` // too late: the first day on which it could be covered
}

// LeftOutReason says why a line is left out.
type LeftOutReason string

const (
	OnlyRecommended LeftOutReason = "recommended"      // the work recommends it, and only what it requires is ordered
	Skipped         LeftOutReason = "skipped"          // it was named to be left out
	QuantityUnknown LeftOutReason = "quantity-unknown" // how much of it is not known without a scope of work that fills
	NothingToBuy    LeftOutReason = "nothing-to-buy"
)

// LeftOut is a line that is not ordered though nothing stands against it, or that
// was named to be left out.
type LeftOut struct {
	Line
	Reason LeftOutReason `json:"reason"`
}

// Refused is an offer that is left out as it is not sound.
type Refused struct {
	Supplier string         `json:"supplier"`
	Stock    string         `json:"stock"`
	Part     catalog.PartNo `json:"part"`
	Why      WhyRefused     `json:"why"`
}

// WhyRefused is the reason why an offer is left out.
type WhyRefused string

const (
	PriceNotPositive WhyRefused = "price-not-positive" // a price of zero is a gap in a list, not a gift
	PackNotPositive  WhyRefused = "pack-not-positive"
	UnknownSupplier  WhyRefused = "unknown-supplier"
	OutOfStock       WhyRefused = "out-of-stock"
	NoDay            WhyRefused = "no-day"          // there is a day to keep, and when the supplier delivers is not known
	BreakNotSound    WhyRefused = "break-not-sound" // a break without packs or price, or two for one number of packs
	VolumeUnknown    WhyRefused = "volume-unknown"  // of a fluid, without the litres in a pack
	Ended            WhyRefused = "ended"           // the catalogue says that the part is not sold any more
)

// Double is a part that a line takes and that a kit of another line holds too:
// only a person can tell whether both are meant for one place.
type Double struct {
	Amount
	For For            `json:"for"` // the line that takes it
	Kit catalog.PartNo `json:"kit"`
	Of  For            `json:"of"` // the line that takes the kit
}

// Proof says how good a plan is known to be.
type Proof struct {
	Proven     bool            `json:"proven"`            // no plan is better in the aim, nor as good with a lower total
	Limit      purchase.Limit  `json:"limit,omitempty"`   // what stopped the search, if it is not proven
	Bound      decimal.Decimal `json:"bound"`             // no plan that is as good in the aim has a lower total
	Gap        decimal.Decimal `json:"gap"`               // the total less the bound
	Soonest    string          `json:"soonest,omitempty"` // aim earliest: no plan is complete sooner
	Deliveries int             `json:"deliveries"`        // aim fewest deliveries: no plan has fewer
	Nodes      int             `json:"nodes"`             // subproblems looked at
}

// Other is another plan beside the one made.
type Other struct {
	Possible   bool            `json:"possible"`
	More       decimal.Decimal `json:"more"` // what it costs more; negative if less
	Total      decimal.Decimal `json:"total"`
	Deliveries int             `json:"deliveries"`
	Arrives    string          `json:"arrives,omitempty"`
	Proven     bool            `json:"proven"`
}

// Explained is what other plans would cost.
type Explained struct {
	Sooner  *Other    `json:"sooner,omitempty"` // the cheapest plan that is complete on an earlier day
	Fewest  *Other    `json:"fewest,omitempty"` // the cheapest with the fewest deliveries, where there are fewer
	Cheaper []Cheaper `json:"cheaper"`          // offers with a lower price that are not taken
}

// Pack is what a pack holds: pieces, or litres of a fluid.
type Pack struct {
	Qty    int             `json:"qty,omitempty"`
	Litres catalog.Decimal `json:"litres,omitzero"`
}

// Cheaper is an offer that costs less a piece than one that is taken.
type Cheaper struct {
	Supplier string                 `json:"supplier"`
	Stock    string                 `json:"stock"`
	Part     catalog.PartNo         `json:"part"`
	Than     string                 `json:"than"`      // the supplier of the line that is taken
	ThanNo   string                 `json:"thanStock"` // its stock number
	Holds    Pack                   `json:"pack"`      // what a pack of the offer holds
	ThanPack Pack                   `json:"thanPack"`  // what a pack of that line holds
	Saves    decimal.Decimal        `json:"saves"`     // on the goods of the line alone, in the plan's currency
	Why      purchase.WhyNotCheaper `json:"why"`
	More     *decimal.Decimal       `json:"more,omitempty"` // what the plan as a whole costs more with it; left out where it cannot be taken
}
