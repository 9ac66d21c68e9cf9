/** Where clients get tokens (SMART App Launch 2.2.0, conformance.html); there is none where nobody needs one. */
import type { FastifyInstance } from 'fastify';
import { z } from 'zod';
import type { AccessControl } from '../../auth/access-control.ts';
import { OWN_SCOPES } from '../../auth/scope.ts';
import { Refused } from '../../fhir/search/refused.ts';
import type { ResourceType } from '../../fhir/search/resource-type.ts';
import { ALL_TYPES } from '../../fhir/search/resource-types.ts';
import { json, type RouteDoc } from '../route-doc.ts';
import { sendPlain } from '../send-json.ts';
import { FORMAT_QUERY, refusals } from './docs.ts';

const DOC: RouteDoc = {
  operation: 'smartConfiguration',
  access: 'public',
  summary: 'Where a client gets a token, and for what',
  query: FORMAT_QUERY,
  answers: {
    200: json('SMART configuration.', z.looseObject({ token_endpoint: z.string() })),
    ...refusals('No issuer of tokens is configured.'),
  },
};

/** In the order that SMART gives them. */
function actionsOn({ interactions }: ResourceType): string {
  const [create, update] = [interactions.includes('create'), interactions.includes('update')];
  return `${create ? 'c' : ''}r${update ? 'u' : ''}s`;
}

export function registerSmart(app: FastifyInstance, { tokenEndpoint }: AccessControl): void {
  app.get('/.well-known/smart-configuration', { config: { doc: DOC } }, (_request, reply) => {
    if (tokenEndpoint === null) throw new Refused(404, 'not-found', 'No issuer of tokens is configured here');
    const types = ALL_TYPES.map((row) => `system/${row.type}.${actionsOn(row)}`);
    return sendPlain(reply, {
      token_endpoint: tokenEndpoint,
      grant_types_supported: ['client_credentials'],
      token_endpoint_auth_methods_supported: ['private_key_jwt'],
      token_endpoint_auth_signing_alg_values_supported: ['RS384', 'ES384'],
      scopes_supported: [...types, ...Object.values(OWN_SCOPES)],
      capabilities: [
        'client-confidential-asymmetric',
        'permission-v1',
        'permission-v2',
        'permission-patient',
      ],
    });
  });
}
