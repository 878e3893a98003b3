// Package measure holds quantities: numbers with a unit, as a person writes them
// down at the bench, read without guessing and converted by exact factors.
//
// # How a number is read
//
// A number is a sign that may be missing, digits, and at most one decimal mark
// with digits on both sides.
//
//   - A point is always the decimal mark: 1.234 is a little more than one.
//   - A comma is the decimal mark where it cannot separate thousands: 10,8 is
//     10.8, 0,125 is 0.125 (no group of thousands begins with zero) and 1234,567
//     is 1234.567 (groups have three digits).
//   - A comma before exactly three last digits and after one to three digits, the
//     first of them not zero, can be either and is refused: 1,234.
//   - Two separators, a space or an apostrophe between digits, an exponent and a
//     fraction are refused, each by name.
//
// # How a unit is read
//
// A unit is required, unless the text comes from a column that has one. Case,
// spaces, dots and hyphens in a unit make no difference, except where only the case
// tells two units apart (mΩ and MΩ). What names several units is refused: qt is a
// quart of the United States or an imperial one, lb is no torque.
//
// # Factors
//
// Factors are exact ratios of decimal numbers. They rest on the definitions in
// NIST SP 811 (2008 edition), appendix B: the inch is 25.4 mm, the pound
// 0.45359237 kg, standard gravity 9.80665 m/s² (B.8, B.9). A conversion is exact where
// its result has a finite decimal form, and else rounded to 24 places.
//
// This package knows no unit of a gearbox, no catalogue table and no words for a
// screen. What a coil, a fastener or a seal makes of a quantity is decided in the
// packages below this folder.
package measure
