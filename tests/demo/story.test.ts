import { expect, test } from 'vitest';
import { ADULT } from '../../src/demo/stories/adult.ts';
import { CHILD } from '../../src/demo/stories/child.ts';
import { MEDIASTINAL } from '../../src/demo/stories/mediastinal.ts';
import { entriesOf, entryOf, placementOf, type Story } from '../../src/demo/story.ts';

const START = Date.parse('2026-03-01T07:00:00Z');
const story: Story = { ...ADULT, name: 'test', usual: 'column 20, bubbling gentle, tidaling present' };

test('a line is an entry, with the usual words and without those it leaves out', () => {
  const entry = entryOf(
    story,
    '01:30 reading level 60, not bubbling, leak 2, phase expiratory -- coughing',
    START,
  );
  expect(entry.body).toMatchObject({
    identifier: { value: 'test 01:30 reading' },
    kind: 'reading',
    effective_at: '2026-03-01T09:30:00+01:00',
    note: 'coughing',
    level_ml: 60,
    suction: { column_cmh2o: 20 },
    air_leak: { grade: 2, phase: 'expiratory' },
    tidaling: 'present',
  });
  expect(entry.body.suction).not.toHaveProperty('bubbling');
});

test('a late line keeps its own time and is sent later', () => {
  const entry = entryOf(story, '02:00 sent 10:15 sampled volume 10', START);
  expect(entry.body.effective_at).toBe('2026-03-01T10:00:00+01:00');
  expect(entry.sentMs).toBe(10.25 * 3_600_000);
});

test('a correction names what it replaces and keeps the time of it', () => {
  const { body } = entryOf(story, '05:00 corrects 04:00 reading level 205 -- typed 250', START);
  expect(body).toMatchObject({
    kind: 'corrected',
    effective_at: '2026-03-01T13:00:00+01:00',
    target: { value: 'test 04:00 reading' },
    reason: 'typed 250',
    replacement: { kind: 'reading', effective_at: '2026-03-01T12:00:00+01:00', level_ml: 205 },
  });
});

test.each(['reading level 60', '01:00 reading colour red'])('%s: not a line of a story', (line) => {
  expect(() => entryOf(story, line, START)).toThrow('of a story');
});

test('moments of a placement may lie before the story', () => {
  expect(placementOf(MEDIASTINAL, START).body.chest_closed_at).toBe('2026-03-01T07:20:00+01:00');
});

test.each([ADULT, MEDIASTINAL, CHILD])('$name: every entry has a key of its own, within 72 hours', (told) => {
  const entries = entriesOf(told, START);
  expect(new Set(entries.map(({ key }) => key)).size).toBe(entries.length);
  expect(Math.max(...entries.map(({ sentMs }) => sentMs))).toBeLessThanOrEqual(72 * 3_600_000);
});
