-- What witnesses said of checkpoints, by the public key of each: signature lines as they stand in a note.
CREATE TABLE cosignature (
  witness TEXT    NOT NULL,
  size    INTEGER NOT NULL REFERENCES checkpoint (size),
  line    TEXT    NOT NULL,
  PRIMARY KEY (witness, size)
) STRICT, WITHOUT ROWID;
CREATE INDEX cosignature_of_checkpoint ON cosignature (size);
CREATE TRIGGER cosignature_keeps_rows  BEFORE DELETE ON cosignature BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
CREATE TRIGGER cosignature_keeps_words BEFORE UPDATE ON cosignature BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
