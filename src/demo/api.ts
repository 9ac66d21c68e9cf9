/** The service's HTTP API, as far as the demo speaks it. */
import type { chartViewOf } from '../record/chart-view.ts';
import type { chartRowView } from '../record/view.ts';

export type ChartAnswer = ReturnType<typeof chartViewOf>;
export type RowAnswer = ReturnType<typeof chartRowView>;

export interface Receipt {
  readonly drain: string;
  readonly entry: string;
  readonly late: boolean;
}

export interface Answer {
  readonly status: number;
  readonly text: string;
}

export async function post(url: string, body: unknown): Promise<Answer> {
  const headers = { 'content-type': 'application/json' };
  const response = await fetch(url, { method: 'POST', headers, body: JSON.stringify(body) });
  return { status: response.status, text: await response.text() };
}

/** @throws {Error} when the answer is not 200 */
export async function getText(url: string): Promise<string> {
  const response = await fetch(url);
  const text = await response.text();
  if (response.status !== 200) throw new Error(`GET ${url} was answered with ${response.status}: ${text}`);
  return text;
}

/** Trusts the answer to have the type that its own side declares: both sides are one build. */
export async function getJson<T>(url: string): Promise<T> {
  return JSON.parse(await getText(url)) as T;
}
