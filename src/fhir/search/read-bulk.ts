/** What a client asks of a bulk export (Bulk Data Access 2.0.0, query parameters). */
import { parseInstant } from '../../domain/numbers/instant.ts';
import { BULK_TYPES } from '../bulk.ts';
import { repairOffset } from './date-range.ts';
import type { Pair } from './query.ts';
import { notSupported, refused } from './refused.ts';

export interface BulkQuery {
  /** Null: all. */
  readonly types: readonly string[] | null;
  /** Only versions issued later than this, ms since the epoch. */
  readonly sinceMs: number | null;
  /** What a lenient client asked for and does not get, a sentence each. */
  readonly leftOut: readonly string[];
}

/** What each parameter does. */
export const BULK_PARAMETERS = {
  _outputFormat: 'application/fhir+ndjson, application/ndjson or ndjson, which all mean the same.',
  _since: 'Only what was issued later than this instant: the transactionTime of the export before.',
  _type: 'Types to export, with commas between; all that the client may read unless given.',
} as const satisfies Readonly<Record<string, string>>;

const FORMATS = ['application/fhir+ndjson', 'application/ndjson', 'ndjson'];
/** Named by the guide, and not offered here. */
const OPTIONAL = ['_typeFilter', '_elements', 'patient', 'includeAssociatedData'];

/** @throws {Refused} for what is not understood, or not offered, unless the client is lenient */
export function readBulk(pairs: readonly Pair[], lenient: boolean): BulkQuery {
  const leftOut: string[] = [];
  const refuseOrLeave = (name: string, detail: string, mend: string): void => {
    if (!lenient) throw notSupported(name, detail, mend);
    leftOut.push(`${name} ${detail} and was left out`);
  };
  const known = Object.keys(BULK_PARAMETERS);
  let types: readonly string[] | null = null;
  let sinceMs: number | null = null;
  for (const [name, value] of pairs) {
    if (name === '_type') types = [...new Set([...(types ?? []), ...typesIn(value, refuseOrLeave)])];
    else if (name === '_since') sinceMs = readSince(value, sinceMs);
    else if (name === '_outputFormat') checkFormat(value);
    else if (OPTIONAL.includes(name)) refuseOrLeave(name, 'is not supported', `send ${known.join(', ')}`);
    else if (name !== '_format') {
      const shown = name.slice(0, 60).toWellFormed();
      refuseOrLeave(shown, 'is no parameter of an export', `send ${known.join(', ')}`);
    }
  }
  return { types, sinceMs, leftOut };
}

function typesIn(value: string, refuseOrLeave: (name: string, detail: string, mend: string) => void) {
  const held = BULK_TYPES.map(({ type }) => type);
  return value.split(',').flatMap((asked) => {
    if (held.includes(asked)) return [asked];
    const shown = asked.slice(0, 60).toWellFormed();
    refuseOrLeave(`_type=${shown}`, 'names no type that is exported', `send any of ${held.join(', ')}`);
    return [];
  });
}

function readSince(value: string, before: number | null): number {
  if (before !== null) throw refused('_since', value, 'stands more than once', 'send it once');
  const read = parseInstant(repairOffset(value));
  if (read === undefined)
    throw refused(
      '_since',
      value,
      'is no instant with an offset',
      'send the transactionTime of an export, such as 2026-03-01T08:00:00.000Z',
    );
  return read.ms;
}

/** An unescaped + in a query is a blank. */
function checkFormat(value: string): void {
  if (FORMATS.includes(value.replace('fhir ndjson', 'fhir+ndjson'))) return;
  throw notSupported('_outputFormat', 'names a format that is not written', `send ${FORMATS.join(' or ')}`);
}
