/** The verifiers that go into bundles, each one file, so that a stranger has one thing to read and to run. */
import { readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';

const PARTS = ['note.js', 'erased.js', 'verify.js'].map((name) =>
  fileURLToPath(new URL(`../../bundle-verifier/${name}`, import.meta.url)),
);

export const verifierFile = (): string =>
  PARTS.map((part) => readFileSync(part, 'utf8'))
    .join('\n')
    .replace(/^import \{[^}]*\} from '\.\/\w+\.js';\n/gm, '')
    .replace(/^\/\/# sourceMappingURL=.*\n?/gm, '')
    .replace(/^export /gm, '');

/** The same in another language, written apart from it. */
export const pythonVerifier = (): string =>
  readFileSync(fileURLToPath(new URL('../../../src/bundle-verifier/verify.py', import.meta.url)), 'utf8');
