// Release builds the program for each system and packs one archive for each, the same to the byte every time.
//
//	go run ./services/internal/house/release -version v0.1.0 -out dist
//
// An archive holds one folder with the program, LICENSE, README.txt (the README up to its line "end of the first page"),
// THIRD-PARTY.txt (the licences of everything that is linked in, which ask to travel with it) and SHA256SUMS of these. It is
// a .zip for Windows and a .tar.gz for the others. Beside the archives lies SHA256SUMS, which sha256sum -c reads.
//
// The same source, version, Go release and time give the same bytes: no path, user or build time goes into an archive. The
// time of all files in it is SOURCE_DATE_EPOCH, in seconds since 1970, else the first day that a zip file can bear.
package main

import (
	"archive/tar"
	"archive/zip"
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"
)

// systems is what we build for: operating system and processor, as Go names them.
var systems = []system{{"linux", "amd64"}, {"linux", "arm64"}, {"windows", "amd64"}, {"darwin", "arm64"}}

type system struct{ os, arch string }

// program is the package that is built.
const program = "./services/latewood"

// firstPage ends the part of the README that goes into an archive.
const firstPage = "<!-- end of the first page -->"

func main() {
	version := flag.String("version", "unversioned", "goes into the names of archives and folders")
	out := flag.String("out", "dist", "folder for the archives")
	flag.Parse()
	if err := release(*version, *out); err != nil {
		fmt.Fprintln(os.Stderr, "release:", err)
		os.Exit(1)
	}
}

func release(version, out string) error {
	when, err := stamp(os.Getenv("SOURCE_DATE_EPOCH"))
	if err != nil {
		return err
	}
	licence, err := os.ReadFile("LICENSE")
	if err != nil {
		return err
	}
	readme, err := os.ReadFile("README.md")
	if err != nil {
		return err
	}
	if err := os.MkdirAll(out, 0o755); err != nil {
		return err
	}
	var sums strings.Builder
	for _, sys := range systems {
		binary, err := build(sys)
		if err != nil {
			return err
		}
		third, err := thirdParty(sys)
		if err != nil {
			return err
		}
		name := fmt.Sprintf("latewood-%s-%s-%s", version, sys.os, sys.arch)
		files := contents(sys, binary, licence, first(readme), third)
		var archive bytes.Buffer
		if sys.os == "windows" {
			name += ".zip"
			err = packZip(&archive, strings.TrimSuffix(name, ".zip"), files, when)
		} else {
			name += ".tar.gz"
			err = packTar(&archive, strings.TrimSuffix(name, ".tar.gz"), files, when)
		}
		if err != nil {
			return fmt.Errorf("pack %s: %w", name, err)
		}
		if err := os.WriteFile(filepath.Join(out, name), archive.Bytes(), 0o644); err != nil {
			return err
		}
		fmt.Fprintf(&sums, "%x  %s\n", sha256.Sum256(archive.Bytes()), name)
		fmt.Printf("%-45s %6.1f MB\n", filepath.Join(out, name), float64(archive.Len())/1e6)
	}
	return os.WriteFile(filepath.Join(out, "SHA256SUMS"), []byte(sums.String()), 0o644)
}

// stamp reads the time that files in archives bear.
func stamp(epoch string) (time.Time, error) {
	if epoch == "" {
		return time.Date(1980, 1, 1, 0, 0, 0, 0, time.UTC), nil
	}
	s, err := strconv.ParseInt(epoch, 10, 64)
	if err != nil {
		return time.Time{}, fmt.Errorf("SOURCE_DATE_EPOCH: %w", err)
	}
	return time.Unix(s, 0).UTC(), nil
}

// build makes the program for one system and gives its bytes.
func build(sys system) ([]byte, error) {
	dir, err := os.MkdirTemp("", "latewood-release-")
	if err != nil {
		return nil, err
	}
	defer func() { _ = os.RemoveAll(dir) }() // a folder for temporary files; the system clears it, too
	file := filepath.Join(dir, "program")
	cmd := goCommand(sys, "build", "-trimpath", "-ldflags=-s -w -buildid=", "-o", file, program)
	cmd.Stderr = os.Stderr
	if err := cmd.Run(); err != nil {
		return nil, fmt.Errorf("build for %s/%s: %w", sys.os, sys.arch, err)
	}
	return os.ReadFile(file)
}

func goCommand(sys system, args ...string) *exec.Cmd {
	cmd := exec.Command("go", args...)
	cmd.Env = append(os.Environ(), "GOOS="+sys.os, "GOARCH="+sys.arch, "CGO_ENABLED=0")
	return cmd
}

// first cuts the README after its first page.
func first(readme []byte) []byte {
	page, _, _ := bytes.Cut(readme, []byte(firstPage))
	return append(bytes.TrimRight(page, "\n"), '\n')
}

// A file in an archive.
type file struct {
	name string
	body []byte
	run  bool // the program
}

// contents lists the files of one archive, with their sums last.
func contents(sys system, binary, licence, readme, third []byte) []file {
	name := "latewood"
	if sys.os == "windows" {
		name += ".exe"
	}
	files := []file{{name, binary, true}, {"LICENSE", licence, false}, {"README.txt", readme, false}, {"THIRD-PARTY.txt", third, false}}
	var sums strings.Builder
	for _, f := range files {
		fmt.Fprintf(&sums, "%x  %s\n", sha256.Sum256(f.body), f.name)
	}
	return append(files, file{"SHA256SUMS", []byte(sums.String()), false})
}

func (f file) mode() int64 {
	if f.run {
		return 0o755
	}
	return 0o644
}

func packTar(w io.Writer, folder string, files []file, when time.Time) error {
	zw, err := gzip.NewWriterLevel(w, gzip.BestCompression) // its header bears no name and no time unless told
	if err != nil {
		return err
	}
	tw := tar.NewWriter(zw)
	for _, f := range files {
		h := &tar.Header{Name: folder + "/" + f.name, Mode: f.mode(), Size: int64(len(f.body)), ModTime: when, Format: tar.FormatUSTAR}
		if err := tw.WriteHeader(h); err != nil {
			return err
		}
		if _, err := tw.Write(f.body); err != nil {
			return err
		}
	}
	return errors.Join(tw.Close(), zw.Close())
}

func packZip(w io.Writer, folder string, files []file, when time.Time) error {
	zw := zip.NewWriter(w)
	for _, f := range files {
		h := &zip.FileHeader{Name: folder + "/" + f.name, Method: zip.Deflate, Modified: when}
		h.SetMode(os.FileMode(f.mode()))
		to, err := zw.CreateHeader(h)
		if err != nil {
			return err
		}
		if _, err := to.Write(f.body); err != nil {
			return err
		}
	}
	return zw.Close()
}

// A linked module, as go list gives it.
type linked struct {
	Path, Version, Dir string
	Main               bool
}

// thirdParty collects the licences of the modules that are linked in for a system, and that of Go itself.
func thirdParty(sys system) ([]byte, error) {
	out, err := goCommand(sys, "list", "-deps", "-json=Module", program).Output()
	if err != nil {
		return nil, fmt.Errorf("list what is linked in: %w", err)
	}
	modules := map[string]linked{}
	for dec := json.NewDecoder(bytes.NewReader(out)); ; {
		var p struct{ Module *linked }
		if err := dec.Decode(&p); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			return nil, fmt.Errorf("list what is linked in: %w", err)
		}
		if p.Module != nil && !p.Module.Main {
			modules[p.Module.Path] = *p.Module
		}
	}
	home, err := goCommand(sys, "env", "GOROOT").Output()
	if err != nil {
		return nil, fmt.Errorf("find Go's own licence: %w", err)
	}
	all := []linked{{Path: "Go and its standard library", Dir: strings.TrimSpace(string(home))}}
	for _, m := range modules {
		all = append(all, m)
	}
	return notices(all)
}

// notices puts the licence and notice files of modules into one text, by module path; Go's own may be missing where a
// distribution keeps it elsewhere, no other may.
func notices(all []linked) ([]byte, error) {
	slices.SortFunc(all, func(a, b linked) int { return strings.Compare(a.Path, b.Path) })
	var text bytes.Buffer
	for _, m := range all {
		entries, err := os.ReadDir(m.Dir)
		if err != nil {
			return nil, fmt.Errorf("licence of %s: %w", m.Path, err)
		}
		n := 0
		for _, e := range entries { // sorted
			upper := strings.ToUpper(e.Name())
			if e.IsDir() || strings.HasSuffix(upper, ".GO") || !slices.ContainsFunc([]string{"LICENSE", "LICENCE", "COPYING", "NOTICE"}, func(p string) bool { return strings.HasPrefix(upper, p) }) {
				continue
			}
			b, err := os.ReadFile(filepath.Join(m.Dir, e.Name()))
			if err != nil {
				return nil, err
			}
			name := strings.TrimSpace(m.Path + " " + m.Version)
			fmt.Fprintf(&text, "%s\n%s: %s\n%s\n\n%s\n\n", rule, name, e.Name(), rule, bytes.TrimSpace(b))
			n++
		}
		if n == 0 && m.Version != "" {
			return nil, fmt.Errorf("licence of %s %s: its folder has none", m.Path, m.Version)
		}
	}
	return text.Bytes(), nil
}

const rule = "========================================================================"
