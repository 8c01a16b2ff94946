-- A cabinet is what joined by a code: one key, one record.
CREATE TABLE cabinet (
	id      integer GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
	name    text NOT NULL UNIQUE,
	world   text NOT NULL,
	joined  timestamptz NOT NULL DEFAULT now(),
	key     bytea UNIQUE,                     -- SHA-256 of it; NULL once it was taken away
	seen    timestamptz,
	anew    boolean NOT NULL DEFAULT false    -- a person admits one record that begins anew
);

-- A batch is the head of its chain: links is the count of its rows in link. From product on
-- all is derived from those rows.
CREATE TABLE batch (
	id       bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
	cabinet  integer NOT NULL REFERENCES cabinet,
	name     text NOT NULL,
	number   bigint NOT NULL,                 -- in the board's file
	month    date NOT NULL,                   -- in which this hub first heard of it: no board's clock decides
	links    bigint NOT NULL,
	head     bytea NOT NULL,
	previous text,
	apart    boolean NOT NULL DEFAULT false,  -- of a record before the one that a person admitted
	received timestamptz NOT NULL DEFAULT now(),
	product  text NOT NULL, program text NOT NULL, started timestamptz NOT NULL,
	at       timestamptz, elapsed double precision NOT NULL DEFAULT 0,
	state    text NOT NULL DEFAULT '', stage text NOT NULL DEFAULT '',
	chamber  double precision, setpoint double precision, core double precision, duty double precision,
	standing text[] NOT NULL DEFAULT '{}',    -- alarms that have come and not gone
	ended    timestamptz, why text NOT NULL DEFAULT '',
	good     boolean, verdict text NOT NULL DEFAULT '',
	judged   bigint NOT NULL DEFAULT 0,       -- links that the verdict is of
	UNIQUE (cabinet, name)
);
CREATE UNIQUE INDEX batch_follows ON batch (cabinet, previous);
CREATE INDEX batch_started ON batch (started);
CREATE INDEX batch_unjudged ON batch (id) WHERE ended IS NOT NULL AND judged < links;

-- The truth: the bytes that the hash is over.
CREATE TABLE link (
	cabinet integer NOT NULL,
	batch   bigint NOT NULL,
	number  bigint NOT NULL,
	month   date NOT NULL,
	hash    bytea NOT NULL,
	rows    bytea NOT NULL,
	PRIMARY KEY (cabinet, batch, number, month)
) PARTITION BY RANGE (month);
ALTER TABLE link ALTER COLUMN rows SET STORAGE EXTERNAL; -- blocks are packed already

-- Derived: what was weighed, with its lot.
CREATE TABLE entry (
	cabinet integer NOT NULL, batch bigint NOT NULL, link bigint NOT NULL, "row" integer NOT NULL,
	kind text NOT NULL, subject text NOT NULL, lot text NOT NULL, value double precision, who text NOT NULL,
	PRIMARY KEY (cabinet, batch, link, "row")
);
CREATE INDEX entry_lot ON entry (lower(lot)) WHERE lot <> '';

-- What a board sent or lacks that does not go with what is kept here. It stands until a person
-- has looked into it.
CREATE TABLE alarm (
	id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
	cabinet integer NOT NULL REFERENCES cabinet, batch text NOT NULL, kind text NOT NULL, text text NOT NULL,
	first timestamptz NOT NULL DEFAULT now(), last timestamptz NOT NULL DEFAULT now(), times bigint NOT NULL DEFAULT 1,
	settled timestamptz, settled_by text NOT NULL DEFAULT '', reason text NOT NULL DEFAULT ''
);
CREATE UNIQUE INDEX alarm_stands ON alarm (cabinet, batch, kind) WHERE settled IS NULL;

CREATE TABLE code (
	hash bytea PRIMARY KEY, name text NOT NULL, world text NOT NULL, again boolean NOT NULL, until timestamptz NOT NULL
);
CREATE TABLE person (
	name text PRIMARY KEY, role text NOT NULL, hash bytea NOT NULL UNIQUE, made timestamptz NOT NULL DEFAULT now()
);
CREATE TABLE session (
	hash bytea PRIMARY KEY, person text NOT NULL REFERENCES person ON DELETE CASCADE, until timestamptz NOT NULL
);
-- What people write here. It never goes into a board's record.
CREATE TABLE remark (
	id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
	batch bigint NOT NULL REFERENCES batch, who text NOT NULL, text text NOT NULL, at timestamptz NOT NULL DEFAULT now()
);
