/** One seeded schedule: what is charted, what goes wrong, when we are killed; and what must be so at the end. */
import type { Authorizer } from '../../../src/delivery/auth/authorizer.ts';
import { connectTo } from '../../../src/delivery/connection.ts';
import { type Deliverer, startDelivering } from '../../../src/delivery/deliver.ts';
import type { Mode } from '../../../src/delivery/target.ts';
import type { DeliveryEvent, ListedDelivery } from '../../../src/store/delivery-port.ts';
import type { Store } from '../../../src/store/port.ts';
import { createFrameReader } from '../../../src/store/sqlite/frames.ts';
import { seeded } from '../../e2e/story.ts';
import { incoming, type Ledger, openLedger } from '../../store/ledger.ts';
import { level, placed, setUp, type Told, voided } from '../../support/drain-script.ts';
import { targetOf } from '../target.ts';
import { createSimEhr, type SimEhr } from './ehr.ts';
import { FAULTS, type RequestFault } from './faults.ts';
import { createVirtualClock, type VirtualClock } from './virtual-clock.ts';

const BASE = 'https://ehr.example/fhir';
const START_MS = Date.UTC(2026, 2, 5);
const TIMEOUT_MS = 10_000;
const CEILING_MS = 30_000;
const HOUR_MS = 3_600_000;
/** Longer than the clock can have jumped between two lives of the process. */
const REVIEW_MS = 6 * HOUR_MS;
const WAYS: readonly Exclude<Mode, 'probe'>[] = ['create', 'put', 'batch', 'transaction'];
const DRAINS = 3;

export interface Ran {
  readonly seed: number;
  readonly mode: Mode;
  readonly ehr: SimEhr;
  /** Errors of our own. */
  readonly failures: readonly string[];
  readonly deliveries: readonly ListedDelivery[];
  /** Every step that was taken. */
  readonly steps: readonly DeliveryEvent[];
  /** By resource name, in order: place in the ledger and text. */
  readonly issued: ReadonlyMap<string, readonly Issued[]>;
  readonly virtualHours: number;
  readonly kills: number;
}
export interface Issued {
  readonly drain: string;
  readonly logIndex: number;
  readonly text: string;
}

export async function runSchedule(seed: number, file: string): Promise<Ran> {
  const random = seeded(seed);
  const mode = WAYS[seed % WAYS.length] ?? 'create';
  const clock = createVirtualClock(START_MS, random);
  const dice = { rate: 0.05 + random() * 0.45, poison: random() < 0.3, failing: true };
  const ehr = createSimEhr({
    clock,
    base: BASE,
    timeoutMs: TIMEOUT_MS,
    ceilingMs: CEILING_MS,
    random,
    ignoresConditions: random() < 0.5,
    faultFor: () => roll(ehr, random, dice),
    isPoison: (text) =>
      dice.poison && text.includes('"resourceType":"Observation"') && /"value":(25|40)(\.0)?,/.test(text),
  });
  let recorded = START_MS;
  const ledger = openLedger(file, {
    now: () => {
      recorded = Math.max(recorded + 1, clock.now());
      return recorded;
    },
  });
  const failures: string[] = [];
  const life = createLife(ledger, ehr, clock, mode, random, failures);
  try {
    let told = false;
    const telling = tellAll(ledger, clock, random).then(() => {
      told = true;
    });
    life.start();
    await clock.runUntil(() => told, 6 * HOUR_MS);
    await telling;
    dice.failing = false;
    await clock.runUntil(() => isAtRest(ledger.store), 48 * HOUR_MS);
    return {
      seed,
      mode,
      ehr,
      failures,
      deliveries: ledger.store.deliveries({}, null, 10_000),
      steps: ledger.store.deliveryEvents({}, 0, 100_000),
      issued: issuedIn(ledger),
      virtualHours: (clock.now() - START_MS) / HOUR_MS,
      kills: life.kills(),
    };
  } finally {
    life.kill();
    await ledger.close();
  }
}

const isAtRest = (store: Store): boolean =>
  store.deliveryCounts().every(({ state }) => !UNSETTLED.includes(state));
const UNSETTLED = ['waiting', 'sending', 'unknown', 'requeued', 'accepted'];

function roll(
  ehr: SimEhr,
  random: () => number,
  { rate, failing }: { readonly rate: number; readonly failing: boolean },
): RequestFault {
  const none = { kind: 'none' } as const;
  if (!failing || random() >= rate) return none;
  const all = Object.values(FAULTS);
  const fault = all[Math.floor(random() * all.length)] ?? none;
  if (fault.kind === 'expired') ehr.token += 1;
  return fault;
}

/** The deliverer, killed now and then as by kill -9: what it had under way is neither finished nor written down. */
function createLife(
  ledger: Ledger,
  ehr: SimEhr,
  clock: VirtualClock,
  mode: Mode,
  random: () => number,
  failures: string[],
) {
  let current: { dead: boolean; readonly deliverer: Deliverer } | null = null;
  let kills = 0;

  function start(): void {
    // A clock that jumped between two lives of the process.
    const skewMs = kills === 0 || random() < 0.5 ? 0 : Math.round((random() - 0.5) * 4 * HOUR_MS);
    const mine = { dead: false };
    const wall = { ...clock, now: () => clock.now() + skewMs };
    const connection = connectTo({
      baseUrl: BASE,
      http: (request) => (mine.dead ? forever() : ehr.send(request)),
      authorizer: createTokenKeeper(ehr),
      now: wall.now,
      onVerdict: () => undefined,
    });
    const deliverer = startDelivering({
      store: mortal(ledger.store, mine, clock),
      target: targetOf({
        ...{ baseUrl: BASE, mode, reviewMs: REVIEW_MS },
        ...{ timeoutMs: TIMEOUT_MS, requestCeilingMs: CEILING_MS },
      }),
      connection,
      clock: wall,
      canonical: 'http://example.org/test',
      log: { warn: tellFailure(failures), error: tellFailure(failures) },
      pollMs: 20_000,
    });
    current = Object.assign(mine, { deliverer });
    void clock.after(random() * 12 * 60_000).then(() => {
      if (random() < 0.7 && !mine.dead) {
        kill();
        kills += 1;
        start();
      }
    });
  }

  function kill(): void {
    if (current === null) return;
    current.dead = true;
    void current.deliverer.stop();
  }

  return { start, kill, kills: () => kills };
}

/** What is logged of errors of our own, as against those of the target. */
const tellFailure =
  (failures: string[]) =>
  (facts: object, message: string): void => {
    if ('error' in facts) failures.push(`${message}: ${facts.error}`);
  };

const forever = (): Promise<never> => new Promise(() => undefined);

/** A store that a dead process cannot reach any more. */
export function mortal(store: Store, life: { readonly dead: boolean }, clock: VirtualClock): Store {
  const guard =
    <A extends unknown[], R>(call: (...args: A) => Promise<R>) =>
    (...args: A): Promise<R> =>
      life.dead ? forever() : clock.busy(call(...args)).then((value) => (life.dead ? forever() : value));
  return {
    ...store,
    claim: guard(store.claim),
    settle: guard(store.settle),
    extend: guard(store.extend),
    noteTarget: guard(store.noteTarget),
    rebaseWaits: guard(store.rebaseWaits),
  };
}

function createTokenKeeper(ehr: SimEhr): Authorizer {
  let token = ehr.token;
  return {
    header: async () => `Bearer ${token}`,
    renew() {
      token = ehr.token;
      return true;
    },
  };
}

/** Some drains, each with readings, late ones, corrections and withdrawals, over about an hour. */
async function tellAll(ledger: Ledger, clock: VirtualClock, random: () => number): Promise<void> {
  const stories = Array.from({ length: DRAINS }, (_, n) => storyOf(n, random));
  while (stories.some((story) => story.rest.length > 0)) {
    const story = stories[Math.floor(random() * DRAINS)];
    const next = story?.rest.shift();
    if (story === undefined || next === undefined) continue;
    const [outcome] = await clock.busy(ledger.record([incoming(next, story.placement)]));
    if (outcome?.kind !== 'recorded') throw new Error(`${next.key}: ${JSON.stringify(outcome)}`);
    await clock.after(random() * 6 * 60_000);
  }
}

function storyOf(n: number, random: () => number): { readonly placement: Told; readonly rest: Told[] } {
  const key = (name: string) => `${name}-${n}`;
  const placement = { ...placed('08:00', { patient: { reference: `Patient/p${n}` } }), key: key('placed') };
  const rest: Told[] = [placement, { ...setUp('08:00', 0), key: key('set-up') }];
  let ml = 0;
  for (let hour = 9; hour < 13; hour += 1) {
    ml += 5 + 5 * Math.floor(random() * 6);
    const name = key(`r${hour}`);
    const time = `${String(hour).padStart(2, '0')}:00`;
    rest.push({ ...level(name, time, ml), key: name });
    const chance = random();
    if (chance < 0.3)
      rest.push({ ...level(key(`fix${hour}`), '14:00', ml + 5), corrects: name, to: time } as Told);
    else if (chance < 0.4) rest.push(voided(key(`void${hour}`), name, '15:00'));
  }
  return { placement, rest };
}

function issuedIn({ db }: Ledger): Map<string, Issued[]> {
  const textsIn = createFrameReader(db);
  const issued = new Map<string, Issued[]>();
  const rows = db
    .prepare<[], { drain: string; log_index: number; resources: string }>(
      'SELECT * FROM issued ORDER BY log_index',
    )
    .all();
  for (const { drain, log_index, resources } of rows)
    for (const text of textsIn(resources)) {
      const { resourceType, id } = JSON.parse(text) as { resourceType: string; id: string };
      const name = `${resourceType}/${id}`;
      issued.set(name, [...(issued.get(name) ?? []), { drain, logIndex: log_index, text }]);
    }
  return issued;
}
