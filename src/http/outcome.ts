/** What became of an entry, as status, headers and body; the same for one entry and for an item of a batch. */
import type { NotTaken } from '../record/record.ts';
import type { AppendOutcome } from '../store/port.ts';
import { type Problem, problem } from './problem.ts';

export interface Answer {
  readonly status: number;
  /** JSON text. */
  readonly body: string;
}

const STATUS_OF: Readonly<Record<NotTaken['refused'], number>> = {
  'no-such-drain': 404,
  'in-the-future': 422,
  'unknown-target': 422,
  'not-the-chain-end': 409,
  'kind-differs': 422,
  'patient-differs': 422,
  'already-void': 409,
};

export function answerOf(outcome: AppendOutcome): Answer | Problem {
  switch (outcome.kind) {
    case 'recorded':
      return { status: 201, body: outcome.receipt };
    case 'replayed':
      return { status: 200, body: outcome.receipt };
    case 'conflict':
      return keyUsedTwice(outcome.receipt);
    case 'refused':
      return notTaken(outcome.refused as NotTaken);
    default:
      return outcome satisfies never;
  }
}

function keyUsedTwice(receipt: string): Problem {
  const detail =
    'This identifier already names another message. Send a new identifier, or a correction that names it.';
  const error = {
    pointer: '/identifier',
    value: undefined,
    detail: 'already names an entry with other content',
    mend: 'send a new identifier, or a correction that names this one',
  };
  const title = 'The identifier was used before; nothing was written';
  return { ...problem(409, 'identifier-used', title, detail, [error]), first: JSON.parse(receipt) };
}

function notTaken({ refused, pointer, value, mend }: NotTaken): Problem {
  const detail = `${pointer} ${value}: ${mend}`;
  const error = { pointer, value: JSON.stringify(value), detail: refused.replaceAll('-', ' '), mend };
  return problem(
    STATUS_OF[refused],
    refused,
    'The ledger does not take this entry; nothing was written',
    detail,
    [error],
  );
}
