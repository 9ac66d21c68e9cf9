/** A drain's story in which every kind of fact is issued, and some are re-issued or withdrawn. */
import { content, corrected, entry, id, level, voided } from './messages.ts';

/** A message with a field whose digits are to be kept: JSON.stringify would write 20.0 as 20. */
const raw = (message: object, fields: string): string => `${JSON.stringify(message).slice(0, -1)},${fields}}`;

export const STORY: readonly (object | string)[] = [
  entry('up', 'set-up', '08:00', {
    profile: 'wet-2000',
    opening_level_ml: 0,
    seal_filled_cmh2o: 2,
    suction: { source: 'on', column_cmh2o: 20, ordered_cmh2o: 20 },
  }),
  raw(entry('weight', 'weighed', '08:00'), '"weight_kg":70.50'),
  raw(
    entry('r1', 'reading', '09:00', { note: 'Calm, "awake".\nNo pain — 2 °C', tidaling: 'present' }),
    '"level_ml":20.0,"suction":{"source":"on","column_cmh2o":20.0,"ordered_cmh2o":20,"bubbling":"gentle"},"seal":{"level_cmh2o":4.50}',
  ),
  entry('r2', 'reading', '10:00', {
    level_ml: 120,
    suction: { column_cmh2o: 20, bubbling: 'none' },
    seal: { swing_low_cmh2o: 2, swing_high_cmh2o: 6 },
    air_leak: { grade: 2, phase: 'expiratory', flow_ml_min: 150 },
    fluid_character: 'serosanguineous',
    fluid_colour: 'pink',
    tidaling: 'absent',
  }),
  entry('flush', 'instilled', '10:30', { volume_ml: 200, purpose: 'flush' }),
  level('r3', '11:00', 150),
  entry('sample', 'sampled', '11:15', { volume_ml: 12.5 }),
  entry('clamp', 'clamped', '11:20'),
  entry('unclamp', 'unclamped', '11:30'),
  level('r4', '12:00', 180, { suction: { source: 'off' }, seal: { level_cmh2o: 3 } }),
  entry('change', 'unit-changed', '12:30', {
    profile: 'electronic-800',
    closing_level_ml: 190,
    opening_level_ml: 0,
  }),
  entry('r5', 'reading', '13:00', { level_ml: 33, pressure_cmh2o: -18.2 }),
  entry('order', 'suction-changed', '13:10', { source: 'on', dial_cmh2o: 15, ordered_cmh2o: 15 }),
  level('r6', '14:00', 80, { pressure_cmh2o: 2 }),
  level('r7', '15:00', 20),
  entry('spill', 'level-rebased', '15:30', { cause: 'spill', last_trusted_level_ml: 30, new_level_ml: 5 }),
  level('r8', '16:00', 40),
  corrected('c1', 'r1', content(level('', '09:00', 60))),
  level('late', '09:30', 80),
  voided('v1', 'r6'),
  entry('moved', 'drain-updated', '16:30', { encounter: { reference: 'Encounter/2' } }),
  entry('linked', 'drain-updated', '16:40', {
    patient: { reference: 'Patient/1', identifier: id('patient-1') },
  }),
  entry('out', 'removed', '17:00'),
];
