// Package pgstore keeps the states of folds as rows in PostgreSQL, for people who ask with SQL. No fold reads from it.
//
// # How rows stay true
//
// A Store compares what a Book says (Gather) with what stands in the database, and writes the difference together with the
// place in the ledger that it speaks for, in one transaction (Commit). So rows and checkpoint are there together or not at
// all, wherever the database dies; and from whatever rows it starts, the first Commit makes them those of the Book. A fold
// that was given a new version, or a ledger that was restored to an earlier place, needs no care: their rows differ.
//
// Where a farm has no row yet they go in by COPY; else changed rows come by COPY into a temporary table and from there
// over the old ones. Readers see the old rows until the new ones are all there.
//
// # One writer a farm
//
// Open takes the farm: it raises the epoch in the farm's checkpoint. A Store that was opened before finds another epoch at
// its next Commit, writes nothing and returns ErrFenced.
package pgstore

import (
	"context"
	"crypto/sha256"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"strconv"

	"github.com/jackc/pgx/v5"

	"latewood/events"
	"latewood/projections"
)

//go:embed migrations/*.sql
var migrations embed.FS

// Errors that callers branch on. Behind any other the database may be asked again with a new Store.
var (
	// ErrFenced says that another writer has taken the farm.
	ErrFenced = errors.New("pgstore: another writer has taken this farm's rows")
	// ErrOtherLedger says that the farm's rows are of another ledger with the same code.
	ErrOtherLedger = errors.New("pgstore: the rows of this farm are of another ledger")
	// ErrNewer says that a later version of the program has changed the tables.
	ErrNewer = errors.New("pgstore: the tables are of a later version of this program")
)

// connect opens a connection whose statements end by themselves, unless the URL says other times.
func connect(ctx context.Context, url string) (*pgx.Conn, error) {
	c, err := pgx.ParseConfig(url)
	if err != nil {
		return nil, fmt.Errorf("pgstore: %w", err)
	}
	for name, value := range map[string]string{
		"application_name": "latewood", "statement_timeout": "120s", "lock_timeout": "30s", "idle_in_transaction_session_timeout": "60s",
	} {
		if _, ok := c.RuntimeParams[name]; !ok {
			c.RuntimeParams[name] = value
		}
	}
	conn, err := pgx.ConnectConfig(ctx, c)
	if err != nil {
		return nil, fmt.Errorf("pgstore: %w", err)
	}
	return conn, nil
}

// Prepare makes the tables, or brings those of an earlier version up to this one. It may be called by several at once, and
// needs no right to change tables where there is nothing to change.
func Prepare(ctx context.Context, url string) error {
	conn, err := connect(ctx, url)
	if err != nil {
		return err
	}
	defer conn.Close(context.WithoutCancel(ctx))
	if err := migrate(ctx, conn); err != nil {
		return fmt.Errorf("pgstore: tables: %w", err)
	}
	return nil
}

// migrating is the key of the lock that keeps two migrations apart; any number that nobody else uses.
const migrating = 0x6c617465

func migrate(ctx context.Context, conn *pgx.Conn) error {
	files, err := fs.Glob(migrations, "migrations/*.sql") // by name, and so by number
	if err != nil {
		return err
	}
	// If we crash here, or the database does, then the migrations that were begun are undone together.
	return pgx.BeginFunc(ctx, conn, func(tx pgx.Tx) error {
		if _, err := tx.Exec(ctx, lockMigrations, migrating); err != nil {
			return err
		}
		var schema, table bool
		err := tx.QueryRow(ctx, lookTables).Scan(&schema, &table)
		if err != nil {
			return err
		}
		if !schema {
			if _, err := tx.Exec(ctx, makeSchema); err != nil {
				return err
			}
		}
		if !table {
			if _, err := tx.Exec(ctx, makeMigrations); err != nil {
				return err
			}
		}
		var done int
		if err := tx.QueryRow(ctx, lastMigration).Scan(&done); err != nil {
			return err
		}
		if done > len(files) {
			return ErrNewer
		}
		for i := done; i < len(files); i++ {
			text, err := migrations.ReadFile(files[i])
			if err != nil {
				return err
			}
			if _, err := tx.Exec(ctx, string(text)); err != nil {
				return fmt.Errorf("%s: %w", files[i], err)
			}
			if _, err := tx.Exec(ctx, addMigration, i+1); err != nil {
				return err
			}
		}
		return nil
	})
}

// A Row is one fold's state of one key.
type Row struct {
	Fold    string
	Version int
	Class   string // of the key
	Code    string // of the key
	State   []byte // JSON, as events.WriteJSON writes it
}

type rowKey struct{ fold, code string }

// standing is what is known of a row in the database.
type standing struct {
	version int
	sum     [sha256.Size]byte
	// state is where the bytes came from. A Book that has the same one still has the same bytes.
	state any
}

// A Store writes one farm's rows. It is not safe for use by several goroutines at once. After an error of Commit it must
// not be used any more.
type Store struct {
	conn  *pgx.Conn
	farm  string
	epoch int64
	size  uint64
	folds []*projections.Fold
	rows  map[rowKey]standing
}

// Open connects to the tables that Prepare made, and takes the farm: whoever wrote its rows before cannot any more. origin
// names the ledger (projections.Mark). The error Is ErrOtherLedger where the farm's rows are of another one.
func Open(ctx context.Context, url, farm, origin string, folds []*projections.Fold) (_ *Store, err error) {
	conn, err := connect(ctx, url)
	if err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			_ = conn.Close(context.WithoutCancel(ctx))
		}
	}()
	s := &Store{conn: conn, farm: farm, folds: folds, rows: map[rowKey]standing{}}
	var size int64
	err = conn.QueryRow(ctx, takeFarm,
		farm, origin).Scan(&s.epoch, &size)
	switch {
	case errors.Is(err, pgx.ErrNoRows):
		return nil, fmt.Errorf("%w: farm %s, wanted %s", ErrOtherLedger, farm, origin)
	case err != nil:
		return nil, fmt.Errorf("pgstore: take farm %s: %w", farm, err)
	}
	s.size = uint64(size)
	// The sum is made of what stands there, not taken from its column: a row that somebody changed by hand is put right.
	rows, err := conn.Query(ctx, readSums, farm)
	if err != nil {
		return nil, fmt.Errorf("pgstore: rows of %s: %w", farm, err)
	}
	defer rows.Close()
	for rows.Next() {
		var k rowKey
		var r standing
		var sum []byte
		if err := rows.Scan(&k.fold, &k.code, &r.version, &sum); err != nil {
			return nil, fmt.Errorf("pgstore: rows of %s: %w", farm, err)
		}
		copy(r.sum[:], sum)
		s.rows[k] = r
	}
	if err := rows.Err(); err != nil {
		return nil, fmt.Errorf("pgstore: rows of %s: %w", farm, err)
	}
	return s, nil
}

// Close ends the connection.
func (s *Store) Close(ctx context.Context) error { return s.conn.Close(ctx) }

// Size is the number of records that the rows take in.
func (s *Store) Size() uint64 { return s.size }

// A Batch is what differs between a Book and the rows.
type Batch struct {
	Size uint64 // of the Book
	Put  []Row  // new or changed, in the order of folds and codes
	gone []rowKey
	// stands is, of everything that the Book has, what the database holds after the Commit.
	stands map[rowKey]standing
}

// Gone is the number of rows that the Book does not have any more.
func (b *Batch) Gone() int { return len(b.gone) }

// Gather folds what moved and compares. It looks at nothing but the Book, which must stand still meanwhile.
func (s *Store) Gather(book *projections.Book) (*Batch, error) {
	b := &Batch{Size: book.Size(), stands: make(map[rowKey]standing, len(s.rows))}
	for _, f := range s.folds {
		for _, code := range book.Keys(f.Class) {
			k := rowKey{f.Name, code}
			state := book.State(f, code)
			old, there := s.rows[k]
			if there && old.state != nil && old.state == state && old.version == f.Version {
				b.stands[k] = old
				continue
			}
			bytes, err := events.WriteJSON(state)
			if err != nil {
				return nil, fmt.Errorf("pgstore: state of %s %s: %w", f.Name, code, err)
			}
			now := standing{f.Version, sha256.Sum256(bytes), state}
			if !there || old.version != now.version || old.sum != now.sum {
				b.Put = append(b.Put, Row{f.Name, f.Version, f.Class, code, bytes})
			}
			b.stands[k] = now
		}
	}
	for k := range s.rows {
		if _, ok := b.stands[k]; !ok {
			b.gone = append(b.gone, k)
		}
	}
	return b, nil
}

// Commit writes a Batch of the last Gather and the checkpoint, both or neither. The error Is ErrFenced where another
// Store has taken the farm.
func (s *Store) Commit(ctx context.Context, b *Batch) error {
	// If we crash here, or the database does, then rows and checkpoint both stay as they were.
	err := pgx.BeginFunc(ctx, s.conn, func(tx pgx.Tx) error {
		tag, err := tx.Exec(ctx, advance, s.farm, s.epoch, int64(b.Size))
		if err != nil {
			return err
		}
		if tag.RowsAffected() != 1 {
			return ErrFenced
		}
		if err := s.drop(ctx, tx, b.gone); err != nil {
			return err
		}
		return s.put(ctx, tx, b.Put)
	})
	if err != nil {
		return fmt.Errorf("pgstore: write %s at %d: %w", s.farm, b.Size, err)
	}
	s.rows, s.size = b.stands, b.Size
	return nil
}

func (s *Store) drop(ctx context.Context, tx pgx.Tx, gone []rowKey) error {
	if len(gone) == 0 {
		return nil
	}
	var folds, codes []string
	for _, k := range gone {
		folds, codes = append(folds, k.fold), append(codes, k.code)
	}
	_, err := tx.Exec(ctx, dropRows, s.farm, folds, codes)
	return err
}

var columns = []string{"farm", "fold", "version", "class", "code", "state", "sum"}

func (s *Store) put(ctx context.Context, tx pgx.Tx, rows []Row) error {
	if len(rows) == 0 {
		return nil
	}
	table := pgx.Identifier{"latewood", "state"}
	if len(s.rows) > 0 {
		table = pgx.Identifier{"changed"}
		if _, err := tx.Exec(ctx, makeChanged); err != nil {
			return err
		}
	}
	n, err := tx.CopyFrom(ctx, table, columns, pgx.CopyFromSlice(len(rows), func(i int) ([]any, error) {
		r := &rows[i]
		sum := sha256.Sum256(r.State)
		return []any{s.farm, r.Fold, int32(r.Version), r.Class, r.Code, r.State, sum[:]}, nil
	}))
	if err != nil {
		return err
	}
	if n != int64(len(rows)) {
		return errors.New("COPY took " + strconv.FormatInt(n, 10) + " of " + strconv.Itoa(len(rows)) + " rows")
	}
	if len(s.rows) == 0 {
		return nil
	}
	_, err = tx.Exec(ctx, mergeChanged)
	return err
}

// Read returns a farm's rows as they stand, in the order of fold and code, with the size of the ledger that they speak for:
// all of one moment.
func Read(ctx context.Context, url, farm string) (rows []Row, size uint64, err error) {
	conn, err := connect(ctx, url)
	if err != nil {
		return nil, 0, err
	}
	defer conn.Close(context.WithoutCancel(ctx))
	err = pgx.BeginTxFunc(ctx, conn, pgx.TxOptions{IsoLevel: pgx.RepeatableRead, AccessMode: pgx.ReadOnly}, func(tx pgx.Tx) error {
		var n int64
		if err := tx.QueryRow(ctx, readSize, farm).Scan(&n); err != nil {
			return err
		}
		size = uint64(n)
		got, err := tx.Query(ctx, readRows, farm)
		if err != nil {
			return err
		}
		rows, err = pgx.CollectRows(got, func(row pgx.CollectableRow) (r Row, err error) {
			return r, row.Scan(&r.Fold, &r.Version, &r.Class, &r.Code, &r.State)
		})
		return err
	})
	if err != nil {
		return nil, 0, fmt.Errorf("pgstore: read %s: %w", farm, err)
	}
	return rows, size, nil
}
