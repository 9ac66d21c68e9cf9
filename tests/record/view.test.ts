import { expect, it } from 'vitest';
import { rowView } from '../../src/record/view.ts';
import { level, placed, rowOf, setUp } from '../support/drain-script.ts';

it('rounds the coverage of a window down, as its fact does: a lower bound never reads as covered', () => {
  // 23 h 59.5 min of 24 h are measured.
  const view = rowView(rowOf([placed('08:00:30'), setUp('08:00:30', 0), level('a', '+1 08:00', 30)], 'a'));
  const day = 'windows' in view ? view.windows?.find(({ hours }) => hours === 24) : undefined;
  expect(day).toMatchObject({ at_least: true, coverage: 0.999 });
});
