-- The ledger: append-only. One row an entry, in the order of the log.
CREATE TABLE ledger (
  log_index INTEGER PRIMARY KEY,
  stream    TEXT    NOT NULL,
  seq       INTEGER NOT NULL,
  envelope  TEXT    NOT NULL,
  hash      TEXT    NOT NULL,
  UNIQUE (stream, seq)
) STRICT;

-- What an entry says, behind the salt of its commitment, and the answer its sender got.
CREATE TABLE payload (
  log_index INTEGER PRIMARY KEY REFERENCES ledger (log_index),
  salt      BLOB    NOT NULL,
  body      TEXT    NOT NULL,
  receipt   TEXT    NOT NULL
) STRICT;

-- Texts that many resource versions share, with holes in them (src/json/frame.ts), by the hash of the frame.
CREATE TABLE frame (
  name TEXT PRIMARY KEY,
  text TEXT NOT NULL
) STRICT, WITHOUT ROWID;

-- The exact texts of the resource versions that an entry issued, by the drain they are about: a JSON list of lists,
-- each a frame's name and what fills its holes.
CREATE TABLE issued (
  drain     TEXT    NOT NULL,
  log_index INTEGER NOT NULL REFERENCES ledger (log_index),
  resources TEXT    NOT NULL,
  UNIQUE (drain, log_index)
) STRICT;

-- The sender's key of each entry, for ever.
CREATE TABLE identity (
  entry_id     TEXT    PRIMARY KEY,
  system       TEXT    NOT NULL,
  value        TEXT    NOT NULL,
  request_hash TEXT    NOT NULL,
  log_index    INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

-- Facts issued more than once, or elsewhere than with the entry they hang on.
CREATE TABLE reissue (
  drain     TEXT    NOT NULL,
  fact_key  TEXT    NOT NULL,
  version   INTEGER NOT NULL,
  status    TEXT    NOT NULL,
  log_index INTEGER NOT NULL,
  PRIMARY KEY (drain, fact_key, version)
) STRICT, WITHOUT ROWID;

CREATE TRIGGER ledger_keeps_rows   BEFORE DELETE ON ledger   BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
CREATE TRIGGER ledger_keeps_words  BEFORE UPDATE ON ledger   BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
CREATE TRIGGER payload_keeps_rows  BEFORE DELETE ON payload  BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
CREATE TRIGGER payload_keeps_words BEFORE UPDATE ON payload  BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
CREATE TRIGGER issued_keeps_rows   BEFORE DELETE ON issued   BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
CREATE TRIGGER issued_keeps_words  BEFORE UPDATE ON issued   BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
CREATE TRIGGER identity_keeps_rows BEFORE DELETE ON identity BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
CREATE TRIGGER identity_keeps_words BEFORE UPDATE ON identity BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
CREATE TRIGGER reissue_keeps_rows  BEFORE DELETE ON reissue  BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
CREATE TRIGGER reissue_keeps_words BEFORE UPDATE ON reissue  BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;

CREATE TRIGGER frame_keeps_rows    BEFORE DELETE ON frame    BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
CREATE TRIGGER frame_keeps_words   BEFORE UPDATE ON frame    BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;

-- Which patient each drain belongs to: made from the ledger, so that a patient's drains are found together.
CREATE TABLE drain (
  drain       TEXT    PRIMARY KEY,
  patient_key TEXT,
  placed_log  INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX drain_of_patient ON drain (patient_key) WHERE patient_key IS NOT NULL;

-- How far delivery has come, one row a drain and target. What is to be sent is `issued` itself, in order: an entry
-- costs delivery nothing while the lane is busy, and finding what is due costs the same with any backlog.
CREATE TABLE lane (
  target    TEXT    NOT NULL,
  drain     TEXT    NOT NULL,
  log_index INTEGER NOT NULL,
  state     TEXT    NOT NULL CHECK (state IN ('idle', 'waiting', 'sending')),
  attempts  INTEGER NOT NULL,
  due_ms    INTEGER NOT NULL,
  outcome   TEXT,
  PRIMARY KEY (target, drain)
) STRICT, WITHOUT ROWID;
CREATE INDEX lane_due ON lane (target, due_ms) WHERE state <> 'idle';

-- What a target will never take, and why.
CREATE TABLE dead_letter (
  target    TEXT    NOT NULL,
  drain     TEXT    NOT NULL,
  log_index INTEGER NOT NULL,
  outcome   TEXT    NOT NULL,
  PRIMARY KEY (target, drain, log_index)
) STRICT, WITHOUT ROWID;
