// Package leak judges air and vacuum tests: a fall of pressure in a closed volume
// over a time is a leak rate, which is held against a port's limit.
//
// The rate is the volume of gas at ambient pressure that passes in a minute:
//
//	Q = V · Δp / (p_ambient · t)
//
// for an ideal gas at constant temperature. It is the vacuum-decay equation of
// 40 CFR 1065.644, n = V/R · (p2/T2 − p1/T1) / (t2 − t1), with equal temperatures and
// the amount of gas expressed as its volume at ambient pressure, Q = n·R·T/p_ambient;
// it is also the pressure-loss equation in use for leak testers. It holds for pressure
// and for vacuum alike.
//
// What lives here: the arithmetic and the verdict. What must not: how a catalogue
// is read, words for a screen.
package leak
