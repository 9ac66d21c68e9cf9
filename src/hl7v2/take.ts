/** One HL7 v2 message in, its acknowledgements out, once all that follows from it is on disk. */
import { writeRequest } from '../audit/entry-text.ts';
import { ASCII, textIn } from '../intake/hl7v2/charset.ts';
import { type Hl7Fault, hl7Fault, orFault } from '../intake/hl7v2/fault.ts';
import { wantsOf } from '../intake/hl7v2/header.ts';
import { type Named, namedIn } from '../intake/hl7v2/named.ts';
import { type ReadSettings, readResults } from '../intake/hl7v2/read-results.ts';
import { hashOf } from '../record/names.ts';
import { drainNameOf } from '../record/record.ts';
import { StoreBusy, StoreFailed, StoreReadOnly } from '../store/port.ts';
import { type Answered, acknowledgement, isWanted, type Said } from './acknowledge.ts';
import { type Entered, type EnterParts, enter, type From } from './enter.ts';
import { headerAlone, namedInBytes, type Read, readMessage } from './read-message.ts';

/** Of one message, by whichever door it comes. */
export const MOST_MESSAGE_BYTES = 1024 * 1024;

export interface TakeParts extends EnterParts, ReadSettings {}

export interface Sent extends From {
  readonly bytes: Buffer;
  readonly over: 'mllp' | 'http';
  /** What came before it from the same sender has been settled: a change waits for what it may change. */
  readonly before?: Promise<unknown>;
}

export interface Taken {
  /** What the application says of it (HL7 table 0008), wanted or not. */
  readonly code: 'AA' | 'AE' | 'AR';
  /** It may be taken when it is sent again. */
  readonly mayPass: boolean;
  /** The client may not write it. */
  readonly isForbidden: boolean;
  /** It is of what was lawfully erased, and nothing of it was kept. */
  readonly isErased: boolean;
  /** Something of it is new in the ledger. */
  readonly isRecorded: boolean;
  /** Drains that it is about, as far as it could be read. */
  readonly drains: readonly string[];
  /** Bytes of the acknowledgements that are wanted, in their order. */
  readonly acknowledgements: readonly Buffer[];
}

export interface Hl7v2 {
  take(sent: Sent): Promise<Taken>;
  /** Whom a message names that nothing could be made of. */
  namedIn(bytes: Buffer): Named;
  /** What is said of a message that is too long to be read, by its beginning. */
  refuseLong(beginning: Buffer, mostBytes: number): Taken;
  /** Messages answered since the start, by what was said of them. */
  counts(): Readonly<Record<Taken['code'], number>>;
}

export function createHl7v2(parts: TakeParts): Hl7v2 {
  const counts = { AA: 0, AE: 0, AR: 0 };
  return {
    async take(sent) {
      const read = readMessage(sent.bytes);
      return answer(read, 'fault' in read ? rejected([read.fault]) : await judge(read, sent, parts));
    },
    namedIn: (bytes) => namedInBytes(bytes, parts.mapping),
    refuseLong(beginning, mostBytes) {
      const fault = ofMessage(`is over ${mostBytes} bytes`, 'send less in one message');
      return answer({ ...headerAlone(beginning), charset: ASCII }, rejected([fault]));
    },
    counts: () => ({ ...counts }),
  };

  function answer(read: Answered, verdict: Verdict): Taken {
    counts[verdict.code] += 1;
    const { isCommitted: _committed, faults: _faults, words: _words, ...said } = verdict;
    return { ...said, acknowledgements: acknowledge(read, verdict, parts.now()) };
  }
}

interface Verdict extends Omit<Taken, 'acknowledgements'> {
  /** Safely stored, whatever the application makes of it. */
  readonly isCommitted: boolean;
  readonly faults: readonly Hl7Fault[];
  readonly words?: string;
}

const NO_MORE = {
  mayPass: false,
  isForbidden: false,
  isErased: false,
  isRecorded: false,
  drains: [],
} as const;
const rejected = (faults: readonly Hl7Fault[]): Verdict => ({
  ...NO_MORE,
  code: 'AR',
  isCommitted: false,
  faults,
});

async function judge(read: Read, sent: Sent, parts: TakeParts): Promise<Verdict> {
  const results = readResults(read.message, parts);
  try {
    if ('faults' in results) return await kept(read, results.faults, sent, parts);
    const { tellings } = results;
    if (tellings.some(({ corrects, takesBack }) => corrects || takesBack.length > 0)) await sent.before;
    const entered = await enter(tellings, sent, parts);
    const drains = [...new Set(tellings.flatMap(({ of }) => ('drain' in of ? drainNameOf(of.drain) : [])))];
    return { ...(await verdictOf(entered, read, sent, parts)), drains };
  } catch (error) {
    if (error instanceof StoreBusy || error instanceof StoreFailed || error instanceof StoreReadOnly)
      return unable('nothing can be written now');
    throw error;
  }
}

async function verdictOf(entered: Entered, read: Read, sent: Sent, parts: TakeParts): Promise<Verdict> {
  switch (entered.kind) {
    case 'taken': {
      const hash = messageHash(sent.bytes);
      if (parts.store.isUnmapped(hash))
        await parts.store.settleUnmapped(hash, {
          type: 'taken',
          actor: { type: 'service' },
          body: writeRequest({ message_sha256: hash }),
        });
      return { ...NO_MORE, code: 'AA', isRecorded: entered.isNew, isCommitted: true, faults: [] };
    }
    case 'faulty':
      return kept(read, entered.faults, sent, parts);
    case 'erased':
      return { ...rejected(entered.faults), isErased: true };
    case 'not-allowed':
      return { ...rejected([ofMessage(entered.words, 'send it as a client that may')]), isForbidden: true };
    case 'outrun':
      return unable('its entries are being changed by others');
    default:
      return entered satisfies never;
  }
}

const ofMessage = (detail: string, mend: string): Hl7Fault =>
  hl7Fault({ segment: 'MSH', sequence: 1 }, 207, undefined, detail, mend);

const ERASED_DRAIN = hl7Fault(
  { segment: 'MSH', sequence: 1 },
  204,
  undefined,
  'is of a drain that was lawfully erased',
  'send nothing more of it; nothing of this message was kept',
);

const unable = (detail: string): Verdict => ({
  ...rejected([ofMessage(`was not taken: ${detail}`, 'send it again a little later')]),
  mayPass: true,
});

/** By the bytes, so that the same message again is the same. */
const messageHash = (bytes: Buffer): string => hashOf(bytes.toString('latin1'));

/**
 * Nothing that was sent is dropped: what no entry can be made of is kept whole, for people to see to. But what names a drain
 * that was lawfully erased is not, as that would bring back what was to be gone for ever.
 */
async function kept(
  read: Read,
  faults: readonly Hl7Fault[],
  { bytes, principal, over }: Sent,
  { store, mapping }: TakeParts,
): Promise<Verdict> {
  const { drains } = namedIn(read.message, mapping);
  if (drains.some((drain) => store.erasureOf(drainNameOf(drain)) !== null))
    return { ...rejected([ERASED_DRAIN, ...faults]), isErased: true };
  const body = writeRequest({
    client: principal.client,
    over,
    charset: read.charset.name,
    faults: faults.map(({ pointer, value = null, detail, mend }) => ({ pointer, value, detail, mend })),
    message: textIn(bytes, read.charset),
  });
  const seq = await store.keepUnmapped({ hash: messageHash(bytes), body });
  return { ...NO_MORE, code: 'AE', isCommitted: true, faults, words: `Kept as unmapped message ${seq}` };
}

/** In original mode one; in enhanced mode that of the commit, and that of the application after it. */
function acknowledge(read: Answered, { code, isCommitted, faults, words }: Verdict, now: number): Buffer[] {
  const { message, msh } = read;
  const say = (said: Said['code']): Buffer =>
    acknowledgement(
      read,
      { code: said, faults: said === 'CA' ? [] : faults, ...(words === undefined ? {} : { words }) },
      now,
    );
  // What cannot be read of MSH-15 and MSH-16 is a fault of its own already.
  const wants = message === null || msh === null ? null : orFault(() => wantsOf(message, msh), []);
  if (wants === null || wants === undefined) return [say(code)];
  const commit = isCommitted ? 'CA' : faults.some(({ code: why }) => why === 207) ? 'CE' : 'CR';
  const accepts = isWanted(wants.accept, isCommitted) ? [say(commit)] : [];
  // What was not accepted at all, and was said to be so, is not spoken of again.
  const isToldAll = !isCommitted && accepts.length > 0;
  return !isToldAll && isWanted(wants.application, code === 'AA') ? [...accepts, say(code)] : accepts;
}
