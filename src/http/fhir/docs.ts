/** What the API reference says of the FHIR routes, made from the same rows as the routes. */
import { z } from 'zod';
import type { Action } from '../../auth/scope.ts';
import { modifiersOf } from '../../fhir/search/read-criterion.ts';
import { HISTORY_PARAMETERS } from '../../fhir/search/read-history.ts';
import { includeName, revincludeName } from '../../fhir/search/read-query.ts';
import type { Interaction, Operation, ResourceType } from '../../fhir/search/resource-type.ts';
import { SHAPING } from '../../fhir/search/resource-types.ts';
import type { BodyDoc, RouteDoc } from '../route-doc.ts';

export const resource = (text: string, resourceType: string): BodyDoc => ({
  text,
  mediaType: 'application/fhir+json',
  schema: z
    .looseObject({ resourceType: z.literal(resourceType) })
    .meta({ id: resourceType, description: `FHIR R4 (4.0.1) ${resourceType}.` }),
});

const text = (description: string) => z.string().meta({ description });
export const FORMAT_QUERY = {
  _format: text(
    'JSON is the only format; goes before Accept. A client that asks for application/json gets it under that name.',
  ),
};
const VIEW = { _summary: text('true, false, text or data.'), _elements: text(SHAPING._elements) };
const VERSIONED = 'Decimals keep the digits they were charted with. ETag names the version.';
const STRICT =
  'A parameter, modifier or prefix that is not known is refused; with Prefer: handling=lenient a parameter that is not known is left out, and an outcome in the Bundle says so. Links to further pages are opaque and stay at the moment of the first page.';
export const FORM = 'application/x-www-form-urlencoded';
const NOT_MODIFIED = { 304: { text: 'It is still what the client has.' } };

export const refusals = (text404?: string) => ({
  ...(text404 === undefined ? {} : { 404: resource(text404, 'OperationOutcome') }),
  default: resource('Any other error.', 'OperationOutcome'),
});

export const METADATA: RouteDoc = {
  operation: 'capabilities',
  access: 'public',
  summary: 'What can be done with FHIR here',
  query: { ...FORMAT_QUERY, mode: text('Of no effect: there is one statement.') },
  readsQuery: true,
  answers: {
    200: resource('The CapabilityStatement.', 'CapabilityStatement'),
    ...NOT_MODIFIED,
    ...refusals(),
  },
};

type DocOf = (type: ResourceType) => RouteDoc;

const RESOURCE_TYPES_IN = ['application/fhir+json', 'application/json'];
const RETURNS =
  'Prefer: return=minimal, representation or OperationOutcome says what comes back; a representation unless given.';

/** What is posted to the base. */
export const BUNDLE_DOC: RouteDoc = {
  operation: 'postBundle',
  // What each entry needs is asked of each entry.
  access: 'known',
  seesToBounds: true,
  summary: 'A batch or a transaction',
  about:
    'In a batch each entry is a GET, a POST or, with ifMatch, a PUT, and is answered by itself; what is created goes first, then what is updated, then what is read. In a transaction each is a POST, with ifNoneExist if wanted, and all are written or none. At most 500 entries and 2 MiB.',
  query: FORMAT_QUERY,
  readsQuery: true,
  body: z.looseObject({}).meta({ description: 'A Bundle of type batch or transaction.' }),
  bodyTypes: RESOURCE_TYPES_IN,
  answers: { 200: resource('One entry for each, in order.', 'Bundle'), ...refusals() },
};

export const INTERACTION_DOCS: Readonly<Record<Interaction, DocOf>> = {
  create: ({ type }) => ({
    operation: `create${type}`,
    access: { type, action: 'c' },
    seesToBounds: true,
    summary: `Chart what was read, as a resource of type ${type}`,
    about: `Takes what is read at the bedside and refuses what is worked out here. It becomes an entry by the same checks as any other, and comes back as the Observation that it is issued as. The drain is named in focus, by the identifier of its placement; without focus it is the one that the device of device.identifier was on at that time. The first identifier is the key: the same message again is answered with what it made, and with If-None-Exist so is any other message under that identifier; a client that may not read is answered without a body then. ${RETURNS}`,
    query: FORMAT_QUERY,
    readsQuery: true,
    body: z
      .looseObject({})
      .meta({ description: 'An Observation of one raw quantity, or of several as components.' }),
    bodyTypes: RESOURCE_TYPES_IN,
    answers: {
      200: resource('It was recorded before: nothing was written.', type),
      201: resource('Recorded: on disk before this answer left.', type),
      202: resource(
        'Recorded, but not issued while a mark keeps it out: before placement, after removal.',
        'OperationOutcome',
      ),
      ...refusals(),
    },
  }),
  update: ({ type }) => ({
    operation: `update${type}`,
    access: { type, action: 'u' },
    summary: `Correct or withdraw what was sent as a resource of type ${type}`,
    about: `The whole Observation anew, as it should have been, with the ETag of the version it replaces in If-Match; status entered-in-error withdraws it, for ever. Only what was sent as an Observation can be updated; other entries are corrected at /v1. The same update again is answered with what it made. ${RETURNS}`,
    query: FORMAT_QUERY,
    readsQuery: true,
    body: z.looseObject({}).meta({ description: 'The Observation, with the id of the URL.' }),
    bodyTypes: RESOURCE_TYPES_IN,
    answers: { 200: resource('The newest version.', type), ...refusals() },
  }),
  read: ({ type }) => ({
    operation: `read${type}`,
    access: { type, action: 'r' },
    summary: `The newest version of a resource of type ${type}`,
    about: VERSIONED,
    query: { ...FORMAT_QUERY, ...VIEW },
    readsQuery: true,
    answers: { 200: resource('The resource.', type), ...NOT_MODIFIED, ...refusals('It was never issued.') },
  }),
  vread: ({ type }) => ({
    operation: `read${type}Version`,
    access: { type, action: 'r' },
    summary: `One version of a resource of type ${type}, as the text that was issued`,
    about: VERSIONED,
    query: { ...FORMAT_QUERY, ...VIEW },
    readsQuery: true,
    answers: { 200: resource('The version.', type), ...NOT_MODIFIED, ...refusals('It was never issued.') },
  }),
  'history-instance': (row) => ({
    ...historyDoc(row, 'r', `${row.type}History`, `Versions of a resource of type ${row.type}, newest first`),
    answers: { 200: resource('A Bundle of type history.', 'Bundle'), ...refusals('It was never issued.') },
  }),
  'history-type': (row) =>
    historyDoc(
      row,
      's',
      `${row.type}TypeHistory`,
      `Versions of all resources of type ${row.type}, newest first`,
    ),
  'search-type': (row) => ({
    operation: `search${row.type}`,
    access: { type: row.type, action: 's' },
    ...(row.isProjected === true ? {} : { seesToBounds: true }),
    summary: `Resources of type ${row.type} that match, a page at a time`,
    about: STRICT,
    query: searchQuery(row),
    readsQuery: true,
    answers: { 200: resource('A Bundle of type searchset.', 'Bundle'), ...refusals() },
  }),
};

/** A definition has one version, and is not cached by it. */
export const DEFINITION_READ: DocOf = ({ type }) => ({
  operation: `read${type}`,
  access: 'known',
  concernsNobody: true,
  summary: `One of our own resources of type ${type}`,
  query: { ...FORMAT_QUERY, ...VIEW },
  readsQuery: true,
  answers: { 200: resource('The resource.', type), ...refusals('There is none of this id.') },
});

const historyDoc = (
  { type }: ResourceType,
  action: Action,
  operation: string,
  summary: string,
): RouteDoc => ({
  operation,
  access: { type, action },
  summary,
  query: { ...FORMAT_QUERY, ...described(HISTORY_PARAMETERS), _page: text('From a link that was given.') },
  readsQuery: true,
  answers: { 200: resource('A Bundle of type history.', 'Bundle'), ...refusals() },
});

export const described = (parameters: Readonly<Record<string, string>>) =>
  Object.fromEntries(Object.entries(parameters).map(([name, words]) => [name, text(words)]));

function filters({ parameters }: ResourceType) {
  return described(
    Object.fromEntries(
      parameters.map((parameter) => {
        const modifiers = modifiersOf(parameter).map((each) => `:${each}`);
        const also = modifiers.length === 0 ? '' : ` Modifiers ${modifiers.join(' ')}.`;
        return [parameter.name, `${parameter.documentation}${also}`];
      }),
    ),
  );
}

const followed = (name: string, known: readonly string[]) =>
  known.length === 0 ? {} : { [name]: text(`${known.join(', ')}.`) };

const sortKeys = ({ sortable }: ResourceType): string =>
  `Keys: ${sortable.join(', ')}.${sortable.includes('date') ? ' date is the end of the effective time; -date unless given.' : ''}`;

const searchQuery = (row: ResourceType) => ({
  ...filters(row),
  ...described({ ...SHAPING, _sort: `${SHAPING._sort} ${sortKeys(row)}` }),
  ...followed(
    '_include',
    row.includes.map((each) => includeName(row.type, each)),
  ),
  ...followed('_revinclude', row.revincludes.map(revincludeName)),
  _page: text('From a link that was given; stands alone.'),
  ...FORMAT_QUERY,
});

/** The same search with its parameters in a form, where no log on the way can see them. */
export function formDoc(row: ResourceType): RouteDoc {
  return {
    ...INTERACTION_DOCS['search-type'](row),
    operation: `search${row.type}ByForm`,
    body: z.looseObject({}).meta({ description: 'The parameters; those of the URL count as well.' }),
    bodyTypes: [FORM],
  };
}

const ABOUT_OPERATION: Readonly<Record<Operation, string>> = {
  lastn:
    'The newest observations of each code by end of their effective time; those that share the time of the last one are all given. Takes patient or subject, category or a code, any other filter, and max. What was entered in error is among them unless status leaves it out, as R4 says: send status:not=entered-in-error.',
  stats:
    'Numbers of the observations that lie wholly within the time: what was entered in error is left out, units are converted by UCUM, and bounds (>= 150) are no numbers. Sample variance (n - 1); quantiles linear at (n - 1) p.',
};

/** @param byPost parameters come in a form or a Parameters resource */
export function operationDoc(
  row: ResourceType,
  operation: Operation,
  parameters: Readonly<Record<string, string>>,
  byPost: boolean,
): RouteDoc {
  const body = z.looseObject({}).meta({ description: 'A form, or a Parameters resource.' });
  const ofSearch =
    operation === 'lastn' ? { ...filters(row), ...VIEW, _summary: text(SHAPING._summary) } : {};
  const answer =
    operation === 'lastn'
      ? resource('A Bundle of type searchset.', 'Bundle')
      : resource('The statistics.', 'Parameters');
  return {
    operation: `${operation}${row.type}${byPost ? 'ByPost' : ''}`,
    access: { type: row.type, action: 's' },
    seesToBounds: true,
    summary: `The FHIR operation $${operation}`,
    about: ABOUT_OPERATION[operation],
    query: { ...ofSearch, ...described(parameters), ...FORMAT_QUERY },
    readsQuery: true,
    ...(byPost ? { body, bodyTypes: [FORM, 'application/fhir+json', 'application/json'] } : {}),
    answers: { 200: answer, ...refusals() },
  };
}
