/** Making elements, in as few words as they take. */

type Listener = (event: Event) => void;
interface Properties {
  readonly [attribute: string]: string | number | boolean | undefined | Readonly<Record<string, Listener>>;
  readonly on?: Readonly<Record<string, Listener>>;
}
export type Child = Node | string | number | null | undefined | false | readonly Child[];

export function h<K extends keyof HTMLElementTagNameMap>(
  tag: K,
  properties: Properties = {},
  ...children: readonly Child[]
): HTMLElementTagNameMap[K] {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(properties)) {
    if (name === 'on')
      for (const [type, listen] of Object.entries(value ?? {})) element.addEventListener(type, listen);
    else if (value === true) element.setAttribute(name, '');
    else if (value !== undefined && value !== false) element.setAttribute(name, String(value));
  }
  append(element, children);
  return element;
}

function append(element: Element, children: readonly Child[]): void {
  for (const child of children) {
    if (child === null || child === undefined || child === false) continue;
    if (Array.isArray(child)) append(element, child);
    else element.append(...(child instanceof Node ? [child] : unbroken(String(child))));
  }
}

const VALUE = /(\S+ [±→] \S+(?: mL\S*)?)/;

/** A value, its error and its unit stay on one line, as do two levels: torn apart they could be read as others. */
const unbroken = (words: string): (Node | string)[] =>
  words.split(VALUE).map((part, n) => {
    if (n % 2 === 0) return part;
    const value = document.createElement('span');
    value.className = 'value';
    value.textContent = part;
    return value;
  });

/** Puts these in the place of all that an element holds. */
export function fill(element: Element, ...children: readonly Child[]): void {
  element.replaceChildren();
  append(element, children);
}

export const button = (words: string, press: () => void, properties: Properties = {}): HTMLButtonElement =>
  h('button', { type: 'button', ...properties, on: { click: press } }, words);

export const link = (words: string, to: string, style = ''): HTMLAnchorElement =>
  h('a', { href: to, class: style || undefined }, words);

/** Words that a screen reader reads and nobody sees. */
export const unseen = (words: string): HTMLElement => h('span', { class: 'unseen' }, words);

let ids = 0;
/** An id that no other element of the page has. */
export function freshId(stem: string): string {
  ids += 1;
  return `${stem}-${ids}`;
}
