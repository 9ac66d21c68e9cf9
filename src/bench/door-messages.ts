/** The same bedside readings as each door wants them, so that its rate may stand beside that of the JSON route. */
import { type Message, reading } from './messages.ts';

/** So many fit into one chamber: neither CSV nor HL7 v2 tells of a unit change. */
export const READINGS_OF_A_DRAIN = 190;

export const RUN = 'doors';
const SYSTEM = `urn:example:bench:${RUN}`;
const DEVICES = 'urn:example:bench:device';

/** Readings of all drains, one of each in turn. @param ids of the drains, in the order in which they were placed */
export function* readingsOf(ids: readonly string[], count: number): Generator<Charted> {
  for (let n = 0; n < count; n += 1) {
    const at = n % ids.length;
    const message = reading(RUN, at, ids[at] ?? '', 1 + Math.floor(n / ids.length));
    yield { placed: `placed-${at}`, message, said: JSON.parse(message.body) as Said };
  }
}

export interface Charted {
  /** What the placement of its drain is called. */
  readonly placed: string;
  /** As the JSON route has it. */
  readonly message: Message;
  readonly said: Said;
}

interface Said {
  readonly identifier: { readonly value: string };
  readonly author: { readonly identifier: { readonly value: string } };
  readonly effective_at: string;
  readonly level_ml: number;
  readonly suction: {
    readonly source: string;
    readonly column_cmh2o: number;
    readonly ordered_cmh2o: number;
    readonly bubbling: string;
  };
  readonly seal: { readonly level_cmh2o: number };
  readonly tidaling: string;
  readonly air_leak: { readonly grade: number; readonly phase: string };
}

interface Fact {
  /** Here. */
  readonly code: string;
  readonly of: (said: Said) => string | number;
  /** In UCUM; empty where it has none. */
  readonly unit: string;
  /** In HL7 v2. */
  readonly type: 'NM' | 'CWE';
}

const amount = (code: string, unit: string, of: Fact['of']): Fact => ({ code, of, unit, type: 'NM' });
const word = (code: string, of: Fact['of']): Fact => ({ code, of, unit: '', type: 'CWE' });

const FACTS: readonly Fact[] = [
  amount('level', 'mL', (said) => said.level_ml),
  word('suction-source', (said) => said.suction.source),
  amount('suction-column', 'cm[H2O]', (said) => said.suction.column_cmh2o),
  amount('ordered-suction', 'cm[H2O]', (said) => said.suction.ordered_cmh2o),
  word('suction-bubbling', (said) => said.suction.bubbling),
  amount('seal-level', 'cm[H2O]', (said) => said.seal.level_cmh2o),
  word('tidaling', (said) => said.tidaling),
  amount('air-leak-grade', '', (said) => said.air_leak.grade),
  word('air-leak-phase', (said) => said.air_leak.phase),
];

export const lineOf = ({ placed, said }: Charted): string =>
  `${JSON.stringify({ drain: { system: SYSTEM, value: placed }, ...said })}\n`;

const COLUMNS = ['reading', 'drain', 'author', 'time', 'item', 'value', 'unit'] as const;
export const CSV_HEADER = `${COLUMNS.join(',')}\n`;
export const CSV_MAPPING = {
  system: SYSTEM,
  key: ['reading'],
  drain: { system: SYSTEM, column: 'drain' },
  author: { type: 'device', system: DEVICES, column: 'author' },
  time: { column: 'time' },
  item: 'item',
  value: 'value',
  unit: 'unit',
  items: Object.fromEntries(FACTS.map(({ code }) => [code, code])),
};

/** A row a fact. */
export function csvOf({ placed, said }: Charted): string {
  const start = `${said.identifier.value},${placed},${said.author.identifier.value},${said.effective_at}`;
  return FACTS.map(({ code, of, unit }) => `${start},${code},${of(said)},${unit}\n`).join('');
}

export const HL7V2_MAPPING = {
  version: 'bench',
  system: SYSTEM,
  drain: { field: 'PV1-19', system: SYSTEM },
  devices: DEVICES,
  staff: 'urn:example:bench:staff',
};

/** A message a reading, an OBX a fact, in the shape of IHE PCD-01. */
export function hl7v2Of({ placed, said }: Charted): string {
  const at = `${said.effective_at.slice(0, 19).replaceAll(/[-:T]/g, '')}+0000`;
  const key = said.identifier.value;
  const segments = [
    `MSH|^~\\&|BENCH|WARD|DRAINS|WARD|${at}||ORU^R01^ORU_R01|${key}|P|2.6`,
    'PID|||p1^^^WARD^MR',
    `PV1||I|||||||||||||||||${placed}`,
    `OBR|1||${key}^BENCH|182777000^monitoring of patient^SCT|||${at}`,
    ...FACTS.map(
      ({ code, of, unit, type }, n) =>
        `OBX|${n + 1}|${type}|${code}^^99DRN|1.1.1.${n + 1}|${of(said)}|${unit === '' ? '' : `${unit}^^UCUM`}|||||F`,
    ),
  ];
  return `${segments.join('\r')}\r`;
}
