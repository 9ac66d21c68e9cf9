/** What became of an entry, as status, headers and body; the same for one entry and for an item of a batch. */

import type { Principal } from '../auth/principal.ts';
import { allows, READ } from '../auth/scope.ts';
import type { Identifier } from '../domain/vocabulary/entry.ts';
import { type NotTaken, usedBeyond } from '../record/incoming.ts';
import type { AppendOutcome, Previewed, Store } from '../store/port.ts';
import { reachesReceipt, receiptFor } from './allowed.ts';
import { type Problem, problem } from './problem.ts';

export interface Answer {
  readonly status: number;
  /** JSON text. */
  readonly body: string;
}

const STATUS_OF: Readonly<Record<NotTaken['refused'], number>> = {
  'no-such-drain': 404,
  erased: 410,
  'in-the-future': 422,
  'unknown-target': 422,
  'not-the-chain-end': 409,
  'kind-differs': 422,
  'patient-differs': 422,
  'patient-unknown': 422,
  'site-differs': 422,
  'already-void': 409,
  'device-elsewhere': 422,
  'device-differs': 422,
  'out-of-bounds': 403,
  'no-such-device': 404,
  'already-registered': 409,
  'already-closed': 409,
  'replacement-differs': 422,
  'still-in-use': 409,
  'ends-before-it-starts': 422,
  overlaps: 409,
};

export const statusOfRefusal = (refused: NotTaken['refused']): number => STATUS_OF[refused];

interface Told {
  readonly to: Principal;
  readonly store: Store;
  /** Where the entry stands in its message. */
  readonly pointer: string;
}

/** What was answered before is told again only to a client that may reach what it is about. */
export function answerOf(outcome: AppendOutcome | Previewed, { to, store, pointer }: Told): Answer | Problem {
  switch (outcome.kind) {
    case 'recorded':
      return { status: 201, body: receiptFor(to, store, outcome.receipt) };
    case 'unmatched':
      return { status: 202, body: outcome.receipt };
    case 'would-record':
      // In a wrapping of its own: nobody should take it for the acknowledgement of an entry.
      return { status: 200, body: `{"dry_run":true,"receipt":${receiptFor(to, store, outcome.receipt)}}` };
    case 'replayed':
      return reachesReceipt(to, store, outcome.receipt)
        ? { status: 200, body: receiptFor(to, store, outcome.receipt) }
        : notTaken(usedBeyond(identifierIn(outcome.receipt)), pointer);
    case 'conflict':
      return keyUsedTwice(
        receiptFor(to, store, outcome.receipt),
        // It may be another's: who may chart and not read learns only that the identifier is taken.
        allows(to.scope, READ) && reachesReceipt(to, store, outcome.receipt),
        pointer,
      );
    case 'refused':
      return notTaken(outcome.refused as NotTaken, pointer);
    default:
      return outcome satisfies never;
  }
}

const identifierIn = (receipt: string): Identifier => (JSON.parse(receipt) as Identified).identifier;

interface Identified {
  readonly identifier: Identifier;
}

function keyUsedTwice(receipt: string, isTold: boolean, within: string): Problem {
  const first = JSON.parse(receipt) as Identified;
  const error = {
    pointer: `${within}/identifier`,
    value: JSON.stringify(first.identifier),
    detail: 'already names an entry with other content',
    mend: 'send a new identifier, or a correction that names this one',
  };
  const detail = `${error.pointer} ${error.detail}: ${error.mend}`;
  const title = 'The identifier was used before; nothing was written';
  const used = problem(409, 'identifier-used', title, detail, [error]);
  return isTold ? { ...used, first } : used;
}

function notTaken({ refused, pointer, value, mend }: NotTaken, within: string): Problem {
  const title = 'The ledger does not take this entry; nothing was written';
  const place = `${within}${pointer}`;
  const error = { pointer: place, value: JSON.stringify(value), detail: refused.replaceAll('-', ' '), mend };
  return problem(STATUS_OF[refused], refused, title, `${place} ${value}: ${mend}`, [error]);
}
