package index

import "platewright/catalog"

// Kind is what sort of thing a hit is.
type Kind string

const (
	KindFamily  Kind = "family"
	KindVariant Kind = "variant"
	KindPart    Kind = "part"
	KindKit     Kind = "kit"    // a kit or set
	KindNumber  Kind = "number" // another number of a part
	KindStock   Kind = "stock"  // a supplier's stock number of a part
	KindWork    Kind = "work"   // a scope of work
	KindMark    Kind = "mark"
	KindSpec    Kind = "spec" // a fluid specification
	KindSource  Kind = "source"
	KindNote    Kind = "note"
)

// Kinds lists all kinds, in the order in which equally good hits stand.
var Kinds = []Kind{KindPart, KindKit, KindNumber, KindStock, KindVariant, KindFamily, KindWork, KindMark, KindSpec, KindNote, KindSource}

// Query is what is looked for. A text of any characters is a query; there are
// no operators but double quotes around words that must follow one another, ?
// for one character of a number, and * at the end of a word.
type Query struct {
	Text     string   `json:"text"`
	Kinds    []Kind   `json:"kinds,omitempty"`    // only hits of these kinds
	Makers   []string `json:"makers,omitempty"`   // only what belongs to units of these makers
	Families []string `json:"families,omitempty"` // only what belongs to these families
	Roles    []string `json:"roles,omitempty"`    // only what serves in these roles
	Sources  []string `json:"sources,omitempty"`  // only what rests on these sources
	Offset   int      `json:"offset"`             // hits to leave out at the start
	Limit    int      `json:"limit"`              // most hits to give
	Facets   bool     `json:"facets"`             // count what all the hits belong to
}

// Result is the answer to a query.
type Result struct {
	Query  Query   `json:"query"`
	Words  []Word  `json:"words"`  // how the query was read
	Hits   []Hit   `json:"hits"`   // the best first; exact numbers before all others
	Total  int     `json:"total"`  // hits in all; where ten or more things hold every word, those that lack one are none
	More   bool    `json:"more"`   // there are more hits than were counted
	Facets []Facet `json:"facets"` // what the hits belong to
	Index  State   `json:"index"`
}

// WordKind is how a word of a query was taken.
type WordKind string

const (
	WordText   WordKind = "word"      // looked for in texts
	WordNumber WordKind = "number"    // looked for in numbers, and where texts mention it
	WordPhrase WordKind = "phrase"    // words that must follow one another
	WordFiller WordKind = "filler"    // what people say around the words that count
	WordUnmet  WordKind = "not-found" // nothing holds it
)

// Word is a word of the query and what was looked for because of it.
type Word struct {
	Text   string   `json:"text"` // as it was typed
	Kind   WordKind `json:"kind"`
	Anchor Anchor   `json:"anchor,omitempty"` // of a number: where in the number it must stand
	Also   []string `json:"also"`             // words of the trade that were looked for too
	Read   []string `json:"read"`             // what it was taken for, where it is not in any text as it was typed
	// Misread says of a number that it was taken for one in which a letter stands for
	// the digit that looks like it, or the other way round.
	Misread bool `json:"misread,omitempty"`
}

// Anchor is where in a number a piece of it stands.
type Anchor string

const (
	AnchorWhole    Anchor = "whole"
	AnchorLeading  Anchor = "leading"
	AnchorTrailing Anchor = "trailing"
	AnchorInner    Anchor = "inner"
	AnchorNear     Anchor = "near" // one typing error away
)

// Hit is one thing found.
type Hit struct {
	Kind     Kind     `json:"kind"`
	Code     string   `json:"code"`            // its number or short name; of a note, its identity
	Name     string   `json:"name"`            // in words
	Of       string   `json:"of"`              // the part that a number stands for, what a note is about; else ""
	OfKind   string   `json:"ofKind"`          // the table or kind of Of; else ""
	State    string   `json:"state,omitempty"` // of a note
	Count    int      `json:"count,omitempty"` // variants of this description, where there are several
	Exact    bool     `json:"exact"`           // its number is exactly what was asked for
	Anchor   Anchor   `json:"anchor,omitempty"`
	Score    float64  `json:"score"`
	Fields   []Field  `json:"fields"`  // the texts that describe it, with what matched; harmless to show
	Missing  []string `json:"missing"` // words of the query that others hold and it does not
	Makers   []string `json:"makers"`
	Families []string `json:"families"`
	Roles    []string `json:"roles"`
	Next     []string `json:"next"` // arguments of the command to run next

	table *catalog.Table
	key   string
}

// Field is a text of a hit. Characters that would act on a screen instead of
// being shown are spelled out, so that the text is harmless on a terminal and,
// escaped as usual, on a page.
type Field struct {
	Name  string `json:"name"`
	Text  string `json:"text"`
	Spans []Span `json:"spans"` // what matched, in order, apart from one another
	Cut   bool   `json:"cut,omitempty"`
}

// Span is a piece of a text, in bytes: from From to just before To.
type Span struct {
	From int `json:"from"`
	To   int `json:"to"`
}

// Facet counts what the hits belong to.
type Facet struct {
	Name   string       `json:"name"` // kind, maker, family, role
	Values []FacetValue `json:"values"`
}

// FacetValue is one thing that hits belong to.
type FacetValue struct {
	Value string `json:"value"`
	Count int    `json:"count"`
}

// State says what answered.
type State struct {
	How     How    `json:"how"`
	Why     string `json:"why"` // why it was not ready; else ""
	Edition int    `json:"edition"`
	Change  int    `json:"change"` // number of the last change of the shop's notes that is answered for
	Docs    int    `json:"docs"`
	Notes   int    `json:"notes"` // notes read beside the index, since they changed after it was made
}

// How is where an answer comes from.
type How string

const (
	FromIndex   How = "index"   // the index was ready
	FromRebuilt How = "rebuilt" // the index was built first
	FromReading How = "reading" // the catalogue was read through, without an index kept on disk
)
