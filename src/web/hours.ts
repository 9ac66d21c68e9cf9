/** Clock hours as lines of a sheet: one after the other without a number, for the same reason, they are one line. */
import { volumeText } from './amounts.ts';
import type { CalendarWindows } from './answers.ts';
import { wordsFor } from './words.ts';

type Hour = CalendarWindows['windows'][number];

export interface HourLine {
  /** RFC 3339, as is the end. */
  readonly from: string;
  readonly to: string;
  /** Empty where there is no number. */
  readonly net: string;
  readonly covered: string;
  readonly remark: string;
}

/** @param hours in order of time; those in which the drain was not in place are left out */
export function hourLines(hours: readonly Hour[]): readonly HourLine[] {
  const lines: HourLine[] = [];
  for (const hour of hours) {
    if (hour.reason === 'not-in-place') continue;
    const line = lineOf(hour);
    const last = lines.at(-1);
    if (last !== undefined && goesOn(last, line)) lines[lines.length - 1] = { ...last, to: line.to };
    else lines.push(line);
  }
  return lines;
}

const goesOn = (last: HourLine, next: HourLine): boolean =>
  last.net === '' &&
  next.net === '' &&
  last.to === next.from &&
  last.covered === next.covered &&
  last.remark === next.remark;

function lineOf(hour: Hour): HourLine {
  const { local_from: from, local_to: to, coverage, preliminary, reason, uncovered } = hour;
  // Why nothing is covered says more than that nothing is.
  const why = uncovered.length > 0 ? uncovered : [reason];
  const remarks = [...why, preliminary ? 'so far' : null].filter((each) => each !== null);
  return {
    from,
    to,
    net: hour.net_ml === null ? '' : volumeText(hour),
    covered: coverage === null ? '' : `${Math.floor(coverage * 100)} %`,
    remark: [...new Set(remarks)].map(wordsFor).join(', '),
  };
}
