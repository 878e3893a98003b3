package pack

import (
	"archive/zip"
	"bytes"
	"encoding/binary"
	"errors"
	"hash/crc32"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"platewright/catalog"
)

// endlessFS holds a package with one file that is made while it is read.
type endlessFS struct {
	fs.FS
	name string
	open func() io.Reader
}

func (e endlessFS) Open(name string) (fs.File, error) {
	if name == e.name {
		return &madeFile{e.open()}, nil
	}
	return e.FS.Open(name)
}

type madeFile struct{ io.Reader }

func (f *madeFile) Stat() (fs.FileInfo, error) { return madeInfo{}, nil }
func (f *madeFile) Close() error               { return nil }

type madeInfo struct{}

func (madeInfo) Name() string       { return "sources.csv" }
func (madeInfo) Size() int64        { return 0 }
func (madeInfo) Mode() fs.FileMode  { return 0o444 }
func (madeInfo) ModTime() time.Time { return time.Time{} }
func (madeInfo) IsDir() bool        { return false }
func (madeInfo) Sys() any           { return nil }

// repeat reads as text n times over.
func repeat(text string, n int) io.Reader {
	return io.LimitReader(&repeater{text: text}, int64(len(text))*int64(n))
}

type repeater struct {
	text string
	at   int
}

func (r *repeater) Read(b []byte) (int, error) {
	n := 0
	for n < len(b) {
		k := copy(b[n:], r.text[r.at:])
		n += k
		r.at = (r.at + k) % len(r.text)
	}
	return n, nil
}

func TestHugeField(t *testing.T) {
	const size = 200 << 20
	for name, body := range map[string]string{"plain": "BENCH,", "quoted": "BENCH,\""} {
		t.Run(name, func(t *testing.T) {
			p, err := OpenFS(endlessFS{asFS(t, map[string]string{"sources": ""}, nil), "sources.csv", func() io.Reader {
				return io.MultiReader(strings.NewReader("source,title,kind\n"+body), repeat("x", size), strings.NewReader("\",invented\n"))
			}}, "test", Limits{})
			require.NoError(t, err)
			var before, after runtime.MemStats
			runtime.ReadMemStats(&before)
			var found catalog.Findings
			require.NoError(t, p.Rows(p.Tables()[0], &found, func(catalog.Row, catalog.Place, catalog.Cells) error {
				t.Error("the row is yielded")
				return nil
			}))
			runtime.ReadMemStats(&after)
			expect(t, found.List(), catalog.TooLarge, "sources.csv:2", "", "1048576 bytes")
			if used := after.TotalAlloc - before.TotalAlloc; used > 16<<20 {
				t.Errorf("refusing a field of %d MiB took %d MiB", size>>20, used>>20)
			}
			if done, _ := p.Progress(); done > 8<<20 {
				t.Errorf("%d bytes were read before the field was refused", done)
			}
		})
	}
}

func TestHugeFile(t *testing.T) {
	p, err := OpenFS(endlessFS{asFS(t, map[string]string{"sources": ""}, nil), "sources.csv", func() io.Reader {
		return io.MultiReader(strings.NewReader("source,title,kind\n"), &repeater{text: "BENCH,Bench,invented\n"})
	}}, "test", Limits{File: 1 << 20})
	require.NoError(t, err)
	var found catalog.Findings
	require.NoError(t, p.Rows(p.Tables()[0], &found, func(catalog.Row, catalog.Place, catalog.Cells) error { return nil }))
	expect(t, found.List(), catalog.TooLarge, "sources.csv", "", "1048576 bytes")
}

func TestHugePackage(t *testing.T) {
	_, findings := readLimited(t, asFS(t, world(), nil), Limits{Total: 1200})
	for _, f := range findings {
		if f.Code == catalog.TooLarge && strings.Contains(f.What, "together") {
			return
		}
	}
	t.Errorf("a package above its limit is read:\n%s", show(findings))
}

// zipOf packs files as they are given, in order.
func zipOf(t *testing.T, files ...string) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for i := 0; i < len(files); i += 2 {
		f, err := z.Create(files[i])
		require.NoError(t, err)
		_, err = io.WriteString(f, files[i+1])
		require.NoError(t, err)
	}
	require.NoError(t, z.Close())
	return b.Bytes()
}

func zippedWorld(t *testing.T, prefix string) []byte {
	var files []string
	for name, f := range asFS(t, world(), nil) {
		files = append(files, prefix+name, string(f.Data))
	}
	return zipOf(t, files...)
}

func openBytes(b []byte, limits Limits) (*Package, error) {
	return openZipReader(bytes.NewReader(b), int64(len(b)), "test.zip", nil, limits.withDefaults())
}

func TestZip(t *testing.T) {
	for _, prefix := range []string{"", "harbour/"} {
		p, err := openBytes(zippedWorld(t, prefix), Limits{})
		require.NoError(t, err)
		c, findings := readAll(t, p)
		if len(findings) > 0 || c.Count(catalog.TFits) != 2 {
			t.Errorf("zipped under %q: findings:\n%s", prefix, show(findings))
		}
	}
	_, err := openBytes(zipOf(t, "a/datapackage.json", "{}", "b/datapackage.json", "{}"), Limits{})
	_ = refusedWith(t, err)
	_, err = openBytes([]byte("no zip at all"), Limits{})
	check(t, refusedWith(t, err)[0], catalog.BadPackage, "test.zip", "", "zip")
}

func TestZipBombs(t *testing.T) {
	t.Run("honest sizes", func(t *testing.T) {
		b := zippedWorld(t, "")
		_, err := openBytes(b, Limits{Total: 500})
		check(t, refusedWith(t, err)[0], catalog.TooLarge, "test.zip", "", "500 bytes")
		_, err = openBytes(b, Limits{File: 100})
		check(t, refusedWith(t, err)[0], catalog.TooLarge, "test.zip", "", "limit is 100")
		_, err = openBytes(b, Limits{Entries: 5})
		check(t, refusedWith(t, err)[0], catalog.TooLarge, "test.zip", "", "limit is 5")
	})
	t.Run("ratio", func(t *testing.T) {
		_, err := openBytes(zipOf(t, DescriptorName, strings.Repeat(" ", 4<<20)), Limits{})
		check(t, refusedWith(t, err)[0], catalog.TooLarge, "test.zip", "", "250 times")
	})
	t.Run("zip in a zip", func(t *testing.T) {
		// What is inside is never unpacked: the inner zip is no CSV file.
		inner := zipOf(t, "sources.csv", strings.Repeat("x", 1<<20))
		p, err := openBytes(zipOf(t, DescriptorName, `{"resources":[{"name":"sources","path":"sources.csv"}]}`, "sources.csv", string(inner)), Limits{})
		require.NoError(t, err)
		_, findings := readAll(t, p)
		if len(findings) == 0 {
			t.Error("a zip is read as a table")
		}
	})
	t.Run("false sizes", func(t *testing.T) {
		// The directory claims ten bytes where there are two million.
		text := "source,title,kind\n" + strings.Repeat("BENCH,Bench,invented\n", 100_000)
		b := zipOf(t, DescriptorName, `{"resources":[{"name":"sources","path":"sources.csv"}]}`, "sources.csv", text)
		at := bytes.LastIndex(b, []byte("PK\x01\x02")) // the directory's entry of the second file
		binary.LittleEndian.PutUint32(b[at+24:], 10)
		p, err := openBytes(b, Limits{})
		require.NoError(t, err)
		_, findings := readAll(t, p)
		for _, f := range findings {
			if f.Code == catalog.BadFile {
				return
			}
		}
		t.Errorf("a false size is not found out:\n%s", show(findings))
	})
	t.Run("damage", func(t *testing.T) {
		text := world()["sources"]
		b := zipOf(t, DescriptorName, `{"resources":[{"name":"sources","path":"sources.csv"}]}`, "sources.csv", text)
		at := bytes.LastIndex(b, []byte("PK\x01\x02"))
		binary.LittleEndian.PutUint32(b[at+16:], crc32.ChecksumIEEE([]byte("another text")))
		p, err := openBytes(b, Limits{})
		require.NoError(t, err)
		_, findings := readAll(t, p)
		expect(t, findings, catalog.BadFile, "sources.csv", "", "damaged")
	})
}

func TestOpen(t *testing.T) {
	dir := t.TempDir()
	for name, f := range asFS(t, world(), nil) {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), f.Data, 0o600))
	}
	packed := filepath.Join(t.TempDir(), "world.ZIP")
	require.NoError(t, os.WriteFile(packed, zippedWorld(t, ""), 0o600))
	for _, path := range []string{dir, filepath.Join(dir, DescriptorName), packed} {
		p, err := Open(path, Limits{})
		require.NoError(t, err)
		if p.Name() != "test" {
			t.Errorf("%s: the name is %q", path, p.Name())
		}
		if _, findings := readAll(t, p); len(findings) > 0 {
			t.Errorf("%s: findings:\n%s", path, show(findings))
		}
	}

	_, err := Open(filepath.Join(dir, "gone"), Limits{})
	if !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("got %v for a folder that is not there", err)
	}
	empty := t.TempDir()
	_, err = Open(empty, Limits{})
	check(t, refusedWith(t, err)[0], catalog.BadPackage, filepath.Base(empty), "", "no datapackage.json")
	_, err = Open(filepath.Join(dir, "parts.csv"), Limits{})
	check(t, refusedWith(t, err)[0], catalog.BadPackage, "parts.csv", "", "neither a folder")
}

func TestLinksOutOfThePackage(t *testing.T) {
	dir, outside := t.TempDir(), filepath.Join(t.TempDir(), "secret.csv")
	require.NoError(t, os.WriteFile(outside, []byte(world()["makers"]), 0o600))
	for name, f := range asFS(t, world(), nil) {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), f.Data, 0o600))
	}
	require.NoError(t, os.Remove(filepath.Join(dir, "makers.csv")))
	if err := os.Symlink(outside, filepath.Join(dir, "makers.csv")); err != nil {
		t.Skip("no symbolic links here:", err)
	}
	p, err := Open(dir, Limits{})
	require.NoError(t, err)
	defer p.Close()
	if _, _, err := ReadMemory(p); err == nil {
		t.Error("a link out of the folder is followed")
	}
}

// TestRowLimitIsExact: a row as long as the limit is read, a longer one is not.
func TestRowLimitIsExact(t *testing.T) {
	for _, quoted := range []bool{false, true} {
		for _, extra := range []int{0, 1} {
			row := "B," + strings.Repeat("x", 3000) + ",invented"
			if quoted {
				row = "B,\"" + strings.Repeat("x", 2998) + "\",invented"
			}
			_, findings := readLimited(t, asFS(t, map[string]string{"sources": "source,title,kind\n" + row + "\n"}, nil), Limits{Row: len(row) - extra})
			if got := len(findings) > 0; got != (extra > 0) {
				t.Errorf("quoted %v, a row of %d bytes, limit %d: findings:\n%s", quoted, len(row), len(row)-extra, show(findings))
			}
		}
	}
}

func TestDoubleNamesInZip(t *testing.T) {
	_, err := openBytes(zipOf(t, DescriptorName, "{}", "parts.csv", "a", "parts.csv", "b"), Limits{})
	check(t, refusedWith(t, err)[0], catalog.BadPackage, "test.zip", "parts.csv", "two files")
}

// TestReadTwice: a trial run and the import itself read the same package, and
// its size counts once.
func TestReadTwice(t *testing.T) {
	fsys := asFS(t, world(), nil)
	size := int64(0)
	for _, f := range fsys {
		size += int64(len(f.Data))
	}
	p, err := OpenFS(fsys, "test", Limits{Total: size})
	require.NoError(t, err)
	for range 3 {
		_, found, err := ReadMemory(p)
		require.NoError(t, err)
		if list := found.List(); len(list) > 0 {
			t.Errorf("findings:\n%s", show(list))
		}
	}
	if done, total := p.Progress(); done != total {
		t.Errorf("%d of %d bytes are read", done, total)
	}
}

func TestNoOrdinaryFile(t *testing.T) {
	dir := t.TempDir()
	for name, f := range asFS(t, world(), nil) {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), f.Data, 0o600))
	}
	require.NoError(t, os.Remove(filepath.Join(dir, "supersessions.csv")))
	require.NoError(t, os.Mkdir(filepath.Join(dir, "supersessions.csv"), 0o700))
	p, err := Open(dir, Limits{})
	require.NoError(t, err)
	_, findings := readAll(t, p)
	expect(t, findings, catalog.BadFile, "supersessions.csv", "", "ordinary file")
}
