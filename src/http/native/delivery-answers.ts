/** What is said of deliveries, as schemas. */
import { z } from 'zod';
import { author } from '../../intake/native/common-schemas.ts';
import type { LeftTarget } from '../../record/left-targets.ts';
import { DELIVERY_STATES, type DeliveryEvent, type ListedDelivery } from '../../store/delivery-port.ts';
import type { TargetStatus } from '../parts.ts';

const time = z.string().meta({ format: 'date-time' });
const count = z.number().int().nonnegative();

const outcome = z
  .object({
    why: z.string(),
    status: z.number().int().optional().describe('HTTP status.'),
    issues: z
      .array(
        z.object({
          severity: z.string(),
          code: z.string(),
          diagnostics: z.string().optional(),
          expression: z.array(z.string()).optional(),
        }),
      )
      .optional()
      .describe('Of the OperationOutcome that came, at most 10.'),
    text: z.string().optional().describe('The start of an answer that was no OperationOutcome.'),
    resources: z
      .array(z.string())
      .optional()
      .describe('What of the delivery was refused, or accepted beside it and not seen, at most 20.'),
  })
  .meta({ id: 'DeliveryOutcome', description: 'What the target said last, shortened.' });

const name = {
  delivery: z.string().describe('Names it in orders.'),
  target: z.string(),
  drain: z.string(),
  log_index: count.describe('Place in the ledger of the entry that issued it.'),
};

export const deliveriesPage = z
  .object({
    deliveries: z.array(
      z
        .object({
          ...name,
          state: z.enum(DELIVERY_STATES),
          attempts: count,
          since: time.nullable().describe('Of the first attempt, or when it was set aside.'),
          next_attempt: time
            .nullable()
            .describe(
              'Of what was accepted (202): when it is looked for next; null where it cannot be seen.',
            ),
          outcome: outcome.nullable(),
        })
        .meta({ id: 'Delivery' }),
    ),
    next_after: z.string().nullable().describe('Null on the last page.'),
  })
  .meta({ id: 'DeliveriesPage' });

export const eventsPage = z
  .object({
    events: z.array(
      z
        .object({
          event: count,
          at: time,
          target: z.string(),
          drain: z.string().nullable().describe('Null where it concerns the whole target.'),
          log_index: count.nullable(),
          kind: z.string(),
          attempts: count,
          author: author.nullable(),
          reason: z.string().nullable(),
          client: z.string().nullable().describe('That ordered it.'),
          outcome: outcome.nullable(),
        })
        .meta({ id: 'DeliveryEvent' }),
    ),
    next_after: count.nullable().describe('Null on the last page.'),
  })
  .meta({ id: 'DeliveryEventsPage' });

export const targets = z
  .object({
    targets: z.array(
      z
        .object({
          target: z.string(),
          state: z
            .enum(['working', 'resting', 'parked', 'unconfigured'])
            .describe(
              'resting: it failed three times in a row; parked: it forbids what is sent; unconfigured: nothing is sent to it any more, though something waits.',
            ),
          failures: count.describe('Attempts in a row that it did not handle.'),
          rests_until: time.nullable(),
          waiting: count.describe('Deliveries that wait; counting stops at 100,000.'),
          oldest_recorded_at: time.nullable(),
          requests: z.record(z.string(), count).describe('By what came of them, since the process started.'),
        })
        .meta({ id: 'Target' }),
    ),
  })
  .meta({ id: 'Targets' });

export const done = z.object({ deliveries: count }).meta({ id: 'Requeued' });
export const replayed = z.object({ drains: count }).meta({ id: 'Replayed' });

export const nameOf = ({
  target,
  drain,
  logIndex,
}: Pick<ListedDelivery, 'target' | 'drain' | 'logIndex'>): string => `${target}.${drain}.${logIndex}`;

const iso = (ms: number | null): string | null => (ms === null ? null : new Date(ms).toISOString());

/** What is sent again, or looked for, when its time comes; while one is under way its time is that of the claim. */
const AWAITED = new Set<ListedDelivery['state']>(['waiting', 'unknown', 'accepted']);

export const deliveryView = (listed: ListedDelivery) => ({
  delivery: nameOf(listed),
  target: listed.target,
  drain: listed.drain,
  log_index: listed.logIndex,
  state: listed.state,
  attempts: listed.attempts,
  since: iso(listed.sinceMs),
  next_attempt: AWAITED.has(listed.state) ? iso(listed.dueMs) : null,
  outcome: listed.outcome,
});

export const eventView = ({
  event,
  atMs,
  target,
  drain,
  logIndex,
  kind,
  attempts,
  by,
  outcome,
}: DeliveryEvent) => ({
  event,
  at: iso(atMs),
  target,
  drain,
  log_index: logIndex,
  kind,
  attempts,
  author: by?.author ?? null,
  reason: by?.reason ?? null,
  client: by?.client ?? null,
  outcome,
});

export const UNCONFIGURED = {
  state: 'unconfigured',
  failures: 0,
  restsUntilMs: null,
  requests: {},
} as const;

export const targetView = (
  { target, state, failures, restsUntilMs, requests }: TargetStatus | (typeof UNCONFIGURED & LeftTarget),
  { depth, oldestMs }: { readonly depth: number; readonly oldestMs: number | null },
) => ({
  target,
  state,
  failures,
  rests_until: iso(restsUntilMs),
  waiting: depth,
  oldest_recorded_at: iso(oldestMs),
  requests,
});
