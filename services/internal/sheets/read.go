package sheets

import (
	"bytes"
	"errors"
	"fmt"
	"io"

	"github.com/xuri/excelize/v2"
)

// What Open refuses. The errors of the library are behind them.
var (
	ErrTooLarge = errors.New("sheets: the workbook is larger than the limits")
	ErrLocked   = errors.New("sheets: the workbook is of the old binary format, or locked with a password")
	ErrBroken   = errors.New("sheets: the workbook cannot be read")
)

// A Book is an open workbook.
type Book struct {
	f *excelize.File
}

// Open reads a workbook into memory, under the limits of this package. The error is one of those above, or that of r.
func Open(r io.Reader) (b *Book, err error) {
	packed, err := io.ReadAll(io.LimitReader(r, MaxPacked+1))
	switch {
	case err != nil:
		return nil, fmt.Errorf("sheets: reading: %w", err)
	case len(packed) > MaxPacked:
		return nil, ErrTooLarge
	}
	f, err := excelize.OpenReader(bytes.NewReader(packed), excelize.Options{UnzipSizeLimit: MaxUnpacked, UnzipXMLSizeLimit: MaxUnpacked})
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrBroken, err)
	}
	return &Book{f}, nil
}

// Close lets go of what the library holds.
func (b *Book) Close() error { return b.f.Close() }
