// Package ring says which standard size an O-ring is, by its inside diameter and
// its section, whether it is worn or stretched, whether the rings of a catalogue
// are the sizes that they are said to be, and what published tables say about a
// material in oil at a temperature.
//
// The sizes are those of AS568, which ISO 3601-1 lists for industrial use; the
// table stands in sizes.csv with its source. Inches are converted to millimetres
// exactly, by 25.4.
//
// # What a measured ring can be
//
// A ring is read against each size with the tolerances of the size widened by what
// the measuring can be off.
//
//   - It is the size (within) if both the inside diameter and the section are within.
//   - It can have been the size if the one or the other is off by no more than use
//     does to a ring: an inside diameter up to [MostStretch] over (stretched) or
//     [MostShrink] under (shrunk), a section up to [MostLoss] under (worn) or
//     [MostSwell] over (swollen). These bounds are common practice without a
//     published source: beyond them nobody would call it the same ring.
//
// Where it is a size, what it can have been is left out: a good ring of one size is
// never called a worn one of another. What it can have been is listed with what needs
// the fewest assumptions first, wear and stretching, which every ring sees, before
// swelling and shrinking; among equals the nearest.
//
// A ring of the catalogue that is no size of the table is compared by its own
// measures, with the tolerances of ISO 3601-1 for other sizes (class B).
//
// The guidance on materials is that of published comparisons (materials.csv) and
// nothing more: compounds differ, and the maker of the ring and of the unit know
// better. This package knows no catalogue of parts, no store and no words for a
// screen.
package ring
