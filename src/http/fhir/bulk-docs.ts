/** What the API reference says of bulk exports. */
import { z } from 'zod';
import type { BulkLevel } from '../../fhir/bulk.ts';
import { BULK_PARAMETERS } from '../../fhir/search/read-bulk.ts';
import { json, type RouteDoc } from '../route-doc.ts';
import { described, FORMAT_QUERY, refusals, resource } from './docs.ts';

const ABOUT =
  'FHIR Bulk Data Access 2.0.0. Send Prefer: respond-async; the answer names in Content-Location where to ask how far it is. Each type takes the scope system/Type.rs. The newest version of each resource as of transactionTime is written; what was entered in error is among them, and says so.';

const OF_EXPORT = 'Known only to the client that asked for it.';

/** @param byPost parameters come in a Parameters resource */
export const kickOffDoc = ({ operation, summary, ofPatients }: BulkLevel, byPost: boolean): RouteDoc => ({
  operation: `${operation}${byPost ? 'ByPost' : ''}`,
  // What each type needs is asked of each type; who is confined to a patient or drain is refused.
  access: 'known',
  seesToBounds: true,
  summary,
  about: ofPatients
    ? `${ABOUT} Without what is about drains that no patient is linked to. Patient resources are held elsewhere.`
    : ABOUT,
  query: { ...described(BULK_PARAMETERS), ...FORMAT_QUERY },
  readsQuery: true,
  ...(byPost
    ? {
        body: z.looseObject({}).meta({ description: 'A Parameters resource.' }),
        bodyTypes: ['application/fhir+json', 'application/json'],
      }
    : {}),
  answers: { 202: resource('It is being written.', 'OperationOutcome'), ...refusals() },
});

const item = z.object({ type: z.string(), url: z.string(), count: z.number().int().positive() });
const manifest = z
  .object({
    transactionTime: z.string().meta({ format: 'date-time' }),
    request: z.string(),
    requiresAccessToken: z.boolean(),
    output: z.array(item),
    error: z.array(item).describe('OperationOutcomes: what was asked for and left out.'),
  })
  .meta({ id: 'ExportManifest', description: 'FHIR Bulk Data Access 2.0.0, complete status.' });

export const BULK_DOCS = {
  status: {
    operation: 'exportStatus',
    access: 'known',
    seesToBounds: true,
    summary: 'How far an export is, and where its files are',
    about: `${OF_EXPORT} Files are kept for 24 hours; Expires says until when.`,
    answers: {
      200: json('It is complete.', manifest),
      202: resource(
        'It is being written: X-Progress says how far, Retry-After when to ask.',
        'OperationOutcome',
      ),
      ...refusals('There is no such export, or no longer.'),
    },
  },
  remove: {
    operation: 'removeExport',
    access: 'known',
    seesToBounds: true,
    summary: 'Stop an export and remove its files',
    about: OF_EXPORT,
    answers: {
      202: resource('It is gone.', 'OperationOutcome'),
      ...refusals('There is no such export, or no longer.'),
    },
  },
  file: {
    operation: 'exportFile',
    access: 'known',
    seesToBounds: true,
    summary: 'A file of an export: a resource a line',
    about: `${OF_EXPORT} It takes the scope of its type. With Accept-Encoding: gzip it comes compressed.`,
    answers: {
      200: {
        text: 'The resources.',
        mediaType: 'application/fhir+ndjson',
        schema: z.looseObject({ resourceType: z.string() }),
      },
      ...refusals('There is no such file, or no longer.'),
    },
  },
} as const satisfies Readonly<Record<string, RouteDoc>>;
