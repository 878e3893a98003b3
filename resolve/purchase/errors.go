package purchase

import (
	"fmt"
	"strings"
)

// InputError says everything that is wrong with a [Problem]; nothing is planned
// then. Offers that are not sound in themselves are no error: the plan leaves
// them out and lists them ([Refused]).
type InputError struct {
	Findings []Finding `json:"findings"`
}

func (e *InputError) Error() string {
	var b strings.Builder
	for i, f := range e.Findings {
		if i > 0 {
			b.WriteString("; ")
		}
		fmt.Fprintf(&b, "%s: %s; %s", f.Where, f.What, f.Mend)
	}
	return b.String()
}

// Finding is one thing that is wrong with a problem.
type Finding struct {
	Code  InputCode `json:"code"`
	Where string    `json:"where"` // the row, such as "supplier lorrq"
	Key   string    `json:"key"`   // its key, or the currency
	What  string    `json:"what"`
	Mend  string    `json:"mend"`
}

// InputCode is a kind of finding.
type InputCode string

const (
	BadCurrency InputCode = "bad-currency" // not a code of ISO 4217
	NoRate      InputCode = "no-rate"      // an amount in another currency, and no rate for it
	BadRate     InputCode = "bad-rate"     // a rate that is not above zero, or two for one currency
	BadAim      InputCode = "bad-aim"
	BadDate     InputCode = "bad-date" // not known to the day, or no day of the calendar
	BadQuantity InputCode = "bad-quantity"
	BadAmount   InputCode = "bad-amount" // below zero, or with more digits than can be counted exactly
	NoKey       InputCode = "no-key"
	TwiceGiven  InputCode = "twice-given" // two rows with one key
	TooLarge    InputCode = "too-large"   // beyond what is planned at once
)
