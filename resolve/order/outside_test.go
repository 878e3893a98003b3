package order_test

import (
	"encoding/csv"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/shopspring/decimal"
	"github.com/stretchr/testify/require"

	"platewright/resolve/order"
	"platewright/seed"
)

// The least totals of the demo's orders, through all of plate, decision, needs and
// plan, against GLPK (Debian package glpk-utils): the model is testdata/demo.mod, and
// the judge below reads the demo's CSV tables by itself, with none of the packages
// that it judges.
func TestDemoAgainstGLPK(t *testing.T) {
	glpsol, err := exec.LookPath("glpsol")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("glpsol is absent: install the Debian package glpk-utils")
		}
		t.Skip("glpsol is absent (Debian package glpk-utils)")
	}
	cat := demo(t)
	j := newJudge(t)
	judged := 0
	for _, x := range []struct{ plate, variant string }{
		{"XEB-411-A 1618 003052 N", "XEB-411-A"}, {"XEB-421-A 1708 012900 L", "XEB-421-A"}, {"XEB-421-C 1944 030115 V", "XEB-421-C"}, {"XEB-437-B 1832 007345 2", "XEB-437-B"},
		{"XUK-702-A 1705 000412 R", "XUK-702-A"}, {"31-2140 0007702-8", "31-2140"}, {"38-0513 0020871-9", "38-0513"}, {"UY WA-31 05512", "WA-31"},
	} {
		for _, work := range []string{"actuator-replacement", "fluid-service", "valve-body-reseal", "full-overhaul"} {
			dat, ok := j.data(x.variant, work)
			if !ok {
				continue // something that the judge leaves to the resolver: conditions, serial numbers, dates
			}
			p := proposed(t, cat, order.Ask{Decision: decided(t, cat, x.plate, work), Nodes: 2000})
			if len(p.Held) > 0 || len(p.Uncovered) > 0 {
				continue
			}
			dir := t.TempDir()
			file := filepath.Join(dir, "demo.dat")
			require.NoError(t, os.WriteFile(file, []byte(dat), 0o600))
			out, err := exec.Command(glpsol, "--math", "testdata/demo.mod", "--data", file, "--cuts").CombinedOutput()
			require.NoError(t, err, string(out))
			m := regexp.MustCompile(`(?m)^total ([0-9.]+)$`).FindSubmatch(out)
			if m == nil {
				t.Errorf("%s, %s: GLPK gives no total:\n%s\n%s", x.variant, work, out, dat)
				continue
			}
			want := decimal.RequireFromString(string(m[1]))
			switch {
			case !p.Proof.Proven:
				// Where the nodes ran out, the optimum lies between what was found and the bound.
				if want.GreaterThan(p.Total) || want.LessThan(p.Proof.Bound) {
					t.Errorf("%s, %s: planned for %s with the bound %s, GLPK has %s", x.variant, work, p.Total, p.Proof.Bound, want)
				}
				continue
			case !want.Equal(p.Total):
				t.Errorf("%s, %s: planned for %s, GLPK has %s\n%s\n%s", x.variant, work, p.Total, want, strings.Join(told(p), "\n"), dat)
			}
			judged++
		}
	}
	if judged < 15 {
		t.Errorf("only %d orders were judged", judged)
	}
	t.Logf("%d orders judged", judged)
}

// judge reads the demo's tables.
type judge struct {
	tables map[string][]map[string]string
}

func newJudge(t *testing.T) *judge {
	t.Helper()
	j := &judge{map[string][]map[string]string{}}
	for _, name := range []string{"variants", "shows", "fits", "parts", "contents", "supersessions", "companions", "fills", "serves", "meets", "sheets", "limits", "work", "work_roles", "roles", "suppliers", "offers", "breaks", "shelf", "consumables", "notes"} {
		f, err := seed.FS.Open(name + ".csv")
		require.NoError(t, err)
		rows, err := csv.NewReader(f).ReadAll()
		require.NoError(t, err)
		require.NoError(t, f.Close())
		for _, r := range rows[1:] {
			m := map[string]string{}
			for i, h := range rows[0] {
				m[h] = r[i]
			}
			j.tables[name] = append(j.tables[name], m)
		}
	}
	return j
}

func (j *judge) rows(table string, where ...string) []map[string]string {
	var out []map[string]string
	for _, r := range j.tables[table] {
		ok := true
		for i := 0; i < len(where); i += 2 {
			ok = ok && r[where[i]] == where[i+1]
		}
		if ok {
			out = append(out, r)
		}
	}
	return out
}

func (j *judge) part(p string) map[string]string { return j.rows("parts", "part", p)[0] }

type piece struct {
	part string
	qty  int // of a fluid, hundredths of a litre
	comp bool
}

func num(s string) int {
	n, _ := strconv.Atoi(s)
	return n
}

func centilitres(s string) int {
	return int(decimal.RequireFromString(s).Mul(decimal.NewFromInt(100)).IntPart())
}

// ways gives how a role of a variant can be met, by position; ok is false where
// conditions have a say.
func (j *judge) ways(variant, role, fill string) (out map[string][][]piece, ok bool) {
	family := j.rows("variants", "variant", variant)[0]["family"]
	shown := map[string]bool{}
	for _, r := range j.tables["shows"] {
		own := len(j.rows("shows", "scope", "variant", "of", variant, "mark", r["mark"])) > 0
		if r["scope"] == "variant" && r["of"] == variant || r["scope"] == "family" && r["of"] == family && !own {
			shown[r["mark"]+"="+r["value"]] = true
		}
	}
	out = map[string][][]piece{}
	against := map[string]bool{}
	for _, n := range j.rows("notes", "on", "part", "kind", "did-not-fit", "state", "confirmed") {
		if n["family"] == "" || n["family"] == family {
			against[n["of"]] = true
		}
	}
	var fits []map[string]string
	for _, r := range j.rows("fits", "role", role) {
		if r["of"] != variant && r["of"] != family && !shown[r["of"]] {
			continue
		}
		if r["when"]+r["serial_from"]+r["serial_to"]+r["built_from"]+r["built_to"] != "" {
			return nil, false
		}
		if r["effect"] == "does-not-fit" {
			if r["part"] == "" {
				return nil, true
			}
			against[r["part"]] = true
			continue
		}
		fits = append(fits, r)
	}
	for _, r := range fits {
		type step struct {
			part string
			qty  int
			path []string
		}
		todo := []step{{r["part"], num(r["qty"]), nil}}
		for i := 0; i < len(todo); i++ {
			s := todo[i]
			if against[s.part] {
				continue
			}
			sold := j.part(s.part)["status"] == "sold"
			way := []piece{{s.part, s.qty, false}}
			for _, c := range j.rows("companions", "part", s.part) {
				if c["replacing"] == "" || slices.Contains(s.path, c["replacing"]) {
					q := num(c["qty"])
					if c["per"] == "part" {
						q *= s.qty
					}
					way = append(way, piece{c["companion"], q, true})
				}
			}
			if sold || len(way) == 1 { // a part that is not sold can lie on the shelf
				out[r["position"]] = append(out[r["position"]], way)
			}
			if split := j.rows("supersessions", "old", s.part, "kind", "split"); len(split) > 0 {
				var w []piece
				for _, x := range split {
					w = append(w, piece{x["new"], s.qty * num(x["qty"]), false})
				}
				out[r["position"]] = append(out[r["position"]], w)
			}
			next := func(part, qty string) {
				if !slices.ContainsFunc(todo, func(o step) bool { return o.part == part }) {
					todo = append(todo, step{part, s.qty * num(qty), append(slices.Clone(s.path), s.part)})
				}
			}
			for _, x := range j.rows("supersessions", "old", s.part) {
				if x["kind"] != "split" {
					next(x["new"], x["qty"])
				}
			}
			for _, x := range j.rows("supersessions", "new", s.part, "kind", "two-way") {
				next(x["old"], x["qty"])
			}
		}
	}
	if j.rows("roles", "role", role)[0]["kind"] == "fluid" {
		f := j.rows("fills", "of", variant, "role", role)
		if len(f) == 0 {
			f = j.rows("fills", "of", family, "role", role)
		}
		if len(f) == 0 || fill == "none" {
			return nil, false
		}
		specs := []string{f[0]["spec"]}
		for _, s := range j.rows("serves", "spec", f[0]["spec"]) {
			specs = append(specs, s["served_by"])
		}
		seen := map[string]bool{}
		for _, s := range specs {
			for _, m := range j.rows("meets", "spec", s) {
				if p := m["fluid"]; !seen[p] && !against[p] && !j.belied(p, s) && j.part(p)["status"] == "sold" {
					seen[p] = true
					out[""] = append(out[""], []piece{{p, centilitres(f[0][fill]), false}})
				}
			}
		}
	}
	return out, len(out) > 0
}

// belied tells whether a figure of a fluid's data sheet is outside the limits of a
// specification.
func (j *judge) belied(fluid, spec string) bool {
	for _, l := range j.rows("limits", "spec", spec) {
		for _, s := range j.rows("sheets", "fluid", fluid, "property", l["property"]) {
			v, _ := strconv.ParseFloat(s["value"], 64)
			for _, end := range []struct {
				at    string
				above float64
			}{{l["least"], -1}, {l["most"], 1}} {
				if x, err := strconv.ParseFloat(end.at, 64); err == nil && (v-x)*end.above > 0 {
					return true
				}
			}
		}
	}
	return false
}

// contents takes a kit apart.
func (j *judge) contents(part string) map[string]int {
	rows := j.rows("contents", "kit", part)
	if j.part(part)["kind"] != "kit" || len(rows) == 0 {
		return map[string]int{part: 1}
	}
	out := map[string]int{}
	for _, r := range rows {
		out[r["part"]] += num(r["qty"])
	}
	return out
}

// data writes what a variant takes for a scope of work, and who sells it.
func (j *judge) data(variant, work string) (string, bool) {
	family := j.rows("variants", "variant", variant)[0]["family"]
	fill := j.rows("work", "work", work)[0]["fill"]
	type need struct{ ways [][]piece }
	var needs []need
	for _, r := range j.rows("work_roles", "work", work, "need", "required") {
		by, ok := j.ways(variant, r["role"], fill)
		if !ok {
			return "", false
		}
		for _, ws := range by {
			needs = append(needs, need{ws})
		}
	}
	for _, c := range j.rows("consumables", "work", work) {
		q := num(c["qty"])
		if c["litres"] != "" {
			q = centilitres(c["litres"])
		}
		needs = append(needs, need{[][]piece{{{c["part"], q, false}}}})
	}
	fluid := func(p string) bool { return j.part(p)["kind"] == "fluid" }
	b := map[string]*strings.Builder{}
	put := func(name, format string, args ...any) {
		if b[name] == nil {
			b[name] = &strings.Builder{}
		}
		fmt.Fprintf(b[name], " "+format, args...)
	}
	items := map[string]bool{}
	for n, x := range needs {
		put("set NEEDS", "n%d", n)
		for w, ps := range x.ways {
			put("set WAYS", "(n%d,w%d)", n, w)
			sum := map[bool]map[string]int{false: {}, true: {}}
			for _, p := range ps {
				for i, q := range j.contents(p.part) {
					sum[p.comp][i] += q * p.qty
					items[i] = true
				}
				if !p.comp {
					continue
				}
				for m, y := range needs {
					for k, os := range y.ways {
						if m != n && slices.ContainsFunc(os, func(o piece) bool { return !o.comp && o.part == p.part && o.qty >= p.qty }) {
							put("set BRINGS", "(n%d,w%d,'%s',n%d,w%d)", n, w, p.part, m, k)
						}
					}
				}
			}
			for i, q := range sum[false] {
				put("set WANTS", "(n%d,w%d,'%s')", n, w, i)
				put("param want", "[n%d,w%d,'%s'] %d", n, w, i, q)
			}
			for i, q := range sum[true] {
				put("set COMPS", "(n%d,w%d,'%s')", n, w, i)
				put("param comp", "[n%d,w%d,'%s'] %d", n, w, i, q)
			}
		}
	}
	for i := range items {
		put("set ITEMS", "'%s'", i)
	}
	shelf := map[string]int{}
	for _, r := range j.tables["shelf"] {
		for i, q := range j.contents(r["part"]) {
			if fluid(i) {
				q *= 100 // litres
			}
			shelf[i] += q * num(r["qty"])
		}
	}
	for i, q := range shelf {
		if items[i] {
			put("param shelf", "'%s' %d", i, q)
		}
	}
	for _, s := range j.tables["suppliers"] {
		put("set SUPPLIERS", "%s", s["supplier"])
		for name, column := range map[string]string{"param freight": "freight", "param free": "free_freight", "param least": "minimum"} {
			if s[column] != "" {
				put(name, "%s %s", s["supplier"], s[column])
			}
		}
	}
	for _, o := range j.tables["offers"] {
		holds := map[string]int{}
		for i, q := range j.contents(o["part"]) {
			if items[i] {
				holds[i] = q * num(o["pack"])
				if fluid(i) {
					holds[i] = centilitres(o["litres"])
				}
			}
		}
		if len(holds) == 0 || j.part(o["part"])["status"] != "sold" {
			continue
		}
		// A kit that does not fit is not taken apart.
		if j.part(o["part"])["kind"] == "kit" && slices.ContainsFunc(j.rows("fits", "part", o["part"], "effect", "does-not-fit"), func(r map[string]string) bool {
			return r["of"] == variant || r["of"] == family || r["scope"] == "mark"
		}) {
			continue
		}
		if slices.ContainsFunc(j.rows("notes", "of", o["part"], "kind", "did-not-fit", "state", "confirmed"), func(n map[string]string) bool { return n["family"] == "" || n["family"] == family }) {
			continue
		}
		most := num(o["on_hand"])
		if o["on_hand"] == "" {
			if o["days"] == "" {
				continue // out of stock
			}
			most = 1000
		}
		at := "'" + o["supplier"] + "','" + o["stock"] + "'"
		put("param most", "[%s] %d", at, most)
		for i, q := range holds {
			put("set HOLDS", "(%s,'%s')", at, i)
			put("param holds", "[%s,'%s'] %d", at, i, q)
			if fluid(i) {
				put("set POURED", "(%s,'%s')", at, i)
			}
		}
		tiers := [][2]string{{"1", o["price"]}}
		for _, r := range j.rows("breaks", "supplier", o["supplier"], "stock", o["stock"]) {
			tiers = append(tiers, [2]string{r["from"], r["price"]})
		}
		slices.SortFunc(tiers, func(a, b [2]string) int { return num(a[0]) - num(b[0]) })
		for k, x := range tiers {
			upto := most
			if k+1 < len(tiers) {
				upto = min(most, num(tiers[k+1][0])-1)
			}
			put("set TIERS", "(%s,%s)", at, x[0])
			put("param price", "[%s,%s] %s", at, x[0], x[1])
			put("param upto", "[%s,%s] %d", at, x[0], upto)
		}
	}
	out := "data;\n"
	for _, name := range []string{"set NEEDS", "set WAYS", "set ITEMS", "set WANTS", "set COMPS", "param want", "param comp", "set BRINGS", "param shelf", "set SUPPLIERS", "param freight", "param free", "param least", "set TIERS", "param price", "param upto", "set HOLDS", "set POURED", "param holds", "param most"} {
		text := ""
		if b[name] != nil {
			text = b[name].String()
		} else if strings.HasPrefix(name, "param") {
			continue
		}
		out += name + " :=" + text + ";\n"
	}
	return out + "end;\n", true
}
