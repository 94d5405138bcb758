package serve

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"

	"latewood/events"
)

// A Client reaches a process that has a folder open.
type Client struct {
	Base  string // http://127.0.0.1:PORT
	Token string
}

// maxLine is the longest line of an answer. Reports over a large farm are long.
const maxLine = 1 << 30

// Call sends a request and the file, if there is one, and returns the document as JSON.
func (c *Client) Call(ctx context.Context, name string, request any, file File, progress func([]byte)) (document []byte, exit int, err error) {
	body, err := events.WriteJSON(request)
	if err != nil {
		return nil, 1, err
	}
	pr, pw := io.Pipe()
	form := multipart.NewWriter(pw)
	go func() {
		pw.CloseWithError(writeForm(form, body, file))
	}()
	defer pr.Close()
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, c.Base+"/v1/"+name, pr)
	if err != nil {
		return nil, 1, err
	}
	req.Header.Set("Content-Type", form.FormDataContentType())
	req.Header.Set("Authorization", "Bearer "+c.Token)
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		return nil, 1, fmt.Errorf("serve: %w", err)
	}
	defer resp.Body.Close()
	if resp.StatusCode != http.StatusOK {
		why, _ := io.ReadAll(io.LimitReader(resp.Body, 1<<12))
		return nil, 1, fmt.Errorf("serve: %s: %s", resp.Status, why)
	}
	scan := bufio.NewScanner(resp.Body)
	scan.Buffer(make([]byte, 1<<16), maxLine)
	for scan.Scan() {
		var r struct {
			Progress events.Raw `json:"progress"`
			Document events.Raw `json:"document"`
			Error    string     `json:"error"`
			Exit     *int       `json:"exit"`
		}
		if err := events.ReadJSON(scan.Bytes(), &r); err != nil {
			return nil, 1, err
		}
		switch {
		case r.Exit == nil:
			if progress != nil {
				progress(r.Progress)
			}
		case r.Error != "":
			return r.Document, *r.Exit, &Fault{Exit: *r.Exit, Text: r.Error}
		default:
			return r.Document, *r.Exit, nil
		}
	}
	if err := scan.Err(); err != nil {
		return nil, 1, fmt.Errorf("serve: %w", err)
	}
	return nil, 1, errors.New("serve: the answer ends early: the other process has stopped")
}

func writeForm(form *multipart.Writer, body []byte, file File) error {
	w, err := form.CreateFormField("request")
	if err != nil {
		return err
	}
	if _, err := w.Write(body); err != nil {
		return err
	}
	if file != nil {
		w, err := form.CreateFormFile("file", file.Name())
		if err != nil {
			return err
		}
		if _, err := io.Copy(w, file); err != nil {
			return err
		}
	}
	return form.Close()
}
