package render

import (
	"bytes"
	"encoding"
	"encoding/json"
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"

	"platewright/catalog"
	"platewright/resolve"
	"platewright/resolve/alike"
	"platewright/resolve/measure"
)

// published are the answers that have a JSON Schema, by the name of the schema.
var published = map[string]any{
	"card":            CardAnswer{},
	"cards":           Cards{},
	"cards-affected":  CardsAffected{},
	"note":            Noted{},
	"shop":            ShopState{},
	"notes":           Notes{},
	"note-history":    NoteHistory{},
	"note-exchange":   NoteExchange{},
	"note-review":     NoteReview{},
	"note-rules":      NoteRules{},
	"order":           Order{},
	"orders":          Orders{},
	"receive":         Receive{},
	"resolve":         resolve.Decision{},
	"resolve-list":    ListRow{},
	"search":          Search{},
	"where-used":      resolve.WhereUsed{},
	"compare":         resolve.Comparison{},
	"look-alikes":     resolve.LookAlikePairs{},
	"look-alikes-all": alike.Line{},
	"measure-coil":    MeasureCoil{},
	"measure-fault":   MeasureFault{},
	"measure-torque":  MeasureTorque{},
	"measure-leak":    MeasureLeak{},
	"measure-seal":    MeasureSeal{},
	"measure-ring":    MeasureRing{},
	"measure-fluid":   MeasureFluid{},
	"measure-sheet":   MeasureSheet{},
	"import":          Import{},
	"changes":         Changes{},
	"editions":        Editions{},
	"info":            Info{},
	"done":            Done{},
	"tables":          Tables{},
	"version":         Version{},
	"schemas":         Schemas{},
	"audit":           AuditLine{},
	"accepted":        Accepted{},
}

// The published schemas are written out from the result types, their comments
// and their constants by -update, and kept as files: a change of what programs
// read is a change of a file that somebody has to look at.
func TestSchemasAreThoseOfTheResults(t *testing.T) {
	s := newSchemer(t)
	for name, v := range published {
		golden(t, "../schema/"+name+".json", s.document(name, v))
	}
	files, err := filepath.Glob("schema/*.json")
	require.NoError(t, err)
	if len(files) != len(published) {
		t.Errorf("schema/ has %d files, %d schemas are published", len(files), len(published))
	}
}

// The schemas must be schemas, by the meta-schema of draft 2020-12 that the
// validator carries.
func TestSchemasCompile(t *testing.T) {
	for _, name := range SchemaNames() {
		compiled(t, name)
	}
}

func compiled(t *testing.T, name string) *jsonschema.Schema {
	t.Helper()
	text, ok := SchemaText(name)
	require.True(t, ok, name)
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	require.NoError(t, err, name)
	c := jsonschema.NewCompiler()
	c.DefaultDraft(jsonschema.Draft2020)
	require.NoError(t, c.AddResource("https://platewright.invalid/schema/"+name, doc))
	s, err := c.Compile("https://platewright.invalid/schema/" + name)
	require.NoError(t, err, name)
	return s
}

func TestStoredDecisionsObeyTheSchema(t *testing.T) {
	s := compiled(t, "resolve")
	for _, folder := range []string{"decision", "part"} {
		for _, name := range storedNames(t, folder) {
			var b bytes.Buffer
			require.NoError(t, JSON(&b, stored(t, folder, name)))
			doc, err := jsonschema.UnmarshalJSON(&b)
			require.NoError(t, err)
			if err := s.Validate(doc); err != nil {
				t.Errorf("%s: %v", name, err)
			}
		}
	}
}

// A schema that lets everything through would make the tests above worthless.
func TestSchemaRefusesDrift(t *testing.T) {
	s := compiled(t, "resolve")
	for _, change := range []struct {
		name string
		do   func(map[string]any)
	}{
		{"a key too many", func(d map[string]any) { d["verdict"] = "fits" }},
		{"a key too few", func(d map[string]any) { delete(d, "held") }},
		{"null for a list", func(d map[string]any) { d["roles"] = nil }},
		{"an unknown word", func(d map[string]any) { d["assemblies"].([]any)[0].(map[string]any)["basis"] = "guess" }},
		{"a text for a number", func(d map[string]any) { d["edition"].(map[string]any)["number"] = "7" }},
	} {
		var b bytes.Buffer
		require.NoError(t, JSON(&b, stored(t, "decision", "open.json")))
		doc, err := jsonschema.UnmarshalJSON(&b)
		require.NoError(t, err)
		require.NoError(t, s.Validate(doc))
		change.do(doc.(map[string]any))
		if s.Validate(doc) == nil {
			t.Errorf("the schema accepts %s", change.name)
		}
	}
}

// schemer writes a JSON Schema for a Go type as encoding/json writes its
// values.
type schemer struct {
	t     *testing.T
	docs  map[string]string   // "package.Type" and "package.Type.Field"
	words map[string][]string // constants of named string types
	defs  map[string]any
}

func newSchemer(t *testing.T) *schemer {
	s := &schemer{t: t, docs: map[string]string{}, words: map[string][]string{}}
	root := filepath.Join("..", "..", "..", "..")
	dirs := []string{filepath.Join(root, "catalog"), filepath.Join(root, "catalog", "shop"), filepath.Join(root, "catalog", "audit"), filepath.Join(root, "index"), filepath.Join(root, "resolve"), filepath.Join(root, "resolve", "plate"), filepath.Join(root, "resolve", "alike"), filepath.Join(root, "resolve", "measure"), filepath.Join(root, "resolve", "purchase"), filepath.Join(root, "resolve", "order"), filepath.Join(root, "resolve", "goods"), "."}
	bench, err := filepath.Glob(filepath.Join(root, "resolve", "measure", "*", "doc.go"))
	require.NoError(t, err)
	for _, f := range bench {
		dirs = append(dirs, filepath.Dir(f))
	}
	for _, dir := range dirs {
		files, err := filepath.Glob(filepath.Join(dir, "*.go"))
		require.NoError(t, err)
		for _, f := range files {
			if strings.HasSuffix(f, "_test.go") {
				continue
			}
			file, err := parser.ParseFile(token.NewFileSet(), f, nil, parser.ParseComments)
			require.NoError(t, err)
			s.learn(file)
		}
	}
	for _, v := range []resolve.Verdict{resolve.NotSettled, resolve.Fits, resolve.DoesNotFit} {
		s.words["resolve.Verdict"] = append(s.words["resolve.Verdict"], v.String())
	}
	return s
}

func (s *schemer) learn(file *ast.File) {
	pkg := file.Name.Name
	for _, d := range file.Decls {
		g, ok := d.(*ast.GenDecl)
		if !ok {
			continue
		}
		for _, spec := range g.Specs {
			switch x := spec.(type) {
			case *ast.TypeSpec:
				s.docs[pkg+"."+x.Name.Name] = sentence(g.Doc)
				if st, ok := x.Type.(*ast.StructType); ok {
					for _, f := range st.Fields.List {
						for _, n := range f.Names {
							s.docs[pkg+"."+x.Name.Name+"."+n.Name] = sentence(f.Comment)
						}
					}
				}
			case *ast.ValueSpec:
				id, ok := x.Type.(*ast.Ident)
				if !ok || g.Tok != token.CONST {
					continue
				}
				for _, v := range x.Values {
					if lit, ok := v.(*ast.BasicLit); ok && lit.Kind == token.STRING {
						w, err := strconv.Unquote(lit.Value)
						require.NoError(s.t, err)
						s.words[pkg+"."+id.Name] = append(s.words[pkg+"."+id.Name], w)
					}
				}
			}
		}
	}
}

func sentence(c *ast.CommentGroup) string {
	text := strings.Join(strings.Fields(c.Text()), " ")
	return strings.NewReplacer("[", "", "]", "").Replace(text)
}

func (s *schemer) document(name string, v any) []byte {
	s.defs = map[string]any{}
	body := s.of(reflect.TypeOf(v))
	doc := map[string]any{"$schema": "https://json-schema.org/draft/2020-12/schema", "title": "platewright " + name, "$defs": s.defs}
	for k, x := range body {
		doc[k] = x
	}
	text, err := json.MarshalIndent(doc, "", "  ")
	require.NoError(s.t, err)
	return append(text, '\n')
}

func (s *schemer) of(t reflect.Type) map[string]any {
	switch t {
	case reflect.TypeFor[catalog.Decimal]():
		return map[string]any{"type": []string{"number", "null"}}
	case reflect.TypeFor[measure.Quantity]():
		return map[string]any{"type": []string{"object", "null"}, "description": "a number with its unit, null where there is none", "required": []string{"value", "unit"}, "additionalProperties": false,
			"properties": map[string]any{"value": map[string]any{"type": "number"}, "unit": map[string]any{"type": "string"}}}
	case reflect.TypeFor[json.RawMessage]():
		return map[string]any{}
	case reflect.TypeFor[time.Time]():
		return map[string]any{"type": "string", "format": "date-time"}
	}
	name := t.String()
	if w := s.words[name]; len(w) > 0 {
		w = slices.Compact(slices.Sorted(slices.Values(w)))
		return map[string]any{"type": "string", "enum": w}
	}
	text := reflect.TypeFor[encoding.TextMarshaler]()
	if t.Implements(text) || reflect.PointerTo(t).Implements(text) {
		return map[string]any{"type": "string"}
	}
	switch t.Kind() {
	case reflect.String:
		return map[string]any{"type": "string"}
	case reflect.Bool:
		return map[string]any{"type": "boolean"}
	case reflect.Int, reflect.Int32, reflect.Int64:
		return map[string]any{"type": "integer"}
	case reflect.Float64:
		return map[string]any{"type": "number"}
	case reflect.Slice:
		return map[string]any{"type": "array", "items": s.of(t.Elem())}
	case reflect.Map:
		return map[string]any{"type": "object", "additionalProperties": s.of(t.Elem())}
	case reflect.Pointer:
		return s.of(t.Elem())
	case reflect.Struct:
		def := strings.ReplaceAll(name, ".", "-")
		if _, ok := s.defs[def]; !ok {
			s.defs[def] = nil // while it is being written
			s.defs[def] = s.object(t)
		}
		return map[string]any{"$ref": "#/$defs/" + def}
	}
	s.t.Fatalf("no schema for %v", t)
	return nil
}

func (s *schemer) object(t reflect.Type) map[string]any {
	props, required := map[string]any{}, []string{}
	s.fields(t, props, &required)
	out := map[string]any{"type": "object", "properties": props, "required": required, "additionalProperties": false}
	if d := s.docs[t.String()]; d != "" {
		out["description"] = d
	}
	return out
}

func (s *schemer) fields(t reflect.Type, props map[string]any, required *[]string) {
	for f := range t.Fields() {
		tag := f.Tag.Get("json")
		name, opts, _ := strings.Cut(tag, ",")
		if name == "-" {
			continue
		}
		if f.Anonymous && name == "" {
			embedded := f.Type
			if embedded.Kind() == reflect.Pointer {
				embedded = embedded.Elem() // its fields are left out where it is nil, so each has omitempty
			}
			s.fields(embedded, props, required)
			continue
		}
		if !f.IsExported() {
			continue
		}
		if name == "" {
			name = f.Name
		}
		p := s.of(f.Type)
		optional := strings.Contains(opts, "omit")
		if f.Type.Kind() == reflect.Pointer && !optional {
			p = map[string]any{"anyOf": []any{p, map[string]any{"type": "null"}}}
		}
		if d := s.docs[t.String()+"."+f.Name]; d != "" {
			p["description"] = d
		}
		if name == "schema" {
			p = map[string]any{"type": "string", "pattern": "^platewright/[a-z-]+/[0-9]+$", "description": "form and version of this document"}
		}
		props[name] = p
		if !optional {
			*required = append(*required, name)
		}
	}
}
