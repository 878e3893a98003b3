package purchase

import (
	"github.com/shopspring/decimal"

	"platewright/catalog"
)

// Schema names the form of the plan's JSON.
const Schema = "platewright/purchase/1"

// Plan is the whole answer to a [Problem]. Equal problems give equal plans, unless
// a deadline stopped the search.
type Plan struct {
	Schema     string          `json:"schema"`
	Currency   string          `json:"currency"`
	Aim        Aim             `json:"aim"`
	By         catalog.Date    `json:"by,omitempty"`
	Found      bool            `json:"found"`    // false: a limit was reached before any plan was found
	Complete   bool            `json:"complete"` // every need is covered
	Orders     []Order         `json:"orders"`   // one for each supplier, by key
	Covered    []Covered       `json:"covered"`  // the needs covered, in the order given
	Spares     []Spare         `json:"spares"`   // bought and not used, by item and offer
	Uncovered  []Uncovered     `json:"uncovered"`
	Refused    []Refused       `json:"refused"` // offers left out as they are not sound, in the order given
	Goods      decimal.Decimal `json:"goods"`
	Freight    decimal.Decimal `json:"freight"`
	Total      decimal.Decimal `json:"total"`
	Deliveries int             `json:"deliveries"`
	Arrives    catalog.Date    `json:"arrives,omitempty"` // the day of the last delivery; zero if nothing is bought or a day is not known
	Proof      Proof           `json:"proof"`
}

// Order is what one supplier gets. Amounts are in the supplier's currency, as
// they will stand on its invoice; Cost is the order's total in the plan's.
type Order struct {
	Supplier string          `json:"supplier"`
	Currency string          `json:"currency"`
	Lines    []Line          `json:"lines"` // by stock number
	Goods    decimal.Decimal `json:"goods"`
	Freight  decimal.Decimal `json:"freight"`
	Free     bool            `json:"free"` // the goods reach the limit from which freight is free
	Total    decimal.Decimal `json:"total"`
	Cost     decimal.Decimal `json:"cost"`
	Arrives  catalog.Date    `json:"arrives,omitempty"`
}

// Line is one offer on an order.
type Line struct {
	Stock   string          `json:"stock"`
	Good    string          `json:"good"`
	Packs   int             `json:"packs"`
	Pieces  int             `json:"pieces"`
	Price   decimal.Decimal `json:"price"` // of a pack, after the break reached
	Total   decimal.Decimal `json:"total"`
	Arrives catalog.Date    `json:"arrives,omitempty"`
}

// Covered says how a need is covered.
type Covered struct {
	Need string `json:"need"`
	Way  int    `json:"way"` // index into the need's ways
	Uses []Use  `json:"uses"`
}

// Use is pieces of one origin that serve a need.
type Use struct {
	Wanted   string `json:"wanted"`             // the item that the way names
	Item     string `json:"item"`               // the item used, the same or one that serves
	Qty      int    `json:"qty"`                // pieces
	Supplier string `json:"supplier,omitempty"` // "" for the shelf
	Stock    string `json:"stock,omitempty"`
}

// Spare is pieces that are bought and not used.
type Spare struct {
	Item     string `json:"item"`
	Qty      int    `json:"qty"`
	Supplier string `json:"supplier"`
	Stock    string `json:"stock"`
}

// Proof says how good a plan is known to be.
type Proof struct {
	Proven     bool            `json:"proven"`            // no plan is better in the aim, nor as good with a lower total
	Limit      Limit           `json:"limit,omitempty"`   // what stopped the search, if it is not proven
	Bound      decimal.Decimal `json:"bound"`             // no plan that is as good in the aim has a lower total
	Gap        decimal.Decimal `json:"gap"`               // Total less Bound
	Soonest    catalog.Date    `json:"soonest,omitempty"` // aim earliest: no plan is complete sooner
	Deliveries int             `json:"deliveries"`        // aim fewest deliveries: no plan has fewer
	Nodes      int             `json:"nodes"`             // subproblems looked at
}

// Limit is what stopped a search.
type Limit string

const (
	NodesReached Limit = "nodes"     // the number of subproblems allowed
	Stopped      Limit = "cancelled" // the context was cancelled or its deadline passed
)

// Uncovered is a need that the plan leaves out, with why.
type Uncovered struct {
	Need   string       `json:"need"`
	Why    WhyUncovered `json:"why"`
	Item   string       `json:"item,omitempty"`   // the item that is short, of the way that comes closest
	Wanted int          `json:"wanted,omitempty"` // pieces of it wanted
	Most   int          `json:"most"`             // pieces of it that could be had at most
	Sooner catalog.Date `json:"sooner,omitempty"` // TooLate: the first day on which it could be covered
}

// WhyUncovered is the reason why a need cannot be covered.
type WhyUncovered string

const (
	NoOffer        WhyUncovered = "no-offer"         // nobody offers anything that holds the item or serves for it
	OffersRefused  WhyUncovered = "offers-refused"   // there are offers, and all are refused
	NotEnough      WhyUncovered = "not-enough"       // shelf and stock together are short
	TooLate        WhyUncovered = "too-late"         // offers would do, and arrive after the day
	MinimumTooHigh WhyUncovered = "minimum-too-high" // offers would do, but all that the supplier has does not reach its least order
	TakenByOthers  WhyUncovered = "taken-by-others"  // alone it could be covered, but not beside the needs before it
)

// Refused is an offer that is left out, with why.
type Refused struct {
	Supplier string     `json:"supplier"`
	Stock    string     `json:"stock"`
	Why      WhyRefused `json:"why"`
}

// WhyRefused is the reason why an offer is left out.
type WhyRefused string

const (
	PriceNotPositive WhyRefused = "price-not-positive" // a price of zero is a gap in a list, not a gift
	PackNotPositive  WhyRefused = "pack-not-positive"
	UnknownSupplier  WhyRefused = "unknown-supplier"
	OutOfStock       WhyRefused = "out-of-stock"
	NoDay            WhyRefused = "no-day"          // the plan has a day to keep, and the supplier names no day of sending
	BreakNotSound    WhyRefused = "break-not-sound" // a break without packs or price, or two for one number of packs
)

// Explanation is what can be said about a plan beyond its proof, each answer a
// plan of its own.
type Explanation struct {
	Cheaper []Cheaper    `json:"cheaper"`          // offers that look cheaper and are not taken, by line
	Sooner  *Alternative `json:"sooner,omitempty"` // the best plan that is complete on an earlier day; nil if a day is not known or nothing is bought
	Fewer   *Alternative `json:"fewer,omitempty"`  // the best plan with one delivery fewer; nil if there is but one
	Sets    []SetCosted  `json:"sets"`             // for each set on offer that serves two wanted items or more
}

// Alternative is another plan beside the one made.
type Alternative struct {
	Possible bool            `json:"possible"` // such a plan exists (false and not proven: none was found within the limit)
	More     decimal.Decimal `json:"more"`     // what it costs more; negative if it costs less
	Plan     *Plan           `json:"plan,omitempty"`
	Proven   bool            `json:"proven"`
}

// Cheaper is an offer that costs less a piece than a line of the plan, or as much.
type Cheaper struct {
	Line   LineRef         `json:"line"`
	Offer  LineRef         `json:"offer"`
	Packs  int             `json:"packs"` // of the offer, to stand in for the line
	Saves  decimal.Decimal `json:"saves"` // on the goods of the line alone
	Why    WhyNotCheaper   `json:"why"`
	Forced *Alternative    `json:"forced,omitempty"` // the best plan that takes the offer; left out where it cannot be taken
}

// LineRef names an offer.
type LineRef struct {
	Supplier string `json:"supplier"`
	Stock    string `json:"stock"`
}

// WhyNotCheaper is the reason why an offer with a lower price is not taken.
type WhyNotCheaper string

const (
	CheaperFreight WhyNotCheaper = "freight" // its supplier would get an order of its own, or the plan loses free freight
	CheaperStock   WhyNotCheaper = "stock"   // there are not enough packs
	CheaperLate    WhyNotCheaper = "late"    // it arrives after the day
	CheaperMinimum WhyNotCheaper = "minimum" // its supplier's least order would have to be filled
	CheaperBreak   WhyNotCheaper = "break"   // fewer packs of the line would lose its price break
	CheaperPack    WhyNotCheaper = "pack"    // whole packs come to more than the line
	CheaperWhole   WhyNotCheaper = "whole"   // the plan as a whole is dearer with it, for several reasons together
	CheaperEqual   WhyNotCheaper = "equal"   // the plan is equally good with it
)

// SetCosted is a set held against its singles.
type SetCosted struct {
	Good    string      `json:"good"`
	Taken   bool        `json:"taken"`   // the plan has it
	With    Alternative `json:"with"`    // the best plan with at least one
	Without Alternative `json:"without"` // the best plan with none
}
