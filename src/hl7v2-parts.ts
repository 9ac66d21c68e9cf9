/** HL7 v2 put together for the service. */
import { isBound, type Principal } from './auth/principal.ts';
import type { MessageMapping } from './domain/vocabulary/message-mapping.ts';
import type { Log } from './hl7v2/mllp/connection.ts';
import { listenMllp, type Mllp, type MllpOptions } from './hl7v2/mllp/listener.ts';
import { createHl7v2, type Hl7v2, type TakeParts } from './hl7v2/take.ts';
import { refusedItem } from './http/accesses.ts';
import { changeRefusal, confined, reachesDrain, writeRefusal } from './http/allowed.ts';
import type { Accesses } from './record/accesses.ts';
import type { Store } from './store/port.ts';

interface Chosen
  extends Omit<
    TakeParts,
    'mayNot' | 'mayNotChange' | 'isConfined' | 'confined' | 'reaches' | 'now' | 'mapping'
  > {
  readonly mapping: MessageMapping | undefined;
}

/** Null without a mapping. The same checks of access hold as at every other door. */
export function hl7v2Of({ mapping, ...parts }: Chosen): Hl7v2 | null {
  if (mapping === undefined) return null;
  return createHl7v2({
    ...parts,
    mapping,
    now: Date.now,
    mayNot: (principal, incoming) => writeRefusal(principal, parts.store, incoming),
    mayNotChange: changeRefusal,
    isConfined: isBound,
    confined: (principal, incoming) => confined(principal, parts.store, incoming),
    reaches: (principal, drain) =>
      !isBound(principal) || (drain !== null && reachesDrain(principal, drain, parts.store)),
  });
}

interface Around {
  readonly store: Store;
  readonly accesses: Accesses;
  readonly log: Log;
}

/** Null where nothing is to be taken over MLLP. @throws {Error} when the port is taken */
export async function mllpOf(
  options: MllpOptions | null,
  hl7v2: Hl7v2 | null,
  { store, accesses, log }: Around,
): Promise<Mllp | null> {
  if (options === null || hl7v2 === null) return null;
  const noteForbidden = (address: string, drains: readonly string[]): Promise<void> =>
    accesses.note(refusedItem(callerAt(options.principal, address), drains, { store }, 'an HL7 v2 message'));
  const mllp = await listenMllp(options, { hl7v2, log, noteForbidden });
  log.info({ host: options.host, port: mllp.port, tls: options.tls !== null }, 'listening for MLLP');
  return mllp;
}

const callerAt = (principal: Principal, address: string) => ({ ...principal, address, requestId: null });
