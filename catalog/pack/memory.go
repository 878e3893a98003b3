package pack

import (
	"fmt"

	"platewright/catalog"
	"platewright/catalog/memory"
)

// ReadMemory reads a whole feed into memory, with every check of its rows and
// of the whole. It is meant for small catalogues. The catalogue holds what is
// well-formed even if there are findings; whether it may be used is for
// [catalog.Findings.Err] to say. An error is trouble of the machine, not of
// the input.
func ReadMemory(feed catalog.Feed) (*memory.Catalogue, *catalog.Findings, error) {
	cat, findings := memory.New(), &catalog.Findings{}
	rows := 0
	for _, t := range feed.Tables() {
		first := map[string]catalog.Place{}
		var key []byte
		err := feed.Rows(t, findings, func(r catalog.Row, at catalog.Place, _ catalog.Cells) error {
			rows++
			key = t.RowKey(key[:0], r)
			if was, double := first[string(key)]; double {
				findings.Add(DuplicateRow(t, r, at, was))
				return nil
			}
			first[string(key)] = at
			cat.Add(t, t.Clone(r), at)
			return nil
		})
		if err != nil {
			return nil, nil, err
		}
		if p, ok := feed.(*Package); ok {
			for key := range p.RefusedKeys(t) {
				cat.Excuse(t.Name, key)
			}
		}
	}
	cat.Seal()
	if rows == 0 && findings.Refused() == 0 {
		findings.Add(catalog.Finding{Code: catalog.NothingToImport, Place: catalog.Place{File: feed.Name()},
			What: "no table holds a row", Mend: "fill in at least one table"})
	}
	cat.Check(findings.Add)
	return cat, findings, nil
}

// DuplicateRow is the finding for a row whose key stands already at another
// place.
func DuplicateRow(t *catalog.Table, r catalog.Row, at, was catalog.Place) catalog.Finding {
	at.Column = t.Columns[t.Key[len(t.Key)-1]].Name
	return catalog.Finding{Code: catalog.Duplicate, Place: at, Value: t.RowName(r),
		What: fmt.Sprintf("the row stands already at %s; capitals, spaces and separators make no difference", was),
		Mend: "keep one of the two rows"}
}
