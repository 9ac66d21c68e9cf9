/** What a target says it can do, and the way of sending that follows from it. */
import { z } from 'zod';
import { type Connection, outcomeIn } from './connection.ts';
import { parsed } from './outcome.ts';
import { POINT_OF_CARE_TYPES } from './point-of-care.ts';
import type { Mode, Target } from './target.ts';

/** How things go to a target, once nothing is left open. */
export interface Way {
  readonly mode: Exclude<Mode, 'probe'>;
  /** Without it a create is only sent after a search. */
  readonly conditionalCreate: boolean;
  /** Null: all that are issued. */
  readonly types: ReadonlySet<string> | null;
}

export type Probed = { readonly way: Way; readonly capability: Capability } | { readonly why: string };

const interactions = z.array(z.object({ code: z.string() })).optional();
const statement = z.object({
  resourceType: z.literal('CapabilityStatement'),
  fhirVersion: z.string(),
  software: z.object({ name: z.string().optional(), version: z.string().optional() }).optional(),
  rest: z.array(
    z.object({
      mode: z.string(),
      interaction: interactions,
      resource: z
        .array(
          z.object({
            type: z.string(),
            interaction: interactions,
            updateCreate: z.boolean().optional(),
            conditionalCreate: z.boolean().optional(),
          }),
        )
        .optional(),
    }),
  ),
});
export type Capability = z.infer<typeof statement>;

/** The way that the configuration fixes; null where it is left to the target. */
export function fixedWay({ mode, types }: Target): Way | null {
  return mode === 'probe' ? null : { mode, conditionalCreate: true, types };
}

export async function probe(connection: Connection, target: Target): Promise<Probed> {
  const { verdict, answer } = await connection.ask({ method: 'GET', path: 'metadata', purpose: 'read' });
  if (verdict.kind !== 'taken') return { why: `its /metadata cannot be read: ${outcomeIn(verdict).why}` };
  const read = statement.safeParse(parsed(answer?.body ?? ''));
  if (!read.success) return { why: 'its /metadata is no CapabilityStatement' };
  const chosen = wayOf(read.data, target);
  return 'why' in chosen ? chosen : { way: chosen, capability: read.data };
}

export function wayOf(capability: Capability, target: Target): Way | { readonly why: string } {
  if (!capability.fhirVersion.startsWith('4.'))
    return { why: `it speaks FHIR ${capability.fhirVersion}, not R4` };
  const server = capability.rest.find(({ mode }) => mode === 'server');
  const observation = server?.resource?.find(({ type }) => type === 'Observation');
  if (server === undefined || observation === undefined) return { why: 'it says nothing of Observations' };
  const can = (list: z.infer<typeof interactions>, code: string) =>
    list?.some((each) => each.code === code) === true;
  const takes = (server.resource ?? []).filter(
    ({ interaction }) => can(interaction, 'create') || can(interaction, 'update'),
  );
  const types = new Set(
    takes.map(({ type }) => type).filter((type) => target.types === null || target.types.has(type)),
  );
  const lacking = POINT_OF_CARE_TYPES.filter((type) => !types.has(type));
  if (target.profile === 'pocd' && lacking.length > 0)
    return { why: `it takes no ${lacking.join(', no ')}, which profile pocd needs` };
  const conditionalCreate = observation.conditionalCreate === true;
  const putsOurs = observation.updateCreate === true && can(observation.interaction, 'update');
  const best = (): Exclude<Mode, 'probe'> | null => {
    if (putsOurs && can(server.interaction, 'transaction')) return 'transaction';
    if (putsOurs && can(server.interaction, 'batch')) return 'batch';
    if (putsOurs) return 'put';
    return can(observation.interaction, 'create') ? 'create' : null;
  };
  const mode = target.mode === 'probe' ? best() : target.mode;
  if (mode === null) return { why: 'it takes no Observations: neither create nor update' };
  return { mode, conditionalCreate, types };
}
