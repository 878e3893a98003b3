// Package goods checks what arrives against what was ordered: is it the right
// number, are there enough, does it look as it should, and what is it if it is
// something else.
//
// What lives here: what was ordered as goods-in needs it (Order), what arrived as
// it is kept (Receipt), how the receipts of an order add up (Desk.State), what a
// typed or scanned number stands for, what is to be expected by eye, and what a
// part would fit that was not ordered.
//
// # The rules of goods-in
//
//   - Counted are pieces; of a fluid, containers. A count in packs is turned into
//     pieces by the pack of the order's line or of the supplier's offer.
//   - A number names a part: its own number, another number of it, the supplier's
//     stock number, or a number that a confirmed note of the shop says stands for
//     it. A number that stands for two parts is refused, and so is one for which
//     there is only an open note. The code of one of our own sheets says what was
//     ordered and never what came.
//   - A part counts for a line if it is what the line orders, or serves for it by
//     the catalogue (one way from old to new, or interchange) and is not kept from
//     the unit. Whatever else arrives is foreign: it is written down with what it
//     would fit, and counts for nothing.
//   - A line is complete when as many pieces are here as were ordered, none more is
//     undecided, each was looked at where there is something to look at, none looks
//     otherwise, what a replacing number demands is on the order, here, or on the
//     shelf, and it is settled that the replacing number fits the unit. An order is complete when its lines are and nothing foreign is
//     left undecided.
//   - Nothing is taken out of the history: a return, a correction and what is kept
//     in the shop are entries of their own.
//   - One delivery note counts once. What repeats the receipt before, and what comes
//     for a line of which all came before, is refused unless it is said to be another
//     delivery.
//
// What must not be here: stores, files, clocks, sentences for the screen beyond the
// findings on what was typed.
package goods
