package render

import (
	"io"
	"slices"
	"strconv"
	"strings"

	"platewright/catalog"
	"platewright/resolve"
	"platewright/resolve/order"
)

// SheetFile is a sheet as it is written into a folder.
type SheetFile struct {
	Name string
	Text []byte
}

// block is a piece of a sheet. Sheets are put together once and laid out three
// times: as text, as a page for a browser, as PDF.
type block struct {
	kind blockKind
	text string
	head []column
	rows [][]string
	code *codePicture
}

type blockKind int

const (
	blockTitle blockKind = iota
	blockHead
	blockPara
	blockLoud  // what must not be overlooked
	blockSmall // cautions and remarks
	blockTick  // something to do, with a box to tick
	blockTable // a box to tick stands where a cell holds [tickCell]
	blockCode
)

// tickCell is the cell of a table that is a box to tick.
const tickCell = "[ ]"

// blank is room to write.
const blank = "________"

type column struct {
	title string
	share float64 // of the width
	right bool
	said  bool // in a text the title stands before each cell
}

type sheetDoc struct {
	title  string
	made   string // RFC 3339; empty where that is not known
	blocks []block
}

func (d *sheetDoc) add(kind blockKind, text string) {
	if text != "" {
		d.blocks = append(d.blocks, block{kind: kind, text: text})
	}
}

func (d *sheetDoc) table(head []column, rows [][]string) {
	if len(rows) > 0 {
		d.blocks = append(d.blocks, block{kind: blockTable, head: head, rows: rows})
	}
}

// facts is a table of names and values; empty values are left out.
func (d *sheetDoc) facts(pairs ...string) {
	var rows [][]string
	for i := 0; i+1 < len(pairs); i += 2 {
		if pairs[i+1] != "" {
			rows = append(rows, []string{pairs[i], pairs[i+1]})
		}
	}
	d.table([]column{{share: 0.22}, {share: 0.78}}, rows)
}

func inventedLoud(e resolve.Edition) string {
	switch {
	case e.Name == Demo:
		return "Demo catalogue, invented data: never send this order, never work by this sheet."
	case e.Invented:
		return "This catalogue holds invented data (see its sources): never order or work by it."
	}
	return ""
}

func (d *sheetDoc) unit(u order.Unit, work []order.Work) {
	var what []string
	for _, a := range u.Assemblies {
		var codes []string
		for i, v := range a.Variants {
			if i == most {
				codes = append(codes, "and more")
				break
			}
			codes = append(codes, string(v))
		}
		s := plainCode(a.Assembly) + ": " + orWord(strings.Join(codes, " or "), "not known")
		if a.Total == 1 {
			s += tail(", ", a.About) + tail(", family ", a.Family)
		}
		if a.Basis == resolve.BasisAsBuilt {
			s += " (taken to be as built)"
		}
		what = append(what, s)
	}
	d.facts("Plate as read", u.Plate, "Labels as read", strings.Join(u.Labels, "; "), "Variant", strings.Join(what, "; "), "Serial number", u.Serial, "Built", u.Built, "Work", workNames(work))
	if u.Mixed {
		d.add(blockLoud, "Mixed unit: its assemblies name different variants. Each part is for the assembly that it is ordered for.")
	}
}

// orderDoc puts the sheet of one order together.
func orderDoc(s order.Sheet) (*sheetDoc, error) {
	o := s.Order
	d := &sheetDoc{title: "Order " + s.Number, made: s.Placed}
	if s.Number == "" {
		d.title = "Draft of an order, not placed"
	}
	d.add(blockTitle, d.title)
	d.add(blockLoud, inventedLoud(s.Edition))
	for _, h := range s.EvenHeld {
		head := "On another order, although held: "
		if slices.ContainsFunc(s.Held(), func(x order.EvenHeld) bool { return x.Role == h.Role && x.Position == h.Position }) {
			head = "Ordered although held: "
		}
		d.add(blockLoud, head+evenHeldText(nil, h))
	}
	card := ""
	if s.Card > 0 {
		card = strconv.Itoa(s.Card)
	}
	arrives := ""
	if o.Arrives != "" {
		arrives = dayText(o.Arrives)
	}
	d.facts("To", o.Name+" ("+o.Supplier+")", "Order", s.Number, "Placed", strings.NewReplacer("T", " ", "Z", " UTC").Replace(s.Placed), "By", s.By, "Job card", card, "Expected", arrives)
	d.add(blockHead, "The unit, to be quoted")
	d.unit(s.Unit, s.Work)
	d.add(blockHead, "Lines")
	var rows [][]string
	for i, l := range o.Lines {
		rows = append(rows, []string{strconv.Itoa(i + 1), l.Stock, strconv.Itoa(l.Packs), orWord(packText(l), "1 piece"), l.Name, string(l.Part), money(l.Price, o.Currency), money(l.Total, o.Currency)})
	}
	d.table([]column{{"No.", 0.05, true, true}, {"Your number", 0.16, false, true}, {"Packs", 0.08, true, true}, {"Pack of", 0.11, false, true}, {"What", 0.25, false, false}, {"Our number", 0.15, false, true}, {"Price", 0.1, true, true}, {"Total", 0.1, true, true}}, rows)
	freight := money(o.Freight, o.Currency)
	if o.Free {
		freight = "free"
	}
	d.facts("Goods", charged(o.Goods, o.Currency), "Freight", freight, "Total", charged(o.Total, o.Currency))
	d.add(blockPara, "Please send exactly these numbers. If one of them is replaced or not there, ask first, with the plate as read above.")
	if err := d.codes(s); err != nil {
		return nil, err
	}
	d.cautions(s.Cautions)
	d.add(blockSmall, "Decided on: "+edition(s.Edition)+".")
	return d, nil
}

func (d *sheetDoc) cautions(cs []resolve.Caution) {
	if len(cs) > 0 {
		d.add(blockHead, "Cautions")
	}
	for _, c := range cs {
		d.add(blockSmall, strings.TrimSpace(c.Text+" "+c.Defer))
	}
}

// codes adds the codes of an order: its number, and its lines.
func (d *sheetDoc) codes(s order.Sheet) error {
	if s.Number == "" {
		return nil
	}
	c, err := lineCode(s.Number)
	if err != nil {
		return err
	}
	d.blocks = append(d.blocks, block{kind: blockCode, code: c})
	texts := s.Codes()
	for i, t := range texts {
		q, err := squareCode(t)
		if err != nil {
			return err
		}
		q.caption = "lines of " + s.Number
		if len(texts) > 1 {
			q.caption += ", " + strconv.Itoa(i+1) + " of " + strconv.Itoa(len(texts))
		}
		d.blocks = append(d.blocks, block{kind: blockCode, code: q})
	}
	return nil
}

// workDoc puts the work sheet for the bench together.
func workDoc(sheets []order.Sheet, p *order.Proposal, d *resolve.Decision) *sheetDoc {
	t := newDecisionPage(d, Screen{}, false)
	w := &sheetDoc{title: "Work sheet: " + unitLine(p.Unit)}
	if len(sheets) > 0 {
		w.made = sheets[0].Placed
	}
	w.add(blockTitle, w.title)
	w.add(blockLoud, inventedLoud(p.Edition))
	switch p.Stopped {
	case order.StopConflict:
		w.add(blockLoud, "Conflict: "+stoppedText(p.Stopped)+".")
	case order.StopNotRead:
		w.add(blockLoud, "Not read: "+stoppedText(p.Stopped)+".")
	}
	for _, h := range p.EvenHeld {
		head := "From the shelf although held: "
		if p.Bought(h) {
			head = "Ordered although held: "
		}
		w.add(blockLoud, head+evenHeldText(p, h)+tail(". It was held: ", sentences(tellers(h.Why))))
	}
	w.warnings(p, d)
	for _, h := range p.Held {
		w.add(blockLoud, "Held, not ordered: "+roleOf(p, h.Role)+tail(" at ", h.Position)+". "+sentences(tellers(h.Why))+tail(" To release: ", sentences(h.Release)))
	}
	for _, u := range p.Uncovered {
		w.add(blockLoud, "Cannot be had: "+forText(u.Lines)+": "+uncoveredText(u))
	}
	w.unit(p.Unit, p.Work)
	w.cautions(p.Cautions)
	w.add(blockSmall, "The unit maker's own instructions and figures, local rules and licensed practice go before everything on this sheet.")
	w.steps(d, catalog.WhenBefore, "Before")
	w.parts(sheets, p)
	if f := d.Figures; f != nil {
		w.figures(t, f)
	}
	w.steps(d, catalog.WhenDuring, "During the work")
	w.steps(d, catalog.WhenAfter, "Afterwards")
	w.add(blockHead, "Done")
	w.table([]column{{"By", 0.5, false, true}, {"On", 0.3, false, true}, {"Test run", 0.2, false, true}}, [][]string{{blank, blank, tickCell}})
	w.add(blockSmall, "Decided on: "+edition(p.Edition)+".")
	return w
}

// warnings says in short what the decision warns of, and what is known of the parts.
func (d *sheetDoc) warnings(p *order.Proposal, x *resolve.Decision) {
	for _, a := range x.Assemblies {
		if a.BySlip {
			d.add(blockLoud, capitalWord(place(a.Assembly))+" is known only if there is a slip in what was read: read it again.")
		}
		if a.Assumed && a.Total > 0 && a.Basis != resolve.BasisAsBuilt {
			d.add(blockLoud, capitalWord(place(a.Assembly))+" is assumed to be as built: read its label.")
		}
	}
	for _, l := range x.LookAlikes {
		if l.RuledOut != nil {
			continue
		}
		s := "Look-alike of " + place(l.Assembly) + " not ruled out: " + string(l.Variant) + ". "
		if len(l.TellApart) > 0 {
			a := l.TellApart[0]
			s += "Look at " + lower(a.Name) + ": " + anyOf(a.This) + " on " + string(l.Candidate) + ", " + anyOf(a.Other) + " on " + string(l.Variant) + "."
		} else {
			s += "Compare the parts before fitting."
		}
		d.add(blockLoud, s)
	}
	for _, n := range p.Notes {
		if n.State == catalog.NoteConfirmed {
			d.add(blockLoud, "Confirmed note on "+n.Of+": "+noteWords(n))
		}
	}
}

func (d *sheetDoc) steps(x *resolve.Decision, when catalog.When, title string) {
	first := true
	if x.Figures == nil {
		return
	}
	for _, s := range x.Figures.Steps {
		if s.When != when {
			continue
		}
		if first {
			d.add(blockHead, title)
			first = false
		}
		text := s.Text
		if s.Family != "" {
			text += " (family " + s.Family + ")"
		}
		d.add(blockTick, text)
	}
}

// parts lists what is fitted, with the place and whence it comes.
func (d *sheetDoc) parts(sheets []order.Sheet, p *order.Proposal) {
	number := map[string]string{}
	for _, s := range sheets {
		number[s.Order.Supplier] = s.Number
	}
	var rows [][]string
	for _, l := range p.Lines {
		for _, t := range l.Takes {
			where := l.Name + tail(", ", l.Position)
			switch {
			case l.Consumable != "":
				where = "used up"
			case t.Companion:
				where = "with the " + l.Name
			}
			if l.OneTime {
				where += "; always new"
			}
			if l.EvenHeld != nil {
				where += "; HELD, ordered all the same"
			}
			for _, f := range comes(t, number) {
				qty := strconv.Itoa(f.Qty)
				if f.Litres.Known {
					qty = f.Litres.String() + " l"
				}
				rows = append(rows, []string{tickCell, qty, string(f.Part), f.Name + f.origin, where, f.from})
			}
		}
	}
	if len(rows) > 0 {
		d.add(blockHead, "Parts")
	}
	d.table([]column{{"", 0.05, false, false}, {"Qty", 0.08, true, false}, {"Part", 0.17, false, false}, {"What", 0.27, false, false}, {"Place", 0.25, false, false}, {"From", 0.18, false, true}}, rows)
}

// coming is what comes from one source.
type coming struct {
	order.Amount
	origin, from string
}

// comes tells what really comes for a part, and whence: of a kit that is met by its
// contents, what comes of them; the kit itself only where it comes whole.
func comes(t order.Taken, number map[string]string) []coming {
	whole := len(t.From) > 0
	for _, f := range t.From {
		whole = whole && f.Kit == t.Part && f.Supplier == t.From[0].Supplier && f.Stock == t.From[0].Stock && f.Place == t.From[0].Place
	}
	if whole {
		return []coming{{t.Amount, origin(t.Origin), source(t.From[0], number)}}
	}
	var out []coming
	for _, f := range t.From {
		c := coming{Amount: f.Amount, from: source(f, number)}
		if f.Part == t.Part {
			c.origin = origin(t.Origin)
		} else {
			c.Name += ", of " + string(t.Part)
		}
		if f.Kit != "" {
			c.from += ", out of " + string(f.Kit)
		}
		if i := slices.IndexFunc(out, func(o coming) bool { return o.Part == c.Part && o.from == c.from }); i >= 0 {
			out[i].Qty += c.Qty
			if c.Litres.Known {
				out[i].Litres = catalog.Decimal{Num: out[i].Litres.Num.Add(c.Litres.Num), Known: true}
			}
			continue
		}
		out = append(out, c)
	}
	return out
}

func source(f order.From, number map[string]string) string {
	if f.Supplier != "" {
		return orWord(number[f.Supplier], f.Supplier)
	}
	return "shelf, " + f.Place
}

func (d *sheetDoc) figures(t *decisionPage, f *resolve.Figures) {
	for _, a := range f.Unknown {
		d.add(blockLoud, "Of "+place(a)+" too little is known to give figures.")
	}
	only := func(of resolve.FigureOf) string {
		if len(of.Variants) == 0 {
			return ""
		}
		return "; only " + t.someOf(of.Variants, len(of.Variants))
	}
	pm := func(v, tol catalog.Decimal, unit string) string {
		s := v.String()
		if tol.Known {
			s += " ± " + tol.String()
		}
		return s + " " + unit
	}
	boxed := []column{{share: 0.05}, {share: 0.35}, {share: 0.2}, {share: 0.4}}
	list := func(title string, rows [][]string) {
		if len(rows) > 0 {
			d.add(blockHead, title)
			d.table(boxed, rows)
		}
	}
	var rows [][]string
	for _, x := range f.Torques {
		rows = append(rows, []string{tickCell, plainCode(x.Fastener), pm(x.Torque, x.Tolerance, "N·m"), strings.TrimPrefix(tail("; ", x.Stages)+tail("; ", x.Order)+tail("; ", x.Note)+only(x.FigureOf), "; ")})
	}
	list("Torques", rows)
	rows = nil
	for _, x := range f.Coils {
		rows = append(rows, []string{tickCell, "coil " + plainCode(x.Site) + ": " + blank, pm(x.Ohm, x.Tolerance, "Ω"), "at " + x.Temp.String() + " °C" + tail(", serves ", x.Serves) + only(x.FigureOf)})
	}
	for _, x := range f.Seals {
		least := ""
		if x.Least.Known {
			least = "replace below " + x.Least.String() + " mm"
		}
		rows = append(rows, []string{tickCell, strconv.Itoa(x.Qty) + " × " + x.Place + ": " + blank, pm(x.Length, x.Tolerance, "mm"), least + only(x.FigureOf)})
	}
	for _, x := range f.Rings {
		rows = append(rows, []string{tickCell, strconv.Itoa(x.Qty) + " × ring, " + x.Place, x.Inside.String() + " × " + x.Section.String() + " mm", strings.TrimPrefix(tail(", ", x.Size)+tail(", ", x.Material), ", ") + only(x.FigureOf)})
	}
	for _, x := range f.Ports {
		s := string(x.Medium) + ", " + x.Pressure.String() + " kPa"
		if x.Leak.Known {
			s += ", at most " + x.Leak.String() + " cm³/min"
		}
		rows = append(rows, []string{tickCell, "port " + x.Port + tail(", ", x.Serves) + ": " + blank, s, x.Expect + only(x.FigureOf)})
	}
	list("To be measured", rows)
	rows = nil
	for _, x := range f.Fills {
		much := "volume not stated"
		if x.Litres.Known {
			much = x.Litres.String() + " l"
		}
		how := ""
		if x.TempFrom.Known && x.TempTo.Known {
			how = "level set at " + x.TempFrom.String() + " to " + x.TempTo.String() + " °C"
		}
		if x.Engine != "" {
			how += ", engine " + string(x.Engine)
		}
		rows = append(rows, []string{tickCell, "fluid of " + x.Spec, much, strings.TrimPrefix(how+tail("; ", x.Plugs)+tail("; ", x.How), "; ") + only(x.FigureOf)})
	}
	list("Fill", rows)
}

// SheetText writes the sheet of an order for a screen or a mail.
func SheetText(w io.Writer, s order.Sheet, screen Screen) error {
	d, err := orderDoc(s)
	if err != nil {
		return err
	}
	_, err = w.Write(d.text(screen))
	return err
}

// text lays a sheet out as text. Codes are left to paper.
func (d *sheetDoc) text(s Screen) []byte {
	p := newPage(s)
	for i, b := range d.blocks {
		switch b.kind {
		case blockTitle:
			p.put(0, 2, say(b.text).in(strong))
		case blockHead:
			p.head(strong, "%s", strings.ToUpper(b.text))
		case blockPara, blockSmall:
			if i > 0 && d.blocks[i-1].kind == blockTable {
				p.gap()
			}
			p.put(2, 0, say(b.text))
		case blockLoud:
			p.put(0, 2, say("! "+b.text).in(alert))
		case blockTick:
			p.put(2, 4, say(tickCell+" "+b.text))
		case blockTable:
			p.rows(b)
		}
	}
	return p.buf.Bytes()
}

// rows writes a table as one paragraph for each row: it has to be read on narrow
// screens and in mails, where columns fall apart.
func (p *page) rows(b block) {
	p.gap()
	for _, r := range b.rows {
		if len(b.head) == 2 && b.head[0].title == "" {
			p.put(2, 4, say(r[0]+": ").in(strong), say(r[1]))
			continue
		}
		var spans []span
		for i, c := range r {
			if c == "" {
				continue
			}
			sep := ""
			if len(spans) > 0 {
				sep = "; "
				if r[0] == tickCell && i < 3 {
					sep = " "
				}
			}
			// Figures and numbers are named, words speak for themselves.
			if b.head[i].said {
				sep += lower(b.head[i].title) + string(glue)
			}
			spans = append(spans, say(sep), say(c))
		}
		if len(spans) > 0 {
			p.put(2, 4, spans...)
		}
	}
}

// SheetFiles makes the sheets of orders in all their forms, and the work sheet for
// the bench.
func SheetFiles(sheets []order.Sheet, p *order.Proposal, d *resolve.Decision) ([]SheetFile, error) {
	var out []SheetFile
	add := func(base string, doc *sheetDoc) error {
		page, err := doc.html()
		if err != nil {
			return err
		}
		pdf, err := doc.pdf()
		if err != nil {
			return err
		}
		out = append(out, SheetFile{base + ".txt", doc.text(Screen{Width: 80})}, SheetFile{base + ".html", page}, SheetFile{base + ".pdf", pdf})
		return nil
	}
	first := "draft"
	for i, s := range sheets {
		base := fileName(s.Number)
		if base == "" {
			base = "draft-" + fileName(s.Order.Supplier)
		} else if i == 0 {
			first = base
		}
		doc, err := orderDoc(s)
		if err != nil {
			return nil, err
		}
		if err := add(base, doc); err != nil {
			return nil, err
		}
		out = append(out, SheetFile{base + ".csv", AppendOrderCSV([]byte(OrderHeading), s.Number, s.Order)})
	}
	if err := add("work-"+first, workDoc(sheets, p, d)); err != nil {
		return nil, err
	}
	return out, nil
}

// fileName keeps of a code what every file system takes.
func fileName(code string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r >= 'a' && r <= 'z', r >= 'A' && r <= 'Z', r >= '0' && r <= '9', r == '-':
			return r
		}
		return '-'
	}, code)
}
