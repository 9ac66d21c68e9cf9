-- Each step of a delivery is committed to by an entry of the ledger, behind a salt of its own: the hash of one step then
-- gives nothing away of another. NULL: from before that, and proven by nothing.
ALTER TABLE delivery_event ADD COLUMN salt BLOB;
