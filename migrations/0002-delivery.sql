-- How far delivery has come, one row a drain and target: what it is at, and how far it has come in the order of the
-- ledger (`cursor`). Out of turn come what staff asked for again (`set_aside` as 'requeued') and the replay of a period.
CREATE TABLE lane_of_target (
  target      TEXT    NOT NULL,
  drain       TEXT    NOT NULL,
  log_index   INTEGER NOT NULL,
  cursor      INTEGER NOT NULL,
  -- unknown: the last attempt may have been, or may still be, acted on.
  state       TEXT    NOT NULL CHECK (state IN ('idle', 'waiting', 'sending', 'unknown')),
  redo        TEXT    CHECK (redo IN ('requeue', 'replay')),
  attempts    INTEGER NOT NULL,
  -- When the first attempt began, ms since the epoch; 0 before it.
  since_ms    INTEGER NOT NULL,
  due_ms      INTEGER NOT NULL,
  outcome     TEXT,
  replay_next INTEGER,
  replay_last INTEGER,
  PRIMARY KEY (target, drain)
) STRICT, WITHOUT ROWID;
INSERT INTO lane_of_target (target, drain, log_index, cursor, state, attempts, since_ms, due_ms)
  SELECT target, drain, log_index, log_index, state, attempts, 0, due_ms FROM lane;
DROP TABLE lane;
ALTER TABLE lane_of_target RENAME TO lane;
CREATE INDEX lane_due ON lane (target, due_ms) WHERE state <> 'idle';

-- What the lanes have passed and a target does not plainly hold: refused for good, skipped by staff, accepted for
-- later, or asked for again.
CREATE TABLE set_aside (
  target    TEXT    NOT NULL,
  drain     TEXT    NOT NULL,
  log_index INTEGER NOT NULL,
  state     TEXT    NOT NULL CHECK (state IN ('dead', 'skipped', 'accepted', 'requeued')),
  at_ms     INTEGER NOT NULL,
  attempts  INTEGER NOT NULL,
  outcome   TEXT,
  PRIMARY KEY (target, drain, log_index)
) STRICT, WITHOUT ROWID;
INSERT INTO set_aside (target, drain, log_index, state, at_ms, attempts, outcome)
  SELECT target, drain, log_index, 'dead', 0, 0, json_object('why', outcome) FROM dead_letter;
DROP TABLE dead_letter;

-- Which version of a resource a target took last, and what it calls it there. The key starts with the end of the id,
-- so that what one entry issued lies together.
CREATE TABLE taken (
  target  TEXT    NOT NULL,
  drain   TEXT    NOT NULL,
  key     TEXT    NOT NULL,
  version INTEGER NOT NULL,
  remote  TEXT,
  etag    TEXT,
  PRIMARY KEY (target, drain, key)
) STRICT, WITHOUT ROWID;

-- Every step of every delivery. Append-only: a leaf of a tree over the ledger can be made of a row as it stands.
CREATE TABLE delivery_event (
  event     INTEGER PRIMARY KEY,
  at_ms     INTEGER NOT NULL,
  target    TEXT    NOT NULL,
  drain     TEXT,
  log_index INTEGER,
  kind      TEXT    NOT NULL,
  attempts  INTEGER NOT NULL,
  actor     TEXT,
  detail    TEXT
) STRICT;
CREATE INDEX delivery_event_of_drain ON delivery_event (drain, target, event) WHERE drain IS NOT NULL;
CREATE INDEX delivery_event_of_target ON delivery_event (target, event) WHERE drain IS NULL;
CREATE TRIGGER delivery_event_keeps_rows  BEFORE DELETE ON delivery_event BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
CREATE TRIGGER delivery_event_keeps_words BEFORE UPDATE ON delivery_event BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
