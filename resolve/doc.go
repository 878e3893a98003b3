// Package resolve decides: from what was read and seen on a unit, which
// variants it can still be, and for each role which parts fit, do not fit, or
// are not settled, with the reasons and the next thing to look at.
//
// What lives here: the question, the decision with its proof as values
// ([Decision]), candidates, conflicts, fit with supersession and companions,
// look-alikes, the gate before ordering. The rules are numbered in DEVELOPERS.md
// and the code names them where it applies them (C1, O4, V2, …).
//
// What must not: stores and files (the catalogue is a [Catalogue], three
// methods), clocks, globals, and sentences: a [Reason] is a code with typed
// arguments, and each screen has its own words for it.
package resolve
