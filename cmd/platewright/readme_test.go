package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/require"

	"platewright/cmd/platewright/internal/cli"
)

// TestReadme runs every command that the README shows, in its order and in one
// empty folder, and compares what comes out with what the README says. A block
// "console" holds commands after "$ " with their output; a block "file NAME"
// holds a file that the reader makes.
func TestReadme(t *testing.T) {
	path, err := filepath.Abs(filepath.Join("..", "..", "README.md"))
	require.NoError(t, err)
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	t.Chdir(t.TempDir())
	s := &session{t: t}
	lines := strings.Split(string(text), "\n")
	var out []string
	for i := 0; i < len(lines); {
		kind, fenced := strings.CutPrefix(lines[i], "```")
		out = append(out, lines[i])
		i++
		if !fenced {
			continue
		}
		end := i + slices.Index(lines[i:], "```")
		require.GreaterOrEqual(t, end, i, "a block is not closed")
		block := lines[i:end]
		switch name, isFile := strings.CutPrefix(kind, "file "); {
		case isFile:
			require.NoError(t, os.MkdirAll(filepath.Dir(name), 0o777))
			require.NoError(t, os.WriteFile(name, []byte(strings.Join(block, "\n")+"\n"), 0o666))
			out = append(out, block...)
		case kind == "console":
			out = append(out, s.block(block)...)
		default:
			out = append(out, block...)
		}
		out = append(out, "```")
		i = end + 1
	}
	require.NotZero(t, s.commands, "the README shows no command")
	got := strings.Join(out, "\n")
	if *update {
		require.NoError(t, os.WriteFile(path, []byte(got), 0o666))
		return
	}
	if d := cmp.Diff(strings.Split(string(text), "\n"), out); d != "" {
		t.Errorf("the README shows other output than the program gives; run this test with -update (-README +program):\n%s", d)
	}
}

// session is the shell of the README's reader.
type session struct {
	t        *testing.T
	code     int
	commands int
}

// block runs the commands of a block and gives the block as it should be.
func (s *session) block(lines []string) []string {
	var out []string
	for _, line := range lines {
		command, ok := strings.CutPrefix(line, "$ ")
		if !ok {
			continue // output, made anew
		}
		out = append(out, line)
		if text := strings.TrimRight(s.run(command), "\n"); text != "" {
			out = append(out, strings.Split(text, "\n")...)
		}
	}
	return out
}

func (s *session) run(command string) string {
	s.commands++
	if command == "echo $?" {
		return strconv.Itoa(s.code)
	}
	command, head, cut := strings.Cut(command, " | head -n ")
	in := ""
	if typed, rest, ok := strings.Cut(command, " | platewright "); ok && strings.HasPrefix(typed, "echo ") {
		in, command = strings.Join(split(typed)[1:], " ")+"\n", "platewright "+rest
	}
	words := split(command)
	if len(words) > 2 && words[0] == "go" && words[1] == "run" {
		words = words[2:]
	}
	require.Contains(s.t, []string{"platewright", "./cmd/platewright"}, words[0], command)
	var out bytes.Buffer
	env := map[string]string{"PLATEWRIGHT_DATA": "shop-data", "SOURCE_DATE_EPOCH": "1700000000"}
	s.code = cli.Main(s.t.Context(), words[1:], cli.Streams{In: strings.NewReader(in), Out: &out, Err: &out}, func(k string) string { return env[k] })
	text := out.String()
	if cut {
		n, err := strconv.Atoi(head)
		require.NoError(s.t, err, command)
		all := strings.SplitAfter(text, "\n")
		text = strings.Join(all[:min(n, len(all))], "")
	}
	return text
}

// split takes a command apart at spaces; single quotes hold words together.
func split(command string) []string {
	var words []string
	var word strings.Builder
	quoted, begun := false, false
	for _, r := range command {
		switch {
		case r == '\'':
			quoted, begun = !quoted, true
		case r == ' ' && !quoted:
			if begun {
				words = append(words, word.String())
				word.Reset()
			}
			begun = false
		default:
			word.WriteRune(r)
			begun = true
		}
	}
	if begun {
		words = append(words, word.String())
	}
	return words
}

func TestSplit(t *testing.T) {
	got := fmt.Sprintf("%q", split(`platewright resolve 'XEB 1' --saw  coil=5.2 ''`))
	if want := `["platewright" "resolve" "XEB 1" "--saw" "coil=5.2" ""]`; got != want {
		t.Errorf("split gives %s, want %s", got, want)
	}
}
