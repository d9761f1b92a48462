-- What ties all that is derived to the journal: the last entry that it follows from, and a sum over its rows. It is kept by the
-- program and not by triggers, so that rows changed by other means no longer agree with it. Without it all is derived anew.
CREATE TABLE seal (
  id INTEGER PRIMARY KEY CHECK (id = 1),
  seq INTEGER NOT NULL,               -- the journal's last entry
  head BLOB NOT NULL,                 -- its hash
  sum BLOB NOT NULL CHECK (length(sum) = 32) -- the rows' hashes, added up
) STRICT;
