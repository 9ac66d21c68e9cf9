/** Plain text in columns; the last column is wrapped by words. */

export const WIDTH = 120;

export interface Column {
  /** Lines of the heading. */
  readonly heading: readonly string[];
  readonly width: number;
  readonly align: 'left' | 'right';
}

export function tableLines(columns: readonly Column[], rows: readonly (readonly string[])[]): string[] {
  const depth = Math.max(...columns.map(({ heading }) => heading.length));
  const headings = Array.from({ length: depth }, (_, line) =>
    inColumns(
      columns,
      columns.map(({ heading }) => heading[line] ?? ''),
    ),
  ).flat();
  const rule = columns.map(({ width }) => '-'.repeat(width)).join(' ');
  return [...headings, rule, ...rows.flatMap((cells) => inColumns(columns, cells))];
}

function inColumns(columns: readonly Column[], cells: readonly string[]): string[] {
  const wrapped = columns.map(({ width }, i) => wrap(cells[i] ?? '', width));
  const height = Math.max(...wrapped.map((lines) => lines.length));
  return Array.from({ length: height }, (_, line) =>
    columns
      .map(({ width, align }, i) => {
        const text = wrapped[i]?.[line] ?? '';
        return align === 'right' ? text.padStart(width) : text.padEnd(width);
      })
      .join(' ')
      .trimEnd(),
  );
}

/** A word that is longer than the line stays whole. */
function wrap(text: string, width: number): string[] {
  const lines: string[] = [];
  let line = '';
  for (const word of text.split(' ')) {
    if (line !== '' && line.length + 1 + word.length > width) {
      lines.push(line);
      line = word;
    } else line = line === '' ? word : `${line} ${word}`;
  }
  return [...lines, line];
}

export const wrapped = (text: string, indent = ''): string[] =>
  wrap(text, WIDTH - indent.length).map((line) => `${indent}${line}`);
