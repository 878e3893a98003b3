// Package seal judges seals, sleeves and feed tubes by their length: what a used
// one has lost, whether it is below the limit of the catalogue, which one of several
// it was, and to which places a mixed handful belongs.
//
// # One-sided
//
// Use makes a seal shorter and never longer. So a measured length can be any nominal
// length that is not below it by more than the tolerance of a new one and what the
// measuring can be off. It can be one above it only so far as a seal can have worn:
// down to its fitted height where the catalogue knows that (a seal at its fitted
// height has no spring left, a compression set of 100 %), less what the measuring can
// be off, else down to [catalog.Deepest] of its length, or to the shortest new one where that is
// shorter. That share is common practice without a published source.
//
// # Figures
//
// The loss is in millimetres and in per cent of the free length of a new one. In
// per cent it is also the compression set of ASTM D395 method A,
// (t0 − ti) / t0 · 100. The compression set of method B, the same as that of ISO 815-1, is
// (t0 − ti) / (t0 − tn) · 100 with tn the height to which it was held; a seal in
// service was held for years and hot, and not under the conditions of a test, so
// the number is compared with none of those.
//
// # A handful
//
// Pieces are assigned to places so that as many as possible have one, and among
// these ways with the least loss in all; no place takes more than the catalogue says. The
// result is exact. For each piece every place is listed that it has in some way of
// placing as many pieces: where that is more than one, the handful does not settle
// which piece was where. Where the person has named every piece, each is judged for
// itself, and nothing is counted.
//
// This package knows no store and no words for a screen.
package seal
