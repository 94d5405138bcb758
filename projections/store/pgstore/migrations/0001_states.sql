-- Rows of the folds. Whatever stands here can be dropped: it is made again from the ledger.

create table latewood.checkpoint (
	farm text primary key,
	origin text not null,
	size bigint not null check (size >= 0),
	epoch bigint not null,
	written timestamptz not null default now()
);
comment on table latewood.checkpoint is 'Up to which place of its ledger the rows of a farm speak. Changed together with the rows, in one transaction.';
comment on column latewood.checkpoint.origin is 'name of the ledger, as its signed checkpoints carry it';
comment on column latewood.checkpoint.size is 'records of the ledger that the rows take in';
comment on column latewood.checkpoint.epoch is 'number of the writer; one that finds another number here writes nothing';
comment on column latewood.checkpoint.written is 'when, by the clock of the database';

create table latewood.state (
	farm text not null references latewood.checkpoint on delete cascade,
	fold text not null,
	version integer not null,
	class text not null,
	code text not null,
	state json not null,
	sum bytea not null,
	primary key (farm, fold, code)
);
comment on table latewood.state is 'One row for each fold and each thing that it keeps state of. The views take them apart.';
comment on column latewood.state.fold is 'name of the fold: orchard, holds, yields, weather, ...';
comment on column latewood.state.version is 'version of the fold that made the row';
comment on column latewood.state.class is 'block, station or farm';
comment on column latewood.state.code is 'code of the block or station; empty for the farm';
comment on column latewood.state.state is 'the state to the byte as the program has it in memory (json, not jsonb, keeps the bytes)';
comment on column latewood.state.sum is 'SHA-256 of the bytes of state';

create view latewood.trees as
select s.farm, s.code as block, t->>'tree' as tree, t->>'cultivar' as cultivar,
	nullif(t->>'from', '')::date as from_day, nullif(t->>'until', '')::date as until_day
from latewood.state s cross join lateral json_array_elements(s.state->'listed') t
where s.fold = 'orchard' and json_typeof(s.state->'listed') = 'array';
comment on view latewood.trees is 'Each stay of each tree that is listed one by one. Trees that are stated only as a number are not here.';
comment on column latewood.trees.cultivar is 'as planted; a later graft is in the state of the fold orchard';
comment on column latewood.trees.from_day is 'first day on which it stands in the block';
comment on column latewood.trees.until_day is 'first day on which it no longer stands there; null: it stands';

create view latewood.block_seasons as
select s.farm, s.code as block, b->>'season' as season, (b->>'on')::date as last_day,
	trim_scale((b->>'mg')::numeric / 1000000) as kg, (b->>'picks')::integer as picks, coalesce((b->>'without')::integer, 0) as picks_without_kg,
	trim_scale(coalesce((b->>'unassigned')::numeric, 0) / 1000000) as unassigned_kg, (b->>'bearing')::integer as bearing_trees,
	trim_scale(nullif((b->>'area')::numeric, 0) / 10000000000) as area_ha, b->>'basis' as basis
from latewood.state s cross join lateral json_array_elements(s.state->'seasons') b
where s.fold = 'yields' and json_typeof(s.state->'seasons') = 'array';
comment on view latewood.block_seasons is 'What each block bore in each crop season.';
comment on column latewood.block_seasons.last_day is 'day of the last pick, else of the last assessment';
comment on column latewood.block_seasons.kg is 'kilograms; a lower bound where picks_without_kg is not 0';
comment on column latewood.block_seasons.picks_without_kg is 'of the picks, those whose mass is not known';
comment on column latewood.block_seasons.unassigned_kg is 'kilograms of kg that no listed tree takes';
comment on column latewood.block_seasons.bearing_trees is 'trees of bearing age on last_day';
comment on column latewood.block_seasons.area_ha is 'hectares on last_day; null: not known';
comment on column latewood.block_seasons.basis is 'the weakest ground on which a mass of the sum stands';

create view latewood.tree_seasons as
select s.farm, s.code as block, b->>'season' as season, t->>'tree' as tree, t->>'cultivar' as cultivar, (t->>'age')::integer as age_years,
	trim_scale((t->>'mg')::numeric / 1000000) as kg, (t->>'picks')::integer as picks, coalesce((t->>'without')::integer, 0) as picks_without_kg,
	t->>'basis' as basis
from latewood.state s cross join lateral json_array_elements(s.state->'seasons') b cross join lateral json_array_elements(b->'trees') t
where s.fold = 'yields' and json_typeof(s.state->'seasons') = 'array' and json_typeof(b->'trees') = 'array';
comment on view latewood.tree_seasons is 'What each tree bore in each crop season.';
comment on column latewood.tree_seasons.age_years is 'full years since planting or graft; null: not known';
comment on column latewood.tree_seasons.kg is 'kilograms; a lower bound where picks_without_kg is not 0';
comment on column latewood.tree_seasons.basis is 'the weakest ground on which a mass of the sum stands: weighed, or shared out';

create view latewood.weather_days as
select s.farm, s.code as station, (d->>'day')::date as day, (d->>'readings')::integer as readings, d->>'method' as method,
	trim_scale(coalesce((d->>'covered')::numeric, 0) / 3600000) as covered_hours,
	case when d->>'covered' is not null then trim_scale(coalesce((d->>'below20')::numeric, 0) / 3600000) end as hours_below_20_c,
	case when d->>'covered' is not null then trim_scale(coalesce((d->>'above20')::numeric, 0) / 3600000) end as hours_from_20_c,
	case when d->>'covered' is not null then trim_scale(coalesce((d->>'frost')::numeric, 0) / 3600000) end as frost_hours,
	trim_scale((d->>'min')::numeric / 1000) as min_c, trim_scale((d->>'max')::numeric / 1000) as max_c, trim_scale((d->>'rain')::numeric / 1000) as rain_mm,
	coalesce((d->>'suspect')::integer, 0) as suspect, coalesce((d->>'wrong')::integer, 0) as wrong
from latewood.state s cross join lateral json_array_elements(s.state->'days') d
where s.fold = 'weather' and json_typeof(s.state->'days') = 'array';
comment on view latewood.weather_days is 'What each station measured on each civil day of the farm.';
comment on column latewood.weather_days.method is 'what gave the hours: linear (between readings) or sine (from the extremes); null: nothing could';
comment on column latewood.weather_days.covered_hours is 'hours of the day for which there is an answer';
comment on column latewood.weather_days.hours_below_20_c is 'hours strictly below 20 degrees Celsius; null where nothing is covered';
comment on column latewood.weather_days.hours_from_20_c is 'hours at or above 20 degrees Celsius; null where nothing is covered';
comment on column latewood.weather_days.frost_hours is 'hours strictly below 0 degrees Celsius; null where nothing is covered';
comment on column latewood.weather_days.min_c is 'degrees Celsius';
comment on column latewood.weather_days.max_c is 'degrees Celsius';
comment on column latewood.weather_days.rain_mm is 'millimetres; null: not measured';
comment on column latewood.weather_days.suspect is 'readings that quality control doubts and that count';
comment on column latewood.weather_days.wrong is 'readings that quality control left out';

create view latewood.flags as
select distinct s.farm, s.class, s.code, f->>'flag' as flag, (f->>'id')::uuid as record
from latewood.state s cross join lateral json_array_elements(s.state->'flags') f
where json_typeof(s.state->'flags') = 'array';
comment on view latewood.flags is 'What the folds flag, as found: a later review does not take a line off.';
comment on column latewood.flags.flag is 'name of the flag: pick-in-interval, ...';
comment on column latewood.flags.record is 'id of the record that is flagged';
