// Package order turns a decision about a unit into a purchase: the lines that are
// safe to order become needs, package purchase plans them, and the plan is given
// back in parts, roles, suppliers and money that a person can follow.
//
// What lives here: which lines become needs and in which ways they can be met
// ([Propose]), what the shelf, kits, offers and price breaks of the catalogue mean
// for them, the day on which a supplier sends off, what one plan costs beside
// another, what a narrower scope of work leaves at risk ([Leaves]), and the record
// of an order as it is kept and printed ([Sheet]).
//
// # The rules of an order
//
//   - Only lines that are safe to order become needs. A held line becomes one only
//     by name and with a reason ([EvenHeld]), and stands out in all that follows.
//   - Every choice of a line that can be bought is a way to meet it, unless a
//     confirmed note says that a part of it did not fit. Ways are not mixed: of two
//     fluids that would do, one fills the unit.
//   - A part that is stated, or passed on the way to what replaces it, serves from
//     the shelf though it is not sold any more.
//   - A companion that another line of the same plan brings in at least the same
//     quantity is not bought twice; where that line is not ordered, or is met in
//     another way, it is bought.
//   - A kit whose contents the catalogue states is met by its contents, however
//     they come: in the kit, in another kit, one by one, from the shelf. Sets are
//     matched by their maker and are never taken apart.
//   - Fluids are counted in hundredths of a litre. What the shelf holds of a fluid
//     is counted in litres.
//   - An offer without a number in stock is out of stock, unless it names the days
//     until it leaves: then the supplier gets it in, in any number.
//
// What must not be here: stores, files, clocks. Whoever calls says what time it is
// and keeps the record.
package order
