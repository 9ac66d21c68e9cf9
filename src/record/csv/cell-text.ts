/**
 * Cells of CSV (RFC 4180), guarded against spreadsheets that run text as a formula (OWASP, CSV Injection): text that
 * begins with one of = + - @, a tab, a line end, or an apostrophe, gets an apostrophe before it. Because text that began
 * with an apostrophe gets one too, nothing is lost: whoever reads takes the first apostrophe off each cell that begins
 * with one. Numbers are left as they are, negative ones too.
 */
import { Decimal } from '../../domain/numbers/decimal.ts';

export type Cell = string | number | boolean | Decimal | null;

const IS_GUARDED = /^[=+\-@\t\r\n']/;
/** Text that is written as it is. */
const IS_PLAIN = /^[^=+\-@\t'",\r\n][^",\r\n]*$/;

export function cellText(cell: Cell): string {
  if (cell === null) return '';
  if (typeof cell !== 'string') return cell instanceof Decimal ? cell.text : String(cell);
  if (IS_PLAIN.test(cell)) return cell;
  const safe = IS_GUARDED.test(cell) ? `'${cell}` : cell;
  return /[",\r\n]/.test(safe) ? quoted(safe) : safe;
}

/** Text that stands between quotes. */
export const quoted = (text: string): string => `"${text.replace(/"/g, '""')}"`;

/** A record with its line end. */
export const lineText = (cells: readonly Cell[]): string => `${cells.map(cellText).join(',')}\r\n`;
