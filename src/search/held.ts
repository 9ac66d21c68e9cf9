/** What the index's thread holds open: the index, the ledger, and how both are asked. */
import { createHash } from 'node:crypto';
import Database from 'better-sqlite3';
import type { MomentOf } from '../fhir/search/date-range.ts';
import type { ResourceType } from '../fhir/search/resource-type.ts';
import { RESOURCE_TYPES } from '../fhir/search/resource-types.ts';
import { ID, split } from '../fhir/search/word.ts';
import { createSeal, type Seal } from './cursor.ts';
import { createNames, createShapes, type Names, type Shapes } from './dictionaries.ts';
import { createFinder, type Finder, type Hit } from './find.ts';
import { createFollower, type Follower, OtherLedger } from './follow.ts';
import { type LedgerReader, openLedgerReader } from './ledger.ts';
import { createPlanner, createRowAt, type Planner } from './plan.ts';
import { openIndex, removeIndex, SCHEMA_VERSION } from './schema.ts';
import { DamagedIndex } from './texts.ts';
import { convertUnit } from './units.ts';
import { ROWS_OF_STEM } from './words.ts';
import { momentsOf } from './zone.ts';

export interface Held {
  readonly db: Database.Database;
  readonly ledger: LedgerReader;
  readonly follower: Follower;
  readonly finder: Finder;
  readonly planner: Planner;
  readonly shapes: Shapes;
  readonly seal: Seal;
  readonly zone: MomentOf;
  /** The first row issued at a time or later. */
  rowAt(ms: number): number;
  /** The version of a resource that was current as of a row. */
  current(type: ResourceType, id: string, asOf: number): Hit | undefined;
  close(): void;
}

export interface HeldOptions {
  /** The ledger's file; the index stands beside it. */
  readonly database: string;
  /** IANA name. */
  readonly zone: string;
  /** Start of our canonical URLs, without a slash at the end. */
  readonly canonical: string;
}

export const indexFileOf = (database: string): string => `${database}.search`;

/** Opens the index beside a ledger; made anew where it does not fit it. */
export function openHeld(options: HeldOptions): Held {
  const { database, zone, canonical } = options;
  const ledger = openLedgerReader(database, canonical);
  const file = indexFileOf(database);
  try {
    return hold(openIndex(file, signatureOf(options)), ledger, zone);
  } catch (error) {
    if (!isDamage(error)) throw error;
    removeIndex(file);
    return hold(openIndex(file, signatureOf(options)), ledger, zone);
  }
}

/** After these the index is made anew from the ledger; nothing is lost with it. */
export function isDamage(error: unknown): boolean {
  if (error instanceof OtherLedger || error instanceof DamagedIndex) return true;
  return error instanceof Database.SqliteError && /^SQLITE_(CORRUPT|NOTADB)/.test(error.code);
}

/** All that decides what the index holds, beside the ledger. */
const signatureOf = ({ zone, canonical }: HeldOptions): string =>
  createHash('sha256')
    .update(JSON.stringify([SCHEMA_VERSION, zone, canonical, RESOURCE_TYPES]))
    .digest('hex');

function hold(db: Database.Database, ledger: LedgerReader, zoneName: string): Held {
  try {
    const zone = momentsOf(zoneName);
    const shapes = createShapes(db);
    const rowAt = createRowAt(db);
    const names = createNames(db);
    const key = db.prepare<[], Buffer>("SELECT value FROM meta WHERE name = 'key'").pluck().get();
    return {
      db,
      ledger,
      zone,
      shapes,
      follower: createFollower(db, ledger, { shapes, names }, zone),
      finder: createFinder(db),
      planner: createPlanner({ db, shapes, names, convert: convertUnit, rowAt }),
      rowAt,
      seal: createSeal(key ?? Buffer.alloc(0)),
      current: createCurrent(db, names),
      close() {
        db.close();
        ledger.close();
      },
    };
  } catch (error) {
    db.close();
    throw error;
  }
}

function createCurrent(db: Database.Database, names: Names): Held['current'] {
  const find = db.prepare<[number, string, string, number, number, string], Hit>(
    `SELECT v.* FROM version v CROSS JOIN shape s USING (shape)
     WHERE v.row IN (${ROWS_OF_STEM}) AND v.id = ? AND v.row <= ? AND v.superseded > ? AND s.text ->> 'type' = ?`,
  );
  return ({ type }, id, asOf) => find.get(names.find(ID) ?? -1, split(id)[1], id, asOf, asOf, type);
}
