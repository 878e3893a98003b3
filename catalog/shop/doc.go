// Package shop holds the rules of the shop's own records: its notes and its job
// cards. What happens to them is an [Event]; a [Note] or a [Card] is what the
// events so far have made of it.
//
// What lives here: what a note and a card are, what may be done to them and by
// whom, how notes of two shops are put together, what the notes change in what
// the catalogue says ([Over]), which notes want looking at again ([Review]).
//
// What must not: files and the store (package store keeps the events), deciding
// what fits, a clock (times are passed in), sentences for the screen.
package shop
