package pack

import (
	"slices"

	"platewright/catalog"
)

// tableSet is the tables that a package can hold, in reading order. None means
// those of a catalogue.
type tableSet []*catalog.Table

func (s tableSet) list() []*catalog.Table {
	if s == nil {
		return catalog.Tables()
	}
	return s
}

// byName gives the table of that name, or nil.
func (s tableSet) byName(name string) *catalog.Table {
	if s == nil {
		return catalog.TableByName(name)
	}
	i := slices.IndexFunc(s, func(t *catalog.Table) bool { return t.Name == name })
	if i < 0 {
		return nil
	}
	return s[i]
}
