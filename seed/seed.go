// Package seed holds the demo catalogue: a Data Package that is embedded in the
// program and answers while no catalogue of one's own has been imported.
//
// Everything in it is made up: makers, units, vehicles, parts, numbers,
// suppliers and prices exist nowhere. The few facts of the trade carry a source
// of the kind common-practice. README.md says what the demo shows, which plates
// to try and what the answers must be.
//
// What lives here: the tables, kept by hand, and their embedding. What must
// not: code that reads them (package pack) or decides with them (package
// resolve).
package seed

import "embed"

// FS is the demo catalogue: datapackage.json and one CSV file for each table,
// at the top of the file system.
//
//go:embed datapackage.json *.csv
var FS embed.FS
