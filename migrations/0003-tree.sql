-- The tree over all entries of the ledger (RFC 9162), as far as it is kept: its frontier, and the roots of complete
-- subtrees of 256, 65,536 … leaves, so that a proof reads few leaves. All of it follows from ledger.hash: empty these
-- two tables and they are filled again when the service starts.
CREATE TABLE tree (
  one      INTEGER PRIMARY KEY CHECK (one = 1),
  size     INTEGER NOT NULL,
  frontier BLOB    NOT NULL
) STRICT;
CREATE TABLE tile (
  height INTEGER NOT NULL,
  place  INTEGER NOT NULL,
  root   BLOB    NOT NULL,
  PRIMARY KEY (height, place)
) STRICT, WITHOUT ROWID;

-- What was signed of the tree, and told to others.
CREATE TABLE checkpoint (
  size INTEGER PRIMARY KEY,
  note TEXT    NOT NULL
) STRICT;
CREATE TRIGGER checkpoint_keeps_rows  BEFORE DELETE ON checkpoint BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
CREATE TRIGGER checkpoint_keeps_words BEFORE UPDATE ON checkpoint BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
