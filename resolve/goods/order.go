package goods

import (
	"encoding/csv"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"platewright/catalog"
	"platewright/resolve/order"
)

// Order is what was ordered from one supplier, as far as goods-in needs it.
type Order struct {
	Number   string `json:"order"`
	Supplier string `json:"supplier"`
	Name     string `json:"name,omitempty"` // of the supplier
	Card     int    `json:"card,omitempty"` // the job card that it belongs to
	Unit     string `json:"unit,omitempty"` // what was read of the unit, for people
	Lines    []Line `json:"lines"`
}

// Line is one line of an order.
type Line struct {
	Line   int              `json:"line"`            // counted from 1
	Stock  string           `json:"stock,omitempty"` // the supplier's number
	Part   catalog.PartNo   `json:"part"`            // ours
	Name   string           `json:"name"`
	Kind   catalog.PartKind `json:"kind,omitempty"`
	Packs  int              `json:"packs,omitempty"`
	Pack   int              `json:"pack,omitempty"`      // pieces in a pack
	PackOf catalog.Decimal  `json:"packLitres,omitzero"` // of a fluid: litres in a container
	Wanted int              `json:"wanted"`              // pieces; of a fluid, containers
	Look   string           `json:"look,omitempty"`      // what it looks like, as it was known when it was ordered
	Roles  []string         `json:"roles"`               // what it is for
}

// FromSheet gives what goods-in needs of an order as it was recorded.
func FromSheet(s *order.Sheet) *Order {
	o := &Order{Number: s.Number, Supplier: s.Order.Supplier, Name: s.Order.Name, Card: s.Card, Lines: []Line{}}
	unit := []string{}
	for _, text := range append([]string{s.Unit.Plate}, s.Unit.Labels...) {
		if text != "" {
			unit = append(unit, text)
		}
	}
	o.Unit = strings.Join(unit, "; ")
	for i, x := range s.Order.Lines {
		l := Line{Line: i + 1, Stock: x.Stock, Part: x.Part, Name: x.Name, Kind: x.Kind, Packs: x.Packs, Pack: x.Pack, PackOf: x.PackOf, Wanted: x.Qty, Look: x.Look, Roles: []string{}}
		if x.PackOf.Known {
			l.Wanted = x.Packs // its containers are counted
		}
		for _, f := range x.For {
			if f.Role != "" && !slices.Contains(l.Roles, f.Role) {
				l.Roles = append(l.Roles, f.Role)
			}
		}
		o.Lines = append(o.Lines, l)
	}
	return o
}

func (o *Order) line(n int) *Line {
	if n < 1 || n > len(o.Lines) {
		return nil
	}
	return &o.Lines[n-1]
}

// Scanned is what a code says that was scanned off a sheet of ours.
type Scanned struct {
	Order string // the number of the order
	Line  int    // 0 for the order as a whole
}

// SheetCode reads a text that was scanned off a sheet: the number of this order, a
// code as [order.Sheet.Codes] gives it, or one of its records alone, since some
// scanners end a line after each.
func (o *Order) SheetCode(text string) (_ Scanned, ok bool) {
	if catalog.Fold(text) == catalog.Fold(o.Number) {
		return Scanned{Order: o.Number}, true
	}
	if c, err := order.ReadCode(text); err == nil && (c.Number == o.Number || len(c.Lines) > 0) {
		return Scanned{Order: c.Number}, true
	}
	cells, err := csv.NewReader(strings.NewReader(text)).Read()
	if err != nil || len(cells) != 4 {
		return Scanned{}, false
	}
	for i := range cells {
		if cells[i], err = url.PathUnescape(cells[i]); err != nil {
			return Scanned{}, false
		}
	}
	n, err := strconv.Atoi(cells[0])
	l := o.line(n)
	if err != nil || l == nil || catalog.Fold(cells[1]) != catalog.Fold(l.Stock) || catalog.Fold(cells[2]) != l.Part.Key() {
		return Scanned{}, false
	}
	return Scanned{o.Number, n}, true
}

// Do is what is done with something that was ordered or arrived.
type Do string

const (
	Came      Do = "came"      // it arrived
	Looked    Do = "looked"    // it was looked at, and looks as it should
	Odd       Do = "odd"       // it was looked at, and looks otherwise
	Returned  Do = "returned"  // it goes back to the supplier
	Kept      Do = "kept"      // more than ordered, or foreign, and stays in the shop
	Corrected Do = "corrected" // it was counted wrongly
)

// As is what a part that arrived is to the order.
type As string

const (
	AsOrdered   As = "ordered"   // the part that a line orders
	AsServes    As = "serves"    // it serves for the part that a line orders
	AsCompanion As = "companion" // it must come along with a part that serves for another
	AsForeign   As = "foreign"   // nothing of this order
)

// Entry is one thing of a receipt, as it is kept. Pieces of a correction are the
// difference, and can be negative.
type Entry struct {
	Do    Do             `json:"do"`
	Given string         `json:"given,omitempty"` // the number as typed or scanned
	Part  catalog.PartNo `json:"part"`
	As    As             `json:"as"`
	Line  int            `json:"line,omitempty"` // that it counts for
	Qty   int            `json:"qty"`            // pieces of the part; of a fluid, containers
	Per   int            `json:"per,omitempty"`  // of a part that serves: how many pieces stand for one that was ordered
	Saw   string         `json:"saw,omitempty"`  // of odd: what was seen
}

// ReceiptSchema names the form of the JSON of [Receipt].
const ReceiptSchema = "platewright/receipt/1"

// Receipt is what was done at goods-in in one step. It never changes.
type Receipt struct {
	Schema       string  `json:"schema"`
	DeliveryNote string  `json:"deliveryNote,omitempty"` // its number
	Talk         bool    `json:"talk,omitempty"`         // one line of a dialogue
	Because      string  `json:"because,omitempty"`
	Entries      []Entry `json:"entries"`
	At           string  `json:"at,omitempty"`  // RFC 3339; set when it is read back
	Who          string  `json:"who,omitempty"` // set when it is read back
}
