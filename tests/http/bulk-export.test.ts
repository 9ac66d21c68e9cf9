/**
 * Bulk exports as a client makes them. Source: FHIR Bulk Data Access 2.0.0
 * (http://hl7.org/fhir/uv/bulkdata/STU2/export.html): kick-off, status, manifest, files, delete; R4 for what is in them.
 */
import { existsSync, readdirSync, readlinkSync, writeFileSync } from 'node:fs';
import { get } from 'node:http';
import { join } from 'node:path';
import { gunzipSync } from 'node:zlib';
import type { CapabilityStatement, FhirResource } from 'fhir/r4.js';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { problemsOf } from '../support/r4.ts';
import { type Exporter, exporterOf, type Manifest } from './exporter.ts';
import { content, corrected, id, level, placeDrain, setUp, type TestDrain, tell } from './messages.ts';
import { STORY } from './rich-story.ts';
import { startTestService, type TestService } from './service.ts';

let service: TestService;
let client: Exporter;
let drain: TestDrain;

beforeAll(async () => {
  service = await startTestService();
  client = exporterOf(service.send);
  const patient = { reference: 'Patient/1', identifier: id('patient-1') };
  drain = await placeDrain(service, 'placed', '08:00', { patient });
  for (const message of STORY) expect((await drain.enter(message)).status).toBe(201);
  const unlinked = await placeDrain(service, 'unlinked', '08:00');
  await tell(unlinked, setUp('unlinked-up', '08:00', 0), level('unlinked-r', '09:00', 30));
});
afterAll(() => service.stop());

const TYPES = ['Observation', 'Device', 'Provenance'];

/** All that a search finds: the newest version of everything. */
async function searched(type: string): Promise<FhirResource[]> {
  const { text } = await service.send('GET', `/fhir/${type}?_count=1000`);
  const { entry = [], link } = JSON.parse(text);
  expect(link.map(({ relation }: { relation: string }) => relation)).toEqual(['self']);
  return entry.map(({ resource }: { resource: FhirResource }) => resource);
}

const keyOf = ({ resourceType, id: name, meta }: FhirResource) =>
  `${resourceType}/${name}/${meta?.versionId}`;
const keys = (resources: readonly FhirResource[]) => resources.map(keyOf).sort();

test('the export of the system holds the newest version of everything, each a valid resource, a type a file', async () => {
  const { manifest } = await client.exported('/fhir/$export');
  expect(Object.keys(manifest).sort()).toEqual(
    ['transactionTime', 'request', 'requiresAccessToken', 'output', 'error'].sort(),
  );
  expect(manifest.request).toBe(`${service.url}/fhir/$export`);
  expect(manifest.requiresAccessToken).toBe(false);
  expect(manifest.error).toEqual([]);
  expect(manifest.output.map(({ type }) => type).sort()).toEqual([...TYPES].sort());
  for (const item of manifest.output) {
    const lines = await client.lines(item);
    expect(lines).toHaveLength(item.count);
    for (const each of lines) expect(problemsOf(each)).toEqual([]);
    expect(new Set(lines.map(({ resourceType }) => resourceType))).toEqual(new Set([item.type]));
    expect(keys(lines)).toEqual(keys(await searched(item.type)));
  }
  const observations = await client.resources(manifest, 'Observation');
  const statuses = new Set(observations.map((each) => (each as { status?: string }).status));
  expect(statuses).toContain('entered-in-error');
  expect(statuses).toContain('amended');
});

test('lines are the texts as they were issued, digits and all', async () => {
  const { manifest } = await client.exported('/fhir/$export?_type=Observation');
  const [item] = manifest.output;
  const { text } = await service.send('GET', new URL(item?.url ?? '').pathname);
  for (const line of text.trimEnd().split('\n')) {
    const { id: name } = JSON.parse(line);
    expect((await service.send('GET', `/fhir/Observation/${name}`)).text).toBe(line);
  }
  expect(text).toMatch(/"value":20\.0[,}]/);
});

test('that of patients leaves out what is about no patient', async () => {
  const { manifest } = await client.exported('/fhir/Patient/$export');
  for (const type of TYPES) {
    const found = await client.resources(manifest, type);
    const all = await searched(type);
    const ofPatients = all.filter(({ id: name }) => name?.includes(`.${drain.drain}.`));
    expect(all.length).toBeGreaterThan(ofPatients.length);
    expect(keys(found)).toEqual(keys(ofPatients));
  }
});

test('what is charted while it is written is not in it, and all of it comes with the next one since its time', async () => {
  const held = new Map<string, string>();
  const take = async (manifest: Manifest) => {
    for (const type of TYPES) {
      for (const each of await client.resources(manifest, type)) {
        const updated = each.meta?.lastUpdated ?? '';
        expect(Date.parse(updated)).toBeLessThanOrEqual(Date.parse(manifest.transactionTime));
        held.set(`${each.resourceType}/${each.id}`, keyOf(each));
      }
    }
  };
  const busy = await placeDrain(service, 'busy', '08:00', { patient: { reference: 'Patient/2' } });
  await tell(busy, setUp('busy-up', '08:00', 0));
  let since = '';
  let charting = true;
  const charted = (async () => {
    for (let n = 0; n < 40; n += 1) {
      const minute = String(n).padStart(2, '0');
      await tell(busy, level(`busy-${n}`, `10:${minute}`, 10 * n));
      if (n % 5 === 4)
        await tell(
          busy,
          corrected(`busy-c${n}`, `busy-${n}`, content(level('', `10:${minute}`, 10 * n + 2))),
        );
    }
    charting = false;
  })();
  for (let rounds = 0; charting || rounds < 2; rounds += charting ? 0 : 1) {
    const query = since === '' ? '' : `?_since=${encodeURIComponent(since)}`;
    const { manifest } = await client.exported(`/fhir/$export${query}`);
    for (const type of TYPES) {
      for (const each of await client.resources(manifest, type)) {
        if (since !== '') expect(Date.parse(each.meta?.lastUpdated ?? '')).toBeGreaterThan(Date.parse(since));
      }
    }
    await take(manifest);
    since = manifest.transactionTime;
  }
  await charted;
  const all = (await Promise.all(TYPES.map(searched))).flat();
  expect([...held.values()].sort()).toEqual(keys(all));
});

describe('kick-off', () => {
  const start = (query: string, headers: object = {}) =>
    service.send('GET', `/fhir/$export${query}`, undefined, { prefer: 'respond-async', ...headers });

  test.each(['application/fhir%2Bndjson', 'application/fhir+ndjson', 'application/ndjson', 'ndjson'])(
    'the format by the name %s',
    async (name) => {
      const { status, headers } = await start(`?_outputFormat=${name}`, { accept: 'application/fhir+json' });
      expect(status).toBe(202);
      const at = new URL(headers.get('content-location') ?? '');
      expect(at.origin).toBe(service.url);
      expect((await service.send('DELETE', at.pathname)).status).toBe(202);
    },
  );

  test.each([
    ['', { prefer: 'return=minimal' }, 400, 'Prefer: respond-async'],
    ['?_outputFormat=application/xml', {}, 400, '_outputFormat'],
    ['?_type=Patient', {}, 400, '_type=Patient'],
    ['?_type=Observation,', {}, 400, '_type='],
    ['?_since=2026-03-01', {}, 400, '_since=2026-03-01'],
    ['?_since=2026-03-01T08:00:00', {}, 400, '_since'],
    ['?_since=2026-03-01T08:00:00Z&_since=2026-03-01T08:00:00Z', {}, 400, '_since'],
    ['?_typeFilter=Observation%3Fcode%3Dlevel', {}, 400, '_typeFilter'],
    ['?_elements=id', {}, 400, '_elements'],
    ['?colour=red', {}, 400, 'colour'],
    ['', { accept: 'application/fhir+xml' }, 406, 'Accept'],
  ])('%s %o is refused by name', async (query, headers, status, named) => {
    const answer = await start(query, headers);
    expect(answer.status).toBe(status);
    const outcome = JSON.parse(answer.text);
    expect(problemsOf(outcome)).toEqual([]);
    expect(outcome.issue[0].diagnostics).toContain(named);
    expect(answer.headers.get('content-location')).toBeNull();
  });

  test('a lenient client is told in a file what was left out', async () => {
    const { manifest } = await client.exported(
      '/fhir/$export?_type=Device,Patient&_typeFilter=Device%3Ftype%3Dx',
      {
        prefer: 'respond-async, handling=lenient',
      },
    );
    expect(manifest.output.map(({ type }) => type)).toEqual(['Device']);
    expect(manifest.error.map(({ type, count }) => [type, count])).toEqual([['OperationOutcome', 1]]);
    const [outcome] = await client.lines(manifest.error[0] as Manifest['error'][0]);
    expect(problemsOf(outcome)).toEqual([]);
    expect(JSON.stringify(outcome)).toMatch(/_type=Patient.*_typeFilter/);
  });

  test('by POST, with the same parameters in a resource', async () => {
    const body = {
      resourceType: 'Parameters',
      parameter: [
        { name: '_type', valueString: 'Device' },
        { name: '_type', valueString: 'Provenance' },
        { name: '_since', valueInstant: '2999-01-01T00:00:00Z' },
      ],
    };
    const headers = { prefer: 'respond-async', 'content-type': 'application/fhir+json' };
    const { status, headers: told } = await service.send('POST', '/fhir/$export', body, headers);
    expect(status).toBe(202);
    const { manifest } = await client.whenComplete(told.get('content-location') ?? '');
    expect([manifest.output, manifest.request]).toEqual([[], `${service.url}/fhir/$export`]);
  });

  test('HEAD begins none', async () => {
    const before = readdirSync(join(service.folder, 'ledger.db.exports'));
    expect((await service.send('HEAD', '/fhir/$export', undefined, { prefer: 'respond-async' })).status).toBe(
      405,
    );
    expect(readdirSync(join(service.folder, 'ledger.db.exports'))).toEqual(before);
  });
});

describe('what was written', () => {
  test('comes compressed to who takes it so, and plain to who does not', async () => {
    const { manifest } = await client.exported('/fhir/$export?_type=Device');
    const url = manifest.output[0]?.url ?? '';
    const plain = await raw(url, {});
    const packed = await raw(url, { 'accept-encoding': 'gzip' });
    expect([plain.encoding, packed.encoding]).toEqual([undefined, 'gzip']);
    expect(plain.type).toMatch(/^application\/fhir\+ndjson/);
    expect(packed.type).toBe(plain.type);
    expect(gunzipSync(packed.body).equals(plain.body)).toBe(true);
    expect((await raw(url, { 'accept-encoding': 'gzip;q=0, br' })).encoding).toBeUndefined();
  });

  test('goes with DELETE, and is not there any more', async () => {
    const { at, manifest } = await client.exported('/fhir/$export?_type=Device');
    const file = new URL(manifest.output[0]?.url ?? '').pathname;
    expect((await service.send('DELETE', at)).status).toBe(202);
    for (const path of [at, file]) {
      const { status, text } = await service.send('GET', path);
      expect([status, problemsOf(JSON.parse(text))]).toEqual([404, []]);
    }
    expect((await service.send('DELETE', at)).status).toBe(404);
    expect(existsSync(join(service.folder, 'ledger.db.exports', at.split('/').at(-1) ?? ''))).toBe(false);
  });

  test('no other file is reached, whatever is asked for', async () => {
    const { at } = await client.exported('/fhir/$export?_type=Device');
    for (const name of [
      'job.json',
      '..%2Fjob.json',
      'Observation.1.ndjson',
      '%2e%2e',
      'Device.1.ndjson.draft',
    ])
      expect((await service.send('GET', `${at}/${name}`)).status, name).toBe(404);
  });

  test('who hangs up half-way leaves no file open', async () => {
    const { at, manifest } = await client.exported('/fhir/$export?_type=Device');
    const file = join(
      service.folder,
      'ledger.db.exports',
      at.split('/').at(-1) ?? '',
      'files',
      'Device.1.ndjson',
    );
    // Larger than what the sockets between hold.
    writeFileSync(file, `{"resourceType":"Device"}\n`.repeat(2_000_000));
    const isOpen = () => readdirSync('/proc/self/fd').some((fd) => linkOf(fd) === file);
    for (const headers of [{}, { 'accept-encoding': 'gzip' }]) {
      await new Promise<void>((resolve) => {
        get(manifest.output[0]?.url ?? '', { headers }, (answer) => {
          answer.once('data', () => {
            expect(isOpen()).toBe(true);
            answer.destroy();
            resolve();
          });
        });
      });
      await expect.poll(isOpen, { timeout: 5000 }).toBe(false);
    }
  });
});

test('the CapabilityStatement claims both exports, by the canonical URLs of the guide', async () => {
  const statement = JSON.parse((await service.send('GET', '/fhir/metadata')).text) as CapabilityStatement;
  expect(problemsOf(statement)).toEqual([]);
  expect(statement.instantiates).toEqual(['http://hl7.org/fhir/uv/bulkdata/CapabilityStatement/bulk-data']);
  const [rest] = statement.rest ?? [];
  const base = 'http://hl7.org/fhir/uv/bulkdata/OperationDefinition';
  expect(rest?.operation).toEqual([{ name: 'export', definition: `${base}/export` }]);
  const patient = rest?.resource?.find(({ type }) => type === 'Patient');
  expect(patient?.operation).toEqual([{ name: 'export', definition: `${base}/patient-export` }]);
  expect(patient?.interaction).toBeUndefined();
});

function linkOf(fd: string): string {
  try {
    return readlinkSync(`/proc/self/fd/${fd}`);
  } catch {
    // Closed since it was listed.
    return '';
  }
}

/** An answer as it comes over the wire. */
function raw(url: string, headers: Readonly<Record<string, string>>) {
  return new Promise<{ body: Buffer; type: string | undefined; encoding: string | undefined }>(
    (resolve, reject) => {
      get(url, { headers }, (answer) => {
        const chunks: Buffer[] = [];
        answer.on('data', (chunk: Buffer) => chunks.push(chunk));
        answer.once('error', reject);
        answer.once('end', () =>
          resolve({
            body: Buffer.concat(chunks),
            type: answer.headers['content-type'],
            encoding: answer.headers['content-encoding'],
          }),
        );
      }).once('error', reject);
    },
  );
}
