package app

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"io"
	"slices"

	"latewood/events"
	"latewood/events/canon"
	"latewood/events/words"
	"latewood/projections"
	"latewood/services/attach"
	"latewood/services/serve"
)

// AttachRequest takes a file in. Name is what records call it.
type AttachRequest struct {
	Farm string `json:"farm,omitempty"`
	Name string `json:"name,omitempty"` // empty: the file's own
}

// Attached is a file that was taken in. Attachment goes into the data of a record as it is.
type Attached struct {
	Attachment events.Attachment `json:"attachment"`
	Bytes      int64             `json:"bytes"`
	Known      bool              `json:"known"` // it was kept before
}

func (a *App) opAttach(ctx context.Context, q AttachRequest, file serve.File, _ func(any)) (any, int, error) {
	if file == nil {
		return nil, 2, &serve.Fault{Exit: 2, Text: words.Say("attach.no-file")}
	}
	f, err := a.farm(ctx, q.Farm)
	if err != nil {
		return nil, 1, err
	}
	name := q.Name
	if name == "" {
		name = file.Name()
	}
	k, err := f.files.Put(file, name)
	if err != nil {
		// Whoever sends a large file over a wire does not read the answer before all of it is taken.
		_, _ = io.Copy(io.Discard, file)
		return nil, 1, registerFault(err)
	}
	return Attached{Attachment: k.Attachment, Bytes: k.Bytes, Known: k.Known}, 0, nil
}

// FileRequest asks for a file that records point to.
type FileRequest struct {
	Farm   string `json:"farm,omitempty"`
	SHA256 string `json:"sha256"`
}

// File is its content.
type File struct {
	SHA256  string `json:"sha256"`
	Content []byte `json:"content"`
}

func (a *App) opFile(ctx context.Context, q FileRequest) (any, int, error) {
	f, err := a.farm(ctx, q.Farm)
	if err != nil {
		return nil, 1, err
	}
	b, err := f.files.Get(q.SHA256)
	if err != nil {
		return nil, 1, fileFault(err)
	}
	return File{SHA256: q.SHA256, Content: b}, 0, nil
}

// FilesRequest asks which files records point to.
type FilesRequest struct {
	Farm string `json:"farm,omitempty"`
}

// Files lists them, each once, in the order in which records first named them.
type Files struct {
	Files []Pointed `json:"files"`
}

func (a *App) opFiles(ctx context.Context, q FilesRequest) (any, int, error) {
	f, err := a.farm(ctx, q.Farm)
	if err != nil {
		return nil, 1, err
	}
	var records []*events.Record
	err = f.projector.With(func(b *projections.Book) error {
		for _, fact := range b.Facts() {
			records = append(append(records, fact.Record), fact.Corrections...)
		}
		return nil
	})
	if err != nil {
		return nil, 1, err
	}
	slices.SortFunc(records, func(a, b *events.Record) int { return cmp.Compare(a.Place, b.Place) })
	doc, seen := Files{Files: []Pointed{}}, map[string]bool{}
	for _, r := range records {
		if bytes.Contains(r.Data, []byte(`"attachments"`)) { // few have any
			doc.Files = append(doc.Files, f.pointed(r.Data, seen)...)
		}
	}
	return doc, 0, nil
}

// fileFault says what is wrong with a file.
func fileFault(err error) error {
	var file *attach.FileError
	switch {
	case !errors.As(err, &file):
		return err
	case errors.Is(err, attach.ErrDamaged):
		return &serve.Fault{Exit: 1, Text: words.Say("attach.damaged", "hash", file.SHA256, "file", file.Path)}
	}
	return &serve.Fault{Exit: 1, Text: words.Say("attach.missing", "hash", file.SHA256)}
}

// Pointed is a file that a record points to, and whether it is there.
type Pointed struct {
	events.Attachment
	State string `json:"state"` // present, missing, damaged
}

// pointed looks for the files that some data point to, each once.
func (f *farm) pointed(data events.Raw, seen map[string]bool) (out []Pointed) {
	v, err := canon.Parse(data)
	if err != nil {
		return nil
	}
	for _, item := range v.Get("attachments").Items {
		a := events.Attachment{SHA256: item.Get("sha256").Str, Name: item.Get("name").Str, MediaType: item.Get("mediaType").Str}
		if seen[a.SHA256] {
			continue
		}
		seen[a.SHA256] = true
		state := "present"
		switch err := f.files.Check(a.SHA256); {
		case errors.Is(err, attach.ErrDamaged):
			state = "damaged"
		case err != nil:
			state = "missing"
		}
		out = append(out, Pointed{a, state})
	}
	return out
}

// addFiles says of a record which files it points to, and flags those that are not there as they should be. Nothing is refused
// for a file: the record may have come before it.
func (f *farm) addFiles(doc *Shown) {
	seen := map[string]bool{}
	for _, v := range doc.Versions {
		for _, p := range f.pointed(v.Data, seen) {
			doc.Attachments = append(doc.Attachments, p)
			if p.State != "present" {
				doc.Flags = append(doc.Flags, Flagged{ID: v.ID, Flag: "attachment-" + p.State, Why: words.Say("attach.flag-"+p.State, "name", p.Name, "hash", p.SHA256)})
			}
		}
	}
}
