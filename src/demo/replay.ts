/** Sends the stories to the service in the order in which they were charted, and keeps the answers worth showing. */
import { type Answer, type ChartAnswer, getJson, post, type Receipt, type RowAnswer } from './api.ts';
import { entriesOf, entryOf, identifierOf, placementOf, type Story, type StoryEntry } from './story.ts';

/** One request: a single entry, or a batch. */
interface Sending {
  readonly story: Story;
  readonly sentMs: number;
  readonly entries: readonly StoryEntry[];
}

/** Rows of a chart before and after an entry came. */
export interface Watched {
  readonly what: string;
  readonly drain: string;
  readonly before: readonly RowAnswer[];
  readonly after: readonly RowAnswer[];
}

export interface Replayed {
  /** The service's id of each story's drain, by the name of the story. */
  readonly drains: ReadonlyMap<string, string>;
  /** Entries that the service said were late, by their ids. */
  readonly late: ReadonlySet<string>;
  readonly singles: number;
  readonly batches: readonly number[];
  readonly resent: readonly { readonly key: string; readonly status: number; readonly same: boolean }[];
  readonly refused: readonly { readonly line: string; readonly answer: Answer }[];
  readonly watched: readonly Watched[];
}

/** @throws {Error} when an answer is another than the story needs */
export async function replay(base: string, stories: readonly Story[], startMs: number): Promise<Replayed> {
  const drains = new Map<string, string>();
  const late = new Set<string>();
  const answers = new Map<string, Answer>();
  const batches: number[] = [];
  const watched: Watched[] = [];
  for (const story of stories) {
    const answer = await post(`${base}/v1/drains`, placementOf(story, startMs).body);
    drains.set(story.name, receiptOf(answer).drain);
  }
  let singles = stories.length;
  for (const { story, entries } of inOrder(stories, startMs)) {
    const drain = drainOf(drains, story);
    const [first] = entries;
    const watch = story.watched?.entry === first?.key ? story.watched : null;
    const before = watch === null ? [] : await rowsOf(base, drain, story, watch.rows);
    if (first !== undefined && entries.length === 1) {
      const answer = await post(`${base}/v1/drains/${drain}/entries`, first.body);
      answers.set(`${story.name} ${first.key}`, answer);
      noteLate(late, receiptOf(answer));
      singles += 1;
    } else {
      for (const receipt of await sendBatch(base, drain, entries)) noteLate(late, receipt);
      batches.push(entries.length);
    }
    if (watch === null) continue;
    watched.push({ what: watch.what, drain, before, after: await rowsOf(base, drain, story, watch.rows) });
  }
  const resent = await sendAgain(base, drains, stories, startMs, answers);
  const refused = await sendRefused(base, drains, stories, startMs);
  return { drains, late, singles, batches, resent, refused, watched };
}

function inOrder(stories: readonly Story[], startMs: number): readonly Sending[] {
  const sendings = stories.flatMap((story) => {
    const entries = entriesOf(story, startMs);
    const { from, to } = story.together ?? { from: '', to: '' };
    const isTogether = ({ key }: StoryEntry) =>
      story.together !== null && key.slice(0, 5) >= from && key.slice(0, 5) <= to;
    const batch = entries.filter(isTogether);
    const single = entries.filter((entry) => !isTogether(entry)).map((entry) => sendingOf(story, [entry]));
    return batch.length === 0 ? single : [...single, sendingOf(story, batch)];
  });
  return sendings.sort((a, b) => a.sentMs - b.sentMs);
}

/** A batch goes out with its last entry. */
function sendingOf(story: Story, entries: readonly StoryEntry[]): Sending {
  return { story, entries, sentMs: Math.max(...entries.map(({ sentMs }) => sentMs)) };
}

function drainOf(drains: ReadonlyMap<string, string>, { name }: Story): string {
  const drain = drains.get(name);
  if (drain === undefined) throw new Error(`the drain of story ${name} was not placed`);
  return drain;
}

function receiptOf({ status, text }: Answer): Receipt {
  if (status !== 201) throw new Error(`The service did not take an entry of the story (${status}): ${text}`);
  return JSON.parse(text) as Receipt;
}

function noteLate(late: Set<string>, receipt: Receipt): void {
  if (receipt.late) late.add(receipt.entry);
}

async function sendBatch(base: string, drain: string, entries: readonly StoryEntry[]): Promise<Receipt[]> {
  const items = entries.map(({ body }) => ({ drain, ...body }));
  const { status, text } = await post(`${base}/v1/entries`, { entries: items });
  if (status !== 200) throw new Error(`The service did not take a batch (${status}): ${text}`);
  const { outcomes } = JSON.parse(text) as { outcomes: { status: number; result: Receipt }[] };
  if (outcomes.some((outcome) => outcome.status !== 201)) {
    throw new Error(`The service did not take all of a batch: ${text}`);
  }
  return outcomes.map(({ result }) => result);
}

async function rowsOf(
  base: string,
  drain: string,
  story: Story,
  keys: readonly string[],
): Promise<readonly RowAnswer[]> {
  const { rows } = await getJson<ChartAnswer>(`${base}/v1/drains/${drain}/chart`);
  const sought = keys.map((key) => identifierOf(story, key).value);
  return rows.filter(({ identifier }) => sought.includes(identifier.value));
}

async function sendAgain(
  base: string,
  drains: ReadonlyMap<string, string>,
  stories: readonly Story[],
  startMs: number,
  answers: ReadonlyMap<string, Answer>,
): Promise<Replayed['resent']> {
  const resent: { key: string; status: number; same: boolean }[] = [];
  for (const story of stories) {
    const entry = entriesOf(story, startMs).find(({ key }) => key === story.resent);
    if (entry === undefined) continue;
    const again = await post(`${base}/v1/drains/${drainOf(drains, story)}/entries`, entry.body);
    const key = `${story.name} ${entry.key}`;
    const same = again.text === answers.get(key)?.text;
    if (again.status !== 200 || !same) throw new Error(`A resend was answered otherwise: ${again.text}`);
    resent.push({ key, status: again.status, same });
  }
  return resent;
}

async function sendRefused(
  base: string,
  drains: ReadonlyMap<string, string>,
  stories: readonly Story[],
  startMs: number,
): Promise<Replayed['refused']> {
  const refused: { line: string; answer: Answer }[] = [];
  for (const story of stories) {
    if (story.refused === null) continue;
    const entry = entryOf(story, story.refused, startMs);
    const answer = await post(`${base}/v1/drains/${drainOf(drains, story)}/entries`, entry.body);
    if (answer.status !== 422) throw new Error(`A bad message was not refused: ${answer.text}`);
    refused.push({ line: story.refused, answer });
  }
  return refused;
}
