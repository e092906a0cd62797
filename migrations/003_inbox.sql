-- What came in and waits for somebody in the office, and what tablets say of
-- themselves. None of this is an entry. Moments are Unix seconds.

-- Entries that a tablet sent which is no longer trusted.
CREATE TABLE parked (
	job    TEXT    NOT NULL,
	hash   BLOB    NOT NULL, -- of raw
	device TEXT    NOT NULL, -- that sent it
	name   TEXT    NOT NULL, -- of the tablet, as the office called it then
	came   INTEGER NOT NULL,
	raw    BLOB    NOT NULL,
	PRIMARY KEY (job, hash)
) STRICT;

-- Entries that the log does not take, here or on a tablet.
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

-- What happened that somebody has to know. The same once more only counts up.
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

-- What the device of each exchange said last.
CREATE TABLE heard (
	device TEXT    NOT NULL PRIMARY KEY,
	name   TEXT    NOT NULL, -- of the tablet, or of who was signed in
	at     INTEGER NOT NULL,
	build  TEXT    NOT NULL,
	unsent INTEGER NOT NULL, -- entries the log did not hold after it
	clock  INTEGER NOT NULL  -- milliseconds its clock was ahead
) STRICT;

ALTER TABLE tablet DROP COLUMN heard;

-- Codes with which a tablet is enrolled, once.
CREATE TABLE enrolment (
	code  BLOB    NOT NULL PRIMARY KEY, -- SHA-256 of it
	name  TEXT    NOT NULL,
	jobs  TEXT    NOT NULL, -- a JSON list
	until INTEGER NOT NULL
) STRICT;

-- Check codes by the day they are of, and the mark of that day when they were
-- worked out. What is shown of a code is worked out anew: this only finds it.
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
