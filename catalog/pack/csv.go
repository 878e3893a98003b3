package pack

import (
	"bytes"
	"fmt"
	"io"
	"strings"
)

// records reads RFC 4180 records of bounded length. The standard library's
// reader has no bound on a cell, knows no quote character but one, and cannot
// go on after an unclosed quote; and a catalogue of millions of rows is read
// several times faster when a row without quotes is split as it lies.
type records struct {
	src   io.Reader
	buf   []byte
	r, w  int // what is read and not yet used
	eof   bool
	line  int // number of the line that starts at r
	comma byte
	quote byte // 0 for none
	limit int

	joined []byte // cells of a row with quotes, one after the other
	ends   []int
	text   string // the cells of the last row with their separators, or joined
	cells  []string
}

const firstBuffer = 256 << 10

func newRecords(src io.Reader, comma, quote byte, limit int) *records {
	return &records{src: src, buf: make([]byte, firstBuffer), line: 1, comma: comma, quote: quote, limit: limit}
}

// rowError is a row that cannot be split into cells. Reading can go on after it.
type rowError struct {
	what, mend string
}

func (e *rowError) Error() string { return e.what }

// longError is a row beyond the limit. Reading cannot go on.
type longError struct {
	limit  int
	quoted bool // inside a quoted cell
}

func (e *longError) Error() string {
	if e.quoted {
		return fmt.Sprintf("a quoted cell makes the row longer than %d bytes", e.limit)
	}
	return fmt.Sprintf("the row is longer than %d bytes", e.limit)
}

// more reads on into the buffer; false at the end of the input.
func (s *records) more() (bool, error) {
	if s.eof {
		return false, nil
	}
	if s.r > 0 && s.w == len(s.buf) {
		copy(s.buf, s.buf[s.r:s.w])
		s.w -= s.r
		s.r = 0
	}
	if s.w == len(s.buf) {
		s.buf = append(s.buf, make([]byte, len(s.buf))...)
	}
	for range 100 {
		n, err := s.src.Read(s.buf[s.w:])
		s.w += n
		if err == io.EOF {
			s.eof = true
			return n > 0, nil
		}
		if err != nil {
			return false, err
		}
		if n > 0 {
			return true, nil
		}
	}
	return false, io.ErrNoProgress
}

// peek gives up to n bytes from the start of the input without using them.
func (s *records) peek(n int) ([]byte, error) {
	for s.w-s.r < n {
		ok, err := s.more()
		if err != nil {
			return nil, err
		}
		if !ok {
			break
		}
	}
	return s.buf[s.r:min(s.w, s.r+n)], nil
}

// skip uses up n bytes that were peeked at.
func (s *records) skip(n int) { s.r += n }

// next gives the cells of the next row that is not empty, and the number of
// its first line. The slice, not the texts in it, is used again. The error is
// io.EOF, a [*rowError], a [*longError] or one of the source.
func (s *records) next() ([]string, int, error) {
	for {
		end, err := s.lineEnd()
		if err != nil {
			return nil, s.line, err
		}
		if end < 0 {
			return nil, s.line, io.EOF
		}
		row := s.buf[s.r : s.r+end]
		if s.quote != 0 && bytes.IndexByte(row, s.quote) >= 0 {
			return s.quoted()
		}
		line := s.line
		s.r = min(s.r+end+1, s.w)
		s.line++
		if n := len(row); n > 0 && row[n-1] == '\r' {
			row = row[:n-1]
		}
		if len(row) == 0 {
			continue
		}
		s.text = string(row)
		s.cells = s.cells[:0]
		from := 0
		for i := 0; i < len(s.text); i++ {
			if s.text[i] == s.comma {
				s.cells = append(s.cells, s.text[from:i])
				from = i + 1
			}
		}
		s.cells = append(s.cells, s.text[from:])
		return s.cells, line, nil
	}
}

// lineEnd gives how many bytes lie before the next line feed or the end of the
// input; -1 when nothing is left.
func (s *records) lineEnd() (int, error) {
	from := 0
	for {
		if i := bytes.IndexByte(s.buf[s.r+from:s.w], '\n'); i >= 0 {
			if from+i > s.limit {
				return 0, &longError{limit: s.limit}
			}
			return from + i, nil
		}
		from = s.w - s.r
		if from > s.limit {
			return 0, &longError{limit: s.limit}
		}
		ok, err := s.more()
		if err != nil {
			return 0, err
		}
		if !ok {
			if from == 0 {
				return -1, nil
			}
			return from, nil
		}
	}
}

// at gives the byte i after the start of the row, false beyond the end.
func (s *records) at(i int) (byte, bool, error) {
	for s.r+i >= s.w {
		if i > s.limit {
			return 0, false, &longError{limit: s.limit}
		}
		ok, err := s.more()
		if err != nil || !ok {
			return 0, false, err
		}
	}
	return s.buf[s.r+i], true, nil
}

// quoted reads a row that has a quote in its first line.
func (s *records) quoted() ([]string, int, error) {
	line := s.line
	s.joined, s.ends = s.joined[:0], s.ends[:0]
	i := 0
	for done := false; !done; {
		c, ok, err := s.at(i)
		if err != nil {
			return nil, line, err
		}
		if ok && c == s.quote {
			i, done, err = s.quotedCell(i + 1)
		} else {
			i, done, err = s.plainCell(i)
		}
		if err != nil {
			if _, ok := err.(*rowError); ok {
				// Go on below the line in which the row starts: what a stray
				// quote has swallowed is read as rows of its own.
				if err := s.skipLine(); err != nil {
					return nil, line, err
				}
			}
			return nil, line, err
		}
	}
	s.line += bytes.Count(s.buf[s.r:s.r+i], []byte{'\n'})
	if s.buf[s.r+i-1] != '\n' {
		s.line++
	}
	s.r += i
	s.text = string(s.joined)
	s.cells = s.cells[:0]
	from := 0
	for _, end := range s.ends {
		s.cells = append(s.cells, s.text[from:end])
		from = end
	}
	return s.cells, line, nil
}

// plainCell reads a cell without quotes from i on. It gives the place behind
// its separator and whether the row ends there.
func (s *records) plainCell(i int) (int, bool, error) {
	for {
		c, ok, err := s.at(i)
		if err != nil {
			return 0, false, err
		}
		switch {
		case !ok:
			s.dropCR()
			s.ends = append(s.ends, len(s.joined))
			return i, true, nil
		case c == s.comma:
			s.ends = append(s.ends, len(s.joined))
			return i + 1, false, nil
		case c == '\n':
			s.dropCR()
			s.ends = append(s.ends, len(s.joined))
			return i + 1, true, nil
		case c == s.quote:
			return 0, false, &rowError{"a quote stands inside a cell that does not begin with one", "put the whole cell in quotes and double each quote inside it"}
		}
		s.joined = append(s.joined, c)
		i++
	}
}

// dropCR takes a carriage return off the end of the cell being read.
func (s *records) dropCR() {
	from := 0
	if n := len(s.ends); n > 0 {
		from = s.ends[n-1]
	}
	if n := len(s.joined); n > from && s.joined[n-1] == '\r' {
		s.joined = s.joined[:n-1]
	}
}

// quotedCell reads a cell from behind its opening quote on.
func (s *records) quotedCell(i int) (int, bool, error) {
	start := len(s.joined)
	for {
		if _, ok, err := s.at(i); err != nil {
			if long, is := err.(*longError); is {
				long.quoted = true
			}
			return 0, false, err
		} else if !ok {
			return 0, false, &rowError{"a quote is opened in this row and never closed", "close the quote, or double it if it belongs to the text"}
		}
		rest := s.buf[s.r+i : s.w]
		j := bytes.IndexByte(rest, s.quote)
		if j < 0 {
			s.joined = append(s.joined, rest...)
			i += len(rest)
			continue
		}
		s.joined = append(s.joined, rest[:j]...)
		i += j + 1
		if i > s.limit {
			return 0, false, &longError{limit: s.limit, quoted: true}
		}
		c, ok, err := s.at(i)
		if err != nil {
			return 0, false, err
		}
		if ok && c == s.quote {
			s.joined = append(s.joined, c)
			i++
			continue
		}
		if cell := s.joined[start:]; bytes.IndexByte(cell, '\r') >= 0 {
			// A line break inside a cell is one line feed, however the file
			// writes it.
			s.joined = append(s.joined[:start], bytes.ReplaceAll(cell, []byte("\r\n"), []byte("\n"))...)
		}
		s.ends = append(s.ends, len(s.joined))
		if ok && c == '\r' {
			c2, ok2, err := s.at(i + 1)
			if err != nil {
				return 0, false, err
			}
			if !ok2 {
				return i + 1, true, nil
			}
			if c2 == '\n' {
				return i + 2, true, nil
			}
		}
		switch {
		case !ok:
			return i, true, nil
		case c == s.comma:
			return i + 1, false, nil
		case c == '\n':
			return i + 1, true, nil
		}
		return 0, false, &rowError{"text follows a closing quote", "double each quote that belongs to the text"}
	}
}

// skipLine uses up the rest of the line in which the row starts.
func (s *records) skipLine() error {
	for {
		if i := bytes.IndexByte(s.buf[s.r:s.w], '\n'); i >= 0 {
			s.r += i + 1
			s.line++
			return nil
		}
		s.r = s.w
		ok, err := s.more()
		if err != nil || !ok {
			return err
		}
	}
}

// appendCell appends a cell in the form of RFC 4180, with quotes only where
// they are needed. The standard library's writer would turn a line feed inside
// a cell into CRLF, which is another text to other readers.
func appendCell(dst []byte, cell string) []byte {
	if !strings.ContainsAny(cell, ",\"\r\n") && (cell == "" || cell[0] != ' ' && cell[len(cell)-1] != ' ') {
		return append(dst, cell...)
	}
	dst = append(dst, '"')
	for {
		i := strings.IndexByte(cell, '"')
		if i < 0 {
			break
		}
		dst = append(dst, cell[:i+1]...)
		dst = append(dst, '"')
		cell = cell[i+1:]
	}
	dst = append(dst, cell...)
	return append(dst, '"')
}
