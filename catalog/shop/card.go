package shop

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"platewright/catalog"
)

// Card is the record of one unit in the shop as its history has left it. What
// its events carry in full (questions, decisions, plans, receipts) is read from
// the events; the card names the newest of each by its number.
type Card struct {
	Number   int       `json:"number"`
	State    CardState `json:"state"`
	Unit     string    `json:"unit"`    // what was read of the unit, for people
	Ref      string    `json:"ref"`     // the shop's own reference, such as a customer's name; can be empty
	Work     []string  `json:"work"`    // scopes of work
	Edition  Edition   `json:"edition"` // of the newest decision
	Opened   time.Time `json:"opened"`
	By       string    `json:"by"` // who opened it
	Last     time.Time `json:"last"`
	LastBy   string    `json:"lastBy"`
	Decided  int       `json:"decided"`           // the event with the newest decision
	Planned  int       `json:"planned,omitempty"` // the event with the newest plan, 0 for none
	Orders   []Order   `json:"orders"`
	Because  string    `json:"because,omitempty"` // why it was closed
	Revision int       `json:"revision"`          // counts what happened to it
	Changes  []int     `json:"changes"`           // numbers of what happened to it
}

// CardState tells whether a unit is still in work.
type CardState string

// The states of a card.
const (
	CardOpen CardState = "open"
	CardDone CardState = "closed"
)

// Edition says on which catalogue something was decided.
type Edition struct {
	Name   string `json:"name"`
	Number int    `json:"number"` // 0 for a catalogue without editions
	Digest string `json:"digest,omitempty"`
}

// Order is an order of a card, with what has come of it.
type Order struct {
	Order    string    `json:"order"` // its number
	Supplier string    `json:"supplier"`
	Event    int       `json:"event"`    // by which it was ordered
	Receipts []int     `json:"receipts"` // events by which something of it came
	Complete bool      `json:"complete"` // all of it is here
	Lines    []Ordered `json:"lines"`
}

// Ordered is a line of an order.
type Ordered struct {
	Role     string          `json:"role"`
	Position string          `json:"position,omitempty"`
	Part     catalog.PartNo  `json:"part"`
	Qty      int             `json:"qty,omitempty"`   // pieces
	Litres   catalog.Decimal `json:"litres,omitzero"` // of a fluid
	Held     bool            `json:"held,omitempty"`  // ordered although it was held
}

// DecidedBody is a question about the unit with its answer.
type DecidedBody struct {
	Unit     string          `json:"unit"`
	Ref      string          `json:"ref,omitempty"`
	Work     []string        `json:"work"`
	Edition  Edition         `json:"edition"`
	Question json.RawMessage `json:"question"` // as package resolve writes it
	Decision json.RawMessage `json:"decision"` // as package resolve writes it
}

// TextBody is something that somebody wrote down.
type TextBody struct {
	Text string `json:"text"`
}

// MeasuredBody are values that were measured on the unit.
type MeasuredBody struct {
	Measured []Measured `json:"measured"`
}

// PlannedBody is a plan of what to buy, in the form of whoever made it.
type PlannedBody struct {
	Plan json.RawMessage `json:"plan"`
}

// OrderedBody is an order that was placed.
type OrderedBody struct {
	Order    string          `json:"order"`
	Supplier string          `json:"supplier"`
	Lines    []Ordered       `json:"lines"`
	Held     []HeldBody      `json:"held,omitempty"`   // lines ordered although they were held
	Detail   json.RawMessage `json:"detail,omitempty"` // in the form of whoever made it
}

// HeldBody says why a held line was ordered all the same.
type HeldBody struct {
	Role     string `json:"role"`
	Position string `json:"position,omitempty"`
	Because  string `json:"because"`
}

// ReceivedBody is what came of an order.
type ReceivedBody struct {
	Order    string          `json:"order"`
	Complete bool            `json:"complete"`         // all of it is here by now
	Detail   json.RawMessage `json:"detail,omitempty"` // in the form of whoever made it
}

// Body reads the body of an event.
func Body[T any](e Event) (T, error) { return bodyOf[T](e) }

// NewCardEvent makes an event for a card: one of the kinds that begin with
// Card, with the body that belongs to it. What a person wrote is checked.
func NewCardEvent(kind Kind, who string, body any) (Event, error) {
	if err := checkName("name of who works on the card", who); err != nil {
		return Event{}, err
	}
	text := func(what, s string, empty bool) error {
		if err := catalog.CheckText(s); err != nil {
			return refuse("the "+what+" cannot be kept: "+err.Error(), "write plain text")
		}
		if !empty && strings.TrimSpace(s) == "" {
			return refuse("the "+what+" is empty", "say what was found")
		}
		return nil
	}
	var err error
	switch b := body.(type) {
	case DecidedBody:
		if err = text("reference", b.Ref, true); err == nil && (hasLines(b.Ref) || len(b.Ref) > MaxLine) {
			err = refuse("the reference holds a new line or a tab, or is longer than 400 bytes", "write it in one short line")
		}
	case TextBody:
		err = text("text", b.Text, false)
	case BecauseBody:
		err = text("reason", b.Because, true)
	case MeasuredBody:
		if err = checkMeasured(b.Measured); err == nil && len(b.Measured) == 0 {
			err = refuse("nothing was measured", "write NAME=VALUE")
		}
	case OrderedBody:
		if err = checkName("number of the order", b.Order); err == nil {
			err = checkName("supplier", b.Supplier)
		}
		for _, h := range b.Held {
			if err == nil {
				err = text("reason for ordering a held line", h.Because, false)
			}
		}
	}
	if err != nil {
		return Event{}, err
	}
	return event(kind, who, body), nil
}

// ApplyCard gives the card as the event leaves it; c is nil before the first
// event. The card given stays as it is. The error is a [*BrokenError], or a
// [*RefusedError] for what cannot happen to the card as it is.
func ApplyCard(c *Card, e Event) (*Card, error) {
	if (c == nil) != (e.Kind == CardOpened) {
		return nil, &BrokenError{e.Number, fmt.Sprintf("the card %d cannot have %s happen to it now", e.Card, e.Kind)}
	}
	var n Card
	if c != nil {
		n = *c
		n.Changes = slices.Clone(c.Changes)
		n.Orders = slices.Clone(c.Orders)
	} else {
		n = Card{Number: e.Card, State: CardOpen, Opened: e.At, By: e.Who, Orders: []Order{}, Work: []string{}}
	}
	if n.Revision+1 != e.Revision {
		return nil, &BrokenError{e.Number, fmt.Sprintf("the card %d is at revision %d and not at %d", e.Card, n.Revision, e.Revision-1)}
	}
	name := fmt.Sprintf("card %d", n.Number)
	if n.State == CardDone && e.Kind != CardReopened && e.Kind != CardNoted {
		return nil, refuse(name+" is closed", "reopen it first: platewright card reopen "+fmt.Sprint(n.Number))
	}
	switch e.Kind {
	case CardOpened, CardDecided:
		b, err := bodyOf[DecidedBody](e)
		if err != nil {
			return nil, err
		}
		n.Unit, n.Ref, n.Edition, n.Decided = b.Unit, b.Ref, b.Edition, e.Number
		n.Work = append([]string{}, b.Work...)
	case CardNoted, CardMeasured:
	case CardPlanned:
		n.Planned = e.Number
	case CardOrdered:
		b, err := bodyOf[OrderedBody](e)
		if err != nil {
			return nil, err
		}
		if slices.ContainsFunc(n.Orders, func(o Order) bool { return o.Order == b.Order }) {
			return nil, refuse(name+" has the order "+b.Order+" already", "an order is placed once")
		}
		n.Orders = append(n.Orders, Order{Order: b.Order, Supplier: b.Supplier, Event: e.Number, Receipts: []int{}, Lines: b.Lines})
	case CardReceived:
		b, err := bodyOf[ReceivedBody](e)
		if err != nil {
			return nil, err
		}
		i := slices.IndexFunc(n.Orders, func(o Order) bool { return o.Order == b.Order })
		switch {
		case i < 0:
			return nil, refuse(name+" has no order "+b.Order, "name one of its orders; platewright card show lists them")
		case n.Orders[i].Complete && b.Complete:
			return nil, refuse("all of the order "+b.Order+" came before", "an order is received once")
		}
		n.Orders[i].Receipts = append(slices.Clone(n.Orders[i].Receipts), e.Number)
		n.Orders[i].Complete = b.Complete
	case CardClosed:
		b, err := bodyOf[BecauseBody](e)
		if err != nil {
			return nil, err
		}
		n.State, n.Because = CardDone, b.Because
	case CardReopened:
		if n.State == CardOpen {
			return nil, refuse(name+" is open", "nothing needs to be done")
		}
		n.State, n.Because = CardOpen, ""
	default:
		return nil, &BrokenError{e.Number, fmt.Sprintf("%s does not happen to cards", e.Kind)}
	}
	n.Last, n.LastBy = e.At, e.Who
	n.Revision++
	n.Changes = append(n.Changes, e.Number)
	return &n, nil
}
