/** The record of an entry: what was charted, when and by whom, and what became of it. */
import type { Decimal } from '../../domain/numbers/decimal.ts';
import type { Author } from '../../domain/vocabulary/entry.ts';
import type { StreamBody } from '../../domain/vocabulary/rerouted.ts';
import type { SentEntry } from '../../store/port.ts';
import { type Cell, lineText } from './cell-text.ts';
import type { Standing } from './standing.ts';

/** Cells in the order of the headings in drain-csv.ts. */
export function entryLine(drain: string, entry: SentEntry, body: StreamBody, standing: Standing): string {
  const said = body.kind === 'corrected' ? body.replacement : body;
  const { system, value } = body.identifier;
  return lineText([
    ...['entry', drain, entry.logIndex, entry.hash, entry.entryId],
    ...[standing.status, standing.changedBy, standing.countsFor],
    ...[body.kind, said.effective_at, entry.recordedAt, authorText(body.author), entry.client],
    ...[system, value, 'target' in body ? body.target.value : null, 'reason' in body ? body.reason : null],
    ...amountIn(said),
    ...OF_WHAT_IS_DERIVED,
    standing.row === undefined ? null : standing.row.marks.join(' '),
    'note' in said ? (said.note ?? null) : null,
    entry.body,
  ]);
}

/** Uncertainty, low, high, at_least, coverage, from, to and absent_reason. */
const OF_WHAT_IS_DERIVED: readonly null[] = Array(8).fill(null);

const authorText = ({ reference, identifier }: Author): string =>
  reference ?? (identifier === undefined ? '' : `${identifier.system}|${identifier.value}`);

const NO_AMOUNT = [null, null, null] as const;

/** Quantity, value and unit of the one amount that most kinds are about, with the digits it was charted with; the body holds all of it. */
function amountIn(said: object): readonly [Cell, Cell, Cell] {
  const { level_ml, volume_ml, weight_kg } = said as Readonly<Record<string, Decimal | undefined>>;
  if (level_ml !== undefined) return ['level', level_ml, 'mL'];
  if (volume_ml !== undefined) return ['volume', volume_ml, 'mL'];
  return weight_kg === undefined ? NO_AMOUNT : ['weight', weight_kg, 'kg'];
}
