import type { Story } from '../story.ts';

/** Invented. A long air leak, an evaporating suction column, a flush, a full unit and a level typed wrong. */
export const ADULT: Story = {
  name: 'adult',
  title: 'Adult, left pleural drain after lung resection, wet suction',
  placement: {
    site: 'pleural-left',
    tubes: ['apical', 'basal'],
    population: 'adult',
    indication: 'thoracic-surgery',
    patient: { reference: 'Patient/demo-adult' },
    encounter: { reference: 'Encounter/demo-adult-stay' },
  },
  usual: 'suction on, ordered 20, column 20, bubbling gentle, tidaling present',
  lines: `
    00:00 set-up profile wet-2000, opening 480, filled 2, column 20, ordered 20, suction on, connections yes -- came from theatre with 480 mL in the unit
    00:15 reading level 510, seal 4, leak 5, phase continuous, fluid sanguineous
    00:30 reading level 530, seal 4, leak 5, phase continuous, fluid sanguineous
    00:45 reading level 550, seal 4, leak 5, phase continuous, fluid sanguineous
    01:00 reading level 570, seal 4, leak 4, phase continuous, fluid sanguineous
    02:00 reading level 640, seal 4, leak 4, phase continuous, fluid sanguineous
    03:00 reading level 700, seal 4, leak 4, phase continuous, fluid sanguineous
    04:00 reading level 750, seal 5, leak 4, phase expiratory, fluid sanguineous
    05:00 reading level 790, seal 5, leak 4, phase expiratory, fluid sanguineous
    06:00 reading level 830, seal 5, leak 3, phase expiratory, fluid sanguineous
    07:00 reading level 860, seal 5, leak 3, phase expiratory, fluid sanguineous
    08:00 reading level 890, seal 5, leak 3, phase expiratory, fluid sanguineous
    09:00 reading level 920, seal 5, leak 3, phase expiratory, fluid serosanguineous
    10:00 reading level 950, seal 5, leak 3, phase expiratory, fluid serosanguineous
    11:00 reading level 970, seal 5, leak 3, phase expiratory, fluid serosanguineous
    12:00 reading level 990, seal 5, leak 3, phase expiratory, fluid serosanguineous
    16:00 reading level 1070, bubbling none, seal 5, leak 3, phase expiratory, fluid serosanguineous -- suction tubing found kinked
    16:10 tube-manipulated what unkinked
    16:20 reading seal 5, leak 3, phase expiratory
    20:00 reading level 1150, seal 5, leak 2, phase expiratory, fluid serosanguineous
    24:00 reading level 1220, column 17, seal 5, leak 2, phase expiratory, fluid serosanguineous -- column is 3 below the order: water has evaporated
    24:10 seal-adjusted chamber suction, water added, to 20
    26:30 suction-changed source off -- to imaging
    26:45 reading suction off, not column, not bubbling, seal 3, leak 2, phase expiratory
    27:20 suction-changed source on, column-set 20, ordered-set 20 -- back from imaging
    28:00 reading level 1330, seal 5, leak 2, phase expiratory, fluid serosanguineous
    30:00 instilled volume 30, purpose flush
    30:20 reading level 1340, seal 5, leak 2, phase expiratory, fluid serosanguineous
    32:00 reading level 1430, seal 5, leak 2, phase expiratory, fluid serosanguineous
    34:00 sampled volume 10
    36:00 sent 44:30 reading level 1530, seal 5, leak 1, phase expiratory, fluid serosanguineous
    40:00 reading level 1620, not bubbling, seal 5, leak 1, phase forced-expiratory, fluid serosanguineous
    44:00 reading level 1710, seal 5, leak 1, phase forced-expiratory, fluid serosanguineous
    48:00 reading level 1790, seal 5, leak 1, phase forced-expiratory, fluid serous
    52:00 reading level 1860, seal 6, leak 1, phase forced-expiratory, fluid serous
    53:00 unit-changed profile wet-2000, closing 1880, opening 0
    56:00 reading level 70, seal 6, leak 0, phase none, fluid serous
    60:00 reading level 140, seal 6, leak 0, phase none, fluid serous
    64:00 reading level 250, seal 6, leak 0, phase none, fluid serous
    68:00 reading level 230, seal 6, leak 0, phase none, fluid serous
    68:20 corrects 64:00 reading level 205, seal 6, leak 0, phase none, fluid serous -- typed 250 for 205
    72:00 reading level 250, seal 6, leak 0, phase none, fluid serous
  `,
  together: null,
  resent: '02:00 reading',
  refused: '03:10 reading column -20, seal 4',
  watched: {
    what: 'A level typed wrong (250 for 205) is corrected after the next reading had contradicted it',
    entry: '68:20 corrects',
    rows: ['64:00 reading', '68:00 reading'],
  },
};
