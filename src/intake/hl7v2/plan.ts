/** What a telling makes of what stands in the ledger: an entry of its own, a change of one, or nothing new. */
import type { Chain } from '../../domain/fold/chains.ts';
import { Decimal } from '../../domain/numbers/decimal.ts';
import type { Content, EntryBody } from '../../domain/vocabulary/entry.ts';
import { ISSUED_BY_KIND } from '../../fhir/raw-codes.ts';
import { writeCanonical } from '../../json/canonical.ts';
import { correctionBy, withdrawalBy } from '../change.ts';
import { parseEr7, textAt } from './er7.ts';
import { type Hl7Fault, hl7Fault } from './fault.ts';
import type { Telling } from './read-results.ts';
import { PRELIMINARY } from './read-value.ts';

export type Plan =
  /** Where it stands already with other content, that is to be planned as a change. */
  | { readonly kind: 'enter'; readonly body: EntryBody }
  | { readonly kind: 'change'; readonly body: EntryBody }
  | { readonly kind: 'nothing' }
  | { readonly kind: 'faulty'; readonly fault: Hl7Fault };

/** @param chain of what was told before under the order, if anything @param now RFC 3339 */
export function planOf(telling: Telling, chain: Chain | undefined, now: string): Plan {
  const { says, corrects, takesBack } = telling;
  if (chain === undefined && corrects) return faulty(telling, NOT_TOLD);
  const holds = chain !== undefined && takesBack.some((field) => fieldOf(chain.content, field) !== undefined);
  if (!corrects && !holds) return says === null ? NOTHING : { kind: 'enter', body: received(says, telling) };
  return changePlan(telling, chain, now);
}

/** For what was told before under the same order with other words, though it does not say that it corrects. */
export function planAgain(telling: Telling, chain: Chain | undefined, now: string): Plan {
  if (chain === undefined || chain.void) return faulty(telling, OTHER_CONTENT);
  const { content } = chain;
  const contradicts = fieldsIn(telling.says).some(({ path, value }) => {
    const before = fieldOf(content, path);
    return before !== undefined && canonical(before) !== canonical(value);
  });
  if (contradicts && !isPreliminary(chain)) return faulty(telling, OTHER_CONTENT);
  return changePlan(telling, chain, now);
}

const NOTHING = { kind: 'nothing' } as const;
const NOT_TOLD = [
  'was not told before',
  'send what it replaces or takes back first, under this order and time',
] as const;
const OTHER_CONTENT = [
  'was told before with another value at this time',
  'send the change with C in OBX-11, or what is new under an order of its own',
] as const;

function faulty({ order, identifier }: Telling, [detail, mend]: readonly [string, string]): Plan {
  const place = { segment: 'OBR', sequence: order.sequence, field: 3 };
  const code = detail === NOT_TOLD[0] ? 204 : 205;
  return { kind: 'faulty', fault: hl7Fault(place, code, identifier.value, detail, mend) };
}

function received(body: EntryBody, { source, of, claims }: Telling): EntryBody {
  const as = ISSUED_BY_KIND[body.kind];
  if (as === undefined) return body;
  // The device may be found to have been on a drain only later: whose that is, is asked then.
  const meant = 'device' in of && claims !== undefined ? { patient: claims.patient } : {};
  return { ...body, received: { as, resource: source, ...meant } };
}

function changePlan(telling: Telling, chain: Chain | undefined, now: string): Plan {
  if (chain === undefined) return faulty(telling, NOT_TOLD);
  // Said again of what is void already, by this message or another, it changes nothing.
  if (chain.void) return telling.says === null ? NOTHING : faulty(telling, OTHER_CONTENT);
  const before = plainContent(chain.content);
  const after = changed(before, telling);
  if (canonical(after) === canonical(before)) return NOTHING;
  // All that an entry of another kind says is needed to say it.
  const isGone = fieldsIn(after).length === 0 || (after.kind !== 'reading' && telling.takesBack.length > 0);
  const change = {
    identifier: telling.change,
    author: telling.author,
    effective_at: now,
    target: chain.end.body.identifier,
    reason: reasonOf(telling),
    received: { as: ISSUED_BY_KIND[chain.content.kind] ?? chain.content.kind, resource: telling.source },
  };
  const body = isGone ? withdrawalBy(change) : correctionBy(change, after, telling.says?.as_sent);
  return { kind: 'change', body };
}

/** HL7 v2 has no place for a reason. */
const reasonOf = ({ corrects, says }: Telling): string =>
  corrects
    ? `${says === null ? 'taken back' : 'corrected'} by the sender of the HL7 v2 message, which has no place for a reason`
    : 'told anew under the same order, in the place of a preliminary result or beside it';

type Members = Readonly<Record<string, unknown>>;
const isMembers = (value: unknown): value is Members =>
  typeof value === 'object' && value !== null && !(value instanceof Decimal) && !Array.isArray(value);
const canonical = (value: unknown): string =>
  writeCanonical(value, (each) => (each instanceof Decimal ? each.text : undefined));

/** What names an entry, and how it came, is not what it says. */
function plainContent(content: Content): Content {
  const {
    identifier,
    author,
    received: _received,
    device: _device,
    as_sent,
    target,
    reason,
    ...rest
  } = content as Content & Partial<EntryBody & { target: unknown; reason: unknown }>;
  return rest as Content;
}

const COMMON = ['kind', 'effective_at', 'note', 'identifier', 'author', 'device', 'as_sent', 'received'];

/** The quantities that something says, each with its place. */
function fieldsIn(said: object | null, within: readonly string[] = []): { path: string[]; value: unknown }[] {
  return Object.entries(said ?? {}).flatMap(([key, value]) => {
    if (value === undefined || (within.length === 0 && COMMON.includes(key))) return [];
    const path = [...within, key];
    return isMembers(value) ? fieldsIn(value, path) : { path, value };
  });
}

const fieldOf = (content: object, path: readonly string[]): unknown =>
  path.reduce<unknown>((inner, key) => (isMembers(inner) ? inner[key] : undefined), content);

function changed(before: Content, { says, takesBack }: Telling): Content {
  const overlaid = fieldsIn(says).reduce<Members>(
    (into, { path, value }) => put(into, path, value),
    says?.note === undefined ? { ...before } : { ...before, note: says.note },
  );
  return takesBack.reduce<Members>((from, path) => without(from, path), overlaid) as unknown as Content;
}

function put(into: Members, [first = '', ...rest]: readonly string[], value: unknown): Members {
  if (rest.length === 0) return { ...into, [first]: value };
  const inner = into[first];
  return { ...into, [first]: put(isMembers(inner) ? inner : {}, rest, value) };
}

function without(from: Members, [first = '', ...rest]: readonly string[]): Members {
  const { [first]: inner, ...others } = from;
  if (rest.length === 0 || !isMembers(inner)) return others;
  const left = without(inner, rest);
  return Object.keys(left).length === 0 ? others : { ...others, [first]: left };
}

/** Whether a result that stands was sent as one that a later may replace: its segments were kept as they were sent. */
function isPreliminary({ end }: Chain): boolean {
  const source = end.body.received?.resource ?? '';
  if (!source.startsWith('MSH')) return false;
  const er7 = parseEr7(source, (bytes) => bytes.toString('latin1'));
  const results = er7.segments.filter(({ name }) => name === 'OBX');
  return results.some((obx) => PRELIMINARY.includes(textAt(er7, obx, 11)));
}
