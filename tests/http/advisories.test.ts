/** Worklists over HTTP: advisories of a drain and of all, overdue readings, the rule table. Every answer is held to the API reference. */
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { nameOfText } from '../../src/record/names.ts';
import { content, corrected, entry, level, placeDrain, setUp, type TestDrain, tell } from './messages.ts';
import { startTestService, type TestService } from './service.ts';

const HEART = {
  patient: { reference: 'Patient/1' },
  indication: 'cardiac-surgery',
  chest_closed_at: '2025-03-01T08:00:00Z',
};
const MICHELSON = 'michelson-hour-1';

let service: TestService;
let left: TestDrain;
let right: TestDrain;

beforeAll(async () => {
  service = await startTestService();
  left = await placeDrain(service, 'left', '08:00', HEART);
  right = await placeDrain(service, 'right', '08:00', { ...HEART, site: 'mediastinal' });
  await tell(
    left,
    setUp('l-up', '08:00', 0),
    entry('flush', 'instilled', '08:20', { volume_ml: 30, purpose: 'flush' }),
  );
  await tell(left, level('l-1', '09:00', 200));
  await tell(right, setUp('r-up', '08:00', 0), level('r-1', '09:00', 121));
});
afterAll(() => service.stop());

const get = async (path: string) => {
  const { status, text } = await service.send('GET', path);
  return { status, body: JSON.parse(text) };
};
interface Listed {
  readonly id: string;
  readonly rule: { readonly id: string };
}
const listed = (advisories: readonly Listed[]) => advisories.map(({ rule }) => rule.id);

describe('GET /v1/drains/{drain}/advisories', () => {
  test('shows what was found with its source, uncertainty, window and entries, for either drain of the patient', async () => {
    const { body } = await get(`/v1/drains/${left.drain}/advisories`);
    const found = body.advisories.find(({ rule }: Listed) => rule.id === MICHELSON);
    expect(found).toMatchObject({
      rule: {
        operator: '>',
        threshold: 300,
        unit: 'mL',
        basis: 'all-tubes',
        evidence: 'abstract or text seen',
      },
      drains: expect.arrayContaining([left.drain, right.drain]),
      raised_at: '2025-03-01T09:00:00Z',
      ended_at: null,
      raised: {
        value: 321,
        net: 291,
        // Marks of 5 mL at 0, 121 and 200: two drains, 4.08 mL each.
        uncertainty: 5.8,
        crossed: true,
        within_uncertainty: false,
        at_least: false,
        by: 'gross-only',
        instilled_ml: 30,
        weight_kg: null,
        window: { from: '2025-03-01T08:00:00Z', to: '2025-03-01T09:00:00Z' },
      },
      reviews: [],
    });
    expect(found.raised.entries).toHaveLength(5);
    const { body: other } = await get(`/v1/drains/${right.drain}/advisories`);
    expect(other.advisories.map(({ id }: Listed) => id)).toContain(found.id);
    expect(found.id).not.toContain('Patient');
  });

  test('says what could not be assessed', async () => {
    const { body } = await get(`/v1/drains/${left.drain}/advisories`);
    expect(body.not_assessable).toContainEqual(
      expect.objectContaining({
        rule: 'aci-nsw-blood',
        reason: 'fluid-character-not-charted',
        drains: [left.drain],
        now: true,
        times: 1,
      }),
    );
  });

  test('a review names it, and is told when a correction removes it', async () => {
    const own = await placeDrain(service, 'reviewed', '08:00', {
      ...HEART,
      patient: { reference: 'Patient/2' },
    });
    await tell(own, setUp('o-up', '08:00', 0), level('o-1', '09:00', 340));
    const before = await get(`/v1/drains/${own.drain}/advisories`);
    const { id } = before.body.advisories.find(({ rule }: Listed) => rule.id === MICHELSON);
    await tell(own, entry('o-seen', 'reviewed', '09:10', { advisory: id, words: 'seen' }));
    const seen = await get(`/v1/drains/${own.drain}/advisories`);
    expect(seen.body.advisories.find((each: Listed) => each.id === id).reviews).toMatchObject([
      { words: 'seen', author: { type: 'person', reference: 'Practitioner/n1' }, at: '2025-03-01T09:10:00Z' },
    ]);
    await tell(own, corrected('o-fix', 'o-1', content(level('o-1', '09:00', 100))));
    const after = await get(`/v1/drains/${own.drain}/advisories`);
    expect(listed(after.body.advisories)).not.toContain(MICHELSON);
    expect(after.body.reviews_of_none).toMatchObject([{ advisory: id, words: 'seen' }]);
  });

  test('leaves out what concerns another drain of the patient alone', async () => {
    const patient = { patient: { reference: 'Patient/3' } };
    const full = await placeDrain(service, 'one-full', '08:00', patient);
    const other = await placeDrain(service, 'one-other', '08:00', patient);
    await tell(full, setUp('one-up', '08:00', 1600));
    const rulesOf = async ({ drain }: TestDrain) =>
      listed((await get(`/v1/drains/${drain}/advisories`)).body.advisories);
    expect(await rulesOf(full)).toEqual(['three-quarters-full']);
    expect(await rulesOf(other)).toEqual([]);
  });

  test('of no drain is a problem', async () => {
    expect(await get('/v1/drains/none/advisories')).toMatchObject({ status: 404 });
  });
});

describe('GET /v1/advisories', () => {
  const all = async () => {
    const found: Listed[] = [];
    let pages = 0;
    for (let next: string | null = ''; next !== null; pages += 1) {
      const { body } = await get(`/v1/advisories${next === '' ? '' : `?after=${next}`}`);
      found.push(...body.advisories);
      next = body.next_after;
    }
    return { found, pages };
  };

  test('lists standing ones by page, those of a patient once', async () => {
    await Promise.all(Array.from({ length: 60 }, (_, n) => placeDrain(service, `more-${n}`)));
    const { found, pages } = await all();
    expect(pages).toBe(2);
    const ids = found.map(({ id }) => id);
    expect(new Set(ids).size).toBe(ids.length);
    expect(listed(found).filter((rule) => rule === MICHELSON)).toHaveLength(1);
  });

  test('leaves out what has ended and drains that are out', async () => {
    const own = await placeDrain(service, 'full', '08:00');
    await tell(own, setUp('f-up', '08:00', 0), level('f-1', '10:00', 1600));
    const mine = async () => (await all()).found.filter(({ id }) => id.includes(own.drain));
    expect(listed(await mine())).toContain('three-quarters-full');
    const unit = { profile: 'wet-2000', closing_level_ml: 1600, opening_level_ml: 0 };
    await tell(own, entry('f-new', 'unit-changed', '10:10', unit));
    expect(listed(await mine())).not.toContain('three-quarters-full');
    await tell(own, setUp('f-full', '10:20', 1700));
    expect(listed(await mine())).toContain('three-quarters-full');
    await tell(own, entry('f-out', 'removed', '10:30'));
    expect(await mine()).toEqual([]);
    const { body } = await get(`/v1/drains/${own.drain}/advisories`);
    expect(body.advisories.map(({ ended_at }: { ended_at: string }) => ended_at)).not.toContain(null);
  });
});

describe('GET /v1/overdue', () => {
  test('lists drains by the age of their last counted reading, or since placement', async () => {
    const now = Date.now();
    const ago = (hours: number) => new Date(now - hours * 3_600_000).toISOString();
    const fresh = await placeDrain(service, 'fresh', ago(9));
    await tell(fresh, entry('fresh-1', 'reading', ago(3.9), { tidaling: 'present' }));
    const stale = await placeDrain(service, 'stale', ago(9));
    await tell(stale, entry('stale-1', 'reading', ago(4.2), { tidaling: 'present' }));
    const never = await placeDrain(service, 'never', ago(5));
    const out = await placeDrain(service, 'out', ago(9));
    await tell(out, entry('out-1', 'removed', ago(8)));
    const found = new Map<string, object>();
    for (let next: string | null = ''; next !== null; ) {
      const { body } = await get(`/v1/overdue${next === '' ? '' : `?after=${next}`}`);
      for (const each of body.overdue) found.set(each.drain, each);
      next = body.next_after;
    }
    expect(found.get(stale.drain)).toMatchObject({
      age_h: 4.2,
      expected_every_h: 4,
      last_reading_at: ago(4.2),
    });
    expect(found.get(never.drain)).toMatchObject({ age_h: 5, last_reading_at: null });
    expect(found.has(fresh.drain)).toBe(false);
    expect(found.has(out.drain)).toBe(false);
    const { body } = await get(`/v1/drains/${stale.drain}/chart`);
    expect(JSON.stringify(body)).not.toContain('"net_ml":0');
  });
});

describe('GET /v1/rules', () => {
  test('shows every row with source and evidence', async () => {
    const { body } = await get('/v1/rules');
    expect(body.reading_every_h).toEqual({ adult: 4, paediatric: 4 });
    const isOff = (rule: { id: string; evidence: string }) =>
      rule.evidence === 'from memory' || rule.id === 'output-stopping';
    for (const rule of body.rules) expect(rule.on, rule.id).toBe(!isOff(rule));
    expect(body.rules.length).toBeGreaterThan(30);
  });

  test('and what a facility made of it', async () => {
    const folder = mkdtempSync(join(tmpdir(), 'rules-test-'));
    const file = join(folder, 'rules.json');
    writeFileSync(
      file,
      '{"version":"ward-1","reading_every_h":{"adult":1},"changes":[{"id":"michelson-hour-1","threshold":250}]}',
    );
    const own = await startTestService({ DRAINLEDGER_RULES: file });
    try {
      const { text } = await own.send('GET', '/v1/rules');
      const body = JSON.parse(text);
      expect(body).toMatchObject({ version: 'ward-1', reading_every_h: { adult: 1, paediatric: 4 } });
      expect(body.rules.find(({ id }: { id: string }) => id === MICHELSON)).toMatchObject({
        threshold: 250,
        changed: ['threshold is 250, not 300 as published'],
      });
    } finally {
      await own.stop();
      rmSync(folder, { recursive: true });
    }
  });
});

describe('an entry that changes advisories', () => {
  const LUNG = { patient: { reference: 'Patient/changed' }, indication: 'trauma' };
  let drain: TestDrain;
  const changesOf = async (message: object) => {
    const { status, text } = await drain.enter(message);
    expect(status, text).toBe(201);
    return JSON.parse(text).advisories;
  };
  const brief = (changes: Record<string, readonly { id: string; rule: string }[]>) =>
    Object.fromEntries(Object.entries(changes).map(([how, all]) => [how, all.map(({ rule }) => rule)]));
  const RAISED = 'atls-ongoing';
  let raisedId: string;

  beforeAll(async () => {
    drain = await placeDrain(service, 'changing', '08:00', LUNG);
    await tell(drain, setUp('c-up', '08:00', 0));
  });

  test('is answered with what it raised, once', async () => {
    expect(await changesOf(level('c-1', '09:00', 250))).toBeUndefined();
    const raised = await changesOf(level('c-2', '10:00', 500));
    expect(brief(raised)).toEqual({ raised: [RAISED], ended: [], withdrawn: [] });
    expect(raised.raised[0]).toMatchObject({
      value: 250,
      unit: 'mL/h',
      ended_at: null,
      drains: [drain.drain],
    });
    raisedId = raised.raised[0].id;
    expect(await changesOf(level('c-3', '11:00', 750))).toBeUndefined();
  });

  test('is answered with what it ended', async () => {
    const ended = await changesOf(level('c-4', '12:00', 760));
    expect(brief(ended)).toEqual({ raised: [], ended: [RAISED], withdrawn: [] });
    expect(ended.ended[0].ended_at).toBe('2025-03-01T12:00:00Z');
  });

  test('is issued as a FHIR Observation: preliminary, final, flagged when reviewed', async () => {
    await tell(
      drain,
      entry('c-seen', 'reviewed', '12:30', { advisory: raisedId, words: 'seen, surgeon told' }),
    );
    const { body } = await get(`/v1/drains/${drain.drain}/advisories`);
    expect(body.advisories.map(({ id }: { id: string }) => id)).toContain(raisedId);
    const observations = await observationsOf(drain.drain);
    const [id] = Object.keys(observations);
    expect(
      observations[id ?? '']?.map(({ status, effectivePeriod }) => [status, effectivePeriod.end]),
    ).toEqual([
      ['preliminary', undefined],
      ['final', '2025-03-01T12:00:00Z'],
      ['amended', '2025-03-01T12:00:00Z'],
    ]);
    expect(observations[id ?? '']?.at(-1)?.interpretation.flatMap(({ coding }) => coding[0]?.code)).toEqual([
      'reviewed',
    ]);
  });

  test('that is a correction withdraws it, and says who had reviewed it', async () => {
    const withdrawn = await changesOf(
      corrected('c-2b', 'c-2', content(entry('', 'reading', '10:00', { level_ml: 300 }))),
    );
    expect(brief(withdrawn).withdrawn).toEqual([RAISED]);
    expect(withdrawn.withdrawn[0]).toMatchObject({ id: raisedId, reviewed_by: [expect.any(String)] });
    const { body } = await get(`/v1/drains/${drain.drain}/advisories`);
    expect(body.withdrawn).toMatchObject([
      { rule: RAISED, raised_at: '2025-03-01T10:00:00Z', reviews: [{ words: 'seen, surgeon told' }] },
    ]);
    expect(body.reviews_of_none).toMatchObject([{ advisory: raisedId }]);
    const [versions] = Object.values(await observationsOf(drain.drain));
    expect(versions?.at(-1)?.status).toBe('entered-in-error');
  });

  interface Version {
    readonly status: string;
    readonly effectivePeriod: { readonly end?: string };
    readonly interpretation: readonly { readonly coding: readonly { readonly code: string }[] }[];
  }

  /** Advisory Observations of a drain by id, all versions, oldest first; by way of the withdrawn list or the id made here. */
  async function observationsOf(name: string): Promise<Readonly<Record<string, readonly Version[]>>> {
    const raisedAt = Date.parse('2025-03-01T10:00:00Z');
    const id = `advisory.${name}.${nameOfText(`advisory\n${RAISED}\n${raisedAt}`)}`;
    const { body } = await get(`/fhir/Observation/${id}/_history`);
    return { [id]: body.entry.map(({ resource }: { resource: Version }) => resource).reverse() };
  }
});
