import type { Story } from '../story.ts';

/** Invented. A drain that bleeds and settles, and a unit that was changed without reading the old one. */
export const MEDIASTINAL: Story = {
  name: 'mediastinal',
  title: 'Adult, mediastinal drain after cardiac surgery, dry suction',
  placement: {
    site: 'mediastinal',
    tubes: ['anterior', 'posterior'],
    population: 'adult',
    indication: 'cardiac-surgery',
    patient: { reference: 'Patient/demo-cardiac' },
    encounter: { reference: 'Encounter/demo-cardiac-stay' },
    chest_closed_at: '-00:40',
    unit_arrived_at: '00:00',
  },
  usual: 'suction on, ordered 20, dial 20, indicator in-range',
  lines: `
    00:00 set-up profile dry-2000, opening 60, filled 2, dial 20, ordered 20, suction on, connections yes
    00:15 reading level 75, seal 3, leak 0, phase none, fluid sanguineous
    00:30 reading level 90, seal 3, leak 0, phase none, fluid sanguineous
    00:45 reading level 105, seal 3, leak 0, phase none, fluid sanguineous
    01:00 reading level 120, seal 3, leak 0, phase none, fluid sanguineous
    02:00 reading level 210, seal 3, leak 0, phase none, fluid sanguineous
    03:00 reading level 350, seal 3, leak 0, phase none, fluid sanguineous
    04:00 reading level 670, seal 3, leak 0, phase none, fluid sanguineous -- surgeon informed
    05:00 reading level 930, seal 3, leak 0, phase none, fluid sanguineous
    06:00 reading level 1090, seal 3, leak 0, phase none, fluid sanguineous
    07:00 reading level 1180, seal 3, leak 0, phase none, fluid sanguineous
    08:00 reading level 1240, seal 3, leak 0, phase none, fluid sanguineous
    09:00 reading level 1290, indicator out-of-range, seal 3, leak 0, phase none, fluid sanguineous -- suction tubing had come loose
    09:10 tube-manipulated what reconnected
    10:00 reading level 1330, seal 3, leak 0, phase none, fluid sanguineous
    11:00 reading level 1360, seal 3, leak 0, phase none, fluid sanguineous
    12:00 reading level 1390, seal 3, leak 0, phase none, fluid serosanguineous
    16:00 reading level 1480, seal 3, leak 0, phase none, fluid serosanguineous
    20:00 reading level 1550, seal 3, leak 0, phase none, fluid serosanguineous
    24:00 reading level 1610, seal 3, leak 0, phase none, fluid serosanguineous
    25:30 unit-changed profile dry-2000, opening 0 -- old unit thrown away before it was read
    28:00 reading level 60, seal 3, leak 0, phase none, fluid serosanguineous
    32:00 reading level 105, seal 3, leak 0, phase none, fluid serosanguineous
    36:00 reading level 140, seal 3, leak 0, phase none, fluid serosanguineous
    40:00 reading level 170, seal 3, leak 0, phase none, fluid serosanguineous
    44:00 reading level 195, not indicator, seal 3, leak 0, phase none, fluid serous
    48:00 reading level 220, seal 3, leak 0, phase none, fluid serous
    52:00 reading level 240, seal 3, leak 0, phase none, fluid serous
    56:00 reading level 260, seal 3, leak 0, phase none, fluid serous
    60:00 reading level 270, seal 3, leak 0, phase none, fluid serous
    64:00 reading level 280, seal 3, leak 0, phase none, fluid serous
    68:00 reading level 290, seal 3, leak 0, phase none, fluid serous
    70:30 removed
  `,
  together: null,
  resent: null,
  refused: null,
  watched: null,
};
