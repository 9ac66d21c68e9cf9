import { type EpochMs, epochMs, MINUTE_MS } from './units.ts';

/** A moment, with the text it was charted in (its offset is part of the record). */
export interface Instant {
  readonly text: string;
  readonly ms: EpochMs;
}

const RFC3339 =
  /^(\d{4})-(\d\d)-(\d\d)T(\d\d):(\d\d):(\d\d)(?:\.(\d{1,3}))?(Z|[+-](?:(?:0\d|1[0-3]):[0-5]\d|14:00))$/;

/**
 * Reads an RFC 3339 date-time with a required offset (FHIR R4 dateTime: up to 14:00) and at most milliseconds.
 * Undefined for anything else: no offset, a day or hour that does not exist, a leap second.
 */
export function parseInstant(text: string): Instant | undefined {
  const parts = RFC3339.exec(text);
  if (parts === null) return undefined;
  const [, year, month, day, hour, minute, second, fraction = '', offset = 'Z'] = parts;
  const [y, h, mi, s] = [Number(year), Number(hour), Number(minute), Number(second)];
  // Date.UTC carries what does not exist over, and takes the years 0 to 99 for the twentieth century.
  if (y < 100 || h > 23 || mi > 59 || s > 59) return undefined;
  const local = Date.UTC(y, Number(month) - 1, Number(day), h, mi, s, Number(fraction.padEnd(3, '0')));
  // A day that does not exist lies in another month.
  if (new Date(local).getUTCMonth() !== Number(month) - 1) return undefined;
  return { text, ms: epochMs(local - offsetMinutes(offset) * MINUTE_MS) };
}

/** The moment `ms` written in the offset that `like` is written in. */
export function writeInstantLike(ms: EpochMs, like: string): string {
  const offset = like.endsWith('Z') ? 'Z' : like.slice(-6);
  const local = new Date(ms + offsetMinutes(offset) * MINUTE_MS).toISOString();
  return `${local.endsWith('.000Z') ? local.slice(0, 19) : local.slice(0, 23)}${offset}`;
}

function offsetMinutes(offset: string): number {
  if (offset === 'Z') return 0;
  const minutes = Number(offset.slice(1, 3)) * 60 + Number(offset.slice(4, 6));
  return offset.startsWith('-') ? -minutes : minutes;
}
