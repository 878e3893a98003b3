// Package fluid answers what a unit's fluid must be, how much of it, and how it is
// filled; what a level set at the wrong temperature means; and whether a data sheet
// holds together and keeps a specification's limits.
//
// # Arithmetic
//
//   - ISO 3448: a grade takes ten per cent to either side of its middle at 40 °C, and
//     between the grades there are gaps.
//   - ASTM D2270 (ISO 2909): the viscosity index by procedures A and B over the
//     standard's table of L and H (lh.csv), with straight lines between its rows and the
//     standard's formulae above 70 mm²/s; below 2 mm²/s at 100 °C it is not defined.
//   - ASTM D341: a straight line of log log Z over log T through two measured points,
//     with Z = v + 0.7 + exp(−1.47 − 1.84·v − 0.51·v²), T in kelvin.
//   - Thermal expansion: API MPMS 11.1 (ASTM D1250-04) for lubricating oils where
//     the density is known, α = 0.34878/ρ per °F at 60 °F and
//     CTL = exp(−α·ΔT·(1 + 0.8·α·ΔT)); else 0.00070 per °C, a handbook's value for oil.
//
// # What a level set outside the window means
//
// The level fixes a volume, at whatever temperature the fluid has. Brought into the
// window the same fluid has another volume: less after it was set too hot, more
// after it was set too cold. The difference in litres over the surface at the level is
// the difference in millimetres. The fluid that grows is all of it, so the volume of the
// dry unit counts where it is known. The case grows as well, an aluminium one by about a
// tenth of what the fluid does; that is left out, so the figures are on the large side.
//
// # Which fluid
//
// As rule O8 of a decision has it: fluids that meet the specification asked for
// before those of one that serves for it, in one step and in that direction only;
// within each, approved before claimed by the fluid's maker alone. A fluid whose own
// data sheet has a figure outside the limits of the specification stands apart.
//
// # Misprints
//
// A stated viscosity index is held against the range that the two viscosities allow
// as they are rounded on the sheet. Where it is outside, or the pair alone gives no
// index between [LeastIndex] and [MostIndex], the slips that would explain it are
// tried one at a time: the two viscosities swapped, a figure ten times too large or
// too small. What is found is a question to the sheet, never a correction.
//
// This package knows no store and no words for a screen.
package fluid
