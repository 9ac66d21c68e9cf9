/**
 * A FHIR server in memory that fails in every way it is told to. A write that nobody hears of may be done at once,
 * never, or any time until the ceiling, as behind a gateway that gave up. Conditional create looks first and writes
 * later, as servers do: two at once make two.
 */
import { type HttpAnswer, type HttpRequest, NoAnswer, NotSent } from '../../../src/delivery/http.ts';
import type { Failing, Fault, Queued, RequestFault } from './faults.ts';
import type { VirtualClock } from './virtual-clock.ts';

const isQueueing = (fault: Fault): fault is Queued => fault.kind === 'queued';

export interface Version {
  readonly text: string;
  readonly number: number;
}

export interface Commit {
  readonly remote: string;
  readonly text: string;
  /** It was queued for review, so that what came after it may have been done first. */
  readonly queued: boolean;
}

export interface SimEhr {
  send(request: HttpRequest): Promise<HttpAnswer>;
  readonly resources: ReadonlyMap<string, Version>;
  readonly commits: readonly Commit[];
  /** What must never happen, and did. */
  readonly faults: readonly string[];
  readonly requests: number;
  token: number;
}

export interface SimEhrOptions {
  readonly clock: Pick<VirtualClock, 'now' | 'after'>;
  readonly base: string;
  readonly timeoutMs: number;
  readonly ceilingMs: number;
  random(): number;
  /** What goes wrong with this request. */
  faultFor(request: HttpRequest): RequestFault;
  /** It creates whatever is sent, as a server does that does not know the header. */
  readonly ignoresConditions: boolean;
  /** Resources that it will never take. */
  isPoison(text: string): boolean;
}

type Said = HttpAnswer;

const answer = (status: number, body: object | string = '', headers: Record<string, string> = {}): Said => ({
  status,
  headers,
  body: typeof body === 'string' ? body : JSON.stringify(body),
});
const issue = (status: number, code: string, headers: Record<string, string> = {}): Said =>
  answer(
    status,
    { resourceType: 'OperationOutcome', issue: [{ severity: 'error', code, diagnostics: `sim ${status}` }] },
    headers,
  );

interface Write {
  readonly method: 'POST' | 'PUT';
  /** Type/id, or the type alone. */
  readonly url: string;
  readonly text: string;
  readonly ifMatch: string | undefined;
  readonly ifNoneExist: string | undefined;
}

export function createSimEhr(options: SimEhrOptions): SimEhr {
  const { clock, base, random } = options;
  const resources = new Map<string, Version>();
  const commits: Commit[] = [];
  const faults: string[] = [];
  const inFlight = new Map<string, number>();
  let ids = 0;
  let requests = 0;

  const identifierOf = (text: string): string =>
    /"identifier":\[\{"system":"([^"]+)","value":"([^"]+)"/.exec(text)?.slice(1).join('|') ?? '';
  const drainIn = (text: string): string => /\.([a-z2-7]{16})\./.exec(decodeURIComponent(text))?.[1] ?? '';
  const matching = (identifier: string): string[] =>
    [...resources].filter(([, { text }]) => identifierOf(text) === identifier).map(([remote]) => remote);

  function keep(remote: string, text: string, queued: boolean): Version {
    const before = resources.get(remote);
    const version = { text, number: (before?.number ?? 0) + 1 };
    resources.set(remote, version);
    commits.push({ remote, text, queued });
    return version;
  }

  /** What the server would answer, and what it would do: looked at now, done later. */
  function judge({
    method,
    url,
    text,
    ifMatch,
    ifNoneExist,
  }: Write): { readonly refused: Said } | { commit(queued: boolean): Said } {
    if (options.isPoison(text)) return { refused: issue(422, 'business-rule') };
    if (method === 'POST') {
      const found = options.ignoresConditions ? [] : matching(ifNoneExist ?? '');
      if (found.length > 1) return { refused: issue(412, 'multiple-matches') };
      const [only] = found;
      if (only !== undefined)
        return { commit: () => answer(200, '', headersOf(only, resources.get(only)?.number ?? 0)) };
      ids += 1;
      const remote = `${url}/sim-${ids}`;
      return { commit: (queued) => answer(201, '', headersOf(remote, keep(remote, text, queued).number)) };
    }
    const now = resources.get(url)?.number;
    if (ifMatch !== undefined && ifMatch !== `W/"${now}"`)
      return { refused: issue(random() < 0.5 ? 412 : 409, 'conflict') };
    return {
      commit(queued) {
        const { number } = keep(url, text, queued);
        return answer(number === 1 ? 201 : 200, '', headersOf(url, number));
      },
    };
  }

  const headersOf = (remote: string, version: number) => ({
    location: `${base}/${remote}/_history/${version}`,
    etag: `W/"${version}"`,
  });

  function judgeBundle(body: string): { readonly refused: Said } | { commit(queued: boolean): Said } {
    const { type } = JSON.parse(body) as { type: string };
    // Texts are cut out, so that they are kept as they came.
    const parts = body
      .slice(body.indexOf('"entry":[') + 9, -2)
      .split('{"resource":')
      .slice(1);
    const writes = parts.map((part): Write => {
      const [, text = '', request = ''] = /^(.*),"request":(\{.*\})\},?$/s.exec(part) ?? [];
      const { method, url, ifMatch } = JSON.parse(request) as {
        method: 'PUT';
        url: string;
        ifMatch?: string;
      };
      return { method, url, text, ifMatch, ifNoneExist: undefined };
    });
    const judged = writes.map(judge);
    const refused = judged.find((each) => 'refused' in each);
    if (type === 'transaction' && refused !== undefined && 'refused' in refused) return refused;
    return {
      commit(queued) {
        const entry = judged.map((each) => {
          const said = 'refused' in each ? each.refused : each.commit(queued);
          const { status, headers, body: text } = said;
          const outcome = text === '' || text === null ? {} : { outcome: JSON.parse(text) as object };
          return {
            response: { status: String(status), etag: headers.etag, location: headers.location, ...outcome },
          };
        });
        return answer(200, { resourceType: 'Bundle', type: `${type}-response`, entry });
      },
    };
  }

  function read({ method, url, body }: HttpRequest): Said | null {
    const path = url.slice(base.length + 1);
    if (method === 'GET' && path.includes('?identifier=')) {
      const identifier = decodeURIComponent(path.slice(path.indexOf('=') + 1));
      const entry = matching(identifier).map((remote) => ({
        resource: withId(remote, resources.get(remote)?.text ?? ''),
      }));
      return answer(200, {
        resourceType: 'Bundle',
        type: 'searchset',
        ...(entry.length > 0 ? { entry } : {}),
      });
    }
    if (method === 'GET') {
      const version = resources.get(path);
      return version === undefined
        ? issue(404, 'not-found')
        : answer(200, version.text, { etag: `W/"${version.number}"` });
    }
    return body === undefined ? issue(400, 'invalid') : null;
  }

  const withId = (remote: string, text: string): object => ({
    ...(JSON.parse(text) as object),
    id: remote.slice(remote.indexOf('/') + 1),
  });

  function judgeWrite({ method, url, headers, body = '' }: HttpRequest) {
    const path = url.slice(base.length + 1);
    if (path === '') return judgeBundle(body);
    const ifNoneExist = headers['if-none-exist'];
    return judge({
      method: method === 'PUT' ? 'PUT' : 'POST',
      url: path,
      text: body,
      ifMatch: headers['if-match'],
      ifNoneExist:
        ifNoneExist === undefined
          ? undefined
          : decodeURIComponent(ifNoneExist.slice(ifNoneExist.indexOf('=') + 1)),
    });
  }

  async function carryOut(request: HttpRequest, fault: Fault): Promise<Said> {
    const already = read(request);
    const judged = already === null ? judgeWrite(request) : { refused: already };
    const done = (): Said => ('refused' in judged ? judged.refused : judged.commit(false));
    if (!isQueueing(fault)) return fault.kind === 'none' ? done() : failing(fault, done);
    if ('refused' in judged) return done();
    // Seen some time later, whatever comes meanwhile; the sender must not make another meanwhile.
    if (fault.done)
      later(options.ceilingMs * 2, () => {
        const now = judgeWrite(request);
        if ('commit' in now) now.commit(true);
      });
    return answer(202);
  }

  function later(mostMs: number, run: () => void): void {
    void clock.after(random() * mostMs).then(run);
  }

  /** @param done does what was asked, if it is done at all */
  async function failing(fault: Failing, done: () => Said): Promise<Said> {
    switch (fault.kind) {
      case 'refuse':
        return issue(fault.status, fault.code, fault.headers?.(clock.now()) ?? {});
      case 'page':
        if (fault.done) done();
        return answer(fault.status, '<html>gateway</html>', { 'content-type': 'text/html' });
      case 'unreadable': {
        const said = done();
        return { ...said, body: null };
      }
      case 'lost': {
        if (fault.done === 'now') done();
        if (fault.done === 'late') await lateThenLost(done);
        throw new NoAnswer(fault.code);
      }
      default:
        return fault satisfies never;
    }
  }

  /** The sender hears nothing and gives up; the write is done some time before the ceiling. */
  async function lateThenLost(done: () => Said): Promise<void> {
    const untilMs = options.ceilingMs - options.timeoutMs - 1;
    await clock.after(options.timeoutMs);
    later(untilMs, done);
  }

  return {
    resources,
    commits,
    faults,
    token: 1,
    get requests() {
      return requests;
    },
    async send(request) {
      requests += 1;
      if (!request.url.startsWith(base)) faults.push(`${request.url} is another host`);
      const drain = drainIn(`${request.url}${request.body ?? ''}`);
      inFlight.set(drain, (inFlight.get(drain) ?? 0) + 1);
      if (drain !== '' && (inFlight.get(drain) ?? 0) > 1) faults.push(`two requests at once for ${drain}`);
      try {
        const fault = options.faultFor(request);
        if (fault.kind === 'not-sent') throw new NotSent(fault.code);
        await clock.after(1 + random() ** 8 * 0.9 * options.timeoutMs);
        if (fault.kind === 'touched') touch(request);
        if (request.headers.authorization !== `Bearer ${this.token}`) return issue(401, 'login');
        const isPlain = fault.kind === 'touched' || fault.kind === 'expired';
        return await carryOut(request, isPlain ? { kind: 'none' } : fault);
      } finally {
        inFlight.set(drain, (inFlight.get(drain) ?? 1) - 1);
      }
    },
  };

  /** Somebody at the record saves a resource as it is: its version moves. */
  function touch({ body = '', headers, url }: HttpRequest): void {
    const named = [...body.matchAll(/"url":"([^"]+)"/g)].map(([, name = '']) => name);
    if (headers['if-match'] !== undefined) named.push(url.slice(base.length + 1));
    for (const name of named) {
      const version = resources.get(name);
      if (version !== undefined) resources.set(name, { text: version.text, number: version.number + 1 });
    }
  }
}
