/**
 * Who may do what. Sources: RFC 6750 (bearer tokens, WWW-Authenticate), RFC 8725 (JWT best practice: algorithm confusion,
 * kid, jku), SMART App Launch 2.2.0, OWASP API Security Top 10 2023 (API1 object level, API5 function level).
 */
import { createHmac } from 'node:crypto';
import { base64url, exportSPKI, generateKeyPair, SignJWT, UnsecuredJWT } from 'jose';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { wordsOfNoUse } from '../../src/auth/keys.ts';
import { problemsOf } from '../support/r4.ts';
import { AUDIENCE, type Guarded, ISSUER, startGuarded } from './access-control.ts';
import * as raw from './fhir-messages.ts';
import { entry, id, level, placement, setUp, voided } from './messages.ts';

let guarded: Guarded;
let full: string;
let mine: string;
let other: string;

beforeAll(async () => {
  guarded = await startGuarded();
  full = await guarded.token({ scope: 'system/*.cruds drainledger/operate drainledger/audit' });
  const place = async (key: string, patient: string) => {
    const { text } = await guarded.send(
      full,
      'POST',
      '/v1/drains',
      placement(key, '08:00', { patient: { reference: patient } }),
    );
    const { drain } = JSON.parse(text);
    for (const message of [setUp(`${key}-up`, '08:00', 0), level(`${key}-r`, '09:00', 50)])
      expect((await guarded.send(full, 'POST', `/v1/drains/${drain}/entries`, message)).status).toBe(201);
    return drain as string;
  };
  mine = await place('mine', 'Patient/1');
  other = await place('other', 'Patient/2');
});
afterAll(() => guarded.stop());

const status = async (...call: Parameters<Guarded['send']>) => (await guarded.send(...call)).status;

describe('tokens that are not believed', () => {
  const claims = () => ({
    scope: 'system/*.cruds',
    client_id: 'x',
    iss: ISSUER,
    aud: AUDIENCE,
    exp: Math.floor(Date.now() / 1000) + 300,
  });
  const forged: Readonly<Record<string, () => Promise<string> | string>> = {
    'none at all': () => '',
    'no JWT': () => 'abc.def.ghi',
    'one without signature': () => new UnsecuredJWT(claims()).encode(),
    'one signed with the public key as a secret': async () => {
      const head = base64url.encode(JSON.stringify({ alg: 'HS384', kid: 'k1' }));
      const signed = `${head}.${base64url.encode(JSON.stringify(claims()))}`;
      const secret = await exportSPKI(guarded.keys.publicKey);
      return `${signed}.${createHmac('sha384', secret).update(signed).digest('base64url')}`;
    },
    'one with another key under our kid': async () => {
      const { privateKey } = await generateKeyPair('ES384');
      return new SignJWT(claims()).setProtectedHeader({ alg: 'ES384', kid: 'k1' }).sign(privateKey);
    },
    'one that brings its own key': async () => {
      const { privateKey, publicKey } = await generateKeyPair('ES384', { extractable: true });
      const { exportJWK } = await import('jose');
      const header = { alg: 'ES384', jwk: await exportJWK(publicKey), jku: 'http://127.0.0.1:1/jwks' };
      return new SignJWT(claims()).setProtectedHeader(header as never).sign(privateKey);
    },
    'a kid that is a path': () =>
      new SignJWT(claims())
        .setProtectedHeader({ alg: 'ES384', kid: '../../etc/passwd' })
        .sign(guarded.keys.privateKey),
    'an algorithm that is not allowed': async () => {
      const { privateKey } = await generateKeyPair('RS256');
      return new SignJWT(claims()).setProtectedHeader({ alg: 'RS256', kid: 'k1' }).sign(privateKey);
    },
    'another issuer': () => guarded.token({ iss: 'https://elsewhere.example' }),
    'another audience': () => guarded.token({ aud: 'https://elsewhere.example' }),
    expired: () => guarded.token({ exp: Math.floor(Date.now() / 1000) - 60 }),
    'not yet valid': () => guarded.token({ nbf: Math.floor(Date.now() / 1000) + 600 }),
    'no scope': () => guarded.token({ scope: undefined }),
    'a scope that is no text': () => guarded.token({ scope: ['system/*.cruds'] }),
    'of a patient that it does not name': () => guarded.token({ scope: 'patient/Observation.rs' }),
    'of a patient with a path for a name': () => guarded.token({ scope: 'patient/*.rs', patient: '1/../2' }),
    'too long': () => guarded.token({ filler: 'x'.repeat(9000) }),
    'a key that was never made': () => `dlk_aaaaaaaa_${'A'.repeat(43)}`,
    'a key of one patient that names none': () => guarded.key('patient/Observation.rs'),
    'a key with another secret': () => `${guarded.key('system/*.cruds').slice(0, -4)}AAAA`,
  };
  test.each(Object.keys(forged))('%s', async (name) => {
    const token = (await forged[name]?.()) ?? '';
    for (const [method, path] of [
      ['GET', '/v1/drains'],
      ['GET', '/fhir/Observation'],
      ['POST', '/fhir'],
    ] as const) {
      const answer = await guarded.send(
        token === '' ? null : token,
        method,
        path,
        method === 'POST' ? {} : undefined,
      );
      expect(answer.status, path).toBe(401);
      expect(answer.headers.get('www-authenticate')).toMatch(/^Bearer realm=/);
      if (path.startsWith('/fhir')) {
        expect(problemsOf(JSON.parse(answer.text))).toEqual([]);
        expect(JSON.parse(answer.text).issue[0].code).toBe('login');
      }
    }
    expect(guarded.service.log()).not.toContain(token === '' ? 'eyJ' : token);
  });

  test.each([
    ['another audience', 'ERR_JWT_CLAIM_VALIDATION_FAILED of aud'],
    ['not yet valid', 'ERR_JWT_CLAIM_VALIDATION_FAILED of nbf'],
    ['no scope', 'ERR_JWT_CLAIM_VALIDATION_FAILED of scope'],
    ['expired', 'ERR_JWT_EXPIRED of exp'],
  ])('the log says of one with %s what is wrong with it', async (name, why) => {
    const before = guarded.service.log().length;
    await status((await forged[name]?.()) ?? '', 'GET', '/v1/drains');
    expect(guarded.service.log().slice(before)).toContain(`"why":"it is not valid: ${why}"`);
  });

  test('a key works until it is revoked', async () => {
    const key = guarded.key('system/Observation.rs');
    await expect.poll(() => status(key, 'GET', '/v1/drains'), { timeout: 5000 }).toBe(200);
    guarded.revokeAll();
    await expect.poll(() => status(key, 'GET', '/v1/drains'), { timeout: 5000 }).toBe(401);
  });
});

test('without a token only what holds no data is answered; with one, what its scope allows: every route', async () => {
  const { paths } = guarded.service.document;
  const reader = await guarded.token({ scope: 'system/Observation.rs' });
  const nothing = await guarded.token({ scope: 'openid' });
  const open: string[] = [];
  for (const [path, operations] of Object.entries(paths)) {
    for (const [method, operation] of Object.entries(operations)) {
      const real = path.replaceAll(/\{\w+\}/g, 'x');
      const body = method === 'get' ? undefined : {};
      const { security } = operation as unknown as { security: { bearer: string[] }[] };
      expect(security, `${method} ${path} says who may call it`).toBeInstanceOf(Array);
      const bare = await status(null, method.toUpperCase(), real, body);
      if (security.length === 0) {
        open.push(path);
        expect([401, 403], path).not.toContain(bare);
        continue;
      }
      expect(bare, path).toBe(401);
      const [scope] = security[0]?.bearer ?? [];
      expect(wordsOfNoUse(scope ?? ''), `a key can be made for ${method} ${path}`).toEqual([]);
      const expected = (held: RegExp) => scope === undefined || held.test(scope);
      expect((await status(nothing, method.toUpperCase(), real, body)) === 403, path).toBe(!expected(/^$/));
      expect((await status(reader, method.toUpperCase(), real, body)) === 403, path).toBe(
        !expected(/^system\/Observation\.[rs]$/),
      );
    }
  }
  expect(open.sort()).toEqual(
    [
      '/.well-known/jwks.json',
      ...['/fhir/.well-known/smart-configuration', '/fhir/metadata', '/livez', '/openapi.json', '/readyz'],
      // Scripts and styles of the page hold no data: what it shows it asks for like anybody.
      ...['/', '/page/{file}', '/reference'],
    ].sort(),
  );
});

describe('a scope does not stretch', () => {
  const charter = () => guarded.token({ scope: 'system/Observation.c' });
  test('who may chart may not change what was charted, by any door', async () => {
    const token = await charter();
    const path = `/v1/drains/${mine}/entries`;
    expect(await status(token, 'POST', path, level('charter-1', '09:30', 60))).toBe(201);
    const withdrawal = voided('charter-2', 'charter-1');
    const refused = await guarded.send(token, 'POST', path, withdrawal);
    expect([refused.status, refused.text]).toEqual([403, expect.stringContaining('system/Observation.u')]);
    const batch = await guarded.send(token, 'POST', '/v1/entries', {
      entries: [{ drain: mine, ...withdrawal }],
    });
    expect(JSON.parse(batch.text).outcomes[0].status).toBe(403);
    expect(await status(token, 'GET', path)).toBe(403);
    const { id: resource } = JSON.parse(
      (
        await guarded.send(
          full,
          'POST',
          '/fhir/Observation',
          raw.level('charter-3', '09:40', 70, { focus: [{ identifier: id('mine') }] }),
        )
      ).text,
    );
    expect(await status(token, 'PUT', `/fhir/Observation/${resource}`, {}, { 'if-match': 'W/"1"' })).toBe(
      403,
    );
  });

  test('a bundle asks for each entry what the entry needs', async () => {
    const reader = await guarded.token({ scope: 'system/Observation.rs' });
    const sent = raw.create(raw.level('bundle-1', '09:50', 80, { focus: [{ identifier: id('mine') }] }));
    expect(await status(reader, 'POST', '/fhir', raw.bundleOf('transaction', sent))).toBe(403);
    const { text } = await guarded.send(
      reader,
      'POST',
      '/fhir',
      raw.bundleOf('batch', sent, { request: { method: 'GET', url: 'Observation?code=level' } }),
    );
    expect(
      JSON.parse(text).entry.map((each: { response: { status: string } }) =>
        each.response.status.slice(0, 3),
      ),
    ).toEqual(['403', '200']);
  });
});

test('a search brings along only what the client may read, and definitions are for whoever is known', async () => {
  const asked = '/fhir/Observation?code=level&_revinclude=Provenance:target&_include=Observation:device';
  const scopes = ['system/Observation.rs', 'system/Observation.rs system/Provenance.r'];
  for (const [scope, missing] of [
    [scopes[0], 'system/Device.r'],
    [scopes[1], 'system/Device.r'],
    [`${scopes[0]} system/Device.r`, 'system/Provenance.r'],
  ] as const) {
    const { status, text } = await guarded.send(await guarded.token({ scope }), 'GET', asked);
    expect([status, text], scope).toEqual([403, expect.stringContaining(missing)]);
  }
  const all = await guarded.token({ scope: `${scopes[1]} system/Device.r` });
  expect(await status(all, 'GET', asked)).toBe(200);
  const known = await guarded.token({ scope: 'openid' });
  expect(await status(known, 'GET', '/fhir/CodeSystem/chest-drain-flag')).toBe(200);
  expect(await status(null, 'GET', '/fhir/CodeSystem/chest-drain-flag')).toBe(401);
});

test('a client of one patient finds and includes units and Provenances of no other', async () => {
  const scope = ['Observation', 'Device', 'Provenance'].map((type) => `patient/${type}.rs`).join(' ');
  const token = await guarded.token({ scope, patient: '1' });
  const idsIn = async (who: string, path: string) => {
    const { text } = await guarded.send(who, 'GET', path);
    return (JSON.parse(text).entry ?? []).map(
      (each: { resource: { id: string } }) => each.resource.id,
    ) as string[];
  };
  for (const path of [
    '/fhir/Device?_count=1000',
    '/fhir/Provenance?_count=1000',
    '/fhir/Observation?_count=1000&_revinclude=Provenance:target&_include=Observation:device',
  ]) {
    const found = await idsIn(token, path);
    expect(
      found.some((each) => each.includes(mine)),
      path,
    ).toBe(true);
    expect(
      found.some((each) => each.includes(other)),
      path,
    ).toBe(false);
    expect(
      (await idsIn(full, path)).some((each) => each.includes(other)),
      path,
    ).toBe(true);
  }
  const [theirs] = (await idsIn(full, '/fhir/Provenance?patient=2')).slice(-1);
  expect(await status(token, 'GET', `/fhir/Provenance/${theirs}`)).toBe(403);
});

describe('a client that is confined to one patient', () => {
  const tokens = async () => [
    await guarded.token({ scope: 'patient/Observation.crus', patient: '1' }),
    guarded.key('system/Observation.crus', { patient: { reference: 'Patient/1' }, drain: null }),
    guarded.key('system/Observation.crus', { patient: null, drain: mine }),
  ];

  test('reaches its own drain and no other, by id', async () => {
    const found = JSON.parse(
      (await guarded.send(full, 'GET', '/fhir/Observation?patient=2&code=level')).text,
    );
    const theirs = found.entry[0].resource.id as string;
    for (const token of await tokens()) {
      const paths = Object.keys(guarded.service.document.paths).filter((path) => path.includes('{drain}'));
      for (const path of paths.filter((each) => !each.includes('{delivery}'))) {
        if (!('get' in (guarded.service.document.paths[path] ?? {}))) continue;
        expect(await status(token, 'GET', path.replace('{drain}', other)), path).toBe(403);
        expect(await status(token, 'GET', path.replace('{drain}', 'nowhere')), path).toBe(403);
        expect(await status(token, 'GET', path.replace('{drain}', mine)), path).not.toBe(403);
      }
      for (const path of [
        `/fhir/Observation/${theirs}`,
        `/fhir/Observation/${theirs}/_history`,
        `/fhir/Observation/${theirs}/_history/1`,
      ])
        expect(await status(token, 'GET', path), path).toBe(403);
      expect(await status(token, 'GET', `/fhir/Observation/${theirs.replace(other, mine)}`)).toBe(404);
    }
  });

  test('finds nothing of another patient, whatever it asks', async () => {
    const [token = ''] = await tokens();
    const search = async (query: string) =>
      JSON.parse((await guarded.send(token, 'GET', `/fhir/Observation${query}`)).text);
    expect((await search('?patient=2')).total).toBe(0);
    expect((await search('?subject=Patient/2,Patient/1&code=level&_summary=count')).total).toBeGreaterThan(0);
    const all = await search('?_count=5');
    const subjects = new Set<string>();
    for (let page = all; ; ) {
      for (const { resource } of page.entry) subjects.add(resource.subject.reference);
      const next = page.link.find(({ relation }: { relation: string }) => relation === 'next')?.url as
        | string
        | undefined;
      if (next === undefined) break;
      page = await search(next.slice(next.indexOf('?')));
    }
    expect([...subjects]).toEqual(['Patient/1']);
    // A link that another client was given shows no more than this one may see.
    const foreign = JSON.parse(
      (await guarded.send(full, 'GET', '/fhir/Observation?patient=2&_count=1')).text,
    );
    const link = foreign.link.find(({ relation }: { relation: string }) => relation === 'next').url as string;
    expect((await search(link.slice(link.indexOf('?')))).entry).toBeUndefined();
    expect(
      JSON.parse((await guarded.send(token, 'GET', '/fhir/Observation/$lastn?patient=2&code=level')).text)
        .total,
    ).toBe(0);
    const form = { 'content-type': 'application/x-www-form-urlencoded', authorization: `Bearer ${token}` };
    const posted = await guarded.service.send('POST', '/fhir/Observation/_search', 'patient=2', form);
    expect(JSON.parse(posted.text).total).toBe(0);
    for (const path of ['/v1/drains', '/v1/advisories', '/v1/overdue', '/fhir/Observation/_history'])
      expect(await status(token, 'GET', path), path).toBe(403);
  });

  test('charts on no other drain, by any door', async () => {
    for (const token of await tokens()) {
      const bad = { drain: other, ...level(`x-${token.slice(-9)}`, '10:00', 60) };
      const { drain: _drain, ...body } = bad;
      expect(await status(token, 'POST', `/v1/drains/${other}/entries`, body)).toBe(403);
      const batch = await guarded.send(token, 'POST', '/v1/entries', { entries: [bad, { together: [bad] }] });
      expect(JSON.parse(batch.text).outcomes.map((each: { status: number }) => each.status)).toEqual([
        403, 403,
      ]);
      const lines = await guarded.service.send('POST', '/v1/entries/lines', JSON.stringify(bad), {
        'content-type': 'application/x-ndjson',
        authorization: `Bearer ${token}`,
      });
      expect(JSON.parse(lines.text.split('\n')[0] ?? '').status).toBe(403);
      const sent = raw.level(`y-${token.slice(-9)}`, '10:00', 60, {
        subject: { reference: 'Patient/2' },
        focus: [{ identifier: id('other') }],
      });
      expect(await status(token, 'POST', '/fhir/Observation', sent)).toBe(403);
      expect(await status(token, 'POST', '/fhir', raw.bundleOf('transaction', raw.create(sent)))).toBe(403);
    }
    const [token = ''] = await tokens();
    const strange = { ...placement('strange', '08:00', { patient: { reference: 'Patient/2' } }) };
    expect(await status(token, 'POST', '/v1/drains', strange)).toBe(403);
    const relink = entry('relink', 'drain-updated', '11:00', { patient: { reference: 'Patient/2' } });
    expect(await status(token, 'POST', `/v1/drains/${mine}/entries`, relink)).toBe(403);
    expect(await status(token, 'POST', `/v1/drains/${mine}/entries`, level('mine-2', '11:30', 90))).toBe(201);
  });
});

test('where tokens are to be had', async () => {
  const { text } = await guarded.send(null, 'GET', '/fhir/.well-known/smart-configuration');
  const capability = JSON.parse((await guarded.send(null, 'GET', '/fhir/metadata')).text);
  expect(problemsOf(capability)).toEqual([]);
  expect(capability.rest[0].security.service[0].coding[0].code).toBe('SMART-on-FHIR');
  expect(JSON.parse(text)).toMatchObject({
    token_endpoint: `${ISSUER}/token`,
    grant_types_supported: ['client_credentials'],
  });
});
