-- What a form that was sent was answered with, so that one that is sent twice records once. It is no part of the journal.
CREATE TABLE answered (
  form TEXT PRIMARY KEY,
  answer TEXT NOT NULL,
  at INTEGER NOT NULL                 -- Unix milliseconds
) STRICT;
