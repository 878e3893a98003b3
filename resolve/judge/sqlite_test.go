package judge_test

import (
	"bytes"
	_ "embed"
	"fmt"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"testing"
	"time"

	"platewright/catalog"
	"platewright/resolve"
)

//go:embed judge.sql
var rules string

// world is a catalogue as the rows that it is made of, so that the shrinker can
// leave rows out.
type world struct {
	rows []tableRow
	keys map[string]bool
}

type tableRow struct {
	table string
	row   catalog.Row
}

func (w *world) add(table string, rows ...catalog.Row) {
	t := catalog.TableByName(table)
	for _, r := range rows {
		key := table + "|" + string(t.RowKey(nil, r))
		if w.keys[key] {
			continue // a second row of one key would not be in a catalogue
		}
		if w.keys == nil {
			w.keys = map[string]bool{}
		}
		w.keys[key] = true
		w.rows = append(w.rows, tableRow{table, r})
	}
}

// ask is one question about one world, with the parts asked about beside it.
type ask struct {
	world    int
	question resolve.Question
	parts    []string
}

// needJudge skips the test by name where the sqlite3 shell is absent. In
// continuous integration its absence is a failure: a judge that silently stays
// away judges nothing.
func needJudge(t testing.TB) {
	t.Helper()
	if _, err := exec.LookPath("sqlite3"); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("the judge needs the sqlite3 shell, and it is not installed")
		}
		t.Skip("the judge needs the sqlite3 shell (Debian package sqlite3), and it is not installed")
	}
}

// facts are what the judge says: the fields after the question, by question.
type facts map[int][][]string

// judge runs the rules over all worlds and questions in one child process.
func judge(t testing.TB, worlds []*world, asks []ask) facts {
	t.Helper()
	tables, after, ok := strings.Cut(rules, "-- :load\n")
	if !ok {
		t.Fatal("judge.sql has no line -- :load")
	}
	var in bytes.Buffer
	in.WriteString(tables)
	in.WriteString("BEGIN;\n")
	l := loader{w: &in}
	for c, w := range worlds {
		l.world(c, w)
	}
	read := make([]*plates, len(worlds))
	for q, a := range asks {
		if read[a.world] == nil {
			read[a.world] = newPlates(worlds[a.world])
		}
		l.question(t, q, a, worlds[a.world], read[a.world])
	}
	for {
		before, rest, ok := strings.Cut(after, "-- :repeat ")
		in.WriteString(before)
		if !ok {
			break
		}
		times, rest, _ := strings.Cut(rest, "\n")
		body, rest, ok := strings.Cut(rest, "-- :end\n")
		n, err := strconv.Atoi(times)
		if err != nil || !ok {
			t.Fatal("judge.sql has a bad line -- :repeat", times)
		}
		in.WriteString(strings.Repeat(body, n))
		after = rest
	}
	in.WriteString("COMMIT;\n")
	if name := os.Getenv("JUDGE_SQL"); name != "" { // to look at one run by hand
		if err := os.WriteFile(name, in.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	cmd := exec.Command("sqlite3", "-batch", "-bail", ":memory:")
	cmd.Stdin = &in
	var out, trouble bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &trouble
	if err := cmd.Run(); err != nil || trouble.Len() > 0 {
		t.Fatalf("sqlite3: %v\n%s", err, trouble.String())
	}
	fs := facts{}
	for line := range strings.Lines(out.String()) {
		f := strings.Split(strings.TrimSuffix(line, "\n"), "\t")
		if len(f) < 2 {
			continue // what a PRAGMA prints
		}
		if f[0] == "unjudged" {
			t.Fatal("the judge cannot judge one of the worlds:", line)
		}
		q, err := strconv.Atoi(f[1])
		if err != nil {
			t.Fatalf("the judge said %q", line)
		}
		fs[q] = append(fs[q], append([]string{f[0]}, f[2:]...))
	}
	return fs
}

// loader writes INSERT statements. Text is folded on the way, as the rules say
// that codes are compared by key and values by their folded form.
type loader struct {
	w    *bytes.Buffer
	fits int
}

func (l *loader) insert(table string, values ...any) {
	fmt.Fprintf(l.w, "INSERT INTO %s VALUES (", table)
	for i, v := range values {
		if i > 0 {
			l.w.WriteByte(',')
		}
		switch v := v.(type) {
		case nil:
			l.w.WriteString("NULL")
		case int:
			fmt.Fprint(l.w, v)
		case int64:
			fmt.Fprint(l.w, v)
		case bool:
			if v {
				l.w.WriteByte('1')
			} else {
				l.w.WriteByte('0')
			}
		case string:
			l.w.WriteString("'" + strings.ReplaceAll(v, "'", "''") + "'")
		default:
			panic(fmt.Sprintf("no SQL for %T", v))
		}
	}
	l.w.WriteString(");\n")
}

func serialOrNull(s catalog.Serial) any {
	if s == 0 {
		return nil
	}
	return int64(s)
}

// days gives the first and last day that a date can mean, as day numbers.
func days(d catalog.Date) (first, last int) {
	y, m, day := int(d)/10000, int(d)/100%100, int(d)%100
	switch {
	case m == 0:
		return dayNumber(time.Date(y, 1, 1, 0, 0, 0, 0, time.UTC)), dayNumber(time.Date(y, 12, 31, 0, 0, 0, 0, time.UTC))
	case day == 0:
		return dayNumber(time.Date(y, time.Month(m), 1, 0, 0, 0, 0, time.UTC)), dayNumber(time.Date(y, time.Month(m)+1, 0, 0, 0, 0, 0, time.UTC))
	}
	n := dayNumber(time.Date(y, time.Month(m), day, 0, 0, 0, 0, time.UTC))
	return n, n
}

func dayNumber(t time.Time) int { return int(t.Unix()/86400) + 1000000 }

func firstOrNull(d catalog.Date) any {
	if d == 0 {
		return nil
	}
	first, _ := days(d)
	return first
}

func lastOrNull(d catalog.Date) any {
	if d == 0 {
		return nil
	}
	_, last := days(d)
	return last
}

// scaled gives a decimal in its millionths or thousandths, NULL if unknown.
func scaled(d catalog.Decimal, places int32) any {
	if !d.Known {
		return nil
	}
	return d.Num.Shift(places).IntPart()
}

func (l *loader) world(c int, w *world) {
	fold, value := catalog.Fold, catalog.FoldValue
	for _, tr := range w.rows {
		switch r := tr.row.(type) {
		case *catalog.Assembly:
			l.insert("assembly", c, fold(r.Assembly), fold(r.Follows))
		case *catalog.Variant:
			l.insert("variant", c, r.Variant.Key(), fold(r.Family), serialOrNull(r.SerialFrom), serialOrNull(r.SerialTo), firstOrNull(r.BuiltFrom), lastOrNull(r.BuiltTo))
		case *catalog.Mark:
			l.insert("mark", c, fold(r.Mark), fold(r.Assembly), string(r.Kind), string(r.Force), scaled(r.Tolerance, 6), string(r.Wears), fold(r.Site), r.Unit == "Ω")
		case *catalog.Show:
			l.insert("show", c, string(r.Scope), fold(r.Of), fold(r.Mark), value(r.Value), millionths(r.Value), scaled(r.Tolerance, 6))
		case *catalog.Site:
			l.insert("site", c, string(r.Scope), fold(r.Of), fold(r.Site), fold(r.Role), scaled(r.Ohm, 6), scaled(r.Tolerance, 6), scaled(r.Temp, 1))
		case *catalog.Seal:
			l.insert("seal", c, string(r.Scope), fold(r.Of), fold(r.Seal), fold(r.Role), scaled(r.Length, 6), scaled(r.Tolerance, 6), scaled(r.Least, 6), scaled(r.Fitted, 6))
		case *catalog.Role:
			l.insert("role", c, fold(r.Role), fold(r.Assembly), string(r.Kind))
		case *catalog.Part:
			l.insert("part", c, r.Part.Key(), string(r.Kind), r.Status == catalog.PartSold)
		case *catalog.Number:
			l.insert("number", c, fold(r.Number), r.Part.Key())
		case *catalog.Fit:
			l.fits++
			of, mark, val := fold(r.Of), "", ""
			if r.Scope == catalog.FitMark {
				m, v, _ := strings.Cut(r.Of, "=")
				of, mark, val = "", fold(m), value(v)
				l.insert("cond", l.fits, mark, val)
			}
			l.insert("fit", l.fits, c, string(r.Scope), of, mark, val, fold(r.Role), string(r.Effect), r.Part.Key(), value(r.Position), r.Qty, r.Rank,
				serialOrNull(r.SerialFrom), serialOrNull(r.SerialTo), firstOrNull(r.BuiltFrom), lastOrNull(r.BuiltTo))
			for _, w := range r.When {
				l.insert("cond", l.fits, fold(w.Mark), value(w.Value))
			}
		case *catalog.Supersession:
			l.insert("sup", c, r.Old.Key(), r.New.Key(), string(r.Kind), r.Qty)
		case *catalog.Companion:
			l.insert("comp", c, r.Part.Key(), r.Companion.Key(), r.Replacing.Key(), r.Qty, string(r.Per))
		case *catalog.Serve:
			l.insert("serve", c, fold(r.Spec), fold(r.ServedBy))
		case *catalog.Meet:
			l.insert("meet", c, fold(r.Spec), r.Fluid.Key(), string(r.Claim))
		case *catalog.Limit:
			l.insert("lim", c, fold(r.Spec), string(r.Property), scaled(r.Least, 6), scaled(r.Most, 6))
		case *catalog.Sheet:
			l.insert("sheet", c, r.Fluid.Key(), string(r.Property), scaled(r.Value, 6))
		case *catalog.Fill:
			l.insert("fill", c, string(r.Scope), fold(r.Of), fold(r.Role), fold(r.Spec), scaled(r.Refill, 3), scaled(r.Dry, 3))
		case *catalog.WorkScope:
			l.insert("work", c, fold(r.Work), string(r.Fill))
		case *catalog.WorkRole:
			l.insert("workrole", c, fold(r.Work), fold(r.Role))
		case *catalog.Note:
			if r.On == catalog.NoteOnPart && r.Kind == catalog.NoteDidNotFit && r.State == catalog.NoteConfirmed {
				l.insert("note", c, fold(r.Of), fold(r.Family))
			}
		}
	}
}

func millionths(s string) any {
	d, err := catalog.ParseDecimal(s)
	if err != nil {
		return nil
	}
	return scaled(d, 6)
}

func (l *loader) question(t testing.TB, q int, a ask, w *world, p *plates) {
	t.Helper()
	fold := catalog.Fold
	built := any(nil)
	if a.question.Built != 0 {
		built = a.question.Built.String()
	}
	l.insert("question", q, a.world, serialOrNull(a.question.Serial), firstOrNull(a.question.Built), lastOrNull(a.question.Built), built)
	for _, x := range a.question.Work {
		l.insert("qwork", q, fold(x))
	}
	for _, x := range a.question.Roles {
		l.insert("qrole", q, fold(x))
	}
	for _, x := range a.parts {
		l.insert("qpart", q, fold(x))
	}
	for _, o := range a.question.Saw {
		number, temp, warm := strings.Cut(o.Value, " at ")
		at := any(200)
		if warm {
			d, err := catalog.ParseDecimal(strings.TrimSuffix(temp, " °C"))
			if err != nil {
				t.Fatalf("the judge cannot read the temperature of %q: %v", o.Value, err)
			}
			at = scaled(d, 1)
		}
		l.insert("obs", q, fold(o.Mark), catalog.FoldValue(o.Value), millionths(number), at)
	}
	var texts []string
	if a.question.Plate != "" {
		texts = append(texts, a.question.Plate)
	}
	for i, text := range append(texts, a.question.Labels...) {
		r := p.read(text, i < len(texts))
		var serial, b1, b2 any
		if r.serial != 0 {
			serial = r.serial
		}
		if r.b1 != 0 {
			b1, b2 = r.b1, r.b2
		}
		l.insert("reading", q, i, r.assembly, fold(text), serial, b1, b2)
		for _, v := range r.variants {
			l.insert("allow", q, i, v)
		}
	}
}
