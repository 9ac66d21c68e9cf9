/** Plots as PNG, decoded by fast-png: what the SVG says stands where it says, in its colours, and words are really drawn. */
import { type DecodedPng, decode } from 'fast-png';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { createPictures, PicturesBusy } from '../../src/plots/pictures.ts';
import { level, placeDrain, setUp, type TestDrain, tell } from '../http/messages.ts';
import { startTestService, type TestService } from '../http/service.ts';

let service: TestService;
let drain: TestDrain;
beforeAll(async () => {
  service = await startTestService();
  drain = await placeDrain(service, 'picture', '08:00', { patient: { reference: 'Patient/Zebrafinch' } });
  await tell(
    drain,
    setUp('up', '08:00', 0),
    level('a', '09:00', 120, { air_leak: { grade: 3 } }),
    level('b', '10:00', 180, { seal: { level_cmh2o: 5 } }),
  );
});
afterAll(() => service.stop());

const SPAN = 'from=2025-03-01T08:00:00Z&to=2025-03-01T10:00:00Z';
const PAPER = { light: '#ffffff', dark: '#10161d' } as const;
const FIRST = { light: '#0a5c66', dark: '#6fd0da' } as const;

const get = (query: string, of = drain): Promise<Response> =>
  fetch(`${service.url}/v1/drains/${of.drain}/plot.png?${query}`);
async function picture(query = SPAN, of = drain): Promise<DecodedPng> {
  const answer = await get(query, of);
  expect([answer.status, answer.headers.get('content-type')]).toEqual([200, 'image/png']);
  return decode(new Uint8Array(await answer.arrayBuffer()));
}

function colourAt({ data, width, channels }: DecodedPng, x: number, y: number): string {
  const at = (Math.round(y) * width + Math.round(x)) * channels;
  return `#${[...data.slice(at, at + 3)].map((each) => each.toString(16).padStart(2, '0')).join('')}`;
}

/** Pixels of a part of the picture that are not paper. */
function inkIn(image: DecodedPng, [left, top, right, bottom]: readonly number[], paper: string): string {
  let ink = '';
  for (let y = top ?? 0; y < (bottom ?? 0); y += 1)
    for (let x = left ?? 0; x < (right ?? 0); x += 1) ink += colourAt(image, x, y) === paper ? ' ' : '#';
  return ink;
}
const inked = (ink: string): number => ink.replaceAll(' ', '').length;

/** Where the first line of the picture says drain, site and tubes. */
const TITLE = [14, 8, 500, 28] as const;
/** Where nothing is ever drawn. */
const MARGIN = [0, 60, 8, 120] as const;

describe('the picture', () => {
  test('is as wide as asked, and as high as the SVG of that width', async () => {
    const image = await picture(`${SPAN}&width=640`);
    const { text } = await service.send('GET', `/v1/drains/${drain.drain}/plot.svg?${SPAN}&width=640`);
    expect(`width="${image.width}" height="${image.height}"`).toBe(
      /width="640" height="\d+"/.exec(text)?.[0],
    );
  });

  test.each(['light', 'dark'] as const)('has its marks where the SVG has them, %s', async (theme) => {
    const asked = `${SPAN}&panels=cumulative&theme=${theme}`;
    const image = await picture(asked);
    const { text } = await service.send('GET', `/v1/drains/${drain.drain}/plot.svg?${asked}`);
    const down = Number(/<g transform="translate\(0 ([\d.]+)\)"/.exec(text)?.[1]);
    const marks = [
      ...text.matchAll(/<circle cx="([\d.]+)" cy="([\d.]+)" r="[\d.]+" class="mark full first"/g),
    ];
    // The key and two readings.
    expect(marks).toHaveLength(3);
    for (const [, x, y] of marks) expect(colourAt(image, Number(x), Number(y) + down)).toBe(FIRST[theme]);
    expect(colourAt(image, 1, 1)).toBe(PAPER[theme]);
    expect(inked(inkIn(image, MARGIN, PAPER[theme]))).toBe(0);
  });

  test('is light unless dark is asked for', async () => {
    expect(colourAt(await picture(), 1, 1)).toBe(PAPER.light);
  });

  test('is narrow without losing a word of title and caution', async () => {
    const tubes = ['anterior of the upper field', 'posterior of the lower field'];
    const long = await placeDrain(service, 'long', '08:00', { tubes });
    const image = await picture('width=320&panels=leak', long);
    const { text } = await service.send('GET', `/v1/drains/${long.drain}/plot.svg?width=320&panels=leak`);
    const said = [...text.matchAll(/<text[^>]*>([^<]*)<\/text>/g)].map(([, words]) => words).join(' ');
    expect(said).toContain(`Drain ${long.drain}, pleural left, ${tubes.join(' and ')} `);
    expect(said).toContain(
      'Not an alarm and not a medical device: do not use it for primary or sole monitoring.',
    );
    // What was cut off would be cut at the edge: all words of head and foot end well before it, and all others before it.
    const { height } = image;
    expect(inked(inkIn(image, [306, 0, 320, 80], PAPER.light))).toBe(0);
    expect(inked(inkIn(image, [306, height - 40, 320, height], PAPER.light))).toBe(0);
    expect(inked(inkIn(image, [319, 0, 320, height], PAPER.light))).toBe(0);
  });

  test('says nothing of the patient: all its words are those of the SVG', async () => {
    const { text } = await service.send('GET', `/v1/drains/${drain.drain}/plot.svg?${SPAN}`);
    expect(text).not.toContain('Zebrafinch');
    expect(inked(inkIn(await picture(), TITLE, PAPER.light))).toBeGreaterThan(500);
  });
});

describe('the route', () => {
  test('is as the API reference says, and lets the picture do nothing where it is opened by itself', async () => {
    const { headers, status } = await service.send('GET', `/v1/drains/${drain.drain}/plot.png?width=320`);
    expect(status).toBe(200);
    expect(headers.get('content-security-policy')).toContain('sandbox');
    expect(headers.get('x-content-type-options')).toBe('nosniff');
    expect(headers.get('cache-control')).toBe('no-store');
  });

  test.each([
    ['width=319', 'width'],
    ['width=2401', 'width'],
    ['theme=auto', 'theme'],
    ['panels=none', 'panels'],
    [`${SPAN}&last_h=3`, 'last_h'],
  ])('refuses %s by name', async (query, name) => {
    const { status, text } = await service.send('GET', `/v1/drains/${drain.drain}/plot.png?${query}`);
    expect(status).toBe(400);
    expect(JSON.parse(text).errors[0].pointer).toBe(`?${name}`);
  });

  test('says to ask later where many ask at once, charts meanwhile, and draws for those that it took', async () => {
    const answers = Array.from({ length: 40 }, (_, n) => get(`${SPAN}&width=${2000 + n}`));
    expect((await drain.enter(level('meanwhile', '10:30', 190))).status).toBe(201);
    const statuses = new Map<number, Response[]>();
    for (const answer of await Promise.all(answers))
      statuses.set(answer.status, [...(statuses.get(answer.status) ?? []), answer]);
    expect([...statuses.keys()].sort()).toEqual([200, 503]);
    const [busy] = statuses.get(503) ?? [];
    expect(busy?.headers.get('retry-after')).toBe('5');
    // Whoever sends the tag of a picture back has that picture, and not a refusal.
    expect(busy?.headers.get('etag')).toBeNull();
    expect(await busy?.json()).toMatchObject({ type: 'urn:drainledger:problem:busy', status: 503 });
    expect((await picture()).width).toBe(900);
  });
});

describe('the thread that draws', () => {
  /** Of a character that a font lacks the same is drawn as of any other: nothing, or an empty box. */
  test.each([400, 600])(
    'writes in letters of its own font, of all scripts that it has, weight %d',
    async (weight) => {
      const pictures = createPictures();
      const letters = ['A', 'i', 'ß', 'ő', 'Ω', 'Δ', 'Ж', 'Щ', 'ế', 'ữ'];
      const drawn = new Set<string>();
      for (const letter of letters) {
        const words = `<text x="4" y="30" font-family="system-ui,sans-serif" font-weight="${weight}" font-size="24">${letter}</text>`;
        const svg = `<svg xmlns="http://www.w3.org/2000/svg" width="40" height="40"><path fill="#fff" d="M0 0H40V40H0z"/>${words}</svg>`;
        const ink = inkIn(decode(await pictures.draw(svg)), [0, 0, 40, 40], PAPER.light);
        expect(inked(ink), letter).toBeGreaterThan(40);
        drawn.add(ink);
      }
      expect(drawn.size).toBe(letters.length);
      await pictures.close();
    },
  );

  const SVG =
    '<svg xmlns="http://www.w3.org/2000/svg" width="20" height="10"><path d="M0 0H20V10H0z"/></svg>';

  test('takes eight at once and no ninth', async () => {
    const pictures = createPictures();
    const eight = Array.from({ length: 8 }, () => pictures.draw(SVG));
    await expect(pictures.draw(SVG)).rejects.toThrow(PicturesBusy);
    for (const png of await Promise.all(eight)) expect(decode(png)).toMatchObject({ width: 20, height: 10 });
    await pictures.close();
  });

  test('is started anew after something that it could not draw', async () => {
    const pictures = createPictures();
    await expect(pictures.draw('<svg')).rejects.toThrow('ended');
    expect(colourAt(decode(await pictures.draw(SVG)), 3, 3)).toBe('#000000');
    await pictures.close();
    await pictures.close();
  });
});
