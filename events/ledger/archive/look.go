package archive

import (
	"context"
	"errors"
	"slices"

	"latewood/events/ledger"
	"latewood/events/ledger/proof"
)

// A Glance is what an archive says of itself when only looked at.
type Glance struct {
	Fresh    bool           // nothing is there yet
	Newest   proof.Signed   // the newest checkpoint; its Note is nil if there is none
	Unsealed []ledger.Entry // the whole records behind it, in order
}

// Size is the number of records, sealed or not.
func (g Glance) Size() uint64 { return g.Newest.Size + uint64(len(g.Unsealed)) }

// Look does what Open does before it writes anything, and nothing else: it holds the newest checkpoint, the top of the tree and
// the tail against each other. What does not fit is a *DamageError with all that Check found.
func Look(dir string, opt Options) (Glance, error) {
	h, err := readHead(dir, opt)
	if err != nil || h.fresh {
		return Glance{Fresh: h.fresh}, err
	}
	a := &Archive{opt: opt}
	a.init(local(dir))
	if h.damaged || a.load(h) != nil {
		return Glance{}, damage(dir, opt)
	}
	g := Glance{Newest: h.newest}
	for i, body := range a.bodies[h.newest.Size-a.base:] {
		g.Unsealed = append(g.Unsealed, ledger.Entry{Place: h.newest.Size + uint64(i) + 1, Kind: kindOf(body), Body: body})
	}
	return g, nil
}

// Still lets f look at the folder while nothing is written to it. All that was appended is on the disk by then.
func (a *Archive) Still(f func(dir string) error) error {
	a.write.Lock()
	defer a.write.Unlock()
	if err := a.sync(); err != nil && !errors.Is(err, ErrClosed) {
		return err
	}
	return f(a.dir)
}

// Check is Check of the folder that is open, while nothing is written to it.
func (a *Archive) Check(ctx context.Context) (r Report, err error) {
	err = a.Still(func(dir string) error {
		r, err = Check(ctx, dir, a.opt)
		return err
	})
	return r, err
}

// Unsealed gives the records behind the newest checkpoint, with their places: nobody signed them yet.
func (a *Archive) Unsealed() []ledger.Entry {
	a.mu.RLock()
	defer a.mu.RUnlock()
	var out []ledger.Entry
	for i, body := range a.bodies[a.sealed.Size-a.base:] {
		out = append(out, ledger.Entry{Place: a.sealed.Size + uint64(i) + 1, Kind: kindOf(body), Body: slices.Clone(body)})
	}
	return out
}

// Trust adds a key to those that may have signed: while the archive is open the ledger may change its key.
func (a *Archive) Trust(k proof.Key) {
	a.write.Lock()
	defer a.write.Unlock()
	if !slices.Contains(a.opt.Keys, k) {
		a.opt.Keys = append(slices.Clone(a.opt.Keys), k)
	}
}
