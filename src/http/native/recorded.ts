/** What was read is recorded, and answered with what became of it. */
import { writeRequest } from '../../audit/entry-text.ts';
import type { Caller } from '../../auth/principal.ts';
import { type ItemEntry, readItem, togetherPointer } from '../../intake/native/read-batch.ts';
import type { ExactValue } from '../../json/exact-json.ts';
import type { Incoming } from '../../record/incoming.ts';
import { drainNameOf } from '../../record/record.ts';
import { StoreBusy, StoreFailed } from '../../store/port.ts';
import { refusedItem } from '../accesses.ts';
import { confined, writeRefusal } from '../allowed.ts';
import { senderOf } from '../caller.ts';
import { type Answer, answerOf } from '../outcome.ts';
import type { Parts } from '../parts.ts';
import { faulty, type Problem, problem } from '../problem.ts';

/** Records a unit and answers with what stands in the way, or with the receipts: of one entry, or of several as a list. */
export async function recorded(
  parts: Parts,
  caller: Caller,
  unit: readonly Incoming[],
  pointerTo: (n: number) => string = () => '',
): Promise<Answer | Problem> {
  for (const incoming of unit) {
    const refused = writeRefusal(caller, parts.store, incoming);
    if (refused !== null) return refused;
  }
  const asked = unit.map((each) => confined(caller, parts.store, each));
  const answers = (await parts.record(asked, senderOf(caller))).map((outcome, n) =>
    answerOf(outcome, { to: caller, store: parts.store, pointer: pointerTo(n) }),
  );
  const receipts: Answer[] = [];
  for (const answer of answers) {
    if ('type' in answer) return answer;
    receipts.push(answer);
  }
  const body = receipts.map((answer) => answer.body).join(',');
  return {
    status: Math.max(...receipts.map(({ status }) => status)),
    body: receipts.length > 1 ? `[${body}]` : body,
  };
}

/** What an entry would be answered; a client learns no more from it than from sending it. */
export function foreseen(parts: Parts, caller: Caller, incoming: Incoming): Answer | Problem {
  const { store } = parts;
  return (
    writeRefusal(caller, store, incoming) ??
    answerOf(parts.preview(confined(caller, store, incoming)), { to: caller, store, pointer: '' })
  );
}

/** An item of a batch, or a line: an entry, or two that are taken together. */
export async function answerItem(parts: Parts, caller: Caller, item: ExactValue): Promise<Answer | Problem> {
  const read = readItem(item, parts.profiles);
  if ('faults' in read) return faulty(read.faults);
  const unit = read.unit.map(incomingOf);
  try {
    const answer = await recorded(parts, caller, unit, unit.length > 1 ? togetherPointer : undefined);
    if (answer.status === 403) await noteRefused(parts, caller, unit);
    return answer;
  } catch (error) {
    if (error instanceof StoreBusy || error instanceof StoreFailed) {
      return problem(
        503,
        'not-durable',
        'Nothing of this item was written',
        'Send the item again a little later.',
      );
    }
    throw error;
  }
}

/** The answer to the batch says nothing of access control: each item does. */
async function noteRefused(parts: Parts, caller: Caller, unit: readonly Incoming[]): Promise<void> {
  await parts.accesses.note(
    refusedItem(
      caller,
      unit.flatMap(({ drain }) => drain ?? []),
      parts,
    ),
  );
}

const incomingOf = ({ drain, body, sent }: ItemEntry): Incoming => ({
  drain: typeof drain === 'string' || drain === null ? drain : drainNameOf(drain),
  body,
  request: writeRequest(sent),
});
