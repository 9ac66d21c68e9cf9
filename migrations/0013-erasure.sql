-- Entries whose payload a lawful erasure removed, and the entry that says so. What follows from it may be removed with it.
CREATE TABLE erased (
  log_index INTEGER PRIMARY KEY REFERENCES ledger (log_index),
  -- Name of the entry; that of a drain is the name of the entry that placed it.
  entry_id  TEXT    NOT NULL,
  tombstone INTEGER NOT NULL REFERENCES ledger (log_index)
) STRICT;
CREATE INDEX erased_by_name ON erased (entry_id);
CREATE TRIGGER erased_has_tombstone BEFORE INSERT ON erased
  WHEN (SELECT stream FROM ledger WHERE log_index = NEW.tombstone) IS NOT 'erasure'
  BEGIN SELECT RAISE(ABORT, 'no entry of the ledger says that it was erased'); END;
CREATE TRIGGER erased_keeps_rows  BEFORE DELETE ON erased BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
CREATE TRIGGER erased_keeps_words BEFORE UPDATE ON erased BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;

DROP TRIGGER payload_keeps_rows;
CREATE TRIGGER payload_keeps_rows BEFORE DELETE ON payload
  WHEN NOT EXISTS (SELECT 1 FROM erased WHERE log_index = OLD.log_index)
  BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;

DROP TRIGGER identity_keeps_rows;
CREATE TRIGGER identity_keeps_rows BEFORE DELETE ON identity
  WHEN NOT EXISTS (SELECT 1 FROM erased WHERE log_index = OLD.log_index)
  BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;

DROP TRIGGER unmapped_message_keeps_rows;
CREATE TRIGGER unmapped_message_keeps_rows BEFORE DELETE ON unmapped_message
  WHEN NOT EXISTS (SELECT 1 FROM erased WHERE log_index = OLD.log_index)
  BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;

DROP TRIGGER issued_keeps_rows;
CREATE TRIGGER issued_keeps_rows BEFORE DELETE ON issued
  WHEN NOT EXISTS (SELECT 1 FROM erased WHERE entry_id = OLD.drain)
  BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;

DROP TRIGGER reissue_keeps_rows;
CREATE TRIGGER reissue_keeps_rows BEFORE DELETE ON reissue
  WHEN NOT EXISTS (SELECT 1 FROM erased WHERE entry_id = OLD.drain)
  BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;

DROP TRIGGER delivery_event_keeps_rows;
CREATE TRIGGER delivery_event_keeps_rows BEFORE DELETE ON delivery_event
  WHEN NOT EXISTS (SELECT 1 FROM erased WHERE entry_id = OLD.drain)
  BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
