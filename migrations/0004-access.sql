-- Whom each drain was linked to, from which entry on, as a reference in JSON: made from the ledger, so that it is known
-- whom an entry or an access was about at its time.
CREATE TABLE drain_patient (
  drain     TEXT    NOT NULL,
  log_index INTEGER NOT NULL,
  patient   TEXT,
  PRIMARY KEY (drain, log_index)
) STRICT, WITHOUT ROWID;
INSERT INTO drain_patient (drain, log_index, patient)
  SELECT drain, placed_log, CASE
    WHEN instr(patient_key, '|') = 0 THEN json_object('reference', patient_key)
    WHEN patient_key IS NOT NULL THEN json_object('identifier', json_object(
      'system', substr(patient_key, 1, instr(patient_key, '|') - 1),
      'value', substr(patient_key, instr(patient_key, '|') + 1)))
    END
  FROM drain;
