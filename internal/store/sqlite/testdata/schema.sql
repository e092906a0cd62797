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

