/** Asks the running service: it alone owns the ledger. */
import { readSecret } from '../delivery/auth/secret-file.ts';

/** An answer that is no success, in its own words. */
export class Refused extends Error {}

export interface At {
  /** Of the service; without it as the environment says where it listens. */
  readonly url?: string;
  /** A file, for its owner's eyes only, with the key or token that says who asks. */
  readonly 'token-file'?: string;
}

/** @returns where the service is, without a slash at the end, and the headers that say who asks */
export function reach({ url, 'token-file': tokenFile }: At, env: NodeJS.ProcessEnv = process.env) {
  const host = env.DRAINLEDGER_HOST ?? '127.0.0.1';
  const base = (url ?? `http://${host}:${env.DRAINLEDGER_PORT ?? '8080'}`).replace(/\/+$/, '');
  const token = tokenFile === undefined ? null : readSecret(tokenFile).trim();
  const who: Record<string, string> = token === null ? {} : { authorization: `Bearer ${token}` };
  return { base, who };
}

export function serviceAt(at: At) {
  const { base, who } = reach(at);
  return async <T>(path: string, order?: object): Promise<T> => {
    const response = await fetch(`${base}/v1${path}`, {
      signal: AbortSignal.timeout(30_000),
      headers: order === undefined ? who : { ...who, 'content-type': 'application/json' },
      ...(order === undefined ? {} : { method: 'POST', body: JSON.stringify(order) }),
    }).catch((error: unknown) => {
      throw new Refused(`no service answers at ${base}: ${error instanceof Error ? error.message : error}`);
    });
    const text = await response.text();
    if (response.status === 401) throw new Refused(NOT_KNOWN);
    if (!response.ok) throw new Refused(detailOf(text, response.status));
    return JSON.parse(text) as T;
  };
}

const NOT_KNOWN =
  'the service asks who asks: name a file with a key or token that it knows, by --token-file FILE';

export type Service = ReturnType<typeof serviceAt>;

function detailOf(text: string, status: number): string {
  try {
    const { title, detail } = JSON.parse(text) as { title?: string; detail?: string };
    return `${title ?? `HTTP ${status}`}: ${detail ?? ''}`;
  } catch {
    return `HTTP ${status}`;
  }
}
