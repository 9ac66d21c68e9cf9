/** History of a resource type, newest first (FHIR R4 http.html#history). */
import { historyBundle, versionOf } from '../fhir/bundle.ts';
import type { Pair } from '../fhir/search/query.ts';
import { readHistoryWindow } from '../fhir/search/read-history.ts';
import { Refused } from '../fhir/search/refused.ts';
import type { ResourceType } from '../fhir/search/resource-type.ts';
import type { Hit } from './find.ts';
import { among, both, type Fragment, fragment } from './fragments.ts';
import type { Held } from './held.ts';
import type { Ask, Told } from './port.ts';
import { linkTo } from './search.ts';
import { textsOf, told } from './texts.ts';

/** What a link to a further page holds. */
interface Paging {
  readonly kind: 'history';
  readonly type: string;
  readonly pairs: readonly Pair[];
  /** Rows below this are still to come. */
  readonly before: number;
}

export function typeHistory(held: Held, type: ResourceType, ask: Ask): Told {
  const link = ask.pairs.find(([name]) => name === '_page');
  const paging = link === undefined ? firstPage(held, type, ask) : nextPage(held, type, ask, link[1]);
  const { count, since, at } = readHistoryWindow(paging.pairs, held.zone);
  const tests = [
    fragment('v.row < ?', paging.before),
    ...(since === null ? [] : [fragment('v.row >= ?', held.rowAt(since))]),
    ...(at === null ? [] : [currentDuring(at)]),
    among('v.shape', shapesOf(held, type)),
  ];
  const { sql, values } = both(tests);
  const hits = held.db
    .prepare<unknown[], Hit>(
      `SELECT row, id, issue, position FROM version v NOT INDEXED WHERE ${sql} ORDER BY row DESC LIMIT ?`,
    )
    .all(...values, count + 1);
  const shown = hits.slice(0, count);
  const last = shown.at(-1);
  const url = `${ask.base}/${ask.type}/_history`;
  const next =
    last === undefined || hits.length <= count
      ? null
      : `${url}?_page=${held.seal.seal({ ...paging, before: last.row })}`;
  const whole = link === undefined && hits.length <= count ? hits.length : null;
  const self = linkTo(url, link === undefined ? paging.pairs : [link]);
  const versions = textsOf(held.ledger, shown).map(versionOf);
  return told(historyBundle(ask.base, versions, { self, next }, whole), shown);
}

function firstPage(held: Held, type: ResourceType, { pairs }: Ask): Paging {
  const used = pairs.filter(([name]) => name !== '_format');
  return { kind: 'history', type: type.type, pairs: used, before: held.finder.newestRow() + 1 };
}

function nextPage(held: Held, type: ResourceType, { pairs }: Ask, link: string): Paging {
  const paging = held.seal.unseal(link) as Paging;
  const others = pairs.filter(([name]) => name !== '_page' && name !== '_format');
  if (others.length > 0 || paging.kind !== 'history' || paging.type !== type.type)
    throw new Refused(
      400,
      'invalid',
      '_page stands beside other parameters, or is of another search: use links as they were given',
    );
  return paging;
}

/** Issued before the time ended, and not superseded before it began. */
const currentDuring = ({ lo, hi }: { readonly lo: number; readonly hi: number }): Fragment =>
  fragment(
    `v.updated_ms < ? AND coalesce((SELECT n.updated_ms FROM version n WHERE n.row = v.superseded), ?) > ?`,
    hi,
    hi,
    lo,
  );

const shapesOf = ({ shapes }: Held, { type }: ResourceType): readonly number[] =>
  [...shapes.all()].filter(({ shape }) => shape.type === type).map(({ number }) => number);
