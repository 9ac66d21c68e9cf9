/** Output thresholds for adults, as published. */
import type { Rule } from '../domain/vocabulary/rule.ts';
import { ANY_DRAIN, closure, dec, ml, mlH, mlKgH, USUAL } from './parts.ts';

const ADULT = { ...USUAL, ...ANY_DRAIN, populations: ['adult'], basis: 'all-tubes' } as const;
const TRAUMA = {
  ...ADULT,
  indications: ['trauma'],
  sites: ['pleural-left', 'pleural-right'],
  basis: 'one-tube',
} as const;
const HEART = { ...ADULT, indications: ['cardiac-surgery'] } as const;

const ATLS = {
  source: 'ATLS, 10th ed., 2018, as reproduced by RCEM Learning (massive haemothorax)',
  evidence: 'secondary text',
} as const;
const MICHELSON = {
  source: 'Michelson et al., Am J Surg 1980, doi 10.1016/0002-9610(80)90284-6, n=250',
  evidence: 'abstract or text seen',
  operator: '>',
} as const;
const CHRISTENSEN = {
  source: 'Christensen et al., J Cardiothorac Vasc Anesth 2012;26:46-51, n=1188',
  evidence: 'abstract or text seen',
  operator: '>=',
  clock: closure(0, 6),
} as const;
const UDPB = {
  source: 'Dyke et al., J Thorac Cardiovasc Surg 2014;147:1458-63; class limits from memory',
  evidence: 'from memory',
  on: false,
  operator: '>',
  clock: closure(0, 12),
} as const;
const KIRKLIN = {
  source: 'Kirklin/Barratt-Boyes Cardiac Surgery, 2nd ed. 1993, 3rd ed. 2003',
  evidence: 'from memory',
  on: false,
  operator: '>',
} as const;
const BOJAR = {
  source: 'Bojar, Manual of Perioperative Care in Adult Cardiac Surgery',
  evidence: 'from memory',
  on: false,
  operator: '>',
} as const;

/** A leak that goes on after lung surgery; sources differ in the day, and in what it is counted from. */
const leakBeyond = (days: string, source: string): Rule => ({
  ...USUAL,
  ...ANY_DRAIN,
  populations: ['adult'],
  indications: ['thoracic-surgery'],
  basis: 'one-tube',
  id: `leak-beyond-${days}d`,
  title: `Air leak seen more than ${days} days after chest closure, or where none is stated after placement`,
  quantity: 'leak-days',
  unit: 'd',
  operator: '>',
  threshold: dec(days),
  source,
  evidence: 'abstract or text seen',
});

const udpb = (name: string, above: string): Rule => ({
  ...HEART,
  ...UDPB,
  ...ml(12),
  id: `udpb-${name}`,
  title: `Chest-tube component alone: ${name}, above ${above} mL within 12 h of closure (the class is the worst of nine items)`,
  threshold: dec(above),
});

/** Rate in each of so many first hours. */
const firstHours = (hours: number, above: string): Rule => ({
  ...HEART,
  ...KIRKLIN,
  ...mlH(hours),
  id: `kirklin-first-${hours}h`,
  title: `More than ${above} mL in each of the first ${hours} h`,
  clock: closure(0, hours),
  threshold: dec(above),
});
const firstTotal = (hours: number, above: string): Rule => ({
  ...HEART,
  ...KIRKLIN,
  ...ml(hours),
  id: `kirklin-total-${hours}h`,
  title: `More than ${above} mL in all by ${hours} h`,
  clock: closure(0, hours),
  threshold: dec(above),
});
const bojar = (hours: number, above: string): Rule => ({
  ...HEART,
  ...BOJAR,
  ...mlH(hours),
  id: `bojar-${hours}h`,
  title: `More than ${above} mL/h for ${hours} h`,
  threshold: dec(above),
});

export const ADULT_RULES: readonly Rule[] = [
  leakBeyond('5', 'STS database definition; Attaar et al. 2017; Mueller and Marzluf 2014'),
  leakBeyond('7', 'Zaatar and Aigner 2018 (traditional definition)'),
  {
    ...TRAUMA,
    ...ATLS,
    ...ml(1),
    id: 'atls-at-once',
    title: "More than 1500 mL at once ('at once' is read as within 1 h: common practice, no source)",
    operator: '>',
    threshold: dec('1500'),
  },
  {
    ...TRAUMA,
    ...ATLS,
    ...mlH(2),
    id: 'atls-ongoing',
    title: 'More than 200 mL/h for 2 h, the shorter of the printed 2-4 h',
    operator: '>',
    threshold: dec('200'),
  },
  {
    ...ADULT,
    ...ml(24),
    id: 'east-24h',
    title: '1500 mL by one tube in any 24 h',
    sites: ['pleural-left', 'pleural-right'],
    basis: 'one-tube',
    operator: '>=',
    threshold: dec('1500'),
    source: 'EAST guideline, Mowery et al., J Trauma 2011;70:510-8; wording from memory',
    evidence: 'secondary text',
  },
  {
    ...HEART,
    ...MICHELSON,
    ...ml(1),
    id: 'michelson-hour-1',
    title: 'More than 300 mL in hour 1',
    clock: closure(0, 1),
    threshold: dec('300'),
  },
  {
    ...HEART,
    ...MICHELSON,
    ...ml(1),
    id: 'michelson-hour-2',
    title: 'More than 250 mL in hour 2',
    clock: closure(1, 2),
    threshold: dec('250'),
  },
  {
    ...HEART,
    ...MICHELSON,
    ...mlH(1),
    id: 'michelson-later',
    title: 'More than 150 mL/h after hour 2',
    clock: closure(2, null),
    threshold: dec('150'),
  },
  {
    ...HEART,
    ...CHRISTENSEN,
    ...ml(1),
    id: 'christensen-1h',
    title: '200 mL or more in any 1 h, or part of it, within the first 6 h',
    threshold: dec('200'),
  },
  {
    ...HEART,
    ...CHRISTENSEN,
    ...mlKgH(2),
    id: 'christensen-2h',
    title: '2 mL/kg/h or more for 2 consecutive h within the first 6 h',
    threshold: dec('2'),
  },
  {
    ...HEART,
    ...mlKgH(6),
    id: 'colson-6h',
    title: 'More than 1.5 mL/kg/h for 6 consecutive h within 24 h',
    clock: closure(0, 24),
    operator: '>',
    threshold: dec('1.5'),
    source: 'Colson et al., PLoS One 2016;11:e0162396',
    evidence: 'abstract or text seen',
  },
  {
    ...ADULT,
    ...ml(2),
    id: 'aci-nsw-blood',
    title: 'More than 100 mL of blood in 2 h, the longer of the printed 1-2 h',
    sites: ['pleural-left', 'pleural-right'],
    fluids: ['sanguineous'],
    basis: 'one-tube',
    operator: '>',
    threshold: dec('100'),
    source: 'ACI NSW, Pleural drains in adults, consensus guideline, v1.2, 2014',
    evidence: 'abstract or text seen',
  },
  udpb('mild', '600'),
  udpb('moderate', '800'),
  udpb('severe', '1000'),
  udpb('massive', '2000'),
  firstHours(1, '500'),
  firstHours(2, '400'),
  firstHours(3, '300'),
  firstTotal(4, '1000'),
  firstTotal(5, '1200'),
  bojar(1, '400'),
  bojar(2, '300'),
  bojar(4, '200'),
];
