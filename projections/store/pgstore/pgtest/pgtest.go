// Package pgtest runs PostgreSQL for tests: a cluster of one's own on a free port of this machine, as a user without
// rights also where the tests run as root.
package pgtest

import (
	"fmt"
	"net"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"
)

// A Cluster is a running PostgreSQL.
type Cluster struct {
	t    testing.TB
	bin  string
	dir  string
	port int
	user string // that it runs as, where that is another than ours
}

// Start makes a cluster and stops it when the test ends.
func Start(t testing.TB) *Cluster {
	t.Helper()
	bins, err := filepath.Glob("/usr/lib/postgresql/*/bin/initdb")
	if err != nil || len(bins) == 0 {
		t.Fatalf("pgtest: no PostgreSQL here; install the package postgresql (%v)", err)
	}
	root, err := os.MkdirTemp("", "latewood-pg-") // not t.TempDir: its parents may be closed to the other user
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = os.RemoveAll(root) })
	c := &Cluster{t: t, bin: filepath.Dir(bins[len(bins)-1]), dir: filepath.Join(root, "data")}
	if err := os.Chmod(root, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(c.dir, 0o700); err != nil {
		t.Fatal(err)
	}
	if os.Getuid() == 0 {
		u, err := user.Lookup("postgres")
		if err != nil {
			t.Fatal(err)
		}
		uid, _ := strconv.Atoi(u.Uid)
		gid, _ := strconv.Atoi(u.Gid)
		if err := os.Chown(c.dir, uid, gid); err != nil {
			t.Fatal(err)
		}
		c.user = u.Username
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	c.port = l.Addr().(*net.TCPAddr).Port
	_ = l.Close()
	if out, err := c.command("initdb", "-D", c.dir, "-U", "owner", "-A", "trust", "-E", "UTF8", "--locale=C", "-N"); err != nil {
		t.Fatalf("pgtest: initdb: %v\n%s", err, out)
	}
	c.Up()
	t.Cleanup(func() { _, _ = c.command("pg_ctl", "-D", c.dir, "-m", "immediate", "-w", "stop") })
	return c
}

// URL is where the cluster is reached, as its owner.
func (c *Cluster) URL() string {
	return fmt.Sprintf("postgres://owner@127.0.0.1:%d/postgres?sslmode=disable", c.port)
}

// As is URL for another user of the database.
func (c *Cluster) As(name string) string { return strings.Replace(c.URL(), "owner@", name+"@", 1) }

// Kill ends the server as a loss of power would: nothing is written down.
func (c *Cluster) Kill() {
	c.t.Helper()
	b, err := os.ReadFile(filepath.Join(c.dir, "postmaster.pid"))
	if err != nil {
		c.t.Fatal(err)
	}
	pid, err := strconv.Atoi(strings.TrimSpace(strings.SplitN(string(b), "\n", 2)[0]))
	if err != nil {
		c.t.Fatal(err)
	}
	p, err := os.FindProcess(pid)
	if err != nil {
		c.t.Fatal(err)
	}
	if err := p.Kill(); err != nil {
		c.t.Fatal(err)
	}
}

// Up starts the server, also after a Kill, and returns once it answers.
func (c *Cluster) Up() {
	c.t.Helper()
	var out string
	var err error
	for range 100 { // the children of a server that was killed take a moment to end
		options := fmt.Sprintf("-p %d -c listen_addresses=127.0.0.1 -c unix_socket_directories=''", c.port)
		out, err = c.command("pg_ctl", "-D", c.dir, "-w", "-t", "60", "-l", filepath.Join(c.dir, "log"), "-o", options, "start")
		if err == nil {
			return
		}
		time.Sleep(100 * time.Millisecond) // another process starts; there is nothing here to wait on
	}
	c.t.Fatalf("pgtest: start: %v\n%s", err, out)
}

// SQL runs a file of SQL through psql and returns what it says.
func (c *Cluster) SQL(file string) (string, error) {
	out, err := exec.Command(filepath.Join(c.bin, "psql"), "-X", "-v", "ON_ERROR_STOP=1", "-At", "-f", file, c.URL()).CombinedOutput()
	return string(out), err
}

func (c *Cluster) command(name string, args ...string) (string, error) {
	cmd := exec.Command(filepath.Join(c.bin, name), args...)
	if c.user != "" {
		cmd = exec.Command("runuser", append([]string{"-u", c.user, "--", filepath.Join(c.bin, name)}, args...)...)
	}
	cmd.Dir = "/"
	if runtime.GOOS == "windows" {
		cmd.Dir = ""
	}
	// A file and no pipe: the server would keep a pipe open behind pg_ctl, and we would wait for it.
	f, err := os.CreateTemp("", "latewood-pg-out-")
	if err != nil {
		return "", err
	}
	defer os.Remove(f.Name())
	defer f.Close()
	cmd.Stdout, cmd.Stderr = f, f
	err = cmd.Run()
	out, _ := os.ReadFile(f.Name())
	return string(out), err
}
