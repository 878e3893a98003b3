package pack

import (
	"encoding/json"
	"errors"
	"maps"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/require"

	"platewright/catalog"
	"platewright/catalog/memory"
)

// world is a small sound catalogue, invented, as CSV tables.
func world() map[string]string {
	return map[string]string{
		"sources": "source,title,kind\nBENCH,Seen on our bench,invented\n",
		"makers":  "maker,name,source\nQUORN,Quornwerk,BENCH\n",
		"families": "family,maker,name,source\n" +
			"HX7,QUORN,Harbour seven,BENCH\n",
		"assemblies": "assembly,name,follows,source\ncase,Unit case,,BENCH\nvalve-body,Valve body,case,BENCH\n",
		"layouts":    "layout,maker,assembly,name,example,source\nQ-PLATE,QUORN,case,Case plate,HX7-014 000123,BENCH\n",
		"fields": "layout,place,field,kind,chars,min,max,means\n" +
			"Q-PLATE,1,type,literal,HX7,,,variant\nQ-PLATE,2,spec,digits,,3,3,variant\nQ-PLATE,3,serial,digits,,6,6,serial\n",
		"variants": "variant,family,layout,name,count,serial_from,source\n" +
			"HX7-014,HX7,Q-PLATE,\"Van, short\",120,100,BENCH\nHX7-015,HX7,Q-PLATE,Van,80,,BENCH\n",
		"roles": "role,name,assembly,kind,one_time,about\npan-gasket,Pan gasket,case,part,yes,\nfluid,Fluid,case,fluid,,\n",
		"parts": "part,name,kind,origin,status,source\n" +
			"GK-0421,Pan gasket,single,unit-maker,sold,BENCH\nGK-0422,Pan gasket,single,unit-maker,sold,BENCH\nOIL-9,Fluid,fluid,aftermarket,sold,BENCH\n",
		"fits": "scope,of,statement,role,effect,part,qty,serial_from,serial_to,source\n" +
			"variant,HX7-014,A,pan-gasket,fits,GK-0421,1,,,BENCH\nvariant,HX7-015,A,pan-gasket,fits,GK-0422,1,200,300,BENCH\n",
		"supersessions": "old,new,kind,qty,source\nGK-0422,GK-0421,one-way,1,BENCH\n",
	}
}

// with gives the world with some tables changed; an empty text takes one out.
func with(changes map[string]string) map[string]string {
	w := world()
	for t, text := range changes {
		if w[t] = text; text == "" {
			delete(w, t)
		}
	}
	return w
}

// asFS makes a package of tables, with more properties for their resources.
func asFS(t *testing.T, tables map[string]string, more map[string]map[string]any) fstest.MapFS {
	t.Helper()
	fsys := fstest.MapFS{}
	var resources []map[string]any
	for _, name := range slices.Sorted(maps.Keys(tables)) {
		r := map[string]any{"name": name, "path": name + ".csv"}
		maps.Copy(r, more[name])
		resources = append(resources, r)
		fsys[name+".csv"] = &fstest.MapFile{Data: []byte(tables[name])}
	}
	text, err := json.Marshal(map[string]any{"name": "test", "resources": resources})
	require.NoError(t, err)
	fsys[DescriptorName] = &fstest.MapFile{Data: text}
	return fsys
}

func read(t *testing.T, fsys fstest.MapFS) (*memory.Catalogue, []catalog.Finding) {
	t.Helper()
	return readLimited(t, fsys, Limits{})
}

func readLimited(t *testing.T, fsys fstest.MapFS, limits Limits) (*memory.Catalogue, []catalog.Finding) {
	t.Helper()
	p, err := OpenFS(fsys, "test", limits)
	require.NoError(t, err)
	return readAll(t, p)
}

func readAll(t *testing.T, p *Package) (*memory.Catalogue, []catalog.Finding) {
	t.Helper()
	c, fs, err := ReadMemory(p)
	require.NoError(t, err)
	require.NoError(t, p.Close())
	return c, fs.List()
}

// expect checks that exactly one finding refuses the package, and it is this.
func expect(t *testing.T, got []catalog.Finding, code catalog.FindingCode, place string, value string, words ...string) {
	t.Helper()
	var refused []catalog.Finding
	for _, f := range got {
		if f.Severity == catalog.Refused {
			refused = append(refused, f)
		}
	}
	if len(refused) != 1 {
		t.Errorf("got %d findings, want one of %s at %s:\n%s", len(refused), code, place, show(refused))
		return
	}
	check(t, refused[0], code, place, value, words...)
}

func check(t *testing.T, f catalog.Finding, code catalog.FindingCode, place string, value string, words ...string) {
	t.Helper()
	if f.Code != code || f.Place.String() != place || f.Value != value {
		t.Errorf("got %s at %q with %q, want %s at %q with %q\n%s", f.Code, f.Place, f.Value, code, place, value, f)
	}
	if f.What == "" || f.Mend == "" {
		t.Errorf("the finding does not say what is wrong and how to mend it: %+v", f)
	}
	for _, w := range words {
		if !strings.Contains(f.What+"; "+f.Mend, w) {
			t.Errorf("the finding does not say %q: %s", w, f)
		}
	}
}

func show(list []catalog.Finding) string {
	var b strings.Builder
	for _, f := range list {
		b.WriteString("  " + string(f.Code) + " " + f.String() + "\n")
	}
	return b.String()
}

// refusedWith gives the findings of an error that refuses a package.
func refusedWith(t *testing.T, err error) []catalog.Finding {
	t.Helper()
	var r *catalog.RefusedError
	if !errors.As(err, &r) {
		t.Fatalf("got the error %v, want a refusal with findings", err)
	}
	return r.Findings
}

// content gives every cell of a catalogue.
func content(c interface {
	Each(*catalog.Table, func(catalog.Row) error) error
}) map[string][][]string {
	out := map[string][][]string{}
	for _, t := range catalog.Tables() {
		_ = c.Each(t, func(r catalog.Row) error {
			out[t.Name] = append(out[t.Name], t.Cells(nil, r))
			return nil
		})
	}
	return out
}

func TestWorldIsSound(t *testing.T) {
	c, findings := read(t, asFS(t, world(), nil))
	if len(findings) > 0 {
		t.Errorf("findings in a sound catalogue:\n%s", show(findings))
	}
	if got := c.Count(catalog.TVariants); got != 2 {
		t.Errorf("got %d variants, want 2", got)
	}
}

func TestByteOrderMark(t *testing.T) {
	plain, _ := read(t, asFS(t, world(), nil))
	w := world()
	for name := range w {
		w[name] = "\ufeff" + w[name]
	}
	fsys := asFS(t, w, nil)
	fsys[DescriptorName].Data = append([]byte("\ufeff"), fsys[DescriptorName].Data...)
	marked, findings := read(t, fsys)
	if len(findings) > 0 {
		t.Errorf("findings:\n%s", show(findings))
	}
	if d := cmp.Diff(content(Memory(plain)), content(Memory(marked))); d != "" {
		t.Errorf("a byte-order mark changes what is read (-without +with):\n%s", d)
	}
}

func TestLineEnds(t *testing.T) {
	plain, _ := read(t, asFS(t, world(), nil))
	w := world()
	for name := range w {
		w[name] = strings.TrimSuffix(strings.ReplaceAll(w[name], "\n", "\r\n"), "\r\n")
	}
	crlf, findings := read(t, asFS(t, w, nil))
	if len(findings) > 0 {
		t.Errorf("findings:\n%s", show(findings))
	}
	if d := cmp.Diff(content(Memory(plain)), content(Memory(crlf))); d != "" {
		t.Errorf("CRLF, and none after the last row, changes what is read (-LF +CRLF):\n%s", d)
	}

	_, findings = read(t, asFS(t, map[string]string{"sources": world()["sources"], "makers": "maker,name,source\rQUORN,Quornwerk,BENCH\r"}, nil))
	expect(t, findings, catalog.BadHeading, "makers.csv:1", "maker,name,source\rQUORN,Quornwerk,BENCH", "carriage return alone")
}

func TestQuotedLineBreaks(t *testing.T) {
	c, findings := read(t, asFS(t, with(map[string]string{
		"makers": "maker,name,source\r\nQUORN,\"Quorn\r\nwerk, \"\"the\"\" yard\",BENCH\r\nZUSK,Zusk,GONE\r\n",
	}), nil))
	for r := range c.Rows(catalog.TMakers) {
		if m := r.(*catalog.Maker); m.Maker == "QUORN" && m.Name != "Quorn\nwerk, \"the\" yard" {
			t.Errorf("got the name %q", m.Name)
		}
	}
	// The second row starts in line 4 of the file.
	expect(t, findings, catalog.Dangling, "makers.csv:4 column source", "GONE")
}

func TestSemicolons(t *testing.T) {
	text := "maker;name;source\nQUORN;\"Quorn; werk, yard\";BENCH\n"
	semi := map[string]map[string]any{"makers": {"dialect": map[string]any{"delimiter": ";"}}}
	c, findings := read(t, asFS(t, with(map[string]string{"makers": text}), semi))
	if len(findings) > 0 {
		t.Errorf("findings:\n%s", show(findings))
	}
	for r := range c.Rows(catalog.TMakers) {
		if m := r.(*catalog.Maker); m.Name != "Quorn; werk, yard" {
			t.Errorf("got the name %q", m.Name)
		}
	}

	w := with(map[string]string{"makers": text, "families": "", "layouts": "", "fields": "", "variants": "", "fits": ""})
	_, findings = read(t, asFS(t, w, nil))
	expect(t, findings, catalog.BadHeading, "makers.csv:1", "maker;name;source", `separated by ';'`, `"dialect": {"delimiter": ";"}`)

	w["makers"] = world()["makers"]
	_, findings = read(t, asFS(t, w, semi))
	expect(t, findings, catalog.BadHeading, "makers.csv:1", "maker,name,source", `separated by ','`)
}

// TestSeparatorLine: spreadsheets may write their separator into a line of its
// own above the heading.
func TestSeparatorLine(t *testing.T) {
	_, findings := read(t, asFS(t, map[string]string{"sources": "sep=;\n" + world()["sources"]}, nil))
	expect(t, findings, catalog.BadHeading, "sources.csv:1", "sep=;", "take the line away")
}

// TestOneFindingForOneMistake: references to a row that is there and refused
// are not reported on top.
func TestOneFindingForOneMistake(t *testing.T) {
	_, findings := read(t, asFS(t, with(map[string]string{"makers": "maker,name,source\nQUORN,Quorn\u200bwerk,BENCH\n"}), nil))
	expect(t, findings, catalog.BadCell, "makers.csv:2 column name", "Quorn\u200bwerk", "U+200B")
}

func TestQuoteCharacter(t *testing.T) {
	c, findings := read(t, asFS(t, with(map[string]string{"makers": "maker,name,source\nQUORN,'Quorn, ''old'' \"yard\"',BENCH\n"}),
		map[string]map[string]any{"makers": {"dialect": map[string]any{"quoteChar": "'"}}}))
	if len(findings) > 0 {
		t.Errorf("findings:\n%s", show(findings))
	}
	for r := range c.Rows(catalog.TMakers) {
		if m := r.(*catalog.Maker); m.Name != `Quorn, 'old' "yard"` {
			t.Errorf("got the name %q", m.Name)
		}
	}
}

func TestOtherEncodings(t *testing.T) {
	wide := func(s string, order int, mark bool) string {
		var b strings.Builder
		if mark {
			b.WriteString(string([]byte{0xff - byte(order), 0xfe + byte(order)}))
		}
		for _, c := range []byte(s) {
			if order == 0 {
				b.Write([]byte{c, 0})
			} else {
				b.Write([]byte{0, c})
			}
		}
		return b.String()
	}
	sources := "source,title,kind\nBENCH,Gesehen am Prüfstand,invented\n"
	w1252 := strings.ReplaceAll(sources, "ü", "\xfc")
	for _, tt := range []struct {
		name, text, place, value string
		words                    []string
	}{
		{"Windows-1252", w1252, "sources.csv:2 column title", "Gesehen am Pr?fstand", []string{"byte 14", "0xFC", "'ü'", "UTF-8"}},
		{"Windows-1252 in the heading", strings.Replace(sources, "kind", "kind,f\xfcr", 1), "sources.csv:1", "f?r", []string{"byte 2", "0xFC"}},
		{"UTF-16 little end first", wide(sources, 0, true), "sources.csv:1", "", []string{"UTF-16", "UTF-8"}},
		{"UTF-16 big end first", wide(sources, 1, true), "sources.csv:1", "", []string{"UTF-16"}},
		{"UTF-16 without mark", wide(sources, 0, false), "sources.csv:1", "", []string{"UTF-16"}},
		{"UTF-16 big end first without mark", wide(sources, 1, false), "sources.csv:1", "", []string{"UTF-16"}},
		{"UTF-32", "\xff\xfe\x00\x00s\x00\x00\x00", "sources.csv:1", "", []string{"UTF-32"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, findings := read(t, asFS(t, map[string]string{"sources": tt.text}, nil))
			expect(t, findings, catalog.BadEncoding, tt.place, tt.value, tt.words...)
		})
	}
}

func TestNUL(t *testing.T) {
	_, findings := read(t, asFS(t, map[string]string{"sources": "source,title,kind\nBENCH,Seen\x00 on,invented\n"}, nil))
	expect(t, findings, catalog.BadEncoding, "sources.csv:2 column title", "Seen\x00 on", "byte 5", "NUL")
}

func TestDuplicates(t *testing.T) {
	// Both places are told, and spelling makes no difference.
	_, findings := read(t, asFS(t, with(map[string]string{"parts": world()["parts"] + "gk0421,Other,single,unit-maker,sold,BENCH\n"}), nil))
	expect(t, findings, catalog.Duplicate, "parts.csv:5 column part", "gk0421", "parts.csv:2")
}

func TestDangling(t *testing.T) {
	_, findings := read(t, asFS(t, with(map[string]string{"supersessions": "old,new,kind,qty,source\nGK-0422,GK-9999,one-way,1,BENCH\n"}), nil))
	expect(t, findings, catalog.Dangling, "supersessions.csv:2 column new", "GK-9999", "parts")
}

func TestMangledCodes(t *testing.T) {
	for code, as := range map[string]string{
		"1E5": "exponent", "1.23457E+11": "exponent", "1,23457E+11": "exponent", "-1.5E-07": "exponent", "2e3": "exponent",
		"03-Mar": "date", "3-Mar-14": "date", "Mar-14": "date", "mar-14": "date", "03. Mrz": "date", "Okt 14": "date", "1-Sept": "date",
		"2014-03-01": "date", "1/2/2014": "date", "03.04.2014": "date", "31/12/2014": "date", "12/31/2014": "date",
	} {
		if got := mangledAs(code); !strings.Contains(got, as) {
			t.Errorf("mangledAs(%q) = %q, want %q", code, got, as)
		}
	}
	for _, code := range []string{"", "-", "GK-0421", "E5", "1E5A", "1E", "E+05", "12E3456", "MAR-14", "03-MAR", "Mar", "Market-14", "Mar-145", "40-Mar", "0-Mar",
		"2014-03", "12.34.5678", "13/13/2014", "1/2/14", "1-2/2014", "2014", "03.04.3014", "1.2.3.2014", "1/2/2014A", "S-1E5", "55-067-11"} {
		if got := mangledAs(code); got != "" {
			t.Errorf("mangledAs(%q) = %q, want none", code, got)
		}
	}

	parts := world()["parts"] + "\"1,23457E+11\",Odd,single,unit-maker,sold,BENCH\n"
	_, findings := read(t, asFS(t, with(map[string]string{"parts": parts}), nil))
	expect(t, findings, catalog.Mangled, "parts.csv:5 column part", "1,23457E+11", "spreadsheet", "literalCodes")

	// A text may say what it likes.
	_, findings = read(t, asFS(t, with(map[string]string{"makers": "maker,name,source\nQUORN,1E5,BENCH\n"}), nil))
	if len(findings) > 0 {
		t.Errorf("findings:\n%s", show(findings))
	}
}

func TestLiteralCodes(t *testing.T) {
	parts := world()["parts"] + "1E5,Odd,single,unit-maker,sold,BENCH\n1E6,Odd too,single,unit-maker,sold,BENCH\n"
	c, findings := read(t, asFS(t, with(map[string]string{"parts": parts}), map[string]map[string]any{"parts": {"literalCodes": []string{"1E5"}}}))
	expect(t, findings, catalog.Mangled, "parts.csv:6 column part", "1E6")
	if got := c.Count(catalog.TParts); got != 4 {
		t.Errorf("got %d parts, want 4", got)
	}
}

func TestLostZeros(t *testing.T) {
	head := "part,name,kind,origin,status,source\n"
	row := func(code string) string { return code + ",Seal,single,unit-maker,sold,BENCH\n" }
	sources := world()["sources"]
	supersessions := "old,new,kind,qty,source\n421,007330,one-way,1,BENCH\n"

	t.Run("in a reference", func(t *testing.T) {
		_, findings := read(t, asFS(t, map[string]string{"sources": sources, "parts": head + row("000421") + row("007330"), "supersessions": supersessions}, nil))
		expect(t, findings, catalog.LostLeadingZeros, "supersessions.csv:2 column old", "421", "000421")
	})
	t.Run("in a key", func(t *testing.T) {
		text := head + row("000421") + row("7330") + row("118204") + row("002210")
		_, findings := read(t, asFS(t, map[string]string{"sources": sources, "parts": text}, nil))
		expect(t, findings, catalog.LostLeadingZeros, "parts.csv:3 column part", "7330", "007330")

		_, findings = read(t, asFS(t, map[string]string{"sources": sources, "parts": text}, map[string]map[string]any{"parts": {"literalCodes": []string{"7330"}}}))
		if len(findings) > 0 {
			t.Errorf("findings on a code listed as literal:\n%s", show(findings))
		}
	})
	for name, codes := range map[string][]string{
		"none begins with a zero": {"118204", "7330", "118205"},
		"zeros at both widths":    {"000421", "0733", "7330", "002210"},
		"short ones prevail":      {"000421", "7330", "7331", "7332"},
		"with letters":            {"000421", "733A", "002210"},
	} {
		t.Run(name, func(t *testing.T) {
			text := head
			for _, c := range codes {
				text += row(c)
			}
			_, findings := read(t, asFS(t, map[string]string{"sources": sources, "parts": text}, nil))
			if len(findings) > 0 {
				t.Errorf("findings:\n%s", show(findings))
			}
		})
	}
}

func TestLookAlikesInCodes(t *testing.T) {
	for code, word := range map[string]string{
		"GK\u200b-1": "U+200B",
		"GК-1":       "CYRILLIC CAPITAL LETTER KA",
		"GK–1":       "EN DASH",
		"GK-1 ":      "space",
		"GK\t1":      "control character",
		"gk\u00a01":  "NO-BREAK SPACE",
	} {
		_, findings := read(t, asFS(t, with(map[string]string{"parts": world()["parts"] + code + ",Odd,single,unit-maker,sold,BENCH\n"}), nil))
		expect(t, findings, catalog.BadCode, "parts.csv:5 column part", code, word)
	}
}

func TestInvisibleCharactersInConditions(t *testing.T) {
	fits := "scope,of,statement,role,effect,part,qty,when,source\nvariant,HX7-014,A,pan-gasket,fits,GK-0421,1,connector=ke\u200byed,BENCH\n"
	_, findings := read(t, asFS(t, with(map[string]string{"fits": fits}), nil))
	expect(t, findings, catalog.BadCell, "fits.csv:2 column when", "connector=ke\u200byed", "U+200B")
}

func TestRulesOfRowsAndOfTheWhole(t *testing.T) {
	t.Run("circle of supersessions", func(t *testing.T) {
		_, findings := read(t, asFS(t, with(map[string]string{"supersessions": world()["supersessions"] + "GK-0421,GK-0422,one-way,1,BENCH\n"}), nil))
		if len(findings) != 2 {
			t.Fatalf("got:\n%s", show(findings))
		}
		check(t, findings[0], catalog.Circle, "supersessions.csv:2 column new", "GK-0421")
		check(t, findings[1], catalog.Circle, "supersessions.csv:3 column new", "GK-0422")
	})
	t.Run("negative quantity", func(t *testing.T) {
		_, findings := read(t, asFS(t, with(map[string]string{"supersessions": "old,new,kind,qty,source\nGK-0422,GK-0421,one-way,-1,BENCH\n"}), nil))
		expect(t, findings, catalog.BadNumber, "supersessions.csv:2 column qty", "-1", "negative")
	})
	t.Run("range that ends before it starts", func(t *testing.T) {
		_, findings := read(t, asFS(t, with(map[string]string{"fits": strings.Replace(world()["fits"], "200,300", "300,200", 1)}), nil))
		expect(t, findings, catalog.BadRange, "fits.csv:3 column serial_to", "200")
	})
	t.Run("required cell empty", func(t *testing.T) {
		_, findings := read(t, asFS(t, with(map[string]string{"makers": "maker,name,source\nQUORN,,BENCH\n"}), nil))
		expect(t, findings, catalog.Missing, "makers.csv:2 column name", "")
	})
	t.Run("word that the column does not know", func(t *testing.T) {
		_, findings := read(t, asFS(t, with(map[string]string{"sources": "source,title,kind\nBENCH,Seen,benched\n"}), nil))
		i := slices.IndexFunc(findings, func(f catalog.Finding) bool { return f.Code == catalog.BadCell })
		require.GreaterOrEqual(t, i, 0)
		check(t, findings[i], catalog.BadCell, "sources.csv:2 column kind", "benched", "bench")
	})
}

func TestEverythingIsReportedAtOnce(t *testing.T) {
	_, findings := read(t, asFS(t, with(map[string]string{
		"supersessions": "old,new,kind,qty,source,sinse\nGK-0422,GK-0421,sideways,x,BENCH,\nGK-0421\nGK-0422,GK-7,one-way,1,GONE,\n",
		"makers":        "maker,name,source\nQUORN,Quornwerk,BENCH\nQUORN,Again,BENCH\n",
	}), nil))
	var got []string
	for _, f := range findings {
		got = append(got, string(f.Code)+" "+f.Place.String())
	}
	want := []string{
		"duplicate makers.csv:3 column maker",
		"heading supersessions.csv:1 column sinse",
		"cell supersessions.csv:2 column kind",
		"cell supersessions.csv:2 column qty",
		"shape supersessions.csv:3",
		"dangling supersessions.csv:4 column new",
		"dangling supersessions.csv:4 column source",
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("findings (-want +got):\n%s", d)
	}
}

func TestRaggedRows(t *testing.T) {
	_, findings := read(t, asFS(t, with(map[string]string{"makers": "maker,name,source\nQUORN,Quornwerk,BENCH\nZUSK,Zusk\nVELM,Velm,BENCH,,\n\n,,\n"}), nil))
	require.Len(t, findings, 2, show(findings))
	check(t, findings[0], catalog.BadShape, "makers.csv:3", "ZUSK | Zusk", "2 cells", "has 3")
	check(t, findings[1], catalog.BadShape, "makers.csv:4", "VELM | Velm | BENCH |  | ", "5 cells")
}

func TestStrayQuotes(t *testing.T) {
	text := "maker,name,source\n" +
		"QUORN,Quorn\"werk,BENCH\n" + // 2
		"ZUSK,\"Zusk\" & sons,BENCH\n" + // 3
		"VELM,Velm,BENCH\n" + // 4
		"ORR,\"Orr,BENCH\n" + // 5, swallows what follows up to the next quote
		"PELK,Pelk,GONE\n" // 6
	c, findings := read(t, asFS(t, map[string]string{"sources": world()["sources"], "makers": text}, nil))
	require.Len(t, findings, 4, show(findings))
	check(t, findings[0], catalog.BadShape, "makers.csv:2", "", "quote")
	check(t, findings[1], catalog.BadShape, "makers.csv:3", "", "quote")
	check(t, findings[2], catalog.BadShape, "makers.csv:5", "", "never closed")
	check(t, findings[3], catalog.Dangling, "makers.csv:6 column source", "GONE")
	if got := c.Count(catalog.TMakers); got != 2 {
		t.Errorf("got %d makers, want those of lines 4 and 6", got)
	}
}

func TestEmptyFiles(t *testing.T) {
	_, findings := read(t, asFS(t, map[string]string{"sources": world()["sources"], "makers": ""}, nil))
	expect(t, findings, catalog.BadHeading, "makers.csv", "", "empty")

	_, findings = read(t, asFS(t, map[string]string{"sources": world()["sources"], "makers": "maker,name,source\n"}, nil))
	require.Len(t, findings, 1)
	check(t, findings[0], catalog.EmptyTable, "makers.csv", "")
	if findings[0].Severity != catalog.Remark {
		t.Errorf("a table without rows refuses the import")
	}

	_, findings = read(t, asFS(t, map[string]string{"makers": "maker,name,source\n"}, nil))
	expect(t, findings, catalog.NothingToImport, "test", "")
}

func TestHeadings(t *testing.T) {
	c, findings := read(t, asFS(t, map[string]string{"sources": "kind,title,source\nbench,Seen,BENCH\n"}, nil))
	if len(findings) > 0 || c.Count(catalog.TSources) != 1 {
		t.Errorf("columns in another order are not read:\n%s", show(findings))
	}
	for _, tt := range []struct{ heading, place, value, word string }{
		{"source,titel,kind", "sources.csv:1 column titel", "titel", "did you mean title"},
		{"source,Title,kind", "sources.csv:1 column Title", "Title", "did you mean title"},
		{"source,title,kind,colour", "sources.csv:1 column colour", "colour", "no column of this name"},
		{"source,title,kind,title", "sources.csv:1 column title", "title", "twice"},
		{"source,title,kind,", "sources.csv:1", "", "column 4 is empty"},
	} {
		_, findings := read(t, asFS(t, map[string]string{"sources": tt.heading + "\n"}, nil))
		i := slices.IndexFunc(findings, func(f catalog.Finding) bool {
			return f.Place.String() == tt.place && strings.Contains(f.String(), tt.word)
		})
		if i < 0 {
			t.Errorf("no finding on %q says %q:\n%s", tt.heading, tt.word, show(findings))
			continue
		}
		check(t, findings[i], catalog.BadHeading, tt.place, tt.value, tt.word)
	}
	_, findings = read(t, asFS(t, map[string]string{"sources": "title,kind\nSeen,bench\n"}, nil))
	expect(t, findings, catalog.BadHeading, "sources.csv:1 column source", "", "missing")
}

func TestClearWord(t *testing.T) {
	p, err := OpenFS(asFS(t, map[string]string{"contents": "kit,part,qty,place,source\nKIT-1,GK-1,(clear),,(clear)\nKIT-1,GK-2,1,(clear),BENCH\n"}, nil), "test", Limits{})
	require.NoError(t, err)
	var fs catalog.Findings
	var got []catalog.Cells
	table := catalog.TableByName(catalog.TContents)
	require.NoError(t, p.Rows(table, &fs, func(r catalog.Row, _ catalog.Place, cleared catalog.Cells) error {
		if c := r.(*catalog.Content); c.Qty != 0 || c.Source != "" {
			t.Errorf("a cleared cell has a value: %+v", c)
		}
		got = append(got, cleared)
		return nil
	}))
	want := catalog.Cells(0).With(2).With(4)
	if len(got) != 1 || got[0] != want {
		t.Errorf("got the cleared columns %b, want %b once", got, want)
	}
	expect(t, fs.List(), catalog.BadCell, "contents.csv:3 column place", "(clear)", "key")
}

func TestConsumerErrors(t *testing.T) {
	p, err := OpenFS(asFS(t, world(), nil), "test", Limits{})
	require.NoError(t, err)
	var fs catalog.Findings
	stop := errors.New("stop")
	if err := p.Rows(catalog.TableByName(catalog.TParts), &fs, func(catalog.Row, catalog.Place, catalog.Cells) error { return stop }); err != stop {
		t.Errorf("got the error %v, want the consumer's own", err)
	}
	if fs.Refused() > 0 {
		t.Errorf("the consumer's error became findings:\n%s", show(fs.List()))
	}
}

func TestProgress(t *testing.T) {
	p, err := OpenFS(asFS(t, world(), nil), "test", Limits{})
	require.NoError(t, err)
	if done, total := p.Progress(); done != 0 || total == 0 {
		t.Errorf("before reading: %d of %d bytes", done, total)
	}
	readAll(t, p)
	if done, total := p.Progress(); done != total {
		t.Errorf("after reading: %d of %d bytes", done, total)
	}
}
