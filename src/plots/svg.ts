/** SVG as text: elements, attributes escaped, numbers short. */

type Attributes = Readonly<Record<string, string | number | undefined>>;

const ESCAPES: Readonly<Record<string, string>> = { '&': '&amp;', '<': '&lt;', '>': '&gt;', '"': '&quot;' };

export const escapeText = (text: string): string => text.replaceAll(/[&<>"]/g, (sign) => ESCAPES[sign] ?? '');

/** Tenths of a pixel are finer than anyone sees. */
const attributeText = (value: string | number): string =>
  typeof value === 'number' ? String(Math.round(value * 10) / 10) : escapeText(value);

/** @param children SVG text, already escaped */
export function el(name: string, attributes: Attributes, ...children: readonly string[]): string {
  const written = Object.entries(attributes).flatMap(([key, value]) =>
    value === undefined ? [] : ` ${key}="${attributeText(value)}"`,
  );
  return children.length === 0
    ? `<${name}${written.join('')}/>`
    : `<${name}${written.join('')}>${children.join('')}</${name}>`;
}

export const text = (words: string, x: number, y: number, attributes: Attributes = {}): string =>
  el('text', { x, y, ...attributes }, escapeText(words));

export const line = (x1: number, y1: number, x2: number, y2: number, style: string): string =>
  el('line', { x1, y1, x2, y2, class: style });

export type Shape = 'circle' | 'square' | 'up' | 'down' | 'diamond';

/** A mark of its own shape, so that series differ without colour. */
export function mark(shape: Shape, x: number, y: number, style: string, size = 4): string {
  if (shape === 'circle') return el('circle', { cx: x, cy: y, r: size, class: style });
  const [s, t] = [size, size * 1.2];
  const corners: Readonly<Record<Exclude<Shape, 'circle'>, readonly (readonly [number, number])[]>> = {
    square: [
      [-s, -s],
      [s, -s],
      [s, s],
      [-s, s],
    ],
    up: [
      [0, -t],
      [t, s],
      [-t, s],
    ],
    down: [
      [0, t],
      [t, -s],
      [-t, -s],
    ],
    diamond: [
      [0, -t],
      [t, 0],
      [0, t],
      [-t, 0],
    ],
  };
  const points = corners[shape].map(
    ([dx, dy]) => `${Math.round((x + dx) * 10) / 10},${Math.round((y + dy) * 10) / 10}`,
  );
  return el('polygon', { points: points.join(' '), class: style });
}

/** An upright line with feet, from one height to another. */
export function whisker(x: number, y1: number, y2: number, style: string, foot = 4): string {
  const d = `M${x - foot},${y1}H${x + foot}M${x},${y1}V${y2}M${x - foot},${y2}H${x + foot}`;
  return el('path', { d: d.replaceAll(/\d+\.\d+/g, (digits) => Number(digits).toFixed(1)), class: style });
}
