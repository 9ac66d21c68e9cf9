-- What waits on one drain may go to a target in one Bundle. Such a Bundle is tried once: where it is not plainly taken,
-- each of its issues goes alone, and where nobody knows what came of it, each of them may have been acted on.

-- The last issue of the last Bundle that several shared, and of the last whose outcome is not known; -1: there was none.
ALTER TABLE lane ADD COLUMN shared_to INTEGER NOT NULL DEFAULT -1;
ALTER TABLE lane ADD COLUMN doubt_to  INTEGER NOT NULL DEFAULT -1;
