package audit

import (
	"iter"

	"platewright/catalog"
	"platewright/catalog/memory"
)

// Memory makes a catalogue in memory a [Reader] that knows where its rows stand.
func Memory(c *memory.Catalogue) Reader {
	return &inMemory{Catalogue: c, places: map[string]map[string]catalog.Place{}}
}

type inMemory struct {
	*memory.Catalogue
	places map[string]map[string]catalog.Place
}

// Rows gives the rows of t in the order of their keys.
func (m *inMemory) Rows(t *catalog.Table) iter.Seq2[catalog.Row, error] {
	return func(yield func(catalog.Row, error) bool) {
		for r := range m.Catalogue.Rows(t.Name) {
			if !yield(r, nil) {
				return
			}
		}
	}
}

// Place tells where the row of that key stands.
func (m *inMemory) Place(t *catalog.Table, key string) catalog.Place {
	places := m.places[t.Name]
	if places == nil {
		places = map[string]catalog.Place{}
		for r, at := range m.Catalogue.Rows(t.Name) {
			places[string(t.RowKey(nil, r))] = at
		}
		m.places[t.Name] = places
	}
	return places[key]
}
