/** All routes of an application, as they are registered. */
import type { FastifyInstance, RouteOptions } from 'fastify';
import type { RouteDoc } from './route-doc.ts';

export interface Route {
  readonly method: string;
  /** Path as registered, such as /v1/drains/:drain. */
  readonly url: string;
  readonly doc: RouteDoc | undefined;
}

export interface Routes {
  readonly all: readonly Route[];
  /** Methods known at a path; empty where there is nothing. */
  methodsAt(path: string): readonly string[];
}

/** Keeps a list of the routes that are registered from now on. */
export function collectRoutes(app: FastifyInstance): Routes {
  const all: Route[] = [];
  app.addHook('onRoute', ({ method, url, config }: RouteOptions) => {
    for (const each of [method].flat()) all.push({ method: each, url, doc: config?.doc });
  });
  return {
    all,
    methodsAt: (path) => all.filter(({ url }) => matches(url, path)).map(({ method }) => method),
  };
}

function matches(url: string, path: string): boolean {
  const steps = url.split('/');
  const taken = path.split('/');
  return steps.length === taken.length && steps.every((step, n) => step.startsWith(':') || step === taken[n]);
}
