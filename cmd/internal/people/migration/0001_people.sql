-- Times are Unix milliseconds; 0 is never. Secrets are kept only as hashes.
CREATE TABLE person (
  id         INTEGER PRIMARY KEY AUTOINCREMENT,
  login      TEXT NOT NULL UNIQUE,
  name       TEXT NOT NULL,
  role       TEXT NOT NULL,
  password   TEXT NOT NULL DEFAULT '',
  pin        TEXT NOT NULL DEFAULT '',
  pin_failed INTEGER NOT NULL DEFAULT 0,
  off        INTEGER NOT NULL DEFAULT 0,
  created    INTEGER NOT NULL,
  last_in    INTEGER NOT NULL DEFAULT 0
) STRICT;

-- Every name that somebody ever had: the journal names people, so a name stays its bearer's.
CREATE TABLE called (
  key    TEXT PRIMARY KEY,
  name   TEXT NOT NULL,
  person INTEGER NOT NULL REFERENCES person (id)
) STRICT;

CREATE TABLE device (
  id      INTEGER PRIMARY KEY AUTOINCREMENT,
  mark    BLOB NOT NULL UNIQUE,
  hash    BLOB NOT NULL,
  name    TEXT NOT NULL,
  began   INTEGER NOT NULL,
  person  INTEGER NOT NULL REFERENCES person (id),
  last_in INTEGER NOT NULL DEFAULT 0
) STRICT;

CREATE TABLE session (
  id        INTEGER PRIMARY KEY AUTOINCREMENT,
  mark      BLOB NOT NULL UNIQUE,
  hash      BLOB NOT NULL,
  person    INTEGER NOT NULL REFERENCES person (id),
  by_pin    INTEGER NOT NULL,
  device    INTEGER REFERENCES device (id) ON DELETE CASCADE,
  began     INTEGER NOT NULL,
  last_seen INTEGER NOT NULL
) STRICT;
CREATE INDEX session_person ON session (person);

-- One-time links; the set-up link has no person.
CREATE TABLE link (
  id     INTEGER PRIMARY KEY AUTOINCREMENT,
  mark   BLOB NOT NULL UNIQUE,
  hash   BLOB NOT NULL,
  person INTEGER UNIQUE REFERENCES person (id),
  until  INTEGER NOT NULL
) STRICT;

-- Wrong tries, and until when the next one has to wait.
CREATE TABLE throttle (
  key    TEXT PRIMARY KEY,
  failed INTEGER NOT NULL,
  last   INTEGER NOT NULL,
  until  INTEGER NOT NULL
) STRICT;

-- The addresses that somebody has signed in from.
CREATE TABLE known (
  person INTEGER NOT NULL REFERENCES person (id),
  place  TEXT NOT NULL,
  last   INTEGER NOT NULL,
  PRIMARY KEY (person, place)
) STRICT;

CREATE TABLE happened (
  seq   INTEGER PRIMARY KEY AUTOINCREMENT,
  at    INTEGER NOT NULL,
  what  TEXT NOT NULL,
  who   TEXT NOT NULL,
  by    TEXT NOT NULL,
  place TEXT NOT NULL,
  note  TEXT NOT NULL
) STRICT;
CREATE TRIGGER happened_stays_as_it_is BEFORE UPDATE ON happened BEGIN SELECT RAISE(ABORT, 'what happened is never changed'); END;
CREATE TRIGGER happened_stays BEFORE DELETE ON happened BEGIN SELECT RAISE(ABORT, 'what happened is never deleted'); END;
