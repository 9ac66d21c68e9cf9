/** What all messages have in common, as zod schemas: keys, references, authors, times, words. */
import { z } from 'zod';
import { parseInstant } from '../../domain/numbers/instant.ts';
import { MEND } from './quantity.ts';

/**
 * Control characters but tab and line ends, which no string of FHIR R4 may hold (datatypes.html#string) and a terminal may
 * obey; and what turns the direction of text (UAX #9, 2), by which figures beside it are shown in another order.
 */
// biome-ignore lint/suspicious/noControlCharactersInRegex: control characters are what it finds
const UNSHOWN = /[\u0000-\u0008\u000b\u000c\u000e-\u001f\u007f-\u009f\u202a-\u202e\u2066-\u2069]/;

export const words = (most: number) =>
  z
    .string()
    .min(1)
    .max(most)
    .refine((text) => !UNSHOWN.test(text), {
      error: `holds control characters, or some that turn the direction of text${MEND}send it without them`,
    });

export const instant = z
  .string()
  .refine((text) => parseInstant(text) !== undefined, {
    error: `is no moment with an offset${MEND}send RFC 3339 with offset, such as 2026-03-01T08:00:00+01:00`,
  })
  .meta({ format: 'date-time', description: 'RFC 3339, offset required and kept, at most milliseconds' });

/** Printable: a line feed would let two identifiers share one name. */
// biome-ignore lint/suspicious/noControlCharactersInRegex: control characters are what it refuses
const keyPart = words(200).regex(/^[^\u0000-\u001f\u007f]+$/, {
  error: `holds control characters${MEND}send printable text`,
});

const pair = z.strictObject(
  { system: keyPart, value: keyPart },
  {
    error: `is no identifier${MEND}send an object of system and value, such as {"system":"urn:example:ward","value":"7"}`,
  },
);

export const identifier = pair.meta({
  id: 'Identifier',
  description: "The sender's own key: the same key with the same content is answered with the first result.",
});

const ID = '[A-Za-z0-9\\-.]{1,64}';

const namesSomething = (value: {
  readonly reference?: string | undefined;
  readonly identifier?: unknown;
}): boolean => value.reference !== undefined || value.identifier !== undefined;

/** Of one type: with another, whoever receives the resource would refuse it. */
export const referenceTo = (type: 'Patient' | 'Encounter') =>
  z
    .strictObject({
      reference: z
        .string()
        .max(200)
        .regex(new RegExp(`^${type}/${ID}$`), {
          error: `is no reference of type ${type}${MEND}send ${type}/id`,
        })
        .optional(),
      identifier: identifier.optional(),
    })
    .refine(namesSomething, { error: `names nothing${MEND}send 'reference' or 'identifier', or both` })
    .meta({
      id: `${type}Reference`,
      description: `A FHIR reference, ${type}/id, or a business identifier, or both; never a name.`,
    });

/** Those that may be both performer or device of an Observation, and agent of a Provenance (FHIR R4). */
const AUTHORS = {
  person: ['Practitioner', 'PractitionerRole', 'Organization', 'Patient', 'RelatedPerson'],
  device: ['Device'],
} as const satisfies Readonly<Record<string, readonly string[]>>;

const listed = (types: readonly string[]): string =>
  types
    .map((type) => `${type}/id`)
    .join(', ')
    .replace(/, (?=[^,]*$)/, ' or ');

export const author = z
  .strictObject({
    type: z.enum(['person', 'device']),
    reference: z
      .string()
      .max(200)
      .regex(new RegExp(`^[A-Za-z]+/${ID}$`), {
        error: `is no reference${MEND}send Type/id, such as Practitioner/123`,
      })
      .optional(),
    identifier: identifier.optional(),
  })
  .refine(namesSomething, { error: `names nobody${MEND}send 'reference' or 'identifier', or both` })
  .refine(
    ({ type, reference }) =>
      reference === undefined || AUTHORS[type].some((each) => reference.startsWith(`${each}/`)),
    {
      path: ['reference'],
      error: `is of a type that cannot chart so${MEND}send ${listed(AUTHORS.person)} of a person, ${listed(AUTHORS.device)} of a device`,
    },
  )
  .meta({ id: 'Author', description: 'Who charts: reference or identifier, or both; never a name.' });

export const note = words(2000).optional();
export const reason = words(500);
export const common = { identifier, author, effective_at: instant, note };
