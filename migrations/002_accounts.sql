-- Who may use the site. None of this is an entry: it never leaves with a job.
-- Moments are Unix seconds, 0 for never.
CREATE TABLE account (
	account  TEXT    NOT NULL PRIMARY KEY,
	login    TEXT    NOT NULL UNIQUE, -- typed to sign in; lower case
	name     TEXT    NOT NULL,
	password TEXT    NOT NULL, -- argon2id with its parameters; '' while none is chosen
	epoch    INTEGER NOT NULL, -- sessions of an earlier one are over
	disabled INTEGER NOT NULL, -- since when
	seen     INTEGER NOT NULL -- last signed in
) STRICT;

-- What an account is on a job, or in the whole company where job is ''.
CREATE TABLE part (
	account TEXT NOT NULL REFERENCES account,
	job     TEXT NOT NULL,
	role    TEXT NOT NULL,
	person  TEXT NOT NULL, -- of the job, in whose name the account writes
	PRIMARY KEY (account, job)
) STRICT;

-- Links handed over: whoever opens one chooses the account's password, once.
CREATE TABLE link (
	account TEXT    NOT NULL PRIMARY KEY REFERENCES account,
	code    BLOB    NOT NULL UNIQUE, -- SHA-256 of what stands in the link
	until   INTEGER NOT NULL
) STRICT;

-- Sessions signed out of before their time was over.
CREATE TABLE ended (
	session TEXT    NOT NULL PRIMARY KEY,
	until   INTEGER NOT NULL
) STRICT;

-- Devices that may exchange entries, each by a key of its own.
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
