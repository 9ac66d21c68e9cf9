/** A resource cut down to what was asked for, marked as such (FHIR R4 search.html#summary, #elements). */
import { type ExactValue, parseExactJson } from '../json/exact-json.ts';
import { writeExact } from '../json/exact-write.ts';
import type { View } from './search/query.ts';
import type { ResourceType } from './search/resource-type.ts';

type Members = Readonly<Record<string, ExactValue>>;

const ALWAYS = ['implicitRules'];
const SUBSETTED = {
  system: 'http://terminology.hl7.org/CodeSystem/v3-ObservationValue',
  code: 'SUBSETTED',
  display: 'subsetted',
};

/** The text itself where all is asked for: what was issued is served as it was. */
export function subset(text: string, type: ResourceType, view: View): string {
  if (isWhole(view)) return text;
  const { resourceType = null, id = null, meta = {}, ...rest } = parseExactJson(text) as Members;
  const { tag = [] } = meta as { readonly tag?: readonly ExactValue[] };
  const kept = Object.entries(rest).filter(([name]) => keeps(type, view, name));
  const tagged = { ...(meta as Members), tag: [...tag, SUBSETTED] };
  return writeExact({ resourceType, id, meta: tagged, ...Object.fromEntries(kept) });
}

export const isWhole = ({ summary, elements }: View): boolean =>
  elements === null && (summary === 'false' || summary === 'count');

function keeps({ mandatory, summary }: ResourceType, view: View, name: string): boolean {
  if (ALWAYS.includes(name) || mandatory.includes(name)) return true;
  if (view.elements !== null) return view.elements.some((each) => isElement(each, name));
  switch (view.summary) {
    case 'true':
      return summary.includes(name);
    case 'text':
      return name === 'text';
    case 'data':
      return name !== 'text';
    default:
      return true;
  }
}

/** `value` names valueQuantity too. */
const isElement = (asked: string, name: string): boolean =>
  name === asked ||
  (['value', 'effective'].includes(asked) &&
    name.startsWith(asked) &&
    /[A-Z]/.test(name.charAt(asked.length)));
