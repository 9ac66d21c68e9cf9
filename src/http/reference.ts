import type { FastifyInstance } from 'fastify';
import { z } from 'zod';
import { problems } from './native/answers.ts';
import { writeOpenApi } from './openapi.ts';
import { json } from './route-doc.ts';
import type { Routes } from './routes.ts';
import { sendJson } from './send-json.ts';

const document = z.looseObject({ openapi: z.string(), info: z.looseObject({}), paths: z.looseObject({}) });

/** Serves the API reference, made from the routes once all are there; a route without documentation stops the start. */
export function registerReference(app: FastifyInstance, routes: Routes): void {
  let text = '';
  app.addHook('onReady', (done) => {
    text = writeOpenApi(routes.all);
    done();
  });
  const doc = {
    operation: 'apiReference',
    access: 'public' as const,
    summary: 'This document',
    answers: { 200: json('The API reference, OpenAPI 3.1.', document), ...problems({}) },
  };
  app.get('/openapi.json', { config: { doc } }, (_request, reply) => sendJson(reply, text));
}
