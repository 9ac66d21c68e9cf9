/** Holds every answer to what the API reference says of its route, status and media type. */
import { Ajv2020, type ValidateFunction } from 'ajv/dist/2020.js';

type Operations = Readonly<Record<string, { readonly responses: Readonly<Record<string, Described>> }>>;
interface Described {
  readonly content: Readonly<Record<string, object>>;
}
export interface OpenApi {
  readonly openapi: string;
  readonly info: { readonly description: string };
  readonly paths: Readonly<Record<string, Operations>>;
  readonly components: { readonly schemas: Readonly<Record<string, object>> };
}

export interface Answered {
  readonly method: string;
  readonly path: string;
  readonly status: number;
  readonly contentType: string;
  readonly text: string;
}

const DATE_TIME = /^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:\d\d)$/;

export function createCheck(document: OpenApi): (answered: Answered) => void {
  const ajv = new Ajv2020({ strict: false, allErrors: true, formats: { 'date-time': DATE_TIME } });
  ajv.addSchema(document, 'openapi');
  const compiled = new Map<string, ValidateFunction>();
  return (answered) => {
    const pointer = schemaFor(document, answered);
    const validate = compiled.get(pointer) ?? ajv.compile({ $ref: `openapi#${pointer}` });
    compiled.set(pointer, validate);
    const parts = answered.contentType.includes('ndjson')
      ? answered.text.trim().split('\n')
      : [answered.text];
    const isText = answered.contentType.startsWith('text/');
    if (!parts.every((part) => validate(isText ? part : JSON.parse(part)))) {
      const { method, path, status, text } = answered;
      const faults = ajv.errorsText(validate.errors, { separator: '\n' });
      throw new Error(
        `${method} ${path} ${status} is not as the reference says:\n${faults}\n${text.slice(0, 2000)}`,
      );
    }
  };
}

function schemaFor(document: OpenApi, { method, path, status, contentType }: Answered): string {
  const pathname = path.replace(/\?.*$/, '');
  const templates = Object.keys(document.paths);
  // A path without parameters goes before one whose parameter would match it too.
  const template =
    templates.find((each) => each === pathname) ?? templates.find((each) => matches(each, pathname));
  const operation = template === undefined ? undefined : document.paths[template]?.[method.toLowerCase()];
  if (template === undefined || operation === undefined) {
    const name = pathname.startsWith('/fhir') ? 'OperationOutcome' : 'Problem';
    return `/components/schemas/${name}`;
  }
  const key = operation.responses[status] === undefined ? 'default' : String(status);
  const mediaType = contentType.replace(/;.*$/, '');
  if (operation.responses[key]?.content[mediaType] === undefined)
    throw new Error(`${method} ${template} ${status} with ${mediaType} is not in the reference`);
  const steps = ['paths', template, method.toLowerCase(), 'responses', key, 'content', mediaType, 'schema'];
  return steps.map((step) => `/${encodeURIComponent(step.replaceAll('/', '~1'))}`).join('');
}

function matches(template: string, path: string): boolean {
  const [steps, taken] = [template.split('/'), path.replace(/(?<=.)\/$/, '').split('/')];
  return steps.length === taken.length && steps.every((step, n) => step.startsWith('{') || step === taken[n]);
}
