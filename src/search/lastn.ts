/**
 * The most recent observations of each code.
 * Source: http://hl7.org/fhir/R4/observation-operation-lastn.html
 */
import { searchset } from '../fhir/bundle.ts';
import { leftOut } from '../fhir/outcome.ts';
import type { Shape } from '../fhir/search/extract.ts';
import type { Pair, Query } from '../fhir/search/query.ts';
import { readQuery } from '../fhir/search/read-query.ts';
import { notSupported, Refused, refused } from '../fhir/search/refused.ts';
import type { ResourceType } from '../fhir/search/resource-type.ts';
import { subset } from '../fhir/subset.ts';
import { type Hit, NEWEST_FIRST, UNBOUNDED } from './find.ts';
import { both, fragment } from './fragments.ts';
import type { Held } from './held.ts';
import { foundOf } from './include.ts';
import type { Plan } from './plan.ts';
import type { Ask, Told } from './port.ts';
import { linkTo } from './search.ts';
import { MOST_SHOWN, told, tooMany } from './texts.ts';
import { planWithin } from './within.ts';

const CODES = ['category', 'code', 'combo-code', 'component-code'];
const OF_A_PAGE = ['_count', '_sort', '_total', '_include', '_revinclude'];

export function lastn(held: Held, type: ResourceType, ask: Ask): Told {
  const query = readQuery(type, ask.pairs, { ...ask, zone: held.zone, others: ['max'] });
  const most = readMax(ask.pairs);
  checkScope(query, ask.pairs);
  const asOf = held.finder.newestRow();
  const hits = newestOfEach(held, planWithin(held, type, ask, query.criteria), asOf, most);
  const shown = query.view.summary === 'count' ? [] : hits;
  if (shown.length > MOST_SHOWN) throw tooMany('fewer codes, or a smaller max');
  const found = foundOf(held, type, shown, 'match').map((each) => ({
    ...each,
    text: subset(each.text, type, query.view),
  }));
  const used = [...query.used, ...ask.pairs.filter(([name]) => name === 'max')];
  const links = { self: linkTo(`${ask.base}/${type.type}/$lastn`, used), next: null };
  return told(searchset(ask.base, found, links, hits.length, leftOut(query.ignored)), found);
}

function readMax(pairs: readonly Pair[]): number {
  const given = pairs.filter(([name]) => name === 'max').map(([, value]) => value);
  const [text = '1'] = given;
  if (given.length > 1) throw refused('max', given.join(','), 'stands more than once', 'send it once');
  if (!/^[1-9]\d{0,4}$/.test(text)) throw refused('max', text, 'is no count', 'send 1 to 99999');
  return Number(text);
}

function checkScope({ criteria }: Query, pairs: readonly Pair[]): void {
  const page = pairs.find(([name]) => OF_A_PAGE.includes(name));
  if (page !== undefined) throw notSupported(page[0], 'shapes pages, and $lastn has none', 'leave it out');
  const names = criteria.map(({ parameter }) => parameter.name);
  const mend = 'send patient or subject, and category or a code';
  if (!names.some((name) => name === 'patient' || name === 'subject'))
    throw new Refused(400, 'required', `$lastn is asked without a subject: ${mend}`);
  if (!names.some((name) => CODES.includes(name)))
    throw new Refused(400, 'required', `$lastn is asked without a category or code: ${mend}`);
}

/** Of each code the newest by end of the effective time; those of the last one's time all. */
function newestOfEach(held: Held, plan: Plan, asOf: number, most: number): readonly Hit[] {
  const page = (of: Plan, limit: number) => held.finder.page(of, NEWEST_FIRST, asOf, null, limit);
  // One more than asked for tells whether the last shares its time with the next.
  const seen = plan.shapes.flatMap((known) => {
    const hits = page({ ...plan, shapes: [known] }, most + 1);
    return hits.length === 0 ? [] : [{ known, hits }];
  });
  return groupsOf(seen, ({ known }) => known.shape).flatMap((group) => {
    const hits = group.flatMap((each) => each.hits).sort(newestFirst);
    const [last, next] = hits.slice(most - 1);
    if (last === undefined || next?.hi !== last.hi) return hits.slice(0, most);
    const shapes = group.map(({ known }) => known);
    const where = both([plan.where, fragment('v.hi >= ?', last.hi)]);
    return page({ ...plan, shapes, where }, UNBOUNDED);
  });
}

const newestFirst = (a: Hit, b: Hit): number => b.hi - a.hi || b.row - a.row;

/** Things whose codes have a coding in common, directly or through others; by their words where they have no coding. */
function groupsOf<T>(
  things: readonly T[],
  shapeOf: (thing: T) => Pick<Shape, 'tokens' | 'text'>,
): readonly T[][] {
  let groups: { readonly names: Set<string>; readonly things: T[] }[] = [];
  for (const thing of things) {
    const names = namesOf(shapeOf(thing));
    const same = groups.filter((group) => names.some((name) => group.names.has(name)));
    const joined = {
      names: new Set([...names, ...same.flatMap((group) => [...group.names])]),
      things: [...same.flatMap((group) => group.things), thing],
    };
    groups = [...groups.filter((group) => !same.includes(group)), joined];
  }
  return groups.map((group) => group.things);
}

function namesOf({ tokens, text }: Pick<Shape, 'tokens' | 'text'>): readonly string[] {
  const codings = tokens.code ?? [];
  return codings.length > 0 ? codings.map((each) => JSON.stringify(each)) : [JSON.stringify(text)];
}
