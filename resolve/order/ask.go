package order

import (
	"fmt"
	"time"

	"platewright/catalog"
	"platewright/resolve"
	"platewright/resolve/purchase"
)

// Ask is what is to be ordered, and how.
type Ask struct {
	Decision *resolve.Decision // with its notes
	Aim      purchase.Aim
	By       catalog.Date      // nothing may arrive later; zero for no such day
	Moment   time.Time         // when it is ordered, on the shop's clock; zero for not known
	Calendar purchase.Calendar // the working days of all suppliers
	Currency string            // of the plan; "" for the one in which most suppliers ask
	Rates    []purchase.Rate
	Without  []string   // suppliers that get no order
	Reserved []Reserved // what other units take from the shelf

	Preferred   bool     // only the first choice of each line
	Recommended bool     // order what the scopes of work recommend, too
	Skip        []string // roles that are left out
	EvenHeld    []EvenHeld

	Explain bool // say what other plans would cost
	Nodes   int  // bounds each search; 0 for no bound
}

// EvenHeld orders a line although it is held.
type EvenHeld struct {
	Role     string           `json:"role"`               // or its name
	Position string           `json:"position,omitempty"` // empty for every position of the role
	Part     catalog.PartNo   `json:"part,omitempty"`     // which of the parts that are still possible; empty where the role is settled
	Because  string           `json:"because"`
	Who      string           `json:"who"`
	At       string           `json:"at,omitempty"`  // RFC 3339
	Why      []resolve.Reason `json:"why,omitempty"` // why it was held; given back with a plan
}

// AskError says what in an order cannot be done.
type AskError struct {
	What string
	Mend string
}

func (e *AskError) Error() string { return e.What + "; " + e.Mend }

func cannot(mend, what string, args ...any) error {
	return &AskError{fmt.Sprintf(what, args...), mend}
}
