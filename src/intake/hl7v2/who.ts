/** Who observed: the person who answers for the result, else the equipment, else the application that sends it. */
import type { Author, Identifier } from '../../domain/vocabulary/entry.ts';
import type { MessageMapping } from '../../domain/vocabulary/message-mapping.ts';
import type { Observed } from './contexts.ts';
import { type Er7, nameAt } from './er7.ts';

/** The equipment of OBX-18, else of PRT-10 (v2.7 on); null where none is named. */
export function equipmentOf(
  er7: Er7,
  { obx, prt }: Observed,
  { devices }: MessageMapping,
): Identifier | null {
  const value = nameAt(er7, obx, 18) || (prt === undefined ? '' : nameAt(er7, prt, 10));
  return value === '' ? null : { system: devices, value };
}

/** Identifiers alone, never a name. */
export function whoObserved(er7: Er7, observed: Observed, mapping: MessageMapping): Author {
  const { devices, staff } = mapping;
  const person = nameAt(er7, observed.obx, 16);
  if (person !== '') return { type: 'person', identifier: { system: staff, value: person } };
  const [msh] = er7.segments;
  const sender = msh === undefined ? '' : nameAt(er7, msh, 3);
  const equipment = equipmentOf(er7, observed, mapping);
  return { type: 'device', identifier: equipment ?? { system: devices, value: sender } };
}
