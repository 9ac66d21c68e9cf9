/** Pages: nothing lost, nothing twice, none too many, whatever is written meanwhile (FHIR R4 http.html#paging). */
import { afterEach, beforeEach, expect, test } from 'vitest';
import { BASE, type Indexed, indexed, nextOf } from './indexed.ts';

let index: Indexed;
beforeEach(() => {
  index = indexed();
});
afterEach(() => index.close());

const at = (id: string, minute: number, more: object = {}) => ({
  id,
  status: 'final',
  code: { coding: [{ system: 'urn:example:code', code: 'x' }] },
  subject: { reference: 'Patient/secret' },
  effectiveDateTime: new Date(Date.UTC(2024, 0, 1) + minute * 60_000).toISOString(),
  ...more,
});
const ids = (n: number) => Array.from({ length: n }, (_, i) => `r${i}`);
const found = (page: ReturnType<Indexed['ask']>) => (page.entry ?? []).map(({ resource }) => resource?.id);

test.each([
  '',
  '&_sort=date',
  '&_sort=_lastUpdated',
  '&_sort=-_lastUpdated',
  '&_sort=status,-date',
  '&_sort=_id',
])('a search%s walked while others write is the search at its first page', (order) => {
  // Half of them share a time, so that only the tie-break tells them apart.
  index.issue(...ids(40).map((id, n) => at(id, n % 2 === 0 ? 7 : n)));
  const walked: (string | undefined)[] = [];
  let page = index.ask('search', `patient=secret&_count=7${order}`);
  for (let n = 0; ; n += 1) {
    walked.push(...found(page));
    const next = nextOf(page);
    if (next === undefined) break;
    // New ones before, between and after; and one that is still to come moves to where the walk has been.
    index.issue(at(`new-${n}`, n * 3), at(`r${n * 5}`, 1000), at(`r${39 - n}`, -1000, { status: 'amended' }));
    page = index.ask('search', next);
  }
  expect([...walked].sort()).toEqual(ids(40).sort());
  // And the next search sees it all.
  expect(index.ask('search', 'patient=secret&_summary=count').total).toBeGreaterThan(40);
});

test('the text of a later page is that of the moment of the first', () => {
  index.issue(...ids(4).map((id, n) => at(id, n)));
  const first = index.ask('search', 'status=final&_count=2');
  index.issue(at('r0', 0, { status: 'entered-in-error' }));
  const second = index.ask('search', nextOf(first) ?? '');
  expect(found(second)).toEqual(['r1', 'r0']);
  expect(second.entry?.[1]?.resource).toMatchObject({ status: 'final', meta: { versionId: '1' } });
  expect(index.ids('status=entered-in-error')).toEqual(['r0']);
});

test('a page that is just full has no next, and an empty result no entry', () => {
  index.issue(...ids(6).map((id, n) => at(id, n)));
  for (const query of ['_count=6', '_count=6&_sort=_id', '_count=6&_total=none']) {
    const page = index.ask('search', query);
    expect(found(page)).toHaveLength(6);
    expect(nextOf(page)).toBeUndefined();
  }
  expect(nextOf(index.ask('search', nextOf(index.ask('search', '_count=3')) ?? ''))).toBeUndefined();
  const none = index.ask('search', 'patient=nobody');
  expect(none).toMatchObject({ total: 0 });
  expect(none).not.toHaveProperty('entry');
});

test('totals: counted where asked for or where all is shown, the same on every page, whatever comes', () => {
  index.issue(...ids(5).map((id, n) => at(id, n)));
  expect(index.ask('search', '_count=0').total).toBe(5);
  expect(index.ask('search', '_count=2').total).toBeUndefined();
  expect(index.ask('search', '_count=5').total).toBe(5);
  const first = index.ask('search', '_count=2&_total=accurate');
  index.issue(at('more', 9));
  expect(index.ask('search', nextOf(first) ?? '').total).toBe(first.total);
});

test('a link carries nothing of what was asked, the same link gives the same page, and a made-up one is refused', () => {
  index.issue(...ids(5).map((id, n) => at(id, n)));
  const first = index.ask('search', 'patient=secret&_count=2&_elements=status');
  const next = nextOf(first) ?? '';
  const link = new URLSearchParams(next).get('_page') ?? '';
  expect(next).not.toContain('secret');
  expect(Buffer.from(link, 'base64url').toString('latin1')).not.toContain('secret');
  const page = index.ask('search', next);
  expect(index.ask('search', next)).toEqual({ ...page, link: expect.anything() });
  // What shapes the result goes on: elements, and their mark.
  expect(page.entry?.[0]?.resource).not.toHaveProperty('subject');
  expect(page.entry?.[0]?.resource?.meta?.tag).toEqual([expect.objectContaining({ code: 'SUBSETTED' })]);

  const last = link.at(20) === 'A' ? 'B' : 'A';
  for (const wrong of [`${link.slice(0, 20)}${last}${link.slice(21)}`, link.slice(0, -4), 'x', ''])
    expect(() => index.ask('search', `_page=${wrong}`), wrong).toThrow(
      expect.objectContaining({ status: 400 }),
    );
  expect(() => index.ask('search', `${next}&patient=other`)).toThrow(
    expect.objectContaining({ status: 400 }),
  );
  expect(() => index.ask('history', next)).toThrow(expect.objectContaining({ status: 400 }));
});

test('self says what was used', () => {
  const self = (query: string, lenient = false) =>
    index.ask('search', query, { lenient }).link?.find(({ relation }) => relation === 'self')?.url;
  expect(self('')).toBe(`${BASE}/Observation`);
  const query = 'patient=Patient%2F1&date=ge2024&date=lt2025&_sort=-date';
  expect(self(query)).toBe(`${BASE}/Observation?${query}`);
  expect(self('colour=red&status=final', true)).toBe(`${BASE}/Observation?status=final`);
  expect(self('_sort=colour&status=final', true)).toBe(`${BASE}/Observation?status=final`);
});

test('history of the type: every version, newest first, page by page, since and at a time', () => {
  // Issues are a second apart, and end at 23:43:20 before midnight of 1 June 2026 plus their number.
  for (let n = 0; n < 5; n += 1) index.issue(at('r0', n), at(`other${n}`, n));
  const walked: string[] = [];
  for (let query: string | undefined = '_count=3'; query !== undefined; ) {
    const page = index.ask('history', query);
    expect(page.type).toBe('history');
    walked.push(...(page.entry ?? []).map(({ resource }) => `${resource?.id}/${resource?.meta?.versionId}`));
    query = nextOf(page);
    if (walked.length < 4) index.issue(at('late', 1));
  }
  expect(walked).toEqual([4, 3, 2, 1, 0].flatMap((n) => [`other${n}/1`, `r0/${n + 1}`]));
  const times = (query: string) =>
    (index.ask('history', query).entry ?? []).map(
      ({ resource }) => `${resource?.id}/${resource?.meta?.versionId}`,
    );
  expect(times('_since=2026-05-31T23:43:23.000Z&_count=4')).toEqual([
    'late/1',
    'other4/1',
    'r0/5',
    'other3/1',
  ]);
  expect(times('_since=2026-05-31T23:43:25.000Z')).toEqual(['late/1']);
  expect(times('_at=2026-05-31T23:43:21Z').sort()).toEqual(['other0/1', 'other1/1', 'r0/2'].sort());
});

test.each([1, 7, 50, 200])(
  'a page of %i is merged in order, though most of it may be of one code and the rest of many',
  (count) => {
    index = indexed();
    const made = Array.from({ length: 160 }, (_, n) => ({
      id: `o${n}`,
      status: 'final',
      // A hundred of one code in a row, and before and after them a few of others.
      code: { coding: [{ system: 'urn:example:code', code: n < 30 || n > 130 ? `c${n % 9}` : 'many' }] },
      subject: { reference: `Patient/${n % 2}` },
      effectiveDateTime: new Date(Date.UTC(2024, 0, 1) + 60_000 * n).toISOString(),
    }));
    index.issue(...made);
    const newest = [...made].sort((a, b) => (a.effectiveDateTime < b.effectiveDateTime ? 1 : -1));
    const mine = newest.filter(({ subject }) => subject.reference === 'Patient/1').map(({ id }) => id);
    expect(index.ids(`_count=${count}`)).toEqual(newest.map(({ id }) => id));
    expect(index.ids(`patient=1&_sort=date&_count=${count}`)).toEqual(mine.toReversed());
  },
);
