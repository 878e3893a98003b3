// Package purchase plans what to order from whom: the lines that together cover
// everything needed, from the shelf, as singles or as sets, in whole packs, over
// suppliers with freight, limits, stock and days, at the least total, the
// soonest, or in the fewest deliveries, with the proof that nothing better
// exists.
//
// # The question
//
// A [Problem] is self-contained. A [Need] is met in one of its ways, and a way
// wants pieces of items; an item is anything that can be counted, and of a
// fluid a piece is whatever part of a litre the caller chooses. Ways of one
// need are never mixed: of two fluids that both would do, one fills the unit.
// Pieces of an item come from the shelf, from packs of a [Good] that holds
// them, and from items that serve in their place ([Serves]), where mixing is
// fine. One piece serves one need. What is bought beyond the needs is a spare.
//
// Offers are bought in whole packs, at the price of the break that the number
// of packs reaches, as far as the stock goes. An order to a supplier costs its
// freight unless the goods on it reach the limit from which freight is free,
// and its goods must reach the least order value. Buying more than is needed is
// allowed where it pays: to reach a price break, a limit, or because packs and
// sets are larger. Offers of goods that serve none of the needs are never
// bought. Each supplier delivers once, when its slowest line has come.
//
// # The answer
//
// A [Plan] names orders, spares, arrival and total, and its [Proof]: no plan for
// the same question is better than the bound. Where the bound is the value, the
// plan is proven best; where a limit stopped the search before that, the proof
// says which and how far apart the two still are. A need that cannot be covered
// at all is left out as a whole and listed with the reason; of needs that
// cannot be covered together, the earlier ones in the order given stay.
//
// Plans that are equally good in their aim are told apart in fixed order: the
// lower total, fewer suppliers, the earlier last arrival. What is still equal is
// decided by a search that always runs alike and leans to offers that come first
// by supplier and stock number. The order in which ways' amounts, goods, offers,
// suppliers and the shelf are given changes nothing.
//
// # How it is found
//
// By branch and bound in whole numbers. Items that serve for each other become
// covering rows by Hall's theorem, so that the model is one of covering alone.
// The bound shares the fixed cost of each supplier, and the price of each set,
// out among the rows; every row then picks its own cheapest cover by dynamic
// programming over its pieces, exact in packs, breaks and stock, and the sum is
// what any plan costs at least (the dual of uncapacitated facility location, and
// Lagrangian decomposition for the sets). A limit of value is paid for in part
// instead. Multipliers are improved by subgradient steps. Branching is on what
// becomes of a supplier (closed, paying freight, free of it), with each promising
// choice tried first, then on ways, packs of sets, and packs that decide a limit.
// Suppliers and offers whose other choice cannot beat the best plan are settled
// at once.
//
// Where many needs share many sets, or many plans lie within cents of each other
// around a limit, a proof takes long; give a deadline or [Options].
//
// # Money
//
// Amounts are decimal numbers in the currency of their supplier, and the plan
// is in one currency. Amounts in other currencies are converted at the rates
// given, and rounded half up to a hundredth of the minor unit; a supplier's own
// limits are compared in its own currency. No amount is ever held in binary
// floating point, the bound included.
//
// # What must not be here
//
// No store, no clock, no files: the caller reads the catalogue and says on which
// day each supplier sends off. No sentences either: reasons are codes with
// values.
package purchase
