-- A checkpoint may go where a later one of the same minute stays, the log has gone on for 30 days since, and no witness
-- cosigned it. Times are those of the newest entry that each covers; they never fall along the log.
DROP TRIGGER checkpoint_keeps_rows;
CREATE TRIGGER checkpoint_keeps_rows BEFORE DELETE ON checkpoint WHEN NOT coalesce((
  SELECT substr(own.envelope ->> 'recorded_at', 1, 16) = substr(later.envelope ->> 'recorded_at', 1, 16)
    AND julianday(newest.envelope ->> 'recorded_at') - julianday(own.envelope ->> 'recorded_at') > 30
    AND NOT EXISTS (SELECT 1 FROM cosignature WHERE size = OLD.size)
  FROM ledger own, ledger later, ledger newest
  WHERE own.log_index = OLD.size - 1
    AND later.log_index = (SELECT min(size) FROM checkpoint WHERE size > OLD.size) - 1
    AND newest.log_index = (SELECT max(log_index) FROM ledger)), FALSE)
BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;
