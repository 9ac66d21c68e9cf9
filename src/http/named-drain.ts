import type { FastifyRequest } from 'fastify';
import { drainOfId } from '../fhir/reference.ts';

/** The drain that a path names: as such, or in the id of a resource, which is name.drain.entry (fhir/reference.ts). */
export function drainNamedBy({ params }: FastifyRequest): string | undefined {
  const { drain, id } = params as { readonly drain?: string; readonly id?: string };
  return drain ?? (id === undefined ? undefined : drainOfId(id));
}
