/** AuditEvents, made from what the ledger says. */
import type Database from 'better-sqlite3';
import type { AuditEvent } from 'fhir/r4.js';
import type { Identifier, Reference } from '../domain/vocabulary/entry.ts';
import { auditEventOf } from '../fhir/audit-event/audit-event.ts';
import type { AuditedAccess, AuditedEnvelope } from '../fhir/audit-event/entry.ts';

interface Row {
  readonly envelope: string;
  /** Of an access. */
  readonly body: string | null;
  readonly system: string | null;
  readonly value: string | null;
  readonly patient: string | null;
  readonly hasIssued: 0 | 1;
}

/** Reads the AuditEvent of an entry; undefined where there is no such entry, or it only vouches for deliveries or says that the log runs. */
export function createAuditEventReader(
  db: Database.Database,
  canonical: string,
): (logIndex: number) => AuditEvent | undefined {
  const row = db.prepare<[number], Row>(
    `SELECT envelope, i.system, i.value,
       (SELECT body FROM payload p WHERE p.log_index = l.log_index AND l.stream LIKE 'access.%') AS body,
       (SELECT patient FROM drain_patient d WHERE d.drain = l.stream AND d.log_index <= l.log_index
        ORDER BY d.log_index DESC LIMIT 1) AS patient,
       EXISTS (SELECT 1 FROM issued s WHERE s.drain = l.stream AND s.log_index = l.log_index) AS hasIssued
     FROM ledger l LEFT JOIN identity i ON i.entry_id = l.envelope ->> 'entry' AND i.log_index = l.log_index
     WHERE l.log_index = ? AND l.stream NOT IN ('delivery', 'heartbeat')`,
  );
  return (logIndex) => {
    const found = row.get(logIndex);
    if (found === undefined) return undefined;
    const { envelope, body, system, value, patient, hasIssued } = found;
    return auditEventOf(
      {
        logIndex,
        envelope: JSON.parse(envelope) as AuditedEnvelope,
        access: JSON.parse(body ?? 'null') as AuditedAccess | null,
        patient: JSON.parse(patient ?? 'null') as Reference | null,
        identifier: system === null || value === null ? null : ({ system, value } satisfies Identifier),
        hasIssued: hasIssued === 1,
      },
      canonical,
    );
  };
}
