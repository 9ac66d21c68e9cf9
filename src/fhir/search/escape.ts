/** Escapes of FHIR R4 search values: `\,` `\|` `\$` and `\\` (search.html#escaping). */

/** Splits at a separator that no backslash stands before; escapes stay as they are. */
export function splitAt(text: string, separator: ',' | '|' | '$'): string[] {
  const parts = [''];
  for (let i = 0; i < text.length; i += 1) {
    const character = text.charAt(i);
    if (character === separator) {
      parts.push('');
      continue;
    }
    const taken = character === '\\' ? text.slice(i, i + 2) : character;
    parts[parts.length - 1] += taken;
    i += taken.length - 1;
  }
  return parts;
}

export const unescaped = (text: string): string => text.replaceAll(/\\([,|$\\])/g, '$1');

const escaped = (text: string): string => text.replaceAll(/[\\,|$]/g, '\\$&');

/** A coding as a search value. */
export const codingText = (system: string, code: string): string => `${escaped(system)}|${escaped(code)}`;

/** A period as $stats reads it. */
export const periodText = (start: string, end: string): string => `${start}/${end}`;
