/** What delivery asks of a store. As in port.ts, every method is one whole unit of work. */
import type { Author, Identifier } from '../domain/vocabulary/entry.ts';
import type { Framed } from '../json/frame.ts';

/** What one entry issued about one drain, on its way to one target. */
export interface Delivery extends DeliveryName {
  /** This one included. */
  readonly attempts: number;
  /** When the first attempt began, ms since the epoch. */
  readonly sinceMs: number;
  /** An attempt before this one may have been acted on, though no answer came. */
  readonly uncertain: boolean;
  /** That attempt was one Bundle with what waited behind it, so that what is newer may be there too. */
  readonly shared: boolean;
  /** Out of turn: asked for again, part of the replay of a period, or to be looked for after it was accepted. */
  readonly redo: 'requeue' | 'replay' | 'look' | null;
  /** How often the target has accepted it for later, since a person last asked for it. */
  readonly accepted: number;
  /** The resources, in the order in which they were issued; filled, each is the exact text. */
  readonly issued: readonly Framed[];
}

/** The first in line on its drain. */
export interface Claimed extends Delivery {
  /** What waits behind it, in order, and is to share its Bundle. */
  readonly behind: readonly Delivery[];
}

export interface DeliveryName {
  readonly target: string;
  readonly drain: string;
  /** Place in the ledger of the entry that issued it. */
  readonly logIndex: number;
}

/** A resource as a target took it. */
export interface Taken {
  /** Type and id as we issued it. */
  readonly resource: string;
  readonly version: number;
  /** Type and id at the target; null while it has not told. */
  readonly remote: string | null;
  readonly etag: string | null;
  /** When the target accepted it for later, ms since the epoch; null once it is known to hold it. */
  readonly acceptedMs: number | null;
}

/** Why it came to what it came to. Bounded. May quote what was sent, so it stays out of logs. */
export interface Outcome {
  readonly why: string;
  readonly status?: number;
  readonly issues?: readonly OutcomeIssue[];
  /** The start of an answer that is no OperationOutcome. */
  readonly text?: string;
  /** Of what was refused resource by resource: those, and what was accepted beside them and not seen. */
  readonly resources?: readonly string[];
}

export interface OutcomeIssue {
  readonly severity: string;
  readonly code: string;
  readonly diagnostics?: string;
  readonly expression?: readonly string[];
}

/** What becomes of a delivery. */
export type Fate =
  | { readonly state: 'delivered'; readonly outcome: null }
  /** Not plainly held by the target; the drain goes on all the same. */
  | {
      readonly state: 'accepted';
      readonly outcome: Outcome;
      /** How often by now. */
      readonly accepted: number;
      /** When to look for it, ms since the epoch; null where it cannot be seen. */
      readonly dueMs: number | null;
    }
  | { readonly state: 'dead'; readonly outcome: Outcome }
  /** To be sent again, as its facts stand then. */
  | { readonly state: 'requeued'; readonly outcome: Outcome }
  | { readonly state: 'waiting' | 'unknown'; readonly dueMs: number; readonly outcome: Outcome };
export type Settlement = Fate & { readonly taken: readonly Taken[] };

export interface Settled {
  readonly delivery: Delivery;
  readonly settlement: Settlement;
}

/** Begins a Bundle; asked of the issues of one drain in turn, given the resources of each, whether it goes into it as well. */
export type StartBundle = () => (issued: readonly Framed[]) => boolean;

/** Lanes (a drain to a target) by state, and what was set aside. */
export interface DeliveryCount {
  readonly target: string;
  readonly state: string;
  readonly count: number;
}

export const DELIVERY_STATES = [
  'waiting',
  'sending',
  'unknown',
  'accepted',
  'dead',
  'skipped',
  'requeued',
] as const;
export type DeliveryState = (typeof DELIVERY_STATES)[number];

export interface ListedDelivery extends DeliveryName {
  readonly state: DeliveryState;
  readonly attempts: number;
  /** Of the first attempt, or of when it was set aside, ms since the epoch; null before the first attempt. */
  readonly sinceMs: number | null;
  /** Of the next attempt, or of the next look for what was accepted; null where none is due. */
  readonly dueMs: number | null;
  readonly outcome: Outcome | null;
}

export interface DeliveryFilter {
  readonly target?: string;
  readonly drain?: string;
  readonly state?: DeliveryState;
}

/** Of what was set aside: the one at a place in the ledger, whyever it was, or else all that were refused or given up. */
export interface Requeued extends Omit<DeliveryFilter, 'state'> {
  readonly logIndex?: number;
}

/** What happened to deliveries, in order and for ever. */
export interface DeliveryEvent {
  readonly event: number;
  readonly atMs: number;
  readonly target: string;
  readonly drain: string | null;
  readonly logIndex: number | null;
  readonly kind: DeliveryEventKind;
  readonly attempts: number;
  readonly by: ByWhom | null;
  readonly outcome: Outcome | null;
}

export type DeliveryEventKind =
  | 'sending'
  | 'looking'
  | 'delivered'
  | 'accepted'
  | 'waiting'
  | 'unknown'
  | 'dead'
  | 'skipped'
  | 'requeued'
  | 'replay'
  | TargetEventKind;
export type TargetEventKind = 'started' | 'left' | 'parked' | 'resumed' | 'tripped' | 'closed';

/** Who asked for something to be done to deliveries, and why. */
export interface ByWhom {
  readonly author: {
    readonly type: Author['type'];
    readonly reference?: string | undefined;
    readonly identifier?: Identifier | undefined;
  };
  readonly reason: string;
  /** The client that it came through, as its token says. */
  readonly client: string;
}

export interface Period {
  readonly fromMs: number;
  readonly toMs: number;
}

/** What waits for a target. */
export interface Backlog {
  /** Deliveries; counting stops at a hundred thousand. */
  readonly depth: number;
  /** When the oldest was recorded, ms since the epoch; null where nothing waits. */
  readonly oldestMs: number | null;
}

export interface DeliveryStore {
  /**
   * Claims what is due and first in line on its drain, looks for what was accepted among it; a claim lapses at `lapsesMs`.
   * @param most drains at most
   * @param except drains that the caller has under way: its own claims lapse too, when it was held up for long
   * @param startBundle what is sent for the first time is followed by what waits behind it and may share its Bundle
   */
  claim(
    target: string,
    nowMs: number,
    lapsesMs: number,
    most: number,
    except: readonly string[],
    startBundle?: StartBundle | null,
  ): Promise<readonly Claimed[]>;
  /** Makes a claim lapse later. @returns false when it has lapsed and the delivery is somebody else's by now */
  extend(delivery: Delivery, lapsesMs: number): Promise<boolean>;
  /**
   * What becomes of all that was claimed on one drain, in its order: each is passed, or all of them go on waiting. Does
   * nothing when the claim has lapsed and they are somebody else's by now.
   */
  settle(settled: readonly Settled[], nowMs: number): Promise<void>;
  /**
   * Makes waits good that another process began, perhaps by another clock: what may still be acted on waits at least
   * until `uncertainMs`, and nothing longer than until `latestMs`.
   */
  rebaseWaits(target: string, uncertainMs: number, latestMs: number): Promise<void>;
  /** Notes which targets begin to be served, or cease to be, since that was last noted. */
  noteServed(targets: readonly string[], nowMs: number): Promise<void>;
  noteTarget(
    target: string,
    kind: TargetEventKind,
    nowMs: number,
    outcome: Outcome | null,
    by: ByWhom | null,
  ): Promise<void>;
  /** @returns how many will be sent again, as their facts stand then */
  requeue(filter: Requeued, by: ByWhom, nowMs: number): Promise<number>;
  /** Gives up a delivery that waits; the drain goes on. @returns false where it does not wait */
  skip(delivery: DeliveryName, by: ByWhom, nowMs: number): Promise<boolean>;
  /** Sends again what was recorded from `fromMs` and before `toMs`, as its facts stand now. @returns how many drains have any */
  replay(target: string, drain: string | null, period: Period, by: ByWhom, nowMs: number): Promise<number>;

  /** What the target took last of these resources; the others are left out. */
  taken(target: string, drain: string, resources: readonly string[]): readonly Taken[];
  /** Whether what the target took of a drain stands there under ids of its own, or nobody knows where. */
  standsElsewhere(target: string, drain: string): boolean;
  /** By target, drain and place in the ledger. */
  deliveries(filter: DeliveryFilter, after: DeliveryName | null, most: number): readonly ListedDelivery[];
  deliveryEvents(
    filter: Pick<DeliveryFilter, 'target' | 'drain'>,
    afterEvent: number,
    most: number,
  ): readonly DeliveryEvent[];
  deliveryCounts(): readonly DeliveryCount[];
  backlog(target: string): Backlog;
}
