-- What a target took last, one row for all that hangs on one entry: a row for each resource was the largest part of what
-- a delivery cost. `resources`: a JSON object of [version, name at the target (0: ours), etag, when it was accepted].
CREATE TABLE taken_of_entry (
  target    TEXT NOT NULL,
  drain     TEXT NOT NULL,
  -- The end of the ids: the entry that they hang on.
  anchor    TEXT NOT NULL,
  resources TEXT NOT NULL,
  PRIMARY KEY (target, drain, anchor)
) STRICT, WITHOUT ROWID;
-- The old keys are ids turned round, dot by dot: anchor, drain, type and name.
INSERT INTO taken_of_entry (target, drain, anchor, resources)
  SELECT target, drain, anchor,
    json_group_object(
      substr(rest, instr(rest, '.') + 1) || '.' || substr(rest, 1, instr(rest, '.') - 1),
      json_array(version, remote, etag, accepted_ms))
  FROM (SELECT *, substr(key, 1, instr(key, '.') - 1) AS anchor, substr(key, instr(key, '.') + 1) AS rest FROM taken)
  GROUP BY target, drain, anchor;
DROP TABLE taken;
ALTER TABLE taken_of_entry RENAME TO taken;
