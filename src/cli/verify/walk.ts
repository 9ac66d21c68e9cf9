/** One walk over the log: entries, what belongs to them, the tree over them, and every head that was seen of it. */
import type Database from 'better-sqlite3';
import { isOwnStream } from '../../audit/access.ts';
import { readCheckpoint } from '../../audit/checkpoint.ts';
import type { Erasures } from '../../audit/erasure.ts';
import { type HeadCheckOptions, judgeHead, type SeenHead } from '../../audit/head-check.ts';
import { createLogCheck, type Finding, type LogRow, placeOf, type Said } from '../../audit/log-check.ts';
import { Frontier, type Hash, leafOf } from '../../audit/merkle.ts';
import { nameOf } from '../../record/names.ts';
import { ledgerRows } from '../../store/sqlite/ledger-rows.ts';
import type { VerifyOptions } from './report.ts';
import { createSilences } from './silences.ts';
import { createStepCheck } from './steps.ts';

/** Where something is wrong that is wrong with no part of it: nothing vouches for the whole. */
export const THE_LOG = 'the log';

const PROGRESS_EVERY = 1000;

export function walkLog(
  db: Database.Database,
  heads: HeadCheckOptions,
  erasures: Erasures,
  { outside, onProgress }: Pick<VerifyOptions, 'outside' | 'onProgress'>,
  remarks: string[],
): Finding | null {
  const total = db.prepare<[], number>('SELECT count(*) FROM ledger').pluck().get() ?? 0;
  const check = createLogCheck(erasures);
  const tree = createTreeCheck(db);
  const belongs = createBelongingCheck(db);
  const steps = createStepCheck(db, erasures);
  const silences = createSilences();
  const seen = createHeadWalk(db, outside, heads);
  const rows = ledgerRows(db);
  const step = (row: LogRow): Finding | null => {
    const said = check.take(row);
    if ('kind' in said) return said;
    silences.take(row, said);
    return belongs.check(row, said) ?? steps.take(row) ?? tree.add(row) ?? seen.reached(tree.frontier);
  };
  try {
    for (let next = rows.next(); next.done !== true; next = rows.next()) {
      const finding = step(next.value);
      if (finding !== null) return finding;
      if (next.value.log_index % PROGRESS_EVERY === 0) onProgress(next.value.log_index, total);
    }
    onProgress(total, total);
    const finding = belongs.rest() ?? steps.rest() ?? tree.end() ?? seen.end(total);
    remarks.push(`${total} entries of ${check.name() ?? 'no log'}`);
    remarks.push(...steps.remarks(), ...silences.remarks(), ...seen.remarks(total));
    return finding;
  } finally {
    // A connection with a walk under way cannot be closed.
    rows.return?.();
    seen.close();
    steps.close();
  }
}

/** What an entry says elsewhere in the database: the frames of its texts, and the key its sender gave it. */
function createBelongingCheck(db: Database.Database) {
  const identity = db.prepare<[string], { log_index: number; system: string; value: string }>(
    'SELECT log_index, system, value FROM identity WHERE entry_id = ?',
  );
  const identities = db.prepare<[], number>('SELECT count(*) FROM identity').pluck();
  const frames = new Set(db.prepare<[], string>('SELECT name FROM frame').pluck().all());
  let sent = 0;

  function check(row: LogRow, said: Said): Finding | null {
    for (const text of row.issued)
      for (const [frame = ''] of JSON.parse(text) as string[][])
        if (!frames.has(frame))
          return {
            kind: 'incomplete',
            where: placeOf(row),
            what: `the frame ${frame} of a text issued with it is missing`,
          };
    // With a payload that was erased its identifier went: one that is here is one too many.
    if (isOwnStream(row.stream) || row.body === null) return null;
    sent += 1;
    const known = identity.get(said.entry);
    if (known?.log_index === row.log_index && nameOf(known) === said.entry) return null;
    return {
      kind: 'tampered',
      where: placeOf(row),
      what: 'the identifier of its sender is not kept as it was',
    };
  }

  const rest = (): Finding | null =>
    identities.get() === sent
      ? null
      : {
          kind: 'tampered',
          where: 'the identifiers of senders',
          what: 'there are some that belong to no entry',
        };
  return { check, rest };
}

/** The tree that the database keeps, against the one that its entries give. */
function createTreeCheck(db: Database.Database) {
  const frontier = new Frontier();
  const tile = db
    .prepare<[number, number], Hash>('SELECT root FROM tile WHERE height = ? AND place = ?')
    .pluck();
  const tiles = db.prepare<[], number>('SELECT count(*) FROM tile').pluck();
  const kept = db.prepare<[], { size: number; frontier: Buffer }>('SELECT size, frontier FROM tree');
  const wrong = (what: string): Finding => ({ kind: 'tampered', where: 'the tree that is kept', what });
  let [due, bad]: [number, string | null] = [0, null];

  function onComplete(height: number, place: number, root: Hash): void {
    if (height % 8 !== 0) return;
    due += 1;
    if (tile.get(height, place)?.equals(root) !== true)
      bad = `its part ${place} at height ${height} is another`;
  }
  return {
    frontier,
    add({ hash }: LogRow): Finding | null {
      frontier.add(leafOf(hash), onComplete);
      return bad === null ? null : wrong(bad);
    },
    end(): Finding | null {
      const row = kept.get();
      const isSame = row?.size === frontier.size && row.frontier.equals(frontier.bytes());
      if (!isSame && frontier.size > 0) return wrong('it is not that of the entries');
      return tiles.get() === due ? null : wrong('it has parts that no entries give');
    },
  };
}

/** Every head that is kept in the database or outside, judged when the walk has come to its size. */
function createHeadWalk(db: Database.Database, outside: VerifyOptions['outside'], options: HeadCheckOptions) {
  const inside = db
    .prepare<[], { size: number; note: string }>('SELECT size, note FROM checkpoint ORDER BY size')
    .iterate();
  const others = [...outside].sort((a, b) => a.note.size - b.note.size);
  let next = inside.next();
  let [count, signedSize, givenUp] = [0, 0, 0];

  function judge(head: SeenHead, size: number, root: Hash | undefined): Finding | null {
    const verdict = judgeHead(head, size, root, options);
    count += 1;
    if (verdict.kind === 'given-up') givenUp += 1;
    else if (verdict.kind !== 'holds') return verdict;
    else if (verdict.signed) signedSize = Math.max(signedSize, head.note.size);
    return null;
  }

  /** All heads of up to this size that are still to be judged. */
  function judgeUpTo(size: number, held: number, root: () => Hash | undefined): Finding | null {
    for (; next.done !== true && next.value.size <= size; next = inside.next()) {
      const where = `checkpoint ${next.value.size} of the database`;
      const note = readCheckpoint(next.value.note);
      if (note?.size !== next.value.size) return { kind: 'tampered', where, what: 'it cannot be read' };
      const finding = judge({ where, note }, held, root());
      if (finding !== null) return finding;
    }
    for (let head = others[0]; head !== undefined && head.note.size <= size; head = others[0]) {
      others.shift();
      const finding = judge(head, held, root());
      if (finding !== null) return finding;
    }
    return null;
  }

  return {
    reached: (tree: Frontier): Finding | null => judgeUpTo(tree.size, tree.size, () => tree.root()),
    end(held: number): Finding | null {
      const finding = judgeUpTo(Number.MAX_SAFE_INTEGER, held, () => undefined);
      return finding ?? nothingVouches(options, { count, signedSize, givenUp });
    },
    close: () => inside.return?.(),
    remarks: (held: number): readonly string[] => [
      `${count} checkpoints, the newest of ${signedSize} entries; ${held - signedSize} entries are newer`,
      ...(givenUp === 0
        ? []
        : [`${givenUp} checkpoints are of entries that an accepted restore has given up`]),
    ],
  };
}

/** What is not signed by a key that the auditor knows may have been made by anybody. */
function nothingVouches(
  { given, restores }: HeadCheckOptions,
  { count, signedSize, givenUp }: { count: number; signedSize: number; givenUp: number },
): Finding | null {
  const where = THE_LOG;
  if (count === 0)
    return {
      kind: 'incomplete',
      where,
      what: 'no checkpoint speaks of it: a history rewritten whole would look the same',
    };
  if (given === null)
    return { kind: 'unknown-key', where, what: 'no key was given: its signatures were not checked' };
  if (signedSize === 0) return { kind: 'incomplete', where, what: 'no signed checkpoint speaks of it' };
  const accepted = restores.at(-1) ?? -1;
  if (givenUp > 0 && signedSize <= accepted)
    return {
      kind: 'incomplete',
      where,
      what: `entry ${accepted} gives entries up, and no checkpoint covers it`,
    };
  return null;
}
