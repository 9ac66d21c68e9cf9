/** A deliverer to one target, in virtual time; the process that it stands for dies with its test. */
import { afterEach } from 'vitest';
import { noAuthorizer } from '../../../src/delivery/auth/authorizer.ts';
import { connectTo } from '../../../src/delivery/connection.ts';
import { type Deliverer, startDelivering } from '../../../src/delivery/deliver.ts';
import type { HttpAnswer, HttpRequest } from '../../../src/delivery/http.ts';
import type { Target } from '../../../src/delivery/target.ts';
import type { Store } from '../../../src/store/port.ts';
import { mortal } from './schedule.ts';
import type { VirtualClock } from './virtual-clock.ts';

interface Delivering {
  readonly store: Store;
  readonly target: Target;
  readonly clock: VirtualClock;
  readonly pollMs: number;
  http(request: HttpRequest): Promise<HttpAnswer>;
}

export function delivererForEach(): (delivering: Delivering) => Deliverer {
  let life: { dead: boolean; readonly deliverer: Deliverer } | undefined;
  afterEach(() => {
    if (life === undefined) return;
    // Its time stands still, so that it would wait for ever for what is under way.
    life.dead = true;
    void life.deliverer.stop();
  });
  return ({ store, target, clock, pollMs, http }) => {
    const mine = { dead: false };
    const { baseUrl } = target;
    const deliverer = startDelivering({
      store: mortal(store, mine, clock),
      target,
      connection: connectTo({
        ...{ baseUrl, http, authorizer: noAuthorizer, now: clock.now },
        onVerdict: () => undefined,
      }),
      clock,
      canonical: 'http://example.org/test',
      log: { warn: () => undefined, error: () => undefined },
      pollMs,
    });
    life = Object.assign(mine, { deliverer });
    return deliverer;
  };
}
