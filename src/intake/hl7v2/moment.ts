/** Times of HL7 v2 (data type DTM: YYYYMMDDHHMM[SS[.S[S[S[S]]]]][+/-ZZZZ]) as RFC 3339. */
import { momentText } from '../csv/moment.ts';
import { hl7Fault, type Place, Unreadable } from './fault.ts';

const DTM = /^(\d{4})(\d\d)(\d\d)(\d\d)(\d\d)(?:(\d\d)(\.\d{1,4})?)?([+-]\d{4})?$/;

export interface Clock {
  /** Offset of MSH-7, which holds for all times of a message that have none (HL7 v2.6, 2.A.22); '' without. */
  readonly offset: string;
  readonly zone: string | undefined;
}

/** The offset of a time, such as +0100; '' where it has none. */
export const offsetIn = (dtm: string): string => DTM.exec(dtm)?.[8] ?? '';

/** @throws {Unreadable} when it is no moment, or the clock it was read off is not known */
export function momentOf(dtm: string, clock: Clock, place: Place): string {
  const [, year, month, day, hour, minute, second = '00', fraction = '', own] = DTM.exec(dtm) ?? [];
  if (year === undefined)
    throw new Unreadable(
      hl7Fault(
        place,
        102,
        dtm,
        'is no time to the minute',
        'send YYYYMMDDHHMMSS with offset, such as 20260301080000+0100',
      ),
    );
  const local = `${year}-${month}-${day}T${hour}:${minute}:${second}${fraction.replace(/(\.\d{3})0$/, '$1')}`;
  const offset = own ?? clock.offset;
  const read = momentText(
    offset === '' ? local : `${local}${offset.slice(0, 3)}:${offset.slice(3)}`,
    clock.zone,
  );
  if ('text' in read) return read.text;
  throw new Unreadable(hl7Fault(place, 102, dtm, read.fault, `${read.mend}, here or in MSH-7`));
}
