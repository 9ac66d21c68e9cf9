/** The record of an entry: what was charted, when and by whom, and what became of it. */
import type { Decimal } from '../../domain/numbers/decimal.ts';
import type { Author } from '../../domain/vocabulary/entry.ts';
import { identifierText } from '../../domain/vocabulary/identifier-text.ts';
import type { StreamBody } from '../../domain/vocabulary/rerouted.ts';
import type { SentEntry } from '../../store/port.ts';
import { cellText, quoted } from './cell-text.ts';
import type { Standing } from './standing.ts';

/**
 * Cells in the order of the headings in drain-csv.ts. Names, hashes and times are of our own making, and need neither a quote
 * nor the guard of cell-text.ts.
 * @param isTold whether its words are: else its reason, note and body are left out
 */
export function entryLine(
  drain: string,
  entry: SentEntry,
  body: StreamBody,
  standing: Standing,
  isTold: boolean,
): string {
  const said = body.kind === 'corrected' ? body.replacement : body;
  const { logIndex, hash, entryId, recordedAt } = entry;
  const { status, changedBy, countsFor, row } = standing;
  const { system, value } = body.identifier;
  const [author, client] = [cellText(authorText(body.author)), cellText(entry.client)];
  const target = cellText('target' in body ? body.target.value : null);
  const reason = cellText(isTold && 'reason' in body ? body.reason : null);
  const note = cellText(isTold && 'note' in said ? (said.note ?? null) : null);
  return (
    `entry,${drain},${logIndex},${hash},${entryId},${status},${changedBy ?? ''},${countsFor ?? ''},${body.kind},` +
    `${said.effective_at},${recordedAt},${author},${client},${cellText(system)},${cellText(value)},${target},${reason},` +
    `${amountIn(said)}${OF_WHAT_IS_DERIVED}${row === undefined ? '' : row.marks.join(' ')},${note},${isTold ? quoted(entry.body) : ''}\r\n`
  );
}

/** Empty cells for uncertainty, low, high, at_least, coverage, from, to and absent_reason. */
const OF_WHAT_IS_DERIVED = ',,,,,,,,,';

const authorText = ({ reference, identifier }: Author): string =>
  reference ?? (identifier === undefined ? '' : identifierText(identifier));

/** Quantity, value and unit of the one amount that most kinds are about, with the digits it was charted with; the body holds all of it. */
function amountIn(said: object): string {
  const { level_ml, volume_ml, weight_kg } = said as Readonly<Record<string, Decimal | undefined>>;
  if (level_ml !== undefined) return `level,${level_ml.text},mL`;
  if (volume_ml !== undefined) return `volume,${volume_ml.text},mL`;
  return weight_kg === undefined ? ',,' : `weight,${weight_kg.text},kg`;
}
