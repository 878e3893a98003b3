// Package audit finds what is wrong in the meaning of a catalogue that is sound
// in its form: statements that contradict each other, numbers that lead nowhere,
// kits without a seal, variants that nothing tells apart. [Run] reads the large
// tables once, in the order of their keys, and hands each [Finding] on as it is
// found; what it keeps in memory grows with the small tables, and by some forty
// bytes for each variant. Findings that a person has looked at and accepted are
// kept in a file of their own ([Acceptances]).
//
// What every kind of finding means is written beside its constant, in the words
// by which an independent check can be written.
//
// What must not live here: rules of single rows and references (package
// catalog), what a unit takes (package resolve), words for people (package
// render).
package audit
