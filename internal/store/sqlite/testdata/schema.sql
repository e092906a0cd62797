CREATE TABLE account (
	account  TEXT    NOT NULL PRIMARY KEY,
	login    TEXT    NOT NULL UNIQUE, -- typed to sign in; lower case
	name     TEXT    NOT NULL,
	password TEXT    NOT NULL, -- argon2id with its parameters; '' while none is chosen
	epoch    INTEGER NOT NULL, -- sessions of an earlier one are over
	disabled INTEGER NOT NULL, -- since when
	seen     INTEGER NOT NULL -- last signed in
) STRICT;

CREATE TABLE ended (
	session TEXT    NOT NULL PRIMARY KEY,
	until   INTEGER NOT NULL
) STRICT;

CREATE TABLE entry (
	job    TEXT    NOT NULL,
	stream TEXT    NOT NULL,
	seq    INTEGER NOT NULL,
	id     TEXT    NOT NULL,
	day    TEXT    NOT NULL,
	tick   INTEGER NOT NULL,
	hash   BLOB    NOT NULL, -- of raw
	head   BLOB    NOT NULL, -- chain head after it
	raw    BLOB    NOT NULL, -- the entry itself, as its device wrote it
	PRIMARY KEY (job, stream, seq)
) STRICT;

CREATE TABLE job (
	job  TEXT    NOT NULL PRIMARY KEY,
	tick INTEGER NOT NULL -- the highest held, of waiting entries too
) STRICT;

CREATE TABLE link (
	account TEXT    NOT NULL PRIMARY KEY REFERENCES account,
	code    BLOB    NOT NULL UNIQUE, -- SHA-256 of what stands in the link
	until   INTEGER NOT NULL
) STRICT;

CREATE TABLE mark (
	job   TEXT    NOT NULL REFERENCES job,
	day   TEXT    NOT NULL,
	count INTEGER NOT NULL,
	sum   BLOB    NOT NULL,
	PRIMARY KEY (job, day)
) STRICT;

CREATE TABLE migration (number INTEGER NOT NULL PRIMARY KEY, name TEXT NOT NULL) STRICT;

CREATE TABLE opening (
	job   TEXT    NOT NULL REFERENCES job,
	day   TEXT    NOT NULL,
	count INTEGER NOT NULL, -- entries of earlier days it was made from
	build TEXT    NOT NULL,
	state BLOB    NOT NULL,
	PRIMARY KEY (job, day)
) STRICT;

CREATE TABLE part (
	account TEXT NOT NULL REFERENCES account,
	job     TEXT NOT NULL,
	role    TEXT NOT NULL,
	person  TEXT NOT NULL, -- of the job, in whose name the account writes
	PRIMARY KEY (account, job)
) STRICT;

CREATE TABLE storage (
	name  TEXT NOT NULL PRIMARY KEY,
	value TEXT NOT NULL
) STRICT;

CREATE TABLE stream (
	job    TEXT    NOT NULL REFERENCES job,
	stream TEXT    NOT NULL,
	device TEXT    NOT NULL,
	parent TEXT    NOT NULL, -- the stream it left; '' for a device's own
	first  INTEGER NOT NULL, -- seq
	seq    INTEGER NOT NULL, -- of the last entry
	head   BLOB    NOT NULL, -- chain head after it
	PRIMARY KEY (job, stream)
) STRICT;

CREATE TABLE tablet (
	tablet   TEXT    NOT NULL PRIMARY KEY, -- its device id
	name     TEXT    NOT NULL,
	key      BLOB    NOT NULL UNIQUE, -- SHA-256 of it
	enrolled INTEGER NOT NULL,
	heard    INTEGER NOT NULL,
	revoked  INTEGER NOT NULL
) STRICT;

CREATE TABLE tablet_job (
	tablet TEXT NOT NULL REFERENCES tablet,
	job    TEXT NOT NULL,
	PRIMARY KEY (tablet, job)
) STRICT;

CREATE TABLE waiting (
	job    TEXT    NOT NULL REFERENCES job,
	device TEXT    NOT NULL,
	seq    INTEGER NOT NULL,
	hash   BLOB    NOT NULL,
	raw    BLOB    NOT NULL,
	PRIMARY KEY (job, device, hash)
) STRICT;

CREATE INDEX entry_day ON entry (job, day);

CREATE INDEX entry_id ON entry (job, id);

CREATE INDEX stream_device ON stream (job, device);

