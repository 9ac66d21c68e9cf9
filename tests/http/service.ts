/** The real service for tests: listening on 127.0.0.1 with a SQLite file of its own. */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { pino } from 'pino';
import { readConfig } from '../../src/config.ts';
import { startService } from '../../src/service.ts';
import { createCheck, type OpenApi } from './answer-check.ts';

export interface Reply {
  readonly status: number;
  readonly headers: Headers;
  readonly text: string;
}

export interface TestService {
  readonly url: string;
  readonly mllpPort: number | null;
  readonly folder: string;
  readonly document: OpenApi;
  /** All that was logged, a JSON line each. */
  log(): string;
  /** Sends a body as it is, or an object as JSON; every answer is held to the API reference. */
  send(method: string, path: string, body?: string | object | Buffer, headers?: object): Promise<Reply>;
  stop(): Promise<void>;
}

const JSON_TYPE = { 'content-type': 'application/json' };

/** What a stream that has no end says at first. */
async function beginningOf(answer: Response): Promise<string> {
  const reader = answer.body?.getReader();
  const first = await reader?.read();
  await reader?.cancel();
  return new TextDecoder().decode(first?.value);
}

/** @param settings of the environment, beside those of every test */
export async function startTestService(
  settings: Readonly<Record<string, string>> = {},
): Promise<TestService> {
  const folder = mkdtempSync(join(tmpdir(), 'http-test-'));
  const lines: string[] = [];
  const service = await startService({
    config: readConfig({
      DRAINLEDGER_DATABASE: join(folder, 'ledger.db'),
      DRAINLEDGER_ORIGIN: 'test.example',
      ...('DRAINLEDGER_ACCESS' in settings ? {} : { DRAINLEDGER_DEVELOPMENT: 'yes' }),
      DRAINLEDGER_PORT: '0',
      ...settings,
    }),
    logger: pino({ level: 'debug' }, { write: (line: string) => lines.push(line) }),
    onFatal(error) {
      throw error;
    },
  });
  const document = (await (await fetch(`${service.url}/openapi.json`)).json()) as OpenApi;
  const check = createCheck(document);
  return {
    url: service.url,
    mllpPort: service.mllpPort,
    folder,
    document,
    log: () => lines.join(''),
    async send(method, path, body, headers = body === undefined ? {} : JSON_TYPE) {
      const sent = typeof body === 'object' && !Buffer.isBuffer(body) ? JSON.stringify(body) : body;
      const answer = await fetch(`${service.url}${path}`, {
        method,
        headers: headers as Record<string, string>,
        ...(sent === undefined ? {} : { body: sent as string }),
      });
      const contentType = answer.headers.get('content-type') ?? '';
      const text = contentType.startsWith('text/event-stream')
        ? await beginningOf(answer)
        : await answer.text();
      if (method !== 'HEAD' && answer.status !== 304)
        check({ method, path, status: answer.status, contentType, text });
      return { status: answer.status, headers: answer.headers, text };
    },
    async stop() {
      await service.stop();
      rmSync(folder, { recursive: true });
    },
  };
}
