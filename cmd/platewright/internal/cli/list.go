package cli

import (
	"bufio"
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"runtime"
	"slices"
	"strings"
	"sync"
	"unicode/utf8"

	"github.com/spf13/cobra"

	"platewright/catalog"
	"platewright/cmd/platewright/internal/render"
	"platewright/resolve"
)

// listFlags are the flags of a list of units.
type listFlags struct {
	from       string
	lookAlikes bool
	sheets     bool
}

func (l *listFlags) add(c *cobra.Command) {
	c.Flags().StringVar(&l.from, "from", "", "answer a list of units: a CSV `FILE`, or - for standard input")
	c.Flags().BoolVar(&l.sheets, "for-spreadsheets", false, "write the answers to a list so that a spreadsheet opens them without harm")
	c.Flags().BoolVar(&l.lookAlikes, "look-alikes", false, "in a list, search for look-alikes and next checks too; this takes longer")
}

// alone refuses what speaks of one unit beside a list of them.
func (l *listFlags) alone(c *cobra.Command, args []string) error {
	if l.sheets && c.Flags().Changed("json") {
		return usagef("--for-spreadsheets and --json: choose one")
	}
	if len(args) > 0 {
		return usagef("a PLATE and --from: the units stand in the list")
	}
	for _, name := range []string{"field", "label", "saw", "vehicle", "built", "serial", "why"} {
		if c.Flags().Changed(name) {
			return usagef("--%s and --from: what is said of a unit stands in its row of the list", name)
		}
	}
	return nil
}

// listColumns are the headings that a list can have.
var listColumns = [...]string{"plate", "label", "saw", "work", "role", "serial", "built", "vehicle", "ref"}

// A list is answered in batches, so that several can be worked on at a time
// while the answers keep the order of the list.
const batchRows = 128

type listJob struct {
	rows []listRow
	out  []byte
	bad  []string // what is said on standard error, in order
	err  error    // trouble of the machine or the catalogue, which ends the list
	done chan struct{}
}

type listRow struct {
	line  int
	cells []string
	err   error // the row cannot be read as CSV
}

// resolveList answers a list of units. The rows are read by one goroutine,
// decided by up to GOMAXPROCS workers, each with a resolver of its own, and
// written by this one; all of them have ended when it returns.
func (a *app) resolveList(ctx context.Context, list listFlags, work, roles []string) error {
	in, name := a.in, "standard input"
	if list.from != "-" {
		f, err := os.Open(list.from)
		if err != nil {
			return hint(err, "Give --from the name of a CSV file, or - for standard input.")
		}
		defer f.Close()
		in, name = f, list.from
	}
	r, columns, err := listHeading(in, name)
	if err != nil {
		var refused *catalog.RefusedError
		if errors.As(err, &refused) {
			err = errors.Join(err, render.FindingsText(a.err, refused.Findings, refused.Dropped, render.Screen{}))
		}
		return err
	}
	cat, err := a.open()
	if err != nil {
		return err
	}
	defer cat.Close()
	if cat.demo {
		fmt.Fprintln(a.err, "platewright: "+render.DemoRemark)
	}

	workers := max(runtime.GOMAXPROCS(0), 1)
	pool := make([]*listWorker, workers)
	for i := range pool {
		view, err := cat.view()
		if err != nil {
			return err
		}
		pool[i] = &listWorker{columns: columns, work: work, roles: roles, json: a.json, sheets: list.sheets, resolver: resolve.New(view, cat.edition),
			options: resolve.Options{NoLookAlikes: !list.lookAlikes, NoNextCheck: !list.lookAlikes, NoNear: !list.lookAlikes, NoNotes: !a.json, NoTrails: !a.json, NoFigures: true}}
	}
	if !a.json {
		if list.sheets {
			a.out.WriteString(render.ByteOrderMark)
		}
		a.out.WriteString(render.ListHeading)
	}
	ctx, cancel := context.WithCancel(ctx)
	jobs := make(chan *listJob, workers)
	order := make(chan *listJob, 4*workers)
	var working sync.WaitGroup
	defer working.Wait() // before the views that they read are closed
	defer cancel()
	// The reader ends with the list. Only where the list is a pipe that gives
	// nothing more can it outlive this call, waiting for a line; it touches
	// nothing but the pipe then.
	go readList(ctx, r, jobs, order)
	for _, w := range pool {
		working.Go(func() { w.run(ctx, jobs) })
	}
	refused := 0
	for {
		j, more, err := awaited(ctx, order)
		if err == nil && more {
			err = j.err
		}
		if err != nil {
			return err
		}
		if !more {
			break
		}
		if _, err := a.out.Write(j.out); err != nil {
			return err
		}
		for _, s := range j.bad {
			refused++
			fmt.Fprintf(a.err, "%s:%s\n", name, s)
		}
	}
	if refused > 0 {
		if ferr := a.out.Flush(); ferr != nil {
			return ferr
		}
		a.complain(fmt.Sprintf("%d of the rows could not be answered; mend them and run the list again", refused))
		return answered(exitRefused)
	}
	return nil
}

// awaited gives the next batch of the list once it has been worked on.
func awaited(ctx context.Context, order <-chan *listJob) (j *listJob, more bool, err error) {
	select {
	case j, more = <-order:
	case <-ctx.Done():
		return nil, false, ctx.Err()
	}
	if !more {
		return nil, false, ctx.Err()
	}
	select {
	case <-j.done:
		return j, true, nil
	case <-ctx.Done():
		return nil, false, ctx.Err()
	}
}

// listHeading reads the heading and gives for each cell the column that it is.
func listHeading(in io.Reader, name string) (*csv.Reader, []int, error) {
	b := bufio.NewReaderSize(in, 64<<10)
	if mark, err := b.Peek(3); err == nil && bytes.Equal(mark, []byte("\xef\xbb\xbf")) {
		b.Discard(3)
	}
	r := csv.NewReader(b)
	r.FieldsPerRecord = -1
	heading, err := r.Read()
	refuse := func(column, value, what, mend string) error {
		var fs catalog.Findings
		fs.Add(catalog.Finding{Code: catalog.BadHeading, Place: catalog.Place{File: name, Row: 1, Column: column}, Value: value, What: what, Mend: mend})
		return fs.Err()
	}
	const mend = "use these, in any order: plate, label, saw, work, role, serial, built, vehicle, ref"
	if errors.Is(err, io.EOF) {
		return nil, nil, refuse("", "", "the list is empty", "begin it with a heading; "+mend)
	}
	if err != nil {
		return nil, nil, refuse("", "", "the heading cannot be read: "+err.Error(), mend)
	}
	columns := make([]int, len(heading))
	for i, h := range heading {
		k := slices.Index(listColumns[:], strings.ToLower(strings.TrimSpace(h)))
		if k < 0 {
			return nil, nil, refuse("", h, "it is no column of a list", mend)
		}
		if slices.Contains(columns[:i], k) {
			return nil, nil, refuse("", h, "the column stands twice", "keep one of the two")
		}
		columns[i] = k
	}
	if !slices.Contains(columns, 0) && !slices.Contains(columns, 1) {
		return nil, nil, refuse("", "", "there is neither a column plate nor a column label", mend)
	}
	return r, columns, nil
}

// readList cuts the list into batches. Each goes to order, where it is awaited,
// and to jobs, where it is worked on.
func readList(ctx context.Context, r *csv.Reader, jobs, order chan<- *listJob) {
	defer close(order)
	defer close(jobs)
	for end := false; !end; {
		j := &listJob{rows: make([]listRow, 0, batchRows), done: make(chan struct{})}
		for len(j.rows) < batchRows {
			cells, err := r.Read()
			if errors.Is(err, io.EOF) {
				end = true
				break
			}
			var bad *csv.ParseError
			if err != nil && !errors.As(err, &bad) {
				j.err, end = err, true
				break
			}
			row := listRow{cells: cells}
			if err != nil {
				row.line, row.err = bad.StartLine, bad.Err
			} else {
				row.line, _ = r.FieldPos(0)
			}
			j.rows = append(j.rows, row)
		}
		if len(j.rows) == 0 && j.err == nil {
			return
		}
		select {
		case order <- j:
		case <-ctx.Done():
			return
		}
		select {
		case jobs <- j:
		case <-ctx.Done():
			return
		}
	}
}

// listWorker decides rows of a list with a resolver of its own.
type listWorker struct {
	columns     []int
	work, roles []string
	json        bool
	sheets      bool
	resolver    *resolve.Resolver
	options     resolve.Options
}

// run works on batches until there are no more.
func (w *listWorker) run(ctx context.Context, jobs <-chan *listJob) {
	for {
		select {
		case j, more := <-jobs:
			if !more {
				return
			}
			w.answer(ctx, j)
			close(j.done)
		case <-ctx.Done():
			return
		}
	}
}

func (w *listWorker) answer(ctx context.Context, j *listJob) {
	var buf bytes.Buffer
	for _, row := range j.rows {
		if j.err == nil {
			j.err = ctx.Err()
		}
		if j.err != nil {
			return
		}
		q, ref, err := w.question(row)
		res := render.ListRow{Schema: render.ListSchema, Line: row.line, Ref: ref, NotSearched: w.options.NoLookAlikes}
		if err == nil {
			res.Decision, err = w.resolver.Decide(q, w.options)
			var bad *resolve.QuestionError
			if err != nil && !errors.As(err, &bad) {
				j.err = err
				return
			}
		}
		if err != nil {
			res.Decision, res.Error = nil, err.Error()
			j.bad = append(j.bad, fmt.Sprintf("%d: %v", row.line, err))
		}
		if !w.json {
			j.out = render.AppendListCSV(j.out, res, q.Plate, w.sheets)
			continue
		}
		buf.Reset()
		if j.err = render.ListJSON(&buf, res); j.err != nil {
			return
		}
		j.out = append(j.out, buf.Bytes()...)
	}
}

// rowError says what is wrong with a row of a list.
type rowError struct{ what string }

func (e *rowError) Error() string { return e.what }

func (w *listWorker) question(row listRow) (q resolve.Question, ref string, err error) {
	if row.err != nil {
		return q, "", &rowError{"the row cannot be read as CSV: " + row.err.Error()}
	}
	bad := func(column int, err error) error {
		return &rowError{"column " + listColumns[column] + ": " + err.Error()}
	}
	if len(row.cells) != len(w.columns) {
		err = &rowError{fmt.Sprintf("the row has %d cells, the heading %d", len(row.cells), len(w.columns))}
	}
	for i, cell := range row.cells {
		if i >= len(w.columns) {
			break
		}
		if cell = render.Unapostrophe(strings.TrimSpace(cell)); cell == "" {
			continue
		}
		k := w.columns[i]
		if !utf8.ValidString(cell) {
			return q, ref, bad(k, errors.New("the text is not UTF-8; save the list as UTF-8"))
		}
		switch listColumns[k] {
		case "plate":
			q.Plate = cell
		case "label":
			q.Labels = several(cell)
		case "saw":
			for _, s := range several(cell) {
				o, oerr := observation(s)
				if oerr != nil {
					return q, ref, bad(k, oerr)
				}
				q.Saw = append(q.Saw, o)
			}
		case "work":
			q.Work = several(cell)
		case "role":
			q.Roles = several(cell)
		case "serial":
			if serr := setSerial(&q, cell); serr != nil {
				return q, ref, bad(k, serr)
			}
		case "built":
			if berr := setBuilt(&q, cell); berr != nil {
				return q, ref, bad(k, berr)
			}
		case "vehicle":
			q.Vehicle = cell
		case "ref":
			ref = cell
		}
	}
	if err == nil && knowsNothing(&q) {
		err = &rowError{"the row names no plate and no label"}
	}
	if len(q.Work) == 0 && len(q.Roles) == 0 {
		q.Work, q.Roles = w.work, w.roles
	}
	return q, ref, err
}

// several takes the values of a cell apart.
func several(cell string) []string {
	if !strings.Contains(cell, ";") {
		return []string{cell}
	}
	var out []string
	for s := range strings.SplitSeq(cell, ";") {
		if s = strings.TrimSpace(s); s != "" {
			out = append(out, s)
		}
	}
	return out
}
