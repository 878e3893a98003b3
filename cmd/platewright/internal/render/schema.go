package render

import (
	"embed"
	"io/fs"
	"slices"
	"strings"
)

//go:embed schema/*.json
var schemas embed.FS

// SchemaNames lists the published JSON Schemas.
func SchemaNames() []string {
	entries, err := fs.ReadDir(schemas, "schema")
	if err != nil {
		return nil
	}
	var out []string
	for _, e := range entries {
		out = append(out, strings.TrimSuffix(e.Name(), ".json"))
	}
	slices.Sort(out)
	return out
}

// SchemaText gives the JSON Schema of the answers that name says, and whether
// there is one.
func SchemaText(name string) ([]byte, bool) {
	b, err := schemas.ReadFile("schema/" + name + ".json")
	return b, err == nil
}
