/** How much one batch may ask for. Source: OWASP API Security Top 10 2023, API4 (resource use). */
import { expect, test } from 'vitest';
import { problemsOf } from '../support/r4.ts';
import { bundleOf, create, level as observed } from './fhir-messages.ts';
import { id, level, placeDrain, setUp, tell } from './messages.ts';
import { startTestService } from './service.ts';

const MIB = 1024 * 1024;

test.each([
  ['GET', 'Observation?_count=1000'],
  ['POST', 'Observation/_search?_count=1000'],
])(
  'once its answers are large, reads by %s are refused one by one, and what it writes is taken',
  async (method, url) => {
    const service = await startTestService();
    const drain = await placeDrain(service, 'placed', '08:00', { patient: { reference: 'Patient/1' } });
    const times = Array.from({ length: 40 }, (_, n) => `09:${String(n).padStart(2, '0')}`);
    const long = { note: 'invented '.repeat(220) };
    await tell(drain, setUp('up', '08:00', 0), ...times.map((time, n) => level(`r${n}`, time, n, long)));
    const reads = Array.from({ length: 120 }, () => ({
      request: { method, url },
    }));
    const write = observed('written', '10:30', 60, { focus: [{ identifier: id('placed') }] });
    const sent = bundleOf('batch', ...reads, create(write));
    const { status, text } = await service.send('POST', '/fhir', sent, {
      'content-type': 'application/fhir+json',
    });
    await service.stop();
    expect(status).toBe(200);
    expect(text.length).toBeLessThan(34 * MIB);
    const statuses = JSON.parse(text).entry.map((each: { response: { status: string } }) =>
      each.response.status.slice(0, 3),
    );
    const taken = statuses.lastIndexOf('200') + 1;
    expect(taken).toBeGreaterThan(10);
    expect(new Set(statuses.slice(taken, -1))).toEqual(new Set(['413']));
    expect(statuses.at(-1)).toBe('201');
    const refused = JSON.parse(text).entry[taken].response.outcome;
    expect(problemsOf(refused)).toEqual([]);
    expect(refused.issue[0].diagnostics).toContain('ask for it in another batch, or by itself');
  },
  60_000,
);
