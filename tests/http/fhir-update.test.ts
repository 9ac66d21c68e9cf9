/** Observations in the place of others. Source: FHIR R4 http.html (update, version aware updates). */
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { concept, level, quantity } from './fhir-messages.ts';
import { issueOf, openWard, type Ward } from './fhir-ward.ts';
import { content, corrected, id, level as nativeLevel, tell } from './messages.ts';

let ward: Ward;

beforeEach(async () => {
  ward = await openWard();
});
afterEach(() => ward.service.stop());

describe('an update', () => {
  async function stored() {
    const { text } = await ward.post(level('o', '09:00', 100));
    return JSON.parse(text).id as string;
  }
  const replacement = level('o', '09:00', 110, { identifier: null, focus: null, status: 'corrected' });
  const tag = (n: number) => ({ 'if-match': `W/"${n}"` });

  test('corrects the entry: a new version, the old one stays', async () => {
    const resourceId = await stored();
    const answer = await ward.put(resourceId, replacement, tag(1));
    expect(answer.status, answer.text).toBe(200);
    expect(JSON.parse(answer.text)).toMatchObject({
      status: 'corrected',
      meta: { versionId: '2' },
      valueQuantity: { value: 110 },
    });
    expect(JSON.parse(answer.text).identifier).toContainEqual(id('o'));
    expect(answer.headers.get('etag')).toBe('W/"2"');
    expect((await ward.drain.row('o')).interval?.net_ml).toBe(110);
    const { body } = (await ward.written()).at(-1) ?? { body: {} };
    expect(body).toMatchObject({ kind: 'corrected', target: id('o') });
    const history = JSON.parse(
      (await ward.service.send('GET', `/fhir/Observation/${resourceId}/_history`)).text,
    );
    expect(history.total).toBe(2);
    const again = await ward.put(resourceId, replacement, tag(1));
    expect([again.status, again.text]).toEqual([200, answer.text]);
    expect(await ward.written()).toHaveLength(4);
    const second = await ward.put(resourceId, level('o', '09:00', 120), { 'if-match': '"2"' });
    expect(JSON.parse(second.text)).toMatchObject({
      meta: { versionId: '3' },
      valueQuantity: { value: 120 },
    });
  });

  test('withdraws it', async () => {
    const resourceId = await stored();
    const gone = await ward.put(resourceId, { ...replacement, status: 'entered-in-error' }, tag(1));
    expect(JSON.parse(gone.text)).toMatchObject({ status: 'entered-in-error', meta: { versionId: '2' } });
    expect((await ward.written()).at(-1)?.body).toMatchObject({ kind: 'entered-in-error', target: id('o') });
    const late = await ward.put(resourceId, replacement, tag(2));
    expect([late.status, issueOf(late.text).diagnostics]).toEqual([412, expect.stringContaining('final')]);
  });

  test('of a version that is not the newest is refused: nobody overwrites what was not read', async () => {
    const resourceId = await stored();
    const both = await Promise.all(
      [10, 20].map((ml) => ward.put(resourceId, level('o', '09:00', ml), tag(1))),
    );
    expect(both.map(({ status }) => status).sort()).toEqual([200, 412]);
  });

  test('of a version that was corrected by another door since is refused', async () => {
    const resourceId = await stored();
    await tell(ward.drain, corrected('c', 'o', content(nativeLevel('', '09:00', 30))));
    const stale = await ward.put(resourceId, replacement, tag(1));
    expect([stale.status, issueOf(stale.text).code]).toEqual([412, 'conflict']);
    expect((await ward.put(resourceId, replacement, tag(2))).status).toBe(200);
  });

  test.each([
    ['without If-Match', {}, {}, 428],
    ['with a malformed tag', { 'if-match': 'one' }, {}, 400],
    ['with another id', tag(1), { id: 'other' }, 400],
    ['that says another thing', tag(1), { code: concept('seal-level'), ...quantity(2, 'cm[H2O]') }, 422],
    ['of another patient', tag(1), { subject: { reference: 'Patient/2' } }, 422],
  ] as const)('%s is refused', async (_, headers, more, status) => {
    const resourceId = await stored();
    const answer = await ward.put(resourceId, { ...replacement, ...more }, headers);
    expect(answer.status, answer.text).toBe(status);
    issueOf(answer.text);
    expect(await ward.written()).toHaveLength(3);
  });

  test('of what was not sent as an Observation, or never issued, is refused', async () => {
    await tell(ward.drain, nativeLevel('n', '10:00', 50));
    const native = `level.${ward.drain.drain}.${((await ward.drain.row('n')) as unknown as { entry: string }).entry}`;
    expect((await ward.put(native, replacement, tag(1))).status).toBe(422);
    const unknown = await ward.put('level.x.y', replacement, tag(1));
    // RFC 9110 15.5.6: with what may be asked instead.
    expect([unknown.status, unknown.headers.get('allow')]).toEqual([405, 'GET, HEAD']);
  });
});
