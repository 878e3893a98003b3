package pack

import (
	"bytes"
	"encoding/csv"
	"errors"
	"io"
	"slices"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

type record struct {
	Line  int
	Cells []string
}

// own reads text with the reader of this package, to the first error.
func own(r io.Reader, comma byte) ([]record, error) {
	s := newRecords(r, comma, '"', 1<<20)
	var out []record
	for {
		cells, line, err := s.next()
		if err == io.EOF {
			return out, nil
		}
		if err != nil {
			return out, err
		}
		out = append(out, record{line, slices.Clone(cells)})
	}
}

// standard reads text with encoding/csv, to the first error.
func standard(text string, comma byte) ([]record, error) {
	r := csv.NewReader(strings.NewReader(text))
	r.Comma = rune(comma)
	r.FieldsPerRecord = -1
	var out []record
	for {
		cells, err := r.Read()
		if err == io.EOF {
			return out, nil
		}
		if err != nil {
			return out, err
		}
		line, _ := r.FieldPos(0)
		out = append(out, record{line, cells})
	}
}

// TestAgainstEncodingCSV holds the reader against the one of the standard
// library on texts made of the characters that matter: the same rows, the same
// lines, and an error where it has one.
func TestAgainstEncodingCSV(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		comma := rapid.SampledFrom([]byte{',', ';', '\t'}).Draw(t, "comma")
		text := rapid.StringOfN(rapid.SampledFrom([]rune("\"\"\",;\t\r\n\nab ü")), 0, 60, -1).Draw(t, "text")
		want, wantErr := standard(text, comma)
		for name, r := range map[string]io.Reader{"whole": strings.NewReader(text), "byte by byte": iotest.OneByteReader(strings.NewReader(text))} {
			got, err := own(r, comma)
			if (err != nil) != (wantErr != nil) {
				t.Fatalf("%q, %s: got the error %v, encoding/csv has %v", text, name, err, wantErr)
			}
			if d := cmp.Diff(want, got); d != "" {
				t.Fatalf("%q, %s (-encoding/csv +own):\n%s", text, name, d)
			}
		}
	})
}

// TestRFC4180 has the examples of RFC 4180, section 2, rules 1 to 7.
func TestRFC4180(t *testing.T) {
	for text, want := range map[string][][]string{
		"aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n":                      {{"aaa", "bbb", "ccc"}, {"zzz", "yyy", "xxx"}},
		"aaa,bbb,ccc\r\nzzz,yyy,xxx":                          {{"aaa", "bbb", "ccc"}, {"zzz", "yyy", "xxx"}},
		"field_name,field_name,field_name\r\naaa,bbb,ccc\r\n": {{"field_name", "field_name", "field_name"}, {"aaa", "bbb", "ccc"}},
		"aaa,bbb,ccc":                                {{"aaa", "bbb", "ccc"}},
		"\"aaa\",\"bbb\",\"ccc\"\r\nzzz,yyy,xxx":     {{"aaa", "bbb", "ccc"}, {"zzz", "yyy", "xxx"}},
		"\"aaa\",\"b\r\nbb\",\"ccc\"\r\nzzz,yyy,xxx": {{"aaa", "b\nbb", "ccc"}, {"zzz", "yyy", "xxx"}},
		"\"aaa\",\"b\"\"bb\",\"ccc\"":                {{"aaa", `b"bb`, "ccc"}},
		"aaa, bbb ,ccc":                              {{"aaa", " bbb ", "ccc"}}, // rule 4: spaces are part of a field
	} {
		got, err := own(strings.NewReader(text), ',')
		if err != nil {
			t.Errorf("%q: %v", text, err)
		}
		var cells [][]string
		for _, r := range got {
			cells = append(cells, r.Cells)
		}
		if d := cmp.Diff(want, cells); d != "" {
			t.Errorf("%q (-RFC +own):\n%s", text, d)
		}
	}
}

// TestAppendCell: what is written is what encoding/csv reads.
func TestAppendCell(t *testing.T) {
	for cell, want := range map[string]string{
		"": "", "abc": "abc", "a b": "a b", "a,b": `"a,b"`, `a"b`: `"a""b"`, `"`: `""""`, "a\nb": "\"a\nb\"", " a": `" a"`, "a ": `"a "`, "a;b": "a;b",
	} {
		if got := string(appendCell(nil, cell)); got != want {
			t.Errorf("appendCell(%q) = %q, want %q", cell, got, want)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		cells := rapid.SliceOfN(rapid.StringOf(rapid.SampledFrom([]rune("\",;\n\tab ü"))), 2, 5).Draw(t, "cells")
		var line []byte
		for i, c := range cells {
			if i > 0 {
				line = append(line, ',')
			}
			line = appendCell(line, c)
		}
		r := csv.NewReader(bytes.NewReader(append(line, "\r\n"...)))
		got, err := r.Read()
		if err != nil || !slices.Equal(got, cells) {
			t.Fatalf("%q reads as %q, %v, want %q", line, got, err, cells)
		}
	})
}

func TestReadErrorsAreNoFindings(t *testing.T) {
	broken := errors.New("the disk is gone")
	_, err := own(io.MultiReader(strings.NewReader("a,b\nc,\"d"), iotest.ErrReader(broken)), ',')
	if !errors.Is(err, broken) {
		t.Errorf("got the error %v, want that of the source", err)
	}
}

func FuzzRecords(f *testing.F) {
	for _, s := range []string{"a,b\r\nc,d\r\n", "\"a\"\"b\",c\n", "a\"b,c\n\"d", "\"\r\n\",\r\r\n", ";;\n\"\"\"\""} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		want, wantErr := standard(text, ',')
		got, err := own(strings.NewReader(text), ',')
		if (err != nil) != (wantErr != nil) {
			t.Fatalf("got the error %v, encoding/csv has %v", err, wantErr)
		}
		if d := cmp.Diff(want, got); d != "" {
			t.Fatalf("(-encoding/csv +own):\n%s", d)
		}
	})
}
