/** HL7 v2 over HTTP: what is sent becomes what the native route would have made of it, or is kept. */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { startGuarded } from '../http/access-control.ts';
import { level, placeDrain, setUp, type TestDrain, tell } from '../http/messages.ts';
import { startTestService, type TestService } from '../http/service.ts';
import { levelObx, MAPPING, message, obx, readAck, writeMapping } from './messages.ts';

let folder: string;
let service: TestService;
let drain: TestDrain;

async function start(mapping: object = MAPPING): Promise<void> {
  service = await startTestService({ DRAINLEDGER_HL7V2: writeMapping(folder, mapping) });
  drain = await placeDrain(service, 'drain-1', '08:00', {
    patient: { identifier: { system: 'urn:example:mrn', value: 'p1' } },
  });
  await tell(drain, setUp('up', '08:00', 0));
}

beforeEach(async () => {
  folder = mkdtempSync(join(tmpdir(), 'hl7v2-'));
  await start();
});
afterEach(async () => {
  await service.stop();
  rmSync(folder, { recursive: true });
});

const TYPE = { 'content-type': 'application/hl7-v2' };
async function send(text: string | Buffer) {
  const answer = await service.send('POST', '/v1/hl7v2', text, TYPE);
  return { status: answer.status, text: answer.text, ...readAck(answer.text) };
}
interface Row {
  readonly kind: string;
  readonly interval?: object;
  readonly cumulative?: object;
  readonly charted: { readonly identifier?: object; readonly author?: object };
}
const rowsOf = async ({ drain: name }: TestDrain): Promise<readonly Row[]> =>
  JSON.parse((await service.send('GET', `/v1/drains/${name}/chart`)).text).rows;
/** What the readings of the drain say, by whom and under which key aside. */
const charted = async () =>
  (await rowsOf(drain))
    .filter(({ kind }) => kind === 'reading')
    .map(({ charted: { identifier: _identifier, author: _author, ...said } }) => said);
const unmapped = async () => JSON.parse((await service.send('GET', '/v1/hl7v2/unmapped')).text).unmapped;

describe('what is said', () => {
  test('several OBX of one order and time are one reading, in the units of its fields', async () => {
    const answer = await send(
      message(
        {},
        levelObx('120.50'),
        obx('NM', 'suction-column^^99DRN', '1.96133', 'kPa^^UCUM'),
        obx('CWE', 'SWING^^99WARD', 'Y^yes^99WARD'),
        obx('NM', 'seal-level^^99DRN', '5', '266048^MDC_DIM_CM_H2O^MDC'),
        obx('NM', '8867-4^Heart rate^LN', '80', '/min^^UCUM'),
      ),
    );
    expect(answer).toMatchObject({ status: 200, code: 'AA', controlId: 'm1', errors: [] });
    expect(await charted()).toEqual([
      {
        level_ml: 120.5,
        // 1.96133 kPa is 20 cm H2O by the conventional density of water (UCUM: 98.0665 Pa).
        suction: { column_cmh2o: 20 },
        tidaling: 'present',
        seal: { level_cmh2o: 5 },
        as_sent: [{ field: '/suction/column_cmh2o', value: '1.96133', unit: 'kPa' }],
      },
    ]);
    expect(await drain.ledger()).toContain('"level_ml":120.50');
    const ledger = JSON.parse(await drain.ledger()).entries;
    expect(ledger.at(-1).body).toMatchObject({
      author: { type: 'device', identifier: { system: 'urn:example:devices', value: '7' } },
      effective_at: '2025-03-01T09:00:00+00:00',
      identifier: { system: 'urn:example:gateway' },
    });
    // The order and its results as they were sent; whom they are of is no part of it.
    expect(ledger.at(-1).body.received.resource).toMatch(/^MSH\|.*\rOBR\|.*\rOBX\|1\|.*\r$/s);
    expect(JSON.stringify(ledger)).not.toContain('Canary');
    expect(service.log()).not.toContain('Canary');
  });

  test('becomes what the native route makes of the same, to the derived values', async () => {
    const other = await placeDrain(service, 'drain-2');
    await tell(
      other,
      setUp('up-2', '08:00', 0),
      level('n1', '2025-03-01T09:00:00+00:00', 120),
      level('n2', '2025-03-01T11:00:00+01:00', 180),
    );
    await send(message({}, levelObx('120')));
    await send(message({ controlId: 'm2', order: 'o2', at: '20250301110000+0100' }, levelObx('180')));
    const [native, own] = [await rowsOf(other), await rowsOf(drain)];
    expect(own.map(({ interval }) => interval)).toEqual(native.map(({ interval }) => interval));
    expect(own.map(({ cumulative }) => cumulative)).toEqual(native.map(({ cumulative }) => cumulative));
    expect(own.at(-1)?.interval).toMatchObject({ net_ml: 60 });
  });

  test('a body weight is an entry of its own, and two times are two readings', async () => {
    const text = message({}, levelObx('120'), obx('NM', '29463-7^^LN', '70.5', '263875^MDC_DIM_KILO_G^MDC'));
    const more = message({}, levelObx('150')).split('\r')[4]?.replaceAll('20250301090000', '20250301093000');
    expect(await send(`${text}${more}\r`)).toMatchObject({ code: 'AA' });
    expect(await charted()).toEqual([{ level_ml: 120 }, { level_ml: 150 }]);
    expect(await drain.ledger()).toContain('"weight_kg":70.5');
  });

  test('a person who answers for a result is its author', async () => {
    const text = message({}, levelObx('120')).replace('||||7^^', '||n1^Invented^Nurse||7^^');
    expect(await send(text)).toMatchObject({ code: 'AA' });
    const { entries } = JSON.parse(await drain.ledger());
    expect(entries.at(-1).body.author).toEqual({
      type: 'person',
      identifier: { system: 'urn:example:staff', value: 'n1' },
    });
  });

  test('a person who is said to be nobody is no author (HL7 v2.6, 2.5.3.2: "" is null)', async () => {
    const text = message({}, levelObx('120')).replace('||||7^^', '||""||7^^');
    expect(await send(text)).toMatchObject({ code: 'AA' });
    const { entries } = JSON.parse(await drain.ledger());
    expect(entries.at(-1).body.author).toMatchObject({ type: 'device', identifier: { value: '7' } });
  });

  test('a structure of devices without values, and what could not be measured, chart nothing', async () => {
    const structure = obx('', '69965^MDC_DEV_MON_PHYSIO_MULTI_PARAM_MDS^MDC', '', '', 'X');
    const invalid = obx('NM', 'LVL^^99WARD', '999', 'mL^^UCUM', 'F', 'INV');
    expect(await send(message({}, structure, invalid))).toMatchObject({ status: 200, code: 'AA' });
    expect(await charted()).toEqual([]);
  });
});

describe('the same again', () => {
  test('is answered the same again, and taken once', async () => {
    const first = await send(message({}, levelObx('120')));
    const second = await send(message({}, levelObx('120')));
    const without = (text: string) => text.replace(/\d{14}\+0000/, 'now');
    expect(without(second.text)).toBe(without(first.text));
    expect(await send(message({ controlId: 'm9' }, levelObx('120')))).toMatchObject({ code: 'AA' });
    expect(await charted()).toEqual([{ level_ml: 120 }]);
  });

  test('with another value and no word of a correction is refused, and kept', async () => {
    await send(message({}, levelObx('120')));
    const answer = await send(message({ controlId: 'm2' }, levelObx('130')));
    expect(answer).toMatchObject({
      status: 422,
      code: 'AE',
      errors: [{ place: 'OBR^1^3', condition: '205' }],
    });
    expect(await charted()).toEqual([{ level_ml: 120 }]);
    expect(await unmapped()).toHaveLength(1);
  });

  test('a final result takes the place of a preliminary one, and more of an order stands beside it', async () => {
    await send(message({}, levelObx('120', 'R')));
    expect(await send(message({ controlId: 'm2' }, levelObx('125')))).toMatchObject({ code: 'AA' });
    const more = message({ controlId: 'm3' }, obx('CWE', 'SWING^^99WARD', 'N^no^99WARD'));
    expect(await send(more)).toMatchObject({ code: 'AA' });
    expect(await charted()).toEqual([{ level_ml: 125, tidaling: 'absent' }]);
    // It is final now.
    expect(await send(message({ controlId: 'm4' }, levelObx('130')))).toMatchObject({ code: 'AE' });
  });
});

describe('what is taken back', () => {
  const two = (): string => message({}, levelObx('120'), obx('CWE', 'SWING^^99WARD', 'Y^yes^99WARD'));

  test('a correction changes what it names and leaves the rest; sent again it changes nothing', async () => {
    await send(two());
    const correction = message({ controlId: 'm2' }, levelObx('102', 'C'));
    expect(await send(correction)).toMatchObject({ status: 200, code: 'AA' });
    expect(await charted()).toEqual([{ level_ml: 102, tidaling: 'present' }]);
    expect(await send(message({ controlId: 'm3' }, levelObx('112', 'C')))).toMatchObject({ code: 'AA' });
    expect(await send(correction)).toMatchObject({ code: 'AA' });
    expect(await send(two())).toMatchObject({ code: 'AA' });
    expect(await charted()).toEqual([{ level_ml: 112, tidaling: 'present' }]);
  });

  test('one of several results goes, then the last, and with it the entry', async () => {
    await send(two());
    expect(await send(message({ controlId: 'm2' }, levelObx('', 'D')))).toMatchObject({ code: 'AA' });
    expect(await charted()).toEqual([{ tidaling: 'present' }]);
    const last = message({ controlId: 'm3' }, obx('CWE', 'SWING^^99WARD', '', '', 'W'));
    expect(await send(last)).toMatchObject({ code: 'AA' });
    expect(await charted()).toEqual([]);
    expect(await drain.ledger()).toContain('"kind":"entered-in-error"');
    expect(await send(last)).toMatchObject({ code: 'AA' });
  });

  test('a result that could not be had takes the place of a preliminary one', async () => {
    await send(message({}, levelObx('120', 'P')));
    expect(await send(message({ controlId: 'm2' }, levelObx('', 'X')))).toMatchObject({ code: 'AA' });
    expect(await charted()).toEqual([]);
  });

  test('of what was never told is kept', async () => {
    const answer = await send(message({}, levelObx('102', 'C')));
    expect(answer).toMatchObject({
      status: 422,
      code: 'AE',
      errors: [{ place: 'OBR^1^3', condition: '204' }],
    });
    expect(await unmapped()).toHaveLength(1);
  });

  test('takes the scope that changing takes on the native route', async () => {
    const guarded = await startGuarded({ DRAINLEDGER_HL7V2: writeMapping(folder) });
    try {
      const all = guarded.key('system/*.cruds drainledger/operate');
      const body = Buffer.from(message({}, levelObx('102', 'C')));
      const placed = await guarded.send(all, 'POST', '/v1/drains', {
        identifier: { system: 'urn:example:ward', value: 'drain-1' },
        author: { type: 'person', reference: 'Practitioner/n1' },
        ...{ effective_at: '2025-03-01T08:00:00Z', site: 'pleural-left', tubes: ['A'] },
      });
      expect(placed.status).toBe(201);
      const post = (key: string, bytes: Buffer) =>
        guarded.service.send('POST', '/v1/hl7v2', bytes, { ...TYPE, authorization: `Bearer ${key}` });
      const charter = guarded.key('system/Observation.c');
      expect((await post(charter, Buffer.from(message({}, levelObx('120'))))).status).toBe(200);
      const refused = await post(charter, body);
      expect([refused.status, readAck(refused.text).code]).toEqual([403, 'AR']);
      expect(refused.text).toContain('system/Observation.u');
      // A guess that is right is answered as one that is wrong, and so is one at what stands beside it.
      for (const guess of [
        levelObx('120', 'C'),
        levelObx('', 'D'),
        levelObx('', 'X'),
        obx('CWE', 'SWING^^99WARD', '', '', 'X'),
      ])
        expect(await post(charter, Buffer.from(message({}, guess)))).toMatchObject({
          status: 403,
          text: expect.stringContaining('system/Observation.u'),
        });
      const unheard = message({ order: 'o9' }, levelObx('', 'X'));
      expect((await post(charter, Buffer.from(unheard))).status).toBe(200);
      expect((await post(all, body)).status).toBe(200);
      const elsewhere = guarded.key('system/Observation.cu', { patient: null, drain: 'aaaaaaaaaaaaaaaa' });
      // As new, and as a guess at what stands there, right or wrong: the answer tells none of them from another.
      const guesses = [
        message({ order: 'o2' }, levelObx('120')),
        message({}, levelObx('102', 'C')),
        message({}, levelObx('999', 'C')),
        message({}, levelObx('102')),
      ];
      for (const guess of guesses) {
        const { status, text } = await post(elsewhere, Buffer.from(guess));
        expect([status, readAck(text).code], guess).toEqual([403, 'AR']);
      }
    } finally {
      await guarded.stop();
    }
  });
});

describe('what nothing can be made of', () => {
  test.each([
    ['no drain', message({ drain: '' }, levelObx('1')), 'PV1^1^19', '101'],
    ['a drain that is not there', message({ drain: 'x' }, levelObx('1')), 'PV1^1^19', '204'],
    ['a code that is not mapped', message({}, levelObx('1'), obx('NM', '1^x^MDC', '1')), 'OBX^2^3', '103'],
    ['a unit of another kind', message({}, obx('NM', 'LVL^^99WARD', '1', 'kPa^^UCUM')), 'OBX^1^5', '102'],
    ['a unit that is not mapped', message({}, obx('NM', 'LVL^^99WARD', '1', 'cc^^L')), 'OBX^1^6', '103'],
    ['no unit', message({}, obx('NM', 'LVL^^99WARD', '1')), 'OBX^1^6', '101'],
    ['a decimal comma', message({}, obx('NM', 'LVL^^99WARD', '1,5', 'mL^^UCUM')), 'OBX^1^5', '102'],
    ['a number in exponents', message({}, obx('NM', 'LVL^^99WARD', '1e2', 'mL^^UCUM')), 'OBX^1^5', '102'],
    ['a negative level', message({}, obx('NM', 'LVL^^99WARD', '-5', 'ml^^L')), 'OBX^1^5', '102'],
    ['two values', message({}, obx('NM', 'LVL^^99WARD', '1~2', 'mL^^UCUM')), 'OBX^1^5', '102'],
    [
      'a value off its scale',
      message({}, obx('NM', 'LVL^^99WARD', '1', 'ml^^L', 'F', '>')),
      'OBX^1^8',
      '103',
    ],
    ['a bound', message({}, obx('SN', 'LVL^^99WARD', '>^2000', 'mL^^UCUM')), 'OBX^1^5', '102'],
    ['no status', message({}, obx('NM', 'LVL^^99WARD', '1', 'mL^^UCUM', '')), 'OBX^1^11', '101'],
    ['a status of no result', message({}, obx('NM', 'LVL^^99WARD', '1', 'mL^^UCUM', 'I')), 'OBX^1^11', '103'],
    ['the same twice', message({}, levelObx('1'), obx('NM', 'LVL^^99WARD', '2', 'ml^^L')), 'OBX^2^3', '102'],
    ['a time to the day', message({ at: '20250301' }, levelObx('1')), 'OBX^1^14', '102'],
    ['a day that is not', message({ at: '20250230090000+0000' }, levelObx('1')), 'OBX^1^14', '102'],
    ['no order number', message({}, levelObx('1')).replace('o1^GATEWAY', '^GATEWAY'), 'OBR^1^3', '101'],
    ['an escape of nobody', message({ drain: 'a\\Zx\\' }, levelObx('1')), 'PV1^1^19', '102'],
    [
      'an escape of nobody in a note',
      message({}, levelObx('1')).replace(/\r$/, '\rNTE|1||a\\Q\\\r'),
      'NTE^1^3',
      '102',
    ],
    [
      'an escape of nobody in the sender',
      message({}, levelObx('1')).replace('|WARD|', '|\\Q\\|'),
      'MSH^1^4',
      '102',
    ],
    [
      'an escape of nobody in its time',
      message({}, levelObx('1')).replace('20250301090001', '\\Q\\'),
      'MSH^1^7',
      '102',
    ],
    ['an OBX without OBR', message({}, levelObx('1')).replace('OBR|', 'ZZZ|'), 'OBX^1', '100'],
    [
      'codes that differ',
      message({}, obx('NM', '157740^^MDC^SWING^^99WARD', '1', 'mL^^UCUM')),
      'OBX^1^3',
      '103',
    ],
  ])('%s is kept whole, with the place and the mend', async (_, text, place, condition) => {
    const answer = await send(text);
    expect(answer).toMatchObject({
      status: 422,
      code: 'AE',
      controlId: 'm1',
      errors: [{ place, condition }],
    });
    expect(answer.errors[0]?.text).toMatch(/: .+\. Kept as unmapped message 1$/);
    await send(text);
    expect(await unmapped()).toEqual([
      { sequence: 1, recorded_at: expect.any(String), kept: expect.objectContaining({ message: text }) },
    ]);
    expect(await charted()).toEqual([]);
    const metrics = await service.send('GET', '/metrics');
    expect(metrics.text).toContain('drainledger_hl7v2_unmapped 1\n');
    expect(metrics.text).toContain('drainledger_hl7v2_messages_total{code="AE"} 2\n');
  });

  test('all that is wrong is told at once, and nothing of the message is charted', async () => {
    const text = message({}, levelObx('120'), obx('NM', '1^x^MDC', '1'), obx('NM', 'LVL^^99WARD', '1'));
    expect((await send(text)).errors.map(({ place }) => place)).toEqual(['OBX^2^3', 'OBX^3^6']);
    expect(await charted()).toEqual([]);
  });

  test('is taken once the drain is there: sent again, or by a retry', async () => {
    for (const key of ['later-1', 'later-2'])
      expect(await send(message({ drain: key, controlId: key }, levelObx('50')))).toMatchObject({
        code: 'AE',
      });
    const first = await service.send('POST', '/v1/hl7v2/unmapped/1/retry');
    expect([first.status, readAck(first.text).code]).toEqual([422, 'AE']);
    for (const key of ['later-1', 'later-2']) await placeDrain(service, key);
    expect(await send(message({ drain: 'later-1', controlId: 'later-1' }, levelObx('50')))).toMatchObject({
      code: 'AA',
    });
    const retried = await service.send('POST', '/v1/hl7v2/unmapped/2/retry');
    expect([retried.status, readAck(retried.text).code]).toEqual([200, 'AA']);
    expect(await unmapped()).toEqual([]);
    expect((await service.send('POST', '/v1/hl7v2/unmapped/2/retry')).status).toBe(404);
  });

  test('is dismissed by somebody who says why, and still in the ledger', async () => {
    await send(message({ drain: 'x' }, levelObx('50')));
    const order = {
      author: { type: 'person', reference: 'Practitioner/n1' },
      reason: 'a test of the gateway',
    };
    expect((await service.send('POST', '/v1/hl7v2/unmapped/1/dismiss', {})).status).toBe(422);
    expect((await service.send('POST', '/v1/hl7v2/unmapped/1/dismiss', order)).status).toBe(200);
    expect((await service.send('POST', '/v1/hl7v2/unmapped/1/dismiss', order)).status).toBe(404);
    expect(await unmapped()).toEqual([]);
    expect(await send(message({ drain: 'x' }, levelObx('50')))).toMatchObject({ code: 'AE' });
    expect(await unmapped()).toEqual([]);
  });

  test('another patient than the drain is linked to', async () => {
    await service.stop();
    await start({ ...MAPPING, patient: { system: 'urn:example:mrn', authority: 'HOSP' } });
    expect(await send(message({ patient: 'p1' }, levelObx('50')))).toMatchObject({ code: 'AA' });
    const other = await send(message({ patient: 'p2', order: 'o2' }, levelObx('60')));
    expect(other).toMatchObject({ code: 'AE', errors: [{ place: 'PID^1^3', condition: '204' }] });
    const nobody = message({ order: 'o3' }, levelObx('60')).replace('^^^HOSP', '^^^ELSE');
    expect(await send(nobody)).toMatchObject({
      code: 'AE',
      errors: [{ place: 'PID^1^3', condition: '101' }],
    });
    const both = message({ order: 'o4' }, levelObx('60'));
    const [, , , order, result] = message({ order: 'o4' }, obx('CWE', 'SWING^^99WARD', 'Y^yes^99WARD')).split(
      '\r',
    );
    const [, pid, visit] = message({ patient: 'p2' }).split('\r');
    expect(await send(`${both}${[pid, visit, order, result].join('\r')}\r`)).toMatchObject({
      code: 'AE',
      errors: [{ place: 'PID^2^3', condition: '102' }],
    });
    expect(await charted()).toEqual([{ level_ml: 50 }]);
  });

  test('the identifier of a patient is read with its escapes', async () => {
    await service.stop();
    await start({ ...MAPPING, patient: { system: 'urn:example:mrn', authority: 'A&B' } });
    const escapedBoth = message({ patient: '\\X7031\\' }, levelObx('50')).replace('^^^HOSP', '^^^A\\T\\B');
    expect(await send(escapedBoth)).toMatchObject({ code: 'AA' });
    expect(await charted()).toEqual([{ level_ml: 50 }]);
  });
});

describe('what is no message for here', () => {
  const edit = (from: string, to: string): string => message({}, levelObx('1')).replace(from, to);
  test.each([
    ['another type', edit('ORU^R01^ORU_R01', 'ADT^A01^ADT_A01'), 'MSH^1^9^1^1', '200'],
    ['another event', edit('ORU^R01^ORU_R01', 'ORU^R30^ORU_R30'), 'MSH^1^9^1^2', '201'],
    ['for training', edit('|P|2.6', '|T|2.6'), 'MSH^1^11^1^1', '202'],
    ['another version', edit('|P|2.6', '|P|3.0'), 'MSH^1^12^1^1', '203'],
    ['no control id', edit('|m1|', '||'), 'MSH^1^10', '101'],
    ['an unknown character set', message({ charset: 'UNICODE UTF-16' }, levelObx('1')), 'MSH^1^18', '103'],
    ['bytes beyond ASCII with no set named', edit('Canary', 'Cänary'), 'MSH^1^18', '102'],
    ['separators that are the same', edit('MSH|^~\\&', 'MSH|^^\\&'), 'MSH^1^2', '102'],
    ['a segment of no name', edit('PV1|', 'pv|'), 'MSH^1', '100'],
    ['segments that end with line feeds', message({}, levelObx('1')).replaceAll('\r', '\n'), 'MSH^1', '102'],
    ['a control character in a value', edit('Canary', 'Can\x1cary'), 'PID^1', '102'],
    ['two messages in one', `${edit('|m1|', '|m0|')}${edit('|P|2.6', '|T|2.6')}`, 'MSH^2', '100'],
    ['no message', 'hello', 'MSH^1^2', '102'],
    ['nothing', '', 'MSH^1^2', '102'],
  ])('%s is rejected, and not kept', async (_, text, place, condition) => {
    expect(await send(text)).toMatchObject({ status: 400, code: 'AR', errors: [{ place, condition }] });
    expect(await unmapped()).toEqual([]);
  });

  test('another media type, a compressed body, or one that is too large', async () => {
    const post = async (body: string, headers: object) =>
      (await service.send('POST', '/v1/hl7v2', body, headers)).status;
    expect(await post('{}', { 'content-type': 'application/json' })).toBe(415);
    expect(await post('x', { ...TYPE, 'content-encoding': 'gzip' })).toBe(415);
    expect(await post('x'.repeat(1024 * 1024 + 1), TYPE)).toBe(413);
  });

  test('a service without a mapping takes none', async () => {
    const bare = await startTestService();
    expect((await bare.send('POST', '/v1/hl7v2', message({}, levelObx('1')), TYPE)).status).toBe(404);
    await bare.stop();
  });
});

describe('character sets', () => {
  test.each([
    ['UNICODE UTF-8', 'utf8'],
    ['8859/1', 'latin1'],
  ] as const)('%s is read, and answered in', async (charset, encoding) => {
    const text = message({ charset, drain: 'drain-ä' }, levelObx('120'));
    const { status, headers } = await service.send('POST', '/v1/hl7v2', Buffer.from(text, encoding), TYPE);
    expect([status, headers.get('content-type')]).toEqual([422, 'application/hl7-v2']);
    await placeDrain(service, 'drain-ä');
    expect(await send(Buffer.from(text, encoding))).toMatchObject({ code: 'AA' });
  });
});

/** HL7 v2.6, 2.9.3 (from memory): in enhanced mode MSH-15 and MSH-16 say which of two acknowledgements is wanted. */
test.each([
  [['AL', 'NE'], 'good', 'CA'],
  [['NE', 'AL'], 'good', 'AA'],
  [['AL', 'AL'], 'good', 'AA'],
  [['AL', 'NE'], 'kept', 'CA'],
  [['AL', 'ER'], 'kept', 'AE'],
  [['AL', 'SU'], 'kept', 'CA'],
  [['ER', 'ER'], 'good', undefined],
  [['AL', 'AL'], 'bad', 'CR'],
  [['NE', 'AL'], 'bad', 'AR'],
] as const)('enhanced mode, %j, a message that is %s: %s', async (wants, is, code) => {
  const drainName = is === 'kept' ? 'x' : 'drain-1';
  const text = message({ wants, drain: drainName }, levelObx('1'));
  expect((await send(is === 'bad' ? text.replace('|P|2.6', '|T|2.6') : text)).code).toBe(code);
});
