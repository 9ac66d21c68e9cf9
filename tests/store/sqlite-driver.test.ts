/** A driver that aborts the process while memory is collected is refused before anything is opened. */
import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { expect, test } from 'vitest';
import { assertSafeAddon, assertSafeDriver } from '../../src/store/sqlite/driver.ts';

const ADDON = createRequire(import.meta.url).resolve('better-sqlite3/build/Release/better_sqlite3.node');

test('the one that is installed here is taken', () => {
  expect(() => assertSafeDriver()).not.toThrow();
});

test('one that was compiled with the headers of Node 24.19 is refused, and what to do is said', () => {
  const safe = readFileSync(ADDON);
  // As a linker names it (Itanium C++ ABI): node::RemoveEnvironmentCleanupHook(v8::Isolate*, void (*)(void*), void*).
  const unsafe = Buffer.concat([
    safe,
    Buffer.from('_ZN4node28RemoveEnvironmentCleanupHookEPN2v87IsolateEPFvPvES3_\0'),
  ]);
  expect(() => assertSafeAddon('driver.node', safe)).not.toThrow();
  expect(() => assertSafeAddon('driver.node', unsafe)).toThrow(
    /^driver\.node was compiled with .* 24\.18 \(npm_config_nodedir\), or run Node 20 or 22$/,
  );
});
