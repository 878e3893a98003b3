// Package index finds rows of the catalogue and the shop's notes by words, by
// pieces of numbers, by words of the trade and in spite of typing errors.
//
// # What is looked up where
//
// A number that is given whole is answered by the catalogue itself ([Reader]),
// so that what exists never hangs on the index; only whether a number is a
// supplier's is asked of the index first, since the store keeps all offers of a
// supplier together. Everything else comes from the index, which is derived from
// the catalogue and can be thrown away at any moment:
//
//   - words: a segment of the text library (zapx, with vellum dictionaries),
//     one document for each family, part, further number, scope of work, mark,
//     fluid specification, source and note, and for each description that
//     variants share;
//   - pieces of numbers, patterns with ? and mistyped numbers: one list of all
//     folded numbers with a line feed between, looked through from end to end. A
//     million codes are some 12 MB, and walking them takes a few milliseconds;
//     as documents of the text library they would take longer to build than the
//     whole import.
//
// The text library is used in pieces: segments, dictionaries, stemming. Its
// index manager is left out, because linking it builds the automata for spelling
// errors at the start of every process, whether it searches or not, and because
// an index that is replaced as a whole needs none: it is built beside the old
// one, sealed with check sums and renamed ([Open]).
//
// The shop's notes have an index of their own, since they change at any moment;
// those that changed after it was made are read beside it, so that a note is
// found at once and saving one never waits.
//
// # How hits are ranked
//
// By BM25 over weighted fields (name, other texts, what the thing belongs to),
// times the square of the share of the query, by weight, that the thing holds.
// Equal words of the trade count as one word. Pieces of numbers count by where in
// the number they stand. Whole numbers stand before everything else.
//
// What must not live here: deciding what fits (package resolve, which does not
// know this package), words for people (package render), the truth (package
// store).
package index
