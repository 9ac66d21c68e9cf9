/** Marks on a fact, as interpretations: one row a mark. None of them says whether a value is normal. */
import type { Flag } from '../domain/vocabulary/fact.ts';

export const FLAG_CODES: Readonly<Record<Flag, { readonly display: string; readonly definition: string }>> = {
  suspect: {
    display: 'Suspect',
    definition: 'A fall that nothing explains contradicts the rise that this rests on.',
  },
  'lower-bound': {
    display: 'Lower bound',
    definition: 'Part of the time or of an interval is not known: the true value is this or more.',
  },
  interpolated: {
    display: 'Interpolated',
    definition:
      'An edge of the window lies inside an interval, whose volume was spread evenly over its unclamped time.',
  },
  'left-out': {
    display: 'Left out of the arithmetic',
    definition: 'Charted, and kept out of all derived values while a mark on the entry stands.',
  },
  'low-confidence': {
    display: 'Low confidence',
    definition:
      'The expanded uncertainty of reading (k = 2) is larger than the value. A mark for the eye; it decides nothing.',
  },
  'within-uncertainty': {
    display: 'Within uncertainty',
    definition: 'Value and threshold are no further apart than the expanded uncertainty of reading.',
  },
  'drained-and-sampled-only': {
    display: 'Drained and sampled only',
    definition: 'What drained and was sampled crosses the threshold; net of what was instilled it does not.',
  },
  reviewed: { display: 'Reviewed', definition: 'A person has said that the advisory was seen.' },
};
