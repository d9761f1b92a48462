-- Where each run and clearance lies on its line, so that what ran before and after is found without reading the line's history.
CREATE TABLE line_span (
  seq INTEGER PRIMARY KEY,            -- the entry of the run or clearance
  line TEXT NOT NULL,
  start INTEGER NOT NULL, finish INTEGER NOT NULL, -- Unix seconds; of uncertain times the widest span
  running INTEGER NOT NULL            -- seconds that the line surely ran
) STRICT;
CREATE INDEX line_span_start ON line_span(line, start);
CREATE INDEX line_span_finish ON line_span(line, finish);
-- The records are read anew into it, and the lineage is derived anew by the rules of today.
UPDATE record SET digest = 0;
