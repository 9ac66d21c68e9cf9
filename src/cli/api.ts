/** Asks the running service: it alone owns the ledger. */

/** An answer that is no success, in its own words. */
export class Refused extends Error {}

/** @param url of the service; undefined: as the environment says where it listens */
export function serviceAt(url: string | undefined, env: NodeJS.ProcessEnv = process.env) {
  const host = env.DRAINLEDGER_HOST ?? '127.0.0.1';
  const base = (url ?? `http://${host}:${env.DRAINLEDGER_PORT ?? '8080'}`).replace(/\/+$/, '');
  return async <T>(path: string, order?: object): Promise<T> => {
    const response = await fetch(`${base}/v1${path}`, {
      signal: AbortSignal.timeout(30_000),
      ...(order === undefined
        ? {}
        : { method: 'POST', headers: { 'content-type': 'application/json' }, body: JSON.stringify(order) }),
    }).catch((error: unknown) => {
      throw new Refused(`no service answers at ${base}: ${error instanceof Error ? error.message : error}`);
    });
    const text = await response.text();
    if (!response.ok) throw new Refused(detailOf(text, response.status));
    return JSON.parse(text) as T;
  };
}

export type Service = ReturnType<typeof serviceAt>;

function detailOf(text: string, status: number): string {
  try {
    const { title, detail } = JSON.parse(text) as { title?: string; detail?: string };
    return `${title ?? `HTTP ${status}`}: ${detail ?? ''}`;
  } catch {
    return `HTTP ${status}`;
  }
}
