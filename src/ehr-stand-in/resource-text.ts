import { z } from 'zod';
import { refusal } from './refusal.ts';

/** What the stand-in has to know about a resource; everything else stays unread in its text. */
export interface ResourceFacts {
  readonly type: string;
  readonly id: string | undefined;
  /** `meta.versionId` where it is a whole number, the sender's own count of versions. */
  readonly senderVersion: number | undefined;
  /** Business identifiers as `system|value`. */
  readonly identifiers: readonly string[];
}

const resourceShape = z.looseObject({
  resourceType: z.string(),
  id: z.string().optional(),
  meta: z.looseObject({ versionId: z.string().optional() }).optional(),
  identifier: z
    .array(z.looseObject({ system: z.string().optional(), value: z.string().optional() }))
    .optional(),
});

/** Parses JSON, answering 400 when it is none. */
export function parseJson(body: unknown): unknown {
  try {
    return JSON.parse(String(body));
  } catch (error) {
    const reason = error instanceof Error ? error.message : String(error);
    throw refusal(400, `The body is not JSON (${reason}); send one JSON object.`);
  }
}

/** Checks a value against a shape, answering 400 with the place and reason of every mismatch. */
export function checked<T>(what: string, shape: z.ZodType<T>, value: unknown): T {
  const result = shape.safeParse(value);
  if (result.success) return result.data;
  const faults = result.error.issues.map((issue) => `${[what, ...issue.path].join('.')}: ${issue.message}`);
  throw refusal(400, `${faults.join('; ')}. Correct and send again.`);
}

/** Reads from a resource's text the few facts by which it is found and ordered. */
export function factsOf(text: string): ResourceFacts {
  const resource = checked('resource', resourceShape, parseJson(text));
  const versionId = resource.meta?.versionId;
  return {
    type: resource.resourceType,
    id: resource.id,
    senderVersion: versionId !== undefined && /^\d+$/.test(versionId) ? Number(versionId) : undefined,
    identifiers: (resource.identifier ?? []).map(({ system, value }) => `${system ?? ''}|${value ?? ''}`),
  };
}
