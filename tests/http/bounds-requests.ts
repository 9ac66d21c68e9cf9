/** Requests to every route of the API reference, with the names of another patient's things in every place that takes one. */
import { message as hl7, levelObx } from '../hl7v2/messages.ts';
import type { OpenApi } from './answer-check.ts';
import { type Names, TARGET } from './bounds-ward.ts';
import { assigned, byDevice, closed, reassigned } from './device-ward.ts';
import { bundleOf, concept, create, level as observed } from './fhir-messages.ts';
import { at, content, corrected, entry, id, level, NURSE, placement, voided } from './messages.ts';

export interface Request {
  readonly method: string;
  readonly path: string;
  readonly type?: string;
  readonly body?: string;
  readonly headers?: Readonly<Record<string, string>>;
}

/** Everything that can be asked of the routes of the document with these names. @param key makes what is new in it */
export function requestsWith(document: OpenApi, mine: string, names: Names, key: string): readonly Request[] {
  return Object.entries(document.paths).flatMap(([template, operations]) =>
    Object.entries(operations).flatMap(([method, operation]) => {
      const { parameters = [], requestBody } = operation as unknown as Operation;
      const paths = pathsOf(template, mine, names);
      const bodies = Object.keys(requestBody?.content ?? {}).flatMap((type) =>
        bodiesOf(type, template, names, `${key}-${template.length}-${method}`).map((each) => ({
          type,
          ...each,
        })),
      );
      const asked = parameters.filter((each) => each.in === 'query').map((each) => each.name);
      return paths.flatMap((path) => [
        ...(bodies.length === 0 ? [{}] : bodies).map((body) => ({
          method: method.toUpperCase(),
          path,
          ...body,
        })),
        ...asked.flatMap((name) =>
          wordsOf(names).map((word) => ({
            method: method.toUpperCase(),
            path: `${path}?${name}=${encodeURIComponent(word)}`,
            ...(bodies[0] ?? {}),
          })),
        ),
      ]);
    }),
  );
}

interface Operation {
  readonly parameters?: readonly { readonly in: string; readonly name: string }[];
  readonly requestBody?: { readonly content: object };
}

const pathsOf = (template: string, mine: string, names: Names): readonly string[] => {
  const type = template.split('/')[2] ?? '';
  const filled = template
    .replace('{device}', names.device)
    .replace('{id}', names.resources[type] ?? names.drain)
    .replace('{version}', '1')
    .replace('{target}', TARGET.name)
    .replace('{file}', template.startsWith('/page') ? 'main.js' : names.paths.file)
    .replace(/\{(delivery|job|sequence)\}/, (_all, name: 'delivery') => names.paths[name]);
  return filled.includes('{drain}')
    ? [filled.replace('{drain}', names.drain), filled.replace('{drain}', mine)]
    : [filled];
};

/** What a parameter of a search may hold. */
const wordsOf = ({ patient, monitor, drain, resources }: Names): readonly string[] => [
  `Patient/${patient}`,
  `urn:example:ward|${monitor}`,
  drain,
  `Observation/${resources.Observation}`,
];

type Body = Pick<Request, 'body' | 'headers'>;

function bodiesOf(type: string, template: string, names: Names, key: string): readonly Body[] {
  if (type === 'application/x-www-form-urlencoded')
    return [`patient=Patient/${names.patient}`, `_id=${names.resources[template.split('/')[2] ?? '']}`].map(
      (body) => ({ body }),
    );
  if (type.includes('hl7')) return hl7Bodies(names, key).map((body) => ({ body }));
  const native = nativeBodies(names, key);
  if (type === 'application/x-ndjson')
    return [{ body: native.map((each) => JSON.stringify({ drain: names.drain, ...each })).join('\n') }];
  if (template.startsWith('/fhir')) return fhirBodies(template, names, key);
  if (template === '/v1/entries')
    return [
      { body: JSON.stringify({ entries: native.map((each) => ({ drain: names.drain, ...each })) }) },
      { body: JSON.stringify({ entries: native }) },
    ];
  return native.map((each) => ({ body: JSON.stringify(each) }));
}

function nativeBodies(
  { patient, drain, monitor, reading, assignment }: Names,
  key: string,
): readonly object[] {
  const device = id(monitor);
  const linked = { patient: { reference: `Patient/${patient}` } };
  const own = (n: number) => `${key}-${n}`;
  return [
    level(own(1), '10:30', 60),
    corrected(own(2), reading, content(level('', '10:30', 61))),
    voided(own(3), reading),
    entry(own(4), 'drain-updated', '10:30', linked),
    placement(own(5), '08:00', linked),
    byDevice(own(6), '10:30', 62, { device }),
    byDevice(own(7), '10:31', 63, { device, author: NURSE }),
    assigned(own(8), drain, '03:00', '03:30'),
    closed(own(9), assignment, '11:00'),
    reassigned(own(10), assignment, drain, '08:00'),
    { author: NURSE, reason: 'asked for' },
  ];
}

const hl7Bodies = ({ placed, monitor, patient }: Names, key: string): readonly string[] => [
  hl7({ drain: placed, controlId: `${key}-1`, order: `${key}-1`, patient }, levelObx('60')),
  hl7({ drain: '', controlId: `${key}-2`, order: monitor, patient }, levelObx('60', 'C')),
];

function fhirBodies(
  template: string,
  { patient, placed, monitor, resources }: Names,
  key: string,
): readonly Body[] {
  const subject = { reference: `Patient/${patient}` };
  const by = (value: string) => [{ identifier: id(value) }];
  const own = (n: number) => `${key}-${n}`;
  const readings = [
    observed(own(1), '10:30', 60, { subject, focus: by(placed) }),
    observed(own(2), '10:30', 60, { subject, focus: by('my-drain') }),
    observed(own(3), '10:30', 60, { subject: { reference: 'Patient/mine' }, focus: by(placed) }),
    observed(own(4), '10:30', 60, { subject, focus: null, device: { identifier: id(monitor) } }),
  ];
  const use = {
    ...{ resourceType: 'DeviceUseStatement', identifier: [id(own(5))], status: 'completed', subject },
    ...{ device: { identifier: id(monitor) }, derivedFrom: by(placed) },
    timingPeriod: { start: at('02:00'), end: at('02:30') },
  };
  const device = {
    ...{ resourceType: 'Device', identifier: [id(monitor)] },
    type: concept('monitor', 'http://example.org/drainledger/CodeSystem/chest-drain-unit'),
  };
  const reads = Object.entries(resources).map(([type, each]) => ({
    request: { method: 'GET', url: `${type}/${each}` },
  }));
  const type = template.split('/')[2] ?? '';
  const sent = [...readings, use, { ...use, derivedFrom: by('my-drain') }, device].map((each) =>
    template.includes('{id}') ? { ...each, id: resources[type] } : each,
  );
  const named = sent.filter((each) => (each as { resourceType: string }).resourceType === type);
  const bodies =
    template === '/fhir'
      ? [
          ...readings.map((each) => bundleOf('transaction', create(each))),
          bundleOf('batch', ...readings.map((each) => create(each)), ...reads),
        ]
      : named.length > 0
        ? named
        : [
            {
              resourceType: 'Parameters',
              parameter: [{ name: 'patient', valueString: `Patient/${patient}` }],
            },
          ];
  return bodies.map((each) => ({ body: JSON.stringify(each), headers: { 'if-match': 'W/"1"' } }));
}
