/** Who charts, as typed on the page. Types: FHIR R4 observation.html (performer). */
import { expect, test } from 'vitest';
import { authorOf } from '../../src/web/author.ts';

test.each(['Practitioner/n1', 'PractitionerRole/7', 'RelatedPerson/p-1'])('%s is a reference', (text) => {
  expect(authorOf(text)).toEqual({ type: 'person', reference: text });
});

test.each(['n-1042', 'icu/1042', 'Device/7', 'practitioner/n1'])('%s is a number of the house', (text) => {
  expect(authorOf(text)).toEqual({
    type: 'person',
    identifier: { system: 'urn:drainledger:staff', value: text },
  });
});
