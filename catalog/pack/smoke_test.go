package pack

import (
	"testing"
	"testing/fstest"
)

func TestSmoke(t *testing.T) {
	p, err := OpenFS(fstest.MapFS{
		"datapackage.json": {Data: []byte(`{"resources":[{"name":"sources","path":"s.csv"},{"name":"makers","path":"m.csv"}]}`)},
		"s.csv":            {Data: []byte("title,source,kind\r\nBench,B1,bench\r\n\"a \"\"b\"\"\nc\",B2,bench\r\n")},
		"m.csv":            {Data: []byte("maker,name,source\nQX,Quax,B3\n")},
	}, "x", Limits{})
	if err != nil {
		t.Fatal(err)
	}
	_, fs, err := ReadMemory(p)
	t.Log(fs.List(), err)
}
