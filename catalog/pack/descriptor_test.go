package pack

import (
	"encoding/json"
	"os"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"

	"platewright/catalog"
)

// TestDescriptorAgainstPublishedProfile holds what is written against the JSON
// Schema of the profile tabular-data-package, as the Frictionless project
// publishes it (testdata/frictionless says where it is from).
func TestDescriptorAgainstPublishedProfile(t *testing.T) {
	f, err := os.Open("testdata/frictionless/tabular-data-package.json")
	require.NoError(t, err)
	defer f.Close()
	profile, err := jsonschema.UnmarshalJSON(f)
	require.NoError(t, err)
	c := jsonschema.NewCompiler()
	require.NoError(t, c.AddResource("profile.json", profile))
	schema, err := c.Compile("profile.json")
	require.NoError(t, err)

	validate := func(text []byte) error {
		v, err := jsonschema.UnmarshalJSON(strings.NewReader(string(text)))
		require.NoError(t, err)
		return schema.Validate(v)
	}
	text, err := Descriptor(Info{Name: "Harbour Shop, 2", Title: "Harbour shop", Version: "2"})
	require.NoError(t, err)
	if err := validate(text); err != nil {
		t.Errorf("the descriptor breaks the published profile: %v", err)
	}
	// The check itself can fail.
	if validate([]byte(strings.Replace(string(text), `"profile": "tabular-data-package"`, `"profile": 7`, 1))) == nil {
		t.Error("a wrong profile passes the check")
	}
	if validate([]byte(strings.Replace(string(text), `"type": "integer"`, `"type": "whole"`, 1))) == nil {
		t.Error("a wrong field type passes the check")
	}
}

// TestDescriptorSaysWhatTheTablesSay holds the schemas against the tables.
// Table Schema version 1: constraints, missingValues, primaryKey, foreignKeys.
func TestDescriptorSaysWhatTheTablesSay(t *testing.T) {
	text, err := Descriptor(Info{Name: "x"})
	require.NoError(t, err)
	var d packageOut
	require.NoError(t, json.Unmarshal(text, &d))
	require.Len(t, d.Resources, len(catalog.Tables()))
	for i, table := range catalog.Tables() {
		r := d.Resources[i]
		if r.Name != table.Name || r.Encoding != "utf-8" || r.Dialect.LineTerminator != "\r\n" {
			t.Errorf("resource %d: %+v", i, r)
		}
		if got := strings.Join(r.Schema.MissingValues, "|"); got != "|(clear)" {
			t.Errorf("%s: missing values %q", table.Name, got)
		}
		refs := map[string]string{}
		for _, f := range r.Schema.ForeignKeys {
			refs[f.Fields] = f.Reference.Resource
		}
		for j, c := range table.Columns {
			f := r.Schema.Fields[j]
			required := f.Constraints != nil && f.Constraints.Required
			if f.Name != c.Name || required != c.Required {
				t.Errorf("%s: field %d is %+v, want %s, required %v", table.Name, j, f, c.Name, c.Required)
			}
			want := c.Ref
			if want == table.Name {
				want = ""
			}
			if got, is := refs[c.Name]; is != (c.Ref != "") || got != want {
				t.Errorf("%s.%s refers to %q, want %q", table.Name, c.Name, got, want)
			}
		}
		if len(r.Schema.PrimaryKey)+len(r.Schema.UniqueKeys) == 0 {
			t.Errorf("%s has no key", table.Name)
		}
		for _, k := range r.Schema.PrimaryKey {
			if !table.Column(k).Required {
				t.Errorf("%s: the primary key holds %s, which may be empty", table.Name, k)
			}
		}
	}
}

func TestUnsafePaths(t *testing.T) {
	for path, word := range map[string]string{
		"/etc/parts.csv":                "inside",
		"../parts.csv":                  "out of the package",
		"tables/../../parts.csv":        "out of the package",
		"https://example.org/parts.csv": "fetched",
		"file:///parts.csv":             "fetched",
		`tables\parts.csv`:              "backslash",
		`C:/parts.csv`:                  "colon",
		"~/parts.csv":                   "inside",
		"":                              "no path",
		"tables//parts.csv":             "names no table file",
		".":                             "names no table file",
		DescriptorName:                  "names no table file",
	} {
		fsys := asFS(t, world(), map[string]map[string]any{"supersessions": {"path": path}})
		_, findings := read(t, fsys)
		expect(t, findings, catalog.BadPackage, DescriptorName, path, word)
	}
}

func TestPathsThatAreFine(t *testing.T) {
	fsys := asFS(t, world(), map[string]map[string]any{"parts": {"path": "./tables/Teile 1.csv"}, "makers": {"path": []string{"makers.csv"}}})
	fsys["tables/Teile 1.csv"] = fsys["parts.csv"]
	delete(fsys, "parts.csv")
	_, findings := read(t, fsys)
	if len(findings) > 0 {
		t.Errorf("findings:\n%s", show(findings))
	}
}

func TestMissingFile(t *testing.T) {
	fsys := asFS(t, world(), nil)
	delete(fsys, "supersessions.csv")
	_, findings := read(t, fsys)
	expect(t, findings, catalog.BadFile, "supersessions.csv", "", "not in the package")
}

// TestUnsupported: what would change the meaning of a file and is not
// understood is refused by name (CSV Dialect, Data Resource, Table Schema,
// version 1 and 2).
func TestUnsupported(t *testing.T) {
	dialect := func(name string, v any) map[string]any {
		return map[string]any{"dialect": map[string]any{name: v}}
	}
	for _, tt := range []struct {
		more map[string]any
		code catalog.FindingCode
		word string
	}{
		{dialect("header", false), catalog.BadPackage, "header"},
		{dialect("headerRows", []int{2}), catalog.BadPackage, "headerRows"},
		{dialect("doubleQuote", false), catalog.BadPackage, "doubleQuote"},
		{dialect("escapeChar", `\`), catalog.BadPackage, "escapeChar"},
		{dialect("commentChar", "#"), catalog.BadPackage, "commentChar"},
		{dialect("nullSequence", "NULL"), catalog.BadPackage, "nullSequence"},
		{dialect("skipInitialSpace", true), catalog.BadPackage, "skipInitialSpace"},
		{dialect("delimiter", "::"), catalog.BadPackage, "delimiter"},
		{dialect("delimiter", "a"), catalog.BadPackage, "delimiter"},
		{dialect("delimiter", `"`), catalog.BadPackage, "same"},
		{dialect("quoteChar", "''"), catalog.BadPackage, "quoteChar"},
		{dialect("lineTerminator", "|"), catalog.BadPackage, "lineTerminator"},
		{dialect("somethingNew", 3), catalog.BadPackage, "somethingNew"},
		{map[string]any{"dialect": "dialect.json"}, catalog.BadPackage, "dialect"},
		{map[string]any{"encoding": "windows-1252"}, catalog.BadEncoding, "encoding"},
		{map[string]any{"compression": "gz"}, catalog.BadPackage, "compressed"},
		{map[string]any{"data": []string{"x"}}, catalog.BadPackage, "inside the description"},
		{map[string]any{"path": []string{"a.csv", "b.csv"}}, catalog.BadPackage, "several files"},
		{map[string]any{"schema": map[string]any{"missingValues": []string{"", "n/a"}}}, catalog.BadPackage, "missing value"},
	} {
		_, findings := read(t, asFS(t, world(), map[string]map[string]any{"supersessions": tt.more}))
		if len(findings) != 1 || findings[0].Code != tt.code || !strings.Contains(findings[0].What, tt.word) || findings[0].Table != "supersessions" {
			t.Errorf("%v: got\n%s", tt.more, show(findings))
		}
	}
	for _, more := range []map[string]any{
		{"dialect": map[string]any{"delimiter": ",", "quoteChar": `"`, "doubleQuote": true, "header": true, "lineTerminator": "\n", "skipInitialSpace": false,
			"caseSensitiveHeader": false, "csvddfVersion": 1.2, "commentChar": nil, "headerRows": []int{1}}},
		{"encoding": "UTF-8"},
		{"schema": "schema.json"},
		{"schema": map[string]any{"missingValues": []string{""}}},
	} {
		_, findings := read(t, asFS(t, world(), map[string]map[string]any{"supersessions": more}))
		if len(findings) > 0 {
			t.Errorf("%v: got\n%s", more, show(findings))
		}
	}
}

func TestUnknownResources(t *testing.T) {
	_, findings := read(t, asFS(t, with(map[string]string{"fit": "a,b\n", "pictures": "a\n"}), nil))
	require.Len(t, findings, 2, show(findings))
	check(t, findings[0], catalog.UnknownTable, DescriptorName, "fit", "did you mean fits")
	check(t, findings[1], catalog.UnknownTable, DescriptorName, "pictures", "one of the tables")
}

func TestUnreadableDescriptors(t *testing.T) {
	for text, word := range map[string]string{
		"":                       "no package description",
		"{\n\"resources\": [\n}": "line 3",
		`{"resources": []}`:      "no resources",
		`{"resources": {}}`:      "",
		`[]`:                     "",
		`{"resources": [{"name": "parts", "path": "../x.csv"}]}`: "out of the package",
		`{"resources": [{"name": "parts", "path": 7}]}`:          "no path",
		`{"resources": [7]}`: "resource 1",
	} {
		_, err := OpenFS(fstest.MapFS{DescriptorName: {Data: []byte(text)}}, "test", Limits{})
		list := refusedWith(t, err)
		if len(list) != 1 || list[0].File != DescriptorName || !strings.Contains(list[0].String(), strings.TrimPrefix(word, "no package description")) {
			t.Errorf("%q: got\n%s", text, show(list))
		}
	}
	_, err := OpenFS(fstest.MapFS{}, "harbour", Limits{})
	list := refusedWith(t, err)
	check(t, list[0], catalog.BadPackage, "harbour", "", "no datapackage.json")
}

func TestDoubleResource(t *testing.T) {
	fsys := asFS(t, map[string]string{"sources": world()["sources"]}, nil)
	fsys[DescriptorName].Data = []byte(`{"resources": [{"name": "sources", "path": "sources.csv"}, {"name": "sources", "path": "sources.csv"}]}`)
	_, findings := read(t, fsys)
	expect(t, findings, catalog.BadPackage, DescriptorName, "sources", "two resources")
}
