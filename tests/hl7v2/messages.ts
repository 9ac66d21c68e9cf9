/** HL7 v2 messages of an invented ward, in the shape of IHE PCD-01 (HL7 v2.6, ORU^R01^ORU_R01). */
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';

export const MAPPING = {
  version: 'ward-1',
  system: 'urn:example:gateway',
  drain: { field: 'PV1-19', system: 'urn:example:ward' },
  devices: 'urn:example:devices',
  staff: 'urn:example:staff',
  observations: [
    { code: 'LVL', system: '99WARD', reads: 'level' },
    { code: 'SWING', system: '99WARD', reads: 'tidaling' },
    { code: '8867-4', system: 'LN', reads: null },
  ],
  units: [{ code: 'ml', system: 'L', ucum: 'mL' }],
  values: { tidaling: { Y: 'present', N: 'absent' } },
};

export function writeMapping(folder: string, mapping: object = MAPPING): string {
  const file = join(folder, 'hl7v2.json');
  writeFileSync(file, JSON.stringify(mapping));
  return file;
}

export interface Said {
  readonly controlId?: string;
  readonly drain?: string;
  readonly order?: string;
  /** DTM. */
  readonly at?: string;
  /** MSH-15 to MSH-18. */
  readonly wants?: readonly [string, string];
  readonly charset?: string;
  readonly patient?: string;
}

/** An OBX by what differs from one to the next: OBX-2 to OBX-6, OBX-11. */
export const obx = (type: string, code: string, value: string, unit = '', status = 'F', flags = ''): string =>
  `${type}|${code}|1.1.1.1|${value}|${unit}||${flags}|||${status}`;
export const levelObx = (ml: string, status = 'F'): string =>
  obx('NM', '157740^MDC_VOL_DRAIN_BAG^MDC', ml, '263762^MDC_DIM_MILLI_L^MDC^mL^mL^UCUM', status);

export function message(said: Said, ...results: readonly string[]): string {
  const { controlId = 'm1', drain = 'drain-1', order = 'o1', at = '20250301090000+0000' } = said;
  const [accept, application] = said.wants ?? ['', ''];
  const segments = [
    `MSH|^~\\&|GATEWAY^0012210000000001^EUI-64|WARD|DRAINS|WARD|20250301090001+0000||ORU^R01^ORU_R01|${controlId}|P|2.6|||${accept}|${application}||${said.charset ?? ''}|||IHE_PCD_001^IHE PCD^1.3.6.1.4.1.19376.1.6.1.1.1^ISO`,
    `PID|||${said.patient ?? 'p1'}^^^HOSP^MR||Invented^Canary`,
    `PV1||I|WARD^^BED-7||||||||||||||||${drain}`,
    `OBR|1||${order}^GATEWAY^0012210000000001^EUI-64|182777000^monitoring of patient^SCT|||${at}`,
    ...results.map((result, n) => `OBX|${n + 1}|${result}|||${at}||||7^^0012210000000007^EUI-64`),
  ];
  return `${segments.join('\r')}\r`;
}

export interface Ack {
  readonly code: string | undefined;
  readonly controlId: string | undefined;
  readonly errors: readonly {
    readonly place: string | undefined;
    readonly condition: string | undefined;
    readonly text: string | undefined;
  }[];
}

/** By hand, so that nothing of the service judges its own answers. */
export function readAck(text: string): Ack {
  const segments = text.split('\r').map((each) => each.split('|'));
  const msa = segments.find(([name]) => name === 'MSA');
  const errors = segments.filter(([name]) => name === 'ERR');
  return {
    code: msa?.[1],
    controlId: msa?.[2],
    errors: errors.map((err) => ({ place: err[2], condition: err[3]?.split('^')[0], text: err[8] })),
  };
}
