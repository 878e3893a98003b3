package pack

import (
	"encoding/json"
	"strings"
	"testing"
	"testing/fstest"

	"platewright/catalog"
)

// FuzzPackage reads any bytes as one table of a package: there are rows or
// findings, whatever they are, and each finding says where, what and how to
// mend it. What is read can be written and read again.
func FuzzPackage(f *testing.F) {
	for name, text := range world() {
		f.Add(name, text, ",", `"`)
	}
	f.Add("makers", "maker;name;source\r\n'Q;1';N;B\r\n", ";", "'")
	f.Add("parts", "part,name,kind,origin,status,source\n0421,N,single,unit-maker,sold,B\n7,N,single,unit-maker,sold,B\n", ",", `"`)
	f.Fuzz(func(t *testing.T, name, text, comma, quote string) {
		table := catalog.TableByName(name)
		if table == nil {
			table = catalog.TableByName(catalog.TFits)
		}
		descriptor, err := json.Marshal(map[string]any{"resources": []any{map[string]any{
			"name": table.Name, "path": "t.csv", "dialect": map[string]any{"delimiter": comma, "quoteChar": quote}}}})
		if err != nil {
			t.Skip()
		}
		p, err := OpenFS(fstest.MapFS{DescriptorName: {Data: descriptor}, "t.csv": {Data: []byte(text)}}, "fuzz", Limits{Row: 4096})
		if err != nil {
			_ = refusedWith(t, err)
			return
		}
		c, found, err := ReadMemory(p)
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range found.List() {
			if f.What == "" || f.Mend == "" || f.Code == "" || f.Severity == "" {
				t.Errorf("a finding is not whole: %+v", f)
			}
			if f.File == "t.csv" && f.Row > 1+strings.Count(text, "\n") {
				t.Errorf("a finding lies below the file: %s", f)
			}
		}
		rows := c.Count(table.Name)
		if rows == 0 && len(found.List()) == 0 {
			t.Error("neither rows nor findings")
		}
		if rows == 0 {
			return
		}
		back, err := openBytes(zipped(t, Memory(c), Options{SkipEmpty: true}), Limits{})
		if err != nil {
			t.Fatal(err)
		}
		if got := wellFormed(t, back).Count(table.Name); got != rows {
			t.Errorf("%d rows are written and %d are read again", rows, got)
		}
	})
}
