import type { FastifyInstance } from 'fastify';
import { drainNamedBy } from './named-drain.ts';
import type { Parts } from './parts.ts';
import { type Problem, problem } from './problem.ts';
import { refuse } from './refuse.ts';

/**
 * Whoever asks for what was lawfully erased is told so, rather than that it never was. The hook stands after the one that
 * says who may ask for the drain.
 */
export function tellOfErasures(app: FastifyInstance, { store }: Pick<Parts, 'store'>): void {
  app.addHook('onRequest', (request, reply, done) => {
    const drain = drainNamedBy(request);
    const erasure = drain === undefined ? null : store.erasureOf(drain);
    if (erasure === null) done();
    else refuse(request, reply, gone(erasure));
  });
}

function gone({ logIndex, recordedAt }: { readonly logIndex: number; readonly recordedAt: string }): Problem {
  const detail =
    `What was charted of this drain was lawfully erased on ${recordedAt}; entry ${logIndex} of the log says ` +
    'by whose order. Ask whoever answers for the log.';
  return problem(410, 'erased', 'It was erased', detail);
}
