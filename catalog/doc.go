// Package catalog is the model that everything else in Platewright speaks of:
// the rows of a catalogue of transmission variants and parts, the tables that
// hold them, the rules that a row and a whole catalogue must obey, and the
// findings that say where one does not.
//
// What lives here: row types ([Variant], [Fit], …), their table descriptors
// ([Tables], one [Table] a row type, each column described once), the text
// forms of codes, serial numbers, dates and conditions, and the checks.
//
// What must not: files and file formats (package pack), storage (package
// store), deciding what fits (package resolve), sentences for a person other
// than those of a [Finding].
//
// Every column has one canonical text form; packages, workbooks and the store
// all carry that form, so a value survives each round trip unchanged. A code
// has two: the spelling that is printed, and the key ([Fold]) by which it is
// found. Two codes with equal keys are the same code.
package catalog
