/** The API reference: every operation as the service itself describes it, with an example that runs. */
import { type Answered, askText } from './api.ts';
import { button, type Child, fill, h, link } from './dom.ts';
import { curlText, exampleOf, type Known, type OpenApi, type Operation, type Schema } from './openapi.ts';
import { tableView } from './table.ts';

const MOST_SHOWN = 20_000;

interface Listed {
  readonly method: string;
  readonly path: string;
  readonly operation: Operation;
}

/** The document writes names between backticks, as CommonMark does; nothing else of it is used there. */
const prose = (words: string): Child =>
  words.split('`').map((part, n) => (n % 2 === 0 ? part : h('code', {}, part)));

function operationView(listed: Listed, known: Known): HTMLElement {
  const { method, path, operation } = listed;
  const body = h('div');
  const details = h(
    'details',
    { class: 'operation', id: operation.operationId, on: { toggle: show } },
    h(
      'summary',
      {},
      h('span', { class: 'method' }, method.toUpperCase()),
      h('code', {}, path),
      ' ',
      prose(operation.summary),
    ),
    body,
  );
  /** Filled when it is first opened: there are many. */
  function show(): void {
    if (details.open && body.childElementCount === 0) fill(body, partsOf(listed, known));
  }
  return details;
}

function partsOf({ method, path, operation }: Listed, known: Known): Child {
  const { description, parameters = [], requestBody, responses } = operation;
  return [
    description.split('\n\n').map((words) => h('p', {}, prose(words))),
    parameters.length > 0 && parametersTable(parameters),
    Object.entries(requestBody?.content ?? {}).map(([type, { schema }]) => [
      h('h4', {}, `Body, ${type}`),
      schemaView(schema),
    ]),
    h('h4', {}, 'Answers'),
    h(
      'ul',
      {},
      Object.entries(responses).map(([status, answer]) =>
        h(
          'li',
          {},
          h('strong', {}, status),
          ' ',
          prose(answer.description),
          ' ',
          Object.entries(answer.content ?? {}).map(([type, { schema }]) => [`${type} `, schemaView(schema)]),
        ),
      ),
    ),
    exampleView(exampleOf(method, path, operation, known, new Date().toISOString())),
  ];
}

const parametersTable = (parameters: NonNullable<Operation['parameters']>): HTMLElement =>
  tableView(
    'Parameters',
    null,
    ['Parameter', 'In', 'Meaning'],
    parameters.map(({ name, in: place, description, schema }) =>
      h(
        'tr',
        {},
        h('th', { scope: 'row' }, h('code', {}, name)),
        h('td', {}, place),
        h('td', {}, prose(description ?? ''), ' ', h('code', {}, typeText(schema))),
      ),
    ),
  );

const typeText = ({ type, enum: words, format, minimum, maximum }: Schema): string =>
  [
    Array.isArray(words) ? words.join(' | ') : String(type ?? ''),
    format,
    minimum !== undefined && maximum !== undefined && `${minimum} to ${maximum}`,
  ]
    .filter(Boolean)
    .join(', ');

/** A named schema as a link to it, any other as it is written. */
function schemaView(schema: Schema): Child {
  const name = schema.$ref?.split('/').at(-1);
  if (name !== undefined) return link(name, `#schema-${name}`);
  return codeBlock('Schema', JSON.stringify(schema, null, 2));
}

const codeBlock = (label: string, words: string): HTMLElement =>
  h('pre', { tabindex: 0, role: 'region', 'aria-label': label }, h('code', {}, words));

function exampleView(example: ReturnType<typeof exampleOf>): Child {
  const answer = h('div', { 'aria-live': 'polite' });
  const run = async (): Promise<void> => {
    fill(answer, h('p', {}, 'Asking…'));
    fill(answer, await askText(example.method, example.path, example.body).then(answerView, failedView));
  };
  return [
    h('h4', {}, 'Example'),
    codeBlock('Example', curlText(example, location.origin)),
    example.isHarmless
      ? h(
          'p',
          { class: 'actions' },
          button('Run', () => void run()),
        )
      : h(
          'p',
          { class: 'hint' },
          'Not run from here: it would write, would not end, or needs an id of yours.',
        ),
    answer,
  ];
}

const answerView = ({ status, type, text, image }: Answered): Child => [
  h('p', {}, h('strong', {}, String(status)), ` ${type}`),
  image === null
    ? codeBlock('Answer', (type.includes('json') ? pretty(text) : text).slice(0, MOST_SHOWN))
    : h('img', {
        src: image,
        alt: 'The image that was answered.',
        // Its bytes are held as long as its address is.
        on: { load: () => URL.revokeObjectURL(image) },
      }),
];
const failedView = (error: unknown): Child => h('p', {}, String(error));

const pretty = (text: string): string => JSON.stringify(JSON.parse(text), null, 2);

function schemaDetails(name: string, schema: Schema): HTMLElement {
  return h(
    'details',
    { class: 'operation', id: `schema-${name}` },
    h('summary', {}, h('code', {}, name), schema.description === undefined ? '' : ` ${schema.description}`),
    h('div', {}, codeBlock(name, JSON.stringify(schema, null, 2))),
  );
}

/** A link to a schema or an operation opens it. */
function openNamed(): void {
  const named = document.getElementById(decodeURIComponent(location.hash.slice(1)));
  if (named instanceof HTMLDetailsElement) named.open = true;
  named?.scrollIntoView();
}

async function show(): Promise<void> {
  const pages = h(
    'nav',
    { 'aria-label': 'Pages' },
    link('Drains', '/#/', 'brand'),
    link('openapi.json', '/openapi.json'),
  );
  const main = h('main', {}, h('h1', {}, 'API reference'));
  document.body.prepend(h('header', {}, pages), main);
  const [reference, drains] = await Promise.all([
    askText('GET', '/openapi.json', null).then(({ text }) => JSON.parse(text) as OpenApi),
    askText('GET', '/v1/drains', null).then(({ text }) => JSON.parse(text) as { drains?: readonly Known[] }),
  ]);
  fill(main, wholeView(reference, drains.drains?.[0] ?? { drain: 'id-of-a-drain' }));
  openNamed();
}

const PARTS = [
  ['Native API', (path: string) => path.startsWith('/v1')],
  ['FHIR R4', (path: string) => path.startsWith('/fhir')],
  ['Process and pages', (path: string) => !path.startsWith('/v1') && !path.startsWith('/fhir')],
] as const;

function wholeView({ info, paths, components }: OpenApi, known: Known): Child {
  const all: readonly Listed[] = Object.entries(paths).flatMap(([path, methods]) =>
    Object.entries(methods).map(([method, operation]) => ({ method, path, operation })),
  );
  return [
    h('h1', {}, 'API reference'),
    info.description.split('\n\n').map((words) => h('p', {}, prose(words))),
    PARTS.map(([title, has]) => [
      h('h2', {}, title),
      all.filter(({ path }) => has(path)).map((listed) => operationView(listed, known)),
    ]),
    h('h2', {}, 'Schemas'),
    Object.entries(components.schemas).map(([name, schema]) => schemaDetails(name, schema)),
  ];
}

addEventListener('hashchange', openNamed);
void show();
