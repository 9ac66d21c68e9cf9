/** What a route says of itself. The API reference is made from these, and query parameters are checked by them. */
import type { z } from 'zod';
import type { Access } from '../auth/scope.ts';

export interface RouteDoc {
  /** Unique name of the operation. */
  readonly operation: string;
  readonly summary: string;
  /** Who may call it. */
  readonly access: Access;
  /** What it shows and takes concerns no patient: that it was asked is no access to keep. */
  readonly concernsNobody?: true;
  /** It sees by itself to what a confined client may reach. */
  readonly seesToBounds?: true;
  readonly about?: string;
  readonly body?: z.ZodType;
  /** Of the body; application/json unless given. */
  readonly bodyTypes?: readonly string[];
  /** The body may go on for as long as it keeps coming. */
  readonly streams?: true;
  readonly query?: Readonly<Record<string, z.ZodType>>;
  /** The handler reads the query itself: FHIR knows modifiers, chains and parameters that stand more than once. */
  readonly readsQuery?: true;
  /** By HTTP status, or 'default'. */
  readonly answers: Readonly<Record<string, AnswerDoc>>;
}

export type AnswerDoc = BodyDoc | EmptyDoc;

export interface BodyDoc {
  readonly text: string;
  readonly schema: z.ZodType;
  readonly mediaType: string;
  /** Other media types in which the same can be had. */
  readonly also?: Readonly<Record<string, z.ZodType>>;
}

/** An answer without a body. */
export interface EmptyDoc {
  readonly text: string;
  readonly schema?: undefined;
}

declare module 'fastify' {
  interface FastifyContextConfig {
    readonly doc?: RouteDoc;
  }
}

/** A JSON answer. */
export const json = (text: string, schema: z.ZodType): BodyDoc => ({
  text,
  schema,
  mediaType: 'application/json',
});
