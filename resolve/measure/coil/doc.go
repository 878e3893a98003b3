// Package coil judges the coils of a unit's actuators by their resistance.
//
// A coil is wound of copper, so its resistance rises with its temperature: a
// reading is brought to the temperature at which the catalogue states the nominal
// before it is judged, and the window is brought to the temperature at which was
// measured, since that is what a meter shows.
//
//	R(t) = R(20 °C) · (1 + 0.00393/K · (t − 20 °C))
//
// The coefficient is that of annealed copper in IEC 60028. From 20 °C to 100 °C a
// resistance rises by 31 per cent. Annealed wire as it is sold has 0.00381 to 0.00397
// (a resistance meter's manual, after a handbook for electrical engineers), so a
// reading at 100 °C can be brought to 20 °C wrong by a per cent, and one near 20 °C by
// nothing that a meter shows.
//
// A reading that is in order cold does not clear a coil that fails hot, and an
// answer says so. A reading that fits some of the variants that a unit can still be
// and not others tells them apart; one that fits none of them tells of a fault of the
// coil, and of no variant.
//
// What lives here: the arithmetic and the verdicts, as data. What must not: how a
// catalogue is read, words for a screen, how a variant is excluded (that is package
// resolve, which takes a reading at a site as an observation).
package coil
