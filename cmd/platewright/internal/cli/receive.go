package cli

import (
	"bufio"
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"platewright/catalog"
	"platewright/catalog/shop"
	"platewright/catalog/store"
	"platewright/cmd/platewright/internal/render"
	"platewright/resolve"
	"platewright/resolve/goods"
	"platewright/resolve/order"
)

// receiveFlags are what is done at goods-in.
type receiveFlags struct {
	from      string
	scan      bool
	note      string
	looked    bool
	lookedAt  []string
	odd       []string
	returned  []string
	kept      []string
	corrected []string
	because   string
	again     bool
	csv       bool
	who       string
}

func (a *app) receiveCmd() *cobra.Command {
	var f receiveFlags
	c := &cobra.Command{
		Use:     "receive ORDER [NUMBER[=COUNT]...]",
		GroupID: "shop",
		Short:   "Check what arrives against an order: right number, right count, right look",
		Long: `Receive checks what arrives against an order, and writes it down. Without more than
ORDER it shows what is still open, and what to look at.

NUMBER is any number that a part goes by: the maker's, one that serves for it, the
supplier's stock number, or one that a confirmed note of the shop knows. COUNT is in
pieces, one if it is left out; 2p stands for two packs; of a fluid the containers are
counted. A number with two senses is written part:NUMBER or stock:NUMBER.

What looks otherwise than in the unit and is right is told at once. What is wrong is
named, with what it would fit. A line is complete when all of it is here, looked at
(--looked), and nothing is left to be decided: what is wrong or too much goes back
(--return) or stays in the shop (--keep). Nothing is taken out of the history; a slip
is put right with --correct.

--scan takes one number after the other, typed or scanned; each is on the disk before
its answer is on the screen. --from reads a CSV with the columns number, count, looked
and saw.

The exit code is 0 when all that came is right, 10 when something is wrong, 11 when
something must be settled first; without NUMBER 0 when the order is complete, else 11.`,
		Example: `  platewright receive P0007-1
  platewright receive P0007-1 NUMBER NUMBER=6 NUMBER=2p --delivery-note 5512 --looked
  platewright receive P0007-1 --scan
  platewright receive P0007-1 --return NUMBER=1 --because 'wrong set'`,
		Args:              cobra.MinimumNArgs(1),
		ValidArgsFunction: a.completeArgs(a.completeOrders, func(string) []string { return nil }),
		RunE:              func(c *cobra.Command, args []string) error { return a.receive(c, args, &f) },
	}
	s := c.Flags()
	s.StringVar(&f.from, "from", "", "read what came from a CSV `FILE`, or - for standard input")
	s.BoolVar(&f.scan, "scan", false, "take one number after the other")
	s.StringVar(&f.note, "delivery-note", "", "`NUMBER` of the delivery note: the same one counts once")
	s.BoolVar(&f.looked, "looked", false, "what comes with this was looked at, and looks as told; without NUMBER, all that is here")
	s.StringArrayVar(&f.lookedAt, "looked-at", nil, "this `NUMBER[=COUNT]`, which came before, was looked at (repeat)")
	s.StringArrayVar(&f.odd, "odd", nil, "it looks otherwise: `NUMBER=TEXT` with what is seen (repeat)")
	s.StringArrayVar(&f.returned, "return", nil, "it goes back: `NUMBER[=COUNT]` (repeat)")
	s.StringArrayVar(&f.kept, "keep", nil, "it is more than ordered, or was not, and stays here: `NUMBER[=COUNT]` (repeat)")
	s.StringArrayVar(&f.corrected, "correct", nil, "it was counted wrongly: `NUMBER=COUNT` with how many are truly here (repeat)")
	s.StringVar(&f.because, "because", "", "`TEXT`: why it goes back, stays or is put right")
	s.BoolVar(&f.again, "again", false, "it is another delivery, or more than ordered, though it looks like one that was booked")
	s.BoolVar(&f.csv, "csv", false, "write how the lines stand as CSV")
	s.StringVar(&f.who, "who", "", whoHelp)
	for _, name := range []string{"delivery-note", "looked-at", "odd", "return", "keep", "correct", "because", "who"} {
		a.completeFlag(c, name, func(string) []string { return nil })
	}
	return c
}

func (a *app) receive(c *cobra.Command, args []string, f *receiveFlags) error {
	switch {
	case f.csv && a.json:
		return &usageError{"--csv and --json: choose one", c.CommandPath()}
	case f.from != "" && len(args) > 1:
		return usagef("NUMBER and --from: what came stands in the file")
	case f.scan && (len(args) > 1 || f.from != "" || f.looked || len(f.lookedAt)+len(f.odd)+len(f.returned)+len(f.kept)+len(f.corrected) > 0):
		return usagef("--scan takes its numbers one by one, and nothing beside")
	case f.scan && f.csv:
		return usagef("--scan and --csv: list the lines afterwards")
	}
	in := goods.Delivery{Note: f.note, Again: f.again, Because: f.because}
	if err := f.items(a, args[1:], &in); err != nil {
		return err
	}
	cat, err := a.open()
	if err != nil {
		return err
	}
	defer cat.Close()
	r, err := a.receiving(cat, args[0])
	if err != nil {
		return err
	}
	if f.scan || len(in.Items) > 0 || len(in.Wrong) > 0 {
		if r.who, err = a.who(f.who); err != nil {
			return err
		}
	}
	if f.scan {
		return r.scan(c.Context(), in)
	}
	if len(in.Items) == 0 && len(in.Wrong) == 0 {
		if f.note != "" || f.because != "" || f.again {
			return &usageError{"what came? give NUMBER or NUMBER=COUNT, --from or --scan", c.CommandPath()}
		}
		s, err := r.desk.State()
		if err != nil {
			return err
		}
		if err := r.write(&goods.Result{Checks: []goods.Check{}, State: s}, f.csv); err != nil {
			return err
		}
		if !s.Complete {
			return answered(exitNotSettled)
		}
		return nil
	}
	res, err := r.book(c.Context(), in)
	if err != nil {
		return a.receiveError(err)
	}
	if err := r.write(res, f.csv); err != nil {
		return err
	}
	return received(res.Checks)
}

// received is the exit code of what came.
func received(cs []goods.Check) error {
	code := exitDone
	for _, c := range cs {
		switch {
		case c.Do == goods.Came && c.Verdict == goods.Wrong:
			return answered(exitDoesNotFit)
		case c.Do == goods.Odd, c.Do == goods.Came && c.More > 0,
			c.Verdict == goods.Serves && c.Unit != nil && (c.Unit.Verdict != resolve.Fits || len(c.Unit.Against) > 0),
			slices.ContainsFunc(c.Needs, func(n goods.Companion) bool { return n.Where == goods.NotThere }):
			code = exitNotSettled
		}
	}
	if code == exitDone {
		return nil
	}
	return answered(code)
}

// receiveError lists what is wrong with what was typed.
func (a *app) receiveError(err error) error {
	var refused *catalog.RefusedError
	if errors.As(err, &refused) {
		return errors.Join(err, render.FindingsText(a.err, refused.Findings, refused.Dropped, render.Screen{}))
	}
	return err
}

// items puts the arguments and flags into what is to be done.
func (f *receiveFlags) items(a *app, args []string, in *goods.Delivery) error {
	add := func(do goods.Do, where string, list []string) {
		for i, s := range list {
			it := goods.Item{Do: do, Place: catalog.Place{File: where}}
			if len(list) > 1 {
				it.Place.File = fmt.Sprintf("%s %d", where, i+1)
			}
			it.Number, it.Count = cutCount(s)
			in.Items = append(in.Items, it)
		}
	}
	add(goods.Came, "NUMBER", args)
	if f.from != "" {
		if err := f.read(a, in); err != nil {
			return err
		}
	}
	came := len(in.Items) > 0
	if f.looked && came {
		in.Looked = true
	} else if f.looked {
		in.Items = append(in.Items, goods.Item{Do: goods.Looked})
	}
	add(goods.Looked, "--looked-at", f.lookedAt)
	for _, s := range f.odd {
		number, text, ok := strings.Cut(s, "=")
		if !ok {
			return usagef("--odd %q: write NUMBER=TEXT with what is seen", s)
		}
		in.Items = append(in.Items, goods.Item{Do: goods.Odd, Number: number, Saw: text, Place: catalog.Place{File: "--odd"}})
	}
	add(goods.Returned, "--return", f.returned)
	add(goods.Kept, "--keep", f.kept)
	add(goods.Corrected, "--correct", f.corrected)
	return nil
}

// cutCount takes NUMBER=COUNT apart; the number can hold a = itself.
func cutCount(s string) (number, count string) {
	if i := strings.LastIndexByte(s, '='); i >= 0 {
		return strings.TrimSpace(s[:i]), strings.TrimSpace(s[i+1:])
	}
	return strings.TrimSpace(s), ""
}

// receiveColumns are the headings that a list of what came can have.
var receiveColumns = [...]string{"number", "count", "looked", "saw"}

// mostReceived bounds a list of what came.
const mostReceived = 8 << 20

// read takes what came from a CSV file.
func (f *receiveFlags) read(a *app, in *goods.Delivery) error {
	src, name := a.in, "standard input"
	if f.from != "-" {
		file, err := os.Open(f.from)
		if err != nil {
			return hint(err, "Give --from the name of a CSV file, or - for standard input.")
		}
		defer file.Close()
		src, name = file, f.from
	}
	var fs catalog.Findings
	bad := func(code catalog.FindingCode, row int, column, value, what, mend string) {
		fs.Add(catalog.Finding{Code: code, Place: catalog.Place{File: name, Row: row, Column: column}, Value: value, What: what, Mend: mend})
	}
	const mend = "begin with a heading of these, in any order: number, count, looked, saw"
	b := bufio.NewReader(io.LimitReader(src, mostReceived+1))
	if mark, err := b.Peek(3); err == nil && bytes.Equal(mark, []byte("\xef\xbb\xbf")) {
		b.Discard(3)
	}
	r := csv.NewReader(b)
	heading, err := r.Read()
	if err != nil {
		what := "the heading cannot be read: " + err.Error()
		if errors.Is(err, io.EOF) {
			what = "the list is empty"
		}
		bad(catalog.BadHeading, 1, "", "", what, mend)
		return a.receiveError(fs.Err())
	}
	at := map[string]int{}
	for i, h := range heading {
		k := strings.ToLower(strings.TrimSpace(h))
		if _, twice := at[k]; twice || !slices.Contains(receiveColumns[:], k) {
			bad(catalog.BadHeading, 1, h, h, "it is no column of such a list, or stands twice", mend)
		}
		at[k] = i
	}
	if _, ok := at["number"]; !ok && fs.Err() == nil {
		bad(catalog.BadHeading, 1, "", "", "there is no column number", mend)
	}
	if err := fs.Err(); err != nil {
		return a.receiveError(err)
	}
	for {
		cells, err := r.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			var wrong *csv.ParseError
			if !errors.As(err, &wrong) {
				return err
			}
			bad(catalog.BadShape, wrong.StartLine, "", "", "the row cannot be read: "+wrong.Err.Error(), "write as many cells as the heading has")
			break
		}
		row, _ := r.FieldPos(0)
		cell := func(name string) string {
			if i, ok := at[name]; ok {
				return strings.TrimSpace(render.UnguardCode(strings.TrimSpace(cells[i])))
			}
			return ""
		}
		it := goods.Item{Do: goods.Came, Number: cell("number"), Count: cell("count"), Place: catalog.Place{File: name, Row: row}}
		switch strings.ToLower(cell("looked")) {
		case "", "no", "n", "0", "false":
		case "yes", "y", "1", "true":
			it.Looked = true
		default:
			bad(catalog.BadCell, row, "looked", cell("looked"), "it was looked at, or it was not", "write yes or no")
		}
		in.Items = append(in.Items, it)
		if saw := cell("saw"); saw != "" {
			if it.Looked {
				bad(catalog.BadCombination, row, "saw", saw, "it looks as told and otherwise", "write no in looked, or leave saw empty")
			}
			in.Items = append(in.Items, goods.Item{Do: goods.Odd, Number: it.Number, Saw: saw, Place: it.Place})
		}
		if r.InputOffset() > mostReceived {
			bad(catalog.TooLarge, row, "", "", "the list is longer than any delivery", "check that it is the right file")
			break
		}
	}
	if len(in.Items) == 0 && fs.Err() == nil {
		bad(catalog.NothingToImport, 0, "", "", "nothing came by this list", "write a row for each number")
	}
	in.Wrong = fs.List()
	return nil
}

// receiving is the goods-in of one order.
type receiving struct {
	a        *app
	cat      *opened
	who      string
	number   string // of the order
	card     int
	receipts []int // events that the desk knows
	order    *goods.Order
	desk     *goods.Desk
}

// receiving opens the goods-in of an order, by its number or what is scanned off its
// sheets.
func (a *app) receiving(cat *opened, text string) (*receiving, error) {
	r := &receiving{a: a, cat: cat, number: text}
	if c, err := order.ReadCode(text); err == nil {
		r.number = c.Number
	}
	r.number = strings.TrimSpace(r.number)
	return r, r.load()
}

// load reads the order with its receipts as they stand now.
func (r *receiving) load() error {
	s, err := r.a.readShop()
	if err != nil {
		return err
	}
	unknown := &shop.UnknownError{What: "order", Name: r.number, Mend: "platewright order list --all names them"}
	if s == nil {
		return unknown
	}
	cards, err := s.Cards()
	if err != nil {
		return err
	}
	var numbers []string
	var meant func() error
	for _, card := range cards {
		for _, o := range card.Orders {
			numbers = append(numbers, o.Order)
			switch {
			case o.Order == r.number:
				return r.open(s, card, o)
			case catalog.Fold(o.Order) == catalog.Fold(r.number):
				meant = func() error { return r.open(s, card, o) }
			}
		}
	}
	if meant != nil {
		return meant()
	}
	if near := catalog.Nearest(r.number, numbers); near != "" {
		unknown.Mend = "did you mean " + near + "? " + unknown.Mend
	}
	return unknown
}

func (r *receiving) open(s *store.Shop, card *shop.Card, o shop.Order) error {
	placed, done, err := recorded(s, card, o)
	if err != nil {
		return err
	}
	q, _, err := storedDecision(s, card)
	if err != nil {
		return err
	}
	r.number, r.card, r.receipts, r.order = o.Order, card.Number, o.Receipts, placed
	r.desk = goods.New(r.cat, r.cat.edition, r.order, &q, done)
	var beside []goods.Beside
	for _, other := range card.Orders {
		if other.Order != o.Order {
			placed, done, err := recorded(s, card, other)
			if err != nil {
				return err
			}
			beside = append(beside, goods.Beside{Order: placed, Done: done})
		}
	}
	r.desk.Beside(beside...)
	return nil
}

// recorded reads an order with its receipts, the oldest first.
func recorded(s *store.Shop, card *shop.Card, o shop.Order) (*goods.Order, []goods.Receipt, error) {
	es, err := s.EventsAt(append([]int{o.Event}, o.Receipts...))
	if err != nil {
		return nil, nil, err
	}
	unreadable := func(err error) error {
		return fmt.Errorf("the order %s of card %d cannot be read: %w", o.Order, card.Number, err)
	}
	b, err := shop.Body[shop.OrderedBody](es[0])
	if err != nil {
		return nil, nil, err
	}
	sheet := &order.Sheet{}
	if err := json.Unmarshal(b.Detail, sheet); err != nil {
		return nil, nil, unreadable(err)
	}
	done := []goods.Receipt{}
	for _, e := range es[1:] {
		b, err := shop.Body[shop.ReceivedBody](e)
		if err != nil {
			return nil, nil, err
		}
		receipt := goods.Receipt{}
		if err := json.Unmarshal(b.Detail, &receipt); err != nil {
			return nil, nil, unreadable(err)
		}
		receipt.At, receipt.Who = e.At.UTC().Format(time.RFC3339), e.Who
		done = append(done, receipt)
	}
	return goods.FromSheet(sheet), done, nil
}

// standings tells how each order of cards stands, by its number.
func standings(s *store.Shop, cards ...*shop.Card) (map[string]goods.Standing, error) {
	out := map[string]goods.Standing{}
	for _, card := range cards {
		for _, o := range card.Orders {
			placed, done, err := recorded(s, card, o)
			if err != nil {
				return nil, err
			}
			out[o.Order] = goods.StandingOf(placed, done, o.Complete)
		}
	}
	return out, nil
}

// errStale says that somebody else has booked something of the order meanwhile.
var errStale = errors.New("the order has changed")

// mostTries is how often a step is checked again because somebody else was first.
const mostTries = 10

// book checks what came and writes it down. It is on the disk when book returns.
func (r *receiving) book(ctx context.Context, in goods.Delivery) (*goods.Result, error) {
	for try := 1; ; try++ {
		res, err := r.desk.Receive(in)
		if err != nil || res.Receipt == nil {
			return res, err
		}
		detail, err := json.Marshal(res.Receipt)
		if err != nil {
			return nil, err
		}
		e, err := shop.NewCardEvent(shop.CardReceived, r.who, shop.ReceivedBody{Order: r.number, Complete: res.State.Complete, Detail: detail})
		if err != nil {
			return nil, err
		}
		e.Card = r.card
		done, err := r.a.changeShop(ctx, func(tx *store.ShopTx) error {
			card, err := tx.Card(r.card)
			if err != nil {
				return err
			}
			i := slices.IndexFunc(card.Orders, func(o shop.Order) bool { return o.Order == r.number })
			if i < 0 || !slices.Equal(card.Orders[i].Receipts, r.receipts) {
				return errStale
			}
			_, err = tx.Append(e)
			return err
		})
		if errors.Is(err, errStale) && try < mostTries {
			if err := r.load(); err != nil {
				return nil, err
			}
			continue
		}
		if err != nil {
			return nil, err
		}
		kept := res.Receipt
		kept.At, kept.Who = done[0].At.UTC().Format(time.RFC3339), done[0].Who
		res.State.Receipts[len(res.State.Receipts)-1] = *kept
		r.receipts = append(slices.Clone(r.receipts), done[0].Number)
		r.desk.Keep(*kept)
		return res, nil
	}
}

func (r *receiving) write(res *goods.Result, asCSV bool) error {
	x := render.NewReceive(res)
	switch {
	case r.a.json:
		return render.JSON(r.a.out, x)
	case asCSV:
		_, err := r.a.out.Write(render.AppendReceiveCSV([]byte(render.ReceiveHeading), &x.State))
		return err
	}
	return render.ReceiveText(r.a.out, x, r.a.screen())
}

// scan takes one number after the other. What is on the screen is on the disk.
func (r *receiving) scan(ctx context.Context, in goods.Delivery) error {
	if last := r.desk.NoteBooked(in.Note); last != nil && !in.Again {
		return &shop.RefusedError{What: fmt.Sprintf("the delivery note %s was booked %s", in.Note, goods.Booked(last)), Mend: "go on with it with --again, or give the number of the new one"}
	}
	a := r.a
	file, _ := a.in.(*os.File)
	g := &dialogue{a: a, typed: file != nil && term.IsTerminal(int(file.Fd())), lines: linesOf(ctx, a.in), ctx: ctx, talk: a.out}
	if a.json {
		g.talk = a.err
	}
	s, err := r.desk.State()
	if err != nil {
		return err
	}
	if err := render.ReceiveText(g.talk, render.NewReceive(&goods.Result{State: s}), a.screen()); err != nil {
		return err
	}
	if err := g.say("\nScan or type NUMBER or NUMBER=COUNT, one after the other.\n%s what is open, %s takes the last one back, %s stops.", render.ScanOpen, render.ScanBack, render.ScanStop); err != nil {
		return err
	}
	x := scanning{receiving: r, dialogue: g, in: in}
	for {
		text, err := g.line()
		switch {
		case errors.Is(err, errLeft), err == nil && text == render.ScanStop:
			return x.end()
		case err != nil:
			return err
		case text != "":
			if err := x.take(ctx, text); err != nil {
				return err
			}
		}
	}
}

// scanning is a dialogue at goods-in.
type scanning struct {
	*receiving
	*dialogue
	in     goods.Delivery
	last   *goods.Check // what came last
	checks []goods.Check
}

// take does what a line of the dialogue says.
func (x *scanning) take(ctx context.Context, text string) error {
	in := x.in
	in.Talk, in.Again = true, false
	ofLast := func(it goods.Item) {
		it.Of = x.last
		in.Items = []goods.Item{it}
	}
	odd, isOdd := strings.CutPrefix(text, render.ScanOdd+" ")
	switch {
	case text == render.ScanOpen:
		s, err := x.desk.State()
		if err != nil {
			return err
		}
		return render.ScanOpenText(x.talk, render.NewReceive(&goods.Result{State: s}), x.receiving.a.screen())
	case text == render.ScanLooks:
		if x.last == nil {
			return x.say("Nothing came yet.")
		}
		ofLast(goods.Item{Do: goods.Looked})
	case text == render.ScanOdd:
		return x.say("What do you see? Write it behind the %s, such as: %s white caps", render.ScanOdd, render.ScanOdd)
	case isOdd:
		if x.last == nil {
			return x.say("Nothing came yet.")
		}
		// It is seen on what came last, and not on what lay there before.
		ofLast(goods.Item{Do: goods.Odd, Count: fmt.Sprint(x.last.Qty), Saw: odd})
	case text == render.ScanBack:
		if x.last == nil {
			return x.say("There is nothing to take back; put a count right with: platewright receive %s --correct NUMBER=COUNT --because TEXT", x.number)
		}
		in.Because = "taken back"
		ofLast(goods.Item{Do: goods.Corrected, Delta: -x.last.Qty})
		x.last = nil
	default:
		if code, ok := x.order.SheetCode(text); ok && catalog.Fold(code.Order) == catalog.Fold(x.number) {
			return x.sheet(code.Line)
		}
		if s, again := strings.CutSuffix(text, "!"); again {
			text, in.Again = s, true
		}
		it := goods.Item{Do: goods.Came}
		it.Number, it.Count = cutCount(text)
		in.Items = []goods.Item{it}
	}
	res, err := x.book(ctx, in)
	var refused *catalog.RefusedError
	if errors.As(err, &refused) {
		if err := render.ScanRefusedText(x.talk, refused.Findings, x.receiving.a.screen()); err != nil {
			return err
		}
		return x.receiving.a.out.Flush()
	}
	if err != nil {
		return err
	}
	for i := range res.Checks {
		if c := &res.Checks[i]; c.Do == goods.Came {
			x.last = c
		}
	}
	x.checks = append(x.checks, res.Checks...)
	if err := render.ScanText(x.talk, render.NewReceive(res), x.receiving.a.screen()); err != nil {
		return err
	}
	return x.receiving.a.out.Flush()
}

// sheet answers a code of our own sheet: it says what was ordered, and nothing of
// what came.
func (x *scanning) sheet(line int) error {
	if line == 0 {
		return x.say("This is the sheet of the order itself. Scan or type the number on the part or its bag.")
	}
	s, err := x.desk.State()
	if err != nil {
		return err
	}
	if err := render.ScanLineText(x.talk, render.NewReceive(&goods.Result{State: s}), line, x.receiving.a.screen()); err != nil {
		return err
	}
	return x.say("This is our own sheet. Now scan or type the number on the part or its bag.")
}

func (x *scanning) end() error {
	s, err := x.desk.State()
	if err != nil {
		return err
	}
	res := render.NewReceive(&goods.Result{State: s})
	if x.receiving.a.json {
		res.Checks, res.Booked = append([]goods.Check{}, x.checks...), len(x.checks) > 0
		if err := render.JSON(x.receiving.a.out, res); err != nil {
			return err
		}
	} else if err := render.ScanOpenText(x.talk, res, x.receiving.a.screen()); err != nil {
		return err
	}
	return received(x.checks)
}
