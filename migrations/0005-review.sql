-- What a target accepted for later (HTTP 202) is looked for until it is there.

-- When the target accepted this version, ms since the epoch; NULL once it is known to hold it.
ALTER TABLE taken ADD COLUMN accepted_ms INTEGER;

-- When to look for what was accepted, ms since the epoch; NULL: never. How often the target has accepted it.
ALTER TABLE set_aside ADD COLUMN due_ms INTEGER;
ALTER TABLE set_aside ADD COLUMN accepted INTEGER NOT NULL DEFAULT 0;
CREATE INDEX set_aside_due ON set_aside (target, due_ms) WHERE state = 'accepted' AND due_ms IS NOT NULL;

-- A lane may be at such a look (`redo`), which sends nothing.
CREATE TABLE lane_with_looks (
  target      TEXT    NOT NULL,
  drain       TEXT    NOT NULL,
  log_index   INTEGER NOT NULL,
  cursor      INTEGER NOT NULL,
  -- unknown: the last attempt may have been, or may still be, acted on.
  state       TEXT    NOT NULL CHECK (state IN ('idle', 'waiting', 'sending', 'unknown')),
  redo        TEXT    CHECK (redo IN ('requeue', 'replay', 'look')),
  attempts    INTEGER NOT NULL,
  -- When the first attempt began, ms since the epoch; 0 before it.
  since_ms    INTEGER NOT NULL,
  due_ms      INTEGER NOT NULL,
  outcome     TEXT,
  replay_next INTEGER,
  replay_last INTEGER,
  accepted    INTEGER NOT NULL DEFAULT 0,
  PRIMARY KEY (target, drain)
) STRICT, WITHOUT ROWID;
INSERT INTO lane_with_looks (target, drain, log_index, cursor, state, redo, attempts, since_ms, due_ms, outcome, replay_next, replay_last)
  SELECT target, drain, log_index, cursor, state, redo, attempts, since_ms, due_ms, outcome, replay_next, replay_last FROM lane;
DROP TABLE lane;
ALTER TABLE lane_with_looks RENAME TO lane;
CREATE INDEX lane_due ON lane (target, due_ms) WHERE state <> 'idle';
