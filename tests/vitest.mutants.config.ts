import { fileURLToPath } from 'node:url';
import { defineConfig } from 'vitest/config';
import { BaseSequencer, type TestSpecification } from 'vitest/node';

/** A mutant dies at the first test that fails, so the slow properties wait until the example rows have had their turn. */
class PropertiesLast extends BaseSequencer {
  override async sort(files: TestSpecification[]): Promise<TestSpecification[]> {
    const rank = ({ moduleId }: TestSpecification) => (moduleId.includes('law') ? 1 : 0);
    return files.toSorted((a, b) => rank(a) - rank(b) || a.moduleId.localeCompare(b.moduleId));
  }
}

export default defineConfig({
  root: fileURLToPath(new URL('..', import.meta.url)),
  test: {
    include: ['tests/domain/**/*.test.ts', 'tests/record/**/*.test.ts'],
    setupFiles: ['tests/support/short-properties.ts'],
    isolate: false,
    sequence: { sequencer: PropertiesLast },
  },
});
