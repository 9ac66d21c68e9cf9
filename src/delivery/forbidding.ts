/**
 * Whether a target forbids one delivery or all of them. Scope and policy concern all that goes there; who may write
 * about one patient, or to a visit that is closed, concerns that patient, and must not keep others from the record.
 */
import type { DeliveryName } from '../store/delivery-port.ts';
import type { End } from './end.ts';

export interface Forbidding {
  /** The same end, or what it comes to where only this drain, or only this delivery, is forbidden. */
  weigh(delivery: DeliveryName, end: End): End;
}

export function createForbidding(): Forbidding {
  /** Forbidden since anything was taken, by drain. */
  const since = new Set<string>();
  /** Forbidden before the last that was taken. */
  const before = new Set<string>();
  let hasTaken = false;

  return {
    weigh({ drain, logIndex }, end) {
      const name = `${drain}.${logIndex}`;
      if (end.kind === 'delivered' || end.kind === 'accepted') {
        hasTaken = true;
        for (const each of since) before.add(each);
        since.clear();
        before.delete(name);
      }
      if (end.kind !== 'forbidden') return end;
      if (before.delete(name)) {
        const why = `${end.outcome.why}, while others are taken: mend there who may write this, then requeue it`;
        return { kind: 'refused', outcome: { ...end.outcome, why } };
      }
      since.add(name);
      const isAlone = [...since].every((each) => each.startsWith(`${drain}.`));
      return isAlone && hasTaken ? { kind: 'barred', outcome: end.outcome } : end;
    },
  };
}
