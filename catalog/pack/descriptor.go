package pack

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"strings"

	"platewright/catalog"
)

// DescriptorName is the file that makes a folder or zip a Data Package.
const DescriptorName = "datapackage.json"

// Info is what a package says about itself.
type Info struct {
	Name    string // short name; what a URL cannot hold is written as a dash
	Title   string // for people
	Version string // edition
	About   string // remarks
}

func (i Info) String() string {
	s := i.Title
	if s == "" {
		s = i.Name
	}
	if i.Version != "" {
		s = strings.TrimSpace(s + " " + i.Version)
	}
	return s
}

// resource is a table as the descriptor describes it, or a sheet.
type resource struct {
	table       *catalog.Table
	file        string // for findings
	path        string // inside the package; "" for a sheet
	comma       byte
	quote       byte
	literal     map[string]bool
	apostrophes bool
}

type packageIn struct {
	Name        string            `json:"name"`
	Title       string            `json:"title"`
	Version     string            `json:"version"`
	Description string            `json:"description"`
	Resources   []json.RawMessage `json:"resources"`
}

type resourceIn struct {
	Name         string          `json:"name"`
	Path         json.RawMessage `json:"path"`
	Data         json.RawMessage `json:"data"`
	Encoding     string          `json:"encoding"`
	Compression  string          `json:"compression"`
	Dialect      json.RawMessage `json:"dialect"`
	Schema       json.RawMessage `json:"schema"`
	LiteralCodes []string        `json:"literalCodes"`
	Apostrophes  bool            `json:"apostrophes"`
}

// readDescriptor gives the resources that are tables and what is wrong with
// the others. An error is a [*catalog.RefusedError]: nothing can be read.
func readDescriptor(text []byte, tables tableSet) (Info, []*resource, []catalog.Finding, error) {
	refuse := func(what, mend string) error {
		return refused(catalog.Finding{Code: catalog.BadPackage, Place: catalog.Place{File: DescriptorName}, What: what, Mend: mend})
	}
	var in packageIn
	if err := json.Unmarshal(bytes.TrimPrefix(text, utf8Mark), &in); err != nil {
		where := ""
		var syntax *json.SyntaxError
		var kind *json.UnmarshalTypeError
		if errors.As(err, &syntax) {
			where = lineOf(text, syntax.Offset)
		} else if errors.As(err, &kind) {
			where = lineOf(text, kind.Offset)
		}
		return Info{}, nil, nil, refuse("it is not a package description: "+err.Error()+where, "correct the JSON text")
	}
	if len(in.Resources) == 0 {
		return Info{}, nil, nil, refuse("it lists no resources", "list the tables under resources, each with its name and path")
	}
	info := Info{Name: in.Name, Title: in.Title, Version: in.Version, About: in.Description}
	var out []*resource
	var found []catalog.Finding
	for i, raw := range in.Resources {
		var r resourceIn
		at := catalog.Place{File: DescriptorName}
		put := func(code catalog.FindingCode, value, what, mend string) {
			found = append(found, catalog.Finding{Code: code, Severity: catalog.Refused, Place: at, Value: value, What: what, Mend: mend})
		}
		if err := json.Unmarshal(raw, &r); err != nil {
			put(catalog.BadPackage, "", fmt.Sprintf("resource %d is not a description of a table: %v", i+1, err), "correct the JSON text")
			continue
		}
		t := tables.byName(r.Name)
		if t == nil {
			found = append(found, unknownTable(at, r.Name, "resource", tables))
			continue
		}
		at.Table = t.Name
		if slices.ContainsFunc(out, func(o *resource) bool { return o.table == t }) {
			put(catalog.BadPackage, r.Name, "two resources have this name", "put all rows of a table into one file")
			continue
		}
		res := &resource{table: t, comma: ',', quote: '"', apostrophes: r.Apostrophes}
		n := len(found)
		res.path = readPath(r, put)
		res.file = res.path
		if r.Encoding != "" && !strings.EqualFold(r.Encoding, "utf-8") && !strings.EqualFold(r.Encoding, "utf8") {
			put(catalog.BadEncoding, r.Encoding, "the encoding is not read", "save the file as UTF-8 and write \"encoding\": \"utf-8\"")
		}
		if r.Compression != "" {
			put(catalog.BadPackage, r.Compression, "a compressed table is not read", "unpack the file, or zip the whole package")
		}
		readDialect(r.Dialect, res, put)
		readSchema(r.Schema, put)
		if len(found) > n {
			continue
		}
		if len(r.LiteralCodes) > 0 {
			res.literal = make(map[string]bool, len(r.LiteralCodes))
			for _, c := range r.LiteralCodes {
				res.literal[c] = true
			}
		}
		out = append(out, res)
	}
	return info, out, found, nil
}

// refused is the error for trouble that leaves nothing to read.
func refused(list ...catalog.Finding) error {
	var fs catalog.Findings
	for _, f := range list {
		fs.Add(f)
	}
	return fs.Err()
}

func lineOf(text []byte, offset int64) string {
	return fmt.Sprintf(" (line %d)", 1+bytes.Count(text[:min(int64(len(text)), offset)], []byte{'\n'}))
}

func unknownTable(at catalog.Place, name, what string, tables tableSet) catalog.Finding {
	var names []string
	for _, t := range tables.list() {
		names = append(names, t.Name)
	}
	mend := "take the " + what + " away, or name it after one of the tables: " + strings.Join(names, ", ")
	if near := catalog.Nearest(name, names); near != "" {
		mend = "did you mean " + near + "? Otherwise take the " + what + " away"
	}
	return catalog.Finding{Code: catalog.UnknownTable, Severity: catalog.Refused, Place: at, Value: name,
		What: "the " + what + " " + fmt.Sprintf("%q", name) + " is no table of a catalogue", Mend: mend}
}

type putFunc func(code catalog.FindingCode, value, what, mend string)

// readPath refuses every path that could lead out of the package.
func readPath(r resourceIn, put putFunc) string {
	const mend = "give the path of one CSV file inside the package, such as \"parts.csv\""
	if len(r.Data) > 0 {
		put(catalog.BadPackage, "data", "rows inside the description are not read", mend)
		return ""
	}
	var path string
	if err := json.Unmarshal(r.Path, &path); err != nil {
		var list []string
		if json.Unmarshal(r.Path, &list) != nil || len(list) == 0 {
			put(catalog.BadPackage, "", "the resource has no path", mend)
			return ""
		}
		if len(list) > 1 {
			put(catalog.BadPackage, strings.Join(list, ", "), "a table in several files is not read", "join the files into one and give its path")
			return ""
		}
		path = list[0]
	}
	switch {
	case path == "":
		put(catalog.BadPackage, "", "the resource has no path", mend)
	case strings.Contains(path, "://"):
		put(catalog.BadPackage, path, "a path is never an address: nothing is fetched", mend)
	case strings.Contains(path, `\`) || strings.Contains(path, ":"):
		put(catalog.BadPackage, path, "the path holds a backslash or a colon", mend)
	case strings.HasPrefix(path, "/") || strings.HasPrefix(path, "~"):
		put(catalog.BadPackage, path, "the path does not start inside the package", mend)
	case slices.Contains(strings.Split(path, "/"), ".."):
		put(catalog.BadPackage, path, "the path leads out of the package", mend)
	default:
		path = strings.TrimPrefix(path, "./")
		if !fs.ValidPath(path) || path == "." || path == DescriptorName {
			put(catalog.BadPackage, path, "the path names no table file", mend)
			return ""
		}
		return path
	}
	return ""
}

// readDialect takes the CSV Dialect properties that are understood and refuses
// the others by name, unless they say what holds anyway.
func readDialect(raw json.RawMessage, res *resource, put putFunc) {
	if len(raw) == 0 || string(raw) == "null" {
		return
	}
	var in map[string]json.RawMessage
	if json.Unmarshal(raw, &in) != nil {
		put(catalog.BadPackage, "", "the dialect is not an object", "write the dialect's properties inside the description")
		return
	}
	names := make([]string, 0, len(in))
	for n := range in {
		names = append(names, n)
	}
	slices.Sort(names)
	for _, name := range names {
		var v any
		if json.Unmarshal(in[name], &v) != nil {
			continue // cannot be: the whole has been read
		}
		no := func(mend string) {
			put(catalog.BadPackage, string(in[name]), "the dialect's "+name+" is not read", mend)
		}
		text, isText := v.(string)
		char := byte(0)
		if isText && len(text) == 1 && text[0] < 0x7f && (text[0] > ' ' || text[0] == '\t' || text[0] == ' ') {
			char = text[0]
		}
		switch name {
		case "delimiter":
			if char == 0 || '0' <= char && char <= '9' || 'a' <= char && char <= 'z' || 'A' <= char && char <= 'Z' {
				no("use one plain character, such as a comma, a semicolon or a tab")
				continue
			}
			res.comma = char
		case "quoteChar":
			switch {
			case v == nil || isText && text == "":
				res.quote = 0
			case char == 0 || char == ' ' || char == '\t':
				no("use one plain character, such as \"")
			default:
				res.quote = char
			}
		case "doubleQuote":
			if v != true {
				no("double each quote inside a quoted cell, and write true")
			}
		case "header":
			if v != true {
				no("begin the file with a heading row, and write true")
			}
		case "headerRows":
			if string(bytes.Join(bytes.Fields(in[name]), nil)) != "[1]" {
				no("begin the file with one heading row, and leave the property out")
			}
		case "lineTerminator":
			if !isText || text != "\r\n" && text != "\n" {
				no("end the rows with CRLF or LF")
			}
		case "skipInitialSpace":
			if v != false {
				no("write the cells without space before them, and leave the property out")
			}
		case "caseSensitiveHeader", "csvddfVersion", "name", "title", "description", "type", "$schema", "profile":
			// They change nothing: headings are compared exactly.
		default: // commentChar, escapeChar, nullSequence and what later versions add
			if v != nil && v != "" {
				no("save the file without it, and leave the property out")
			}
		}
	}
	if res.comma == res.quote {
		put(catalog.BadPackage, string(res.comma), "the dialect's delimiter and quoteChar are the same", "choose two characters")
	}
}

// readSchema refuses missing values that we would read as values. All else in
// a schema is ours to say.
func readSchema(raw json.RawMessage, put putFunc) {
	var in struct {
		Missing []any `json:"missingValues"`
	}
	if len(raw) == 0 || json.Unmarshal(raw, &in) != nil {
		return // a schema by reference, or none
	}
	for _, m := range in.Missing {
		if m != "" && m != catalog.ClearWord {
			put(catalog.BadPackage, fmt.Sprint(m), "the schema's missing value is not read", "leave such cells empty, or write "+catalog.ClearWord+" to empty what stands")
		}
	}
}
