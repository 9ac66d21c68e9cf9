/** A facility's reading of HL7 v2 messages, as its file and the ledger say it. */
import { z } from 'zod';
import { RAW_CODES } from '../../fhir/raw-codes.ts';

const text = z.string().min(1).max(200);
const names = Object.keys(RAW_CODES);
const rawCode = z.enum(names, { error: `is no code of what is read: one of ${names.join(', ')}` });

/** Segments that stand once for an observation: those of its visit and order, itself, and its participant. */
const DRAIN_FIELD = /^(PV1|ORC|OBR|OBX|PRT)-([1-9]\d?)$/;

export const messageMapping = z.strictObject({
  version: text,
  system: text,
  drain: z.strictObject({
    field: z.string().regex(DRAIN_FIELD, {
      error: 'is no field of PV1, ORC, OBR, OBX or PRT, such as PV1-19',
    }),
    system: text,
  }),
  patient: z.strictObject({ system: text, authority: text }).optional(),
  devices: text,
  staff: text,
  zone: text.optional(),
  observations: z.array(z.strictObject({ code: text, system: text, reads: rawCode.nullable() })).default([]),
  units: z.array(z.strictObject({ code: text, system: text, ucum: text })).default([]),
  values: z.partialRecord(rawCode, z.record(z.string(), z.string())).default({}),
});
