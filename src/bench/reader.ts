/**
 * Reads a URL so many times a second, as a process of its own: who writes is another, so that no read waits for its turn
 * among their answers. Prints how long each took, ms, as JSON.
 */
import { parseArgs } from 'node:util';
import { paced } from './load.ts';

const START_MS = Date.UTC(2026, 0, 1);

const { values } = parseArgs({
  options: {
    url: { type: 'string', default: '' },
    rate: { type: 'string', default: '20' },
    seconds: { type: 'string', default: '5' },
  },
});

/** `{moment}` in the URL is another time at each read: what is asked twice is only counted as an access. */
const urlNow = (): string =>
  values.url.replace('{moment}', new Date(START_MS + Math.round(performance.now())).toISOString());

const times = await paced(Number(values.rate), Number(values.seconds), async () => {
  const url = urlNow();
  const answer = await fetch(url);
  await answer.text();
  if (!answer.ok) throw new Error(`${url}: ${answer.status}`);
});
process.stdout.write(JSON.stringify(times));
