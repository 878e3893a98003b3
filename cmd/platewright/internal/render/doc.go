// Package render turns result values into text, JSON and CSV. Every function
// here is a function of the value it is given: the same value is the same bytes.
//
// What lives here: the words of the program, one sentence for each code of a
// reason ([Sentence]); the layout of a text on a screen; the published JSON
// Schemas ([SchemaText]).
//
// What must not: deciding, reading a catalogue, flags, exit codes, terminals.
package render
