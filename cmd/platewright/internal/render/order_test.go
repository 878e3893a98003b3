package render

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/shopspring/decimal"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"platewright/catalog"
	"platewright/resolve"
	"platewright/resolve/order"
	"platewright/resolve/purchase"
)

// hardSheet is an order with all that could go wrong on paper: markup, formulas,
// accents, Greek, what the font lacks, codes that look like numbers.
func hardSheet(lines int) order.Sheet {
	s := order.Sheet{Schema: order.SheetSchema, Number: "P0012-3", Card: 12, Placed: "2026-11-25T14:05:00Z", By: "Żółć & Ωμέγα", Edition: resolve.Edition{Name: "test", Invented: true},
		Unit:     order.Unit{Plate: "XQ-1 <script>alert(1)</script>", Assemblies: []order.Assembly{{Assembly: "case", Basis: resolve.BasisOwn, Variants: []catalog.VariantCode{"XQ-1"}, Total: 1}}},
		EvenHeld: []order.EvenHeld{{Role: "coil", Part: "C-1", Because: "read on the <b>old</b> one", Who: "bench"}},
		Order:    order.Order{Supplier: "q/x", Name: "Querstal & Söhne", Currency: "EUR", Goods: decimal.RequireFromString("12.5"), Total: decimal.RequireFromString("12.5"), Free: true, Arrives: "2026-11-27"},
	}
	for i := range lines {
		s.Order.Lines = append(s.Order.Lines, order.OrderLine{Stock: fmt.Sprintf("00%d,\"é-%d", i, i), Part: "1E5", Name: "=HYPERLINK(\"x\") ring, 漢 größer als Ω", Look: "-2 mm", Packs: i + 1, Pack: 1, Qty: i + 1,
			Price: decimal.RequireFromString("2.5"), Total: decimal.RequireFromString("2.5"), For: []order.For{{Role: "coil", Name: "coil", EvenHeld: true}}})
	}
	return s
}

// program gives the path of a program that a test needs, or skips the test; with
// CI=true its absence is a failure.
func program(t *testing.T, names ...string) string {
	t.Helper()
	for _, n := range names {
		if p, err := exec.LookPath(n); err == nil {
			return p
		}
	}
	if os.Getenv("CI") == "true" {
		t.Fatalf("%s is absent, and has to be there with CI=true", names[0])
	}
	t.Skipf("%s is absent", names[0])
	return ""
}

// The codes are read back by zbarimg (Debian zbar-tools) from the page as Chromium
// shows it, and from the PDF as poppler's pdftoppm draws it.
func TestCodesAreReadFromThePage(t *testing.T) {
	zbar := program(t, "zbarimg")
	read := func(t *testing.T, pictures ...string) []string {
		t.Helper()
		var got []string
		for _, p := range pictures {
			// Each symbol is one element of the XML that it writes, so that new lines in a
			// code are told from those between codes.
			out, err := exec.Command(zbar, "--quiet", "--xml", p).Output()
			if err != nil && len(out) == 0 {
				continue // a page without a code
			}
			for _, m := range regexp.MustCompile(`(?s)<symbol type='(.*?)'.*?<!\[CDATA\[(.*?)\]\]>`).FindAllSubmatch(out, -1) {
				got = append(got, string(m[1])+" "+strings.TrimSuffix(string(m[2]), "\n"))
			}
		}
		slices.Sort(got)
		return slices.Compact(got)
	}
	for _, lines := range []int{1, 12, 60} {
		t.Run(fmt.Sprintf("%d lines", lines), func(t *testing.T) {
			s := hardSheet(lines)
			d, err := orderDoc(s)
			require.NoError(t, err)
			want := []string{"CODE-128 " + s.Number}
			for _, c := range s.Codes() {
				want = append(want, "QR-Code "+strings.TrimSuffix(c, "\n"))
			}
			slices.Sort(want)
			dir := t.TempDir()
			t.Run("page", func(t *testing.T) {
				if lines == 1 {
					t.Skip("a browser takes seconds, and the longer sheets hold all that this one does")
				}
				chromium := program(t, "chromium", "chromium-browser", "google-chrome")
				page, err := d.html()
				require.NoError(t, err)
				file, shot := filepath.Join(dir, "sheet.html"), filepath.Join(dir, "sheet.png")
				require.NoError(t, os.WriteFile(file, page, 0o600))
				tall := 2000 + 50*lines
				out, err := exec.Command(chromium, "--headless", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--hide-scrollbars", "--user-data-dir="+filepath.Join(dir, "profile"),
					"--force-device-scale-factor=2", fmt.Sprintf("--window-size=900,%d", tall), "--screenshot="+shot, "file://"+file).CombinedOutput()
				require.NoError(t, err, string(out))
				if diff := cmp.Diff(want, read(t, shot)); diff != "" {
					t.Error(diff)
				}
			})
			t.Run("pdf", func(t *testing.T) {
				pdftoppm := program(t, "pdftoppm")
				text, err := d.pdf()
				require.NoError(t, err)
				file := filepath.Join(dir, "sheet.pdf")
				require.NoError(t, os.WriteFile(file, text, 0o600))
				out, err := exec.Command(pdftoppm, "-r", "150", "-png", file, filepath.Join(dir, "pdf")).CombinedOutput()
				require.NoError(t, err, string(out))
				pages, err := filepath.Glob(filepath.Join(dir, "pdf*.png"))
				require.NoError(t, err)
				if diff := cmp.Diff(want, read(t, pages...)); diff != "" {
					t.Error(diff)
				}
			})
		})
	}
}

// The text of the PDF is read back by poppler's pdftotext: accents, Greek, and what
// the font lacks spelled out.
func TestPDFHoldsItsText(t *testing.T) {
	pdftotext := program(t, "pdftotext")
	d, err := orderDoc(hardSheet(40))
	require.NoError(t, err)
	text, err := d.pdf()
	require.NoError(t, err)
	again, err := d.pdf()
	require.NoError(t, err)
	if !bytes.Equal(text, again) {
		t.Error("equal sheets are unequal files")
	}
	file := filepath.Join(t.TempDir(), "sheet.pdf")
	require.NoError(t, os.WriteFile(file, text, 0o600))
	out, err := exec.Command(pdftotext, "-layout", file, "-").Output()
	require.NoError(t, err)
	for _, want := range []string{"Order P0012-3", "Żółć & Ωμέγα", "Querstal & Söhne", "<U+6F22>", "größer", "<script>alert(1)</script>", "Ordered although held: coil as C-1", "invented data", "0039,\"é-39", "12.50 EUR", "page 2 of"} {
		if !strings.Contains(strings.Join(strings.Fields(string(out)), " "), want) {
			t.Errorf("the PDF does not hold %q", want)
		}
	}
}

func TestPageIsWholeAndEscaped(t *testing.T) {
	d, err := orderDoc(hardSheet(3))
	require.NoError(t, err)
	page, err := d.html()
	require.NoError(t, err)
	for _, never := range []string{"<script>", "<b>old", "src=", "href=", "url(", "@import", "size: A4", "size: letter"} {
		if bytes.Contains(page, []byte(never)) {
			t.Errorf("the page holds %q", never)
		}
	}
	for _, want := range []string{"@page { size: auto;", "&lt;script&gt;", "default-src 'none'", "Ordered although held", "never order or work by it"} {
		if !bytes.Contains(page, []byte(want)) {
			t.Errorf("the page does not hold %q", want)
		}
	}
	// Nothing is fetched: the only address is the name of the picture's language.
	if got := regexp.MustCompile(`[a-z]+://[^"]*`).FindAllString(string(page), -1); len(got) != 2 || got[0] != "http://www.w3.org/2000/svg" || got[1] != got[0] {
		t.Errorf("addresses on the page: %q", got)
	}
}

// A page printed by Chromium on A4 and on Letter loses nothing: pdftotext finds
// every line on both.
func TestPagePrintsOnBothPapers(t *testing.T) {
	chromium, pdftotext := program(t, "chromium", "chromium-browser", "google-chrome"), program(t, "pdftotext")
	d, err := orderDoc(hardSheet(30))
	require.NoError(t, err)
	page, err := d.html()
	require.NoError(t, err)
	for _, size := range []string{"A4", "letter"} {
		dir := t.TempDir()
		file, pdf := filepath.Join(dir, "sheet.html"), filepath.Join(dir, "sheet.pdf")
		// The page leaves the paper to the printer, so the printer is told by the copy.
		sized := bytes.Replace(page, []byte("size: auto"), []byte("size: "+size), 1)
		require.NoError(t, os.WriteFile(file, sized, 0o600))
		out, err := exec.Command(chromium, "--headless", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--user-data-dir="+filepath.Join(dir, "profile"), "--no-pdf-header-footer", "--print-to-pdf="+pdf, "file://"+file).CombinedOutput()
		require.NoError(t, err, string(out))
		text, err := exec.Command(pdftotext, "-layout", pdf, "-").Output()
		require.NoError(t, err)
		for i := range 30 {
			if want := fmt.Sprintf("00%d,\"é-%d", i, i); !bytes.Contains(text, []byte(want)) {
				t.Errorf("%s: line %d is lost", size, i)
			}
		}
		if strings.Count(string(text), "Your number") < 2 {
			t.Errorf("%s: the heading of the lines does not stand on each page", size)
		}
	}
}

func TestDraftHasNoCode(t *testing.T) {
	s := hardSheet(1)
	s.Number = ""
	d, err := orderDoc(s)
	require.NoError(t, err)
	if slices.ContainsFunc(d.blocks, func(b block) bool { return b.kind == blockCode }) || d.title != "Draft of an order, not placed" {
		t.Errorf("a draft is titled %q", d.title)
	}
}

// An order as CSV cannot start a formula, and codes come back as they were.
func TestOrderCSVGoesRound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		code := rapid.OneOf(rapid.StringMatching(`[-=+@'0-9A-Za-z./,:"é ]{1,12}`), rapid.SampledFrom([]string{"0012", "1E5", "10-11", "3/4", "TRUE", "=A1", "-5", "+49", "@x", "'1", "''", "1.000", "MAR-12", "12 MAR", "1e999", "00", "1:30", "\tx"}))
		o := order.Order{Supplier: code.Draw(t, "supplier"), Currency: "EUR", Lines: []order.OrderLine{{Stock: code.Draw(t, "stock"), Part: catalog.PartNo(code.Draw(t, "part")), Name: code.Draw(t, "name"), Look: code.Draw(t, "look"), Packs: 2, Pack: 3, Qty: 6}}}
		rows, err := csv.NewReader(bytes.NewReader(AppendOrderCSV([]byte(OrderHeading), "P0001-1", o))).ReadAll()
		if err != nil || len(rows) != 2 || len(rows[1]) != len(rows[0]) {
			t.Fatalf("%v: %q", err, rows)
		}
		for i, c := range rows[1] {
			if c != "" && strings.ContainsRune("=+-@\t\r", rune(c[0])) {
				t.Fatalf("column %s begins like a formula: %q", rows[0][i], c)
			}
		}
		got := []string{UnguardCode(rows[1][1]), UnguardCode(rows[1][2]), UnguardCode(rows[1][3])}
		// RFC 4180 cells keep everything but a lone CR.
		if want := []string{o.Supplier, o.Lines[0].Stock, string(o.Lines[0].Part)}; !slices.Equal(got, want) {
			t.Fatalf("%q came back as %q", want, got)
		}
	})
}

// What a spreadsheet makes of a code (common practice, no published source): digits
// with separators become numbers, dates or times, and words become truth values.
func TestGuardCode(t *testing.T) {
	for code, guarded := range map[string]bool{"0012": true, "1E5": true, "1e999": true, "10-11": true, "3/4": true, "12 MAR": true, "MAR-12": true, "sept 7": true, "TRUE": true, "1:30": true, "5 %": true, "3,5": true, "12 pm": true,
		"'x": true, "206.P.118": false, "DRK-4110-S": false, "UY54/018": false, "L21036": false, "BM/3007/T": false, "P0001-1": false, "": false, "MARCH": false} {
		if got := GuardCode(code) != code; got != guarded {
			t.Errorf("%q guarded: %v", code, got)
		}
		if got := UnguardCode(GuardCode(code)); got != code {
			t.Errorf("%q came back as %q", code, got)
		}
	}
}

func TestMoney(t *testing.T) {
	// Places by ISO 4217, table A.1: two for EUR, none for JPY, three for KWD.
	for _, x := range []struct{ amount, code, want string }{{"4.6", "EUR", "4.60"}, {"12", "JPY", "12"}, {"1.5", "KWD", "1.500"}, {"0.125", "EUR", "0.125"}, {"-3", "EUR", "-3.00"}} {
		if got := money(decimal.RequireFromString(x.amount), x.code); got != x.want {
			t.Errorf("%s %s is written %s", x.amount, x.code, got)
		}
	}
}

// Every reason has its words.
func TestOrderWords(t *testing.T) {
	s := newSchemer(t)
	for _, w := range s.words["purchase.WhyNotCheaper"] {
		if whyNot(purchase.WhyNotCheaper(w)) == w {
			t.Errorf("no words for %s", w)
		}
	}
	for _, w := range s.words["order.WhyRefused"] {
		if whyRefused(order.WhyRefused(w)) == w {
			t.Errorf("no words for %s", w)
		}
	}
	for _, w := range s.words["purchase.WhyUncovered"] {
		if uncoveredText(order.Uncovered{Why: purchase.WhyUncovered(w)}) == w {
			t.Errorf("no words for %s", w)
		}
	}
	for _, w := range s.words["order.Stop"] {
		if stoppedText(order.Stop(w)) == w {
			t.Errorf("no words for %s", w)
		}
	}
	if len(s.words["purchase.WhyNotCheaper"]) < 8 || len(s.words["order.WhyRefused"]) < 8 || len(s.words["purchase.WhyUncovered"]) < 6 {
		t.Error("the lists of reasons were not found")
	}
	// What the planner refuses has words here.
	for _, w := range s.words["purchase.WhyRefused"] {
		if !slices.Contains(s.words["order.WhyRefused"], w) {
			t.Errorf("the planner refuses by %s, which has no words", w)
		}
	}
}

func TestWorkSheet(t *testing.T) {
	d := stored(t, "decision", "open.json")
	p := &order.Proposal{Edition: d.Edition, Unit: order.Unit{Plate: "P"}, Held: d.Held,
		Lines: []order.Line{{Role: "seal", Name: "seal", Position: "front", OneTime: true, Takes: []order.Taken{{Amount: order.Amount{Part: "S-1", Name: "ring", Qty: 2}, From: []order.From{{Amount: order.Amount{Part: "S-1", Name: "ring", Qty: 1}, Supplier: "q"}, {Amount: order.Amount{Part: "S-1", Name: "ring", Qty: 1}, Place: "box 4"}}}}},
			{Role: "gaskets", Name: "gaskets", Takes: []order.Taken{{Amount: order.Amount{Part: "K", Name: "kit", Qty: 1}, From: []order.From{{Amount: order.Amount{Part: "A", Name: "ring A", Qty: 1}, Supplier: "q"}, {Amount: order.Amount{Part: "B", Name: "ring B", Qty: 2}, Place: "box 8"}}}}},
			{Role: "lid", Name: "lid", Takes: []order.Taken{{Amount: order.Amount{Part: "L", Name: "lid kit", Qty: 1}, From: []order.From{{Amount: order.Amount{Part: "A", Qty: 1}, Supplier: "q", Stock: "9", Kit: "L"}, {Amount: order.Amount{Part: "C", Qty: 1}, Supplier: "q", Stock: "9", Kit: "L"}}}}}}}
	text := string(workDoc([]order.Sheet{{Number: "P0001-1", Order: order.Order{Supplier: "q"}}}, p, d).text(Screen{Width: 80}))
	for _, want := range []string{"[ ] 1 S-1; ring; seal, front; always new; from P0001-1", "[ ] 1 S-1; ring; seal, front; always new; from shelf, box 4", "[ ] 1 A; ring A, of K; gaskets; from P0001-1", "[ ] 2 B; ring B, of K; gaskets; from shelf, box 8", "[ ] 1 L; lid kit; lid; from P0001-1", "! Held, not ordered: ", "local rules and licensed\n  practice go before everything"} {
		if !strings.Contains(strings.ReplaceAll(text, string(glue), " "), want) {
			t.Errorf("no %q in\n%s", want, text)
		}
	}
	if strings.Contains(text, " K; kit") {
		t.Errorf("a kit that does not come is named:\n%s", text)
	}
}
