-- The journal: every statement anyone made, in order, never changed.
CREATE TABLE journal (
  seq INTEGER PRIMARY KEY,
  kind TEXT NOT NULL,                 -- a sheet's name, amend or void
  target INTEGER REFERENCES journal(seq), -- the entry that an amend or void corrects
  at_from INTEGER, at_to INTEGER,     -- when it happened: an instant, or the seconds of a whole day; null for reference data
  recorded INTEGER NOT NULL,          -- when it was entered, Unix milliseconds
  by TEXT NOT NULL,
  body TEXT NOT NULL CHECK (json_valid(body)), -- the content as canonical JSON
  hash BLOB NOT NULL CHECK (length(hash) = 32), -- SHA-256 over the entry and the hash before it
  CHECK ((target IS NULL) = (kind NOT IN ('amend', 'void')))
) STRICT;
CREATE INDEX journal_target ON journal(target) WHERE target IS NOT NULL;
CREATE TRIGGER journal_keep BEFORE UPDATE ON journal BEGIN SELECT RAISE(ABORT, 'the journal is never changed'); END;
CREATE TRIGGER journal_stay BEFORE DELETE ON journal BEGIN SELECT RAISE(ABORT, 'the journal is never shortened'); END;

-- The records: the current reading of the journal.
CREATE TABLE record (
  seq INTEGER PRIMARY KEY,            -- the entry that stated it
  sheet TEXT NOT NULL,
  body TEXT NOT NULL CHECK (json_valid(body)),
  digest INTEGER NOT NULL             -- finds a row that is already recorded
) STRICT;
CREATE INDEX record_digest ON record(digest);
CREATE INDEX record_sheet ON record(sheet);

-- Which records name a code.
CREATE TABLE mention (code TEXT NOT NULL, seq INTEGER NOT NULL, PRIMARY KEY (code, seq)) STRICT, WITHOUT ROWID;
CREATE INDEX mention_seq ON mention(seq);

-- What each code names, and the row that introduced it.
CREATE TABLE code (code TEXT PRIMARY KEY, kind TEXT NOT NULL, seq INTEGER NOT NULL) STRICT, WITHOUT ROWID;
CREATE INDEX code_seq ON code(seq);
CREATE INDEX code_fold ON code(code COLLATE NOCASE);

-- Text as printed on goods and papers: suppliers' lots, date codes, pallet numbers, documents, keg numbers.
CREATE TABLE printed (text TEXT NOT NULL, kind TEXT NOT NULL, seq INTEGER NOT NULL, PRIMARY KEY (text, kind, seq)) STRICT, WITHOUT ROWID;
CREATE INDEX printed_seq ON printed(seq);
CREATE INDEX printed_fold ON printed(text COLLATE NOCASE);

-- The lineage, derived from the records. A cell owns what it derived.
CREATE TABLE cell (id INTEGER PRIMARY KEY, owner TEXT NOT NULL UNIQUE) STRICT;
CREATE TABLE node (
  id INTEGER PRIMARY KEY,
  kind INTEGER NOT NULL,
  code TEXT NOT NULL,
  cell INTEGER NOT NULL,
  home TEXT NOT NULL,
  since INTEGER NOT NULL, until INTEGER NOT NULL,
  total REAL NOT NULL, den REAL NOT NULL,
  entry INTEGER NOT NULL
) STRICT;
CREATE UNIQUE INDEX node_code ON node(code, kind);
CREATE INDEX node_cell ON node(cell);
CREATE INDEX node_home ON node(home, since);
CREATE TABLE link (
  src INTEGER NOT NULL, dst INTEGER NOT NULL,
  entry INTEGER NOT NULL, cause INTEGER NOT NULL, grade INTEGER NOT NULL,
  qty REAL, at INTEGER NOT NULL, cell INTEGER NOT NULL,
  PRIMARY KEY (src, dst, entry, cause)
) STRICT, WITHOUT ROWID;
CREATE INDEX link_back ON link(dst);
CREATE INDEX link_cell ON link(cell);

-- The vessels' books: what each flow drew on and filled.
CREATE TABLE draw (
  cell INTEGER NOT NULL, entry INTEGER NOT NULL, start INTEGER NOT NULL, n INTEGER NOT NULL,
  finish INTEGER NOT NULL, qty REAL NOT NULL, state INTEGER NOT NULL, fill INTEGER NOT NULL, root INTEGER NOT NULL,
  one_of INTEGER NOT NULL, maybe TEXT NOT NULL,
  PRIMARY KEY (cell, entry, start, n)
) STRICT, WITHOUT ROWID;
CREATE INDEX draw_entry ON draw(entry);
CREATE TABLE arrival (
  cell INTEGER NOT NULL, entry INTEGER NOT NULL, start INTEGER NOT NULL, finish INTEGER NOT NULL, fill INTEGER NOT NULL,
  PRIMARY KEY (cell, entry, start, fill)
) STRICT, WITHOUT ROWID;
CREATE INDEX arrival_entry ON arrival(entry);
CREATE TABLE pass (
  item TEXT NOT NULL, start INTEGER NOT NULL, entry INTEGER NOT NULL, dst TEXT NOT NULL,
  dst_kind INTEGER NOT NULL, finish INTEGER NOT NULL, srcs TEXT NOT NULL, cell INTEGER NOT NULL,
  PRIMARY KEY (item, start, entry, dst)
) STRICT, WITHOUT ROWID;
CREATE INDEX pass_cell ON pass(cell);
CREATE TABLE finding (
  id INTEGER PRIMARY KEY, cell INTEGER NOT NULL, name TEXT NOT NULL, code TEXT NOT NULL, text TEXT NOT NULL, entry INTEGER NOT NULL
) STRICT;
CREATE INDEX finding_cell ON finding(cell);
CREATE INDEX finding_code ON finding(code);
CREATE INDEX finding_entry ON finding(entry);
