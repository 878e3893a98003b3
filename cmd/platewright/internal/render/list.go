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
// long, so it is written without reflection and without intermediate strings. For
// spreadsheets, see [ByteOrderMark].
func AppendListCSV(dst []byte, r ListRow, plate string, sheets bool) []byte {
	dst = strconv.AppendInt(dst, int64(r.Line), 10)
	dst = appendCode(append(dst, ','), r.Ref, sheets)
	dst = appendCode(append(dst, ','), plate, sheets)
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
		dst = appendCode(dst, c, sheets)
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
	dst = appendCode(append(dst, ','), c, sheets)
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

// ByteOrderMark begins a CSV file that is written for spreadsheets, which then read
// it as UTF-8. In such a file codes, plates and the like that a spreadsheet would
// take for numbers or dates have an apostrophe in front, so that 00123 and 3-3 stay
// what they are.
const ByteOrderMark = "\ufeff"

// appendCode appends a cell with codes; for spreadsheets with an apostrophe in front
// where it could be taken for a number, a date or a truth value.
func appendCode[T string | []byte](dst []byte, cell T, sheets bool) []byte {
	if sheets && rewritten(cell) {
		return appendCell(dst, "'"+string(cell))
	}
	return appendCell(dst, cell)
}

// rewritten tells whether a spreadsheet may rewrite a cell: one that begins with a
// digit, a point before one or the name of a month, or is true or false. It is on
// the safe side: what spreadsheets take for a date hangs on their language.
func rewritten[T string | []byte](cell T) bool {
	if len(cell) == 0 {
		return false
	}
	if c := cell[0]; c >= '0' && c <= '9' || (c == '.' || c == ',') && len(cell) > 1 && cell[1] >= '0' && cell[1] <= '9' {
		return true
	}
	word := strings.ToLower(string(cell[:min(len(cell), 5)]))
	switch {
	case len(cell) == len(word) && (word == "true" || word == "false"):
		return true
	case len(word) < 3:
		return false
	}
	switch word[:3] {
	case "jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec":
		return true
	}
	return false
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
// text which a spreadsheet would take for a formula, a number or a date, so that an
// answer can be asked again.
func Unapostrophe(cell string) string {
	if len(cell) > 1 && cell[0] == '\'' && (strings.ContainsRune("=+-@\t\r", rune(cell[1])) || rewritten(cell[1:])) {
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
