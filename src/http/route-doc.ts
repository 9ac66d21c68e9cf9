/** What a route says of itself. The API reference is made from these, and query parameters are checked by them. */
import type { z } from 'zod';

export interface RouteDoc {
  /** Unique name of the operation. */
  readonly operation: string;
  readonly summary: string;
  readonly about?: string;
  readonly body?: z.ZodType;
  readonly query?: Readonly<Record<string, z.ZodType>>;
  /** By HTTP status, or 'default'. */
  readonly answers: Readonly<Record<string, AnswerDoc>>;
}

export interface AnswerDoc {
  readonly text: string;
  readonly schema: z.ZodType;
  readonly mediaType: string;
}

declare module 'fastify' {
  interface FastifyContextConfig {
    readonly doc?: RouteDoc;
  }
}

/** A JSON answer. */
export const json = (text: string, schema: z.ZodType): AnswerDoc => ({
  text,
  schema,
  mediaType: 'application/json',
});
