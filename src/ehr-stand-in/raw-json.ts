/**
 * Cuts parts out of a JSON text without parsing and printing them again, because `JSON.parse` forgets how
 * a decimal was written (`1.50` becomes `1.5`) and the stand-in has to keep what it was sent. Every
 * function here expects text that `JSON.parse` has already accepted.
 */

interface Part {
  /** The member's name, with its escapes read; the empty string for an array's item. */
  readonly name: string;
  readonly text: string;
}

function endOfString(json: string, start: number): number {
  let at = start + 1;
  while (at < json.length && json.charAt(at) !== '"') at += json.charAt(at) === '\\' ? 2 : 1;
  return at + 1;
}

function endOfContainer(json: string, start: number): number {
  let depth = 0;
  let at = start;
  while (at < json.length) {
    const character = json.charAt(at);
    if (character === '"') {
      // A brace inside a string closes nothing, so a string is stepped over whole.
      at = endOfString(json, at);
      continue;
    }
    if (character === '{' || character === '[') depth += 1;
    if (character === '}' || character === ']') depth -= 1;
    at += 1;
    if (depth === 0) break;
  }
  return at;
}

function endOfValue(json: string, start: number): number {
  const first = json.charAt(start);
  if (first === '"') return endOfString(json, start);
  if (first === '{' || first === '[') return endOfContainer(json, start);
  let at = start;
  while (at < json.length && !',]} \t\r\n'.includes(json.charAt(at))) at += 1;
  return at;
}

function skipBetween(json: string, start: number): number {
  let at = start;
  while (at < json.length && ',: \t\r\n'.includes(json.charAt(at))) at += 1;
  return at;
}

function partsOf(container: string): Part[] {
  const json = container.trim();
  const named = json.startsWith('{');
  const parts: Part[] = [];
  let at = skipBetween(json, 1);
  while (at < json.length - 1) {
    let name = '';
    if (named) {
      const nameEnd = endOfString(json, at);
      name = String(JSON.parse(json.slice(at, nameEnd)));
      at = skipBetween(json, nameEnd);
    }
    const end = endOfValue(json, at);
    parts.push({ name, text: json.slice(at, end) });
    at = skipBetween(json, end);
  }
  return parts;
}

function memberText(object: string, name: string): string | undefined {
  // Of a name given twice `JSON.parse` keeps the last, and both readings have to agree.
  return partsOf(object).findLast((part) => part.name === name)?.text;
}

/**
 * The exact text of `entry[i].resource` for every entry of a Bundle, in order; `undefined` where an entry
 * carries no resource.
 *
 * @param bundle the text of a JSON object whose `entry`, if there is one, is an array of objects
 */
export function entryResourceTexts(bundle: string): (string | undefined)[] {
  return partsOf(memberText(bundle, 'entry') ?? '[]').map((entry) => memberText(entry.text, 'resource'));
}
