/** What a view of the page is, and how it is drawn anew without taking anything from the hands of who uses it. */

import { NoAnswer, whyNot } from './api.ts';
import { serviceNow } from './clock.ts';
import { type Child, fill, h, link } from './dom.ts';
import { clockText } from './time.ts';

export interface Place {
  readonly element: HTMLElement;
  /** Aborted when another view takes its place. */
  readonly left: AbortSignal;
  /** Says something once, above the view. */
  say(words: string): void;
  /** Whether what is shown is kept up to date. */
  connected(isConnected: boolean): void;
}

/** What an element is known by when the view is drawn anew. */
const keyOf = (element: Element | null): string | null =>
  element?.getAttribute('data-key') ?? element?.getAttribute('href') ?? null;

/** Draws anew; what has the focus keeps it, what is open stays open. */
export function redraw(element: HTMLElement, ...children: readonly Child[]): void {
  const focused = element.contains(document.activeElement) ? keyOf(document.activeElement) : null;
  const open = [...element.querySelectorAll('details[open]')].map(keyOf);
  fill(element, ...children);
  for (const details of element.querySelectorAll('details'))
    if (open.includes(keyOf(details))) details.open = true;
  if (focused === null) return;
  const same = [...element.querySelectorAll<HTMLElement>('[data-key],a[href]')].find(
    (each) => keyOf(each) === focused,
  );
  same?.focus({ preventScroll: true });
}

/** The title of a view, which is told to who cannot see it change. */
export const heading = (words: string): HTMLElement => h('h1', { tabindex: -1 }, words);

export const staleNotice = (since: number | null, zone: string): Child =>
  since !== null &&
  h('p', { class: 'notice' }, `No connection. What is shown is of ${clockText(since, zone, serviceNow())}.`);

export const failed = (error: unknown): Child => [
  heading('This cannot be shown'),
  h('p', {}, whyNot(error), error instanceof NoAnswer && ' It is tried again by itself every few seconds.'),
  h('p', {}, link('To the overview', '#/')),
];
