-- What is or was stopped: each hold, and each lot that came in on hold, with the moment from which it no longer counts. So what
-- stands now, and what was let go since, is found without reading all holds there ever were.
CREATE TABLE stop (
  seq INTEGER PRIMARY KEY,            -- the entry of the hold, or of the receipt
  receipt INTEGER NOT NULL,           -- 1 for a receipt
  code TEXT NOT NULL,                 -- what is stopped
  at_from INTEGER NOT NULL, at_to INTEGER NOT NULL, -- since when
  reason TEXT NOT NULL,
  over INTEGER NOT NULL               -- Unix seconds: when it was let go; the highest number where it was not, the lowest where a hold stands for the receipt
) STRICT;
CREATE INDEX stop_code ON stop(code);
CREATE INDEX stop_over ON stop(over);
CREATE INDEX stop_reason ON stop(reason, over);
-- Lots that were rejected and yet put into a vessel, by that vessel.
CREATE INDEX record_rejected ON record(json_extract(body, '$.into')) WHERE sheet = 'receipts' AND json_extract(body, '$.status') = 'rejected';
-- Rows by their ref.
CREATE INDEX record_ref ON record(json_extract(body, '$.ref')) WHERE json_extract(body, '$.ref') IS NOT NULL;
-- What was drawn of one fill, what began with it, and what may have come of something that came in earlier.
CREATE INDEX draw_fill ON draw(cell, fill);
CREATE INDEX draw_start ON draw(cell, start);
CREATE INDEX draw_maybe ON draw(cell) WHERE maybe <> '';
-- The records are read anew into it.
UPDATE record SET digest = 0;
