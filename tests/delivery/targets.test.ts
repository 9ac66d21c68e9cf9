/** The file of targets: what it takes, and everything that is wrong with it at once. */
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { readConfig } from '../../src/config.ts';
import { ConfigError } from '../../src/configuration/ledger.ts';
import { readTargets, targetAt } from '../../src/configuration/targets.ts';

let folder: string;
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'targets-test-'));
});
afterEach(() => rmSync(folder, { recursive: true }));

const OPEN = { name: 'ehr', base_url: 'https://ehr.example/fhir', auth: { type: 'none' } };

function file(...targets: readonly object[]): string {
  const path = join(folder, 'targets.json');
  writeFileSync(path, JSON.stringify({ targets }));
  return path;
}
function faults(...targets: readonly object[]): string {
  try {
    readTargets(file(...targets));
  } catch (error) {
    return error instanceof Error ? error.message : String(error);
  }
  return '';
}

describe('a file of targets', () => {
  it('gives each target, with what is not said by default', () => {
    writeFileSync(join(folder, 'key.pem'), '');
    const [first, second] = readTargets(
      file(
        {
          ...OPEN,
          base_url: 'https://ehr.example/fhir/',
          mode: 'create',
          facts: ['net-drainage'],
          ceiling_s: 60,
        },
        {
          name: 'warehouse',
          base_url: 'https://other.example/r4',
          auth: { type: 'smart', client_id: 'us', key_file: 'key.pem' },
        },
      ),
    );
    expect(first?.target).toMatchObject({
      name: 'ehr',
      baseUrl: 'https://ehr.example/fhir',
      mode: 'create',
      facts: new Set(['net-drainage']),
      types: null,
      timeoutMs: 30_000,
      requestCeilingMs: 60_000,
      mostAtOnce: 8,
    });
    expect(second).toMatchObject({
      target: { mode: 'probe', facts: null, requestCeilingMs: 90_000 },
      auth: {
        type: 'smart',
        clientId: 'us',
        keyFile: join(folder, 'key.pem'),
        scope: 'system/Observation.crus system/Provenance.crus system/Device.crus',
      },
    });
  });

  it.each<[object, string]>([
    [{ resource_types: ['Observation'] }, 'system/Observation.crus'],
    [
      { resource_types: ['Observation'], patient: 'look-up', encounter: 'look-up' },
      'system/Observation.crus system/Patient.rs system/Encounter.rs',
    ],
    [
      { profile: 'pocd', encounter: 'omit' },
      'system/Observation.crus system/Provenance.crus system/Device.crus system/DeviceMetric.crus',
    ],
  ])('asks for a token for what may be sent and asked: %j', (more, scope) => {
    writeFileSync(join(folder, 'key.pem'), '');
    const auth = { type: 'smart', client_id: 'us', key_file: 'key.pem' };
    const [target] = readTargets(file({ ...OPEN, base_url: 'https://ehr.example/fhir', auth, ...more }));
    expect(target?.auth).toMatchObject({ scope });
  });

  it.each<[string, object, string]>([
    ['no authorization off this machine', { auth: undefined }, '/targets/0/auth is missing'],
    [
      'a token in the clear',
      { base_url: 'http://ehr.example', auth: { type: 'bearer', token_env: 'T' } },
      '/base_url must be https',
    ],
    ['a secret in the file', { auth: { type: 'bearer', token: 'abc' } }, 'unknown fields: token'],
    ['two places for a token', { auth: { type: 'bearer', token_env: 'T', token_file: 'f' } }, 'and not both'],
    ['a file that is not there', { auth: { type: 'bearer', token_file: 'gone' } }, 'there is no file'],
    ['a password in a URL', { base_url: 'https://u:p@ehr.example/fhir' }, 'no query, fragment or password'],
    ['another protocol', { base_url: 'ftp://ehr.example' }, '/targets/0/base_url is no http(s) URL'],
    ['a fact that is not issued', { facts: ['net-drainage', 'blood'] }, '/targets/0/facts/1 names no fact'],
    [
      'conditional references outside a transaction',
      { patient: 'conditional', mode: 'put' },
      'needs mode transaction',
    ],
    [
      'a ceiling under the time-out',
      { timeout_s: 50, ceiling_s: 40 },
      '/timeout_s must be at most ceiling_s',
    ],
    ['a certificate without its key', { tls: { cert_file: 'c.pem' } }, 'needs cert_file and key_file'],
    ['words for a fact that is not issued', { words: { blood: {} } }, '/targets/0/words'],
    [
      'a code without its system',
      { words: { level: { codings: [{ code: '1' }] } } },
      '/words/level/codings/0/system',
    ],
    [
      'a profile without the types that it needs',
      { profile: 'pocd', resource_types: ['Observation', 'Device'] },
      '/resource_types: profile pocd needs DeviceMetric among them',
    ],
    ['a profile that is none of ours', { profile: 'phd' }, '/targets/0/profile'],
    ['an unknown field', { requests: 3 }, 'unknown fields: requests'],
    ['a name that no label takes', { name: 'The EHR' }, '/targets/0/name is no name'],
  ])('refuses %s', (_what, change, words) => {
    expect(faults(OPEN)).toBe('');
    expect(faults({ ...OPEN, ...change })).toContain(words);
  });

  it('tells all that is wrong at once, in all targets', () => {
    const told = faults({ ...OPEN, mode: 'fax' }, { ...OPEN, timeout_s: -1 });
    expect(told).toContain('/targets/0/mode');
    expect(told).toContain('/targets/1/timeout_s');
    expect(faults(OPEN, OPEN, { ...OPEN, name: 'b', timeout_s: 99 })).toMatch(
      /targets\/1\/name is used twice.*targets\/2\/timeout_s/,
    );
  });
});

describe('in the environment', () => {
  const env = {
    DRAINLEDGER_DATABASE: 'x.db',
    DRAINLEDGER_ORIGIN: 'x.example',
    DRAINLEDGER_DEVELOPMENT: 'yes',
  };

  it('what is wrong with targets is told with all else that is wrong', () => {
    const wrong = { DRAINLEDGER_TARGETS: file({ ...OPEN, mode: 'fax' }), DRAINLEDGER_PORT: 'x' };
    expect(() => readConfig(wrong)).toThrow(/DRAINLEDGER_PORT[\s\S]*targets\/0\/mode/);
  });

  it('one target on this machine needs no file', () => {
    const url = 'http://127.0.0.1:8090/fhir/';
    expect(readConfig({ ...env, DRAINLEDGER_EHR_URL: url }).targets).toEqual([
      targetAt('http://127.0.0.1:8090/fhir', 90),
    ]);
    expect(readConfig(env).targets).toEqual([]);
  });

  it.each<[string, Record<string, string>, string]>([
    [
      'one elsewhere',
      { DRAINLEDGER_EHR_URL: 'https://ehr.example/fhir' },
      'DRAINLEDGER_EHR_URL is not on this machine',
    ],
    [
      'both at once',
      { DRAINLEDGER_EHR_URL: 'http://localhost/fhir', DRAINLEDGER_TARGETS: 't.json' },
      'stands beside DRAINLEDGER_TARGETS',
    ],
    ...['0', '3600.1'].map((seconds): [string, Record<string, string>, string] => [
      `a ceiling of ${seconds} s`,
      { DRAINLEDGER_EHR_URL: 'http://localhost/fhir', DRAINLEDGER_EHR_CEILING_S: seconds },
      `DRAINLEDGER_EHR_CEILING_S '${seconds}' must be more than 0 and at most 3600 s`,
    ]),
    [
      'a file that is none',
      { DRAINLEDGER_TARGETS: '/no/such.json' },
      'DRAINLEDGER_TARGETS /no/such.json: ENOENT',
    ],
  ])('refuses %s', (_what, more, words) => {
    expect(() => readConfig({ ...env, ...more })).toThrow(ConfigError);
    expect(() => readConfig({ ...env, ...more })).toThrow(words);
  });
});
