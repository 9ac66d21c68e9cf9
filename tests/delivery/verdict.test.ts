import { describe, expect, it } from 'vitest';
import { backoffMs, retryAfterMs } from '../../src/delivery/backoff.ts';
import { breakerAfter, CLOSED, isTripped } from '../../src/delivery/breaker.ts';
import { transactionOf } from '../../src/delivery/bundle.ts';
import { type Verdict, verdictOn, verdictOnFailure } from '../../src/delivery/classify.ts';

const NOW = Date.UTC(2026, 0, 1);
const outcome = JSON.stringify({
  resourceType: 'OperationOutcome',
  issue: [{ diagnostics: 'no such code' }],
});

describe('what an answer means (retry classes: RFC 9110 and FHIR R4 http.html)', () => {
  it.each([
    [200, 'delivered'],
    [201, 'delivered'],
    [400, 'refused'],
    [404, 'refused'],
    [415, 'refused'],
    [422, 'refused'],
    [401, 'later'],
    [403, 'later'],
    [409, 'later'],
    [412, 'later'],
    [429, 'later'],
    [503, 'later'],
    // Somebody between may have passed it on before failing.
    [408, 'unknown'],
    [500, 'unknown'],
    [502, 'unknown'],
    [504, 'unknown'],
  ])('%i is %s', (status, kind) => {
    expect(verdictOn(status, '', null, NOW).kind).toBe(kind);
  });

  it('keeps what the EHR said: diagnostics of an OperationOutcome, or the start of whatever came', () => {
    expect(verdictOn(422, outcome, null, NOW)).toEqual({ kind: 'refused', why: 'HTTP 422: no such code' });
    expect(verdictOn(502, '<html>bad gateway</html>', null, NOW)).toEqual({
      kind: 'unknown',
      why: 'HTTP 502: <html>bad gateway</html>',
    });
    const long = verdictOn(400, 'x'.repeat(5000), null, NOW) as { why: string };
    expect(long.why.length).toBeLessThan(2100);
  });

  it('tells a request that was never sent from one whose fate is open', () => {
    const failed = (code: string) =>
      new TypeError('fetch failed', { cause: Object.assign(new Error(), { code }) });
    expect(verdictOnFailure(failed('ECONNREFUSED')).kind).toBe('later');
    expect(verdictOnFailure(failed('ECONNRESET')).kind).toBe('unknown');
    expect(verdictOnFailure(new DOMException('', 'TimeoutError'))).toEqual({
      kind: 'unknown',
      why: 'no answer in time',
    });
  });

  it('reads Retry-After as seconds or as a date, and nothing else (RFC 9110, 10.2.3)', () => {
    expect(retryAfterMs('120', NOW)).toBe(120_000);
    expect(retryAfterMs(new Date(NOW + 30_000).toUTCString(), NOW)).toBe(30_000);
    expect(retryAfterMs(new Date(NOW - 30_000).toUTCString(), NOW)).toBe(0);
    expect(retryAfterMs('soon', NOW)).toBeUndefined();
    expect(retryAfterMs(null, NOW)).toBeUndefined();
    expect(verdictOn(429, '', '7', NOW)).toMatchObject({ afterMs: 7000 });
  });
});

describe('waiting', () => {
  it('doubles with each attempt up to the cap, with full jitter under it', () => {
    const backoff = { baseMs: 500, capMs: 300_000 };
    expect([1, 2, 3, 20, 2000].map((attempts) => backoffMs(backoff, attempts, 0.999_999))).toEqual([
      500, 1000, 2000, 300_000, 300_000,
    ]);
    expect(backoffMs(backoff, 5, 0)).toBe(0);
  });

  it('lets a target rest after three requests in a row that it did not handle, and tries it with one', () => {
    const backoff = { baseMs: 1000, capMs: 8000 };
    const failed: Verdict = { kind: 'unknown', why: 'reset' };
    const breakerOf = (verdicts: readonly Verdict[]) =>
      verdicts.reduce((breaker, verdict) => breakerAfter(breaker, verdict, backoff, NOW, 1), CLOSED);
    expect(isTripped(breakerOf([failed, failed]))).toBe(false);
    expect(breakerOf([failed, failed, failed])).toEqual({ failures: 3, restsUntilMs: NOW + 1000 });
    expect(breakerOf(Array(9).fill(failed)).restsUntilMs).toBe(NOW + 8000);
    const busy: Verdict = { kind: 'later', why: 'HTTP 503', afterMs: 5000 };
    expect(breakerOf([failed, failed, busy]).restsUntilMs).toBe(NOW + 5000);
    // A refusal is an answer: the target works.
    expect(breakerOf([failed, failed, failed, { kind: 'refused', why: 'HTTP 422' }])).toEqual(CLOSED);
    expect(breakerOf([failed, failed, { kind: 'delivered' }, failed])).toEqual({
      failures: 1,
      restsUntilMs: 0,
    });
  });
});

describe('the transaction', () => {
  it('puts each text under its own id, digits and all', () => {
    const text = '{"resourceType":"Observation","id":"level.d.e","valueQuantity":{"value":2.0}}';
    expect(transactionOf([text])).toBe(
      `{"resourceType":"Bundle","type":"transaction","entry":[{"resource":${text},"request":{"method":"PUT","url":"Observation/level.d.e"}}]}`,
    );
    expect(() => transactionOf(['{"id":"x"}'])).toThrow('type and id');
  });
});
