/** The worked chart of the README holds: its rows are read from the file and compared with what is derived. */
import { readFileSync } from 'node:fs';
import { expect, it } from 'vitest';
import { netOf } from '../../../src/domain/fold/interval.ts';
import { roundHalfEven } from '../../../src/domain/numbers/rational.ts';
import {
  changed,
  dec,
  instilled,
  level,
  placed,
  rowOf,
  setUp,
  type Told,
  WET_UNIT,
} from '../../support/drain-script.ts';

const UNIT = {
  ...WET_UNIT,
  graduations: [
    { up_to_ml: dec(200), mark_ml: dec(5) },
    { up_to_ml: dec(2000), mark_ml: dec(10) },
  ],
};

interface Line {
  readonly time: string;
  readonly charted: string;
  readonly level: string;
  readonly net: string;
  readonly rate: string;
}

function linesOfReadme(): Line[] {
  const readme = readFileSync(new URL('../../../README.md', import.meta.url), 'utf8');
  const rows = readme.split('\n').filter((line) => /^\| \d\d:\d\d \|/.test(line));
  return rows.map((row) => {
    const [, time = '', charted = '', ml = '', net = '', rate = ''] = row
      .split('|')
      .map((cell) => cell.trim());
    return { time, charted, level: ml, net, rate };
  });
}

function toldBy({ time, charted, level: ml }: Line): Told[] {
  if (charted.startsWith('set up')) return [placed(time), setUp(time, Number(ml), UNIT)];
  if (charted.startsWith('unit changed')) {
    const [closing = '', opening = ''] = ml.split(' → ');
    const { says } = changed(time, time, Number(closing), Number(opening)) as Told & { says: object };
    return [{ key: time, time, says: { ...says, unit_profile: UNIT } } as Told];
  }
  if (charted.startsWith('flush')) return [instilled(time, time, Number(/\d+/.exec(charted)?.[0]))];
  return [level(time, time, ml)];
}

it('gives the net drainage and rate that the README shows, line by line', () => {
  const lines = linesOfReadme();
  expect(lines.length).toBeGreaterThanOrEqual(8);
  const story = lines.flatMap(toldBy);
  for (const { time, charted, net, rate } of lines) {
    if (!/^(reading|unit changed)/.test(charted)) continue;
    const volumes = rowOf(story, time).volumes;
    const millilitres = volumes === null ? null : netOf(volumes.interval);
    expect(`${time} ${millilitres === null ? '?' : millilitres / 1000}`).toBe(`${time} ${net}`);
    const derived = volumes?.rate;
    const shown = derived === undefined || derived.value === null ? '' : roundHalfEven(derived.value, 1);
    expect(`${time} ${shown}`).toBe(`${time} ${rate}`);
  }
});
