import { describe, expect, it } from 'vitest';
import { backoffMs, pauseMs, retryAfterMs } from '../../src/delivery/backoff.ts';
import { breakerAfter, CLOSED, isTripped } from '../../src/delivery/breaker.ts';
import {
  type Purpose,
  type Verdict,
  verdictOn,
  verdictOnAnswer,
  verdictOnFailure,
} from '../../src/delivery/classify.ts';
import type { End } from '../../src/delivery/end.ts';
import { NoAnswer, NotSent } from '../../src/delivery/http.ts';
import { settlementOf } from '../../src/delivery/settle.ts';
import type { Delivery } from '../../src/store/delivery-port.ts';
import { targetOf } from './target.ts';

const NOW = Date.UTC(2026, 0, 1);
const said = (
  status: number,
  body: unknown = '',
  retryAfter?: string,
  purpose: Purpose = 'update',
): Verdict => verdictOn({ status, body, retryAfter }, purpose, NOW);
const outcome = (code: string, diagnostics = 'no such code') => ({
  resourceType: 'OperationOutcome',
  issue: [{ severity: 'error', code, diagnostics, expression: ['Observation.code'] }],
});

describe('what an answer means (RFC 9110; FHIR R4 http.html)', () => {
  it.each<[number, Purpose, string]>([
    [200, 'update', 'taken'],
    [201, 'create', 'taken'],
    [202, 'create', 'accepted'],
    [400, 'create', 'refused'],
    [405, 'create', 'refused'],
    [415, 'create', 'refused'],
    [422, 'bundle', 'refused'],
    [501, 'create', 'refused'],
    [401, 'create', 'unauthorized'],
    [403, 'create', 'forbidden'],
    // A type that is not known there; what was to be changed is not there.
    [404, 'create', 'refused'],
    [404, 'update', 'gone'],
    [410, 'update', 'gone'],
    [409, 'update', 'conflict'],
    [412, 'update', 'conflict'],
    // http.html, conditional create: 412 is more than one match.
    [412, 'create', 'multiple-matches'],
    [409, 'create', 'duplicate'],
    [307, 'create', 'later'],
    [425, 'create', 'later'],
    [429, 'create', 'later'],
    [503, 'create', 'later'],
    // Somebody between may have passed it on before failing.
    [408, 'create', 'unknown'],
    [500, 'create', 'unknown'],
    [502, 'create', 'unknown'],
    [504, 'create', 'unknown'],
  ])('%i to a %s is %s', (status, purpose, kind) => {
    expect(said(status, '', undefined, purpose).kind).toBe(kind);
  });

  it.each(['transient', 'lock-error', 'timeout', 'throttled', 'incomplete'])(
    'a 4xx whose issue is %s (valueset-issue-type.html) may be tried again',
    (code) => {
      expect(said(400, JSON.stringify(outcome(code)))).toMatchObject({ kind: 'later' });
      expect(said(400, JSON.stringify(outcome('invalid')))).toMatchObject({ kind: 'refused' });
    },
  );

  it('takes an issue of duplicate for what it says', () => {
    expect(said(422, outcome('duplicate'), undefined, 'create').kind).toBe('duplicate');
  });

  it('keeps what the target said: issues within bounds, or the start of whatever else came', () => {
    expect(said(422, JSON.stringify(outcome('invalid')))).toEqual({
      kind: 'refused',
      outcome: {
        why: 'HTTP 422: no such code',
        status: 422,
        issues: [
          {
            severity: 'error',
            code: 'invalid',
            diagnostics: 'no such code',
            expression: ['Observation.code'],
          },
        ],
      },
    });
    expect(said(502, '<html>bad gateway</html>')).toEqual({
      kind: 'unknown',
      outcome: { why: 'HTTP 502', status: 502, text: '<html>bad gateway</html>' },
    });
    const long = {
      resourceType: 'OperationOutcome',
      issue: Array(99).fill(outcome('x', 'y'.repeat(9999)).issue[0]),
    };
    expect(JSON.stringify(said(400, long)).length).toBeLessThan(7000);
    expect(JSON.stringify(said(400, 'x'.repeat(9999))).length).toBeLessThan(2200);
  });

  it('does not believe a success whose body is a page', () => {
    const answer = (body: string | null) =>
      verdictOnAnswer({ status: 200, headers: { 'content-type': 'text/html' }, body }, 'create', NOW).kind;
    expect(answer('<html>sign in</html>')).toBe('unknown');
    expect(answer('{"resourceType":"Observation"}')).toBe('taken');
    expect(answer('')).toBe('taken');
  });

  it('takes a page for no answer of the target where it says that nothing is there', () => {
    const page = (status: number, body: string) =>
      verdictOnAnswer({ status, headers: {}, body }, 'bundle', NOW);
    for (const body of ['<html>404</html>', '404 page not found'])
      expect(page(404, body)).toMatchObject({
        kind: 'later',
        outcome: { why: expect.stringMatching(/base_url/) },
      });
    for (const body of ['', JSON.stringify(outcome('not-found')), '<OperationOutcome/>'])
      expect(page(404, body).kind).toBe('gone');
    expect(page(413, '<html>too large</html>').kind).toBe('refused');
  });

  it('says where it was redirected to, which it does not follow', () => {
    const headers = { location: 'https://new.example/fhir' };
    expect(verdictOnAnswer({ status: 308, headers, body: '' }, 'bundle', NOW)).toMatchObject({
      kind: 'later',
      outcome: {
        why: 'HTTP 308: redirects are not followed to https://new.example/fhir; if the target has moved, change its base_url',
      },
    });
  });

  it('tells a request that was never sent from one whose fate is open', () => {
    expect(verdictOnFailure(new NotSent('ECONNREFUSED'))).toMatchObject({ kind: 'later' });
    expect(verdictOnFailure(new NoAnswer('ECONNRESET'))).toEqual({
      kind: 'unknown',
      outcome: { why: 'no answer: ECONNRESET' },
    });
  });

  it('reads Retry-After as seconds or as a date, and nothing else (RFC 9110, 10.2.3)', () => {
    expect(retryAfterMs('120', NOW)).toBe(120_000);
    expect(retryAfterMs(new Date(NOW + 30_000).toUTCString(), NOW)).toBe(30_000);
    expect(retryAfterMs(new Date(NOW - 30_000).toUTCString(), NOW)).toBe(0);
    expect(retryAfterMs('soon', NOW)).toBeUndefined();
    expect(retryAfterMs(null, NOW)).toBeUndefined();
    expect(said(429, '', '7')).toMatchObject({ afterMs: 7000 });
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

  const backoff = { baseMs: 1000, capMs: 8000 };

  it('is never less than unasked, though a target asks for no pause or for a time that is past', () => {
    expect([undefined, 0, 1999].map((asked) => pauseMs(backoff, 3, asked, 0.5))).toEqual([2000, 2000, 2000]);
    expect([2001, 9000].map((asked) => pauseMs(backoff, 3, asked, 0.5))).toEqual([2001, 8000]);
    const busy: End = { kind: 'later', outcome: { why: 'HTTP 429' }, afterMs: 0 };
    expect(breakerOf([busy, busy, busy]).restsUntilMs).toBe(NOW + 1000);
    const delivery = { attempts: 3, sinceMs: NOW, uncertain: false } as Delivery;
    const target = targetOf({ backoff });
    expect(settlementOf(target, delivery, { end: busy, taken: [] }, NOW, 1)).toMatchObject({
      dueMs: NOW + 4000,
    });
  });

  const failed: End = { kind: 'unknown', outcome: { why: 'reset' } };
  const breakerOf = (ends: readonly End[]) =>
    ends.reduce((breaker, end) => breakerAfter(breaker, end, backoff, NOW, 1), CLOSED);

  it('lets a target rest after three attempts in a row that it did not handle, and tries it with one', () => {
    expect(isTripped(breakerOf([failed, failed]))).toBe(false);
    expect(breakerOf([failed, failed, failed])).toMatchObject({ failures: 3, restsUntilMs: NOW + 1000 });
    expect(breakerOf(Array(9).fill(failed)).restsUntilMs).toBe(NOW + 8000);
    const busy: End = { kind: 'later', outcome: { why: 'HTTP 503' }, afterMs: 5000 };
    expect(breakerOf([failed, failed, busy]).restsUntilMs).toBe(NOW + 5000);
    // A refusal is an answer: the target works.
    const refused: End = { kind: 'refused', outcome: { why: 'HTTP 422' } };
    expect(breakerOf([failed, failed, failed, refused])).toEqual(CLOSED);
    expect(breakerOf([failed, failed, { kind: 'delivered' }, failed])).toMatchObject({ failures: 1 });
  });

  it('parks a target that forbids what is sent, and tries it again after an hour', () => {
    const forbidden: End = { kind: 'forbidden', outcome: { why: 'HTTP 403' } };
    expect(breakerOf([forbidden])).toMatchObject({ isParked: true, restsUntilMs: NOW + 3_600_000 });
    expect(isTripped(breakerOf([forbidden]))).toBe(true);
    expect(breakerOf([forbidden, { kind: 'delivered' }])).toEqual(CLOSED);
  });
});
