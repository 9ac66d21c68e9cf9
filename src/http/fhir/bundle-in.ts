/** A batch or a transaction posted to the base (FHIR R4 http.html#transaction). */
import type { FastifyInstance, FastifyReply, FastifyRequest } from 'fastify';
import { allows, CHART, scopeFor } from '../../auth/scope.ts';
import { Refused } from '../../fhir/search/refused.ts';
import type { ResourceType } from '../../fhir/search/resource-type.ts';
import { OBSERVATION } from '../../fhir/search/type-observation.ts';
import { type FhirFault, fhirFault, pathOf } from '../../intake/fhir/fhir-fault.ts';
import { faultsOf } from '../../intake/native/zod-faults.ts';
import type { ExactValue } from '../../json/exact-json.ts';
import { senderOf } from '../caller.ts';
import type { Parts } from '../parts.ts';
import { preferredReturn } from './asked.ts';
import { answerBatch } from './batch.ts';
import { type EntryAnswer, entryText } from './bundle-answer.ts';
import { type BundleEntry, sentBundle } from './bundle-shape.ts';
import { readSent } from './create.ts';
import { BUNDLE_DOC } from './docs.ts';
import { sendFaults } from './outcomes.ts';
import {
  isShownTo,
  locationOf,
  type NotStored,
  permitted,
  refusalOf,
  refuseQuery,
  type Stored,
  storedBy,
  unissuedText,
} from './stored.ts';

const BUNDLE_BYTES = 2 * 1024 * 1024;
const MOST_ENTRIES = 500;

export function registerBundles(app: FastifyInstance, parts: Parts): void {
  app.post('/', { bodyLimit: BUNDLE_BYTES, config: { doc: BUNDLE_DOC } }, async (request, reply) => {
    refuseQuery(request);
    const read = sentBundle.safeParse(request.body);
    if (!read.success) {
      const faults = faultsOf(read.error, request.body);
      return sendFaults(
        reply,
        400,
        faults.map((fault) => fhirFault(fault, pathOf(fault.pointer, 'Bundle'))),
      );
    }
    const { type, entry: entries = [] } = read.data;
    if (entries.length > MOST_ENTRIES)
      throw new Refused(
        413,
        'too-costly',
        `${entries.length} entries are more than ${MOST_ENTRIES}: send less at once`,
      );
    if (type === 'transaction') return transaction(request, reply, entries, parts);
    const answers = await answerBatch(request, entries);
    // Each entry was a request of its own.
    request.isRecorded = true;
    return reply.send(bundleText('batch-response', answers));
  });
}

const bundleText = (type: string, answers: readonly EntryAnswer[]): string => {
  const listed = answers.length === 0 ? '' : `,"entry":[${answers.map(entryText).join(',')}]`;
  return `{"resourceType":"Bundle","type":"${type}"${listed}}`;
};

/** All entries are one unit of the ledger: all are written or none. */
async function transaction(
  request: FastifyRequest,
  reply: FastifyReply,
  entries: readonly BundleEntry[],
  parts: Parts,
): Promise<FastifyReply> {
  const creates = entries.map((each, n) => ({ type: typeCreatedBy(each, n), ...each }));
  const reads = creates.map(({ resource, request: { ifNoneExist } }) =>
    readSent((resource ?? null) as ExactValue, ifNoneExist, parts),
  );
  const faults = reads.flatMap((read, n) => ('faults' in read ? read.faults.map(within(n)) : []));
  const unit = reads.flatMap((read) => ('faults' in read ? [] : read.incoming));
  faults.push(...namedTwice(unit.map(({ body }) => body.identifier)));
  if (faults.length > 0) return sendFaults(reply, 422, faults);
  const asked = unit.map((incoming) => {
    refuseScopeless(request);
    return permitted(request, parts, incoming);
  });
  const outcomes = asked.length === 0 ? [] : await parts.record(asked, senderOf(request.principal));
  const [refused] = outcomes.flatMap(
    (outcome, n) => located(refusalOf(outcome, request.principal, parts), n) ?? [],
  );
  if (refused !== undefined) return sendFaults(reply, refused.status, refused.faults);
  request.isRecorded = outcomes.some(({ kind }) => kind === 'recorded' || kind === 'unmatched');
  const shows = preferredReturn(request) === 'representation';
  const answers = creates.map(({ type }, n) => {
    const outcome = outcomes[n];
    if (outcome === undefined) throw new Error('a unit had fewer outcomes than entries');
    const stored = storedBy(outcome, parts, type);
    return storedAnswer(stored, shows && isShownTo(request.principal, stored), parts);
  });
  return reply.send(bundleText('transaction-response', answers));
}

/** The route lets in whoever is known; what a transaction writes needs more. @throws {Refused} */
function refuseScopeless({ principal }: FastifyRequest): void {
  if (!allows(principal.scope, CHART))
    throw new Refused(403, 'forbidden', `It needs the scope ${scopeFor(CHART)}.`);
}

const located = (refusal: NotStored | null, n: number): NotStored | null =>
  refusal === null ? null : { ...refusal, faults: refusal.faults.map(within(n)) };

const within =
  (n: number) =>
  (fault: FhirFault): FhirFault => ({
    ...fault,
    pointer: fault.pointer.replace(/^Observation/, `Bundle.entry[${n}].resource`),
  });

/** @throws {Refused} for what a transaction does not do here */
function typeCreatedBy({ request: { method, url } }: BundleEntry, n: number): ResourceType {
  if (method === 'POST' && url === OBSERVATION.type) return OBSERVATION;
  throw new Refused(
    400,
    'not-supported',
    `Bundle.entry[${n}].request ${method.slice(0, 20)} ${url.slice(0, 80).toWellFormed()} is not done in a transaction: send POST ${OBSERVATION.type}; reads, updates and devices go in a batch`,
  );
}

function namedTwice(
  identifiers: readonly { readonly system: string; readonly value: string }[],
): FhirFault[] {
  const keys = identifiers.map(({ system, value }) => JSON.stringify([system, value]));
  return keys.flatMap((key, n) =>
    keys.indexOf(key) === n
      ? []
      : {
          code: 'value',
          pointer: `Bundle.entry[${n}].resource.identifier[0]`,
          value: key,
          detail: 'stands in two entries',
          mend: 'send each once',
        },
  );
}

function storedAnswer(stored: Stored, shows: boolean, parts: Parts): EntryAnswer {
  const { isNew, version } = stored;
  if (version === null)
    return { resource: null, response: { status: '202 Accepted' }, outcome: unissuedText(stored) };
  return {
    resource: shows ? version.text : null,
    response: {
      status: isNew ? '201 Created' : '200 OK',
      location: locationOf(version, parts),
      etag: `W/"${version.version}"`,
      lastModified: version.lastUpdated,
    },
    outcome: null,
  };
}
