-- Messages that were kept because nothing could be made of them, by the hash of what was sent: the same message again
-- is not kept twice. What became of one since is an entry of the same stream.
CREATE TABLE unmapped_message (
  message_hash TEXT    PRIMARY KEY,
  log_index    INTEGER NOT NULL REFERENCES ledger (log_index),
  settled_log  INTEGER REFERENCES ledger (log_index)
) STRICT, WITHOUT ROWID;
CREATE INDEX unmapped_waiting ON unmapped_message (log_index) WHERE settled_log IS NULL;
CREATE TRIGGER unmapped_message_keeps_rows BEFORE DELETE ON unmapped_message
  BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
CREATE TRIGGER unmapped_message_keeps_words BEFORE UPDATE ON unmapped_message
  WHEN OLD.settled_log IS NOT NULL OR NEW.message_hash IS NOT OLD.message_hash OR NEW.log_index IS NOT OLD.log_index
  BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
