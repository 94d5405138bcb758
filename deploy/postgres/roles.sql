-- Roles of least privilege for the rows of Latewood. Run once, by an administrator, in the database that is to hold them:
--
--     psql -v ON_ERROR_STOP=1 -f roles.sql DATABASE
--
-- latewood_project  what `latewood run --postgres` logs in as: owns the schema, and nothing outside of it
-- latewood_read     what analysts log in as: reads, changes nothing
--
-- Passwords are set apart from this file (\password latewood_project). Use scram-sha-256 in pg_hba.conf and
-- sslmode=verify-full in the URL wherever the connection leaves the machine.

create role latewood_project login noinherit nosuperuser nocreatedb nocreaterole connection limit 200;
create role latewood_read login noinherit nosuperuser nocreatedb nocreaterole connection limit 20;

create schema latewood authorization latewood_project;
revoke all on schema latewood from public;
grant usage on schema latewood to latewood_read;
alter default privileges for role latewood_project in schema latewood grant select on tables to latewood_read;

-- An analyst's question that runs away ends by itself; it also holds up no change of a table.
alter role latewood_read set statement_timeout = '60s';
alter role latewood_read set idle_in_transaction_session_timeout = '60s';
alter role latewood_read set default_transaction_read_only = on;
alter role latewood_project set statement_timeout = '120s';
alter role latewood_project set idle_in_transaction_session_timeout = '60s';
