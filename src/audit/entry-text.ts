/** The canonical text of an entry's body: stored, hashed and served as these very bytes. */

import type { DeviceBody } from '../domain/devices/device.ts';
import { Decimal } from '../domain/numbers/decimal.ts';
import type { EntryBody } from '../domain/vocabulary/entry.ts';
import type { StreamBody } from '../domain/vocabulary/rerouted.ts';
import { writeCanonical } from '../json/canonical.ts';
import { ExactNumber, type ExactValue, parseExactJson } from '../json/exact-json.ts';

export function writeBody(body: StreamBody | DeviceBody): string {
  return writeCanonical(body, (value) => (value instanceof Decimal ? value.text : undefined));
}

/** Reads a body that was sent, as {@link writeBody} wrote it; the ledger's hash vouches for its shape. */
export function readBody(text: string): EntryBody {
  // All that are strict takes three times as long, and most texts need none of it.
  if (LOSES_DIGITS.test(text)) return parseExactJson(text, (digits) => Decimal.of(digits)) as EntryBody;
  return withDecimals(JSON.parse(text)) as EntryBody;
}

/** What may be a number that is no longer the same in digits once it was one, such as 2.0, or -0. */
const LOSES_DIGITS = /(?:\.[0-9]*|-)0[,\]}]/;

/** Puts decimals in the place of numbers, in a value that nobody else holds yet. */
function withDecimals(value: object): object {
  const members = value as Record<string, unknown>;
  for (const key in members) {
    const member = members[key];
    if (typeof member === 'number') members[key] = Decimal.of(`${member}`);
    else if (typeof member === 'object' && member !== null) withDecimals(member);
  }
  return value;
}

/** The same of whatever stands in the stream of a drain. */
export const readStreamBody = (text: string): StreamBody => readBody(text);

/** The same of a body in the stream of a device. */
export const readDeviceBody = (text: string): DeviceBody => JSON.parse(text) as DeviceBody;

/** What a sender sent, key order and white space aside: two requests are the same exactly when these are. */
export function writeRequest(value: ExactValue): string {
  return writeCanonical(value, (inner) => (inner instanceof ExactNumber ? inner.text : undefined));
}
