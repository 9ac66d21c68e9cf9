/** Plots as SVG: well-formed, with units and zone in words, and told apart by shape and pattern, not by colour alone. */
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { entry, level, placeDrain, setUp, type TestDrain, tell } from '../http/messages.ts';
import { startTestService, type TestService } from '../http/service.ts';

let service: TestService;
let drain: TestDrain;
beforeAll(async () => {
  service = await startTestService({ DRAINLEDGER_ZONE: 'Europe/Berlin' });
  drain = await placeDrain(service, 'plot', '08:00', {
    patient: { reference: 'Patient/Zebrafinch' },
    tubes: ['<A> & "B"'],
  });
  const charted = (column: number, bubbling: string) => ({
    suction: { source: 'on', column_cmh2o: column, bubbling },
    seal: { level_cmh2o: 5 },
  });
  await tell(
    drain,
    setUp('up', '08:00', 0),
    level('a', '09:00', 120, { ...charted(20, 'gentle'), air_leak: { grade: 3 } }),
    level('b', '10:00', 121, { ...charted(20, 'none'), air_leak: { grade: 0, phase: 'none' } }),
    entry('flush', 'instilled', '10:15', { volume_ml: 50, purpose: 'flush' }),
    level('c', '11:00', 140),
    entry('change', 'unit-changed', '12:00', {
      profile: 'wet-2000',
      closing_level_ml: 150,
      opening_level_ml: 0,
    }),
    level('d', '16:00', 40),
    // Nothing explains this fall.
    level('e', '17:00', 10),
  );
});
afterAll(() => service.stop());

const SPAN = 'from=2025-03-01T08:00:00Z&to=2025-03-01T17:00:00Z';
const plot = async (query = SPAN): Promise<string> => {
  const { status, text, headers } = await service.send('GET', `/v1/drains/${drain.drain}/plot.svg?${query}`);
  expect([status, headers.get('content-type')]).toEqual([200, 'image/svg+xml; charset=utf-8']);
  return text;
};
const count = (svg: string, what: RegExp): number => svg.match(what)?.length ?? 0;
/** Elements of a class within one panel, keys aside. */
const panelOf = (svg: string, title: string): string =>
  svg.split('<g transform').find((part) => part.includes(`>${title}`)) ?? '';

describe('the image', () => {
  test('is well-formed: every element closes, in order', async () => {
    const open: string[] = [];
    for (const [, close, name = '', self] of (await plot()).matchAll(/<(\/?)([a-z][\w]*)[^>]*?(\/?)>/gi)) {
      if (close === '/') expect(open.pop()).toBe(name);
      else if (self !== '/') open.push(name);
    }
    expect(open).toEqual([]);
  });

  test('says drain, site, time, zone, units and caution in words, and nothing of the patient', async () => {
    const svg = await plot();
    expect(svg).toContain(`Drain ${drain.drain}, pleural left, &lt;A&gt; &amp; &quot;B&quot;`);
    expect(svg).toContain('2025-03-01 09:00 to 2025-03-01 18:00, Europe/Berlin');
    for (const title of [
      'Net drained since placement, mL',
      'Net drained by clock hour, mL',
      'Below atmosphere, cmH2O',
      'Air leak, grade of 5',
    ])
      expect(svg).toContain(title);
    expect(svg).toContain('role="img" aria-labelledby="t d"');
    expect(svg).toContain('Not an alarm and not a medical device');
    expect(svg).not.toContain('Zebrafinch');
  });

  test('has no number that is none, and no script', async () => {
    const svg = await plot();
    expect(svg).not.toMatch(/NaN|Infinity|undefined|null/);
    expect(svg).not.toMatch(/<script|on\w+=|href=/);
  });

  test('may style itself and nothing else where it is opened by itself', async () => {
    const { headers } = await service.send('GET', `/v1/drains/${drain.drain}/plot.svg`);
    expect(headers.get('content-security-policy')).toBe(
      "default-src 'none'; style-src 'unsafe-inline'; sandbox",
    );
  });
});

describe('what is drawn', () => {
  test('steps with unit changes and flushes marked; a sum that is no total is dashed and hollow', async () => {
    const panel = panelOf(await plot(), 'Net drained since placement');
    // The set-up and the change of unit.
    expect(count(panel, />U<\/text>/g)).toBe(2);
    expect(panel).toContain('>50</text>');
    expect(count(panel, /class="line first dash" d=|d="[^"]+" class="line first dash"/g)).toBe(1);
    // Four levels that are totals up to the change, and two after the fall has cast its doubt; one of each in the key.
    expect(count(panel, /class="mark full first"/g) - 1).toBe(4);
    expect(count(panel, /<circle[^>]*class="mark first"/g) - 1).toBe(2);
  });

  test('bars with error, gaps as gaps: hatched where nothing covers, never a bar of 0', async () => {
    const panel = panelOf(await plot(), 'Net drained by clock hour');
    expect(count(panel, /class="whisker"/g) - 1).toBe(4);
    // An hour whose error is larger than its value is hollow and dashed.
    expect(count(panel, /class="bar faint"/g) - 1).toBe(1);
    // 12:00 to 17:00: a long interval, then one that is not known.
    expect(count(panel, /class="gap"/g) - 1).toBe(5);
  });

  test('pressures by shape; what is not proven is a range', async () => {
    const panel = panelOf(await plot(), 'Below atmosphere');
    expect(count(panel, /<polygon[^>]*class="mark second"/g) - 1).toBe(2);
    expect(count(panel, /<polygon[^>]*class="mark third"/g) - 1).toBe(2);
    expect(count(panel, /<circle[^>]*class="mark full first"/g) - 1).toBe(1);
    expect(count(panel, /d="M[^"]*H[^"]*V[^"]*" class="line first/g) - 1).toBe(1);
  });

  test('leak: a grade stands on its stem, none looked for and not seen is a ring', async () => {
    const panel = panelOf(await plot(), 'Air leak');
    expect(count(panel, /<polygon[^>]*class="mark full first"/g) - 1).toBe(1);
    expect(count(panel, /<circle[^>]*class="mark first"/g) - 1).toBe(1);
  });

  test('advisories on the time axis, with their titles', async () => {
    const panel = panelOf(await plot(), 'Advisories, for review');
    expect(panel).toContain('Level fell by more than one graduation');
    expect(panel).toContain(', stands');
  });

  test('only the panels that are asked for, as wide as asked', async () => {
    const svg = await plot(`${SPAN}&panels=leak&width=500`);
    expect(svg).toContain('width="500"');
    expect(svg).not.toContain('Below atmosphere');
    expect(count(svg, /<g transform/g)).toBe(1);
  });

  test('bars by shift over three days, by day over two weeks', async () => {
    expect(await plot('last_h=72&to=2025-03-01T17:00:00Z')).toContain('by clock hour');
    expect(await plot('last_h=73&to=2025-03-01T17:00:00Z')).toContain('by shift');
    expect(await plot('last_h=400&to=2025-03-01T17:00:00Z')).toContain('by fluid-balance day');
  });
});

describe('readable without colour', () => {
  /** Relative luminance and contrast: WCAG 2.2, definitions. */
  const luminance = (hex: string): number => {
    const full = hex.length === 4 ? hex.replaceAll(/[0-9a-f]/g, '$&$&') : hex;
    const [r = 0, g = 0, b = 0] = [1, 3, 5]
      .map((at) => Number.parseInt(full.slice(at, at + 2), 16) / 255)
      .map((c) => (c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4));
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const contrast = (a: string, b: string): number => {
    const [x = 0, y = 0] = [luminance(a), luminance(b)].sort((p, q) => q - p);
    return (x + 0.05) / (y + 0.05);
  };

  test.each(['light', 'dark'])(
    'every ink of the %s theme keeps 4.5:1 on its paper (WCAG 2.2, 1.4.3)',
    async (theme) => {
      const colours = Object.fromEntries(
        [...(await plot(`theme=${theme}`)).matchAll(/--(\w+):(#[0-9a-f]+)/g)].map(([, name, hex]) => [
          name,
          hex ?? '',
        ]),
      );
      for (const ink of ['ink', 'quiet', 'first', 'second', 'third'])
        expect(contrast(colours[ink] ?? '', colours.paper ?? ''), ink).toBeGreaterThanOrEqual(4.5);
    },
  );

  test('each series of pressures has a mark and a line of its own', async () => {
    const panel = panelOf(await plot(), 'Below atmosphere');
    const looks = ['mark second', 'mark third', 'mark full first'].map((style) => {
      const found = new RegExp(`<(\\w+) (points|cx)="[^"]*"[^>]*class="${style}"`).exec(panel);
      return `${found?.[1]} ${(found?.[0].match(/,/g) ?? []).length} corners`;
    });
    expect(new Set(looks).size).toBe(3);
  });
});
