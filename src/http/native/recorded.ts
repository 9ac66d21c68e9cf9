/** What was read is recorded, and answered with what became of it. */
import { writeRequest } from '../../audit/entry-text.ts';
import type { Principal } from '../../auth/principal.ts';
import { type ItemEntry, readItem, togetherPointer } from '../../intake/native/read-batch.ts';
import type { ExactValue } from '../../json/exact-json.ts';
import { drainNameOf, type Incoming } from '../../record/record.ts';
import { StoreBusy, StoreFailed } from '../../store/port.ts';
import { writeRefusal } from '../allowed.ts';
import { type Answer, answerOf } from '../outcome.ts';
import type { Parts } from '../parts.ts';
import { faulty, type Problem, problem } from '../problem.ts';

/** Records a unit and answers with what stands in the way, or with the receipts: of one entry, or of several as a list. */
export async function recorded(
  parts: Parts,
  principal: Principal,
  unit: readonly Incoming[],
  pointerTo: (n: number) => string = () => '',
): Promise<Answer | Problem> {
  for (const incoming of unit) {
    const refused = writeRefusal(principal, parts.store, incoming);
    if (refused !== null) return refused;
  }
  const answers = (await parts.record(unit)).map((outcome, n) => answerOf(outcome, pointerTo(n)));
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

/** An item of a batch, or a line: an entry, or two that are taken together. */
export async function answerItem(
  parts: Parts,
  principal: Principal,
  item: ExactValue,
): Promise<Answer | Problem> {
  const read = readItem(item, parts.profiles);
  if ('faults' in read) return faulty(read.faults);
  const unit = read.unit.map(incomingOf);
  try {
    return await recorded(parts, principal, unit, unit.length > 1 ? togetherPointer : undefined);
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

const incomingOf = ({ drain, body, sent }: ItemEntry): Incoming => ({
  drain: typeof drain === 'string' ? drain : drainNameOf(drain),
  body,
  request: writeRequest(sent),
});
