import { fileURLToPath } from 'node:url';
import { defineConfig } from 'vitest/config';

// What a mutant is held to: the examples. The laws over generated ledgers take most of the time, and would let a
// mutant die in a run on a quiet machine that it survives on a busy one.
export default defineConfig({
  root: fileURLToPath(new URL('..', import.meta.url)),
  test: {
    include: ['tests/domain/**/*.test.ts', 'tests/record/**/*.test.ts'],
    exclude: ['tests/domain/*law*.test.ts', 'tests/domain/exact-json.test.ts'],
    setupFiles: ['tests/support/short-properties.ts'],
    isolate: false,
  },
});
