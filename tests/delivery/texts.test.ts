/** What of an issued text is changed for a target, and what never is. */
import { describe, expect, it } from 'vitest';
import { inOrder, subjectsIn, withSubjects, withWords } from '../../src/delivery/prepare.ts';
import { type Capability, wayOf } from '../../src/delivery/probe.ts';
import { resourceOf, withReferences, withRemoteId } from '../../src/delivery/resource.ts';
import { isSame } from '../../src/delivery/same.ts';
import { bundleOf } from '../../src/delivery/send-bundle.ts';
import { targetOf } from './target.ts';

const META = '"meta":{"versionId":"3","lastUpdated":"2026-01-01T00:00:00Z"';
const text = (rest: string, meta = `${META}}`) =>
  `{"resourceType":"Observation","id":"level.d.e",${meta},"subject":{"reference":"Patient/p.1"},"valueQuantity":{"value":2.0}${rest}}`;

const SYSTEMS = { fact: 'urn:facts', unit: 'urn:units' };

describe('an issued text', () => {
  it('is known by its type, id and version, and by what of ours it refers to', () => {
    const refers = text(',"derivedFrom":[{"reference":"Observation/level.d.a"},{"reference":"Device/x"}]');
    expect(resourceOf(refers)).toMatchObject({
      name: 'Observation/level.d.e',
      version: 3,
      references: ['Patient/p.1', 'Observation/level.d.a'],
    });
    expect(() => resourceOf('{"id":"x"}')).toThrow('type and id');
  });

  it('keeps its digits under an id of the target, and leaves version and time to it', () => {
    const withProfile = text('', `${META},"profile":["x"]}`);
    expect(withRemoteId(resourceOf(text('')), 'their-1')).toBe(
      '{"resourceType":"Observation","id":"their-1","subject":{"reference":"Patient/p.1"},"valueQuantity":{"value":2.0}}',
    );
    expect(withRemoteId(resourceOf(withProfile), null)).toBe(
      '{"resourceType":"Observation","meta":{"profile":["x"]},"subject":{"reference":"Patient/p.1"},"valueQuantity":{"value":2.0}}',
    );
  });

  it('refers to what the target has, by what it calls it; to other facts by identifier; to what is not ours as it was', () => {
    const refers = resourceOf(
      text(
        ',"derivedFrom":[{"reference":"Observation/level.d.a"},{"reference":"Observation/level.d.b"}],"note":[{"text":"\\"reference\\":\\"Observation/level.d.a\\""}]',
      ),
    );
    const written = withReferences(
      refers,
      (name) => (name.endsWith('.a') ? 'Observation/77' : null),
      SYSTEMS,
    );
    expect(written).toContain(
      '[{"reference":"Observation/77"},{"type":"Observation","identifier":{"system":"urn:facts","value":"level.d.b"}}]',
    );
    expect(written).toContain('"subject":{"reference":"Patient/p.1"}');
    expect(written).toContain('\\"reference\\":\\"Observation/level.d.a\\"');
    expect(withReferences(refers, (name) => name, SYSTEMS)).toBe(refers.text);
    const unit = resourceOf(text(',"device":{"reference":"Device/collection-unit.d.e"}'));
    expect(withReferences(unit, () => null, SYSTEMS)).toContain(
      '"device":{"type":"Device","identifier":{"system":"urn:units","value":"collection-unit.d.e"}}',
    );
  });

  it('is sent after what it refers to', () => {
    const one = (id: string, ...to: string[]) =>
      resourceOf(
        `{"resourceType":"Observation","id":"${id}","hasMember":[${to.map((name) => `{"reference":"Observation/${name}"}`)}]}`,
      );
    const ordered = inOrder([
      one('reading.d.e', 'level.d.e', 'rate.d.e'),
      one('rate.d.e', 'level.d.e'),
      one('level.d.e', 'level.d.a'),
    ]);
    expect(ordered.map(({ id }) => id)).toEqual(['level.d.e', 'rate.d.e', 'reading.d.e']);
  });

  it('names its version in a Bundle where the target told one', () => {
    const resource = resourceOf(text(''));
    const known = {
      resource: resource.name,
      version: 2,
      remote: resource.name,
      etag: 'W/"5"',
      acceptedMs: null,
    };
    expect(bundleOf('transaction', [{ resource, text: resource.text, known, uncertain: false }])).toBe(
      `{"resourceType":"Bundle","type":"transaction","entry":[{"resource":${resource.text},"request":{"method":"PUT","url":"Observation/level.d.e","ifMatch":"W/\\"5\\""}}]}`,
    );
  });
});

describe('whether a target holds it', () => {
  it.each([
    [
      'the same in another order, with numbers in its own way',
      '{"subject":{"reference":"Patient/p.1"},"valueQuantity":{"value":2},"id":"x"}',
      true,
    ],
    [
      'more than was said',
      '{"subject":{"reference":"Patient/p.1","display":"P"},"valueQuantity":{"value":2.00},"text":{},"resourceType":"Observation"}',
      true,
    ],
    ['another value', '{"subject":{"reference":"Patient/p.1"},"valueQuantity":{"value":2.1}}', false],
    ['another patient', '{"subject":{"reference":"Patient/p.2"},"valueQuantity":{"value":2}}', false],
    ['less than was said', '{"subject":{"reference":"Patient/p.1"}}', false],
    ['no resource', '<html>', false],
  ])('%s', (_what, theirs, same) => {
    const ours = '{"id":"level.d.e","subject":{"reference":"Patient/p.1"},"valueQuantity":{"value":2.0}}';
    expect(isSame(ours, theirs)).toBe(same);
  });
});

describe('a patient who is charted by identifier', () => {
  const byIdentifier =
    '{"resourceType":"Observation","id":"level.d.e","subject":{"identifier":{"system":"urn:mrn","value":"1,0|2"}},"encounter":{"identifier":{"system":"urn:visit","value":"9"}},"valueQuantity":{"value":2.0}}';
  const NOBODY = { patient: null, encounter: null };

  it('is looked for where the target is said to need it, and nowhere else', () => {
    expect(subjectsIn(byIdentifier, targetOf({ patient: 'look-up' }))).toEqual({
      patient: { system: 'urn:mrn', value: '1,0|2' },
      encounter: null,
    });
    expect(subjectsIn(byIdentifier, targetOf({}))).toEqual(NOBODY);
    expect(subjectsIn(text(''), targetOf({ patient: 'look-up' }))).toEqual(NOBODY);
  });

  it('is named by what was found, or by a search that the target does, with the digits as they were', () => {
    const found = { patient: 'Patient/7', encounter: null };
    expect(withSubjects(byIdentifier, targetOf({ patient: 'look-up', encounter: 'omit' }), found)).toBe(
      '{"resourceType":"Observation","id":"level.d.e","subject":{"reference":"Patient/7","identifier":{"system":"urn:mrn","value":"1,0|2"}},"valueQuantity":{"value":2.0}}',
    );
    expect(withSubjects(byIdentifier, targetOf({ patient: 'conditional' }), NOBODY)).toContain(
      '"subject":{"reference":"Patient?identifier=urn%3Amrn%7C1%5C%2C0%5C%7C2"}',
    );
    expect(withSubjects(byIdentifier, targetOf({}), NOBODY)).toBe(byIdentifier);
  });
});

describe('a fact that a target knows by other words', () => {
  it('goes in those, with the text of its code and every digit', () => {
    const ours = resourceOf(
      '{"resourceType":"Observation","id":"level.d.e","category":[{"coding":[{"code":"exam"}]}],"code":{"coding":[{"code":"level"}],"text":"Level"},"valueQuantity":{"value":2.0}}',
    );
    const flowsheet = { system: 'urn:example:flowsheet', code: '4711' };
    const survey = { system: 'urn:example:category', code: 'survey', display: 'Survey' };
    const words = new Map([['level', { codings: [flowsheet], categories: [survey] }] as const]);
    expect(withWords(ours, targetOf({ words }))).toBe(
      '{"resourceType":"Observation","id":"level.d.e","category":[{"coding":[{"system":"urn:example:category","code":"survey","display":"Survey"}]}],"code":{"coding":[{"system":"urn:example:flowsheet","code":"4711"}],"text":"Level"},"valueQuantity":{"value":2.0}}',
    );
    expect(withWords({ ...ours, id: 'net-drainage.d.e' }, targetOf({ words }))).toBe(ours.text);
  });
});

describe('the way to a target that is asked what it can do', () => {
  const says = (resource: object, system: readonly string[] = []): Capability => ({
    resourceType: 'CapabilityStatement',
    fhirVersion: '4.0.1',
    rest: [
      {
        mode: 'server',
        interaction: system.map((code) => ({ code })),
        resource: [{ type: 'Observation', ...resource }],
      },
    ],
  });
  const can = (...codes: string[]) => ({ interaction: codes.map((code) => ({ code })) });

  it.each<[string, Capability, object]>([
    [
      'all of it',
      says({ ...can('create', 'update'), updateCreate: true }, ['transaction', 'batch']),
      { mode: 'transaction' },
    ],
    ['batches', says({ ...can('update'), updateCreate: true }, ['batch']), { mode: 'batch' }],
    ['our ids', says({ ...can('update'), updateCreate: true }), { mode: 'put' }],
    [
      'its ids',
      says({ ...can('create', 'update'), conditionalCreate: true }, ['transaction']),
      { mode: 'create', conditionalCreate: true },
    ],
    ['creates without a condition', says(can('create')), { mode: 'create', conditionalCreate: false }],
    ['reading alone', says(can('read')), { why: 'it takes no Observations: neither create nor update' }],
    [
      'another FHIR',
      { ...says(can('create')), fhirVersion: '3.0.2' },
      { why: 'it speaks FHIR 3.0.2, not R4' },
    ],
  ])('%s', (_what, capability, expected) => {
    expect(wayOf(capability, targetOf({ mode: 'probe' }))).toMatchObject(expected);
  });
});
