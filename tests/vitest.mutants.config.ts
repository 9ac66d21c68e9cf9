import { readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { defineConfig } from 'vitest/config';
import { BaseSequencer, type TestSpecification } from 'vitest/node';

/** A mutant dies at the first test that fails, so the slow properties wait until the examples have had their turn. */
class ExamplesFirst extends BaseSequencer {
  override async sort(files: TestSpecification[]): Promise<TestSpecification[]> {
    const hasProperties = ({ moduleId }: TestSpecification) =>
      Number(readFileSync(moduleId, 'utf8').includes("from 'fast-check'"));
    return files.toSorted((a, b) => hasProperties(a) - hasProperties(b));
  }
}

// What a mutant is held to: the examples, and properties of single functions. The laws over generated ledgers take
// most of the time, and would let a mutant die in a run on a quiet machine that it survives on a busy one.
export default defineConfig({
  root: fileURLToPath(new URL('..', import.meta.url)),
  test: {
    include: ['tests/domain/**/*.test.ts', 'tests/record/**/*.test.ts'],
    exclude: ['tests/**/*law*.test.ts', 'tests/record/drain-csv.test.ts'],
    setupFiles: ['tests/support/short-properties.ts'],
    isolate: false,
    sequence: { sequencer: ExamplesFirst },
  },
});
