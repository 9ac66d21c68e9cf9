/**
 * The elements of an Observation that can be charted (FHIR R4 observation.html). Of the rest, what can change the
 * meaning is refused, and what cannot is kept with the resource as sent.
 */
import { z } from 'zod';
import { UCUM } from '../../fhir/codings.ts';
import { ExactNumber } from '../../json/exact-json.ts';
import { MEND } from '../native/quantity.ts';

const NUMBER = z.custom<ExactNumber>((value) => value instanceof ExactNumber, {
  error: `is not a JSON number${MEND}send a plain number such as 12 or 12.5, without quotes`,
});

export const never = (detail: string, mend: string) =>
  z.undefined({ error: `${detail}${MEND}${mend}` }).optional();

export const identifier = z.looseObject({ system: z.string(), value: z.string() });

export const reference = z.looseObject({
  reference: z.string().optional(),
  identifier: identifier.optional(),
});

const coding = z.looseObject({ system: z.string().optional(), code: z.string().optional() });
export const concept = z.looseObject({ coding: z.array(coding).min(1) });

const quantity = z.looseObject({
  value: NUMBER,
  system: z.literal(UCUM),
  code: z.string(),
  comparator: never('makes a bound of what was read', 'send what was read, as a number'),
});

const valued = {
  code: concept,
  valueQuantity: quantity.optional(),
  valueCodeableConcept: concept.optional(),
  valueInteger: NUMBER.optional(),
  valueString: z.string().optional(),
  valueBoolean: z.boolean().optional(),
  dataAbsentReason: never('stands for what was not read', 'leave out what was not read'),
};

export const kept = z.unknown().optional();

/** Of every resource: what says nothing that an entry depends on. */
export const KEPT_OF_ALL = {
  id: kept,
  meta: kept,
  language: kept,
  text: kept,
  contained: kept,
  extension: kept,
};

/** The same of an Observation. */
const KEPT = {
  ...KEPT_OF_ALL,
  basedOn: kept,
  partOf: kept,
  category: kept,
  encounter: kept,
  issued: kept,
  interpretation: kept,
  method: kept,
  referenceRange: kept,
};

const part = z.strictObject({
  ...valued,
  id: kept,
  extension: kept,
  interpretation: kept,
  referenceRange: kept,
});

const WHEN = 'send the moment of the reading as effectiveDateTime or effectiveInstant';

export const rawObservation = z.strictObject({
  resourceType: z.literal('Observation'),
  ...KEPT,
  ...valued,
  identifier: z.array(identifier).min(1),
  status: z.enum(['final', 'amended', 'corrected', 'entered-in-error']),
  subject: reference,
  focus: z
    .tuple([z.looseObject({ identifier })], {
      error: `names several${MEND}send one: the drain, by the identifier that it was placed under`,
    })
    .optional(),
  effectiveDateTime: z.string().optional(),
  effectiveInstant: z.string().optional(),
  effectivePeriod: never('is no moment', WHEN),
  effectiveTiming: never('is no moment', WHEN),
  performer: z.array(reference).max(1).optional(),
  device: reference.optional(),
  bodySite: concept.optional(),
  note: z.array(z.looseObject({ text: z.string() })).optional(),
  component: z.array(part).min(1).max(30).optional(),
});

/** As it is sent to replace one that is stored: by then the drain and the key are known. */
export const replacingObservation = rawObservation.extend({
  identifier: z.array(identifier).optional(),
  focus: z.array(z.unknown()).optional(),
});

export type RawObservation = z.infer<typeof replacingObservation>;
export type Part = Pick<RawObservation, keyof typeof valued>;
export type Concept = z.infer<typeof concept>;
export type ReferenceElement = z.infer<typeof reference>;
