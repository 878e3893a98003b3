// Package alike lists the pairs of variants of a whole catalogue that can be
// taken for each other and take different parts (rules L1 to L4), the worst
// first, and says how each pair is told apart.
//
// It reads a catalogue through the methods of [resolve.Catalogue] and asks
// [resolve.Comparer] what variants show and take, so that it never decides by
// rules of its own. Here live the search for pairs one slip apart, the joining
// of variants that show the same, the order of the list and the bounds of its
// memory. No store, clock, text for people or file format belongs here.
package alike
