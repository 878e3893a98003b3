// Package cli is the command line of Platewright: one file for each command,
// the one table of exit codes ([Main] alone maps errors to them), and the
// choice of the catalogue that a command works on.
//
// What must not live here: deciding (package resolve), words of an answer
// (package render). Nothing below [Main] ends the process.
package cli
