/** Who observed: the person who answers for the result, else the equipment, else the application that sends it. */
import type { Author } from '../../domain/entry.ts';
import type { MessageMapping } from '../../domain/message-mapping.ts';
import type { Observed } from './contexts.ts';
import { type Er7, textAt } from './er7.ts';

/** Identifiers alone, never a name. */
export function whoObserved(er7: Er7, { obx, prt }: Observed, { devices, staff }: MessageMapping): Author {
  const person = textAt(er7, obx, 16);
  if (person !== '') return { type: 'person', identifier: { system: staff, value: person } };
  const [msh] = er7.segments;
  const equipment = textAt(er7, obx, 18) || (prt === undefined ? '' : textAt(er7, prt, 10));
  const sender = msh === undefined ? '' : textAt(er7, msh, 3);
  return { type: 'device', identifier: { system: devices, value: equipment || sender } };
}
