// Package judge holds the independent judge of package resolve: the rules of a
// decision, as DEVELOPERS.md states them, written a second time in SQL and run
// by the sqlite3 shell over the same catalogues and questions.
//
// What lives here: tests, the SQL and what drives it. What must not: anything
// that a program imports, and any code shared with package resolve beyond the
// values that it answers with.
package judge
