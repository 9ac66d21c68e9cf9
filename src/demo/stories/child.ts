import type { Story } from '../story.ts';

/** Invented. Output indexed by weight, a clamp period, and a unit change that was charted a shift late. */
export const CHILD: Story = {
  name: 'child',
  title: 'Child, right pleural drain for effusion, wet suction',
  placement: {
    site: 'pleural-right',
    tubes: ['single'],
    population: 'paediatric',
    indication: 'effusion',
    patient: { reference: 'Patient/demo-child' },
    encounter: { reference: 'Encounter/demo-child-stay' },
  },
  usual: 'suction on, ordered 10, column 10, bubbling gentle, tidaling present',
  lines: `
    00:00 set-up profile wet-500-paediatric, opening 0, filled 2, column 10, ordered 10, suction on, connections yes
    00:00 weighed weight 12.4
    00:15 reading level 40, seal 3, leak 0, phase none, fluid purulent
    00:30 reading level 66, seal 3, leak 0, phase none, fluid purulent
    00:45 reading level 84, seal 3, leak 0, phase none, fluid purulent
    01:00 reading level 96, seal 3, leak 0, phase none, fluid purulent
    02:00 reading level 120, seal 3, leak 0, phase none, fluid purulent
    03:00 reading level 138, seal 3, leak 0, phase none, fluid purulent
    04:00 reading level 152, seal 3, leak 0, phase none, fluid purulent
    05:00 reading level 164, seal 3, leak 0, phase none, fluid purulent
    06:00 reading level 174, seal 3, leak 0, phase none, fluid purulent
    08:00 reading level 190, seal 3, leak 0, phase none, fluid purulent
    10:00 instilled volume 20, purpose fibrinolytic
    10:05 clamped
    11:05 unclamped
    12:00 reading level 244, seal 3, leak 0, phase none, fluid purulent
    16:00 reading level 278, seal 3, leak 0, phase none, fluid purulent
    20:00 reading level 306, swing-low 2, swing-high 6, leak 0, phase none, fluid purulent
    22:00 weighed weight 12.3
    24:00 reading level 330, seal 3, leak 0, phase none, fluid purulent
    28:00 reading level 352, seal 3, leak 0, phase none, fluid purulent
    32:00 reading level 374, seal 3, leak 0, phase none, fluid serous
    36:00 reading level 396, seal 4, leak 0, phase none, fluid serous
    40:00 reading level 420, seal 4, leak 0, phase none, fluid serous
    42:30 sent 48:20 unit-changed profile wet-500-paediatric, closing 432, opening 0 -- changed at night, charted by the next shift
    44:00 reading level 10, seal 4, leak 0, phase none, fluid serous
    48:00 reading level 24, seal 4, leak 0, phase none, fluid serous
    50:00 weighed weight 12.2
    52:00 reading level 36, seal 4, leak 0, phase none, fluid serous
    56:00 reading level 46, seal 4, leak 0, phase none, fluid serous
    60:00 reading level 54, seal 4, leak 0, phase none, fluid serous
    64:00 reading level 60, seal 4, tidaling absent, leak 0, phase none, fluid serous
    64:10 tube-manipulated what repositioned
    68:00 reading level 66, seal 4, leak 0, phase none, fluid serous
    72:00 reading level 70, seal 4, leak 0, phase none, fluid serous
  `,
  together: { from: '16:00', to: '36:00' },
  resent: null,
  refused: null,
  watched: {
    what: 'A fall of the level that nothing explained, until the unit change of that night is charted',
    entry: '42:30 unit-changed',
    rows: ['40:00 reading', '42:30 unit-changed', '44:00 reading'],
  },
};
