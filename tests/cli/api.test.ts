/** What the command line says when the service does not know who asks. */
import { afterAll, beforeAll, expect, test } from 'vitest';
import { serviceAt } from '../../src/cli/api.ts';
import { type Guarded, startGuarded } from '../http/access-control.ts';

let guarded: Guarded;
beforeAll(async () => {
  guarded = await startGuarded();
});
afterAll(() => guarded.stop());

test('without a key it names the option that gives one', async () => {
  await expect(serviceAt({ url: guarded.service.url })('/targets')).rejects.toThrow('--token-file FILE');
});
