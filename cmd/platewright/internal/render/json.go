package render

import (
	"encoding/json"
	"io"
)

// JSON writes a result for programs, indented, as one document.
func JSON(w io.Writer, v any) error {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	return e.Encode(v)
}

// VersionSchema names the form of [Version] as JSON.
const VersionSchema = "platewright/version/1"

// Version says which build of the program answers.
type Version struct {
	Schema   string `json:"schema"`
	Version  string `json:"version"`
	Revision string `json:"revision,omitempty"` // of the source, where the build recorded it
	Go       string `json:"go"`
	Platform string `json:"platform"`
}

// SchemasSchema names the form of [Schemas] as JSON.
const SchemasSchema = "platewright/schemas/1"

// Schemas lists the names of the published JSON Schemas.
type Schemas struct {
	Schema string   `json:"schema"`
	Names  []string `json:"names"`
}
