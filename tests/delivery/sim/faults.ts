/** What can go wrong with a request, and how often. */

export type Fault = { readonly kind: 'none' } | Queued | Failing;

/** Accepted for review, and done some time later, or never. */
export interface Queued {
  readonly kind: 'queued';
  readonly done: boolean;
}

export type Failing =
  /** Answered without anything done. */
  | {
      readonly kind: 'refuse';
      readonly status: number;
      readonly code: string;
      readonly headers?: (nowMs: number) => Record<string, string>;
    }
  /** A page of something between. */
  | { readonly kind: 'page'; readonly status: number; readonly done: boolean }
  /** Done, and its answer too slow or too long to be read. */
  | { readonly kind: 'unreadable' }
  | { readonly kind: 'lost'; readonly code: string; readonly done: 'never' | 'now' | 'late' };

export type RequestFault =
  | Fault
  | { readonly kind: 'not-sent'; readonly code: string }
  /** Somebody else changes the resource just before. */
  | { readonly kind: 'touched' }
  /** The token is withdrawn. */
  | { readonly kind: 'expired' };

const refuse = (
  status: number,
  code: string,
  headers?: (nowMs: number) => Record<string, string>,
): RequestFault =>
  headers === undefined ? { kind: 'refuse', status, code } : { kind: 'refuse', status, code, headers };

export const FAULTS: Readonly<Record<string, RequestFault>> = {
  '429 in seconds': refuse(429, 'throttled', () => ({ 'retry-after': '7' })),
  '429 at a date': refuse(429, 'throttled', (now) => ({
    'retry-after': new Date(now + 20_000).toUTCString(),
  })),
  '429 in rubbish': refuse(429, 'throttled', () => ({ 'retry-after': 'soon' })),
  '503': refuse(503, 'transient'),
  '500 undone': refuse(500, 'exception'),
  '400 transient': refuse(400, 'lock-error'),
  '403': refuse(403, 'forbidden'),
  '409': refuse(409, 'conflict'),
  '412': refuse(412, 'conflict'),
  '422 duplicate': refuse(422, 'duplicate'),
  redirect: refuse(307, 'processing', () => ({ location: 'https://elsewhere.example/fhir' })),
  '502 undone': { kind: 'page', status: 502, done: false },
  '502 done': { kind: 'page', status: 502, done: true },
  '504 done': { kind: 'page', status: 504, done: true },
  '200 page': { kind: 'page', status: 200, done: false },
  '202': { kind: 'queued', done: true },
  '202, then discarded': { kind: 'queued', done: false },
  'slow or huge body': { kind: 'unreadable' },
  'reset before commit': { kind: 'lost', code: 'ECONNRESET', done: 'never' },
  'reset after commit': { kind: 'lost', code: 'ECONNRESET', done: 'now' },
  'timeout, done late': { kind: 'lost', code: 'no answer in time', done: 'late' },
  'refused connection': { kind: 'not-sent', code: 'ECONNREFUSED' },
  'bad certificate': { kind: 'not-sent', code: 'CERT_HAS_EXPIRED' },
  'changed by another': { kind: 'touched' },
  'token withdrawn': { kind: 'expired' },
};
