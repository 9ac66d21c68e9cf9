/** Turns charted outputs into what a bedside would chart, and sends it in the order in which it was stored. */
import type { ChartedOutput } from './read-file.ts';

/** The unit that the replay attaches: read to 1 mL, changed when the next output would overflow it. */
const PROFILE = 'electronic-800';
const CAPACITY_ML = 800;
/** Before the first row, as the file does not say since when its output is counted. */
export const LEAD_MS = 3_600_000;

const SYSTEM = 'urn:example:open-data';
const AUTHOR = { type: 'device', identifier: { system: SYSTEM, value: 'replay' } } as const;

interface Message {
  readonly storedMs: number;
  readonly body: object;
}

const common = (key: string, ms: number) => ({
  identifier: { system: SYSTEM, value: key },
  author: AUTHOR,
  effective_at: new Date(ms).toISOString(),
});

/** The messages of one tube: a level for each output that has a volume, a unit change where it would not fit. */
function messagesOf(series: string, rows: readonly ChartedOutput[]): Message[] {
  const messages: Message[] = [];
  let level = 0;
  let last = (rows[0]?.chartedMs ?? 0) - LEAD_MS;
  rows.forEach(({ chartedMs, storedMs, ml, isError }, i) => {
    const say = (key: string, ms: number, body: object) =>
      messages.push({ storedMs, body: { ...common(`${series}-${i}-${key}`, ms), ...body } });
    // A reading that reads nothing is none, and is refused.
    if (ml === null) return;
    if (level + ml > CAPACITY_ML) {
      say('change', last, {
        kind: 'unit-changed',
        profile: PROFILE,
        closing_level_ml: level,
        opening_level_ml: 0,
      });
      level = 0;
    }
    say('level', chartedMs, { kind: 'reading', level_ml: level + ml });
    if (isError) {
      const target = { system: SYSTEM, value: `${series}-${i}-level` };
      say('error', chartedMs, { kind: 'entered-in-error', target, reason: 'marked as an error in the file' });
      return;
    }
    level += ml;
    last = chartedMs;
  });
  // A stable sort: what was stored together stays in the order in which it was said.
  return messages.sort((a, b) => a.storedMs - b.storedMs);
}

async function post(url: string, body: object): Promise<{ readonly drain: string }> {
  const headers = { 'content-type': 'application/json' };
  const answer = await fetch(url, { method: 'POST', headers, body: JSON.stringify(body) });
  if (answer.status !== 201) throw new Error(`${url} answered ${answer.status}: ${await answer.text()}`);
  return (await answer.json()) as { drain: string };
}

/** Replays one tube over the API. @returns the drain that it became */
export async function replaySeries(
  base: string,
  series: string,
  rows: readonly ChartedOutput[],
): Promise<string> {
  const [first] = rows;
  if (first === undefined) throw new Error(`${series} has no rows`);
  const start = first.chartedMs - LEAD_MS;
  const { drain } = await post(`${base}/v1/drains`, {
    ...common(`${series}-placed`, start),
    site: 'pleural-left',
    tubes: [first.label],
    patient: { identifier: { system: SYSTEM, value: first.subject } },
  });
  const entries = `${base}/v1/drains/${drain}/entries`;
  await post(entries, {
    ...common(`${series}-set-up`, start),
    kind: 'set-up',
    profile: PROFILE,
    opening_level_ml: 0,
  });
  for (const { body } of messagesOf(series, rows)) await post(entries, body);
  return drain;
}
