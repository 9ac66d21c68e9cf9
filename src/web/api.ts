/** The one place where the page speaks with the service, and says by what it is known. */
import { heard, serviceNow } from './clock.ts';
import { askCredential, credentialHeaders } from './credential.ts';

export interface Problem {
  readonly type: string;
  readonly title: string;
  readonly detail: string;
  readonly status: number;
  readonly errors?: readonly Fault[];
}

export interface Fault {
  readonly pointer: string;
  /** JSON; shortened where it is long. */
  readonly value?: string;
  readonly detail: string;
  readonly mend: string;
}

export type Reply<T> =
  | { readonly ok: true; readonly status: number; readonly body: T }
  | { readonly ok: false; readonly problem: Problem };

/** No answer came: the service may or may not have heard. */
export class NoAnswer extends Error {}

const LIMIT_MS = 15_000;

/** Where the service asks who comes, the person is asked, and what was asked is asked again. */
async function answered(path: string, init: RequestInit): Promise<Response> {
  const response = await fetched(path, init);
  if (response.status !== 401 || !(await askCredential())) return response;
  return fetched(path, init);
}

async function fetched(path: string, init: RequestInit): Promise<Response> {
  const headers = { ...credentialHeaders(), ...init.headers };
  try {
    const limited = { ...init, headers, signal: AbortSignal.timeout(LIMIT_MS) };
    const response = await fetch(path, { ...limited, cache: 'no-store' });
    heard(response.headers.get('date'));
    return response;
  } catch {
    throw new NoAnswer('no answer from the service');
  }
}

/** @throws {NoAnswer} */
async function ask<T>(path: string): Promise<Reply<T>> {
  return replyOf(await answered(path, {}));
}

/** @param body JSON text @throws {NoAnswer} */
export async function post<T>(path: string, body: string): Promise<Reply<T>> {
  return replyOf(
    await answered(path, { method: 'POST', body, headers: { 'content-type': 'application/json' } }),
  );
}

async function replyOf<T>(response: Response): Promise<Reply<T>> {
  try {
    const body: unknown = await response.json();
    return response.ok
      ? { ok: true, status: response.status, body: body as T }
      : { ok: false, problem: body as Problem };
  } catch {
    throw new NoAnswer('the answer was cut');
  }
}

/** What was asked for. @throws {NoAnswer} @throws {Error} with the service's words where it refuses */
export async function askSure<T>(path: string): Promise<T> {
  const reply = await ask<T>(path);
  if (reply.ok) return reply.body;
  const { status, title, detail } = reply.problem;
  // How to mend an address is for those who write programs.
  throw new Error(status === 404 ? `${title}.` : detail);
}

/** Why something cannot be shown: that nobody answered is never said of a service that did. */
export const whyNot = (error: unknown): string =>
  error instanceof NoAnswer ? 'No connection.' : error instanceof Error ? error.message : String(error);

/** What was answered, or what was answered last in this session, with when that was. */
export interface Kept<T> {
  readonly body: T;
  /** Null: just now. */
  readonly since: number | null;
}

/**
 * Asks, and falls back on the last answer of this session, so that an entry can be made while the service is away.
 * @param name by which the answer is kept, where the path changes with time
 * @throws {Error} with words for people
 */
export async function askKept<T>(path: string, name = path): Promise<Kept<T>> {
  try {
    const body = await askSure<T>(path);
    keep(name, body);
    return { body, since: null };
  } catch (error) {
    const kept = error instanceof NoAnswer ? sessionStorage.getItem(`kept ${name}`) : null;
    if (kept === null) throw error;
    const { at, body } = JSON.parse(kept) as { at: number; body: T };
    return { body, since: at };
  }
}

function keep(name: string, body: unknown): void {
  try {
    sessionStorage.setItem(`kept ${name}`, JSON.stringify({ at: serviceNow(), body }));
  } catch {
    // Full: then there is nothing to fall back on, which is said when it is needed.
    for (const key of Object.keys(sessionStorage))
      if (key.startsWith('kept ')) sessionStorage.removeItem(key);
  }
}

export interface Image {
  /** An address that the page may show; it holds until it is revoked. */
  readonly address: string;
  /** By which the service knows whether it has changed. */
  readonly tag: string;
}

/**
 * @param held the tag of the image that is shown; null while none is
 * @returns null where what is shown is what would be answered
 * @throws {NoAnswer} @throws {Error} with the service's words where it refuses
 */
export async function askImage(path: string, held: string | null): Promise<Image | null> {
  const response = await answered(path, { headers: held === null ? {} : { 'if-none-match': held } });
  if (response.status === 304) return null;
  const tag = response.headers.get('etag') ?? '';
  if (response.ok) return { address: URL.createObjectURL(await response.blob()), tag };
  const refused = await replyOf<never>(response);
  throw new Error(refused.ok ? 'there is no image' : refused.problem.detail);
}

export interface LiveEvent {
  readonly id: string;
  readonly name: string;
}

/** Server-sent events; ends when the connection does. @param tell null: a sign of life @throws {NoAnswer} */
export async function listenOnce(
  path: string,
  lastId: string | null,
  tell: (event: LiveEvent | null) => void,
  stop: AbortSignal,
): Promise<void> {
  const resume: Record<string, string> = lastId === null ? {} : { 'last-event-id': lastId };
  const response = await fetch(path, {
    headers: { ...credentialHeaders(), ...resume },
    signal: stop,
    cache: 'no-store',
  });
  if (!response.ok || response.body === null) throw new NoAnswer('not listening');
  const reader = response.body.pipeThrough(new TextDecoderStream()).getReader();
  let text = '';
  for (;;) {
    const { done, value } = await reader.read();
    if (done) return;
    text += value;
    const events = text.split('\n\n');
    text = events.pop() ?? '';
    for (const event of events) {
      const field = (name: string) => new RegExp(`^${name}: (.*)$`, 'm').exec(event)?.[1];
      const id = field('id');
      tell(id === undefined ? null : { id, name: field('event') ?? 'message' });
    }
  }
}

export interface Answered {
  readonly status: number;
  readonly type: string;
  readonly text: string;
  /** An address at which the page may show what is an image; null for all else. */
  readonly image: string | null;
}

/** An answer as it came, whatever it says. @throws {NoAnswer} */
export async function askText(method: string, path: string, body: string | null): Promise<Answered> {
  const sent = body === null ? {} : { body, headers: { 'content-type': 'application/json' } };
  const response = await answered(path, { method, ...sent });
  const type = response.headers.get('content-type') ?? '';
  const answer = await response.blob();
  return {
    status: response.status,
    type,
    text: await answer.text(),
    image: type.startsWith('image/') ? URL.createObjectURL(answer) : null,
  };
}
