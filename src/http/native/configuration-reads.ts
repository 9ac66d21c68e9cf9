/** What the facility configured: as it counts now, and every version that ever did. */
import type { FastifyInstance } from 'fastify';
import type { StoredConfiguration } from '../../store/port.ts';
import type { Parts } from '../parts.ts';
import { problem } from '../problem.ts';
import { sendProblem } from '../refuse.ts';
import { json, type RouteDoc } from '../route-doc.ts';
import { sendJson } from '../send-json.ts';
import { problems } from './answers.ts';
import { version, versions } from './configuration-answers.ts';

const ABOUT =
  'Read from files and environment when the service starts, and kept in the ledger. A change is a new version: it counts from its own time and re-issues nothing.';

const DOCS = {
  inForce: {
    operation: 'configuration',
    access: 'known',
    concernsNobody: true,
    summary: 'The configuration in force: settings, unit profiles, rule table and calendar',
    about: ABOUT,
    answers: { 200: json('The version in force.', version), ...problems({ 404: 'None is recorded.' }) },
  },
  versions: {
    operation: 'configurationVersions',
    access: 'known',
    concernsNobody: true,
    summary: 'All versions of the configuration, oldest first',
    about: ABOUT,
    answers: { 200: json('Each version, whole.', versions), ...problems({}) },
  },
} as const satisfies Readonly<Record<string, RouteDoc>>;

const NONE = problem(
  404,
  'no-configuration',
  'No configuration is recorded',
  'The service records its configuration when it starts: start it on this ledger.',
);

export function registerConfiguration(app: FastifyInstance, { store }: Parts): void {
  app.get('/configuration', { config: { doc: DOCS.inForce } }, (_request, reply) => {
    const newest = store.configurations().at(-1);
    return newest === undefined ? sendProblem(reply, NONE) : sendJson(reply, versionText(newest));
  });
  app.get('/configuration/versions', { config: { doc: DOCS.versions } }, (_request, reply) =>
    sendJson(reply, `{"versions":[${store.configurations().map(versionText).join(',')}]}`),
  );
}

/** The stored text goes out as it is, digits and all. */
function versionText({ seq, recordedAt, hash, body }: StoredConfiguration): string {
  return `{"sequence":${seq},"from":"${recordedAt}","hash":"${hash}","document":${body}}`;
}
