/** Air leak: each grade on its scale as it was read, none as an open ring; flow where a sensor gives it. */
import type { Point } from '../record/trends/point.ts';
import type { Drawn } from './drawn-data.ts';
import { framed, keyMark, type Panel, type Scale, type Sheet } from './frame.ts';
import { line, mark, text } from './svg.ts';

const BODY = 96;
const LABEL_PX = 18;

/** Panels of what was charted; none where nothing was. */
export function leakPanels(sheet: Sheet, { charted }: Drawn): readonly Panel[] {
  const within = (points: readonly Point[] = []) => points.filter(({ to }) => to >= sheet.over.from);
  const [grades, flows] = [within(charted.leak_grade), within(charted.leak_flow)];
  return [
    ...(grades.length > 0 || flows.length === 0 ? [gradePanel(sheet, grades)] : []),
    ...(flows.length > 0 ? [flowPanel(sheet, flows)] : []),
  ];
}

function gradePanel(sheet: Sheet, grades: readonly Point[]): Panel {
  const scales = [...new Set(grades.flatMap(({ scale_max }) => scale_max ?? []))];
  const top = Math.max(3, ...scales, ...grades.map(({ value }) => value ?? 0));
  const scale = scales.length === 0 ? '' : ` of ${scales[0]}`;
  const of = scales.length > 1 ? 'grade (scales differ)' : `grade${scale}`;
  const key = [
    keyMark('leak', 'diamond', 'mark full first'),
    keyMark('looked for, none seen', 'circle', 'mark first'),
  ];
  const options = { title: 'Air leak', unit: of, body: BODY, domain: [0, top] as const, key, whole: true };
  return framed(sheet, options, (y) => stems(sheet, grades, y));
}

function flowPanel(sheet: Sheet, flows: readonly Point[]): Panel {
  const top = Math.max(10, ...flows.map(({ value }) => value ?? 0)) * 1.1;
  const key = [
    keyMark('flow', 'diamond', 'mark full first'),
    keyMark('measured, none', 'circle', 'mark first'),
  ];
  const options = { title: 'Air leak, flow', unit: 'mL/min', body: BODY, domain: [0, top] as const, key };
  return framed(sheet, options, (y) => stems(sheet, flows, y));
}

/** With the grade beside each mark, where there is room for it. */
function stems(sheet: Sheet, points: readonly Point[], y: Scale): string {
  let free = Number.NEGATIVE_INFINITY;
  return points
    .map(({ to, value }, n) => {
      if (value === null) return '';
      const x = sheet.x(to);
      if (value === 0) return mark('circle', x, y(0), 'mark first', 3.5);
      const next = points[n + 1];
      const hasRoom = x > free && (next === undefined || sheet.x(next.to) - x > LABEL_PX);
      if (hasRoom) free = x + LABEL_PX;
      const words = hasRoom ? text(String(value), x + 7, y(value) + 4, { class: 'small' }) : '';
      return (
        line(x, y(0), x, y(value), 'line first') + mark('diamond', x, y(value), 'mark full first', 4) + words
      );
    })
    .join('');
}
