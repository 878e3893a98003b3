package order

import (
	"encoding/csv"
	"errors"
	"fmt"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"platewright/catalog"
)

// mostInCode is how many bytes one square code holds: more still scans from a clean
// print, and not from a crumpled one.
const mostInCode = 600

// Code is what one square code of an order sheet holds.
type Code struct {
	Number   string // of the order
	Supplier string
	Place    int // which code it is,
	Of       int // of how many
	Lines    []CodeLine
}

// CodeLine is a line of an order in a code.
type CodeLine struct {
	No    int // its place on the sheet
	Stock string
	Part  catalog.PartNo
	Packs int
}

// Codes gives what the square codes of an order hold: records of RFC 4180, in each
// code first the number of the order, the supplier, and which code of how many it
// is, then for each line its place, the supplier's number, ours, and the packs. What
// is not plain ASCII, and the percent sign, is written as in an address (RFC 3986,
// section 2.1): readers guess at other characters, and guess wrong.
func (s *Sheet) Codes() []string {
	var parts []string
	part := ""
	for i, l := range s.Order.Lines {
		r := record(strconv.Itoa(i+1), l.Stock, string(l.Part), strconv.Itoa(l.Packs))
		if part != "" && len(part)+len(r) > mostInCode {
			parts = append(parts, part)
			part = ""
		}
		part += r
	}
	parts = append(parts, part)
	for i := range parts {
		parts[i] = record(s.Number, s.Order.Supplier, strconv.Itoa(i+1), strconv.Itoa(len(parts))) + parts[i]
	}
	return parts
}

func record(cells ...string) string {
	cells = slices.Clone(cells)
	for i, c := range cells {
		var b strings.Builder
		for k := 0; k < len(c); k++ {
			if c[k] < ' ' || c[k] > '~' || c[k] == '%' {
				fmt.Fprintf(&b, "%%%02X", c[k])
				continue
			}
			b.WriteByte(c[k])
		}
		cells[i] = b.String()
	}
	var b strings.Builder
	w := csv.NewWriter(&b)
	_ = w.Write(cells) // a builder takes everything
	w.Flush()
	return b.String()
}

// ReadCode reads what [Sheet.Codes] writes, as a scanner gives it.
func ReadCode(text string) (Code, error) {
	bad := func(what string) (Code, error) {
		return Code{}, cannot("scan the square code of an order sheet, or type the number of the order", "%q is no code of an order: %s", text, what)
	}
	r := csv.NewReader(strings.NewReader(text))
	r.FieldsPerRecord = 4
	rows, err := r.ReadAll()
	if err != nil || len(rows) == 0 {
		return bad("its records cannot be read")
	}
	for _, row := range rows {
		for i, c := range row {
			if row[i], err = url.PathUnescape(c); err != nil {
				return bad("a percent sign stands alone")
			}
		}
	}
	place, err1 := strconv.Atoi(rows[0][2])
	of, err2 := strconv.Atoi(rows[0][3])
	if errors.Join(err1, err2) != nil || place < 1 || place > of || rows[0][0] == "" {
		return bad("it does not begin with the number of an order")
	}
	c := Code{Number: rows[0][0], Supplier: rows[0][1], Place: place, Of: of}
	for _, row := range rows[1:] {
		no, err1 := strconv.Atoi(row[0])
		packs, err2 := strconv.Atoi(row[3])
		if errors.Join(err1, err2) != nil || no < 1 || packs < 1 {
			return bad("a line of it has no place or no packs")
		}
		c.Lines = append(c.Lines, CodeLine{no, row[1], catalog.PartNo(row[2]), packs})
	}
	return c, nil
}
