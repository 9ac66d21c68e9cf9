/** What a message says of drains, into the ledger: all of it or nothing. */
import type { Sender } from '../audit/chain.ts';
import type { Principal } from '../auth/principal.ts';
import { chainOf } from '../domain/book/book.ts';
import { isRegistered, UNKNOWN_DEVICE } from '../domain/devices/device.ts';
import type { Chain } from '../domain/fold/chains.ts';
import { type Hl7Fault, hl7Fault, type Place } from '../intake/hl7v2/fault.ts';
import { planAgain, planOf } from '../intake/hl7v2/plan.ts';
import type { Telling } from '../intake/hl7v2/read-results.ts';
import { deviceNameOf } from '../record/device-acts.ts';
import { type Incoming, NOT_ON_THEIRS, type NotTaken } from '../record/incoming.ts';
import { nameOf } from '../record/names.ts';
import { drainNameOf, type Record } from '../record/record.ts';
import type { AppendOutcome, Store } from '../store/port.ts';

export interface EnterParts {
  readonly store: Store;
  readonly record: Record;
  /** Why a client may not write an entry; null when it may. */
  mayNot(principal: Principal, incoming: Incoming): { readonly detail: string } | null;
  /** Why a client may change nothing that was charted; null when it may. */
  mayNotChange(principal: Principal): { readonly detail: string } | null;
  /** Whether a client reaches only some drains. */
  isConfined(principal: Principal): boolean;
  /** The entry, with what its client is confined to where that is only known once it is found where it goes. */
  confined(principal: Principal, incoming: Incoming): Incoming;
  /** Whether a client may reach a drain; null: what counts for none. */
  reaches(principal: Principal, drain: string | null): boolean;
  now(): number;
}

export interface From {
  readonly principal: Principal;
  /** As the ledger keeps it. */
  readonly sender: Sender;
}

export type Entered =
  | { readonly kind: 'taken'; readonly isNew: boolean }
  /** Nothing was written. */
  | { readonly kind: 'faulty'; readonly faults: readonly Hl7Fault[] }
  | { readonly kind: 'not-allowed'; readonly words: string }
  /** It is of what was lawfully erased. */
  | { readonly kind: 'erased'; readonly faults: readonly Hl7Fault[] }
  /** Others changed the same entries over and over. */
  | { readonly kind: 'outrun' };

const MOST_ATTEMPTS = 3;

interface Step {
  readonly telling: Telling;
  readonly isChange: boolean;
  readonly incoming: Incoming;
}

export async function enter(
  tellings: readonly Telling[],
  { principal, sender }: From,
  parts: EnterParts,
): Promise<Entered> {
  const words = notAllowed(tellings, principal, parts);
  if (words !== null) return { kind: 'not-allowed', words };
  // Tellings that stand in the ledger with other words: known once the store has said so.
  const told = new Set<Telling>();
  for (let attempt = 0; attempt < MOST_ATTEMPTS; attempt += 1) {
    const { steps, faults } = stepsOf(tellings, told, parts);
    if (faults.length > 0) return { kind: 'faulty', faults };
    if (steps.length === 0) return { kind: 'taken', isNew: false };
    for (const { incoming } of steps) {
      const refused = parts.mayNot(principal, incoming);
      if (refused !== null) return { kind: 'not-allowed', words: refused.detail };
    }
    const outcomes = await parts.record(
      steps.map(({ incoming }) => parts.confined(principal, incoming)),
      sender,
    );
    const beyond = outcomes.flatMap((outcome) => outOfBoundsIn(outcome) ?? []);
    if (beyond[0] !== undefined) return { kind: 'not-allowed', words: beyond[0] };
    const found = outcomes.map((outcome, n) => judged(outcome, steps[n]));
    const wrong = found.flatMap((each) => (typeof each === 'object' ? each : []));
    if (wrong.length > 0) return { kind: outcomes.some(isErased) ? 'erased' : 'faulty', faults: wrong };
    if (found.every((each) => each === 'taken'))
      return {
        kind: 'taken',
        isNew: outcomes.some(({ kind }) => kind === 'recorded' || kind === 'unmatched'),
      };
    for (const [n, each] of found.entries()) {
      const step = steps[n];
      if (each === 'told' && step !== undefined) told.add(step.telling);
    }
  }
  return { kind: 'outrun' };
}

/**
 * Why none of it may be told, as far as that can be said before what it says is compared with what stands: that nothing
 * is new in it would tell what stands there.
 */
function notAllowed(tellings: readonly Telling[], principal: Principal, parts: EnterParts): string | null {
  const { store, isConfined, mayNotChange } = parts;
  if (!tellings.every((each) => reachesTold(principal, each, parts))) return NOT_THEIRS;
  if (isConfined(principal) && tellings.some((each) => isOfUnregistered(each, parts))) return NOT_ON_THEIRS;
  const isChange = tellings.some(
    ({ corrects, takesBack, identifier }) =>
      corrects || (takesBack.length > 0 && store.isRecorded(nameOf(identifier))),
  );
  return isChange ? (mayNotChange(principal)?.detail ?? null) : null;
}

function stepsOf(tellings: readonly Telling[], told: ReadonlySet<Telling>, { store, now }: EnterParts) {
  const steps: Step[] = [];
  const faults: Hl7Fault[] = [];
  const at = new Date(now()).toISOString();
  for (const telling of tellings) {
    const { of } = telling;
    if (isOfUnregistered(telling, { store })) {
      faults.push(unregistered(telling));
      continue;
    }
    const drain = 'drain' in of ? drainNameOf(of.drain) : null;
    const chain = chainIn(store, drain, telling);
    const plan = told.has(telling) ? planAgain(telling, chain, at) : planOf(telling, chain, at);
    if (plan.kind === 'faulty') faults.push(plan.fault);
    if (plan.kind !== 'enter' && plan.kind !== 'change') continue;
    const { claims, request } = telling;
    const incoming = { drain, body: plan.body, request, ...(claims === undefined ? {} : { claims }) };
    steps.push({ telling, isChange: plan.kind === 'change', incoming });
  }
  return { steps, faults };
}

const isOfUnregistered = ({ of }: Telling, { store }: Pick<EnterParts, 'store'>): boolean =>
  'device' in of && !isRegistered(store.device(deviceNameOf(of.device)) ?? UNKNOWN_DEVICE);

const NOT_THEIRS = 'is not all of the one patient or drain that the client is confined to';

/** Whether the client reaches where a telling goes, or where stands what was told under its order before. */
function reachesTold(
  principal: Principal,
  { of, identifier, corrects, takesBack }: Telling,
  { store, reaches }: EnterParts,
): boolean {
  if ('drain' in of) return reaches(principal, drainNameOf(of.drain));
  const told = store.routedChain(nameOf(identifier));
  const isNew = told === undefined && !corrects && takesBack.length === 0;
  return isNew || reaches(principal, told?.drain ?? null);
}

/** Of a device it stands wherever the device was. */
function chainIn(store: Store, drain: string | null, { identifier }: Telling): Chain | undefined {
  const name = nameOf(identifier);
  if (drain === null) return store.routedChain(name)?.chain;
  // Most results are new: no book need be read to see that nothing stands under their identifier.
  if (!store.isRecorded(name)) return undefined;
  const book = store.books(drain).get(drain);
  return book === undefined ? undefined : chainOf(book, identifier);
}

function judged(outcome: AppendOutcome, step: Step | undefined): 'taken' | 'told' | 'outrun' | Hl7Fault {
  if (step === undefined) throw new Error('there is an outcome for each step');
  const { telling, isChange } = step;
  if (outcome.kind === 'conflict') return isChange ? idUsedTwice(telling) : 'told';
  if (outcome.kind !== 'refused') return 'taken';
  const refused = outcome.refused as NotTaken;
  // Something else was charted of it in between: looked at again, it may still fit.
  if (refused.refused === 'not-the-chain-end') return 'outrun';
  return faultOf(refused, telling);
}

const outOfBoundsIn = (outcome: AppendOutcome): string | null => {
  if (outcome.kind !== 'refused') return null;
  const { refused, mend } = outcome.refused as NotTaken;
  return refused === 'out-of-bounds' ? mend : null;
};

const isErased = (outcome: AppendOutcome): boolean =>
  outcome.kind === 'refused' && (outcome.refused as NotTaken).refused === 'erased';

const unregistered = ({ drainPlace }: Telling): Hl7Fault =>
  hl7Fault(
    drainPlace,
    101,
    undefined,
    'names no drain, and its device is not registered',
    'send the identifier that the drain was placed under, or register the device and assign it',
  );

const idUsedTwice = ({ change }: Telling): Hl7Fault =>
  hl7Fault(
    { segment: 'MSH', sequence: 1, field: 10 },
    205,
    change.value,
    'named another message about the same result before',
    'send each message under a control id of its own',
  );

function faultOf({ refused, pointer, value, mend }: NotTaken, telling: Telling): Hl7Fault {
  const order: Place = { segment: 'OBR', sequence: telling.order.sequence, field: 3 };
  const places: Readonly<{ [pointer: string]: Place }> = {
    '/drain': telling.drainPlace,
    '/device': telling.drainPlace,
    '/subject': { segment: 'PID', sequence: 1, field: 3 },
  };
  // The id of a drain is of no use to who named it by the identifier of its placement.
  const found = pointer === '/drain' && 'drain' in telling.of ? telling.of.drain.value : value;
  return hl7Fault(places[pointer] ?? order, 204, found, refused.replaceAll('-', ' '), mend);
}
