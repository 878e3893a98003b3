// Package advise plans checks: which thing to look at, count or measure next,
// and what after each answer, so that with the least expected effort every goal
// is settled that can be settled.
//
// # The question
//
// A [Problem] has worlds, goals and checks. A world is one state that the thing
// looked at can still be in, with a weight; for every goal it has an [Outcome].
// A set of worlds settles a goal if all of them have the same class, which is
// not [Unstated], and in every slot of that class at least one choice is common
// to all of them. A world whose outcome is unstated, or has a slot without
// choices, settles nothing, and neither does a set that it belongs to. Who knows
// more settles no less: a part of a set that settles a goal settles it.
//
// A check gives one answer. For each world it has the answers that this world
// can give, with their shares; a world for which nothing is recorded can give
// any, all alike. With the probability [Check].Unseen, the same in every world,
// nothing can be made out; the effort is spent then and the plan goes on without
// that check. A check is made once at most. Given the world, the answers of
// different checks are independent.
//
// # The plan
//
// At every point the worlds left are those that could have given all answers so
// far. A goal that they settle stays settled. A goal is out of reach there if no
// combination of answers to the checks not yet made leaves worlds that settle
// it. The plan ends (a leaf) exactly where every goal is settled or out of
// reach, and nowhere else: a goal that still can be settled is chased even where
// that is unlikely, and none that cannot be. Worlds that settle the same goals
// together need no telling apart, and worlds that answer all checks alike cannot
// be told apart; these are one group.
//
// The expected effort is over the weights of the worlds, the shares of the
// answers and the probabilities that nothing can be seen. Adding a check never
// raises the least expected effort as long as the plan without it settles every
// goal at every leaf. Otherwise it can, since it may bring a goal into reach, or
// be the one more thing to try where another could not be seen.
//
// # How it is found
//
// Up to [Options].ExactGroups groups and [Options].ExactChecks checks that tell
// groups apart, by dynamic programming over the sets of groups left, the checks
// left and the probabilities, with branch and bound. The lower bound follows the
// runs in which every check is seen and the true world gives its only possible
// answer, lets all other runs go for nothing, and is itself a dynamic program.
// Where two plans differ by less than a part in 10^10 they are equal, and the
// cheaper first check, then the first by id, is taken. Beyond
// [Options].Budget states the search stops, and the plan is the best one found,
// with the lower bound proven by then ([ExactCut]).
//
// Otherwise by the greedy rule for equivalence classes (EC², Golovin, Krause and
// Ray, "Near-Optimal Bayesian Active Learning with Noisy Observations", NIPS
// 2010): worlds of different classes are joined by an edge that weighs the
// product of their probabilities, and the next check is the one that in
// expectation cuts the most weight for its effort. An edge is cut when one of its
// worlds is excluded. Classes are sets of groups of which it is certain that they
// need no telling apart: for each goal, all of them together settle it or none of
// them does alone. Where choices overlap without being the same in all, groups
// are put into classes first fit, heaviest first; edges can then join groups that
// could have stayed together, which costs effort but never settles less.
//
// The paper bounds the expected effort of its rule by 2 ln(1/p) + 1 times the
// least, p being the least probability of a world. That rests on a theorem of
// Golovin and Krause whose proof Nan and Saligrama (2017) found wrong; the
// corrected one (arXiv:1003.3967 version 5, theorem 13) has the square. The
// square is what [Summary].Factor holds, and only where the assumptions of the
// paper hold: one answer for each check in each world, every check can be seen,
// and classes that are a true partition. What a plan promises in every case is
// [Summary].Gap: its effort less a lower bound worked out for this very problem,
// which up to 64 groups and checks is that of the exact search, and beyond it
// Huffman's for the classes that must be led apart.
//
// # What lives here
//
// Problems and plans as values, and nothing of the trade. What must not live
// here: catalogues, variants, roles, stores, files, clocks, random numbers,
// sentences. The package imports nothing of the project.
package advise
