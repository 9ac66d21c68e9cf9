/** What rows of search parameters are made of. */
import type { Home, ParameterKind, SearchParameter } from './resource-type.ts';

export const R4 = 'http://hl7.org/fhir/SearchParameter';
export const PRACTICE = [
  'Practitioner',
  'PractitionerRole',
  'Organization',
  'CareTeam',
  'Patient',
  'RelatedPerson',
];
export const DATES =
  'Prefixes eq ne gt lt ge le sa eb ap, as the text of FHIR R4 says: eq holds what lies wholly within the value; gt asks that the end is later than the value, lt that the start is earlier; ge and le are gt or eq, lt or eq. Values without an offset are in the zone of this service.';

export const LOGICAL_ID: SearchParameter = {
  name: '_id',
  kind: 'token',
  home: 'id',
  paths: ['id'],
  definition: `${R4}/Resource-id`,
  documentation: 'Logical ids.',
};

/** Of every type that has versions. */
export const COMMON: readonly SearchParameter[] = [
  LOGICAL_ID,
  {
    name: '_lastUpdated',
    kind: 'date',
    home: 'updated',
    paths: ['meta.lastUpdated'],
    definition: `${R4}/Resource-lastUpdated`,
    documentation: `When the current version was issued. ${DATES}`,
  },
];

type Rest = Omit<SearchParameter, 'name' | 'kind' | 'paths' | 'home' | 'definition' | 'documentation'>;

/** A maker of rows of one kind. @param origin the start of the name under which R4 publishes the parameter */
export const rowOf =
  (origin: string, kind: ParameterKind, home: Home) =>
  (name: string, paths: readonly string[], documentation: string, rest: Rest = {}): SearchParameter => ({
    name,
    kind,
    home,
    paths,
    definition: `${R4}/${origin}-${name}`,
    documentation,
    ...rest,
  });
