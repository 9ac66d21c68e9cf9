import type { IssueCode } from '../outcome.ts';

/** A request that cannot be answered as it is: the answer's status, and what to mend. */
export class Refused extends Error {
  readonly status: number;
  readonly code: IssueCode;
  constructor(status: number, code: IssueCode, diagnostics: string) {
    super(diagnostics);
    this.status = status;
    this.code = code;
  }
}

export const refused = (name: string, value: string, detail: string, mend: string): Refused =>
  new Refused(400, 'invalid', `${name}=${shortened(value)} ${detail}: ${mend}`);

export const notSupported = (name: string, detail: string, mend: string): Refused =>
  new Refused(400, 'not-supported', `${name} ${detail}: ${mend}`);

/** What a lenient server may leave out (search.html#errors), unlike a modifier or prefix of a parameter that it knows. */
export class UnknownParameter extends Refused {
  constructor(diagnostics: string) {
    super(400, 'not-supported', diagnostics);
  }
}

const MOST_SHOWN = 120;
const shortened = (text: string): string =>
  text.length <= MOST_SHOWN ? text : `${text.slice(0, MOST_SHOWN).toWellFormed()}…`;
