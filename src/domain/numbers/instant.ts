import { type EpochMs, epochMs, HOUR_MS, MINUTE_MS } from './units.ts';

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
  const local = ms + offsetMinutes(offset) * MINUTE_MS;
  const day = Math.floor(local / DAY_MS);
  return `${dateText(new Date(local))}T${timeText(local - day * DAY_MS)}${offset}`;
}

const DAY_MS = 24 * HOUR_MS;

/** Of the years 0 to 9999, from its parts, as the time is: toISOString takes three times as long. */
function dateText(date: Date): string {
  const year = `${date.getUTCFullYear()}`.padStart(4, '0');
  return `${year}-${two(date.getUTCMonth() + 1)}-${two(date.getUTCDate())}`;
}

/** @param sinceMidnight ms; a part of a second is written in three digits */
function timeText(sinceMidnight: number): string {
  const seconds = Math.floor(sinceMidnight / 1000);
  const minutes = Math.floor(seconds / 60);
  const whole = `${two(Math.floor(minutes / 60))}:${two(minutes % 60)}:${two(seconds % 60)}`;
  const ms = sinceMidnight % 1000;
  return ms === 0 ? whole : `${whole}.${`${ms}`.padStart(3, '0')}`;
}

const two = (value: number): string => (value < 10 ? `0${value}` : `${value}`);

function offsetMinutes(offset: string): number {
  if (offset === 'Z') return 0;
  const minutes = Number(offset.slice(1, 3)) * 60 + Number(offset.slice(4, 6));
  return offset.startsWith('-') ? -minutes : minutes;
}
