// Package plate reads identification plates and labels: what characters a
// person could make out ([Reading]), how a maker's plate is composed
// ([Layout]), which layouts a reading can be of and what then stands in their
// fields ([Match]), what check characters rule out or recover ([Check]), which
// variant keys of a catalogue a worn plate can still mean ([Find]), and which
// readings one slip away would be a known plate ([Near], [Neighbours]).
//
// Layouts are data: a [catalog.Layout] with its [catalog.Field] rows is
// compiled once and can then be used by many goroutines.
//
// What must not live here: a store or a clock, deciding which variant or part
// it is (package resolve), and sentences for a person. All results are values.
//
// Texts are compared as [catalog.Fold] folds them: upper case, without spaces
// and separators. A place is one character of the folded text; places count
// from 1 in results.
package plate
