/** What all our definitions have in common, and what they are named. */

/** Of the definitions of this release; the rules have that of their table. */
const DEFINITIONS_VERSION = '1';

export type DefinitionType = 'CodeSystem' | 'ValueSet' | 'StructureDefinition';

export const definitionUrl = (canonical: string, type: DefinitionType, name: string): string =>
  `${canonical}/${type}/chest-drain-${name}`;

/** A name that a program can use: letters and digits. */
const programName = (name: string): string =>
  `ChestDrain${name
    .split('-')
    .map((part) => part.charAt(0).toUpperCase() + part.slice(1))
    .join('')}`;

const NOT_A_DEVICE =
  'Not an alarm and not a medical device; local policy and the responsible clinician decide.';

export interface Described {
  readonly name: string;
  readonly title: string;
  readonly description: string;
  readonly version?: string;
}

/** The head of a definition. Without a date, so that the same code gives the same text. */
export const headOf = (
  canonical: string,
  type: DefinitionType,
  { name, title, description, version = DEFINITIONS_VERSION }: Described,
) => ({
  id: `chest-drain-${name}`,
  url: definitionUrl(canonical, type, name),
  version,
  name: programName(name),
  title,
  status: 'active' as const,
  experimental: false,
  description: `${description} ${NOT_A_DEVICE}`,
});
