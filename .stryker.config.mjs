// Changes src/domain one expression at a time and asks whether a test notices: npm run mutants.
export default {
  mutate: ['src/domain/**/*.ts'],
  testRunner: 'vitest',
  vitest: { configFile: 'tests/vitest.mutants.config.ts', related: false },
  coverageAnalysis: 'perTest',
  // What runs once when a module loads (tables of data) would need every test again for each change of it.
  ignoreStatic: true,
  // Stryker rewrites this file with an API that TypeScript 7 does not have, and nothing here needs the rewriting.
  tsconfigFile: 'no-tsconfig.json',
  incremental: true,
  incrementalFile: 'reports/mutants/incremental.json',
  reporters: ['clear-text', 'html', 'json'],
  clearTextReporter: { reportTests: false, allowEmojis: false },
  htmlReporter: { fileName: 'reports/mutants/mutants.html' },
  jsonReporter: { fileName: 'reports/mutants/mutants.json' },
  concurrency: 2,
  // Generous, so that on a busy machine a slow test is not taken for an endless loop.
  timeoutMS: 10_000,
  timeoutFactor: 4,
  thresholds: { high: 90, low: 85, break: 85 },
};
