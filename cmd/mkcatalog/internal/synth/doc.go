// Package synth makes catalogues of any size from a seed number: made-up
// makers, units, plates, parts and statements in about the proportions of a
// working catalogue, for measuring and for tests.
//
// What lives here: the shape of such a catalogue and the plates of its units.
// What must not: the writing of packages (package pack), and anything that
// looks like data of a real maker. Every code holds a Q, a 7 or plain digits of
// a made-up series, and every name is put together from syllables.
//
// A [World] is a [pack.Source]. It holds families and parts in memory and makes
// everything that grows with the number of variants anew each time it is asked
// for, family by family, from random numbers that depend on nothing but the seed
// and the family. The same options therefore give the same rows, in whichever
// order the tables are read.
package synth
