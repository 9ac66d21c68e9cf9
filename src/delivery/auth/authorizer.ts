/** How a target knows that it is us. */
import { readSecret } from './secret-file.ts';

export interface Authorizer {
  /** Value of the Authorization header; null where none is sent. @throws {NotAuthorized} */
  header(): Promise<string | null>;
  /** The target refused what the header said. @returns whether another may be had at once */
  renew(): boolean;
}

/** No token could be had; nothing was sent to the FHIR server. */
export class NotAuthorized extends Error {}

export const noAuthorizer: Authorizer = { header: async () => null, renew: () => false };

/** A token that somebody else keeps in a file or in the environment; the file is read anew when it was refused. */
export function bearerAuthorizer(read: () => string): Authorizer {
  let token: string | null = null;
  let refused: string | null = null;
  return {
    async header() {
      try {
        token ??= read();
      } catch (error) {
        throw new NotAuthorized(error instanceof Error ? error.message : String(error));
      }
      return `Bearer ${token}`;
    },
    renew() {
      const before = refused;
      refused = token;
      token = null;
      return before !== refused;
    },
  };
}

export const tokenFromFile = (path: string) => (): string => readSecret(path).trim();
