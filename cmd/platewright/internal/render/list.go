package render

import (
	"encoding/json"
	"io"
	"strconv"
	"strings"

	"platewright/catalog"
	"platewright/resolve"
)

// ListSchema names the form of [ListRow] as JSON.
const ListSchema = "platewright/resolve-list/1"

// ListRow is the answer to one row of a list: a decision, or why there is none.
type ListRow struct {
	Schema   string            `json:"schema"`
	Line     int               `json:"line"` // of the list
	Ref      string            `json:"ref,omitempty"`
	Decision *resolve.Decision `json:"decision"`        // null for a row that was refused
	Error    string            `json:"error,omitempty"` // why it was refused

	NotSearched bool `json:"-"` // look-alikes were left out, which is not the same as none
}

// ListHeading is the heading of the answers to a list as CSV.
const ListHeading = "line,ref,plate,state,variants,count,safe,held,none,assumed,lookalikes,next,error\r\n"

// The states of a row in the answers to a list.
const (
	stateSettled  = "settled"  // nothing is held
	stateHeld     = "held"     // something is held
	stateMixed    = "mixed"    // a mixed unit, whatever is held
	stateConflict = "conflict" // the evidence contradicts itself
	stateNone     = "no-match" // no variant of the catalogue is left
	stateRefused  = "refused"  // the row cannot be meant
)

func listState(r ListRow) string {
	d := r.Decision
	if d == nil {
		return stateRefused
	}
	left := 0
	for i := range d.Assemblies {
		left += d.Assemblies[i].Total
	}
	switch {
	case len(d.Conflicts) > 0:
		return stateConflict
	case left == 0:
		return stateNone
	case d.Mixed != nil:
		return stateMixed
	case len(d.Held) > 0:
		return stateHeld
	}
	return stateSettled
}

// AppendListCSV appends the answer to one row as a record of RFC 4180. Lists are
// long, so it is written without reflection and without intermediate strings.
func AppendListCSV(dst []byte, r ListRow, plate string) []byte {
	dst = strconv.AppendInt(dst, int64(r.Line), 10)
	dst = appendCell(append(dst, ','), r.Ref)
	dst = appendCell(append(dst, ','), plate)
	dst = append(append(dst, ','), listState(r)...)
	dst = append(dst, ',')
	d := r.Decision
	if d == nil {
		dst = append(dst, ",,,,,,,,"...)
		dst = appendCell(dst, r.Error)
		return append(dst, "\r\n"...)
	}
	var cell [512]byte
	c := cell[:0]
	for i := range d.Assemblies {
		a := &d.Assemblies[i]
		if a.Follows != "" {
			continue
		}
		for j := range a.Candidates {
			if j == maxListed {
				c = append(c, "; and more"...)
				break
			}
			c = append(separated(c), a.Candidates[j].Variant...)
		}
		dst = appendCell(dst, c)
		dst = strconv.AppendInt(append(dst, ','), int64(a.Total), 10)
		break
	}
	if len(d.Assemblies) == 0 {
		dst = append(dst, ',', '0')
	}
	c = c[:0]
	for i := range d.SafeToOrder {
		l := &d.SafeToOrder[i]
		c = append(separated(c), l.Role...)
		if l.Position != "" {
			c = append(append(c, ' '), l.Position...)
		}
		c = append(c, ": "...)
		c = appendItems(c, l.Items, true)
		for j := range l.Companions {
			// A companion that stands on a line of its own is ordered there.
			if !onLine(d, l.Companions[j].Part) {
				c = appendItems(c, l.Companions[j:j+1], len(l.Items) == 0 && j == 0)
			}
		}
	}
	dst = appendCell(append(dst, ','), c)
	c = c[:0]
	for i := range d.Held {
		if h := &d.Held[i]; i == 0 || d.Held[i-1].Role != h.Role {
			c = append(separated(c), h.Role...)
		}
	}
	dst = appendCell(append(dst, ','), c)
	c = c[:0]
	for i := range d.Roles {
		if d.Roles[i].Verdict == resolve.DoesNotFit {
			c = append(separated(c), d.Roles[i].Role...)
		}
	}
	dst = appendCell(append(dst, ','), c)
	c = c[:0]
	for i := range d.Assemblies {
		if a := &d.Assemblies[i]; a.Basis == resolve.BasisAsBuilt {
			c = append(separated(c), a.Assembly...)
		}
	}
	dst = appendCell(append(dst, ','), c)
	c = c[:0]
	if r.NotSearched {
		c = append(c, "not searched"...)
	}
	for i := range d.LookAlikes {
		if l := &d.LookAlikes[i]; l.RuledOut == nil {
			c = append(separated(c), l.Variant...)
		}
	}
	dst = appendCell(append(dst, ','), c)
	dst = append(dst, ',')
	if n := d.NextCheck; n != nil {
		dst = appendCell(dst, orWord(n.Mark, string(n.Kind)))
	}
	return append(dst, ",\r\n"...)
}

// maxListed is how many variants a cell names.
const maxListed = 12

func onLine(d *resolve.Decision, part catalog.PartNo) bool {
	for i := range d.SafeToOrder {
		for j := range d.SafeToOrder[i].Items {
			if d.SafeToOrder[i].Items[j].Part == part {
				return true
			}
		}
	}
	return false
}

func separated(c []byte) []byte {
	if len(c) > 0 {
		c = append(c, "; "...)
	}
	return c
}

func appendItems(c []byte, items []resolve.Item, first bool) []byte {
	for i := range items {
		it := &items[i]
		if !first || i > 0 {
			c = append(c, " + "...)
		}
		switch {
		case it.Litres.Known:
			c = append(append(c, it.Litres.String()...), " l "...)
		case it.Qty > 0:
			c = append(strconv.AppendInt(c, int64(it.Qty), 10), " x "...)
		}
		c = append(c, it.Part...)
	}
	return c
}

// appendCell appends a cell, in quotes where it needs them. A text that a
// spreadsheet would take for a formula gets an apostrophe in front.
func appendCell[T string | []byte](dst []byte, cell T) []byte {
	if len(cell) == 0 {
		return dst
	}
	quote := false
	for i := 0; i < len(cell); i++ {
		switch cell[i] {
		case ',', '"', '\r', '\n':
			quote = true
		}
	}
	if quote {
		dst = append(dst, '"')
	}
	switch cell[0] {
	case '=', '+', '-', '@', '\t', '\r':
		dst = append(dst, '\'')
	}
	for i := 0; i < len(cell); i++ {
		if cell[i] == '"' {
			dst = append(dst, '"')
		}
		dst = append(dst, cell[i])
	}
	if quote {
		dst = append(dst, '"')
	}
	return dst
}

// Unapostrophe takes the apostrophe off again that [AppendListCSV] puts before a
// text which a spreadsheet would take for a formula, so that an answer can be
// asked again.
func Unapostrophe(cell string) string {
	if len(cell) > 1 && cell[0] == '\'' && strings.ContainsRune("=+-@\t\r", rune(cell[1])) {
		return cell[1:]
	}
	return cell
}

// ListJSON writes the answer to one row as one line of JSON.
func ListJSON(w io.Writer, r ListRow) error {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	return e.Encode(r)
}
