// Checks what neither the compiler nor the linter knows about src/: how large things may be, and which
// folder may lean on which. Run as: node tests/structure/check-structure.mjs [rootDir]
import { existsSync, readdirSync } from 'node:fs';
import { isBuiltin } from 'node:module';
import { basename, join, posix, resolve } from 'node:path';
import { SyntaxKind } from 'typescript/unstable/ast';
import { isFunctionLikeDeclaration } from 'typescript/unstable/ast/is';
import { API } from 'typescript/unstable/sync';

const MOST_FILE_LINES = 250;
const MOST_FUNCTION_LINES = 40;

const ANYTHING = [''];
const GROUND = ['domain/vocabulary', 'domain/numbers'];
// Each top folder of src with what it may import: folders, or single files. '.' stands for src's own files. A folder
// inside one has a row of its own where more than that is asked of it.
const MAY_IMPORT = {
  '.': ANYTHING,
  bench: ANYTHING,
  // Goes into audit bundles as it is, so it stands alone.
  'bundle-verifier': ['bundle-verifier'],
  // Goes to another host as it is.
  witness: [],
  cli: ANYTHING,
  // A facility's files and variables, read for what is configured by them.
  configuration: [
    'configuration',
    'auth',
    'delivery',
    'domain',
    'fhir',
    'hl7v2/mllp/listener.ts',
    'intake/hl7v2',
    'json',
    'record/calendar.ts',
    'rules',
    'store/port.ts',
  ],
  demo: ANYTHING,
  domain: ['domain'],
  // Its floors, from the ground up.
  'domain/numbers': ['domain/numbers'],
  'domain/vocabulary': ['domain/vocabulary', 'domain/numbers'],
  'domain/fold': ['domain/fold', ...GROUND],
  'domain/assessment': ['domain/assessment', 'domain/fold', ...GROUND],
  'domain/calendar': ['domain/calendar', 'domain/fold', ...GROUND],
  'domain/advisories': ['domain/advisories', 'domain/assessment', 'domain/fold', ...GROUND],
  'domain/removal': ['domain/removal', 'domain/assessment', 'domain/calendar', 'domain/fold', ...GROUND],
  'domain/facts': ['domain/facts', 'domain/advisories', 'domain/calendar', 'domain/fold', ...GROUND],
  'domain/book': [
    'domain/book',
    'domain/facts',
    'domain/advisories',
    'domain/calendar',
    'domain/fold',
    ...GROUND,
  ],
  'domain/devices': ['domain/devices', 'domain/book', 'domain/advisories', 'domain/fold', ...GROUND],
  json: ['json'],
  fhir: ['fhir', 'domain', 'json'],
  intake: ['intake', 'domain', 'json', 'fhir'],
  audit: ['audit', 'domain', 'json'],
  auth: ['auth', 'domain', 'json'],
  store: ['store', 'domain', 'json', 'audit'],
  delivery: ['delivery', 'store/delivery-port.ts', 'store/port.ts', 'fhir', 'domain', 'json'],
  escrow: ['escrow', 'store/port.ts', 'audit', 'domain', 'json'],
  rules: ['rules', 'domain'],
  search: ['search', 'store/sqlite/open.ts', 'store/sqlite/frames.ts', 'fhir', 'domain', 'json'],
  record: ['record', 'store/port.ts', 'store/device-port.ts', 'domain', 'fhir', 'audit', 'json'],
  export: [
    'export',
    'store/port.ts',
    'store/sqlite/open.ts',
    'store/sqlite/frames.ts',
    'store/sqlite/log-end.ts',
    'escrow/durable-file.ts',
    'domain',
    'fhir',
    'audit',
    'json',
  ],
  plots: ['plots', 'record', 'domain'],
  // The door of HL7 v2 messages, over MLLP and for the route.
  hl7v2: ['hl7v2', 'record', 'store/port.ts', 'intake', 'domain', 'json', 'auth', 'audit'],
  http: [
    'http',
    'plots',
    'record',
    'store/delivery-port.ts',
    'store/port.ts',
    'store/unmapped-port.ts',
    'search/port.ts',
    'search/zone.ts',
    'intake',
    'hl7v2/take.ts',
    'fhir',
    'domain',
    'json',
    'auth',
    'export',
    'audit',
  ],
  web: ['web'],
  'ehr-stand-in': ['ehr-stand-in', 'json'],
};
// What only a few may import, whatever the table above allows them: the store's two engines.
const ONLY_IMPORTED_BY = {
  'store/sqlite': ['store/sqlite', 'search', 'export', 'main.ts', 'service.ts', 'cli', 'bench', 'demo'],
  'store/postgres': ['store/postgres', 'main.ts', 'service.ts', 'cli', 'bench', 'demo'],
};
// Folders that stay free of the outside world: of Node's own modules, or of every package as well.
const NO_NODE_MODULES = ['domain', 'fhir'];
const NO_PACKAGES = ['domain'];

const isWithin = (path, place) => place === '' || path === place || path.startsWith(`${place}/`);
const isWithinAny = (path, places) => places.some((place) => isWithin(path, place));

function listSources(folder) {
  if (!existsSync(folder)) return [];
  return readdirSync(folder, { recursive: true })
    .map((path) => path.replaceAll('\\', '/'))
    .filter((path) => path.endsWith('.ts'))
    .sort();
}

/** Reads every source with the compiler's own parser; the settings exist only in memory. */
function parse(rootDir, paths) {
  const settingsFile = join(rootDir, 'tsconfig.structure.json');
  const settings = JSON.stringify({
    compilerOptions: { noLib: true, noResolve: true, types: [], noEmit: true },
    files: paths.map((path) => `src/${path}`),
  });
  const api = new API({
    cwd: rootDir,
    fs: {
      readFile: (file) => (file === settingsFile ? settings : undefined),
      fileExists: (file) => (file === settingsFile ? true : undefined),
    },
  });
  try {
    const { program } = api.updateSnapshot({ openProjects: [settingsFile] }).getProject(settingsFile);
    return paths.map((path) => survey(path, program.getSourceFile(join(rootDir, 'src', path))));
  } finally {
    api.close();
  }
}

/** Boils a parsed file down to what the rules ask about. */
function survey(path, tree) {
  const lines = tree.text.replace(/\n$/, '').split('\n').length;
  const source = { path, lines, functions: [], imports: [], isBarrel: isBarrel(tree) };
  const lineAt = (position) => tree.text.slice(0, position).split('\n').length;
  const visit = (node) => {
    if (isFunctionLikeDeclaration(node) && node.body !== undefined) {
      const line = lineAt(node.getStart(tree));
      source.functions.push({
        line,
        name: (node.name ?? node.parent.name)?.text,
        lines: lineAt(node.end) - line + 1 - linesOfInner(node, lineAt, tree),
      });
    }
    const specifier = specifierOf(node);
    if (specifier !== undefined)
      source.imports.push({ line: lineAt(specifier.getStart(tree)), text: specifier.text });
    node.forEachChild(visit);
  };
  visit(tree);
  return source;
}

/** Lines of functions declared inside another: they are read, and measured, on their own. */
function linesOfInner(outer, lineAt, tree) {
  let lines = 0;
  const visit = (node) => {
    const isDeclared =
      node.kind === SyntaxKind.FunctionDeclaration || node.kind === SyntaxKind.MethodDeclaration;
    if (isDeclared && node.body !== undefined) lines += lineAt(node.end) - lineAt(node.getStart(tree)) + 1;
    else node.forEachChild(visit);
  };
  outer.forEachChild(visit);
  return lines;
}

function specifierOf(node) {
  switch (node.kind) {
    case SyntaxKind.ImportDeclaration:
    case SyntaxKind.ExportDeclaration:
      return node.moduleSpecifier;
    case SyntaxKind.ImportType:
      return node.argument.literal;
    case SyntaxKind.CallExpression:
      return node.expression.kind === SyntaxKind.ImportKeyword ? node.arguments[0] : undefined;
    default:
      return undefined;
  }
}

function isBarrel(tree) {
  const passesOn = [SyntaxKind.ImportDeclaration, SyntaxKind.ExportDeclaration];
  return (
    tree.statements.some(({ kind }) => kind === SyntaxKind.ExportDeclaration) &&
    tree.statements.every(({ kind }) => passesOn.includes(kind))
  );
}

function* sizeFindings({ path, lines, functions, isBarrel }) {
  if (lines > MOST_FILE_LINES) {
    yield [
      path,
      1,
      'file-length',
      `${lines} lines, at most ${MOST_FILE_LINES}; split it by what changes together`,
    ];
  }
  for (const { line, name, lines } of functions.filter(({ lines }) => lines > MOST_FUNCTION_LINES)) {
    const what = name ?? 'a function without a name';
    yield [
      path,
      line,
      'function-length',
      `${what} has ${lines} lines of its own, at most ${MOST_FUNCTION_LINES}; split it`,
    ];
  }
  if (isBarrel) {
    yield [path, 1, 'barrel', 'nothing but re-exports; import each thing from the file that defines it'];
  }
}

function* folderFindings({ path }) {
  const folder = topFolderOf(path);
  if (MAY_IMPORT[folder] === undefined) {
    yield [
      path,
      1,
      'unknown-folder',
      `src/${folder} has no row in MAY_IMPORT of ${basename(import.meta.url)}; add one`,
    ];
  }
}

function* importFindings({ path, imports }) {
  const folder = topFolderOf(path);
  for (const { line, text } of imports) {
    if (text.startsWith('.')) {
      if (!text.endsWith('.ts'))
        yield [path, line, 'import-suffix', `'${text}' does not end with .ts; add it`];
      yield* directionFindings(path, line, targetOf(path, text));
    } else if (isBuiltin(text) && NO_NODE_MODULES.includes(folder)) {
      yield [path, line, 'import-node', `${folder} may not import '${text}'; pass in what it needs`];
    } else if (!isBuiltin(text) && NO_PACKAGES.includes(folder)) {
      yield [path, line, 'import-package', `${folder} may not import '${text}'; pass in what it needs`];
    }
  }
}

function* directionFindings(path, line, target) {
  const folder = rowOf(path);
  const allowed = MAY_IMPORT[folder] ?? ANYTHING;
  if (!isWithinAny(target, allowed)) {
    yield [
      path,
      line,
      'import-direction',
      `${folder} may not import ${target}; it may import ${allowed.join(', ')}`,
    ];
  }
  for (const [guarded, importers] of Object.entries(ONLY_IMPORTED_BY)) {
    if (isWithin(target, guarded) && !isWithinAny(path, importers)) {
      yield [
        path,
        line,
        'import-guarded',
        `only ${importers.join(', ')} may import ${guarded}; take store/port.ts`,
      ];
    }
  }
}

/** Follows imports depth first; an import of a file that is still being followed closes a cycle. */
function* cycleFindings(sources) {
  const byPath = new Map(sources.map((source) => [source.path, source]));
  const done = new Set();
  function* follow(path, trail) {
    for (const { line, text } of byPath.get(path).imports.filter(({ text }) => text.startsWith('.'))) {
      const target = targetOf(path, text);
      const start = [...trail, path].indexOf(target);
      if (start >= 0) {
        const cycle = [...trail, path, target].slice(start).join(' -> ');
        yield [path, line, 'import-cycle', `${cycle}; move what they share to a file of its own`];
      } else if (byPath.has(target) && !done.has(target)) {
        yield* follow(target, [...trail, path]);
      }
    }
    done.add(path);
  }
  for (const { path } of sources) if (!done.has(path)) yield* follow(path, []);
}

/** The row that says most exactly where a file is. */
function rowOf(path) {
  const [closest] = Object.keys(MAY_IMPORT)
    .filter((row) => isWithin(path, row))
    .sort((a, b) => b.length - a.length);
  return closest ?? topFolderOf(path);
}

function topFolderOf(path) {
  return path.includes('/') ? path.slice(0, path.indexOf('/')) : '.';
}

function targetOf(path, specifier) {
  return posix.normalize(posix.join(posix.dirname(path), specifier));
}

const rootDir = resolve(process.argv[2] ?? '.');
const paths = listSources(join(rootDir, 'src'));
if (paths.length === 0) {
  console.error(`no TypeScript files in ${join(rootDir, 'src')}; give the repository's root folder`);
  process.exit(1);
}
const sources = parse(rootDir, paths);
const findings = [
  ...sources.flatMap((source) => [
    ...sizeFindings(source),
    ...folderFindings(source),
    ...importFindings(source),
  ]),
  ...cycleFindings(sources),
];
for (const [path, line, rule, message] of findings) console.log(`src/${path}:${line}: ${rule}: ${message}`);
if (findings.length > 0) process.exit(1);
console.log(`structure: ${sources.length} files, nothing to report`);
