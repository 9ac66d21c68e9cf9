import { type Instant, parseInstant } from '../numbers/instant.ts';
import type { EpochMs } from '../numbers/units.ts';
import type { Author, Content, Entry, Identifier } from '../vocabulary/entry.ts';
import { identifierText } from '../vocabulary/identifier-text.ts';

/** An entry and all that later entries made of it: replaced by corrections, or void as entered in error. */
export interface Chain {
  readonly first: Entry;
  /** The entry that a correction must name. */
  readonly end: Entry;
  readonly content: Content;
  readonly void: boolean;
}

/** A statement that stands, at its place in time. */
export interface Item {
  /** Of the chain's first entry: it names the fact for ever. */
  readonly id: string;
  readonly identifier: Identifier;
  readonly at: EpochMs;
  readonly content: Content;
  readonly author: Author;
  /** Name of the fact that carries the sender's identifier; null where none does. */
  readonly received_as: string | null;
  /** Why the content stands in the place of an earlier one; null for what was charted at first. */
  readonly correction: string | null;
  /** Server clock when this content was taken, not when the chain began. */
  readonly recorded_ms: EpochMs;
}

/** Why an entry cannot be taken. `pointer` is a JSON pointer into the entry; `mend` says what to send instead. */
export interface Refusal {
  readonly refused:
    | 'unknown-target'
    | 'not-the-chain-end'
    | 'kind-differs'
    | 'patient-differs'
    | 'already-void';
  readonly pointer: string;
  readonly value: string;
  readonly mend: string;
}

/** The chain that an entry starts or changes, or why it may not. `chainOf` finds a chain by any member's identifier. */
export function chainAfter(
  entry: Entry,
  chainOf: (target: Identifier) => Chain | undefined,
): Chain | Refusal {
  const { body } = entry;
  switch (body.kind) {
    case 'corrected':
      return corrected(entry, body.target, body.replacement, chainOf(body.target));
    case 'entered-in-error': {
      const chain = chainOf(body.target);
      if (chain === undefined) return unknownTarget(body.target);
      return chain.void ? alreadyVoid(chain) : { ...chain, end: entry, void: true };
    }
    default:
      return { first: entry, end: entry, content: body, void: false };
  }
}

function corrected(
  entry: Entry,
  target: Identifier,
  replacement: Content,
  chain: Chain | undefined,
): Chain | Refusal {
  if (chain === undefined) return unknownTarget(target);
  if (chain.void) return alreadyVoid(chain);
  const end = chain.end.body.identifier;
  if (end.system !== target.system || end.value !== target.value) {
    return refusal(
      'not-the-chain-end',
      '/target',
      identifierText(target),
      `correct its newest form, ${identifierText(end)}`,
    );
  }
  if (replacement.kind !== chain.content.kind) {
    const mend = `send kind '${chain.content.kind}', or mark the entry entered-in-error and enter it anew`;
    return refusal('kind-differs', '/replacement/kind', replacement.kind, mend);
  }
  const before = patientIn(chain.content);
  const after = patientIn(replacement);
  if (after !== before) {
    const mend = `leave the patient as ${before}, or mark the entry entered-in-error and enter it anew`;
    return refusal('patient-differs', '/replacement/patient', after, mend);
  }
  return { ...chain, end: entry, content: replacement };
}

/** The patient that a statement names, in one way of writing. */
function patientIn(content: Content): string {
  const patient = content.kind === 'placed' || content.kind === 'drain-updated' ? content.patient : undefined;
  if (patient === undefined) return 'none';
  const { reference, identifier } = patient;
  return JSON.stringify({
    reference,
    identifier: identifier && { system: identifier.system, value: identifier.value },
  });
}

function unknownTarget(target: Identifier): Refusal {
  return refusal(
    'unknown-target',
    '/target',
    identifierText(target),
    'name the identifier of an entry that is charted on this drain',
  );
}

function alreadyVoid(chain: Chain): Refusal {
  const value = identifierText(chain.first.body.identifier);
  return refusal('already-void', '/target', value, 'it was entered in error, which is final: enter it anew');
}

function refusal(refused: Refusal['refused'], pointer: string, value: string, mend: string): Refusal {
  return { refused, pointer, value, mend };
}

/** The chain's place on the time line, or undefined when it is void. */
export function itemOf(chain: Chain): Item | undefined {
  if (chain.void) return undefined;
  const effective = effectiveOf(chain);
  return {
    id: chain.first.id,
    identifier: chain.first.body.identifier,
    at: effective.ms,
    content: chain.content,
    author: chain.end.body.author,
    received_as: chain.first.body.received?.as ?? null,
    correction: chain.end.body.kind === 'corrected' ? chain.end.body.reason : null,
    recorded_ms: chain.end.recorded_ms,
  };
}

/** When what stands last in the chain is of. */
export function effectiveOf({ first, content }: Chain): Instant {
  // Most are never corrected, and reading a time takes longer than all else here.
  if (content === first.body) return first.effective;
  const effective = parseInstant(content.effective_at);
  if (effective === undefined)
    throw new RangeError(`${content.effective_at} is no instant: not checked at intake`);
  return effective;
}
