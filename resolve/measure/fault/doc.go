// Package fault reads trouble codes and says what a code points at in a unit: the
// actuator site, the apply elements that it serves, the gears that would show it, and
// whether a complaint about gears fits.
//
// The form of the codes, and who defines which of them, follow SAE J2012 and ISO
// 15031-6. What a code means in a unit is the catalogue's to say; the standards'
// descriptions are not carried here.
//
// What lives here: the form of codes and what follows from the catalogue's rows.
// What must not: how a catalogue is read, words for a screen.
package fault
