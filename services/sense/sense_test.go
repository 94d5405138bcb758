package sense

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"go.uber.org/goleak"
	"pgregory.net/rapid"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

func TestTaken(t *testing.T) {
	t.Parallel()
	w := newWorld(t, "hollow", "ridge")
	w.sends("wx/hollow/air", air(start, "21.5"))
	w.sends("wx/ridge", `[{"n":"temp","u":"Cel","v":19},{"n":"battery","u":"V","v":3.1},{"n":"temp","t":-60,"u":"Cel","v":18}]`)
	w.wantRecords(
		cel("hollow", start, "21.5"),
		cel("ridge", start.Add(3*time.Second-time.Minute), "18"),
		cel("ridge", start.Add(3*time.Second), "19"),
	)
	w.wantRefused()
	if got := w.s.Counts(); got != (Counts{Messages: 2, Recorded: 3}) {
		t.Errorf("counts: got %+v", got)
	}
	left := w.s.LeftOut()
	if len(left) != 1 || left[0].Name != "battery" || left[0].Station != "ridge" || left[0].Times != 1 {
		t.Errorf("left out: got %+v", left)
	}
	if w.raw.done != 2 {
		t.Errorf("done up to %d, want 2", w.raw.done)
	}
}

// Messages of one moment become one reading, whatever their topics; those of another do not. What contradicts it is recorded
// beside it, and the folds flag the two.
func TestOneReadingAMoment(t *testing.T) {
	t.Parallel()
	w := newWorld(t, "hollow")
	w.raw.send("wx/hollow/temp", air(start, "21.5"))
	w.raw.send("wx/hollow/humidity", pack(start, "humidity", "%RH", "60"))
	w.raw.send("wx/hollow/temp2", air(start, "22"))
	w.raw.tick(time.Second)
	w.raw.send("wx/hollow/wind", pack(start, "windSpeed", "m/s", "3"))
	w.raw.send("wx/hollow/temp", air(start.Add(time.Second), "21.6"))
	w.mustSettle()
	w.wantRecords(
		`mqtt-hollow 2026-01-15T22:00:00Z {"airTemperature":{"unit":"Cel","value":21.5},"relativeHumidity":{"unit":"%","value":60},"windSpeed":{"unit":"m/s","value":3}}`,
		cel("hollow", start, "22"),
		cel("hollow", start.Add(time.Second), "21.6"),
	)
	// Each of them once more, alone and all of them: nothing new.
	for range 2 {
		for _, m := range w.raw.messages[:5] {
			w.sends(m.Topic, string(m.Body))
		}
	}
	w.open()
	for _, m := range w.raw.messages[:5] {
		w.sends(m.Topic, string(m.Body))
	}
	if got := w.book.all(); len(got) != 3 {
		t.Errorf("repeats were recorded: %q", got)
	}
	w.wantRefused()
}

func TestRefused(t *testing.T) {
	t.Parallel()
	w := newWorld(t, "hollow")
	w.sends("wx/hollow/air", "21.5")
	w.sends("wx/hollow/air", "21.5") // the same once more is listed once
	w.sends("wx/Hollow/air", air(start, "1"))
	w.sends("wx/hollow", `[{"n":"battery","u":"V","v":3.1}]`)
	w.sends("wx/hollow", `[{"n":"humidity","u":"%RH","v":200}]`) // the door has something against it
	w.sends("wx/strange", air(start, "1"))
	w.sends("wx/hollow", "["+strings.Repeat(" ", mostBody)+"]")
	w.wantRecords()
	w.wantRefused("2 form x2", "3 form", "4 form", "5 record", "6 record", "7 form")
	w.open() // the list outlives the process
	w.wantRefused("2 form x2", "3 form", "4 form", "5 record", "6 record", "7 form")
	if w.raw.done != 7 {
		t.Errorf("done up to %d, want 7", w.raw.done)
	}
	// The station is sited now.
	w.book.sited = append(w.book.sited, "strange")
	got, err := w.s.Retake(t.Context(), 6, 0)
	if err != nil || got != (Retaken{Recorded: 1}) {
		t.Errorf("retake: got %+v, %v", got, err)
	}
	w.wantRecords(cel("strange", start, "1"))
	w.wantRefused("2 form x2", "3 form", "4 form", "5 record", "7 form")
	if got, err := w.s.Retake(t.Context(), 6, 0); err != nil || got != (Retaken{Known: 1}) {
		t.Errorf("retake once more: got %+v, %v", got, err)
	}
	for _, seq := range []uint64{1, 3, 4, 5, 7} {
		if got, err := w.s.Retake(t.Context(), seq, 0); err != nil || got.Why == "" || got.Recorded > 0 {
			t.Errorf("retake %d: got %+v, %v, want it refused", seq, got, err)
		}
	}
	if _, err := w.s.Retake(t.Context(), 99, 0); !errors.Is(err, ErrGone) {
		t.Errorf("retake what is not there: got %v", err)
	}
	if ok, err := w.s.Dismiss(2); err != nil || !ok {
		t.Errorf("dismiss: %v, %v", ok, err)
	}
	if ok, err := w.s.Dismiss(2); err != nil || ok {
		t.Errorf("dismiss again: %v, %v", ok, err)
	}
	w.wantRefused("3 form", "4 form", "5 record", "7 form")
	// The raw stream drops its oldest messages; what cannot be looked at any more is not listed.
	w.raw.first = 5
	w.open()
	if got := w.s.Refused(); len(got) != 2 {
		t.Errorf("after the stream dropped four: got %+v", got)
	}
}

// Facts on weather, 6.3: a time in the future by more than five minutes, 1970 and 2000, a jump backwards, a lag that stays
// the same. The moments are invented.
func TestClocks(t *testing.T) {
	t.Parallel()
	type sent struct {
		at   time.Duration // when it comes in, from the start
		time time.Time
		want string // "": taken; else the kind and the key's last word
	}
	lag := func(at, by time.Duration) sent { return sent{at, start.Add(at - by), ""} }
	refused := func(s sent, why string) sent { s.want = why; return s }
	for name, tt := range map[string][]sent{
		"four minutes ahead":  {lag(0, -4*time.Minute)},
		"six minutes ahead":   {refused(lag(0, -6*time.Minute), "ahead of this")},
		"the year 2000":       {{0, time.Date(2000, 1, 1, 0, 3, 0, 0, time.UTC), "battery"}},
		"a day of 1980":       {{0, time.Date(1980, 1, 6, 0, 0, 0, 0, time.UTC), "battery"}},
		"summer time ends":    {lag(0, 0), lag(5*time.Minute, 0), refused(lag(10*time.Minute, time.Hour), "lies behind"), refused(lag(15*time.Minute, time.Hour), "lies behind")},
		"and has passed":      {lag(0, 0), refused(lag(40*time.Minute, time.Hour), ""), refused(lag(45*time.Minute, time.Hour), "always by the same")},
		"an hour slow":        {lag(0, time.Hour), refused(lag(5*time.Minute, time.Hour+10*time.Second), "always by the same"), refused(lag(10*time.Minute, time.Hour), "always by the same"), lag(20*time.Minute, 0)},
		"five minutes slow":   {lag(0, 5*time.Minute), lag(5*time.Minute, 5*time.Minute), lag(10*time.Minute, 5*time.Minute)},
		"late, in order":      {lag(0, 0), lag(2*time.Hour, 115*time.Minute), lag(2*time.Hour, 110*time.Minute), lag(2*time.Hour+time.Second, 105*time.Minute), lag(2*time.Hour+2*time.Second, time.Minute)},
		"late, every 10 s":    {lag(0, 0), lag(2*time.Hour, 60*time.Minute), lag(2*time.Hour+time.Second, 60*time.Minute-9*time.Second), lag(2*time.Hour+2*time.Second, 60*time.Minute-18*time.Second), lag(2*time.Hour+3*time.Second, 59*time.Minute)},
		"a little late":       {lag(0, 0), lag(time.Minute, 25*time.Minute)},
		"much too late":       {lag(0, 0), refused(lag(time.Minute, 35*time.Minute), "lies behind")},
		"an unknown one, old": {refused(lag(0, 40*24*time.Hour), "nothing was heard")},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			w := newWorld(t, "hollow")
			for i, m := range tt {
				w.raw.now = start.Add(m.at)
				w.raw.send("wx/hollow", air(m.time, fmt.Sprint(i)))
				if err := w.settle(); err != nil {
					t.Fatal(err)
				}
				list := w.s.Refused()
				why := ""
				for _, r := range list {
					if r.Seq == uint64(i+1) {
						why = r.Kind + ": " + r.Why
					}
				}
				if m.want == "" && why != "" || m.want != "" && (!strings.HasPrefix(why, "clock: ") || !strings.Contains(why, m.want)) {
					t.Errorf("message %d: refused because of %q, want %q", i, why, m.want)
				}
			}
		})
	}
}

// A station's clock was an hour slow, and a person has found out; another time it was ours.
func TestRetakeAfterTheClockWasCorrected(t *testing.T) {
	t.Parallel()
	w := newWorld(t, "hollow")
	w.sends("wx/hollow", air(start, "20"))
	w.raw.now = start.Add(10 * time.Minute)
	slow := w.sends("wx/hollow", air(start.Add(-50*time.Minute), "21"))
	w.raw.now = start.Add(-24 * time.Hour) // our clock has lost a day
	ahead := w.sends("wx/hollow", air(start.Add(20*time.Minute), "22"))
	reset := w.sends("wx/hollow", air(time.Date(2000, 1, 1, 0, 1, 0, 0, time.UTC), "23"))
	w.wantRefused("2 clock", "3 clock", "4 clock")

	if got, err := w.s.Retake(t.Context(), ahead, 0); err != nil || !strings.Contains(got.Why, "ahead") {
		t.Errorf("while our clock is wrong: got %+v, %v", got, err)
	}
	w.raw.now = start.Add(time.Hour)
	if got, err := w.s.Retake(t.Context(), ahead, 0); err != nil || got.Recorded != 1 {
		t.Errorf("ours is right again: got %+v, %v", got, err)
	}
	if got, err := w.s.Retake(t.Context(), slow, 2*time.Hour); err != nil || !strings.Contains(got.Why, "ahead") {
		t.Errorf("moved too far: got %+v, %v", got, err)
	}
	if got, err := w.s.Retake(t.Context(), slow, time.Hour); err != nil || got.Recorded != 1 {
		t.Errorf("moved by an hour: got %+v, %v", got, err)
	}
	if got, err := w.s.Retake(t.Context(), reset, 0); err != nil || !strings.Contains(got.Why, "battery") {
		t.Errorf("of the year 2000: got %+v, %v", got, err)
	}
	w.wantRefused("4 clock")
	w.wantRecords(
		cel("hollow", start, "20"),
		cel("hollow", start.Add(20*time.Minute), "22"),
		`mqtt-hollow 2026-01-15T22:10:00Z {"airTemperature":{"unit":"Cel","value":21},"note":"time moved forward by 1h0m0s: the station's clock was slow"}`,
	)
}

// What a station gathered while it could not send is taken in as it is, and counted as late.
func TestLate(t *testing.T) {
	t.Parallel()
	w := newWorld(t, "hollow")
	w.s.c.Rules.Late = time.Hour
	w.sends("wx/hollow", air(start, "20"))
	w.raw.now = start.Add(5 * time.Hour)
	w.sends("wx/hollow", fmt.Sprintf(`[{"bt":%d,"n":"temp","u":"Cel","v":21},{"n":"temp","u":"Cel","t":7200,"v":22},{"n":"temp","u":"Cel","t":17000,"v":23}]`, start.Add(10*time.Minute).Unix()))
	w.wantRefused()
	if got := w.s.Counts(); got != (Counts{Messages: 2, Recorded: 4, Late: 2, MostLate: int64((4*time.Hour + 50*time.Minute) / time.Second)}) {
		t.Errorf("counts: got %+v", got)
	}
	if got := (Rules{Late: time.Hour}).late(time.Hour); got != 0 {
		t.Errorf("an hour to the second is late by %v", got)
	}
}

// Whatever it sends, a sensor makes no more readings of an hour than the rules let it, and none of other hours.
func TestFlood(t *testing.T) {
	t.Parallel()
	w := newWorld(t, "hollow")
	w.s.c.Rules.PerHour = 50
	for i := range 3000 {
		at := start.Add(-time.Duration(i%40) * time.Minute).Add(time.Duration(i) * time.Millisecond)
		w.raw.send("wx/hollow", air(at, fmt.Sprint(i)))
		w.raw.send(fmt.Sprintf("wx/other-%d/x", i), air(at, "1"))
	}
	w.mustSettle()
	hours := map[string]int{}
	for _, r := range w.book.all() {
		hours[r[len("mqtt-hollow "):][:13]]++
	}
	for hour, n := range hours {
		if n > 50 {
			t.Errorf("%s: %d readings", hour, n)
		}
	}
	if len(hours) > 2 {
		t.Errorf("readings of %d hours: %v", len(hours), hours)
	}
	if got := w.s.Refused(); len(got) > mostListed {
		t.Errorf("%d are listed", len(got))
	}
	if len(w.s.minds) > mostMinds+2*mostTogether {
		t.Errorf("%d stations are kept in mind", len(w.s.minds))
	}
	// One who floods does not drive others off the list.
	w.raw.send("wx/ridge", "no senml")
	w.book.sited = append(w.book.sited, "ridge")
	w.sends("wx/ridge", air(w.raw.clock(), "20"))
	for i := range 2 * mostListed {
		w.raw.send("wx/hollow", fmt.Sprint("junk ", i))
	}
	w.mustSettle()
	n := 0
	for _, r := range w.s.Refused() {
		if r.Station == "ridge" {
			n++
		}
	}
	if n != 1 {
		t.Errorf("the other station's refused message is listed %d times, want once", n)
	}
}

// A crash anywhere leads to the same records. The recorder fails, the process is opened anew, messages come again.
func TestSameRecordsAfterAnything(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		w, calm := &world{t: t, raw: newStream(), book: newBook("hollow", "ridge")}, &world{t: t, raw: newStream(), book: newBook("hollow", "ridge")}
		w.open()
		calm.open()
		for range rapid.IntRange(1, 25).Draw(rt, "steps") {
			station := rapid.SampledFrom([]string{"hollow", "ridge"}).Draw(rt, "station")
			name := rapid.SampledFrom([]string{"temperature", "soilTemp"}).Draw(rt, "name")
			at := start.Add(time.Duration(rapid.IntRange(0, 20).Draw(rt, "at")) * time.Second)
			for _, x := range []*world{w, calm} {
				x.raw.send("wx/"+station, pack(at, name, "Cel", "20"))
			}
			pause := time.Duration(rapid.SampledFrom([]int{0, 0, 500, 3000}).Draw(rt, "pause")) * time.Millisecond
			w.raw.tick(pause)
			calm.raw.tick(pause)
			switch rapid.IntRange(0, 6).Draw(rt, "trouble") {
			case 0:
				w.book.fail = errors.New("the ledger is away")
				_ = w.s.round(t.Context(), &w.left)
				_ = w.s.round(t.Context(), &w.left)
				w.book.fail = nil
			case 1:
				_ = w.s.round(t.Context(), &w.left)
				w.open() // what was read and not done comes again
			case 2:
				_ = w.s.round(t.Context(), &w.left)
			}
		}
		if err := errors.Join(w.settle(), calm.settle()); err != nil {
			rt.Fatal(err)
		}
		if got, want := fmt.Sprint(w.book.all()), fmt.Sprint(calm.book.all()); got != want {
			rt.Fatalf("recorded\n%s\nwant\n%s", strings.ReplaceAll(got, "} mqtt", "}\nmqtt"), strings.ReplaceAll(want, "} mqtt", "}\nmqtt"))
		}
	})
}

func TestRecorderAway(t *testing.T) {
	t.Parallel()
	w := newWorld(t, "hollow")
	w.s.c.Rules.PerHour = 3
	w.raw.send("wx/hollow", air(start, "20"))
	w.raw.send("wx/hollow", "junk")
	w.book.fail = errors.New("the disk is full")
	for range 10 {
		if err := w.settle(); err == nil {
			t.Fatal("no error although the recorder is away")
		}
	}
	w.raw.send("wx/hollow", air(start.Add(time.Second), "21"))
	if w.raw.done != 0 || w.s.Counts() != (Counts{}) {
		t.Errorf("done up to %d, counts %+v, want nothing done", w.raw.done, w.s.Counts())
	}
	w.book.fail = nil
	w.raw.fail = errors.New("the broker is away")
	for range 3 {
		if err := w.settle(); err == nil {
			t.Fatal("no error although nothing can be said to be done")
		}
	}
	w.raw.fail = nil
	w.mustSettle()
	w.wantRecords(cel("hollow", start, "20"), cel("hollow", start.Add(time.Second), "21"))
	w.wantRefused("2 form")
	if got := w.s.Counts(); got != (Counts{Messages: 3, Recorded: 2, Refused: 1}) {
		t.Errorf("counts: got %+v", got)
	}
}

func TestLostMessagesAreCounted(t *testing.T) {
	t.Parallel()
	w := newWorld(t, "hollow")
	w.sends("wx/hollow", air(start, "20"))
	for i := range 10 {
		w.raw.send("wx/hollow", air(start.Add(time.Duration(i+1)*time.Second), "20"))
	}
	w.raw.first = 9 // the stream dropped 2 to 8 before they were read
	w.mustSettle()
	if got := w.s.Counts(); got.Lost != 7 || got.Recorded != 4 {
		t.Errorf("counts: got %+v, want 7 lost", got)
	}
}

// A flood drives refused messages out of the raw stream or off the list; the count of them stays until somebody clears it, also
// over a stop.
func TestUnseenIsTold(t *testing.T) {
	t.Parallel()
	w := newWorld(t, "hollow", "ridge")
	w.sends("wx/hollow", air(start, "20"))
	for i := range 3 {
		w.sends("wx/hollow", fmt.Sprint("junk ", i))
	}
	w.raw.first = 4 // the stream let go of two of them
	w.sends("wx/ridge", "more junk")
	if got := w.s.Unseen(); got != 2 {
		t.Errorf("unseen: got %d, want 2", got)
	}
	for i := range mostListed {
		w.raw.send("wx/nobody", fmt.Sprint("flood ", i))
	}
	w.mustSettle()
	if got := w.s.Unseen(); got != 4 { // two places of the list were taken
		t.Errorf("unseen after a flood: got %d, want 4", got)
	}
	w.open()
	if _, unseen, err := Listed(w.file); unseen != 4 || err != nil || w.s.Unseen() != 4 {
		t.Errorf("unseen after a start: %d on the disk, %d told, %v; want 4", unseen, w.s.Unseen(), err)
	}
	if n, err := w.s.Clear("hollow"); n != 1 || err != nil || w.s.Unseen() != 4 {
		t.Errorf("cleared of hollow: %d, %v, unseen %d; want 1, 4", n, err, w.s.Unseen())
	}
	if n, err := w.s.Clear(""); n != mostListed-1 || err != nil || w.s.Unseen() != 0 || len(w.s.Refused()) != 0 {
		t.Errorf("cleared: %d, %v, unseen %d, left %d", n, err, w.s.Unseen(), len(w.s.Refused()))
	}
	if refused, unseen, err := Listed(w.file); len(refused)+unseen != 0 || err != nil {
		t.Errorf("on the disk afterwards: %d, %d, %v", len(refused), unseen, err)
	}
}

func TestUsers(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	write := func(name, text string, mode os.FileMode) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if err := os.Chmod(path, mode); err != nil {
			t.Fatal(err)
		}
		return path
	}
	got, err := Users(write("good", "\ufeff# stations\n\nhollow: a b:c\nridge:$2a$04$hash\n", 0o600))
	if err != nil || len(got) != 2 || got["hollow"] != "a b:c" || got["ridge"] != "$2a$04$hash" {
		t.Errorf("got %q, %v", got, err)
	}
	for name, tt := range map[string]struct {
		file, want string
	}{
		"no colon":    {write("colon", "hollow secret\n", 0o600), "line 1"},
		"no password": {write("password", "# a\nhollow:\n", 0o600), "line 2"},
		"twice":       {write("twice", "a: x\na: y\n", 0o600), "twice"},
		"empty":       {write("empty", "# nothing\n", 0o600), "no logins"},
		"absent":      {filepath.Join(dir, "absent"), "there is no file"},
	} {
		if _, err := Users(tt.file); err == nil || !strings.Contains(err.Error(), tt.want) || strings.Contains(err.Error(), "secret") {
			t.Errorf("%s: got %v, want %q", name, err, tt.want)
		}
	}
	if runtime.GOOS == "windows" {
		return
	}
	for _, mode := range []os.FileMode{0o604, 0o640, 0o660, 0o666} {
		if _, err := Users(write("open", "hollow: secret\n", mode)); err == nil || !strings.Contains(err.Error(), "chmod 600") {
			t.Errorf("mode %o: got %v, want it refused", mode, err)
		}
	}
}

// FuzzJudge gives arbitrary messages to the judge: each becomes readings that go through the door or are refused in words, a
// repeat, or a refusal in words.
func FuzzJudge(f *testing.F) {
	f.Add("wx/hollow/air", []byte(air(start, "21.5")), []byte(pack(start, "humidity", "%RH", "60")))
	f.Add("wx/hollow", []byte(`[{"n":"temp","u":"Cel","v":1,"t":-60},{"n":"temp","u":"Cel","v":2}]`), []byte("junk"))
	f.Add("wx//hollow", []byte(`[{"n":"temp","t":1e9,"u":"Cel","v":1}]`), []byte(`[]`))
	f.Fuzz(func(t *testing.T, topic string, one, two []byte) {
		raw, book := newStream(), newBook("hollow")
		s, err := Open(t.Context(), Config{Source: raw, Recorder: book, Now: raw.clock})
		if err != nil {
			t.Fatal(err)
		}
		raw.send(topic, string(one))
		raw.send("wx/hollow", string(two))
		raw.send(topic, string(one))
		raw.tick(3 * time.Second)
		var left []Message
		for range 4 {
			if err := s.round(t.Context(), &left); err != nil {
				t.Fatal(err)
			}
		}
		if raw.done != 3 || s.Counts().Messages != 3 {
			t.Fatalf("done up to %d, counts %+v", raw.done, s.Counts())
		}
		for _, r := range s.Refused() {
			if r.Why == "" || strings.Contains(r.Why+r.Instead, "⟦") || !utf8.ValidString(r.Topic+r.Why) {
				t.Fatalf("no words: %+v", r)
			}
		}
	})
}
