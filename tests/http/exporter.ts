/** A client of bulk exports, which waits as it is told to. */
import type { FhirResource } from 'fhir/r4.js';
import { expect } from 'vitest';
import type { Reply } from './service.ts';

interface Item {
  readonly type: string;
  readonly url: string;
  readonly count: number;
}

export interface Manifest {
  readonly transactionTime: string;
  readonly request: string;
  readonly requiresAccessToken: boolean;
  readonly output: readonly Item[];
  readonly error: readonly Item[];
}

export interface Exported {
  readonly manifest: Manifest;
  /** Path of the status. */
  readonly at: string;
}

type Send = (method: string, path: string, body?: object, headers?: object) => Promise<Reply>;

export interface Exporter {
  exported(path: string, headers?: object): Promise<Exported>;
  whenComplete(contentLocation: string): Promise<Exported>;
  /** Resources of one file. */
  lines(item: Item): Promise<readonly FhirResource[]>;
  /** Resources of all files of a type. */
  resources(manifest: Manifest, type: string): Promise<readonly FhirResource[]>;
}

export function exporterOf(send: Send): Exporter {
  async function whenComplete(contentLocation: string): Promise<Exported> {
    const at = new URL(contentLocation).pathname;
    for (;;) {
      const { status, headers, text } = await send('GET', at);
      if (status === 200) {
        expect(headers.get('content-type')).toMatch(/^application\/json/);
        expect(Date.parse(headers.get('expires') ?? '')).toBeGreaterThan(Date.now());
        return { manifest: JSON.parse(text), at };
      }
      expect([status, text]).toEqual([202, expect.any(String)]);
      expect(headers.get('x-progress')?.length).toBeLessThan(100);
      expect(Number(headers.get('retry-after'))).toBeGreaterThan(0);
      await new Promise((resolve) => setTimeout(resolve, 20));
    }
  }

  const lines = async ({ url }: Item): Promise<readonly FhirResource[]> => {
    const { status, headers, text } = await send('GET', new URL(url).pathname);
    expect([status, headers.get('content-type')]).toEqual([
      200,
      expect.stringMatching(/^application\/fhir\+ndjson/),
    ]);
    return text
      .trimEnd()
      .split('\n')
      .map((line) => JSON.parse(line));
  };

  return {
    async exported(path, headers = {}) {
      const {
        status,
        headers: told,
        text,
      } = await send('GET', path, undefined, {
        accept: 'application/fhir+json',
        prefer: 'respond-async',
        ...headers,
      });
      expect([status, text]).toEqual([202, expect.any(String)]);
      return whenComplete(told.get('content-location') ?? '');
    },
    whenComplete,
    lines,
    async resources({ output }, type) {
      return (await Promise.all(output.filter((item) => item.type === type).map(lines))).flat();
    },
  };
}
