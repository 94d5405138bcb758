package evidence

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"slices"
	"strings"
)

// The most that a file of evidence may be. A lot of 500 records takes about a megabyte.
const (
	MaxBytes = 256 << 20
	MaxFiles = 60_000 // a ZIP without extensions counts to 65,535
	// MaxRecords is the most records that evidence may hold: each is two files.
	MaxRecords = 29_000
	maxName    = 80
)

// A File is one part of the container.
type File struct {
	Name string
	Body []byte
}

// The layout of a ZIP archive (APPNOTE.TXT, .ZIP File Format Specification, sections 4.3.7, 4.3.12 and 4.3.16; from
// memory). Numbers are little endian.
const (
	localMark, localSize     = 0x04034b50, 30
	centralMark, centralSize = 0x02014b50, 46
	endMark, endSize         = 0x06054b50, 22

	zipVersion = 20
	zipDate    = 0x0021 // 1980-01-01, the first day that the format knows
)

// Pack writes the container: the files in byte order of their names, stored as they are, every header field fixed. The same
// files give the same bytes, with every version of this program: so it is written here, by hand, and with no library.
// Names must be valid and each there once.
func Pack(files []File) ([]byte, error) {
	files = slices.Clone(files)
	slices.SortFunc(files, func(a, b File) int { return strings.Compare(a.Name, b.Name) })
	total := endSize
	for i, f := range files {
		switch {
		case !validName(f.Name):
			return nil, container(badPath, f.Name)
		case i > 0 && files[i-1].Name == f.Name:
			return nil, container(doubled, f.Name)
		}
		total += localSize + centralSize + 2*len(f.Name) + len(f.Body)
	}
	switch {
	case len(files) > MaxFiles:
		return nil, container(tooMany, "")
	case total > MaxBytes:
		return nil, container(tooLarge, "")
	}
	out := make([]byte, 0, total)
	var central []byte
	for _, f := range files {
		at, sum := len(out), crc32.ChecksumIEEE(f.Body)
		out = put32(out, localMark)
		out = common(out, f, sum)
		out = append(append(out, f.Name...), f.Body...)
		central = put16(put32(central, centralMark), zipVersion)
		central = common(central, f, sum)
		central = put16(central, 0, 0, 0)       // comment, disk, internal attributes
		central = put32(central, 0, uint32(at)) // external attributes, where the file stands
		central = append(central, f.Name...)
	}
	start := len(out)
	out = append(out, central...)
	out = put16(put32(out, endMark), 0, 0, uint16(len(files)), uint16(len(files)))
	out = put32(out, uint32(len(central)), uint32(start))
	return put16(out, 0), nil
}

// common is what stands in both headers of a file: version needed, flags, method, time, date, checksum, the two sizes, the
// lengths of name and extra field.
func common(dst []byte, f File, sum uint32) []byte {
	dst = put16(dst, zipVersion, 0, 0, 0, zipDate)
	dst = put32(dst, sum, uint32(len(f.Body)), uint32(len(f.Body)))
	return put16(dst, uint16(len(f.Name)), 0)
}

func put16(dst []byte, values ...uint16) []byte {
	for _, v := range values {
		dst = binary.LittleEndian.AppendUint16(dst, v)
	}
	return dst
}

func put32(dst []byte, values ...uint32) []byte {
	for _, v := range values {
		dst = binary.LittleEndian.AppendUint32(dst, v)
	}
	return dst
}

// validName takes the names that a part may have: one or two words of plain letters, digits, and inner . _ -, with one slash
// between. So no name climbs out of a folder, hides, or means another file on another system.
func validName(name string) bool {
	words := strings.Split(name, "/")
	if len(name) > maxName || len(words) > 2 {
		return false
	}
	for _, w := range words {
		if w == "" || w[0] == '.' || w[0] == '-' || w[len(w)-1] == '.' {
			return false
		}
		for _, c := range []byte(w) {
			if !(c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' || c == '.' || c == '_' || c == '-') {
				return false
			}
		}
	}
	return true
}

// Unpack reads a container and takes only what Pack writes: it looks at every field that could hide something, then makes
// the container again from its parts and compares. The parts share memory with b. The error is a *ContainerError.
func Unpack(b []byte) ([]File, error) {
	if len(b) > MaxBytes {
		return nil, container(tooLarge, "")
	}
	if len(b) < endSize || le32(b) != localMark && le32(b) != endMark {
		return nil, container(notZip, "")
	}
	end := b[len(b)-endSize:]
	if le32(end) != endMark || le16(end[20:]) != 0 {
		// A search for the mark, as other programs do it, is how two readers come to see two archives in one file.
		if at := bytes.LastIndex(b, []byte("PK\x05\x06")); at >= 0 && at+endSize <= len(b) {
			return nil, container(behind, "")
		}
		return nil, container(cutShort, "")
	}
	count, size, at := int(le16(end[10:])), int(le32(end[12:])), int(le32(end[16:]))
	switch {
	case count > MaxFiles:
		return nil, container(tooMany, "")
	case le16(end[4:]) != 0 || le16(end[6:]) != 0 || le16(end[8:]) != le16(end[10:]):
		return nil, container(otherLayout, "")
	case at+size != len(b)-endSize:
		return nil, container(overlap, "")
	}
	files := make([]File, 0, min(count, 1024))
	directory, next := b[at:at+size], 0
	for range count {
		var f File
		var err error
		if f, directory, next, err = entry(b[:at], directory, next); err != nil {
			return nil, err
		}
		if n := len(files); n > 0 && files[n-1].Name >= f.Name {
			if files[n-1].Name == f.Name {
				return nil, container(doubled, f.Name)
			}
			return nil, container(unsorted, f.Name)
		}
		files = append(files, f)
	}
	if next != at || len(directory) != 0 {
		return nil, container(overlap, "")
	}
	again, err := Pack(files)
	if err != nil {
		return nil, err
	}
	if !bytes.Equal(again, b) {
		return nil, container(otherLayout, "")
	}
	return files, nil
}

// entry reads one file: its line in the directory, and its header and body, which must begin at next.
func entry(b, directory []byte, next int) (f File, rest []byte, after int, err error) {
	fail := func(code string) (File, []byte, int, error) { return File{}, nil, 0, container(code, f.Name) }
	if len(directory) < centralSize || le32(directory) != centralMark {
		return fail(otherLayout)
	}
	d := directory[6:] // from "version needed" on, as in the local header
	length := int(le16(d[22:]))
	if len(directory) < centralSize+length {
		return fail(otherLayout)
	}
	name := string(directory[centralSize : centralSize+length])
	if !validName(name) {
		f.Name = printable(name)
		return fail(badPath)
	}
	f.Name = name
	switch {
	case le16(d[2:])&1 != 0:
		return fail(encrypted)
	case le16(d[4:]) != 0 || le32(d[14:]) != le32(d[18:]):
		return fail(compressed)
	case le16(d[2:]) != 0 || le16(d[24:]) != 0 || le16(d[26:]) != 0:
		return fail(otherLayout) // flags, an extra field or a comment
	case int(le32(directory[42:])) != next:
		return fail(overlap)
	}
	size := int(le32(d[14:]))
	if next+localSize+length+size > len(b) {
		return fail(overlap)
	}
	local := b[next:]
	if le32(local) != localMark || !bytes.Equal(local[4:localSize], directory[6:6+localSize-4]) || string(local[localSize:localSize+length]) != name {
		return fail(twoHeaders)
	}
	f.Body = local[localSize+length : localSize+length+size : localSize+length+size]
	if crc32.ChecksumIEEE(f.Body) != le32(d[10:]) {
		return fail(checksum)
	}
	return f, directory[centralSize+length:], next + localSize + length + size, nil
}

func le16(b []byte) uint16 { return binary.LittleEndian.Uint16(b) }
func le32(b []byte) uint32 { return binary.LittleEndian.Uint32(b) }
