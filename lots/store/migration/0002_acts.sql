-- What people did about something, step by step: an entry of the journal each.
CREATE TABLE act (
  seq INTEGER PRIMARY KEY,            -- the entry that states it
  about TEXT NOT NULL,                -- the code of what it is about
  body TEXT NOT NULL CHECK (json_valid(body))
) STRICT;
CREATE INDEX act_about ON act(about, seq);
