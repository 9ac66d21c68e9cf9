/**
 * Deliveries as the store gives them. Claims and settlements are the many, and make way for entries; whoever asks for anything
 * else waits for it like for an entry.
 */
import type { DeliveryStore } from '../delivery-port.ts';
import { createDeliveryWriter } from './deliveries.ts';
import { createServedWriter, type EventWriter } from './delivery-events.ts';
import { createDeliveryOrders } from './delivery-orders.ts';
import { createDeliveryReader } from './delivery-reads.ts';
import type { GroupCommit } from './group-commit.ts';
import type { Lanes } from './lanes.ts';
import type { openReader, openWriter } from './open.ts';

export function createDeliverySide(
  writer: ReturnType<typeof openWriter>,
  reader: ReturnType<typeof openReader>,
  { lanes, note }: { readonly lanes: Lanes; readonly note: EventWriter },
  group: GroupCommit,
): DeliveryStore {
  const deliveries = createDeliveryWriter(writer, lanes, note);
  const noteServed = createServedWriter(writer, note);
  const orders = createDeliveryOrders(writer, lanes, note);
  const { isDue, ...reads } = createDeliveryReader(reader);
  const rebase = writer.prepare(
    `UPDATE lane SET due_ms = min(@latest, iif(state = 'waiting', due_ms, max(due_ms, @uncertain)))
     WHERE target = @target AND state <> 'idle' AND (state <> 'waiting' OR due_ms > @latest)`,
  );
  const rebaseLooks = writer.prepare(
    'UPDATE set_aside SET due_ms = min(due_ms, @latest) WHERE target = @target AND due_ms IS NOT NULL',
  );
  return {
    ...reads,
    claim(target, now, lapses, most, except, startBundle = null) {
      if (!isDue(target, now)) return Promise.resolve([]);
      return group.defer(() => deliveries.claim(target, now, lapses, most, except, startBundle));
    },
    extend: (delivery, lapses) => group.submit(() => deliveries.extend(delivery, lapses)),
    settle: (settled, now) => group.defer(() => deliveries.settle(settled, now)),
    rebaseWaits: (target, uncertain, latest) =>
      group.submit(() => {
        rebase.run({ target, uncertain, latest });
        rebaseLooks.run({ target, latest });
      }),
    noteServed: (targets, atMs) => group.submit(() => noteServed(targets, atMs)),
    noteTarget: (target, kind, atMs, outcome, by) =>
      group.submit(() => note({ target, kind, atMs, outcome, by })),
    requeue: (filter, by, now) => group.submit(() => orders.requeue(filter, by, now)),
    skip: (delivery, by, now) => group.submit(() => orders.skip(delivery, by, now)),
    replay: (target, drain, period, by, now) =>
      group.submit(() => orders.replay(target, drain, period, by, now)),
  };
}
