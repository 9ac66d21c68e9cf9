import { readdirSync, readFileSync } from 'node:fs';
import { dirname, join, relative } from 'node:path';
import { fileURLToPath } from 'node:url';
import { defineConfig } from 'vitest/config';
import { BaseSequencer, type TestSpecification } from 'vitest/node';

const root = fileURLToPath(new URL('..', import.meta.url));

/** Which file each mutant is in, read from what was written around it: `stryMutAct_9fa48("17")`. */
function readMutantFiles(): ReadonlyMap<string, string> {
  const files = new Map<string, string>();
  for (const name of readdirSync(join(root, 'src/domain'), { recursive: true, encoding: 'utf8' })) {
    if (!name.endsWith('.ts')) continue;
    const text = readFileSync(join(root, 'src/domain', name), 'utf8');
    for (const [, id = ''] of text.matchAll(/stryMutAct_\w+\("(\d+)"\)/g)) files.set(id, name);
  }
  return files;
}

let mutantFiles: ReadonlyMap<string, string> | undefined;

/**
 * A mutant dies at the first test that fails: the tests named after its file go first, then those of its folder, then
 * other examples, and the slow properties last.
 */
class NearestFirst extends BaseSequencer {
  override async sort(files: TestSpecification[]): Promise<TestSpecification[]> {
    mutantFiles ??= readMutantFiles();
    const { activeMutant } = this.ctx.getRootProject().getProvidedContext() as { activeMutant?: string };
    const mutated = mutantFiles.get(activeMutant ?? '') ?? '';
    const distance = ({ moduleId }: TestSpecification): number => {
      const test = relative(join(root, 'tests/domain'), moduleId);
      if (test === mutated.replace(/\.ts$/, '.test.ts')) return 0;
      const isSlow = readFileSync(moduleId, 'utf8').includes("from 'fast-check'");
      return (dirname(test) === dirname(mutated) ? 1 : 2) + (isSlow ? 2 : 0);
    };
    const order = new Map(files.map((file) => [file, distance(file)] as const));
    return files.toSorted((a, b) => (order.get(a) ?? 0) - (order.get(b) ?? 0));
  }
}

// What a mutant is held to: the examples, and properties of single functions. The laws over generated ledgers take
// most of the time, and would let a mutant die in a run on a quiet machine that it survives on a busy one.
export default defineConfig({
  root,
  test: {
    include: ['tests/domain/**/*.test.ts', 'tests/record/**/*.test.ts'],
    exclude: ['tests/**/*law*.test.ts', 'tests/record/drain-csv.test.ts'],
    setupFiles: ['tests/support/short-properties.ts'],
    isolate: false,
    sequence: { sequencer: NearestFirst },
  },
});
