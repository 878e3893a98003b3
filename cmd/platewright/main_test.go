package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"flag"
	"io"
	"strconv"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
	"github.com/santhosh-tekuri/jsonschema/v6"

	"platewright/cmd/platewright/internal/render"
)

var update = flag.Bool("update", false, "write the golden parts of the scripts and the README anew")

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"platewright": main})
}

// TestScripts runs the program as a person or a script does: each command with
// its exit code, what it says on standard output, and what on standard error.
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata/script",
		RequireExplicitExec: true,
		RequireUniqueNames:  true,
		UpdateScripts:       *update,
		Setup: func(e *testscript.Env) error {
			e.Setenv("PLATEWRIGHT_DATA", e.WorkDir+"/data")
			e.Setenv("SOURCE_DATE_EPOCH", "1700000000") // 2023-11-14 22:13:20 UTC
			e.Setenv("COLUMNS", "1000")                 // what is said on standard error is not folded, so that a pattern finds it
			return nil
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"exits": exits,
			"obeys": obeys,
			"ends":  ends,
		},
	})
}

// exits runs the program and demands an exit code: exits CODE ARGUMENTS…
func exits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exits CODE platewright ARGUMENTS…")
	}
	err := ts.Exec(args[1], args[2:]...)
	code := 0
	if err != nil {
		var exit interface{ ExitCode() int }
		if !errors.As(err, &exit) {
			ts.Fatalf("%v", err)
		}
		code = exit.ExitCode()
	}
	if want := args[0]; strconv.Itoa(code) != want {
		ts.Fatalf("exit code %d, want %s", code, want)
	}
}

// ends demands that one file ends with another: ends FILE TAIL
func ends(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: ends FILE TAIL")
	}
	if !strings.HasSuffix(ts.ReadFile(args[0]), ts.ReadFile(args[1])) {
		ts.Fatalf("%s does not end with %s", args[0], args[1])
	}
}

// obeys demands that each document of a file obeys a published schema: obeys
// SCHEMA FILE
func obeys(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: obeys SCHEMA FILE")
	}
	text, ok := render.SchemaText(args[0])
	if !ok {
		ts.Fatalf("there is no schema %s", args[0])
	}
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	ts.Check(err)
	c := jsonschema.NewCompiler()
	c.DefaultDraft(jsonschema.Draft2020)
	ts.Check(c.AddResource("https://platewright.invalid/schema/"+args[0], doc))
	s, err := c.Compile("https://platewright.invalid/schema/" + args[0])
	ts.Check(err)
	docs := documents(ts.ReadFile(args[1]))
	if len(docs) == 0 {
		ts.Fatalf("%s holds no document", args[1])
	}
	for _, d := range docs {
		v, err := jsonschema.UnmarshalJSON(bytes.NewReader(d))
		ts.Check(err)
		if err := s.Validate(v); err != nil {
			ts.Fatalf("%s: %v", args[1], err)
		}
	}
}

// documents takes a stream of JSON documents apart.
func documents(text string) []json.RawMessage {
	var out []json.RawMessage
	d := json.NewDecoder(strings.NewReader(text))
	for {
		var m json.RawMessage
		if err := d.Decode(&m); errors.Is(err, io.EOF) {
			return out
		} else if err != nil {
			return nil
		}
		out = append(out, m)
	}
}
