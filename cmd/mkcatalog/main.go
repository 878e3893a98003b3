// Command mkcatalog writes a synthetic catalogue of any size as a Data Package,
// and plates of its units as a list for `platewright resolve --from`. The same
// options give the same bytes.
package main

import (
	"os"
)

func main() { os.Exit(run(os.Args[1:], os.Stdout, os.Stderr)) }
