-- Indexes of what named a device, made from the ledger: which drain it counts for now.
CREATE TABLE device_chain (
  -- Entry id of the chain's first entry.
  chain     TEXT    PRIMARY KEY,
  device    TEXT    NOT NULL,
  -- When it was read, ms since the epoch; null: the chain is entered in error.
  read_ms   INTEGER,
  -- Null: it counts for none.
  drain     TEXT,
  first_log INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX device_chain_of_device ON device_chain (device, read_ms);
CREATE INDEX device_chain_of_drain ON device_chain (drain) WHERE drain IS NOT NULL;
CREATE INDEX device_chain_unmatched ON device_chain (first_log) WHERE drain IS NULL AND read_ms IS NOT NULL;

CREATE TABLE device_chain_entry (
  log_index INTEGER PRIMARY KEY,
  chain     TEXT NOT NULL
) STRICT;
CREATE INDEX device_chain_entry_of_chain ON device_chain_entry (chain);

-- Devices that are registered, and the drains that each was ever assigned to.
CREATE TABLE device (
  device TEXT PRIMARY KEY
) STRICT, WITHOUT ROWID;
CREATE TABLE device_of_drain (
  drain  TEXT NOT NULL,
  device TEXT NOT NULL,
  PRIMARY KEY (drain, device)
) STRICT, WITHOUT ROWID;
