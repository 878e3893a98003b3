package purchase

import (
	"time"

	"github.com/shopspring/decimal"

	"platewright/catalog"
)

// Problem is everything that a plan is made from. Keys (of needs, items, goods,
// suppliers, stock numbers) are compared as they are: the caller folds them.
type Problem struct {
	Currency  string       `json:"currency"` // of the plan, ISO 4217
	Rates     []Rate       `json:"rates"`    // for the currencies of suppliers that differ
	Needs     []Need       `json:"needs"`
	Shelf     []Amount     `json:"shelf"`  // what the shop has; amounts of one item add up
	Goods     []Good       `json:"goods"`  // sets, kits and whatever else holds something other than itself
	Serves    []Serves     `json:"serves"` // which items may stand in for which
	Suppliers []Supplier   `json:"suppliers"`
	Offers    []Offer      `json:"offers"`
	Aim       Aim          `json:"aim"`
	By        catalog.Date `json:"by,omitempty"` // with any aim: nothing may arrive later; zero for no such day
}

// Aim is what a plan is best in.
type Aim string

const (
	LeastCost        Aim = "least-cost"        // the lowest landed total
	Earliest         Aim = "earliest"          // complete on the earliest day, then the lowest total
	FewestDeliveries Aim = "fewest-deliveries" // from the fewest suppliers, then the lowest total
)

// Amount is a number of pieces of an item.
type Amount struct {
	Item string `json:"item"`
	Qty  int    `json:"qty"` // pieces; of a fluid the fixed part of a litre that the caller counts in
}

// Need is one thing that has to be covered, in exactly one of its ways.
type Need struct {
	Key  string `json:"key"`
	Ways []Way  `json:"ways"`
}

// Way is one complete way to cover a need: all its amounts together, a new part
// with the companion that it demands, or one fluid of several that would do.
type Way struct {
	Name  string   `json:"name,omitempty"` // for the caller
	Wants []Amount `json:"wants"`
}

// Wants makes the need for a quantity of one item, in one way.
func Wants(key, item string, qty int) Need {
	return Need{Key: key, Ways: []Way{{Wants: []Amount{{Item: item, Qty: qty}}}}}
}

// Good is something sold that holds items: a kit, a set. An offer whose good is
// not listed is for pieces of the item of the same name. A kit that can be
// needed as such holds itself as well as its contents only if a piece of it is
// both at once; usually it is two items, the closed kit and what is in it.
type Good struct {
	Key   string   `json:"key"`
	Holds []Amount `json:"holds"` // in one piece of the good
}

// Serves says that a piece of Item may be used where a piece of For is wanted.
// It is taken as it stands: not the other way round, and not onwards.
type Serves struct {
	Item string `json:"item"`
	For  string `json:"for"`
}

// Rate converts amounts of another currency into the plan's.
type Rate struct {
	Currency string          `json:"currency"` // ISO 4217
	Rate     decimal.Decimal `json:"rate"`     // what one unit of it costs in the plan's currency
}

// Supplier is who takes an order. Its amounts are in its own currency.
type Supplier struct {
	Key         string          `json:"key"`
	Currency    string          `json:"currency"` // ISO 4217; "" for the plan's
	Freight     decimal.Decimal `json:"freight"`
	FreeFreight decimal.Decimal `json:"freeFreight"` // value of goods from which freight is free; zero for never
	Minimum     decimal.Decimal `json:"minimum"`     // least value of goods; zero for none
	Sends       catalog.Date    `json:"sends"`       // the day on which goods in stock leave if ordered now, after the cut-off time; zero if not known
	Days        int             `json:"days"`        // working days from there to the door
	Works       Calendar        `json:"works"`
}

// Calendar says which days are working days. The zero Calendar is Monday to
// Friday without holidays.
type Calendar struct {
	Rest     []time.Weekday `json:"rest"`     // days of the week that are none; nil for Saturday and Sunday, empty for no day
	Holidays []catalog.Date `json:"holidays"` // single days that are none, known to the day
}

// AnyNumber as stock on hand says that the stock sets no limit.
const AnyNumber = -1

// Offer is a good in packs at a supplier's.
type Offer struct {
	Supplier string          `json:"supplier"`
	Stock    string          `json:"stock"` // the supplier's stock number
	Good     string          `json:"good"`
	Pack     int             `json:"pack"`  // pieces of the good in a pack
	Price    decimal.Decimal `json:"price"` // of a pack
	Breaks   []Break         `json:"breaks"`
	OnHand   int             `json:"onHand"` // packs, or AnyNumber
	Days     int             `json:"days"`   // working days until it leaves, beyond the supplier's day of sending
}

// Break is a lower (or any other) price of a pack from a number of packs on; it
// holds for all packs of the line.
type Break struct {
	Packs int             `json:"packs"`
	Price decimal.Decimal `json:"price"`
}

// Options bound the search. The zero Options do not.
type Options struct {
	Nodes int // subproblems looked at, at most, of one search; 0 for no limit
}
