/** The words of the page for what the service says in codes. */
import type { Drain } from './answers.ts';
import type { Reference } from './row-answers.ts';

const WORDS: Readonly<Record<string, string>> = {
  'pleural-left': 'left pleural',
  'pleural-right': 'right pleural',
  placed: 'Drain placed',
  'set-up': 'Unit set up',
  reading: 'Reading',
  'unit-changed': 'Unit changed',
  'level-rebased': 'Scale disturbed',
  instilled: 'Put in through the tube',
  sampled: 'Sample taken',
  'suction-changed': 'Suction changed',
  clamped: 'Clamped',
  unclamped: 'Unclamped',
  'seal-adjusted': 'Water added or withdrawn',
  'negativity-vented': 'Negativity vented',
  'tube-manipulated': 'Tube handled',
  'drain-updated': 'Facts of the drain',
  weighed: 'Weight',
  reviewed: 'Advisory reviewed',
  removed: 'Drain removed',
  corrected: 'Correction',
  'entered-in-error': 'Entered in error',
  'unexplained-fall': 'the level fell and nothing charted explains it',
  'no-closing-level': 'the old unit has no closing level',
  'opening-not-stated': 'the opening level was not stated',
  'suspect-rise': 'a later fall contradicts the rise',
  'baseline-only': 'only a first level is known',
  'gap-too-long': 'readings too far apart',
  'not-covered': 'not covered by readings',
  'before-first-level': 'before the first level',
  'after-last-level': 'after the last level',
  'not-in-place': 'drain not in place',
  'interval-too-short': 'too short for a rate',
  'interval-not-measured': 'the volume is not known',
  'no-weight': 'no weight charted',
  'weight-too-old': 'the weight is too old',
  'population-not-stated': 'adult or child not stated',
  'seal-level-not-charted': 'seal level not charted',
  'only-seal-swing-charted': 'only the swing of the seal is charted',
  'suction-source-not-charted': 'suction on or off not charted',
  'suction-not-charted': 'suction shown not charted',
  'bubbling-not-charted': 'bubbling not charted',
  'no-bubbling': 'suction on and no bubbling',
  'indicator-not-charted': 'indicator not charted',
  'indicator-out-of-range': 'indicator out of range',
  'pressure-not-charted': 'pressure not charted',
  'positive-pressure': 'pressure above atmosphere',
  'unit-unknown': 'no unit set up',
  'unit-attached-since': 'not charted since this unit was attached',
  'suction-changed-since': 'not charted since suction was changed',
  'seal-adjusted-since': 'not charted since water was added or withdrawn',
  'negativity-vented-since': 'not charted since it was vented',
  'before-placement': 'earlier than the placement: left out',
  'after-removal': 'later than the removal: left out',
  'above-capacity': 'over the capacity of the unit: level left out',
  'beyond-leak-scale': 'beyond the leak scale: grade left out',
  'conflicting-levels': 'levels of this minute conflict: left out',
  'level-of-neither-run': 'fits neither the old nor the new unit: level left out',
  'time-in-question': 'time in question: left out',
  'finer-than-graduations': 'finer than the chamber can be read',
  'sudden-jump': 'large rise in a short time',
  'clock-skew': 'a little ahead of the clock',
  'possible-double-entry': 'perhaps entered twice',
  'suction-without-bubbling': 'suction on and no bubbling',
  'no-trend-shown': 'no trend shown',
  'mediastinal-site': 'does not swing at this site',
};

/** A code in words; one that is not known here reads as it is written. */
export const wordsFor = (code: string): string =>
  WORDS[code] ?? code.replaceAll('-', ' ').replaceAll('_', ' ');

const SITES: Readonly<Record<string, string>> = {
  'pleural-left': 'Left pleural',
  'pleural-right': 'Right pleural',
  mediastinal: 'Mediastinal',
  pericardial: 'Pericardial',
};

const siteText = (site: string | null): string => (site === null ? 'Site not stated' : (SITES[site] ?? site));

/** Where a drain lies, and by which tubes. */
export const drainText = ({ site, tubes }: Pick<Drain, 'site' | 'tubes'>): string =>
  `${siteText(site)}, ${tubes.join(' and ')}`;

export const referenceText = (of: Reference | undefined): string =>
  of?.reference ?? of?.identifier?.value ?? 'not linked';

const UNITS: Readonly<Record<string, string>> = {
  'cm[H2O]': 'cmH2O',
  '1': '',
  '{grade}': '',
  h: 'h',
  d: 'days',
};

export const unitText = (ucum: string): string => UNITS[ucum] ?? ucum;

export const CAUTIONS =
  'Not an alarm and not a medical device. Shows what was charted and what follows by arithmetic, for review. Local policy and the responsible clinician decide.';
