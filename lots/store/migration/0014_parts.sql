-- A vessel's books are kept in parts, each a cell of its own, so that an entry works out anew only the part that its time touches.
CREATE TABLE part (
  cell INTEGER PRIMARY KEY,
  vessel TEXT NOT NULL,
  since INTEGER NOT NULL,             -- Unix seconds; the lowest number for a vessel's first part
  opens INTEGER NOT NULL,             -- the entry of the clean or inflow that it begins with; 0 for the first
  state TEXT NOT NULL CHECK (json_valid(state)) -- what the part before leaves to it
) STRICT;
CREATE UNIQUE INDEX part_vessel ON part(vessel, since);
-- Which entries moved something in a part, and when at the earliest and the latest.
CREATE TABLE move (
  cell INTEGER NOT NULL, entry INTEGER NOT NULL, start INTEGER NOT NULL, finish INTEGER NOT NULL,
  PRIMARY KEY (cell, entry)
) STRICT, WITHOUT ROWID;
CREATE INDEX move_entry ON move(entry);
-- When cleans, circulations and counts were, by what they name, and when runs began, by their product.
CREATE TABLE moment (
  code TEXT NOT NULL, sheet TEXT NOT NULL, start INTEGER NOT NULL, seq INTEGER NOT NULL, finish INTEGER NOT NULL,
  PRIMARY KEY (code, sheet, start, seq)
) STRICT, WITHOUT ROWID;
CREATE INDEX moment_seq ON moment(seq);
-- A fill is found by its start, in whichever part it is drawn on.
DROP INDEX draw_fill;
CREATE INDEX draw_fill ON draw(fill);
-- Deliveries that carried no supplier's lot.
CREATE INDEX record_unnumbered ON record(seq) WHERE sheet = 'receipts' AND json_extract(body, '$.supplier_lot') = '-';
-- The records are read anew into it, and the lineage is derived anew.
UPDATE record SET digest = 0;
