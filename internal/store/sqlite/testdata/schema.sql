CREATE TABLE account (
	account  TEXT    NOT NULL PRIMARY KEY,
	login    TEXT    NOT NULL UNIQUE, -- typed to sign in; lower case
	name     TEXT    NOT NULL,
	password TEXT    NOT NULL, -- argon2id with its parameters; '' while none is chosen
	epoch    INTEGER NOT NULL, -- sessions of an earlier one are over
	disabled INTEGER NOT NULL, -- since when
	seen     INTEGER NOT NULL -- last signed in
) STRICT;

CREATE TABLE aside (
	job    TEXT    NOT NULL,
	hash   BLOB    NOT NULL,
	device TEXT    NOT NULL, -- whose entry it is; '' if it cannot be read
	seq    INTEGER NOT NULL,
	id     TEXT    NOT NULL,
	name   TEXT    NOT NULL, -- of the tablet that sent it
	why    TEXT    NOT NULL,
	came   INTEGER NOT NULL,
	raw    BLOB    NOT NULL, -- empty: it is on the tablet only
	PRIMARY KEY (job, hash)
) STRICT;

CREATE TABLE code (
	code TEXT NOT NULL PRIMARY KEY,
	job  TEXT NOT NULL,
	day  TEXT NOT NULL
) STRICT;

CREATE TABLE coded (
	job   TEXT    NOT NULL,
	day   TEXT    NOT NULL,
	count INTEGER NOT NULL,
	sum   BLOB    NOT NULL,
	PRIMARY KEY (job, day)
) STRICT;

CREATE TABLE ended (
	session TEXT    NOT NULL PRIMARY KEY,
	until   INTEGER NOT NULL
) STRICT;

CREATE TABLE enrolment (
	code  BLOB    NOT NULL PRIMARY KEY, -- SHA-256 of it
	name  TEXT    NOT NULL,
	jobs  TEXT    NOT NULL, -- a JSON list
	until INTEGER NOT NULL
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

CREATE TABLE happened (
	what   TEXT    NOT NULL,
	job    TEXT    NOT NULL,
	device TEXT    NOT NULL,
	name   TEXT    NOT NULL, -- of the tablet it came to light with
	says   TEXT    NOT NULL,
	first  INTEGER NOT NULL,
	last   INTEGER NOT NULL,
	times  INTEGER NOT NULL,
	seen   INTEGER NOT NULL, -- put away by somebody; 0 not
	PRIMARY KEY (what, job, device)
) STRICT;

CREATE TABLE heard (
	device TEXT    NOT NULL PRIMARY KEY,
	name   TEXT    NOT NULL, -- of the tablet, or of who was signed in
	at     INTEGER NOT NULL,
	build  TEXT    NOT NULL,
	unsent INTEGER NOT NULL, -- entries the log did not hold after it
	clock  INTEGER NOT NULL  -- milliseconds its clock was ahead
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

CREATE TABLE parked (
	job    TEXT    NOT NULL,
	hash   BLOB    NOT NULL, -- of raw
	device TEXT    NOT NULL, -- that sent it
	name   TEXT    NOT NULL, -- of the tablet, as the office called it then
	came   INTEGER NOT NULL,
	raw    BLOB    NOT NULL,
	PRIMARY KEY (job, hash)
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

