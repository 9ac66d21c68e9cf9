/** A bundle that was made with the first format of entries stays verifiable: by every later release, and by itself. */
import { spawnSync } from 'node:child_process';
import { fileURLToPath } from 'node:url';
import { expect, test } from 'vitest';
import { verifyBundle } from '../../src/bundle-verifier/verify.ts';

const BUNDLE = fileURLToPath(new URL('../data/audit-bundle-v1', import.meta.url));
const KEY = 'store.example+028ec4af+AcN0h+aQcqx2U4HMW3VFYVLChyrPNbnRmFAKrGahaZps';
/** The key before it, which the log says was lost. */
const LOST = 'store.example+d99f841b+AbfH+jrGHJ19kyUsMuSribyuR21W1RWRfnsKpZ6Km3UG';

test.each([
  [KEY, 0, `20 entries of store.example, all in its checkpoint of 20 entries, signed by ${KEY}`],
  [LOST, 3, 'the key that was given is not one that the log names'],
])('by the key %s it is %i', async (key, code, words) => {
  const text = `${words}; entry 18 says that a key was lost: the disk broke`;
  expect(await verifyBundle(BUNDLE, key)).toEqual({ code, text });
  const own = spawnSync(process.execPath, [`${BUNDLE}/verify.mjs`, '--key', key], { encoding: 'utf8' });
  expect([own.status, own.stdout]).toEqual([code, `${code === 0 ? 'ok: ' : ''}${text}\n`]);
});
