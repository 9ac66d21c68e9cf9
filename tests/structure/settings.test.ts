/** Settings that README and docker-compose.yml name are those that the service reads, and proxied services say so. */
import { readFileSync } from 'node:fs';
import { expect, test } from 'vitest';
import { readConfig } from '../../src/config.ts';

const textOf = (file: string): string => readFileSync(new URL(`../../${file}`, import.meta.url), 'utf8');
const listed = [...textOf('README.md').matchAll(/^\| `DRAINLEDGER_.*?\|/gm)].flatMap(([cell]) =>
  [...cell.matchAll(/`(DRAINLEDGER_\w+)`/g)].map(([, name = '']) => name),
);
const composed = [...textOf('docker-compose.yml').matchAll(/^ {6}(DRAINLEDGER_\w+):/gm)].map(
  ([, name = '']) => name,
);

function faultsOf(env: Readonly<Record<string, string>>): string {
  try {
    readConfig(env);
    return '';
  } catch (error) {
    return error instanceof Error ? error.message : String(error);
  }
}

test('each is one', () => {
  expect(listed.length).toBeGreaterThan(30);
  expect(composed.length).toBeGreaterThan(4);
  for (const name of [...listed, ...composed]) expect(faultsOf({ [name]: 'x' })).not.toContain('no setting');
  expect(composed.filter((name) => !listed.includes(name))).toEqual([]);
});

test('behind the proxy that docker-compose.yml is for, links lead there, and whoever asks is not taken for the proxy', () => {
  expect(composed).toEqual(expect.arrayContaining(['DRAINLEDGER_PUBLIC_URL', 'DRAINLEDGER_PROXIES']));
});
