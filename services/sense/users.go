package sense

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"runtime"
	"strings"

	"latewood/events/words"
)

// mostUsers is the longest file of users, in bytes.
const mostUsers = 1 << 20

// Users reads the file with the sensors' logins: a line for each, NAME: PASSWORD, the password plain or as a bcrypt hash
// ($2a$...). Empty lines and lines that begin with # say nothing. The error is a sentence for people: the file cannot be
// read, or by too many, or a line of it is wrong. A password is never in it.
func Users(file string) (map[string]string, error) {
	info, err := os.Stat(file)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, errors.New(words.Say("sense.users-absent", "file", file))
	case err != nil:
		return nil, fmt.Errorf("%s: %w", words.Say("sense.users-none", "file", file), err)
	}
	if runtime.GOOS != "windows" && info.Mode().Perm()&0o077 != 0 { // Windows has no such bits
		return nil, errors.New(words.Say("sense.users-open", "file", file, "mode", fmt.Sprintf("%04o", info.Mode().Perm())))
	}
	if info.Size() > mostUsers {
		return nil, errors.New(words.Say("sense.users-large", "file", file))
	}
	b, err := os.ReadFile(file)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", words.Say("sense.users-none", "file", file), err)
	}
	out := map[string]string{}
	n := 0
	for line := range strings.Lines(string(b)) {
		n++
		line = strings.TrimSpace(strings.TrimPrefix(line, "\ufeff"))
		if line == "" || line[0] == '#' {
			continue
		}
		name, password, ok := strings.Cut(line, ":")
		name, password = strings.TrimSpace(name), strings.TrimSpace(password)
		switch {
		case !ok || name == "" || password == "" || strings.ContainsAny(name, " \t"):
			return nil, errors.New(words.Say("sense.users-line", "file", file, "line", n))
		case out[name] != "":
			return nil, errors.New(words.Say("sense.users-twice", "file", file, "line", n, "name", name))
		}
		out[name] = password
	}
	if len(out) == 0 {
		return nil, errors.New(words.Say("sense.users-empty", "file", file))
	}
	return out, nil
}
