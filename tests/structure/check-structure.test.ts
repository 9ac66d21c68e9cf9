import { spawnSync } from 'node:child_process';
import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { dirname, join, resolve } from 'node:path';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';

const script = resolve(import.meta.dirname, 'check-structure.mjs');

let root = '';

beforeEach(() => {
  root = mkdtempSync(join(tmpdir(), 'drainledger-structure-'));
});

afterEach(() => rmSync(root, { recursive: true }));

/** Writes the files below src, checks the tree, and returns the findings; none means the check passed. */
function check(files: Record<string, string>): string[] {
  for (const [path, text] of Object.entries(files)) {
    mkdirSync(dirname(join(root, 'src', path)), { recursive: true });
    writeFileSync(join(root, 'src', path), text);
  }
  const { status, stdout, stderr } = spawnSync(process.execPath, [script, root], { encoding: 'utf8' });
  // The compiler's own process may say this when it is told to end; it says nothing of the tree.
  expect(stderr.replaceAll('context canceled\n', '')).toBe('');
  const lines = stdout.trimEnd().split('\n');
  if (status === 0) {
    expect(lines).toEqual([`structure: ${Object.keys(files).length} files, nothing to report`]);
    return [];
  }
  expect(status).toBe(1);
  return lines;
}

function importing(specifier: string): string {
  return `import { a } from '${specifier}';\nexport const b = a;\n`;
}

/** Checks one tree in which each file of the table has one import; the targets need not exist. */
function checkImports(table: readonly (readonly [from: string, specifier: string])[]): string[] {
  return check(Object.fromEntries(table.map(([from, specifier]) => [from, importing(specifier)])));
}

function filler(lines: number): string {
  return '  void 0;\n'.repeat(lines);
}

describe('sizes', () => {
  test('a file of 250 lines passes and one of 251 does not', () => {
    expect(check({ 'cli/fits.ts': '// line\n'.repeat(250), 'cli/long.ts': '// line\n'.repeat(251) })).toEqual(
      ['src/cli/long.ts:1: file-length: 251 lines, at most 250; split it by what changes together'],
    );
  });

  test.each([
    ['function', 'export function long(): void {\n', '}\n', 'long'],
    ['arrow function', 'export const long = (): void => {\n', '};\n', 'long'],
    ['method', 'export class Kept { long(): void {\n', '} }\n', 'long'],
    ['getter', 'export class Kept { get long(): number {\n', 'return 1; } }\n', 'long'],
    ['constructor', 'export class Kept { constructor() {\n', '} }\n', 'Kept'],
    ['callback', 'setImmediate(() => {\n', '});\n', 'a function without a name'],
  ])('%s: 40 lines pass and 41 do not', (_kind, head, tail, name) => {
    expect(
      check({
        'cli/fits.ts': `${head}${filler(38)}${tail}`,
        'cli/long.ts': `// one line above\n${head}${filler(39)}${tail}`,
      }),
    ).toEqual([`src/cli/long.ts:2: function-length: ${name} has 41 lines of its own, at most 40; split it`]);
  });

  test('a function declared inside another counts on its own, and so does what is left of the outer one', () => {
    const inner = (name: string, lines: number) => `  function ${name}(): void {\n${filler(lines)}  }\n`;
    const outer = (body: string) => `export function outer(): void {\n${body}}\n`;
    expect(check({ 'cli/fits.ts': outer(inner('a', 38) + inner('b', 38)) })).toEqual([]);
    expect(check({ 'cli/long.ts': outer(inner('a', 39)) })).toEqual([
      'src/cli/long.ts:2: function-length: a has 41 lines of its own, at most 40; split it',
    ]);
    expect(check({ 'cli/long.ts': outer(inner('a', 5) + filler(39)) })).toEqual([
      'src/cli/long.ts:1: function-length: outer has 41 lines of its own, at most 40; split it',
    ]);
  });

  test('braces in strings, templates, comments and patterns, and comments above, do not count', () => {
    const comment = `/**\n${' * {\n'.repeat(30)} */\n`;
    const noise = `  const s = '{' + \`{ \${'}'} {\` + String(/[{'"\`]/); // {\n  void s;\n`;
    expect(
      check({ 'cli/a.ts': `${comment}export function fits(): void {\n${noise}${filler(36)}}\n` }),
    ).toEqual([]);
  });
});

describe('directions', () => {
  test('each folder is kept from what its row does not name', () => {
    const refused = [
      ['audit/a.ts', '../fhir/gone.ts'],
      ['auth/a.ts', '../http/gone.ts'],
      ['delivery/a.ts', '../store/outbox.ts'],
      ['domain/a.ts', '../json/gone.ts'],
      ['ehr-stand-in/a.ts', '../fhir/gone.ts'],
      ['export/a.ts', '../delivery/gone.ts'],
      ['fhir/a.ts', '../store/port.ts'],
      ['http/a.ts', '../delivery/gone.ts'],
      ['http/b.ts', '../exporter/gone.ts'],
      ['http/deep/a.ts', '../../delivery/gone.ts'],
      ['intake/a.ts', '../record/gone.ts'],
      ['json/a.ts', '../domain/gone.ts'],
      ['json/b.ts', '../config.ts'],
      ['record/a.ts', '../intake/gone.ts'],
      ['store/port.ts', '../fhir/gone.ts'],
      ['web/a.ts', '../fhir/gone.ts'],
    ] as const;
    expect(checkImports(refused).map((line) => line.slice(0, line.indexOf('; it may')))).toEqual(
      refused.map(([from, specifier]) => {
        const target = specifier.replace(/^(\.\.\/)+/, '');
        return `src/${from}:1: import-direction: ${from.split('/')[0]} may not import ${target}`;
      }),
    );
  });

  test('each folder may import what its row names', () => {
    expect(
      checkImports([
        ['bench/a.ts', '../delivery/gone.ts'],
        ['cli/a.ts', '../record/gone.ts'],
        ['config.ts', './http/gone.ts'],
        ['delivery/a.ts', '../fhir/gone.ts'],
        ['demo/a.ts', '../http/gone.ts'],
        ['domain/a.ts', './gone.ts'],
        ['http/a.ts', '../store/port.ts'],
        ['store/sqlite/a.ts', '../port.ts'],
      ]),
    ).toEqual([]);
  });

  test('no floor of the domain leans on one above it', () => {
    expect(
      checkImports([
        ['domain/fold/a.ts', '../advisories/gone.ts'],
        ['domain/numbers/a.ts', '../vocabulary/gone.ts'],
        ['domain/fold/b.ts', '../numbers/gone.ts'],
        ['domain/decide.ts', './book/gone.ts'],
      ]).map((line) => line.slice(0, line.indexOf('; it may'))),
    ).toEqual([
      'src/domain/fold/a.ts:1: import-direction: domain/fold may not import domain/advisories/gone.ts',
      'src/domain/numbers/a.ts:1: import-direction: domain/numbers may not import domain/vocabulary/gone.ts',
    ]);
  });

  test('every way to import is seen', () => {
    const forms = {
      'json/bare.ts': "import '../http/gone.ts';\n",
      'json/dynamic.ts': "export const a = () => import('../http/gone.ts');\n",
      'json/passed-on.ts': "export { a } from '../http/gone.ts';\nexport const c = 1;\n",
      'json/query.ts': "export type A = import('../http/gone.ts').A;\n",
      'json/type.ts': "import type { A } from '../http/gone.ts';\nexport type C = A;\n",
    };
    expect(check(forms)).toEqual(
      Object.keys(forms).map(
        (path) => `src/${path}:1: import-direction: json may not import http/gone.ts; it may import json`,
      ),
    );
  });

  test('an import inside a comment or a string is not an import', () => {
    const text = "// import { a } from '../http/b.ts';\nexport const c = \"import '../http/b.ts'\";\n";
    expect(check({ 'json/a.ts': text })).toEqual([]);
  });

  test('a folder without a rule is refused', () => {
    expect(check({ 'misc/a.ts': 'export const a = 1;\n' })).toEqual([
      'src/misc/a.ts:1: unknown-folder: src/misc has no row in MAY_IMPORT of check-structure.mjs; add one',
    ]);
  });
});

describe('the engines of the store', () => {
  test('a few may import them, and each its own files', () => {
    expect(
      checkImports([
        ['bench/a.ts', '../store/postgres/gone.ts'],
        ['cli/a.ts', '../store/sqlite/gone.ts'],
        ['demo/a.ts', '../store/sqlite/gone.ts'],
        ['main.ts', './store/sqlite/gone.ts'],
        ['service.ts', './store/postgres/gone.ts'],
        ['store/postgres/a.ts', './gone.ts'],
        ['store/sqlite/a.ts', './gone.ts'],
      ]),
    ).toEqual([]);
  });

  test('nobody else may, not even the rest of the store', () => {
    const findings = checkImports([
      ['config.ts', './store/sqlite/gone.ts'],
      ['logging.ts', './store/postgres/gone.ts'],
      ['store/port.ts', './sqlite/gone.ts'],
      ['store/postgres/a.ts', '../sqlite/gone.ts'],
    ]);
    expect(findings.map((line) => line.replace(/only .* may/, 'only … may'))).toEqual([
      'src/config.ts:1: import-guarded: only … may import store/sqlite; take store/port.ts',
      'src/logging.ts:1: import-guarded: only … may import store/postgres; take store/port.ts',
      'src/store/port.ts:1: import-guarded: only … may import store/sqlite; take store/port.ts',
      'src/store/postgres/a.ts:1: import-guarded: only … may import store/sqlite; take store/port.ts',
    ]);
  });
});

describe('purity', () => {
  test('domain takes nothing from outside and fhir nothing from Node', () => {
    expect(
      checkImports([
        ['domain/a.ts', 'node:fs'],
        ['domain/b.ts', 'zod'],
        ['fhir/a.ts', 'node:crypto'],
        ['fhir/b.ts', 'crypto'],
        ['fhir/c.ts', 'fhir/r4'],
        ['json/a.ts', 'node:buffer'],
      ]),
    ).toEqual([
      "src/domain/a.ts:1: import-node: domain may not import 'node:fs'; pass in what it needs",
      "src/domain/b.ts:1: import-package: domain may not import 'zod'; pass in what it needs",
      "src/fhir/a.ts:1: import-node: fhir may not import 'node:crypto'; pass in what it needs",
      "src/fhir/b.ts:1: import-node: fhir may not import 'crypto'; pass in what it needs",
    ]);
  });
});

describe('files', () => {
  test('a relative import has to end with .ts', () => {
    expect(
      checkImports([
        ['cli/a.ts', './gone'],
        ['cli/b.ts', './gone.js'],
      ]),
    ).toEqual([
      "src/cli/a.ts:1: import-suffix: './gone' does not end with .ts; add it",
      "src/cli/b.ts:1: import-suffix: './gone.js' does not end with .ts; add it",
    ]);
  });

  test.each([
    ['export from', "export * from './b.ts';\n"],
    ['import and export', "import { b } from './b.ts';\nexport { b };\n"],
  ])('a barrel by %s is refused, and an index.ts with code of its own is not', (_way, text) => {
    const own = 'export const b = 1;\n';
    expect(check({ 'json/b.ts': own, 'json/index.ts': text, 'json/own/index.ts': own })).toEqual([
      'src/json/index.ts:1: barrel: nothing but re-exports; import each thing from the file that defines it',
    ]);
  });

  test('a cycle is refused, with its path, once', () => {
    const findings = check({
      'domain/a.ts': "import './b.ts';\nexport const a = 1;\n",
      'domain/b.ts': "import './leaf.ts';\nimport './c.ts';\nexport const b = 1;\n",
      'domain/c.ts': "import './leaf.ts';\nimport './b.ts';\nexport const c = 1;\n",
      'domain/leaf.ts': 'export const leaf = 1;\n',
    });
    expect(findings).toEqual([
      'src/domain/c.ts:2: import-cycle: domain/b.ts -> domain/c.ts -> domain/b.ts; move what they share to a file of its own',
    ]);
  });

  test('only TypeScript below src is looked at', () => {
    mkdirSync(join(root, 'tests'));
    writeFileSync(join(root, 'tests/a.ts'), '// line\n'.repeat(300));
    mkdirSync(join(root, 'src/web'), { recursive: true });
    writeFileSync(join(root, 'src/web/page.js'), '// line\n'.repeat(300));
    expect(check({ 'web/a.ts': 'export const a = 1;\n' })).toEqual([]);
  });

  test('a root without sources is refused rather than passed', () => {
    const { status, stderr } = spawnSync(process.execPath, [script, root], { encoding: 'utf8' });
    expect(status).toBe(1);
    expect(stderr).toContain(
      `no TypeScript files in ${join(root, 'src')}; give the repository's root folder`,
    );
  });
});
