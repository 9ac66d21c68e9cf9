/** One request on the wire: real sockets, real TLS. */
import { chmodSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { createServer, type RequestListener, type Server } from 'node:http';
import { createServer as createTlsServer } from 'node:https';
import { type AddressInfo, createServer as createTcpServer } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { TLSSocket } from 'node:tls';
import { gzipSync } from 'node:zlib';
import { afterEach, describe, expect, it } from 'vitest';
import { type ClientTls, createHttp, type Http, NoAnswer, NotSent } from '../../src/delivery/http.ts';
import { openTarget } from '../../src/delivery/open-target.ts';
import { certify } from '../support/certificates.ts';
import { targetOf } from './target.ts';

const servers: { close(done?: () => void): unknown; closeAllConnections?: () => void }[] = [];
const clients: Http[] = [];
afterEach(async () => {
  for (const client of clients.splice(0)) client.close();
  for (const server of servers.splice(0)) {
    server.closeAllConnections?.();
    await new Promise<void>((resolve) => server.close(() => resolve()));
  }
});

async function listen(server: Server | ReturnType<typeof createTcpServer>): Promise<number> {
  servers.push(server);
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve));
  return (server.address() as AddressInfo).port;
}
const serve = async (listener: RequestListener): Promise<string> =>
  `http://127.0.0.1:${await listen(createServer(listener))}/fhir`;

function client(tls: ClientTls | null = null, timeoutMs = 2000): Http['send'] {
  const http = createHttp({ timeoutMs, tls: tls && (() => tls) });
  clients.push(http);
  return http.send;
}
const put = (url: string) => ({ method: 'PUT', url, headers: {}, body: '{"a":"ü"}' }) as const;
const failure = (sent: Promise<unknown>): Promise<unknown> => sent.catch((error: unknown) => error);

describe('what comes back', () => {
  it('is status, headers and body; what is sent has its length in bytes', async () => {
    const url = await serve((request, response) => {
      let body = '';
      request.on('data', (chunk: Buffer) => (body += chunk.toString()));
      request.on('end', () =>
        response.writeHead(201, { etag: 'W/"1"' }).end(`${request.headers['content-length']} ${body}`),
      );
    });
    const answer = await client()(put(url));
    expect(answer).toMatchObject({ status: 201, headers: { etag: 'W/"1"' }, body: '10 {"a":"ü"}' });
  });

  it('asks for no coding, and reads gzip all the same, up to as much as is read of anything (RFC 9110, 12.5.3)', async () => {
    const said = (bytes: Buffer) =>
      serve((request, response) => {
        expect(request.headers['accept-encoding']).toBe('identity');
        response.writeHead(200, { 'content-encoding': 'gzip' }).end(bytes);
      });
    const read = async (bytes: Buffer) => (await client()(put(await said(bytes)))).body;
    expect(await read(gzipSync('{"a":"ü"}'))).toBe('{"a":"ü"}');
    expect(await read(gzipSync('x'.repeat(5 * 1024 * 1024)))).toBeNull();
    expect(await read(Buffer.from('{}'))).toBeNull();
  });

  it('reads the CapabilityStatement of a server that takes every type', async () => {
    const body = JSON.stringify({ description: 'x'.repeat(2 * 1024 * 1024) });
    const url = await serve((_request, response) => response.writeHead(200).end(body));
    expect((await client()(put(url))).body).toBe(body);
  });

  it('follows no redirect', async () => {
    let elsewhere = 0;
    const other = await serve((_request, response) => {
      elsewhere += 1;
      response.end();
    });
    const url = await serve((_request, response) => response.writeHead(307, { location: other }).end());
    expect((await client()(put(url))).status).toBe(307);
    expect(elsewhere).toBe(0);
  });

  it('keeps the status where the body is too long, is cut, or does not end in time', async () => {
    const long = await serve((_request, response) =>
      response.writeHead(200).end('x'.repeat(5 * 1024 * 1024)),
    );
    expect(await client()(put(long))).toMatchObject({ status: 200, body: null });
    const cut = await serve((_request, response) => {
      response.writeHead(200, { 'content-length': '100' }).write('x');
      setTimeout(() => response.destroy(), 20);
    });
    expect(await client()(put(cut))).toMatchObject({ status: 200, body: null });
    const slow = await serve((_request, response) => {
      response.writeHead(200).write('x');
    });
    expect(await client(null, 150)(put(slow))).toMatchObject({ status: 200, body: null });
  });
});

describe('what does not come back', () => {
  it('was not sent where nobody listens, or nobody has the name', async () => {
    expect(await failure(client()(put('http://127.0.0.1:1/fhir')))).toEqual(new NotSent('ECONNREFUSED'));
    const nowhere = await failure(client()(put('http://nowhere.invalid/fhir')));
    expect(nowhere).toBeInstanceOf(NotSent);
  });

  it('is open where the connection ends or no answer comes, and is sent once all the same', async () => {
    let received = 0;
    const resetting = await serve((request) => {
      received += 1;
      request.resume().on('end', () => request.socket.resetAndDestroy());
    });
    expect(await failure(client()(put(resetting)))).toEqual(new NoAnswer('ECONNRESET'));
    expect(await failure(client()({ method: 'GET', url: resetting, headers: {} }))).toEqual(
      new NoAnswer('ECONNRESET'),
    );
    expect(received).toBe(2);
    const silent = await serve(() => undefined);
    expect(await failure(client(null, 100)(put(silent)))).toEqual(new NoAnswer('no answer in time'));
    const rubbish = await listen(
      createTcpServer((socket) => socket.on('data', () => socket.end('SSH-2.0-x\r\n'))),
    );
    expect(await failure(client()(put(`http://127.0.0.1:${rubbish}`)))).toBeInstanceOf(NoAnswer);
  });
});

describe('TLS', () => {
  const authority = certify({ name: 'test authority' });
  const good = certify({ name: 'server', by: authority, host: 'localhost' });

  async function serveTls(
    certified: { readonly cert: string; readonly key: string },
    more: object = {},
  ): Promise<string> {
    const server = createTlsServer(
      { cert: certified.cert, key: certified.key, ...more },
      (_request, response) => response.end('{}'),
    );
    return `https://localhost:${await listen(server as unknown as Server)}/fhir`;
  }

  it('is trusted by the authority that is configured, and by no other', async () => {
    const url = await serveTls(good);
    expect((await client({ ca: authority.cert })(put(url))).status).toBe(200);
    expect(await failure(client()(put(url)))).toBeInstanceOf(NotSent);
  });

  it.each([
    [
      'of another host',
      certify({ name: 'server', by: authority, host: 'elsewhere.example' }),
      'ERR_TLS_CERT_ALTNAME_INVALID',
    ],
    [
      'that has expired',
      certify({ name: 'server', by: authority, host: 'localhost', untilMs: Date.now() - 1000 }),
      'CERT_HAS_EXPIRED',
    ],
  ])('sends nothing to a server with a certificate %s', async (_what, certified, code) => {
    const url = await serveTls(certified);
    expect(await failure(client({ ca: authority.cert })(put(url)))).toEqual(new NotSent(code));
  });

  it('shows its own certificate where the server asks for one', async () => {
    const us = certify({ name: 'drainledger', by: authority });
    const url = await serveTls(good, { ca: authority.cert, requestCert: true, rejectUnauthorized: true });
    expect((await client({ ca: authority.cert, cert: us.cert, key: us.key })(put(url))).status).toBe(200);
    expect(await failure(client({ ca: authority.cert })(put(url)))).toBeInstanceOf(Error);
  });

  it('shows a certificate that is renewed while it runs, and sends nothing with one that does not go with its key', async () => {
    const shown: string[] = [];
    const server = createTlsServer(
      { ...good, ca: authority.cert, requestCert: true, rejectUnauthorized: true },
      ({ socket }, response) => {
        shown.push(String((socket as TLSSocket).getPeerCertificate().subject.CN));
        response.end('{}');
      },
    );
    const baseUrl = `https://localhost:${await listen(server as unknown as Server)}/fhir`;
    const dir = mkdtempSync(join(tmpdir(), 'renewed-'));
    const tls = { certFile: join(dir, 'c.pem'), keyFile: join(dir, 'k.pem'), caFile: join(dir, 'ca.pem') };
    const [before, after] = ['before', 'after'].map((name) => certify({ name, by: authority }));
    writeFileSync(tls.caFile, authority.cert);
    writeFileSync(tls.keyFile, before?.key ?? '', { mode: 0o600 });
    writeFileSync(tls.certFile, before?.cert ?? '');
    const opened = openTarget(
      { target: targetOf({ baseUrl }), auth: { type: 'none' }, tls },
      { env: {}, now: Date.now, onVerdict: () => undefined, onScope: () => undefined },
    );
    const ask = async () =>
      (await opened.connection.ask({ method: 'GET', path: '', purpose: 'read' })).verdict;
    try {
      expect(await ask()).toEqual({ kind: 'taken' });
      writeFileSync(tls.certFile, after?.cert ?? '');
      expect(await ask()).toMatchObject({
        kind: 'later',
        outcome: { why: expect.stringMatching(/^not sent: .*KEY_VALUES_MISMATCH/) },
      });
      writeFileSync(tls.keyFile, after?.key ?? '');
      expect(await ask()).toEqual({ kind: 'taken' });
      expect(shown).toEqual(['before', 'after']);
      chmodSync(tls.keyFile, 0o644);
      expect(await ask()).toMatchObject({
        kind: 'later',
        outcome: { why: `not sent: ${tls.keyFile} can be read by others (mode 644): chmod 600 it` },
      });
    } finally {
      opened.close();
      rmSync(dir, { recursive: true });
    }
  });
});
