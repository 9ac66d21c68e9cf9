/** What was acknowledged is found at once, though the index does not wait for what was charted of others. */
import { symlinkSync } from 'node:fs';
import fc from 'fast-check';
import { expect, test, vi } from 'vitest';
import type { Reference } from '../../src/domain/vocabulary/entry.ts';
import { type Held, openHeld } from '../../src/search/held.ts';
import { lastn } from '../../src/search/lastn.ts';
import { needed } from '../../src/search/needed.ts';
import type { Ask } from '../../src/search/port.ts';
import { search } from '../../src/search/search.ts';
import { level, placeDrain, setUp } from '../http/messages.ts';
import { startTestService } from '../http/service.ts';
import { incoming, type Ledger, openLedger, temporaryFile } from '../store/ledger.ts';
import { dec, type Says, type Told } from '../support/drain-script.ts';
import { minute } from '../support/ledgers.ts';
import { BASE, CANONICAL, OBSERVATION } from './indexed.ts';

// Each run has a ledger and two indexes of its own.
vi.setConfig({ testTimeout: 120_000 });

const identifier = (value: string) => ({ system: 'urn:example:patients', value });
const PATIENTS: readonly Reference[] = [
  { reference: 'Patient/1', identifier: identifier('one') },
  { reference: 'Patient/2' },
  { identifier: identifier('three') },
  { reference: 'Patient/4' },
];
const QUESTIONS: readonly (readonly [Ask['kind'], string])[] = [
  ['search', 'patient=1'],
  ['search', 'subject=Patient/2,Patient/4&code=level'],
  ['search', 'patient=Patient/4&_sort=_lastUpdated'],
  ['search', 'patient.identifier=urn:example:patients|one'],
  ['search', 'subject:identifier=three&_summary=count'],
  ['lastn', 'patient=2&category=exam&max=2'],
  ['lastn', 'subject:Patient=4&code=level'],
];

interface Step {
  readonly does: 'reads' | 'links' | 'voids' | 'follows' | 'takes' | 'asks';
  readonly drain: number;
  readonly n: number;
}
const step: fc.Arbitrary<Step> = fc.record({
  does: fc.constantFrom(
    'reads',
    'reads',
    'reads',
    'links',
    'voids',
    'follows',
    'takes',
    'asks',
    'asks',
    'asks',
  ),
  drain: fc.integer({ min: 0, max: PATIENTS.length - 1 }),
  n: fc.nat(27),
});

const reachTo = ({ follower }: Held, target: number): void => {
  while (follower.reached() < target) follower.step(1);
};
const reachAll = (held: Held): void => reachTo(held, held.follower.target());

/** The answer, but for what names a moment or page. */
function answer(held: Held, kind: Ask['kind'], query: string): unknown {
  const ask = asked(kind, query);
  const { link: _link, ...bundle } = JSON.parse(
    (kind === 'lastn' ? lastn : search)(held, OBSERVATION, ask).text,
  ) as Record<string, unknown>;
  return bundle;
}
const asked = (kind: Ask['kind'], query: string): Ask => ({
  kind,
  type: 'Observation',
  pairs: [...new URLSearchParams(`${query}${kind === 'search' ? '&_count=1000' : ''}`)],
  base: BASE,
  lenient: false,
  within: null,
  readable: ['Observation'],
  nowMs: 0,
});

/** A ward with a drain for each patient, and what is said of them. */
function wardOf({ record }: Ledger) {
  const placements = PATIENTS.map(
    (_, n): Told => ({
      key: `placed-${n}`,
      time: minute(0),
      drain: `d${n}`,
      says: { kind: 'placed', site: 'pleural-left', tubes: ['A'], population: 'adult' },
    }),
  );
  const placementOf = (drain: number) => placements[drain] as Told;
  const said: Told[] = [];
  async function enter(drain: number, told: Told): Promise<void> {
    const [outcome] = await record([incoming(told, placementOf(drain))]);
    if (outcome?.kind === 'recorded') said.push(told);
  }
  const say = (drain: number, says: Says) =>
    enter(drain, { key: `k${said.length}-${drain}`, time: minute(said.length), drain: `d${drain}`, says });
  // Another patient than before is taken once the link before was withdrawn.
  const links = (drain: number, n: number) =>
    say(drain, { kind: 'drain-updated', patient: PATIENTS[n % PATIENTS.length] as Reference });
  return {
    async place() {
      for (const [n, told] of placements.entries()) {
        await enter(n, told);
        await links(n, n);
      }
    },
    reads: (drain: number, n: number) => say(drain, { kind: 'reading', level_ml: dec(10 * n) }),
    links,
    async voids(drain: number, n: number) {
      const mine = said.filter((told) => told.drain === `d${drain}` && !('voids' in told));
      const target = mine[1 + (n % mine.length)];
      if (target !== undefined)
        await enter(drain, {
          key: `${target.key}-v`,
          time: minute(0),
          drain: `d${drain}`,
          voids: target.key,
        });
    },
  };
}

test('of a patient is found what would be found if the index held all, whatever waits and whoever was linked', async () => {
  let [waitedForLess, waitedForSome] = [0, 0];
  await fc.assert(
    fc.asyncProperty(fc.array(step, { minLength: 30, maxLength: 60 }), async (steps) => {
      const place = temporaryFile();
      const ledger = openLedger(place.file);
      const ward = wardOf(ledger);
      const held = openHeld({ database: place.file, zone: 'UTC', canonical: CANONICAL });
      const other = `${place.file}.other`;
      symlinkSync(place.file, other);
      const whole = openHeld({ database: other, zone: 'UTC', canonical: CANONICAL });
      const asks = (n: number): void => {
        const [kind, query] = QUESTIONS[n % QUESTIONS.length] ?? ['search', ''];
        const [before, target] = [held.follower.reached(), needed(held, OBSERVATION, asked(kind, query))];
        if (target < held.follower.target()) waitedForLess += 1;
        if (target > before) waitedForSome += 1;
        reachTo(held, target);
        reachAll(whole);
        expect(answer(held, kind, query)).toEqual(answer(whole, kind, query));
      };
      try {
        held.follower.step(1);
        await ward.place();
        for (const { does, drain, n } of steps) {
          if (does === 'asks') asks(n);
          else if (does === 'follows') reachAll(held);
          else if (does === 'takes') held.follower.step(1 + (n % 3));
          else await ward[does](drain, n);
        }
      } finally {
        held.close();
        whole.close();
        await ledger.close();
        place.remove();
      }
    }),
    { numRuns: 25 },
  );
  expect(waitedForLess).toBeGreaterThan(40);
  expect(waitedForSome).toBeGreaterThan(40);
});

test('an index that was never level with its ledger waits for all of it: links of old releases may be incomplete', async () => {
  const place = temporaryFile();
  const ledger = openLedger(place.file);
  const ward = wardOf(ledger);
  await ward.place();
  const held = openHeld({ database: place.file, zone: 'UTC', canonical: CANONICAL });
  const waitsFor = (query: string) =>
    needed(held, OBSERVATION, asked('search', query)) - held.follower.target();
  held.follower.step(1);
  expect(waitsFor('patient=2')).toBe(0);
  reachAll(held);
  await ward.reads(0, 1);
  await ward.reads(1, 1);
  await ward.reads(3, 1);
  expect(waitsFor('patient=3')).toBe(-3);
  expect(waitsFor('patient=1')).toBe(-2);
  expect(waitsFor('patient=2')).toBe(-1);
  // A drain whose patient is known by a reference may have been linked by an identifier that was not kept.
  expect(waitsFor('patient.identifier=three')).toBe(0);
  for (const query of ['code=level', 'patient:missing=true', 'patient=2&_include=Observation:device'])
    expect(waitsFor(query), query).toBe(0);
  held.close();
  await ledger.close();
  place.remove();
});

test('an entry is found by its patient as soon as it is acknowledged, while others chart as fast as they can', async () => {
  const service = await startTestService();
  const drains = await Promise.all(
    Array.from({ length: 9 }, async (_, n) => {
      const drain = await placeDrain(service, `p${n}`, '00:00', { patient: { reference: `Patient/${n}` } });
      await drain.enter(setUp(`s${n}`, '00:00', 0));
      return drain;
    }),
  );
  const [mine, ...others] = drains;
  let isOver = false;
  const storm = others.map(async (drain, d) => {
    for (let n = 1; !isOver; n += 1) await drain.enter(level(`o${d}-${n}`, timeOf(n), n % 1900));
  });
  for (let n = 1; n <= 40; n += 1) {
    expect((await mine?.enter(level(`m${n}`, timeOf(n), 40 * n)))?.status).toBe(201);
    const found = await service.send('GET', '/fhir/Observation?patient=0&code=level&_count=1');
    const [{ resource }] = JSON.parse(found.text).entry;
    expect([resource.effectiveDateTime, resource.valueQuantity.value]).toEqual([
      `2025-03-01T${timeOf(n)}:00Z`,
      40 * n,
    ]);
  }
  isOver = true;
  await Promise.all(storm);
  await service.stop();
});

/** A minute of the day for each; of more than a day has, the last. */
function timeOf(n: number): string {
  const [hour, minuteOfHour] = [Math.floor(n / 60), n % 60].map((part) => String(part).padStart(2, '0'));
  return n < 1440 ? `${hour}:${minuteOfHour}` : '23:59';
}
