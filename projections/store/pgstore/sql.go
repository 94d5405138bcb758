package pgstore

// The statements, in the order in which they come to run.
//
//words:data statements for the database, which no person reads
const (
	lockMigrations = "select pg_advisory_xact_lock($1)"
	lookTables     = "select to_regnamespace('latewood') is not null, to_regclass('latewood.migration') is not null"
	makeSchema     = "create schema latewood"
	makeMigrations = "create table latewood.migration (number integer primary key, made timestamptz not null default now())"
	lastMigration  = "select coalesce(max(number), 0) from latewood.migration"
	addMigration   = "insert into latewood.migration (number) values ($1)"
	takeFarm       = `insert into latewood.checkpoint as c (farm, origin, size, epoch) values ($1, $2, 0, 1)
		on conflict (farm) do update set epoch = c.epoch + 1 where c.origin = excluded.origin returning epoch, size`
	readSums = "select fold, code, version, sha256(convert_to(state::text, 'UTF8')) from latewood.state where farm = $1"
	advance  = "update latewood.checkpoint set size = $3, written = now() where farm = $1 and epoch = $2"
	dropRows = `delete from latewood.state s using unnest($2::text[], $3::text[]) as g(fold, code)
		where s.farm = $1 and s.fold = g.fold and s.code = g.code`
	makeChanged  = "create temporary table changed (like latewood.state) on commit drop"
	mergeChanged = `insert into latewood.state select * from changed
		on conflict (farm, fold, code) do update set version = excluded.version, class = excluded.class, state = excluded.state, sum = excluded.sum`
	readSize = "select size from latewood.checkpoint where farm = $1"
	readRows = `select fold, version, class, code, convert_to(state::text, 'UTF8') from latewood.state
		where farm = $1 order by fold collate "C", code collate "C"`
)
