package record

import (
	"context"
	"errors"
	"sync/atomic"
	"time"

	"latewood/events"
	"latewood/events/ledger"
	"latewood/projections"
)

// Knowledge is what the recorder asks the folds.
type Knowledge interface {
	// Wait returns when the folds have taken in the record at a place, or with an error when they never will.
	Wait(ctx context.Context, place uint64) error
	// Said lists what was said about a record: its corrections and withdrawals, in any order.
	Said(id events.ID) []Version
}

// A Version is a correction or withdrawal of a record.
type Version = projections.Saying

// An Index finds the place of every id that was ever recorded.
type Index interface {
	Lookup(id [16]byte) (place uint64, ok bool, err error)
	Add(id [16]byte, place uint64) error
}

// Config is what a Recorder is made of. All of it must be there.
type Config struct {
	Farm  string // code
	Log   ledger.Log
	Index Index // of every record of the Log
	Folds Knowledge
	State *State           // of the whole Log; it belongs to the committer from New on
	Zone  *time.Location   // the farm's; UTC until farm.opened is recorded
	Now   func() time.Time // the recorder's clock; called by several goroutines
}

// A Recorder is the one writer of a farm's ledger. Its methods may be called by several goroutines; Run is the committer.
type Recorder struct {
	c     Config
	door  atomic.Pointer[events.Door]
	queue chan *job
	done  chan struct{}
	err   error // why the committer stopped; read after done is closed
	head  atomic.Pointer[Head]
	// doubts are appends whose outcome was unknown. All were sent behind the ledger's last place as the committer knows it.
	doubts []*attempt
}

// ErrStopped says that the recorder takes nothing any more, because the program is stopping. Nothing of the call that gets
// it was recorded.
var ErrStopped = errors.New("record: the recorder has stopped")

// ErrFenced says that another writer has appended to the ledger. This recorder stops for good.
var ErrFenced = errors.New("record: another process writes to this ledger")

// New makes a recorder. The caller runs Run.
func New(c Config) *Recorder {
	r := &Recorder{c: c, queue: make(chan *job, 64), done: make(chan struct{})}
	r.SetZone(c.Zone)
	r.showHead()
	return r
}

// A Head is the end of the ledger as the committer last left it.
type Head struct {
	Size   uint64
	Root   ledger.Hash
	Origin string
}

// Head may be called by anyone at any time; the State that the recorder was made with belongs to the committer.
func (r *Recorder) Head() Head { return *r.head.Load() }

func (r *Recorder) showHead() {
	s := r.c.State
	r.head.Store(&Head{Size: s.Size(), Root: s.Root(), Origin: s.Origin(r.c.Farm)})
}

// SetZone changes the zone in which times without offset are read, for what is prepared from now on. Once farm.opened is
// recorded, or corrected, the recorder sees to that itself; before it, callers who know better say so here.
func (r *Recorder) SetZone(zone *time.Location) {
	r.door.Store(&events.Door{Catalogue: events.Standard(), Farm: r.c.Farm, Zone: zone})
}

// job is one call's work for the committer.
type job struct {
	ctx      context.Context
	items    []*item
	dry      *Trial // not nil: check only
	receipts []Receipt
	err      error
	ready    chan struct{}
	state    atomic.Int32 // waiting until either the committer takes it or its caller leaves
}

const (
	waiting int32 = iota
	taken
	left
)

// finish answers a job, once.
func (j *job) finish() {
	select {
	case <-j.ready:
	default:
		close(j.ready)
	}
}

// Run commits until ctx ends (nil) or the recorder cannot go on: the ledger has another writer, or is not as the recorder
// knows it. What was taken up is finished first; what still waits is answered with ErrStopped. Run is called once.
func (r *Recorder) Run(ctx context.Context) error {
	defer close(r.done)
	for {
		if ctx.Err() != nil { // looked at alone first: a full queue must not keep it from ending
			r.err = ErrStopped
			return nil
		}
		select {
		case <-ctx.Done():
		case j := <-r.queue:
			for _, group := range grouped(r.gather(j)) {
				if err := r.commit(group); err != nil {
					r.err = err
					return err
				}
			}
		}
	}
}

// gather takes what else waits along with a job, and leaves out the jobs whose callers have left.
func (r *Recorder) gather(j *job) []*job {
	var jobs []*job
	n := 0
	take := func(j *job) {
		if j.state.CompareAndSwap(waiting, taken) {
			jobs = append(jobs, j)
			n += len(j.items)
		}
	}
	take(j)
	for n < ledger.MaxBatch {
		select {
		case more := <-r.queue:
			take(more)
			continue
		default:
		}
		break
	}
	return jobs
}

// grouped keeps jobs together that can be appended together, and dry runs apart.
func grouped(jobs []*job) [][]*job {
	var out [][]*job
	for _, j := range jobs {
		if n := len(out); n > 0 && j.dry == nil && out[n-1][0].dry == nil {
			out[n-1] = append(out[n-1], j)
		} else {
			out = append(out, []*job{j})
		}
	}
	return out
}

// Record takes proposals in and answers each, in their order. It returns an error only where it cannot say what became of
// all of them; those that brought their ids (or are rows) may then be sent again. If ctx ends while the call waits for its
// turn, its error is returned and nothing was recorded; once it is under way, ctx is not looked at any more.
func (r *Recorder) Record(ctx context.Context, proposals []Proposal) ([]Receipt, error) {
	p, err := r.Prepare(proposals)
	if err != nil {
		return nil, err
	}
	return r.Commit(ctx, p)
}

// A Trial is a dry run over several calls of Check: what was let through counts as recorded for what follows. It is for
// one goroutine and one Recorder.
type Trial struct{ on *run }

// NewTrial begins a dry run.
func NewTrial() *Trial { return &Trial{} }

// Check does everything that Record does but appends nothing. Receipts have no places, but for records that stand already.
func (r *Recorder) Check(ctx context.Context, trial *Trial, proposals []Proposal) ([]Receipt, error) {
	p, err := r.Prepare(proposals)
	if err != nil {
		return nil, err
	}
	return r.send(ctx, p, trial)
}

// Try is Check for what was prepared.
func (r *Recorder) Try(ctx context.Context, trial *Trial, p *Prepared) ([]Receipt, error) {
	return r.send(ctx, p, trial)
}

// Commit is Record for what was prepared.
func (r *Recorder) Commit(ctx context.Context, p *Prepared) ([]Receipt, error) {
	return r.send(ctx, p, nil)
}

func (r *Recorder) send(ctx context.Context, p *Prepared, dry *Trial) ([]Receipt, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	j := &job{ctx: ctx, dry: dry, ready: make(chan struct{}), items: p.items}
	select {
	case <-r.done: // looked at alone first: a queue with room must not win against it
		return nil, r.stopped()
	default:
	}
	select {
	case r.queue <- j:
	case <-r.done:
		return nil, r.stopped()
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	select {
	case <-j.ready:
		return j.answer()
	case <-r.done:
	case <-ctx.Done():
		if j.state.CompareAndSwap(waiting, left) {
			return nil, ctx.Err()
		}
	}
	select {
	case <-j.ready:
	case <-r.done:
		select {
		case <-j.ready:
		default:
			return nil, r.stopped()
		}
	}
	return j.answer()
}

func (j *job) answer() ([]Receipt, error) {
	if j.err != nil {
		return nil, j.err
	}
	return j.receipts, nil
}

func (r *Recorder) stopped() error {
	if r.err != nil {
		return r.err
	}
	return ErrStopped
}
