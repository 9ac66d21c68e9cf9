/** The bedside page and the API reference: their files as they are built, under a policy that lets nothing else in. */
import { existsSync, readdirSync, readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import type { FastifyInstance, FastifyReply, FastifyRequest } from 'fastify';
import { z } from 'zod';
import { holds, tagOf, UNCHANGED } from './etag.ts';
import { problems } from './native/answers.ts';
import { problem } from './problem.ts';
import { sendProblem } from './refuse.ts';
import type { RouteDoc } from './route-doc.ts';

/** What is written by hand stays where it is; what is compiled lies in dist/. Both seen from src/http and from dist/http. */
const FOLDERS = ['../../src/web/', '../../dist/web/'].map((path) =>
  fileURLToPath(new URL(path, import.meta.url)),
);
const TYPES = {
  html: 'text/html; charset=utf-8',
  css: 'text/css; charset=utf-8',
  js: 'text/javascript; charset=utf-8',
  svg: 'image/svg+xml; charset=utf-8',
} as const;

/** Own scripts and styles only, no inline ones; images that the page itself has fetched are blobs. */
const POLICY = [
  "default-src 'none'",
  "script-src 'self'",
  "style-src 'self'",
  "img-src 'self' blob:",
  "connect-src 'self'",
  "worker-src 'self'",
  "base-uri 'none'",
  "form-action 'none'",
  "frame-ancestors 'none'",
].join('; ');

interface PageFile {
  readonly type: string;
  readonly text: string;
  readonly tag: string;
}

const html = (text: string) => ({ text, schema: z.string(), mediaType: 'text/html' });

const DOCS = {
  page: {
    operation: 'page',
    access: 'public',
    summary: 'The bedside page',
    answers: { 200: html('The page.'), 304: UNCHANGED, ...problems({}) },
  },
  reference: {
    operation: 'referencePage',
    access: 'public',
    summary: 'This reference, to read and to try',
    answers: { 200: html('The page.'), 304: UNCHANGED, ...problems({}) },
  },
  file: {
    operation: 'pageFile',
    access: 'public',
    summary: 'A script or style of the page',
    answers: {
      200: {
        text: 'The file.',
        schema: z.string(),
        mediaType: 'text/javascript',
        also: { 'text/css': z.string(), 'image/svg+xml': z.string() },
      },
      304: UNCHANGED,
      ...problems({ 404: 'There is no such file.' }),
    },
  },
} as const satisfies Readonly<Record<string, RouteDoc>>;

export function registerPage(app: FastifyInstance): void {
  const files = readFiles();
  const send = (request: FastifyRequest, reply: FastifyReply, name: string): FastifyReply => {
    const file = files.get(name);
    if (file === undefined) return sendProblem(reply, NO_FILE);
    reply.headers({
      // Asked for anew each time, so that a page never runs with scripts of another release.
      'cache-control': 'no-cache',
      'content-security-policy': POLICY,
      'service-worker-allowed': '/',
    });
    if (holds(request, reply, file.tag)) return reply.code(304).send();
    return reply.type(file.type).send(file.text);
  };
  app.get('/', { config: { doc: DOCS.page } }, (request, reply) => send(request, reply, 'index.html'));
  app.get('/reference', { config: { doc: DOCS.reference } }, (request, reply) =>
    send(request, reply, 'reference.html'),
  );
  app.get<{ Params: { file: string } }>('/page/:file', { config: { doc: DOCS.file } }, (request, reply) =>
    send(request, reply, request.params.file),
  );
}

const NO_FILE = problem(404, 'no-such-file', 'There is no such file', 'Build the page: npm run build.');

/** All at once: what is not there when the service starts is never looked for on disk. */
function readFiles(): ReadonlyMap<string, PageFile> {
  const files = new Map<string, PageFile>();
  for (const folder of FOLDERS.filter((each) => existsSync(each))) {
    for (const name of readdirSync(folder)) {
      const type = TYPES[name.slice(name.lastIndexOf('.') + 1) as keyof typeof TYPES];
      if (type === undefined) continue;
      const text = readFileSync(`${folder}${name}`, 'utf8');
      files.set(name, { type, text, tag: tagOf(text) });
    }
  }
  return files;
}
