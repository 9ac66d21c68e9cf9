import { describe, expect, it } from 'vitest';
import { derivedFacts } from '../../../src/domain/facts/derived-facts.ts';
import {
  clamped,
  instilled,
  intervalAt,
  level,
  placed,
  rowOf,
  sampled,
  setUp,
  type Told,
  unclamped,
} from '../../support/drain-script.ts';

const start = (opening: number): readonly Told[] => [placed(), setUp('08:00', opening)];
const netFact = (story: readonly Told[], key: string) =>
  derivedFacts(rowOf(story, key)).find(({ name }) => name === 'net-drainage');

describe('net drainage = drained + sampled - instilled (common practice, no source)', () => {
  it('takes off what was put in: 640 on a baseline of 250 with 150 instilled is 390 drained, 240 net', () => {
    const story = [...start(250), instilled('flush', '09:00', 150), level('a', '12:00', 640)];
    expect(intervalAt(story, 'a')).toEqual({ status: 'measured', drained: 390, net: 240 });
  });

  it('is shown negative while a flush is retained: 50 in, clamped 1 h, 30 back is -20', () => {
    const dwell = [instilled('in', '09:00', 50), clamped('c', '09:00'), unclamped('u', '10:00')];
    const story = [...start(100), ...dwell, level('a', '12:00', 130)];
    expect(intervalAt(story, 'a')).toEqual({ status: 'measured', drained: 30, net: -20 });
    expect(netFact(story, 'a')).toMatchObject({
      value: { quantity: '-20' },
      components: [
        { name: 'drained', quantity: '30' },
        { name: 'sampled', quantity: '0' },
        { name: 'instilled', quantity: '50' },
        { name: 'uncertainty', quantity: '4.1' },
      ],
    });
  });

  it('adds what was taken before it reached the chamber: 10 sampled beside a rise of 40 is 50', () => {
    const story = [...start(0), sampled('s', '09:00', 10), level('a', '10:00', 40)];
    expect(intervalAt(story, 'a')).toEqual({ status: 'measured', drained: 40, net: 50 });
  });

  it('counts a flush charted at the minute of a reading in the interval that follows', () => {
    const story = [
      ...start(0),
      level('a', '09:00', 40),
      instilled('flush', '09:00', 20),
      level('b', '10:00', 70),
    ];
    expect(intervalAt(story, 'a')).toMatchObject({ net: 40 });
    expect(intervalAt(story, 'b')).toMatchObject({ drained: 30, net: 10 });
  });

  it('is a lower bound where the drained part is one', () => {
    const story = [
      ...start(0),
      level('a', '09:00', 40),
      instilled('flush', '09:10', 20),
      setUp('09:30', 0, undefined, 'second'),
      level('b', '10:00', 70),
    ];
    expect(netFact(story, 'b')).toMatchObject({
      value: { quantity: '50', at_least: true },
      flags: ['lower-bound'],
      note: 'no-closing-level',
    });
  });

  it('is absent, with the reason and what went in and out, where the drained part is unknown', () => {
    const story = [...start(100), sampled('s', '08:30', 5), level('a', '09:00', 20)];
    expect(netFact(story, 'a')).toMatchObject({
      value: { absent: 'unexplained-fall' },
      components: [
        { name: 'sampled', quantity: '5' },
        { name: 'instilled', quantity: '0' },
      ],
    });
  });

  it('leaves out what went in or out before the first known level, which belongs to no interval', () => {
    const early = [placed('07:00'), instilled('early', '07:30', 50), sampled('early-sample', '07:40', 5)];
    const story = [...early, setUp('08:00', 0), level('a', '09:00', 40)];
    expect(intervalAt(story, 'a')).toEqual({ status: 'measured', drained: 40, net: 40 });
    const baseline = [...early, setUp('08:00', null), level('a', '08:30', 0), level('b', '09:00', 40)];
    expect(intervalAt(baseline, 'b')).toEqual({ status: 'measured', drained: 40, net: 40 });
  });

  it('keeps a sum of thousandths exact: 0.1 + 0.2 is 0.3', () => {
    const story = [
      ...start(0),
      sampled('one', '08:10', 0.1),
      sampled('two', '08:20', 0.2),
      level('a', '09:00', 0),
    ];
    expect(netFact(story, 'a')).toMatchObject({ value: { quantity: '0.3' } });
  });
});
