/** What was measured of a drain beside the figures of a published policy, and the policies themselves. */

import type { FastifyInstance } from 'fastify';
import { z } from 'zod';
import { READ } from '../../auth/scope.ts';
import { REMOVAL_POLICIES } from '../../domain/removal/removal-policies.ts';
import { removalViewOf } from '../../record/removal-view.ts';
import type { Parts } from '../parts.ts';
import { badQuery, noSuchDrain } from '../problem.ts';
import { sendProblem } from '../refuse.ts';
import { json, type RouteDoc } from '../route-doc.ts';
import { sendPlain } from '../send-json.ts';
import { problems } from './answers.ts';
import { asOf, msOf } from './query-parts.ts';
import { removalEvidence, removalPolicies } from './removal-answers.ts';

interface OfRemoval {
  Params: { drain: string };
  Querystring: { readonly policy?: string; readonly as_of?: string };
}

const IDS = REMOVAL_POLICIES.map(({ id }) => id);

const DOCS = {
  policies: {
    operation: 'removalPolicies',
    access: 'known',
    concernsNobody: true,
    summary: 'Published figures that drains were taken out by, with their sources',
    answers: { 200: json('The policies.', removalPolicies), ...problems({}) },
  },
  evidence: {
    operation: 'removalEvidence',
    access: READ,
    summary: 'What was measured of a drain, criterion by criterion of a chosen policy',
    about: 'Evidence for review, not a recommendation: imaging and a clinician are always outstanding.',
    query: { policy: z.enum(IDS).meta({ description: 'Required: none is a default.' }), as_of: asOf },
    answers: {
      200: json('The evidence.', removalEvidence),
      ...problems({ 400: 'The query cannot be answered as it is.', 404: 'There is no such drain.' }),
    },
  },
} as const satisfies Readonly<Record<string, RouteDoc>>;

export function registerRemoval(app: FastifyInstance, { store }: Parts): void {
  app.get('/removal-policies', { config: { doc: DOCS.policies } }, (_request, reply) =>
    sendPlain(reply, { policies: REMOVAL_POLICIES }),
  );
  app.get<OfRemoval>(
    '/drains/:drain/removal-evidence',
    { config: { doc: DOCS.evidence } },
    ({ params: { drain }, query }, reply) => {
      const policy = REMOVAL_POLICIES.find(({ id }) => id === query.policy);
      if (policy === undefined) return sendProblem(reply, NO_POLICY);
      const book = store.books(drain).get(drain);
      if (book === undefined) return sendProblem(reply, noSuchDrain(drain));
      return sendPlain(reply, removalViewOf(book, policy, msOf(query.as_of)));
    },
  );
}

const NO_POLICY = badQuery([
  { pointer: '?policy', value: undefined, detail: 'is missing', mend: `send one of ${IDS.join(', ')}` },
]);
